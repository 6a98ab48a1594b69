//! Normal-force slope and place of each part at small angle.
//!
//! Source: J. S. and J. A. Barrowman, *The Theoretical Prediction of the Center of Pressure*, 1966, and
//! J. S. Barrowman's dissertation of 1967; the equations are from memory, each checked against an
//! independent form (tests). Reference area is the circle of `reference_diameter_m`; per radian; places
//! from the nose tip. A tube has no slope of its own: what it adds is in `cross_flow`.

use super::SlopeMoments;
use super::mach::MachTable;
use crate::case::shape::{FinSet, Nose, NoseForm, Shape, Transition};
use core::f64::consts::PI;

/// Below this, the compressibility factor is held: the linear theory is singular at Mach 1 and has lost
/// its meaning before. 0.6 is reached at Mach 0.8 and left again at 1.17.
const LEAST_BETA: f64 = 0.6;

/// Where tables of the fin slope end.
pub(super) const SLOPE_TABLE_END: f64 = 2.0;

/// Slope of a nose: slender-body theory gives 2 on its own base area whatever its form.
pub fn nose_slope_per_rad(base_diameter_m: f64, reference_diameter_m: f64) -> f64 {
    let ratio = base_diameter_m / reference_diameter_m;
    2.0 * ratio * ratio
}

/// Centre of pressure of a nose. Slender-body theory: length less volume over base area. The ogive's
/// 0.466 is its slender limit 7/15 as the method prints it, within 0.8 % of the length from two calibres
/// and a half upwards.
pub fn nose_centre_m(form: NoseForm, length_m: f64) -> f64 {
    length_m
        * match form {
            NoseForm::Cone => 2.0 / 3.0,
            NoseForm::Ogive => 0.466,
            NoseForm::Parabolic => 0.5,
            NoseForm::Ellipsoid => 1.0 / 3.0,
        }
}

/// Slope of a shoulder (positive) or boattail (negative).
pub fn transition_slope_per_rad(transition: &Transition, reference_diameter_m: f64) -> f64 {
    let front = transition.front_diameter_m / reference_diameter_m;
    let rear = transition.rear_diameter_m / reference_diameter_m;
    2.0 * (rear * rear - front * front)
}

/// Centre of pressure of a shoulder or boattail. The method prints (1 - f)/(1 - f^2) with f the ratio of
/// front to rear diameter; that is 1/(1 + f), written here without its singularity at f = 1.
pub fn transition_centre_m(transition: &Transition) -> f64 {
    let (front, rear) = (transition.front_diameter_m, transition.rear_diameter_m);
    transition.station_m + transition.length_m / 3.0 * (1.0 + rear / (rear + front))
}

/// Prandtl's compressibility factor, kept away from its zero at Mach 1.
pub fn beta(mach: f64) -> f64 {
    (1.0 - mach * mach).abs().sqrt().max(LEAST_BETA)
}

/// Slope of all fins of a set without the body, averaged over roll (half their number acts).
///
/// Barrowman's closed form, which is Diederich's finite-wing slope (NACA TN 2335, 1951) with the
/// compressibility factor. Above Mach 1 it is not let above Ackeret's 4/beta on the fins' area, the
/// limit for supersonic thin plates.
pub fn fins_alone_slope_per_rad(fins: &FinSet, reference_diameter_m: f64, mach: f64) -> f64 {
    let beta = beta(mach);
    let span = fins.span_m / reference_diameter_m;
    let slant = beta * 2.0 * fins.mid_chord_line_m() / (fins.root_chord_m + fins.tip_chord_m);
    let count = fins.count as f64;
    let finite_wing = 4.0 * count * span * span / (1.0 + (1.0 + slant * slant).sqrt());
    if mach > 1.0 {
        let reference_area = 0.25 * PI * reference_diameter_m * reference_diameter_m;
        let thin_plate = 0.5 * count * fins.planform_area_m2() / reference_area * 4.0 / beta;
        finite_wing.min(thin_plate)
    } else {
        finite_wing
    }
}

/// What the body adds to the fins' slope, as a factor.
///
/// 3 or 4 fins: 1 + R/(S+R). From 5 fins on their fields overlap: 1 + 0.5 R/(S+R), which the method gives
/// for six (from memory). 7 and 8 fins lose more: factors 0.854 and 0.810 against 0.913 for six, of
/// MIL-HDBK-762 (from memory), are applied as ratios to six so that the same loss is not counted twice.
pub fn fin_interference(count: usize, body_radius_m: f64, span_m: f64) -> f64 {
    let carry_over = body_radius_m / (span_m + body_radius_m);
    match count {
        0..=4 => 1.0 + carry_over,
        5 | 6 => 1.0 + 0.5 * carry_over,
        7 => (1.0 + 0.5 * carry_over) * (0.854 / 0.913),
        _ => (1.0 + 0.5 * carry_over) * (0.810 / 0.913),
    }
}

/// Slope of a fin set on its body.
pub fn fins_slope_per_rad(fins: &FinSet, reference_diameter_m: f64, mach: f64) -> f64 {
    fin_interference(fins.count, 0.5 * fins.body_diameter_m, fins.span_m)
        * fins_alone_slope_per_rad(fins, reference_diameter_m, mach)
}

/// Centre of pressure of a fin set: the quarter chord, weighted by area. Its move to mid-chord above
/// Mach 1 is left out (it would be stabilising).
pub fn fins_centre_m(fins: &FinSet) -> f64 {
    let (root, tip) = (fins.root_chord_m, fins.tip_chord_m);
    let sum = root + tip;
    fins.station_m + fins.sweep_m / 3.0 * (root + 2.0 * tip) / sum + (sum - root * tip / sum) / 6.0
}

/// Nose and transitions together.
pub fn body(shape: &Shape, reference_diameter_m: f64) -> SlopeMoments {
    let Nose { form, length_m, base_diameter_m } = shape.nose;
    let nose = SlopeMoments::default()
        .add(nose_slope_per_rad(base_diameter_m, reference_diameter_m), nose_centre_m(form, length_m));
    shape.transitions.iter().fold(nose, |sum, transition| {
        sum.add(transition_slope_per_rad(transition, reference_diameter_m), transition_centre_m(transition))
    })
}

/// All fin sets at Mach 0.
pub fn fins(shape: &Shape, reference_diameter_m: f64) -> SlopeMoments {
    shape.fin_sets.iter().fold(SlopeMoments::default(), |sum, set| {
        sum.add(fins_slope_per_rad(set, reference_diameter_m, 0.0), fins_centre_m(set))
    })
}

/// Fin slope against Mach over its value at Mach 0; sets weigh by their slope. With sets of different
/// plan the small move of their common place with Mach is left out.
pub fn fin_slope_factor(shape: &Shape, reference_diameter_m: f64) -> MachTable {
    let slope = |mach: f64| {
        shape.fin_sets.iter().fold(0.0, |sum, set| sum + fins_slope_per_rad(set, reference_diameter_m, mach))
    };
    let still = slope(0.0);
    if still > 0.0 {
        MachTable::from_fn(SLOPE_TABLE_END, |mach| slope(mach) / still)
    } else {
        MachTable::constant(1.0, SLOPE_TABLE_END)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::aero::tests::{cp1_shape, near};
    use crate::case::shape::FinEdge;

    /// Barrowman 1966 as reprinted: cone 0.666 L, ogive 0.466 L; the others from volume over base area.
    #[test]
    fn nose_places_follow_the_volume() {
        for (form, relative) in [
            (NoseForm::Cone, 1e-6),
            (NoseForm::Parabolic, 1e-6),
            (NoseForm::Ellipsoid, 1e-6),
            // Exact tangent ogive of 4 calibres is 0.46429 L (computed apart).
            (NoseForm::Ogive, 0.004),
        ] {
            let nose = Nose { form, length_m: 0.4, base_diameter_m: 0.1 };
            let steps = 20_000;
            let volume_over_base = (0..steps).fold(0.0, |sum, i| {
                let r = nose.radius_m(0.4 * (i as f64 + 0.5) / steps as f64) / 0.05;
                sum + r * r * 0.4 / steps as f64
            });
            near(nose_centre_m(form, 0.4), 0.4 - volume_over_base, relative);
        }
        near(nose_slope_per_rad(0.05, 0.1), 0.5, 1e-15);
    }

    /// Slope and place against the integrals of dA/dx and x dA/dx over a cone frustum, by a fine sum.
    #[test]
    fn transitions_follow_the_area() {
        for (front, rear) in [(0.1, 0.14), (0.14, 0.08), (0.1, 0.1000001)] {
            let transition =
                Transition { station_m: 0.5, length_m: 0.12, front_diameter_m: front, rear_diameter_m: rear };
            let reference = 0.1;
            let steps = 20_000;
            let (mut slope, mut first) = (0.0, 0.0);
            for i in 0..steps {
                let t = (i as f64 + 0.5) / steps as f64;
                let diameter = front + t * (rear - front);
                let part = 4.0 * diameter * (rear - front) / (steps as f64 * reference * reference);
                slope += part;
                first += part * (0.5 + 0.12 * t);
            }
            near(transition_slope_per_rad(&transition, reference), slope, 1e-8);
            near(transition_centre_m(&transition), first / slope, 1e-8);
        }
    }

    /// Case CP-1 (own geometry, computed apart in Python from the closed forms): fins alone 18.960634,
    /// with body 22.752760 at 37.500 cm.
    #[test]
    fn cp1_fins() {
        let shape = cp1_shape();
        let set = &shape.fin_sets[0];
        near(fins_alone_slope_per_rad(set, 0.025, 0.0), 18.960634, 1e-6);
        near(fin_interference(3, 0.0125, 0.05), 1.2, 1e-12);
        near(fins_slope_per_rad(set, 0.025, 0.0), 22.752760, 1e-6);
        near(fins_centre_m(set), 0.375, 1e-12);
        let sum = fins(&shape, 0.025);
        near(sum.zeroth_per_rad, 22.752760, 1e-6);
        near(sum.first_m, 22.752760 * 0.375, 1e-6);
        near(sum.second_m2, 22.752760 * 0.375 * 0.375, 1e-6);
    }

    /// Six fins in the method: 1 + 0.5 R/(S+R); never more than three or four would get.
    #[test]
    fn many_fins_help_each_other_less() {
        near(fin_interference(6, 0.0125, 0.05), 1.1, 1e-12);
        for count in 3..8 {
            assert!(fin_interference(count + 1, 0.0125, 0.05) <= fin_interference(count, 0.0125, 0.05), "{count}");
        }
    }

    /// Diederich, NACA TN 2335: 2 pi AR (Af/Aref) / (2 + sqrt(4 + (beta AR/cos G)^2)), halved by count.
    #[test]
    fn fin_slope_is_diederichs() {
        for (root, tip, span, sweep) in
            [(0.06, 0.03, 0.05, 0.03), (0.1, 0.0, 0.08, 0.1), (0.05, 0.05, 0.2, 0.0), (0.2, 0.15, 0.03, 0.1)]
        {
            let set = FinSet {
                count: 4,
                root_chord_m: root,
                tip_chord_m: tip,
                span_m: span,
                sweep_m: sweep,
                thickness_m: 0.002,
                station_m: 0.5,
                body_diameter_m: 0.05,
                edge: FinEdge::Flat,
            };
            for mach in [0.0_f64, 0.3, 0.7, 1.0] {
                let area: f64 = 0.5 * (root + tip) * span;
                let aspect = 2.0 * span * span / area;
                let tangent = (sweep + 0.5 * (tip - root)) / span;
                let cosine = 1.0 / (1.0_f64 + tangent * tangent).sqrt();
                let beta = (1.0 - mach * mach).sqrt().max(0.6);
                let compressed = beta * aspect / cosine;
                let diederich = 2.0 * PI * aspect / (2.0 + (4.0 + compressed * compressed).sqrt());
                let want = 2.0 * diederich * area / (0.25 * PI * 0.05 * 0.05);
                near(fins_alone_slope_per_rad(&set, 0.05, mach), want, 1e-13);
            }
        }
    }

    /// Rises towards Mach 1, finite and bounded all the way, falls above, ends below the value at rest.
    #[test]
    fn slope_factor_is_never_singular() {
        let table = fin_slope_factor(&cp1_shape(), 0.025);
        near(table.at(0.0), 1.0, 1e-15);
        let mut mach = 0.0;
        while mach < 3.0 {
            let factor = table.at(mach);
            assert!((0.5..1.6).contains(&factor), "{mach} {factor}");
            mach += 0.003;
        }
        assert!(table.at(0.5) > 1.0 && table.at(0.9) > table.at(0.5));
        assert!(table.at(2.0) < 1.0);
    }

    /// MIL-HDBK-762's losses of seven and eight fins against six.
    #[test]
    fn seven_and_eight_fins() {
        let six = fin_interference(6, 0.0125, 0.05);
        near(fin_interference(5, 0.0125, 0.05), six, 1e-15);
        near(fin_interference(7, 0.0125, 0.05) / six, 0.93538, 1e-5);
        near(fin_interference(8, 0.0125, 0.05) / six, 0.88719, 1e-5);
        near(fin_interference(9, 0.0125, 0.05), fin_interference(8, 0.0125, 0.05), 1e-15);
    }

    /// Long fins above Mach 1 have Ackeret's 4/beta on the area of half of them: at Mach 2, 4/sqrt(3). At Mach 1 and
    /// below the finite wing stands alone, and short fins are under the cap anyway.
    #[test]
    fn thin_plates_cap_the_slope() {
        let mut set = cp1_shape().fin_sets[0];
        (set.count, set.span_m, set.sweep_m, set.root_chord_m, set.tip_chord_m) = (4, 0.5, 0.0, 0.04, 0.04);
        let areas = 2.0 * 0.5 * 0.04 / (0.25 * PI * 0.05 * 0.05);
        near(fins_alone_slope_per_rad(&set, 0.05, 2.0), areas * 4.0 / 3.0_f64.sqrt(), 1e-12);
        // Wing of aspect ratio 25 at beta 0.6: 2 pi 25 / (2 + sqrt(4 + 225)) = 9.168, more than 4/0.6.
        near(fins_alone_slope_per_rad(&set, 0.05, 1.0), areas * 9.168, 1e-4);
        near(fins_alone_slope_per_rad(&set, 0.05, 1.01), areas * 4.0 / 0.6, 1e-12);
        // Aspect ratio 2 at Mach 2: 4 pi / (2 + sqrt(4 + 12)) = 2 pi / 3.
        (set.span_m, set.root_chord_m, set.tip_chord_m) = (0.04, 0.04, 0.04);
        let areas = 2.0 * 0.04 * 0.04 / (0.25 * PI * 0.05 * 0.05);
        near(fins_alone_slope_per_rad(&set, 0.05, 2.0), areas * 2.0 * PI / 3.0, 1e-12);
    }

    /// Prandtl's factor and where it is held.
    #[test]
    fn compressibility_by_hand() {
        for (mach, want) in [(0.0, 1.0), (0.6, 0.8), (0.8, 0.6), (1.0, 0.6), (1.1, 0.6), (1.25, 0.75), (2.6, 2.4)] {
            near(beta(mach), want, 1e-12);
        }
    }
}
