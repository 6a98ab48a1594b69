//! One flight: the ascent once, then every way of deploying.

mod ascent;
mod batch;
mod deploy;
mod descent;
mod failure;
mod firing;
mod fleet;
mod forces;
mod nodes;
mod parts;
mod path;
mod slowing;
mod step;
mod windows;

pub use ascent::{Ascent, Mishaps, RailExit, Watchfulness, fly_ascent};
pub use batch::{Instructions, Pilot};
pub use deploy::{
    Casing, DelayClock, Deployed, Deployment, Ejection, Electronics, Events, OnBoard, Outcome, delay_tolerance_s,
};
pub use descent::{Canopy, Fall, Falling, Landing, Point, Stages, descend, land_alone};
pub use failure::{FORWARD_SHARE, Failing, Failure, STREAMING_SHARE, pick};
pub use firing::{DelayError, DrawnAt, FiringLaws};
pub use fleet::Fleet;
pub use forces::{Flow, Hold, State, derivative, derivative_and_flow};
pub use nodes::{NODES, Others};
pub use parts::{Change, Drawn, Gravity, Instant, MassModel, MassState, Misalignment, Number, Parts, Rail, Start};
pub use path::{Moment, Node, Path};
pub use slowing::surely_slows;
pub use step::{Stepped, step};
pub use windows::{Asked, Subject, WHOLE, Window, Windows};

use crate::wind::DriftTable;

/// The slowest instant from burnout to the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slowest {
    /// Airspeed there, m/s.
    pub airspeed_m_s: f64,
    /// Delay that would open there, on the card's own clock, s.
    pub delay_s: f64,
    /// Seconds after apogee; negative before it.
    pub after_apogee_s: f64,
}

/// What one flight comes to.
#[derive(Debug, Clone)]
pub struct Flown {
    /// Leaving the rail.
    pub rail_exit: RailExit,
    /// Highest point above the pad, m.
    pub apogee_m: f64,
    /// Time of the highest point, s after first thrust.
    pub apogee_s: f64,
    /// Largest Mach number.
    pub peak_mach: f64,
    /// What went wrong, whatever the delay.
    pub mishaps: Mishaps,
    /// The slowest instant, if it left the rail and flew on after burnout.
    pub slowest: Option<Slowest>,
    /// One per way of deploying.
    pub deployed: Vec<Deployed>,
    /// The same for every time at which it may fire; `None` where only what was drawn counts.
    pub whole_law: Option<WholeLaw>,
}

/// What a flight comes to whenever it fires.
#[derive(Debug, Clone)]
pub struct WholeLaw {
    /// What firing comes to from when to when.
    pub windows: Windows,
    /// Per way: ejections at other points of its law, where there are some.
    pub others: Vec<Option<Others>>,
    /// Per delay of the curve that is asked for them: the airspeeds that limits are held against at the points of its law,
    /// m/s; NaN on the ground.
    pub curve_airspeeds_m_s: Vec<[f64; NODES]>,
}

/// What decides the chances of a flight deployed one way.
#[derive(Debug, Clone, Copy)]
pub enum Fate<'a> {
    /// What firing comes to at any time.
    Law(&'a Windows),
    /// What was drawn.
    Drawn(&'a Deployed),
}

/// A flight flown for its chances alone: nothing is brought down that they do not depend on.
#[derive(Debug, Clone)]
pub enum Fates {
    /// The same for every way of deploying.
    Law(Windows),
    /// One per way of deploying.
    Drawn(Vec<Deployed>),
}

impl Fates {
    /// That of one way of deploying.
    pub fn fate(&self, way: usize) -> Fate<'_> {
        match self {
            Self::Law(windows) => Fate::Law(windows),
            Self::Drawn(deployed) => Fate::Drawn(&deployed[way]),
        }
    }
}

/// Flies a drawn flight by itself with every way of deploying; a [`Pilot`] flies many, and gives the same bytes. `ascent`
/// is memory to work in and holds the ascent after.
pub fn fly(drawn: &Drawn, events: &Events, ways: &[Deployment], ascent: &mut Ascent) -> Flown {
    flown(drawn, events, ways, None, ascent)
}

/// Flies a drawn flight by itself with every way of deploying, and tells what it comes to whenever it fires.
pub fn fly_whole_law(drawn: &Drawn, events: &Events, asked: &Asked, ascent: &mut Ascent) -> Flown {
    flown(drawn, events, asked.ways, Some(asked), ascent)
}

fn flown(drawn: &Drawn, events: &Events, ways: &[Deployment], asked: Option<&Asked>, ascent: &mut Ascent) -> Flown {
    let watched = events.watched(ways, asked, drawn);
    fly_ascent(drawn, watched, 1.0, ascent);
    if !events.suffices(ways, drawn, ascent) {
        fly_ascent(drawn, Watchfulness { to_ground: true, ..watched }, 1.0, ascent);
    }
    let drift = DriftTable::new(&drawn.wind, &drawn.air, |z| drawn.gravity.at(z), ascent.apogee_m);
    let deployed = ways.iter().map(|way| events.deploy(way, drawn, ascent, &drift)).collect();
    let whole_law = asked.and_then(|asked| {
        let subject = Subject { asked, drawn, events, ascent, drift: &drift };
        WholeLaw::of_all(&[subject], land_alone).pop().flatten()
    });
    Flown { whole_law, ..Flown::of(drawn, events, ascent, deployed) }
}

impl Flown {
    /// What decides the chances by one way of deploying.
    pub fn fate(&self, way: usize) -> Fate<'_> {
        match &self.whole_law {
            Some(law) => Fate::Law(&law.windows),
            None => Fate::Drawn(&self.deployed[way]),
        }
    }

    /// What a flight came to, from its ascent and what became of it with every way of deploying.
    pub fn of(drawn: &Drawn, events: &Events, ascent: &Ascent, deployed: Vec<Deployed>) -> Self {
        let burnout = drawn.thrust.burnout_s();
        let slowest = (!ascent.mishaps.never_left_rail && burnout < ascent.path.end_s()).then(|| {
            let at = ascent.path.slowest_after(burnout, &drawn.wind);
            Slowest {
                airspeed_m_s: at.airspeed_m_s(&drawn.wind),
                delay_s: at.time_s - events.clock.starts_s(burnout),
                after_apogee_s: at.time_s - ascent.apogee_s,
            }
        });
        Self {
            rail_exit: ascent.rail_exit,
            apogee_m: ascent.apogee_m,
            apogee_s: ascent.apogee_s,
            peak_mach: ascent.peak_mach,
            mishaps: ascent.mishaps,
            slowest,
            deployed,
            whole_law: None,
        }
    }
}

impl WholeLaw {
    /// What flights come to whenever something fires, from their ascents; `None` where only what was drawn counts. `land`
    /// brings down what falls.
    pub fn of_all<'a, 'b>(
        flights: &[Subject<'a, 'b>],
        land: impl Fn(&[Fall<'a, 'b>]) -> Vec<Landing>,
    ) -> Vec<Option<Self>> {
        let windows = Windows::of_all(flights, land);
        flights
            .iter()
            .zip(windows)
            .map(|(flight, windows)| windows.map(|windows| Self::with(flight, windows)))
            .collect()
    }

    fn with(flight: &Subject, windows: Windows) -> Self {
        let Subject { asked, drawn, events, ascent, .. } = *flight;
        if ascent.mishaps.never_left_rail {
            return Self { windows, others: vec![None; asked.ways.len()], curve_airspeeds_m_s: Vec::new() };
        }
        Self {
            windows,
            others: asked.nodes(drawn, events, ascent),
            curve_airspeeds_m_s: asked.curve_airspeeds_m_s(drawn, events, ascent),
        }
    }
}
