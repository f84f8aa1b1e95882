//! The weekend's folder: what is dropped into it, what it gives at the moment, what can be taken away.

pub mod current;
pub mod files;
pub mod names;
pub mod own;
pub mod secret;
pub mod take;
pub mod unpack;
pub mod watch;
