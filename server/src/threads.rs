//! Work off the async threads. It keeps the span in which it was begun, so that every line of the log names its request or
//! job.

use std::io;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::Semaphore;
use tokio::task::{JoinError, JoinHandle};
use tracing::Span;

/// Runs what blocks or takes more than a moment.
pub fn blocking<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> JoinHandle<T> {
    let span = Span::current();
    tokio::task::spawn_blocking(move || span.in_scope(work))
}

/// Runs work on the threads of a pool. Threads that help it know nothing of its span.
pub fn on_pool<T: Send>(pool: &rayon::ThreadPool, work: impl FnOnce() -> T + Send) -> T {
    let span = Span::current();
    pool.install(move || span.in_scope(work))
}

/// Says in the log, under the id of the request or job, that its work panicked on whatever thread.
pub fn log_lost(lost: JoinError) {
    let Ok(panic) = lost.try_into_panic() else { return };
    let text = panic.downcast_ref::<String>().map(String::as_str).or_else(|| panic.downcast_ref::<&str>().copied());
    tracing::error!(panic = text.unwrap_or("without a word"), "work is lost");
}

/// Work that may hang. It is waited for no longer than a bound, and done once at a time: whoever asks again and again takes
/// up one thread.
pub struct Bounded {
    place: Arc<Semaphore>,
    bound: Duration,
}

impl Bounded {
    /// With how long it is waited for.
    pub fn new(bound: Duration) -> Self {
        Self { place: Arc::new(Semaphore::new(1)), bound }
    }

    /// Does it, unless the one before still hangs; the outer error is a panic.
    pub async fn run<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> io::Result<T> + Send + 'static,
    ) -> Result<io::Result<T>, JoinError> {
        let done = async {
            // It is never closed.
            let Ok(place) = Arc::clone(&self.place).acquire_owned().await else {
                return Ok(Err(io::Error::other("closed")));
            };
            blocking(move || {
                let _place = place;
                work()
            })
            .await
        };
        let late =
            || io::Error::new(io::ErrorKind::TimedOut, format!("no answer within {} s", self.bound.as_secs_f64()));
        tokio::time::timeout(self.bound, done).await.unwrap_or_else(|_| Ok(Err(late())))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
    use std::time::Instant;

    use super::*;

    #[tokio::test]
    async fn what_hangs_takes_one_thread_and_is_not_waited_for() {
        let bounded = Bounded::new(Duration::from_millis(50));
        let (hangs, begun) = (Arc::new(AtomicBool::new(true)), Arc::new(AtomicU64::new(0)));
        let ask = || {
            let (hangs, begun) = (Arc::clone(&hangs), Arc::clone(&begun));
            bounded.run(move || {
                begun.fetch_add(1, Ordering::SeqCst);
                // So that a test that fails meanwhile ends all the same.
                let since = Instant::now();
                while hangs.load(Ordering::SeqCst) && since.elapsed() < Duration::from_secs(60) {
                    std::thread::sleep(Duration::from_millis(1));
                }
                Ok(7)
            })
        };
        for _ in 0..3 {
            assert_eq!(ask().await.unwrap().unwrap_err().kind(), io::ErrorKind::TimedOut);
        }
        let since = Instant::now();
        while begun.load(Ordering::SeqCst) == 0 && since.elapsed() < Duration::from_secs(60) {
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
        assert_eq!(begun.load(Ordering::SeqCst), 1);
        hangs.store(false, Ordering::SeqCst);
        assert_eq!(Bounded { bound: Duration::from_secs(10), ..bounded }.run(|| Ok(7)).await.unwrap().unwrap(), 7);
    }
}
