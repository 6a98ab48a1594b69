//! The clock of the machine is set forward and back while the service works, and while it is down: what was accepted is
//! answered, what holds until a time holds as the clock stands, and nothing is given up because a clock was wrong.

use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use rusqlite::Connection;
use serde_json::json;
use slowpoint_tests::served::{Client, Service, told};
use tempfile::TempDir;

use crate::Size;
use crate::asking::{Lengthy, TOLD_APART, asked_while, waited_to_kill};
use crate::cards::{card, work};
use crate::table::Table;

/// Brings the library that changes what a program takes for the time.
const PACKAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/package");
const LIBRARY: &str = "libfaketimeMT.so.1";

const MINUTE_S: i64 = 60;
const HOUR_S: i64 = 60 * MINUTE_S;
const DAY_S: i64 = 24 * HOUR_S;
/// How the clock stands in turn, against the true time: minutes ahead, beyond every lease, behind what was accepted, beyond
/// what ended jobs and answers are kept for, and back again.
const STANDS_S: [i64; 10] = [
    5 * MINUTE_S,
    2 * DAY_S,
    -3 * HOUR_S,
    40 * DAY_S,
    -30 * DAY_S,
    0,
    1100 * DAY_S,
    DAY_S,
    -1100 * DAY_S,
    10 * MINUTE_S,
];
/// The service is killed and started anew after so many changes, so that each of them is met by a running one and, in time, by
/// one that starts.
const LIVES: usize = 3;
/// It tells the time so well.
const NEAR_S: i64 = 30;

pub fn tried(size: Size, table: &mut Table) -> Result<(), String> {
    let clock = Clock::new()?;
    leaping(&clock, size.of((20, 1), (200, 5), (1000, 10)), table)?;
    until_a_time(&clock, table)?;
    kept(&clock, table)
}

/// What a program that is started with it takes for the time.
struct Clock {
    place: TempDir,
    environment: Vec<(&'static str, String)>,
}

impl Clock {
    fn new() -> Result<Self, String> {
        let run = |program: &str, arguments: &[&str]| {
            let run = Command::new(program).args(arguments).output().map_err(|e| e.to_string())?;
            let said = [run.stdout, run.stderr].concat();
            let said = String::from_utf8_lossy(&said).trim().to_string();
            if run.status.success() { Ok(said) } else { Err(format!("no clock that can be set: {said}")) }
        };
        run(PACKAGE, &["libfaketime"])?;
        let files = run("dpkg", &["-L", "libfaketime"])?;
        let library = files.lines().find(|file| file.ends_with(LIBRARY)).ok_or("libfaketime has no library")?;
        let place = TempDir::new().map_err(|e| e.to_string())?;
        let environment = vec![
            ("LD_PRELOAD", library.to_string()),
            ("FAKETIME_TIMESTAMP_FILE", place.path().join("stands").display().to_string()),
            // It is looked at each time, and what counts how long something takes goes on as it does.
            ("FAKETIME_NO_CACHE", "1".into()),
            ("FAKETIME_DONT_FAKE_MONOTONIC", "1".into()),
            ("NO_FAKE_STAT", "1".into()),
        ];
        let clock = Self { place, environment };
        clock.set(0)?;
        Ok(clock)
    }

    /// Sets it so many seconds ahead of the true time.
    fn set(&self, ahead_s: i64) -> Result<(), String> {
        let (new, stands) = (self.place.path().join("new"), self.place.path().join("stands"));
        fs::write(&new, format!("{ahead_s:+}\n")).and_then(|()| fs::rename(new, stands)).map_err(|e| e.to_string())
    }

    fn environment(&self) -> Vec<(&str, &str)> {
        self.environment.iter().map(|(name, value)| (*name, value.as_str())).collect()
    }

    fn service(&self, data: &Path, arguments: &[&str]) -> Result<Service, String> {
        let service = Service::start_on(data, arguments, &self.environment())?;
        service.ready_s().map(|_| service)
    }
}

/// How far a service is ahead of the true time, as it tells when it accepts new work.
fn ahead_s(client: &Client, number: u64) -> Result<i64, String> {
    let (path, body) = work(number);
    let reply = client.post_job(path, &body)?;
    let created = reply.json()["created"].as_str().map(String::from).ok_or_else(|| reply.told())?;
    // Nobody wants its answer.
    client.delete(reply.header("location"))?;
    let db = Connection::open_in_memory().map_err(|e| e.to_string())?;
    let told_s: i64 = db.query_row("SELECT unixepoch(?1)", [&created], |row| row.get(0)).map_err(|e| e.to_string())?;
    let true_s = SystemTime::now().duration_since(UNIX_EPOCH).map_err(|e| e.to_string())?;
    Ok(told_s - true_s.as_secs().cast_signed())
}

/// Numbers of works that are only asked for their time.
const TIMES: u64 = 1 << 40;

/// Sets the clock so often. So many times lengthy work is posted: the clock is set as it halts and as it gives way, and the service
/// is killed; before it is killed again that work ends.
fn leaping(clock: &Clock, (leaps, lengthy): (usize, usize), table: &mut Table) -> Result<(), String> {
    let data = TempDir::new().map_err(|e| e.to_string())?;
    let (mut shown, mut panics, mut turns) = (0, 0, 0);
    let (mut halted, mut gave_way, mut ended, mut at_work) = (0, 0, 0, None);
    let (known, cut_off) = asked_while(|shared| {
        let mut stands = (0_u64..).zip(STANDS_S.into_iter().cycle()).take(leaps);
        let lives = leaps.div_ceil(LIVES);
        let between = lives.div_ceil(lengthy);
        for life in 0..lives {
            let mut service = clock.service(data.path(), &TOLD_APART)?;
            shared.serves(Some(&service));
            if life % between == 0 {
                at_work = Some(Lengthy::posted(shared, &service, life as u64)?);
            }
            for (place, (leap, ahead)) in stands.by_ref().take(LIVES).enumerate() {
                std::thread::sleep(Duration::from_millis(300));
                match (life % between, place, &at_work) {
                    (0, 0, Some(work)) => halted += usize::from(work.halted(&service)),
                    (0, 1, Some(work)) => gave_way += usize::from(work.gave_way(&service)),
                    _ => {}
                }
                clock.set(ahead)?;
                let told = ahead_s(&service.client(), TIMES + leap)?;
                shown += usize::from((told - ahead).abs() <= NEAR_S);
            }
            if let (1, Some(work)) = (life % between, &at_work) {
                ended += usize::from(work.ended(&service));
            }
            waited_to_kill(data.path())?;
            service.end();
            shared.serves(None);
            panics += service.panics();
            turns += service.logged("a job's turn is over");
        }
        Ok(())
    })?;
    let service = clock.service(data.path(), &[])?;
    let verdict = known.judged(&service.client())?;
    table.count("the clock was set while it worked, as its own times show", shown, leaps);
    table.told("connections cut off as it was killed and started in between", cut_off);
    table.told("jobs accepted", known.accepted.len());
    table.told("jobs followed through their events", known.followed.len());
    table.at_least("turns of jobs while the clock was set", turns, 1);
    table.count("lengthy assessments that had halted as it was set", halted, lengthy);
    table.count("lengthy days that had given way as it was set", gave_way, lengthy);
    table.count("lengthy works that ended after one kill more", ended, lengthy);
    table.none("accepted jobs lost", &verdict.lost);
    table.none("answers with a wrong byte", &verdict.wrong);
    table.none("event streams with a wrong piece", &verdict.pieces);
    table.none("answers that may not be", &known.strange);
    table.count("refusals", known.refused, 0);
    table.count("panics", panics + service.panics(), 0);

    clock.set(2 * DAY_S)?;
    let service = Service::start(&[])?;
    let told = ahead_s(&service.client(), TIMES)?;
    table.count("control: the clock was set, for a service that has another; shown", usize::from(told > NEAR_S), 0);
    Ok(())
}

/// A token and a link of a day each, asked for while the clock stands before and after their end, over a restart as well.
fn until_a_time(clock: &Clock, table: &mut Table) -> Result<(), String> {
    clock.set(0)?;
    let data = TempDir::new().map_err(|e| e.to_string())?;
    let place = data.path().display().to_string();
    let token = told(&["token", "add", "club", "--days", "1", "--data-dir", &place], &clock.environment())?;
    let mut service = clock.service(data.path(), &[])?;
    let stored = service.client().bearing(&token).post("/v1/assessments", &card(1, 128))?;
    let link = json!({"answer": stored.header("location"), "hours": 24});
    let link = service.client().bearing(&token).post("/v1/shares", &link)?.json()["href"].as_str().map(String::from);
    let link = link.ok_or("no link was made")?;
    let (mut asked, mut right, mut over) = (0, 0, 0);
    for ahead in [0, 2 * DAY_S, HOUR_S, -10 * DAY_S, 2 * DAY_S, 0] {
        clock.set(ahead)?;
        for started_anew in [false, true] {
            if started_anew {
                service.end();
                service = clock.service(data.path(), &[])?;
                // It has looked at what is over by then.
                std::thread::sleep(Duration::from_millis(300));
            }
            let client = service.client();
            for (reply, refusal) in [(client.clone().bearing(&token).get("/v1/jobs")?, 401), (client.get(&link)?, 403)]
            {
                let expected = if ahead < DAY_S { 200 } else { refusal };
                asked += 1;
                right += usize::from(reply.status == expected && reply.fault().is_none());
                over += usize::from(reply.status == refusal);
            }
        }
    }
    table.count("a token and a link of a day: answered as the clock stands", right, asked);
    table.count("control: they were over", over, 8);
    table.no_panic(&service);
    Ok(())
}

const KEEP_DAYS: &str = "30";
/// Answers that were just asked for.
const USED: u64 = 6;
const PATIENCE: Duration = Duration::from_secs(30);

/// Answers that were just asked for, and one that was not for longer than answers are kept: a service that starts gives that
/// one up, and no other, wherever the clock stands.
fn kept(clock: &Clock, table: &mut Table) -> Result<(), String> {
    let (mut lost, mut given_up, mut stands, mut panics) = (Vec::new(), 0, 0, 0);
    for ahead in [0, 400 * DAY_S, -400 * DAY_S] {
        stands += 1;
        clock.set(0)?;
        let data = TempDir::new().map_err(|e| e.to_string())?;
        let mut service = clock.service(data.path(), &["--keep-days", KEEP_DAYS])?;
        let posted = |seed| service.client().post("/v1/assessments", &card(seed, 128));
        // The first will be the one that was not asked for.
        let answers = (0..=USED).map(posted).collect::<Result<Vec<_>, _>>()?;
        service.end();
        let db = Connection::open(data.path().join("slowpoint.db")).map_err(|e| e.to_string())?;
        let old = answers[0].json()["id"].as_str().unwrap_or_default().to_string();
        db.execute("UPDATE answers SET used_ms = used_ms - ?2 * 1000 WHERE id = ?1", (&old, 31 * DAY_S))
            .map_err(|e| e.to_string())?;
        clock.set(ahead)?;
        let service = clock.service(data.path(), &["--keep-days", KEEP_DAYS])?;
        let begun = Instant::now();
        // Asked of the database: to ask the service would be a use.
        while begun.elapsed() < PATIENCE {
            let there: i64 = db
                .query_row("SELECT count(*) FROM answers WHERE id = ?1", [&old], |row| row.get(0))
                .map_err(|e| e.to_string())?;
            if there == 0 {
                given_up += 1;
                break;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        for answer in &answers[1..] {
            let again = service.client().get(answer.header("location"))?;
            if again.status != 200 || again.body != answer.body {
                lost.push(format!("{} days ahead: {}", ahead / DAY_S, again.told()));
            }
        }
        panics += service.panics();
    }
    table.none("answers just asked for and given up, as the clock was set by more than they are kept", &lost);
    table.count("control: an answer that was not asked for as long; given up", given_up, stands);
    table.count("panics", panics, 0);
    Ok(())
}
