//! Every knob of the server, in one struct: its default, its meaning, and what happens at the limit.

use core::any::TypeId;
use core::fmt;
use core::ops::RangeInclusive;
use core::str::FromStr;
use std::ffi::{OsStr, OsString};
use std::net::{Ipv4Addr, SocketAddr, ToSocketAddrs};
use std::path::{Path, PathBuf};
use std::time::Duration;

use axum::http::{HeaderValue, Uri};
use clap::builder::{OsStringValueParser, TypedValueParser};
use clap::error::{ContextKind, ContextValue, ErrorKind};
use clap::{Arg, Args, Command};
use tracing_subscriber::EnvFilter;

use crate::log;
use crate::store::Bounds;
use crate::tls::Files;

/// The release.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");

/// Names the engine in answers and ids. A new version flies again and gets other ids.
pub const ENGINE: &str = concat!("slowpoint ", env!("CARGO_PKG_VERSION"));

/// Seconds of a core that one ascent takes, to price a request, with vector registers of 256 bits: machines
/// without take up to three times as long. It only feeds estimates.
pub const CORE_S_PER_ASCENT: f64 = 60e-6;
/// Seconds of a core that one descent takes. It only feeds estimates.
pub const CORE_S_PER_DESCENT: f64 = 3e-6;

/// Seconds of a core that one pull on a cord takes. It only feeds estimates.
///
/// Built for release, on a machine whose flights take what they are estimated at (5456 of `tube-edge.json` without cords 0.57 s, as
/// estimated): four cords in place of one add 1.74 to 1.77 s to 5456 flights of three delays, which are 196,416 pulls more, 9 us each.
/// Four runs of three parts side by side take 12 us, a single line 7. Time on the processor, best of several.
pub const CORE_S_PER_PULL: f64 = 9e-6;

/// Seconds of a core that weighing one flight under a set of bias and scatter takes. It only feeds estimates.
///
/// Of 1 to 40 logs in 1 to 20 conditions with 1 to 40 delays and 8192 or 65,536 flights, with errors as assumed and so large that
/// nearly all flights agree, none takes more than nine tenths of its price, and most take half to two thirds. Time on the
/// processor, in release.
pub const CORE_S_PER_WEIGHING: f64 = 4e-9;

/// How the server behaves. Each knob is a flag of `slowpoint serve` and an environment variable.
#[derive(Debug, Clone, Args)]
pub struct Config {
    /// Address and port to listen on, such as 127.0.0.1:8080 or localhost:8080
    #[arg(long, value_name = "ADDRESS", env = "SLOWPOINT_LISTEN", default_value_t = Self::default().listen, value_parser = address)]
    pub listen: SocketAddr,

    /// Listen on an address other machines reach, although there is no token and nobody is asked who they are.
    /// Without it only loopback addresses are accepted, until there is a token (`slowpoint token add`)
    #[arg(long, env = "SLOWPOINT_OPEN", value_parser = clap::builder::BoolishValueParser::new())]
    pub open: bool,

    /// Web sites whose pages may ask this server, such as https://club.example; more than one with commas between
    #[arg(long, value_name = "ORIGINS", env = "SLOWPOINT_ALLOW_ORIGIN", default_value_t = Self::default().allow_origin)]
    pub allow_origin: Origins,

    /// A proxy stands in front: clients are told apart by the last address of its X-Forwarded-For, and speak TLS where its
    /// X-Forwarded-Proto says https
    #[arg(long, env = "SLOWPOINT_BEHIND_PROXY", value_parser = clap::builder::BoolishValueParser::new())]
    pub behind_proxy: bool,

    /// File of the server's certificate and those that signed it, its own first (PEM): TLS is spoken then, and nothing else.
    /// Needs --tls-key. Read again when it changes, and on SIGHUP
    #[arg(long, value_name = "PEM", env = "SLOWPOINT_TLS_CERT", value_parser = file())]
    pub tls_cert: Option<PathBuf>,

    /// File of the certificate's private key (PEM, not encrypted)
    #[arg(long, value_name = "PEM", env = "SLOWPOINT_TLS_KEY", value_parser = file())]
    pub tls_key: Option<PathBuf>,

    /// Directory of the answers; made when missing
    #[arg(long, value_name = "DIR", env = "SLOWPOINT_DATA_DIR", default_value_os_t = Self::default().data_dir)]
    pub data_dir: PathBuf,

    /// Bytes that answers and jobs may take on the disk; above, the answers that were not asked for the longest are given
    /// up. `slowpoint keep` excepts one
    #[arg(long, value_name = "BYTES", env = "SLOWPOINT_KEEP_BYTES", default_value_t = Self::default().keep_bytes)]
    pub keep_bytes: u64,

    /// Days without being asked for after which an answer is given up; days on which the server does not run are not counted
    #[arg(long, value_name = "DAYS", env = "SLOWPOINT_KEEP_DAYS", default_value_t = Self::default().keep_days)]
    pub keep_days: u64,

    /// Largest body in bytes; a larger one is answered 413
    #[arg(long, value_name = "BYTES", env = "SLOWPOINT_BODY_LIMIT", default_value_t = Self::default().body_limit)]
    pub body_limit: usize,

    /// Largest GRIB file in bytes; a larger one is answered 413
    #[arg(long, value_name = "BYTES", env = "SLOWPOINT_GRIB_LIMIT", default_value_t = Self::default().grib_limit)]
    pub grib_limit: usize,

    /// Longest URL in bytes; a longer one is answered 414
    #[arg(long, value_name = "BYTES", env = "SLOWPOINT_URI_LIMIT", default_value_t = Self::default().uri_limit, value_parser = head_bytes)]
    pub uri_limit: usize,

    /// Largest headers in bytes, names and values together; larger ones are answered 431
    #[arg(long, value_name = "BYTES", env = "SLOWPOINT_HEAD_LIMIT", default_value_t = Self::default().head_limit, value_parser = head_bytes)]
    pub head_limit: usize,

    /// Deepest nesting of lists and objects in a body; a deeper one is answered 400
    #[arg(long, value_name = "LEVELS", env = "SLOWPOINT_NESTING_LIMIT", default_value_t = Self::default().nesting_limit)]
    pub nesting_limit: usize,

    /// Seconds a client has to send its headers, and again its body; then 408 or the end of the connection
    #[arg(long, value_name = "SECONDS", env = "SLOWPOINT_READ_TIMEOUT", default_value_t = Self::default().read_timeout_s, value_parser = seconds)]
    pub read_timeout_s: u64,

    /// Most flights computed while the client waits; more are a job
    #[arg(long, value_name = "FLIGHTS", env = "SLOWPOINT_INLINE_FLIGHTS", default_value_t = Self::default().inline_flights)]
    pub inline_flights: u64,

    /// Cores that fly; 0 takes all
    #[arg(long, value_name = "CORES", env = "SLOWPOINT_CORES", default_value_t = Self::default().cores, value_parser = cores)]
    pub cores: usize,

    /// Computations at the same time; they share the cores
    #[arg(long, value_name = "COUNT", env = "SLOWPOINT_CONCURRENT", default_value_t = Self::default().concurrent, value_parser = count)]
    pub concurrent: usize,

    /// Computations that may wait for a place; one more is answered 503
    #[arg(long, value_name = "COUNT", env = "SLOWPOINT_QUEUE", default_value_t = Self::default().queue)]
    pub queue: usize,

    /// Seconds a computation waits for a place; then 503
    #[arg(long, value_name = "SECONDS", env = "SLOWPOINT_QUEUE_TIMEOUT", default_value_t = Self::default().queue_timeout_s, value_parser = seconds)]
    pub queue_timeout_s: u64,

    /// Seconds a computation may take once it has a place; then it is stopped and answered 422
    #[arg(long, value_name = "SECONDS", env = "SLOWPOINT_COMPUTE_LIMIT", default_value_t = Self::default().compute_limit_s, value_parser = seconds)]
    pub compute_limit_s: u64,

    /// Most flights of an answer that is computed as a job; more are answered 422
    #[arg(long, value_name = "FLIGHTS", env = "SLOWPOINT_JOB_FLIGHTS", default_value_t = Self::default().job_flights)]
    pub job_flights: u64,

    /// Jobs that run and wait; one more is answered 503. They run one at a time
    #[arg(long, value_name = "COUNT", env = "SLOWPOINT_JOBS", default_value_t = Self::default().jobs)]
    pub jobs: usize,

    /// Jobs of one client that run and wait; one more is answered 429
    #[arg(long, value_name = "COUNT", env = "SLOWPOINT_CLIENT_JOBS", default_value_t = Self::default().client_jobs)]
    pub client_jobs: usize,

    /// Core-seconds that one client may have computed an hour; more is answered 429. 0 for no bound
    #[arg(long, value_name = "SECONDS", env = "SLOWPOINT_CLIENT_CORE_S", default_value_t = Self::default().client_core_s)]
    pub client_core_s: u32,

    /// Seconds a job may take once it runs; then it fails
    #[arg(long, value_name = "SECONDS", env = "SLOWPOINT_JOB_LIMIT", default_value_t = Self::default().job_limit_s, value_parser = seconds)]
    pub job_limit_s: u64,

    /// Seconds named in Retry-After of a 503
    #[arg(long, value_name = "SECONDS", env = "SLOWPOINT_RETRY_AFTER", default_value_t = Self::default().retry_after_s, value_parser = seconds)]
    pub retry_after_s: u64,

    /// Connections held at the same time; further ones wait to be accepted
    #[arg(long, value_name = "COUNT", env = "SLOWPOINT_CONNECTIONS", default_value_t = Self::default().connections, value_parser = count)]
    pub connections: usize,

    /// Seconds after SIGTERM or ctrl-c in which /readyz says 503 and requests are still answered, so that a load balancer
    /// notices; give it as many as that takes. Nothing waits for it without one. Asked a second time it waits no longer
    #[arg(long, value_name = "SECONDS", env = "SLOWPOINT_DRAIN", default_value_t = Self::default().drain_s, value_parser = seconds)]
    pub drain_s: u64,

    /// Seconds that running requests get after that; then they are ended with 503
    #[arg(long, value_name = "SECONDS", env = "SLOWPOINT_STOP_DEADLINE", default_value_t = Self::default().stop_deadline_s, value_parser = seconds)]
    pub stop_deadline_s: u64,

    /// What is logged to standard error: error, warn, info, debug or trace, also per part, as in info,hyper=debug
    #[arg(long, value_name = "FILTER", env = "SLOWPOINT_LOG", default_value_t = Self::default().log, value_parser = filter)]
    pub log: String,

    /// How the log is written
    #[arg(long, value_enum, value_name = "FORMAT", env = "SLOWPOINT_LOG_FORMAT", default_value_t = Self::default().log_format)]
    pub log_format: log::Format,
}

/// An address with its port; a name is looked up, its IPv4 address first.
///
/// # Errors
/// Why it is none, with an example of one.
pub fn address(text: &str) -> Result<SocketAddr, String> {
    let found = text.to_socket_addrs().map_err(|e| format!("{e}; write an address and a port: 127.0.0.1:8080"))?;
    found.min_by_key(SocketAddr::is_ipv6).ok_or_else(|| "the name has no address".into())
}

/// Longest time that is taken, s: a year.
const MOST_S: u64 = 365 * 24 * 3600;
/// What a request's line or its headers may have, bytes: what every browser sends to every page has room.
const HEAD_BYTES: RangeInclusive<usize> = 1024..=16 * 1024 * 1024;
/// Most threads that fly.
const MOST_CORES: usize = 4096;
/// Most of what is served at the same time.
const MOST_AT_ONCE: usize = 65_536;

/// Whole seconds.
fn seconds(text: &str) -> Result<u64, String> {
    let found = text.parse().ok().filter(|s| *s <= MOST_S);
    found.ok_or_else(|| format!("give whole seconds, 0 to {MOST_S} (a year)"))
}

/// How many at the same time.
fn count(text: &str) -> Result<usize, String> {
    let found = text.parse().ok().filter(|n| (1..=MOST_AT_ONCE).contains(n));
    found.ok_or_else(|| format!("give a whole number from 1 to {MOST_AT_ONCE}"))
}

/// Cores to fly on.
fn cores(text: &str) -> Result<usize, String> {
    let found = text.parse().ok().filter(|n| *n <= MOST_CORES);
    found.ok_or_else(|| format!("give a whole number up to {MOST_CORES}; 0 takes all that there are"))
}

/// Bytes of what comes before a body.
fn head_bytes(text: &str) -> Result<usize, String> {
    let found = text.parse().ok().filter(|n| HEAD_BYTES.contains(n));
    found.ok_or_else(|| format!("give whole bytes, {} to {}", HEAD_BYTES.start(), HEAD_BYTES.end()))
}

/// The variable that a fault of the command line comes from, where nothing was typed that it could come from.
pub fn variable_at_fault(mut command: Command, fault: &clap::Error, typed: &[OsString]) -> Option<OsString> {
    // What an argument is called is known once it is built.
    command.build();
    let is_at_fault = |arg: &&Arg| match fault.get(ContextKind::InvalidArg) {
        Some(ContextValue::String(name)) => arg.to_string() == *name,
        // Nothing says which it is: one whose variable is no text, unless that is a path or something typed is none either.
        _ if fault.kind() == ErrorKind::InvalidUtf8 && typed.iter().all(|word| word.to_str().is_some()) => {
            let is_path = arg.get_value_parser().type_id() == TypeId::of::<PathBuf>();
            let value = arg.get_env().filter(|_| !is_path).and_then(std::env::var_os);
            value.is_some_and(|value| value.to_str().is_none())
        }
        _ => false,
    };
    let arg = every(&command).into_iter().find(is_at_fault)?;
    let long = format!("--{}", arg.get_long()?);
    let same = |word: &OsString| {
        word.to_str()
            .and_then(|word| word.strip_prefix(&long))
            .is_some_and(|rest| rest.is_empty() || rest.starts_with('='))
    };
    arg.get_env().filter(|_| !typed.iter().any(same)).map(OsStr::to_os_string)
}

/// Every argument of a command and of those under it.
fn every(command: &Command) -> Vec<&Arg> {
    command.get_arguments().chain(command.get_subcommands().flat_map(every)).collect()
}

/// A file that need not be named; an empty name, as a variable may have, is none.
pub fn file() -> impl TypedValueParser<Value = PathBuf> {
    OsStringValueParser::new().map(PathBuf::from)
}

/// The file that is named, if one is.
pub fn named(file: Option<&Path>) -> Option<&Path> {
    file.filter(|file| !file.as_os_str().is_empty())
}

/// Origins of pages, in a list with commas; an empty one has none.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Origins(pub Vec<HeaderValue>);

impl FromStr for Origins {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let each = text.split(',').map(str::trim).filter(|origin| !origin.is_empty());
        each.map(origin).collect::<Result<_, _>>().map(Self)
    }
}

impl fmt::Display for Origins {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let each: Vec<String> = self.0.iter().map(|origin| String::from_utf8_lossy(origin.as_bytes()).into()).collect();
        f.write_str(&each.join(","))
    }
}

/// The origin of a page (RFC 6454): scheme, host and port, nothing after them.
fn origin(text: &str) -> Result<HeaderValue, String> {
    let told = || "write scheme and host, as the browser sends them: https://club.example".to_string();
    let uri: Uri = text.parse().map_err(|_| told())?;
    let whole = uri.scheme_str().zip(uri.authority()).map(|(scheme, host)| format!("{scheme}://{host}"));
    // A browser writes small letters, and leaves a scheme's own port out.
    let own_port = match uri.scheme_str() {
        Some("http") => 80,
        Some("https") => 443,
        _ => return Err(told()),
    };
    if whole.as_deref() != Some(text) || text.chars().any(char::is_uppercase) || uri.port_u16() == Some(own_port) {
        return Err(told());
    }
    HeaderValue::from_str(text).map_err(|_| told())
}

/// A filter of the log that can be read.
fn filter(text: &str) -> Result<String, String> {
    EnvFilter::try_new(text).map_err(|e| format!("{e}; write a level such as info, or info,hyper=debug"))?;
    Ok(text.into())
}

impl Default for Config {
    fn default() -> Self {
        Self {
            listen: SocketAddr::from((Ipv4Addr::LOCALHOST, 8080)),
            open: false,
            allow_origin: Origins::default(),
            behind_proxy: false,
            tls_cert: None,
            tls_key: None,
            data_dir: PathBuf::from("./data"),
            keep_bytes: 10 * 1024 * 1024 * 1024,
            keep_days: 365,
            body_limit: 1024 * 1024,
            grib_limit: 16 * 1024 * 1024,
            uri_limit: 4 * 1024,
            head_limit: 16 * 1024,
            nesting_limit: 32,
            read_timeout_s: 30,
            inline_flights: 200_000,
            cores: 0,
            concurrent: 2,
            queue: 64,
            queue_timeout_s: 60,
            compute_limit_s: 120,
            job_flights: 50_000_000,
            jobs: 32,
            client_jobs: 8,
            client_core_s: 3600,
            job_limit_s: 7200,
            retry_after_s: 10,
            connections: 4096,
            // A balancer has to be told of; without one every second of it would only keep whoever stops the server.
            drain_s: 0,
            stop_deadline_s: 10,
            log: "info".into(),
            log_format: log::Format::Text,
        }
    }
}

impl Config {
    /// See `tls_cert` and `tls_key`.
    ///
    /// # Errors
    /// Which of the two is missing.
    pub fn tls(&self) -> Result<Option<Files>, String> {
        let (given, missing) = match (named(self.tls_cert.as_deref()), named(self.tls_key.as_deref())) {
            (None, None) => return Ok(None),
            (Some(certificate), Some(key)) => {
                return Ok(Some(Files { certificate: certificate.into(), key: key.into() }));
            }
            (Some(_), None) => ("--tls-cert", "--tls-key (SLOWPOINT_TLS_KEY)"),
            (None, Some(_)) => ("--tls-key", "--tls-cert (SLOWPOINT_TLS_CERT)"),
        };
        Err(format!("{given} is given without {missing}; name both files for TLS, or neither"))
    }

    /// Whether machines other than this one can reach it.
    pub fn public(&self) -> bool {
        !self.listen.ip().is_loopback()
    }

    /// See `keep_bytes` and `keep_days`.
    pub fn bounds(&self) -> Bounds {
        Bounds { bytes: self.keep_bytes, unused: Duration::from_secs(self.keep_days.saturating_mul(24 * 3600)) }
    }

    /// See `read_timeout_s`.
    pub fn read_timeout(&self) -> Duration {
        Duration::from_secs(self.read_timeout_s)
    }

    /// See `queue_timeout_s`.
    pub fn queue_timeout(&self) -> Duration {
        Duration::from_secs(self.queue_timeout_s)
    }

    /// See `compute_limit_s`.
    pub fn compute_limit(&self) -> Duration {
        Duration::from_secs(self.compute_limit_s)
    }

    /// See `job_limit_s`.
    pub fn job_limit(&self) -> Duration {
        Duration::from_secs(self.job_limit_s)
    }

    /// See `drain_s`.
    pub fn drain(&self) -> Duration {
        Duration::from_secs(self.drain_s)
    }

    /// See `stop_deadline_s`.
    pub fn stop_deadline(&self) -> Duration {
        Duration::from_secs(self.stop_deadline_s)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    #[test]
    fn times_and_counts_have_bounds() {
        assert_eq!([seconds("0"), seconds("31536000")], [Ok(0), Ok(MOST_S)]);
        assert_eq!([count("1"), count("65536")], [Ok(1), Ok(MOST_AT_ONCE)]);
        for text in ["", "-1", "1.5", "31536001", "18446744073709551615", "18446744073709551616"] {
            assert!(seconds(text).unwrap_err().contains("whole seconds"), "{text}");
            assert!(count(text).unwrap_err().contains("1 to 65536"), "{text}");
        }
        assert!(count("0").is_err());
    }

    #[test]
    fn origins_are_scheme_and_host() {
        let both = "https://club.example,http://localhost:3000";
        assert_eq!(both.parse::<Origins>().unwrap().to_string(), both);
        assert_eq!("".parse::<Origins>().unwrap(), Origins::default());
        for text in [
            "false",
            "*",
            "club.example",
            "https://club.example/",
            "https://club.example/page",
            "ftp://club.example",
            "httpx://club.example",
            "https://Club.example",
            "https://club.example:443",
            "http://club.example:80",
        ] {
            assert!(text.parse::<Origins>().unwrap_err().contains("https://club.example"), "{text}");
        }
    }
}
