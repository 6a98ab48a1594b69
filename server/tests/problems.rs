//! Every refusal is a problem after RFC 9457, also those that a library would have made by itself.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use std::sync::atomic::Ordering;

use axum::body::Body;
use axum::http::{Method, Request};
use serde_json::json;
use slowpoint_server::config::Config;
use slowpoint_server::id::ContentId;
use slowpoint_server::problem::Kind;
use slowpoint_server::store::Shelf;
use slowpoint_server::store::Store;
use support::{Disk, assessment, card, check_problem, json_request, request, service, service_with, until};

const POST: &str = "/v1/assessments";
const NOBODY: &str = "00000000000000000000000000000000";

#[tokio::test]
async fn unknown_paths() {
    let service = service();
    for path in ["/v1", "/v1/assessments/", "/v1/assessments/x/y", "/livez/", "/docs/none.js", "/%00", "/problems/none"]
    {
        check_problem(&service.get(path).await, 404, "unknown-path");
    }
}

#[tokio::test]
async fn wrong_methods_name_the_right_ones() {
    let service = service();
    let id = format!("{POST}/{NOBODY}");
    let rows =
        [(Method::DELETE, POST, "POST"), (Method::PUT, id.as_str(), "GET,HEAD"), (Method::POST, "/livez", "GET,HEAD")];
    for (method, path, allow) in rows {
        let reply = service.send(request(method, path, Body::empty())).await;
        check_problem(&reply, 405, "method-not-allowed");
        assert_eq!(reply.header("allow"), allow);
    }
}

#[tokio::test]
async fn media_types() {
    let service = service();
    let body = card().to_string();
    for (name, value) in [
        ("x-none", "no content type"),
        ("content-type", "text/plain"),
        ("content-type", "application/x-www-form-urlencoded"),
        ("content-type", "nonsense"),
    ] {
        let request = Request::post(POST).header(name, value).body(Body::from(body.clone())).unwrap();
        let problem = check_problem(&service.send(request).await, 415, "unsupported-media-type");
        assert!(problem["detail"].as_str().unwrap().contains("application/json"), "{problem}");
    }
    let mut zipped = json_request(POST, body.clone());
    zipped.headers_mut().insert("content-encoding", "gzip".parse().unwrap());
    check_problem(&service.send(zipped).await, 415, "unsupported-media-type");
    for fine in ["application/json; charset=utf-8", "Application/JSON", "application/vnd.flight-card+json"] {
        let request =
            Request::post(format!("{POST}?dry_run=true")).header("content-type", fine).body(Body::from(body.clone()));
        assert_eq!(service.send(request.unwrap()).await.status, 200, "{fine}");
    }
}

#[tokio::test]
async fn large_bodies_name_the_limit() {
    let service = service();
    let reply = service.send(json_request(POST, vec![b' '; 1024 * 1024 + 1])).await;
    let problem = check_problem(&reply, 413, "body-too-large");
    assert_eq!(problem["limit"], json!({"name": "body_limit", "value": 1024 * 1024, "unit": "bytes"}));
}

#[tokio::test]
async fn long_heads_name_the_limit() {
    let service = service();
    let problem = check_problem(&service.get(&format!("/{}", "x".repeat(5000))).await, 414, "uri-too-long");
    assert_eq!(problem["limit"]["name"], "uri_limit");
    let mut large = request(Method::GET, "/livez", Body::empty());
    large.headers_mut().insert("x-much", "x".repeat(20_000).parse().unwrap());
    let problem = check_problem(&service.send(large).await, 431, "head-too-large");
    assert_eq!(problem["limit"]["name"], "head_limit");
}

#[tokio::test]
async fn a_declared_length_over_the_limit_is_refused_unread() {
    let service = service();
    let mut request = json_request(POST, "{}");
    request.headers_mut().insert("content-length", "99999999".parse().unwrap());
    check_problem(&service.send(request).await, 413, "body-too-large");
}

#[tokio::test]
async fn slow_bodies() {
    let service = service_with(Config { read_timeout_s: 0, ..Config::default() }, Disk::default());
    let endless = Body::new(Endless);
    let problem = check_problem(&service.send(json_request(POST, endless)).await, 408, "body-timeout");
    assert_eq!(problem["limit"]["name"], "read_timeout_s");
}

/// A body of which nothing ever arrives.
struct Endless;

impl hyper::body::Body for Endless {
    type Data = axum::body::Bytes;
    type Error = std::convert::Infallible;

    fn poll_frame(
        self: std::pin::Pin<&mut Self>,
        _: &mut std::task::Context<'_>,
    ) -> std::task::Poll<Option<Result<hyper::body::Frame<Self::Data>, Self::Error>>> {
        std::task::Poll::Pending
    }
}

#[tokio::test]
async fn malformed_json_says_where() {
    let service = service();
    for body in ["", "{", "{\"card\": }", "nonsense", "{} {}", "{\"a\": NaN}"] {
        let problem = check_problem(&service.send(json_request(POST, body)).await, 400, "malformed-json");
        let detail = problem["detail"].as_str().unwrap();
        assert!(detail.starts_with("Line 1, column "), "{body}: {detail}");
    }
}

#[tokio::test]
async fn deep_nesting_names_the_limit() {
    let service = service();
    let body = format!("{}{}", "[".repeat(33), "]".repeat(33));
    let problem = check_problem(&service.send(json_request(POST, body)).await, 400, "too-deeply-nested");
    assert_eq!(problem["limit"], json!({"name": "nesting_limit", "value": 32, "unit": "levels"}));
    let body = format!("{}{}", "[".repeat(32), "]".repeat(32));
    check_problem(&service.send(json_request(POST, body)).await, 422, "invalid-input");
    let bomb = "[".repeat(1_000_000);
    check_problem(&service.send(json_request(POST, bomb)).await, 400, "too-deeply-nested");
}

#[tokio::test]
async fn all_faults_come_at_once() {
    let service = service();
    let mut sent = card();
    sent["card"]["airframe"]["mass"] = json!("620 potatoes");
    sent["card"]["airframe"]["lenght"] = json!(1);
    sent["launch"] = json!({});
    sent["delays"] = json!([-1]);
    let problem = check_problem(&service.post(&sent).await, 422, "invalid-input");
    let errors = problem["errors"].as_array().unwrap();
    let pointers: Vec<_> = errors.iter().map(|e| e["pointer"].as_str().unwrap()).collect();
    for pointer in ["/card/airframe/mass", "/card/airframe/lenght", "/launch/rail_length", "/delays/0"] {
        assert!(pointers.contains(&pointer), "{pointer} not in {pointers:?}");
    }
    for error in errors {
        assert!(error["problem"].is_string() && error["remedy"].is_string(), "{error}");
    }
    let of = |pointer: &str| errors.iter().find(|e| e["pointer"] == pointer).unwrap();
    assert_eq!(of("/card/airframe/mass")["sent"], "620 potatoes");
    assert!(of("/card/airframe/lenght").to_string().contains("length"), "{errors:?}");
}

#[tokio::test]
async fn more_faults_than_are_listed_are_counted() {
    let mut sent = card();
    for k in 0..150 {
        sent[format!("x{k}")] = json!(1);
    }
    let problem = check_problem(&service().post(&sent).await, 422, "invalid-input");
    assert_eq!(problem["detail"], "150 faults; the first 100 are listed under errors with their remedies.");
}

#[tokio::test]
async fn queries() {
    let service = service();
    for query in ["dry_run=maybe", "dry_run", "dryrun=true", "dry_run=true&dry_run=true"] {
        let reply = service.send(json_request(&format!("{POST}?{query}"), card().to_string())).await;
        check_problem(&reply, 400, "invalid-query");
    }
}

#[tokio::test]
async fn ids() {
    let service = service();
    for id in ["x", "..%2f..%2fetc", &NOBODY[1..], "0000000000000000000000000000000G", "%ff"] {
        check_problem(&service.get(&format!("{POST}/{id}")).await, 400, "invalid-path");
        check_problem(&service.get(&format!("{POST}/{id}/flights/0")).await, 400, "invalid-path");
    }
    check_problem(&service.get(&format!("{POST}/{NOBODY}")).await, 404, "unknown-assessment");
    check_problem(&service.get(&format!("{POST}/{NOBODY}/flights/0")).await, 404, "unknown-assessment");
}

#[tokio::test]
async fn flights_out_of_range_name_the_number() {
    let service = service();
    let place = service.post(&card()).await.header("location").to_string();
    let problem = check_problem(&service.get(&format!("{place}/flights/128")).await, 404, "unknown-flight");
    assert!(problem["detail"].as_str().unwrap().contains("128 flights"), "{problem}");
    for index in ["-1", "+5", "1.5", "x", "99999999999999999999999"] {
        check_problem(&service.get(&format!("{place}/flights/{index}")).await, 400, "invalid-path");
    }
}

#[tokio::test]
async fn too_many_flights_name_the_limit() {
    let service = service_with(Config { job_flights: 100, ..Config::default() }, Disk::default());
    let problem = check_problem(&service.post(&card()).await, 422, "too-many-flights");
    assert_eq!(problem["limit"], json!({"name": "job_flights", "value": 100, "unit": "flights"}));
    assert_eq!(problem["errors"][0]["pointer"], "/flights");
    assert_eq!(service.state.compute.begun(), 0);
}

#[tokio::test]
async fn the_most_flights_until_narrow_enough_name_the_limit() {
    let service = service_with(Config { job_flights: 3999, ..Config::default() }, Disk::default());
    let mut sent = card();
    sent["flights"] = json!(null);
    sent["until"] = json!({"half_width": "10 %", "within": 4000});
    let problem = check_problem(&service.post(&sent).await, 422, "too-many-flights");
    assert_eq!(problem["errors"][0]["pointer"], "/until/within");
    assert_eq!(problem["errors"][0]["sent"], 4000);
    assert_eq!(service.state.compute.begun(), 0);
}

#[tokio::test]
async fn the_flights_for_the_drivers_count_towards_the_limit() {
    let service = service_with(Config { job_flights: 128 + 15 * 256 - 1, ..Config::default() }, Disk::default());
    let mut sent = card();
    sent["drivers"] = json!(256);
    let problem = check_problem(&service.post(&sent).await, 422, "too-many-flights");
    assert_eq!(problem["errors"][0]["pointer"], "/drivers");
    assert_eq!(problem["errors"][0]["sent"], 256);
    assert!(problem["errors"][0]["problem"].as_str().unwrap().contains("3840 for the drivers"), "{problem}");
    sent["drivers"] = json!(null);
    assert_eq!(service.post(&sent).await.status, 200);
}

#[tokio::test]
async fn an_older_engine_is_served_but_not_flown() {
    let service = service();
    let canonical = slowpoint_server::wire::read(card().to_string().as_bytes()).unwrap().canonical();
    let old = ContentId::of("an older engine", &canonical);
    service.store.put(Shelf::Assessments, &old, canonical.as_bytes(), b"{\"old\": true}").unwrap();
    let place = format!("{POST}/{old}");
    assert_eq!(service.get(&place).await.text(), "{\"old\": true}");
    let now = service.post(&card()).await.json()["id"].as_str().unwrap().to_string();
    let problem = check_problem(&service.get(&format!("{place}/flights/0")).await, 410, "engine-changed");
    assert!(problem["detail"].as_str().unwrap().contains(&now), "{problem}");
    service.store.damage_answers();
    check_problem(&service.get(&place).await, 410, "engine-changed");
}

#[tokio::test]
async fn a_broken_store_gives_nothing_away() {
    let service = service_with(Config::default(), Disk { broken: true.into(), ..Disk::default() });
    for reply in
        [service.post(&card()).await, service.get("/readyz").await, service.get(&format!("{POST}/{NOBODY}")).await]
    {
        check_problem(&reply, 503, "storage-failed");
        assert!(!reply.header("retry-after").is_empty());
        assert!(!reply.text().contains("secret"), "{}", reply.text());
    }
}

#[tokio::test]
async fn a_panic_gives_nothing_away() {
    let service = service();
    service.store.panics.store(true, Ordering::SeqCst);
    for reply in [service.post(&card()).await, service.get("/readyz").await] {
        check_problem(&reply, 500, "internal");
        assert!(!reply.text().contains("secret"), "{}", reply.text());
    }
}

#[tokio::test]
async fn overload_says_when_to_come_back() {
    let config = Config { concurrent: 1, queue: 0, ..Config::default() };
    let service = service_with(config, Disk::default());
    let mut long = card();
    long["flights"] = json!(200_000);
    let running = tokio::spawn({
        let app = service.app.clone();
        async move { tower::ServiceExt::oneshot(app, assessment(&long)).await }
    });
    until(|| service.state.compute.begun() == 1).await;
    let reply = service.post(&card()).await;
    let problem = check_problem(&reply, 503, "overloaded");
    assert_eq!(problem["limit"]["name"], "queue");
    assert_eq!(reply.header("retry-after"), "10");
    for cheap in ["/livez", "/readyz", "/openapi.json"] {
        assert_eq!(service.get(cheap).await.status, 200, "{cheap} stays fast");
    }
    running.abort();
}

#[tokio::test]
async fn a_queue_that_does_not_move_is_overload() {
    let config = Config { concurrent: 1, queue: 4, queue_timeout_s: 0, ..Config::default() };
    let service = service_with(config, Disk::default());
    let mut long = card();
    long["flights"] = json!(200_000);
    let running = tokio::spawn({
        let app = service.app.clone();
        async move { tower::ServiceExt::oneshot(app, assessment(&long)).await }
    });
    until(|| service.state.compute.begun() == 1).await;
    let problem = check_problem(&service.post(&card()).await, 503, "overloaded");
    assert_eq!(problem["limit"]["name"], "queue_timeout_s");
    running.abort();
}

#[tokio::test]
async fn a_computation_that_takes_too_long_is_stopped() {
    let service = service_with(Config { compute_limit_s: 0, ..Config::default() }, Disk::default());
    let mut long = card();
    long["flights"] = json!(200_000);
    let problem = check_problem(&service.post(&long).await, 422, "compute-limit");
    assert_eq!(problem["limit"], json!({"name": "compute_limit_s", "value": 0, "unit": "s"}));
    assert!(problem["detail"].as_str().unwrap().contains("fewer flights or fewer delays"), "{problem}");
    assert_eq!(service.store.answers(), 0, "nothing partial is stored");
}

#[tokio::test]
async fn a_stopping_server_says_so() {
    let service = service();
    service.state.compute.stop_all();
    let reply = service.post(&card()).await;
    check_problem(&reply, 503, "stopping");
    assert_eq!(reply.header("retry-after"), "10");
}

#[tokio::test]
async fn every_kind_explains_itself() {
    let service = service();
    for kind in Kind::ALL {
        let reply = service.get(&format!("/problems/{}", kind.slug())).await;
        assert_eq!(reply.status, 200);
        assert!(reply.text().contains(kind.title()));
    }
}

#[tokio::test]
async fn request_ids_are_kept_when_sound() {
    let service = service();
    for (given, kept) in [("abc-123_X", true), ("with space", false), (&"x".repeat(65), false)] {
        let mut request = request(Method::GET, "/nowhere", Body::empty());
        request.headers_mut().insert("x-request-id", given.parse().unwrap());
        let reply = service.send(request).await;
        check_problem(&reply, 404, "unknown-path");
        assert_eq!(reply.header("x-request-id") == given, kept, "{given}");
    }
}

/// JSON, but no object: each kind, at every place that takes a flight card.
#[tokio::test]
async fn what_is_no_object_is_refused() {
    let service = service();
    for uri in ["/v1/assessments", "/v1/days", "/v1/sweeps", "/v1/weather", "/v1/weather/profile.svg"] {
        for body in ["null", "true", "1", "\"card\"", "[]", "[[[[]]]]"] {
            let reply = service.send(json_request(uri, body)).await;
            assert_eq!(reply.status, 422, "{uri} {body}: {}", reply.text());
            check_problem(&reply, 422, "invalid-input");
        }
    }
}
