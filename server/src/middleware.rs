//! What every response gets: a request id, a line in the log, headers, and a problem instead of plain errors.

use std::borrow::Cow;
use std::hash::{BuildHasher, RandomState};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, LazyLock};
use std::time::Instant;

use axum::extract::{MatchedPath, Request, State};
use axum::http::{HeaderName, HeaderValue, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use tracing::Instrument;

use crate::metrics::{Counted, Metrics};
use crate::page::refusal::{self, Wanted};
use crate::problem::{Kind, Problem};

/// Carries the request's id, both ways.
pub const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// Longest id taken over from a client or proxy.
const LONGEST_ID: usize = 64;

/// Nothing may be loaded or run by anything served, unless a handler says otherwise.
const CONTENT_SECURITY_POLICY: &str = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// Refuses what is too long before anything looks at it.
pub async fn bound_head(
    State(state): State<Arc<crate::State>>,
    request: Request,
    next: Next,
) -> Result<Response, Problem> {
    let config = &state.config;
    let uri = request.uri().path_and_query().map_or(0, |uri| uri.as_str().len());
    if uri > config.uri_limit {
        let detail = format!("A URL may have {} bytes; a card belongs in the body of a POST.", config.uri_limit);
        return Err(Problem::new(Kind::UriTooLong, detail).with_limit("uri_limit", config.uri_limit as u64, "bytes"));
    }
    let head: usize = request.headers().iter().map(|(name, value)| name.as_str().len() + value.len()).sum();
    if head > config.head_limit {
        let detail = format!("Headers may have {} bytes in all.", config.head_limit);
        return Err(Problem::new(Kind::HeadTooLarge, detail).with_limit(
            "head_limit",
            config.head_limit as u64,
            "bytes",
        ));
    }
    Ok(next.run(request).await)
}

/// What the outermost layer knows.
#[derive(Clone)]
pub struct Finished {
    metrics: Arc<Metrics>,
    /// After how long it is worth coming back to a busy server, s.
    retry_after_s: u64,
}

impl Finished {
    /// From the service.
    pub fn of(state: &crate::State) -> Self {
        Self { metrics: Arc::clone(&state.metrics), retry_after_s: state.config.retry_after_s }
    }
}

/// The outermost layer.
pub async fn finish(State(known): State<Finished>, request: Request, next: Next) -> Response {
    let id = request_id(&request);
    let (method, path) = (request.method().clone(), request.uri().path().to_string());
    let route = request.extensions().get::<MatchedPath>().cloned();
    let route = route.as_ref().map(MatchedPath::as_str);
    let page = refusal::wanted(route, &path, request.headers()).then(|| Wanted::of(request.method(), request.uri()));
    let begun = Instant::now();
    // A span of the highest level: however little is logged, each line has its id.
    let span = tracing::error_span!("request", id = %id);
    async {
        let (metrics, told) = (&*known.metrics, shown(&path));
        let mut left = Left { path: &told, answered: false, metrics, _in_flight: Counted::up(&metrics.in_flight) };
        let response = next.run(request).await;
        left.answered = true;
        let (mut response, problem) = as_problem(response, &id, known.retry_after_s, page);
        add_headers(&mut response, &id, &path);
        if let Some(problem) = problem {
            metrics.refused(&problem, route);
        }
        metrics.answered(&method, route, response.status(), begun.elapsed().as_secs_f64());
        let (status, ms) = (response.status().as_u16(), begun.elapsed().as_millis());
        // The query is left out: it may hold what a client would not want in a log.
        tracing::info!(%method, path = &*told, status, ms, "answered");
        response
    }
    .instrument(span)
    .await
}

/// A path for a message or the log: long ones are cut.
pub fn shown(path: &str) -> Cow<'_, str> {
    const LONGEST: usize = 120;
    if path.len() <= LONGEST { path.into() } else { path.chars().take(LONGEST).chain("...".chars()).collect() }
}

/// Notes that a request was dropped before its answer: the client went away.
struct Left<'a> {
    path: &'a str,
    answered: bool,
    metrics: &'a Metrics,
    _in_flight: Counted,
}

impl Drop for Left<'_> {
    fn drop(&mut self) {
        if !self.answered {
            self.metrics.left.inc();
            tracing::info!(path = self.path, "client left");
        }
    }
}

/// A panic of a handler; the panic hook has logged it.
pub fn panicked(_: Box<dyn core::any::Any + Send>) -> Response {
    Problem::internal().into_response()
}

/// A problem in place of a plain error, as a page for whoever wants one.
fn as_problem(
    mut response: Response,
    id: &str,
    retry_after_s: u64,
    page: Option<Wanted>,
) -> (Response, Option<Problem>) {
    let status = response.status();
    if !status.is_client_error() && !status.is_server_error() {
        return (response, None);
    }
    let problem = response.extensions_mut().remove::<Problem>().unwrap_or_else(|| Problem::of_status(status));
    let mut answered = problem.respond(id, retry_after_s);
    if let Some(wanted) = page {
        let wanted = response.extensions_mut().remove::<Wanted>().unwrap_or(wanted);
        answered = refusal::dressed(&problem.body(id), &wanted, answered);
    }
    // What the router and the layer of other sites' pages have said holds for the problem as well.
    let kept = |name: &HeaderName| {
        *name == header::ALLOW || *name == header::VARY || name.as_str().starts_with("access-control-")
    };
    for (name, value) in response.headers().iter().filter(|(name, _)| kept(name)) {
        answered.headers_mut().append(name, value.clone());
    }
    (answered, Some(problem))
}

fn add_headers(response: &mut Response, id: &str, path: &str) {
    // Pictures are made to be shown by the pages of clubs; whoever may not see one does not get it. That one is unchanged is
    // said with the same headers, which take the place of those that a browser holds (RFC 9111, 4.3.4), and without a type.
    let headers = response.headers();
    let picture = headers.get(header::CONTENT_TYPE).map_or_else(
        || [".svg", ".png"].iter().any(|form| path.ends_with(form)),
        |sent| sent.as_bytes().starts_with(b"image/"),
    );
    let headers = response.headers_mut();
    if let Ok(id) = HeaderValue::from_str(id) {
        headers.insert(REQUEST_ID, id);
    }
    for (name, value) in [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::CONTENT_SECURITY_POLICY, CONTENT_SECURITY_POLICY),
        // Whatever is not an answer or says otherwise is asked for anew.
        (header::CACHE_CONTROL, "no-cache"),
        (header::REFERRER_POLICY, "no-referrer"),
        (HeaderName::from_static("cross-origin-resource-policy"), if picture { "cross-origin" } else { "same-origin" }),
    ] {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    }
}

/// A sound id of a proxy in front is kept, so that both logs can be matched; else one is made.
fn request_id(request: &Request) -> String {
    static SECRET: LazyLock<RandomState> = LazyLock::new(RandomState::new);
    static SERIAL: AtomicU64 = AtomicU64::new(0);
    let sound = |text: &&str| {
        (1..=LONGEST_ID).contains(&text.len())
            && text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_')
    };
    let given = request.headers().get(REQUEST_ID).and_then(|value| value.to_str().ok()).filter(sound);
    given.map_or_else(|| format!("{:016x}", SECRET.hash_one(SERIAL.fetch_add(1, Ordering::Relaxed))), str::to_string)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use axum::Router;
    use axum::body::{Body, to_bytes};
    use axum::routing::get;
    use tower::ServiceExt;
    use tower_http::catch_panic::CatchPanicLayer;

    use super::*;

    async fn careless() -> &'static str {
        assert!(std::env::args().len() == usize::MAX, "a secret");
        ""
    }

    #[tokio::test]
    async fn panics_and_plain_errors_become_problems() {
        let known = Finished { metrics: Arc::new(Metrics::new().unwrap()), retry_after_s: 10 };
        let app = Router::new()
            .route("/panic", get(careless))
            .route("/teapot", get(|| async { (axum::http::StatusCode::IM_A_TEAPOT, "a secret") }))
            .layer(CatchPanicLayer::custom(panicked))
            .layer(axum::middleware::from_fn_with_state(known, finish));
        for (path, status, kind) in [("/panic", 500, "internal"), ("/teapot", 400, "bad-request")] {
            let response = app.clone().oneshot(Request::get(path).body(Body::empty()).unwrap()).await.unwrap();
            assert_eq!(response.status().as_u16(), status);
            let body = String::from_utf8(to_bytes(response.into_body(), 10_000).await.unwrap().to_vec()).unwrap();
            assert!(body.contains(&format!("/problems/{kind}")) && !body.contains("secret"), "{body}");
        }
    }
}
