//! The weekend's folder: what is dropped into it, what it holds at the moment, what can be taken away.

pub mod current;
pub mod files;
pub mod take;
pub mod watch;
