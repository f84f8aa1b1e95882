//! Who may ask, and what is answered to each address.

mod arrivals;
mod connections;
mod downloads;
mod gate;
mod guard;
mod lap_lists;
mod network;
mod news;
mod outcomes;
mod phone;
mod respond;
mod reviews;
mod routes;
mod runs;
pub mod server;
mod sheets;
mod state;
