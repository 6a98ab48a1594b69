//! `/v1/assessments`: one flight card answered.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use axum::Extension;
use axum::body::Bytes;
use axum::extract::State as Held;
use axum::http::{HeaderMap, HeaderValue};
use axum::response::Response;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use slowpoint_sim::report::Glimpse;
use utoipa::ToSchema;

use super::blocking;
use super::extract::{Asked as AskedQuery, InPath, JsonBody};
use super::jobs::JobStatus;
use super::price::{Cost, CreateQuery, Price};
use super::validator::Validator;
use super::work::{self, Prefer, Run, Work};
use crate::State;
use crate::access::Client;
use crate::compute::Failure;
use crate::config::{Config, ENGINE};
use crate::id::ContentId;
use crate::log;
use crate::problem::{InputRefusals, Kind, Problem, ReadRefusals};
use crate::store::{Kept, Piece, Shelf};
use crate::wire::{self, Asked, Assessment, AssessmentRequest};

/// Assesses a flight card: chances of opening above each limit, outcomes and landing spread for every delay
///
/// The answer is stored under its id, a hash of the engine and the input, before it is sent. The same input
/// again gives the same bytes without being computed again. Much to fly, or `Prefer: respond-async`, is accepted as a job.
/// With `dry_run=true` the answer is the price.
#[utoipa::path(
    post,
    path = "/v1/assessments",
    tag = "assessments",
    operation_id = "create_assessment",
    params(CreateQuery, Prefer),
    request_body(content = AssessmentRequest, content_type = "application/json", description = "The flight card with weather, limits and spread"),
    responses(
        (status = 200, description = "The assessment, or with `dry_run=true` its price", body = CreateAnswer, content_type = "application/json"),
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
    work::posted(&state, &client, &headers, Shelf::Assessments, body, query.dry_run).await.map(|(_, response)| response)
}

/// Either answer of a POST.
#[derive(Serialize, ToSchema)]
#[serde(untagged)]
#[allow(dead_code, reason = "describes the two answers; each is sent as it is")]
enum CreateAnswer {
    /// The assessment
    Assessment(Box<Assessment>),
    /// The price, with `dry_run=true`
    Price(Price),
}

/// Gives an assessment again
///
/// The same bytes as the first time, also those of an older engine. An id never changes what it means, so
/// the answer may be kept for ever; If-None-Match is answered 304 without flying.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}",
    tag = "assessments",
    operation_id = "read_assessment",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, description = "The assessment", body = Assessment, content_type = "application/json"),
        (status = 304, description = "The client holds it already"),
        ReadRefusals,
    ),
)]
pub async fn read(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    let held = Validator::of_answer(&id);
    let answer = answer_of(&state, &id, &held, &headers).await?;
    Ok(answer.map_or_else(|| held.not_modified(), |answer| sent(&id, answer)))
}

/// The answer under an id, in which a form with this validator is found; `None` if the client holds that already.
pub async fn answer_of(
    state: &Arc<State>,
    id: &ContentId,
    form: &Validator,
    headers: &HeaderMap,
) -> Result<Option<Bytes>, Problem> {
    let kept = kept_card(state, id).await?;
    if !form.held(headers) {
        return whole_answer(state, id, kept).await.map(Some);
    }
    if kept.answer.is_none() {
        lost(id, kept.input).await?;
    }
    Ok(None)
}

/// The answer that is kept, or flown again.
pub async fn whole_answer(state: &Arc<State>, id: &ContentId, kept: Kept) -> Result<Bytes, Problem> {
    match kept.answer {
        Some(answer) => Ok(answer.into()),
        None => fly_again(state, id, lost(id, kept.input).await?).await,
    }
}

/// What was asked where the answer was lost and its input not: the same engine flies it again to the same bytes.
async fn lost(id: &ContentId, input: Option<Vec<u8>>) -> Result<Asked, Problem> {
    replayable(id, input.ok_or_else(|| work::damaged(Shelf::Assessments, id))?).await
}

/// Flies what was lost, while the client waits.
async fn fly_again(state: &Arc<State>, id: &ContentId, asked: Asked) -> Result<Bytes, Problem> {
    affordable(&state.config, &asked)?;
    // Nobody asked for it again.
    work::flown(state, Arc::new(Work::Assessment(Box::new(asked))), id, || Ok(state.budget.nothing())).await
}

/// What is stored under the id of an assessment.
pub async fn kept_card(state: &Arc<State>, id: &ContentId) -> Result<Kept, Problem> {
    match kept(state, Shelf::Assessments, id).await? {
        Some(kept) => Ok(kept),
        None => Err(work::unknown(state, Shelf::Assessments, id).await),
    }
}

/// A store that failed; its cause goes to the log.
pub fn unstored(error: std::io::Error) -> Failure {
    tracing::error!(%error, "store failed");
    Failure::Storage
}

/// Why a computation came to nothing, in words. Its cause is in the log under the request that began it, which may be
/// another's.
pub fn unanswered(config: &Config, computation: &str, failure: Failure) -> Problem {
    match failure {
        Failure::Overloaded => Problem::new(
            Kind::Overloaded,
            format!(
                "{} computations at a time and {} waiting ones are taken. Come back later.",
                config.concurrent, config.queue
            ),
        )
        .with_limit("queue", config.queue as u64, "computations"),
        Failure::QueueTimeout => Problem::new(
            Kind::Overloaded,
            format!("It waited {} s and no place became free. Come back later.", config.queue_timeout_s),
        )
        .with_limit("queue_timeout_s", config.queue_timeout_s, "s"),
        Failure::TooLong => Problem::new(
            Kind::ComputeLimit,
            format!(
                "It was stopped after {} s, the longest that is computed while you wait; nothing was stored. Ask for fewer flights or fewer delays; `slowpoint assess` on your own machine has no such limit.",
                config.compute_limit_s
            ),
        )
        .with_limit("compute_limit_s", config.compute_limit_s, "s"),
        Failure::Stopped => Problem::new(
            Kind::Stopping,
            "The server stops before this is computed. Send it again, the id stays the same.",
        ),
        Failure::Storage | Failure::Failed | Failure::EngineChanged => {
            tracing::error!(computation, ?failure, "no answer");
            if failure == Failure::Storage { Problem::unstored() } else { Problem::internal() }
        }
    }
}

/// A stored answer, if its input is sound as well: else it is flown and stored anew, which mends both.
pub fn sound(kept: Kept) -> Option<Vec<u8>> {
    kept.answer.filter(|_| kept.input.is_some())
}

/// Flies an assessment, and tells of it now and then.
pub fn fly(id: &ContentId, asked: &Asked, run: &Run) -> Result<Vec<u8>, Failure> {
    let (failed, counted) = (Mutex::new(None), AtomicU64::new(0));
    let count = |flights| (run.flown)(flights - counted.swap(flights, Ordering::SeqCst));
    let tell = |glimpse: Glimpse| {
        count(glimpse.flights);
        let told = || to_json(&wire::glimpse(asked, &glimpse));
        let piece = run.tell(|| Ok(Piece { told: told()?, kept: Vec::new(), done: glimpse.flights }));
        if let Err(failure) = piece {
            run.stop.store(true, Ordering::SeqCst);
            failed.lock().unwrap_or_else(PoisonError::into_inner).get_or_insert(failure);
        }
    };
    let report = slowpoint_sim::assess_telling(&asked.case, run.stop, &tell);
    if let Some(failure) = failed.into_inner().unwrap_or_else(PoisonError::into_inner) {
        return Err(failure);
    }
    let report = report.ok_or(Failure::Stopped)?;
    count(report.flights);
    (run.flown)(Cost::of(asked).beside());
    to_json(&wire::answer(id.as_str(), ENGINE, asked, &report))
}

/// The bytes of an answer, the same over HTTP and on the terminal.
pub fn assess(id: &ContentId, asked: &Asked, stop: &AtomicBool) -> Result<Vec<u8>, Failure> {
    fly(id, asked, &Run::at_once(stop, &|_| ()))
}

/// One line of JSON.
pub fn to_json<T: Serialize>(answer: &T) -> Result<Vec<u8>, Failure> {
    let mut bytes = serde_json::to_vec(answer).map_err(|error| {
        tracing::error!(%error, "an answer cannot be written as JSON");
        Failure::Failed
    })?;
    bytes.push(b'\n');
    Ok(bytes)
}

/// Reads what was written as JSON before.
pub fn from_json<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Failure> {
    serde_json::from_slice(bytes).map_err(|error| {
        tracing::error!(error = log::unread(&error), "what was written as JSON cannot be read again");
        Failure::Failed
    })
}

/// Reads an id from a path.
pub fn read_id(text: &str) -> Result<ContentId, Problem> {
    ContentId::parse(text).ok_or_else(|| {
        Problem::new(
            Kind::InvalidPath,
            "An id has 32 digits from 0-9 and a-f, in small letters, as the field id of an answer gives it.",
        )
    })
}

/// What is stored under an id.
pub async fn kept(state: &Arc<State>, shelf: Shelf, id: &ContentId) -> Result<Option<Kept>, Problem> {
    let (store, id) = (Arc::clone(&state.store), id.clone());
    blocking(move || store.get(shelf, &id)).await?.map_err(|error| Problem::storage(&error))
}

/// A stored input, if this engine gives it the same id: then it flies to the same bytes.
pub async fn replayable(id: &ContentId, input: Vec<u8>) -> Result<Asked, Problem> {
    let changed = |hint: String| {
        Problem::new(
            Kind::EngineChanged,
            format!("It was answered by another engine than {ENGINE}, which cannot fly it to the same numbers. {hint}"),
        )
    };
    let asked = blocking(move || wire::read(&input)).await?.map_err(|_| {
        changed("This engine does not take its input as it is: post it again and mend what is refused.".into())
    })?;
    let now = ContentId::of(ENGINE, &asked.canonical());
    if now == *id {
        return Ok(asked);
    }
    Err(changed(format!("Post the same input again: its id is now {now}.")))
}

/// Refuses to fly again, while the client waits, what is too much for that.
pub fn affordable(config: &Config, asked: &Asked) -> Result<(), Problem> {
    let cost = Cost::of(asked);
    if cost.inline(config) {
        return Ok(());
    }
    let (all, most) = (cost.all_flights(), config.inline_flights);
    Err(Problem::new(
        Kind::TooManyFlights,
        format!("At most {most} flights are flown again while you wait, this takes {all}. Post the flight card to /v1/assessments: that makes a job of it."),
    )
    .with_limit("inline_flights", most, "flights"))
}

/// Flights of an assessment: those that were flown, where that was not known beforehand.
pub async fn flights_of(
    state: &Arc<State>,
    id: &ContentId,
    asked: &Asked,
    answer: Option<Vec<u8>>,
) -> Result<u64, Problem> {
    #[derive(Deserialize)]
    struct Flown {
        flights: u64,
    }
    if asked.case.inputs.question.until_half_width.is_none() {
        return Ok(asked.case.inputs.question.flights);
    }
    // An answer that was lost is flown again.
    let answer = match answer {
        Some(answer) => answer.into(),
        None => fly_again(state, id, asked.clone()).await?,
    };
    serde_json::from_slice(&answer).map(|flown: Flown| flown.flights).map_err(|error| {
        tracing::error!(error = log::unread(&error), "a stored answer has no number of flights");
        Problem::internal()
    })
}

/// An answer as it is sent.
pub fn sent(id: &ContentId, answer: Bytes) -> Response {
    Validator::of_answer(id).whole("application/json", answer)
}

/// Ids and constants are plain ASCII, which a header takes.
pub fn text_header(text: &str) -> HeaderValue {
    HeaderValue::from_str(text).unwrap_or_else(|_| HeaderValue::from_static(""))
}
