//! Looks at the store for whoever watches the service. They are not kept waiting by a store that hangs, and however many ask,
//! each kind of look is one at a time.

use std::io;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use crate::problem::Problem;
use crate::store::{Seen, Store};
use crate::threads::Bounded;

/// An answer comes within this time: Prometheus gives up after 10 s.
const LOOK: Duration = Duration::from_secs(3);
/// What could be written a moment ago can be written now: every look at that writes to the disk.
const HOLDS: Duration = Duration::from_millis(500);

/// The looks.
pub struct Watch {
    store: Arc<dyn Store>,
    ready: Bounded,
    seen: Bounded,
    /// When something was last written to see whether it could be.
    written: Arc<Mutex<Option<Instant>>>,
}

impl Watch {
    /// At this store.
    pub fn new(store: Arc<dyn Store>) -> Self {
        Self { store, ready: Bounded::new(LOOK), seen: Bounded::new(LOOK), written: Arc::default() }
    }

    /// Whether something could be kept now.
    pub async fn ready(&self) -> Result<(), Problem> {
        let (store, written) = (Arc::clone(&self.store), Arc::clone(&self.written));
        looked(&self.ready, move || {
            // One look at a time: nobody else waits for this lock.
            let mut written = written.lock().unwrap_or_else(PoisonError::into_inner);
            if written.is_none_or(|at| at.elapsed() >= HOLDS) {
                store.ready()?;
                *written = Some(Instant::now());
            }
            Ok(())
        })
        .await
    }

    /// What is open and how much is kept.
    pub async fn seen(&self) -> Result<Seen, Problem> {
        let store = Arc::clone(&self.store);
        looked(&self.seen, move || store.look()).await
    }
}

async fn looked<T: Send + 'static>(
    bounded: &Bounded,
    work: impl FnOnce() -> io::Result<T> + Send + 'static,
) -> Result<T, Problem> {
    bounded.run(work).await.map_err(|_| Problem::internal())?.map_err(|error| Problem::storage(&error))
}
