//! Chances that were sought where they happen: tails in closed form at the engine's own points, and flights against counting.

use core::ops::Range;
use core::sync::atomic::AtomicBool;

use slowpoint_sim::case::{Case, Inputs, RareEvent, RareInput};
use slowpoint_sim::draw::{Numbers, PointSet, REPLICATES, seed_of_round};
use slowpoint_sim::rare;
use slowpoint_sim::report::RareReport;
use slowpoint_sim::stat::importance::{Found, Round, Tried, seek};
use slowpoint_sim::stat::normal;
use slowpoint_tests::rare::{Counted, counted};
use slowpoint_tests::rockets;
use slowpoint_tests::sheet::{Sheet, Trust};

use super::reproducible::alike_on_threads;

slowpoint_tests::subject! { "Chances too rare to count":
    rar_1_closed_forms,
    rar_2_counting,
    rar_3_told_below,
    rar_4_threads,
}

/// A chance of a function of a flight's standard normal numbers, sought at the engine's points.
fn sought(seed: u64, miss: impl Fn(&[f64]) -> f64) -> Found {
    let fly = |round: &Round, flights: Range<u64>| {
        let (seed, proposal) = (seed_of_round(seed, round.number), round.proposal);
        let tried = flights.map(|flight| {
            let mut weight = 0.0;
            let numbers = Numbers::moved(PointSet::Sobol, seed, flight, proposal.dimensions(), |moved| {
                weight = proposal.draw(flight / REPLICATES, moved);
            });
            let numbers = Box::from(numbers.standard());
            let miss = miss(&numbers);
            Tried { numbers, weight, miss }
        });
        Some(tried.collect())
    };
    seek(4096, PointSet::Sobol, 0.95, fly).unwrap_or_else(|| panic!("never stopped"))
}

fn rar_1_closed_forms() -> Sheet {
    const SEEDS: u64 = 60;
    let mut sheet = Sheet::new(
        "RAR-1",
        "intervals of chances of 1e-4 cover at scrambled Sobol' points",
        Trust::B,
        "closed forms of standard normal numbers: one, the sum of ten, two squared (exp(-r^2/2)), either way along one, a disc of \
         radius 0.13314630851624482 three deviations off (noncentral chi-square law of two degrees of freedom)",
    );
    sheet.because("60 seeds have a standard deviation of 2.8 %, of which two are allowed below 93 %");
    let edge = -normal::quantile(1e-4);
    let ring = (-2.0 * libm::log(1e-4)).sqrt();
    type Miss<'a> = &'a dyn Fn(&[f64]) -> f64;
    let [likely, unlikely] = [0.85, 0.15].map(|share| -normal::quantile(share * 1e-4));
    let root = 3.0_f64.sqrt();
    let tails: [(&str, Miss); 5] = [
        ("one number", &|z| edge - z[6]),
        ("ten together", &|z| edge - z[..10].iter().sum::<f64>() / 10.0_f64.sqrt()),
        ("two squared", &|z| ring - libm::hypot(z[1], z[2])),
        ("either way, one six times as likely", &|z| (likely - z[0]).min(unlikely + z[0])),
        ("small disc across six", &|z| {
            libm::hypot((z[0] + z[1] + z[2]) / root - 3.0, (z[3] - z[4] + z[5]) / root) - 0.133_146_308_516_244_82
        }),
    ];
    for (name, miss) in tails {
        let found: Vec<Found> = (0..SEEDS).map(|seed| sought(seed, miss)).collect();
        let covered = found.iter().filter(|f| f.chance.lower <= 1e-4 && 1e-4 <= f.chance.upper).count();
        sheet.at_least(format!("{name}: share of intervals that cover"), covered as f64 / SEEDS as f64, 0.874);
        let cheaper = |f: &Found| f.counted_alike.unwrap_or(0.0) / (f.searched + f.chance.flights) as f64;
        let least = found.iter().map(cheaper).fold(f64::INFINITY, f64::min);
        sheet.at_least(format!("{name}: least of how many times less flights than counting"), least, 30.0);
    }
    sheet
}

/// The only chance that a case asks for.
fn found(case: &Case) -> RareReport {
    let found = rare::found(case, 0, &AtomicBool::new(false)).and_then(|mut all| all.pop());
    found.unwrap_or_else(|| panic!("one was asked"))
}

fn rar_2_counting() -> Sheet {
    const HITS: u64 = 100;
    const FLIGHTS: u64 = 100_000;
    let mut sheet = Sheet::new(
        "RAR-2",
        "chances of 1e-3 against 100,000 independent flights, counted",
        Trust::Statement,
        "the definition of a chance: flights in which it happens over all flights; `must_reach` has 1e-4 against 1,000,000",
    );
    sheet.because("a hundred counted flights stray by 10 %, the search by its own interval: three of both together");
    for (name, rocket) in [("club rocket", rockets::club()), ("high power", rockets::high_power())] {
        for Counted { what, case, hits, flights } in counted(rocket, HITS, FLIGHTS) {
            let found = found(&case);
            let chance = &found.chance;
            let share = hits as f64 / flights as f64;
            let own = (chance.upper - chance.lower) / (2.0 * 1.96 * chance.estimate);
            let strays = (1.0 / hits as f64 + own * own).sqrt();
            sheet.close_relative(format!("{name}, {what}"), chance.estimate, share, 3.0 * strays);
            sheet.holds(format!("{name}, {what}: what made it happen is named"), !found.moved.is_empty());
            sheet.at_most(format!("{name}, {what}: half of its interval over it"), 1.96 * own, 0.5);
        }
    }
    sheet
}

fn rar_3_told_below() -> Sheet {
    let mut sheet = Sheet::new(
        "RAR-3",
        "what the spreads cannot tell is told as below a bound; what is common is no rarer for being sought",
        Trust::Statement,
        "counting: of 2,000 flights of the same case",
    );
    sheet.because("the bound is 1e-4, or the upper end of the interval where that is higher");
    let asked = |event, limit_m_s: f64| {
        let mut inputs: Inputs = rockets::club();
        inputs.question.ways.truncate(1);
        inputs.question.limits_m_s = vec![limit_m_s];
        inputs.question.accept_limit = 0;
        inputs.question.flights = 2000;
        inputs.question.rare = vec![RareInput { event, way: Some(0), flights: 4096 }];
        let case = Case::new(inputs).unwrap_or_else(|faults| panic!("{faults:?}"));
        slowpoint_sim::assess(&case, &AtomicBool::new(false)).unwrap_or_else(|| panic!("never stopped"))
    };
    let never = asked(RareEvent::OpensOver(0), 190.0);
    sheet.holds("over 190 m/s: below a bound", never.rare[0].below.is_some_and(|below| below >= 1e-4));
    sheet.holds("over 190 m/s: a caution says what it knows", never.cautions.iter().any(|c| c.topic == "rare"));
    let common = asked(RareEvent::OpensOver(0), 15.6464);
    let (sought, counted) = (&common.rare[0], &common.ways[0].limits[0].over);
    sheet.holds("over 35 mph: no bound", sought.below.is_none());
    let apart = (sought.chance.estimate - counted.estimate).abs();
    let together = 0.5 * libm::hypot(sought.chance.upper - sought.chance.lower, counted.upper - counted.lower);
    sheet.because("1.6 times what both intervals together allow");
    sheet.at_most("over 35 mph: sought less counted", apart, 1.6 * together);
    sheet
}

fn rar_4_threads() -> Sheet {
    let mut sheet = Sheet::new(
        "RAR-4",
        "the same chance whatever the number of threads",
        Trust::Statement,
        "a flight is a function of seed, round and number alone",
    );
    sheet.because("the same bytes");
    for points in [PointSet::Sobol, PointSet::Pseudorandom] {
        let mut inputs = rockets::club();
        inputs.question.points = points;
        inputs.question.flights = 256;
        inputs.question.rare = vec![RareInput { event: RareEvent::OpensOver(0), way: None, flights: 2048 }];
        let case = Case::new(inputs).unwrap_or_else(|faults| panic!("{faults:?}"));
        alike_on_threads(&mut sheet, points, &case);
    }
    sheet
}
