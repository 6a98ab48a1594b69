//! Other forms of an answer, made from the answer alone.

pub mod terminal;
