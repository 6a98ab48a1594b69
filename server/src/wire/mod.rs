//! JSON shapes and nothing else: how a flight card comes in and how its answer goes out.
//!
//! `units` is the only door for feet, ounces and degrees, `convert` the only way from a request to a case,
//! `answer` the only way from a report to JSON. `schema` finds every structural fault of a body at once, by
//! the same schema that the service publishes; `fault` keeps one fault to a place.

pub mod answer;
mod convert;
mod fault;
mod motor_text;
pub mod request;
mod schema;
pub mod units;

use serde::Serialize;
use serde_json::Value;
use slowpoint_sim::case::Case;
use utoipa::ToSchema;

pub use answer::*;
pub use request::AssessmentRequest;

/// A request that can be flown.
#[derive(Debug, Clone)]
pub struct Asked {
    /// The validated problem.
    pub case: Case,
    /// The request as sent, keys sorted.
    pub input: Value,
    /// Name of the rocket.
    pub name: String,
}

impl Asked {
    /// The request in one fixed form, for hashing: keys sorted, no spaces. Numbers stay as they were sent.
    pub fn canonical(&self) -> String {
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

/// Reads a request: every fault in one reply. Of a name that is repeated within an object the last one counts.
pub fn read(body: &[u8]) -> Result<Asked, Rejected> {
    let sent: Value = serde_json::from_slice(body).map_err(|e| Rejected::NotJson(e.to_string()))?;
    let case = convert::case(&sent).map_err(Rejected::Faults)?;
    let name = sent["card"]["name"].as_str().unwrap_or_default().to_string();
    Ok(Asked { case, input: sorted(sent), name })
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
