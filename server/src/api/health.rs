//! `/livez`, `/readyz` and `/metrics`: for whatever watches the process.

use std::sync::Arc;
use std::sync::atomic::Ordering;

use axum::extract::State as Held;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use crate::State;
use crate::metrics::MEDIA_TYPE;
use crate::problem::{Kind, MetricsRefusals, PlainRefusals, Problem, ReadyRefusals};

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
///
/// Not while the server is about to stop, nor while its store fails, hangs, or its disk is full. Answered within a few
/// seconds in any case.
#[utoipa::path(
    get,
    path = "/readyz",
    tag = "service",
    operation_id = "readyz",
    responses((status = 200, description = "They can", body = String, content_type = "text/plain"), ReadyRefusals),
)]
pub async fn readyz(Held(state): Held<Arc<State>>) -> Result<Response, Problem> {
    if state.draining.load(Ordering::SeqCst) {
        return Err(Problem::new(Kind::Stopping, "The server is about to stop. Send requests elsewhere."));
    }
    state.watch.ready().await?;
    Ok(well("ready\n"))
}

/// Counts and gauges for Prometheus
///
/// Its text format, 0.0.4. Labels hold methods, routes, statuses and kinds, no id and nothing that was sent. While the store
/// cannot be read its figures are left out and `slowpoint_store_up` is 0.
#[utoipa::path(
    get,
    path = "/metrics",
    tag = "service",
    operation_id = "metrics",
    responses((status = 200, description = "The metrics", body = String, content_type = "text/plain"), MetricsRefusals),
)]
pub async fn metrics(Held(state): Held<Arc<State>>) -> Result<Response, Problem> {
    // Whatever keeps the store from answering is in the log.
    let seen = state.watch.seen().await.ok();
    let text = state.metrics.text(seen.as_ref()).map_err(|error| {
        tracing::error!(%error, "the metrics cannot be written");
        Problem::internal()
    })?;
    Ok(([(header::CACHE_CONTROL, "no-store"), (header::CONTENT_TYPE, MEDIA_TYPE)], text).into_response())
}

fn well(text: &'static str) -> Response {
    ([(header::CACHE_CONTROL, "no-store")], text).into_response()
}
