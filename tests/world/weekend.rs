//! A weekend: drawn, driven, recorded, written.

use std::fs;
use std::io;
use std::path::Path;

use super::car::Car;
use super::dice::Dice;
use super::drive::{self, RowClock, Setup};
use super::driver::Opening;
use super::heat::Temperatures;
use super::plan::{self, Settings};
use super::recorder::{Columns, CurrentKind, Recorder};
use super::sheet::{RunSheet, Sheet};
use super::timing::{Coverage, LapList};
use super::trace::{Coasting, Energy, Moment, Spin, Trace};
use super::track::Track;

/// Lap times that a track must allow both cars without slip or mistakes, s.
const LAP_S: (f64, f64) = (8.0, 19.5);
/// Longest time between two rows, s, with jitter: the log's last row is that far before its end.
const LONGEST_ROW_S: f64 = 0.25;
/// Streams of chance for cars and runs, apart from the weekend's own.
const STREAM_OF_CAR: u64 = 1_000;
const STREAMS_OF_RUN: u64 = 10;

/// What is fixed in place of being drawn.
#[derive(Debug, Clone, Copy, Default)]
pub struct Options {
    /// Rows a second of all recorders.
    pub rate_hz: Option<f64>,
    /// What their current is.
    pub current: Option<CurrentKind>,
    /// How lists and logs lie to each other.
    pub coverage: Option<Coverage>,
    /// Runs of each car.
    pub runs: Option<usize>,
    /// Drag brakes of a car's runs in turn, %.
    pub drag_brakes_pct: Option<[f64; 2]>,
    /// A sound weekend: no wrong pinion, no failed fan, no crash, no stop, no missed passing, no lost row.
    pub clean: bool,
    /// How drivers open the throttle, in place of what is drawn.
    pub opening: Option<Opening>,
}

/// A weekend.
#[derive(Debug, Clone)]
pub struct Weekend {
    /// Its seed.
    pub seed: u64,
    /// The track as it is.
    pub track: Track,
    /// The cars as they are; a tourer and a pan car.
    pub cars: Vec<Car>,
    /// The sheet; its cars in the same order.
    pub sheet: Sheet,
    /// All runs, car by car.
    pub runs: Vec<Run>,
}

/// A run.
#[derive(Debug, Clone)]
pub struct Run {
    /// Name on the sheet.
    pub id: String,
    /// Number of its car.
    pub car: usize,
    /// Its entry on the sheet.
    pub sheet: RunSheet,
    /// The lap list; `None` is not written.
    pub list: Option<LapList>,
    /// How list and log lie to each other.
    pub coverage: Coverage,
    /// What recorded it.
    pub recorder: Recorder,
    /// What the log says.
    pub columns: Columns,
    /// How it was set up and what was to happen.
    pub setup: Setup,
    /// What truly happened.
    pub truth: Truth,
}

/// What truly happened. Times are s from the log's first row by the recorder's clock, and may lie outside the log.
#[derive(Debug, Clone)]
pub struct Truth {
    /// Teeth of the pinion on the car.
    pub pinion: u32,
    /// Motor turns per wheel turn.
    pub ratio: f64,
    /// Rolling circumference at rest, mm.
    pub circumference_mm: f64,
    /// Length of the car's line, m.
    pub lap_length_m: f64,
    /// First passing of the race.
    pub first_passing_s: f64,
    /// All passings of the race, the first included.
    pub passings_s: Vec<f64>,
    /// Turns of the motor in each lap.
    pub lap_turns: Vec<f64>,
    /// Race end: race length after the first passing.
    pub race_end_s: f64,
    /// Motor's sensor then, °C.
    pub motor_race_end_c: f64,
    /// Controller's sensor then, °C.
    pub controller_race_end_c: f64,
    /// Charge taken before the log's first row, mAh.
    pub charge_before_log_mah: f64,
    /// Charge taken within the log, mAh.
    pub charge_in_log_mah: f64,
    /// Charge taken from power-on to the race's end, mAh.
    pub charge_at_race_end_mah: f64,
    /// Ohmic resistance of pack and leads, lowest and highest within the log, mΩ.
    pub ohmic_mohm: (f64, f64),
    /// The same with what polarises within a second of a step, mΩ.
    pub within_a_second_mohm: (f64, f64),
    /// Highest motor speed in the log's rows, 1/min.
    pub peak_rpm: f64,
    /// Highest car speed in the log's rows, m/s.
    pub top_speed_m_s: f64,
    /// Deceleration of the car off throttle and brake, the median over all moments of the log between a quarter and
    /// three quarters of its top speed, m/s²; `None` where it never coasts.
    pub coast_m_s2: Option<f64>,
    /// Highest temperature of the winding, °C.
    pub highest_winding_c: f64,
    /// Wheelspin that lies within the log.
    pub spins: Vec<Spin>,
    /// Crashes (`true`) and stops, from when to when.
    pub halts_s: Vec<(f64, f64, bool)>,
    /// Log time (s) and laps driven since the line, at all rows that the recorder took, kept in the log or not.
    pub laps_at: Vec<(f64, f64)>,
    /// Car speed at the log's rows, m/s.
    pub car_m_s: Vec<f64>,
    /// Wheel speed, m/s.
    pub wheel_m_s: Vec<f64>,
    /// Driving slip.
    pub slip: Vec<f64>,
    /// Motor's sensor without steps, °C.
    pub motor_c: Vec<f64>,
    /// Controller's sensor without steps, °C.
    pub controller_c: Vec<f64>,
    /// Energy from power-on to power-off.
    pub energy: Energy,
    /// Charge from power-on to power-off, mAh.
    pub charge_mah: f64,
    /// Way of the car over the ground from power-on to power-off, m.
    pub ground_m: f64,
}

impl Truth {
    /// What turns of the motor, a tyre's diameter (mm) and a lap length (m) make of the ratio: the median over all
    /// laps, with slip and the tyre's squash in it.
    pub fn ratio_over_laps(&self, tyre_mm: f64, lap_length_m: f64) -> f64 {
        let mut turns = self.lap_turns.clone();
        turns.sort_by(f64::total_cmp);
        turns[turns.len() / 2] * std::f64::consts::PI * tyre_mm * 1e-3 / lap_length_m
    }

    /// Seconds of wheelspin between two times.
    pub fn spin_seconds(&self, from_s: f64, until_s: f64) -> f64 {
        self.spins
            .iter()
            .map(|spin| (spin.end_s.min(until_s) - spin.start_s.max(from_s)).max(0.0))
            .fold(0.0, |a, b| a + b)
    }
}

impl Weekend {
    /// Draws a weekend; the same seed gives the same weekend.
    pub fn draw(seed: u64) -> Self {
        Self::draw_with(seed, Options::default())
    }

    /// Draws a weekend with some of it fixed. The rest is as without, but for what hangs on it.
    pub fn draw_with(seed: u64, options: Options) -> Self {
        let mut dice = Dice::new(seed, 0);
        let (track, cars) = track_and_cars(&mut dice);
        let cars = match options.opening {
            Some(opening) => cars.into_iter().map(|car| car.opening(opening)).collect(),
            None => cars,
        };
        let race_s = dice.pick(&[240.0, 300.0, 300.0, 300.0, 360.0]);
        let air_c = dice.between(12.0, 36.0);
        let sheet = Sheet::draw(&mut dice, &track, &cars, race_s);
        let mut weekend = Self { seed, track, cars, sheet, runs: Vec::new() };
        for car in 0..weekend.cars.len() {
            weekend.drive_car(car, air_c, options);
        }
        weekend
    }

    /// What truly happens in the run at `index` with its setup changed: the same driver in the same mood, with the same
    /// mistakes.
    pub fn driven_anew(&self, index: usize, change: impl FnOnce(&mut Setup)) -> Trace {
        let run = &self.runs[index];
        let number = self.runs[..index].iter().filter(|other| other.car == run.car).count() as u64;
        let stream = (run.car as u64 + 1) * STREAM_OF_CAR + (number + 1) * STREAMS_OF_RUN;
        let dice = |offset: u64| Dice::new(self.seed, stream + offset);
        let mut setup = run.setup.clone();
        change(&mut setup);
        let rows = RowClock { rate_hz: run.recorder.rate_hz, jitter_s: run.recorder.jitter_s, dice: dice(1) };
        drive::drive(&self.cars[run.car], &self.track, &setup, rows, dice(2))
    }

    /// Another run of the car of the run at `index`, its `number`th from 0, set up as that one but for a change; all of
    /// it is in the log. The driver's mood is the number's own.
    pub fn run_like(&self, index: usize, number: usize, change: impl FnOnce(&mut Setup)) -> Run {
        let like = &self.runs[index];
        let stream = (like.car as u64 + 1) * STREAM_OF_CAR + (number as u64 + 1) * STREAMS_OF_RUN;
        let dice = |offset: u64| Dice::new(self.seed, stream + offset);
        let (car, recorder) = (&self.cars[like.car], &like.recorder);
        let mut setup = like.setup.clone();
        change(&mut setup);
        let rows = RowClock { rate_hz: recorder.rate_hz, jitter_s: recorder.jitter_s, dice: dice(1) };
        let trace = drive::drive(car, &self.track, &setup, rows, dice(2));
        let mut dice = dice(3);
        let rows = recorder.keep(&trace.rows, f64::MIN, f64::MAX, &mut dice);
        let on_sheet = &self.sheet.cars[like.car];
        let other = |value: f64, usual: f64| (value != usual).then_some(value);
        Run {
            id: format!("{}{}", &car.name[..1], number + 1),
            sheet: RunSheet {
                ambient_c: Some((setup.air_c * 2.0).round() / 2.0),
                pinion: (setup.pinion != on_sheet.pinion).then_some(setup.pinion),
                drag_brake_pct: other(setup.drag_brake_pct, on_sheet.drag_brake_pct),
                ..like.sheet.clone()
            },
            list: Some(LapList::draw(&mut dice, &trace.passings_s, false)),
            coverage: Coverage::Whole,
            columns: recorder.record(&rows, &mut dice),
            truth: truth(car, &self.track, &setup, &trace, &rows, recorder.clock),
            setup,
            ..like.clone()
        }
    }

    fn drive_car(&mut self, car: usize, air_c: f64, options: Options) {
        let stream = (car as u64 + 1) * STREAM_OF_CAR;
        let mut dice = Dice::new(self.seed, stream);
        let drawn = dice.whole(5, 8);
        let runs = options.runs.unwrap_or(drawn);
        let recorder = recorder(&mut dice, options);
        let mut settings = plan::settings(&mut dice, &self.cars[car], runs.max(2), air_c, options.clean);
        if let Some(drag_brakes) = options.drag_brakes_pct {
            let in_turn = drag_brakes.iter().cycle();
            settings.iter_mut().zip(in_turn).for_each(|(run, pct)| run.drag_brake_pct = *pct);
        }
        let mut before = None;
        for (number, settings) in settings.iter().take(runs).enumerate() {
            let stream = stream + (number as u64 + 1) * STREAMS_OF_RUN;
            let (run, after) = self.drive_run(car, number, settings, &recorder, (stream, options), before);
            self.runs.push(run);
            before = Some(after);
        }
    }

    fn drive_run(
        &self,
        car: usize,
        number: usize,
        settings: &Settings,
        recorder: &Recorder,
        (stream, options): (u64, Options),
        before: Option<Temperatures>,
    ) -> (Run, Temperatures) {
        let dice = |offset: u64| Dice::new(self.seed, stream + offset);
        let (truly, race_s) = (&self.cars[car], self.sheet.race_s);
        let setup = plan::setup(&mut dice(0), truly, &self.track, settings, (number, race_s, options.clean), before);
        let rows = RowClock { rate_hz: recorder.rate_hz, jitter_s: recorder.jitter_s, dice: dice(1) };
        let trace = drive::drive(truly, &self.track, &setup, rows, dice(2));
        let mut dice = dice(3);
        let window = Window::draw(&mut dice, &trace, options.coverage);
        let rows = recorder.keep(&trace.rows, window.from_s, window.until_s, &mut dice);
        let misses = dice.chance(0.12) && !options.clean;
        let list = LapList::draw(&mut dice, &trace.passings_s[..window.passings], misses);
        let run = Run {
            id: format!("{}{}", &truly.name[..1], number + 1),
            car,
            sheet: plan::run_sheet(settings, &self.sheet.cars[car]),
            list: Some(list),
            coverage: window.coverage,
            columns: recorder.record(&rows, &mut dice),
            recorder: recorder.clone(),
            truth: truth(truly, &self.track, &setup, &trace, &rows, recorder.clock),
            setup,
        };
        (run, trace.end)
    }

    /// Writes `weekend.toml`, `logs/` and `laps/` into a folder, which is made where it is missing.
    ///
    /// # Errors
    /// Whatever the file system says.
    pub fn write(&self, folder: &Path) -> io::Result<()> {
        fs::create_dir_all(folder.join("logs"))?;
        fs::create_dir_all(folder.join("laps"))?;
        let mut sheet = self.sheet.text();
        for run in &self.runs {
            let log = format!("logs/{}.csv", run.id);
            let laps = format!("laps/{}.csv", run.id);
            fs::write(folder.join(&log), run.log_text())?;
            if let Some(list) = &run.list {
                fs::write(folder.join(&laps), list.text())?;
            }
            let laps = run.list.as_ref().map(|_| laps.as_str());
            sheet.push_str(&run.sheet.text(&run.id, &self.sheet.cars[run.car].name, &log, laps));
        }
        fs::write(folder.join("weekend.toml"), sheet)
    }
}

impl Run {
    /// The text of its log.
    pub fn log_text(&self) -> String {
        log_text(&self.columns, self.recorder.has_throttle)
    }
}

/// The text of a log, with or without the hand; what is not finite, or missing at the end of a column, is an empty cell.
pub fn log_text(columns: &Columns, with_throttle: bool) -> String {
    let mut shown: Vec<(&str, &[f64], usize)> = vec![
        ("Time [s]", &columns.time_s, 3),
        ("RPM [1/min]", &columns.rpm, 0),
        ("Voltage [V]", &columns.voltage, 3),
        ("Current [A]", &columns.current, 1),
        ("Motor Temp [°C]", &columns.motor_c, 1),
        ("ESC Temp [°C]", &columns.controller_c, 1),
    ];
    if with_throttle {
        shown.push(("Throttle [%]", &columns.throttle, 0));
    }
    if !columns.ground.is_empty() {
        shown.push(("GPS speed [m/s]", &columns.ground, 2));
    }
    let header: Vec<&str> = shown.iter().map(|column| column.0).collect();
    let mut text = header.join(",");
    let rows = shown.iter().map(|column| column.1.len()).max().unwrap_or(0);
    for row in 0..rows {
        text.push('\n');
        for (number, (_, values, decimals)) in shown.iter().enumerate() {
            if number > 0 {
                text.push(',');
            }
            if let Some(value) = values.get(row).filter(|value| value.is_finite()) {
                text.push_str(&format!("{value:.decimals$}"));
            }
        }
    }
    text.push('\n');
    text
}

/// A track that both cars lap in a time that is raced, and the cars.
fn track_and_cars(dice: &mut Dice) -> (Track, Vec<Car>) {
    let names = dice.pick(&[("plover", "wren"), ("otter", "heron"), ("badger", "linnet"), ("marten", "finch")]);
    loop {
        let track = Track::draw(dice);
        let mut cars = vec![Car::tourer(dice, &track), Car::pan(dice, &track)];
        let fits = |car: &Car| (LAP_S.0..LAP_S.1).contains(&car.geared_lap(&track).seconds);
        if cars.iter().all(fits) {
            cars[0].name = names.0.to_owned();
            cars[1].name = names.1.to_owned();
            return (track, cars);
        }
    }
}

fn recorder(dice: &mut Dice, options: Options) -> Recorder {
    let mut recorder = Recorder::draw(dice);
    if let Some(rate_hz) = options.rate_hz {
        recorder.jitter_s *= recorder.rate_hz / rate_hz;
        recorder.rate_hz = rate_hz;
    }
    recorder.current = options.current.unwrap_or(recorder.current);
    if options.clean {
        recorder.lost = (0, 0);
    }
    recorder
}

/// What of a run is in the log, and how many passings are on the list.
struct Window {
    coverage: Coverage,
    from_s: f64,
    until_s: f64,
    passings: usize,
}

impl Window {
    fn draw(dice: &mut Dice, trace: &Trace, fixed: Option<Coverage>) -> Self {
        use Coverage::{LogEndsEarly, LogStartsLate, ShortRun, Whole};
        let drawn = dice.pick(&[Whole, Whole, Whole, Whole, Whole, LogStartsLate, LogEndsEarly, ShortRun]);
        let coverage = fixed.unwrap_or(drawn);
        let passings = &trace.passings_s;
        let (first, last) = (passings[0], passings[passings.len() - 1]);
        let late_lap = dice.whole(0, 2).min(passings.len() - 2);
        let late = passings[late_lap] + dice.between(0.2, 0.9) * (passings[late_lap + 1] - passings[late_lap]);
        let early = first + dice.between(0.5, 0.9) * (last - first);
        let within = passings.iter().filter(|&&at| at < early - LONGEST_ROW_S).count();
        let (start, end) = (f64::MIN, f64::MAX);
        let (from_s, until_s, passings) = match coverage {
            Whole => (start, end, passings.len()),
            LogStartsLate => (late, end, passings.len()),
            LogEndsEarly => (start, early, passings.len()),
            ShortRun => (start, early, within),
        };
        Self { coverage, from_s, until_s, passings }
    }
}

fn truth(car: &Car, track: &Track, setup: &Setup, trace: &Trace, rows: &[Moment], clock: f64) -> Truth {
    let (first, last) = (rows[0], rows[rows.len() - 1]);
    let in_log = |at_s: f64| (at_s - first.at_s) * (1.0 + clock);
    let mah = |a_s: f64| a_s / 3.6;
    let highest = |of: fn(&Moment) -> f64| rows.iter().map(of).fold(f64::MIN, f64::max);
    let lowest = |of: fn(&Moment) -> f64| rows.iter().map(of).fold(f64::MAX, f64::min);
    let range_m = |of: fn(&Moment) -> f64| (1e3 * lowest(of), 1e3 * highest(of));
    let every = |of: fn(&Moment) -> f64| rows.iter().map(of).collect::<Vec<f64>>();
    let inside = |spin: &&Spin| spin.start_s >= first.at_s && spin.end_s <= last.at_s;
    let end = trace.race_end;
    Truth {
        pinion: setup.pinion,
        ratio: car.ratio(setup.pinion),
        circumference_mm: 1e3 * car.tyre.circumference_m(setup.runs_before, 0.0),
        lap_length_m: track.lap_length_m * (1.0 + setup.longer),
        first_passing_s: in_log(trace.passings_s[0]),
        passings_s: trace.passings_s.iter().map(|&at| in_log(at)).collect(),
        lap_turns: trace.turns_at_passings.windows(2).map(|lap| lap[1] - lap[0]).collect(),
        race_end_s: in_log(end.at_s),
        motor_race_end_c: end.motor_c,
        controller_race_end_c: end.controller_c,
        charge_before_log_mah: mah(first.charge_a_s),
        charge_in_log_mah: mah(last.charge_a_s - first.charge_a_s),
        charge_at_race_end_mah: mah(end.charge_a_s),
        ohmic_mohm: range_m(|row| row.ohm),
        within_a_second_mohm: range_m(|row| row.ohm_within_a_second),
        peak_rpm: highest(|row| row.rpm),
        top_speed_m_s: highest(|row| row.car),
        coast_m_s2: coasting(trace, (first.at_s, last.at_s), highest(|row| row.car)),
        highest_winding_c: trace.highest_winding_c,
        spins: trace
            .spins
            .iter()
            .filter(inside)
            .map(|spin| Spin { start_s: in_log(spin.start_s), end_s: in_log(spin.end_s), ..*spin })
            .collect(),
        halts_s: trace.halts_s.iter().map(|&(from, to, crash)| (in_log(from), in_log(to), crash)).collect(),
        laps_at: trace.rows.iter().map(|row| (in_log(row.at_s), row.way_m / track.lap_length_m)).collect(),
        car_m_s: every(|row| row.car),
        wheel_m_s: every(|row| row.wheel),
        slip: every(Moment::slip),
        motor_c: every(|row| row.motor_c),
        controller_c: every(|row| row.controller_c),
        energy: trace.energy,
        charge_mah: mah(trace.charge_a_s),
        ground_m: trace.ground_m,
    }
}

/// Median deceleration off throttle and brake between two times (s from power-on), at speeds between a quarter and
/// three quarters of the top speed, m/s².
fn coasting(trace: &Trace, (from_s, until_s): (f64, f64), top_m_s: f64) -> Option<f64> {
    let counts = |moment: &&Coasting| {
        (from_s..=until_s).contains(&moment.at_s) && (0.25 * top_m_s..0.75 * top_m_s).contains(&moment.car)
    };
    let mut all: Vec<f64> = trace.coasting.iter().filter(counts).map(|moment| moment.slows_m_s2).collect();
    all.sort_by(f64::total_cmp);
    all.get(all.len() / 2).copied()
}
