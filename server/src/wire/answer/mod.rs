//! The answer as JSON: the only way from a report to what a caller reads. Every name carries its unit.
//!
//! Nothing is computed here but units and the texts beside numbers. Numbers are rounded in one place, so that the
//! same report is the same text everywhere.

mod advised;
mod calibration;
mod cords;
mod fill;
mod rare;
mod site;

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use slowpoint_sim::report::percent_digits;
use utoipa::openapi::schema::{ObjectBuilder, SchemaType, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use super::weather::WeatherTaken;
pub use advised::*;
pub use calibration::*;
pub use cords::*;
pub use fill::{answer, chance, chance_text, flight, glimpse, outcome};
pub use rare::*;
pub use site::*;

/// A number of an answer: six significant digits, `null` where there is none. It says so itself rather than through an
/// `Option`, which would give its schema two forms for null.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure(pub f64);

impl Figure {
    /// A number that may be absent.
    pub fn maybe(x: Option<f64>) -> Self {
        Self(x.unwrap_or(f64::NAN))
    }

    /// The number as the answer shows it; `None` where there is no finite one.
    pub fn rounded(self) -> Option<f64> {
        // Adding zero turns -0 into 0.
        let exact = |x: f64| format!("{x:.5e}").parse::<f64>().ok();
        quickly_rounded(self.0).or_else(|| exact(self.0)).filter(|x| x.is_finite()).map(|x| x + 0.0)
    }
}

/// A number to six significant digits where that is certain without its decimal expansion: an answer has tens of thousands
/// of numbers, and the way over text took longer than all else that is done to it. Both ways come to the same `f64`.
fn quickly_rounded(x: f64) -> Option<f64> {
    /// The powers of ten that are exact.
    const POWERS: [f64; 23] = [
        1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19,
        1e20, 1e21, 1e22,
    ];
    /// Farther from a half than the error of one product, by far.
    const CERTAIN: f64 = 0.499_999;
    let scale = 5_i64.checked_sub(x.abs().log10().floor() as i64)?;
    let power = *POWERS.get(usize::try_from(scale.unsigned_abs()).ok()?)?;
    let scaled = if scale < 0 { x / power } else { x * power };
    let digits = scaled.round();
    // Six of them, whatever the logarithm said; both they and the power are exact, so that their quotient is the nearest there
    // is to the decimal, as what is read from text.
    let certain = (1e5..1e6).contains(&digits.abs()) && scaled.abs() >= 1e5 && (scaled - digits).abs() < CERTAIN;
    certain.then(|| if scale < 0 { digits * power } else { digits / power })
}

impl Serialize for Figure {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.rounded().serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Figure {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Option::deserialize(deserializer).map(Self::maybe)
    }
}

impl PartialSchema for Figure {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(SchemaType::from_iter([Type::Number, Type::Null]))
            .description(Some("A number, rounded to six significant digits; null where there is none."))
            .into()
    }
}

impl ToSchema for Figure {}

/// What a request is answered with.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Assessment {
    /// The first caution. Show it before anything else.
    pub caution: &'static str,
    /// What the intervals cover.
    pub intervals: &'static str,
    /// Identity: follows from the request and the engine, so the same request has the same.
    pub id: String,
    /// The engine that flew.
    pub engine: String,
    /// Name of the rocket.
    pub name: String,
    /// Flights flown.
    pub flights: u64,
    /// Where the flights ended; there only when `until` was asked.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(required = false)]
    pub until: Option<UntilAnswer>,
    /// Seed of the draws.
    pub seed: u64,
    /// How inputs were drawn: "sobol" or "random".
    pub points: &'static str,
    /// Whose published limits the cautions quote: "us_model_rocket", "us_high_power" or "own".
    pub rule_set: &'static str,
    /// The field, the pad and the areas on it.
    pub site: SiteAnswer,
    /// The limits that openings are held against.
    pub limits: Vec<SpeedLimit>,
    /// Which airspeed they are held against: at "ejection" or at "line_stretch".
    pub limits_apply_to: &'static str,
    /// The flight card's own figures, nothing drawn, and what was read in SI.
    pub nominal: NominalFigures,
    /// One per way of deploying: first the delays, then the electronics, in the order asked.
    pub delays: Vec<DelayAnswer>,
    /// Chance against delay, for motor delays that deploy alone: round steps over the delays asked and the one that opens
    /// at the nominal slowest instant. Empty where no such delay is asked, or where failures have a share.
    pub delay_curve: Vec<CurvePointAnswer>,
    /// How every chance of `delay_curve` was made.
    pub delay_curve_estimator: &'static str,
    /// Leaving the rail; null when no flight did.
    pub rail: Option<RailFigures>,
    /// The highest point; null when no flight left the rail.
    pub apogee: Option<ApogeeFigures>,
    /// The slowest instant between burnout and the ground; null when no flight left the rail.
    pub slowest: Option<SlowestFigures>,
    /// Chance of rising above the ceiling, if one was given.
    pub above_ceiling: Option<ChanceFigures>,
    /// What follows for the asked delays.
    pub advice: AdviceAnswer,
    /// How the chances move when the model is off.
    pub model_moves: Vec<ModelMove>,
    /// What comes of failures.
    pub failures: FailuresAnswer,
    /// What drives the answer; there only when `drivers` was asked.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(required = false)]
    pub drivers: Option<DriversAnswer>,
    /// Cord and tube edge; there only when `cords` was asked.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(required = false)]
    pub cords: Option<CordsAnswer>,
    /// What was learned from flights that were flown; there only when `calibration` tells of some.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(required = false)]
    pub calibration: Option<CalibrationAnswer>,
    /// The wind up to which the condition is met; there only when `advise` asked it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(required = false)]
    pub wind_limit: Option<WindLimitAnswer>,
    /// A setting of the rail that lands better; there only when `advise` asked it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(required = false)]
    pub rail_advice: Option<RailAdviceAnswer>,
    /// Chances that were sought where they happen; there only when `rare` was asked.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(required = false)]
    pub rare: Option<RareAnswer>,
    /// The weather it was flown in; there only when `weather` was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(required = false)]
    pub weather: Option<WeatherTaken>,
    /// What to mind.
    pub cautions: Vec<CautionAnswer>,
    /// Every default used, with its source.
    pub assumed: Vec<AssumedInput>,
}

/// Where flights ended that were to end once the intervals are narrow enough.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct UntilAnswer {
    /// Half-width that was asked for, as a share: 0.005 is half a percentage point.
    pub half_width_asked: Figure,
    /// The most flights that were allowed.
    pub within_flights: u64,
    /// The widest half-width at the end, as a share, among every delay's chances against every limit.
    pub half_width_widest: Figure,
    /// Whether it is as narrow as was asked.
    pub reached: bool,
    /// How it was looked, and what that does to the intervals.
    pub meaning: &'static str,
}

/// A speed limit in both units.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct SpeedLimit {
    /// m/s.
    pub limit_m_s: Figure,
    /// Miles per hour.
    pub limit_mph: Figure,
}

/// The flight card's own figures.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct NominalFigures {
    /// Impulse of all motors, N s.
    pub impulse_n_s: Figure,
    /// Average thrust of all motors, N.
    pub average_thrust_n: Figure,
    /// Average thrust over lift-off weight.
    pub thrust_to_weight: Figure,
    /// Burn time, s.
    pub burn_s: Figure,
    /// Centre of pressure behind the centre of gravity at lift-off, calibres.
    pub margin_calibres: Figure,
    /// Mean wind 10 m above ground as it was read, m/s.
    pub surface_wind_m_s: Figure,
    /// The same, miles per hour.
    pub surface_wind_mph: Figure,
    /// Length of the rail as it was read, m.
    pub rail_length_m: Figure,
    /// Diameter of the parachute that opens first as it was read, m; null when it is none.
    pub first_canopy_diameter_m: Figure,
    /// Diameter of the main parachute as it was read, m; null without one.
    pub main_canopy_diameter_m: Figure,
    /// The field above sea level, m.
    pub elevation_m: Figure,
}

/// A chance with its interval.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ChanceFigures {
    /// Mean of the flights' chances: where flights were counted, those in which it happened over all flights. Show `text`
    /// instead where it is next to 0 or 1.
    pub estimate: Figure,
    /// Lower end of the 95 % interval.
    pub lower: Figure,
    /// Upper end of the 95 % interval.
    pub upper: Figure,
    /// Sum of the flights' chances: where flights were counted, the number in which it happened.
    pub flights_expected: Figure,
    /// All flights.
    pub flights: u64,
    /// The chance in words, ready to show. Never "0 %" or "100 %".
    #[schema(example = "< 0.19 %")]
    pub text: String,
    /// How the estimate was made: flights counted, or the law of the firing time integrated along each flight.
    pub estimator: &'static str,
    /// How the interval was made.
    pub interval_method: &'static str,
}

/// One number per flight, summed up.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct Figures {
    /// Flights that have it.
    pub flights: u64,
    /// Mean.
    pub mean: Figure,
    /// 5 % of the flights stay below.
    pub p05: Figure,
    /// Lower quartile.
    pub p25: Figure,
    /// Median.
    pub p50: Figure,
    /// Upper quartile.
    pub p75: Figure,
    /// 95 % of the flights stay below.
    pub p95: Figure,
    /// Least value.
    pub min: ExtremeFigure,
    /// Greatest value.
    pub max: ExtremeFigure,
}

/// An extreme value and the flight it was met in, which can be flown again.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct ExtremeFigure {
    /// The value.
    pub value: Figure,
    /// Index of the flight.
    pub flight: u64,
}

/// One way of deploying.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DelayAnswer {
    /// What it is, in words.
    pub label: String,
    /// Delay of the motor's ejection charge, s; null without one.
    pub motor_delay_s: Figure,
    /// The altimeter; null without one.
    pub electronics: Option<ElectronicsAnswer>,
    /// How it stands against the condition, by the interval of `unsafe_opening`: "under limit" (its upper end meets the
    /// condition), "over limit", "opens low" or "does not open well" (its lower end does not, for this reason above all),
    /// "not known" (the interval holds both).
    pub standing: &'static str,
    /// How every share of `limits` and of `outcomes` was made, before and after apogee as well.
    pub estimator: &'static str,
    /// Chances against each limit, over all flights.
    pub limits: Vec<LimitAnswer>,
    /// What becomes of the flights; the shares add up to 1.
    pub outcomes: Vec<OutcomeAnswer>,
    /// At ejection, over the flights that ejected in the air, each at four points of its law of firing; the least and
    /// greatest are fired as drawn, so that a flight flown again shows them. Null when none did.
    pub at_ejection: Option<EjectionFigures>,
    /// On the ground, each flight fired as it was drawn; null when no flight came down.
    pub landing: Option<LandingFigures>,
}

/// The chances at one delay of a motor's charge that deploys alone, asked or not, from the same flights.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CurvePointAnswer {
    /// The delay, s.
    pub delay_s: Figure,
    /// The airspeed that limits are held against (`limits_apply_to`), over the flights that eject in the air, each at four
    /// points of its law of firing, m/s; at a delay asked it is that of `delays`. Null where none does, and at some points
    /// between the delays asked.
    pub opening_airspeed_m_s: Option<QuantileFigures>,
    /// Chances against each limit.
    pub limits: Vec<CurveLimitAnswer>,
}

/// Quantiles over flights.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct QuantileFigures {
    /// 5 % of the flights stay below.
    pub p05: Figure,
    /// A quarter of the flights stays below.
    pub p25: Figure,
    /// The median.
    pub p50: Figure,
    /// Three quarters of the flights stay below.
    pub p75: Figure,
    /// 95 % of the flights stay below.
    pub p95: Figure,
}

/// Chances against one limit at one delay.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CurveLimitAnswer {
    /// The limit, m/s.
    pub limit_m_s: Figure,
    /// Faster than the limit.
    pub over: BandFigures,
    /// Faster than the limit, or does not open well for any other reason.
    pub unsafe_opening: BandFigures,
    /// The chance of an unsafe opening in words.
    pub text: String,
}

/// A chance and the interval of this point alone: of 95 %, or 96.5 % with `until`.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct BandFigures {
    /// The chance.
    pub estimate: Figure,
    /// Lower end.
    pub lower: Figure,
    /// Upper end.
    pub upper: Figure,
}

/// The altimeter of one way of deploying.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct ElectronicsAnswer {
    /// "apogee" or "height".
    pub fires_at: &'static str,
    /// Height above the pad, coming down, m; null at apogee.
    pub height_above_pad_m: Figure,
}

/// What is known of an assessment while it is still flown.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct GlimpseAnswer {
    /// Flights so far. Every interval is that of so many flights, taken by itself.
    pub flights: u64,
    /// Flights asked for.
    pub of: u64,
    /// One per way of deploying.
    pub delays: Vec<GlimpseDelay>,
}

/// One way of deploying while it is still flown.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct GlimpseDelay {
    /// What it is, in words.
    pub label: String,
    /// Chances against each limit.
    pub limits: Vec<GlimpseLimit>,
}

/// Chances against one limit while it is still flown.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct GlimpseLimit {
    /// The limit, m/s.
    pub limit_m_s: Figure,
    /// Faster than the limit.
    pub over: ChanceFigures,
    /// Faster than the limit, or did not open well for any other reason.
    pub unsafe_opening: ChanceFigures,
}

/// Chances against one limit. Over all flights, never only over those that opened.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct LimitAnswer {
    /// The limit, m/s.
    pub limit_m_s: Figure,
    /// The limit, miles per hour.
    pub limit_mph: Figure,
    /// Faster than the limit.
    pub over: ChanceFigures,
    /// Faster than the limit, or did not open well for any other reason.
    pub unsafe_opening: ChanceFigures,
    /// Share of flights that opened well and not above the limit, ejected before apogee.
    pub under_before_apogee_share: Figure,
    /// The same, ejected after apogee.
    pub under_after_apogee_share: Figure,
    /// Share of flights over the limit, ejected before apogee.
    pub over_before_apogee_share: Figure,
    /// The same, ejected after apogee.
    pub over_after_apogee_share: Figure,
}

/// How often an outcome happened.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct OutcomeAnswer {
    /// Which: opened, opened_too_low, nothing_opened, in_boost, ground_first, never_left_rail, unstable,
    /// beyond_sixty_deg, outside_model or untrusted; by failures with a share also no_ejection, nothing_filled,
    /// first_failed, parts_separated, motor_ejected and motor_burst.
    pub outcome: &'static str,
    /// What that means.
    pub meaning: &'static str,
    /// Share of all flights.
    pub share: Figure,
    /// Of it, ejected before apogee.
    pub before_apogee_share: Figure,
    /// Of it, ejected after apogee.
    pub after_apogee_share: Figure,
}

/// At ejection.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct EjectionFigures {
    /// Airspeed, m/s.
    pub airspeed_m_s: Figures,
    /// Upward speed, m/s.
    pub vertical_speed_m_s: Figures,
    /// Horizontal part of the airspeed, m/s.
    pub horizontal_airspeed_m_s: Figures,
    /// Height above the pad, m.
    pub height_above_pad_m: Figures,
    /// Seconds after apogee; negative before it.
    pub after_apogee_s: Figures,
    /// Airspeed at line stretch, m/s.
    pub line_stretch_airspeed_m_s: Figures,
}

/// On the ground.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct LandingFigures {
    /// How its figures were made, `over_energy` and `areas` among them.
    pub estimator: &'static str,
    /// Flights that came down.
    pub flights: u64,
    /// Mean place east of the pad, m.
    pub mean_east_m: Figure,
    /// Mean place north of the pad, m.
    pub mean_north_m: Figure,
    /// Covariance of the places; null for a single flight.
    pub covariance: Option<Covariance>,
    /// Ellipses of a bivariate normal, with the share of the flights each really holds.
    pub ellipses: Vec<EllipseFigures>,
    /// Smallest areas that hold a share of the flights, whatever their shape.
    pub regions: Vec<RegionFigures>,
    /// Distance from the pad, m.
    pub distance_m: Figures,
    /// 90 % of the landings keep within, m.
    pub distance_p90_m: Figure,
    /// 99 % of the landings keep within, m.
    pub distance_p99_m: Figure,
    /// Total speed at touchdown, m/s.
    pub speed_m_s: Figures,
    /// Downward speed at touchdown, m/s.
    pub vertical_speed_m_s: Figures,
    /// Airspeed at which the main canopy begins to open, m/s; null without one. No limit is held against it.
    pub main_opening_airspeed_m_s: Option<Figures>,
    /// Median kinetic energy at touchdown, J.
    pub energy_p50_j: Figure,
    /// 95 % of the flights touch down with less, J.
    pub energy_p95_j: Figure,
    /// Chances of more energy than published thresholds.
    pub over_energy: Vec<EnergyAnswer>,
    /// Chance over all flights of coming down inside each named area.
    pub areas: Vec<AreaFigures>,
    /// Chance over all flights of coming down outside every area whose role is "field"; null where there is none.
    pub outside_fields: Option<ChanceFigures>,
}

/// Chance of touching down with more than an energy.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct EnergyAnswer {
    /// The energy, J.
    pub energy_j: Figure,
    /// Where the threshold comes from.
    pub source: &'static str,
    /// The chance, over all flights.
    pub over: ChanceFigures,
}

/// What comes of failures. Each is flown by itself, in every one of a number of flights.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct FailuresAnswer {
    /// Whether the chances of this answer include any.
    pub included: bool,
    /// The same in words.
    pub text: String,
    /// Label of the delay they are flown with: the one with the least chance of `unsafe_opening`.
    pub flown_with: String,
    /// One per failure that this rocket can have.
    pub each: Vec<FailureAnswer>,
}

/// Flights with one failure.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct FailureAnswer {
    /// Its name, as in the request.
    pub failure: &'static str,
    /// What happens.
    pub meaning: &'static str,
    /// Its share of all flights in the chances of this answer.
    pub share: Figure,
    /// Flights flown.
    pub flights: u64,
    /// Chance of an unsafe opening at the condition's limit, given the failure.
    pub unsafe_opening: ChanceFigures,
    /// Where and how it comes down.
    pub landing: Option<LandingFigures>,
    /// The same of a part that falls by itself.
    pub part: Option<LandingFigures>,
}

/// Covariance of landing places.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct Covariance {
    /// East with east, m^2.
    pub east_east_m2: Figure,
    /// North with north, m^2.
    pub north_north_m2: Figure,
    /// East with north, m^2.
    pub east_north_m2: Figure,
}

/// An ellipse about the mean place.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct EllipseFigures {
    /// Share a bivariate normal would have inside.
    pub share_asked: Figure,
    /// Share of the flights really inside.
    pub share_held: Figure,
    /// Half of the long axis, m.
    pub semi_major_m: Figure,
    /// Half of the short axis, m.
    pub semi_minor_m: Figure,
    /// Bearing of the long axis, degrees clockwise from true north, 0 to 180.
    pub bearing_deg: Figure,
}

/// A smallest area that holds a share of the flights.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct RegionFigures {
    /// Share asked.
    pub share_asked: Figure,
    /// Share of the flights inside.
    pub share_held: Figure,
    /// Share expected of fresh flights.
    pub share_expected: Figure,
    /// Area, m^2.
    pub area_m2: Figure,
    /// Its patches.
    pub outline: Vec<Patch>,
}

/// A connected patch. Rings are pairs of metres east and north of the pad; the last equals the first.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Patch {
    /// Outer edge, counter-clockwise seen from above.
    pub exterior_m: Vec<[Figure; 2]>,
    /// Gaps inside it, each clockwise.
    pub holes_m: Vec<Vec<[Figure; 2]>>,
}

/// Chances of a named area.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct AreaFigures {
    /// Its name.
    pub name: String,
    /// What it is; null where that was not said.
    pub role: Option<&'static str>,
    /// Comes down inside.
    pub inside: ChanceFigures,
    /// Comes down outside.
    pub outside: ChanceFigures,
    /// People struck a flight; null where it was not said how many there are.
    pub struck: Option<StruckFigures>,
}

/// People struck a flight, on average. Context for a judgement, not a licence: the hobby's codes set distances, no such
/// figure.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct StruckFigures {
    /// Estimate.
    pub persons_per_flight: Figure,
    /// Lower end of the 95 % interval.
    pub lower: Figure,
    /// Upper end of the 95 % interval.
    pub upper: Figure,
    /// Of the estimate, struck with more than the lowest energy of `over_energy`.
    pub persons_over_energy_per_flight: Figure,
}

/// Leaving the rail.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct RailFigures {
    /// Speed when the last guide leaves, m/s.
    pub exit_speed_m_s: Figures,
    /// Speed when the forward guide leaves, m/s.
    pub forward_guide_speed_m_s: Figures,
    /// Angle of attack when the last guide leaves, degrees.
    pub angle_of_attack_deg: Figures,
    /// Static margin at that angle of attack, calibres.
    pub margin_calibres: Figures,
}

/// The highest point.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct ApogeeFigures {
    /// Height above the pad, m.
    pub height_above_pad_m: Figures,
    /// Seconds after first thrust.
    pub time_s: Figures,
    /// Largest Mach number of the flight.
    pub peak_mach: Figures,
}

/// The slowest instant between burnout and the ground.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct SlowestFigures {
    /// Airspeed there, m/s.
    pub airspeed_m_s: Figures,
    /// Delay after burnout that would open there, s.
    pub delay_s: Figures,
    /// Seconds from apogee; negative before it.
    pub after_apogee_s: Figures,
}

/// What follows for the asked delays. Certainties are those of sampling alone.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct AdviceAnswer {
    /// All of it in words.
    pub text: String,
    /// Limit the condition is about, m/s.
    pub limit_m_s: Figure,
    /// The same, miles per hour.
    pub limit_mph: Figure,
    /// Largest chance of `unsafe_opening` that meets the condition.
    pub condition_chance: Figure,
    /// Delays whose interval of `unsafe_opening` ends at or below it, by their labels.
    pub meets: Vec<String>,
    /// The delay with the least chance of `unsafe_opening`, by its label; "none" when no delay is lower than another.
    pub lowest: String,
    /// Probability, from sampling alone, that it really has the least; null with a single one and when none is lower.
    pub lowest_certainty: Figure,
    /// Label of the lowest if it meets the condition; else, and when none is lower, "none".
    pub best: String,
    /// The best delay of a motor's charge, asked or not, from `delay_curve`; null where there is no curve.
    pub between: Option<BetweenAnswer>,
}

/// The best delay of a motor's charge that deploys alone, asked or not, and the delays that meet the condition. A motor's
/// delay may be trimmed only as its maker says.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct BetweenAnswer {
    /// All of it in words.
    pub text: String,
    /// Delay with the least chance of `unsafe_opening`, s: the middle of those that differ by less than 0.01 points.
    pub best_delay_s: Figure,
    /// Delay of the curve next to it, s.
    pub at_delay_s: Figure,
    /// The chance there.
    pub unsafe_opening: ChanceFigures,
    /// From the first to the last delay around it whose interval overlaps its own, s: any of them may be as good.
    pub as_good_from_s: Figure,
    /// See `as_good_from_s`.
    pub as_good_to_s: Figure,
    /// Chance with a delay one second shorter; null where the curve does not reach so far.
    pub one_second_early: Figure,
    /// Chance with a delay one second longer; null where the curve does not reach so far.
    pub one_second_late: Figure,
    /// Delays whose upper end of the interval meets the condition.
    pub meets: Vec<StretchAnswer>,
    /// Delays whose lower end does. Outside of these the condition is not met.
    pub may_meet: Vec<StretchAnswer>,
}

/// Delays without a gap, their ends on straight lines between the points of the curve.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct StretchAnswer {
    /// Shortest, s.
    pub from_s: Figure,
    /// Longest, s.
    pub to_s: Figure,
    /// Whether it begins only because the curve does.
    pub goes_on_before: bool,
    /// Whether it ends only because the curve does.
    pub goes_on_after: bool,
}

/// The chances when one thing about the model is off.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ModelMove {
    /// What is off and by how much.
    pub what: &'static str,
    /// Flights flown both ways, with the same draws.
    pub flights: u64,
    /// How its chances were made.
    pub estimator: &'static str,
    /// Per way of deploying, at the advice's limit.
    pub unsafe_opening: Vec<MovedChance>,
}

/// A chance as modelled and when something is off.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct MovedChance {
    /// Which way of deploying.
    pub label: String,
    /// Chance as modelled.
    pub as_modelled: Figure,
    /// Chance when off.
    pub when_off: Figure,
    /// Chance as modelled in words, ready to show.
    pub as_modelled_text: String,
    /// Chance when off in words.
    pub when_off_text: String,
}

/// What drives the answer: Sobol' indices of groups of inputs.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DriversAnswer {
    /// What the indices mean and what they do not.
    pub meaning: &'static str,
    /// Base flights: each makes one set.
    pub base_flights: u64,
    /// Flights flown for them.
    pub flights: u64,
    /// How the intervals were made.
    pub interval_method: &'static str,
    /// One per way of deploying, in the order asked.
    pub delays: Vec<DelayDrivers>,
}

/// What drives one way of deploying.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DelayDrivers {
    /// Which way of deploying.
    pub label: String,
    /// Airspeed at ejection, m/s.
    pub ejection_airspeed_m_s: DriverFigures,
    /// Unsafe opening at the advice's limit: 1 if it happens, 0 if not.
    pub unsafe_opening: DriverFigures,
    /// Distance of the landing from the pad, m.
    pub landing_distance_m: DriverFigures,
}

/// What drives one quantity.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DriverFigures {
    /// Standard deviation, in the unit of the quantity; null when no index is given.
    pub standard_deviation: Figure,
    /// Why no index is given; null when there are some.
    pub none_because: Option<String>,
    /// Sum of the first-order indices: well under 1, inputs act together. Null when no index is given.
    pub first_order_sum: Option<IndexFigures>,
    /// Every group of inputs, the largest total index first; empty when no index is given.
    pub inputs: Vec<InputDriver>,
}

/// What one group of inputs does to a quantity.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct InputDriver {
    /// The group: mean_wind, gusts, motor, delay, drag, mass_and_balance, stability, rail_angle,
    /// misalignment_and_roll, recovery, altimeter or air.
    pub input: &'static str,
    /// What belongs to it.
    pub meaning: &'static str,
    /// Sets of flights that have the quantity.
    pub sets: u64,
    /// First-order index: part of the variance that would vanish if this alone were known.
    pub first_order: IndexFigures,
    /// Total index: part of the variance that would stay if all else were known.
    pub total: IndexFigures,
    /// Worth measuring: by which share the standard deviation would shrink if this alone were known, the root of the mean
    /// square over what it may turn out to be.
    pub narrows_by_share: IndexFigures,
}

/// A figure with its 95 % interval. Noise below 0, above 1 and, of a first-order index, above the total one is cut off;
/// a sum is one of figures before that.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct IndexFigures {
    /// The figure.
    pub estimate: Figure,
    /// Lower end.
    pub lower: Figure,
    /// Upper end.
    pub upper: Figure,
}

/// Something to mind.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CautionAnswer {
    /// What it is about; stable for programs.
    pub topic: &'static str,
    /// What was found and what to do.
    pub message: String,
    /// The published rule or common practice behind it, with how far it was verified.
    pub rule: &'static str,
}

/// A default that was used.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct AssumedInput {
    /// The input that was not given.
    pub input: &'static str,
    /// What was taken instead.
    pub value: String,
    /// Where that comes from, or that it is an assumption.
    pub source: &'static str,
}

/// Outcomes that are rarer get no line where outcomes are listed for people.
pub const RARE_OUTCOME: f64 = 1e-4;

/// How many flights end in an outcome, for people.
pub fn of_flights(share: f64) -> String {
    if share < 1.0 - 0.5 * RARE_OUTCOME {
        format!("{} % of flights", percent_digits(share))
    } else {
        "all flights".into()
    }
}

/// What is not listed of the outcomes of so many flights: each by its name and share.
pub fn unlisted<'a>(mut outcomes: impl Iterator<Item = (&'a str, f64)>, flights: u64) -> String {
    if outcomes.any(|(outcome, share)| outcome != "opened" && share > 0.0) {
        format!("What happens in less than {} % of the flights is left out.", percent_digits(RARE_OUTCOME))
    } else {
        format!("None of the {flights} flights.")
    }
}

/// Inputs whose total index ends below this get no line where drivers are listed for people.
pub const LEAST_INDEX: f64 = 0.01;

/// One flight of an assessment, flown again.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct FlightAnswer {
    /// The first caution. Show it before anything else.
    pub caution: &'static str,
    /// The assessment it belongs to.
    pub id: String,
    /// Name of the rocket.
    pub name: String,
    /// Index of the flight.
    pub flight: u64,
    /// When the last guide left the rail; null when none did.
    pub rail_exit: Option<RailExitFigures>,
    /// Highest point above the pad, m.
    pub apogee_height_above_pad_m: Figure,
    /// Its time, s after first thrust.
    pub apogee_s: Figure,
    /// Largest Mach number.
    pub peak_mach: Figure,
    /// The slowest instant between burnout and the ground; null when it never left the rail.
    pub slowest: Option<SlowestInstant>,
    /// What became of it, one per way of deploying.
    pub delays: Vec<FlownDelay>,
    /// What failed, by its name in the request; null when nothing did.
    pub failure: Option<&'static str>,
    /// What was drawn.
    pub drawn: Vec<DrawnFigure>,
    /// The path without deployment.
    pub path: Vec<PathFigures>,
}

/// Leaving the rail in one flight.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct RailExitFigures {
    /// Seconds after first thrust.
    pub time_s: Figure,
    /// Speed, m/s.
    pub speed_m_s: Figure,
    /// Speed when the forward guide left, m/s.
    pub forward_guide_speed_m_s: Figure,
    /// Angle of attack, degrees.
    pub angle_of_attack_deg: Figure,
    /// Centre of pressure behind the centre of gravity at that angle of attack, m.
    pub margin_m: Figure,
}

/// The slowest instant of one flight.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct SlowestInstant {
    /// Airspeed, m/s.
    pub airspeed_m_s: Figure,
    /// Delay after burnout that would open there, s.
    pub delay_s: Figure,
    /// Seconds after apogee; negative before it.
    pub after_apogee_s: Figure,
}

/// One way of deploying in one flight.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct FlownDelay {
    /// What it is, in words.
    pub label: String,
    /// What became of it.
    pub outcome: &'static str,
    /// What that means.
    pub meaning: &'static str,
    /// The ejection, if there was one in the air.
    pub ejection: Option<EjectionInstant>,
    /// How it came down, if it flew.
    pub landing: Option<Touchdown>,
    /// The same of a part that fell by itself.
    pub part: Option<Touchdown>,
}

/// The ejection of one flight.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct EjectionInstant {
    /// Seconds after first thrust.
    pub time_s: Figure,
    /// Seconds after apogee; negative before it.
    pub after_apogee_s: Figure,
    /// Airspeed, m/s.
    pub airspeed_m_s: Figure,
    /// Upward speed, m/s.
    pub vertical_speed_m_s: Figure,
    /// Horizontal part of the airspeed, m/s.
    pub horizontal_airspeed_m_s: Figure,
    /// Height above the pad, m.
    pub height_above_pad_m: Figure,
    /// Airspeed at line stretch, or at the ground if that comes first, m/s.
    pub line_stretch_airspeed_m_s: Figure,
}

/// Touchdown of one flight.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct Touchdown {
    /// Seconds after first thrust.
    pub time_s: Figure,
    /// East of the pad, m.
    pub east_m: Figure,
    /// North of the pad, m.
    pub north_m: Figure,
    /// Total speed, m/s.
    pub speed_m_s: Figure,
    /// Downward speed, m/s.
    pub vertical_speed_m_s: Figure,
    /// Kinetic energy, J.
    pub energy_j: Figure,
}

/// A drawn input.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct DrawnFigure {
    /// What it is.
    pub input: &'static str,
    /// Its unit; empty for a pure number.
    pub unit: &'static str,
    /// Its value in this flight.
    pub value: Figure,
}

/// A point of a path.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct PathFigures {
    /// Seconds after first thrust.
    pub time_s: Figure,
    /// East of the pad, m.
    pub east_m: Figure,
    /// North of the pad, m.
    pub north_m: Figure,
    /// Height above the pad, m.
    pub height_above_pad_m: Figure,
    /// Airspeed, m/s.
    pub airspeed_m_s: Figure,
    /// Upward speed, m/s.
    pub vertical_speed_m_s: Figure,
    /// Angle of the nose from vertical, degrees.
    pub nose_from_vertical_deg: Figure,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_no_flight_came_to_is_told_by_their_number() {
        let said = |outcomes: &[(&str, f64)]| unlisted(outcomes.iter().copied(), 2000);
        let left_out = "What happens in less than 0.010 % of the flights is left out.";
        assert_eq!(said(&[("opened", 1.0), ("in_boost", 0.0)]), "None of the 2000 flights.");
        assert_eq!(said(&[("opened", 0.999_99), ("in_boost", 0.000_01)]), left_out);
        assert_eq!(said(&[("opened", 0.9), ("in_boost", 0.1)]), left_out);
    }

    #[test]
    fn figures_have_six_digits_and_no_nan() {
        for (x, json) in [
            (44.704, "44.704"),
            (1.0 / 3.0, "0.333333"),
            (-123_456.78, "-123457.0"),
            (1_234_567.8, "1234570.0"),
            (-0.0, "0.0"),
            (f64::NAN, "null"),
            (f64::INFINITY, "null"),
        ] {
            assert_eq!(serde_json::to_string(&Figure(x)).ok().as_deref(), Some(json));
        }
    }

    /// A million numbers of all sizes, those just beside a half, and those whose logarithm is just beside a whole number.
    #[test]
    fn the_quick_way_and_the_way_over_text_come_to_the_same() {
        let mut quick = 0;
        let mut check = |x: f64| {
            let over_text = format!("{x:.5e}").parse::<f64>().ok();
            if let Some(rounded) = quickly_rounded(x) {
                quick += 1;
                assert_eq!(Some(rounded.to_bits()), over_text.map(f64::to_bits), "{x:e}");
            }
        };
        let mut bits = 1_u64;
        for k in 0..1_000_000_i32 {
            // Knuth's multiplier of a congruential generator; its upper bits are good.
            bits = bits.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let part = (bits >> 11) as f64 / (1_u64 << 53) as f64;
            let size = 10_f64.powi(k % 60 - 30);
            check((part - 0.5) * size);
            let half = (100_000.5 + (900_000.0 * part).floor()) * 10_f64.powi(k % 40 - 20);
            for x in [half, half.next_up(), half.next_down(), size, size.next_up(), size.next_down()] {
                check(x);
            }
        }
        for x in [0.0, -0.0, f64::NAN, f64::INFINITY, f64::MIN_POSITIVE, 5e-324, f64::MAX] {
            assert_eq!(quickly_rounded(x), None, "{x}");
        }
        assert!(quick > 2_000_000, "{quick} of 7 million");
    }
}
