//! Prints how often the 95 % intervals hold the true chance, over a thousand seeds, and fails where a promise is
//! broken: `cargo run --release -p slowpoint-tests --bin coverage`. A quarter of an hour on two idle cores; the tests hold
//! smaller versions of it.

use std::time::Instant;

use slowpoint_sim::case::Inputs;
use slowpoint_sim::draw::PointSet;
use slowpoint_tests::coverage::{
    COVERED_LEAST, Cell, Claims, KINDS, answers, anywhere, areas, as_reported, claims, nearly_alike, real_cells,
    stand_in_cells, stand_in_chances, truth, until_cells, until_chances, whole_law_cells, whole_law_chances,
    whole_law_claims,
};
use slowpoint_tests::rockets;

const SEEDS: u64 = 1000;
/// Flights of the stand-in: few, usual, where the promise of at most 97.5 % begins for 0.01 and for 0.001.
const STAND_IN_FLIGHTS: [u64; 4] = [1000, 2000, 5000, 50_000];
/// Flights of the stand-in with its whole law of firing.
const WHOLE_LAW_FLIGHTS: [u64; 3] = [256, 1000, 5000];
/// Most flights of a stand-in that ends by itself.
const UNTIL_WITHIN: u64 = 4096;
/// Flights of a real seed.
const FLIGHTS: u64 = 1024;
/// Seeds and flights of the truth.
const TRUTH: (u64, u64) = (8, 65_536);

/// Claims over many seeds.
type Claiming = fn(PointSet, u64, core::ops::Range<u64>, fn(u64) -> [f64; 3]) -> Claims;

/// A table of cells as they are found, and what they break.
fn rows(
    what: &str,
    cells: impl Iterator<Item = Cell>,
    breaks: impl Fn(&Cell) -> Vec<String>,
    broken: &mut Vec<String>,
) {
    println!("{what}");
    println!("{}", Cell::head());
    for cell in cells {
        println!("{}", cell.row());
        broken.extend(breaks(&cell));
    }
    println!();
}

fn stand_in(broken: &mut Vec<String>) {
    let cells = KINDS.into_iter().flat_map(|points| {
        STAND_IN_FLIGHTS
            .into_iter()
            .flat_map(move |flights| stand_in_cells(&stand_in_chances(points, flights, 0..SEEDS), points, as_reported))
    });
    let what = "Stand-in flights with exact chances, through the engine's points, tally and report:";
    rows(what, cells, Cell::broken, broken);
}

fn whole_law(broken: &mut Vec<String>) {
    let cells = KINDS.into_iter().flat_map(|points| {
        WHOLE_LAW_FLIGHTS.into_iter().flat_map(move |flights| {
            whole_law_cells(&whole_law_chances(points, flights, 0..SEEDS), points, as_reported)
        })
    });
    rows("Stand-in flights whose law of firing is integrated, exact chances:", cells, Cell::broken, broken);
}

fn until(broken: &mut Vec<String>) {
    let cells = KINDS
        .into_iter()
        .flat_map(|points| until_cells(&until_chances(points, UNTIL_WITHIN, 0..2 * SEEDS), as_reported));
    // Of the promise only the least coverage holds here.
    let too_few = |cell: &Cell| {
        let few = cell.share() < COVERED_LEAST;
        few.then(|| format!("{}, p {:.4}: too few are covered", cell.what, cell.truth)).into_iter().collect()
    };
    let what = "Stand-in flights that end at the first interval that is narrow enough, exact chances:";
    rows(what, cells, too_few, broken);
}

fn best_is_sure(broken: &mut Vec<String>) {
    println!("The lowest of three delays whose order is known, and the certainty stated:");
    for points in KINDS {
        for flights in [1000, 5000] {
            for (how, claims) in [("counted", claims as Claiming), ("integrated", whole_law_claims)] {
                let which = format!("{points:?}, {flights} flights, {how}");
                let hard = claims(points, flights, 0..SEEDS, nearly_alike);
                println!("  {which}, two nearly alike: {}", hard.row());
                // Whatever the truth, a claim of 95 % is wrong in one run of twenty at most.
                if hard.sure - hard.sure_and_right > SEEDS / 20 {
                    broken.push(format!("{which}: wrongly sure of the lowest delay"));
                }
                let usual = claims(points, flights, 0..SEEDS, anywhere);
                println!("  {which}, any three: {}", usual.row());
                if (usual.sure_and_right as f64) < 0.95 * usual.sure as f64 {
                    broken.push(format!("{which}: sure of the lowest delay, but too often wrong"));
                }
            }
        }
    }
    println!();
}

fn real(name: &str, inputs: &Inputs, broken: &mut Vec<String>) {
    let begin = Instant::now();
    let known = truth(inputs, TRUTH.0, TRUTH.1);
    println!("{name}: truth from {} flights, {:.0} s", TRUTH.0 * TRUTH.1, begin.elapsed().as_secs_f64());
    println!("{} {:>9} {:>12}", Cell::head(), "over m/s", "truth's 2 se");
    for points in KINDS {
        let begin = Instant::now();
        let found = answers(inputs, &known, points, FLIGHTS, 0..SEEDS);
        for (cell, limit) in real_cells(name, &known, points, &found, as_reported) {
            println!("{} {:>9.2} {:>12.6}", cell.row(), limit.speed_m_s, limit.error);
            broken.extend(cell.broken());
            if limit.error > 0.1 * cell.width {
                broken.push(format!("{}, p {:.4}: the truth is known too badly", cell.what, cell.truth));
            }
        }
        for (way, fresh) in known.landings.iter().enumerate() {
            let a = areas(&found, way, fresh);
            println!(
                "  landing, way {}: 95 % area holds {:.2} % of its own flights, promises {:.2} %, holds {:.2} % of fresh ones (one seed strays by {:.2}); ellipse says {:.2} %, holds {:.2} % of fresh ones",
                way + 1,
                100.0 * a.region_held,
                100.0 * a.region_promised,
                100.0 * a.region_fresh,
                100.0 * a.region_strays,
                100.0 * a.ellipse_held,
                100.0 * a.ellipse_fresh
            );
            broken.extend(a.broken().into_iter().map(|b| format!("{name}, way {}, {points:?}: {b}", way + 1)));
        }
        println!("  {SEEDS} seeds of {FLIGHTS} flights, {points:?}: {:.0} s", begin.elapsed().as_secs_f64());
    }
    println!();
}

fn main() {
    let mut broken = Vec::new();
    let begin = Instant::now();
    stand_in(&mut broken);
    whole_law(&mut broken);
    until(&mut broken);
    best_is_sure(&mut broken);
    println!("{:.0} s so far", begin.elapsed().as_secs_f64());
    println!();
    for (name, mut inputs, delays) in
        [("20 g paper", rockets::paper(), [2.0, 4.0]), ("0.6 kg club", rockets::club(), [5.0, 8.0])]
    {
        inputs.question.ways = delays.map(rockets::delay).to_vec();
        real(name, &inputs, &mut broken);
    }
    for line in &broken {
        println!("BROKEN: {line}");
    }
    println!("{} promises broken, {:.0} s", broken.len(), begin.elapsed().as_secs_f64());
    if !broken.is_empty() {
        std::process::exit(1);
    }
}
