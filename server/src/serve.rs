//! Listening, and stopping in order.

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use axum::extract::{ConnectInfo, Request};
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use hyper_util::service::TowerToHyperService;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tokio::time::MissedTickBehavior;
use tower::ServiceExt;

use crate::State;
use crate::linger::Lingering;
use crate::routes::app;
use crate::threads;

/// Most header lines of a request. Far more than any client sends; past it the connection itself answers 431 without a
/// body, as it answers 400 to what is no HTTP.
const HEADER_LINES: usize = 512;
/// After the deadline: time for the last refusals to be written.
const LAST_WORDS: Duration = Duration::from_millis(500);
/// Between two looks at how much is kept.
const LOOKED_EVERY: Duration = Duration::from_secs(10);
/// What is old is given up after so many of them, and what is too much at any.
const LOOKS_BETWEEN: u64 = 60;
/// After an error of accept (no file handles left, say): time for something to change.
const ACCEPT_PAUSE: Duration = Duration::from_millis(100);

/// Serves until `stop` comes back and requests have had time to go elsewhere, then lets running ones end within the deadline.
pub async fn serve(state: Arc<State>, listener: TcpListener, stop: impl Future<Output = ()>) -> io::Result<()> {
    let config = &state.config;
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(config.read_timeout()).max_headers(HEADER_LINES);
    let service = app(Arc::clone(&state));
    let places = Arc::new(Semaphore::new(config.connections.max(1)));
    let graceful = GracefulShutdown::new();
    let mut stop = std::pin::pin!(async {
        stop.await;
        state.draining.store(true, Ordering::SeqCst);
        if !config.drain().is_zero() {
            tracing::info!(seconds = config.drain_s, "not ready any more; requests are still answered");
            tokio::time::sleep(config.drain()).await;
        }
    });
    let jobs = tokio::spawn(Arc::clone(&state.jobs).run());
    let pruning = tokio::spawn(prune(Arc::clone(&state)));
    loop {
        let accepted = tokio::select! {
            accepted = accept(&listener, &places) => accepted,
            () = &mut stop => break,
        };
        let (stream, peer, place) = match accepted {
            Ok(accepted) => accepted,
            Err(error) => {
                tracing::warn!(%error, "accept failed");
                tokio::time::sleep(ACCEPT_PAUSE).await;
                continue;
            }
        };
        let service = TowerToHyperService::new(service.clone().map_request(move |mut request: Request<Incoming>| {
            request.extensions_mut().insert(ConnectInfo(peer));
            request.map(axum::body::Body::new)
        }));
        let stream = TokioIo::new(Lingering::new(stream, config.read_timeout()));
        let connection = graceful.watch(http.serve_connection(stream, service));
        tokio::spawn(async move {
            // A client that breaks off is no fault of ours; the request's own line tells the rest.
            if let Err(error) = connection.await {
                tracing::debug!(%error, "connection ended");
            }
            drop(place);
        });
    }
    drop(listener);
    pruning.abort();
    // Jobs are kept as far as they have come; whoever looks on is told to look again later.
    state.jobs.stop();
    tracing::info!(seconds = config.stop_deadline_s, "stopping; running requests may end");
    let mut ended = std::pin::pin!(graceful.shutdown());
    if tokio::time::timeout(config.stop_deadline(), &mut ended).await.is_err() {
        tracing::warn!("deadline over; computations are stopped");
        state.compute.stop_all();
        let _ = tokio::time::timeout(LAST_WORDS, ended).await;
    }
    state.compute.stop_all();
    if tokio::time::timeout(LAST_WORDS, jobs).await.is_err() {
        tracing::warn!("a job did not stop; its lease will end");
    }
    Ok(())
}

/// Gives up what is over the bounds.
async fn prune(state: Arc<State>) {
    let mut every = tokio::time::interval(LOOKED_EVERY);
    every.set_missed_tick_behavior(MissedTickBehavior::Delay);
    for look in 0_u64.. {
        every.tick().await;
        let (this, due) = (Arc::clone(&state), look % LOOKS_BETWEEN == 0);
        if due {
            state.budget.forget();
        }
        let pruned = threads::blocking(move || {
            let (bounds, seen) = (this.config.bounds(), this.store.look()?);
            let too_much = seen.bytes.saturating_sub(seen.unused_bytes) > bounds.bytes;
            if due || too_much { this.store.prune(bounds) } else { Ok(0) }
        });
        match pruned.await {
            Ok(Ok(0)) => {}
            Ok(Ok(answers)) => tracing::info!(answers, "given up, as they were not asked for"),
            Ok(Err(error)) => tracing::error!(%error, "store failed"),
            // The panic hook has logged it.
            Err(_) => {}
        }
    }
}

async fn accept(
    listener: &TcpListener,
    places: &Arc<Semaphore>,
) -> io::Result<(tokio::net::TcpStream, SocketAddr, tokio::sync::OwnedSemaphorePermit)> {
    let place = Arc::clone(places).acquire_owned().await.map_err(io::Error::other)?;
    let (stream, peer) = listener.accept().await?;
    stream.set_nodelay(true)?;
    Ok((stream, peer, place))
}
