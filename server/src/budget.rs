//! How much each client may have computed: a bucket of core-seconds that fills again over an hour.
//!
//! What is answered from the store costs nothing. What costs more than the whole bucket takes a full one.

use core::num::NonZeroU32;
use std::time::Duration;

use axum::http::{HeaderName, HeaderValue, header};
use governor::clock::{Clock, DefaultClock};
use governor::middleware::StateInformationMiddleware;
use governor::state::keyed::HashMapStateStore;
use governor::{Quota, RateLimiter};

use crate::problem::{Kind, Problem};

/// The bucket is counted in thousandths of a core-second.
const PARTS: u32 = 1000;
const HOUR_S: u32 = 3600;

/// RateLimit header fields for HTTP (draft-ietf-httpapi-ratelimit-headers-10).
const POLICY: HeaderName = HeaderName::from_static("ratelimit-policy");
const LIMIT: HeaderName = HeaderName::from_static("ratelimit");

type Buckets = RateLimiter<String, HashMapStateStore<String>, DefaultClock, StateInformationMiddleware>;

/// The buckets of all clients.
pub struct Budget {
    buckets: Option<(Buckets, NonZeroU32)>,
}

impl Budget {
    /// So many core-seconds an hour for each client; 0 for no bound.
    pub fn new(core_s_per_hour: u32) -> Self {
        let parts = NonZeroU32::new(core_s_per_hour.saturating_mul(PARTS));
        let buckets = parts.and_then(|parts| {
            let quota = Quota::with_period(Duration::from_secs(HOUR_S.into()) / parts.get())?.allow_burst(parts);
            Some((RateLimiter::hashmap(quota).with_middleware(), parts))
        });
        Self { buckets }
    }

    /// Takes what a computation costs out of a client's bucket. What is left, as headers; or when to come back.
    pub fn charge(&self, client: &str, core_s: f64) -> Result<Vec<(HeaderName, HeaderValue)>, Problem> {
        let Some((buckets, whole)) = &self.buckets else { return Ok(Vec::new()) };
        let parts = (core_s * f64::from(PARTS)).ceil().clamp(1.0, f64::from(whole.get())) as u32;
        let parts = NonZeroU32::new(parts).unwrap_or(NonZeroU32::MIN);
        match buckets.check_key_n(&client.to_string(), parts) {
            Ok(Ok(left)) => Ok(told(*whole, left.remaining_burst_capacity())),
            Ok(Err(not_yet)) => {
                let wait_s = not_yet.wait_time_from(DefaultClock::default().now()).as_secs_f64().ceil().max(1.0);
                let core_s_per_hour = whole.get() / PARTS;
                let detail = format!(
                    "You may have {core_s_per_hour} core-seconds computed an hour; this takes about {core_s:.1}. Come back in {wait_s} s. What is stored is answered all the same."
                );
                let problem = Problem::new(Kind::OverBudget, detail)
                    .with_limit("client_core_s", core_s_per_hour.into(), "core-seconds an hour")
                    .with_header(header::RETRY_AFTER, HeaderValue::from(wait_s as u64));
                // How much is left is not told by what refuses: less than this takes.
                Err(problem.with_header(POLICY, policy(*whole)))
            }
            // No more is asked for than the bucket holds.
            Err(_) => Ok(Vec::new()),
        }
    }

    /// Forgets clients whose buckets are full again.
    pub fn forget(&self) {
        if let Some((buckets, _)) = &self.buckets {
            buckets.retain_recent();
            buckets.shrink_to_fit();
        }
    }
}

fn policy(whole: NonZeroU32) -> HeaderValue {
    value(format!("\"core-s\";q={};w={HOUR_S}", whole.get() / PARTS))
}

fn told(whole: NonZeroU32, left: u32) -> Vec<(HeaderName, HeaderValue)> {
    let missing = u64::from(whole.get().saturating_sub(left));
    let full_s = (missing * u64::from(HOUR_S)).div_ceil(whole.get().into());
    vec![(POLICY, policy(whole)), (LIMIT, value(format!("\"core-s\";r={};t={full_s}", left / PARTS)))]
}

/// Digits and names are plain ASCII, which a header takes.
fn value(text: String) -> HeaderValue {
    HeaderValue::from_str(&text).unwrap_or_else(|_| HeaderValue::from_static(""))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    fn left(headers: &[(HeaderName, HeaderValue)]) -> String {
        headers.iter().find(|(name, _)| *name == LIMIT).unwrap().1.to_str().unwrap().to_string()
    }

    #[test]
    fn a_bucket_empties_and_the_next_clients_is_full() {
        let budget = Budget::new(3600);
        let first = budget.charge("a", 1800.0).unwrap();
        assert_eq!(first[0].1, "\"core-s\";q=3600;w=3600");
        assert!(["\"core-s\";r=1800;t=1800", "\"core-s\";r=1799;t=1801"].contains(&left(&first).as_str()), "{first:?}");
        budget.charge("a", 1799.0).unwrap();
        let refused = budget.charge("a", 100.0).unwrap_err();
        assert_eq!(refused.kind(), Kind::OverBudget);
        let response = refused.respond("id", 10);
        let wait: u64 = response.headers()[header::RETRY_AFTER].to_str().unwrap().parse().unwrap();
        assert!((97..=100).contains(&wait), "{wait}");
        assert_eq!(response.headers()[&POLICY], "\"core-s\";q=3600;w=3600");
        // More than the bucket holds takes a full one.
        budget.charge("b", 1e9).unwrap();
        assert!(budget.charge("b", 1.0).is_err());
    }

    #[test]
    fn without_a_bound_nothing_is_counted() {
        let budget = Budget::new(0);
        assert_eq!(budget.charge("a", 1e12).unwrap(), []);
        budget.forget();
    }
}
