//! Cords of which nothing is said but what has to be.

use slowpoint_sim::case::{ArrangementInput, CordsInput, PartInput, StiffnessInput, WallInput};

/// A part of a cord.
pub fn part(length_m: f64, stiffness_n: f64, strength_n: f64) -> PartInput {
    PartInput {
        length_m,
        strength_n,
        stiffness: StiffnessInput::PerStrain(stiffness_n),
        loss_factor: None,
        locks_at_strain: None,
        locked_stiffness_n: None,
    }
}

/// On one leg.
pub fn arrangement(name: &str, edge_width_m: f64, runs: Vec<Vec<PartInput>>) -> ArrangementInput {
    ArrangementInput { name: name.into(), edge_width_m, legs: 1, runs }
}

/// Between a nose section and the rest, with a wall of known resistance.
pub fn cords(nose_mass_kg: f64, resistance_n_m: f64, arrangements: Vec<ArrangementInput>) -> CordsInput {
    CordsInput {
        nose_mass_kg,
        nose_drag_area_m2: None,
        airframe_drag_area_m2: None,
        parting_m_s: None,
        stiffness: None,
        damping: None,
        strength_log_sd: None,
        arrangements,
        wall: WallInput::Resistance(resistance_n_m),
        wall_log_sd: None,
    }
}
