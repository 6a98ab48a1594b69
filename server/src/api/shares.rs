//! `/v1/shares`: links that let others read an answer for a while.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::State as Held;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::{Extension, Json};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::assessments::{sound, text_header};
use super::blocking;
use super::extract::JsonBody;
use crate::State;
use crate::access::{self, Client};
use crate::id::ContentId;
use crate::problem::{Problem, ShareRefusals};
use crate::store::{Shelf, Store};
use crate::wire::FieldFault;

/// The longest that a link holds, h: a year.
const MOST_HOURS: u64 = 366 * 24;

/// What is to be shared.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ShareRequest {
    /// Path of the answer
    #[schema(
        example = "/v1/days/00000000000000000000000000000000",
        pattern = "^/v1/(assessments|days|sweeps)/[0-9a-f]{32}$"
    )]
    pub answer: String,
    /// For how long, h
    #[schema(minimum = 1, maximum = 8784, example = 48)]
    pub hours: u64,
}

/// A link that shares.
#[derive(Debug, Serialize, ToSchema)]
pub struct ShareAnswer {
    /// Where it leads. Whoever has it can read the answer, and its files: keep it from whoever should not. It is not shown again
    pub href: String,
    /// Appended to the path of any other form of the answer, and of a day's flights
    #[schema(example = "share=slowpoint_0000000000000000000000000000000000000000000000000000000000000000")]
    pub query: String,
    /// When it ends
    #[schema(format = DateTime)]
    pub expires: String,
}

/// Makes a link that lets whoever has it read an answer for a while
///
/// Of a day its flights' answers as well. Nothing can be changed or computed with it.
#[utoipa::path(
    post,
    path = "/v1/shares",
    tag = "service",
    operation_id = "share_answer",
    request_body(content = ShareRequest, content_type = "application/json", description = "What is shared, and for how long"),
    responses(
        (
            status = 201, description = "The link", body = ShareAnswer, content_type = "application/json",
            headers(("Location" = String, description = "Where it leads")),
        ),
        ShareRefusals,
    ),
)]
pub async fn create(
    Held(state): Held<Arc<State>>,
    Extension(client): Extension<Client>,
    JsonBody(body): JsonBody,
) -> Result<Response, Problem> {
    let fault = |pointer: &str, problem: String, remedy: &str| {
        Problem::faults(vec![FieldFault { pointer: pointer.into(), problem, remedy: remedy.into(), sent: None }])
    };
    let asked: serde_json::Value =
        serde_json::from_slice(&body).map_err(|error| Problem::malformed_json(&error.to_string()))?;
    let remedy = "give {\"answer\": \"/v1/days/ID\", \"hours\": 48}";
    let asked: ShareRequest = serde_json::from_value(asked).map_err(|error| fault("", error.to_string(), remedy))?;
    if !(1..=MOST_HOURS).contains(&asked.hours) {
        return Err(fault("/hours", format!("{} hours", asked.hours), "give 1 to 8784 hours"));
    }
    let parts: Vec<&str> = asked.answer.split('/').collect();
    let named = match parts.as_slice() {
        ["", "v1", shelf, id] => Shelf::of_name(shelf).zip(ContentId::parse(id)),
        _ => None,
    };
    let Some((shelf, id)) = named else {
        return Err(fault(
            "/answer",
            "this is no path of an answer".into(),
            "give /v1/assessments/ID, /v1/days/ID or /v1/sweeps/ID",
        ));
    };
    let secret = access::new_secret();
    let expires = Timestamp::now() + Duration::from_secs(3600 * asked.hours);
    let (store, sum) = (Arc::clone(&state.store), access::sum(&secret));
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
    let href = format!("{}?{query}", asked.answer);
    let headers = [(header::LOCATION, text_header(&href)), (header::CACHE_CONTROL, text_header("no-store"))];
    Ok((StatusCode::CREATED, headers, Json(ShareAnswer { href, query, expires: expires.to_string() })).into_response())
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
