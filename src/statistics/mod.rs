//! Statistics: one file a method, and no word of cars in any of them.
//!
//! Each file opens with the formula, its source and what it assumes. Values with their uncertainty are the types of
//! [`crate::quantity`].

pub mod above;
pub mod bounded;
pub mod budget;
pub mod coverage;
pub mod integral;
pub mod inverse_variance;
pub mod jackknife;
pub mod kendall;
pub mod least_absolute;
pub mod least_squares;
pub mod mean;
pub mod mixture;
pub mod neighbours;
pub mod parabola;
pub mod quantiles;
pub mod random_effects;
pub mod second_differences;
pub mod straight_line;
pub mod theil_sen;
