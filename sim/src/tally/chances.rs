//! Sums of the flights' chances, in whole multiples of 2^-40: exact, so in any order.

use super::{Hits, add_hits};
use crate::case::Question;
use crate::flight::WHOLE;
use crate::stat::interval::{self, Chance, Estimator};

/// A chance of flights of which each has its own: 0 or 1 where it was drawn.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Chances {
    /// Sum of the chances, per replicate.
    sums: Hits,
    /// Sum of their squares.
    squares: u64,
}

/// As a plain number.
pub(super) fn share(scaled: u64) -> f64 {
    scaled as f64 / WHOLE as f64
}

/// In multiples of one over [`WHOLE`].
pub(super) fn scaled(chance: f64) -> u64 {
    (chance.clamp(0.0, 1.0) * WHOLE as f64 + 0.5) as u64
}

impl Chances {
    /// Adds a flight's chance.
    #[inline]
    pub fn add(&mut self, chance: u64, replicate: usize) {
        self.sums[replicate] += chance;
        self.squares += square(chance);
    }

    pub fn merge(&mut self, other: &Self) {
        add_hits(&mut self.sums, &other.sums);
        self.squares += other.squares;
    }

    /// Sum of all chances.
    pub fn total(&self) -> u64 {
        self.sums.iter().sum()
    }

    /// Sum of their squares.
    pub fn squares(&self) -> u64 {
        self.squares
    }

    /// Per replicate.
    pub fn sums(&self) -> &Hits {
        &self.sums
    }

    /// The chance over so many flights.
    pub fn chance(&self, flights: &Hits, question: &Question, estimator: Estimator) -> Chance {
        let per_replicate: Vec<(f64, u64)> =
            self.sums.iter().zip(flights).map(|(sum, n)| (share(*sum), *n)).filter(|r| r.1 > 0).collect();
        interval::mean(&per_replicate, share(self.squares), question.points, estimator, question.confidence())
    }
}

/// The square of a chance, rounded down to the same scale.
#[inline]
pub(super) fn square(chance: u64) -> u64 {
    // Halves of the digits first, so that 64 bits hold it.
    let (high, low) = (chance >> 20, chance & 0xf_ffff);
    high * high + ((2 * high * low + ((low * low) >> 20)) >> 20)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn squares_are_exact_to_the_last_place() {
        for chance in [0, 1, WHOLE / 3, WHOLE / 2, WHOLE - 1, WHOLE] {
            let exact = (u128::from(chance) * u128::from(chance)) >> 40;
            assert!(exact.abs_diff(u128::from(square(chance))) <= 1, "{chance}");
        }
        assert_eq!((square(WHOLE), square(WHOLE / 2)), (WHOLE, WHOLE / 4));
    }
}
