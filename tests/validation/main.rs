//! The engine against published tables, closed forms and check cases. The source stands beside each value.
//!
//! Each module lists its cases once, with `subject!`: they become its tests and its part of `tests/VALIDATION.md`.

use slowpoint_tests::sheet::Subject;

mod accuracy;
mod atmosphere;
mod cautions;
mod check_cases;
mod common_practice;
mod cp1;
mod drag;
mod drivers;
mod motors;
mod normal_force;
mod page;
mod pitch;
mod recovery;
mod reproducible;
mod rotation;
mod statistics;
mod turbulence;
mod vertical;
mod weathervane;
mod wind_errors;
mod wind_laws;

/// Every module, in the order of the page.
static SUBJECTS: [&Subject; 19] = [
    &atmosphere::SUBJECT,
    &normal_force::SUBJECT,
    &drag::SUBJECT,
    &pitch::SUBJECT,
    &vertical::SUBJECT,
    &check_cases::SUBJECT,
    &rotation::SUBJECT,
    &weathervane::SUBJECT,
    &motors::SUBJECT,
    &recovery::SUBJECT,
    &wind_laws::SUBJECT,
    &wind_errors::SUBJECT,
    &turbulence::SUBJECT,
    &statistics::SUBJECT,
    &drivers::SUBJECT,
    &accuracy::SUBJECT,
    &reproducible::SUBJECT,
    &common_practice::SUBJECT,
    &cautions::SUBJECT,
];
