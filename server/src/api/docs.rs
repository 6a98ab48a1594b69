//! `/docs`: the description as a page. Everything it loads is part of this program.

use std::sync::{Arc, LazyLock};

use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Redirect, Response};
use utoipa_swagger_ui::Config;

use super::extract::InPath;
use crate::problem::{Kind, PlainRefusals, Problem};

/// The page sets styles on its elements and shows pictures from data; scripts come from files alone.
const CONTENT_SECURITY_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; \
    img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// In place of the title that the page comes with.
const TITLE: &str = "<title>Slowpoint: description</title>";

/// One document, so no bar to choose among several: the page without it finds the document under `url` only.
/// "none" keeps the page from asking another host to validate the document.
static PAGE: LazyLock<Arc<Config<'static>>> = LazyLock::new(|| {
    Arc::new(
        Config::from("/openapi.json")
            .validator_url("none")
            .use_base_layout()
            .default_models_expand_depth(0)
            .try_it_out_enabled(true),
    )
});

/// Leads to the page, whose files lie beside it
#[utoipa::path(
    get,
    path = "/docs",
    tag = "service",
    operation_id = "docs",
    responses((status = 308, description = "To `/docs/`"), PlainRefusals),
)]
pub async fn redirect() -> Redirect {
    Redirect::permanent("/docs/")
}

/// The page itself.
pub async fn index() -> Result<Response, Problem> {
    file(InPath("index.html".to_string())).await
}

/// A file of the page.
pub async fn file(InPath(name): InPath<String>) -> Result<Response, Problem> {
    let found = utoipa_swagger_ui::serve(&name, Arc::clone(&PAGE)).map_err(|error| {
        tracing::error!(%error, "docs page");
        Problem::internal()
    })?;
    let found =
        found.ok_or_else(|| Problem::new(Kind::UnknownPath, "The page has no such file. It begins at /docs/."))?;
    let mut bytes = found.bytes.into_owned();
    if name == "index.html" {
        bytes = String::from_utf8_lossy(&bytes).replace("<title>Swagger UI</title>", TITLE).into_bytes();
    }
    let mut response = bytes.into_response();
    let headers = response.headers_mut();
    if let Ok(media_type) = HeaderValue::from_str(&found.content_type) {
        headers.insert(header::CONTENT_TYPE, media_type);
    }
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-cache"));
    headers.insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(CONTENT_SECURITY_POLICY));
    Ok(response)
}
