//! `/`: what this is and how to begin.

use axum::extract::Request;
use axum::response::Response;
use maud::html;

use super::as_html;
use super::view::{NAME, Page, View, YOUR_SERVER};

/// The example, but for where it is sent.
const EXAMPLE: &str = "curl -d @first-flight.json -H 'content-type: application/json' ";

/// The front page. What its query holds besides units and colours is nothing to it.
pub fn page(request: &Request) -> Response {
    let view = View::at_front(request);
    as_html(whole(&view))
}

fn whole(view: &View) -> String {
    let body = html! {
        p { "For each delay of a rocket's motor: when its recovery opens, how fast it is then, where it comes down, and how sure that is." }
        section aria-labelledby="begin" {
            h2 #begin { "A day of flights" }
            p { a href=(view.page("/new")) { "Write a day down" } ": flights, field, weather and limits, with units as on the card." }
            ul.links {
                li { a href=(view.page("/jobs")) { "Your jobs" } }
                li { a href=(view.page("/sign-in")) { "Sign in" } }
            }
        }
        (super::kept::here())
        section aria-labelledby="open" {
            h2 #open { "What there is to open" }
            p { "By the id of the answer:" }
            dl {
                dt { code { "/days/" } em { "id" } }
                dd { "a day: a row for each flight, a cell for each delay; with " code { "?since=" } em { "id" } " what changed since another day" }
                dt { code { "/flights/" } em { "id" } }
                dd { "one flight: every delay, the picture, the map, what drives it, what to mind" }
                dt { code { "/sweeps/" } em { "id" } }
                dd { "one flight by hour and delay, and what meets every condition" }
                dt { code { "/flights/" } em { "id" } code { "/sheet" } ", " code { "/days/" } em { "id" } code { "/sheet" } }
                dd { "one page to print and to sign" }
            }
        }
        section aria-labelledby="programs" {
            h2 #programs { "For programs" }
            p {
                "A flight card as JSON is sent to " code { "/v1/assessments" } ", a day of cards to " code { "/v1/days" } ", one card at many hours and rails to "
                code { "/v1/sweeps" } ". " code { "server/examples" } " of the sources has some to copy."
            }
            (super::parts::code("How to send a flight card", &format!("{EXAMPLE}{YOUR_SERVER}/v1/assessments")))
        }
        section aria-labelledby="more" {
            h2 #more { "More" }
            ul.links {
                li { a href="/docs/" { "How to ask and what comes back" } }
                li { a href="/openapi.json" { "The same for programs (OpenAPI 3.1)" } }
            }
        }
    };
    Page { title: NAME, path: "/", own: &[], answer: "", scripts: &[], body }.whole(view)
}
