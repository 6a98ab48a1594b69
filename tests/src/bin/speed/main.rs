//! Every figure of speed in one table, with ratios taken within one run:
//! `cargo run --release -p slowpoint-tests --bin speed`, some seven minutes; `-- --flights 400` takes three.
//!
//! Errors are those of the airspeed at ejection over so many drawn flights and all delays, against the engine with much
//! finer steps; `--flights` shortens them. A plain or general method gets the coarsest setting that keeps 0.05 m/s for
//! 99.9 % of the flights, as the engine promises, and the yardstick also the one that keeps it for every flight.

mod http;
mod python;

use std::process::{Command, ExitCode};

use slowpoint_sim::case::{Case, Inputs};
use slowpoint_sim::flight::{Ascent, Asked, Deployment, Drawn, Electronics, Events};
use slowpoint_sim::{asked, way_label};
use slowpoint_tests::counting::{CHANCES, HALF_WIDTHS, Told, plain_flights, told, widest};
use slowpoint_tests::general::{INTEGRATORS, ascend};
use slowpoint_tests::whole::{ENGINES, Engine, Runner, case, on_threads, race, seconds_on_threads};
use slowpoint_tests::yardstick::{BOUND_M_S, Keep, Off, Plain, Reference, Rung, first_rung, steps_s};
use slowpoint_tests::{kernel, peak_memory_mib, rockets};

/// Flights whose errors choose a step.
const FLIGHTS: u64 = 10_000;
/// General integrators are slower and their error is smooth in the tolerance: one in so many of the flights.
const GENERAL_SHARE: u64 = 10;
fn general(flights: u64) -> u64 {
    (flights / GENERAL_SHARE).max(100)
}

/// Whole flights of a round of a race, and rounds.
const ROUND: (u64, u32) = (1024, 7);
/// Height of the card's altimeter where it has one, m: a quarter below the nominal apogee both limits have a chance in the
/// middle.
const ALTIMETER_M: f64 = 320.0;
/// Flights of the assessment that is spread over threads, and rounds.
const SCALED: (u64, u32) = (10_000, 7);

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let flights = match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        [] => FLIGHTS,
        ["--flights", count] if count.parse::<u64>().is_ok_and(|count| count >= 100) => {
            count.parse().unwrap_or(FLIGHTS)
        }
        // What a process of its own is asked by `memory`.
        [ALONE, count] => {
            on_threads(threads(), &case(card(), count.parse().unwrap_or(FLIGHTS)));
            println!("{}", peak_memory_mib().unwrap_or(f64::NAN));
            return ExitCode::SUCCESS;
        }
        _ => {
            eprintln!("usage: speed [--flights COUNT], at least 100 flights");
            return ExitCode::FAILURE;
        }
    };
    let fastest = rates(flights);
    certainties(fastest);
    assessments();
    memory();
    http::day_and_sweep(&card());
    http::requests(&card());
    python::solve_ivp(fastest);
    ExitCode::SUCCESS
}

/// The card that the goals speak of: 0.6 kg, eight delays.
fn card() -> Inputs {
    rockets::with_eight_delays(rockets::club())
}

fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

/// A line of the table of rates.
struct Line<'a> {
    name: String,
    setting: String,
    off: Off,
    runner: Runner<'a>,
    engine: bool,
}

impl<'a> Line<'a> {
    fn engine(engine: &'static Engine, off: Off) -> Self {
        let runner = Runner::engine(engine, ROUND.0);
        Self { name: format!("engine, {}", engine.name), setting: "its own".into(), off, runner, engine: true }
    }

    fn plain(plain: Plain, asked: Asked<'a>, rung: Rung, keep: Keep) -> Self {
        let nodes = if plain.on_nodes { ", on thrust nodes" } else { "" };
        let kept = if keep == Keep::All { ", every flight" } else { "" };
        Self {
            name: format!("plain RK4{nodes}{kept}"),
            setting: format!("{:.4} s", plain.step_s),
            off: rung.off,
            runner: Runner::by(
                move |drawn, events, out| plain.ascend(drawn, &kernel::watched(drawn, events, &asked), out),
                ROUND.0 / 2,
            ),
            engine: false,
        }
    }
}

/// Whole flights per second of every variant of the engine, of the yardsticks and of the general integrators, for four
/// rockets. Gives the fastest engine's on the card.
fn rates(flights: u64) -> f64 {
    println!(
        "Whole flights per second on one core (draw, ascent, every delay, descent, tally), best of {} rounds",
        ROUND.1
    );
    println!("in which all take their turn. Error of the airspeed at ejection, m/s: the largest, and of 99.9 % of");
    println!(
        "flights, and flights beyond {BOUND_M_S} m/s, of {flights} flights x eight delays (general integrators: {}).",
        general(flights)
    );
    println!("Ratio: the fastest engine over it.");
    let mut on_the_card = f64::NAN;
    for (name, inputs) in rockets::all() {
        let eight = case(rockets::with_eight_delays(inputs.clone()), 1024);
        let few = case(inputs, 1024);
        let lines = lines(&eight, flights);
        for (case, all) in [(&few, false), (&eight, true)] {
            let shown: Vec<&Line> = lines.iter().filter(|line| all || line.engine).collect();
            let rates = race(case, &shown.iter().map(|line| &line.runner).collect::<Vec<_>>(), ROUND.1);
            let of_engines = shown.iter().zip(&rates).filter(|(line, _)| line.engine).map(|(_, rate)| *rate);
            let fastest = of_engines.fold(0.0, f64::max);
            if all && name == "0.6 kg club" {
                on_the_card = fastest;
            }
            println!();
            let title = format!("{name}, {} delays", case.inputs.question.ways.len());
            println!(
                "{title:<52} {:>9} {:>9} {:>9} {:>9} {:>11} {:>8} {:>7}",
                "setting", "largest", "99.9 %", "beyond", "flights/s", "us", "ratio"
            );
            for (line, rate) in shown.iter().zip(&rates) {
                let Off { largest_m_s, p999_m_s, beyond } = line.off;
                let off = if all { format!("{largest_m_s:>9.4} {p999_m_s:>9.4} {beyond:>9}") } else { String::new() };
                println!(
                    "  {:<50} {:>9} {off:>29} {rate:>11.0} {:>8.1} {:>7.2}",
                    line.name,
                    line.setting,
                    1e6 / rate,
                    fastest / rate
                );
            }
        }
    }
    on_the_card
}

/// Every contender for one case, each at its coarsest setting that keeps the bound.
fn lines(case: &Case, flights: u64) -> Vec<Line<'_>> {
    let asked = asked(case, &[]);
    let reference = Reference::new(case, flights);
    let own = reference.off(&|drawn, events, out| kernel::engine(drawn, events, &asked, 1.0, out));
    let mut lines: Vec<Line> = ENGINES.iter().filter(|e| (e.runs_here)()).map(|e| Line::engine(e, own)).collect();
    for on_nodes in [false, true] {
        let off = |step_s| {
            reference.off(&|drawn, events, out| {
                Plain { step_s, on_nodes }.ascend(drawn, &kernel::watched(drawn, events, &asked), out)
            })
        };
        let most = first_rung(steps_s(), Keep::Most, off);
        let below = steps_s().skip_while(|step_s| most.is_some_and(|rung| *step_s > rung.value));
        let all = first_rung(below, Keep::All, off);
        let plain = |rung: Rung| Plain { step_s: rung.value, on_nodes };
        lines.extend(most.map(|rung| Line::plain(plain(rung), asked, rung, Keep::Most)));
        lines.extend(
            all.filter(|rung| most != Some(*rung)).map(|rung| Line::plain(plain(rung), asked, rung, Keep::All)),
        );
    }
    let reference = Reference::new(case, general(flights));
    for (name, integrate) in INTEGRATORS {
        let by = move |tolerance| {
            move |drawn: &Drawn, events: &Events, out: &mut Ascent| {
                ascend(integrate, tolerance, &asked, drawn, events, out)
            }
        };
        // From loose to tight, three to a factor of ten.
        let ladder = (3..30).map(|k| libm::pow(10.0, -f64::from(k) / 3.0));
        let Some(rung) = first_rung(ladder, Keep::Most, |tolerance| reference.off(&by(tolerance))) else { continue };
        lines.push(Line {
            name: name.into(),
            setting: format!("{:.1e}", rung.value),
            off: rung.off,
            runner: Runner::by(by(rung.value), ROUND.0 / 4),
            engine: false,
        });
    }
    lines
}

/// How soon chances are certain: of the card, whose rate is known, and of the same rocket with an altimeter in place of the
/// delays.
fn certainties(on_the_card: f64) {
    println!();
    println!(
        "Flights until every chance between 0.02 and 0.98 is known to a half-width of 0.5 and of 0.1 points (95 %)."
    );
    println!(
        "Plain: random flights counted as 0 or 1, 1.96 sqrt(p (1 - p) / n), at the flights/s of the fastest engine."
    );
    certainty("0.6 kg card, eight delays", &card(), on_the_card);
    for (name, electronics) in [
        ("apogee sensed with its lag", Electronics::Apogee),
        ("a height sensed with its error", Electronics::Height(ALTIMETER_M)),
    ] {
        let mut inputs = card();
        inputs.question.ways = vec![Deployment { motor_delay_s: None, electronics: Some(electronics) }];
        let engines: Vec<Runner> =
            ENGINES.iter().filter(|e| (e.runs_here)()).map(|e| Runner::engine(e, ROUND.0)).collect();
        let rates = race(&case(inputs.clone(), ROUND.0), &engines.iter().collect::<Vec<_>>(), ROUND.1);
        certainty(&format!("0.6 kg card, {name}"), &inputs, rates.into_iter().fold(0.0, f64::max));
    }
}

/// Flights and time until every chance between 0.02 and 0.98 is known to half a point and to a tenth: by the answer's own
/// intervals, whatever estimator made them, and by plain random flights counted as 0 or 1.
fn certainty(name: &str, inputs: &Inputs, flights_per_s: f64) {
    /// The chances are taken from so many flights.
    const TRUTH: u64 = 65_536;
    println!();
    println!("{name}, {flights_per_s:.0} flights/s:");
    println!(
        "  {:>32} {:>11} {:>8} {:>10} {:>8} {:>10} {:>8}",
        "way of deploying", "limit, m/s", "chance", "0.5 points", "s", "0.1 points", "s"
    );
    let known = told(&on_threads(threads(), &case(inputs.clone(), TRUTH)));
    let known: Vec<Told> = known.into_iter().filter(|t| CHANCES.contains(&t.chance)).collect();
    let counts = |other: &Told| known.iter().any(|t| t.way == other.way && t.limit_m_s == other.limit_m_s);
    // For all of them.
    let plain = |half_width| known.iter().map(|t| plain_flights(t.chance, half_width)).max().unwrap_or(0);
    for t in &known {
        let [a, b] = HALF_WIDTHS.map(|half_width| {
            let flights = plain_flights(t.chance, half_width);
            format!("{flights:>10} {:>8.2}", flights as f64 / flights_per_s)
        });
        let way = way_label(&inputs.question.ways[t.way]);
        println!("  {way:>32} {:>11.2} {:>8.4} {a} {b}", t.limit_m_s, t.chance);
    }
    println!("The answer's own intervals, the widest of these chances, one thread:");
    println!("  {:>9} {:>16} {:>10} {:>15}", "flights", "half-width", "s", "plain over own");
    let mut reached = [None; HALF_WIDTHS.len()];
    for flights in core::iter::successors(Some(64), |flights| Some(flights * 2)).take_while(|flights| *flights <= TRUTH)
    {
        let case = case(inputs.clone(), flights);
        let told = told(&on_threads(threads(), &case));
        let [seconds] = seconds_on_threads(&[1], &case, if flights <= 4096 { 3 } else { 1 })[..] else { break };
        let Some(half_width) = widest(&told, counts) else { break };
        let over_own = plain(half_width) as f64 / flights as f64;
        println!("  {flights:>9} {:>9.2} points {seconds:>10.4} {over_own:>15.1}", 100.0 * half_width);
        for (reached, goal) in reached.iter_mut().zip(HALF_WIDTHS) {
            if half_width <= goal {
                *reached = reached.or(Some(flights));
            }
        }
        if reached.iter().all(Option::is_some) {
            break;
        }
    }
    for (goal, own) in HALF_WIDTHS.into_iter().zip(reached) {
        let plain = plain(goal);
        let own = match own {
            Some(own) => format!("{own}: plain over own {:.1}", plain as f64 / own as f64),
            None => format!("more than {TRUTH}: plain over own below {:.1}", plain as f64 / TRUTH as f64),
        };
        println!("  {:.1} points: plain {plain} flights, the answer's own {own}", 100.0 * goal);
    }
}

/// Time of `assess` on one core for few flights, and how it scales.
fn assessments() {
    println!();
    println!("Assessment of the 0.6 kg card, eight delays (with its shifted models and failures), one thread:");
    for flights in [256, 512, 1024] {
        let [seconds] = seconds_on_threads(&[1], &case(card(), flights), 2 * ROUND.1)[..] else { continue };
        println!("  {flights:>9} flights {:>10.1} ms", 1e3 * seconds);
    }
    println!("The same with {} flights, best of {} rounds:", SCALED.0, SCALED.1);
    let [one, two] = seconds_on_threads(&[1, 2], &case(card(), SCALED.0), SCALED.1)[..] else { return };
    println!(
        "  one thread {one:.2} s, two threads {two:.2} s: {:.2} times as fast ({} cores here)",
        one / two,
        threads()
    );
}

/// The argument that asks for the peak of a process that does nothing else.
const ALONE: &str = "--peak-of";

/// How the largest resident memory grows with the flights: each in a process of its own.
fn memory() {
    const FEW: u64 = 1000;
    const MANY: u64 = 101_000;
    let peak_mib = |flights: u64| -> Option<f64> {
        let out = Command::new(std::env::current_exe().ok()?).args([ALONE, &flights.to_string()]).output().ok()?;
        String::from_utf8(out.stdout).ok()?.trim().parse().ok().filter(|mib: &f64| mib.is_finite())
    };
    println!();
    match (peak_mib(FEW), peak_mib(MANY)) {
        (Some(few), Some(many)) => {
            println!(
                "Largest memory of an assessment of the card, {} threads: {few:.1} MiB with {FEW} flights,",
                threads()
            );
            println!("{many:.1} MiB with {MANY}:");
            println!("  {:.1} MiB per 100,000 flights", many - few);
        }
        _ => println!("Memory: not told by this system"),
    }
}
