//! `review.json`, format `runtrue review 1`, typed both ways.
//!
//! [`written`] is the whole file as this version writes it, with its JSON Schema. [`stored`] is what a reader of such
//! files relies on, whichever version wrote them: every field may be missing. A test holds the second to the first.

mod older;
pub mod read;
pub mod stored;
mod time_lost;
pub mod written;

pub use written::{pretty, schema, text};
