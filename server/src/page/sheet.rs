//! `/flights/{id}/sheet` and `/days/{id}/sheet`: one page of paper, A4 or Letter, black alone, with a line to sign on.
//!
//! What a sheet has room for is reckoned here, so that it is one page whatever is on it: what finds none is counted on the sheet
//! and stands on the page of the flight, or on the next part of the day. The browser's harness prints the fullest of both.

use std::sync::Arc;

use axum::extract::State as Held;
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, html};

use super::standing::{Place, Sky, Weather, at_condition, of_another_place, word};
use super::told::{At, NOT_KNOWN, Quantity, Units, limit};
use super::view::{View, document, first_caution};
use super::{day, flight, parts, sent};
use crate::State;
use crate::api::extract::InPath;
use crate::problem::{Kind, Problem};

/// Lines of a sheet of Letter, the shorter of the two, below its head and above the line to sign on.
const LINES: usize = 56;
/// Lines of the table of a day, which has no cautions below it.
const DAY_LINES: usize = 72;
/// Lines that are taken by the note that flights launch at other times.
const OTHER_LAUNCHES: usize = 4;
/// Letters of a line of the name of a flight.
const NAME: usize = 26;
/// Letters of a line of what is said of a flight of a day.
const SAID: usize = 84;
/// What stands beside the words of a delay of a day at most: its median airspeed and what is to be minded of the weather.
const BESIDE: usize = 34;
/// Letters of a line over the whole width.
const WHOLE: usize = 120;
/// Letters of a line of cautions, which stand in two columns.
const HALF: usize = 58;
/// Letters of a line of the label of a delay.
const LABEL: usize = 14;
/// Most lines of a table of delays: the rest is left to advice and cautions.
const TABLE: usize = 46;

/// Prints an assessment.
pub async fn of_flight(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    view: View,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let page = flight::made(&state, &id, move |answer, _| Ok(flight_sheet(&At::whole(answer), &view))).await?;
    Ok(sent(page, &headers))
}

/// Prints a day, or a part of one that is longer than a sheet.
pub async fn of_day(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    view: View,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let make = move |day: &At, sky: &Sky| day_sheet(day, sky, &view);
    day::shown(&state, &id, make).await.map(|page| sent(page, &headers))
}

/// Lines that a text takes.
fn lines(text: &str, letters: usize) -> usize {
    text.chars().count().div_ceil(letters).max(1)
}

fn flight_sheet(at: &At, view: &View) -> String {
    let (id, units) = (at.get("id").text(), view.units());
    let weather = Weather::of(at);
    let delays = at.get("delays").items();
    // A row is half as high again as the lines of its label; the heading of the table takes four lines.
    let mut half_lines = 0;
    let fits = |delay: &&At| {
        half_lines += 3 * lines(delay.get("label").text(), LABEL);
        half_lines <= 2 * TABLE
    };
    let rows = delays.iter().take_while(fits).count();
    let advice = lines(at.down("advice.text").text(), WHOLE);
    let left = LINES.saturating_sub(half_lines.div_ceil(2).min(TABLE) + 4 + advice);
    let cautions = of_all_first(at.get("cautions").items(), &delays);
    let fitting = fitting(&cautions, 2 * left.saturating_sub(2));
    let body = html! {
        h1 { (at.get("name").words()) }
        (first_caution())
        (parts::about(at))
        (parts::condition(&at.get("advice"), units))
        (parts::weather_line(at, weather))
        (delays_table(at, &delays[..rows], weather, units))
        @if rows < delays.len() { p { "Left out here: " (parts::many(delays.len() - rows, "delay")) ". The page of this flight has all." } }
        p { (at.down("advice.text").words()) }
        h2 { "Cautions" }
        @if cautions.is_empty() { p { "None of those that are looked for. That is no leave to fly." } }
        ul.columns { @for caution in &cautions[..fitting] { li { (caution.get("message").words()) } } }
        @if fitting < cautions.len() { p { strong { "Left out here: " (parts::many(cautions.len() - fitting, "caution")) "." } " The page of this flight has all." } }
        (foot(at))
    };
    sheet(
        &format!("{}: sheet", at.get("name").text()),
        &format!("/flights/{id}"),
        &format!("/v1/assessments/{id}"),
        view,
        &body,
    )
}

/// Cautions in the order of a sheet, which may have room for the first alone: those that name no single delay, then the others.
fn of_all_first<'a>(mut cautions: Vec<At<'a>>, delays: &[At]) -> Vec<At<'a>> {
    let of_one = |caution: &At| {
        let named = |delay: &At| caution.get("message").text().strip_prefix(delay.get("label").text());
        delays.iter().filter_map(named).any(|rest| rest.starts_with(": "))
    };
    cautions.sort_by_key(of_one);
    cautions
}

/// How many cautions there is room for.
fn fitting(cautions: &[At], mut room: usize) -> usize {
    let fits = |caution: &&At| {
        let takes = lines(caution.get("message").text(), HALF);
        let fits = takes <= room;
        room = room.saturating_sub(takes);
        fits
    };
    cautions.iter().take_while(fits).count()
}

fn delays_table(at: &At, delays: &[At], weather: Weather, units: Units) -> Markup {
    let (advice, place) = (at.get("advice"), Place::of_limits(at));
    let (speed, length) = (Quantity::Speed, Quantity::Length);
    let fields = delays.iter().any(|d| d.down("landing.outside_fields").is_there());
    let table = html! {
            thead {
                tr {
                    th scope="col" { "Delay" }
                    th scope="col" { "Stands at " (limit(&advice, units)) }
                    th scope="col" { "Unsafe opening" }
                    th scope="col" { "Airspeed at " (place.name()) ", " (speed.name(units)) }
                    th scope="col" { "After apogee, s" }
                    th scope="col" { "90 % land within, " (length.name(units)) }
                    @if fields { th scope="col" { "Outside every field" } }
                }
            }
            tbody {
                @for delay in delays {
                    @let speeds = place.airspeeds(delay);
                    tr {
                        th scope="row" { (delay.get("label").words()) }
                        td { (word(&delay.get("standing"), weather)) }
                        td { (at_condition(delay, &advice).chance()) }
                        td {
                            @if speeds.is_there() {
                                (speeds.get("p50").bare(speed, units)) " (" (speeds.get("p05").bare(speed, units)) " to "
                                (speeds.get("p95").bare(speed, units)) ")"
                            } @else { (NOT_KNOWN) }
                        }
                        td { (delay.down("at_ejection.after_apogee_s.p50").bare(Quantity::Time, units)) }
                        td { (delay.down("landing.distance_p90_m").bare(length, units)) }
                        @if fields { td { (delay.down("landing.outside_fields").chance()) } }
                    }
                }
            }
    };
    html! {
        (parts::wide("Each delay", table))
        p.note { "Airspeed: median, and what 90 % of the flights lie between." }
    }
}

/// The rows of each part of a day: as many as a sheet has room for, and at least one.
fn by_part(rows: &[At], room: usize) -> Vec<core::ops::Range<usize>> {
    let mut parts = Vec::new();
    let (mut from, mut used) = (0, 0);
    for (k, row) in rows.iter().enumerate() {
        let takes = height(row);
        if used + takes > room && k > from {
            parts.push(from..k);
            (from, used) = (k, 0);
        }
        used += takes;
    }
    parts.push(from..rows.len());
    parts
}

/// Lines of a row, by its letters: labels of altimeters are long.
fn height(row: &At) -> usize {
    let of = row.get("flight");
    let said = if of.is_there() {
        let advice = of.get("advice");
        let letters = |delay: &At| {
            let chance = at_condition(delay, &advice);
            let texts = [delay.get("label"), chance.get("text"), delay.get("standing")];
            texts.iter().map(|text| text.text().chars().count()).sum::<usize>() + BESIDE
        };
        let said: usize = of.get("delays").items().iter().map(letters).sum();
        said.div_ceil(SAID) + lines(&topics(row), SAID)
    } else {
        lines(row.down("problem.detail").text(), WHOLE)
    };
    1 + said.max(lines(row.get("name").text(), NAME) + lines(of.get("rocket").text(), NAME))
}

/// What the reasons to hold of a flight are about.
fn topics(row: &At) -> String {
    let mut topics: Vec<String> =
        row.down("flight.hold").items().iter().map(|r| r.get("topic").text().replace('_', " ")).collect();
    topics.dedup();
    topics.join(", ")
}

fn day_sheet(day: &At, sky: &Sky, view: &View) -> Result<String, Problem> {
    let (id, units) = (day.get("id").text(), view.units());
    let rows = day.get("entries").items();
    let parts = by_part(&rows, DAY_LINES - if sky.together(&rows) { 0 } else { OTHER_LAUNCHES });
    let part = view.wishes.part.unwrap_or(1);
    let Some(shown) = part.checked_sub(1).and_then(|k| parts.get(k)) else {
        return Err(Problem::new(
            Kind::InvalidQuery,
            format!("There is no such part. Give part as one of 1 to {}.", parts.len()),
        ));
    };
    let path = format!("/days/{id}/sheet");
    let body = html! {
        h1 { "The day" @if parts.len() > 1 { ", part " (part) " of " (parts.len()) } }
        (first_caution())
        @if sky.first.is_there() {
            p.about data-answer={ "/v1/assessments/" (sky.first.get("id").text()) } {
                @let (field, launch) = (sky.first.down("site.name"), sky.first.down("weather.launch_at"));
                @if field.is_there() { (field.words()) ". " }
                @if launch.is_there() && sky.together(&rows) { "Launch at " (launch.words()) "." }
            }
        }
        @if let Some(row) = day::flown(day).first() { (parts::condition(&row.down("flight.advice"), units)) }
        (day::weather(&day.get("entries").items(), sky))
        (parts::wide("Each flight", html! {
            thead { tr { th scope="col" { "Flight" } th scope="col" { "Each delay: chance of an unsafe opening, how it stands, median airspeed at ejection" (of_another_place(Place::of_limits(&sky.first)).unwrap_or_default()) } } }
            tbody {
                @for row in &rows[shown.clone()] {
                    tr {
                        th scope="row" {
                            (row.get("name").words())
                            @if row.get("flight").is_there() { " " small { (row.down("flight.rocket").words()) } }
                        }
                        td.said {
                            @if row.get("flight").is_there() {
                                (day::line(row, sky.of_row(row), units))
                                @let topics = topics(row);
                                @if !topics.is_empty() { p { strong { "Hold: " } (topics) } }
                            } @else {
                                strong { "Could not be flown: " } (row.down("problem.detail").words())
                            }
                        }
                    }
                }
            }
        }))
        (foot(day))
        @if parts.len() > 1 {
            nav.screen aria-label="Parts" {
                ul.links {
                    @for k in 1..=parts.len() {
                        li { a href=(view.page_with(&path, &[("part", &k.to_string())])) aria-current=[(k == part).then_some("true")] { "Part " (k) } }
                    }
                }
            }
        }
    };
    Ok(sheet("The day: sheet", &format!("/days/{id}"), &format!("/v1/days/{id}"), view, &body))
}

/// Who signs, and what makes the same sheet again.
fn foot(at: &At) -> Markup {
    let line = |name: &str| html! { p { (name) span.rule {} } };
    html! {
        div.signature { (line("Range safety officer")) (line("Decision")) (line("Date and time")) }
        (parts::identity(at))
    }
}

/// A sheet as a document; on a screen it leads back.
fn sheet(title: &str, back: &str, answer: &str, view: &View, body: &Markup) -> String {
    let body = html! {
        nav.screen aria-label="Back" { a href=(view.page(back)) { "Back to the figures" } " (print this page: it is one sheet)" }
        main data-answer=(answer) { (body) }
    };
    document(title, Some("sheet"), &[], &body)
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    #[test]
    fn cautions_on_all_delays_come_before_those_on_one() {
        let messages = [
            "delay 4 s: fast.",
            "The rail is tilted.",
            "delay 4 s and apogee: slow.",
            "delay 4 s opens low.",
            "No area is named.",
        ];
        let answer: Value = messages.iter().map(|message| json!({"message": message})).collect();
        let delays = json!([{"label": "delay 4 s"}, {"label": "delay 4 s and apogee"}]);
        let sorted = of_all_first(At::whole(&answer).items(), &At::whole(&delays).items());
        let told: Vec<&str> = sorted.iter().map(|caution| caution.get("message").text()).collect();
        assert_eq!(told, [1, 3, 4, 0, 2].map(|k| messages[k]));
    }
}
