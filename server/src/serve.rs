//! Listening, and stopping in order.

use std::future::poll_fn;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use axum::Router;
use axum::extract::{ConnectInfo, Request};
use axum::http::{StatusCode, header};
use axum::response::Response;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::{GracefulShutdown, Watcher};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::sync::{Semaphore, watch};
use tokio::time::MissedTickBehavior;
use tower::ServiceExt;

use crate::State;
use crate::linger::Lingering;
use crate::metrics::NoTls;
use crate::routes::{app, tls_needed};
use crate::threads;
use crate::tls::{Met, Tls};

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

/// Connections that wait to be accepted, where the system allows as many. One that finds no room is silently dropped, and its
/// client tries again a second later.
const BACKLOG: u32 = 4096;

/// Listens on an address.
pub fn listen(address: SocketAddr) -> io::Result<TcpListener> {
    let socket = if address.is_ipv6() { TcpSocket::new_v6()? } else { TcpSocket::new_v4()? };
    // As after a stop, while connections of before are still dying away.
    #[cfg(unix)]
    socket.set_reuseaddr(true)?;
    socket.bind(address)?;
    socket.listen(BACKLOG)
}

/// Serves until it is asked to stop and requests have had time to go elsewhere, then lets running ones end within the deadline;
/// asked a second time it waits for neither. Over TLS, if there is one, and nothing else then.
pub async fn serve(
    state: Arc<State>,
    listener: TcpListener,
    tls: Option<Tls>,
    asked: watch::Receiver<u32>,
) -> io::Result<()> {
    let config = &state.config;
    let (stopping, told) = watch::channel(false);
    let door = Arc::new(Door::new(&state, tls, told));
    let places = Arc::new(Semaphore::new(config.connections.max(1)));
    let graceful = GracefulShutdown::new();
    let mut stop = std::pin::pin!(async {
        asked_times(&asked, 1).await;
        state.draining.store(true, Ordering::SeqCst);
        if !config.drain().is_zero() {
            tracing::info!(seconds = config.drain_s, "not ready any more; requests are still answered");
            tokio::select! {
                () = tokio::time::sleep(config.drain()) => {}
                () = asked_times(&asked, 2) => {}
            }
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
        let (door, watcher) = (Arc::clone(&door), graceful.watcher());
        tokio::spawn(async move {
            door.open(stream, peer, watcher).await;
            drop(place);
        });
    }
    drop(listener);
    stopping.send_replace(true);
    pruning.abort();
    // Jobs are kept as far as they have come; whoever looks on is told to look again later.
    state.jobs.stop();
    tracing::info!(seconds = config.stop_deadline_s, "stopping; running requests may end");
    let mut ended = std::pin::pin!(graceful.shutdown());
    let in_time = tokio::select! {
        () = &mut ended => true,
        () = tokio::time::sleep(config.stop_deadline()) => false,
        () = asked_times(&asked, 2) => false,
    };
    if !in_time {
        tracing::warn!("deadline over, or asked twice; computations are stopped");
        state.compute.stop_all();
        let _ = tokio::time::timeout(LAST_WORDS, ended).await;
    }
    state.compute.stop_all();
    if tokio::time::timeout(LAST_WORDS, jobs).await.is_err() {
        tracing::warn!("a job did not stop; its lease will end");
    }
    Ok(())
}

/// Comes back once it was asked so often.
async fn asked_times(asked: &watch::Receiver<u32>, times: u32) {
    if asked.clone().wait_for(|so_far| *so_far >= times).await.is_err() {
        std::future::pending().await
    }
}

/// What becomes of each connection.
struct Door {
    http: http1::Builder,
    service: Router,
    tls: Option<(Tls, Router)>,
    stopping: watch::Receiver<bool>,
    state: Arc<State>,
}

impl Door {
    fn new(state: &Arc<State>, tls: Option<Tls>, stopping: watch::Receiver<bool>) -> Self {
        let mut http = http1::Builder::new();
        http.timer(TokioTimer::new()).header_read_timeout(state.config.read_timeout()).max_headers(HEADER_LINES);
        let tls = tls.map(|tls| (tls, tls_needed(state)));
        Self { http, service: app(Arc::clone(state)), tls, stopping, state: Arc::clone(state) }
    }

    async fn open(&self, stream: TcpStream, peer: SocketAddr, watcher: Watcher) {
        let (read_timeout, metrics) = (self.state.config.read_timeout(), &self.state.metrics);
        let received = metrics.received.clone();
        let Some((tls, elsewhere)) = &self.tls else {
            return self.answer(&self.service, Lingering::new(stream, read_timeout, received), peer, watcher).await;
        };
        let mut stopping = self.stopping.clone();
        let met = tokio::select! {
            met = tokio::time::timeout(read_timeout, tls.meet(stream, read_timeout, received)) => met,
            // Nothing was asked yet.
            _ = stopping.wait_for(|stopping| *stopping) => return,
        };
        match met {
            Ok(Ok(Met::Tls(stream))) => self.answer(&self.service, stream, peer, watcher).await,
            Ok(Ok(Met::Plain(stream))) => {
                metrics.no_tls(NoTls::Plain);
                self.answer(elsewhere, stream, peer, watcher).await;
            }
            Ok(Ok(Met::Refused(mut stream, error))) => {
                metrics.no_tls(NoTls::Refused);
                tracing::debug!(%error, "no TLS");
                // Nobody waits for it who stops the service.
                drop(watcher);
                // So that the alert arrives.
                let _ = poll_fn(|cx| Pin::new(&mut stream).poll_shutdown(cx)).await;
            }
            Ok(Ok(Met::Silent)) => {}
            Ok(Err(error)) => tracing::debug!(%error, "connection ended"),
            Err(_) => {
                metrics.no_tls(NoTls::Late);
                tracing::debug!("no TLS in time");
            }
        }
    }

    /// Answers what is asked on a connection until it ends.
    async fn answer<S>(&self, service: &Router, stream: S, peer: SocketAddr, watcher: Watcher)
    where
        S: AsyncRead + AsyncWrite + Unpin + 'static,
    {
        let asked = move |mut request: Request<Incoming>| {
            request.extensions_mut().insert(ConnectInfo(peer));
            request.map(axum::body::Body::new)
        };
        // The router measures the body, and to HEAD that would be said: of what is unchanged it is not sent, but it is not empty.
        let answered = |mut response: Response| {
            if response.status() == StatusCode::NOT_MODIFIED {
                response.headers_mut().remove(header::CONTENT_LENGTH);
            }
            response
        };
        let service = TowerToHyperService::new(service.clone().map_request(asked).map_response(answered));
        // A client that breaks off is no fault of ours; the request's own line tells the rest.
        if let Err(error) = watcher.watch(self.http.serve_connection(TokioIo::new(stream), service)).await {
            tracing::debug!(%error, "connection ended");
        }
    }
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
) -> io::Result<(TcpStream, SocketAddr, tokio::sync::OwnedSemaphorePermit)> {
    let place = Arc::clone(places).acquire_owned().await.map_err(io::Error::other)?;
    let (stream, peer) = listener.accept().await?;
    stream.set_nodelay(true)?;
    Ok((stream, peer, place))
}
