//! What every response gets: a request id, a line in the log, headers, and a problem instead of plain errors.

use std::hash::{BuildHasher, RandomState};
use std::sync::LazyLock;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

use axum::extract::Request;
use axum::http::{HeaderName, HeaderValue, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use tracing::Instrument;

use crate::problem::Problem;

/// Carries the request's id, both ways.
pub const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// Longest id taken over from a client or proxy.
const LONGEST_ID: usize = 64;

/// Nothing may be loaded or run by anything served, unless a handler says otherwise.
const CONTENT_SECURITY_POLICY: &str = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// The outermost layer.
pub async fn finish(request: Request, next: Next) -> Response {
    let id = request_id(&request);
    let (method, path) = (request.method().clone(), request.uri().path().to_string());
    let begun = Instant::now();
    let span = tracing::info_span!("request", id = %id);
    async {
        let response = next.run(request).await;
        let mut response = as_problem(response, &id);
        add_headers(&mut response, &id);
        let (status, ms) = (response.status().as_u16(), begun.elapsed().as_millis());
        // The query is left out: it may hold what a client would not want in a log.
        tracing::info!(%method, path, status, ms, "answered");
        response
    }
    .instrument(span)
    .await
}

/// A panic of a handler; the panic hook has logged it.
pub fn panicked(_: Box<dyn core::any::Any + Send>) -> Response {
    Problem::internal().into_response()
}

fn as_problem(mut response: Response, id: &str) -> Response {
    let status = response.status();
    if !status.is_client_error() && !status.is_server_error() {
        return response;
    }
    let problem = response.extensions_mut().remove::<Problem>().unwrap_or_else(|| Problem::of_status(status));
    let mut answered = problem.respond(id);
    if let Some(allow) = response.headers_mut().remove(header::ALLOW) {
        answered.headers_mut().insert(header::ALLOW, allow);
    }
    answered
}

fn add_headers(response: &mut Response, id: &str) {
    let headers = response.headers_mut();
    if let Ok(id) = HeaderValue::from_str(id) {
        headers.insert(REQUEST_ID, id);
    }
    for (name, value) in [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::CONTENT_SECURITY_POLICY, CONTENT_SECURITY_POLICY),
        (header::REFERRER_POLICY, "no-referrer"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    ] {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    }
}

/// A sound id of a proxy in front is kept, so that both logs can be matched; else one is made.
fn request_id(request: &Request) -> String {
    static SECRET: LazyLock<RandomState> = LazyLock::new(RandomState::new);
    static SERIAL: AtomicU64 = AtomicU64::new(0);
    let sound = |text: &&str| {
        (1..=LONGEST_ID).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_')
    };
    let given = request.headers().get(REQUEST_ID).and_then(|value| value.to_str().ok()).filter(sound);
    given.map_or_else(
        || format!("{:016x}", SECRET.hash_one(SERIAL.fetch_add(1, Ordering::Relaxed))),
        str::to_string,
    )
}
