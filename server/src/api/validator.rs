//! How a client holds what it was sent, and says that it does (RFC 9110, 8.8 and 13.1.2).

use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::assessments::text_header;
use crate::config::VERSION;
use crate::id::ContentId;

/// What tells a response from others at its address, and how long it may be held unasked.
pub struct Validator {
    tag: String,
    control: &'static str,
    vary: &'static str,
}

impl Validator {
    /// Of an answer: an id never changes what it means; the answer belongs to whoever asked. A browser that was signed out
    /// does not show what it holds for whoever was signed in.
    pub fn of_answer(id: &ContentId) -> Self {
        Self::of_figures(id, "json")
    }

    /// Of figures that follow from an answer alone, whichever release works them out.
    pub fn of_figures(id: &ContentId, name: &str) -> Self {
        let control = "private, max-age=31536000, immutable";
        Self { tag: format!("\"{id}.{name}\""), control, vary: "authorization, cookie" }
    }

    /// Of a file that is made of an answer: the next release may draw it otherwise, so a client asks each time. Weak, because
    /// it is the same whether the file is sent compressed or not (8.8.3.3).
    pub fn of_file(id: &ContentId, name: &str) -> Self {
        let tag = format!("W/\"{id}.{name}.{VERSION}\"");
        Self { tag, control: "private, no-cache", vary: "authorization, cookie, accept-encoding" }
    }

    /// Whether the client holds it already.
    pub fn held(&self, headers: &HeaderMap) -> bool {
        holds(&self.tag, headers)
    }

    /// What the client may hold from now on.
    pub fn whole(&self, media_type: &'static str, body: impl IntoResponse) -> Response {
        let mut response = ([(header::CONTENT_TYPE, media_type)], body).into_response();
        self.put(&mut response);
        response
    }

    /// Has the client hold a response.
    fn put(&self, response: &mut Response) {
        for (name, value) in
            [(header::ETAG, &*self.tag), (header::CACHE_CONTROL, self.control), (header::VARY, self.vary)]
        {
            response.headers_mut().insert(name, text_header(value));
        }
    }

    /// What the client holds already.
    pub fn not_modified(&self) -> Response {
        let mut response = StatusCode::NOT_MODIFIED.into_response();
        self.put(&mut response);
        response
    }
}

/// Weak comparison, as RFC 9110 asks for If-None-Match.
pub fn holds(tag: &str, headers: &HeaderMap) -> bool {
    let opaque = |tag: &str| tag.trim_start_matches("W/").to_string();
    let mut held = headers.get_all(header::IF_NONE_MATCH).iter().filter_map(|value| value.to_str().ok());
    held.any(|list| list.split(',').map(str::trim).any(|one| one == "*" || opaque(one) == opaque(tag)))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    #[test]
    fn tags_are_compared_weakly() {
        let sent = |list: &str| HeaderMap::from_iter([(header::IF_NONE_MATCH, list.parse().unwrap())]);
        for (list, tag, same) in [
            ("\"a\"", "\"a\"", true),
            ("W/\"a\"", "\"a\"", true),
            ("\"a\"", "W/\"a\"", true),
            ("\"b\", W/\"a\"", "W/\"a\"", true),
            ("*", "W/\"a\"", true),
            ("\"a.1\"", "\"a.2\"", false),
            ("a", "\"a\"", false),
        ] {
            assert_eq!(holds(tag, &sent(list)), same, "{list} {tag}");
        }
    }

    /// Another release may draw it otherwise: it is not taken for the same.
    #[test]
    fn files_are_those_of_a_release() {
        let tag = Validator::of_file(&ContentId::of("test", "a"), "landing.svg").tag;
        assert!(tag.starts_with("W/\"") && tag.ends_with(&format!(".landing.svg.{VERSION}\"")), "{tag}");
        // No space may stand in it (8.8.3).
        assert!(tag.bytes().all(|byte| byte.is_ascii_graphic()), "{tag}");
    }
}
