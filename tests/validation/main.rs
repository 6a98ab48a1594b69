//! The engine against published tables, closed forms and check cases. The source stands beside each value.
//!
//! Marks: A published data, reproduced independently; B published formula with a numerical check;
//! "common practice" where only the trade says so.

mod accuracy;
mod aerodynamics;
mod atmosphere;
mod check_cases;
mod closed_form;
mod common_practice;
mod motors;
mod recovery;
mod reproducible;
mod statistics;
mod wind_laws;
