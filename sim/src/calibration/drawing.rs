//! Flights drawn to agree with logs: their numbers, and how likely these are under a bias and a scatter.

use super::{Calibrated, Learned, Moved, Set, reached};
use crate::case::Case;
use crate::draw::REPLICATES;

/// One flight in so many is drawn from the wide laws, wherever the rest is aimed at: no flight weighs more for a bad aim.
/// It is whole scrambles of even points that are, so that those are as even as the rest.
const WIDE_EVERY: u64 = 4;
const WIDE_SHARE: f64 = 1.0 / WIDE_EVERY as f64;
/// The wide laws have so much wider numbers.
const WIDER: f64 = 1.5;
/// Aims are made so much wider than what is known.
const MARGIN: f64 = 1.2;

/// Where flights are drawn from that are to agree with logs.
#[derive(Debug, Clone, Copy)]
pub struct Aim(Set);

impl Aim {
    /// Anywhere that the laws may have them.
    pub const WIDE: Self = Self([Moved { bias: 0.0, scatter: WIDER }; 3]);

    /// Where flights lie by what is known so far.
    pub fn at(known: &Calibrated) -> Self {
        let count = known.sets().len() as f64;
        Self(core::array::from_fn(|k| {
            let mean = |of: &dyn Fn(Moved) -> f64| known.sets().iter().map(|set| of(set[k])).sum::<f64>() / count;
            let bias = mean(&|m| m.bias);
            let variance = mean(&|m| (m.bias - bias) * (m.bias - bias) + m.scatter * m.scatter);
            Moved { bias, scatter: MARGIN * variance.sqrt() }
        }))
    }
}

/// How the flights of some conditions are drawn.
#[derive(Debug)]
pub struct Drawing {
    learned_by: Vec<(usize, Learned)>,
    aims: [(Aim, Density); 2],
}

impl Drawing {
    /// In the conditions of a case.
    pub fn new(case: &Case, aim: Aim) -> Self {
        let learned_by = learned_by(case);
        let counts = Counts::of(&learned_by);
        Self { aims: [Aim::WIDE, aim].map(|aim| (aim, Density::of(&counts, &aim.0))), learned_by }
    }

    /// Dimensions of the numbers of a flight by which something is learned, rising.
    pub fn dimensions(&self) -> Vec<usize> {
        self.learned_by.iter().map(|number| number.0).collect()
    }

    /// Moves those numbers of a flight, as standard normals, before it is drawn.
    pub fn draw(&self, flight: u64, numbers: &mut [f64]) -> Aimed {
        let wide = (flight % REPLICATES).is_multiple_of(WIDE_EVERY);
        let Aim(from) = self.aims[usize::from(!wide)].0;
        let mut sums = [[0.0; 2]; 3];
        for ((_, learned), number) in self.learned_by.iter().zip(numbers) {
            let Moved { bias, scatter } = from[*learned as usize];
            *number = bias + scatter * *number;
            let [sum, squares] = &mut sums[*learned as usize];
            (*sum, *squares) = (*sum + *number, *squares + *number * *number);
            // What is flown ends where laws do, what it weighs does not.
            *number = reached(*number);
        }
        let [wide, own] = [0, 1].map(|k| self.aims[k].1.log(&sums));
        let most = wide.max(own);
        let mixed = WIDE_SHARE * libm::exp(wide - most) + (1.0 - WIDE_SHARE) * libm::exp(own - most);
        Aimed { sums, log_drawn: most + libm::log(mixed) }
    }
}

/// The numbers of a flight as they were drawn.
#[derive(Debug, Clone, Copy)]
pub struct Aimed {
    /// Of each that is learned: sum and sum of squares of its numbers, of which a cluster has several.
    sums: [[f64; 2]; 3],
    /// Logarithm of the density from which they were drawn.
    log_drawn: f64,
}

/// The numbers of a flight by which something is learned: their dimensions, rising, each with what it is.
fn learned_by(case: &Case) -> Vec<(usize, Learned)> {
    let numbers = |learned: &Learned| match learned {
        Learned::Impulse => case.motor.offsets_m.len(),
        Learned::Drag | Learned::Wind => 1,
    };
    let of = |learned: Learned| (0..numbers(&learned)).map(move |motor| (learned.slot(motor).dimension(), learned));
    let mut all: Vec<_> =
        Learned::ALL.into_iter().filter(|learned| learned.varies(&case.spread)).flat_map(of).collect();
    all.sort_by_key(|number| number.0);
    all
}

/// Of each that is learned: how many numbers of a flight it has.
#[derive(Debug, Clone, Copy)]
pub struct Counts([usize; 3]);

impl Counts {
    /// In the conditions of a case.
    pub fn in_case(case: &Case) -> Self {
        Self::of(&learned_by(case))
    }

    fn of(learned_by: &[(usize, Learned)]) -> Self {
        Self(Learned::ALL.map(|learned| learned_by.iter().filter(|number| number.1 == learned).count()))
    }
}

/// Logarithm of the density of the numbers of a flight, up to a constant: a parabola of their sums.
#[derive(Debug)]
pub struct Density {
    /// Per sum and per sum of squares.
    per: [[f64; 2]; 3],
    alone: f64,
}

impl Density {
    /// Under a set.
    pub fn of(counts: &Counts, set: &Set) -> Self {
        let mut density = Self { per: [[0.0; 2]; 3], alone: 0.0 };
        for ((count, per), Moved { bias, scatter }) in counts.0.iter().zip(&mut density.per).zip(set) {
            if *count > 0 {
                let precision = 1.0 / (scatter * scatter);
                *per = [bias * precision, -0.5 * precision];
                density.alone -= *count as f64 * (0.5 * bias * bias * precision + libm::log(*scatter));
            }
        }
        density
    }

    fn log(&self, sums: &[[f64; 2]; 3]) -> f64 {
        let each = self.per.iter().zip(sums);
        self.alone + each.map(|(per, sums)| per[0] * sums[0] + per[1] * sums[1]).sum::<f64>()
    }

    /// How much likelier numbers are under it than they were drawn.
    pub fn likelier(&self, numbers: &Aimed) -> f64 {
        libm::exp(self.log(&numbers.sums) - numbers.log_drawn)
    }
}
