//! JSON shapes and nothing else: how a flight card comes in and how its answer goes out.
//!
//! `units` is the only door for feet, ounces and degrees, `convert` the only way from a request to a case,
//! `answer` the only way from a report to JSON. `schema` finds every structural fault of a body at once, by
//! the same schema that the service publishes; `fault` keeps one fault to a place.

pub mod answer;
pub mod calibration;
pub mod changes;
mod convert;
pub mod cords;
mod coverage;
pub mod day;
mod decoded;
mod fault;
mod json;
mod motor_text;
mod node;
pub mod place;
pub mod plan;
pub mod request;
pub mod schema;
pub mod share;
pub mod sweep;
pub mod units;
pub mod weather;

use serde::Serialize;
use serde_json::{Value, json};
use slowpoint_sim::case::Case;
use slowpoint_sim::report::Caution;
use utoipa::ToSchema;

pub use answer::*;
pub use convert::{Placed, Weather};
pub use fault::MOST as MOST_FAULTS;
pub use request::AssessmentRequest;
pub use weather::{GribQuery, WeatherAnswer, WeatherRequest};

/// A request that can be flown.
#[derive(Debug, Clone)]
pub struct Asked {
    /// The validated problem.
    pub case: Case,
    /// The request as sent, keys sorted.
    pub input: Value,
    /// Name of the rocket.
    pub name: String,
    /// Where the launch is.
    pub placed: Placed,
    /// What to say about numbers that came without a unit, and about the weather.
    pub cautions: Vec<Caution>,
    /// Weather that was decoded for it.
    pub weather: Option<Weather>,
}

impl Asked {
    /// The request in one fixed form, for hashing: keys sorted, no spaces, without what says nothing to the engine (the
    /// note, and nulls, which mean "not given"). Numbers stay as they were sent.
    pub fn canonical(&self) -> String {
        let mut input = without_nulls(self.input.clone());
        if let Value::Object(members) = &mut input {
            members.remove("note");
        }
        input.to_string()
    }

    /// The request as it is kept, note and all: read again, it is the same request.
    pub fn kept(&self) -> String {
        self.input.to_string()
    }
}

/// Why a body was not taken.
#[derive(Debug, Clone, PartialEq)]
pub enum Rejected {
    /// It is no JSON; says where reading stopped.
    NotJson(String),
    /// It is JSON, but not a request that can be flown. Every fault is listed.
    Faults(Vec<FieldFault>),
}

/// One fault of a request.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct FieldFault {
    /// Where it is: a JSON Pointer (RFC 6901) into the request. The empty pointer is the whole request.
    #[schema(example = "/card/airframe/mass")]
    pub pointer: String,
    /// What is wrong.
    #[schema(example = "mass at lift-off is 640 kg")]
    pub problem: String,
    /// What would be accepted, or how to mend it.
    #[schema(example = "did you mean \"640 g\"? otherwise give 0.005 to 500 kg")]
    pub remedy: String,
    /// What was sent there, when it is a single value.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Value, required = false)]
    pub sent: Option<Value>,
}

/// Reads a request: every fault in one reply.
pub fn read(body: &[u8]) -> Result<Asked, Rejected> {
    read_with(body, Instead::default())
}

/// What stands in place of what a request says.
#[derive(Debug, Default)]
pub struct Instead {
    /// Another number of flights, in place of `until` as well.
    pub flights: Option<u64>,
    /// Another number of base flights for the drivers.
    pub drivers: Option<u64>,
    /// Flights flown, as a table.
    pub flown: Option<String>,
}

/// As `read`, the same request as if it had been written otherwise.
pub fn read_with(body: &[u8], instead: Instead) -> Result<Asked, Rejected> {
    let (mut sent, twice) = json_of(body)?;
    if let Value::Object(members) = &mut sent {
        for (name, number) in [("flights", instead.flights), ("drivers", instead.drivers)] {
            if let Some(number) = number {
                members.insert(name.into(), number.into());
            }
        }
        if instead.flights.is_some() {
            members.remove("until");
        }
        if let Some(csv) = instead.flown {
            members.insert("calibration".into(), json!({"csv": csv}));
        }
    }
    asked(sent, &twice).map_err(Rejected::Faults)
}

/// From the JSON of a flight card to what can be flown, or every fault of it.
fn asked(sent: Value, twice: &[String]) -> Result<Asked, Vec<FieldFault>> {
    let convert::Read { case, cautions, placed, weather } = convert::case(&sent, twice)?;
    let name = sent["card"]["name"].as_str().unwrap_or_default().to_string();
    Ok(Asked { case, input: sorted(sent), name, placed, cautions, weather })
}

/// Reads what is to be laid over an input.
pub fn read_changes(body: &[u8]) -> Result<Value, Rejected> {
    let (sent, twice) = json_of(body)?;
    let mut faults = fault::Faults::new(&sent);
    faults.add_repeated(&twice);
    let faults = faults.into_list();
    if faults.is_empty() { Ok(sent) } else { Err(Rejected::Faults(faults)) }
}

/// Notes a fault, the first of its place, up to the most that are listed.
fn tell(told: &mut Vec<FieldFault>, fault: FieldFault) {
    if told.len() < MOST_FAULTS && !told.iter().any(|f| f.pointer == fault.pointer) {
        told.push(fault);
    }
}

/// Decodes weather: every fault in one reply.
pub fn decode_weather(body: &[u8]) -> Result<WeatherAnswer, Rejected> {
    read_weather(body).map(weather::answer)
}

/// The same, before it is made an answer.
pub fn read_weather(body: &[u8]) -> Result<Weather, Rejected> {
    let (sent, twice) = json_of(body)?;
    convert::weather(&sent, &twice).map_err(Rejected::Faults)
}

/// Why a file was not taken.
#[derive(Debug, Clone, PartialEq)]
pub enum FileRejected {
    /// What the query says.
    Query(String),
    /// What the file holds.
    File(FieldFault),
}

/// Decodes the winds of a GRIB file.
pub fn decode_grib(file: &[u8], query: &GribQuery) -> Result<WeatherAnswer, FileRejected> {
    convert::grib(file, query).map(weather::answer)
}

/// The JSON of a body and the places of names that are repeated.
fn json_of(body: &[u8]) -> Result<(Value, Vec<String>), Rejected> {
    if matches!(body, [0xff, 0xfe, ..] | [0xfe, 0xff, ..] | [_, 0, ..] | [0, ..]) {
        return Err(Rejected::NotJson("The text is in UTF-16; save it as UTF-8".into()));
    }
    // Some editors put a mark of the encoding in front.
    let body = body.strip_prefix(b"\xef\xbb\xbf").unwrap_or(body);
    json::parse(body).map_err(|e| Rejected::NotJson(e.to_string()))
}

/// The same without the members that are null.
fn without_nulls(value: Value) -> Value {
    match value {
        Value::Array(items) => items.into_iter().map(without_nulls).collect(),
        Value::Object(members) => {
            members.into_iter().filter(|(_, v)| !v.is_null()).map(|(k, v)| (k, without_nulls(v))).collect()
        }
        single => single,
    }
}

/// The same with every object's names in order, whatever map the JSON library was built with.
fn sorted(value: Value) -> Value {
    match value {
        Value::Array(items) => items.into_iter().map(sorted).collect(),
        Value::Object(members) => {
            let mut members: Vec<(String, Value)> = members.into_iter().map(|(k, v)| (k, sorted(v))).collect();
            members.sort_by(|a, b| a.0.cmp(&b.0));
            members.into_iter().collect()
        }
        single => single,
    }
}
