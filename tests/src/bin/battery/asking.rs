//! Clients that post work and follow it while something is done to the service.

use std::net::SocketAddr;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use slowpoint_tests::served::{Client, Service};

use crate::cards::work;
use crate::known::{Known, listen, lock};

/// Jobs that are open at a time.
const OPEN: usize = 6;
/// Between two requests of a client.
const PAUSE: Duration = Duration::from_millis(4);
const CLIENTS: usize = 2;

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
        for client in 0..CLIENTS {
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
