//! What a thrust curve means, and what its draws conserve.

use slowpoint_sim::case::{Case, MotorInput, ThrustInput};
use slowpoint_sim::draw::{Law, Numbers, PointSet, Shift, draw};
use slowpoint_sim::flight::{MassState, delay_tolerance_s};
use slowpoint_sim::thrust::{DrawnMotor, Side, ThrustCurve, ThrustTable};
use slowpoint_tests::{close, close_relative, rockets};

/// MOT-3: NFPA 1125 (read second-hand in a motor maker's note): burn time between the crossings of 5 % of the
/// peak, average over it. A triangle of peak F at T/2: 0.95 T, 0.49875 F T, 0.525 F. Exact crossings, so 1e-9.
#[test]
fn mot_3_triangle() {
    for (peak, time) in [(10.0, 2.0), (3.0, 0.4), (2500.0, 6.0)] {
        let curve = ThrustCurve::new(vec![(0.0, 0.0), (0.5 * time, peak), (time, 0.0)]);
        close_relative("burn time", curve.burn_s(), 0.95 * time, 1e-9);
        close_relative("average", curve.average_n(), 0.525 * peak, 1e-9);
        close_relative("impulse in the burn", curve.average_n() * curve.burn_s(), 0.49875 * peak * time, 1e-9);
        close_relative("impulse", curve.impulse_n_s(), 0.5 * peak * time, 1e-9);
    }
}

/// The same definitions where thrust is there at once: the first crossing is then at time zero. A trapezium of
/// level F to time T that ends in a ramp of T/100: burn from 0 to T + 0.95 T/100, and 0.05 F at its end, so the
/// average is F (1 + 0.525 x 0.95/100) / (1 + 0.95/100) (by hand).
#[test]
fn thrust_that_is_there_at_once() {
    let (level, time) = (40.0, 2.0);
    let curve = ThrustCurve::new(vec![(0.0, level), (time, level), (1.01 * time, 0.0)]);
    close_relative("burn time", curve.burn_s(), 1.0095 * time, 1e-9);
    close_relative("average", curve.average_n(), level * (1.0 + 0.525 * 0.0095) / 1.0095, 1e-9);
}

/// Rounding example of the same note: 80 N s over 1.36, 1.4, 1.24, 1.2 s are 58.82, 57.14, 64.52, 66.67 N.
/// Average x burn time lacks what lies outside the 5 % crossings: ramps of a millisecond, under 1e-4.
#[test]
fn averages_of_the_published_example() {
    for (seconds, newtons) in [(1.36, 58.82), (1.4, 57.14), (1.24, 64.52), (1.2, 66.67)] {
        let level = 80.0 / (seconds - 0.001);
        let curve = ThrustCurve::new(vec![(0.0, 0.0), (0.001, level), (seconds - 0.001, level), (seconds, 0.0)]);
        close_relative("impulse", curve.impulse_n_s(), 80.0, 1e-9);
        // Half a unit of the last printed digit and one ramp over the burn.
        close_relative("average", curve.average_n(), newtons, 1e-4 + 0.001 / seconds);
    }
}

/// MOT-2: "C6-3" is class C (5.01 to 10 N s), 6 N on the average, 3 s from burnout (encyclopaedia). Middle of
/// the class is an assumption of the service.
#[test]
fn mot_2_motor_code() {
    let mut inputs = rockets::paper();
    inputs.motor = MotorInput {
        thrust: ThrustInput::Code { class_upper_n_s: 10.0, average_n: 6.0 },
        propellant_kg: Some(0.011),
        ..inputs.motor
    };
    // Room for the heavier motor.
    inputs.airframe.mass_kg = 0.06;
    let case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
    close_relative("average", case.motor.curve.average_n(), 6.0, 1e-9);
    close_relative("impulse", case.motor.curve.impulse_n_s(), 7.5, 1e-9);
    assert!(case.assumed.iter().any(|a| a.input == "card.motor.thrust_curve"));
    // Every drawn impulse lies within the class.
    for flight in 0..512 {
        let (drawn, _) = draw(&case, &Numbers::of(PointSet::Sobol, 1, flight), &Shift::NONE);
        let impulse = drawn.thrust.impulse_n_s();
        assert!((5.0..=10.0).contains(&impulse), "{impulse} N s");
    }
}

/// MOT-5: bound of a delay's error, max(1.5 s, 20 %) (NFPA 1125, from memory, low confidence), capped at 3 s.
#[test]
fn mot_5_delay_tolerance() {
    for (delay, tolerance) in [(4.0, 1.5), (6.0, 1.5), (8.0, 1.6), (10.0, 2.0), (14.0, 2.8), (20.0, 3.0)] {
        close("tolerance", delay_tolerance_s(delay), tolerance, 1e-12);
    }
}

/// A drawn burn time moves no impulse, a drawn impulse no propellant: what is drawn is what is delivered. The
/// sums are those of a piecewise linear curve, exact up to rounding.
#[test]
fn draws_conserve_impulse_and_propellant() {
    for (name, inputs) in rockets::all() {
        let nominal = {
            let ThrustInput::Curve(points) = &inputs.motor.thrust else { panic!("{name}: a curve") };
            ThrustCurve::new(points.clone())
        };
        for factor in [1.0, 0.93] {
            let mut inputs = inputs.clone();
            inputs.spread.impulse = Some(Law::Fixed(factor));
            let case = Case::new(inputs).unwrap_or_else(|f| panic!("{name}: {f:?}"));
            let mut burnouts = Vec::new();
            for flight in 0..64 {
                let (drawn, _) = draw(&case, &Numbers::of(PointSet::Sobol, 5, flight), &Shift::NONE);
                let t = &drawn.thrust;
                close_relative("impulse", t.impulse_n_s(), factor * nominal.impulse_n_s(), 1e-9);
                let burned = t.at(t.end_s() + 1.0, Side::After).burned_kg;
                close_relative("propellant", burned, case.mass.propellant_kg, 1e-9);
                let MassState { mass_kg, .. } = drawn.mass.at(burned);
                close_relative("mass left", mass_kg, drawn.mass.dry_mass_kg, 1e-9);
                burnouts.push(t.burnout_s());
            }
            burnouts.sort_by(f64::total_cmp);
            assert!(burnouts[0] < burnouts[63] * 0.9, "{name}: burn times are drawn");
        }
    }
}

/// A cluster: impulses add, an unlit motor delivers nothing and keeps its propellant, and equal motors round the
/// axis have no moment.
#[test]
fn clusters_add_up() {
    let curve = ThrustCurve::new(vec![(0.0, 0.0), (0.1, 20.0), (1.0, 15.0), (1.2, 0.0)]);
    let motor = |k: usize, lit: bool| {
        let turn = core::f64::consts::TAU * k as f64 / 3.0;
        let offset_m = [0.03 * libm::cos(turn), 0.03 * libm::sin(turn)];
        DrawnMotor { impulse_factor: 1.0, burn_factor: 1.0, lit, offset_m }
    };
    let all = ThrustTable::new(&curve, 0.02, &[motor(0, true), motor(1, true), motor(2, true)], false);
    let two = ThrustTable::new(&curve, 0.02, &[motor(0, true), motor(1, true), motor(2, false)], false);
    for (table, lit) in [(&all, 3.0), (&two, 2.0)] {
        close_relative("impulse", table.impulse_n_s(), lit * curve.impulse_n_s(), 1e-12);
        close_relative("propellant", table.at(9.0, Side::After).burned_kg, lit * 0.02, 1e-12);
        assert_eq!(table.motor_burnouts_s().len(), lit as usize);
    }
    let moment = |t: &ThrustTable| {
        let m = t.at(0.5, Side::After).offset_moment_n_m;
        libm::hypot(m[0], m[1])
    };
    close("moment of all", moment(&all), 0.0, 1e-12);
    // Two of three: the missing one's thrust times its distance (by hand; 17.78 N at 0.5 s).
    let thrust = 20.0 - 5.0 * (0.4 / 0.9);
    close_relative("moment of two", moment(&two), thrust * 0.03, 1e-12);
}
