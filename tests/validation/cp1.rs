//! A rocket of own geometry, CP-1, for the checks of aerodynamics: diameter 2.5 cm, tangent ogive 10 cm, three fins of
//! chords 6 and 3 cm, span 5 cm, sweep 3 cm at 35 cm, length 45 cm. Each number about it was computed apart from this
//! program (DOP853 for the motions).

use core::f64::consts::PI;
use slowpoint_sim::aero::{Aero, Reference, from_shape};
use slowpoint_sim::case::shape::{FinEdge, FinSet, Nose, NoseForm, RailGuide, Shape};

/// Air of case DRAG-1: kinematic viscosity 1.4607e-5 m^2/s at sea level.
pub const AIR: Reference =
    Reference { density_kg_m3: 1.225, dynamic_viscosity_pa_s: 1.225 * 1.4607e-5, speed_of_sound_m_s: 340.294 };

/// The outside.
pub fn cp1_shape() -> Shape {
    Shape {
        nose: Nose { form: NoseForm::Ogive, length_m: 0.10, base_diameter_m: 0.025 },
        transitions: Vec::new(),
        fin_sets: vec![FinSet {
            count: 3,
            root_chord_m: 0.06,
            tip_chord_m: 0.03,
            span_m: 0.05,
            sweep_m: 0.03,
            thickness_m: 0.0024,
            station_m: 0.35,
            body_diameter_m: 0.025,
            edge: FinEdge::Tapered,
        }],
        guides: vec![RailGuide {
            station_m: 0.3,
            frontal_area_m2: 0.25 * PI * 0.005 * 0.005,
            wetted_area_m2: 2.0 * PI * 0.005 * 0.05,
        }],
        length_m: 0.45,
        base_diameter_m: 0.025,
        roughness_m: 0.0,
    }
}

/// Its aerodynamics.
pub fn cp1() -> Aero {
    from_shape(&cp1_shape(), 0.025, 0.018, AIR)
}
