//! `/v1/jobs/{id}`: where long work stands, giving it up, and what it came to (OGC API - Processes 1.0). A job has the id of
//! its answer.

use std::sync::Arc;

use axum::extract::State as Held;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use axum::{Extension, Json};
use jiff::Timestamp;
use serde::Serialize;
use utoipa::ToSchema;

use super::assessments::{kept, read_id, sound};
use super::extract::InPath;
use super::price::MOST_OF_ESTIMATE;
use super::{blocking, work};
use crate::State;
use crate::access::Client;
use crate::config::ENGINE;
use crate::id::ContentId;
use crate::problem::{JobRefusals, Kind, ListRefusals, Problem};
use crate::store::{Job, Reason, Shelf, Stage};

/// The most jobs of a list.
const LISTED: usize = 100;

/// Where a job stands.
#[derive(Debug, Serialize, ToSchema)]
pub struct JobStatus {
    /// What it answers: "assessments", "days" or "sweeps"
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
    /// When it last came on, or ended; null where only its answer is known any more
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

/// A list of jobs.
#[derive(Debug, Serialize, ToSchema)]
pub struct JobList {
    /// The newest first, at most 100.
    pub jobs: Vec<JobStatus>,
    /// Where the list is.
    pub links: Vec<JobLink>,
}

/// A job as it is told.
pub fn status(job: &Job) -> JobStatus {
    let [done, whole] = job.done;
    let what = match job.shelf {
        Shelf::Assessments => "flights",
        Shelf::Days => "entries",
        Shelf::Sweeps => "settings",
    };
    let message = match job.stage {
        Stage::Accepted => "It waits for its turn.".to_string(),
        Stage::Running => format!("{done} of {whole} {what} are done."),
        Stage::Successful => "Its answer is stored.".to_string(),
        Stage::Failed(_) => "It ended without an answer; its results say why.".to_string(),
        Stage::Dismissed => "It was given up. Post it again to begin anew.".to_string(),
    };
    let time = |at: Timestamp| Some(at.to_string());
    let percent = 100 * u128::from(done) / u128::from(whole.max(1));
    JobStatus {
        process_id: job.shelf.name(),
        kind: "process",
        job_id: job.id.to_string(),
        status: job.stage.name(),
        message,
        progress: u64::try_from(percent).unwrap_or(100).min(100),
        created: time(job.created),
        updated: time(job.updated),
        links: links(job.id.as_str(), job.shelf),
    }
}

fn links(id: &str, shelf: Shelf) -> Vec<JobLink> {
    let link = |href, rel| JobLink { href, rel, media_type: "application/json" };
    vec![
        link(format!("/v1/jobs/{id}"), "self"),
        JobLink { href: format!("/v1/jobs/{id}/events"), rel: "monitor", media_type: "text/event-stream" },
        link(format!("/v1/jobs/{id}/results"), "http://www.opengis.net/def/rel/ogc/1.0/results"),
        link(shelf.path(id), "canonical"),
    ]
}

/// Where an answer is kept that a job of this id would have made.
pub async fn answered(state: &Arc<State>, id: &ContentId) -> Result<Option<Shelf>, Problem> {
    for shelf in Shelf::ALL {
        if kept(state, shelf, id).await?.and_then(sound).is_some() {
            return Ok(Some(shelf));
        }
    }
    Ok(None)
}

/// The job of an id.
pub async fn find(state: &Arc<State>, id: &ContentId) -> Result<Option<Job>, Problem> {
    let (store, id) = (Arc::clone(&state.store), id.clone());
    blocking(move || store.job(&id)).await?.map_err(|error| Problem::storage(&error))
}

/// The job of an id, which has to be known.
pub async fn known(state: &Arc<State>, id: &ContentId) -> Result<Job, Problem> {
    find(state, id).await?.ok_or_else(|| unknown(id))
}

fn unknown(id: &ContentId) -> Problem {
    Problem::new(
        Kind::UnknownJob,
        format!("No job and no answer is known under {id}. Post the work again, it gets the same id."),
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
    match find(&state, &id).await? {
        Some(job) => Ok(said(status(&job))),
        None => left(&state, &id).await,
    }
}

/// Lists one's own jobs
#[utoipa::path(
    get,
    path = "/v1/jobs",
    tag = "jobs",
    operation_id = "list_jobs",
    responses((status = 200, description = "The jobs", body = JobList, content_type = "application/json"), ListRefusals),
)]
pub async fn list(Held(state): Held<Arc<State>>, Extension(client): Extension<Client>) -> Result<Response, Problem> {
    let jobs = own(&state, client).await?;
    let own = JobLink { href: "/v1/jobs".into(), rel: "self", media_type: "application/json" };
    let list = JobList { jobs: jobs.iter().map(status).collect(), links: vec![own] };
    Ok(([(header::CACHE_CONTROL, "no-store")], Json(list)).into_response())
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
/// What waits or runs is stopped, unless another token asked for the same; what has ended stays as it is, and so does a stored
/// answer.
#[utoipa::path(
    delete,
    path = "/v1/jobs/{id}",
    tag = "jobs",
    operation_id = "dismiss_job",
    params(("id" = String, Path, description = "Id of the job", pattern = "^[0-9a-f]{32}$")),
    responses((status = 200, description = "The job as it is now", body = JobStatus, content_type = "application/json"), JobRefusals),
)]
pub async fn dismiss(
    Held(state): Held<Arc<State>>,
    Extension(client): Extension<Client>,
    InPath(id): InPath<String>,
) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    match given_up(&state, client, &id).await? {
        Some(job) if job.stage.open() => {
            let message = "Others asked for the same, so it goes on.".into();
            Ok(said(JobStatus { message, ..status(&job) }))
        }
        Some(job) => Ok(said(status(&job))),
        None => left(&state, &id).await,
    }
}

/// Where a job stands after a client gave it up.
pub async fn given_up(state: &Arc<State>, client: Client, id: &ContentId) -> Result<Option<Job>, Problem> {
    let (this, key) = (Arc::clone(state), id.clone());
    blocking(move || this.jobs.dismiss(&key, client.gives_up_for())).await?.map_err(|error| Problem::storage(&error))
}

/// The jobs of a client, the newest first.
pub async fn own(state: &Arc<State>, client: Client) -> Result<Vec<Job>, Problem> {
    let store = Arc::clone(&state.store);
    blocking(move || store.jobs_of(&client.name, LISTED)).await?.map_err(|error| Problem::storage(&error))
}

/// Gives the answer of a job
///
/// The same bytes as the assessment, day or sweep of this id.
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
        (status = 200, description = "The assessment, day or sweep", content_type = "application/json"),
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
        return work::read(&state, shelf, id.as_str(), &headers).await;
    }
    let job = known(&state, &id).await?;
    Err(unanswered(&state, &job))
}

/// Why a job has no answer.
pub fn unanswered(state: &State, job: &Job) -> Problem {
    let Stage::Failed(reason) = job.stage else {
        return match job.stage {
            // Its answer was stored and cannot be relied on any more.
            Stage::Successful => work::damaged(job.shelf, &job.id),
            Stage::Dismissed => Problem::new(Kind::JobDismissed, "It has no result. Post it again to begin anew."),
            _ => Problem::new(
                Kind::ResultNotReady,
                format!("{} /v1/jobs/{} says how far it is.", status(job).message, job.id),
            ),
        };
    };
    match reason {
        Reason::TooLong => Problem::new(
            Kind::ComputeLimit,
            format!(
                "It was stopped after {} s, the longest that a job may take; nothing was stored. Ask for fewer flights or settings.",
                state.config.job_limit_s
            ),
        )
        .with_limit("job_limit_s", state.config.job_limit_s, "s"),
        Reason::OverEstimate => Problem::new(
            Kind::ComputeLimit,
            format!(
                "It was stopped because it had taken more than {MOST_OF_ESTIMATE} times the core-seconds that it was estimated at, when it was accepted and again at the end; nothing was stored. Post it again, which estimates it anew, or ask for fewer flights or settings."
            ),
        ),
        Reason::KeepsFailing => Problem::new(
            Kind::JobFailed,
            "The server ended three times at the same part of it, so it is not begun again. Ask for less, or change it; its operator finds the cause in the log.",
        ),
        Reason::Damaged => work::damaged(job.shelf, &job.id),
        Reason::EngineChanged => Problem::new(
            Kind::EngineChanged,
            format!("An older engine accepted it, and {ENGINE} answers otherwise. Post it again: it gets another id."),
        ),
        Reason::Broken => Problem::internal(),
    }
}
