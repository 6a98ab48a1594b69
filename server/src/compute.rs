//! Flying on threads of its own: each piece of work once at a time, a bounded queue, stopped when nobody waits.

use std::collections::HashMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use axum::body::Bytes;
use tokio::sync::{Semaphore, watch};
use tracing::Instrument;

use crate::config::Config;
use crate::metrics::{Counted, Metrics};
use crate::threads;

/// Why there is no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Failure {
    /// Too many computations run and wait.
    Overloaded,
    /// No place became free in time.
    QueueTimeout,
    /// It took longer than a computation may.
    TooLong,
    /// The stop flag was raised.
    Stopped,
    /// The store failed; its cause is in the log.
    Storage,
    /// The computation failed; its cause is in the log.
    Failed,
    /// Another engine accepted it, which this one cannot fly.
    EngineChanged,
}

/// Why nothing came of a computation that was asked for.
#[derive(Debug)]
pub enum Unanswered<E> {
    /// It was refused before it began.
    Refused(E),
    /// It was not, and failed.
    Failed(Failure),
}

/// What a computation comes to.
pub type Outcome = Result<Bytes, Failure>;

/// By what the work is for: two that ask for the same share one run.
type Running = HashMap<String, watch::Sender<Option<Outcome>>>;

/// The computations that run and wait.
pub struct Compute {
    /// Jobs have threads of their own: one that waits for a part of its work may take up another, and would keep it waiting.
    pool: rayon::ThreadPool,
    places: Semaphore,
    /// Running and waiting ones together.
    most: usize,
    queue_timeout: Duration,
    limit: Duration,
    /// Every waiter holds a receiver. Subscribing, counting and removing happen under this lock.
    running: Mutex<Running>,
    stopping: watch::Sender<bool>,
    metrics: Arc<Metrics>,
}

impl Compute {
    /// Starts the threads that fly.
    pub fn new(config: &Config, metrics: Arc<Metrics>) -> Result<Self, rayon::ThreadPoolBuildError> {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(config.cores).thread_name(|k| format!("fly-{k}"));
        let concurrent = config.concurrent.max(1);
        Ok(Self {
            pool: pool.build()?,
            places: Semaphore::new(concurrent),
            most: concurrent.saturating_add(config.queue),
            queue_timeout: config.queue_timeout(),
            limit: config.compute_limit(),
            running: Mutex::default(),
            stopping: watch::Sender::new(false),
            metrics,
        })
    }

    /// Computations that got a place so far.
    pub fn begun(&self) -> u64 {
        self.metrics.begun.get()
    }

    /// Computations that were stopped so far because nobody waited any more or the server ended.
    pub fn stopped(&self) -> u64 {
        self.metrics.stopped.get()
    }

    /// Who waits for them, all together.
    pub fn waiters(&self) -> usize {
        self.lock().values().map(watch::Sender::receiver_count).sum()
    }

    /// Whether one more computation would be refused.
    pub fn full(&self) -> bool {
        self.lock().len() >= self.most
    }

    /// Threads that fly.
    pub fn threads(&self) -> usize {
        self.pool.current_num_threads()
    }

    /// Stops everything that runs and waits; what comes later is refused.
    pub fn stop_all(&self) {
        self.stopping.send_replace(true);
    }

    /// Runs under a name what `begin` gives, or waits for the run of this name that is under way. `begin` is called if there
    /// is none and one more is taken, and may refuse. Dropping the future gives up waiting; the last one to give up stops
    /// the work, or drops it if it has not got a place yet.
    pub async fn run<W, E>(
        self: &Arc<Self>,
        name: &str,
        begin: impl FnOnce() -> Result<W, E>,
    ) -> Result<Bytes, Unanswered<E>>
    where
        W: FnOnce(&AtomicBool) -> Outcome + Send + 'static,
    {
        let mut waiter = self.join(name, begin)?;
        let done = waiter.wait_for(Option::is_some).await;
        // A sender that is gone without a word means that its task was torn down.
        let outcome = done.ok().and_then(|outcome| outcome.clone()).unwrap_or(Err(Failure::Stopped));
        outcome.map_err(Unanswered::Failed)
    }

    fn join<W, E>(
        self: &Arc<Self>,
        name: &str,
        begin: impl FnOnce() -> Result<W, E>,
    ) -> Result<watch::Receiver<Option<Outcome>>, Unanswered<E>>
    where
        W: FnOnce(&AtomicBool) -> Outcome + Send + 'static,
    {
        if *self.stopping.borrow() {
            return Err(Unanswered::Failed(Failure::Stopped));
        }
        let mut running = self.lock();
        if let Some(sender) = running.get(name) {
            return Ok(sender.subscribe());
        }
        if running.len() >= self.most {
            return Err(Unanswered::Failed(Failure::Overloaded));
        }
        let work = begin().map_err(Unanswered::Refused)?;
        let (sender, waiter) = watch::channel(None);
        running.insert(name.to_string(), sender.clone());
        drop(running);
        let (this, name) = (Arc::clone(self), name.to_string());
        // Below the request that begins it; another that joins it notes its name when it fails.
        let span = tracing::error_span!("computation", name);
        let supervised = async move {
            let outcome = this.supervise(&name, &sender, work).await;
            forget(&mut this.lock(), &name, &sender);
            sender.send_replace(Some(outcome));
        };
        tokio::spawn(supervised.instrument(span));
        Ok(waiter)
    }

    async fn supervise<W>(self: &Arc<Self>, name: &str, sender: &watch::Sender<Option<Outcome>>, work: W) -> Outcome
    where
        W: FnOnce(&AtomicBool) -> Outcome + Send + 'static,
    {
        let (waiting, since) = (Counted::up(&self.metrics.waiting), Instant::now());
        let _place = tokio::select! {
            place = tokio::time::timeout(self.queue_timeout, self.places.acquire()) => match place {
                Ok(Ok(place)) => place,
                _ => return Err(Failure::QueueTimeout),
            },
            () = self.unwanted(name, sender) => return self.note_stopped(),
        };
        drop(waiting);
        let _running = Counted::up(&self.metrics.running);
        self.metrics.wait_s.observe(since.elapsed().as_secs_f64());
        self.metrics.begun.inc();
        let stop = Stop::default();
        let (this, flag) = (Arc::clone(self), stop.flag());
        let mut flying = threads::blocking(move || threads::on_pool(&this.pool, || work(&flag)));
        let done = tokio::select! {
            done = &mut flying => done,
            () = self.unwanted(name, sender) => {
                stop.raise();
                // The place stays taken until the threads are free again.
                flying.await
            }
            () = tokio::time::sleep(self.limit) => {
                stop.raise();
                match flying.await {
                    Ok(Err(Failure::Stopped)) => Ok(Err(Failure::TooLong)),
                    // It was done just then.
                    done => done,
                }
            }
        };
        match done {
            Ok(Err(Failure::Stopped)) => self.note_stopped(),
            Ok(outcome) => outcome,
            Err(lost) => {
                threads::log_lost(lost);
                Err(Failure::Failed)
            }
        }
    }

    /// Comes back when the work is of no use any more. From then on nobody can join it.
    async fn unwanted(&self, name: &str, sender: &watch::Sender<Option<Outcome>>) {
        let mut stopping = self.stopping.subscribe();
        loop {
            tokio::select! {
                () = sender.closed() => {}
                _ = stopping.wait_for(|stopping| *stopping) => {
                    forget(&mut self.lock(), name, sender);
                    return;
                }
            }
            let mut running = self.lock();
            if sender.receiver_count() == 0 {
                forget(&mut running, name, sender);
                return;
            }
        }
    }

    fn note_stopped(&self) -> Outcome {
        self.metrics.stopped.inc();
        Err(Failure::Stopped)
    }

    fn lock(&self) -> MutexGuard<'_, Running> {
        // The map is sound after every statement, so a panic elsewhere leaves nothing half done.
        self.running.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The flag that the work watches. Raised also when its supervisor is dropped with the runtime: threads
/// cannot be aborted, and would hold up the end.
#[derive(Default)]
pub struct Stop(Arc<AtomicBool>);

impl Stop {
    /// For the work.
    pub fn flag(&self) -> Arc<AtomicBool> {
        Arc::clone(&self.0)
    }

    fn raise(&self) {
        self.0.store(true, Ordering::SeqCst);
    }
}

impl Drop for Stop {
    fn drop(&mut self) {
        self.raise();
    }
}

/// Removes a run, but not a later one of the same name.
fn forget(running: &mut Running, name: &str, sender: &watch::Sender<Option<Outcome>>) {
    if running.get(name).is_some_and(|kept| kept.same_channel(sender)) {
        running.remove(name);
    }
}
