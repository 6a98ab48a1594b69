//! `/days/{id}/file` and `/flights/{id}/file`: everything of a day or a flight in one file, which opens without any network: pictures
//! and styles inside, links from one part of it to another, nothing that runs.
//!
//! The file is made of the very pages, so that nothing is told twice: each is asked of this service as a browser would, and what
//! it loads is put in its place.

use core::fmt::Write;
use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::sync::Arc;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::State as Held;
use axum::http::{HeaderValue, Request, header};
use axum::response::{IntoResponse, Response};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use jiff::Timestamp;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use serde_json::Value;
use tower::ServiceExt;

use super::view::{View, first_caution, scheme};
use super::{assets, parts};
use crate::State;
use crate::api::assessments::read_id;
use crate::api::extract::InPath;
use crate::api::work;
use crate::id::{ContentId, sum};
use crate::problem::{Kind, Problem};
use crate::routes;
use crate::store::Shelf;

/// Most letters of a name in the name of a file.
const MOST_OF_NAME: usize = 40;

/// Saves a day with every flight of it.
pub async fn of_day(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    view: View,
) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    let answer = work::stored(&state, Shelf::Days, &id).await?;
    let answer: Value = serde_json::from_slice(&answer).map_err(|_| Problem::internal())?;
    let mut flights: Vec<(String, ContentId)> = Vec::new();
    for row in answer["entries"].as_array().into_iter().flatten() {
        let flown = row["flight"]["assessment"].as_str().and_then(ContentId::parse);
        if let (Some(flown), Some(name)) = (flown, row["name"].as_str())
            && flights.iter().all(|(_, other)| *other != flown)
        {
            flights.push((name.to_string(), flown));
        }
    }
    let saver = Saver { inner: routes::unguarded(state), view: view.plainly(), flights: &flights };
    let day = saver.part(&format!("/days/{id}"), &format!("/v1/days/{id}"), "The day", None).await?;
    let mut rest = Vec::new();
    for (k, (name, flight)) in flights.iter().enumerate() {
        let (page, answer) = (format!("/flights/{flight}"), format!("/v1/assessments/{flight}"));
        rest.push(match saver.part(&page, &answer, name, Some(k)).await {
            Err(problem) if problem.kind() == Kind::unknown(Shelf::Assessments) => given_up(k, name),
            part => part?,
        });
    }
    let body = html! {
        nav aria-label="Flights of this file" {
            ul.links { @for (k, (name, _)) in flights.iter().enumerate() { li { a href={ "#" (anchor(k)) } { (name) } } } }
        }
        (day)
        @for flight in &rest { (flight) }
    };
    Ok(saved("The day", &format!("day-{}", &id.as_str()[..8]), &id, &body, &saver.view))
}

/// Saves a flight.
pub async fn of_flight(
    Held(state): Held<Arc<State>>,
    InPath(id): InPath<String>,
    view: View,
) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    let saver = Saver { inner: routes::unguarded(state), view: view.plainly(), flights: &[] };
    let page = saver.asked(&format!("/flights/{id}")).await?;
    let title = between(&page, "<h1>", "</h1>").unwrap_or_default().to_string();
    let body = saver.part(&format!("/flights/{id}"), &format!("/v1/assessments/{id}"), "", None).await?;
    let named: String =
        title.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).take(MOST_OF_NAME).collect();
    Ok(saved(
        &unescaped(&title),
        &format!("flight-{}-{}", named.trim_matches('-'), &id.as_str()[..8]),
        &id,
        &body,
        &saver.view,
    ))
}

/// A flight whose answer the store has given up, as it may have where only the day was asked for since.
fn given_up(flight: usize, name: &str) -> Markup {
    html! {
        article aria-labelledby=(anchor(flight)) {
            h2 id=(anchor(flight)) { (name) }
            p { "Its own answer is not kept on the server any more. What the day says of it stands above." }
        }
    }
}

/// Where a flight begins in the file of a day.
fn anchor(flight: usize) -> String {
    format!("flight-{}", flight + 1)
}

/// The whole file, to be kept.
fn saved(title: &str, name: &str, id: &ContentId, body: &Markup, view: &View) -> Response {
    let (now, style) = (Timestamp::now(), assets::STYLE.text);
    // Nothing is loaded, run or sent, whatever opens it.
    let policy = format!(
        "default-src 'none'; style-src 'sha256-{}'; img-src data:; base-uri 'none'; form-action 'none'",
        STANDARD.encode(sum(style))
    );
    let text = html! {
        (DOCTYPE)
        html lang="en" class=[view.class()] {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content=(scheme(view.class()));
                title { (title) " - Slowpoint, saved " (now.strftime("%Y-%m-%d %H:%M UTC")) }
                style { (PreEscaped(style)) }
            }
            body {
                main {
                    h1 { (title) }
                    (first_caution())
                    p.kept { "Saved " (parts::moment(now)) "." }
                    p {
                        "What was found out since is not in it. The id of the answer is " code { (id.as_str()) } "."
                    }
                    (body)
                }
            }
        }
    }
    .into_string();
    let name = format!("attachment; filename=\"slowpoint-{name}-{}.html\"", now.strftime("%Y-%m-%d-%H%MZ"));
    let mut response = ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], Body::from(text)).into_response();
    let told = response.headers_mut();
    told.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    if let Ok(name) = HeaderValue::from_str(&name) {
        told.insert(header::CONTENT_DISPOSITION, name);
    }
    response
}

/// Makes parts of a file of pages.
struct Saver<'a> {
    /// This service. Whoever may read a day may read its flights and their pictures.
    inner: Router,
    view: View,
    /// Those that the file has.
    flights: &'a [(String, ContentId)],
}

impl Saver<'_> {
    /// A page as a part: of a day the flight with this number stands below a heading of its own.
    async fn part(&self, page: &str, answer: &str, name: &str, flight: Option<usize>) -> Result<Markup, Problem> {
        let page = self.asked(page).await?;
        // Its heading and the first caution stand at the top of the file.
        let main =
            between(&page, "<main", "</main>").and_then(|main| main.split_once("</h1>")).map_or("", |(_, rest)| rest);
        let main = if flight.is_none() { main.split_once("</p>").map_or(main, |(_, rest)| rest) } else { main };
        let mut pictures = HashMap::new();
        for tag in Tag::all(main).filter(|tag| tag.name == "img") {
            let source = unescaped(tag.attribute("src").unwrap_or_default());
            if let Entry::Vacant(place) = pictures.entry(source) {
                let picture = self.asked_as_is(place.key()).await?;
                place.insert(format!("data:image/svg+xml;base64,{}", STANDARD.encode(picture)));
            }
        }
        let text = PreEscaped(Rewriter { flights: self.flights, flight, name, pictures: &pictures }.rewritten(main));
        Ok(match flight {
            None => html! { div data-answer=(answer) { (text) } },
            Some(k) => {
                html! { article data-answer=(answer) aria-labelledby=(anchor(k)) { h2 id=(anchor(k)) { (name) } (text) } }
            }
        })
    }

    async fn asked(&self, path: &str) -> Result<String, Problem> {
        String::from_utf8(self.asked_as_is(&self.view.page(path)).await?).map_err(|_| Problem::internal())
    }

    async fn asked_as_is(&self, uri: &str) -> Result<Vec<u8>, Problem> {
        let request = Request::get(uri).body(Body::empty()).map_err(|_| Problem::internal())?;
        let mut response = match self.inner.clone().oneshot(request).await {
            Ok(response) => response,
            Err(never) => match never {},
        };
        if let Some(problem) = response.extensions_mut().remove::<Problem>() {
            return Err(problem);
        }
        to_bytes(response.into_body(), usize::MAX).await.map(|bytes| bytes.to_vec()).map_err(|_| Problem::internal())
    }
}

/// What stands between two texts, the first of each.
fn between<'a>(text: &'a str, from: &str, to: &str) -> Option<&'a str> {
    let (_, rest) = text.split_once(from)?;
    rest.split_once(to).map(|(within, _)| within)
}

/// A text as it was before it was written into HTML.
fn unescaped(text: &str) -> String {
    text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&")
}

/// A tag of our own pages: every attribute in double quotes, and none of them with a quote or an angle bracket in it.
#[derive(Clone, Copy)]
struct Tag<'a> {
    name: &'a str,
    closes: bool,
    attributes: &'a str,
    /// Where it stands in the text.
    from: usize,
    to: usize,
}

impl<'a> Tag<'a> {
    fn all(text: &'a str) -> impl Iterator<Item = Self> {
        let mut at = 0;
        core::iter::from_fn(move || {
            let from = at + text[at..].find('<')?;
            let to = from + text[from..].find('>')? + 1;
            at = to;
            let inner = &text[from + 1..to - 1];
            let (closes, inner) = inner.strip_prefix('/').map_or((false, inner), |inner| (true, inner));
            let (name, attributes) = inner.split_once(' ').unwrap_or((inner, ""));
            Some(Self { name, closes, attributes, from, to })
        })
    }

    fn attribute(&self, name: &str) -> Option<&'a str> {
        self.pairs().find_map(|(named, value)| (named == name).then_some(value?))
    }

    /// Names with their values.
    fn pairs(&self) -> impl Iterator<Item = (&'a str, Option<&'a str>)> {
        let mut rest = self.attributes;
        core::iter::from_fn(move || {
            rest = rest.trim_start();
            let end = rest.find([' ', '=']).unwrap_or(rest.len());
            let (name, after) = rest.split_at(end);
            if name.is_empty() {
                return None;
            }
            let Some(quoted) = after.strip_prefix("=\"") else {
                rest = after;
                return Some((name, None));
            };
            let (value, after) = quoted.split_once('"')?;
            rest = after;
            Some((name, Some(value)))
        })
    }

    /// Whether it is of use only where the server is.
    fn is_left_out(&self) -> bool {
        let class = |class: &str| self.attribute("class").is_some_and(|own| own.split(' ').any(|own| own == class));
        match self.name {
            "nav" | "form" | "script" | "noscript" | "button" | "input" => true,
            "section" => self.attribute("aria-labelledby") == Some("files"),
            "details" => class("choosing"),
            _ => class("screen"),
        }
    }

    /// Whether nothing closes it.
    fn is_void(&self) -> bool {
        matches!(self.name, "br" | "hr" | "img" | "input" | "link" | "meta" | "wbr")
    }
}

/// Makes a part of a file of the inside of a page.
struct Rewriter<'a> {
    flights: &'a [(String, ContentId)],
    /// Which flight of a day it is, and its name: places, names of regions and headings are told apart by it.
    flight: Option<usize>,
    name: &'a str,
    pictures: &'a HashMap<String, String>,
}

impl Rewriter<'_> {
    fn rewritten(&self, text: &str) -> String {
        let mut out = String::with_capacity(text.len());
        let (mut copied, mut left_out, mut unlinked) = (0, None::<(&str, usize)>, false);
        for tag in Tag::all(text) {
            if let Some((name, depth)) = left_out {
                if tag.name == name {
                    let depth = if tag.closes { depth - 1 } else { depth + 1 };
                    left_out = (depth > 0).then_some((name, depth));
                }
                copied = tag.to;
                continue;
            }
            out.push_str(&text[copied..tag.from]);
            copied = tag.to;
            if !tag.closes && tag.is_left_out() {
                left_out = (!tag.is_void()).then_some((tag.name, 1));
                continue;
            }
            let leads = tag.attribute("href").map(|href| self.place(href));
            if tag.name == "a" {
                unlinked = if tag.closes { unlinked } else { leads == Some(None) };
            }
            let name = match (tag.name, self.flight) {
                ("a", _) if unlinked => "span",
                ("h2", Some(_)) => "h3",
                ("h3", Some(_)) => "h4",
                (name, _) => name,
            };
            out.push_str(if tag.closes { "</" } else { "<" });
            out.push_str(name);
            for (name, value) in tag.pairs() {
                match self.attribute(&tag, name, value) {
                    Some(Some(value)) => drop(write!(out, " {name}=\"{value}\"")),
                    Some(None) => drop(write!(out, " {name}")),
                    None => {}
                }
            }
            out.push('>');
            if tag.closes && tag.name == "a" {
                unlinked = false;
            }
        }
        out.push_str(&text[copied..]);
        out
    }

    /// An attribute as it is in the file: none, or one with a value or without.
    fn attribute(&self, tag: &Tag, name: &str, value: Option<&str>) -> Option<Option<String>> {
        let Some(value) = value else { return Some(None) };
        let of_flight = self.flight.filter(|_| !value.is_empty());
        Some(Some(match (name, of_flight) {
            ("href", _) => self.place(value)?,
            ("target" | "rel" | "loading", _) => return None,
            ("src", _) => self.pictures.get(&unescaped(value))?.clone(),
            ("id", Some(k)) => format!("f{}-{value}", k + 1),
            ("aria-labelledby", Some(k)) => format!("{} f{}-{value}", anchor(k), k + 1),
            ("aria-label", Some(_)) if tag.attribute("role") == Some("region") => {
                format!("{value}, {}", html! { (self.name) }.into_string())
            }
            _ => value.to_string(),
        }))
    }

    /// Where a link leads in the file.
    fn place(&self, href: &str) -> Option<String> {
        if let Some(own) = href.strip_prefix('#') {
            return Some(self.flight.map_or_else(|| href.to_string(), |k| format!("#f{}-{own}", k + 1)));
        }
        let id = href.strip_prefix("/flights/")?.split(['/', '?', '#']).next()?;
        self.flights.iter().position(|(_, flight)| flight.as_str() == id).map(|k| format!("#{}", anchor(k)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_of_a_page_become_parts_of_a_file() {
        let flights = [("a <b>".to_string(), ContentId::of("test", "a"))];
        let pictures = HashMap::from([("/v1/x.svg?a=1&b=2".to_string(), "data:,x".to_string())]);
        let other = ContentId::of("test", "b");
        let text = format!(
            "<nav><nav>x</nav>y</nav><section aria-labelledby=\"files\"><section>x</section></section>\
             <h2 id=\"w\">W</h2><a class=\"cell\" href=\"/flights/{}?delay=7\">one</a><a href=\"/flights/{other}\">two</a>\
             <a href=\"#w\">up</a><img src=\"/v1/x.svg?a=1&amp;b=2\" loading=\"lazy\" alt=\"X\"><details open><p>p</p></details>\
             <div role=\"region\" aria-label=\"T\">t</div><input name=\"x\">&lt;end",
            flights[0].1
        );
        let rewritten =
            |flight| Rewriter { flights: &flights, flight, name: "a <b>", pictures: &pictures }.rewritten(&text);
        assert_eq!(
            rewritten(None),
            "<h2 id=\"w\">W</h2><a class=\"cell\" href=\"#flight-1\">one</a><span>two</span><a href=\"#w\">up</a>\
             <img src=\"data:,x\" alt=\"X\"><details open><p>p</p></details><div role=\"region\" aria-label=\"T\">t</div>&lt;end"
        );
        assert_eq!(
            rewritten(Some(0)),
            "<h3 id=\"f1-w\">W</h3><a class=\"cell\" href=\"#flight-1\">one</a><span>two</span><a href=\"#f1-w\">up</a>\
             <img src=\"data:,x\" alt=\"X\"><details open><p>p</p></details>\
             <div role=\"region\" aria-label=\"T, a &lt;b&gt;\">t</div>&lt;end"
        );
    }
}
