//! Every place is taken: what would be refused is refused before it is read, what can be answered is answered.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use std::time::{Duration, Instant};

use axum::http::{Method, Request, StatusCode};
use serde_json::json;
use slowpoint_server::config::Config;
use support::{Disk, Reply, Service, assessment, card, check_problem, json_request, request, service_with, until};

/// Takes the only place of a service; what takes it.
async fn taken(service: &Service) -> tokio::task::JoinHandle<()> {
    let (app, mut long, before) = (service.app.clone(), card(), service.state.compute.begun());
    long["flights"] = json!(200_000);
    long["seed"] = json!(999);
    let flying = tokio::spawn(async move { drop(tower::ServiceExt::oneshot(app, assessment(&long)).await) });
    until(|| service.state.compute.begun() > before).await;
    flying
}

/// What is no JSON, which only whoever reads it can tell: sent again and again behind a card that is read in vain, until it is
/// refused unread.
async fn refused_unread(service: &Service) -> Reply {
    let begun = Instant::now();
    loop {
        check_problem(&service.post(&card()).await, 503, "overloaded");
        let reply = service.send(json_request("/v1/assessments", "{")).await;
        if reply.status != StatusCode::BAD_REQUEST {
            return reply;
        }
        assert!(begun.elapsed() < Duration::from_secs(20), "it is read each time");
    }
}

async fn shed(service: &Service, reason: &str) -> u64 {
    let page = service.get("/metrics").await.text();
    let name = format!("slowpoint_sheds_total{{reason=\"{reason}\"}} ");
    page.lines().find_map(|line| line.strip_prefix(&name)).unwrap().parse().unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn what_would_be_refused_is_not_read() {
    let service = service_with(Config { concurrent: 1, queue: 0, ..Config::default() }, Disk::default());
    let flying = taken(&service).await;
    let reply = refused_unread(&service).await;
    let problem = check_problem(&reply, 503, "overloaded");
    assert_eq!(problem["limit"]["name"], "queue");
    assert_eq!(reply.header("retry-after"), "10");
    assert!(shed(&service, "overloaded-unread").await >= 1, "counted by its own reason");
    assert!(shed(&service, "overloaded").await >= 1, "the one that was read in vain");
    // A place that becomes free opens at once, whatever was refused before.
    flying.abort();
    until(|| service.state.compute.stopped() == 1).await;
    assert_eq!(service.post(&card()).await.status, 200);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_takes_no_place_is_answered_all_the_same() {
    let service = service_with(Config { concurrent: 1, queue: 0, ..Config::default() }, Disk::default());
    let mut known = card();
    known["seed"] = json!(5);
    let stored = service.post(&known).await;
    let flying = taken(&service).await;
    refused_unread(&service).await;
    for path in ["/livez", stored.header("location")] {
        assert_eq!(service.get(path).await.status, 200, "{path}");
    }
    let priced = service.send(json_request("/v1/assessments?dry_run=true", card().to_string())).await;
    assert_eq!(priced.status, 200, "{}", priced.text());
    let mut as_job = assessment(&card());
    as_job.headers_mut().insert("prefer", "respond-async".parse().unwrap());
    let accepted = service.send(as_job).await;
    assert_eq!(accepted.status, 201, "jobs have places of their own: {}", accepted.text());
    let wrong = service.send(request(Method::PUT, "/v1/assessments", "{".into())).await;
    check_problem(&wrong, 405, "method-not-allowed");
    flying.abort();
}

/// Jobs that are full say so before more of them are read.
#[tokio::test(flavor = "multi_thread")]
async fn jobs_that_would_be_refused_are_not_read() {
    let config = Config { jobs: 1, client_jobs: 9, ..Config::default() };
    let service = service_with(config, Disk::default());
    let job = |body: String| {
        let mut request: Request<_> = json_request("/v1/assessments", body);
        request.headers_mut().insert("prefer", "respond-async".parse().unwrap());
        request
    };
    let seeded = |seed: u64| {
        let mut card = card();
        card["flights"] = json!(500_000);
        card["seed"] = json!(seed);
        card.to_string()
    };
    assert_eq!(service.send(job(seeded(1))).await.status, 201);
    let begun = Instant::now();
    let unread = loop {
        check_problem(&service.send(job(seeded(2))).await, 503, "overloaded");
        let reply = service.send(job("{".into())).await;
        if reply.status != StatusCode::BAD_REQUEST {
            break reply;
        }
        assert!(begun.elapsed() < Duration::from_secs(20), "it is read each time");
    };
    check_problem(&unread, 503, "overloaded");
    assert_eq!(service.post(&card()).await.status, 200, "computations have places of their own");
    service.state.jobs.stop();
}
