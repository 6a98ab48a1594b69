//! How likely the logs are under a bias and a scatter, from flights drawn once.

use super::drawing::{Aimed, Counts, Density};
use super::{Calibrated, CalibrationPlan, Flown, Moved, Set, set};
use crate::case::LOGS;
use crate::flight::{Ejection, OnBoard};
use crate::report::{FlownReport, LoggedReport};
use crate::stat::posterior::{UNKNOWNS, Unknowns, effective};

/// Flights whose agreement with a log is less than this share of the best one's are left out of it: one in a million.
const NEGLIGIBLE_LOG: f64 = -14.0;
/// Sets that weigh the flights for what is told of them.
const TOLD_SETS: usize = 256;
/// Quantiles that are told.
pub const TOLD: [f64; 3] = [0.05, 0.5, 0.95];

/// A flight drawn in the conditions of a log.
#[derive(Debug, Clone)]
pub struct Met {
    numbers: Aimed,
    /// What it came to, per way of deploying, in the order of [`LOGS`]; NaN where it did not come to it.
    figures: Vec<[f64; LOGS.len()]>,
}

impl Met {
    /// From what would be logged of it, per way of deploying.
    pub fn new(numbers: Aimed, on_board: &[OnBoard]) -> Self {
        Self { numbers, figures: on_board.iter().map(figures).collect() }
    }
}

/// What would be logged, in the order of [`LOGS`]; NaN where there was nothing to log.
pub fn figures(on_board: &OnBoard) -> [f64; LOGS.len()] {
    let ejection = |figure: fn(&Ejection) -> f64| on_board.ejection.as_ref().map_or(f64::NAN, figure);
    [on_board.apogee_m, on_board.apogee_s, ejection(|e| e.time_s), ejection(|e| e.airspeed_m_s)]
}

/// The logs against flights drawn in their conditions.
pub struct Fit<'a> {
    plan: &'a CalibrationPlan,
    conditions: Vec<Condition>,
    /// Per flown flight: the flights drawn in its conditions that agree with it, and how well.
    agreeing: Vec<Vec<(u32, f64)>>,
}

/// Flights drawn in some conditions.
struct Condition {
    flights: Vec<Met>,
    counts: Counts,
    /// Whether a flight agrees with a log.
    kept: Vec<bool>,
}

/// What flights of some conditions weigh.
pub struct Weighed {
    /// Each of them before anything is learned.
    before: Vec<f64>,
    /// And after it.
    after: Vec<f64>,
    /// Of the logarithm of the likelihood of the logs that were flown there: how far one set's lies off another's because so
    /// many flights were drawn and no more, as a variance over sets that agree with all logs.
    variance: f64,
}

/// Error of an unknown for the number of flights drawn, over what all logs leave open of it, on average over all unknowns:
/// where the logarithm of a likelihood is a parabola, an error of it that is a slope moves its top by that slope, in
/// standard deviations.
pub fn sampling_error(weighed: &[Weighed]) -> f64 {
    let variance: f64 = weighed.iter().map(|w| w.variance).sum();
    (variance.max(0.0) / UNKNOWNS as f64).sqrt()
}

impl<'a> Fit<'a> {
    /// From the flights drawn in each of the conditions.
    pub fn new(plan: &'a CalibrationPlan, drawn: Vec<Vec<Met>>) -> Self {
        let agreeing: Vec<_> = plan.flown.iter().map(|flown| agreeing(flown, &drawn[flown.condition])).collect();
        let mut conditions: Vec<Condition> = drawn
            .into_iter()
            .zip(&plan.conditions)
            .map(|(flights, case)| Condition {
                kept: vec![false; flights.len()],
                counts: Counts::in_case(case),
                flights,
            })
            .collect();
        for (flown, agreeing) in plan.flown.iter().zip(&agreeing) {
            let kept = &mut conditions[flown.condition].kept;
            agreeing.iter().for_each(|(k, _)| kept[*k as usize] = true);
        }
        Self { plan, conditions, agreeing }
    }

    /// The set of bias and scatter that unknowns stand for.
    pub fn set(&self, unknowns: &Unknowns) -> Set {
        set(unknowns, self.plan.bias_share)
    }

    /// Logarithm of the likelihood of all logs, up to a constant.
    pub fn log_likelihood(&self, unknowns: &Unknowns) -> f64 {
        let set = self.set(unknowns);
        let of = |condition: &Condition| -> Vec<f64> {
            let density = Density::of(&condition.counts, &set);
            let flights = condition.flights.iter().zip(&condition.kept);
            flights.map(|(flight, kept)| if *kept { density.likelier(&flight.numbers) } else { 0.0 }).collect()
        };
        let likelier: Vec<Vec<f64>> = self.conditions.iter().map(of).collect();
        let log = |(flown, agreeing): (&Flown, &Vec<(u32, f64)>)| {
            let likelier = &likelier[flown.condition];
            libm::log(agreeing.iter().map(|(k, agrees)| agrees * likelier[*k as usize]).sum::<f64>())
        };
        self.plan.flown.iter().zip(&self.agreeing).map(log).sum()
    }

    /// Weighs the flights of some conditions.
    pub fn weighed(&self, condition: usize, after: &Calibrated) -> Weighed {
        let Condition { flights, counts, .. } = &self.conditions[condition];
        let of = |set: &Set| -> Vec<f64> {
            let density = Density::of(counts, set);
            flights.iter().map(|flight| density.likelier(&flight.numbers)).collect()
        };
        let sets = || after.sets().iter().step_by((after.sets().len() / TOLD_SETS).max(1));
        let share = 1.0 / sets().count() as f64;
        let [mut mean, mut pull] = [0, 1].map(|_| vec![0.0; flights.len()]);
        let mut squares = 0.0;
        for set in sets() {
            let likelier = of(set);
            // How the logarithm of the likelihood of all logs hangs on each flight.
            let mut pulls = vec![0.0; flights.len()];
            let own = self.plan.flown.iter().zip(&self.agreeing).filter(|(flown, _)| flown.condition == condition);
            for (_, agreeing) in own {
                let counts = |(k, agrees): &(u32, f64)| agrees * likelier[*k as usize];
                let all = agreeing.iter().map(counts).sum::<f64>().max(f64::MIN_POSITIVE);
                agreeing.iter().for_each(|a| pulls[a.0 as usize] += counts(a) / all);
            }
            mean.iter_mut().zip(&likelier).for_each(|(mean, likelier)| *mean += share * likelier);
            pull.iter_mut().zip(&pulls).for_each(|(mean, own)| *mean += share * own);
            squares += share * pulls.iter().map(|pull| pull * pull).sum::<f64>();
        }
        Weighed {
            before: of(&[Moved { bias: 0.0, scatter: 1.0 }; 3]),
            after: mean,
            variance: squares - pull.iter().map(|pull| pull * pull).sum::<f64>(),
        }
    }

    /// A flown flight against what was drawn in its conditions, before and after.
    pub fn flown(&self, index: usize, weighed: &[Weighed]) -> FlownReport {
        let flown = &self.plan.flown[index];
        let Weighed { before, after, .. } = &weighed[flown.condition];
        let flights = &self.conditions[flown.condition].flights;
        let counting: Vec<f64> = self.agreeing[index].iter().map(|(k, agrees)| agrees * after[*k as usize]).collect();
        let logged = LOGS.into_iter().zip(flown.logged).filter_map(|(log, logged)| {
            let [value, error] = logged?;
            let figures: Vec<f64> = flights.iter().map(|f| f.figures[flown.way][log as usize]).collect();
            let told = |weights: &[f64]| quantiles(&figures, weights);
            Some(LoggedReport { log, value, error, before: told(before), after: Some(told(after)) })
        });
        FlownReport {
            condition: flown.condition,
            way: flown.way,
            effective_flights: effective(&counting),
            logged: logged.collect(),
        }
    }
}

/// The flights that agree with a log, and how well; the best is 1.
fn agreeing(flown: &Flown, drawn: &[Met]) -> Vec<(u32, f64)> {
    let log = |met: &Met| {
        let off = |(logged, figure): (&Option<[f64; 2]>, &f64)| {
            logged.map_or(0.0, |[value, error]| -0.5 * ((figure - value) / error) * ((figure - value) / error))
        };
        flown.logged.iter().zip(&met.figures[flown.way]).map(off).sum::<f64>()
    };
    let logs: Vec<f64> = drawn.iter().map(log).collect();
    let most = logs.iter().copied().filter(|log| log.is_finite()).fold(f64::NEG_INFINITY, f64::max);
    let near = logs.iter().enumerate().filter(|(_, log)| **log - most >= NEGLIGIBLE_LOG);
    near.map(|(k, log)| (k as u32, libm::exp(log - most))).collect()
}

/// Quantiles of weighted figures, of which those that are no number are left out.
fn quantiles(figures: &[f64], weights: &[f64]) -> [f64; 3] {
    let mut all: Vec<(f64, f64)> =
        figures.iter().zip(weights).filter(|(figure, _)| figure.is_finite()).map(|(f, w)| (*f, *w)).collect();
    all.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let whole: f64 = all.iter().map(|a| a.1).sum();
    TOLD.map(|share| {
        let mut below = 0.0;
        let found = all.iter().find(|(_, weight)| {
            below += weight;
            below >= share * whole
        });
        found.map_or(f64::NAN, |(figure, _)| *figure)
    })
}
