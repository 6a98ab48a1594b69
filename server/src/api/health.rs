//! `/livez` and `/readyz`: for whatever watches the process.

use std::sync::Arc;

use axum::extract::State as Held;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::blocking;
use crate::State;
use crate::problem::{PlainRefusals, Problem, ReadyRefusals};

/// The process answers
#[utoipa::path(
    get,
    path = "/livez",
    tag = "service",
    operation_id = "livez",
    responses((status = 200, description = "It does", body = String, content_type = "text/plain"), PlainRefusals),
)]
pub async fn livez() -> Response {
    well("alive\n")
}

/// Assessments can be computed and stored
#[utoipa::path(
    get,
    path = "/readyz",
    tag = "service",
    operation_id = "readyz",
    responses((status = 200, description = "They can", body = String, content_type = "text/plain"), ReadyRefusals),
)]
pub async fn readyz(Held(state): Held<Arc<State>>) -> Result<Response, Problem> {
    let store = Arc::clone(&state.store);
    blocking(move || store.ready()).await?.map_err(|error| Problem::storage(&error))?;
    Ok(well("ready\n"))
}

fn well(text: &'static str) -> Response {
    ([(header::CACHE_CONTROL, "no-store")], text).into_response()
}
