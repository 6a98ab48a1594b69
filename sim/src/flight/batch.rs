//! Ascents flown side by side, with the widest instructions that the machine has.

use super::ascent::{Ascent, Watchfulness, fly_ascents};
use super::parts::Drawn;
use crate::lanes::x86::{Avx2, Avx512, Sse2};

/// Sets of vector instructions that the flights are compiled for. Every one gives the same bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Instructions {
    /// What every machine of this architecture has.
    Baseline,
    /// 256 bits.
    #[cfg(target_arch = "x86_64")]
    Avx2,
    /// 512 bits.
    #[cfg(target_arch = "x86_64")]
    Avx512,
}

/// Flights side by side.
pub const WIDTH: usize = 8;

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn ascents_avx2(flights: &[&Drawn], watchfulness: &[Watchfulness], finer: f64, out: &mut [Ascent]) {
    fly_ascents::<Avx2>(flights, watchfulness, finer, out);
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx512f,avx512dq,avx512vl,avx512bw,avx512cd")]
fn ascents_avx512(flights: &[&Drawn], watchfulness: &[Watchfulness], finer: f64, out: &mut [Ascent]) {
    fly_ascents::<Avx512>(flights, watchfulness, finer, out);
}

fn ascents_base(flights: &[&Drawn], watchfulness: &[Watchfulness], finer: f64, out: &mut [Ascent]) {
    fly_ascents::<Sse2>(flights, watchfulness, finer, out);
}

impl Instructions {
    /// Flies ascents.
    #[allow(unsafe_code)]
    pub fn ascents(self, flights: &[&Drawn], watchfulness: &[Watchfulness], finer: f64, out: &mut [Ascent]) {
        match self {
            Self::Baseline => ascents_base(flights, watchfulness, finer, out),
            #[cfg(target_arch = "x86_64")]
            Self::Avx2 => unsafe { ascents_avx2(flights, watchfulness, finer, out) },
            #[cfg(target_arch = "x86_64")]
            Self::Avx512 => unsafe { ascents_avx512(flights, watchfulness, finer, out) },
        }
    }
}
