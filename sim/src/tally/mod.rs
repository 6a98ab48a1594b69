//! What accumulates over flights. Integer counts, fixed-edge bins and fixed-point sums: merging in any
//! order gives the same bytes, so any split over threads or calls does.

mod chances;
mod cords;
mod curve;
mod failures;
mod ground;
mod summarise;

pub use cords::CordTally;
pub use curve::{curve_delays_s, curve_report, curve_speeds};
pub use failures::FailureTally;
pub use ground::casualty_area_m2;
pub use summarise::{SHARES, flight_report, limit_reports, rail_report, way_report};

use crate::case::{Case, LimitApplies};
use crate::draw::REPLICATES;
use crate::flight::{Deployed, Ejection, Fate, Flown, NODES, Outcome, WHOLE, Window};
use crate::stat::histogram::Summary;
use crate::stat::interval::Estimator;
use crate::stat::paired::{Differences, Side};
use chances::{Chances, square};
use curve::CurveTally;
use ground::GroundTally;

/// Hits per replicate.
pub type Hits = [u64; REPLICATES as usize];

/// Bins of each quantity: low end, width, number. The widths are the resolution of the printed quantiles.
mod bins {
    pub const AIRSPEED_M_S: (f64, f64, usize) = (0.0, 0.05, 8000);
    pub const VERTICAL_M_S: (f64, f64, usize) = (-400.0, 0.1, 8000);
    pub const HEIGHT_M: (f64, f64, usize) = (-100.0, 1.0, 20_100);
    pub const AFTER_APOGEE_S: (f64, f64, usize) = (-70.0, 0.01, 14_000);
    pub const DISTANCE_M: (f64, f64, usize) = (0.0, 1.0, 60_000);
    pub const ANGLE_DEG: (f64, f64, usize) = (0.0, 0.05, 3600);
    pub const MARGIN_CALIBRES: (f64, f64, usize) = (-10.0, 0.01, 3000);
    pub const MACH: (f64, f64, usize) = (0.0, 0.001, 5000);
    pub const TIME_S: (f64, f64, usize) = (0.0, 0.01, 30_000);
    pub const ROOT_ENERGY: (f64, f64, usize) = (0.0, 0.1, 15_000);
    pub const DELAY_S: (f64, f64, usize) = (0.0, 0.01, 20_000);
    /// Decimal logarithm of newtons: a fifth of a per cent a bin.
    pub const LOG_TENSION: (f64, f64, usize) = (-1.0, 0.001, 8000);
}

fn summary((low, width, count): (f64, f64, usize)) -> Summary {
    Summary::new(low, width, count)
}

/// Most limits and ways of deploying of a case.
const MOST_LIMITS: usize = crate::limits::LIMIT_COUNT.max as usize;
const MOST_WAYS: usize = crate::limits::DELAY_COUNT.max as usize;

/// Chances against one limit.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitTally {
    limit_m_s: f64,
    over: Chances,
    unsafe_opening: Chances,
    /// Opened well and under the limit, over the limit; each before and after apogee.
    under: [u64; 2],
    over_sides: [u64; 2],
}

/// One flight's shares of the law against each limit.
#[derive(Debug, Clone, Copy, Default)]
struct LimitShares {
    over: [u64; MOST_LIMITS],
    unsafe_opening: [u64; MOST_LIMITS],
}

impl LimitShares {
    #[inline]
    fn add(&mut self, window: &Window, share: u64, limits: usize) {
        for k in 0..limits {
            self.over[k] += share * u64::from(window.over(k));
            self.unsafe_opening[k] += share * u64::from(window.unsafe_opening(k));
        }
    }
}

/// Differences of the flights' chances of two things: where that of the earlier is larger, where that of the later.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Apart {
    sizes: [u64; 2],
    squares: [u64; 2],
}

impl Apart {
    /// Adds a flight.
    #[inline]
    fn add(&mut self, earlier: u64, later: u64) {
        let (side, size) = (usize::from(later > earlier), later.abs_diff(earlier));
        self.sizes[side] += size;
        self.squares[side] += square(size);
    }

    fn merge(&mut self, other: &Self) {
        for side in 0..2 {
            self.sizes[side] += other.sizes[side];
            self.squares[side] += other.squares[side];
        }
    }

    /// Flights that speak against the earlier, and those that speak against the later.
    fn sides(&self) -> [Side; 2] {
        [0, 1].map(|k| Side { sum: chances::share(self.sizes[k]), squares: chances::share(self.squares[k]) })
    }
}

/// What is kept of one way of deploying.
#[derive(Debug, Clone, PartialEq)]
pub struct WayTally {
    /// Shares of flights per outcome: without ejection in the air, ejected before apogee, after it.
    outcomes: [[u64; 3]; Outcome::ALL.len()],
    limits: Vec<LimitTally>,
    airspeed: Summary,
    vertical: Summary,
    horizontal: Summary,
    height: Summary,
    after_apogee: Summary,
    stretch: Summary,
    ground: GroundTally,
}

/// What is kept of a number of flights.
#[derive(Debug, Clone, PartialEq)]
pub struct Tally {
    flights: Hits,
    above_ceiling: Hits,
    ways: Vec<WayTally>,
    /// How far apart the chances of an unsafe opening by way i and by an earlier way j are, at the advice's limit.
    apart: Vec<Vec<Apart>>,
    curve: CurveTally,
    /// Flights with their whole law of firing.
    integrated: u64,
    exit_speed: Summary,
    forward_speed: Summary,
    angle_of_attack: Summary,
    margin: Summary,
    apogee: Summary,
    apogee_time: Summary,
    peak_mach: Summary,
    slowest_airspeed: Summary,
    slowest_delay: Summary,
    slowest_after_apogee: Summary,
}

/// What the tally asks of a case.
#[derive(Debug, Clone, Copy)]
pub struct Frame<'a> {
    /// The case.
    pub case: &'a Case,
    /// Edge of the landing grid's cells, m.
    pub cell_m: f64,
    /// Delays of the curve, s.
    pub curve_s: &'a [f64],
}

/// The airspeed that limits are held against, m/s.
pub fn speed_against(ejection: &Ejection, applies: LimitApplies) -> f64 {
    match applies {
        LimitApplies::Ejection => ejection.airspeed_m_s,
        LimitApplies::LineStretch => ejection.stretch_airspeed_m_s,
    }
}

/// Whether a flight ejected faster than a limit, and whether it opened unsafely at it.
pub fn against(flown: &Deployed, limit_m_s: f64, applies: LimitApplies) -> (bool, bool) {
    let over = flown.ejection.as_ref().is_some_and(|e| speed_against(e, applies) > limit_m_s);
    (over, over || flown.outcome != Outcome::Opened)
}

impl LimitTally {
    fn new(limit_m_s: f64) -> Self {
        let none = Chances::default();
        Self { limit_m_s, over: none.clone(), unsafe_opening: none, under: [0; 2], over_sides: [0; 2] }
    }

    fn merge(&mut self, other: &Self) {
        self.over.merge(&other.over);
        self.unsafe_opening.merge(&other.unsafe_opening);
        for side in 0..2 {
            self.under[side] += other.under[side];
            self.over_sides[side] += other.over_sides[side];
        }
    }

    /// Counts a flight as it was drawn.
    fn count(&mut self, flown: &Deployed, applies: LimitApplies, replicate: usize) {
        let (over, unsafe_opening) = against(flown, self.limit_m_s, applies);
        self.over.add(WHOLE * u64::from(over), replicate);
        self.unsafe_opening.add(WHOLE * u64::from(unsafe_opening), replicate);
    }
}

/// The one window of a flight that is counted as it was drawn.
fn drawn_window(deployed: &Deployed, case: &Case) -> Window {
    let question = &case.inputs.question;
    let side = deployed.ejection.as_ref().map_or(0, |e| 1 + usize::from(e.after_apogee_s > 0.0));
    let over = question.limits_m_s.iter().map(|limit_m_s| against(deployed, *limit_m_s, question.limit_applies).0);
    Window::new(deployed.outcome, side, over)
}

/// The share of each window in one way of deploying: of the whole law, or all of it where the flight was drawn.
pub fn shares(fate: Fate, way: usize, case: &Case, mut take: impl FnMut(&Window, u64)) {
    match fate {
        Fate::Law(windows) => windows.shares(&case.firing, way, &case.inputs.question.ways[way], take),
        Fate::Drawn(deployed) => take(&drawn_window(deployed, case), WHOLE),
    }
}

/// A flight's chances by one way of deploying: per limit over it, and of an unsafe opening.
pub fn limit_chances(fate: Fate, way: usize, case: &Case) -> Vec<[f64; 2]> {
    let limits = case.inputs.question.limits_m_s.len();
    let mut sums = LimitShares::default();
    shares(fate, way, case, |window, share| sums.add(window, share, limits));
    (0..limits).map(|k| [chances::share(sums.over[k]), chances::share(sums.unsafe_opening[k])]).collect()
}

impl WayTally {
    fn new(frame: &Frame) -> Self {
        Self {
            outcomes: [[0; 3]; Outcome::ALL.len()],
            limits: frame.case.inputs.question.limits_m_s.iter().map(|limit| LimitTally::new(*limit)).collect(),
            airspeed: summary(bins::AIRSPEED_M_S),
            vertical: summary(bins::VERTICAL_M_S),
            horizontal: summary(bins::AIRSPEED_M_S),
            height: summary(bins::HEIGHT_M),
            after_apogee: summary(bins::AFTER_APOGEE_S),
            stretch: summary(bins::AIRSPEED_M_S),
            ground: GroundTally::new(frame.case, frame.cell_m),
        }
    }

    /// Adds a flight; gives its chance of an unsafe opening at the limit of the advice.
    fn add(&mut self, flown: &Flown, way: usize, case: &Case, flight: u64, replicate: usize) -> u64 {
        let (question, deployed) = (&case.inputs.question, &flown.deployed[way]);
        let mut sums = LimitShares::default();
        shares(flown.fate(way), way, case, |window, share| {
            self.outcomes[window.outcome as usize][window.side] += share;
            sums.add(window, share, self.limits.len());
            if let Some(side) = window.side.checked_sub(1) {
                for (k, limit) in self.limits.iter_mut().enumerate() {
                    limit.over_sides[side] += share * u64::from(window.over(k));
                    limit.under[side] += share * u64::from(!window.unsafe_opening(k));
                }
            }
        });
        for (k, limit) in self.limits.iter_mut().enumerate() {
            limit.over.add(sums.over[k], replicate);
            limit.unsafe_opening.add(sums.unsafe_opening[k], replicate);
        }
        // The figures of a flight that did not settle are not to be averaged; it is counted above.
        if deployed.outcome != Outcome::Untrusted {
            let others = flown.whole_law.as_ref().and_then(|law| law.others[way].as_ref());
            if let Some(e) = &deployed.ejection {
                // Without other points of its law the drawn one stands for them all.
                self.ejected(e, if others.is_some() { 1 } else { NODES as u64 }, Some(flight));
            }
            for e in others.into_iter().flatten().flatten() {
                self.ejected(e, 1, None);
            }
        }
        if let Some(landing) = &deployed.landing {
            self.ground.add(landing, deployed.part.as_ref(), case, flight, replicate);
        }
        sums.unsafe_opening[question.accept_limit]
    }

    /// Adds an ejection so many times; `flight` is that of one that a replay shows.
    fn ejected(&mut self, e: &Ejection, times: u64, flight: Option<u64>) {
        self.airspeed.add_times(e.airspeed_m_s, times, flight);
        self.vertical.add_times(e.vertical_speed_m_s, times, flight);
        self.horizontal.add_times(e.horizontal_airspeed_m_s, times, flight);
        self.height.add_times(e.height_m, times, flight);
        self.after_apogee.add_times(e.after_apogee_s, times, flight);
        self.stretch.add_times(e.stretch_airspeed_m_s, times, flight);
    }

    fn merge(&mut self, other: &Self) {
        for (a, b) in self.outcomes.iter_mut().flatten().zip(other.outcomes.iter().flatten()) {
            *a += b;
        }
        self.limits.iter_mut().zip(&other.limits).for_each(|(a, b)| a.merge(b));
        for (a, b) in [
            (&mut self.airspeed, &other.airspeed),
            (&mut self.vertical, &other.vertical),
            (&mut self.horizontal, &other.horizontal),
            (&mut self.height, &other.height),
            (&mut self.after_apogee, &other.after_apogee),
            (&mut self.stretch, &other.stretch),
        ] {
            a.merge(b);
        }
        self.ground.merge(&other.ground);
    }
}

fn add_hits(a: &mut Hits, b: &Hits) {
    for (a, b) in a.iter_mut().zip(b) {
        *a += b;
    }
}

impl Tally {
    /// No flight yet.
    pub fn new(frame: &Frame) -> Self {
        let ways = frame.case.inputs.question.ways.len();
        let none = [0; REPLICATES as usize];
        Self {
            flights: none,
            above_ceiling: none,
            ways: (0..ways).map(|_| WayTally::new(frame)).collect(),
            apart: (0..ways).map(|way| vec![Apart::default(); way]).collect(),
            curve: CurveTally::new(frame),
            integrated: 0,
            exit_speed: summary(bins::AIRSPEED_M_S),
            forward_speed: summary(bins::AIRSPEED_M_S),
            angle_of_attack: summary(bins::ANGLE_DEG),
            margin: summary(bins::MARGIN_CALIBRES),
            apogee: summary(bins::HEIGHT_M),
            apogee_time: summary(bins::TIME_S),
            peak_mach: summary(bins::MACH),
            slowest_airspeed: summary(bins::AIRSPEED_M_S),
            slowest_delay: summary(bins::DELAY_S),
            slowest_after_apogee: summary(bins::AFTER_APOGEE_S),
        }
    }

    /// Counts one flight.
    pub fn add(&mut self, flown: &Flown, case: &Case, flight: u64) {
        let replicate = (flight % REPLICATES) as usize;
        self.flights[replicate] += 1;
        let mut unsafe_ways = [0_u64; MOST_WAYS];
        for (way, tally) in self.ways.iter_mut().enumerate() {
            unsafe_ways[way] = tally.add(flown, way, case, flight, replicate);
        }
        for (way, earlier) in self.apart.iter_mut().enumerate() {
            for (apart, other) in earlier.iter_mut().zip(&unsafe_ways) {
                apart.add(*other, unsafe_ways[way]);
            }
        }
        if let Some(law) = &flown.whole_law {
            self.integrated += 1;
            self.curve.add(law, case, replicate);
            // The figures of a flight that did not settle are not to be averaged; it is counted above.
            if !flown.mishaps.untrusted {
                self.curve.add_airspeeds(&law.curve_airspeeds_m_s);
            }
        }
        if flown.mishaps.never_left_rail {
            return;
        }
        // What an unburst motor would have done says nothing of a flight whose motor burst.
        if flown.deployed.iter().any(|d| d.outcome == Outcome::MotorBurst) {
            return;
        }
        let above = case.inputs.site.ceiling_m.is_some_and(|ceiling| flown.apogee_m > ceiling);
        self.above_ceiling[replicate] += u64::from(above);
        if flown.mishaps.untrusted {
            return;
        }
        self.exit_speed.add(flown.rail_exit.speed_m_s, flight);
        self.forward_speed.add(flown.rail_exit.forward_speed_m_s, flight);
        self.angle_of_attack.add(flown.rail_exit.angle_of_attack_rad.to_degrees(), flight);
        self.margin.add(flown.rail_exit.margin_m / case.inputs.airframe.diameter_m, flight);
        self.apogee.add(flown.apogee_m, flight);
        self.apogee_time.add(flown.apogee_s, flight);
        self.peak_mach.add(flown.peak_mach, flight);
        if let Some(s) = &flown.slowest {
            self.slowest_airspeed.add(s.airspeed_m_s, flight);
            self.slowest_delay.add(s.delay_s, flight);
            self.slowest_after_apogee.add(s.after_apogee_s, flight);
        }
    }

    /// Adds the flights of another tally of the same case.
    pub fn merge(&mut self, other: &Self) {
        add_hits(&mut self.flights, &other.flights);
        add_hits(&mut self.above_ceiling, &other.above_ceiling);
        for (a, b) in self.ways.iter_mut().zip(&other.ways) {
            a.merge(b);
        }
        for (a, b) in self.apart.iter_mut().flatten().zip(other.apart.iter().flatten()) {
            a.merge(b);
        }
        self.curve.merge(&other.curve);
        self.integrated += other.integrated;
        for (a, b) in [
            (&mut self.exit_speed, &other.exit_speed),
            (&mut self.forward_speed, &other.forward_speed),
            (&mut self.angle_of_attack, &other.angle_of_attack),
            (&mut self.margin, &other.margin),
            (&mut self.apogee, &other.apogee),
            (&mut self.apogee_time, &other.apogee_time),
            (&mut self.peak_mach, &other.peak_mach),
            (&mut self.slowest_airspeed, &other.slowest_airspeed),
            (&mut self.slowest_delay, &other.slowest_delay),
            (&mut self.slowest_after_apogee, &other.slowest_after_apogee),
        ] {
            a.merge(b);
        }
    }

    /// Flights counted.
    pub fn flights(&self) -> u64 {
        self.flights.iter().sum()
    }

    /// One way of deploying.
    pub fn way(&self, index: usize) -> &WayTally {
        &self.ways[index]
    }

    /// How the chances of two ways are made.
    pub fn estimator(&self) -> Estimator {
        Estimator::of(self.integrated, self.flights())
    }

    /// How the chances of an unsafe opening by two ways differ, at a limit that is the advice's.
    pub fn differences(&self, first: usize, second: usize, limit: usize) -> Differences {
        let [of_first, of_second] = [first, second].map(|way| self.ways[way].limits[limit].unsafe_opening.sums());
        let net = |k: usize| chances::share(of_second[k]) - chances::share(of_first[k]);
        let worse = self.apart[first.max(second)][first.min(second)].sides();
        Differences {
            net: (0..self.flights.len()).map(|k| (net(k), self.flights[k])).collect(),
            worse: if first < second { worse } else { [worse[1], worse[0]] },
        }
    }

    /// Sum of the flights' chances of an unsafe opening one way, in multiples of one over [`WHOLE`].
    pub fn unsafe_openings(&self, way: usize, limit: usize) -> u64 {
        self.ways[way].limits[limit].unsafe_opening.total()
    }
}
