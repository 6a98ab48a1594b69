//! A sweep: one flight card at many hours, rails, sites or with other cards, as JSON in and out.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use serde_json::Value;
use serde_json::value::RawValue;
use slowpoint_sim::advise::{self, Check, Choice, Demands, Met, Place};
use slowpoint_sim::report::{CellReport, FIRST_CAUTION, INTERVAL_NOTE, UNTIL_NOTE, percent_digits, percent_digits_up};
use slowpoint_sim::stat::interval::{Chance, Estimator, METHODS};
use slowpoint_sim::{Work, told, way_label};
use utoipa::ToSchema;

use super::answer::{ChanceFigures, Figure, chance, chance_text};
use super::place::Bearing;
use super::plan::{Layer, Layers, MOST_READ, in_place_of};
use super::request::{Angle, AssessmentRequest, ElectronicsEntry, Launch, Share, Site, Time, Wind};
use super::weather::WeatherRequest;
use super::{Asked, FieldFault, Rejected, convert, json_of, sorted, tell, without_nulls};

/// Most settings of a sweep.
pub const MOST_CELLS: usize = 4096;
/// Most figures of a sweep: settings times delays times limits and conditions. Some 40 MB.
const MOST_FIGURES: usize = 300_000;
/// Choices that are listed as the best.
const BEST: usize = 10;

/// One flight card, flown at every combination of what the axes vary. All fly through the same random skies, and every delay
/// comes from the same flights.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SweepRequest {
    /// Free text, kept with the request.
    #[schema(max_length = 2000)]
    pub note: Option<String>,
    /// A flight card with its question, whole by itself; `drivers`, `cords`, `calibration`, `advise` and `rare` have no place in it.
    /// Its `condition` is the one on openings; with `until` each setting ends once its own intervals are narrow enough.
    #[schema(required = true, nullable = false)]
    pub base: Option<AssessmentRequest>,
    /// What is varied; at least one axis.
    #[schema(required = true, nullable = false)]
    pub axes: Option<SweepAxes>,
    /// Conditions on where it comes down, besides the one on openings.
    #[schema(max_items = 10)]
    pub landing: Option<Vec<LandingCondition>>,
    /// Largest chance of rising above `site.ceiling`.
    pub above_ceiling: Option<Share>,
}

/// What is varied. Settings are all combinations; the last axis runs fastest, in this order.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SweepAxes {
    /// Fields.
    #[schema(min_items = 1, max_items = 50)]
    pub sites: Option<Vec<SiteStep>>,
    /// Flight cards.
    #[schema(min_items = 1, max_items = 50)]
    pub cards: Option<Vec<CardStep>>,
    /// Hours of a forecast.
    #[schema(min_items = 1, max_items = 400)]
    pub hours: Option<Vec<HourStep>>,
    /// Angles of the rail from vertical.
    #[schema(min_items = 1, max_items = 50, example = json!(["0 deg", "3 deg", "6 deg"]))]
    pub tilts: Option<Vec<Angle>>,
    /// Directions that the rail leans towards.
    #[schema(min_items = 1, max_items = 72, example = json!(["180 deg", "270 deg"]))]
    pub azimuths: Option<Vec<Bearing>>,
}

/// A field. What it gives is laid over that of the base, member by member (RFC 7396).
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SiteStep {
    /// What it is called in the answer.
    #[schema(required = true, nullable = false, min_length = 1, max_length = 100)]
    pub label: Option<String>,
    /// The field.
    pub site: Option<Site>,
    /// Its rail.
    pub launch: Option<Launch>,
    /// Its wind, in place of the base's weather.
    pub wind: Option<Wind>,
    /// Its weather as people have it, in place of the base's wind.
    pub weather: Option<WeatherRequest>,
}

/// A flight card. What it gives is laid over that of the base, member by member (RFC 7396).
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CardStep {
    /// What it is called in the answer.
    #[schema(required = true, nullable = false, min_length = 1, max_length = 100)]
    pub label: Option<String>,
    /// The flight card, or what differs in it.
    #[schema(value_type = Object, required = false)]
    pub card: Option<Value>,
    /// Delays to compare.
    #[schema(max_items = 32)]
    pub delays: Option<Vec<Time>>,
    /// Electronic deployments to compare.
    #[schema(max_items = 32)]
    pub electronics: Option<Vec<ElectronicsEntry>>,
    /// Its rail.
    pub launch: Option<Launch>,
}

/// An hour. What it gives is laid over that of the base, member by member (RFC 7396).
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HourStep {
    /// What it is called in the answer.
    #[schema(required = true, nullable = false, min_length = 1, max_length = 100, example = "2026-11-28 09:00")]
    pub label: Option<String>,
    /// The wind then, in place of the base's weather.
    pub wind: Option<Wind>,
    /// The weather then as people have it, in place of the base's wind.
    pub weather: Option<WeatherRequest>,
    /// The instant (RFC 3339); needed with weather that has a time.
    #[schema(max_length = 40, example = "2026-11-28T09:00:00Z")]
    pub launch_at: Option<String>,
    /// The air at the field then.
    pub site: Option<Site>,
}

/// How often it may come down inside or outside an area at most. Give one of `inside`, `outside` and `outside_fields`.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LandingCondition {
    /// Name of an area of the site; not with `outside_fields`.
    #[schema(max_length = 100, example = "spectators")]
    pub area: Option<String>,
    /// Largest chance of coming down inside.
    pub inside: Option<Share>,
    /// Largest chance of coming down outside.
    pub outside: Option<Share>,
    /// Largest chance of coming down outside every area whose role is field.
    pub outside_fields: Option<Share>,
}

/// An axis with its steps.
#[derive(Debug, Clone)]
struct Axis {
    name: &'static str,
    labels: Vec<String>,
    layers: Vec<Layer>,
}

/// A sweep that can be flown.
#[derive(Debug)]
pub struct AskedSweep {
    /// The request as sent, keys sorted.
    pub input: Value,
    /// What is demanded besides the condition on openings.
    pub demands: Demands,
    /// The flight card on which the steps of the axes are laid.
    pub base: Layer,
    axes: Vec<Axis>,
    /// Flights of one setting, at most.
    flights: u64,
    /// The work of all settings, the most of it.
    pub work: Work,
    /// Whether a setting may end with fewer flights.
    pub may_end_sooner: bool,
}

impl AskedSweep {
    /// The request in one fixed form, for hashing. Nulls of the axes stay: in a step they take something away.
    pub fn canonical(&self) -> String {
        let mut input = self.input.clone();
        if let Value::Object(members) = &mut input {
            members.remove("note");
            for (name, value) in members.iter_mut().filter(|(name, _)| *name != "axes") {
                *value = without_nulls(value.take());
                if let Value::Object(base) = value
                    && name == "base"
                {
                    base.remove("note");
                }
            }
            members.retain(|_, value| !value.is_null());
        }
        input.to_string()
    }

    /// Number of settings.
    pub fn cells(&self) -> usize {
        self.axes.iter().map(|axis| axis.labels.len()).product()
    }

    /// Some of many settings, about so many or all: each card as often, the combinations of the other axes from first to last.
    pub fn some(&self, most: usize) -> Vec<usize> {
        let cells = self.cells();
        if cells <= most {
            return (0..cells).collect();
        }
        let cards = self.axes.iter().find(|axis| axis.name == "cards").map_or(1, |axis| axis.labels.len());
        // More cards than there are to be are steps like all others.
        let cards = if cards > most { 1 } else { cards };
        let (each, others) = (most / cards, cells / cards);
        let cell = |k: usize| {
            let (mut cell, mut stride, mut rest) = (0, 1, k / cards * others / each);
            for axis in self.axes.iter().rev() {
                let steps = axis.labels.len();
                let step = if axis.name == "cards" && cards > 1 {
                    k % cards
                } else {
                    let step = rest % steps;
                    rest /= steps;
                    step
                };
                cell += stride * step;
                stride *= steps;
            }
            cell
        };
        (0..cards * each).map(cell).collect()
    }

    /// Flights of all settings, at most.
    pub fn flights(&self) -> u64 {
        self.flights.saturating_mul(self.cells() as u64)
    }

    /// Per axis the step of a setting.
    fn at(&self, cell: usize) -> Vec<usize> {
        let mut rest = cell;
        let mut at: Vec<usize> = self
            .axes
            .iter()
            .rev()
            .map(|axis| {
                let step = rest % axis.labels.len();
                rest /= axis.labels.len();
                step
            })
            .collect();
        at.reverse();
        at
    }

    /// The flight card of a setting, or every fault of it.
    pub fn cell(&self, cell: usize) -> Result<Asked, Vec<FieldFault>> {
        let steps = self.axes.iter().zip(self.at(cell)).map(|(axis, step)| axis.layers[step].clone());
        Layers(core::iter::once(self.base.clone()).chain(steps).collect()).read()
    }

    /// Later settings that differ from one in the site alone.
    pub fn at_other_sites(&self, cell: usize) -> Vec<usize> {
        let Some(sites) = self.axes.iter().position(|axis| axis.name == "sites") else { return Vec::new() };
        let stride: usize = self.axes[sites + 1..].iter().map(|axis| axis.labels.len()).product();
        let left = self.axes[sites].labels.len() - 1 - self.at(cell)[sites];
        (1..=left).map(|steps| cell + steps * stride).collect()
    }

    /// A setting in words.
    fn words(&self, cell: usize) -> String {
        let step = |(axis, step): (&Axis, usize)| match axis.name {
            "tilts" => format!("tilt {}", axis.labels[step]),
            "azimuths" => format!("azimuth {}", axis.labels[step]),
            _ => axis.labels[step].clone(),
        };
        self.axes.iter().zip(self.at(cell)).map(step).collect::<Vec<_>>().join(", ")
    }
}

/// Reads a sweep: every fault in one reply.
pub fn read_sweep(body: &[u8]) -> Result<AskedSweep, Rejected> {
    let (sent, twice) = json_of(body)?;
    let (demands, found) = convert::sweep(&sent, &twice);
    if !sent.is_object() {
        // Told already. It holds no flight card to have faults of its own.
        return Err(Rejected::Faults(found));
    }
    let base = Layer { at: "/base".into(), mount: "", value: Arc::new(sent["base"].clone()), own: &[] };
    let axes = axes(&sent);
    let mut faults: Vec<FieldFault> = Vec::new();
    found.into_iter().for_each(|fault| tell(&mut faults, fault));
    let mut alone = |steps: Vec<Layer>| {
        let read = Layers(core::iter::once(base.clone()).chain(steps).collect()).read();
        let question = read.map(|asked| {
            let question = &asked.case.inputs.question;
            (question.flights, question.ways.len() * (question.limits_m_s.len() + 1 + demands.landing.len()))
        });
        question.map_err(|found| found.into_iter().for_each(|fault| tell(&mut faults, fault)))
    };
    let whole = alone(Vec::new());
    // The most flights of a setting, and the most figures.
    let (mut flights, mut figures) = whole.unwrap_or_default();
    if whole.is_ok() {
        for step in axes.iter().flat_map(|axis| &axis.layers) {
            let (own_flights, own_figures) = alone(vec![step.clone()]).unwrap_or_default();
            (flights, figures) = (flights.max(own_flights), figures.max(own_figures));
        }
    }
    let (work, input) = (Work::default(), sorted(sent));
    let mut sweep = AskedSweep { demands, base, axes, flights, work, may_end_sooner: false, input };
    let cells = sweep.cells();
    let too_many =
        |problem: String, remedy: String| FieldFault { pointer: "/axes".into(), problem, remedy, sent: None };
    if sweep.axes.is_empty() || cells > MOST_CELLS {
        let problem =
            if cells > MOST_CELLS { format!("the axes make {cells} settings") } else { "there is no axis".into() };
        tell(&mut faults, too_many(problem, format!("give one axis or more, with 1 to {MOST_CELLS} combinations")));
    } else if cells.saturating_mul(figures) > MOST_FIGURES {
        let problem = format!("{cells} settings have {} figures", cells.saturating_mul(figures));
        let remedy = format!(
            "at most {MOST_FIGURES} are answered: settings times delays times limits and conditions; ask for fewer of any"
        );
        tell(&mut faults, too_many(problem, remedy));
    } else if cells.saturating_mul(body.len()) > MOST_READ {
        let problem = format!("{cells} settings of {} kB are too much to read", body.len() / 1000);
        let remedy = format!(
            "settings times the size of the request may be {} MB: give coarser outlines, or fewer settings",
            MOST_READ / 1_000_000
        );
        tell(&mut faults, too_many(problem, remedy));
    }
    if !faults.is_empty() {
        return Err(Rejected::Faults(faults));
    }
    for cell in 0..cells {
        let found = match sweep.cell(cell) {
            Err(found) => found,
            Ok(asked) => {
                sweep.work += slowpoint_sim::work_of_cell(&asked.case);
                sweep.may_end_sooner |= asked.case.inputs.question.until_half_width.is_some();
                unknown_areas(&sweep.demands, &asked)
            }
        };
        for mut fault in found {
            fault.problem = format!("{} (at {})", fault.problem, sweep.words(cell));
            tell(&mut faults, fault);
        }
    }
    if faults.is_empty() { Ok(sweep) } else { Err(Rejected::Faults(faults)) }
}

/// Conditions on areas that a site does not have.
fn unknown_areas(demands: &Demands, asked: &Asked) -> Vec<FieldFault> {
    let site = &asked.case.inputs.site;
    let known: Vec<String> = site.areas.iter().map(|area| format!("\"{}\"", area.name)).collect();
    let missing = |(k, (place, _)): (usize, &(Place, f64))| {
        let (Place::Inside(name) | Place::Outside(name)) = place else {
            return (!asked.case.has_field()).then(|| FieldFault {
                pointer: format!("/landing/{k}/outside_fields"),
                problem: "no area of the site is a field".into(),
                remedy: "give the area its role: \"field\"".into(),
                sent: None,
            });
        };
        (!site.areas.iter().any(|area| area.name == *name)).then(|| FieldFault {
            pointer: format!("/landing/{k}/area"),
            problem: "the site has no area of this name".into(),
            remedy: if known.is_empty() { "add it to the site".into() } else { format!("known: {}", known.join(", ")) },
            sent: Some(name.clone().into()),
        })
    };
    let ceiling = (demands.above_ceiling.is_some() && site.ceiling_m.is_none()).then(|| FieldFault {
        pointer: "/above_ceiling".into(),
        problem: "site.ceiling is not given".into(),
        remedy: "give site.ceiling, the permitted height above the pad".into(),
        sent: None,
    });
    demands.landing.iter().enumerate().filter_map(missing).chain(ceiling).collect()
}

/// The axes as they were sent; what does not fit the schema has been told and is left out.
fn axes(sent: &Value) -> Vec<Axis> {
    let named = |name: &'static str| {
        let steps = sent["axes"][name].as_array().filter(|steps| !steps.is_empty())?;
        let axis = |mount: &'static str, label: &dyn Fn(&Value) -> String, value: &dyn Fn(&Value) -> Value| Axis {
            name,
            labels: steps.iter().map(label).collect(),
            layers: steps
                .iter()
                .enumerate()
                .map(|(k, step)| Layer {
                    at: format!("/axes/{name}/{k}"),
                    mount,
                    value: Arc::new(value(step)),
                    own: &[],
                })
                .collect(),
        };
        let as_sent = |step: &Value| match step {
            Value::String(text) => text.clone(),
            Value::Number(degrees) => format!("{degrees} deg"),
            other => other.to_string(),
        };
        Some(match name {
            "tilts" => axis("/launch/tilt", &as_sent, &Value::clone),
            "azimuths" => axis("/launch/azimuth", &as_sent, &Value::clone),
            _ => axis("", &|step| step["label"].as_str().unwrap_or_default().to_string(), &|step| {
                let mut step = step.clone();
                if let Value::Object(members) = &mut step {
                    members.remove("label");
                    in_place_of(members);
                }
                step
            }),
        })
    };
    ["sites", "cards", "hours", "tilts", "azimuths"].into_iter().filter_map(named).collect()
}

/// What a sweep is answered with.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SweepAnswer {
    /// The first caution. Show it before anything else.
    pub caution: &'static str,
    /// What the intervals cover.
    pub intervals: &'static str,
    /// What ending on the width of the intervals does to them; null without `until`.
    pub until: Option<&'static str>,
    /// Identity: follows from the request and the engine.
    pub id: String,
    /// The engine that flew.
    pub engine: String,
    /// Name of the rocket; null where cards are varied.
    pub rocket: Option<String>,
    /// Name of the field; null where it has none, and where sites are varied.
    pub field: Option<String>,
    /// The axes in the order of `at`.
    pub axes: Vec<AxisAnswer>,
    /// Flights that were flown.
    pub flights: u64,
    /// Flights of every setting together, had each flown the most that was allowed.
    pub flights_at_most: u64,
    /// The conditions, in the order of `checks`.
    pub conditions: Vec<ConditionAnswer>,
    /// What follows, in words.
    pub text: String,
    /// Choices of setting and delay that meet every condition by the upper ends of their intervals, the best first, at most
    /// ten: the best has the most room, by its worst condition.
    pub best: Vec<ChoiceAnswer>,
    /// Choices that meet every condition.
    pub feasible: u64,
    /// Choices besides the best that may be as good, as far as sampling goes.
    pub as_good_as_best: u64,
    /// Where no choice meets every condition: the one that comes nearest; else null.
    pub nearest: Option<NearestAnswer>,
    /// Every setting, the last axis fastest.
    #[schema(value_type = Vec<SweepCell>)]
    pub cells: Vec<Box<RawValue>>,
}

/// An axis.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct AxisAnswer {
    /// Which: "sites", "cards", "hours", "tilts" or "azimuths".
    pub axis: &'static str,
    /// Its steps.
    pub labels: Vec<String>,
}

/// A condition.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ConditionAnswer {
    /// In words.
    pub text: String,
    /// Largest chance that meets it.
    pub at_most: Figure,
    /// Choices that meet it, whatever becomes of the others.
    pub met_by: u64,
}

/// A setting and a delay.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ChoiceAnswer {
    /// In words.
    pub text: String,
    /// Index into `cells`.
    pub cell: u64,
    /// Label of the delay.
    pub delay: String,
    /// The chances in the order of `conditions`.
    pub chances: Vec<ChanceFigures>,
}

/// The choice that comes nearest where none meets every condition.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct NearestAnswer {
    /// The choice.
    pub choice: ChoiceAnswer,
    /// What stands in the way and what would have to change, in words.
    pub text: String,
}

/// One setting.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SweepCell {
    /// Per axis the index of its step.
    pub at: Vec<u64>,
    /// Flights flown.
    pub flights: u64,
    /// Whether the intervals are as narrow as was asked; null without `until`.
    pub narrow_enough: Option<bool>,
    /// One per way of deploying.
    pub delays: Vec<SweepDelay>,
    /// Delay with the least chance of an unsafe opening, asked or not, s; null where there is no curve.
    pub best_delay_s: Figure,
    /// The chance at the delay of the curve next to it, picked as the least of all: it looks a little better than it is.
    /// Null where there is no curve.
    pub best_delay_unsafe_opening: Option<ChanceFigures>,
}

/// One way of deploying of a setting.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SweepDelay {
    /// What it is, in words.
    pub label: String,
    /// How openings stand against their condition: "under limit", "over limit", "opens low", "does not open well" or "not
    /// known".
    pub standing: &'static str,
    /// Chances against each limit.
    pub limits: Vec<SweepLimit>,
    /// The conditions in their order.
    pub checks: Vec<CheckAnswer>,
    /// 90 % of the landings keep within this distance of the pad, m; null when nothing came down.
    pub landing_distance_p90_m: Figure,
}

/// Chances against one limit, with the ends of their intervals.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct SweepLimit {
    /// The limit, m/s.
    pub limit_m_s: Figure,
    /// Faster than the limit.
    pub over: Figure,
    /// Lower end.
    pub over_lower: Figure,
    /// Upper end.
    pub over_upper: Figure,
    /// Faster than the limit, or does not open well for any other reason.
    pub unsafe_opening: Figure,
    /// Lower end.
    pub unsafe_opening_lower: Figure,
    /// Upper end.
    pub unsafe_opening_upper: Figure,
}

/// A chance held against its condition.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CheckAnswer {
    /// The chance.
    pub chance: Figure,
    /// Lower end of its interval.
    pub lower: Figure,
    /// Upper end of its interval.
    pub upper: Figure,
    /// The chance in words, with its interval.
    #[schema(example = "< 0.19 %")]
    pub text: String,
    /// "meets" (its upper end does), "does not meet" (nor does its lower end) or "not known".
    pub met: &'static str,
}

/// Conditions held against every way of deploying of a setting.
type Checks = Vec<Vec<Check>>;

/// What the answer needs to know of a setting besides its figures, to the last bit: it may be written down in between.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CellNotes {
    flights: u64,
    labels: Vec<String>,
    best: Option<BestNote>,
    #[serde(with = "kept_checks")]
    checks: Checks,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct BestNote {
    delay_s: f64,
    upper: f64,
    text: String,
}

/// Checks as they are written down.
mod kept_checks {
    use serde::de::Error;
    use serde::{Deserializer, Serializer};

    use super::*;

    #[derive(Serialize, Deserialize)]
    struct KeptCheck {
        estimate: f64,
        lower: f64,
        upper: f64,
        hits: f64,
        flights: u64,
        estimator: usize,
        method: usize,
        at_most: f64,
    }

    pub fn serialize<S: Serializer>(checks: &Checks, serializer: S) -> Result<S::Ok, S::Error> {
        let place = |k: Option<usize>| k.ok_or_else(|| serde::ser::Error::custom("an interval without a name"));
        let kept = |check: &Check| {
            let Chance { estimate, lower, upper, hits, flights, estimator, method } = check.chance;
            Ok(KeptCheck {
                estimate,
                lower,
                upper,
                hits,
                flights,
                estimator: place(Estimator::ALL.iter().position(|known| *known == estimator))?,
                method: place(METHODS.iter().position(|known| *known == method))?,
                at_most: check.at_most,
            })
        };
        let kept: Vec<Vec<KeptCheck>> =
            checks.iter().map(|way| way.iter().map(kept).collect()).collect::<Result<_, S::Error>>()?;
        kept.serialize(serializer)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Checks, D::Error> {
        let kept: Vec<Vec<KeptCheck>> = Deserialize::deserialize(deserializer)?;
        let check = |kept: KeptCheck| {
            let KeptCheck { estimate, lower, upper, hits, flights, estimator, method, at_most } = kept;
            let unknown = || D::Error::custom("an interval of no known name");
            let estimator = *Estimator::ALL.get(estimator).ok_or_else(unknown)?;
            let method = METHODS.get(method).ok_or_else(unknown)?;
            Ok(Check { chance: Chance { estimate, lower, upper, hits, flights, estimator, method }, at_most })
        };
        kept.into_iter().map(|way| way.into_iter().map(check).collect()).collect()
    }
}

/// The figures of a setting, and what the answer needs of it besides.
pub fn sweep_cell(sweep: &AskedSweep, cell: usize, report: &CellReport, checks: Checks) -> (SweepCell, CellNotes) {
    let delays =
        report.ways.iter().zip(&report.advice.standings).zip(&checks).map(|((way, standing), checks)| SweepDelay {
            label: way_label(&way.way),
            standing: standing.words(),
            limits: way
                .limits
                .iter()
                .map(|l| SweepLimit {
                    limit_m_s: Figure(l.limit_m_s),
                    over: Figure(l.over.estimate),
                    over_lower: Figure(l.over.lower),
                    over_upper: Figure(l.over.upper),
                    unsafe_opening: Figure(l.unsafe_opening.estimate),
                    unsafe_opening_lower: Figure(l.unsafe_opening.lower),
                    unsafe_opening_upper: Figure(l.unsafe_opening.upper),
                })
                .collect(),
            checks: checks
                .iter()
                .map(|check| CheckAnswer {
                    chance: Figure(check.chance.estimate),
                    lower: Figure(check.chance.lower),
                    upper: Figure(check.chance.upper),
                    text: chance_text(&check.chance),
                    met: match check.met() {
                        Met::Meets => "meets",
                        Met::Not => "does not meet",
                        Met::NotKnown => "not known",
                    },
                })
                .collect(),
            landing_distance_p90_m: Figure::maybe(way.landing.as_ref().map(|l| l.distance_p90_m)),
        });
    let best = report.advice.delay.as_ref();
    let figures = SweepCell {
        at: sweep.at(cell).into_iter().map(|k| k as u64).collect(),
        flights: report.flights,
        narrow_enough: report.until.map(|until| until.reached),
        delays: delays.collect(),
        best_delay_s: Figure::maybe(best.map(|d| d.delay_s)),
        best_delay_unsafe_opening: best.map(|d| chance(&d.unsafe_opening)),
    };
    let notes = CellNotes {
        flights: report.flights,
        labels: figures.delays.iter().map(|delay| delay.label.clone()).collect(),
        best: best.map(|d| BestNote {
            delay_s: d.delay_s,
            upper: d.unsafe_opening.upper,
            text: chance_text(&d.unsafe_opening),
        }),
        checks,
    };
    (figures, notes)
}

/// The answer of a sweep, and what follows from all its settings.
pub fn sweep_answer(
    id: &str,
    engine: &str,
    sweep: &AskedSweep,
    first: &Asked,
    (cells, notes): (Vec<Box<RawValue>>, Vec<CellNotes>),
) -> SweepAnswer {
    let question = &first.case.inputs.question;
    let checks: Vec<Checks> = notes.iter().map(|notes| notes.checks.clone()).collect();
    let found = advise::feasible(&checks);
    let choice = |at: &Choice| {
        let delay = notes[at.cell].labels[at.way].clone();
        ChoiceAnswer {
            text: format!("{}, {delay}", sweep.words(at.cell)),
            cell: at.cell as u64,
            chances: checks[at.cell][at.way].iter().map(|check| chance(&check.chance)).collect(),
            delay,
        }
    };
    let limit_m_s = question.limits_m_s[question.accept_limit];
    let mut texts = vec![format!("an unsafe opening at {}", told::speed(limit_m_s, 1))];
    texts.extend(sweep.demands.landing.iter().map(|(place, _)| match place {
        Place::Inside(name) => format!("coming down inside \"{name}\""),
        Place::Outside(name) => format!("coming down outside \"{name}\""),
        Place::OutsideFields => "coming down outside every field".to_string(),
    }));
    texts.extend(sweep.demands.above_ceiling.map(|_| "rising above the ceiling".to_string()));
    let bounds = checks.first().and_then(|ways| ways.first()).into_iter().flatten().map(|c| c.at_most);
    let conditions: Vec<ConditionAnswer> = texts
        .iter()
        .zip(bounds)
        .enumerate()
        .map(|(k, (text, at_most))| ConditionAnswer {
            text: format!("at most {} % of flights with {text}, upper end of the interval", percent_digits(at_most)),
            at_most: Figure(at_most),
            met_by: found.meets_alone.get(k).copied().unwrap_or(0) as u64,
        })
        .collect();
    let best: Vec<ChoiceAnswer> = found.choices.iter().take(BEST).map(choice).collect();
    let nearest = found.nearest.as_ref().map(|at| NearestAnswer {
        text: format!(
            "Nearest is {}: {}",
            choice(at).text,
            in_the_way(&checks[at.cell][at.way], &texts, &notes[at.cell])
        ),
        choice: choice(at),
    });
    let text = match (best.first(), &nearest) {
        (Some(first), _) => format!(
            "{} of the choices of setting and delay meet every condition. Most room: {}; {} others may be as good, as far as sampling goes. Each choice is held against its own interval and the best is picked from all: it looks a little better than it is, and of choices at the very edge one in forty is taken to meet.",
            found.choices.len(),
            first.text,
            found.as_good
        ),
        (None, Some(nearest)) => format!("No choice meets every condition. {}", nearest.text),
        (None, None) => "There is no choice.".into(),
    };
    let varied = |axis: &str| sweep.axes.iter().any(|a| a.name == axis);
    SweepAnswer {
        caution: FIRST_CAUTION,
        intervals: INTERVAL_NOTE,
        until: question.until_half_width.map(|_| UNTIL_NOTE),
        id: id.into(),
        engine: engine.into(),
        rocket: (!varied("cards")).then(|| first.name.clone()),
        field: first.placed.site.clone().filter(|_| !varied("sites")),
        axes: sweep.axes.iter().map(|a| AxisAnswer { axis: a.name, labels: a.labels.clone() }).collect(),
        flights: notes.iter().map(|notes| notes.flights).sum(),
        flights_at_most: sweep.flights(),
        conditions,
        text,
        best,
        feasible: found.choices.len() as u64,
        as_good_as_best: found.as_good as u64,
        nearest,
        cells,
    }
}

/// What stands in the way of a choice, and what would have to change.
fn in_the_way(checks: &[Check], texts: &[String], notes: &CellNotes) -> String {
    let mut said = Vec::new();
    for (check, text) in checks.iter().zip(texts).filter(|(check, _)| check.met() != Met::Meets) {
        let would = match check.met() {
            Met::NotKnown => "its interval holds both, so more flights may tell".to_string(),
            _ if check.chance.upper >= 1.0 => "no such condition would be met".to_string(),
            _ => format!("it would meet a condition of {} %", percent_digits_up(check.chance.upper)),
        };
        said.push(format!(
            "the chance of {text} is {}, against at most {} %: {would}.",
            chance_text(&check.chance),
            percent_digits(check.at_most)
        ));
    }
    let opening = checks.first().filter(|check| check.met() != Met::Meets);
    if let (Some(check), Some(best)) = (opening, &notes.best) {
        said.push(format!(
            "With a delay of {:.1} s, the best between those asked, it is {}, which {} that condition.",
            best.delay_s,
            best.text,
            if best.upper <= check.at_most { "meets" } else { "does not surely meet" }
        ));
    }
    said.join(" ")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use std::collections::{BTreeMap, BTreeSet};

    use serde_json::json;

    use super::*;

    /// Every card of a sweep stands as often among those that are measured, however the other axes are long.
    #[test]
    fn some_settings_stand_for_all() {
        let card: Value = serde_json::from_slice(include_bytes!("../../tests/support/card.json")).unwrap();
        let step = |k: usize| json!({"label": format!("card {k}"), "card": card["card"]});
        for (cards, tilts, expected) in [(3, 30, 63), (9, 8, 63), (17, 5, 51), (2, 20, 40), (1, 50, 50), (2, 50, 64)] {
            let axes = json!({
                "cards": (0..cards).map(step).collect::<Vec<_>>(),
                "tilts": (0..tilts).map(|k| 0.1 * f64::from(k)).collect::<Vec<_>>(),
            });
            let sweep = read_sweep(json!({"base": card, "axes": axes}).to_string().as_bytes()).unwrap();
            let some = sweep.some(64);
            assert_eq!(some.iter().collect::<BTreeSet<_>>().len(), expected, "{some:?}");
            let mut often = BTreeMap::new();
            some.iter().for_each(|cell| *often.entry(sweep.at(*cell)[0]).or_insert(0) += 1);
            assert_eq!(often.into_values().collect::<Vec<_>>(), vec![expected / cards; cards]);
            let tilts_met: BTreeSet<usize> = some.iter().map(|cell| sweep.at(*cell)[1]).collect();
            assert!(tilts_met.len() >= (64 / cards).min(tilts as usize) - 1, "{tilts_met:?}");
        }
    }
}
