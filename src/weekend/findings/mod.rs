//! Sentences worth acting on: of one run, and across the runs.

mod across;
mod finding;
mod run;
mod since;
mod time;

pub use across::findings_across;
pub use finding::{About, Finding, Place};
pub use run::{MUCH_SPIN, SpunPlace, findings_of_run, spun_place};
pub use since::lap_time_since_change;
pub use time::{LossPlace, loss_place};
