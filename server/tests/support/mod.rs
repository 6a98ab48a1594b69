//! What the HTTP tests share: a service over a store of choice, and requests without a socket.

#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::expect_used,
    missing_docs,
    reason = "test support: not every test uses all of it, and a test may fail loudly"
)]

use std::io;
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
    Accepted, Access, Bounds, Claimed, Job, Kept, Lease, NewJob, Piece, Reason, SecretSum, Seen, Shelf, SqliteStore,
    Store, Token,
};
use slowpoint_server::{State, app};
use tempfile::TempDir;
use tower::ServiceExt;

/// A store in a directory of its own, which can be told to fail, and whose database can be damaged.
pub struct Disk {
    pub store: SqliteStore,
    pub directory: TempDir,
    pub broken: AtomicBool,
    pub panics: AtomicBool,
    /// While it is true nothing comes back.
    pub hangs: AtomicBool,
}

impl Default for Disk {
    fn default() -> Self {
        let directory = TempDir::new().unwrap();
        let store = SqliteStore::serve(directory.path()).unwrap();
        Self {
            store,
            directory,
            broken: AtomicBool::new(false),
            panics: AtomicBool::new(false),
            hangs: AtomicBool::new(false),
        }
    }
}

impl Disk {
    fn check(&self) -> io::Result<&SqliteStore> {
        while self.hangs.load(Ordering::SeqCst) {
            std::thread::sleep(Duration::from_millis(2));
        }
        assert!(!self.panics.load(Ordering::SeqCst), "secret of the store");
        if self.broken.load(Ordering::SeqCst) { Err(io::Error::other("secret of the disk")) } else { Ok(&self.store) }
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
    ($trait:ident: $($name:ident($($arg:ident: $type:ty),*) -> $out:ty;)*) => {
        impl $trait for Disk {
            $(fn $name(&self, $($arg: $type),*) -> io::Result<$out> {
                self.check()?.$name($($arg),*)
            })*
        }
    };
}

handed_through! {
    Access:
    add_token(token: &Token, sum: &SecretSum) -> bool;
    tokens() -> Vec<Token>;
    revoke_token(name: &str) -> bool;
    token(sum: &SecretSum) -> Option<Token>;
    any_token() -> bool;
    own(client: &str, answers: &[(Shelf, ContentId)]) -> ();
    owns(client: &str, shelf: Option<Shelf>, id: &ContentId) -> bool;
    share(sum: &SecretSum, answers: &[(Shelf, ContentId)], expires: Timestamp) -> ();
    shared(sum: &SecretSum, shelf: Shelf, id: &ContentId) -> bool;
}

handed_through! {
    Store:
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
    give_back(id: &ContentId, owner: &str, spent: Duration, in_order: bool) -> bool;
    finish(id: &ContentId, owner: &str, answer: &[u8]) -> bool;
    fail(id: &ContentId, owner: &str, reason: Reason) -> bool;
    dismiss(id: &ContentId, client: Option<&str>) -> Option<(Job, bool)>;
    told(id: &ContentId, seen: usize) -> Vec<Vec<u8>>;
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

/// Fails unless a value is what the published description says.
pub fn check_described(schema: &str, value: &Value) {
    static DOCUMENT: LazyLock<Value> =
        LazyLock::new(|| serde_json::from_str(&slowpoint_server::api::description::text().unwrap()).unwrap());
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
        assert!(begun.elapsed() < Duration::from_secs(20), "waited too long");
        tokio::time::sleep(Duration::from_millis(2)).await;
    }
}
