//! Faults put on sound weekends whose truth is known, and how many of them a review catches: for `tests/evidence.rs`
//! and for `benches/evidence.rs`.
//!
//! A fault is caught where the verdict that it would spoil is withheld, or where evidence that is not sound names the
//! faulty thing, on a run that has the fault. It is harmless where each answer is as it is without the fault, as where
//! the reader of the log has mended it.
#![allow(dead_code)] // each user takes what it needs

pub mod electrics;
pub mod fault;
pub mod judge;
pub mod lists;
pub mod logs;
pub mod measure;
pub mod revs;
pub mod sheet;
pub mod temperature;
pub mod untold;
pub mod variations;
pub mod weekend;
#[path = "../world/mod.rs"]
pub mod world;
pub mod worlds;
