//! The program itself, in a process of its own, over real sockets.

#![allow(dead_code, missing_docs, clippy::unwrap_used, reason = "test support: not every test uses all of it")]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::PathBuf;
use std::process::{Child, ChildStderr, Command, Stdio};
use std::time::{Duration, Instant};

/// A running `slowpoint serve` with its log.
pub struct Running {
    pub child: Child,
    pub log: BufReader<ChildStderr>,
    /// What the log held until it listened, and the line that says so.
    pub began: String,
    pub address: String,
    pub data: PathBuf,
}

impl Running {
    pub fn start(name: &str, arguments: &[&str]) -> Self {
        let data = std::env::temp_dir().join(format!("slowpoint-serve-{}-{name}", std::process::id()));
        Self::start_on(data, "127.0.0.1", arguments)
    }

    /// On a directory, which is taken away in the end, and a port of an address.
    pub fn start_on(data: PathBuf, ip: &str, arguments: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_slowpoint"))
            .args(["serve", "--listen", &format!("{ip}:0"), "--data-dir"])
            .arg(&data)
            .args(arguments)
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut log = BufReader::new(child.stderr.take().unwrap());
        let began = log_until(&mut log, "listening");
        let told = began.rsplit(&format!("{ip}:")).next().unwrap();
        let port: String = told.chars().take_while(char::is_ascii_digit).collect();
        Self { child, log, began, address: format!("127.0.0.1:{port}"), data }
    }

    pub fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(&self.address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(120))).unwrap();
        stream
    }

    pub fn send(&self, bytes: &str) -> TcpStream {
        let mut stream = self.connect();
        stream.write_all(bytes.as_bytes()).unwrap();
        stream
    }

    /// Comes back once a computation has its place.
    pub fn wait_for_flying(&self) {
        let begun = Instant::now();
        let page = "GET /metrics HTTP/1.1\r\nHost: test\r\nConnection: close\r\n\r\n";
        let mut pause = Duration::from_millis(5);
        while !all_of(self.send(page)).contains("slowpoint_computations_begun_total 1") {
            assert!(begun.elapsed() < Duration::from_secs(120), "nothing flies");
            // Each look writes a line of the log, which nobody reads meanwhile: of fewer than 400 there is room.
            std::thread::sleep(pause);
            pause = (2 * pause).min(Duration::from_secs(1));
        }
    }

    pub fn signal(&self, name: &str) {
        let id = self.child.id().to_string();
        assert!(Command::new("kill").args([&format!("-{name}"), &id]).status().unwrap().success());
    }

    /// Whether it ends well, without the time that it may take to drain.
    pub fn ends_soon(&mut self) -> bool {
        let begun = Instant::now();
        loop {
            match self.child.try_wait().unwrap() {
                Some(status) => return status.success(),
                None => assert!(begun.elapsed() < Duration::from_secs(120), "it does not end"),
            }
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    pub fn terminate(&self) {
        self.signal("TERM");
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        let _ = std::fs::remove_dir_all(&self.data);
    }
}

/// The log up to the next line that holds a text, that line with it.
fn log_until(log: &mut BufReader<ChildStderr>, text: &str) -> String {
    let mut read = String::new();
    loop {
        let before = read.len();
        assert_ne!(log.read_line(&mut read).unwrap(), 0, "the log ended before {text:?}: {read}");
        if read[before..].contains(text) {
            return read;
        }
    }
}

/// The next line of the log that holds a text.
pub fn next_with(log: &mut BufReader<ChildStderr>, text: &str) -> String {
    log_until(log, text).lines().next_back().unwrap().into()
}

pub fn all_of(mut stream: impl Read) -> String {
    let mut reply = String::new();
    stream.read_to_string(&mut reply).unwrap();
    reply
}

/// What `slowpoint health` says of an address: whether it is ready, and why not.
pub fn health(address: &str, arguments: &[&str]) -> (bool, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_slowpoint"));
    let asked = command.args(["health", "--listen", address]).args(arguments).output().unwrap();
    (asked.status.success(), String::from_utf8(asked.stderr).unwrap())
}
