//! Work that nobody waits for: kept in the store, run one at a time, piece by piece, dismissed at will.
//!
//! The store holds the truth; what is signalled within the process is a hint to look there. A job is taken under a lease,
//! every piece that is done is kept, and the answer is kept in the same transaction as the end of the job: wherever the
//! process ends, the next one goes on from the last piece. Between pieces a job gives way to those of other clients.

use std::io;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::watch;
use tracing::Instrument;

use crate::compute::Failure;
use crate::config::Config;
use crate::id::ContentId;
use crate::metrics::{Metrics, Mode};
use crate::news::{Listener, News};
use crate::store::{Accepted, Claimed, Job, Lease, NewJob, Piece, Reason, Shelf, Stage, Store};
use crate::threads;

/// A job is left to its worker for so long after its last word.
const LEASE: Duration = Duration::from_secs(30);
/// Without a hint it is looked for work after so long.
const LOOK: Duration = Duration::from_secs(5);
/// After a failure of the store: time for something to change.
const STORE_PAUSE: Duration = Duration::from_secs(1);
/// A job that has run so long gives way at its next piece, if one of another client waits.
const TURN: Duration = Duration::from_secs(1);

/// What becomes of a job after a piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turn {
    /// It goes on.
    GoesOn,
    /// It gives way here, and goes on at its next turn.
    GivesWay,
}

/// Takes each new piece of a job, in order.
pub type Tell<'a> = dyn Fn(Piece) -> Result<Turn, Failure> + Sync + 'a;

/// Counts flights that were flown.
pub type Count<'a> = dyn Fn(u64) + Sync + 'a;

/// How a job is done: from its input and the pieces it has, to its answer; `None` if it gives way before.
pub type Perform = fn(&dyn Store, &Claimed, &AtomicBool, &Tell, &Count) -> Result<Option<Vec<u8>>, Failure>;

/// The jobs, and the threads that work on them.
pub struct Jobs {
    store: Arc<dyn Store>,
    perform: Perform,
    pool: rayon::ThreadPool,
    limit: Duration,
    /// Name of this process as the holder of leases.
    owner: String,
    /// What is run now, with its stop flag.
    running: Mutex<Option<(ContentId, Arc<AtomicBool>)>>,
    news: News,
    stopping: watch::Sender<bool>,
    metrics: Arc<Metrics>,
}

impl Jobs {
    /// Starts the threads; the work begins with `run`.
    pub fn new(
        config: &Config,
        store: Arc<dyn Store>,
        perform: Perform,
        metrics: Arc<Metrics>,
    ) -> Result<Self, rayon::ThreadPoolBuildError> {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(config.cores).thread_name(|k| format!("job-{k}"));
        Ok(Self {
            store,
            perform,
            pool: pool.build()?,
            limit: config.job_limit(),
            owner: format!("{:032x}", rand::random::<u128>()),
            running: Mutex::default(),
            news: News::default(),
            stopping: watch::Sender::new(false),
            metrics,
        })
    }

    /// See `Store::accept`.
    pub fn accept(&self, job: &NewJob, may_begin: &dyn Fn() -> bool) -> io::Result<Accepted> {
        let accepted = self.store.accept(job, may_begin)?;
        self.news.tell(job.id);
        Ok(accepted)
    }

    /// Gives a job up, if it waits or runs; where it stands then. For one client it goes on while another asks for it.
    pub fn dismiss(&self, id: &ContentId, client: Option<&str>) -> io::Result<Option<Job>> {
        let Some((told, ended)) = self.store.dismiss(id, client)? else { return Ok(None) };
        if ended {
            self.metrics.ended(told.shelf, told.stage);
        }
        if let Some((_, stop)) = self.running().as_ref().filter(|(running, _)| ended && running == id) {
            stop.store(true, Ordering::SeqCst);
        }
        self.news.tell(id);
        Ok(Some(told))
    }

    /// What may have changed from now on.
    pub fn listen(&self) -> Listener {
        self.news.listen()
    }

    /// Whether no more work is begun.
    pub fn stopping(&self) -> watch::Receiver<bool> {
        self.stopping.subscribe()
    }

    /// Begun turns so far.
    pub fn turns(&self) -> u64 {
        self.metrics.turns.get()
    }

    /// Stops what runs and begins nothing more: it is gone on with by the next process.
    pub fn stop(&self) {
        self.stopping.send_replace(true);
        if let Some((_, stop)) = self.running().as_ref() {
            stop.store(true, Ordering::SeqCst);
        }
    }

    /// Works until it is stopped.
    pub async fn run(self: Arc<Self>) {
        let (mut news, mut stopping) = (self.news.listen(), self.stopping.subscribe());
        while !*stopping.borrow() {
            news.forget();
            let this = Arc::clone(&self);
            let claimed = blocking(move || this.store.claim(this.lease())).await;
            let worked = match claimed {
                Ok(Some(claimed)) => {
                    let span = tracing::error_span!("job", id = %claimed.id);
                    self.turn(claimed).instrument(span).await.map(|()| true)
                }
                Ok(None) => Ok(false),
                Err(error) => Err(error),
            };
            let pause = async {
                match worked {
                    Ok(true) => {}
                    Ok(false) => drop(tokio::time::timeout(LOOK, news.any()).await),
                    Err(error) => {
                        tracing::error!(%error, "store failed");
                        tokio::time::sleep(STORE_PAUSE).await;
                    }
                }
            };
            tokio::select! {
                () = pause => {}
                _ = stopping.wait_for(|stopping| *stopping) => {}
            }
        }
    }

    /// Runs a job until it ends or gives way.
    async fn turn(self: &Arc<Self>, claimed: Claimed) -> io::Result<()> {
        let (id, shelf, before) = (claimed.id.clone(), claimed.shelf, claimed.spent);
        if claimed.tried_too_often || claimed.input.is_none() {
            let reason = if claimed.input.is_none() { Reason::Damaged } else { Reason::KeepsFailing };
            tracing::error!(?reason, "a job is given up");
            let key = id.clone();
            return self.note(&key, before, move |this| this.fail(&id, shelf, reason)).await;
        }
        self.metrics.turns.inc();
        let (begun, stop) = (Instant::now(), Arc::new(AtomicBool::new(false)));
        *self.running() = Some((id.clone(), Arc::clone(&stop)));
        // A dismissal, or the end of the server, may have come in between.
        if *self.stopping.borrow() || matches!(self.renew(&id).await, Ok(false)) {
            stop.store(true, Ordering::SeqCst);
        }
        self.news.tell(&id);
        let (this, flag) = (Arc::clone(self), Arc::clone(&stop));
        let mut flying = threads::blocking(move || this.fly(&claimed, &flag));
        let mut too_long = false;
        let ended = loop {
            let left = self.limit.saturating_sub(before + begun.elapsed());
            tokio::select! {
                ended = &mut flying => break ended,
                () = tokio::time::sleep(left), if !too_long => {
                    too_long = true;
                    stop.store(true, Ordering::SeqCst);
                }
                () = tokio::time::sleep(LEASE / 3) => {
                    // A store that fails for a moment does not stop the work; one that says no does.
                    if matches!(self.renew(&id).await, Ok(false)) {
                        stop.store(true, Ordering::SeqCst);
                    }
                }
            }
        };
        *self.running() = None;
        let spent = before + begun.elapsed();
        let name = id.clone();
        self.note(&name, spent, move |this| match ended {
            Ok(Ok(Some(answer))) => this.ended(shelf, Stage::Successful, this.store.finish(&id, &this.owner, &answer)),
            Ok(Err(Failure::Stopped)) if too_long => this.fail(&id, shelf, Reason::TooLong),
            Ok(Ok(None) | Err(Failure::Stopped)) => this.store.give_back(&id, &this.owner, spent, true),
            // Given back for that.
            Ok(Err(Failure::Storage)) => Err(io::Error::other("a piece could not be kept")),
            Ok(Err(Failure::EngineChanged)) => this.fail(&id, shelf, Reason::EngineChanged),
            Ok(Err(_)) => this.fail(&id, shelf, Reason::Broken),
            // It may have been the machine's fault.
            Err(lost) => {
                threads::log_lost(lost);
                this.store.give_back(&id, &this.owner, spent, false)
            }
        })
        .await?;
        tracing::info!(spent_ms = spent.as_millis(), "a job's turn is over");
        Ok(())
    }

    fn fly(&self, claimed: &Claimed, stop: &AtomicBool) -> Result<Option<Vec<u8>>, Failure> {
        let (begun, kept) = (Instant::now(), AtomicU64::new(0));
        let tell = |piece: Piece| {
            let before = kept.fetch_add(1, Ordering::SeqCst) as usize;
            let storage = |error: io::Error| {
                tracing::error!(%error, "store failed");
                Failure::Storage
            };
            // What a turn before this one has kept is not kept again.
            let kept = before < claimed.made.len();
            if !kept && !self.store.add_piece(&claimed.id, self.lease(), before, &piece).map_err(storage)? {
                return Err(Failure::Stopped);
            }
            self.news.tell(&claimed.id);
            let over = begun.elapsed() >= TURN && self.store.others_wait(&claimed.id).map_err(storage)?;
            Ok(if over { Turn::GivesWay } else { Turn::GoesOn })
        };
        let flown = self.metrics.flights(claimed.shelf.name(), Mode::Job);
        threads::on_pool(&self.pool, || {
            (self.perform)(&*self.store, claimed, stop, &tell, &|flights| flown.inc_by(flights))
        })
    }

    fn fail(&self, id: &ContentId, shelf: Shelf, reason: Reason) -> io::Result<bool> {
        self.ended(shelf, Stage::Failed(reason), self.store.fail(id, &self.owner, reason))
    }

    /// Counts a job that ended so, if it was still this worker's.
    fn ended(&self, shelf: Shelf, stage: Stage, was: io::Result<bool>) -> io::Result<bool> {
        if matches!(was, Ok(true)) {
            self.metrics.ended(shelf, stage);
        }
        was
    }

    async fn renew(self: &Arc<Self>, id: &ContentId) -> io::Result<bool> {
        let (this, id) = (Arc::clone(self), id.clone());
        blocking(move || this.store.renew(&id, this.lease())).await
    }

    /// Writes down how a turn ended. If that fails the job is given back, as soon as the store takes it: one that is not counts
    /// as begun in vain, and a failing disk is no fault of the job.
    async fn note<T: Send + 'static>(
        self: &Arc<Self>,
        id: &ContentId,
        spent: Duration,
        write: impl FnOnce(&Self) -> io::Result<T> + Send + 'static,
    ) -> io::Result<()> {
        let this = Arc::clone(self);
        let noted = blocking(move || write(&this)).await.map(drop);
        if let Err(error) = &noted {
            let in_order = error.kind() != io::ErrorKind::InvalidData;
            let mut stopping = self.stopping.subscribe();
            loop {
                let (this, id) = (Arc::clone(self), id.clone());
                let Err(error) = blocking(move || this.store.give_back(&id, &this.owner, spent, in_order)).await else {
                    break;
                };
                tracing::error!(%error, "store failed");
                let stopped = stopping.wait_for(|stopping| *stopping);
                if tokio::time::timeout(STORE_PAUSE, stopped).await.is_ok() {
                    break;
                }
            }
        }
        self.news.tell(id);
        noted
    }

    fn lease(&self) -> Lease<'_> {
        Lease { owner: &self.owner, lasts: LEASE }
    }

    fn running(&self) -> std::sync::MutexGuard<'_, Option<(ContentId, Arc<AtomicBool>)>> {
        // It is sound after every statement, so a panic elsewhere leaves nothing half done.
        self.running.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Runs what blocks off the async threads.
async fn blocking<T: Send + 'static>(work: impl FnOnce() -> io::Result<T> + Send + 'static) -> io::Result<T> {
    threads::blocking(work).await.map_err(io::Error::other)?
}
