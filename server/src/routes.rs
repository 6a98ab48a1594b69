//! Every route and every layer on one page. Router and OpenAPI document come from the same list.

use std::sync::{Arc, LazyLock};
use std::time::Duration;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::{HeaderName, HeaderValue, Method, Uri, header};
use axum::middleware::from_fn_with_state;
use axum::routing::{get, post};
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::cors::{AllowOrigin, CorsLayer};
use utoipa::OpenApi;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::State;
use crate::access;
use crate::admission;
use crate::api::{
    assessments, days, description, docs, events, files, flights, front, health, jobs, problems, shares, sweeps,
    weather,
};
use crate::middleware;
use crate::page;
use crate::problem::{Kind, Problem};

/// A browser need not ask again for so long what a page may ask.
const PREFLIGHT_HOLDS: Duration = Duration::from_secs(3600);

/// The service.
pub fn app(state: Arc<State>) -> Router {
    let body_limit = state.config.body_limit;
    let finished = middleware::Finished::of(&state);
    ROUTES
        .clone()
        // Of the routes above alone: what is nowhere is nobody's.
        .route_layer(from_fn_with_state(Arc::clone(&state), access::permit))
        // Before the store is asked who asks.
        .route_layer(from_fn_with_state(Arc::clone(&state), admission::admit))
        .fallback(unknown_path)
        .method_not_allowed_fallback(wrong_method)
        .layer(DefaultBodyLimit::max(body_limit))
        .layer(CatchPanicLayer::custom(middleware::panicked))
        .layer(from_fn_with_state(Arc::clone(&state), middleware::bound_head))
        // Pages may read refusals as well, and a browser's question before the request carries no token.
        .layer(cors(&state.config.allow_origin.0))
        // Outermost: sees every response, also those of the layers above and of the router itself.
        .layer(from_fn_with_state(finished, middleware::finish))
        .with_state(state)
}

/// The same for what the service asks of itself, on behalf of somebody whom it has let in already: requests bring their client.
pub fn unguarded(state: Arc<State>) -> Router {
    ROUTES.clone().with_state(state)
}

/// Every route by itself. Made once: with each comes all that the description says of it.
static ROUTES: LazyLock<Router<Arc<State>>> = LazyLock::new(|| {
    let (router, _) = listed().split_for_parts();
    router.route("/docs/", get(docs::index)).route("/docs/{*file}", get(docs::file)).merge(pages())
});

/// What is answered to whoever speaks plain HTTP where TLS is spoken: one problem to everything.
pub fn tls_needed(state: &State) -> Router {
    let told = || async {
        Problem::new(Kind::BadRequest, "TLS is spoken here: begin the address with https:// in place of http://.")
    };
    Router::new().fallback(told).layer(from_fn_with_state(middleware::Finished::of(state), middleware::finish))
}

/// What pages of other sites may ask and see: those that are listed, everything.
fn cors(origins: &[HeaderValue]) -> CorsLayer {
    const SENT: [HeaderName; 6] = [
        header::AUTHORIZATION,
        header::CONTENT_TYPE,
        header::IF_NONE_MATCH,
        HeaderName::from_static("last-event-id"),
        HeaderName::from_static("prefer"),
        middleware::REQUEST_ID,
    ];
    const SEEN: [HeaderName; 9] = [
        header::CONTENT_LOCATION,
        header::ETAG,
        header::LINK,
        header::LOCATION,
        header::RETRY_AFTER,
        HeaderName::from_static("preference-applied"),
        HeaderName::from_static("ratelimit"),
        HeaderName::from_static("ratelimit-policy"),
        middleware::REQUEST_ID,
    ];
    CorsLayer::new()
        .allow_origin(AllowOrigin::list(origins.iter().cloned()))
        .allow_methods([Method::GET, Method::POST, Method::DELETE])
        .allow_headers(SENT)
        .expose_headers(SEEN)
        .max_age(PREFLIGHT_HOLDS)
}

/// The OpenAPI document of the service.
pub fn document() -> utoipa::openapi::OpenApi {
    description::complete(listed().into_openapi())
}

fn listed() -> OpenApiRouter<Arc<State>> {
    OpenApiRouter::with_openapi(description::Description::openapi())
        .routes(routes!(assessments::create))
        .routes(routes!(assessments::read))
        .routes(routes!(flights::read))
        .routes(routes!(flights::table))
        .routes(routes!(days::create))
        .routes(routes!(days::read))
        .routes(routes!(days::revise))
        .routes(routes!(days::changes))
        .routes(routes!(sweeps::create))
        .routes(routes!(sweeps::read))
        .routes(routes!(jobs::look, jobs::dismiss))
        .routes(routes!(jobs::list))
        .routes(routes!(jobs::results))
        .routes(routes!(events::read))
        .routes(routes!(shares::create, shares::list))
        .routes(routes!(shares::end))
        .routes(routes!(weather::decode))
        .routes(routes!(weather::decode_grib))
        .routes(routes!(problems::explain))
        .routes(routes!(description::openapi_json))
        .routes(routes!(docs::redirect))
        .routes(routes!(health::livez))
        .routes(routes!(health::readyz))
        .routes(routes!(health::metrics))
        .routes(routes!(front::page))
        .merge(files())
}

/// Pictures and files of answers, as far as they are text compressed like pages. Answers are not: their validators are strong,
/// and so would have to be told apart by their coding.
fn files() -> OpenApiRouter<Arc<State>> {
    OpenApiRouter::new()
        .routes(routes!(flights::paths_svg))
        .routes(routes!(flights::paths_png))
        .routes(routes!(sweeps::heat_map_svg))
        .routes(routes!(sweeps::heat_map_png))
        .routes(routes!(files::landing_geojson))
        .routes(routes!(files::landing_kml))
        .routes(routes!(files::landing_svg))
        .routes(routes!(files::landing_png))
        .routes(routes!(files::deploy_speed_svg))
        .routes(routes!(files::deploy_speed_png))
        .routes(routes!(files::cords_svg))
        .routes(routes!(files::cords_png))
        .routes(routes!(files::calibration_svg))
        .routes(routes!(files::calibration_png))
        .routes(routes!(files::rare_svg))
        .routes(routes!(files::rare_png))
        .routes(routes!(files::wind_svg))
        .routes(routes!(files::wind_png))
        .routes(routes!(weather::profile_svg))
        .layer(CompressionLayer::new())
}

/// The RSO's page: HTML for people, so none of it is in the document. Pages are as compressible as text gets; pictures on them
/// have routes of their own above.
fn pages() -> Router<Arc<State>> {
    Router::new()
        .route("/days/{id}", get(page::day::read))
        .route("/days/{id}/file", get(page::file::of_day))
        .route("/days/{id}/share", get(page::share::of_day).post(page::share::day))
        .route("/days/{id}/sheet", get(page::sheet::of_day))
        .route("/flights/{id}", get(page::flight::read))
        .route("/flights/{id}/embed", get(page::flight::embed))
        .route("/flights/{id}/file", get(page::file::of_flight))
        .route("/flights/{id}/share", get(page::share::of_flight).post(page::share::flight))
        .route("/flights/{id}/sheet", get(page::sheet::of_flight))
        .route("/new", get(page::entry::page))
        .route("/jobs", get(page::job::list))
        .route("/jobs/{id}", get(page::job::read))
        .route("/jobs/{id}/dismiss", post(page::job::dismiss))
        .route("/offline", get(page::kept::nowhere))
        .route("/offline.js", get(page::offline))
        .route("/sign-in", get(page::sign_in::read).post(page::sign_in::enter))
        .route("/sign-out", post(page::sign_in::leave))
        .route("/sweeps/{id}", get(page::sweep::read))
        .route("/sweeps/{id}/share", get(page::share::of_sweep).post(page::share::sweep))
        .route("/assets/{file}", get(page::asset))
        .layer(CompressionLayer::new())
}

async fn unknown_path(uri: Uri) -> Problem {
    Problem::new(
        Kind::UnknownPath,
        format!(
            "There is nothing at {}. /openapi.json lists every path, /docs shows them.",
            middleware::shown(uri.path())
        ),
    )
}

async fn wrong_method(method: Method, uri: Uri) -> Problem {
    Problem::new(
        Kind::MethodNotAllowed,
        format!("{} does not answer {method}. The header Allow lists what it answers.", middleware::shown(uri.path())),
    )
}
