//! Integration error: drawn flights of four very different rockets against a general-purpose adaptive
//! solver, the Dormand-Prince 5(4) pair of crate `ode_solvers`, at 1e-12 on the engine's own derivative.
//! (The 8(5,3) pair of the same crate, version 0.6.2, is no oracle: on right-hand sides that depend on time
//! it is off by 1e-6 whatever the tolerance.)

use ode_solvers::{SVector, System};
use rayon::prelude::*;
use slowpoint_sim::case::Case;
use slowpoint_sim::draw::{Numbers, PointSet, Shift, draw};
use slowpoint_sim::flight::{Ascent, Drawn, Events, Falling, Hold, Outcome, State, fly};
use slowpoint_sim::lanes::norm;
use slowpoint_tests::general::{Stretch, row, solver, state};
use slowpoint_tests::kernel::{Phase, halved, lift_off_s};
use slowpoint_tests::sheet::{Sheet, Trust};
use slowpoint_tests::steps::{AT_A_HEIGHT, BIAS_MOST, Bias, biases, cases, worst};
use slowpoint_tests::{larger, rockets};

slowpoint_tests::subject! { "Integration":
    thousand_drawn_flights_against_dopri5,
    chances_against_finer_steps,
}

const TOLERANCE: f64 = 1e-12;

/// The state at the end, by the solver.
fn dopri5<const N: usize>(
    f: impl System<f64, SVector<f64, N>>,
    from: f64,
    to: f64,
    y: SVector<f64, N>,
    tolerance: f64,
) -> SVector<f64, N> {
    let mut solver = solver(f, from, to, y, tolerance);
    solver.integrate().unwrap_or_else(|e| panic!("reference from {from} to {to} s: {e:?}"));
    *solver.y_out().last().expect("the solver reached the end")
}

/// Integrates from one time to another, stopping at every node of the thrust table.
fn solve(drawn: &Drawn, hold: Hold, from: f64, to: f64, start: State<f64>) -> State<f64> {
    let mut s = start;
    let mut t = from;
    while t < to {
        let end_s = drawn.thrust.next_node_s(t).map_or(to, |n| n.min(to));
        s = state(dopri5(Stretch { drawn, hold, end_s }, t, end_s, row(&s).into(), TOLERANCE).into());
        s.nose = s.nose.map(|x| x / norm(s.nose));
        t = end_s;
    }
    s
}

/// Time and state at the end of a phase, by halving over whole solutions.
fn reach(drawn: &Drawn, phase: &Phase, from: f64, start: State<f64>) -> (f64, State<f64>) {
    let past = |s: &State<f64>| phase.beyond_m(s) >= 0.0;
    let (mut low, mut before, mut high) = (from, start, from + 0.05);
    loop {
        let next = solve(drawn, phase.hold, low, high, before);
        if past(&next) {
            break;
        }
        (low, before, high) = (high, next, high + 0.05);
        assert!(high < from + 20.0, "the reference never leaves the rail");
    }
    let at = |t: f64| solve(drawn, phase.hold, low, t, before);
    let end = halved(low, high, 1e-11, |t| past(&at(t)));
    (end, at(end))
}

/// State on leaving the rail.
fn leave_rail(drawn: &Drawn) -> (f64, State<f64>) {
    let (rest, guided) = Phase::first(drawn);
    let start = lift_off_s(drawn, &rest, &guided, 1e-4, 1e-12).expect("it rises");
    let (t, s) = reach(drawn, &guided, start, rest);
    guided.next(drawn, t, &s).map_or((t, s), |tip_off| reach(drawn, &tip_off, t, s))
}

struct Under<'a, 'b>(Falling<'a, 'b>);

impl System<f64, SVector<f64, 7>> for Under<'_, '_> {
    fn system(&self, _t: f64, y: &SVector<f64, 7>, dy: &mut SVector<f64, 7>) {
        *dy = SVector::from(self.0.rate(&(*y).into()));
    }
}

/// Landing place of a full integration from line stretch to the ground.
fn land(drawn: &Drawn, events: &Events, s: &State<f64>) -> [f64; 2] {
    let falling = Falling {
        parts: drawn,
        canopy: events.stages.first,
        bare_area_m2: events.stages.bare_area_m2,
        mass_kg: events.stages.mass_kg,
    };
    let (p, v) = (s.position, s.velocity);
    let mut y = SVector::from([p[0], p[1], p[2], v[0], v[1], v[2], 0.0]);
    let run = |y: SVector<f64, 7>, seconds: f64| dopri5(Under(falling), 0.0, seconds, y, 1e-9);
    loop {
        let next = run(y, 5.0);
        if next[2] <= 0.0 {
            break;
        }
        y = next;
    }
    let down = run(y, halved(0.0, 5.0, 1e-6, |seconds| run(y, seconds)[2] <= 0.0));
    [down[0], down[1]]
}

/// Largest errors of one flight over its delays.
#[derive(Clone, Copy, Default)]
struct Errors {
    flight: u64,
    /// Whether there was anything to compare: no mishap of the ascent.
    compared: bool,
    airspeed_m_s: f64,
    landing_m: f64,
    ballistic_m: f64,
}

fn errors(case: &Case, flight: u64) -> Errors {
    let question = &case.inputs.question;
    let (drawn, events) = draw(case, &Numbers::of(PointSet::Sobol, 20_261, flight), &Shift::NONE);
    let mut ascent = Ascent::default();
    let flown = fly(&drawn, &events, &question.ways, &mut ascent);
    if flown.mishaps != Default::default() {
        return Errors { flight, ..Errors::default() };
    }
    let (mut t, mut s) = leave_rail(&drawn);
    let mut worst = Errors { flight, compared: true, ..Errors::default() };
    let mut order: Vec<usize> = (0..question.ways.len()).collect();
    let fires: Vec<f64> = question.ways.iter().map(|w| events.fires_s(w, &drawn, &ascent)).collect();
    order.sort_by(|a, b| fires[*a].total_cmp(&fires[*b]));
    for k in order {
        let deployed = &flown.deployed[k];
        let (Some(ejection), Outcome::Opened) = (&deployed.ejection, deployed.outcome) else { continue };
        s = solve(&drawn, Hold::Free, t, ejection.time_s, s);
        t = ejection.time_s;
        let (east, north) = drawn.wind.at(s.position[2]);
        let airspeed = norm([s.velocity[0] - east, s.velocity[1] - north, s.velocity[2]]);
        worst.airspeed_m_s = larger(worst.airspeed_m_s, (airspeed - ejection.airspeed_m_s).abs());
        let stretch = solve(&drawn, Hold::Free, t, t + events.line_stretch_lag_s, s);
        let down = land(&drawn, &events, &stretch);
        let landing = deployed.landing.expect("an opened flight lands");
        let off = libm::hypot(down[0] - landing.east_m, down[1] - landing.north_m);
        worst.landing_m = larger(worst.landing_m, off);
    }
    // The same flight without any ejection, at the engine's instant of impact.
    let end = ascent.path.at(ascent.path.end_s());
    let s = solve(&drawn, Hold::Free, t, end.time_s, s);
    let apart = |i: usize| s.position[i] - end.position_m[i];
    worst.ballistic_m = norm([apart(0), apart(1), apart(2)]);
    worst
}

/// Prints what the page leaves out, as it may differ in the last digit from machine to machine: the sizes of the errors,
/// and flights outside the bounds with their numbers.
fn thousand_drawn_flights_against_dopri5() -> Sheet {
    const FLIGHTS: u64 = 250;
    let mut sheet = Sheet::new(
        "INT-1",
        "1000 drawn flights of four rockets, each from the rail to every ejection, to the ground under its canopy, and to \
        the ground without any ejection",
        Trust::B,
        "a general-purpose adaptive solver, the Dormand-Prince 5(4) pair of crate ode_solvers, at 1e-12 on the engine's \
        own derivative",
    );
    let (mut all, mut compared, mut beyond, mut astray) = (0, 0, 0, 0);
    for (name, inputs) in rockets::all() {
        let case = Case::new(inputs).unwrap_or_else(|f| panic!("{name}: {f:?}"));
        let found: Vec<Errors> = (0..FLIGHTS).into_par_iter().map(|flight| errors(&case, flight)).collect();
        let off = |e: &&Errors| {
            let within = e.airspeed_m_s <= 0.05 && e.landing_m <= 0.5;
            !within
        };
        for e in found.iter().filter(off) {
            println!(
                "{name}, flight {}: airspeed off by {:.4} m/s, landing by {:.3} m",
                e.flight, e.airspeed_m_s, e.landing_m
            );
        }
        let median_and_most = |pick: fn(&Errors) -> f64| {
            let mut sorted: Vec<f64> = found.iter().map(pick).collect();
            sorted.sort_by(f64::total_cmp);
            (sorted[sorted.len() / 2], sorted[sorted.len() - 1])
        };
        let (v, l, b) =
            (median_and_most(|e| e.airspeed_m_s), median_and_most(|e| e.landing_m), median_and_most(|e| e.ballistic_m));
        println!(
            "{name}, off in the median and at most: airspeed at ejection by {:.5} and {:.5} m/s; landing by {:.3} and {:.3} m; ballistic impact by {:.3} and {:.3} m",
            v.0, v.1, l.0, l.1, b.0, b.1
        );
        all += found.len();
        compared += found.iter().filter(|e| e.compared).count();
        beyond += found.iter().filter(off).count();
        astray += found.len() - found.iter().filter(|e| e.ballistic_m <= 0.5).count();
    }
    sheet.because("as the model states: airspeed within 0.05 m/s and landing within 0.5 m for 99.9 % of flights");
    let name = format!("flights beyond 0.05 m/s or 0.5 m, of {all}, {compared} of them without mishap");
    sheet.at_most(name, beyond as f64, 0.001 * all as f64);
    sheet.because(
        "without ejection a rocket that all but stops at apogee turns over in a way that magnifies any error, and falls \
        for half a minute: 97 % within 0.5 m, the rest astray by metres in clouds of hundreds of metres",
    );
    sheet.at_most(format!("ballistic impacts beyond 0.5 m, of {all}"), astray as f64, 0.03 * all as f64);
    sheet
}

/// The most that the steps may do to a chance, with two standard errors of it. Of an altimeter at a height the mean is not
/// known well enough from so few flights: `must_reach` prints it.
fn chances_against_finer_steps() -> Sheet {
    const FLIGHTS: u64 = 2048;
    const FINER: f64 = 8.0;
    let mut sheet = Sheet::new(
        "INT-2",
        "what the steps do to every chance of an answer and of its curve, over a limit and of an unsafe opening: 2048 flights of \
        each rocket with the engine's own steps and, with the same numbers, with steps eight times finer",
        Trust::B,
        "the method's own limit, as steps go to nothing: against steps 64 times finer the largest differences of four cases came out within 4e-6 of \
        these (256 flights)",
    );
    let off = |found: &[Bias]| {
        let Some(b) = worst(found) else { panic!("no chances") };
        (format!("worst of {}: {}, chance {:.4}", found.len(), b.what, b.chance), b.at_most())
    };
    let (mut strays, mut of) = (0, 0);
    for (name, case) in cases() {
        let found = biases(&case, FLIGHTS, [1.0, FINER]);
        strays += found.iter().map(|b| b.strays).max().unwrap_or(0);
        of += FLIGHTS;
        if name.ends_with(AT_A_HEIGHT) {
            continue;
        }
        let (which, most) = off(&found);
        sheet.because("as required of any chance: below 1e-4, two standard errors of the mean difference included");
        sheet.less_than(format!("{name}: size of the bias, {which}"), most, BIAS_MOST);
    }
    sheet.because(
        "as the model states, 99.9 % of flights are true; a rocket that falls a long way before an altimeter's height, without a \
        canopy, turns over in a way that magnifies any error",
    );
    let name = format!("flights of which a chance moves by more than 0.01, of {of}, altimeters at a height included");
    sheet.at_most(name, strays as f64, 0.001 * of as f64);
    let (name, case) = cases().swap_remove(3);
    let (which, most) = off(&biases(&case, FLIGHTS / 4, [0.1, FINER]));
    sheet.because("the bound, from its other side");
    sheet.more_than(format!("wrong on purpose, {name}, steps ten times as long: {which}"), most, BIAS_MOST);
    sheet
}
