//! Closed forms of vertical boost and coast, the rail, the weathervane and canopy descent, grade B.

use slowpoint_sim::aero::SlopeMoments;
use slowpoint_sim::air::AirTable;
use slowpoint_sim::flight::{Gravity, Rail, Start};
use slowpoint_sim::lanes::norm;
use slowpoint_sim::wind::{Descent, DriftTable, WindTable};
use slowpoint_tests::{ascent, bare, bare_aero, close, close_relative, one_motor};

/// FM-1: Fehskens and Malewicki's solution (TR-10, 1967; also Topics in Advanced Model Rocketry, 1973),
/// mass 0.1 kg, thrust 6 N for 1.7 s, diameter 25 mm, Cd 0.5, density 1.225, g 9.80665; confirmed with
/// DOP853 to 1e-11. The engine flies it with steps a tenth of its usual ones, as the tolerance of 1e-6 is
/// stated for steps of 0.01 s.
#[test]
fn fm_1_boost_coast_and_speed_around_apogee() {
    let area = core::f64::consts::PI * 0.025 * 0.025 / 4.0;
    let aero = bare_aero(area, 0.5);
    let mut drawn = bare(&aero, 0.1, 0.0);
    drawn.thrust = one_motor(&[(0.0, 6.0), (1.7, 6.0)]);
    let flight = ascent(&drawn, 10.0);
    let burnout = flight.path.at(1.7);
    close_relative("burnout speed", burnout.velocity_m_s[2], 79.623_381, 1e-6);
    close_relative("burnout height", burnout.position_m[2], 70.037_156, 1e-6);
    close_relative("apogee", flight.apogee_m, 295.866_982, 1e-6);
    close_relative("time of apogee", flight.apogee_s, 8.109_788, 1e-6);
    for (after, speed) in
        [(-3.0, 30.794_082), (-1.0, 9.855_127), (1.0, 9.758_741), (3.0, 28.184_328), (5.0, 43.782_169)]
    {
        let at = flight.path.at(flight.apogee_s + after);
        close_relative("speed at ejection", at.airspeed_m_s(&drawn.wind), speed, 1e-5);
    }
    for (after, drop) in [(1.0, 4.891_324), (3.0, 43.187_251), (5.0, 115.719_331)] {
        let at = flight.path.at(flight.apogee_s + after);
        close_relative("drop", flight.apogee_m - at.position_m[2], drop, 1e-5);
    }
    let end = flight.path.at(flight.path.end_s());
    close_relative("impact speed", norm(end.velocity_m_s), 61.994_678, 1e-5);
    close_relative("fall", flight.path.end_s() - flight.apogee_s, 8.354_456, 1e-5);
}

/// RAIL-1: v^2 = 2 L (T/m - g sin el), computed in closed form.
#[test]
fn rail_1_exit_speed() {
    for (mass, thrust, length, tilt_deg, speed, seconds) in [
        (2.5, 150.0, 1.8, 0.0_f64, 13.442_323, Some(0.267_811)),
        (2.5, 150.0, 1.8, 5.0, 13.447_320, None),
        (0.1, 12.0, 0.9, 0.0, 14.083_609, Some(0.127_808)),
    ] {
        let aero = bare_aero(1e-3, 0.0);
        let mut drawn = bare(&aero, mass, 0.0);
        drawn.thrust = one_motor(&[(0.0, thrust), (2.0, thrust)]);
        let tilt = tilt_deg.to_radians();
        drawn.start = Start::Rail {
            rail: Rail {
                direction: [libm::sin(tilt), 0.0, libm::cos(tilt)],
                forward_travel_m: length,
                last_travel_m: length,
                aft_guide_m: 0.9,
                friction: 0.0,
            },
            cg_height_m: 0.5,
        };
        let flight = ascent(&drawn, 1.0);
        close_relative("rail exit speed", flight.rail_exit.speed_m_s, speed, 1e-6);
        if let Some(seconds) = seconds {
            // Printed to six decimals.
            close("time on the rail", flight.rail_exit.time_s, seconds, 1e-6);
        }
    }
}

/// WC-1, perfect weathervane without gravity (own derivation, exact): the direction of the air-relative
/// velocity never changes, so at 50, 100 and 200 m/s of airspeed the path is 12.8397, 15.6756 and 17.0655 deg
/// upwind. A rigid body approaches this as it turns within a shorter way: the way is the lever of its tail (a
/// damped tail trails by it) and the wavelength of its pitching, so both shrink here.
#[test]
fn wc_1_weathervane() {
    let mut errors = Vec::new();
    let slope = 20.0;
    for lever in [0.4, 0.1, 0.025] {
        let mut aero = bare_aero(1e-3, 0.0);
        let tail = 0.5 + lever;
        aero.fins = SlopeMoments { zeroth_per_rad: slope, first_m: slope * tail, second_m2: slope * tail * tail };
        let mut drawn = bare(&aero, 1.0, 0.0);
        drawn.gravity = Gravity::constant(0.0);
        drawn.mass.dry_inertia_kg_m2 = 1e-3 * lever * lever;
        drawn.wind = WindTable::uniform(5.0, 0.0);
        drawn.thrust = one_motor(&[(0.0, 60.0), (5.0, 60.0)]);
        drawn.start = Start::Free(slowpoint_sim::flight::State {
            position: [0.0; 3],
            velocity: [0.0, 0.0, 15.0],
            nose: [0.0, 0.0, 1.0],
            spin: [0.0; 3],
        });
        let mut flight = ascent(&drawn, 1.0);
        flight.path.nodes.retain(|n| n.time_s < 4.5);
        let mut worst: f64 = 0.0;
        for (airspeed, expected_deg) in [(50.0, 12.8397), (100.0, 15.6756), (200.0, 17.0655)] {
            let n = flight.path.nodes.iter().find(|n| {
                let u = [n.velocity_m_s[0] - 5.0, n.velocity_m_s[1], n.velocity_m_s[2]];
                norm(u) >= airspeed
            });
            let v = n.map_or([0.0; 3], |n| n.velocity_m_s);
            let upwind = libm::atan2(-v[0], v[2]).to_degrees();
            worst = worst.max((upwind - expected_deg).abs());
        }
        errors.push(worst);
    }
    assert!(errors[0] > errors[1] && errors[1] > errors[2], "it approaches the weathervane: {errors:?}");
    assert!(errors[2] < 0.3, "and comes close: {errors:?} deg");
}

/// REC-1 to REC-3: steady descent V = sqrt(2 W / (rho CD0 S0)) (parachute research group page; Knacke).
#[test]
fn rec_descent_rates() {
    for (mass, diameter, rate) in [(0.1, 0.3, 5.4955), (0.5, 0.6, 6.1442), (2.0, 1.2, 6.1442)] {
        let area = 0.75 * core::f64::consts::PI * diameter * diameter / 4.0;
        let body = Descent { mass_kg: mass, drag_area_m2: area };
        close("descent rate", body.rate_m_s(1.225, 9.80665), rate, 1e-3);
    }
}

/// Drift at the local descent rate (reference closed forms, confirmed numerically): 5 m/s at sea level in
/// US76 air and a uniform wind of 4 m/s.
#[test]
fn drift_under_canopy() {
    let mass = 1.0;
    // The drag area that gives exactly 5 m/s at 1.225 kg/m^3.
    let area = 2.0 * mass * 9.80665 / (1.225 * 25.0);
    let body = Descent { mass_kg: mass, drag_area_m2: area };
    let air = AirTable::new(&slowpoint_sim::air::Column::over(0.0, 101_325.0, 288.15), 4000.0);
    let wind = WindTable::uniform(4.0, 0.0);
    let g = |_: f64| 9.80665;
    let table = DriftTable::new(&wind, &air, g);
    for (height, drift, seconds) in
        [(300.0, 238.2763, 59.5691), (1000.0, 780.9639, 195.2410), (3000.0, 2231.6327, 557.9082)]
    {
        let [t, east, _] = table.between(height, 0.0, &body, &wind, &air, g);
        close_relative("drift", east, drift, 1e-5);
        close_relative("time", t, seconds, 1e-5);
    }
}
