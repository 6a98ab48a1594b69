//! The program over a real socket: clients that leave or dawdle, and an end in order.

#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

#[path = "support/running.rs"]
mod running;
mod support;

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::process::Command;
use std::time::{Duration, Instant};

use running::{Running, all_of, health, next_with};
use serde_json::json;
use support::card;

fn post(flights: u64) -> String {
    let mut sent = card();
    sent["flights"] = json!(flights);
    let body = sent.to_string();
    format!(
        "POST /v1/assessments HTTP/1.1\r\nHost: test\r\nContent-Type: application/json\r\nConnection: close\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    )
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

/// The length of a body that is not sent again is no business of the reply, or what it would have been (RFC 9110, section 8.6).
#[test]
fn what_is_unchanged_has_no_length_of_its_own() {
    let server = Running::start("unchanged", &[]);
    for method in ["GET", "HEAD"] {
        let ask = |held: &str| {
            all_of(server.send(&format!("{method} /new HTTP/1.1\r\nHost: test\r\nConnection: close\r\n{held}\r\n")))
                .to_ascii_lowercase()
        };
        let whole = ask("");
        assert!(whole.starts_with("http/1.1 200 ok\r\n") && !whole.contains("content-length: 0\r\n"), "{method}");
        let unchanged = ask("If-None-Match: *\r\n");
        assert!(unchanged.starts_with("http/1.1 304 ") && !unchanged.contains("content-length"), "{unchanged}");
    }
}

/// A client that is refused before its body has come reads that, although it goes on sending.
#[test]
fn who_sends_slowly_reads_that_it_is_not_read() {
    let server = Running::start("unread", &["--concurrent", "1", "--queue", "0"]);
    let _long = server.send(&post(200_000));
    server.wait_for_flying();
    let begun = Instant::now();
    let head = "POST /v1/assessments HTTP/1.1\r\nHost: test\r\nContent-Type: application/json\r\nContent-Length: 100000\r\n\r\n{";
    let reply = loop {
        assert!(begun.elapsed() < Duration::from_secs(120), "it is read each time");
        // One that is read in vain: after it none is for a while.
        assert!(all_of(server.send(&post(128))).starts_with("HTTP/1.1 503 "));
        let mut slow = server.send(head);
        let sent = (0..20).all(|_| {
            std::thread::sleep(Duration::from_millis(20));
            slow.write_all(b" ").is_ok()
        });
        slow.set_read_timeout(Some(Duration::from_secs(2))).unwrap();
        let mut reply = String::new();
        // Where it came too late it is waited for, and tried again.
        if sent && slow.read_to_string(&mut reply).is_ok() {
            break reply;
        }
    };
    let (head, body) = reply.split_once("\r\n\r\n").unwrap();
    assert!(head.starts_with("HTTP/1.1 503 ") && body.contains("/problems/overloaded"), "{reply}");
    for header in ["retry-after: 10", "connection: close"] {
        assert!(head.lines().any(|line| line == header), "{header}: {head}");
    }
}

/// Whoever asks twice is not kept waiting.
#[test]
fn a_second_signal_waits_for_nothing() {
    for (drain_s, heard) in [("600", "not ready any more"), ("0", "stopping")] {
        let mut server = Running::start("twice", &["--drain-s", drain_s, "--stop-deadline-s", "600"]);
        let stream = server.send(&post(200_000));
        server.wait_for_flying();
        server.terminate();
        next_with(&mut server.log, heard);
        assert!(server.child.try_wait().unwrap().is_none(), "{heard}");
        server.terminate();
        assert!(all_of(stream).contains("/problems/stopping"), "{heard}");
        assert!(server.ends_soon());
    }
}

#[test]
fn after_the_deadline_work_is_stopped_with_a_problem() {
    let mut server = Running::start("deadline", &["--stop-deadline-s", "0"]);
    let stream = server.send(&post(200_000));
    server.wait_for_flying();
    server.terminate();
    assert!(next_with(&mut server.log, "stopping; running requests may end").contains("seconds=0"));
    let begun = Instant::now();
    next_with(&mut server.log, "deadline over");
    // The usual one.
    assert!(begun.elapsed() < Duration::from_secs(10), "{:?}", begun.elapsed());
    let reply = all_of(stream);
    assert!(reply.starts_with("HTTP/1.1 503 ") && reply.contains("/problems/stopping"), "{reply}");
    assert!(server.child.wait().unwrap().success());
}

#[test]
fn before_the_end_there_is_time_to_go_elsewhere() {
    let mut server = Running::start("drain", &["--drain-s", "8"]);
    let get = |path: &str| format!("GET {path} HTTP/1.1\r\nHost: test\r\nConnection: close\r\n\r\n");
    assert!(all_of(server.send(&get("/readyz"))).starts_with("HTTP/1.1 200 "));
    let begun = Instant::now();
    server.terminate();
    next_with(&mut server.log, "not ready any more");
    let reply = all_of(server.send(&get("/readyz")));
    assert!(reply.starts_with("HTTP/1.1 503 ") && reply.contains("/problems/stopping"), "{reply}");
    assert!(all_of(server.send(&post(128))).starts_with("HTTP/1.1 200 "), "what comes meanwhile is answered");
    assert!(server.child.wait().unwrap().success());
    assert!(begun.elapsed() >= Duration::from_secs(8), "{:?}", begun.elapsed());
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
    // All but what had come with the head was dropped unread.
    let begun = Instant::now();
    loop {
        let page = all_of(server.send("GET /metrics HTTP/1.1\r\nHost: test\r\nConnection: close\r\n\r\n"));
        let bytes = |used: &str| -> usize {
            let name = format!("slowpoint_received_bytes_total{{use=\"{used}\"}} ");
            page.lines().find_map(|line| line.strip_prefix(&name)?.parse().ok()).unwrap()
        };
        let (read, dropped) = (bytes("read"), bytes("dropped"));
        assert!((head.len()..1_000_000).contains(&read), "{read}");
        if read + dropped >= head.len() + body.len() {
            break;
        }
        assert!(begun.elapsed() < Duration::from_secs(120), "{read} read, {dropped} dropped");
        std::thread::sleep(Duration::from_millis(300));
    }
}

#[test]
fn health_tells_ready_from_stopped_and_from_broken() {
    let mut server = Running::start("health", &[]);
    assert_eq!(health(&server.address, &[]), (true, String::new()));
    server.terminate();
    assert!(server.child.wait().unwrap().success());
    let (ready, why) = health(&server.address, &[]);
    assert!(!ready && why.contains("is not ready"), "{why}");

    let broken = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = broken.local_addr().unwrap().to_string();
    let answering = std::thread::spawn(move || {
        let (mut stream, _) = broken.accept().unwrap();
        assert!(stream.read(&mut [0; 1024]).unwrap() > 0);
        stream.write_all(b"HTTP/1.1 503 Service Unavailable\r\ncontent-length: 0\r\n\r\n").unwrap();
    });
    let (ready, why) = health(&address, &[]);
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
