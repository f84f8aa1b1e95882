//! What comes out: plain structs for the pages, charts, templates, the terminal's summary and the JSON.

pub mod charts;
pub mod pages;
pub mod season;
pub mod tables;
pub mod terminal;
pub mod view;
pub mod write;
