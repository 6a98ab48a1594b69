//! Slowpoint over HTTP and on the terminal: shapes, units, storage and pictures around the engine.
//!
//! ```text
//! request -> wire -> case -> slowpoint_sim -> report -> wire -> response
//!                            (compute: own threads, one run per id, stopped when nobody waits)
//!            id = hash(engine, canonical input) -> store: first stored, then answered
//! ```
//!
//! Physics and statistics live in the engine. Here nothing is computed but the hash of an id.

pub mod access;
mod admission;
pub mod api;
mod bound;
pub mod budget;
pub mod compute;
pub mod config;
mod core_time;
pub mod id;
pub mod jobs;
mod linger;
pub mod log;
pub mod metrics;
mod middleware;
pub mod news;
pub mod page;
pub mod places;
pub mod probe;
pub mod problem;
pub mod render;
pub mod routes;
pub mod serve;
pub mod session;
pub mod store;
pub mod streams;
pub mod threads;
pub mod tls;
pub mod watch;
pub mod weather;
pub mod wire;

use std::io;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use access::Tokens;
use admission::Admission;
use budget::Budget;
use compute::Compute;
use config::Config;
use jobs::Jobs;
use metrics::Metrics;
use places::Places;
use store::Store;
use streams::Streams;
use tokio::sync::Semaphore;
use watch::Watch;

pub use routes::app;

/// Messages of weather that may wait to be decoded: some milliseconds each, and at most the bytes of a body.
const MESSAGES_WAITING: usize = 64;
/// Files of models that are unpacked at the same time: each may take a second of one core and some 100 MB.
const UNPACKED_AT_ONCE: usize = 2;
/// Files of models that may wait for that, each of them in memory.
const FILES_WAITING: usize = 8;
/// Days and flights that are made a file at the same time, each of them in memory: what they are made of has places of its own.
const SAVED_AT_ONCE: usize = 2;
/// Those that may wait for that.
const SAVED_WAITING: usize = 16;

/// What every handler may use.
pub struct State {
    /// The knobs.
    pub config: Config,
    /// Inputs and answers.
    pub store: Arc<dyn Store>,
    /// The threads that fly.
    pub compute: Arc<Compute>,
    /// Who is read while all of them are taken.
    pub(crate) admission: Admission,
    /// Whether anybody is asked for a token.
    pub tokens: Tokens,
    /// What each client may have computed.
    pub budget: Arc<Budget>,
    /// A place for measuring what a job would cost.
    pub(crate) measuring: Arc<Semaphore>,
    /// Streams of events that are open.
    pub streams: Arc<Streams>,
    /// Places for pictures and other files that are made of answers.
    pub drawing: Arc<Semaphore>,
    /// Places for decoding messages of weather.
    pub decoding: Places,
    /// Places for unpacking files of models.
    pub unpacking: Places,
    /// Places for days and flights that are saved as files.
    pub saving: Places,
    /// What the pages of jobs show, read once for all who look at one.
    pub looked: page::job::Looked,
    /// Work that nobody waits for.
    pub jobs: Arc<Jobs>,
    /// What is counted.
    pub metrics: Arc<Metrics>,
    /// Looks at the store for whoever watches.
    pub watch: Watch,
    /// Whether requests should go elsewhere, as the server is about to stop.
    pub draining: AtomicBool,
}

impl State {
    /// Brings the parts together.
    pub fn new(config: Config, store: Arc<dyn Store>) -> io::Result<Arc<Self>> {
        let metrics = Arc::new(Metrics::new().map_err(io::Error::other)?);
        let compute = Compute::new(&config, Arc::clone(&metrics)).map_err(io::Error::other)?;
        let jobs = Jobs::new(&config, Arc::clone(&store), api::work::DOING, Arc::clone(&metrics));
        let watch = Watch::new(Arc::clone(&store));
        Ok(Arc::new(Self {
            budget: Arc::new(Budget::new(config.client_core_s)),
            admission: Admission::default(),
            tokens: Tokens::of(&*store),
            config,
            store,
            measuring: Arc::new(Semaphore::new(1)),
            streams: Arc::new(Streams::new(metrics.streams.clone())),
            drawing: Arc::new(Semaphore::new(compute.threads())),
            decoding: Places::new("messages of weather", compute.threads(), MESSAGES_WAITING),
            unpacking: Places::new("files of weather", UNPACKED_AT_ONCE, FILES_WAITING),
            saving: Places::new("files to be saved", SAVED_AT_ONCE, SAVED_WAITING),
            looked: page::job::Looked::default(),
            compute: Arc::new(compute),
            jobs: Arc::new(jobs),
            metrics,
            watch,
            draining: AtomicBool::new(false),
        }))
    }
}
