//! What is set, goes wrong and happens in each run of a car.

use super::car::Car;
use super::dice::Dice;
use super::drive::{Halt, Setup};
use super::heat::{Fans, HeatIn, Temperatures};
use super::sheet::{CarSheet, RunSheet};
use super::track::Track;

/// Step in which a car cools between runs, s.
const COOLING_STEP_S: f64 = 0.1;

/// Settings of a run, as on the car.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Teeth on the car.
    pub pinion: u32,
    /// Teeth that the sheet is to say.
    pub pinion_on_sheet: u32,
    /// °.
    pub timing_deg: f64,
    /// %.
    pub drag_brake_pct: f64,
    /// mm.
    pub fan_mm: f64,
    /// Whether the fan turns.
    pub fan_turns: bool,
    /// Air, °C.
    pub air_c: f64,
}

/// Settings of all runs of a car. Where `clean`, the sheet is right and the fan turns.
pub fn settings(dice: &mut Dice, car: &Car, runs: usize, first_air_c: f64, clean: bool) -> Vec<Settings> {
    let warmer = dice.between(-0.6, 1.2);
    let changed = dice.whole(0, 4);
    let from_run = dice.whole(1, runs - 1);
    let in_turn = dice.chance(0.5);
    let timing = car.timing_deg + dice.pick(&[-6.0, -4.0, 4.0, 6.0, 8.0]);
    let drag_brake = car.drag_brake_pct + dice.pick(&[3.0, 5.0, 8.0]);
    let fan = if car.fan_mm > 0.0 { 0.0 } else { 30.0 };
    let pinion = if dice.chance(0.5) { car.pinion + 1 } else { car.pinion - 1 };
    let fails_from = if dice.chance(0.2) { dice.whole(1, runs - 1) } else { runs };
    let one = |run: usize| {
        let second = if in_turn { run % 2 == 1 } else { run >= from_run };
        let set = |key: usize| second && changed == key;
        let on_sheet = if set(0) { pinion } else { car.pinion };
        let wrong = if dice.chance(0.15) { dice.pick(&[-2, -1, -1, 1, 1, 2]) } else { 0 };
        let off = if clean { 0 } else { wrong };
        Settings {
            pinion: on_sheet.saturating_add_signed(off),
            pinion_on_sheet: on_sheet,
            timing_deg: if set(1) { timing } else { car.timing_deg },
            drag_brake_pct: if set(2) { drag_brake } else { car.drag_brake_pct },
            fan_mm: if set(3) { fan } else { car.fan_mm },
            fan_turns: clean || run < fails_from,
            air_c: (first_air_c + warmer * run as f64 + dice.normal(0.0, 0.4)).clamp(10.0, 40.0),
        }
    };
    (0..runs).map(one).collect()
}

/// The run's entry on the sheet.
pub fn run_sheet(settings: &Settings, car: &CarSheet) -> RunSheet {
    let other = |value: f64, usual: f64| (value != usual).then_some(value);
    RunSheet {
        ambient_c: Some((settings.air_c * 2.0).round() / 2.0),
        pinion: (settings.pinion_on_sheet != car.pinion).then_some(settings.pinion_on_sheet),
        timing_deg: other(settings.timing_deg, car.timing_deg),
        drag_brake_pct: other(settings.drag_brake_pct, car.drag_brake_pct),
        fan_mm: other(settings.fan_mm, car.fan_mm),
        more: Vec::new(),
    }
}

/// A run's setup with what will happen in it. `before` is how the car's run before was set up and how warm it ended.
pub fn setup(
    dice: &mut Dice,
    car: &Car,
    track: &Track,
    settings: &Settings,
    (run, race_s, clean): (usize, f64, bool),
    before: Option<Temperatures>,
) -> Setup {
    let gap_s = 60.0 * dice.between(4.0, 12.0);
    let start = match before.filter(|_| dice.chance(0.35)) {
        Some(warm) => cooled(car, warm, settings, gap_s),
        None => Temperatures::all(settings.air_c),
    };
    let mut pack = car.pack.clone();
    pack.ohm *= dice.between(0.97, 1.03);
    Setup {
        pinion: settings.pinion,
        timing_deg: settings.timing_deg,
        drag_brake_pct: settings.drag_brake_pct,
        fan_mm: settings.fan_mm,
        fan_turns: settings.fan_turns,
        air_c: settings.air_c,
        runs_before: run,
        start,
        pack,
        longer: dice.normal(0.0, 0.0008),
        waits_s: [dice.between(8.0, 50.0), dice.between(1.0, 3.0), dice.between(12.0, 70.0)],
        by_hand_rpm: if dice.chance(0.5) { dice.between(600.0, 3200.0) } else { 0.0 },
        to_line_m: dice.between(2.0, 12.0),
        race_s,
        after_s: [dice.between(4.0, 15.0), dice.between(5.0, 60.0)],
        halts: halts(dice, track, clean),
    }
}

fn halts(dice: &mut Dice, track: &Track, clean: bool) -> Vec<Halt> {
    let mut halts = Vec::new();
    let mut laps = dice.between(1.5, 6.0);
    for _ in 0..2 {
        let crash = dice.chance(0.7);
        let seconds = if crash { dice.between(2.0, 7.0) } else { dice.between(3.0, 25.0) };
        if dice.chance(0.16) {
            halts.push(Halt { way_m: laps * track.lap_length_m, seconds, crash });
        }
        laps += dice.between(1.2, 8.0);
    }
    if clean { Vec::new() } else { halts }
}

fn cooled(car: &Car, mut warm: Temperatures, settings: &Settings, seconds: f64) -> Temperatures {
    // The fans stand: the pack is out.
    for _ in 0..(seconds / COOLING_STEP_S) as usize {
        warm.step(&car.heat, COOLING_STEP_S, HeatIn::default(), 0.0, Fans::default(), settings.air_c);
    }
    warm
}
