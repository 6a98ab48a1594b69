//! Holds counted instructions against what is expected; called by `tests/instructions/run`:
//! `instructions COUNTED EXPECTED COMPILER [--renew]`, with the directory of what was counted, the file of what is
//! expected, and the compiler's version in words.

use std::fs;
use std::path::Path;
use std::process::ExitCode;

use serde_json::{Value, json};
use slowpoint_tests::rockets;
use slowpoint_tests::whole::{COUNTED_FLIGHTS, ENGINES, counted};

/// A count may be so much above or below what is expected, per cent. Below as well: in the slack that is left by fewer, a
/// later rise would go unseen.
const MARGIN_PERCENT: u64 = 5;

const RENEW: &str = "tests/instructions/run --renew";

/// What is to be said of a count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Verdict {
    AsExpected,
    Fewer,
    More,
    Unknown,
}

fn verdict(now: u64, expected: Option<u64>) -> Verdict {
    let Some(expected) = expected else { return Verdict::Unknown };
    match 100 * now {
        now if now > (100 + MARGIN_PERCENT) * expected => Verdict::More,
        now if now < (100 - MARGIN_PERCENT) * expected => Verdict::Fewer,
        _ => Verdict::AsExpected,
    }
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (counts, expected, compiler, renew) = match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        [counts, expected, compiler] => (counts, expected, compiler, false),
        [counts, expected, compiler, "--renew"] => (counts, expected, compiler, true),
        _ => {
            eprintln!("usage: instructions COUNTED EXPECTED COMPILER [--renew]");
            return ExitCode::FAILURE;
        }
    };
    match held(Path::new(counts), Path::new(expected), compiler, renew) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(reason) => {
            eprintln!("{reason}");
            ExitCode::FAILURE
        }
    }
}

fn read(path: &Path) -> Result<Value, String> {
    let text = fs::read_to_string(path).map_err(|e| format!("{}: {e}", path.display()))?;
    serde_json::from_str(&text).map_err(|e| format!("{}: {e}", path.display()))
}

/// What is not held against anything, and why, in one line; nothing where all is. Of each engine its name, whether this
/// machine can, and whether its instructions are counted.
fn not_gated<'a>(engines: impl Iterator<Item = (&'a str, bool, bool)>) -> Option<String> {
    let reason = |(name, runs_here, counted)| match (runs_here, counted) {
        (true, true) => None,
        (false, _) => Some(format!("{name} (this machine lacks the instructions)")),
        (true, false) => Some(format!("{name} (valgrind does not know the instructions)")),
    };
    let left_out: Vec<String> = engines.filter_map(reason).collect();
    (!left_out.is_empty()).then(|| format!("NOT GATED: {}: what became dearer there goes unseen.", left_out.join("; ")))
}

/// Prints every count; true where none is too high or too low.
fn held(counts: &Path, expected: &Path, compiler: &str, renew: bool) -> Result<bool, String> {
    let known = if renew { json!({}) } else { read(expected)? };
    let rockets = rockets::all();
    let mut rows = Vec::new();
    let mut verdicts = Vec::new();
    println!("{:<18} {:<18} {:>20} {:>20} {:>8}", "engine", "rocket", "instructions/flight", "expected", "off");
    for (k, (engine, rocket)) in counted().enumerate() {
        let rocket = rockets[rocket].0;
        if !(engine.runs_here)() {
            println!("{:<18} {rocket:<18} not on this machine", engine.name);
            continue;
        }
        // The runner numbers what it was given in order.
        let found = read(&counts.join(format!("flights.whole_{k}/summary.json")))?;
        let now = found.pointer("/profiles/0/data/total/metrics/Ir/values/new").and_then(Value::as_u64);
        let now = now.ok_or_else(|| format!("no count of {}, {rocket}", engine.name))? / COUNTED_FLIGHTS;
        let before = known[engine.name][rocket].as_u64();
        let verdict = verdict(now, before);
        let off = before.map_or("-".into(), |before| format!("{:+.1} %", 100.0 * (now as f64 / before as f64 - 1.0)));
        let before = before.map_or("none".into(), |before| before.to_string());
        println!("{:<18} {rocket:<18} {now:>20} {before:>20} {off:>8}", engine.name);
        verdicts.push(verdict);
        rows.push((engine.name, rocket, now));
    }
    if let Some(line) = not_gated(ENGINES.iter().map(|e| (e.name, (e.runs_here)(), e.counted))) {
        println!("{line}");
    }
    if renew {
        let mut new = json!({ "compiler": compiler });
        for (engine, rocket, now) in rows {
            new[engine][rocket] = json!(now);
        }
        let text = serde_json::to_string_pretty(&new).map_err(|e| e.to_string())?;
        fs::write(expected, text + "\n").map_err(|e| e.to_string())?;
        println!("written to {}", expected.display());
        return Ok(true);
    }
    let is = |verdict| verdicts.contains(&verdict);
    if known["compiler"] != compiler {
        println!("Counted with {compiler}; expected was with {}.", known["compiler"]);
    }
    if is(Verdict::Unknown) {
        println!("Nothing is expected yet of some: {RENEW}");
    }
    if is(Verdict::Fewer) {
        println!(
            "More than {MARGIN_PERCENT} % fewer than expected, well done. So that none of it is lost again unseen: {RENEW}"
        );
    }
    if is(Verdict::More) {
        println!("More than {MARGIN_PERCENT} % above what is expected. Find out why; if it is worth it: {RENEW}");
    }
    Ok(verdicts.iter().all(|verdict| *verdict == Verdict::AsExpected))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn five_per_cent_either_way() {
        for (now, expected, want) in [
            (1_050, Some(1_000), Verdict::AsExpected),
            (1_051, Some(1_000), Verdict::More),
            (950, Some(1_000), Verdict::AsExpected),
            (949, Some(1_000), Verdict::Fewer),
            (1_000, None, Verdict::Unknown),
        ] {
            assert_eq!(verdict(now, expected), want, "{now} {expected:?}");
        }
    }

    #[test]
    fn what_is_not_gated_is_said_in_one_line() {
        let all = [("scalar", true, true), ("two", true, true)];
        assert_eq!(not_gated(all.into_iter()), None);
        let some = [("scalar", true, true), ("four", false, true), ("eight", true, false)];
        let line = not_gated(some.into_iter()).expect("two are left out");
        let want = "NOT GATED: four (this machine lacks the instructions); eight (valgrind does not know the \
                    instructions): what became dearer there goes unseen.";
        assert_eq!(line, want);
    }

    /// A directory as the runner leaves it, and what comes of it.
    #[test]
    fn more_fewer_and_unknown_fail() {
        let root = std::env::temp_dir().join(format!("slowpoint-instructions-{}", std::process::id()));
        let count = |each: u64| {
            for (k, _) in counted().enumerate() {
                let directory = root.join(format!("flights.whole_{k}"));
                fs::create_dir_all(&directory).expect("a temporary directory can be made");
                let total = json!({"metrics": {"Ir": {"values": {"new": each * COUNTED_FLIGHTS}}}});
                let summary = json!({"profiles": [{"data": {"total": total}}]});
                fs::write(directory.join("summary.json"), summary.to_string()).expect("it can be written");
            }
        };
        let expected = root.join("expected.json");
        count(1000);
        assert!(held(&root, &expected, "a compiler", false).is_err(), "nothing is expected yet");
        assert_eq!(held(&root, &expected, "a compiler", true), Ok(true));
        for (each, passes) in [(1000, true), (1040, true), (1060, false), (960, true), (940, false)] {
            count(each);
            assert_eq!(held(&root, &expected, "another compiler", false), Ok(passes), "{each}");
        }
        fs::write(&expected, "{}").expect("it can be written");
        assert_eq!(held(&root, &expected, "a compiler", false), Ok(false), "an engine that nothing is expected of");
        fs::remove_dir_all(&root).expect("what was made can be removed");
    }
}
