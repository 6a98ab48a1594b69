//! Distributions of uncertain inputs, as functions from a uniform number to a value.

use crate::stat::normal;

/// A distribution. Drawn by inverse distribution function, so that scrambled Sobol points keep their
/// evenness and one uniform number makes one value.
#[derive(Debug, Clone, PartialEq)]
pub enum Law {
    /// Always the same.
    Fixed(f64),
    /// Normal.
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation.
        sd: f64,
    },
    /// Normal, cut at both ends and scaled to whole probability.
    TruncatedNormal {
        /// Mean before the cut.
        mean: f64,
        /// Standard deviation before the cut.
        sd: f64,
        /// Lower end.
        low: f64,
        /// Upper end.
        high: f64,
    },
    /// The logarithm is normal.
    LogNormal {
        /// Median.
        median: f64,
        /// Standard deviation of the natural logarithm.
        log_sd: f64,
    },
    /// Uniform.
    Uniform {
        /// Lower end.
        low: f64,
        /// Upper end.
        high: f64,
    },
    /// Triangular.
    Triangular {
        /// Lower end.
        low: f64,
        /// Most likely value.
        mode: f64,
        /// Upper end.
        high: f64,
    },
    /// One of the given values, all alike.
    Sample(Vec<f64>),
}

/// So many standard deviations out lies what one flight in a million sees, either way: as far as laws are checked.
pub const REACH_DEVIATIONS: f64 = 4.753_424_308_822_899;
const REACH: f64 = 1e-6;

impl Law {
    /// The value at a uniform number strictly between 0 and 1.
    pub fn at(&self, u: f64) -> f64 {
        match *self {
            Self::Fixed(value) => value,
            Self::Normal { mean, sd } => mean + sd * normal::quantile(u),
            Self::TruncatedNormal { mean, sd, low, high } => {
                if sd <= 0.0 {
                    return mean.clamp(low, high);
                }
                let (a, b) = ((low - mean) / sd, (high - mean) / sd);
                // In the upper tail the distribution function is close to 1 and loses its digits: mirror it.
                let z = if a > 0.0 {
                    let (pa, pb) = (normal::cdf(-b), normal::cdf(-a));
                    -normal::quantile(pb - (pb - pa) * u)
                } else {
                    let (pa, pb) = (normal::cdf(a), normal::cdf(b));
                    normal::quantile(pa + (pb - pa) * u)
                };
                (mean + sd * z).clamp(low, high)
            }
            Self::LogNormal { median, log_sd } => median * libm::exp(log_sd * normal::quantile(u)),
            Self::Uniform { low, high } => low + (high - low) * u,
            Self::Triangular { low, mode, high } => {
                if high <= low {
                    return low;
                }
                let split = (mode - low) / (high - low);
                if u < split {
                    low + (u * (high - low) * (mode - low)).sqrt()
                } else {
                    high - ((1.0 - u) * (high - low) * (high - mode)).sqrt()
                }
            }
            Self::Sample(ref values) => {
                let k = (u * values.len() as f64) as usize;
                values.get(k.min(values.len().saturating_sub(1))).copied().unwrap_or(0.0)
            }
        }
    }

    /// What is wrong with the law's own numbers, if anything.
    pub fn fault(&self) -> Option<&'static str> {
        let finite = |v: &[f64]| v.iter().all(|x| x.is_finite());
        let bad = match self {
            Self::Fixed(v) => !finite(&[*v]),
            Self::Normal { mean, sd } => !finite(&[*mean, *sd]) || *sd < 0.0,
            Self::TruncatedNormal { mean, sd, low, high } => {
                !finite(&[*mean, *sd, *low, *high]) || *sd < 0.0 || low >= high
                    // Farther out nothing is left to scale up.
                    || (*sd > 0.0 && ((low - mean) / sd > 6.0 || (mean - high) / sd > 6.0))
            }
            Self::LogNormal { median, log_sd } => !finite(&[*median, *log_sd]) || *median <= 0.0 || *log_sd < 0.0,
            Self::Uniform { low, high } => !finite(&[*low, *high]) || low > high,
            Self::Triangular { low, mode, high } => !(finite(&[*low, *mode, *high]) && low <= mode && mode <= high),
            Self::Sample(v) => v.is_empty() || v.len() > 10_000 || !finite(v),
        };
        bad.then_some(match self {
            Self::Fixed(_) => "the value must be a finite number",
            Self::Normal { .. } => "the standard deviation must not be negative",
            Self::TruncatedNormal { .. } => "low must be below high, within six standard deviations of the mean",
            Self::LogNormal { .. } => "the median must be above zero and log_sd must not be negative",
            Self::Uniform { .. } => "low must not be above high",
            Self::Triangular { .. } => "low, mode and high must rise in this order",
            Self::Sample(_) => "a sample holds 1 to 10,000 finite numbers",
        })
    }

    /// Smallest and largest value that one flight in a million would see either way.
    pub fn reach(&self) -> (f64, f64) {
        match self {
            Self::Sample(v) => v.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |r, x| (r.0.min(*x), r.1.max(*x))),
            _ => (self.at(REACH), self.at(1.0 - REACH)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SciPy 1.14, `-norm.ppf(1e-6)`: 4.753424308822899.
    #[test]
    fn laws_are_checked_as_far_as_they_say() {
        assert!((normal::quantile(REACH) + REACH_DEVIATIONS).abs() < 1e-9);
    }

    #[test]
    fn triangular_and_truncated_laws_end_where_they_say() {
        let t = Law::Triangular { low: 1.0, mode: 2.0, high: 5.0 };
        assert!((t.at(0.25) - 2.0).abs() < 1e-12, "a quarter of the area lies below the mode");
        let n = Law::TruncatedNormal { mean: 0.0, sd: 1.0, low: 4.0, high: 5.0 };
        // (CDF(4.2) - CDF(4)) / (CDF(5) - CDF(4)) with tail areas 3.1671242e-5, 1.3345749e-5, 2.8665157e-7
        // (SciPy norm.sf): 0.583955.
        assert!((n.at(0.583_955) - 4.2).abs() < 1e-4, "{}", n.at(0.583_955));
    }

    /// Closed forms at the quartiles of the standard normal and at its 97.5 % point.
    #[test]
    fn laws_have_their_quantiles() {
        const QUARTILE: f64 = 0.674_489_750_196_081_7;
        let sample = Law::Sample(vec![3.0, -1.0, 8.0, 8.5]);
        for (law, u, want) in [
            (Law::Fixed(4.5), 0.1, 4.5),
            (Law::Normal { mean: 3.0, sd: 2.0 }, 0.75, 3.0 + 2.0 * QUARTILE),
            (Law::Normal { mean: 3.0, sd: 2.0 }, 0.025, 3.0 - 2.0 * 1.959_963_984_540_054),
            (Law::LogNormal { median: 3.0, log_sd: 0.2 }, 0.25, 3.0 * libm::exp(-0.2 * QUARTILE)),
            (Law::Uniform { low: -1.0, high: 3.0 }, 0.75, 2.0),
            // Areas (x - low)^2 / ((high - low) (mode - low)) below the mode, and the mirror image above.
            (Law::Triangular { low: 1.0, mode: 2.0, high: 5.0 }, 0.0625, 1.5),
            (Law::Triangular { low: 1.0, mode: 2.0, high: 5.0 }, 11.0 / 12.0, 4.0),
            (Law::Triangular { low: 2.0, mode: 2.0, high: 2.0 }, 0.3, 2.0),
            // Cut far out on either side: nothing is left of the cut. Then at the mean and at one quartile.
            (Law::TruncatedNormal { mean: 3.0, sd: 2.0, low: -17.0, high: 23.0 }, 0.75, 3.0 + 2.0 * QUARTILE),
            (Law::TruncatedNormal { mean: 3.0, sd: 2.0, low: 3.0, high: 23.0 }, 0.5, 3.0 + 2.0 * QUARTILE),
            (Law::TruncatedNormal { mean: 3.0, sd: 2.0, low: -17.0, high: 3.0 }, 0.5, 3.0 - 2.0 * QUARTILE),
            (Law::TruncatedNormal { mean: 3.0, sd: 0.0, low: 4.0, high: 5.0 }, 0.5, 4.0),
            (sample.clone(), 0.24, 3.0),
            (sample.clone(), 0.26, -1.0),
            (sample, 0.99, 8.5),
        ] {
            assert!((law.at(u) - want).abs() < 1e-12, "{law:?} at {u}: {}", law.at(u));
        }
        // The mirror image of the upper tail above.
        let lower = Law::TruncatedNormal { mean: 1.0, sd: 2.0, low: -9.0, high: -7.0 };
        assert!((lower.at(1.0 - 0.583_955) - (1.0 - 2.0 * 4.2)).abs() < 2e-4, "{}", lower.at(1.0 - 0.583_955));
    }

    /// Each law at the edge of what is sound and beyond it.
    #[test]
    fn senseless_numbers_are_faults() {
        const NAN: f64 = f64::NAN;
        let cut = |mean, sd, low, high| Law::TruncatedNormal { mean, sd, low, high };
        for sound in [
            Law::Fixed(-1.0),
            Law::Normal { mean: -1.0, sd: 0.0 },
            cut(0.0, 0.0, 8.0, 9.0),
            cut(1.0, 2.0, 13.0, 14.0),
            cut(1.0, 2.0, -14.0, -11.0),
            Law::LogNormal { median: 0.1, log_sd: 0.0 },
            Law::Uniform { low: 2.0, high: 2.0 },
            Law::Triangular { low: 2.0, mode: 2.0, high: 2.0 },
            Law::Sample(vec![1.0; 10_000]),
        ] {
            assert_eq!(sound.fault(), None, "{sound:?}");
        }
        for (bad, word) in [
            (Law::Fixed(NAN), "finite"),
            (Law::Normal { mean: 0.0, sd: -0.1 }, "deviation"),
            (Law::Normal { mean: NAN, sd: 0.1 }, "deviation"),
            (cut(0.0, -1.0, -1.0, 1.0), "six standard deviations"),
            (cut(0.0, 1.0, 1.0, 1.0), "six standard deviations"),
            (cut(1.0, 2.0, 13.1, 14.0), "six standard deviations"),
            (cut(1.0, 2.0, -14.0, -11.1), "six standard deviations"),
            (cut(0.0, 1.0, -1.0, f64::INFINITY), "six standard deviations"),
            (Law::LogNormal { median: 0.0, log_sd: 0.1 }, "median"),
            (Law::LogNormal { median: 1.0, log_sd: -0.1 }, "median"),
            (Law::LogNormal { median: NAN, log_sd: 0.1 }, "median"),
            (Law::Uniform { low: 2.0, high: 1.9 }, "low"),
            (Law::Uniform { low: NAN, high: 1.9 }, "low"),
            (Law::Triangular { low: 1.0, mode: 0.9, high: 2.0 }, "rise"),
            (Law::Triangular { low: 1.0, mode: 2.1, high: 2.0 }, "rise"),
            (Law::Triangular { low: f64::NEG_INFINITY, mode: 0.0, high: 2.0 }, "rise"),
            (Law::Sample(Vec::new()), "10,000"),
            (Law::Sample(vec![1.0; 10_001]), "10,000"),
            (Law::Sample(vec![1.0, NAN]), "10,000"),
        ] {
            assert!(bad.fault().is_some_and(|fault| fault.contains(word)), "{bad:?}: {:?}", bad.fault());
        }
    }

    #[test]
    fn reach_is_what_one_flight_in_a_million_sees() {
        assert_eq!(Law::Sample(vec![3.0, -1.0, 8.0]).reach(), (-1.0, 8.0));
        let (low, high) = Law::Normal { mean: 1.0, sd: 2.0 }.reach();
        assert!((low - (1.0 - 2.0 * 4.753_424_308_8)).abs() < 1e-9 && (low + high - 2.0).abs() < 1e-9, "{low} {high}");
    }
}
