//! Memory does not grow with the number of flights: the largest resident set of this process, as Linux counts it,
//! after few flights and after four times as many. Alone in its binary, so that nothing else is counted.
#![cfg(target_os = "linux")]

use core::sync::atomic::AtomicBool;
use slowpoint_sim::assess;
use slowpoint_sim::case::Case;
use slowpoint_tests::{peak_memory_mib, rockets};

fn peak_after(flights: u64) -> f64 {
    let mut inputs = rockets::club();
    inputs.question.flights = flights;
    assert_eq!(inputs.question.ways.len(), 4);
    let case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
    let report = assess(&case, &AtomicBool::new(false)).expect("nobody stops it");
    assert_eq!(report.flights, flights);
    peak_memory_mib().expect("Linux tells the peak")
}

/// Bounds: 300 MiB leaves room on the smallest server; 15,000 more paths kept, at 200 steps of 104 bytes, would be
/// 300 MiB, and 15,000 more of what each flight came to, at four deployments of 120 bytes, 7 MiB. What may still
/// grow are visited bins and cells of the landing grid, some MiB.
#[test]
fn memory_does_not_grow_with_flights() {
    let (few, many) = (peak_after(5000), peak_after(20_000));
    println!("peak {few:.1} MiB after 5,000 flights, {many:.1} MiB after 20,000");
    assert!(many < 300.0, "{many} MiB");
    assert!(many - few < 20.0, "{few} MiB grew to {many} MiB");
}
