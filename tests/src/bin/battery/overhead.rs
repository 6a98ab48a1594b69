//! What the service takes on top of the engine: one card of a thousand flights, each time with another seed, in turn over a
//! kept connection and by the library on as many threads. The service reads, flies, stores with a sync of the disk, answers.

use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::time::Instant;

use slowpoint_sim::assess;
use slowpoint_sim::case::{Case, Inputs};
use slowpoint_tests::asked::{request, same};
use slowpoint_tests::served::{Kept, Reply, Service};
use slowpoint_tests::whole::{GO, case, pool};
use slowpoint_tests::{rockets, threads_ns};
use tempfile::TempDir;

use crate::Size;
use crate::table::{Table, quantile};

const FLIGHTS: u64 = 1000;
const ASSESSMENTS: &str = "/v1/assessments";
/// What is done once is done before the clock.
const UNTIMED: u64 = 5;

pub fn tried(size: Size, table: &mut Table) -> Result<(), String> {
    let rounds = size.of(40, 200, 1000);
    let data = TempDir::new().map_err(|e| e.to_string())?;
    let service = Service::start_on(data.path(), &[], &[])?;
    service.ready_s()?;
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let (card, pool) = (rockets::with_eight_delays(rockets::club()), pool(threads));
    let (mut client, mut wrong) = (Kept::new(service.address), Vec::new());
    let mut seconds: [Vec<f64>; 8] = Default::default();
    for seed in 1..=UNTIMED + rounds {
        let body = request(&card, FLIGHTS, seed).to_string();
        let fly = || {
            let case = seeded(&card, seed);
            let before_ns = ran_ns(std::process::id());
            let (seconds, report) = timed(|| pool.install(|| assess(&case, &GO)));
            (seconds, report, ran_ns(std::process::id()).saturating_sub(before_ns) as f64 / 1e9)
        };
        let (first_s, report, engine_ran_s) = fly();
        let before_ns = ran_ns(service.process());
        let (new_s, new) = timed(|| client.post(ASSESSMENTS, body.as_bytes()));
        let service_ran_s = ran_ns(service.process()).saturating_sub(before_ns) as f64 / 1e9;
        let (second_s, ..) = fly();
        let (known_s, known) = timed(|| client.post(ASSESSMENTS, body.as_bytes()));
        let (new, known) = (new?, known?);
        let price = format!("{ASSESSMENTS}?dry_run=true");
        let (priced_s, priced) = timed(|| client.post(&price, body.as_bytes()));
        let (synced_s, synced) = timed(|| synced(&data.path().join("bare"), &new.body));
        synced.map_err(|e| e.to_string())?;
        wrong.extend([&new, &known, &priced?].into_iter().filter(|reply| reply.status != 200).map(Reply::told));
        wrong.extend((known.body != new.body).then(|| format!("seed {seed}: other bytes from the store")));
        wrong.extend(same(&report.ok_or("nobody stops it")?, &new.json()).err());
        if seed > UNTIMED {
            let all = [first_s, new_s, second_s, known_s, priced_s, synced_s, engine_ran_s, service_ran_s];
            seconds.iter_mut().zip(all).for_each(|(seconds, one)| seconds.push(one));
        }
    }
    let median = |seconds: &[f64]| {
        let mut sorted = seconds.to_vec();
        sorted.sort_by(f64::total_cmp);
        quantile(&sorted, 0.5)
    };
    let best = |seconds: &[f64]| seconds.iter().copied().fold(f64::INFINITY, f64::min);
    let [first, new, second, known, priced, synced, engine_ran, service_ran] = &seconds;
    // Each request against the flights just before and just after it.
    let engine: Vec<f64> = first.iter().zip(second).map(|(a, b)| 0.5 * (a + b)).collect();
    let apart = |a: &[f64], b: &[f64]| median(&a.iter().zip(b).map(|(a, b)| a - b).collect::<Vec<_>>());
    let ms = |seconds: f64| format!("{:.2}", 1e3 * seconds);
    table.told(&format!("cards of {FLIGHTS} flights on {threads} threads"), rounds);
    table.told("the engine alone, median, ms", ms(median(&engine)));
    table.told("over HTTP: read, flown, stored, answered, median, ms", ms(median(new)));
    table.told("difference, median, ms", ms(apart(new, &engine)));
    table.told(
        "difference of the best of each, which little else disturbed, ms",
        ms(best(new) - best(first).min(best(second))),
    );
    table.told("control: the engine after the request against before, median, ms", ms(apart(second, first)));
    table.told("control: the same of the best, ms", ms(best(second) - best(first)));
    table.told("processor time of the engine, all threads together, median, ms", ms(median(engine_ran)));
    table.told("processor time of the service on top of it, median, ms", ms(apart(service_ran, engine_ran)));
    table.told("of it: what is stored is read and sent again, median, ms", ms(median(known)));
    table.told("of it: the same priced alone, median, ms", ms(median(priced)));
    table.told("the disk alone: an answer written and synced, median, ms", ms(median(synced)));
    table.none("answers that are not the engine's, or not the same again", &wrong);
    let other = pool.install(|| assess(&seeded(&card, 1), &GO)).ok_or("nobody stops it")?;
    let unlike = client.post(ASSESSMENTS, request(&card, FLIGHTS, 2).to_string().as_bytes())?;
    table.count("control: another seed is noticed", usize::from(same(&other, &unlike.json()).is_err()), 1);
    table.no_panic(&service);
    Ok(())
}

/// The card with another seed.
fn seeded(card: &Inputs, seed: u64) -> Case {
    let mut inputs = card.clone();
    inputs.question.seed = seed;
    case(inputs, FLIGHTS)
}

/// How long the threads of a process have run, ns: what else the machine does changes it little.
fn ran_ns(process: u32) -> u64 {
    threads_ns(process, |_| true)
}

fn timed<T>(work: impl FnOnce() -> T) -> (f64, T) {
    let begun = Instant::now();
    let done = work();
    (begun.elapsed().as_secs_f64(), done)
}

/// Writes to a new file and waits for the disk.
fn synced(path: &Path, octets: &[u8]) -> std::io::Result<()> {
    let mut file = File::create(path)?;
    file.write_all(octets)?;
    file.sync_all()
}
