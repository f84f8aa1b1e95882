//! The systems of the trade, each with every change that is made to one, in both forward models: what is driven, what
//! is true of it, and what a review claims.

pub mod claims;
pub mod figures;
pub mod first;
pub mod second;
pub mod table;
pub mod trial;
