//! What is to be shared: a path becomes an answer.

use serde_json::Value;

use super::shaped;
use crate::wire::share::{AskedShare, ShareRequest};
use crate::wire::{FieldFault, schema};

/// From a body to what can be shared, or every fault of it. `twice` lists the places of names that were repeated.
pub fn share<A>(
    sent: &Value,
    twice: &[String],
    answer_of: impl Fn(&str) -> Option<A>,
) -> Result<AskedShare<A>, Vec<FieldFault>> {
    let (request, reader): (ShareRequest, _) = shaped(&schema::SHARE, sent, twice)?;
    let mut faults = reader.faults;
    let answer = request.answer.as_deref().and_then(answer_of);
    if request.answer.is_some() && answer.is_none() {
        let remedy = "give /v1/assessments/ID, /v1/days/ID or /v1/sweeps/ID";
        faults.add("/answer", "this is no path of an answer", remedy);
    }
    match (answer, request.hours) {
        (Some(answer), Some(hours)) if faults.none() => Ok(AskedShare { answer, hours }),
        _ => Err(faults.into_list()),
    }
}
