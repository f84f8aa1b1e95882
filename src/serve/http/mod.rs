//! Who may ask, and what is answered to each address.

mod arrivals;
mod downloads;
mod gate;
mod guard;
mod news;
mod respond;
mod reviews;
mod routes;
pub mod server;
mod sheets;
mod state;
