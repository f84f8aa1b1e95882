//! Across the runs of a weekend: what they say of each other, and what follows from all of them.
//!
//! First [`settle`] weighs the car's runs together: which pinion was on the car, and how the motor heats in all of its
//! runs. Then [`conclude`] asks what rises or falls, what a change did, what to change next.

pub mod ahead;
pub mod before;
pub mod best_pinion;
pub mod cars;
pub mod comparisons;
pub mod conclude;
pub mod concluded_run;
mod conditions;
pub mod findings;
pub mod hotter;
pub mod kept_conclusions;
pub mod lacks;
pub mod laid_lap;
pub mod laid_over;
pub mod laid_runs;
pub mod lap_on_lap;
pub mod line;
pub mod next;
pub mod pace;
pub mod pinions;
pub mod settle;
mod setups;
pub mod shared_heat;
pub mod since;
pub mod trends;
pub mod unlaid_lists;
pub mod where_time_went;
