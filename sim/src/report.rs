//! The answer as plain data. Every number carries its unit in its name.

use crate::advise::Standing;
use crate::assumption::Assumption;
use crate::calibration::Learned;
use crate::case::{Logged, RareEvent, Role};
use crate::cord::Wall;
use crate::draw::Group;
use crate::drivers::Drivers;
use crate::flight::{Deployment, Failure, Outcome};
use crate::stat::histogram::Digest;
use crate::stat::interval::{Chance, Estimator};
use crate::stat::outline::Polygon;
use crate::stat::paired::Compared;

/// Stands before everything else, wherever an answer is shown.
pub const FIRST_CAUTION: &str =
    "An estimate from the listed assumptions. It approves no flight. Local codes and the range safety officer decide.";

/// What the intervals cover.
pub const INTERVAL_NOTE: &str = "Intervals are 95 % and cover sampling only, not errors of the model: see how the chances move when centre of pressure, drag and wind are off.";

/// What ending on the width of the intervals does to them.
pub const UNTIL_NOTE: &str = "The intervals of all delays and limits are looked at after 256, 512, 1024 ... flights and after the most that are allowed. Who stops at the first narrow ones picks some that are narrow by chance: so each is made at 96.5 %, which leaves 93 % or more.";

/// Decimals of a share in per cent: two digits counted from the nearer end, so that neither 0 nor 100 is ever
/// printed of a share strictly between.
pub fn percent_places(share: f64) -> usize {
    let edge = (100.0 * share).min(100.0 - 100.0 * share);
    (0..8).find(|p| edge >= 9.5 * libm::pow(10.0, -f64::from(*p))).unwrap_or(8) as usize
}

/// Decimals of a share in per cent that show how far it is from another: the fewest in which the two differ by one.
pub fn places_apart(share: f64, other: f64) -> usize {
    let apart = 100.0 * (share - other).abs();
    (0..8).find(|p| apart >= libm::pow(10.0, -f64::from(*p))).unwrap_or(8) as usize
}

/// A share strictly between 0 and 1 in per cent, without the sign.
pub fn percent_digits(share: f64) -> String {
    format!("{:.*}", percent_places(share), 100.0 * share)
}

/// A bound from above that is to hold, rounded up to so many decimals.
pub fn percent_up(share: f64, places: usize) -> String {
    rounded(share, places, libm::ceil)
}

/// A bound from below that is to hold, rounded down.
pub fn percent_down(share: f64, places: usize) -> String {
    rounded(share, places, libm::floor)
}

fn rounded(share: f64, places: usize, to_whole: fn(f64) -> f64) -> String {
    let scale = libm::pow(10.0, places as f64);
    format!("{:.places$}", to_whole(100.0 * share * scale) / scale)
}

/// A bound from above, with the decimals of a share.
pub fn percent_digits_up(share: f64) -> String {
    percent_up(share, percent_places(share))
}

/// A bound from below, with the decimals of a share.
pub fn percent_digits_down(share: f64) -> String {
    percent_down(share, percent_places(share))
}

/// The whole answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// Flights flown.
    pub flights: u64,
    /// Where it ended, if it was to end once the intervals are narrow enough.
    pub until: Option<UntilReport>,
    /// Chance that a flight rises above the ceiling, if one was given.
    pub above_ceiling: Option<Chance>,
    /// One per way of deploying, in the order asked.
    pub ways: Vec<WayReport>,
    /// The chances against the delay of a motor's charge that deploys alone; empty where there is no such way, or where
    /// failures have a share.
    pub delay_curve: Vec<CurvePoint>,
    /// How those chances were made.
    pub curve_estimator: Estimator,
    /// Leaving the rail; `None` when no flight did.
    pub rail: Option<RailReport>,
    /// Highest points and the slowest instant; `None` when no flight left the rail.
    pub flight: Option<FlightReport>,
    /// What follows for the asked ways of deploying.
    pub advice: Advice,
    /// How the chances move when the model is off.
    pub moves: Vec<Move>,
    /// What comes of failures.
    pub failures: FailuresReport,
    /// What drives the answer, if that was asked.
    pub drivers: Option<Drivers>,
    /// Cord and tube edge, if that was asked.
    pub cords: Option<CordsReport>,
    /// The wind up to which the condition is met, if that was asked.
    pub wind_limit: Option<WindLimit>,
    /// A setting of the rail that lands better, if that was asked.
    pub rail_advice: Option<RailAdvice>,
    /// What was learned from flights that were flown, if there are some.
    pub calibration: Option<CalibrationReport>,
    /// Chances that were sought because they are too rare to count, in the order asked.
    pub rare: Vec<RareReport>,
    /// What to mind, with the published rule beside it.
    pub cautions: Vec<Caution>,
    /// Every default used.
    pub assumed: Vec<Assumption>,
}

/// What was learned from flights that were flown.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationReport {
    /// Whether the flights of this answer are drawn from it.
    pub refused: Option<Refused>,
    /// Flights drawn, of all conditions.
    pub drawn: u64,
    /// Standard error of bias and scatter for the number of flights drawn, over what all logs leave open: the largest.
    pub sampling_error: f64,
    /// Sets of bias and scatter that agree with all logs, as sets of one weight.
    pub effective_sets: f64,
    /// The flights flown, in the order given.
    pub flown: Vec<FlownReport>,
    /// Drag, impulse and wind, as far as anything could be learned of them.
    pub learned: Vec<LearnedReport>,
}

impl CalibrationReport {
    /// The flight flown that is hardest to meet, by its index, and the drawn ones that agree with it, as flights of one weight.
    pub fn hardest(&self) -> Option<(usize, f64)> {
        let met = self.flown.iter().map(|flown| flown.effective_flights).enumerate();
        met.min_by(|a, b| a.1.total_cmp(&b.1))
    }
}

/// Why nothing is drawn from what was learned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Refused {
    /// Hardly any flight that was drawn agrees with the log of the flight of this index.
    Flights(usize),
    /// Every log is met by flights enough, and all of them together by too few.
    Together,
    /// Hardly any set of bias and scatter agrees with all logs.
    Sets,
}

/// A flight that was flown, against flights drawn in its conditions.
#[derive(Debug, Clone, PartialEq)]
pub struct FlownReport {
    /// Index of its conditions.
    pub condition: usize,
    /// Index of its way of deploying among theirs.
    pub way: usize,
    /// Drawn flights that agree with it, as flights of one weight.
    pub effective_flights: f64,
    /// What was logged.
    pub logged: Vec<LoggedReport>,
}

/// A figure that was logged, against 5, 50 and 95 % of drawn flights.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoggedReport {
    /// Of what.
    pub log: Logged,
    /// Its value.
    pub value: f64,
    /// Its standard error.
    pub error: f64,
    /// Before anything was learned.
    pub before: [f64; 3],
    /// After it; `None` where it is not used.
    pub after: Option<[f64; 3]>,
}

impl LoggedReport {
    /// Whether it lies among 90 % of flights drawn after it, give or take two standard errors.
    pub fn stands_within(&self) -> Option<bool> {
        let [low, _, high] = self.after?;
        let reach = 2.0 * self.error;
        Some((low - reach..=high + reach).contains(&self.value))
    }
}

/// One input, before and after: 5, 50 and 95 % each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LearnedReport {
    /// Which.
    pub learned: Learned,
    /// What its law draws as it was given or assumed.
    pub before: [f64; 3],
    /// What was learned of it; `None` where it is not used.
    pub after: Option<LearnedAfter>,
}

/// What was learned of an input: 5, 50 and 95 % each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LearnedAfter {
    /// What all flights have in common.
    pub common: [f64; 3],
    /// What the next flight draws.
    pub next: [f64; 3],
    /// Scatter from flight to flight, over the standard deviation of its law.
    pub scatter: [f64; 3],
}

/// A chance that was sought where it happens.
#[derive(Debug, Clone, PartialEq)]
pub struct RareReport {
    /// Of what.
    pub event: RareEvent,
    /// Index of the way of deploying.
    pub way: usize,
    /// The chance, from its own flights.
    pub chance: Chance,
    /// All that is told of it where it lies below what the laws of the inputs can bear: less than this.
    pub below: Option<f64>,
    /// Flights of the search on top of them.
    pub searched: u64,
    /// Counted flights that would know it as well; `None` where it was hardly seen.
    pub counted_alike: Option<f64>,
    /// What made it happen, the farthest moved first.
    pub moved: Vec<RareMove>,
}

/// A group of inputs in the flights in which something rare happens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RareMove {
    /// Which.
    pub group: Group,
    /// How far their means lie from what was expected, in standard deviations together.
    pub deviations: f64,
}

/// What one setting among many comes to: chances and landings, nothing else.
#[derive(Debug, Clone, PartialEq)]
pub struct CellReport {
    /// Flights flown.
    pub flights: u64,
    /// Where it ended, if it was to end once the intervals are narrow enough.
    pub until: Option<UntilReport>,
    /// Chance that a flight rises above the ceiling, if one was given.
    pub above_ceiling: Option<Chance>,
    /// One per way of deploying, in the order asked; landings without ellipses and regions.
    pub ways: Vec<WayReport>,
    /// What follows for the asked ways of deploying.
    pub advice: Advice,
}

/// The case at winds from calm upwards.
#[derive(Debug, Clone, PartialEq)]
pub struct WindLimit {
    /// The mean wind 10 m above ground as given, m/s.
    pub reported_m_s: f64,
    /// Whether the given winds were stretched; where they are hardly any, a surface wind of no certain direction was put in
    /// their place.
    pub stretched: bool,
    /// Flights at each wind.
    pub flights: u64,
    /// The winds at 10 m that were flown, m/s, rising.
    pub winds_m_s: Vec<f64>,
    /// One per way of deploying.
    pub ways: Vec<WindStretch>,
}

/// One way of deploying at winds from calm upwards.
#[derive(Debug, Clone, PartialEq)]
pub struct WindStretch {
    /// Chance of `unsafe_opening` at the advice's limit, per wind.
    pub chances: Vec<Chance>,
    /// The weakest winds without a gap whose upper end of the interval meets the condition.
    pub meets_m_s: Option<Span>,
    /// The strongest winds without a gap whose lower end does: in stronger ones the condition is not met.
    pub may_meet_m_s: Option<Span>,
}

/// Settings of the rail.
#[derive(Debug, Clone, PartialEq)]
pub struct RailAdvice {
    /// Index of the way of deploying that they are flown with.
    pub way: usize,
    /// Flights at each.
    pub flights: u64,
    /// The one given; `None` where nothing came down.
    pub given: Option<RailSetting>,
    /// The one that lands best (outside every field least often; with no field, nearest to the pad) among those whose interval
    /// of unsafe openings ends no higher than that of the given one; `None` where none of these lands better than it.
    pub best: Option<RailSetting>,
    /// The best one degree nearer to vertical.
    pub steeper: Option<RailSetting>,
    /// The best one degree farther from it.
    pub flatter: Option<RailSetting>,
    /// All that were tried.
    pub tried: Vec<RailSetting>,
}

/// A setting of the rail and what it comes to.
#[derive(Debug, Clone, PartialEq)]
pub struct RailSetting {
    /// From vertical, rad.
    pub tilt_rad: f64,
    /// Direction the rail leans towards, rad clockwise from true north.
    pub azimuth_rad: f64,
    /// Chance of an unsafe opening at the advice's limit.
    pub unsafe_opening: Chance,
    /// Chance of coming down outside every field, where there is one.
    pub outside_fields: Option<Chance>,
    /// Distance that 90 % of landings keep within, m.
    pub distance_p90_m: f64,
}

/// Flights that end once the intervals are narrow enough.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UntilReport {
    /// Half-width that was asked for.
    pub half_width: f64,
    /// The most flights that were allowed.
    pub within: u64,
    /// The widest half-width at the end, among the chances of every way of deploying against every limit.
    pub widest_half_width: f64,
    /// Whether that is narrow enough.
    pub reached: bool,
}

/// One way of deploying.
#[derive(Debug, Clone, PartialEq)]
pub struct WayReport {
    /// What it is.
    pub way: Deployment,
    /// How its chances and shares were made; the landing has its own.
    pub estimator: Estimator,
    /// Chances against each limit.
    pub limits: Vec<LimitReport>,
    /// Every outcome that may have happened; their shares add up to 1.
    pub outcomes: Vec<OutcomeShare>,
    /// At ejection, over the law of firing in the flights that ejected in the air, whatever else went wrong, untrusted ones left out.
    pub ejection: Option<EjectionReport>,
    /// On the ground, fired as drawn, over the flights that flew, whatever went wrong, untrusted ones left out.
    pub landing: Option<LandingReport>,
}

/// What is known while it is still flown.
#[derive(Debug, Clone, PartialEq)]
pub struct Glimpse {
    /// Flights so far.
    pub flights: u64,
    /// Per way of deploying its chances against each limit, each with the interval of so many flights.
    pub ways: Vec<Vec<LimitReport>>,
}

/// Chances against one limit. Over all flights, never only over those that opened.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitReport {
    /// The limit, m/s.
    pub limit_m_s: f64,
    /// Ejected faster than the limit.
    pub over: Chance,
    /// Ejected faster than the limit, or did not open well for any other reason.
    pub unsafe_opening: Chance,
    /// Share of flights that opened well and not above the limit, ejected before apogee.
    pub under_before_apogee: f64,
    /// The same, ejected after apogee.
    pub under_after_apogee: f64,
    /// Share of flights over the limit, ejected before apogee.
    pub over_before_apogee: f64,
    /// The same, ejected after apogee.
    pub over_after_apogee: f64,
}

/// How often an outcome happens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutcomeShare {
    /// Which.
    pub outcome: Outcome,
    /// Share of all flights.
    pub share: f64,
    /// Of it, ejected before apogee.
    pub before_apogee: f64,
    /// Of it, ejected after apogee.
    pub after_apogee: f64,
}

/// The chances at one delay of a motor's charge, asked or not.
#[derive(Debug, Clone, PartialEq)]
pub struct CurvePoint {
    /// The delay, s.
    pub delay_s: f64,
    /// The airspeed that limits are held against, over the flights that eject in the air, each at four points of its law,
    /// m/s. `None` where none does, and at delays between those that it is made for.
    pub airspeed_m_s: Option<Quantiles>,
    /// Against each limit.
    pub limits: Vec<CurveChance>,
}

/// Quantiles of one quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantiles {
    /// 5 % stay below.
    pub p05: f64,
    /// Lower quartile.
    pub p25: f64,
    /// Median.
    pub p50: f64,
    /// Upper quartile.
    pub p75: f64,
    /// 95 % stay below.
    pub p95: f64,
}

impl Quantiles {
    /// With each turned into something else.
    pub fn each(self, of: impl Fn(f64) -> f64) -> Self {
        let Self { p05, p25, p50, p75, p95 } = self;
        Self { p05: of(p05), p25: of(p25), p50: of(p50), p75: of(p75), p95: of(p95) }
    }

    /// From what stays below a share; `None` where that is not known.
    pub fn of(quantile: impl Fn(f64) -> Option<f64>) -> Option<Self> {
        Some(Self {
            p05: quantile(0.05)?,
            p25: quantile(0.25)?,
            p50: quantile(0.50)?,
            p75: quantile(0.75)?,
            p95: quantile(0.95)?,
        })
    }
}

/// Cord and tube edge.
#[derive(Debug, Clone, PartialEq)]
pub struct CordsReport {
    /// Flights that they were worked out for.
    pub flights: u64,
    /// What the edge bears.
    pub wall: Wall,
    /// Names of the arrangements.
    pub arrangements: Vec<String>,
    /// Per way of deploying and arrangement.
    pub ways: Vec<Vec<PullReport>>,
}

/// The hardest pull on one arrangement, deployed one way.
#[derive(Debug, Clone, PartialEq)]
pub struct PullReport {
    /// Peak tension over the flights that eject in the air, each at four points of its law, N. `None` where none does.
    pub tension_n: Option<Quantiles>,
    /// Load on the tube's edge per bearing width, N/m.
    pub edge_load_n_m: Option<Quantiles>,
    /// Chance over all flights that the edge tears.
    pub tears: Chance,
    /// The same, were the resistance so many times what it is taken to be.
    pub tears_if_wall_off: Vec<(f64, Chance)>,
    /// Chance over all flights that any part of the cord breaks.
    pub breaks: Chance,
    /// The chance that it tears against that of the first arrangement on the same flights; `None` of the first.
    pub against_first: Option<Compared>,
}

/// The chances against one limit at one delay. Each interval is that of this point alone.
#[derive(Debug, Clone, PartialEq)]
pub struct CurveChance {
    /// The limit, m/s.
    pub limit_m_s: f64,
    /// Ejected faster than the limit.
    pub over: Chance,
    /// Ejected faster than the limit, or did not open well for any other reason.
    pub unsafe_opening: Chance,
}

/// At ejection.
#[derive(Debug, Clone, PartialEq)]
pub struct EjectionReport {
    /// Airspeed, m/s.
    pub airspeed_m_s: Digest,
    /// Upward speed, m/s.
    pub vertical_speed_m_s: Digest,
    /// Horizontal part of the airspeed, m/s.
    pub horizontal_airspeed_m_s: Digest,
    /// Height above the pad, m.
    pub height_above_pad_m: Digest,
    /// Seconds after apogee; negative before it.
    pub after_apogee_s: Digest,
    /// Airspeed at line stretch, m/s.
    pub line_stretch_airspeed_m_s: Digest,
}

/// On the ground.
#[derive(Debug, Clone, PartialEq)]
pub struct LandingReport {
    /// How its figures were made.
    pub estimator: Estimator,
    /// Flights that came down.
    pub flights: u64,
    /// Mean place east of the pad, m.
    pub mean_east_m: f64,
    /// Mean place north of the pad, m.
    pub mean_north_m: f64,
    /// Covariance: east-east, north-north, east-north, m^2; `None` for a single flight.
    pub covariance_m2: Option<[f64; 3]>,
    /// Ellipses of a bivariate normal, with the share of the flights each really holds.
    pub ellipses: Vec<EllipseReport>,
    /// Smallest areas that hold a share of the flights, whatever their shape.
    pub regions: Vec<RegionReport>,
    /// Distance from the pad, m.
    pub distance_m: Digest,
    /// Distance that 90, 95 and 99 % of landings keep within, m.
    pub distance_p90_m: f64,
    /// See `distance_p90_m`.
    pub distance_p99_m: f64,
    /// Total speed at touchdown, m/s.
    pub speed_m_s: Digest,
    /// Downward speed at touchdown, m/s.
    pub vertical_speed_m_s: Digest,
    /// Airspeed at which the main canopy began to open, m/s, where there is one. No limit is held against it.
    pub main_opening_airspeed_m_s: Option<Digest>,
    /// Kinetic energy at touchdown.
    pub energy: EnergyReport,
    /// Chance over all flights of coming down inside each named area.
    pub areas: Vec<AreaReport>,
    /// Chance over all flights of coming down outside every area that is a field, where there is one.
    pub outside_fields: Option<Chance>,
}

/// Kinetic energy at touchdown, of the heaviest blow of each flight.
#[derive(Debug, Clone, PartialEq)]
pub struct EnergyReport {
    /// Median, J.
    pub median_j: f64,
    /// Energy that 95 % of the flights stay below, J.
    pub p95_j: f64,
    /// Chances of more than each published threshold.
    pub over: Vec<EnergyChance>,
}

/// Chance of more than an energy.
#[derive(Debug, Clone, PartialEq)]
pub struct EnergyChance {
    /// The energy, J.
    pub energy_j: f64,
    /// What it stands for, and where it comes from.
    pub source: &'static str,
    /// Chance over all flights.
    pub over: Chance,
}

/// Persons struck a flight, on average: the chance that somebody is, as long as it is small.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StruckReport {
    /// Estimate.
    pub persons: f64,
    /// Lower end of the 95 % interval.
    pub lower: f64,
    /// Upper end of the 95 % interval.
    pub upper: f64,
    /// Of the estimate, struck with more than the lower energy threshold.
    pub persons_over_energy: f64,
}

/// An ellipse of a bivariate normal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EllipseReport {
    /// Share a bivariate normal would have inside.
    pub share_asked: f64,
    /// Share of the flights really inside.
    pub share_held: f64,
    /// Half of the long axis, m.
    pub semi_major_m: f64,
    /// Half of the short axis, m.
    pub semi_minor_m: f64,
    /// Bearing of the long axis, degrees clockwise from true north, 0 to 180.
    pub bearing_deg: f64,
}

/// A highest-density region.
#[derive(Debug, Clone, PartialEq)]
pub struct RegionReport {
    /// Share asked.
    pub share_asked: f64,
    /// Share of the flights inside.
    pub share_held: f64,
    /// Share expected of fresh flights.
    pub share_expected: f64,
    /// Area, m^2.
    pub area_m2: f64,
    /// Outlines, metres east and north of the pad.
    pub outline: Vec<Polygon>,
}

/// A named area.
#[derive(Debug, Clone, PartialEq)]
pub struct AreaReport {
    /// Its name.
    pub name: String,
    /// What it is.
    pub role: Option<Role>,
    /// Comes down inside.
    pub inside: Chance,
    /// Comes down outside.
    pub outside: Chance,
    /// Persons struck, where it was said how many there are.
    pub struck: Option<StruckReport>,
}

/// Flights that are told to fail, each failure in every one of them.
#[derive(Debug, Clone, PartialEq)]
pub struct FailuresReport {
    /// Index of the way of deploying that they are flown with.
    pub way: usize,
    /// Failures that have a share in the chances of the assessment, with that share.
    pub included: Vec<(Failure, f64)>,
    /// One per failure that this rocket and way of deploying can have.
    pub failures: Vec<FailureReport>,
}

/// Flights with one failure.
#[derive(Debug, Clone, PartialEq)]
pub struct FailureReport {
    /// Which.
    pub failure: Failure,
    /// Its share of all flights in the chances of the assessment.
    pub share: f64,
    /// Flights flown.
    pub flights: u64,
    /// Chance of `unsafe_opening` at the advice's limit, given the failure.
    pub unsafe_opening: Chance,
    /// Where and how it comes down.
    pub landing: Option<LandingReport>,
    /// The same of a part that falls by itself.
    pub part: Option<LandingReport>,
}

/// Leaving the rail.
#[derive(Debug, Clone, PartialEq)]
pub struct RailReport {
    /// Speed when the last guide leaves, m/s.
    pub exit_speed_m_s: Digest,
    /// Speed when the forward guide leaves, m/s.
    pub forward_guide_speed_m_s: Digest,
    /// Angle of attack, degrees.
    pub angle_of_attack_deg: Digest,
    /// Static margin at that angle of attack, calibres.
    pub margin_calibres: Digest,
}

/// The flight without deployment.
#[derive(Debug, Clone, PartialEq)]
pub struct FlightReport {
    /// Highest point above the pad, m.
    pub apogee_m: Digest,
    /// Its time, s after first thrust.
    pub apogee_s: Digest,
    /// Largest Mach number.
    pub peak_mach: Digest,
    /// Airspeed at the slowest instant from burnout to the ground, m/s.
    pub slowest_airspeed_m_s: Digest,
    /// Delay after burnout that would open there, s.
    pub slowest_delay_s: Digest,
    /// Seconds from apogee to the slowest instant.
    pub slowest_after_apogee_s: Digest,
}

/// What follows for the asked ways of deploying. Sampling certainty only.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    /// Limit the condition is about, m/s.
    pub limit_m_s: f64,
    /// Largest acceptable chance of `unsafe_opening`.
    pub accept_chance: f64,
    /// How each way stands against it.
    pub standings: Vec<Standing>,
    /// Indices of the ways whose upper end of the interval meets it.
    pub meets: Vec<usize>,
    /// Index of the way with the least chance of `unsafe_opening`.
    pub lowest: usize,
    /// Lower bound of the probability, from sampling alone, that it really has the least; 0 when another
    /// may as well. `None` with a single way.
    pub lowest_certainty: Option<f64>,
    /// Index of the best way: the lowest, if it meets the condition. Else none is best.
    pub best: Option<usize>,
    /// What the curve says of delays that were not asked.
    pub delay: Option<DelayAdvice>,
}

/// The best delay of a motor's charge that deploys alone, asked or not, and the delays that meet the condition.
#[derive(Debug, Clone, PartialEq)]
pub struct DelayAdvice {
    /// Delay with the least chance of `unsafe_opening`, s: in the middle of all that differ by less than the model can
    /// tell.
    pub delay_s: f64,
    /// Delay on the curve next to it, s.
    pub at_delay_s: f64,
    /// The chance there.
    pub unsafe_opening: Chance,
    /// First and last of the delays around it whose intervals overlap with its own, s: any may be as good.
    pub as_good_s: [f64; 2],
    /// Chance with a delay that is one second too short, where the curve reaches so far.
    pub early: Option<f64>,
    /// The same, one second too long.
    pub late: Option<f64>,
    /// Delays whose upper end of the interval meets the condition, s.
    pub meets_s: Vec<Span>,
    /// Delays whose lower end does, s: beyond these the condition is not met.
    pub may_meet_s: Vec<Span>,
}

/// Values without a gap, in the unit of what holds it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// Least.
    pub from: f64,
    /// Greatest.
    pub to: f64,
    /// Whether it begins only because nothing less was flown.
    pub goes_on_before: bool,
    /// Whether it ends only because nothing more was flown.
    pub goes_on_after: bool,
}

/// The chances when one thing about the model is off.
#[derive(Debug, Clone, PartialEq)]
pub struct Move {
    /// What is off and by how much.
    pub what: &'static str,
    /// Flights flown both ways, with the same draws.
    pub flights: u64,
    /// How the chances were made.
    pub estimator: Estimator,
    /// Per way: chance of `unsafe_opening` at the advice's limit as modelled, and when off.
    pub unsafe_opening: Vec<[f64; 2]>,
}

/// Something to mind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caution {
    /// What it is about, one word or two, stable for programs.
    pub topic: &'static str,
    /// What was found and what to do.
    pub message: String,
    /// The published rule or common practice behind it, with how far it was verified.
    pub rule: &'static str,
}
