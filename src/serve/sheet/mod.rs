//! The setup sheet in the browser: its form, what was changed in it, saving, and the versions before.

pub mod changes;
pub mod form;
pub mod save;
pub mod versions;
