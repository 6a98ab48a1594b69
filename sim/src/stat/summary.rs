//! One number per flight: mean, quantiles and extremes, whatever order the flights came in.
//!
//! [`Sum`] is fixed-point and [`Extremes`] remember which flight they come from; [`Summary`] bundles
//! both with a [`Histogram`] for one quantity and is what a tally holds.

use super::histogram::Histogram;

/// A sum that does not depend on the order of its terms: each is rounded to a multiple of 2^-32 first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sum {
    scaled: i128,
    terms: u64,
    refused: u64,
}

impl Sum {
    const SCALE: f64 = (1u64 << 32) as f64;
    /// A greater term would have no digits left at the scale of the others, and 2^64 of these still fit.
    const TERM_MAX: f64 = 1e9;

    /// Adds one term. NaN, infinity and anything beyond 1e9 must not occur in a flight; it would spoil
    /// the sum and is counted as refused instead.
    pub fn add(&mut self, value: f64) {
        self.add_times(value, 1);
    }

    /// Adds one term so many times.
    pub fn add_times(&mut self, value: f64, times: u64) {
        if value.abs() <= Self::TERM_MAX {
            self.scaled += (value * Self::SCALE).round() as i128 * i128::from(times);
            self.terms += times;
        } else {
            self.refused += times;
        }
    }

    /// Adds another sum.
    pub fn merge(&mut self, other: &Self) {
        self.scaled += other.scaled;
        self.terms += other.terms;
        self.refused += other.refused;
    }

    /// The sum of all terms.
    pub fn total(&self) -> f64 {
        self.scaled as f64 / Self::SCALE
    }

    /// Terms added.
    pub fn terms(&self) -> u64 {
        self.terms
    }

    /// Terms that were no usable number.
    pub fn refused(&self) -> u64 {
        self.refused
    }

    /// The mean of all terms; `None` if there are none.
    pub fn mean(&self) -> Option<f64> {
        (self.terms > 0).then(|| self.total() / self.terms as f64)
    }
}

/// A value and the flight it was met in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extreme {
    /// The value.
    pub value: f64,
    /// Index of the flight, by which it can be flown again.
    pub flight: u64,
}

/// The least and the greatest value with their flights; equal values give the lower flight index.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Extremes {
    least: Option<Extreme>,
    greatest: Option<Extreme>,
}

impl Extremes {
    /// Takes one value into account; a NaN is passed over.
    pub fn add(&mut self, value: f64, flight: u64) {
        if !value.is_nan() {
            let met = Some(Extreme { value, flight });
            self.merge(&Self { least: met, greatest: met });
        }
    }

    /// Takes the extremes of other flights into account.
    pub fn merge(&mut self, other: &Self) {
        self.least = nearer_end(self.least, other.least, |a, b| a < b);
        self.greatest = nearer_end(self.greatest, other.greatest, |a, b| a > b);
    }

    /// The least value.
    pub fn least(&self) -> Option<Extreme> {
        self.least
    }

    /// The greatest value.
    pub fn greatest(&self) -> Option<Extreme> {
        self.greatest
    }
}

fn nearer_end(a: Option<Extreme>, b: Option<Extreme>, beats: fn(f64, f64) -> bool) -> Option<Extreme> {
    match (a, b) {
        (Some(a), Some(b)) => {
            let tie = a.value == b.value;
            let second = beats(b.value, a.value) || (tie && b.flight < a.flight);
            Some(if second { b } else { a })
        }
        (a, b) => a.or(b),
    }
}

/// All that is kept of one quantity over all flights.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    histogram: Histogram,
    sum: Sum,
    extremes: Extremes,
}

/// The figures a report shows of one quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Digest {
    /// Flights that have the quantity.
    pub flights: u64,
    /// Arithmetic mean.
    pub mean: f64,
    /// Value that 5 % of the flights stay below.
    pub p05: f64,
    /// Lower quartile.
    pub p25: f64,
    /// Median.
    pub p50: f64,
    /// Upper quartile.
    pub p75: f64,
    /// Value that 95 % of the flights stay below.
    pub p95: f64,
    /// Least value and its flight.
    pub least: Extreme,
    /// Greatest value and its flight.
    pub greatest: Extreme,
}

impl Summary {
    /// A summary whose quantiles come from `bins` bins of `width` upwards from `low`.
    pub fn new(low: f64, width: f64, bins: usize) -> Self {
        Self { histogram: Histogram::new(low, width, bins), sum: Sum::default(), extremes: Extremes::default() }
    }

    /// Takes the value of one flight. One that [`Sum::add`] refuses is refused by all three parts.
    pub fn add(&mut self, value: f64, flight: u64) {
        self.add_times(value, 1, Some(flight));
    }

    /// Takes a value so many times; only one with a flight counts among the extremes.
    pub fn add_times(&mut self, value: f64, times: u64, flight: Option<u64>) {
        let refused = self.sum.refused();
        self.sum.add_times(value, times);
        if self.sum.refused() == refused {
            self.histogram.add_times(value, times);
            if let Some(flight) = flight {
                self.extremes.add(value, flight);
            }
        }
    }

    /// Adds the flights of another summary with the same bins (see [`Histogram::merge`]).
    pub fn merge(&mut self, other: &Self) {
        self.histogram.merge(&other.histogram);
        self.sum.merge(&other.sum);
        self.extremes.merge(&other.extremes);
    }

    /// Values taken.
    pub fn count(&self) -> u64 {
        self.sum.terms()
    }

    /// Values refused, which must be none.
    pub fn refused(&self) -> u64 {
        self.sum.refused()
    }

    /// Arithmetic mean.
    pub fn mean(&self) -> Option<f64> {
        self.sum.mean()
    }

    /// The value below which the share `p` of the flights lies, exact to a bin width.
    pub fn quantile(&self, p: f64) -> Option<f64> {
        let least = self.extremes.least()?;
        let greatest = self.extremes.greatest()?;
        self.histogram.quantile(p, Some((least.value, greatest.value)))
    }

    /// The counts behind the quantiles, for a picture.
    pub fn histogram(&self) -> &Histogram {
        &self.histogram
    }

    /// The least and the greatest value.
    pub fn extremes(&self) -> &Extremes {
        &self.extremes
    }

    /// The figures of a report; `None` if no flight has the quantity.
    pub fn digest(&self) -> Option<Digest> {
        self.digest_of(1)
    }

    /// The same where each flight has so many values.
    pub fn digest_of(&self, values: u64) -> Option<Digest> {
        Some(Digest {
            flights: (self.count() + values / 2) / values,
            mean: self.mean()?,
            p05: self.quantile(0.05)?,
            p25: self.quantile(0.25)?,
            p50: self.quantile(0.50)?,
            p75: self.quantile(0.75)?,
            p95: self.quantile(0.95)?,
            least: self.extremes.least()?,
            greatest: self.extremes.greatest()?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::sampler::Sampler;
    use super::*;

    fn summary(values: &[(f64, u64)]) -> Summary {
        let mut summary = Summary::new(-5.0, 0.01, 1000);
        for &(value, flight) in values {
            summary.add(value, flight);
        }
        summary
    }

    #[test]
    fn any_order_and_any_split_give_the_same() {
        let mut sampler = Sampler(9);
        // Rounded, so that extremes tie; wide, so that both open bins are met.
        let mut values: Vec<(f64, u64)> = (0..5000).map(|flight| ((3.0 * sampler.normal()).round(), flight)).collect();
        values.push((f64::NAN, 5000));
        values.push((f64::INFINITY, 5001));
        let whole = summary(&values);
        let parts: Vec<Summary> = values.chunks(101).map(summary).collect();
        let mut upwards = summary(&[]);
        parts.iter().for_each(|part| upwards.merge(part));
        let mut downwards = summary(&[]);
        parts.iter().rev().for_each(|part| downwards.merge(part));
        values.reverse();
        assert_eq!(whole, upwards);
        assert_eq!(whole, downwards);
        assert_eq!(whole, summary(&values));
        assert_eq!((whole.count(), whole.refused()), (5000, 2));
        let (below, above) = (whole.histogram().below(), whole.histogram().above());
        assert!(below > 0 && above > 0 && whole.histogram().count() == 5000);
    }

    /// Quantiles of a million points in one bin each are the values themselves, to a bin width.
    #[test]
    fn quantiles_of_a_normal_variable() {
        let values: Vec<(f64, u64)> =
            (0..100_000u64).map(|i| (super::super::normal::quantile((i as f64 + 0.5) / 1e5), i)).collect();
        let summary = summary(&values);
        for p in [0.05, 0.25, 0.5, 0.75, 0.95] {
            let exact = super::super::normal::quantile(p);
            let found = summary.quantile(p).unwrap_or(f64::NAN);
            assert!((found - exact).abs() < 1e-3, "{p} {found}");
        }
        let Some(digest) = summary.digest() else {
            panic!("no digest");
        };
        assert!(digest.mean.abs() < 1e-9);
        assert_eq!((digest.least.flight, digest.greatest.flight), (0, 99_999));
        assert_eq!(summary.quantile(0.0), Some(digest.least.value));
        assert_eq!(summary.quantile(1.0), Some(digest.greatest.value));
    }

    #[test]
    fn one_value_is_every_quantile() {
        let one = summary(&[(1.234, 7)]);
        for p in [0.0, 0.05, 0.5, 1.0] {
            assert_eq!(one.quantile(p), Some(1.234));
        }
        assert!(summary(&[]).digest().is_none());
    }

    #[test]
    fn ties_give_the_lower_flight() {
        let mut extremes = Extremes::default();
        for flight in [8, 3, 5] {
            extremes.add(2.0, flight);
        }
        let expected = Some(Extreme { value: 2.0, flight: 3 });
        assert_eq!((extremes.least(), extremes.greatest()), (expected, expected));
    }

    #[test]
    fn sums_are_exact_to_their_scale() {
        let mut sum = Sum::default();
        for value in [1e9, 0.1, -1e9, 0.2, f64::NAN, 1e10] {
            sum.add(value);
        }
        assert!((sum.total() - 0.3).abs() < 1e-9);
        assert_eq!((sum.terms(), sum.refused()), (4, 2));
        assert_eq!(Sum::default().mean(), None);
        let mut sum = Sum::default();
        [1.0, 2.5, 7.0].into_iter().for_each(|value| sum.add(value));
        assert_eq!(sum.mean(), Some(3.5));
    }
}
