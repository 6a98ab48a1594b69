//! `/openapi.json`: the machine description, built from the routes and their types.

use std::sync::LazyLock;

use axum::body::Bytes;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use utoipa::ToSchema;
use utoipa::openapi::schema::{Schema, SchemaType, Type};
use utoipa::openapi::{OpenApi, RefOr};

use crate::problem::{LimitBody, PlainRefusals, ProblemBody};
use crate::routes;
use crate::wire::{FieldFault, GlimpseAnswer};

/// What stands around the paths.
#[derive(utoipa::OpenApi)]
#[openapi(
    info(
        title = "Slowpoint",
        description = "For each delay of a model or high-power rocket: the chance that its recovery opens above a speed limit, and where it comes down.\n\nAn estimate from the listed assumptions. It approves no flight. Local codes and the range safety officer decide.\n\nA quantity in a request is a string with a unit (\"35 mph\", \"12 oz\", \"54 mm\") or a bare number in SI; angles are degrees. Names in answers carry their unit. Every refusal is `application/problem+json` (RFC 9457), but for what the connection itself answers before there is a request: 400 to what is no HTTP/1.1, 414 to a URL of 64 kB, and 431 to more than 512 header lines or some 400 kB of them, each without a body.",
        license(name = "MIT OR Apache-2.0", identifier = "MIT OR Apache-2.0"),
    ),
    servers((url = "/", description = "This server")),
    tags(
        (name = "assessments", description = "Flight cards and their answers"),
        (name = "days", description = "A day's flight cards under one sky"),
        (name = "sweeps", description = "One flight card at many hours, rails, sites, or with other cards"),
        (name = "jobs", description = "Work that takes longer than a client waits (OGC API - Processes 1.0)"),
        (name = "weather", description = "Weather as people have it"),
        (name = "service", description = "The service itself"),
    ),
    components(schemas(ProblemBody, LimitBody, FieldFault, GlimpseAnswer)),
)]
pub struct Description;

/// Examples of requests by path, ready to be sent from the page: an invented card, and published messages.
const EXAMPLES: [(&str, &str); 2] = [
    ("/v1/assessments", include_str!("../../examples/first-flight.json")),
    ("/v1/weather", include_str!("../../examples/weather/albuquerque.json")),
];

/// Adds what the types cannot say.
pub fn complete(mut document: OpenApi) -> OpenApi {
    for (path, example) in EXAMPLES {
        let body = document.paths.paths.get_mut(path).and_then(|path| path.post.as_mut()?.request_body.as_mut());
        if let Some(RefOr::T(body)) = body
            && let Some(RefOr::T(content)) = body.content.get_mut("application/json")
        {
            content.example = serde_json::from_str(example).ok();
        }
    }
    // A parameter is absent or has a value: there is no null in a URL or a header.
    for path in document.paths.paths.values_mut() {
        for operation in [&mut path.get, &mut path.post, &mut path.delete].into_iter().flatten() {
            for parameter in operation.parameters.iter_mut().flatten() {
                if let RefOr::T(parameter) = parameter
                    && let Some(RefOr::T(Schema::Object(schema))) = &mut parameter.schema
                    && let SchemaType::Array(kinds) = &schema.schema_type
                    && let Some(kind) = kinds.iter().find(|kind| **kind != Type::Null).cloned()
                {
                    schema.schema_type = SchemaType::Type(kind);
                }
            }
        }
    }
    document
}

/// The document as it is served and kept in the repository.
pub fn text() -> Result<String, serde_json::Error> {
    let mut text = serde_json::to_string_pretty(&routes::document())?;
    text.push('\n');
    Ok(text)
}

/// This description
#[utoipa::path(
    get,
    path = "/openapi.json",
    tag = "service",
    operation_id = "openapi",
    responses((status = 200, description = "OpenAPI 3.1", body = AnyObject, content_type = "application/json"), PlainRefusals),
)]
pub async fn openapi_json() -> Result<Response, crate::problem::Problem> {
    static TEXT: LazyLock<Option<Bytes>> = LazyLock::new(|| text().ok().map(Bytes::from));
    let text = TEXT.clone().ok_or_else(crate::problem::Problem::internal)?;
    Ok(([(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-cache")], text).into_response())
}

/// Any JSON object.
#[derive(ToSchema)]
#[schema(value_type = Object)]
#[allow(dead_code, reason = "stands for a schema only")]
struct AnyObject(serde_json::Value);
