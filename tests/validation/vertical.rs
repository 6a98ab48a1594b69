//! Closed forms of boost, coast, the speed about apogee, shots in a vacuum, and the rail.

use slowpoint_sim::air::AirTable;
use slowpoint_sim::flight::{Drawn, Gravity, Rail, Start, State};
use slowpoint_sim::lanes::norm;
use slowpoint_sim::wind::WindTable;
use slowpoint_tests::sheet::{Sheet, Trust};
use slowpoint_tests::{ascent, bare, bare_aero, one_motor};

slowpoint_tests::subject! { "Boost, coast and rail":
    fm_1_boost_coast_and_speed_about_apogee,
    fm_2_a_worked_example,
    vac_1_shots_without_air,
    rail_1_exit_speed,
    rail_2_angle_of_attack_at_departure,
}

/// The engine flies FM-1 with steps a tenth of its usual ones, as the tolerance is stated for steps of 0.01 s.
fn fm_1_boost_coast_and_speed_about_apogee() -> Sheet {
    let mut sheet = Sheet::new(
        "FM-1",
        "0.1 kg under 6 N for 1.7 s, 25 mm across, drag coefficient 0.5, air of 1.225 kg/m³: boost, coast, and the \
        speed that a delay meets",
        Trust::B,
        "Fehskens and Malewicki's solution (Malewicki, TR-10, 1967; Topics in Advanced Model Rocketry, MIT Press \
        1973), confirmed with DOP853 to 1e-11",
    );
    let area_m2 = core::f64::consts::PI * 0.025 * 0.025 / 4.0;
    let aero = bare_aero(area_m2, 0.5);
    let mut drawn = bare(&aero, 0.1, 0.0);
    drawn.thrust = one_motor(&[(0.0, 6.0), (1.7, 6.0)]);
    let flight = ascent(&drawn, 10.0);
    let burnout = flight.path.at(1.7);
    sheet.because("a fourth-order method in steps of 0.01 s");
    sheet.close_relative("burnout speed, m/s", burnout.velocity_m_s[2], 79.623_381, 1e-6);
    sheet.close_relative("burnout height, m", burnout.position_m[2], 70.037_156, 1e-6);
    sheet.close_relative("apogee, m", flight.apogee_m, 295.866_982, 1e-6);
    sheet.close_relative("time of apogee, s", flight.apogee_s, 8.109_788, 1e-6);
    sheet.because("the same, read between steps by a cubic");
    for (after_s, speed) in
        [(-3.0, 30.794_082), (-1.0, 9.855_127), (1.0, 9.758_741), (3.0, 28.184_328), (5.0, 43.782_169)]
    {
        let at = flight.path.at(flight.apogee_s + after_s);
        sheet.close_relative(
            format!("airspeed {after_s:+} s from apogee, m/s"),
            at.airspeed_m_s(&drawn.wind),
            speed,
            1e-5,
        );
    }
    for (after_s, drop_m) in [(1.0, 4.891_324), (3.0, 43.187_251), (5.0, 115.719_331)] {
        let at = flight.path.at(flight.apogee_s + after_s);
        sheet.close_relative(
            format!("drop {after_s:+} s from apogee, m"),
            flight.apogee_m - at.position_m[2],
            drop_m,
            1e-5,
        );
    }
    let end = flight.path.at(flight.path.end_s());
    sheet.close_relative("impact speed, m/s", norm(end.velocity_m_s), 61.994_678, 1e-5);
    sheet.close_relative("fall from apogee, s", flight.path.end_s() - flight.apogee_s, 8.354_456, 1e-5);
    sheet
}

fn fm_2_a_worked_example() -> Sheet {
    let mut sheet = Sheet::new(
        "FM-2",
        "0.08 kg under 4.2 N for 1.1 s, drag 3.5e-4 v² N, with and without drag",
        Trust::B,
        "a physics question-and-answer thread of 2010 (rounded there to 46 m/s and 26 m without drag), recomputed in \
        closed form",
    );
    sheet.because("half a unit of the last printed digit");
    for (drag_per_v2, speed, height, apogee) in [(0.0, 46.96, 25.83, None), (3.5e-4, 43.71, 24.91, Some(95.35))] {
        // Half the density times area times coefficient.
        let aero = bare_aero(drag_per_v2 / (0.5 * 1.225), 1.0);
        let mut drawn = bare(&aero, 0.08, 0.0);
        drawn.gravity = Gravity::constant(9.81);
        drawn.thrust = one_motor(&[(0.0, 4.2), (1.1, 4.2)]);
        let flight = ascent(&drawn, 10.0);
        let burnout = flight.path.at(1.1);
        let name = if drag_per_v2 > 0.0 { "with drag" } else { "without" };
        sheet.close(format!("burnout speed {name}, m/s"), burnout.velocity_m_s[2], speed, 0.005);
        sheet.close(format!("burnout height {name}, m"), burnout.position_m[2], height, 0.005);
        if let Some(apogee) = apogee {
            sheet.close(format!("apogee {name}, m"), flight.apogee_m, apogee, 0.005);
        }
    }
    sheet
}

fn vac_1_shots_without_air() -> Sheet {
    let mut sheet = Sheet::new(
        "VAC-1",
        "shots at 100 m/s without air",
        Trust::B,
        "the parabola: apogee v² sin² / 2g, range v² sin 2e / g, time 2 v sin / g, speed at apogee v cos",
    );
    sheet.because("printed to six places; the engine finds apogee and ground by interpolation to 1e-9 s");
    for (elevation_deg, apogee, range, seconds, across) in [
        (85.0_f64, 505.985_161, 177.071_862, 20.316_718, 8.715_574),
        (80.0, 494.484_003, 348.763_485, 20.084_489, 17.364_818),
    ] {
        let aero = bare_aero(1.0, 0.0);
        let mut drawn = bare(&aero, 1.0, 0.0);
        drawn.air = AirTable::uniform(0.0, 340.0);
        let e = elevation_deg.to_radians();
        let nose = [libm::cos(e), 0.0, libm::sin(e)];
        let velocity = nose.map(|x| 100.0 * x);
        drawn.start = Start::Free(State { position: [0.0; 3], velocity, nose, spin: [0.0; 3] });
        let flight = ascent(&drawn, 1.0);
        let (top, end) = (flight.path.at(flight.apogee_s), flight.path.at(flight.path.end_s()));
        sheet.close(format!("apogee at {elevation_deg} deg, m"), flight.apogee_m, apogee, 1e-6);
        sheet.close(format!("range at {elevation_deg} deg, m"), end.position_m[0], range, 1e-6);
        sheet.close(format!("time at {elevation_deg} deg, s"), end.time_s, seconds, 1e-6);
        let speed = top.airspeed_m_s(&drawn.wind);
        sheet.close(format!("speed at apogee at {elevation_deg} deg, m/s"), speed, across, 1e-6);
    }
    sheet
}

/// On a frictionless rail.
fn on_rail(drawn: &mut Drawn, tilt_rad: f64, length_m: f64) {
    drawn.start = Start::Rail {
        rail: Rail {
            direction: [libm::sin(tilt_rad), 0.0, libm::cos(tilt_rad)],
            forward_travel_m: length_m,
            last_travel_m: length_m,
            aft_guide_m: 0.9,
            friction: 0.0,
        },
        cg_height_m: 0.5,
    };
}

fn rail_1_exit_speed() -> Sheet {
    let mut sheet = Sheet::new(
        "RAIL-1",
        "speed and time on leaving a rail under constant thrust",
        Trust::B,
        "v² = 2 L (T/m - g sin e); with drag k v² it is v² = q² (1 - exp(-2 k L / m)), q² = (T - m g) / k",
    );
    sheet.because("printed to six places, times likewise");
    for (mass_kg, thrust_n, length_m, tilt_deg, speed, seconds) in [
        (2.5, 150.0, 1.8, 0.0_f64, 13.442_323, Some(0.267_811)),
        (2.5, 150.0, 1.8, 5.0, 13.447_320, None),
        (0.1, 12.0, 0.9, 0.0, 14.083_609, Some(0.127_808)),
    ] {
        let aero = bare_aero(1e-3, 0.0);
        let mut drawn = bare(&aero, mass_kg, 0.0);
        drawn.thrust = one_motor(&[(0.0, thrust_n), (2.0, thrust_n)]);
        on_rail(&mut drawn, tilt_deg.to_radians(), length_m);
        let exit = ascent(&drawn, 1.0).rail_exit;
        let name = format!("{mass_kg} kg, {thrust_n} N, {length_m} m, {} deg", 90.0 - tilt_deg);
        sheet.close_relative(format!("exit speed, {name}, m/s"), exit.speed_m_s, speed, 1e-6);
        if let Some(seconds) = seconds {
            sheet.close(format!("time, {name}, s"), exit.time_s, seconds, 1e-6);
        }
    }
    sheet.because("the little that thrust does while it jumps");
    for rise_s in [1e-3, 1e-6, 1e-8, 2e-9] {
        let aero = bare_aero(1e-3, 0.0);
        let mut drawn = bare(&aero, 2.5, 0.0);
        let full_s = 0.5 + rise_s;
        drawn.thrust = one_motor(&[(0.0, 5.0), (0.5, 5.0), (full_s, 150.0), (full_s + 2.0, 150.0)]);
        on_rail(&mut drawn, 0.0, 1.8);
        let exit = ascent(&drawn, 1.0).rail_exit;
        let name = format!("2.5 kg, 1.8 m, thrust held back for 0.5 s, then there within {rise_s:e} s");
        sheet.close(format!("exit speed, {name}, m/s"), exit.speed_m_s, 13.442_323, 1e-6 + 60.0 * rise_s);
        sheet.close(format!("time, {name}, s"), exit.time_s, 0.5 + 0.267_811, 1e-6 + rise_s);
    }
    sheet.because("the engine's usual steps on a rail");
    // k of FM-1's rocket, which takes 0.14 % off the speed here.
    let k = 1.503_301_17e-4;
    let aero = bare_aero(k / (0.5 * 1.225), 1.0);
    let mut drawn = bare(&aero, 0.1, 0.0);
    drawn.thrust = one_motor(&[(0.0, 12.0), (2.0, 12.0)]);
    on_rail(&mut drawn, 0.0, 0.9);
    let top_speed_squared = (12.0 - 0.1 * 9.80665) / k;
    let speed = (top_speed_squared * (1.0 - libm::exp(-2.0 * k * 0.9 / 0.1))).sqrt();
    let exit = ascent(&drawn, 1.0).rail_exit;
    sheet.close_relative("exit speed with drag, 0.1 kg, 12 N, 0.9 m, m/s", exit.speed_m_s, speed, 1e-6);
    sheet
}

fn rail_2_angle_of_attack_at_departure() -> Sheet {
    let mut sheet = Sheet::new(
        "RAIL-2",
        "angle of attack on leaving a vertical rail in a wind across it",
        Trust::B,
        "atan(w/v), the arithmetic behind the rule of leaving at four times the wind",
    );
    sheet.because("half a unit of the last printed digit");
    for (speed, wind, degrees, places) in
        [(40.0, 10.0, 14.036, 3), (30.0, 10.0, 18.435, 3), (15.85, 8.9408, 29.43, 2), (13.4, 4.4704, 18.45, 2)]
    {
        let aero = bare_aero(1e-3, 0.0);
        let mut drawn = bare(&aero, 1.0, 0.0);
        // Two metres to the speed: v² = 2 L (T/m - g).
        let thrust_n = 9.80665 + speed * speed / 4.0;
        drawn.thrust = one_motor(&[(0.0, thrust_n), (2.0, thrust_n)]);
        drawn.wind = WindTable::uniform(wind, 0.0);
        on_rail(&mut drawn, 0.0, 2.0);
        let found = ascent(&drawn, 1.0).rail_exit.angle_of_attack_rad.to_degrees();
        let half_a_unit = 0.5 * libm::pow(10.0, -f64::from(places));
        sheet.close(format!("at {speed} m/s in a wind of {wind} m/s, deg"), found, degrees, half_a_unit);
    }
    sheet
}
