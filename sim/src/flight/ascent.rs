//! From first thrust to the ground without any deployment: rail, tip-off, free flight, apogee, fall.

use super::forces::{Flow, Hold, State, derivative, derivative_and_flow};
use super::parts::{Drawn, Instant, Parts, Rail, Start};
use super::path::{Moment, Node, Path};
use super::step::{Stepped, step};
use crate::lanes::{along, dot};
use crate::root::sign_change;
use crate::thrust::Side;

/// How long a step may be.
struct Pace {
    /// At most this, s.
    longest_s: f64,
    /// Step times the fastest rate of the state. The method is stable up to 2.8; the accuracy test holds the
    /// bound of 0.05 m/s with these figures.
    phase: f64,
    /// Whether a stop in the air is to be expected.
    coasting: bool,
}

const RAIL: Pace = Pace { longest_s: 0.05, phase: 1.6, coasting: false };
const THRUST: Pace = Pace { longest_s: 0.06, phase: 2.0, coasting: false };
/// Coasting and falling while an ejection may still come.
const COAST: Pace = Pace { longest_s: 0.3, phase: 2.5, coasting: true };
/// Turning over, when small errors grow.
const TURNING: Pace = Pace { longest_s: 0.1, phase: 1.0, coasting: true };
/// Cosine of the angle of attack below which it counts as turning over: 30 deg.
const COS_TURNING: f64 = 0.866;
/// Falling nose first after the last ejection: only the place of a ballistic impact is still asked for.
const FALL: Pace = Pace { longest_s: 0.5, phase: 2.6, coasting: true };
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
/// This long after apogee the slowest instant is past, s.
const SLOWEST_SEARCHED_S: f64 = 3.0;
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
#[derive(Debug, Clone, Default)]
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
    /// What went wrong.
    pub mishaps: Mishaps,
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
}

impl Watchfulness {
    /// To the ground.
    pub const WHOLE: Self = Self { until_s: f64::INFINITY, after_apogee_s: 0.0, above_m: f64::INFINITY };

    /// As long as either wants.
    pub fn both(self, other: Self) -> Self {
        Self {
            until_s: self.until_s.max(other.until_s),
            after_apogee_s: self.after_apogee_s.max(other.after_apogee_s),
            above_m: self.above_m.min(other.above_m),
        }
    }
}

/// Whether the air comes from so far off the nose that the rocket is turning over.
fn turns_over(flow: &Flow<f64>) -> bool {
    flow.axial_m_s < COS_TURNING * flow.airspeed_m_s
}

struct Flyer<'a, 'b> {
    parts: &'b Drawn<'a>,
    time_s: f64,
    now: Instant<f64>,
    state: State<f64>,
    watchfulness: Watchfulness,
    finer: f64,
    /// End of the thrust table, s.
    thrust_end_s: f64,
    /// What the rocket is from an instant on, s.
    changes: Option<(f64, &'b Drawn<'a>)>,
    out: &'b mut Ascent,
}

/// Flies one ascent into `out`. Checks ask for finer steps: paced `finer` times shorter than usual, and allowed to
/// stray `finer` times less.
pub fn fly_ascent(parts: &Drawn, watchfulness: Watchfulness, finer: f64, out: &mut Ascent) {
    out.path.clear();
    *out = Ascent { path: core::mem::take(&mut out.path), ..Ascent::default() };
    let state = match parts.start {
        Start::Free(state) => state,
        Start::Rail { rail, cg_height_m } => {
            State { position: [0.0, 0.0, cg_height_m], velocity: [0.0; 3], nose: rail.direction, spin: [0.0; 3] }
        }
    };
    let now = parts.instant(0.0, Side::After);
    let thrust_end_s = parts.thrust.end_s();
    let changed = parts.change.map(|c| (c.at_s, Drawn { fins: c.fins, ..parts.clone() }));
    let changes = changed.as_ref().map(|(at_s, after)| (*at_s, after));
    let mut flyer = Flyer { parts, time_s: 0.0, now, state, watchfulness, finer, thrust_end_s, changes, out };
    let free = match parts.start {
        Start::Free(_) => {
            flyer.record(&Hold::Free);
            true
        }
        Start::Rail { rail, .. } => flyer.rail(&rail),
    };
    if free {
        flyer.free_flight();
    } else {
        flyer.out.mishaps.never_left_rail = true;
    }
}

impl Flyer<'_, '_> {
    /// Records the present state; gives its derivative, which the next step starts from, and the flow.
    fn record(&mut self, hold: &Hold) -> (State<f64>, Flow<f64>) {
        let (rate, flow) = derivative_and_flow(self.parts, &self.now, &self.state, hold);
        self.push(&rate);
        (rate, flow)
    }

    fn push(&mut self, rate: &State<f64>) {
        self.out.path.nodes.push(Node {
            time_s: self.time_s,
            position_m: self.state.position,
            velocity_m_s: self.state.velocity,
            acceleration_m_s2: rate.velocity,
            nose: self.state.nose,
        });
    }

    /// The longest step that physics and the last step's gauge allow here, ended on a node of the thrust table.
    fn step_s(&self, flow: &Flow<f64>, rate: &State<f64>, pace: &Pace, gauged_s: f64) -> f64 {
        let roll = self.parts.misalignment.roll_rate_rad_s;
        let fastest = flow.fastest_rate(&self.state, rate, roll, pace.coasting);
        let mut dt = (pace.longest_s.min(pace.phase / fastest.max(1e-9)) / self.finer).min(gauged_s);
        if let Some((at_s, _)) = self.changes
            && at_s > self.time_s
        {
            dt = dt.min(at_s - self.time_s);
        }
        if self.time_s < self.thrust_end_s
            && let Some(node) = self.parts.thrust.next_node_s(self.time_s)
        {
            let left = node - self.time_s;
            if left <= dt * 1.000_001 {
                dt = left;
            } else if left < 2.0 * dt {
                dt = 0.5 * left;
            }
        }
        dt
    }

    fn stepped(&self, rate: &State<f64>, dt: f64, hold: &Hold) -> (Stepped<f64>, Instant<f64>) {
        let [middle, end] = if self.time_s >= self.thrust_end_s {
            self.parts.rolled(&self.now, 0.5 * dt)
        } else {
            // At a node of the thrust table the step belongs to what was before it.
            [0.5 * dt, dt].map(|ahead| self.parts.instant(self.time_s + ahead, Side::Before))
        };
        (step(self.parts, &self.state, rate, dt, &middle, &end, hold), end)
    }

    /// Takes a step over; true when it ended on a node of the thrust table, where forces may jump.
    fn accept(&mut self, state: State<f64>, end: Instant<f64>, dt: f64) -> bool {
        let began_s = self.time_s;
        (self.time_s, self.state, self.now) = (began_s + dt, state, end);
        if began_s < self.thrust_end_s
            && let Some(node) = self.parts.thrust.next_node_s(self.time_s - 1e-9)
            && (node - self.time_s).abs() < 1e-9
        {
            // Exactly on the node, so that no sliver of a step is left.
            self.time_s = node;
            self.now = self.parts.instant(node, Side::After);
            return true;
        }
        false
    }

    /// Steps until `travel` reaches `goal`; false when the rocket stops before.
    fn travel(&mut self, goal: f64, hold: &Hold, along_rail: [f64; 3], travel: impl Fn(&State<f64>) -> f64) -> bool {
        let (mut rate, mut flow) = self.record(hold);
        for _ in 0..MOST_STEPS {
            let dt = self.step_s(&flow, &rate, &RAIL, f64::INFINITY);
            let (next, end) = self.stepped(&rate, dt, hold);
            let speed = dot(next.state.velocity, along_rail);
            if speed.is_nan() || speed <= 0.0 {
                return false;
            }
            if travel(&next.state) < goal {
                self.accept(next.state, end, dt);
                (rate, flow) = self.record(hold);
                continue;
            }
            // The goal lies inside this step: shorten it.
            let part = sign_change(0.0, dt, 1e-10, |part| travel(&self.stepped(&rate, part, hold).0.state) - goal);
            let (next, end) = self.stepped(&rate, part, hold);
            self.accept(next.state, end, part);
            return true;
        }
        self.out.mishaps.untrusted = true;
        false
    }

    /// The instant at which thrust first beats weight and friction along the rail.
    fn lift_off_s(&self, hold: &Hold, along_rail: [f64; 3]) -> Option<f64> {
        let net = |t: f64| {
            dot(derivative(self.parts, &self.parts.instant(t, Side::After), &self.state, hold).velocity, along_rail)
        };
        if net(0.0) > 0.0 {
            return Some(0.0);
        }
        let node = self.parts.thrust.nodes_s().find(|t| net(*t) > 0.0)?;
        let before = self.parts.thrust.nodes_s().filter(|t| *t < node).last().unwrap_or(0.0);
        // The end of the bracket at which it does: thrust may jump there.
        Some((sign_change(before, node, LIFT_OFF_S, net) + LIFT_OFF_S).min(node))
    }

    fn rail(&mut self, rail: &Rail) -> bool {
        let d = rail.direction;
        let guided = Hold::Guided { rail: d, friction: rail.friction };
        let Some(start) = self.lift_off_s(&guided, d) else {
            self.record(&guided);
            return false;
        };
        self.time_s = start;
        self.now = self.parts.instant(start, Side::After);
        let origin = self.state.position;
        let along_from = |p: [f64; 3], o: [f64; 3]| dot([p[0] - o[0], p[1] - o[1], p[2] - o[2]], d);
        if !self.travel(rail.forward_travel_m, &guided, d, |s| along_from(s.position, origin)) {
            return false;
        }
        self.out.rail_exit.forward_speed_m_s = dot(self.state.velocity, d);
        if rail.last_travel_m > rail.forward_travel_m + 1e-9 {
            let tip_off = Hold::TipOff { rail: d, friction: rail.friction, guide_m: rail.aft_guide_m };
            let lever = rail.aft_guide_m - self.now.cg;
            let guide = |s: &State<f64>| along(s.position, s.nose, -lever);
            let from = guide(&self.state);
            let goal = rail.last_travel_m - rail.forward_travel_m;
            if !self.travel(goal, &tip_off, d, |s| along_from(guide(s), from)) {
                return false;
            }
        }
        self.leave(d);
        true
    }

    fn leave(&mut self, d: [f64; 3]) {
        let m = self.moment();
        let u = m.air_velocity_m_s(&self.parts.wind);
        let axial = dot(u, self.state.nose);
        let across = along(u, self.state.nose, -axial);
        let angle = libm::atan2(dot(across, across).sqrt(), axial);
        let (_, sound) = self.parts.air.at(m.position_m[2]);
        let cp = self.centre_of_pressure_m(angle, dot(u, u).sqrt() / sound);
        self.out.rail_exit = RailExit {
            time_s: self.time_s,
            speed_m_s: dot(self.state.velocity, d),
            angle_of_attack_rad: angle,
            margin_m: cp - self.now.cg,
            ..self.out.rail_exit
        };
        self.out.mishaps.unstable = cp < self.now.cg;
    }

    /// Where the normal force acts at an angle of attack.
    fn centre_of_pressure_m(&self, angle: f64, mach: f64) -> f64 {
        let p = self.parts;
        let fin = p.aero.fin_slope_factor.at(mach);
        let (sin, cos) = (libm::sin(angle), libm::cos(angle).abs());
        let s = p.aero.reference_area_m2;
        let slope = s * (p.body.zeroth_per_rad + p.fins.zeroth_per_rad * fin) * cos + p.cross_flow.drag_area_m2 * sin;
        let first = s * (p.body.first_m + p.fins.first_m * fin) * cos + p.cross_flow.first_m3 * sin;
        first / slope
    }

    fn moment(&self) -> Moment {
        Moment { time_s: self.time_s, position_m: self.state.position, velocity_m_s: self.state.velocity }
    }

    fn free_flight(&mut self) {
        let hold = Hold::Free;
        let burnout = self.parts.thrust.burnout_s();
        let (mut rate, mut flow) = self.record(&hold);
        // A rocket that sinks as it leaves the rail has its highest point here.
        (self.out.apogee_s, self.out.apogee_m) = (self.time_s, self.state.position[2]);
        let mut gauged_s = f64::INFINITY;
        for _ in 0..MOST_STEPS {
            if let Some((at_s, after)) = self.changes
                && self.time_s >= at_s
            {
                (self.parts, self.changes) = (after, None);
                (rate, flow) = derivative_and_flow(self.parts, &self.now, &self.state, &hold);
            }
            let may_eject = self.may_eject();
            let pace = if self.time_s < self.thrust_end_s {
                &THRUST
            } else if turns_over(&flow) {
                &TURNING
            } else if may_eject {
                &COAST
            } else {
                &FALL
            };
            let dt = self.step_s(&flow, &rate, pace, gauged_s);
            let (next, end) = self.stepped(&rate, dt, &hold);
            let (end_rate, end_flow) = derivative_and_flow(self.parts, &end, &next.state, &hold);
            let share = if turns_over(&end_flow) {
                STRAYS_TURNING
            } else if may_eject {
                STRAYS
            } else {
                STRAYS_FALLING
            } / self.finer;
            let strayed =
                end_flow.strayed_m_s(&next.last, &end_rate, dt) / (share * (end_flow.airspeed_m_s + STILL_M_S));
            if strayed > REFUSED {
                if dt > SHORTEST_S {
                    gauged_s = (0.5 * dt).max(SHORTEST_S);
                    continue;
                }
                self.out.mishaps.untrusted = true;
            }
            // The error goes with the fourth power of the step.
            gauged_s = (dt * (AIM / strayed.max(1e-12).sqrt().sqrt()).min(GROW)).max(SHORTEST_S);
            (rate, flow) = (end_rate, end_flow);
            if self.accept(next.state, end, dt) {
                (rate, flow) = derivative_and_flow(self.parts, &self.now, &self.state, &hold);
            }
            if !rate.velocity.iter().chain(&rate.spin).all(|x| x.is_finite()) {
                self.out.mishaps.untrusted = true;
                return;
            }
            self.push(&rate);
            self.watch(&flow, self.time_s <= burnout);
            if self.state.position[2] <= 0.0 {
                self.touch_ground();
                return;
            }
        }
        self.out.mishaps.untrusted = true;
    }

    /// Whether the flight must still be followed closely.
    fn may_eject(&self) -> bool {
        let w = &self.watchfulness;
        self.state.velocity[2] > 0.0
            || self.time_s < w.until_s
            || self.time_s < self.out.apogee_s + w.after_apogee_s.max(SLOWEST_SEARCHED_S)
            || self.state.position[2] > w.above_m
    }

    /// Looks at the state just reached for what is counted as an outcome.
    fn watch(&mut self, flow: &Flow<f64>, thrusting: bool) {
        let height = self.state.position[2];
        let out = &mut *self.out;
        out.peak_mach = out.peak_mach.max(flow.mach);
        out.mishaps.outside_model |= flow.mach > self.parts.aero.mach_bound || height > self.parts.top_m;
        if thrusting {
            out.mishaps.beyond_sixty_deg |= self.state.nose[2] < COS_STEEPEST;
            out.mishaps.unstable |= flow.axial_m_s < 0.0;
        }
        let k = out.path.nodes.len() - 2;
        let (before, now) = (out.path.nodes[k].velocity_m_s[2], self.state.velocity[2]);
        if before > 0.0 && now <= 0.0 {
            let t = out.path.root_in_step(k, |m| m.velocity_m_s[2]);
            let top = out.path.in_step(k, t).position_m[2];
            if top > out.apogee_m {
                (out.apogee_s, out.apogee_m) = (t, top);
            }
        }
    }

    /// Cuts the last step at the ground.
    fn touch_ground(&mut self) {
        let path = &mut self.out.path;
        let k = path.nodes.len() - 2;
        let t = path.root_in_step(k, |m| m.position_m[2]);
        let m = path.in_step(k, t);
        let (a, b) = (path.nodes[k], path.nodes[k + 1]);
        let w = (t - a.time_s) / (b.time_s - a.time_s);
        path.nodes[k + 1] = Node {
            time_s: t,
            position_m: m.position_m,
            velocity_m_s: m.velocity_m_s,
            acceleration_m_s2: core::array::from_fn(|i| {
                a.acceleration_m_s2[i] + (b.acceleration_m_s2[i] - a.acceleration_m_s2[i]) * w
            }),
            nose: b.nose,
        };
    }
}
