//! Asks a running service whether it is ready: for health checks where nothing else can ask, as in an image that holds
//! this program alone.

use std::io::{self, Read, Write};
use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use tokio_rustls::rustls::{ClientConnection, StreamOwned};

use crate::tls;

/// A service that takes longer for a few bytes is not ready.
const TIMEOUT: Duration = Duration::from_secs(5);
/// Longer than any status line of ours.
const HEAD_BYTES: u64 = 64;

/// Whether `/readyz` is answered 200 by the service that listens on an address of this machine: over TLS, if a certificate is
/// named. It is asked by its address, and stands in for itself: no name, date or issuer counts, only that it has the key of
/// that very certificate.
///
/// # Errors
/// What kept it from being asked, or the line it answered with instead.
pub fn ready(listen: SocketAddr, certificate: Option<&Path>) -> io::Result<()> {
    let address = reached(listen);
    let trusting = certificate.map(tls::trusting).transpose().map_err(io::Error::other)?;
    let stream = TcpStream::connect_timeout(&address, TIMEOUT)?;
    stream.set_read_timeout(Some(TIMEOUT))?;
    stream.set_write_timeout(Some(TIMEOUT))?;
    match trusting {
        None => ask(stream, listen),
        Some(trusting) => {
            let client = ClientConnection::new(Arc::new(trusting), address.ip().into()).map_err(io::Error::other)?;
            ask(StreamOwned::new(client, stream), listen)
        }
    }
}

fn ask(mut stream: impl Read + Write, listen: SocketAddr) -> io::Result<()> {
    stream.write_all(format!("GET /readyz HTTP/1.1\r\nHost: {listen}\r\nConnection: close\r\n\r\n").as_bytes())?;
    let mut head = Vec::new();
    stream.take(HEAD_BYTES).read_to_end(&mut head)?;
    let head = String::from_utf8_lossy(&head);
    let line = head.lines().next().unwrap_or_default();
    if line.starts_with("HTTP/1.1 200 ") { Ok(()) } else { Err(io::Error::other(format!("answered {line:?}"))) }
}

/// What listens on every address is asked on the loopback one.
fn reached(listen: SocketAddr) -> SocketAddr {
    let mut reached = listen;
    match listen {
        SocketAddr::V4(v4) if v4.ip().is_unspecified() => reached.set_ip(Ipv4Addr::LOCALHOST.into()),
        SocketAddr::V6(v6) if v6.ip().is_unspecified() => reached.set_ip(Ipv6Addr::LOCALHOST.into()),
        _ => {}
    }
    reached
}
