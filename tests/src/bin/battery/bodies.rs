//! Bodies that nobody means well with: too large, not JSON, JSON that a careless reader trips over, numbers at the ends of what
//! a number can be. Each is answered, and no answer is a failure.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpStream};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use slowpoint_tests::served::{Reply, Service};

use crate::Size;
use crate::cards::{card, day, sweep};
use crate::table::{Table, quantile};

const GIGABYTE: usize = 1_000_000_000;
/// What a body may have unless the service is told otherwise, bytes.
const BODY_LIMIT: usize = 1 << 20;
/// What the service may have read beyond that when it refuses a body, kB: what its HTTP library holds of a connection at the most
/// (8 kB and 100 times 4 kB), once that the limit ends in and once that follows.
const BEYOND_KB: usize = 840;
/// Bytes of each chunk.
const CHUNK: usize = 1 << 16;
/// The fewest that are flown: some of what is tried is a card after all.
const FLIGHTS: u64 = 64;

pub fn tried(size: Size, table: &mut Table) -> Result<(), String> {
    let service = Service::start(&[])?;
    service.ready_s()?;
    gigabytes(&service, size.of(5, 20, 100), table)?;
    let client = service.client();
    let messages = json!({
        "date": "2026-11-10", "metar": "KABQ 100156Z 32010KT 10SM FEW033 19/14 A2999", "field_elevation": "5355 ft",
    });
    let works = [
        ("/v1/assessments", card(1, FLIGHTS)),
        ("/v1/days", day(1, FLIGHTS, 2)),
        ("/v1/sweeps", sweep(1, FLIGHTS, 2)),
        ("/v1/weather", messages.clone()),
        ("/v1/weather/profile.svg", messages),
    ];
    let (mut sent, mut answered, mut faults, mut read_wrong) = (0, 0, Vec::new(), Vec::new());
    let good =
        works.iter().filter(|(path, body)| client.post(path, body).is_ok_and(|reply| reply.status == 200)).count();
    table.count("good bodies answered 200, of which the hostile ones are made", good, works.len());
    for (path, body) in &works {
        for (name, text) in hostile(body, size.of(40, 200, 1000)).into_iter().step_by(size.of(3, 1, 1)) {
            sent += 1;
            // A client that is refused before it has sent all may see its connection end.
            let reply = match client.post_text(path, &text, &[]) {
                Ok(reply) => reply,
                Err(error) => {
                    faults.push(format!("{path}, {name}: no answer: {error}"));
                    continue;
                }
            };
            answered += usize::from(reply.status == 200);
            faults.extend(fault(&reply).map(|fault| format!("{path}, {name}: {fault}: {}", reply.told())));
            if never_read(&name) && reply.status == 200 {
                read_wrong.push(format!("{path}, {name}: {}", reply.told()));
            }
        }
    }
    table.told("hostile bodies", sent);
    table.told("of them read and answered 200", answered);
    table.none("answers that may not be", &faults);
    table.none("what is no card and was read as one", &read_wrong);
    for (path, body) in far_too_much() {
        let reply = client.post(path, &body)?;
        let begun = Instant::now();
        let ready = client.get("/livez")?;
        let refused = reply.status == 422 && fault(&reply).is_none() && ready.status == 200;
        let named = format!("refused with 422: {}", too_much_of(&body));
        table.count(&named, usize::from(refused), 1);
        if !refused {
            println!("    {} after {:?}", reply.told(), begun.elapsed());
        }
    }
    table.no_panic(&service);
    controls(table);
    Ok(())
}

/// What no answer to a body may be.
fn fault(reply: &Reply) -> Option<&'static str> {
    // A number that is not finite is no JSON, and 1e999 is out of a number's range; in a picture it is a word.
    let unread = if reply.header("content-type") == "image/svg+xml" {
        let text = String::from_utf8_lossy(&reply.body);
        ["NaN", "inf"].iter().any(|word| text.split(|c: char| !c.is_alphanumeric()).any(|found| found == *word))
    } else {
        reply.status < 400 && serde_json::from_slice::<Value>(&reply.body).is_err()
    };
    reply.fault().or(unread.then_some("no JSON, or a number that is not finite"))
}

/// Sends a head that promises a gigabyte, and one that promises nothing and sends it: how much of that is read is for the service
/// to say, since how much a client has sent by the time it sees its answer is for the scheduler.
fn gigabytes(service: &Service, times: usize, table: &mut Table) -> Result<(), String> {
    let (mut declared_s, mut refused, mut chunked_s, mut chunked_refused, mut most_read, mut most_sent) =
        (Vec::new(), 0, Vec::new(), 0, 0, 0);
    for _ in 0..times {
        let begun = Instant::now();
        let mut stream = head(service, &format!("content-length: {GIGABYTE}"))?;
        // Nothing of it has been sent when the answer comes.
        refused += of_413(&answer_of(&mut stream));
        declared_s.push(begun.elapsed().as_secs_f64());

        let chunked = Chunked::sent(service)?;
        chunked_refused += usize::from(chunked.refused);
        chunked_s.push(chunked.answered_s);
        (most_read, most_sent) = (most_read.max(chunked.read), most_sent.max(chunked.sent));
    }
    declared_s.sort_by(f64::total_cmp);
    chunked_s.sort_by(f64::total_cmp);
    table.count("1 GB declared: refused with 413 before a byte of it", refused, times);
    table.told("1 GB declared: longest until the answer, ms", format!("{:.1}", 1e3 * quantile(&declared_s, 1.0)));
    table.count("1 GB in chunks: refused with 413", chunked_refused, times);
    table.told("1 GB in chunks: longest until the answer, ms", format!("{:.1}", 1e3 * quantile(&chunked_s, 1.0)));
    table.at_most("1 GB in chunks: kB that the service read", most_read / 1000, BODY_LIMIT / 1000 + BEYOND_KB);
    table.told("1 GB in chunks: kB sent until the client saw its answer", most_sent / 1000);

    let answer = waited(service, BODY_LIMIT + 1)?;
    table.count("a byte more than the limit in chunks, while the client waits: refused with 413", of_413(&answer), 1);
    let answer = waited(service, BODY_LIMIT)?;
    table.count("control: a body of the limit in chunks; refused with 413", of_413(&answer), 0);
    table.count("control: and answered otherwise", usize::from(answer.starts_with(b"HTTP/1.1 400 ")), 1);
    let limit = 8 * BODY_LIMIT;
    let lenient = Service::start(&["--body-limit", &limit.to_string()])?;
    let read = Chunked::sent(&lenient)?.read;
    table.at_least("control: where eight times as much may come; kB read", read / 1000, limit / 1000);
    Ok(())
}

fn of_413(answer: &[u8]) -> usize {
    usize::from(answer.starts_with(b"HTTP/1.1 413 "))
}

/// What became of a gigabyte that was sent in chunks until its answer came.
struct Chunked {
    refused: bool,
    answered_s: f64,
    /// Bytes that the service read, what it dropped after the answer left out.
    read: usize,
    sent: usize,
}

impl Chunked {
    fn sent(service: &Service) -> Result<Self, String> {
        let read_before = read_by(service)?;
        let begun = Instant::now();
        let mut stream = head(service, "transfer-encoding: chunked")?;
        let mut reading = stream.try_clone().map_err(|e| e.to_string())?;
        let answer = std::thread::spawn(move || answer_of(&mut reading));
        let (chunk, mut sent) = (chunk_of(CHUNK), 0);
        while sent < GIGABYTE && !answer.is_finished() && stream.write_all(&chunk).is_ok() {
            sent += CHUNK;
        }
        let answer = answer.join().map_err(|_| "a reader panicked")?;
        let answered_s = begun.elapsed().as_secs_f64();
        let _ = stream.shutdown(Shutdown::Both);
        Ok(Self { refused: of_413(&answer) == 1, answered_s, read: read_by(service)? - read_before, sent })
    }
}

/// Bytes that a service has read so far, as its metrics have it.
fn read_by(service: &Service) -> Result<usize, String> {
    let metrics = service.client().get("/metrics")?;
    let text = String::from_utf8_lossy(&metrics.body);
    let read =
        text.lines().find_map(|line| line.strip_prefix("slowpoint_received_bytes_total{use=\"read\"} ")?.parse().ok());
    read.ok_or_else(|| "the metrics do not say what was read".into())
}

/// The answer to so many bytes in chunks. More than the limit is not ended, so that it can only be refused as it stands.
fn waited(service: &Service, bytes: usize) -> Result<Vec<u8>, String> {
    let mut stream = head(service, "transfer-encoding: chunked")?;
    let mut sent = [chunk_of(CHUNK).repeat(bytes / CHUNK), chunk_of(bytes % CHUNK)].concat();
    if bytes <= BODY_LIMIT {
        sent.extend_from_slice(b"0\r\n\r\n");
    }
    stream.write_all(&sent).map_err(|e| e.to_string())?;
    Ok(answer_of(&mut stream))
}

/// A chunk of spaces; none of no byte, which would be the last.
fn chunk_of(bytes: usize) -> Vec<u8> {
    match bytes {
        0 => Vec::new(),
        _ => [format!("{bytes:x}\r\n").into_bytes(), b" ".repeat(bytes), b"\r\n".to_vec()].concat(),
    }
}

fn head(service: &Service, framing: &str) -> Result<TcpStream, String> {
    let mut stream = TcpStream::connect(service.address).map_err(|e| e.to_string())?;
    stream.set_read_timeout(Some(Duration::from_secs(20))).map_err(|e| e.to_string())?;
    let head =
        format!("POST /v1/assessments HTTP/1.1\r\nhost: test\r\ncontent-type: application/json\r\n{framing}\r\n\r\n");
    stream.write_all(head.as_bytes()).map_err(|e| e.to_string())?;
    Ok(stream)
}

/// What comes until there is a whole head, or nothing more.
fn answer_of(stream: &mut TcpStream) -> Vec<u8> {
    let (mut answer, mut part) = (Vec::new(), [0; 4096]);
    while let Ok(read @ 1..) = stream.read(&mut part) {
        answer.extend_from_slice(&part[..read]);
        if answer.windows(4).any(|four| four == b"\r\n\r\n") {
            break;
        }
    }
    answer
}

/// Stands where a hostile value is put.
const PLACE: &str = "\"@place\"";

/// Values as they stand in a text: no JSON, numbers that are none or hardly, and what is of another kind than expected.
const VALUES: [&str; 29] = [
    "NaN",
    "Infinity",
    "-Infinity",
    "+1",
    "01",
    "1e309",
    "-1e999999",
    "1e308",
    "-1e308",
    "1e-320",
    "5e-324",
    "-0",
    "-0.0",
    "0",
    "-1",
    "1e12",
    "1000000000000",
    "18446744073709551616",
    "null",
    "true",
    "[]",
    "{}",
    "[[[[1]]]]",
    "\"\"",
    "\"NaN m\"",
    "\"1e308 m\"",
    "\"\\u0000\"",
    "\"\\ud800\"",
    "\"-0 %\"",
];

/// The first so many of `VALUES` are no JSON, or no number that can be held.
const NEVER_READ: usize = 7;

fn never_read(name: &str) -> bool {
    VALUES[..NEVER_READ].iter().any(|value| name.ends_with(&format!(" = {value}")))
        || ["cut off at", "no UTF-8 at", "twice"].iter().any(|kind| name.contains(kind))
}

/// Hostile bodies made of a good one, each with a name.
fn hostile(body: &Value, places: usize) -> Vec<(String, Vec<u8>)> {
    let mut all: Vec<(String, Vec<u8>)> = Vec::new();
    let numbers = format!("[{}1]", "1,".repeat(100_000));
    let text = format!("\"{}\"", "m".repeat(500_000));
    for pointer in pointers(body) {
        let mut changed = body.clone();
        if let Some(place) = changed.pointer_mut(&pointer) {
            *place = json!("@place");
        }
        let changed = changed.to_string();
        let with = |value: &str| changed.replace(PLACE, value).into_bytes();
        all.extend(VALUES.iter().map(|value| (format!("{pointer} = {value}"), with(value))));
        all.push((format!("{pointer} = 100,000 numbers"), with(&numbers)));
        all.push((format!("{pointer} = a text of 500 kB"), with(&text)));
    }
    let text = body.to_string();
    for (at, _) in text.match_indices("\":") {
        let begin = text[..at].rfind('"').unwrap_or_default();
        let name = &text[begin..=at];
        all.push((format!("{name} twice"), format!("{}{name}:null,{}", &text[..begin], &text[begin..]).into_bytes()));
    }
    let bytes = text.as_bytes();
    for at in (0..bytes.len()).step_by((bytes.len() / places).max(1)) {
        all.push((format!("cut off at {at}"), bytes[..at].to_vec()));
        all.push((format!("no UTF-8 at {at}"), [&bytes[..at], &[0xff, 0xc0], &bytes[at..]].concat()));
        all.push((format!("a NUL at {at}"), [&bytes[..at], &[0], &bytes[at..]].concat()));
    }
    for levels in [31, 32, 33, 127, 128, 129, 10_000, 500_000] {
        all.push((format!("{levels} lists"), [b"[".repeat(levels), b"]".repeat(levels)].concat()));
        all.push((format!("{levels} lists cut off at their middle"), b"[".repeat(levels)));
        if levels < 100_000 {
            all.push((
                format!("{levels} objects"),
                [b"{\"a\":".repeat(levels), b"1".to_vec(), b"}".repeat(levels)].concat(),
            ));
        }
    }
    for (name, text) in [
        ("nothing: cut off at 0", ""),
        ("a byte order mark", "\u{feff}{}"),
        ("a text", "\"card\""),
        ("null", "null"),
        ("two", "{}{}"),
    ] {
        all.push((name.into(), text.into()));
    }
    all
}

/// Where values stand, but for those of whole lists.
fn pointers(value: &Value) -> Vec<String> {
    fn walk(value: &Value, at: &str, all: &mut Vec<String>) {
        match value {
            Value::Object(members) => members.iter().for_each(|(name, member)| {
                let at = format!("{at}/{name}");
                all.push(at.clone());
                walk(member, &at, all);
            }),
            // What holds for the first holds for the others.
            Value::Array(elements) => elements.iter().take(1).for_each(|element| {
                let at = format!("{at}/0");
                all.push(at.clone());
                walk(element, &at, all);
            }),
            _ => {}
        }
    }
    let mut all = Vec::new();
    walk(value, "", &mut all);
    all
}

const FAR_TOO_MUCH: u64 = 1_000_000_000_000;

/// More than anybody can fly.
fn far_too_much() -> Vec<(&'static str, Value)> {
    let with = |mut body: Value, more: Value| {
        if let (Some(body), Value::Object(more)) = (body.as_object_mut(), more) {
            body.extend(more);
        }
        body
    };
    let flights = json!({"flights": FAR_TOO_MUCH});
    vec![
        ("/v1/assessments", with(card(1, FLIGHTS), flights.clone())),
        ("/v1/assessments", with(card(1, FLIGHTS), json!({"drivers": FAR_TOO_MUCH}))),
        ("/v1/days", with(day(1, FLIGHTS, 2), flights.clone())),
        ("/v1/sweeps", json!({"base": with(card(1, FLIGHTS), flights), "axes": {"tilts": [0, 3]}})),
        ("/v1/sweeps", json!({"base": card(1, FLIGHTS), "axes": {"tilts": vec![1; 50], "azimuths": vec![1; 100_000]}})),
    ]
}

fn too_much_of(body: &Value) -> &'static str {
    match (&body["drivers"], &body["entries"], &body["axes"]["azimuths"], &body["base"]) {
        (Value::Number(_), ..) => "an assessment with 1e12 flights for its drivers",
        (_, Value::Array(_), ..) => "a day of 1e12 flights each",
        (_, _, Value::Array(_), _) => "a sweep of 5 million settings",
        (.., Value::Object(_)) => "a sweep of 1e12 flights each",
        _ => "an assessment of 1e12 flights",
    }
}

fn controls(table: &mut Table) {
    let problem = br#"{"type":"/problems/x","title":"x","status":400,"detail":"x","instance":"x"}"#;
    let reply = |status: u16, kind: &str, body: &[u8]| Reply {
        status,
        headers: vec![("content-type".into(), kind.into())],
        body: body.into(),
    };
    let off = [
        reply(500, "application/problem+json", problem),
        reply(400, "text/plain", b"no"),
        reply(400, "application/json", problem),
        reply(422, "application/problem+json", problem),
        reply(503, "application/problem+json", problem),
        reply(200, "application/json", b"{\"mean\":NaN}"),
        reply(200, "application/json", b"{\"mean\":1e999}"),
        reply(200, "image/svg+xml", b"<path d=\"M0 NaN\"/>"),
        reply(200, "image/svg+xml", b"<path d=\"M-inf 0\"/>"),
    ];
    table.count(
        "control: answers made up that may not be; noticed",
        off.iter().filter(|reply| fault(reply).is_some()).count(),
        off.len(),
    );
    let well = [
        reply(400, "application/problem+json", problem),
        reply(200, "application/json", b"{\"mean\":1e300}"),
        reply(200, "image/svg+xml", b"<text>information</text>"),
    ];
    table.count(
        "control: answers made up that may be; noticed",
        well.iter().filter(|reply| fault(reply).is_some()).count(),
        0,
    );
}
