//! Whatever is sent is read, or refused with every fault at its place.

#![no_main]

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};

use libfuzzer_sys::{Corpus, fuzz_crossover, fuzz_mutator, fuzz_target};
use serde_json::Value;
use slowpoint_fuzz::finite::{not_finite, without_texts};
use slowpoint_fuzz::{Door, begin, changed, check_faults, crossed, planted};
use slowpoint_server::wire::day::{AskedDay, read_day};
use slowpoint_server::wire::share::read_share;
use slowpoint_server::wire::sweep::{AskedSweep, read_sweep};
use slowpoint_server::wire::{self, Asked, FileRejected, GribQuery, Rejected, WeatherAnswer};

fuzz_target!(init: { begin(&Door::ALL); leave_panics_of_files(); }, |tried: &[u8]| -> Corpus {
    let Some((door, body)) = Door::of(tried) else { return Corpus::Reject };
    let is_taken = match door {
        Door::Assessment => taken(body, wire::read(body)).as_ref().map(card).is_some(),
        Door::Day => taken(body, read_day(body)).is_some_and(|read| day(&read)),
        Door::Sweep => taken(body, read_sweep(body)).as_ref().map(sweep).is_some(),
        // Whatever it changes.
        Door::Revision => taken(body, wire::read_changes(body)).is_some_and(|_| false),
        Door::Share => taken(body, read_share(body, answer_of)).is_some(),
        Door::Weather => taken(body, wire::decode_weather(body)).map(|answer| written(&answer)).is_some(),
        Door::File => file(body),
    };
    // What is made of a body that is refused is mostly refused for the same: of those some are enough.
    let is_kept = is_taken || door == Door::File || body.iter().map(|octet| u32::from(*octet)).sum::<u32>() % 16 == 0;
    if is_kept { Corpus::Keep } else { Corpus::Reject }
});

fuzz_mutator!(|data: &mut [u8], size: usize, max_size: usize, seed: u32| { changed(data, size, max_size, seed) });
fuzz_crossover!(|one: &[u8], other: &[u8], out: &mut [u8], seed: u32| { crossed(one, other, out, seed) });

/// What was read; what was refused is looked at.
fn taken<T>(body: &[u8], read: Result<T, Rejected>) -> Option<T> {
    match read {
        Ok(read) => return Some(read),
        Err(Rejected::NotJson(reason)) => {
            assert!(reason.contains(" at line ") || reason.contains("UTF-16"), "{reason}")
        }
        Err(Rejected::Faults(faults)) => {
            let sent = body.strip_prefix(b"\xef\xbb\xbf").unwrap_or(body);
            check_faults(&serde_json::from_slice::<Value>(sent).expect("only JSON has faults"), &faults);
        }
    }
    None
}

/// A card that was taken holds finite numbers, and what is kept of it is read again as the same.
fn card(asked: &Asked) {
    planted::at_new(&asked.case);
    assert_eq!(not_finite(&without_texts(&format!("{:?}", asked.case.inputs))), None);
    again(wire::read(asked.kept().as_bytes()).map(|again| again.canonical()), asked.canonical());
}

/// Whether a flight of it can be flown.
fn day(day: &AskedDay) -> bool {
    let mut flown = false;
    for entry in &day.entries {
        match &entry.asked {
            Ok(asked) => {
                flown = true;
                card(asked);
            }
            Err(faults) => check_faults(&day.input, faults),
        }
    }
    again(read_day(day.input.to_string().as_bytes()).map(|again| again.canonical()), day.canonical());
    flown
}

/// What was read as a whole can be read setting by setting.
fn sweep(sweep: &AskedSweep) {
    card(&sweep.cell(sweep.cells() - 1).expect("a setting that was read"));
    again(read_sweep(sweep.input.to_string().as_bytes()).map(|again| again.canonical()), sweep.canonical());
}

fn again(read: Result<String, Rejected>, before: String) {
    assert_eq!(read, Ok(before), "what is kept is read otherwise");
}

fn written(answer: &WeatherAnswer) {
    serde_json::to_vec(answer).expect("an answer is JSON");
}

fn answer_of(path: &str) -> Option<String> {
    path.strip_prefix("/v1/days/").map(String::from)
}

thread_local! {
    static READS_FILE: Cell<bool> = const { Cell::new(false) };
}

/// A panic of the library that unpacks files is caught where it is called, and is a refusal: only what comes out is one.
fn leave_panics_of_files() {
    let fatal = panic::take_hook();
    panic::set_hook(Box::new(move |told| {
        if !READS_FILE.get() {
            fatal(told);
        }
    }));
}

fn file(octets: &[u8]) -> bool {
    let query = GribQuery { latitude: 35.04, longitude: -106.62, field_elevation: "5355 ft".into(), launch_at: None };
    READS_FILE.set(true);
    let read = panic::catch_unwind(AssertUnwindSafe(|| wire::decode_grib(octets, &query)));
    READS_FILE.set(false);
    match read {
        Ok(Ok(answer)) => {
            written(&answer);
            true
        }
        // Its place is the file, which is no JSON.
        Ok(Err(FileRejected::File(fault))) => {
            check_faults(&Value::Null, &[fault]);
            false
        }
        Ok(Err(FileRejected::Query(problem))) => panic!("the query was refused: {problem}"),
        Err(_) => panic!("reading a file panicked"),
    }
}
