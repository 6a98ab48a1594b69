//! `/v1/jobs/{id}/events`: what is known while a job runs, as Server-Sent Events (WHATWG HTML, 9.2).
//!
//! An event is a piece that is kept, numbered in order: a client that comes back with the number it saw last gets the rest,
//! each byte the same, also from another process.

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::Extension;
use axum::extract::State as Held;
use axum::http::{HeaderMap, HeaderName, StatusCode, header};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream::{self, Stream, StreamExt};
use tokio::sync::watch;
use tokio::time::Instant;

use super::assessments::read_id;
use super::extract::InPath;
use super::{blocking, jobs};
use crate::State;
use crate::access::Client;
use crate::id::ContentId;
use crate::news::Listener;
use crate::problem::{EventRefusals, Kind, Problem};
use crate::store::Job;
use crate::streams::Open;

/// Without news a comment is sent after so long, so that nothing on the way takes the stream for dead.
const COMMENT_EVERY: Duration = Duration::from_secs(15);

/// A token that is revoked or ends ends the streams that were opened with it within so long.
const ASKED_EVERY: Duration = Duration::from_secs(1);

/// Each stream looks at the store when its job comes on, and no faster than this.
const PACE: Duration = Duration::from_millis(100);
/// Stands for the number of the last event, how many pieces there ever were: they are forgotten before their job is.
const END: &str = "end";

/// Tells of a job while it runs
///
/// Server-Sent Events. `piece` holds what is done: of a day a flight's row (`DayRow`), of a sweep a setting (`SweepCell`), of
/// an assessment its chances so far with their intervals, whenever the flights have doubled and after every 65,536
/// (`GlimpseAnswer`). Pieces are numbered: with Last-Event-ID the stream goes on after that one, so that one that broke off,
/// because the server stopped say, can be opened again. `job` comes last, once it has ended (`JobStatus`), with "end" for its
/// number, and the stream ends with it: whoever has that is answered 204, so that a browser does not come again.
#[utoipa::path(
    get,
    path = "/v1/jobs/{id}/events",
    tag = "jobs",
    operation_id = "read_job_events",
    params(
        ("id" = String, Path, description = "Id of the job", pattern = "^[0-9a-f]{32}$"),
        ("Last-Event-ID" = Option<String>, Header, description = "Number of the last event the client has", pattern = "^([0-9]+|end)?$"),
    ),
    responses(
        (status = 200, body = String, content_type = "text/event-stream", description = "The events"),
        (status = 204, description = "The client has all of them"),
        EventRefusals,
    ),
)]
pub async fn read(
    Held(state): Held<Arc<State>>,
    Extension(client): Extension<Client>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    let job = jobs::known(&state, &id).await?;
    let last = headers.get("last-event-id").map_or(Some(""), |value| value.to_str().ok());
    let seen = match last {
        Some(END) if !job.stage.open() => return Ok(StatusCode::NO_CONTENT.into_response()),
        // It was given up, and posted again.
        Some("" | END) => 0,
        Some(number) if number.bytes().all(|b| b.is_ascii_digit()) => number.parse().unwrap_or(usize::MAX),
        _ => {
            let detail = "Last-Event-ID is the number of an event, as it gave it in id.";
            return Err(Problem::new(Kind::BadRequest, detail));
        }
    };
    let open = state.streams.open(&client.name)?;
    let (news, stopping) = (state.jobs.listen(), state.jobs.stopping());
    let begun = Streamed { news, stopping, state, client, id, seen, next_look: Instant::now(), _open: open };
    let events = stream::unfold(Some(begun), |streamed| async { streamed?.next().await }).flat_map(stream::iter);
    Ok(sent(events))
}

fn sent(events: impl Stream<Item = Result<Event, Infallible>> + Send + 'static) -> Response {
    let comments = KeepAlive::new().interval(COMMENT_EVERY);
    let no_buffer = (HeaderName::from_static("x-accel-buffering"), "no");
    ([(header::CACHE_CONTROL, "no-store"), no_buffer], Sse::new(events).keep_alive(comments)).into_response()
}

struct Streamed {
    state: Arc<State>,
    client: Client,
    id: ContentId,
    seen: usize,
    /// Not before.
    next_look: Instant,
    news: Listener,
    stopping: watch::Receiver<bool>,
    _open: Open,
}

type Events = Vec<Result<Event, Infallible>>;

impl Streamed {
    /// The next events, and what follows them; nothing once the job has ended, the server stops, or the token holds no longer.
    async fn next(mut self) -> Option<(Events, Option<Self>)> {
        loop {
            self.next_look = Instant::now() + PACE;
            if !self.client.holds(&self.state).await.ok()? {
                return None;
            }
            let (ended, told) = self.look().await.ok()?;
            let mut events: Events = Vec::new();
            for piece in told {
                self.seen += 1;
                events.push(Ok(Event::default().event("piece").id(self.seen.to_string()).data(one_line(&piece))));
            }
            if let Some(job) = ended {
                let status = serde_json::to_string(&jobs::status(&job)).ok()?;
                events.push(Ok(Event::default().event("job").id(END).data(status)));
                return Some((events, None));
            }
            if !events.is_empty() {
                return Some((events, Some(self)));
            }
            let news = async {
                self.news.of(&self.id).await;
                tokio::time::sleep_until(self.next_look).await;
            };
            tokio::select! {
                () = news => {}
                () = tokio::time::sleep(ASKED_EVERY), if self.client.may_end() => {}
                _ = self.stopping.wait_for(|stopping| *stopping) => return None,
            }
        }
    }

    /// The job, if it has ended, and the pieces that are new. It is looked whether it has ended first: what is told then is all.
    async fn look(&self) -> Result<(Option<Job>, Vec<Vec<u8>>), Problem> {
        let job = jobs::known(&self.state, &self.id).await?;
        let (store, id, seen) = (Arc::clone(&self.state.store), self.id.clone(), self.seen);
        let told = blocking(move || store.told(&id, seen)).await?.map_err(|error| Problem::storage(&error))?;
        Ok((Some(job).filter(|job| !job.stage.open()), told))
    }
}

/// A piece is a line of JSON.
fn one_line(piece: &[u8]) -> String {
    String::from_utf8_lossy(piece).trim_end().to_string()
}
