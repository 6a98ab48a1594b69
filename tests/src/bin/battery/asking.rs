//! Clients that post work and follow it while something is done to the service.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use rusqlite::Connection;
use slowpoint_tests::served::{Client, Service};

use crate::cards::{LENGTHY, work};
use crate::known::{Known, listen, lock};

/// Jobs that are open at a time.
const OPEN: usize = 6;
/// Between two requests of a client.
const PAUSE: Duration = Duration::from_millis(4);
/// Threads that post.
const POSTING: usize = 2;
/// Clients that the service knows: each posts work of every kind.
const CLIENTS: u64 = 4;
/// The fewer a service is given, the longer is lengthy work.
pub const CORES: [&str; 2] = ["--cores", "2"];
/// What a service is started with to tell clients apart.
pub const TOLD_APART: [&str; 3] = [CORES[0], CORES[1], "--behind-proxy"];
/// It is waited so long for a turn to end, or a job to come on.
const PATIENCE: Duration = Duration::from_secs(120);

/// What the threads of a trial share.
#[derive(Default)]
pub struct Shared {
    address: Mutex<Option<SocketAddr>>,
    known: Mutex<Known>,
    next: AtomicU64,
    cut_off: AtomicU64,
    over: AtomicBool,
}

/// Has clients ask while this is done; what they know then, and how many connections were cut off.
pub fn asked_while(done: impl FnOnce(&Shared) -> Result<(), String>) -> Result<(Known, u64), String> {
    let shared = Shared::default();
    std::thread::scope(|scope| {
        for client in 0..POSTING {
            let shared = &shared;
            scope.spawn(move || post_on(shared, client));
        }
        scope.spawn(|| follow(&shared));
        let tried = done(&shared);
        shared.over.store(true, Ordering::SeqCst);
        tried
    })?;
    let known = shared.known.into_inner().unwrap_or_else(PoisonError::into_inner);
    Ok((known, shared.cut_off.into_inner()))
}

impl Shared {
    /// Names the service that lives from now on.
    pub fn serves(&self, service: Option<&Service>) {
        *lock(&self.address) = service.map(|service| service.address);
    }

    /// A client of the service that lives now.
    fn client(&self, last: &mut Option<(SocketAddr, Client)>) -> Option<Client> {
        let address = (*lock(&self.address))?;
        if last.as_ref().is_none_or(|(known, _)| *known != address) {
            *last = Some((address, Client::new(address)));
        }
        last.as_ref().map(|(_, client)| client.clone())
    }

    /// Posts work as the client that it is of.
    fn post(&self, client: &Client, number: u64) {
        let (path, body) = work(number);
        match client.clone().forwarded_for(&format!("192.0.2.{}", 1 + number % CLIENTS)).post_job(path, &body) {
            Ok(reply) => lock(&self.known).note(number, reply),
            Err(_) => _ = self.cut_off.fetch_add(1, Ordering::SeqCst),
        }
    }
}

/// An assessment and a day of two clients that take longer than a turn: the one halts while others have theirs, the other gives
/// way and goes on from what it has.
pub struct Lengthy {
    assessment: String,
    day: String,
}

impl Lengthy {
    /// Posts the so-manieth of them.
    pub fn posted(shared: &Shared, service: &Service, number: u64) -> Result<Self, String> {
        let client = service.client();
        let posted = |number| {
            shared.post(&client, number);
            lock(&shared.known).accepted.get(&number).cloned().ok_or("lengthy work was not accepted")
        };
        Ok(Self { assessment: posted(LENGTHY + 3 * number + 1)?, day: posted(LENGTHY + 3 * number)? })
    }

    /// Turns after which the assessment has halted, in the life of a service.
    pub fn halts(&self, service: &Service) -> usize {
        turns(service, "a job halts", &self.assessment)
    }

    /// Turns of the day that are over.
    pub fn turns(&self, service: &Service) -> usize {
        turns(service, "a job's turn is over", &self.day)
    }

    /// Waits until the assessment halts; whether it did.
    pub fn halted(&self, service: &Service) -> bool {
        waited(|| self.halts(service) > 0)
    }

    /// Waits until the day gives way; whether it did before its end.
    pub fn gave_way(&self, service: &Service) -> bool {
        waited(|| self.turns(service) > 0)
            && service
                .client()
                .get(&format!("/v1/jobs/{}", self.day))
                .is_ok_and(|job| job.json()["status"] == "running")
    }

    /// Waits until both have ended with an answer; whether they did.
    pub fn ended(&self, service: &Service) -> bool {
        let client = service.client();
        [&self.assessment, &self.day].into_iter().all(|id| client.ended(id).is_ok_and(|ended| ended == "successful"))
    }
}

fn turns(service: &Service, what: &str, id: &str) -> usize {
    service.lines_with(what, usize::MAX).iter().filter(|line| line.contains(id)).count()
}

/// Waits until no job is at the piece at which it has fallen twice in a row: a third fall there is its end, as it has to be.
/// Whether one was. The database is not held open over a kill, so that the next service finds it as the last has left it.
pub fn waited_to_kill(data: &Path) -> Result<bool, String> {
    let asked = "SELECT EXISTS (SELECT 1 FROM jobs WHERE open AND in_turn AND falls >= 2 AND fell = reached)";
    let would_end = || {
        let db = Connection::open(data.join("slowpoint.db"))?;
        db.query_row(asked, [], |row| row.get::<_, bool>(0))
    };
    let (begun, mut waited) = (Instant::now(), false);
    while begun.elapsed() < PATIENCE && would_end().map_err(|e| e.to_string())? {
        waited = true;
        std::thread::sleep(PAUSE);
    }
    Ok(waited)
}

fn waited(until: impl Fn() -> bool) -> bool {
    let begun = Instant::now();
    while begun.elapsed() < PATIENCE {
        if until() {
            return true;
        }
        std::thread::sleep(PAUSE);
    }
    false
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
        shared.post(&client, number);
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
