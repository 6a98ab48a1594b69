//! What acts on a rocket at one instant, free and on the rail, and what a flight counts as gone wrong.

use super::cp1::cp1;
use slowpoint_sim::aero::{Aero, CrossFlow, MachTable, SlopeMoments};
use slowpoint_sim::air::AirTable;
use slowpoint_sim::flight::{Drawn, Gravity, Hold, Rail, Start, State, derivative, derivative_and_flow, step};
use slowpoint_sim::lanes::{Vector, along, cross, dot, norm, scale};
use slowpoint_sim::thrust::{DrawnMotor, Side, ThrustCurve, ThrustTable};
use slowpoint_sim::wind::WindTable;
use slowpoint_tests::sheet::{Sheet, Trust};
use slowpoint_tests::{ascent, bare, bare_aero, one_motor};

slowpoint_tests::subject! { "What acts at one instant":
    nrm_1_normal_force_at_every_angle,
    axl_1_axial_force_both_ways,
    mis_1_misaligned_thrust_and_fins,
    flw_1_how_fast_it_answers,
    frc_1_friction_on_the_rail,
    tip_1_pendulum_on_the_last_guide,
    tip_2_leaving_by_two_guides,
    out_1_what_goes_wrong,
    stp_1_a_step_keeps_its_constraints,
    gnd_1_the_last_instant,
}

const G: f64 = 9.80665;
const UP: Vector<f64> = [0.0, 0.0, 1.0];

/// Rate of change of a flight at a time after first thrust.
fn rate_at(drawn: &Drawn, time_s: f64, state: &State<f64>, hold: &Hold) -> State<f64> {
    derivative(drawn, &drawn.instant(time_s, Side::After), state, hold)
}

fn moving(velocity: Vector<f64>, nose: Vector<f64>) -> State<f64> {
    State { position: [0.0, 0.0, 50.0], velocity, nose, spin: [0.0; 3] }
}

/// Farthest that two vectors are apart, over the length of the second.
fn apart(a: Vector<f64>, b: Vector<f64>) -> f64 {
    norm(along(a, b, -1.0)) / norm(b)
}

fn nrm_1_normal_force_at_every_angle() -> Sheet {
    let mut sheet = Sheet::new(
        "NRM-1",
        "CP-1 in a slanting wind, without axial force: acceleration and turning at every 15 degrees of angle of attack",
        Trust::Statement,
        "the coefficient and the place that the aerodynamics give (held against published ones under *Normal force*), \
        on dynamic pressure and area; across the axis, away from the wind; the turning is lever times force",
    );
    sheet.because("rounding");
    // Fins a quarter more effective, as at some Mach number.
    let aero = Aero {
        drag_coasting: MachTable::constant(0.0, 2.0),
        fin_slope_factor: MachTable::constant(1.25, 2.0),
        ..cp1()
    };
    let stated = Aero { fins: aero.fins.scaled(1.25), ..aero.clone() };
    let mut drawn = bare(&aero, 2.0, 0.0);
    drawn.gravity = Gravity::constant(0.0);
    drawn.wind = WindTable::uniform(-4.0, 7.0);
    (drawn.mass.dry_cg_m, drawn.mass.dry_inertia_kg_m2) = (0.31, 0.2);
    let through_air = [3.0, -20.0, 15.0];
    let airspeed = norm(through_air);
    let flow = scale(through_air, 1.0 / airspeed);
    // A direction across the flow, towards which the nose is turned.
    let aside = cross(flow, [0.6, 0.0, 0.8]);
    let aside = scale(aside, 1.0 / norm(aside));
    let (mut pushed, mut turned) = (Vec::new(), Vec::new());
    for k in 1..12 {
        let angle = f64::from(k) * 15.0_f64.to_radians();
        let nose = along(scale(flow, libm::cos(angle)), aside, libm::sin(angle));
        let velocity = [through_air[0] - 4.0, through_air[1] + 7.0, through_air[2]];
        let rate = rate_at(&drawn, 0.0, &moving(velocity, nose), &Hold::Free);
        let (coefficient, place_m) = stated.normal_force_and_cp(angle);
        let size = 0.5 * 1.225 * airspeed * airspeed * aero.reference_area_m2 * coefficient;
        // Against the part of the flow across the axis.
        let across = along(scale(nose, dot(flow, nose)), flow, -1.0);
        let force = scale(across, size / norm(across));
        let torque = cross(scale(nose, 0.31 - place_m), force);
        let name = format!("{} deg", 15 * k);
        pushed.push((name.clone(), apart(rate.velocity, scale(force, 0.5)), 0.0));
        turned.push((name, apart(rate.spin, scale(torque, 5.0)), 0.0));
    }
    sheet.all_close("acceleration, share of it that is off", pushed, 1e-12);
    sheet.all_close("turning, share of it that is off", turned, 1e-12);
    sheet
}

fn axl_1_axial_force_both_ways() -> Sheet {
    let mut sheet = Sheet::new(
        "AXL-1",
        "drag along the axis nose first and tail first, burning and coasting, of a drawn 1.2 of the nominal",
        Trust::Statement,
        "coefficient times dynamic pressure and area, against the motion; tail first 1.5 times as much",
    );
    sheet.because("rounding");
    let aero = Aero {
        drag_coasting: MachTable::constant(0.5, 2.0),
        drag_thrusting: MachTable::constant(0.3, 2.0),
        tail_first_factor: 1.5,
        ..bare_aero(0.01, 0.0)
    };
    let mut drawn = bare(&aero, 2.0, 0.0);
    (drawn.gravity, drawn.drag_factor) = (Gravity::constant(0.0), 1.2);
    drawn.thrust = one_motor(&[(0.0, 0.0), (1.0, 0.0), (2.0, 50.0)]);
    let pressed = 0.5 * 1.225 * 900.0 * 0.01;
    for (name, time_s, up_m_s, coefficient) in [
        ("nose first, burning", 0.5, 30.0, 0.3),
        ("nose first, coasting", 3.0, 30.0, 0.5),
        ("tail first, burning", 0.5, -30.0, 0.3 * 1.5),
        ("tail first, coasting", 3.0, -30.0, 0.5 * 1.5),
    ] {
        let rate = rate_at(&drawn, time_s, &moving([0.0, 0.0, up_m_s], UP), &Hold::Free);
        let expected = -up_m_s.signum() * 1.2 * coefficient * pressed / 2.0;
        sheet.close(format!("{name}, m/s²"), rate.velocity[2], expected, 1e-12);
    }
    sheet
}

/// Turns a vector about an axis, right-handed (Rodrigues).
fn about(axis: Vector<f64>, angle: f64, v: Vector<f64>) -> Vector<f64> {
    let (sin, cos) = (libm::sin(angle), libm::cos(angle));
    let turned = along(scale(v, cos), cross(axis, v), sin);
    along(turned, axis, dot(axis, v) * (1.0 - cos))
}

fn mis_1_misaligned_thrust_and_fins() -> Sheet {
    let mut sheet = Sheet::new(
        "MIS-1",
        "thrust askew, fins askew and a motor off the axis, of a rocket that has rolled",
        Trust::B,
        "statics: force times lever, by vector products; roll is right-handed about the nose",
    );
    sheet.because("a quick sine good to 1e-11");
    let fin_m = 1.3;
    let mut aero = bare_aero(0.01, 0.0);
    aero.fins = SlopeMoments::default().add(8.0, fin_m);
    aero.fin_slope_factor = MachTable::constant(1.25, 2.0);
    for nose in [UP, [0.48, 0.6, 0.64]] {
        // The axes that the errors are told in: across nose and reference, and across that.
        let reference = [0.8, -0.6, 0.0];
        let first = cross(nose, reference);
        let first = scale(first, 1.0 / norm(first));
        let second = cross(nose, first);
        let pair = |p: [f64; 2]| along(scale(first, p[0]), second, p[1]);
        for (roll_rad, roll_rate_rad_s) in [(0.0, 0.0), (2.0, -3.0), (0.5, 40.0)] {
            let time_s = 0.4;
            let rolled = roll_rad + roll_rate_rad_s * time_s;
            let mut plain = bare(&aero, 2.0, 0.0);
            (plain.gravity, plain.roll_reference) = (Gravity::constant(0.0), [reference[0], reference[1]]);
            (plain.misalignment.roll_rad, plain.misalignment.roll_rate_rad_s) = (roll_rad, roll_rate_rad_s);
            (plain.misalignment.nozzle_m, plain.mass.dry_cg_m) = (1.5, 0.9);
            plain.mass.dry_inertia_kg_m2 = 0.4;
            let name = format!("nose at {:.2} of up, rolled {rolled:.1} rad", nose[2]);
            let mut row = |what: &str,
                           drawn: &Drawn,
                           at: State<f64>,
                           push: Vector<f64>,
                           force: Vector<f64>,
                           arm: Vector<f64>| {
                let rate = rate_at(drawn, time_s, &at, &Hold::Free);
                let whole = along(push, force, 1.0);
                sheet.close(
                    format!("{what}, {name}: acceleration off, share of it"),
                    apart(rate.velocity, scale(whole, 0.5)),
                    0.0,
                    1e-9,
                );
                let torque = scale(cross(arm, whole), 1.0 / 0.4);
                sheet.close(format!("{what}, {name}: turning off, share of it"), apart(rate.spin, torque), 0.0, 1e-9);
            };
            // 100 N at 1.5 m, the centre of gravity at 0.9 m.
            let mut drawn = plain.clone();
            drawn.thrust = one_motor(&[(0.0, 100.0), (2.0, 100.0)]);
            drawn.misalignment.thrust_rad = [0.01, -0.02];
            let side = about(nose, rolled, pair([1.0, -2.0]));
            row("thrust", &drawn, moving([0.0; 3], nose), scale(nose, 100.0), side, scale(nose, -0.6));
            // The same thrust straight, off the axis.
            let mut drawn = plain.clone();
            let motor = DrawnMotor { impulse_factor: 1.0, burn_factor: 1.0, lit: true, offset_m: [0.02, -0.05] };
            drawn.thrust = ThrustTable::new(&ThrustCurve::new(vec![(0.0, 100.0), (2.0, 100.0)]), 0.0, &[motor], true);
            let arm = about(nose, rolled, pair([0.02, -0.05]));
            row("motor", &drawn, moving([0.0; 3], nose), scale(nose, 100.0), [0.0; 3], arm);
            // Fins at 30 m/s nose first.
            let mut drawn = plain.clone();
            drawn.misalignment.fins_rad = [0.03, 0.01];
            let lift = 0.5 * 1.225 * 900.0 * 0.01 * 8.0 * 1.25;
            let force = about(nose, rolled, pair([0.03 * lift, 0.01 * lift]));
            row("fins", &drawn, moving(scale(nose, 30.0), nose), [0.0; 3], force, scale(nose, 0.9 - fin_m));
        }
    }
    sheet
}

fn flw_1_how_fast_it_answers() -> Sheet {
    let mut sheet = Sheet::new(
        "FLW-1",
        "pitch frequency and damping by which steps are chosen, at 30 deg and 150 deg of angle of attack",
        Trust::B,
        "stiffness: moment per radian of the linear force and of the broadside one, over inertia; damping: slopes times \
        squared levers over inertia, and force per speed across over mass (half the density times V S C, the density \
        times V sin times area broadside)",
    );
    sheet.because("rounding");
    let mut aero = bare_aero(0.002, 0.4);
    aero.body = SlopeMoments::default().add(2.0, 0.2);
    aero.fins = SlopeMoments::default().add(8.0, 0.9);
    aero.cross_flow = CrossFlow::default().add(0.02, 0.55);
    aero.fin_slope_factor = MachTable::constant(1.25, 2.0);
    let mut drawn = bare(&aero, 0.5, 0.0);
    drawn.mass.dry_inertia_kg_m2 = 0.03;
    let speed = 20.0;
    for degrees in [30.0_f64, 150.0] {
        let angle = degrees.to_radians();
        let state = moving([speed * libm::sin(angle), 0.0, speed * libm::cos(angle)], UP);
        let (_, flow) = derivative_and_flow(&drawn, &drawn.instant(0.0, Side::After), &state, &Hold::Free);
        let linear = 0.5 * 1.225 * speed * 0.002;
        let across = 0.5 * 1.225 * speed * libm::sin(angle) * 0.02;
        // Levers about 0.5 m.
        let stiffness = (linear * (2.0 * -0.3 + 10.0 * 0.4) + across * 0.05) * speed / 0.03;
        let damping = linear * (2.0 * 0.09 + 10.0 * 0.16) / 0.03 + (linear * (12.0 + 0.4) + 2.0 * across) / 0.5;
        sheet.close_relative(format!("stiffness at {degrees} deg, 1/s²"), flow.stiffness, stiffness, 1e-12);
        sheet.close_relative(format!("damping at {degrees} deg, 1/s"), flow.damping, damping, 1e-12);
        sheet.close_relative(format!("airspeed at {degrees} deg, m/s"), flow.airspeed_m_s, speed, 1e-12);
        sheet.close_relative(format!("along the axis at {degrees} deg, m/s"), flow.axial_m_s, state.velocity[2], 1e-12);
        sheet.close_relative(format!("Mach number at {degrees} deg"), flow.mach, speed / 340.294, 1e-12);
    }
    sheet
}

/// A rail that leans by 20 degrees, and gravity's part across it.
fn leaning() -> (Vector<f64>, Vector<f64>) {
    let tilt = 20.0_f64.to_radians();
    let rail = [libm::sin(tilt) * 0.8, libm::sin(tilt) * 0.6, libm::cos(tilt)];
    (rail, along([0.0, 0.0, -G], rail, G * rail[2]))
}

fn frc_1_friction_on_the_rail() -> Sheet {
    let mut sheet = Sheet::new(
        "FRC-1",
        "a rail that leans by 20 deg, 100 N on 2 kg, friction 0.2",
        Trust::B,
        "a sledge on a slope: T/m - g cos - mu g sin; v² = 2 L times that",
    );
    sheet.because("rounding");
    let (rail, across) = leaning();
    let net = 50.0 - G * rail[2] - 0.2 * norm(across);
    let aero = bare_aero(1e-3, 0.0);
    let mut drawn = bare(&aero, 2.0, 0.0);
    drawn.thrust = one_motor(&[(0.0, 100.0), (2.0, 100.0)]);
    let state = State { spin: [0.1, 0.2, 0.3], ..moving([0.0; 3], rail) };
    let rate = rate_at(&drawn, 0.1, &state, &Hold::Guided { rail, friction: 0.2 });
    sheet.close("acceleration off, share of it", apart(rate.velocity, scale(rail, net)), 0.0, 1e-12);
    sheet.equal("turning while guided", norm(rate.nose) + norm(rate.spin), 0.0);
    sheet.because("the engine finds the rail's end by interpolation to 1e-10 s");
    let guides = Rail { direction: rail, forward_travel_m: 1.8, last_travel_m: 1.8, aft_guide_m: 0.9, friction: 0.2 };
    drawn.start = Start::Rail { rail: guides, cg_height_m: 0.5 };
    let exit = ascent(&drawn, 1.0).rail_exit;
    sheet.close_relative("exit speed, 1.8 m, m/s", exit.speed_m_s, (2.0 * 1.8 * net).sqrt(), 1e-7);
    sheet.close_relative("time, 1.8 m, s", exit.time_s, (2.0 * 1.8 / net).sqrt(), 1e-7);
    sheet
}

fn tip_1_pendulum_on_the_last_guide() -> Sheet {
    let mut sheet = Sheet::new(
        "TIP-1",
        "the last guide on the rail, 0.4 m behind the centre of gravity of 2 kg and 0.3 kg m²: 20 deg of lean, pushed aside",
        Trust::B,
        "a physical pendulum about the guide: turning by moment over I + m l²; the guide's own acceleration across the \
        rail is nothing; friction by what it bears",
    );
    sheet.because("rounding");
    let (rail, across) = leaning();
    let (mass, inertia, l) = (2.0, 0.3, 0.4);
    let aero = bare_aero(1e-3, 0.0);
    let mut drawn = bare(&aero, mass, 0.0);
    (drawn.mass.dry_cg_m, drawn.mass.dry_inertia_kg_m2) = (0.5, inertia);
    drawn.thrust = one_motor(&[(0.0, 100.0), (2.0, 100.0)]);
    let hold = |friction: f64| Hold::TipOff { rail, friction, guide_m: 0.5 + l };
    // Gravity alone turns it, with thrust along the rail.
    let about_guide = inertia + mass * l * l;
    let turning = scale(cross(scale(rail, l), scale(across, mass)), 1.0 / about_guide);
    let sideways = cross(turning, scale(rail, l));
    let borne = mass * norm(along(across, sideways, -1.0));
    for friction in [0.0, 0.25] {
        let rate = rate_at(&drawn, 0.1, &moving([0.0; 3], rail), &hold(friction));
        let ahead = 50.0 - G * rail[2] - friction * borne / mass;
        let name = format!("friction {friction}");
        let expected = along(scale(rail, ahead), sideways, 1.0);
        sheet.close(format!("{name}: acceleration off, share of it"), apart(rate.velocity, expected), 0.0, 1e-12);
        sheet.close(format!("{name}: turning off, share of it"), apart(rate.spin, turning), 0.0, 1e-12);
    }
    // Thrust askew at 1.1 m adds its moment about the guide, 0.2 m ahead of it.
    drawn.roll_reference = [1.0, 0.0];
    (drawn.misalignment.thrust_rad, drawn.misalignment.nozzle_m) = ([0.02, -0.01], 1.1);
    let rate = rate_at(&drawn, 0.1, &moving([0.0; 3], rail), &hold(0.0));
    let first = cross(rail, [1.0, 0.0, 0.0]);
    let first = scale(first, 1.0 / norm(first));
    let side = along(scale(first, 2.0), cross(rail, first), -1.0);
    let torque = along(cross(scale(rail, l), scale(across, mass)), cross(scale(rail, -0.2), side), 1.0);
    sheet.close(
        "thrust askew: turning off, share of it",
        apart(rate.spin, scale(torque, 1.0 / about_guide)),
        0.0,
        1e-12,
    );
    // Turning at 3 rad/s, a little off the rail: what the guide feels across the rail is nothing.
    sheet.because("the axis is taken to lie along the rail: second order in 0.02 rad of some 20 m/s²");
    let aside = scale(first, 0.02);
    let nose = along(rail, aside, 1.0);
    let nose = scale(nose, 1.0 / norm(nose));
    let spin = scale(cross(nose, first), 3.0);
    let state = State { spin, ..moving([0.0; 3], nose) };
    let rate = rate_at(&drawn, 0.1, &state, &hold(0.0));
    let arm = scale(nose, -l);
    let guide = along(rate.velocity, cross(rate.spin, arm), 1.0);
    let guide = along(guide, cross(spin, cross(spin, arm)), 1.0);
    sheet.close("guide's acceleration across the rail, m/s²", norm(along(guide, rail, -dot(guide, rail))), 0.0, 0.01);
    sheet
}

fn tip_2_leaving_by_two_guides() -> Sheet {
    let mut sheet = Sheet::new(
        "TIP-2",
        "a vertical rail left by the forward guide after 1 m and by the last after 1.5 m, 100 N on 2 kg, in a wind",
        Trust::B,
        "v² = 2 L (T/m - g) at each; angle of attack by atan(w/v), the margin of the place at that angle",
    );
    sheet.because("the engine finds each guide's end by interpolation to 1e-10 s");
    // So heavy to turn that it stays upright; air so thin that it does not push.
    let aero = Aero { fin_slope_factor: MachTable::constant(1.25, 2.0), ..cp1() };
    let stated = Aero { fins: aero.fins.scaled(1.25), ..aero.clone() };
    let rail = Rail { direction: UP, forward_travel_m: 1.0, last_travel_m: 1.5, aft_guide_m: 0.4, friction: 0.0 };
    for wind_m_s in [0.0, 3.0] {
        let mut drawn = bare(&aero, 2.0, 0.0);
        (drawn.mass.dry_cg_m, drawn.mass.dry_inertia_kg_m2) = (0.2, 1e9);
        drawn.thrust = one_motor(&[(0.0, 100.0), (2.0, 100.0)]);
        drawn.wind = WindTable::uniform(wind_m_s, 0.0);
        drawn.air = AirTable::uniform(1e-9, 340.0);
        drawn.start = Start::Rail { rail, cg_height_m: 0.2 };
        let exit = ascent(&drawn, 1.0).rail_exit;
        let speed = |travel_m: f64| (2.0 * travel_m * (50.0 - G)).sqrt();
        let name = format!("wind {wind_m_s} m/s");
        sheet.close(format!("{name}: speed at the forward guide, m/s"), exit.forward_speed_m_s, speed(1.0), 1e-6);
        sheet.close(format!("{name}: speed at the last guide, m/s"), exit.speed_m_s, speed(1.5), 1e-6);
        sheet.close(format!("{name}: time, s"), exit.time_s, speed(1.5) / (50.0 - G), 1e-6);
        let angle = libm::atan2(wind_m_s, speed(1.5));
        sheet.close(format!("{name}: angle of attack, rad"), exit.angle_of_attack_rad, angle, 1e-6);
        let margin_m = stated.normal_force_and_cp(angle).1 - 0.2;
        sheet.close(format!("{name}: margin, m"), exit.margin_m, margin_m, 1e-6);
    }
    sheet
}

fn out_1_what_goes_wrong() -> Sheet {
    let mut sheet = Sheet::new(
        "OUT-1",
        "flights that go wrong, each next to one that just does not",
        Trust::Statement,
        "more than 60 deg from vertical under thrust; air from behind under thrust, or the centre of pressure ahead on \
        leaving the rail; above the Mach bound or the top of the model; thrust that never beats weight, or ends on the rail",
    );
    let aero = bare_aero(1e-3, 0.0);
    let free = |degrees: f64, velocity: Vector<f64>, thrust_n: f64| {
        let mut drawn = bare(&aero, 1.0, 100.0);
        let lean = degrees.to_radians();
        let nose = [libm::sin(lean), 0.0, libm::cos(lean)];
        drawn.start = Start::Free(State { position: [0.0, 0.0, 100.0], velocity, nose, spin: [0.0; 3] });
        drawn.thrust = one_motor(&[(0.0, thrust_n), (0.5, thrust_n)]);
        drawn
    };
    let mut row = |name: &str, drawn: &Drawn, expected: &str| {
        let m = ascent(drawn, 1.0).mishaps;
        let found = [
            (m.never_left_rail, "never left"),
            (m.unstable, "unstable"),
            (m.beyond_sixty_deg, "beyond 60 deg"),
            (m.outside_model, "outside"),
            (m.untrusted, "untrusted"),
        ];
        let found: Vec<&str> = found.into_iter().filter(|f| f.0).map(|f| f.1).collect();
        sheet.equal(name, found.join(", "), expected.to_string());
    };
    row("59 deg from vertical under thrust", &free(59.0, [0.0, 0.0, 10.0], 20.0), "");
    row("61 deg from vertical under thrust", &free(61.0, [0.0, 0.0, 10.0], 20.0), "beyond 60 deg");
    row("sinking by 10 m/s, nose up under 60 N", &free(0.0, [0.0, 0.0, -10.0], 60.0), "unstable");
    let mut coasting = free(0.0, [0.0, 0.0, -10.0], 60.0);
    coasting.thrust = ThrustTable::none();
    row("the same without a motor", &coasting, "");
    let mut fast = free(0.0, [0.0, 0.0, 100.0], 20.0);
    let mut bound = aero.clone();
    (bound.mach_bound, fast.aero) = (0.35, &aero);
    let fast_within = fast.clone();
    fast.aero = &bound;
    row("Mach 0.31 of 10", &fast_within, "");
    row("Mach 0.31 of 0.35", &fast, "");
    fast.start = free(0.0, [0.0, 0.0, 130.0], 20.0).start;
    row("Mach 0.38 of 0.35", &fast, "outside");
    let mut high = free(0.0, [0.0, 0.0, 40.0], 9.8);
    (high.top_m, high.air) = (200.0, AirTable::uniform(0.0, 340.0));
    row("to 201 m of 200 m", &high, "outside");
    high.top_m = 203.0;
    row("to 201 m of 203 m", &high, "");
    let railed = |points: &[(f64, f64)], place_m: f64| {
        let mut drawn = bare(&aero, 2.0, 0.0);
        drawn.thrust = one_motor(points);
        drawn.body = SlopeMoments::default().add(5.0, place_m);
        let rail = Rail { direction: UP, forward_travel_m: 1.0, last_travel_m: 1.5, aft_guide_m: 0.9, friction: 0.0 };
        drawn.start = Start::Rail { rail, cg_height_m: 0.5 };
        drawn
    };
    row("thrust of 1.1 times the weight", &railed(&[(0.0, 22.0), (3.0, 22.0)], 0.6), "");
    row("thrust of 0.9 times the weight", &railed(&[(0.0, 18.0), (3.0, 18.0)], 0.6), "never left");
    row("thrust for a tenth of a second", &railed(&[(0.0, 40.0), (0.1, 40.0)], 0.6), "never left");
    row("centre of pressure 1 mm ahead of that of gravity", &railed(&[(0.0, 100.0), (0.3, 100.0)], 0.499), "unstable");
    row("and 1 mm behind it", &railed(&[(0.0, 100.0), (0.3, 100.0)], 0.501), "");
    sheet
}

fn stp_1_a_step_keeps_its_constraints() -> Sheet {
    let mut sheet = Sheet::new(
        "STP-1",
        "CP-1 tumbling at 12 rad/s in a slanting flow, one step of 0.1 s",
        Trust::B,
        "the nose is a unit vector and the spin across it, which no stage of a Runge-Kutta step keeps by itself",
    );
    sheet.because("rounding");
    let aero = cp1();
    let mut drawn = bare(&aero, 0.2, 0.0);
    (drawn.mass.dry_cg_m, drawn.mass.dry_inertia_kg_m2) = (0.31, 2e-3);
    let state = State { spin: [0.0, 12.0, 0.0], ..moving([10.0, 15.0, 20.0], [0.6, 0.0, 0.8]) };
    let now = drawn.instant(0.0, Side::After);
    let first = derivative(&drawn, &now, &state, &Hold::Free);
    let next = step(&drawn, &state, &first, 0.1, &now, &now, &Hold::Free).state;
    sheet.close("length of the nose", norm(next.nose), 1.0, 1e-15);
    sheet.close("spin along the nose, rad/s", dot(next.spin, next.nose), 0.0, 1e-13);
    sheet.because("it did turn");
    sheet.more_than("turned, rad", libm::acos(dot(next.nose, state.nose)), 0.5);
    sheet
}

fn gnd_1_the_last_instant() -> Sheet {
    let mut sheet = Sheet::new(
        "GND-1",
        "dropped from 300 m with a terminal speed of 60 m/s: the instant on the ground",
        Trust::B,
        "v² = V² (1 - exp(-2 g h / V²)), acceleration g (1 - v²/V²), time V/g acosh(exp(g h / V²))",
    );
    let (mass, terminal): (f64, f64) = (1.0, 60.0);
    let aero = Aero { tail_first_factor: 1.0, ..bare_aero(2.0 * mass * G / (1.225 * terminal * terminal), 1.0) };
    let drawn = bare(&aero, mass, 300.0);
    let flight = ascent(&drawn, 10.0);
    let last = flight.path.nodes.last().unwrap_or_else(|| panic!("it was recorded"));
    let fallen = libm::exp(-2.0 * G * 300.0 / (terminal * terminal));
    sheet.because("the place is interpolated to 1e-9 s");
    sheet.close("height, m", last.position_m[2], 0.0, 1e-6);
    sheet.close_relative("speed, m/s", -last.velocity_m_s[2], terminal * (1.0 - fallen).sqrt(), 1e-6);
    sheet.close_relative("time, s", last.time_s, terminal / G * libm::acosh(1.0 / fallen.sqrt()), 1e-6);
    sheet.because("straight between the ends of the step that is cut");
    sheet.close_relative("acceleration, m/s²", -last.acceleration_m_s2[2], G * fallen, 1e-3);
    sheet
}
