//! The house rules as a test: what stands where, who may import whom, and what is never written.

use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn text(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// Every file below a directory with one of the endings.
fn files(below: &str, endings: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![root().join(below)];
    while let Some(directory) = open.pop() {
        let entries = fs::read_dir(&directory).unwrap_or_else(|e| panic!("{}: {e}", directory.display()));
        for entry in entries {
            let path = entry.expect("a directory can be read").path();
            if path.is_dir() {
                open.push(path);
            } else if endings.iter().any(|e| path.extension().is_some_and(|x| x == *e)) {
                found.push(path);
            }
        }
    }
    assert!(!found.is_empty(), "nothing below {below}");
    found
}

fn code() -> Vec<PathBuf> {
    ["sim", "server", "tests"].iter().flat_map(|room| files(room, &["rs"])).collect()
}

/// Lines of a file that are not comments, with their numbers.
fn lines_of_code(source: &str) -> impl Iterator<Item = (usize, &str)> {
    source.lines().enumerate().filter(|(_, l)| !l.trim_start().starts_with("//")).map(|(i, l)| (i + 1, l))
}

#[test]
fn the_top_level_is_fixed() {
    let allowed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "server",
        "sim",
        "tests",
        "openapi",
        "deploy",
        "LICENSE-MIT",
        "LICENSE-APACHE",
    ];
    // What git ignores is not part of the repository.
    let ignored = ["target", "data"];
    for entry in fs::read_dir(root()).expect("the checkout can be read") {
        let name = entry.expect("a directory can be read").file_name().to_string_lossy().into_owned();
        let known = allowed.contains(&name.as_str()) || ignored.contains(&name.as_str()) || name.starts_with('.');
        assert!(known, "{name} does not belong to the top level");
    }
}

#[test]
fn every_file_says_what_it_is() {
    for path in code() {
        let first = text(&path).lines().next().unwrap_or_default().to_string();
        let generated = first.is_empty();
        assert!(generated || first.starts_with("//!"), "{} begins without //!", path.display());
    }
    for path in files("tests/oracle", &["py"]) {
        assert!(text(&path).starts_with("\"\"\""), "{} begins without a docstring", path.display());
    }
}

#[test]
fn the_engine_is_pure() {
    let forbidden = [
        "serde",
        "tokio",
        "axum",
        "std::fs",
        "std::net",
        "std::env",
        "std::time",
        "std::io",
        "println!",
        "eprintln!",
        "tracing",
        "SystemTime",
        "Instant::now",
    ];
    for path in files("sim/src", &["rs"]) {
        for (line, code) in lines_of_code(&text(&path)) {
            for word in forbidden {
                assert!(!code.contains(word), "{}:{line} uses {word}", path.display());
            }
            let threads = code.contains("rayon");
            assert!(!threads || path.ends_with("sim/src/run.rs"), "{}:{line} uses threads", path.display());
        }
    }
}

#[test]
fn only_the_lanes_are_unsafe() {
    for path in
        files("sim/src", &["rs"]).into_iter().chain(files("server/src", &["rs"])).chain(files("tests/src", &["rs"]))
    {
        let wide = path.ends_with("sim/src/lanes/x86.rs") || path.ends_with("sim/src/flight/batch.rs");
        let text = text(&path);
        let lines: Vec<&str> = text.lines().collect();
        let words = ["unsafe {", "unsafe fn", "unsafe impl", "unsafe trait", "unsafe extern", "allow(unsafe_code"];
        for (k, line) in lines.iter().enumerate() {
            assert!(wide || !words.iter().any(|word| line.contains(word)), "{}:{} is unsafe", path.display(), k + 1);
            if !line.contains("unsafe {") {
                continue;
            }
            let above = &lines[k.saturating_sub(3)..k];
            assert!(above.iter().any(|l| l.contains("SAFETY:")), "{}:{} says not why", path.display(), k + 1);
        }
    }
}

#[test]
fn results_come_from_the_portable_library() {
    // The platform's exp, ln, pow and sines differ in the last digit from machine to machine.
    let platform =
        [".powi(", ".powf(", ".exp()", ".ln()", ".sin()", ".cos()", ".tan()", ".atan2(", ".mul_add(", ".hypot("];
    for path in files("sim/src", &["rs"]) {
        for (line, code) in lines_of_code(&text(&path)) {
            for call in platform {
                assert!(!code.contains(call), "{}:{line} calls {call}", path.display());
            }
        }
    }
}

#[test]
fn imports_point_one_way() {
    // (room, what it must not name)
    let rules = [
        ("sim/src/stat", &["crate::flight", "crate::case", "crate::tally", "crate::draw", "crate::run"][..]),
        ("sim/src/aero", &["crate::flight", "crate::tally", "crate::draw", "crate::run", "crate::report"][..]),
        ("sim/src/flight", &["crate::tally", "crate::run", "crate::report", "crate::advise", "crate::case"][..]),
        ("sim/src/tally", &["crate::run", "crate::advise", "fly_ascent"][..]),
        ("sim/src/advise", &["crate::run", "fly("][..]),
        ("server/src/wire", &["axum", "crate::api", "crate::store", "crate::compute"][..]),
        (
            "server/src/weather",
            &["axum", "serde", "crate::api", "crate::store", "crate::compute", "crate::wire::request"][..],
        ),
        (
            "server/src/page",
            &["slowpoint_sim::flight", "slowpoint_sim::stat", "slowpoint_sim::tally", "crate::compute"][..],
        ),
        ("server/src/render", &["slowpoint_sim::flight", "crate::api", "crate::store"][..]),
    ];
    for (room, never) in rules {
        for path in files(room, &["rs"]) {
            for (line, code) in lines_of_code(&text(&path)) {
                for name in never {
                    assert!(!code.contains(name), "{}:{line} names {name}", path.display());
                }
            }
        }
    }
}

#[test]
fn the_map_is_true() {
    let map = text(&root().join("DEVELOPERS.md"));
    let mut seen = 0;
    for name in map.split('`').skip(1).step_by(2) {
        let path_like =
            ["sim/", "server/", "tests/", "openapi/", "deploy/", ".ci/"].iter().any(|r| name.starts_with(r));
        if path_like && !name.contains(' ') {
            assert!(root().join(name).exists(), "DEVELOPERS.md names {name}, which is not there");
            seen += 1;
        }
    }
    assert!(seen > 20, "the map names only {seen} places");
}

#[test]
fn nothing_is_left_undone_or_promised() {
    // Put together here, so that this file does not find itself.
    let marks =
        [["TO", "DO"].concat(), ["FIX", "ME"].concat(), ["todo", "!("].concat(), ["unimplemented", "!("].concat()];
    let all = code()
        .into_iter()
        .chain(files("tests/oracle", &["py"]))
        .chain(files("deploy", &["md"]))
        .chain(files("server/examples", &["json"]));
    for path in all {
        let source = text(&path);
        for mark in &marks {
            assert!(!source.contains(mark.as_str()), "{} holds {mark}", path.display());
        }
    }
}
