//! `/v1/assessments/{id}/landing.geojson` and its like: an answer in other forms, made from the stored answer.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::State as Held;
use axum::http::HeaderMap;
use axum::response::Response;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use utoipa::IntoParams;

use super::assessments::{answer_of, kept_card, read_id, replayable, to_json, unanswered};
use super::blocking;
use super::extract::{Asked as AskedQuery, InPath};
use super::validator::Validator;
use super::work::damaged;
use crate::State;
use crate::compute::Failure;
use crate::id::ContentId;
use crate::log;
use crate::problem::{
    CalibrationRefusals, CordRefusals, Kind, MapRefusals, PictureRefusals, Problem, RareRefusals, ReadRefusals,
};
use crate::render::stored::{Calibration, Cords, Delay, Globe, Rare, Site, Stored};
use crate::render::wind_profile::{self, Said};
use crate::render::winds::Winds;
use crate::render::{calibration, cords, deploy_speed, geojson, kml, landing_map, png, rare, svg};
use crate::store::Shelf;
use crate::wire::{Asked, FieldFault};

/// Which delay's landing.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields, default)]
#[into_params(parameter_in = Query)]
pub struct DelayQuery {
    /// The delay, in seconds where the motor's charge deploys alone, or by its label ("altimeter at apogee"); by default
    /// the one with the least chance of an unsafe opening
    #[param(required = false, example = "7")]
    delay: Option<String>,
}

/// Gives the landing as GeoJSON
///
/// RFC 7946: the pad, the areas with their chances, and for one delay the mean place, ellipses and smallest areas that hold
/// a share of the flights; the same of each failure. What crosses the 180th meridian is cut there (3.1.9). Needs
/// `site.position` in the request.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/landing.geojson",
    tag = "assessments",
    operation_id = "read_landing_geojson",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        DelayQuery,
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = Object, content_type = "application/geo+json", description = "A FeatureCollection"),
        (status = 304, description = "The client holds it already"),
        MapRefusals,
    ),
)]
pub async fn landing_geojson(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    AskedQuery(query): AskedQuery<DelayQuery>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let make = move |answer: &Stored| {
        let delay = delay(answer, &query)?;
        let (site, globe) = on_earth(answer)?;
        to_json(&geojson::landing(answer, site, &globe, delay)).map_err(|_| Problem::internal())
    };
    file(&state, &id, &headers, ("landing.geojson", geojson::MEDIA_TYPE), make).await
}

/// Gives the landing as KML
///
/// KML 2.2 with the same features as `landing.geojson`. Needs `site.position` in the request.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/landing.kml",
    tag = "assessments",
    operation_id = "read_landing_kml",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        DelayQuery,
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = String, content_type = "application/vnd.google-earth.kml+xml", description = "A KML document"),
        (status = 304, description = "The client holds it already"),
        MapRefusals,
    ),
)]
pub async fn landing_kml(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    AskedQuery(query): AskedQuery<DelayQuery>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let make = move |answer: &Stored| {
        let delay = delay(answer, &query)?;
        let (site, globe) = on_earth(answer)?;
        Ok(kml::landing(answer, site, &globe, delay).into_bytes())
    };
    file(&state, &id, &headers, ("landing.kml", kml::MEDIA_TYPE), make).await
}

/// Draws the landing as SVG
///
/// North up, metres about the pad: the areas with their chances, the smallest areas that hold 50, 95 and 99 % of one delay's
/// flights, the ellipse of 95 %, and what holds 95 % of the flights with any one failure; rings about the pad, and the mean
/// wind at a few heights below it. Stands alone and has a title and a description: made for `<img>`.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/landing.svg",
    tag = "assessments",
    operation_id = "read_landing_svg",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        DelayQuery,
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = String, content_type = "image/svg+xml", description = "An SVG picture"),
        (status = 304, description = "The client holds it already"),
        PictureRefusals,
    ),
)]
pub async fn landing_svg(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    AskedQuery(query): AskedQuery<DelayQuery>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    landing(&state, &id, &headers, SVG, query).await
}

/// Draws the landing as PNG
///
/// The same as `landing.svg`, 1080 pixels wide. Set in DejaVu Sans: names in letters that it lacks are boxes here, and text
/// in the SVG.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/landing.png",
    tag = "assessments",
    operation_id = "read_landing_png",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        DelayQuery,
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = Vec<u8>, content_type = "image/png", description = "A PNG picture"),
        (status = 304, description = "The client holds it already"),
        PictureRefusals,
    ),
)]
pub async fn landing_png(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    AskedQuery(query): AskedQuery<DelayQuery>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    landing(&state, &id, &headers, PNG, query).await
}

async fn landing(
    state: &Arc<State>,
    id: &str,
    headers: &HeaderMap,
    form: Form,
    query: DelayQuery,
) -> Result<Response, Problem> {
    let make = move |answer: &Stored, asked: Result<&Asked, &Problem>| {
        let winds = asked.ok().map(Winds::flown);
        form.finish(landing_map::picture(answer, delay(answer, &query)?, winds.as_ref()))
    };
    flown_file(state, id, headers, form.file("landing"), make).await
}

/// Draws the airspeed at opening against the delay as SVG
///
/// For every delay asked, the median and what half and 90 % of the flights lie between, with the limits, and bands of the
/// same along the delays between; below it the chance of an unsafe opening against the delay. Stands alone and has a title and a description: made for `<img>`.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/deploy-speed.svg",
    tag = "assessments",
    operation_id = "read_deploy_speed_svg",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = String, content_type = "image/svg+xml", description = "An SVG picture"),
        (status = 304, description = "The client holds it already"),
        ReadRefusals,
    ),
)]
pub async fn deploy_speed_svg(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    picture(&state, &id, &headers, SVG, OPENINGS).await
}

/// Draws the airspeed at opening against the delay as PNG
///
/// The same as `deploy-speed.svg`, 1080 pixels wide. Set in DejaVu Sans: names in letters that it lacks are boxes here, and
/// text in the SVG.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/deploy-speed.png",
    tag = "assessments",
    operation_id = "read_deploy_speed_png",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = Vec<u8>, content_type = "image/png", description = "A PNG picture"),
        (status = 304, description = "The client holds it already"),
        ReadRefusals,
    ),
)]
pub async fn deploy_speed_png(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    picture(&state, &id, &headers, PNG, OPENINGS).await
}

/// Draws cord and tube edge against the delay as SVG
///
/// For each arrangement the load on the edge of the tube over its bearing width and the tension of the cord, medians and what
/// half and 90 % of the flights lie between, with what 90 % of such edges bear. Stands alone and has a title and a
/// description: made for `<img>`. Needs `cords` in the request.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/cords.svg",
    tag = "assessments",
    operation_id = "read_cords_svg",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = String, content_type = "image/svg+xml", description = "An SVG picture"),
        (status = 304, description = "The client holds it already"),
        CordRefusals,
    ),
)]
pub async fn cords_svg(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    picture(&state, &id, &headers, SVG, CORDS).await
}

/// Draws cord and tube edge against the delay as PNG
///
/// The same as `cords.svg`, 1080 pixels wide. Set in DejaVu Sans: names in letters that it lacks are boxes here, and text in
/// the SVG.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/cords.png",
    tag = "assessments",
    operation_id = "read_cords_png",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = Vec<u8>, content_type = "image/png", description = "A PNG picture"),
        (status = 304, description = "The client holds it already"),
        CordRefusals,
    ),
)]
pub async fn cords_png(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    picture(&state, &id, &headers, PNG, CORDS).await
}

/// Draws what flights flown say as SVG
///
/// Drag, impulse and wind before and after, and each log against flights drawn in its conditions: medians and what 90 % lie
/// between. Stands alone and has a title and a description: made for `<img>`. Needs `calibration` in the request.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/calibration.svg",
    tag = "assessments",
    operation_id = "read_calibration_svg",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = String, content_type = "image/svg+xml", description = "An SVG picture"),
        (status = 304, description = "The client holds it already"),
        CalibrationRefusals,
    ),
)]
pub async fn calibration_svg(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    picture(&state, &id, &headers, SVG, CALIBRATION).await
}

/// Draws what flights flown say as PNG
///
/// The same as `calibration.svg`, 1080 pixels wide. Set in DejaVu Sans: names in letters that it lacks are boxes here, and text
/// in the SVG.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/calibration.png",
    tag = "assessments",
    operation_id = "read_calibration_png",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = Vec<u8>, content_type = "image/png", description = "A PNG picture"),
        (status = 304, description = "The client holds it already"),
        CalibrationRefusals,
    ),
)]
pub async fn calibration_png(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    picture(&state, &id, &headers, PNG, CALIBRATION).await
}

/// Draws rare events as SVG
///
/// The chance of each event on an axis of powers of ten, with its interval, and the inputs that lie off where it happens, the
/// farthest first. Stands alone and has a title and a description: made for `<img>`. Needs `rare` in the request.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/rare.svg",
    tag = "assessments",
    operation_id = "read_rare_svg",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = String, content_type = "image/svg+xml", description = "An SVG picture"),
        (status = 304, description = "The client holds it already"),
        RareRefusals,
    ),
)]
pub async fn rare_svg(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    picture(&state, &id, &headers, SVG, RARE).await
}

/// Draws rare events as PNG
///
/// The same as `rare.svg`, 1080 pixels wide. Set in DejaVu Sans: names in letters that it lacks are boxes here, and text
/// in the SVG.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/rare.png",
    tag = "assessments",
    operation_id = "read_rare_png",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = Vec<u8>, content_type = "image/png", description = "A PNG picture"),
        (status = 304, description = "The client holds it already"),
        RareRefusals,
    ),
)]
pub async fn rare_png(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    picture(&state, &id, &headers, PNG, RARE).await
}

/// Draws the mean wind that was flown in as SVG
///
/// Against height above ground, up to a little above the highest point of 95 % of the flights: the speed as a line, dashed where it is assumed,
/// and the direction as arrows the way the air moves, with what is known at which height in words. It is the mean of all
/// flights: each has its errors and gusts on top. Made from the input again, so it needs the engine that answered. Stands
/// alone and has a title and a description: made for `<img>`.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/wind.svg",
    tag = "assessments",
    operation_id = "read_wind_svg",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = String, content_type = "image/svg+xml", description = "An SVG picture"),
        (status = 304, description = "The client holds it already"),
        ReadRefusals,
    ),
)]
pub async fn wind_svg(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    wind(&state, &id, &headers, SVG).await
}

/// Draws the mean wind that was flown in as PNG
///
/// The same as `wind.svg`, 1080 pixels wide. Set in DejaVu Sans: names in letters that it lacks are boxes here, and text
/// in the SVG.
#[utoipa::path(
    get,
    path = "/v1/assessments/{id}/wind.png",
    tag = "assessments",
    operation_id = "read_wind_png",
    params(
        ("id" = String, Path, description = "Id of the assessment", pattern = "^[0-9a-f]{32}$"),
        ("If-None-Match" = Option<String>, Header, description = "Validators the client holds"),
    ),
    responses(
        (status = 200, body = Vec<u8>, content_type = "image/png", description = "A PNG picture"),
        (status = 304, description = "The client holds it already"),
        ReadRefusals,
    ),
)]
pub async fn wind_png(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    wind(&state, &id, &headers, PNG).await
}

async fn wind(state: &Arc<State>, id: &str, headers: &HeaderMap, form: Form) -> Result<Response, Problem> {
    let make = move |answer: &Stored, asked: Result<&Asked, &Problem>| form.finish(wind_picture(answer, asked)?);
    flown_file(state, id, headers, form.file("wind"), make).await
}

/// How much higher than nearly all flights the wind is shown.
const ABOVE_FLIGHTS: f64 = 1.1;

fn wind_picture(answer: &Stored, asked: Result<&Asked, &Problem>) -> Result<String, Problem> {
    let asked = asked.map_err(Clone::clone)?;
    let source = match &asked.weather {
        Some(weather) => format!("{}; {}, id {}", weather.source(), answer.engine, answer.id),
        None => format!("wind by hand; {}, id {}", answer.engine, answer.id),
    };
    let up_to_m = answer.apogee.as_ref().and_then(|a| a.height_above_pad_m.p95.rounded()).map(|h| ABOVE_FLIGHTS * h);
    let said = Said {
        name: &answer.name,
        shown: "The mean wind that was flown in, by height: the mean of all flights, each of which has errors and gusts of its own",
        caution: &answer.caution,
        source: &source,
    };
    Ok(wind_profile::picture(&Winds::flown(asked), up_to_m, &said))
}

/// A picture of an answer: its name, and how it is drawn.
type Pictured = (&'static str, fn(&Stored) -> Result<String, Problem>);
const OPENINGS: Pictured = ("deploy-speed", |answer| Ok(deploy_speed::picture(answer)));
const CORDS: Pictured = ("cords", |answer| Ok(cords::picture(answer, tied(answer)?)));
const CALIBRATION: Pictured = ("calibration", |answer| Ok(calibration::picture(answer, told(answer)?)));
const RARE: Pictured = ("rare", |answer| Ok(rare::picture(answer, sought(answer)?)));

/// A form that pictures are sent in.
#[derive(Clone, Copy)]
pub struct Form {
    ending: &'static str,
    media_type: &'static str,
    of: fn(String) -> Option<Vec<u8>>,
}

/// As they are drawn.
pub const SVG: Form = Form { ending: "svg", media_type: svg::MEDIA_TYPE, of: |picture| Some(picture.into_bytes()) };
/// Painted.
pub const PNG: Form = Form { ending: "png", media_type: png::MEDIA_TYPE, of: |picture| png::of(&picture) };

impl Form {
    /// Name and media type of the file.
    pub fn file(self, picture: &str) -> (String, &'static str) {
        (format!("{picture}.{}", self.ending), self.media_type)
    }

    /// What the file holds.
    pub fn finish(self, picture: String) -> Result<Vec<u8>, Problem> {
        (self.of)(picture).ok_or_else(|| {
            tracing::error!(form = self.ending, "a picture cannot be drawn");
            Problem::internal()
        })
    }
}

/// A picture of a stored answer.
async fn picture(
    state: &Arc<State>,
    id: &str,
    headers: &HeaderMap,
    form: Form,
    (name, draw): Pictured,
) -> Result<Response, Problem> {
    file(state, id, headers, form.file(name), move |answer: &Stored| form.finish(draw(answer)?)).await
}

/// A file of an assessment, from its stored answer; flown again only where that was lost.
async fn file<M>(
    state: &Arc<State>,
    id: &str,
    headers: &HeaderMap,
    (name, media_type): (impl AsRef<str>, &'static str),
    make: M,
) -> Result<Response, Problem>
where
    M: FnOnce(&Stored) -> Result<Vec<u8>, Problem> + Send + 'static,
{
    let id = read_id(id)?;
    let form = Validator::of_file(&id, name.as_ref());
    let Some(answer) = answer_of(state, &id, &form, headers).await? else { return Ok(form.not_modified()) };
    made(state, answer, &form, &id, media_type, make).await
}

/// The same of an answer and its input; why not, where this engine gives that another id, or it is lost.
async fn flown_file<M>(
    state: &Arc<State>,
    id: &str,
    headers: &HeaderMap,
    (name, media_type): (impl AsRef<str>, &'static str),
    make: M,
) -> Result<Response, Problem>
where
    M: FnOnce(&Stored, Result<&Asked, &Problem>) -> Result<Vec<u8>, Problem> + Send + 'static,
{
    let id = read_id(id)?;
    let form = Validator::of_file(&id, name.as_ref());
    let Some(answer) = answer_of(state, &id, &form, headers).await? else { return Ok(form.not_modified()) };
    let asked = match kept_card(state, &id).await?.input {
        Some(input) => replayable(&id, input).await,
        None => Err(damaged(Shelf::Assessments, &id)),
    };
    made(state, answer, &form, &id, media_type, move |stored: &Stored| make(stored, asked.as_ref())).await
}

/// A file made from a stored answer.
pub async fn made<T, M>(
    state: &State,
    answer: Bytes,
    form: &Validator,
    id: &ContentId,
    media_type: &'static str,
    make: M,
) -> Result<Response, Problem>
where
    T: DeserializeOwned,
    M: FnOnce(&T) -> Result<Vec<u8>, Problem> + Send + 'static,
{
    let made = drawn(state, answer, id.as_str(), make).await?;
    Ok(form.whole(media_type, made))
}

/// What is made from a stored answer. As many are made at a time as there are cores: a picture takes much of one.
pub async fn drawn<T, D, M>(state: &State, answer: Bytes, name: &str, make: M) -> Result<D, Problem>
where
    T: DeserializeOwned,
    D: Send + 'static,
    M: FnOnce(&T) -> Result<D, Problem> + Send + 'static,
{
    let config = &state.config;
    let place = tokio::time::timeout(config.queue_timeout(), Arc::clone(&state.drawing).acquire_owned()).await;
    let Ok(Ok(place)) = place else {
        return Err(unanswered(config, name, Failure::QueueTimeout));
    };
    blocking(move || {
        let _place = place;
        let stored = serde_json::from_slice(&answer).map_err(|error| {
            tracing::error!(error = log::unread(&error), "a stored answer does not read as one");
            Problem::internal()
        })?;
        make(&stored)
    })
    .await?
}

/// The delay that is asked for, or which there are.
pub fn delay<'a>(answer: &'a Stored, query: &DelayQuery) -> Result<&'a Delay, Problem> {
    answer.delay(query.delay.as_deref()).ok_or_else(|| {
        let labels: Vec<String> = answer.delays.iter().map(|d| format!("{:?}", d.label)).collect();
        Problem::new(
            Kind::InvalidQuery,
            format!(
                "There is no such delay. Ask by the seconds of a motor's delay or by the label of one of {}.",
                labels.join(", ")
            ),
        )
    })
}

/// Cord and tube edge, where they were asked.
fn tied(answer: &Stored) -> Result<&Cords, Problem> {
    let remedy = "describe the cord and the wall of the tube under cords, and post it again";
    let missing = || not_given("/cords", Kind::NoCords, "Its request says nothing of cords.", remedy);
    answer.cords.as_ref().ok_or_else(missing)
}

/// What was learned from flights flown, where some were told.
fn told(answer: &Stored) -> Result<&Calibration, Problem> {
    let remedy = "tell of flights flown under calibration, and post it again";
    let missing = || not_given("/calibration", Kind::NoCalibration, "Its request tells of no flights flown.", remedy);
    answer.calibration.as_ref().ok_or_else(missing)
}

/// Rare events, where some were asked.
fn sought(answer: &Stored) -> Result<&Rare, Problem> {
    let remedy = "name a landing or an opening under rare, and post it again";
    let missing = || not_given("/rare", Kind::NoRareEvents, "Its request names no rare event.", remedy);
    answer.rare.as_ref().ok_or_else(missing)
}

/// A part of an answer that its request does not ask for.
fn not_given(pointer: &str, kind: Kind, text: &str, remedy: &str) -> Problem {
    let fault =
        FieldFault { pointer: pointer.into(), problem: "it was not given".into(), remedy: remedy.into(), sent: None };
    Problem::new(kind, text).with_errors(vec![fault])
}

/// The field with its place on Earth.
fn on_earth(answer: &Stored) -> Result<(&Site, Globe), Problem> {
    let site = answer.site.as_ref().ok_or_else(|| {
        Problem::new(
            Kind::EngineChanged,
            format!("{} answered it, which kept no map. Post the flight card again.", answer.engine),
        )
    })?;
    let globe = site.globe().ok_or_else(|| {
        let fault = FieldFault {
            pointer: "/site/position".into(),
            problem: "it was not given".into(),
            remedy: "give the latitude and longitude of the site's origin in decimal degrees, and post it again".into(),
            sent: None,
        };
        let text = "It has no place on Earth: its request says nothing of site.position. The answer as JSON and the pictures are in metres about the pad.";
        Problem::new(Kind::NoPosition, text).with_errors(vec![fault])
    })?;
    Ok((site, globe))
}
