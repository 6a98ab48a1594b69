//! Where flights are drawn from to meet something rare: places among the standard normal numbers of a flight, found from the
//! flights that came nearest to it.
//!
//! A place is a normal law with a mean of its own, narrower or wider than the flights' along a few directions; across them
//! it is as wide. So numbers that decide only together are moved together. The nearest flights are divided into several
//! places where they must lie in several: a normal law cut off to a convex region varies by no more than its own variance in
//! any direction (H. J. Brascamp, E. H. Lieb, J. Funct. Anal. 22, 1976, 366; from memory), so those that vary by more are
//! divided along that direction, where it leaves least within the parts. They do not tell a few places from a shell: so one
//! more place is all of them taken together, which fills what lies between.

use super::axes::principal;

/// One flight in so many is drawn as if nothing had been moved.
pub const NOMINAL_EVERY: u64 = 4;
/// The most that a flight can count.
pub const HEAVIEST: f64 = NOMINAL_EVERY as f64;
/// Points of a replicate after which the places take their turns anew: in whole turns each has its exact share.
pub const TURN: u64 = 32;
/// Of so many flights of a place one is drawn wider, so that those on its flank do not count many times as much as the rest.
const WIDE_EVERY: u64 = 3;
/// Shares that places are given of the flights that are moved.
const SHARES: usize = ((TURN - TURN / NOMINAL_EVERY) / WIDE_EVERY) as usize;
/// The most places that flights are divided into; with all taken together no more than there are shares.
const PLACES: usize = 5;
/// Flights are divided where they vary by more than this in a direction: 1 and what chance adds to the widest of a hundred
/// directions.
const DIVIDED_FROM: f64 = 2.0;
/// Fewer flights are no place.
const PLACE_LEAST: usize = 5;
/// A number is moved where its mean or its variance lies so many standard errors off.
const SURE: f64 = 2.5;
/// The most numbers that are moved for a place, and flights' worth of evidence that each takes.
const NUMBERS: f64 = 12.0;
const EVIDENCE_OF_A_NUMBER: f64 = 4.0;
/// Widths are made so much larger than they were found: too wide costs little, too narrow misses the flank. 1.1 to 1.5 did as
/// well.
const WIDER: f64 = 1.2;
/// Widths that may be given, as standard deviations.
const WIDTHS: [f64; 2] = [0.05, 3.0];

/// A normal law that flights are drawn from.
#[derive(Debug, Clone, PartialEq)]
struct Place {
    /// Means of the proposal's numbers, in standard deviations from their own.
    means: Vec<f64>,
    /// Orthogonal unit directions along which it is not as wide as the flights' own law, each with its width.
    stretched: Vec<(Vec<f64>, f64)>,
    /// Flights of a turn that are drawn here.
    turns: u64,
}

impl Place {
    fn draw(&self, numbers: &mut [f64]) {
        for (direction, width) in &self.stretched {
            let along = (width - 1.0) * dot(direction, numbers);
            numbers.iter_mut().zip(direction).for_each(|(number, d)| *number += along * d);
        }
        numbers.iter_mut().zip(&self.means).for_each(|(number, mean)| *number += mean);
    }

    /// How many times as likely numbers are here as among plain flights.
    fn likelier(&self, numbers: &[f64]) -> f64 {
        let off: Vec<f64> = numbers.iter().zip(&self.means).map(|(number, mean)| number - mean).collect();
        let mut log = 0.5 * (dot(numbers, numbers) - dot(&off, &off));
        for (direction, width) in &self.stretched {
            let along = dot(direction, &off);
            log += 0.5 * along * along * (1.0 - 1.0 / (width * width)) - libm::log(*width);
        }
        libm::exp(log)
    }

    /// Half way to the flights' own width, in logarithms, where it is narrower.
    fn wide(&self, turns: u64) -> Self {
        let widened = |width: f64| if width < 1.0 { width.sqrt() } else { width };
        let stretched = self.stretched.iter().map(|(direction, width)| (direction.clone(), widened(*width)));
        Self { means: self.means.clone(), stretched: stretched.collect(), turns }
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Where flights are drawn from.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Proposal {
    /// The numbers of a flight that any place moves, rising.
    dimensions: Vec<usize>,
    places: Vec<Place>,
}

impl Proposal {
    /// Which numbers of a flight it moves.
    pub fn dimensions(&self) -> &[usize] {
        &self.dimensions
    }

    /// Whether point `point` of a replicate is drawn as if nothing had been moved.
    pub fn is_nominal(&self, point: u64) -> bool {
        self.places.is_empty() || point.is_multiple_of(NOMINAL_EVERY)
    }

    /// Moves the standard normal numbers in [`Self::dimensions`] of a flight, point `point` of its replicate; gives what it
    /// counts. Which place it is drawn from follows from the point: every place has the share of the flights that weights
    /// take it to have.
    pub fn draw(&self, point: u64, numbers: &mut [f64]) -> f64 {
        if !self.is_nominal(point) {
            let turn = point % TURN;
            let mut left = turn - turn / NOMINAL_EVERY - 1;
            for place in &self.places {
                if left < place.turns {
                    place.draw(numbers);
                    break;
                }
                left -= place.turns;
            }
        }
        1.0 / self.mixed(numbers)
    }

    /// How many times as likely a flight is as a plain one, from all of its standard normal numbers.
    pub(super) fn likelier(&self, numbers: &[f64]) -> f64 {
        let own: Vec<f64> = self.dimensions.iter().map(|k| numbers[*k]).collect();
        self.mixed(&own)
    }

    fn mixed(&self, numbers: &[f64]) -> f64 {
        if self.places.is_empty() {
            return 1.0;
        }
        let moved = self.places.iter().map(|place| place.turns as f64 * place.likelier(numbers)).sum::<f64>();
        1.0 / HEAVIEST + moved / TURN as f64
    }

    /// How far each number lies off over all places, in standard deviations (root mean square).
    pub fn moved(&self) -> Vec<(usize, f64)> {
        let turns = self.places.iter().map(|place| place.turns).sum::<u64>() as f64;
        let square = |at: usize| self.places.iter().map(|p| p.turns as f64 * p.means[at] * p.means[at]).sum::<f64>();
        self.dimensions.iter().enumerate().map(|(at, k)| (*k, (square(at) / turns).sqrt())).collect()
    }

    /// From the flights that came nearest.
    pub(super) fn of(nearest: &[Near]) -> Self {
        let together = Cloud::of(nearest.to_vec());
        let (mut whole, mut divisible) = (Vec::new(), vec![together]);
        while let Some(cloud) = divisible.pop() {
            let room = whole.len() + divisible.len() + 1 < PLACES;
            match if room { cloud.divided() } else { None } {
                // The widest next.
                Some(parts) => {
                    divisible.extend(parts);
                    divisible.sort_by(|a, b| a.strayed().total_cmp(&b.strayed()));
                }
                None => whole.push(cloud),
            }
        }
        let mut shares = shares(&whole.iter().map(|cloud| cloud.weight).collect::<Vec<_>>());
        if whole.len() > 1 {
            whole.push(Cloud::of(nearest.to_vec()));
            shares.push(1);
        }
        let mut dimensions: Vec<usize> = whole.iter().flat_map(|cloud| cloud.dimensions.iter().copied()).collect();
        dimensions.sort_unstable();
        dimensions.dedup();
        if dimensions.is_empty() {
            return Self::default();
        }
        let places = whole.iter().zip(shares).flat_map(|(cloud, share)| {
            let place = cloud.place(&dimensions, (WIDE_EVERY - 1) * share);
            let wide = place.wide(share);
            [place, wide]
        });
        let places = places.collect();
        Self { dimensions, places }
    }
}

/// Shares by weight, at least one each; where there are several one is left for all taken together.
fn shares(weights: &[f64]) -> Vec<u64> {
    let count = if weights.len() > 1 { SHARES - 1 } else { SHARES };
    let all: f64 = weights.iter().sum();
    let mut shares = vec![1_u64; weights.len()];
    for _ in weights.len()..count {
        let missing = weights.iter().zip(&shares).map(|(weight, share)| weight / all * count as f64 - *share as f64);
        let next = missing.enumerate().max_by(|a, b| a.1.total_cmp(&b.1)).map_or(0, |most| most.0);
        shares[next] += 1;
    }
    shares
}

/// A flight that came near.
#[derive(Clone, Copy)]
pub(super) struct Near<'a> {
    /// Its numbers as standard normals.
    pub(super) numbers: &'a [f64],
    /// How many plain flights it stands for.
    pub(super) weight: f64,
}

/// Flights that came near, and how they lie.
struct Cloud<'a> {
    members: Vec<Near<'a>>,
    weight: f64,
    /// So many flights of equal weight would say as much.
    evidence: f64,
    /// Numbers that lie off, rising, and their means.
    dimensions: Vec<usize>,
    means: Vec<f64>,
    /// Variances along the principal axes among them, the largest first.
    axes: Vec<(f64, Vec<f64>)>,
}

impl<'a> Cloud<'a> {
    fn of(mut members: Vec<Near<'a>>) -> Self {
        let weight = members.iter().map(|near| near.weight).sum::<f64>();
        // A few heavy ones would have it to themselves: E. L. Ionides, J. Comput. Graph. Stat. 17, 2008, 295 (from memory).
        let most = weight / (members.len() as f64).sqrt();
        members.iter_mut().for_each(|near| near.weight = near.weight.min(most));
        let all: f64 = members.iter().map(|near| near.weight).sum();
        let evidence = all * all / members.iter().map(|near| near.weight * near.weight).sum::<f64>();
        let mean = |value: &dyn Fn(&[f64]) -> f64| {
            members.iter().map(|near| near.weight * value(near.numbers)).sum::<f64>() / all
        };
        let count = members.first().map_or(0, |near| near.numbers.len());
        let off = |k: usize| {
            let centre = mean(&|z| z[k]);
            let variance = mean(&|z| (z[k] - centre) * (z[k] - centre));
            let sure = (centre.abs() * evidence.sqrt()).max((variance - 1.0).abs() * (0.5 * evidence).sqrt());
            (sure, k, centre)
        };
        let mut off: Vec<(f64, usize, f64)> = (0..count).map(off).filter(|off| off.0 > SURE).collect();
        off.sort_by(|a, b| b.0.total_cmp(&a.0));
        off.truncate((evidence / EVIDENCE_OF_A_NUMBER).clamp(1.0, NUMBERS) as usize);
        off.sort_by_key(|off| off.1);
        let (dimensions, means): (Vec<usize>, Vec<f64>) = off.into_iter().map(|(_, k, centre)| (k, centre)).unzip();
        let covariance = |a: usize, b: usize| {
            let (i, j) = (dimensions[a], dimensions[b]);
            mean(&|z| (z[i] - means[a]) * (z[j] - means[b]))
        };
        let size = dimensions.len();
        let axes = principal((0..size).map(|a| (0..size).map(|b| covariance(a, b)).collect()).collect());
        Self { weight, evidence, dimensions, means, axes, members }
    }

    /// Variances along principal axes between these are what chance makes of ones: the ends of the law of V. A. Marchenko and
    /// L. A. Pastur, Math. USSR Sbornik 1, 1967, 457 (from memory).
    fn chance(&self) -> [f64; 2] {
        let ratio = (self.dimensions.len() as f64 / self.evidence).sqrt();
        let low = (1.0 - ratio).max(0.0);
        [low * low, (1.0 + ratio) * (1.0 + ratio)]
    }

    /// How much it would gain by being divided.
    fn strayed(&self) -> f64 {
        self.weight * self.axes.first().map_or(0.0, |axis| axis.0)
    }

    /// In two, where no one place varies as much: across its widest axis, where least is left within the parts.
    fn divided(&self) -> Option<[Self; 2]> {
        let (_, direction) =
            self.axes.first().filter(|(variance, _)| *variance > self.chance()[1].max(DIVIDED_FROM))?;
        let along =
            |near: &Near| -> f64 { self.dimensions.iter().zip(direction).map(|(k, d)| near.numbers[*k] * d).sum() };
        let mut members: Vec<(f64, Near)> = self.members.iter().map(|near| (along(near), *near)).collect();
        members.sort_by(|a, b| a.0.total_cmp(&b.0));
        let add = |sum: (f64, f64), (along, near): &(f64, Near)| (sum.0 + near.weight, sum.1 + near.weight * along);
        let all = members.iter().fold((0.0, 0.0), add);
        let (mut before, mut best) = ((0.0, 0.0), (f64::NEG_INFINITY, 0));
        for (at, member) in members.iter().enumerate() {
            if at >= PLACE_LEAST && at + PLACE_LEAST <= members.len() {
                let after = (all.0 - before.0, all.1 - before.1);
                let between = before.1 * before.1 / before.0 + after.1 * after.1 / after.0;
                if between > best.0 {
                    best = (between, at);
                }
            }
            before = add(before, member);
        }
        let (_, at) = best;
        let other = (at > 0).then(|| members.split_off(at))?;
        Some([members, other].map(|part| Self::of(part.into_iter().map(|member| member.1).collect())))
    }

    /// The normal law that is drawn from, over the numbers of a proposal.
    fn place(&self, dimensions: &[usize], turns: u64) -> Place {
        let over_all = |own: &[f64]| -> Vec<f64> {
            let of = |k: &usize| self.dimensions.binary_search(k).map_or(0.0, |at| own[at]);
            dimensions.iter().map(of).collect()
        };
        // The inverse of a variance found from few is too large by this (the mean of the inverse Wishart law).
        let left = self.evidence - self.dimensions.len() as f64 - 1.0;
        let unbiased = self.evidence / left;
        let [low, high] = self.chance();
        let differs = |variance: f64| left > 1.0 && !(low..=high).contains(&variance);
        let width = |variance: f64| (WIDER * (unbiased * variance.max(0.0)).sqrt()).clamp(WIDTHS[0], WIDTHS[1]);
        let stretched = self.axes.iter().filter(|axis| differs(axis.0)).map(|axis| (over_all(&axis.1), width(axis.0)));
        Place { means: over_all(&self.means), stretched: stretched.collect(), turns }
    }
}

#[cfg(test)]
mod tests {
    use super::super::sampler::Sampler;
    use super::*;

    /// Three places, one of them narrow along a diagonal and wide across it, in numbers that are not the first.
    fn three() -> Proposal {
        let diagonal = vec![0.5_f64.sqrt(), 0.5_f64.sqrt(), 0.0];
        let other = vec![0.5_f64.sqrt(), -0.5_f64.sqrt(), 0.0];
        let places = vec![
            Place { means: vec![2.0, -1.0, 0.0], stretched: vec![(diagonal, 0.3), (other, 2.0)], turns: 12 },
            Place { means: vec![-2.0, 0.0, 0.5], stretched: Vec::new(), turns: 9 },
            Place { means: vec![0.0, 0.0, 1.0], stretched: vec![(vec![0.0, 0.0, 1.0], 0.5)], turns: 3 },
        ];
        Proposal { dimensions: vec![1, 3, 4], places }
    }

    /// Whatever was moved, the weights are those of the law: their mean is 1, that of a number is where it was, and so are
    /// the second moments. All of it also by the numbers of the whole flight.
    #[test]
    fn weights_undo_what_was_moved() {
        let proposal = three();
        let mut sampler = Sampler(3);
        let flights = 20_000 * TURN;
        let (mut weights, mut means, mut products, mut heaviest) = (0.0, [0.0; 3], [[0.0; 3]; 3], 0.0_f64);
        for flight in 0..flights {
            let mut numbers: [f64; 3] = core::array::from_fn(|_| sampler.normal());
            let weight = proposal.draw(flight, &mut numbers);
            let [a, b, c] = numbers;
            assert_eq!(1.0 / proposal.likelier(&[9.0, a, 9.0, b, c]), weight);
            weights += weight / flights as f64;
            heaviest = heaviest.max(weight);
            for (i, x) in numbers.iter().enumerate() {
                means[i] += weight * x / flights as f64;
                numbers.iter().zip(&mut products[i]).for_each(|(y, sum)| *sum += weight * x * y / flights as f64);
            }
        }
        // A weight varies by less than 4, a product by less than 12: standard errors below 0.0025 and 0.0044.
        assert!((weights - 1.0).abs() < 0.01, "{weights}");
        assert!(means.iter().all(|mean| mean.abs() < 0.01), "{means:?}");
        for (i, row) in products.iter().enumerate() {
            for (j, product) in row.iter().enumerate() {
                assert!((product - f64::from(u8::from(i == j))).abs() < 0.018, "{products:?}");
            }
        }
        assert!(heaviest <= HEAVIEST && heaviest > 3.9, "{heaviest}");
        let far: Vec<f64> = proposal.moved().iter().map(|(_, far)| *far).collect();
        for (far, want) in far.iter().zip([3.5_f64.sqrt(), 0.5_f64.sqrt(), (0.25 * 0.375 + 0.125_f64).sqrt()]) {
            assert!((far - want).abs() < 1e-12, "{far} {want}");
        }
    }

    /// Two clouds on a diagonal, of which one has a fifth of the flights, are two places and all together; one cloud is one,
    /// and one that lies on a plane is as narrow across it.
    #[test]
    fn places_are_where_flights_lie() {
        let mut sampler = Sampler(5);
        let mut flights = |far: &dyn Fn(usize) -> f64| -> Vec<Vec<f64>> {
            let flight = |at: usize| {
                let mut numbers: Vec<f64> = (0..80).map(|_| sampler.normal()).collect();
                let across = (numbers[20] + numbers[40]) / 2.0;
                for k in [20, 40] {
                    numbers[k] += far(at) / 2.0_f64.sqrt() - 0.9 * across;
                }
                numbers
            };
            (0..400).map(flight).collect()
        };
        let near = |flights: &[Vec<f64>]| -> Proposal {
            Proposal::of(&flights.iter().map(|numbers| Near { numbers, weight: 1.0 }).collect::<Vec<_>>())
        };
        let place = |proposal: &Proposal, at: usize| {
            let of = |k: usize| proposal.dimensions.binary_search(&k).map_or(0.0, |d| proposal.places[at].means[d]);
            ((of(20) + of(40)) / 2.0_f64.sqrt(), proposal.places[at].turns)
        };
        let one = near(&flights(&|_| 3.0));
        assert_eq!(one.places.len(), 2, "{one:?}");
        assert!((place(&one, 0).0 - 3.0).abs() < 0.1);
        let narrowest = |place: &Place| place.stretched.iter().map(|s| s.1).fold(f64::INFINITY, f64::min);
        // A tenth, made wider.
        assert!((narrowest(&one.places[0]) - 0.12).abs() < 0.02, "{one:?}");
        assert!((narrowest(&one.places[1]) - 0.12_f64.sqrt()).abs() < 0.03, "{one:?}");
        let two = near(&flights(&|at| if at % 5 == 0 { -4.0 } else { 3.0 }));
        let mut found: Vec<(f64, u64)> = [0, 2].map(|at| place(&two, at)).into();
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        assert_eq!((two.places.len(), found[0].1 + found[1].1), (6, 14), "{two:?}");
        assert!(
            (found[0].0 + 4.0).abs() < 0.1 && (found[1].0 - 3.0).abs() < 0.1 && found[0].1 < found[1].1,
            "{found:?}"
        );
        assert!((place(&two, 4).0 - 1.6).abs() < 0.1 && place(&two, 4).1 == 2, "{two:?}");
    }

    /// By weight, none without, one left for all together.
    #[test]
    fn shares_by_weight() {
        assert_eq!(shares(&[3.0]), [8]);
        assert_eq!(shares(&[1.0, 1e-9]), [6, 1]);
        assert_eq!(shares(&[2.0, 5.0]), [2, 5]);
        assert_eq!(shares(&[1.0; 5]).iter().sum::<u64>(), 7);
    }
}
