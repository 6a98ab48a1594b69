//! Extractors that refuse in words, as problems.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, FailedToBufferBody};
use axum::extract::{DefaultBodyLimit, FromRequest, FromRequestParts, Path, Query, Request};
use axum::http::request::Parts;
use axum::http::{HeaderMap, header};
use serde::de::DeserializeOwned;

use crate::State;
use crate::problem::{Kind, Problem};

/// A body declared as JSON, within the limits of size, time and nesting. Not parsed yet.
pub struct JsonBody(pub Bytes);

impl FromRequest<Arc<State>> for JsonBody {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &Arc<State>) -> Result<Self, Problem> {
        let config = &state.config;
        declared(request.headers(), "JSON", "application/json", |essence| {
            essence == "application/json" || (essence.starts_with("application/") && essence.ends_with("+json"))
        })?;
        let limit =
            ("body_limit", config.body_limit, "A thrust curve of 100 points and 30 wind layers take under 10 kB.");
        let bytes = whole(request, state, limit).await?;
        if let Some(at) = deeper_than(&bytes, config.nesting_limit) {
            return Err(Problem::new(
                Kind::TooDeeplyNested,
                format!(
                    "Byte {at} opens level {} of lists and objects. A request needs no more than 12 levels; {} are read.",
                    config.nesting_limit + 1,
                    config.nesting_limit
                ),
            )
            .with_limit("nesting_limit", config.nesting_limit as u64, "levels"));
        }
        Ok(Self(bytes))
    }
}

/// Media type of a GRIB file in the description; GRIB has none that is registered with IANA, so its usual ones are taken too.
pub const OCTETS: &str = "application/octet-stream";

/// A body declared as octets, within the limits of size and time.
pub struct FileBody(pub Bytes);

impl FromRequest<Arc<State>> for FileBody {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &Arc<State>) -> Result<Self, Problem> {
        declared(request.headers(), "the file", OCTETS, |essence| {
            matches!(essence, OCTETS | "application/x-grib" | "application/x-grib2" | "application/grib")
        })?;
        let limit = ("grib_limit", state.config.grib_limit, "Cut out the levels, hours and places that are needed.");
        whole(request, state, limit).await.map(Self)
    }
}

/// What a form of a page sends, within the limits of size and time.
pub struct Form<T>(pub T);

impl<T: DeserializeOwned> FromRequest<Arc<State>> for Form<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &Arc<State>) -> Result<Self, Problem> {
        const URLENCODED: &str = "application/x-www-form-urlencoded";
        declared(request.headers(), "the form", URLENCODED, |essence| essence == URLENCODED)?;
        let bytes = whole(request, state, ("body_limit", state.config.body_limit, "A form has far less.")).await?;
        // What stands in it is repeated nowhere: it may be a token.
        serde_urlencoded::from_bytes(&bytes).map(Self).map_err(|_| {
            Problem::new(
                Kind::BadRequest,
                "The form lacks a field, or has one twice. Load its page again and send it from there.",
            )
        })
    }
}

/// A whole body, within a limit of the settings (name, bytes, advice) and in time.
async fn whole(
    mut request: Request,
    state: &Arc<State>,
    (name, most, advice): (&'static str, usize, &'static str),
) -> Result<Bytes, Problem> {
    let config = &state.config;
    let too_large = || {
        Problem::new(Kind::BodyTooLarge, format!("A body may have {most} bytes. {advice}")).with_limit(
            name,
            most as u64,
            "bytes",
        )
    };
    if declared_length(request.headers()).is_some_and(|length| length > most as u64) {
        return Err(too_large());
    }
    DefaultBodyLimit::max(most).apply(&mut request);
    let reading = tokio::time::timeout(config.read_timeout(), Bytes::from_request(request, state)).await;
    reading
        .map_err(|_| {
            Problem::new(
                Kind::BodyTimeout,
                format!("The body was not complete after {} seconds. Send it again.", config.read_timeout_s),
            )
            .with_limit("read_timeout_s", config.read_timeout_s, "s")
        })?
        .map_err(|rejection| match rejection {
            BytesRejection::FailedToBufferBody(FailedToBufferBody::LengthLimitError(_)) => too_large(),
            _ => {
                Problem::new(Kind::BadRequest, "The body broke off or is not framed as its headers say. Send it again.")
            }
        })
}

fn declared_length(headers: &HeaderMap) -> Option<u64> {
    headers.get(header::CONTENT_LENGTH)?.to_str().ok()?.parse().ok()
}

/// Refuses a body that is coded, or declared as something else.
fn declared(headers: &HeaderMap, what: &str, media_type: &str, fits: fn(&str) -> bool) -> Result<(), Problem> {
    let refused = |detail: String| Err(Problem::new(Kind::UnsupportedMediaType, detail));
    let text = |name| headers.get(&name).map(|value| String::from_utf8_lossy(value.as_bytes()).into_owned());
    if let Some(coding) = text(header::CONTENT_ENCODING).filter(|coding| !coding.eq_ignore_ascii_case("identity")) {
        return refused(format!("A body in the coding {coding:?} is not read. Send it without Content-Encoding."));
    }
    let Some(sent) = text(header::CONTENT_TYPE) else {
        return refused(format!("The header Content-Type is missing. Send Content-Type: {media_type}."));
    };
    let essence = sent.split(';').next().unwrap_or_default().trim().to_ascii_lowercase();
    if fits(&essence) {
        return Ok(());
    }
    refused(format!("Content-Type is {sent:?}. Send {what} as Content-Type: {media_type}."))
}

/// The byte that opens more than `most` levels, found before anything is built from the text. Brackets
/// within strings do not count.
fn deeper_than(text: &[u8], most: usize) -> Option<usize> {
    let (mut depth, mut in_string, mut escaped) = (0_usize, false, false);
    for (at, byte) in text.iter().enumerate() {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if in_string => escaped = true,
            b'"' => in_string = !in_string,
            _ if in_string => {}
            b'[' | b'{' => {
                depth += 1;
                if depth > most {
                    return Some(at);
                }
            }
            b']' | b'}' => depth = depth.saturating_sub(1),
            _ => {}
        }
    }
    None
}

/// The query of the URL. Unknown names are refused by the type read.
pub struct Asked<T>(pub T);

impl<T: DeserializeOwned> FromRequestParts<Arc<State>> for Asked<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &Arc<State>) -> Result<Self, Problem> {
        match Query::<T>::from_request_parts(parts, state).await {
            Ok(Query(query)) => Ok(Self(query)),
            Err(rejection) => {
                let text = rejection.body_text();
                let reason = text.rsplit_once("query string: ").map_or(text.as_str(), |(_, reason)| reason);
                Err(Problem::new(Kind::InvalidQuery, format!("{reason}. /docs lists what a query may hold.")))
            }
        }
    }
}

/// A path that holds no text.
pub fn not_text() -> Problem {
    Problem::new(Kind::InvalidPath, "The path holds bytes that are no text in UTF-8.")
}

/// The named parts of the path.
pub struct InPath<T>(pub T);

impl<T: DeserializeOwned + Send> FromRequestParts<Arc<State>> for InPath<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &Arc<State>) -> Result<Self, Problem> {
        match Path::<T>::from_request_parts(parts, state).await {
            Ok(Path(path)) => Ok(Self(path)),
            Err(_) => Err(not_text()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_levels_outside_strings() {
        let rows = [
            ("[[[]]]", 3, None),
            ("[[[]]]", 2, Some(2)),
            ("[{\"a\":[1]}]", 2, Some(6)),
            ("[\"[[[[\"]", 1, None),
            ("[\"\\\"[[\"]", 1, None),
            ("[\"\\\\\",[]]", 1, Some(6)),
            ("[],[],[]", 1, None),
            ("]]]][", 1, None),
        ];
        for (text, most, expected) in rows {
            assert_eq!(deeper_than(text.as_bytes(), most), expected, "{text}");
        }
    }
}
