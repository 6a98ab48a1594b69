//! `/v1/assessments/{id}/flights/{index}`: one flight of an assessment, flown again with its path; and every flight's
//! chances as a table, `/v1/assessments/{id}/flights.csv`.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use axum::Extension;
use axum::extract::State as Held;
use axum::http::HeaderMap;
use axum::response::Response;

use super::assessments::{affordable, answer_of, flights_of, from_json, kept_card, read_id, replayable, to_json};
use super::blocking;
use super::extract::{Asked, InPath};
use super::files::{DelayQuery, Form, PNG, SVG, delay};
use super::price::Cost;
use super::validator::Validator;
use super::work::{computed, damaged};
use crate::State;
use crate::access::Client;
use crate::budget::Taken;
use crate::compute::Failure;
use crate::metrics::{Mode, REPLAYS};
use crate::problem::{FlightRefusals, Kind, PathsRefusals, Problem, TableRefusals};
use crate::render::csv;
use crate::render::flight_paths::{self, AMONG, Drawn, FIRST};
use crate::render::stored::Stored;
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
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, description = "The flight", body = FlightAnswer, content_type = "application/json"),
        (status = 304, description = "The client holds it already"),
        FlightRefusals,
    ),
)]
pub async fn read(
    Held(state): Held<Arc<State>>,
    Extension(client): Extension<Client>,
    InPath((id, index)): InPath<(String, String)>,
    headers: HeaderMap,
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
    let validator = Validator::of_figures(&id, &format!("flights.{index}"));
    if validator.held(&headers) {
        return Ok(validator.not_modified());
    }
    let name = format!("{id}/flights/{index}");
    let flown = state.metrics.flights(REPLAYS, Mode::Inline);
    // A flight costs next to nothing; what it is drawn from, where that has to be learned first, costs as an answer does.
    let learning = asked.case.calibration.is_some();
    let begin = || {
        let taken =
            learning.then(|| state.budget.take(&client.name, Cost::of_replays(&asked, 1).core_s())).transpose()?;
        Ok(move |stop: &AtomicBool| {
            taken.into_iter().for_each(Taken::spend);
            let asked = learned(asked, stop)?;
            let replay = slowpoint_sim::replay(&asked.case, index);
            flown.inc();
            Ok(to_json(&wire::flight(id.as_str(), index, &asked, &replay))?.into())
        })
    };
    let body = computed(&state, &name, begin).await?;
    let mut response = validator.whole("application/json", body);
    if learning {
        response.headers_mut().extend(state.budget.told(&client.name));
    }
    Ok(response)
}

/// Draws a handful of flights from the side, flown again, as SVG
///
/// Height above the pad against distance along the ground from it, on one scale: the first six flights by number, and of the
/// first 64 the one with the fastest opening with that delay; each with its highest point, its ejection with the airspeed that limits are
/// held against, and its landing. The same figures are in `flights/{index}`. What it flies is taken from the client's budget.
/// Stands alone and has a title and a description: made for `<img>`.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/flight-paths.svg",
    tag = "assessments",
    operation_id = "read_flight_paths_svg",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        DelayQuery,
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = String, content_type = "image/svg+xml", description = "An SVG picture"),
        (status = 304, description = "The client holds it already"),
        PathsRefusals,
    ),
)]
pub async fn paths_svg(
    Held(state): Held<Arc<State>>,
    Extension(client): Extension<Client>,
    InPath(id): InPath<String>,
    Asked(query): Asked<DelayQuery>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    paths(&state, &client, &id, &query, &headers, SVG).await
}

/// Draws a handful of flights from the side, flown again, as PNG
///
/// The same as `flight-paths.svg`, 1080 pixels wide. Set in DejaVu Sans: names in letters that it lacks are boxes here, and
/// text in the SVG.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/flight-paths.png",
    tag = "assessments",
    operation_id = "read_flight_paths_png",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        DelayQuery,
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = Vec<u8>, content_type = "image/png", description = "A PNG picture"),
        (status = 304, description = "The client holds it already"),
        PathsRefusals,
    ),
)]
pub async fn paths_png(
    Held(state): Held<Arc<State>>,
    Extension(client): Extension<Client>,
    InPath(id): InPath<String>,
    Asked(query): Asked<DelayQuery>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    paths(&state, &client, &id, &query, &headers, PNG).await
}

async fn paths(
    state: &Arc<State>,
    client: &Client,
    id: &str,
    query: &DelayQuery,
    headers: &HeaderMap,
    form: Form,
) -> Result<Response, Problem> {
    let id = read_id(id)?;
    let (name, media_type) = form.file("flight-paths");
    let held = Validator::of_file(&id, &name);
    let Some(answer) = answer_of(state, &id, &held, headers).await? else { return Ok(held.not_modified()) };
    let answer: Stored = blocking(move || from_json(&answer)).await?.map_err(|_| Problem::internal())?;
    let label = delay(&answer, query)?.label.clone();
    let way = answer.delays.iter().position(|d| d.label == label).unwrap_or_default();
    let input = kept_card(state, &id).await?.input.ok_or_else(|| damaged(Shelf::Assessments, &id))?;
    let asked = replayable(&id, input).await?;
    let computation = format!("{id}/{name}?delay={label}");
    let looked_at = AMONG.min(answer.flights);
    let core_s = Cost::of_replays(&asked, looked_at).core_s();
    let flown = state.metrics.flights(REPLAYS, Mode::Inline);
    let begin = || {
        // Whoever may see it could ask for it again and again.
        let taken = state.budget.take(&client.name, core_s)?;
        Ok(move |stop: &AtomicBool| {
            taken.spend();
            let asked = learned(asked, stop)?;
            let flights = chosen(&answer, &asked, way, looked_at, stop).ok_or(Failure::Stopped)?;
            flown.inc_by(looked_at);
            let picture = flight_paths::picture(&answer, &label, &flights, looked_at);
            form.finish(picture).map(Into::into).map_err(|_| Failure::Failed)
        })
    };
    let body = computed(state, &computation, begin).await?;
    let mut response = held.whole(media_type, body);
    response.headers_mut().extend(state.budget.told(&client.name));
    Ok(response)
}

/// The same with what flights flown say of it.
fn learned(asked: wire::Asked, stop: &AtomicBool) -> Result<wire::Asked, Failure> {
    let (case, _) = slowpoint_sim::calibrated(&asked.case, stop).ok_or(Failure::Stopped)?;
    let case = case.into_owned();
    Ok(wire::Asked { case, ..asked })
}

/// The first flights, and the one that opens fastest of those that are looked at.
fn chosen(answer: &Stored, asked: &wire::Asked, way: usize, looked_at: u64, stop: &AtomicBool) -> Option<Vec<Drawn>> {
    let (mut flights, mut fastest) = (Vec::new(), (0, f64::NEG_INFINITY));
    for index in 0..looked_at {
        if stop.load(Ordering::Relaxed) {
            return None;
        }
        let flight = wire::flight(&answer.id, index, asked, &slowpoint_sim::replay(&asked.case, index));
        let drawn = Drawn { flight, way, fastest: false };
        if let Some(speed) = drawn.opening_m_s(answer.at_line_stretch()).filter(|speed| speed.0 > fastest.1) {
            fastest = (flights.len(), speed.0);
        }
        flights.push(drawn);
    }
    if fastest.1.is_finite() {
        flights[fastest.0].fastest = true;
    }
    flights.retain(|drawn| drawn.fastest || drawn.flight.flight < FIRST);
    Some(flights)
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
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 304, description = "The client holds it already"),
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
    headers: HeaderMap,
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
    let validator = Validator::of_figures(&id, "flights.csv");
    if validator.held(&headers) {
        return Ok(validator.not_modified());
    }
    let name = format!("{id}/flights.csv");
    let flown = state.metrics.flights(REPLAYS, Mode::Inline);
    let begin = || {
        // Whoever has a link that shares it could ask for it again and again.
        let taken = state.budget.take(&client.name, core_s)?;
        Ok(move |stop: &AtomicBool| {
            taken.spend();
            let asked = learned(asked, stop)?;
            let flights = slowpoint_sim::each_flight(&asked.case, flights, stop).ok_or(Failure::Stopped)?;
            flown.inc_by(flights.len() as u64);
            Ok(csv::flights(&asked.case.inputs.question, &flights).into())
        })
    };
    let body = computed(&state, &name, begin).await?;
    let mut response = validator.whole("text/csv", body);
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
