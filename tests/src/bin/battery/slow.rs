//! Two thousand connections that send a byte now and then: others are answered all the while, and they are cut off in time.

use std::io::{ErrorKind, Read, Write};
use std::net::TcpStream;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use slowpoint_tests::served::{Reply, Service};

use crate::Size;
use crate::cards::card;
use crate::table::{Table, quantile};

const CONNECTIONS: usize = 2000;
/// What the service is told to give a client for its headers, and again for its body, s.
const READ_TIMEOUT_S: u64 = 4;
/// Between two bytes of a connection.
const DRIBBLE: Duration = Duration::from_millis(250);
/// Cheap requests while they are open: a hundredth of what a free service answers in that time.
const ENOUGH: usize = 100;
/// It is looked so long whether they are cut off.
const PATIENCE: Duration = Duration::from_secs(5 * READ_TIMEOUT_S);

pub fn tried(_: Size, table: &mut Table) -> Result<(), String> {
    let read_timeout_s = READ_TIMEOUT_S.to_string();
    let service = Service::start(&["--read-timeout-s", &read_timeout_s])?;
    service.ready_s()?;
    let stored = service.client().post("/v1/assessments", &card(1, 128))?;
    let over = AtomicBool::new(false);
    let (seen, cheap) = thread::scope(|scope| {
        let asking = scope.spawn(|| Cheap::asked(&service, &stored, &over));
        let seen = dribbled(&service, CONNECTIONS, PATIENCE);
        over.store(true, Ordering::SeqCst);
        (seen, asking.join())
    });
    let (seen, cheap) = (seen?, cheap.map_err(|_| "a client panicked")?);
    table.count("slow connections that were still open at the end", seen.open, 0);
    table.count("of those with a body: told so, 408", seen.told, CONNECTIONS / 3);
    table.told("the last was cut off after, s", format!("{:.1}", seen.last_s));
    cheap.tabled("meanwhile", table);
    table.at_least("meanwhile: cheap requests, so many", cheap.asked, ENOUGH);
    table.no_panic(&service);

    let patient = Service::start(&["--read-timeout-s", "60"])?;
    let seen = dribbled(&patient, 30, Duration::from_secs(READ_TIMEOUT_S))?;
    table.count("control: thirty with a time-out of 60 s; still open", seen.open, 30);
    Ok(())
}

struct Seen {
    open: usize,
    told: usize,
    last_s: f64,
}

/// A third of them sends nothing, a third its headers byte by byte, a third its body. Comes back when all are cut off, or when
/// patience ends.
fn dribbled(service: &Service, connections: usize, patience: Duration) -> Result<Seen, String> {
    let begins: [&[u8]; 3] = [
        b"",
        b"GET /livez HTTP/1.1\r\nhost: test\r\nx-slow: ",
        b"POST /v1/assessments HTTP/1.1\r\nhost: test\r\ncontent-type: application/json\r\ncontent-length: 100000\r\n\r\n{",
    ];
    let mut open = Vec::new();
    for k in 0..connections {
        let begin = begins[k % begins.len()];
        let mut stream = TcpStream::connect(service.address).map_err(|e| format!("connection {k}: {e}"))?;
        stream.write_all(begin).and_then(|()| stream.set_nonblocking(true)).map_err(|e| e.to_string())?;
        open.push((stream, !begin.is_empty(), Vec::new()));
    }
    let begun = Instant::now();
    let mut seen = Seen { open: 0, told: 0, last_s: 0.0 };
    while !open.is_empty() && begun.elapsed() < patience {
        thread::sleep(DRIBBLE);
        open.retain_mut(|(stream, dribbles, answer)| {
            let over = cut_off(stream, answer) || (*dribbles && refuses(stream));
            if over {
                seen.told += usize::from(answer.starts_with(b"HTTP/1.1 408 "));
                seen.last_s = begun.elapsed().as_secs_f64();
            }
            !over
        });
    }
    seen.open = open.len();
    Ok(seen)
}

/// Reads what has come; whether it was the last.
fn cut_off(stream: &mut TcpStream, answer: &mut Vec<u8>) -> bool {
    let mut part = [0; 1024];
    loop {
        match stream.read(&mut part) {
            Ok(0) => return true,
            Ok(read) => answer.extend_from_slice(&part[..read]),
            Err(error) => return error.kind() != ErrorKind::WouldBlock,
        }
    }
}

fn refuses(stream: &mut TcpStream) -> bool {
    stream.write(b" ").is_err_and(|error| error.kind() != ErrorKind::WouldBlock)
}

/// Requests that cost nothing: is it alive, and an answer that is stored.
#[derive(Default)]
pub struct Cheap {
    asked: usize,
    wrong: Vec<String>,
    seconds: Vec<f64>,
}

impl Cheap {
    /// Asks in turn until it is over, each over a new connection.
    pub fn asked(service: &Service, stored: &Reply, over: &AtomicBool) -> Self {
        let mut cheap = Self::default();
        let place = stored.header("location");
        while !over.load(Ordering::SeqCst) {
            for (path, expected) in [("/livez", &b"alive\n"[..]), (place, &stored.body)] {
                let begun = Instant::now();
                let reply = service.client().get(path);
                cheap.seconds.push(begun.elapsed().as_secs_f64());
                cheap.asked += 1;
                match reply {
                    Ok(reply) if reply.status == 200 && reply.body == expected => {}
                    Ok(reply) => cheap.wrong.push(format!("{path}: {}", reply.told())),
                    Err(error) => cheap.wrong.push(format!("{path}: {error}")),
                }
            }
            thread::sleep(Duration::from_millis(5));
        }
        cheap.seconds.sort_by(f64::total_cmp);
        cheap
    }

    /// Its rows.
    pub fn tabled(&self, when: &str, table: &mut Table) {
        table.told(&format!("{when}: cheap requests"), self.asked);
        table.none(&format!("{when}: of them not answered as they should"), &self.wrong);
        for (name, part) in [("median", 0.5), ("99 %", 0.99), ("longest", 1.0)] {
            let figure = format!("{:.1}", 1e3 * quantile(&self.seconds, part));
            table.told(&format!("{when}: cheap requests, {name}, ms"), figure);
        }
    }
}
