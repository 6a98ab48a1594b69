//! What must hold for every rocket, on random cards. Where a property needs it the Earth stands still, nothing is
//! misaligned and the wind's errors are off.

use crate::cards::{Card, Figure, Found, cards, flown, tried, turned_deg};
use proptest::prelude::*;
use slowpoint_sim::case::Case;
use slowpoint_sim::draw::{PointSet, Shift};
use slowpoint_sim::flight::{
    Ascent, Deployed, Deployment, Drawn, Electronics, Gravity, Hold, Landing, Node, Start, State, derivative_and_flow,
    step,
};
use slowpoint_sim::lanes::{along, dot, norm};
use slowpoint_sim::replay;
use slowpoint_sim::thrust::{Side, ThrustTable};
use slowpoint_sim::wind::{Direction, WindTable};
use slowpoint_tests::larger;
use slowpoint_tests::sheet::{Sheet, Trust};

slowpoint_tests::subject! { "Properties of any flight":
    prop_1_mirror,
    prop_2_turn,
    prop_3_calm_and_upright,
    prop_4_drag,
    prop_5_longer_delay,
    prop_6_longer_run,
    prop_7_energy,
}

/// The same flight seen after a change of the two horizontal axes.
fn seen<'a>(drawn: &Drawn<'a>, change: impl Fn([f64; 2]) -> [f64; 2]) -> Drawn<'a> {
    let mut other = drawn.clone();
    other.wind = WindTable::new(
        drawn
            .wind
            .nodes()
            .iter()
            .map(|n| {
                let [e, n_] = change([n[1], n[2]]);
                [n[0], e, n_]
            })
            .collect(),
    );
    if let Start::Rail { rail, .. } = &mut other.start {
        let [e, n] = change([rail.direction[0], rail.direction[1]]);
        rail.direction = [e, n, rail.direction[2]];
    }
    other
}

/// Figures of two flights of the same scene, seen differently, and how far they may differ: airspeed and vertical speed
/// at ejection, landing. Only rounding differs.
const NOSE_FIRST: [(&str, f64); 3] =
    [("airspeed at ejection, m/s", 1e-6), ("vertical speed at ejection, m/s", 1e-6), ("landing, m", 1e-5)];
/// A tail slide magnifies whatever differs: the bounds are those of the integration itself.
const TAIL_SLIDE: [(&str, f64); 3] = [
    ("airspeed at ejection after a tail slide, m/s", 0.05),
    ("vertical speed at ejection after a tail slide, m/s", 0.05),
    ("landing after a tail slide, m", 0.5),
];

/// Whether the air ever comes from well behind.
fn slides(drawn: &Drawn, ascent: &Ascent) -> bool {
    let from_behind = |n: &Node| {
        let (east, north) = drawn.wind.at(n.position_m[2]);
        let u = [n.velocity_m_s[0] - east, n.velocity_m_s[1] - north, n.velocity_m_s[2]];
        dot(u, n.nose) < -0.5 * norm(u)
    };
    ascent.path.nodes.iter().any(from_behind)
}

/// How far two flights of the same scene, seen differently, lie apart, way by way.
fn apart((a, b): (&[Deployed], &[Deployed]), tail_slide: bool, change: impl Fn([f64; 2]) -> [f64; 2]) -> Vec<Figure> {
    let [airspeed, vertical, landing] = if tail_slide { TAIL_SLIDE } else { NOSE_FIRST };
    let mut figures = Vec::new();
    for (a, b) in a.iter().zip(b) {
        let shape = |d: &Deployed| (d.outcome, d.ejection.is_some(), d.landing.is_some());
        figures.push(("ways with another outcome", Found::Wrong(usize::from(shape(a) != shape(b)))));
        if let (Some(a), Some(b)) = (a.ejection, b.ejection) {
            let off = |a: f64, b: f64, (name, most): (&'static str, f64)| (name, Found::AtMost((a - b).abs(), most));
            figures.push(off(a.airspeed_m_s, b.airspeed_m_s, airspeed));
            figures.push(off(a.vertical_speed_m_s, b.vertical_speed_m_s, vertical));
        }
        if let (Some(a), Some(b)) = (a.landing, b.landing) {
            let [e, n] = change(place(&a));
            let off = libm::hypot(e - b.east_m, n - b.north_m);
            figures.push((landing.0, Found::AtMost(off, landing.1)));
        }
    }
    figures
}

fn place(l: &Landing) -> [f64; 2] {
    [l.east_m, l.north_m]
}

const SAME_SCENE: &str = "the same equations in other axes: only rounding differs; a tail slide magnifies whatever \
    differs, and there the bounds are those that the model states for its integration";

fn prop_1_mirror() -> Sheet {
    let mut sheet = Sheet::new(
        "PROP-1",
        "the drawn world mirrored or turned by a quarter, and wind and rail of a card mirrored about north without their \
        errors: the flight is mirrored and turned",
        Trust::Statement,
        "symmetry of the equations of motion where the Earth stands still and nothing is misaligned",
    );
    // Only signs and places of numbers change, so the flight is the same to the last bit.
    tried(&mut sheet, "world mirrored or turned by a quarter, to the last bit", cards(), |card| {
        let case = Card::straight(card.inputs());
        let (drawn, events) = card.drawn(&case, &Shift::NONE);
        let (plain, _) = flown(&case, &drawn, &events);
        let changes: [fn([f64; 2]) -> [f64; 2]; 3] = [|[e, n]| [-e, n], |[e, n]| [n, e], |[e, n]| [n, -e]];
        let mut figures = Vec::new();
        for change in changes {
            let (other, _) = flown(&case, &seen(&drawn, change), &events);
            figures.push(("other apogees", Found::Wrong(usize::from(plain.apogee_m != other.apogee_m))));
            for (a, b) in plain.deployed.iter().zip(&other.deployed) {
                let ejected = (a.outcome, a.ejection) == (b.outcome, b.ejection);
                let landed = a.landing.map(|l| change(place(&l))) == b.landing.map(|l| place(&l));
                figures.push(("other outcomes or ejections", Found::Wrong(usize::from(!ejected))));
                figures.push(("other landings", Found::Wrong(usize::from(!landed))));
            }
        }
        figures
    });
    // Errors across the wind and the rail have a side of their own, so they are off.
    sheet.because(SAME_SCENE);
    tried(&mut sheet, "card mirrored about north", cards(), |card| {
        let case = Card::straight(Card::exact(card.inputs()));
        let mut inputs = case.inputs.clone();
        let mirror = |rad: &mut f64| *rad = (core::f64::consts::TAU - *rad).rem_euclid(core::f64::consts::TAU);
        inputs.launch.azimuth_rad.iter_mut().for_each(mirror);
        inputs.wind.layers.iter_mut().for_each(|l| mirror(&mut l.direction_from_rad));
        if let Some(Direction::From(rad)) = inputs.wind.surface.as_mut().map(|s| &mut s.direction) {
            mirror(rad);
        }
        let mirrored = Card::straight(inputs);
        let (drawn, events) = card.drawn(&case, &Shift::NONE);
        let (other, _) = card.drawn(&mirrored, &Shift::NONE);
        let ((a, ascent), (b, _)) = (flown(&case, &drawn, &events), flown(&mirrored, &other, &events));
        apart((&a.deployed, &b.deployed), slides(&drawn, &ascent), |[e, n]| [-e, n])
    });
    sheet
}

fn prop_2_turn() -> Sheet {
    let mut sheet = Sheet::new(
        "PROP-2",
        "a card whose wind and rail are turned about the vertical, with all their errors: the flight is turned",
        Trust::Statement,
        "symmetry of the equations of motion where the Earth stands still and nothing is misaligned",
    );
    sheet.because(SAME_SCENE);
    tried(&mut sheet, "turned by 0 to 360 deg", (cards(), 0.0..360.0), |(card, by_deg)| {
        let case = Card::straight(card.inputs());
        let mut other = card.clone();
        other.azimuth_deg = turned_deg(card.azimuth_deg, by_deg);
        other.veer_deg = turned_deg(card.veer_deg, by_deg);
        let turned = Card::straight(other.inputs());
        let (drawn, events) = card.drawn(&case, &Shift::NONE);
        let (drawn_turned, _) = other.drawn(&turned, &Shift::NONE);
        let (a, ascent) = flown(&case, &drawn, &events);
        let (b, _) = flown(&turned, &drawn_turned, &events);
        let (sin, cos) = (libm::sin(by_deg.to_radians()), libm::cos(by_deg.to_radians()));
        // Bearings run clockwise.
        let turn = |[e, n]: [f64; 2]| [e * cos + n * sin, n * cos - e * sin];
        apart((&a.deployed, &b.deployed), slides(&drawn, &ascent), turn)
    });
    sheet
}

fn prop_3_calm_and_upright() -> Sheet {
    let mut sheet = Sheet::new(
        "PROP-3",
        "no wind, a vertical rail, nothing misaligned: the rocket comes down on the pad",
        Trust::Statement,
        "nothing can push it aside",
    );
    sheet.because("zeros stay zeros but for rounding; the apogee shows that the rocket flew");
    tried(&mut sheet, "calm and upright", cards(), |card| {
        let case = card.calm_and_upright();
        let (drawn, events) = card.drawn(&case, &Shift::NONE);
        let (flown, _) = flown(&case, &drawn, &events);
        let never_left = Found::Wrong(usize::from(flown.mishaps.never_left_rail));
        let mut figures =
            vec![("never left the rail", never_left), ("apogee, m", Found::MoreThan(flown.apogee_m, 1.0))];
        for deployed in &flown.deployed {
            figures.push(("ways that never come down", Found::Wrong(usize::from(deployed.landing.is_none()))));
            if let Some(l) = deployed.landing {
                let off = norm([l.east_m, l.north_m, 0.0]);
                figures.push(("landing off the pad, m", Found::LessThan(off, 1e-9)));
            }
        }
        figures
    });
    sheet
}

fn prop_4_drag() -> Sheet {
    let mut sheet = Sheet::new(
        "PROP-4",
        "a vertical flight in calm air under 1.0005 to 3 times the drag",
        Trust::Statement,
        "more drag never raises the apogee",
    );
    sheet.because("a strict order has no room");
    tried(&mut sheet, "more drag", (cards(), 1.0005..3.0), |(card, more)| {
        let case = card.calm_and_upright();
        let apogee_m = |drag_factor: f64| {
            let (drawn, events) = card.drawn(&case, &Shift { drag_factor, ..Shift::NONE });
            flown(&case, &drawn, &events).0.apogee_m
        };
        vec![("apogee gained, m", Found::LessThan(apogee_m(more) - apogee_m(1.0), 0.0))]
    });
    sheet
}

fn prop_5_longer_delay() -> Sheet {
    let mut sheet = Sheet::new(
        "PROP-5",
        "two delays in one flight, with and without an altimeter, up to half of the delays out of tolerance",
        Trust::Statement,
        "a longer delay never ejects earlier, and never where the shorter one does not at all",
    );
    sheet.because("an order has no room");
    let altimeter =
        prop::option::of(prop_oneof![Just(Electronics::Apogee), (5.0..500.0).prop_map(Electronics::Height)]);
    tried(&mut sheet, "longer delay", (cards(), 0.0..0.5, altimeter, any::<bool>()), |drawn| {
        let (card, outside_tolerance, altimeter, nominal) = drawn;
        let mut inputs = card.inputs();
        inputs.spread.delay_out_of_tolerance_share = Some(outside_tolerance);
        inputs.motor.delay_from_nominal_burn = nominal;
        let [a, b] = card.delays_s;
        inputs.question.ways =
            [a.min(b), a.max(b)].map(|d| Deployment { motor_delay_s: Some(d), electronics: altimeter }).to_vec();
        let case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
        let (drawn, events) = card.drawn(&case, &Shift::NONE);
        let (flown, _) = flown(&case, &drawn, &events);
        let time = |k: usize| flown.deployed[k].ejection.map(|e| e.time_s);
        let only_the_longer = time(0).is_none() && time(1).is_some();
        let mut figures = vec![("only the longer one ejects", Found::Wrong(usize::from(only_the_longer)))];
        if let (Some(shorter), Some(longer)) = (time(0), time(1)) {
            figures
                .push(("ejection of the longer one after the shorter one's, s", Found::AtLeast(longer - shorter, 0.0)));
        }
        figures
    });
    sheet
}

fn prop_6_longer_run() -> Sheet {
    let mut sheet = Sheet::new(
        "PROP-6",
        "a flight of a run of 64 to 511 flights and of one up to 49 times as long, Sobol points and pseudorandom",
        Trust::Statement,
        "a longer run begins with the same flights",
    );
    let setting = (cards(), 64_u64..512, 2_u64..50, any::<bool>());
    tried(&mut sheet, "longer run, to the last bit", setting, |(card, flights, times, sobol)| {
        let points = if sobol { PointSet::Sobol } else { PointSet::Pseudorandom };
        let of = |flights: u64| {
            let mut inputs = card.inputs();
            (inputs.question.flights, inputs.question.points, inputs.question.seed) = (flights, points, card.seed);
            let case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
            replay(&case, card.flight % 64)
        };
        let (few, many) = (of(flights), of(flights * times));
        let other = |differs: bool| Found::Wrong(usize::from(differs));
        vec![
            ("other numbers drawn", other(few.drawn != many.drawn)),
            ("other paths", other(few.path != many.path)),
            ("other deployments", other(few.flown.deployed != many.flown.deployed)),
        ]
    });
    sheet
}

/// Kinetic, rotational and potential energy, J.
fn energy_j(drawn: &Drawn, s: &State<f64>) -> f64 {
    let m = drawn.mass.at(0.0);
    let gravity = drawn.gravity.surface_m_s2;
    m.mass_kg * (0.5 * dot(s.velocity, s.velocity) + gravity * s.position[2])
        + 0.5 * m.inertia_kg_m2 * dot(s.spin, s.spin)
}

/// Coasts through still air by the engine's own steps, a third as long as the flights', and holds the energy after
/// each against that before.
fn growth_of_energy(drawn: &Drawn, start: State<f64>) -> Vec<Figure> {
    let mut s = start;
    let now = drawn.instant(0.0, Side::After);
    let mut most = f64::NEG_INFINITY;
    for _ in 0..4000 {
        let (rate, flow) = derivative_and_flow(drawn, &now, &s, &Hold::Free);
        let dt = (0.4 / flow.fastest_rate(&s, &rate, 0.0, 1.0).max(1e-9)).min(0.03);
        let next = step(drawn, &s, &rate, dt, &now, &now, &Hold::Free).state;
        let (before, after) = (energy_j(drawn, &s), energy_j(drawn, &next));
        let moving = before - drawn.mass.at(0.0).mass_kg * drawn.gravity.surface_m_s2 * s.position[2];
        most = larger(most, (after - before) / moving);
        s = next;
        if s.position[2] < 0.0 {
            break;
        }
    }
    vec![("growth within a step over the energy of motion", Found::AtMost(most, 1e-6))]
}

/// A card's rocket with its motor unlit, in still air under the same pull everywhere.
fn coasting<'a>(card: &Card, case: &'a Case) -> Drawn<'a> {
    let (mut drawn, _) = card.drawn(case, &Shift::NONE);
    drawn.thrust = ThrustTable::none();
    drawn.wind = WindTable::uniform(0.0, 0.0);
    drawn.gravity = Gravity::constant(9.80665);
    drawn
}

fn unit() -> impl Strategy<Value = [f64; 3]> {
    (-1.0..1.0, 0.0..core::f64::consts::TAU).prop_map(|(up, turn): (f64, f64)| {
        let level = (1.0 - up * up).sqrt();
        [level * libm::cos(turn), level * libm::sin(turn), up]
    })
}

fn prop_7_energy() -> Sheet {
    let mut sheet = Sheet::new(
        "PROP-7",
        "energy from step to step of a coast in still air, by the engine's own steps, a third as long as the flights'",
        Trust::Statement,
        "air only takes kinetic, rotational and potential energy away",
    );
    sheet.because("a step's own error is far below a millionth of the energy that moves about");
    let state = (cards(), 0.0..10.0, 0.0..3.0, unit());
    tried(&mut sheet, "from burnout on, tipped by up to 10 deg", state, |drawn| {
        let (card, off_deg, spin_rad_s, towards) = drawn;
        let case = Card::straight(card.inputs());
        let (drawn, events) = card.drawn(&case, &Shift::NONE);
        let (_, ascent) = flown(&case, &drawn, &events);
        let burnout = drawn.thrust.end_s();
        let Some(node) = ascent.path.nodes.iter().find(|n| n.time_s >= burnout) else { return Vec::new() };
        let tipped = along(node.nose, towards, libm::sin(f64::to_radians(off_deg)));
        let nose = tipped.map(|x| x / norm(tipped));
        let across = along(towards, nose, -dot(towards, nose));
        let start = State {
            position: node.position_m,
            velocity: node.velocity_m_s,
            nose,
            spin: across.map(|x| x * spin_rad_s),
        };
        growth_of_energy(&coasting(&card, &case), start)
    });
    let anyhow = (cards(), 1.0..200.0, 0.0..10.0, (unit(), unit(), unit()));
    tried(&mut sheet, "in any attitude, at up to 200 m/s and 10 rad/s", anyhow, |drawn| {
        let (card, speed_m_s, spin_rad_s, (heading, nose, towards)) = drawn;
        let case = Card::straight(card.inputs());
        let across = along(towards, nose, -dot(towards, nose));
        let start = State {
            position: [0.0, 0.0, 500.0],
            velocity: heading.map(|x| x * speed_m_s),
            nose,
            spin: across.map(|x| x * spin_rad_s),
        };
        growth_of_energy(&coasting(&card, &case), start)
    });
    sheet
}
