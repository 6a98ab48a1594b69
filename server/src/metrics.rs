//! What `/metrics` tells: counts of what was done, gauges of what is. No label holds an id, a client or an input: each has few
//! values, whatever is sent.

use axum::http::{Method, StatusCode};
use prometheus::core::Collector;
use prometheus::{
    Gauge, Histogram, HistogramOpts, HistogramVec, IntCounter, IntCounterVec, IntGauge, IntGaugeVec, Opts, Registry,
    Result, TextEncoder,
};

use crate::problem::{Kind, Problem, UNREAD};
use crate::store::{Reason, Seen, Shelf, Stage};

/// Media type of the exposition (Prometheus, "Text-based format", 0.0.4).
pub const MEDIA_TYPE: &str = "text/plain; version=0.0.4; charset=utf-8";

/// Upper ends of the buckets of a request's time, s.
const REQUEST_S: [f64; 9] = [0.005, 0.02, 0.1, 0.25, 1.0, 2.5, 10.0, 30.0, 120.0];
/// Upper ends of the buckets of a computation's wait for a place, s.
const WAIT_S: [f64; 7] = [0.01, 0.1, 0.5, 2.0, 10.0, 30.0, 60.0];

/// Route of a request that leads nowhere.
const NO_ROUTE: &str = "none";
/// Readiness: its 503 turns no work away.
const READINESS: &str = "/readyz";
/// What flies stored assessments again: single flights, tables.
pub const REPLAYS: &str = "replays";

/// Who waits for what is flown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mode {
    /// A client.
    Inline,
    /// Nobody: a job does it.
    Job,
}

/// Why a connection came to no TLS.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoTls {
    /// It took too long.
    Late,
    /// It began with something else.
    Plain,
    /// One side refused the other, or went away.
    Refused,
}

impl NoTls {
    const ALL: [Self; 3] = [Self::Late, Self::Plain, Self::Refused];

    fn name(self) -> &'static str {
        match self {
            Self::Late => "late",
            Self::Plain => "plain",
            Self::Refused => "refused",
        }
    }
}

/// Counts bytes that come over a connection.
#[derive(Clone)]
pub struct Received {
    /// What is read.
    pub read: IntCounter,
    /// What comes after the last answer.
    pub dropped: IntCounter,
}

/// Counts one up while it lives.
pub struct Counted(IntGauge);

impl Counted {
    /// Counts up here.
    pub fn up(gauge: &IntGauge) -> Self {
        gauge.inc();
        Self(gauge.clone())
    }
}

impl Drop for Counted {
    fn drop(&mut self) {
        self.0.dec();
    }
}

/// Everything that is counted, of one service.
pub struct Metrics {
    registry: Registry,
    requests: IntCounterVec,
    request_s: HistogramVec,
    /// Requests that are being answered.
    pub in_flight: IntGauge,
    /// Requests whose client went away before the answer.
    pub left: IntCounter,
    sheds: IntCounterVec,
    flights: IntCounterVec,
    /// Computations that got a place.
    pub begun: IntCounter,
    /// Computations that were stopped.
    pub stopped: IntCounter,
    /// How long a computation waited for its place, s.
    pub wait_s: Histogram,
    /// Computations that wait for a place.
    pub waiting: IntGauge,
    /// Computations that have a place.
    pub running: IntGauge,
    ended: IntCounterVec,
    /// Turns of jobs.
    pub turns: IntCounter,
    /// Open event streams.
    pub streams: IntGauge,
    no_tls: IntCounterVec,
    /// Bytes of connections.
    pub received: Received,
}

/// Registers a metric.
fn kept<C: Collector + Clone + 'static>(registry: &Registry, metric: Result<C>) -> Result<C> {
    let metric = metric?;
    registry.register(Box::new(metric.clone()))?;
    Ok(metric)
}

impl Metrics {
    /// All at zero.
    pub fn new() -> Result<Self> {
        let registry = Registry::new();
        let count = |name: &str, help: &str| kept(&registry, IntCounter::new(name, help));
        let counts = |name: &str, help: &str, labels: &[&str]| {
            kept(&registry, IntCounterVec::new(Opts::new(name, help), labels))
        };
        let gauge = |name: &str, help: &str| kept(&registry, IntGauge::new(name, help));
        let computations = kept(
            &registry,
            IntGaugeVec::new(Opts::new("slowpoint_computations", "Computations by state."), &["state"]),
        )?;
        let received = counts(
            "slowpoint_received_bytes_total",
            "Bytes that came over connections, by whether they were read, or dropped after the last answer.",
            &["use"],
        )?;
        let build = Opts::new("slowpoint_build_info", "Always 1; the version of the program.");
        kept(&registry, IntGaugeVec::new(build, &["version"]))?.with_label_values(&[env!("CARGO_PKG_VERSION")]).set(1);
        let request_s = HistogramOpts::new(
            "slowpoint_http_request_duration_seconds",
            "Time from the request's headers to the response's, by route.",
        );
        let wait_s =
            HistogramOpts::new("slowpoint_computation_wait_seconds", "Time that a computation waited for a place.");
        let metrics = Self {
            requests: counts(
                "slowpoint_http_requests_total",
                "Answered requests, by method, route and status.",
                &["method", "route", "status"],
            )?,
            request_s: kept(&registry, HistogramVec::new(request_s.buckets(REQUEST_S.to_vec()), &["route"]))?,
            in_flight: gauge("slowpoint_http_requests_in_flight", "Requests that are being answered.")?,
            left: count("slowpoint_http_requests_left_total", "Requests whose client went away before the answer.")?,
            sheds: counts(
                "slowpoint_sheds_total",
                "Requests turned away with 429 or 503, by the kind of problem, overloaded-unread where it was refused before it was read; readiness left out.",
                &["reason"],
            )?,
            flights: counts(
                "slowpoint_flights_total",
                "Flights flown for answers, by what is answered and whether a job did it.",
                &["kind", "mode"],
            )?,
            begun: count("slowpoint_computations_begun_total", "Computations that got a place.")?,
            stopped: count(
                "slowpoint_computations_stopped_total",
                "Computations stopped because nobody waited any more or the server ended.",
            )?,
            wait_s: kept(&registry, Histogram::with_opts(wait_s.buckets(WAIT_S.to_vec())))?,
            waiting: computations.with_label_values(&["waiting"]),
            running: computations.with_label_values(&["running"]),
            ended: counts(
                "slowpoint_jobs_ended_total",
                "Jobs that ended here, by what they answer, how, and of failed ones why.",
                &["kind", "outcome", "reason"],
            )?,
            turns: count("slowpoint_job_turns_total", "Turns of jobs that were begun.")?,
            streams: gauge("slowpoint_event_streams", "Open streams of events.")?,
            no_tls: counts("slowpoint_tls_failures_total", "Connections that came to no TLS, by why.", &["reason"])?,
            received: Received {
                read: received.with_label_values(&["read"]),
                dropped: received.with_label_values(&["dropped"]),
            },
            registry,
        };
        metrics.begin_at_zero();
        Ok(metrics)
    }

    /// A count that is there before its first event shows that event as a rise.
    fn begin_at_zero(&self) {
        for kind in Kind::ALL.iter().filter(|kind| turns_away(kind.status())) {
            self.sheds.with_label_values(&[kind.slug()]);
        }
        self.sheds.with_label_values(&[UNREAD]);
        for shelf in Shelf::ALL {
            self.flights(shelf.name(), Mode::Inline);
            self.flights(shelf.name(), Mode::Job);
            let stages = [Stage::Successful, Stage::Dismissed].into_iter();
            stages.chain(Reason::ALL.map(Stage::Failed)).for_each(|stage| drop(self.outcomes(shelf, stage)));
        }
        self.flights(REPLAYS, Mode::Inline);
        NoTls::ALL.iter().for_each(|why| drop(self.failures(*why)));
    }

    /// Counts an answered request. Its route is the template, never the path that was sent.
    pub fn answered(&self, method: &Method, route: Option<&str>, status: StatusCode, seconds: f64) {
        let route = route.unwrap_or(NO_ROUTE);
        self.requests.with_label_values(&[known(method), route, status.as_str()]).inc();
        self.request_s.with_label_values(&[route]).observe(seconds);
    }

    /// Counts a problem, if it turns a request away.
    pub fn refused(&self, problem: &Problem, route: Option<&str>) {
        if turns_away(problem.kind().status()) && route != Some(READINESS) {
            self.sheds.with_label_values(&[problem.reason()]).inc();
        }
    }

    /// Counts flights.
    pub fn flights(&self, kind: &str, mode: Mode) -> IntCounter {
        let mode = match mode {
            Mode::Inline => "inline",
            Mode::Job => "job",
        };
        self.flights.with_label_values(&[kind, mode])
    }

    /// Counts a job that has ended.
    pub fn ended(&self, shelf: Shelf, stage: Stage) {
        self.outcomes(shelf, stage).inc();
    }

    fn outcomes(&self, shelf: Shelf, stage: Stage) -> IntCounter {
        let reason = if let Stage::Failed(reason) = stage { reason.name() } else { "" };
        self.ended.with_label_values(&[shelf.name(), stage.name(), reason])
    }

    /// Counts a connection that came to no TLS.
    pub fn no_tls(&self, why: NoTls) {
        self.failures(why).inc();
    }

    fn failures(&self, why: NoTls) -> IntCounter {
        self.no_tls.with_label_values(&[why.name()])
    }

    /// Everything as text, with what the store said when it was looked at; `None` if it could not say.
    pub fn text(&self, seen: Option<&Seen>) -> Result<String> {
        let mut families = self.registry.gather();
        families.extend(of_store(seen)?.gather());
        TextEncoder::new().encode_to_string(&families)
    }
}

/// What the store said. Without its word there are no figures, rather than old ones.
fn of_store(seen: Option<&Seen>) -> Result<Registry> {
    let registry = Registry::new();
    let gauge = |name: &str, help: &str, value: u64| {
        kept(&registry, IntGauge::new(name, help))?.set(i64::try_from(value).unwrap_or(i64::MAX));
        Ok::<_, prometheus::Error>(())
    };
    gauge("slowpoint_store_up", "Whether the store could be read for this page.", u64::from(seen.is_some()))?;
    let Some(seen) = seen else { return Ok(registry) };
    gauge("slowpoint_store_size_bytes", "Size of the database.", seen.bytes)?;
    gauge("slowpoint_store_unused_bytes", "Space of the database that holds nothing.", seen.unused_bytes)?;
    gauge("slowpoint_disk_available_bytes", "Space left on the disk of the database.", seen.disk_bytes)?;
    let jobs = kept(&registry, IntGaugeVec::new(Opts::new("slowpoint_jobs", "Open jobs, by stage."), &["stage"]))?;
    for (stage, count) in seen.jobs {
        jobs.with_label_values(&[stage.name()]).set(i64::try_from(count).unwrap_or(i64::MAX));
    }
    let help =
        "Time since the job that has waited the longest for a turn was accepted, or last ran; 0 when none waits.";
    let oldest = kept(&registry, Gauge::new("slowpoint_jobs_oldest_waiting_seconds", help))?;
    oldest.set(seen.oldest_waiting.map_or(0.0, |age| age.as_secs_f64()));
    Ok(registry)
}

/// Whether a status turns a request away that could be answered at another time.
fn turns_away(status: StatusCode) -> bool {
    matches!(status, StatusCode::SERVICE_UNAVAILABLE | StatusCode::TOO_MANY_REQUESTS)
}

/// A method of HTTP; whatever else is sent is one value.
fn known(method: &Method) -> &str {
    const KNOWN: [Method; 7] =
        [Method::GET, Method::HEAD, Method::POST, Method::PUT, Method::DELETE, Method::PATCH, Method::OPTIONS];
    if KNOWN.contains(method) { method.as_str() } else { "other" }
}
