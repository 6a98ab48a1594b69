//! How much of a law lies up to a value: the other way round than drawing, made ready once for many questions.

use super::Law;
use crate::stat::normal;

/// A law's distribution function.
#[derive(Debug, Clone, PartialEq)]
pub enum Mass {
    /// All of it on one value.
    Atom(f64),
    /// Normal, whole or cut: a standard normal's share up to (x - mean) / sd less `below`, over `whole`.
    Normal {
        /// Mean before a cut.
        mean: f64,
        /// One over the standard deviation before a cut; negative where the mirror image keeps more digits.
        per_sd: f64,
        /// Share of the whole normal below the cut.
        below: f64,
        /// Share between the cuts.
        whole: f64,
        /// Ends.
        ends: [f64; 2],
    },
    /// The logarithm is normal.
    LogNormal {
        /// One over the median.
        per_median: f64,
        /// One over the standard deviation of the logarithm.
        per_sd: f64,
    },
    /// Triangular; a uniform law is one.
    Pieces {
        /// Lower end, most likely value, upper end.
        corners: [f64; 3],
        /// Whether it is uniform instead.
        flat: bool,
    },
    /// Values of a sample in rising order.
    Sample(Vec<f64>),
}

/// A cut that leaves less than this of the normal asks for all digits of what is left.
const QUICK_FROM: f64 = 0.01;

impl Mass {
    /// Of a law.
    pub fn of(law: &Law) -> Self {
        let normal = |mean: f64, sd: f64, low: f64, high: f64| {
            let (a, b) = ((low - mean) / sd, (high - mean) / sd);
            // As the law draws: in the upper tail its mirror image.
            let (per_sd, from, to) = if a > 0.0 { (-1.0 / sd, -b, -a) } else { (1.0 / sd, a, b) };
            let below = normal::cdf(from);
            Self::Normal { mean, per_sd, below, whole: normal::cdf(to) - below, ends: [low, high] }
        };
        match *law {
            Law::Fixed(value) => Self::Atom(value),
            Law::Normal { mean, sd } if sd <= 0.0 => Self::Atom(mean),
            Law::Normal { mean, sd } => normal(mean, sd, f64::NEG_INFINITY, f64::INFINITY),
            Law::TruncatedNormal { mean, sd, low, high } if sd <= 0.0 => Self::Atom(mean.clamp(low, high)),
            Law::TruncatedNormal { mean, sd, low, high } => normal(mean, sd, low, high),
            Law::LogNormal { median, log_sd } if log_sd <= 0.0 => Self::Atom(median),
            Law::LogNormal { median, log_sd } => Self::LogNormal { per_median: 1.0 / median, per_sd: 1.0 / log_sd },
            Law::Uniform { low, high } | Law::Triangular { low, high, .. } if high <= low => Self::Atom(low),
            Law::Uniform { low, high } => Self::Pieces { corners: [low, low, high], flat: true },
            Law::Triangular { low, mode, high } => Self::Pieces { corners: [low, mode, high], flat: false },
            Law::Sample(ref values) => {
                let mut values = values.clone();
                values.sort_by(f64::total_cmp);
                Self::Sample(values)
            }
        }
    }

    /// Probability of at most `x`.
    #[inline]
    pub fn up_to(&self, x: f64) -> f64 {
        match self {
            Self::Atom(value) => f64::from(u8::from(*value <= x)),
            Self::Sample(values) => values.partition_point(|v| *v <= x) as f64 / values.len() as f64,
            _ => self.smooth(x),
        }
    }

    /// Probability of less than `x`.
    #[inline]
    pub fn below(&self, x: f64) -> f64 {
        match self {
            Self::Atom(value) => f64::from(u8::from(*value < x)),
            Self::Sample(values) => values.partition_point(|v| *v < x) as f64 / values.len() as f64,
            _ => self.smooth(x),
        }
    }

    /// Where there are no atoms.
    #[inline]
    fn smooth(&self, x: f64) -> f64 {
        match *self {
            Self::Normal { mean, per_sd, below, whole, ends: [low, high] } => {
                if x <= low {
                    return 0.0;
                }
                if x >= high {
                    return 1.0;
                }
                let z = (x - mean) * per_sd;
                let upto = if whole > QUICK_FROM { normal::quick_cdf(z) } else { normal::cdf(z) };
                let share = ((upto - below) / whole).clamp(0.0, 1.0);
                if per_sd < 0.0 { 1.0 - share } else { share }
            }
            Self::LogNormal { per_median, per_sd } => {
                if x > 0.0 {
                    normal::quick_cdf(libm::log(x * per_median) * per_sd)
                } else {
                    0.0
                }
            }
            Self::Pieces { corners: [low, mode, high], flat } => {
                if x <= low {
                    0.0
                } else if x >= high {
                    1.0
                } else if flat {
                    (x - low) / (high - low)
                } else if x < mode {
                    (x - low) * (x - low) / ((high - low) * (mode - low))
                } else {
                    1.0 - (high - x) * (high - x) / ((high - low) * (high - mode))
                }
            }
            Self::Atom(_) | Self::Sample(_) => 0.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::distribution::{ContinuousCDF, LogNormal, Normal, Triangular, Uniform};

    /// Every law without atoms against the function that draws it, and whole ones against an outside library.
    #[test]
    fn undoes_the_draw() {
        let cut = |mean, sd, low, high| Law::TruncatedNormal { mean, sd, low, high };
        for law in [
            Law::Normal { mean: -2.0, sd: 0.7 },
            cut(1.0, 0.5, 0.2, 3.0),
            cut(0.0, 1.0, 4.0, 5.0),
            cut(1.0, 2.0, -11.0, -7.0),
            cut(1.0, 2.0, 13.0, 14.0),
            Law::LogNormal { median: 0.8, log_sd: 0.3 },
            Law::Uniform { low: -1.0, high: 4.0 },
            Law::Triangular { low: 0.0, mode: 0.3, high: 1.5 },
            Law::Triangular { low: 0.0, mode: 0.0, high: 1.0 },
            Law::Triangular { low: 0.0, mode: 1.0, high: 1.0 },
        ] {
            let mass = Mass::of(&law);
            for k in 1..2000 {
                let u = f64::from(k) / 2000.0;
                let x = law.at(u);
                assert!((mass.up_to(x) - u).abs() < 1e-9, "{law:?} {u}: {}", mass.up_to(x));
                assert_eq!(mass.up_to(x), mass.below(x));
            }
            assert_eq!((mass.up_to(-1e9), mass.up_to(1e9)), (0.0, 1.0), "{law:?}");
        }
        let close = |law: Law, outside: &dyn Fn(f64) -> f64| {
            let mass = Mass::of(&law);
            for k in -300..600 {
                let x = 0.01 * f64::from(k);
                assert!((mass.up_to(x) - outside(x)).abs() < 3e-11, "{law:?} {x}");
            }
        };
        let Ok(normal) = Normal::new(1.0, 0.7) else { panic!("refused") };
        close(Law::Normal { mean: 1.0, sd: 0.7 }, &|x| normal.cdf(x));
        let Ok(log) = LogNormal::new(0.0, 0.25) else { panic!("refused") };
        close(Law::LogNormal { median: 1.0, log_sd: 0.25 }, &|x| log.cdf(x));
        let Ok(triangle) = Triangular::new(-1.0, 5.0, 0.5) else { panic!("refused") };
        close(Law::Triangular { low: -1.0, mode: 0.5, high: 5.0 }, &|x| triangle.cdf(x));
        let Ok(flat) = Uniform::new(-1.0, 5.0) else { panic!("refused") };
        close(Law::Uniform { low: -1.0, high: 5.0 }, &|x| flat.cdf(x));
    }

    #[test]
    fn atoms_belong_to_what_ends_on_them() {
        for law in [
            Law::Fixed(2.0),
            Law::Normal { mean: 2.0, sd: 0.0 },
            Law::TruncatedNormal { mean: 3.0, sd: 0.0, low: 1.0, high: 2.0 },
            Law::LogNormal { median: 2.0, log_sd: 0.0 },
            Law::Uniform { low: 2.0, high: 2.0 },
            Law::Triangular { low: 2.0, mode: 2.0, high: 2.0 },
        ] {
            let mass = Mass::of(&law);
            assert_eq!((mass.below(2.0), mass.up_to(2.0)), (0.0, 1.0), "{law:?}");
            assert_eq!((mass.up_to(1.999), mass.below(2.001)), (0.0, 1.0), "{law:?}");
        }
        let mass = Mass::of(&Law::Sample(vec![3.0, 1.0, 3.0, 7.0]));
        for (x, below, up_to) in
            [(0.0, 0.0, 0.0), (1.0, 0.0, 0.25), (3.0, 0.25, 0.75), (5.0, 0.75, 0.75), (7.0, 0.75, 1.0)]
        {
            assert_eq!((mass.below(x), mass.up_to(x)), (below, up_to), "{x}");
        }
    }
}
