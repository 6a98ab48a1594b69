//! How long threads were on a core, whatever else the machine did.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{LazyLock, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use std::{hint, thread};

use rustix::time::{ClockId, clock_gettime};

/// Of the thread that asks.
pub fn of_this_thread() -> Duration {
    let time = clock_gettime(ClockId::ThreadCPUTime);
    Duration::new(time.tv_sec.unsigned_abs(), time.tv_nsec.unsigned_abs() as u32)
}

/// Of threads together, asked from outside while they run.
#[derive(Debug, Default)]
pub struct CoreTime {
    /// Where the system tells of each.
    threads: Mutex<Vec<PathBuf>>,
    /// What was last told.
    told_ns: AtomicU64,
    kept_ns: AtomicU64,
}

/// Whether the system tells of threads from outside at all.
pub static TOLD: LazyLock<bool> = LazyLock::new(|| {
    let one = CoreTime::default();
    thread::scope(|scope| {
        scope.spawn(|| {
            one.count_this_thread();
            while of_this_thread() < Duration::from_millis(2) {
                hint::spin_loop();
            }
            // What it has taken is noted when it leaves the core.
            thread::sleep(Duration::from_millis(1));
            one.so_far();
        });
    });
    let told = one.so_far() > Duration::ZERO;
    if !told {
        tracing::warn!(
            "the system does not tell how long threads are on a core: no job is stopped for taking more than its price"
        );
    }
    told
});

impl CoreTime {
    /// Counts the thread that calls, from its beginning.
    pub fn count_this_thread(&self) {
        if let Ok(own) = fs::read_link("/proc/thread-self") {
            self.threads().push(Path::new("/proc").join(own).join("schedstat"));
        }
    }

    /// Notes what is told now as what is of use, whatever becomes of the rest.
    pub fn keep(&self) {
        self.kept_ns.store(self.so_far().as_nanos() as u64, Ordering::SeqCst);
    }

    /// What was of use.
    pub fn kept(&self) -> Duration {
        Duration::from_nanos(self.kept_ns.load(Ordering::SeqCst))
    }

    /// Its threads are about to end: their numbers may be given to others.
    pub fn end(&self) {
        self.so_far();
        self.threads().clear();
    }

    /// So far, to some milliseconds; once they have ended as it was told last. Nothing where the system has no `/proc` of Linux.
    pub fn so_far(&self) -> Duration {
        let of_one = |thread: &PathBuf| {
            let told = fs::read_to_string(thread).ok()?;
            // Time on a core, time it waited for one, turns.
            told.split_ascii_whitespace().next()?.parse::<u64>().ok()
        };
        let now_ns = self.threads().iter().filter_map(of_one).sum();
        Duration::from_nanos(self.told_ns.fetch_max(now_ns, Ordering::SeqCst).max(now_ns))
    }

    fn threads(&self) -> MutexGuard<'_, Vec<PathBuf>> {
        self.threads.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::AtomicBool;
    use std::time::Instant;

    use super::*;

    /// Both ways of asking tell of the same work, and neither counts the time that a thread sleeps.
    #[test]
    fn counts_the_time_on_a_core_alone() {
        let (counted, done) = (CoreTime::default(), AtomicBool::new(false));
        std::thread::scope(|scope| {
            let worker = scope.spawn(|| {
                counted.count_this_thread();
                let mut sum = 0.0_f64;
                while of_this_thread() < Duration::from_millis(200) {
                    sum += f64::from(std::hint::black_box(3.0_f32)).sqrt();
                }
                let own = of_this_thread();
                done.store(true, Ordering::SeqCst);
                std::thread::sleep(Duration::from_millis(300));
                (own, sum)
            });
            let begun = Instant::now();
            while !done.load(Ordering::SeqCst) && begun.elapsed() < Duration::from_secs(60) {
                std::thread::sleep(Duration::from_millis(10));
            }
            std::thread::sleep(Duration::from_millis(100));
            let seen = counted.so_far();
            let Ok((own, _)) = worker.join() else { panic!("it ended") };
            assert!(own >= Duration::from_millis(200) && own < Duration::from_millis(290), "{own:?}");
            if cfg!(target_os = "linux") {
                assert!(*TOLD);
                assert!(seen.abs_diff(own) < Duration::from_millis(20), "{seen:?} against {own:?}");
            }
            assert_eq!(counted.so_far(), seen);
            counted.keep();
            counted.end();
            assert_eq!((counted.so_far(), counted.kept()), (seen, seen));
        });
    }
}
