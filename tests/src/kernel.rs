//! The engine's derivative and step for one flight, as every other way of flying in this crate sees them: the one place
//! that knows their signatures. And the phases on the rail, which each of those ways ends with its own means.

use slowpoint_sim::flight::{
    Ascent, Asked, Drawn, Events, Flow, Flown, Hold, Node, RailExit, Start, State, Subject, Watchfulness, WholeLaw,
    derivative_and_flow, fly_ascent, land_alone, step,
};
use slowpoint_sim::lanes::{along, dot};
use slowpoint_sim::thrust::Side;
use slowpoint_sim::wind::DriftTable;

/// Rate of change of a state at a time, and the flow round the rocket.
#[inline(always)]
pub fn rate_and_flow(
    drawn: &Drawn,
    time_s: f64,
    side: Side,
    state: &State<f64>,
    hold: &Hold,
) -> (State<f64>, Flow<f64>) {
    derivative_and_flow(drawn, &drawn.instant(time_s, side), state, hold)
}

/// Rate of change of a state at a time.
#[inline(always)]
pub fn rate(drawn: &Drawn, time_s: f64, side: Side, state: &State<f64>, hold: &Hold) -> State<f64> {
    rate_and_flow(drawn, time_s, side, state, hold).0
}

/// The engine's own ascent, closely followed as long as one of the ways may deploy, with steps so many times finer than
/// usual.
pub fn engine(drawn: &Drawn, events: &Events, asked: &Asked, finer: f64, out: &mut Ascent) {
    fly_ascent(drawn, watched(drawn, events, asked), finer, out);
}

/// How far a flight is followed of which all is asked.
pub fn watched(drawn: &Drawn, events: &Events, asked: &Asked) -> Watchfulness {
    events.watched(asked.ways, Some(asked), drawn)
}

/// One step of the classical fourth-order method from a state whose derivative is `first`.
#[inline(always)]
pub fn rk4(drawn: &Drawn, state: &State<f64>, first: &State<f64>, time_s: f64, step_s: f64, hold: &Hold) -> State<f64> {
    // A step that ends on a node of the thrust table belongs to what was before it.
    let at = |ahead_s: f64| drawn.instant(time_s + ahead_s, Side::Before);
    step(drawn, state, first, step_s, &at(0.5 * step_s), &at(step_s), hold).state
}

/// A recorded step.
pub fn node(time_s: f64, state: &State<f64>, rate: &State<f64>, flow: &Flow<f64>) -> Node {
    Node {
        time_s,
        position_m: state.position,
        velocity_m_s: state.velocity,
        acceleration_m_s2: rate.velocity,
        nose: state.nose,
        airspeed_m_s: flow.airspeed_m_s,
    }
}

/// A phase on the rail, which ends when a guide has travelled so far.
#[derive(Debug, Clone, Copy)]
pub struct Phase {
    /// What holds the rocket.
    pub hold: Hold,
    /// Unit vector along the rail.
    pub direction: [f64; 3],
    /// Distance of what travels behind the centre of gravity, m.
    lever_m: f64,
    /// Where it began.
    origin_m: [f64; 3],
    goal_m: f64,
}

impl Phase {
    /// Travel beyond the end of the phase, m: negative as long as it lasts.
    pub fn beyond_m(&self, s: &State<f64>) -> f64 {
        let at = along(s.position, s.nose, -self.lever_m);
        dot(along(at, self.origin_m, -1.0), self.direction) - self.goal_m
    }

    /// The state at rest on a flight's rail, and the phase that begins there: both guides hold.
    pub fn first(drawn: &Drawn) -> (State<f64>, Self) {
        let Start::Rail { rail, cg_height_m } = drawn.start else { panic!("drawn flights start on a rail") };
        let d = rail.direction;
        let rest = State { position: [0.0, 0.0, cg_height_m], velocity: [0.0; 3], nose: d, spin: [0.0; 3] };
        let hold = Hold::Guided { rail: d, friction: rail.friction };
        (rest, Self { hold, direction: d, lever_m: 0.0, origin_m: rest.position, goal_m: rail.forward_travel_m })
    }

    /// What comes after this phase: the last guide alone, or nothing any more.
    pub fn next(&self, drawn: &Drawn, time_s: f64, s: &State<f64>) -> Option<Self> {
        let (Start::Rail { rail, .. }, Hold::Guided { friction, .. }) = (drawn.start, self.hold) else { return None };
        let goal_m = rail.last_travel_m - rail.forward_travel_m;
        if goal_m <= 1e-9 {
            return None;
        }
        let lever_m = rail.aft_guide_m - drawn.instant(time_s, Side::After).cg;
        let hold = Hold::TipOff { rail: self.direction, friction, guide_m: rail.aft_guide_m };
        Some(Self { hold, lever_m, origin_m: along(s.position, s.nose, -lever_m), goal_m, ..*self })
    }
}

/// Halves a bracket at whose low end something is not yet so and at whose high end it is, down to a tolerance. Gives
/// the high end.
pub fn halved(low: f64, high: f64, tolerance: f64, mut is: impl FnMut(f64) -> bool) -> f64 {
    let (mut low, mut high) = (low, high);
    while high - low > tolerance {
        let middle = 0.5 * (low + high);
        if is(middle) { high = middle } else { low = middle }
    }
    high
}

/// When thrust first beats weight and friction: looked for on a comb, then halved to a tolerance.
pub fn lift_off_s(drawn: &Drawn, rest: &State<f64>, phase: &Phase, comb_s: f64, tolerance_s: f64) -> Option<f64> {
    let rises = |t: f64| dot(rate(drawn, t, Side::After, rest, &phase.hold).velocity, phase.direction) > 0.0;
    if rises(0.0) {
        return Some(0.0);
    }
    let teeth = (drawn.thrust.end_s() / comb_s).ceil() as u64;
    let tooth = (1..=teeth).map(|k| k as f64 * comb_s).find(|t| rises(*t))?;
    Some(halved(tooth - comb_s, tooth, tolerance_s, rises))
}

/// What leaving the rail looked like to one who only knows the state then. The margin and the angle of attack there are
/// the engine's alone.
pub fn rail_exit(time_s: f64, state: &State<f64>, direction: [f64; 3], forward_speed_m_s: f64) -> RailExit {
    RailExit { time_s, forward_speed_m_s, speed_m_s: dot(state.velocity, direction), ..RailExit::default() }
}

/// From an ascent flown by any means to the whole flight, by the engine's own deployments and descents.
pub fn landed(drawn: &Drawn, events: &Events, asked: &Asked, ascent: &Ascent) -> Flown {
    let drift = DriftTable::new(&drawn.wind, &drawn.air, |z| drawn.gravity.at(z), ascent.apogee_m);
    let deployed = asked.ways.iter().map(|way| events.deploy(way, drawn, ascent, &drift)).collect();
    let subject = Subject { asked, drawn, events, ascent, drift: &drift };
    let whole_law = WholeLaw::of_all(&[subject], land_alone).pop().flatten();
    Flown { whole_law, ..Flown::of(drawn, events, ascent, deployed) }
}

/// A whole flight as the engine flies it, its ascent with steps so many times finer than usual.
pub fn finer_flight(drawn: &Drawn, events: &Events, asked: &Asked, finer: f64, ascent: &mut Ascent) -> Flown {
    engine(drawn, events, asked, finer, ascent);
    if !events.suffices(asked.ways, drawn, ascent) {
        let whole = Watchfulness { to_ground: true, ..watched(drawn, events, asked) };
        fly_ascent(drawn, whole, finer, ascent);
    }
    landed(drawn, events, asked, ascent)
}

/// This long after apogee the engine looks for the slowest instant, s.
const SLOWEST_SEARCHED_S: f64 = 3.0;

/// Whether nothing is asked any more of a flight that has come to a recorded step: where the engine, too, is done with
/// most.
pub fn over(watched: &Watchfulness, drawn: &Drawn, ascent: &Ascent, now: &Node) -> bool {
    !watched.to_ground
        && now.velocity_m_s[2] <= 0.0
        && now.time_s >= watched.until_s.max(drawn.thrust.end_s())
        && now.time_s >= ascent.apogee_s + watched.after_apogee_s.max(SLOWEST_SEARCHED_S)
        && now.position_m[2] <= watched.above_m
}
