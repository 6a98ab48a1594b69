//! The outside of a finned rocket as plain data, and the areas that follow from it.
//!
//! Stations run from the nose tip backwards. The case has checked every number before it comes here;
//! nothing below repairs or refuses.

use core::f64::consts::PI;

/// The generating curve of a nose.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoseForm {
    /// A straight cone.
    Cone,
    /// A circular arc that meets the tube without a corner (tangent ogive). Shorter than its base
    /// radius no such arc exists: it is then taken as an ellipsoid, which it equals at that length.
    Ogive,
    /// Radius proportional to the square root of the distance from the tip.
    Parabolic,
    /// Half an ellipsoid of revolution.
    Ellipsoid,
}

/// The nose.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Nose {
    /// Generating curve.
    pub form: NoseForm,
    /// Tip to base, without any shoulder that slides into the tube.
    pub length_m: f64,
    /// Outer diameter where it meets the body.
    pub base_diameter_m: f64,
}

/// A conical change of diameter: a shoulder when it widens, a boattail when it narrows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transition {
    /// Its front end, from the nose tip.
    pub station_m: f64,
    /// Axial length.
    pub length_m: f64,
    /// Diameter at the front end.
    pub front_diameter_m: f64,
    /// Diameter at the rear end.
    pub rear_diameter_m: f64,
}

/// How the leading and trailing edges of a fin are finished.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FinEdge {
    /// Both edges left flat, as cut.
    Flat,
    /// Both edges made round.
    Round,
    /// Round in front, tapered to a sharp trailing edge.
    Tapered,
}

/// A set of equal trapezoidal fins, evenly spaced round the body.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FinSet {
    /// Number of fins, 3 to 8.
    pub count: usize,
    /// Chord at the body.
    pub root_chord_m: f64,
    /// Chord at the tip.
    pub tip_chord_m: f64,
    /// Span of one fin, from the body's surface.
    pub span_m: f64,
    /// Axial distance from root leading edge to tip leading edge.
    pub sweep_m: f64,
    /// Thickness.
    pub thickness_m: f64,
    /// Root leading edge, from the nose tip.
    pub station_m: f64,
    /// Diameter of the body where the fins sit.
    pub body_diameter_m: f64,
    /// Finish of the edges.
    pub edge: FinEdge,
}

/// A lug or rail button: one of the guides that hold the rocket to its rail.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RailGuide {
    /// Its middle, from the nose tip.
    pub station_m: f64,
    /// Area seen from the front, bore not counted out.
    pub frontal_area_m2: f64,
    /// Area the air touches; of a tube, the inside as well.
    pub wetted_area_m2: f64,
}

/// The whole outside of a rocket.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// The nose.
    pub nose: Nose,
    /// Changes of diameter, front to back, not overlapping.
    pub transitions: Vec<Transition>,
    /// Fin sets.
    pub fin_sets: Vec<FinSet>,
    /// Lugs or buttons.
    pub guides: Vec<RailGuide>,
    /// Nose tip to the end of the body; fins may reach further.
    pub length_m: f64,
    /// Diameter at the end of the body.
    pub base_diameter_m: f64,
    /// Equivalent sand roughness of the surface; 0 is perfectly smooth.
    pub roughness_m: f64,
}

/// Half the number of panels of the quadrature along a nose: with the substitution below, enough for
/// ten digits (the tests compare closed forms).
const NOSE_PANEL_PAIRS: usize = 128;

/// Integral over 0..1 by Simpson's rule.
fn integral_of(f: impl Fn(f64) -> f64) -> f64 {
    let step = 0.5 / NOSE_PANEL_PAIRS as f64;
    let mut sum = 0.0;
    for pair in 0..NOSE_PANEL_PAIRS {
        let left = 2.0 * pair as f64 * step;
        sum += f(left) + 4.0 * f(left + step) + f(left + 2.0 * step);
    }
    sum * step / 3.0
}

impl Nose {
    /// Radius at a distance from the tip, and radius times its slope, which stays finite at a blunt tip
    /// where the slope does not.
    fn profile(&self, from_tip_m: f64) -> (f64, f64) {
        let base_radius = 0.5 * self.base_diameter_m;
        let length = self.length_m;
        if length <= 0.0 {
            return (base_radius, 0.0);
        }
        let x = from_tip_m.max(0.0).min(length);
        let ellipsoid = || {
            let left = 1.0 - x / length;
            let radius = base_radius * (1.0 - left * left).max(0.0).sqrt();
            (radius, base_radius * base_radius * left / length)
        };
        match self.form {
            NoseForm::Cone => {
                let radius = base_radius * x / length;
                (radius, radius * base_radius / length)
            }
            NoseForm::Ogive if length > base_radius => {
                let arc_radius = (base_radius * base_radius + length * length) / (2.0 * base_radius);
                let ahead = length - x;
                let height = (arc_radius * arc_radius - ahead * ahead).sqrt();
                let radius = (height - (arc_radius - base_radius)).max(0.0);
                (radius, radius * ahead / height)
            }
            NoseForm::Parabolic => (base_radius * (x / length).sqrt(), 0.5 * base_radius * base_radius / length),
            NoseForm::Ogive | NoseForm::Ellipsoid => ellipsoid(),
        }
    }

    /// Radius at a distance from the tip; held at the base beyond it.
    pub fn radius_m(&self, from_tip_m: f64) -> f64 {
        self.profile(from_tip_m).0
    }

    /// Slope of the surface where the nose meets the body: 0 when it meets it without a corner.
    pub fn slope_at_base(&self) -> f64 {
        match self.form {
            NoseForm::Cone => 0.5 * self.base_diameter_m / self.length_m,
            NoseForm::Parabolic => 0.25 * self.base_diameter_m / self.length_m,
            NoseForm::Ogive | NoseForm::Ellipsoid => 0.0,
        }
    }

    /// Integral along the nose of a function of station and profile. The station is length times t
    /// squared: that takes the square root out of blunt tips, so the quadrature converges at full order.
    fn along(&self, f: impl Fn(f64, f64, f64) -> f64) -> f64 {
        integral_of(|t| {
            let x = self.length_m * t * t;
            let (radius, radius_slope) = self.profile(x);
            2.0 * self.length_m * t * f(x, radius, radius_slope)
        })
    }

    /// Area seen from the side.
    pub fn planform_area_m2(&self) -> f64 {
        self.along(|_, radius, _| 2.0 * radius)
    }

    /// First moment about the tip of the area seen from the side.
    fn planform_first_m3(&self) -> f64 {
        self.along(|x, radius, _| 2.0 * radius * x)
    }

    /// Area of the surface, without the base.
    pub fn wetted_area_m2(&self) -> f64 {
        self.along(|_, radius, radius_slope| 2.0 * PI * (radius * radius + radius_slope * radius_slope).sqrt())
    }
}

impl Transition {
    /// The rear end, from the nose tip.
    pub fn rear_m(&self) -> f64 {
        self.station_m + self.length_m
    }

    /// Slope of its surface against the axis: positive for a shoulder, negative for a boattail.
    pub fn surface_slope(&self) -> f64 {
        0.5 * (self.rear_diameter_m - self.front_diameter_m) / self.length_m
    }

    fn planform_area_m2(&self) -> f64 {
        0.5 * self.length_m * (self.front_diameter_m + self.rear_diameter_m)
    }

    fn planform_first_m3(&self) -> f64 {
        let about_front = self.length_m * self.length_m * (self.front_diameter_m + 2.0 * self.rear_diameter_m) / 6.0;
        self.station_m * self.planform_area_m2() + about_front
    }

    fn wetted_area_m2(&self) -> f64 {
        let rise = 0.5 * (self.rear_diameter_m - self.front_diameter_m);
        let slant = (self.length_m * self.length_m + rise * rise).sqrt();
        0.5 * PI * (self.front_diameter_m + self.rear_diameter_m) * slant
    }
}

impl FinSet {
    /// Planform area of one fin.
    pub fn planform_area_m2(&self) -> f64 {
        0.5 * (self.root_chord_m + self.tip_chord_m) * self.span_m
    }

    /// Mean chord.
    pub fn mean_chord_m(&self) -> f64 {
        0.5 * (self.root_chord_m + self.tip_chord_m)
    }

    /// Length of the line from mid-chord at the root to mid-chord at the tip.
    pub fn mid_chord_line_m(&self) -> f64 {
        let back = self.sweep_m + 0.5 * (self.tip_chord_m - self.root_chord_m);
        (self.span_m * self.span_m + back * back).sqrt()
    }

    /// Centroid of the area, from the nose tip.
    pub fn planform_centroid_m(&self) -> f64 {
        let (root, tip) = (self.root_chord_m, self.tip_chord_m);
        let sum = root + tip;
        self.station_m
            + self.sweep_m * (root + 2.0 * tip) / (3.0 * sum)
            + (root * root + root * tip + tip * tip) / (3.0 * sum)
    }

    /// Both sides of all fins.
    pub fn wetted_area_m2(&self) -> f64 {
        2.0 * self.count as f64 * self.planform_area_m2()
    }
}

impl Shape {
    /// The parts behind the nose: every transition, and a tube wherever there is none. A tube is a
    /// transition between equal diameters.
    fn sections(&self) -> Vec<Transition> {
        let mut sections = Vec::with_capacity(2 * self.transitions.len() + 1);
        let mut end = self.nose.length_m;
        let mut diameter = self.nose.base_diameter_m;
        let tube = |from: f64, to: f64, diameter: f64| Transition {
            station_m: from,
            length_m: (to - from).max(0.0),
            front_diameter_m: diameter,
            rear_diameter_m: diameter,
        };
        for transition in &self.transitions {
            sections.push(tube(end, transition.station_m, diameter));
            sections.push(*transition);
            end = transition.rear_m();
            diameter = transition.rear_diameter_m;
        }
        sections.push(tube(end, self.length_m, diameter));
        sections
    }

    /// Largest diameter of the body.
    pub fn largest_diameter_m(&self) -> f64 {
        self.transitions.iter().fold(self.nose.base_diameter_m, |largest, transition| {
            largest.max(transition.front_diameter_m).max(transition.rear_diameter_m)
        })
    }

    /// Length over largest diameter.
    pub fn fineness(&self) -> f64 {
        self.length_m / self.largest_diameter_m()
    }

    /// Radius of the body at a station; 0 outside it.
    pub fn radius_m(&self, station_m: f64) -> f64 {
        if station_m < 0.0 || station_m > self.length_m {
            return 0.0;
        }
        if station_m <= self.nose.length_m {
            return self.nose.radius_m(station_m);
        }
        let mut diameter = self.nose.base_diameter_m;
        for transition in &self.transitions {
            if station_m < transition.station_m {
                break;
            }
            diameter = if station_m < transition.rear_m() {
                let share = (station_m - transition.station_m) / transition.length_m;
                transition.front_diameter_m + share * (transition.rear_diameter_m - transition.front_diameter_m)
            } else {
                transition.rear_diameter_m
            };
        }
        0.5 * diameter
    }

    /// Area of the body seen from the side, fins apart.
    pub fn planform_area_m2(&self) -> f64 {
        self.sections().iter().fold(self.nose.planform_area_m2(), |sum, section| sum + section.planform_area_m2())
    }

    /// Centroid, from the nose tip, of the area of the body seen from the side.
    pub fn planform_centroid_m(&self) -> f64 {
        let first = self
            .sections()
            .iter()
            .fold(self.nose.planform_first_m3(), |sum, section| sum + section.planform_first_m3());
        first / self.planform_area_m2()
    }

    /// Surface of the body the air touches: fins apart, base apart, fin roots not counted out.
    pub fn wetted_area_m2(&self) -> f64 {
        self.sections().iter().fold(self.nose.wetted_area_m2(), |sum, section| sum + section.wetted_area_m2())
    }

    /// Area of the base.
    pub fn base_area_m2(&self) -> f64 {
        0.25 * PI * self.base_diameter_m * self.base_diameter_m
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, want: f64, relative: f64) {
        assert!((got - want).abs() <= relative * want.abs(), "got {got}, want {want}");
    }

    fn nose(form: NoseForm) -> Nose {
        Nose { form, length_m: 0.3, base_diameter_m: 0.1 }
    }

    fn tube_with(transitions: Vec<Transition>, nose: Nose, length_m: f64, base_m: f64) -> Shape {
        Shape {
            nose,
            transitions,
            fin_sets: Vec::new(),
            guides: Vec::new(),
            length_m,
            base_diameter_m: base_m,
            roughness_m: 0.0,
        }
    }

    /// Closed forms: triangle, two thirds (x to the half), quarter ellipse.
    #[test]
    fn side_area_of_noses() {
        let box_area = 0.3 * 0.1;
        near(nose(NoseForm::Cone).planform_area_m2(), 0.5 * box_area, 1e-12);
        near(nose(NoseForm::Parabolic).planform_area_m2(), box_area * 2.0 / 3.0, 1e-12);
        near(nose(NoseForm::Ellipsoid).planform_area_m2(), box_area * PI / 4.0, 1e-9);
    }

    /// Closed forms: cone slant; paraboloid (R/6L^2)((R^2+4L^2)^1.5 - R^3) pi; hemisphere 2 pi R^2 by
    /// both the ellipsoid and the ogive of length R.
    #[test]
    fn surface_of_noses() {
        let (r, l) = (0.05_f64, 0.3_f64);
        near(nose(NoseForm::Cone).wetted_area_m2(), PI * r * (r * r + l * l).sqrt(), 1e-12);
        let q = r * r + 4.0 * l * l;
        near(nose(NoseForm::Parabolic).wetted_area_m2(), PI * r / (6.0 * l * l) * (q * q.sqrt() - r * r * r), 1e-9);
        for form in [NoseForm::Ellipsoid, NoseForm::Ogive] {
            let ball = Nose { form, length_m: 0.05, base_diameter_m: 0.1 };
            near(ball.wetted_area_m2(), 2.0 * PI * r * r, 1e-9);
        }
    }

    /// Body of case CP-1/BL-1/DRAG-1 (own geometry, computed apart in Python): tangent ogive 10 cm,
    /// diameter 2.5 cm, length 45 cm. Planform/reference 21.231246, centroid 0.240898 m, wetted/reference
    /// 66.7663; the tolerances are the printed digits.
    #[test]
    fn slender_body_with_ogive() {
        let ogive = Nose { form: NoseForm::Ogive, length_m: 0.10, base_diameter_m: 0.025 };
        let shape = tube_with(Vec::new(), ogive, 0.45, 0.025);
        let area = PI * 0.025 * 0.025 / 4.0;
        near(shape.planform_area_m2() / area, 21.231246, 1e-7);
        near(shape.planform_centroid_m(), 0.240898, 4e-6);
        near(shape.wetted_area_m2() / area, 66.7663, 2e-6);
        near(shape.base_area_m2(), area, 1e-15);
        near(shape.fineness(), 18.0, 1e-12);
    }

    /// A boattail and a shoulder: radius by hand, areas against a fine sum of the radius.
    #[test]
    fn stepped_body() {
        let transitions = vec![
            Transition { station_m: 0.5, length_m: 0.1, front_diameter_m: 0.1, rear_diameter_m: 0.14 },
            Transition { station_m: 0.9, length_m: 0.1, front_diameter_m: 0.14, rear_diameter_m: 0.08 },
        ];
        let shape = tube_with(transitions, nose(NoseForm::Cone), 1.0, 0.08);
        near(shape.largest_diameter_m(), 0.14, 0.0);
        for (station, radius) in [(0.15, 0.025), (0.4, 0.05), (0.55, 0.06), (0.7, 0.07), (0.95, 0.055)] {
            near(shape.radius_m(station), radius, 1e-12);
        }
        assert_eq!(shape.radius_m(-0.1), 0.0);
        assert_eq!(shape.radius_m(1.1), 0.0);
        let steps = 100_000;
        let (mut area, mut first) = (0.0, 0.0);
        for i in 0..steps {
            let x = (i as f64 + 0.5) / steps as f64;
            let strip = 2.0 * shape.radius_m(x) / steps as f64;
            area += strip;
            first += strip * x;
        }
        near(shape.planform_area_m2(), area, 1e-9);
        near(shape.planform_centroid_m(), first / area, 1e-9);
    }

    /// Fins of case CP-1: mid-chord line 5.220153 cm (computed apart); a rectangle has its centroid in
    /// its middle.
    #[test]
    fn fin_lines() {
        let mut fins = FinSet {
            count: 3,
            root_chord_m: 0.06,
            tip_chord_m: 0.03,
            span_m: 0.05,
            sweep_m: 0.03,
            thickness_m: 0.0024,
            station_m: 0.35,
            body_diameter_m: 0.025,
            edge: FinEdge::Tapered,
        };
        near(fins.mid_chord_line_m(), 0.05220153, 1e-7);
        near(fins.wetted_area_m2(), 0.0135, 1e-12);
        fins.tip_chord_m = 0.06;
        fins.sweep_m = 0.0;
        near(fins.planform_centroid_m(), 0.38, 1e-12);
    }
}
