//! General-purpose adaptive integrators on the engine's own derivative: twelve states, the phases on the rail and in free
//! flight as calls of their own that end on an event, begun anew at burnout. Ejections are read from the integrator's own
//! continuous output.

use core::cell::RefCell;

use differential_equations::control::ControlFlag;
use differential_equations::interpolate::Interpolation;
use differential_equations::methods::ExplicitRungeKutta;
use differential_equations::ode::{ODE, OrdinaryNumericalMethod, solve_ode};
use differential_equations::solout::Solout;
use differential_equations::solution::Solution;
use ode_solvers::continuous_output_model::ContinuousOutputModel;
use ode_solvers::{Dopri5, OutputType, SVector, System};
use slowpoint_sim::flight::{Ascent, Asked, Drawn, Events, Hold, State, Watchfulness};
use slowpoint_sim::lanes::{dot, norm, scale};
use slowpoint_sim::thrust::Side;

use crate::kernel::{Phase, halved, lift_off_s, node, rail_exit, rate, rate_and_flow, watched};
use crate::yardstick::watch;

/// The twelve states as one crate has them ...
pub type Vector = SVector<f64, 12>;
/// ... and as the other does.
pub type Row = [f64; 12];

/// A state as twelve numbers.
pub fn row(s: &State<f64>) -> Row {
    let ([a, b, c], [d, e, f], [g, h, i], [j, k, l]) = (s.position, s.velocity, s.nose, s.spin);
    [a, b, c, d, e, f, g, h, i, j, k, l]
}

/// Twelve numbers as a state.
pub fn state([a, b, c, d, e, f, g, h, i, j, k, l]: Row) -> State<f64> {
    State { position: [a, b, c], velocity: [d, e, f], nose: [g, h, i], spin: [j, k, l] }
}

/// The derivative over a stretch of time as a general integrator sees it. Its last instant belongs to its inside.
#[derive(Clone, Copy)]
pub struct Stretch<'a> {
    /// The flight.
    pub drawn: &'a Drawn<'a>,
    /// What holds it.
    pub hold: Hold,
    /// Where the stretch ends, s after first thrust.
    pub end_s: f64,
}

impl Stretch<'_> {
    fn rate(&self, time_s: f64, y: Row) -> Row {
        let side = if time_s >= self.end_s { Side::Before } else { Side::After };
        row(&rate(self.drawn, time_s, side, &state(y), &self.hold))
    }
}

impl System<f64, Vector> for Stretch<'_> {
    fn system(&self, time_s: f64, y: &Vector, dy: &mut Vector) {
        *dy = self.rate(time_s, y.data.0[0]).into();
    }
}

impl ODE<f64, Row> for Stretch<'_> {
    fn diff(&self, time_s: f64, y: &Row, dy: &mut Row) {
        *dy = self.rate(time_s, *y);
    }
}

/// A stretch to be integrated: from a time and state to the end of the stretch, or to where `beyond` rises past zero.
pub struct Task<'a> {
    stretch: Stretch<'a>,
    from_s: f64,
    start: State<f64>,
    beyond: &'a dyn Fn(&State<f64>) -> f64,
    /// Rising times at which the state is asked for besides.
    asked_s: &'a [f64],
}

/// Times and states of a stretch, rising: every step, every asked time, and the end.
type Kept = Vec<(f64, State<f64>)>;

impl Task<'_> {
    /// Keeps a step that was taken, given its continuous output; true where it passed the event, on which it is cut.
    fn keep(
        &self,
        kept: &mut Kept,
        from_s: f64,
        to_s: f64,
        end: State<f64>,
        mut at: impl FnMut(f64) -> Option<Row>,
    ) -> bool {
        /// The event is found to this, s.
        const EVENT_S: f64 = 1e-7;
        let mut at = |time_s: f64| at(time_s).map_or(end, state);
        let past = (self.beyond)(&end) >= 0.0;
        let (to_s, end) = if past {
            let to_s = halved(from_s, to_s, EVENT_S, |t| (self.beyond)(&at(t)) >= 0.0);
            (to_s, at(to_s))
        } else {
            (to_s, end)
        };
        let asked = self.asked_s.iter().filter(|t| **t > from_s && **t < to_s);
        kept.extend(asked.map(|t| (*t, at(*t))));
        kept.push((to_s, end));
        past
    }
}

/// A general-purpose integrator: integrates a task at a tolerance, relative and absolute; nothing where it gives up.
pub type Integrate = fn(&Task, f64) -> Option<Kept>;

/// Those that are measured, with their crates. The 8(5,3) pair of `ode_solvers` 0.6.2 is not among them: on this
/// derivative, which depends on time, its steps shrink to nothing at any tolerance that would do.
pub static INTEGRATORS: [(&str, Integrate); 5] = [
    ("Dopri5 of ode_solvers", dopri5),
    ("5(4) pair of differential-equations", |task, tolerance| {
        pair(task, ExplicitRungeKutta::dopri5().rtol(tolerance).atol(tolerance))
    }),
    ("6(5) pair of differential-equations", |task, tolerance| {
        pair(task, ExplicitRungeKutta::rkv655e().rtol(tolerance).atol(tolerance))
    }),
    ("7(6) pair of differential-equations", |task, tolerance| {
        pair(task, ExplicitRungeKutta::rkv766e().rtol(tolerance).atol(tolerance))
    }),
    ("8(5,3) pair of differential-equations", |task, tolerance| {
        pair(task, ExplicitRungeKutta::dop853().rtol(tolerance).atol(tolerance))
    }),
];

/// A solver's right-hand side that writes down its steps and ends past the event.
struct Recorder<'a> {
    task: &'a Task<'a>,
    steps: &'a RefCell<Kept>,
}

impl System<f64, Vector> for Recorder<'_> {
    fn system(&self, time_s: f64, y: &Vector, dy: &mut Vector) {
        self.task.stretch.system(time_s, y, dy);
    }
    fn solout(&mut self, time_s: f64, y: &Vector, _: &Vector) -> bool {
        let state = state(y.data.0[0]);
        self.steps.borrow_mut().push((time_s, state));
        (self.task.beyond)(&state) >= 0.0
    }
}

fn dopri5(task: &Task, tolerance: f64) -> Option<Kept> {
    let steps = RefCell::new(vec![(task.from_s, task.start)]);
    let mut output = ContinuousOutputModel::new();
    solver(Recorder { task, steps: &steps }, task.from_s, task.stretch.end_s, row(&task.start).into(), tolerance)
        .integrate_with_continuous_output_model(&mut output)
        .ok()?;
    let mut kept = vec![(task.from_s, task.start)];
    for pair in steps.borrow().windows(2) {
        let [(from_s, _), (to_s, end)] = *pair else { continue };
        task.keep(&mut kept, from_s, to_s, end, |t| output.evaluate(t).map(|y| y.data.0[0]));
    }
    Some(kept)
}

/// The Dormand-Prince 5(4) pair of crate `ode_solvers` with its usual parameters, but without its test for stiffness: a
/// wind table's corners make it shorten steps in a way that the test mistakes for stiffness.
pub fn solver<const N: usize, F: System<f64, SVector<f64, N>>>(
    f: F,
    from: f64,
    to: f64,
    y: SVector<f64, N>,
    tolerance: f64,
) -> Dopri5<f64, SVector<f64, N>, F> {
    let (safety, beta, least, most, longest, first) = (0.9, 0.04, 0.2, 10.0, to - from, 0.0);
    let never = u32::MAX;
    Dopri5::from_param(
        f,
        from,
        to,
        longest,
        y,
        tolerance,
        tolerance,
        safety,
        beta,
        least,
        most,
        longest,
        first,
        10_000_000,
        never,
        OutputType::Sparse,
    )
}

/// Takes over the steps of an integrator of crate `differential-equations`.
struct Keeper<'a> {
    task: &'a Task<'a>,
    kept: Kept,
}

impl Solout<f64, Row> for Keeper<'_> {
    fn solout<I: Interpolation<f64, Row> + ?Sized>(
        &mut self,
        to_s: f64,
        from_s: f64,
        end: &Row,
        _: &Row,
        output: &mut I,
        _: &mut Solution<f64, Row>,
    ) -> ControlFlag<f64, Row> {
        if to_s <= from_s {
            return ControlFlag::Continue;
        }
        let at = |t| output.interpolate(t).ok();
        match self.task.keep(&mut self.kept, from_s, to_s, state(*end), at) {
            true => ControlFlag::Terminate,
            false => ControlFlag::Continue,
        }
    }
}

/// An embedded pair of crate `differential-equations`.
fn pair(task: &Task, mut method: impl OrdinaryNumericalMethod<f64, Row> + Interpolation<f64, Row>) -> Option<Kept> {
    let mut keeper = Keeper { task, kept: vec![(task.from_s, task.start)] };
    solve_ode(&mut method, &task.stretch, task.from_s, task.stretch.end_s, &row(&task.start), &mut keeper).ok()?;
    Some(keeper.kept)
}

/// Lift-off is looked for on a comb, and found to this, s.
const LIFT_OFF_S: (f64, f64) = (1e-3, 1e-6);
/// No flight lasts longer, s.
const LONGEST_S: f64 = 1000.0;

/// A flight under way by a general integrator.
struct Flyer<'a> {
    drawn: &'a Drawn<'a>,
    integrate: Integrate,
    tolerance: f64,
    watched: &'a Watchfulness,
    time_s: f64,
    state: State<f64>,
    out: &'a mut Ascent,
}

impl Flyer<'_> {
    /// Flies a stretch, and looks at each of its states as the yardstick does; false where the flight ends in it.
    fn fly(&mut self, hold: Hold, end_s: f64, beyond: impl Fn(&State<f64>) -> f64, asked_s: &[f64]) -> bool {
        let stretch = Stretch { drawn: self.drawn, hold, end_s };
        let task = Task { stretch, from_s: self.time_s, start: self.state, beyond: &beyond, asked_s };
        let Some(kept) = (self.integrate)(&task, self.tolerance) else {
            self.out.mishaps.untrusted = true;
            return false;
        };
        for (time_s, state) in &kept {
            // Where the stretch before ended is known already.
            if self.out.path.nodes.last().is_some_and(|last| *time_s <= last.time_s) {
                continue;
            }
            let (rate, flow) = rate_and_flow(self.drawn, *time_s, Side::After, state, &hold);
            self.out.path.nodes.push(node(*time_s, state, &rate, &flow));
            if hold == Hold::Free && watch(self.drawn, self.watched, &flow, self.out) {
                return false;
            }
        }
        if let Some((time_s, s)) = kept.last() {
            (self.time_s, self.state) = (*time_s, State { nose: scale(s.nose, 1.0 / norm(s.nose)), ..*s });
        }
        true
    }

    /// From lift-off to the end of the rail; false where it is never reached.
    fn leave_rail(&mut self, first: Phase) -> bool {
        let thrust_end_s = self.drawn.thrust.end_s();
        let mut phase = Some(first);
        let mut forward_speed_m_s = None;
        while let Some(held) = phase {
            if !self.fly(held.hold, thrust_end_s, |s| held.beyond_m(s), &[]) {
                return false;
            }
            if self.time_s >= thrust_end_s {
                self.out.mishaps.never_left_rail = true;
                return false;
            }
            let speed_m_s = dot(self.state.velocity, held.direction);
            let forward_speed_m_s = *forward_speed_m_s.get_or_insert(speed_m_s);
            self.out.rail_exit = rail_exit(self.time_s, &self.state, held.direction, forward_speed_m_s);
            phase = held.next(self.drawn, self.time_s, &self.state);
        }
        (self.out.apogee_s, self.out.apogee_m) = (self.time_s, self.state.position[2]);
        true
    }
}

/// Flies a drawn flight in which nothing fails, and whose ways of deploying are motor delays, by a general integrator.
pub fn ascend(integrate: Integrate, tolerance: f64, asked: &Asked, drawn: &Drawn, events: &Events, out: &mut Ascent) {
    out.clear();
    let (state, rail) = Phase::first(drawn);
    let Some(time_s) = lift_off_s(drawn, &state, &rail, LIFT_OFF_S.0, LIFT_OFF_S.1) else {
        out.mishaps.never_left_rail = true;
        return;
    };
    let watched = &watched(drawn, events, asked);
    let mut flyer = Flyer { drawn, integrate, tolerance, watched, time_s, state, out };
    if !flyer.leave_rail(rail) {
        return;
    }
    // Where something fires does not depend on the ascent, as no altimeter takes part.
    let fires = asked.ways.iter().map(|way| events.fires_s(way, drawn, flyer.out));
    let mut asked_s: Vec<f64> = fires.flat_map(|t| [t, t + events.line_stretch_lag_s]).collect();
    asked_s.sort_by(f64::total_cmp);
    // Asked no farther as a rule, and else to the ground.
    let thrust_end_s = drawn.thrust.end_s();
    for end_s in [thrust_end_s, watched.until_s.max(thrust_end_s), LONGEST_S] {
        if flyer.time_s < end_s && !flyer.fly(Hold::Free, end_s, |s| -s.position[2], &asked_s) {
            return;
        }
    }
    flyer.out.mishaps.untrusted = true;
}

#[cfg(test)]
mod tests {
    use super::*;
    use slowpoint_sim::asked;

    use crate::whole::case;
    use crate::yardstick::{BOUND_M_S, Reference};
    use crate::{larger, rockets};

    /// Each meets the engine as it is asked for more, at 1e-9 within a fiftieth of the bound; and loosely asked it does
    /// not, so that its tolerance is what decides.
    #[test]
    fn every_integrator_agrees_with_the_engine_at_a_small_tolerance() {
        for (name, inputs) in rockets::all() {
            let case = case(inputs, 64);
            let reference = Reference::new(&case, 8);
            for (which, integrate) in INTEGRATORS {
                let off = |tolerance| {
                    reference
                        .off(&|drawn, events, out| ascend(integrate, tolerance, &asked(&case, &[]), drawn, events, out))
                        .largest_m_s
                };
                let (close, loose) = (off(1e-9), off(1e-2));
                assert!(close <= 0.02 * BOUND_M_S, "{name}, {which}: {close} m/s");
                assert!(loose > BOUND_M_S, "{name}, {which}: {loose} m/s");
            }
        }
    }

    /// The phases on the rail, the highest point and the ground are found where the engine finds them.
    #[test]
    fn events_are_the_engine_s() {
        let case = case(rockets::club(), 64);
        for flight in 0..8 {
            let (drawn, events) = crate::whole::drawn(&case, flight);
            let engine = crate::ascent(&drawn, 16.0);
            for (which, integrate) in INTEGRATORS {
                let mut out = Ascent::default();
                ascend(integrate, 1e-9, &asked(&case, &[]), &drawn, &events, &mut out);
                let off = [
                    (out.rail_exit.time_s - engine.rail_exit.time_s).abs(),
                    (out.rail_exit.speed_m_s - engine.rail_exit.speed_m_s).abs(),
                    (out.apogee_s - engine.apogee_s).abs(),
                    (out.apogee_m - engine.apogee_m).abs(),
                    if out.ground_s.is_finite() { (out.ground_s - engine.ground_s).abs() } else { 0.0 },
                ];
                let worst = off.into_iter().fold(0.0, larger);
                assert!(worst < 0.002 && out.mishaps == engine.mishaps, "{which}: {off:?}");
            }
        }
    }
}
