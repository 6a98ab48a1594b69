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

    /// Smallest and largest value that one flight in a million would see.
    pub fn reach(&self) -> (f64, f64) {
        match self {
            Self::Sample(v) => v.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |r, x| (r.0.min(*x), r.1.max(*x))),
            _ => (self.at(1e-6), self.at(1.0 - 1e-6)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn triangular_and_truncated_laws_end_where_they_say() {
        let t = Law::Triangular { low: 1.0, mode: 2.0, high: 5.0 };
        assert!((t.at(0.25) - 2.0).abs() < 1e-12, "a quarter of the area lies below the mode");
        let n = Law::TruncatedNormal { mean: 0.0, sd: 1.0, low: 4.0, high: 5.0 };
        // (CDF(4.2) - CDF(4)) / (CDF(5) - CDF(4)) with tail areas 3.1671242e-5, 1.3345749e-5, 2.8665157e-7
        // (SciPy norm.sf): 0.583955.
        assert!((n.at(0.583_955) - 4.2).abs() < 1e-4, "{}", n.at(0.583_955));
    }
}
