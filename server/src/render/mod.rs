//! Other forms: of an answer, made from the answer alone, and of its flights.

pub mod csv;
pub mod terminal;
