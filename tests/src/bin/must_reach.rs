//! Prints every figure that must be reached, measured on this machine:
//! `cargo run --release -p slowpoint-tests --bin must_reach`.

use core::sync::atomic::AtomicBool;
use std::time::Instant;

use slowpoint_sim::case::Case;
use slowpoint_sim::draw::{Numbers, Shift, draw};
use slowpoint_sim::flight::{Ascent, fly};
use slowpoint_sim::report::Report;
use slowpoint_sim::tally::{Frame, Tally};
use slowpoint_sim::{assess, tally};
use slowpoint_tests::{peak_memory_mib, rockets};

static GO: AtomicBool = AtomicBool::new(false);

fn case(inputs: slowpoint_sim::case::Inputs, flights: u64) -> Case {
    let mut inputs = inputs;
    inputs.question.flights = flights;
    Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"))
}

/// Whole flights per second on one core: draw, ascent, every delay, descent, tally. The best of five rounds, as
/// anything else that runs only slows a round down.
fn flights_per_second(case: &Case, flights: u64) -> f64 {
    let frame = Frame { case, cell_m: 2.0, curve_s: &[] };
    let question = &case.inputs.question;
    let mut ascent = Ascent::default();
    let round = || {
        let mut tally = Tally::new(&frame);
        let begin = Instant::now();
        for flight in 0..flights {
            let numbers = Numbers::of(question.points, question.seed, flight);
            let (drawn, events) = draw(case, &numbers, &Shift::NONE);
            tally.add(&fly(&drawn, &events, &question.ways, &mut ascent), case, flight);
        }
        assert_eq!(tally.flights(), flights);
        flights as f64 / begin.elapsed().as_secs_f64()
    };
    core::iter::repeat_with(round).take(5).fold(0.0, f64::max)
}

fn on_threads(threads: usize, case: &Case) -> Report {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap_or_else(|e| panic!("{e}"));
    pool.install(|| assess(case, &GO)).unwrap_or_else(|| panic!("nobody stops it"))
}

fn yes(it: bool) -> &'static str {
    if it { "the same" } else { "DIFFERENT" }
}

fn main() {
    println!("Integration error (airspeed at ejection, landing) over 1,000 drawn flights, with its bounds:");
    println!("  cargo test --release -p slowpoint-tests --test validation accuracy -- --nocapture");
    println!();

    println!("Whole flights per second on one core, wall time, best of five rounds:");
    println!("  {:<18} {:>6} {:>14} {:>16}", "rocket", "delays", "flights/s", "us per flight");
    for (name, inputs) in rockets::all() {
        let case = case(inputs, 2048);
        let rate = flights_per_second(&case, 2048);
        println!("  {name:<18} {:>6} {rate:>14.0} {:>16.1}", case.inputs.question.ways.len(), 1e6 / rate);
    }
    println!();

    let whole = case(rockets::club(), 100_000);
    let begin = Instant::now();
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let all = on_threads(threads, &whole);
    let seconds = begin.elapsed().as_secs_f64();
    println!("Assessment of 100,000 flights of the club rocket, {} delays, {threads} threads:", all.ways.len());
    println!("  time            {seconds:.1} s");
    match peak_memory_mib() {
        Some(mib) => println!("  peak memory     {mib:.0} MiB, everything above included"),
        None => println!("  peak memory     not told by this system"),
    }
    println!();

    println!("Same input, same bytes (20,000 flights of the club rocket):");
    let some = case(rockets::club(), 20_000);
    let (one, two) = (on_threads(1, &some), on_threads(2, &some));
    let same_threads = one == two && format!("{one:?}") == format!("{two:?}");
    println!("  answer on 1 and on 2 threads              {}", yes(same_threads));
    let frame = Frame { case: &some, cell_m: 2.0, curve_s: &[] };
    let of = |range| tally(&frame, range, &Shift::NONE, &GO).unwrap_or_else(|| panic!("nobody stops it"));
    let (mut low, high) = (of(0..7777), of(7777..20_000));
    let mut other_way = high.clone();
    other_way.merge(&low);
    low.merge(&high);
    let full = of(0..20_000);
    let same_halves = low == full && other_way == full;
    println!("  all flights and two parts, either order   {}", yes(same_halves));
    if !(same_threads && same_halves) {
        std::process::exit(1);
    }
}
