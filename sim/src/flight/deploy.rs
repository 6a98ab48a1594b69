//! When each way of deploying fires, how fast the rocket is then, and what becomes of it.

use super::ascent::{Ascent, Mishaps, Watchfulness};
use super::descent::{Canopy, Falling, Landing, Stages, descend};
use super::failure::{FORWARD_SHARE, Failing, Failure, STREAMING_SHARE};
use super::firing::DrawnAt;
use super::parts::Drawn;
use super::path::Moment;
use super::windows::Asked;
use crate::lanes::norm;
use crate::wind::DriftTable;

/// What an altimeter fires on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Electronics {
    /// The highest point.
    Apogee,
    /// A height above the pad, coming down, m.
    Height(f64),
}

/// One way of deploying that the caller asks about. With two triggers the first wins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deployment {
    /// Delay of the motor's ejection charge, s.
    pub motor_delay_s: Option<f64>,
    /// An altimeter.
    pub electronics: Option<Electronics>,
}

/// What the motor's delay counts from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DelayClock {
    /// The motor's own drawn burnout.
    Burnout,
    /// First thrust plus the nominal burn time, s.
    NominalBurn(f64),
}

/// Drawn errors of what fires and what opens.
#[derive(Debug, Clone)]
pub struct Events {
    /// Per motor: error of its delay in units of the tolerance of that delay.
    pub delay_in_tolerances: Vec<f64>,
    /// Per motor: error of its delay in seconds, on top.
    pub delay_error_s: Vec<f64>,
    /// Clock of the delay.
    pub clock: DelayClock,
    /// Lag of apogee sensing, s.
    pub apogee_lag_s: f64,
    /// Error of a sensed height, m.
    pub height_error_m: f64,
    /// Ejection to line stretch, s.
    pub line_stretch_lag_s: f64,
    /// What comes down: canopies as drawn.
    pub stages: Stages,
    /// A spent motor casing, should it come down by itself.
    pub casing: Casing,
    /// What fails, if anything.
    pub failing: Option<Failing>,
    /// The numbers that decided when something fires.
    pub drawn_at: DrawnAt,
}

/// A spent motor casing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Casing {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Its area seen from the side, m^2.
    pub side_m2: f64,
}

/// Drag coefficient of a tumbling casing on its side: a long cylinder across the flow.
const BROADSIDE_DRAG: f64 = 1.2;

/// Published bound of a delay's error: the larger of 1.5 s and 20 % of the delay, at most 3 s
/// (NFPA 1125, from memory, low confidence; used as a bound, not as a standard deviation).
pub fn delay_tolerance_s(delay_s: f64) -> f64 {
    (0.2 * delay_s).clamp(1.5, 3.0)
}

/// What became of one flight with one way of deploying. Each flight has exactly one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Outcome {
    /// Opened and slowed to its descent rate.
    Opened,
    /// Ejected too low to slow to the descent rate.
    OpenedTooLow,
    /// Nothing is there to open: it comes down ballistic.
    NothingOpened,
    /// Ejected under thrust or on the rail.
    InBoost,
    /// Reached the ground before ejection.
    GroundFirst,
    /// Never left the rail.
    NeverLeftRail,
    /// Unstable or tumbled under thrust.
    Unstable,
    /// More than 60 degrees from vertical under thrust.
    BeyondSixtyDeg,
    /// Beyond the Mach bound or the top of the model.
    OutsideModel,
    /// Integration did not settle.
    Untrusted,
    /// Failure: nothing fired.
    NoEjection,
    /// Failure: nothing that opens filled.
    NothingFilled,
    /// Failure: what opens first did not fill, and the main opened at the speed of the fall.
    FirstFailed,
    /// Failure: the cord broke, and a part fell by itself.
    PartsSeparated,
    /// Failure: the charge drove out the motor instead.
    MotorEjected,
    /// Failure: the motor burst.
    MotorBurst,
}

impl Outcome {
    /// Every outcome, in the order of its number.
    pub const ALL: [Self; 16] = [
        Self::Opened,
        Self::OpenedTooLow,
        Self::NothingOpened,
        Self::InBoost,
        Self::GroundFirst,
        Self::NeverLeftRail,
        Self::Unstable,
        Self::BeyondSixtyDeg,
        Self::OutsideModel,
        Self::Untrusted,
        Self::NoEjection,
        Self::NothingFilled,
        Self::FirstFailed,
        Self::PartsSeparated,
        Self::MotorEjected,
        Self::MotorBurst,
    ];
}

/// The ejection of one flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ejection {
    /// Seconds after first thrust.
    pub time_s: f64,
    /// Seconds after apogee; negative before it.
    pub after_apogee_s: f64,
    /// Airspeed, m/s.
    pub airspeed_m_s: f64,
    /// Upward speed, m/s.
    pub vertical_speed_m_s: f64,
    /// Horizontal part of the airspeed, m/s.
    pub horizontal_airspeed_m_s: f64,
    /// Height above the pad, m.
    pub height_m: f64,
    /// Airspeed at line stretch, or at the ground if that comes first, m/s.
    pub stretch_airspeed_m_s: f64,
}

/// One flight with one way of deploying.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deployed {
    /// What became of it.
    pub outcome: Outcome,
    /// The ejection, if there was one in flight.
    pub ejection: Option<Ejection>,
    /// Where and how it came down, if it flew.
    pub landing: Option<Landing>,
    /// A part that came down by itself.
    pub part: Option<Landing>,
}

/// What instruments on board would log of a flight deployed one way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnBoard {
    /// Highest point above the pad, m: where it opens while it still rises, that is below the top it would have had.
    pub apogee_m: f64,
    /// Time of the highest point, s after first thrust.
    pub apogee_s: f64,
    /// The ejection, if there was one in flight.
    pub ejection: Option<Ejection>,
}

impl DelayClock {
    /// Where the clock of a flight starts, s after first thrust.
    pub fn starts_s(&self, burnout_s: f64) -> f64 {
        match *self {
            Self::Burnout => burnout_s,
            Self::NominalBurn(nominal_s) => nominal_s,
        }
    }
}

impl Events {
    /// The same with another failure of the same time and size.
    pub fn failing(&self, failure: Failure) -> Self {
        Self { failing: self.failing.map(|f| Failing { failure, ..f }), ..self.clone() }
    }

    /// How long the ascent has to be followed closely for these ways of deploying.
    pub fn watchfulness(&self, ways: &[Deployment], drawn: &Drawn) -> Watchfulness {
        // What has nothing to open comes down ballistic.
        let mut to_ground = self.stages.first.drag_area_m2 <= 0.0
            || self.failing.is_some_and(|f| matches!(f.failure, Failure::NoEjection));
        let mut w = Watchfulness::LEAST;
        let lag = self.line_stretch_lag_s;
        for way in ways {
            let motor = self.motor_fires_s(way, drawn);
            to_ground |= way.electronics.is_none() && !motor.is_finite();
            match way.electronics {
                None => w.until_s = w.until_s.max(if motor.is_finite() { motor + lag } else { 0.0 }),
                Some(Electronics::Apogee) => w.past_apogee(self.apogee_lag_s, lag),
                Some(Electronics::Height(h)) => w.down_to(h + self.height_error_m, lag),
            }
        }
        Watchfulness { to_ground, ..w }
    }

    /// The same for all that is asked of the flight.
    pub fn watched(&self, ways: &[Deployment], asked: Option<&Asked>, drawn: &Drawn) -> Watchfulness {
        let watched = self.watchfulness(ways, drawn);
        asked.map_or(watched, |asked| watched.both(asked.watchfulness_of_laws(self, drawn)))
    }

    /// Whether an ascent was followed as far as these ways of deploying ask.
    pub fn suffices(&self, ways: &[Deployment], drawn: &Drawn, ascent: &Ascent) -> bool {
        ascent.ground_s.is_finite()
            || ascent.mishaps.untrusted
            || ascent.mishaps.never_left_rail
            || ways.iter().all(|way| {
                let fires = self.fires_s(way, drawn, ascent);
                // Deployed under thrust, it may come down ballistic.
                fires >= self.boost_ends_s(drawn, ascent) && fires + self.line_stretch_lag_s < ascent.path.end_s()
            })
    }

    /// Until when an ejection is one under thrust or on the rail, s. A cluster's first charge may fire while another
    /// motor still burns.
    pub(super) fn boost_ends_s(&self, drawn: &Drawn, ascent: &Ascent) -> f64 {
        (drawn.thrust.burnout_s().min(drawn.thrust.end_s()) - 1e-9).max(ascent.rail_exit.time_s)
    }

    /// Firing time of the motor's own charge, s after first thrust; infinite without one.
    fn motor_fires_s(&self, way: &Deployment, drawn: &Drawn) -> f64 {
        way.motor_delay_s.map_or(f64::INFINITY, |delay| {
            let delay = self.failing.map_or(delay, |f| f.fitted_delay_s(delay));
            let failing = self.failing.and_then(|f| f.delay_in_tolerances());
            let burnouts = drawn.thrust.motor_burnouts_s();
            burnouts.iter().fold(f64::INFINITY, |first, (k, burnout)| {
                let error = match failing {
                    Some(tolerances) => tolerances * delay_tolerance_s(delay),
                    None => self.delay_in_tolerances[*k] * delay_tolerance_s(delay) + self.delay_error_s[*k],
                };
                first.min(self.clock.starts_s(*burnout) + (delay + error).max(0.0))
            })
        })
    }

    /// Firing time of one way of deploying, s after first thrust.
    pub fn fires_s(&self, way: &Deployment, drawn: &Drawn, ascent: &Ascent) -> f64 {
        let motor = self.motor_fires_s(way, drawn);
        let electronics = match way.electronics {
            None => f64::INFINITY,
            Some(Electronics::Apogee) => ascent.apogee_s + self.apogee_lag_s,
            Some(Electronics::Height(height)) => self.senses_s(height, self.height_error_m, ascent),
        };
        let fires = motor.min(electronics);
        match self.failing {
            Some(Failing { failure: Failure::EarlyEjection, when, .. }) => {
                let (rail, end) = (ascent.rail_exit.time_s, fires.min(ascent.ground_s));
                rail + when * (end - rail).max(0.0)
            }
            _ => fires,
        }
    }

    /// When an altimeter with an error senses a height coming down, s after first thrust: by the lag of apogee sensing
    /// where the flight never rises to it.
    pub(super) fn senses_s(&self, height_m: f64, error_m: f64, ascent: &Ascent) -> f64 {
        falls_through_s(ascent, height_m + error_m).unwrap_or(ascent.apogee_s + self.apogee_lag_s)
    }

    /// What becomes of the flight when it is deployed one way.
    pub fn deploy(&self, way: &Deployment, drawn: &Drawn, ascent: &Ascent, drift: &DriftTable) -> Deployed {
        let plan = self.plan(way, drawn, ascent);
        let landed: Vec<Landing> =
            plan.falls.iter().flatten().map(|(stages, from)| descend(drawn, stages, from, drift)).collect();
        plan.finish(&landed, ascent)
    }

    /// What becomes of the flight when it is deployed one way, as far as it is known before what falls has come down.
    pub fn plan(&self, way: &Deployment, drawn: &Drawn, ascent: &Ascent) -> Plan {
        if ascent.mishaps.never_left_rail {
            return Plan::known(Outcome::NeverLeftRail, None);
        }
        match self.failing.map(|f| (f.failure, f.when)) {
            Some((Failure::NoEjection, _)) => self.comes_in(Outcome::NoEjection, drawn, ascent),
            Some((Failure::MotorBursts, when)) => {
                // The propellant left is gone, and what is left has no stable attitude.
                let burst = ascent.path.at(when * drawn.thrust.burnout_s());
                let rest = self.falling(drawn.cross_flow.drag_area_m2, drawn.mass.dry_mass_kg, self.stages.seen_m2);
                Plan { falls: [Some((rest, burst)), None], ..Plan::known(Outcome::MotorBurst, None) }
            }
            _ => self.ejected(way, drawn, ascent),
        }
    }

    /// What would be logged on board of the flight deployed one way.
    pub fn on_board(&self, way: &Deployment, drawn: &Drawn, ascent: &Ascent) -> OnBoard {
        let plan = self.plan(way, drawn, ascent);
        let rising = plan.falls[0].filter(|(_, from)| from.time_s < ascent.apogee_s);
        let (apogee_m, apogee_s) = rising.map_or((ascent.apogee_m, ascent.apogee_s), |(stages, from)| {
            let Stages { first: canopy, bare_area_m2, mass_kg, .. } = stages;
            Falling { parts: drawn, canopy, bare_area_m2, mass_kg }.highest(&from)
        });
        OnBoard { apogee_m, apogee_s, ejection: plan.deployed.ejection }
    }

    /// The flight as far as something fires, or to the ground.
    fn ejected(&self, way: &Deployment, drawn: &Drawn, ascent: &Ascent) -> Plan {
        let path = &ascent.path;
        let fires = self.fires_s(way, drawn, ascent);
        let ground = ascent.ground_s;
        if fires >= ground {
            return self.comes_in(Outcome::GroundFirst, drawn, ascent);
        }
        let at = path.at(fires);
        let stretch = path.at((fires + self.line_stretch_lag_s).min(ground));
        let ejection = Ejection::at(fires, self, drawn, ascent);
        let known = |outcome, landing| {
            let deployed = Deployed { outcome, ejection: Some(ejection), landing, part: None };
            Plan { deployed, falls: [None; 2], then: Then::Keep }
        };
        let falls = |outcome, first| Plan { falls: [Some(first), None], ..known(outcome, None) };
        let apart = |outcome, whole, part| Plan { falls: [Some(whole), Some(part)], ..known(outcome, None) };
        let failure = self.failing.map(|f| f.failure);
        if failure == Some(Failure::MotorEjected) && self.motor_fires_s(way, drawn) <= fires {
            let casing = self.falling(BROADSIDE_DRAG * self.casing.side_m2, self.casing.mass_kg, self.casing.side_m2);
            // The airframe keeps its nose first.
            let lighter = self.stages.mass_kg - self.casing.mass_kg;
            let airframe = self.falling(self.stages.bare_area_m2, lighter, drawn.aero.reference_area_m2);
            return apart(Outcome::MotorEjected, (airframe, at), (casing, at));
        }
        if self.stages.first.drag_area_m2 <= 0.0 {
            return known(Outcome::NothingOpened, Some(self.impact(drawn, ascent)));
        }
        let first = streaming(self.stages.first);
        if fires < self.boost_ends_s(drawn, ascent) {
            // Flown as a torn canopy and as ballistic; the one that comes down farther from the pad counts.
            let torn = Stages { first, main: None, ..self.stages };
            let then = Then::FartherThan(self.impact(drawn, ascent));
            return Plan { then, ..falls(Outcome::InBoost, (torn, stretch)) };
        }
        if fires + self.line_stretch_lag_s >= ground {
            return known(Outcome::OpenedTooLow, Some(self.impact(drawn, ascent)));
        }
        match (failure, self.stages.main) {
            (Some(Failure::NothingFills), main) => {
                let main = main.map(|(canopy, height)| (streaming(canopy), height));
                falls(Outcome::NothingFilled, (Stages { first, main, ..self.stages }, stretch))
            }
            (Some(Failure::FirstFails), Some(_)) => {
                falls(Outcome::FirstFailed, (Stages { first, ..self.stages }, stretch))
            }
            (Some(Failure::PartsSeparate), _) => {
                let of = |share: f64| (share * self.stages.mass_kg, share * self.stages.seen_m2);
                let (mass_kg, seen_m2) = of(FORWARD_SHARE);
                let bare_area_m2 = FORWARD_SHARE * self.stages.bare_area_m2;
                let held = Stages { mass_kg, seen_m2, bare_area_m2, ..self.stages };
                let (mass_kg, seen_m2) = of(1.0 - FORWARD_SHARE);
                let loose = self.falling((1.0 - FORWARD_SHARE) * drawn.cross_flow.drag_area_m2, mass_kg, seen_m2);
                apart(Outcome::PartsSeparated, (held, stretch), (loose, stretch))
            }
            (Some(Failure::MainAtOnce), Some((main, _))) => {
                let drag_area_m2 = self.stages.first.drag_area_m2 + main.drag_area_m2;
                let both = Stages { first: Canopy { drag_area_m2, ..main }, main: None, ..self.stages };
                Plan { then: Then::OpensAtOnce, ..falls(Outcome::Opened, (both, stretch)) }
            }
            _ => Plan { then: Then::Opens, ..falls(Outcome::Opened, (self.stages, stretch)) },
        }
    }

    /// Something without a canopy.
    fn falling(&self, bare_area_m2: f64, mass_kg: f64, seen_m2: f64) -> Stages {
        let none = Canopy { drag_area_m2: 0.0, fill_path_m: 0.0, fill_power: 1 };
        Stages { first: none, main: None, bare_area_m2, mass_kg, seen_m2 }
    }

    /// Where the flight without any deployment comes down.
    fn impact(&self, drawn: &Drawn, ascent: &Ascent) -> Landing {
        let end = ascent.path.at(ascent.path.end_s());
        Landing {
            time_s: end.time_s,
            east_m: end.position_m[0],
            north_m: end.position_m[1],
            speed_m_s: norm(end.velocity_m_s),
            vertical_speed_m_s: -end.velocity_m_s[2],
            mass_kg: self.stages.mass_kg,
            seen_m2: drawn.aero.reference_area_m2,
            main_opening_m_s: None,
            slowed: false,
        }
    }

    fn comes_in(&self, outcome: Outcome, drawn: &Drawn, ascent: &Ascent) -> Plan {
        Plan::known(outcome, Some(self.impact(drawn, ascent)))
    }
}

/// What follows from how it came down.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Then {
    /// Nothing more.
    Keep,
    /// Whether it opened well: by whether it slowed in time.
    Opens,
    /// The same, the main having opened at line stretch.
    OpensAtOnce,
    /// This landing instead, if the other one is nearer to the pad.
    FartherThan(Landing),
}

/// A flight with one way of deploying before what falls has come down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plan {
    deployed: Deployed,
    /// What falls, and from where: the rocket, and a part by itself.
    pub falls: [Option<(Stages, Moment)>; 2],
    then: Then,
}

impl Plan {
    /// Nothing is left to come down.
    fn known(outcome: Outcome, landing: Option<Landing>) -> Self {
        let deployed = Deployed { outcome, ejection: None, landing, part: None };
        Self { deployed, falls: [None; 2], then: Then::Keep }
    }

    /// What became of the flight, given what became of what falls.
    pub fn finish(&self, landed: &[Landing], ascent: &Ascent) -> Deployed {
        let mut deployed = self.deployed;
        if let Some(landing) = landed.first() {
            deployed.landing = Some(*landing);
            deployed.part = landed.get(1).copied();
            match &self.then {
                Then::Keep => {}
                Then::FartherThan(other) => {
                    if landing.distance_m() <= other.distance_m() {
                        deployed.landing = Some(*other);
                    }
                }
                Then::Opens | Then::OpensAtOnce => {
                    deployed.outcome = if landing.slowed { Outcome::Opened } else { Outcome::OpenedTooLow };
                    if self.then == Then::OpensAtOnce {
                        let main_opening_m_s = deployed.ejection.map(|e| e.stretch_airspeed_m_s);
                        deployed.landing = Some(Landing { main_opening_m_s, ..*landing });
                    }
                }
            }
        }
        let m = ascent.mishaps;
        if m.never_left_rail {
            return deployed;
        }
        // Of a burst flight only the part before it was flown.
        let burst = deployed.outcome == Outcome::MotorBurst;
        if let Some(is) = overruling(&m).filter(|is| !burst || *is == Outcome::Untrusted) {
            deployed.outcome = is;
        }
        if m.untrusted {
            (deployed.landing, deployed.part) = (None, None);
        }
        deployed
    }
}

/// A canopy that is torn or does not fill. What has nothing to fill, a tumbling body, stays as it is.
fn streaming(canopy: Canopy) -> Canopy {
    if canopy.fill_power == 0 {
        return canopy;
    }
    Canopy { drag_area_m2: canopy.drag_area_m2 * STREAMING_SHARE, ..canopy }
}

/// What went wrong with a whole flight and counts before anything that opens or does not.
pub(super) fn overruling(m: &Mishaps) -> Option<Outcome> {
    [
        (m.untrusted, Outcome::Untrusted),
        (m.unstable, Outcome::Unstable),
        (m.beyond_sixty_deg, Outcome::BeyondSixtyDeg),
        (m.outside_model, Outcome::OutsideModel),
    ]
    .into_iter()
    .find_map(|(happened, is)| happened.then_some(is))
}

/// First time after apogee at which the flight is at or below a height; `None` if it never rises to it.
fn falls_through_s(ascent: &Ascent, height_m: f64) -> Option<f64> {
    if ascent.apogee_m <= height_m {
        return None;
    }
    let nodes = &ascent.path.nodes;
    let after = nodes.partition_point(|n| n.time_s <= ascent.apogee_s);
    let below = nodes.iter().enumerate().skip(after).find(|(_, n)| n.position_m[2] <= height_m);
    Some(match below {
        // The step may hold the apogee itself, and then the way up as well.
        Some((k, _)) => ascent.path.root_in_step(k - 1, |m| m.position_m[2] - height_m).max(ascent.apogee_s),
        None => f64::INFINITY,
    })
}
