//! The answer as JSON: the only way from a report to what a caller reads. Every name carries its unit.
//!
//! Nothing is computed here but units and the texts beside numbers. Numbers are rounded in one place, so that the
//! same report is the same text everywhere.

use serde::{Serialize, Serializer};
use slowpoint_sim::case::{LimitApplies, RuleSet};
use slowpoint_sim::draw::PointSet;
use slowpoint_sim::flight::{Deployed, Deployment, Electronics, Outcome};
use slowpoint_sim::report::{self, FIRST_CAUTION, INTERVAL_NOTE, Report, WayReport};
use slowpoint_sim::stat::histogram::{Digest, Extreme};
use slowpoint_sim::stat::interval::Chance;
use slowpoint_sim::stat::outline::Polygon;
use slowpoint_sim::{Replay, way_label};
use utoipa::openapi::schema::{ObjectBuilder, SchemaType, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use super::Asked;

const MPH_M_S: f64 = 0.447_04;

/// A number of an answer: six significant digits, `null` where there is no finite one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure(pub f64);

impl Figure {
    /// The number as the answer shows it; `None` where there is no finite one.
    pub fn rounded(self) -> Option<f64> {
        // Adding zero turns -0 into 0.
        format!("{:.5e}", self.0).parse::<f64>().ok().filter(|x| x.is_finite()).map(|x| x + 0.0)
    }
}

impl Serialize for Figure {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.rounded().serialize(serializer)
    }
}

impl PartialSchema for Figure {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(SchemaType::from_iter([Type::Number, Type::Null]))
            .description(Some("A number, rounded to six significant digits; null where there is no finite one."))
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
    /// Seed of the draws.
    pub seed: u64,
    /// How inputs were drawn: "sobol" or "random".
    pub points: &'static str,
    /// Whose published limits the cautions quote: "us_model_rocket", "us_high_power" or "own".
    pub rule_set: &'static str,
    /// The limits that openings are held against.
    pub limits: Vec<SpeedLimit>,
    /// Which airspeed they are held against: at "ejection" or at "line_stretch".
    pub limits_apply_to: &'static str,
    /// The flight card's own figures, nothing drawn.
    pub nominal: NominalFigures,
    /// One per way of deploying: first the delays, then the electronics, in the order asked.
    pub delays: Vec<DelayAnswer>,
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
    /// What to mind.
    pub cautions: Vec<CautionAnswer>,
    /// Every default used, with its source.
    pub assumed: Vec<AssumedInput>,
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
}

/// A chance with its interval.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ChanceFigures {
    /// Flights in which it happened over all flights. Show `text` instead where it is 0 or 1.
    pub estimate: Figure,
    /// Lower end of the 95 % interval.
    pub lower: Figure,
    /// Upper end of the 95 % interval.
    pub upper: Figure,
    /// Flights in which it happened.
    pub flights_counted: u64,
    /// All flights.
    pub flights: u64,
    /// The chance in words, ready to show. Never "0 %" or "100 %".
    #[schema(example = "< 0.18 %")]
    pub text: String,
    /// How the estimate was made.
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
    /// Delay of the motor's ejection charge, s.
    pub motor_delay_s: Option<Figure>,
    /// The altimeter.
    pub electronics: Option<ElectronicsAnswer>,
    /// Chances against each limit, over all flights.
    pub limits: Vec<LimitAnswer>,
    /// What became of the flights; their numbers add up to all flights.
    pub outcomes: Vec<OutcomeAnswer>,
    /// At ejection, over the flights that ejected in the air; null when none did.
    pub at_ejection: Option<EjectionFigures>,
    /// On the ground; null when no flight came down.
    pub landing: Option<LandingFigures>,
}

/// The altimeter of one way of deploying.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct ElectronicsAnswer {
    /// "apogee" or "height".
    pub fires_at: &'static str,
    /// Height above the pad, coming down, m.
    pub height_above_pad_m: Option<Figure>,
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
    /// Flights that opened well and not above the limit, ejected before apogee.
    pub under_before_apogee_flights: u64,
    /// The same, ejected after apogee.
    pub under_after_apogee_flights: u64,
    /// Flights over the limit, ejected before apogee.
    pub over_before_apogee_flights: u64,
    /// The same, ejected after apogee.
    pub over_after_apogee_flights: u64,
}

/// How often an outcome happened.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct OutcomeAnswer {
    /// Which: opened, opened_too_low, in_boost, ground_first, never_left_rail, unstable, beyond_sixty_deg,
    /// outside_model or untrusted.
    pub outcome: &'static str,
    /// What that means.
    pub meaning: &'static str,
    /// Flights.
    pub flights: u64,
    /// Of these, ejected before apogee.
    pub before_apogee: u64,
    /// Of these, ejected after apogee.
    pub after_apogee: u64,
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
    /// Chance over all flights of coming down inside each named area.
    pub areas: Vec<AreaFigures>,
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
    /// Comes down inside.
    pub inside: ChanceFigures,
    /// Comes down outside.
    pub outside: ChanceFigures,
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
    /// Largest acceptable chance of `unsafe_opening`.
    pub accept_chance: Figure,
    /// Delays whose interval of `unsafe_opening` ends at or below it, by their labels.
    pub meets: Vec<String>,
    /// The delay with the least chance of `unsafe_opening`, by its label.
    pub lowest: String,
    /// Probability, from sampling alone, that it really has the least; null with a single one.
    pub lowest_certainty: Option<Figure>,
    /// Label of the lowest if it meets the condition; else "none".
    pub best: String,
}

/// The chances when one thing about the model is off.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ModelMove {
    /// What is off and by how much.
    pub what: &'static str,
    /// Flights flown both ways, with the same draws.
    pub flights: u64,
    /// Per way of deploying, at the advice's limit.
    pub unsafe_opening: Vec<MovedChance>,
}

/// A chance as modelled and when something is off.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct MovedChance {
    /// Which way of deploying.
    pub label: String,
    /// Flights counted as modelled.
    pub as_modelled_flights: u64,
    /// Flights counted when off.
    pub when_off_flights: u64,
    /// Both in words.
    pub text: String,
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

/// From a report to the answer.
pub fn answer(id: &str, engine: &str, asked: &Asked, report: &Report) -> Assessment {
    let question = &asked.case.inputs.question;
    let nominal = &asked.case.nominal;
    let labels: Vec<String> = report.ways.iter().map(|w| way_label(&w.way)).collect();
    Assessment {
        caution: FIRST_CAUTION,
        intervals: INTERVAL_NOTE,
        id: id.into(),
        engine: engine.into(),
        name: asked.name.clone(),
        flights: report.flights,
        seed: question.seed,
        points: match question.points {
            PointSet::Sobol => "sobol",
            PointSet::Pseudorandom => "random",
        },
        rule_set: match asked.case.rule_set {
            RuleSet::UsModelRocket => "us_model_rocket",
            RuleSet::UsHighPower => "us_high_power",
            RuleSet::Own { .. } => "own",
        },
        limits: question
            .limits_m_s
            .iter()
            .map(|v| SpeedLimit { limit_m_s: Figure(*v), limit_mph: Figure(v / MPH_M_S) })
            .collect(),
        limits_apply_to: match question.limit_applies {
            LimitApplies::Ejection => "ejection",
            LimitApplies::LineStretch => "line_stretch",
        },
        nominal: NominalFigures {
            impulse_n_s: Figure(nominal.impulse_n_s),
            average_thrust_n: Figure(nominal.average_thrust_n),
            thrust_to_weight: Figure(nominal.thrust_to_weight),
            burn_s: Figure(nominal.burn_s),
            margin_calibres: Figure(nominal.margin_calibres),
        },
        delays: report.ways.iter().zip(&labels).map(|(w, label)| delay(w, label, report.flights)).collect(),
        rail: report.rail.as_ref().map(|r| RailFigures {
            exit_speed_m_s: figures(&r.exit_speed_m_s),
            forward_guide_speed_m_s: figures(&r.forward_guide_speed_m_s),
            angle_of_attack_deg: figures(&r.angle_of_attack_deg),
            margin_calibres: figures(&r.margin_calibres),
        }),
        apogee: report.flight.as_ref().map(|f| ApogeeFigures {
            height_above_pad_m: figures(&f.apogee_m),
            time_s: figures(&f.apogee_s),
            peak_mach: figures(&f.peak_mach),
        }),
        slowest: report.flight.as_ref().map(|f| SlowestFigures {
            airspeed_m_s: figures(&f.slowest_airspeed_m_s),
            delay_s: figures(&f.slowest_delay_s),
            after_apogee_s: figures(&f.slowest_after_apogee_s),
        }),
        above_ceiling: report.above_ceiling.as_ref().map(chance),
        advice: advice(&report.advice, &labels),
        model_moves: report.moves.iter().map(|m| model_move(m, &labels)).collect(),
        cautions: report
            .cautions
            .iter()
            .map(|c| CautionAnswer { topic: c.topic, message: c.message.clone(), rule: c.rule })
            .collect(),
        assumed: report
            .assumed
            .iter()
            .map(|a| AssumedInput { input: a.input, value: a.value.clone(), source: a.source })
            .collect(),
    }
}

/// From a flight flown again to the answer.
pub fn flight(id: &str, index: u64, asked: &Asked, replay: &Replay) -> FlightAnswer {
    let flown = &replay.flown;
    let exit = flown.rail_exit;
    let ways = &asked.case.inputs.question.ways;
    FlightAnswer {
        caution: FIRST_CAUTION,
        id: id.into(),
        name: asked.name.clone(),
        flight: index,
        rail_exit: (!flown.mishaps.never_left_rail).then(|| RailExitFigures {
            time_s: Figure(exit.time_s),
            speed_m_s: Figure(exit.speed_m_s),
            forward_guide_speed_m_s: Figure(exit.forward_speed_m_s),
            angle_of_attack_deg: Figure(exit.angle_of_attack_rad.to_degrees()),
            margin_m: Figure(exit.margin_m),
        }),
        apogee_height_above_pad_m: Figure(flown.apogee_m),
        apogee_s: Figure(flown.apogee_s),
        peak_mach: Figure(flown.peak_mach),
        slowest: flown.slowest.map(|s| SlowestInstant {
            airspeed_m_s: Figure(s.airspeed_m_s),
            delay_s: Figure(s.delay_s),
            after_apogee_s: Figure(s.after_apogee_s),
        }),
        delays: ways.iter().zip(&flown.deployed).map(|(way, d)| flown_delay(way, d)).collect(),
        drawn: replay
            .drawn
            .iter()
            .map(|d| DrawnFigure { input: d.input, unit: d.unit, value: Figure(d.value) })
            .collect(),
        path: replay
            .path
            .iter()
            .map(|p| PathFigures {
                time_s: Figure(p.time_s),
                east_m: Figure(p.east_m),
                north_m: Figure(p.north_m),
                height_above_pad_m: Figure(p.height_above_pad_m),
                airspeed_m_s: Figure(p.airspeed_m_s),
                vertical_speed_m_s: Figure(p.vertical_speed_m_s),
                nose_from_vertical_deg: Figure(p.nose_from_vertical_deg),
            })
            .collect(),
    }
}

/// An outcome's name and what it means.
pub fn outcome(outcome: Outcome) -> (&'static str, &'static str) {
    match outcome {
        Outcome::Opened => ("opened", "opened and slowed to its descent rate"),
        Outcome::OpenedTooLow => ("opened_too_low", "ejected too low to slow to its descent rate before the ground"),
        Outcome::InBoost => ("in_boost", "ejected under thrust or on the rail"),
        Outcome::GroundFirst => ("ground_first", "reached the ground before the ejection"),
        Outcome::NeverLeftRail => ("never_left_rail", "never left the rail"),
        Outcome::Unstable => ("unstable", "unstable or tumbling under thrust"),
        Outcome::BeyondSixtyDeg => ("beyond_sixty_deg", "more than 60 degrees from vertical under thrust"),
        Outcome::OutsideModel => ("outside_model", "beyond the range of the model, so its figures are not to be relied on"),
        Outcome::Untrusted => ("untrusted", "could not be integrated to the required accuracy"),
    }
}

/// A chance in words: "4.1 % (3.2 to 5.2 %)", "< 0.18 %", "> 99.8 %". Never 0 or 100 %.
pub fn chance_text(c: &Chance) -> String {
    if c.flights == 0 {
        return "not known".into();
    }
    if c.hits == 0 {
        return format!("< {} %", percent(c.upper));
    }
    if c.hits == c.flights {
        return format!("> {} %", percent(c.lower));
    }
    let estimate = percent(c.estimate);
    match (c.lower > 0.0, c.upper < 1.0) {
        (true, true) => format!("{estimate} % ({} to {} %)", percent(c.lower), percent(c.upper)),
        (false, true) => format!("{estimate} % (below {} %)", percent(c.upper)),
        (true, false) => format!("{estimate} % (above {} %)", percent(c.lower)),
        (false, false) => format!("{estimate} %"),
    }
}

/// A share strictly between 0 and 1 in per cent, with as many digits as keep it from showing as 0 or 100.
fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    let edge = percent.min(100.0 - percent);
    let places = (0..8).find(|places| edge >= 9.5 * 10f64.powi(-places)).unwrap_or(8) as usize;
    format!("{percent:.places$}")
}

fn chance(c: &Chance) -> ChanceFigures {
    ChanceFigures {
        estimate: Figure(c.estimate),
        lower: Figure(c.lower),
        upper: Figure(c.upper),
        flights_counted: c.hits,
        flights: c.flights,
        text: chance_text(c),
        estimator: "flights counted over all flights",
        interval_method: c.method,
    }
}

fn figures(d: &Digest) -> Figures {
    let extreme = |e: &Extreme| ExtremeFigure { value: Figure(e.value), flight: e.flight };
    Figures {
        flights: d.flights,
        mean: Figure(d.mean),
        p05: Figure(d.p05),
        p25: Figure(d.p25),
        p50: Figure(d.p50),
        p75: Figure(d.p75),
        p95: Figure(d.p95),
        min: extreme(&d.least),
        max: extreme(&d.greatest),
    }
}

fn delay(w: &WayReport, label: &str, flights: u64) -> DelayAnswer {
    debug_assert_eq!(w.outcomes.iter().map(|o| o.flights).sum::<u64>(), flights, "an outcome is missing");
    DelayAnswer {
        label: label.into(),
        motor_delay_s: w.way.motor_delay_s.map(Figure),
        electronics: w.way.electronics.map(|e| match e {
            Electronics::Apogee => ElectronicsAnswer { fires_at: "apogee", height_above_pad_m: None },
            Electronics::Height(m) => ElectronicsAnswer { fires_at: "height", height_above_pad_m: Some(Figure(m)) },
        }),
        limits: w
            .limits
            .iter()
            .map(|l| LimitAnswer {
                limit_m_s: Figure(l.limit_m_s),
                limit_mph: Figure(l.limit_m_s / MPH_M_S),
                over: chance(&l.over),
                unsafe_opening: chance(&l.unsafe_opening),
                under_before_apogee_flights: l.under_before_apogee,
                under_after_apogee_flights: l.under_after_apogee,
                over_before_apogee_flights: l.over_before_apogee,
                over_after_apogee_flights: l.over_after_apogee,
            })
            .collect(),
        outcomes: w
            .outcomes
            .iter()
            .map(|o| {
                let (name, meaning) = outcome(o.outcome);
                OutcomeAnswer {
                    outcome: name,
                    meaning,
                    flights: o.flights,
                    before_apogee: o.before_apogee,
                    after_apogee: o.after_apogee,
                }
            })
            .collect(),
        at_ejection: w.ejection.as_ref().map(|e| EjectionFigures {
            airspeed_m_s: figures(&e.airspeed_m_s),
            vertical_speed_m_s: figures(&e.vertical_speed_m_s),
            horizontal_airspeed_m_s: figures(&e.horizontal_airspeed_m_s),
            height_above_pad_m: figures(&e.height_above_pad_m),
            after_apogee_s: figures(&e.after_apogee_s),
            line_stretch_airspeed_m_s: figures(&e.line_stretch_airspeed_m_s),
        }),
        landing: w.landing.as_ref().map(landing),
    }
}

fn landing(l: &report::LandingReport) -> LandingFigures {
    LandingFigures {
        flights: l.flights,
        mean_east_m: Figure(l.mean_east_m),
        mean_north_m: Figure(l.mean_north_m),
        covariance: l.covariance_m2.map(|[ee, nn, en]| Covariance {
            east_east_m2: Figure(ee),
            north_north_m2: Figure(nn),
            east_north_m2: Figure(en),
        }),
        ellipses: l
            .ellipses
            .iter()
            .map(|e| EllipseFigures {
                share_asked: Figure(e.share_asked),
                share_held: Figure(e.share_held),
                semi_major_m: Figure(e.semi_major_m),
                semi_minor_m: Figure(e.semi_minor_m),
                bearing_deg: Figure(e.bearing_deg),
            })
            .collect(),
        regions: l
            .regions
            .iter()
            .map(|r| RegionFigures {
                share_asked: Figure(r.share_asked),
                share_held: Figure(r.share_held),
                share_expected: Figure(r.share_expected),
                area_m2: Figure(r.area_m2),
                outline: r.outline.iter().map(patch).collect(),
            })
            .collect(),
        distance_m: figures(&l.distance_m),
        distance_p90_m: Figure(l.distance_p90_m),
        distance_p99_m: Figure(l.distance_p99_m),
        speed_m_s: figures(&l.speed_m_s),
        vertical_speed_m_s: figures(&l.vertical_speed_m_s),
        areas: l
            .areas
            .iter()
            .map(|a| AreaFigures { name: a.name.clone(), inside: chance(&a.inside), outside: chance(&a.outside) })
            .collect(),
    }
}

fn patch(p: &Polygon) -> Patch {
    let ring = |points: &Vec<(f64, f64)>| points.iter().map(|(e, n)| [Figure(*e), Figure(*n)]).collect();
    Patch { exterior_m: ring(&p.exterior), holes_m: p.holes.iter().map(ring).collect() }
}

fn flown_delay(way: &Deployment, d: &Deployed) -> FlownDelay {
    let (name, meaning) = outcome(d.outcome);
    FlownDelay {
        label: way_label(way),
        outcome: name,
        meaning,
        ejection: d.ejection.map(|e| EjectionInstant {
            time_s: Figure(e.time_s),
            after_apogee_s: Figure(e.after_apogee_s),
            airspeed_m_s: Figure(e.airspeed_m_s),
            vertical_speed_m_s: Figure(e.vertical_speed_m_s),
            horizontal_airspeed_m_s: Figure(e.horizontal_airspeed_m_s),
            height_above_pad_m: Figure(e.height_m),
            line_stretch_airspeed_m_s: Figure(e.stretch_airspeed_m_s),
        }),
        landing: d.landing.map(|l| Touchdown {
            time_s: Figure(l.time_s),
            east_m: Figure(l.east_m),
            north_m: Figure(l.north_m),
            speed_m_s: Figure(l.speed_m_s),
            vertical_speed_m_s: Figure(l.vertical_speed_m_s),
        }),
    }
}

fn advice(a: &report::Advice, labels: &[String]) -> AdviceAnswer {
    let label = |k: usize| labels.get(k).cloned().unwrap_or_default();
    let meets: Vec<String> = a.meets.iter().map(|k| label(*k)).collect();
    let lowest = label(a.lowest);
    let condition = format!(
        "at most {} % of flights with an unsafe opening at {:.1} m/s ({:.0} mph), upper end of the interval",
        percent(a.accept_chance),
        a.limit_m_s,
        a.limit_m_s / MPH_M_S
    );
    let mut text = if meets.is_empty() {
        format!("None of the asked delays meets the condition ({condition}).")
    } else {
        format!("Meets the condition ({condition}): {}.", meets.join("; "))
    };
    text += &format!(" Lowest chance: {lowest}");
    text += &match a.lowest_certainty {
        Some(p) if p > 0.9995 => ", certain to more than 99.9 % as far as sampling goes.".to_string(),
        Some(p) => format!(", certain to {:.*} % as far as sampling goes.", if p < 0.995 { 0 } else { 1 }, 100.0 * p),
        None => ", the only one asked.".to_string(),
    };
    let best = a.best.map_or("none".to_string(), label);
    text += &format!(" Best: {best}.");
    AdviceAnswer {
        text,
        limit_m_s: Figure(a.limit_m_s),
        limit_mph: Figure(a.limit_m_s / MPH_M_S),
        accept_chance: Figure(a.accept_chance),
        meets,
        lowest,
        lowest_certainty: a.lowest_certainty.map(Figure),
        best,
    }
}

fn model_move(m: &report::Move, labels: &[String]) -> ModelMove {
    let count = |share: f64| (share * m.flights as f64).round() as u64;
    ModelMove {
        what: m.what,
        flights: m.flights,
        unsafe_opening: m
            .unsafe_opening
            .iter()
            .zip(labels)
            .map(|([modelled, off], label)| {
                let (modelled, off) = (count(*modelled), count(*off));
                MovedChance {
                    label: label.clone(),
                    as_modelled_flights: modelled,
                    when_off_flights: off,
                    text: format!("{modelled} of {0} flights as modelled, {off} of {0} when off", m.flights),
                }
            })
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slowpoint_sim::stat::interval;

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

    #[test]
    fn chances_are_never_0_or_100_percent() {
        for (hits, flights, text) in [
            (0, 2000, "< 0.18 %"),
            (2000, 2000, "> 99.82 %"),
            (82, 2000, "4.1 % (3.3 to 5.1 %)"),
            (0, 0, "not known"),
            (1, 1_000_000, "0.00010 % (0.0000025 to 0.00056 %)"),
        ] {
            assert_eq!(chance_text(&interval::chance(&[(hits, flights)], PointSet::Pseudorandom)), text);
        }
        for n in [64_u64, 1000, 1_000_000] {
            for hits in [0, 1, 2, n / 3, n - 2, n - 1, n] {
                let text = chance_text(&interval::chance(&[(hits, n)], PointSet::Pseudorandom));
                for part in text.split([' ', '(']) {
                    assert!(!part.parse::<f64>().is_ok_and(|x| x <= 0.0 || x >= 100.0), "{hits} of {n}: {text}");
                }
            }
        }
    }
}
