//! A second forward model of race weekends, apart from the crate: the truth that answers are measured against.
//!
//! `Weekend::draw(seed)` gives two cars and their runs with what truly happened and what the recorder made of it;
//! `weekend.write(folder)` writes `weekend.toml`, `logs/` and `laps/`. Every field of a run is public and may be
//! changed before it is written, to put a fault on it. README.md says what is modelled and from where.
#![allow(dead_code, unused_imports, reason = "each test uses the part that it needs")]

pub mod car;
pub mod dice;
pub mod drive;
pub mod driver;
pub mod electrics;
pub mod heat;
pub mod pack;
pub mod plan;
pub mod receiver;
pub mod recorder;
pub mod sheet;
pub mod timing;
pub mod trace;
pub mod track;
pub mod tyre;
pub mod weekend;

pub use driver::Opening;
pub use recorder::{Columns, CurrentKind, Recorder};
pub use sheet::{CarSheet, RunSheet, Sheet};
pub use timing::{Coverage, LapList, ListForm};
pub use trace::{Energy, Spin};
pub use weekend::{Options, Run, Truth, Weekend};
