//! `/v1/sweeps`: one flight card at many hours, rails, sites, or with other cards.

use core::hint::black_box;
use std::collections::HashMap;
use std::sync::Arc;

use axum::Extension;
use axum::extract::State as Held;
use axum::http::HeaderMap;
use axum::response::Response;
use serde::Serialize;
use slowpoint_sim::advise;
use slowpoint_sim::case::Case;
use slowpoint_sim::report::CellReport;
use utoipa::ToSchema;

use super::assessments::{from_json, read_id, to_json};
use super::extract::{Asked as AskedQuery, InPath, JsonBody};
use super::files::{Form, PNG, SVG, made};
use super::jobs::JobStatus;
use super::price::{CreateQuery, Price, Sampled};
use super::validator::Validator;
use super::work::{self, Prefer, Run};
use crate::State;
use crate::access::Client;
use crate::compute::Failure;
use crate::config::ENGINE;
use crate::id::ContentId;
use crate::jobs::Turn;
use crate::problem::{InputRefusals, Problem, StoredRefusals};
use crate::render::heat_map::{self, Sweep};
use crate::store::{Piece, Shelf};
use crate::wire::Asked;
use crate::wire::sweep::{AskedSweep, SweepAnswer, SweepRequest, sweep_answer, sweep_cell};

/// Assesses many settings of one flight: which hours, rails and delays meet every condition, and which best
///
/// Settings are all combinations of the axes, flown through the same random skies; delays cost no flights of their own. With
/// `until` a setting ends once its own intervals are narrow enough. Much to fly, or `Prefer: respond-async`, is accepted as a
/// job.
#[utoipa::path(
    post,
    path = "/v1/sweeps",
    tag = "sweeps",
    operation_id = "create_sweep",
    params(CreateQuery, Prefer),
    request_body(content = SweepRequest, content_type = "application/json", description = "A flight card, what is varied, and the conditions"),
    responses(
        (status = 200, description = "The sweep, or with `dry_run=true` its price", body = CreateSweepAnswer, content_type = "application/json"),
        (status = 201, description = "A job that will answer", body = JobStatus, content_type = "application/json"),
        InputRefusals,
    ),
)]
pub async fn create(
    Held(state): Held<Arc<State>>,
    Extension(client): Extension<Client>,
    AskedQuery(query): AskedQuery<CreateQuery>,
    headers: HeaderMap,
    JsonBody(body): JsonBody,
) -> Result<Response, Problem> {
    work::posted(&state, &client, &headers, Shelf::Sweeps, body, query.dry_run).await.map(|(_, response)| response)
}

/// Either answer of a POST.
#[derive(Serialize, ToSchema)]
#[serde(untagged)]
#[allow(dead_code, reason = "describes the two answers; each is sent as it is")]
enum CreateSweepAnswer {
    /// The sweep
    Sweep(Box<SweepAnswer>),
    /// The price, with `dry_run=true`
    Price(Price),
}

/// Gives a sweep again
#[utoipa::path(
    get,
    path = "/v1/sweeps/{id}",
    tag = "sweeps",
    operation_id = "read_sweep",
    params(
        ("id" = String, Path, description = "Id of the sweep", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, description = "The sweep", body = SweepAnswer, content_type = "application/json"),
        (status = 304, description = "The client holds it already"),
        StoredRefusals,
    ),
)]
pub async fn read(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    work::read(&state, Shelf::Sweeps, &id, &headers).await
}

/// Draws a sweep as SVG
///
/// The chance of an unsafe opening for every hour (or tilt, or direction) and delay, a panel for each combination of what
/// else was varied; what meets every condition is framed. Stands alone and has a title and a description: made for `<img>`.
#[utoipa::path(
    get,
    path = "/v1/sweeps/{id}/heat-map.svg",
    tag = "sweeps",
    operation_id = "read_heat_map_svg",
    params(
        ("id" = String, Path, description = "Id of the sweep", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = String, content_type = "image/svg+xml", description = "An SVG picture"),
        (status = 304, description = "The client holds it already"),
        StoredRefusals,
    ),
)]
pub async fn heat_map_svg(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    picture(&state, &id, &headers, SVG).await
}

/// Draws a sweep as PNG
///
/// The same as `heat-map.svg`, 1080 pixels wide.
#[utoipa::path(
    get,
    path = "/v1/sweeps/{id}/heat-map.png",
    tag = "sweeps",
    operation_id = "read_heat_map_png",
    params(
        ("id" = String, Path, description = "Id of the sweep", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = Vec<u8>, content_type = "image/png", description = "A PNG picture"),
        (status = 304, description = "The client holds it already"),
        StoredRefusals,
    ),
)]
pub async fn heat_map_png(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    picture(&state, &id, &headers, PNG).await
}

/// The picture of a stored sweep.
async fn picture(state: &Arc<State>, id: &str, headers: &HeaderMap, form: Form) -> Result<Response, Problem> {
    let id = read_id(id)?;
    let answer = work::stored(state, Shelf::Sweeps, &id).await?;
    let (name, media_type) = form.file("heat-map");
    let held = Validator::of_file(&id, &name);
    if held.held(headers) {
        return Ok(held.not_modified());
    }
    made(state, answer.into(), &held, &id, media_type, move |sweep: &Sweep| form.finish(heat_map::picture(sweep))).await
}

/// Flies every setting, one after the other, each on all cores, unless it shares the flights of another: what others wait for gets its turn between them.
pub fn fly(id: &ContentId, sweep: &AskedSweep, run: &Run) -> Result<Option<Vec<u8>>, Failure> {
    let (mut cells, mut notes) = (Vec::with_capacity(sweep.cells()), Vec::with_capacity(sweep.cells()));
    let mut ahead = HashMap::new();
    for cell in 0..sweep.cells() {
        let (piece, turn) = match run.made.get(cell) {
            Some(made) => (made.clone(), run.tell(|| Ok(made.clone()))?),
            None => {
                let (case, report) = match ahead.remove(&cell) {
                    Some(flown) => flown,
                    None => flown(sweep, cell, run, &mut ahead)?,
                };
                let piece = piece(sweep, cell, &case, &report)?;
                (piece.clone(), run.tell(|| Ok(piece))?)
            }
        };
        cells.push(from_json(&piece.told)?);
        notes.push(from_json(&piece.kept)?);
        if turn == Turn::GivesWay && cell + 1 < sweep.cells() {
            return Ok(None);
        }
    }
    to_json(&sweep_answer(id.as_str(), ENGINE, sweep, &asked(sweep, 0)?, (cells, notes))).map(Some)
}

/// Settings that are flown before their turn.
type Ahead = HashMap<usize, (Case, CellReport)>;

/// Flies a setting, and with the same flights those that differ from it only in where a landing counts.
fn flown(sweep: &AskedSweep, cell: usize, run: &Run, ahead: &mut Ahead) -> Result<(Case, CellReport), Failure> {
    let (mut cells, mut cases) = (vec![cell], vec![asked(sweep, cell)?.case]);
    for other in sweep.at_other_sites(cell) {
        let case = asked(sweep, other)?.case;
        if slowpoint_sim::same_flights(&cases[0], &case) {
            cells.push(other);
            cases.push(case);
        }
    }
    let reports = slowpoint_sim::assess_cells(&cases, run.stop).ok_or(Failure::Stopped)?;
    (run.flown)(reports.first().map_or(0, |report| report.flights));
    let mut all = cells.into_iter().zip(cases.into_iter().zip(reports));
    let (_, first) = all.next().ok_or(Failure::Failed)?;
    ahead.extend(all);
    Ok(first)
}

/// What a setting takes, by its first flights.
pub fn sampled(sweep: &AskedSweep, cell: usize) -> Option<Sampled> {
    let answer = |case: &Case, report: &CellReport| drop(black_box(piece(sweep, cell, case, report)));
    Sampled::of(|| asked(sweep, cell).ok().map(|asked| asked.case), answer)
}

/// A setting as it is kept.
fn piece(sweep: &AskedSweep, cell: usize, case: &Case, report: &CellReport) -> Result<Piece, Failure> {
    let checks = advise::checks(report, case, &sweep.demands);
    let (figures, notes) = sweep_cell(sweep, cell, report, checks);
    Ok(Piece { told: to_json(&figures)?, kept: to_json(&notes)?, done: cell as u64 + 1 })
}

fn asked(sweep: &AskedSweep, cell: usize) -> Result<Asked, Failure> {
    sweep.cell(cell).map_err(|faults| {
        tracing::error!(faults = faults.len(), "a setting that was read cannot be read again");
        Failure::Failed
    })
}
