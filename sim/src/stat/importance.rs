//! Chances too rare to count: flights are drawn where it happens, and each counts by how much likelier that made it
//! (importance sampling).
//!
//! Where it happens is found in rounds (cross-entropy method with levels: R. Y. Rubinstein, D. P. Kroese, The Cross-Entropy
//! Method, 2004, chapter 4; from memory): the flights that came nearest to it say from where the next round is drawn
//! ([`places`](super::places)), until enough of them are there. What is moved are the numbers of a flight as standard
//! normals; one that says nothing about it stays as it is. Flights of all rounds say it together, each weighted as if it had
//! been drawn from the mixture of all of them (J.-M. Cornuet and others, Scand. J. Statist. 39, 2012, 798; from memory): what an
//! early round met is not forgotten because a later one looked elsewhere.
//!
//! The flights that count are drawn afresh, one in [`NOMINAL_EVERY`] of them as if nothing had been moved. So no flight
//! counts more than [`HEAVIEST`] times, however badly the rounds went (a defensive mixture: T. Hesterberg, Technometrics
//! 37, 1995, 185; from memory), and the mean is that of plain counting whatever was moved.

use core::ops::Range;

use super::interval::{Chance, Estimator, Interval, PointSet, REPLICATES_MIN, Sums, clopper_pearson, score};
use super::places::{HEAVIEST, NOMINAL_EVERY, Near, Proposal, TURN};
use super::student;

/// Flights of a round of the search.
pub const ROUND: u64 = 1024;
/// The most rounds.
pub const ROUNDS: u64 = 8;
/// Share of a round's flights that say where the next is drawn from.
const NEAREST: f64 = 0.2;
/// So many flights in which it happens say as much, however few of a round they are: a small place is met by few.
const ENOUGH: usize = 100;
/// Flights' worth of evidence of where it happens that end the search. Until then it goes on while rounds are left, also where
/// it seems to come no nearer: a place may be smaller than what nobody can move makes of a landing, and what more rounds cost
/// is no more than the flights that are counted.
const KNOWN: f64 = 200.0;
/// Below this many flights' worth of evidence the spread between replicates is not trusted.
const EVIDENCE_MIN: f64 = 32.0;
/// Flights that are flown at a time while they are counted.
const AT_A_TIME: u64 = 8192;
/// Independent replicates that flights take in turn.
const REPLICATES: usize = REPLICATES_MIN;

/// The name of the interval where evidence is plenty.
pub const WEIGHTED_SPREAD: &str =
    "spread of weighted flights, score form, an unseen one as heavy as the heaviest allowed for";
/// The name of the interval where it is not.
pub const WEIGHTED_FEW: &str =
    "Clopper-Pearson on weighted flights (after Fay and Feuer), the heaviest that may be allowed for";
/// The name of the interval where it was never seen.
pub const NEVER_SEEN: &str = "Clopper-Pearson on the flights that nothing moved, those of the search included";

/// A round of flights.
#[derive(Debug, Clone, Copy)]
pub struct Round<'a> {
    /// Which; each has numbers of its own.
    pub number: u64,
    /// Where its flights are drawn from.
    pub proposal: &'a Proposal,
    /// Whether the numbers of its flights are looked at.
    pub searching: bool,
}

/// What came of a flight.
#[derive(Debug, Clone, PartialEq)]
pub struct Tried {
    /// Its numbers as standard normals, as moved; none where nobody looks at them.
    pub numbers: Box<[f64]>,
    /// What it counts.
    pub weight: f64,
    /// How far it was from it; it happened where this is not above 0, and nothing is said where it is infinite.
    pub miss: f64,
}

/// A chance that was sought.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// The chance; its flights are those that were counted.
    pub chance: Chance,
    /// Where they were drawn from.
    pub proposal: Proposal,
    /// Flights of the search.
    pub searched: u64,
    /// Counted flights that would know it as well; `None` where it was hardly seen.
    pub counted_alike: Option<f64>,
}

/// The flights that are counted where so many are asked: as many of each replicate and of each place as its share is.
pub fn counted_flights(asked: u64) -> u64 {
    asked.next_multiple_of(REPLICATES as u64 * TURN)
}

/// The most flights that seeking a chance takes.
pub fn most_flights(asked: u64) -> u64 {
    ROUNDS * ROUND + counted_flights(asked)
}

/// Seeks a chance and estimates it from [`counted_flights`]. `fly` flies a range of flights of a round, each moved by
/// [`Proposal::draw`] as point `flight / 16` of replicate `flight % 16`. `None` when it gave none.
pub fn seek(
    asked: u64,
    points: PointSet,
    confidence: f64,
    mut fly: impl FnMut(&Round, Range<u64>) -> Option<Vec<Tried>>,
) -> Option<Found> {
    let Search { proposal, rounds, unmoved } = search(&mut fly)?;
    let flights = counted_flights(asked);
    let mut sums = [(0.0, 0_u64); REPLICATES];
    let (mut squares, mut heaviest) = (0.0, 0.0_f64);
    let round = Round { number: rounds, proposal: &proposal, searching: false };
    for from in (0..flights).step_by(AT_A_TIME as usize) {
        let to = (from + AT_A_TIME).min(flights);
        for (flight, tried) in (from..to).zip(fly(&round, from..to)?) {
            let counts = if tried.miss <= 0.0 { tried.weight } else { 0.0 };
            let replicate = &mut sums[(flight % REPLICATES as u64) as usize];
            *replicate = (replicate.0 + counts, replicate.1 + 1);
            squares += counts * counts;
            heaviest = heaviest.max(counts);
        }
    }
    let weighed = Weighed { sums: &sums, squares, heaviest, points };
    let (chance, variance) = if heaviest > 0.0 || unmoved.hits > 0 {
        weighed.chance(confidence)
    } else {
        let counted = if proposal.dimensions().is_empty() { flights } else { flights / NOMINAL_EVERY };
        (weighed.never_seen(unmoved.flights + counted, confidence), None)
    };
    let counted_alike = variance.map(|variance| chance.estimate * (1.0 - chance.estimate) / variance);
    Some(Found { chance, proposal, searched: rounds * ROUND, counted_alike })
}

/// What came of the rounds.
#[derive(Default)]
struct Search {
    /// Where it happens.
    proposal: Proposal,
    /// Rounds that it took to find that.
    rounds: u64,
    unmoved: Unmoved,
}

/// Flights of the search that were drawn as if nothing had been moved.
#[derive(Default)]
struct Unmoved {
    flights: u64,
    hits: u64,
}

fn search(fly: &mut impl FnMut(&Round, Range<u64>) -> Option<Vec<Tried>>) -> Option<Search> {
    let mut search = Search::default();
    // What was drawn from, and each flight with how much likelier it was than a plain one, summed over the rounds.
    let mut proposals: Vec<Proposal> = Vec::new();
    let mut pool: Vec<(Tried, f64)> = Vec::new();
    while search.rounds < ROUNDS {
        let proposal = core::mem::take(&mut search.proposal);
        let tried = fly(&Round { number: search.rounds, proposal: &proposal, searching: true }, 0..ROUND)?;
        search.rounds += 1;
        for (flight, tried) in tried.iter().enumerate() {
            if proposal.is_nominal((flight / REPLICATES) as u64) {
                search.unmoved.flights += 1;
                search.unmoved.hits += u64::from(tried.miss <= 0.0);
            }
        }
        let mut misses: Vec<f64> = tried.iter().map(|t| t.miss).filter(|miss| miss.is_finite()).collect();
        misses.sort_unstable_by(f64::total_cmp);
        pool.iter_mut().for_each(|(tried, likelier)| *likelier += proposal.likelier(&tried.numbers));
        proposals.push(proposal);
        pool.extend(tried.into_iter().map(|tried| {
            let likelier = proposals.iter().map(|proposal| proposal.likelier(&tried.numbers)).sum();
            (tried, likelier)
        }));
        let enough = ((NEAREST * ROUND as f64) as usize).min(misses.len());
        // Nothing came near at all.
        let Some(last) = enough.checked_sub(1) else { return Some(search) };
        let happened = pool.iter().filter(|(tried, _)| tried.miss <= 0.0).count();
        let level = if happened >= ENOUGH { 0.0 } else { misses[last].max(0.0) };
        let nearest: Vec<Near> = pool
            .iter()
            .filter(|(tried, _)| tried.miss <= level)
            .map(|(tried, likelier)| Near { numbers: &tried.numbers, weight: search.rounds as f64 / likelier })
            .collect();
        search.proposal = Proposal::of(&nearest);
        let (all, squares) = nearest.iter().fold((0.0, 0.0), |sum, n| (sum.0 + n.weight, sum.1 + n.weight * n.weight));
        if level <= 0.0 && all * all >= KNOWN * squares {
            break;
        }
    }
    Some(search)
}

/// Weighted flights, added up.
struct Weighed<'a> {
    /// Sum and flights of each replicate.
    sums: &'a [(f64, u64)],
    squares: f64,
    heaviest: f64,
    points: PointSet,
}

impl Weighed<'_> {
    /// Where neither a counted flight nor one of so many that nothing moved had it: those alone say how rare it is, since it
    /// may happen where none of the others was drawn.
    fn never_seen(&self, unmoved: u64, confidence: f64) -> Chance {
        let Interval { lower, upper } = clopper_pearson(0, unmoved, confidence);
        let flights = self.sums.iter().map(|replicate| replicate.1).sum();
        let estimator = Estimator::Weighted;
        Chance { estimate: 0.0, lower, upper, hits: 0.0, flights, estimator, method: NEVER_SEEN }
    }

    /// The chance, and the variance of its estimate where that is known.
    fn chance(&self, confidence: f64) -> (Chance, Option<f64>) {
        let (hits, flights) = self.sums.iter().fold((0.0, 0), |sum, r| (sum.0 + r.0, sum.1 + r.1));
        let all = flights as f64;
        let estimate = hits / all;
        let evidence = if self.squares > 0.0 { hits * hits / self.squares } else { 0.0 };
        let chance = |interval: Interval, method| Chance {
            estimate,
            lower: interval.lower,
            upper: interval.upper,
            hits,
            flights,
            estimator: Estimator::Weighted,
            method,
        };
        if evidence < EVIDENCE_MIN {
            let scaled = Sums::new(hits / HEAVIEST, self.squares / (HEAVIEST * HEAVIEST), all);
            let Interval { lower, upper } = scaled.weighted_exact(confidence);
            let interval = Interval { lower: HEAVIEST * lower, upper: (HEAVIEST * upper).min(1.0) };
            return (chance(interval, WEIGHTED_FEW), None);
        }
        let independent = (self.squares - hits * estimate).max(0.0) * all / (all - 1.0);
        let (variance, freedom) = match self.points {
            PointSet::Pseudorandom => (independent, flights - 1),
            PointSet::Sobol => {
                let replicates = self.sums.len() as f64;
                let strayed = self.sums.iter().map(|&(sum, n)| sum - n as f64 * estimate);
                let between = strayed.map(|miss| miss * miss).sum::<f64>() * replicates / (replicates - 1.0);
                (between, self.sums.len() as u64 - 1)
            }
        };
        let t = student::two_sided(confidence, freedom);
        let open = score(estimate, all * hits * (1.0 - estimate) / variance, t);
        let unseen = self.heaviest / all;
        let least = -libm::log(0.5 * (1.0 - confidence)) * unseen;
        let reach = |open: f64| libm::hypot(open, t * unseen).max(least);
        let interval = Interval {
            lower: (estimate - reach(estimate - open.lower)).max(0.0),
            upper: (estimate + reach(open.upper - estimate)).min(1.0),
        };
        (chance(interval, WEIGHTED_SPREAD), Some(variance / (all * all)))
    }
}

#[cfg(test)]
mod tests {
    use super::super::normal;
    use super::super::sampler::Sampler;
    use super::*;

    const DIMENSIONS: usize = 12;

    /// What happens where `miss` is not above 0, with a chance in closed form.
    struct Tail {
        name: &'static str,
        miss: fn(&[f64], f64) -> f64,
        /// The place of the edge for a chance.
        edge: fn(f64) -> f64,
    }

    fn quantile_above(p: f64) -> f64 {
        -normal::quantile(p)
    }

    /// Closed forms of a standard normal vector.
    const TAILS: [Tail; 9] = [
        Tail { name: "one number beyond", miss: |z, edge| edge - z[3], edge: quantile_above },
        Tail {
            name: "ten numbers together",
            miss: |z, edge| edge - z[..10].iter().sum::<f64>() / 10.0_f64.sqrt(),
            edge: quantile_above,
        },
        Tail { name: "either flank", miss: |z, edge| edge - z[0].abs(), edge: |p| quantile_above(0.5 * p) },
        Tail {
            name: "either of two",
            miss: |z, edge| edge - z[0].max(z[1]),
            // 1 - (1 - q)^2 = p.
            edge: |p| quantile_above(-libm::expm1(0.5 * libm::log1p(-p))),
        },
        Tail {
            // A circle about the middle: exp(-r^2 / 2).
            name: "far in any direction",
            miss: |z, edge| edge - libm::hypot(z[0], z[1]),
            edge: |p| (-2.0 * libm::log(p)).sqrt(),
        },
        Tail {
            // Of four numbers: an exponential of mean 2 each pair, so their sum has (1 + x) exp(-x) above x.
            name: "energy of four",
            miss: |z, edge| edge - 0.5 * z[..4].iter().map(|z| z * z).sum::<f64>(),
            edge: |p| {
                let mut x = 1.0_f64;
                for _ in 0..200 {
                    x = libm::log1p(x) - libm::log(p);
                }
                x
            },
        },
        Tail {
            // Either way along one number, one of them five to six times as likely.
            name: "two unlike flanks",
            miss: |z, edge| (flank(0.85, edge) - z[0]).min(flank(0.15, edge) + z[0]),
            edge: |p| p,
        },
        Tail {
            // As unlike, by one number or by four together: of 1 - (1 - q)(1 - q') the product is 1e-9.
            name: "two unlike places",
            miss: |z, edge| (flank(0.85, edge) - z[0]).min(flank(0.15, edge) - 0.5 * z[1..5].iter().sum::<f64>()),
            edge: |p| p,
        },
        Tail {
            // A small disc three deviations off the middle, in two directions across three numbers each.
            name: "small place",
            miss: |z, edge| {
                let along = z[..3].iter().sum::<f64>() / 3.0_f64.sqrt() - 3.0;
                libm::hypot(along, (z[3] - z[4] + z[5]) / 3.0_f64.sqrt()) - edge
            },
            edge: |p| {
                let (mut within, mut beyond) = (0.0, 10.0);
                for _ in 0..60 {
                    let middle = 0.5 * (within + beyond);
                    if in_disc(3.0, middle) < p { within = middle } else { beyond = middle }
                }
                within
            },
        },
    ];

    fn flank(share: f64, p: f64) -> f64 {
        quantile_above(share * p)
    }

    /// The chance that two standard normal numbers lie in a disc so far off: a noncentral chi-square law of two degrees of
    /// freedom, as a Poisson mixture of central ones.
    fn in_disc(off: f64, radius: f64) -> f64 {
        let (mean, x) = (0.5 * off * off, 0.5 * radius * radius);
        let (mut poisson, mut term, mut sum) = (libm::exp(-mean), libm::exp(-x), 0.0);
        let mut below = -libm::expm1(-x);
        for k in 1..200 {
            sum += poisson * below;
            poisson *= mean / f64::from(k);
            term *= x / f64::from(k);
            below -= term;
        }
        sum
    }

    fn sought(tail: &Tail, p: f64, flights: u64, sampler: &mut Sampler) -> Found {
        let edge = (tail.edge)(p);
        let fly = |round: &Round, range: Range<u64>| {
            let flight = |flight: u64| {
                let mut numbers: Box<[f64]> = (0..DIMENSIONS).map(|_| sampler.normal()).collect();
                let dimensions = round.proposal.dimensions();
                let mut moved: Vec<f64> = dimensions.iter().map(|k| numbers[*k]).collect();
                let weight = round.proposal.draw(flight / REPLICATES as u64, &mut moved);
                dimensions.iter().zip(moved).for_each(|(k, z)| numbers[*k] = z);
                let miss = (tail.miss)(&numbers, edge);
                Tried { numbers, weight, miss }
            };
            Some(range.map(flight).collect())
        };
        seek(flights, PointSet::Pseudorandom, 0.95, fly).unwrap_or_else(|| panic!("never stopped"))
    }

    /// Intervals cover, means are right, and a chance of 1e-4 takes at most a thirtieth of the flights of counting. 250 seeds
    /// have a standard deviation of 1.4 %, of which two are allowed below 93 %.
    #[test]
    fn tails_in_closed_form() {
        const SEEDS: u32 = 250;
        const FLIGHTS: u64 = 8192;
        let mut sampler = Sampler(9);
        for tail in &TAILS {
            for p in [1e-2, 1e-4] {
                let (mut covered, mut alike, mut flown) = (0, 0.0, 0);
                let (mut mean, mut square) = (0.0, 0.0);
                for _ in 0..SEEDS {
                    let found = sought(tail, p, FLIGHTS, &mut sampler);
                    let chance = &found.chance;
                    covered += u32::from(chance.lower <= p && p <= chance.upper);
                    flown += found.searched + FLIGHTS;
                    alike += found.counted_alike.unwrap_or(0.0);
                    let ratio = chance.estimate / p;
                    mean += ratio / f64::from(SEEDS);
                    square += ratio * ratio / f64::from(SEEDS);
                }
                let (share, cheaper) = (f64::from(covered) / f64::from(SEEDS), alike / flown as f64);
                let error = ((square - mean * mean) / f64::from(SEEDS)).sqrt();
                let name = tail.name;
                // On the flank of a small place flights weigh many times as much as within it, and one of them unseen is
                // allowed for: that reaches beyond the spread.
                let most = if name == "small place" { 1.0 } else { 0.99 };
                assert!((0.902..=most).contains(&share), "{name} {p}: covered {share}");
                assert!((mean - 1.0).abs() < 4.0 * error, "{name} {p}: mean {mean} of 1, give or take {error}");
                assert!(p > 1e-4 || cheaper >= 30.0, "{name} {p}: {cheaper} times less than counting");
            }
        }
    }

    /// Where nothing ever comes near, all that is known is what so many plain flights would have shown.
    #[test]
    fn nothing_found() {
        let fly = |miss: f64| {
            move |_: &Round, range: Range<u64>| {
                Some(range.map(|_| Tried { numbers: Box::new([0.0]), weight: 1.0, miss }).collect())
            }
        };
        let found = seek(4096, PointSet::Sobol, 0.95, fly(f64::INFINITY)).unwrap_or_else(|| panic!("never stopped"));
        assert_eq!((found.searched, found.chance.estimate, found.chance.lower), (ROUND, 0.0, 0.0));
        assert_eq!((found.counted_alike, found.chance.method), (None, NEVER_SEEN));
        // 3.69 / N of what nothing moved: every flight, since nothing said where to.
        assert!((found.chance.upper - 3.689 / f64::from(1024 + 4096)).abs() < 1e-6, "{:?}", found.chance);
        let far = seek(4096, PointSet::Sobol, 0.95, fly(1.0)).unwrap_or_else(|| panic!("never stopped"));
        // It is sought to the last round; from the second on a quarter is not moved.
        assert_eq!((far.searched, far.chance.estimate), (8 * ROUND, 0.0));
        assert!((far.chance.upper - 3.689 / f64::from(1024 + 7 * 256 + 1024)).abs() < 1e-5, "{:?}", far.chance);
        assert!(seek(4096, PointSet::Sobol, 0.95, |_, _| None).is_none());
    }
}
