//! The pack's energy against the car's.
//!
//! While the car speeds up from v₀ to v₁ it gains ½·m·(v₁² − v₀²), and the pack gives ∫V·I dt. What the car gains is a
//! part of what the pack gives: motor, controller, gears, air and tyres take the rest, and so do wheels and rotor,
//! which spin up too. The part is taken for each rise of the revs, and the run's is the median of the half of them that
//! took most energy; its interval is that of the median (order statistics). Speed = revs × travel for a motor turn, by
//! the lap length where the run's laps have one, else by gearing and tyre.
//!
//! Volts and amperes count from a moment before the rise until some time after it, since recorders send them late, as
//! means, or hold them: around a rise a pack gives next to nothing, so that this changes little.
//!
//! Wheels that spin are faster than the car until they grip again; the revs then fall with the current still on. Such a
//! fall belongs to the rise, which ends where the driver lifts.
//!
//! Where the shares of the rises scatter widely, the wheels still spin when the driver lifts in many of them: then the
//! lower quartile stands for the run, since a spin only puts a share up.
//!
//! Wrong where the wheels spin at the end of nearly all rises.

use crate::evidence::swings::Swing;
use crate::gears::set_rollout_mm;
use crate::log::Channel;
use crate::quantity::{COVERAGE_95, Estimate};
use crate::sheet::Sheet;
use crate::statistics::integral::{integral_between, running_integral};
use crate::statistics::quantiles::median;

use super::super::RunToWeigh;
use super::super::revs::turns;

/// The most that can reach the car: 90 % through motor and controller, 97 % through the gears, 3 % of it spent on
/// spinning up wheels and rotor. Common practice, no source.
const MOST_REACHES: f64 = 0.90 * 0.97 * 0.97;
/// How much the wheels' speed squared may be above the car's at the end of a rise: tyre and drive slip of 5 %. Common
/// practice, no source.
const SLIP: f64 = 1.10;
/// The largest share that can be.
pub const MOST: f64 = MOST_REACHES * SLIP;
/// The smallest share that can be in the best quarter of the rises: a motor at half of its no-load speed turns half of
/// its power into heat, gears take a fifth, and wheels, rotor, air and tyres half of the rest. Common practice, no
/// source.
pub const LEAST: f64 = 0.5 * 0.8 * 0.5;
/// Volts and amperes count from this long before a rise, s, and until this long after it. Common practice, no source.
const BEFORE_S: f64 = 0.15;
const AFTER_S: f64 = 0.5;
/// Share of the falls on either side of a rise that count with it, at most.
const SHARE_OF_FALL: f64 = 0.5;
/// Share of a rise's power from which the power is still on in the fall after it. Common practice, no source.
const STILL_ON: f64 = 0.5;
/// Quantiles of the shares of a run's rises. Rises that end in a spin lie far above the others.
const LOWER: f64 = 0.25;
const MIDDLE: f64 = 0.5;
const UPPER: f64 = 0.75;
/// The rises agree where their upper quartile is below this many times their lower one. Common practice, no source:
/// where few spin, they are within a fifth of each other; a spin puts the share up by a half and more.
const AGREE: f64 = 1.4;
/// Fewest rises that tell anything.
const LEAST_RISES: usize = 12;
/// The turns of a lap may be so far from the sheet's before the revs or the sheet are in doubt: then nothing is said of
/// the energy. Common practice, no source: slip and line make a lap up to a tenth longer in turns.
const TURNS_FIT: std::ops::Range<f64> = 0.85..1.25;
/// Seconds in a minute, and millimetres in a metre.
const MINUTE_S: f64 = 60.0;
const MM: f64 = 1000.0;

/// The share of the pack's energy that became the car's in the rises of a run; `None` where mass or travel is unknown,
/// revs, volts or amperes are missing, or rises are too few.
pub fn share(run: &RunToWeigh, sheet: &Sheet, revs: &[Swing]) -> Option<Shares> {
    let mass_kg = run.plan.settings.number("mass_kg")?;
    let travel_mm = match turns::of_lap_over_sheet(run, sheet) {
        Some(ratio) if !TURNS_FIT.contains(&ratio) => return None,
        Some(ratio) => set_rollout_mm(&run.plan.settings)? / ratio,
        None => set_rollout_mm(&run.plan.settings)?,
    };
    let time = run.log.time();
    let (volts, amps) = (run.log.channel(Channel::Voltage)?, run.log.channel(Channel::Current)?);
    // What brakes give back is not taken from what the pack gave.
    let watts: Vec<f64> = volts.iter().zip(amps).map(|(v, a)| if *a < 0.0 { 0.0 } else { v * a }).collect();
    let given = running_integral(time, &watts);
    let revs = across_spins(revs, |from, to| integral_between(&given, time, from, to) / (to - from));
    let kinetic = 0.5 * mass_kg * (travel_mm / MM / MINUTE_S).powi(2);
    let long = |n: usize| revs.get(n).map_or(0.0, |s| s.to_s - s.from_s);
    let rise = |n: usize| {
        let swing = &revs[n];
        let before = BEFORE_S.min(SHARE_OF_FALL * if n > 0 { long(n - 1) } else { 0.0 });
        let after = AFTER_S.min(SHARE_OF_FALL * long(n + 1));
        let joules = integral_between(&given, time, swing.from_s - before, swing.to_s + after);
        Rise { gained: kinetic * (swing.to * swing.to - swing.from * swing.from), given: joules }
    };
    let rises: Vec<Rise> = (0..revs.len()).filter(|&n| revs[n].rises()).map(rise).collect();
    let usual = median(rises.iter().map(|r| r.given))?;
    let sorted = |least: f64| {
        let mut shares: Vec<f64> =
            rises.iter().filter(|r| r.given > 0.0 && r.given >= least).map(Rise::share).collect();
        shares.sort_by(f64::total_cmp);
        shares
    };
    let large = sorted(usual);
    if large.len() < LEAST_RISES {
        return None;
    }
    let at = |share: f64| quantile_of_sorted(&large, share);
    let agree = at(UPPER).value < AGREE * at(LOWER).value;
    Some(Shares { usual: at(if agree { MIDDLE } else { LOWER }), best: quantile_of_sorted(&sorted(0.0), UPPER) })
}

/// The share of the pack's energy that became the car's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shares {
    /// In the usual of the larger rises.
    pub usual: Estimate,
    /// In the best quarter of all rises.
    pub best: Estimate,
}

impl Shares {
    /// The share that a sentence says: the usual one where it is too high, else the best one.
    pub fn said(&self) -> f64 {
        if self.usual.value > MOST { self.usual.value } else { self.best.value }
    }
}

/// Energies of a rise of the revs, J.
struct Rise {
    /// What the car gained.
    gained: f64,
    /// What the pack gave.
    given: f64,
}

impl Rise {
    fn share(&self) -> f64 {
        self.gained / self.given
    }
}

/// The swings with each fall under power made part of the rise around it; `mean_watts` is the power from one time to
/// another.
fn across_spins(revs: &[Swing], mean_watts: impl Fn(f64, f64) -> f64) -> Vec<Swing> {
    let mut whole: Vec<Swing> = Vec::with_capacity(revs.len());
    let mut at = 0;
    while at < revs.len() {
        let swing = revs[at];
        let next = revs.get(at + 1);
        match (whole.last_mut(), next) {
            (Some(rise), Some(next)) if rise.rises() && !swing.rises() => {
                // The end of the fall tells: in its beginning a current that is late still flows.
                let half = (swing.from_s + swing.to_s) / 2.0;
                let powered = mean_watts(half, swing.to_s) > STILL_ON * mean_watts(rise.from_s, rise.to_s);
                if powered && next.to > rise.from {
                    (rise.to_s, rise.to) = (next.to_s, next.to);
                    at += 2;
                    continue;
                }
                whole.push(swing);
            }
            _ => whole.push(swing),
        }
        at += 1;
    }
    whole
}

/// A quantile of sorted values with its 95 % interval by order statistics (normal approximation of the binomial).
fn quantile_of_sorted(sorted: &[f64], share: f64) -> Estimate {
    let n = sorted.len() as f64;
    let (middle, reach) = (n * share, COVERAGE_95 * (n * share * (1.0 - share)).sqrt());
    let ranked = |rank: f64| sorted[(rank.max(0.0) as usize).min(sorted.len() - 1)];
    Estimate {
        value: ranked(middle),
        low: ranked((middle - reach - 1.0).floor()),
        high: ranked((middle + reach).ceil()),
    }
}

/// What the energies of a run, against those of the car's other runs, say of its current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Verdict {
    /// Nothing against it.
    Fits,
    /// The share differs by this factor from that of the car's other runs, which agree.
    Unlike(f64),
    /// The share differs by this factor from that of the car's only other run.
    UnlikeTheOther(f64),
    /// The share cannot be, and in the car's other runs it can: it is not the mass.
    ImpossibleAlone,
    /// The share cannot be, and nothing tells whether current or mass is wrong.
    Impossible,
}

/// Shares that differ by this factor are not those of one car. Common practice, no source: pinion, timing, a worn pack
/// and wheelspin change it by a quarter.
const UNLIKE: f64 = 1.5;
/// The other runs agree where they are within this factor of their median. Common practice, no source.
const ALIKE: f64 = 1.25;
/// Share of the other runs that must agree.
const MOST_OF_THEM: f64 = 0.75;

/// Weighs a run's share against what is possible and against the car's `other` runs.
pub fn judge(own: &Shares, others: &[Shares]) -> Verdict {
    let possible = |shares: &Shares| shares.usual.low <= MOST && shares.best.high >= LEAST;
    let usual = median(others.iter().map(|o| o.usual.value)).unwrap_or(own.usual.value);
    let factor = own.usual.value / usual;
    let alike = others.iter().filter(|o| (o.usual.value / usual).ln().abs() < ALIKE.ln()).count() as f64;
    let agree = others.len() > 1 && alike >= MOST_OF_THEM * others.len() as f64;
    // The interval of the share must be clear of the others', too.
    let unlike = own.usual.low / usual > UNLIKE || own.usual.high / usual < 1.0 / UNLIKE;
    match possible(own) {
        false if others.iter().any(possible) && unlike => Verdict::ImpossibleAlone,
        _ if agree && unlike => Verdict::Unlike(factor),
        false => Verdict::Impossible,
        true if others.len() == 1 && unlike && possible(&others[0]) => Verdict::UnlikeTheOther(factor),
        true => Verdict::Fits,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rstest::rstest;

    fn about(value: f64) -> Shares {
        let share = Estimate::from_half_width(value, 0.02 * value);
        Shares { usual: share, best: share }
    }

    #[rstest]
    #[case(0.6, &[], Verdict::Fits)]
    #[case(1.2, &[], Verdict::Impossible)]
    #[case(0.06, &[], Verdict::Impossible)]
    #[case(1.2, &[1.2, 1.15, 1.25], Verdict::Impossible)]
    #[case(1.2, &[0.6], Verdict::ImpossibleAlone)]
    #[case(0.9, &[0.45, 0.5, 0.45], Verdict::Unlike(2.0))]
    #[case(0.45, &[0.9], Verdict::UnlikeTheOther(0.5))]
    #[case(0.6, &[0.55, 0.62, 1.2], Verdict::Fits)]
    fn a_share_against_what_is_possible_and_against_other_runs(
        #[case] own: f64,
        #[case] others: &[f64],
        #[case] expected: Verdict,
    ) {
        let others: Vec<Shares> = others.iter().copied().map(about).collect();
        assert_eq!(judge(&about(own), &others), expected);
    }

    #[test]
    fn the_interval_of_a_median_by_order_statistics() {
        // A hundred values: the 40th to the 61st (Hollander and Wolfe 1999, 3.6, normal approximation).
        let sorted: Vec<f64> = (1..=100).map(f64::from).collect();
        let found = quantile_of_sorted(&sorted, 0.5);
        assert!((39.0..=41.0).contains(&found.low) && (60.0..=62.0).contains(&found.high), "{found:?}");
    }
}
