//! Whole flights (draw, ascent, every delay, descent, tally), counted and timed: what the gauges of speed share.

use core::ops::Range;
use core::sync::atomic::AtomicBool;
use std::time::Instant;

use slowpoint_sim::case::{Case, Inputs};
use slowpoint_sim::draw::{Numbers, Shift, draw};
use slowpoint_sim::flight::{Ascent, Drawn, Events, Instructions, Pilot};
use slowpoint_sim::report::Report;
use slowpoint_sim::tally::{Frame, Tally};
use slowpoint_sim::{BATCH, asked, assess, cell_m, fly_range};

use crate::kernel::landed;
use crate::rockets;
use crate::yardstick::Ascend;

/// Nobody stops a measurement.
pub static GO: AtomicBool = AtomicBool::new(false);

/// A way to fly whole flights on one core.
pub struct Engine {
    /// Its name in tables and on the command line.
    pub name: &'static str,
    /// Whether this machine can.
    pub runs_here: fn() -> bool,
    /// Whether its instructions are counted: valgrind must know them, and it knows no AVX-512.
    pub counted: bool,
    /// Flies flights of a case into a tally.
    pub fly: fn(&Case, Range<u64>, &mut Tally),
}

/// Every variant of the engine: a width and an instruction set is a row here, and nowhere else.
pub static ENGINES: &[Engine] = &[
    Engine {
        name: "scalar",
        runs_here: || can(Instructions::Scalar),
        counted: true,
        fly: |case, flights, tally| with(Instructions::Scalar, case, flights, tally),
    },
    #[cfg(target_arch = "x86_64")]
    Engine {
        name: "SSE2, 2 lanes",
        runs_here: || can(Instructions::Sse2),
        counted: true,
        fly: |case, flights, tally| with(Instructions::Sse2, case, flights, tally),
    },
    #[cfg(target_arch = "x86_64")]
    Engine {
        name: "AVX2, 4 lanes",
        runs_here: || can(Instructions::Avx2),
        counted: true,
        fly: |case, flights, tally| with(Instructions::Avx2, case, flights, tally),
    },
    #[cfg(target_arch = "x86_64")]
    Engine {
        name: "AVX-512, 8 lanes",
        runs_here: || can(Instructions::Avx512),
        counted: false,
        fly: |case, flights, tally| with(Instructions::Avx512, case, flights, tally),
    },
];

fn can(instructions: Instructions) -> bool {
    Instructions::available().contains(&instructions)
}

/// Flights of each rocket whose instructions are counted.
pub const COUNTED_FLIGHTS: u64 = 64;

/// What is counted, in order: every variant of the engine with every rocket, by its number.
pub fn counted() -> impl Iterator<Item = (&'static Engine, usize)> {
    let engines = ENGINES.iter().filter(|engine| engine.counted);
    engines.flat_map(|engine| (0..rockets::all().len()).map(move |rocket| (engine, rocket)))
}

/// What a tally of a case without a curve asks.
pub fn frame(case: &Case) -> Frame<'_> {
    Frame { case, cell_m: cell_m(case), curve_s: &[] }
}

/// Flights in the engine's own batches.
fn with(instructions: Instructions, case: &Case, flights: Range<u64>, tally: &mut Tally) {
    let Some(mut pilot) = Pilot::with(instructions) else { panic!("{instructions:?} does not run here") };
    for from in flights.clone().step_by(BATCH as usize) {
        let batch = from..(from + BATCH).min(flights.end);
        let flown = fly_range(&frame(case), batch.clone(), &Shift::NONE, &mut pilot);
        flown.iter().zip(batch).for_each(|(flown, flight)| tally.add(flown, case, flight));
    }
}

/// Whole flights whose ascent is flown by other means than the engine's.
pub fn by(ascend: Ascend, case: &Case, flights: Range<u64>, tally: &mut Tally) {
    let asked = asked(case, &[]);
    let mut ascent = Ascent::default();
    for flight in flights {
        let (drawn, events) = drawn(case, flight);
        ascend(&drawn, &events, &mut ascent);
        tally.add(&landed(&drawn, &events, &asked, &ascent), case, flight);
    }
}

/// A flight of a case as its seed has it.
pub fn drawn(case: &Case, flight: u64) -> (Drawn<'_>, Events) {
    let question = &case.inputs.question;
    draw(case, &Numbers::of(question.points, question.seed, flight), &Shift::NONE)
}

/// A case with another number of flights.
pub fn case(mut inputs: Inputs, flights: u64) -> Case {
    inputs.question.flights = flights;
    checked(inputs)
}

/// A case that is known to be sound.
pub fn checked(inputs: Inputs) -> Case {
    Case::new(inputs).unwrap_or_else(|faults| panic!("{faults:?}"))
}

/// Flies flights of a case into a tally.
pub type Fly<'a> = dyn Fn(&Case, Range<u64>, &mut Tally) + 'a;

/// One that takes part in a race: flies so many flights of a case into a tally.
pub struct Runner<'a> {
    /// Its flights per round: enough for a round to last longer than a clock is coarse.
    pub flights: u64,
    /// How it flies.
    pub fly: Box<Fly<'a>>,
}

impl<'a> Runner<'a> {
    /// A variant of the engine.
    pub fn engine(engine: &'static Engine, flights: u64) -> Self {
        Self { flights, fly: Box::new(engine.fly) }
    }

    /// Another way of ascending.
    pub fn by(ascend: impl Fn(&Drawn, &Events, &mut Ascent) + Sync + 'a, flights: u64) -> Self {
        Self { flights, fly: Box::new(move |case, range, tally| by(&ascend, case, range, tally)) }
    }
}

/// Whole flights per second of each runner on one core: the best of some rounds, in each of which all take their turn.
/// Whatever else the machine does only slows a round down, and meets all alike.
pub fn race(case: &Case, runners: &[&Runner], rounds: u32) -> Vec<f64> {
    let frame = frame(case);
    let mut best = vec![0.0_f64; runners.len()];
    for _ in 0..rounds {
        for (runner, best) in runners.iter().zip(&mut best) {
            let mut tally = Tally::new(&frame);
            let begin = Instant::now();
            (runner.fly)(case, 0..runner.flights, &mut tally);
            let rate = runner.flights as f64 / begin.elapsed().as_secs_f64();
            assert_eq!(tally.flights(), runner.flights);
            *best = best.max(rate);
        }
    }
    best
}

/// An assessment on so many threads.
pub fn on_threads(threads: usize, case: &Case) -> Report {
    pool(threads).install(|| assess(case, &GO)).unwrap_or_else(|| panic!("nobody stops it"))
}

/// Best of some rounds of an assessment on each number of threads, s.
pub fn seconds_on_threads(threads: &[usize], case: &Case, rounds: u32) -> Vec<f64> {
    let pools: Vec<_> = threads.iter().map(|threads| pool(*threads)).collect();
    let mut best = vec![f64::INFINITY; threads.len()];
    for _ in 0..rounds {
        for (pool, best) in pools.iter().zip(&mut best) {
            let begin = Instant::now();
            let report = pool.install(|| assess(case, &GO));
            *best = best.min(begin.elapsed().as_secs_f64());
            assert!(report.is_some());
        }
    }
    best
}

/// So many threads that fly.
pub fn pool(threads: usize) -> rayon::ThreadPool {
    rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap_or_else(|e| panic!("{e}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::engine;

    /// Deploying an ascent that was flown elsewhere is what the engine does with its own: the same bytes.
    #[test]
    fn an_ascent_flown_elsewhere_is_deployed_as_the_engine_s_own() {
        for (name, inputs) in rockets::all() {
            let case = case(rockets::with_eight_delays(inputs), 64);
            let frame = frame(&case);
            let (mut own, mut other) = (Tally::new(&frame), Tally::new(&frame));
            with(Instructions::Scalar, &case, 0..64, &mut own);
            let asked = asked(&case, &[]);
            by(&|drawn, events, out| engine(drawn, events, &asked, 1.0, out), &case, 0..64, &mut other);
            assert!(own == other && own.flights() == 64, "{name}");
        }
    }

    #[test]
    fn eight_delays_from_the_shortest_to_the_longest() {
        let delays = rockets::with_eight_delays(rockets::club()).question.ways;
        let delays_s: Vec<_> = delays.iter().filter_map(|way| way.motor_delay_s).collect();
        assert_eq!(delays_s, [3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0]);
    }

    #[test]
    fn a_race_flies_every_runner() {
        let case = case(rockets::club(), 64);
        let runners: Vec<Runner> = ENGINES.iter().filter(|e| (e.runs_here)()).map(|e| Runner::engine(e, 16)).collect();
        let rates = race(&case, &runners.iter().collect::<Vec<_>>(), 1);
        assert!(!rates.is_empty() && rates.iter().all(|rate| *rate > 0.0), "{rates:?}");
    }
}
