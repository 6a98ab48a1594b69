//! What the service has to bear, tried on its own binary: `cargo run --release -p slowpoint-tests --bin battery`, all or one
//! `SUBJECT`; `--short` for every change, `--long` for a release; what the machine has no tools for is off, or with `--partly` left
//! out. Counts decide (lost jobs, wrong bytes, panics, answers that
//! may not be); what a clock measured is only told. Each subject also shows that its count can be off: a row that begins with
//! "control" is what a fault that was made on purpose came to.

mod asking;
mod bodies;
mod cards;
mod clock;
mod disk;
mod free;
mod fuzz;
mod kill;
mod known;
mod overhead;
mod overload;
mod price;
mod same;
mod schema;
mod slow;
mod table;

use std::process::ExitCode;

use slowpoint_tests::served;
use table::Table;

/// How long it is tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Size {
    /// With every change.
    Short,
    /// By hand.
    Usual,
    /// For a release.
    Long,
}

impl Size {
    fn of<T>(self, short: T, usual: T, long: T) -> T {
        match self {
            Self::Short => short,
            Self::Usual => usual,
            Self::Long => long,
        }
    }
}

/// Tries one subject; an error is a trial that could not be held.
type Trial = fn(Size, &mut Table) -> Result<(), String>;

/// File handles of the connections that are held at a time, and some more.
const HANDLES: u64 = 4096;

const SUBJECTS: &[(&str, Trial)] = &[
    ("kill", kill::tried),
    ("same", same::tried),
    ("bodies", bodies::tried),
    ("slow", slow::tried),
    ("overload", overload::tried),
    ("free", free::tried),
    ("overhead", overhead::tried),
    ("price", price::tried),
    ("disk", disk::tried),
    ("clock", clock::tried),
    ("schema", schema::tried),
    ("fuzz", fuzz::tried),
];

fn main() -> ExitCode {
    let (mut size, mut table, mut chosen) = (Size::Usual, Table::default(), Vec::new());
    for argument in std::env::args().skip(1) {
        match argument.as_str() {
            "--short" => size = Size::Short,
            "--long" => size = Size::Long,
            "--partly" => table.partly(),
            name if SUBJECTS.iter().any(|(known, _)| *known == name) => chosen.push(argument),
            _ => {
                let names: Vec<&str> = SUBJECTS.iter().map(|(name, _)| *name).collect();
                eprintln!("usage: battery [--short|--long] [--partly] [SUBJECT...], of {}", names.join(", "));
                return ExitCode::FAILURE;
            }
        }
    }
    if !rlimit::increase_nofile_limit(HANDLES).is_ok_and(|given| given >= HANDLES) {
        eprintln!("the system gives fewer than {HANDLES} file handles: raise the hard limit (ulimit -Hn)");
        return ExitCode::FAILURE;
    }
    // It may have to be built, which is on no trial's clock.
    if let Err(reason) = served::told(&["--version"], &[]) {
        eprintln!("{reason}");
        return ExitCode::FAILURE;
    }
    for (name, trial) in SUBJECTS.iter().filter(|(name, _)| chosen.is_empty() || chosen.iter().any(|c| c == name)) {
        table.begin(name);
        if let Err(reason) = trial(size, &mut table) {
            table.failed(&reason);
        }
    }
    table.end()
}
