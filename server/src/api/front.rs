//! `/`: where to begin.

use axum::response::Html;
use slowpoint_sim::report::FIRST_CAUTION;

use crate::problem::PlainRefusals;

/// Says what this is and where to begin
#[utoipa::path(
    get,
    path = "/",
    tag = "service",
    operation_id = "front_page",
    responses((status = 200, description = "A short page", body = String, content_type = "text/html"), PlainRefusals),
)]
pub async fn page() -> Html<String> {
    Html(format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>Slowpoint</title>\n</head>\n<body>\n\
         <h1>Slowpoint</h1>\n<p><strong>{FIRST_CAUTION}</strong></p>\n\
         <p>For each delay: when a rocket's recovery opens, how fast it is then, and where it comes down.</p>\n\
         <p>Post a flight card as JSON to <code>/v1/assessments</code>.</p>\n\
         <ul>\n<li><a href=\"/docs/\">How to ask and what comes back</a></li>\n\
         <li><a href=\"/openapi.json\">The same for programs (OpenAPI 3.1)</a></li>\n</ul>\n</body>\n</html>\n"
    ))
}
