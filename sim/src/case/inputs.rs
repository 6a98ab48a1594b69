//! What the caller gives, in SI units and radians, before anything is checked.
//!
//! `None` means "not given": the case fills it in and says so under `assumed`. A number that the caller
//! had to give and did not is NaN here; whoever read the request has already said so.

use crate::aero::Drag;
use crate::case::shape::Shape;
use crate::cord::{Fibre, Material};
use crate::draw::{Law, PointSet};
use crate::flight::{Deployment, Failure};
use crate::settings::Settings;
use crate::stat::interval::CONFIDENCE;
use crate::stat::outline::Polygon;
use crate::until;
use crate::wind::{Gustiness, Layer, SurfaceLaw, SurfaceWind};

/// One flight card with site, weather, spread and question.
#[derive(Debug, Clone, PartialEq)]
pub struct Inputs {
    /// The rocket.
    pub airframe: AirframeInput,
    /// The motor or cluster.
    pub motor: MotorInput,
    /// What opens.
    pub recovery: RecoveryInput,
    /// Rail and its setting.
    pub launch: LaunchInput,
    /// The field.
    pub site: SiteInput,
    /// The wind.
    pub wind: WindInput,
    /// Uncertainty of every input.
    pub spread: SpreadInput,
    /// Shares of flights with a failure.
    pub failures: Vec<(Failure, f64)>,
    /// Cord and tube edge, if that is asked.
    pub cords: Option<CordsInput>,
    /// Flights that were flown, to learn from.
    pub calibration: Option<CalibrationInput>,
    /// What is asked.
    pub question: Question,
}

/// The rocket as its card has it.
#[derive(Debug, Clone, PartialEq)]
pub struct AirframeInput {
    /// Largest diameter, m.
    pub diameter_m: f64,
    /// Nose tip to the end of the body, m.
    pub length_m: f64,
    /// At lift-off, with motor, kg.
    pub mass_kg: f64,
    /// At lift-off, from the nose tip, m.
    pub centre_of_gravity_m: f64,
    /// After burnout, from the nose tip, m.
    pub centre_of_gravity_burnout_m: Option<f64>,
    /// Transverse moment of inertia at lift-off, kg m^2.
    pub inertia_kg_m2: Option<f64>,
    /// Transverse moment of inertia after burnout, kg m^2.
    pub inertia_burnout_kg_m2: Option<f64>,
    /// Measured or published centre of pressure, from the nose tip, m.
    pub centre_of_pressure_m: Option<f64>,
    /// Measured or published normal-force slope, per rad.
    pub normal_force_slope_per_rad: Option<f64>,
    /// Measured or published drag.
    pub drag: Option<Drag>,
    /// Axial force tail first over nose first.
    pub tail_first_factor: Option<f64>,
    /// The outside.
    pub shape: Option<Shape>,
}

/// A thrust curve, or what a motor code says.
#[derive(Debug, Clone, PartialEq)]
pub enum ThrustInput {
    /// (seconds, newtons).
    Curve(Vec<(f64, f64)>),
    /// Impulse class and average thrust.
    Code {
        /// Upper end of the impulse class, N s; the lower end is half of it.
        class_upper_n_s: f64,
        /// Average thrust, N.
        average_n: f64,
    },
}

/// The motor or cluster.
#[derive(Debug, Clone, PartialEq)]
pub struct MotorInput {
    /// Thrust of one motor.
    pub thrust: ThrustInput,
    /// Propellant of one motor, kg.
    pub propellant_kg: Option<f64>,
    /// Diameter, m.
    pub diameter_m: Option<f64>,
    /// Length, m.
    pub length_m: Option<f64>,
    /// Centre of the propellant from the nose tip, m.
    pub propellant_centre_m: Option<f64>,
    /// Equal motors lit together.
    pub count: usize,
    /// Distance of each motor's axis from the rocket's, m.
    pub ring_radius_m: Option<f64>,
    /// Share of flights in which one motor stays unlit.
    pub one_unlit_share: Option<f64>,
    /// Burnout at the end of the curve rather than at 5 % of the peak.
    pub burnout_at_curve_end: bool,
    /// The delay counts from first thrust plus the nominal burn time.
    pub delay_from_nominal_burn: bool,
}

/// What opens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Device {
    /// A parachute.
    Parachute {
        /// Diameter of the cloth laid flat, m.
        diameter_m: f64,
        /// Drag coefficient on that area.
        drag_coefficient: Option<f64>,
        /// Diameters of air path until full.
        fill_constant: Option<f64>,
    },
    /// A streamer.
    Streamer {
        /// Length, m.
        length_m: f64,
        /// Width, m.
        width_m: f64,
        /// Drag coefficient on length x width.
        drag_coefficient: Option<f64>,
    },
    /// The rocket falls broadside, its stability undone.
    Tumble,
    /// Nothing opens: it comes in ballistic.
    None,
}

/// Recovery, in one stage or two.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RecoveryInput {
    /// Opens on the first event.
    pub first: Device,
    /// Opens at a height above the pad coming down, m.
    pub main: Option<(Device, f64)>,
}

/// Rail and its setting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LaunchInput {
    /// Travel until the last guide leaves, m.
    pub rail_length_m: f64,
    /// Angle from vertical, rad.
    pub tilt_rad: Option<f64>,
    /// Direction the rail leans towards, rad clockwise from true north.
    pub azimuth_rad: Option<f64>,
    /// Friction coefficient of the guides.
    pub friction: Option<f64>,
    /// Place of the forward guide from the nose tip, m.
    pub forward_guide_m: Option<f64>,
    /// Place of the aft guide from the nose tip, m.
    pub aft_guide_m: Option<f64>,
}

/// What an area is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Where a landing is wanted: whatever lies outside every field counts as outside.
    Field,
    /// People who watch.
    Spectators,
    /// Parked cars.
    Parking,
    /// A road.
    Road,
    /// A building.
    Building,
    /// Water.
    Water,
    /// Trees.
    Trees,
    /// Nothing is fetched from there.
    NoRecovery,
}

impl Role {
    /// Every role.
    pub const ALL: [Self; 8] = [
        Self::Field,
        Self::Spectators,
        Self::Parking,
        Self::Road,
        Self::Building,
        Self::Water,
        Self::Trees,
        Self::NoRecovery,
    ];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Field => "field",
            Self::Spectators => "spectators",
            Self::Parking => "parking",
            Self::Road => "road",
            Self::Building => "building",
            Self::Water => "water",
            Self::Trees => "trees",
            Self::NoRecovery => "no_recovery",
        }
    }
}

/// An area on the ground with a name.
#[derive(Debug, Clone, PartialEq)]
pub struct Area {
    /// Name, for the answer.
    pub name: String,
    /// What it is.
    pub role: Option<Role>,
    /// Where it is.
    pub outline: Outline,
    /// People in it, evenly spread.
    pub people: Option<f64>,
}

/// Outline of an area, metres east and north of the pad. Its rings cross neither themselves nor each other.
#[derive(Debug, Clone, PartialEq)]
pub enum Outline {
    /// A circle.
    Circle {
        /// Centre.
        centre_m: [f64; 2],
        /// Radius, m.
        radius_m: f64,
    },
    /// A simple polygon; the last corner joins the first.
    Polygon(Vec<[f64; 2]>),
    /// Patches with gaps; patches may touch but do not overlap, and every gap lies in its own.
    Patches(Vec<Polygon>),
}

/// By the shoelace formula, whether or not the last corner repeats the first, m^2.
fn ring_area_m2(corners: impl Iterator<Item = [f64; 2]> + Clone) -> f64 {
    let next = corners.clone().cycle().skip(1);
    let twice: f64 = corners.zip(next).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum();
    0.5 * twice.abs()
}

/// Whether a point lies inside a ring (edge rule of the crossing count: each edge owns its lower end).
fn ring_contains(corners: impl DoubleEndedIterator<Item = [f64; 2]> + Clone, east_m: f64, north_m: f64) -> bool {
    let mut inside = false;
    let mut from = corners.clone().next_back().unwrap_or([0.0; 2]);
    for to in corners {
        if (from[1] > north_m) != (to[1] > north_m) {
            let cut = from[0] + (north_m - from[1]) / (to[1] - from[1]) * (to[0] - from[0]);
            inside ^= east_m < cut;
        }
        from = to;
    }
    inside
}

/// Shortest way from a point to the edge of a ring, m.
fn ring_distance_m(corners: impl DoubleEndedIterator<Item = [f64; 2]> + Clone, east_m: f64, north_m: f64) -> f64 {
    let mut from = corners.clone().next_back().unwrap_or([f64::INFINITY; 2]);
    let mut least_m = f64::INFINITY;
    for to in corners {
        let (along, out) = ([to[0] - from[0], to[1] - from[1]], [east_m - from[0], north_m - from[1]]);
        let length2 = along[0] * along[0] + along[1] * along[1];
        let part =
            if length2 > 0.0 { ((out[0] * along[0] + out[1] * along[1]) / length2).clamp(0.0, 1.0) } else { 0.0 };
        least_m = least_m.min(libm::hypot(out[0] - part * along[0], out[1] - part * along[1]));
        from = to;
    }
    least_m
}

/// The corners of a ring of a patch.
fn corners(ring: &[(f64, f64)]) -> impl DoubleEndedIterator<Item = [f64; 2]> + Clone {
    ring.iter().map(|&(east_m, north_m)| [east_m, north_m])
}

impl Outline {
    /// Its area, m^2; of a polygon by the shoelace formula.
    pub fn area_m2(&self) -> f64 {
        match self {
            Self::Circle { radius_m, .. } => core::f64::consts::PI * radius_m * radius_m,
            Self::Polygon(corners) => ring_area_m2(corners.iter().copied()),
            Self::Patches(patches) => patches
                .iter()
                .map(|p| {
                    let gaps: f64 = p.holes.iter().map(|hole| ring_area_m2(corners(hole))).sum();
                    ring_area_m2(corners(&p.exterior)) - gaps
                })
                .sum(),
        }
    }

    /// Whether a point lies inside.
    pub fn contains(&self, east_m: f64, north_m: f64) -> bool {
        match self {
            Self::Circle { centre_m, radius_m } => {
                let (de, dn) = (east_m - centre_m[0], north_m - centre_m[1]);
                de * de + dn * dn <= radius_m * radius_m
            }
            Self::Polygon(corners) => ring_contains(corners.iter().copied(), east_m, north_m),
            Self::Patches(patches) => patches.iter().any(|patch| patch.contains(east_m, north_m)),
        }
    }

    /// How far outside a point lies, m; 0 inside.
    pub fn distance_m(&self, east_m: f64, north_m: f64) -> f64 {
        if self.contains(east_m, north_m) {
            return 0.0;
        }
        match self {
            Self::Circle { centre_m, radius_m } => libm::hypot(east_m - centre_m[0], north_m - centre_m[1]) - radius_m,
            Self::Polygon(corners) => ring_distance_m(corners.iter().copied(), east_m, north_m),
            Self::Patches(patches) => patches
                .iter()
                .flat_map(|patch| core::iter::once(&patch.exterior).chain(&patch.holes))
                .map(|ring| ring_distance_m(corners(ring), east_m, north_m))
                .fold(f64::INFINITY, f64::min),
        }
        // On the edge, but for rounding, is still outside.
        .max(f64::MIN_POSITIVE)
    }
}

impl Polygon {
    /// Whether a point lies inside and in no gap: an odd number of rings lies about it.
    pub fn contains(&self, east_m: f64, north_m: f64) -> bool {
        core::iter::once(&self.exterior)
            .chain(&self.holes)
            .fold(false, |inside, ring| inside ^ ring_contains(corners(ring), east_m, north_m))
    }
}

/// Pressure as people have it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PressureInput {
    /// At the field, Pa.
    Station(f64),
    /// Reduced to sea level by the standard atmosphere (the Q or A group of a report), Pa.
    AltimeterSetting(f64),
}

/// The field.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteInput {
    /// Latitude, rad.
    pub latitude_rad: Option<f64>,
    /// Above sea level, m.
    pub elevation_m: Option<f64>,
    /// Air temperature at the pad, K.
    pub temperature_k: Option<f64>,
    /// Pressure.
    pub pressure: Option<PressureInput>,
    /// Permitted height above the pad, m.
    pub ceiling_m: Option<f64>,
    /// Areas of which the chance of a landing inside is asked.
    pub areas: Vec<Area>,
}

/// The wind. At least one of surface and layers must be given: calm is never assumed.
#[derive(Debug, Clone, PartialEq)]
pub struct WindInput {
    /// Near the ground.
    pub surface: Option<SurfaceWind>,
    /// Aloft.
    pub layers: Vec<Layer>,
    /// How the wind grows from the ground.
    pub law: Option<SurfaceLaw>,
    /// What the size of its gusts is taken from.
    pub gustiness: Option<Gustiness>,
    /// The other members of an ensemble, beside `surface` and `layers` as its first: each flight draws one, all alike.
    pub others: Vec<WindMember>,
    /// How old it is at launch, s: age of an observation, lead of a forecast. None where it is not said.
    pub age_s: Option<f64>,
}

/// A member of an ensemble: one wind that may come.
#[derive(Debug, Clone, PartialEq)]
pub struct WindMember {
    /// Near the ground.
    pub surface: Option<SurfaceWind>,
    /// Aloft.
    pub layers: Vec<Layer>,
}

macro_rules! spread_input {
    ($($(#[$doc:meta])* $name:ident,)*) => {
        /// Distributions the caller sets instead of the defaults.
        #[derive(Debug, Clone, PartialEq, Default)]
        pub struct SpreadInput {
            $($(#[$doc])* pub $name: Option<Law>,)*
            /// Standard deviation of each component of the wind, m/s.
            pub wind_component_sd_m_s: Option<f64>,
            /// What each hour of the wind's age adds to it, m/s.
            pub wind_growth_m_s_per_h: Option<f64>,
            /// Standard deviation of the wind's direction, rad.
            pub wind_direction_sd_rad: Option<f64>,
            /// Height over which errors of the wind agree, m.
            pub wind_correlation_length_m: Option<f64>,
            /// Share of delays outside their tolerance, where no law of the delay is given.
            pub delay_out_of_tolerance_share: Option<f64>,
        }
        impl SpreadInput {
            /// Every law with the name of its input.
            pub fn laws(&self) -> impl Iterator<Item = (&'static str, &Law)> {
                [$((stringify!($name), self.$name.as_ref()),)*].into_iter().filter_map(|(n, l)| Some((n, l?)))
            }
        }
    };
}

spread_input! {
    /// Impulse of a motor over its nominal one.
    impulse,
    /// Burn time of a motor over its nominal one.
    burn_time,
    /// Error of a motor's delay, s.
    delay,
    /// Lift-off mass over the card's.
    mass,
    /// Error of the centre of gravity, m (positive: behind the card's).
    centre_of_gravity,
    /// Error of the centre of pressure, m (positive: behind the card's).
    centre_of_pressure,
    /// Drag coefficient over the nominal one.
    drag,
    /// Normal-force slope over the nominal one.
    normal_force_slope,
    /// Thrust against the axis, rad, about each of two transverse axes.
    thrust_misalignment,
    /// Fins against the axis, rad, about each of two transverse axes.
    fin_misalignment,
    /// Roll rate, rad/s.
    roll_rate,
    /// Rail against its setting, rad, in and across the plane of the tilt.
    rail_angle,
    /// Drag area of what opens over the nominal one.
    canopy_drag,
    /// Ejection to line stretch, s.
    line_stretch_lag,
    /// Lag of apogee sensing, s.
    apogee_lag,
    /// Error of a sensed height, m.
    sensed_height,
    /// Error of the air temperature, K.
    temperature,
    /// Error of the pressure, Pa.
    pressure,
}

/// Cords between nose section and airframe, and the tube's edge that they pull on.
#[derive(Debug, Clone, PartialEq)]
pub struct CordsInput {
    /// Nose section, kg.
    pub nose_mass_kg: f64,
    /// Drag coefficient times area of the nose section, m^2.
    pub nose_drag_area_m2: Option<f64>,
    /// Of the airframe without it, m^2.
    pub airframe_drag_area_m2: Option<f64>,
    /// Speed at which the charge drives both apart, m/s.
    pub parting_m_s: Option<Law>,
    /// Stiffness of every part over its nominal one.
    pub stiffness: Option<Law>,
    /// Loss factor of every part over its nominal one.
    pub damping: Option<Law>,
    /// Standard deviation of the natural logarithm of a part's strength.
    pub strength_log_sd: Option<f64>,
    /// What is compared; the first is what the others are held against.
    pub arrangements: Vec<ArrangementInput>,
    /// The tube's wall.
    pub wall: WallInput,
    /// Standard deviation of the natural logarithm of what it bears.
    pub wall_log_sd: Option<f64>,
}

/// One way of tying nose section and airframe together.
#[derive(Debug, Clone, PartialEq)]
pub struct ArrangementInput {
    /// Its name.
    pub name: String,
    /// Width over which one leg bears on the tube's edge, m.
    pub edge_width_m: f64,
    /// Legs that share the tension.
    pub legs: u32,
    /// Runs side by side, each of parts in series.
    pub runs: Vec<Vec<PartInput>>,
}

/// A piece of cord.
#[derive(Debug, Clone, PartialEq)]
pub struct PartInput {
    /// Length before it is stretched, m.
    pub length_m: f64,
    /// Tension at which it breaks, N.
    pub strength_n: f64,
    /// Its stiffness.
    pub stiffness: StiffnessInput,
    /// Share of what it stores that it loses in a radian of vibration.
    pub loss_factor: Option<f64>,
    /// Stretch over length at which it stiffens or locks.
    pub locks_at_strain: Option<f64>,
    /// Tension per strain from there on, N.
    pub locked_stiffness_n: Option<f64>,
}

/// Stiffness of a piece of cord.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum StiffnessInput {
    /// Tension per strain, N.
    PerStrain(f64),
    /// By what it is made of, from its strength.
    Of(Fibre),
}

/// What the tube's edge bears.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WallInput {
    /// Load per bearing width at which half of all edges tear, N/m.
    Resistance(f64),
    /// Guessed from material and thickness.
    Tube {
        /// Material.
        material: Material,
        /// Thickness of the wall, m.
        thickness_m: f64,
    },
}

/// Flights that were flown, from which bias and scatter of drag, impulse and wind are learned.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationInput {
    /// Conditions that they were flown in.
    pub conditions: Vec<Inputs>,
    /// The flights.
    pub flown: Vec<FlownInput>,
    /// Flights drawn for each of the conditions.
    pub flights: Option<u64>,
    /// Share of the variance of each that all flights have in common, before anything is known.
    pub bias_share: Option<f64>,
}

/// A flight that was flown.
#[derive(Debug, Clone, PartialEq)]
pub struct FlownInput {
    /// Index of its conditions.
    pub condition: usize,
    /// Index of its way of deploying among those of its conditions.
    pub way: usize,
    /// What was logged, in the order of [`LOGS`].
    pub logged: [Option<LoggedInput>; LOGS.len()],
}

/// A figure that was logged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoggedInput {
    /// Its value, in the unit of its kind.
    pub value: f64,
    /// Its standard error.
    pub error: Option<f64>,
}

/// What may be logged of a flight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Logged {
    /// Highest point above the pad, m.
    Apogee,
    /// Time from first thrust to it, s.
    ApogeeTime,
    /// Time from first thrust to the ejection, s.
    OpeningTime,
    /// Airspeed at the ejection, m/s.
    OpeningSpeed,
}

/// Everything that may be logged.
pub const LOGS: [Logged; 4] = [Logged::Apogee, Logged::ApogeeTime, Logged::OpeningTime, Logged::OpeningSpeed];

/// Which airspeed the limits are asked of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LimitApplies {
    /// At ejection.
    Ejection,
    /// At line stretch.
    LineStretch,
}

/// Which published limits the cautions quote.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RuleSet {
    /// United States model rocket safety code.
    UsModelRocket,
    /// United States high power safety code.
    UsHighPower,
    /// The caller's own numbers.
    Own {
        /// Wind limit, m/s.
        wind_m_s: Option<f64>,
        /// Tilt limit, rad.
        tilt_rad: Option<f64>,
        /// Least average thrust over weight.
        thrust_to_weight: Option<f64>,
    },
}

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// Ways of deploying: each is answered apart.
    pub ways: Vec<Deployment>,
    /// Speed limits, m/s.
    pub limits_m_s: Vec<f64>,
    /// Which airspeed they are asked of.
    pub limit_applies: LimitApplies,
    /// Largest acceptable chance of `unsafe_opening`, against which the upper end of the interval is held.
    pub accept_chance: Option<f64>,
    /// Which of the limits the condition and the comparison of delays use.
    pub accept_limit: usize,
    /// Flights to fly; with `until_half_width` the most.
    pub flights: u64,
    /// Half-width at which it is enough: of the interval of every way of deploying against every limit. `None` flies all.
    pub until_half_width: Option<f64>,
    /// Seed of the draws.
    pub seed: u64,
    /// Kind of points.
    pub points: PointSet,
    /// Rules the cautions quote.
    pub rule_set: Option<RuleSet>,
    /// Base flights from which to tell what drives the answer, if that is asked.
    pub drivers: Option<u64>,
    /// Other winds and rails that are to be tried.
    pub settings: Settings,
    /// Chances that are to be sought where they are too rare to count.
    pub rare: Vec<RareInput>,
}

/// Something rare.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RareEvent {
    /// Anything comes down inside the area of this index.
    LandsIn(usize),
    /// It opens faster than the limit of this index.
    OpensOver(usize),
}

/// A chance that is to be sought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RareInput {
    /// Of what.
    pub event: RareEvent,
    /// Index of the way of deploying; `None` for the one with the least chance of an unsafe opening.
    pub way: Option<usize>,
    /// Flights that are counted.
    pub flights: u64,
}

impl Question {
    /// The level of each interval of a chance.
    pub fn confidence(&self) -> f64 {
        if self.until_half_width.is_some() { until::CONFIDENCE } else { CONFIDENCE }
    }
}
