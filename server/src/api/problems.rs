//! `/problems/{kind}`: what the type of a problem means.

use axum::response::{IntoResponse, Response};

use super::extract::InPath;
use crate::problem::{ExplainRefusals, Kind, Problem};

/// Says what a kind of problem means
#[utoipa::path(
    get,
    path = "/problems/{kind}",
    tag = "service",
    operation_id = "explain_problem",
    params(("kind" = String, Path, description = "Last part of a problem's type", example = "invalid-input")),
    responses((status = 200, description = "Its meaning in words", body = String, content_type = "text/plain"), ExplainRefusals),
)]
pub async fn explain(InPath(slug): InPath<String>) -> Result<Response, Problem> {
    let Some(kind) = Kind::of_slug(&slug) else {
        let known: Vec<_> = Kind::ALL.iter().map(|kind| kind.slug()).collect();
        return Err(Problem::new(Kind::UnknownPath, format!("Kinds of problems are {}.", known.join(", "))));
    };
    let status = kind.status();
    Ok(format!("/problems/{slug}\nStatus {status}\n{}\n", kind.title()).into_response())
}
