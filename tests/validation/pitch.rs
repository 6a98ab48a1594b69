//! Pitch: oscillation, its damping by fins and by the jet, and what never turns.

use super::cp1::cp1;
use core::f64::consts::PI;
use slowpoint_sim::aero::{Aero, MachTable, SlopeMoments};
use slowpoint_sim::air::AirTable;
use slowpoint_sim::flight::{Drawn, Gravity, Hold, Start, State, derivative, derivative_and_flow, step};
use slowpoint_sim::lanes::dot;
use slowpoint_sim::thrust::{DrawnMotor, Side, ThrustCurve, ThrustTable};
use slowpoint_tests::sheet::{Sheet, Trust};
use slowpoint_tests::{ascent, bare, bare_aero, one_motor};

slowpoint_tests::subject! { "Pitch":
    osc_1_pitch_oscillation,
    osc_2_frequency_and_damping,
    jd_1_jet_damping,
    rol_1_no_moment_about_the_axis,
    sgn_1_at_rest_and_backwards,
}

/// CP-1 without cross-flow, drag or compressibility, for motions of closed form.
fn linear_cp1() -> Aero {
    let built = cp1();
    Aero { body: built.body, fins: built.fins, ..bare_aero(built.reference_area_m2, 0.0) }
}

/// OSC-1's rocket going straight down at a speed: so heavy that its centre moves on unmoved (translation
/// frozen, as the case asks), inertia 1.2e-3 kg m^2, centre of gravity at 0.31 m.
fn pitching(aero: &Aero, speed_m_s: f64, angle_rad: f64, height_m: f64) -> Drawn<'_> {
    let mut drawn = bare(aero, 1e12, height_m);
    drawn.gravity = Gravity::constant(0.0);
    (drawn.mass.dry_inertia_kg_m2, drawn.mass.dry_cg_m) = (1.2e-3, 0.31);
    drawn.start = Start::Free(State {
        position: [0.0, 0.0, height_m],
        velocity: [0.0, 0.0, -speed_m_s],
        nose: [libm::sin(angle_rad), 0.0, -libm::cos(angle_rad)],
        spin: [0.0; 3],
    });
    drawn
}

fn osc_1_pitch_oscillation() -> Sheet {
    let mut sheet = Sheet::new(
        "OSC-1",
        "released at 5 deg at 60 m/s, turning about its centre of gravity only; at 20 and 100 m/s the same angles come at times x 60/V, as the wavelength does not depend on speed",
        Trust::FromMemory,
        "pitch damping after Mandell, in Topics in Advanced Model Rocketry, 1973, ch. 2; closed form, the same by DOP853 to 1e-8 deg",
    );
    sheet.because("as proposed with the case, 0.005 deg are released and multiplied by 1000, as the case is linear in the angle and the model is not; steps 20 times finer");
    let aero = linear_cp1();
    for speed in [20.0, 60.0, 100.0] {
        let mut drawn = pitching(&aero, speed, 0.005_f64.to_radians(), 61.0);
        let time = |at_60: f64| at_60 * 60.0 / speed;
        // A newton does nothing to this mass; its nodes make the steps end at the times asked for.
        drawn.thrust = one_motor(&[0.0, 0.1, 0.2, 0.5, 1.0].map(|t| (time(t), 1.0)));
        let path = ascent(&drawn, 20.0).path;
        for (at_60, degrees) in [(0.1, -4.038732), (0.2, 3.099771), (0.5, -0.861088), (1.0, -0.520917)] {
            let node = path.nodes.iter().find(|n| (n.time_s - time(at_60)).abs() < 1e-9);
            let nose = node.map(|n| n.nose).unwrap_or_else(|| panic!("no step ends at {at_60} s"));
            let angle = 1000.0 * libm::atan2(nose[0], -nose[2]).to_degrees();
            sheet.close(
                format!("angle of attack at {speed} m/s after {:.3} s, deg", time(at_60)),
                angle,
                degrees,
                1e-4,
            );
        }
    }
    sheet
}

fn osc_2_frequency_and_damping() -> Sheet {
    let mut sheet = Sheet::new(
        "OSC-2",
        "its invariants: damping ratio and undamped wavelength at every speed, C1 and C2 at 60 m/s",
        Trust::FromMemory,
        "the same source",
    );
    sheet.because("printed digits");
    let aero = linear_cp1();
    for (speed, frequency) in [(20.0, 9.768443), (60.0, 29.305330), (100.0, 48.842217)] {
        let drawn = pitching(&aero, speed, 1e-9, 61.0);
        let Start::Free(state) = drawn.start else { panic!("a free start") };
        let (_, flow) = derivative_and_flow(&drawn, &drawn.instant(0.0, Side::After), &state, &Hold::Free);
        let found = flow.stiffness.sqrt();
        sheet.close_relative(format!("frequency at {speed} m/s, rad/s"), found, frequency, 1e-7);
        sheet.close_relative(format!("damping ratio at {speed} m/s"), 0.5 * flow.damping / found, 0.0602467, 1e-6);
        sheet.close_relative(format!("wavelength at {speed} m/s, m"), 2.0 * PI * speed / found, 12.8642509, 1e-8);
        if speed == 60.0 {
            sheet.close_relative("C1, N m/rad", flow.stiffness * 1.2e-3, 1.03056284, 1e-8);
            sheet.close_relative("C2, N m s", flow.damping * 1.2e-3, 4.2373165e-3, 1e-7);
        }
    }
    sheet
}

/// A rocket without air that only burns: 0.5 kg/s for 2 s, nozzle 0.6 m behind the centre of gravity, 0.9 kg m^2
/// at first, turning at 1 rad/s. Gives the rate after 2 s.
fn jet_damped(gyration_m: f64, grain_known: bool) -> f64 {
    let aero = bare_aero(1e-3, 0.0);
    let mut drawn = bare(&aero, 10.0, 1000.0);
    drawn.gravity = Gravity::constant(0.0);
    drawn.air = AirTable::uniform(0.0, 340.0);
    let motor = DrawnMotor { impulse_factor: 1.0, burn_factor: 1.0, lit: true, offset_m: [0.0; 2] };
    drawn.thrust = ThrustTable::new(&ThrustCurve::new(vec![(0.0, 100.0), (2.0, 100.0)]), 1.0, &[motor], true);
    drawn.mass.propellant_kg = 1.0;
    drawn.mass.propellant_gyration_m2 = gyration_m * gyration_m;
    drawn.mass.dry_inertia_kg_m2 = 0.9 - gyration_m * gyration_m;
    drawn.grain_known = grain_known;
    drawn.misalignment.nozzle_m = drawn.mass.dry_cg_m + 0.6;
    let mut state = State { position: [0.0; 3], velocity: [0.0; 3], nose: [0.0, 0.0, 1.0], spin: [0.0, 1.0, 0.0] };
    for k in 0..200 {
        let (t, dt) = (f64::from(k) * 0.01, 0.01);
        let first = derivative(&drawn, &drawn.instant(t, Side::After), &state, &Hold::Free);
        let middle = drawn.instant(t + 0.5 * dt, Side::Before);
        state = step(&drawn, &state, &first, dt, &middle, &drawn.instant(t + dt, Side::Before), &Hold::Free).state;
    }
    dot(state.spin, state.spin).sqrt()
}

fn jd_1_jet_damping() -> Sheet {
    let mut sheet = Sheet::new(
        "JD-1",
        "rate after 2 s of burning 0.5 kg/s, nozzle 0.6 m behind, 0.9 kg m², 1 rad/s at first",
        Trust::B,
        "I dw/dt = -mdot (re² - k²) w (Rosser, Newton and Gross 1947; Thomson 1961; read second-hand)",
    );
    sheet.because("as proposed with the case");
    sheet.close_relative("full form with the inertia that falls, rad/s", jet_damped(0.15, true), 0.684_020_686, 1e-6);
    sheet.close_relative(
        "a grain that is a point: inertia frozen, the whole lever, rad/s",
        jet_damped(0.0, true),
        0.670_320_046,
        1e-6,
    );
    sheet.because("3 % as proposed for the simplification");
    sheet.close_relative(
        "grain not known: the whole lever, inertia that falls, rad/s",
        jet_damped(0.15, false),
        0.684_020_686,
        0.03,
    );
    sheet.less_than(
        "grain not known, rad/s: the whole lever damps more than",
        jet_damped(0.15, false),
        jet_damped(0.15, true),
    );
    sheet
}

fn rol_1_no_moment_about_the_axis() -> Sheet {
    let mut sheet = Sheet::new(
        "ROL-1",
        "nothing turns the rocket about its own axis, whatever is misaligned",
        Trust::Statement,
        "roll is an input, not a motion",
    );
    sheet.because("rounding");
    let aero = cp1();
    let mut drawn = pitching(&aero, 60.0, 0.2, 61.0);
    drawn.thrust = one_motor(&[(0.0, 10.0), (1.0, 10.0)]);
    drawn.misalignment.thrust_rad = [0.01, -0.02];
    drawn.misalignment.fins_rad = [0.03, 0.01];
    drawn.misalignment.nozzle_m = 0.45;
    drawn.misalignment.roll_rate_rad_s = 20.0;
    let Start::Free(state) = drawn.start else { panic!("a free start") };
    let rate = derivative(&drawn, &drawn.instant(0.4, Side::After), &state, &Hold::Free);
    let turning = dot(rate.spin, rate.spin).sqrt();
    sheet.close("turning about the axis over turning across it", dot(rate.spin, state.nose) / turning, 0.0, 1e-12);
    sheet.because("misaligned as it is, it does turn");
    sheet.more_than("turning across the axis, rad/s²", turning, 1.0);
    sheet
}

fn sgn_1_at_rest_and_backwards() -> Sheet {
    let mut sheet = Sheet::new(
        "SGN-1",
        "forces at rest and going backwards",
        Trust::Statement,
        "finite, and the axial force against the motion both ways",
    );
    let mut aero = cp1();
    aero.body = SlopeMoments::default();
    aero.drag_coasting = MachTable::constant(0.5, 2.0);
    for speed in [0.0, 30.0, -30.0] {
        let drawn = pitching(&aero, speed, 0.0, 61.0);
        let Start::Free(state) = drawn.start else { panic!("a free start") };
        let rate = derivative(&drawn, &drawn.instant(0.0, Side::After), &state, &Hold::Free);
        let finite = rate.velocity.iter().chain(&rate.spin).all(|x| x.is_finite());
        sheet.holds(format!("at {speed} m/s down: finite"), finite);
        let against = if speed == 0.0 { rate.velocity[2] == 0.0 } else { rate.velocity[2] * speed > 0.0 };
        sheet.holds(format!("at {speed} m/s down: against the motion, nothing at rest"), against);
    }
    sheet
}
