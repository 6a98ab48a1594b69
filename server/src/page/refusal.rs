//! A problem as a page, in the problem's own words, for whoever asked with a browser.

use axum::http::uri::PathAndQuery;
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri, header};
use axum::response::Response;
use maud::html;

use super::view::{document, first_caution};
use super::{CONTENT_SECURITY_POLICY, OTHERS, ROUTES, sign_in};
use crate::access::without_share;
use crate::problem::ProblemBody;
use crate::session::own_path;

/// Media type of a page, as a browser names it first.
const HTML: &str = "text/html";

/// Whether a client would rather read a page than JSON: it names HTML, and the address is that of a page, or of nothing and
/// not below that of the API.
pub fn wanted(route: Option<&str>, path: &str, headers: &HeaderMap) -> bool {
    let page = route.map_or(!path.starts_with("/v1"), |route| ROUTES.contains(&route) || OTHERS.contains(&route));
    let mut named = headers.get_all(header::ACCEPT).iter().filter_map(|accept| accept.to_str().ok());
    page && named.any(|accept| accept.contains(HTML))
}

/// Where a browser is led once it is signed in, for a refusal that asks it to.
#[derive(Debug, Clone)]
pub struct Wanted(pub String);

impl Wanted {
    /// The address that was asked, without a link's secret.
    pub fn of(method: &Method, uri: &Uri) -> Self {
        if *method != Method::GET {
            return Self("/".into());
        }
        let mut uri = uri.clone();
        without_share(&mut uri);
        Self(uri.path_and_query().map_or("/", PathAndQuery::as_str).to_string())
    }
}

/// What is said of a token that a browser lacks: nobody types headers.
fn lacking(response: &Response) -> Option<&'static str> {
    let asked = response.headers().get(header::WWW_AUTHENTICATE)?;
    let shown = asked.to_str().is_ok_and(|asked| asked.contains("invalid_token"));
    (!shown).then_some("This server shows it to whoever is signed in.")
}

/// Puts a page in place of the JSON of a problem. Status and headers stay.
pub fn dressed(problem: &ProblemBody, wanted: &Wanted, mut response: Response) -> Response {
    let asks = response.status() == StatusCode::UNAUTHORIZED;
    let lacking = lacking(&response);
    let body = html! {
        header.top { p.mark { a href="/" { "Slowpoint" } } }
        main #main {
            h1 { (problem.title) }
            (first_caution())
            p { (lacking.unwrap_or(problem.detail)) }
            @if asks {
                (sign_in::form(own_path(&wanted.0)))
                p { a href=(sign_in::address(&wanted.0)) { "Signed in here already, and come from another site: continue" } }
            }
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
    headers.insert(header::REFERRER_POLICY, HeaderValue::from_static("same-origin"));
    headers.insert(header::VARY, HeaderValue::from_static("accept"));
    response
}
