//! What a flight comes to as a function of when it fires: windows of time, the same for every way of deploying, so that
//! a chance is the law's share that lies in them and no 0 or 1 is drawn.

use super::ascent::{Ascent, Watchfulness};
use super::deploy::{Deployment, Electronics, Events, Outcome, overruling};
use super::descent::{Fall, Landing, SLOWED};
use super::firing::{FiringLaws, Left};
use super::parts::Drawn;
use super::path::{Moment, Node};
use super::slowing::surely_slows;
use crate::lanes::dot;
use crate::root::{sign_change, sign_changes};
use crate::wind::{Descent, DriftTable, WindTable};

/// Whole probability. Shares are whole multiples of 2^-40, so that sums of them depend on no order.
pub const WHOLE: u64 = 1 << 40;

/// What is asked of every flight of a case.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    /// Ways of deploying.
    pub ways: &'a [Deployment],
    /// Speed limits, m/s.
    pub limits_m_s: &'a [f64],
    /// Whether they are held against the airspeed at line stretch.
    pub at_line_stretch: bool,
    /// When something fires.
    pub laws: &'a FiringLaws,
    /// Delays of the curve, rising, s.
    pub curve_s: &'a [f64],
    /// Bit k: the airspeed is asked for as well at delay k of the curve.
    pub curve_speeds: u64,
}

impl Asked<'_> {
    /// How long the ascent has to be followed closely for nearly all that may fire, and loosely for all that counts; what
    /// was drawn to fire asks for its own ([`Events::watchfulness`]).
    pub fn watchfulness_of_laws(&self, events: &Events, drawn: &Drawn) -> Watchfulness {
        let lag_s = events.line_stretch_lag_s;
        let last = drawn.thrust.motor_burnouts_s().iter().map(|b| events.clock.starts_s(b.1)).fold(0.0, f64::max);
        let fired = |delay_s: f64, left: Left| last + self.laws.delayed_between_s(delay_s, left)[1] + lag_s;
        let mut w = Watchfulness::LEAST;
        if let Some(longest_s) = self.curve_s.last() {
            w.loosely_until_s = fired(*longest_s, Left::LittleOfCurve);
        }
        for way in self.ways {
            match (way.electronics, way.motor_delay_s) {
                (None, Some(delay_s)) => {
                    w.until_s = w.until_s.max(fired(delay_s, Left::Unwatched));
                    w.loosely_until_s = w.loosely_until_s.max(fired(delay_s, Left::Little));
                }
                (Some(Electronics::Apogee), _) => {
                    w.past_apogee(self.laws.lags_between_s(Left::Little)[1], lag_s);
                }
                (Some(Electronics::Height(height_m)), _) => {
                    w.down_to(height_m + self.laws.height_errors_between_m(Left::Unwatched)[0], lag_s);
                    // The law of a height has no end but the ground.
                    w.to_ground = true;
                }
                (None, None) => {}
            }
        }
        w
    }
}

/// What firing comes to between two bounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// The outcome.
    pub outcome: Outcome,
    /// No ejection in the air, before apogee, after it: 0, 1, 2.
    pub side: usize,
    /// Bit k: faster than limit k.
    over: u32,
}

impl Window {
    /// With whether each limit is exceeded.
    pub fn new(outcome: Outcome, side: usize, over: impl Iterator<Item = bool>) -> Self {
        Self { outcome, side, over: over.enumerate().map(|(k, over)| u32::from(over) << k).sum() }
    }

    /// Whether firing here is faster than a limit.
    pub fn over(&self, limit: usize) -> bool {
        self.over >> limit & 1 == 1
    }

    /// Whether firing here is an unsafe opening at a limit.
    pub fn unsafe_opening(&self, limit: usize) -> bool {
        self.over(limit) || self.outcome != Outcome::Opened
    }
}

/// Where one window ends and the next begins.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Bound {
    time_s: f64,
    /// Lowest height since apogee, m.
    height_m: f64,
    /// Whether firing exactly then still belongs to the window before.
    closes: bool,
}

/// The windows of one flight.
#[derive(Debug, Clone, PartialEq)]
pub struct Windows {
    bounds: Vec<Bound>,
    /// One more than bounds.
    windows: Vec<Window>,
    /// Starts of the clocks of the motors that burn, s.
    starts_s: Vec<f64>,
    apogee_s: f64,
    apogee_m: f64,
    /// The lag drawn, for a height that is never reached.
    apogee_lag_s: f64,
    /// Where a main opens by the same sensed height: when each way's altimeter fires as drawn, s.
    sensed_s: Option<Vec<f64>>,
}

/// What changes at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Change {
    Over(usize, bool),
    BoostEnds,
    Apogee,
    TooLow(bool),
    Ground,
}

/// Places of crossings and of the last slow opening, s.
const CROSSING_S: f64 = 4e-6;
const SLOWING_S: f64 = 1e-4;
/// Halvings of the time between an opening that slows and one that does not, without flying either.
const SURE_HALVINGS: usize = 8;
/// Two crossings nearer than this may be missed, s.
const NEAREST_S: f64 = 0.01;
/// Where the airspeed goes so much of the way that it could go at most, it goes straight through a limit.
const STRAIGHT: f64 = 0.5;

impl Windows {
    /// Of flights; `None` of one with a failure, which keeps what was drawn. `land` brings down what falls.
    pub fn of_all<'a, 'b>(
        flights: &[Subject<'a, 'b>],
        land: impl Fn(&[Fall<'a, 'b>]) -> Vec<Landing>,
    ) -> Vec<Option<Self>> {
        let flights: Vec<Option<Flight>> = flights.iter().map(Flight::of).collect();
        let mut too_low = too_low(&flights, land).into_iter();
        flights.iter().map(|flight| flight.as_ref().map(|flight| Self::laid(flight, too_low.next()))).collect()
    }

    fn laid(flight: &Flight, too_low: Option<Vec<(f64, Change)>>) -> Self {
        let (asked, events, ascent) = (flight.asked, flight.events, flight.ascent);
        let mut windows = Self {
            bounds: Vec::with_capacity(12),
            windows: Vec::with_capacity(13),
            apogee_s: ascent.apogee_s,
            apogee_m: ascent.apogee_m,
            apogee_lag_s: events.apogee_lag_s,
            sensed_s: events.stages.main.map(|_| sensed_s(asked, events, ascent)),
            starts_s: flight.starts_s.clone(),
        };
        if ascent.mishaps.never_left_rail {
            windows.windows.push(Window { outcome: Outcome::NeverLeftRail, side: 0, over: 0 });
        } else {
            windows.lay(flight, too_low.unwrap_or_default());
        }
        windows
    }

    fn lay(&mut self, flight: &Flight, too_low: Vec<(f64, Change)>) {
        let (ascent, ground_s) = (flight.ascent, flight.ascent.ground_s);
        let [from_s, to_s] = flight.reach_s;
        let mut changes = Vec::with_capacity(12);
        let mut over = flight.crossings(&mut changes);
        changes.push((flight.boost_ends_s(), Change::BoostEnds));
        changes.push((ascent.apogee_s, Change::Apogee));
        changes.extend(too_low);
        changes.push((ground_s, Change::Ground));
        // Stable: of changes at one time the last pushed counts last.
        changes.sort_by(|a, b| a.0.total_cmp(&b.0));
        let nothing_opens = flight.events.stages.first.drag_area_m2 <= 0.0;
        let overruled = overruling(&ascent.mishaps);
        let (mut boosting, mut side, mut too_low) = (true, 1, false);
        let mut lowest_m = ascent.apogee_m;
        let window = |boosting, side, too_low, over| {
            let own = match () {
                () if side == 0 => Outcome::GroundFirst,
                () if nothing_opens => Outcome::NothingOpened,
                () if boosting => Outcome::InBoost,
                () if too_low => Outcome::OpenedTooLow,
                () => Outcome::Opened,
            };
            Window { outcome: overruled.unwrap_or(own), side, over: if side == 0 { 0 } else { over } }
        };
        let mut now = window(boosting, side, too_low, over);
        for (time_s, change) in changes {
            match change {
                Change::Over(limit, true) => over |= 1 << limit,
                Change::Over(limit, false) => over &= !(1 << limit),
                Change::BoostEnds => boosting = false,
                Change::Apogee => side = if side == 0 { 0 } else { 2 },
                Change::TooLow(it) => too_low = it,
                Change::Ground => side = 0,
            }
            let next = window(boosting, side, too_low, over);
            // What nothing reaches needs no bound.
            if next != now && time_s >= from_s && time_s <= to_s {
                lowest_m = lowest_m.min(if time_s > ascent.apogee_s { flight.height_m(time_s) } else { f64::INFINITY });
                self.bounds.push(Bound { time_s, height_m: lowest_m, closes: change == Change::Apogee });
                self.windows.push(now);
            }
            if time_s <= to_s {
                now = next;
            }
        }
        self.windows.push(now);
    }

    /// The share of each window in one way of deploying, in the order of time.
    pub fn shares(&self, laws: &FiringLaws, way: usize, deployment: &Deployment, take: impl FnMut(&Window, u64)) {
        let Some(electronics) = deployment.electronics else {
            return match deployment.motor_delay_s {
                Some(delay_s) => self.shares_of_delay(laws, delay_s, take),
                None => self.each(|_| 0.0, take),
            };
        };
        let fired = |bound: &Bound| {
            let before = !bound.closes;
            let since_s = bound.time_s - self.apogee_s;
            let sensed = match electronics {
                Electronics::Apogee => laws.apogee(since_s, before),
                Electronics::Height(height_m) => match &self.sensed_s {
                    Some(sensed_s) if before => f64::from(u8::from(sensed_s[way] < bound.time_s)),
                    Some(sensed_s) => f64::from(u8::from(sensed_s[way] <= bound.time_s)),
                    None if since_s < 0.0 => 0.0,
                    None => {
                        let lag_passed =
                            if before { self.apogee_lag_s < since_s } else { self.apogee_lag_s <= since_s };
                        laws.height(bound.height_m - height_m, self.apogee_m - height_m, lag_passed, before)
                    }
                },
            };
            // The first to fire wins; they fire independently.
            let motor = deployment.motor_delay_s.map_or(0.0, |delay_s| self.motors(laws, delay_s, bound));
            1.0 - (1.0 - sensed) * (1.0 - motor)
        };
        self.each(fired, take);
    }

    /// The share of each window when a motor's charge alone deploys after a delay.
    pub fn shares_of_delay(&self, laws: &FiringLaws, delay_s: f64, take: impl FnMut(&Window, u64)) {
        self.each(|bound| self.motors(laws, delay_s, bound), take);
    }

    /// Probability that any motor's charge has fired.
    fn motors(&self, laws: &FiringLaws, delay_s: f64, bound: &Bound) -> f64 {
        let fired = |start_s: &f64| laws.motor(bound.time_s - start_s, delay_s, !bound.closes);
        match &self.starts_s[..] {
            [only] => fired(only),
            starts => 1.0 - starts.iter().map(|start| 1.0 - fired(start)).product::<f64>(),
        }
    }

    fn each(&self, fired: impl Fn(&Bound) -> f64, mut take: impl FnMut(&Window, u64)) {
        let mut before = 0;
        for (window, bound) in self.windows.iter().zip(&self.bounds) {
            let upto = ((fired(bound) * WHOLE as f64 + 0.5) as u64).clamp(before, WHOLE);
            if upto > before {
                take(window, upto - before);
            }
            before = upto;
            if before == WHOLE {
                return;
            }
        }
        if let Some(last) = self.windows.last() {
            take(last, WHOLE - before);
        }
    }
}

/// When each way's altimeter fires at a height as drawn, s.
fn sensed_s(asked: &Asked, events: &Events, ascent: &Ascent) -> Vec<f64> {
    let sensed = |way: &Deployment| match way.electronics {
        Some(Electronics::Height(height_m)) => events.senses_s(height_m, events.height_error_m, ascent),
        _ => f64::INFINITY,
    };
    asked.ways.iter().map(sensed).collect()
}

/// A flight whose windows are asked for.
#[derive(Debug, Clone, Copy)]
pub struct Subject<'a, 'b> {
    /// What is asked.
    pub asked: &'b Asked<'b>,
    /// The flight.
    pub drawn: &'b Drawn<'a>,
    /// Its turn of events.
    pub events: &'b Events,
    /// Its ascent.
    pub ascent: &'b Ascent,
    /// Its drift.
    pub drift: &'b DriftTable,
}

/// A flight and what is asked of it.
struct Flight<'a, 'b> {
    asked: &'b Asked<'b>,
    drawn: &'b Drawn<'a>,
    events: &'b Events,
    ascent: &'b Ascent,
    drift: &'b DriftTable,
    /// Starts of the clocks of the motors that burn, s.
    starts_s: Vec<f64>,
    /// From when to when something may fire, s.
    reach_s: [f64; 2],
    /// From when to when so much does that descents are flown for it, s.
    counts_s: [f64; 2],
}

impl<'a, 'b> Flight<'a, 'b> {
    fn of(subject: &Subject<'a, 'b>) -> Option<Self> {
        let Subject { asked, drawn, events, ascent, drift } = *subject;
        if events.failing.is_some() {
            return None;
        }
        let starts_s: Vec<f64> = drawn.thrust.motor_burnouts_s().iter().map(|b| events.clock.starts_s(b.1)).collect();
        let curve_s = asked.curve_s.first().zip(asked.curve_s.last()).map(|(first, last)| [*first, *last]);
        let [reach_s, counts_s] = [[Left::Nothing; 2], [Left::Little, Left::LittleOfCurve]]
            .map(|left| asked.laws.reach_s(asked.ways, curve_s, &starts_s, ascent.apogee_s, left));
        Some(Self { asked, drawn, events, ascent, drift, starts_s, reach_s, counts_s })
    }

    /// The fall of what opens when something fires at a time.
    fn fall(&self, time_s: f64) -> Fall<'a, 'b> {
        Fall { parts: self.drawn, stages: self.events.stages, from: self.stretch(time_s), drift: self.drift }
    }

    /// Line stretch when something fires at a time.
    fn stretch(&self, time_s: f64) -> Moment {
        self.ascent.path.at((time_s + self.events.line_stretch_lag_s).min(self.ascent.ground_s))
    }

    /// Whether what opens is sure to slow the fall in time when something fires at a time.
    fn surely_slows(&self, time_s: f64) -> bool {
        surely_slows(self.drawn, &self.events.stages, &self.stretch(time_s))
    }

    /// From where it slows to where it does not, halved to where it is sure before anything is flown.
    fn unsure(&self, good_s: f64, bad_s: f64) -> [f64; 2] {
        let (mut sure_s, mut open_s) = (good_s, bad_s);
        for _ in 0..SURE_HALVINGS {
            let middle = 0.5 * (sure_s + open_s);
            if self.surely_slows(middle) { sure_s = middle } else { open_s = middle }
        }
        [sure_s, bad_s]
    }

    /// From when to when it has to be known whether what opens slows the fall in time, s, with the likeliest to do so in
    /// the middle; `None` for never.
    fn asks_slowing(&self) -> Option<[f64; 3]> {
        // Of a flight whose outcome is settled nothing is asked; a lost one may end nowhere.
        let settled = self.ascent.mishaps.never_left_rail || overruling(&self.ascent.mishaps).is_some();
        if settled || self.events.stages.first.drag_area_m2 <= 0.0 {
            return None;
        }
        let from_s = self.boost_ends_s().max(self.counts_s[0]);
        let to_s = (self.ascent.ground_s - self.events.line_stretch_lag_s).min(self.counts_s[1]);
        // The highest is the likeliest; before it later is better, after it worse.
        (from_s < to_s).then(|| [from_s, self.ascent.apogee_s.clamp(from_s, to_s), to_s])
    }

    /// By how much a landing is too fast to count as slowed, m/s; negative where it has slowed. The speed says how far it
    /// is from that, and the landing which it is.
    fn too_fast_m_s(&self, landing: &Landing) -> f64 {
        let stages = &self.events.stages;
        let main_m2 = stages.main.map_or(0.0, |(main, _)| main.drag_area_m2);
        let all = Descent {
            mass_kg: stages.mass_kg,
            drag_area_m2: stages.bare_area_m2 + stages.first.drag_area_m2 + main_m2,
        };
        let slowed_m_s = SLOWED * all.rate_m_s(self.drawn.air.at(0.0).0, self.drawn.gravity.at(0.0));
        let size = (landing.vertical_speed_m_s - slowed_m_s).abs();
        if landing.slowed { -size } else { size }
    }
}

/// A time that slows the fall and one that does not, with one turn between them.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Turn {
    good_s: f64,
    bad_s: f64,
}

/// Between which of three times, first, best and last, it turns from slowing to not slowing or back. Where only the ends
/// slow, it turns on both sides of the middle.
fn turns([first_s, best_s, last_s]: [f64; 3], slows: [bool; 3]) -> [Option<Turn>; 2] {
    let between = |good_s, bad_s| Some(Turn { good_s, bad_s });
    match slows {
        [true, true, true] | [false, false, false] => [None, None],
        [false, true, true] => [between(best_s, first_s), None],
        [true, true, false] => [between(best_s, last_s), None],
        [false, true, false] => [between(best_s, first_s), between(best_s, last_s)],
        [false, false, true] => [between(last_s, first_s), None],
        [true, false, false] => [between(first_s, last_s), None],
        [true, false, true] => [between(first_s, best_s), between(last_s, best_s)],
    }
}

/// Finds from when on, and until when, what opens does not slow the fall in time: for each flight that has windows.
fn too_low<'a, 'b>(
    flights: &[Option<Flight<'a, 'b>>],
    land: impl Fn(&[Fall<'a, 'b>]) -> Vec<Landing>,
) -> Vec<Vec<(f64, Change)>> {
    let flights: Vec<&Flight> = flights.iter().flatten().collect();
    let asked: Vec<Option<[f64; 3]>> = flights.iter().map(|flight| flight.asks_slowing()).collect();
    // Whether it slows when it fires first, best and last: known without flying it for most.
    let mut slows: Vec<[bool; 3]> = vec![[true; 3]; flights.len()];
    let mut open = Vec::new();
    for (k, (flight, times_s)) in flights.iter().zip(&asked).enumerate() {
        for (end, time_s) in times_s.iter().flatten().enumerate() {
            if !flight.surely_slows(*time_s) {
                open.push((k, end, *time_s));
            }
        }
    }
    let falls: Vec<Fall> = open.iter().map(|(k, _, time_s)| flights[*k].fall(*time_s)).collect();
    for ((k, end, _), landing) in open.iter().zip(land(&falls)) {
        slows[*k][*end] = landing.slowed;
    }
    // What is searched: which flight, between which times, and whether it slows after the place found.
    let mut searched = Vec::new();
    let mut changes: Vec<Vec<(f64, Change)>> = Vec::with_capacity(flights.len());
    for (k, (flight, times_s)) in flights.iter().zip(&asked).enumerate() {
        let last_s = flight.ascent.ground_s - flight.events.line_stretch_lag_s;
        let mut own = vec![(last_s, Change::TooLow(true))];
        if let Some([from_s, best_s, to_s]) = *times_s {
            if !slows[k][0] {
                own.push((from_s, Change::TooLow(true)));
            }
            let turns = turns([from_s, best_s, to_s], slows[k]).into_iter().flatten();
            searched.extend(turns.map(|turn| (k, flight.unsure(turn.good_s, turn.bad_s), turn.bad_s > turn.good_s)));
        }
        changes.push(own);
    }
    let spans: Vec<[f64; 2]> = searched.iter().map(|(_, span, _)| *span).collect();
    let found = sign_changes(&spans, 0.5 * SLOWING_S, |places| {
        let falls: Vec<Fall> = places.iter().map(|(n, time_s)| flights[searched[*n].0].fall(*time_s)).collect();
        let flown = places.iter().zip(land(&falls));
        flown.map(|((n, _), landing)| flights[searched[*n].0].too_fast_m_s(&landing)).collect()
    });
    for ((k, _, too_low), time_s) in searched.iter().zip(found) {
        changes[*k].push((time_s, Change::TooLow(*too_low)));
    }
    changes
}

impl Flight<'_, '_> {
    fn height_m(&self, time_s: f64) -> f64 {
        self.ascent.path.at(time_s).position_m[2]
    }

    /// Until when an ejection is one under thrust or on the rail, s.
    fn boost_ends_s(&self) -> f64 {
        self.events.boost_ends_s(self.drawn, self.ascent)
    }

    /// Finds where the airspeed crosses each limit, as times of firing, and says which are exceeded at first.
    fn crossings(&self, changes: &mut Vec<(f64, Change)>) -> u32 {
        let path = &self.ascent.path;
        let wind = &self.drawn.wind;
        let end_s = path.end_s();
        let lag_s = if self.asked.at_line_stretch { self.events.line_stretch_lag_s } else { 0.0 };
        let from_s = (self.reach_s[0] + lag_s).clamp(path.nodes[0].time_s, end_s);
        let to_s = (self.reach_s[1] + lag_s).min(end_s);
        let first = path.at(from_s).airspeed_m_s(wind);
        let over = |speed: f64| {
            let mask = |(k, limit): (usize, &f64)| u32::from(speed > *limit) << k;
            self.asked.limits_m_s.iter().enumerate().map(mask).sum::<u32>()
        };
        let (mut a_s, mut at_a) = (from_s, first);
        let steps = path.nodes.partition_point(|n| n.time_s <= from_s);
        for k in steps.max(1)..path.nodes.len() {
            if a_s >= to_s {
                break;
            }
            let node = &path.nodes[k];
            let (b_s, at_b) = if node.time_s <= to_s {
                (node.time_s, node.airspeed_m_s)
            } else {
                (to_s, path.in_step(k - 1, to_s).airspeed_m_s(wind))
            };
            let most = most_change_m_s(&path.nodes[k - 1], node, wind);
            let near = |limit_m_s: &f64| {
                let (at_a, at_b) = (at_a - limit_m_s, at_b - limit_m_s);
                (at_a > 0.0) != (at_b > 0.0) || at_a.abs() + at_b.abs() < most
            };
            if self.asked.limits_m_s.iter().any(near) {
                let step = Step::new(&path.nodes[k - 1], node, wind);
                for (limit, limit_m_s) in self.asked.limits_m_s.iter().enumerate() {
                    let at = [at_a - limit_m_s, at_b - limit_m_s];
                    step.isolate([a_s, b_s], at, most, *limit_m_s, &mut |time_s, above| {
                        changes.push((time_s - lag_s, Change::Over(limit, above)));
                    });
                }
            }
            (a_s, at_a) = (b_s, at_b);
        }
        over(first)
    }
}

/// Bound on how much the airspeed changes along a step, m/s: the acceleration between nodes is a parabola through its
/// values at both ends and in the middle, and such a one is nowhere larger than 1.25 times the largest of them; the wind
/// changes by its slope with every metre up or down.
fn most_change_m_s(a: &Node, b: &Node, wind: &WindTable) -> f64 {
    let step_s = b.time_s - a.time_s;
    let (a_m_s2, b_m_s2) = (a.acceleration_m_s2, b.acceleration_m_s2);
    let middle: [f64; 3] = core::array::from_fn(|i| {
        1.5 * (b.velocity_m_s[i] - a.velocity_m_s[i]) - 0.25 * step_s * (a_m_s2[i] + b_m_s2[i])
    });
    let ends = dot(a_m_s2, a_m_s2).max(dot(b_m_s2, b_m_s2));
    let own = 1.25 * (step_s * step_s * ends).max(dot(middle, middle)).sqrt();
    let sinks = step_s * (a.velocity_m_s[2].abs().max(b.velocity_m_s[2].abs()) + 0.5 * own);
    let lowest_m = a.position_m[2].min(b.position_m[2]) - 0.5 * sinks;
    own + wind.steepest_above_per_s(lowest_m) * sinks
}

/// A cubic of time since a step's beginning, lowest coefficient first.
type Cubic = [f64; 4];

/// One recorded step, searched for crossings: as the path is between its nodes.
struct Step<'a> {
    began_s: f64,
    height_m: Cubic,
    velocity_m_s: [Cubic; 3],
    wind: &'a WindTable,
}

impl<'a> Step<'a> {
    fn new(a: &Node, b: &Node, wind: &'a WindTable) -> Self {
        let per_step = 1.0 / (b.time_s - a.time_s);
        let cubic = |from: f64, slope: f64, to: f64, end_slope: f64| -> Cubic {
            let mean = (to - from) * per_step;
            let bend = (3.0 * mean - 2.0 * slope - end_slope) * per_step;
            [from, slope, bend, (slope + end_slope - 2.0 * mean) * per_step * per_step]
        };
        Self {
            began_s: a.time_s,
            height_m: cubic(a.position_m[2], a.velocity_m_s[2], b.position_m[2], b.velocity_m_s[2]),
            velocity_m_s: core::array::from_fn(|i| {
                cubic(a.velocity_m_s[i], a.acceleration_m_s2[i], b.velocity_m_s[i], b.acceleration_m_s2[i])
            }),
            wind,
        }
    }

    /// How far above a limit the airspeed is.
    fn above(&self, time_s: f64, limit_m_s: f64) -> f64 {
        let t = time_s - self.began_s;
        let at = |c: &Cubic| c[0] + t * (c[1] + t * (c[2] + t * c[3]));
        let (east, north) = self.wind.at(at(&self.height_m));
        let u = [at(&self.velocity_m_s[0]) - east, at(&self.velocity_m_s[1]) - north, at(&self.velocity_m_s[2])];
        dot(u, u).sqrt() - limit_m_s
    }

    /// Finds every crossing of a limit between two times, where the airspeed is above it by so much and changes by no
    /// more than `most` from one to the other.
    fn isolate(
        &self,
        [a, b]: [f64; 2],
        [at_a, at_b]: [f64; 2],
        most: f64,
        limit_m_s: f64,
        found: &mut impl FnMut(f64, bool),
    ) {
        let crosses = (at_a > 0.0) != (at_b > 0.0);
        if !crosses && (at_a.abs() + at_b.abs() >= most || b - a < NEAREST_S) {
            return;
        }
        // One crossing, if it is short or if little is left for a way back.
        if crosses && (b - a <= NEAREST_S || at_a.abs() + at_b.abs() > STRAIGHT * most) {
            found(sign_change(a, b, 0.5 * CROSSING_S, |t| self.above(t, limit_m_s)), at_b > 0.0);
            return;
        }
        let middle = 0.5 * (a + b);
        let at_middle = self.above(middle, limit_m_s);
        self.isolate([a, middle], [at_a, at_middle], 0.5 * most, limit_m_s, found);
        self.isolate([middle, b], [at_middle, at_b], 0.5 * most, limit_m_s, found);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The turns found are the changes along the three times: each as often as two neighbours differ, and where only the
    /// ends slow both are found.
    #[test]
    fn every_turn_is_searched() {
        let times_s = [1.0, 2.0, 3.0];
        for bits in 0..8_u8 {
            let slows: [bool; 3] = core::array::from_fn(|k| bits >> k & 1 == 1);
            let changes = slows.windows(2).filter(|pair| pair[0] != pair[1]).count();
            let found: Vec<Turn> = turns(times_s, slows).into_iter().flatten().collect();
            assert_eq!(found.len(), changes, "{slows:?}");
            let slows_at = |time_s: f64| slows[time_s as usize - 1];
            for turn in &found {
                assert!(slows_at(turn.good_s) && !slows_at(turn.bad_s), "{slows:?} {turn:?}");
            }
        }
        let both = [Some(Turn { good_s: 1.0, bad_s: 2.0 }), Some(Turn { good_s: 3.0, bad_s: 2.0 })];
        assert_eq!(turns(times_s, [true, false, true]), both);
    }
}
