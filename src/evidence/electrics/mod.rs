//! Are current and voltage those of the pack?
//!
//! By the revs: a car that speeds up takes a current, and its voltage gives way to it. By the pack at rest: a cell has
//! 3.0 to 4.2 V, and no current flows. By the energies: what the car gains in speeding up is a part of what the pack
//! gives, and about the same part in all runs of a car. By the charge: no pack gives more than it holds.
//!
//! Wrong where the car was not driven on the ground: then revs rise almost without a current.

mod charge;
mod energy;
pub mod rest;
mod sag;
mod why;

pub use why::Why;

use rayon::prelude::*;

use super::frozen::{Frozen, frozen, graded};
use super::swings::{Contrast, FOLLOWS, Swing, contrast, is_coarse};
use super::{Evidence, Member, RunToWeigh, Subject, Worth, revs};
use crate::log::Channel;
use crate::quantity::COVERAGE_95;
use crate::sheet::Sheet;
use crate::statistics::quantiles::median;
use energy::{Shares, Verdict};
use rest::Cells;
use sag::Load;

/// A cell under load that is lower than this is empty, V (makers' tables: 3.0 V).
const EMPTY_CELL_V: f64 = 3.0;

const CURRENT: Subject = Subject::Channel(Channel::Current);
const VOLTAGE: Subject = Subject::Channel(Channel::Voltage);
const CELLS: Subject = Subject::Setting("battery.cells");
const CAPACITY: Subject = Subject::Setting("battery.capacity_mah");
const MASS: Subject = Subject::Setting("mass_kg");

/// What one run by itself says of them.
pub fn weigh(run: &RunToWeigh) -> Vec<Evidence> {
    if is_coarse(run) {
        return Vec::new();
    }
    let time = run.log.time();
    let rpm = run.log.channel(Channel::Rpm);
    let revs = revs::swings(run);
    let follows = run.log.channel(Channel::Current).and_then(|amps| contrast(time, amps, &revs, 1.0));
    let worst = run.log.channel(Channel::Current).and_then(|amps| worst_half(time, amps, &revs)).or(follows);
    let current = run.log.channel(Channel::Current).map(|amps| weigh_current(time, (amps, worst), rpm, &revs));
    let is_usable = |found: &[Evidence]| found.iter().all(|e| e.worth != Worth::Unusable);
    let amps = run.log.channel(Channel::Current).filter(|_| current.as_deref().is_some_and(is_usable));
    let mut found = current.unwrap_or_default();
    let Some(volts) = run.log.channel(Channel::Voltage) else { return found };
    let stated = run.plan.settings.number("battery.cells");
    let load = amps.zip(follows).map_or_else(Load::unknown, |(amps, follows)| Load::of(amps, follows));
    let voltage = weigh_voltage(time, volts, &revs, load, stated.unwrap_or(1.0));
    let is_pack = is_usable(&voltage);
    found.extend(voltage);
    if is_pack && let Some(rest) = rest::rest(time, volts, amps, rpm) {
        found.extend(stated.and_then(|stated| weigh_cells(rest, stated)));
    }
    found
}

/// How a current follows the revs in the half of the run in which it does so less.
fn worst_half(time: &[f64], amps: &[f64], revs: &[Swing]) -> Option<Contrast> {
    let (first, second) = revs.split_at(revs.len() / 2);
    let halves = [first, second].map(|half| contrast(time, amps, half, 1.0));
    halves.into_iter().flatten().min_by(|a, b| a.strength().total_cmp(&b.strength()))
}

/// What revs, rest and charge say of a current, with how it follows the revs.
fn weigh_current(
    time: &[f64],
    (amps, follows): (&[f64], Option<Contrast>),
    rpm: Option<&[f64]>,
    revs: &[Swing],
) -> Vec<Evidence> {
    let mut found = Vec::new();
    found.extend(
        frozen(time, amps, revs)
            .map(|Frozen { value, share }| graded(CURRENT, share, Why::CurrentStuck { amps: value, share })),
    );
    if let Some(used) = charge::used_mah(time, amps).filter(|used| charge::is_gained(*used, revs)) {
        found.push(Evidence::unusable(CURRENT, Why::ChargeGained(used).into()));
    }
    if let Some(strongest) = follows.filter(|c| c.strength() < FOLLOWS) {
        let why = Why::CurrentDoesNotFollow { more_a: strongest.mean, half_a: COVERAGE_95 * strongest.error };
        found.push(Evidence::unusable(CURRENT, why.into()));
    }
    if let Some(amps) = rpm.and_then(|rpm| rest::current_while_standing(amps, rpm)) {
        found.push(Evidence::doubtful(CURRENT, Why::CurrentWhileStanding(amps).into()));
    }
    if let Some(charge::CutOff { amps, share }) = charge::cut_off(amps) {
        found.push(Evidence::doubtful(CURRENT, Why::CurrentCutOff { amps, share }.into()));
    }
    found
}

/// What the load says of the voltage, or of the current that it is made of.
fn weigh_voltage(time: &[f64], volts: &[f64], revs: &[Swing], load: Load, cells: f64) -> Vec<Evidence> {
    let mut found = Vec::new();
    if let Some((Frozen { value, share }, is_certain)) = sag::stuck(time, volts, revs, load, cells) {
        let why = Why::VoltageStuck { volts: value, share };
        found.push(if is_certain { graded(VOLTAGE, share, why) } else { Evidence::doubtful(VOLTAGE, why.into()) });
    }
    match sag::no_sag(time, volts, revs, load, cells) {
        Some(sag::NoSag { fall_v, amps, follows: true, .. }) => {
            found.push(Evidence::doubtful(CURRENT, Why::MoreThanTheSag { amps, fall_v }.into()));
        }
        Some(sag::NoSag { fall_v, least_v, amps, follows: false }) => {
            found.push(Evidence::unusable(VOLTAGE, Why::VoltageDoesNotSag { amps, fall_v, least_v }.into()));
        }
        None => {}
    }
    found
}

fn weigh_cells(rest: rest::Rest, stated: f64) -> Option<Evidence> {
    let cell_v = rest.volts / stated;
    match rest::cells(rest, stated) {
        Cells::Fit => None,
        Cells::Others(fits) => {
            Some(Evidence::unusable(CELLS, Why::OtherCells { volts: rest.volts, stated, fits }.into()))
        }
        Cells::TooHigh if cell_v > rest::NO_CELL_V => {
            Some(Evidence::unusable(VOLTAGE, Why::CellTooHigh(cell_v).into()))
        }
        Cells::TooHigh => Some(Evidence::doubtful(VOLTAGE, Why::CellTooHigh(cell_v).into())),
        Cells::TooLow => Some(Evidence::doubtful(VOLTAGE, Why::CellTooLow(cell_v).into())),
    }
}

/// Voltage of the pack at rest, V; `None` where no row tells it.
pub(super) fn resting_volts(run: &RunToWeigh) -> Option<f64> {
    let (amps, rpm) = (run.log.channel(Channel::Current), run.log.channel(Channel::Rpm));
    Some(rest::rest(run.log.time(), run.log.channel(Channel::Voltage)?, amps, rpm)?.volts)
}

/// What runs say of each other's, and what their energies and charges say against the sheet.
pub fn weigh_together(members: &mut [Member], sheet: &Sheet) {
    let shares: Vec<Option<Shares>> = members.par_iter().map(|m| share(m, sheet)).collect();
    let verdicts: Vec<Option<Verdict>> = (0..members.len())
        .map(|n| {
            let mass = |m: &Member| m.run.plan.settings.number("mass_kg");
            let is_like = |m: &Member| m.car() == members[n].car() && mass(m) == mass(&members[n]);
            let others: Vec<Shares> =
                (0..members.len()).filter(|o| *o != n && is_like(&members[*o])).filter_map(|o| shares[o]).collect();
            Some(energy::judge(shares[n].as_ref()?, &others))
        })
        .collect();
    for (member, (verdict, share)) in members.iter_mut().zip(verdicts.iter().zip(&shares)) {
        if let Some((verdict, share)) = verdict.zip(*share) {
            let knows_turns = revs::turns::of_lap_over_sheet(&member.run, sheet).is_some();
            let volts_are_low = is_nearly_empty(member);
            of_energies(verdict, share.said(), knows_turns, volts_are_low)
                .into_iter()
                .for_each(|e| member.evidence.add(e));
        }
        of_charge(member, *verdict, *share).into_iter().for_each(|e| member.evidence.add(e));
    }
}

/// The share of the pack's energy that became the car's, of a run in which nothing that it is made of is unusable.
fn share(member: &Member, sheet: &Sheet) -> Option<Shares> {
    let made_of = [CURRENT, VOLTAGE, MASS, Subject::Channel(Channel::Rpm)];
    if is_coarse(&member.run) || member.evidence.first_refusal(&made_of).is_some() {
        return None;
    }
    energy::share(&member.run, sheet, &revs::swings(&member.run))
}

/// Whether the volts are those of an empty pack by the sheet's cells: then they may be what is wrong.
fn is_nearly_empty(member: &Member) -> bool {
    let cells = member.run.plan.settings.number("battery.cells");
    let usual = member.run.log.channel(Channel::Voltage).and_then(|volts| median(volts.iter().copied()));
    usual.zip(cells).is_some_and(|(volts, cells)| volts / cells < EMPTY_CELL_V)
}

/// `knows_turns` is whether the laps say that all turns are counted: else the revs may be what is wrong;
/// `volts_are_low` whether the voltage may be.
fn of_energies(verdict: Verdict, share: f64, knows_turns: bool, volts_are_low: bool) -> Vec<Evidence> {
    match verdict {
        Verdict::Fits => Vec::new(),
        // The share goes with one over the current.
        Verdict::Unlike(factor) => vec![Evidence::doubtful(CURRENT, Why::UnlikeOtherRuns(1.0 / factor).into())],
        Verdict::UnlikeTheOther(factor) => {
            vec![Evidence::doubtful(CURRENT, Why::UnlikeTheOtherRun(1.0 / factor).into())]
        }
        Verdict::ImpossibleAlone => vec![Evidence::unusable(CURRENT, Why::EnergyOfThisRun(share).into())],
        Verdict::Impossible => {
            let why = Why::Energy { share, may_be_revs: !knows_turns };
            let revs = (!knows_turns).then_some(Subject::Channel(Channel::Rpm));
            let in_doubt = [CURRENT, MASS].into_iter().chain(revs).chain(volts_are_low.then_some(VOLTAGE));
            in_doubt.map(|of| Evidence::doubtful(of, why.clone().into())).collect()
        }
    }
}

fn of_charge(member: &Member, verdict: Option<Verdict>, shares: Option<Shares>) -> Vec<Evidence> {
    let log = member.run.log;
    let usable = log.channel(Channel::Current).filter(|_| member.evidence.worth(CURRENT) != Worth::Unusable);
    let Some((used, capacity)) = usable
        .and_then(|amps| charge::used_mah(log.time(), amps))
        .zip(member.run.plan.settings.number("battery.capacity_mah"))
        .filter(|(used, capacity)| charge::is_more_than(*capacity, *used))
    else {
        return Vec::new();
    };
    let current_fits = verdict == Some(Verdict::Fits);
    let why = Why::MoreThanCapacity { used, capacity, current_fits };
    match verdict {
        Some(Verdict::Fits) => vec![Evidence::unusable(CAPACITY, why.into())],
        // Two things that cannot be, and a current that is too high explains both.
        Some(_) if shares.is_some_and(|s| s.best.high < energy::LEAST) => vec![Evidence::unusable(CURRENT, why.into())],
        _ => [CURRENT, CAPACITY].map(|of| Evidence::doubtful(of, why.clone().into())).into(),
    }
}

impl From<Why> for super::Why {
    fn from(why: Why) -> Self {
        Self::Electrics(why)
    }
}
