//! The systems in the program's own forward model, `src/demo/`. The cars' constants are decreed, as all of that model.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use runtrue::demo::car::{CarSpec, MotorLoss};
use runtrue::demo::drive::{Drive, Timing};
use runtrue::demo::manner::Manner;
use runtrue::demo::recorder::{Recorder, Rows};
use runtrue::demo::simulation::simulate;
use runtrue::demo::trace::{TRACE_HZ, Trace};
use runtrue::demo::track::{Track, normal};
use runtrue::log::Channel;

use super::figures::{RATE_HZ, States, TrueRun};
use super::table::{Change, System, fan_factor, rotor_factors};
use super::trial::{CarOnSheet, DrivenRun, Garage, RACE_S};

/// Chance of wheelspin out of a corner, in an ordinary weekend and in one with much of it.
const SPIN: (f64, f64) = (0.02, 0.15);
/// Cooling of motor and controller by a fan of 30 mm, W/K.
const MOTOR_FAN_W_K: f64 = 0.16;
const CONTROLLER_FAN_W_K: f64 = 0.12;
/// What 7° more timing does, as in the sample weekend.
const MORE_TIMING: Timing = Timing { motor_constant: 0.955, loss: 1.10 };
/// Ripple that a recorder without a capacitor at the controller sees on the pack's voltage, V.
const RIPPLE_V: f64 = 0.02;
/// Half-width of the lap length's interval on the sheet, as a share, and deviation of the true length from it.
const TAPE: f64 = 0.004;
/// Hand up to which the car coasts.
const COASTING_HAND: f64 = 0.02;

/// A car of the first model on its track.
pub struct FirstWorld {
    system: System,
    seed: u64,
    spin: f64,
    car: CarSpec,
    track: Track,
    stated_length_m: f64,
}

impl FirstWorld {
    /// The system's car on the track of a seed.
    pub fn new(system: System, seed: u64, spins_much: bool) -> Self {
        let car = spec(system);
        let mut rng = ChaCha8Rng::seed_from_u64(seed * 7 + 1);
        let top_m_s = if system == System::AsphaltTourer { 20.0 } else { 14.0 };
        let track = Track::invent(rng.random_range(100.0..220.0), top_m_s, &mut rng);
        let stated_length_m = track.length * (1.0 + TAPE / 1.96 * normal(&mut rng));
        let spin = if spins_much { SPIN.1 } else { SPIN.0 };
        Self { system, seed, spin, car, track, stated_length_m }
    }

    /// The car and how it is driven in a run.
    fn set_up(&self, run: usize, changed: Option<Change>) -> (CarSpec, Drive) {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed * 7_000 + run as u64);
        let value = |of| self.system.value(of, changed, self.car.pinion);
        let (mut car, mut drive) = (self.car.clone(), Drive::plain(&self.car));
        (drive.ambient, drive.warm) = (rng.random_range(20.0..26.0), rng.random_range(1.0..6.0));
        (drive.length, drive.spin, drive.from_grid) = (RACE_S, self.spin, true);
        drive.tyre -= car.wear * run as f64;
        drive.pack_age = rng.random_range(0.97..1.03);
        drive.pinion = value(Change::Pinion) as u32;
        drive.drag_brake = value(Change::DragBrake) / 100.0;
        drive.fan = fan_factor(value(Change::MotorFan));
        car.controller.cooling += CONTROLLER_FAN_W_K * fan_factor(value(Change::ControllerFan));
        if changed == Some(Change::Timing) {
            drive.timing = MORE_TIMING;
        }
        let rotor_mm = self.system.levels(Change::Rotor, self.car.pinion).0;
        let (constant, inertia) = rotor_factors(rotor_mm, value(Change::Rotor));
        (car.motor_constant, car.rotor) = (car.motor_constant * constant, car.rotor * inertia);
        (car, drive)
    }

    /// The rows of a log. A capacitor takes the ripple off the voltage.
    fn rows(&self, trace: &Trace, run: usize, changed: Option<Change>) -> Rows {
        let mut recorder = Recorder::plain(RATE_HZ);
        recorder.channels.push(Channel::Throttle);
        let mut rows = recorder.sample(trace, self.seed * 1_000 + run as u64);
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed * 9_000 + run as u64);
        if changed != Some(Change::Capacitor) {
            let volts = rows.channels.iter_mut().find(|channel| channel.0 == Channel::Voltage).unwrap();
            volts.1.iter_mut().for_each(|volt| *volt += RIPPLE_V * normal(&mut rng));
        }
        rows
    }

    fn truth(&self, car: &CarSpec, drive: &Drive, trace: &Trace) -> TrueRun {
        let row = |at_s: f64| (at_s * TRACE_HZ) as usize;
        let (first, last) = (row(trace.passings[0]), row(trace.passings[trace.passings.len() - 1]));
        let end = row(trace.passings[0] + RACE_S);
        let integral = |of: &dyn Fn(usize) -> f64, from: usize, to: usize| (from..to).map(of).sum::<f64>() / TRACE_HZ;
        let charge = |at_s: &f64| integral(&|n| trace.current[n], 0, row(*at_s));
        let rows = |of: &dyn Fn(usize) -> f64| -> Vec<f64> {
            (0..trace.speed.len()).step_by((TRACE_HZ / RATE_HZ) as usize).map(of).collect()
        };
        let coasts = |n: &usize| trace.throttle[*n].abs() < COASTING_HAND && trace.speed[*n] > 0.0;
        let slows = |n: usize| (trace.speed[n], 0.5 * TRACE_HZ * (trace.speed[n - 1] - trace.speed[n + 1]));
        States {
            passings_s: &trace.passings,
            turns: &trace.passing_turns,
            charge_a_s: &trace.passings.iter().map(charge).collect::<Vec<f64>>(),
            energy_j: integral(&|n| trace.voltage[n] * trace.current[n], first, last),
            rises_k: (trace.motor_c[end] - drive.ambient, trace.controller_c[end] - drive.ambient),
            car: &rows(&|n| trace.speed[n]),
            wheel: &rows(&|n| trace.wheel[n]),
            rpm: &rows(&|n| trace.motor[n] * 60.0 / std::f64::consts::TAU),
            throttle: &rows(&|n| trace.throttle[n]),
            coasting: &(1..trace.speed.len() - 1).filter(coasts).map(slows).collect::<Vec<_>>(),
            spins: &trace.wheelspin(),
            tyre_m: self.car.tyre,
            lap_length_m: self.stated_length_m,
            pack_mohm: 1000.0 * car.pack.ohmic * drive.pack_age,
        }
        .figures()
    }
}

impl Garage for FirstWorld {
    fn sheet(&self) -> CarOnSheet {
        let car = &self.car;
        CarOnSheet {
            lap_length_m: self.stated_length_m,
            lap_length_plus_minus_m: TAPE * self.stated_length_m,
            mass_kg: car.mass,
            internal_ratio: car.internal,
            spur: car.spur,
            pinion: car.pinion,
            tyre_mm: 1000.0 * car.tyre,
            turns: self.system.turns(),
            cells: car.cells,
            capacity_mah: car.capacity / 3.6,
        }
    }

    fn drive(&self, run: usize, changed: Option<Change>) -> DrivenRun {
        let (car, drive) = self.set_up(run, changed);
        let trace = simulate(&car, &self.track, &drive, self.seed * 1_000 + run as u64);
        let laps = trace.passings.windows(2).map(|lap| format!("{:.3}\n", lap[1] - lap[0]));
        DrivenRun {
            log: Manner::default().write(&self.rows(&trace, run, changed)),
            lap_list: "time\n".to_owned() + &laps.collect::<String>(),
            air_c: drive.ambient,
            truth: self.truth(&car, &drive, &trace),
        }
    }
}

/// The car of a system, fans apart.
fn spec(system: System) -> CarSpec {
    let mut car = if system.is_tourer() { CarSpec::tourer() } else { CarSpec::pan() };
    car.motor_cooling.fan = MOTOR_FAN_W_K;
    match system {
        System::AsphaltTourer | System::OpenPan => {}
        System::CarpetTourer => {
            (car.motor_constant, car.resistance) = (3.2e-3, 0.023);
            car.loss = MotorLoss { constant: 0.004, by_speed: 1.7e-6 };
            (car.spur, car.internal, car.pinion) = (96, 1.9, 38);
        }
        System::StockTourer => {
            (car.motor_constant, car.resistance) = (5.1e-3, 0.055);
            car.loss = MotorLoss { constant: 0.0045, by_speed: 3.0e-6 };
            (car.spur, car.internal, car.pinion) = (76, 1.9, 42);
        }
        System::SpecPan => {
            (car.motor_constant, car.resistance) = (4.1e-3, 0.036);
            car.loss = MotorLoss { constant: 0.003, by_speed: 2.5e-6 };
            (car.spur, car.pinion) = (70, 56);
        }
    }
    car
}
