//! The sample environment holds every knob, its default and its meaning, and nothing else.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

use std::path::Path;

use clap::{Arg, Args, Command};
use slowpoint_server::config::Config;

const HEAD: &str = "\
# Every knob of `slowpoint serve` with its default, for EnvironmentFile= of systemd (/etc/slowpoint.env) and --env-file of
# containers. Take the # from a line to change it. Flags of the command line win over the environment.
";
/// Longest line.
const WIDTH: usize = 120;

/// One knob: its meaning as a comment, its name with its default.
fn entry(knob: &Arg) -> String {
    let mut lines = vec!["#".to_string()];
    for word in knob.get_help().unwrap().to_string().split_whitespace() {
        let line = lines.last_mut().unwrap();
        if line.len() + 1 + word.len() > WIDTH {
            lines.push(format!("# {word}"));
        } else {
            *line += " ";
            *line += word;
        }
    }
    let name = knob.get_env().unwrap().to_str().unwrap();
    // A switch has no value of its own and is off; what need not be given is empty.
    let off = if knob.get_action().takes_values() { "" } else { "false" };
    let default = knob.get_default_values().first().map_or(off, |value| value.to_str().unwrap());
    format!("\n{}\n#{name}={default}\n", lines.join("\n"))
}

#[test]
fn the_sample_environment_is_what_the_program_takes() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../deploy/slowpoint.env.example");
    let command = Config::augment_args(Command::new("serve"));
    let made: String = std::iter::once(HEAD.to_string()).chain(command.get_arguments().map(entry)).collect();
    if std::env::var_os("SLOWPOINT_RENEW_ENVIRONMENT").is_some() {
        std::fs::write(&path, &made).unwrap();
    }
    let found = std::fs::read_to_string(&path).unwrap();
    assert_eq!(
        found, made,
        "renew it: SLOWPOINT_RENEW_ENVIRONMENT=1 cargo test -p slowpoint-server --test environment"
    );
}
