//! The local page: a folder's review in the browser of the same machine, logs dropped on it, its sheet as a form. No
//! physics of its own.
//!
//! The folder is the only store: what the page takes in are files in it, what it shows is [`crate::review`] of it.
//! Other programs may change the folder at any time; it is watched, and the page follows.
//!
//! From the bottom up: `folder` (what the folder gives), `sheet` (its form and saving), `pages` (templates filled in),
//! `http` (who may ask, and what is answered to each address).

mod error;
mod folder;
mod http;
mod limits;
mod pages;
mod sheet;

pub use error::ServeError;
pub use http::server::{Listening, listen};
