//! The most time on a core that a job may take. It is looked at while the job flies; once it is over, the machine's present pace
//! is measured, and only what is over by that as well is over.

use std::sync::Arc;
use std::time::Duration;

use tokio::task::JoinHandle;
use tokio::time::{Interval, MissedTickBehavior};

use crate::core_time::CoreTime;

/// So often it is looked how long the threads of a job were on a core.
const LOOK: Duration = Duration::from_millis(250);

/// What a job may take, and what it took.
pub struct Bound {
    most: Option<Duration>,
    /// In turns before this one.
    before: Duration,
    core_time: Arc<CoreTime>,
    looks: Interval,
    measuring: Option<JoinHandle<Option<Duration>>>,
}

impl Bound {
    /// Of a turn that begins; without `most` it never passes.
    pub fn new(most: Option<Duration>, before: Duration, core_time: &Arc<CoreTime>) -> Self {
        Self { most, before, core_time: Arc::clone(core_time), looks: every(LOOK), measuring: None }
    }

    /// Comes back once it took more than it may. `measure` tells how much that is at the machine's present pace, or nothing
    /// where that cannot be told: then it never is over. May be given up and asked again.
    pub async fn passed(&mut self, measure: impl Fn() -> JoinHandle<Option<Duration>>) {
        loop {
            if let Some(measuring) = &mut self.measuring {
                let now = measuring.await.ok().flatten();
                self.measuring = None;
                self.most = now.and_then(|now| Some(now.max(self.most?)));
                if self.over() {
                    return;
                }
            } else {
                self.looks.tick().await;
                if self.over() {
                    self.measuring = Some(measure());
                }
            }
        }
    }

    fn over(&self) -> bool {
        self.most.is_some_and(|most| self.before + self.core_time.so_far() > most)
    }
}

/// Ticks from now on, after so long each.
pub fn every(period: Duration) -> Interval {
    let mut ticks = tokio::time::interval_at(tokio::time::Instant::now() + period, period);
    ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
    ticks
}
