//! runtrue: what a model racing car really did.

#![deny(missing_docs)]
#![forbid(unsafe_code)]

pub mod demo;
pub mod figure;
pub mod fingerprint;
pub mod folder;
pub mod gear_chart;
pub mod import;
pub mod kept;
pub mod laps;
pub mod log;
pub mod measure;
pub mod notice;
pub mod quantity;
pub mod reason;
pub mod report;
pub mod review;
pub mod review_file;
pub mod run;
pub mod season;
pub mod serve;
pub mod sheet;
pub mod statistics;
pub mod storage;
pub mod weekend;
pub mod wording;
