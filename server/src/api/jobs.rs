//! `/v1/jobs/{id}`: where long work stands, giving it up, and what it came to (OGC API - Processes 1.0). A job has the id of
//! its answer.

use std::sync::Arc;

use axum::Json;
use axum::extract::State as Held;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use utoipa::ToSchema;

use super::assessments::{kept, read_id, sound, unanswered};
use super::extract::InPath;
use super::long;
use crate::State;
use crate::compute::Failure;
use crate::id::ContentId;
use crate::jobs::{State as Stand, Told};
use crate::problem::{JobRefusals, Kind, Problem};
use crate::store::Shelf;

/// Where a job stands.
#[derive(Debug, Serialize, ToSchema)]
pub struct JobStatus {
    /// What it answers: "days" or "sweeps"
    #[serde(rename = "processID")]
    pub process_id: &'static str,
    /// "process"
    #[serde(rename = "type")]
    pub kind: &'static str,
    /// Id of the job, and of its answer
    #[serde(rename = "jobID")]
    pub job_id: String,
    /// "accepted", "running", "successful", "failed" or "dismissed"
    pub status: &'static str,
    /// The same in words
    pub message: String,
    /// Done, in per cent
    #[schema(minimum = 0, maximum = 100)]
    pub progress: u64,
    /// When it was accepted; null where only its answer is known any more
    #[schema(format = DateTime)]
    pub created: Option<String>,
    /// When it ended, until then when it was accepted; null where only its answer is known any more
    #[schema(format = DateTime)]
    pub updated: Option<String>,
    /// Where its answer is, or will be
    pub links: Vec<JobLink>,
}

/// A link of a job.
#[derive(Debug, Serialize, ToSchema)]
pub struct JobLink {
    /// Where it leads
    pub href: String,
    /// What it leads to
    #[schema(example = "http://www.opengis.net/def/rel/ogc/1.0/results")]
    pub rel: &'static str,
    /// Media type there
    #[serde(rename = "type")]
    pub media_type: &'static str,
}

/// A job as it is told.
pub fn status(id: &str, told: &Told) -> JobStatus {
    let [done, all] = told.pieces;
    let (status, message) = match told.state {
        Stand::Accepted => ("accepted", "It waits for its turn.".to_string()),
        Stand::Running => ("running", format!("{done} of {all} are done.")),
        Stand::Successful => ("successful", "Its answer is stored.".to_string()),
        Stand::Failed(_) => ("failed", "It ended without an answer; its results say why.".to_string()),
        Stand::Dismissed => ("dismissed", "It was given up. Post it again to begin anew.".to_string()),
    };
    let finished = told.state == Stand::Successful;
    JobStatus {
        process_id: told.shelf.name(),
        kind: "process",
        job_id: id.into(),
        status,
        message,
        progress: if finished { 100 } else { 100 * done / all.max(1) },
        created: Some(told.created.to_string()),
        updated: Some(told.updated.to_string()),
        links: links(id, told.shelf),
    }
}

fn links(id: &str, shelf: Shelf) -> Vec<JobLink> {
    let link = |href, rel| JobLink { href, rel, media_type: "application/json" };
    vec![
        link(format!("/v1/jobs/{id}"), "self"),
        link(format!("/v1/jobs/{id}/results"), "http://www.opengis.net/def/rel/ogc/1.0/results"),
        link(format!("/v1/{}/{id}", shelf.name()), "canonical"),
    ]
}

/// Where an answer is kept that a job of this id would have made.
async fn answered(state: &Arc<State>, id: &ContentId) -> Result<Option<Shelf>, Problem> {
    for shelf in [Shelf::Days, Shelf::Sweeps] {
        if kept(state, shelf, id).await?.and_then(sound).is_some() {
            return Ok(Some(shelf));
        }
    }
    Ok(None)
}

fn unknown(id: &ContentId) -> Problem {
    Problem::new(
        Kind::UnknownJob,
        format!(
            "No job and no answer is known under {id}. Jobs do not outlive the server's process: post the work again, it gets the same id."
        ),
    )
}

fn said(status: JobStatus) -> Response {
    ([(header::CACHE_CONTROL, "no-store")], Json(status)).into_response()
}

/// Says where a job stands
#[utoipa::path(
    get,
    path = "/v1/jobs/{id}",
    tag = "jobs",
    operation_id = "read_job",
    params(("id" = String, Path, description = "Id of the job", pattern = "^[0-9a-f]{32}$")),
    responses((status = 200, description = "The job", body = JobStatus, content_type = "application/json"), JobRefusals),
)]
pub async fn look(Held(state): Held<Arc<State>>, InPath(id): InPath<String>) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    if let Some(told) = state.jobs.look(id.as_str()) {
        return Ok(said(status(id.as_str(), &told)));
    }
    left(&state, &id).await
}

/// A job of which only the answer is left.
async fn left(state: &Arc<State>, id: &ContentId) -> Result<Response, Problem> {
    let shelf = answered(state, id).await?.ok_or_else(|| unknown(id))?;
    Ok(said(JobStatus {
        process_id: shelf.name(),
        kind: "process",
        job_id: id.to_string(),
        status: "successful",
        message: "Its answer is stored.".into(),
        progress: 100,
        created: None,
        updated: None,
        links: links(id.as_str(), shelf),
    }))
}

/// Gives a job up
///
/// What waits or runs is stopped; what has ended stays as it is, and so does a stored answer.
#[utoipa::path(
    delete,
    path = "/v1/jobs/{id}",
    tag = "jobs",
    operation_id = "dismiss_job",
    params(("id" = String, Path, description = "Id of the job", pattern = "^[0-9a-f]{32}$")),
    responses((status = 200, description = "The job as it is now", body = JobStatus, content_type = "application/json"), JobRefusals),
)]
pub async fn dismiss(Held(state): Held<Arc<State>>, InPath(id): InPath<String>) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    match state.jobs.dismiss(id.as_str()) {
        Some(told) => Ok(said(status(id.as_str(), &told))),
        None => left(&state, &id).await,
    }
}

/// Gives the answer of a job
///
/// The same bytes as the day or sweep of this id.
#[utoipa::path(
    get,
    path = "/v1/jobs/{id}/results",
    tag = "jobs",
    operation_id = "read_job_results",
    params(
        ("id" = String, Path, description = "Id of the job", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, description = "The day or sweep", content_type = "application/json"),
        (status = 304, description = "The client holds it already"),
        JobRefusals,
    ),
)]
pub async fn results(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    if let Some(shelf) = answered(&state, &id).await? {
        return long::read(&state, shelf, id.as_str(), &headers).await;
    }
    let told = state.jobs.look(id.as_str()).ok_or_else(|| unknown(&id))?;
    Err(match told.state {
        Stand::Failed(Failure::TooLong) => Problem::new(
            Kind::ComputeLimit,
            format!(
                "It was stopped after {} s, the longest that a job may take; nothing was stored. Ask for fewer flights or settings.",
                state.config.job_limit_s
            ),
        )
        .with_limit("job_limit_s", state.config.job_limit_s, "s"),
        Stand::Failed(failure) => unanswered(&state.config, failure),
        // Its answer was stored and cannot be relied on any more.
        Stand::Successful => long::damaged(told.shelf, &id),
        _ => Problem::new(
            Kind::ResultNotReady,
            format!("{} /v1/jobs/{id} says how far it is.", status(id.as_str(), &told).message),
        ),
    })
}
