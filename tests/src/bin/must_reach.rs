//! Prints every figure that must be reached, measured on this machine:
//! `cargo run --release -p slowpoint-tests --bin must_reach`, all or some parts: `bias`, `speed`, `rare`, `same`, `day`.

use std::process::ExitCode;
use std::time::Instant;

use slowpoint_sim::draw::Shift;
use slowpoint_sim::tally::Frame;
use slowpoint_sim::{rare, tally};
use slowpoint_tests::day_and_sweep::Whole;
use slowpoint_tests::rare::counted;
use slowpoint_tests::steps::{AT_A_HEIGHT, BIAS_MOST, STRAYS, biases, cases, worst};
use slowpoint_tests::whole::{ENGINES, GO, Runner, case, on_threads, race};
use slowpoint_tests::{peak_memory_mib, rockets};

/// Flights that tell a step bias, and how many times more where a few that stray decide.
const FLIGHTS: u64 = 4096;
const FEW_STRAY: u64 = 16;
/// Steps that are held against the engine's own.
const FINER: f64 = 8.0;
/// How many times more flights counting has to take than a search of a chance of 1e-4.
const CHEAPER_THAN_COUNTING: f64 = 30.0;
/// How many standard errors of both together what was sought and what was counted may lie apart.
const APART: f64 = 3.0;

fn yes(it: bool) -> &'static str {
    if it { "the same" } else { "DIFFERENT" }
}

/// Prints chances that are too rare to count, sought and counted all the same; whether all of it is reached.
fn rare_chances() -> bool {
    let mut reached = true;
    println!(
        "Rare chances, of 1e-4 by 1,000,000 independent flights that were counted; flights of the search included, how"
    );
    println!(
        "many times more counting would take for the same interval: at least {CHEAPER_THAN_COUNTING} (0 where it was hardly seen)."
    );
    println!(
        "Sought less counted, in standard errors of both together (a hundred counted flights stray by 10 %): at most {APART}."
    );
    println!(
        "  {:<14} {:<22} {:>9} {:>34} {:>8} {:>8} {:>6}",
        "rocket", "", "counted", "sought", "flights", "times", "apart"
    );
    for (name, rocket) in [("club", rockets::club()), ("high power", rockets::high_power())] {
        for counted in counted(rocket, 100, 1_000_000) {
            let Some(found) = rare::found(&counted.case, 0, &GO).and_then(|mut all| all.pop()) else { continue };
            let (chance, flights) = (&found.chance, found.searched + found.chance.flights);
            let times = found.counted_alike.unwrap_or(0.0) / flights as f64;
            let sought = format!("{:.2e} ({:.2e} to {:.2e})", chance.estimate, chance.lower, chance.upper);
            let (what, share) = (counted.what, counted.share());
            let own = (chance.upper - chance.lower) / (2.0 * 1.96);
            let apart = (chance.estimate - share).abs() / own.hypot(share / (counted.hits as f64).sqrt());
            println!("  {name:<14} {what:<22} {share:>9.1e} {sought:>34} {flights:>8} {times:>8.0} {apart:>6.1}");
            reached &= times >= CHEAPER_THAN_COUNTING && apart <= APART;
        }
    }
    println!();
    reached
}

/// Prints how much the engine's own steps move a chance; none of it is held here.
fn step_bias() -> bool {
    println!("Integration error (airspeed at ejection, landing) over 1,000 drawn flights, with its bounds:");
    println!("  cargo test --release -p slowpoint-tests --test validation accuracy -- --nocapture");
    println!();

    println!(
        "Step bias of chances, below {BIAS_MOST:.0e}: own steps less {FINER} times finer ones, same numbers; the chance that may"
    );
    println!(
        "be off by most, over a limit or of an unsafe opening, curve included; flights that move by more than {STRAYS}:"
    );
    println!("  {:<36} {:>7} {:>10} {:>10} {:>7}  chance", "rocket", "flights", "bias", "2 se", "strays");
    for (name, case) in cases() {
        let flights = if name.ends_with(AT_A_HEIGHT) { FEW_STRAY * FLIGHTS } else { FLIGHTS };
        let found = biases(&case, flights, [1.0, FINER]);
        let Some(b) = worst(&found) else { continue };
        let (bias, error) = (b.bias, 2.0 * b.error);
        println!("  {name:<36} {flights:>7} {bias:>10.1e} {error:>10.1e} {:>7}  {}, {:.4}", b.strays, b.what, b.chance);
    }
    println!();
    true
}

/// Prints how fast it flies and the memory it takes; a clock holds nothing.
fn speed() -> bool {
    println!("Whole flights per second on one core, wall time, best of five rounds:");
    println!("  {:<18} {:>6} {:<10} {:>14} {:>16}", "rocket", "delays", "engine", "flights/s", "us per flight");
    let engines: Vec<_> = ENGINES.iter().filter(|engine| (engine.runs_here)()).collect();
    for (name, inputs) in rockets::all() {
        let case = case(inputs, 2048);
        let runners: Vec<_> = engines.iter().map(|engine| Runner::engine(engine, 2048)).collect();
        for (engine, rate) in engines.iter().zip(race(&case, &runners.iter().collect::<Vec<_>>(), 5)) {
            let delays = case.inputs.question.ways.len();
            println!("  {name:<18} {delays:>6} {:<10} {rate:>14.0} {:>16.1}", engine.name, 1e6 / rate);
        }
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
    true
}

/// Whether threads and parts change nothing.
fn same_bytes() -> bool {
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
    println!();
    same_threads && same_halves
}

/// Whether a whole day and a sweep take as few flights as they should.
fn day_and_sweep() -> bool {
    let whole = Whole::of(&rockets::with_eight_delays(rockets::club())).unwrap_or_else(|reason| panic!("{reason}"));
    println!("{whole}");
    whole.reached()
}

/// Prints its figures, and says whether those that a count decides are reached.
type Part = fn() -> bool;

const PARTS: [(&str, Part); 5] =
    [("bias", step_bias), ("speed", speed), ("rare", rare_chances), ("same", same_bytes), ("day", day_and_sweep)];

fn main() -> ExitCode {
    let asked: Vec<String> = std::env::args().skip(1).collect();
    if let Some(unknown) = asked.iter().find(|name| PARTS.iter().all(|(known, _)| known != name)) {
        eprintln!("\"{unknown}\" is none of the parts: {}.", PARTS.map(|(name, _)| name).join(", "));
        return ExitCode::from(2);
    }
    let chosen = PARTS.iter().filter(|(name, _)| asked.is_empty() || asked.iter().any(|one| one == name));
    // None is left out because one before it is not reached.
    let missed = chosen.filter(|(_, reached)| !reached()).count();
    if missed == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
