//! What is kept of cords and the tube's edge.

use super::chances::{Chances, scaled, share};
use super::{Apart, Hits, add_hits, bins};
use crate::case::Case;
use crate::cord::{CordPlan, Halves};
use crate::draw::REPLICATES;
use crate::flight::{Drawn, Ejection, NODES};
use crate::report::{CordsReport, PullReport, Quantiles};
use crate::stat::histogram::Histogram;
use crate::stat::interval::Estimator;
use crate::stat::paired::{Compared, Differences, Pairs};

/// By how much the wall's resistance is off in what is told beside the chance that it tears.
const WALL_OFF: [f64; 2] = [0.5, 2.0];

/// Pulls of one arrangement in one way of deploying.
#[derive(Debug, Clone, PartialEq)]
struct Pulls {
    log_tension: Histogram,
    tears: Chances,
    breaks: Chances,
    /// Of walls that bear half, and twice as much.
    tears_off: [Chances; 2],
    /// Chances that it tears, against those of the first arrangement.
    apart: Apart,
}

/// Pulls on every arrangement in every way of deploying.
#[derive(Debug, Clone, PartialEq)]
pub struct CordTally {
    flights: Hits,
    ways: Vec<Vec<Pulls>>,
}

impl CordTally {
    /// No flight yet.
    pub fn new(plan: &CordPlan, ways: usize) -> Self {
        let (low, width, count) = bins::LOG_TENSION;
        let pulls = Pulls {
            log_tension: Histogram::new(low, width, count),
            tears: Chances::default(),
            breaks: Chances::default(),
            tears_off: [Chances::default(), Chances::default()],
            apart: Apart::default(),
        };
        Self { flights: Hits::default(), ways: vec![vec![pulls; plan.arrangements.len()]; ways] }
    }

    /// Counts a flight by its ejections, per way at points of the law of firing that weigh alike: what the wall bears and
    /// the cord holds is integrated at each, so that no tear is drawn. Four points are as many as the airspeeds of the
    /// answer are made from; over a law as wide as a resistance's they leave the flights' own scatter to the interval.
    pub fn add(
        &mut self,
        plan: &CordPlan,
        halves: &Halves,
        ejections: &[Vec<Option<Ejection>>],
        drawn: &Drawn,
        flight: u64,
    ) {
        let replicate = (flight % REPLICATES) as usize;
        self.flights[replicate] += 1;
        for (way, ejections) in self.ways.iter_mut().zip(ejections) {
            let each = 1.0 / ejections.len() as f64;
            let times = (NODES / ejections.len()) as u64;
            let mut first_tears = None;
            for (pulls, arrangement) in way.iter_mut().zip(&plan.arrangements) {
                let (mut tears, mut breaks, mut off) = (0.0, 0.0, [0.0; 2]);
                for ejection in ejections.iter().flatten() {
                    let pull = arrangement.cord.pull(&halves.part_at(ejection, drawn));
                    let load_n_m = arrangement.edge_load_n_m(pull.tension_n);
                    tears += each * plan.wall.tears(load_n_m);
                    breaks += each * arrangement.breaks(&pull.strands_n, plan.strength_log_sd);
                    off.iter_mut().zip(WALL_OFF).for_each(|(sum, by)| *sum += each * plan.wall.tears(load_n_m / by));
                    pulls.log_tension.add_times(libm::log10(pull.tension_n), times);
                }
                let tears = scaled(tears);
                pulls.tears.add(tears, replicate);
                pulls.breaks.add(scaled(breaks), replicate);
                pulls.tears_off.iter_mut().zip(off).for_each(|(sum, off)| sum.add(scaled(off), replicate));
                pulls.apart.add(*first_tears.get_or_insert(tears), tears);
            }
        }
    }

    /// Adds the flights of another tally of the same case.
    pub fn merge(&mut self, other: &Self) {
        add_hits(&mut self.flights, &other.flights);
        for (a, b) in self.ways.iter_mut().flatten().zip(other.ways.iter().flatten()) {
            a.log_tension.merge(&b.log_tension);
            a.tears.merge(&b.tears);
            a.breaks.merge(&b.breaks);
            a.tears_off.iter_mut().zip(&b.tears_off).for_each(|(a, b)| a.merge(b));
            a.apart.merge(&b.apart);
        }
    }

    /// The report.
    pub fn report(&self, plan: &CordPlan, case: &Case) -> CordsReport {
        let flights = self.flights.iter().sum::<u64>();
        let question = &case.inputs.question;
        let chance = |of: &Chances| of.chance(&self.flights, question, Estimator::EdgeIntegrated);
        let pulls = |(k, pulls): (usize, &Pulls), first: &Pulls| {
            let arrangement = &plan.arrangements[k];
            let tension_n = Quantiles::of(|p| pulls.log_tension.quantile(p, None).map(newtons));
            PullReport {
                tension_n,
                edge_load_n_m: tension_n.map(|t| t.each(|n| arrangement.edge_load_n_m(n))),
                tears: chance(&pulls.tears),
                tears_if_wall_off: WALL_OFF.into_iter().zip(pulls.tears_off.iter().map(chance)).collect(),
                breaks: chance(&pulls.breaks),
                against_first: (k > 0).then(|| self.compared(first, pulls, case)),
            }
        };
        CordsReport {
            flights,
            wall: plan.wall,
            arrangements: plan.arrangements.iter().map(|a| a.name.clone()).collect(),
            ways: self.ways.iter().map(|way| way.iter().enumerate().map(|p| pulls(p, &way[0])).collect()).collect(),
        }
    }

    fn compared(&self, first: &Pulls, other: &Pulls, case: &Case) -> Compared {
        let question = &case.inputs.question;
        let sums = |pulls: &Pulls, k: usize| share(pulls.tears.sums()[k]);
        let replicates = 0..self.flights.len();
        let worse = other.apart.sides();
        let differences = Differences {
            net: replicates.clone().map(|k| (sums(other, k) - sums(first, k), self.flights[k])).collect(),
            worse,
        };
        let squares = [first, other].map(|pulls| share(pulls.tears.squares()));
        let pairs = Pairs {
            sums: replicates.map(|k| ([sums(first, k), sums(other, k)], self.flights[k])).collect(),
            squares,
            product: 0.5 * (squares[0] + squares[1] - worse[0].squares - worse[1].squares),
        };
        Compared {
            ratio: pairs.ratio(question.points, question.confidence()),
            less: 1.0 - differences.ahead(question.points),
        }
    }
}

/// From the decimal logarithm; a cord that did not run out lies below every bin.
fn newtons(log: f64) -> f64 {
    if log <= bins::LOG_TENSION.0 { 0.0 } else { libm::exp10(log) }
}
