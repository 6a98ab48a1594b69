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

/// Where the system tells of the thread that asks.
fn told_of_this_thread() -> Option<PathBuf> {
    Some(Path::new("/proc").join(fs::read_link("/proc/thread-self").ok()?).join("schedstat"))
}

/// Of threads together, asked from outside while they run.
#[derive(Debug, Default)]
pub struct CoreTime {
    /// Where the system tells of each.
    threads: Mutex<Vec<PathBuf>>,
    /// What they did aside. While it lasts it seems to count: so much may be told too early, at most that of one piece.
    aside_ns: AtomicU64,
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
        self.threads().extend(told_of_this_thread());
    }

    /// Does something that is not counted, whichever thread it is.
    pub fn aside<T>(&self, what: impl FnOnce() -> T) -> T {
        let begun = of_this_thread();
        let done = what();
        if told_of_this_thread().is_some_and(|own| self.threads().contains(&own)) {
            self.aside_ns.fetch_add((of_this_thread() - begun).as_nanos() as u64, Ordering::SeqCst);
        }
        done
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
        let all_ns: u64 = self.threads().iter().filter_map(of_one).sum();
        let now_ns = all_ns.saturating_sub(self.aside_ns.load(Ordering::SeqCst));
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

    /// Keeps this thread on a core for so long.
    fn burn(so_long: Duration) {
        let until = of_this_thread() + so_long;
        while of_this_thread() < until {
            hint::spin_loop();
        }
    }

    /// Both ways of asking tell of the same work, and neither counts the time that a thread sleeps, nor what it does aside.
    #[test]
    fn counts_the_time_on_a_core_alone() {
        let (counted, done, asked) = (CoreTime::default(), AtomicBool::new(false), AtomicBool::new(false));
        let until = |flag: &AtomicBool| {
            let begun = Instant::now();
            while !flag.load(Ordering::SeqCst) && begun.elapsed() < Duration::from_secs(60) {
                std::thread::sleep(Duration::from_millis(10));
            }
        };
        std::thread::scope(|scope| {
            let worker = scope.spawn(|| {
                counted.count_this_thread();
                burn(Duration::from_millis(200));
                let aside = Duration::from_millis(300);
                counted.aside(|| burn(aside));
                let own = of_this_thread() - aside;
                done.store(true, Ordering::SeqCst);
                until(&asked);
                own
            });
            until(&done);
            // Nor is what other threads do aside theirs.
            counted.aside(|| burn(Duration::from_millis(100)));
            std::thread::sleep(Duration::from_millis(300));
            let seen = counted.so_far();
            asked.store(true, Ordering::SeqCst);
            let Ok(own) = worker.join() else { panic!("it ended") };
            assert!(own >= Duration::from_millis(200), "{own:?}");
            let near = |told: Duration, other: Duration| told.abs_diff(other) < Duration::from_millis(20);
            if cfg!(target_os = "linux") {
                assert!(*TOLD);
                assert!(near(seen, own), "{seen:?} against {own:?}");
            }
            counted.keep();
            counted.end();
            let [ended, kept] = [counted.so_far(), counted.kept()];
            assert!(near(ended, seen) && near(kept, seen) && kept <= ended, "{seen:?}, {ended:?}, {kept:?}");
        });
    }
}
