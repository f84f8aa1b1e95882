//! A run with all that the weekend concludes of it.

use super::before::Before;
use super::best_pinion::BestPinion;
use super::hotter::Hotter;
use super::lap_on_lap::LapOnLap;
use super::next::{Next, WithoutFan};
use super::since::Since;
use super::where_time_went::WhereTimeWent;
use crate::notice::Failure;
use crate::run::{Measured, SettledRun};
use crate::sheet::RunPlan;

/// A run with what the weekend concludes of it.
#[derive(Debug, Clone)]
pub struct ConcludedRun {
    /// The run.
    pub run: SettledRun,
    /// What other pinions would do.
    pub next: Vec<Next>,
    /// The pinion that laps quickest within the limits; `None` where the one on the car is not known.
    pub best_pinion: Option<BestPinion>,
    /// The race without the fan, where the car ran with and without one.
    pub without_fan: Option<WithoutFan>,
    /// The run against the car's run before.
    pub before: Option<Before>,
    /// What happened since, and whether it helped.
    pub since: Option<Since>,
    /// Why the motor got hotter or cooler than in the car's run before.
    pub hotter: Option<Hotter>,
    /// The same against the car's median run; `None` for that run itself, and where the car has too few.
    pub hotter_than_median: Option<Hotter>,
    /// Where its time went; `None` where the log does not tell.
    pub time: Option<WhereTimeWent>,
    /// What its laps can be compared with, and where each lost most.
    pub lap_on_lap: LapOnLap,
}

impl ConcludedRun {
    /// What the sheet says of the run.
    pub fn plan(&self) -> &RunPlan {
        self.run.plan()
    }

    /// What was measured; `None` for a run that could not be reviewed.
    pub fn done(&self) -> Option<&Measured> {
        self.run.done()
    }

    /// Why the run could not be reviewed.
    pub fn failure(&self) -> Option<&Failure> {
        self.run.failure()
    }
}
