//! The service against its own description: Schemathesis makes requests that fit the document and requests that do not, follows
//! the links of the document from work to what is made of it, and holds every answer against it.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};
use slowpoint_tests::served::{Client, Service};
use tempfile::TempDir;

use crate::Size;
use crate::cards::{card, day, sweep};
use crate::table::Table;

/// Makes the virtual environment that it runs in.
const VENV: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/venv");
const PACKAGES: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/battery/requirements.txt");
/// Which checks do not fit, and why.
const CHECKS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/battery/schemathesis.toml");

/// Little may be flown, so that much can be asked; nothing is refused because of how much is asked.
const LIMITS: [&str; 8] =
    ["--inline-flights", "2048", "--job-flights", "20000", "--jobs", "1000000", "--queue", "1000000"];

pub fn tried(size: Size, table: &mut Table) -> Result<(), String> {
    let service = Service::start(&LIMITS)?;
    service.ready_s()?;
    let asking = Asking::new(&service)?;
    let document = service.client().get("/openapi.json")?.json();
    let (examples, least) = size.of((5, 10_000), (200, 30_000), (1000, 100_000));
    let (mut requests, mut runs, mut failures) = (0, 0, Vec::new());
    while requests < least {
        runs += 1;
        // What is listed from the document is the same with any seed.
        let phases = if runs == 1 { "examples,coverage,fuzzing" } else { "fuzzing" };
        let (seed, most) = (format!("--seed={runs}"), examples.to_string());
        let ran = asking.run(&document, &[&seed, "-n", &most, "--phases", phases])?;
        if ran.requests == 0 {
            return Err("a run made no request".into());
        }
        table.count("operations tried", ran.tried, operations(&document));
        requests += ran.requests;
        failures.extend(ran.failures);
    }
    table.at_least("requests made from the document", requests, least);
    table.told("runs, each with another seed", runs);
    let (sequences, least, least_links) = size.of((20, 50, 4), (200, 500, 15), (1000, 2500, 25));
    let answered = with_works(&document)?;
    let ran = asking.run(&answered, &["--seed=1", "-n", &sequences.to_string(), "--phases", "stateful"])?;
    table.at_least("requests made along links", ran.requests, least);
    table.at_least("links followed", ran.links, least_links);
    failures.extend(ran.failures);
    table.none("answers that are not as the document has it", &failures);
    let metrics = service.client().get("/metrics")?;
    table.none("answers of 5xx, as its metrics have it", &of_5xx(&metrics.body));
    table.no_panic(&service);
    controls(&asking, document, table)
}

fn operations(document: &Value) -> usize {
    let paths = document["paths"].as_object().into_iter().flat_map(|paths| paths.values());
    paths
        .filter_map(Value::as_object)
        .map(|path| path.keys().filter(|name| METHODS.contains(&name.as_str())).count())
        .sum()
}

const METHODS: [&str; 3] = ["get", "post", "delete"];

fn of_5xx(metrics: &[u8]) -> Vec<String> {
    let text = String::from_utf8_lossy(metrics);
    text.lines().filter(|line| line.contains("status=\"5")).map(String::from).collect()
}

/// Schemathesis, and the service that it asks.
struct Asking<'a> {
    program: PathBuf,
    place: TempDir,
    service: &'a Service,
}

/// What a run came to.
struct Ran {
    requests: usize,
    tried: usize,
    links: usize,
    failures: Vec<String>,
}

impl<'a> Asking<'a> {
    fn new(service: &'a Service) -> Result<Self, String> {
        let made = Command::new(VENV).args(["schemathesis", PACKAGES]).output().map_err(|e| e.to_string())?;
        if !made.status.success() {
            return Err(format!("no Schemathesis: {}", String::from_utf8_lossy(&made.stderr).trim()));
        }
        let program = Path::new(String::from_utf8_lossy(&made.stdout).trim()).join("bin/schemathesis");
        let place = TempDir::new().map_err(|e| e.to_string())?;
        let ids = stored(&service.client())?.iter().map(|id| format!("\"{id}\"\n")).collect::<String>();
        fs::write(place.path().join("ids.txt"), ids)
            .and_then(|()| fs::copy(CHECKS, place.path().join("schemathesis.toml")))
            .map_err(|e| e.to_string())?;
        Ok(Self { program, place, service })
    }

    fn run(&self, document: &Value, arguments: &[&str]) -> Result<Ran, String> {
        let place = self.place.path();
        let (asked, report) = (place.join("openapi.json"), place.join("report.json"));
        let _ = fs::remove_file(&report);
        fs::write(&asked, document.to_string()).map_err(|e| e.to_string())?;
        let mut command = Command::new(&self.program);
        command.current_dir(place).args(["--no-color", "run", "openapi.json", "--continue-on-failure"]);
        command.args(["--url", &format!("http://{}", self.service.address)]);
        command.args(["--generation-database", "none", "--warnings", "off", "--report", "json", "--report-json-path"]);
        let run = command.arg(&report).args(arguments).output().map_err(|e| e.to_string())?;
        let said = String::from_utf8_lossy(&run.stdout);
        let found = fs::read(&report).map_err(|e| format!("no report, {e}: {said}"))?;
        let found: Value = serde_json::from_slice(&found).map_err(|e| e.to_string())?;
        let number = |pointer| found.pointer(pointer).and_then(Value::as_u64).unwrap_or_default() as usize;
        let list = |name: &str| found[name].as_array().cloned().unwrap_or_default();
        let mut failures: Vec<String> =
            [list("failures"), list("errors")].concat().iter().map(Value::to_string).collect();
        // How each is made again stands in what it printed.
        if let Some(first) = failures.first_mut() {
            *first += &format!("\n{said}");
        }
        // The report has no count of links.
        let followed = said
            .lines()
            .find_map(|line| line.trim().strip_prefix("API Links:")?.split_whitespace().next()?.parse().ok());
        Ok(Ran {
            requests: number("/test_cases/generated"),
            tried: number("/operations/tested"),
            links: followed.unwrap_or_default(),
            failures,
        })
    }
}

/// Ids of answers of each kind, and of a job.
fn stored(client: &Client) -> Result<Vec<String>, String> {
    let mut ids = Vec::new();
    for (path, body) in works(1) {
        let answer = client.post(path, &body)?;
        ids.push(answer.json()["id"].as_str().map(String::from).ok_or_else(|| answer.told())?);
    }
    let job = client.post_job("/v1/assessments", &card(2, 64))?;
    ids.push(job.json()["jobID"].as_str().map(String::from).ok_or_else(|| job.told())?);
    Ok(ids)
}

/// Little work of each kind.
fn works(seed: u64) -> [(&'static str, Value); 3] {
    [("/v1/assessments", card(seed, 64)), ("/v1/days", day(seed, 64, 2)), ("/v1/sweeps", sweep(seed, 64, 2))]
}

/// Works that are given as examples.
const EXAMPLES: u64 = 50;

/// The document with examples of work: what is made up is refused for what JSON Schema cannot say, and a refusal leads nowhere.
fn with_works(document: &Value) -> Result<Value, String> {
    let mut answered = document.clone();
    for (path, _) in works(0) {
        let pointer = format!("/paths/{}/post/requestBody/content/application~1json", path.replace('/', "~1"));
        let content = answered.pointer_mut(&pointer).and_then(Value::as_object_mut);
        let content = content.ok_or_else(|| format!("the document has no {pointer}"))?;
        content.remove("example");
        let examples = (0..EXAMPLES).flat_map(|k| works(100 + k).map(|(of, body)| (k, of, body)));
        let examples = examples.filter(|(_, of, _)| *of == path);
        content
            .insert("examples".into(), examples.map(|(k, _, body)| (format!("{k}"), json!({"value": body}))).collect());
    }
    Ok(answered)
}

/// What is made wrong, where in the document, and how.
type Change = (&'static str, &'static str, fn(&mut Value));

/// The document with something wrong in it: a refusal that it does not name, a part of an answer and one of a request that it
/// has otherwise.
fn controls(asking: &Asking, document: Value, table: &mut Table) -> Result<(), String> {
    let changes: [Change; 3] = [
        ("a refusal that is not named", "/paths/~1v1~1jobs~1{id}/get/responses", |responses| {
            responses.as_object_mut().map(|statuses| statuses.remove("404"));
        }),
        ("an answer that is otherwise", "/components/schemas/JobList/properties/jobs", |jobs| {
            *jobs = json!({"type": "string"})
        }),
        ("a request that is otherwise", "/paths/~1v1~1jobs~1{id}~1events/get/parameters/1/schema", |number| {
            *number = json!({"type": "string"})
        }),
    ];
    for (name, pointer, change) in changes {
        let mut wrong = document.clone();
        change(wrong.pointer_mut(pointer).ok_or_else(|| format!("the document has no {pointer}"))?);
        let ran = asking.run(
            &wrong,
            &["--include-path-regex", "^/v1/jobs", "--seed=1", "-n", "20", "--phases", "coverage,fuzzing"],
        )?;
        table.at_least(&format!("control: {name}; failures"), ran.failures.len(), 1);
    }
    let mut wrong = with_works(&document)?;
    let answers = wrong.pointer_mut("/paths/~1v1~1days~1{id}/get/responses").and_then(Value::as_object_mut);
    answers.ok_or("no day is read")?.remove("200");
    let ran =
        asking.run(&wrong, &["--include-path-regex", "^/v1/days", "--seed=1", "-n", "20", "--phases", "stateful"])?;
    table.at_least("control: an answer that is not named, along links; failures", ran.failures.len(), 1);
    Ok(())
}
