//! How often the intervals of a whole answer hold the true chance, with stand-in flights whose chance is exact and, in
//! small, with real ones. The long version is `cargo run --release -p slowpoint-tests --bin coverage`.
//!
//! The promise is the engine's own: at least 93 % of 95 % intervals hold the truth everywhere, at most 97.5 % where
//! hits and misses are both expected to number 50 or more, and elsewhere none is wider than 1.5 times Clopper and
//! Pearson's.

use slowpoint_sim::draw::PointSet;
use slowpoint_sim::stat::interval::{CLOPPER_PEARSON, Chance, Interval, clopper_pearson};
use slowpoint_sim::stat::normal;
use slowpoint_tests::coverage::{
    COVERED_LEAST, COVERED_MOST, Cell, Estimator, KINDS, WIDTH_MOST, answers, anywhere, areas, as_reported, claims,
    corner_cells, nearly_alike, real_cells, stand_in_cells, stand_in_chances, truth,
};
use slowpoint_tests::rockets;
use slowpoint_tests::sheet::{Sheet, Trust};

slowpoint_tests::subject! { "Coverage of the intervals":
    cov_1_stand_ins,
    cov_2_corners,
    cov_3_wrong_intervals,
    cov_4_no_hit,
    cov_5_best_is_sure,
    cov_6_real_flights,
}

const SEEDS: u64 = 1000;
const PROMISE: &str = "at least 93 % of 95 % intervals hold the truth; at most 97.5 % where hits and misses are both expected to number 50 or more; elsewhere none is wider than 1.5 times Clopper and Pearson's";

fn worst<'a>(
    cells: impl Iterator<Item = &'a Cell>,
    of: impl Fn(&Cell) -> f64,
    worse: impl Fn(f64, f64) -> bool,
) -> Option<(&'a Cell, f64)> {
    cells.map(|cell| (cell, of(cell))).reduce(|a, b| if worse(b.1, a.1) { b } else { a })
}

/// Rows of the promise over many cells, each showing the cell that comes nearest to breaking it. Shares may stray by so
/// many standard deviations of their own count.
fn promise(sheet: &mut Sheet, name: &str, cells: &[Cell], sigmas: f64) {
    let slack = |share: f64, cell: &Cell| sigmas * (share * (1.0 - share) / cell.seeds as f64).sqrt();
    let told = |what: &str, cell: &Cell| {
        format!("{name}: {what}, worst of {}: {}, chance {:.4}", cells.len(), cell.what, cell.truth)
    };
    if let Some((cell, share)) = worst(cells.iter(), Cell::share, |a, b| a < b) {
        sheet.at_least(told("least share covered", cell), share, COVERED_LEAST - slack(COVERED_LEAST, cell));
    }
    if let Some((cell, share)) = worst(cells.iter().filter(|c| c.many()), Cell::share, |a, b| a > b) {
        sheet.at_most(
            told("greatest share covered of many hits", cell),
            share,
            COVERED_MOST + slack(COVERED_MOST, cell),
        );
    }
    if let Some((cell, ratio)) = worst(cells.iter().filter(|c| !c.many()), |c| c.widest, |a, b| a > b) {
        sheet.at_most(told("widest of few hits over Clopper and Pearson's", cell), ratio, WIDTH_MOST);
    }
}

fn cov_1_stand_ins() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-1",
        "stand-in flights whose chances of 0.5, 0.1, 0.01 and 0.001 are exact, 1,000 seeds",
        Trust::Statement,
        PROMISE,
    );
    sheet.because("as promised: a share of 1,000 seeds that is truly 95 % strays by 0.7 %");
    // With 5000 flights the promise of at most 97.5 % just begins for a chance of 0.01.
    for points in KINDS {
        for flights in [1000, 2000, 5000] {
            let found = stand_in_chances(points, flights, 0..SEEDS);
            promise(&mut sheet, &format!("{flights} flights"), &stand_in_cells(&found, points, as_reported), 0.0);
        }
    }
    sheet
}

/// Where the points of two inputs avoid each other badly, hits come in bunches, and the interval has to know.
fn cov_2_corners() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-2",
        "a chance of 0.01 in a corner of two or three inputs, every pair and triple of sixteen, 1,000 seeds of 2,000 flights",
        Trust::Statement,
        PROMISE,
    );
    sheet.because("as promised");
    promise(&mut sheet, "Sobol points", &corner_cells(PointSet::Sobol, 2000, 0.01, 0..SEEDS), 0.0);
    sheet
}

/// Half as wide.
fn halved(found: &Chance) -> Interval {
    Interval { lower: 0.5 * (found.estimate + found.lower), upper: 0.5 * (found.estimate + found.upper) }
}

/// As if every flight stood alone: the textbook's normal interval, blind to what the replicates tell.
fn textbook(found: &Chance) -> Interval {
    let half = normal::quantile(0.975) * (found.estimate * (1.0 - found.estimate) / found.flights as f64).sqrt();
    Interval { lower: found.estimate - half, upper: found.estimate + half }
}

/// As if every flight stood alone, exact.
fn raw(found: &Chance) -> Interval {
    clopper_pearson(found.hits, found.flights, 0.95)
}

/// Three times as wide.
fn tripled(found: &Chance) -> Interval {
    Interval {
        lower: found.estimate - 3.0 * (found.estimate - found.lower),
        upper: found.estimate + 3.0 * (found.upper - found.estimate),
    }
}

/// Intervals that are wrong on purpose break the promise, each where it must: too narrow ones and the textbook's at
/// rare events by coverage, those that waste the evenness of Sobol points by too much of it, and wide ones by width.
fn cov_3_wrong_intervals() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-3",
        "intervals that are wrong on purpose, 1,000 seeds of 1,000 stand-in flights",
        Trust::Statement,
        "a check that cannot fail proves nothing: each must break the promise in the way named",
    );
    let sobol = stand_in_chances(PointSet::Sobol, 1000, 0..SEEDS);
    let random = stand_in_chances(PointSet::Pseudorandom, 1000, 0..SEEDS);
    let mut says = |found: &[Vec<Vec<Chance>>], points, (name, wrong): (&str, Estimator), what: &str| {
        let cells = stand_in_cells(found, points, wrong);
        let broken: Vec<String> = cells.iter().flat_map(|c| c.broken(0.0)).collect();
        let found_out = broken.iter().any(|b| b.contains(what));
        sheet.holds(format!("{points:?}: {name} is found out: \"{what}\""), found_out);
    };
    let halved: (&str, Estimator) = ("half the interval", halved);
    let textbook: (&str, Estimator) = ("the textbook's normal interval", textbook);
    let tripled: (&str, Estimator) = ("three times the interval", tripled);
    for (found, points) in [(&sobol, PointSet::Sobol), (&random, PointSet::Pseudorandom)] {
        says(found, points, halved, "only");
        says(found, points, textbook, "only");
        says(found, points, tripled, "times Clopper-Pearson's width");
        says(found, points, tripled, "as many as");
    }
    says(&sobol, PointSet::Sobol, ("Clopper and Pearson's, blind to the points", raw), "as many as");
    says(&sobol, PointSet::Sobol, textbook, "as many as");
    sheet
}

fn cov_4_no_hit() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-4",
        "no hit in 1,000 stand-in flights, at a true chance of 0.001",
        Trust::A,
        "Clopper and Pearson: 1 - 0.025^(1/1000) = 0.003682, 3.69 over N (two-sided; the one-sided \"rule of three\" is 0.0029912)",
    );
    for points in KINDS {
        let found = stand_in_chances(points, 1000, 0..200);
        let none: Vec<&Chance> = found.iter().flatten().map(|event| &event[3]).filter(|c| c.hits == 0).collect();
        sheet.because("exp(-1) for independent flights; of 400 three standard deviations and what even points change");
        let share = none.len() as f64 / 400.0;
        sheet.close(format!("{points:?}: share of runs without a hit"), share, (-1.0_f64).exp(), 0.1);
        sheet.because("last digit as printed");
        let ends = none.iter().map(|c| ("one of them".to_string(), c.upper, 0.003_682));
        sheet.all_close(&format!("{points:?}: upper end"), ends, 1e-6);
        let other = none.iter().filter(|c| (c.estimate, c.lower, c.method) != (0.0, 0.0, CLOPPER_PEARSON)).count();
        sheet.equal(format!("{points:?}: runs whose estimate or lower end is not 0"), other, 0);
    }
    sheet
}

fn cov_5_best_is_sure() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-5",
        "\"certain to more than 95 %\" of the lowest of three delays, 400 seeds of 1,000 stand-in flights",
        Trust::Statement,
        "whatever the truth, such a claim is wrong in one run of twenty at most; over delays of any order 95 % of the claims made are right",
    );
    for points in KINDS {
        let hard = claims(points, 1000, 0..400, nearly_alike);
        sheet.because("400 seeds: three standard deviations, 3.3 %");
        let wrong = (hard.sure - hard.sure_and_right) as f64 / hard.seeds as f64;
        sheet.at_most(format!("{points:?}, two nearly alike: share of runs with a wrong claim"), wrong, 0.05 + 0.033);
        let usual = claims(points, 1000, 0..400, anywhere);
        sheet.because("often enough to be judged");
        sheet.more_than(format!("{points:?}, any three: claims made"), usual.sure as f64, 100.0);
        sheet.because("of some 200 claims three standard deviations, 4.6 %");
        let right = usual.sure_and_right as f64 / usual.sure as f64;
        sheet.at_least(format!("{points:?}, any three: share of claims that are right"), right, 0.95 - 0.046);
    }
    sheet
}

/// An estimator that covers 80 % is found out by so few seeds, and that the halved interval is, the same gate shows.
fn cov_6_real_flights() -> Sheet {
    let mut sheet = Sheet::new(
        "COV-6",
        "real flights in small: 128 seeds of 256 flights of the 20 g rocket against 65,536 others",
        Trust::Statement,
        "as for COV-1; 95 % landing areas hold the share they promise of fresh flights, ellipses what they say they hold",
    );
    let mut inputs = rockets::paper();
    inputs.question.ways = vec![rockets::delay(2.0), rockets::delay(4.0)];
    let known = truth(&inputs, 4, 16_384);
    for points in KINDS {
        let found = answers(&inputs, &known, points, 256, 0..128);
        let cells = real_cells("20 g paper", &known, points, &found, as_reported);
        sheet.because("three standard deviations of 128 seeds, 7 %, beyond the promise");
        let only: Vec<Cell> = cells.iter().map(|(cell, _)| cell.clone()).collect();
        promise(&mut sheet, &format!("{points:?}"), &only, 3.0);
        sheet.because("the truth is known to a tenth of the interval under test");
        let known_to = cells.iter().map(|(cell, limit)| limit.error / cell.width).fold(0.0, f64::max);
        sheet.at_most(format!("{points:?}: error of the truth over the width"), known_to, 0.1);
        let wrong = real_cells("20 g paper", &known, points, &found, halved);
        let found_out = wrong.iter().any(|(cell, _)| !cell.broken(3.0).is_empty());
        sheet.holds(format!("{points:?}: half the interval is found out"), found_out);
        // One seed's share is known to 1.4 %, the mean over 128 to 0.12 %. Both areas are laid round the very flights
        // that are counted: five fitted numbers flatter an ellipse of 256 flights by some 0.7 %.
        sheet.because(
            "a mean over 128 seeds strays by 0.1 %; an area is laid round the very flights that it counts: 0.7 %",
        );
        for (way, fresh) in known.landings.iter().enumerate() {
            let a = areas(&found, way, fresh);
            let name = format!("{points:?}, way {}", way + 1);
            sheet.close(
                format!("{name}: share of fresh flights in the landing area"),
                a.region_fresh,
                a.region_promised,
                0.01,
            );
            sheet.close(
                format!("{name}: share of fresh flights in the ellipse"),
                a.ellipse_fresh,
                a.ellipse_held,
                0.01,
            );
        }
    }
    sheet
}
