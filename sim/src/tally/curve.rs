//! The chance against the delay, from the same flights: what each would have come to at delays nobody asked about.

use super::chances::Chances;
use super::{LimitShares, Tally};
use crate::case::Case;
use crate::flight::{Deployment, WholeLaw};
use crate::report::{CurveChance, CurvePoint};

/// Most points of a curve.
const MOST_POINTS: usize = 64;
/// Steps that a reader can read off, s.
const STEPS_S: [f64; 7] = [0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0];
/// A curve goes on by so much beyond the delays asked and the nominal slowest instant, s.
const BEYOND_S: f64 = 2.0;

/// Delays of the curve of a case: round steps over the delays asked and the one that would open at the nominal slowest
/// instant; none where no way has only a motor's charge, or where failures have a share (a flight that fails was drawn
/// for the delays asked alone).
pub fn curve_delays_s(case: &Case, slowest_delay_s: Option<f64>) -> Vec<f64> {
    let question = &case.inputs.question;
    let alone = |way: &Deployment| way.motor_delay_s.filter(|_| way.electronics.is_none());
    let asked: Vec<f64> = question.ways.iter().filter_map(alone).collect();
    if asked.is_empty() || !case.inputs.failures.is_empty() {
        return Vec::new();
    }
    let all = || asked.iter().copied().chain(slowest_delay_s);
    let low = (all().fold(f64::INFINITY, f64::min) - BEYOND_S).max(0.0);
    let high = all().fold(0.0, f64::max) + BEYOND_S;
    let steps = |step: f64| [(low / step).floor(), (high / step).ceil()];
    let fits = |step: &f64| steps(*step)[1] - steps(*step)[0] < MOST_POINTS as f64;
    let Some(step) = STEPS_S.into_iter().find(fits) else { return Vec::new() };
    let [first, last] = steps(step).map(|k| k as u32);
    (first..=last).map(|k| f64::from(k) * step).collect()
}

/// What is kept of the curve.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct CurveTally {
    delays_s: Vec<f64>,
    /// Per delay and limit: over it, unsafe opening.
    chances: Vec<[Chances; 2]>,
}

impl CurveTally {
    pub fn new(delays_s: &[f64], limits: usize) -> Self {
        Self { delays_s: delays_s.to_vec(), chances: vec![<[Chances; 2]>::default(); delays_s.len() * limits] }
    }

    /// Adds a flight's chances.
    pub fn add(&mut self, law: &WholeLaw, case: &Case, replicate: usize) {
        let limits = case.inputs.question.limits_m_s.len();
        for (delay_s, chances) in self.delays_s.iter().zip(self.chances.chunks_mut(limits)) {
            let mut shares = LimitShares::default();
            law.windows.shares_of_delay(&case.firing, *delay_s, |window, share| shares.add(window, share, limits));
            for (k, [over, unsafe_opening]) in chances.iter_mut().enumerate() {
                over.add(shares.over[k], replicate);
                unsafe_opening.add(shares.unsafe_opening[k], replicate);
            }
        }
    }

    pub fn merge(&mut self, other: &Self) {
        for (a, b) in self.chances.iter_mut().flatten().zip(other.chances.iter().flatten()) {
            a.merge(b);
        }
    }
}

/// The curve, a point a delay; empty where there is none.
pub fn curve_report(tally: &Tally, case: &Case) -> Vec<CurvePoint> {
    let question = &case.inputs.question;
    let chance = |of: &Chances| of.chance(&tally.flights, question, tally.estimator());
    let limits = question.limits_m_s.len();
    let CurveTally { delays_s, chances } = &tally.curve;
    let point = |(delay_s, chances): (&f64, &[[Chances; 2]])| CurvePoint {
        delay_s: *delay_s,
        limits: question
            .limits_m_s
            .iter()
            .zip(chances)
            .map(|(limit_m_s, [over, unsafe_opening])| CurveChance {
                limit_m_s: *limit_m_s,
                over: chance(over),
                unsafe_opening: chance(unsafe_opening),
            })
            .collect(),
    };
    delays_s.iter().zip(chances.chunks(limits)).map(point).collect()
}
