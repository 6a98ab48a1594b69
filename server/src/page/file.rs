//! `/days/{id}/file` and `/flights/{id}/file`: everything of a day or a flight in one file, which opens without any network: pictures
//! and styles inside, links from one part of it to another, nothing that runs.
//!
//! The file is made of the very pages, so that nothing is told twice: each is asked of this service as a browser would, and what
//! it loads is put in its place.

use core::cell::RefCell;
use core::fmt::Write;
use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::sync::Arc;

use axum::body::{Body, to_bytes};
use axum::extract::State as Held;
use axum::http::{HeaderValue, Request, header};
use axum::response::{IntoResponse, Response};
use axum::{Extension, Router};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use html5ever::tendril::StrTendril;
use html5ever::tokenizer::{BufferQueue, TagKind, Token, TokenSink, TokenSinkResult, Tokenizer, TokenizerOpts};
use jiff::Timestamp;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use serde_json::Value;
use tower::ServiceExt;

use super::view::{View, first_caution, scheme};
use super::{assets, parts};
use crate::State;
use crate::access::Client;
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
    Extension(client): Extension<Client>,
    InPath(id): InPath<String>,
    view: View,
) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    let _place = state.saving.take(&state.config).await?;
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
    let saver = Saver { inner: routes::unguarded(state), client, view: view.plainly(), flights: &flights };
    let (_, day) = saver.part(&format!("/days/{id}"), &format!("/v1/days/{id}"), "The day", None).await?;
    let mut rest = Vec::new();
    for (k, (name, flight)) in flights.iter().enumerate() {
        let (page, answer) = (format!("/flights/{flight}"), format!("/v1/assessments/{flight}"));
        rest.push(match saver.part(&page, &answer, name, Some(k)).await {
            Err(problem) if problem.kind() == Kind::unknown(Shelf::Assessments) => given_up(k, name),
            part => part?.1,
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
    Extension(client): Extension<Client>,
    InPath(id): InPath<String>,
    view: View,
) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    let _place = state.saving.take(&state.config).await?;
    let saver = Saver { inner: routes::unguarded(state), client, view: view.plainly(), flights: &[] };
    let (title, body) = saver.part(&format!("/flights/{id}"), &format!("/v1/assessments/{id}"), "", None).await?;
    let named: String =
        title.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).take(MOST_OF_NAME).collect();
    let name = format!("flight-{}-{}", named.trim_matches('-'), &id.as_str()[..8]);
    Ok(saved(&title, &name, &id, &body, &saver.view))
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
    /// This service. Whoever may read a day may read its flights and their pictures ...
    inner: Router,
    /// ... and pays for what is flown for them.
    client: Client,
    view: View,
    /// Those that the file has.
    flights: &'a [(String, ContentId)],
}

impl Saver<'_> {
    /// The heading of a page, and the rest of it as a part: of a day the flight with this number stands below a heading of its
    /// own.
    async fn part(
        &self,
        page: &str,
        answer: &str,
        name: &str,
        flight: Option<usize>,
    ) -> Result<(String, Markup), Problem> {
        let page = String::from_utf8(self.asked(&self.view.page(page)).await?).map_err(|_| Problem::internal())?;
        let pieces = pieces(&page);
        let (_, main) = until(&pieces, "main", false);
        let (main, _) = until(main, "main", true);
        // The heading and the first caution stand at the top of the file.
        let (title, main) = until(main, "h1", true);
        let main = if flight.is_none() { until(main, "p", true).1 } else { main };
        let mut pictures = HashMap::new();
        for tag in main.iter().filter_map(Piece::tag).filter(|tag| tag.name == "img") {
            let source = tag.attribute("src").unwrap_or_default();
            if let Entry::Vacant(place) = pictures.entry(source.to_string()) {
                let picture = self.asked(source).await?;
                place.insert(format!("data:image/svg+xml;base64,{}", STANDARD.encode(picture)));
            }
        }
        let text = PreEscaped(Rewriter { flights: self.flights, flight, name, pictures: &pictures }.rewritten(main));
        let part = match flight {
            None => html! { div data-answer=(answer) { (text) } },
            Some(k) => {
                html! { article data-answer=(answer) aria-labelledby=(anchor(k)) { h2 id=(anchor(k)) { (name) } (text) } }
            }
        };
        Ok((title.iter().filter_map(Piece::text).collect(), part))
    }

    async fn asked(&self, uri: &str) -> Result<Vec<u8>, Problem> {
        let request = Request::get(uri).extension(self.client.clone());
        let request = request.body(Body::empty()).map_err(|_| Problem::internal())?;
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

/// A piece of HTML, as a browser reads it.
enum Piece {
    Tag(Tag),
    Text(String),
}

impl Piece {
    fn tag(&self) -> Option<&Tag> {
        if let Self::Tag(tag) = self { Some(tag) } else { None }
    }

    fn text(&self) -> Option<&str> {
        if let Self::Text(text) = self { Some(text) } else { None }
    }
}

struct Tag {
    name: String,
    closes: bool,
    attributes: Vec<(String, String)>,
}

/// The pieces of a page.
fn pieces(page: &str) -> Vec<Piece> {
    let (input, reader) = (BufferQueue::default(), Tokenizer::new(Pieces::default(), TokenizerOpts::default()));
    input.push_back(StrTendril::from(page));
    // Nothing stops it before the end of the text.
    let _ = reader.feed(&input);
    reader.end();
    reader.sink.0.into_inner()
}

#[derive(Default)]
struct Pieces(RefCell<Vec<Piece>>);

impl TokenSink for Pieces {
    type Handle = ();

    fn process_token(&self, token: Token, _line: u64) -> TokenSinkResult<()> {
        match token {
            Token::TagToken(tag) => self.0.borrow_mut().push(Piece::Tag(Tag {
                name: tag.name.to_string(),
                closes: tag.kind == TagKind::EndTag,
                attributes: tag.attrs.into_iter().map(|a| (a.name.local.to_string(), a.value.into())).collect(),
            })),
            Token::CharacterTokens(text) => self.0.borrow_mut().push(Piece::Text(text.into())),
            _ => {}
        }
        TokenSinkResult::Continue
    }
}

/// What stands before the first tag of a name that opens or closes, and what behind it.
fn until<'p>(pieces: &'p [Piece], name: &str, closes: bool) -> (&'p [Piece], &'p [Piece]) {
    let at = pieces.iter().position(|p| p.tag().is_some_and(|tag| tag.name == name && tag.closes == closes));
    at.map_or((pieces, &[]), |at| (&pieces[..at], &pieces[at + 1..]))
}

impl Tag {
    fn attribute(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find_map(|(named, value)| (named == name).then_some(value.as_str()))
    }

    /// Whether it is of use only where the server is.
    fn is_left_out(&self) -> bool {
        let class = |class: &str| self.attribute("class").is_some_and(|own| own.split(' ').any(|own| own == class));
        match &*self.name {
            "nav" | "form" | "script" | "noscript" | "button" | "input" => true,
            "section" => self.attribute("aria-labelledby") == Some("files"),
            "details" => class("choosing"),
            _ => class("screen"),
        }
    }

    /// Whether nothing closes it.
    fn is_void(&self) -> bool {
        matches!(&*self.name, "br" | "hr" | "img" | "input" | "link" | "meta" | "wbr")
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
    fn rewritten(&self, pieces: &[Piece]) -> String {
        let mut out = String::new();
        let (mut left_out, mut unlinked) = (None::<(&str, usize)>, false);
        for piece in pieces {
            let tag = match piece {
                Piece::Tag(tag) => tag,
                Piece::Text(text) => {
                    if left_out.is_none() {
                        out.push_str(&escaped(text));
                    }
                    continue;
                }
            };
            if let Some((name, depth)) = left_out {
                if tag.name == name {
                    let depth = if tag.closes { depth - 1 } else { depth + 1 };
                    left_out = (depth > 0).then_some((name, depth));
                }
                continue;
            }
            if !tag.closes && tag.is_left_out() {
                left_out = (!tag.is_void()).then_some((&tag.name, 1));
                continue;
            }
            let leads = tag.attribute("href").map(|href| self.place(href));
            if tag.name == "a" {
                unlinked = if tag.closes { unlinked } else { leads == Some(None) };
            }
            let name = match (&*tag.name, self.flight) {
                ("a", _) if unlinked => "span",
                ("h2", Some(_)) => "h3",
                ("h3", Some(_)) => "h4",
                (name, _) => name,
            };
            out.push_str(if tag.closes { "</" } else { "<" });
            out.push_str(name);
            for (name, value) in &tag.attributes {
                if let Some(value) = self.attribute(tag, name, value) {
                    let _ = write!(out, " {name}=\"{}\"", escaped(&value));
                }
            }
            out.push('>');
            if tag.closes && tag.name == "a" {
                unlinked = false;
            }
        }
        out
    }

    /// An attribute as it is in the file, if it is there.
    fn attribute(&self, tag: &Tag, name: &str, value: &str) -> Option<String> {
        let of_flight = self.flight.filter(|_| !value.is_empty());
        Some(match (name, of_flight) {
            ("href", _) => self.place(value)?,
            ("target" | "rel" | "loading", _) => return None,
            ("src", _) => self.pictures.get(value)?.clone(),
            ("id", Some(k)) => format!("f{}-{value}", k + 1),
            ("aria-labelledby", Some(k)) => format!("{} f{}-{value}", anchor(k), k + 1),
            ("aria-label", Some(_)) if tag.attribute("role") == Some("region") => format!("{value}, {}", self.name),
            _ => value.to_string(),
        })
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

/// A text as it stands in HTML.
fn escaped(text: &str) -> String {
    html! { (text) }.into_string()
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
        let rewritten = |flight| {
            Rewriter { flights: &flights, flight, name: "a <b>", pictures: &pictures }.rewritten(&pieces(&text))
        };
        assert_eq!(
            rewritten(None),
            "<h2 id=\"w\">W</h2><a class=\"cell\" href=\"#flight-1\">one</a><span>two</span><a href=\"#w\">up</a>\
             <img src=\"data:,x\" alt=\"X\"><details open=\"\"><p>p</p></details><div role=\"region\" aria-label=\"T\">t</div>&lt;end"
        );
        assert_eq!(
            rewritten(Some(0)),
            "<h3 id=\"f1-w\">W</h3><a class=\"cell\" href=\"#flight-1\">one</a><span>two</span><a href=\"#f1-w\">up</a>\
             <img src=\"data:,x\" alt=\"X\"><details open=\"\"><p>p</p></details>\
             <div role=\"region\" aria-label=\"T, a &lt;b&gt;\">t</div>&lt;end"
        );
    }
}
