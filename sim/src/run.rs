//! The pipeline on one page: case -> draws -> flights -> tally -> report. The only file with threads.

use std::borrow::Cow;

use core::ops::Range;
use core::sync::atomic::{AtomicBool, Ordering};

use rayon::prelude::*;

use crate::advise;
use crate::calibration::{self, Aim, Calibrated, Drawing, Fit, Learned, Met, SETS, Weighed};
use crate::case::{Case, LimitApplies, RareEvent};
use crate::cord::{self, CordPlan, Halves};
use crate::draw::{Group, Numbers, Point, REPLICATES, Shift, Slot, draw, seed_of_round};
use crate::drivers::{self, Drivers, Gathered};
use crate::flight::{
    Ascent, Asked, Deployed, Deployment, Drawn, Electronics, Events, Failure, Fates, Flown, Pilot, WHOLE, Watchfulness,
    fly, fly_ascent, fly_whole_law,
};
use crate::rare;
use crate::report::{
    CalibrationReport, CellReport, CordsReport, FailuresReport, FlownReport, Glimpse, LearnedAfter, LearnedReport,
    Move, Report, WayReport,
};
use crate::settings;
use crate::stat::importance::{Round, Tried};
use crate::stat::interval::Estimator;
use crate::stat::posterior::{self, posterior};
use crate::tally::{
    CordTally, FailureTally, Frame, SHARES, Tally, curve_delays_s, curve_report, curve_speeds, flight_report,
    limit_chances, limit_reports, rail_report, way_report,
};
use crate::until;

/// Flights flown side by side, and between two looks at the stop flag: a few milliseconds.
pub const BATCH: u64 = 64;

/// What is changed, and how the answer names it.
const SHIFTS: [(&str, Shift); 6] = [
    ("centre of pressure 10 % nearer to the nose tip", Shift { centre_of_pressure_factor: 0.9, ..Shift::NONE }),
    ("centre of pressure 10 % farther from the nose tip", Shift { centre_of_pressure_factor: 1.1, ..Shift::NONE }),
    ("drag 20 % less", Shift { drag_factor: 0.8, ..Shift::NONE }),
    ("drag 20 % more", Shift { drag_factor: 1.2, ..Shift::NONE }),
    ("wind 2 m/s less", Shift { wind_m_s: -2.0, ..Shift::NONE }),
    ("wind 2 m/s more", Shift { wind_m_s: 2.0, ..Shift::NONE }),
];

/// What is changed beside them where something was learned from flights flown.
const UNLEARNED: (&str, Shift) = ("nothing learned from the flights flown", Shift { unlearned: true, ..Shift::NONE });

/// Flights flown for each change: enough to see a move of a few points. With 2000 flights the six changes cost
/// three quarters as much again, with 10,000 under half.
fn flights_per_shift(flights: u64) -> u64 {
    (flights / 16).clamp(LEAST_PER_SHIFT, 2048).min(flights)
}

/// The fewest flights of a change, and those that are told first.
const LEAST_PER_SHIFT: u64 = 128;

/// Flies a case and answers; `None` when `stop` was raised meanwhile.
pub fn assess(case: &Case, stop: &AtomicBool) -> Option<Report> {
    assess_telling(case, stop, &|_| ())
}

/// As `assess`, and tells what is known whenever the flights have doubled, and of many every so often. The answer is the same.
pub fn assess_telling(case: &Case, stop: &AtomicBool, tell: &(dyn Fn(Glimpse) + Sync)) -> Option<Report> {
    let (case, calibration) = calibrated(case, stop)?;
    let case = &*case;
    let nominal = nominal(case);
    let curve_s = curve_of(case, &nominal);
    let frame = Frame { case, cell_m: cell_of(nominal.apogee_m), curve_s: &curve_s };
    let question = &case.inputs.question;
    let as_drawn = |flights| tally(&frame, flights, &Shift::NONE, stop);
    let told = |all: &Tally| {
        tell(Glimpse {
            flights: all.flights(),
            ways: (0..question.ways.len()).map(|way| limit_reports(all, way, case)).collect(),
        });
    };
    let (all, moves) = match question.until_half_width {
        None => {
            let few = flights_per_shift(question.flights);
            // Somebody watches: the first are told at once, and before the changes are flown.
            let mut all = as_drawn(0..few.min(LEAST_PER_SHIFT))?;
            told(&all);
            if all.flights() < few {
                until::fly_on(&mut all, few, as_drawn, told)?;
                told(&all);
            }
            let moves = moves(&frame, few, &openings(&all, case), stop)?;
            while all.flights() < question.flights {
                let doubled = (2 * all.flights()).min(question.flights);
                until::fly_on(&mut all, doubled, as_drawn, told)?;
                if doubled < question.flights {
                    told(&all);
                }
            }
            (all, moves)
        }
        Some(half_width) => {
            let all = until::fly(question, half_width, as_drawn, told)?;
            // Only now it is known how many of them the changes are flown with: those few are flown again.
            let few = flights_per_shift(all.flights());
            let (head, _) = shifted_openings(&frame, few, &Shift::NONE, stop)?;
            (all, moves(&frame, few, &head, stop)?)
        }
    };
    let mut report = report(case, &all, moves);
    report.cautions.extend(calibration.iter().flat_map(|found| advise::calibration_cautions(found, case)));
    report.calibration = calibration;
    let failing = failures(&frame, report.failures.way, 0..flights_per_failure(all.flights()), stop)?;
    report.failures.failures = failing.par_iter().map(|f| f.report(case, case.failure_share(f.failure()))).collect();
    report.cautions.extend(advise::failure_cautions(&report.failures, case));
    if let Some(base_flights) = case.inputs.question.drivers {
        let found = drivers(case, base_flights, stop)?;
        let label = |way: usize| way_label(&case.inputs.question.ways[way]);
        report.cautions.extend(advise::driver_cautions(&found, label));
        report.drivers = Some(found);
    }
    if let Some(plan) = &case.cords {
        let found = cords(&frame, plan, 0..cord::flights_of(case, all.flights()), stop)?;
        report.cautions.extend(advise::cord_cautions(&found, case));
        report.cords = Some(found);
    }
    let asked = case.inputs.question.settings;
    if asked.wind_limit {
        report.wind_limit = Some(settings::wind_limit(case, stop)?);
    }
    if asked.rail {
        report.rail_advice = Some(settings::rail(case, report.advice.lowest, stop)?);
    }
    report.rare = rare::found(case, report.advice.lowest, stop)?;
    report.cautions.extend(advise::rare_cautions(&report.rare, case));
    Some(report)
}

/// Flies each change with the first few flights, whose unsafe openings without it are known.
fn moves(frame: &Frame, few: u64, unchanged: &[f64], stop: &AtomicBool) -> Option<Vec<Move>> {
    let moved = |(what, shift): &(&'static str, Shift)| {
        let (changed, estimator) = shifted_openings(frame, few, shift, stop)?;
        let shares = |(before, after): (&f64, f64)| [before, &after].map(|sum| sum / few as f64);
        Some(Move {
            what,
            flights: few,
            estimator,
            unsafe_opening: unchanged.iter().zip(changed).map(shares).collect(),
        })
    };
    let unlearned = frame.case.calibrated.is_some().then_some(&UNLEARNED);
    SHIFTS.iter().chain(unlearned).map(moved).collect()
}

/// A case whose flights are drawn from what flights flown say of it, and what they say; as it is where there are none or they
/// say too little. `None` when `stop` was raised meanwhile.
pub fn calibrated<'a>(case: &'a Case, stop: &AtomicBool) -> Option<(Cow<'a, Case>, Option<CalibrationReport>)> {
    let Some(plan) = &case.calibration else { return Some((Cow::Borrowed(case), None)) };
    let mut seeds = (ROUND_LEARNED..).map(|round| seed_of_round(case.inputs.question.seed, round));
    let mut seed = || seeds.next().unwrap_or_default();
    let (mut aim, mut last) = (Aim::WIDE, None);
    let times = plan.times();
    for (time, flights) in (1..).zip(times) {
        let met = |conditions| met(conditions, seed(), aim, flights, stop);
        let fit = Fit::new(plan, plan.conditions.iter().map(met).collect::<Option<_>>()?, time < times.len());
        let likely = |sets: &[posterior::Unknowns]| {
            let log = |set| if stop.load(Ordering::Relaxed) { 0.0 } else { fit.log_likelihood(set) };
            let logs = sets.par_iter().map(log).collect();
            (!stop.load(Ordering::Relaxed)).then_some(logs)
        };
        let found = posterior(seed(), SETS, likely)?;
        let after = Calibrated::new(found.sets.iter().map(|unknowns| fit.set(unknowns)).collect());
        // Of one set alone nothing can be aimed at.
        if found.effective >= 2.0 {
            aim = Aim::at(&after);
        }
        last = Some((fit, found, after));
    }
    let (fit, found, after) = last?;
    let going = || (!stop.load(Ordering::Relaxed)).then_some(());
    let weigh = |condition: usize| going().map(|()| fit.weighed(condition, &after));
    let weighed: Vec<Weighed> = (0..plan.conditions.len()).into_par_iter().map(weigh).collect::<Option<_>>()?;
    let told = |k: usize| going().map(|()| fit.flown(k, &weighed));
    let flown: Vec<FlownReport> = (0..plan.flown.len()).into_par_iter().map(told).collect::<Option<_>>()?;
    let learned = Learned::ALL.into_iter().filter(|learned| learned.varies(&case.spread)).map(|learned| {
        let law = learned.law(&case.spread);
        let [common, next] = after.quantiles(learned, &law, calibration::TOLD);
        let scatter = after.scatter(learned, calibration::TOLD);
        let before = calibration::TOLD.map(|share| law.at(share));
        LearnedReport { learned, before, after: Some(LearnedAfter { common, next, scatter }) }
    });
    let mut report = CalibrationReport {
        refused: None,
        drawn: plan.drawn(),
        sampling_error: calibration::sampling_error(&weighed, &after, case),
        effective_sets: found.effective,
        learned: learned.collect(),
        flown,
    };
    calibration::judge(&mut report);
    let case = match report.refused {
        Some(_) => Cow::Borrowed(case),
        None => Cow::Owned(Case { calibrated: Some(after), ..case.clone() }),
    };
    Some((case, Some(report)))
}

/// Rounds of flights that are drawn to be learned from have numbers of their own, apart from those that seek what is rare.
const ROUND_LEARNED: u64 = 1 << 20;

/// Flights drawn in the conditions of a flight that was flown.
fn met(case: &Case, seed: u64, aim: Aim, flights: u64, stop: &AtomicBool) -> Option<Vec<Met>> {
    let question = &case.inputs.question;
    let drawing = Drawing::new(case, aim);
    let dimensions = drawing.dimensions();
    let fly = |flights: Range<u64>, pilot: &mut Pilot| {
        let mut aimed = Vec::new();
        let drawn: Vec<_> = flights
            .map(|flight| {
                let numbers = Numbers::moved(question.points, seed, flight, &dimensions, |standard| {
                    aimed.push(drawing.draw(flight, standard));
                });
                draw(case, &numbers, &Shift::NONE)
            })
            .collect();
        let flown = pilot.fly_on_board(&drawn, &question.ways);
        aimed.into_iter().zip(&flown).map(|(aimed, flown)| Met::new(aimed, flown)).collect()
    };
    in_order(0..flights, stop, fly)
}

/// Per way the unsafe openings among all flights of a tally, at the limit of the advice.
fn openings(tally: &Tally, case: &Case) -> Vec<f64> {
    let limit = case.inputs.question.accept_limit;
    (0..case.inputs.question.ways.len()).map(|way| tally.unsafe_openings(way, limit) as f64 / WHOLE as f64).collect()
}

/// The same of the first few flights with a change, and how they were made.
fn shifted_openings(frame: &Frame, few: u64, shift: &Shift, stop: &AtomicBool) -> Option<(Vec<f64>, Estimator)> {
    let question = &frame.case.inputs.question;
    let flown = chances(frame.case, frame.curve_s, 0..few, shift, stop)?;
    let sum = |way: usize| flown.iter().map(|flight| flight.ways[way][question.accept_limit][1]).sum();
    let integrated = flown.iter().filter(|flight| flight.integrated).count() as u64;
    Some(((0..question.ways.len()).map(sum).collect(), Estimator::of(integrated, few)))
}

/// What drives the answer: each base flight again, at its other point, and with every group exchanged in turn.
fn drivers(case: &Case, base_flights: u64, stop: &AtomicBool) -> Option<Drivers> {
    // So many whatever the machine: their sums are added up in this order, on which the last bit depends.
    const PIECES_PER_REPLICATE: u64 = 16;
    let question = &case.inputs.question;
    let piece = |piece: u64| {
        let (replicate, part) = (piece / PIECES_PER_REPLICATE, piece % PIECES_PER_REPLICATE);
        let points = base_flights.saturating_sub(replicate).div_ceil(REPLICATES);
        let each = points.div_ceil(PIECES_PER_REPLICATE);
        let mut gathered = Gathered::new(case);
        let mut pilot = Pilot::default();
        for point in part * each..((part + 1) * each).min(points) {
            if stop.load(Ordering::Relaxed) {
                break;
            }
            let (kind, seed, flight) = (question.points, question.seed, point * REPLICATES + replicate);
            let points = [Point::Own, Point::Other].map(|p| Numbers::at(kind, seed, flight, p));
            let exchanged = Group::ALL.map(|group| Numbers::exchanged(kind, seed, flight, group));
            let drawn: Vec<_> =
                points.iter().chain(&exchanged).map(|numbers| draw(case, numbers, &Shift::NONE)).collect();
            let flown = pilot.fly(&drawn, &question.ways);
            if let [own, other, exchanged @ ..] = flown.as_slice() {
                gathered.add(own, other, exchanged, case);
            }
        }
        gathered
    };
    let pieces: Vec<Gathered> = (0..REPLICATES * PIECES_PER_REPLICATE).into_par_iter().map(piece).collect();
    let replicates: Vec<Gathered> = pieces
        .chunks(PIECES_PER_REPLICATE as usize)
        .map(|parts| {
            let mut whole = Gathered::new(case);
            parts.iter().for_each(|part| whole.merge(part));
            whole
        })
        .collect();
    (!stop.load(Ordering::Relaxed)).then(|| drivers::found(case, base_flights, &replicates))
}

/// Cord and tube edge, from flights of the assessment: flown once more as far as they eject, so that nothing else costs
/// more for it.
fn cords(frame: &Frame, plan: &CordPlan, flights: Range<u64>, stop: &AtomicBool) -> Option<CordsReport> {
    let case = frame.case;
    let question = &case.inputs.question;
    let add = |tally: &mut CordTally, flights: Range<u64>, pilot: &mut Pilot| {
        let drawn = drawn(case, flights.clone(), &Shift::NONE);
        let ejections = pilot.fly_ejections(&drawn, &asked(case, frame.curve_s));
        for ((flight, (drawn, events)), ejections) in flights.zip(&drawn).zip(&ejections) {
            let numbers = Numbers::of(question.points, question.seed, flight);
            let halves = Halves::of(plan, drawn, events, &numbers);
            tally.add(plan, &halves, ejections, drawn, flight);
        }
    };
    let none = || CordTally::new(plan, question.ways.len());
    Some(in_batches(flights, stop, none, add, CordTally::merge)?.report(plan, case))
}

/// Flights flown for each failure: enough for the cloud it makes, as many of each scramble. All failures together cost a
/// fifth as much again.
fn flights_per_failure(flights: u64) -> u64 {
    (flights / 16).next_multiple_of(REPLICATES).clamp(96, 2048).min(flights)
}

/// What an assessment flies.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub struct Work {
    /// Ascents.
    pub ascents: u64,
    /// Descents, one a way of deploying or failure.
    pub descents: u64,
    /// Pulls on a cord.
    pub pulls: u64,
    /// Flights weighed under a set of bias and scatter.
    pub weighings: u64,
}

impl core::ops::AddAssign for Work {
    fn add_assign(&mut self, other: Self) {
        self.ascents = self.ascents.saturating_add(other.ascents);
        self.descents = self.descents.saturating_add(other.descents);
        self.pulls = self.pulls.saturating_add(other.pulls);
        self.weighings = self.weighings.saturating_add(other.weighings);
    }
}

/// The work of a cell: its flights, and a descent for each way of deploying.
pub fn work_of_cell(case: &Case) -> Work {
    let question = &case.inputs.question;
    Work { ascents: question.flights, descents: question.flights * question.ways.len() as u64, ..Work::default() }
}

/// The work of an assessment, the most of it where it may end sooner. Which way of deploying the failures are flown with
/// is known only after it; any of them costs about as much.
pub fn work(case: &Case) -> Work {
    let question = &case.inputs.question;
    let shifts =
        SHIFTS.len() as u64 + u64::from(question.until_half_width.is_some()) + u64::from(case.calibration.is_some());
    // For their chances alone hardly any descents are flown.
    let for_chances = shifts * flights_per_shift(question.flights);
    let whole = question.flights + question.drivers.map_or(0, drivers::flights) + settings::flights(question);
    let sought = rare::flights(question);
    let failing = flights_per_failure(question.flights);
    let possible = Failure::ALL.iter().filter(|f| question.ways.first().is_some_and(|way| case.can_fail(**f, way)));
    let alone = possible.clone().filter(|f| f.changes_ascent()).count() as u64;
    // As far as they eject for the cords, which takes no descent.
    let for_cords = cord::flights(case);
    let mut work = Work {
        ascents: whole + for_chances + for_cords + (1 + alone) * failing + sought,
        descents: whole * question.ways.len() as u64 + possible.count() as u64 * failing + sought,
        pulls: for_cords * cord::pulls(case),
        weighings: 0,
    };
    work += work_of_learning(case);
    work
}

/// The work of learning from flights flown, the most of it: it ends once sets that agree with all logs are found.
pub fn work_of_learning(case: &Case) -> Work {
    let Some(plan) = &case.calibration else { return Work::default() };
    /// A log that is held against a flight costs so many times less than weighing it.
    const PER_LOG: u64 = 3;
    /// One after the other such a top takes so many times what one descent takes beside others.
    const DESCENTS_PER_TOP: u64 = 3;
    let drawn = plan.drawn();
    let logs = plan.flown.len() as u64 * drawn / (PER_LOG * plan.conditions.len().max(1) as u64);
    // As far as they are logged on board: what opens on the way up is followed to its top by itself.
    let ways = plan.conditions.iter().map(|case| case.inputs.question.ways.len() as u64).sum::<u64>();
    let tops = DESCENTS_PER_TOP * ways * drawn / plan.conditions.len().max(1) as u64;
    Work { ascents: drawn, descents: tops, weighings: posterior::MOST_SETS as u64 * (drawn + logs), ..Work::default() }
}

/// The first batch of flights of a case: whoever counts what it takes learns what this rocket costs.
pub struct Sample<'a> {
    case: &'a Case,
    tally: Tally,
}

impl<'a> Sample<'a> {
    /// Flies it on this thread, as an assessment flies.
    pub fn fly(case: &'a Case) -> Self {
        let nominal = nominal(case);
        let curve_s = curve_of(case, &nominal);
        let frame = Frame { case, cell_m: cell_of(nominal.apogee_m), curve_s: &curve_s };
        let mut tally = Tally::new(&frame);
        count(core::slice::from_mut(&mut tally), &[frame], 0..BATCH, &Shift::NONE, &mut Pilot::default());
        Self { case, tally }
    }

    /// What was flown.
    pub fn work(&self) -> Work {
        let flights = self.tally.flights();
        Work { ascents: flights, descents: flights * self.case.inputs.question.ways.len() as u64, ..Work::default() }
    }

    /// What it comes to, as of a cell.
    pub fn report(&self) -> CellReport {
        cell_report(self.case, &self.tally)
    }
}

/// Flies every failure that this rocket can have, deployed one way.
fn failures(frame: &Frame, way: usize, flights: Range<u64>, stop: &AtomicBool) -> Option<Vec<FailureTally>> {
    let case = frame.case;
    let way = case.inputs.question.ways[way];
    let possible: Vec<Failure> = Failure::ALL.into_iter().filter(|f| case.can_fail(*f, &way)).collect();
    let none = || possible.iter().map(|f| FailureTally::new(*f, frame)).collect::<Vec<_>>();
    let add = |tallies: &mut Vec<FailureTally>, flights: Range<u64>, pilot: &mut Pilot| {
        let flown = with_each(case, &possible, &way, flights.clone(), pilot);
        for (tally, deployed) in tallies.iter_mut().zip(&flown) {
            deployed.iter().zip(flights.clone()).for_each(|(deployed, flight)| tally.add(deployed, case, flight));
        }
    };
    in_batches(flights, stop, none, add, |a, b| a.iter_mut().zip(b).for_each(|(a, b)| a.merge(b)))
}

/// Flights with each failure, failure by failure. Those that leave the ascent alone share one.
fn with_each(
    case: &Case,
    failures: &[Failure],
    way: &Deployment,
    flights: Range<u64>,
    pilot: &mut Pilot,
) -> Vec<Vec<Deployed>> {
    let question = &case.inputs.question;
    let (shared, alone): (Vec<Failure>, Vec<Failure>) = failures.iter().partition(|f| !f.changes_ascent());
    let groups = core::iter::once(shared.as_slice()).chain(alone.chunks(1)).filter(|group| !group.is_empty());
    let mut flown: Vec<(Failure, Vec<Deployed>)> = failures.iter().map(|f| (*f, Vec::new())).collect();
    for group in groups {
        let drawn: Vec<_> = flights
            .clone()
            .map(|flight| {
                let numbers = Numbers::of(question.points, question.seed, flight);
                let (drawn, events) = draw(case, &numbers, &Shift::failing(group[0]));
                (drawn, group.iter().map(|f| events.failing(*f)).collect())
            })
            .collect();
        for each in pilot.fly_each(&drawn, way) {
            for (failure, deployed) in group.iter().zip(each) {
                flown.iter_mut().filter(|(which, _)| which == failure).for_each(|(_, all)| all.push(deployed));
            }
        }
    }
    flown.into_iter().map(|(_, all)| all).collect()
}

/// Flies a range of flights of a case.
pub fn tally(frame: &Frame, flights: Range<u64>, shift: &Shift, stop: &AtomicBool) -> Option<Tally> {
    tallies(core::slice::from_ref(frame), flights, shift, stop)?.pop()
}

/// Flies a range of flights of the first of some cases that fly the same, and counts them for each.
fn tallies(frames: &[Frame], flights: Range<u64>, shift: &Shift, stop: &AtomicBool) -> Option<Vec<Tally>> {
    let add = |tallies: &mut Vec<Tally>, flights, pilot: &mut Pilot| count(tallies, frames, flights, shift, pilot);
    let none = || frames.iter().map(Tally::new).collect::<Vec<_>>();
    in_batches(flights, stop, none, add, |a, b| a.iter_mut().zip(b).for_each(|(a, b)| a.merge(b)))
}

/// Flies a batch of the first of some cases that fly the same, and counts it for each.
fn count(tallies: &mut [Tally], frames: &[Frame], flights: Range<u64>, shift: &Shift, pilot: &mut Pilot) {
    let flown = fly_range(&frames[0], flights.clone(), shift, pilot);
    for (tally, frame) in tallies.iter_mut().zip(frames) {
        flown.iter().zip(flights.clone()).for_each(|(flown, flight)| tally.add(flown, frame.case, flight));
    }
}

/// Counts a range of flights on all threads, batch by batch; `None` when `stop` was raised meanwhile.
fn in_batches<T: Send>(
    flights: Range<u64>,
    stop: &AtomicBool,
    none: impl Fn() -> T + Sync + Send,
    add: impl Fn(&mut T, Range<u64>, &mut Pilot) + Sync + Send,
    merge: impl Fn(&mut T, &T) + Sync + Send,
) -> Option<T> {
    let batches = (flights.end - flights.start).div_ceil(BATCH);
    let whole = (0..batches)
        .into_par_iter()
        .fold(
            || (none(), Pilot::default()),
            |(mut tally, mut pilot), batch| {
                if !stop.load(Ordering::Relaxed) {
                    let from = flights.start + batch * BATCH;
                    add(&mut tally, from..(from + BATCH).min(flights.end), &mut pilot);
                }
                (tally, pilot)
            },
        )
        .map(|(tally, _)| tally)
        .reduce(&none, |mut a, b| {
            merge(&mut a, &b);
            a
        });
    (!stop.load(Ordering::Relaxed)).then_some(whole)
}

/// Flies a range of flights of a case side by side.
pub fn fly_range(frame: &Frame, flights: Range<u64>, shift: &Shift, pilot: &mut Pilot) -> Vec<Flown> {
    pilot.fly_whole_law(&drawn(frame.case, flights, shift), &asked(frame.case, frame.curve_s))
}

fn drawn<'a>(case: &'a Case, flights: Range<u64>, shift: &Shift) -> Vec<(Drawn<'a>, Events)> {
    let question = &case.inputs.question;
    flights.map(|flight| draw(case, &Numbers::of(question.points, question.seed, flight), shift)).collect()
}

/// What is asked of every flight; the delays of a curve rise.
pub fn asked<'a>(case: &'a Case, curve_s: &'a [f64]) -> Asked<'a> {
    let question = &case.inputs.question;
    Asked {
        ways: &question.ways,
        limits_m_s: &question.limits_m_s,
        at_line_stretch: question.limit_applies == LimitApplies::LineStretch,
        laws: &case.firing,
        curve_s,
        curve_speeds: curve_speeds(curve_s, &question.ways),
    }
}

/// The nominal flight, without any deployment.
fn nominal(case: &Case) -> Flown {
    let (drawn, events) = draw(case, &Numbers::MIDDLE, &Shift::NONE);
    fly(&drawn, &events, &[], &mut Ascent::default())
}

/// The delays of a case's curve, s.
pub fn curve_s(case: &Case) -> Vec<f64> {
    curve_of(case, &nominal(case))
}

fn curve_of(case: &Case, nominal: &Flown) -> Vec<f64> {
    curve_delays_s(case, nominal.slowest.map(|slowest| slowest.delay_s))
}

/// One flight's chances: per way of deploying and limit, of firing over it and of an unsafe opening.
#[derive(Debug, Clone, PartialEq)]
pub struct FlightChances {
    /// Number of the flight.
    pub flight: u64,
    /// Whether the law of its firing was integrated.
    pub integrated: bool,
    /// Per way and limit: over, unsafe.
    pub ways: Vec<Vec<[f64; 2]>>,
}

/// The chances of the first flights of a case, whose means are those of a report of as many; `None` when `stop` was raised
/// meanwhile.
pub fn each_flight(case: &Case, flights: u64, stop: &AtomicBool) -> Option<Vec<FlightChances>> {
    chances(case, &curve_s(case), 0..flights, &Shift::NONE, stop)
}

/// The chances of a range of flights, by their number; nothing is flown that they do not depend on.
fn chances(
    case: &Case,
    curve_s: &[f64],
    flights: Range<u64>,
    shift: &Shift,
    stop: &AtomicBool,
) -> Option<Vec<FlightChances>> {
    let ways = case.inputs.question.ways.len();
    let fly = |flights: Range<u64>, pilot: &mut Pilot| {
        let fates = pilot.fly_chances(&drawn(case, flights.clone(), shift), &asked(case, curve_s));
        let of = |(fates, flight): (&Fates, u64)| {
            let ways = (0..ways).map(|way| limit_chances(fates.fate(way), way, case)).collect();
            FlightChances { flight, integrated: matches!(fates, Fates::Law(_)), ways }
        };
        fates.iter().zip(flights).map(of).collect()
    };
    in_order(flights, stop, fly)
}

/// Flies a range of flights of a round that seeks something rare, drawn from where it is sought, each fired as drawn; `None`
/// when `stop` was raised meanwhile.
pub fn tried(
    case: &Case,
    event: RareEvent,
    way: usize,
    round: &Round,
    flights: Range<u64>,
    stop: &AtomicBool,
) -> Option<Vec<Tried>> {
    let question = &case.inputs.question;
    let (seed, ways) = (seed_of_round(question.seed, round.number), &question.ways[way..=way]);
    let proposal = round.proposal;
    let fly = |flights: Range<u64>, pilot: &mut Pilot| {
        let (tried, drawn): (Vec<_>, Vec<_>) = flights
            .map(|flight| {
                let mut weight = 0.0;
                let numbers = Numbers::moved(question.points, seed, flight, proposal.dimensions(), |standard| {
                    weight = proposal.draw(flight / REPLICATES, standard);
                });
                let told = if round.searching { Box::from(numbers.standard()) } else { Box::default() };
                (Tried { numbers: told, weight, miss: f64::INFINITY }, draw(case, &numbers, &Shift::NONE))
            })
            .unzip();
        let missed =
            |(tried, flown): (Tried, Flown)| Tried { miss: rare::miss(case, event, &flown.deployed[0]), ..tried };
        tried.into_iter().zip(pilot.fly(&drawn, ways)).map(missed).collect()
    };
    in_order(flights, stop, fly)
}

/// What `fly` gives of each flight, flown on all threads, in their order; `None` when `stop` was raised meanwhile.
fn in_order<T: Clone + Send>(
    flights: Range<u64>,
    stop: &AtomicBool,
    fly: impl Fn(Range<u64>, &mut Pilot) -> Vec<T> + Sync + Send,
) -> Option<Vec<T>> {
    let add = |all: &mut Vec<(u64, Vec<T>)>, flights: Range<u64>, pilot: &mut Pilot| {
        all.push((flights.start, fly(flights, pilot)));
    };
    let mut all = in_batches(flights, stop, Vec::new, add, |a, b| a.extend_from_slice(b))?;
    all.sort_by_key(|batch| batch.0);
    Some(all.into_iter().flat_map(|batch| batch.1).collect())
}

/// Edge of the landing grid's cells: a two-hundredth of the nominal apogee, as a power of two metres, so
/// that it depends on the case alone.
pub fn cell_m(case: &Case) -> f64 {
    cell_of(nominal(case).apogee_m)
}

fn cell_of(apogee_m: f64) -> f64 {
    let mut cell = 0.25;
    while cell < apogee_m / 200.0 {
        cell *= 2.0;
    }
    cell
}

/// From the tally of all flights to the answer.
pub fn report(case: &Case, tally: &Tally, moves: Vec<Move>) -> Report {
    let question = &case.inputs.question;
    let ways = way_reports(case, tally, &SHARES);
    let (rail, flight) = (rail_report(tally), flight_report(tally));
    let delay_curve = curve_report(tally, case);
    let advice = advise::advice(case, tally, &ways, &delay_curve);
    let until = question.until_half_width.map(|half_width| until::ended(question, half_width, tally));
    let above_ceiling = case.inputs.site.ceiling_m.map(|_| tally.above_ceiling(question));
    let mut cautions = advise::cautions(case, &ways, rail.as_ref(), flight.as_ref(), above_ceiling.as_ref(), |k| {
        way_label(&question.ways[k])
    });
    cautions.extend(until.and_then(|until| advise::until_caution(&until, tally.flights())));
    Report {
        flights: tally.flights(),
        until,
        failures: FailuresReport {
            way: advice.lowest,
            included: Failure::ALL.map(|f| (f, case.failure_share(f))).into_iter().filter(|f| f.1 > 0.0).collect(),
            failures: Vec::new(),
        },
        advice,
        drivers: None,
        cords: None,
        calibration: None,
        wind_limit: None,
        rail_advice: None,
        rare: Vec::new(),
        cautions,
        above_ceiling,
        delay_curve,
        curve_estimator: tally.estimator(),
        ways,
        rail,
        flight,
        moves,
        assumed: case.assumed.clone(),
    }
}

fn way_reports(case: &Case, tally: &Tally, shares: &[f64]) -> Vec<WayReport> {
    (0..case.inputs.question.ways.len()).into_par_iter().map(|k| way_report(tally, k, case, shares)).collect()
}

/// Flies a case for its chances and landings alone: no changes of the model, no failures by themselves, no drivers, no
/// outlines on the ground, nothing learned that is not known yet. `None` when `stop` was raised meanwhile.
pub fn assess_cell(case: &Case, stop: &AtomicBool) -> Option<CellReport> {
    assess_cells(core::slice::from_ref(case), stop)?.pop()
}

/// Whether two cases fly the same flights: they differ in nothing but areas and the ceiling, which only count them.
pub fn same_flights(a: &Case, b: &Case) -> bool {
    let flown = |case: &Case| {
        let mut inputs = case.inputs.clone();
        (inputs.site.areas, inputs.site.ceiling_m) = (Vec::new(), None);
        inputs
    };
    flown(a) == flown(b)
}

/// As `assess_cell` of each, for cases that fly the same flights: they are flown once.
pub fn assess_cells(cases: &[Case], stop: &AtomicBool) -> Option<Vec<CellReport>> {
    let Some(first) = cases.first() else { return Some(Vec::new()) };
    let nominal = nominal(first);
    let curve_s = curve_of(first, &nominal);
    let cell_m = cell_of(nominal.apogee_m);
    let frames: Vec<Frame> = cases.iter().map(|case| Frame { case, cell_m, curve_s: &curve_s }).collect();
    let question = &first.inputs.question;
    let mut others: Vec<Tally> = frames[1..].iter().map(Tally::new).collect();
    let mut as_drawn = |flights| {
        let mut flown = tallies(&frames, flights, &Shift::NONE, stop)?;
        let first = flown.remove(0);
        others.iter_mut().zip(&flown).for_each(|(all, flown)| all.merge(flown));
        Some(first)
    };
    let mut all = vec![match question.until_half_width {
        None => as_drawn(0..question.flights)?,
        Some(half_width) => until::fly(question, half_width, as_drawn, |_| ())?,
    }];
    all.append(&mut others);
    Some(cases.iter().zip(&all).map(|(case, all)| cell_report(case, all)).collect())
}

fn cell_report(case: &Case, all: &Tally) -> CellReport {
    let question = &case.inputs.question;
    let ways = way_reports(case, all, &[]);
    let advice = advise::advice(case, all, &ways, &curve_report(all, case));
    CellReport {
        flights: all.flights(),
        until: question.until_half_width.map(|half_width| until::ended(question, half_width, all)),
        above_ceiling: case.inputs.site.ceiling_m.map(|_| all.above_ceiling(question)),
        ways,
        advice,
    }
}

/// A way of deploying in words.
pub fn way_label(way: &Deployment) -> String {
    let electronics = way.electronics.map(|e| match e {
        Electronics::Apogee => "altimeter at apogee".to_string(),
        Electronics::Height(m) => format!("altimeter at {} m coming down", crate::limits::plain(m)),
    });
    match (electronics, way.motor_delay_s) {
        (Some(e), Some(delay)) => format!("{e}, motor delay {delay} s behind it"),
        (Some(e), None) => e,
        (None, Some(delay)) => format!("delay {delay} s"),
        (None, None) => "no ejection".to_string(),
    }
}

/// One flight flown again, with its path.
#[derive(Debug, Clone)]
pub struct Replay {
    /// What it came to.
    pub flown: Flown,
    /// Its path without deployment.
    pub path: Vec<PathPoint>,
    /// What was drawn.
    pub drawn: Vec<DrawnInput>,
    /// What failed, if anything.
    pub failure: Option<Failure>,
}

/// A point of a path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PathPoint {
    /// Seconds after first thrust.
    pub time_s: f64,
    /// East of the pad, m.
    pub east_m: f64,
    /// North of the pad, m.
    pub north_m: f64,
    /// Height above the pad, m.
    pub height_above_pad_m: f64,
    /// Airspeed, m/s.
    pub airspeed_m_s: f64,
    /// Upward speed, m/s.
    pub vertical_speed_m_s: f64,
    /// Angle of the nose from vertical, degrees.
    pub nose_from_vertical_deg: f64,
}

/// A drawn input.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrawnInput {
    /// What it is.
    pub input: &'static str,
    /// Its unit; empty for a pure number.
    pub unit: &'static str,
    /// Its value in this flight.
    pub value: f64,
}

/// Flies one flight of a case again.
pub fn replay(case: &Case, flight: u64) -> Replay {
    let question = &case.inputs.question;
    let numbers = Numbers::of(question.points, question.seed, flight);
    let (drawn, events) = draw(case, &numbers, &Shift::NONE);
    let mut ascent = Ascent::default();
    let asked = asked(case, &[]);
    let flown = fly_whole_law(&drawn, &events, &asked, &mut ascent);
    let watched = events.watched(&question.ways, Some(&asked), &drawn);
    fly_ascent(&drawn, Watchfulness { to_ground: true, ..watched }, 1.0, &mut ascent);
    let path = ascent
        .path
        .nodes
        .iter()
        .map(|n| {
            let at = ascent.path.at(n.time_s);
            PathPoint {
                time_s: n.time_s,
                east_m: n.position_m[0],
                north_m: n.position_m[1],
                height_above_pad_m: n.position_m[2],
                airspeed_m_s: at.airspeed_m_s(&drawn.wind),
                vertical_speed_m_s: n.velocity_m_s[2],
                nose_from_vertical_deg: libm::acos(n.nose[2].clamp(-1.0, 1.0)).to_degrees(),
            }
        })
        .collect();
    let full = drawn.mass.at(0.0);
    let (east, north) = drawn.wind.at(10.0);
    let values = [
        ("impulse", "N s", drawn.thrust.impulse_n_s()),
        ("burnout after first thrust", "s", drawn.thrust.burnout_s()),
        ("lift-off mass", "kg", full.mass_kg),
        ("centre of gravity at lift-off", "m", full.cg_m),
        ("drag factor", "", drawn.drag_factor),
        ("wind at 10 m towards east", "m/s", east),
        ("wind at 10 m towards north", "m/s", north),
        ("air density at the pad", "kg/m^3", drawn.air.at(0.0).0),
        ("ejection to line stretch", "s", events.line_stretch_lag_s),
        ("drag area of what opens first", "m^2", events.stages.first.drag_area_m2),
        ("roll rate", "rad/s", drawn.misalignment.roll_rate_rad_s),
    ];
    let failure = events.failing.map(|f| f.failure);
    let of_ensemble = !case.other_winds.is_empty();
    let member = of_ensemble
        .then(|| ("member of the wind, from 1", "", 1.0 + case.member(numbers.uniform(Slot::Member)) as f64));
    let values = values.into_iter().chain(member);
    Replay {
        flown,
        path,
        failure,
        drawn: values.map(|(input, unit, value)| DrawnInput { input, unit, value }).collect(),
    }
}
