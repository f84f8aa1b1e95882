//! A season: reviewed weekends gathered into one data set, and what it tells across them.
//!
//! One way, as everywhere: a weekend's `review.json` → rows ([`gather`]) → Hive-partitioned Parquet ([`store`]) → answers ([`answers`]) → page, JSON,
//! terminal (`report`).

pub mod answers;
pub mod gather;
pub mod known;
pub mod schema;
pub mod settings;
pub mod store;
