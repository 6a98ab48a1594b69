//! A day of flights: many flight cards under one sky, as JSON in and out.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use serde_json::{Map, Value, json};
use slowpoint_sim::report::{FIRST_CAUTION, INTERVAL_NOTE, UNTIL_NOTE};
use utoipa::ToSchema;

use super::answer::{AdviceAnswer, AreaFigures, CautionAnswer, ChanceFigures, SpeedLimit};
use super::calibration::CalibrationRequest;
use super::cords::CordsRequest;
use super::fault::{Faults, escaped};
use super::plan::{Layer, Layers, MOST_READ};
use super::request::{
    AdviceTopic, Card, Condition, ElectronicsEntry, FailureShares, Launch, PointKind, RareEntry, RuleSetChoice, Site,
    SpeedLimits, SpreadRequest, Time, UntilRequest, Wind,
};
use super::weather::WeatherRequest;
use super::{Asked, FieldFault, Rejected, json_of, schema, sorted, tell};

/// Flights of a day, at most, as its schema says.
const MOST_ENTRIES: usize = 200;

/// What a flight of a day may have of its own.
const OWN: [&str; 9] =
    ["card", "launch", "launch_at", "delays", "electronics", "spread", "failures", "cords", "calibration"];

/// Many flights, one site, one sky. What stands beside `entries` is shared by all; a member of an entry is laid over the
/// shared one, member by member (JSON Merge Patch, RFC 7396). With one seed all fly through the same random skies, so that
/// they differ only by what the cards differ in.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "describes the body; every entry is read as the flight card it makes")]
pub struct DayRequest {
    /// Free text, kept with the request.
    #[schema(max_length = 2000)]
    pub note: Option<String>,
    /// The flights, each by its name.
    #[schema(required = true, nullable = false, min_items = 1, max_items = 200)]
    pub entries: Option<Vec<DayEntry>>,
    /// The rail and its setting, where an entry does not say otherwise.
    pub launch: Option<Launch>,
    /// The field.
    pub site: Option<Site>,
    /// The wind. Give this or `weather`.
    pub wind: Option<Wind>,
    /// Weather as people have it, in place of `wind`.
    pub weather: Option<WeatherRequest>,
    /// Instant of launch (RFC 3339), where an entry does not give its own; needed with weather that has a time.
    #[schema(max_length = 40, example = "2026-11-25T17:30:00Z")]
    pub launch_at: Option<String>,
    /// Delays to compare, where an entry does not name its own.
    #[schema(max_items = 32)]
    pub delays: Option<Vec<Time>>,
    /// Electronic deployments to compare, where an entry does not name its own.
    #[schema(max_items = 32)]
    pub electronics: Option<Vec<ElectronicsEntry>>,
    /// Airspeeds that an opening is held against.
    pub limits: Option<SpeedLimits>,
    /// The condition that a delay must meet.
    pub condition: Option<Condition>,
    /// How uncertain each input is, where the defaults are not wanted.
    pub spread: Option<SpreadRequest>,
    /// Shares of flights with a failure.
    pub failures: Option<FailureShares>,
    /// Flights to fly of each entry; 2000 when left out.
    #[schema(minimum = 64, maximum = 1_000_000, example = 2000)]
    pub flights: Option<u64>,
    /// Fly each entry until its intervals are narrow enough, in place of `flights`.
    pub until: Option<UntilRequest>,
    /// What else is to be tried for each entry: "wind_limit" and "rail".
    #[schema(max_items = 2)]
    pub advise: Option<Vec<AdviceTopic>>,
    /// Chances of each entry that are sought where they happen.
    #[schema(max_items = 16)]
    pub rare: Option<Vec<RareEntry>>,
    /// Seed of the draws; 1 when left out.
    #[schema(minimum = 0, maximum = 9_007_199_254_740_991_u64, example = 1)]
    pub seed: Option<u64>,
    /// How inputs are drawn: "sobol" or "random".
    pub points: Option<PointKind>,
    /// Whose published limits the cautions quote. By default chosen for each entry from impulse and mass.
    pub rule_set: Option<RuleSetChoice>,
}

/// One flight of a day.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "describes the body; every entry is read as the flight card it makes")]
pub struct DayEntry {
    /// What the flight is called on this day. No two may have the same.
    #[schema(required = true, nullable = false, min_length = 1, max_length = 100, example = "pad 3, second flight")]
    pub name: Option<String>,
    /// The flight card. Needed unless it is copied.
    pub card: Option<Card>,
    /// The rail and its setting, where they differ from those of the day.
    pub launch: Option<Launch>,
    /// Instant of launch (RFC 3339).
    #[schema(max_length = 40)]
    pub launch_at: Option<String>,
    /// Delays to compare.
    #[schema(max_items = 32)]
    pub delays: Option<Vec<Time>>,
    /// Electronic deployments to compare.
    #[schema(max_items = 32)]
    pub electronics: Option<Vec<ElectronicsEntry>>,
    /// How uncertain each input is, where that differs. A distribution takes the place of the day's if that is of another kind.
    pub spread: Option<SpreadRequest>,
    /// Shares of flights with a failure, where they differ.
    pub failures: Option<FailureShares>,
    /// Cord and tube edge.
    pub cords: Option<CordsRequest>,
    /// Flights of this rocket that were flown and logged. A copy takes them unless it has a card, or logs, of its own.
    pub calibration: Option<CalibrationRequest>,
    /// Name of an entry above that this one is copied from.
    #[schema(max_length = 100)]
    pub copy_of: Option<String>,
    /// What differs from the copied entry, laid over it (RFC 7396; null takes a member away): another motor, say.
    #[schema(value_type = Object, required = false, example = json!({"card": {"motor": {"code": "D12-5", "thrust_curve": null}}, "delays": [5]}))]
    pub changes: Option<Map<String, Value>>,
}

/// A day that can be flown, at least in part.
#[derive(Debug)]
pub struct AskedDay {
    /// The request as sent, keys sorted.
    pub input: Value,
    /// The flights in the order sent.
    pub entries: Vec<AskedEntry>,
}

/// One flight of a day: what is to be flown, or every fault of it.
#[derive(Debug)]
pub struct AskedEntry {
    /// What it is called on this day.
    pub name: String,
    /// The flight card that it makes.
    pub asked: Result<Box<Asked>, Vec<FieldFault>>,
}

impl AskedDay {
    /// What was asked in one fixed form, for hashing. Nulls stay: in a change they take something away.
    pub fn canonical(&self) -> String {
        let mut input = self.input.clone();
        if let Value::Object(members) = &mut input {
            members.remove("note");
        }
        input.to_string()
    }
}

/// Reads a day. A fault of what is shared refuses it; a fault of one entry is that entry's alone.
pub fn read_day(body: &[u8]) -> Result<AskedDay, Rejected> {
    let (sent, twice) = json_of(body)?;
    // What all share, with the entries only as a list of names.
    let mut alone = sent.clone();
    for entry in alone.get_mut("entries").and_then(Value::as_array_mut).into_iter().flatten() {
        *entry = json!({"name": "a"});
    }
    let mut faults = Faults::new(&sent);
    // A fault of the day wherever it stands: what is kept of it, and makes its id, holds each name once.
    faults.add_repeated(&twice);
    schema::DAY.prune(&mut alone, &mut faults);
    let mut shared = faults.into_list();
    if sent["entries"].as_array().is_some_and(|entries| entries.len() > MOST_ENTRIES) {
        // Told already. What they come to is not worth reading.
        return Err(Rejected::Faults(shared));
    }
    // The entries' own members. What lies deeper is found again when the flight card that they make is read.
    let mut faults = Faults::new(&sent);
    schema::DAY.prune(&mut sent.clone(), &mut faults);
    let members: Vec<FieldFault> =
        faults.into_list().into_iter().filter(|f| f.pointer.matches('/').count() <= 3).collect();
    let mut read: Vec<AskedEntry> = Vec::new();
    let found = entries(&sent).map_err(|fault| Rejected::Faults(vec![fault]))?;
    for (k, entry) in found.into_iter().enumerate() {
        let mut told: Vec<FieldFault> = members.iter().filter(|f| entry_of(&f.pointer) == Some(k)).cloned().collect();
        let asked = match entry.layers {
            Ok(layers) => layers.read(),
            Err(fault) => Err(vec![fault]),
        };
        let asked = match asked {
            Ok(asked) if told.is_empty() => Ok(Box::new(asked)),
            Ok(_) => Err(told),
            Err(found) => {
                found.into_iter().for_each(|fault| tell(&mut told, fault));
                Err(told)
            }
        };
        read.push(AskedEntry { name: entry.name, asked });
    }
    // A place that no flight gets past is a fault of the day.
    let everyone = |fault: &FieldFault| {
        entry_of(&fault.pointer).is_none()
            && read.iter().all(|e| e.asked.as_ref().is_err_and(|all| all.iter().any(|f| f.pointer == fault.pointer)))
    };
    let first = read.first().and_then(|e| e.asked.as_ref().err()).into_iter().flatten();
    let common: Vec<FieldFault> = first.filter(|fault| everyone(fault)).cloned().collect();
    common.into_iter().for_each(|fault| tell(&mut shared, fault));
    if shared.is_empty() { Ok(AskedDay { entries: read, input: sorted(sent) }) } else { Err(Rejected::Faults(shared)) }
}

/// The entry that a pointer leads into.
fn entry_of(pointer: &str) -> Option<usize> {
    pointer.strip_prefix("/entries/")?.split('/').next()?.parse().ok()
}

struct Entry {
    name: String,
    layers: Result<Layers, FieldFault>,
    /// Size of its layers.
    bytes: usize,
}

/// The layers of every entry; a fault where they are too much to read.
fn entries(sent: &Value) -> Result<Vec<Entry>, FieldFault> {
    let mut shared = sent.clone();
    if let Value::Object(members) = &mut shared {
        members.retain(|name, _| !matches!(name.as_str(), "entries" | "note"));
    }
    let (shared_bytes, shared) = (shared.to_string().len(), Arc::new(shared));
    let (mut found, mut all_bytes): (Vec<Entry>, usize) = (Vec::new(), 0);
    for (k, entry) in sent["entries"].as_array().into_iter().flatten().enumerate() {
        let at = format!("/entries/{k}");
        let name = entry["name"].as_str().filter(|name| !name.trim().is_empty());
        let fault = |member: &str, problem: String, remedy: &str| FieldFault {
            pointer: format!("{at}/{member}"),
            problem,
            remedy: remedy.into(),
            sent: entry.get(member).filter(|v| v.is_string()).cloned(),
        };
        let twice = name.is_some_and(|name| found.iter().any(|other| other.name == name));
        let base = match entry.get("copy_of").filter(|v| !v.is_null()) {
            None => {
                let lowest = Layer { at: String::new(), mount: "", value: Arc::clone(&shared), own: &[] };
                Ok((Layers(vec![lowest]), shared_bytes))
            }
            Some(source) => match found.iter().find(|other| Some(other.name.as_str()) == source.as_str()) {
                Some(Entry { layers: Ok(layers), bytes, .. }) => Ok((layers.clone(), *bytes)),
                Some(Entry { layers: Err(_), .. }) => {
                    Err(fault("copy_of", "the entry it names cannot be read".into(), "mend that one first"))
                }
                None => Err(fault(
                    "copy_of",
                    "no entry above has this name".into(),
                    "give the name of an entry that stands before this one",
                )),
            },
        };
        let bytes = base.as_ref().map_or(0, |(_, bytes)| *bytes) + entry.to_string().len();
        all_bytes = all_bytes.saturating_add(bytes);
        if all_bytes > MOST_READ {
            return Err(FieldFault {
                pointer: "/entries".into(),
                problem: format!("up to entry {}, with what they share and copy, they are over {} MB to read", k + 1, MOST_READ / 1_000_000),
                remedy: "give coarser outlines and shorter thrust curves, copy from entries that copy nothing themselves, or split the day".into(),
                sent: None,
            });
        }
        let layers = base.and_then(|(mut layers, _)| {
            if twice {
                return Err(fault("name", "an entry above has this name".into(), "give each flight a name of its own"));
            }
            if !entry.is_object() {
                return Err(FieldFault {
                    pointer: at.clone(),
                    problem: "it is no object".into(),
                    remedy: "give an object with name, card and delays, or with name, copy_of and changes".into(),
                    sent: None,
                });
            }
            let mut own = entry.clone();
            let changes = own.as_object_mut().and_then(|members| members.remove("changes")).filter(Value::is_object);
            if changes.is_some() && entry.get("copy_of").is_none_or(Value::is_null) {
                return Err(fault(
                    "changes",
                    "there is nothing that it changes".into(),
                    "name the entry to copy in copy_of, or give card, launch and delays themselves",
                ));
            }
            // Of another rocket or motor nobody has logged anything; logs of its own take the place of those that are copied.
            let its = |member: &str| entry.get(member).or_else(|| changes.as_ref()?.get(member)).is_some();
            if its("card") || its("calibration") {
                layers.0.iter_mut().for_each(|layer| layer.take_away("calibration"));
            }
            if let Value::Object(members) = &mut own {
                members.retain(|name, _| !matches!(name.as_str(), "name" | "copy_of"));
                layers.0.push(Layer { at: at.clone(), mount: "", value: Arc::new(own), own: &OWN });
            }
            let shared = |name: &&String| !OWN.contains(&name.as_str());
            if let Some(name) = changes.as_ref().and_then(Value::as_object).and_then(|c| c.keys().find(shared)) {
                return Err(FieldFault {
                    pointer: format!("{at}/changes/{}", escaped(name)),
                    problem: "a flight of a day has no such member of its own".into(),
                    remedy: format!("change one of {}; the rest is the same for the whole day", OWN.join(", ")),
                    sent: None,
                });
            }
            if let Some(value) = changes {
                layers.0.push(Layer { at: format!("{at}/changes"), mount: "", value: Arc::new(value), own: &OWN });
            }
            Ok(layers)
        });
        let name = name.map_or_else(|| format!("entry {}", k + 1), String::from);
        found.push(Entry { name, layers, bytes });
    }
    Ok(found)
}

/// What a day is answered with.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DayAnswer {
    /// The first caution. Show it before anything else.
    pub caution: &'static str,
    /// What the intervals cover.
    pub intervals: &'static str,
    /// Identity: follows from the flights and the engine.
    pub id: String,
    /// What ending on the width of the intervals does to them; null without `until`.
    pub until: Option<&'static str>,
    /// The engine that flew.
    pub engine: String,
    /// The flights in the order sent.
    #[schema(value_type = Vec<DayRow>)]
    pub entries: Vec<Box<RawValue>>,
}

/// One flight of a day.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DayRow {
    /// What it is called on this day.
    pub name: String,
    /// What it came to; null where it could not be flown.
    pub flight: Option<DayFlight>,
    /// Why it could not be flown, as this flight card alone would be refused; null where it was.
    pub problem: Option<EntryProblem>,
}

/// Why a flight of a day could not be flown. As a problem of the service, without the id of a request: the same day is the
/// same bytes.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct EntryProblem {
    /// Stable URI of the kind of problem, relative to this server.
    #[serde(rename = "type")]
    #[schema(example = "/problems/invalid-input")]
    pub kind: String,
    /// The kind in words.
    pub title: &'static str,
    /// The HTTP status that this flight card alone would be refused with.
    pub status: u16,
    /// What happened here and what to do about it.
    pub detail: String,
    /// Every fault, its place in the request of the day.
    pub errors: Vec<FieldFault>,
}

/// What a flight of a day came to: figures of its assessment, each the same as there.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DayFlight {
    /// Name of the rocket.
    pub rocket: String,
    /// Id of the assessment.
    pub assessment: String,
    /// Where the assessment is.
    #[schema(example = "/v1/assessments/00000000000000000000000000000000")]
    pub href: String,
    /// Flights flown.
    pub flights: u64,
    /// Whether the intervals are as narrow as was asked; null without `until`.
    pub narrow_enough: Option<bool>,
    /// The limits that openings are held against.
    #[schema(value_type = Vec<SpeedLimit>)]
    pub limits: Value,
    /// One per way of deploying.
    pub delays: Vec<DayDelay>,
    /// What follows for the asked delays: which meet the condition, which is best, which delay between them would be.
    #[schema(value_type = AdviceAnswer)]
    pub advice: Value,
    /// Reasons to hold the flight until somebody has looked: the condition where no delay meets it, then every caution of
    /// the assessment but for those on how it was asked. None is no leave to fly.
    #[schema(value_type = Vec<CautionAnswer>)]
    pub hold: Vec<Value>,
}

/// One way of deploying of a flight of a day.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DayDelay {
    /// What it is, in words.
    pub label: String,
    /// How it stands against the condition: "under limit", "over limit", "opens low", "does not open well" or "not known".
    pub standing: String,
    /// Chances against each limit.
    pub limits: Vec<DayLimit>,
    /// Median airspeed at ejection, m/s; null when nothing ejected.
    #[schema(value_type = Option<f64>)]
    pub airspeed_p50_m_s: Value,
    /// 95 % of the flights eject slower, m/s; null when nothing ejected.
    #[schema(value_type = Option<f64>)]
    pub airspeed_p95_m_s: Value,
    /// 90 % of the landings keep within this distance of the pad, m; null when nothing came down.
    #[schema(value_type = Option<f64>)]
    pub landing_distance_p90_m: Value,
    /// Chance of coming down inside and outside each named area.
    #[schema(value_type = Vec<AreaFigures>)]
    pub areas: Value,
    /// Chance of coming down outside every area that is a field; null where no area is one, or nothing came down.
    #[schema(value_type = Option<ChanceFigures>)]
    pub outside_fields: Value,
}

/// Chances against one limit.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DayLimit {
    /// The limit, m/s.
    #[schema(value_type = f64)]
    pub limit_m_s: Value,
    /// Faster than the limit.
    #[schema(value_type = ChanceFigures)]
    pub over: Value,
    /// Faster than the limit, or did not open well for any other reason.
    #[schema(value_type = ChanceFigures)]
    pub unsafe_opening: Value,
}

/// Cautions on how it was asked: they hold nobody.
const OF_THE_ASKING: [&str; 9] = [
    "condition",
    "unit",
    "until",
    "drivers",
    "drivers_left_out",
    "drivers_together",
    "cords",
    "calibration",
    "calibration_few",
];

/// The row of a flight, from the answer of its assessment.
pub fn day_flight(assessment: &Value) -> DayFlight {
    let text = |value: &Value| value.as_str().unwrap_or_default().to_string();
    let list = |value: &Value| value.as_array().cloned().unwrap_or_default();
    let id = text(&assessment["id"]);
    let delays = list(&assessment["delays"]);
    let delays = delays.iter().map(|d| DayDelay {
        label: text(&d["label"]),
        standing: text(&d["standing"]),
        limits: list(&d["limits"])
            .iter()
            .map(|l| DayLimit {
                limit_m_s: l["limit_m_s"].clone(),
                over: l["over"].clone(),
                unsafe_opening: l["unsafe_opening"].clone(),
            })
            .collect(),
        airspeed_p50_m_s: d["at_ejection"]["airspeed_m_s"]["p50"].clone(),
        airspeed_p95_m_s: d["at_ejection"]["airspeed_m_s"]["p95"].clone(),
        landing_distance_p90_m: d["landing"]["distance_p90_m"].clone(),
        areas: Value::Array(list(&d["landing"]["areas"])),
        outside_fields: d["landing"]["outside_fields"].clone(),
    });
    let advice = &assessment["advice"];
    let unmet = advice["meets"].as_array().is_some_and(Vec::is_empty).then(|| {
        json!({
            "topic": "condition",
            "message": advice["text"],
            "rule": "the condition of this request",
        })
    });
    let cautions = list(&assessment["cautions"]);
    let held = cautions.into_iter().filter(|c| c["topic"].as_str().is_none_or(|topic| !OF_THE_ASKING.contains(&topic)));
    DayFlight {
        rocket: text(&assessment["name"]),
        href: format!("/v1/assessments/{id}"),
        assessment: id,
        flights: assessment["flights"].as_u64().unwrap_or_default(),
        narrow_enough: assessment["until"]["reached"].as_bool(),
        limits: assessment["limits"].clone(),
        delays: delays.collect(),
        advice: advice.clone(),
        hold: unmet.into_iter().chain(held).collect(),
    }
}

/// The answer of a day from its rows; whether any of them ended on the width of its intervals.
pub fn day_answer(id: &str, engine: &str, entries: Vec<Box<RawValue>>, ended: bool) -> DayAnswer {
    DayAnswer {
        caution: FIRST_CAUTION,
        intervals: INTERVAL_NOTE,
        id: id.into(),
        until: ended.then_some(UNTIL_NOTE),
        engine: engine.into(),
        entries,
    }
}
