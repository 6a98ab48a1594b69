//! Work that takes longer than a client waits: known by the id of what it answers, run one at a time, dismissed at will.
//!
//! A job is known within the process only. What it answers is stored like every other answer, so a job that has succeeded
//! is known as long as its answer is.

use std::collections::HashMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use jiff::Timestamp;
use tokio::task::AbortHandle;

use crate::compute::{Failure, Outcome};
use crate::store::Shelf;

/// Jobs that have ended and are still known.
const REMEMBERED: usize = 1000;

/// How far a job has come.
#[derive(Debug, Default)]
pub struct Progress {
    done: AtomicU64,
    begun: AtomicU64,
}

impl Progress {
    /// One more piece is done.
    pub fn advance(&self) {
        self.begin();
        self.done.fetch_add(1, Ordering::Relaxed);
    }

    /// The work has begun.
    pub fn begin(&self) {
        self.begun.store(1, Ordering::Relaxed);
    }
}

/// Where a job stands (OGC API - Processes 1.0).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// It waits.
    Accepted,
    /// It runs.
    Running,
    /// Its answer is stored.
    Successful,
    /// It ended without an answer.
    Failed(Failure),
    /// It was given up.
    Dismissed,
}

impl State {
    /// Whether it waits or runs.
    pub fn open(self) -> bool {
        matches!(self, Self::Accepted | Self::Running)
    }
}

/// A job as it is told.
#[derive(Debug, Clone)]
pub struct Told {
    /// What it answers.
    pub shelf: Shelf,
    /// Where it stands.
    pub state: State,
    /// When it was accepted.
    pub created: Timestamp,
    /// When it ended; when it was accepted, until then.
    pub updated: Timestamp,
    /// Pieces done, and all.
    pub pieces: [u64; 2],
}

struct Job {
    shelf: Shelf,
    created: Timestamp,
    ended: Option<(State, Timestamp)>,
    progress: Arc<Progress>,
    pieces: u64,
    task: Option<AbortHandle>,
}

/// Every job that is known.
#[derive(Default)]
pub struct Jobs(Mutex<HashMap<String, Job>>);

impl Jobs {
    /// Accepts a job under an id, unless one of this id waits or runs, or as many wait and run as are taken: `None` then.
    /// `work` runs it.
    pub fn accept<W, F>(self: &Arc<Self>, id: &str, shelf: Shelf, pieces: u64, most: usize, work: W) -> Option<Told>
    where
        W: FnOnce(Arc<Progress>) -> F,
        F: Future<Output = Outcome> + Send + 'static,
    {
        let mut known = self.lock();
        if let Some(job) = known.get(id).filter(|job| job.ended.is_none()) {
            return Some(told(job));
        }
        if known.values().filter(|job| job.ended.is_none()).count() >= most {
            return None;
        }
        let progress = Arc::new(Progress::default());
        let running = work(Arc::clone(&progress));
        let (this, name, own) = (Arc::clone(self), id.to_string(), Arc::clone(&progress));
        let task = tokio::spawn(async move {
            let state = match running.await {
                Ok(_) => State::Successful,
                Err(failure) => State::Failed(failure),
            };
            this.end(&name, &own, state);
        });
        let created = Timestamp::now();
        let job = Job { shelf, created, ended: None, progress, pieces, task: Some(task.abort_handle()) };
        let accepted = told(&job);
        forget_oldest(&mut known);
        known.insert(id.to_string(), job);
        Some(accepted)
    }

    /// Where a job stands.
    pub fn look(&self, id: &str) -> Option<Told> {
        self.lock().get(id).map(told)
    }

    /// Gives a job up, if it waits or runs; where it stands then.
    pub fn dismiss(&self, id: &str) -> Option<Told> {
        let mut known = self.lock();
        let job = known.get_mut(id)?;
        if let Some(task) = job.task.take() {
            // Nobody waits for the run then, which stops it.
            task.abort();
            job.ended = Some((State::Dismissed, Timestamp::now()));
        }
        Some(told(job))
    }

    /// Ends a job, but not a later one of the same id.
    fn end(&self, id: &str, own: &Arc<Progress>, state: State) {
        if let Some(job) = self.lock().get_mut(id).filter(|job| Arc::ptr_eq(&job.progress, own) && job.task.is_some()) {
            (job.task, job.ended) = (None, Some((state, Timestamp::now())));
        }
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, HashMap<String, Job>> {
        // The map is sound after every statement, so a panic elsewhere leaves nothing half done.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn told(job: &Job) -> Told {
    let done = job.progress.done.load(Ordering::Relaxed);
    let state = match job.ended {
        Some((state, _)) => state,
        None if job.progress.begun.load(Ordering::Relaxed) > 0 => State::Running,
        None => State::Accepted,
    };
    Told {
        shelf: job.shelf,
        state,
        created: job.created,
        updated: job.ended.map_or(job.created, |(_, at)| at),
        pieces: [done, job.pieces],
    }
}

/// Makes room for one more among those that have ended.
fn forget_oldest(known: &mut HashMap<String, Job>) {
    let ended = || known.iter().filter_map(|(id, job)| Some((job.ended?.1, id)));
    if ended().count() >= REMEMBERED
        && let Some(oldest) = ended().min().map(|(_, id)| id.clone())
    {
        known.remove(&oldest);
    }
}
