//! Every route and every layer on one page. Router and OpenAPI document come from the same list.

use std::sync::Arc;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::{Method, Uri};
use axum::middleware::from_fn_with_state;
use axum::routing::get;
use tower_http::catch_panic::CatchPanicLayer;
use utoipa::OpenApi;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use crate::State;
use crate::api::{
    assessments, days, description, docs, events, files, flights, front, health, jobs, problems, sweeps, weather,
};
use crate::middleware;
use crate::problem::{Kind, Problem};

/// The service.
pub fn app(state: Arc<State>) -> Router {
    let body_limit = state.config.body_limit;
    let finished = middleware::Finished::of(&state);
    let (router, _) = listed().split_for_parts();
    router
        .route("/docs/", get(docs::index))
        .route("/docs/{*file}", get(docs::file))
        .fallback(unknown_path)
        .method_not_allowed_fallback(wrong_method)
        .layer(DefaultBodyLimit::max(body_limit))
        .layer(CatchPanicLayer::custom(middleware::panicked))
        .layer(from_fn_with_state(Arc::clone(&state), middleware::bound_head))
        // Outermost: sees every response, also those of the layers above and of the router itself.
        .layer(from_fn_with_state(finished, middleware::finish))
        .with_state(state)
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
        .routes(routes!(sweeps::heat_map_svg))
        .routes(routes!(sweeps::heat_map_png))
        .routes(routes!(jobs::look, jobs::dismiss))
        .routes(routes!(jobs::list))
        .routes(routes!(jobs::results))
        .routes(routes!(events::read))
        .routes(routes!(files::landing_geojson))
        .routes(routes!(files::landing_kml))
        .routes(routes!(files::landing_svg))
        .routes(routes!(files::landing_png))
        .routes(routes!(files::deploy_speed_svg))
        .routes(routes!(files::deploy_speed_png))
        .routes(routes!(weather::decode))
        .routes(routes!(weather::decode_grib))
        .routes(routes!(problems::explain))
        .routes(routes!(description::openapi_json))
        .routes(routes!(docs::redirect))
        .routes(routes!(health::livez))
        .routes(routes!(health::readyz))
        .routes(routes!(health::metrics))
        .routes(routes!(front::page))
}

async fn unknown_path(uri: Uri) -> Problem {
    Problem::new(
        Kind::UnknownPath,
        format!("There is nothing at {}. /openapi.json lists every path, /docs shows them.", shown(uri.path())),
    )
}

async fn wrong_method(method: Method, uri: Uri) -> Problem {
    Problem::new(
        Kind::MethodNotAllowed,
        format!("{} does not answer {method}. The header Allow lists what it answers.", shown(uri.path())),
    )
}

/// A path for a message: long ones are cut.
fn shown(path: &str) -> String {
    const LONGEST: usize = 120;
    if path.len() <= LONGEST {
        return path.to_string();
    }
    path.chars().take(LONGEST).chain("...".chars()).collect()
}
