//! The store's own time: it goes on while a process has the store open, and with nothing else. What is kept for so long is kept
//! by it, so that a clock that is set, or was wrong when the machine started, costs nobody an answer.

use std::time::{Duration, Instant};

use rusqlite::{Connection, Transaction};

/// The own time since the store was opened.
pub struct OwnTime {
    at_opening_ms: i64,
    opened: Instant,
}

impl OwnTime {
    /// Goes on from where it was last noted.
    pub fn of(db: &Connection) -> rusqlite::Result<Self> {
        let at_opening_ms = db.query_row("SELECT ms FROM own_time", [], |row| row.get(0))?;
        Ok(Self { at_opening_ms, opened: Instant::now() })
    }

    /// What it is now. It began as the milliseconds since 1970 of the store's making.
    pub fn now_ms(&self) -> i64 {
        self.at_opening_ms.saturating_add(ms(self.opened.elapsed()))
    }

    /// Notes it: whoever opens the store next goes on from there.
    pub fn note(&self, db: &Transaction) -> rusqlite::Result<usize> {
        db.execute("UPDATE own_time SET ms = max(ms, ?1)", [self.now_ms()])
    }
}

/// A span as the tables have it.
pub fn ms(time: Duration) -> i64 {
    i64::try_from(time.as_millis()).unwrap_or(i64::MAX)
}
