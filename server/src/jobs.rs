//! Work that nobody waits for: kept in the store, run one at a time, piece by piece, dismissed at will.
//!
//! The store holds the truth; what is signalled within the process is a hint to look there. A job is taken under a lease,
//! every piece that is done is kept, and the answer is kept in the same transaction as the end of the job: wherever the
//! process ends, the next one goes on from the last piece. Between pieces a job gives way to those of other clients; one that
//! could not go on from its pieces halts meanwhile, and keeps its threads.

use std::collections::HashMap;
use std::io;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use tokio::runtime::Handle;
use tokio::sync::watch;
use tokio::task::JoinHandle;
use tracing::Instrument;

use crate::bound::{Bound, every};
use crate::compute::Failure;
use crate::config::Config;
use crate::core_time::CoreTime;
use crate::id::ContentId;
use crate::metrics::{Metrics, Mode};
use crate::news::{Listener, News};
use crate::store::{Accepted, Claimed, Job, Lease, NewJob, Piece, Reason, Shelf, Spent, Stage, Store};
use crate::threads;

/// A job is left to its worker for so long after its last word.
const LEASE: Duration = Duration::from_secs(30);
/// Without a hint it is looked for work after so long.
const LOOK: Duration = Duration::from_secs(5);
/// After a failure of the store: time for something to change.
const STORE_PAUSE: Duration = Duration::from_secs(1);
/// A job that has run so long gives way at its next piece, if one of another client waits.
const TURN: Duration = Duration::from_secs(1);
/// Jobs that halt at a time: each keeps its memory. With so many, one more does not give way.
const MOST_HALTED: usize = 8;

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

/// How a job is done: from its input and the pieces it has, to its answer; `None` if it gives way before. What it takes is
/// counted on the threads that it is given.
pub type Perform =
    fn(&dyn Store, &Claimed, &rayon::ThreadPool, &AtomicBool, &Tell, &Count) -> Result<Option<Vec<u8>>, Failure>;

/// How jobs are done, and what they may take.
#[derive(Debug, Clone, Copy)]
pub struct Doing {
    /// How one is done.
    pub perform: Perform,
    /// How long the threads of one, so many, may be on a core together, as the machine is now; `None` where that cannot be told
    /// or it is stopped.
    pub most_core_time: fn(&Claimed, usize, &AtomicBool) -> Option<Duration>,
}

/// A job that is flown. Dropping it gives it up.
struct Flight {
    claimed: Arc<Claimed>,
    /// Of its threads, and of those of earlier turns whose work it goes on with.
    core_time: Arc<CoreTime>,
    core_time_before: Duration,
    flying: JoinHandle<Result<Option<Vec<u8>>, Failure>>,
    stop: Arc<AtomicBool>,
    /// Whether it is to halt, or does.
    halts: watch::Sender<bool>,
}

impl Flight {
    fn stop(&self) {
        self.stop.store(true, Ordering::SeqCst);
    }

    fn core_time(&self) -> Duration {
        self.core_time_before + self.core_time.so_far()
    }
}

impl Drop for Flight {
    fn drop(&mut self) {
        self.stop();
        self.halts.send_replace(false);
    }
}

/// The jobs, and the threads that work on them.
pub struct Jobs {
    store: Arc<dyn Store>,
    doing: Doing,
    /// Threads of a job.
    cores: usize,
    limit: Duration,
    /// Name of this process as the holder of leases.
    owner: String,
    /// What is run now, with its stop flag.
    running: Mutex<Option<(ContentId, Arc<AtomicBool>)>>,
    /// What halts until its next turn.
    halted: Mutex<HashMap<ContentId, Flight>>,
    news: News,
    stopping: watch::Sender<bool>,
    metrics: Arc<Metrics>,
}

impl Jobs {
    /// The work begins with `run`.
    pub fn new(config: &Config, store: Arc<dyn Store>, doing: Doing, metrics: Arc<Metrics>) -> Self {
        Self {
            store,
            doing,
            cores: config.cores,
            limit: config.job_limit(),
            owner: format!("{:032x}", rand::random::<u128>()),
            running: Mutex::default(),
            halted: Mutex::default(),
            news: News::default(),
            stopping: watch::Sender::new(false),
            metrics,
        }
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
        if ended {
            if let Some((_, stop)) = self.running().as_ref().filter(|(running, _)| running == id) {
                stop.store(true, Ordering::SeqCst);
            }
            self.halted().remove(id);
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
        self.halted().clear();
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
        let (id, shelf) = (claimed.id.clone(), claimed.shelf);
        let halted = self.halted().remove(&id);
        // What begins anew has its whole time again.
        let before = if halted.is_some() || shelf.goes_on() { claimed.spent } else { Spent::default() };
        if claimed.fell_too_often || claimed.input.is_none() {
            let reason = if claimed.input.is_none() { Reason::Damaged } else { Reason::KeepsFailing };
            tracing::error!(?reason, "a job is given up");
            let key = id.clone();
            return self.note(&key, before, move |this| this.fail(&id, shelf, reason)).await;
        }
        self.metrics.turns.inc();
        let begun = Instant::now();
        let mut flight = halted.unwrap_or_else(|| self.begin(claimed, before.core_time));
        let mut halts = flight.halts.subscribe();
        *self.running() = Some((id.clone(), Arc::clone(&flight.stop)));
        // A dismissal, or the end of the server, may have come in between.
        if *self.stopping.borrow() || matches!(self.renew(&id).await, Ok(false)) {
            flight.stop();
        }
        self.news.tell(&id);
        flight.halts.send_replace(false);
        let mut over = None;
        let (job, stop) = (Arc::clone(&flight.claimed), Arc::clone(&flight.stop));
        let most_core_time = job.most_core_time;
        let mut bound = Bound::new(most_core_time, flight.core_time_before, &flight.core_time);
        let mut renewals = every(LEASE / 3);
        let ended = loop {
            let left = self.limit.saturating_sub(before.time + begun.elapsed());
            tokio::select! {
                ended = &mut flight.flying => break Some(ended),
                () = until(&mut halts, true) => {
                    if over.is_none() {
                        break None;
                    }
                    // It is to end.
                    flight.halts.send_replace(false);
                }
                () = tokio::time::sleep(left), if over.is_none() => {
                    over = Some(Reason::TooLong);
                    flight.stop();
                }
                () = bound.passed(|| self.measured_again(&job, &stop)), if over.is_none() => {
                    over = Some(Reason::OverEstimate);
                    flight.stop();
                }
                _ = renewals.tick() => {
                    // A store that fails for a moment does not stop the work; one that says no does.
                    if matches!(self.renew(&id).await, Ok(false)) {
                        flight.stop();
                    }
                }
            }
        };
        *self.running() = None;
        let mut spent = Spent { time: before.time + begun.elapsed(), core_time: flight.core_time() };
        let name = id.clone();
        let Some(ended) = ended else {
            tracing::info!(spent_ms = spent.time.as_millis(), core_ms = spent.core_time.as_millis(), "a job halts");
            self.halted().insert(id.clone(), flight);
            if *self.stopping.borrow() {
                self.halted().clear();
            }
            let give_back = move |this: &Self| {
                let given = this.store.give_back(&id, &this.owner, spent, true);
                // It was dismissed just then: it has no turn to wait for.
                if matches!(given, Ok(false)) {
                    this.halted().remove(&id);
                }
                given
            };
            return self.note(&name, spent, give_back).await;
        };
        // What was not kept is done again.
        spent.core_time = flight.core_time_before + flight.core_time.kept();
        self.note(&name, spent, move |this| match ended {
            Ok(Ok(Some(answer))) => this.ended(shelf, Stage::Successful, this.store.finish(&id, &this.owner, &answer)),
            Ok(Ok(None) | Err(Failure::Stopped)) => match over {
                Some(reason) => this.fail(&id, shelf, reason),
                None => this.store.give_back(&id, &this.owner, spent, true),
            },
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
        tracing::info!(
            spent_ms = spent.time.as_millis(),
            core_ms = spent.core_time.as_millis(),
            most_core_ms = most_core_time.map(|most| most.as_millis()),
            "a job's turn is over"
        );
        Ok(())
    }

    /// Begins to fly, once it is told that it need not halt.
    fn begin(self: &Arc<Self>, claimed: Claimed, core_time_before: Duration) -> Flight {
        let (claimed, core_time) = (Arc::new(claimed), Arc::new(CoreTime::default()));
        let (stop, halts) = (Arc::new(AtomicBool::new(false)), watch::Sender::new(true));
        let (this, flag, gate) = (Arc::clone(self), Arc::clone(&stop), halts.clone());
        let (job, threads) = (Arc::clone(&claimed), Arc::clone(&core_time));
        let flying = threads::blocking(move || this.fly(&job, &threads, &flag, &gate));
        Flight { claimed, core_time, core_time_before, flying, stop, halts }
    }

    /// See `Doing`.
    fn measured_again(&self, job: &Arc<Claimed>, stop: &Arc<AtomicBool>) -> JoinHandle<Option<Duration>> {
        let (most, job, cores) = (self.doing.most_core_time, Arc::clone(job), self.cores);
        let stop = Arc::clone(stop);
        threads::blocking(move || most(&job, cores, &stop))
    }

    fn fly(
        &self,
        claimed: &Claimed,
        core_time: &Arc<CoreTime>,
        stop: &AtomicBool,
        halts: &watch::Sender<bool>,
    ) -> Result<Option<Vec<u8>>, Failure> {
        let runtime = Handle::current();
        let halt = || runtime.block_on(until(&mut halts.subscribe(), false));
        halt();
        let (begun, kept) = (Mutex::new(Instant::now()), AtomicU64::new(0));
        let tell = |piece: Piece| {
            let before = kept.fetch_add(1, Ordering::SeqCst) as usize;
            let storage = |error: io::Error| {
                tracing::error!(%error, "store failed");
                Failure::Storage
            };
            // What a turn before this one has kept, and this one has not made, is not kept again.
            if claimed.shelf.goes_on() && before < claimed.made.len() {
                // So that a turn comes on, however long it takes to read what is made.
                *begun.lock().unwrap_or_else(PoisonError::into_inner) = Instant::now();
                return Ok(Turn::GoesOn);
            }
            // To keep it is our own cost: what the work is estimated at does not have it.
            let keep = || self.store.add_piece(&claimed.id, self.lease(), before, &piece);
            if !core_time.aside(keep).map_err(storage)? {
                return Err(Failure::Stopped);
            }
            core_time.keep();
            self.news.tell(&claimed.id);
            let mut begun = begun.lock().unwrap_or_else(PoisonError::into_inner);
            if begun.elapsed() < TURN || !self.store.others_wait(&claimed.id).map_err(storage)? {
                return Ok(Turn::GoesOn);
            }
            if claimed.shelf.goes_on() {
                return Ok(Turn::GivesWay);
            }
            if self.halted().len() < MOST_HALTED {
                halts.send_replace(true);
                halt();
                *begun = Instant::now();
            }
            Ok(Turn::GoesOn)
        };
        let flown = self.metrics.flights(claimed.shelf.name(), Mode::Job);
        // Threads of its own: one that halts keeps its place on them.
        let counted = Arc::clone(core_time);
        let pool = rayon::ThreadPoolBuilder::new().num_threads(self.cores).thread_name(|k| format!("job-{k}"));
        let pool = pool.start_handler(move |_| counted.count_this_thread()).build().map_err(|error| {
            tracing::error!(%error, "the threads of a job cannot be started");
            Failure::Failed
        })?;
        let count = |flights| flown.inc_by(flights);
        let done = (self.doing.perform)(&*self.store, claimed, &pool, stop, &tell, &count);
        core_time.end();
        done
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
        spent: Spent,
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

    fn halted(&self) -> std::sync::MutexGuard<'_, HashMap<ContentId, Flight>> {
        self.halted.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn running(&self) -> std::sync::MutexGuard<'_, Option<(ContentId, Arc<AtomicBool>)>> {
        // It is sound after every statement, so a panic elsewhere leaves nothing half done.
        self.running.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Comes back once it halts, or does not.
async fn until(halts: &mut watch::Receiver<bool>, halted: bool) {
    // Its flight holds the sender.
    let _ = halts.wait_for(|halts| *halts == halted).await;
}

/// Runs what blocks off the async threads.
async fn blocking<T: Send + 'static>(work: impl FnOnce() -> io::Result<T> + Send + 'static) -> io::Result<T> {
    threads::blocking(work).await.map_err(io::Error::other)?
}
