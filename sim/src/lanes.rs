//! One lane or many: the flight's arithmetic is written once over [`Lane`].
//!
//! Width 1 (`f64`) is the readable reference and the oracle of the wide form. Only exactly rounded
//! operations are offered (+, -, x, /, sqrt, comparisons), and no fused multiply-add, so every width
//! and every machine gives the same bytes.

use core::ops::{Add, Div, Mul, Neg, Sub};

/// A number per lane.
pub trait Lane:
    Copy + Add<Output = Self> + Sub<Output = Self> + Mul<Output = Self> + Div<Output = Self> + Neg<Output = Self>
{
    /// Lanes side by side.
    const WIDTH: usize;
    /// The same number in every lane.
    fn splat(value: f64) -> Self;
    /// A number made lane by lane, from the lane's index.
    fn from_lanes(make: impl FnMut(usize) -> f64) -> Self;
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
}

impl Lane for f64 {
    const WIDTH: usize = 1;
    #[inline(always)]
    fn splat(value: f64) -> Self {
        value
    }
    #[inline(always)]
    fn from_lanes(mut make: impl FnMut(usize) -> f64) -> Self {
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
    fn below(self, bound: Self, yes: Self, no: Self) -> Self {
        if self < bound { yes } else { no }
    }
}

/// `N` lanes as a plain array, which the compiler turns into vector registers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pack<const N: usize>(pub [f64; N]);

macro_rules! pack_operator {
    ($trait:ident, $method:ident) => {
        impl<const N: usize> $trait for Pack<N> {
            type Output = Self;
            #[inline(always)]
            fn $method(self, other: Self) -> Self {
                Pack(core::array::from_fn(|i| self.0[i].$method(other.0[i])))
            }
        }
    };
}
pack_operator!(Add, add);
pack_operator!(Sub, sub);
pack_operator!(Mul, mul);
pack_operator!(Div, div);

impl<const N: usize> Neg for Pack<N> {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        Pack(self.0.map(|x| -x))
    }
}

impl<const N: usize> Lane for Pack<N> {
    const WIDTH: usize = N;
    #[inline(always)]
    fn splat(value: f64) -> Self {
        Pack([value; N])
    }
    #[inline(always)]
    fn from_lanes(make: impl FnMut(usize) -> f64) -> Self {
        Pack(core::array::from_fn(make))
    }
    #[inline(always)]
    fn lane(self, index: usize) -> f64 {
        self.0[index]
    }
    #[inline(always)]
    fn sqrt(self) -> Self {
        Pack(self.0.map(f64::sqrt))
    }
    #[inline(always)]
    fn abs(self) -> Self {
        Pack(self.0.map(f64::abs))
    }
    #[inline(always)]
    fn max(self, other: Self) -> Self {
        Pack(core::array::from_fn(|i| Lane::max(self.0[i], other.0[i])))
    }
    #[inline(always)]
    fn below(self, bound: Self, yes: Self, no: Self) -> Self {
        Pack(core::array::from_fn(|i| self.0[i].below(bound.0[i], yes.0[i], no.0[i])))
    }
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
