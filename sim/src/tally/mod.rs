//! What accumulates over flights. Integer counts, fixed-edge bins and fixed-point sums: merging in any
//! order gives the same bytes, so any split over threads or calls does.

mod failures;
mod ground;
mod summarise;

pub use failures::FailureTally;
pub use ground::casualty_area_m2;
pub use summarise::{flight_report, rail_report, way_report};

use crate::case::{Case, LimitApplies};
use crate::draw::REPLICATES;
use crate::flight::{Deployed, Ejection, Flown, Outcome};
use crate::stat::histogram::Summary;
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
}

fn summary((low, width, count): (f64, f64, usize)) -> Summary {
    Summary::new(low, width, count)
}

/// Counts against one limit.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitTally {
    limit_m_s: f64,
    over: Hits,
    unsafe_opening: Hits,
    /// Opened well and under the limit, over the limit; each before and after apogee.
    under: [u64; 2],
    over_sides: [u64; 2],
}

/// What is kept of one way of deploying.
#[derive(Debug, Clone, PartialEq)]
pub struct WayTally {
    /// Flights per outcome: without ejection in the air, ejected before apogee, after it.
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
    /// Flights in which way i opened unsafely and way j did not, at the advice's limit.
    only_first_unsafe: Vec<Vec<u64>>,
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
}

/// Whether a flight ejected faster than a limit, and whether it opened unsafely at it.
pub fn against(flown: &Deployed, limit_m_s: f64, applies: LimitApplies) -> (bool, bool) {
    let speed_m_s = |e: &Ejection| match applies {
        LimitApplies::Ejection => e.airspeed_m_s,
        LimitApplies::LineStretch => e.stretch_airspeed_m_s,
    };
    let over = flown.ejection.as_ref().is_some_and(|e| speed_m_s(e) > limit_m_s);
    (over, over || flown.outcome != Outcome::Opened)
}

impl LimitTally {
    fn new(limit_m_s: f64) -> Self {
        let none = Hits::default();
        Self { limit_m_s, over: none, unsafe_opening: none, under: [0; 2], over_sides: [0; 2] }
    }

    fn merge(&mut self, other: &Self) {
        add_hits(&mut self.over, &other.over);
        add_hits(&mut self.unsafe_opening, &other.unsafe_opening);
        for side in 0..2 {
            self.under[side] += other.under[side];
            self.over_sides[side] += other.over_sides[side];
        }
    }

    /// Counts a flight; says whether it opened unsafely.
    fn add(&mut self, flown: &Deployed, applies: LimitApplies, replicate: usize) -> bool {
        let (over, unsafe_opening) = against(flown, self.limit_m_s, applies);
        self.over[replicate] += u64::from(over);
        self.unsafe_opening[replicate] += u64::from(unsafe_opening);
        if let Some(e) = &flown.ejection {
            let side = usize::from(e.after_apogee_s > 0.0);
            if over {
                self.over_sides[side] += 1;
            } else if !unsafe_opening {
                self.under[side] += 1;
            }
        }
        unsafe_opening
    }
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

    /// Counts a flight; says whether it opened unsafely at the limit of the advice.
    fn add(&mut self, deployed: &Deployed, case: &Case, flight: u64, replicate: usize) -> bool {
        let question = &case.inputs.question;
        let side = deployed.ejection.as_ref().map_or(0, |e| 1 + usize::from(e.after_apogee_s > 0.0));
        self.outcomes[deployed.outcome as usize][side] += 1;
        let mut unsafe_opening = false;
        for (k, limit) in self.limits.iter_mut().enumerate() {
            let it = limit.add(deployed, question.limit_applies, replicate);
            unsafe_opening |= it && k == question.accept_limit;
        }
        // The figures of a flight that did not settle are not to be averaged; it is counted above.
        if let Some(e) = deployed.ejection.as_ref().filter(|_| deployed.outcome != Outcome::Untrusted) {
            self.airspeed.add(e.airspeed_m_s, flight);
            self.vertical.add(e.vertical_speed_m_s, flight);
            self.horizontal.add(e.horizontal_airspeed_m_s, flight);
            self.height.add(e.height_m, flight);
            self.after_apogee.add(e.after_apogee_s, flight);
            self.stretch.add(e.stretch_airspeed_m_s, flight);
        }
        if let Some(landing) = &deployed.landing {
            self.ground.add(landing, deployed.part.as_ref(), case, flight, replicate);
        }
        unsafe_opening
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
            only_first_unsafe: vec![vec![0; ways]; ways],
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
        let unsafe_ways: Vec<bool> = self
            .ways
            .iter_mut()
            .zip(&flown.deployed)
            .map(|(way, deployed)| way.add(deployed, case, flight, replicate))
            .collect();
        for (i, first) in unsafe_ways.iter().enumerate() {
            for (j, other) in unsafe_ways.iter().enumerate() {
                self.only_first_unsafe[i][j] += u64::from(*first && !other);
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
        for (a, b) in self.only_first_unsafe.iter_mut().flatten().zip(other.only_first_unsafe.iter().flatten()) {
            *a += b;
        }
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

    /// Flights in which the first way opened unsafely and the other did not.
    pub fn only_first_unsafe(&self, first: usize, other: usize) -> u64 {
        self.only_first_unsafe[first][other]
    }

    /// Flights that opened unsafely one way, at the advice's limit.
    pub fn unsafe_openings(&self, way: usize, limit: usize) -> u64 {
        self.ways[way].limits[limit].unsafe_opening.iter().sum()
    }
}
