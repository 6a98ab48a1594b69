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
/// N p = 50 would get the wide interval of the raw counts, and coverage there would be 98 % for points
/// whose replicates agree well (measured). At 32 no run at N p = 50 sees the change but one in 300.
const HITS_MIN: u64 = 32;

/// From this many hits and misses on, no limit on the width is promised.
const HITS_MANY: u64 = 50;

/// With fewer replicates Student's factor is so large (2.6 at 6, 12.7 at 2) that the raw counts are the
/// better interval.
const REPLICATES_MIN: usize = 8;

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
    Interval {
        lower: lower(k),
        upper: 1.0 - lower(n - k),
    }
}

/// Wilson's score interval for `k` hits in `n` flights (J. Am. Stat. Assoc. 22, 1927): coverage is
/// `confidence` on the average. No flight gives [0, 1]; more hits than flights count as all.
pub fn wilson(k: u64, n: u64, confidence: f64) -> Interval {
    if n == 0 {
        return Interval {
            lower: 0.0,
            upper: 1.0,
        };
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
/// Independent flights, and any with few hits or misses or fewer than eight replicates, get
/// [`clopper_pearson`] on the sums. For Sobol' points that is honest but too wide.
///
/// Otherwise the spread between replicates is used: the variance of the mean over replicates, divided
/// by that of as many independent flights, gives an effective number of flights (Korn and Graubard,
/// Survey Methodology 24, 1998, from memory), which goes into the score interval with Student's factor in place of
/// the normal one. For a chance in the middle that *is* Student's t interval; for a small one it
/// follows the skewness of a count, where the plain t interval misses upwards twice as often as
/// downwards. Replicates may differ in size: each hit counts the same.
///
/// The interval reaches at least sqrt(R) / N to both sides. A replicate's count is an integer, so it strays from
/// its expectation by rounding even if the points were perfectly even; that rounding has a standard
/// deviation of up to 1/2 in each of R independent counts, sqrt(R)/2 in their sum, and twice that is the
/// floor. So equal replicates (zero spread) never pretend to know the chance exactly.
pub fn chance(per_replicate: &[(u64, u64)], points: PointSet) -> Chance {
    let flown = || {
        per_replicate
            .iter()
            .filter(|replicate| replicate.1 > 0)
            .map(|&(hits, flights)| (hits.min(flights), flights))
    };
    let (hits, flights) = flown().fold((0u64, 0u64), |sum, replicate| {
        (
            sum.0.saturating_add(replicate.0),
            sum.1.saturating_add(replicate.1),
        )
    });
    let replicates = flown().count();
    let rarer = hits.min(flights - hits);
    let (interval, method) =
        if points == PointSet::Sobol && rarer >= HITS_MIN && replicates >= REPLICATES_MIN {
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
            let dispersion = if rarer < HITS_MANY {
                dispersion.min(DISPERSION_MAX)
            } else {
                dispersion
            };
            let t = student::two_sided(CONFIDENCE, replicates as u64 - 1);
            let floor = replicates.sqrt() / flights;
            let open = if dispersion > 0.0 {
                score(estimate, flights / dispersion, t)
            } else {
                Interval {
                    lower: estimate,
                    upper: estimate,
                }
            };
            let interval = Interval {
                lower: open.lower.min(estimate - floor).max(0.0),
                upper: open.upper.max(estimate + floor).min(1.0),
            };
            (interval, REPLICATE_SPREAD)
        } else {
            (
                clopper_pearson(hits, flights, CONFIDENCE),
                CLOPPER_PEARSON,
            )
        };
    Chance {
        estimate: if flights == 0 {
            0.0
        } else {
            hits as f64 / flights as f64
        },
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
    let half = z / (1.0 + shrink)
        * (estimate * (1.0 - estimate) / flights + 0.25 * shrink / flights).sqrt();
    Interval {
        lower: centre - half,
        upper: centre + half,
    }
}
