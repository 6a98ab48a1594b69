//! `/v1/shares`: links that let others read an answer for a while, and their end.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::State as Held;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::{Extension, Json};
use jiff::Timestamp;
use serde::Serialize;
use utoipa::ToSchema;

use super::assessments::{read_id, sound, text_header};
use super::blocking;
use super::extract::{InPath, JsonBody};
use crate::State;
use crate::access::{self, Client};
use crate::id::{ContentId, sum};
use crate::problem::{EndRefusals, Kind, ListRefusals, Problem, ShareRefusals};
use crate::store::{Link, Shelf, Store};
use crate::wire::share::{AskedShare, ShareRequest, read_share};

/// The most links of one client that hold at a time.
const MOST_HELD: usize = 200;
/// The most links of a list.
const LISTED: usize = 1000;

/// A link that shares.
#[derive(Debug, Serialize, ToSchema)]
pub struct ShareAnswer {
    /// What the link is called: DELETE `/v1/shares/{id}` ends it. It opens nothing
    #[schema(pattern = "^[0-9a-f]{32}$")]
    pub id: String,
    /// Where it leads. Whoever has it can read the answer, and its files: keep it from whoever should not. It is not shown again
    pub href: String,
    /// The same as a page for people
    pub page: String,
    /// Appended to the path of any other form of the answer, and of a day's flights
    #[schema(example = "share=slowpoint_0000000000000000000000000000000000000000000000000000000000000000")]
    pub query: String,
    /// When it ends
    #[schema(format = DateTime)]
    pub expires: String,
}

/// A link that holds, for whoever made it.
#[derive(Debug, Serialize, ToSchema)]
pub struct ShareListed {
    /// What it is called: DELETE `/v1/shares/{id}` ends it
    #[schema(pattern = "^[0-9a-f]{32}$")]
    pub id: String,
    /// Path of the answer that it leads to
    #[schema(example = "/v1/days/00000000000000000000000000000000")]
    pub answer: String,
    /// The client that made it: its kind and what it is called
    #[schema(example = "token:field")]
    pub maker: String,
    /// When it was made
    #[schema(format = DateTime)]
    pub made: String,
    /// When it ends, unless it is ended before
    #[schema(format = DateTime)]
    pub expires: String,
}

/// The links that hold.
#[derive(Debug, Serialize, ToSchema)]
pub struct ShareList {
    /// The newest first, at most 1000.
    pub shares: Vec<ShareListed>,
}

/// Makes a link that lets whoever has it read an answer for a while
///
/// Of a day its flights' answers as well. Nothing can be changed or computed with it. A token beside it is looked at first, and
/// the link read what the token may not: with neither the refusal is `share-over`. It ends with its hours, with DELETE, and with
/// the token that it was made with.
#[utoipa::path(
    post,
    path = "/v1/shares",
    tag = "service",
    operation_id = "share_answer",
    request_body(content = ShareRequest, content_type = "application/json", description = "What is shared, and for how long"),
    responses(
        (status = 201, description = "The link", body = ShareAnswer, content_type = "application/json"),
        ShareRefusals,
    ),
)]
pub async fn create(
    Held(state): Held<Arc<State>>,
    Extension(client): Extension<Client>,
    JsonBody(body): JsonBody,
) -> Result<Response, Problem> {
    let AskedShare { answer: (shelf, id), hours } =
        blocking(move || read_share(&body, answer_of)).await?.map_err(Problem::rejected)?;
    let link = made(&state, client, (shelf, id), hours).await?;
    let headers = [(header::LOCATION, text_header(&link.href)), (header::CACHE_CONTROL, text_header("no-store"))];
    Ok((StatusCode::CREATED, headers, Json(link)).into_response())
}

/// Makes a link for some hours, if the client may read the answer itself.
pub async fn made(
    state: &Arc<State>,
    client: Client,
    (shelf, id): (Shelf, ContentId),
    hours: u64,
) -> Result<ShareAnswer, Problem> {
    let secret = access::new_secret();
    let made = Timestamp::now();
    let expires = made + Duration::from_secs(3600 * hours);
    let (store, sum, shared) = (Arc::clone(&state.store), sum(&secret), id.clone());
    let called = ContentId::of_sum(&sum);
    let link = Link { id: called.clone(), maker: client.name.clone(), answer: (shelf, id.clone()), made, expires };
    blocking(move || {
        let storage = |error| Problem::storage(&error);
        if !client.may_read(&*store, Some(shelf), &id).map_err(storage)? {
            return Err(access::not_theirs(Some(shelf), &id));
        }
        let answers = with_flights(&*store, shelf, &id).map_err(storage)?;
        if answers.is_empty() {
            return Err(access::not_theirs(Some(shelf), &id));
        }
        match store.share(&link, &sum, &answers, MOST_HELD).map_err(storage)? {
            None => Ok(()),
            Some(first_ends) => Err(too_many(first_ends)),
        }
    })
    .await??;
    let query = format!("share={secret}");
    let [href, page] = [shelf.path(&shared), shelf.page_path(&shared)].map(|path| format!("{path}?{query}"));
    Ok(ShareAnswer { id: called.to_string(), href, page, query, expires: expires.to_string() })
}

/// Lists the links that one has made, as long as they hold
///
/// An administrator's list is of everybody's. Links that 0.11.0 and before made are not listed: they end with their hours.
#[utoipa::path(
    get,
    path = "/v1/shares",
    tag = "service",
    operation_id = "list_shares",
    responses((status = 200, description = "The links", body = ShareList, content_type = "application/json"), ListRefusals),
)]
pub async fn list(Held(state): Held<Arc<State>>, Extension(client): Extension<Client>) -> Result<Response, Problem> {
    let shares = held(&state, client, None).await?.into_iter().map(|link| ShareListed {
        id: link.id.to_string(),
        answer: link.answer.0.path(&link.answer.1),
        maker: link.maker,
        made: link.made.to_string(),
        expires: link.expires.to_string(),
    });
    Ok(([(header::CACHE_CONTROL, "no-store")], Json(ShareList { shares: shares.collect() })).into_response())
}

/// Ends a link
///
/// From then on it opens nothing. What was read by it before, whoever read it may have kept.
#[utoipa::path(
    delete,
    path = "/v1/shares/{id}",
    tag = "service",
    operation_id = "end_share",
    params(("id" = String, Path, description = "What the link is called, as its maker was told", pattern = "^[0-9a-f]{32}$")),
    responses((status = 204, description = "It is ended"), EndRefusals),
)]
pub async fn end(
    Held(state): Held<Arc<State>>,
    Extension(client): Extension<Client>,
    InPath(id): InPath<String>,
) -> Result<Response, Problem> {
    ended(&state, client, read_id(&id)?).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// The links that hold and that a client may end: to one answer, or all.
pub async fn held(
    state: &Arc<State>,
    client: Client,
    answer: Option<(Shelf, ContentId)>,
) -> Result<Vec<Link>, Problem> {
    let store = Arc::clone(&state.store);
    let of = move || {
        let answer = answer.as_ref().map(|(shelf, id)| (*shelf, id));
        store.links(client.links_of(), answer, LISTED)
    };
    blocking(of).await?.map_err(|error| Problem::storage(&error))
}

/// Ends a link that a client may end.
pub async fn ended(state: &Arc<State>, client: Client, id: ContentId) -> Result<(), Problem> {
    let (store, key) = (Arc::clone(&state.store), id.clone());
    let was =
        blocking(move || store.end_link(client.links_of(), &key)).await?.map_err(|error| Problem::storage(&error))?;
    if was {
        return Ok(());
    }
    let detail = format!(
        "No link of this client is called {id}, or it is forgotten since it ended. GET /v1/shares lists those that hold."
    );
    Err(Problem::new(Kind::UnknownShare, detail))
}

fn too_many(first_ends: Timestamp) -> Problem {
    let detail = format!(
        "{MOST_HELD} of your links hold. End some, or wait until their hours are over; GET /v1/shares lists them."
    );
    let seconds = first_ends.duration_since(Timestamp::now()).as_secs().max(1);
    Problem::new(Kind::TooManyShares, detail).with_header(header::RETRY_AFTER, HeaderValue::from(seconds))
}

/// The answer that a path names.
fn answer_of(path: &str) -> Option<(Shelf, ContentId)> {
    let (shelf, id) = path.strip_prefix("/v1/")?.split_once('/')?;
    Shelf::of_name(shelf).zip(ContentId::parse(id))
}

/// An answer with those that it leads to: a day's flights. Nothing, if it is not kept.
pub fn with_flights(store: &dyn Store, shelf: Shelf, id: &ContentId) -> std::io::Result<Vec<(Shelf, ContentId)>> {
    let Some(answer) = store.get(shelf, id)?.and_then(sound) else { return Ok(Vec::new()) };
    let mut answers = vec![(shelf, id.clone())];
    if shelf == Shelf::Days {
        let day: serde_json::Value = serde_json::from_slice(&answer)?;
        let rows = day["entries"].as_array().into_iter().flatten();
        let ids = rows.filter_map(|row| row["flight"]["assessment"].as_str()).filter_map(ContentId::parse);
        answers.extend(ids.map(|id| (Shelf::Assessments, id)));
    }
    Ok(answers)
}
