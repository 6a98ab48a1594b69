//! Two days compared: what was asked otherwise, and what came of it.

use serde::Serialize;
use serde_json::Value;
use slowpoint_sim::report::FIRST_CAUTION;
use utoipa::ToSchema;

use super::answer::{CautionAnswer, ChanceFigures};
use super::fault::escaped;

/// Differences of the input that are listed.
const MOST_DIFFERENCES: usize = 100;

/// What changed from one day to another, flight by flight. Both are flown with the draws of their seeds: with the same seed
/// any difference comes from what was asked otherwise.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DayChanges {
    /// The first caution. Show it before anything else.
    pub caution: &'static str,
    /// Id of the day.
    pub id: String,
    /// Id of the day it is compared with.
    pub since: String,
    /// What was asked otherwise, at most a hundred places; what all flights share stands first.
    pub input: Vec<InputChange>,
    /// The flights: those of the day in its order, then those that are gone.
    pub entries: Vec<EntryChange>,
}

/// A place of the input that differs.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct InputChange {
    /// Where: a JSON Pointer into the input of the day, in which entries stand by their names.
    #[schema(example = "/wind/surface/speed")]
    pub pointer: String,
    /// What stood there before; null where nothing did.
    pub before: Value,
    /// What stands there now; null where nothing does.
    pub after: Value,
}

/// What changed of a flight.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct EntryChange {
    /// What it is called.
    pub name: String,
    /// "same" (every figure is as it was), "changed", "new", "gone", or "not known" where either day could not fly it.
    pub change: &'static str,
    /// Label of the best delay before; null where there was none.
    pub best_before: Option<String>,
    /// Label of the best delay now; null where there is none.
    pub best_after: Option<String>,
    /// Delays that either day asked, with what they stood at.
    pub delays: Vec<DelayChange>,
    /// Reasons to hold that came.
    #[schema(value_type = Vec<CautionAnswer>)]
    pub hold_added: Vec<Value>,
    /// Reasons to hold that went.
    #[schema(value_type = Vec<CautionAnswer>)]
    pub hold_gone: Vec<Value>,
}

/// What changed of one way of deploying.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DelayChange {
    /// What it is, in words.
    pub label: String,
    /// How it stood; null where it was not asked.
    pub standing_before: Option<String>,
    /// How it stands; null where it is not asked any more.
    pub standing_after: Option<String>,
    /// Chance of an unsafe opening at the condition's limit before; null where it was not asked.
    #[schema(value_type = Option<ChanceFigures>)]
    pub unsafe_opening_before: Value,
    /// The same now; null where it is not asked any more.
    #[schema(value_type = Option<ChanceFigures>)]
    pub unsafe_opening_after: Value,
    /// Whether the two intervals have nothing in common; null where there are not two at the same limit.
    pub intervals_apart: Option<bool>,
}

/// A day as it was stored: its input and its answer.
pub struct StoredDay {
    /// The input.
    pub input: Value,
    /// The answer.
    pub answer: Value,
}

/// What changed from one day to another.
pub fn day_changes(before: &StoredDay, after: &StoredDay) -> DayChanges {
    let text = |v: &Value| v.as_str().unwrap_or_default().to_string();
    let rows = |day: &StoredDay| day.answer["entries"].as_array().cloned().unwrap_or_default();
    let (old, new) = (rows(before), rows(after));
    let find = |rows: &[Value], name: &Value| rows.iter().find(|row| row["name"] == *name).cloned();
    let now = new.iter().map(|row| entry(find(&old, &row["name"]).as_ref(), Some(row)));
    let gone = old.iter().filter(|row| find(&new, &row["name"]).is_none()).map(|row| entry(Some(row), None));
    let mut input = Vec::new();
    differences(&by_name(&before.input), &by_name(&after.input), "", &mut input);
    input.sort_by_key(|change| change.pointer.starts_with("/entries"));
    input.truncate(MOST_DIFFERENCES);
    DayChanges {
        caution: FIRST_CAUTION,
        id: text(&after.answer["id"]),
        since: text(&before.answer["id"]),
        input,
        entries: now.chain(gone).collect(),
    }
}

/// An input with its entries by their names, so that one more or less does not move the others.
fn by_name(input: &Value) -> Value {
    let mut input = input.clone();
    if let Some(entries) = input["entries"].as_array_mut().map(std::mem::take) {
        let named = entries.into_iter().enumerate().map(|(k, entry)| {
            let name = entry["name"].as_str().map_or_else(|| k.to_string(), String::from);
            (name, entry)
        });
        input["entries"] = Value::Object(named.collect());
    }
    input
}

/// Every place at which two values differ, the whole of a list whose length differs.
fn differences(before: &Value, after: &Value, at: &str, found: &mut Vec<InputChange>) {
    match (before, after) {
        (Value::Object(was), Value::Object(is)) => {
            let added = is.keys().filter(|name| !was.contains_key(*name));
            for name in was.keys().chain(added) {
                let of = |members: &serde_json::Map<String, Value>| members.get(name).cloned().unwrap_or_default();
                differences(&of(was), &of(is), &format!("{at}/{}", escaped(name)), found);
            }
        }
        (Value::Array(was), Value::Array(is)) if was.len() == is.len() => {
            for (k, (was, is)) in was.iter().zip(is).enumerate() {
                differences(was, is, &format!("{at}/{k}"), found);
            }
        }
        (was, is) if was != is => {
            found.push(InputChange { pointer: at.into(), before: was.clone(), after: is.clone() });
        }
        _ => {}
    }
}

/// What changed of a flight that stands in one day or both.
fn entry(before: Option<&Value>, after: Option<&Value>) -> EntryChange {
    let flight = |row: Option<&Value>| row.map(|row| row["flight"].clone()).filter(|f| !f.is_null());
    let name = after.or(before).and_then(|row| row["name"].as_str()).unwrap_or_default().to_string();
    let (old, new) = (flight(before), flight(after));
    let best = |f: &Option<Value>| {
        f.as_ref().and_then(|f| f["advice"]["best"].as_str()).filter(|best| *best != "none").map(String::from)
    };
    let part = |f: &Option<Value>, name: &str| -> Vec<Value> {
        f.as_ref().and_then(|f| f[name].as_array().cloned()).unwrap_or_default()
    };
    let (held, holds) = (part(&old, "hold"), part(&new, "hold"));
    let without = |all: &[Value], others: &[Value]| all.iter().filter(|h| !others.contains(h)).cloned().collect();
    let (was, is) = (part(&old, "delays"), part(&new, "delays"));
    let label = |d: &Value| d["label"].as_str().unwrap_or_default().to_string();
    let mut labels: Vec<String> = is.iter().map(label).collect();
    labels.extend(was.iter().map(label).filter(|l| !is.iter().any(|d| label(d) == *l)));
    let figures = |f: &Option<Value>| f.as_ref().map(|f| [&f["delays"], &f["advice"], &f["hold"]].map(Value::clone));
    let change = match (before, after, &old, &new) {
        (None, ..) => "new",
        (_, None, ..) => "gone",
        (_, _, Some(_), Some(_)) if figures(&old) == figures(&new) => "same",
        (_, _, Some(_), Some(_)) => "changed",
        _ => "not known",
    };
    EntryChange {
        name,
        change,
        best_before: best(&old),
        best_after: best(&new),
        delays: labels
            .into_iter()
            .map(|wanted| {
                let of = |all: &[Value], f: &Option<Value>| -> (Option<String>, Value) {
                    let Some(d) = all.iter().find(|d| label(d) == wanted) else { return (None, Value::Null) };
                    let limit = f.as_ref().map(|f| f["advice"]["limit_m_s"].clone()).unwrap_or_default();
                    let limits = d["limits"].as_array().into_iter().flatten();
                    let chance = limits.filter(|l| l["limit_m_s"] == limit).map(|l| l["unsafe_opening"].clone()).next();
                    (d["standing"].as_str().map(String::from), chance.unwrap_or_default())
                };
                let ((standing_before, before), (standing_after, after)) = (of(&was, &old), of(&is, &new));
                let end = |c: &Value, end: &str| c[end].as_f64();
                let limit = |f: &Option<Value>| f.as_ref().map(|f| f["advice"]["limit_m_s"].clone());
                let intervals_apart =
                    match (end(&before, "lower"), end(&after, "upper"), end(&before, "upper"), end(&after, "lower")) {
                        (Some(l1), Some(u2), Some(u1), Some(l2)) if limit(&old) == limit(&new) => {
                            Some(u2 < l1 || u1 < l2)
                        }
                        _ => None,
                    };
                DelayChange {
                    label: wanted,
                    standing_before,
                    standing_after,
                    unsafe_opening_before: before,
                    unsafe_opening_after: after,
                    intervals_apart,
                }
            })
            .collect(),
        hold_added: without(&holds, &held),
        hold_gone: without(&held, &holds),
    }
}
