//! Damaged GRIB2 files are read or refused, never a panic that reaches the caller, and never much memory: files built by
//! the octet tables with octets changed, dropped or doubled, from a fixed seed. `SLOWPOINT_GRIB_MUTATIONS=100000` tries as
//! many as that.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

#[path = "support/grib.rs"]
mod grib;

use grib::{file, grids, of_member, two_levels};
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use slowpoint_server::wire::{self, FileRejected, GribQuery};

const RUNS: &str = "SLOWPOINT_GRIB_MUTATIONS";
const USUAL_RUNS: usize = 3000;

#[test]
fn damaged_files_are_read_or_refused() {
    // The library's panics are caught; their messages are of no use here.
    std::panic::set_hook(Box::new(|_| {}));
    let runs = std::env::var(RUNS).map_or(USUAL_RUNS, |n| n.parse().unwrap());
    let mut rng = ChaCha8Rng::seed_from_u64(17);
    let query = GribQuery { latitude: 35.04, longitude: -106.62, field_elevation: "5355 ft".into(), launch_at: None };
    let grids = grids();
    let (mut read, mut refused) = (0, 0);
    for run in 0..runs {
        let grid = &grids[rng.random_range(0..grids.len())];
        let mut fields = two_levels(grid);
        if rng.random_bool(0.3) {
            fields = [of_member(&fields, 1, 0), of_member(&fields, 3, 1)].concat();
        }
        let mut octets = file(grid, &fields);
        for _ in 0..rng.random_range(1..=3) {
            // Mostly in the first message's heads.
            let reach = if rng.random_bool(0.8) { 230.min(octets.len()) } else { octets.len() };
            let at = rng.random_range(0..reach);
            match rng.random_range(0..6) {
                0 => octets[at] = 0,
                1 => octets[at] = 255,
                2 => octets[at] ^= 1 << rng.random_range(0..8),
                3 => octets[at] = rng.random(),
                4 => drop(octets.remove(at)),
                _ => octets.insert(at, rng.random()),
            }
        }
        let tried = std::panic::catch_unwind(|| wire::decode_grib(&octets, &query));
        match tried {
            Ok(Ok(answer)) => {
                assert!(serde_json::to_string(&answer).is_ok_and(|t| t.len() > 100));
                read += 1;
            }
            Ok(Err(FileRejected::File(fault))) => {
                assert!(!fault.problem.is_empty() && !fault.remedy.is_empty());
                refused += 1;
            }
            other => panic!("run {run}: {other:?}"),
        }
    }
    println!("{runs} damaged files: {read} read, {refused} refused");
    assert!(read > runs / 10 && refused > runs / 10, "{read} read, {refused} refused");
}
