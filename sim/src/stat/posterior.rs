//! What data say of a few unknown numbers: sets of them, drawn where they agree with the data and weighted (population Monte
//! Carlo: O. Cappe, A. Guillin, J.-M. Marin, C. P. Robert, J. Comput. Graph. Stat. 13, 2004, 907; from memory).
//!
//! The unknowns are standard normal before anything is known. Each round draws sets from a normal law, a quarter of them
//! from what was known before, and weighs them by the likelihood to a power that rises to 1 as fast as a quarter of a round
//! still counts (tempering); the next round's law is the mean and covariance of those. The last one is larger and is what
//! counts; how many equally weighted sets it is worth is told with it.

use core::ops::Range;

use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;
use rand_distr::{Distribution, Open01};

use super::normal;

/// Unknown numbers.
pub const UNKNOWNS: usize = 6;
/// A set of them.
pub type Unknowns = [f64; UNKNOWNS];

/// Sets of a round that seeks.
const ROUND: usize = 512;
/// Sets of the last one.
const LAST: usize = 4096;
/// The most rounds that seek.
const ROUNDS: u64 = 12;
/// Share of sets that are drawn as if nothing were known: none counts more than four times what it would then.
const NOMINAL: f64 = 0.25;
/// Share of a round that has to count.
const COUNTING: f64 = 0.25;
/// Factor on standard deviations: too wide costs little, too narrow misses the flanks.
const WIDER: f64 = 1.2;
/// Least variance of a direction, so that a few sets on a line still have a width.
const LEAST_VARIANCE: f64 = 1e-4;

/// The most sets whose likelihood is asked for.
pub const MOST_SETS: usize = ROUNDS as usize * ROUND + LAST;

/// What is known afterwards.
#[derive(Debug, Clone, PartialEq)]
pub struct Posterior {
    /// Sets that all count alike.
    pub sets: Vec<Unknowns>,
    /// How many sets of one weight what was drawn is worth (L. Kish's effective sample size).
    pub effective: f64,
}

/// Draws `keep` sets of what is known afterwards. `log_likelihood` is asked for many sets at a time; `None` when it gave
/// nothing.
pub fn posterior(
    seed: u64,
    keep: usize,
    mut log_likelihood: impl FnMut(&[Unknowns]) -> Option<Vec<f64>>,
) -> Option<Posterior> {
    let mut law = Law::BEFORE;
    for round in 0..ROUNDS {
        let sets = law.draw(seed, round, ROUND);
        let likelihoods = log_likelihood(&sets)?;
        let power = power(&law, &sets, &likelihoods);
        law = Law::of(&sets, &law.weights(&sets, &likelihoods, power));
        if power >= 1.0 {
            break;
        }
    }
    let sets = law.draw(seed, ROUNDS, LAST);
    let weights = law.weights(&sets, &log_likelihood(&sets)?, 1.0);
    Some(Posterior { effective: effective(&weights), sets: resampled(&sets, &weights, keep) })
}

/// A normal law from which sets are drawn, beside what was known before.
struct Law {
    mean: Unknowns,
    /// Lower triangle whose product with its transpose is the covariance.
    root: [Unknowns; UNKNOWNS],
}

impl Law {
    /// What was known before.
    const BEFORE: Self = {
        let mut root = [[0.0; UNKNOWNS]; UNKNOWNS];
        let mut i = 0;
        while i < UNKNOWNS {
            root[i][i] = 1.0;
            i += 1;
        }
        Self { mean: [0.0; UNKNOWNS], root }
    };

    /// From weighted sets.
    fn of(sets: &[Unknowns], weights: &[f64]) -> Self {
        let all: f64 = weights.iter().sum();
        if all <= 0.0 {
            return Self::BEFORE;
        }
        let mean: Unknowns =
            core::array::from_fn(|i| sets.iter().zip(weights).map(|(set, weight)| weight * set[i]).sum::<f64>() / all);
        let covariance: [Unknowns; UNKNOWNS] = core::array::from_fn(|i| {
            core::array::from_fn(|j| {
                let product = |(set, weight): (&Unknowns, &f64)| weight * (set[i] - mean[i]) * (set[j] - mean[j]);
                let own = if i == j { LEAST_VARIANCE } else { 0.0 };
                WIDER * WIDER * (sets.iter().zip(weights).map(product).sum::<f64>() / all + own)
            })
        });
        Self { mean, root: cholesky(&covariance) }
    }

    fn draw(&self, seed: u64, round: u64, count: usize) -> Vec<Unknowns> {
        let mut stream = ChaCha8Rng::seed_from_u64(seed);
        stream.set_stream(round);
        let set = |k: usize| {
            let own: Unknowns = core::array::from_fn(|_| normal::quantile(Open01.sample(&mut stream)));
            if (k as f64 + 0.5) * NOMINAL % 1.0 < NOMINAL {
                return own;
            }
            core::array::from_fn(|i| self.mean[i] + (0..=i).map(|j| self.root[i][j] * own[j]).sum::<f64>())
        };
        (0..count).map(set).collect()
    }

    /// Logarithm of how much likelier a set was drawn than it was before.
    fn log_likelier(&self, set: &Unknowns) -> f64 {
        let mut own = [0.0; UNKNOWNS];
        let mut log_ratio = 0.0;
        for i in 0..UNKNOWNS {
            let rest: f64 = (0..i).map(|j| self.root[i][j] * own[j]).sum();
            own[i] = (set[i] - self.mean[i] - rest) / self.root[i][i];
            log_ratio += 0.5 * (set[i] * set[i] - own[i] * own[i]) - libm::log(self.root[i][i]);
        }
        libm::log(NOMINAL + (1.0 - NOMINAL) * libm::exp(log_ratio.min(700.0)))
    }

    /// What each set counts, the heaviest 1.
    fn weights(&self, sets: &[Unknowns], log_likelihoods: &[f64], power: f64) -> Vec<f64> {
        let logs: Vec<f64> =
            sets.iter().zip(log_likelihoods).map(|(set, log)| power * log - self.log_likelier(set)).collect();
        let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        // What agrees with nothing has no number to a power of 0.
        let weight = |log: f64| if log > f64::NEG_INFINITY && most.is_finite() { libm::exp(log - most) } else { 0.0 };
        logs.into_iter().map(weight).collect()
    }
}

/// The highest power of the likelihood, up to 1, with which enough of a round counts.
fn power(law: &Law, sets: &[Unknowns], log_likelihoods: &[f64]) -> f64 {
    let enough = COUNTING * sets.len() as f64;
    let counts = |power: f64| effective(&law.weights(sets, log_likelihoods, power)) >= enough;
    if counts(1.0) {
        return 1.0;
    }
    let mut between = Range { start: 0.0, end: 1.0 };
    for _ in 0..30 {
        let middle = 0.5 * (between.start + between.end);
        if counts(middle) { between.start = middle } else { between.end = middle }
    }
    between.start
}

/// How many of one weight they are worth.
pub fn effective(weights: &[f64]) -> f64 {
    let (sum, squares) = weights.iter().fold((0.0, 0.0), |(sum, squares), w| (sum + w, squares + w * w));
    if squares > 0.0 { sum * sum / squares } else { 0.0 }
}

/// As many sets, each as often as its weight has it (systematic resampling).
fn resampled(sets: &[Unknowns], weights: &[f64], keep: usize) -> Vec<Unknowns> {
    let all: f64 = weights.iter().sum();
    let mut kept = Vec::with_capacity(keep);
    let mut below = 0.0;
    for (set, weight) in sets.iter().zip(weights) {
        below += weight / all;
        while kept.len() < keep && (kept.len() as f64 + 0.5) / keep as f64 <= below {
            kept.push(*set);
        }
    }
    // What rounding left over.
    while let Some(last) = sets.last().filter(|_| kept.len() < keep) {
        kept.push(*last);
    }
    kept
}

/// Lower triangle of a covariance.
fn cholesky(covariance: &[Unknowns; UNKNOWNS]) -> [Unknowns; UNKNOWNS] {
    let mut root = [[0.0; UNKNOWNS]; UNKNOWNS];
    for i in 0..UNKNOWNS {
        for j in 0..=i {
            let rest: f64 = (0..j).map(|k| root[i][k] * root[j][k]).sum();
            let left = covariance[i][j] - rest;
            root[i][j] = if i == j { left.max(LEAST_VARIANCE * LEAST_VARIANCE).sqrt() } else { left / root[j][j] };
        }
    }
    root
}

#[cfg(test)]
mod tests {
    use super::super::sampler::Sampler;
    use super::*;

    fn log_normal(off: f64) -> f64 {
        -0.5 * off * off
    }

    /// Mean and covariance of the sets.
    fn moments(sets: &[Unknowns]) -> (Unknowns, [Unknowns; UNKNOWNS]) {
        let law = Law::of(sets, &vec![1.0; sets.len()]);
        let product = |i: usize, j: usize| (0..UNKNOWNS).map(|k| law.root[i][k] * law.root[j][k]).sum::<f64>();
        let undone = |i, j| product(i, j) / (WIDER * WIDER) - if i == j { LEAST_VARIANCE } else { 0.0 };
        (law.mean, core::array::from_fn(|i| core::array::from_fn(|j| undone(i, j))))
    }

    /// Of sums of the unknowns seen with normal errors the posterior is a closed form (conjugate normal law, any textbook):
    /// precision 1 + a a^T / s^2 for each. With one sum of two unknowns the two are known together far better than alone.
    #[test]
    fn sums_seen_with_errors() {
        for (error, seen) in [(1.0, 0.8), (0.1, 1.5), (0.02, -3.0)] {
            let likelihood =
                |sets: &[Unknowns]| Some(sets.iter().map(|x| log_normal((x[0] + x[1] - seen) / error)).collect());
            let found = posterior(5, 4096, likelihood).unwrap_or_else(|| panic!("never stopped"));
            let (mean, covariance) = moments(&found.sets);
            // Of a sum with variance 2: gain 2 / (2 + error^2), half to each.
            let gain = 2.0 / (2.0 + error * error);
            let (each, own, shared) = (0.5 * gain * seen, 1.0 - 0.5 * gain, -0.5 * gain);
            let of_sum = covariance[0][0] + covariance[1][1] + 2.0 * covariance[0][1];
            assert!(found.effective > 1000.0, "{error}: {}", found.effective);
            // Standard error of a mean of so many: 0.02 and less; four of them.
            assert!((mean[0] - each).abs() < 0.08 && (mean[1] - each).abs() < 0.08, "{error}: {mean:?}, {each}");
            assert!((mean[0] + mean[1] - gain * seen).abs() < 0.1 * error.min(1.0), "{error}: {mean:?}");
            assert!(
                (covariance[0][0] - own).abs() < 0.06 && (covariance[0][1] - shared).abs() < 0.06,
                "{covariance:?}"
            );
            assert!((of_sum / (2.0 * (1.0 - gain)) - 1.0).abs() < 0.2, "{error}: {of_sum}");
            // What is not seen stays as it was.
            assert!(mean[2..].iter().all(|m| m.abs() < 0.1), "{mean:?}");
            assert!((2..UNKNOWNS).all(|i| (covariance[i][i] - 1.0).abs() < 0.12), "{covariance:?}");
        }
    }

    /// Truths drawn as before anything is known lie at every quantile of what is known afterwards alike (simulation-based
    /// calibration: S. Talts et al., arXiv 1804.06788, 2018; from memory), here of a product, which is no normal law.
    #[test]
    fn truths_lie_at_every_quantile_alike() {
        const TRUTHS: usize = 200;
        let mut sampler = Sampler(4);
        let mut quarters = [0_usize; 4];
        for _ in 0..TRUTHS {
            let truth: Unknowns = core::array::from_fn(|_| sampler.normal());
            let grows = |x: &Unknowns| x[0] * libm::exp(0.5 * x[1]);
            let seen: [f64; 3] = core::array::from_fn(|_| grows(&truth) + 0.3 * sampler.normal());
            let likelihood = |sets: &[Unknowns]| {
                let log = |x: &Unknowns| seen.iter().map(|y| log_normal((grows(x) - y) / 0.3)).sum();
                Some(sets.iter().map(log).collect())
            };
            let found = posterior(7, 512, likelihood).unwrap_or_else(|| panic!("never stopped"));
            let below = found.sets.iter().filter(|set| set[0] < truth[0]).count();
            quarters[(4 * below / 513).min(3)] += 1;
        }
        // 50 in each, give or take 6.1.
        assert!(quarters.iter().all(|n| n.abs_diff(TRUTHS / 4) <= 24), "{quarters:?}");
    }

    #[test]
    fn what_agrees_with_nothing_counts_nothing() {
        let none = posterior(1, 8, |sets| Some(vec![f64::NEG_INFINITY; sets.len()]));
        assert!(none.is_some_and(|none| none.effective == 0.0 && none.sets.len() == 8));
        assert!(posterior(1, 8, |_| None).is_none());
        assert_eq!(effective(&[1.0, 1.0, 0.0, 2.0]), 16.0 / 6.0);
    }
}
