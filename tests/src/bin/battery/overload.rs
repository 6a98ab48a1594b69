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
/// How soon a client that was refused comes back, asked to stay away for a second: what is offered is then some ten and some
/// forty times what can be answered.
const IMPATIENT: [(&str, Duration); 2] =
    [("ten times overloaded", Duration::from_millis(450)), ("forty times overloaded", Duration::from_millis(100))];

/// What does not recover until then never does.
const RECOVERED_AT_LAST: Duration = Duration::from_secs(120);

pub fn tried(size: Size, table: &mut Table) -> Result<(), String> {
    let [concurrent, queue] = TAKEN.map(|count| count.to_string());
    let service = Service::start(&["--concurrent", &concurrent, "--queue", &queue, "--retry-after-s", "1"])?;
    service.ready_s()?;
    let stored = service.client().post("/v1/assessments", &card(0, FLIGHTS))?;
    let seeds = AtomicU64::new(1);
    let during = |clients: usize, impatient: Duration, seconds: u64, when: &str, table: &mut Table| {
        let (begun, before) = (Instant::now(), ran_s(&service));
        let (asked, cheap) = asked_by(&service, &stored, clients, impatient, Duration::from_secs(seconds), &seeds)?;
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
    let [(_, patient), _] = IMPATIENT;
    during(0, patient, few, "quiet", table)?;
    let full = during(TAKEN.iter().sum(), patient, few.max(5), "all places taken", table)?;
    table.told("assessments answered a second, all places taken", format!("{:.1}", full.a_second));
    let (mut strange, mut shed) = (full.asked.strange, usize::MAX);
    for (when, impatient) in IMPATIENT {
        let over = during(FACTOR * TAKEN.iter().sum::<usize>(), impatient, long, when, table)?;
        // As a phone that comes back once the others have given up.
        let begun = Instant::now();
        while service.client().post("/v1/assessments", &card(u64::MAX >> 12, FLIGHTS))?.status != 200 {
            if begun.elapsed() > RECOVERED_AT_LAST {
                return Err(format!("{when}: no new work is answered after it"));
            }
            thread::sleep(Duration::from_millis(20));
        }
        let again_s = begun.elapsed().as_secs_f64();
        table.told(&format!("{when}: after it, until new work is answered, s"), format!("{again_s:.2}"));
        table.told(&format!("{when}: assessments answered a second"), format!("{:.1}", over.a_second));
        let percent = |part: f64| format!("{:.0}", 100.0 * part);
        table.told(&format!("{when}: useful work, % of all places taken"), percent(over.a_second / full.a_second));
        let a_core_second = |a_second: f64, cores: [f64; 2]| a_second / cores[0];
        let the_same = a_core_second(over.a_second, over.cores) / a_core_second(full.a_second, full.cores);
        table.told(&format!("{when}: the same of each second of a core that the service had, %"), percent(the_same));
        let offered = (over.asked.answered + over.asked.shed) as f64 / over.lasted_s / full.a_second;
        table.told(&format!("{when}: requests offered, over what can be answered"), format!("{offered:.1}"));
        table.told(&format!("{when}: shed with 503 and Retry-After"), over.asked.shed);
        shed = shed.min(over.asked.shed);
        strange.extend(over.asked.strange);
    }
    during(0, patient, few.min(2), "after the overload", table)?;
    let page = String::from_utf8_lossy(&service.client().get("/metrics")?.body).into_owned();
    for (reason, what) in [("overloaded-unread", "before it was read"), ("overloaded", "after it was read")] {
        let name = format!("slowpoint_sheds_total{{reason=\"{reason}\"}} ");
        let count = page.lines().find_map(|line| line.strip_prefix(&name)).unwrap_or("not told");
        table.told(&format!("of them {what}, by the metrics"), count);
    }
    table.none("answers that may not be", &strange);
    table.count("control: shed where all find a place", full.asked.shed, 0);
    table.at_least("control: shed where they do not", shed, 1);
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
    impatient: Duration,
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
                        thread::sleep(impatient);
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
