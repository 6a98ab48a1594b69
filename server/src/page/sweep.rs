//! `/sweeps/{id}`: one flight by hour (or rail, or site) and delay, and what meets every condition.

use std::sync::Arc;

use axum::extract::State as Held;
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::Value;

use super::told::{At, Quantity, Units};
use super::view::{Page, View};
use super::{parts, sent};
use crate::State;
use crate::api::assessments::read_id;
use crate::api::extract::InPath;
use crate::api::files::drawn;
use crate::api::work;
use crate::problem::Problem;
use crate::render::heat_map::{self, Sweep};
use crate::render::svg;
use crate::store::Shelf;

/// Most settings that are written out: a longer table helps nobody.
const MOST_ROWS: usize = 240;

/// Shows a sweep.
pub async fn read(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    view: View,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    let answer = work::stored(&state, Shelf::Sweeps, &id).await?;
    let make = move |sweep: &Value| {
        let size = Sweep::deserialize(sweep).ok().and_then(|sweep| svg::size(&heat_map::picture(&sweep)));
        Ok(page(&At::whole(sweep), size, &view))
    };
    drawn(&state, answer.into(), &id.to_string(), make).await.map(|page| sent(page, &headers))
}

fn page(at: &At, size: Option<[u32; 2]>, view: &View) -> String {
    let id = at.get("id").text();
    let (path, answer) = (format!("/sweeps/{id}"), format!("/v1/sweeps/{id}"));
    let picture = view.file(&format!("{answer}/heat-map.svg"), &[]);
    let (rocket, field) = (at.get("rocket"), at.get("field"));
    let names: Vec<&str> =
        [&rocket, &field].into_iter().filter(|name| name.is_there()).map(|name| name.text()).collect();
    let called = if names.is_empty() { "The sweep".into() } else { format!("The sweep: {}", names.join(", ")) };
    let body = html! {
        p.about data-kept-as=(called) {
            @if rocket.is_there() { (rocket.words()) ". " }
            @if field.is_there() { (field.words()) ". " }
            (parts::many(at.get("cells").items().len(), "setting")) ", " (at.get("flights").count()) " flights."
        }
        section aria-labelledby="feasible" {
            h2 #feasible { "What meets every condition" }
            ol { @for condition in at.get("conditions").items() { li { (condition.get("text").words()) } } }
            p { (at.get("text").words()) }
            (choices(at))
            p.weather.aged { strong { "Weather: " } "a sweep does not say how old it is. Open the flight of a setting, assessed with its weather, before you decide." }
        }
        section aria-labelledby="map" {
            h2 #map { "Every setting by delay" }
            figure {
                (parts::picture(&picture, "Chance of an unsafe opening for every setting and delay; the table below has the same numbers.", size, false))
            }
            (table(at, view.units()))
            p { "A setting is no flight of its own: a sweep keeps no answer for it. To open one as a flight, post " code { "base" } " of the sweep with what the setting changes to " code { "/v1/assessments" } "." }
            p.note { (at.get("intervals").words()) }
        }
        section aria-labelledby="files" {
            h2 #files { "In other forms" }
            ul.links {
                @if let Some(share) = view.sharing(&path) { li { a href=(share) { "Link for a phone" } } }
                li { a href=(view.file(&answer, &[])) { "JSON, all of it" } }
                li { a href=(picture) { "Map, SVG" } }
                li { a href=(view.file(&format!("{answer}/heat-map.png"), &[])) { "Map, PNG" } }
            }
        }
        (parts::identity(at))
    };
    Page { title: "The sweep", path: &path, own: &[], answer: &answer, scripts: &[], body }.whole(view)
}

/// The best choices.
fn choices(at: &At) -> Markup {
    let (best, conditions) = (at.get("best").items(), at.get("conditions").items());
    html! {
        @if !best.is_empty() {
            (parts::wide("The choices with most room", html! {
                caption { (best.len()) " of the " (at.get("feasible").count()) " choices that meet every condition, the one with most room first." }
                thead {
                    tr {
                        th scope="col" { "Choice" }
                        @for (k, _) in conditions.iter().enumerate() { th scope="col" { "Chance, condition " (k + 1) } }
                    }
                }
                tbody {
                    @for choice in &best {
                        tr {
                            th scope="row" { (choice.get("text").words()) }
                            @for chance in choice.get("chances").items() { td { (chance.chance()) } }
                        }
                    }
                }
            }))
        }
    }
}

/// The settings, each with its delays below it.
fn table(at: &At, units: Units) -> Markup {
    let cells = at.get("cells").items();
    let shown: Vec<(String, &At)> = cells.iter().take(MOST_ROWS).map(|cell| (setting(at, cell), cell)).collect();
    html! {
        (settings(&shown, units, html! {
            @if at.get("conditions").items().len() > 1 {
                "Whether every condition is met; then whether each is, by its number above, and its chance with its interval; and within what distance 90 % of the landings keep."
            } @else {
                "Whether the condition is met, and its chance with its interval; and within what distance 90 % of the landings keep."
            }
        }))
        @if cells.len() > shown.len() { p { (cells.len() - shown.len()) " more settings are not written out: the JSON has them all." } }
    }
}

/// A setting in words.
fn setting(at: &At, cell: &At) -> String {
    let axes = at.get("axes").items();
    let steps = cell.get("at").items();
    let step = |(axis, step): (&At, &At)| {
        let label = axis.get("labels").nth(step.number().unwrap_or_default() as usize).text();
        match axis.get("axis").text() {
            "tilts" => format!("tilt {label}"),
            "azimuths" => format!("azimuth {label}"),
            _ => label.to_string(),
        }
    };
    axes.iter().zip(&steps).map(step).collect::<Vec<_>>().join(", ")
}

/// Settings by what they are called. A row is a delay: so many columns are there as conditions, which are few.
pub fn settings(settings: &[(String, &At)], units: Units, caption: Markup) -> Markup {
    let conditions = settings.first().map_or(0, |(_, cell)| cell.get("delays").nth(0).get("checks").items().len());
    let several = conditions > 1;
    let columns = 2 + conditions + usize::from(several);
    let length = Quantity::Length;
    parts::wide(
        "Chance of an unsafe opening by setting and delay",
        html! {
            caption { (caption) }
            thead {
                tr {
                    th scope="col" { "Delay" }
                    @if several { th scope="col" { "Every condition" } }
                    @for k in 1..=conditions { th scope="col" { "Condition" @if several { " " (k) } } }
                    th scope="col" { "90 % within, " (length.name(units)) }
                }
            }
            @for (called, cell) in settings {
                tbody.setting {
                    tr { th scope="rowgroup" colspan=(columns) { span.stays { (called) } } }
                    @for delay in cell.get("delays").items() {
                        @let checks = delay.get("checks").items();
                        @let (class, word) = standing(&checks);
                        tr {
                            th scope="row" { (delay.get("label").words()) }
                            @if several { td.(class) { span.met { (word) } } }
                            @for (k, check) in checks.iter().enumerate() {
                                td.check.(if several { "" } else { class }) {
                                    @if several { (k + 1) ":\u{a0}" }
                                    (held(check))
                                }
                            }
                            td { (delay.get("landing_distance_p90_m").bare(length, units)) }
                        }
                    }
                }
            }
        },
    )
}

/// How a delay stands to all of its conditions: a class, and in words.
fn standing(checks: &[At]) -> (&'static str, &'static str) {
    let met = |word: &str| checks.iter().any(|check| check.get("met").text() == word);
    match (met("does not meet"), met("not known") || checks.is_empty()) {
        (true, _) => ("fails", "does not meet"),
        (false, true) => ("unknown", "not known"),
        (false, false) => ("meets", "meets"),
    }
}

/// Whether a condition is met, and the chance that it is held against.
fn held(check: &At) -> Markup {
    html! {
        span.met { (check.get("met").words()) } ", "
        // Answers of before 0.12.0 have no words for it; of what was never seen their estimate says nothing.
        @if check.get("text").is_there() { (check.chance()) } @else { (check.get("lower").end()) " to " (check.get("upper").end()) }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn what_was_never_seen_is_told_by_its_upper_end() {
        let told = |text: Option<&str>| {
            let check = json!({"chance": 0.0, "lower": 0.0, "upper": 0.0018, "text": text, "met": "meets"});
            let shown = held(&At::whole(&check)).into_string();
            scraper::Html::parse_fragment(&shown).root_element().text().collect::<String>()
        };
        assert_eq!(told(Some("< 0.18 %")), "meets, < 0.18 %");
        // Of an older answer.
        assert_eq!(told(None), "meets, < 0.1\u{a0}% to 0.2\u{a0}%");
    }
}
