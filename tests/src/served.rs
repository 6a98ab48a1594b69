//! The service as its users have it: its own release binary in a process of its own, asked over sockets.

use std::io::{BufRead, BufReader, Lines, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStderr, Command, Stdio};
use std::sync::{Arc, LazyLock, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use serde_json::Value;
use tempfile::TempDir;
use ureq::{Agent, RequestBuilder};

/// What the machine can do is asked here, not what one client may have.
const NO_BOUND: [&str; 4] = ["--client-core-s", "0", "--client-jobs", "1000000"];

/// A client gives up after so long: longer than anything asked here takes.
const PATIENCE: Duration = Duration::from_secs(120);

/// No job takes as long, on the slowest machine: what does has no end.
const NO_END: Duration = Duration::from_secs(3600);

/// A binary of this workspace beside the one that runs, built if it is not yet.
pub fn built(package: &str, binary: &str) -> Result<PathBuf, String> {
    let here = std::env::current_exe().map_err(|e| e.to_string())?.with_file_name(binary);
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR")).join("../Cargo.toml");
    let status = Command::new(cargo)
        .args(["build", "--release", "--locked", "--quiet", "-p", package, "--bin", binary, "--manifest-path"])
        .arg(manifest)
        .status()
        .map_err(|e| e.to_string())?;
    let there = status.success() && here.exists();
    there.then_some(here).ok_or_else(|| format!("{binary} of {package} could not be built beside this binary"))
}

/// The program that `SLOWPOINT` names, by default the one of this workspace.
static PROGRAM: LazyLock<Result<PathBuf, String>> = LazyLock::new(|| match std::env::var_os("SLOWPOINT") {
    Some(program) => Ok(program.into()),
    None => built("slowpoint-server", "slowpoint"),
});

/// What the binary prints when it is run once, with more variables of the environment.
pub fn told(arguments: &[&str], environment: &[(&str, &str)]) -> Result<String, String> {
    let program = PROGRAM.as_ref().map_err(String::clone)?;
    let run = Command::new(program).args(arguments).envs(environment.iter().copied()).output();
    let run = run.map_err(|e| format!("{}: {e}", program.display()))?;
    let said = |bytes: &[u8]| String::from_utf8_lossy(bytes).trim().to_string();
    if run.status.success() { Ok(said(&run.stdout)) } else { Err(said(&run.stderr)) }
}

/// A running `slowpoint serve`. Dropping it kills it.
pub struct Service {
    process: Child,
    /// Where it listens.
    pub address: SocketAddr,
    log: Arc<Mutex<Vec<String>>>,
    /// Its data, if they are thrown away with it.
    _data: Option<TempDir>,
}

impl Drop for Service {
    fn drop(&mut self) {
        self.end();
    }
}

impl Service {
    /// Starts one with data that are thrown away.
    pub fn start(arguments: &[&str]) -> Result<Self, String> {
        let data = TempDir::new().map_err(|e| e.to_string())?;
        let mut started = Self::start_on(data.path(), arguments, &[])?;
        started._data = Some(data);
        Ok(started)
    }

    /// Starts one on a data directory, with more variables of the environment. It comes back once the service says where it
    /// listens.
    pub fn start_on(data: &Path, arguments: &[&str], environment: &[(&str, &str)]) -> Result<Self, String> {
        Self::start_under(&[], data, arguments, environment)
    }

    /// The same, started by another program that is given its command line and becomes it.
    pub fn start_under(
        starter: &[&str],
        data: &Path,
        arguments: &[&str],
        environment: &[(&str, &str)],
    ) -> Result<Self, String> {
        let program = PROGRAM.as_ref().map_err(String::clone)?;
        let mut command = match starter {
            [] => Command::new(program),
            [first, rest @ ..] => {
                let mut command = Command::new(first);
                command.args(rest).arg(program);
                command
            }
        };
        command.env("SLOWPOINT_LOG", "info").envs(environment.iter().copied());
        command.args(["serve", "--listen", "127.0.0.1:0", "--data-dir"]).arg(data).args(NO_BOUND).args(arguments);
        let mut process = command.stderr(Stdio::piped()).spawn().map_err(|e| e.to_string())?;
        let log = Arc::default();
        let mut lines = BufReader::new(process.stderr.take().ok_or("no log")?).lines();
        match listening(&mut lines, &log) {
            Some(address) => {
                // Read on, so that it never blocks.
                let kept = Arc::clone(&log);
                std::thread::spawn(move || lines.map_while(Result::ok).for_each(|line| lock(&kept).push(line)));
                Ok(Self { process, address, log, _data: None })
            }
            None => {
                let _ = process.kill();
                let _ = process.wait();
                Err(format!("the service did not say where it listens: {}", lock(&log).join("\n")))
            }
        }
    }

    /// Kills it: it has no moment to put anything in order.
    pub fn end(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }

    /// The number of its process.
    pub fn process(&self) -> u32 {
        self.process.id()
    }

    /// A client of it.
    pub fn client(&self) -> Client {
        Client::new(self.address)
    }

    /// Lines of its log that hold a text.
    pub fn logged(&self, text: &str) -> usize {
        lock(&self.log).iter().filter(|line| line.contains(text)).count()
    }

    /// The first lines of its log that hold a text.
    pub fn lines_with(&self, text: &str, most: usize) -> Vec<String> {
        lock(&self.log).iter().filter(|line| line.contains(text)).take(most).cloned().collect()
    }

    /// Panics so far.
    pub fn panics(&self) -> usize {
        self.logged("panicked")
    }

    /// Seconds until it says that it is ready.
    pub fn ready_s(&self) -> Result<f64, String> {
        let (begin, client) = (Instant::now(), self.client());
        while begin.elapsed() < PATIENCE {
            if client.get("/readyz").is_ok_and(|reply| reply.status == 200) {
                return Ok(begin.elapsed().as_secs_f64());
            }
            std::thread::sleep(Duration::from_millis(2));
        }
        Err("the service did not get ready".into())
    }
}

fn lock<T>(shared: &Mutex<T>) -> MutexGuard<'_, T> {
    shared.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The address in the log, which names the port that the system gave.
fn listening(lines: &mut Lines<BufReader<ChildStderr>>, log: &Mutex<Vec<String>>) -> Option<SocketAddr> {
    lines.map_while(Result::ok).find_map(|line| {
        let address = line.split("address=").nth(1).and_then(|rest| rest.split_whitespace().next()?.parse().ok());
        lock(log).push(line);
        address
    })
}

/// A client of the service, over kept connections.
#[derive(Clone)]
pub struct Client {
    agent: Agent,
    address: SocketAddr,
    /// Sent with every request.
    headers: Vec<(&'static str, String)>,
}

/// An answer that was received in full.
#[derive(Debug, Clone)]
pub struct Reply {
    /// Its status.
    pub status: u16,
    /// Its headers, names in small letters.
    pub headers: Vec<(String, String)>,
    /// Its body.
    pub body: Vec<u8>,
}

impl Client {
    /// A client of what listens there.
    pub fn new(address: SocketAddr) -> Self {
        let config = Agent::config_builder().http_status_as_error(false).timeout_global(Some(PATIENCE)).proxy(None);
        Self { agent: config.build().into(), address, headers: Vec::new() }
    }

    /// The same with a token.
    pub fn bearing(self, token: &str) -> Self {
        self.sending("authorization", format!("Bearer {token}"))
    }

    /// The same as a service behind a proxy knows it.
    pub fn forwarded_for(self, address: &str) -> Self {
        self.sending("x-forwarded-for", address.into())
    }

    fn sending(mut self, name: &'static str, value: String) -> Self {
        self.headers.push((name, value));
        self
    }

    fn with_headers<B>(&self, request: RequestBuilder<B>) -> RequestBuilder<B> {
        self.headers.iter().fold(request, |request, (name, value)| request.header(*name, value))
    }

    fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.address)
    }

    /// Gets a path.
    pub fn get(&self, path: &str) -> Result<Reply, String> {
        received(self.with_headers(self.agent.get(self.url(path))).call())
    }

    /// Deletes a path.
    pub fn delete(&self, path: &str) -> Result<Reply, String> {
        received(self.with_headers(self.agent.delete(self.url(path))).call())
    }

    /// Posts JSON.
    pub fn post(&self, path: &str, body: &Value) -> Result<Reply, String> {
        self.post_text(path, body.to_string().as_bytes(), &[])
    }

    /// Posts JSON to be answered as a job.
    pub fn post_job(&self, path: &str, body: &Value) -> Result<Reply, String> {
        self.post_text(path, body.to_string().as_bytes(), &[("prefer", "respond-async")])
    }

    /// Posts what calls itself JSON.
    pub fn post_text(&self, path: &str, body: &[u8], headers: &[(&str, &str)]) -> Result<Reply, String> {
        let mut request = self.with_headers(self.agent.post(self.url(path))).header("content-type", "application/json");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        received(request.send(body))
    }

    /// Opens a stream of events after one that was seen.
    pub fn events(&self, path: &str, seen: usize) -> Result<impl BufRead + use<>, String> {
        let request = self.with_headers(self.agent.get(self.url(path))).header("last-event-id", seen.to_string());
        let response = request.call().map_err(|e| e.to_string())?;
        if response.status() != 200 {
            return Err(format!("{path} was answered {}", response.status()));
        }
        Ok(BufReader::new(response.into_body().into_reader()))
    }

    /// Waits for a job to end; how it ended.
    pub fn ended(&self, id: &str) -> Result<String, String> {
        let (begin, path) = (Instant::now(), format!("/v1/jobs/{id}"));
        while begin.elapsed() < NO_END {
            let reply = self.get(&path)?;
            let status = reply.json()["status"].as_str().map(String::from);
            match status.as_deref() {
                Some("accepted" | "running") => std::thread::sleep(Duration::from_millis(10)),
                Some(ended) if reply.status == 200 => return Ok(ended.into()),
                _ => return Ok(format!("answered {}", reply.told())),
            }
        }
        Ok("still not ended".into())
    }
}

/// A kept connection on which prepared JSON is posted: its client costs the machine as little as a client can, so that what
/// is measured beside it is the service.
pub struct Kept {
    address: SocketAddr,
    stream: Option<TcpStream>,
    sent: Vec<u8>,
    received: Vec<u8>,
}

impl Kept {
    /// To what listens there; it is connected when it is needed.
    pub fn new(address: SocketAddr) -> Self {
        Self { address, stream: None, sent: Vec::new(), received: Vec::new() }
    }

    /// Posts JSON.
    pub fn post(&mut self, path: &str, body: &[u8]) -> Result<Reply, String> {
        let failed = |e: std::io::Error| e.to_string();
        let mut stream = match self.stream.take() {
            Some(stream) => stream,
            None => {
                let stream = TcpStream::connect(self.address).map_err(failed)?;
                stream.set_nodelay(true).and_then(|()| stream.set_read_timeout(Some(PATIENCE))).map_err(failed)?;
                stream
            }
        };
        self.sent.clear();
        let length = body.len();
        write!(
            self.sent,
            "POST {path} HTTP/1.1\r\nhost: test\r\ncontent-type: application/json\r\ncontent-length: {length}\r\n\r\n"
        )
        .and_then(|()| self.sent.write_all(body))
        .and_then(|()| stream.write_all(&self.sent))
        .map_err(failed)?;
        let reply = self.answer(&mut stream)?;
        self.stream = (reply.header("connection") != "close").then_some(stream);
        Ok(reply)
    }

    fn answer(&mut self, stream: &mut TcpStream) -> Result<Reply, String> {
        self.received.clear();
        let mut more = |received: &mut Vec<u8>| {
            let mut part = [0; 16 * 1024];
            match stream.read(&mut part) {
                Ok(0) => Err("the connection ended before its answer".to_string()),
                Ok(read) => {
                    received.extend_from_slice(&part[..read]);
                    Ok(())
                }
                Err(error) => Err(error.to_string()),
            }
        };
        let head = loop {
            match self.received.windows(4).position(|four| four == b"\r\n\r\n") {
                Some(end) => break end,
                None => more(&mut self.received)?,
            }
        };
        let text = String::from_utf8_lossy(&self.received[..head]).into_owned();
        let mut lines = text.lines();
        let status = lines.next().and_then(|line| line.split(' ').nth(1)?.parse().ok()).ok_or("no status")?;
        let headers = lines.filter_map(|line| line.split_once(':'));
        let headers = headers.map(|(name, value)| (name.to_ascii_lowercase(), value.trim().to_string())).collect();
        let mut reply = Reply { status, headers, body: Vec::new() };
        let whole = head + 4 + reply.header("content-length").parse::<usize>().map_err(|e| e.to_string())?;
        while self.received.len() < whole {
            more(&mut self.received)?;
        }
        reply.body = self.received[head + 4..whole].to_vec();
        Ok(reply)
    }
}

fn received(response: Result<ureq::http::Response<ureq::Body>, ureq::Error>) -> Result<Reply, String> {
    let mut response = response.map_err(|e| e.to_string())?;
    let body = response.body_mut().with_config().limit(1 << 30).read_to_vec().map_err(|e| e.to_string())?;
    let text = |value: &ureq::http::HeaderValue| String::from_utf8_lossy(value.as_bytes()).into_owned();
    let headers = response.headers().iter().map(|(name, value)| (name.to_string(), text(value))).collect();
    Ok(Reply { status: response.status().as_u16(), headers, body })
}

impl Reply {
    /// A header; empty if it is absent.
    pub fn header(&self, name: &str) -> &str {
        self.headers.iter().find(|(known, _)| known == name).map_or("", |(_, value)| value)
    }

    /// Its body as JSON; null if it is none.
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_default()
    }

    /// Status and the beginning of its body.
    pub fn told(&self) -> String {
        let body = String::from_utf8_lossy(&self.body);
        format!("{} {}", self.status, body.chars().take(300).collect::<String>())
    }

    /// What no answer may be: a failure that does not say when to come back, or a refusal that is no problem (RFC 9457).
    pub fn fault(&self) -> Option<&'static str> {
        let later = matches!(self.status, 429 | 503);
        if self.status >= 500 && !later {
            return Some("the server failed");
        }
        if later && self.header("retry-after").parse::<u64>().is_err() {
            return Some("no Retry-After");
        }
        if self.status < 400 {
            return None;
        }
        let problem = self.json();
        let told = ["type", "title", "detail", "instance"];
        let whole = told.into_iter().all(|name| problem[name].as_str().is_some_and(|text| !text.is_empty()));
        let fits =
            whole && problem["status"] == self.status && self.header("content-type") == "application/problem+json";
        (!fits).then_some("a refusal that is no problem")
    }
}
