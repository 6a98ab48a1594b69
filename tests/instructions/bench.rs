//! Instructions of whole flights (draw, ascent, every delay, descent, tally), as valgrind counts them: the same number on
//! every run. Started by `tests/instructions/run`, which holds them against what is expected.

#![allow(missing_docs, reason = "what the macros make is not documented")]

use gungraun::prelude::*;
use slowpoint_sim::case::Case;
use slowpoint_sim::tally::Tally;
use slowpoint_tests::rockets;
use slowpoint_tests::whole::{COUNTED_FLIGHTS, Engine, case, counted, frame};

/// What is made ready before anything is counted.
struct Ready {
    engine: &'static Engine,
    case: Case,
    tally: Tally,
}

/// A rocket's flights by a variant of the engine.
fn ready((engine, rocket): (&'static Engine, usize)) -> Ready {
    let (_, inputs) = &rockets::all()[rocket];
    let case = case(inputs.clone(), COUNTED_FLIGHTS);
    let tally = Tally::new(&frame(&case));
    Ready { engine, case, tally }
}

#[library_benchmark]
#[benches::whole(iter = counted(), setup = ready)]
fn flights(mut ready: Ready) -> Ready {
    if (ready.engine.runs_here)() {
        (ready.engine.fly)(&ready.case, 0..COUNTED_FLIGHTS, &mut ready.tally);
    }
    // Given back, so that nothing is dropped while it is counted.
    ready
}

library_benchmark_group!(name = instructions, benchmarks = flights);
main!(library_benchmark_groups = instructions);
