//! The conditions of a sweep. What is flown is read as the flight cards that its axes make.

use serde_json::Value;
use slowpoint_sim::advise::{Demands, Place};
use slowpoint_sim::limits::{self, Limit};

use super::{Reader, shaped};
use crate::wire::request::Share;
use crate::wire::sweep::SweepRequest;
use crate::wire::{FieldFault, schema};

/// A chance that is never above zero is met by no number of flights.
const CHANCE: Limit =
    Limit { what: "chance of the condition", min: 1e-5, hint: "0.02 means 2 % of flights", ..limits::SHARE };

/// What is demanded, and every fault of the sweep's own members; those inside the flight card are left to its reader.
pub fn sweep(sent: &Value, twice: &[String]) -> (Demands, Vec<FieldFault>) {
    let (request, mut reader): (SweepRequest, _) = match shaped(&schema::SWEEP, sent, twice) {
        Ok(shaped) => shaped,
        Err(faults) => return (Demands::default(), faults),
    };
    let mut demands = Demands::default();
    for (k, condition) in request.landing.iter().flatten().enumerate() {
        let mut read =
            |name: &str, share: &Option<Share>| reader.read(&format!("/landing/{k}/{name}"), share, Some(&CHANCE));
        let area = condition.area.clone();
        let given: Vec<(Option<Place>, f64)> = [
            (area.clone().map(Place::Inside), read("inside", &condition.inside)),
            (area.clone().map(Place::Outside), read("outside", &condition.outside)),
            (Some(Place::OutsideFields), read("outside_fields", &condition.outside_fields)),
        ]
        .into_iter()
        .filter_map(|(place, share)| Some((place, share?)))
        .collect();
        match given[..] {
            [(None, _)] => reader.faults.add(
                format!("/landing/{k}/area"),
                "it is missing",
                "give the name of an area of the site, or ask for outside_fields",
            ),
            [(Some(ref place), at_most)] => demands.landing.push((place.clone(), at_most)),
            _ => reader.faults.add(
                format!("/landing/{k}"),
                format!("it gives {} of inside, outside and outside_fields", given.len()),
                "give one of them: \"outside_fields\": \"1 %\", or \"inside\": \"0.1 %\" with area \"spectators\"",
            ),
        }
    }
    demands.above_ceiling = reader.read("/above_ceiling", &request.above_ceiling, Some(&CHANCE));
    let base = request.base.unwrap_or_default();
    for (given, place) in [(base.drivers.is_some(), "/base/drivers"), (base.advise.is_some(), "/base/advise")] {
        if given {
            reader.faults.add(place, "a sweep does not answer it", "ask it of a single assessment");
        }
    }
    let Reader { faults, .. } = reader;
    (demands, faults.into_list())
}
