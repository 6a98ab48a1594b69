//! Ten times as many clients as are taken: who is not taken is told when to come back, the rest is served as if nothing were.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use slowpoint_tests::served::{Reply, Service};

use crate::Size;
use crate::cards::card;
use crate::slow::Cheap;
use crate::table::Table;

/// Computations that run and wait.
const TAKEN: [usize; 2] = [2, 8];
/// Clients for each of them.
const FACTOR: usize = 10;
const FLIGHTS: u64 = 256;
/// A client that was refused comes back sooner than it was asked to.
const IMPATIENT: Duration = Duration::from_millis(100);

pub fn tried(size: Size, table: &mut Table) -> Result<(), String> {
    let [concurrent, queue] = TAKEN.map(|count| count.to_string());
    let service = Service::start(&["--concurrent", &concurrent, "--queue", &queue, "--retry-after-s", "1"])?;
    service.ready_s()?;
    let stored = service.client().post("/v1/assessments", &card(0, FLIGHTS))?;
    let seeds = AtomicU64::new(1);
    let during = |clients: usize, seconds: u64, when: &str, table: &mut Table| {
        let begun = Instant::now();
        let (asked, cheap) = asked_by(&service, &stored, clients, Duration::from_secs(seconds), &seeds)?;
        cheap.tabled(when, table);
        Ok::<_, String>((asked, begun.elapsed().as_secs_f64()))
    };
    let (few, long) = (size.of(3, 10, 10), size.of(10, 60, 300));
    during(0, few, "quiet", table)?;
    let (full, full_s) = during(TAKEN.iter().sum(), few.max(5), "all places taken", table)?;
    let (over, over_s) = during(FACTOR * TAKEN.iter().sum::<usize>(), long, "ten times overloaded", table)?;

    let begun = Instant::now();
    while service.client().post("/v1/assessments", &card(u64::MAX >> 12, FLIGHTS))?.status != 200 {
        thread::sleep(Duration::from_millis(20));
    }
    table.told("after the overload: until new work is answered, s", format!("{:.2}", begun.elapsed().as_secs_f64()));
    during(0, 2, "after the overload", table)?;

    let rate = |asked: &Asked, seconds: f64| asked.answered as f64 / seconds;
    table.told("assessments answered a second, all places taken", format!("{:.1}", rate(&full, full_s)));
    table.told("assessments answered a second, overloaded", format!("{:.1}", rate(&over, over_s)));
    let useful = 100.0 * rate(&over, over_s) / rate(&full, full_s);
    table.told("useful work under overload, % of all places taken", format!("{useful:.0}"));
    let offered = (over.answered + over.shed) as f64 / over_s / rate(&full, full_s);
    table.told("requests offered under overload, over what can be answered", format!("{offered:.1}"));
    table.told("shed with 503 and Retry-After", over.shed);
    table.none("answers that may not be", &[full.strange, over.strange].concat());
    table.count("control: shed where all find a place", full.shed, 0);
    table.at_least("control: shed where they do not", over.shed, 1);
    table.no_panic(&service);
    Ok(())
}

#[derive(Default)]
struct Asked {
    answered: usize,
    shed: usize,
    strange: Vec<String>,
}

impl Asked {
    fn note(&mut self, reply: Result<Reply, String>) -> bool {
        match reply {
            Ok(reply) if reply.status == 200 => self.answered += 1,
            Ok(reply) if matches!(reply.status, 429 | 503) && reply.fault().is_none() => {
                self.shed += 1;
                return false;
            }
            Ok(reply) => self.strange.push(reply.told()),
            Err(error) => self.strange.push(error),
        }
        true
    }
}

/// Asks for new work from so many clients for a while, and for what costs nothing beside it.
fn asked_by(
    service: &Service,
    stored: &Reply,
    clients: usize,
    long: Duration,
    seeds: &AtomicU64,
) -> Result<(Asked, Cheap), String> {
    let (asked, over) = (Mutex::new(Asked::default()), AtomicBool::new(false));
    let cheap = thread::scope(|scope| {
        for _ in 0..clients {
            scope.spawn(|| {
                let client = service.client();
                while !over.load(Ordering::SeqCst) {
                    let reply = client.post("/v1/assessments", &card(seeds.fetch_add(1, Ordering::SeqCst), FLIGHTS));
                    let taken = asked.lock().unwrap_or_else(PoisonError::into_inner).note(reply);
                    if !taken {
                        thread::sleep(IMPATIENT);
                    }
                }
            });
        }
        let cheap = scope.spawn(|| Cheap::asked(service, stored, &over));
        thread::sleep(long);
        over.store(true, Ordering::SeqCst);
        cheap.join()
    });
    let asked = asked.into_inner().unwrap_or_else(PoisonError::into_inner);
    Ok((asked, cheap.map_err(|_| "a client panicked")?))
}
