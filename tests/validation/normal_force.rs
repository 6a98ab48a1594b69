//! Normal force: slope, centre of pressure and body lift.

use super::cp1::{AIR, cp1, cp1_shape};
use slowpoint_sim::aero::{Aero, CrossFlow, from_shape, normal};
use slowpoint_sim::case::shape::{Nose, NoseForm, Shape, Transition};
use slowpoint_tests::sheet::{Sheet, Trust};

slowpoint_tests::subject! { "Normal force":
    cp_1_slope_and_place,
    cp_2_noses,
    cp_3_shoulder_and_boattail,
    bl_1_body_lift,
    bl_2_place_moves_forward,
    bl_3_shortness,
}

fn cp_1_slope_and_place() -> Sheet {
    let mut sheet = Sheet::new(
        "CP-1",
        "normal-force slope and centre of pressure of a finned rocket",
        Trust::B,
        "Barrowman 1966 and 1967 as reprinted (interference of six fins from memory); the fin slope equals Diederich's, NACA TN 2335",
    );
    sheet.because("the same closed forms, printed to eight digits");
    let aero = cp1();
    for (what, value, expected) in [
        ("total slope, 1/rad", aero.normal_force_slope_per_rad(), 24.752760),
        ("centre of pressure, m", aero.centre_of_pressure_m(), 0.348_465_59),
        ("slope of the fins on the body, 1/rad", aero.fins.zeroth_per_rad, 22.752760),
        ("place of the fins, m", aero.fins.first_m / aero.fins.zeroth_per_rad, 0.375),
        ("slope of the nose, 1/rad", aero.body.zeroth_per_rad, 2.0),
        // 0.466 L of the ogive.
        ("place of the nose, m", aero.body.first_m / aero.body.zeroth_per_rad, 0.0466),
        (
            "slope of the fins alone, 1/rad",
            normal::fins_alone_slope_per_rad(&cp1_shape().fin_sets[0], 0.025, 0.0),
            18.960634,
        ),
        ("interference of three fins", normal::fin_interference(3, 0.0125, 0.05), 1.2),
        ("interference of six fins", normal::fin_interference(6, 0.0125, 0.05), 1.1),
    ] {
        sheet.close_relative(what, value, expected, 1e-6);
    }
    sheet
}

fn bl_1_body_lift() -> Sheet {
    let mut sheet = Sheet::new(
        "BL-1",
        "lift of the body alone by angle of attack",
        Trust::B,
        "Allen and Perkins, NACA R-1048 (from memory), eta after Jorgensen, NASA TR R-474; the potential column has cos(a/2), which this model leaves out: it is multiplied in",
    );
    let mut shape = cp1_shape();
    shape.fin_sets.clear();
    let body = from_shape(&shape, 0.025, 0.018, AIR);
    for (degrees, potential, cross) in [
        (2.0_f64, 0.069746, 0.023034),
        (5.0, 0.173483, 0.143658),
        (10.0, 0.340719, 0.570268),
        (15.0, 0.495722, 1.266867),
        (20.0, 0.633022, 2.212289),
        (30.0, 0.836516, 4.728012),
        (90.0, 0.0, 18.912047),
    ] {
        let angle = degrees.to_radians();
        let without = Aero { cross_flow: CrossFlow::default(), ..body.clone() };
        let (force, _) = without.normal_force_and_cp(angle);
        sheet.because("six printed places");
        sheet.close(format!("potential term at {degrees} deg"), force * libm::cos(0.5 * angle), potential, 6e-7);
        let (both, place) = body.normal_force_and_cp(angle);
        sheet.because("the column uses Jorgensen's fit, 0.7423 at 18 calibres, the model its printed digits, 0.742");
        sheet.close_relative(format!("cross-flow term at {degrees} deg"), both - force, cross, 7e-4);
        let mean = (force * 0.0466 + (both - force) * body.cross_flow.centroid_m()) / both;
        sheet.because("rounding");
        sheet.close_relative(format!("place of both at {degrees} deg, m"), place, mean, 1e-12);
    }
    sheet.because("six printed places");
    let area = body.cross_flow.drag_area_m2 / (0.742 * 1.2 * body.reference_area_m2);
    sheet.close_relative("area seen from the side over the reference area", area, 21.231246, 1e-6);
    sheet.close("its centroid, m", body.cross_flow.centroid_m(), 0.240898, 6e-7);
    sheet
}

fn bl_2_place_moves_forward() -> Sheet {
    let mut sheet = Sheet::new(
        "BL-2",
        "centre of pressure of the whole rocket by angle of attack",
        Trust::FromMemory,
        "Galejs' form: 1.1 times the side area, slopes linear in the angle (the model's are sin a cos a, so they are scaled by the ratio of the two)",
    );
    sheet.because("six printed places");
    for (degrees, place) in [(2.0_f64, 0.345037), (5.0, 0.340302), (10.0, 0.333389), (15.0, 0.327547)] {
        let angle = degrees.to_radians();
        let mut aero = cp1();
        let linear = angle / (libm::sin(angle) * libm::cos(angle));
        (aero.body, aero.fins) = (aero.body.scaled(linear), aero.fins.scaled(linear));
        let area = 1.1 * 21.231246 * aero.reference_area_m2;
        aero.cross_flow = CrossFlow { drag_area_m2: area, first_m3: area * 0.240898 };
        sheet.close(format!("at {degrees} deg, m"), aero.normal_force_and_cp(angle).1, place, 6e-7);
    }
    sheet
}

/// A body of revolution without fins or guides.
fn body(nose: Nose, transitions: Vec<Transition>, length_m: f64, base_diameter_m: f64) -> Aero {
    let shape =
        Shape { nose, transitions, fin_sets: Vec::new(), guides: Vec::new(), length_m, base_diameter_m, ..cp1_shape() };
    from_shape(&shape, nose.base_diameter_m, 0.0, AIR)
}

fn cp_2_noses() -> Sheet {
    let mut sheet = Sheet::new(
        "CP-2",
        "place of the normal force of other noses, over their length",
        Trust::B,
        "slender-body theory: L less the volume over the base area; cone 2/3, radius as a square root 1/2, ellipsoid 1/3, \
        and as reprinted 0.466 for an ogive, whose slender limit is 7/15",
    );
    sheet.because("closed forms");
    let place = |form, fineness: f64| {
        let nose = Nose { form, length_m: 0.025 * fineness, base_diameter_m: 0.025 };
        let built = body(nose, Vec::new(), 0.45, 0.025).body;
        built.first_m / built.zeroth_per_rad / nose.length_m
    };
    sheet.close_relative("cone", place(NoseForm::Cone, 4.0), 2.0 / 3.0, 1e-9);
    sheet.close_relative("radius as a square root", place(NoseForm::Parabolic, 4.0), 0.5, 1e-9);
    sheet.close_relative("half an ellipsoid", place(NoseForm::Ellipsoid, 4.0), 1.0 / 3.0, 1e-9);
    sheet
        .because("the reprinted figure is the slender limit, the exact ogive is up to 0.8 % of the length ahead of it");
    for (fineness, exact) in [(3.0, 0.46245), (4.0, 0.46429), (5.0, 0.46515), (6.0, 0.46561), (10.0, 0.46629)] {
        sheet.close(format!("ogive of {fineness} calibres"), place(NoseForm::Ogive, fineness), exact, 0.008);
    }
    sheet
}

/// The integrals of dA/dx and x dA/dx along a cone frustum, by Simpson's rule, which is exact for them.
fn cp_3_shoulder_and_boattail() -> Sheet {
    let mut sheet = Sheet::new(
        "CP-3",
        "slope and place of a shoulder and of a boattail",
        Trust::B,
        "slender-body theory: 2/A times the integrals of dA/dx and x dA/dx, which the reprinted closed forms equal",
    );
    sheet.because("exact up to rounding");
    let nose = Nose { form: NoseForm::Cone, length_m: 0.1, base_diameter_m: 0.025 };
    for (name, front, rear, length) in [("shoulder", 0.025, 0.04, 0.03), ("boattail", 0.025, 0.015, 0.05)] {
        let transition =
            Transition { station_m: 0.2, length_m: length, front_diameter_m: front, rear_diameter_m: rear };
        let with = body(nose, vec![transition], 0.45, rear).body;
        let without = body(nose, Vec::new(), 0.45, 0.025).body;
        let growth = |x: f64| {
            let radius = 0.5 * (front + (rear - front) * x / length);
            core::f64::consts::TAU * radius * 0.5 * (rear - front) / length
        };
        let simpson = |f: &dyn Fn(f64) -> f64| length / 6.0 * (f(0.0) + 4.0 * f(0.5 * length) + f(length));
        let per_area = 2.0 / (0.25 * core::f64::consts::PI * 0.025 * 0.025);
        let (slope, first) = (per_area * simpson(&growth), per_area * simpson(&|x| (0.2 + x) * growth(x)));
        let found = with.zeroth_per_rad - without.zeroth_per_rad;
        sheet.close_relative(format!("slope of the {name}, 1/rad"), found, slope, 1e-9);
        let place = (with.first_m - without.first_m) / found;
        sheet.close_relative(format!("place of the {name}, m"), place, first / slope, 1e-9);
    }
    sheet
}

fn bl_3_shortness() -> Sheet {
    let mut sheet = Sheet::new(
        "BL-3",
        "how much less a short body drags broadside than an endless one, by length in calibres",
        Trust::B,
        "Jorgensen's curve, NASA TR R-474, read second-hand through a fit; 1.2 is the endless cylinder's coefficient",
    );
    sheet.because("three printed places of the curve, which the model reads at the same points");
    for (calibres, eta) in [
        (5.0, 0.624),
        (8.0, 0.663),
        (10.0, 0.684),
        (12.0, 0.701),
        (15.0, 0.724),
        (18.0, 0.742),
        (20.0, 0.753),
        (25.0, 0.775),
        (30.0, 0.792),
        (40.0, 0.818),
    ] {
        let nose = Nose { form: NoseForm::Cone, length_m: 0.05, base_diameter_m: 0.025 };
        let length_m = 0.025 * calibres;
        let side_m2 = 0.025 * (length_m - 0.05) + 0.5 * 0.05 * 0.025;
        let found = body(nose, Vec::new(), length_m, 0.025).cross_flow.drag_area_m2 / (1.2 * side_m2);
        sheet.close(format!("{calibres} calibres"), found, eta, 5e-4);
    }
    sheet
}
