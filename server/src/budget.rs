//! How much each client may have computed: a bucket of core-seconds that fills again over an hour.
//!
//! What is answered from the store costs nothing. What costs more than the whole bucket takes a full one. What was taken for
//! work that is not begun after all is given back (a job is begun once it is accepted); libraries of rate limits only take.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use axum::http::{HeaderName, HeaderValue, header};

use crate::problem::{Kind, Problem};

const HOUR_S: f64 = 3600.0;

/// RateLimit header fields for HTTP (draft-ietf-httpapi-ratelimit-headers-10).
const POLICY: HeaderName = HeaderName::from_static("ratelimit-policy");
const LIMIT: HeaderName = HeaderName::from_static("ratelimit");

/// The buckets of all clients.
pub struct Budget {
    /// What a full bucket holds, and what flows into one in an hour; 0 for no bound.
    whole_core_s: f64,
    /// Of those who took something; whoever is not in it has a full one.
    buckets: Mutex<HashMap<String, Bucket>>,
}

/// What it held when something was last taken or given back.
struct Bucket {
    left_core_s: f64,
    at: Instant,
}

impl Budget {
    /// So many core-seconds an hour for each client; 0 for no bound.
    pub fn new(core_s_per_hour: u32) -> Self {
        Self { whole_core_s: core_s_per_hour.into(), buckets: Mutex::default() }
    }

    /// Takes what a computation costs out of a client's bucket, or says when to come back.
    pub fn take(self: &Arc<Self>, client: &str, core_s: f64) -> Result<Taken, Problem> {
        let whole_core_s = self.whole_core_s;
        let taken_core_s = core_s.min(whole_core_s);
        let missing_core_s = self.in_bucket(client, |left_core_s| {
            let missing_core_s = (taken_core_s - *left_core_s).max(0.0);
            if missing_core_s == 0.0 {
                *left_core_s -= taken_core_s;
            }
            missing_core_s
        });
        if missing_core_s == 0.0 {
            return Ok(Taken { budget: Arc::clone(self), client: client.into(), core_s: taken_core_s });
        }
        let wait_s = (missing_core_s * HOUR_S / whole_core_s).ceil();
        let detail = format!(
            "You may have {whole_core_s} core-seconds computed an hour; this takes about {core_s:.1}. Come back in {wait_s} s. What is stored is answered all the same."
        );
        let problem = Problem::new(Kind::OverBudget, detail)
            .with_limit("client_core_s", whole_core_s as u64, "core-seconds an hour")
            .with_header(header::RETRY_AFTER, HeaderValue::from(wait_s as u64));
        Err(self.told(client).into_iter().fold(problem, |problem, (name, value)| problem.with_header(name, value)))
    }

    /// For work that nobody pays for.
    pub fn nothing(self: &Arc<Self>) -> Taken {
        Taken { budget: Arc::clone(self), client: String::new(), core_s: 0.0 }
    }

    /// What a client may have and has left, as headers; none without a bound.
    pub fn told(&self, client: &str) -> Vec<(HeaderName, HeaderValue)> {
        if self.whole_core_s == 0.0 {
            return Vec::new();
        }
        let (whole, left) = (self.whole_core_s, self.in_bucket(client, |left_core_s| *left_core_s));
        let full_s = (whole - left) * HOUR_S / whole;
        vec![
            (POLICY, value(format!("\"core-s\";q={whole};w={HOUR_S}"))),
            (LIMIT, value(format!("\"core-s\";r={};t={}", left.floor(), full_s.ceil()))),
        ]
    }

    /// Forgets clients whose buckets are full again.
    pub fn forget(&self) {
        let now = Instant::now();
        let mut buckets = self.buckets();
        buckets.retain(|_, bucket| self.filled(bucket, now) < self.whole_core_s);
        buckets.shrink_to_fit();
    }

    fn filled(&self, bucket: &Bucket, now: Instant) -> f64 {
        let flown_in_core_s = (now - bucket.at).as_secs_f64() * self.whole_core_s / HOUR_S;
        (bucket.left_core_s + flown_in_core_s).min(self.whole_core_s)
    }

    /// Does something with what a client's bucket holds.
    fn in_bucket<T>(&self, client: &str, work: impl FnOnce(&mut f64) -> T) -> T {
        let now = Instant::now();
        let mut buckets = self.buckets();
        let before = buckets.get(client).map_or(self.whole_core_s, |bucket| self.filled(bucket, now));
        let mut left_core_s = before;
        let done = work(&mut left_core_s);
        if left_core_s != before {
            buckets.insert(client.into(), Bucket { left_core_s: left_core_s.min(self.whole_core_s), at: now });
        }
        done
    }

    fn buckets(&self) -> MutexGuard<'_, HashMap<String, Bucket>> {
        // Each bucket is sound after every statement.
        self.buckets.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What was taken for work. It is given back when this is dropped, unless the work was begun.
#[must_use]
pub struct Taken {
    budget: Arc<Budget>,
    client: String,
    core_s: f64,
}

impl Taken {
    /// The work is begun.
    pub fn spend(mut self) {
        self.core_s = 0.0;
    }
}

impl Drop for Taken {
    fn drop(&mut self) {
        self.budget.in_bucket(&self.client, |left_core_s| *left_core_s += self.core_s);
    }
}

/// Digits and names are plain ASCII, which a header takes.
fn value(text: String) -> HeaderValue {
    HeaderValue::from_str(&text).unwrap_or_else(|_| HeaderValue::from_static(""))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    fn told(budget: &Budget, client: &str) -> String {
        budget.told(client).pop().unwrap().1.to_str().unwrap().to_string()
    }

    #[test]
    fn a_bucket_empties_and_the_next_clients_is_full() {
        let budget = Arc::new(Budget::new(3600));
        budget.take("a", 1800.0).ok().unwrap().spend();
        assert_eq!(budget.told("a")[0].1, "\"core-s\";q=3600;w=3600");
        assert!(["\"core-s\";r=1800;t=1800"].contains(&told(&budget, "a").as_str()), "{}", told(&budget, "a"));
        budget.take("a", 1799.0).ok().unwrap().spend();
        let refused = budget.take("a", 100.0).err().unwrap();
        assert_eq!(refused.kind(), Kind::OverBudget);
        let response = refused.respond("id", 10);
        let wait: u64 = response.headers()[header::RETRY_AFTER].to_str().unwrap().parse().unwrap();
        assert!((97..=100).contains(&wait), "{wait}");
        assert_eq!(response.headers()[&POLICY], "\"core-s\";q=3600;w=3600");
        assert_eq!(response.headers()[&LIMIT], "\"core-s\";r=1;t=3599");
        // More than the bucket holds takes a full one.
        budget.take("b", 1e9).ok().unwrap().spend();
        assert!(budget.take("b", 1.0).is_err());
    }

    #[test]
    fn what_is_not_begun_is_given_back() {
        let budget = Arc::new(Budget::new(3600));
        drop(budget.take("a", 3000.0).ok().unwrap());
        assert_eq!(told(&budget, "a"), "\"core-s\";r=3600;t=0");
        budget.take("a", 3000.0).ok().unwrap().spend();
        // What is refused takes nothing either.
        assert!(budget.take("a", 3000.0).is_err());
        assert!(["\"core-s\";r=600;t=3000"].contains(&told(&budget, "a").as_str()), "{}", told(&budget, "a"));
    }

    #[test]
    fn a_full_bucket_is_forgotten() {
        let budget = Arc::new(Budget::new(3600));
        drop(budget.take("full", 1.0).ok().unwrap());
        budget.take("taken", 100.0).ok().unwrap().spend();
        budget.forget();
        assert_eq!(budget.buckets().keys().map(String::as_str).collect::<Vec<_>>(), ["taken"]);
    }

    #[test]
    fn without_a_bound_nothing_is_counted() {
        let budget = Arc::new(Budget::new(0));
        budget.take("a", 1e12).ok().unwrap().spend();
        assert_eq!(budget.told("a"), []);
        budget.forget();
    }
}
