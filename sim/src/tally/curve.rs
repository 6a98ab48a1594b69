//! The chance against the delay, from the same flights: what each would have come to at delays nobody asked about.

use super::chances::Chances;
use super::{Frame, LimitShares, Tally, bins};
use crate::case::{Case, LimitApplies};
use crate::flight::{Deployment, NODES, WholeLaw};
use crate::report::{CurveChance, CurvePoint, Quantiles};
use crate::stat::histogram::Histogram;

/// Most points of a curve.
const MOST_POINTS: usize = 64;
/// Most points of which airspeeds are kept besides those of the delays asked. Eight of them took 0.8 % more instructions
/// for an answer of 1,024 flights, so that these take some 1.2 %, and all of some 40 points would take 4 %.
const MOST_SPEEDS: u32 = 12;
/// Steps that a reader can read off, s.
const STEPS_S: [f64; 7] = [0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0];
/// A curve goes on by so much beyond the delays asked and the nominal slowest instant, s.
const BEYOND_S: f64 = 2.0;

/// Delays of the curve of a case: round steps over the delays asked and the one that would open at the nominal slowest
/// instant; none where no way has only a motor's charge, or where failures have a share (a flight that fails was drawn
/// for the delays asked alone).
pub fn curve_delays_s(case: &Case, slowest_delay_s: Option<f64>) -> Vec<f64> {
    let question = &case.inputs.question;
    let asked: Vec<f64> = question.ways.iter().filter_map(alone_s).collect();
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

/// The delay of a motor's charge that deploys alone, s.
fn alone_s(way: &Deployment) -> Option<f64> {
    way.motor_delay_s.filter(|_| way.electronics.is_none())
}

/// Points of a curve whose airspeeds have to be flown, a bit each: all that are not asked for anyway, or those at every
/// second, fourth ... of its steps counted from a delay of 0, so that they are not too many.
pub fn curve_speeds(curve_s: &[f64], ways: &[Deployment]) -> u64 {
    let [first_s, second_s, ..] = *curve_s else { return 0 };
    let begins = (first_s / (second_s - first_s)).round() as usize;
    let free = |k: &usize| !ways.iter().any(|way| alone_s(way) == Some(curve_s[*k]));
    let every = |steps: usize| -> u64 {
        let round = |k: &usize| (begins + k).is_multiple_of(steps);
        (0..curve_s.len().min(MOST_POINTS)).filter(round).filter(free).map(|k| 1 << k).sum()
    };
    let fits = |bits: &u64| bits.count_ones() <= MOST_SPEEDS;
    (0..=MOST_POINTS.ilog2()).map(|power| every(1 << power)).find(fits).unwrap_or(0)
}

/// What is kept of the curve.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct CurveTally {
    delays_s: Vec<f64>,
    /// Per delay and limit: over it, unsafe opening.
    chances: Vec<[Chances; 2]>,
    /// Airspeeds that limits are held against, at some of the delays.
    airspeeds: Vec<Option<Histogram>>,
}

impl CurveTally {
    pub fn new(frame: &Frame) -> Self {
        let (question, delays_s) = (&frame.case.inputs.question, frame.curve_s);
        let (low, width, count) = bins::AIRSPEED_M_S;
        let kept = curve_speeds(delays_s, &question.ways);
        let airspeeds = |k: usize| (kept >> k & 1 == 1).then(|| Histogram::new(low, width, count));
        Self {
            delays_s: delays_s.to_vec(),
            chances: vec![<[Chances; 2]>::default(); delays_s.len() * question.limits_m_s.len()],
            airspeeds: (0..delays_s.len()).map(airspeeds).collect(),
        }
    }

    /// Adds a flight's airspeeds; of one on the ground there is none.
    pub fn add_airspeeds(&mut self, airspeeds_m_s: &[[f64; NODES]]) {
        for (histogram, airspeeds_m_s) in self.airspeeds.iter_mut().flatten().zip(airspeeds_m_s) {
            airspeeds_m_s.iter().for_each(|m_s| histogram.add(*m_s));
        }
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
        for (a, b) in self.airspeeds.iter_mut().flatten().zip(other.airspeeds.iter().flatten()) {
            a.merge(b);
        }
    }
}

/// The curve, a point a delay; empty where there is none.
pub fn curve_report(tally: &Tally, case: &Case) -> Vec<CurvePoint> {
    let question = &case.inputs.question;
    let chance = |of: &Chances| of.chance(&tally.flights, question, tally.estimator());
    let limits = question.limits_m_s.len();
    let CurveTally { delays_s, chances, airspeeds: kept } = &tally.curve;
    let airspeeds = |delay_s: f64, kept: &Option<Histogram>| match kept {
        Some(histogram) => Quantiles::of(|p| histogram.quantile(p, None)),
        None => {
            let way = question.ways.iter().position(|way| alone_s(way) == Some(delay_s))?;
            let asked = match question.limit_applies {
                LimitApplies::Ejection => &tally.ways[way].airspeed,
                LimitApplies::LineStretch => &tally.ways[way].stretch,
            };
            Quantiles::of(|p| asked.quantile(p))
        }
    };
    let point = |((delay_s, chances), kept): ((&f64, &[[Chances; 2]]), &Option<Histogram>)| CurvePoint {
        delay_s: *delay_s,
        airspeed_m_s: airspeeds(*delay_s, kept),
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
    delays_s.iter().zip(chances.chunks(limits)).zip(kept).map(point).collect()
}
