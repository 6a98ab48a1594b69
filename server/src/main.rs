//! The command line: serve, ask a service whether it is ready, assess one card, print the OpenAPI document.

use std::io::{self, Read, Write};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use anyhow::Context;
use clap::error::{ContextKind, ContextValue};
use clap::{Args, CommandFactory, Parser, Subcommand};
use jiff::Timestamp;
use slowpoint_server::State;
use slowpoint_server::access;
use slowpoint_server::api::{assessments, description, shares};
use slowpoint_server::config::{self, Config, ENGINE};
use slowpoint_server::id::{ContentId, sum};
use slowpoint_server::log;
use slowpoint_server::probe;
use slowpoint_server::problem::in_plain_words;
use slowpoint_server::render::terminal;
use slowpoint_server::serve::{listen, serve};
use slowpoint_server::store::{Access, Scope, Shelf, SqliteStore, Store, Token};
use slowpoint_server::tls;
use slowpoint_server::wire::{self, Instead, Rejected};
use tokio::sync::{Notify, watch};
use tracing_subscriber::EnvFilter;
use tracing_subscriber::util::SubscriberInitExt;

/// Exit code when an input has faults or the work failed; clap exits with 2 on wrong usage.
const FAULTS: u8 = 1;
const USAGE: u8 = 2;

/// What is assessed when no card is named: an invented rocket that says so.
const EMBEDDED_CARD: &[u8] = include_bytes!("../examples/first-flight.json");

/// For each delay of a rocket: when its recovery opens, how fast it is then, and where it comes down
///
/// An estimate from the listed assumptions. It approves no flight. Local codes and the range safety
/// officer decide.
#[derive(Parser)]
#[command(
    name = "slowpoint",
    version,
    after_help = "Exit codes: 0 answered, 1 faults in the input or failed work, 2 wrong usage."
)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Answer over HTTP
    Serve(Box<Config>),
    /// Ask the service that runs on this machine whether it is ready; exit code 1 when it is not
    Health {
        /// Address and port it listens on
        #[arg(long, value_name = "ADDRESS", env = "SLOWPOINT_LISTEN", default_value_t = Config::default().listen, value_parser = config::address)]
        listen: SocketAddr,
        /// File of its certificate, if it speaks TLS: that one is trusted, and no other
        #[arg(long, value_name = "PEM", env = "SLOWPOINT_TLS_CERT", value_parser = config::file())]
        tls_cert: Option<PathBuf>,
    },
    /// Answer one flight card here
    Assess {
        /// The card as JSON; "-" reads standard input. Without it, the invented card that comes with the program
        card: Option<PathBuf>,
        /// Print the same bytes as the service answers
        #[arg(long)]
        json: bool,
        /// Fly this many, whatever the card says
        #[arg(long, value_name = "N")]
        flights: Option<u64>,
        /// Tell what drives the answer, from this many base flights (1024 is a good start), whatever the card says
        #[arg(long, value_name = "N")]
        drivers: Option<u64>,
        /// Learn from the flights flown in this table, whatever the card says: CSV with columns such as apogee_m,
        /// apogee_time_s, opening_speed_m_s and delay_s
        #[arg(long, value_name = "FILE")]
        flown: Option<PathBuf>,
    },
    /// Keep an answer whatever the bounds on what is kept; of a day, its flights' answers as well
    Keep {
        /// Its path or its id: /v1/days/0123456789abcdef0123456789abcdef
        answer: String,
        /// Keep it no longer than others
        #[arg(long)]
        no_longer: bool,
        #[command(flatten)]
        data: DataDir,
    },
    /// Tokens: who may ask. From the first one on everybody needs one
    #[command(subcommand)]
    Token(TokenCommand),
    /// Print the OpenAPI document of the service
    Openapi,
}

#[derive(Subcommand)]
enum TokenCommand {
    /// Make a token and print it, once
    Add {
        /// What it is called; what is asked with it is its own
        name: String,
        /// What it may do
        #[arg(long, value_enum, default_value_t = Scope::Compute)]
        scope: Scope,
        /// Days until it ends; without it never
        #[arg(long, value_parser = clap::value_parser!(u32).range(1..=36_600))]
        days: Option<u32>,
        #[command(flatten)]
        data: DataDir,
    },
    /// List all tokens
    List {
        #[command(flatten)]
        data: DataDir,
    },
    /// End a token for good, at once
    Revoke {
        /// What it is called
        name: String,
        #[command(flatten)]
        data: DataDir,
    },
}

/// The data directory of a command beside the server.
#[derive(Args)]
struct DataDir {
    /// Directory of the answers
    #[arg(long, value_name = "DIR", env = "SLOWPOINT_DATA_DIR", default_value_os_t = Config::default().data_dir)]
    data_dir: PathBuf,
}

impl DataDir {
    /// Opens it beside a server that may be running.
    fn open(&self) -> anyhow::Result<SqliteStore> {
        SqliteStore::open(&self.data_dir)
            .with_context(|| format!("cannot use the data directory {}", self.data_dir.display()))
    }

    /// The same where something is there already: whoever only looks, or ends something, has mistaken the directory.
    fn open_made(&self) -> anyhow::Result<SqliteStore> {
        let directory = self.data_dir.display();
        let is_there = SqliteStore::is_in(&self.data_dir).with_context(|| format!("cannot look into {directory}"))?;
        anyhow::ensure!(
            is_there,
            "no service has kept anything in {directory}; name its data directory with --data-dir"
        );
        self.open()
    }
}

fn main() -> ExitCode {
    match run(asked().command) {
        Ok(code) => code,
        // A reader such as `head` that has seen enough is no failure.
        Err(error) if error.downcast_ref::<io::Error>().is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe) => {
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("slowpoint: {error:#}");
            ExitCode::from(FAULTS)
        }
    }
}

/// What is asked, or the end of the program: with the variable's name where that is at fault.
fn asked() -> Cli {
    Cli::try_parse().unwrap_or_else(|mut fault| {
        let typed: Vec<_> = std::env::args_os().collect();
        if let Some(variable) = config::variable_at_fault(Cli::command(), &fault, &typed) {
            let tip = format!("it comes from the variable {}: set it, or take it out", variable.display());
            fault.insert(ContextKind::Suggested, ContextValue::StyledStrs(vec![tip.into()]));
        }
        fault.exit()
    })
}

fn run(command: Command) -> anyhow::Result<ExitCode> {
    match command {
        Command::Serve(config) => serve_here(*config),
        Command::Health { listen, tls_cert } => {
            probe::ready(listen, config::named(tls_cert.as_deref()))
                .with_context(|| format!("{listen} is not ready"))?;
            Ok(ExitCode::SUCCESS)
        }
        Command::Assess { card, json, flights, drivers, flown } => {
            let flown = match flown.as_deref().map(|file| read(Some(file)).map_err(|error| (file, error))).transpose() {
                Ok(flown) => flown.map(|bytes| String::from_utf8_lossy(&bytes).into_owned()),
                Err((file, error)) => return Ok(unreadable(Some(file), &error)),
            };
            assess(card.as_deref(), json, Instead { flights, drivers, flown })
        }
        Command::Keep { answer, no_longer, data } => keep(&answer, !no_longer, &data),
        Command::Token(command) => token(command),
        Command::Openapi => {
            io::stdout().write_all(description::text()?.as_bytes())?;
            Ok(ExitCode::SUCCESS)
        }
    }
}

fn serve_here(config: Config) -> anyhow::Result<ExitCode> {
    log::to(config.log_format, EnvFilter::new(&config.log), io::stderr).init();
    log::panics();
    let files = config.tls().unwrap_or_else(|message| misused(message));
    let (tls, renewal) = files.map(tls::begin).transpose().map_err(anyhow::Error::msg)?.unzip();
    raise_handles(config.connections);
    let store = SqliteStore::serve(&config.data_dir)
        .with_context(|| format!("cannot use the data directory {}", config.data_dir.display()))?;
    let tokens = store.any_token()?;
    if config.public() && !config.open && !tokens {
        misused(format!(
            "{} can be reached from other machines and nothing asks who they are; make a token (`slowpoint token add NAME`), add --open if that is meant, or listen on 127.0.0.1",
            config.listen
        ));
    }
    if config.public() && tokens && tls.is_none() && !config.behind_proxy {
        tracing::warn!(
            address = %config.listen,
            "tokens cross the network unencrypted; give --tls-cert and --tls-key, or --behind-proxy if a proxy in front ends TLS"
        );
    }
    let address = config.listen;
    let state = State::new(config, Arc::new(store))?;
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    runtime.block_on(async {
        let stop = asked_to_stop()?;
        let secure = tls.is_some();
        if let Some(renewal) = renewal {
            tokio::spawn(renewal.run(asked_to_renew()?));
        }
        let listener = listen(address).with_context(|| format!("cannot listen on {address}"))?;
        tracing::info!(address = %listener.local_addr()?, tls = secure, engine = ENGINE, "listening");
        serve(state, listener, tls, stop).await?;
        anyhow::Ok(())
    })?;
    // Computations have been told to stop; one that does not must not hold up the end.
    runtime.shutdown_timeout(Duration::from_secs(1));
    Ok(ExitCode::SUCCESS)
}

/// Ends as clap ends what cannot be meant.
fn misused(message: String) -> ! {
    Cli::command().error(clap::error::ErrorKind::ValueValidation, message).exit()
}

/// Handles beside those of connections: the database, the log.
const OTHER_HANDLES: u64 = 256;

/// Takes as many file handles as the system gives: what it gives unasked is often fewer than there may be connections.
fn raise_handles(connections: usize) {
    let needed = (connections as u64).saturating_add(OTHER_HANDLES);
    let given = rlimit::increase_nofile_limit(needed.max(1024));
    if !given.is_ok_and(|given| given >= needed) {
        tracing::warn!(needed, "the system gives fewer file handles; further connections wait, or are refused by it");
    }
}

/// Counts SIGTERM and ctrl-c: whoever asks a second time does not want to wait.
#[cfg(unix)]
fn asked_to_stop() -> io::Result<watch::Receiver<u32>> {
    use tokio::signal::unix::{SignalKind, signal};
    let (mut terminate, mut interrupt) = (signal(SignalKind::terminate())?, signal(SignalKind::interrupt())?);
    let (asked, told) = watch::channel(0);
    tokio::spawn(async move {
        loop {
            tokio::select! {
                _ = terminate.recv() => {}
                _ = interrupt.recv() => {}
            }
            asked.send_modify(|times| *times += 1);
        }
    });
    Ok(told)
}

/// Tells of each SIGHUP. (Without TLS it ends the program, as it ends any that a terminal leaves behind.)
#[cfg(unix)]
fn asked_to_renew() -> io::Result<Arc<Notify>> {
    use tokio::signal::unix::{SignalKind, signal};
    let mut hangup = signal(SignalKind::hangup())?;
    let asked = Arc::new(Notify::new());
    let tell = Arc::clone(&asked);
    tokio::spawn(async move {
        while hangup.recv().await.is_some() {
            tell.notify_one();
        }
    });
    Ok(asked)
}

/// Nobody asks: there is no such signal.
#[cfg(not(unix))]
fn asked_to_renew() -> io::Result<Arc<Notify>> {
    Ok(Arc::new(Notify::new()))
}

/// Counts ctrl-c.
#[cfg(not(unix))]
fn asked_to_stop() -> io::Result<watch::Receiver<u32>> {
    let (asked, told) = watch::channel(0);
    tokio::spawn(async move {
        while tokio::signal::ctrl_c().await.is_ok() {
            asked.send_modify(|times| *times += 1);
        }
        // Nothing asks any more; the channel stays.
        std::future::pending::<()>().await;
    });
    Ok(told)
}

fn unreadable(file: Option<&Path>, error: &io::Error) -> ExitCode {
    eprintln!("slowpoint: cannot read {}: {error}", shown(file));
    ExitCode::from(USAGE)
}

fn assess(card: Option<&Path>, json: bool, instead: Instead) -> anyhow::Result<ExitCode> {
    let body = match read(card) {
        Ok(body) => body,
        Err(error) => return Ok(unreadable(card, &error)),
    };
    let asked = match wire::read_with(&body, instead) {
        Ok(asked) => asked,
        Err(Rejected::NotJson(reason)) => {
            eprintln!("{} is not JSON. {}", shown(card), in_plain_words(&reason));
            return Ok(ExitCode::from(FAULTS));
        }
        Err(Rejected::Faults(faults)) => {
            for fault in faults {
                let pointer = if fault.pointer.is_empty() { "the whole card" } else { &fault.pointer };
                eprintln!("{pointer}: {}; {}", fault.problem, fault.remedy);
            }
            return Ok(ExitCode::from(FAULTS));
        }
    };
    let id = ContentId::of(ENGINE, &asked.canonical());
    let stop = AtomicBool::new(false);
    let mut out = io::stdout().lock();
    if json {
        let bytes =
            assessments::assess(&id, &asked, &stop).map_err(|failure| anyhow::anyhow!("no answer: {failure:?}"))?;
        out.write_all(&bytes)?;
    } else {
        let report = slowpoint_sim::assess(&asked.case, &stop).context("stopped")?;
        out.write_all(terminal::table(&wire::answer(id.as_str(), ENGINE, &asked, &report)).as_bytes())?;
    }
    out.flush()?;
    Ok(ExitCode::SUCCESS)
}

fn keep(answer: &str, pinned: bool, data: &DataDir) -> anyhow::Result<ExitCode> {
    let mut parts = answer.trim_end_matches('/').rsplit('/');
    let id = parts.next().and_then(ContentId::parse);
    let shelves = match parts.next().map(Shelf::of_name) {
        Some(shelf) => shelf.into_iter().collect(),
        None => Shelf::ALL.to_vec(),
    };
    let Some(id) = id.filter(|_| !shelves.is_empty()) else {
        eprintln!("slowpoint: {answer:?} names no answer: give its path, /v1/assessments/ID, or its id of 32 digits");
        return Ok(ExitCode::from(USAGE));
    };
    let store = data.open_made()?;
    let mut kept = 0;
    for shelf in shelves {
        for (shelf, id) in shares::with_flights(&store, shelf, &id)? {
            kept += usize::from(store.pin(shelf, &id, pinned)?);
        }
    }
    anyhow::ensure!(kept > 0, "nothing is stored under {id}");
    println!("{kept} {}", if pinned { "kept whatever the bounds" } else { "kept as long as others" });
    Ok(ExitCode::SUCCESS)
}

fn token(command: TokenCommand) -> anyhow::Result<ExitCode> {
    match command {
        TokenCommand::Add { name, scope, days, data } => {
            let odd = |c: char| c.is_control() || (c.is_whitespace() && c != ' ');
            let plain = name.trim() == name && !name.chars().any(odd);
            anyhow::ensure!(
                plain && (1..=100).contains(&name.len()),
                "a token's name has 1 to 100 bytes, no blanks about it, and is one line"
            );
            let created = Timestamp::now();
            let expires = days.map(|days| created + Duration::from_secs(24 * 3600 * u64::from(days)));
            let token = Token { name, scope, created, expires, revoked: None };
            let secret = access::new_secret();
            let new = data.open()?.add_token(&token, &sum(&secret))?;
            anyhow::ensure!(new, "there is a token {:?}, or was; give another name", token.name);
            println!("{secret}");
            eprintln!("Send it as Authorization: Bearer TOKEN. It is kept nowhere and not shown again.");
        }
        TokenCommand::List { data } => {
            for token in data.open_made()?.tokens()? {
                let end = match (token.revoked, token.expires) {
                    (Some(at), _) => format!("revoked {at:.0}"),
                    (None, Some(at)) if token.holds() => format!("ends {at:.0}"),
                    (None, Some(at)) => format!("ended {at:.0}"),
                    (None, None) => "no end".to_string(),
                };
                println!("{}\t{}\tmade {:.0}\t{end}", token.name, token.scope.name(), token.created);
            }
        }
        TokenCommand::Revoke { name, data } => {
            anyhow::ensure!(
                data.open_made()?.revoke_token(&name)?,
                "there is no token {name:?}; `slowpoint token list` lists them"
            );
            println!("revoked");
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn shown(card: Option<&Path>) -> String {
    match card {
        None => "the card that comes with the program".into(),
        Some(card) if card == Path::new("-") => "standard input".into(),
        Some(card) => card.display().to_string(),
    }
}

fn read(card: Option<&Path>) -> io::Result<Vec<u8>> {
    let Some(card) = card else {
        eprintln!("No card was named: this one, of an invented rocket, comes with the program.");
        return Ok(EMBEDDED_CARD.to_vec());
    };
    if card == Path::new("-") {
        let mut body = Vec::new();
        io::stdin().lock().read_to_end(&mut body)?;
        return Ok(body);
    }
    std::fs::read(card)
}
