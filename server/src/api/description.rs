//! `/openapi.json`: the machine description, built from the routes and their types.

use std::sync::LazyLock;

use axum::body::Bytes;
use axum::http::{Method, header};
use axum::response::{IntoResponse, Response};
use utoipa::ToSchema;
use utoipa::openapi::header::Header;
use utoipa::openapi::link::LinkBuilder;
use utoipa::openapi::path::{Operation, ParameterBuilder, ParameterIn, PathItem};
use utoipa::openapi::schema::{ObjectBuilder, Schema, SchemaType, Type};
use utoipa::openapi::security::{HttpAuthScheme, HttpBuilder, SecurityRequirement, SecurityScheme};
use utoipa::openapi::{OpenApi, Ref, RefOr, Required};

use crate::problem::{self, LimitBody, PlainRefusals, ProblemBody};
use crate::wire::{FieldFault, GlimpseAnswer};
use crate::{access, routes};

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

/// Name of the only scheme of security.
const TOKEN: &str = "token";

/// What decides whether a response carries a header.
struct Answered<'a> {
    status: &'a str,
    /// It can be a job instead.
    posts: bool,
    /// It is charged to the client's budget.
    charged: bool,
    /// The client may hold it already.
    held: bool,
    /// It leads to what changed.
    revises: bool,
}

type Carries = fn(&Answered) -> bool;

/// The headers of ours, with what they say and where they are. Those for caches and browsers alone are left out.
const HEADERS: [(&str, Type, &str, Carries); 10] = [
    (
        "X-Request-Id",
        Type::String,
        "Id of the request: in the server's log, and `instance` of a problem. One that the request brings is kept, if it has at most 64 letters, digits, hyphens and underscores",
        |_| true,
    ),
    ("ETag", Type::String, "Validator of the answer, for If-None-Match; not with `dry_run=true`", |a| {
        a.status == "304" || (a.status == "200" && (a.held || a.posts))
    }),
    ("Location", Type::String, "Where it is: the answer, or the job that will answer; not with `dry_run=true`", |a| {
        matches!(a.status, "201" | "308") || (a.status == "200" && a.posts)
    }),
    ("Content-Location", Type::String, "Where the answer stays; not with `dry_run=true`", |a| {
        a.status == "200" && a.posts
    }),
    ("Link", Type::String, "What changed, as rel=\"related\"; of a job, once it has ended", |a| {
        a.revises && matches!(a.status, "200" | "201")
    }),
    ("Preference-Applied", Type::String, "`respond-async`, where the client preferred a job (RFC 7240)", |a| {
        a.posts && a.status == "201"
    }),
    (
        "RateLimit-Policy",
        Type::String,
        "How much the client may have computed: `q` core-seconds in `w` seconds (draft-ietf-httpapi-ratelimit-headers-10); left out where the server sets no bound",
        |a| a.charged && matches!(a.status, "200" | "201" | "429"),
    ),
    ("RateLimit", Type::String, "What is left of that: `r` core-seconds, and all of it in `t` seconds", |a| {
        a.charged && matches!(a.status, "200" | "201" | "429")
    }),
    ("Retry-After", Type::Integer, "After how many seconds it is worth coming back", |a| {
        matches!(a.status, "429" | "503")
    }),
    ("WWW-Authenticate", Type::String, "That a bearer token is needed (RFC 6750)", |a| a.status == "401"),
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
    let paths = &mut document.paths.paths;
    let all: Vec<(String, String)> = paths
        .iter_mut()
        .flat_map(|(path, item)| operations(item).map(|(_, operation)| (path.clone(), operation.operation_id.clone())))
        .filter_map(|(path, name)| Some((path, name?)))
        .collect();
    for (path, item) in paths {
        for (method, operation) in operations(item) {
            without_nulls(operation);
            admit(&method, path, operation);
            head(path, operation);
            lead_on(path, operation, &all);
        }
    }
    // Whoever has no token says so by the first: it is for the server to decide.
    document.security =
        Some(vec![SecurityRequirement::default(), SecurityRequirement::new::<_, [&str; 0], _>(TOKEN, [])]);
    let components = document.components.get_or_insert_default();
    let token = HttpBuilder::new().scheme(HttpAuthScheme::Bearer).description(Some(
        "A token of this server (RFC 6750), from whoever runs it. Needed where there are tokens at all",
    ));
    components.add_security_scheme(TOKEN, SecurityScheme::Http(token.build()));
    components.headers = HEADERS
        .iter()
        .map(|(name, kind, says, _)| {
            let mut header = Header::new(ObjectBuilder::new().schema_type(kind.clone()));
            header.description = Some((*says).into());
            (name.to_string(), RefOr::T(header))
        })
        .collect();
    document
}

/// A parameter is absent or has a value: there is no null in a URL or a header.
fn without_nulls(operation: &mut Operation) {
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

/// The operations of a path, by the methods that the service answers.
fn operations(item: &mut PathItem) -> impl Iterator<Item = (Method, &mut Operation)> {
    let PathItem { get, post, delete, .. } = item;
    let all = [(Method::GET, get), (Method::POST, post), (Method::DELETE, delete)];
    all.into_iter().filter_map(|(method, operation)| Some((method, operation.as_mut()?)))
}

/// What is looked at before the handler: how it refuses, and the link that may stand in the query.
fn admit(method: &Method, path: &str, operation: &mut Operation) {
    problem::document(&mut operation.responses.responses, &access::refusals(method, path));
    if access::takes_link(method, path) {
        let share = ParameterBuilder::new()
            .name("share")
            .parameter_in(ParameterIn::Query)
            .required(Required::False)
            .description(Some(
                "Of a link from `POST /v1/shares`: reads what is shared, also beside a token that may not",
            ))
            .schema(Some(ObjectBuilder::new().schema_type(Type::String)));
        operation.parameters.get_or_insert_default().push(RefOr::T(share.build()));
    }
}

/// The headers of each response.
fn head(path: &str, operation: &mut Operation) {
    let responses = &mut operation.responses.responses;
    let (posts, charged, held) = (
        responses.contains_key("201") && responses.contains_key("200"),
        responses.contains_key("429"),
        responses.contains_key("304"),
    );
    for (status, response) in responses {
        let RefOr::T(response) = response else { continue };
        let answered = Answered { status, posts, charged, held, revises: path.ends_with("/revisions") };
        let carried = HEADERS.iter().filter(|(.., carries)| carries(&answered));
        response.headers.extend(
            carried.map(|(name, ..)| (name.to_string(), RefOr::Ref(Ref::new(format!("#/components/headers/{name}"))))),
        );
    }
}

/// From work that was posted to what is made of it, by all operations with their paths: those of a job, and those of the answer.
fn lead_on(path: &str, operation: &mut Operation, all: &[(String, String)]) {
    let responses = &mut operation.responses.responses;
    let Some(shelf) = path.split('/').nth(2).filter(|_| responses.contains_key("200") && responses.contains_key("201"))
    else {
        return;
    };
    let links = [
        ("201", "jobs", "$response.body#/jobID", "Of the job"),
        ("200", shelf, "$response.body#/id", "Of the answer; a dry run makes none"),
    ];
    for (status, made, id, of) in links {
        let Some(RefOr::T(response)) = responses.get_mut(status) else { continue };
        let below = format!("/v1/{made}/{{id}}");
        for (_, name) in all.iter().filter(|(path, _)| path.starts_with(&below)) {
            let link = LinkBuilder::new().operation_id(name).parameter("id", id).description(of);
            response.links.insert(name.clone(), RefOr::T(link.build()));
        }
    }
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
