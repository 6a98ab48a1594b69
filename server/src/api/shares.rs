//! `/v1/shares`: links that let others read an answer for a while.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::State as Held;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::{Extension, Json};
use jiff::Timestamp;
use serde::Serialize;
use utoipa::ToSchema;

use super::assessments::{sound, text_header};
use super::blocking;
use super::extract::JsonBody;
use crate::State;
use crate::access::{self, Client};
use crate::id::{ContentId, sum};
use crate::problem::{Problem, ShareRefusals};
use crate::store::{Shelf, Store};
use crate::wire::share::{AskedShare, ShareRequest, read_share};

/// A link that shares.
#[derive(Debug, Serialize, ToSchema)]
pub struct ShareAnswer {
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

/// Makes a link that lets whoever has it read an answer for a while
///
/// Of a day its flights' answers as well. Nothing can be changed or computed with it. A token beside it is looked at first, and
/// the link read what the token may not: with neither the refusal is `share-over`.
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
    let expires = Timestamp::now() + Duration::from_secs(3600 * hours);
    let (store, sum, shared) = (Arc::clone(&state.store), sum(&secret), id.clone());
    blocking(move || {
        let storage = |error| Problem::storage(&error);
        if !client.may_read(&*store, Some(shelf), &id).map_err(storage)? {
            return Err(access::not_theirs(Some(shelf), &id));
        }
        let answers = with_flights(&*store, shelf, &id).map_err(storage)?;
        if answers.is_empty() {
            return Err(access::not_theirs(Some(shelf), &id));
        }
        store.share(&sum, &answers, expires).map_err(storage)
    })
    .await??;
    let query = format!("share={secret}");
    let href = format!("/v1/{}/{shared}?{query}", shelf.name());
    let page = format!("/{}/{shared}?{query}", shelf.page());
    Ok(ShareAnswer { href, page, query, expires: expires.to_string() })
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
