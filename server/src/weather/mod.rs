//! Weather messages and files as people have them; what comes as JSON is read in `wire`. Each format has a file and decodes into one type, [`Profile`]; `merge` puts a
//! surface report under winds aloft and both over a field.
//!
//! A decoder takes a whole text or refuses it, naming the group, its place, what was expected and the remedy. It guesses
//! nothing in silence: what it took for granted and what it left out is said in sentences beside the numbers.

pub mod age;
pub mod aloft;
pub mod clock;
pub mod grib2;
pub mod grid;
pub mod layers;
pub mod merge;
pub mod metar;
mod significant;
pub mod sounding;
mod temp;
pub mod text;

use slowpoint_sim::report::Caution;

use crate::wire::units::{ANGLE, Reading, SPEED};
use clock::{ForUse, When};

/// Height of the instrument that a surface wind implies, m above ground (WMO-No. 8: 10 m over open ground).
pub const MEASURED_AT_M: f64 = 10.0;

/// Most members of an ensemble, as many as an assessment takes.
pub const MOST_MEMBERS: usize = 200;

/// Air temperatures that are taken, degrees Celsius: all that was ever measured from the ground to 20 km, with room to
/// spare. What lies beyond is a slip.
pub const TEMPERATURES_C: core::ops::RangeInclusive<f64> = -100.0..=60.0;

/// What kind of message it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Routine aerodrome report (WMO FM 15).
    Metar,
    /// Special aerodrome report (WMO FM 16).
    Speci,
    /// Winds and temperatures aloft as the United States issue them.
    WindsAloft,
    /// Heights, directions and speeds by hand.
    Layers,
    /// Radiosonde sounding (WMO FM 35).
    Temp,
    /// Winds of a balloon, by height (WMO FM 32).
    Pilot,
    /// A profile or series of CoverageJSON (OGC 21-069r2).
    Coverage,
    /// Fields of a model (WMO FM 92).
    Grib,
}

impl Format {
    /// Every kind with its name in an answer, and the same for people.
    const NAMES: [(Self, &'static str, &'static str); 8] = [
        (Self::Metar, "metar", "METAR"),
        (Self::Speci, "speci", "SPECI"),
        (Self::WindsAloft, "winds_aloft", "winds aloft"),
        (Self::Layers, "layers", "layers by hand"),
        (Self::Temp, "temp", "sounding"),
        (Self::Pilot, "pilot", "pilot balloon"),
        (Self::Coverage, "coverage", "coverage"),
        (Self::Grib, "grib", "GRIB2"),
    ];

    fn names(self) -> (&'static str, &'static str) {
        Self::NAMES.iter().find(|(kind, ..)| *kind == self).map_or(("", ""), |(_, name, title)| (name, title))
    }

    /// Its name in an answer.
    pub fn name(self) -> &'static str {
        self.names().0
    }

    /// The same for people.
    pub fn title(self) -> &'static str {
        self.names().1
    }

    /// The kind of that name.
    pub fn named(name: &str) -> Option<Self> {
        Self::NAMES.iter().find(|(_, own, _)| *own == name).map(|(kind, ..)| *kind)
    }

    /// Whether it is what a station reports of the ground.
    pub fn of_ground(self) -> bool {
        matches!(self, Self::Metar | Self::Speci)
    }
}

/// A message that a profile comes from, with its times as it has them.
#[derive(Debug, Clone, PartialEq)]
pub struct Message {
    /// What kind it was.
    pub format: Format,
    /// The station, as the message names it.
    pub station: Option<String>,
    /// Height above sea level of its ground, by the pressures of a sounding, where wind or air there are taken from it.
    pub ground_above_sea: Option<Reading>,
    /// Which member of an ensemble it is, as the file has it.
    pub member: Option<String>,
    /// When it was observed.
    pub observed: Option<When>,
    /// The analysis that a forecast rests on.
    pub based_on: Option<When>,
    /// The time that a forecast is for.
    pub valid: Option<When>,
    /// The hours that a forecast may be used for.
    pub for_use: Option<ForUse>,
}

impl Message {
    /// A message that says nothing but its kind.
    pub fn new(format: Format) -> Self {
        Self {
            format,
            station: None,
            ground_above_sea: None,
            member: None,
            observed: None,
            based_on: None,
            valid: None,
            for_use: None,
        }
    }

    /// Its times.
    pub fn times(&self) -> impl Iterator<Item = When> {
        [self.observed, self.based_on, self.valid].into_iter().flatten()
    }
}

/// Where a wind comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Direction {
    /// An angle clockwise from true north.
    From(Reading),
    /// Reported as variable.
    Variable,
    /// Calm, or not reported.
    None,
}

/// How a speed is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bound {
    /// As it stands.
    Is,
    /// That or more: the code has no larger number.
    AtLeast,
    /// Less than that: light and variable.
    Below,
}

/// A wind, in the units of its message.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wind {
    /// Where it comes from.
    pub direction: Direction,
    /// Mean speed.
    pub speed: Reading,
    /// How the speed is meant.
    pub bound: Bound,
    /// Peak speed of gusts.
    pub gust: Option<Reading>,
    /// Directions between which it varies, clockwise.
    pub varies: Option<[Reading; 2]>,
}

impl Wind {
    /// From components towards east and north, m/s: to a hundredth of a m/s and a tenth of a degree.
    pub fn of_components(east_m_s: f64, north_m_s: f64) -> Option<Self> {
        let speed_m_s = (libm::hypot(east_m_s, north_m_s) * 100.0).round() / 100.0;
        let from_deg = (libm::atan2(-east_m_s, -north_m_s).to_degrees().rem_euclid(360.0) * 10.0).round() / 10.0;
        let direction = if speed_m_s > 0.0 { Direction::From(ANGLE.with(from_deg, "deg")?) } else { Direction::None };
        Some(Self { direction, speed: SPEED.with(speed_m_s, "m/s")?, bound: Bound::Is, gust: None, varies: None })
    }
}

/// What is known at one height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Whether it is the surface report's.
    pub surface: bool,
    /// Height above sea level.
    pub above_sea: Option<Reading>,
    /// Height above ground.
    pub above_ground: Option<Reading>,
    /// Pressure there.
    pub pressure: Option<Reading>,
    /// The wind, where there is one.
    pub wind: Option<Wind>,
    /// Air temperature.
    pub temperature: Option<Reading>,
    /// Dew point.
    pub dew_point: Option<Reading>,
}

/// What one message says, or several together.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// The messages it comes from, from the ground up.
    pub messages: Vec<Message>,
    /// From the ground up.
    pub levels: Vec<Level>,
    /// Pressure reduced to sea level by the standard atmosphere.
    pub altimeter_setting: Option<Reading>,
    /// What was taken for granted, in sentences.
    pub assumed: Vec<String>,
    /// What was left out, in sentences.
    pub skipped: Vec<String>,
    /// What to mind.
    pub cautions: Vec<Caution>,
}

impl Profile {
    /// A profile of one message, empty as yet.
    pub fn of(message: Message) -> Self {
        Self {
            messages: vec![message],
            levels: Vec::new(),
            altimeter_setting: None,
            assumed: Vec::new(),
            skipped: Vec::new(),
            cautions: Vec::new(),
        }
    }
}
