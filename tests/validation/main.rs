//! The engine against published tables, closed forms and check cases. The source stands beside each value.
//!
//! Each module lists its cases once, with `subject!`: they become its tests and its part of `tests/VALIDATION.md`.

use slowpoint_tests::sheet::Subject;

mod accuracy;
mod atmosphere;
mod bounds;
mod calibration;
mod cards;
mod cautions;
mod check_cases;
mod common_practice;
mod cords;
mod coverage;
mod cp1;
mod deployment;
mod drag;
mod draws;
mod drivers;
mod failures;
mod forces;
mod motors;
mod normal_force;
mod page;
mod pitch;
mod properties;
mod rare;
mod recovery;
mod reproducible;
mod rotation;
mod statistics;
mod turbulence;
mod vertical;
mod weathervane;
mod whole_law;
mod wind_errors;
mod wind_laws;

/// Every module, in the order of the page.
static SUBJECTS: [&Subject; 30] = [
    &atmosphere::SUBJECT,
    &normal_force::SUBJECT,
    &drag::SUBJECT,
    &forces::SUBJECT,
    &pitch::SUBJECT,
    &vertical::SUBJECT,
    &check_cases::SUBJECT,
    &rotation::SUBJECT,
    &weathervane::SUBJECT,
    &motors::SUBJECT,
    &deployment::SUBJECT,
    &recovery::SUBJECT,
    &cords::SUBJECT,
    &wind_laws::SUBJECT,
    &wind_errors::SUBJECT,
    &turbulence::SUBJECT,
    &failures::SUBJECT,
    &statistics::SUBJECT,
    &whole_law::SUBJECT,
    &coverage::SUBJECT,
    &drivers::SUBJECT,
    &rare::SUBJECT,
    &calibration::SUBJECT,
    &accuracy::SUBJECT,
    &draws::SUBJECT,
    &properties::SUBJECT,
    &bounds::SUBJECT,
    &reproducible::SUBJECT,
    &common_practice::SUBJECT,
    &cautions::SUBJECT,
];
