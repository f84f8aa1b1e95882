//! The setup sheet in the browser: its form, what was changed in it, saving, and the versions before.

#[cfg(test)]
mod a_new_key;
pub mod changes;
pub mod form;
pub mod lap_lists;
pub mod save;
pub mod versions;
