//! What must hold for every rocket, on random cards made of four rockets. Where a property needs it the Earth stands
//! still, nothing is misaligned and the wind's errors are off. A fixed seed makes every run the same.

use core::sync::atomic::AtomicBool;

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use rayon::prelude::*;
use slowpoint_sim::aero::Drag;
use slowpoint_sim::case::shape::{Shape, Transition};
use slowpoint_sim::case::{Area, Case, Device, Inputs, Outline, PressureInput, ThrustInput};
use slowpoint_sim::draw::{Law, Numbers, PointSet, Shift, draw};
use slowpoint_sim::fault::Fault;
use slowpoint_sim::flight::{
    Ascent, Deployed, Deployment, Drawn, Electronics, Events, Failure, Flown, Gravity, Hold, Landing, Node, Parts,
    Start, State, derivative_and_flow, fly, step,
};
use slowpoint_sim::lanes::{along, dot, norm};
use slowpoint_sim::limits::{self, Limit};
use slowpoint_sim::tally::Frame;
use slowpoint_sim::thrust::{Side, ThrustTable};
use slowpoint_sim::wind::{Direction, Gustiness, Layer, SurfaceLaw, WindTable};
use slowpoint_sim::{cell_m, replay, report, tally};
use slowpoint_tests::rockets;

static GO: AtomicBool = AtomicBool::new(false);

/// Above every flight, m.
const TOP_M: f64 = 30_000.0;

fn config(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, failure_persistence: None, rng_seed: RngSeed::Fixed(20), ..ProptestConfig::default() }
}

/// How a card differs from one of the four rockets.
#[derive(Debug, Clone)]
struct Card {
    rocket: usize,
    /// Factors on mass, width, thrust, drag, wind and rail.
    mass: f64,
    width: f64,
    thrust: f64,
    drag: f64,
    wind: f64,
    rail: f64,
    tilt_deg: f64,
    azimuth_deg: f64,
    /// Added to every direction of the wind.
    veer_deg: f64,
    delays_s: [f64; 2],
    /// Which flight of which seed.
    seed: u64,
    flight: u64,
}

fn cards() -> impl Strategy<Value = Card> {
    let factors = (0.7..1.5, 0.8..1.4, 0.6..1.5, 0.5..2.0, 0.0..2.5, 0.7..2.0);
    let setting = (0.0..25.0, 0.0..360.0, 0.0..360.0);
    (0_usize..4, factors, setting, [0.0..30.0, 0.0..30.0], 0_u64..1000, 0_u64..100_000).prop_map(
        |(
            rocket,
            (mass, width, thrust, drag, wind, rail),
            (tilt_deg, azimuth_deg, veer_deg),
            delays_s,
            seed,
            flight,
        )| {
            Card {
                rocket,
                mass,
                width,
                thrust,
                drag,
                wind,
                rail,
                tilt_deg,
                azimuth_deg,
                veer_deg,
                delays_s,
                seed,
                flight,
            }
        },
    )
}

fn turned_deg(from: f64, by: f64) -> f64 {
    (from + by).rem_euclid(360.0)
}

impl Card {
    fn inputs(&self) -> Inputs {
        let mut i = rockets::all()[self.rocket].1.clone();
        i.airframe.mass_kg *= self.mass;
        i.airframe.diameter_m *= self.width;
        if let Some(shape) = &mut i.airframe.shape {
            shape.nose.base_diameter_m *= self.width;
            shape.base_diameter_m *= self.width;
            shape.fin_sets.iter_mut().for_each(|f| f.body_diameter_m *= self.width);
        }
        match &mut i.airframe.drag {
            Some(Drag::Coefficient(c)) => *c *= self.drag,
            Some(Drag::Table(rows)) => rows.iter_mut().for_each(|r| r.1 *= self.drag),
            None => i.spread.drag = Some(Law::Fixed(self.drag)),
        }
        if let ThrustInput::Curve(points) = &mut i.motor.thrust {
            points.iter_mut().for_each(|p| p.1 *= self.thrust);
        }
        i.launch.rail_length_m *= self.rail;
        i.launch.tilt_rad = Some(self.tilt_deg.to_radians());
        i.launch.azimuth_rad = Some(self.azimuth_deg.to_radians());
        let turn = |rad: f64| turned_deg(rad.to_degrees(), self.veer_deg).to_radians();
        if let Some(s) = &mut i.wind.surface {
            s.speed_m_s *= self.wind;
            if let Direction::From(rad) = &mut s.direction {
                *rad = turn(*rad);
            }
        }
        for l in &mut i.wind.layers {
            l.speed_m_s *= self.wind;
            l.direction_from_rad = turn(l.direction_from_rad);
        }
        i.question.ways = self.delays_s.map(rockets::delay).to_vec();
        i
    }

    /// Nothing misaligned, nothing rolling, on an Earth that stands still.
    fn straight(mut inputs: Inputs) -> Case {
        let s = &mut inputs.spread;
        for law in [&mut s.thrust_misalignment, &mut s.fin_misalignment, &mut s.roll_rate] {
            *law = Some(Law::Fixed(0.0));
        }
        let mut case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
        case.field.earth_rotation_rad_s = [0.0; 2];
        case
    }

    /// The wind as reported and the rail as set. The wind is known to the top, as its error grows above what is known.
    fn exact(mut inputs: Inputs) -> Inputs {
        let top = inputs.wind.layers.last().copied().map(|l| Layer { height_above_ground_m: TOP_M, ..l });
        inputs.wind.layers.extend(top);
        let s = &mut inputs.spread;
        (s.wind_component_sd_m_s, s.wind_direction_sd_rad) = (Some(0.0), Some(0.0));
        s.rail_angle = Some(Law::Fixed(0.0));
        inputs.wind.gustiness = Some(Gustiness::Off);
        inputs
    }

    /// No wind, a vertical rail.
    fn calm_and_upright(&self) -> Case {
        let mut inputs = Self::exact(self.inputs());
        inputs.launch.tilt_rad = Some(0.0);
        inputs.wind.layers.iter_mut().for_each(|l| l.speed_m_s = 0.0);
        if let Some(s) = &mut inputs.wind.surface {
            (s.speed_m_s, s.gust_m_s) = (0.0, Some(0.0));
        }
        Self::straight(inputs)
    }

    fn drawn<'a>(&self, case: &'a Case, shift: &Shift) -> (Drawn<'a>, Events) {
        draw(case, &Numbers::of(PointSet::Pseudorandom, self.seed, self.flight), shift)
    }
}

fn flown(case: &Case, drawn: &Drawn, events: &Events) -> (Flown, Ascent) {
    let mut ascent = Ascent::default();
    let flown = fly(drawn, events, &case.inputs.question.ways, &mut ascent);
    (flown, ascent)
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

/// How far two flights of the same scene, seen differently, may differ: m of landing and m/s at ejection. Only rounding
/// differs; a tail slide magnifies whatever differs, and there the bounds are those of the integration itself.
fn tolerances(drawn: &Drawn, ascent: &Ascent) -> [f64; 2] {
    let from_behind = |n: &Node| {
        let (east, north) = drawn.wind.at(n.position_m[2]);
        let u = [n.velocity_m_s[0] - east, n.velocity_m_s[1] - north, n.velocity_m_s[2]];
        dot(u, n.nose) < -0.5 * norm(u)
    };
    if ascent.path.nodes.iter().any(from_behind) { [0.5, 0.05] } else { [1e-5, 1e-6] }
}

fn alike(
    a: &Deployed,
    b: &Deployed,
    change: impl Fn([f64; 2]) -> [f64; 2],
    within: [f64; 2],
) -> Result<(), TestCaseError> {
    prop_assert_eq!(a.outcome, b.outcome);
    prop_assert_eq!(a.ejection.is_some(), b.ejection.is_some());
    prop_assert_eq!(a.landing.is_some(), b.landing.is_some());
    if let (Some(a), Some(b)) = (a.ejection, b.ejection) {
        prop_assert!((a.airspeed_m_s - b.airspeed_m_s).abs() <= within[1], "{a:?} {b:?}");
        prop_assert!((a.vertical_speed_m_s - b.vertical_speed_m_s).abs() <= within[1], "{a:?} {b:?}");
    }
    if let (Some(a), Some(b)) = (a.landing, b.landing) {
        let [e, n] = change([a.east_m, a.north_m]);
        let off = libm::hypot(e - b.east_m, n - b.north_m);
        prop_assert!(off <= within[0], "{off} m apart: {a:?} {b:?}");
    }
    Ok(())
}

fn place(l: &Landing) -> [f64; 2] {
    [l.east_m, l.north_m]
}

proptest! {
    #![proptest_config(config(96))]

    /// East and west exchanged, or a quarter turn: only signs and places of numbers change, so the flight is the
    /// same to the last bit.
    #[test]
    fn mirrored_and_quarter_turned_worlds_land_mirrored_and_turned(card in cards()) {
        let case = Card::straight(card.inputs());
        let (drawn, events) = card.drawn(&case, &Shift::NONE);
        let (plain, _) = flown(&case, &drawn, &events);
        let changes: [fn([f64; 2]) -> [f64; 2]; 3] = [|[e, n]| [-e, n], |[e, n]| [n, e], |[e, n]| [n, -e]];
        for change in changes {
            let (other, _) = flown(&case, &seen(&drawn, change), &events);
            prop_assert_eq!(plain.apogee_m, other.apogee_m);
            for (a, b) in plain.deployed.iter().zip(&other.deployed) {
                prop_assert_eq!(a.outcome, b.outcome);
                prop_assert_eq!(a.ejection, b.ejection);
                prop_assert_eq!(a.landing.map(|l| change(place(&l))), b.landing.map(|l| place(&l)));
            }
        }
    }

    /// The card's own directions mirrored about north: wind and rail from and towards the other side. Errors across
    /// the wind and the rail have a side of their own, so they are off.
    #[test]
    fn a_mirrored_card_lands_mirrored(card in cards()) {
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
        let within = tolerances(&drawn, &ascent);
        for (a, b) in a.deployed.iter().zip(&b.deployed) {
            alike(a, b, |[e, n]| [-e, n], within)?;
        }
    }

    /// The whole card turned about the vertical, wind and rail with all their errors.
    #[test]
    fn a_turned_card_lands_turned(card in cards(), by_deg in 0.0..360.0) {
        let case = Card::straight(card.inputs());
        let mut other = card.clone();
        other.azimuth_deg = turned_deg(card.azimuth_deg, by_deg);
        other.veer_deg = turned_deg(card.veer_deg, by_deg);
        let turned = Card::straight(other.inputs());
        let (drawn, events) = card.drawn(&case, &Shift::NONE);
        let (drawn_turned, _) = other.drawn(&turned, &Shift::NONE);
        let (a, ascent) = flown(&case, &drawn, &events);
        let (b, _) = flown(&turned, &drawn_turned, &events);
        let within = tolerances(&drawn, &ascent);
        let (sin, cos) = (libm::sin(by_deg.to_radians()), libm::cos(by_deg.to_radians()));
        for (a, b) in a.deployed.iter().zip(&b.deployed) {
            // Bearings run clockwise.
            alike(a, b, |[e, n]| [e * cos + n * sin, n * cos - e * sin], within)?;
        }
    }

    /// No wind, a vertical rail, nothing misaligned: nothing can push it aside.
    #[test]
    fn calm_and_upright_lands_on_the_pad(card in cards()) {
        let case = card.calm_and_upright();
        let (drawn, events) = card.drawn(&case, &Shift::NONE);
        let (flown, _) = flown(&case, &drawn, &events);
        prop_assert!(!flown.mishaps.never_left_rail);
        prop_assert!(flown.apogee_m > 1.0);
        for deployed in &flown.deployed {
            let landing = deployed.landing.ok_or_else(|| TestCaseError::fail(format!("{flown:?}")))?;
            prop_assert!(norm([landing.east_m, landing.north_m, 0.0]) < 1e-9, "{landing:?}");
        }
    }

    /// More drag never raises a vertical flight in calm air.
    #[test]
    fn more_drag_never_raises_apogee(card in cards(), more in 1.0005..3.0) {
        let case = card.calm_and_upright();
        let apogee_m = |drag_factor: f64| {
            let (drawn, events) = card.drawn(&case, &Shift { drag_factor, ..Shift::NONE });
            flown(&case, &drawn, &events).0.apogee_m
        };
        let (less, with_more) = (apogee_m(1.0), apogee_m(more));
        prop_assert!(with_more < less, "{with_more} m with {more} times the drag, {less} m with the card's");
    }

    /// A longer delay never ejects earlier, whatever was drawn, and never after no ejection at all.
    #[test]
    fn a_longer_delay_never_ejects_earlier(
        card in cards(),
        outside_tolerance in 0.0..0.5,
        altimeter in prop::option::of(prop_oneof![Just(Electronics::Apogee), (5.0..500.0).prop_map(Electronics::Height)]),
        nominal in any::<bool>(),
    ) {
        let mut inputs = card.inputs();
        inputs.spread.delay_out_of_tolerance_share = Some(outside_tolerance);
        inputs.motor.delay_from_nominal_burn = nominal;
        let [a, b] = card.delays_s;
        inputs.question.ways = [a.min(b), a.max(b)]
            .map(|d| Deployment { motor_delay_s: Some(d), electronics: altimeter })
            .to_vec();
        let case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
        let (drawn, events) = card.drawn(&case, &Shift::NONE);
        let (flown, _) = flown(&case, &drawn, &events);
        let time = |k: usize| flown.deployed[k].ejection.map_or(f64::INFINITY, |e| e.time_s);
        prop_assert!(time(1) >= time(0), "{} s, then {} s", time(0), time(1));
    }

    /// Asking for more flights leaves the first ones what they were.
    #[test]
    fn more_flights_keep_the_first(card in cards(), flights in 64_u64..512, times in 2_u64..50, sobol in any::<bool>()) {
        let points = if sobol { PointSet::Sobol } else { PointSet::Pseudorandom };
        let of = |flights: u64| {
            let mut inputs = card.inputs();
            (inputs.question.flights, inputs.question.points, inputs.question.seed) = (flights, points, card.seed);
            let case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
            replay(&case, card.flight % 64)
        };
        let (few, many) = (of(flights), of(flights * times));
        prop_assert!(few.drawn == many.drawn && few.path == many.path);
        prop_assert_eq!(few.flown.deployed, many.flown.deployed);
    }
}

/// Kinetic, rotational and potential energy, J.
fn energy_j(drawn: &Drawn, s: &State<f64>) -> f64 {
    let m = drawn.mass.at(0.0);
    let gravity = drawn.gravity.surface_m_s2;
    m.mass_kg * (0.5 * dot(s.velocity, s.velocity) + gravity * s.position[2])
        + 0.5 * m.inertia_kg_m2 * dot(s.spin, s.spin)
}

/// Coasts through still air by the engine's own steps, a third as long as the flights', and holds the energy after
/// each against that before. A step's own error is far below a millionth of the energy that moves about.
fn energy_never_grows(drawn: &Drawn, start: State<f64>) -> Result<(), TestCaseError> {
    let mut s = start;
    let now = drawn.instant(0.0, Side::After);
    for _ in 0..4000 {
        let (rate, flow) = derivative_and_flow(drawn, &now, &s, &Hold::Free);
        let dt = (0.4 / flow.fastest_rate(&s, &rate, 0.0, true).max(1e-9)).min(0.03);
        let next = step(drawn, &s, &rate, dt, &now, &now, &Hold::Free).state;
        let (before, after) = (energy_j(drawn, &s), energy_j(drawn, &next));
        let moving = before - drawn.mass.at(0.0).mass_kg * drawn.gravity.surface_m_s2 * s.position[2];
        prop_assert!(after - before <= 1e-6 * moving, "from {before} to {after} J within {dt} s at {s:?}, {flow:?}");
        s = next;
        if s.position[2] < 0.0 {
            break;
        }
    }
    Ok(())
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

proptest! {
    #![proptest_config(config(96))]

    /// Energy never grows from the state at burnout on, tipped and spinning a little.
    #[test]
    fn energy_never_grows_in_coast(card in cards(), off_deg in 0.0..10.0, spin_rad_s in 0.0..3.0, towards in unit()) {
        let case = Card::straight(card.inputs());
        let (drawn, events) = card.drawn(&case, &Shift::NONE);
        let (_, ascent) = flown(&case, &drawn, &events);
        let burnout = drawn.thrust.end_s();
        let Some(node) = ascent.path.nodes.iter().find(|n| n.time_s >= burnout) else { return Ok(()) };
        let tipped = along(node.nose, towards, libm::sin(f64::to_radians(off_deg)));
        let nose = tipped.map(|x| x / norm(tipped));
        let across = along(towards, nose, -dot(towards, nose));
        let start = State {
            position: node.position_m,
            velocity: node.velocity_m_s,
            nose,
            spin: across.map(|x| x * spin_rad_s),
        };
        energy_never_grows(&coasting(&card, &case), start)?;
    }

    /// Nor in any attitude, however it tumbles.
    #[test]
    fn energy_never_grows_in_a_tumble(
        card in cards(),
        speed_m_s in 1.0..200.0,
        spin_rad_s in 0.0..10.0,
        (heading, nose, towards) in (unit(), unit(), unit()),
    ) {
        let case = Card::straight(card.inputs());
        let across = along(towards, nose, -dot(towards, nose));
        let start = State {
            position: [0.0, 0.0, 500.0],
            velocity: heading.map(|x| x * speed_m_s),
            nose,
            spin: across.map(|x| x * spin_rad_s),
        };
        energy_never_grows(&coasting(&card, &case), start)?;
    }
}

/// An input with its accepted range, the name that a fault gives it, and the way to set it: `false` where a card has no
/// such input.
struct Field {
    limit: Limit,
    name: &'static str,
    set: fn(&mut Inputs, f64) -> bool,
}

impl Field {
    fn counts(&self) -> bool {
        self.limit.what.starts_with("number of")
    }
}

fn shape(i: &mut Inputs, set: impl FnOnce(&mut Shape)) -> bool {
    i.airframe.shape.as_mut().map(set).is_some()
}

fn canopy(i: &mut Inputs, set: impl FnOnce(&mut f64, &mut Option<f64>, &mut Option<f64>)) -> bool {
    match &mut i.recovery.first {
        Device::Parachute { diameter_m, drag_coefficient, fill_constant } => {
            set(diameter_m, drag_coefficient, fill_constant);
            true
        }
        _ => false,
    }
}

fn streamer(i: &mut Inputs, length: Option<f64>, width: Option<f64>) -> bool {
    i.recovery.first =
        Device::Streamer { length_m: length.unwrap_or(1.0), width_m: width.unwrap_or(0.1), drag_coefficient: None };
    true
}

fn cluster(i: &mut Inputs, count: f64) {
    i.motor.count = count as usize;
    i.motor.diameter_m = None;
    i.motor.propellant_kg = i.motor.propellant_kg.map(|kg| kg / count.max(1.0));
}

fn area(i: &mut Inputs, centre_m: [f64; 2], radius_m: f64) -> bool {
    i.site.areas.push(Area {
        name: "field".into(),
        outline: Outline::Circle { centre_m, radius_m },
        people: Some(9.0),
    });
    true
}

fn whole(set: impl FnOnce()) -> bool {
    set();
    true
}

macro_rules! fields {
    ($($limit:ident $name:literal |$i:ident, $x:ident| $set:expr;)*) => {
        vec![$(Field { limit: limits::$limit, name: $name, set: |$i, $x| $set },)*]
    };
}

/// Every kind of limit at least once, by the name of its field in a request.
#[rustfmt::skip]
fn fields() -> Vec<Field> {
    let mut all = fields! {
        DIAMETER "card.airframe.diameter" |i, x| whole(|| i.airframe.diameter_m = x);
        DIAMETER "card.motor.diameter" |i, x| whole(|| i.motor.diameter_m = Some(x));
        DIAMETER "card.airframe.shape.nose.base_diameter" |i, x| shape(i, |s| s.nose.base_diameter_m = x);
        DIAMETER "card.airframe.shape.fins.0.body_diameter" |i, x| shape(i, |s| s.fin_sets[0].body_diameter_m = x);
        LENGTH "card.airframe.length" |i, x| whole(|| i.airframe.length_m = x);
        STATION "card.airframe.centre_of_gravity" |i, x| whole(|| i.airframe.centre_of_gravity_m = x);
        STATION "card.airframe.centre_of_gravity_burnout" |i, x| whole(|| i.airframe.centre_of_gravity_burnout_m = Some(x));
        STATION "card.airframe.centre_of_pressure" |i, x| whole(|| i.airframe.centre_of_pressure_m = Some(x));
        STATION "card.motor.propellant_centre" |i, x| whole(|| i.motor.propellant_centre_m = Some(x));
        STATION "launch.forward_guide" |i, x| whole(|| i.launch.forward_guide_m = Some(x));
        STATION "launch.aft_guide" |i, x| whole(|| i.launch.aft_guide_m = Some(x));
        STATION "card.airframe.shape.fins.0.station" |i, x| shape(i, |s| s.fin_sets[0].station_m = x);
        STATION "card.airframe.shape.guides.0.station" |i, x| shape(i, |s| s.guides[0].station_m = x);
        MASS "card.airframe.mass" |i, x| whole(|| i.airframe.mass_kg = x);
        PROPELLANT_MASS "card.motor.propellant_mass" |i, x| whole(|| i.motor.propellant_kg = Some(x));
        INERTIA "card.airframe.pitch_inertia" |i, x| whole(|| i.airframe.inertia_kg_m2 = Some(x));
        INERTIA "card.airframe.pitch_inertia_burnout" |i, x| whole(|| i.airframe.inertia_burnout_kg_m2 = Some(x));
        NORMAL_FORCE_SLOPE "card.airframe.normal_force_slope" |i, x| whole(|| i.airframe.normal_force_slope_per_rad = Some(x));
        DRAG_COEFFICIENT "card.airframe.drag_coefficient" |i, x| whole(|| i.airframe.drag = Some(Drag::Coefficient(x)));
        DRAG_COEFFICIENT "card.airframe.drag_table.0.drag_coefficient" |i, x| whole(|| i.airframe.drag = Some(Drag::Table(vec![(0.0, x), (1.0, 0.6)])));
        MACH "card.airframe.drag_table.0.mach" |i, x| whole(|| i.airframe.drag = Some(Drag::Table(vec![(x, 0.6)])));
        TAIL_FIRST "card.airframe.tail_first_factor" |i, x| whole(|| i.airframe.tail_first_factor = Some(x));
        FIN_SPAN "card.airframe.shape.fins.0.span" |i, x| shape(i, |s| s.fin_sets[0].span_m = x);
        FIN_CHORD "card.airframe.shape.fins.0.tip_chord" |i, x| shape(i, |s| s.fin_sets[0].tip_chord_m = x);
        FIN_SWEEP "card.airframe.shape.fins.0.sweep" |i, x| shape(i, |s| s.fin_sets[0].sweep_m = x);
        FIN_THICKNESS "card.airframe.shape.fins.0.thickness" |i, x| shape(i, |s| s.fin_sets[0].thickness_m = x);
        FIN_COUNT "card.airframe.shape.fins.0.count" |i, x| shape(i, |s| s.fin_sets[0].count = x as usize);
        ROUGHNESS "card.airframe.shape.roughness" |i, x| shape(i, |s| s.roughness_m = x);
        THRUST "card.motor.thrust_curve.1.1" |i, x| whole(|| i.motor.thrust = ThrustInput::Curve(vec![(0.0, 500.0), (0.5, x), (1.0, 0.0)]));
        CURVE_TIME "card.motor.thrust_curve.2.0" |i, x| whole(|| i.motor.thrust = ThrustInput::Curve(vec![(0.0, 500.0), (0.5, 500.0), (x, 0.0)]));
        MOTOR_COUNT "card.motor.count" |i, x| whole(|| cluster(i, x));
        SHARE "card.motor.one_unlit_share" |i, x| whole(|| { cluster(i, 3.0); i.motor.one_unlit_share = Some(x); });
        CANOPY_DIAMETER "card.recovery.first.diameter" |i, x| canopy(i, |d, _, _| *d = x);
        CANOPY_DRAG "card.recovery.first.drag_coefficient" |i, x| canopy(i, |_, c, _| *c = Some(x));
        FILL_CONSTANT "card.recovery.first.fill_constant" |i, x| canopy(i, |_, _, n| *n = Some(x));
        STREAMER "card.recovery.first.length" |i, x| streamer(i, Some(x), None);
        STREAMER "card.recovery.first.width" |i, x| streamer(i, None, Some(x));
        HEIGHT "card.recovery.main_height" |i, x| whole(|| i.recovery.main = Some((i.recovery.first, x)));
        HEIGHT "site.ceiling" |i, x| whole(|| i.site.ceiling_m = Some(x));
        RAIL_LENGTH "launch.rail_length" |i, x| whole(|| i.launch.rail_length_m = x);
        TILT "launch.tilt" |i, x| whole(|| i.launch.tilt_rad = Some(x));
        BEARING "launch.azimuth" |i, x| whole(|| i.launch.azimuth_rad = Some(x));
        BEARING "wind.surface.direction" |i, x| i.wind.surface.as_mut().map(|s| s.direction = Direction::From(x)).is_some();
        BEARING "wind.layers.1.direction" |i, x| whole(|| i.wind.layers[1].direction_from_rad = x);
        FRICTION "launch.friction" |i, x| whole(|| i.launch.friction = Some(x));
        LATITUDE "site.latitude" |i, x| whole(|| i.site.latitude_rad = Some(x));
        ELEVATION "site.elevation" |i, x| whole(|| i.site.elevation_m = Some(x));
        PRESSURE "site.station_pressure" |i, x| whole(|| (i.site.elevation_m, i.site.pressure) = (None, Some(PressureInput::Station(x))));
        PRESSURE "site.altimeter_setting" |i, x| whole(|| i.site.pressure = Some(PressureInput::AltimeterSetting(x)));
        TEMPERATURE "site.temperature" |i, x| whole(|| i.site.temperature_k = Some(x));
        SURFACE_WIND_SPEED "wind.surface.speed" |i, x| i.wind.surface.as_mut().map(|s| s.speed_m_s = x).is_some();
        SURFACE_WIND_SPEED "wind.surface.gust" |i, x| i.wind.surface.as_mut().map(|s| { s.speed_m_s = 0.0; s.gust_m_s = Some(x); }).is_some();
        TURBULENCE_WIND "wind.turbulence_wind_at_20_ft" |i, x| whole(|| i.wind.gustiness = Some(Gustiness::WindAt20Ft(x)));
        MEASURING_HEIGHT "wind.surface.measuring_height" |i, x| i.wind.surface.as_mut().map(|s| s.measuring_height_m = x).is_some();
        WIND_SPEED "wind.layers.2.speed" |i, x| whole(|| i.wind.layers[2].speed_m_s = x);
        WIND_HEIGHT "wind.layers.0.height_above_ground" |i, x| whole(|| { i.wind.layers.truncate(1); i.wind.layers[0].height_above_ground_m = x; });
        ROUGHNESS_LENGTH "wind.roughness_length" |i, x| whole(|| i.wind.law = Some(SurfaceLaw::Log { roughness_m: x }));
        POWER_EXPONENT "wind.power_exponent" |i, x| whole(|| i.wind.law = Some(SurfaceLaw::Power { exponent: x }));
        CORRELATION_LENGTH "spread.wind.correlation_length" |i, x| whole(|| i.spread.wind_correlation_length_m = Some(x));
        WIND_ERROR "spread.wind.component_sd" |i, x| whole(|| i.spread.wind_component_sd_m_s = Some(x));
        DIRECTION_ERROR "spread.wind.direction_sd" |i, x| whole(|| i.spread.wind_direction_sd_rad = Some(x));
        PEOPLE "site.areas.0.people" |i, x| area(i, [10.0, 0.0], 50.0) && i.site.areas.iter_mut().all(|a| a.people.replace(x).is_some());
        SHARE "failures.no_ejection" |i, x| whole(|| i.failures = vec![(Failure::NoEjection, x)]);
        OUT_OF_TOLERANCE "spread.delay_out_of_tolerance_share" |i, x| whole(|| i.spread.delay_out_of_tolerance_share = Some(x));
        DELAY "delays.0" |i, x| whole(|| i.question.ways[0].motor_delay_s = Some(x));
        SPEED_LIMIT "limits.deploy_speed.0" |i, x| whole(|| i.question.limits_m_s[0] = x);
        PLACE "site.areas.0.circle.east" |i, x| area(i, [x, 0.0], 50.0);
        AREA_RADIUS "site.areas.0.circle.radius" |i, x| area(i, [10.0, 0.0], x);
        FLIGHTS "flights" |i, x| whole(|| i.question.flights = x as u64);
        DRIVERS "drivers" |i, x| whole(|| i.question.drivers = Some(x as u64));
        LIMIT_COUNT "limits.deploy_speed" |i, x| whole(|| i.question.limits_m_s = (0..x as usize).map(|k| 5.0 + k as f64).collect());
        DELAY_COUNT "delays" |i, x| whole(|| i.question.ways = (0..x as usize).map(|k| rockets::delay(k as f64)).collect());
        CONDITION_CHANCE "condition.chance" |i, x| whole(|| i.question.accept_chance = Some(x));
    };
    all.push(Field {
        // No shoulder is shorter than that.
        limit: Limit { min: 0.001, ..limits::PART_LENGTH },
        name: "card.airframe.shape.shoulders_and_boattails.0.length",
        set: |i, x| shape(i, |s| {
            let d = s.base_diameter_m;
            s.transitions = vec![Transition { station_m: 0.06, length_m: x, front_diameter_m: d, rear_diameter_m: d }];
        }),
    });
    all
}

/// A rocket that is asked little and in two ways, so that its whole answer is quick.
fn small(mut inputs: Inputs) -> Inputs {
    inputs.question.flights = 64;
    inputs.question.ways.truncate(1);
    inputs.question.ways.push(Deployment { motor_delay_s: Some(6.0), electronics: Some(Electronics::Apogee) });
    inputs
}

/// What of a whole answer is no finite number, with what stands about it. The answer is walked by its debug text, in
/// which every number and every sentence of it stands.
fn not_finite(case: &Case) -> Option<String> {
    let frame = Frame { case, cell_m: cell_m(case) };
    let flown = tally(&frame, 0..64, &Shift::NONE, &GO).unwrap_or_else(|| panic!("nobody stops it"));
    let text = format!("{:?}", report(case, &flown, Vec::new()));
    let letter = |c: Option<char>| c.is_some_and(char::is_alphanumeric);
    let alone =
        |word: &str, k: usize| !letter(text[..k].chars().next_back()) && !letter(text[k + word.len()..].chars().next());
    let at = |word: &str| text.match_indices(word).map(|m| m.0).find(|k| alone(word, *k));
    at("NaN").or(at("inf")).map(|k| text.chars().skip(k.saturating_sub(60)).take(80).collect())
}

fn named(faults: &[Fault], field: &Field) -> bool {
    faults.iter().any(|f| f.field == field.name)
}

#[test]
fn every_limit_is_walked() {
    let walked = fields();
    for limit in limits::ALL {
        assert!(walked.iter().any(|f| f.limit.what == limit.what), "no field of the walk has the limit {}", limit.what);
    }
}

/// Each input past its ends is refused by its own name, on every rocket that has it.
#[test]
fn beyond_the_bounds_is_refused_by_name() {
    for field in fields() {
        let Limit { min, max, .. } = field.limit;
        let past = if field.counts() {
            vec![min - 1.0, max + 1.0]
        } else {
            vec![min.next_down(), max.next_up(), f64::NEG_INFINITY, f64::INFINITY]
        };
        for (rocket, inputs) in rockets::all() {
            for x in &past {
                let mut inputs = small(inputs.clone());
                if (field.set)(&mut inputs, *x) {
                    match Case::new(inputs) {
                        Ok(_) => panic!("{rocket}: {} of {x} is accepted", field.name),
                        Err(faults) => assert!(named(&faults, &field), "{rocket}: {} of {x}: {faults:?}", field.name),
                    }
                }
            }
        }
    }
}

/// An input that is no number is refused by its own name: no case is made of it.
#[test]
fn no_number_is_refused_by_name() {
    let mut wrong = Vec::new();
    for field in fields().iter().filter(|f| !f.counts()) {
        for (rocket, inputs) in rockets::all() {
            let mut inputs = small(inputs);
            if !(field.set)(&mut inputs, f64::NAN) {
                continue;
            }
            match std::panic::catch_unwind(|| Case::new(inputs)) {
                Ok(Err(faults)) if named(&faults, field) => {}
                Ok(Err(_)) => wrong.push(format!("{rocket}: {} is refused by another name", field.name)),
                Ok(Ok(_)) => wrong.push(format!("{rocket}: {} is accepted", field.name)),
                Err(_) => wrong.push(format!("{rocket}: {} panics", field.name)),
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Each input at its ends is refused for what it contradicts, never for its own range, or flown to a finite answer.
#[test]
fn bounds_leave_no_nan() {
    let tried: Vec<(u32, Vec<String>)> = fields()
        .par_iter()
        .map(|field| {
            let (mut flown, mut wrong) = (0, Vec::new());
            for (rocket, inputs) in rockets::all() {
                for x in [field.limit.min, field.limit.max] {
                    let mut inputs = small(inputs.clone());
                    if !(field.set)(&mut inputs, x) {
                        continue;
                    }
                    let at = format!("{rocket}, {} of {x}", field.name);
                    match Case::new(inputs) {
                        Ok(case) => {
                            flown += 1;
                            wrong.extend(not_finite(&case).map(|found| format!("{at}: {found}")));
                        }
                        Err(faults) => {
                            let range = format!("{} is ", field.limit.what);
                            let mut own = faults.iter().filter(|f| f.field == field.name);
                            if own.any(|f| f.problem.starts_with(&range)) {
                                wrong.push(format!("{at}: {faults:?}"));
                            }
                        }
                    }
                }
            }
            (flown, wrong)
        })
        .collect();
    let wrong: Vec<String> = tried.iter().flat_map(|t| t.1.clone()).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let never: Vec<&str> = fields().iter().zip(&tried).filter(|(_, t)| t.0 == 0).map(|(f, _)| f.name).collect();
    println!("at no bound flown: {never:?}");
}

proptest! {
    #![proptest_config(config(96))]

    /// Several inputs at once anywhere between their ends, the ends among them.
    #[test]
    fn anything_inside_the_limits_is_refused_or_finite(
        rocket in 0_usize..4,
        changes in prop::collection::vec((0_usize..1000, prop_oneof![Just(0.0), Just(1.0), 0.0..1.0]), 1..6),
    ) {
        let all = fields();
        let mut inputs = small(rockets::all()[rocket].1.clone());
        for (which, share) in &changes {
            let field = &all[which % all.len()];
            let Limit { min, max, .. } = field.limit;
            (field.set)(&mut inputs, min + share * (max - min));
        }
        if let Ok(case) = Case::new(inputs) {
            prop_assert_eq!(not_finite(&case), None);
        }
    }
}
