//! `/v1/weather`: weather messages decoded into the profile that an assessment takes.

use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::assessments::to_json;
use super::blocking;
use super::extract::JsonBody;
use crate::problem::{Problem, WeatherRefusals};
use crate::wire::{self, WeatherAnswer, WeatherRequest};

/// Decodes weather as people have it: surface report, winds aloft, sounding or winds by height, into the wind an assessment takes
///
/// Nothing is fetched and nothing is stored. What was taken for granted and what was left out is listed beside the
/// numbers; `wind` and `site` of the answer can be put into an assessment as they are.
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
pub async fn decode(JsonBody(body): JsonBody) -> Result<Response, Problem> {
    let answer = blocking(move || wire::decode_weather(&body)).await?.map_err(Problem::rejected)?;
    let bytes = to_json(&answer).map_err(|_| Problem::internal())?;
    Ok(([(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")], bytes).into_response())
}
