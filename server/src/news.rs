//! Word within the process that a job may have changed. The store holds the truth: whoever hears it looks there.

use tokio::sync::broadcast;
use tokio::sync::broadcast::error::RecvError;

use crate::id::ContentId;

/// Words that a listener may leave unheard; one that was away longer looks all the same.
const KEPT: usize = 64;

/// Where it is told.
pub struct News(broadcast::Sender<ContentId>);

impl Default for News {
    fn default() -> Self {
        Self(broadcast::Sender::new(KEPT))
    }
}

impl News {
    /// Tells of a job.
    pub fn tell(&self, id: &ContentId) {
        // Perhaps nobody listens.
        let _ = self.0.send(id.clone());
    }

    /// Hears what is told from now on.
    pub fn listen(&self) -> Listener {
        Listener(self.0.subscribe())
    }
}

/// Whoever listens.
pub struct Listener(broadcast::Receiver<ContentId>);

impl Listener {
    /// Comes back when this job may have changed since it was last asked.
    pub async fn of(&mut self, id: &ContentId) {
        while self.next().await.is_some_and(|told| told != *id) {}
        self.forget();
    }

    /// Forgets what was told up to now: one look answers all of it.
    pub fn forget(&mut self) {
        self.0 = self.0.resubscribe();
    }

    /// Comes back when any job may have changed since it was last asked.
    pub async fn any(&mut self) {
        self.next().await;
    }

    /// The next word; `None` if some were missed.
    async fn next(&mut self) -> Option<ContentId> {
        match self.0.recv().await {
            Ok(id) => Some(id),
            Err(RecvError::Lagged(_)) => None,
            // Nothing will ever be told again.
            Err(RecvError::Closed) => core::future::pending().await,
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use std::time::Duration;

    use tokio::time::timeout;

    use super::*;

    #[tokio::test]
    async fn whoever_listens_hears_of_one_job() {
        let (news, [a, b]) = (News::default(), ["a", "b"].map(|name| ContentId::of("test", name)));
        news.tell(&a);
        let (mut of, mut any) = (news.listen(), news.listen());
        let moment = Duration::from_millis(50);
        assert!(timeout(moment, of.of(&a)).await.is_err(), "what was told before is not heard");
        news.tell(&b);
        assert!(timeout(moment, of.of(&a)).await.is_err(), "another's");
        assert!(timeout(moment, any.any()).await.is_ok());
        for _ in 0..3 {
            news.tell(&a);
        }
        assert!(timeout(moment, of.of(&a)).await.is_ok());
        assert!(timeout(moment, of.of(&a)).await.is_err(), "three words, one look");
        // More than is kept, and of others: it cannot be known that none was of this one.
        for _ in 0..=KEPT {
            news.tell(&b);
        }
        assert!(timeout(moment, of.of(&a)).await.is_ok());
    }
}
