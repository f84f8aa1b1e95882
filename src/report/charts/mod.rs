//! Charts as SVG for the pages, drawn with plotters: one look for all, colours that the page's style may change.

mod frame;
mod heat;
mod laps;
mod next;
mod pack;
mod pull;
mod ratio;
mod short_svg;
mod time_lost;
mod trend;

pub use frame::{BESIDE, NARROW, SMALL, Size, WIDE};
pub use heat::temperatures;
pub use laps::{lap_times, laps_off_time_chart, revs_over_laps, spins_by_lap};
pub use next::{heat_by_pinion, speed_by_pinion};
pub use pack::{current, voltage};
pub use pull::{PullOfRun, pull_by_speed};
pub use ratio::{FURTHEST_RATIO, laps_off_ratio_chart, ratio_by_lap};
pub use time_lost::time_lost;
pub use trend::{over_season, trend};
