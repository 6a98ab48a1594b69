//! NASA/NESC atmospheric check cases: published trajectories of a sphere of 1 slug, 0.1963495 square feet and a drag
//! coefficient of 0.1, dropped from 30,000 ft or shot from the ground. The Earth here is flat and turns; what a round
//! one does otherwise is computed apart from the engine and added.

use slowpoint_sim::aero::Aero;
use slowpoint_sim::air::{AirTable, Column};
use slowpoint_sim::flight::{Drawn, Gravity, Start, State};
use slowpoint_sim::wind::WindTable;
use slowpoint_tests::sheet::{Sheet, Trust};
use slowpoint_tests::{EARTH_ROTATION_RAD_S as OMEGA, ascent, bare, bare_aero, larger};

slowpoint_tests::subject! { "NASA check cases":
    n1g_drop_without_air,
    n4_dropped_sphere,
    n4g_with_constant_gravity,
    n1_drop_over_a_turning_earth,
    n6_dropped_sphere_over_a_turning_earth,
    n7_dropped_sphere_in_wind,
    n7_less_n6_wind_increment,
    n9_shot_east,
    n10_shot_north,
    n10w_drift_to_the_west,
}

const NASA: &str = "NASA/TM-2015-218675 (NESC-RP-12-00770), trajectory files of simulation 04 in SI units, reproduced \
    with DOP853";
const DIGITS: &str = "as proposed with the values: printed digits and the engine's usual steps";
const FLAT: &str = "the computation apart from the engine gives the published values with curvature to 0.02 m and \
    0.002 m/s, 1e-5 of Mach (printed digits)";
const GRAVITY: &str = "published value and what curvature makes: the engine's gravity is an inverse square that agrees \
    with the reference field to 1e-5, 0.05 m and 0.005 m/s after 30 s";

const FEET: f64 = 0.3048;
const SPHERE_KG: f64 = 14.593_902_9;
const SPHERE_DRAG_AREA_M2: f64 = 0.1 * 0.018_241_465;

fn sphere(aero: &Aero) -> Drawn<'_> {
    let mut drawn = bare(aero, SPHERE_KG, 30_000.0 * FEET);
    drawn.air = AirTable::new(&Column::over(0.0, 101_325.0, 288.15), 10_000.0);
    drawn.along_flow_drag_area_m2 = SPHERE_DRAG_AREA_M2;
    drawn
}

/// Height and upward speed at 10, 20 and 30 s.
fn falls(sheet: &mut Sheet, drawn: &Drawn, rows: [(f64, f64, f64); 3]) {
    let flight = ascent(drawn, 1.0);
    for (t, altitude, up) in rows {
        let at = flight.path.at(t);
        sheet.close(format!("altitude at {t} s, m"), at.position_m[2], altitude, 0.01);
        sheet.close(format!("upward speed at {t} s, m/s"), at.velocity_m_s[2], up, 0.001);
    }
}

fn n1g_drop_without_air() -> Sheet {
    let mut sheet =
        Sheet::new("N1g", "case 1's drop with constant gravity, no air", Trust::B, "9144 m - 4.903325 m/s² t²");
    sheet.because(DIGITS);
    let aero = bare_aero(1.0, 0.0);
    let mut drawn = sphere(&aero);
    drawn.along_flow_drag_area_m2 = 0.0;
    falls(&mut sheet, &drawn, [(10.0, 8653.6675, -98.0665), (20.0, 7182.67, -196.133), (30.0, 4731.0075, -294.1995)]);
    sheet
}

fn n4_dropped_sphere() -> Sheet {
    let mut sheet = Sheet::new("N4", "case 4: dropped over a round Earth that does not turn", Trust::A, NASA);
    sheet.because(DIGITS);
    let aero = bare_aero(1.0, 0.0);
    let mut drawn = sphere(&aero);
    let radius = 6_371_007.180_9;
    // A flat Earth with gravity as an inverse square equals it to 1e-4 m.
    drawn.gravity = Gravity { surface_m_s2: 3.986_004_418e14 / (radius * radius), radius_m: radius };
    falls(
        &mut sheet,
        &drawn,
        [(10.0, 8656.7117, -96.987_00), (20.0, 7224.3672, -187.860_89), (30.0, 4947.3020, -264.293_58)],
    );
    sheet.because("printed digits");
    let flight = ascent(&drawn, 1.0);
    for (t, mach) in [(10.0, 0.317_66), (20.0, 0.603_34), (30.0, 0.823_96)] {
        let at = flight.path.at(t);
        let found = -at.velocity_m_s[2] / drawn.air.at(at.position_m[2]).1;
        sheet.close(format!("Mach number at {t} s"), found, mach, 1e-5);
    }
    sheet
}

fn n4g_with_constant_gravity() -> Sheet {
    let mut sheet = Sheet::new(
        "N4g",
        "case 4 with simpler gravity: the difference to N4 is that error and nothing else",
        Trust::B,
        "the case integrated with DOP853 apart from the engine",
    );
    sheet.because(DIGITS);
    let aero = bare_aero(1.0, 0.0);
    let mut drawn = sphere(&aero);
    falls(
        &mut sheet,
        &drawn,
        [(10.0, 8656.0036, -97.124_74), (20.0, 7221.7687, -188.089_50), (30.0, 4942.3277, -264.521_92)],
    );
    drawn.gravity = Gravity { surface_m_s2: 9.80665, radius_m: 6_356_766.0 };
    let flight = ascent(&drawn, 1.0);
    for (t, altitude, more) in [(10.0, 8656.7117, 0.674), (20.0, 7224.3672, 2.609), (30.0, 4947.3020, 5.505)] {
        let name = format!("altitude at {t} s with 9.80665 m/s² as an inverse square about 6356766 m, m");
        sheet.close(name, flight.path.at(t).position_m[2], altitude + more, 0.01);
    }
    sheet
}

/// A point mass at the equator, moving in the plane of up and east, or of up and north.
#[derive(Clone, Copy)]
struct Plane {
    north: bool,
    /// Height, m, and speed along and up, m/s, at first.
    from: [f64; 3],
    drag_area_m2: f64,
    wind_along_m_s: f64,
}

impl Plane {
    /// Height (m above the ellipsoid), way along the ground (m, at the radius there), speed along, speed up (m/s).
    /// `curved` keeps the terms v²/r and -v u/r that a round Earth has and a flat one has not; both have the rotation.
    /// Own fourth-order Runge-Kutta.
    fn after(&self, curved: bool, seconds: f64) -> [f64; 4] {
        // Radii of curvature of the ellipsoid at the equator, eastward and along the meridian.
        let radius = if self.north { 6_335_439.327 } else { 6_378_137.0 };
        let air = Column::over(0.0, 101_325.0, 288.15);
        let (mu, j2, re) = (3.986_004_418e14, 0.001_082_629_82, 6_378_137.0);
        let spin = if self.north { 0.0 } else { OMEGA };
        let rate = |s: [f64; 4]| -> [f64; 4] {
            let [h, _, v, u] = s;
            let (far, round) = (re + h, radius + h);
            let gravity = mu / (far * far) * (1.0 + 1.5 * j2 * (re / far) * (re / far)) - OMEGA * OMEGA * far;
            let through = v - self.wind_along_m_s;
            let drag = 0.5 * air.at(h).density_kg_m3 * self.drag_area_m2 / SPHERE_KG * libm::hypot(through, u);
            let (turn, shrink) = if curved { (v / round, radius / round) } else { (0.0, 1.0) };
            let turning = turn + 2.0 * spin;
            [u, v * shrink, -drag * through - u * turning, -drag * u - gravity + v * turning]
        };
        let [h, v, u] = self.from;
        let mut s = [h, 0.0, v, u];
        let steps = 3000;
        let dt = seconds / f64::from(steps);
        for _ in 0..steps {
            let add = |s: [f64; 4], k: [f64; 4], dt: f64| core::array::from_fn(|i| s[i] + k[i] * dt);
            let k1 = rate(s);
            let k2 = rate(add(s, k1, 0.5 * dt));
            let k3 = rate(add(s, k2, 0.5 * dt));
            let k4 = rate(add(s, k3, dt));
            s = core::array::from_fn(|i| s[i] + dt / 6.0 * (k1[i] + 2.0 * (k2[i] + k3[i]) + k4[i]));
        }
        s
    }

    /// The engine's sphere with the same start.
    fn drawn<'a>(&self, aero: &'a Aero) -> Drawn<'a> {
        let mut drawn = sphere(aero);
        drawn.gravity = Gravity::normal(0.0, 0.0);
        drawn.earth_rotation_rad_s = [OMEGA, 0.0];
        drawn.along_flow_drag_area_m2 = self.drag_area_m2;
        drawn.wind = WindTable::uniform(self.wind_along_m_s, 0.0);
        let [h, v, u] = self.from;
        let velocity = if self.north { [0.0, v, u] } else { [v, 0.0, u] };
        drawn.start = Start::Free(State { position: [0.0, 0.0, h], velocity, nose: [0.0, 0.0, 1.0], spin: [0.0; 3] });
        drawn
    }

    /// Altitude, way along, speed along, speed up and Mach number of a state.
    fn figures(&self, height_m: f64, along_m: f64, along_m_s: f64, up_m_s: f64) -> [f64; 5] {
        let air = Column::over(0.0, 101_325.0, 288.15).at(height_m);
        let mach = libm::hypot(along_m_s - self.wind_along_m_s, up_m_s) / air.speed_of_sound_m_s;
        [height_m, along_m, along_m_s, up_m_s, mach]
    }

    /// Published rows (time, altitude, way along, speed along, speed up, Mach number) held against the computation with
    /// curvature, and the engine against them plus what curvature makes. Without that it may be off by less than a
    /// bound.
    fn held(&self, sheet: &mut Sheet, finer: f64, uncorrected: (f64, &'static str), rows: [[f64; 6]; 3]) {
        const NAMES: [(&str, &str); 5] = [
            ("altitude", ", m"),
            ("way along", ", m"),
            ("speed along", ", m/s"),
            ("speed up", ", m/s"),
            ("Mach number", ""),
        ];
        const PRINTED: [f64; 5] = [0.02, 0.02, 0.002, 0.002, 1e-5];
        const ENGINE: [f64; 5] = [0.05, 0.05, 0.005, 0.005, 3e-5];
        let aero = bare_aero(1.0, 0.0);
        let flight = ascent(&self.drawn(&aero), finer);
        let axis = usize::from(self.north);
        let mut most: f64 = 0.0;
        for [t, published @ ..] in rows {
            let [round, flat] = [true, false].map(|curved| {
                let [h, way, v, u] = self.after(curved, t);
                self.figures(h, way, v, u)
            });
            let at = flight.path.at(t);
            let (place, velocity) = (at.position_m, at.velocity_m_s);
            let engine = self.figures(place[2], place[axis], velocity[axis], velocity[2]);
            for (k, (name, unit)) in NAMES.into_iter().enumerate() {
                sheet.because(FLAT);
                let what = format!("apart from the engine, round: {name} at {t} s{unit}");
                sheet.close(what, round[k], published[k], PRINTED[k]);
                sheet.because(GRAVITY);
                let what = format!("engine, flat: {name} at {t} s{unit}");
                sheet.close(what, engine[k], published[k] + flat[k] - round[k], ENGINE[k]);
                most = larger(most, (engine[k] - published[k]).abs());
            }
        }
        sheet.because(uncorrected.1);
        sheet.at_most("engine against published without that, all rows, m and m/s", most, uncorrected.0);
    }
}

const DROP: Plane =
    Plane { north: false, from: [30_000.0 * FEET, 0.0, 0.0], drag_area_m2: SPHERE_DRAG_AREA_M2, wind_along_m_s: 0.0 };
const SMALL: (f64, &str) = (0.05, "a slow drop feels no curvature: a way of 15 m is 0.03 m longer at height");

fn n1_drop_over_a_turning_earth() -> Sheet {
    let mut sheet =
        Sheet::new("N1", "case 1: dropped without air at the equator of a turning ellipsoid", Trust::A, NASA);
    let plane = Plane { drag_area_m2: 0.0, ..DROP };
    plane.held(
        &mut sheet,
        1.0,
        SMALL,
        [
            [10.0, 8656.3822, 0.2367, 0.071_12, -97.526_04, 0.319_43],
            [20.0, 7193.3799, 1.8943, 0.284_53, -195.081_87, 0.626_27],
            [30.0, 4754.5460, 6.3959, 0.640_39, -292.697_33, 0.910_29],
        ],
    );
    sheet
}

fn n6_dropped_sphere_over_a_turning_earth() -> Sheet {
    let mut sheet = Sheet::new("N6", "case 6: as case 4 over a turning ellipsoid", Trust::A, NASA);
    DROP.held(
        &mut sheet,
        1.0,
        SMALL,
        [
            [10.0, 8658.6923, 0.2350, 0.070_27, -96.594_78, 0.316_39],
            [20.0, 7232.0406, 1.8381, 0.270_16, -187.128_71, 0.601_05],
            [30.0, 4963.4985, 5.9422, 0.561_73, -263.350_52, 0.821_19],
        ],
    );
    sheet
}

fn n7_dropped_sphere_in_wind() -> Sheet {
    let mut sheet = Sheet::new("N7", "case 7: as case 6 in a steady wind of 20 ft/s from the west", Trust::A, NASA);
    let plane = Plane { wind_along_m_s: 20.0 * FEET, ..DROP };
    plane.held(
        &mut sheet,
        1.0,
        SMALL,
        [
            [10.0, 8658.7168, 0.5318, 0.158_34, -96.589_71, 0.316_97],
            [20.0, 7232.1409, 4.2262, 0.635_58, -187.118_77, 0.601_28],
            [30.0, 4963.7171, 14.3092, 1.435_11, -263.337_13, 0.821_28],
        ],
    );
    sheet
}

fn n7_less_n6_wind_increment() -> Sheet {
    let mut sheet = Sheet::new(
        "N7-N6",
        "what the wind of case 7 adds: the Earth's rotation cancels, so it is left out",
        Trust::A,
        NASA,
    );
    sheet.because("as proposed with the values; a flat model without rotation is 0.04 % off");
    let aero = bare_aero(1.0, 0.0);
    let mut drawn = sphere(&aero);
    drawn.gravity = Gravity::normal(0.0, 0.0);
    drawn.wind = WindTable::uniform(20.0 * FEET, 0.0);
    let flight = ascent(&drawn, 1.0);
    for (t, east, speed) in [(10.0, 0.2972, 0.088_07), (20.0, 2.3908, 0.365_42), (30.0, 8.3735, 0.873_39)] {
        let at = flight.path.at(t);
        sheet.close_relative(format!("eastward displacement at {t} s, m"), at.position_m[0], east, 1e-3);
        sheet.close_relative(format!("eastward speed at {t} s, m/s"), at.velocity_m_s[0], speed, 1e-3);
    }
    drawn.gravity = Gravity::constant(9.80665);
    let flight = ascent(&drawn, 1.0);
    for (t, east) in [(10.0, 0.2988), (20.0, 2.4046), (30.0, 8.4232)] {
        let name = format!("displacement with constant gravity (integrated apart) at {t} s, m");
        sheet.close_relative(name, flight.path.at(t).position_m[0], east, 1e-3);
    }
    sheet
}

const SHOT: Plane = Plane {
    north: false,
    from: [0.0, 1000.0 * FEET, 1000.0 * FEET],
    drag_area_m2: SPHERE_DRAG_AREA_M2,
    wind_along_m_s: 0.0,
};
const CURVATURE: (f64, &str) = (8.0, "v²/r and v u/r are up to 0.015 m/s²: some 5 m of 7 km after 30 s");

fn n9_shot_east() -> Sheet {
    let mut sheet = Sheet::new("N9", "case 9: shot east at 1000 ft/s along and up from the equator", Trust::A, NASA);
    SHOT.held(
        &mut sheet,
        4.0,
        CURVATURE,
        [
            [10.0, 2227.0535, 2674.5208, 239.668_44, 152.424_10, 0.856_45],
            [20.0, 3177.2212, 4897.0095, 207.881_72, 41.145_21, 0.646_32],
            [30.0, 3097.0697, 6862.6073, 186.155_56, -55.396_86, 0.591_79],
        ],
    );
    sheet
}

fn n10_shot_north() -> Sheet {
    let mut sheet = Sheet::new("N10", "case 10: shot north at 1000 ft/s along and up from the equator", Trust::A, NASA);
    let plane = Plane { north: true, ..SHOT };
    plane.held(
        &mut sheet,
        4.0,
        CURVATURE,
        [
            [10.0, 2225.1703, 2676.1629, 239.950_95, 152.070_70, 0.856_58],
            [20.0, 3170.4229, 4901.9397, 208.228_13, 40.525_14, 0.646_94],
            [30.0, 3082.9927, 6870.6019, 186.396_06, -56.219_29, 0.593_11],
        ],
    );
    sheet
}

fn n10w_drift_to_the_west() -> Sheet {
    let mut sheet =
        Sheet::new("N10w", "case 10 sideways: nothing but climbing turns a northward shot there", Trust::A, NASA);
    sheet.because(
        "curvature changes the climb by under 1 %, and turning north of the equator, 2 omega sin(lat) v over 7 km, \
        adds 0.02 m",
    );
    let aero = bare_aero(1.0, 0.0);
    let flight = ascent(&Plane { north: true, ..SHOT }.drawn(&aero), 4.0);
    for (t, east) in [(10.0, -1.6629), (20.0, -5.1197), (30.0, -8.7359)] {
        let found = flight.path.at(t).position_m[0];
        sheet.close(format!("eastward displacement at {t} s, m"), found, east, 0.02 + 0.01 * -east);
    }
    sheet
}
