//! runtrue: what a model racing car really did.

#![deny(missing_docs)]
#![forbid(unsafe_code)]

pub mod archive;
pub mod cli;
pub mod demo;
pub mod figure;
pub mod folder;
pub mod import;
pub mod kept;
pub mod laps;
pub mod log;
pub mod measure;
pub mod notice;
pub mod quantity;
pub mod report;
pub mod review;
pub mod run;
pub mod season;
pub mod serve;
pub mod sheet;
pub mod statistics;
pub mod weekend;
