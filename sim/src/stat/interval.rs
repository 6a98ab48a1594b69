//! Intervals of a chance from counted flights, honest at zero events.
//!
//! What is promised for 95 %: coverage of at least 93 % everywhere, at most 97.5 % where hits and misses
//! are both expected to number 50 or more, and elsewhere never wider than 1.5 times Clopper-Pearson.
//! They cover sampling alone: what the model does not know is not in them.

use super::{beta, normal, student};

/// The level of every interval that [`chance`] gives.
pub const CONFIDENCE: f64 = 0.95;

/// Below this many hits (or misses) the spread between replicates is not trusted and the raw counts
/// decide. Not 50: if the rule changed where the promise of at most 97.5 % begins, half the runs at
/// N p = 50 would get the wide interval of the raw counts, and coverage there would be 97.5 % or more for
/// points whose replicates agree well (measured). At 32 one run in 300 at N p = 50 sees the change.
const HITS_MIN: u64 = 32;

/// From this many hits and misses on, no limit on the width is promised.
const HITS_MANY: u64 = 50;

/// With fewer replicates the raw counts decide. At 8 the variance is known so badly that the interval
/// reaches 1.6 times Clopper-Pearson, and coverage falls to 92.4 % for points so even that only
/// rounding is left (measured); at 16 it is 93.3 % at least in every case tried.
const REPLICATES_MIN: usize = 16;

/// Bound on the variance relative to independent flights, applied below [`HITS_MANY`]: it keeps the
/// width below 1.5 times Clopper-Pearson (1.43 at most for 16 replicates), and 16 independent replicates
/// exceed it in 3 runs of 100.
const DISPERSION_MAX: f64 = 1.8;

/// A closed interval, within [0, 1] for a chance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
}

/// How the flights' inputs were drawn, as far as an interval needs to know.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PointSet {
    /// Independent flights: the raw counts are binomial.
    Pseudorandom,
    /// Scrambled Sobol' points in independent replicates: flights within one replicate are more even
    /// than chance, only the replicates are independent of each other.
    Sobol,
}

/// A chance with its 95 % interval and where both come from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Chance {
    /// Hits over flights; 0 where no flight was made (the interval then says that nothing is known).
    pub estimate: f64,
    /// Lower end of the interval.
    pub lower: f64,
    /// Upper end of the interval.
    pub upper: f64,
    /// Flights in which it happened.
    pub hits: u64,
    /// All flights.
    pub flights: u64,
    /// Which interval this is, in words for the report.
    pub method: &'static str,
}

/// The name of the interval from raw counts.
pub const CLOPPER_PEARSON: &str = "Clopper-Pearson on the raw counts";
/// The name of the interval from the spread between replicates.
pub const REPLICATE_SPREAD: &str = "Student t over independent replicates, score form";

/// Clopper and Pearson's "exact" interval for `k` hits in `n` flights (Biometrika 26, 1934): coverage
/// never falls below `confidence` for independent flights. No flight gives [0, 1]; more hits than
/// flights count as all.
pub fn clopper_pearson(k: u64, n: u64, confidence: f64) -> Interval {
    let k = k.min(n);
    let tail = 0.5 * (1.0 - confidence);
    // The upper end is the lower end of the misses, so that hits and misses are exact mirror images.
    let lower = |k: u64| match k {
        0 => 0.0,
        _ => beta::inverse(tail, k as f64, (n - k) as f64 + 1.0),
    };
    Interval { lower: lower(k), upper: 1.0 - lower(n - k) }
}

/// Wilson's score interval for `k` hits in `n` flights (J. Am. Stat. Assoc. 22, 1927): coverage is
/// `confidence` on the average. No flight gives [0, 1]; more hits than flights count as all.
pub fn wilson(k: u64, n: u64, confidence: f64) -> Interval {
    if n == 0 {
        return Interval { lower: 0.0, upper: 1.0 };
    }
    let k = k.min(n);
    let z = normal::quantile(0.5 + 0.5 * confidence);
    let open = score(k as f64 / n as f64, n as f64, z);
    // At the ends the formula gives 0 or 1 up to rounding.
    Interval {
        lower: if k == 0 { 0.0 } else { open.lower.max(0.0) },
        upper: if k == n { 1.0 } else { open.upper.min(1.0) },
    }
}

/// The 95 % interval of a chance from the (hits, flights) of each replicate.
///
/// Independent flights, and any with few hits or misses or fewer than sixteen replicates, get
/// [`clopper_pearson`] on the sums. For Sobol' points that is honest but too wide.
///
/// Otherwise the spread between replicates is used: the variance of the mean over replicates, divided
/// by that of as many independent flights, gives an effective number of flights (Korn and Graubard,
/// Survey Methodology 24, 1998, from memory), which goes into the score interval with Student's factor in place of
/// the normal one. For a chance in the middle that *is* Student's t interval; for a small one it
/// follows the skewness of a count. Replicates may differ in size: each hit counts the same.
///
/// The interval reaches at least sqrt(R) / N to both sides. A replicate's count is an integer, so it strays from
/// its expectation by rounding even if the points were perfectly even; that rounding has a standard
/// deviation of up to 1/2 in each of R independent counts, sqrt(R)/2 in their sum, and twice that is the
/// floor. So equal replicates (zero spread) never pretend to know the chance exactly. Where only rounding
/// is left (variance below a tenth of that of independent flights) the floor makes the interval cover 96
/// to 100 %: a count that hardly varies has no interval of exactly 95 %.
pub fn chance(per_replicate: &[(u64, u64)], points: PointSet) -> Chance {
    let flown = || {
        per_replicate.iter().filter(|replicate| replicate.1 > 0).map(|&(hits, flights)| (hits.min(flights), flights))
    };
    let (hits, flights) = flown()
        .fold((0u64, 0u64), |sum, replicate| (sum.0.saturating_add(replicate.0), sum.1.saturating_add(replicate.1)));
    let replicates = flown().count();
    let rarer = hits.min(flights - hits);
    let (interval, method) = if points == PointSet::Sobol && rarer >= HITS_MIN && replicates >= REPLICATES_MIN {
        let (hits, flights, replicates) = (hits as f64, flights as f64, replicates as f64);
        let estimate = hits / flights;
        let squares: f64 = flown()
            .map(|(h, n)| {
                let miss = h as f64 - n as f64 * estimate;
                miss * miss
            })
            .sum();
        // Both variances are of the total number of hits.
        let between = squares * replicates / (replicates - 1.0);
        let dispersion = between / (hits * (1.0 - estimate));
        let dispersion = if rarer < HITS_MANY { dispersion.min(DISPERSION_MAX) } else { dispersion };
        let t = student::two_sided(CONFIDENCE, replicates as u64 - 1);
        let floor = replicates.sqrt() / flights;
        let open = if dispersion > 0.0 {
            score(estimate, flights / dispersion, t)
        } else {
            Interval { lower: estimate, upper: estimate }
        };
        let interval = Interval {
            lower: open.lower.min(estimate - floor).max(0.0),
            upper: open.upper.max(estimate + floor).min(1.0),
        };
        (interval, REPLICATE_SPREAD)
    } else {
        (clopper_pearson(hits, flights, CONFIDENCE), CLOPPER_PEARSON)
    };
    Chance {
        estimate: if flights == 0 { 0.0 } else { hits as f64 / flights as f64 },
        lower: interval.lower,
        upper: interval.upper,
        hits,
        flights,
        method,
    }
}

/// All chances `p` from which the estimate is at most `z` of *their* standard errors away.
fn score(estimate: f64, flights: f64, z: f64) -> Interval {
    let shrink = z * z / flights;
    let centre = (estimate + 0.5 * shrink) / (1.0 + shrink);
    let half = z / (1.0 + shrink) * (estimate * (1.0 - estimate) / flights + 0.25 * shrink / flights).sqrt();
    Interval { lower: centre - half, upper: centre + half }
}

#[cfg(test)]
mod tests {
    use super::super::sampler::Sampler;
    use super::*;

    /// Newcombe, Statistics in Medicine 17 (1998) 857, table I (first four; figures from memory, recomputed)
    /// and the NIST/SEMATECH e-Handbook 7.2.4.1 (the fifth one's kind); the rest computed with SciPy from
    /// the same formulas, by others.
    #[test]
    fn published_intervals() {
        let rows = [
            (81, 263, 0.95, 0.255289, 0.366210, 0.252737, 0.367622),
            (15, 148, 0.95, 0.062386, 0.160487, 0.057844, 0.161650),
            (0, 20, 0.95, 0.0, 0.161125, 0.0, 0.168433),
            (4, 20, 0.90, 0.093118, 0.378377, 0.071354, 0.401028),
            (0, 1000, 0.95, 0.0, 0.003827, 0.0, 0.003682),
            (50, 1000, 0.95, 0.038130, 0.065314, 0.037335, 0.065390),
            (500, 1000, 0.95, 0.469070, 0.530930, 0.468549, 0.531451),
            (10, 10_000, 0.95, 0.000543, 0.001840, 0.000480, 0.001838),
            (1000, 1000, 0.95, 0.996173, 1.0, 0.996318, 1.0),
        ];
        for (k, n, confidence, a, b, c, d) in rows {
            let (w, e) = (wilson(k, n, confidence), clopper_pearson(k, n, confidence));
            for (ours, theirs) in [(w.lower, a), (w.upper, b), (e.lower, c), (e.upper, d)] {
                assert!((ours - theirs).abs() < 1e-6, "{k}/{n}: {ours} {theirs}");
            }
        }
    }

    #[test]
    fn ends_are_exact() {
        for interval in [clopper_pearson(0, 0, 0.95), wilson(0, 0, 0.95)] {
            assert_eq!((interval.lower, interval.upper), (0.0, 1.0));
        }
        for n in [1, 7, 1000, 1_000_000] {
            for (none, all) in
                [(clopper_pearson(0, n, 0.95), clopper_pearson(n, n, 0.95)), (wilson(0, n, 0.95), wilson(n, n, 0.95))]
            {
                assert_eq!((none.lower, all.upper), (0.0, 1.0));
                assert!((none.upper - (1.0 - all.lower)).abs() < 1e-15);
            }
            // Closed form at zero hits: 1 - (alpha / 2)^(1/n), about 3.69 / n.
            let exact = -libm::expm1(libm::log(0.025) / n as f64);
            let upper = clopper_pearson(0, n, 0.95).upper;
            assert!((upper / exact - 1.0).abs() < 1e-8, "{n} {upper} {exact}");
        }
    }

    fn independent(sampler: &mut Sampler, flights: u64, p: f64) -> Vec<(u64, u64)> {
        (0..16).map(|_| ((0..flights).filter(|_| sampler.uniform() < p).count() as u64, flights)).collect()
    }

    /// Systematic points in one coordinate that decides between "never", "always" and a ramp between:
    /// variance about 0.3 of the binomial one, as Sobol' points give.
    fn even(sampler: &mut Sampler, flights: u64, p: f64) -> Vec<(u64, u64)> {
        let ramp = 1.6 * p;
        (0..16)
            .map(|_| {
                let start = sampler.uniform();
                let hits = (0..flights).filter(|&flight| {
                    let x = (flight as f64 + start) / flights as f64;
                    sampler.uniform() < (p + 0.5 * ramp - x) / ramp
                });
                (hits.count() as u64, flights)
            })
            .collect()
    }

    /// Counts as even as rounding allows.
    fn rounding(sampler: &mut Sampler, flights: u64, p: f64) -> Vec<(u64, u64)> {
        let expected = flights as f64 * p;
        (0..16)
            .map(|_| {
                let up = sampler.uniform() < expected - expected.floor();
                (expected.floor() as u64 + u64::from(up), flights)
            })
            .collect()
    }

    /// The promise at the head of this file, on both sides of the change of rule. 4000 trials have a
    /// standard deviation of 0.35 %, so two of these are allowed.
    #[test]
    fn coverage() {
        type Draw = fn(&mut Sampler, u64, f64) -> Vec<(u64, u64)>;
        let samplers: [(Draw, bool); 3] = [(independent, true), (even, true), (rounding, false)];
        let mut sampler = Sampler(2024);
        for (draw, varies) in samplers {
            for expected in [3.0, 20.0, 31.0, 36.0, 44.0, 50.0, 58.0, 80.0] {
                let p = expected / 320.0;
                let mut covered = 0;
                for _ in 0..4000 {
                    let counts = draw(&mut sampler, 20, p);
                    let found = chance(&counts, PointSet::Sobol);
                    covered += u32::from(found.lower <= p && p <= found.upper);
                    let raw = clopper_pearson(found.hits, found.flights, CONFIDENCE);
                    if found.hits.min(found.flights - found.hits) < 50 {
                        assert!(found.upper - found.lower <= 1.5 * (raw.upper - raw.lower));
                    }
                    if found.hits < HITS_MIN {
                        assert_eq!(found.method, CLOPPER_PEARSON);
                    }
                }
                let share = f64::from(covered) / 4000.0;
                assert!(share >= 0.923, "{expected} {share}");
                if varies && expected >= 50.0 {
                    assert!(share <= 0.982, "{expected} {share}");
                }
            }
        }
    }

    #[test]
    fn equal_replicates_still_have_a_width() {
        let found = chance(&[(25, 100); 16], PointSet::Sobol);
        assert_eq!(found.method, REPLICATE_SPREAD);
        assert!((found.upper - found.estimate - 4.0 / 1600.0).abs() < 1e-15);
        assert!((found.estimate - found.lower - 4.0 / 1600.0).abs() < 1e-15);
    }

    /// In the middle and with many flights the score form is Student's plain interval:
    /// 16 replicates alternating 45 and 55 of 100 have a standard error of sqrt(25 16/15) / sqrt(16) %.
    #[test]
    fn many_flights_give_the_plain_t_interval() {
        let counts: Vec<(u64, u64)> = (0..16).map(|r| (45_000 + 10_000 * (r % 2), 100_000)).collect();
        let found = chance(&counts, PointSet::Sobol);
        let half = 2.131_449_545_559_323 * 0.05 / 15.0f64.sqrt();
        // The score form shrinks by 1 / sqrt(1 + t^2 / n), here n = 1500 effective flights.
        assert!(((found.upper - found.lower) / (2.0 * half) - 1.0).abs() < 2e-3);
        assert!((0.5 * (found.upper + found.lower) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn other_cases_use_the_raw_counts() {
        let counts = [(25, 100); 16];
        let raw = clopper_pearson(400, 1600, CONFIDENCE);
        let plain = chance(&counts, PointSet::Pseudorandom);
        assert_eq!((plain.lower, plain.upper, plain.method), (raw.lower, raw.upper, CLOPPER_PEARSON));
        assert_eq!(chance(&counts[..15], PointSet::Sobol).method, CLOPPER_PEARSON);
        let nothing = chance(&[], PointSet::Sobol);
        assert_eq!((nothing.lower, nothing.upper, nothing.flights), (0.0, 1.0, 0));
        // More hits than flights cannot be; they count as all.
        assert_eq!(chance(&[(9, 5), (0, 0)], PointSet::Sobol).estimate, 1.0);
    }

    /// Hits and misses are mirror images, and the order of replicates of one size does not matter but
    /// for rounding.
    #[test]
    fn mirror() {
        let hits = [7, 3, 5, 4, 6, 5, 5, 2, 8, 5, 4, 6, 7, 3, 5, 5];
        let counts: Vec<(u64, u64)> = hits.iter().map(|&h| (h, 40)).collect();
        let misses: Vec<(u64, u64)> = hits.iter().map(|&h| (40 - h, 40)).collect();
        let (a, b) = (chance(&counts, PointSet::Sobol), chance(&misses, PointSet::Sobol));
        assert!((a.lower - (1.0 - b.upper)).abs() < 1e-14 && (a.upper - (1.0 - b.lower)).abs() < 1e-14);
        assert!(a.lower > 0.0 && a.lower < a.estimate && a.estimate < a.upper);
    }
}
