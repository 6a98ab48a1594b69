//! The yardstick of speed: the engine's physics and flags as a plain scalar Runge-Kutta method of fourth order with one
//! fixed step from first thrust as far as anything is asked of the flight, which is as far as the engine flies. No control of the step, no lanes, nothing saved between evaluations but
//! what the method itself shares: the ends of the rail found by halving the last step, apogee, ejection and ground read
//! between the steps by the engine's own cubic pieces.

use rayon::prelude::*;
use slowpoint_sim::asked;
use slowpoint_sim::case::Case;
use slowpoint_sim::flight::{Ascent, Drawn, Events, Flow, Hold, Watchfulness};
use slowpoint_sim::lanes::dot;
use slowpoint_sim::thrust::Side;

use crate::kernel::{Phase, engine, halved, lift_off_s, node, over, rail_exit, rate_and_flow, rk4};
use crate::whole::drawn;

/// Bound on the error of the airspeed at ejection, m/s: that of the engine's own accuracy test.
pub const BOUND_M_S: f64 = 0.05;
/// How many times finer the engine flies where it is the reference.
pub const REFERENCE_FINER: f64 = 16.0;
/// The end of a phase is halved to this, s: at 100 m/s2 it is worth 0.0001 m/s.
const PHASE_END_S: f64 = 1e-6;
/// Lift-off is looked for on a comb of this, s.
const COMB_S: f64 = 1e-3;
const MOST_STEPS: usize = 1_000_000;
/// More than this from vertical under thrust is an outcome of its own: cos 60 deg.
const COS_STEEPEST: f64 = 0.5;

/// A fixed step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plain {
    /// The step, s.
    pub step_s: f64,
    /// Whether steps end on nodes of the thrust table: the stronger variant.
    pub on_nodes: bool,
}

impl Plain {
    fn step_s(&self, drawn: &Drawn, time_s: f64) -> f64 {
        if !self.on_nodes {
            return self.step_s;
        }
        match drawn.thrust.next_node_s(time_s).map(|node| node - time_s) {
            Some(left) if left <= self.step_s * 1.000_001 => left,
            // No sliver of a step before the node.
            Some(left) if left < 2.0 * self.step_s => 0.5 * left,
            _ => self.step_s,
        }
    }

    /// Flies a drawn flight in which nothing fails from the rail as far as is asked.
    pub fn ascend(&self, drawn: &Drawn, watched: &Watchfulness, out: &mut Ascent) {
        out.clear();
        let (mut state, rail) = Phase::first(drawn);
        let Some(lift_off_s) = lift_off_s(drawn, &state, &rail, COMB_S, PHASE_END_S) else {
            out.mishaps.never_left_rail = true;
            return;
        };
        let mut time_s = lift_off_s;
        let mut phase = Some(rail);
        let mut forward_speed_m_s = 0.0;
        for _ in 0..MOST_STEPS {
            let hold = phase.map_or(Hold::Free, |p| p.hold);
            let (rate, flow) = rate_and_flow(drawn, time_s, Side::After, &state, &hold);
            out.path.nodes.push(node(time_s, &state, &rate, &flow));
            if phase.is_none() && watch(drawn, watched, &flow, out) {
                return;
            }
            let mut step_s = self.step_s(drawn, time_s);
            let mut next = rk4(drawn, &state, &rate, time_s, step_s, &hold);
            if let Some(held) = phase {
                let speed_m_s = dot(next.velocity, held.direction);
                if speed_m_s.is_nan() || speed_m_s <= 0.0 {
                    out.mishaps.never_left_rail = true;
                    return;
                }
                if held.beyond_m(&next) >= 0.0 {
                    let stepped = |part_s| rk4(drawn, &state, &rate, time_s, part_s, &hold);
                    step_s = halved(0.0, step_s, PHASE_END_S, |part_s| held.beyond_m(&stepped(part_s)) >= 0.0);
                    next = stepped(step_s);
                    let then_s = time_s + step_s;
                    phase = held.next(drawn, then_s, &next);
                    if forward_speed_m_s == 0.0 {
                        forward_speed_m_s = dot(next.velocity, held.direction);
                    }
                    if phase.is_none() {
                        out.rail_exit = rail_exit(then_s, &next, held.direction, forward_speed_m_s);
                        (out.apogee_s, out.apogee_m) = (then_s, next.position[2]);
                    }
                }
            }
            (state, time_s) = (next, time_s + step_s);
        }
        out.mishaps.untrusted = true;
    }
}

/// Looks at the state just recorded for what is counted as an outcome, for apogee and for the ground; true at the ground,
/// where the path is cut, where nothing is asked any more, and where numbers end.
pub fn watch(drawn: &Drawn, watched: &Watchfulness, flow: &Flow<f64>, out: &mut Ascent) -> bool {
    let [.., before, now] = out.path.nodes[..] else { return false };
    out.peak_mach = out.peak_mach.max(flow.mach);
    out.mishaps.outside_model |= flow.mach > drawn.aero.mach_bound || now.position_m[2] > drawn.top_m;
    if now.time_s <= drawn.thrust.burnout_s() {
        out.mishaps.beyond_sixty_deg |= now.nose[2] < COS_STEEPEST;
        out.mishaps.unstable |= flow.axial_m_s < 0.0;
    }
    if !now.acceleration_m_s2.iter().all(|x| x.is_finite()) {
        out.mishaps.untrusted = true;
        return true;
    }
    let k = out.path.nodes.len() - 2;
    if before.velocity_m_s[2] > 0.0 && now.velocity_m_s[2] <= 0.0 {
        let top = out.path.in_step(k, out.path.root_in_step(k, |m| m.velocity_m_s[2]));
        if top.position_m[2] > out.apogee_m {
            (out.apogee_s, out.apogee_m) = (top.time_s, top.position_m[2]);
        }
    }
    if now.position_m[2] > 0.0 {
        return over(watched, drawn, out, &now);
    }
    out.path.touch_ground(&drawn.wind);
    out.ground_s = out.path.end_s();
    true
}

/// A way of flying an ascent: a drawn flight and its turn of events into an ascent.
pub type Ascend<'a> = &'a (dyn Fn(&Drawn, &Events, &mut Ascent) + Sync);

/// What the reference makes of a number of flights of a case: the airspeed at each ejection.
pub struct Reference<'a> {
    case: &'a Case,
    /// Per flight and way; nothing where the flight met a mishap or did not eject in the air.
    airspeeds_m_s: Vec<Vec<Option<f64>>>,
}

/// How far off a way of flying is from the reference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Off {
    /// Largest error of the airspeed at ejection over all flights and ways, m/s.
    pub largest_m_s: f64,
    /// The error that 99.9 % of the flights keep within, m/s.
    pub p999_m_s: f64,
    /// Flights beyond the bound.
    pub beyond: usize,
}

/// Airspeed at the ejection of each way of deploying.
fn airspeeds_m_s<'a>(
    case: &'a Case,
    drawn: &'a Drawn,
    events: &'a Events,
    ascent: &'a Ascent,
) -> impl Iterator<Item = Option<f64>> + 'a {
    case.inputs.question.ways.iter().map(move |way| {
        let fires_s = events.fires_s(way, drawn, ascent);
        let flown = ascent.mishaps == Default::default() && fires_s < ascent.path.end_s();
        flown.then(|| ascent.path.at(fires_s).airspeed_m_s(&drawn.wind))
    })
}

impl<'a> Reference<'a> {
    /// The engine with much finer steps.
    pub fn new(case: &'a Case, flights: u64) -> Self {
        let one = |ascent: &mut Ascent, flight| {
            let (drawn, events) = drawn(case, flight);
            engine(&drawn, &events, &asked(case, &[]), REFERENCE_FINER, ascent);
            airspeeds_m_s(case, &drawn, &events, ascent).collect()
        };
        let airspeeds_m_s = (0..flights).into_par_iter().map_init(Ascent::default, one).collect();
        Self { case, airspeeds_m_s }
    }

    /// Number of flights.
    pub fn flights(&self) -> u64 {
        self.airspeeds_m_s.len() as u64
    }

    /// The errors of a way of flying. A flight that does not eject where the reference does is off by infinity.
    pub fn off(&self, ascend: Ascend) -> Off {
        let one = |ascent: &mut Ascent, flight: u64| {
            let (drawn, events) = drawn(self.case, flight);
            ascend(&drawn, &events, ascent);
            let found = airspeeds_m_s(self.case, &drawn, &events, ascent);
            let known = &self.airspeeds_m_s[flight as usize];
            let off = |(known, found): (&Option<f64>, Option<f64>)| {
                known.map_or(0.0, |known| found.map_or(f64::INFINITY, |found| (found - known).abs()))
            };
            known.iter().zip(found).map(off).fold(0.0, crate::larger)
        };
        let mut off: Vec<f64> = (0..self.flights()).into_par_iter().map_init(Ascent::default, one).collect();
        off.sort_by(f64::total_cmp);
        let within = |share: f64| off[((off.len() as f64 * share).ceil() as usize).clamp(1, off.len()) - 1];
        let beyond = off.iter().filter(|off| **off > BOUND_M_S).count();
        Off { largest_m_s: within(1.0), p999_m_s: within(0.999), beyond }
    }
}

/// A rung of a ladder and how far off it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rung {
    /// The step, or the tolerance.
    pub value: f64,
    /// Its errors.
    pub off: Off,
}

/// Which flights have to keep the bound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keep {
    /// 99.9 % of them, as the engine's own accuracy test asks.
    Most,
    /// Every one.
    All,
}

/// The first rung of a falling ladder that keeps the bound.
pub fn first_rung(ladder: impl IntoIterator<Item = f64>, keep: Keep, off: impl Fn(f64) -> Off) -> Option<Rung> {
    let kept = |off: &Off| match keep {
        Keep::Most => off.p999_m_s <= BOUND_M_S,
        Keep::All => off.largest_m_s <= BOUND_M_S,
    };
    ladder.into_iter().map(|value| Rung { value, off: off(value) }).find(|rung| kept(&rung.off))
}

/// Steps to try, s: from 0.25 down to 0.001, each 0.8 of the one before.
pub fn steps_s() -> impl Iterator<Item = f64> {
    core::iter::successors(Some(0.25), |step_s| Some(step_s * 0.8)).take_while(|step_s| *step_s > 1e-3)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::whole::case;
    use crate::{larger, rockets};

    const FLIGHTS: u64 = 32;

    fn off(reference: &Reference, step_s: f64, on_nodes: bool) -> f64 {
        reference
            .off(&|drawn, _, ascent| Plain { step_s, on_nodes }.ascend(drawn, &Watchfulness::WHOLE, ascent))
            .largest_m_s
    }

    /// Two ways that share nothing but the derivative and the cubic pieces meet: at a millisecond the yardstick is
    /// within a tenth of the bound, and within a fiftieth when its steps end where thrust has its corners.
    #[test]
    fn agrees_with_the_engine_at_a_small_step() {
        for (name, inputs) in rockets::all() {
            let case = case(inputs, 64);
            let reference = Reference::new(&case, FLIGHTS);
            let compared = reference.airspeeds_m_s.iter().flatten().flatten().count();
            assert!(compared > FLIGHTS as usize, "{name}: {compared}");
            for (on_nodes, share) in [(false, 0.1), (true, 0.02)] {
                let off = off(&reference, 1e-3, on_nodes);
                assert!(off <= share * BOUND_M_S, "{name}, {on_nodes}: {off} m/s");
            }
        }
    }

    /// A quarter of the step takes more off the error than a method of first order would; the light, stiff rocket needs
    /// small steps to begin with.
    #[test]
    fn the_error_falls_with_the_step() {
        for (name, inputs) in rockets::all() {
            let case = case(inputs, 64);
            let reference = Reference::new(&case, FLIGHTS);
            let coarse_s = if name == "20 g paper" { 0.016 } else { 0.064 };
            let [coarse, fine] = [coarse_s, coarse_s / 4.0].map(|step_s| off(&reference, step_s, true));
            assert!(fine < 0.25 * coarse, "{name}: {coarse} m/s fell to {fine} m/s only");
        }
    }

    #[test]
    fn events_are_the_engine_s() {
        for (name, inputs) in rockets::all() {
            let case = case(inputs, 64);
            for flight in 0..8 {
                let (drawn, _) = drawn(&case, flight);
                let engine = crate::ascent(&drawn, 16.0);
                let mut plain = Ascent::default();
                Plain { step_s: 1e-3, on_nodes: true }.ascend(&drawn, &Watchfulness::WHOLE, &mut plain);
                let off = [
                    (plain.rail_exit.time_s - engine.rail_exit.time_s).abs(),
                    (plain.rail_exit.speed_m_s - engine.rail_exit.speed_m_s).abs(),
                    (plain.rail_exit.forward_speed_m_s - engine.rail_exit.forward_speed_m_s).abs(),
                    (plain.apogee_s - engine.apogee_s).abs(),
                    (plain.apogee_m - engine.apogee_m).abs(),
                    (plain.peak_mach - engine.peak_mach).abs(),
                    (plain.path.end_s() - engine.path.end_s()).abs(),
                ];
                let worst = off.into_iter().fold(0.0, larger);
                assert!(worst < 0.002 && plain.mishaps == engine.mishaps, "{name}, {flight}: {off:?}");
            }
        }
    }

    /// Steps end on every node of the thrust table, none is longer than asked, and none is a sliver.
    #[test]
    fn steps_end_on_nodes() {
        let case = case(rockets::club(), 64);
        let (drawn, _) = drawn(&case, 0);
        let mut ascent = Ascent::default();
        Plain { step_s: 0.02, on_nodes: true }.ascend(&drawn, &Watchfulness::WHOLE, &mut ascent);
        let times: Vec<f64> = ascent.path.nodes.iter().map(|n| n.time_s).collect();
        for node in drawn.thrust.nodes_s().filter(|t| *t > ascent.rail_exit.time_s) {
            assert!(times.iter().any(|t| (t - node).abs() < 1e-9), "{node}");
        }
        let steps = times.windows(2).map(|w| w[1] - w[0]);
        assert!(steps.clone().all(|s| s < 0.02 * 1.000_01));
        let short = steps.filter(|s| *s < 0.005).count();
        assert!(short <= 4, "{short} short steps: lift-off, two ends on the rail, the ground");
    }

    #[test]
    fn too_heavy_to_leave() {
        let case = case(rockets::club(), 64);
        let (mut drawn, _) = drawn(&case, 0);
        drawn.mass.dry_mass_kg = 1000.0;
        let mut ascent = Ascent::default();
        Plain { step_s: 0.02, on_nodes: false }.ascend(&drawn, &Watchfulness::WHOLE, &mut ascent);
        assert!(ascent.mishaps.never_left_rail && ascent.path.nodes.is_empty());
    }

    #[test]
    fn the_first_rung_that_keeps_the_bound() {
        let off = |value: f64| Off { largest_m_s: value, p999_m_s: value / 4.0, beyond: 0 };
        let ladder = [0.3, 0.1, 0.04, 0.01];
        assert_eq!(first_rung(ladder, Keep::Most, off).map(|r| r.value), Some(0.1));
        assert_eq!(first_rung(ladder, Keep::All, off).map(|r| r.value), Some(0.04));
        assert_eq!(first_rung([0.3], Keep::All, off), None);
    }
}
