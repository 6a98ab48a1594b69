//! The cord between nose section and airframe after the ejection, and the tube's edge that it pulls on.
//!
//! ```text
//! ejection of a flight -> two bodies part -> cord runs out, is stretched -> tension -> load on the edge
//! parting.rs (physics)                       strand.rs (law of force)       plan.rs (width, legs, wall)
//! ```
//!
//! What a flight has of its own: airspeed and air at its ejection, its mass and drag, and the drawn speed of parting,
//! stiffness and damping. What the wall bears, and at which tension a part breaks, is not drawn but integrated: each
//! pull has a probability in closed form.

mod parting;
mod plan;
mod strand;

pub use parting::{Body, Cord, MOST_STRANDS, Parting, Pull};
pub use plan::{Arrangement, CordPlan, Fibre, Material, Wall};
pub use strand::{Lock, Part, Piece, Strand};

use crate::case::Case;
use crate::draw::{Law, Numbers, REPLICATES, Slot};
use crate::flight::{Drawn, Ejection, Events, NODES};

/// Most pulls of one answer: some seconds of a core. More flights than they allow would narrow an interval that is
/// narrow already, since no tear is drawn.
const MOST_PULLS: u64 = 1 << 18;
/// But so many flights have them.
const LEAST_FLIGHTS: u64 = 1024;

/// Pulls on the cords of one flight of a case.
pub fn pulls(case: &Case) -> u64 {
    let arrangements = case.cords.as_ref().map_or(0, |plan| plan.arrangements.len());
    (arrangements * case.inputs.question.ways.len() * NODES) as u64
}

/// Of so many flights of a case, the first for which its cords are worked out, as many of each scramble.
pub fn flights_of(case: &Case, flights: u64) -> u64 {
    match pulls(case) {
        0 => 0,
        each => flights.min((MOST_PULLS / each).max(LEAST_FLIGHTS) / REPLICATES * REPLICATES),
    }
}

/// Of all flights that a case asks for.
pub fn flights(case: &Case) -> u64 {
    flights_of(case, case.inputs.question.flights)
}

/// What a flight draws for its cords, and its two bodies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Halves {
    /// Nose section.
    pub nose: Body,
    /// Airframe.
    pub airframe: Body,
    /// Speed of parting, m/s.
    pub parting_m_s: f64,
    /// Stiffness over the nominal one.
    pub stiffness: f64,
    /// Loss factor over the nominal one.
    pub damping: f64,
}

impl Halves {
    /// Of a drawn flight.
    pub fn of(plan: &CordPlan, drawn: &Drawn, events: &Events, numbers: &Numbers) -> Self {
        let from = |law: &Law, slot: Slot| law.at(numbers.uniform(slot));
        let coasting_m2 = drawn.drag_factor * events.stages.bare_area_m2;
        Self {
            nose: Body { mass_kg: plan.nose_kg, drag_area_m2: plan.nose_drag_area_m2 },
            airframe: Body {
                mass_kg: events.stages.mass_kg - plan.nose_kg,
                drag_area_m2: plan.airframe_drag_area_m2.unwrap_or(coasting_m2),
            },
            parting_m_s: from(&plan.parting_m_s, Slot::PartingSpeed),
            stiffness: from(&plan.stiffness, Slot::CordStiffness),
            damping: from(&plan.damping, Slot::CordDamping),
        }
    }

    /// They part at an ejection of that flight.
    pub fn part_at(&self, ejection: &Ejection, drawn: &Drawn) -> Parting {
        Parting {
            nose: self.nose,
            airframe: self.airframe,
            airspeed_m_s: ejection.airspeed_m_s,
            density_kg_m3: drawn.air.at(ejection.height_m).0,
            parting_m_s: self.parting_m_s,
            stiffness: self.stiffness,
            damping: self.damping,
        }
    }
}
