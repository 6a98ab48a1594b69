//! Streams of events that are open: so many in all, and fewer of one client, so that others find a place.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use prometheus::IntGauge;

use crate::metrics::Counted;
use crate::problem::{Kind, Problem};

/// Open at a time.
const MOST: usize = 512;
/// Of one client: a whole field behind one address, say.
const MOST_OF_CLIENT: usize = 128;

/// Those that are open.
pub struct Streams {
    by_client: Mutex<HashMap<String, usize>>,
    gauge: IntGauge,
}

/// One of them, until it is dropped.
pub struct Open {
    streams: Arc<Streams>,
    client: String,
    _counted: Counted,
}

impl Streams {
    /// None yet; the gauge tells how many.
    pub fn new(gauge: IntGauge) -> Self {
        Self { by_client: Mutex::default(), gauge }
    }

    /// Opens one, or says that there is no place.
    pub fn open(self: &Arc<Self>, client: &str) -> Result<Open, Problem> {
        let mut open = self.by_client();
        if open.values().sum::<usize>() >= MOST {
            let detail = format!(
                "{MOST} streams of events are open, which is all that are. Ask for the job now and then, or come back later."
            );
            return Err(Problem::new(Kind::Overloaded, detail).with_limit("streams", MOST as u64, "streams"));
        }
        let own = open.entry(client.into()).or_default();
        if *own >= MOST_OF_CLIENT {
            let detail = format!(
                "{MOST_OF_CLIENT} streams of events are open for you. Close one, or ask for the job now and then."
            );
            let problem = Problem::new(Kind::TooManyStreams, detail);
            return Err(problem.with_limit("client_streams", MOST_OF_CLIENT as u64, "streams"));
        }
        *own += 1;
        Ok(Open { streams: Arc::clone(self), client: client.into(), _counted: Counted::up(&self.gauge) })
    }

    fn by_client(&self) -> MutexGuard<'_, HashMap<String, usize>> {
        // It is sound after every statement.
        self.by_client.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Drop for Open {
    fn drop(&mut self) {
        let mut open = self.streams.by_client();
        if let Some(own) = open.get_mut(&self.client) {
            *own -= 1;
            if *own == 0 {
                open.remove(&self.client);
            }
        }
    }
}
