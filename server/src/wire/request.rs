//! The request as JSON. The comments here are the published description of every field.
//!
//! Everything is optional in these types so that decoding never stops at a missing field; what a caller must
//! give is marked `required` in the schema and checked there (`schema`), so that one reply lists all of it.

use serde::{Deserialize, Serialize};
use slowpoint_sim::case::SpreadInput;
use slowpoint_sim::draw::Law;
use slowpoint_sim::flight::Failure;
use utoipa::openapi::schema::{ArrayBuilder, ArrayItems, ObjectBuilder, SchemaType, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use super::calibration::CalibrationRequest;
use super::cords::CordsRequest;
use super::place::{AreaMap, AreaRole, Bearing, Geometry, PadRequest, PositionRequest};
use super::units::{self, Table};
use super::weather::WeatherRequest;

/// A number with or without its unit, as it came.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
#[serde(untagged)]
pub enum Quantity {
    /// A bare number.
    Number(f64),
    /// A text that should hold a number and a unit.
    Text(String),
    /// Something else stood here and has been faulted.
    Faulted,
}

/// A quantity whose units are known.
pub trait Measured {
    /// Its units.
    const TABLE: &'static Table;
    /// What was sent.
    fn quantity(&self) -> &Quantity;
}

macro_rules! measured {
    ($($(#[$doc:meta])* $name:ident: $table:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
        #[serde(transparent)]
        pub struct $name(pub Quantity);

        impl Measured for $name {
            const TABLE: &'static Table = &units::$table;
            fn quantity(&self) -> &Quantity {
                &self.0
            }
        }

        impl PartialSchema for $name {
            fn schema() -> RefOr<Schema> {
                let table = Self::TABLE;
                let what = format!("A {}: text with a unit, or a bare number. Units: {}.", table.quantity, table.list());
                string_or_number(what, table.example)
            }
        }

        impl ToSchema for $name {}
    )*};
}

measured! {
    /// A length.
    Length: LENGTH;
    /// A mass.
    Mass: MASS;
    /// A time.
    Time: TIME;
    /// A speed.
    Speed: SPEED;
    /// A force.
    Force: FORCE;
    /// A pressure.
    Pressure: PRESSURE;
    /// A temperature.
    Temperature: TEMPERATURE;
    /// An angle.
    Angle: ANGLE;
    /// A moment of inertia.
    Inertia: INERTIA;
    /// An area.
    SurfaceArea: AREA;
    /// A load along an edge.
    LineLoad: LINE_LOAD;
    /// A share.
    Share: RATIO;
}

macro_rules! pair {
    ($(#[$doc:meta])* $name:ident: $first:ident, $second:ident, $what:literal;) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
        pub struct $name(pub Option<$first>, pub Option<$second>);

        impl PartialSchema for $name {
            fn schema() -> RefOr<Schema> {
                // Tuples derive no lengths, and without them a list of one would fit the published schema.
                RefOr::T(Schema::Array(
                    ArrayBuilder::new()
                        .prefix_items([$first::schema(), $second::schema()].map(|s| match s {
                            RefOr::T(s) => s,
                            RefOr::Ref(_) => Schema::default(),
                        }))
                        .items(ArrayItems::False)
                        .min_items(Some(2))
                        .max_items(Some(2))
                        .description(Some($what))
                        .build(),
                ))
            }
        }

        impl ToSchema for $name {}
    };
}

pair! {
    /// A point of a thrust curve.
    CurvePoint: Time, Force, "Time and thrust.";
}

pair! {
    /// A corner of a polygon.
    Corner: Length, Length, "Lengths east and north of the origin.";
}

/// The schema of text with a unit, or a bare number.
pub(super) fn string_or_number(description: String, example: &str) -> RefOr<Schema> {
    ObjectBuilder::new()
        .schema_type(SchemaType::from_iter([Type::String, Type::Number]))
        .description(Some(description))
        .examples([example])
        .into()
}

/// A wind's direction.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
#[serde(transparent)]
pub struct WindDirection(pub Quantity);

impl PartialSchema for WindDirection {
    fn schema() -> RefOr<Schema> {
        let what = "Where a wind comes from: an angle clockwise from true north (degrees when bare), from magnetic north where \
                    the text ends in \"magnetic\" (\"240 deg magnetic\"; needs `site.declination`), or \"variable\" where the \
                    field says so.";
        string_or_number(what.into(), "240 deg")
    }
}

impl ToSchema for WindDirection {}

/// A number of a distribution.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(transparent)]
pub struct LawNumber(pub Quantity);

impl PartialSchema for LawNumber {
    fn schema() -> RefOr<Schema> {
        let what = "A number of a distribution, in the quantity that is spread: text with a unit, or a bare number in m, s, \
                    K, Pa, m/s, degrees or turns per second; for factors a pure number or a percentage.";
        string_or_number(what.into(), "5 %")
    }
}

impl ToSchema for LawNumber {}

/// One flight card with site, weather, spread and question.
///
/// A quantity is text with a unit ("54 mm", "35 mph") or a bare number, which means m, kg, s, m/s, N, Pa, K,
/// kg m^2, m^2, N/m, for angles degrees and for roll rates turns per second. Fields that are not known are refused, and
/// so is a name that is repeated within an object. `null` means "not given".
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AssessmentRequest {
    /// Free text, kept with the request. It changes neither the answer nor its id.
    #[schema(max_length = 2000)]
    pub note: Option<String>,
    /// The rocket as its flight card has it.
    #[schema(required = true, nullable = false)]
    pub card: Option<Card>,
    /// The rail and its setting.
    #[schema(required = true, nullable = false)]
    pub launch: Option<Launch>,
    /// The field.
    pub site: Option<Site>,
    /// The wind, as `surface`, `layers` or both: calm is never assumed, a calm day is a speed of 0. Give this or
    /// `weather`.
    pub wind: Option<Wind>,
    /// Weather as people have it, in place of `wind`: messages that are decoded as `POST /v1/weather` does. The height of
    /// the field is `site.elevation`; temperature and altimeter setting are those of the messages unless `site` has them.
    pub weather: Option<WeatherRequest>,
    /// Instant of launch (RFC 3339), needed with `weather` that has a time: its age is told by it, never by a clock, and
    /// widens the error of the wind (see `spread.wind.growth_per_hour`).
    #[schema(max_length = 40, example = "2026-11-25T17:30:00Z")]
    pub launch_at: Option<String>,
    /// Delays of the motor's ejection charge to compare, from burnout (see `card.motor.delay_from`). Give these,
    /// `electronics` or both. Without them the delay of a motor code such as "C6-5" is taken.
    #[schema(max_items = 32, example = json!([5, 7, 10]))]
    pub delays: Option<Vec<Time>>,
    /// Electronic deployments to compare, answered after `delays`.
    #[schema(max_items = 32)]
    pub electronics: Option<Vec<ElectronicsEntry>>,
    /// Airspeeds that an opening is held against.
    pub limits: Option<SpeedLimits>,
    /// The condition that a delay must meet.
    pub condition: Option<Condition>,
    /// How uncertain each input is, where the defaults are not wanted.
    pub spread: Option<SpreadRequest>,
    /// Shares of flights with a failure, counted in every chance of the answer; none when left out. Each failure that
    /// the rocket can have is also flown by itself, whatever its share.
    pub failures: Option<FailureShares>,
    /// Flights to fly; 2000 when left out. More flights narrow the intervals.
    #[schema(minimum = 64, maximum = 1_000_000, example = 2000)]
    pub flights: Option<u64>,
    /// Fly until the intervals are narrow enough, in place of `flights`.
    pub until: Option<UntilRequest>,
    /// Base flights from which to tell what drives the answer: which inputs its speeds, chances and landings hang on,
    /// and what knowing each would narrow. 1024 is a good start; each is flown fifteen times, on top of `flights`. Not
    /// asked when left out.
    #[schema(minimum = 256, maximum = 16_384, example = 1024)]
    pub drivers: Option<u64>,
    /// Cord and tube edge: what the cord between nose section and airframe comes to, and whether the edge of the tube
    /// tears. Not asked when left out.
    pub cords: Option<CordsRequest>,
    /// Flights of this rocket that were flown and logged, to learn from.
    pub calibration: Option<CalibrationRequest>,
    /// What else is to be tried, on top of `flights`: "wind_limit", the highest wind at which the condition is met (512
    /// flights or more at each of 16 winds), and "rail", a tilt and azimuth that land better (512 flights at each of some 50
    /// settings). Not asked when left out.
    #[schema(max_items = 2, example = json!(["wind_limit", "rail"]))]
    pub advise: Option<Vec<AdviceTopic>>,
    /// Chances that are sought where they happen, because too few flights would show them. Each has flights of its own, on top
    /// of `flights`: up to 8192 that seek it, and those that are counted. Not asked when left out.
    #[schema(max_items = 16)]
    pub rare: Option<Vec<RareEntry>>,
    /// Seed of the draws; 1 when left out. The same request gives the same bytes.
    #[schema(minimum = 0, maximum = 9_007_199_254_740_991_u64, example = 1)]
    pub seed: Option<u64>,
    /// How inputs are drawn: "sobol" (evenly spread points, narrower intervals; the default) or "random".
    pub points: Option<PointKind>,
    /// Whose published limits the cautions quote. By default chosen from impulse and mass.
    pub rule_set: Option<RuleSetChoice>,
}

/// A chance that is sought where it happens: of a landing or of an opening.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RareEntry {
    /// Name of an area of `site`: anything comes down inside it. Give this or `opening_over`.
    #[schema(example = "spectators")]
    pub landing_in: Option<String>,
    /// One of `limits.deploy_speed`: it opens faster. Give this or `landing_in`.
    pub opening_over: Option<Speed>,
    /// Label of the delay or altimeter it is flown with, as the answer has it; the one with the least chance of an unsafe
    /// opening when left out.
    #[schema(example = "delay 9 s")]
    pub flown_with: Option<String>,
    /// Flights that are counted; 8192 when left out. More flights narrow the interval.
    #[schema(minimum = 1024, maximum = 262_144, example = 8192)]
    pub flights: Option<u64>,
}

/// What else is to be tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AdviceTopic {
    /// Winds.
    WindLimit,
    /// Settings of the rail.
    Rail,
}

/// The rocket as its flight card has it.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Card {
    /// Name of the rocket.
    #[schema(required = true, nullable = false, min_length = 1, max_length = 100, example = "Example one (invented)")]
    pub name: Option<String>,
    /// What flies. Only rockets: a glider's flight is not modelled.
    pub kind: Option<VehicleKind>,
    /// Number of stages. Only 1: staging is not modelled.
    #[schema(minimum = 1, maximum = 1)]
    pub stages: Option<u64>,
    /// The airframe.
    #[schema(required = true, nullable = false)]
    pub airframe: Option<Airframe>,
    /// The motor, or a cluster of equal motors.
    #[schema(required = true, nullable = false)]
    pub motor: Option<Motor>,
    /// What opens.
    #[schema(required = true, nullable = false)]
    pub recovery: Option<Recovery>,
}

/// What flies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum VehicleKind {
    /// A rocket.
    Rocket,
}

/// The airframe. Distances along the body run from the nose tip.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Airframe {
    /// Largest diameter of the body.
    #[schema(required = true, nullable = false)]
    pub diameter: Option<Length>,
    /// Nose tip to the end of the body.
    #[schema(required = true, nullable = false)]
    pub length: Option<Length>,
    /// Mass at lift-off, with motor, propellant, parachute and wadding.
    #[schema(required = true, nullable = false)]
    pub mass: Option<Mass>,
    /// Centre of gravity at lift-off, from the nose tip: where the loaded rocket balances.
    #[schema(required = true, nullable = false)]
    pub centre_of_gravity: Option<Length>,
    /// Centre of gravity after burnout, from the nose tip. By default from the propellant's mass and place.
    pub centre_of_gravity_burnout: Option<Length>,
    /// Transverse moment of inertia at lift-off, about the centre of gravity. By default that of an even rod.
    pub pitch_inertia: Option<Inertia>,
    /// Transverse moment of inertia after burnout, about the centre of gravity then.
    pub pitch_inertia_burnout: Option<Inertia>,
    /// Centre of pressure at small angles, from the nose tip, measured or published. Needed unless `shape` is given;
    /// beside `shape` it replaces the computed one.
    pub centre_of_pressure: Option<Length>,
    /// Normal-force slope per radian on the largest cross-section, measured or published.
    #[schema(example = 10.0)]
    pub normal_force_slope: Option<f64>,
    /// Drag coefficient on the largest cross-section, the same at every speed. Give this or `drag_table`, or `shape`.
    #[schema(example = 0.55)]
    pub drag_coefficient: Option<f64>,
    /// Drag coefficient against Mach number, rising; linear between rows, held beyond.
    #[schema(min_items = 1, max_items = 200)]
    pub drag_table: Option<Vec<DragRow>>,
    /// Axial force flying tail first over that flying nose first.
    pub tail_first_factor: Option<f64>,
    /// The outside, from which centre of pressure and drag are computed.
    pub shape: Option<ShapeRequest>,
}

/// A row of a drag table.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DragRow {
    /// Mach number.
    #[schema(required = true, nullable = false, example = 0.3)]
    pub mach: Option<f64>,
    /// Drag coefficient there, on the largest cross-section.
    #[schema(required = true, nullable = false, example = 0.55)]
    pub drag_coefficient: Option<f64>,
}

/// The outside of the rocket, front to back.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ShapeRequest {
    /// The nose.
    #[schema(required = true, nullable = false)]
    pub nose: Option<NoseRequest>,
    /// Shoulders and boattails, front to back.
    #[schema(max_items = 20)]
    pub shoulders_and_boattails: Option<Vec<TransitionRequest>>,
    /// Sets of equal trapezoidal fins.
    #[schema(required = true, nullable = false, min_items = 1, max_items = 8)]
    pub fins: Option<Vec<FinSetRequest>>,
    /// Rail guides.
    #[schema(max_items = 20)]
    pub guides: Option<Vec<GuideRequest>>,
    /// Height of the surface's roughness: smooth paint is near 5 um, bare card near 60 um. 20 um when left out.
    pub roughness: Option<Length>,
}

/// The nose.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NoseRequest {
    /// Its curve: "cone", "ogive" (circular arc that meets the tube without a corner), "parabolic" (radius grows as
    /// the square root of the distance from the tip) or "ellipsoid".
    #[schema(required = true, nullable = false)]
    pub form: Option<NoseCurve>,
    /// Tip to base, without the shoulder that slides into the tube.
    #[schema(required = true, nullable = false)]
    pub length: Option<Length>,
    /// Diameter where it meets the body; the airframe's diameter when left out.
    pub base_diameter: Option<Length>,
}

/// Curve of a nose.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NoseCurve {
    /// A straight cone.
    Cone,
    /// A tangent circular arc.
    Ogive,
    /// Radius as the square root of the distance from the tip.
    Parabolic,
    /// Half an ellipsoid.
    Ellipsoid,
}

/// A conical change of diameter.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TransitionRequest {
    /// Its front end, from the nose tip.
    #[schema(required = true, nullable = false)]
    pub station: Option<Length>,
    /// Its length along the body.
    #[schema(required = true, nullable = false)]
    pub length: Option<Length>,
    /// Diameter at its front end.
    #[schema(required = true, nullable = false)]
    pub front_diameter: Option<Length>,
    /// Diameter at its rear end.
    #[schema(required = true, nullable = false)]
    pub rear_diameter: Option<Length>,
}

/// A set of equal trapezoidal fins, evenly spaced round the body.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FinSetRequest {
    /// Number of fins in the set.
    #[schema(required = true, nullable = false, minimum = 3, maximum = 8, example = 3)]
    pub count: Option<u64>,
    /// Chord at the body.
    #[schema(required = true, nullable = false)]
    pub root_chord: Option<Length>,
    /// Chord at the tip.
    #[schema(required = true, nullable = false)]
    pub tip_chord: Option<Length>,
    /// Span of one fin, from the body's surface.
    #[schema(required = true, nullable = false)]
    pub span: Option<Length>,
    /// From the root's leading edge back to the tip's leading edge, along the body; root less tip chord (trailing edges in
    /// line) when left out.
    pub sweep: Option<Length>,
    /// Thickness; 3 mm when left out.
    pub thickness: Option<Length>,
    /// The root's leading edge, from the nose tip; by default the root ends with the body.
    pub station: Option<Length>,
    /// Diameter of the body where the fins sit; by default taken from the shape.
    pub body_diameter: Option<Length>,
    /// Finish of the edges: "flat" (as cut; the default), "round" or "tapered".
    pub edges: Option<EdgeFinish>,
}

/// Finish of a fin's edges.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum EdgeFinish {
    /// Flat, as cut.
    Flat,
    /// Both edges round.
    Round,
    /// Round in front, thin behind.
    Tapered,
}

/// A rail guide: whatever holds the rocket to its rail or rod.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GuideRequest {
    /// Its middle, from the nose tip.
    #[schema(required = true, nullable = false)]
    pub station: Option<Length>,
    /// Area seen from the front, bore not counted out.
    #[schema(required = true, nullable = false)]
    pub frontal_area: Option<SurfaceArea>,
    /// Area the air touches; of a tube the inside as well.
    #[schema(required = true, nullable = false)]
    pub wetted_area: Option<SurfaceArea>,
}

/// The motor, or a cluster of equal motors lit together.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Motor {
    /// Motor code: impulse class (1/8A, 1/4A, 1/2A, A to O), average thrust in newtons and, after a hyphen, the delay in
    /// seconds. Give this or `thrust_curve`. A code leaves the impulse uncertain by a factor of two.
    #[schema(max_length = 20, example = "C6-5")]
    pub code: Option<String>,
    /// Thrust of one motor.
    pub thrust_curve: Option<ThrustCurveRequest>,
    /// Propellant of one motor. By default from the impulse.
    pub propellant_mass: Option<Mass>,
    /// Diameter of one motor.
    pub diameter: Option<Length>,
    /// Length of one motor.
    pub length: Option<Length>,
    /// Centre of the propellant, from the nose tip.
    pub propellant_centre: Option<Length>,
    /// Equal motors lit together; 1 when left out.
    #[schema(minimum = 1, maximum = 12, example = 1)]
    pub count: Option<u64>,
    /// Distance of each motor's axis from the rocket's, for clusters.
    pub ring_radius: Option<Length>,
    /// Share of flights in which one motor of a cluster stays unlit.
    pub one_unlit_share: Option<Share>,
    /// What counts as burnout: "five_percent_of_peak" (thrust falls below 5 % of its peak; the default) or "end_of_curve".
    pub burnout: Option<BurnoutRule>,
    /// What the delay counts from: "burnout" (each flight's own; the default) or "nominal_burn" (first thrust plus the
    /// nominal burn time).
    pub delay_from: Option<DelayFrom>,
}

/// Thrust of one motor: rising pairs of time and thrust, beginning at 0 s and ending at 0 N; or the same as text in two
/// columns, seconds and newtons, one pair a line.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum ThrustCurveRequest {
    /// Pairs of time and thrust.
    Points(Vec<CurvePoint>),
    /// Two columns of text.
    Columns(String),
}

/// What counts as burnout.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum BurnoutRule {
    /// Thrust falls below 5 % of its peak.
    FivePercentOfPeak,
    /// The end of the thrust curve.
    EndOfCurve,
}

/// What the delay counts from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DelayFrom {
    /// Each flight's own burnout.
    Burnout,
    /// First thrust plus the nominal burn time.
    NominalBurn,
}

/// What opens, in one stage or two.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Recovery {
    /// Opens on the first event.
    #[schema(required = true, nullable = false)]
    pub first: Option<DeviceRequest>,
    /// Opens at `main_height`, coming down.
    pub main: Option<DeviceRequest>,
    /// Height above the pad at which `main` opens.
    pub main_height: Option<Length>,
}

/// A parachute, a streamer, tumbling or nothing.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DeviceRequest {
    /// "parachute" (needs `diameter`), "streamer" (needs `length` and `width`), "tumble" (falls broadside, its stability
    /// undone) or "none" (comes in ballistic).
    #[schema(required = true, nullable = false)]
    pub kind: Option<DeviceKind>,
    /// Of a parachute: diameter of the cloth laid flat.
    pub diameter: Option<Length>,
    /// Of a streamer: length.
    pub length: Option<Length>,
    /// Of a streamer: width.
    pub width: Option<Length>,
    /// Drag coefficient on the area of the cloth laid flat.
    #[schema(example = 0.75)]
    pub drag_coefficient: Option<f64>,
    /// Of a parachute: diameters of air path until it is full.
    #[schema(example = 8.0)]
    pub fill_constant: Option<f64>,
}

/// What opens.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DeviceKind {
    /// A parachute.
    Parachute,
    /// A streamer.
    Streamer,
    /// The rocket falls broadside.
    Tumble,
    /// Nothing.
    None,
}

/// The rail and its setting.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Launch {
    /// Travel along the rail or rod until the last guide leaves it.
    #[schema(required = true, nullable = false)]
    pub rail_length: Option<Length>,
    /// Angle of the rail from vertical: an elevation of 85 deg is a tilt of 5 deg.
    pub tilt: Option<Angle>,
    /// Name of the pad among `site.pads` from which it is launched; the site's origin when left out.
    #[schema(min_length = 1, max_length = 100, example = "A")]
    pub pad: Option<String>,
    /// Direction the rail leans towards.
    pub azimuth: Option<Bearing>,
    /// What bearings are measured from, here and for the wind. Only "true": one by the compass says so itself
    /// ("240 deg magnetic").
    pub bearings: Option<Bearings>,
    /// Friction coefficient of the guides on the rail.
    #[schema(example = 0.1)]
    pub friction: Option<f64>,
    /// Forward guide, from the nose tip.
    pub forward_guide: Option<Length>,
    /// Aft guide, from the nose tip.
    pub aft_guide: Option<Length>,
}

/// What bearings are measured from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Bearings {
    /// True north.
    True,
}

/// The field.
#[derive(Debug, Clone, Default, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Site {
    /// Its name.
    #[schema(max_length = 100)]
    pub name: Option<String>,
    /// Where its origin lies, from which `areas` and `pads` are measured: needed for areas in degrees, and for the
    /// answer as GeoJSON or KML.
    pub position: Option<PositionRequest>,
    /// Latitude, north positive, where no `position` is given.
    pub latitude: Option<Angle>,
    /// Magnetic declination at the field, east positive: a true bearing is the magnetic one plus this. From a map's margin
    /// or a published model; none is built in.
    pub declination: Option<Angle>,
    /// Above sea level.
    pub elevation: Option<Length>,
    /// Air temperature at the pad.
    pub temperature: Option<Temperature>,
    /// Pressure as measured at the field. Give this or `altimeter_setting`.
    pub station_pressure: Option<Pressure>,
    /// Pressure reduced to sea level by the standard atmosphere: the Q or A group of a weather report.
    pub altimeter_setting: Option<Pressure>,
    /// Permitted height above the pad.
    pub ceiling: Option<Length>,
    /// Areas on the ground for which the chance of a landing inside is asked.
    #[schema(max_items = 50)]
    pub areas: Option<Vec<NamedArea>>,
    /// More areas, as GeoJSON.
    pub map: Option<AreaMap>,
    /// Launch pads. The answer's landing places, and its areas, are measured from the one that `launch.pad` names.
    #[schema(max_items = 50)]
    pub pads: Option<Vec<PadRequest>>,
}

/// A named area: a circle, a polygon, or a geometry of GeoJSON. Metres are those from the site's origin, which is the pad
/// unless `launch.pad` names another.
#[derive(Debug, Clone, Default, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NamedArea {
    /// Its name.
    #[schema(required = true, nullable = false, min_length = 1, max_length = 100, example = "spectators")]
    pub name: Option<String>,
    /// What it is. The answer gives the chance of a landing outside all that are "field".
    pub role: Option<AreaRole>,
    /// A circle.
    pub circle: Option<CircleRequest>,
    /// A Polygon or MultiPolygon of GeoJSON.
    pub geometry: Option<Geometry>,
    /// Corners in order, each a pair: metres (or lengths) east and north of the origin. The last joins the first.
    #[schema(min_items = 3, max_items = 500, example = json!([[-50, -60], [50, -60], [50, -90], [-50, -90]]))]
    pub polygon: Option<Vec<Corner>>,
    /// People in it, evenly spread: the answer then says how many a flight strikes on average.
    #[schema(example = 40)]
    pub people: Option<f64>,
}

/// A circle on the ground.
#[derive(Debug, Clone, Default, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CircleRequest {
    /// Centre, east of the origin; 0 when left out.
    pub east: Option<Length>,
    /// Centre, north of the origin; 0 when left out.
    pub north: Option<Length>,
    /// Radius.
    #[schema(required = true, nullable = false)]
    pub radius: Option<Length>,
}

/// The wind: `surface`, `layers` or both; or `members` of an ensemble.
#[derive(Debug, Clone, Default, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Wind {
    /// Where these numbers come from, for whoever reads the answer.
    #[schema(max_length = 500)]
    pub source: Option<String>,
    /// Wind measured near the ground.
    pub surface: Option<SurfaceWindRequest>,
    /// Winds aloft, from the ground up.
    #[schema(max_items = 200)]
    pub layers: Option<Vec<WindLayer>>,
    /// Members of an ensemble, in place of `surface` and `layers`: each flight draws one of them, all alike, and adds the
    /// errors of the wind to it.
    #[schema(min_items = 2, max_items = 200)]
    pub members: Option<Vec<WindMemberRequest>>,
    /// How old it is at launch, age of an observation or lead of a forecast ("8 h"): each hour widens its error (see
    /// `spread.wind.growth_per_hour`). Nothing is widened when left out.
    pub age: Option<Time>,
    /// What surrounds the field, for the wind's growth from the ground: Davenport's classes with roughness lengths of
    /// "sea" 0.0002 m, "smooth" 0.005 m, "open" 0.03 m (grass; the default), "roughly_open" 0.1 m, "rough" 0.25 m,
    /// "very_rough" 0.5 m, "closed" 1 m, "chaotic" 2 m. Give at most one of `terrain`, `roughness_length` and
    /// `power_exponent`.
    pub terrain: Option<Terrain>,
    /// Roughness length of the logarithmic law.
    pub roughness_length: Option<Length>,
    /// Exponent of the power law.
    #[schema(example = 0.15)]
    pub power_exponent: Option<f64>,
    /// What the size of the gusts is taken from: "report" (the default), "terrain", "mean_wind", or "off" for a steady
    /// wind. Dryden's forms at low altitude (MIL-F-8785C), frozen in height. Give at most one of `turbulence` and
    /// `turbulence_wind_at_20_ft`.
    pub turbulence: Option<Turbulence>,
    /// Size of the gusts by a wind at 20 ft of your own, whatever the mean wind: 15, 30 and 45 kt are light, moderate
    /// and severe turbulence.
    pub turbulence_wind_at_20_ft: Option<Speed>,
}

/// What the size of the gusts is taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Turbulence {
    /// The gust of the surface report, three standard deviations over the mean; without one, the terrain, but at most
    /// the 5 m/s that a report may leave unsaid.
    Report,
    /// The terrain and the mean wind (EN 1991-1-4).
    Terrain,
    /// The mean wind at 20 ft (MIL-F-8785C).
    MeanWind,
    /// No gusts.
    Off,
}

/// A member of an ensemble: one wind that may come, as `surface`, `layers` or both.
#[derive(Debug, Clone, Default, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WindMemberRequest {
    /// Wind near the ground.
    pub surface: Option<SurfaceWindRequest>,
    /// Winds aloft, from the ground up.
    #[schema(max_items = 200)]
    pub layers: Option<Vec<WindLayer>>,
}

/// Wind measured near the ground.
#[derive(Debug, Clone, Default, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SurfaceWindRequest {
    /// Mean speed.
    #[schema(required = true, nullable = false)]
    pub speed: Option<Speed>,
    /// Where it comes from, or "variable". Needed unless the speed is 0.
    pub direction: Option<WindDirection>,
    /// Height of the instrument above ground: 10 m in a weather report, about 2 m hand-held.
    #[schema(required = true, nullable = false)]
    pub measuring_height: Option<Length>,
    /// Peak speed of gusts, not their excess over the mean.
    pub gust: Option<Speed>,
}

/// A wind aloft. Give one of the two heights.
#[derive(Debug, Clone, Default, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WindLayer {
    /// Height above ground.
    pub height_above_ground: Option<Length>,
    /// Height above sea level, as in soundings and bulletins; `site.elevation` is subtracted. Where all layers have
    /// this, those below ground are dropped and listed under `assumed`.
    pub height_above_sea: Option<Length>,
    /// Speed.
    #[schema(required = true, nullable = false)]
    pub speed: Option<Speed>,
    /// Where it comes from.
    #[schema(required = true, nullable = false)]
    pub direction: Option<WindDirection>,
}

/// Davenport's classes of terrain.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Terrain {
    /// 0.0002 m.
    Sea,
    /// 0.005 m.
    Smooth,
    /// 0.03 m.
    Open,
    /// 0.1 m.
    RoughlyOpen,
    /// 0.25 m.
    Rough,
    /// 0.5 m.
    VeryRough,
    /// 1 m.
    Closed,
    /// 2 m.
    Chaotic,
}

/// One electronic deployment.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ElectronicsEntry {
    /// "apogee", or "height" together with `height`.
    #[schema(required = true, nullable = false)]
    pub fires_at: Option<FiresAt>,
    /// Height above the pad, coming down.
    pub height: Option<Length>,
    /// Delay of a motor's ejection charge behind it: whichever comes first opens.
    pub backup_delay: Option<Time>,
}

/// What an altimeter fires on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FiresAt {
    /// The highest point.
    Apogee,
    /// A height, coming down.
    Height,
}

/// Airspeeds that an opening is held against.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SpeedLimits {
    /// The limits; 35 mph and 100 mph when left out.
    #[schema(min_items = 1, max_items = 12, example = json!(["35 mph", "100 mph"]))]
    pub deploy_speed: Option<Vec<Speed>>,
    /// Which airspeed: at "ejection" (the default) or at "line_stretch".
    pub applies_to: Option<AppliesTo>,
}

/// Which airspeed the limits are asked of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AppliesTo {
    /// At ejection.
    Ejection,
    /// At line stretch.
    LineStretch,
}

/// Fly until the intervals are narrow enough. They are looked at after 256, 512, 1024 ... flights and after the most that
/// are allowed, so that the same request still gives the same bytes.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct UntilRequest {
    /// Half the width that the widest interval may have, of every delay's chances against every limit: "0.5 %" ends the
    /// flights when each is known to half a percentage point either way. 0.01 to 10 %.
    #[schema(required = true, nullable = false)]
    pub half_width: Option<Share>,
    /// The most flights, rounded down to a multiple of 16. What an assessment costs is priced by it.
    #[schema(required = true, nullable = false, minimum = 256, maximum = 1_000_000, example = 100_000)]
    pub within: Option<u64>,
}

/// The condition that a delay must meet.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Condition {
    /// Largest chance of an unsafe opening that meets it, held against the upper end of the interval; 5 % when left out.
    pub chance: Option<Share>,
    /// Which of `limits.deploy_speed` it is about; the first when left out.
    pub limit: Option<Speed>,
}

macro_rules! spread_request {
    ($($(#[$doc:meta])* $name:ident: $table:ident, $middle:expr;)*) => {
        /// Distributions instead of the defaults. Factors multiply the card's value, errors are added to it.
        #[derive(Debug, Clone, Default, Deserialize, ToSchema)]
        #[serde(deny_unknown_fields)]
        pub struct SpreadRequest {
            $($(#[$doc])* pub $name: Option<LawRequest>,)*
            /// Errors of the wind.
            pub wind: Option<WindSpread>,
            /// Share of delays outside their tolerance (the larger of 1.5 s and 20 %, at most 3 s), where `delay` is not
            /// given.
            pub delay_out_of_tolerance_share: Option<Share>,
        }

        impl SpreadRequest {
            /// Reads every law that is given into its place, from name, units, mean where none is given, and the law.
            pub fn fill(
                &self,
                into: &mut SpreadInput,
                mut read: impl FnMut(&str, &Table, Option<f64>, &LawRequest) -> Option<Law>,
            ) {
                $(into.$name =
                    self.$name.as_ref().and_then(|law| read(stringify!($name), &units::$table, $middle, law));)*
            }
        }
    };
}

const FACTOR: Option<f64> = Some(1.0);
const ERROR: Option<f64> = Some(0.0);

spread_request! {
    /// Factor on the impulse of each motor.
    impulse: RATIO, FACTOR;
    /// Factor on the burn time of each motor.
    burn_time: RATIO, FACTOR;
    /// Error of each motor's delay, s.
    delay: TIME, ERROR;
    /// Factor on the lift-off mass.
    mass: RATIO, FACTOR;
    /// Error of the centre of gravity, m; positive: behind the card's.
    centre_of_gravity: LENGTH, ERROR;
    /// Error of the centre of pressure, m; positive: behind the card's.
    centre_of_pressure: LENGTH, ERROR;
    /// Factor on the drag.
    drag: RATIO, FACTOR;
    /// Factor on the normal-force slope.
    normal_force_slope: RATIO, FACTOR;
    /// Thrust against the axis, about each of two transverse axes, degrees.
    thrust_misalignment: ANGLE, ERROR;
    /// Fins against the axis, about each of two transverse axes, degrees.
    fin_misalignment: ANGLE, ERROR;
    /// Roll rate, turns per second.
    roll_rate: ROLL_RATE, ERROR;
    /// Rail against its setting, in and across the plane of the tilt, degrees.
    rail_angle: ANGLE, ERROR;
    /// Factor on the drag area of what opens.
    canopy_drag: RATIO, FACTOR;
    /// Ejection to line stretch, s.
    line_stretch_lag: TIME, None;
    /// Lag of apogee sensing, s.
    apogee_lag: TIME, None;
    /// Error of a sensed height, m.
    sensed_height: LENGTH, ERROR;
    /// Error of the air temperature, K.
    temperature: TEMPERATURE_DIFFERENCE, ERROR;
    /// Error of the pressure, Pa.
    pressure: PRESSURE, ERROR;
}

/// A distribution: exactly one of these.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"normal": {"sd": "5 %"}}))]
pub struct LawRequest {
    /// Always this value.
    pub fixed: Option<LawNumber>,
    /// Normal.
    pub normal: Option<NormalLaw>,
    /// Normal, cut at both ends.
    pub truncated_normal: Option<TruncatedNormalLaw>,
    /// The logarithm is normal.
    pub log_normal: Option<LogNormalLaw>,
    /// Uniform.
    pub uniform: Option<UniformLaw>,
    /// Triangular.
    pub triangular: Option<TriangularLaw>,
    /// One of these values, all alike.
    #[schema(min_items = 1, max_items = 10_000)]
    pub sample: Option<Vec<LawNumber>>,
}

impl LawRequest {
    /// Their names.
    pub const KINDS: [&str; 7] =
        ["fixed", "normal", "truncated_normal", "log_normal", "uniform", "triangular", "sample"];

    /// How many it holds.
    pub fn count(&self) -> usize {
        let given = [
            self.fixed.is_some(),
            self.normal.is_some(),
            self.truncated_normal.is_some(),
            self.log_normal.is_some(),
            self.uniform.is_some(),
            self.triangular.is_some(),
            self.sample.is_some(),
        ];
        given.into_iter().filter(|given| *given).count()
    }
}

/// Normal distribution.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NormalLaw {
    /// Mean; 1 for factors and 0 for errors when left out.
    pub mean: Option<LawNumber>,
    /// Standard deviation.
    #[schema(required = true, nullable = false)]
    pub sd: Option<LawNumber>,
}

/// Normal distribution, cut at both ends.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TruncatedNormalLaw {
    /// Mean before the cut; 1 for factors and 0 for errors when left out.
    pub mean: Option<LawNumber>,
    /// Standard deviation before the cut.
    #[schema(required = true, nullable = false)]
    pub sd: Option<LawNumber>,
    /// Lower end.
    #[schema(required = true, nullable = false)]
    pub low: Option<LawNumber>,
    /// Upper end.
    #[schema(required = true, nullable = false)]
    pub high: Option<LawNumber>,
}

/// Lognormal distribution.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LogNormalLaw {
    /// Median; 1 for factors when left out.
    pub median: Option<LawNumber>,
    /// Standard deviation of the natural logarithm: about the relative one.
    #[schema(required = true, nullable = false)]
    pub log_sd: Option<Share>,
}

/// Uniform distribution.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct UniformLaw {
    /// Lower end.
    #[schema(required = true, nullable = false)]
    pub low: Option<LawNumber>,
    /// Upper end.
    #[schema(required = true, nullable = false)]
    pub high: Option<LawNumber>,
}

/// Triangular distribution.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TriangularLaw {
    /// Lower end.
    #[schema(required = true, nullable = false)]
    pub low: Option<LawNumber>,
    /// Most likely value.
    #[schema(required = true, nullable = false)]
    pub mode: Option<LawNumber>,
    /// Upper end.
    #[schema(required = true, nullable = false)]
    pub high: Option<LawNumber>,
}

macro_rules! failure_shares {
    ($($(#[$doc:meta])* $name:ident = $failure:ident,)*) => {
        /// Shares of flights with a failure; a flight has one at most, besides an unlit motor, whose share is
        /// `card.motor.one_unlit_share`. What each failure does is listed in the answer under `assumed`.
        #[derive(Debug, Clone, Default, Deserialize, ToSchema)]
        #[serde(deny_unknown_fields)]
        pub struct FailureShares {
            $($(#[$doc])* pub $name: Option<Share>,)*
        }

        impl FailureShares {
            /// Every share with the failure it is of.
            pub fn each(&self) -> Vec<(Failure, &Option<Share>)> {
                vec![$((Failure::$failure, &self.$name),)*]
            }
        }
    };
}

failure_shares! {
    /// Nothing fires: it comes down ballistic.
    no_ejection = NoEjection,
    /// It ejects, but no canopy or streamer fills.
    nothing_fills = NothingFills,
    /// The ejection comes at any time between the rail and when it should.
    early_ejection = EarlyEjection,
    /// The motor's delay is one to two tolerances off.
    delay_out_of_tolerance = DelayOutOfTolerance,
    /// A motor of another delay was fitted.
    wrong_delay = WrongDelay,
    /// The motors give 50 to 90 % of their impulse.
    impulse_short = ImpulseShort,
    /// What opens first does not fill, and the main opens at the speed of the fall.
    first_fails = FirstFails,
    /// The main opens together with what opens first.
    main_at_once = MainAtOnce,
    /// The cord breaks, and the rear part falls by itself.
    parts_separate = PartsSeparate,
    /// The charge drives out the motor instead of what should open.
    motor_ejected = MotorEjected,
    /// A fin comes off under thrust.
    fin_lost = FinLost,
    /// The motor bursts.
    motor_bursts = MotorBursts,
}

/// Errors of the wind.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WindSpread {
    /// Standard deviation of each component while the wind is fresh.
    pub component_sd: Option<Speed>,
    /// What each hour of its age adds to that: of `wind.age`, or between `weather` and `launch_at`. "0.04 m/s" when left
    /// out, 0 for none.
    pub growth_per_hour: Option<Speed>,
    /// Standard deviation of the direction.
    pub direction_sd: Option<Angle>,
    /// Height over which errors of the wind agree.
    pub correlation_length: Option<Length>,
}

/// How inputs are drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PointKind {
    /// Scrambled Sobol points.
    Sobol,
    /// Independent flights.
    Random,
}

/// Whose published limits the cautions quote: "us_model_rocket", "us_high_power" or your own numbers.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum RuleSetChoice {
    /// A published set.
    Named(NamedRuleSet),
    /// Your own numbers.
    Own(OwnRuleSet),
}

/// A published set of limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NamedRuleSet {
    /// United States model rocket safety code.
    UsModelRocket,
    /// United States high power safety code.
    UsHighPower,
}

/// Your own limits.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OwnRuleSet {
    /// The numbers. What is left out is taken from common practice.
    #[schema(required = true, nullable = false)]
    pub own: Option<OwnRules>,
}

/// Your own limits. What is left out is taken from common practice.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OwnRules {
    /// Wind limit.
    pub wind: Option<Speed>,
    /// Limit of the rail's tilt.
    pub tilt: Option<Angle>,
    /// Least average thrust over lift-off weight.
    #[schema(example = 5.0)]
    pub thrust_to_weight: Option<f64>,
}
