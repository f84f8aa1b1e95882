//! What no temperature does whatever the part: stand still while the car is driven, jump, or swing like noise.

use super::Part;
use super::course::{Course, Readings};

/// Shortest driving after which a part has warmed by a fine step of its sensor, s; whole degrees take a motor twice as
/// long, and a controller, which warms by few degrees, eight times.
const WARMS_IN_S: f64 = 30.0;
/// A step of a sensor from which on it is coarse, and below which every lap shows, °C.
const COARSE_K: f64 = 0.5;
const FINE_K: f64 = 0.25;
/// A part this near the air is not warm, °C: two thermometers and a step.
const AT_AIR_K: f64 = 3.0;
/// The other part warms by so many steps of its sensor where this one would show one.
const OTHER_STEPS: f64 = 4.0;
/// Length of the means in which noise is averaged out, s.
const MEAN_S: f64 = 10.0;
/// Standard deviations of such a mean that say nothing.
const DEVIATIONS: f64 = 3.0;
/// A reading that changes by this much within [`JUMP_S`] and stays has jumped, °C: a winding of 8 J/K takes seconds of
/// full power for it, and its sensor lags by seconds more. Common practice, no source.
pub(super) const JUMP_K: f64 = 8.0;
/// Time within which a jump happens, s, and the time that it stays.
const JUMP_S: f64 = 2.0;
const STAYS_S: f64 = 5.0;
/// A reading that stays at the new level by this share of the jump has not come back.
const STAYS_SHARE: f64 = 0.7;
/// Typical change from row to row, °C, and from second to second, °C/s, that is not a part's: no part warms by more
/// than a few degrees a second, and none does so back and forth. Common practice, no source.
const ROW_NOISE_K: f64 = 3.0;
const SECOND_NOISE_K: f64 = 1.5;

/// Where a sensor stood over all of a run, °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stillness {
    /// Its reading.
    pub at_c: f64,
    /// Whether a part whose heat happens to be in balance from start to end may read the same.
    pub may_balance: bool,
}

/// Whether a sensor stood still over all of a run in which its part must have warmed. A controller that starts warm may
/// be in balance within a degree, but not where it starts at the air.
pub(super) fn stood_still(course: &Course, sensor: usize, air_c: Option<f64>) -> Option<Stillness> {
    let own = course.sensors[sensor].as_ref()?;
    let driven_s = course.driven_s(0..course.drives.len());
    let quantum = course.quantum(sensor);
    let moves = own.quantum.is_some() && spread(&averaged(course, own))? > stillness_k(own, quantum, course);
    if moves || driven_s < WARMS_IN_S {
        return None;
    }
    let is_motor = sensor == Part::Motor.index();
    let at_c = mean(&own.celsius)?;
    let above_air = air_c.is_none_or(|air| at_c > air + AT_AIR_K);
    let may_balance = quantum >= COARSE_K && above_air && !is_motor;
    let other_moves = course.sensors[1 - sensor]
        .as_ref()
        .and_then(|other| spread(&averaged(course, other)))
        .is_some_and(|spread| spread > OTHER_STEPS * course.quantum(1 - sensor));
    let long = driven_s >= if is_motor { 2.0 } else { 8.0 } * WARMS_IN_S;
    (long || other_moves && is_motor).then_some(Stillness { at_c, may_balance })
}

/// A part cannot have come to rest sooner than its heat allows, whatever it is: from the start of the driving until it
/// is within a step q of where it stands, h above its start, it takes at least τ·ln(h/q).
const QUICKEST_S: f64 = super::inertia::QUICKEST_S;
/// Readings within this share of a step of the sensor are one and the same.
const SAME: f64 = 0.01;

/// The step from which on a sensor read one and the same for longer than its part can while the car is driven: where it
/// reads finely each lap must show; else its part came to rest too soon after the start.
pub(super) fn stood_too_soon(course: &Course, sensor: usize, air_c: Option<f64>) -> Option<usize> {
    let celsius = &course.sensors[sensor].as_ref()?.celsius;
    let quantum = course.quantum(sensor);
    let start = course.drives.iter().position(|drives| *drives)?;
    let start_c = celsius[..=start].iter().rev().copied().find(|c| c.is_finite())?;
    let cold = air_c.is_some_and(|air| start_c <= air + AT_AIR_K);
    let (mut first, mut driven) = (0, 0usize);
    for (step, read) in celsius.iter().enumerate() {
        let moved = read - celsius[first];
        if moved.is_nan() || moved.abs() > SAME * quantum {
            (first, driven) = (step, 0);
        }
        driven = if course.drives[step] { driven + 1 } else { 0 };
        let long_s = driven as f64 * course.step_s;
        if long_s < 2.0 * WARMS_IN_S {
            continue;
        }
        let age_s = first.saturating_sub(start) as f64 * course.step_s;
        let steps = (read - start_c) / quantum;
        let too_soon = if sensor != Part::Motor.index() {
            first <= start && cold && long_s >= 6.0 * WARMS_IN_S
        } else if steps > 1.0 + SAME {
            age_s < QUICKEST_S * steps.ln() && long_s >= 3.0 * WARMS_IN_S
        } else {
            (cold || age_s < WARMS_IN_S) && long_s >= 4.0 * WARMS_IN_S
        };
        if quantum < FINE_K || too_soon {
            return Some(first);
        }
    }
    None
}

/// How much the means of a sensor that stands still differ by chance, °C.
fn stillness_k(own: &Readings, quantum: f64, course: &Course) -> f64 {
    let changes = own.celsius.windows(2).map(|w| (w[1] - w[0]).powi(2)).filter(|d| d.is_finite());
    let (sum, count) = changes.fold((0.0, 0u32), |(sum, count), d| (sum + d, count + 1));
    // The difference of two readings has twice the variance of one.
    let deviation = (sum / (2.0 * f64::from(count.max(1)))).sqrt();
    let of_mean = deviation / course.steps(MEAN_S).max(1) as f64;
    // Largest less smallest of some thirty means.
    (quantum * 0.5).max(2.0 * DEVIATIONS * of_mean)
}

/// Means over [`MEAN_S`].
fn averaged(course: &Course, own: &Readings) -> Vec<f64> {
    own.celsius.chunks(course.steps(MEAN_S).max(1)).filter_map(mean).collect()
}

fn mean(values: &[f64]) -> Option<f64> {
    let (sum, count) = values.iter().filter(|v| v.is_finite()).fold((0.0, 0u32), |(s, n), v| (s + v, n + 1));
    (count > 0).then(|| sum / f64::from(count))
}

fn spread(values: &[f64]) -> Option<f64> {
    let high = values.iter().copied().max_by(f64::total_cmp)?;
    let low = values.iter().copied().min_by(f64::total_cmp)?;
    Some(high - low)
}

/// The typical swing of a sensor that follows nothing, °C.
pub(super) fn swing(course: &Course, sensor: usize) -> Option<f64> {
    let own = course.sensors[sensor].as_ref()?;
    let mut changes: Vec<f64> =
        own.celsius.windows(2).map(|w| (w[1] - w[0]).abs() / course.step_s).filter(|d| d.is_finite()).collect();
    if changes.is_empty() {
        return None;
    }
    let middle = changes.len() / 2;
    let typical = *changes.select_nth_unstable_by(middle, f64::total_cmp).1;
    if own.row_noise_k > ROW_NOISE_K { Some(own.row_noise_k) } else { (typical > SECOND_NOISE_K).then_some(typical) }
}

/// A jump of a sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Jump {
    /// The last step before it.
    pub last_sound: usize,
    pub from_c: f64,
    pub to_c: f64,
}

/// The first jump of a sensor.
pub(super) fn jump(course: &Course, sensor: usize) -> Option<Jump> {
    let celsius = &course.sensors[sensor].as_ref()?.celsius;
    let (across, stays) = ((JUMP_S / course.step_s).floor() as usize, course.steps(STAYS_S).max(1));
    if across == 0 {
        return None;
    }
    (1..celsius.len().saturating_sub(across + stays - 1)).find_map(|step| {
        let (from_c, to_c) = (celsius[step - 1], celsius[step - 1 + across]);
        let change = to_c - from_c;
        if change.is_nan() || change.abs() < JUMP_K {
            return None;
        }
        let after = &celsius[step - 1 + across..step - 1 + across + stays];
        let stayed = |c: &f64| (c - from_c) * change.signum() >= STAYS_SHARE * change.abs();
        let before = &celsius[(step - 1).saturating_sub(stays - 1)..step];
        let was_there = |c: &f64| (to_c - c) * change.signum() >= STAYS_SHARE * change.abs();
        (after.iter().all(stayed) && before.iter().all(was_there)).then_some(Jump {
            last_sound: step - 1,
            from_c,
            to_c,
        })
    })
}
