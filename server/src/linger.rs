//! Closing a connection so that its last answer arrives.
//!
//! An answer may leave before the whole request has come: a body that is too large is refused by its declared length. A
//! socket that is closed with bytes unread resets the connection, and the answer is lost on the way, to a proxy for
//! certain, which writes a body before it reads. So what still comes is read and dropped for a while (RFC 9112, 9.6).

use std::io::{self, IoSlice};
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep, sleep};

use crate::metrics::Received;

/// A peer that sends nothing for this long has read its answer.
const QUIET: Duration = Duration::from_secs(1);
/// Bytes dropped at once.
const DROPPED: usize = 16 * 1024;

/// A stream that, once shut down, reads on until its peer has closed it, is quiet, or has had `longest`.
pub struct Lingering<S> {
    stream: S,
    longest: Duration,
    received: Received,
    ending: Option<Ending>,
}

/// Since the shutdown: until when it is read at most, and until when something must come.
struct Ending {
    latest: Instant,
    quiet: Pin<Box<Sleep>>,
}

impl<S> Lingering<S> {
    /// The stream, as if it were bare until it is shut down.
    pub fn new(stream: S, longest: Duration, received: Received) -> Self {
        Self { stream, longest, received, ending: None }
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Lingering<S> {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let before = buf.filled().len();
        let polled = Pin::new(&mut self.stream).poll_read(cx, buf);
        self.received.read.inc_by((buf.filled().len() - before) as u64);
        polled
    }
}

impl<S: AsyncRead + AsyncWrite + Unpin> AsyncWrite for Lingering<S> {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &[u8]) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write(cx, buf)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bufs: &[IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write_vectored(cx, bufs)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        let Self { stream, longest, received, ending } = &mut *self;
        let ending = match ending {
            Some(ending) => ending,
            None => {
                ready!(Pin::new(&mut *stream).poll_shutdown(cx))?;
                ending.insert(Ending { latest: Instant::now() + *longest, quiet: Box::pin(sleep(QUIET)) })
            }
        };
        loop {
            let mut dropped = [0; DROPPED];
            let mut buf = ReadBuf::new(&mut dropped);
            let polled = Pin::new(&mut *stream).poll_read(cx, &mut buf);
            received.dropped.inc_by(buf.filled().len() as u64);
            match polled {
                // Whatever ends it, the last word is said.
                Poll::Ready(Err(_)) => return Poll::Ready(Ok(())),
                Poll::Ready(Ok(())) if buf.filled().is_empty() || Instant::now() >= ending.latest => {
                    return Poll::Ready(Ok(()));
                }
                Poll::Ready(Ok(())) => ending.quiet.as_mut().reset(ending.latest.min(Instant::now() + QUIET)),
                Poll::Pending => {
                    ready!(ending.quiet.as_mut().poll(cx));
                    return Poll::Ready(Ok(()));
                }
            }
        }
    }
}
