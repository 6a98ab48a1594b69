//! A problem as a page, in the problem's own words, for whoever asked with a browser.

use axum::http::{HeaderMap, HeaderValue, header};
use axum::response::Response;
use maud::html;

use super::view::{document, first_caution};
use super::{CONTENT_SECURITY_POLICY, ROUTES};
use crate::problem::ProblemBody;

/// Media type of a page, as a browser names it first.
const HTML: &str = "text/html";

/// Whether a client would rather read a page than JSON: it names HTML, and the address is that of a page, or of nothing and
/// not below that of the API.
pub fn wanted(route: Option<&str>, path: &str, headers: &HeaderMap) -> bool {
    let page = route.map_or(!path.starts_with("/v1"), |route| route == "/" || ROUTES.contains(&route));
    let mut named = headers.get_all(header::ACCEPT).iter().filter_map(|accept| accept.to_str().ok());
    page && named.any(|accept| accept.contains(HTML))
}

/// Puts a page in place of the JSON of a problem. Status and headers stay.
pub fn dressed(problem: &ProblemBody, mut response: Response) -> Response {
    let body = html! {
        header.top { p.mark { a href="/" { "Slowpoint" } } }
        main #main {
            h1 { (problem.title) }
            (first_caution())
            p { (problem.detail) }
            @if !problem.errors.is_empty() {
                ul {
                    @for fault in problem.errors {
                        li { code { (fault.pointer) } ": " (fault.problem) ". " strong { (fault.remedy) } }
                    }
                }
            }
            @if let Some(limit) = problem.limit { p { "The limit " code { (limit.name) } " is " (limit.value) " " (limit.unit) "." } }
            p.note { "Status " (problem.status) ", request " code { (problem.instance) } "." }
            p { a href=(problem.kind) { "What kind of problem this is" } }
        }
    };
    *response.body_mut() = document(problem.title, None, &[], &body).into();
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("text/html; charset=utf-8"));
    headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(CONTENT_SECURITY_POLICY));
    headers.insert(header::VARY, HeaderValue::from_static("accept"));
    response
}
