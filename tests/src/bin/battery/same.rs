//! A thousand that ask for the same at the same time share one run, and all get the same bytes.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::{PoisonError, RwLock};
use std::thread;

use serde_json::Value;
use slowpoint_tests::served::{Client, Reply, Service};
use tempfile::TempDir;

use crate::Size;
use crate::cards::card;
use crate::table::Table;

const CLIENTS: usize = 1000;
/// Enough that most of them ask while it is flown.
const FLIGHTS: u64 = 30_000;
/// Each with another seed.
const APART: usize = 20;

pub fn tried(_: Size, table: &mut Table) -> Result<(), String> {
    let data = TempDir::new().map_err(|e| e.to_string())?;
    let service = telling(data.path())?;
    let replies = together(&service, CLIENTS, |_| card(1, FLIGHTS), Client::post)?;
    table.count("answers 200", replies.iter().filter(|reply| reply.status == 200).count(), CLIENTS);
    table.count("different bodies", different(&replies), 1);
    table.count("runs for them", service.logged(FLIES), 1);

    let replies = together(&service, CLIENTS, |_| card(2, FLIGHTS), Client::post_job)?;
    // Whoever asks after its end gets the answer.
    let (late, told): (Vec<Reply>, Vec<Reply>) = replies.into_iter().partition(|reply| reply.status == 200);
    table.count(
        "told of a job, 201, or answered, 200",
        told.iter().filter(|r| r.status == 201).count() + late.len(),
        CLIENTS,
    );
    let ids: BTreeSet<String> = told.iter().map(|reply| reply.json()["jobID"].to_string()).collect();
    table.count("jobs", ids.len(), 1);
    let id = told.first().and_then(|reply| Some(reply.json()["jobID"].as_str()?.to_string())).unwrap_or_default();
    service.client().ended(&id)?;
    let answer = service.client().get(&format!("/v1/assessments/{id}"))?;
    table.count("answered with other bytes than are stored", late.iter().filter(|r| r.body != answer.body).count(), 0);
    let metrics = service.client().get("/metrics")?;
    let metrics = String::from_utf8_lossy(&metrics.body).into_owned();
    let turns = metrics.lines().find_map(|line| line.strip_prefix("slowpoint_job_turns_total ")?.parse().ok());
    table.count("turns of that job", turns.unwrap_or(usize::MAX), 1);
    table.no_panic(&service);

    let data = TempDir::new().map_err(|e| e.to_string())?;
    let service = telling(data.path())?;
    let replies = together(&service, APART, |k| card(k as u64, 128), Client::post)?;
    table.count("control: runs for twenty that differ in their seed", service.logged(FLIES), APART);
    table.count("control: their bodies", different(&replies), APART);
    Ok(())
}

/// What its log says of each run that a client waits for.
const FLIES: &str = "flies id=";

fn telling(data: &Path) -> Result<Service, String> {
    let service = Service::start_on(data, &[], &[("SLOWPOINT_LOG", "info,slowpoint_server::api::work=debug")])?;
    service.ready_s().map(|_| service)
}

fn different(replies: &[Reply]) -> usize {
    replies.iter().map(|reply| &reply.body).collect::<BTreeSet<_>>().len()
}

/// Posts from so many clients at once, each over a connection of its own.
fn together(
    service: &Service,
    clients: usize,
    body: impl Fn(usize) -> Value + Sync,
    post: fn(&Client, &str, &Value) -> Result<Reply, String>,
) -> Result<Vec<Reply>, String> {
    // It opens for all at once, and also where not all of them can begin.
    let gate = RwLock::new(());
    thread::scope(|scope| {
        let shut = gate.write();
        let asking: Vec<_> = (0..clients)
            .map(|k| {
                let (client, body, gate) = (service.client(), body(k), &gate);
                thread::Builder::new().stack_size(256 * 1024).spawn_scoped(scope, move || {
                    drop(gate.read().unwrap_or_else(PoisonError::into_inner));
                    post(&client, "/v1/assessments", &body)
                })
            })
            .collect::<Result<_, _>>()
            .map_err(|e| e.to_string())?;
        drop(shut);
        asking.into_iter().map(|thread| thread.join().map_err(|_| "a client panicked".to_string())?).collect()
    })
}
