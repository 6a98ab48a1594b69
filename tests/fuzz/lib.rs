//! What the targets share. Each begins with the same bodies and changes them in the same way.

#[path = "../src/finite.rs"]
pub mod finite;
#[path = "../src/named.rs"]
pub mod named;

mod bodies;
mod change;
mod known;
pub mod planted;

use std::fs;

use serde_json::Value;
use slowpoint_server::wire::FieldFault;

pub use bodies::{Door, day};
pub use change::{changed, crossed};

/// Writes the bodies to begin with into the directory that is looked for them.
pub fn begin(doors: &[Door]) {
    fs::create_dir_all("seeds").expect("the bodies to begin with can be written");
    for (k, (door, body)) in bodies::seeds().into_iter().enumerate().filter(|(_, (door, _))| doors.contains(door)) {
        let whole = [&[door.letter()][..], &body].concat();
        fs::write(format!("seeds/{k}"), whole).expect("the bodies to begin with can be written");
    }
}

/// Nothing may be lacking in what is told of a body.
pub fn check_faults(sent: &Value, faults: &[FieldFault]) {
    let told = |fault: &FieldFault| {
        let is_hidden = planted::is("unnamed") && fault.pointer.ends_with("/mass");
        let pointer = if is_hidden { String::new() } else { fault.pointer.clone() };
        [pointer, fault.problem.clone(), fault.remedy.clone()]
    };
    check_told(sent, &faults.iter().map(told).collect::<Vec<_>>());
}

/// The same of texts: where, what, and the remedy of each.
pub fn check_told(sent: &Value, faults: &[[String; 3]]) {
    let told: Vec<named::Told> =
        faults.iter().map(|[pointer, problem, remedy]| [&**pointer, problem, remedy]).collect();
    assert_eq!(named::lacks(sent, &told), None);
}
