//! Ten times as many clients as are taken: who is not taken is told when to come back, the rest is served as if nothing were.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use slowpoint_tests::cpu_s;
use slowpoint_tests::served::{Kept, Reply, Service};

use crate::Size;
use crate::cards::{Prepared, card};
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
        let (begun, before) = (Instant::now(), ran_s(&service));
        let (asked, cheap) = asked_by(&service, &stored, clients, Duration::from_secs(seconds), &seeds)?;
        let (lasted_s, after) = (begun.elapsed().as_secs_f64(), ran_s(&service));
        let cores = std::array::from_fn(|k| (after[k] - before[k]) / lasted_s);
        cheap.tabled(when, table);
        table.told(
            &format!("{when}: cores that the service ran on, of {}", machine_cores()),
            format!("{:.2}", cores[0]),
        );
        table.told(&format!("{when}: cores that its clients took from it"), format!("{:.2}", cores[1]));
        let a_second = asked.answered as f64 / lasted_s;
        Ok::<_, String>(During { asked, lasted_s, a_second, cores })
    };
    let (few, long) = (size.of(3, 10, 10), size.of(10, 60, 300));
    during(0, few, "quiet", table)?;
    let full = during(TAKEN.iter().sum(), few.max(5), "all places taken", table)?;
    let over = during(FACTOR * TAKEN.iter().sum::<usize>(), long, "ten times overloaded", table)?;

    let begun = Instant::now();
    while service.client().post("/v1/assessments", &card(u64::MAX >> 12, FLIGHTS))?.status != 200 {
        thread::sleep(Duration::from_millis(20));
    }
    table.told("after the overload: until new work is answered, s", format!("{:.2}", begun.elapsed().as_secs_f64()));
    during(0, 2, "after the overload", table)?;

    table.told("assessments answered a second, all places taken", format!("{:.1}", full.a_second));
    table.told("assessments answered a second, overloaded", format!("{:.1}", over.a_second));
    let percent = |part: f64| format!("{:.0}", 100.0 * part);
    table.told("useful work under overload, % of all places taken", percent(over.a_second / full.a_second));
    let a_core_second = |during: &During| during.a_second / during.cores[0];
    table.told(
        "the same of each second of a core that the service had, %",
        percent(a_core_second(&over) / a_core_second(&full)),
    );
    let offered = (over.asked.answered + over.asked.shed) as f64 / over.lasted_s / full.a_second;
    table.told("requests offered under overload, over what can be answered", format!("{offered:.1}"));
    table.told("shed with 503 and Retry-After", over.asked.shed);
    let page = String::from_utf8_lossy(&service.client().get("/metrics")?.body).into_owned();
    for (reason, what) in [("overloaded-unread", "before it was read"), ("overloaded", "after it was read")] {
        let name = format!("slowpoint_sheds_total{{reason=\"{reason}\"}} ");
        let count = page.lines().find_map(|line| line.strip_prefix(&name)).unwrap_or("not told");
        table.told(&format!("of them {what}, by the metrics"), count);
    }
    table.none("answers that may not be", &[full.asked.strange, over.asked.strange].concat());
    table.count("control: shed where all find a place", full.asked.shed, 0);
    table.at_least("control: shed where they do not", over.asked.shed, 1);
    table.no_panic(&service);
    Ok(())
}

/// A time with so many clients.
struct During {
    asked: Asked,
    lasted_s: f64,
    /// Assessments answered a second.
    a_second: f64,
    /// Cores that were busy with the service, and with its clients.
    cores: [f64; 2],
}

/// How long the service has run, and this process, which is all its clients, s; no number where the system does not tell.
fn ran_s(service: &Service) -> [f64; 2] {
    [service.process(), std::process::id()].map(|process| cpu_s(process).unwrap_or(f64::NAN))
}

fn machine_cores() -> usize {
    thread::available_parallelism().map_or(0, usize::from)
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
                let (mut client, mut card) = (Kept::new(service.address), Prepared::new(FLIGHTS));
                while !over.load(Ordering::SeqCst) {
                    let number = seeds.fetch_add(1, Ordering::SeqCst);
                    let reply = client.post("/v1/assessments", card.numbered(number));
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
