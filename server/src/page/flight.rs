//! `/flights/{id}`: one assessment opened.

use std::sync::Arc;

use axum::extract::State as Held;
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::Value;

use super::standing::{Place, Weather, cell, key, word};
use super::told::{At, NOT_KNOWN, Quantity, Units, limit};
use super::view::{Page, View, YOUR_SERVER, document, first_caution};
use super::{framed_anywhere, parts, sent};
use crate::State;
use crate::api::assessments::{kept_card, read_id, whole_answer};
use crate::api::extract::InPath;
use crate::api::files::drawn;
use crate::config::ENGINE;
use crate::problem::{Kind, Problem};
use crate::render::flight_paths::{self, FIRST};
use crate::render::stored::Stored;
use crate::render::{self, calibration, cords, deploy_speed, landing_map, svg, wind_profile};
use crate::wire::{LEAST_INDEX, unlisted};

/// Shows an assessment.
pub async fn read(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    view: View,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let make = move |answer: &Value, input: bool| page(answer, input, &view);
    made(&state, &id, make).await.map(|page| sent(page, &headers))
}

/// Shows what another site frames: the picture, the first caution, and the way to the rest.
pub async fn embed(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    view: View,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let page = made(&state, &id, move |answer, _| Ok(framed(&At::whole(answer), &Sizes::of(answer), &view))).await?;
    Ok(framed_anywhere(sent(page, &headers)))
}

/// A page made from the answer of a flight, and by whether its input is kept as well.
pub async fn made<M>(state: &Arc<State>, id: &str, make: M) -> Result<String, Problem>
where
    M: FnOnce(&Value, bool) -> Result<String, Problem> + Send + 'static,
{
    let id = read_id(id)?;
    let kept = kept_card(state, &id).await?;
    let input = kept.input.is_some();
    let answer = whole_answer(state, &id, kept).await?;
    drawn(state, answer, id.as_str(), move |answer| make(answer, input)).await
}

/// How large the pictures are.
struct Sizes(Option<Stored>);

impl Sizes {
    /// As they are drawn from an answer; of one that none can be drawn from any more nothing is known.
    fn of(answer: &Value) -> Self {
        Self(Stored::deserialize(answer).ok())
    }

    fn drawn(&self, draw: impl FnOnce(&Stored) -> Option<String>) -> Option<[u32; 2]> {
        svg::size(&draw(self.0.as_ref()?)?)
    }

    fn openings(&self) -> Option<[u32; 2]> {
        self.drawn(|answer| Some(deploy_speed::picture(answer)))
    }

    fn landing(&self, label: &str, windy: bool) -> Option<[u32; 2]> {
        landing_map::size(self.0.as_ref()?, label, windy)
    }

    fn calibration(&self) -> Option<[u32; 2]> {
        self.drawn(|answer| Some(calibration::picture(answer, answer.calibration.as_ref()?)))
    }

    fn rare(&self) -> Option<[u32; 2]> {
        self.drawn(|answer| Some(render::rare::picture(answer, answer.rare.as_ref()?)))
    }

    fn cords(&self) -> Option<[u32; 2]> {
        self.drawn(|answer| Some(cords::picture(answer, answer.cords.as_ref()?)))
    }
}

fn page(answer: &Value, input: bool, view: &View) -> Result<String, Problem> {
    let (at, sizes) = (At::whole(answer), Sizes::of(answer));
    let not_again = not_flown_again(&at, input);
    let id = at.get("id").text();
    let (path, answer) = (format!("/flights/{id}"), format!("/v1/assessments/{id}"));
    let delay = drawn_delay(&at, view.wishes.delay.as_deref())?;
    let weather = Weather::of(&at);
    let body = html! {
        (parts::about(&at))
        (decision(&at, weather, view.units()))
        (parts::cautions(&at.get("cautions")))
        (openings(&at, weather, sizes.openings(), view))
        (landing(&at, &delay, sizes.landing(delay.get("label").text(), not_again.is_none()), view))
        (from_the_side(&at, &delay, not_again, view))
        (outcomes(&at, view.units()))
        (if_the_model_is_off(&at, view.units()))
        (drivers(&at, &delay, view.units()))
        (edge(&at, sizes.cords(), view))
        (rare(&at, sizes.rare(), view))
        (learned(&at, sizes.calibration(), view))
        (parts::weather(&at, weather))
        @match not_again { None => { (wind(&at, view)) } Some(why) => { p { (why) } } }
        (assumed(&at))
        (files(&at, &delay, not_again.is_none(), view))
        (parts::identity(&at))
    };
    let own: Vec<(&str, &str)> = view.wishes.delay.iter().map(|delay| ("delay", delay.as_str())).collect();
    Ok(Page { title: at.get("name").text(), path: &path, own: &own, answer: &answer, scripts: &[], body }.whole(view))
}

/// The delay whose landing is shown: by its label, or the one with the least chance of an unsafe opening.
fn drawn_delay<'a>(at: &At<'a>, asked: Option<&str>) -> Result<At<'a>, Problem> {
    let delays = at.get("delays").items();
    let lowest = at.down("advice.lowest").text();
    let found = delays.iter().find(|d| d.get("label").text() == asked.unwrap_or(lowest));
    match (found.or(if asked.is_none() { delays.first() } else { None }), asked) {
        (Some(delay), _) => Ok(delay.clone()),
        (None, None) => Ok(at.get("delays").nth(0)),
        (None, Some(_)) => {
            let labels: Vec<String> = delays.iter().map(|d| format!("{:?}", d.get("label").text())).collect();
            Err(Problem::new(
                Kind::InvalidQuery,
                format!("There is no such delay. Ask by the label of one of {}.", labels.join(", ")),
            ))
        }
    }
}

/// What there is to decide by.
fn decision(at: &At, weather: Weather, units: Units) -> Markup {
    let (advice, place) = (at.get("advice"), Place::of_limits(at));
    html! {
        section aria-labelledby="delays" {
            h2 #delays { "The delays" }
            ul.cells {
                @for (k, delay) in at.get("delays").items().iter().enumerate() {
                    @let speed = place.airspeeds(delay).get("p50");
                    (cell(delay, &advice, &speed, weather, units, &format!("#delay-{k}")))
                }
            }
            (key(&advice, place, None, units))
            (parts::weather_line(at, weather))
            h3 { "What follows" }
            (parts::advice(at))
        }
    }
}

/// The picture and the numbers that it is drawn from.
fn openings(at: &At, weather: Weather, size: Option<[u32; 2]>, view: &View) -> Markup {
    let (id, units) = (at.get("id").text(), view.units());
    let (delays, limits, advice) = (at.get("delays").items(), at.get("limits").items(), at.get("advice"));
    let of_condition =
        limits.iter().position(|each| each.get("limit_m_s").number() == advice.get("limit_m_s").number());
    let named = |(k, each): (usize, &At)| html! { (limit(each, units)) @if of_condition == Some(k) { ", the limit of the condition" } };
    let limits: Vec<Markup> = limits.iter().enumerate().map(named).collect();
    let standing =
        |k: usize, delay: &At| html! { @if of_condition == Some(k) { (word(&delay.get("standing"), weather)) } };
    let picture = format!("/v1/assessments/{id}/deploy-speed.svg");
    let place = Place::of_limits(at);
    let told = format!(
        "Airspeed at {} against the delay, with the limits; the table below has the same numbers.",
        place.name()
    );
    let (speed, length, time) = (Quantity::Speed, Quantity::Length, Quantity::Time);
    let chances = html! {
        caption { "Over all flights: faster than the limit at " (place.name()) ", or an unsafe opening for any reason." }
    };
    html! {
        section aria-labelledby="openings" {
            h2 #openings { "When it opens, and how fast" }
            figure {
                (parts::picture(&view.file(&picture, &[]), &told, size, false))
                figcaption { "Median, and what half and 90 % of the flights lie between. The chance of an unsafe opening is below it." }
            }
            (parts::slowest(at, units))
            (parts::chances("Chances of each delay", &chances, (&delays, &limits), standing, of_condition.or(Some(0))))
            (parts::wide("When and how fast each delay opens", html! {
                caption { "Airspeed at " (place.name()) ", time and height at ejection, over the flights that ejected in the air." }
                thead {
                    tr {
                        th scope="col" { "Delay" }
                        th scope="col" { "Airspeed at " (place.name()) ", " (speed.name(units)) ": median" }
                        th scope="col" { "half between" }
                        th scope="col" { "90 % between" }
                        th scope="col" { "After apogee, " (time.name(units)) }
                        th scope="col" { "Height above the pad, " (length.name(units)) ": median" }
                        th scope="col" { "90 % between" }
                    }
                }
                tbody {
                    @for delay in &delays {
                        @let (of, height) = (place.airspeeds(delay), delay.down("at_ejection.height_above_pad_m"));
                        tr {
                            th scope="row" { (delay.get("label").words()) }
                            td { (of.get("p50").bare(speed, units)) }
                            td { (between(&of, ["p25", "p75"], speed, units)) }
                            td { (between(&of, ["p05", "p95"], speed, units)) }
                            td { (delay.down("at_ejection.after_apogee_s.p50").bare(time, units)) }
                            td { (height.get("p50").bare(length, units)) }
                            td { (between(&height, ["p05", "p95"], length, units)) }
                        }
                    }
                }
            }))
            p.note { (at.get("intervals").words()) }
        }
    }
}

/// What lies between two quantiles.
fn between(of: &At, [from, to]: [&'static str; 2], quantity: Quantity, units: Units) -> Markup {
    html! {
        @if of.is_there() { (of.get(from).bare(quantity, units)) " to " (of.get(to).bare(quantity, units)) }
        @else { (NOT_KNOWN) }
    }
}

/// Where it comes down: the map of one delay and the numbers of all.
fn landing(at: &At, drawn: &At, size: Option<[u32; 2]>, view: &View) -> Markup {
    let (id, units, label) = (at.get("id").text(), view.units(), drawn.get("label").text());
    let (path, picture) = (format!("/flights/{id}"), format!("/v1/assessments/{id}/landing.svg"));
    let (speed, length, energy) = (Quantity::Speed, Quantity::Length, Quantity::Energy);
    let delays = at.get("delays").items();
    let areas: Vec<At> =
        delays.iter().map(|d| d.down("landing.areas").items()).find(|a| !a.is_empty()).unwrap_or_default();
    let fields = delays.iter().any(|d| d.down("landing.outside_fields").is_there());
    let told = format!(
        "Map of the landing with {label}: north up, about the pad, with the areas; the table below has the numbers."
    );
    html! {
        section aria-labelledby="landing" {
            h2 #landing { "Where it comes down" }
            @if at.get("site").is_there() && drawn.get("landing").is_there() {
                figure {
                    (parts::picture(&view.file(&picture, &[("delay", label)]), &told, size, true))
                    figcaption { "Drawn for " (drawn.get("label").words()) "." }
                }
                nav aria-label="Map of another delay" {
                    ul.links {
                        @for delay in &delays {
                            @let other = delay.get("label").text();
                            li {
                                a href={ (view.page_with(&path, &[("delay", other)])) "#landing" } aria-current=[(other == label).then_some("true")] {
                                    (other)
                                }
                            }
                        }
                    }
                }
            } @else {
                p { "No flight came down with " (label) ", so there is no map." }
            }
            (parts::wide("Where each delay comes down", html! {
                caption { "Distances from the pad; chances over all flights." }
                thead {
                    tr {
                        th scope="col" { "Delay" }
                        th scope="col" { "Mean distance, " (length.name(units)) }
                        th scope="col" { "90 % within, " (length.name(units)) }
                        th scope="col" { "99 % within, " (length.name(units)) }
                        @for area in &areas { th scope="col" { "Inside " (area.get("name").text()) } }
                        @if fields { th scope="col" { "Outside every field" } }
                        th scope="col" { "Touches down at, " (speed.name(units)) }
                        th scope="col" { "Energy, " (energy.name(units)) ": median" }
                        th scope="col" { "95 % below" }
                    }
                }
                tbody {
                    @for delay in &delays {
                        @let of = delay.get("landing");
                        tr {
                            th scope="row" { (delay.get("label").words()) }
                            td { (of.down("distance_m.mean").bare(length, units)) }
                            td { (of.get("distance_p90_m").bare(length, units)) }
                            td { (of.get("distance_p99_m").bare(length, units)) }
                            @for k in 0..areas.len() { td { (of.get("areas").nth(k).get("inside").chance()) } }
                            @if fields { td { (of.get("outside_fields").chance()) } }
                            td { (of.down("speed_m_s.p50").bare(speed, units)) }
                            td { (of.get("energy_p50_j").bare(energy, units)) }
                            td { (of.get("energy_p95_j").bare(energy, units)) }
                        }
                    }
                }
            }))
        }
    }
}

/// A handful of flights flown again, and each of them as it is.
fn from_the_side(at: &At, drawn: &At, not_again: Option<&str>, view: &View) -> Markup {
    let (id, label) = (at.get("id").text(), drawn.get("label").text());
    let picture = view.file(&format!("/v1/assessments/{id}/flight-paths.svg"), &[("delay", label)]);
    let flights = FIRST.min(at.get("flights").number().unwrap_or_default() as u64);
    let told = format!(
        "Height against distance of the first flights with {label}, with their highest points, openings and landings; each flight below has the numbers."
    );
    let shown = html! {
        figure {
            (parts::picture(&picture, &told, Some(flight_paths::USUAL_SIZE), true))
            figcaption { "Examples by their numbers, not the most and the least that may come. Drawn for " (drawn.get("label").words()) "." }
        }
        nav aria-label="Each flight, JSON" {
            ul.links {
                @for k in 0..flights {
                    li { a href=(view.file(&format!("/v1/assessments/{id}/flights/{k}"), &[])) { "Flight " (k) } }
                }
            }
        }
        p.note { "The picture names one more, the fastest opening it looked at. Every flight is at " code { "/v1/assessments/" (id) "/flights/" } em { "number" } "." }
    };
    html! {
        section aria-labelledby="side" {
            h2 #side { "Some flights from the side" }
            @match not_again { None => { (shown) } Some(why) => { p { (why) } } }
        }
    }
}

/// Why it is not flown again here, and there are no flights and no wind to draw; `None` where it is.
fn not_flown_again(at: &At, input: bool) -> Option<&'static str> {
    match (at.get("engine").text() == ENGINE, input) {
        (true, true) => None,
        (false, _) => Some(
            "Another engine answered this, so it cannot be drawn again here. Post the same flight card again for it.",
        ),
        (true, false) => Some(
            "What was asked is not kept here in one piece any more, so it cannot be drawn again. Post the same flight card again: that stores it anew.",
        ),
    }
}

/// The mean wind that was flown in.
fn wind(at: &At, view: &View) -> Markup {
    let picture = view.file(&format!("/v1/assessments/{}/wind.svg", at.get("id").text()), &[]);
    html! {
        figure {
            (parts::picture(&picture, "Mean wind by height, its speed as a line and its direction as arrows; the picture's description has the numbers, and the JSON the wind as it was given.", Some(wind_profile::USUAL_SIZE), true))
            figcaption { "The mean wind by height, as the engine has it: the mean of all flights." }
        }
    }
}

/// What becomes of the flights, and what comes of failures.
fn outcomes(at: &At, units: Units) -> Markup {
    let failures = at.get("failures");
    let flights = at.get("flights").number().unwrap_or_default() as u64;
    let all: Vec<(At, At)> = at
        .get("delays")
        .items()
        .into_iter()
        .flat_map(|delay| {
            let outcomes = delay.get("outcomes").items().into_iter();
            outcomes.map(move |outcome| (delay.clone(), outcome)).collect::<Vec<_>>()
        })
        .collect();
    let others: Vec<&(At, At)> = all.iter().filter(|(_, outcome)| parts::told_of(outcome)).collect();
    let named = all.iter().map(|(_, o)| (o.get("outcome").text(), o.get("share").number().unwrap_or_default()));
    let limit_told = limit(&at.get("advice"), units);
    let length = Quantity::Length;
    html! {
        section aria-labelledby="failures" {
            h2 #failures { "What may fail" }
            h3 { "Flights that do not open well" }
            @if !others.is_empty() {
                ul {
                    @for (delay, outcome) in &others {
                        li {
                            (delay.get("label").words()) ": " (outcome.get("share").of_flights()) ": " (outcome.get("meaning").words()) "."
                        }
                    }
                }
            }
            p.note { (unlisted(named, flights)) }
            h3 { "If something fails" }
            p { (failures.get("text").words()) " Flown with " (failures.get("flown_with").words()) "." }
            (parts::wide("What comes of each failure", html! {
                caption { "Each flown by itself, in every flight." }
                thead {
                    tr {
                        th scope="col" { "If" }
                        th scope="col" { "Unsafe opening at " (limit_told) }
                        th scope="col" { "90 % within, " (length.name(units)) }
                        th scope="col" { "Touches down at, " (Quantity::Speed.name(units)) }
                        th scope="col" { "Energy, " (Quantity::Energy.name(units)) }
                    }
                }
                tbody {
                    @for failure in failures.get("each").items() {
                        @let of = failure.get("landing");
                        tr {
                            th scope="row" { (failure.get("meaning").words()) }
                            td { (failure.get("unsafe_opening").chance()) }
                            td { (of.get("distance_p90_m").bare(length, units)) }
                            td { (of.down("speed_m_s.p50").bare(Quantity::Speed, units)) }
                            td { (of.get("energy_p50_j").bare(Quantity::Energy, units)) }
                        }
                    }
                }
            }))
        }
    }
}

/// How the chances move.
fn if_the_model_is_off(at: &At, units: Units) -> Markup {
    let moves = at.get("model_moves").items();
    html! {
        @if let Some(first) = moves.first() {
            section aria-labelledby="moves" {
                h2 #moves { "If the model is off" }
                (parts::wide("How the chances move", html! {
                    caption { "Unsafe openings at " (limit(&at.get("advice"), units)) ", from " (first.get("flights").count()) " flights." }
                    thead {
                        tr {
                            th scope="col" { "Delay" }
                            th scope="col" { "as modelled" }
                            @for each in &moves { th scope="col" { (each.get("what").words()) } }
                        }
                    }
                    tbody {
                        @for (k, way) in first.get("unsafe_opening").items().iter().enumerate() {
                            tr {
                                th scope="row" { (way.get("label").words()) }
                                td { (way.get("as_modelled_text").words()) }
                                @for each in &moves { td { (each.get("unsafe_opening").nth(k).get("when_off_text").words()) } }
                            }
                        }
                    }
                }))
            }
        }
    }
}

/// What drives the risk, where that was asked.
fn drivers(at: &At, drawn: &At, units: Units) -> Markup {
    let drivers = at.get("drivers");
    let ways = drivers.get("delays").items();
    let way = ways.iter().find(|d| d.get("label").text() == drawn.get("label").text()).or(ways.first());
    html! {
        section aria-labelledby="drivers" {
            h2 #drivers { "What drives the risk" }
            @match way {
                None => p { "It was not asked: a flight card with " code { "drivers" } " is answered with it." },
                Some(way) => {
                    p { (drivers.get("meaning").words()) }
                    (driven(way, "unsafe_opening", html! { "Unsafe opening at " (limit(&at.get("advice"), units)) }))
                    (driven(way, "ejection_airspeed_m_s", html! { "Airspeed at ejection" }))
                    (driven(way, "landing_distance_m", html! { "Distance of the landing" }))
                }
            }
        }
    }
}

fn driven(way: &At, name: &'static str, what: Markup) -> Markup {
    let of = way.get(name);
    let index = |at: At| {
        html! { (at.get("estimate").plain(2, None)) small { " (" (at.get("lower").plain(2, None)) " to " (at.get("upper").plain(2, None)) ")" } }
    };
    let narrows = |at: At| {
        html! { (at.get("estimate").percent()) small { " (" (at.get("lower").percent()) " to " (at.get("upper").percent()) ")" } }
    };
    let shown = |input: &&At| input.down("total.upper").number().is_some_and(|upper| upper >= LEAST_INDEX);
    let inputs = of.get("inputs").items();
    html! {
        h3 { (what) ", " (way.get("label").words()) }
        @if of.get("none_because").is_there() {
            p { "No drivers, because " (of.get("none_because").words()) "." }
        } @else {
            (parts::wide(&format!("Drivers: {}", name.replace('_', " ")), html! {
                caption { "Inputs whose total index may be " (LEAST_INDEX) " or more (upper end)." }
                thead {
                    tr {
                        th scope="col" { "Input" }
                        th scope="col" { "first order" }
                        th scope="col" { "total" }
                        th scope="col" { "knowing it narrows by" }
                    }
                }
                tbody {
                    @for input in inputs.iter().filter(shown) {
                        tr {
                            th scope="row" { (input.get("input").text().replace('_', " ")) }
                            td { (index(input.get("first_order"))) }
                            td { (index(input.get("total"))) }
                            td { (narrows(input.get("narrows_by_share"))) }
                        }
                    }
                }
            }))
        }
    }
}

/// Chances that were sought where they happen, where that was asked.
fn rare(at: &At, size: Option<[u32; 2]>, view: &View) -> Markup {
    let (rare, units) = (at.get("rare"), view.units());
    let picture = format!("/v1/assessments/{}/rare.svg", at.get("id").text());
    let chances = rare.get("chances").items();
    if chances.is_empty() {
        return html! {};
    }
    html! {
        section aria-labelledby="rare" {
            h2 #rare { "Rare events" }
            p { (rare.get("meaning").words()) }
            figure {
                (parts::picture(&view.file(&picture, &[]), "Chance of each rare event with its interval, and the inputs that lie off where it happens; the table below has the same numbers.", size, true))
                figcaption { "Each step of the chance is ten times as rare." }
            }
            (parts::wide("Chances of rare events", html! {
                caption { "Chances over all flights, with their intervals; and the inputs whose means lie off when it happens." }
                thead {
                    tr {
                        th scope="col" { "Event" }
                        th scope="col" { "Chance" }
                        th.roomy scope="col" { "Delay" }
                        th scope="col" { "Flights drawn for it" }
                        th scope="col" { "Flights, if plainly counted" }
                        th.roomy scope="col" { "Inputs that lie off, standard deviations" }
                    }
                }
                tbody {
                    @for chance in &chances {
                        @let moved = chance.get("moved").items();
                        tr {
                            th scope="row" {
                                @if chance.get("landing_in").is_there() { "Comes down in " (chance.get("landing_in").words()) } @else { "Opens over " (limit(&chance.get("opening_over"), units)) }
                            }
                            td { (chance.get("chance_text").with_interval()) }
                            td { (chance.get("flown_with").words()) }
                            td { (chance.get("flights").count()) small { "after " (chance.get("flights_searched").count()) " to find it" } }
                            td { (chance.get("flights_counting").count()) }
                            td.said {
                                @for input in &moved {
                                    p { (input.get("input").text().replace('_', " ")) " " (input.get("standard_deviations").plain(1, None)) }
                                }
                                @if moved.is_empty() { "none" }
                            }
                        }
                    }
                }
            }))
        }
    }
}

/// Cord and tube edge, where that was asked.
fn edge(at: &At, size: Option<[u32; 2]>, view: &View) -> Markup {
    let cords = at.get("cords");
    if !cords.is_there() {
        return html! {};
    }
    let (delays, wall, units) = (cords.get("delays").items(), cords.get("wall"), view.units());
    let (force, load) = (Quantity::Force, Quantity::LineLoad);
    let picture = format!("/v1/assessments/{}/cords.svg", at.get("id").text());
    let middle = |of: At, quantity: Quantity| {
        html! { (of.get("p50").bare(quantity, units)) @if of.is_there() { small { " (" (between(&of, ["p05", "p95"], quantity, units)) ")" } } }
    };
    let first = delays.first().map_or_else(At::nothing, |delay| delay.get("arrangements").nth(0));
    let factors = first.get("edge_tears_if").items();
    // Cord, tension, load, tears, breaks and the comparison.
    let columns = 6 + factors.len();
    html! {
        section aria-labelledby="cords" {
            h2 #cords { "Shock cord and tube edge (zippering)" }
            p { (cords.get("meaning").words()) }
            p {
                "Half of all tube edges are taken to tear below " (wall.get("median_n_per_mm").measure(load, units)) " of bearing width, 90 % of them between "
                (wall.get("p05_n_per_mm").measure(load, units)) " and " (wall.get("p95_n_per_mm").measure(load, units))
                @if wall.get("guessed").holds() { ": " strong { "guessed, no value is published" } } "."
            }
            figure {
                (parts::picture(&view.file(&picture, &[]), "Load on the edge of the tube and tension of the cord against the delay, with what the edge bears; the table below has the same numbers.", size, false))
                figcaption { "Median, and what half and 90 % of the flights lie between." }
            }
            (parts::wide("Shock cord and tube edge", html! {
                caption { "From " (cords.get("flights").count()) " flights. Tension and load are medians over the flights that eject in the air, in brackets what 90 % of those lie between; chances are over all flights, in brackets their intervals." }
                thead {
                    tr {
                        th scope="col" { "Cord" }
                        th scope="col" { "Peak tension, " (force.name(units)) }
                        th scope="col" { "Load on the edge, " (load.name(units)) }
                        th scope="col" { "Edge tears" }
                        @for factor in &factors {
                            th.roomy scope="col" { "Edge tears, if it bears " (factor.get("resistance_factor").short(1, "times")) " as much" }
                        }
                        th scope="col" { "Cord breaks" }
                        th.roomy scope="col" { "Edge tears, against " (first.get("name").words()) }
                    }
                }
                @for delay in &delays {
                    tbody {
                        tr { th scope="rowgroup" colspan=(columns) { span.stays { (delay.get("label").words()) } } }
                        @for pull in delay.get("arrangements").items() {
                            tr {
                                th scope="row" { (pull.get("name").words()) }
                                td { (middle(pull.get("peak_tension_n"), force)) }
                                td { (middle(pull.get("edge_load_n_per_mm"), load)) }
                                td { (pull.get("edge_tears").chance()) }
                                @for off in pull.get("edge_tears_if").items() { td { (off.get("edge_tears").chance_or_share()) } }
                                td { (pull.get("cord_breaks").chance()) }
                                td { @if pull.get("against_first").is_there() { (pull.get("against_first").chance()) } @else { "itself" } }
                            }
                        }
                    }
                }
            }))
        }
    }
}

/// What was learned from flights flown, where some were told.
fn learned(at: &At, size: Option<[u32; 2]>, view: &View) -> Markup {
    let found = at.get("calibration");
    if !found.is_there() {
        return html! {};
    }
    let (units, used) = (view.units(), found.get("used").holds());
    let picture = format!("/v1/assessments/{}/calibration.svg", at.get("id").text());
    let quantity = |unit: &str| match unit {
        "m" => Some(Quantity::Length),
        "m/s" => Some(Quantity::Speed),
        "s" => Some(Quantity::Time),
        _ => None,
    };
    let figure = |at: At, unit: &str| match quantity(unit) {
        Some(quantity) => at.bare(quantity, units),
        None => at.plain(2, None),
    };
    let band = |at: At, unit: &str| {
        html! { (figure(at.get("p50"), unit)) small { " (" (figure(at.get("p05"), unit)) " to " (figure(at.get("p95"), unit)) ")" } }
    };
    let named = |name: &str, unit: &str| match quantity(unit) {
        Some(quantity) => format!("{}, {}", name.replace('_', " "), quantity.name(units)),
        None => format!("{name}, factor"),
    };
    html! {
        section aria-labelledby="calibration" {
            h2 #calibration { "Learned from flights flown" }
            @if !used {
                p { strong { "Not used: " } (found.get("refused_because").words()) }
            }
            p { (found.get("meaning").words()) }
            figure {
                (parts::picture(&view.file(&picture, &[]), "Drag, impulse and wind before and after, and what was logged against drawn flights; the tables below have the same numbers.", size, true))
                figcaption { @if used { "Before and after: medians" } @else { "Medians" } ", and what 90 % lie between." }
            }
            (parts::wide("Drag, impulse and wind before and after", html! {
                caption { "Median, and in brackets what 90 % lie between. Scatter is that from flight to flight, over the whole spread before." }
                thead {
                    tr {
                        th scope="col" { "Input" }
                        th scope="col" { "before" }
                        @if used {
                            th scope="col" { "next flight" }
                            th scope="col" { "bias of all flights" }
                            th scope="col" { "scatter" }
                        }
                    }
                }
                tbody {
                    @for input in found.get("inputs").items() {
                        @let unit = input.get("unit").text();
                        tr {
                            th scope="row" { (named(input.get("input").text(), unit)) }
                            td { (band(input.get("before"), unit)) }
                            @if used {
                                td { (band(input.get("after"), unit)) }
                                td { (band(input.get("bias"), unit)) }
                                td { (band(input.get("scatter"), "")) }
                            }
                        }
                    }
                }
            }))
            (parts::wide("Flights flown against drawn ones", html! {
                caption { "Flights drawn in the conditions of each, of those that came to it: median, and in brackets what 90 % lie between." }
                thead {
                    tr {
                        th scope="col" { "Flight" }
                        th scope="col" { "What" }
                        th scope="col" { "logged, standard error" }
                        th scope="col" { "drawn before" }
                        @if used { th scope="col" { "drawn after" } }
                        th scope="col" { "drawn flights that agree" }
                    }
                }
                tbody {
                    @for flown in found.get("flown").items() {
                        @for logged in flown.get("logged").items() {
                            @let unit = logged.get("unit").text();
                            tr {
                                th scope="row" { (flown.get("flight").count()) ", " (flown.get("flown_with").words()) }
                                td { (named(logged.get("what").text(), unit)) }
                                td {
                                    (figure(logged.get("logged"), unit)) small { " ± " (figure(logged.get("error"), unit)) }
                                    @if used && !logged.get("within").holds() { " " strong { "outside" } }
                                }
                                td { (band(logged.get("before"), unit)) }
                                @if used { td { (band(logged.get("after"), unit)) } }
                                td { (flown.get("effective_flights").plain(0, None)) }
                            }
                        }
                    }
                }
            }))
            p {
                "From " (found.get("flights_drawn").count()) " drawn flights; sets of bias and scatter worth "
                (found.get("effective_sets").plain(0, None)) " of one weight agree with all logs. The number drawn makes a bias or scatter err by at most "
                (found.get("sampling_error").plain(2, None)) " of the standard deviation that the logs leave open."
            }
        }
    }
}

fn assumed(at: &At) -> Markup {
    let assumed = at.get("assumed").items();
    html! {
        section aria-labelledby="assumed" {
            h2 #assumed { "What was assumed" }
            details {
                summary { (parts::many(assumed.len(), "input")) " that the card does not give" }
                ul {
                    @for each in &assumed {
                        li { code { (each.get("input").text()) } ": " (each.get("value").words()) " (" (each.get("source").words()) ")" }
                    }
                }
            }
        }
    }
}

/// The same in other forms, and for other sites.
fn files(at: &At, drawn: &At, again: bool, view: &View) -> Markup {
    let (id, label) = (at.get("id").text(), drawn.get("label").text());
    let answer = format!("/v1/assessments/{id}");
    let file = |name: &str| view.file(&format!("{answer}/{name}"), &[]);
    let of_delay = |name: &str| view.file(&format!("{answer}/{name}"), &[("delay", label)]);
    let link = |href: String, text: &str| html! { li { a href=(href) { (text) } } };
    let there = |path: String| format!("//{YOUR_SERVER}{path}");
    let alt = "Airspeed at opening against the delay";
    let image = format!("<img src=\"{}\" alt=\"{alt}\" width=\"360\">", there(file("deploy-speed.svg")));
    let frame = format!(
        "<iframe src=\"{}\" title=\"{alt}\" width=\"400\" height=\"1200\"></iframe>",
        there(view.page(&format!("/flights/{id}/embed")))
    );
    html! {
        section aria-labelledby="files" {
            h2 #files { "In other forms" }
            ul.links {
                (link(view.page(&format!("/flights/{id}/sheet")), "One page to print"))
                (link(view.page(&format!("/flights/{id}/file")), "Save this flight"))
                @if let Some(share) = view.sharing(&format!("/flights/{id}")) { (link(share, "Link for a phone")) }
                (link(view.file(&answer, &[]), "JSON, all of it"))
                @if again { (link(file("flights.csv"), "CSV, every flight")) }
                @if at.down("site.origin").is_there() {
                    (link(of_delay("landing.geojson"), "GeoJSON of the landing"))
                    (link(of_delay("landing.kml"), "KML of the landing"))
                }
                (link(file("deploy-speed.svg"), "Airspeeds, SVG"))
                (link(file("deploy-speed.png"), "Airspeeds, PNG"))
                @if at.get("rare").is_there() {
                    (link(file("rare.svg"), "Rare events, SVG"))
                    (link(file("rare.png"), "Rare events, PNG"))
                }
                @if at.get("calibration").is_there() {
                    (link(file("calibration.svg"), "Learned from flights flown, SVG"))
                    (link(file("calibration.png"), "Learned from flights flown, PNG"))
                }
                @if at.get("cords").is_there() {
                    (link(file("cords.svg"), "Shock cord and tube edge, SVG"))
                    (link(file("cords.png"), "Shock cord and tube edge, PNG"))
                }
                (link(of_delay("landing.svg"), "Landing, SVG"))
                (link(of_delay("landing.png"), "Landing, PNG"))
                @if again {
                    (link(of_delay("flight-paths.svg"), "Flights from the side, SVG"))
                    (link(file("wind.svg"), "Wind, SVG"))
                }
            }
            h3 { "On another site" }
            (parts::code("A picture for another site", &image))
            (parts::code("A frame for another site", &frame))
            p.note { "In place of " (YOUR_SERVER) " stands the name of this server. Whoever sees that site sees this: where the service asks for tokens, only with a link that shares it in the address. "
                strong { "The secret of such a link then stands in that site for everyone who sees it, until the link is over." }
            }
        }
    }
}

/// What a frame shows.
fn framed(at: &At, sizes: &Sizes, view: &View) -> String {
    let id = at.get("id").text();
    let picture = view.file(&format!("/v1/assessments/{id}/deploy-speed.svg"), &[]);
    let body = html! {
        main data-answer={ "/v1/assessments/" (id) } {
            h1 { (at.get("name").text()) }
            (first_caution())
            (parts::weather_line(at, Weather::of(at)))
            (parts::condition(&at.get("advice"), view.units()))
            (parts::picture(&picture, "Airspeed at opening against the delay, with the limits.", sizes.openings(), false))
            p { a href=(view.page(&format!("/flights/{id}"))) target="_blank" rel="noopener" { "All figures, with their cautions" } }
        }
    };
    document(at.get("name").text(), Some("frame"), &[], &body)
}
