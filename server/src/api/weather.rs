//! `/v1/weather`: weather messages decoded into the profile that an assessment takes.

use axum::http::header;
use axum::response::{IntoResponse, Response};
use tokio::sync::Semaphore;
use utoipa::openapi::schema::{KnownFormat, ObjectBuilder, SchemaFormat, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use super::assessments::to_json;
use super::blocking;
use super::extract::{Asked as AskedQuery, FileBody, JsonBody, OCTETS};
use crate::problem::{FileRefusals, Kind, Problem, WeatherRefusals};
use crate::wire::{self, FileRejected, GribQuery, WeatherAnswer, WeatherRequest};

/// Files that are unpacked at the same time: each may take a second of one core and some 100 MB.
const UNPACKED_AT_ONCE: usize = 2;
/// Files that may wait for that.
const WAITING: usize = 8;
/// Places for both together.
static TAKEN: Semaphore = Semaphore::const_new(UNPACKED_AT_ONCE + WAITING);
/// Places for what is unpacked.
static UNPACKING: Semaphore = Semaphore::const_new(UNPACKED_AT_ONCE);

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
pub async fn decode(JsonBody(body): JsonBody) -> Result<Response, Problem> {
    let answer = blocking(move || wire::decode_weather(&body)).await?.map_err(Problem::rejected)?;
    sent(&answer)
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
    AskedQuery(query): AskedQuery<GribQuery>,
    FileBody(file): FileBody,
) -> Result<Response, Problem> {
    let busy = || {
        Problem::new(
            Kind::Overloaded,
            format!("{UNPACKED_AT_ONCE} files are unpacked and {WAITING} wait. Come back later."),
        )
    };
    let _taken = TAKEN.try_acquire().map_err(|_| busy())?;
    let _unpacking = UNPACKING.acquire().await.map_err(|_| Problem::internal())?;
    let answer = blocking(move || wire::decode_grib(&file, &query)).await?.map_err(|rejected| match rejected {
        FileRejected::Query(detail) => Problem::new(Kind::InvalidQuery, detail),
        FileRejected::File(fault) => Problem::faults(vec![fault]),
    })?;
    sent(&answer)
}

fn sent(answer: &WeatherAnswer) -> Result<Response, Problem> {
    let bytes = to_json(answer).map_err(|_| Problem::internal())?;
    Ok(([(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")], bytes).into_response())
}
