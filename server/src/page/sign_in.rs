//! `/sign-in` and `/sign-out`: a token by hand, kept by the browser as a cookie.

use std::sync::Arc;

use axum::extract::State as Held;
use axum::http::{HeaderMap, HeaderName, HeaderValue, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;

use super::refusal::Wanted;
use super::view::{Page, View};
use super::{as_html, led, parts};
use crate::State;
use crate::access;
use crate::api::extract::Form;
use crate::id::sum;
use crate::problem::Problem;
use crate::session;
use crate::store::Token;

/// Where one signs in.
pub const PATH: &str = "/sign-in";

/// The same, to be led back to an address.
pub fn address(next: &str) -> String {
    format!("{PATH}?{}", serde_urlencoded::to_string([("next", next)]).unwrap_or_default())
}

/// What the form sends.
#[derive(Deserialize)]
pub struct Entry {
    token: String,
    #[serde(default)]
    next: Option<String>,
    /// Whether the cookie outlives the browser.
    #[serde(default)]
    stays: Option<String>,
}

/// Asks for a token, or says whose is kept. Whoever is signed in already is led back at once.
pub async fn read(Held(state): Held<Arc<State>>, headers: HeaderMap, view: View) -> Result<Response, Problem> {
    let next = view.wishes.next.as_deref().and_then(session::own_path);
    let token = match session::token(&state.config, &headers) {
        Some(secret) => access::held(&state, sum(secret)).await?,
        None => None,
    };
    if let (Some(_), Some(next)) = (&token, next) {
        return Ok(led(next));
    }
    let body = match &token {
        Some(token) => signed_in(token, &view),
        None if access::asked(&state).await? => form(next),
        None => {
            html! { p { "Nobody is asked for a token here: none was made yet. Whoever reaches this server may read and ask everything." } }
        }
    };
    let own: Vec<(&str, &str)> = next.iter().map(|next| ("next", *next)).collect();
    let page = Page { title: "Sign in", path: PATH, own: &own, answer: "", scripts: &[], body };
    Ok(unkept(as_html(page.whole(&view))))
}

/// The form.
pub fn form(next: Option<&str>) -> Markup {
    html! {
        form.entry method="post" action=(PATH) {
            @if let Some(next) = next { input type="hidden" name="next" value=(next); }
            p {
                label for="token" { "Token" }
                input #token name="token" type="password" required autocomplete="current-password" spellcheck="false" autocapitalize="none" aria-describedby="whence";
            }
            p.note #whence { "Whoever runs this server makes one, with " code { "slowpoint token add NAME" } ". It begins with " code { "slowpoint_" } " and is shown once." }
            p.check { input #stays name="stays" type="checkbox" value="yes"; " " label for="stays" { "Stay signed in for " (session::STAYS_S / 3600) " hours, also when the browser is closed" } }
            p { button { "Sign in" } }
            p.note { "On a device that others use too, sign out before you leave it: until then it keeps what you opened, and shows it to them where the server does not answer." }
        }
    }
}

fn signed_in(token: &Token, view: &View) -> Markup {
    html! {
        p { "Signed in with the token " strong { (token.name) } ", which may " (token.scope.name()) "." }
        @if let Some(end) = token.expires { p { "It ends at " (parts::moment(end)) "." } }
        form.entry method="post" action="/sign-out" {
            p { button { "Sign out" } }
            p.note { "The days, flights and sweeps that are kept on this device are given up with it. A day that you wrote down here stays in this browser." }
        }
        ul.links { li { a href=(view.page("/jobs")) { "Your jobs" } } }
    }
}

/// Keeps a token that counts, and leads back.
pub async fn enter(
    Held(state): Held<Arc<State>>,
    headers: HeaderMap,
    Form(entry): Form<Entry>,
) -> Result<Response, Response> {
    let next = entry.next.as_deref().and_then(session::own_path).unwrap_or("/").to_string();
    let secret = entry.token.trim();
    let held = access::held(&state, sum(secret)).await.map_err(Problem::into_response)?;
    let cookie = held.and_then(|_| session::begins(&state.config, &headers, secret, entry.stays.is_some()));
    let Some(cookie) = cookie else {
        let mut refused = access::unauthenticated(true).into_response();
        refused.extensions_mut().insert(Wanted(next));
        return Err(refused);
    };
    let mut response = led(&next);
    response.headers_mut().insert(header::SET_COOKIE, cookie);
    Ok(unkept(response))
}

/// Forgets the token, and what the browser holds of this server's answers.
pub async fn leave(Held(state): Held<Arc<State>>, headers: HeaderMap) -> Response {
    let mut response = led(PATH);
    if let Some(cookie) = session::ends(&state.config, &headers) {
        response.headers_mut().insert(header::SET_COOKIE, cookie);
    }
    let held = HeaderName::from_static("clear-site-data");
    response.headers_mut().insert(held, HeaderValue::from_static("\"cache\""));
    unkept(response)
}

/// Nothing on the way keeps it.
fn unkept(mut response: Response) -> Response {
    response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    response
}
