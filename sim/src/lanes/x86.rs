//! Lanes in the vector registers that only some machines have.
//!
//! An instruction that a processor does not know is undefined behaviour, and a value of these types does nothing without
//! one. They do not leave the crate, and only functions that `flight::batch` calls after asking the processor make any:
//! that is why the blocks below are sound. Arrays of numbers would need none of them, but the compiler then finds half
//! of the vectors and takes ten minutes to do so.
//!
//! The rule about `unsafe` (DEVELOPERS.md, "Unsafe code"): here and in `flight::batch` alone, every block under a
//! `SAFETY:` that says why it is sound; `tests/tidy` fails otherwise.
#![allow(unsafe_code)]

use core::arch::x86_64::*;
use core::cell::Cell;
use core::ops::{Add, Div, Mul, Neg, Sub};

use super::Lane;

macro_rules! vector {
    (
        $name:ident, $register:ident, $width:literal, [$($lane:literal),*], $doc:literal,
        $set1:ident, $add:ident, $sub:ident, $mul:ident, $div:ident, $sqrt:ident, $max:ident, $min:ident,
        |$a:ident, $b:ident, $yes:ident, $no:ident| $below:expr, $bits:expr
    ) => {
        #[doc = $doc]
        #[derive(Clone, Copy)]
        pub(crate) struct $name($register);

        impl $name {
            #[inline(always)]
            fn numbers(self) -> [f64; $width] {
                // SAFETY: a register is as many numbers, whatever their bits.
                unsafe { core::mem::transmute::<$register, [f64; $width]>(self.0) }
            }
            #[inline(always)]
            fn of(numbers: [f64; $width]) -> Self {
                // SAFETY: as above.
                Self(unsafe { core::mem::transmute::<[f64; $width], $register>(numbers) })
            }
            #[inline(always)]
            fn bits(self, flip: impl Fn(u64) -> u64) -> Self {
                let mut numbers = self.numbers();
                for number in &mut numbers {
                    *number = f64::from_bits(flip(number.to_bits()));
                }
                Self::of(numbers)
            }
        }

        vector!(@operator $name, Add, add, $add);
        vector!(@operator $name, Sub, sub, $sub);
        vector!(@operator $name, Mul, mul, $mul);
        vector!(@operator $name, Div, div, $div);

        impl Neg for $name {
            type Output = Self;
            #[inline(always)]
            fn neg(self) -> Self {
                self.bits(|bits| bits ^ (1 << 63))
            }
        }

        impl Lane for $name {
            const WIDTH: usize = $width;
            type Array = [f64; $width];
            #[inline(always)]
            fn array(self) -> [f64; $width] {
                self.numbers()
            }
            #[inline(always)]
            fn load(array: &Cell<[f64; $width]>) -> Self {
                Self::of(array.get())
            }
            #[inline(always)]
            fn store(array: &Cell<[f64; $width]>, lane: usize, value: f64) {
                array.as_array_of_cells()[lane].set(value);
            }
            #[inline(always)]
            fn splat(value: f64) -> Self {
                // SAFETY: the processor was asked (head of the file).
                Self(unsafe { $set1(value) })
            }
            #[inline(always)]
            fn from_lanes(mut make: impl FnMut(usize) -> f64) -> Self {
                Self::of([$(make($lane)),*])
            }
            #[inline(always)]
            fn gather<const K: usize>(mut make: impl FnMut(usize) -> [f64; K]) -> [Self; K] {
                let rows = [$(make($lane)),*];
                let mut columns = [Self::splat(0.0); K];
                for (k, column) in columns.iter_mut().enumerate() {
                    *column = Self::of([$(rows[$lane][k]),*]);
                }
                columns
            }
            #[inline(always)]
            fn lane(self, index: usize) -> f64 {
                self.numbers()[index]
            }
            #[inline(always)]
            fn set_lane(&mut self, index: usize, value: f64) {
                let mut numbers = self.numbers();
                numbers[index] = value;
                *self = Self::of(numbers);
            }
            #[inline(always)]
            fn sqrt(self) -> Self {
                // SAFETY: the processor was asked.
                Self(unsafe { $sqrt(self.0) })
            }
            #[inline(always)]
            fn abs(self) -> Self {
                self.bits(|bits| bits & !(1 << 63))
            }
            #[inline(always)]
            fn max(self, other: Self) -> Self {
                // SAFETY: the processor was asked. Of two numbers of which one is none this gives the second.
                Self(unsafe { $max(self.0, other.0) })
            }
            #[inline(always)]
            fn min(self, other: Self) -> Self {
                // SAFETY: the processor was asked.
                Self(unsafe { $min(self.0, other.0) })
            }
            #[inline(always)]
            fn below(self, bound: Self, yes: Self, no: Self) -> Self {
                let ($a, $b, $yes, $no) = (self.0, bound.0, yes.0, no.0);
                // SAFETY: the processor was asked.
                Self(unsafe { $below })
            }
            #[inline(always)]
            fn bits_below(self, bound: Self) -> u32 {
                // SAFETY: the processor was asked.
                unsafe { $bits(self.0, bound.0) }
            }
        }
    };
    (@operator $name:ident, $trait:ident, $method:ident, $intrinsic:ident) => {
        impl $trait for $name {
            type Output = Self;
            #[inline(always)]
            fn $method(self, other: Self) -> Self {
                // SAFETY: the processor was asked (head of the file).
                Self(unsafe { $intrinsic(self.0, other.0) })
            }
        }
    };
}

vector!(
    Avx512,
    __m512d,
    8,
    [0, 1, 2, 3, 4, 5, 6, 7],
    "Eight lanes in a register of 512 bits.",
    _mm512_set1_pd,
    _mm512_add_pd,
    _mm512_sub_pd,
    _mm512_mul_pd,
    _mm512_div_pd,
    _mm512_sqrt_pd,
    _mm512_max_pd,
    _mm512_min_pd,
    |a, b, yes, no| _mm512_mask_blend_pd(_mm512_cmp_pd_mask::<_CMP_LT_OQ>(a, b), no, yes),
    |a, b| u32::from(_mm512_cmp_pd_mask::<_CMP_LT_OQ>(a, b))
);

vector!(
    Avx2,
    __m256d,
    4,
    [0, 1, 2, 3],
    "Four lanes in a register of 256 bits.",
    _mm256_set1_pd,
    _mm256_add_pd,
    _mm256_sub_pd,
    _mm256_mul_pd,
    _mm256_div_pd,
    _mm256_sqrt_pd,
    _mm256_max_pd,
    _mm256_min_pd,
    |a, b, yes, no| _mm256_blendv_pd(no, yes, _mm256_cmp_pd::<_CMP_LT_OQ>(a, b)),
    |a, b| _mm256_movemask_pd(_mm256_cmp_pd::<_CMP_LT_OQ>(a, b)) as u32
);

vector!(
    Sse2,
    __m128d,
    2,
    [0, 1],
    "Two lanes in a register of 128 bits, which every machine of this architecture has.",
    _mm_set1_pd,
    _mm_add_pd,
    _mm_sub_pd,
    _mm_mul_pd,
    _mm_div_pd,
    _mm_sqrt_pd,
    _mm_max_pd,
    _mm_min_pd,
    |a, b, yes, no| {
        let which = _mm_cmplt_pd(a, b);
        _mm_or_pd(_mm_and_pd(which, yes), _mm_andnot_pd(which, no))
    },
    |a, b| _mm_movemask_pd(_mm_cmplt_pd(a, b)) as u32
);
