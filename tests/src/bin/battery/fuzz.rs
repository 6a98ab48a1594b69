//! Bodies that grow towards what they have not reached yet (libFuzzer): whatever is sent is read, or refused by the name of a
//! field; whatever is taken is answered in finite numbers, and never by a failure. All are made of the examples that come with
//! the program and the messages of its tests.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::thread;

use crate::Size;
use crate::table::Table;

/// Installs what builds it.
const TOOL: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tool");
const VERSION: &str = "0.13.2";
/// A package apart from the workspace: each of its targets is a program.
const PLACE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fuzz");
const WORKSPACE_LOCK: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../Cargo.lock");
/// The decoder, and the whole assessment, with how many bodies are tried in a second at the very least.
const TARGETS: [(&str, usize); 2] = [("read", 20), ("answer", 1)];
/// A body that takes longer than so many seconds is a fault.
const MOST_S: u32 = 30;
/// Longest body, in bytes.
const LONGEST: u32 = 32_768;

/// A fault that is planted in a target, what is said once it is found, and within how many bodies: about as many as a minute
/// or two try where nothing else runs.
const PLANTED: [(&str, &str, &str, u32); 5] = [
    ("read", "panic", "the planted fault", 60_000),
    ("read", "hang", "libFuzzer: timeout", 60_000),
    ("read", "unnamed", "a fault lacks its place", 60_000),
    ("answer", "failure", "answered 500", 6000),
    ("answer", "infinite", "NaN", 6000),
];

pub fn tried(size: Size, table: &mut Table) -> Result<(), String> {
    let Some(seconds) = size.of(None, Some(60), Some(600)) else {
        table.told("part of the usual and the long run", "its build takes minutes");
        return Ok(());
    };
    let fuzzing = Fuzzing::new()?;
    let bound = format!("-max_total_time={seconds}");
    let runs = at_once(TARGETS, |(target, _)| fuzzing.run(target, "", &[&bound, &format!("-timeout={MOST_S}")]))?;
    for ((target, each_s), ran) in TARGETS.into_iter().zip(runs) {
        table.at_least(&format!("{target}: bodies tried"), ran.tried, each_s * seconds as usize);
        table.told(&format!("{target}: branches reached"), ran.reached);
        table.told(&format!("{target}: bodies that reached something new"), ran.kept);
        table.none(&format!("{target}: faults"), &ran.faults);
    }
    for pair in PLANTED.chunks(2) {
        controls(&fuzzing, pair, table)?;
    }
    Ok(())
}

/// Each planted fault is found from the same bodies, which do not have it themselves.
fn controls(fuzzing: &Fuzzing, all: &[(&str, &str, &str, u32)], table: &mut Table) -> Result<(), String> {
    let found = at_once(all.iter().copied(), |(target, planted, said, most)| {
        let run = |runs: u32| fuzzing.run(target, planted, &["-timeout=5", "-seed=1", &format!("-runs={runs}")]);
        let (before, ran) = (run(0)?, run(most)?);
        Ok((before.faults.len(), ran.faults.iter().filter(|fault| fault.contains(said)).count(), ran.tried))
    })?;
    for ((target, planted, ..), (before, found, tried)) in all.iter().zip(found) {
        table.count(&format!("control: {target}, planted: {planted}; found in the bodies to begin with"), before, 0);
        table.count(&format!("control: {target}, planted: {planted}; found"), found, 1);
        table.told("bodies until then", tried);
    }
    Ok(())
}

/// Does it for each at the same time.
fn at_once<A: Send, T: Send>(
    all: impl IntoIterator<Item = A>,
    done: impl Fn(A) -> Result<T, String> + Sync,
) -> Result<Vec<T>, String> {
    let done = &done;
    thread::scope(|scope| {
        let threads: Vec<_> = all.into_iter().map(|one| scope.spawn(move || done(one))).collect();
        threads.into_iter().map(|thread| thread.join().map_err(|_| "a trial panicked")?).collect()
    })
}

struct Fuzzing {
    /// What is built and found.
    place: PathBuf,
    programs: PathBuf,
}

/// What a run came to.
struct Ran {
    tried: usize,
    reached: usize,
    kept: usize,
    faults: Vec<String>,
}

fn run(command: &mut Command) -> Result<(bool, String, String), String> {
    let run = command.output().map_err(|e| e.to_string())?;
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).trim().to_string();
    Ok((run.status.success(), text(&run.stdout), text(&run.stderr)))
}

impl Fuzzing {
    /// Builds the targets.
    fn new() -> Result<Self, String> {
        let failed = |e: std::io::Error| e.to_string();
        let (made, tool, said) = run(Command::new(TOOL).args(["cargo-fuzz", VERSION]))?;
        if !made {
            return Err(format!("no cargo-fuzz: {said}"));
        }
        // Beside the programs of this build.
        let here = std::env::current_exe().map_err(failed)?;
        let place = here.parent().and_then(Path::parent).ok_or("no build directory")?.join("fuzz");
        fs::create_dir_all(&place).map_err(failed)?;
        // In the versions of the workspace.
        fs::copy(WORKSPACE_LOCK, Path::new(PLACE).join("Cargo.lock")).map_err(failed)?;
        // Without a sanitizer: those that this compiler has need another one, and there is next to no unsafe code.
        let mut build = Command::new(tool);
        build.args(["fuzz", "build", "--sanitizer", "none", "--fuzz-dir", PLACE, "--target-dir"]);
        let (built, _, said) = run(build.arg(&place).current_dir(PLACE))?;
        if !built {
            return Err(said);
        }
        let triples = fs::read_dir(&place).map_err(failed)?.filter_map(Result::ok);
        let programs =
            triples.map(|triple| triple.path().join("release")).find(|programs| programs.join("read").is_file());
        Ok(Self { programs: programs.ok_or("nothing was built")?, place })
    }

    /// Runs a target within limits, or until it finds something.
    fn run(&self, target: &str, planted: &str, limits: &[&str]) -> Result<Ran, String> {
        let failed = |e: std::io::Error| e.to_string();
        let place = self.place.join("runs").join(format!("{target}-{planted}"));
        let _ = fs::remove_dir_all(&place);
        fs::create_dir_all(place.join("reached")).map_err(failed)?;
        let mut command = Command::new(self.programs.join(target));
        command
            .current_dir(&place)
            .env("SLOWPOINT_PLANTED", planted)
            .env("RUST_BACKTRACE", "0")
            .args(["reached", "seeds"])
            .args(limits);
        command.args(["-print_final_stats=1", "-len_control=0", &format!("-max_len={LONGEST}")]);
        let (whole, _, said) = run(&mut command)?;
        let number = |line: &str| line.split_whitespace().next_back().and_then(|n| n.parse().ok());
        let stat = |name: &str| said.lines().rfind(|line| line.starts_with(name)).and_then(number).unwrap_or(0);
        let reached =
            said.lines().rev().find_map(|line| line.split_once(" cov: ")?.1.split_whitespace().next()?.parse().ok());
        Ok(Ran {
            tried: stat("stat::number_of_executed_units"),
            kept: stat("stat::new_units_added"),
            reached: reached.unwrap_or(0),
            faults: if whole { Vec::new() } else { vec![fault(&said, &place)] },
        })
    }
}

/// What was said of a fault, without the lines on the way there.
fn fault(said: &str, place: &Path) -> String {
    let way = |line: &&str| line.starts_with('#') && line.contains(" cov: ") || line.starts_with("stat::");
    let lines: Vec<&str> = said.lines().filter(|line| !way(line)).collect();
    let from = lines.len().saturating_sub(30);
    format!("in {}:\n    {}", place.display(), lines[from..].join("\n    "))
}
