//! Forces of the air on a rocket: from its shape, or from numbers measured on it.
//!
//! `Aero` is what a flight reads. Normal force at an angle of attack a: (slope sin a |cos a| + cross-flow
//! sin^2 a) times dynamic pressure, each part at its own place, so that it is sound from 0 to 180 degrees.
//! Potential theory has another cos(a/2) in the first term; it is left out, as it would tell the two ends
//! of the rocket apart for no better reason than the curve fit.
//!
//! - `normal`: slopes and places at small angle
//! - `cross_flow`: body and fins broadside
//! - `drag`: axial force at zero angle
//! - `measured`: from a card, and measured numbers over a shape
//! - `mach`: a value against Mach number

pub mod cross_flow;
pub mod drag;
pub mod mach;
pub mod measured;
pub mod normal;

pub use crate::assumption::Assumption;
pub use drag::Reference;
pub use mach::{MachRows, MachTable};
pub use measured::{Drag, Measured, from_measured};

use crate::case::shape::Shape;
use core::f64::consts::PI;

/// Mach number up to which a build-up or a single coefficient holds: above, wave drag is missing.
pub const BUILD_UP_MACH_BOUND: f64 = 0.9;

/// Axial force tail first over nose first. A flat face has some 0.8 where the base had 0.16, but the flow
/// leaves the body behind it: between 1 and 2 (own estimate from Hoerner's blunt cylinders, from memory).
/// It acts only in the few slow seconds of a tail slide.
pub const TAIL_FIRST_FACTOR: f64 = 1.5;

/// Sums of slope, slope x place and slope x place squared over parts: all that force, moment and damping
/// need of parts that share one law. Slopes on the reference area, places from the nose tip.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SlopeMoments {
    /// Sum of slopes.
    pub zeroth_per_rad: f64,
    /// Sum of slope x place.
    pub first_m: f64,
    /// Sum of slope x place squared.
    pub second_m2: f64,
}

impl SlopeMoments {
    /// With one more part.
    #[must_use]
    pub fn add(self, slope_per_rad: f64, station_m: f64) -> Self {
        Self {
            zeroth_per_rad: self.zeroth_per_rad + slope_per_rad,
            first_m: self.first_m + slope_per_rad * station_m,
            second_m2: self.second_m2 + slope_per_rad * station_m * station_m,
        }
    }

    /// Every slope times a factor.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        Self {
            zeroth_per_rad: self.zeroth_per_rad * factor,
            first_m: self.first_m * factor,
            second_m2: self.second_m2 * factor,
        }
    }

    /// Every part moved back by the same distance; by minus the centre of gravity, `second_m2` is the
    /// damping sum about it.
    #[must_use]
    pub fn shifted(self, distance_m: f64) -> Self {
        Self {
            zeroth_per_rad: self.zeroth_per_rad,
            first_m: self.first_m + self.zeroth_per_rad * distance_m,
            second_m2: self.second_m2 + distance_m * (2.0 * self.first_m + self.zeroth_per_rad * distance_m),
        }
    }
}

/// Sums of area x coefficient, and of that x centroid, over body and fin sets seen broadside.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CrossFlow {
    /// Sum of area x coefficient.
    pub drag_area_m2: f64,
    /// Sum of area x coefficient x centroid from the nose tip.
    pub first_m3: f64,
}

impl CrossFlow {
    /// With one more part.
    #[must_use]
    pub fn add(self, drag_area_m2: f64, centroid_m: f64) -> Self {
        Self { drag_area_m2: self.drag_area_m2 + drag_area_m2, first_m3: self.first_m3 + drag_area_m2 * centroid_m }
    }

    /// Where the force acts, from the nose tip; 0 when there is none.
    pub fn centroid_m(&self) -> f64 {
        ratio_or_zero(self.first_m3, self.drag_area_m2)
    }
}

/// All a flight needs to know of the air's forces on one rocket.
#[derive(Clone, Debug, PartialEq)]
pub struct Aero {
    /// Area every coefficient stands on.
    pub reference_area_m2: f64,
    /// Nose and transitions; the same at every Mach number.
    pub body: SlopeMoments,
    /// Fins at Mach 0.
    pub fins: SlopeMoments,
    /// Fin slope at a Mach number over that at Mach 0.
    pub fin_slope_factor: MachTable,
    /// Body and fins broadside.
    pub cross_flow: CrossFlow,
    /// Axial force coefficient at zero angle, motor silent.
    pub drag_coasting: MachTable,
    /// The same while the motor burns.
    pub drag_thrusting: MachTable,
    /// Axial force tail first over nose first.
    pub tail_first_factor: f64,
    /// Beyond this Mach number a flight is outside the model.
    pub mach_bound: f64,
    /// What was taken for granted.
    pub assumed: Vec<Assumption>,
}

impl Aero {
    /// Axial force coefficient at zero angle, while the motor burns or after.
    #[inline(always)]
    pub fn drag(&self, burning: bool) -> &MachTable {
        if burning { &self.drag_thrusting } else { &self.drag_coasting }
    }

    /// Slope of the normal force at Mach 0 and small angle.
    pub fn normal_force_slope_per_rad(&self) -> f64 {
        self.body.zeroth_per_rad + self.fins.zeroth_per_rad
    }

    /// Centre of pressure at Mach 0 and small angle, from the nose tip; 0 when nothing has a slope.
    pub fn centre_of_pressure_m(&self) -> f64 {
        ratio_or_zero(self.body.first_m + self.fins.first_m, self.normal_force_slope_per_rad())
    }

    /// Normal force coefficient and its place at Mach 0, at any angle of attack. At 0 and 180 degrees the
    /// place is the limit, not 0/0.
    pub fn normal_force_and_cp(&self, angle_of_attack_rad: f64) -> (f64, f64) {
        let sine = libm::sin(angle_of_attack_rad);
        let across = sine.abs() / self.reference_area_m2;
        let along = libm::cos(angle_of_attack_rad).abs();
        let per_sine = self.normal_force_slope_per_rad() * along + self.cross_flow.drag_area_m2 * across;
        let first = (self.body.first_m + self.fins.first_m) * along + self.cross_flow.first_m3 * across;
        (sine * per_sine, ratio_or_zero(first, per_sine))
    }

    /// States an assumption, in place of what stood under the same input.
    fn assume(&mut self, input: &'static str, value: String, source: &'static str) {
        self.assumed.retain(|old| old.input != input);
        self.assumed.push(Assumption { input, value, source });
    }
}

fn ratio_or_zero(first: f64, zeroth: f64) -> f64 {
    if zeroth == 0.0 { 0.0 } else { first / zeroth }
}

/// Area of the circle coefficients stand on.
fn circle_m2(diameter_m: f64) -> f64 {
    0.25 * PI * diameter_m * diameter_m
}

/// The build-up from a shape. The motor's diameter is that of nozzle exit or case, whichever closes the
/// base while it burns; 0 for none. Reynolds numbers use the air of the pad: at 3 km they are a fifth
/// lower and friction 3 % higher.
pub fn from_shape(shape: &Shape, reference_diameter_m: f64, motor_diameter_m: f64, reference: Reference) -> Aero {
    let reference_area_m2 = circle_m2(reference_diameter_m);
    let parts = |mach: f64| drag::build_up(shape, reference_area_m2, motor_diameter_m, &reference, mach);
    let mut aero = Aero {
        reference_area_m2,
        body: normal::body(shape, reference_diameter_m),
        fins: normal::fins(shape, reference_diameter_m),
        fin_slope_factor: normal::fin_slope_factor(shape, reference_diameter_m),
        cross_flow: cross_flow::whole(shape),
        drag_coasting: MachTable::from_fn(BUILD_UP_MACH_BOUND, |mach| parts(mach).coasting()),
        drag_thrusting: MachTable::from_fn(BUILD_UP_MACH_BOUND, |mach| parts(mach).thrusting()),
        tail_first_factor: TAIL_FIRST_FACTOR,
        mach_bound: BUILD_UP_MACH_BOUND,
        assumed: Vec::new(),
    };
    assume_common(&mut aero);
    if !shape.fin_sets.is_empty() {
        aero.assume(
            "model.cross_flow.fins",
            format!("flat plates, coefficient {}, half the fins", cross_flow::PLATE_COEFFICIENT),
            "Hoerner, Fluid-Dynamic Drag, ch. 3, from memory",
        );
        aero.assume(
            "model.fins.slope",
            "held between Mach 0.8 and 1.17".to_owned(),
            "Diederich, NACA TN 2335; beta not below 0.6",
        );
        aero.assume(
            "model.drag.fin_edges",
            "flat leading edge 0.65; round trailing edge half of a flat one".to_owned(),
            "estimate after Hoerner, ch. 3, from memory",
        );
    }
    if shape.fin_sets.iter().any(|set| set.count > 4) {
        aero.assume(
            "model.fins.interference",
            "body carry-over halved from 5 fins on; 7 and 8 fins lower by 0.94 and 0.89".to_owned(),
            "Barrowman for six; MIL-HDBK-762 beyond; from memory",
        );
    }
    aero.assume(
        "model.drag.base",
        format!("{} on the base at low speed", drag::base_drag(0.0)),
        "MIL-HDBK-762 fit; Hoerner's law is up to 2.5 times lower",
    );
    aero.assume(
        "model.drag.motor_jet",
        "no base drag on the motor's area while it burns".to_owned(),
        "usual simplification",
    );
    aero.assume(
        "model.drag.nose",
        "no pressure drag on noses that meet the tube without a corner".to_owned(),
        "Hoerner, ch. 3, from memory",
    );
    aero.assume(
        "model.drag.transition",
        "laminar up to a Reynolds number of 5e5, roughness acts behind it".to_owned(),
        "Prandtl's transitional plate law",
    );
    aero
}

/// What stands behind every rocket, from a shape or from a card.
fn assume_common(aero: &mut Aero) {
    aero.assume(
        "card.airframe.tail_first_factor",
        TAIL_FIRST_FACTOR.to_string(),
        "own estimate after Hoerner's blunt cylinders, between 1 and 2",
    );
    aero.assume(
        "model.cross_flow.body",
        format!("coefficient {} times Jorgensen's factor for length", cross_flow::CYLINDER_COEFFICIENT),
        "Allen and Perkins, NACA R-1048; Jorgensen, NASA TR R-474; no drag crisis",
    );
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::case::shape::{FinEdge, FinSet, Nose, NoseForm, RailGuide};

    pub(crate) fn near(got: f64, want: f64, relative: f64) {
        assert!((got - want).abs() <= relative * want.abs(), "got {got}, want {want}");
    }

    /// Air of case DRAG-1: kinematic viscosity 1.4607e-5 m2/s, sea level.
    pub(crate) const CP1_AIR: Reference =
        Reference { density_kg_m3: 1.225, dynamic_viscosity_pa_s: 1.225 * 1.4607e-5, speed_of_sound_m_s: 340.294 };

    /// Geometry of cases CP-1, BL-1 and DRAG-1 (own): diameter 2.5 cm, tangent ogive 10 cm, three fins
    /// 6/3 cm chord, 5 cm span, 3 cm sweep at 35 cm; length 45 cm, fins 2.4 mm, lug 5 x 50 mm.
    pub(crate) fn cp1_shape() -> Shape {
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

    pub(crate) fn cp1() -> Aero {
        from_shape(&cp1_shape(), 0.025, 0.018, CP1_AIR)
    }

    /// Case CP-1 (own geometry, Barrowman's closed forms computed apart in Python): total 24.752760 /rad
    /// at 34.846559 cm, relative 1e-6.
    #[test]
    fn cp1_total() {
        let aero = cp1();
        near(aero.normal_force_slope_per_rad(), 24.752760, 1e-6);
        near(aero.centre_of_pressure_m(), 0.34846559, 1e-6);
        near(aero.body.zeroth_per_rad, 2.0, 1e-12);
        near(aero.body.first_m, 2.0 * 0.0466, 1e-12);
    }

    /// A body and fins twice the size have the same slopes and places twice as far.
    #[test]
    fn size_does_not_matter() {
        let mut shape = cp1_shape();
        let set = &mut shape.fin_sets[0];
        for length in [
            &mut shape.nose.length_m,
            &mut shape.nose.base_diameter_m,
            &mut shape.length_m,
            &mut shape.base_diameter_m,
            &mut set.root_chord_m,
            &mut set.tip_chord_m,
            &mut set.span_m,
            &mut set.sweep_m,
            &mut set.thickness_m,
            &mut set.station_m,
            &mut set.body_diameter_m,
        ] {
            *length *= 2.0;
        }
        let (small, large) = (cp1(), from_shape(&shape, 0.05, 0.036, CP1_AIR));
        near(large.normal_force_slope_per_rad(), small.normal_force_slope_per_rad(), 1e-13);
        near(large.centre_of_pressure_m(), 2.0 * small.centre_of_pressure_m(), 1e-13);
        near(large.cross_flow.drag_area_m2, 4.0 * small.cross_flow.drag_area_m2, 1e-12);
    }

    /// Case BL-1 (computed apart): centre of pressure of the whole with linear nose and fins and 1.1 x the
    /// body's side area: 0.345037 / 0.340302 / 0.333389 / 0.327547 m at 2, 5, 10, 15 degrees. Ours has
    /// sin |cos| for the angle, so the case is rebuilt from our parts; the printed digits are the tolerance.
    #[test]
    fn bl1_centre_of_pressure_moves_forward() {
        let (aero, shape) = (cp1(), cp1_shape());
        let side = 1.1 * shape.planform_area_m2() / aero.reference_area_m2;
        for (degrees, want) in [(2.0_f64, 0.345037), (5.0, 0.340302), (10.0, 0.333389), (15.0, 0.327547)] {
            let angle = degrees.to_radians();
            let sine = libm::sin(angle);
            let linear = aero.normal_force_slope_per_rad() * angle;
            let cross = side * sine * sine;
            let place = (linear * aero.centre_of_pressure_m() + cross * shape.planform_centroid_m()) / (linear + cross);
            assert!((place - want).abs() < 6e-7, "{degrees}: {place} {want}");
        }
    }

    /// Case BL-1, potential term (A_base/A_ref) sin 2a cos(a/2), computed apart: ours is sin 2a for the
    /// nose, the printed value less its cos(a/2).
    #[test]
    fn bl1_potential_rows() {
        let mut bare = cp1();
        bare.fins = SlopeMoments::default();
        bare.cross_flow = CrossFlow::default();
        for (degrees, want) in [
            (2.0_f64, 0.069746),
            (5.0, 0.173483),
            (10.0, 0.340719),
            (15.0, 0.495722),
            (20.0, 0.633022),
            (30.0, 0.836516),
        ] {
            let angle = degrees.to_radians();
            let (force, place) = bare.normal_force_and_cp(angle);
            assert!((force * libm::cos(0.5 * angle) - want).abs() < 6e-7, "{degrees}");
            near(place, 0.0466, 1e-12);
        }
    }

    /// Sound at every angle, odd in the angle, and the same place at 0 and 180 degrees.
    #[test]
    fn every_angle() {
        let aero = cp1();
        for tenths in -3600..=3600 {
            let angle = f64::from(tenths).to_radians() * 0.1;
            let (force, place) = aero.normal_force_and_cp(angle);
            let (mirror, mirror_place) = aero.normal_force_and_cp(-angle);
            assert!(force.is_finite() && (0.2..0.36).contains(&place), "{angle}");
            assert_eq!(force, -mirror);
            assert_eq!(place, mirror_place);
        }
        near(aero.normal_force_and_cp(0.0).1, aero.centre_of_pressure_m(), 1e-15);
        near(aero.normal_force_and_cp(PI).1, aero.centre_of_pressure_m(), 1e-12);
        near(aero.normal_force_and_cp(0.5 * PI).1, aero.cross_flow.centroid_m(), 1e-12);
    }

    /// Sums against the parts written out.
    #[test]
    fn moments_move_and_scale() {
        let parts = [(2.0, 0.05), (-0.4, 0.3), (11.0, 0.4)];
        let sum = parts.iter().fold(SlopeMoments::default(), |sum, part| sum.add(part.0, part.1));
        let moved = sum.shifted(-0.31).scaled(3.0);
        let by_hand = parts
            .iter()
            .fold(0.0, |sum, (slope, place): &(f64, f64)| sum + 3.0 * slope * (place - 0.31) * (place - 0.31));
        near(moved.second_m2, by_hand, 1e-12);
        near(moved.zeroth_per_rad, 3.0 * 12.6, 1e-12);
        near(moved.first_m, 3.0 * (2.0 * -0.26 + 0.4 * 0.01 + 11.0 * 0.09), 1e-12);
    }

    /// Damping sum of case OSC-1 (computed apart): C2 = 4.2373165e-3 N m s at 60 m/s, 1.225 kg/m3, centre
    /// of gravity 0.31 m.
    #[test]
    fn osc1_damping_sum() {
        let aero = cp1();
        let about = aero.body.shifted(-0.31).second_m2 + aero.fins.shifted(-0.31).second_m2;
        near(0.5 * 1.225 * 60.0 * aero.reference_area_m2 * about, 4.2373165e-3, 1e-6);
    }

    #[test]
    fn drag_is_tabulated_to_the_bound() {
        let aero = cp1();
        assert_eq!(aero.mach_bound, 0.9);
        assert_eq!(aero.drag_coasting.end(), 0.9);
        for hundredths in 0..=90 {
            let mach = f64::from(hundredths) / 100.0;
            let (coasting, thrusting) = (aero.drag_coasting.at(mach), aero.drag_thrusting.at(mach));
            assert!(coasting > thrusting && thrusting > 0.2 && coasting < 1.0, "{mach}");
        }
        assert!(aero.assumed.iter().all(|a| !a.value.is_empty() && !a.source.is_empty()));
    }

    /// A bare tube has no singular place.
    #[test]
    fn nothing_divides_by_zero() {
        let mut bare = cp1();
        bare.body = SlopeMoments::default();
        bare.fins = SlopeMoments::default();
        bare.cross_flow = CrossFlow::default();
        assert_eq!(bare.normal_force_and_cp(0.3), (0.0, 0.0));
        assert_eq!(bare.centre_of_pressure_m(), 0.0);
        assert_eq!(bare.cross_flow.centroid_m(), 0.0);
    }
}
