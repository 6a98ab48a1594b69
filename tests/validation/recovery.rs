//! Under what opens: descent rates, filling, drift, and openings on the way up.

use core::f64::consts::PI;
use slowpoint_sim::air::{AirTable, Column};
use slowpoint_sim::case::{Case, Device};
use slowpoint_sim::flight::{Canopy, Drawn, Falling, Gravity, Landing, Moment, Point, Stages, descend};
use slowpoint_sim::wind::{Descent, DriftTable, Layer, Profile, SurfaceLaw, SurfaceWind, WindErrors, WindTable};
use slowpoint_tests::sheet::{Sheet, Trust};
use slowpoint_tests::{EARTH_ROTATION_RAD_S as OMEGA, bare, bare_aero, rockets};

slowpoint_tests::subject! { "Descent, drift and opening":
    rec_1_descent_rates,
    rec_6_nose_down,
    rec_7_spent_motors,
    drift_1_through_the_laws,
    drift_2_through_a_profile,
    drift_3_through_thinning_air,
    up_1_opened_on_the_way_up,
    main_1_opens_at_its_height,
    low_1_opened_too_low,
    opn_1_filling_time,
    opn_2_opening_force,
    opn_3_published_curve,
    dsc_1_whole_descents,
}

const G: f64 = 9.80665;
const FEET: f64 = 0.3048;

/// Area of a round canopy times its coefficient.
fn drag_area_m2(coefficient: f64, diameter_m: f64) -> f64 {
    coefficient * 0.25 * PI * diameter_m * diameter_m
}

fn at_once(drag_area_m2: f64) -> Canopy {
    Canopy { drag_area_m2, fill_path_m: 0.0, fill_power: 2 }
}

fn at(height_m: f64, up_m_s: f64) -> Moment {
    Moment { time_s: 0.0, position_m: [0.0, 0.0, height_m], velocity_m_s: [0.0, 0.0, up_m_s] }
}

/// Comes down from a moment under one canopy, or two.
fn down(drawn: &Drawn, first: Canopy, main: Option<(Canopy, f64)>, mass_kg: f64, from: &Moment) -> Landing {
    let drift = DriftTable::new(&drawn.wind, &drawn.air, |z| drawn.gravity.at(z), f64::INFINITY);
    descend(drawn, &Stages { first, main, bare_area_m2: 0.0, mass_kg, seen_m2: 0.0 }, from, &drift)
}

fn rec_1_descent_rates() -> Sheet {
    let mut sheet = Sheet::new(
        "REC-1",
        "steady descent of round canopies, by formula and at the end of a whole descent",
        Trust::B,
        "V = sqrt(2 W / (rho CD S)) (a parachute research group's page; Knacke, NWC TP 6575); REC-5 is published as a diameter, 0.435 m for 3 m/s, computed 0.4347",
    );
    sheet.because("as proposed with the values");
    for (case, mass, diameter, density, gravity, rate) in [
        ("REC-1", 0.1, 0.3, 1.225, G, 5.4955),
        ("REC-2", 0.5, 0.6, 1.225, G, 6.1442),
        ("REC-3", 2.0, 1.2, 1.225, G, 6.1442),
        ("REC-5", 0.0623, 0.4347, 1.22, 9.81, 3.0),
    ] {
        let area = drag_area_m2(0.75, diameter);
        sheet.close(
            format!("{case}: rate, m/s"),
            Descent { mass_kg: mass, drag_area_m2: area }.rate_m_s(density, gravity),
            rate,
            1e-3,
        );
        let aero = bare_aero(1e-3, 0.0);
        let mut drawn = bare(&aero, mass, 0.0);
        (drawn.air, drawn.gravity) = (AirTable::uniform(density, 340.0), Gravity::constant(gravity));
        let landing = down(&drawn, at_once(area), None, mass, &at(100.0, 0.0));
        sheet.holds(format!("{case}: slowed down before the ground"), landing.slowed);
        sheet.close(format!("{case}: downward at the ground, m/s"), landing.vertical_speed_m_s, rate, 1e-3);
        sheet.close(format!("{case}: speed at the ground, m/s"), landing.speed_m_s, rate, 1e-3);
    }
    sheet
}

fn rec_7_spent_motors() -> Sheet {
    let mut sheet = Sheet::new(
        "REC-7",
        "spent motors under the least canopy and streamer allowed",
        Trust::B,
        "US Model Rocket Sporting Code 9.2: 5 cm²/g of parachute, 10 cm²/g of streamer; with coefficients of 0.75 and \
        0.3 computed as 6.53 and 7.3 m/s",
    );
    sheet.because("half a unit of the last printed digit");
    for (what, area_m2_per_kg, coefficient, rate, tolerance) in
        [("parachute", 0.5, 0.75, 6.53, 0.005), ("streamer", 1.0, 0.3, 7.3, 0.05)]
    {
        let body = Descent { mass_kg: 0.02, drag_area_m2: 0.02 * area_m2_per_kg * coefficient };
        sheet.close(format!("{what}, m/s"), body.rate_m_s(1.225, G), rate, tolerance);
    }
    sheet
}

fn rec_6_nose_down() -> Sheet {
    let mut sheet = Sheet::new(
        "REC-6",
        "5 lbf, 4 in of body, nose down",
        Trust::B,
        "a parachute research group's page: 253 ft/s with a coefficient of 0.75 at 0.0023769 slug/ft³, recomputed 253.5",
    );
    sheet.because("as proposed with the value");
    let body = Descent { mass_kg: 5.0 * 4.448_222 / G, drag_area_m2: drag_area_m2(0.75, 4.0 * 0.0254) };
    let density = 0.002_376_9 * 14.593_902_937 / (FEET * FEET * FEET);
    sheet.close("descent rate, ft/s", body.rate_m_s(density, G) / FEET, 253.5, 1.0);
    sheet
}

/// The canopy of a case: 0.6 m across, 8 diameters to fill.
fn club_canopy() -> Canopy {
    let mut inputs = rockets::club();
    inputs.recovery.first =
        Device::Parachute { diameter_m: 0.6, drag_coefficient: Some(0.75), fill_constant: Some(8.0) };
    Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}")).recovery.first
}

/// One Runge-Kutta step of this file's own over the model's rates.
fn step(falling: &Falling, s: &Point, dt: f64) -> Point {
    let add = |s: &Point, k: &Point, dt: f64| -> Point { core::array::from_fn(|i| s[i] + k[i] * dt) };
    let k1 = falling.rate(s);
    let k2 = falling.rate(&add(s, &k1, 0.5 * dt));
    let k3 = falling.rate(&add(s, &k2, 0.5 * dt));
    let k4 = falling.rate(&add(s, &k3, dt));
    core::array::from_fn(|i| s[i] + dt / 6.0 * (k1[i] + 2.0 * (k2[i] + k3[i]) + k4[i]))
}

fn opn_1_filling_time() -> Sheet {
    let mut sheet = Sheet::new(
        "OPN-1",
        "filling time of 0.6 m at 15 m/s, 8 diameters, and how the pull grows",
        Trust::FromMemory,
        "Knacke: n D / v is 0.320 s; solid round canopies grow with the square of the path",
    );
    sheet.because("a mass so great that its speed does not change");
    let aero = bare_aero(1e-3, 0.0);
    let mut drawn = bare(&aero, 1.0, 0.0);
    drawn.gravity = Gravity::constant(0.0);
    let canopy = club_canopy();
    let falling = Falling { parts: &drawn, canopy, bare_area_m2: 0.0, mass_kg: 1e12 };
    let start: Point = [0.0, 0.0, 1000.0, 15.0, 0.0, 0.0, 0.0];
    let pull = |s: &Point| -falling.rate(s)[3] * 1e12;
    let full = 0.5 * 1.225 * 225.0 * drag_area_m2(0.75, 0.6);
    for (seconds, share) in [(0.08, 0.0625), (0.16, 0.25), (0.32, 1.0), (0.5, 1.0)] {
        let s = step(&falling, &start, seconds);
        sheet.close_relative(format!("share of the full pull after {seconds} s"), pull(&s) / full, share, 1e-9);
    }
    let just_before = pull(&step(&falling, &start, 0.32 - 2e-9)) / full;
    sheet.holds("not full 2 ns before 0.320 s", just_before < 1.0 - 1e-9);
    sheet.close_relative("filling time, s", canopy.fill_path_m / 15.0, 0.320, 1e-9);
    sheet
}

/// Largest pull over the full one at the first speed, through the model's rates: as the model has it, growing with the
/// path, and growing with time.
fn largest_pulls(falling: &Falling, speed: f64) -> (f64, f64) {
    let full = 0.5 * 1.225 * speed * speed * falling.canopy.drag_area_m2;
    let pull = |s: &Point| -falling.rate(s)[3] * falling.mass_kg / full;
    let (mut path, mut time): (Point, Point) = ([0.0; 7], [0.0; 7]);
    (path[2], path[3], time[2], time[3]) = (1000.0, speed, 1000.0, speed);
    let (mut most_by_path, mut most_by_time) = (0.0_f64, 0.0_f64);
    // The same steps of a thousandth of the filling time at every speed; the top of the pull is flat.
    let dt = 0.001 * falling.canopy.fill_path_m / speed;
    for k in 0..3000 {
        path = step(falling, &path, dt);
        most_by_path = most_by_path.max(pull(&path));
        // The clock in place of the path: halfway through the step, so that Euler's step is of second order.
        time[6] = speed * (f64::from(k) + 0.5) * dt;
        let half = falling.rate(&time)[3] * 0.5 * dt;
        let middle: Point = core::array::from_fn(|i| time[i] + if i == 3 { half } else { 0.0 });
        time[3] += falling.rate(&middle)[3] * dt;
        time[6] = speed * f64::from(k + 1) * dt;
        most_by_time = most_by_time.max(pull(&time));
    }
    (most_by_path, most_by_time)
}

fn opn_3_published_curve() -> Sheet {
    let mut sheet = Sheet::new(
        "OPN-3",
        "the same by time over A, for areas that grow in proportion to time and to its square",
        Trust::B,
        "Pflanz's curve in Knacke, NWC TP 6575, as digitised points, and the closed form: with t = (j (j+1) A / \
        (j+2))^(1/(j+1)), X1 = t^j / (1 + t^(j+1) / ((j+1) A))² if t <= 1, else 1 / (1 + 1 / ((j+1) A))²; towards 1 \
        for a great mass",
    );
    let aero = bare_aero(1e-3, 0.0);
    let mut drawn = bare(&aero, 1.0, 0.0);
    drawn.gravity = Gravity::constant(0.0);
    let pull = |fill_power: u8, a: f64| {
        let canopy = Canopy { fill_power, ..club_canopy() };
        let mass_kg = 0.5 * a * canopy.drag_area_m2 * 1.225 * canopy.fill_path_m;
        largest_pulls(&Falling { parts: &drawn, canopy, bare_area_m2: 0.0, mass_kg }, 15.0).1
    };
    for (power, a, figure, exact) in [
        (1, 0.05, 0.103, 0.103),
        (1, 0.1, 0.148, 0.145),
        (1, 0.2, 0.212, 0.205),
        (1, 0.5, 0.341, 0.325),
        (1, 1.0, 0.491, 0.459),
        (1, 2.0, 0.665, 0.640),
        (1, 5.0, 0.833, 0.826),
        (1, 10.0, 0.932, 0.907),
        (2, 0.05, 0.072, 0.079),
        (2, 0.1, 0.121, 0.125),
        (2, 0.2, 0.205, 0.199),
        (2, 0.5, 0.396, 0.367),
        (2, 1.0, 0.593, 0.5625),
        (2, 2.0, 0.769, 0.735),
        (2, 5.0, 0.913, 0.879),
        (2, 10.0, 0.972, 0.937),
    ] {
        let found = pull(power, a);
        sheet.because("half a unit of the last printed digit");
        sheet.close(format!("closed form, power {power}, A {a}"), found, exact, 5e-4);
        sheet.because("the digitised curve strays from its own closed form by 8 % (power 1) and 10 % (power 2)");
        let share = if power == 1 { 0.08 } else { 0.10 };
        sheet.close_relative(format!("published curve, power {power}, A {a}"), found, figure, share);
    }
    sheet.because("as proposed with the value");
    sheet.close("power 2, A 100", pull(2, 100.0), 0.99337, 1e-5);
    sheet
}

fn opn_2_opening_force() -> Sheet {
    let mut sheet = Sheet::new(
        "OPN-2",
        "largest pull of that canopy on 0.5 kg over the full one at the first speed, no gravity",
        Trust::B,
        "Pflanz's law in closed form beside its published curve: A = 2 m / (CD S rho n D), X1 = (1 + 1/3A)^-2 where the area grows as time squared; where it grows as the path squared, as flights here do it, A^(2/3) e^(-2/3) (own derivation), a tenth gentler",
    );
    sheet.because("as proposed with the values; the same at every speed, as the pull grows with its square");
    let aero = bare_aero(1e-3, 0.0);
    let mut drawn = bare(&aero, 1.0, 0.0);
    drawn.gravity = Gravity::constant(0.0);
    let canopy = club_canopy();
    let falling = Falling { parts: &drawn, canopy, bare_area_m2: 0.0, mass_kg: 0.5 };
    let a = 2.0 * 0.5 / (canopy.drag_area_m2 * 1.225 * canopy.fill_path_m);
    sheet.close("A", a, 0.80199, 1e-5);
    // dv/ds = -v s^2 / A, so the pull is s^2 exp(-2 s^3 / 3A), greatest at s^3 = A.
    let by_path = libm::pow(a, 2.0 / 3.0) * libm::exp(-2.0 / 3.0);
    for speed in [10.0, 15.0, 20.0, 30.0] {
        let (path, time) = largest_pulls(&falling, speed);
        sheet.close(format!("X1 with path, {speed} m/s"), path, by_path, 1e-5);
        sheet.close(format!("X1 with time, {speed} m/s"), time, 0.49900, 1e-5);
    }
    sheet
}

/// A wind of a law on fine nodes: neighbours 0.4 % apart, where straight lines are good to 2e-6.
fn fine(speed: impl Fn(f64) -> f64, from_m: f64) -> WindTable {
    let mut nodes = vec![[0.0; 3]];
    let mut z = from_m;
    while z < 300.0 {
        nodes.push([z, speed(z), 0.0]);
        z *= 1.004;
    }
    nodes.push([300.0, speed(300.0), 0.0]);
    WindTable::new(nodes)
}

fn drift_1_through_the_laws() -> Sheet {
    let mut sheet = Sheet::new(
        "DRIFT-1",
        "drift at 5 m/s from 300 m in air of one density, wind 4 m/s at 10 m",
        Trust::B,
        "integrals: w h / V; 1/7 power law; logarithmic law over 0.03 m; confirmed numerically",
    );
    sheet.because("nodes 0.4 % apart");
    let body = Descent { mass_kg: 1.0, drag_area_m2: 2.0 * G / (1.225 * 25.0) };
    let air = AirTable::uniform(1.225, 340.294);
    let g = |_: f64| G;
    let power = |z: f64| 4.0 * libm::pow(z / 10.0, 1.0 / 7.0);
    let log = |z: f64| 4.0 * (libm::log(z / 0.03) / libm::log(10.0 / 0.03)).max(0.0);
    for (what, wind, drift) in [
        ("uniform", WindTable::uniform(4.0, 0.0), 240.0),
        ("power law", fine(power, 1e-6), 341.378855),
        ("log law", fine(log, 0.03), 339.207641),
    ] {
        let found = DriftTable::new(&wind, &air, g, 300.0).between(300.0, 0.0, &body, &wind, &air, g);
        let [east, north] = found.air_m;
        sheet.close_relative(format!("{what}: drift, m"), east, drift, 1e-5);
        sheet.close_relative(format!("{what}: time, s"), found.seconds, 60.0, 1e-9);
        sheet.close(format!("{what}: drift across, m"), north, 0.0, 1e-12);
    }
    sheet
}

fn drift_3_through_thinning_air() -> Sheet {
    let mut sheet = Sheet::new(
        "DRIFT-3",
        "drift in a uniform wind of 4 m/s at the local descent rate, 5 m/s at sea level",
        Trust::B,
        "integral of 4 / (5 sqrt(1.225/rho)) through US Standard Atmosphere 1976, confirmed numerically",
    );
    sheet.because("the table of the air is good to 2e-8, its integral over wind segments to 1e-5");
    let body = Descent { mass_kg: 1.0, drag_area_m2: 2.0 * G / (1.225 * 25.0) };
    let air = AirTable::new(&Column::over(0.0, 101_325.0, 288.15), 4000.0);
    let wind = WindTable::uniform(4.0, 0.0);
    let table = DriftTable::new(&wind, &air, |_| G, f64::INFINITY);
    for (height, drift, seconds) in
        [(300.0, 238.2763, 59.5691), (1000.0, 780.9639, 195.2410), (3000.0, 2231.6327, 557.9082)]
    {
        let found = table.between(height, 0.0, &body, &wind, &air, |_| G);
        sheet.close_relative(format!("drift from {height} m, m"), found.air_m[0], drift, 1e-5);
        sheet.close_relative(format!("time from {height} m, s"), found.seconds, seconds, 1e-5);
    }
    sheet
}

fn drift_2_through_a_profile() -> Sheet {
    let mut sheet = Sheet::new(
        "DRIFT-2",
        "the same through the profile a flight gets: the law up to 200 m, held above",
        Trust::B,
        "the same integrals cut at 200 m, where EN 1991-1-4 ends the law",
    );
    sheet.because("as the model states for its nodes");
    let none = WindErrors {
        component_sd_m_s: 0.0,
        direction_sd_rad: 0.0,
        correlation_length_m: 500.0,
        growth_above_top_per_s: 0.0,
    };
    let body = Descent { mass_kg: 1.0, drag_area_m2: 2.0 * G / (1.225 * 25.0) };
    let air = AirTable::uniform(1.225, 340.294);
    let g = |_: f64| G;
    let growth = libm::pow(20.0, 1.0 / 7.0);
    let (whole, ten) = (libm::log(200.0 / 0.03), libm::log(10.0 / 0.03));
    for (law, drift) in [
        (SurfaceLaw::Power { exponent: 1.0 / 7.0 }, 0.8 * growth * (0.875 * 200.0 + 100.0)),
        (SurfaceLaw::Log { roughness_m: 0.03 }, 0.8 / ten * (200.0 * (whole - 1.0) + 0.03 + 100.0 * whole)),
    ] {
        let surface = SurfaceWind {
            speed_m_s: 4.0,
            direction: slowpoint_sim::wind::Direction::From(1.5 * PI),
            measuring_height_m: 10.0,
            gust_m_s: None,
        };
        let layers: [Layer; 0] = [];
        let wind = Profile::new(Some(surface), &layers, law, none).map(|p| p.mean());
        let wind = wind.unwrap_or_else(|| panic!("a surface wind is enough"));
        let found = DriftTable::new(&wind, &air, g, 300.0).between(300.0, 0.0, &body, &wind, &air, g);
        sheet.close_relative(format!("{law:?}: drift, m"), found.air_m[0], drift, 0.005);
    }
    sheet
}

fn up_1_opened_on_the_way_up() -> Sheet {
    let mut sheet = Sheet::new(
        "UP-1",
        "a canopy opened while climbing goes up, over and down",
        Trust::B,
        "vertical motion with quadratic drag: rise V²/2g ln(1 + v²/V²) in V/g atan(v/V), fall of h in V/g acosh(exp(g h/V²)), V the descent rate",
    );
    sheet.because("it rides from within 1 % of V on, and steps are a quarter of the time constant");
    let (mass, area) = (0.5, drag_area_m2(0.75, 0.6));
    let rate = Descent { mass_kg: mass, drag_area_m2: area }.rate_m_s(1.225, G);
    let aero = bare_aero(1e-3, 0.0);
    let drawn = bare(&aero, mass, 0.0);
    for (height, up) in [(100.0, 30.0), (40.0, 10.0), (200.0, 80.0)] {
        let landing = down(&drawn, at_once(area), None, mass, &at(height, up));
        let ratio: f64 = up / rate;
        let rise = 0.5 * rate * rate / G * libm::log(1.0 + ratio * ratio);
        let x = libm::exp(G * (height + rise) / (rate * rate));
        let seconds = rate / G * (libm::atan(ratio) + libm::acosh(x));
        sheet.close(
            format!("time to the ground, opened at {height} m and {up} m/s up, s"),
            landing.time_s,
            seconds,
            0.02,
        );
        sheet.close(
            format!("speed at the ground, opened at {height} m and {up} m/s up, m/s"),
            landing.vertical_speed_m_s,
            rate,
            0.01,
        );
        let climbing = Falling { parts: &drawn, canopy: at_once(area), bare_area_m2: 0.0, mass_kg: mass };
        let (top_m, top_s) = climbing.highest(&at(height, up));
        sheet.because("of a rise of some metres in steps of a quarter of the time constant");
        sheet.close(format!("highest point, opened at {height} m and {up} m/s up, m"), top_m, height + rise, 0.02);
        sheet.because("the speed falls evenly within the last step");
        sheet.close(
            format!("time of the highest point, opened at {height} m and {up} m/s up, s"),
            top_s,
            rate / G * libm::atan(ratio),
            0.02,
        );
        let sooner = down(&drawn, at_once(area), None, mass, &at(height, 0.0)).time_s;
        sheet.holds(format!("later than opened at {height} m at rest"), landing.time_s > sooner);
    }
    // One that fills on the way: the model's own rates in steps of a millisecond.
    let filling = Falling { parts: &drawn, canopy: club_canopy(), bare_area_m2: 1e-3, mass_kg: mass };
    let (mut s, mut seconds, dt) = ([0.0, 0.0, 100.0, 3.0, 0.0, 25.0, 0.0], 0.0, 1e-3);
    while s[5] > 0.0 {
        (s, seconds) = (step(&filling, &s, dt), seconds + dt);
    }
    let (top_m, top_s) = filling.highest(&Moment { velocity_m_s: [3.0, 0.0, 25.0], ..at(100.0, 0.0) });
    sheet.close("highest point while it fills, m", top_m, s[2], 0.02);
    sheet.close("time of the highest point while it fills, s", top_s, seconds, 0.02);
    // While it climbs, drag and gravity both pull down.
    let falling = Falling { parts: &drawn, canopy: at_once(area), bare_area_m2: 0.0, mass_kg: mass };
    let pulled_down = falling.rate(&[0.0, 0.0, 100.0, 0.0, 0.0, 30.0, 0.0])[5] < -G;
    sheet.holds("drag and gravity both pull down while it climbs", pulled_down);
    sheet
}

fn main_1_opens_at_its_height() -> Sheet {
    let mut sheet = Sheet::new(
        "MAIN-1",
        "a drogue to the height of the main, then both",
        Trust::B,
        "fall from one rate onto another: v = V coth(g (t + t0)/V), h = V²/g ln(sinh(g (t + t0)/V) / sinh(g t0/V))",
    );
    sheet.because("it rides from within 1 % of the rate");
    let mass = 2.0;
    let (small, large) = (drag_area_m2(0.75, 0.4), drag_area_m2(0.75, 1.5));
    let rate = |area| Descent { mass_kg: mass, drag_area_m2: area }.rate_m_s(1.225, G);
    let (w1, both) = (rate(small), rate(small + large));
    let aero = bare_aero(1e-3, 0.0);
    let mut drawn = bare(&aero, mass, 0.0);
    drawn.wind = WindTable::uniform(0.0, 5.0);
    for main_m in [60.0, 150.0, 300.0] {
        let from = Moment { velocity_m_s: [0.0, 5.0, -w1], ..at(600.0, -w1) };
        let landing = down(&drawn, at_once(small), Some((at_once(large), main_m)), mass, &from);
        let from_coth = |r: f64| 0.5 * libm::log((r + 1.0) / (r - 1.0));
        let (begin, scale) = (from_coth(w1 / both), both / G);
        let end = libm::asinh(libm::sinh(begin) * libm::exp(main_m / (both * scale)));
        let seconds = (600.0 - main_m) / w1 + scale * (end - begin);
        sheet.close(format!("time to the ground, main at {main_m} m, s"), landing.time_s, seconds, 0.02);
        sheet.close(format!("speed at the ground, main at {main_m} m, m/s"), landing.vertical_speed_m_s, both, 0.01);
        sheet.close(format!("drift in 5 m/s, main at {main_m} m, m"), landing.north_m, 5.0 * seconds, 0.1);
    }
    // A main asked for above the place where the first opens comes at once.
    let at_top = down(&drawn, at_once(small), Some((at_once(large), 900.0)), mass, &at(600.0, 0.0));
    sheet.close_relative("time, main set above the first opening, s", at_top.time_s, 600.0 / both, 0.02);
    sheet
}

fn low_1_opened_too_low() -> Sheet {
    let mut sheet = Sheet::new(
        "LOW-1",
        "opened at 3 m going down at 20 m/s, a canopy that fills over 4.8 m",
        Trust::B,
        "conservation of energy",
    );
    sheet.because("it can neither slow down nor gain more than the height gives");
    let aero = bare_aero(1e-3, 0.0);
    let drawn = bare(&aero, 0.5, 0.0);
    let landing = down(&drawn, club_canopy(), None, 0.5, &at(3.0, -20.0));
    sheet.holds("says that it did not slow down", !landing.slowed);
    sheet.more_than("speed at the ground, m/s", landing.vertical_speed_m_s, 10.0);
    sheet.less_than("speed at the ground, m/s", landing.vertical_speed_m_s, (400.0 + 2.0 * G * 3.0_f64).sqrt());
    sheet
}

/// Down to a height in steps of 5 ms of this file's own; gives the state there and the time it took.
fn followed(falling: &Falling, from: Point, floor_m: f64) -> (Point, f64) {
    let (mut s, dt) = (from, 0.005);
    for k in 0..200_000 {
        let next = step(falling, &s, dt);
        if next[2] <= floor_m {
            // The last step is straight to a micrometre.
            let part = dt * (s[2] - floor_m) / (s[2] - next[2]);
            return (step(falling, &s, part), f64::from(k) * dt + part);
        }
        s = next;
    }
    panic!("it is in the air for 1000 s: {s:?}");
}

fn dsc_1_whole_descents() -> Sheet {
    let mut sheet = Sheet::new(
        "DSC-1",
        "whole descents through thinning air, shear and the Earth's rotation at 45 deg, from openings fast and slow, \
        across and along, with and without a main canopy: against the model's own rates in steps of 5 ms",
        Trust::Statement,
        "filling, then riding at the descent rate in closed form, is the same as following the point mass all the way",
    );
    let aero = bare_aero(1e-3, 0.0);
    let mut drawn = bare(&aero, 1.2, 0.0);
    drawn.air = AirTable::new(&Column::over(200.0, 98_000.0, 290.0), 4000.0);
    drawn.gravity = Gravity::normal(0.8, 200.0);
    let canopy = |diameter_m: f64, fill_path_m: f64, fill_power| Canopy {
        drag_area_m2: drag_area_m2(0.75, diameter_m),
        fill_path_m,
        fill_power,
    };
    let large = canopy(1.8, 14.0, 2);
    let shear = WindTable::new(vec![[0.0, 0.0, 0.0], [50.0, 5.0, -2.0], [400.0, 9.0, 4.0], [2500.0, 18.0, 1.0]]);
    let steady = WindTable::uniform(12.0, 15.0);
    let usual = canopy(0.8, 6.4, 2);
    let open = canopy(0.8, 0.0, 2);
    type Row<'a> = (&'a str, &'a WindTable, f64, Canopy, Option<(Canopy, f64)>, f64, [f64; 3]);
    let rows: [Row; 11] = [
        ("at rest in the wind", &shear, 1.0, usual, None, 1500.0, [14.0, 2.0, 0.0]),
        ("as fast across as north", &shear, 1.0, usual, None, 700.0, [35.0, 35.0, -8.0]),
        // 30 m/s faster than the wind either way, then against it either way.
        ("across, at its rate already", &shear, 1.0, open, None, 300.0, [37.857_142_857, 32.285_714_285, -7.3]),
        ("north of it, at its rate already", &steady, 1.0, open, None, 300.0, [12.0, -15.0, -7.3]),
        ("east of it, at its rate already", &steady, 1.0, open, None, 300.0, [-12.0, 15.0, -7.3]),
        ("climbing", &shear, 1.0, usual, None, 1200.0, [3.0, -4.0, 25.0]),
        ("falling fast, a ribbon", &shear, 1.0, canopy(0.5, 20.0, 1), None, 1800.0, [-5.0, 8.0, -60.0]),
        ("a main at 250 m", &shear, 1.0, canopy(0.4, 3.0, 2), Some((large, 250.0)), 2000.0, [10.0, 0.0, -20.0]),
        ("a main above the opening", &shear, 1.0, canopy(0.4, 3.0, 2), Some((large, 900.0)), 600.0, [-10.0, 15.0, 5.0]),
        (
            "a small drogue, a main at 1500 m",
            &shear,
            1.0,
            canopy(0.2, 1.6, 2),
            Some((large, 1500.0)),
            3000.0,
            [10.0, 0.0, -50.0],
        ),
        ("on an Earth 30 times as fast", &shear, 30.0, usual, Some((large, 600.0)), 2000.0, [14.0, 2.0, 0.0]),
    ];
    let bare_area_m2 = 0.004;
    for (name, wind, turns, first, main, height_m, [east, north, up]) in rows {
        drawn.wind = wind.clone();
        drawn.earth_rotation_rad_s = [turns * OMEGA * libm::cos(0.8), turns * OMEGA * libm::sin(0.8)];
        let from = Moment { time_s: 3.0, position_m: [40.0, -30.0, height_m], velocity_m_s: [east, north, up] };
        let drift = DriftTable::new(&drawn.wind, &drawn.air, |z| drawn.gravity.at(z), f64::INFINITY);
        let found = descend(&drawn, &Stages { first, main, bare_area_m2, mass_kg: 1.2, seen_m2: 0.0 }, &from, &drift);
        let falling = |canopy, bare_area_m2| Falling { parts: &drawn, canopy, bare_area_m2, mass_kg: 1.2 };
        let mut start: Point = [40.0, -30.0, height_m, east, north, up, 0.0];
        let (mut before, mut last) = (0.0, falling(first, bare_area_m2));
        if let Some((main, at_m)) = main {
            if height_m > at_m {
                (start, before) = followed(&last, start, at_m);
            }
            let (wind_east, wind_north) = drawn.wind.at(start[2]);
            let airspeed = libm::hypot(libm::hypot(start[3] - wind_east, start[4] - wind_north), start[5]);
            sheet.because("a steady descent a little off the true one");
            let opening = found.main_opening_m_s.unwrap_or(f64::NAN);
            sheet.close_relative(format!("{name}: airspeed at its opening, m/s"), opening, airspeed, 0.005);
            last = falling(main, bare_area_m2 + first.drag_area_m2);
            start[6] = 0.0;
        }
        let (end, after) = followed(&last, start, 0.0);
        sheet.because("the accuracy stated for landings");
        let apart = libm::hypot(found.east_m - end[0], found.north_m - end[1]);
        sheet.less_than(format!("{name}: landing apart, m"), apart, 0.5);
        sheet.because("the same at some 10 m/s");
        sheet.close(format!("{name}: time, s"), found.time_s, 3.0 + before + after, 0.05);
        sheet.because("the closed form is steady: 1 % at most");
        sheet.close_relative(format!("{name}: downward at the ground, m/s"), found.vertical_speed_m_s, -end[5], 0.01);
        let speed = libm::hypot(libm::hypot(end[3], end[4]), end[5]);
        sheet.close_relative(format!("{name}: speed at the ground, m/s"), found.speed_m_s, speed, 0.01);
        sheet.holds(format!("{name}: slowed down"), found.slowed);
    }
    sheet
}
