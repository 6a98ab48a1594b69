//! `/v1/weather`: weather messages decoded into the profile that an assessment takes.

use std::sync::Arc;

use axum::extract::State as Held;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use utoipa::openapi::schema::{KnownFormat, ObjectBuilder, SchemaFormat, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use slowpoint_sim::report::FIRST_CAUTION;

use super::assessments::to_json;
use super::blocking;
use super::extract::{Asked as AskedQuery, FileBody, JsonBody, OCTETS};
use crate::State;
use crate::config::ENGINE;
use crate::problem::{FileRefusals, Kind, Problem, WeatherRefusals};
use crate::render::svg;
use crate::render::wind_profile::{self, Said};
use crate::render::winds::Winds;
use crate::wire::{self, FileRejected, GribQuery, Weather, WeatherAnswer, WeatherRequest};

/// Decodes weather as people have it: surface report, winds aloft, sounding or winds by height, into the wind an assessment takes
///
/// Nothing is fetched and nothing is stored. What was taken for granted and what was left out is listed beside the
/// numbers; `wind` and `site` of the answer can be put into an assessment as they are. Several forecasts of one hour are an
/// ensemble: the answer lists them under `members`, and `wind` has the members.
#[utoipa::path(
    post,
    path = "/v1/weather",
    tag = "weather",
    operation_id = "decode_weather",
    request_body(content = WeatherRequest, content_type = "application/json", description = "Messages as they were issued, and the field"),
    responses(
        (status = 200, description = "The profile", body = WeatherAnswer, content_type = "application/json"),
        WeatherRefusals,
    ),
)]
pub async fn decode(Held(state): Held<Arc<State>>, JsonBody(body): JsonBody) -> Result<Response, Problem> {
    let place = state.decoding.take(&state.config).await?;
    let decoded = move || {
        let _place = place;
        wire::decode_weather(&body)
    };
    sent(&blocking(decoded).await?.map_err(Problem::rejected)?)
}

/// Draws decoded weather as SVG: the mean wind by height
///
/// Takes what `POST /v1/weather` takes, and refuses what that refuses. Against height: the speed as a line as the engine would lay it between
/// what is known, dashed where it is assumed, the direction as arrows the way the air moves, and speed, direction,
/// gusts and temperature in words. Stands alone and has a title and a description.
#[utoipa::path(
    post,
    path = "/v1/weather/profile.svg",
    tag = "weather",
    operation_id = "draw_weather",
    request_body(content = WeatherRequest, content_type = "application/json", description = "Messages as they were issued, and the field"),
    responses(
        (status = 200, description = "An SVG picture", body = String, content_type = "image/svg+xml"),
        WeatherRefusals,
    ),
)]
pub async fn profile_svg(Held(state): Held<Arc<State>>, JsonBody(body): JsonBody) -> Result<Response, Problem> {
    let place = state.decoding.take(&state.config).await?;
    let drawn = move || {
        let _place = place;
        wire::read_weather(&body).map(|weather| profile(&weather))
    };
    let drawn = blocking(drawn).await?.map_err(Problem::rejected)?;
    Ok(([(header::CONTENT_TYPE, svg::MEDIA_TYPE), (header::CACHE_CONTROL, "no-store")], drawn).into_response())
}

fn profile(weather: &Weather) -> String {
    let said = Said {
        name: &weather.source(),
        shown: "The mean wind by height, as decoded",
        caution: FIRST_CAUTION,
        source: ENGINE,
    };
    wind_profile::picture(&Winds::decoded(weather), None, &said)
}

/// The octets of a file, as the description has them.
struct GribFile;

impl PartialSchema for GribFile {
    fn schema() -> RefOr<Schema> {
        let format = SchemaFormat::KnownFormat(KnownFormat::Binary);
        ObjectBuilder::new().schema_type(Type::String).format(Some(format)).into()
    }
}

impl ToSchema for GribFile {}

/// Decodes the winds over a field out of a GRIB2 file: u and v at isobaric levels and at heights above ground
///
/// The grid point nearest to the place is taken, without interpolation; components along the grid's axes are turned to
/// north. Isobaric levels need their geopotential height in the same file. Of several times that nearest to `launch_at`
/// is taken. Members of an ensemble (product template 4.1) come as `members`. `wind` and `site` of the answer can be put
/// into an assessment as they are; the whole answer goes into `weather` as `decoded`, under a surface report.
#[utoipa::path(
    post,
    path = "/v1/weather/grib",
    tag = "weather",
    operation_id = "decode_grib",
    params(GribQuery),
    request_body(content = inline(GribFile), content_type = OCTETS, description = "The file, GRIB edition 2"),
    responses(
        (status = 200, description = "The profile", body = WeatherAnswer, content_type = "application/json"),
        FileRefusals,
    ),
)]
pub async fn decode_grib(
    Held(state): Held<Arc<State>>,
    AskedQuery(query): AskedQuery<GribQuery>,
    FileBody(file): FileBody,
) -> Result<Response, Problem> {
    let place = state.unpacking.take(&state.config).await?;
    let unpacked = move || {
        let _place = place;
        wire::decode_grib(&file, &query)
    };
    let answer = blocking(unpacked).await?.map_err(|rejected| match rejected {
        FileRejected::Query(detail) => Problem::new(Kind::InvalidQuery, detail),
        FileRejected::File(fault) => Problem::faults(vec![fault]),
    })?;
    sent(&answer)
}

fn sent(answer: &WeatherAnswer) -> Result<Response, Problem> {
    let bytes = to_json(answer).map_err(|_| Problem::internal())?;
    Ok(([(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")], bytes).into_response())
}
