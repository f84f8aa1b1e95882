//! A season: reviewed weekends collected into one data set, and what it says across them. `README.md` beside this file
//! describes the data set.
//!
//! One way, as everywhere: a weekend's `review.json` → [`gather`] → rows ([`tabulate`]) → Hive-partitioned Parquet
//! ([`store`]) → [`answers`] → page, JSON, terminal (`report`).

pub mod answers;
pub mod gather;
mod gearings;
pub mod known;
mod over_season;
pub mod page_link;
pub mod partition;
pub mod rows;
pub mod schema;
pub mod settings;
pub mod store;
pub mod tabulate;
mod weekend_figures;
