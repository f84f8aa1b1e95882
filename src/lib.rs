//! runtrue: what a model racing car really did.
//!
//! It reads the controller's log, the lap list and the setup sheet of each run and answers: is the gearing the one on
//! the sheet, did the power reach the ground, how hot did motor and controller get, what had the battery left, what did
//! a change do. Every figure carries its 95 % interval or says why it has none.
//!
//! The flow is one way: [`folder`] plans → [`import`] reads bytes into a [`log::Log`] → [`laps`] finds the laps →
//! [`evidence`] says what each reading and sheet value is worth ([`weighed`]) → [`measure`] answers for one run
//! ([`run::MeasuredRun`], never changed afterwards) → [`weekend`] settles and concludes across the runs →
//! [`review::Review`] → [`report`], [`review_file`] and [`season`]. [`review`] has it on one page.
//!
//! ```
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let weekend = std::path::Path::new("sample-logs/alder-quay");
//! let review = runtrue::review::review(weekend, &|_done, _of| {})?;
//! // The third run had another pinion on the car than its sheet says.
//! let run = &review.runs[2].run;
//! assert_eq!(run.plan().settings.number("pinion"), Some(31.0));
//! assert_eq!(run.pinion_on_car(), Some(32.0));
//! println!("{}", runtrue::units::in_notation(&review.findings[0].text, review.sheet.units()));
//! # Ok(())
//! # }
//! ```
//!
//! Limits: one line and one timing point for a weekend; a lap of at least a few seconds; models of heat, tyre and pack
//! that hold for cars of this kind. Each file of [`measure`] says when its answer is wrong.

#![deny(missing_docs)]
#![forbid(unsafe_code)]

pub mod archives_in_folder;
pub mod demo;
pub mod evidence;
pub mod figure;
pub mod fingerprint;
pub mod folder;
pub mod folder_names;
pub mod gear_chart;
pub mod gears;
pub mod import;
pub mod kept;
pub mod laps;
pub mod log;
pub mod measure;
pub mod motor;
pub mod notice;
pub mod packed;
pub mod paired_lists;
pub mod quantity;
pub mod read_by_sheet;
pub mod reason;
pub mod recorder;
pub mod report;
pub mod review;
pub mod review_file;
pub mod run;
pub mod season;
pub mod serve;
pub mod sheet;
pub mod stamp;
pub mod statistics;
pub mod storage;
pub mod units;
pub mod weekend;
pub mod weighed;
pub mod wording;
