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

use crate::problem::Problem;
use crate::threads;

/// Runs what blocks or takes more than a moment off the async threads.
pub(crate) async fn blocking<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, Problem> {
    // The panic hook has logged why it failed.
    threads::blocking(work).await.map_err(|_| Problem::internal())
}
