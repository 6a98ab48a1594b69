//! `/days/{id}/share` and its like: a link that lets a phone read an answer for a while, also as a picture to be held in front
//! of its camera.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State as Held;
use axum::http::{HeaderMap, HeaderValue, Uri, header};
use axum::response::Response;
use maud::{Markup, html};
use qrcode::{Color, EcLevel, QrCode};
use serde::Deserialize;

use super::view::{Page, View};
use super::{as_html, led, parts};
use crate::State;
use crate::access::Client;
use crate::api::assessments::read_id;
use crate::api::extract::{Form, InPath};
use crate::api::shares::{ShareAnswer, ended, held, made};
use crate::config::Config;
use crate::id::ContentId;
use crate::problem::{Kind, Problem};
use crate::session;
use crate::store::{Link, Shelf};

/// For how long: hours, and in words.
const HOURS: [(u64, &str); 3] = [(12, "12 hours: today"), (48, "48 hours: a weekend"), (168, "a week")];

/// Light modules that a code needs around it (ISO/IEC 18004).
const QUIET: usize = 4;

/// What the forms send: for how long a link is to be, or which one is to end.
#[derive(Deserialize)]
pub struct Wish {
    hours: Option<u64>,
    end: Option<String>,
}

macro_rules! pages {
    ($($shelf:ident: $asks:ident, $makes:ident;)*) => {
        $(
            /// Asks for how long, and lists what holds.
            pub async fn $asks(Held(state): Held<Arc<State>>, Extension(client): Extension<Client>, InPath(id): InPath<String>, view: View) -> Result<Response, Problem> {
                asked(&state, client, (Shelf::$shelf, read_id(&id)?), &view).await
            }

            /// Makes a link and shows it, or ends one.
            pub async fn $makes(
                Held(state): Held<Arc<State>>, Extension(client): Extension<Client>, InPath(id): InPath<String>, headers: HeaderMap, view: View, Form(wish): Form<Wish>,
            ) -> Result<Response, Problem> {
                shared(&state, client, (Shelf::$shelf, read_id(&id)?), &headers, &wish, &view).await
            }
        )*
    };
}

pages! {
    Days: of_day, day;
    Assessments: of_flight, flight;
    Sweeps: of_sweep, sweep;
}

fn what(shelf: Shelf) -> &'static str {
    match shelf {
        Shelf::Days => "this day, with all its flights",
        Shelf::Assessments => "this flight",
        Shelf::Sweeps => "this sweep",
    }
}

async fn asked(
    state: &Arc<State>,
    client: Client,
    (shelf, id): (Shelf, ContentId),
    view: &View,
) -> Result<Response, Problem> {
    let links = held(state, client.clone(), Some((shelf, id.clone()))).await?;
    let body = html! {
        (asking(&state.config, &client, shelf, id.as_str(), view))
        @if !links.is_empty() {
            h2 { "Links that hold" }
            ul { @for link in &links { (one_held(&client, shelf, id.as_str(), link, view)) } }
        }
        (back(shelf, id.as_str(), view))
    };
    Ok(page(shelf, &id, &body, view))
}

fn one_held(client: &Client, shelf: Shelf, id: &str, link: &Link, view: &View) -> Markup {
    let [made, until] = [link.made, link.expires].map(parts::moment_in_words);
    html! {
        li {
            form.entry method="post" action=(action(shelf, id, view)) {
                "Made " (parts::moment(link.made)) @if link.maker != client.name { " by " (link.maker) } ", until " (parts::moment(link.expires)) " "
                button name="end" value=(link.id) aria-label={ "End it, the link made " (made) ", until " (until) } { "End it" }
            }
        }
    }
}

fn action(shelf: Shelf, id: &str, view: &View) -> String {
    view.page(&format!("{}/share", shelf.page_path(id)))
}

fn asking(config: &Config, client: &Client, shelf: Shelf, id: &str, view: &View) -> Markup {
    html! {
        p { "Whoever has the link can read " (what(shelf)) " until its time is over, without a token; nothing can be asked or changed with it. Show it to whom it is for." }
        (after_its_end())
        @if !client.known { p.note { "Nobody is asked for a token here as yet, so whoever reaches this server can read it without a link too." } }
        @if alone(config) { (out_of_reach()) }
        form.entry method="post" action=(action(shelf, id, view)) {
            p {
                label for="hours" { "For how long" } " "
                select #hours name="hours" {
                    @for (hours, words) in HOURS { option value=(hours) selected[hours == HOURS[1].0] { (words) } }
                }
            }
            p { button { "Make a link" } }
        }
    }
}

/// What its end does not take back.
fn after_its_end() -> Markup {
    html! {
        p.note { "It ends with its time, when it is ended here, and with the token that it was made with; and it ends on this server alone. What a device has opened by it, that device may keep: with the address it can be shown there after that time too, and so can a file that was saved." }
    }
}

fn back(shelf: Shelf, id: &str, view: &View) -> Markup {
    html! { p { a href=(view.page(&shelf.page_path(id))) { "Back to the figures" } } }
}

/// Whether nothing but this machine reaches the service.
fn alone(config: &Config) -> bool {
    !config.public() && !config.behind_proxy
}

fn out_of_reach() -> Markup {
    html! {
        p.weather.aged {
            strong { "No phone can reach this address: " }
            "it leads to this machine alone. Have the service listen where the phone's network reaches it (" code { "--listen" }
            "), or stand a proxy in front of it, and open this page by that address."
        }
    }
}

async fn shared(
    state: &Arc<State>,
    client: Client,
    (shelf, id): (Shelf, ContentId),
    headers: &HeaderMap,
    wish: &Wish,
    view: &View,
) -> Result<Response, Problem> {
    if let Some(link) = &wish.end {
        let link = ContentId::parse(link).ok_or_else(|| {
            Problem::new(Kind::BadRequest, "What is to end is called by 32 digits, as the page lists it.")
        })?;
        ended(state, client, link).await?;
        return Ok(led(&action(shelf, id.as_str(), view)));
    }
    let Some((hours, _)) = HOURS.into_iter().find(|(hours, _)| wish.hours == Some(*hours)) else {
        let all: Vec<String> = HOURS.iter().map(|(hours, _)| hours.to_string()).collect();
        return Err(Problem::new(Kind::BadRequest, format!("A link is made for {} hours.", all.join(", "))));
    };
    // What the browser calls this server by is its word, which the page that it came from bears out.
    let origin = session::origin(&state.config, headers).ok_or_else(|| {
        Problem::new(
            Kind::OtherSite,
            "The address that the browser knows this server by is not the one that the request came to. Open the page here and send it again; a proxy in front has to hand Host on as it came.",
        )
    })?;
    let link = made(state, client, (shelf, id.clone()), hours).await?;
    let unreached = alone(&state.config) || of_this_machine(&origin);
    let body = link_shown(shelf, &id, &origin, &link, unreached, view)?;
    Ok(page(shelf, &id, &body, view))
}

/// Whether an address is one that each machine has for itself.
fn of_this_machine(origin: &str) -> bool {
    let uri = origin.parse::<Uri>().ok();
    let host = uri.as_ref().and_then(Uri::host).unwrap_or_default().trim_matches(['[', ']']);
    let address = host.parse::<std::net::IpAddr>().ok();
    host == "localhost" || host.ends_with(".localhost") || address.is_some_and(|address| address.is_loopback())
}

fn link_shown(
    shelf: Shelf,
    id: &ContentId,
    origin: &str,
    link: &ShareAnswer,
    unreached: bool,
    view: &View,
) -> Result<Markup, Problem> {
    let address = format!("{origin}{}", link.page);
    let until = link.expires.parse().map(parts::moment).map_err(|_| Problem::internal())?;
    Ok(html! {
        p { strong { "Whoever has this link can read " (what(shelf)) " until " (until) "." } " It is not shown again: make another where it is needed, and end it on " a href=(action(shelf, id.as_str(), view)) { "the page of links" } "." }
        (after_its_end())
        @if unreached { (out_of_reach()) }
        (code(&address)?)
        (parts::code("The link", &address))
        (back(shelf, id.as_str(), view))
    })
}

/// An address as a QR code, dark on light whatever the colours of the page.
fn code(address: &str) -> Result<Markup, Problem> {
    let code = QrCode::with_error_correction_level(address, EcLevel::M).map_err(|_| Problem::internal())?;
    let (width, side) = (code.width(), code.width() + 2 * QUIET);
    let mut path = String::new();
    for (row, modules) in code.to_colors().chunks(width).enumerate() {
        let mut across = 0;
        for run in modules.chunk_by(|a, b| a == b) {
            if run[0] == Color::Dark {
                path.push_str(&format!("M{} {}h{}v1h-{}z", across + QUIET, row + QUIET, run.len(), run.len()));
            }
            across += run.len();
        }
    }
    Ok(html! {
        svg.qr role="img" aria-labelledby="qr" viewBox={ "0 0 " (side) " " (side) } shape-rendering="crispEdges" {
            title #qr { "QR code of the link below, for the camera of a phone" }
            rect width=(side) height=(side) fill="#fff" {}
            path d=(path) fill="#000" {}
        }
    })
}

/// Nothing on the way keeps it: it may hold a secret.
fn page(shelf: Shelf, id: &ContentId, body: &Markup, view: &View) -> Response {
    let path = format!("{}/share", shelf.page_path(id));
    let page =
        Page { title: "A link for a phone", path: &path, own: &[], answer: "", scripts: &[], body: body.clone() };
    let mut response = as_html(page.whole(view));
    response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_of_this_machine_are_known() {
        for (origin, own) in [
            ("http://localhost:8080", true),
            ("http://127.0.0.1:8080", true),
            ("http://127.9.0.1", true),
            ("http://[::1]:8080", true),
            ("https://field.localhost", true),
            ("http://192.168.1.7:8080", false),
            ("https://slowpoint.example", false),
        ] {
            assert_eq!(of_this_machine(origin), own, "{origin}");
        }
    }
}
