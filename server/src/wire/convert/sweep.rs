//! The conditions of a sweep. What is flown is read as the flight cards that its axes make.

use serde_json::Value;
use slowpoint_sim::advise::{Demands, Side};
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
        let sides =
            [(Side::Inside, read("inside", &condition.inside)), (Side::Outside, read("outside", &condition.outside))];
        let given: Vec<(Side, f64)> = sides.into_iter().filter_map(|(side, share)| Some((side, share?))).collect();
        match given[..] {
            [(side, at_most)] => demands.landing.push((condition.area.clone().unwrap_or_default(), side, at_most)),
            _ => reader.faults.add(
                format!("/landing/{k}"),
                format!("it gives {} of inside and outside", if given.is_empty() { "neither" } else { "both" }),
                "give one of them: \"outside\": \"1 %\" for a field, \"inside\": \"0.1 %\" for spectators",
            ),
        }
    }
    demands.above_ceiling = reader.read("/above_ceiling", &request.above_ceiling, Some(&CHANCE));
    if request.base.as_ref().is_some_and(|base| base.drivers.is_some()) {
        reader.faults.add("/base/drivers", "a sweep does not tell what drives it", "ask it of a single assessment");
    }
    let Reader { faults, .. } = reader;
    (demands, faults.into_list())
}
