//! How likely the logs are under a bias and a scatter, from flights drawn once.

use super::drawing::{Aimed, Counts, Density};
use super::{Calibrated, CalibrationPlan, Flown, Learned, Moved, Set, set};
use crate::case::{Case, LOGS};
use crate::flight::{Ejection, OnBoard};
use crate::report::{FlownReport, LoggedReport};
use crate::stat::posterior::{UNKNOWNS, Unknowns, effective};

/// Flights whose agreement with a log is less than this share of the best one's are left out of it: one in a million.
const NEGLIGIBLE_LOG: f64 = -14.0;
/// A drawn flight agrees with a log of which it misses no figure by more standard errors than this. However much better than
/// the rest: of what is drawn nowhere near a log nothing can be learned.
const AGREES_WITHIN: f64 = 4.0;
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

impl Condition {
    /// How much likelier a set makes the numbers of flights than they were drawn; 0 for those that are left out.
    fn likelier(&self, set: &Set, counted: impl Fn(usize) -> bool) -> Vec<f64> {
        let density = Density::of(&self.counts, set);
        let each = |(k, flight): (usize, &Met)| if counted(k) { density.likelier(&flight.numbers) } else { 0.0 };
        self.flights.iter().enumerate().map(each).collect()
    }
}

/// What flights of some conditions weigh.
pub struct Weighed {
    /// Each of them before anything is learned.
    before: Vec<f64>,
    /// And after it.
    after: Vec<f64>,
    /// Variance of the mean of each bias and scatter, for the number of flights drawn there.
    pub variance: Moments,
}

/// A figure of each bias and scatter of a set, in its order.
pub type Moments = [f64; UNKNOWNS];

fn figures_of(set: &Set) -> Moments {
    core::array::from_fn(|k| if k % 2 == 0 { set[k / 2].bias } else { set[k / 2].scatter })
}

/// Sets that weigh flights.
fn few(after: &Calibrated) -> impl Iterator<Item = &Set> {
    after.sets().iter().step_by((after.sets().len() / TOLD_SETS).max(1))
}

/// Standard error of each bias and scatter of what varies in a case, for the number of flights drawn, over the standard
/// deviation that all logs leave open of it; the largest.
pub fn sampling_error(weighed: &[Weighed], after: &Calibrated, case: &Case) -> f64 {
    let count = few(after).count() as f64;
    let mean = |k: usize, power: i32| {
        let figures = few(after).map(|set| figures_of(set)[k]);
        figures.map(|figure| if power == 2 { figure * figure } else { figure }).sum::<f64>() / count
    };
    let error = |k: usize| {
        let variance: f64 = weighed.iter().map(|w| w.variance[k]).sum();
        (variance / (mean(k, 2) - mean(k, 1) * mean(k, 1)).max(f64::MIN_POSITIVE)).sqrt()
    };
    (0..UNKNOWNS).filter(|k| Learned::ALL[k / 2].varies(&case.spread)).map(error).fold(0.0, f64::max)
}

impl<'a> Fit<'a> {
    /// From the flights drawn in each of the conditions, some to seek where logs lie, the last to learn from.
    pub fn new(plan: &'a CalibrationPlan, drawn: Vec<Vec<Met>>, seeks: bool) -> Self {
        let agreeing: Vec<_> = plan.flown.iter().map(|flown| agreeing(flown, &drawn[flown.condition], seeks)).collect();
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
        let kept = |condition: &Condition| condition.likelier(&set, |k| condition.kept[k]);
        let likelier: Vec<Vec<f64>> = self.conditions.iter().map(kept).collect();
        let log = |(flown, agreeing): (&Flown, &Vec<(u32, f64)>)| {
            let likelier = &likelier[flown.condition];
            libm::log(agreeing.iter().map(|(k, agrees)| agrees * likelier[*k as usize]).sum::<f64>())
        };
        self.plan.flown.iter().zip(&self.agreeing).map(log).sum()
    }

    /// Weighs the flights of some conditions.
    pub fn weighed(&self, condition: usize, after: &Calibrated) -> Weighed {
        let drawn = &self.conditions[condition];
        let none = || vec![0.0; drawn.flights.len()];
        let share = 1.0 / few(after).count() as f64;
        let (mut mean, mut middle) = (none(), [0.0; UNKNOWNS]);
        // The mean of an unknown errs by its covariance with how the logarithm of the likelihood hangs on a flight, as often
        // as that flight happened to be drawn more or less than once.
        let (mut pull, mut product) = (none(), [(); UNKNOWNS].map(|()| none()));
        for set in few(after) {
            let likelier = drawn.likelier(set, |_| true);
            let mut pulls = none();
            let own = self.plan.flown.iter().zip(&self.agreeing).filter(|(flown, _)| flown.condition == condition);
            for (_, agreeing) in own {
                let counts = |(k, agrees): &(u32, f64)| agrees * likelier[*k as usize];
                let all = agreeing.iter().map(counts).sum::<f64>().max(f64::MIN_POSITIVE);
                agreeing.iter().for_each(|a| pulls[a.0 as usize] += counts(a) / all);
            }
            let add = |to: &mut [f64], what: &[f64], times: f64| {
                to.iter_mut().zip(what).for_each(|(to, what)| *to += share * times * what);
            };
            add(&mut mean, &likelier, 1.0);
            add(&mut pull, &pulls, 1.0);
            for ((product, middle), figure) in product.iter_mut().zip(&mut middle).zip(figures_of(set)) {
                add(product, &pulls, figure);
                *middle += share * figure;
            }
        }
        let variance = |k: usize| {
            let each = product[k].iter().zip(&pull).map(|(product, pull)| product - middle[k] * pull);
            each.map(|covariance| covariance * covariance).sum()
        };
        Weighed {
            before: drawn.likelier(&[Moved { bias: 0.0, scatter: 1.0 }; 3], |_| true),
            after: mean,
            variance: core::array::from_fn(variance),
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

/// The flights that agree with a log, and how well: by no more than so many standard errors a figure, or none. Of flights
/// that seek where a log lies it is those that come nearest.
fn agreeing(flown: &Flown, drawn: &[Met], seeks: bool) -> Vec<(u32, f64)> {
    let log = |met: &Met| -> Option<f64> {
        let logged = flown.logged.iter().zip(&met.figures[flown.way]);
        let mut offs = logged.filter_map(|(logged, figure)| logged.map(|[value, error]| (figure - value) / error));
        offs.try_fold(0.0, |log, off| (seeks || off.abs() <= AGREES_WITHIN).then_some(log - 0.5 * off * off))
    };
    let logs = (0_u32..).zip(drawn).filter_map(|(k, met)| Some((k, log(met).filter(|log| log.is_finite())?)));
    let logs: Vec<(u32, f64)> = logs.collect();
    let most = logs.iter().map(|log| log.1).fold(f64::NEG_INFINITY, f64::max);
    let near = logs.into_iter().filter(|log| log.1 - most >= NEGLIGIBLE_LOG);
    near.map(|(k, log)| (k, libm::exp(log - most))).collect()
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
