//! The README shows the answers that the program really gives.

use std::path::Path;
use std::sync::atomic::AtomicBool;

use slowpoint_server::config::ENGINE;
use slowpoint_server::id::AssessmentId;
use slowpoint_server::render::terminal;
use slowpoint_server::wire;

/// Set to write the blocks instead of comparing them.
const RENEW: &str = "SLOWPOINT_RENEW_README";

fn table(example: &str, drivers: Option<u64>) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(example);
    let Ok(body) = std::fs::read(&path) else { panic!("{} is missing", path.display()) };
    let Ok(asked) = wire::read_with(&body, None, drivers) else { panic!("{example} has faults") };
    let id = AssessmentId::of(ENGINE, &asked.canonical());
    let Some(report) = slowpoint_sim::assess(&asked.case, &AtomicBool::new(false)) else { panic!("stopped") };
    terminal::table(&wire::answer(id.as_str(), ENGINE, &asked, &report))
}

/// The part shown: up to the cautions, without the id, which changes with every engine.
fn shown(example: &str) -> String {
    let table = table(example, None);
    let until = table.find("\nIf the model is off").unwrap_or(table.len());
    table[..until].lines().map(|l| l.split(" Id ").next().unwrap_or(l).trim_end()).collect::<Vec<_>>().join("\n")
}

/// What the command with `--drivers 1024` prints on top.
fn shown_drivers(example: &str) -> String {
    let table = table(example, Some(1024));
    let Some(from) = table.find("\nWhat drives it") else { panic!("no drivers of {example}") };
    let until = table[from..].find("\nCautions").map_or(table.len(), |i| i + from);
    table[from..until].trim_start().to_string()
}

#[test]
fn readme_shows_the_answers_of_both_examples() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md");
    let Ok(mut readme) = std::fs::read_to_string(&path) else { panic!("no README") };
    let blocks = [
        ("answer: first-flight.json", shown("first-flight.json")),
        ("answer: sounding.json", shown("sounding.json")),
        ("drivers: sounding.json", shown_drivers("sounding.json")),
    ];
    for (block, text) in blocks {
        let mark = format!("<!-- {block} -->\n```text\n");
        let Some(start) = readme.find(&mark).map(|i| i + mark.len()) else { panic!("no block for {block}") };
        let Some(end) = readme[start..].find("```").map(|i| i + start) else { panic!("open block for {block}") };
        let answer = format!("{}\n", text.trim_end());
        if std::env::var_os(RENEW).is_some() {
            readme.replace_range(start..end, &answer);
        } else {
            assert_eq!(readme[start..end], answer, "renew with {RENEW}=1 cargo test -p slowpoint-server --test readme");
        }
    }
    if std::env::var_os(RENEW).is_some() && std::fs::write(&path, readme).is_err() {
        panic!("cannot write the README");
    }
}
