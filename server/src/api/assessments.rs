//! `/v1/assessments`: one flight card answered.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use axum::Json;
use axum::body::Bytes;
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use slowpoint_sim::settings;
use utoipa::{IntoParams, ToSchema};

use super::blocking;
use super::extract::{Asked as AskedQuery, InPath, JsonBody};
use crate::State;
use crate::compute::{Failure, Outcome, Pace};
use crate::config::{CORE_S_PER_ASCENT, CORE_S_PER_DESCENT, Config, ENGINE};
use crate::id::ContentId;
use crate::problem::{InputRefusals, Kind, Problem, ReadRefusals};
use crate::store::{Kept, Shelf, Store};
use crate::wire::{self, Asked, Assessment, AssessmentRequest, FieldFault, Rejected};

/// What a POST may say beside its body.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields, default)]
#[into_params(parameter_in = Query)]
pub struct CreateQuery {
    /// With `true` nothing is flown: the answer is the price, and the id the answer would get
    #[param(required = false, default = false)]
    dry_run: bool,
}

/// What an assessment would cost.
#[derive(Debug, Serialize, ToSchema)]
pub struct Price {
    /// Id the assessment would get
    #[schema(pattern = "^[0-9a-f]{32}$")]
    pub id: String,
    /// Engine that would answer
    pub engine: String,
    /// Flights asked for; with `until` the most
    pub flights: u64,
    /// Flights on top of them that tell what drives the answer; 0 unless `drivers` is asked
    pub driver_flights: u64,
    /// Flights on top of them at other winds and settings of the rail; 0 unless `advise` is asked
    pub settings_flights: u64,
    /// Estimated work, seconds of one core
    pub estimated_core_s: f64,
    /// Whether that is the most it can cost, because `until` may end it sooner
    pub at_most: bool,
    /// Whether it is computed while the client waits; if not, it is refused
    pub inline: bool,
    /// Most flights that are computed while the client waits
    pub inline_flights: u64,
    /// Whether the answer is stored already, and costs nothing
    pub stored: bool,
}

/// Assesses a flight card: chances of opening above each limit, outcomes and landing spread for every delay
///
/// The answer is stored under its id, a hash of the engine and the input, before it is sent. The same input
/// again gives the same bytes without being computed again. With `dry_run=true` the answer is the price.
#[utoipa::path(
    post,
    path = "/v1/assessments",
    tag = "assessments",
    operation_id = "create_assessment",
    params(CreateQuery),
    request_body(content = AssessmentRequest, content_type = "application/json", description = "The flight card with weather, limits and spread"),
    responses(
        (
            status = 200, description = "The assessment, or with `dry_run=true` its price", body = CreateAnswer, content_type = "application/json",
            headers(
                ("Location" = String, description = "Where the assessment stays; not with `dry_run=true`"),
                ("Content-Location" = String, description = "The same"),
                ("ETag" = String, description = "Validator of the answer; not with `dry_run=true`"),
            ),
        ),
        InputRefusals,
    ),
)]
pub async fn create(
    axum::extract::State(state): axum::extract::State<Arc<State>>,
    AskedQuery(query): AskedQuery<CreateQuery>,
    JsonBody(body): JsonBody,
) -> Result<Response, Problem> {
    let (asked, id) = blocking(move || {
        let asked = wire::read(&body)?;
        let id = ContentId::of(ENGINE, &asked.canonical());
        Ok::<_, Rejected>((asked, id))
    })
    .await?
    .map_err(Problem::rejected)?;
    let stored = kept(&state, Shelf::Assessments, &id).await?.and_then(sound);
    if query.dry_run {
        return Ok(priced(&state.config, &id, &asked, stored.is_some()));
    }
    let answer = match stored {
        Some(answer) => answer.into(),
        None => {
            affordable(&state.config, &asked)?;
            fly(&state, &id, asked).await?
        }
    };
    let place = format!("/v1/assessments/{id}");
    let mut response = sent(&id, answer);
    for name in [header::LOCATION, header::CONTENT_LOCATION] {
        response.headers_mut().insert(name, text_header(&place));
    }
    Ok(response)
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
        (
            status = 200, description = "The assessment", body = Assessment, content_type = "application/json",
            headers(("ETag" = String, description = "Validator of the answer")),
        ),
        (status = 304, description = "The client holds it already"),
        ReadRefusals,
    ),
)]
pub async fn read(
    axum::extract::State(state): axum::extract::State<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    let tag = etag(&id);
    let answer = answer_of(&state, &id, &tag, &headers).await?;
    Ok(answer.map_or_else(|| not_modified(&tag), |answer| sent(&id, answer)))
}

/// The answer under an id, in which a form with this validator is found; `None` if the client holds that already.
pub async fn answer_of(
    state: &Arc<State>,
    id: &ContentId,
    tag: &str,
    headers: &HeaderMap,
) -> Result<Option<Bytes>, Problem> {
    let kept = kept(state, Shelf::Assessments, id).await?.ok_or_else(|| unknown(id))?;
    if let Some(answer) = kept.answer {
        return Ok(if holds(tag, headers) { None } else { Some(answer.into()) });
    }
    let input = kept.input.ok_or_else(|| damaged(id))?;
    // The answer was lost, its input not: the same engine flies it again to the same bytes.
    let asked = replayable(id, input).await?;
    if holds(tag, headers) {
        return Ok(None);
    }
    fly(state, id, asked).await.map(Some)
}

/// Flies, stores, answers; one run per id, off the async threads.
async fn fly(state: &Arc<State>, id: &ContentId, asked: Asked) -> Result<Bytes, Problem> {
    let (store, key) = (Arc::clone(&state.store), id.clone());
    let work = move |stop: &AtomicBool| -> Outcome { Ok(answered(&*store, &key, &asked, stop)?.into()) };
    state.compute.run(id.as_str(), Pace::Inline, work).await.map_err(|failure| unanswered(&state.config, failure))
}

/// The answer of the store; else it is flown and stored.
pub fn answered(store: &dyn Store, id: &ContentId, asked: &Asked, stop: &AtomicBool) -> Result<Vec<u8>, Failure> {
    // A run that ended between a client's look and now has stored it.
    if let Some(answer) = store.get(Shelf::Assessments, id).map_err(unstored)?.and_then(sound) {
        return Ok(answer);
    }
    let answer = assess(id, asked, stop)?;
    store.put(Shelf::Assessments, id, asked.kept().as_bytes(), &answer).map_err(unstored)?;
    Ok(answer)
}

/// A store that failed; its cause goes to the log.
pub fn unstored(error: std::io::Error) -> Failure {
    tracing::error!(%error, "store failed");
    Failure::Storage
}

/// Why a computation came to nothing, in words.
pub fn unanswered(config: &Config, failure: Failure) -> Problem {
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
        Failure::Storage => Problem::new(
            Kind::StorageFailed,
            "Nothing is answered that is not stored first. The cause is in the server's log.",
        ),
        Failure::Failed => Problem::internal(),
    }
}

/// A stored answer, if its input is sound as well: else it is flown and stored anew, which mends both.
pub fn sound(kept: Kept) -> Option<Vec<u8>> {
    kept.answer.filter(|_| kept.input.is_some())
}

/// The bytes of an answer, the same over HTTP and on the terminal.
pub fn assess(id: &ContentId, asked: &Asked, stop: &AtomicBool) -> Result<Vec<u8>, Failure> {
    let report = slowpoint_sim::assess(&asked.case, stop).ok_or(Failure::Stopped)?;
    to_json(&wire::answer(id.as_str(), ENGINE, asked, &report))
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

/// No assessment under this id.
pub fn unknown(id: &ContentId) -> Problem {
    Problem::new(
        Kind::UnknownAssessment,
        format!(
            "Nothing is stored under {id}. Post the flight card to /v1/assessments; the same card gets the same id."
        ),
    )
}

/// An assessment whose stored input cannot be relied on any more.
pub fn damaged(id: &ContentId) -> Problem {
    Problem::new(
        Kind::StoredDamaged,
        format!(
            "The flight card stored under {id} fails its checksum, so it is not flown again. Post the same card to /v1/assessments: that stores it anew under the same id."
        ),
    )
}

/// Whether it is computed while a client waits.
pub fn affordable(config: &Config, asked: &Asked) -> Result<(), Problem> {
    let question = &asked.case.inputs.question;
    let most = config.inline_flights;
    let (flights, for_drivers) = (question.flights, driver_flights(asked));
    let for_settings = settings::flights(question);
    if flights + for_drivers + for_settings <= most {
        return Ok(());
    }
    let fault = match question.drivers {
        Some(base_flights) if flights <= most => FieldFault {
            pointer: "/drivers".into(),
            problem: format!(
                "{flights} flights and {for_drivers} for the drivers are more than the {most} that are computed while you wait"
            ),
            remedy:
                "ask for fewer base flights, or leave drivers out; `slowpoint assess` on your own machine takes more"
                    .into(),
            sent: Some(base_flights.into()),
        },
        _ => FieldFault {
            pointer: if question.until_half_width.is_some() { "/until/within" } else { "/flights" }.into(),
            problem: format!("{flights} flights are more than the {most} that are computed while you wait"),
            remedy: format!("ask for at most {most} flights; `slowpoint assess` on your own machine takes more"),
            sent: Some(flights.into()),
        },
    };
    Err(Problem::new(
        Kind::TooManyFlights,
        format!(
            "At most {most} flights are computed while you wait, {} were asked for.",
            flights + for_drivers + for_settings
        ),
    )
    .with_limit("inline_flights", most, "flights")
    .with_errors(vec![fault]))
}

fn priced(config: &Config, id: &ContentId, asked: &Asked, stored: bool) -> Response {
    let (flights, driver_flights) = (asked.case.inputs.question.flights, driver_flights(asked));
    let settings_flights = settings::flights(&asked.case.inputs.question);
    let work = slowpoint_sim::work(&asked.case);
    let price = Price {
        id: id.to_string(),
        engine: ENGINE.into(),
        flights,
        driver_flights,
        settings_flights,
        estimated_core_s: CORE_S_PER_ASCENT * work.ascents as f64 + CORE_S_PER_DESCENT * work.descents as f64,
        at_most: asked.case.inputs.question.until_half_width.is_some(),
        inline: flights + driver_flights + settings_flights <= config.inline_flights,
        inline_flights: config.inline_flights,
        stored,
    };
    ([(header::CACHE_CONTROL, "no-store")], Json(price)).into_response()
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
        None => fly(state, id, asked.clone()).await?,
    };
    serde_json::from_slice(&answer).map(|flown: Flown| flown.flights).map_err(|error| {
        tracing::error!(%error, "a stored answer has no number of flights");
        Problem::internal()
    })
}

/// Flights that tell what drives the answer.
fn driver_flights(asked: &Asked) -> u64 {
    asked.case.inputs.question.drivers.map_or(0, slowpoint_sim::drivers::flights)
}

/// An answer as it is sent.
pub fn sent(id: &ContentId, answer: Bytes) -> Response {
    let mut response = answer.into_response();
    set(&mut response, header::CONTENT_TYPE, "application/json");
    validators(&mut response, &etag(id));
    response
}

/// An id never changes what it means; the answer belongs to whoever asked.
pub fn validators(response: &mut Response, tag: &str) {
    set(response, header::ETAG, tag);
    set(response, header::CACHE_CONTROL, "private, max-age=31536000, immutable");
}

/// The validator of an answer.
pub fn etag(id: &ContentId) -> String {
    format!("\"{id}.json\"")
}

/// What the client holds already.
pub fn not_modified(tag: &str) -> Response {
    let mut response = StatusCode::NOT_MODIFIED.into_response();
    validators(&mut response, tag);
    response
}

/// Weak comparison, as RFC 9110 asks for If-None-Match.
pub fn holds(tag: &str, headers: &HeaderMap) -> bool {
    let mut held = headers.get_all(header::IF_NONE_MATCH).iter().filter_map(|value| value.to_str().ok());
    held.any(|list| list.split(',').map(str::trim).any(|one| one == "*" || one.trim_start_matches("W/") == tag))
}

fn set(response: &mut Response, name: HeaderName, value: &str) {
    response.headers_mut().insert(name, text_header(value));
}

/// Ids and constants are plain ASCII, which a header takes.
pub fn text_header(text: &str) -> HeaderValue {
    HeaderValue::from_str(text).unwrap_or_else(|_| HeaderValue::from_static(""))
}
