//! A panic costs the work in which it happens, and nothing else: its place, its threads and what waits behind it go on.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may fail loudly")]

mod support;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Duration;

use slowpoint_server::compute::{Failure, Outcome, Unanswered};
use slowpoint_server::config::Config;
use slowpoint_server::id::ContentId;
use slowpoint_server::jobs::{Count, Doing, Jobs, Tell};
use slowpoint_server::metrics::Metrics;
use slowpoint_server::store::{Claimed, Job, NewJob, Reason, Shelf, Stage, Store};
use support::{Disk, card, check_problem, json_request, new_job, service, service_with, until};

/// With one place, no queue and one thread: each is free again after a panic.
#[tokio::test(flavor = "multi_thread")]
async fn a_computation_that_panics_gives_its_place_back() {
    let config = Config { concurrent: 1, queue: 0, cores: 1, ..Config::default() };
    let service = service_with(config, Disk::default());
    for k in 0..5 {
        let trips = |_: &AtomicBool| -> Outcome { panic!("it trips") };
        let outcome = service.state.compute.run(&k.to_string(), || Ok::<_, ()>(trips)).await;
        assert!(matches!(outcome, Err(Unanswered::Failed(Failure::Failed))), "{outcome:?}");
    }
    assert_eq!(service.post(&card()).await.status, 200);
}

/// How often the work that panics was begun.
static BEGUN: AtomicU64 = AtomicU64::new(0);

fn trips_over_one(
    _: &dyn Store,
    claimed: &Claimed,
    _: &rayon::ThreadPool,
    _: &AtomicBool,
    _: &Tell,
    _: &Count,
) -> Result<Option<Vec<u8>>, Failure> {
    if claimed.id == ContentId::of("test", "bad") {
        BEGUN.fetch_add(1, Ordering::SeqCst);
        panic!("it trips");
    }
    Ok(Some(b"answer".to_vec()))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_that_panics_is_tried_three_times_and_the_next_is_done() {
    let disk = Arc::new(Disk::default());
    let accept = |name: &str, client: &str| {
        let id = ContentId::of("test", name);
        let new = NewJob { client, ..new_job(Shelf::Days, &id, b"{}") };
        disk.store.accept(&new, &|| true).unwrap();
        id
    };
    let (bad, good) = (accept("bad", "one"), accept("good", "one"));
    let config = Config { cores: 1, ..Config::default() };
    let metrics = Arc::new(Metrics::new().unwrap());
    let doing = Doing { perform: trips_over_one, most_core_time: |_, _, _| None };
    let jobs = Arc::new(Jobs::new(&config, Arc::clone(&disk) as Arc<dyn Store>, doing, metrics));
    tokio::spawn(Arc::clone(&jobs).run());
    until(|| disk.count("SELECT count(*) FROM jobs WHERE open") == 0).await;
    jobs.stop();
    let stage = |id: &ContentId| disk.store.job(id).unwrap().map(|job: Job| job.stage);
    assert_eq!(BEGUN.load(Ordering::SeqCst), 3);
    assert_eq!(stage(&bad), Some(Stage::Failed(Reason::KeepsFailing)));
    assert_eq!(stage(&good), Some(Stage::Successful));
}

/// Whatever asks it panics for a while, the worker of jobs as well.
#[tokio::test(flavor = "multi_thread")]
async fn a_store_that_panics_costs_no_job() {
    let service = service();
    let mut request =
        json_request("/v1/sweeps", serde_json::json!({"base": card(), "axes": {"tilts": [0, 3, 6]}}).to_string());
    request.headers_mut().insert("prefer", "respond-async".parse().unwrap());
    let job = service.send(request).await;
    assert_eq!(job.status, 201, "{}", job.text());
    service.store.panics.store(true, Ordering::SeqCst);
    for _ in 0..3 {
        check_problem(&service.get(job.header("location")).await, 500, "internal");
        tokio::time::sleep(Duration::from_millis(500)).await;
    }
    service.store.panics.store(false, Ordering::SeqCst);
    until(|| service.store.answers() == 1).await;
    assert_eq!(service.get(job.header("location")).await.json()["status"], "successful");
    assert_eq!(service.post(&card()).await.status, 200);
}
