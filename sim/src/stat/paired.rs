//! Two delays flown on the same flights: how sure is it that one is really the safer?

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
}
