//! `/days/{id}`: a row for each flight, a cell for each delay, and what changed since another day.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::State as Held;
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, html};
use serde_json::Value;

use super::standing::{Place, Sky, Weather, at_condition, cell, key, launching_with, of_another_place, word};
use super::told::{At, NOT_KNOWN, Quantity, Units, limit};
use super::view::{Only, Page, Sort, View, Wishes};
use super::{kept, parts, sent};
use crate::State;
use crate::api::assessments::{kept, read_id};
use crate::api::days::compared;
use crate::api::extract::InPath;
use crate::api::files::drawn;
use crate::api::work;
use crate::id::ContentId;
use crate::problem::Problem;
use crate::store::Shelf;
use crate::threads::blocking;

/// Shows a day.
pub async fn read(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    view: View,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let before = match &view.wishes.since {
        Some(since) => {
            let changes = compared(&state, &read_id(&id)?, &read_id(since)?).await?;
            let changes: Value = serde_json::from_slice(&changes).map_err(|_| Problem::internal())?;
            Some((changes, told(&state, since).await?))
        }
        None => None,
    };
    let make = move |day: &At, sky: &Sky| page(day, sky, before.as_ref(), &view);
    shown(&state, &id, make).await.map(|page| sent(page, &headers))
}

/// A day, and its weather as its first flight tells it.
pub struct Told {
    day: Value,
    /// The answer of the first flight that was flown; null where it is gone.
    first: Value,
    /// Names of the flights that launch when that does.
    with_first: Vec<String>,
}

impl Told {
    fn sky(&self) -> Sky<'_> {
        Sky { first: At::whole(&self.first), with_first: &self.with_first }
    }
}

/// Reads a day, the answer of its first flight and what was asked.
async fn told(state: &Arc<State>, id: &str) -> Result<Told, Problem> {
    let id = read_id(id)?;
    let answer = work::stored(state, Shelf::Days, &id).await?;
    let input = kept(state, Shelf::Days, &id).await?.and_then(|kept| kept.input);
    let day = drawn(state, answer.into(), &id.to_string(), |day: &Value| Ok(day.clone())).await?;
    let mut rows = day["entries"].as_array().into_iter().flatten();
    let first =
        rows.find_map(|row| Some((row["name"].clone(), ContentId::parse(row["flight"]["assessment"].as_str()?)?)));
    let flown = match &first {
        // Whoever may read a day may read its flights.
        Some((_, first)) => work::stored(state, Shelf::Assessments, first).await.ok(),
        None => None,
    };
    let flown = flown.map_or(Bytes::from_static(b"null"), Bytes::from);
    let first_row = first.and_then(|(name, _)| Some(name.as_str()?.to_string()));
    let make = move |first: &Value| {
        let input: Option<Value> = input.and_then(|input| serde_json::from_slice(&input).ok());
        let with_first = input.zip(first_row).map(|(input, name)| launching_with(&input, &name));
        Ok(Told { day, first: first.clone(), with_first: with_first.unwrap_or_default() })
    };
    drawn(state, flown, &id.to_string(), make).await
}

/// Something made of a day and of its weather.
pub async fn shown<M>(state: &Arc<State>, id: &str, make: M) -> Result<String, Problem>
where
    M: FnOnce(&At, &Sky) -> Result<String, Problem> + Send + 'static,
{
    let told = told(state, id).await?;
    blocking(move || make(&At::whole(&told.day), &told.sky())).await?
}

fn page(day: &At, sky: &Sky, before: Option<&(Value, Told)>, view: &View) -> Result<String, Problem> {
    let (id, units) = (day.get("id").text(), view.units());
    let (path, answer) = (format!("/days/{id}"), format!("/v1/days/{id}"));
    let rows = rows(day, view);
    let own = own(view);
    let body = html! {
        (at_a_glance(day))
        (weather(&day.get("entries").items(), sky))
        @if let Some(advice) = flown(day).first().map(|row| row.down("flight.advice")) {
            (key(&advice, Place::Ejection, of_another_place(Place::of_limits(&sky.first)), units))
        }
        @if let Some((changes, before)) = before { (changed(&At::whole(changes), day, sky, before, view)) }
        section aria-labelledby="flights" {
            h2 #flights { "The flights" }
            (choices(view, &path))
            @if rows.is_empty() { p { "No flight of this day is of that kind." } }
            ol.flights {
                // A flight keeps its number on the card, however they are sorted.
                @for (number, row) in &rows { li value=(number) { (flight(row, *number, sky.of_row(row), view)) } }
            }
            p.note { (day.get("intervals").words()) }
        }
        section aria-labelledby="files" {
            h2 #files { "In other forms" }
            ul.links {
                li { a href=(view.page(&format!("{path}/sheet"))) { "One page to print" } }
                li { a href=(view.page(&format!("{path}/file"))) { "Save this day" } }
                @if let Some(share) = view.sharing(&path) { li { a href=(share) { "Link for a phone" } } }
                li { a href=(view.file(&answer, &[])) { "JSON, all of it" } }
            }
            (kept::this_day())
        }
        (parts::identity(day))
    };
    let own: Vec<(&str, &str)> = own.iter().map(|(name, value)| (*name, value.as_str())).collect();
    Ok(Page { title: "The day", path: &path, own: &own, answer: &answer, scripts: &[], body }.whole(view))
}

/// What of the query is the day's own.
fn own(view: &View) -> Vec<(&'static str, String)> {
    let wishes = &view.wishes;
    let mut own = Vec::new();
    if wishes.sort != Sort::default() {
        own.push(("sort", wishes.sort.name().to_string()));
    }
    if wishes.only != Only::default() {
        own.push(("only", wishes.only.name().to_string()));
    }
    if let Some(since) = &wishes.since {
        own.push(("since", since.clone()));
    }
    own
}

/// Rows that were flown.
pub fn flown<'a>(day: &At<'a>) -> Vec<At<'a>> {
    day.get("entries").items().into_iter().filter(|row| row.get("flight").is_there()).collect()
}

/// Whether no delay meets the condition.
fn unmet(row: &At) -> bool {
    row.get("flight").is_there() && row.down("flight.advice.meets").items().is_empty()
}

/// The least chance of an unsafe opening that a flight has; what could not be flown stands before all.
fn chance(row: &At) -> f64 {
    let advice = row.down("flight.advice");
    let delays = row.down("flight.delays").items();
    let chances = delays.iter().filter_map(|d| at_condition(d, &advice).get("estimate").number());
    chances.reduce(f64::min).unwrap_or(f64::INFINITY)
}

/// The rows that are asked for, in the order asked, each with its number on the card.
fn rows<'a>(day: &At<'a>, view: &View) -> Vec<(usize, At<'a>)> {
    let mut rows: Vec<(usize, At<'a>)> = (1..).zip(day.get("entries").items()).collect();
    let holds = |row: &At| row.down("flight.hold").items().len();
    match view.wishes.only {
        Only::All => {}
        Only::Unmet => rows.retain(|(_, row)| unmet(row)),
        Only::Hold => rows.retain(|(_, row)| holds(row) > 0),
        Only::Failed => rows.retain(|(_, row)| row.get("problem").is_there()),
    }
    match view.wishes.sort {
        Sort::Card => {}
        Sort::Chance => rows.sort_by(|(_, a), (_, b)| chance(b).total_cmp(&chance(a))),
        Sort::Hold => rows.sort_by_key(|(_, row)| core::cmp::Reverse(holds(row))),
        Sort::Name => rows.sort_by_key(|(_, row)| row.get("name").text().to_lowercase()),
    }
    rows
}

/// The weather of rows of a day, as its first flight tells it.
pub fn weather(rows: &[At], sky: &Sky) -> Markup {
    html! {
        div data-answer={ "/v1/assessments/" (sky.first.get("id").text()) } {
            (parts::weather_line(&sky.first, Weather::of(&sky.first)))
        }
        @if sky.first.down("weather.age_h").is_there() && !sky.together(rows) {
            p.weather.aged {
                "Not all flights are known to launch at one time: that age is of the first flight and of those that launch with it, and for the others it is not known."
            }
        }
    }
}

/// How many flights there are of each kind.
fn at_a_glance(day: &At) -> Markup {
    let rows = day.get("entries").items();
    let unmet = rows.iter().filter(|row| unmet(row)).count();
    let failed = rows.iter().filter(|row| row.get("problem").is_there()).count();
    // Days are told apart by their flights, where those that a device keeps are listed.
    let names: Vec<&str> = rows.iter().map(|row| row.get("name").text()).collect();
    html! {
        p.about data-kept-as={ "The day: " (names.join(", ")) } {
            (parts::many(rows.len(), "flight")) ": " (rows.len() - unmet - failed) " with a delay that meets the condition, "
            (unmet) " with none, " (failed) " that could not be flown."
        }
    }
}

fn choices(view: &View, path: &str) -> Markup {
    let link = |name: &'static str, value: &'static str, text: &str, current: bool| {
        let mut own = own(view);
        own.retain(|(other, _)| *other != name);
        own.push((name, value.to_string()));
        let own: Vec<(&str, &str)> = own.iter().map(|(name, value)| (*name, value.as_str())).collect();
        html! { li { a href={ (view.page_with(path, &own)) "#flights" } aria-current=[current.then_some("true")] { (text) } } }
    };
    let Wishes { sort: sorted, only: kept, .. } = view.wishes;
    html! {
        details.choosing {
            summary { "Shown: " (kept.words()) ", " (sorted.words()) }
            nav aria-label="Order" {
                ul.links { @for sort in Sort::ALL { (link("sort", sort.name(), sort.words(), sort == sorted)) } }
            }
            nav aria-label="Which flights" {
                ul.links { @for only in Only::ALL { (link("only", only.name(), only.words(), only == kept)) } }
            }
        }
    }
}

/// A flight of a day, by its number there: its name, a cell for each delay, and its reasons to hold, or why it could not be flown.
pub fn flight(row: &At, number: usize, weather: Weather, view: &View) -> Markup {
    let (of, advice) = (row.get("flight"), row.down("flight.advice"));
    let path = format!("/flights/{}", of.get("assessment").text());
    html! {
        @if of.is_there() {
            h3 { span.count { (number) ". " } a href=(view.page(&path)) { (row.get("name").words()) } }
            p.about { (of.get("rocket").words()) }
            ul.cells {
                @for delay in of.get("delays").items() {
                    @let href = view.page_with(&path, &[("delay", delay.get("label").text())]);
                    (cell(&delay, &advice, &delay.get("airspeed_p50_m_s"), weather, view.units(), &href))
                }
            }
            (each_limit(&of, view.units()))
            (held(&of.get("hold")))
        } @else {
            h3 { span.count { (number) ". " } (row.get("name").words()) }
            (refused(&row.get("problem")))
        }
    }
}

/// The chances at every limit, on demand: a cell has those at the limit of the condition.
fn each_limit(of: &At, units: Units) -> Markup {
    let limits: Vec<Markup> = of.get("limits").items().iter().map(|each| limit(each, units)).collect();
    html! {
        details.limits {
            summary { "Chances at " (parts::many(limits.len(), "limit")) }
            (parts::chances("Chances at each limit", &html! {}, (&of.get("delays").items(), &limits), |_, _| html! {}, None))
        }
    }
}

/// Reasons to hold: what they are about at a glance, all of them on demand.
fn held(hold: &At) -> Markup {
    let reasons = hold.items();
    let mut topics: Vec<String> = reasons.iter().map(|r| r.get("topic").text().replace('_', " ")).collect();
    topics.dedup();
    html! {
        @if reasons.is_empty() {
            p.note { "None of the cautions that are looked for. That is no leave to fly." }
        } @else {
            details.held {
                summary { strong { (parts::many(reasons.len(), "reason")) " to hold: " } (topics.join(", ")) }
                ul { @for reason in &reasons { li { (reason.get("message").words()) } } }
            }
        }
    }
}

/// Why a flight could not be flown.
fn refused(problem: &At) -> Markup {
    html! {
        div.refused {
            p { strong { "Could not be flown: " } (problem.get("title").words()) " " (problem.get("detail").words()) }
            ul {
                @for fault in problem.get("errors").items() {
                    li { code { (fault.get("pointer").text()) } ": " (fault.get("problem").words()) ". " strong { (fault.get("remedy").words()) } }
                }
            }
        }
    }
}

/// What changed since another day.
fn changed(changes: &At, day: &At, sky: &Sky, before: &Told, view: &View) -> Markup {
    let since = changes.get("since").text();
    let address = format!("/v1/days/{}/changes?since={since}", changes.get("id").text());
    let differing: Vec<At> =
        changes.get("entries").items().into_iter().filter(|entry| entry.get("change").text() != "same").collect();
    let [then, now] = [At::whole(&before.day), day.clone()].map(|day| day.get("entries").items());
    let of = |sky: &Sky, rows: &[At], entry: &At| {
        let row = rows.iter().find(|row| row.get("name").text() == entry.get("name").text());
        row.map_or(Weather::Undated, |row| sky.of_row(row))
    };
    let weather_of = |entry: &At| of(sky, &now, entry);
    let weather_before = |entry: &At| of(&before.sky(), &then, entry);
    // A place of the day, among those of what changed.
    let at_limit = html! {
        @if let Some(row) = flown(day).first() {
            span data-answer={ "/v1/days/" (day.get("id").text()) } { (limit(&row.down("flight.advice"), view.units())) }
        } @else { "the limit of the condition" }
    };
    html! {
        section data-answer=(address) aria-labelledby="changes" {
            h2 #changes { "What changed since " a href=(view.page(&format!("/days/{since}"))) { "the day before it" } }
            @let input = changes.get("input").items();
            @if input.is_empty() { p { "Nothing was asked otherwise." } }
            ul {
                @for each in &input {
                    li { code { (each.get("pointer").text()) } ": " (json(&each.get("before"))) " became " (json(&each.get("after"))) }
                }
            }
            @if differing.is_empty() {
                p { "Every figure of every flight is as it was." }
            } @else {
                (parts::wide("What changed of each flight", html! {
                    caption {
                        "Chance of an unsafe opening at " (at_limit)
                        ", and how it stood and stands, each in the weather of its own day."
                    }
                    thead {
                        tr {
                            th scope="col" { "Flight" } th scope="col" { "Delay" }
                            th scope="col" { "Stood" } th scope="col" { "Stands at " (at_limit) }
                            th scope="col" { "Intervals" }
                        }
                    }
                    tbody {
                        @for entry in &differing {
                            @let delays = entry.get("delays").items();
                            @if delays.is_empty() {
                                tr { th scope="row" { (entry.get("name").words()) } td colspan="4" { (entry.get("change").words()) } }
                            }
                            @for delay in &delays {
                                tr {
                                    th scope="row" { (entry.get("name").words()) " (" (entry.get("change").words()) ")" }
                                    td { (delay.get("label").words()) }
                                    td { (stood(&delay.get("standing_before"), &delay.get("unsafe_opening_before"), weather_before(entry))) }
                                    td { (stood(&delay.get("standing_after"), &delay.get("unsafe_opening_after"), weather_of(entry))) }
                                    td { (apart(&delay.get("intervals_apart"))) }
                                }
                            }
                        }
                    }
                }))
            }
        }
    }
}

fn stood(standing: &At, chance: &At, weather: Weather) -> Markup {
    html! {
        @if standing.is_there() {
            (word(standing, weather)) ", " (chance.chance())
        } @else { "not asked" }
    }
}

fn apart(of: &At) -> &'static str {
    match (of.is_there(), of.holds()) {
        (true, true) => "apart",
        (true, false) => "overlap",
        (false, _) => NOT_KNOWN,
    }
}

/// A value of a request as it was sent; long ones are cut.
fn json(at: &At) -> Markup {
    const MOST: usize = 60;
    let text = if at.is_there() { at.json() } else { "nothing".into() };
    let cut: String = text.chars().take(MOST).collect();
    html! { code { (cut) @if cut.len() < text.len() { "..." } } }
}

/// One line of a flight for a sheet: its delays with their chances and words.
pub fn line(row: &At, weather: Weather, units: Units) -> Markup {
    let (of, advice) = (row.get("flight"), row.down("flight.advice"));
    html! {
        @for (k, delay) in of.get("delays").items().iter().enumerate() {
            @if k > 0 { "; " }
            span.entry {
                strong { (delay.get("label").words()) } " " (at_condition(delay, &advice).chance()) " "
                (word(&delay.get("standing"), weather))
                ", " (delay.get("airspeed_p50_m_s").measure(Quantity::Speed, units))
            }
        }
    }
}
