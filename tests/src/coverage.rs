//! How often the 95 % intervals of an answer hold the true chance, over many seeds, and what is promised of it.
//!
//! Two kinds of flights. A stand-in's airspeed at ejection is a known function of the drawn numbers, so that its
//! chance is exact; points, tally and report are the engine's own. Real flights take their truth from far more
//! flights of other seeds.

use core::ops::Range;
use core::sync::atomic::AtomicBool;

use rayon::prelude::*;
use slowpoint_sim::aero::Aero;
use slowpoint_sim::case::{Case, Inputs, LimitApplies};
use slowpoint_sim::draw::{Law, Numbers, PointSet, REPLICATES, Shift, Slot, draw};
use slowpoint_sim::flight::{
    Ascent, Asked, Canopy, Casing, DelayClock, Deployed, DrawnAt, Ejection, Events, Flown, Mishaps, Node, Outcome,
    Path, RailExit, Stages, Subject, WholeLaw, Windows, fly, land_alone,
};
use slowpoint_sim::report::{Advice, LandingReport, LimitReport, Report};
use slowpoint_sim::stat::interval::{CONFIDENCE, Chance, Interval, chance, clopper_pearson};
use slowpoint_sim::stat::{normal, student};
use slowpoint_sim::tally::{Frame, Tally};
use slowpoint_sim::thrust::{DrawnMotor, ThrustCurve, ThrustTable};
use slowpoint_sim::wind::DriftTable;
use slowpoint_sim::{cell_m, report, tally, until};

use crate::whole::checked;
use crate::{larger, rockets};

/// The true chances at which intervals are tried.
pub const CHANCES: [f64; 4] = [0.5, 0.1, 0.01, 0.001];

/// Both kinds of points.
pub const KINDS: [PointSet; 2] = [PointSet::Sobol, PointSet::Pseudorandom];

static GO: AtomicBool = AtomicBool::new(false);

/// An interval, from what the report says of a chance.
pub type Estimator = fn(&Chance) -> Interval;

/// The interval of the report.
pub fn as_reported(found: &Chance) -> Interval {
    Interval { lower: found.lower, upper: found.upper }
}

/// What is promised of a 95 % interval: at least this share of a thousand seeds or more holds the truth (the exception that
/// `stat::interval::mean` names is none of the cases here) ...
pub const COVERED_LEAST: f64 = 0.93;
/// ... and at most this one, where hits and misses are both expected to number [`MANY`] or more and their number strays
/// by as much as [`STRAYS`] flights that nobody saw could move it; ...
pub const COVERED_MOST: f64 = 0.975;
/// See [`COVERED_MOST`].
const MANY: f64 = 50.0;
/// See [`COVERED_MOST`]. An interval allows for flights that nobody saw (`stat::interval::mean`): added as the square of
/// one of them, they make it 1.12 times as wide as a number asks that strays by two, which takes 95 % to 97.2 %. What
/// strays less is over-covered, up to always, since no interval that holds whatever the law can leave them out.
const STRAYS: f64 = 2.0;
/// ... elsewhere no interval is wider than so many of Clopper and Pearson's for the same count, ...
pub const WIDTH_MOST: f64 = 1.5;

/// ... and where hits and misses are many and their number hardly strays, intervals are on the average no wider than this
/// many flights: what they are where it strays by [`STRAYS`].
pub fn width_of_few_flights() -> f64 {
    2.0 * student::two_sided(0.95, REPLICATES - 1) * libm::hypot(STRAYS, 1.0)
}

/// One true chance with the intervals of many seeds.
#[derive(Debug, Clone)]
pub struct Cell {
    /// What is counted, for the printed row.
    pub what: String,
    /// The true chance.
    pub truth: f64,
    /// Flights of each seed.
    pub flights: u64,
    /// Seeds.
    pub seeds: u64,
    /// Seeds whose interval holds the truth.
    pub covered: u64,
    /// Standard deviation of the expected number of hits over the seeds.
    pub strays: f64,
    /// Mean width of the interval.
    pub width: f64,
    /// Mean width over that of Clopper and Pearson's interval for the same count.
    pub ratio: f64,
    /// The largest such ratio.
    pub widest: f64,
}

impl Cell {
    /// Holds the intervals that an estimator makes of each seed's chance against the truth.
    pub fn of<'a>(what: String, truth: f64, found: impl Iterator<Item = &'a Chance>, interval: Estimator) -> Self {
        let mut cell =
            Self { what, truth, flights: 0, seeds: 0, covered: 0, strays: 0.0, width: 0.0, ratio: 0.0, widest: 0.0 };
        let (mut sum, mut squares) = (0.0, 0.0);
        for chance in found {
            let ours = interval(chance);
            let exact = clopper_pearson(chance.hits.round() as u64, chance.flights, 0.95);
            let width = ours.upper - ours.lower;
            let ratio = width / (exact.upper - exact.lower);
            cell.flights = chance.flights;
            cell.seeds += 1;
            cell.covered += u64::from(ours.lower <= truth && truth <= ours.upper);
            let off = chance.estimate - truth;
            (sum, squares) = (sum + off, squares + off * off);
            cell.width += width;
            cell.ratio += ratio;
            cell.widest = larger(cell.widest, ratio);
        }
        let seeds = cell.seeds as f64;
        cell.strays = cell.flights as f64 * ((squares - sum * sum / seeds).max(0.0) / (seeds - 1.0)).sqrt();
        cell.width /= seeds;
        cell.ratio /= seeds;
        cell
    }

    /// Share of the seeds whose interval holds the truth.
    pub fn share(&self) -> f64 {
        self.covered as f64 / self.seeds as f64
    }

    /// Whether hits and misses are both expected to be many, so that the points' evenness must narrow the interval.
    pub fn has_many(&self) -> bool {
        self.flights as f64 * self.truth.min(1.0 - self.truth) >= MANY
    }

    /// Whether their number strays so much that what nobody saw hardly counts. A flight of the rarer kind that nobody saw
    /// moves it the most.
    pub fn has_spread(&self) -> bool {
        self.strays >= STRAYS * self.truth.max(1.0 - self.truth)
    }

    /// What it breaks of the promise.
    pub fn broken(&self) -> Vec<String> {
        let mut broken = Vec::new();
        let mut say = |when: bool, text: String| {
            if when {
                broken.push(format!("{}, p {:.4}, {} flights: {text}", self.what, self.truth, self.flights));
            }
        };
        let share = self.share();
        say(share < COVERED_LEAST, format!("only {:.1} % covered", 100.0 * share));
        if self.has_many() && self.has_spread() {
            say(share > COVERED_MOST, format!("as many as {:.1} % covered", 100.0 * share));
        } else if self.has_many() {
            let flights = self.width * self.flights as f64;
            say(flights > width_of_few_flights(), format!("intervals of {flights:.1} flights"));
        } else {
            say(self.widest > WIDTH_MOST, format!("{:.2} times Clopper-Pearson's width", self.widest));
        }
        broken
    }

    /// Head of the printed table.
    pub fn head() -> String {
        format!(
            "{:<44} {:>8} {:>8} {:>6} {:>9} {:>8} {:>8} {:>7} {:>7}",
            "what, points", "p", "flights", "seeds", "covered", "strays", "width", "/CP", "most"
        )
    }

    /// One row of it.
    pub fn row(&self) -> String {
        format!(
            "{:<44} {:>8.5} {:>8} {:>6} {:>7.1} % {:>8.2} {:>8.5} {:>7.3} {:>7.3}",
            self.what,
            self.truth,
            self.flights,
            self.seeds,
            100.0 * self.share(),
            self.strays,
            self.width,
            self.ratio,
            self.widest
        )
    }
}

/// A case of the paper rocket that asks some ways of deploying, all alike, against some limits.
fn asking(ways: usize, limits_m_s: Vec<f64>, points: PointSet, flights: u64) -> Case {
    let mut inputs = rockets::paper();
    let question = &mut inputs.question;
    question.ways = (0..ways).map(|k| rockets::delay(k as f64)).collect();
    question.limits_m_s = limits_m_s;
    question.limit_applies = LimitApplies::Ejection;
    (question.points, question.flights) = (points, flights);
    checked(inputs)
}

/// A flight that opened every way, at the given airspeeds.
fn opened_at(airspeeds_m_s: &[f64]) -> Flown {
    let deployed = airspeeds_m_s.iter().map(|v| Deployed {
        outcome: Outcome::Opened,
        ejection: Some(Ejection {
            time_s: 5.0,
            after_apogee_s: 0.5,
            airspeed_m_s: *v,
            vertical_speed_m_s: -1.0,
            horizontal_airspeed_m_s: *v,
            height_m: 100.0,
            stretch_airspeed_m_s: *v,
        }),
        landing: None,
        part: None,
    });
    Flown {
        rail_exit: RailExit::default(),
        apogee_m: 100.0,
        apogee_s: 4.5,
        peak_mach: 0.2,
        mishaps: Mishaps::default(),
        slowest: None,
        deployed: deployed.collect(),
        whole_law: None,
    }
}

/// The report on stand-in flights: the engine's points go in, the engine's tally and report come out, and the engine ends
/// them where it is asked to.
fn stood_in(case: &Case, mut flown: impl FnMut(&Numbers) -> Flown) -> Report {
    let question = &case.inputs.question;
    let mut tally_of = |flights: Range<u64>| {
        let mut tally = Tally::new(&Frame { case, cell_m: 1.0, curve_s: &[] });
        for flight in flights {
            tally.add(&flown(&Numbers::of(question.points, question.seed, flight)), case, flight);
        }
        tally
    };
    let tally = match question.until_half_width {
        None => tally_of(0..question.flights),
        Some(half_width) => until::fly(question, half_width, |flights| Some(tally_of(flights)), |_| ())
            .unwrap_or_else(|| panic!("nobody stops it")),
    };
    report(case, &tally, Vec::new())
}

/// The report on one seed of them.
fn stand_in(case: &mut Case, seed: u64, airspeeds_m_s: impl Fn(&Numbers) -> Vec<f64>) -> Report {
    case.inputs.question.seed = seed;
    stood_in(case, |numbers| opened_at(&airspeeds_m_s(numbers)))
}

/// Inputs of the stand-in, and their weights, whose squares add up to one: some matter much, some little.
const MATTERS: [(Slot, f64); 6] = [
    (Slot::Delay(0), 0.6),
    (Slot::WindAlong(0), 0.5),
    (Slot::Drag, 0.4),
    (Slot::Impulse(0), 0.3),
    (Slot::GustAlong, 0.3),
    (Slot::WindAlong(2), 0.223_606_797_749_979),
];

/// A standard normal made of several drawn numbers.
fn weighted(numbers: &Numbers) -> f64 {
    MATTERS.iter().map(|(slot, weight)| weight * normal::quantile(numbers.uniform(*slot))).sum()
}

/// Names of the stand-in's events.
pub const EVENTS: [&str; 2] = ["too late", "too early or late"];

/// Share of flights that are slower than this one, for each event: uniform between 0 and 1 by construction.
fn slower(numbers: &Numbers) -> [f64; 2] {
    let z = weighted(numbers);
    [normal::cdf(z), 1.0 - 2.0 * normal::cdf(-z.abs())]
}

/// Chances of the stand-in's events at each of [`CHANCES`]: per seed, per event.
pub fn stand_in_chances(points: PointSet, flights: u64, seeds: Range<u64>) -> Vec<Vec<Vec<Chance>>> {
    let airspeed = |slower: f64| 10.0 + 50.0 * slower;
    let case = asking(EVENTS.len(), CHANCES.map(|p| airspeed(1.0 - p)).to_vec(), points, flights);
    let one = |seed| {
        let answer = stand_in(&mut case.clone(), seed, |numbers| slower(numbers).map(airspeed).to_vec());
        answer.ways.iter().map(|way| way.limits.iter().map(|l| l.over).collect()).collect()
    };
    seeds.into_par_iter().map(one).collect()
}

/// Cells of the stand-in under an estimator.
pub fn stand_in_cells(found: &[Vec<Vec<Chance>>], points: PointSet, interval: Estimator) -> Vec<Cell> {
    let mut cells = Vec::new();
    for (event, name) in EVENTS.iter().enumerate() {
        for (k, truth) in CHANCES.into_iter().enumerate() {
            let chances = found.iter().map(|seed| &seed[event][k]);
            cells.push(Cell::of(format!("{name}, {points:?}"), truth, chances, interval));
        }
    }
    cells
}

/// Standard deviations of what a flight's firing is made of, as in [`MATTERS`]: the delay's error, and all else.
const OF_DELAY: f64 = MATTERS[0].1;
const OF_ALL_ELSE: f64 = 0.8;

/// A standard normal made of the drawn numbers but for the delay's.
fn all_else(numbers: &Numbers) -> f64 {
    let others = MATTERS[1..].iter().map(|(slot, weight)| weight * normal::quantile(numbers.uniform(*slot)));
    others.sum::<f64>() / OF_ALL_ELSE
}

/// Names of the events of flights that have their whole law of firing.
pub const WHOLE_LAW_EVENTS: [&str; 3] =
    ["integrated: too late", "integrated: too early or late", "integrated: too late, or unstable"];

/// Share of flights that are unstable whatever fires when, in the last event: few have a chance of 1, the others hardly
/// any.
const UNSTABLE: f64 = 0.001;

/// When a motor burns out on the average and when it is fired on the average, s: far from the ground on either side.
const BURNS_S: f64 = 20.0;
const FIRED_S: f64 = 30.0;

/// The chance of an event whose speed is exceeded with a chance `p` by flights that are stable.
pub fn whole_law_truth(event: usize, p: f64) -> f64 {
    if event == 2 { UNSTABLE + (1.0 - UNSTABLE) * p } else { p }
}

/// What a stand-in that has its whole law of firing is made of: a path along which the airspeed is the time since
/// `still_s`, or until it, in m/s, high above the ground.
struct Straight<'a> {
    drawn: slowpoint_sim::flight::Drawn<'a>,
    curve: ThrustCurve,
    ascent: Ascent,
    drift: DriftTable,
    events: Events,
}

impl<'a> Straight<'a> {
    fn new(aero: &'a Aero, still_s: f64) -> Self {
        let drawn = crate::bare(aero, 0.5, 0.0);
        let node = |time_s: f64| Node {
            time_s,
            position_m: [0.0, 0.0, 5000.0],
            velocity_m_s: [time_s - still_s, 0.0, 0.0],
            acceleration_m_s2: [1.0, 0.0, 0.0],
            nose: [0.0, 0.0, 1.0],
            airspeed_m_s: (time_s - still_s).abs(),
        };
        let drift = DriftTable::new(&drawn.wind, &drawn.air, |z| drawn.gravity.at(z), 5000.0);
        let canopy = Canopy { drag_area_m2: 0.4, fill_path_m: 2.0, fill_power: 2 };
        let stages = Stages { first: canopy, main: None, bare_area_m2: 0.001, mass_kg: 0.5, seen_m2: 0.01 };
        let events = Events {
            delay_in_tolerances: vec![0.0],
            delay_error_s: vec![0.0],
            clock: DelayClock::Burnout,
            apogee_lag_s: 0.0,
            height_error_m: 0.0,
            line_stretch_lag_s: 0.5,
            stages,
            casing: Casing { mass_kg: 0.02, side_m2: 0.002 },
            failing: None,
            drawn_at: DrawnAt { delay: vec![0.5], apogee_lag: 0.5, sensed_height: 0.5 },
        };
        let path = Path { nodes: [0.0, 25.0, 32.0, 60.0].map(node).to_vec() };
        let ascent = Ascent { path, apogee_s: 1.0, apogee_m: 5000.0, ..Ascent::default() };
        Self { drawn, curve: ThrustCurve::new(vec![(0.0, 10.0), (1.0, 10.0)]), ascent, drift, events }
    }

    /// One flight: all that it drew moves the burnout.
    fn flown(&mut self, asked: &Asked, numbers: &Numbers, unstable: bool) -> Flown {
        let burn_factor = BURNS_S + OF_ALL_ELSE * all_else(numbers);
        let motor = DrawnMotor { impulse_factor: 1.0, burn_factor, lit: true, offset_m: [0.0; 2] };
        self.drawn.thrust = ThrustTable::new(&self.curve, 0.0, &[motor], true);
        self.ascent.mishaps = Mishaps { unstable, ..Mishaps::default() };
        let Self { drawn, events, ascent, drift, .. } = &*self;
        let windows = Windows::of_all(&[Subject { asked, drawn, events, ascent, drift }], land_alone).pop().flatten();
        let others = vec![None; asked.ways.len()];
        let nothing = Deployed { outcome: Outcome::Opened, ejection: None, landing: None, part: None };
        Flown {
            rail_exit: RailExit::default(),
            apogee_m: 5000.0,
            apogee_s: 1.0,
            peak_mach: 0.2,
            mishaps: self.ascent.mishaps,
            slowest: None,
            deployed: vec![nothing; asked.ways.len()],
            whole_law: windows.map(|windows| WholeLaw { windows, others, curve_airspeeds_m_s: Vec::new() }),
        }
    }
}

/// The report on one seed of stand-ins with their whole law of firing.
fn stand_in_law(case: &mut Case, seed: u64, still_s: f64, unstable: f64) -> Report {
    case.inputs.question.seed = seed;
    let question = &case.inputs.question;
    let aero = crate::bare_aero(0.01, 0.5);
    let mut straight = Straight::new(&aero, still_s);
    let asked = Asked {
        ways: &question.ways,
        limits_m_s: &question.limits_m_s,
        at_line_stretch: false,
        laws: &case.firing,
        curve_s: &[],
        curve_speeds: 0,
    };
    stood_in(case, |numbers| straight.flown(&asked, numbers, numbers.uniform(Slot::Mass) < unstable))
}

/// A case whose delays err by [`OF_DELAY`] s.
fn asking_law(delays_s: &[f64], limits_m_s: Vec<f64>, points: PointSet, flights: u64) -> Case {
    let mut inputs = rockets::paper();
    inputs.spread.delay = Some(Law::Normal { mean: 0.0, sd: OF_DELAY });
    let question = &mut inputs.question;
    question.ways = delays_s.iter().copied().map(rockets::delay).collect();
    (question.limits_m_s, question.limit_applies) = (limits_m_s, LimitApplies::Ejection);
    (question.points, question.flights) = (points, flights);
    checked(inputs)
}

/// Chances of the events of [`WHOLE_LAW_EVENTS`] at each of [`CHANCES`]: per seed, per event.
pub fn whole_law_chances(points: PointSet, flights: u64, seeds: Range<u64>) -> Vec<Vec<Vec<Chance>>> {
    let delay_s = FIRED_S - BURNS_S;
    // Firing is normal with a standard deviation of 1 s.
    let late = asking_law(&[delay_s], CHANCES.map(|p| FIRED_S - normal::quantile(p)).to_vec(), points, flights);
    let either = asking_law(&[delay_s], CHANCES.map(|p| -normal::quantile(0.5 * p)).to_vec(), points, flights);
    let one = |seed| {
        let of = |case: &Case, still_s, unstable| {
            let mut report = stand_in_law(&mut case.clone(), seed, still_s, unstable);
            report.ways.remove(0).limits
        };
        let over = |limits: Vec<LimitReport>| limits.iter().map(|l| l.over).collect();
        let with_lumps = of(&late, 0.0, UNSTABLE);
        let lumps = with_lumps.iter().map(|l| l.unsafe_opening).collect();
        vec![over(with_lumps), over(of(&either, FIRED_S, 0.0)), lumps]
    };
    seeds.into_par_iter().map(one).collect()
}

/// Cells of those chances.
pub fn whole_law_cells(found: &[Vec<Vec<Chance>>], points: PointSet, interval: Estimator) -> Vec<Cell> {
    let mut cells = Vec::new();
    for (event, name) in WHOLE_LAW_EVENTS.iter().enumerate() {
        for (k, p) in CHANCES.into_iter().enumerate() {
            let chances = found.iter().map(|seed| &seed[event][k]);
            cells.push(Cell::of(format!("{name}, {points:?}"), whole_law_truth(event, p), chances, interval));
        }
    }
    cells
}

/// Flights that end by the width of their interval: which chance, and which width is asked for, as the share of seeds whose
/// interval is narrow enough after [`ENDS_AT`] flights. The worst is where half of them end there, picked by how narrow they
/// are; of independent counted flights it is a chance of 0.5 where none ends there but those that miss it.
pub const UNTIL: [(f64, f64); 5] = [(0.5, 0.05), (0.5, 0.5), (0.1, 0.5), (0.01, 0.5), (0.001, 0.5)];
const ENDS_AT: u64 = 512;
/// Seeds that tell how wide intervals are there.
const WIDTH_SEEDS: u64 = 200;

/// The chance of each of many seeds that ends by the width of its interval, counted and integrated, for each of
/// [`UNTIL`]; `within` so many flights.
pub fn until_chances(points: PointSet, within: u64, seeds: Range<u64>) -> Vec<(String, f64, Vec<Chance>)> {
    let mut all = Vec::new();
    for (p, narrow) in UNTIL {
        let airspeed = |slower: f64| 10.0 + 50.0 * slower;
        let counted = asking(1, vec![airspeed(1.0 - p)], points, within);
        let integrated = asking_law(&[FIRED_S - BURNS_S], vec![FIRED_S - normal::quantile(p)], points, within);
        let count = |mut case: Case, seed| stand_in(&mut case, seed, |numbers| vec![airspeed(slower(numbers)[0])]);
        let integrate = |mut case: Case, seed| stand_in_law(&mut case, seed, 0.0, 0.0);
        for (name, case, one) in [
            ("counted", counted, &count as &(dyn Fn(Case, u64) -> Report + Sync)),
            ("integrated", integrated, &integrate),
        ] {
            let of = |flights, half_width, seeds: Range<u64>| -> Vec<Chance> {
                let mut case = case.clone();
                (case.inputs.question.flights, case.inputs.question.until_half_width) = (flights, Some(half_width));
                seeds.into_par_iter().map(|seed| one(case.clone(), seed).ways[0].limits[0].over).collect()
            };
            let mut half_widths: Vec<f64> =
                of(ENDS_AT, 0.0, 0..WIDTH_SEEDS).iter().map(|c| 0.5 * (c.upper - c.lower)).collect();
            half_widths.sort_by(f64::total_cmp);
            let half_width = half_widths[(narrow * WIDTH_SEEDS as f64) as usize];
            let what = format!("{name}, ends within {half_width:.4}, {points:?}");
            all.push((what, p, of(within, half_width, seeds.clone())));
        }
    }
    all
}

/// Cells of those chances, with the flights they took on the average.
pub fn until_cells(found: &[(String, f64, Vec<Chance>)], interval: Estimator) -> Vec<Cell> {
    let cell = |(what, truth, chances): &(String, f64, Vec<Chance>)| {
        let flights = chances.iter().map(|c| c.flights).sum::<u64>() / chances.len() as u64;
        Cell { flights, ..Cell::of(what.clone(), *truth, chances.iter(), interval) }
    };
    found.iter().map(cell).collect()
}

/// As [`claims`], of flights that have their whole law of firing.
pub fn whole_law_claims(points: PointSet, flights: u64, seeds: Range<u64>, aims: fn(u64) -> [f64; 3]) -> Claims {
    let one = |seed| {
        let aims = aims(seed);
        let delays_s = aims.map(|aim| FIRED_S - BURNS_S - aim);
        let mut case = asking_law(&delays_s, vec![1.6], points, flights);
        (stand_in_law(&mut case, seed, FIRED_S, 0.0).advice, aims)
    };
    Claims::of(seeds.into_par_iter().map(one).collect())
}

/// Inputs that corners are made of: those of the lowest dimensions, which every flight draws.
const CORNERED: [Slot; 16] = [
    Slot::Delay(0),
    Slot::WindAlong(0),
    Slot::WindAcross(0),
    Slot::GustAlong,
    Slot::RailInPlane,
    Slot::RailAcross,
    Slot::Drag,
    Slot::Impulse(0),
    Slot::CentreOfPressure,
    Slot::Mass,
    Slot::CentreOfGravity,
    Slot::NormalForceSlope,
    Slot::LineStretchLag,
    Slot::CanopyDrag,
    Slot::BurnTime(0),
    Slot::ThrustOne,
];

/// Cells of rare events in corners: two or three inputs all near the upper ends of their ranges, each pair and each
/// triple of [`CORNERED`] by itself.
pub fn corner_cells(points: PointSet, flights: u64, truth: f64, seeds: Range<u64>) -> Vec<Cell> {
    let n = CORNERED.len();
    let pairs = (0..n).flat_map(|a| (a + 1..n).map(move |b| vec![a, b]));
    let triples = (0..n).flat_map(|a| (a + 1..n).flat_map(move |b| (b + 1..n).map(move |c| vec![a, b, c])));
    let corners: Vec<Vec<usize>> = pairs.chain(triples).collect();
    // As many sides as the corner has make up the truth.
    let sides = [truth.sqrt(), libm::cbrt(truth)];
    let one = |seed| -> Vec<Chance> {
        let mut counts = vec![[(0_u64, 0_u64); REPLICATES as usize]; corners.len()];
        for flight in 0..flights {
            let numbers = Numbers::of(points, seed, flight);
            let drawn = CORNERED.map(|slot| numbers.uniform(slot));
            for (counts, corner) in counts.iter_mut().zip(&corners) {
                let side = if corner.len() == 2 { sides[0] } else { sides[1] };
                let count = &mut counts[(flight % REPLICATES) as usize];
                count.0 += u64::from(corner.iter().all(|k| drawn[*k] > 1.0 - side));
                count.1 += 1;
            }
        }
        counts.iter().map(|c| chance(c, points, CONFIDENCE)).collect()
    };
    let found: Vec<Vec<Chance>> = seeds.into_par_iter().map(one).collect();
    let cell = |(k, corner): (usize, &Vec<usize>)| {
        let names: Vec<String> = corner.iter().map(|k| format!("{:?}", CORNERED[*k])).collect();
        let what = format!("{}, {points:?}", names.join(", "));
        Cell::of(what, truth, found.iter().map(|seed| &seed[k]), as_reported)
    };
    corners.iter().enumerate().map(cell).collect()
}

/// What the advice says of the way with the lowest chance, over many seeds.
#[derive(Debug, Clone, Copy, Default)]
pub struct Claims {
    /// Seeds.
    pub seeds: u64,
    /// Certainty stated, on the average.
    pub stated: f64,
    /// Share of seeds in which the named way really has the least chance.
    pub right: f64,
    /// Seeds that were sure to 95 % or more.
    pub sure: u64,
    /// Of these, the ones that were right.
    pub sure_and_right: u64,
}

impl Claims {
    /// From what was advised with which aims, seed by seed: the one that aims nearest to zero is the best.
    fn of(advised: Vec<(Advice, [f64; 3])>) -> Self {
        let judged = |(advice, aims): &(Advice, [f64; 3])| {
            let best = (0..3).min_by(|a, b| aims[*a].abs().total_cmp(&aims[*b].abs()));
            (advice.lowest_certainty.unwrap_or(0.0), Some(advice.lowest) == best)
        };
        let all: Vec<(f64, bool)> = advised.iter().map(judged).collect();
        let count = |of: &dyn Fn(&(f64, bool)) -> bool| all.iter().filter(|c| of(c)).count() as u64;
        Self {
            seeds: all.len() as u64,
            stated: all.iter().map(|c| c.0).sum::<f64>() / all.len() as f64,
            right: count(&|c| c.1) as f64 / all.len() as f64,
            sure: count(&|c| c.0 >= 0.95),
            sure_and_right: count(&|c| c.0 >= 0.95 && c.1),
        }
    }

    /// One row for people.
    pub fn row(&self) -> String {
        let Self { seeds, stated, right, sure, sure_and_right } = *self;
        format!(
            "sure to {:.1} % on the average, right in {:.1} %; sure to 95 % in {sure} of {seeds} seeds, right in {sure_and_right} of them",
            100.0 * stated,
            100.0 * right
        )
    }
}

/// Aims of three delays of which two are nearly as good: the hard case for a claim of certainty.
pub fn nearly_alike(_seed: u64) -> [f64; 3] {
    [-0.5, 0.05, -0.15]
}

/// Aims of three delays anywhere about the best one, other ones for each seed.
pub fn anywhere(seed: u64) -> [f64; 3] {
    let numbers = Numbers::of(PointSet::Pseudorandom, seed, 1 << 40);
    [Slot::GustAlong, Slot::Drag, Slot::Mass].map(|slot| 2.0 * numbers.uniform(slot) - 1.0)
}

/// Claims about the best of three delays whose order is known: the airspeed grows with the distance of a standard
/// normal from what the delay aims at, so the chance is least for the one that aims nearest to zero.
pub fn claims(points: PointSet, flights: u64, seeds: Range<u64>, aims: fn(u64) -> [f64; 3]) -> Claims {
    let airspeed = |off: f64| 10.0 + 5.0 * off.abs();
    let case = asking(3, vec![airspeed(1.6)], points, flights);
    let one = |seed| {
        let aims = aims(seed);
        let speeds = |numbers: &Numbers| {
            let z = weighted(numbers);
            aims.map(|aim| airspeed(z - aim)).to_vec()
        };
        (stand_in(&mut case.clone(), seed, speeds).advice, aims)
    };
    Claims::of(seeds.into_par_iter().map(one).collect())
}

/// What very many flights say of a rocket.
pub struct Truth {
    /// Per way of deploying and chance: the airspeed that so many flights exceed, their share, and two standard
    /// errors of it, from the spread between seeds.
    pub limits: Vec<[Limit; 4]>,
    /// Per way: where the flights came down, m east and north.
    pub landings: Vec<Vec<[f64; 2]>>,
}

/// A speed limit with its true chance.
#[derive(Debug, Clone, Copy)]
pub struct Limit {
    /// The limit, m/s.
    pub speed_m_s: f64,
    /// Share of flights above it.
    pub chance: f64,
    /// Two standard errors of that share.
    pub error: f64,
}

/// First seed of the flights that tell the truth: far from those under test.
const TRUTH_SEED: u64 = 1_000_000;

/// Flies `seeds` times `flights` flights for the truth.
pub fn truth(inputs: &Inputs, seeds: u64, flights: u64) -> Truth {
    let mut inputs = inputs.clone();
    (inputs.question.flights, inputs.question.points) = (flights, PointSet::Sobol);
    let case = checked(inputs);
    let ways = &case.inputs.question.ways;
    let one = |seed: u64| -> Vec<Vec<Deployed>> {
        (0..flights)
            .into_par_iter()
            .map_init(Ascent::default, |ascent, flight| {
                let (drawn, events) = draw(&case, &Numbers::of(PointSet::Sobol, seed, flight), &Shift::NONE);
                fly(&drawn, &events, ways, ascent).deployed
            })
            .collect()
    };
    let flown: Vec<Vec<Vec<Deployed>>> = (TRUTH_SEED..TRUTH_SEED + seeds).map(one).collect();
    let speeds = |way: usize| -> Vec<f64> {
        // What never ejects is over no limit.
        let airspeed = |d: &Vec<Deployed>| d[way].ejection.map_or(0.0, |e| e.airspeed_m_s);
        let mut all: Vec<f64> = flown.iter().flatten().map(airspeed).collect();
        all.sort_by(f64::total_cmp);
        CHANCES.map(|p| all[((1.0 - p) * all.len() as f64) as usize - 1]).to_vec()
    };
    // The chance above each of those speeds is integrated over the law of firing, which knows it far better.
    let mut inputs = case.inputs.clone();
    inputs.question.limits_m_s = (0..ways.len()).flat_map(speeds).collect();
    let integrated: Vec<Report> = (TRUTH_SEED..TRUTH_SEED + seeds)
        .map(|seed| {
            inputs.question.seed = seed;
            let case = checked(inputs.clone());
            let all = tally(&Frame { case: &case, cell_m: 1.0, curve_s: &[] }, 0..flights, &Shift::NONE, &GO);
            report(&case, &all.unwrap_or_else(|| panic!("nobody stops it")), Vec::new())
        })
        .collect();
    let per_way = |way: usize| {
        core::array::from_fn(|k| {
            let limit = |r: &Report| r.ways[way].limits[way * CHANCES.len() + k].over.estimate;
            let chance = integrated.iter().map(limit).sum::<f64>() / seeds as f64;
            let squares: f64 = integrated.iter().map(|r| (limit(r) - chance) * (limit(r) - chance)).sum();
            let error = 2.0 * (squares / (seeds * (seeds - 1)) as f64).sqrt();
            Limit { speed_m_s: inputs.question.limits_m_s[way * CHANCES.len() + k], chance, error }
        })
    };
    let landings = |way: usize| {
        flown.iter().flatten().filter_map(|d| d[way].landing.map(|l| [l.east_m, l.north_m])).collect::<Vec<_>>()
    };
    Truth { limits: (0..ways.len()).map(per_way).collect(), landings: (0..ways.len()).map(landings).collect() }
}

/// What one seed's answer says of one way of deploying.
pub struct Answer {
    /// The chance above each of the truth's limits of this way.
    pub over: Vec<Chance>,
    /// On the ground.
    pub landing: Option<LandingReport>,
}

/// Flies many seeds of a rocket against the truth's limits: per seed, per way.
pub fn answers(inputs: &Inputs, truth: &Truth, points: PointSet, flights: u64, seeds: Range<u64>) -> Vec<Vec<Answer>> {
    let mut inputs = inputs.clone();
    inputs.question.limits_m_s = truth.limits.iter().flatten().map(|l| l.speed_m_s).collect();
    (inputs.question.flights, inputs.question.points) = (flights, points);
    let case = checked(inputs);
    let cell_m = cell_m(&case);
    let one = |seed| {
        let mut case = case.clone();
        case.inputs.question.seed = seed;
        let flown = tally(&Frame { case: &case, cell_m, curve_s: &[] }, 0..flights, &Shift::NONE, &GO)
            .unwrap_or_else(|| panic!("nobody stops it"));
        let ways = report(&case, &flown, Vec::new()).ways;
        let answer = |(k, way): (usize, slowpoint_sim::report::WayReport)| Answer {
            over: way.limits[k * CHANCES.len()..(k + 1) * CHANCES.len()].iter().map(|l| l.over).collect(),
            landing: way.landing,
        };
        ways.into_iter().enumerate().map(answer).collect()
    };
    seeds.into_par_iter().map(one).collect()
}

/// Cells of real flights under an estimator.
pub fn real_cells(
    rocket: &str,
    truth: &Truth,
    points: PointSet,
    found: &[Vec<Answer>],
    interval: Estimator,
) -> Vec<(Cell, Limit)> {
    let mut cells = Vec::new();
    for (way, limits) in truth.limits.iter().enumerate() {
        for (k, limit) in limits.iter().enumerate() {
            let chances = found.iter().map(|seed| &seed[way].over[k]);
            let what = format!("{rocket}, way {}, {points:?}", way + 1);
            cells.push((Cell::of(what, limit.chance, chances, interval), *limit));
        }
    }
    cells
}

/// Bias of a share printed with the landing areas.
const BIAS_MOST: f64 = 0.002_5;
/// Standard deviation of the error of it in one seed: 0.7 % of its own count, and the area's edge moves as well.
const STRAYS_MOST: f64 = 0.014;

/// Share of fresh flights where the answer drew its 95 % areas, averaged over seeds.
#[derive(Debug, Clone, Copy, Default)]
pub struct Areas {
    /// Smallest area: share asked for, share of its own flights, share it promises of fresh ones, share of fresh
    /// ones really inside.
    pub region_held: f64,
    /// See `region_held`.
    pub region_promised: f64,
    /// See `region_held`.
    pub region_fresh: f64,
    /// Root mean square of the difference of promised and fresh in one seed.
    pub region_strays: f64,
    /// Ellipse: share of its own flights that it really holds, and of fresh ones.
    pub ellipse_held: f64,
    /// See `ellipse_held`.
    pub ellipse_fresh: f64,
}

impl Areas {
    /// What the areas break of what is said of them.
    ///
    /// A single seed's share is itself known to 0.7 % only (a count of 95 % of 1024 flights), so a bias of a third of
    /// that over all seeds does not show.
    pub fn broken(&self) -> Vec<String> {
        let mut broken = Vec::new();
        let (region, ellipse) = (self.region_promised - self.region_fresh, self.ellipse_held - self.ellipse_fresh);
        let mut say = |off: f64, most: f64, what: &str| {
            if off.abs() > most {
                broken.push(format!("{what} off by {:.2} %", 100.0 * off));
            }
        };
        say(region, BIAS_MOST, "the share promised of fresh flights in the 95 % area is");
        say(ellipse, BIAS_MOST, "the share that the ellipse says it holds is");
        say(self.region_strays, STRAYS_MOST, "in one seed the share promised in the 95 % area is");
        broken
    }
}

/// Fresh flights that each seed's areas are held against.
const FRESH: usize = 8192;

/// Holds the 95 % areas of many seeds against fresh flights, each seed against others of them.
pub fn areas(found: &[Vec<Answer>], way: usize, fresh: &[[f64; 2]]) -> Areas {
    let each: Vec<Areas> = found
        .par_iter()
        .enumerate()
        .map(|(seed, answer)| {
            let landing = answer[way].landing.as_ref().unwrap_or_else(|| panic!("nothing came down"));
            let chosen: Vec<[f64; 2]> =
                fresh.iter().cycle().skip(seed * FRESH % fresh.len()).take(FRESH.min(fresh.len())).copied().collect();
            let share = |inside: &dyn Fn(&[f64; 2]) -> bool| {
                chosen.iter().filter(|p| inside(p)).count() as f64 / chosen.len() as f64
            };
            let is_95 = |asked: f64| (asked - 0.95).abs() < 1e-9;
            let region = landing.regions.iter().find(|r| is_95(r.share_asked)).unwrap_or_else(|| panic!("no region"));
            let ellipse = landing.ellipses.iter().find(|e| is_95(e.share_asked)).unwrap_or_else(|| panic!("none"));
            let rings: Vec<&[(f64, f64)]> = region
                .outline
                .iter()
                .flat_map(|p| core::iter::once(&p.exterior[..]).chain(p.holes.iter().map(|h| &h[..])))
                .collect();
            let (sin, cos) = libm::sincos(ellipse.bearing_deg.to_radians());
            let in_ellipse = |p: &[f64; 2]| {
                let (e, n) = (p[0] - landing.mean_east_m, p[1] - landing.mean_north_m);
                let along = (e * sin + n * cos) / ellipse.semi_major_m;
                let across = (e * cos - n * sin) / ellipse.semi_minor_m;
                along * along + across * across <= 1.0
            };
            let region_fresh = share(&|p| within(&rings, p));
            Areas {
                region_held: region.share_held,
                region_promised: region.share_expected,
                region_fresh,
                region_strays: region.share_expected - region_fresh,
                ellipse_held: ellipse.share_held,
                ellipse_fresh: share(&in_ellipse),
            }
        })
        .collect();
    let n = each.len() as f64;
    let mean = |pick: fn(&Areas) -> f64| each.iter().map(pick).sum::<f64>() / n;
    Areas {
        region_held: mean(|a| a.region_held),
        region_promised: mean(|a| a.region_promised),
        region_fresh: mean(|a| a.region_fresh),
        region_strays: (each.iter().map(|a| a.region_strays * a.region_strays).sum::<f64>() / n).sqrt(),
        ellipse_held: mean(|a| a.ellipse_held),
        ellipse_fresh: mean(|a| a.ellipse_fresh),
    }
}

/// Whether a point lies inside an odd number of closed rings: inside an outline and none of its gaps.
fn within(rings: &[&[(f64, f64)]], p: &[f64; 2]) -> bool {
    let mut inside = false;
    for (a, b) in rings.iter().flat_map(|ring| ring.windows(2).map(|w| (w[0], w[1]))) {
        if (a.1 > p[1]) != (b.1 > p[1]) {
            inside ^= p[0] < a.0 + (p[1] - a.1) / (b.1 - a.1) * (b.0 - a.0);
        }
    }
    inside
}
