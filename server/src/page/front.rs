//! `/`: what this is and how to begin.

use axum::extract::Request;
use axum::response::Response;
use maud::html;

use super::as_html;
use super::view::{Page, View, YOUR_SERVER};

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
            h2 #begin { "How to begin" }
            p { a href=(view.page("/new")) { "Write a day down here" } ", with units as on the card, or send it as JSON:" }
            ol {
                li { "Write down a flight card: diameter, length, mass, motor, centre of gravity, fins, parachute, wind. " code { "server/examples" } " of the sources has some to copy." }
                li {
                    "Send it to " code { "/v1/assessments" } ", a day of cards to " code { "/v1/days" } ", one card at many hours and rails to " code { "/v1/sweeps" } "."
                    (super::parts::code("How to send a flight card", &format!("{EXAMPLE}{YOUR_SERVER}/v1/assessments")))
                }
                li { "Open what it came to by the id of the answer:" }
            }
            dl {
                dt { code { "/flights/" } em { "id" } }
                dd { "one flight: every delay, the picture, the map, what drives it, what to mind" }
                dt { code { "/days/" } em { "id" } }
                dd { "a day: a row for each flight, a cell for each delay; with " code { "?since=" } em { "id" } " what changed since another day" }
                dt { code { "/sweeps/" } em { "id" } }
                dd { "one flight by hour and delay, and what meets every condition" }
                dt { code { "/flights/" } em { "id" } code { "/sheet" } ", " code { "/days/" } em { "id" } code { "/sheet" } }
                dd { "one page to print and to sign" }
            }
        }
        (super::kept::here())
        section aria-labelledby="more" {
            h2 #more { "More" }
            ul.links {
                li { a href="/docs/" { "How to ask and what comes back" } }
                li { a href="/openapi.json" { "The same for programs (OpenAPI 3.1)" } }
            }
        }
    };
    Page { title: "Slowpoint", path: "/", own: &[], answer: "", scripts: &[], body }.whole(view)
}
