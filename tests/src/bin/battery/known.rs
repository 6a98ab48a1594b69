//! What clients were told by a service, held against one that nobody disturbs.

use std::collections::{BTreeMap, BTreeSet};
use std::io::BufRead;
use std::sync::{Mutex, MutexGuard, PoisonError};

use slowpoint_tests::served::{Client, Reply, Service};

use crate::cards::work;

/// Connections over which one stream of events is read at the most.
const STAYS: usize = 5;

/// What clients know of a service.
#[derive(Default)]
pub struct Known {
    /// Id by number of the work: what the service has acknowledged.
    pub accepted: BTreeMap<u64, String>,
    pub ended: BTreeSet<u64>,
    /// The first answer to each work.
    pub answers: BTreeMap<u64, Vec<u8>>,
    /// Pieces by number of the work.
    pub followed: BTreeMap<u64, Vec<String>>,
    /// Refusals that may be: come back later.
    pub refused: usize,
    /// Answers that may not be.
    pub strange: Vec<String>,
}

/// What became of it.
#[derive(Default)]
pub struct Verdict {
    pub lost: Vec<String>,
    pub wrong: Vec<String>,
    pub pieces: Vec<String>,
}

impl Known {
    /// Takes an answer to work that was posted.
    pub fn note(&mut self, number: u64, reply: Reply) {
        match reply.status {
            201 => {
                let id = reply.json()["jobID"].as_str().unwrap_or_default().to_string();
                self.accepted.insert(number, id);
            }
            200 => {
                let id = reply.json()["id"].as_str().unwrap_or_default().to_string();
                self.accepted.insert(number, id);
                self.ended.insert(number);
                let first = self.answers.entry(number).or_insert_with(|| reply.body.clone());
                if *first != reply.body {
                    self.strange.push(format!("work {number} was answered otherwise before"));
                }
            }
            503 if reply.fault().is_none() => self.refused += 1,
            _ => self.strange.push(format!("work {number}: {}", reply.told())),
        }
    }

    /// Holds it against a service that nobody disturbs.
    pub fn judged(&self, client: &Client) -> Result<Verdict, String> {
        let (reference, mut verdict) = (Service::start(&[])?, Verdict::default());
        for (number, id) in &self.accepted {
            let undisturbed = reference.client();
            let (path, body) = work(*number);
            let expected = undisturbed.post(path, &body)?;
            let ended = client.ended(id)?;
            let found = client.get(&format!("/v1/jobs/{id}/results"))?;
            if ended != "successful" || found.status != 200 {
                verdict.lost.push(format!("work {number}, job {id}: {ended}; {}", found.told()));
            } else if found.body != expected.body {
                verdict.wrong.push(format!("work {number}, job {id}"));
            }
            if self.answers.get(number).is_some_and(|answer| *answer != expected.body) {
                verdict.wrong.push(format!("work {number}, as it was answered between the kills"));
            }
        }
        // What is told on the way is asked of another service: this one has the answers already.
        let reference = Service::start(&[])?;
        for (number, pieces) in &self.followed {
            let (path, body) = work(*number);
            let undisturbed = reference.client();
            let job = undisturbed.post_job(path, &body)?.json()["jobID"].as_str().unwrap_or_default().to_string();
            let (mut expected, mut ended, mut gaps) = (Vec::new(), false, false);
            // On a busy machine work may last longer than a client stays.
            for _ in 0..STAYS {
                (ended, gaps) = listen(&undisturbed, &job, &mut expected);
                if ended || gaps {
                    break;
                }
            }
            if !ended || gaps || expected != *pieces {
                let same = expected.iter().zip(pieces).take_while(|(a, b)| a == b).count();
                let (told, whole) = (pieces.len(), expected.len());
                verdict.pieces.push(format!("work {number}: {same} pieces the same, {told} told of {whole}"));
            }
        }
        Ok(verdict)
    }
}

/// Takes the pieces of a job from the first that is missing on. Whether it was told that the job has ended, and whether a number
/// was left out.
pub fn listen(client: &Client, id: &str, pieces: &mut Vec<String>) -> (bool, bool) {
    let Ok(events) = client.events(&format!("/v1/jobs/{id}/events"), pieces.len()) else { return (false, false) };
    let (mut event, mut number, mut data) = (String::new(), None, String::new());
    for line in events.lines().map_while(Result::ok) {
        let (field, value) = line.split_once(": ").unwrap_or((&line, ""));
        match field {
            "event" => event = value.into(),
            "id" => number = value.parse::<usize>().ok(),
            "data" => data = value.into(),
            // Each begins anew: after a while without news comes a comment, which ends with an empty line as well.
            "" => match core::mem::take(&mut event).as_str() {
                "piece" if number == Some(pieces.len() + 1) => pieces.push(core::mem::take(&mut data)),
                "piece" => return (false, true),
                "job" => return (true, false),
                _ => {}
            },
            _ => {}
        }
    }
    (false, false)
}

/// What a thread that panicked held is looked at all the same.
pub fn lock<T>(shared: &Mutex<T>) -> MutexGuard<'_, T> {
    shared.lock().unwrap_or_else(PoisonError::into_inner)
}

/// SplitMix64 (Steele, Lea and Flood 2014): the same numbers in each run.
pub fn scattered(number: u64) -> u64 {
    let mut z = number.wrapping_add(1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}
