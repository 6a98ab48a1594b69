//! `/v1/days`: a day's flight cards under one sky.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State as Held;
use axum::http::{HeaderMap, header};
use axum::response::Response;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};

use super::assessments::{from_json, kept, read_id, text_header, to_json};
use super::extract::{Asked as AskedQuery, InPath, JsonBody};
use super::jobs::JobStatus;
use super::price::{CreateQuery, Price};
use super::validator::Validator;
use super::work::{self, Prefer, Run, Work, answered};
use crate::State;
use crate::access::Client;
use crate::compute::Failure;
use crate::config::ENGINE;
use crate::id::ContentId;
use crate::jobs::Turn;
use crate::problem::{ChangeRefusals, InputRefusals, Problem, RevisionRefusals, StoredRefusals};
use crate::store::{Piece, Shelf, Store};
use crate::wire::changes::{DayChanges, StoredDay, day_changes};
use crate::wire::day::{AskedDay, AskedEntry, DayAnswer, DayRequest, DayRow, day_answer, day_flight};
use crate::wire::plan::in_place_of;
use crate::wire::{FieldFault, read_changes};

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
    params(CreateQuery, Prefer),
    request_body(content = DayRequest, content_type = "application/json", description = "The flights, one site, one sky"),
    responses(
        (status = 200, description = "The day, or with `dry_run=true` its price", body = CreateDayAnswer, content_type = "application/json"),
        (status = 201, description = "A job that will answer", body = JobStatus, content_type = "application/json"),
        InputRefusals,
    ),
)]
pub async fn create(
    Held(state): Held<Arc<State>>,
    Extension(client): Extension<Client>,
    AskedQuery(query): AskedQuery<CreateQuery>,
    headers: HeaderMap,
    JsonBody(body): JsonBody,
) -> Result<Response, Problem> {
    work::posted(&state, &client, &headers, Shelf::Days, body, query.dry_run).await.map(|(_, response)| response)
}

/// Either answer of a POST.
#[derive(Serialize, ToSchema)]
#[serde(untagged)]
#[allow(dead_code, reason = "describes the two answers; each is sent as it is")]
enum CreateDayAnswer {
    /// The day
    Day(Box<DayAnswer>),
    /// The price, with `dry_run=true`
    Price(Price),
}

/// Assesses a day again with something changed: new weather, say
///
/// The body is laid over the day as it was posted (JSON Merge Patch, RFC 7396): what it gives is changed, null takes a member
/// away, a list is given whole. The answer is another day with an id of its own; the header Link leads to what changed.
/// Flights that the change does not touch are not flown again.
#[utoipa::path(
    post,
    path = "/v1/days/{id}/revisions",
    tag = "days",
    operation_id = "revise_day",
    params(
        ("id" = String, Path, description = "Id of the day", pattern = "^[0-9a-f]{32}$"),
        Prefer,
    ),
    request_body(content = Object, content_type = "application/json", description = "What is changed", example = json!({"wind": {"surface": {"speed": "12 mph"}}})),
    responses(
        (status = 200, description = "The new day", body = DayAnswer, content_type = "application/json"),
        (status = 201, description = "A job that will answer", body = JobStatus, content_type = "application/json"),
        RevisionRefusals,
    ),
)]
pub async fn revise(
    Held(state): Held<Arc<State>>,
    Extension(client): Extension<Client>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
    JsonBody(body): JsonBody,
) -> Result<Response, Problem> {
    let before = read_id(&id)?;
    let StoredDay { mut input, .. } = stored(&state, &before).await?;
    let mut patch = read_changes(&body).map_err(Problem::rejected)?;
    let Some(members) = patch.as_object_mut() else {
        return Err(Problem::faults(vec![FieldFault {
            pointer: String::new(),
            problem: "what is changed is no object".into(),
            remedy: "give the members that change, such as {\"wind\": {\"surface\": {\"speed\": \"12 mph\"}}}".into(),
            sent: None,
        }]));
    };
    in_place_of(members);
    json_patch::merge(&mut input, &patch);
    let (id, mut response) = work::posted(&state, &client, &headers, Shelf::Days, input.to_string(), false).await?;
    let link = format!("</v1/days/{id}/changes?since={before}>; rel=\"related\"");
    response.headers_mut().insert(header::LINK, text_header(&link));
    Ok(response)
}

/// A day with its input, both sound.
async fn stored(state: &Arc<State>, id: &ContentId) -> Result<StoredDay, Problem> {
    let Some(kept) = kept(state, Shelf::Days, id).await? else {
        return Err(work::unknown(state, Shelf::Days, id).await);
    };
    let read = |bytes: Option<Vec<u8>>| bytes.and_then(|bytes| serde_json::from_slice(&bytes).ok());
    let both = read(kept.input).zip(read(kept.answer));
    let (mut input, answer): (Value, Value) = both.ok_or_else(|| work::damaged(Shelf::Days, id))?;
    // The id says nothing about the note, which may be another client's.
    input.as_object_mut().map(|members| members.remove("note"));
    Ok(StoredDay { input, answer })
}

/// The day that another is compared with.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Since {
    /// Id of the day before
    #[param(pattern = "^[0-9a-f]{32}$")]
    since: String,
}

/// Says what changed from one day to another
///
/// What was asked otherwise, and of each flight what it stood at and stands at: delays, best delay, reasons to hold. Flights
/// are matched by their names.
#[utoipa::path(
    get,
    path = "/v1/days/{id}/changes",
    tag = "days",
    operation_id = "read_day_changes",
    params(
        ("id" = String, Path, description = "Id of the day", pattern = "^[0-9a-f]{32}$"),
        Since,
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, description = "What changed", body = DayChanges, content_type = "application/json"),
        (status = 304, description = "The client holds it already"),
        ChangeRefusals,
    ),
)]
pub async fn changes(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    AskedQuery(query): AskedQuery<Since>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let (after, before) = (read_id(&id)?, read_id(&query.since)?);
    let bytes = compared(&state, &after, &before).await?;
    let validator = Validator::of_figures(&after, &format!("since.{before}"));
    if validator.held(&headers) {
        return Ok(validator.not_modified());
    }
    Ok(validator.whole("application/json", bytes))
}

/// What changed from one day to another, as JSON.
pub async fn compared(state: &Arc<State>, after: &ContentId, before: &ContentId) -> Result<Vec<u8>, Problem> {
    let (before, after) = (stored(state, before).await?, stored(state, after).await?);
    to_json(&day_changes(&before, &after)).map_err(|_| Problem::internal())
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
        (status = 200, description = "The day", body = DayAnswer, content_type = "application/json"),
        (status = 304, description = "The client holds it already"),
        StoredRefusals,
    ),
)]
pub async fn read(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    work::read(&state, Shelf::Days, &id, &headers).await
}

/// Flies every entry, one after the other, each on all cores. What a turn before this one has flown is in the store.
pub fn fly(store: &dyn Store, id: &ContentId, day: &AskedDay, run: &Run) -> Result<Option<Vec<u8>>, Failure> {
    let (mut rows, mut ended) = (Vec::with_capacity(day.entries.len()), false);
    for (k, AskedEntry { name, asked }) in day.entries.iter().enumerate() {
        let (flight, problem) = match asked {
            Ok(asked) => {
                let work = Work::Assessment(asked.clone());
                let at_once = Run::at_once(run.stop, run.flown);
                let answer: Value = from_json(&answered(store, &work.id(), &work, &at_once, || ())?)?;
                (Some(day_flight(&answer)), None)
            }
            Err(faults) => (None, Some(Problem::faults(faults.clone()).of_entry())),
        };
        ended |= flight.as_ref().is_some_and(|flight| flight.narrow_enough.is_some());
        let told = to_json(&DayRow { name: name.clone(), flight, problem })?;
        rows.push(from_json(&told)?);
        let turn = run.tell(|| Ok(Piece { told, kept: Vec::new(), done: k as u64 + 1 }))?;
        if turn == Turn::GivesWay && k + 1 < day.entries.len() {
            return Ok(None);
        }
    }
    to_json(&day_answer(id.as_str(), ENGINE, rows, ended)).map(Some)
}
