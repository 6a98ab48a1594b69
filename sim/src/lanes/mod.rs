//! One lane or many: the flight's arithmetic is written once over [`Lane`].
//!
//! Width 1 (`f64`) is the readable reference and the oracle of the wide form. Only exactly rounded
//! operations are offered (+, -, x, /, sqrt, comparisons), and no fused multiply-add, so every width
//! and every machine gives the same bytes.

#[cfg(target_arch = "x86_64")]
pub(crate) mod x86;

use core::cell::Cell;
use core::ops::{Add, Div, Mul, Neg, Sub};

/// A number per lane.
pub trait Lane:
    Copy + Add<Output = Self> + Sub<Output = Self> + Mul<Output = Self> + Div<Output = Self> + Neg<Output = Self>
{
    /// Lanes side by side.
    const WIDTH: usize;
    /// The numbers of all lanes in memory.
    type Array: Copy + AsRef<[f64]>;
    /// As an array.
    fn array(self) -> Self::Array;
    /// Reads an array that lanes are put into one by one.
    fn load(array: &Cell<Self::Array>) -> Self;
    /// Puts a number into one lane of it.
    fn store(array: &Cell<Self::Array>, lane: usize, value: f64);
    /// The same number in every lane.
    fn splat(value: f64) -> Self;
    /// A number made lane by lane, from the lane's index.
    fn from_lanes(make: impl FnMut(usize) -> f64) -> Self;
    /// Several numbers made lane by lane at once.
    fn gather<const K: usize>(make: impl FnMut(usize) -> [f64; K]) -> [Self; K];
    /// The number in one lane.
    fn lane(self, index: usize) -> f64;
    /// Square root.
    fn sqrt(self) -> Self;
    /// Absolute value.
    fn abs(self) -> Self;
    /// The larger one.
    fn max(self, other: Self) -> Self;
    /// `yes` in the lanes where `self < bound`, else `no`.
    fn below(self, bound: Self, yes: Self, no: Self) -> Self;
    /// The lanes below their bounds, one bit each.
    fn bits_below(self, bound: Self) -> u32;
    /// Whether any lane is below its bound.
    #[inline(always)]
    fn any_below(self, bound: Self) -> bool {
        self.bits_below(bound) != 0
    }
    /// Puts a number into one lane.
    fn set_lane(&mut self, index: usize, value: f64);
    /// The smaller one; the other where one is not a number.
    fn min(self, other: Self) -> Self;
    /// `self` in the lanes where `which` is 1, `other` where it is 0.
    #[inline(always)]
    fn where_set(self, which: Self, other: Self) -> Self {
        Self::splat(0.5).below(which, self, other)
    }
    /// The whole number nearest to numbers of less than 2^31, the even one of two.
    #[inline(always)]
    fn nearest(self) -> Self {
        self + Self::splat(WHOLE) - Self::splat(WHOLE)
    }
    /// What turns whole numbers, none below zero, into indices by [`index`].
    #[inline(always)]
    fn indices(self) -> Self::Array {
        (self + Self::splat(WHOLE)).array()
    }
}

/// The index in one lane of what [`Lane::indices`] gave.
#[inline(always)]
pub fn index(indices: &impl AsRef<[f64]>, lane: usize) -> usize {
    indices.as_ref()[lane].to_bits() as u32 as usize
}

/// Lanes of which the bit is set, from the lowest.
#[inline(always)]
pub fn lanes_of(mut bits: u32) -> impl Iterator<Item = usize> {
    core::iter::from_fn(move || {
        (bits != 0).then(|| {
            let lane = bits.trailing_zeros() as usize;
            bits &= bits - 1;
            lane
        })
    })
}

/// Numbers of this size have no digits behind the point, and the lowest of their bits count from zero.
const WHOLE: f64 = 6_755_399_441_055_744.0;

impl Lane for f64 {
    const WIDTH: usize = 1;
    type Array = [f64; 1];
    #[inline(always)]
    fn array(self) -> [f64; 1] {
        [self]
    }
    #[inline(always)]
    fn load(array: &Cell<[f64; 1]>) -> Self {
        array.get()[0]
    }
    #[inline(always)]
    fn store(array: &Cell<[f64; 1]>, _lane: usize, value: f64) {
        array.set([value]);
    }
    #[inline(always)]
    fn splat(value: f64) -> Self {
        value
    }
    #[inline(always)]
    fn from_lanes(mut make: impl FnMut(usize) -> f64) -> Self {
        make(0)
    }
    #[inline(always)]
    fn gather<const K: usize>(mut make: impl FnMut(usize) -> [f64; K]) -> [Self; K] {
        make(0)
    }
    #[inline(always)]
    fn lane(self, _index: usize) -> f64 {
        self
    }
    #[inline(always)]
    fn sqrt(self) -> Self {
        f64::sqrt(self)
    }
    #[inline(always)]
    fn abs(self) -> Self {
        f64::abs(self)
    }
    #[inline(always)]
    fn max(self, other: Self) -> Self {
        if self > other { self } else { other }
    }
    #[inline(always)]
    fn min(self, other: Self) -> Self {
        if self < other { self } else { other }
    }
    #[inline(always)]
    fn below(self, bound: Self, yes: Self, no: Self) -> Self {
        if self < bound { yes } else { no }
    }
    #[inline(always)]
    fn bits_below(self, bound: Self) -> u32 {
        u32::from(self < bound)
    }
    #[inline(always)]
    fn set_lane(&mut self, _index: usize, value: f64) {
        *self = value;
    }
}

/// 1 where both are 1.
#[inline(always)]
pub fn both<L: Lane>(a: L, b: L) -> L {
    a * b
}

/// 1 where it is 0, and 0 where it is 1.
#[inline(always)]
pub fn not<L: Lane>(a: L) -> L {
    L::splat(1.0) - a
}

/// 1 where `a < b`, else 0: a question that lanes answer in numbers, each by itself.
#[inline(always)]
pub fn less<L: Lane>(a: L, b: L) -> L {
    a.below(b, L::splat(1.0), L::splat(0.0))
}

/// Whether it is 1 anywhere.
#[inline(always)]
pub fn any<L: Lane>(which: L) -> bool {
    L::splat(0.5).any_below(which)
}

/// Lanes in which it is 1, from the lowest.
#[inline(always)]
pub fn lanes_where<L: Lane>(which: L) -> impl Iterator<Item = usize> {
    lanes_of(L::splat(0.5).bits_below(which))
}

/// The cell of a table in which a position lies, held within the table; a negative number or none at all gives the
/// first. By way of 32 bits, which takes three instructions where 64 take nine.
#[inline(always)]
pub fn cell(position: f64, last: usize) -> usize {
    (position as u32 as usize).min(last)
}

/// Three components.
pub type Vector<L> = [L; 3];

/// Scalar product.
#[inline(always)]
pub fn dot<L: Lane>(a: Vector<L>, b: Vector<L>) -> L {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Vector product.
#[inline(always)]
pub fn cross<L: Lane>(a: Vector<L>, b: Vector<L>) -> Vector<L> {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// `a - b`.
#[inline(always)]
pub fn minus<L: Lane>(a: Vector<L>, b: Vector<L>) -> Vector<L> {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

/// `a + b * s`.
#[inline(always)]
pub fn along<L: Lane>(a: Vector<L>, b: Vector<L>, s: L) -> Vector<L> {
    [a[0] + b[0] * s, a[1] + b[1] * s, a[2] + b[2] * s]
}

/// `a * s`.
#[inline(always)]
pub fn scale<L: Lane>(a: Vector<L>, s: L) -> Vector<L> {
    [a[0] * s, a[1] * s, a[2] * s]
}

/// Length.
#[inline(always)]
pub fn norm<L: Lane>(a: Vector<L>) -> L {
    dot(a, a).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: [f64; 3] = [2.0, -3.0, 5.0];
    const B: [f64; 3] = [7.0, 11.0, -13.0];

    /// By hand; no two terms alike, so that none stands for another.
    #[test]
    fn vectors() {
        assert_eq!(dot(A, B), 14.0 - 33.0 - 65.0);
        assert_eq!(cross(A, B), [39.0 - 55.0, 35.0 + 26.0, 22.0 + 21.0]);
        assert_eq!(along(A, B, 0.5), [5.5, 2.5, -1.5]);
        assert_eq!(scale(A, -2.0), [-4.0, 6.0, -10.0]);
        assert_eq!(norm([2.0, 3.0, -6.0]), 7.0);
    }

    /// Each operation of several lanes is that of one lane, in each of them, to the bit: also for what is no number,
    /// for infinities, the two zeros and what is too small to be normal.
    fn lanes_do_not_touch<L: Lane>() {
        let odd = [1.5, -2.0, 0.0, -0.0, f64::INFINITY, f64::NEG_INFINITY, f64::NAN, 1e-310, 3.0, 1e300, -7.25];
        let same = |wide: L, one: &dyn Fn(usize) -> f64, what: &str| {
            for lane in 0..L::WIDTH {
                let (got, want) = (wide.lane(lane), one(lane));
                assert!(got.to_bits() == want.to_bits() || (got.is_nan() && want.is_nan()), "{what}: {got} {want}");
                assert_eq!(wide.array().as_ref()[lane].to_bits(), got.to_bits());
            }
        };
        for first in 0..odd.len() {
            for second in 0..odd.len() {
                let a = |lane: usize| odd[(first + lane) % odd.len()];
                let b = |lane: usize| odd[(second + 3 * lane) % odd.len()];
                let (x, y) = (L::from_lanes(a), L::from_lanes(b));
                same(x + y, &|l| a(l) + b(l), "+");
                same(x - y, &|l| a(l) - b(l), "-");
                same(x * y, &|l| a(l) * b(l), "x");
                same(x / y, &|l| a(l) / b(l), "/");
                same(-x, &|l| -a(l), "negative");
                same(x.abs(), &|l| a(l).abs(), "absolute");
                same(x.sqrt(), &|l| a(l).sqrt(), "square root");
                same(x.max(y), &|l| Lane::max(a(l), b(l)), "larger");
                same(x.min(y), &|l| Lane::min(a(l), b(l)), "smaller");
                same(x.below(y, L::splat(7.0), x), &|l| if a(l) < b(l) { 7.0 } else { a(l) }, "below");
                let bits = (0..L::WIDTH).fold(0, |bits, l| bits | u32::from(a(l) < b(l)) << l);
                assert_eq!((x.bits_below(y), x.any_below(y)), (bits, bits != 0));
                assert!(lanes_of(bits).eq((0..L::WIDTH).filter(|l| a(*l) < b(*l))));
                let [p, q] = L::gather(|l| [a(l), b(l)]);
                same(p, &a, "gathered");
                same(q, &b, "gathered");
                let mut changed = x;
                changed.set_lane(L::WIDTH - 1, 9.5);
                same(changed, &|l| if l + 1 == L::WIDTH { 9.5 } else { a(l) }, "set");
                let held = Cell::new(x.array());
                L::store(&held, L::WIDTH - 1, 9.5);
                same(L::load(&held), &|l| changed.lane(l), "stored");
            }
        }
        // The even one of two, and the same number as an index.
        let halves = [0.0, 0.5, 1.5, 2.49, 3.0, 1e6, 4.5, 7.0];
        let whole = L::from_lanes(|l| halves[l]).nearest();
        let found = whole.indices();
        for (lane, want) in [0, 0, 2, 2, 3, 1_000_000, 4, 7].into_iter().enumerate().take(L::WIDTH) {
            assert_eq!((whole.lane(lane), index(&found, lane)), (want as f64, want));
        }
        let which = L::from_lanes(|l| f64::from(l as u32 % 2));
        same(L::splat(5.0).where_set(which, L::splat(6.0)), &|l| if l % 2 == 1 { 5.0 } else { 6.0 }, "where set");
        same(both(which, not(which)), &|_| 0.0, "both");
        assert!(lanes_where(which).eq((0..L::WIDTH).filter(|l| l % 2 == 1)));
        assert_eq!(any(which), L::WIDTH > 1);
    }

    #[test]
    fn lanes_are_numbers_side_by_side() {
        lanes_do_not_touch::<f64>();
        #[cfg(target_arch = "x86_64")]
        {
            lanes_do_not_touch::<x86::Sse2>();
            if is_x86_feature_detected!("avx2") {
                lanes_do_not_touch::<x86::Avx2>();
            }
            if is_x86_feature_detected!("avx512f") {
                lanes_do_not_touch::<x86::Avx512>();
            }
        }
    }

    #[test]
    fn one_lane_is_a_number() {
        assert_eq!(
            (<f64 as Lane>::splat(3.5), <f64 as Lane>::from_lanes(|k| 3.5 + k as f64), 3.5.lane(0)),
            (3.5, 3.5, 3.5)
        );
        assert_eq!((Lane::sqrt(2.25), Lane::abs(-2.25), Lane::abs(2.25)), (1.5, 2.25, 2.25));
        assert_eq!((Lane::max(1.0, 2.0), Lane::max(2.0, 1.0)), (2.0, 2.0));
        // The bound itself is not below it.
        assert_eq!([0.5, 1.0, 1.5].map(|x: f64| x.below(1.0, 7.0, 8.0)), [7.0, 8.0, 8.0]);
    }

    #[test]
    fn cells_are_held_within_the_table() {
        let found = [-1.0, -0.0, 0.99, 1.0, 2.7, 3.0, 1e12, f64::INFINITY, f64::NAN].map(|x| cell(x, 2));
        assert_eq!(found, [0, 0, 0, 1, 2, 2, 2, 2, 0]);
    }
}
