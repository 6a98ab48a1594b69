//! What a thrust curve means, and what its draws conserve.

use slowpoint_sim::case::{Case, MotorInput, ThrustInput};
use slowpoint_sim::draw::{Law, Numbers, PointSet, Shift, draw};
use slowpoint_sim::flight::{MassState, delay_tolerance_s};
use slowpoint_sim::thrust::{DrawnMotor, Side, ThrustCurve, ThrustTable};
use slowpoint_tests::sheet::{Sheet, Trust};
use slowpoint_tests::{larger, rockets};

slowpoint_tests::subject! { "Motors":
    mot_3_triangle,
    mot_1_thrust_at_once,
    mot_4_average_of_the_label,
    mot_2_motor_code,
    mot_5_delay_tolerance,
    mot_6_draws_conserve,
    mot_7_clusters_add_up,
}

fn mot_3_triangle() -> Sheet {
    let mut sheet = Sheet::new(
        "MOT-3",
        "burn time and average of a triangle of thrust between 5 % of its peak",
        Trust::FromMemory,
        "NFPA 1125, read second-hand in a motor maker's note: 0.95 T, 0.49875 F T, 0.525 F",
    );
    sheet.because("crossings are exact");
    for (peak, time) in [(10.0, 2.0), (3.0, 0.4), (2500.0, 6.0)] {
        let curve = ThrustCurve::new(vec![(0.0, 0.0), (0.5 * time, peak), (time, 0.0)]);
        sheet.close_relative(format!("burn time, {peak} N, {time} s, s"), curve.burn_s(), 0.95 * time, 1e-9);
        sheet.close_relative(format!("average, {peak} N, {time} s, N"), curve.average_n(), 0.525 * peak, 1e-9);
        sheet.close_relative(
            format!("impulse in the burn, {peak} N, {time} s, N s"),
            curve.average_n() * curve.burn_s(),
            0.49875 * peak * time,
            1e-9,
        );
        sheet.close_relative(format!("impulse, {peak} N, {time} s, N s"), curve.impulse_n_s(), 0.5 * peak * time, 1e-9);
    }
    sheet
}

fn mot_1_thrust_at_once() -> Sheet {
    let mut sheet = Sheet::new(
        "MOT-1",
        "the same definitions where thrust is there at once: level F to T, then a ramp of T/100",
        Trust::B,
        "by hand: burn T + 0.95 T/100, average F (1 + 0.525 x 0.95/100) / (1 + 0.95/100)",
    );
    sheet.because("crossings are exact");
    let (level, time) = (40.0, 2.0);
    let curve = ThrustCurve::new(vec![(0.0, level), (time, level), (1.01 * time, 0.0)]);
    sheet.close_relative("burn time, s", curve.burn_s(), 1.0095 * time, 1e-9);
    sheet.close_relative("average, N", curve.average_n(), level * (1.0 + 0.525 * 0.0095) / 1.0095, 1e-9);
    sheet
}

fn mot_4_average_of_the_label() -> Sheet {
    let mut sheet = Sheet::new(
        "MOT-4",
        "average thrust of 80 N s over four burn times",
        Trust::FromMemory,
        "rounding example of the same note: 59, 57, 65, 67 N",
    );
    sheet.because(
        "half a unit of the last printed digit, and ramps of a millisecond that lie outside the 5 % crossings",
    );
    for (seconds, newtons) in [(1.36, 58.82), (1.4, 57.14), (1.24, 64.52), (1.2, 66.67)] {
        let level = 80.0 / (seconds - 0.001);
        let curve = ThrustCurve::new(vec![(0.0, 0.0), (0.001, level), (seconds - 0.001, level), (seconds, 0.0)]);
        sheet.close_relative(format!("impulse of {seconds} s, N s"), curve.impulse_n_s(), 80.0, 1e-9);
        sheet.close_relative(
            format!("average over {seconds} s, N"),
            curve.average_n(),
            newtons,
            1e-4 + 0.001 / seconds,
        );
    }
    sheet
}

fn mot_2_motor_code() -> Sheet {
    let mut sheet = Sheet::new(
        "MOT-2",
        "what \"C6-3\" says of a motor",
        Trust::FromMemory,
        "encyclopaedia: class C is 5.01 to 10 N s, then the average thrust in newtons; the middle of the class is an assumption of this program",
    );
    sheet.because("the generic curve is scaled to it");
    let mut inputs = rockets::paper();
    inputs.motor = MotorInput {
        thrust: ThrustInput::Code { class_upper_n_s: 10.0, average_n: 6.0 },
        propellant_kg: Some(0.011),
        ..inputs.motor
    };
    // Room for the heavier motor.
    inputs.airframe.mass_kg = 0.06;
    let case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
    sheet.close_relative("average, N", case.motor.curve.average_n(), 6.0, 1e-9);
    sheet.close_relative("impulse, N s", case.motor.curve.impulse_n_s(), 7.5, 1e-9);
    sheet.holds(
        "the answer lists the curve as assumed",
        case.assumed.iter().any(|a| a.input == "card.motor.thrust_curve"),
    );
    let impulse = |flight| {
        let (drawn, _) = draw(&case, &Numbers::of(PointSet::Sobol, 1, flight), &Shift::NONE);
        drawn.thrust.impulse_n_s()
    };
    let outside = (0..512).map(impulse).filter(|i| !(5.0..=10.0).contains(i)).count();
    sheet.equal("drawn impulses outside the class, of 512", outside, 0);
    sheet
}

fn mot_5_delay_tolerance() -> Sheet {
    let mut sheet = Sheet::new(
        "MOT-5",
        "bound of a delay's error",
        Trust::FromMemory,
        "NFPA 1125 (low confidence): the larger of 1.5 s and 20 %, at most 3 s",
    );
    sheet.because("arithmetic");
    for (delay, tolerance) in [(4.0, 1.5), (6.0, 1.5), (8.0, 1.6), (10.0, 2.0), (14.0, 2.8), (20.0, 3.0)] {
        sheet.close(format!("for {delay} s, s"), delay_tolerance_s(delay), tolerance, 1e-12);
    }
    sheet
}

fn mot_6_draws_conserve() -> Sheet {
    let mut sheet = Sheet::new(
        "MOT-6",
        "a drawn burn time moves no impulse, a drawn impulse no propellant, over 64 flights of four rockets",
        Trust::Statement,
        "what is drawn is what is delivered; sums of a piecewise linear curve",
    );
    for (name, inputs) in rockets::all() {
        let nominal = {
            let ThrustInput::Curve(points) = &inputs.motor.thrust else { panic!("{name}: a curve") };
            ThrustCurve::new(points.clone())
        };
        for factor in [1.0, 0.93] {
            let mut inputs = inputs.clone();
            inputs.spread.impulse = Some(Law::Fixed(factor));
            let case = Case::new(inputs).unwrap_or_else(|f| panic!("{name}: {f:?}"));
            let (mut burnouts, mut off) = (Vec::new(), 0.0_f64);
            for flight in 0..64 {
                let (drawn, _) = draw(&case, &Numbers::of(PointSet::Sobol, 5, flight), &Shift::NONE);
                let t = &drawn.thrust;
                let impulse = factor * nominal.impulse_n_s();
                let burned = t.at(t.end_s() + 1.0, Side::After).burned_kg;
                let MassState { mass_kg, .. } = drawn.mass.at(burned);
                for (got, expected) in
                    [(t.impulse_n_s(), impulse), (burned, case.mass.propellant_kg), (mass_kg, drawn.mass.dry_mass_kg)]
                {
                    off = larger(off, (got / expected - 1.0).abs());
                }
                burnouts.push(t.burnout_s());
            }
            burnouts.sort_by(f64::total_cmp);
            sheet.because("exact up to rounding");
            let what = format!("{name}, impulse x {factor}");
            sheet.at_most(format!("{what}: impulse, propellant and mass left, worst relative error"), off, 1e-9);
            sheet.because("burn times are drawn: 5 % standard deviation");
            sheet.less_than(format!("{what}: shortest burn over longest"), burnouts[0] / burnouts[63], 0.9);
        }
    }
    sheet
}

fn mot_7_clusters_add_up() -> Sheet {
    let mut sheet = Sheet::new(
        "MOT-7",
        "three equal motors in a ring, all lit and one unlit",
        Trust::B,
        "by hand: impulses add, an unlit motor keeps its propellant, equal motors have no moment, and two of three that of the missing one (17.78 N at 0.5 s, 30 mm off)",
    );
    sheet.because("rounding");
    let curve = ThrustCurve::new(vec![(0.0, 0.0), (0.1, 20.0), (1.0, 15.0), (1.2, 0.0)]);
    let motor = |k: usize, lit: bool| {
        let turn = core::f64::consts::TAU * k as f64 / 3.0;
        let offset_m = [0.03 * libm::cos(turn), 0.03 * libm::sin(turn)];
        DrawnMotor { impulse_factor: 1.0, burn_factor: 1.0, lit, offset_m }
    };
    let all = ThrustTable::new(&curve, 0.02, &[motor(0, true), motor(1, true), motor(2, true)], false);
    let two = ThrustTable::new(&curve, 0.02, &[motor(0, true), motor(1, true), motor(2, false)], false);
    for (table, lit) in [(&all, 3.0), (&two, 2.0)] {
        sheet.close_relative(
            format!("impulse of {lit} lit, N s"),
            table.impulse_n_s(),
            lit * curve.impulse_n_s(),
            1e-12,
        );
        sheet.close_relative(
            format!("propellant burned of {lit} lit, kg"),
            table.at(9.0, Side::After).burned_kg,
            lit * 0.02,
            1e-12,
        );
        sheet.equal(format!("burnouts of {lit} lit"), table.motor_burnouts_s().len(), lit as usize);
    }
    let moment = |t: &ThrustTable| {
        let m = t.at(0.5, Side::After).offset_moment_n_m;
        libm::hypot(m[0], m[1])
    };
    sheet.close("moment of all, N m", moment(&all), 0.0, 1e-12);
    let thrust = 20.0 - 5.0 * (0.4 / 0.9);
    sheet.close_relative("moment of two, N m", moment(&two), thrust * 0.03, 1e-12);
    sheet
}
