//! The catalogue of figures: everything that is followed over runs, compared between settings and written into tables.
//!
//! A figure is one entry of [`FIGURES`]. `review.json`, the tables of the weekend and the season, trends, effects,
//! words
//! and axis labels all take it from there. Keys and columns are published names: they are never changed, and where a
//! table came to call a figure otherwise than the rest, its entry holds both names.

mod catalogue;
mod entry;
mod readings;

pub use crate::wording::Words;
pub use catalogue::{FIGURES, find};
pub use entry::{Bad, Figure, HeatFigure, Reading, Shown, TrendFinding, Used, Weight, Worth};
