//! What an entry of the catalogue is made of.

use schemars::JsonSchema;
use serde::{Serialize, Serializer};

use crate::evidence::Subject;
use crate::measure::heat::Heat;
use crate::measure::hot_part::HotPart;
use crate::quantity::{Estimate, Uncertain};
use crate::run::SettledRun;
use crate::statistics::quantiles::median;
use crate::units::{Measure, said};
use crate::wording::{self, HIGHER, InFigures, Words};

/// A figure of a run.
#[derive(Debug)]
pub struct Figure {
    /// Its name in `review.json`.
    pub key: &'static str,
    /// Its name in the tables of the weekend and the season.
    pub column: &'static str,
    /// Unit of its value, spelled as in the logs; `1` for a share or a ratio.
    pub unit: &'static str,
    /// What it means, for the tables' schema.
    pub about: &'static str,
    /// How people call it.
    pub label: &'static str,
    /// How it is shown.
    pub shown: Shown,
    /// What a higher and a lower value are called.
    pub words: Words,
    /// Change over a weekend that is worth acting on.
    pub worth: Worth,
    /// Where it is used beyond the tables.
    pub used: Used,
    /// Which change is bad.
    pub bad: Bad,
    /// The part and the way, where it is a temperature.
    pub heat: Option<HeatFigure>,
    /// What a run needs to have it, where that is not plain.
    pub needs: Option<&'static str>,
    /// Whether just its ratio between runs means something: trends show it relative to the car's first run.
    pub relative: bool,
    /// What it rests on: where one of these is in doubt, runs are not compared by the figure.
    pub rests_on: &'static [Subject],
    /// What is said where it rises from run to run.
    pub rising: Option<TrendFinding>,
    /// What is said where it falls.
    pub falling: Option<TrendFinding>,
    /// Takes it from a run; `None` where the run does not have it.
    pub read: fn(&SettledRun) -> Option<Reading>,
}

/// How a figure is shown to people.
#[derive(Debug, Clone, Copy)]
pub struct Shown {
    /// Its unit for people.
    pub unit: Measure,
    /// Decimals.
    pub digits: usize,
    /// The value is multiplied by this: 100 for a share shown in per cent.
    pub factor: f64,
}

/// A change of a figure that matters.
#[derive(Debug, Clone, Copy)]
pub enum Worth {
    /// By so much.
    By(f64),
    /// By this share of the figure's usual value.
    Share(f64),
}

/// Where a figure is used beyond the tables.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Used {
    /// Followed over the runs of a car.
    pub in_trends: bool,
    /// Changed settings are judged by it.
    pub in_effects: bool,
}

/// Which change of a figure is bad.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bad {
    /// A rise.
    Rise,
    /// A fall.
    Fall,
    /// Either: the figure should stay.
    Either,
    /// Neither by itself.
    Neither,
}

/// What makes a figure one of heat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HeatFigure {
    /// Whose.
    pub part: HotPart,
    /// Whether it is the rise above the air at the race's end; else it is a reading.
    pub above_air: bool,
}

/// What a trend of a figure is worth saying.
#[derive(Debug, Clone, Copy)]
pub struct TrendFinding {
    /// Stable name of the finding, in kebab case.
    pub code: &'static str,
    /// What it asks of the reader.
    pub weight: Weight,
    /// What happens from run to run, after the car's name: `motor cools less and less`.
    pub lead: &'static str,
    /// What to do or to think of; empty where the figures say it all.
    pub advice: &'static str,
    /// A smaller change over all runs is not worth a word.
    pub least: Worth,
}

/// What a finding asks of the reader.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Weight {
    /// Do something.
    Act,
    /// Keep an eye on it.
    Watch,
    /// Good to know.
    Note,
}

/// A figure's value in one run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// The value.
    pub value: f64,
    /// Its 95 % interval, where it has one of its own.
    pub interval: Option<Estimate>,
    /// Standard uncertainty within the run: from the interval, or a default that the figure's entry names.
    pub standard_u: f64,
}

impl Reading {
    /// A value without an interval of its own.
    pub fn plain(value: f64, standard_u: f64) -> Self {
        Self { value, interval: None, standard_u }
    }

    /// An estimate, its standard uncertainty taken from its interval.
    pub fn estimated(estimate: Estimate) -> Self {
        let standard_u = Uncertain::from(estimate).standard_u;
        Self { value: estimate.value, interval: Some(estimate), standard_u }
    }

    /// The value with the standard uncertainty within the run.
    pub fn uncertain(&self) -> Uncertain {
        Uncertain::new(self.value, self.standard_u)
    }
}

impl PartialEq for Figure {
    fn eq(&self, other: &Self) -> bool {
        self.key == other.key
    }
}

impl Serialize for Figure {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.key)
    }
}

impl Figure {
    /// An entry of the tables alone, with nothing said of trends: an entry states what differs from it.
    pub const PLAIN: Figure = Figure {
        key: "",
        column: "",
        unit: "1",
        about: "",
        label: "",
        shown: Shown { unit: Measure::plain(""), digits: 2, factor: 1.0 },
        words: HIGHER,
        worth: Worth::Share(0.15),
        used: Used { in_trends: false, in_effects: false },
        bad: Bad::Neither,
        heat: None,
        needs: None,
        relative: false,
        rests_on: &[],
        rising: None,
        falling: None,
        read: |_| None,
    };

    /// Its value in a run, to be compared with other runs: none where something that it rests on is in doubt.
    pub fn comparable(&self, run: &SettledRun) -> Option<Reading> {
        let is_sound = run.evidence()?.are_sound(self.rests_on);
        (self.read)(run).filter(|_| is_sound)
    }

    /// The figure's heat record in a run, where it is one of heat.
    pub fn heat_in<'a>(&self, run: &'a SettledRun) -> Option<&'a Heat> {
        run.heat(self.heat?.part)
    }

    /// A change of it that matters, by its usual value.
    pub fn worth_acting_on(&self, usual: f64) -> f64 {
        self.worth.amount(usual)
    }

    /// A change that matters, by the middle of these values.
    pub fn worth_over(&self, values: &[f64]) -> f64 {
        self.worth_acting_on(median(values.iter().copied()).unwrap_or(1.0).abs())
    }

    /// A change in words, its interval after it: `0.32 s slower (0.08 to 0.56)`.
    pub fn change_in_words(&self, change: Estimate) -> String {
        wording::change(&self.shown.scaled(&change), self.shown.unit, self.words)
    }

    /// By how much it changes from run to run, whichever way: `0.06 s each run (0.01 to 0.15)`.
    pub fn amount_each_run(&self, change: Estimate) -> String {
        let scaled = self.shown.scaled(&change);
        let amount = if scaled.value < 0.0 { scaled.mirrored() } else { scaled };
        let measure = self.shown.unit.difference();
        said(|n| InFigures::new(&measure.estimate(&amount, n)).sentence(&format!("{} each run", measure.symbol(n))))
    }
}

impl Shown {
    /// A value with its interval as it is shown: times the factor.
    pub fn scaled(&self, e: &Estimate) -> Estimate {
        e.scaled(self.factor)
    }
}

impl Worth {
    /// The change, where `usual` is the figure's usual value.
    pub fn amount(self, usual: f64) -> f64 {
        match self {
            Self::By(amount) => amount,
            Self::Share(share) => share * usual.abs(),
        }
    }
}
