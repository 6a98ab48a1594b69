//! Everything that is not an answer: one type, one table of kinds, after RFC 9457.

use std::collections::BTreeMap;

use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use tokio::task::JoinError;
use utoipa::openapi::{ContentBuilder, Ref, RefOr, ResponseBuilder};
use utoipa::{IntoResponses, ToSchema};

use crate::store::Shelf;
use crate::wire::day::EntryProblem;
use crate::wire::{FieldFault, MOST_FAULTS, Rejected};

/// The reason of what was refused before it was read, beside the kinds of problems.
pub const UNREAD: &str = "overloaded-unread";

/// Media type of a problem.
pub const PROBLEM_JSON: &str = "application/problem+json";

macro_rules! kinds {
    ($($name:ident $status:ident $slug:literal $title:literal;)*) => {
        /// The kinds of problems. Slugs and statuses are stable; texts may get better.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum Kind {
            $(#[doc = $title] $name,)*
        }

        impl Kind {
            /// Every kind.
            pub const ALL: &[Self] = &[$(Self::$name),*];

            /// Status it is answered with.
            pub fn status(self) -> StatusCode {
                match self { $(Self::$name => StatusCode::$status,)* }
            }

            /// Last part of its type URI.
            pub fn slug(self) -> &'static str {
                match self { $(Self::$name => $slug,)* }
            }

            /// One line in words, the same for every occurrence.
            pub fn title(self) -> &'static str {
                match self { $(Self::$name => $title,)* }
            }
        }
    };
}

kinds! {
    MalformedJson BAD_REQUEST "malformed-json" "The body is not JSON.";
    TooDeeplyNested BAD_REQUEST "too-deeply-nested" "The body nests too deeply.";
    InvalidQuery BAD_REQUEST "invalid-query" "The query of the URL cannot be read.";
    InvalidPath BAD_REQUEST "invalid-path" "A part of the path cannot be read.";
    BadRequest BAD_REQUEST "bad-request" "The request cannot be read.";
    TokenNeeded UNAUTHORIZED "token-needed" "A token is needed.";
    ScopeTooSmall FORBIDDEN "scope-too-small" "The token does not permit this.";
    OtherSite FORBIDDEN "other-site" "This is taken from pages of this server alone.";
    ShareOver FORBIDDEN "share-over" "The link does not share this.";
    UnknownPath NOT_FOUND "unknown-path" "Nothing is here.";
    UnknownAssessment NOT_FOUND "unknown-assessment" "No assessment is stored under this id.";
    UnknownDay NOT_FOUND "unknown-day" "No day is stored under this id.";
    UnknownSweep NOT_FOUND "unknown-sweep" "No sweep is stored under this id.";
    UnknownJob NOT_FOUND "unknown-job" "No job is known under this id.";
    UnknownShare NOT_FOUND "unknown-share" "No link of yours is known under this id.";
    ResultNotReady NOT_FOUND "result-not-ready" "The job has no result yet.";
    JobDismissed GONE "job-dismissed" "The job was given up.";
    UnknownFlight NOT_FOUND "unknown-flight" "The assessment has no such flight.";
    NoCords NOT_FOUND "no-cords" "The assessment was not asked about its cord.";
    NoCalibration NOT_FOUND "no-calibration" "The assessment was told of no flights flown.";
    NoRareEvents NOT_FOUND "no-rare-events" "The assessment was not asked about rare events.";
    NoPosition NOT_FOUND "no-position" "The assessment has no place on Earth.";
    MethodNotAllowed METHOD_NOT_ALLOWED "method-not-allowed" "This path does not answer this method.";
    StoredDamaged GONE "stored-damaged" "What was stored under this id is damaged.";
    BodyTimeout REQUEST_TIMEOUT "body-timeout" "The body did not arrive in time.";
    EngineChanged GONE "engine-changed" "An older engine answered this; it cannot be flown again.";
    BodyTooLarge PAYLOAD_TOO_LARGE "body-too-large" "The body is too large.";
    UnsupportedMediaType UNSUPPORTED_MEDIA_TYPE "unsupported-media-type" "The body is not declared as what is read here.";
    UriTooLong URI_TOO_LONG "uri-too-long" "The URL is too long.";
    HeadTooLarge REQUEST_HEADER_FIELDS_TOO_LARGE "head-too-large" "The headers are too large.";
    InvalidInput UNPROCESSABLE_ENTITY "invalid-input" "The input has faults.";
    TooManyFlights UNPROCESSABLE_ENTITY "too-many-flights" "More flights than are computed for one answer.";
    ComputeLimit UNPROCESSABLE_ENTITY "compute-limit" "The computation takes longer than one may.";
    OverBudget TOO_MANY_REQUESTS "over-budget" "You have had as much computed as you may for now.";
    TooManyJobs TOO_MANY_REQUESTS "too-many-jobs" "As many of your jobs wait and run as may.";
    TooManyShares TOO_MANY_REQUESTS "too-many-shares" "As many of your links hold as may.";
    TooManyStreams TOO_MANY_REQUESTS "too-many-streams" "As many streams of events are open for you as may be.";
    JobFailed UNPROCESSABLE_ENTITY "job-failed" "The job failed again and again.";
    Internal INTERNAL_SERVER_ERROR "internal" "The server failed.";
    StorageFailed SERVICE_UNAVAILABLE "storage-failed" "The server cannot read or store answers at the moment.";
    Overloaded SERVICE_UNAVAILABLE "overloaded" "The server is busy.";
    Stopping SERVICE_UNAVAILABLE "stopping" "The server is stopping.";
}

impl Kind {
    /// Nothing under an id of this shelf.
    pub fn unknown(shelf: Shelf) -> Self {
        match shelf {
            Shelf::Assessments => Self::UnknownAssessment,
            Shelf::Days => Self::UnknownDay,
            Shelf::Sweeps => Self::UnknownSweep,
        }
    }

    /// Its type URI, relative to this server.
    fn uri(self) -> String {
        format!("/problems/{}", self.slug())
    }

    /// The kind with this slug.
    pub fn of_slug(slug: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|kind| kind.slug() == slug)
    }

    /// The kind for a status that a library answered with.
    fn of_status(status: StatusCode) -> Self {
        match status {
            StatusCode::NOT_FOUND => Self::UnknownPath,
            StatusCode::METHOD_NOT_ALLOWED => Self::MethodNotAllowed,
            StatusCode::REQUEST_TIMEOUT => Self::BodyTimeout,
            StatusCode::PAYLOAD_TOO_LARGE => Self::BodyTooLarge,
            StatusCode::URI_TOO_LONG => Self::UriTooLong,
            StatusCode::REQUEST_HEADER_FIELDS_TOO_LARGE => Self::HeadTooLarge,
            StatusCode::UNSUPPORTED_MEDIA_TYPE => Self::UnsupportedMediaType,
            StatusCode::SERVICE_UNAVAILABLE => Self::Overloaded,
            status if status.is_client_error() => Self::BadRequest,
            _ => Self::Internal,
        }
    }
}

/// A problem on its way to the client.
#[derive(Debug, Clone)]
pub struct Problem {
    kind: Kind,
    detail: String,
    errors: Vec<FieldFault>,
    limit: Option<LimitBody>,
    headers: Vec<(HeaderName, HeaderValue)>,
    unread: bool,
}

impl Problem {
    /// A problem with what happened and what to do about it.
    pub fn new(kind: Kind, detail: impl Into<String>) -> Self {
        Self { kind, detail: detail.into(), errors: Vec::new(), limit: None, headers: Vec::new(), unread: false }
    }

    /// Adds a header to its response.
    pub fn with_header(mut self, name: HeaderName, value: HeaderValue) -> Self {
        self.headers.push((name, value));
        self
    }

    /// Names the limit that was met.
    pub fn with_limit(mut self, name: &'static str, value: u64, unit: &'static str) -> Self {
        self.limit = Some(LimitBody { name, value, unit });
        self
    }

    /// Names the faults.
    pub fn with_errors(mut self, errors: Vec<FieldFault>) -> Self {
        self.errors = errors;
        self
    }

    /// Why a body was not taken.
    pub fn rejected(rejected: Rejected) -> Self {
        match rejected {
            Rejected::NotJson(reason) => Self::malformed_json(&reason),
            Rejected::Faults(faults) => Self::faults(faults),
        }
    }

    /// Every fault of an input.
    pub fn faults(errors: Vec<FieldFault>) -> Self {
        let detail = match errors.split_last() {
            Some((_, [])) => "1 fault, listed under errors with its remedy.".to_string(),
            // The entry past the most that are listed says how many there are.
            Some((last, listed)) if listed.len() == MOST_FAULTS => {
                format!("{} under errors with their remedies.", last.problem)
            }
            _ => format!("{} faults, all listed under errors with their remedies.", errors.len()),
        };
        Self::new(Kind::InvalidInput, detail).with_errors(errors)
    }

    /// A text that is no JSON, from what the reader of JSON said about it.
    pub fn malformed_json(reason: &str) -> Self {
        Self::new(Kind::MalformedJson, in_plain_words(reason))
    }

    /// A failure whose cause stands in the log only.
    pub fn internal() -> Self {
        Self::new(
            Kind::Internal,
            "Nothing was stored. The cause is in the server's log under the request id of this problem.",
        )
    }

    /// A store that cannot be read or written. The cause goes to the log.
    pub fn storage(error: &std::io::Error) -> Self {
        tracing::error!(%error, "store failed");
        Self::unstored()
    }

    /// The same, of which the log knows already.
    pub fn unstored() -> Self {
        Self::new(
            Kind::StorageFailed,
            "Nothing is answered that is not stored first. The cause is in the server's log.",
        )
    }

    /// What a library answered by itself, in this form.
    pub fn of_status(status: StatusCode) -> Self {
        let kind = Kind::of_status(status);
        Self::new(kind, kind.title())
    }

    /// As part of another answer.
    pub fn of_entry(self) -> EntryProblem {
        EntryProblem {
            kind: self.kind.uri(),
            title: self.kind.title(),
            status: self.kind.status().as_u16(),
            detail: self.detail,
            errors: self.errors,
        }
    }

    /// Refused before it was read what was asked.
    pub fn unread(self) -> Self {
        Self { unread: true, ..self }
    }

    /// What kind it is.
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// Why a request was turned away, for whoever counts.
    pub fn reason(&self) -> &'static str {
        if self.unread { UNREAD } else { self.kind.slug() }
    }

    /// What it says, once the request's id is known.
    pub fn body<'a>(&'a self, request_id: &'a str) -> ProblemBody<'a> {
        ProblemBody {
            kind: self.kind.uri(),
            title: self.kind.title(),
            status: self.kind.status().as_u16(),
            detail: &self.detail,
            instance: request_id,
            errors: &self.errors,
            limit: self.limit.as_ref(),
        }
    }

    /// The response, once the request's id is known. Every 503 and 429 says when to come back.
    pub fn respond(&self, request_id: &str, retry_after_s: u64) -> Response {
        let body = self.body(request_id);
        // Serializing these plain structs cannot fail; the fallback keeps even that a problem.
        let bytes =
            serde_json::to_vec(&body).unwrap_or_else(|_| br#"{"title":"The server failed.","status":500}"#.to_vec());
        let mut response = (self.kind.status(), bytes).into_response();
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(PROBLEM_JSON));
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
        if matches!(self.kind.status(), StatusCode::SERVICE_UNAVAILABLE | StatusCode::TOO_MANY_REQUESTS) {
            headers.insert(header::RETRY_AFTER, HeaderValue::from(retry_after_s));
        }
        for (name, value) in &self.headers {
            headers.insert(name, value.clone());
        }
        response
    }
}

/// Where a text stops being JSON and why. `reason` is the reader's: "expected value at line 1 column 8".
pub fn in_plain_words(reason: &str) -> String {
    let (what, place) = reason.rsplit_once(" at line ").unwrap_or((reason, ""));
    let what = match what {
        "EOF while parsing a list" => "the text ends inside a list; its ] is missing".into(),
        "EOF while parsing an object" => "the text ends inside an object; its } is missing".into(),
        "EOF while parsing a string" => "the text ends inside a string; its closing quote is missing".into(),
        "EOF while parsing a value" => "the text ends where a value should stand".into(),
        "expected value" => "a value should stand here: a number, a text in double quotes, a list or an object".into(),
        "expected ident" => "only true, false and null may stand without quotes".into(),
        "key must be a string" => "a name in double quotes should stand here".into(),
        "trailing comma" => "the comma before the closing bracket is one too many".into(),
        "trailing characters" => "something follows after the end of the card".into(),
        "invalid number" => "this is no number in JSON: digits with a point, such as 0.5".into(),
        other => other.to_string(),
    };
    match place.split_once(" column ") {
        Some((line, column)) => format!("Line {line}, column {column}: {what}."),
        None => format!("{what}."),
    }
}

/// Work that was lost; the panic hook has logged why.
impl From<JoinError> for Problem {
    fn from(_: JoinError) -> Self {
        Self::internal()
    }
}

/// The outermost layer writes the body, because only it knows the request's id.
impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let mut response = self.kind.status().into_response();
        response.extensions_mut().insert(self);
        response
    }
}

/// A problem after RFC 9457, sent as `application/problem+json` with every status from 400 up.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Problem)]
pub struct ProblemBody<'a> {
    /// Stable URI of the kind of problem, relative to this server
    #[serde(rename = "type")]
    #[schema(example = "/problems/invalid-input")]
    pub kind: String,
    /// The kind in words
    #[schema(example = "The input has faults.")]
    pub title: &'a str,
    /// The HTTP status again
    #[schema(minimum = 400, maximum = 599, example = 422)]
    pub status: u16,
    /// What happened here and what to do about it
    pub detail: &'a str,
    /// Id of the request, as in the header x-request-id and in the server's log
    pub instance: &'a str,
    /// Every fault of the input
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    #[schema(required = false)]
    pub errors: &'a [FieldFault],
    /// The limit that was met
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(required = false, nullable = false)]
    pub limit: Option<&'a LimitBody>,
}

/// A limit of the server, with its value.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = ProblemLimit)]
pub struct LimitBody {
    /// Name of the knob, as `slowpoint serve --help` lists it
    #[schema(example = "body_limit")]
    pub name: &'static str,
    /// Its value
    pub value: u64,
    /// Unit of the value
    #[schema(example = "bytes")]
    pub unit: &'static str,
}

/// Documents problems among the responses of an operation: one response per status, naming the kinds behind it.
pub fn document(responses: &mut BTreeMap<String, RefOr<utoipa::openapi::Response>>, kinds: &[Kind]) {
    for kind in kinds {
        let line = format!("`/problems/{}`: {}", kind.slug(), kind.title());
        let response = responses.entry(kind.status().as_str().to_string()).or_insert_with(|| {
            let content = ContentBuilder::new().schema(Some(Ref::from_schema_name("Problem"))).build();
            RefOr::T(ResponseBuilder::new().content(PROBLEM_JSON, content).build())
        });
        if let RefOr::T(response) = response
            && !response.description.contains(&line)
        {
            let gap = if response.description.is_empty() { "" } else { " " };
            response.description = format!("{}{gap}{line}", response.description);
        }
    }
}

macro_rules! refusals {
    ($($(#[$doc:meta])* $name:ident: $($kind:ident),*;)*) => {
        $(
            $(#[$doc])*
            pub struct $name;

            impl IntoResponses for $name {
                fn responses() -> BTreeMap<String, RefOr<utoipa::openapi::Response>> {
                    let mut responses = BTreeMap::new();
                    document(&mut responses, &[$(Kind::$kind),*]);
                    responses
                }
            }
        )*
    };
}

// What a request is refused with before its handler is said by the table of `access`, which the description reads.
refusals! {
    /// What an input can be refused with.
    InputRefusals: OverBudget, TooManyJobs, UriTooLong, HeadTooLarge, MalformedJson, TooDeeplyNested, InvalidQuery, BadRequest, BodyTimeout, BodyTooLarge,
        UnsupportedMediaType, InvalidInput, TooManyFlights, ComputeLimit, Internal, StorageFailed, Overloaded, Stopping;
    /// What reading an assessment can be refused with.
    ReadRefusals: UriTooLong, HeadTooLarge, InvalidPath, UnknownAssessment, EngineChanged, StoredDamaged, TooManyFlights, ComputeLimit,
        Internal, StorageFailed, Overloaded, Stopping;
    /// What flying one flight again can be refused with.
    FlightRefusals: OverBudget, UriTooLong, HeadTooLarge, InvalidPath, UnknownAssessment, UnknownFlight, EngineChanged, StoredDamaged,
        TooManyFlights, ComputeLimit, Internal, StorageFailed, Overloaded, Stopping;
    /// What the table of all flights can be refused with.
    TableRefusals: OverBudget, UriTooLong, HeadTooLarge, InvalidPath, UnknownAssessment, EngineChanged, StoredDamaged, TooManyFlights,
        ComputeLimit, Internal, StorageFailed, Overloaded, Stopping;
    /// What reading a day or a sweep can be refused with.
    StoredRefusals: UriTooLong, HeadTooLarge, InvalidPath, UnknownDay, UnknownSweep, StoredDamaged, Internal, StorageFailed,
        Overloaded, Stopping;
    /// What a day with something changed can be refused with.
    RevisionRefusals: OverBudget, TooManyJobs, UriTooLong, HeadTooLarge, InvalidPath, UnknownDay, StoredDamaged, MalformedJson, TooDeeplyNested,
        BadRequest, BodyTimeout, BodyTooLarge, UnsupportedMediaType, InvalidInput, TooManyFlights, ComputeLimit, Internal,
        StorageFailed, Overloaded, Stopping;
    /// What comparing two days can be refused with.
    ChangeRefusals: UriTooLong, HeadTooLarge, InvalidPath, InvalidQuery, UnknownDay, StoredDamaged, Internal,
        StorageFailed, Stopping;
    /// What asking for a job can be refused with.
    JobRefusals: UriTooLong, HeadTooLarge, InvalidPath, UnknownJob, ResultNotReady, JobDismissed, StoredDamaged, EngineChanged, ComputeLimit,
        JobFailed, Internal, StorageFailed;
    /// What a list of one's own can be refused with.
    ListRefusals: UriTooLong, HeadTooLarge, Internal, StorageFailed;
    /// What the events of a job can be refused with.
    EventRefusals: TooManyStreams, UriTooLong, HeadTooLarge, InvalidPath, BadRequest, UnknownJob, Internal, StorageFailed, Overloaded;
    /// What a map of an assessment can be refused with.
    MapRefusals: UriTooLong, HeadTooLarge, InvalidPath, InvalidQuery, UnknownAssessment, NoPosition, EngineChanged,
        StoredDamaged, TooManyFlights, ComputeLimit, Internal, StorageFailed, Overloaded, Stopping;
    /// What a picture of cord and tube edge can be refused with.
    CordRefusals: UriTooLong, HeadTooLarge, InvalidPath, UnknownAssessment, NoCords, EngineChanged, StoredDamaged,
        TooManyFlights, ComputeLimit, Internal, StorageFailed, Overloaded, Stopping;
    /// What a picture of what flights flown say can be refused with.
    CalibrationRefusals: UriTooLong, HeadTooLarge, InvalidPath, UnknownAssessment, NoCalibration, EngineChanged, StoredDamaged,
        TooManyFlights, ComputeLimit, Internal, StorageFailed, Overloaded, Stopping;
    /// What a picture of rare events can be refused with.
    RareRefusals: UriTooLong, HeadTooLarge, InvalidPath, UnknownAssessment, NoRareEvents, EngineChanged, StoredDamaged,
        TooManyFlights, ComputeLimit, Internal, StorageFailed, Overloaded, Stopping;
    /// What a picture of one delay can be refused with.
    PictureRefusals: UriTooLong, HeadTooLarge, InvalidPath, InvalidQuery, UnknownAssessment, EngineChanged, StoredDamaged,
        TooManyFlights, ComputeLimit, Internal, StorageFailed, Overloaded, Stopping;
    /// What a picture of flights that are flown again can be refused with.
    PathsRefusals: OverBudget, UriTooLong, HeadTooLarge, InvalidPath, InvalidQuery, UnknownAssessment, EngineChanged, StoredDamaged,
        TooManyFlights, ComputeLimit, Internal, StorageFailed, Overloaded, Stopping;
    /// What weather to decode can be refused with.
    WeatherRefusals: UriTooLong, HeadTooLarge, MalformedJson, TooDeeplyNested, BadRequest, BodyTimeout, BodyTooLarge,
        UnsupportedMediaType, InvalidInput, Internal, Overloaded;
    /// What a file of weather can be refused with.
    FileRefusals: UriTooLong, HeadTooLarge, InvalidQuery, BadRequest, BodyTimeout, BodyTooLarge, UnsupportedMediaType, InvalidInput,
        Internal, Overloaded;
    /// What readiness can be refused with.
    ReadyRefusals: UriTooLong, HeadTooLarge, StorageFailed, Stopping, Internal;
    /// What the metrics can be refused with.
    MetricsRefusals: UriTooLong, HeadTooLarge, Internal, StorageFailed;
    /// What an operation without input can be refused with.
    PlainRefusals: UriTooLong, HeadTooLarge, Internal;
    /// What the explanation of a problem can be refused with.
    ExplainRefusals: UriTooLong, HeadTooLarge, InvalidPath, UnknownPath, Internal;
    /// What ending a link can be refused with.
    EndRefusals: UriTooLong, HeadTooLarge, InvalidPath, UnknownShare, Internal, StorageFailed;
    /// What a link can be refused with.
    ShareRefusals: TooManyShares, UriTooLong, HeadTooLarge, MalformedJson, TooDeeplyNested, BadRequest, BodyTimeout,
        BodyTooLarge, UnsupportedMediaType, InvalidInput, UnknownAssessment, UnknownDay, UnknownSweep, Internal, StorageFailed;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slugs_are_distinct() {
        for kind in Kind::ALL {
            assert_eq!(Kind::of_slug(kind.slug()), Some(*kind));
        }
    }

    #[test]
    fn says_in_plain_words_what_is_no_json() {
        for (text, expected) in [
            ("", "Line 1, column 0: the text ends where a value should stand."),
            ("{\"a\": [1, 2", "Line 1, column 11: the text ends inside a list; its ] is missing."),
            ("{\n\"a\": 1,\n}", "Line 3, column 1: the comma before the closing bracket is one too many."),
            ("{} {}", "Line 1, column 4: something follows after the end of the card."),
            ("{'a': 1}", "Line 1, column 2: a name in double quotes should stand here."),
            ("[01]", "Line 1, column 3: this is no number in JSON: digits with a point, such as 0.5."),
        ] {
            let said = serde_json::from_str::<serde_json::Value>(text).map_err(|e| in_plain_words(&e.to_string()));
            assert_eq!(said, Err(expected.to_string()), "{text}");
        }
    }
}
