//! What the Earth's rotation does to a flight, and how a body turns when nothing, or only damping, turns it.

use slowpoint_sim::aero::SlopeMoments;
use slowpoint_sim::air::{AirTable, Column};
use slowpoint_sim::case::Case;
use slowpoint_sim::flight::{Drawn, Gravity, Hold, Start, State, derivative, step};
use slowpoint_sim::lanes::{dot, norm};
use slowpoint_sim::thrust::Side;
use slowpoint_tests::sheet::{Sheet, Trust};
use slowpoint_tests::{EARTH_ROTATION_RAD_S as OMEGA, ascent, bare, bare_aero, rockets};

slowpoint_tests::subject! { "Rotation":
    cor_1_coriolis_by_sign_and_size,
    cor_2_latitude_gives_the_rotation,
    n2s_free_turning,
    n3y_rate_damping,
}

/// What is left is of second order, (omega t)^2 = 1.7e-6 of ways of 1600 and 1800 m.
fn cor_1_coriolis_by_sign_and_size() -> Sheet {
    let mut sheet = Sheet::new(
        "COR-1",
        "drops and level shots of 18 s without air, in both hemispheres",
        Trust::B,
        "first order in omega t: a drop drifts east by omega g t³ cos(lat)/3 in both hemispheres; a level shot is turned \
        by omega v t² sin(lat), to the right in the north, to the left in the south; an eastward one weighs less (any \
        textbook of mechanics)",
    );
    sheet.because("terms of second order are under 0.004 m");
    let aero = bare_aero(1.0, 0.0);
    let (g, t): (f64, f64) = (9.806_65, 18.0);
    for latitude_deg in [-60.0_f64, -30.0, 0.0, 45.0, 80.0] {
        let (sin, cos) = (libm::sin(latitude_deg.to_radians()), libm::cos(latitude_deg.to_radians()));
        let fall = OMEGA * g * t * t * t * cos / 3.0;
        let turn = OMEGA * t * t * sin;
        for (name, east, north) in
            [("drop", 0.0, 0.0), ("shot east", 100.0, 0.0), ("shot north", 0.0, 100.0), ("shot west", -100.0, 0.0)]
        {
            let mut drawn = bare(&aero, 1.0, 2000.0);
            drawn.air = AirTable::uniform(0.0, 340.0);
            drawn.earth_rotation_rad_s = [OMEGA * cos, OMEGA * sin];
            let nose = [0.0, 0.0, 1.0];
            let velocity = [east, north, 0.0];
            drawn.start = Start::Free(State { position: [0.0, 0.0, 2000.0], velocity, nose, spin: [0.0; 3] });
            let at = ascent(&drawn, 1.0).path.at(t).position_m;
            let name = format!("{name}, {latitude_deg} deg");
            // Less what it would be without rotation. Right of east is south, right of north is east.
            sheet.close(format!("{name}: east, m"), at[0] - east * t, fall + turn * north, 0.004);
            sheet.close(format!("{name}: north, m"), at[1] - north * t, -turn * east, 0.004);
            let up = at[2] - (2000.0 - 0.5 * g * t * t);
            sheet.close(format!("{name}: up, m"), up, OMEGA * east * cos * t * t, 0.004);
        }
    }
    sheet
}

fn cor_2_latitude_gives_the_rotation() -> Sheet {
    let mut sheet = Sheet::new(
        "COR-2",
        "rotation that a card's latitude becomes",
        Trust::A,
        "WGS 84: 7.292115e-5 rad/s; northward part by the cosine, upward part by the sine",
    );
    sheet.because("rounding");
    for latitude_deg in [-35.0_f64, 0.0, 52.0] {
        let mut inputs = rockets::club();
        inputs.site.latitude_rad = Some(latitude_deg.to_radians());
        let case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
        let [north, up] = case.field.earth_rotation_rad_s;
        let (sin, cos) = (libm::sin(latitude_deg.to_radians()), libm::cos(latitude_deg.to_radians()));
        sheet.close(format!("northward at {latitude_deg} deg, rad/s"), north, OMEGA * cos, 1e-12);
        sheet.close(format!("upward at {latitude_deg} deg, rad/s"), up, OMEGA * sin, 1e-12);
    }
    sheet
}

/// Steps of a hundredth of a second from a state, through the engine's own step; gives the state at each time asked.
fn stepped<const N: usize>(drawn: &Drawn, from: State<f64>, times_s: [f64; N]) -> [State<f64>; N] {
    let dt = 0.01;
    let (mut state, mut k) = (from, 0_u32);
    times_s.map(|until| {
        while f64::from(k) * dt < until - 0.5 * dt {
            let t = f64::from(k) * dt;
            let first = derivative(drawn, &drawn.instant(t, Side::After), &state, &Hold::Free);
            let middle = drawn.instant(t + 0.5 * dt, Side::Before);
            let end = drawn.instant(t + dt, Side::Before);
            state = step(drawn, &state, &first, dt, &middle, &end, &Hold::Free).state;
            k += 1;
        }
        state
    })
}

/// Angular momentum of a body without axial part is its spin: constant, so the nose runs round a great circle at that
/// rate. (Case 2's brick has three inertias and tumbles; this is what is left of Euler's equations where two are equal
/// and the third is nothing.)
fn n2s_free_turning() -> Sheet {
    let mut sheet = Sheet::new(
        "N2s",
        "case 2's rates of 20 and 30 deg/s about the transverse axes of a slender body, free for 30 s",
        Trust::B,
        "Euler's equations of a body with equal transverse inertias and no axial one: the rate stays, the nose turns in \
        its plane by rate times time",
    );
    let aero = bare_aero(1.0, 0.0);
    let mut drawn = bare(&aero, 1.0, 9144.0);
    drawn.air = AirTable::uniform(0.0, 340.0);
    let rates = [20.0_f64.to_radians(), 30.0_f64.to_radians()];
    let from = State { position: [0.0; 3], velocity: [0.0; 3], nose: [0.0, 0.0, 1.0], spin: [rates[0], rates[1], 0.0] };
    let rate = libm::hypot(rates[0], rates[1]);
    // The plane of the nose: up, and across the spin.
    let across = [rates[1] / rate, -rates[0] / rate, 0.0];
    for (t, s) in [10.0, 20.0, 30.0].into_iter().zip(stepped(&drawn, from, [10.0, 20.0, 30.0])) {
        sheet.because("as proposed for case 2: momentum 1e-9, attitude 1e-3 deg");
        sheet.close_relative(format!("rate at {t} s, deg/s"), norm(s.spin).to_degrees(), 36.055_512_754_6, 1e-9);
        let turned = libm::atan2(dot(s.nose, across), s.nose[2]).to_degrees();
        let expected = (36.055_512_754_639_89_f64 * t + 180.0).rem_euclid(360.0) - 180.0;
        sheet.close(format!("nose from its start at {t} s, deg"), turned, expected, 1e-3);
    }
    sheet
}

/// Case 3, a falling brick with rate damping: from 10 s on nothing is left but its yaw (roll and pitch are under
/// 0.12 deg/s, and couple by under 1e-4 deg/s²), which is plain damping about one transverse axis.
fn n3y_rate_damping() -> Sheet {
    let mut sheet = Sheet::new(
        "N3y",
        "case 3 from 10 s on: yaw of a falling brick, damped in proportion to rate and airspeed",
        Trust::A,
        "NASA/TM-2015-218675, yaw rates of simulation 04: 8.425542, 1.570323 and 0.121116 deg/s at 10, 15 and 20 s; \
        inertia 0.007194665 slug ft², 0.22222 ft², 0.33333 ft, coefficient -1 per rb/2V",
    );
    let aero = bare_aero(0.222_22 * 0.3048 * 0.3048, 0.0);
    let span_m = 0.333_33 * 0.3048;
    let mut drawn = bare(&aero, 0.155_404_754 * 14.593_902_9, 9144.0);
    drawn.air = AirTable::new(&Column::over(0.0, 101_325.0, 288.15), 10_000.0);
    drawn.gravity = Gravity::normal(0.0, 0.0);
    drawn.earth_rotation_rad_s = [OMEGA, 0.0];
    drawn.mass.dry_inertia_kg_m2 = 0.007_194_665 * 14.593_902_937_206 * 0.3048 * 0.3048;
    // A pure couple: half the density times area times airspeed times b²/2 times the rate.
    drawn.fins = SlopeMoments { zeroth_per_rad: 0.0, first_m: 0.0, second_m2: 0.5 * span_m * span_m };
    let from = State { position: [0.0, 0.0, 9144.0], velocity: [0.0; 3], nose: [1.0, 0.0, 0.0], spin: [0.0, 0.0, 0.5] };
    let [at_10, at_15, at_20] = stepped(&drawn, from, [10.0, 15.0, 20.0]).map(|s| norm(s.spin));
    sheet.because("what roll and pitch still couple, 1e-4 deg/s² at 10 s, is under 1e-4 of the yaw rate by 15 s");
    sheet.close_relative("rate at 15 s over that at 10 s", at_15 / at_10, 1.570_323 / 8.425_542, 1e-4);
    sheet.close_relative("rate at 20 s over that at 15 s", at_20 / at_15, 0.121_116 / 1.570_323, 1e-4);
    sheet
}
