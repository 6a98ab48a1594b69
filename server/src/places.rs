//! Places for work that is no computation of flights: so much of a kind is done at a time, so much waits, and one more is refused.

use std::sync::Arc;

use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use crate::api::assessments::unanswered;
use crate::compute::Failure;
use crate::config::Config;
use crate::problem::{Kind, Problem};

/// The places for work of a kind.
pub struct Places {
    /// What is done in one, in words for many.
    kind: &'static str,
    /// How many there are for work and waiting together.
    most: usize,
    taken: Arc<Semaphore>,
    working: Arc<Semaphore>,
}

/// One of them, until it is dropped: by the work itself, which ends after its client has left.
#[must_use]
pub struct Place {
    _taken: OwnedSemaphorePermit,
    _working: OwnedSemaphorePermit,
}

impl Places {
    /// For so much at a time, while so much waits.
    pub fn new(kind: &'static str, at_once: usize, waiting: usize) -> Self {
        let most = at_once + waiting;
        Self { kind, most, taken: Arc::new(Semaphore::new(most)), working: Arc::new(Semaphore::new(at_once)) }
    }

    /// Waits for a place as long as anything waits for one, or says that there is none.
    pub async fn take(&self, config: &Config) -> Result<Place, Problem> {
        let Ok(taken) = Arc::clone(&self.taken).try_acquire_owned() else {
            let detail = format!("{} {} are under way or wait. Come back later.", self.most, self.kind);
            return Err(Problem::new(Kind::Overloaded, detail).with_limit("places", self.most as u64, self.kind));
        };
        let working = Arc::clone(&self.working).acquire_owned();
        let Ok(Ok(working)) = tokio::time::timeout(config.queue_timeout(), working).await else {
            return Err(unanswered(config, self.kind, Failure::QueueTimeout));
        };
        Ok(Place { _taken: taken, _working: working })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    #[tokio::test]
    async fn one_works_one_waits_and_one_is_refused() {
        let places = Arc::new(Places::new("things", 1, 1));
        let config = Config::default();
        let first = places.take(&config).await.ok().unwrap();
        let (waiting, knobs) = (Arc::clone(&places), config.clone());
        let second = tokio::spawn(async move { waiting.take(&knobs).await });
        while places.taken.available_permits() > 0 {
            tokio::task::yield_now().await;
        }
        assert_eq!(places.take(&config).await.err().unwrap().kind(), Kind::Overloaded);
        assert!(!second.is_finished());
        drop(first);
        let second = second.await.unwrap().ok().unwrap();
        // Whoever waits too long is told, and its place is free again.
        let hasty = Config { queue_timeout_s: 0, ..config };
        assert_eq!(places.take(&hasty).await.err().unwrap().kind(), Kind::Overloaded);
        assert_eq!(places.taken.available_permits(), 1);
        drop(second);
        assert!(places.take(&hasty).await.is_ok());
    }
}
