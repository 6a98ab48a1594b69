//! The program over a real socket: clients that leave or dawdle, and an end in order.

#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::process::{Child, ChildStderr, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::json;
use support::card;

/// A running `slowpoint serve` with its log.
struct Running {
    child: Child,
    log: BufReader<ChildStderr>,
    address: String,
    data: std::path::PathBuf,
}

impl Running {
    fn start(name: &str, arguments: &[&str]) -> Self {
        let data = std::env::temp_dir().join(format!("slowpoint-serve-{}-{name}", std::process::id()));
        let mut child = Command::new(env!("CARGO_BIN_EXE_slowpoint"))
            .args(["serve", "--listen", "127.0.0.1:0", "--data-dir"])
            .arg(&data)
            .args(arguments)
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut log = BufReader::new(child.stderr.take().unwrap());
        let line = next_with(&mut log, "listening");
        let port: String = line.split("127.0.0.1:").nth(1).unwrap().chars().take_while(char::is_ascii_digit).collect();
        let address = format!("127.0.0.1:{port}");
        Self { child, log, address, data }
    }

    fn send(&self, bytes: &str) -> TcpStream {
        let mut stream = TcpStream::connect(&self.address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
        stream.write_all(bytes.as_bytes()).unwrap();
        stream
    }

    /// Comes back once a computation has its place.
    fn wait_for_flying(&self) {
        let begun = Instant::now();
        let page = "GET /metrics HTTP/1.1\r\nHost: test\r\nConnection: close\r\n\r\n";
        while !all_of(self.send(page)).contains("slowpoint_computations_begun_total 1") {
            assert!(begun.elapsed() < Duration::from_secs(20), "nothing flies");
        }
    }

    fn terminate(&self) {
        assert!(Command::new("kill").arg("-TERM").arg(self.child.id().to_string()).status().unwrap().success());
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        let _ = std::fs::remove_dir_all(&self.data);
    }
}

/// The next line of the log that holds a text.
fn next_with(log: &mut BufReader<ChildStderr>, text: &str) -> String {
    loop {
        let mut line = String::new();
        assert_ne!(log.read_line(&mut line).unwrap(), 0, "the log ended before {text:?}");
        if line.contains(text) {
            return line;
        }
    }
}

fn post(flights: u64) -> String {
    let mut sent = card();
    sent["flights"] = json!(flights);
    let body = sent.to_string();
    format!(
        "POST /v1/assessments HTTP/1.1\r\nHost: test\r\nContent-Type: application/json\r\nConnection: close\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    )
}

fn all_of(mut stream: TcpStream) -> String {
    let mut reply = String::new();
    stream.read_to_string(&mut reply).unwrap();
    reply
}

/// What `slowpoint health` says of an address: whether it is ready, and why not.
fn health(address: &str) -> (bool, String) {
    let asked = Command::new(env!("CARGO_BIN_EXE_slowpoint")).args(["health", "--listen", address]).output().unwrap();
    (asked.status.success(), String::from_utf8(asked.stderr).unwrap())
}

#[test]
fn running_work_ends_before_the_program_does() {
    let mut server = Running::start("ends", &[]);
    let stream = server.send(&post(4000));
    server.wait_for_flying();
    server.terminate();
    assert!(all_of(stream).starts_with("HTTP/1.1 200 OK\r\n"));
    assert!(server.child.wait().unwrap().success());
    let db = rusqlite::Connection::open(server.data.join("slowpoint.db")).unwrap();
    let stored: i64 = db.query_row("SELECT count(*) FROM answers", [], |row| row.get(0)).unwrap();
    assert_eq!(stored, 1);
}

#[test]
fn after_the_deadline_work_is_stopped_with_a_problem() {
    let mut server = Running::start("deadline", &["--stop-deadline-s", "0"]);
    let stream = server.send(&post(200_000));
    server.wait_for_flying();
    let begun = Instant::now();
    server.terminate();
    let reply = all_of(stream);
    assert!(reply.starts_with("HTTP/1.1 503 ") && reply.contains("/problems/stopping"), "{reply}");
    assert!(server.child.wait().unwrap().success());
    assert!(begun.elapsed() < Duration::from_secs(5), "{:?}", begun.elapsed());
}

#[test]
fn before_the_end_there_is_time_to_go_elsewhere() {
    let mut server = Running::start("drain", &["--drain-s", "3"]);
    let get = |path: &str| format!("GET {path} HTTP/1.1\r\nHost: test\r\nConnection: close\r\n\r\n");
    assert!(all_of(server.send(&get("/readyz"))).starts_with("HTTP/1.1 200 "));
    let begun = Instant::now();
    server.terminate();
    next_with(&mut server.log, "not ready any more");
    let reply = all_of(server.send(&get("/readyz")));
    assert!(reply.starts_with("HTTP/1.1 503 ") && reply.contains("/problems/stopping"), "{reply}");
    assert!(all_of(server.send(&post(128))).starts_with("HTTP/1.1 200 "), "what comes meanwhile is answered");
    assert!(server.child.wait().unwrap().success());
    assert!(begun.elapsed() >= Duration::from_secs(3), "{:?}", begun.elapsed());
    assert!(TcpStream::connect(&server.address).is_err());
}

/// One object a line, for programs.
#[test]
fn the_log_is_json_where_asked() {
    let mut server = Running::start("json", &["--log-format", "json"]);
    let get = "GET /nowhere?token=sesame HTTP/1.1\r\nHost: test\r\nX-Request-Id: mine\r\nAuthorization: Bearer sesame\r\nConnection: close\r\n\r\n";
    assert!(all_of(server.send(get)).contains("\"instance\":\"mine\""));
    let line = next_with(&mut server.log, "answered");
    let told: serde_json::Value = serde_json::from_str(&line).unwrap();
    assert_eq!(told["spans"], json!([{"name": "request", "id": "mine"}]));
    assert_eq!((&told["status"], &told["path"], &told["method"]), (&json!(404), &json!("/nowhere"), &json!("GET")));
    assert!(!line.contains("sesame"), "{line}");
}

#[test]
fn a_closed_connection_is_noticed() {
    let mut server = Running::start("left", &[]);
    let stream = server.send(&post(200_000));
    server.wait_for_flying();
    drop(stream);
    next_with(&mut server.log, "client left");
}

#[test]
fn a_body_sent_in_vain_does_not_cost_the_answer() {
    let server = Running::start("vain", &[]);
    // As a proxy does: the whole body is written before anything is read.
    let body = vec![b' '; 20_000_000];
    let head = format!(
        "POST /v1/assessments HTTP/1.1\r\nHost: test\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n",
        body.len()
    );
    let mut stream = server.send(&head);
    stream.write_all(&body).unwrap();
    let reply = all_of(stream);
    assert!(reply.starts_with("HTTP/1.1 413 ") && reply.contains("/problems/body-too-large"), "{reply}");
}

#[test]
fn health_tells_ready_from_stopped_and_from_broken() {
    let mut server = Running::start("health", &[]);
    assert_eq!(health(&server.address), (true, String::new()));
    server.terminate();
    assert!(server.child.wait().unwrap().success());
    let (ready, why) = health(&server.address);
    assert!(!ready && why.contains("is not ready"), "{why}");

    let broken = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = broken.local_addr().unwrap().to_string();
    let answering = std::thread::spawn(move || {
        let (mut stream, _) = broken.accept().unwrap();
        assert!(stream.read(&mut [0; 1024]).unwrap() > 0);
        stream.write_all(b"HTTP/1.1 503 Service Unavailable\r\ncontent-length: 0\r\n\r\n").unwrap();
    });
    let (ready, why) = health(&address);
    answering.join().unwrap();
    assert!(!ready && why.contains("HTTP/1.1 503 "), "{why}");
}

#[test]
fn a_log_filter_that_cannot_be_read_is_refused() {
    let refused = Command::new(env!("CARGO_BIN_EXE_slowpoint")).args(["serve", "--log", "info,hyper=loud"]).output();
    let refused = refused.unwrap();
    assert_eq!(refused.status.code(), Some(2));
    let why = String::from_utf8(refused.stderr).unwrap();
    assert!(why.contains("--log") && why.contains("write a level"), "{why}");
}

#[test]
fn more_header_lines_than_a_client_sends_end_the_connection() {
    let server = Running::start("lines", &[]);
    let lines = |count: usize| (0..count).map(|k| format!("x-{k}: 1\r\n")).collect::<String>();
    let get = |count| format!("GET /livez HTTP/1.1\r\nHost: test\r\nConnection: close\r\n{}\r\n", lines(count));
    assert!(all_of(server.send(&get(500))).starts_with("HTTP/1.1 200 "));
    assert!(all_of(server.send(&get(600))).starts_with("HTTP/1.1 431 "));
}

#[test]
fn dawdling_clients_are_let_go() {
    let server = Running::start("slow", &["--read-timeout-s", "1"]);
    let unfinished_head = server.send("GET / HTTP/1.1\r\nHost: test\r\n");
    let unfinished_body = server.send("POST /v1/assessments HTTP/1.1\r\nHost: test\r\nContent-Type: application/json\r\nConnection: close\r\nContent-Length: 9\r\n\r\n{");
    assert_eq!(all_of(unfinished_head), "");
    assert!(all_of(unfinished_body).contains("/problems/body-timeout"));
}
