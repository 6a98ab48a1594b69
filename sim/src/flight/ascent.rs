//! From first thrust to the ground without any deployment: rail, tip-off, free flight, apogee, fall.

use super::fleet::Fleet;
use super::forces::{Flow, Hold, State, derivative, derivative_and_flow};
use super::parts::{Drawn, Instant, Number, Parts, Start};
use super::path::{Node, Path};
use super::step::{Stepped, step};
use crate::lanes::{Lane, Vector, along, any, both, dot, lanes_where, less, minus, not};

/// How long a step may be.
struct Pace<L = f64> {
    /// At most this, s.
    longest_s: L,
    /// Step times the fastest rate of the state. The method is stable up to 2.8; the accuracy test holds the
    /// bound of 0.05 m/s with these figures.
    phase: L,
    /// 1 where a stop in the air is to be expected, else 0.
    coasting: L,
}

const RAIL: Pace = Pace { longest_s: 0.05, phase: 1.6, coasting: 0.0 };
const THRUST: Pace = Pace { longest_s: 0.04, phase: 1.5, coasting: 0.0 };
/// Coasting and falling while an ejection may still come.
const COAST: Pace = Pace { longest_s: 0.3, phase: 2.5, coasting: 1.0 };
/// Turning over, when small errors grow.
const TURNING: Pace = Pace { longest_s: 0.1, phase: 1.0, coasting: 1.0 };
/// Cosine of the angle of attack below which it counts as turning over: 30 deg.
const COS_TURNING: f64 = 0.866;
/// Falling nose first after the last ejection: only the place of a ballistic impact is still asked for.
const FALL: Pace = Pace { longest_s: 0.5, phase: 2.6, coasting: 1.0 };
/// A step may stray by this share of the airspeed while an ejection may still come ...
const STRAYS: f64 = 4e-5;
/// ... by this one while turning over, whatever may come ...
const STRAYS_TURNING: f64 = 4e-6;
/// ... and by this share after that ...
const STRAYS_FALLING: f64 = 1e-3;
/// ... counted from this airspeed when it is nearly zero, m/s.
const STILL_M_S: f64 = 0.2;
/// A step that strayed by this many times what it may is taken again, half as long.
const REFUSED: f64 = 8.0;
/// No step is made shorter than this for it, s.
const SHORTEST_S: f64 = 1e-4;
/// The next step aims below what it may stray by ...
const AIM: f64 = 0.9;
/// ... and is at most this many times as long as the last.
const GROW: f64 = 4.0;
/// This long after apogee the slowest instant is past, s ...
const SLOWEST_SEARCHED_S: f64 = 3.0;
/// ... if the airspeed is then this many times the slowest.
const SLOWEST_LEFT: f64 = 1.5;
/// So close to a node of the thrust table it is reached, s.
const NODE_S: f64 = 1e-9;
/// The end of the rail is found to this, s.
const GOAL_S: f64 = 1e-10;
/// Lift-off is found to this, s.
const LIFT_OFF_S: f64 = 1e-9;
/// A flight that takes more steps than this is not trusted.
const MOST_STEPS: usize = 30_000;
/// More than this from vertical under thrust is an outcome of its own: cos 60 deg.
const COS_STEEPEST: f64 = 0.5;

/// How the rocket left the rail.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct RailExit {
    /// Seconds after first thrust at which the last guide left.
    pub time_s: f64,
    /// Speed along the ground frame when the forward guide left, m/s.
    pub forward_speed_m_s: f64,
    /// Speed when the last guide left, m/s.
    pub speed_m_s: f64,
    /// Angle of attack when the last guide left, rad.
    pub angle_of_attack_rad: f64,
    /// Distance of the centre of pressure behind the centre of gravity there, at that angle of attack, m.
    pub margin_m: f64,
}

/// Things that went wrong with a whole flight, whatever the delay. Several may hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Mishaps {
    /// Thrust never beat weight and friction, or the rocket stopped on the rail.
    pub never_left_rail: bool,
    /// The air came from behind while thrusting, or the centre of pressure was ahead leaving the rail.
    pub unstable: bool,
    /// More than 60 degrees from vertical while thrusting.
    pub beyond_sixty_deg: bool,
    /// Above the Mach bound of the aerodynamics or the top of the model.
    pub outside_model: bool,
    /// The integration did not settle.
    pub untrusted: bool,
}

/// A whole flight without deployment.
#[derive(Debug, Clone)]
pub struct Ascent {
    /// Every step.
    pub path: Path,
    /// Leaving the rail.
    pub rail_exit: RailExit,
    /// Time of the highest point, s after first thrust.
    pub apogee_s: f64,
    /// Height of the highest point above the pad, m.
    pub apogee_m: f64,
    /// Largest Mach number.
    pub peak_mach: f64,
    /// When it reached the ground, s after first thrust; infinite where it was not followed so far.
    pub ground_s: f64,
    /// What went wrong.
    pub mishaps: Mishaps,
}

impl Default for Ascent {
    /// Not flown yet.
    fn default() -> Self {
        Self {
            path: Path::default(),
            rail_exit: RailExit::default(),
            apogee_s: 0.0,
            apogee_m: 0.0,
            peak_mach: 0.0,
            ground_s: f64::INFINITY,
            mishaps: Mishaps::default(),
        }
    }
}

impl Ascent {
    /// Forgets the flight but keeps the memory.
    pub fn clear(&mut self) {
        let mut path = core::mem::take(&mut self.path);
        path.clear();
        *self = Self { path, ..Self::default() };
    }
}

/// How long an ascent has to be followed closely, because something may still eject.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Watchfulness {
    /// Until this time, s after first thrust.
    pub until_s: f64,
    /// And until this long after apogee, s.
    pub after_apogee_s: f64,
    /// And while higher than this above the pad, m.
    pub above_m: f64,
    /// Loosely until this time, s after first thrust.
    pub loosely_until_s: f64,
    /// Whether the place of a ballistic impact is asked for: then loosely to the ground.
    pub to_ground: bool,
}

impl Watchfulness {
    /// To the ground.
    pub const WHOLE: Self = Self { until_s: f64::INFINITY, to_ground: true, ..Self::LEAST };

    /// As far as the slowest instant.
    pub const LEAST: Self =
        Self { until_s: 0.0, after_apogee_s: 0.0, above_m: f64::INFINITY, loosely_until_s: 0.0, to_ground: false };

    /// Nothing falls faster between sensing and line stretch, m/s: assumption. What does is flown on to the ground.
    const FASTEST_FALL_M_S: f64 = 100.0;

    /// And down to where it is at line stretch when something fires at a height above the pad coming down.
    pub(super) fn down_to(&mut self, height_m: f64, line_stretch_lag_s: f64) {
        self.above_m = self.above_m.min(height_m - Self::FASTEST_FALL_M_S * line_stretch_lag_s);
    }

    /// And to line stretch after a lag of apogee sensing.
    pub(super) fn past_apogee(&mut self, lag_s: f64, line_stretch_lag_s: f64) {
        self.after_apogee_s = self.after_apogee_s.max(lag_s + line_stretch_lag_s);
    }

    /// As long as either wants.
    pub fn both(self, other: Self) -> Self {
        Self {
            until_s: self.until_s.max(other.until_s),
            after_apogee_s: self.after_apogee_s.max(other.after_apogee_s),
            above_m: self.above_m.min(other.above_m),
            loosely_until_s: self.loosely_until_s.max(other.loosely_until_s),
            to_ground: self.to_ground || other.to_ground,
        }
    }
}

impl Pace {
    /// The same for every lane.
    #[inline(always)]
    fn all<L: Lane>(&self) -> Pace<L> {
        Pace { longest_s: L::splat(self.longest_s), phase: L::splat(self.phase), coasting: L::splat(self.coasting) }
    }
}

impl<L: Lane> Pace<L> {
    /// This pace in the lanes where `which` is 1, another one where it is 0.
    #[inline(always)]
    fn where_set(&self, which: L, other: &Self) -> Self {
        Self {
            longest_s: self.longest_s.where_set(which, other.longest_s),
            phase: self.phase.where_set(which, other.phase),
            coasting: self.coasting.where_set(which, other.coasting),
        }
    }
}

/// 1 where the air comes from so far off the nose that the rocket is turning over.
#[inline(always)]
fn turns_over<L: Lane>(flow: &Flow<L>) -> L {
    less(flow.axial_m_s, L::splat(COS_TURNING) * flow.airspeed_m_s)
}

/// Flights that climb side by side, a flight a lane. Each takes the steps that it would take alone: nothing of one lane
/// reaches another.
struct Flyer<'a, 'b, 'c, L: Lane> {
    fleet: Fleet<'a, 'b, L>,
    /// Number of the flight in each lane.
    who: Vec<usize>,
    time_s: L,
    now: Instant<L>,
    state: State<L>,
    /// Derivative and flow of the state, from which the next step starts.
    rate: State<L>,
    flow: Flow<L>,
    finer: f64,
    /// End of the thrust table, s.
    thrust_end_s: L,
    /// When a flight loses a fin, s; infinite for never and for done.
    change_s: L,
    /// 1 where the flight goes on, else 0.
    flying: L,
    out: &'c mut [Ascent],
}

/// A flight that begins its free flight.
struct Ready {
    who: usize,
    time_s: f64,
    state: State<f64>,
}

/// Flies one ascent into `out`. Checks ask for finer steps: paced `finer` times shorter than usual, and allowed to
/// stray `finer` times less.
pub fn fly_ascent(parts: &Drawn, watchfulness: Watchfulness, finer: f64, out: &mut Ascent) {
    fly_ascents::<f64>(&[parts], &[watchfulness], finer, core::slice::from_mut(out));
}

/// Flies the ascents of any number of flights of one airframe, as many side by side as there are lanes.
#[inline(always)]
pub fn fly_ascents<L: Lane>(flights: &[&Drawn], watchfulness: &[Watchfulness], finer: f64, out: &mut [Ascent]) {
    out.iter_mut().for_each(Ascent::clear);
    if flights.is_empty() {
        return;
    }
    let mut ready: Vec<Ready> = Vec::with_capacity(flights.len());
    let mut flyer = Flyer::<L>::new(flights, finer, out);
    for first in (0..flights.len()).step_by(L::WIDTH) {
        flyer.begin(flights, first);
        let from_rail = flyer.fleet.of_each(|d| f64::from(u8::from(matches!(d.start, Start::Rail { .. }))));
        if any(both(flyer.flying, from_rail)) {
            flyer.rail(from_rail);
        }
        for lane in lanes_where(flyer.flying) {
            ready.push(Ready { who: flyer.who[lane], time_s: flyer.time_s.lane(lane), state: flyer.state.one(lane) });
        }
    }
    flyer.free_flight(flights, watchfulness, &ready);
}

impl<'a, 'b, 'c, L: Lane> Flyer<'a, 'b, 'c, L> {
    /// Lanes yet to be given their flights.
    #[inline(always)]
    fn new(flights: &[&'b Drawn<'a>], finer: f64, out: &'c mut [Ascent]) -> Self {
        let fleet = Fleet::<L>::new(flights[0]);
        let zero = L::splat(0.0);
        let nowhere = State { position: [zero; 3], velocity: [zero; 3], nose: [zero; 3], spin: [zero; 3] };
        let still = Flow { airspeed_m_s: zero, mach: zero, axial_m_s: zero, stiffness: zero, damping: zero };
        Self {
            who: vec![0; L::WIDTH],
            time_s: zero,
            now: fleet.instant(zero),
            state: nowhere,
            rate: nowhere,
            flow: still,
            finer,
            thrust_end_s: zero,
            change_s: zero,
            flying: zero,
            fleet,
            out,
        }
    }

    /// Puts a flight into a lane, in a state at a time after its first thrust.
    fn seat(&mut self, lane: usize, who: usize, flight: &'b Drawn<'a>, time_s: f64, state: &State<f64>) {
        self.who[lane] = who;
        self.fleet.seat(lane, flight, time_s);
        self.time_s.set_lane(lane, time_s);
        self.state.set_lane(lane, state);
        self.thrust_end_s.set_lane(lane, flight.thrust.end_s());
        self.change_s.set_lane(lane, flight.change.map_or(f64::INFINITY, |c| c.at_s));
        self.flying.set_lane(lane, 1.0);
    }

    /// Puts the flights from one on at first thrust into the lanes; lanes left over hold the last one and stand still.
    fn begin(&mut self, flights: &[&'b Drawn<'a>], first: usize) {
        for lane in 0..L::WIDTH {
            let who = (first + lane).min(flights.len() - 1);
            self.seat(lane, who, flights[who], 0.0, &flights[who].at_start());
            self.flying.set_lane(lane, f64::from(u8::from(first + lane < flights.len())));
        }
        self.now = self.fleet.instant(self.time_s);
    }

    /// What the flight in a lane comes to.
    fn flight_of(&mut self, lane: usize) -> &mut Ascent {
        &mut self.out[self.who[lane]]
    }

    /// Takes the derivative of the present state, and the flow.
    #[inline(always)]
    fn look(&mut self, hold: &Hold<L>) {
        (self.rate, self.flow) = derivative_and_flow(&self.fleet, &self.now, &self.state, hold);
    }

    /// Records the present state in some lanes.
    #[inline(always)]
    fn record(&mut self, which: L) {
        let arrays = |v: &Vector<L>| [v[0].array(), v[1].array(), v[2].array()];
        let time_s = self.time_s.array();
        let (position, velocity) = (arrays(&self.state.position), arrays(&self.state.velocity));
        let (acceleration, nose) = (arrays(&self.rate.velocity), arrays(&self.state.nose));
        let airspeed = self.flow.airspeed_m_s.array();
        for lane in lanes_where(which) {
            let one = |v: &[L::Array; 3]| [v[0].as_ref()[lane], v[1].as_ref()[lane], v[2].as_ref()[lane]];
            self.out[self.who[lane]].path.nodes.push(Node {
                time_s: time_s.as_ref()[lane],
                position_m: one(&position),
                velocity_m_s: one(&velocity),
                acceleration_m_s2: one(&acceleration),
                nose: one(&nose),
                airspeed_m_s: airspeed.as_ref()[lane],
            });
        }
    }

    /// The longest step that physics and the last step's gauge allow here, ended on a node of the thrust table.
    #[inline(always)]
    fn step_s(&self, pace: &Pace<L>, gauged_s: L) -> L {
        let roll = self.fleet.number(Number::RollRate) * L::splat(core::f64::consts::TAU);
        let fastest = self.flow.fastest_rate(&self.state, &self.rate, roll, pace.coasting);
        let by_rate = pace.phase / fastest.max(L::splat(1e-9));
        let mut dt = (pace.longest_s.min(by_rate) / L::splat(self.finer)).min(gauged_s);
        // One that came on the rail is for the free flight to make.
        let change = self.change_s - self.time_s;
        dt = L::splat(0.0).below(change, dt.min(change), dt);
        let left = self.fleet.thrust_until_s() - self.time_s;
        let halved = left.below(dt * L::splat(2.0), left * L::splat(0.5), dt);
        (dt * L::splat(1.000_001)).below(left, halved, left)
    }

    #[inline(always)]
    fn stepped(&self, dt: L, hold: &Hold<L>) -> (Stepped<L>, Instant<L>) {
        let (half_way, there) = (self.time_s + dt * L::splat(0.5), self.time_s + dt);
        let (middle, end) = if self.time_s.any_below(self.thrust_end_s) {
            (self.fleet.instant(half_way), self.fleet.instant(there))
        } else {
            // Nothing but the roll moves on.
            let rolled = |time: L| Instant { fins: self.fleet.fins_at(time), ..self.now };
            (rolled(half_way), rolled(there))
        };
        (step(&self.fleet, &self.state, &self.rate, dt, &middle, &end, hold), end)
    }

    /// Takes a step over in some lanes. At a node of the thrust table the next piece begins; true when one was the end
    /// of it, where forces may jump.
    #[inline(always)]
    fn accept(&mut self, which: L, state: &State<L>, end: &Instant<L>, dt: L) -> bool {
        self.time_s = (self.time_s + dt).where_set(which, self.time_s);
        self.state = state.where_set(which, &self.state);
        self.now = end.where_set(which, &self.now);
        let mut ended = false;
        if (self.fleet.thrust_until_s() - L::splat(NODE_S)).any_below(self.time_s) {
            let at_node = less(self.fleet.thrust_until_s() - L::splat(NODE_S), self.time_s);
            for lane in lanes_where(both(at_node, which)) {
                // Exactly on the node, so that no sliver of a step is left.
                let node = self.fleet.thrust_until_s().lane(lane);
                self.time_s.set_lane(lane, node);
                self.fleet.take_thrust(lane, node);
                ended |= node >= self.thrust_end_s.lane(lane);
            }
            if ended {
                self.now = self
                    .fleet
                    .instant(self.time_s)
                    .where_set(less(self.thrust_end_s, self.time_s + L::splat(NODE_S)), &self.now);
            }
        }
        ended
    }

    /// Steps the lanes in which `which` is 1 until what they have travelled reaches the goal. Where the rocket stops
    /// before, it never leaves the rail.
    #[inline(always)]
    fn travel(&mut self, which: L, goal: L, hold: &Hold<L>, rail: Vector<L>, travel: impl Fn(&State<L>) -> L) {
        let zero = L::splat(0.0);
        let mut under_way = both(which, self.flying);
        // Lanes whose goal lies inside the step: they take it again, shortened, until it ends there.
        let (mut near, mut trial, mut longest) = (zero, zero, zero);
        self.look(hold);
        self.record(under_way);
        for _ in 0..MOST_STEPS {
            if !any(under_way) {
                break;
            }
            let paced = self.step_s(&RAIL.all(), L::splat(f64::INFINITY));
            let dt = trial.where_set(near, paced).where_set(under_way, zero);
            let (next, end) = self.stepped(dt, hold);
            let speed = dot(next.state.velocity, rail);
            let moves = less(zero, speed);
            let stopped = both(under_way, not(moves));
            if any(stopped) {
                for lane in lanes_where(stopped) {
                    self.flight_of(lane).mishaps.never_left_rail = true;
                }
                self.flying = both(self.flying, not(stopped));
                under_way = both(under_way, moves);
            }
            let beyond = travel(&next.state) - goal;
            longest = dt.where_set(not(near), longest);
            near = both(under_way, near.max(not(less(beyond, zero))));
            // Newton's method: the travel is smooth and its rate is the speed.
            trial = (dt - beyond / speed).min(longest).max(zero);
            let arrived = both(near, not(less(L::splat(GOAL_S), (trial - dt).abs())));
            let goes_on = both(under_way, not(near));
            self.accept(goes_on.max(arrived), &next.state, &end, dt);
            under_way = both(under_way, not(arrived));
            self.look(hold);
            self.record(goes_on);
        }
        for lane in lanes_where(under_way) {
            self.flight_of(lane).mishaps.untrusted = true;
            self.flight_of(lane).mishaps.never_left_rail = true;
        }
        self.flying = both(self.flying, not(under_way));
    }

    /// Moves the clock of each lane to the instant at which thrust first beats weight and friction along the rail.
    #[inline(always)]
    fn wait_for_lift_off(&mut self, which: L, hold: &Hold<L>, rail: Vector<L>) {
        let (zero, half) = (L::splat(0.0), L::splat(0.5));
        let mut waits = both(which, self.flying);
        // 0 while a lane looks at one node after the other, 1 when two enclose the place.
        let mut enclosed = zero;
        let (mut low, mut high, mut at_low, mut at_high) = (zero, zero, zero, zero);
        let mut t = zero;
        while any(waits) {
            let net = dot(derivative(&self.fleet, &self.fleet.instant(t), &self.state, hold).velocity, rail);
            let lifts = less(zero, net);
            // The force along the rail is nearly linear between two nodes: false position, the end that stays put
            // weighed half (Illinois).
            let stays_low = both(enclosed, lifts);
            let stays_high = both(enclosed, not(lifts));
            at_low = (at_low * half).where_set(stays_low, net.where_set(not(lifts), at_low));
            at_high = (at_high * half).where_set(stays_high, net.where_set(lifts, at_high));
            low = t.where_set(not(lifts), low);
            high = t.where_set(lifts, high);
            enclosed = enclosed.max(both(waits, lifts));
            let next = low - at_low * (high - low) / (at_high - at_low);
            // On the first look a lane may lift at once.
            let there = both(enclosed, not(less(L::splat(LIFT_OFF_S), (high - low).min((next - t).abs()))));
            // The end of the bracket at which it does: thrust may jump there.
            let start = (next + L::splat(LIFT_OFF_S)).min(high);
            self.time_s = start.where_set(both(waits, there), self.time_s);
            waits = both(waits, not(there));
            t = next.where_set(enclosed, t);
            for lane in lanes_where(both(waits, not(enclosed))) {
                let (node, end) = (self.fleet.thrust_until_s().lane(lane), self.thrust_end_s.lane(lane));
                if t.lane(lane) >= node {
                    self.fleet.take_thrust(lane, node);
                }
                let node = self.fleet.thrust_until_s().lane(lane);
                if node <= end {
                    t.set_lane(lane, node);
                } else {
                    self.flight_of(lane).mishaps.never_left_rail = true;
                    self.flying.set_lane(lane, 0.0);
                    waits.set_lane(lane, 0.0);
                }
            }
        }
        for lane in lanes_where(less(self.fleet.thrust_until_s() - L::splat(NODE_S), self.time_s)) {
            let node = self.fleet.thrust_until_s().lane(lane);
            self.fleet.take_thrust(lane, node);
        }
    }

    #[inline(always)]
    fn rail(&mut self, which: L) {
        let of_rail = |pick: &dyn Fn(&super::parts::Rail) -> f64| {
            self.fleet.of_each(|d| match &d.start {
                Start::Rail { rail, .. } => pick(rail),
                Start::Free(_) => 0.0,
            })
        };
        let d = [0, 1, 2].map(|k| of_rail(&|rail| rail.direction[k]));
        let friction = of_rail(&|rail| rail.friction);
        let forward = of_rail(&|rail| rail.forward_travel_m);
        let last = of_rail(&|rail| rail.last_travel_m);
        let guide_m = of_rail(&|rail| rail.aft_guide_m);
        let guided = Hold::Guided { rail: d, friction };
        let waiting = both(which, self.flying);
        self.wait_for_lift_off(which, &guided, d);
        self.now = self.fleet.instant(self.time_s);
        let origin = self.state.position;
        let stuck = both(waiting, not(self.flying));
        if any(stuck) {
            self.look(&guided);
            self.record(stuck);
        }
        self.travel(which, forward, &guided, d, |s| dot(minus(s.position, origin), d));
        let speed = dot(self.state.velocity, d);
        for lane in lanes_where(both(which, self.flying)) {
            self.flight_of(lane).rail_exit.forward_speed_m_s = speed.lane(lane);
        }
        let tips = both(which, less(forward + L::splat(1e-9), last));
        if any(both(tips, self.flying)) {
            let tip_off = Hold::TipOff { rail: d, friction, guide_m };
            let lever = guide_m - self.now.cg;
            let guide = |s: &State<L>| along(s.position, s.nose, -lever);
            let from = guide(&self.state);
            self.travel(tips, last - forward, &tip_off, d, |s| dot(minus(guide(s), from), d));
        }
        self.leave(which, d);
    }

    /// Looks at how the rocket leaves the rail.
    #[inline(always)]
    fn leave(&mut self, which: L, rail: Vector<L>) {
        let height = self.state.position[2];
        let (east, north) = self.fleet.wind(height);
        let (_, per_sound) = self.fleet.air(height);
        let v = self.state.velocity;
        let u = [v[0] - east, v[1] - north, v[2]];
        let axial = dot(u, self.state.nose);
        let across = along(u, self.state.nose, -axial);
        let (across, airspeed) = (dot(across, across).sqrt(), dot(u, u).sqrt());
        let ([_, fin], speed) = (self.fleet.by_mach(airspeed * per_sound, self.now.burning), dot(v, rail));
        for lane in lanes_where(both(which, self.flying)) {
            let p = self.fleet.flight(lane);
            // Where the normal force acts at this angle of attack.
            let angle = libm::atan2(across.lane(lane), axial.lane(lane));
            let (sin, cos) = (libm::sin(angle), libm::cos(angle).abs());
            let s = p.aero.reference_area_m2 * cos;
            let fin = fin.lane(lane);
            let slope = s * (p.body.zeroth_per_rad + p.fins.zeroth_per_rad * fin) + p.cross_flow.drag_area_m2 * sin;
            let first = s * (p.body.first_m + p.fins.first_m * fin) + p.cross_flow.first_m3 * sin;
            let margin_m = first / slope - self.now.cg.lane(lane);
            let (time_s, speed_m_s) = (self.time_s.lane(lane), speed.lane(lane));
            let out = self.flight_of(lane);
            out.rail_exit = RailExit { time_s, speed_m_s, angle_of_attack_rad: angle, margin_m, ..out.rail_exit };
            out.mishaps.unstable = margin_m < 0.0;
        }
    }

    /// Flies on from the rail. A lane whose flight is over takes the next one: flights that turn over take several times
    /// as many steps as those that don't.
    #[inline(always)]
    fn free_flight(&mut self, flights: &[&'b Drawn<'a>], watchfulness: &[Watchfulness], ready: &[Ready]) {
        let hold = Hold::Free;
        let (zero, one) = (L::splat(0.0), L::splat(1.0));
        let mach_bound = self.fleet.of_each(|d| d.aero.mach_bound);
        let (mut until_s, mut after_apogee_s, mut above_m, mut burnout_s, mut top_m) = (zero, zero, zero, zero, zero);
        let (mut apogee_s, mut apogee_m, mut peak_mach, mut outside) = (zero, zero, zero, zero);
        let (mut beyond, mut unstable, mut gauged_s, mut steps) = (zero, zero, zero, zero);
        let (mut loosely_until_s, mut to_ground, mut slowest) = (zero, zero, zero);
        let mut ready = ready.iter();
        self.flying = zero;
        let mut over = one;
        loop {
            if any(over) {
                let mut seated = zero;
                for lane in lanes_where(over) {
                    if self.flying.lane(lane) > 0.5 {
                        let out = self.flight_of(lane);
                        (out.apogee_s, out.apogee_m) = (apogee_s.lane(lane), apogee_m.lane(lane));
                        out.peak_mach = peak_mach.lane(lane);
                        out.mishaps.outside_model |= outside.lane(lane) > 0.5;
                        out.mishaps.beyond_sixty_deg |= beyond.lane(lane) > 0.5;
                        out.mishaps.unstable |= unstable.lane(lane) > 0.5;
                        self.flying.set_lane(lane, 0.0);
                    }
                    let Some(next) = ready.next() else { continue };
                    let (flight, watched) = (flights[next.who], &watchfulness[next.who]);
                    self.seat(lane, next.who, flight, next.time_s, &next.state);
                    seated.set_lane(lane, 1.0);
                    for (own, new) in [
                        (&mut until_s, watched.until_s),
                        (&mut after_apogee_s, watched.after_apogee_s.max(SLOWEST_SEARCHED_S)),
                        (&mut above_m, watched.above_m),
                        (&mut burnout_s, flight.thrust.burnout_s()),
                        (&mut top_m, flight.top_m),
                        // A rocket that sinks as it leaves the rail has its highest point here.
                        (&mut apogee_s, next.time_s),
                        (&mut apogee_m, next.state.position[2]),
                        (&mut peak_mach, 0.0),
                        (&mut outside, 0.0),
                        (&mut beyond, 0.0),
                        (&mut unstable, 0.0),
                        (&mut gauged_s, f64::INFINITY),
                        (&mut steps, 0.0),
                        (&mut loosely_until_s, watched.loosely_until_s),
                        (&mut to_ground, f64::from(u8::from(watched.to_ground))),
                        (&mut slowest, f64::INFINITY),
                    ] {
                        own.set_lane(lane, new);
                    }
                }
                over = zero;
                if !any(self.flying) {
                    return;
                }
                self.now = self.fleet.instant(self.time_s).where_set(seated, &self.now);
                self.look(&hold);
                self.record(seated);
            }
            let changes = both(self.flying, not(less(self.time_s, self.change_s)));
            if any(changes) {
                for lane in lanes_where(changes) {
                    self.fleet.lose_fin(lane);
                    self.change_s.set_lane(lane, f64::INFINITY);
                }
                self.look(&hold);
            }
            // Whether the flight must still be followed closely.
            let may_eject = less(zero, self.state.velocity[2])
                .max(less(self.time_s, until_s))
                .max(less(self.time_s, apogee_s + after_apogee_s))
                .max(less(above_m, self.state.position[2]));
            // Nothing is asked of the rest.
            let behind = less(self.time_s, loosely_until_s.max(self.thrust_end_s));
            let done = not(may_eject.max(behind).max(to_ground));
            let done = both(both(self.flying, done), less(L::splat(SLOWEST_LEFT) * slowest, self.flow.airspeed_m_s));
            if any(done) {
                over = done;
                continue;
            }
            let turning = turns_over(&self.flow);
            let coast = COAST.all().where_set(may_eject, &FALL.all());
            let free = TURNING.all().where_set(turning, &coast);
            let pace = THRUST.all().where_set(less(self.time_s, self.thrust_end_s), &free);
            let dt = self.step_s(&pace, gauged_s).where_set(self.flying, zero);
            let (next, end) = self.stepped(dt, &hold);
            let (end_rate, end_flow) = derivative_and_flow(&self.fleet, &end, &next.state, &hold);
            let close = L::splat(STRAYS).where_set(may_eject, L::splat(STRAYS_FALLING));
            let share = L::splat(STRAYS_TURNING).where_set(turns_over(&end_flow), close) / L::splat(self.finer);
            let strayed = end_flow.strayed_m_s(&next.last, &end_rate, dt)
                / (share * (end_flow.airspeed_m_s + L::splat(STILL_M_S)));
            let shortest = L::splat(SHORTEST_S);
            let strays = less(L::splat(REFUSED), strayed);
            let refused = both(strays, less(shortest, dt));
            // The error goes with the fourth power of the step.
            let grown = (L::splat(AIM) / strayed.max(L::splat(1e-12)).sqrt().sqrt()).min(L::splat(GROW));
            gauged_s = (dt * L::splat(0.5).where_set(refused, grown)).max(shortest);
            let taken = both(self.flying, not(refused));
            let hopeless = both(taken, strays);
            let climbed = self.state.velocity[2];
            self.rate = end_rate.where_set(taken, &self.rate);
            self.flow = end_flow.where_set(taken, &self.flow);
            if self.accept(taken, &next.state, &end, dt) {
                self.look(&hold);
            }
            steps = steps + one;
            // What is no number stays none when taken times zero.
            let sum = |v: &Vector<L>| (v[0] + v[1] + v[2]) * zero;
            let sound = less((sum(&self.rate.velocity) + sum(&self.rate.spin)).abs(), one);
            let lost = both(self.flying, not(both(sound, less(steps, L::splat(MOST_STEPS as f64)))));
            if any(hopeless.max(lost)) {
                for lane in lanes_where(hopeless.max(lost)) {
                    self.flight_of(lane).mishaps.untrusted = true;
                }
                over = lost;
            }
            let taken = both(taken, sound);
            self.record(taken);

            // What is counted as an outcome.
            let height = self.state.position[2];
            peak_mach = peak_mach.max(self.flow.mach).where_set(taken, peak_mach);
            outside = outside.max(both(taken, less(mach_bound, self.flow.mach).max(less(top_m, height))));
            let thrusting = both(taken, not(less(burnout_s, self.time_s)));
            beyond = beyond.max(both(thrusting, less(self.state.nose[2], L::splat(COS_STEEPEST))));
            unstable = unstable.max(both(thrusting, less(self.flow.axial_m_s, zero)));
            slowest = slowest.min(self.flow.airspeed_m_s).where_set(both(taken, not(thrusting)), slowest);
            let tops = both(both(taken, less(zero, climbed)), not(less(zero, self.state.velocity[2])));
            if any(tops) {
                for lane in lanes_where(tops) {
                    let path = &self.out[self.who[lane]].path;
                    let k = path.nodes.len() - 2;
                    let t = path.root_in_step(k, |m| m.velocity_m_s[2]);
                    let top = path.in_step(k, t).position_m[2];
                    if top > apogee_m.lane(lane) {
                        apogee_s.set_lane(lane, t);
                        apogee_m.set_lane(lane, top);
                    }
                }
            }
            let down = both(taken, not(less(zero, height)));
            if any(down) {
                for lane in lanes_where(down) {
                    let wind = &self.fleet.flight(lane).wind;
                    let out = &mut self.out[self.who[lane]];
                    out.path.touch_ground(wind);
                    out.ground_s = out.path.end_s();
                }
                over = over.max(down);
            }
        }
    }
}
