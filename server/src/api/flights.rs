//! `/v1/assessments/{id}/flights/{index}`: one flight of an assessment, flown again with its path; and every flight's
//! chances as a table, `/v1/assessments/{id}/flights.csv`.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use axum::Extension;
use axum::extract::State as Held;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::assessments::{affordable, flights_of, kept_card, read_id, replayable, to_json};
use super::extract::InPath;
use super::price::Cost;
use super::work::{computed, damaged};
use crate::State;
use crate::access::Client;
use crate::compute::Failure;
use crate::metrics::{Mode, REPLAYS};
use crate::problem::{FlightRefusals, Kind, Problem, TableRefusals};
use crate::render::csv;
use crate::store::Shelf;
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
    // "+5" is a number to the library, but another path to everything that holds answers by path.
    let digits = Some(&index).filter(|text| text.bytes().all(|b| b.is_ascii_digit()));
    let index: u64 = digits.and_then(|text| text.parse().ok()).ok_or_else(|| {
        Problem::new(Kind::InvalidPath, "The number of a flight is a whole number from 0, in digits.")
    })?;
    let kept = kept_card(&state, &id).await?;
    let input = kept.input.ok_or_else(|| damaged(Shelf::Assessments, &id))?;
    let asked = replayable(&id, input).await?;
    let flights = flights_of(&state, &id, &asked, kept.answer).await?;
    if index >= flights {
        return Err(Problem::new(
            Kind::UnknownFlight,
            format!(
                "The assessment has {flights} flights, numbered 0 to {}; there is no flight {index}.",
                flights.saturating_sub(1)
            ),
        ));
    }
    let name = format!("{id}/flights/{index}");
    let flown = state.metrics.flights(REPLAYS, Mode::Inline);
    let replay = move |_: &AtomicBool| {
        let replay = slowpoint_sim::replay(&asked.case, index);
        flown.inc();
        Ok(to_json(&wire::flight(id.as_str(), index, &asked, &replay))?.into())
    };
    let body = computed(&state, &name, || Ok(replay)).await?;
    let headers =
        [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "private, max-age=31536000, immutable")];
    Ok((headers, body).into_response())
}

/// Most rows of a table: some 100 MB, which are held in memory.
const TABLE_ROWS: u64 = 2_000_000;

/// Whether a table of so many flights is not too long.
fn fits(flights: u64, rows_each: u64) -> Result<(), Problem> {
    if flights * rows_each <= TABLE_ROWS {
        return Ok(());
    }
    let most = TABLE_ROWS / rows_each;
    let text = format!(
        "The table has a row a flight, delay and limit: {flights} flights make {} of them, and at most {TABLE_ROWS} are given. Ask for an assessment of at most {most} flights, or of fewer delays and limits.",
        flights * rows_each
    );
    Err(Problem::new(Kind::TooManyFlights, text).with_limit("table_rows", TABLE_ROWS, "rows"))
}

/// Gives every flight's chances as a table, a row a flight, delay and limit
///
/// The flights are flown again. A chance is the share of the law of the firing time: its mean over the flights is the
/// estimate of the assessment. A flight that fails was drawn, so that its chances are 0 or 1.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/flights.csv",
    tag = "assessments",
    operation_id = "read_flights_table",
    params(("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$")),
    responses(
        (
            status = 200, body = String, content_type = "text/csv",
            description = "RFC 4180, with a header: flight, delay, limit_m_s, over, unsafe_opening, caution; the caution stands in the first row",
        ),
        TableRefusals,
    ),
)]
pub async fn table(
    Held(state): Held<Arc<State>>,
    Extension(client): Extension<Client>,
    InPath(id): InPath<String>,
) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    let kept = kept_card(&state, &id).await?;
    let input = kept.input.ok_or_else(|| damaged(Shelf::Assessments, &id))?;
    let asked = replayable(&id, input).await?;
    affordable(&state.config, &asked)?;
    let flights = flights_of(&state, &id, &asked, kept.answer).await?;
    let question = &asked.case.inputs.question;
    fits(flights, question.ways.len() as u64 * question.limits_m_s.len() as u64)?;
    let core_s = Cost::of_table(&asked, flights).core_s();
    let name = format!("{id}/flights.csv");
    let flown = state.metrics.flights(REPLAYS, Mode::Inline);
    let begin = || {
        // Whoever has a link that shares it could ask for it again and again.
        let taken = state.budget.take(&client.name, core_s)?;
        Ok(move |stop: &AtomicBool| {
            taken.spend();
            let flights = slowpoint_sim::each_flight(&asked.case, flights, stop).ok_or(Failure::Stopped)?;
            flown.inc_by(flights.len() as u64);
            Ok(csv::flights(&asked.case.inputs.question, &flights).into())
        })
    };
    let body = computed(&state, &name, begin).await?;
    let headers = [(header::CONTENT_TYPE, "text/csv"), (header::CACHE_CONTROL, "private, max-age=31536000, immutable")];
    let mut response = (headers, body).into_response();
    response.headers_mut().extend(state.budget.told(&client.name));
    Ok(response)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_that_is_too_long_is_refused() {
        assert!(fits(1_000_000, 2).is_ok());
        let refused = format!("{:?}", fits(1_000_001, 2));
        assert!(refused.starts_with("Err") && refused.contains("at most 1000000 flights"), "{refused}");
    }
}
