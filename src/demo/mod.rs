//! The invented weekend: a forward model of cars, driver, track, pack, motor and recorder whose truth is known.
//!
//! Nothing here shares formula code with `measure/`: the model steps forces, currents and heat forward in time, the
//! answers go the other way.

pub mod alder_quay;
pub mod car;
pub mod drive;
pub mod manner;
pub mod recorder;
pub mod season;
pub mod track;
pub mod weekend;
