//! The setup sheet in the browser: its form, what was changed in it, saving, and the versions before.

#[cfg(test)]
mod a_new_key;
pub mod cells;
pub mod changes;
mod field_lines;
pub mod field_mistakes;
pub mod fields;
pub mod form;
pub mod form_names;
pub mod lap_lists;
pub mod new_logs;
pub mod runs;
pub mod save;
pub mod versions;
