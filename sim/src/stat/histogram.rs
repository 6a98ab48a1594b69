//! Counts in fixed bins, accumulated so that the order of the flights leaves no trace.

pub use super::summary::{Digest, Extreme, Extremes, Sum, Summary};

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
        Self { low, width, bins, below: 0, above: 0, unplaced: 0, pages: vec![None; bins.div_ceil(PAGE)] }
    }

    /// Counts one value. A NaN has no place and is counted as unplaced.
    pub fn add(&mut self, value: f64) {
        self.add_times(value, 1);
    }

    /// Counts one value so many times.
    pub fn add_times(&mut self, value: f64, times: u64) {
        let place = (value - self.low) / self.width;
        if place.is_nan() {
            self.unplaced += times;
        } else if place < 0.0 {
            self.below += times;
        } else if place >= self.bins as f64 {
            self.above += times;
        } else {
            let bin = place as usize;
            if let Some(page) = self.pages.get_mut(bin / PAGE) {
                let page = page.get_or_insert_with(|| Box::new([0; PAGE]));
                page[bin % PAGE] = page[bin % PAGE].saturating_add(times as u32);
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
        self.filled().map(|(bin, count)| (self.edge(bin), self.edge(bin + 1), count))
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
        let parts =
            core::iter::once(below).chain(self.filled_bins()).chain(core::iter::once(above)).filter(|part| part.2 > 0);
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
                page.iter().enumerate().map(move |(place, &count)| (number * PAGE + place, u64::from(count)))
            })
            .filter(|&(_, count)| count > 0)
    }
}

#[cfg(test)]
mod tests {
    use super::Histogram;

    #[test]
    fn inside_a_bin_and_outside_all() {
        let mut histogram = Histogram::new(0.0, 1.0, 10);
        assert_eq!(histogram.quantile(0.5, None), None);
        for value in [2.0, 2.1, 2.2, 2.999] {
            histogram.add(value);
        }
        assert_eq!(histogram.quantile(0.25, None), Some(2.25));
        assert_eq!(histogram.quantile(1.0, Some((2.0, 2.999))), Some(2.999));
        for value in [-7.0, 10.0, 30.0, 50.0] {
            histogram.add(value);
        }
        assert_eq!((histogram.below(), histogram.above(), histogram.count()), (1, 3, 8));
        assert_eq!(histogram.quantile(1.0, None), Some(10.0));
        assert_eq!(histogram.quantile(1.0, Some((-7.0, 50.0))), Some(50.0));
        assert_eq!(histogram.quantile(0.0, Some((-7.0, 50.0))), Some(-7.0));
        assert_eq!(histogram.filled_bins().collect::<Vec<_>>(), vec![(2.0, 3.0, 4)]);
    }

    #[test]
    fn other_bins_are_not_mixed() {
        let mut histogram = Histogram::new(0.0, 1.0, 10);
        let mut other = Histogram::new(0.0, 2.0, 10);
        other.add(1.0);
        other.add(f64::NAN);
        histogram.merge(&other);
        assert_eq!((histogram.count(), histogram.unplaced()), (0, 2));
    }

    #[test]
    fn senseless_bins_do_no_harm() {
        for (width, bins) in [(0.0, 10), (-1.0, 10), (f64::NAN, 10), (1.0, 0)] {
            let mut histogram = Histogram::new(0.0, width, bins);
            for value in [-1.0, 0.0, 5.0, f64::INFINITY] {
                histogram.add(value);
            }
            assert_eq!(histogram.count() + histogram.unplaced(), 4);
        }
    }
}
