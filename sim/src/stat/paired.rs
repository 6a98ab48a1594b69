//! Two things flown on the same flights: how sure is it that one really has the smaller chance, and how many times that of
//! the other is it?

use super::interval::{EVIDENCE_MIN, PointSet, REPLICATES_MIN};
use super::{beta, student};

/// Flights that speak for one of two delays, by differences of their chances.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Side {
    /// Sum of the differences.
    pub sum: f64,
    /// Sum of their squares.
    pub squares: f64,
}

impl Side {
    /// As a Poisson count of events of one size: its number and the size.
    fn events(self) -> (f64, f64) {
        (self.sum * self.sum / self.squares, self.squares / self.sum)
    }
}

/// How the chances of two delays differ over the same flights.
#[derive(Clone, Debug, PartialEq)]
pub struct Differences {
    /// Per replicate: by how much the second's chances add up to more than the first's, and the flights.
    pub net: Vec<(f64, u64)>,
    /// Flights in which the first's chance is the larger, those in which the second's is.
    pub worse: [Side; 2],
}

impl Differences {
    /// How certain it is, from sampling alone, that the first delay has the smaller chance of a bad opening: among runs
    /// that are so certain, or more, of what is not so, no larger share than is left to 1. No difference at all gives
    /// one half.
    ///
    /// Only flights on which the two differ say anything. Where few speak against the first, they and those that speak
    /// for it are two Poisson counts of events, each of its own size (Fay and Feuer, Statistics in Medicine 16, 1997,
    /// 791; from memory), and one more is added against it, since a flight nobody saw may speak against it with all its
    /// weight; for counted flights that is the exact sign test (McNemar's). Where many do, the mean difference is held
    /// against its spread between replicates (between flights where they are independent) with Student's t, such a
    /// flight added to the variance.
    pub fn ahead(&self, points: PointSet) -> f64 {
        let net: f64 = self.net.iter().map(|r| r.0).sum();
        let [first, second] = self.worse;
        if net < 0.0 {
            return 1.0 - self.lead(-net, [second, first], points);
        }
        if net > 0.0 { self.lead(net, [first, second], points) } else { 0.5 }
    }

    fn lead(&self, net: f64, [against, in_favour]: [Side; 2], points: PointSet) -> f64 {
        let flown = || self.net.iter().filter(|r| r.1 > 0);
        let (replicates, flights) = (flown().count() as f64, flown().map(|r| r.1).sum::<u64>());
        let all = flights as f64;
        let many = against.squares > 0.0 && against.events().0 >= EVIDENCE_MIN;
        let spread = match points {
            PointSet::Sobol if many && replicates as usize >= REPLICATES_MIN => {
                let mean = self.net.iter().map(|r| r.0).sum::<f64>() / all;
                let strayed = flown().map(|&(net, n)| net - n as f64 * mean);
                Some((strayed.map(|miss| miss * miss).sum::<f64>(), replicates))
            }
            PointSet::Pseudorandom if many => {
                Some(((against.squares + in_favour.squares - net * net / all).max(0.0), all))
            }
            _ => None,
        };
        let doubt = match spread {
            Some((squares, count)) => {
                let variance = squares * count / (count - 1.0);
                student::above(net / (variance + 1.0).sqrt(), count as u64 - 1)
            }
            None => {
                let (more, size) = Side { sum: against.sum + 1.0, squares: against.squares + 1.0 }.events();
                let (seen, seen_size) = in_favour.events();
                beta::regularised(size / (size + seen_size), seen, more)
            }
        };
        1.0 - doubt.min(0.5)
    }
}

/// Chances of a first and a second, summed over the same flights.
#[derive(Clone, Debug, PartialEq)]
pub struct Pairs {
    /// Per replicate: sums of the first's and of the second's chances, and the flights.
    pub sums: Vec<([f64; 2], u64)>,
    /// Sums of the squares of all chances of each.
    pub squares: [f64; 2],
    /// Sum of their products, flight by flight.
    pub product: f64,
}

/// How many times a first chance the second is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratio {
    /// Estimate.
    pub estimate: f64,
    /// Lower end of the interval.
    pub lower: f64,
    /// Upper end of the interval.
    pub upper: f64,
}

/// A second chance against a first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compared {
    /// How many times the first it is; `None` where that is not known.
    pub ratio: Option<Ratio>,
    /// How certain it is, from sampling alone, that it is the smaller one.
    pub less: f64,
}

impl Pairs {
    /// Second over first with its interval, after Fieller (Biometrika 31, 1940; from memory): every ratio r for which the
    /// second's sum less r times the first's is within Student's t of nothing, by its spread between replicates (between
    /// flights where they are independent). To the variance of each one flight of chance 1 is added that nobody saw.
    /// `None` where that leaves no upper end, or where there are too few replicates.
    pub fn ratio(&self, points: PointSet, confidence: f64) -> Option<Ratio> {
        let flown = || self.sums.iter().filter(|r| r.1 > 0);
        let (replicates, flights) = (flown().count(), flown().map(|r| r.1).sum::<u64>());
        let all = flights as f64;
        let total = |k: usize| flown().map(|r| r.0[k]).sum::<f64>();
        let [first, second] = [total(0), total(1)];
        let (of_first, of_second, of_both, count) = match points {
            PointSet::Sobol if replicates >= REPLICATES_MIN => {
                let strayed = |k: usize, sum: f64| move |r: &([f64; 2], u64)| r.0[k] - r.1 as f64 * sum / all;
                let (a, b) = (strayed(0, first), strayed(1, second));
                (
                    flown().map(|r| a(r) * a(r)).sum::<f64>(),
                    flown().map(|r| b(r) * b(r)).sum::<f64>(),
                    flown().map(|r| a(r) * b(r)).sum::<f64>(),
                    replicates as u64,
                )
            }
            PointSet::Pseudorandom if flights > 1 => (
                (self.squares[0] - first * first / all).max(0.0),
                (self.squares[1] - second * second / all).max(0.0),
                self.product - first * second / all,
                flights,
            ),
            _ => return None,
        };
        let scale = count as f64 / (count - 1) as f64;
        let t = student::two_sided(confidence, count - 1);
        // a r^2 - 2 b r + c <= 0.
        let a = first * first - t * t * (scale * of_first + 1.0);
        let b = first * second - t * t * scale * of_both;
        let c = second * second - t * t * (scale * of_second + 1.0);
        if !(a > 0.0 && b * b >= a * c) {
            return None;
        }
        let apart = (b * b - a * c).sqrt();
        Some(Ratio { estimate: second / first, lower: ((b - apart) / a).max(0.0), upper: (b + apart) / a })
    }
}

#[cfg(test)]
mod tests {
    use super::super::sampler::Sampler;
    use super::*;

    /// Counted flights, all in one replicate.
    fn counted(best_only_bad: u64, other_only_bad: u64) -> Differences {
        let (b, c) = (best_only_bad as f64, other_only_bad as f64);
        Differences { net: vec![(c - b, 3_000_000)], worse: [b, c].map(|n| Side { sum: n, squares: n }) }
    }

    /// Sums of binomial coefficients over powers of two.
    #[test]
    fn counted_flights_get_the_sign_test() {
        for (b, c, doubt) in [
            (0, 0, 0.5),
            (0, 1, 0.5),
            (0, 5, 1.0 / 32.0),
            (1, 5, 7.0 / 64.0),
            (3, 10, 378.0 / 8192.0),
            (10, 3, 1.0 - 378.0 / 8192.0),
        ] {
            let found = counted(b, c).ahead(PointSet::Sobol);
            assert!((found - (1.0 - doubt)).abs() < 1e-13, "{b} {c}: {found}");
        }
    }

    /// Many flights of small differences, all one way, are certain but for what nobody saw: exp(-4) for a lead of 4.
    #[test]
    fn a_lead_of_small_differences_is_as_certain_as_it_is_large() {
        let small =
            Differences { net: vec![(4.0, 10_000)], worse: [Side::default(), Side { sum: 4.0, squares: 0.001_6 }] };
        let found = small.ahead(PointSet::Sobol);
        assert!((found - (1.0 - libm::exp(-4.0))).abs() < 1e-4, "{found}");
    }

    #[test]
    fn fair_and_sure() {
        for points in [PointSet::Sobol, PointSet::Pseudorandom] {
            for n in [0, 1, 100, 1_000_000] {
                assert_eq!(counted(n, n).ahead(points), 0.5);
                let sum = counted(n, n + 7).ahead(points) + counted(n + 7, n).ahead(points);
                assert!((sum - 1.0).abs() < 1e-8);
            }
        }
        assert!(counted(0, 100).ahead(PointSet::Sobol) > 1.0 - 1e-15);
    }

    /// Differences of flights at two uniform numbers: most speak for the first, seldom one speaks against it with all
    /// its weight; on the average they speak against it by `lean`.
    fn hard(sampler: &mut Sampler, points: PointSet, rare: f64, lean: f64, flights: u64) -> Differences {
        let mut found = Differences { net: Vec::new(), worse: [Side::default(); 2] };
        let usual = (rare - lean) / (1.0 - rare);
        for _ in 0..16 {
            let each = flights / 16;
            let (start, mut net) = (sampler.uniform(), 0.0);
            for k in 0..each {
                let x = match points {
                    PointSet::Sobol => (k as f64 + start) / each as f64,
                    PointSet::Pseudorandom => sampler.uniform(),
                };
                let d = if sampler.uniform() < rare { -1.0 } else { usual * (1.0 + 0.9 * (2.0 * x - 1.0)) };
                net += d;
                let side = &mut found.worse[usize::from(d > 0.0)];
                side.sum += d.abs();
                side.squares += d * d;
            }
            found.net.push((net, each));
        }
        found
    }

    /// A claim of 95 % is wrong in one run of twenty at most, also where rare flights decide that nobody may have seen.
    /// 4000 runs stray by 0.35 %, of which three.
    #[test]
    fn claims_are_right() {
        let mut sampler = Sampler(5);
        for points in [PointSet::Sobol, PointSet::Pseudorandom] {
            for flights in [256, 1024] {
                for rare in [0.0, 0.0003, 0.001, 0.003, 0.01, 0.03, 0.1] {
                    let wrong = (0..4000)
                        .filter(|_| hard(&mut sampler, points, rare, 1e-6, flights).ahead(points) >= 0.95)
                        .count();
                    assert!(wrong <= 242, "{points:?} {flights} {rare}: {wrong}");
                }
                // And it is made where it is right by far.
                let right = (0..200).filter(|_| hard(&mut sampler, points, 0.01, -0.08, flights).ahead(points) >= 0.95);
                assert!(right.count() > 190, "{points:?} {flights}");
            }
        }
    }

    /// Chances of flights at two uniform numbers.
    fn pairs(sampler: &mut Sampler, points: PointSet, mean: f64, flights: u64) -> Pairs {
        let mut found = Pairs { sums: Vec::new(), squares: [0.0; 2], product: 0.0 };
        for _ in 0..16 {
            let each = flights / 16;
            let start = sampler.uniform();
            let mut sums = [0.0; 2];
            for k in 0..each {
                let x = match points {
                    PointSet::Sobol => (k as f64 + start) / each as f64,
                    PointSet::Pseudorandom => sampler.uniform(),
                };
                // The means of 3 x^2 and of y are 1 and a half.
                let y = sampler.uniform();
                let chances = [mean * 3.0 * x * x, mean * 3.0 * x * x * y];
                for i in 0..2 {
                    sums[i] += chances[i];
                    found.squares[i] += chances[i] * chances[i];
                }
                found.product += chances[0] * chances[1];
            }
            found.sums.push((sums, each));
        }
        found
    }

    /// The second's mean is half of the first's. Covered in 95 % of runs, or more: 2000 runs
    /// stray by half a per cent, of which three.
    #[test]
    fn ratios_are_covered() {
        let mut sampler = Sampler(11);
        for points in [PointSet::Sobol, PointSet::Pseudorandom] {
            for (mean, flights) in [(0.03, 1024), (0.2, 1024), (0.2, 256)] {
                let covered = (0..2000).filter(|_| {
                    let found = pairs(&mut sampler, points, mean, flights).ratio(points, 0.95);
                    found.is_some_and(|r| {
                        r.lower <= 0.5 && 0.5 <= r.upper && r.lower < r.estimate && r.estimate < r.upper
                    })
                });
                let covered = covered.count();
                assert!(covered >= 1870, "{points:?} {mean} {flights}: {covered}");
            }
        }
    }

    /// Equal replicates of many flights: only the unseen flight is left, t / sum either way; none seen says nothing.
    #[test]
    fn ratios_of_next_to_nothing_are_not_known() {
        let pairs =
            |first: f64, second: f64| Pairs { sums: vec![([first, second], 100); 16], squares: [0.0; 2], product: 0.0 };
        let t = 2.131_449_545_559_323_f64;
        let [sum, twice] = [16.0_f64 * 20.0, 16.0 * 40.0];
        let found = pairs(20.0, 40.0).ratio(PointSet::Sobol, 0.95).map(|r| [r.estimate, r.lower, r.upper]);
        // (2 s - r s)^2 = t^2 (1 + r^2).
        let (a, b, c) = (sum * sum - t * t, sum * twice, twice * twice - t * t);
        let apart: f64 = (b * b - a * c).sqrt();
        let want = [2.0, (b - apart) / a, (b + apart) / a];
        assert!(found.is_some_and(|found| found.iter().zip(want).all(|(f, w)| (f - w).abs() < 1e-9)), "{found:?}");
        assert_eq!(pairs(0.1, 0.05).ratio(PointSet::Sobol, 0.95), None);
        assert_eq!(pairs(20.0, 0.0).ratio(PointSet::Sobol, 0.95).map(|r| r.lower), Some(0.0));
        let few = Pairs { sums: vec![([20.0, 40.0], 100); 15], ..pairs(20.0, 40.0) };
        assert_eq!(few.ratio(PointSet::Sobol, 0.95), None);
    }
}
