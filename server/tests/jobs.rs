//! Jobs: told of piece by piece, gone on with wherever they stood, the same bytes as answered at once.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use axum::body::Body;
use axum::http::{Method, Request};
use futures_util::StreamExt;
use serde_json::{Value, json};
use slowpoint_server::compute::Failure;
use slowpoint_server::config::Config;
use slowpoint_server::id::ContentId;
use slowpoint_server::jobs::{Count, Doing, Jobs, Tell};
use slowpoint_server::metrics::Metrics;
use slowpoint_server::store::{Claimed, Lease, NewJob, Piece, Reason, Shelf, Stage, Store};
use slowpoint_server::{State, app};
use support::{
    Disk, Reply, Service, card, check_described, check_problem, json_request, new_job, request, service, service_with,
    until,
};
use tokio::time::timeout;
use tower::ServiceExt;

fn preferring(uri: &str, body: &Value, preference: &str) -> Request<Body> {
    let mut request = json_request(uri, body.to_string());
    request.headers_mut().insert("prefer", preference.parse().unwrap());
    request
}

fn day() -> Value {
    let entry = |k: u64| json!({"name": format!("flight {k}"), "card": card()["card"], "delays": [4 + k]});
    json!({
        "entries": [entry(0), entry(1), entry(2), {"name": "unread"}],
        "launch": card()["launch"], "wind": card()["wind"], "flights": 128,
    })
}

fn sweep() -> Value {
    json!({"base": card(), "axes": {"tilts": [0, 3, 6]}})
}

/// The same, by a client of its own, as a proxy tells them apart.
fn of(client: &str, mut asked: Request<Body>) -> Request<Body> {
    asked.headers_mut().insert("x-forwarded-for", client.parse().unwrap());
    asked
}

/// Posts it as a job; the job's path.
async fn accepted(service: &Service, uri: &str, body: &Value) -> String {
    let reply = service.send(preferring(uri, body, "respond-async")).await;
    assert_eq!(reply.status, 201, "{}", reply.text());
    assert_eq!(reply.header("preference-applied"), "respond-async");
    check_described("JobStatus", &reply.json());
    reply.header("location").to_string()
}

/// Events as (name, number, data).
type Event = (String, String, Value);

fn events(text: &str) -> Vec<Event> {
    let event = |block: &str| {
        let field = |name: &str| block.lines().find_map(|line| line.strip_prefix(name)).map(str::trim);
        let data = serde_json::from_str(field("data:")?).unwrap();
        Some((field("event:")?.to_string(), field("id:").unwrap_or_default().to_string(), data))
    };
    text.split("\n\n").filter_map(event).collect()
}

/// The whole stream from a number on, up to its end.
async fn stream(service: &Service, job: &str, seen: Option<u64>) -> String {
    let mut asked = request(Method::GET, &format!("{job}/events"), Body::empty());
    if let Some(seen) = seen {
        asked.headers_mut().insert("last-event-id", seen.to_string().parse().unwrap());
    }
    let reply = service.send(asked).await;
    assert_eq!((reply.status.as_u16(), reply.header("content-type")), (200, "text/event-stream"));
    assert_eq!((reply.header("cache-control"), reply.header("x-accel-buffering")), ("no-store", "no"));
    reply.text()
}

#[tokio::test(flavor = "multi_thread")]
async fn events_tell_every_piece_and_the_end() {
    let service = service();
    for (uri, body, schema, pieces) in [
        ("/v1/days", day(), "DayRow", 4),
        ("/v1/sweeps", sweep(), "SweepCell", 3),
        (
            "/v1/assessments",
            {
                let mut long = card();
                long["flights"] = json!(1000);
                long
            },
            "GlimpseAnswer",
            3,
        ),
    ] {
        let job = accepted(&service, uri, &body).await;
        let whole = stream(&service, &job, None).await;
        let told = events(&whole);
        let numbers: Vec<&str> = told.iter().map(|event| &*event.1).collect();
        let counted: Vec<String> = (1..=pieces).map(|number: u64| number.to_string()).chain(["end".into()]).collect();
        assert_eq!(numbers, counted, "{uri}");
        for (name, _, data) in &told[..told.len() - 1] {
            assert_eq!(name, "piece");
            check_described(schema, data);
        }
        let (name, _, status) = &told[told.len() - 1];
        assert_eq!((name.as_str(), &status["status"], &status["progress"]), ("job", &json!("successful"), &json!(100)));
        check_described("JobStatus", status);
        // What was told is what the answer holds.
        let answer = service.get(&format!("{job}/results")).await.json();
        let parts: Vec<&Value> = told.iter().filter(|event| event.0 == "piece").map(|event| &event.2).collect();
        match uri {
            "/v1/days" => assert_eq!(parts, answer["entries"].as_array().unwrap().iter().collect::<Vec<_>>()),
            "/v1/sweeps" => assert_eq!(parts, answer["cells"].as_array().unwrap().iter().collect::<Vec<_>>()),
            _ => {
                let flights: Vec<&Value> = parts.iter().map(|part| &part["flights"]).collect();
                assert_eq!(flights, [&json!(128), &json!(256), &json!(512)]);
                let width = |part: &Value| {
                    let chance = &part["delays"][0]["limits"][0]["unsafe_opening"];
                    chance["upper"].as_f64().unwrap() - chance["lower"].as_f64().unwrap()
                };
                assert!(width(parts[2]) < width(parts[0]), "intervals narrow");
            }
        }
        // From any number on the rest is the same, byte for byte.
        for seen in 0..=pieces {
            let rest = stream(&service, &job, Some(seen)).await;
            assert!(whole.ends_with(&rest) && events(&rest).len() as u64 == pieces - seen + 1, "{uri} {seen}");
        }
        // Who has the end as well need not come again: a browser does unless it is told so (WHATWG HTML, 9.2.3).
        let mut again = request(Method::GET, &format!("{job}/events"), Body::empty());
        again.headers_mut().insert("last-event-id", "end".parse().unwrap());
        let reply = service.send(again).await;
        assert_eq!((reply.status.as_u16(), reply.body.len()), (204, 0), "{uri}");
        // Whoever has more than there is, or pieces that are forgotten, is told the end all the same.
        service.store.sql("DELETE FROM pieces");
        for seen in [0, 2, u64::MAX] {
            assert!(whole.ends_with(&stream(&service, &job, Some(seen)).await), "{uri} {seen}");
        }
    }
}

/// Chances of an answer as flown in stages, against one flown for so many: the last glimpse is not the answer, but the same
/// flights alone give its numbers.
#[tokio::test(flavor = "multi_thread")]
async fn a_glimpse_is_the_answer_of_so_many_flights() {
    let service = service();
    let mut long = card();
    long["flights"] = json!(2000);
    let job = accepted(&service, "/v1/assessments", &long).await;
    let told = events(&stream(&service, &job, None).await);
    let mut some = card();
    some["flights"] = json!(256);
    let alone = service.post(&some).await.json();
    let glimpse = told.iter().find(|event| event.2["flights"] == 256).unwrap();
    for (part, whole) in glimpse.2["delays"].as_array().unwrap().iter().zip(alone["delays"].as_array().unwrap()) {
        assert_eq!(part["label"], whole["label"]);
        for name in ["limit_m_s", "over", "unsafe_opening"] {
            assert_eq!(part["limits"][0][name], whole["limits"][0][name]);
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_is_the_same_bytes_as_answered_at_once() {
    for (uri, body) in [("/v1/assessments", card()), ("/v1/days", day()), ("/v1/sweeps", sweep())] {
        let at_once = service().send(json_request(uri, body.to_string())).await;
        assert_eq!(at_once.status, 200, "{}", at_once.text());
        let waited = service().send(preferring(uri, &body, "respond-async, wait=30")).await;
        assert_eq!((waited.status.as_u16(), &waited.body), (200, &at_once.body), "{uri}");
        assert_eq!(waited.header("location"), at_once.header("location"));
    }
}

/// A sweep whose first settings another process has flown: they are not flown again, and the answer is the same bytes.
#[tokio::test(flavor = "multi_thread")]
async fn a_job_goes_on_where_another_process_left_it() {
    let first = service();
    let job = accepted(&first, "/v1/sweeps", &sweep()).await;
    stream(&first, &job, None).await;
    let id = ContentId::parse(job.rsplit('/').next().unwrap()).unwrap();
    let answer = first.get(&format!("{job}/results")).await.body;
    let pieces: Vec<Piece> = {
        let db = rusqlite::Connection::open(first.store.directory.path().join("slowpoint.db")).unwrap();
        let mut rows = db.prepare("SELECT told, kept, done FROM pieces ORDER BY place").unwrap();
        let piece = |row: &rusqlite::Row| {
            Ok(Piece { told: row.get(0)?, kept: row.get(1)?, done: row.get::<_, i64>(2)?.unsigned_abs() })
        };
        rows.query_map([], piece).unwrap().map(Result::unwrap).collect()
    };
    let input = first.store.get(Shelf::Sweeps, &id).unwrap().unwrap().input.unwrap();
    // The process ended after two settings.
    let disk = Disk::default();
    let lease = Lease { owner: "gone", lasts: std::time::Duration::ZERO };
    let new = new_job(Shelf::Sweeps, &id, &input);
    disk.store.accept(&new, &|| true).unwrap();
    disk.store.claim(lease).unwrap();
    // A mark in what was told shows that it was not made again.
    let marked = String::from_utf8(pieces[0].told.clone()).unwrap().replace("{\"at\":[0]", "{\"at\":[77]");
    let marked = Piece { told: marked.into_bytes(), ..pieces[0].clone() };
    disk.store.add_piece(&id, lease, 0, &marked).unwrap();
    disk.store.add_piece(&id, lease, 1, &pieces[1]).unwrap();
    let second = service_with(Config::default(), disk);
    until(|| second.store.answers() == 1).await;
    let gone_on = second.get(&format!("{job}/results")).await.text();
    assert_eq!(gone_on.replace("{\"at\":[77]", "{\"at\":[0]").as_bytes(), answer);
    assert!(gone_on.contains("{\"at\":[77]"));
}

/// An assessment cannot go on from its pieces: while others have their turn it halts, and ends with the same bytes.
#[tokio::test(flavor = "multi_thread")]
async fn a_long_assessment_gives_way_and_goes_on() {
    // However many there are, it is to take longer than a turn.
    let service = service_with(Config { behind_proxy: true, cores: 1, ..Config::default() }, Disk::default());
    let mut long = card();
    long["flights"] = json!(100_000);
    let first = service.send(of("192.0.2.1", preferring("/v1/assessments", &long, "respond-async"))).await;
    let first = first.header("location").to_string();
    until(|| service.state.jobs.turns() == 1).await;
    let other = service.send(of("192.0.2.2", preferring("/v1/days", &day(), "respond-async"))).await;
    let other = other.header("location").to_string();
    let successful = || service.store.count("SELECT count(*) FROM jobs WHERE stage = 'successful'");
    until(|| successful() == 1).await;
    // The short one ends first, in the second turn.
    assert_eq!(service.get(&other).await.json()["status"], "successful");
    assert_eq!(service.get(&first).await.json()["status"], "running");
    until(|| successful() == 2).await;
    assert!(service.state.jobs.turns() >= 3, "{}", service.state.jobs.turns());
    let told = events(&stream(&service, &first, None).await);
    let flights: Vec<u64> = told.iter().filter_map(|(_, _, data)| data["flights"].as_u64()).collect();
    // The first at once, then whenever they have doubled.
    assert_eq!(flights, [128, 2048, 4096, 8192, 16_384, 32_768, 65_536]);
    let alone = service_with(Config::default(), Disk::default()).post(&long).await;
    assert_eq!(service.get(&format!("{first}/results")).await.body, alone.body);
    service.state.jobs.stop();
}

/// What halts is given up like anything else, and holds nobody up who stops the server.
#[tokio::test(flavor = "multi_thread")]
async fn what_halts_can_be_given_up() {
    let service = service_with(Config { behind_proxy: true, ..Config::default() }, Disk::default());
    let mut jobs = Vec::new();
    for client in ["192.0.2.1", "192.0.2.2"] {
        let mut long = card();
        long["flights"] = json!(1_000_000);
        long["note"] = json!(client);
        long["seed"] = json!(jobs.len());
        let job = service.send(of(client, preferring("/v1/assessments", &long, "respond-async"))).await;
        assert_eq!(job.status, 201, "{}", job.text());
        jobs.push(job.header("location").to_string());
    }
    // In the second turn the first halts.
    until(|| service.state.jobs.turns() == 2).await;
    let given_up = service.send(request(Method::DELETE, &jobs[0], Body::empty())).await;
    assert_eq!(given_up.json()["status"], "dismissed");
    service.state.jobs.stop();
    until(|| service.store.count("SELECT count(*) FROM jobs WHERE open AND owner IS NULL") == 1).await;
}

/// A disk that takes neither a piece nor the end of a turn: four times a second apart, were each counted, and the job given up.
#[tokio::test(flavor = "multi_thread")]
async fn a_failing_disk_is_no_fault_of_a_job() {
    let disk = Disk::default();
    disk.sql(
        "CREATE TRIGGER no_piece BEFORE INSERT ON pieces BEGIN SELECT RAISE(ABORT, 'a disk that fails'); END;
         CREATE TRIGGER no_end BEFORE UPDATE OF owner ON jobs WHEN NEW.owner IS NULL
         BEGIN SELECT RAISE(ABORT, 'a disk that fails'); END;",
    );
    let service = service_with(Config::default(), disk);
    let job = accepted(&service, "/v1/sweeps", &sweep()).await;
    tokio::time::sleep(std::time::Duration::from_secs(5)).await;
    assert_eq!(service.get(&job).await.json()["status"], "running");
    service.store.sql("DROP TRIGGER no_piece; DROP TRIGGER no_end;");
    until(|| service.store.answers() == 1).await;
    assert_eq!(service.get(&job).await.json()["status"], "successful");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stopping_server_leaves_its_job_to_the_next() {
    let service = service();
    let mut long = day();
    long["flights"] = json!(150_000);
    let job = accepted(&service, "/v1/days", &long).await;
    until(|| service.state.jobs.turns() == 1).await;
    service.state.jobs.stop();
    until(|| service.store.count("SELECT count(*) FROM jobs WHERE open AND owner IS NULL") == 1).await;
    assert_eq!(service.get(&job).await.json()["status"], "running");
    let told = events(&stream(&service, &job, None).await);
    assert!(told.iter().all(|event| event.0 == "piece"), "a stream that ends without the job's end is opened again");
}

#[tokio::test(flavor = "multi_thread")]
async fn jobs_are_listed_the_newest_first() {
    let service = service();
    let first = accepted(&service, "/v1/days", &day()).await;
    let second = accepted(&service, "/v1/sweeps", &sweep()).await;
    let list = service.get("/v1/jobs").await.json();
    check_described("JobList", &list);
    let ids: Vec<String> = list["jobs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|job| format!("/v1/jobs/{}", job["jobID"].as_str().unwrap()))
        .collect();
    assert_eq!(ids, [second, first]);
}

/// Keeps its thread on a core until it is stopped, or for so long.
fn burns<const SECONDS: u64>(
    _: &dyn Store,
    _: &Claimed,
    pool: &rayon::ThreadPool,
    stop: &AtomicBool,
    _: &Tell,
    _: &Count,
) -> Result<Option<Vec<u8>>, Failure> {
    pool.install(|| {
        let begun = Instant::now();
        while !stop.load(Ordering::SeqCst) {
            if begun.elapsed() > Duration::from_secs(SECONDS) {
                return Ok(Some(b"answer".to_vec()));
            }
            std::hint::spin_loop();
        }
        Err(Failure::Stopped)
    })
}

/// A job ends without an answer once its threads were on a core for longer than it was estimated at and a fifth, if that is
/// more than it would be estimated at now as well.
#[cfg(target_os = "linux")]
#[tokio::test(flavor = "multi_thread")]
async fn a_job_that_takes_more_than_its_estimate_is_stopped() {
    let much = Duration::from_secs(3600);
    let little = Duration::from_millis(50);
    let now_little = |_: &Claimed, _: usize, _: &AtomicBool| Some(Duration::from_millis(50));
    let now_much = |_: &Claimed, _: usize, _: &AtomicBool| Some(Duration::from_secs(3600));
    for (accepted_with, most_core_time, stage) in [
        (
            little,
            now_little as fn(&Claimed, usize, &AtomicBool) -> Option<Duration>,
            Stage::Failed(Reason::OverEstimate),
        ),
        // It cannot be told: time bounds it.
        (little, |_, _, _| None, Stage::Successful),
        // It was the machine that became slower.
        (little, now_much, Stage::Successful),
        (much, now_little, Stage::Successful),
    ] {
        let disk = Arc::new(Disk::default());
        let id = ContentId::of("test", "burns");
        let new = NewJob { most_core_time: Some(accepted_with), ..new_job(Shelf::Days, &id, b"{}") };
        disk.accept(&new, &|| true).unwrap();
        let config = Config { cores: 1, ..Config::default() };
        // What is to be stopped has time for it.
        let perform = if stage == Stage::Successful { burns::<2> } else { burns::<60> };
        let doing = Doing { perform, most_core_time };
        let metrics = Arc::new(Metrics::new().unwrap());
        let jobs = Arc::new(Jobs::new(&config, Arc::clone(&disk) as Arc<dyn Store>, doing, metrics));
        tokio::spawn(Arc::clone(&jobs).run());
        until(|| disk.count("SELECT count(*) FROM jobs WHERE open") == 0).await;
        jobs.stop();
        assert_eq!(disk.job(&id).unwrap().unwrap().stage, stage);
        if let Stage::Failed(_) = stage {
            assert_eq!(disk.count("SELECT count(*) FROM answers"), 0);
            let state = State::new(Config::default(), Arc::clone(&disk) as Arc<dyn Store>).unwrap();
            let service = Service { app: app(Arc::clone(&state)), state, store: disk };
            let told = service.get(&format!("/v1/jobs/{id}/results")).await;
            let problem = check_problem(&told, 422, "compute-limit");
            assert!(problem["detail"].as_str().unwrap().contains("1.2 times"), "{problem}");
        }
    }
}

/// How long it was burned that is to be counted, ms.
static BURNED_MS: AtomicU64 = AtomicU64::new(0);

/// In its first two turns keeps its thread on a core for a while and gives way; then answers with what that took.
fn gives_way_twice(
    _: &dyn Store,
    claimed: &Claimed,
    pool: &rayon::ThreadPool,
    _: &AtomicBool,
    tell: &Tell,
    _: &Count,
) -> Result<Option<Vec<u8>>, Failure> {
    if claimed.made.len() == 2 {
        return Ok(Some(claimed.spent.core_time.as_millis().to_string().into_bytes()));
    }
    let burn = || {
        let begun = Instant::now();
        while begun.elapsed() < Duration::from_millis(300) {
            std::hint::spin_loop();
        }
        begun.elapsed().as_millis() as u64
    };
    BURNED_MS.fetch_add(pool.install(burn), Ordering::SeqCst);
    // What is done elsewhere is not counted, nor what it takes to keep a piece.
    burn();
    for done in 1..=claimed.made.len() as u64 + 1 {
        pool.install(|| tell(Piece { done, ..Piece::default() }))?;
    }
    // Nor what is begun after the last piece: it is done again.
    pool.install(burn);
    Ok(None)
}

/// What the turns of a job took adds up.
#[cfg(target_os = "linux")]
#[tokio::test(flavor = "multi_thread")]
async fn the_core_time_of_a_job_is_counted_over_its_turns() {
    let disk = Arc::new(Disk { laborious: true.into(), ..Disk::default() });
    let id = ContentId::of("test", "gives way");
    disk.accept(&new_job(Shelf::Days, &id, b"{}"), &|| true).unwrap();
    let config = Config { cores: 1, ..Config::default() };
    let doing = Doing { perform: gives_way_twice, most_core_time: |_, _, _| None };
    let metrics = Arc::new(Metrics::new().unwrap());
    let jobs = Arc::new(Jobs::new(&config, Arc::clone(&disk) as Arc<dyn Store>, doing, metrics));
    tokio::spawn(Arc::clone(&jobs).run());
    until(|| disk.count("SELECT count(*) FROM jobs WHERE open") == 0).await;
    jobs.stop();
    let kept = disk.get(Shelf::Days, &id).unwrap().unwrap();
    let core_ms: u64 = String::from_utf8(kept.answer.unwrap()).unwrap().parse().unwrap();
    let burned_ms = BURNED_MS.load(Ordering::SeqCst);
    assert_eq!(disk.count("SELECT core_ms FROM jobs"), core_ms as i64);
    // On a machine that has more to do it is less.
    assert!((30..=burned_ms + 30).contains(&core_ms), "{core_ms} of {burned_ms}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_failed_job_says_why() {
    let too_long = service_with(Config { job_limit_s: 0, ..Config::default() }, Disk::default());
    let mut long = day();
    long["flights"] = json!(150_000);
    let job = accepted(&too_long, "/v1/days", &long).await;
    until(|| too_long.store.count("SELECT count(*) FROM jobs WHERE open") == 0).await;
    let problem = check_problem(&too_long.get(&format!("{job}/results")).await, 422, "compute-limit");
    assert_eq!(problem["limit"]["name"], "job_limit_s");
    let told = events(&stream(&too_long, &job, None).await);
    assert_eq!((told[0].0.as_str(), &told[0].2["status"]), ("job", &json!("failed")));
    // A job whose part ended the server three times, and one that another engine accepted.
    for (change, status, kind) in [
        ("UPDATE jobs SET fell = 0, falls = 3", 422, "job-failed"),
        ("UPDATE jobs SET input = CAST(input || ' ' AS BLOB)", 410, "stored-damaged"),
    ] {
        let disk = Disk::default();
        let id = ContentId::of("test", kind);
        let new = new_job(Shelf::Days, &id, b"{}");
        disk.store.accept(&new, &|| true).unwrap();
        disk.sql(change);
        let service = service_with(Config::default(), disk);
        until(|| service.store.count("SELECT count(*) FROM jobs WHERE open") == 0).await;
        check_problem(&service.get(&format!("/v1/jobs/{id}/results")).await, status, kind);
    }
    let disk = Disk::default();
    let id = ContentId::of("an older engine", "{}");
    let input = card().to_string();
    let new = new_job(Shelf::Assessments, &id, input.as_bytes());
    disk.store.accept(&new, &|| true).unwrap();
    let service = service_with(Config::default(), disk);
    until(|| service.store.count("SELECT count(*) FROM jobs WHERE open") == 0).await;
    check_problem(&service.get(&format!("/v1/jobs/{id}/results")).await, 410, "engine-changed");
    assert_eq!(service.store.answers(), 0);
}

#[tokio::test]
async fn a_dismissed_stream_ends_and_bad_numbers_are_told() {
    let service = service();
    let mut long = day();
    long["flights"] = json!(150_000);
    let job = accepted(&service, "/v1/days", &long).await;
    let open =
        service.app.clone().oneshot(request(Method::GET, &format!("{job}/events"), Body::empty())).await.unwrap();
    assert_eq!(service.send(request(Method::DELETE, &job, Body::empty())).await.json()["status"], "dismissed");
    let rest: Vec<_> = timeout(Duration::from_secs(120), open.into_body().into_data_stream().collect()).await.unwrap();
    let text: String = rest.into_iter().map(|part| String::from_utf8(part.unwrap().to_vec()).unwrap()).collect();
    assert!(text.contains("\"status\":\"dismissed\""), "{text}");
    let mut asked;
    for bad in ["some", "+3", "-1", "1.0", "end1"] {
        asked = request(Method::GET, &format!("{job}/events"), Body::empty());
        asked.headers_mut().insert("last-event-id", bad.parse().unwrap());
        check_problem(&service.send(asked).await, 400, "bad-request");
    }
    check_problem(&service.get(&format!("/v1/jobs/{}/events", "0".repeat(32))).await, 404, "unknown-job");
}

#[tokio::test]
async fn streams_have_places_for_all_and_for_each_client() {
    let service = service_with(Config { behind_proxy: true, ..Config::default() }, Disk::default());
    let job = accepted(&service, "/v1/days", &day()).await;
    let events = || service.send(of("192.0.2.1", request(Method::GET, &format!("{job}/events"), Body::empty())));
    let open = |client: &str| (0..128).map(|_| service.state.streams.open(client).ok().unwrap()).collect::<Vec<_>>();
    let own = open("address:192.0.2.1");
    let problem = check_problem(&events().await, 429, "too-many-streams");
    assert_eq!(problem["limit"], json!({"name": "client_streams", "value": 128, "unit": "streams"}));
    let others: Vec<_> = ["a", "b", "c"].map(open).into_iter().flatten().collect();
    assert_eq!(service.state.metrics.streams.get(), 512);
    let problem = check_problem(&events().await, 503, "overloaded");
    assert_eq!(problem["limit"], json!({"name": "streams", "value": 512, "unit": "streams"}));
    drop(own);
    assert_eq!(events().await.status, 200);
    drop(others);
    assert_eq!(service.state.metrics.streams.get(), 0);
}

#[tokio::test]
async fn days_and_sweeps_have_their_price() {
    let service = service();
    let price = |uri: &'static str, body: Value| {
        let request = json_request(&format!("{uri}?dry_run=true"), body.to_string());
        async { service.send(request).await.json() }
    };
    let of_day = price("/v1/days", day()).await;
    check_described("Price", &of_day);
    assert_eq!((&of_day["flights"], &of_day["inline"], &of_day["job"]), (&json!(3 * 128), &json!(true), &json!(false)));
    let of_sweep = price("/v1/sweeps", sweep()).await;
    check_described("Price", &of_sweep);
    assert_eq!(of_sweep["flights"], json!(3 * 128));
    assert_eq!(service.state.compute.begun() + service.state.jobs.turns(), 0);
    assert_eq!(service.store.answers(), 0);
    for (uri, body, price) in [("/v1/days", day(), of_day), ("/v1/sweeps", sweep(), of_sweep)] {
        let answer = service.send(json_request(uri, body.to_string())).await.json();
        assert_eq!(answer["id"], price["id"]);
        let again = service.send(json_request(&format!("{uri}?dry_run=true"), body.to_string())).await.json();
        assert_eq!(again["stored"], true);
    }
    let mut long = sweep();
    long["base"]["flights"] = json!(100_000);
    let long = price("/v1/sweeps", long).await;
    assert_eq!((&long["inline"], &long["job"]), (&json!(false), &json!(true)));
}

#[tokio::test]
async fn a_client_has_its_budget() {
    let service = service_with(Config { client_core_s: 1, ..Config::default() }, Disk::default());
    let seeded = |seed: u64| {
        let mut asked = card();
        asked["seed"] = json!(seed);
        asked["flights"] = json!(2000);
        asked
    };
    let first = service.post(&seeded(1)).await;
    assert_eq!((first.status.as_u16(), first.header("ratelimit-policy")), (200, "\"core-s\";q=1;w=3600"));
    assert!(first.header("ratelimit").starts_with("\"core-s\";r=0;t="), "{first:?}");
    let mut refused = None;
    for seed in 2..10 {
        let reply = service.post(&seeded(seed)).await;
        if reply.status != 200 {
            refused = Some(reply);
            break;
        }
    }
    let refused = refused.unwrap();
    let problem = check_problem(&refused, 429, "over-budget");
    assert_eq!(problem["limit"], json!({"name": "client_core_s", "value": 1, "unit": "core-seconds an hour"}));
    assert!(refused.header("retry-after").parse::<u64>().unwrap() > 10, "{refused:?}");
    // The table of all flights is flown again each time.
    let table = format!("{}/flights.csv", first.header("location"));
    let mut tables = 0;
    let refused = loop {
        let reply = service.get(&table).await;
        if reply.status != 200 {
            break reply;
        }
        tables += 1;
    };
    check_problem(&refused, 429, "over-budget");
    assert!(tables < 10, "{tables}");
    // What is stored is answered all the same.
    let again = service.post(&seeded(1)).await;
    assert_eq!((again.status.as_u16(), &again.body), (200, &first.body));
}

/// Core-seconds that a client has left, as an answer to it says.
fn left_core_s(reply: &Reply) -> u64 {
    let told = reply.header("ratelimit");
    told.split("r=").nth(1).and_then(|rest| rest.split(';').next()?.parse().ok()).unwrap_or_else(|| panic!("{reply:?}"))
}

#[tokio::test(flavor = "multi_thread")]
async fn only_work_that_is_begun_costs() {
    let config = Config { client_core_s: 1000, client_jobs: 1, jobs: 1, concurrent: 1, queue: 0, ..Config::default() };
    let service = service_with(config, Disk::default());
    let stored = service.post(&card()).await;
    let seeded = |seed: u64| {
        let mut long = day();
        long["flights"] = json!(150_000);
        long["seed"] = json!(seed);
        long
    };
    let long = preferring("/v1/days", &seeded(1), "respond-async");
    let job = service.send(long).await;
    let left = left_core_s(&job);
    assert!(left < 980, "it is to cost something: {left}");
    let mut inline = card();
    inline["flights"] = json!(200_000);
    let flies = {
        let (app, inline) = (service.app.clone(), json_request("/v1/assessments", inline.to_string()));
        tokio::spawn(async move { app.oneshot(inline).await.unwrap() })
    };
    until(|| service.state.compute.begun() == 2).await;
    // The same job again, one too many of this client, a computation too many, and what is stored.
    let again = service.send(preferring("/v1/days", &seeded(1), "respond-async")).await;
    let left = left_core_s(&again);
    let mut other = card();
    other["flights"] = json!(150_000);
    for (asked, status) in [
        (json_request("/v1/assessments", card().to_string()), 200),
        (preferring("/v1/days", &seeded(1), "respond-async"), 201),
        (preferring("/v1/days", &seeded(2), "respond-async"), 503),
        (json_request("/v1/assessments", other.to_string()), 503),
    ] {
        assert_eq!(service.send(asked).await.status.as_u16(), status);
    }
    flies.abort();
    until(|| !service.state.compute.full()).await;
    let again = service.post(&card()).await;
    // Some of it has flowed in meanwhile.
    assert!((left..=left + 5).contains(&left_core_s(&again)), "{left} {again:?}");
    assert_eq!(again.body, stored.body);
    service.state.jobs.stop();
}

#[tokio::test]
async fn a_client_has_only_so_many_jobs() {
    let service = service_with(Config { client_jobs: 1, ..Config::default() }, Disk::default());
    let seeded = |seed: u64| {
        let mut long = day();
        long["flights"] = json!(150_000);
        long["seed"] = json!(seed);
        long
    };
    let job = accepted(&service, "/v1/days", &seeded(1)).await;
    let refused = service.send(preferring("/v1/days", &seeded(2), "respond-async")).await;
    check_problem(&refused, 429, "too-many-jobs");
    assert!(!refused.header("retry-after").is_empty());
    service.send(request(Method::DELETE, &job, Body::empty())).await;
    accepted(&service, "/v1/days", &seeded(2)).await;
}
