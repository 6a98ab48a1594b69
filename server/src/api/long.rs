//! What days and sweeps share: answered at once where little is to be flown, as a job where much is, always from the store
//! where it has been answered before.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use axum::Json;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::assessments::{etag, holds, kept, not_modified, read_id, sent, sound, text_header, unanswered, unstored};
use super::jobs;
use crate::State;
use crate::compute::{Failure, Outcome, Pace};
use crate::id::ContentId;
use crate::jobs::{Progress, Told};
use crate::problem::{Kind, Problem};
use crate::store::Shelf;

/// Work that is known by the id of its answer.
pub struct Long {
    /// What it answers.
    pub shelf: Shelf,
    /// The id of the answer.
    pub id: ContentId,
    /// The input, as it is stored.
    pub input: String,
    /// The most flights it flies.
    pub flights: u64,
    /// Pieces that its progress is told in.
    pub pieces: u64,
}

/// Answers, or accepts a job that will. `work` gives the bytes of the answer; they are stored before anybody gets them.
pub async fn answer<W>(state: &Arc<State>, headers: &HeaderMap, long: Long, work: W) -> Result<Response, Problem>
where
    W: FnOnce(&AtomicBool, &Progress) -> Result<Vec<u8>, Failure> + Send + 'static,
{
    let Long { shelf, id, input, flights, pieces } = long;
    if let Some(answer) = kept(state, shelf, &id).await?.and_then(sound) {
        return Ok(placed(shelf, &id, sent(&id, answer.into())));
    }
    let config = &state.config;
    // A job that will answer it is under way.
    if let Some(told) = state.jobs.look(id.as_str()).filter(|told| told.state.open()) {
        return Ok(accepted(&id, &told, headers));
    }
    if flights > config.job_flights {
        return Err(Problem::new(
            Kind::TooManyFlights,
            format!(
                "It takes up to {flights} flights, and at most {} are flown. Ask for fewer flights or fewer cells.",
                config.job_flights
            ),
        )
        .with_limit("job_flights", config.job_flights, "flights"));
    }
    let name = format!("{}/{id}", shelf.name());
    let (store, key) = (Arc::clone(&state.store), id.clone());
    let whole = move |stop: &AtomicBool, progress: &Progress| -> Outcome {
        progress.begin();
        // A run that ended between the look above and now has stored it.
        if let Some(answer) = store.get(shelf, &key).map_err(unstored)?.and_then(sound) {
            return Ok(answer.into());
        }
        let answer = work(stop, progress)?;
        store.put(shelf, &key, input.as_bytes(), &answer).map_err(unstored)?;
        Ok(answer.into())
    };
    if flights <= config.inline_flights && !asynchronous(headers) {
        let work = move |stop: &AtomicBool| whole(stop, &Progress::default());
        let answer = state.compute.run(&name, Pace::Inline, work).await.map_err(|f| unanswered(config, f))?;
        return Ok(placed(shelf, &id, sent(&id, answer)));
    }
    // A name of its own: a job does not wait for a client's run, nor a client for the jobs before it.
    let (compute, name) = (Arc::clone(&state.compute), format!("job {name}"));
    let job = state.jobs.accept(id.as_str(), shelf, pieces, config.jobs, |progress| async move {
        compute.run(&name, Pace::Job, move |stop: &AtomicBool| whole(stop, &progress)).await
    });
    let told = job.ok_or_else(|| {
        Problem::new(
            Kind::Overloaded,
            format!("{} jobs run and wait, which is all that are taken. Come back later.", config.jobs),
        )
        .with_limit("jobs", config.jobs as u64, "jobs")
    })?;
    Ok(accepted(&id, &told, headers))
}

/// Whether the client asks for a job (RFC 7240).
fn asynchronous(headers: &HeaderMap) -> bool {
    let mut preferences = headers.get_all("prefer").iter().filter_map(|v| v.to_str().ok());
    preferences.any(|v| v.split([',', ';']).any(|part| part.trim().eq_ignore_ascii_case("respond-async")))
}

/// A job that will answer.
fn accepted(id: &ContentId, told: &Told, headers: &HeaderMap) -> Response {
    let mut response = (StatusCode::CREATED, Json(jobs::status(id.as_str(), told))).into_response();
    let sent = response.headers_mut();
    sent.insert(header::LOCATION, text_header(&format!("/v1/jobs/{id}")));
    sent.insert(header::CACHE_CONTROL, text_header("no-store"));
    if asynchronous(headers) {
        sent.insert("preference-applied", text_header("respond-async"));
    }
    response
}

/// Gives a stored answer again.
pub async fn read(state: &Arc<State>, shelf: Shelf, id: &str, headers: &HeaderMap) -> Result<Response, Problem> {
    let id = read_id(id)?;
    let answer = stored(state, shelf, &id).await?;
    let tag = etag(&id);
    Ok(if holds(&tag, headers) { not_modified(&tag) } else { sent(&id, answer.into()) })
}

/// The bytes of a stored answer.
pub async fn stored(state: &Arc<State>, shelf: Shelf, id: &ContentId) -> Result<Vec<u8>, Problem> {
    let stored = kept(state, shelf, id).await?.ok_or_else(|| unknown(state, shelf, id))?;
    sound(stored).ok_or_else(|| damaged(shelf, id))
}

/// What a shelf holds, in a word.
fn word(shelf: Shelf) -> &'static str {
    match shelf {
        Shelf::Days => "day",
        Shelf::Sweeps => "sweep",
        Shelf::Assessments => "flight card",
    }
}

/// Nothing under this id.
pub fn unknown(state: &State, shelf: Shelf, id: &ContentId) -> Problem {
    let kind = match shelf {
        Shelf::Days => Kind::UnknownDay,
        Shelf::Sweeps => Kind::UnknownSweep,
        Shelf::Assessments => Kind::UnknownAssessment,
    };
    let known = state.jobs.look(id.as_str()).is_some_and(|job| job.shelf == shelf);
    let where_to = if known { format!(" A job is at /v1/jobs/{id}.") } else { String::new() };
    let (name, word) = (shelf.name(), word(shelf));
    Problem::new(kind, format!("Nothing is stored under {id}. Post the {word} to /v1/{name}.{where_to}"))
}

/// Something under this id that cannot be relied on any more.
pub fn damaged(shelf: Shelf, id: &ContentId) -> Problem {
    Problem::new(
        Kind::StoredDamaged,
        format!(
            "The {} stored under {id} fails its checksum. Post it again: that stores it anew under the same id.",
            word(shelf)
        ),
    )
}

/// Says where the answer stays.
fn placed(shelf: Shelf, id: &ContentId, mut response: Response) -> Response {
    let place = text_header(&format!("/v1/{}/{id}", shelf.name()));
    for name in [header::LOCATION, header::CONTENT_LOCATION] {
        response.headers_mut().insert(name, place.clone());
    }
    response
}
