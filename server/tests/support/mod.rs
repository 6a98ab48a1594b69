//! What the HTTP tests share: a service over a store of choice, and requests without a socket.

#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::expect_used,
    missing_docs,
    reason = "test support: not every test uses all of it, and a test may fail loudly"
)]

use std::io;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, LazyLock};
use std::time::{Duration, Instant};

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{HeaderMap, Method, Request, StatusCode, header};
use jiff::Timestamp;
use serde_json::{Value, json};
use slowpoint_server::config::Config;
use slowpoint_server::id::ContentId;
use slowpoint_server::store::{
    Accepted, Access, Bounds, Claimed, Job, Kept, Lease, Link, NewJob, Piece, Reason, SecretSum, Seen, Shelf, Spent,
    SqliteStore, Store, Token,
};
use slowpoint_server::{State, app};
use tempfile::TempDir;
use tower::ServiceExt;

/// A store in a directory of its own, which can be told to fail, and whose database can be damaged.
pub struct Disk {
    pub store: SqliteStore,
    pub directory: TempDir,
    pub broken: AtomicBool,
    /// Only answers and jobs cannot be read or kept; who may ask is known.
    pub answers_broken: AtomicBool,
    pub panics: AtomicBool,
    /// While it is true nothing comes back.
    pub hangs: AtomicBool,
    /// While it is true everything takes three tenths of a second on a core.
    pub laborious: AtomicBool,
}

impl Default for Disk {
    fn default() -> Self {
        let directory = TempDir::new().unwrap();
        let store = SqliteStore::serve(directory.path()).unwrap();
        Self {
            store,
            directory,
            broken: AtomicBool::new(false),
            answers_broken: AtomicBool::new(false),
            panics: AtomicBool::new(false),
            hangs: AtomicBool::new(false),
            laborious: AtomicBool::new(false),
        }
    }
}

impl Disk {
    fn check(&self) -> io::Result<&SqliteStore> {
        let since = Instant::now();
        while self.laborious.load(Ordering::SeqCst) && since.elapsed() < Duration::from_millis(300) {
            std::hint::spin_loop();
        }
        // So that a test that fails meanwhile ends all the same.
        while self.hangs.load(Ordering::SeqCst) && since.elapsed() < Duration::from_secs(120) {
            std::thread::sleep(Duration::from_millis(2));
        }
        assert!(!self.panics.load(Ordering::SeqCst), "secret of the store");
        if self.broken.load(Ordering::SeqCst) { Err(io::Error::other("secret of the disk")) } else { Ok(&self.store) }
    }

    fn check_answers(&self) -> io::Result<&SqliteStore> {
        if self.answers_broken.load(Ordering::SeqCst) {
            Err(io::Error::other("secret of the disk"))
        } else {
            self.check()
        }
    }

    /// Changes the database behind the store's back.
    pub fn sql(&self, statements: &str) {
        let db = rusqlite::Connection::open(self.directory.path().join("slowpoint.db")).unwrap();
        db.busy_timeout(Duration::from_secs(10)).unwrap();
        db.execute_batch(statements).unwrap();
    }

    /// One number of the database.
    pub fn count(&self, query: &str) -> i64 {
        let db = rusqlite::Connection::open(self.directory.path().join("slowpoint.db")).unwrap();
        db.query_row(query, [], |row| row.get(0)).unwrap()
    }

    /// Another byte stands in every answer.
    pub fn damage_answers(&self) {
        self.sql("UPDATE answers SET answer = answer || x'20'");
    }

    /// Another byte stands in every input.
    pub fn damage_inputs(&self) {
        self.sql("UPDATE answers SET input = input || x'20'");
    }

    pub fn answers(&self) -> i64 {
        self.count("SELECT count(*) FROM answers")
    }
}

/// Hands every function through, unless the store is to fail.
macro_rules! handed_through {
    ($trait:ident by $check:ident: $($name:ident($($arg:ident: $type:ty),*) -> $out:ty;)*) => {
        impl $trait for Disk {
            $(fn $name(&self, $($arg: $type),*) -> io::Result<$out> {
                self.$check()?.$name($($arg),*)
            })*
        }
    };
}

handed_through! {
    Access by check:
    add_token(token: &Token, sum: &SecretSum) -> bool;
    tokens() -> Vec<Token>;
    revoke_token(name: &str) -> bool;
    token(sum: &SecretSum) -> Option<Token>;
    any_token() -> bool;
    own(client: &str, answers: &[(Shelf, ContentId)]) -> ();
    owns(client: &str, shelf: Option<Shelf>, id: &ContentId) -> bool;
    share(link: &Link, sum: &SecretSum, answers: &[(Shelf, ContentId)], most: usize) -> Option<Timestamp>;
    shared(sum: &SecretSum, shelf: Shelf, id: &ContentId) -> bool;
    links(maker: Option<&str>, answer: Option<(Shelf, &ContentId)>, most: usize) -> Vec<Link>;
    end_link(maker: Option<&str>, id: &ContentId) -> bool;
}

handed_through! {
    Store by check_answers:
    get(shelf: Shelf, id: &ContentId) -> Option<Kept>;
    put(shelf: Shelf, id: &ContentId, input: &[u8], answer: &[u8]) -> ();
    pin(shelf: Shelf, id: &ContentId, pinned: bool) -> bool;
    prune(bounds: Bounds) -> u64;
    ready() -> ();
    look() -> Seen;
    accept(job: &NewJob, may_begin: &dyn Fn() -> bool) -> Accepted;
    job(id: &ContentId) -> Option<Job>;
    jobs_of(client: &str, most: usize) -> Vec<Job>;
    claim(lease: Lease) -> Option<Claimed>;
    others_wait(id: &ContentId) -> bool;
    add_piece(id: &ContentId, lease: Lease, before: usize, piece: &Piece) -> bool;
    renew(id: &ContentId, lease: Lease) -> bool;
    give_back(id: &ContentId, owner: &str, spent: Spent, in_order: bool) -> bool;
    finish(id: &ContentId, owner: &str, answer: &[u8]) -> bool;
    fail(id: &ContentId, owner: &str, reason: Reason) -> bool;
    dismiss(id: &ContentId, client: Option<&str>) -> Option<(Job, bool)>;
    job_input(id: &ContentId) -> Option<Vec<u8>>;
    told(id: &ContentId, seen: usize) -> Vec<Vec<u8>>;
}

/// A job that takes what it takes, of one who asks without a token.
pub fn new_job<'a>(shelf: Shelf, id: &'a ContentId, input: &'a [u8]) -> NewJob<'a> {
    NewJob { shelf, id, client: "", input, whole: 3, most_core_time: None, most: [9; 2] }
}

/// A service under test.
pub struct Service {
    pub app: Router,
    pub state: Arc<State>,
    pub store: Arc<Disk>,
}

pub fn service() -> Service {
    service_with(Config::default(), Disk::default())
}

pub fn service_with(config: Config, store: Disk) -> Service {
    let store = Arc::new(store);
    let state = State::new(config, Arc::clone(&store) as Arc<dyn Store>).unwrap();
    tokio::spawn(Arc::clone(&state.jobs).run());
    Service { app: app(Arc::clone(&state)), state, store }
}

/// A response with its body read.
#[derive(Debug)]
pub struct Reply {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub body: Vec<u8>,
}

impl Reply {
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|e| panic!("{e}: {self:?}"))
    }

    pub fn text(&self) -> String {
        String::from_utf8(self.body.clone()).unwrap()
    }
}

impl Service {
    pub async fn send(&self, request: Request<Body>) -> Reply {
        let response = self.app.clone().oneshot(request).await.unwrap();
        let (parts, body) = response.into_parts();
        let body = to_bytes(body, usize::MAX).await.unwrap().to_vec();
        Reply { status: parts.status, headers: parts.headers, body }
    }

    pub async fn get(&self, uri: &str) -> Reply {
        self.send(request(Method::GET, uri, Body::empty())).await
    }

    pub async fn post(&self, body: &Value) -> Reply {
        self.send(assessment(body)).await
    }

    /// The answer of a card, as it is described.
    pub async fn answer(&self, card: &Value) -> Value {
        let reply = self.post(card).await;
        assert_eq!(reply.status, 200, "{}", reply.text());
        check_described("Assessment", &reply.json());
        reply.json()
    }
}

pub fn request(method: Method, uri: &str, body: Body) -> Request<Body> {
    Request::builder().method(method).uri(uri).body(body).unwrap()
}

pub fn assessment(body: &Value) -> Request<Body> {
    json_request("/v1/assessments", body.to_string())
}

pub fn json_request(uri: &str, body: impl Into<Body>) -> Request<Body> {
    Request::builder()
        .method(Method::POST)
        .uri(uri)
        .header(header::CONTENT_TYPE, "application/json")
        .body(body.into())
        .unwrap()
}

/// An invented card, flown few times.
pub fn card() -> Value {
    serde_json::from_str(include_str!("card.json")).unwrap()
}

/// One of the examples that come with the program.
pub fn example(name: &str) -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// The example with a field and people beside the pad, two delays.
pub fn first_flight(flights: u64) -> Value {
    let mut card = example("first-flight.json");
    card["flights"] = json!(flights);
    card["delays"] = json!([6, 9]);
    card
}

/// The published description.
pub static DOCUMENT: LazyLock<Value> =
    LazyLock::new(|| serde_json::from_str(&slowpoint_server::api::description::text().unwrap()).unwrap());

/// Every operation of the description, as its method, its path, an address, and whether it takes a body. What is asked of the
/// answers is put in place of the beginnings of paths.
pub fn routes(paths: &[(&str, String)]) -> Vec<(Method, String, String, bool)> {
    let mut routes = Vec::new();
    for (template, methods) in DOCUMENT["paths"].as_object().unwrap() {
        for (method, operation) in methods.as_object().unwrap() {
            let own = paths.iter().find(|(prefix, _)| template.starts_with(prefix));
            let mut uri = template.replace("{index}", "0").replace("{kind}", "invalid-input");
            if let Some((prefix, place)) = own {
                uri = uri.replace(prefix, place);
            }
            if template.ends_with("/changes") {
                uri = format!("{uri}?since={}", own.unwrap().1.rsplit('/').next().unwrap());
            }
            let method: Method = method.to_uppercase().parse().unwrap();
            routes.push((method, template.clone(), uri, operation["requestBody"].is_object()));
        }
    }
    routes
}

/// What is for caches, browsers and proxies alone, or said by the description elsewhere.
const NOT_OURS: [&str; 12] = [
    "access-control-allow-origin",
    "access-control-expose-headers",
    "cache-control",
    "content-length",
    "content-security-policy",
    "content-type",
    "cross-origin-resource-policy",
    "referrer-policy",
    "transfer-encoding",
    "vary",
    "x-accel-buffering",
    "x-content-type-options",
];

/// Fails unless the description of an operation knows this answer: its status, its kind of problem, its headers.
pub fn check_documented(method: &Method, template: &str, reply: &Reply) {
    let name = format!("{method} {template} {}", reply.status);
    let response = &DOCUMENT["paths"][template][method.as_str().to_lowercase()]["responses"][reply.status.as_str()];
    assert!(response.is_object(), "{name} is not described");
    if reply.status.as_u16() >= 400 {
        let kind = reply.json()["type"].as_str().unwrap().to_string();
        let described = response["description"].as_str().unwrap();
        assert!(described.contains(&format!("`{kind}`:")), "{name} is not described as {kind}: {described}");
    }
    let described = |header: &str| {
        let headers = response["headers"].as_object().into_iter().flatten();
        headers.into_iter().any(|(known, _)| known.eq_ignore_ascii_case(header))
    };
    for header in reply.headers.keys().filter(|header| !NOT_OURS.contains(&header.as_str())) {
        assert!(described(header.as_str()), "{name} carries {header}, which is not described");
    }
}

/// Fails unless a value is what the published description says.
pub fn check_described(schema: &str, value: &Value) {
    let root = json!({"$ref": format!("#/components/schemas/{schema}"), "components": DOCUMENT["components"]});
    let validator = jsonschema::draft202012::new(&root).unwrap();
    let faults: Vec<_> = validator.iter_errors(value).map(|fault| fault.to_string()).collect();
    assert!(faults.is_empty(), "not a {schema}: {faults:?}");
}

/// Fails unless a reply is a problem of this kind, in the form every problem has.
pub fn check_problem(reply: &Reply, status: u16, slug: &str) -> Value {
    assert_eq!(reply.status.as_u16(), status, "{}", reply.text());
    assert_eq!(reply.header("content-type"), "application/problem+json", "{reply:?}");
    assert_eq!(reply.header("cache-control"), "no-store");
    let problem = reply.json();
    check_described("Problem", &problem);
    assert_eq!(problem["type"], format!("/problems/{slug}"), "{problem}");
    assert_eq!(problem["status"], status);
    assert_eq!(problem["instance"], reply.header("x-request-id"));
    for member in ["title", "detail", "instance"] {
        assert!(problem[member].as_str().is_some_and(|text| !text.is_empty()), "{member}: {problem}");
    }
    problem
}

/// Waits for something to become true, but not for ever.
pub async fn until(done: impl Fn() -> bool) {
    let begun = Instant::now();
    while !done() {
        assert!(begun.elapsed() < Duration::from_secs(300), "waited too long");
        tokio::time::sleep(Duration::from_millis(2)).await;
    }
}
