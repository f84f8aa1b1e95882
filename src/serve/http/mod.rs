//! Who may ask, and what is answered to each address.

pub mod guard;
pub mod routes;
