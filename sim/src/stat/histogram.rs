//! One number per flight, accumulated so that the order of the flights leaves no trace.
//!
//! [`Histogram`] has bins fixed beforehand, [`Sum`] is fixed-point, [`Extremes`] remember which flight
//! they come from; [`Summary`] bundles the three for one quantity and is what a tally holds.

/// Bins per page. A quantity seldom visits all of several thousand bins, and there are some hundred
/// histograms in a tally: only visited pages of 256 bytes are allocated.
const PAGE: usize = 64;

/// Counts in bins of equal width, with everything below and above kept apart.
///
/// Two histograms are equal if they hold the same counts in the same bins, however they came to be.
#[derive(Clone, Debug, PartialEq)]
pub struct Histogram {
    low: f64,
    width: f64,
    bins: usize,
    below: u64,
    above: u64,
    unplaced: u64,
    pages: Vec<Option<Box<[u32; PAGE]>>>,
}

impl Histogram {
    /// `bins` bins of `width` upwards from `low`. A bin holds its lower edge, not its upper one, and at
    /// most 2^32 - 1 flights.
    pub fn new(low: f64, width: f64, bins: usize) -> Self {
        Self {
            low,
            width,
            bins,
            below: 0,
            above: 0,
            unplaced: 0,
            pages: vec![None; bins.div_ceil(PAGE)],
        }
    }

    /// Counts one value. A NaN has no place and is counted as unplaced.
    pub fn add(&mut self, value: f64) {
        let place = (value - self.low) / self.width;
        if place.is_nan() {
            self.unplaced += 1;
        } else if place < 0.0 {
            self.below += 1;
        } else if place >= self.bins as f64 {
            self.above += 1;
        } else {
            let bin = place as usize;
            if let Some(page) = self.pages.get_mut(bin / PAGE) {
                let page = page.get_or_insert_with(|| Box::new([0; PAGE]));
                page[bin % PAGE] = page[bin % PAGE].saturating_add(1);
            }
        }
    }

    /// Adds the counts of another histogram. One with other bins cannot be added: all its flights then
    /// become unplaced, so that none is lost from sight.
    pub fn merge(&mut self, other: &Self) {
        self.unplaced += other.unplaced;
        if self.low != other.low || self.width != other.width || self.bins != other.bins {
            self.unplaced += other.count();
            return;
        }
        self.below += other.below;
        self.above += other.above;
        for (mine, theirs) in self.pages.iter_mut().zip(&other.pages) {
            if let Some(theirs) = theirs {
                let mine = mine.get_or_insert_with(|| Box::new([0; PAGE]));
                for (a, b) in mine.iter_mut().zip(theirs.iter()) {
                    *a = a.saturating_add(*b);
                }
            }
        }
    }

    /// Values counted, those below and above the bins included, unplaced ones not.
    pub fn count(&self) -> u64 {
        let inside: u64 = self.filled().map(|(_, count)| count).sum();
        self.below + inside + self.above
    }

    /// Values below the first bin.
    pub fn below(&self) -> u64 {
        self.below
    }

    /// Values above the last bin.
    pub fn above(&self) -> u64 {
        self.above
    }

    /// Values that could not be placed: NaN, or merged from a histogram with other bins.
    pub fn unplaced(&self) -> u64 {
        self.unplaced
    }

    /// Every bin that holds something, upwards: (lower edge, upper edge, count).
    pub fn filled_bins(&self) -> impl Iterator<Item = (f64, f64, u64)> + '_ {
        self.filled()
            .map(|(bin, count)| (self.edge(bin), self.edge(bin + 1), count))
    }

    /// The value below which the share `p` of the flights lies, linear inside a bin; `None` if empty.
    ///
    /// `range` is the least and greatest value, where known: it bounds the outer two (open) bins and the
    /// result. Without it a quantile outside the bins is given as the edge, which it then exceeds.
    /// Where the share falls exactly between two bins, the upper edge of the lower one is given.
    pub fn quantile(&self, p: f64, range: Option<(f64, f64)>) -> Option<f64> {
        let count = self.count();
        if count == 0 {
            return None;
        }
        let (low, high) = (self.edge(0), self.edge(self.bins));
        let (least, most) = range.unwrap_or((low, high));
        let target = p.clamp(0.0, 1.0) * count as f64;
        let below = (least.min(low), low, self.below);
        let above = (high, most.max(high), self.above);
        let parts = core::iter::once(below)
            .chain(self.filled_bins())
            .chain(core::iter::once(above))
            .filter(|part| part.2 > 0);
        let mut passed = 0u64;
        let mut found = least;
        for (from, to, inside) in parts {
            let share = ((target - passed as f64) / inside as f64).clamp(0.0, 1.0);
            found = from + (to - from) * share;
            passed += inside;
            if passed as f64 >= target {
                break;
            }
        }
        Some(found.max(least).min(most))
    }

    fn edge(&self, bin: usize) -> f64 {
        self.low + self.width * bin as f64
    }

    fn filled(&self) -> impl Iterator<Item = (usize, u64)> + '_ {
        self.pages
            .iter()
            .enumerate()
            .filter_map(|(number, page)| page.as_ref().map(|page| (number, page)))
            .flat_map(|(number, page)| {
                page.iter()
                    .enumerate()
                    .map(move |(place, &count)| (number * PAGE + place, u64::from(count)))
            })
            .filter(|&(_, count)| count > 0)
    }
}

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
        if value.abs() <= Self::TERM_MAX {
            self.scaled += (value * Self::SCALE).round() as i128;
            self.terms += 1;
        } else {
            self.refused += 1;
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
            self.merge(&Self {
                least: met,
                greatest: met,
            });
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

fn nearer_end(
    a: Option<Extreme>,
    b: Option<Extreme>,
    beats: fn(f64, f64) -> bool,
) -> Option<Extreme> {
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
        Self {
            histogram: Histogram::new(low, width, bins),
            sum: Sum::default(),
            extremes: Extremes::default(),
        }
    }

    /// Takes the value of one flight. One that [`Sum::add`] refuses is refused by all three parts.
    pub fn add(&mut self, value: f64, flight: u64) {
        let refused = self.sum.refused();
        self.sum.add(value);
        if self.sum.refused() == refused {
            self.histogram.add(value);
            self.extremes.add(value, flight);
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
        self.histogram
            .quantile(p, Some((least.value, greatest.value)))
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
        Some(Digest {
            flights: self.count(),
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
