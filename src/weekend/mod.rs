//! Across the runs of a weekend.

pub mod findings;
pub mod gearing;
pub mod tables;
