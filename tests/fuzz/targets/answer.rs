//! Whatever is taken is answered by the whole service, in finite numbers; nothing is answered by a failure.

#![no_main]

use core::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::fs;
use std::path::Path;
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, header};
use libfuzzer_sys::{Corpus, fuzz_crossover, fuzz_mutator, fuzz_target};
use serde_json::Value;
use slowpoint_fuzz::finite::{not_finite, without_texts};
use slowpoint_fuzz::{Door, begin, changed, check_told, crossed, day, planted};
use slowpoint_server::config::Config;
use slowpoint_server::id::ContentId;
use slowpoint_server::store::{Bounds, Shelf, SqliteStore, Store};
use slowpoint_server::wire::day::read_day;
use slowpoint_server::wire::sweep::read_sweep;
use slowpoint_server::wire::{self, Asked};
use slowpoint_server::{State, app};
use tokio::runtime::{Builder, Runtime};
use tower::ServiceExt;

/// Little is flown for one body, so that many are tried.
const MOST_FLIGHTS: u64 = 640;
/// What was answered is given up after so many bodies.
const KEPT: u64 = 1000;

fuzz_target!(init: { begin(&Door::FLOWN); SERVICE.get_or_init(Service::new); }, |tried: &[u8]| -> Corpus {
    let Some((door, body)) = Door::of(tried) else { return Corpus::Reject };
    let service = SERVICE.get_or_init(Service::new);
    let path = match door {
        Door::Assessment => "/v1/assessments".to_string(),
        Door::Day => "/v1/days".to_string(),
        Door::Revision => format!("/v1/days/{}/revisions", service.day),
        Door::Sweep => "/v1/sweeps".to_string(),
        _ => return Corpus::Reject,
    };
    let (status, answer) = service.answered(&path, body);
    let cards = if status == 200 { cards(door, body) } else { Vec::new() };
    let is_new = cards.iter().any(|asked| planted::is_new(&asked.case));
    let status = if is_new && planted::is("failure") { 500 } else { status };
    assert!(status < 500, "answered {status}: {}", String::from_utf8_lossy(&answer));
    let told: Value = serde_json::from_slice(&answer).expect("an answer is JSON");
    // Of a revision it is a day that has faults: what was sent laid over it.
    if door != Door::Revision {
        let sent = serde_json::from_slice(body.strip_prefix(b"\xef\xbb\xbf").unwrap_or(body)).unwrap_or_default();
        check_refusal(&told, status, &sent);
        for row in told["entries"].as_array().into_iter().flatten().filter(|row| row["problem"].is_object()) {
            check_refusal(&row["problem"], 422, &sent);
        }
    }
    for asked in cards {
        check_report(&asked, is_new);
    }
    // What is made of a body that is refused is mostly refused for the same.
    if status == 200 { Corpus::Keep } else { Corpus::Reject }
});

fuzz_mutator!(|data: &mut [u8], size: usize, max_size: usize, seed: u32| { changed(data, size, max_size, seed) });
fuzz_crossover!(|one: &[u8], other: &[u8], out: &mut [u8], seed: u32| { crossed(one, other, out, seed) });

static SERVICE: OnceLock<Service> = OnceLock::new();

/// The service without its sockets.
struct Service {
    runtime: Runtime,
    router: Router,
    store: Arc<SqliteStore>,
    /// Id of the day that revisions are of.
    day: String,
    bodies: AtomicU64,
}

impl Service {
    fn new() -> Self {
        let _ = fs::remove_dir_all("store");
        let store = Arc::new(SqliteStore::serve(Path::new("store")).expect("a store can be made"));
        let config = Config {
            inline_flights: MOST_FLIGHTS,
            job_flights: MOST_FLIGHTS,
            // Whatever takes too long has to be seen from outside.
            compute_limit_s: 3600,
            client_core_s: 0,
            cores: 1,
            ..Config::default()
        };
        let state = State::new(config, Arc::clone(&store) as Arc<dyn Store>).expect("a service can be made");
        let runtime = Builder::new_current_thread().enable_all().build().expect("a runtime can be made");
        let mut service = Self { runtime, router: app(state), store, day: String::new(), bodies: AtomicU64::new(0) };
        let (_, answer) = service.answered("/v1/days", day().to_string().as_bytes());
        let answer: Value = serde_json::from_slice(&answer).expect("an answer is JSON");
        let id = answer["id"].as_str().and_then(ContentId::parse).expect("the day is answered");
        service.store.pin(Shelf::Days, &id, true).expect("the day can be kept");
        service.day = id.to_string();
        service
    }

    fn answered(&self, path: &str, body: &[u8]) -> (u16, Vec<u8>) {
        if self.bodies.fetch_add(1, Ordering::Relaxed) % KEPT == KEPT - 1 {
            let nothing = Bounds { bytes: 0, unused: Duration::MAX };
            self.store.prune(nothing).expect("the store can give up answers");
        }
        let request = Request::post(path).header(header::CONTENT_TYPE, "application/json");
        let request = request.body(Body::from(body.to_vec())).expect("a request");
        self.runtime.block_on(async {
            let response = self.router.clone().oneshot(request).await.expect("there is always an answer");
            let status = response.status().as_u16();
            (status, to_bytes(response.into_body(), usize::MAX).await.expect("an answer comes whole").to_vec())
        })
    }
}

/// Some of the cards that are flown.
fn cards(door: Door, body: &[u8]) -> Vec<Asked> {
    match door {
        Door::Assessment => wire::read(body).ok().into_iter().collect(),
        Door::Day => {
            let entries = read_day(body).map_or(Vec::new(), |day| day.entries);
            entries.into_iter().filter_map(|entry| entry.asked.ok()).map(|asked| *asked).take(1).collect()
        }
        Door::Sweep => read_sweep(body).ok().and_then(|sweep| sweep.cell(sweep.cells() - 1).ok()).into_iter().collect(),
        _ => Vec::new(),
    }
}

/// A refusal says what is wrong, and one of an input where.
fn check_refusal(told: &Value, status: u16, sent: &Value) {
    if status < 400 {
        return;
    }
    for name in ["type", "title", "detail"] {
        assert!(told[name].as_str().is_some_and(|text| !text.is_empty()), "a refusal without {name}: {told}");
    }
    if status == 422 {
        let errors = told["errors"].as_array().map_or(&[][..], Vec::as_slice);
        let text = |error: &Value, name: &str| error[name].as_str().unwrap_or_default().to_string();
        let faults = errors.iter().map(|error| ["pointer", "problem", "remedy"].map(|name| text(error, name)));
        check_told(sent, &faults.collect::<Vec<_>>());
    }
}

/// In JSON a number that is not finite is the null of one that there is not: the report itself is looked at. Names are the
/// client's own.
fn check_report(asked: &Asked, is_new: bool) {
    let report = slowpoint_sim::assess(&asked.case, &AtomicBool::new(false)).expect("nobody stops it");
    let mut text = format!("{report:?}");
    if is_new && planted::is("infinite") {
        text = text.replacen("0.", "NaN, 0.", 1);
    }
    assert_eq!(not_finite(&without_texts(&text)), None);
}
