//! runtrue: what a model racing car really did.

pub mod import;
pub mod laps;
pub mod log;
pub mod notice;
pub mod quantity;
pub mod demo;
