//! Killed in the middle of its work, again and again, on the same data: what was accepted is answered, each byte as a service
//! answers that nobody disturbed.

use std::path::Path;
use std::time::{Duration, Instant};

use rusqlite::Connection;
use slowpoint_tests::served::Service;
use tempfile::TempDir;

use crate::Size;
use crate::asking::{CORES, Lengthy, TOLD_APART, asked_while, waited_to_kill};
use crate::cards::work;
use crate::known::{Known, listen, scattered};
use crate::table::{Table, quantile};

/// A start that takes longer is shown with its log.
const SLOW_S: f64 = 2.0;

pub fn tried(size: Size, table: &mut Table) -> Result<(), String> {
    let (kills, lengthy) = size.of((20, 1), (200, 5), (1000, 20));
    let data = TempDir::new().map_err(|e| e.to_string())?;
    let (known, lives) = killed(data.path(), kills, lengthy)?;
    let service = Service::start_on(data.path(), &[], &[])?;
    let verdict = known.judged(&service.client())?;
    table.count("kills in the middle of work", lives.ready_s.len(), kills);
    table.count("of them after a lengthy assessment had halted while others had their turn", lives.halted, lengthy);
    table.count("of them after a lengthy day had given way", lives.gave_way, lengthy);
    table.count("lengthy works after that, halted, gone on with and ended", lives.ended, lengthy);
    table.told("kills that waited for a job to come on from where it had fallen twice", lives.waited);
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
    waited: usize,
    halted: usize,
    gave_way: usize,
    ended: usize,
    cut_off: u64,
    panics: usize,
}

/// Kills a service on these data so often while clients ask it. So many times lengthy work is posted and meets two kills, with
/// the turns that it has until then; a third at the same piece would be its end, so that it ends before the third.
fn killed(data: &Path, kills: usize, lengthy: usize) -> Result<(Known, Lives), String> {
    let (mut lives, mut at_work) = (Lives::default(), None);
    let (known, cut_off) = asked_while(|shared| {
        (0..kills).try_for_each(|kill| {
            let begun = Instant::now();
            let mut service = Service::start_on(data, &TOLD_APART, &[])?;
            let listens_s = begun.elapsed().as_secs_f64();
            shared.serves(Some(&service));
            service.ready_s()?;
            let ready_s = begun.elapsed().as_secs_f64();
            lives.ready_s.push(ready_s);
            if ready_s > SLOW_S {
                let log = service.lines_with("", 12).join("\n    ");
                lives.slow.push(format!(
                    "start {kill}: listens after {listens_s:.1} s, ready after {ready_s:.1} s\n    {log}"
                ));
            }
            match (kill % (kills / lengthy), &at_work) {
                (0, _) => {
                    let posted = Lengthy::posted(shared, &service, kill as u64)?;
                    lives.halted += usize::from(posted.halted(&service));
                    at_work = Some(posted);
                }
                (1, Some(work)) => lives.gave_way += usize::from(work.gave_way(&service)),
                (2, Some(work)) => lives.ended += usize::from(work.ended(&service) && work.halts(&service) > 0),
                _ => {}
            }
            std::thread::sleep(Duration::from_millis(100 + scattered(kill as u64) % 400));
            lives.waited += usize::from(waited_to_kill(data)?);
            service.end();
            shared.serves(None);
            lives.panics += service.panics();
            Ok(())
        })
    })?;
    lives.ready_s.sort_by(f64::total_cmp);
    lives.cut_off = cut_off;
    Ok((known, lives))
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
    // Not told apart, all is one client's.
    let service = Service::start(&CORES)?;
    let (mut turns, mut ended) = (0, false);
    asked_while(|shared| {
        let work = Lengthy::posted(shared, &service, 0)?;
        ended = work.ended(&service);
        turns = work.halts(&service) + work.turns(&service);
        Ok(())
    })?;
    table.count("control: lengthy works of one client alone; ended", usize::from(ended), 1);
    table.count("control: and turns that they took, but the last of the assessment", turns, 1);
    drop(service);

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
