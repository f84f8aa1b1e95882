//! Invented weekends and seasons whose true answers are known: a forward model of car, driver, track, battery, motor
//! and recorder.
//!
//! Nothing here shares formula code with `measure/`. The model steps forces, currents and heat forward in time; the
//! answers go back from the log to what caused it. Every constant of the model is decreed: it describes an invented
//! car, not a real one.

pub mod alder_quay;
pub mod car;
pub mod drive;
mod driver;
pub mod files;
pub mod invented;
pub mod manner;
pub mod recorder;
pub mod season;
pub mod simulation;
pub mod trace;
pub mod track;
mod vehicle;
pub mod weekend;
