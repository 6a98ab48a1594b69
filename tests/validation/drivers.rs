//! What drives an answer: Sobol' indices against functions whose indices have closed forms, and the engine's own against
//! their definition.

use super::reproducible::alike_on_threads;
use core::sync::atomic::AtomicBool;
use rayon::prelude::*;
use slowpoint_sim::case::{Case, Inputs};
use slowpoint_sim::draw::{Group, Law, Numbers, Point, PointSet, REPLICATES, Slot};
use slowpoint_sim::drivers::WayDrivers;
use slowpoint_sim::flight::{Deployment, Electronics};
use slowpoint_sim::report::Report;
use slowpoint_sim::stat::indices::{Found, Index, Kind, Sets, Silent, indices};
use slowpoint_sim::stat::normal;
use slowpoint_sim::wind::Gustiness;
use slowpoint_sim::{assess, replay};
use slowpoint_tests::sheet::{Sheet, Trust};
use slowpoint_tests::{larger, rockets};

slowpoint_tests::subject! { "What drives an answer":
    sob_1_ishigami,
    sob_2_linear,
    sob_3_additive,
    sob_4_bounds,
    sob_5_intervals_cover,
    sob_6_one_group_alone,
    sob_7_by_definition,
    sob_8_threads,
}

const KINDS: [PointSet; 2] = [PointSet::Sobol, PointSet::Pseudorandom];
/// Most base flights of an assessment, and the number it is told to start with.
const MANY: u64 = 16_384;
const USUAL: u64 = 1024;

/// Slots of groups of their own: the variables of a function, drawn and exchanged as those of a flight are.
const VARIABLES: [Slot; 5] = [Slot::Delay(0), Slot::GustAlong, Slot::Drag, Slot::Mass, Slot::CanopyDrag];

/// A function of uniform numbers, one per group, with the first-order and total index of each.
struct Function {
    name: &'static str,
    value: fn(&[f64]) -> f64,
    kind: Kind,
    exact: Vec<[f64; 2]>,
}

impl Function {
    /// The indices as an assessment finds them.
    fn found(&self, points: PointSet, seed: u64, base_flights: u64) -> Result<Found, Silent> {
        let slots = &VARIABLES[..self.exact.len()];
        let mut groups = vec![vec![Sets::default(); REPLICATES as usize]; slots.len()];
        for flight in 0..base_flights {
            let at = |numbers: Numbers| {
                let mut x = [0.0; VARIABLES.len()];
                x.iter_mut().zip(slots).for_each(|(x, slot)| *x = numbers.uniform(*slot));
                (self.value)(&x[..slots.len()])
            };
            let [own, other] = [Point::Own, Point::Other].map(|p| at(Numbers::at(points, seed, flight, p)));
            for (group, slot) in groups.iter_mut().zip(slots) {
                let mixed = at(Numbers::exchanged(points, seed, flight, slot.group()));
                group[(flight % REPLICATES) as usize].add([own, other, mixed]);
            }
        }
        indices(&groups, self.kind)
    }

    fn surely_found(&self, points: PointSet, seed: u64, base_flights: u64) -> Found {
        self.found(points, seed, base_flights).unwrap_or_else(|e| panic!("{}: {e:?}", self.name))
    }
}

/// sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1 on +-pi.
fn ishigami() -> Function {
    Function {
        name: "Ishigami",
        value: |u| {
            let [x1, x2, x3] = [0, 1, 2].map(|k| core::f64::consts::PI * (2.0 * u[k] - 1.0));
            let (s1, s2) = (libm::sin(x1), libm::sin(x2));
            s1 + 7.0 * s2 * s2 + 0.1 * x3 * x3 * x3 * x3 * s1
        },
        kind: Kind::Number,
        exact: vec![[0.313_905_2, 0.557_588_9], [0.442_411_1, 0.442_411_1], [0.0, 0.243_683_7]],
    }
}

/// 4 x1 + 2 x2 + x3 of standard normal numbers.
fn sum(u: &[f64]) -> f64 {
    4.0 * normal::quantile(u[0]) + 2.0 * normal::quantile(u[1]) + normal::quantile(u[2])
}

/// Variance of [`sum`], and the part of it that each variable makes.
const SUM_VARIANCE: f64 = 21.0;
const SUM_PARTS: [f64; 3] = [16.0 / SUM_VARIANCE, 4.0 / SUM_VARIANCE, 1.0 / SUM_VARIANCE];

fn linear() -> Function {
    Function { name: "linear", value: sum, kind: Kind::Number, exact: SUM_PARTS.map(|s| [s, s]).to_vec() }
}

/// Whether [`sum`] passes 1.4051 of its standard deviations, which it does in 8 % of all cases.
fn exceeding() -> Function {
    const DEVIATIONS: f64 = 1.405_071_560_309_632_6;
    let p = 0.08;
    // Two normal numbers of correlation r both pass h with the probability p^2 plus the integral of
    // exp(-h^2 / (1 + sin t)) / 2 pi from 0 to asin r.
    let shared = |r: f64| {
        let (end, parts) = (libm::asin(r), 2000);
        let at = |k: usize| libm::exp(-DEVIATIONS * DEVIATIONS / (1.0 + libm::sin(end * k as f64 / parts as f64)));
        let inner: f64 = (1..parts).map(|k| at(k) * if k % 2 == 1 { 4.0 } else { 2.0 }).sum();
        end / (3.0 * parts as f64) * (at(0) + inner + at(parts)) / core::f64::consts::TAU / (p * (1.0 - p))
    };
    Function {
        name: "a chance of 8 %",
        value: |u| f64::from(u8::from(sum(u) > DEVIATIONS * SUM_VARIANCE.sqrt())),
        kind: Kind::Chance,
        exact: SUM_PARTS.map(|s| [shared(s), 1.0 - shared(1.0 - s)]).to_vec(),
    }
}

/// u1^2 + exp u2 + u3.
fn additive() -> Function {
    let e = core::f64::consts::E;
    let variances = [4.0 / 45.0, 0.5 * (e * e - 1.0) - (e - 1.0) * (e - 1.0), 1.0 / 12.0];
    let all: f64 = variances.iter().sum();
    Function {
        name: "additive",
        value: |u| u[0] * u[0] + libm::exp(u[1]) + u[2],
        kind: Kind::Number,
        exact: variances.map(|v| [v / all, v / all]).to_vec(),
    }
}

/// Sobol's g: the product of (|4 u - 2| + a) / (1 + a).
fn product() -> Function {
    const A: [f64; 5] = [0.0, 1.0, 4.5, 9.0, 99.0];
    let parts = A.map(|a| 1.0 / (3.0 * (1.0 + a) * (1.0 + a)));
    let all: f64 = parts.iter().map(|v| 1.0 + v).product();
    Function {
        name: "g",
        value: |u| A.iter().zip(u).map(|(a, u)| ((4.0 * u - 2.0).abs() + a) / (1.0 + a)).product(),
        kind: Kind::Number,
        exact: parts.map(|v| [v / (all - 1.0), v / (1.0 + v) * all / (all - 1.0)]).to_vec(),
    }
}

/// Rows of every index of a function, the worst over four seeds.
fn rows(sheet: &mut Sheet, function: &Function, tolerance: f64) {
    for points in KINDS {
        let each: Vec<Found> =
            (1..=4_u64).into_par_iter().map(|seed| function.surely_found(points, seed, MANY)).collect();
        for (k, [first, total]) in function.exact.iter().enumerate() {
            let figures = |of: fn(&Found, usize) -> f64, exact: f64| {
                let named = |(seed, found): (usize, &Found)| (format!("seed {}", seed + 1), of(found, k), exact);
                each.iter().enumerate().map(named).collect::<Vec<_>>()
            };
            let first = figures(|found, k| found.groups[k].first_order.estimate, *first);
            let total = figures(|found, k| found.groups[k].total.estimate, *total);
            sheet.all_close(&format!("{points:?}: first order of x{}", k + 1), first, tolerance);
            sheet.all_close(&format!("{points:?}: total of x{}", k + 1), total, tolerance);
        }
    }
}

fn sob_1_ishigami() -> Sheet {
    let mut sheet = Sheet::new(
        "SOB-1",
        "indices of Ishigami's function, drawn as a flight's inputs are, 16,384 base flights",
        Trust::B,
        "Ishigami and Homma (1990), a = 7, b = 0.1: closed form, numbers computed apart: 0.3139052, 0.4424111, 0 and 0.5575889, 0.4424111, 0.2436837",
    );
    sheet.because("the indices must lie within 0.02");
    rows(&mut sheet, &ishigami(), 0.02);
    sheet
}

fn sob_2_linear() -> Sheet {
    let mut sheet = Sheet::new(
        "SOB-2",
        "indices of 4 x1 + 2 x2 + x3 of standard normal numbers, 16,384 base flights",
        Trust::B,
        "of a sum the parts of its variance: 16/21, 4/21 and 1/21, first order and total alike",
    );
    sheet.because("as for Ishigami's function");
    rows(&mut sheet, &linear(), 0.02);
    let found = linear().surely_found(PointSet::Sobol, 1, MANY);
    sheet.because("nothing but sampling");
    sheet.close_relative("standard deviation", found.deviation, SUM_VARIANCE.sqrt(), 0.01);
    let narrowed = found.groups[0].first_order.narrowing().estimate;
    sheet.because("as far as the index is off");
    sheet.close("narrower by, x1 known: 1 - sqrt(5/21)", narrowed, 1.0 - (5.0_f64 / 21.0).sqrt(), 0.02);
    sheet
}

fn sob_3_additive() -> Sheet {
    let mut sheet = Sheet::new(
        "SOB-3",
        "indices of u1² + exp u2 + u3 of uniform numbers, 16,384 base flights",
        Trust::B,
        "variances 4/45, (e² - 1)/2 - (e - 1)² and 1/12: where nothing acts together, total is first order and their sum is 1",
    );
    sheet.because("as for Ishigami's function");
    let function = additive();
    rows(&mut sheet, &function, 0.02);
    let found = function.surely_found(PointSet::Sobol, 1, MANY);
    sheet.close("sum of the first-order indices", found.sum.estimate, 1.0, 0.02);
    let together = ishigami().surely_found(PointSet::Sobol, 1, MANY).sum;
    sheet.close("the same of Ishigami's function, where inputs act together", together.estimate, 0.756_316_3, 0.02);
    sheet.less_than("its upper end", together.upper, 1.0);
    sheet
}

fn sob_4_bounds() -> Sheet {
    let mut sheet = Sheet::new(
        "SOB-4",
        "bounds of every index of five functions, over 100 seeds of 1,024 base flights",
        Trust::B,
        "0 <= S <= ST <= 1, and first-order indices add up to at most 1; Sobol's g with a = 0, 1, 4.5, 9, 99: closed form",
    );
    sheet.because("as for Ishigami's function");
    rows(&mut sheet, &product(), 0.02);
    for function in [ishigami(), linear(), additive(), product(), exceeding()] {
        let each: Vec<Found> =
            (0..100_u64).into_par_iter().filter_map(|seed| function.found(PointSet::Sobol, seed, USUAL).ok()).collect();
        let (mut outside, mut crossed, mut over) = (0, 0, 0);
        for found in &each {
            for group in &found.groups {
                let within =
                    |i: &Index| 0.0 <= i.lower && i.lower <= i.estimate && i.estimate <= i.upper && i.upper <= 1.0;
                outside += usize::from(!within(&group.first_order) || !within(&group.total));
                crossed += usize::from(group.first_order.estimate > group.total.estimate);
            }
            over += usize::from(found.sum.lower > 1.0);
        }
        let name = function.name;
        sheet.more_than(format!("{name}: runs of 100 that answer"), each.len() as f64, 50.0);
        sheet.equal(format!("{name}: indices outside 0 and 1 or off their interval"), outside, 0);
        sheet.equal(format!("{name}: first order above total"), crossed, 0);
        sheet.because("one interval in forty may lie above the true sum, which is at most 1");
        sheet.at_most(format!("{name}: runs whose sum lies above 1 beyond its interval"), over as f64, 7.0);
    }
    sheet
}

fn sob_5_intervals_cover() -> Sheet {
    let mut sheet = Sheet::new(
        "SOB-5",
        "what 95 % intervals of indices hold, over 2,000 seeds of 1,024 base flights",
        Trust::Statement,
        "at least 93 % hold the truth",
    );
    const SEEDS: u64 = 2000;
    sheet.because("where the true coverage is 95 % the share found over 2000 seeds strays by 0.5 %");
    for function in [ishigami(), linear(), exceeding()] {
        for points in KINDS {
            let runs: Vec<Result<Found, Silent>> =
                (0..SEEDS).into_par_iter().map(|seed| function.found(points, 1000 + seed, USUAL)).collect();
            let answered: Vec<&Found> = runs.iter().filter_map(|r| r.as_ref().ok()).collect();
            let share = |holds: &dyn Fn(&Found) -> bool| {
                answered.iter().filter(|found| holds(found)).count() as f64 / answered.len() as f64
            };
            let holds = |i: &Index, exact: f64| i.lower <= exact && exact <= i.upper;
            let name = format!("{}, {points:?}", function.name);
            sheet.more_than(format!("{name}: share that answers"), answered.len() as f64 / SEEDS as f64, 0.5);
            for (k, [first, total]) in function.exact.iter().enumerate() {
                let covered = share(&|found| holds(&found.groups[k].first_order, *first));
                sheet.at_least(format!("{name}: first order of x{}", k + 1), covered, 0.93);
                let covered = share(&|found| holds(&found.groups[k].total, *total));
                sheet.at_least(format!("{name}: total of x{}", k + 1), covered, 0.93);
            }
            let exact: f64 = function.exact.iter().map(|e| e[0]).sum();
            sheet.at_least(format!("{name}: sum of the first-order ones"), share(&|f| holds(&f.sum, exact)), 0.93);
        }
    }
    sheet
}

static GO: AtomicBool = AtomicBool::new(false);

fn case(inputs: Inputs) -> Case {
    Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"))
}

fn report(inputs: Inputs) -> Report {
    assess(&case(inputs), &GO).expect("nobody stops it")
}

/// What drives the one way of deploying that is asked.
fn way(inputs: Inputs) -> WayDrivers {
    report(inputs).drivers.expect("they are asked").ways.remove(0)
}

/// The club rocket with one delay, few flights, and the drivers asked.
fn club(delay_s: f64, base_flights: u64) -> Inputs {
    let mut inputs = rockets::club();
    let q = &mut inputs.question;
    (q.ways, q.flights, q.drivers) = (vec![rockets::delay(delay_s)], 64, Some(base_flights));
    inputs
}

/// The same with nothing drawn at all.
fn nothing_drawn(mut inputs: Inputs) -> Inputs {
    inputs.wind.gustiness = Some(Gustiness::Off);
    rockets::without_spread(inputs)
}

fn sob_6_one_group_alone() -> Sheet {
    let mut sheet = Sheet::new(
        "SOB-6",
        "the 0.6 kg rocket with all spread taken away but that of one group, and with all spread but that of one",
        Trust::Statement,
        "what alone is drawn drives all, what is not drawn drives nothing: exact at any number of flights",
    );
    type Change = fn(&mut Inputs);
    let alone: [(Group, Change); 12] = [
        (Group::MeanWind, |i| i.spread.wind_component_sd_m_s = Some(1.5)),
        (Group::Gusts, |i| i.wind.gustiness = Some(Gustiness::Terrain)),
        (Group::Motor, |i| i.spread.impulse = Some(Law::Uniform { low: 0.95, high: 1.05 })),
        (Group::Delay, |i| i.spread.delay = Some(Law::Normal { mean: 0.0, sd: 0.5 })),
        (Group::Drag, |i| i.spread.drag = Some(Law::LogNormal { median: 1.0, log_sd: 0.1 })),
        (Group::MassAndBalance, |i| i.spread.mass = Some(Law::Uniform { low: 0.97, high: 1.03 })),
        (Group::Stability, |i| i.spread.centre_of_pressure = Some(Law::Normal { mean: 0.0, sd: 0.02 })),
        (Group::RailAngle, |i| i.spread.rail_angle = Some(Law::Normal { mean: 0.0, sd: 0.02 })),
        (Group::MisalignmentAndRoll, |i| i.spread.fin_misalignment = Some(Law::Normal { mean: 0.0, sd: 0.003 })),
        (Group::Recovery, |i| i.spread.canopy_drag = Some(Law::LogNormal { median: 1.0, log_sd: 0.1 })),
        (Group::Altimeter, |i| {
            i.spread.apogee_lag = Some(Law::Uniform { low: 0.0, high: 2.0 });
            i.question.ways = vec![Deployment { motor_delay_s: None, electronics: Some(Electronics::Apogee) }];
        }),
        (Group::Air, |i| i.spread.temperature = Some(Law::Normal { mean: 0.0, sd: 5.0 })),
    ];
    // Long before apogee, where every input that moves the speed moves it one way; half of the flights are over it.
    let mut asked = club(3.0, 512);
    let nominal = replay(&case(nothing_drawn(asked.clone())), 0).flown.deployed[0].ejection;
    asked.question.limits_m_s = vec![nominal.expect("it ejects").airspeed_m_s];
    for (group, change) in alone {
        let mut inputs = nothing_drawn(asked.clone());
        change(&mut inputs);
        let way = way(inputs);
        for (what, found) in way.quantities() {
            // What opens decides no speed at ejection, and at apogee none is over the limit.
            let constant = match group {
                Group::Recovery => what != "distance of the landing",
                Group::Altimeter => what == "unsafe opening",
                _ => false,
            };
            if constant {
                sheet.holds(format!("{group:?} alone, {what}: does not vary"), *found == Err(Silent::Constant));
                continue;
            }
            let found = found.as_ref().unwrap_or_else(|e| panic!("{group:?}, {what}: {e:?}"));
            let mut off = 0.0;
            for (other, indices) in Group::ALL.iter().zip(&found.groups) {
                let exact = f64::from(u8::from(*other == group));
                for index in [indices.first_order, indices.total] {
                    off = larger(off, (index.estimate - exact).abs());
                }
            }
            sheet.because("rounding");
            sheet.at_most(format!("{group:?} alone, {what}: worst index off 1 or 0"), off, 1e-9);
        }
    }
    let mut inputs = asked;
    inputs.spread.drag = Some(Law::Fixed(1.0));
    let way = way(inputs);
    for (what, found) in way.quantities() {
        let found = found.as_ref().unwrap_or_else(|e| panic!("{what}: {e:?}"));
        let group = |g: Group| &found.groups[Group::ALL.iter().position(|x| *x == g).expect("a group")];
        let fixed = group(Group::Drag);
        sheet.equal(format!("all but drag, {what}: total of drag"), fixed.total.estimate, 0.0);
        sheet.equal(format!("all but drag, {what}: first order of drag"), fixed.first_order.estimate, 0.0);
        let altimeter = group(Group::Altimeter);
        sheet.equal(format!("no altimeter, {what}: its total"), altimeter.total.estimate, 0.0);
    }
    sheet
}

fn sob_7_by_definition() -> Sheet {
    let mut sheet = Sheet::new(
        "SOB-7",
        "first-order index of the delay of the 0.6 kg rocket, 4,096 base flights, against 64 runs of 512 flights, each with the delay's error held at one of its quantiles",
        Trust::B,
        "the definition: 1 less the mean variance of the runs over the variance of all",
    );
    let law = Law::Normal { mean: 0.0, sd: 0.9 };
    let mut inputs = club(5.0, 4096);
    inputs.spread.delay = Some(law.clone());
    let whole = way(inputs.clone());
    inputs.question.drivers = None;
    let runs: Vec<[Vec<f64>; 2]> = (0..64)
        .into_par_iter()
        .map(|k| {
            let mut inputs = inputs.clone();
            inputs.spread.delay = Some(Law::Fixed(law.at((f64::from(k) + 0.5) / 64.0)));
            let case = case(inputs);
            let mut found = [Vec::new(), Vec::new()];
            for flight in 0..512 {
                let flown = replay(&case, flight).flown.deployed[0];
                found[0].extend(flown.ejection.map(|e| e.airspeed_m_s));
                found[1].extend(flown.landing.map(|l| l.distance_m()));
            }
            found
        })
        .collect();
    let moments = |values: &[f64]| {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        (mean, values.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / values.len() as f64)
    };
    let delay = Group::ALL.iter().position(|g| *g == Group::Delay).expect("a group");
    let figures = [(&whole.ejection_airspeed_m_s, "airspeed at ejection"), (&whole.landing_distance_m, "landing")];
    for (q, (found, what)) in figures.into_iter().enumerate() {
        let found = found.as_ref().unwrap_or_else(|e| panic!("{what}: {e:?}"));
        let within = runs.iter().map(|run| moments(&run[q]).1).sum::<f64>() / runs.len() as f64;
        let all: Vec<f64> = runs.iter().flat_map(|run| run[q].iter().copied()).collect();
        let (_, variance) = moments(&all);
        let index = &found.groups[delay].first_order;
        sheet.because("sampling of both: the interval of the index reaches some 0.02 to both sides");
        sheet.close(format!("{what}: first order"), index.estimate, 1.0 - within / variance, 0.03);
        let narrower = 1.0 - (within / variance).sqrt();
        sheet.close(format!("{what}: narrower by, delay known"), index.narrowing().estimate, narrower, 0.03);
        sheet.because("sampling of both");
        sheet.close_relative(format!("{what}: standard deviation"), found.deviation, variance.sqrt(), 0.03);
    }
    sheet
}

fn sob_8_threads() -> Sheet {
    let mut sheet = Sheet::new(
        "SOB-8",
        "the whole answer with 300 base flights, no multiple of the 16 replicates, on one thread, two and five",
        Trust::Statement,
        "the same input gives the same bytes; asking for the drivers moves no other figure",
    );
    for points in KINDS {
        let mut inputs = rockets::club();
        let q = &mut inputs.question;
        (q.flights, q.points, q.drivers) = (256, points, Some(300));
        let asked = case(inputs.clone());
        let one = alike_on_threads(&mut sheet, points, &asked);
        let drivers = one.drivers.as_ref().expect("they are asked");
        sheet.equal(format!("{points:?}: flights flown for them"), drivers.flights, 300 * 15);
        inputs.question.drivers = None;
        let plain = report(inputs);
        let Report { cautions, assumed, .. } = &plain;
        let rest = Report { drivers: None, cautions: cautions.clone(), assumed: assumed.clone(), ..one.clone() };
        sheet.holds(format!("{points:?}: nothing else moves but cautions and what is assumed"), rest == plain);
        let more = one.cautions.starts_with(cautions) && assumed.iter().all(|a| one.assumed.contains(a));
        sheet.holds(format!("{points:?}: these grow"), more && one.cautions.len() > cautions.len());
    }
    sheet
}
