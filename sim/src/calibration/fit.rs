//! How likely the logs are under a bias and a scatter, from flights drawn once.

use super::{Calibrated, CalibrationPlan, Learned, Moved, Set, WIDER, set};
use crate::case::{Case, LOGS};
use crate::draw::REPLICATES;
use crate::flight::Flown as Flight;
use crate::report::{FlownReport, LoggedReport};
use crate::stat::posterior::{Unknowns, effective};

/// Flights whose agreement with a log is less than this share of the best one's are left out of it: one in a million.
const NEGLIGIBLE_LOG: f64 = -14.0;
/// Sets that weigh the flights for what is told of them.
const TOLD_SETS: usize = 256;
/// Quantiles that are told.
pub const TOLD: [f64; 3] = [0.05, 0.5, 0.95];

/// Share of flights that are drawn from the wide laws, wherever the rest is aimed at: no flight weighs more for a bad aim.
const WIDE_SHARE: f64 = 0.25;
const WIDE_EVERY: u64 = 4;
/// Aims are made so much wider than what is known.
const MARGIN: f64 = 1.2;

/// Where flights are drawn from that are to agree with logs.
#[derive(Debug, Clone, Copy)]
pub struct Aim(Set);

impl Aim {
    /// Anywhere that the laws may have them.
    pub const WIDE: Self = Self([Moved { bias: 0.0, scatter: WIDER }; 3]);

    /// Where flights lie by what is known so far.
    pub fn at(known: &Calibrated) -> Self {
        let count = known.sets().len() as f64;
        Self(core::array::from_fn(|k| {
            let mean = |of: &dyn Fn(Moved) -> f64| known.sets().iter().map(|set| of(set[k])).sum::<f64>() / count;
            let bias = mean(&|m| m.bias);
            let variance = mean(&|m| (m.bias - bias) * (m.bias - bias) + m.scatter * m.scatter);
            Moved { bias, scatter: MARGIN * variance.sqrt() }
        }))
    }

    /// Moves the numbers of a flight that `learned_by` names, as standard normals, before it is drawn.
    pub fn draw(&self, case: &Case, learned_by: &[(usize, Learned)], flight: u64, numbers: &mut [f64]) -> Aimed {
        let wide = (flight / REPLICATES).is_multiple_of(WIDE_EVERY);
        let from = if wide { &Self::WIDE } else { self };
        let mut sums = [[0.0; 2]; 3];
        for ((_, learned), number) in learned_by.iter().zip(numbers) {
            let Moved { bias, scatter } = from.0[*learned as usize];
            *number = bias + scatter * *number;
            let [sum, squares] = &mut sums[*learned as usize];
            (*sum, *squares) = (*sum + *number, *squares + *number * *number);
        }
        let counts = counts(case);
        let [wide, own] = [&Self::WIDE, self].map(|aim| Density::of(&counts, &aim.0).log(&sums));
        let most = wide.max(own);
        let mixed = WIDE_SHARE * libm::exp(wide - most) + (1.0 - WIDE_SHARE) * libm::exp(own - most);
        Aimed { sums, log_drawn: most + libm::log(mixed) }
    }
}

/// The numbers of a flight as they were drawn.
#[derive(Debug, Clone, Copy)]
pub struct Aimed {
    /// Of each that is learned: sum and sum of squares of its numbers, of which a cluster has several.
    sums: [[f64; 2]; 3],
    /// Logarithm of the density from which they were drawn.
    log_drawn: f64,
}

/// The numbers of a flight by which something is learned: their dimensions, rising, each with what it is.
pub fn learned_by(case: &Case) -> Vec<(usize, Learned)> {
    let mut all: Vec<(usize, Learned)> = Learned::ALL
        .into_iter()
        .filter(|learned| CalibrationPlan::learns(case, *learned))
        .flat_map(|learned| (0..motors(case, learned)).map(move |motor| (learned.slot(motor).dimension(), learned)))
        .collect();
    all.sort_by_key(|number| number.0);
    all
}

/// Of each that is learned in a case: how many numbers of a flight it has.
fn counts(case: &Case) -> [Option<f64>; 3] {
    Learned::ALL.map(|learned| CalibrationPlan::learns(case, learned).then(|| motors(case, learned) as f64))
}

/// Logarithm of the density of the numbers of a flight, up to a constant: a parabola of their sums.
struct Density {
    /// Per sum and per sum of squares.
    per: [[f64; 2]; 3],
    alone: f64,
}

impl Density {
    /// Under a set.
    fn of(counts: &[Option<f64>; 3], set: &Set) -> Self {
        let mut density = Self { per: [[0.0; 2]; 3], alone: 0.0 };
        for ((count, per), Moved { bias, scatter }) in counts.iter().zip(&mut density.per).zip(set) {
            if let Some(count) = count {
                let precision = 1.0 / (scatter * scatter);
                *per = [bias * precision, -0.5 * precision];
                density.alone -= count * (0.5 * bias * bias * precision + libm::log(*scatter));
            }
        }
        density
    }

    fn log(&self, sums: &[[f64; 2]; 3]) -> f64 {
        let each = self.per.iter().zip(sums);
        self.alone + each.map(|(per, sums)| per[0] * sums[0] + per[1] * sums[1]).sum::<f64>()
    }
}

/// A flight drawn in the conditions of a log.
#[derive(Debug, Clone)]
pub struct Met {
    numbers: Aimed,
    /// What it came to, per way of deploying, in the order of [`LOGS`]; NaN where it did not come to it.
    figures: Vec<[f64; LOGS.len()]>,
}

impl Met {
    /// From what it came to.
    pub fn new(numbers: Aimed, flight: &Flight) -> Self {
        let figures = flight.deployed.iter().map(|deployed| {
            let ejection =
                |figure: &dyn Fn(&crate::flight::Ejection) -> f64| deployed.ejection.as_ref().map_or(f64::NAN, figure);
            [flight.apogee_m, flight.apogee_s, ejection(&|e| e.time_s), ejection(&|e| e.airspeed_m_s)]
        });
        Self { numbers, figures: figures.collect() }
    }
}

/// Numbers of a flight that each is learned by.
fn motors(case: &Case, learned: Learned) -> usize {
    match learned {
        Learned::Impulse => case.motor.offsets_m.len(),
        _ => 1,
    }
}

/// The logs against flights drawn in their conditions.
pub struct Fit<'a> {
    plan: &'a CalibrationPlan,
    conditions: Vec<Condition>,
    /// Per flown flight: place of a flight among those kept of its conditions, and how well it agrees.
    agreeing: Vec<Vec<(u32, f64)>>,
}

/// Flights drawn in some conditions.
struct Condition {
    flights: Vec<Met>,
    /// Of each that is learned there: its numbers in a flight.
    counts: [Option<f64>; 3],
    /// Flights that agree with a log.
    kept: Vec<u32>,
}

impl Condition {
    /// How much likelier a set makes the numbers of flights than they were drawn.
    fn likelier<'f>(
        &'f self,
        flights: impl Iterator<Item = &'f Met> + 'f,
        set: &Set,
    ) -> impl Iterator<Item = f64> + 'f {
        let density = Density::of(&self.counts, set);
        flights.map(move |flight| libm::exp(density.log(&flight.numbers.sums) - flight.numbers.log_drawn))
    }
}

impl<'a> Fit<'a> {
    /// From the flights drawn in each of the conditions.
    pub fn new(plan: &'a CalibrationPlan, drawn: Vec<Vec<Met>>) -> Self {
        let mut agreeing: Vec<Vec<(u32, f64)>> = plan
            .flown
            .iter()
            .map(|flown| {
                let log = |met: &Met| {
                    let figures = &met.figures[flown.way];
                    let off = |(logged, figure): (&Option<[f64; 2]>, &f64)| {
                        logged.map_or(0.0, |[value, error]| {
                            -0.5 * ((figure - value) / error) * ((figure - value) / error)
                        })
                    };
                    flown.logged.iter().zip(figures).map(off).sum::<f64>()
                };
                let logs: Vec<f64> = drawn[flown.condition].iter().map(log).collect();
                let most = logs.iter().copied().filter(|log| log.is_finite()).fold(f64::NEG_INFINITY, f64::max);
                let near = logs.iter().enumerate().filter(|(_, log)| **log - most >= NEGLIGIBLE_LOG);
                near.map(|(k, log)| (k as u32, libm::exp(log - most))).collect()
            })
            .collect();
        let conditions = drawn.into_iter().zip(&plan.conditions).enumerate().map(|(condition, (flights, case))| {
            let of = plan.flown.iter().zip(&agreeing).filter(|(flown, _)| flown.condition == condition);
            let mut kept: Vec<u32> = of.flat_map(|(_, agreeing)| agreeing.iter().map(|a| a.0)).collect();
            kept.sort_unstable();
            kept.dedup();
            Condition { flights, counts: counts(case), kept }
        });
        let conditions: Vec<Condition> = conditions.collect();
        for (flown, agreeing) in plan.flown.iter().zip(&mut agreeing) {
            let kept = &conditions[flown.condition].kept;
            agreeing.iter_mut().for_each(|(k, _)| *k = kept.partition_point(|other| *other < *k) as u32);
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
            let kept = condition.kept.iter().map(|k| &condition.flights[*k as usize]);
            condition.likelier(kept, &set).collect()
        };
        let likelier: Vec<Vec<f64>> = self.conditions.iter().map(of).collect();
        let log = |(flown, agreeing): (&super::Flown, &Vec<(u32, f64)>)| {
            let likelier = &likelier[flown.condition];
            libm::log(agreeing.iter().map(|(k, agrees)| agrees * likelier[*k as usize]).sum::<f64>())
        };
        self.plan.flown.iter().zip(&self.agreeing).map(log).sum()
    }

    /// Each flown flight against what was drawn in its conditions, before and after.
    pub fn flown(&self, after: &Calibrated) -> Vec<FlownReport> {
        let few = (after.sets().len() / TOLD_SETS).max(1);
        let weights: Vec<[Vec<f64>; 2]> = self
            .conditions
            .iter()
            .map(|condition| {
                let before = [Moved { bias: 0.0, scatter: 1.0 }; 3];
                let mut mean = vec![0.0; condition.flights.len()];
                for set in after.sets().iter().step_by(few) {
                    let likelier = condition.likelier(condition.flights.iter(), set);
                    mean.iter_mut().zip(likelier).for_each(|(mean, likelier)| *mean += likelier);
                }
                [condition.likelier(condition.flights.iter(), &before).collect(), mean]
            })
            .collect();
        let one = |(flown, agreeing): (&super::Flown, &Vec<(u32, f64)>)| {
            let [before, after] = &weights[flown.condition];
            let Condition { flights, kept, .. } = &self.conditions[flown.condition];
            let counting: Vec<f64> =
                agreeing.iter().map(|(k, agrees)| agrees * after[kept[*k as usize] as usize]).collect();
            let logged = LOGS.into_iter().zip(flown.logged).filter_map(|(log, logged)| {
                let [value, error] = logged?;
                let figures: Vec<f64> = flights.iter().map(|f| f.figures[flown.way][log as usize]).collect();
                let told = |weights: &[f64]| quantiles(&figures, weights);
                Some(LoggedReport { log, value, error, before: told(before), after: told(after) })
            });
            FlownReport {
                condition: flown.condition,
                way: flown.way,
                effective_flights: effective(&counting),
                logged: logged.collect(),
            }
        };
        self.plan.flown.iter().zip(&self.agreeing).map(one).collect()
    }
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
