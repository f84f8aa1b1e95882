//! The systems in the forward model apart from the program, `tests/world/`.

use super::figures::{RATE_HZ, States, TrueRun};
use super::table::{Change, System, rotor_factors};
use super::trial::{CarOnSheet, DrivenRun, Garage, RACE_S};
use crate::world::car::Car;
use crate::world::dice::Dice;
use crate::world::drive::{self, RowClock, Setup};
use crate::world::heat::Temperatures;
use crate::world::plan::{self, Settings};
use crate::world::trace::{Moment, Trace};
use crate::world::track::Track;
use crate::world::weekend::log_text;
use crate::world::{LapList, Opening, Recorder, Sheet};

/// Lap times that a car is to have on its track, s.
const LAP_S: (f64, f64) = (8.0, 19.5);
/// Ripple that a recorder without a capacitor at the controller sees on the pack's voltage, V.
const RIPPLE_V: f64 = 0.02;
/// How much warmer than the air the car starts at most, °C.
const WARM_K: f64 = 6.0;
/// Streams of chance: of the weekend, and of its runs.
const STREAM: u64 = 50_000;
const STREAMS_OF_RUN: u64 = 10;

/// A car of the second model on its track.
pub struct SecondWorld {
    system: System,
    seed: u64,
    track: Track,
    car: Car,
    sheet: Sheet,
    recorder: Recorder,
}

impl SecondWorld {
    /// The system's car on the track of a seed.
    pub fn new(system: System, seed: u64, spins_much: bool) -> Self {
        let mut dice = Dice::new(seed, STREAM + system as u64);
        let (track, car) = loop {
            let mut track = Track::draw(&mut dice);
            track.surface = system.surface();
            let car = if system.is_tourer() { Car::tourer(&mut dice, &track) } else { Car::pan(&mut dice, &track) };
            let car = car.wound(&mut dice, system.turns(), &track);
            if (LAP_S.0..LAP_S.1).contains(&car.geared_lap(&track).seconds) {
                break (track, car);
            }
        };
        let car = if spins_much { car.opening(Opening::EveryCorner) } else { car };
        let sheet = Sheet::draw(&mut dice, &track, std::slice::from_ref(&car), RACE_S);
        let mut recorder = Recorder::draw(&mut dice);
        (recorder.rate_hz, recorder.jitter_s, recorder.lost) = (RATE_HZ, 0.0, (0, 0));
        recorder.has_throttle = true;
        Self { system, seed, track, car, sheet, recorder }
    }

    /// The car and how it is set up for a run.
    fn set_up(&self, run: usize, changed: Option<Change>, dice: &mut Dice) -> (Car, Setup) {
        let value = |of| self.system.value(of, changed, self.car.pinion);
        let pinion = value(Change::Pinion) as u32;
        let settings = Settings {
            pinion,
            pinion_on_sheet: pinion,
            timing_deg: value(Change::Timing),
            drag_brake_pct: value(Change::DragBrake),
            fan_mm: value(Change::MotorFan),
            fan_turns: true,
            air_c: dice.between(18.0, 26.0),
        };
        let mut setup = plan::setup(dice, &self.car, &self.track, &settings, (run, RACE_S, true), None);
        setup.start = Temperatures::all(settings.air_c + dice.between(0.0, WARM_K));
        let mut car = self.car.clone();
        car.controller_fan_mm = value(Change::ControllerFan);
        let rotor_mm = self.system.levels(Change::Rotor, pinion).0;
        let (constant, inertia) = rotor_factors(rotor_mm, value(Change::Rotor));
        (car.motor.constant, car.motor.rotor_kg_m2) = (car.motor.constant * constant, car.motor.rotor_kg_m2 * inertia);
        (car, setup)
    }

    fn truth(&self, setup: &Setup, trace: &Trace) -> TrueRun {
        let rows = &trace.rows;
        let (first, last) = (trace.passings_s[0], trace.passings_s[trace.passings_s.len() - 1]);
        let charge = |at_s: &f64| {
            let next = rows.partition_point(|row| row.at_s < *at_s).clamp(1, rows.len() - 1);
            let (before, after) = (&rows[next - 1], &rows[next]);
            let share = (at_s - before.at_s) / (after.at_s - before.at_s);
            before.charge_a_s + share * (after.charge_a_s - before.charge_a_s)
        };
        let raced: Vec<&Moment> = rows.iter().filter(|row| (first..=last).contains(&row.at_s)).collect();
        let every = |of: fn(&Moment) -> f64| rows.iter().map(of).collect::<Vec<f64>>();
        let end = trace.race_end;
        States {
            passings_s: &trace.passings_s,
            turns: &trace.turns_at_passings,
            charge_a_s: &trace.passings_s.iter().map(charge).collect::<Vec<f64>>(),
            energy_j: raced.iter().map(|row| row.voltage * row.current).sum::<f64>() / RATE_HZ,
            rises_k: (end.motor_c - setup.air_c, end.controller_c - setup.air_c),
            car: &every(|row| row.car),
            wheel: &every(|row| row.wheel),
            rpm: &every(|row| row.rpm),
            throttle: &every(|row| row.hand),
            coasting: &trace.coasting.iter().map(|at| (at.car, at.slows_m_s2)).collect::<Vec<_>>(),
            spins: &trace.spins.iter().map(|spin| (spin.start_s, spin.end_s)).collect::<Vec<_>>(),
            tyre_m: 1e-3 * self.sheet.cars[0].tyre_diameter_mm,
            lap_length_m: self.sheet.lap_length_m,
            pack_mohm: 1e3 * raced.iter().map(|row| row.ohm).sum::<f64>() / raced.len() as f64,
        }
        .figures()
    }
}

impl Garage for SecondWorld {
    fn sheet(&self) -> CarOnSheet {
        let car = &self.sheet.cars[0];
        CarOnSheet {
            lap_length_m: self.sheet.lap_length_m,
            lap_length_plus_minus_m: self.sheet.plus_minus_m,
            mass_kg: car.mass_kg,
            internal_ratio: car.internal_ratio,
            spur: car.spur,
            pinion: car.pinion,
            tyre_mm: car.tyre_diameter_mm,
            turns: car.turns,
            cells: car.cells as u32,
            capacity_mah: car.capacity_mah,
        }
    }

    fn drive(&self, run: usize, changed: Option<Change>) -> DrivenRun {
        let stream = STREAM + 100 * (self.system as u64 + 1) + run as u64 * STREAMS_OF_RUN;
        let dice = |offset: u64| Dice::new(self.seed, stream + offset);
        let (car, setup) = self.set_up(run, changed, &mut dice(0));
        let rows = RowClock { rate_hz: RATE_HZ, jitter_s: 0.0, dice: dice(1) };
        let trace = drive::drive(&car, &self.track, &setup, rows, dice(2));
        let mut recorder = self.recorder.clone();
        if changed != Some(Change::Capacitor) {
            recorder.volt_noise = recorder.volt_noise.hypot(RIPPLE_V);
        }
        let columns = recorder.record(&trace.rows, &mut dice(3));
        DrivenRun {
            log: log_text(&columns, recorder.has_throttle).into_bytes(),
            lap_list: LapList::draw(&mut dice(4), &trace.passings_s, false).text(),
            air_c: setup.air_c,
            truth: self.truth(&setup, &trace),
        }
    }
}
