//! The car's speed over ground against its wheels': the exact way to slip.
//!
//! Slip = 1 − ground speed / (revs × travel for a turn). The travel for a turn while the tyres roll is the scale. It is
//! the sheet's rollout, unless the run says that this is another car's: where the car rolls without throttle, and where
//! it is driven gently, wheels and car go together to a few per cent. Tyres that drive are only ever faster than the
//! car, so of several gentle ways the one with the least slip tells most. A ratio that is off in the median is no
//! reason against the channel: at nine per cent of usual slip it is slip.
//!
//! What is wrong with the channel by itself is found here too and weighed in [`crate::evidence`]: another unit than
//! was written, a lag, a receiver that is too slow, a speed that was worked out from the revs, missing fixes.
//!
//! Wrong where sheet and run are off alike, and where no part of a run is gentle and the sheet has no rollout.

use super::fixes::{Fixes, Lag, Lost, MOVING_M_S, Wheels};
use crate::statistics::quantiles::{median, median_step, quantile, robust_deviation};
use crate::statistics::second_differences::noise_of;

/// Seconds in a minute: revs are in turns a minute.
const MINUTE_S: f64 = 60.0;
/// The sheet's rollout holds where the run's own scale is within this of it, as a logarithm. Common practice, no
/// source: slip of gentle driving, a flattened tyre, wear; a tooth of the pinion is more.
const SAME_SCALE: f64 = 0.025;
/// The run's own scale is taken where its ways of driving agree within this, as a logarithm. Common practice, no
/// source: gentle driving takes one to three per cent of slip.
const AGREE: f64 = 0.03;
/// The quantile of the ways that agree. A default.
const BEST: f64 = 0.75;
/// Relative standard uncertainty of the usual ratio as a scale: it has drive slip in it. Common practice, no source.
const USUAL_U: f64 = 0.05;
/// Gentle driving: the change of speed is among the least third of all. A default.
const GENTLE: f64 = 1.0 / 3.0;
/// Parts by speed in which gentle driving is looked at, and the fewest fixes of each.
const PARTS: usize = 8;
const LEAST_FIXES: usize = 12;
/// Fewest ways of driving that can agree.
const LEAST_WAYS: usize = 3;
/// Neighbouring fixes tell the same: one in so many counts. A default.
const ALIKE: f64 = 5.0;
/// Demand below which a car rolls, as a share of the highest. Common practice, no source.
const ROLLS: f64 = 0.05;
/// Units that a speed is taken for by mistake: what it is then times too large. km/h or mph as m/s, m/s as km/h or mph,
/// mph as km/h and the other way round.
const UNITS: [f64; 6] = [3.6, 2.236_936, 1.0 / 3.6, 1.0 / 2.236_936, 1.609_344, 1.0 / 1.609_344];
/// A ratio is a unit's where it is within this of it, as a logarithm: usual slip, and what is wrong on the sheet.
const UNIT_FITS: f64 = 0.10;
/// Fixes a second below which a short spin falls between two. A car that brakes and gathers speed at 8 m/s² each is
/// drawn past by 1.3 m/s there (common practice, no source).
const LEAST_FIXES_HZ: f64 = 3.0;
/// Share of missing rows above which a channel is not used.
const MOST_LOST: f64 = 0.5;
/// A speed whose ratio to the revs stays within this, from the least but one in a hundred to the highest but one, was
/// worked out from them. Common practice, no source: tyres that drive and brake slip by more.
const FROM_REVS: f64 = 0.01;
/// Fewest fixes that tell it.
const LEAST_FROM_REVS: usize = 200;
/// A receiver measures no more often than this, s, whatever is drawn between. Common practice, no source.
const INDEPENDENT_S: f64 = 0.1;
/// Wheels go with the car while they are within this share of its speed: usual slip comes and goes by less. Common
/// practice, no source.
const TOGETHER: f64 = 0.12;
/// Fewest rows without a speed that are worth a word, as a share.
const LEAST_LOST: f64 = 0.005;

/// What is wrong with a ground-speed channel by its own evidence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum GroundFault {
    /// It is so many times what it should be: another unit.
    Unit(f64),
    /// It comes late, s.
    Late(f64),
    /// It comes late by a time that changes within the run.
    Wanders,
    /// So few new values a second.
    Slow(f64),
    /// It was worked out from the revs.
    FromRevs,
    /// Fixes are missing.
    Lost(Lost),
}

impl GroundFault {
    /// Whether nothing is left that tells slip.
    pub fn refuses(self) -> bool {
        match self {
            Self::Slow(_) | Self::FromRevs | Self::Wanders => true,
            Self::Lost(lost) => lost.share > MOST_LOST,
            Self::Unit(_) | Self::Late(_) => false,
        }
    }
}

/// Travel of rolling tyres for a turn of the motor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// m/s for a turn a minute.
    pub m_s_per_rpm: f64,
    /// Its relative standard uncertainty; none where it is the sheet's, which all answers go by.
    pub relative_u: f64,
}

/// The car's speed over ground at the rows of the wheels.
#[derive(Debug, Clone)]
pub struct Ground {
    /// m/s; NaN where it is not known.
    pub speed: Vec<f64>,
    /// Standard deviation of a fix, m/s.
    pub noise_m_s: f64,
    /// Time between fixes that tell something new, s.
    pub step_s: f64,
    /// Against the revs while the tyres roll.
    pub scale: Scale,
    /// m/s for a turn a minute as it usually is in this run, drive slip included.
    pub usual_m_s_per_rpm: f64,
}

impl Ground {
    /// Revs of the car row by row: its wheels' while they go with it as usual, else those of its speed over ground, and
    /// `by_revs` where that is not known.
    pub fn car_rpm(&self, wheels: &[f64], by_revs: &[f64]) -> Vec<f64> {
        let car = |n: usize| {
            let car = self.speed[n] / self.usual_m_s_per_rpm;
            if car.is_nan() {
                by_revs[n]
            } else if self.speed[n] < MOVING_M_S || (wheels[n] - car).abs() < TOGETHER * wheels[n].max(car) {
                wheels[n]
            } else {
                car
            }
        };
        (0..wheels.len()).map(car).collect()
    }
}

/// A channel as it was read: its speed, where it is of use, and what is wrong with it.
#[derive(Debug, Clone, Default)]
pub struct GroundReading {
    /// The speed; `None` where it tells no slip.
    pub ground: Option<Ground>,
    /// What is wrong with the channel.
    pub faults: Vec<GroundFault>,
}

/// Reads a ground speed (m/s by row) against the wheels. `demand` is how hard the motor drives in each row as a share
/// of the hardest (empty where the log does not tell), `travel_mm` the travel for a motor turn by the sheet.
pub fn read(wheels: Wheels, speed: &[f64], demand: &[f64], travel_mm: Option<f64>) -> GroundReading {
    let silent = GroundReading { ground: None, faults: vec![GroundFault::Lost(Lost { times: 1, share: 1.0 })] };
    let Some(fixes) = Fixes::of(wheels, speed) else { return silent };
    let mut faults = Vec::new();
    let lag_s = match fixes.lag(wheels) {
        Lag::None => 0.0,
        Lag::Steady(seconds) => {
            faults.push(GroundFault::Late(seconds));
            seconds
        }
        Lag::Wanders => return GroundReading { ground: None, faults: vec![GroundFault::Wanders] },
    };
    let fixes = fixes.earlier(lag_s);
    let Some(usual) = median(fixes.ratios(wheels, 0.0).map(|(_, ratio)| ratio)) else {
        return silent;
    };
    let by_sheet = travel_mm.map(|mm| (mm / 1000.0 / MINUTE_S).ln());
    let factor = by_sheet.and_then(|sheet| unit_factor(usual - sheet));
    faults.extend(factor.map(GroundFault::Unit));
    let fixes = fixes.divided_by(factor.unwrap_or(1.0));
    let ratios: Vec<(usize, f64)> = fixes.ratios(wheels, 0.0).collect();
    if fixes.step_s > 1.0 / LEAST_FIXES_HZ {
        faults.push(GroundFault::Slow(1.0 / fixes.step_s));
    } else if is_from_revs(&ratios) {
        faults.push(GroundFault::FromRevs);
    }
    if fixes.lost.share > LEAST_LOST {
        faults.push(GroundFault::Lost(fixes.lost));
    }
    let usual = usual - factor.map_or(0.0, f64::ln);
    let ground = faults.iter().all(|fault| !fault.refuses()).then(|| {
        let own = own_scale(&fixes, &ratios, wheels, demand);
        let scale = scale(by_sheet, own, usual);
        Ground {
            speed: fixes.at_times(wheels.time),
            noise_m_s: noise_m_s(&fixes, &ratios),
            step_s: fixes.step_s.max(INDEPENDENT_S),
            scale,
            usual_m_s_per_rpm: usual.exp(),
        }
    });
    GroundReading { ground, faults }
}

/// The factor of a unit that was taken for another, where the logarithm of the usual ratio over the sheet's shows one.
fn unit_factor(off: f64) -> Option<f64> {
    UNITS.into_iter().find(|factor| (off - factor.ln()).abs() < UNIT_FITS)
}

/// Whether the ratio to the revs hardly ever changes.
fn is_from_revs(ratios: &[(usize, f64)]) -> bool {
    let at = |share: f64| quantile(ratios.iter().map(|r| r.1), share).unwrap_or(0.0);
    ratios.len() >= LEAST_FROM_REVS && at(0.99) - at(0.01) < FROM_REVS
}

/// A scale by the run itself.
#[derive(Debug, Clone, Copy)]
struct OwnScale {
    /// Logarithm of m/s for a turn a minute.
    log: f64,
    /// Standard error of the way it was taken from.
    error: f64,
    /// By how much the ways of driving differ.
    range: f64,
}

impl OwnScale {
    /// Its relative standard uncertainty: wheels that are off by one scale are so in every way of driving; where the
    /// ways differ, it is slip or worse.
    fn u(&self) -> f64 {
        self.error.hypot(self.range / 2.0)
    }
}

/// The run's own scale where its ways of driving agree, else the sheet's rollout where the run does not contradict it,
/// else what is usual.
fn scale(by_sheet: Option<f64>, own: Option<OwnScale>, usual: f64) -> Scale {
    let by_run = |own: OwnScale, doubt: f64| Scale { m_s_per_rpm: own.log.exp(), relative_u: doubt };
    if let Some(own) = own.filter(|own| own.range < AGREE) {
        return by_run(own, own.error);
    }
    let contradicts = |sheet: f64| own.is_some_and(|own| (own.log - sheet).abs() > SAME_SCALE.max(3.0 * own.u()));
    match (by_sheet.filter(|sheet| !contradicts(*sheet)), own) {
        (Some(sheet), _) => Scale { m_s_per_rpm: sheet.exp(), relative_u: 0.0 },
        (None, Some(own)) => by_run(own, own.u()),
        (None, None) => Scale { m_s_per_rpm: usual.exp(), relative_u: USUAL_U },
    }
}

/// The scale by gentle driving and by rolling: of its parts by speed the one in which the car is fastest against its
/// wheels.
fn own_scale(fixes: &Fixes, ratios: &[(usize, f64)], wheels: Wheels, demand: &[f64]) -> Option<OwnScale> {
    let changes: Vec<(usize, f64, f64)> =
        ratios.iter().filter_map(|&(n, ratio)| Some((n, ratio, fixes.change(n)?.abs()))).collect();
    let gentle = quantile(changes.iter().map(|c| c.2), GENTLE)?;
    let mut kept: Vec<(f64, f64, bool)> = changes
        .iter()
        .filter(|(_, _, change)| *change <= gentle)
        .map(|&(n, ratio, _)| (fixes.speed[n], ratio, rolls(wheels, demand, fixes.at[n])))
        .collect();
    kept.sort_by(|a, b| a.0.total_cmp(&b.0));
    let size = kept.len().div_ceil(PARTS).max(LEAST_FIXES);
    let of = |ratios: Vec<f64>| {
        let log = median(ratios.iter().copied()).filter(|_| ratios.len() >= LEAST_FIXES)?;
        let scatter = robust_deviation(&ratios)? / (ratios.len() as f64 / ALIKE).sqrt();
        Some(OwnScale { log, error: scatter, range: 0.0 })
    };
    let parts = kept.chunks(size).filter_map(|part| of(part.iter().map(|k| k.1).collect()));
    let rolling = of(kept.iter().filter(|k| k.2).map(|k| k.1).collect());
    let ways: Vec<OwnScale> = parts.chain(rolling).collect();
    let best = ways.iter().copied().max_by(|a, b| a.log.total_cmp(&b.log)).filter(|_| ways.len() >= LEAST_WAYS)?;
    let least = ways.iter().map(|way| way.log).fold(best.log, f64::min);
    let usual_best = quantile(ways.iter().map(|way| way.log), BEST)?;
    let range = best.log - least;
    // The highest of several has the most luck; where they agree, the best quarter is as good without it.
    Some(OwnScale { range, log: if range < AGREE { usual_best } else { best.log }, ..best })
}

/// Whether the motor does not drive at a time.
fn rolls(wheels: Wheels, demand: &[f64], time: f64) -> bool {
    let row = wheels.time.partition_point(|t| *t < time);
    demand.get(row).is_some_and(|d| d.abs() < ROLLS)
}

/// Noise of a fix, m/s. Second differences have the car's own changes in them where fixes are few, and the ratio to the
/// revs has slip in it: both are too large, and the smaller counts.
fn noise_m_s(fixes: &Fixes, ratios: &[(usize, f64)]) -> f64 {
    let apart = (INDEPENDENT_S.max(fixes.step_s) / row_step_s(fixes)).round().max(1.0) as usize;
    let moving = |n: &usize| [0, apart, 2 * apart].iter().all(|k| fixes.speed[n + k] > MOVING_M_S);
    let bend = |n: usize| fixes.speed[n] - 2.0 * fixes.speed[n + apart] + fixes.speed[n + 2 * apart];
    let second: Vec<f64> = (0..fixes.speed.len().saturating_sub(2 * apart)).filter(moving).map(bend).collect();
    let by_fixes = noise_of(&second).unwrap_or(f64::INFINITY);
    let scatter = robust_deviation(&ratios.iter().map(|r| r.1).collect::<Vec<f64>>());
    let usual_speed = median(ratios.iter().map(|r| fixes.speed[r.0]));
    let by_revs = scatter.zip(usual_speed).map_or(f64::INFINITY, |(scatter, speed)| scatter * speed);
    by_fixes.min(by_revs)
}

/// Usual time between the fixes as they stand in the log, s: those between which a line is drawn are nearer than what
/// the receiver measured.
fn row_step_s(fixes: &Fixes) -> f64 {
    median_step(&fixes.at).unwrap_or(fixes.step_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Travel for a motor turn, mm.
    const TRAVEL_MM: f64 = 30.0;

    /// A hundred seconds of driving, twenty rows a second: times, revs, and the car's speed by time.
    fn driven(slip: impl Fn(f64) -> f64) -> (Vec<f64>, Vec<f64>) {
        let time: Vec<f64> = (0..2000).map(|n| f64::from(n) * 0.05).collect();
        let rpm = time.iter().map(|&t| speed(t) / (1.0 - slip(t)) / (TRAVEL_MM / 60_000.0)).collect();
        (time, rpm)
    }

    /// Speed of the car, m/s: a lap of seven seconds with three corners.
    fn speed(t: f64) -> f64 {
        7.0 + 3.0 * (t * 0.9).sin() + 1.5 * (t * 2.7).cos()
    }

    /// Two per cent of slip, more where the car gathers speed.
    fn gripping(t: f64) -> f64 {
        0.01 + 0.004 * (speed(t + 0.01) - speed(t)) / 0.01
    }

    fn of(rows: &(Vec<f64>, Vec<f64>), ground: impl Fn(f64) -> f64) -> GroundReading {
        let (time, rpm) = rows;
        let ground: Vec<f64> = time.iter().map(|&t| (ground(t) * 100.0).round() / 100.0).collect();
        read(Wheels::new(time, rpm), &ground, &[], Some(TRAVEL_MM))
    }

    #[test]
    fn usual_slip_of_nine_per_cent_at_speed_is_slip_and_no_scale() {
        let slips = |t: f64| 0.09 * (speed(t) / 9.0).min(1.0).powi(2);
        let scale = of(&driven(slips), speed).ground.unwrap().scale;
        let off = scale.m_s_per_rpm / (TRAVEL_MM / 60_000.0) - 1.0;
        assert!(scale.relative_u == 0.0 && off.abs() < 1e-9, "{scale:?}");
    }

    #[test]
    fn a_sheet_of_another_gearing_gives_way_to_the_run() {
        let (time, rpm) = driven(gripping);
        let ground: Vec<f64> = time.iter().map(|&t| speed(t)).collect();
        let reading = read(Wheels::new(&time, &rpm), &ground, &[], Some(1.08 * TRAVEL_MM));
        let off = reading.ground.unwrap().scale.m_s_per_rpm / (TRAVEL_MM / 60_000.0) - 1.0;
        assert!(off.abs() < 0.015, "{off}");
    }

    #[test]
    fn a_lag_and_a_unit_are_found() {
        let faults = of(&driven(gripping), |t| 3.6 * speed(t - 0.4)).faults;
        assert!(
            matches!(faults[..], [GroundFault::Late(s), GroundFault::Unit(3.6)] if (s - 0.4).abs() < 0.03),
            "{faults:?}"
        );
    }

    #[test]
    fn a_value_a_second_is_too_slow_and_five_are_not() {
        let held = |hz: f64| of(&driven(gripping), move |t| speed(((t + 1e-6) * hz).floor() / hz));
        assert!(matches!(held(1.0).faults[..], [.., GroundFault::Slow(hz)] if (hz - 1.0).abs() < 0.05));
        assert!(held(1.0).ground.is_none() && held(5.0).ground.is_some());
        let lines = |t: f64| speed(t.floor()) + (t - t.floor()) * (speed(t.floor() + 1.0) - speed(t.floor()));
        assert!(of(&driven(gripping), lines).ground.is_none());
    }

    #[test]
    fn a_speed_that_is_the_revs_tells_nothing() {
        let reading = of(&driven(|_| 0.0), speed);
        assert_eq!((reading.faults, reading.ground.is_none()), (vec![GroundFault::FromRevs], true));
    }

    #[test]
    fn zeros_while_the_wheels_turn_are_no_speed() {
        let reading = of(&driven(gripping), |t| if (40.0..42.0).contains(&t) { 0.0 } else { speed(t) });
        let ground = reading.ground.unwrap();
        assert!(ground.speed[820].is_nan() && (ground.speed[780] - speed(39.0)).abs() < 0.02);
        assert!(matches!(reading.faults[..], [GroundFault::Lost(Lost { times: 1, .. })]), "{:?}", reading.faults);
    }
}
