//! The conditions of a sweep. What is flown is read as the flight cards that its axes make.

use serde_json::Value;
use slowpoint_sim::advise::{Demands, Place};
use slowpoint_sim::limits::{self, Limit};

use super::{Reader, shaped};
use crate::wire::request::Share;
use crate::wire::sweep::SweepRequest;
use crate::wire::units::quoted;
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
        if condition.outside_fields.is_some() && area.is_some() {
            reader.faults.add(
                format!("/landing/{k}/area"),
                "outside_fields is of all areas that are fields",
                "leave the name out, or ask for outside of this area",
            );
        }
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
    for (given, place) in [
        (base.drivers.is_some(), "/base/drivers"),
        (base.cords.is_some(), "/base/cords"),
        (base.calibration.is_some(), "/base/calibration"),
        (base.advise.is_some(), "/base/advise"),
        (base.rare.is_some(), "/base/rare"),
    ] {
        if given {
            reader.faults.add(place, "a sweep does not answer it", "ask it of a single assessment");
        }
    }
    for name in ["sites", "cards", "hours"] {
        let labels: Vec<&str> =
            sent["axes"][name].as_array().into_iter().flatten().filter_map(|step| step["label"].as_str()).collect();
        for (k, label) in labels.iter().enumerate().filter(|(k, label)| labels[..*k].contains(label)) {
            reader.faults.add(
                format!("/axes/{name}/{k}/label"),
                format!("the label {} stands there twice", quoted(label)),
                "give each step a label of its own",
            );
        }
    }
    let Reader { faults, .. } = reader;
    // What lies deeper in a step is laid over the base, and found again when the flight card that they make is read.
    let own = |f: &FieldFault| !f.pointer.starts_with("/axes/") || f.pointer.matches('/').count() <= 4;
    (demands, faults.into_list().into_iter().filter(own).collect())
}
