//! When each way of deploying fires, and what becomes of the flight, on a throw of closed form.

use slowpoint_sim::aero::SlopeMoments;
use slowpoint_sim::air::AirTable;
use slowpoint_sim::flight::{
    Ascent, Canopy, Casing, DelayClock, Deployed, Deployment, Drawn, DrawnAt, Electronics, Events, Mishaps, Moment,
    Node, Outcome, Path, Stages, Start, State, Watchfulness, delay_tolerance_s, descend, fly, fly_ascent,
};
use slowpoint_sim::thrust::{DrawnMotor, ThrustCurve, ThrustTable};
use slowpoint_sim::wind::{DriftTable, WindTable};
use slowpoint_tests::rockets::delay;
use slowpoint_tests::sheet::{Sheet, Trust};
use slowpoint_tests::{bare, bare_aero};

slowpoint_tests::subject! { "Firing and outcome":
    fir_1_motors,
    fir_2_altimeters,
    fir_3_how_long_to_watch,
    fir_4_watched_as_long_as_asked,
    out_2_outcomes,
    out_3_the_ejection_itself,
    out_4_opened_under_thrust,
    slw_1_slowest_instant,
}

const G: f64 = 9.80665;

/// Thrown up at 5 g seconds: highest after 5 s, 122.583 m up, on the ground after 10 s; 3 m/s east all the way.
fn throw() -> Ascent {
    let node = |t: f64| Node {
        time_s: t,
        position_m: [3.0 * t, 0.0, G * t * (5.0 - 0.5 * t)],
        velocity_m_s: [3.0, 0.0, G * (5.0 - t)],
        acceleration_m_s2: [0.0, 0.0, -G],
        nose: [0.0, 0.0, 1.0],
        airspeed_m_s: 3.0_f64.hypot(G * (5.0 - t)),
    };
    let nodes = [0.0, 0.7, 2.0, 4.4, 5.6, 7.0, 9.0, 10.0].map(node).to_vec();
    Ascent { path: Path { nodes }, apogee_s: 5.0, apogee_m: 12.5 * G, ground_s: 10.0, ..Ascent::default() }
}

/// Two motors that burn for 1 and 1.25 s without a tail, and what opens.
fn events() -> Events {
    Events {
        delay_in_tolerances: vec![0.0; 2],
        delay_error_s: vec![0.0; 2],
        clock: DelayClock::Burnout,
        apogee_lag_s: 0.0,
        height_error_m: 0.0,
        line_stretch_lag_s: 0.5,
        stages: Stages {
            first: Canopy { drag_area_m2: 0.4, fill_path_m: 0.0, fill_power: 2 },
            main: None,
            bare_area_m2: 0.001,
            mass_kg: 0.5,
            seen_m2: 0.01,
        },
        casing: Casing { mass_kg: 0.02, side_m2: 0.002 },
        failing: None,
        drawn_at: DrawnAt { delay: vec![0.5; 2], apogee_lag: 0.5, sensed_height: 0.5 },
    }
}

fn world(aero: &slowpoint_sim::aero::Aero) -> Drawn<'_> {
    let mut drawn = bare(aero, 0.5, 0.0);
    let motor = |burn_factor| DrawnMotor { impulse_factor: 1.0, burn_factor, lit: true, offset_m: [0.0; 2] };
    let curve = ThrustCurve::new(vec![(0.0, 10.0), (1.0, 10.0)]);
    drawn.thrust = ThrustTable::new(&curve, 0.0, &[motor(1.25), motor(1.0)], true);
    drawn
}

fn way(motor_delay_s: Option<f64>, electronics: Electronics) -> Deployment {
    Deployment { motor_delay_s, electronics: Some(electronics) }
}

fn fir_1_motors() -> Sheet {
    let mut sheet = Sheet::new(
        "FIR-1",
        "a motor's delay from its own burnout (1.25 and 1 s) or from the nominal burn, with errors",
        Trust::Statement,
        "the first charge counts; an error in tolerances is of the larger of 1.5 s and a fifth of the delay, at most 3 s; \
        no charge fires before its clock starts",
    );
    sheet.because("rounding");
    for (delay_s, tolerance_s) in [(2.0, 1.5), (7.5, 1.5), (10.0, 2.0), (15.0, 3.0), (25.0, 3.0)] {
        sheet.close(format!("tolerance of {delay_s} s, s"), delay_tolerance_s(delay_s), tolerance_s, 1e-12);
    }
    let aero = bare_aero(1e-3, 0.0);
    let drawn = world(&aero);
    let burnout = DelayClock::Burnout;
    for (name, in_tolerances, errors_s, clock, delay_s, fires_s) in [
        ("no errors", [0.0, 0.0], [0.0, 0.0], burnout, 4.0, 5.0),
        ("the first burns out later", [0.0, 0.2], [0.0, 0.0], burnout, 10.0, 11.25),
        ("late by half a tolerance", [0.5, 0.5], [0.0, 0.0], burnout, 10.0, 12.0),
        ("early by seconds", [0.0, 0.0], [0.0, -0.4], burnout, 4.0, 4.6),
        ("both errors", [-0.5, 9.0], [0.3, 0.0], burnout, 10.0, 1.25 + 10.0 - 1.0 + 0.3),
        ("never before its clock starts", [-9.0, 9.0], [0.0, 0.0], burnout, 4.0, 1.25),
        ("from the nominal burn", [0.0, 0.0], [0.2, 0.1], DelayClock::NominalBurn(0.9), 4.0, 5.0),
    ] {
        let mut events = events();
        (events.delay_in_tolerances, events.delay_error_s) = (in_tolerances.to_vec(), errors_s.to_vec());
        events.clock = clock;
        let found = events.fires_s(&delay(delay_s), &drawn, &throw());
        sheet.close(format!("{name}, delay {delay_s} s: fires, s"), found, fires_s, 1e-12);
    }
    sheet
}

fn fir_2_altimeters() -> Sheet {
    let mut sheet = Sheet::new(
        "FIR-2",
        "altimeters on the throw: at apogee, at a height coming down, before or behind a motor",
        Trust::B,
        "the parabola: a height h is passed coming down sqrt(2 (H - h) / g) after apogee; the first trigger counts",
    );
    sheet.because("heights are found by interpolation to 1e-9 s");
    let aero = bare_aero(1e-3, 0.0);
    let drawn = world(&aero);
    let mut events = events();
    (events.apogee_lag_s, events.height_error_m) = (0.3, -10.0);
    let falls = |height_m: f64| 5.0 + (2.0 * (12.5 * G - height_m) / G).sqrt();
    let height = Electronics::Height;
    for (name, way, fires_s) in [
        ("apogee, sensed 0.3 s late", way(None, Electronics::Apogee), 5.3),
        ("50 m, read 10 m high", way(None, height(50.0)), falls(40.0)),
        ("130 m, read 10 m high: in the step of the apogee", way(None, height(130.0)), falls(120.0)),
        ("200 m, never reached: at apogee", way(None, height(200.0)), 5.3),
        ("5 m, read 10 m high: the ground comes first", way(None, height(5.0)), f64::INFINITY),
        ("a motor before it", way(Some(4.2), Electronics::Apogee), 5.2),
        ("a motor behind it", way(Some(4.4), Electronics::Apogee), 5.3),
    ] {
        let found = events.fires_s(&way, &drawn, &throw());
        if fires_s.is_finite() {
            sheet.close(format!("{name}: fires, s"), found, fires_s, 1e-8);
        } else {
            sheet.holds(format!("{name}: never fires"), found == f64::INFINITY);
        }
    }
    sheet
}

fn fir_3_how_long_to_watch() -> Sheet {
    let mut sheet = Sheet::new(
        "FIR-3",
        "how long a flight is followed closely for what may still eject",
        Trust::Statement,
        "until the last charge and its line stretch, so long after apogee as sensing and line stretch last, and down to \
        100 m below a height for each second of line stretch; to the ground where nothing fires or nothing is to open",
    );
    sheet.because("rounding");
    let aero = bare_aero(1e-3, 0.0);
    let mut drawn = world(&aero);
    let mut events = events();
    (events.apogee_lag_s, events.height_error_m) = (0.3, -10.0);
    let both = [delay(4.0), delay(7.0), way(None, Electronics::Apogee), way(None, Electronics::Height(80.0))];
    let both = [both[1], both[0], both[2], both[3], way(None, Electronics::Height(90.0))];
    let w = events.watchfulness(&both, &drawn);
    sheet.close("until, s", w.until_s, 8.5, 1e-12);
    sheet.close("after apogee, s", w.after_apogee_s, 0.8, 1e-12);
    sheet.close("above, m", w.above_m, 80.0 - 10.0 - 50.0, 1e-12);
    let w = events.watchfulness(&[], &drawn);
    sheet.equal(
        "nothing to wait for",
        format!("{w:?}"),
        "Watchfulness { until_s: 0.0, after_apogee_s: 0.0, above_m: inf, loosely_until_s: 0.0, to_ground: false }"
            .to_string(),
    );
    // No motor lit: its delay never ends.
    drawn.thrust = ThrustTable::none();
    let w = events.watchfulness(&[delay(4.0)], &drawn);
    sheet.close("a motor that never lit, until, s", w.until_s, 0.0, 0.0);
    sheet.holds("a motor that never lit: to the ground", w.to_ground);
    let height = [way(Some(4.0), Electronics::Height(90.0))];
    sheet.holds("an altimeter behind it: not so far", !events.watchfulness(&height, &drawn).to_ground);
    events.stages.first.drag_area_m2 = 0.0;
    sheet.holds("nothing to open: to the ground", events.watchfulness(&height, &drawn).to_ground);
    sheet
}

fn fir_4_watched_as_long_as_asked() -> Sheet {
    let mut sheet = Sheet::new(
        "FIR-4",
        "a shot at 60 m/s, 10 deg off the vertical, followed closely for as long as asked, and to the ground",
        Trust::Statement,
        "until a time, so long after apogee (3 s at least) or down to a height: step for step the same till then, in \
        longer steps after it",
    );
    let mut aero = bare_aero(2e-3, 0.5);
    aero.body = SlopeMoments::default().add(2.0, 0.2);
    aero.fins = SlopeMoments::default().add(10.0, 0.9);
    let mut drawn = bare(&aero, 0.5, 0.0);
    drawn.mass.dry_inertia_kg_m2 = 0.03;
    let lean = 10.0_f64.to_radians();
    let nose = [libm::sin(lean), 0.0, libm::cos(lean)];
    let velocity = nose.map(|x| 60.0 * x);
    drawn.start = Start::Free(State { position: [0.0, 0.0, 400.0], velocity, nose, spin: [0.0; 3] });
    let flown = |watchfulness: Watchfulness| {
        let mut out = Ascent::default();
        fly_ascent(&drawn, watchfulness, 1.0, &mut out);
        out
    };
    let whole = flown(Watchfulness::WHOLE);
    let least = Watchfulness { to_ground: true, ..Watchfulness::LEAST };
    let apogee_s = whole.apogee_s;
    let low_s =
        whole.path.nodes.iter().find(|n| n.time_s > apogee_s && n.position_m[2] < 150.0).map_or(0.0, |n| n.time_s);
    for (name, watchfulness, until_s) in [
        ("nothing asked", least, apogee_s + 3.0),
        ("until 10 s", Watchfulness { until_s: 10.0, ..least }, 10.0),
        ("until 6 s after apogee", Watchfulness { after_apogee_s: 6.0, ..least }, apogee_s + 6.0),
        ("down to 150 m", Watchfulness { above_m: 150.0, ..least }, low_s),
    ] {
        let found = flown(watchfulness);
        let same = found.path.nodes.iter().zip(&whole.path.nodes).take_while(|(a, b)| a == b).last();
        // The last step of the close pace begins before the time and ends behind it.
        let same_until_s = same.map_or(0.0, |(a, _)| a.time_s);
        sheet.because("the step in which it ends, and one of the same length by chance");
        sheet.at_least(format!("{name}: the same until, s"), same_until_s, until_s - 1e-9);
        sheet.at_most(format!("{name}: the same until, s"), same_until_s, until_s + 0.7);
        let steps = |a: &Ascent| a.path.nodes.len() as f64;
        sheet.because("longer steps after it");
        sheet.less_than(format!("{name}: steps over those of the whole"), steps(&found) / steps(&whole), 1.0);
    }
    sheet
}

fn deployed(events: &Events, drawn: &Drawn, ascent: &Ascent, way: &Deployment) -> Deployed {
    let drift = DriftTable::new(&drawn.wind, &drawn.air, |z| drawn.gravity.at(z), f64::INFINITY);
    events.deploy(way, drawn, ascent, &drift)
}

fn out_2_outcomes() -> Sheet {
    let mut sheet = Sheet::new(
        "OUT-2",
        "outcomes of the throw, burnout after 1.25 s, line stretch 0.5 s",
        Trust::Statement,
        "the ground before ejection; ejected but not slowed down; nothing to open; under thrust; and what went wrong with the flight before all that",
    );
    let aero = bare_aero(1e-3, 0.0);
    let drawn = world(&aero);
    let nothing = Mishaps::default();
    let all = Mishaps { unstable: true, beyond_sixty_deg: true, outside_model: true, ..nothing };
    let bare_first = |events: &mut Events| events.stages.first.drag_area_m2 = 0.0;
    let unchanged = |_: &mut Events| ();
    type Change = fn(&mut Events);
    let rows: [(&str, f64, Mishaps, Change, Outcome, bool, bool); 13] = [
        ("at 4 s", 3.0, nothing, unchanged, Outcome::Opened, true, true),
        ("at 1.3 s, thrust just over", 0.3, nothing, unchanged, Outcome::Opened, true, true),
        ("at 1.2 s, thrust of one motor still on", 0.2, nothing, unchanged, Outcome::InBoost, true, true),
        ("at 9.45 s, 2.4 m up at line stretch", 8.45, nothing, unchanged, Outcome::OpenedTooLow, true, true),
        ("at 9.6 s, ground before line stretch", 8.6, nothing, unchanged, Outcome::OpenedTooLow, true, true),
        ("at 10.1 s", 9.1, nothing, unchanged, Outcome::GroundFirst, false, true),
        ("nothing to open, at 4 s", 3.0, nothing, bare_first, Outcome::NothingOpened, true, true),
        ("several mishaps", 3.0, all, unchanged, Outcome::Unstable, true, true),
        ("two of them", 3.0, Mishaps { unstable: false, ..all }, unchanged, Outcome::BeyondSixtyDeg, true, true),
        ("one", 3.0, Mishaps { outside_model: true, ..nothing }, unchanged, Outcome::OutsideModel, true, true),
        (
            "one, ground first",
            9.1,
            Mishaps { outside_model: true, ..nothing },
            unchanged,
            Outcome::OutsideModel,
            false,
            true,
        ),
        ("not trusted", 3.0, Mishaps { untrusted: true, ..all }, unchanged, Outcome::Untrusted, true, false),
        ("never left", 3.0, Mishaps { never_left_rail: true, ..all }, unchanged, Outcome::NeverLeftRail, false, false),
    ];
    for (name, delay_s, mishaps, change, outcome, ejects, lands) in rows {
        let mut events = events();
        change(&mut events);
        let ascent = Ascent { mishaps, ..throw() };
        let found = deployed(&events, &drawn, &ascent, &delay(delay_s));
        let words =
            |outcome: Outcome, ejects: bool, lands: bool| format!("{outcome:?}, ejects {ejects}, lands {lands}");
        let got = words(found.outcome, found.ejection.is_some(), found.landing.is_some());
        sheet.equal(name, got, words(outcome, ejects, lands));
    }
    // On the rail still, though thrust is over.
    let mut ascent = throw();
    ascent.rail_exit.time_s = 4.1;
    let found = deployed(&events(), &drawn, &ascent, &delay(3.0)).outcome;
    sheet.equal("at 4 s, on the rail until 4.1 s", format!("{found:?}"), "InBoost".to_string());
    sheet
}

fn out_3_the_ejection_itself() -> Sheet {
    let mut sheet = Sheet::new(
        "OUT-3",
        "what an ejection of the throw meets, in 1 m/s of wind from the south and 2 m/s from the east",
        Trust::B,
        "the parabola, less the wind",
    );
    sheet.because("rounding");
    let aero = bare_aero(1e-3, 0.0);
    let mut drawn = world(&aero);
    drawn.wind = WindTable::uniform(-2.0, 1.0);
    let across = libm::hypot(5.0, 1.0);
    for (fires_s, stretch_s) in [(4.0, 4.5), (6.0, 6.5), (9.8, 10.0)] {
        let found = deployed(&events(), &drawn, &throw(), &delay(fires_s - 1.0)).ejection;
        let e = found.unwrap_or_else(|| panic!("it ejects in the air"));
        let up = |t: f64| G * (5.0 - t);
        let name = format!("at {fires_s} s");
        sheet.close(format!("{name}: time, s"), e.time_s, fires_s, 1e-12);
        sheet.close(format!("{name}: after apogee, s"), e.after_apogee_s, fires_s - 5.0, 1e-12);
        sheet.close(format!("{name}: airspeed, m/s"), e.airspeed_m_s, libm::hypot(across, up(fires_s)), 1e-9);
        sheet.close(format!("{name}: upward, m/s"), e.vertical_speed_m_s, up(fires_s), 1e-9);
        sheet.close(format!("{name}: across, m/s"), e.horizontal_airspeed_m_s, across, 1e-9);
        sheet.close(format!("{name}: height, m"), e.height_m, G * fires_s * (5.0 - 0.5 * fires_s), 1e-9);
        let stretch = libm::hypot(across, up(stretch_s));
        sheet.close(format!("{name}: airspeed at line stretch or ground, m/s"), e.stretch_airspeed_m_s, stretch, 1e-9);
    }
    let landing = deployed(&events(), &drawn, &throw(), &delay(9.1)).landing;
    let impact = landing.unwrap_or_else(|| panic!("it comes down"));
    sheet.close("ground first: time, s", impact.time_s, 10.0, 1e-9);
    sheet.close("ground first: east, m", impact.east_m, 30.0, 1e-9);
    sheet.close("ground first: north, m", impact.north_m, 0.0, 1e-9);
    sheet.close("ground first: downward, m/s", impact.vertical_speed_m_s, 5.0 * G, 1e-9);
    sheet.close("ground first: speed, m/s", impact.speed_m_s, libm::hypot(3.0, 5.0 * G), 1e-9);
    sheet.holds("ground first: not slowed down", !impact.slowed && impact.main_opening_m_s.is_none());
    sheet
}

fn out_4_opened_under_thrust() -> Sheet {
    let mut sheet = Sheet::new(
        "OUT-4",
        "opened under thrust: a canopy with a tenth of its drag, without a main, or ballistic, whichever lands farther",
        Trust::Statement,
        "the farther landing counts",
    );
    let aero = bare_aero(1e-3, 0.0);
    for (name, wind_north_m_s, torn_counts) in [("calm", 0.0, false), ("20 m/s", 20.0, true)] {
        let mut drawn = world(&aero);
        drawn.wind = WindTable::uniform(0.0, wind_north_m_s);
        let mut events = events();
        events.stages.main = Some((Canopy { drag_area_m2: 2.0, ..events.stages.first }, 60.0));
        let found = deployed(&events, &drawn, &throw(), &delay(0.2)).landing.unwrap_or_else(|| panic!("it comes down"));
        let drift = DriftTable::new(&drawn.wind, &drawn.air, |z| drawn.gravity.at(z), f64::INFINITY);
        let first = Canopy { drag_area_m2: 0.04, ..events.stages.first };
        let stages = Stages { first, main: None, ..events.stages };
        let stretch: Moment = throw().path.at(1.7);
        let torn = descend(&drawn, &stages, &stretch, &drift);
        let expected = if torn_counts { torn.time_s } else { 10.0 };
        sheet.because("a tenth of a drag area is rounded");
        sheet.close(format!("{name}: lands after, s"), found.time_s, expected, 1e-9);
        let torn_m = libm::hypot(torn.east_m, torn.north_m);
        sheet.holds(format!("{name}: the torn one lands farther"), (torn_m > 30.0) == torn_counts);
    }
    sheet
}

fn slw_1_slowest_instant() -> Sheet {
    let mut sheet = Sheet::new(
        "SLW-1",
        "a shot without air at 100 m/s and 80 deg, 10 m/s of wind along it: the slowest instant and the delay that opens there",
        Trust::B,
        "the parabola: at v sin / g, with v cos less the wind; a delay counts from burnout (here at once) or the nominal burn",
    );
    sheet.because("a search to 1e-4 s");
    let aero = bare_aero(1e-3, 0.0);
    let mut drawn = bare(&aero, 0.5, 0.0);
    drawn.air = AirTable::uniform(1e-12, 340.0);
    drawn.wind = WindTable::uniform(10.0, 0.0);
    let (sin, cos) = (libm::sin(80.0_f64.to_radians()), libm::cos(80.0_f64.to_radians()));
    let nose = [cos, 0.0, sin];
    drawn.start = Start::Free(State { position: [0.0; 3], velocity: nose.map(|x| 100.0 * x), nose, spin: [0.0; 3] });
    let top_s = 100.0 * sin / G;
    for (name, clock, starts_s) in
        [("from burnout", DelayClock::Burnout, 0.0), ("from the nominal burn", DelayClock::NominalBurn(0.9), 0.9)]
    {
        let events = Events { clock, ..events() };
        let flown = fly(&drawn, &events, &[], &mut Ascent::default());
        let slowest = flown.slowest.unwrap_or_else(|| panic!("it flew"));
        sheet.close(format!("{name}: airspeed, m/s"), slowest.airspeed_m_s, 100.0 * cos - 10.0, 1e-6);
        sheet.close(format!("{name}: after apogee, s"), slowest.after_apogee_s, 0.0, 1e-4);
        sheet.close(format!("{name}: delay, s"), slowest.delay_s, top_s - starts_s, 1e-4);
        sheet.close(format!("{name}: apogee, m"), flown.apogee_m, 0.5 * G * top_s * top_s, 1e-5);
        sheet.close(format!("{name}: time of apogee, s"), flown.apogee_s, top_s, 1e-6);
    }
    // What never left the rail has none, nor what is down before its motors are.
    drawn.thrust = ThrustTable::new(
        &ThrustCurve::new(vec![(0.0, 1e-9), (30.0, 1e-9)]),
        0.0,
        &[DrawnMotor { impulse_factor: 1.0, burn_factor: 1.0, lit: true, offset_m: [0.0; 2] }],
        true,
    );
    let none = fly(&drawn, &events(), &[], &mut Ascent::default()).slowest.is_none();
    sheet.holds("down before burnout: none", none);
    sheet
}
