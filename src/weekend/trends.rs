//! What rises or falls over the runs of a car, and why.
//!
//! Slopes and their intervals come from [`crate::statistics::theil_sen`]. A trend rises or falls where its 95 %
//! interval excludes zero. It is steady where the interval holds zero and is narrower than a change that would matter.
//! Otherwise it cannot be told. Fewer than five runs have no such interval.
//!
//! Why a temperature rises is asked of the fitted heat models: what the middle run's motor would show with each run's
//! air, cooling, load or start in turn, all else as in the middle run. The cause is what explains more than half of the
//! rise and has a trend of its own; where nothing does, the cause cannot be told. So a hot day, which moves the air and
//! not the cooling, is not taken for a dying fan.

use std::fmt::{self, Display};

use schemars::JsonSchema;
use serde::Serialize;

use super::cars::cars;
use super::conditions::{Conditions, SPIN_POWER};
use crate::figure::Figure;
use crate::measure::heat::Heat;
use crate::measure::hot_part::HotPart;
use crate::reason;
use crate::run::SettledRun;
use crate::statistics::theil_sen::slope_by_order;

/// Level of the intervals.
const LEVEL: f64 = 0.95;
/// Share of a rise that its cause explains at least.
const MOST: f64 = 0.5;

/// What a trend says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum Verdict {
    /// Its interval lies above zero.
    #[serde(rename = "rising")]
    Rising,
    /// Its interval lies below zero.
    #[serde(rename = "falling")]
    Falling,
    /// Its interval holds zero and no change that would matter.
    #[serde(rename = "steady")]
    Steady,
    /// Too few runs, or too much scatter.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

impl Verdict {
    /// What the 95 % interval of a slope says over `span` steps, where a change of `worth` over them would matter.
    pub fn from_interval(interval: Option<(f64, f64)>, span: f64, worth: f64) -> Self {
        match interval {
            Some((low, _)) if low > 0.0 => Verdict::Rising,
            Some((_, high)) if high < 0.0 => Verdict::Falling,
            Some((low, high)) if low.abs().max(high.abs()) * span <= worth => Verdict::Steady,
            _ => Verdict::CannotTell,
        }
    }
}

/// What explains a temperature's trend.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
pub enum Cause {
    /// The air got hotter or colder.
    #[serde(rename = "air temperature")]
    Air,
    /// The part shed heat better or worse.
    #[serde(rename = "cooling")]
    Cooling,
    /// More or less current and speed.
    #[serde(rename = "load")]
    Load,
    /// It started hotter or colder above the air.
    #[serde(rename = "start")]
    Start,
    /// Nothing that was measured explains most of it.
    #[serde(rename = "cannot tell")]
    CannotTell,
}

impl Cause {
    /// The cause in words.
    pub fn words(self) -> &'static str {
        match self {
            Cause::Air => "the air temperature",
            Cause::Cooling => "the cooling",
            Cause::Load => "the load",
            Cause::Start => "the temperature at the start",
            Cause::CannotTell => "cannot tell",
        }
    }
}

/// Why a trend has no verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// Too few runs.
    FewRuns,
    /// Too much scatter.
    Scatter,
}

impl Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Why::FewRuns => "at least five runs are needed to tell a trend from chance",
            Why::Scatter => "the runs scatter too much to rule out a change that would matter",
        })
    }
}

/// A trend over the runs of a car.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Trend {
    /// The figure.
    pub of: &'static Figure,
    /// The car.
    pub car: String,
    /// Its runs that have the figure.
    pub runs: Vec<String>,
    /// The figure's values.
    pub values: Vec<f64>,
    /// Change a run.
    pub per_run: f64,
    /// Lower end of its 95 % interval; `null` where so few runs have none.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
    /// Probability of such a trend by chance.
    pub p: f64,
    /// What it says.
    pub verdict: Verdict,
    /// What explains it, for temperatures that rise or fall.
    pub cause: Option<Cause>,
    /// Why there is no verdict.
    #[serde(serialize_with = "reason::as_text")]
    #[schemars(with = "Option<String>")]
    pub why: Option<Why>,
}

impl Trend {
    /// How much the figure moved over all the runs by the trend.
    pub fn moved(&self) -> f64 {
        self.per_run * (self.values.len() - 1) as f64
    }
}

/// The trends of every car in the figures of `catalogue` that are followed, in its order.
pub fn trends(runs: &[SettledRun], catalogue: &'static [Figure], race_s: f64) -> Vec<Trend> {
    let followed = || catalogue.iter().filter(|f| f.used.in_trends);
    let trends_of_car = |(car, members): (String, Vec<&SettledRun>)| {
        followed().filter_map(|figure| trend_of_car(&car, &members, figure, race_s)).collect::<Vec<_>>()
    };
    cars(runs).into_iter().flat_map(trends_of_car).collect()
}

fn trend_of_car(car: &str, members: &[&SettledRun], figure: &'static Figure, race_s: f64) -> Option<Trend> {
    let having: Vec<(&SettledRun, f64)> =
        members.iter().filter_map(|run| Some((*run, figure.comparable(run)?.value))).collect();
    let unit = if figure.relative { having.first()?.1 } else { 1.0 };
    let values: Vec<f64> = having.iter().map(|(_, value)| value / unit).collect();
    let slope = slope_by_order(&values, LEVEL)?;
    let verdict = Verdict::from_interval(slope.interval, (values.len() - 1) as f64, figure.worth_over(&values));
    let moves = matches!(verdict, Verdict::Rising | Verdict::Falling);
    let runs: Vec<&SettledRun> = having.iter().map(|(run, _)| *run).collect();
    let cause = (moves && figure.heat.is_some()).then(|| cause(&runs, figure, slope.per_step, race_s));
    let few = slope.interval.is_none();
    let why = (verdict == Verdict::CannotTell).then_some(if few { Why::FewRuns } else { Why::Scatter });
    Some(Trend {
        of: figure,
        car: car.to_owned(),
        runs: runs.iter().map(|r| r.plan().id.clone()).collect(),
        values,
        per_run: slope.per_step,
        low: slope.interval.map(|i| i.0),
        high: slope.interval.map(|i| i.1),
        p: slope.p,
        verdict,
        cause,
        why,
    })
}

/// Something that may explain a rise.
struct Candidate {
    cause: Cause,
    /// The first conditions with this of the second.
    with: fn(Conditions, Conditions) -> Conditions,
    /// What must have a trend of its own.
    own: fn(Conditions) -> f64,
}

const CANDIDATES: [Candidate; 4] = [
    Candidate { cause: Cause::Air, with: |base, c| Conditions { air: c.air, ..base }, own: |c| c.air },
    Candidate { cause: Cause::Cooling, with: |base, c| Conditions { cooling: c.cooling, ..base }, own: |c| c.cooling },
    Candidate {
        cause: Cause::Load,
        with: |base, c| Conditions { copper: c.copper, spin: c.spin, ..base },
        own: |c| c.copper * c.spin.powf(SPIN_POWER),
    },
    Candidate { cause: Cause::Start, with: |base, c| Conditions { above: c.above, ..base }, own: |c| c.above },
];

/// What explains a temperature's change of `per_run`.
fn cause(runs: &[&SettledRun], figure: &Figure, per_run: f64, race_s: f64) -> Cause {
    explained(runs, figure, per_run, race_s).unwrap_or(Cause::CannotTell)
}

fn explained(runs: &[&SettledRun], figure: &Figure, per_run: f64, race_s: f64) -> Option<Cause> {
    let heats: Vec<&Heat> = runs.iter().map(|r| figure.heat_in(r)).collect::<Option<_>>()?;
    let each: Vec<Conditions> =
        runs.iter().zip(&heats).map(|(r, h)| conditions(r, h, figure)).collect::<Option<_>>()?;
    let middle = each.len() / 2;
    let (warming, base) = (heats[middle].warming.as_ref()?, each[middle]);
    let above_air = figure.heat.is_some_and(|h| h.above_air);
    let shown = |c: Conditions| warming.imagined(&c.scene(&base, race_s)).value - if above_air { c.air } else { 0.0 };
    let explains = |candidate: &Candidate| {
        let alone: Vec<f64> = each.iter().map(|c| shown((candidate.with)(base, *c))).collect();
        let share = slope_by_order(&alone, LEVEL)?.per_step / per_run;
        let (low, high) =
            slope_by_order(&each.iter().map(|c| (candidate.own)(*c)).collect::<Vec<_>>(), LEVEL)?.interval?;
        (share > MOST && (low > 0.0 || high < 0.0)).then_some((share, candidate.cause))
    };
    let best = CANDIDATES.iter().filter_map(explains).max_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(best.1)
}

fn conditions(run: &SettledRun, heat: &Heat, figure: &Figure) -> Option<Conditions> {
    let air = run.plan().ambient_c?;
    let own = || heat.warming.as_ref().map(|w| w.ln_cooling());
    let shared = figure.heat.filter(|h| h.part == HotPart::Motor).and_then(|_| run.cooling()).map(|c| c.value);
    let cooling = shared.or(own().map(|c| c.value))?.exp();
    Conditions::new(heat, air, cooling)
}
