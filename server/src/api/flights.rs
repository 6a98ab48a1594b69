//! `/v1/assessments/{id}/flights/{index}`: one flight of an assessment, flown again with its path.

use std::sync::Arc;

use axum::extract::State as Held;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::assessments::{kept, read_id, replayable, to_json, unknown};
use super::blocking;
use super::extract::InPath;
use crate::State;
use crate::problem::{FlightRefusals, Kind, Problem};
use crate::wire::{self, FlightAnswer};

/// Flies one flight of an assessment again, with its path and what was drawn for it
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/flights/{index}",
    tag = "assessments",
    operation_id = "read_flight",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        ("index" = u64, Path, description = "Number of the flight, from 0", minimum = 0),
    ),
    responses(
        (status = 200, description = "The flight", body = FlightAnswer, content_type = "application/json"),
        FlightRefusals,
    ),
)]
pub async fn read(
    Held(state): Held<Arc<State>>,
    InPath((id, index)): InPath<(String, String)>,
) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    let index: u64 = index
        .parse()
        .map_err(|_| Problem::new(Kind::InvalidPath, "The number of a flight is a whole number from 0."))?;
    let input = kept(&state, &id).await?.and_then(|kept| kept.input).ok_or_else(|| unknown(&id))?;
    let asked = replayable(&id, input).await?;
    let flights = asked.case.inputs.question.flights;
    if index >= flights {
        return Err(Problem::new(
            Kind::UnknownFlight,
            format!(
                "The assessment has {flights} flights, numbered 0 to {}; there is no flight {index}.",
                flights.saturating_sub(1)
            ),
        ));
    }
    let body = blocking(move || {
        let replay = slowpoint_sim::replay(&asked.case, index);
        to_json(&wire::flight(id.as_str(), index, &asked, &replay))
    })
    .await?
    .map_err(|_| Problem::internal())?;
    let headers =
        [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "private, max-age=31536000, immutable")];
    Ok((headers, body).into_response())
}
