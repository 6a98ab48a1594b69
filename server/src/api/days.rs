//! `/v1/days`: a day's flight cards under one sky.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use axum::extract::State as Held;
use axum::http::HeaderMap;
use axum::response::Response;
use serde_json::Value;

use super::assessments::{answered, to_json};
use super::blocking;
use super::extract::{InPath, JsonBody};
use super::jobs::JobStatus;
use super::long::{self, Long};
use crate::State;
use crate::compute::Failure;
use crate::config::ENGINE;
use crate::id::ContentId;
use crate::jobs::Progress;
use crate::problem::{InputRefusals, Problem, StoredRefusals};
use crate::store::{Shelf, Store};
use crate::wire::day::{AskedDay, AskedEntry, DayAnswer, DayRequest, DayRow, day_answer, day_flight, read_day};

/// Assesses a day: for every flight and delay the figures, what is best, and reasons to hold
///
/// Every flight is an assessment of its own, stored under its own id: the row of a flight links to it, and its numbers are
/// the same. A flight that cannot be flown gets its problem in its row and loses nobody else's; a fault of what all share
/// refuses the day. Much to fly, or `Prefer: respond-async`, is accepted as a job.
#[utoipa::path(
    post,
    path = "/v1/days",
    tag = "days",
    operation_id = "create_day",
    params(("Prefer" = Option<String>, Header, description = "respond-async: accept it as a job")),
    request_body(content = DayRequest, content_type = "application/json", description = "The flights, one site, one sky"),
    responses(
        (
            status = 200, description = "The day", body = DayAnswer, content_type = "application/json",
            headers(
                ("Location" = String, description = "Where the day stays"),
                ("Content-Location" = String, description = "The same"),
                ("ETag" = String, description = "Validator of the answer"),
            ),
        ),
        (
            status = 201, description = "A job that will answer", body = JobStatus, content_type = "application/json",
            headers(("Location" = String, description = "The job")),
        ),
        InputRefusals,
    ),
)]
pub async fn create(
    Held(state): Held<Arc<State>>,
    headers: HeaderMap,
    JsonBody(body): JsonBody,
) -> Result<Response, Problem> {
    let (day, id) = blocking(move || {
        let day = read_day(&body)?;
        let id = ContentId::of(&format!("{ENGINE} day"), &day.canonical());
        Ok::<_, crate::wire::Rejected>((day, id))
    })
    .await?
    .map_err(Problem::rejected)?;
    let long = Long {
        shelf: Shelf::Days,
        id: id.clone(),
        input: day.input.to_string(),
        flights: day.flights(),
        pieces: day.entries.len() as u64,
    };
    let store = Arc::clone(&state.store);
    long::answer(&state, &headers, long, move |stop, progress| fly(&*store, &id, &day, stop, progress)).await
}

/// Gives a day again
#[utoipa::path(
    get,
    path = "/v1/days/{id}",
    tag = "days",
    operation_id = "read_day",
    params(
        ("id" = String, Path, description = "Id of the day", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (
            status = 200, description = "The day", body = DayAnswer, content_type = "application/json",
            headers(("ETag" = String, description = "Validator of the answer")),
        ),
        (status = 304, description = "The client holds it already"),
        StoredRefusals,
    ),
)]
pub async fn read(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    long::read(&state, Shelf::Days, &id, &headers).await
}

/// Flies every entry, one after the other, each on all cores.
fn fly(
    store: &dyn Store,
    id: &ContentId,
    day: &AskedDay,
    stop: &AtomicBool,
    progress: &Progress,
) -> Result<Vec<u8>, Failure> {
    let mut rows = Vec::with_capacity(day.entries.len());
    for AskedEntry { name, asked, .. } in &day.entries {
        let (flight, problem) = match asked {
            Ok(asked) => {
                let own = ContentId::of(ENGINE, &asked.canonical());
                let answer = answered(store, &own, asked, stop)?;
                let answer: Value = serde_json::from_slice(&answer).map_err(|error| {
                    tracing::error!(%error, "an answer cannot be read again");
                    Failure::Failed
                })?;
                (Some(day_flight(&answer)), None)
            }
            Err(faults) => (None, Some(Problem::faults(faults.clone()).of_entry())),
        };
        rows.push(DayRow { name: name.clone(), flight, problem });
        progress.advance();
    }
    to_json(&day_answer(id.as_str(), ENGINE, rows))
}
