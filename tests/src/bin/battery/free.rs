//! Whoever leaves, or gives a job up, frees the cores: how long its flights are flown on after that.

use std::io::Write;
use std::net::TcpStream;
use std::thread;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use slowpoint_tests::served::Service;
use slowpoint_tests::threads_ns;

use crate::Size;
use crate::cards::{card, day, sweep};
use crate::table::{Table, quantile};

/// The most flights of a card: half a minute of the cores that are given.
const LONG: u64 = 1_000_000;
/// The fewer, the longer the work lasts.
const CORES: &str = "2";
/// A trial looks so long whether its work ends, which by itself would take far longer.
const PATIENCE: Duration = Duration::from_secs(5);
/// Threads that have not run for so long have ended their work.
const STILL: Duration = Duration::from_millis(200);
/// Between two looks.
const LOOK: Duration = Duration::from_millis(1);
/// The moments of leaving are spread over so long from the beginning of the flights.
const SPREAD_MS: u64 = 700;

/// What is asked for, and how it is given up.
struct Kind {
    what: &'static str,
    path: &'static str,
    as_job: bool,
    body: fn(u64) -> Value,
}

const fn inline(what: &'static str, path: &'static str, body: fn(u64) -> Value) -> Kind {
    Kind { what, path, as_job: false, body }
}

const fn job(what: &'static str, path: &'static str, body: fn(u64) -> Value) -> Kind {
    Kind { what, path, as_job: true, body }
}

const ASSESSMENTS: &str = "/v1/assessments";

const KINDS: &[Kind] = &[
    inline("an assessment", ASSESSMENTS, |seed| card(seed, LONG)),
    inline("of 26 delays", ASSESSMENTS, |seed| with(seed, json!({"delays": (1..27).collect::<Vec<_>>()}))),
    inline("of a rocket that turns over", ASSESSMENTS, turning_over),
    inline("with drivers", ASSESSMENTS, |seed| with(seed, json!({"flights": 256, "drivers": 16_384}))),
    inline("with other winds and rails", ASSESSMENTS, |seed| {
        with(seed, json!({"flights": 50_000, "advise": ["wind_limit", "rail"]}))
    }),
    inline("until it is narrow enough", ASSESSMENTS, |seed| {
        let mut card = with(seed, json!({"until": {"half_width": "0.01 %", "within": LONG}}));
        card.as_object_mut().map(|members| members.remove("flights"));
        card
    }),
    inline("a sweep", "/v1/sweeps", |seed| sweep(seed, LONG / 10, 10)),
    inline("a day", "/v1/days", |seed| day(seed, LONG / 10, 10)),
    job("a job: an assessment", ASSESSMENTS, |seed| card(seed, LONG)),
    job("a job: of a rocket that turns over", ASSESSMENTS, turning_over),
    job("a job: a sweep", "/v1/sweeps", |seed| sweep(seed, LONG / 10, 10)),
    job("a job: a day", "/v1/days", |seed| day(seed, LONG / 10, 10)),
];

fn with(seed: u64, members: Value) -> Value {
    let mut card = card(seed, LONG);
    if let (Some(card), Some(members)) = (card.as_object_mut(), members.as_object()) {
        card.extend(members.clone());
    }
    card
}

/// Hardly stable, in a strong wind: many turn over.
fn turning_over(seed: u64) -> Value {
    let mut card = card(seed, LONG);
    card["card"]["airframe"]["centre_of_pressure"] = json!("0.551 m");
    card["wind"]["surface"]["speed"] = json!("12 m/s");
    card
}

pub fn tried(size: Size, table: &mut Table) -> Result<(), String> {
    let trials = size.of(3, 20, 100);
    let service = Service::start(&["--cores", CORES, "--inline-flights", "50000000", "--compute-limit-s", "600"])?;
    service.ready_s()?;
    let (mut all, mut on, mut inline_trials, mut job_trials) = (Vec::new(), Vec::new(), 0, 0);
    for (number, kind) in (0..).zip(KINDS) {
        let mut ends = Vec::new();
        for trial in 0..trials {
            let left = asked(&service, kind, 1000 * number + trial, trial * SPREAD_MS / trials)?;
            match end(&service, left) {
                Some(end) => ends.push(end),
                None => on.push(kind.what.to_string()),
            }
        }
        *(if kind.as_job { &mut job_trials } else { &mut inline_trials }) += trials;
        told(kind.what, &ends, table);
        all.append(&mut ends);
    }
    told("all", &all, table);
    table.told("all: trials", all.len());
    table.told("all: free after more than 100 ms", all.iter().filter(|end| end.after_s > 0.1).count());
    table.none("still flown after five seconds, where the whole takes longer", &on);
    let page = String::from_utf8_lossy(&service.client().get("/metrics")?.body).into_owned();
    let counted = |name: &str| -> usize {
        let lines = page.lines().filter(|line| line.starts_with(name));
        lines.filter_map(|line| line.rsplit_once(' ')?.1.parse::<usize>().ok()).sum()
    };
    table.count(
        "computations stopped, by the metrics",
        counted("slowpoint_computations_stopped_total"),
        inline_trials as usize,
    );
    let dismissed: usize = ["assessments", "days", "sweeps"]
        .map(|kind| counted(&format!("slowpoint_jobs_ended_total{{kind=\"{kind}\",outcome=\"dismissed\"")))
        .iter()
        .sum();
    table.count("jobs dismissed, by the metrics", dismissed, job_trials as usize);
    table.no_panic(&service);

    // Towards its end an answer is put together, where nothing looks whether anybody still waits.
    let short =
        inline("", ASSESSMENTS, |seed| with(seed, json!({"flights": 10_000, "delays": (1..27).collect::<Vec<_>>()})));
    let whole = Instant::now();
    service.client().post(short.path, &(short.body)(1))?;
    let whole_ms = whole.elapsed().as_millis() as u64;
    let mut ends = Vec::new();
    for trial in 0..trials {
        let left = asked(&service, &short, 2 + trial, whole_ms * (5 * trials + 5 * trial) / (10 * trials))?;
        ends.extend(end(&service, left));
    }
    told(&format!("in the second half of {whole_ms} ms"), &ends, table);

    // Whoever stays is flown for.
    let stays = begun(&service, &KINDS[0], 1)?;
    let before = flown_ns(&service);
    thread::sleep(2 * STILL);
    table.count("control: still flown where the client stays", usize::from(flown_ns(&service) > before), 1);
    drop(stays);
    Ok(())
}

/// What is under way: a connection that waits, or the path of a job.
enum UnderWay {
    Connection(TcpStream),
    Job(String),
}

/// Asks for work, and comes back once it is flown.
fn begun(service: &Service, kind: &Kind, seed: u64) -> Result<UnderWay, String> {
    let (body, before) = ((kind.body)(seed), flown_ns(service));
    let under_way = if kind.as_job {
        let reply = service.client().post_job(kind.path, &body)?;
        let id = reply.json()["jobID"].as_str().map(String::from).ok_or_else(|| reply.told())?;
        UnderWay::Job(format!("/v1/jobs/{id}"))
    } else {
        let body = body.to_string();
        let head = format!(
            "POST {} HTTP/1.1\r\nhost: test\r\ncontent-type: application/json\r\ncontent-length: {}\r\n\r\n",
            kind.path,
            body.len()
        );
        let mut stream = TcpStream::connect(service.address).map_err(|e| e.to_string())?;
        stream.write_all((head + &body).as_bytes()).map_err(|e| e.to_string())?;
        UnderWay::Connection(stream)
    };
    let asked = Instant::now();
    while flown_ns(service) < before + LOOK.as_nanos() as u64 {
        if asked.elapsed() > PATIENCE {
            return Err(format!("{}: nothing is flown", kind.what));
        }
        thread::sleep(LOOK);
    }
    Ok(under_way)
}

/// Asks for work and gives it up after some time in the air; when it did.
fn asked(service: &Service, kind: &Kind, seed: u64, after_ms: u64) -> Result<Instant, String> {
    let under_way = begun(service, kind, seed)?;
    thread::sleep(Duration::from_millis(after_ms));
    let left = Instant::now();
    match under_way {
        UnderWay::Connection(stream) => drop(stream),
        UnderWay::Job(path) => {
            let reply = service.client().delete(&path)?;
            if reply.json()["status"] != "dismissed" {
                return Err(format!("{}: {}", kind.what, reply.told()));
            }
        }
    }
    Ok(left)
}

/// The end of work that was given up.
struct End {
    /// Since then: when the threads that fly ran for the last time, s.
    after_s: f64,
    /// How long they ran, all together, which does not depend on what else the machine does, s.
    flown_on_s: f64,
}

fn told(what: &str, ends: &[End], table: &mut Table) {
    for (name, figure) in
        [("free after", (|end| end.after_s) as fn(&End) -> f64), ("processor time after it", |end| end.flown_on_s)]
    {
        let mut seconds: Vec<f64> = ends.iter().map(figure).collect();
        seconds.sort_by(f64::total_cmp);
        let ms = |part| 1e3 * quantile(&seconds, part);
        let figures = format!("{:.0} {:.0} {:.0}", ms(0.5), ms(0.9), ms(1.0));
        table.told(&format!("{what}: {name}, ms: median, 90 %, longest"), figures);
    }
}

/// How the threads that fly end; `None` if they run on.
fn end(service: &Service, left: Instant) -> Option<End> {
    let before = flown_ns(service);
    let (mut flown, mut last) = (before, left);
    while left.elapsed() < PATIENCE {
        thread::sleep(LOOK);
        let (now, seen) = (Instant::now(), flown_ns(service));
        if seen != flown {
            (flown, last) = (seen, now);
        } else if now - last > STILL {
            let flown_on = Duration::from_nanos(flown.saturating_sub(before));
            return Some(End { after_s: (last - left).as_secs_f64(), flown_on_s: flown_on.as_secs_f64() });
        }
    }
    None
}

/// How long the threads that fly have run.
fn flown_ns(service: &Service) -> u64 {
    threads_ns(service.process(), |name| name.starts_with("fly-") || name.starts_with("job-"))
}
