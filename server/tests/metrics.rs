//! `/metrics` after known requests, and readiness that says no in time.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use axum::body::Body;
use axum::http::Method;
use futures_util::StreamExt;
use serde_json::json;
use slowpoint_server::config::Config;
use slowpoint_server::id::ContentId;
use slowpoint_server::store::{Shelf, Store};
use slowpoint_server::{State, app};
use support::{Disk, Service, card, check_problem, json_request, new_job, request, service, service_with, until};
use tower::ServiceExt;

/// Every sample of a page: its name with labels, as written, and its value.
type Page = BTreeMap<String, f64>;

async fn page(service: &Service) -> Page {
    let reply = service.get("/metrics").await;
    assert_eq!(reply.status, 200);
    assert_eq!(reply.header("content-type"), "text/plain; version=0.0.4; charset=utf-8");
    assert_eq!(reply.header("cache-control"), "no-store");
    let text = reply.text();
    let samples = text.lines().filter(|line| !line.starts_with('#'));
    let page: Page = samples
        .map(|line| line.rsplit_once(' ').unwrap())
        .map(|(name, value)| (name.to_string(), value.parse().unwrap()))
        .collect();
    assert_eq!(page.len(), text.lines().filter(|line| !line.starts_with('#')).count(), "a sample stands there twice");
    page
}

fn check(page: &Page, expected: &[(&str, f64)]) {
    for (name, value) in expected {
        assert_eq!(page.get(*name), Some(value), "{name}: {page:#?}");
    }
}

fn sweep() -> serde_json::Value {
    json!({"base": card(), "axes": {"tilts": [0, 3]}})
}

#[tokio::test(flavor = "multi_thread")]
async fn counts_what_was_done() {
    let service = service();
    check(
        &page(&service).await,
        &[
            (concat!("slowpoint_build_info{version=\"", env!("CARGO_PKG_VERSION"), "\"}"), 1.0),
            ("slowpoint_http_requests_in_flight", 1.0),
            ("slowpoint_sheds_total{reason=\"overloaded\"}", 0.0),
            ("slowpoint_flights_total{kind=\"assessments\",mode=\"inline\"}", 0.0),
            ("slowpoint_jobs_ended_total{kind=\"days\",outcome=\"failed\",reason=\"too-long\"}", 0.0),
        ],
    );
    let mut asked = card();
    asked["drivers"] = json!(256);
    let posted = service.post(&asked).await;
    let place = posted.header("location").to_string();
    assert_eq!(service.post(&asked).await.status, 200);
    assert_eq!(service.get(&place).await.status, 200);
    assert_eq!(service.get(&format!("{place}/flights/5")).await.status, 200);
    assert_eq!(service.get(&format!("{place}/flights.csv")).await.status, 200);
    let day = json!({
        "entries": [{"name": "a", "card": card()["card"], "delays": [5]}, {"name": "b", "card": card()["card"], "delays": [6]}],
        "launch": card()["launch"], "wind": card()["wind"], "flights": 128,
    });
    assert_eq!(service.send(json_request("/v1/days", day.to_string())).await.status, 200);
    let mut as_job = json_request("/v1/sweeps", sweep().to_string());
    as_job.headers_mut().insert("prefer", "respond-async, wait=60".parse().unwrap());
    assert_eq!(service.send(as_job).await.status, 200);
    let page = page(&service).await;
    check(
        &page,
        &[
            ("slowpoint_http_requests_total{method=\"POST\",route=\"/v1/assessments\",status=\"200\"}", 2.0),
            ("slowpoint_http_requests_total{method=\"GET\",route=\"/v1/assessments/{id}\",status=\"200\"}", 1.0),
            ("slowpoint_http_requests_total{method=\"GET\",route=\"/metrics\",status=\"200\"}", 1.0),
            ("slowpoint_http_request_duration_seconds_count{route=\"/v1/assessments\"}", 2.0),
            ("slowpoint_http_requests_left_total", 0.0),
            ("slowpoint_http_requests_in_flight", 1.0),
            // Of the drivers each base flight is flown fifteen times (README, "What drives it").
            ("slowpoint_flights_total{kind=\"assessments\",mode=\"inline\"}", 128.0 + 15.0 * 256.0),
            ("slowpoint_flights_total{kind=\"days\",mode=\"inline\"}", 256.0),
            ("slowpoint_flights_total{kind=\"sweeps\",mode=\"job\"}", 256.0),
            ("slowpoint_flights_total{kind=\"sweeps\",mode=\"inline\"}", 0.0),
            ("slowpoint_flights_total{kind=\"replays\",mode=\"inline\"}", 129.0),
            // The assessment, the day, one flight and the table.
            ("slowpoint_computations_begun_total", 4.0),
            ("slowpoint_computations_stopped_total", 0.0),
            ("slowpoint_computation_wait_seconds_count", 4.0),
            ("slowpoint_computations{state=\"running\"}", 0.0),
            ("slowpoint_computations{state=\"waiting\"}", 0.0),
            ("slowpoint_job_turns_total", 1.0),
            ("slowpoint_jobs_ended_total{kind=\"sweeps\",outcome=\"successful\",reason=\"\"}", 1.0),
            ("slowpoint_jobs{stage=\"accepted\"}", 0.0),
            ("slowpoint_jobs_oldest_waiting_seconds", 0.0),
            ("slowpoint_event_streams", 0.0),
            ("slowpoint_store_up", 1.0),
        ],
    );
    assert!(page["slowpoint_store_size_bytes"] >= 4096.0 && page["slowpoint_disk_available_bytes"] > 0.0, "{page:#?}");
    assert!(page["slowpoint_store_unused_bytes"] < page["slowpoint_store_size_bytes"], "{page:#?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn counts_what_was_turned_away_and_who_left() {
    let service = service_with(Config { concurrent: 1, queue: 1, ..Config::default() }, Disk::default());
    let mut long = card();
    long["flights"] = json!(200_000);
    let begin = |seed: u64| {
        let (app, mut card) = (service.app.clone(), long.clone());
        card["seed"] = json!(seed);
        tokio::spawn(async move { app.oneshot(support::assessment(&card)).await })
    };
    let first = begin(1);
    until(|| service.state.compute.begun() == 1).await;
    let second = begin(2);
    until(|| service.state.metrics.waiting.get() == 1).await;
    check_problem(&service.post(&card()).await, 503, "overloaded");
    let sheds = "slowpoint_sheds_total{reason=\"overloaded\"}";
    check(
        &page(&service).await,
        &[
            (sheds, 1.0),
            ("slowpoint_http_requests_in_flight", 3.0),
            ("slowpoint_computations{state=\"running\"}", 1.0),
            ("slowpoint_computations{state=\"waiting\"}", 1.0),
            ("slowpoint_http_requests_total{method=\"POST\",route=\"/v1/assessments\",status=\"503\"}", 1.0),
        ],
    );
    first.abort();
    second.abort();
    until(|| service.state.compute.stopped() == 2).await;
    until(|| service.state.metrics.running.get() == 0).await;
    check(
        &page(&service).await,
        &[
            (sheds, 1.0),
            ("slowpoint_http_requests_left_total", 2.0),
            ("slowpoint_computations_stopped_total", 2.0),
            ("slowpoint_computations{state=\"waiting\"}", 0.0),
            ("slowpoint_http_requests_in_flight", 1.0),
        ],
    );
}

/// Jobs that wait, their streams, and every way in which they end.
#[tokio::test(flavor = "multi_thread")]
async fn counts_jobs_by_where_they_stand_and_how_they_end() {
    let disk = Disk::default();
    let new = |name: &str| ContentId::of("test", name);
    for name in ["a", "b"] {
        let id = new(name);
        let job = new_job(Shelf::Days, &id, b"{}");
        disk.store.accept(&job, &|| true).unwrap();
    }
    disk.sql("UPDATE jobs SET created_ms = created_ms - 3600000");
    disk.sql("UPDATE jobs SET owner = 'another', lease_ends_ms = 9000000000000, stage = 'running' WHERE number = 1");
    // Without a worker: the other job waits.
    let store = Arc::new(disk);
    let state = State::new(Config::default(), Arc::clone(&store) as Arc<dyn Store>).unwrap();
    let service = Service { app: app(Arc::clone(&state)), state, store };
    let waiting = page(&service).await;
    check(&waiting, &[("slowpoint_jobs{stage=\"accepted\"}", 1.0), ("slowpoint_jobs{stage=\"running\"}", 1.0)]);
    let age = waiting["slowpoint_jobs_oldest_waiting_seconds"];
    assert!((3600.0..3700.0).contains(&age), "{age}");

    // The same, with a worker: it has no input that reads, was tried too often, or is given up.
    let disk = Disk::default();
    for name in ["engine", "tries", "damaged"] {
        let id = new(name);
        let job = new_job(Shelf::Days, &id, b"{}");
        disk.store.accept(&job, &|| true).unwrap();
    }
    disk.sql("UPDATE jobs SET fell = 0, falls = 3 WHERE number = 2; UPDATE jobs SET input = x'00' WHERE number = 3");
    let service = service_with(Config::default(), disk);
    until(|| service.store.count("SELECT count(*) FROM jobs WHERE open") == 0).await;
    let mut long = sweep();
    long["base"]["flights"] = json!(100_000);
    let mut as_job = json_request("/v1/sweeps", long.to_string());
    as_job.headers_mut().insert("prefer", "respond-async".parse().unwrap());
    let job = service.send(as_job).await.header("location").to_string();
    let events = request(Method::GET, &format!("{job}/events"), Body::empty());
    let open = service.app.clone().oneshot(events).await.unwrap();
    check(&page(&service).await, &[("slowpoint_event_streams", 1.0)]);
    for _ in 0..2 {
        assert_eq!(service.send(request(Method::DELETE, &job, Body::empty())).await.json()["status"], "dismissed");
    }
    let _: Vec<_> = open.into_body().into_data_stream().collect().await;
    let ended = |kind: &str, outcome: &str, reason: &str| {
        format!("slowpoint_jobs_ended_total{{kind=\"{kind}\",outcome=\"{outcome}\",reason=\"{reason}\"}}")
    };
    let page = page(&service).await;
    for name in [
        ended("days", "failed", "engine-changed"),
        ended("days", "failed", "keeps-failing"),
        ended("days", "failed", "damaged"),
        ended("sweeps", "dismissed", ""),
    ] {
        check(&page, &[(&name, 1.0)]);
    }
    let all: f64 = page.iter().filter(|(name, _)| name.starts_with("slowpoint_jobs_ended_total")).map(|(_, n)| n).sum();
    assert_eq!(all, 4.0, "{page:#?}");
    check(&page, &[("slowpoint_event_streams", 0.0)]);
}

/// Whatever is sent, there are no more samples than routes, methods and statuses make, and none repeats what was sent.
#[tokio::test]
async fn labels_are_bounded() {
    let service = service();
    let names = |page: Page| page.into_keys().collect::<BTreeSet<_>>();
    let send = async |k: usize| {
        let id = format!("{:032x}", 0xc0ffee + k);
        for path in [format!("/v1/assessments/{id}"), format!("/nowhere/{id}"), format!("/v1/jobs/{id}?secret={id}")] {
            service.get(&path).await;
        }
        let method = Method::from_bytes(format!("METHOD{k}").as_bytes()).unwrap();
        service.send(request(method, "/v1/days", Body::empty())).await;
        let mut asked = request(Method::GET, "/livez", Body::empty());
        asked.headers_mut().insert("x-request-id", id.parse().unwrap());
        asked.headers_mut().insert("authorization", format!("Bearer {id}").parse().unwrap());
        service.send(asked).await;
    };
    page(&service).await;
    send(0).await;
    let few = names(page(&service).await);
    for k in 1..50 {
        send(k).await;
    }
    let many = names(page(&service).await);
    assert_eq!(few, many);
    assert!(many.iter().all(|name| !name.contains("c0ffee")), "{many:#?}");
    let page = page(&service).await;
    check(
        &page,
        &[
            ("slowpoint_http_requests_total{method=\"GET\",route=\"none\",status=\"404\"}", 50.0),
            ("slowpoint_http_requests_total{method=\"other\",route=\"/v1/days\",status=\"405\"}", 50.0),
            ("slowpoint_http_requests_total{method=\"GET\",route=\"/v1/assessments/{id}\",status=\"404\"}", 50.0),
        ],
    );
}

#[tokio::test]
async fn services_do_not_share_their_counts() {
    let (one, other) = (service(), service());
    one.get("/livez").await;
    let name = "slowpoint_http_requests_total{method=\"GET\",route=\"/livez\",status=\"200\"}";
    check(&page(&one).await, &[(name, 1.0)]);
    assert_eq!(page(&other).await.get(name), None);
}

#[tokio::test]
async fn a_store_that_fails_takes_its_own_figures_only() {
    let service = service();
    service.store.broken.store(true, Ordering::SeqCst);
    check_problem(&service.get("/readyz").await, 503, "storage-failed");
    check_problem(&service.post(&card()).await, 503, "storage-failed");
    let page = page(&service).await;
    check(
        &page,
        &[
            ("slowpoint_store_up", 0.0),
            // Readiness turns nobody away.
            ("slowpoint_sheds_total{reason=\"storage-failed\"}", 1.0),
            ("slowpoint_http_requests_total{method=\"GET\",route=\"/readyz\",status=\"503\"}", 1.0),
        ],
    );
    assert!(
        !page.contains_key("slowpoint_store_size_bytes") && !page.contains_key("slowpoint_jobs_oldest_waiting_seconds")
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_store_that_hangs_keeps_no_watcher_waiting() {
    let service = service();
    assert_eq!(service.get("/readyz").await.status, 200);
    service.store.hangs.store(true, Ordering::SeqCst);
    // What was written a moment ago holds so long.
    tokio::time::sleep(Duration::from_millis(600)).await;
    let begun = Instant::now();
    let asked = ["/readyz", "/readyz", "/readyz"].map(|path| service.get(path));
    for reply in futures_util::future::join_all(asked).await {
        check_problem(&reply, 503, "storage-failed");
    }
    check(&page(&service).await, &[("slowpoint_store_up", 0.0)]);
    assert_eq!(service.get("/livez").await.status, 200);
    let took = begun.elapsed();
    service.store.hangs.store(false, Ordering::SeqCst);
    assert!(took < Duration::from_secs(20), "{took:?}");
    assert_eq!(service.get("/readyz").await.status, 200, "it is ready again by itself");
}

#[tokio::test(flavor = "multi_thread")]
async fn whoever_asks_again_and_again_wears_no_disk_out() {
    let service = service();
    let writes = || service.store.count("SELECT count FROM probe");
    let before = writes();
    let begun = Instant::now();
    for _ in 0..20 {
        let asked = ["/readyz"; 10].map(|path| service.get(path));
        for reply in futures_util::future::join_all(asked).await {
            assert_eq!(reply.status, 200);
        }
    }
    // One each half a second, and the first.
    let most = begun.elapsed().as_millis() as i64 / 500 + 1;
    assert!((1..=most).contains(&(writes() - before)), "{} of {most}", writes() - before);
}

#[tokio::test]
async fn a_draining_server_is_not_ready_and_still_answers() {
    let service = service();
    service.state.draining.store(true, Ordering::SeqCst);
    check_problem(&service.get("/readyz").await, 503, "stopping");
    assert_eq!(service.get("/livez").await.status, 200);
    assert_eq!(service.post(&card()).await.status, 200);
    check(&page(&service).await, &[("slowpoint_sheds_total{reason=\"stopping\"}", 0.0)]);
}
