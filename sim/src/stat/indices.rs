//! Sobol' indices: which part of a quantity's variance each group of independent inputs accounts for.
//!
//! Of two independent points A and B a third is made per group: AB takes the group from B and the rest from A. The
//! first-order index S is the part of the variance that would vanish if the group were known; the total index ST is the
//! part that would stay if everything else were known (Saltelli et al., Comput. Phys. Commun. 181 (2010) 259).
//!
//! f(AB) shares the group with f(B) and the rest with f(A), so S is the correlation of the former pair and 1 - ST that of
//! the latter. A and B are independent, but among a thousand sets they correlate by chance, and both correlations are
//! off by that. Taking f(AB) on f(A) and f(B) together, as a regression with two variables does, removes it:
//! S = (p - q r) / (1 - r^2) and 1 - ST = (q - p r) / (1 - r^2) with the correlations p of B with AB, q of A with AB, r
//! of A with B (the idea of Glen and Isaacs, Environ. Model. Softw. 37 (2012) 157, who correct for the same chance
//! correlation; from memory). A group that changes nothing then has S = ST = 0 and one that changes everything S = ST =
//! 1, exactly, at any number of sets.
//!
//! Intervals come from the spread between independent replicates: a delete-one jackknife with Student's factor.

use super::interval::{CONFIDENCE, Interval, clopper_pearson};
use super::student;

/// Places of f(A), f(B) and f(AB) in a set.
const A: usize = 0;
const B: usize = 1;
const AB: usize = 2;
const PAIRS: [(usize, usize); 6] = [(A, A), (B, B), (AB, AB), (A, B), (A, AB), (B, AB)];

/// Hits and misses of a chance, A and B together, below which nothing is said of what drives it: from 100 on, intervals
/// of the smaller first-order indices covered 91 % (measured).
pub const HITS_MIN: u64 = 160;
/// Below this many sets in which an exchange changes a yes into a no, their number bounds the index too: the spread
/// between replicates is not to be trusted with so few.
const CHANGES_FEW: u64 = 32;
/// A quantity that varies by less than this part of its mean does not vary: what is left is rounding.
const ROUNDING: f64 = 1e-9;

/// Sums over sets of f(A), f(B), f(AB) of one group: means and centred products, so that nothing cancels.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sets {
    sets: u64,
    mean: [f64; 3],
    /// Per pair: sum of the products of what they are off their means.
    products: [f64; 6],
}

impl Sets {
    /// Counts a set: f(A), f(B), f(AB).
    pub fn add(&mut self, values: [f64; 3]) {
        self.merge(&Self { sets: 1, mean: values, products: [0.0; 6] });
    }

    /// Adds the sets of another sum (Chan, Golub and LeVeque, Am. Stat. 37 (1983) 242). The order matters to the last
    /// bit, so callers merge in one fixed order.
    pub fn merge(&mut self, other: &Self) {
        if other.sets == 0 {
            return;
        }
        let (here, there) = (self.sets as f64, other.sets as f64);
        let off: [f64; 3] = core::array::from_fn(|i| other.mean[i] - self.mean[i]);
        let weight = here * there / (here + there);
        for (k, (i, j)) in PAIRS.into_iter().enumerate() {
            self.products[k] += other.products[k] + weight * (off[i] * off[j]);
        }
        for (mean, off) in self.mean.iter_mut().zip(off) {
            *mean += off * (there / (here + there));
        }
        self.sets += other.sets;
    }

    /// Sets counted.
    pub fn sets(&self) -> u64 {
        self.sets
    }

    /// Standard deviation of f, from A and B together; `None` where it does not vary.
    fn deviation(&self) -> Option<f64> {
        let [aa, bb, gg, ..] = self.products;
        let sets = self.sets as f64;
        let least = ROUNDING * self.mean[A].abs().max(self.mean[B].abs());
        let varies = |square: f64| (square / sets).sqrt() > least;
        (varies(aa) && varies(bb) && varies(gg)).then(|| (0.5 * (aa + bb) / sets).sqrt())
    }

    /// First-order and total index; `None` where f does not vary.
    fn indices(&self) -> Option<[f64; 2]> {
        self.deviation()?;
        let [aa, bb, gg, ab, ag, bg] = self.products;
        let (p, q, r) = (bg / (bb * gg).sqrt(), ag / (aa * gg).sqrt(), ab / (aa * bb).sqrt());
        let rest = 1.0 - r * r;
        (rest > 0.0).then(|| [(p - q * r) / rest, 1.0 - (q - p * r) / rest])
    }

    /// Sets in which two members of a quantity that is 0 or 1 differ.
    fn differ(&self, (i, j): (usize, usize)) -> u64 {
        let product = |pair| PAIRS.iter().position(|p| *p == pair).map_or(0.0, |k| self.products[k]);
        let off = self.mean[i] - self.mean[j];
        (product((i, i)) + product((j, j)) - 2.0 * product((i, j)) + self.sets as f64 * off * off).round() as u64
    }

    /// Hits or misses among A and B, whichever are fewer, of a quantity that is 0 or 1.
    fn rarer(&self) -> u64 {
        let hits = (self.sets as f64 * (self.mean[A] + self.mean[B])).round() as u64;
        hits.min(2 * self.sets - hits)
    }
}

/// What f is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A number.
    Number,
    /// 0 or 1.
    Chance,
}

/// A figure between 0 and 1 with its 95 % interval. Noise beyond 0 and 1 is cut off, that of a first-order index also
/// beyond the total one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Index {
    /// The figure.
    pub estimate: f64,
    /// Lower end.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
}

impl Index {
    fn new(estimate: f64, interval: Interval) -> Self {
        let cut = |x: f64| x.clamp(0.0, 1.0);
        Self { estimate: cut(estimate), lower: cut(interval.lower), upper: cut(interval.upper) }
    }

    /// By which part the standard deviation would shrink if the group were known: 1 - sqrt(1 - S) of a first-order index,
    /// the root of the mean square over what it may turn out to be.
    pub fn narrowing(&self) -> Self {
        let of = |s: f64| 1.0 - (1.0 - s).sqrt();
        Self { estimate: of(self.estimate), lower: of(self.lower), upper: of(self.upper) }
    }

    fn widened(&mut self, lower: f64, upper: f64) {
        self.lower = self.lower.min(lower.clamp(0.0, 1.0));
        self.upper = self.upper.max(upper.clamp(0.0, 1.0));
    }
}

/// The indices of one group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Indices {
    /// Sets they come from.
    pub sets: u64,
    /// Part of the variance that vanishes if the group alone becomes known.
    pub first_order: Index,
    /// Part of the variance that stays if all but the group becomes known.
    pub total: Index,
}

/// What is known of one quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Standard deviation of the quantity.
    pub deviation: f64,
    /// Sum of the first-order indices before anything is cut off.
    pub sum: Index,
    /// One per group, in the order given.
    pub groups: Vec<Indices>,
}

/// Why nothing is known of what drives a quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Silent {
    /// It does not vary, or fewer than two replicates have it.
    Constant,
    /// A chance with fewer than [`HITS_MIN`] hits or misses.
    Rare,
}

/// The indices of every group: `groups` holds the sums of each replicate of each group. Replicates must be independent
/// of each other; groups may differ in the sets that they have.
pub fn indices(groups: &[Vec<Sets>], kind: Kind) -> Result<Found, Silent> {
    let replicates = groups.iter().map(Vec::len).max().unwrap_or(0);
    // Without replicate `out`, or all.
    let without = |out: Option<usize>| -> Vec<Sets> {
        let sum = |group: &Vec<Sets>| {
            let mut all = Sets::default();
            group.iter().enumerate().filter(|(k, _)| Some(*k) != out).for_each(|(_, part)| all.merge(part));
            all
        };
        groups.iter().map(sum).collect()
    };
    let figures = |all: &[Sets]| -> Option<Vec<[f64; 2]>> { all.iter().map(Sets::indices).collect() };
    let all = without(None);
    if kind == Kind::Chance && all.iter().any(|sets| sets.rarer() < HITS_MIN) {
        return Err(if all.iter().any(|s| s.deviation().is_some()) { Silent::Rare } else { Silent::Constant });
    }
    let whole = figures(&all).filter(|f| !f.is_empty() && replicates > 1).ok_or(Silent::Constant)?;
    let left: Vec<Vec<[f64; 2]>> =
        (0..replicates).map(|out| figures(&without(Some(out)))).collect::<Option<_>>().ok_or(Silent::Constant)?;
    let t = student::two_sided(CONFIDENCE, replicates as u64 - 1);
    let interval = |estimate: f64, of: &dyn Fn(&[[f64; 2]]) -> f64| {
        let each: Vec<f64> = left.iter().map(|figures| of(figures)).collect();
        let count = each.len() as f64;
        let mean = each.iter().sum::<f64>() / count;
        let squares: f64 = each.iter().map(|x| (x - mean) * (x - mean)).sum();
        let half = t * (squares * (count - 1.0) / count).sqrt();
        Interval { lower: estimate - half, upper: estimate + half }
    };
    let index = |of: &dyn Fn(&[[f64; 2]]) -> f64| (of(&whole), interval(of(&whole), of));
    let groups = (0..whole.len()).map(|g| {
        let [(first, around_first), (total, around_total)] = [0, 1].map(|which| index(&move |f| f[g][which]));
        let mut found = Indices {
            sets: all[g].sets,
            first_order: Index::new(first, around_first),
            total: Index::new(total, skewed(total, around_total)),
        };
        if kind == Kind::Chance {
            few_changes(&all[g], &mut found);
        }
        // S is never above ST, whose noise is the smaller where the two are close and small.
        let most = found.total.estimate.min(found.first_order.estimate);
        found.first_order.estimate = most;
        found.first_order.widened(most, most);
        found
    });
    let (sum, around) = index(&|f| f.iter().map(|[first, _]| first).sum());
    Ok(Found {
        deviation: all.iter().filter_map(Sets::deviation).next().ok_or(Silent::Constant)?,
        groups: groups.collect(),
        sum: Index { estimate: sum, lower: around.lower, upper: around.upper },
    })
}

/// A total index is a mean of squares: where few sets carry it, it is far more often found too small than too large.
/// Its interval reaches as far up on the scale of logarithms as it does on its own.
fn skewed(estimate: f64, around: Interval) -> Interval {
    if estimate <= 0.0 {
        return around;
    }
    let factor = libm::exp((around.upper - estimate) / estimate);
    Interval { upper: around.upper.max(estimate * factor), ..around }
}

/// Where an exchange seldom turns a yes into a no, the share of sets in which it does bounds the index: of a quantity
/// that is 0 or 1, ST is that share over twice the variance, and 1 - S is the same for the rest of the inputs.
fn few_changes(sets: &Sets, found: &mut Indices) {
    let [aa, bb, ..] = sets.products;
    let twice = (aa + bb) / sets.sets as f64;
    let bound = |pair| {
        let changed = sets.differ(pair);
        let share = clopper_pearson(changed, sets.sets, CONFIDENCE);
        (changed < CHANGES_FEW).then_some((share.lower / twice, share.upper / twice))
    };
    if let Some((lower, upper)) = bound((A, AB)) {
        found.total.widened(lower, upper);
        // S is never above ST.
        found.first_order.widened(found.first_order.lower, upper);
    }
    if let Some((lower, upper)) = bound((B, AB)) {
        found.first_order.widened(1.0 - upper, 1.0 - lower);
        found.total.widened(1.0 - upper, found.total.upper);
    }
}

#[cfg(test)]
mod tests {
    use super::super::sampler::Sampler;
    use super::*;

    /// Sums in 16 replicates of sets from `set`.
    fn gathered(seed: u64, sets: usize, set: impl Fn(&mut Sampler) -> [f64; 3]) -> Vec<Sets> {
        let mut sampler = Sampler(seed);
        let mut replicates = vec![Sets::default(); 16];
        (0..sets).for_each(|k| replicates[k % 16].add(set(&mut sampler)));
        replicates
    }

    /// Large and skewed, so that rounding would show.
    fn value(sampler: &mut Sampler) -> f64 {
        1e3 + libm::exp(sampler.normal())
    }

    #[test]
    fn what_changes_nothing_is_0_and_what_changes_all_is_1() {
        let nothing = gathered(1, 300, |s| {
            let (a, b) = (value(s), value(s));
            [a, b, a]
        });
        let all = gathered(2, 300, |s| {
            let (a, b) = (value(s), value(s));
            [a, b, b]
        });
        let Ok(found) = indices(&[nothing, all], Kind::Number) else { panic!("it varies") };
        for (group, exact) in found.groups.iter().zip([0.0, 1.0]) {
            for index in [group.first_order, group.total] {
                assert_eq!([index.estimate, index.lower, index.upper], [exact; 3]);
            }
        }
        assert_eq!((found.sum.estimate, found.groups[0].sets), (1.0, 300));
        // What is known beforehand narrows nothing; what decides all leaves nothing.
        assert_eq!(found.groups.iter().map(|g| g.first_order.narrowing().estimate).collect::<Vec<_>>(), [0.0, 1.0]);
    }

    #[test]
    fn a_chance_is_never_told_to_be_certain() {
        let chance = |s: &mut Sampler| f64::from(u8::from(s.uniform() < 0.3));
        let idle = gathered(3, 1600, |s| {
            let (a, b) = (chance(s), chance(s));
            [a, b, a]
        });
        let Ok(found) = indices(&[idle], Kind::Chance) else { panic!("it varies") };
        let total = found.groups[0].total;
        // No change among 1600: at most 3.69 / 1600 (97.5 % of Poisson) over twice a variance of 0.21.
        assert_eq!((total.estimate, total.lower), (0.0, 0.0));
        assert!((total.upper - 3.69 / 1600.0 / 0.42).abs() < 4e-4, "{total:?}");
        assert!(found.groups[0].first_order.upper >= total.upper);
    }

    #[test]
    fn silent_where_nothing_can_be_said() {
        let same = gathered(4, 160, |_| [2.0, 2.0, 2.0]);
        assert_eq!(indices(&[same], Kind::Number), Err(Silent::Constant));
        let never = gathered(4, 1600, |_| [0.0; 3]);
        assert_eq!(indices(&[never], Kind::Chance), Err(Silent::Constant));
        let rare = gathered(5, 1600, |s| core::array::from_fn(|_| f64::from(u8::from(s.uniform() < 0.01))));
        assert_eq!(indices(&[rare], Kind::Chance), Err(Silent::Rare));
        let lone = vec![gathered(6, 16, |s| core::array::from_fn(|_| value(s)))[0]];
        assert_eq!(indices(&[lone], Kind::Number), Err(Silent::Constant));
        assert_eq!(indices(&[], Kind::Number), Err(Silent::Constant));
    }
}
