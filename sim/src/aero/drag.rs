//! Axial force at zero angle, built up from friction, pressure, base, fins and guides.
//!
//! Source where no other is named: S. F. Hoerner, *Fluid-Dynamic Drag*, 1965. Every formula is a function
//! of its own, so that it can be checked alone. Valid below the drag rise: no wave drag is modelled.

use super::mach::interpolate;
use crate::case::shape::{FinEdge, FinSet, RailGuide, Shape};

/// Air the Reynolds numbers are formed with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    /// Density.
    pub density_kg_m3: f64,
    /// Dynamic viscosity.
    pub dynamic_viscosity_pa_s: f64,
    /// Speed of sound.
    pub speed_of_sound_m_s: f64,
}

impl Reference {
    /// Reynolds number on a length. Below Mach 0.01 (3 m/s, where drag no longer matters) it is held, as
    /// friction laws grow without bound at rest.
    pub fn reynolds(&self, mach: f64, length_m: f64) -> f64 {
        let speed = mach.max(0.01) * self.speed_of_sound_m_s;
        self.density_kg_m3 * speed * length_m / self.dynamic_viscosity_pa_s
    }
}

/// Reynolds number at which the boundary layer of a smooth plate turns turbulent.
const TRANSITION_REYNOLDS: f64 = 5e5;

/// Mean laminar friction of a plate (Blasius).
pub fn laminar_friction(reynolds: f64) -> f64 {
    1.328 / reynolds.sqrt()
}

/// Mean turbulent friction of a smooth plate: 0.455 / (log10 Re)^2.58 (Schlichting 21.16).
pub fn turbulent_friction(reynolds: f64) -> f64 {
    0.455 / libm::pow(libm::log10(reynolds), 2.58)
}

/// Turbulent friction less what the laminar run at the front saves: 1700/Re for transition at 5e5
/// (Prandtl; from memory).
pub fn transitional_friction(reynolds: f64) -> f64 {
    turbulent_friction(reynolds) - 1700.0 / reynolds
}

/// Smooth plate at every Reynolds number: laminar, then transitional. The two curves cross just above
/// transition, so the greater of them has no jump. Below 1e4 the turbulent law is off its range.
pub fn smooth_friction(reynolds: f64) -> f64 {
    let reynolds = reynolds.max(1.0);
    let laminar = laminar_friction(reynolds);
    if reynolds < 1e4 { laminar } else { laminar.max(transitional_friction(reynolds)) }
}

/// Mean friction of a fully rough plate: (1.89 + 1.62 log10(L/h))^-2.5 (Schlichting 21.38, White 6-84b),
/// written for L/h of 100 and more; shorter is held there.
pub fn rough_friction(length_m: f64, roughness_m: f64) -> f64 {
    let ratio = (length_m / roughness_m).max(100.0);
    let root = 1.89 + 1.62 * libm::log10(ratio);
    1.0 / (root * root * root.sqrt())
}

/// Friction of a plate with roughness. Roughness sets a floor only behind transition: grains inside a
/// laminar layer cost nothing. The laminar run keeps its own friction, so there is no jump. That rough
/// paint also brings transition forward is left out.
pub fn skin_friction(reynolds: f64, length_m: f64, roughness_m: f64) -> f64 {
    let smooth = smooth_friction(reynolds);
    if roughness_m <= 0.0 || reynolds <= TRANSITION_REYNOLDS {
        return smooth;
    }
    let laminar_run = TRANSITION_REYNOLDS / reynolds;
    let floor = laminar_friction(TRANSITION_REYNOLDS) * laminar_run
        + rough_friction(length_m, roughness_m) * (1.0 - laminar_run);
    smooth.max(floor)
}

/// Fall of turbulent friction with Mach: (1 + 0.144 M^2)^-0.65 (common aircraft design practice, from
/// memory). 7 % at Mach 0.9; laminar friction falls less, a difference left out.
pub fn compressibility_factor(mach: f64) -> f64 {
    libm::pow(1.0 + 0.144 * mach * mach, -0.65)
}

/// Pressure drag of a slender body as a factor on its friction: 1 + 1.5 (d/l)^1.5 + 7 (d/l)^3.
pub fn body_form_factor(fineness: f64) -> f64 {
    let inverse = 1.0 / fineness;
    1.0 + 1.5 * inverse * inverse.sqrt() + 7.0 * inverse * inverse * inverse
}

/// Pressure drag of a streamlined fin as a factor on its friction: 1 + 2 t/c + 60 (t/c)^4.
pub fn fin_form_factor(thickness_over_chord: f64) -> f64 {
    let squared = thickness_over_chord * thickness_over_chord;
    1.0 + 2.0 * thickness_over_chord + 60.0 * squared * squared
}

/// Base drag of a body of revolution without plume, on its base area, against Mach: curve fit to
/// MIL-HDBK-762 section 5-5.3.1.
const BASE_DRAG: [(f64, f64); 8] =
    [(0.6, 0.159), (0.8, 0.160), (0.9, 0.164), (1.0, 0.179), (1.1, 0.189), (1.2, 0.187), (1.5, 0.173), (2.0, 0.146)];

/// Base drag without plume, on base area. Hoerner's 0.029 / sqrt(forebody drag on base area) is up to 2.5
/// times smaller for slender bodies; that spread is the honest uncertainty of a build-up (some 0.1 in the
/// coefficient of a whole rocket).
pub fn base_drag(mach: f64) -> f64 {
    interpolate(&BASE_DRAG, mach)
}

/// Share of the base that drags while the motor burns: the ring outside nozzle exit and case. The jet
/// fills the rest.
pub fn power_on_base_share(base_diameter_m: f64, motor_diameter_m: f64) -> f64 {
    if base_diameter_m <= 0.0 {
        return 0.0;
    }
    let ratio = motor_diameter_m / base_diameter_m;
    (1.0 - ratio * ratio).max(0.0)
}

/// Pressure drag, on the area by which it widens, of a cone of a given surface slope: 0.8 sin^2 of its
/// half angle (fit to Hoerner's headforms, chapter 3, from memory; 0.8 is a flat face). Noses that meet
/// the tube without a corner have slope 0 there, hence none: their suction balances the tip.
pub fn cone_pressure(surface_slope: f64) -> f64 {
    let squared = surface_slope * surface_slope;
    0.8 * squared / (1.0 + squared)
}

/// Slopes between which the flow leaves a boattail: attached to 8 degrees, all of it gone at 30 (from
/// memory, the usual reading of wind-tunnel data; linear between).
const BOATTAIL_ATTACHED_SLOPE: f64 = 0.14;
const BOATTAIL_SEPARATED_SLOPE: f64 = 0.58;

/// Share of a boattail from which the flow has separated, from the steepness of its surface.
pub fn boattail_separated_share(surface_slope: f64) -> f64 {
    let steepness = surface_slope.abs();
    ((steepness - BOATTAIL_ATTACHED_SLOPE) / (BOATTAIL_SEPARATED_SLOPE - BOATTAIL_ATTACHED_SLOPE)).clamp(0.0, 1.0)
}

/// Pressure drag of a boattail on the area by which it narrows: like a base where the flow has left it.
pub fn boattail_pressure(surface_slope: f64, mach: f64) -> f64 {
    base_drag(mach) * boattail_separated_share(surface_slope)
}

/// What an attached boattail at the tail leaves of the base drag on base area: the diameter ratio, i.e.
/// DATCOM's (db/d)^3 on the body's area (from memory). A separated one leaves it all.
pub fn base_behind_boattail(shape: &Shape) -> f64 {
    let Some(last) = shape.transitions.last() else {
        return 1.0;
    };
    let narrows = last.rear_diameter_m < last.front_diameter_m;
    // A tube of more than half a diameter behind it, and the boattail no longer shapes the wake.
    let at_tail = last.rear_m() >= shape.length_m - 0.5 * shape.base_diameter_m;
    if !(narrows && at_tail) {
        return 1.0;
    }
    let separated = boattail_separated_share(last.surface_slope());
    let ratio = last.rear_diameter_m / last.front_diameter_m;
    ratio + (1.0 - ratio) * separated
}

/// Drag of a flat leading edge on its frontal area, unswept: a long rectangular section has 0.9 (Hoerner
/// chapter 3, from memory), of which about 0.25 is its base.
const FLAT_LEADING_EDGE: f64 = 0.65;

/// Share of the base drag of a flat trailing edge that stays when it is round: an assumption.
const ROUND_TRAILING_EDGE: f64 = 0.5;

/// Drag of a leading edge on its frontal area. Only the flow across the edge counts: cos^2 of its sweep.
pub fn leading_edge_drag(edge: FinEdge, sweep_slope: f64) -> f64 {
    match edge {
        FinEdge::Flat => FLAT_LEADING_EDGE / (1.0 + sweep_slope * sweep_slope),
        FinEdge::Round | FinEdge::Tapered => 0.0,
    }
}

/// Base drag of a blunt trailing edge on its area, from the friction of both sides on that same area:
/// 0.135 / cbrt (Hoerner chapter 3, from memory).
pub fn trailing_edge_drag(edge: FinEdge, friction_on_edge: f64) -> f64 {
    let blunt = 0.135 / libm::cbrt(friction_on_edge);
    match edge {
        FinEdge::Flat => blunt,
        FinEdge::Round => ROUND_TRAILING_EDGE * blunt,
        FinEdge::Tapered => 0.0,
    }
}

/// Drag area of a fin set: friction on its mean chord with form factor, and its edges. Interference in
/// the corners with the body is left out (a few per cent of the fins' own).
pub fn fins_drag_area_m2(fins: &FinSet, roughness_m: f64, reference: &Reference, mach: f64) -> f64 {
    let chord = fins.mean_chord_m();
    let friction = skin_friction(reference.reynolds(mach, chord), chord, roughness_m) * compressibility_factor(mach);
    let skin = friction * fin_form_factor(fins.thickness_m / chord) * fins.wetted_area_m2();
    if fins.thickness_m <= 0.0 {
        return skin;
    }
    let edge_area = fins.count as f64 * fins.span_m * fins.thickness_m;
    let front = leading_edge_drag(fins.edge, fins.sweep_m / fins.span_m);
    let rear = trailing_edge_drag(fins.edge, 2.0 * friction * chord / fins.thickness_m);
    skin + (front + rear) * edge_area
}

/// Drag area of a lug or button: 1.2 frontal + 0.0045 wetted (Gregorek; Mandell; from memory).
pub fn guide_drag_area_m2(guide: &RailGuide) -> f64 {
    1.2 * guide.frontal_area_m2 + 0.0045 * guide.wetted_area_m2
}

/// Where the drag of a rocket comes from: each a coefficient on the reference area.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DragParts {
    /// Friction of the body with its form factor.
    pub body: f64,
    /// Pressure on nose, shoulders and boattails.
    pub pressure: f64,
    /// Base, no plume.
    pub base: f64,
    /// Base outside the motor, while it burns.
    pub base_thrusting: f64,
    /// Fins with their edges.
    pub fins: f64,
    /// Lugs and buttons.
    pub guides: f64,
}

impl DragParts {
    /// All parts, motor silent.
    pub fn coasting(&self) -> f64 {
        self.body + self.pressure + self.base + self.fins + self.guides
    }

    /// All parts, motor burning.
    pub fn thrusting(&self) -> f64 {
        self.coasting() - self.base + self.base_thrusting
    }
}

/// The build-up at one Mach number.
pub fn build_up(
    shape: &Shape,
    reference_area_m2: f64,
    motor_diameter_m: f64,
    reference: &Reference,
    mach: f64,
) -> DragParts {
    let circle = |diameter: f64| 0.25 * core::f64::consts::PI * diameter * diameter;
    let length = shape.length_m;
    let friction =
        skin_friction(reference.reynolds(mach, length), length, shape.roughness_m) * compressibility_factor(mach);
    let body = friction * body_form_factor(shape.fineness()) * shape.wetted_area_m2();

    let nose = cone_pressure(shape.nose.slope_at_base()) * circle(shape.nose.base_diameter_m);
    let pressure = shape.transitions.iter().fold(nose, |sum, transition| {
        let slope = transition.surface_slope();
        let widening = circle(transition.rear_diameter_m) - circle(transition.front_diameter_m);
        sum + if widening >= 0.0 { cone_pressure(slope) * widening } else { boattail_pressure(slope, mach) * -widening }
    });

    let base = base_drag(mach) * base_behind_boattail(shape) * shape.base_area_m2();
    let fins =
        shape.fin_sets.iter().fold(0.0, |sum, set| sum + fins_drag_area_m2(set, shape.roughness_m, reference, mach));
    let guides = shape.guides.iter().fold(0.0, |sum, guide| sum + guide_drag_area_m2(guide));

    DragParts {
        body: body / reference_area_m2,
        pressure: pressure / reference_area_m2,
        base: base / reference_area_m2,
        base_thrusting: base * power_on_base_share(shape.base_diameter_m, motor_diameter_m) / reference_area_m2,
        fins: fins / reference_area_m2,
        guides: guides / reference_area_m2,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aero::tests::{CP1_AIR, cp1_shape, near};
    use crate::case::shape::{NoseForm, Transition};
    use core::f64::consts::PI;

    /// Case CF-1 (the named laws computed apart in Python); the printed digits are the tolerance.
    #[test]
    fn cf1_rows() {
        for (reynolds, laminar, turbulent, transitional) in [
            (1e5, 0.004200, 0.007156, None),
            (5e5, 0.001878, 0.005106, Some(0.001706)),
            (1e6, 0.001328, 0.004471, Some(0.002771)),
            (3e6, 0.000767, 0.003670, Some(0.003103)),
            (1e7, 0.000420, 0.003004, Some(0.002834)),
        ] {
            assert!((laminar_friction(reynolds) - laminar).abs() < 5.1e-7, "{reynolds}");
            assert!((turbulent_friction(reynolds) - turbulent).abs() < 5.1e-7, "{reynolds}");
            if let Some(want) = transitional {
                assert!((transitional_friction(reynolds) - want).abs() < 5.1e-7, "{reynolds}");
            }
        }
    }

    /// No jump anywhere, smooth or rough: neighbours 0.1 % apart in Reynolds number stay within 1 %.
    #[test]
    fn friction_has_no_jump() {
        for roughness in [0.0, 5e-6, 60e-6, 300e-6, 0.1] {
            let mut reynolds = 1.0;
            while reynolds < 1e9 {
                let here = skin_friction(reynolds, 0.5, roughness);
                let next = skin_friction(reynolds * 1.001, 0.5, roughness);
                assert!(here.is_finite() && here > 0.0);
                assert!((next / here - 1.0).abs() < 0.01, "{roughness} {reynolds}");
                reynolds *= 1.001;
            }
        }
        near(skin_friction(1e6, 0.5, 0.0), 0.002771, 2e-4);
        // (1.89 + 1.62 log10 1e4)^-2.5 = 8.37^-2.5, by hand.
        near(rough_friction(0.5, 50e-6), 0.004933, 1e-3);
    }

    /// Case FF-1 (the formulas computed apart in Python); the printed digits are the tolerance.
    #[test]
    fn ff1_rows() {
        for (fineness, want) in [(5.0, 1.19016), (10.0, 1.05443), (15.0, 1.02789), (20.0, 1.01765), (25.0, 1.01245)] {
            assert!((body_form_factor(fineness) - want).abs() < 5.1e-6, "{fineness}");
        }
        near(fin_form_factor(0.05), 1.100375, 1e-12);
        near(fin_form_factor(0.10), 1.206000, 1e-12);
    }

    /// Case DRAG-1 (own geometry, computed apart in Python, incompressible): friction of the body 0.20968,
    /// fins 0.09405, lug 0.06240, all with the handbook's base 0.525. Ours at Mach 0.176 has friction lower
    /// by the compressibility factor, 0.3 %, which is divided out of the parts.
    #[test]
    fn drag1_parts() {
        let shape = cp1_shape();
        let area = 0.25 * PI * 0.025 * 0.025;
        let mach = 60.0 / CP1_AIR.speed_of_sound_m_s;
        near(CP1_AIR.reynolds(mach, 0.45), 1.84843e6, 1e-5);
        let parts = build_up(&shape, area, 0.018, &CP1_AIR, mach);
        let factor = compressibility_factor(mach);
        near(parts.body / factor, 0.20968, 3e-5);
        near(parts.fins / factor, 0.09405, 6e-5);
        near(parts.guides, 0.06240, 1e-4);
        near(parts.base, 0.159, 1e-12);
        assert_eq!(parts.pressure, 0.0);
        assert!((parts.coasting() - 0.525).abs() < 0.0015, "{}", parts.coasting());
        near(parts.coasting() - parts.thrusting(), 0.159 * (18.0 / 25.0) * (18.0 / 25.0), 1e-12);
    }

    /// Finned models below Mach 0.6 measure 0.3 to 0.9 (texts of the trade): a band, never a pass mark
    /// for a digit.
    #[test]
    fn usual_models_are_in_the_band() {
        for edge in [FinEdge::Round, FinEdge::Tapered] {
            for roughness in [0.0, 20e-6, 60e-6] {
                let mut shape = cp1_shape();
                shape.roughness_m = roughness;
                for set in &mut shape.fin_sets {
                    set.edge = edge;
                }
                for mach in [0.1, 0.3, 0.6] {
                    let area = 0.25 * PI * 0.025 * 0.025;
                    let total = build_up(&shape, area, 0.018, &CP1_AIR, mach).coasting();
                    assert!((0.3..0.9).contains(&total), "{edge:?} {roughness} {mach} {total}");
                }
            }
        }
    }

    /// Order that must hold: flat worse than round worse than tapered; sweep helps a flat edge.
    #[test]
    fn edges_in_order() {
        let drag = |edge| {
            let mut set = cp1_shape().fin_sets[0];
            set.edge = edge;
            fins_drag_area_m2(&set, 0.0, &CP1_AIR, 0.2)
        };
        assert!(drag(FinEdge::Flat) > drag(FinEdge::Round));
        assert!(drag(FinEdge::Round) > drag(FinEdge::Tapered));
        near(leading_edge_drag(FinEdge::Flat, 1.0), 0.325, 1e-12);
        // 0.135 / 0.125^(1/3) = 0.27.
        near(trailing_edge_drag(FinEdge::Flat, 0.125), 0.27, 1e-12);
    }

    /// A gentle boattail lowers the drag, an abrupt step does not: it is a base.
    #[test]
    fn boattails() {
        let with_length = |length_m: f64| {
            let mut shape = cp1_shape();
            shape.transitions = vec![Transition {
                station_m: 0.45 - length_m,
                length_m,
                front_diameter_m: 0.025,
                rear_diameter_m: 0.018,
            }];
            shape.base_diameter_m = 0.018;
            let parts = build_up(&shape, 0.25 * PI * 0.025 * 0.025, 0.0, &CP1_AIR, 0.2);
            parts.base + parts.pressure
        };
        // DATCOM (db/d)^3.
        near(with_length(0.05), 0.159 * 0.72 * 0.72 * 0.72, 1e-12);
        near(with_length(0.001), 0.159, 1e-12);
    }

    /// Flat face 0.8; a cone of 4 calibres 0.8 / 65.
    #[test]
    fn blunt_and_slender_noses() {
        let mut shape = cp1_shape();
        shape.nose.form = NoseForm::Cone;
        let area = 0.25 * PI * 0.025 * 0.025;
        let parts = build_up(&shape, area, 0.0, &CP1_AIR, 0.2);
        near(parts.pressure, 0.8 / 65.0, 1e-12);
        near(cone_pressure(1e9), 0.8, 1e-12);
    }

    #[test]
    fn motor_fills_its_part_of_the_base() {
        assert_eq!(power_on_base_share(0.05, 0.0), 1.0);
        assert_eq!(power_on_base_share(0.05, 0.05), 0.0);
        assert_eq!(power_on_base_share(0.05, 0.06), 0.0);
        assert_eq!(power_on_base_share(0.0, 0.0), 0.0);
    }

    /// (1 + 0.144 M^2)^-0.65 falls by 7 % to Mach 0.9, as its comment says; the figure by hand: 1.11664^-0.65.
    #[test]
    fn friction_falls_with_mach() {
        assert_eq!(compressibility_factor(0.0), 1.0);
        near(compressibility_factor(0.9), libm::exp(-0.65 * libm::log(1.11664)), 1e-12);
        assert!((0.925..0.935).contains(&compressibility_factor(0.9)));
    }

    /// Friction of a rough plate is that of its rough part and of the laminar run before it, each on its length.
    #[test]
    fn a_rough_plate_keeps_its_laminar_run() {
        // 2 m at Re 1e7: the first tenth of a metre is laminar, 1.328 / sqrt(5e5).
        let rough = rough_friction(2.0, 300e-6);
        near(skin_friction(1e7, 2.0, 300e-6), 0.05 * 0.001_878_076 + 0.95 * rough, 1e-6);
        // At the transition itself, and where the grains are hidden, the plate is as smooth as another.
        assert_eq!(skin_friction(TRANSITION_REYNOLDS, 2.0, 300e-6), smooth_friction(TRANSITION_REYNOLDS));
        assert_eq!(skin_friction(1e7, 2.0, 1e-9), smooth_friction(1e7));
        // Short and coarse: held at a ratio of 100, 5.13^-2.5.
        near(rough_friction(0.1, 0.01), libm::pow(5.13, -2.5), 1e-12);
    }

    /// Attached to a slope of 0.14 (8 degrees), gone at 0.58 (30 degrees), whichever way it slopes.
    #[test]
    fn boattails_let_go_by_degrees() {
        for (slope, share) in [(0.0, 0.0), (0.14, 0.0), (0.36, 0.5), (-0.36, 0.5), (0.58, 1.0), (3.0, 1.0)] {
            assert!((boattail_separated_share(slope) - share).abs() < 1e-12, "{slope}");
        }
        near(boattail_pressure(0.36, 0.3), 0.5 * 0.159, 1e-12);
    }

    /// Where the boattail is not at the tail, or the last transition widens, the base is a base.
    #[test]
    fn only_a_boattail_at_the_tail_saves_base_drag() {
        let with = |station_m: f64, front: f64, rear: f64| {
            let mut shape = cp1_shape();
            shape.transitions =
                vec![Transition { station_m, length_m: 0.05, front_diameter_m: front, rear_diameter_m: rear }];
            shape.base_diameter_m = rear;
            base_behind_boattail(&shape)
        };
        assert_eq!(base_behind_boattail(&cp1_shape()), 1.0);
        near(with(0.40, 0.025, 0.018), 0.72, 1e-12);
        // Half a base diameter of tube behind it, and a little more.
        near(with(0.3911, 0.025, 0.018), 0.72, 1e-12);
        assert_eq!(with(0.3909, 0.025, 0.018), 1.0);
        assert_eq!(with(0.40, 0.018, 0.025), 1.0);
        // Half separated, 0.36 over its length: half of what was saved is lost.
        let mut steep = cp1_shape();
        steep.transitions = vec![Transition {
            station_m: 0.45 - 0.0035 / 0.36,
            length_m: 0.0035 / 0.36,
            front_diameter_m: 0.025,
            rear_diameter_m: 0.018,
        }];
        steep.base_diameter_m = 0.018;
        near(base_behind_boattail(&steep), 0.72 + 0.28 * 0.5, 1e-9);
    }

    /// A fin's edges by hand: 0.65 cos^2 of the sweep in front; behind, 0.135 / cbrt of both sides' friction on the
    /// edge's area, or half of that when round.
    #[test]
    fn edges_by_hand() {
        let mut set = cp1_shape().fin_sets[0];
        set.edge = FinEdge::Flat;
        let drag = |set: &FinSet| fins_drag_area_m2(set, 0.0, &CP1_AIR, 0.2);
        let (flat, round, tapered) = (
            drag(&set),
            drag(&FinSet { edge: FinEdge::Round, ..set }),
            drag(&FinSet { edge: FinEdge::Tapered, ..set }),
        );
        let edge_area = 3.0 * 0.05 * 0.0024;
        let friction = tapered / fin_form_factor(0.0024 / 0.045) / set.wetted_area_m2();
        let blunt = 0.135 / libm::cbrt(2.0 * friction * 0.045 / 0.0024);
        near(flat - tapered, (0.65 / 1.36 + blunt) * edge_area, 1e-9);
        near(round - tapered, 0.5 * blunt * edge_area, 1e-9);
        // No thickness, no edge.
        set.thickness_m = 0.0;
        near(drag(&set), friction * set.wetted_area_m2(), 1e-12);
    }

    /// Every part counts once, and motor on or off differs by the base alone.
    #[test]
    fn parts_add_up() {
        let parts = DragParts { body: 1.0, pressure: 2.0, base: 4.0, base_thrusting: 3.5, fins: 8.0, guides: 16.0 };
        assert_eq!((parts.coasting(), parts.thrusting()), (31.0, 30.5));
        // A shoulder's pressure: 0.8 sin^2 of its slope on the ring by which it widens.
        let mut shape = cp1_shape();
        shape.transitions =
            vec![Transition { station_m: 0.2, length_m: 0.01, front_diameter_m: 0.025, rear_diameter_m: 0.035 }];
        let area = 0.25 * PI * 0.025 * 0.025;
        let found = build_up(&shape, area, 0.0, &CP1_AIR, 0.2).pressure;
        near(found, 0.8 * 0.25 / 1.25 * (0.035 * 0.035 - 0.025 * 0.025) / (0.025 * 0.025), 1e-12);
    }
}
