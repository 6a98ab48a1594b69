//! NASA/NESC atmospheric check cases (NASA/TM-2015-218675), grade A: published trajectories of a sphere of
//! 1 slug, S 0.1963495 ft^2, CD 0.1, dropped from 30,000 ft.

use slowpoint_sim::air::{AirTable, Column};
use slowpoint_sim::flight::{Drawn, Gravity};
use slowpoint_sim::wind::WindTable;
use slowpoint_tests::{ascent, bare, bare_aero, close, close_relative};

const FEET: f64 = 0.3048;

fn sphere(aero: &slowpoint_sim::aero::Aero) -> Drawn<'_> {
    let mut drawn = bare(aero, 14.593_902_9, 30_000.0 * FEET);
    drawn.air = AirTable::new(&Column::over(0.0, 101_325.0, 288.15), 10_000.0);
    drawn.along_flow_drag_area_m2 = 0.1 * 0.018_241_465;
    drawn
}

/// N4: case 4, round non-rotating Earth, which a flat one with inverse-square gravity equals to 1e-4 m.
/// Tolerances 0.01 m and 0.001 m/s as proposed with the values.
#[test]
fn case_4_dropped_sphere() {
    let aero = bare_aero(1.0, 0.0);
    let mut drawn = sphere(&aero);
    let radius = 6_371_007.180_9;
    drawn.gravity = Gravity { surface_m_s2: 3.986_004_418e14 / (radius * radius), radius_m: radius };
    let flight = ascent(&drawn, 1.0);
    for (t, altitude, up) in
        [(10.0, 8656.7117, -96.987_00), (20.0, 7224.3672, -187.860_89), (30.0, 4947.3020, -264.293_58)]
    {
        let at = flight.path.at(t);
        close("altitude", at.position_m[2], altitude, 0.01);
        close("speed", at.velocity_m_s[2], up, 0.001);
    }
}

/// N4g: the same with constant gravity (computed): the difference to NASA is that error and nothing else.
#[test]
fn case_4_with_constant_gravity() {
    let aero = bare_aero(1.0, 0.0);
    let flight = ascent(&sphere(&aero), 1.0);
    for (t, altitude, up) in
        [(10.0, 8656.0036, -97.124_74), (20.0, 7221.7687, -188.089_50), (30.0, 4942.3277, -264.521_92)]
    {
        let at = flight.path.at(t);
        close("altitude", at.position_m[2], altitude, 0.01);
        close("speed", at.velocity_m_s[2], up, 0.001);
    }
}

/// N7: case 7 less case 6, a steady wind of 20 ft/s from the west; the Earth's rotation cancels. Published
/// increments, tolerance 0.1 %.
#[test]
fn case_7_minus_6_wind_increment() {
    let aero = bare_aero(1.0, 0.0);
    let mut drawn = sphere(&aero);
    drawn.gravity = Gravity::normal(0.0, 0.0);
    drawn.wind = WindTable::uniform(20.0 * FEET, 0.0);
    let flight = ascent(&drawn, 1.0);
    for (t, east, speed) in [(10.0, 0.2972, 0.088_07), (20.0, 2.3908, 0.365_42), (30.0, 8.3735, 0.873_39)] {
        let at = flight.path.at(t);
        close_relative("eastward displacement", at.position_m[0], east, 1e-3);
        close_relative("eastward speed", at.velocity_m_s[0], speed, 1e-3);
    }
}
