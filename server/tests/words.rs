//! No text of the program approves anything: neither what it says by itself nor its answers to the examples.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use slowpoint_server::api::description;
use slowpoint_server::render::terminal;
use slowpoint_server::wire::{self, Instead};

const APPROVING: [&str; 8] = ["safe", "go", "pass", "approved", "fine", "ok", "okay", "acceptable"];

#[track_caller]
fn check(what: &str, text: &str) {
    // A name with underscores is one word: `unsafe_opening`.
    for word in text.split(|c: char| !c.is_alphanumeric() && c != '_') {
        assert!(!APPROVING.contains(&word.to_lowercase().as_str()), "{what} says {word:?}: {text}");
    }
}

#[test]
fn answers_to_the_examples() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            continue;
        }
        let asked = match wire::read_with(
            &std::fs::read(&path).unwrap(),
            Instead { flights: Some(256), drivers: Some(256), flown: None },
        ) {
            Ok(asked) => asked,
            Err(rejected) => panic!("{}: {rejected:?}", path.display()),
        };
        let report = slowpoint_sim::assess(&asked.case, &AtomicBool::new(false)).unwrap();
        let answer = wire::answer("an-id", "an-engine", &asked, &report);
        for text in [terminal::table(&answer), serde_json::to_string(&answer).unwrap()] {
            check(&path.display().to_string(), &text);
        }
    }
}

#[test]
fn the_description() {
    for line in description::text().unwrap().lines() {
        check("openapi.json", line);
    }
}

#[test]
fn every_text_of_the_sources() {
    let mut count = 0;
    for folder in ["src", "../sim/src"] {
        for path in sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join(folder)) {
            let source = std::fs::read_to_string(&path).unwrap();
            let shown = source.split("#[cfg(test)]").next().unwrap_or_default();
            for text in literals(shown) {
                check(&path.display().to_string(), &text);
                count += 1;
            }
        }
    }
    assert!(count > 500, "{count} texts were found");
}

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
    found
}

/// The string literals of a source, without its comments.
fn literals(source: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut rest = source.chars().peekable();
    while let Some(c) = rest.next() {
        match c {
            '/' if rest.peek() == Some(&'/') => while rest.next().is_some_and(|c| c != '\n') {},
            // A character, not the start of a text; a lifetime has no closing quote to miss.
            '\'' if rest.peek() == Some(&'"') => drop(rest.next()),
            '"' => {
                let mut text = String::new();
                while let Some(c) = rest.next() {
                    match c {
                        '\\' => drop(rest.next()),
                        '"' => break,
                        c => text.push(c),
                    }
                }
                found.push(text);
            }
            _ => {}
        }
    }
    found
}
