//! Drag, impulse and wind learned from flights flown: known truths recovered from simulated logs, brute force, and what is
//! refused.

use core::ops::Range;
use core::sync::atomic::AtomicBool;

use slowpoint_sim::calibration::{Calibrated, Learned, Moved, Set, figures, set, value};
use slowpoint_sim::case::{CalibrationInput, Case, FlownInput, Inputs, LOGS, Logged, LoggedInput};
use slowpoint_sim::draw::{Numbers, PointSet, Shift, Slot, draw};
use slowpoint_sim::flight::Pilot;
use slowpoint_sim::report::{CalibrationReport, LearnedAfter, Refused, Report};
use slowpoint_sim::stat::normal;
use slowpoint_sim::{assess, calibrated};
use slowpoint_tests::rockets;
use slowpoint_tests::sheet::{Sheet, Trust};

use super::reproducible::alike_on_threads;

slowpoint_tests::subject! { "Flights flown":
    cal_1_truths,
    cal_2_brute_force,
    cal_3_next_flights,
    cal_4_refused,
    cal_5_threads,
    cal_6_early_delay,
    cal_7_sampling_error,
}

static GO: AtomicBool = AtomicBool::new(false);

/// A standard normal number of a simulated log: of a seed, a flight and a place.
fn standard(seed: u64, k: u64) -> f64 {
    let numbers = Numbers::of(PointSet::Pseudorandom, 0x10c + seed, k);
    normal::quantile(numbers.uniform(Slot::Mass))
}

fn case(inputs: Inputs) -> Case {
    Case::new(inputs).unwrap_or_else(|faults| panic!("{faults:?}"))
}

/// Flights of a case whose bias and scatter are known: what each log would tell, without error.
fn flights(case: &Case, truth: Set, seed: u64, count: u64) -> Vec<[f64; 4]> {
    let known = Case { calibrated: Some(Calibrated::new(vec![truth])), ..case.clone() };
    flights_of(&known, seed, 0..count)
}

/// The same of a case that has them.
fn flights_of(known: &Case, seed: u64, flights: Range<u64>) -> Vec<[f64; 4]> {
    let ways = &known.inputs.question.ways[..1];
    let drawn: Vec<_> =
        flights.map(|flight| draw(known, &Numbers::of(PointSet::Pseudorandom, seed, flight), &Shift::NONE)).collect();
    Pilot::default().fly_on_board(&drawn, ways).iter().map(|flight| figures(&flight[0])).collect()
}

/// Simulated logs of so many flights, with the errors that the engine assumes.
fn logs(case: &Case, truth: Set, seed: u64, count: u64, logged: &[Logged]) -> Vec<FlownInput> {
    let mut errors = 0..;
    let flown = flights(case, truth, 0x5eed + seed, count).into_iter().map(|figures| FlownInput {
        condition: 0,
        way: 0,
        logged: LOGS.map(|log| {
            let figure = figures[log as usize];
            let off = log.default_error(figure) * standard(seed, errors.next()?);
            (logged.contains(&log) && figure.is_finite())
                .then_some(LoggedInput { value: (figure + off).max(0.2), error: None })
        }),
    });
    flown.filter(|f| f.logged.iter().any(Option::is_some)).collect()
}

/// Its inputs with these flights flown in its own conditions.
fn flown(inputs: &Inputs, flown: Vec<FlownInput>) -> Inputs {
    let calibration = CalibrationInput { conditions: vec![inputs.clone()], flown, flights: None, bias_share: None };
    Inputs { calibration: Some(calibration), ..inputs.clone() }
}

/// What is learned of a case.
fn learned(inputs: Inputs) -> CalibrationReport {
    let case = case(inputs);
    calibrated(&case, &GO).and_then(|found| found.1).unwrap_or_else(|| panic!("there are flights flown"))
}

/// A truth drawn as it is before anything is known.
fn truth(seed: u64) -> Set {
    set(&core::array::from_fn(|k| standard(1_000_000 + seed, k as u64)), 0.5)
}

/// What is told of an input before and after.
fn of(report: &CalibrationReport, learned: Learned) -> ([f64; 3], LearnedAfter) {
    let found = report.learned.iter().find(|l| l.learned == learned);
    let found = found.unwrap_or_else(|| panic!("{learned:?} is learned"));
    (found.before, found.after.unwrap_or_else(|| panic!("it is used: {:?}", report.refused)))
}

fn cal_1_truths() -> Sheet {
    const TRUTHS: u64 = 48;
    let mut sheet = Sheet::new(
        "CAL-1",
        "known bias and scatter of drag, impulse and wind, drawn as before anything is known, from simulated logs",
        Trust::B,
        "S. Talts et al., Validating Bayesian inference algorithms with simulation-based calibration, arXiv 1804.06788 (2018; from memory): truths lie within 90 % intervals in 90 % of cases",
    );
    let mut inputs = rockets::club();
    inputs.question.ways.truncate(1);
    let plain = case(inputs.clone());
    let (mut biases, mut scatters, mut refused) = ([0_u32; 3], [0_u32; 3], 0);
    let mut narrower = [0.0; 3];
    for seed in 0..TRUTHS {
        let truth = truth(seed);
        let report = learned(flown(&inputs, logs(&plain, truth, seed, 6, &LOGS)));
        if report.refused.is_some() {
            refused += 1;
            continue;
        }
        for (k, learned) in Learned::ALL.into_iter().enumerate() {
            let (before, found) = of(&report, learned);
            let common = value(&learned.law(&plain.spread), truth[k].bias);
            let within = |[low, _, high]: [f64; 3], truth: f64| u32::from(low <= truth && truth <= high);
            biases[k] += within(found.common, common);
            scatters[k] += within(found.scatter, truth[k].scatter);
            narrower[k] += (found.common[2] - found.common[0]) / (before[2] - before[0]);
        }
    }
    let used = TRUTHS as f64 - f64::from(refused);
    sheet
        .because("as many of them within as 90 % gives, less two and a half standard deviations of a count (binomial)");
    let least = (0.9 * used - 2.5 * (0.9 * 0.1 * used).sqrt()) / used;
    for (k, learned) in Learned::ALL.into_iter().enumerate() {
        sheet.at_least(format!("{learned:?}: share of biases within"), f64::from(biases[k]) / used, least);
        sheet.at_least(format!("{learned:?}: share of scatters within"), f64::from(scatters[k]) / used, least);
    }
    sheet.because("six flights with apogee, times and opening speed say more than that: 1 / sqrt(2) is the width of the bias before");
    sheet.at_most("Drag: width of the bias over that of the law before, on average", narrower[0] / used, 0.6);
    sheet.because(
        "of six flights with four figures each, one in the far ends of what is drawn is met by too few now and then",
    );
    sheet.at_most("share refused", f64::from(refused) / TRUTHS as f64, 1.0 / 3.0);
    sheet
}

fn cal_2_brute_force() -> Sheet {
    const FLIGHTS: u64 = 60_000;
    let mut sheet = Sheet::new(
        "CAL-2",
        "bias of drag after one logged apogee and time, against flights drawn afresh, each with a bias and scatter of its own",
        Trust::Statement,
        "Bayes' theorem by its definition: of flights drawn as before, each weighted by how well it agrees with the log",
    );
    let mut inputs = rockets::club();
    // A delay that fires after the top: a shorter one would be a reason of its own for a low flight.
    inputs.question.ways.truncate(1);
    inputs.question.ways[0].motor_delay_s = Some(9.0);
    let plain = case(inputs.clone());
    // A flight far lower and sooner over than the middle of those drawn.
    let logged = [0.88, 0.92];
    let middle = flights(&plain, [Moved { bias: 0.0, scatter: 1e-6 }; 3], 1, 1)[0];
    let log = |k: usize, of: Logged| {
        let value = logged[k] * middle[of as usize];
        LoggedInput { value, error: Some(2.0 * of.default_error(value)) }
    };
    let seen = [log(0, Logged::Apogee), log(1, Logged::ApogeeTime)];
    let one = FlownInput { condition: 0, way: 0, logged: [Some(seen[0]), Some(seen[1]), None, None] };
    let report = learned(flown(&inputs, vec![one]));
    // Brute force: a new set for each flight.
    let sets: Vec<Set> = (0..FLIGHTS).map(|k| truth(5_000_000 + 10 * k)).collect();
    let law = Learned::Drag.law(&plain.spread);
    let mut weighted: Vec<(f64, f64)> = Vec::new();
    let mut known = plain.clone();
    for (k, set) in (0..).zip(&sets) {
        known.calibrated = Some(Calibrated::new(vec![*set]));
        let figures = flights_of(&known, 77, k..k + 1)[0];
        let off = |k: usize, of: Logged| (figures[of as usize] - seen[k].value) / seen[k].error.unwrap_or(1.0);
        let [height, time] = [off(0, Logged::Apogee), off(1, Logged::ApogeeTime)];
        let weight = libm::exp(-0.5 * (height * height + time * time));
        if weight > 1e-9 {
            weighted.push((value(&law, set[0].bias), weight));
        }
    }
    weighted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let all: f64 = weighted.iter().map(|w| w.1).sum();
    let effective = all * all / weighted.iter().map(|w| w.1 * w.1).sum::<f64>();
    sheet.because(
        "brute force has flights worth a thousand or more: its quantiles stray by 0.01, as those of the fit do",
    );
    sheet.at_least("flights that brute force is worth", effective, 1000.0);
    let (_, found) = of(&report, Learned::Drag);
    for (share, got) in [0.05, 0.5, 0.95].into_iter().zip(found.common) {
        let mut below = 0.0;
        let expected = weighted.iter().find(|(_, weight)| {
            below += weight;
            below >= share * all
        });
        sheet.close(format!("bias of drag, {} %", 100.0 * share), got, expected.map_or(f64::NAN, |e| e.0), 0.02);
    }
    sheet.holds("it moved towards more drag", found.common[1] > 1.02);
    sheet
}

fn cal_3_next_flights() -> Sheet {
    let mut sheet = Sheet::new(
        "CAL-3",
        "after twelve flights of a rocket with 30 % more drag than its card: the next flights against flights of the truth",
        Trust::Statement,
        "flights drawn with the truth itself",
    );
    let mut inputs = rockets::club();
    inputs.question.flights = 2048;
    let plain = case(inputs.clone());
    let bias = libm::log(1.3) / libm::log(value(&Learned::Drag.law(&plain.spread), 1.0));
    let mut truth = [Moved { bias: 0.0, scatter: 0.5 }; 3];
    truth[0] = Moved { bias, scatter: 0.3 };
    let asked = flown(&inputs, logs(&plain, truth, 9, 12, &LOGS));
    let report = assess(&case(asked), &GO).unwrap_or_else(|| panic!("nobody stops it"));
    let before = assess(&plain, &GO).unwrap_or_else(|| panic!("nobody stops it"));
    let known = Case { calibrated: Some(Calibrated::new(vec![truth])), ..plain.clone() };
    let truly = assess(&known, &GO).unwrap_or_else(|| panic!("nobody stops it"));
    let found = report.calibration.as_ref().unwrap_or_else(|| panic!("it was asked"));
    sheet.holds("it is used", found.refused.is_none());
    let median = |report: &Report| report.flight.as_ref().map_or(f64::NAN, |f| f.apogee_m.p50);
    let (was, is, should) = (median(&before), median(&report), median(&truly));
    sheet.because("twelve apogees of a rocket that scatters by 4 % say it to 1.2 %; three of them");
    sheet.close_relative("median apogee, m", is, should, 0.036);
    sheet.because("it began far off");
    sheet.more_than("median apogee before, over the true one", was / should, 1.06);
    let width = |report: &Report| report.flight.as_ref().map_or(f64::NAN, |f| f.apogee_m.p95 - f.apogee_m.p05);
    sheet.because("what twelve flights leave open comes on top of what the truth scatters by, and is less than before");
    sheet.more_than("width of 90 % of apogees over that of the truth", width(&report) / width(&truly), 0.8);
    sheet.less_than("width of 90 % of apogees over that before", width(&report) / width(&before), 0.9);
    sheet.holds(
        "how the chances move without it is told",
        report.moves.iter().any(|m| m.what.contains("nothing learned")),
    );
    sheet.holds("a caution says that it is used", report.cautions.iter().any(|c| c.topic == "calibration"));
    sheet
}

fn cal_4_refused() -> Sheet {
    let mut sheet = Sheet::new(
        "CAL-4",
        "logs that no drawn flight agrees with, one of two, or far off with a large error: refused, and the answer is that without them",
        Trust::Statement,
        "fewer than 32 flights of one weight within four standard errors",
    );
    let mut inputs = rockets::club();
    inputs.question.flights = 512;
    let plain = assess(&case(inputs.clone()), &GO).unwrap_or_else(|| panic!("nobody stops it"));
    let apogee = plain.flight.as_ref().map_or(f64::NAN, |f| f.apogee_m.p50);
    let flight = |(height, error): (f64, f64)| {
        let apogee = LoggedInput { value: height * apogee, error: Some(error * apogee) };
        FlownInput { condition: 0, way: 0, logged: [Some(apogee), None, None, None] }
    };
    for (name, logs, refused) in [
        ("three times as high", vec![(3.0, 0.005)], Some(Refused::Flights(0))),
        ("one of two far too high", vec![(1.0, 0.005), (2.5, 0.005)], Some(Refused::Flights(1))),
        // Feet told as metres, all drawn flights seven and more standard errors off.
        ("far too high, with a large error", vec![(3.28, 0.25); 4], Some(Refused::Flights(0))),
        ("as drawn", vec![(1.0, 0.005), (0.98, 0.005)], None),
    ] {
        let report = assess(&case(flown(&inputs, logs.into_iter().map(flight).collect())), &GO)
            .unwrap_or_else(|| panic!("nobody stops it"));
        let found = report.calibration.as_ref().unwrap_or_else(|| panic!("it was asked"));
        sheet.equal(format!("{name}: refused"), format!("{:?}", found.refused), format!("{refused:?}"));
        sheet.holds(format!("{name}: the answer is that without it"), (report.ways == plain.ways) == refused.is_some());
        let told = report.cautions.iter().any(|c| c.topic == "calibration_refused");
        sheet.holds(format!("{name}: a caution says so"), told == refused.is_some());
    }
    sheet
}

fn cal_5_threads() -> Sheet {
    let mut sheet = Sheet::new(
        "CAL-5",
        "the same answer whatever the number of threads",
        Trust::Statement,
        "a flight is a function of the seed, what was logged and its number alone",
    );
    sheet.because("the same bytes");
    for points in [PointSet::Sobol, PointSet::Pseudorandom] {
        let mut inputs = rockets::club();
        inputs.question.points = points;
        inputs.question.flights = 256;
        let plain = case(inputs.clone());
        let mut asked = flown(&inputs, logs(&plain, truth(3), 3, 3, &[Logged::Apogee, Logged::ApogeeTime]));
        if let Some(calibration) = &mut asked.calibration {
            calibration.flights = Some(2048);
        }
        alike_on_threads(&mut sheet, points, &case(asked));
    }
    sheet
}

fn cal_6_early_delay() -> Sheet {
    let mut sheet = Sheet::new(
        "CAL-6",
        "apogees logged with a delay that fires two seconds before the top: what the opening takes from them is not drag",
        Trust::Statement,
        "the same flights with a delay that fires after the top, and one whose logs hide that it opened",
    );
    let mut inputs = rockets::club();
    inputs.question.ways.truncate(1);
    let with = |delay_s: f64| {
        let mut inputs = inputs.clone();
        inputs.question.ways[0].motor_delay_s = Some(delay_s);
        inputs
    };
    let middle = [Moved { bias: 0.0, scatter: 1e-6 }; 3];
    let logged = |inputs: &Inputs| {
        let plain = case(inputs.clone());
        let [apogee_m, apogee_s, opening_s, _] = flights(&plain, middle, 1, 1)[0];
        (apogee_m, opening_s - apogee_s)
    };
    let [(late_m, after_s), (early_m, before_s)] = [with(9.0), with(3.0)].map(|inputs| logged(&inputs));
    sheet.because("what is asked");
    sheet.more_than("the late one fires after its top, s", after_s, 0.0);
    sheet.less_than("the early one fires before its top, s", before_s, 0.0);
    sheet.less_than("height of the early one over that of the late one", early_m / late_m, 0.97);
    let bias = |inputs: &Inputs, apogee_m: f64| {
        let apogee = LoggedInput { value: apogee_m, error: None };
        let one = FlownInput { condition: 0, way: 0, logged: [Some(apogee), None, None, None] };
        of(&learned(flown(inputs, vec![one])), Learned::Drag).1.common[1]
    };
    sheet.because("each is the middle of what its own delay draws; a median of 1024 sets strays by a tenth of that");
    sheet.close("bias of drag, early", bias(&with(3.0), early_m), 1.0, 0.02);
    sheet.close("bias of drag, late", bias(&with(9.0), late_m), 1.0, 0.02);
    sheet.because("the height that the opening took is drag to a card that does not know of it");
    sheet.more_than("bias of drag, had the early one been told as the late one", bias(&with(9.0), early_m), 1.02);
    sheet
}

fn cal_7_sampling_error() -> Sheet {
    const SEEDS: u64 = 16;
    let mut sheet = Sheet::new(
        "CAL-7",
        "how far biases and scatters stray because so many flights were drawn: as told, and over seeds",
        Trust::Statement,
        "the standard deviation of a figure that is found with other draws of the same number",
    );
    let mut inputs = rockets::club();
    inputs.question.ways.truncate(1);
    inputs.question.points = PointSet::Pseudorandom;
    let logged = logs(&case(inputs.clone()), truth(12), 12, 4, &[Logged::Apogee, Logged::ApogeeTime]);
    let mut medians: [Vec<f64>; 6] = Default::default();
    let (mut widths, mut told) = ([0.0; 6], 0.0);
    for seed in 0..SEEDS {
        inputs.question.seed = 100 + seed;
        let mut asked = flown(&inputs, logged.clone());
        if let Some(calibration) = &mut asked.calibration {
            calibration.flights = Some(4096);
        }
        let report = learned(asked);
        told += report.sampling_error / SEEDS as f64;
        for (k, learned) in Learned::ALL.into_iter().enumerate() {
            let (_, after) = of(&report, learned);
            for (place, band) in [(2 * k, after.common), (2 * k + 1, after.scatter)] {
                medians[place].push(band[1]);
                // 90 % of a normal law lie within 1.645 standard deviations.
                widths[place] += (band[2] - band[0]) / (2.0 * 1.645) / SEEDS as f64;
            }
        }
    }
    let strays = medians.iter().zip(widths).map(|(found, width)| {
        let mean = found.iter().sum::<f64>() / SEEDS as f64;
        let squares = found.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>();
        (squares / (SEEDS - 1) as f64).sqrt() / width
    });
    let most = strays.fold(0.0, f64::max);
    sheet.because("of 16 seeds a standard deviation is known to a fifth, the largest of six lies higher, and medians of 1024 sets stray by 0.04 by themselves");
    sheet.more_than("what is told over what is found", told / most, 0.5);
    sheet.less_than("what is told over what is found", told / most, 1.6);
    sheet.because("it is small where it is used");
    sheet.less_than("what is told", told, 1.0 / 3.0);
    sheet
}
