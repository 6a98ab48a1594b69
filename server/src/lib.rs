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
pub mod api;
pub mod budget;
pub mod compute;
pub mod config;
pub mod id;
pub mod jobs;
mod linger;
mod middleware;
pub mod probe;
pub mod problem;
pub mod render;
pub mod routes;
pub mod serve;
pub mod store;
pub mod weather;
pub mod wire;

use std::sync::Arc;

use budget::Budget;
use compute::Compute;
use config::Config;
use jobs::Jobs;
use store::Store;

pub use routes::app;

/// What every handler may use.
pub struct State {
    /// The knobs.
    pub config: Config,
    /// Inputs and answers.
    pub store: Arc<dyn Store>,
    /// The threads that fly.
    pub compute: Arc<Compute>,
    /// What each client may have computed.
    pub budget: Budget,
    /// Work that nobody waits for.
    pub jobs: Arc<Jobs>,
}

impl State {
    /// Brings the parts together.
    pub fn new(config: Config, store: Arc<dyn Store>) -> Result<Arc<Self>, rayon::ThreadPoolBuildError> {
        let compute = Arc::new(Compute::new(&config)?);
        let jobs = Arc::new(Jobs::new(&config, Arc::clone(&store), api::work::perform)?);
        let budget = Budget::new(config.client_core_s);
        Ok(Arc::new(Self { config, store, compute, budget, jobs }))
    }
}
