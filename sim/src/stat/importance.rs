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
//! The flights that count are drawn afresh, one in [`NOMINAL_EVERY`](super::places::NOMINAL_EVERY) of them as if nothing had
//! been moved. So no flight counts more than [`HEAVIEST`] times, however badly the rounds went (a defensive mixture: T.
//! Hesterberg, Technometrics 37, 1995, 185; from memory), and the mean is that of plain counting whatever was moved.
//!
//! What nobody can move, such as gusts, makes it happen also where few are drawn. Such flights are seldom seen and weigh many
//! times as much as the rest: without one the estimate is low, and so is the spread. What the search saw of them does not
//! hang on that, and stands in the upper end ([`Search::heavy`]).

use core::ops::Range;

use super::interval::{Chance, Estimator, Interval, PointSet, REPLICATES_MIN, Sums, clopper_pearson, score};
use super::places::{HEAVIEST, Near, Proposal, TURN};
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
pub const WEIGHTED_SPREAD: &str = "spread of weighted flights, score form, an unseen one allowed for, as heavy as the heaviest, and above a heavy one of the search with it";
/// The name of the interval where it is not.
pub const WEIGHTED_FEW: &str = "Clopper-Pearson on weighted flights (after Fay and Feuer), the heaviest that may be allowed for; above the lower of that and Clopper-Pearson on the flights that nothing moved, each with half of the error";
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
    let Search { proposal, rounds, mut unmoved, heavy } = search(&mut fly)?;
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
            unmoved.add(&proposal, flight, &tried);
        }
    }
    let weighed = Weighed { sums: &sums, squares, heaviest, heavy: heaviest + heavy, unmoved, points };
    let (chance, variance) = weighed.chance(confidence);
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
    /// What heavy flights count among those that will be counted, as far as the search saw any: the mean weight of flights
    /// in which it happens, each taken as often as its weight has a share of the variance (the third moment over the second).
    /// Of so much each, flights would be as skew.
    heavy: f64,
}

/// Flights that were drawn as if nothing had been moved, those of the search and those that are counted.
#[derive(Clone, Copy, Default)]
struct Unmoved {
    flights: u64,
    hits: u64,
}

impl Unmoved {
    fn add(&mut self, proposal: &Proposal, flight: u64, tried: &Tried) {
        if proposal.is_nominal(flight / REPLICATES as u64) {
            self.flights += 1;
            self.hits += u64::from(tried.miss <= 0.0);
        }
    }
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
        (0..).zip(&tried).for_each(|(flight, tried)| search.unmoved.add(&proposal, flight, tried));
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
        let Some(last) = enough.checked_sub(1) else { break };
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
    search.heavy = heavy(&pool, &search.proposal);
    Some(search)
}

/// See [`Search::heavy`]; 0 where nothing was seen.
fn heavy(pool: &[(Tried, f64)], proposal: &Proposal) -> f64 {
    let happened = pool.iter().filter(|(tried, _)| tried.miss <= 0.0);
    let (second, third) = happened.fold((0.0, 0.0), |sum, (tried, likelier)| {
        let counts = 1.0 / proposal.likelier(&tried.numbers);
        let share = counts / likelier;
        (sum.0 + share, sum.1 + share * counts)
    });
    if second > 0.0 { third / second } else { 0.0 }
}

/// Weighted flights, added up.
struct Weighed<'a> {
    /// Sum and flights of each replicate.
    sums: &'a [(f64, u64)],
    squares: f64,
    heaviest: f64,
    /// What is allowed for unseen above: the heaviest, and a heavy one of the search with it.
    heavy: f64,
    unmoved: Unmoved,
    points: PointSet,
}

impl Weighed<'_> {
    /// The chance, and the variance of its estimate where that is known.
    ///
    /// **Plenty of evidence:** a score interval, whose variance is that of a chance at its end. For the upper end one more
    /// flight is added, as Fay and Feuer add one of the largest weight (Statistics in Medicine 16, 1997, 791; from memory). The
    /// largest possible would drown a rare chance. Ours is as heavy as the heaviest that was counted and a heavy one of the
    /// search together: the former is light where none came, the latter because those flights have shaped where these are
    /// drawn. The heavier of the two alone left 3 to 4 % of the upper ends too low (measured, of landings on a small place).
    ///
    /// **Little:** the largest possible one it is, and the flights that nothing moved give an upper end as well. Of two that
    /// each fail half as often the lower fails as often as one (Bonferroni).
    ///
    /// **Neither a counted flight nor one that nothing moved had it:** the latter alone say how rare it is, since it may happen
    /// where none of the others was drawn. Weighted ones would never say less, so those have all of the error.
    fn chance(&self, confidence: f64) -> (Chance, Option<f64>) {
        let (hits, flights) = self.sums.iter().fold((0.0, 0), |sum, r| (sum.0 + r.0, sum.1 + r.1));
        let all = flights as f64;
        let evidence = if self.squares > 0.0 { hits * hits / self.squares } else { 0.0 };
        let (interval, method, variance) = if evidence >= EVIDENCE_MIN {
            let (variance, freedom) = self.variance(hits, flights);
            (self.spread(hits, all, variance, freedom, confidence), WEIGHTED_SPREAD, Some(variance / (all * all)))
        } else if self.heaviest > 0.0 || self.unmoved.hits > 0 {
            (self.few(hits, all, confidence), WEIGHTED_FEW, None)
        } else {
            (clopper_pearson(0, self.unmoved.flights, confidence), NEVER_SEEN, None)
        };
        let Interval { lower, upper } = interval;
        let estimator = Estimator::Weighted;
        (Chance { estimate: (hits / all).min(1.0), lower, upper, hits, flights, estimator, method }, variance)
    }

    /// Of the sum of the flights, with its degrees of freedom.
    fn variance(&self, hits: f64, flights: u64) -> (f64, u64) {
        let (all, replicates) = (flights as f64, self.sums.len() as f64);
        let estimate = hits / all;
        match self.points {
            PointSet::Pseudorandom => ((self.squares - hits * estimate).max(0.0) * all / (all - 1.0), flights - 1),
            PointSet::Sobol => {
                let strayed = self.sums.iter().map(|&(sum, n)| sum - n as f64 * estimate);
                let between = strayed.map(|miss| miss * miss).sum::<f64>() * replicates / (replicates - 1.0);
                (between, self.sums.len() as u64 - 1)
            }
        }
    }

    fn spread(&self, hits: f64, all: f64, variance: f64, freedom: u64, confidence: f64) -> Interval {
        let t = student::two_sided(confidence, freedom);
        let unseen = -libm::log(0.5 * (1.0 - confidence));
        let below = hits - ends(hits, all, variance, t).lower;
        let lower = hits - libm::hypot(below, t * self.heaviest).max(unseen * self.heaviest);
        let one_more = ends(hits + self.heavy, all, variance + self.heavy * self.heavy, t).upper;
        let upper = one_more.max(hits + unseen * self.heavy);
        Interval { lower: (lower / all).clamp(0.0, 1.0), upper: (upper / all).min(1.0) }
    }

    fn few(&self, hits: f64, all: f64, confidence: f64) -> Interval {
        let scaled = Sums::new(hits / HEAVIEST, self.squares / (HEAVIEST * HEAVIEST), all);
        let half_the_error = 0.5 * (1.0 + confidence);
        let weighted = HEAVIEST * scaled.weighted_exact(half_the_error).upper;
        let counted = clopper_pearson(self.unmoved.hits, self.unmoved.flights, half_the_error).upper;
        // Either end may be below what was found.
        let upper = weighted.min(counted).max(hits / all).min(1.0);
        Interval { lower: HEAVIEST * scaled.weighted_exact(confidence).lower, upper }
    }
}

/// All sums of so many flights from which this one is at most `t` of *their* standard errors away, in the score form; weights may
/// add up to more than all, where no chance has an error of its own.
fn ends(sum: f64, all: f64, variance: f64, t: f64) -> Interval {
    let estimate = sum / all;
    if estimate >= 1.0 {
        let half = t * variance.sqrt();
        return Interval { lower: sum - half, upper: sum + half };
    }
    let Interval { lower, upper } = score(estimate, all * sum * (1.0 - estimate) / variance, t);
    Interval { lower: all * lower, upper: all * upper }
}

#[cfg(test)]
mod tests {
    use super::super::normal;
    use super::super::sampler::Sampler;
    use super::*;

    const DIMENSIONS: usize = 12;
    /// Numbers behind those that nobody can move.
    const HIDDEN: usize = 2;
    /// Counted flights, of one search.
    const FLIGHTS: [u64; 3] = [1024, 2048, 8192];

    /// What happens where `miss` is not above 0, with a chance in closed form.
    #[derive(Clone, Copy)]
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
            edge: disc_of,
        },
    ];

    /// Radius of a disc three deviations off.
    fn disc_of(p: f64) -> f64 {
        let (mut within, mut beyond) = (0.0, 10.0);
        for _ in 0..60 {
            let middle = 0.5 * (within + beyond);
            if in_disc(3.0, middle) < p { within = middle } else { beyond = middle }
        }
        within
    }

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

    /// The same where numbers that nobody can move have a part in it, or all of it.
    const HARDLY_MOVED: [Tail; 3] = [
        Tail { name: "blurred edge", miss: |z, edge| edge - 0.8 * z[3] - 0.6 * z[DIMENSIONS], edge: quantile_above },
        Tail {
            name: "blurred place",
            miss: |z, edge| {
                let along = 0.8 * z[..3].iter().sum::<f64>() / 3.0_f64.sqrt() + 0.6 * z[DIMENSIONS] - 3.0;
                let across = 0.8 * (z[3] - z[4] + z[5]) / 3.0_f64.sqrt() + 0.6 * z[DIMENSIONS + 1];
                libm::hypot(along, across) - edge
            },
            edge: disc_of,
        },
        Tail { name: "nothing to move", miss: |z, edge| edge - z[DIMENSIONS], edge: quantile_above },
    ];

    /// The numbers of a round's flights that can be moved.
    fn numbers(points: PointSet, flights: Range<u64>, sampler: &mut Sampler) -> Vec<Box<[f64]>> {
        const TOGETHER: usize = 4;
        let scrambles: Vec<[u32; DIMENSIONS / TOGETHER]> =
            (0..REPLICATES).map(|_| core::array::from_fn(|_| (sampler.bits() >> 32) as u32)).collect();
        let flight = |flight: u64| {
            let mut number = |k: usize| match points {
                PointSet::Pseudorandom => sampler.normal(),
                PointSet::Sobol => {
                    let (point, replicate) = (flight / REPLICATES as u64, (flight % REPLICATES as u64) as usize);
                    let scramble = scrambles[replicate][k / TOGETHER];
                    let uniform = sobol_burley::sample(point as u32, (k % TOGETHER) as u32, scramble);
                    normal::quantile(f64::from(uniform) + 0.5 / 8_388_608.0)
                }
            };
            (0..DIMENSIONS).map(&mut number).collect()
        };
        flights.map(flight).collect()
    }

    /// A search, and what is made of it by each of [`FLIGHTS`]: the first of the most.
    fn sought(tail: &Tail, p: f64, points: PointSet, sampler: &mut Sampler) -> [Found; 3] {
        let edge = (tail.edge)(p);
        let mut rounds: Vec<Vec<Tried>> = Vec::new();
        let fly = |round: &Round, range: Range<u64>| {
            let dimensions = round.proposal.dimensions();
            let own = numbers(points, range.clone(), sampler);
            let flight = |(flight, mut numbers): (u64, Box<[f64]>)| {
                let mut moved: Vec<f64> = dimensions.iter().map(|k| numbers[*k]).collect();
                let weight = round.proposal.draw(flight / REPLICATES as u64, &mut moved);
                dimensions.iter().zip(moved).for_each(|(k, z)| numbers[*k] = z);
                let mut all = [0.0; DIMENSIONS + HIDDEN];
                all[..DIMENSIONS].copy_from_slice(&numbers);
                all[DIMENSIONS..].iter_mut().for_each(|z| *z = sampler.normal());
                Tried { miss: (tail.miss)(&all, edge), numbers, weight }
            };
            rounds.push(range.zip(own).map(flight).collect());
            rounds.last().cloned()
        };
        let most = seek(FLIGHTS[2], points, 0.95, fly).unwrap_or_else(|| panic!("never stopped"));
        let again = |flights: u64| {
            let fly = |round: &Round, range: Range<u64>| {
                Some(rounds[round.number as usize][range.start as usize..range.end as usize].to_vec())
            };
            seek(flights, points, 0.95, fly).unwrap_or_else(|| panic!("never stopped"))
        };
        [again(FLIGHTS[0]), again(FLIGHTS[1]), most]
    }

    /// What intervals of a chance came to over many seeds.
    #[derive(Default, Clone, Copy)]
    struct Seen {
        seeds: u32,
        /// Lower ends above it, and upper ends below.
        beyond: [u32; 2],
        /// Sums of estimates over it, and of their squares.
        ratio: [f64; 2],
        alike: f64,
        flown: u64,
    }

    impl Seen {
        fn add(&mut self, found: &Found, p: f64) {
            let chance = &found.chance;
            let ratio = chance.estimate / p;
            self.seeds += 1;
            self.beyond[0] += u32::from(chance.lower > p);
            self.beyond[1] += u32::from(chance.upper < p);
            self.ratio = [self.ratio[0] + ratio, self.ratio[1] + ratio * ratio];
            self.alike += found.counted_alike.unwrap_or(0.0);
            self.flown += found.searched + chance.flights;
        }

        /// With another chance or other points.
        fn together(&self, other: &Self) -> Self {
            Self {
                seeds: self.seeds + other.seeds,
                beyond: [0, 1].map(|end| self.beyond[end] + other.beyond[end]),
                ratio: [0, 1].map(|k| self.ratio[k] + other.ratio[k]),
                alike: self.alike + other.alike,
                flown: self.flown + other.flown,
            }
        }

        /// Whether either end fails more often than in 2.5 % and so many standard deviations of that many seeds.
        fn fails(&self, deviations: f64) -> bool {
            let expected = 0.025 * f64::from(self.seeds);
            let most = expected + deviations * (0.975 * expected).sqrt();
            self.beyond.iter().any(|beyond| f64::from(*beyond) > most)
        }
    }

    /// Of chances of a tail, at either kind of points, by each of [`FLIGHTS`].
    fn seen(tail: &Tail, chances: &[f64], seeds: u32, seed: u64) -> Vec<(f64, PointSet, [Seen; 3])> {
        let mut sampler = Sampler(seed);
        let kinds = chances.iter().flat_map(|p| [PointSet::Pseudorandom, PointSet::Sobol].map(|points| (*p, points)));
        let of = |(p, points)| {
            let mut all = [Seen::default(); 3];
            for _ in 0..seeds {
                let found = sought(tail, p, points, &mut sampler);
                all.iter_mut().zip(found).for_each(|(seen, found)| seen.add(&found, p));
            }
            (p, points, all)
        };
        kinds.map(of).collect()
    }

    /// What is wrong with the ends, each by itself. Of the hundreds of single counts none is allowed four standard deviations,
    /// of chances and points of a tail together three.
    fn wrong_ends(name: &str, seen: &[(f64, PointSet, [Seen; 3])]) -> Vec<String> {
        let mut wrong = Vec::new();
        for (k, flights) in FLIGHTS.into_iter().enumerate() {
            for (p, points, all) in seen.iter().filter(|(.., all)| all[k].fails(4.0)) {
                wrong.push(format!("{name} {p}, {flights} {points:?}: {:?} of {}", all[k].beyond, all[k].seeds));
            }
            let together = seen.iter().fold(Seen::default(), |sum, (.., all)| sum.together(&all[k]));
            if together.fails(3.0) {
                wrong.push(format!("{name}, {flights}: {:?} of {}", together.beyond, together.seeds));
            }
        }
        wrong
    }

    /// Each end of an interval covers by itself, means are right, and a chance of 1e-4 takes at most a thirtieth of the flights
    /// of counting. The 250 seeds of a chance, half of them at either kind of points, have a standard deviation of 1.4 %, of
    /// which two are allowed below 93 %.
    fn right(tails: Range<usize>) {
        const SEEDS: u32 = 125;
        let wrong = tails.flat_map(|k| {
            let tail = &TAILS[k];
            let (name, seen) = (tail.name, seen(tail, &[1e-2, 1e-4], SEEDS, k as u64));
            let mut wrong = wrong_ends(name, &seen);
            for (p, points, [.., most]) in &seen {
                let cheaper = most.alike / most.flown as f64;
                if *p <= 1e-4 && cheaper < 30.0 {
                    wrong.push(format!("{name} {p} {points:?}: {cheaper} times less than counting"));
                }
            }
            for kinds in seen.chunks(2) {
                let (p, Seen { seeds, beyond, ratio, .. }) = (kinds[0].0, kinds[0].2[2].together(&kinds[1].2[2]));
                let of = f64::from(seeds);
                let [mean, square] = ratio.map(|sum| sum / of);
                let error = ((square - mean * mean) / of).sqrt();
                if (mean - 1.0).abs() >= 4.0 * error {
                    wrong.push(format!("{name} {p}: mean {mean} of 1, give or take {error}"));
                }
                let share = 1.0 - f64::from(beyond[0] + beyond[1]) / of;
                // On the flank of a small place flights weigh many times as much as within it, and one of them unseen is
                // allowed for: that reaches beyond the spread.
                let most = if name == "small place" { 1.0 } else { 0.99 };
                if !(0.902..=most).contains(&share) {
                    wrong.push(format!("{name} {p}: covered {share}"));
                }
            }
            wrong
        });
        let wrong: Vec<String> = wrong.collect();
        assert!(wrong.is_empty(), "{wrong:#?}");
    }

    #[test]
    fn tails_in_closed_form() {
        right(0..6);
    }

    #[test]
    fn unlike_tails_and_a_small_place() {
        right(6..TAILS.len());
    }

    /// Each end covers by itself also where flights that weigh much are seldom seen (without what the search saw of them the
    /// upper end of the blurred edge failed in one of ten), down to where as good as nothing is. Lower ends fail less often, and
    /// where evidence is little so do upper ends, which allow for the heaviest that may be.
    #[test]
    fn what_can_hardly_be_moved() {
        let wrong = HARDLY_MOVED.iter().enumerate().flat_map(|(k, tail)| {
            let mut wrong = wrong_ends(tail.name, &seen(tail, &[1e-2, 1e-3], 80, 40 + k as u64));
            wrong.extend(wrong_ends(tail.name, &seen(tail, &[1e-5], 40, 50 + k as u64)));
            wrong
        });
        let wrong: Vec<String> = wrong.collect();
        assert!(wrong.is_empty(), "{wrong:#?}");
    }

    /// Where it was hardly seen the flights that nothing moved bound it as well as counting them alone would, but for half of the
    /// error: whether it was one of the search or one that is counted.
    #[test]
    fn hardly_seen() {
        for in_search in [true, false] {
            let fly = |round: &Round, range: Range<u64>| {
                let hit = |flight| flight == 0 && if in_search { round.number == 3 } else { !round.searching };
                let tried = |flight| Tried {
                    numbers: Box::new([0.0]),
                    weight: round.proposal.draw(flight / REPLICATES as u64, &mut [0.0]),
                    miss: if hit(flight) { 0.0 } else { 1.0 },
                };
                Some(range.map(tried).collect())
            };
            let found = seek(8192, PointSet::Sobol, 0.95, fly).unwrap_or_else(|| panic!("never stopped"));
            let chance = &found.chance;
            assert_eq!((chance.method, found.counted_alike), (WEIGHTED_FEW, None));
            assert_eq!(chance.estimate > 0.0, !in_search, "{chance:?}");
            assert!(chance.lower <= chance.estimate && chance.estimate < chance.upper, "{chance:?}");
            let unmoved = 1024 + 7 * 256 + 2048;
            assert_eq!(chance.upper, clopper_pearson(1, unmoved, 0.975).upper, "{chance:?}");
        }
    }

    /// What heavy flights count is their third moment over their second under what will be drawn from, whatever they were drawn
    /// from: of numbers beyond 2, as integrals over the normal law by the rule of the midpoint.
    #[test]
    fn heavy_flights_by_quadrature() {
        const STEPS: i32 = 4000;
        let density = |z: f64, middle: f64| libm::exp(-0.5 * (z - middle) * (z - middle));
        let near: Vec<[f64; 1]> = (0..200).map(|k| [2.0 + 0.01 * f64::from(k)]).collect();
        let nearest: Vec<Near> = near.iter().map(|z| Near { numbers: z, weight: 1.0 }).collect();
        let proposal = Proposal::of(&nearest);
        let places = || (0..STEPS).map(|k| 2.0 + 6.0 * (f64::from(k) + 0.5) / f64::from(STEPS));
        // Under the proposal the moments of 1 / likelier are those of its powers less by one under the law itself.
        let moment = |power: f64| -> f64 {
            places().map(|z| density(z, 0.0) * libm::pow(proposal.likelier(&[z]), -power)).sum()
        };
        let expected = moment(2.0) / moment(1.0);
        assert!((0.01..4.0).contains(&expected), "{expected}");
        for middle in [0.0, 2.0] {
            // As many of each place as that law has: a flight for each, `density` times as often.
            let pool: Vec<(Tried, f64)> = places()
                .map(|z| {
                    let likelier = density(z, middle) / density(z, 0.0);
                    (Tried { numbers: Box::new([z]), weight: 1.0, miss: 0.0 }, likelier / density(z, middle))
                })
                .collect();
            let found = heavy(&pool, &proposal);
            assert!((found / expected - 1.0).abs() < 1e-9, "{middle}: {found} {expected}");
        }
    }

    /// Above a chance the heaviest flight and a heavy one of the search are allowed for: of flights that all count once, two.
    /// The upper end is where the chance with them is `t` of its own standard errors away.
    #[test]
    fn two_are_allowed_for_above() {
        let fly = |_: &Round, range: Range<u64>| {
            let tried = |flight: u64| {
                let miss = if flight.is_multiple_of(8) { 0.0 } else { 1.0 };
                Tried { numbers: Box::new([]), weight: 1.0, miss }
            };
            Some(range.map(tried).collect())
        };
        let found = seek(8192, PointSet::Pseudorandom, 0.95, fly).unwrap_or_else(|| panic!("never stopped"));
        let (all, hits) = (8192.0, 1024.0);
        let Chance { estimate, lower, upper, method, .. } = found.chance;
        assert_eq!((estimate, method), (hits / all, WEIGHTED_SPREAD));
        let t = student::two_sided(0.95, 8191);
        let variance = hits * (1.0 - hits / all) * all / (all - 1.0);
        let with = (hits + 2.0) / all;
        let flights = all * (hits + 2.0) * (1.0 - with) / (variance + 4.0);
        let away = (upper - with) * (upper - with) - t * t * upper * (1.0 - upper) / flights;
        assert!(upper > with && away.abs() < 1e-12, "{upper}: {away}");
        assert!(lower < estimate - t * variance.sqrt() / all * 0.9, "{lower}");
    }

    /// What happens nearly always has ends within [0, 1] on both sides of its estimate.
    #[test]
    fn common() {
        let mut sampler = Sampler(3);
        let likely = Tail { name: "likely", miss: |z, edge| edge - z[3], edge: quantile_above };
        for p in [0.5, 0.999, 1.0 - 1e-9] {
            for found in sought(&likely, p, PointSet::Pseudorandom, &mut sampler) {
                let Chance { lower, estimate, upper, .. } = found.chance;
                assert!(0.0 < lower && lower < estimate && estimate <= upper && upper <= 1.0, "{p}: {found:?}");
                assert!(lower < p + 0.05 && p - 0.05 < upper, "{p}: {found:?}");
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
