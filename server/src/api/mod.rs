//! One resource per file: parameters, response, handler. A handler extracts, converts, calls, converts.

pub mod assessments;
pub mod days;
pub mod description;
pub mod docs;
pub mod events;
pub mod extract;
pub mod files;
pub mod flights;
pub mod front;
pub mod health;
pub mod jobs;
mod price;
pub mod problems;
pub mod shares;
pub mod sweeps;
pub mod weather;
pub mod work;

use std::io;
use std::sync::Arc;

use crate::State;
use crate::problem::Problem;
use crate::store::Store;
use crate::threads;

/// Runs what blocks or takes more than a moment off the async threads.
pub(crate) async fn blocking<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, Problem> {
    // The panic hook has logged why it failed.
    threads::blocking(work).await.map_err(|_| Problem::internal())
}

/// Looks at the store for whoever watches, who is not kept waiting.
async fn look<T: Send + 'static>(
    state: &State,
    work: impl FnOnce(&dyn Store) -> io::Result<T> + Send + 'static,
) -> Result<T, Problem> {
    let store = Arc::clone(&state.store);
    let looked = state.looks.run(move || work(&*store)).await;
    looked.map_err(|_| Problem::internal())?.map_err(|error| Problem::storage(&error))
}
