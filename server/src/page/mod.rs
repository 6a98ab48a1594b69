//! The RSO's page: answers to look at and to print, made here, so that they can be read without script.
//!
//! But for that on which a day is written down (`entry`), every page is made from the stored answer alone, by the functions that
//! read it for the API, and whoever may read the one may read the other. A page shows numbers, words and colours of the answer; it works out none.

mod assets;
pub mod day;
pub mod entry;
pub mod file;
pub mod flight;
pub mod front;
pub mod job;
pub mod kept;
mod parts;
pub mod refusal;
pub mod share;
pub mod sheet;
pub mod sign_in;
mod standing;
pub mod sweep;
mod told;
pub mod view;

use axum::body::Body;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

use crate::api::assessments::text_header;
use crate::api::validator::holds;
use crate::id::{hex, sum};

pub use assets::{offline, read as asset};

/// Every page of an answer or a job.
pub const ROUTES: [&str; 12] = [
    "/days/{id}",
    "/days/{id}/file",
    "/days/{id}/share",
    "/days/{id}/sheet",
    "/flights/{id}",
    "/flights/{id}/embed",
    "/flights/{id}/file",
    "/flights/{id}/share",
    "/flights/{id}/sheet",
    "/jobs/{id}",
    "/sweeps/{id}",
    "/sweeps/{id}/share",
];
/// The other addresses that a browser is refused at with a page.
const OTHERS: [&str; 7] = ["/", "/jobs", "/jobs/{id}/dismiss", "/new", "/offline", "/sign-in", "/sign-out"];

/// Pages load and ask this server alone, run only what lies in files of it, and nobody frames them.
const CONTENT_SECURITY_POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self'; script-src 'self'; \
    connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";
/// What is made to be framed runs nothing and sends nothing.
const FRAMED: &str =
    "default-src 'none'; style-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors *";

/// Octets of the sum that tells a page from others.
const TAG_OCTETS: usize = 16;

/// A page as it is sent. What an answer says never changes, but how it is shown may with the next release: so a client asks
/// each time, and is told if it holds the very same page. What it is told then takes the place of the headers that it holds
/// (RFC 9111, 4.3.4): so the policy is that of the page.
fn sent(page: String, headers: &HeaderMap) -> Response {
    let tag = format!("W/\"{}\"", hex(&sum(&page)[..TAG_OCTETS]));
    let held = holds(&tag, headers);
    let mut response = if held { StatusCode::NOT_MODIFIED.into_response() } else { as_html(page) };
    let told = response.headers_mut();
    told.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(CONTENT_SECURITY_POLICY));
    told.insert(header::REFERRER_POLICY, HeaderValue::from_static("same-origin"));
    told.insert(header::ETAG, text_header(&tag));
    told.insert(header::CACHE_CONTROL, HeaderValue::from_static("private, no-cache"));
    response
}

/// HTML that may load what pages load. A form of it says where it comes from, to this server alone: with no referrer at all a
/// browser would call its origin "null".
fn as_html(page: String) -> Response {
    let headers = [
        (header::CONTENT_TYPE, "text/html; charset=utf-8"),
        (header::CONTENT_SECURITY_POLICY, CONTENT_SECURITY_POLICY),
        (header::REFERRER_POLICY, "same-origin"),
    ];
    (headers, Body::from(page)).into_response()
}

/// Leads a browser on after what it sent, by GET.
fn led(path: &str) -> Response {
    let headers =
        [(header::LOCATION, text_header(path)), (header::CACHE_CONTROL, HeaderValue::from_static("no-store"))];
    (StatusCode::SEE_OTHER, headers).into_response()
}

/// The same, to be framed by any site: there is nothing on it to press but a link.
fn framed_anywhere(mut response: Response) -> Response {
    response.headers_mut().insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(FRAMED));
    response
}
