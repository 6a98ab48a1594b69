//! Forces from measured numbers: a card without a shape, or single numbers laid over a shape's build-up.

use super::{
    Aero, BUILD_UP_MACH_BOUND, CrossFlow, MachTable, SlopeMoments, TAIL_FIRST_FACTOR, assume_common, circle_m2,
    cross_flow, normal,
};
use crate::case::shape::{Nose, NoseForm, Shape};

/// Drag as it was measured: axial force coefficient at zero angle on the reference area.
#[derive(Clone, Debug, PartialEq)]
pub enum Drag {
    /// One number at every speed.
    Coefficient(f64),
    /// (Mach, coefficient), at least one; linear between, held beyond.
    Table(Vec<(f64, f64)>),
}

/// What a card says of a rocket whose shape is not known.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// Nose tip to tail.
    pub length_m: f64,
    /// Largest diameter.
    pub diameter_m: f64,
    /// Centre of pressure at small angle, from the nose tip.
    pub centre_of_pressure_m: f64,
    /// Slope of the normal force on the largest cross-section, if known.
    pub normal_force_slope_per_rad: Option<f64>,
    /// Drag.
    pub drag: Drag,
}

/// Slope taken for a card that has none: finned models and high-power rockets lie between 6 and 25, short
/// fins on thick tubes at the low end (own estimate from Barrowman's forms). A low one turns slower into
/// the wind and swings wider.
pub const ASSUMED_SLOPE_PER_RAD: f64 = 10.0;

/// Slope of fins on a body per radian on the area they show broadside: Diederich's wing of aspect ratio 2
/// without sweep, 2.60, times a body carry-over of 1.2.
pub const FIN_SLOPE_ON_OWN_AREA_PER_RAD: f64 = 3.1;

/// No drag table is believed beyond this Mach number.
pub const TABLE_MACH_BOUND: f64 = 2.0;

impl Drag {
    /// Where it stops being valid.
    pub fn mach_bound(&self) -> f64 {
        match self {
            Self::Coefficient(_) => BUILD_UP_MACH_BOUND,
            Self::Table(nodes) => nodes.iter().fold(0.0, |end: f64, node| end.max(node.0)).min(TABLE_MACH_BOUND),
        }
    }

    /// As a table up to its bound.
    pub fn tabulated(&self) -> MachTable {
        match self {
            Self::Coefficient(coefficient) => MachTable::constant(*coefficient, self.mach_bound()),
            Self::Table(nodes) => MachTable::from_nodes(nodes, self.mach_bound()),
        }
    }
}

/// How a slope is shared between nose and fins so that the centre of pressure comes out.
struct Split {
    body: SlopeMoments,
    fins: SlopeMoments,
    fin_station_m: f64,
    how: String,
}

/// The nose keeps its 2 and the fins go where the centre of pressure asks. Where that would be behind the
/// tail, they sit at the tail and the nose gives up slope instead; where it would be ahead of the nose's
/// own place, or when nothing is left for fins, all of it acts at the centre of pressure.
fn split(measured: &Measured, slope_per_rad: f64, nose_station_m: f64) -> Split {
    let centre = measured.centre_of_pressure_m;
    let tail = measured.length_m;
    let nose_slope = normal::nose_slope_per_rad(1.0, 1.0);
    let left_for_fins = slope_per_rad - nose_slope;
    if left_for_fins <= 0.0 || centre <= nose_station_m || centre >= tail {
        return Split {
            body: SlopeMoments::default().add(slope_per_rad, centre),
            fins: SlopeMoments::default(),
            fin_station_m: centre,
            how: "all of the slope at the centre of pressure".to_owned(),
        };
    }
    let asked = (slope_per_rad * centre - nose_slope * nose_station_m) / left_for_fins;
    let (fin_slope, fin_station_m) = if asked <= tail {
        (left_for_fins, asked)
    } else {
        let share = (centre - nose_station_m) / (tail - nose_station_m);
        (slope_per_rad * share, tail)
    };
    Split {
        body: SlopeMoments::default().add(slope_per_rad - fin_slope, nose_station_m),
        fins: SlopeMoments::default().add(fin_slope, fin_station_m),
        fin_station_m,
        how: format!("{:.2} per rad at the nose, {fin_slope:.2} at {fin_station_m:.3} m", slope_per_rad - fin_slope),
    }
}

/// The body a card is taken to have: an ogive of four calibres or a quarter of the length, whichever is
/// shorter, and a tube.
fn assumed_body(measured: &Measured) -> Shape {
    Shape {
        nose: Nose {
            form: NoseForm::Ogive,
            length_m: (4.0 * measured.diameter_m).min(0.25 * measured.length_m),
            base_diameter_m: measured.diameter_m,
        },
        transitions: Vec::new(),
        fin_sets: Vec::new(),
        guides: Vec::new(),
        length_m: measured.length_m,
        base_diameter_m: measured.diameter_m,
        roughness_m: 0.0,
    }
}

/// From a card: its centre of pressure, slope and drag come out exactly; the rest is assumed and stated.
pub fn from_measured(measured: &Measured) -> Aero {
    let slope_per_rad = measured.normal_force_slope_per_rad.unwrap_or(ASSUMED_SLOPE_PER_RAD);
    let body = assumed_body(measured);
    let nose_station_m = normal::nose_centre_m(body.nose.form, body.nose.length_m);
    let split = split(measured, slope_per_rad, nose_station_m);
    let reference_area_m2 = circle_m2(measured.diameter_m);
    let fin_area_m2 = split.fins.zeroth_per_rad * reference_area_m2 / FIN_SLOPE_ON_OWN_AREA_PER_RAD;
    let cross_flow: CrossFlow =
        cross_flow::body(&body).add(cross_flow::PLATE_COEFFICIENT * fin_area_m2, split.fin_station_m);
    let drag = measured.drag.tabulated();
    let mut aero = Aero {
        reference_area_m2,
        body: split.body,
        fins: split.fins,
        fin_slope_factor: card_fin_slope_factor(),
        cross_flow,
        drag_coasting: drag.clone(),
        drag_thrusting: drag,
        tail_first_factor: TAIL_FIRST_FACTOR,
        mach_bound: measured.drag.mach_bound(),
        assumed: Vec::new(),
    };
    assume_common(&mut aero);
    if measured.normal_force_slope_per_rad.is_none() {
        aero.assume(
            "card.airframe.normal_force_slope",
            ASSUMED_SLOPE_PER_RAD.to_string(),
            "own estimate; finned rockets lie between 6 and 25",
        );
    }
    aero.assume(
        "model.nose",
        format!("ogive of {:.3} m", body.nose.length_m),
        "shorter of 4 calibres and a quarter of the length",
    );
    aero.assume(
        "model.fins.place",
        split.how,
        "slope beyond the nose's 2, placed so that the centre of pressure comes out",
    );
    aero.assume(
        "model.cross_flow.fins",
        format!("{fin_area_m2:.5} m2 broadside, coefficient {}", cross_flow::PLATE_COEFFICIENT),
        "from the slope, 3.1 per rad on the fins' own area (Diederich, aspect ratio 2)",
    );
    aero.assume(
        "model.fins.slope",
        "with Mach as fins of aspect ratio 2".to_owned(),
        "Diederich, NACA TN 2335; beta not below 0.6",
    );
    aero.assume("model.drag.thrusting", "as coasting".to_owned(), "one measured number; base share not known");
    aero
}

/// Fins of a card against Mach: an unswept wing of aspect ratio 2, where Diederich's form is
/// (2 + sqrt(4 + 4)) / (2 + sqrt(4 + 4 beta^2)). Ackeret's 4/beta, which caps it in `normal`, is above it as far as
/// the table goes.
fn card_fin_slope_factor() -> MachTable {
    let slope = |mach: f64| {
        let beta = normal::beta(mach);
        4.0 * core::f64::consts::PI / (2.0 + (4.0 + 4.0 * beta * beta).sqrt())
    };
    let still = slope(0.0);
    MachTable::from_fn(normal::SLOPE_TABLE_END, |mach| slope(mach) / still)
}

impl Aero {
    /// With a measured centre of pressure: the place where the fins' slope acts is moved until it comes
    /// out; without fins, that of the body. Cross-flow stays where the areas are.
    #[must_use]
    pub fn with_centre_of_pressure(mut self, centre_of_pressure_m: f64) -> Self {
        let first_asked = self.normal_force_slope_per_rad() * centre_of_pressure_m;
        let missing = first_asked - self.body.first_m - self.fins.first_m;
        let moved = if self.fins.zeroth_per_rad != 0.0 { &mut self.fins } else { &mut self.body };
        if moved.zeroth_per_rad == 0.0 {
            return self;
        }
        let distance = missing / moved.zeroth_per_rad;
        *moved = moved.shifted(distance);
        self.assume(
            "model.fins.place",
            format!("moved back by {distance:.4} m"),
            "so that the measured centre of pressure comes out",
        );
        self
    }

    /// With a measured slope: nose, transitions and fins are scaled alike, so the centre of pressure stays.
    /// Cross-flow stays.
    #[must_use]
    pub fn with_slope(mut self, normal_force_slope_per_rad: f64) -> Self {
        let built = self.normal_force_slope_per_rad();
        if built == 0.0 {
            return self;
        }
        let factor = normal_force_slope_per_rad / built;
        self.body = self.body.scaled(factor);
        self.fins = self.fins.scaled(factor);
        self.assume(
            "card.airframe.normal_force_slope",
            format!("all parts times {factor:.4}"),
            "so that the measured slope comes out",
        );
        self
    }

    /// With measured drag, taken as coasting. What the motor's jet saves keeps the share it had before.
    #[must_use]
    pub fn with_drag(mut self, drag: &Drag) -> Self {
        let coasting = drag.tabulated();
        let thrusting = MachTable::from_fn(coasting.end(), |mach| {
            let before = self.drag_coasting.at(mach);
            let share = if before > 0.0 { self.drag_thrusting.at(mach) / before } else { 1.0 };
            coasting.at(mach) * share
        });
        self.drag_coasting = coasting;
        self.drag_thrusting = thrusting;
        self.mach_bound = drag.mach_bound();
        self.assumed.retain(|old| !old.input.starts_with("model.drag."));
        self.assume(
            "model.drag.thrusting",
            "measured drag holds coasting; the motor's jet saves the share the build-up gave it".to_owned(),
            "one measured number",
        );
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aero::tests::{cp1, near};

    fn card() -> Measured {
        Measured {
            length_m: 1.0,
            diameter_m: 0.05,
            centre_of_pressure_m: 0.75,
            normal_force_slope_per_rad: Some(12.0),
            drag: Drag::Coefficient(0.5),
        }
    }

    /// What was asked comes out to rounding, whatever the corner.
    #[test]
    fn card_numbers_come_out() {
        for slope in [0.5, 2.0, 2.0001, 3.0, 9.0, 30.0] {
            for centre in [0.02, 0.0932, 0.3, 0.75, 0.95, 1.0, 1.2] {
                let aero = from_measured(&Measured {
                    centre_of_pressure_m: centre,
                    normal_force_slope_per_rad: Some(slope),
                    ..card()
                });
                near(aero.normal_force_slope_per_rad(), slope, 1e-14);
                near(aero.centre_of_pressure_m(), centre, 1e-13);
                let parts = [aero.body, aero.fins];
                assert!(parts.iter().all(|part| part.zeroth_per_rad >= 0.0 && part.second_m2 >= 0.0));
                assert!(aero.fins.first_m <= aero.fins.zeroth_per_rad * 1.0 + 1e-12, "{slope} {centre}");
            }
        }
    }

    /// By hand: ogive of min(0.2, 0.25) m, so nose at 0.0932 m; fins 10 at (9 - 0.1864)/10 = 0.88136 m;
    /// broadside area 10/3.1 of the reference.
    #[test]
    fn card_parts_by_hand() {
        let aero = from_measured(&card());
        near(aero.body.zeroth_per_rad, 2.0, 1e-14);
        near(aero.body.first_m, 0.1864, 1e-12);
        near(aero.fins.first_m, 8.8136, 1e-12);
        let body = cross_flow::body(&assumed_body(&card())).drag_area_m2;
        near(aero.cross_flow.drag_area_m2 - body, 1.2 * 10.0 / 3.1 * aero.reference_area_m2, 1e-12);
        assert_eq!(aero.drag_coasting.at(0.3), 0.5);
        assert_eq!(aero.mach_bound, 0.9);
    }

    #[test]
    fn missing_slope_is_stated() {
        let aero = from_measured(&Measured { normal_force_slope_per_rad: None, ..card() });
        near(aero.normal_force_slope_per_rad(), 10.0, 1e-14);
        assert!(aero.assumed.iter().any(|a| a.input == "card.airframe.normal_force_slope"));
        assert!(from_measured(&card()).assumed.iter().all(|a| a.input != "normal_force_slope_per_rad"));
    }

    /// The stated typical fin slope against the real fins of case CP-1: 22.752760 on 1.5 x 22.5 cm2 of
    /// 4.9087 cm2 is 3.31 per rad; a typical value should be within a tenth of it.
    #[test]
    fn typical_fin_slope_is_typical() {
        near(FIN_SLOPE_ON_OWN_AREA_PER_RAD, 22.752760 * 4.908739 / 33.75, 0.1);
    }

    #[test]
    fn table_sets_the_bound() {
        let with_end = |end: f64| {
            from_measured(&Measured { drag: Drag::Table(vec![(0.0, 0.4), (0.8, 0.45), (end, 0.7)]), ..card() })
        };
        assert_eq!(with_end(1.5).mach_bound, 1.5);
        assert_eq!(with_end(3.0).mach_bound, 2.0);
        near(with_end(1.6).drag_coasting.at(1.2), 0.575, 1e-12);
        near(with_end(1.6).drag_thrusting.at(9.0), 0.7, 1e-12);
        near(with_end(1.6).fin_slope_factor.at(0.0), 1.0, 1e-15);
    }

    #[test]
    fn measured_numbers_over_a_shape() {
        let aero = cp1().with_slope(20.0).with_centre_of_pressure(0.33);
        near(aero.normal_force_slope_per_rad(), 20.0, 1e-13);
        near(aero.centre_of_pressure_m(), 0.33, 1e-13);
        // Order does not matter, and the nose's place is untouched.
        let other = cp1().with_centre_of_pressure(0.33).with_slope(20.0);
        near(other.centre_of_pressure_m(), 0.33, 1e-13);
        near(other.fins.second_m2, aero.fins.second_m2, 1e-12);
        near(aero.body.first_m / aero.body.zeroth_per_rad, 0.0466, 1e-12);
        assert_eq!(aero.cross_flow, cp1().cross_flow);
    }

    /// One statement per input, however often a number is laid over.
    #[test]
    fn statements_do_not_pile_up() {
        let once = cp1().with_centre_of_pressure(0.33);
        let twice = once.clone().with_centre_of_pressure(0.34);
        assert_eq!(once.assumed.len(), twice.assumed.len());
    }

    /// The measured number holds coasting; while thrusting the same share is saved as before.
    #[test]
    fn measured_drag_over_a_shape() {
        let before = cp1();
        let aero = cp1().with_drag(&Drag::Coefficient(0.6));
        assert_eq!(aero.drag_coasting.at(0.5), 0.6);
        near(aero.drag_thrusting.at(0.5) / 0.6, before.drag_thrusting.at(0.5) / before.drag_coasting.at(0.5), 1e-13);
        let tabled = cp1().with_drag(&Drag::Table(vec![(0.0, 0.5), (1.8, 0.8)]));
        assert_eq!(tabled.mach_bound, 1.8);
        let says_base = |aero: &Aero| aero.assumed.iter().any(|a| a.input == "model.drag.base");
        assert!(says_base(&before) && !says_base(&tabled), "a measured drag replaces what a build-up assumed");
    }

    /// A body without fins has only its own place to move.
    #[test]
    fn finless_centre_of_pressure() {
        let mut bare = cp1();
        bare.fins = SlopeMoments::default();
        near(bare.clone().with_centre_of_pressure(0.1).centre_of_pressure_m(), 0.1, 1e-13);
        bare.body = SlopeMoments::default();
        assert_eq!(bare.with_centre_of_pressure(0.1).centre_of_pressure_m(), 0.0);
    }

    /// Diederich's form by hand: beta is 1, 0.8, 0.6 (held) and sqrt(3) at these Mach numbers.
    #[test]
    fn card_fins_against_mach() {
        let table = card_fin_slope_factor();
        let root_8 = 8.0_f64.sqrt();
        for (mach, square) in [(0.0, 1.0), (0.6, 0.64), (0.8, 0.36), (1.0, 0.36), (2.0, 3.0_f64)] {
            near(table.at(mach), (2.0 + root_8) / (2.0 + (4.0 + 4.0 * square).sqrt()), 1e-12);
        }
    }

    /// At the edges of what nose and fins can share, and how they share between them.
    #[test]
    fn slope_is_shared_between_nose_and_fins() {
        let about = |centre_of_pressure_m: f64, slope: f64| {
            let asked = Measured { length_m: 1.0, diameter_m: 0.05, centre_of_pressure_m, ..card() };
            split(&asked, slope, 0.1)
        };
        // 2 at 0.1 m and 6 at 0.9 m make 8 at 0.7 m.
        let shared = about(0.7, 8.0);
        near(shared.body.zeroth_per_rad, 2.0, 1e-12);
        near(shared.fins.zeroth_per_rad, 6.0, 1e-12);
        near(shared.fin_station_m, 0.9, 1e-12);
        // Fins that would sit behind the tail: at the tail, two thirds of the way from the nose's place.
        let at_tail = about(0.7, 2.5);
        near(at_tail.fin_station_m, 1.0, 1e-12);
        near(at_tail.fins.zeroth_per_rad, 2.5 * 2.0 / 3.0, 1e-12);
        for (split, place) in [(at_tail, 0.7), (shared, 0.7)] {
            let slope = split.body.zeroth_per_rad + split.fins.zeroth_per_rad;
            near((split.body.first_m + split.fins.first_m) / slope, place, 1e-12);
        }
        // Nothing left for fins, or nowhere to put them.
        for (centre, slope) in [(0.7, 2.0), (0.7, 1.5), (0.1, 8.0), (0.05, 8.0), (1.0, 8.0), (1.2, 8.0)] {
            let alone = about(centre, slope);
            assert_eq!((alone.fins, alone.fin_station_m), (SlopeMoments::default(), centre), "{centre} {slope}");
            near(alone.body.zeroth_per_rad, slope, 1e-12);
            near(alone.body.first_m, slope * centre, 1e-12);
        }
    }
}
