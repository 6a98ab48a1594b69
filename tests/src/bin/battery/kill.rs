//! Killed in the middle of its work, again and again, on the same data: what was accepted is answered, each byte as a service
//! answers that nobody disturbed.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use rusqlite::Connection;
use slowpoint_tests::served::{Client, Service};
use tempfile::TempDir;

use crate::Size;
use crate::cards::work;
use crate::known::{Known, listen, lock, scattered};
use crate::table::{Table, quantile};

/// Jobs that are open at a time.
const OPEN: usize = 6;
/// Between two requests of a client.
const PAUSE: Duration = Duration::from_millis(4);
const CLIENTS: usize = 2;
/// A start that takes longer is shown with its log.
const SLOW_S: f64 = 2.0;

pub fn tried(size: Size, table: &mut Table) -> Result<(), String> {
    let kills = size.of(20, 200, 1000);
    let data = TempDir::new().map_err(|e| e.to_string())?;
    let (known, lives) = killed(data.path(), kills)?;
    let service = Service::start_on(data.path(), &[], &[])?;
    let verdict = known.judged(&service.client())?;
    table.count("kills in the middle of work", lives.ready_s.len(), kills);
    table.told("jobs accepted", known.accepted.len());
    table.told("jobs followed through their events", known.followed.len());
    table.told("connections cut off, some within an answer", lives.cut_off);
    table.none("accepted jobs lost", &verdict.lost);
    table.none("answers with a wrong byte", &verdict.wrong);
    table.none("event streams with a wrong piece", &verdict.pieces);
    table.none("answers that may not be", &known.strange);
    table.count("refusals", known.refused, 0);
    table.count("panics", lives.panics + service.panics(), 0);
    table.told("from its start to ready: median, s", format!("{:.3}", quantile(&lives.ready_s, 0.5)));
    table.told("from its start to ready: longest, s", format!("{:.3}", quantile(&lives.ready_s, 1.0)));
    table.told("starts that took longer than 2 s", lives.slow.len());
    lives.slow.iter().for_each(|line| println!("    {line}"));
    drop(service);
    controls(table)
}

#[derive(Default)]
struct Lives {
    /// Sorted.
    ready_s: Vec<f64>,
    /// What is known of starts that took longer than they should.
    slow: Vec<String>,
    cut_off: u64,
    panics: usize,
}

/// What the threads of a trial share.
#[derive(Default)]
struct Shared {
    address: Mutex<Option<SocketAddr>>,
    known: Mutex<Known>,
    next: AtomicU64,
    cut_off: AtomicU64,
    over: AtomicBool,
}

/// Kills a service on these data so often while clients ask it.
fn killed(data: &Path, kills: usize) -> Result<(Known, Lives), String> {
    let (shared, mut lives) = (Shared::default(), Lives::default());
    std::thread::scope(|scope| {
        for client in 0..CLIENTS {
            let shared = &shared;
            scope.spawn(move || post_on(shared, client));
        }
        scope.spawn(|| follow(&shared));
        let lived = (0..kills).try_for_each(|kill| {
            let begun = Instant::now();
            let mut service = Service::start_on(data, &[], &[])?;
            let listens_s = begun.elapsed().as_secs_f64();
            *lock(&shared.address) = Some(service.address);
            service.ready_s()?;
            let ready_s = begun.elapsed().as_secs_f64();
            lives.ready_s.push(ready_s);
            if ready_s > SLOW_S {
                let log = service.lines_with("", 12).join("\n    ");
                lives.slow.push(format!(
                    "start {kill}: listens after {listens_s:.1} s, ready after {ready_s:.1} s\n    {log}"
                ));
            }
            std::thread::sleep(Duration::from_millis(100 + scattered(kill as u64) % 400));
            service.end();
            *lock(&shared.address) = None;
            lives.panics += service.panics();
            Ok(())
        });
        shared.over.store(true, Ordering::SeqCst);
        lived
    })
    .map_err(|e: String| e)?;
    lives.ready_s.sort_by(f64::total_cmp);
    lives.cut_off = shared.cut_off.into_inner();
    Ok((shared.known.into_inner().unwrap_or_else(PoisonError::into_inner), lives))
}

impl Shared {
    /// A client of the service that lives now.
    fn client(&self, last: &mut Option<(SocketAddr, Client)>) -> Option<Client> {
        let address = (*lock(&self.address))?;
        if last.as_ref().is_none_or(|(known, _)| *known != address) {
            *last = Some((address, Client::new(address)));
        }
        last.as_ref().map(|(_, client)| client.clone())
    }
}

/// Posts new work while few is open, else what has been accepted again, so that a request is always under way.
fn post_on(shared: &Shared, client: usize) {
    let (mut last, mut turn) = (None, client);
    while !shared.over.load(Ordering::SeqCst) {
        std::thread::sleep(PAUSE);
        let Some(client) = shared.client(&mut last) else { continue };
        turn += 1;
        let number = {
            let known = lock(&shared.known);
            let open: Vec<u64> =
                known.accepted.keys().filter(|number| !known.ended.contains(number)).copied().collect();
            if open.len() < OPEN { shared.next.fetch_add(1, Ordering::SeqCst) } else { open[turn % open.len()] }
        };
        let (path, body) = work(number);
        match client.post_job(path, &body) {
            Ok(reply) => lock(&shared.known).note(number, reply),
            Err(_) => _ = shared.cut_off.fetch_add(1, Ordering::SeqCst),
        }
    }
}

/// Follows one job after the other through every kill.
fn follow(shared: &Shared) {
    let mut last = None;
    let mut following: Option<(u64, String, Vec<String>)> = None;
    while !shared.over.load(Ordering::SeqCst) {
        std::thread::sleep(PAUSE);
        let Some((number, id, pieces)) = &mut following else {
            let known = lock(&shared.known);
            let newest = known.accepted.iter().rfind(|(number, _)| !known.followed.contains_key(number));
            following = newest.map(|(number, id)| (*number, id.clone(), Vec::new()));
            continue;
        };
        let Some(client) = shared.client(&mut last) else { continue };
        let (ended, gaps) = listen(&client, id, pieces);
        let mut known = lock(&shared.known);
        if gaps {
            known.strange.push(format!("events of work {number}: a number was left out after {}", pieces.len()));
        }
        if ended || gaps {
            known.followed.insert(*number, core::mem::take(pieces));
            following = None;
        }
    }
}

/// Accepts some work, has the service killed before or after it is done, does something to the database, and starts again.
fn sabotaged(works: u64, done: bool, sabotage: &str) -> Result<(Known, Service, TempDir), String> {
    let data = TempDir::new().map_err(|e| e.to_string())?;
    let (mut service, mut known) = (Service::start_on(data.path(), &[], &[])?, Known::default());
    let client = service.client();
    for number in 0..works {
        let (path, body) = work(number);
        known.note(number, client.post_job(path, &body)?);
    }
    for id in known.accepted.values().filter(|_| done) {
        client.ended(id)?;
    }
    service.end();
    let db = Connection::open(data.path().join("slowpoint.db")).map_err(|e| e.to_string())?;
    db.execute_batch(sabotage).map_err(|e| e.to_string())?;
    drop(db);
    Ok((known, Service::start_on(data.path(), &[], &[])?, data))
}

fn controls(table: &mut Table) -> Result<(), String> {
    let (known, service, _data) = sabotaged(6, false, "DELETE FROM jobs WHERE number = 5")?;
    table.count("control: a job was deleted; lost", known.judged(&service.client())?.lost.len(), 1);

    let exchanged = "UPDATE answers SET (answer, answer_sum) =
        (SELECT answer, answer_sum FROM answers WHERE shelf = 'days') WHERE shelf = 'sweeps'";
    let (known, service, _data) = sabotaged(3, true, exchanged)?;
    table.count(
        "control: the answer of another work, checksum and all; wrong",
        known.judged(&service.client())?.wrong.len(),
        1,
    );

    let exchanged = "UPDATE pieces SET place = place + 1000 WHERE place < 2; UPDATE pieces SET place = 1001 - place WHERE place > 999";
    let (mut known, service, _data) = sabotaged(2, true, exchanged)?;
    for (number, id) in &known.accepted {
        let mut pieces = Vec::new();
        listen(&service.client(), id, &mut pieces);
        known.followed.insert(*number, pieces);
    }
    table.count("control: two pieces were exchanged; streams wrong", known.judged(&service.client())?.pieces.len(), 2);

    // One byte: the service must notice by itself.
    let altered =
        "UPDATE answers SET answer = CAST(replace(CAST(answer AS TEXT), '\"flights\":', '\"flight5\":') AS BLOB)";
    let (known, service, _data) = sabotaged(3, true, altered)?;
    let (client, mut told) = (service.client(), 0);
    for id in known.accepted.values() {
        let reply = client.get(&format!("/v1/jobs/{id}/results"))?;
        told += usize::from(reply.status >= 400 && reply.fault().is_none());
    }
    table.count("control: one byte of three stored answers was altered; told", told, 3);
    // Posted again, it is flown again.
    for number in 0..3 {
        let (path, body) = work(number);
        client.post(path, &body)?;
    }
    table.none("control: and wrong once they were posted again", &known.judged(&client)?.wrong);
    Ok(())
}
