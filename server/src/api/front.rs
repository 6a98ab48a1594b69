//! `/`: where to begin.

use axum::extract::Request;
use axum::response::Response;

use crate::page::front;
use crate::problem::PlainRefusals;

/// Says what this is and where to begin
#[utoipa::path(
    get,
    path = "/",
    tag = "service",
    operation_id = "front_page",
    responses((status = 200, description = "A short page", body = String, content_type = "text/html"), PlainRefusals),
)]
pub async fn page(request: Request) -> Response {
    front::page(&request)
}
