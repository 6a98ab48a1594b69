//! Who is read at all while every place is taken. To refuse before reading costs a line of the log; to refuse after it costs
//! the decoding of a whole card, and thirty times as many requests as can be answered would take what flies its cores.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use axum::body::Body;
use axum::extract::{MatchedPath, Query, Request, State as Held};
use axum::http::{HeaderMap, HeaderValue, Method, header};
use axum::middleware::Next;
use axum::response::Response;
use futures_util::StreamExt;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use crate::State;
use crate::api::assessments::unanswered;
use crate::api::price::CreateQuery;
use crate::api::work::Preference;
use crate::compute::Failure;
use crate::problem::{Kind, Problem};
use crate::store::Shelf;
use crate::threads::blocking;

/// Bodies that are decoded at the same time while all computations are taken.
const READ_AT_ONCE: usize = 2;
/// One that found all of those taken waits so long.
const TURN: Duration = Duration::from_millis(250);
/// For how many times as long as a body took until it was refused none is read: a twentieth of one core at most is lost to
/// what is read in vain.
const REST: u32 = 19;
/// However long one took, the next is read after this.
const LONGEST_REST: Duration = Duration::from_secs(1);
/// What is refused unread is given so long to come in whole, so that its connection can be kept.
const DROPPED_WITHIN: Duration = Duration::from_millis(50);

/// The places that a request asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Asks {
    /// None: what it would cost.
    Price,
    /// Those of computations.
    Computation,
    /// Those of jobs.
    Job,
}

impl Asks {
    /// As far as its head tells: one that asks for much becomes a job, and only its body says so.
    pub fn of(headers: &HeaderMap, dry_run: bool) -> Self {
        match dry_run {
            true => Self::Price,
            false if Preference::of(headers).respond_async => Self::Job,
            false => Self::Computation,
        }
    }
}

/// Bodies that are read while all places are taken: few at a time, and then none for a while.
pub struct Admission {
    reading: Arc<Semaphore>,
    /// Until when none is read for the places of computations, and of jobs.
    rests: [Mutex<Instant>; 2],
}

impl Default for Admission {
    fn default() -> Self {
        let now = Instant::now();
        Self { reading: Arc::new(Semaphore::new(READ_AT_ONCE)), rests: [Mutex::new(now), Mutex::new(now)] }
    }
}

impl Admission {
    fn rest(&self, asks: Asks) -> Option<&Mutex<Instant>> {
        match asks {
            Asks::Price => None,
            Asks::Computation => Some(&self.rests[0]),
            Asks::Job => Some(&self.rests[1]),
        }
    }

    /// Whether a request is refused unread. A place that becomes free opens at once; whether jobs have one only the store
    /// knows.
    fn shut(&self, asks: Asks, full: bool) -> bool {
        let until = self.rest(asks).map(|rest| *rest.lock().unwrap_or_else(PoisonError::into_inner));
        let rests = until.is_some_and(|until| Instant::now() < until);
        match asks {
            Asks::Price => false,
            Asks::Computation => full && (rests || self.reading.available_permits() == 0),
            Asks::Job => rests,
        }
    }

    /// A place to decode a body, while all computations are taken; `None` without a bound. An error if none becomes free.
    async fn place(&self, full: bool) -> Result<Option<OwnedSemaphorePermit>, Failure> {
        if !full {
            return Ok(None);
        }
        let place = tokio::time::timeout(TURN, Arc::clone(&self.reading).acquire_owned()).await;
        place.ok().and_then(Result::ok).map(Some).ok_or(Failure::Overloaded)
    }

    /// Notes a body that was decoded and then refused for want of a place, so long after it had come.
    pub fn in_vain(&self, asks: Asks, took: Duration) {
        let Some(rest) = self.rest(asks) else { return };
        let now = Instant::now();
        let mut until = rest.lock().unwrap_or_else(PoisonError::into_inner);
        *until = (now.max(*until) + took.saturating_mul(REST)).min(now + LONGEST_REST);
    }
}

/// Refuses what would be refused anyway, before it is read and before anything is asked of the store.
pub async fn admit(
    Held(state): Held<Arc<State>>,
    route: MatchedPath,
    request: Request,
    next: Next,
) -> Result<Response, Problem> {
    let query = Query::<CreateQuery>::try_from_uri(request.uri());
    let asks = match posted(request.method(), route.as_str()) {
        Posted::Elsewhere => return Ok(next.run(request).await),
        Posted::New => Asks::of(request.headers(), query.is_ok_and(|query| query.dry_run)),
        // It has no price.
        Posted::Revision => Asks::of(request.headers(), false),
    };
    if !state.admission.shut(asks, state.compute.full()) {
        return Ok(next.run(request).await);
    }
    let refused = match asks {
        Asks::Job => Problem::new(Kind::Overloaded, "As many jobs run and wait as are taken. Come back later."),
        _ => unanswered(&state.config, route.as_str(), Failure::Overloaded),
    };
    Err(if dropped(request).await {
        refused
    } else {
        refused.with_header(header::CONNECTION, HeaderValue::from_static("close"))
    }
    .unread())
}

/// Decodes a body off the async threads; what came of it, and when it began.
pub async fn decoded<T: Send + 'static>(
    state: &State,
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<(T, Instant), Problem> {
    let place = state.admission.place(state.compute.full()).await;
    let place = place.map_err(|failure| unanswered(&state.config, "a body", failure).unread())?;
    let (begun, decoded) = (Instant::now(), move || {
        let _place = place;
        work()
    });
    Ok((blocking(decoded).await?, begun))
}

/// Where something is posted. What is posted to a shelf is decoded and flown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Posted {
    Elsewhere,
    New,
    Revision,
}

fn posted(method: &Method, route: &str) -> Posted {
    let parts: Vec<&str> = route.split('/').skip(1).collect();
    match parts.as_slice() {
        ["v1", shelf, rest @ ..] if *method == Method::POST && Shelf::of_name(shelf).is_some() => {
            if rest.is_empty() {
                Posted::New
            } else {
                Posted::Revision
            }
        }
        _ => Posted::Elsewhere,
    }
}

/// Lets go of a body that comes soon; whether it came to its end.
async fn dropped(request: Request) -> bool {
    // Whoever asks first whether to send it is not told to.
    if request.headers().contains_key(header::EXPECT) {
        return false;
    }
    let mut parts = Body::into_data_stream(request.into_body());
    let all = async {
        while let Some(part) = parts.next().await {
            if part.is_err() {
                return false;
            }
        }
        true
    };
    tokio::time::timeout(DROPPED_WITHIN, all).await.unwrap_or(false)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    #[test]
    fn what_is_posted_to_a_shelf_computes() {
        for (method, route, expected) in [
            (Method::POST, "/v1/assessments", Posted::New),
            (Method::POST, "/v1/days", Posted::New),
            (Method::POST, "/v1/days/{id}/revisions", Posted::Revision),
            (Method::POST, "/v1/sweeps", Posted::New),
            (Method::GET, "/v1/days/{id}", Posted::Elsewhere),
            (Method::POST, "/v1/weather", Posted::Elsewhere),
            (Method::POST, "/v1/shares", Posted::Elsewhere),
            (Method::GET, "/livez", Posted::Elsewhere),
        ] {
            assert_eq!(posted(&method, route), expected, "{method} {route}");
        }
    }

    #[test]
    fn after_one_that_was_read_in_vain_none_is_read_for_a_while() {
        let admission = Admission::default();
        assert!(!admission.shut(Asks::Computation, true), "none was read in vain");
        admission.in_vain(Asks::Computation, Duration::from_secs(3600));
        assert!(admission.shut(Asks::Computation, true));
        assert!(!admission.shut(Asks::Computation, false), "a place is free");
        assert!(!admission.shut(Asks::Job, true), "jobs have places of their own");
        assert!(!admission.shut(Asks::Price, true), "what it costs is told");
        admission.in_vain(Asks::Job, Duration::from_secs(3600));
        assert!(admission.shut(Asks::Job, false));
        let until = *admission.rests[0].lock().unwrap();
        assert!(until <= Instant::now() + LONGEST_REST, "however long it took");
    }

    #[tokio::test]
    async fn few_are_decoded_at_a_time_and_the_others_wait_for_a_moment() {
        let admission = Admission::default();
        assert!(admission.place(false).await.unwrap().is_none(), "without a bound while a place is free");
        let mut held = vec![admission.place(true).await.unwrap(), admission.place(true).await.unwrap()];
        assert!(admission.shut(Asks::Computation, true) && !admission.shut(Asks::Computation, false));
        assert_eq!(admission.place(true).await.unwrap_err(), Failure::Overloaded);
        held.pop();
        assert!(admission.place(true).await.unwrap().is_some());
        assert!(!admission.shut(Asks::Computation, true));
    }
}
