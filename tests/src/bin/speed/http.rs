//! Whole requests over a loopback socket: the service's own binary, a new connection and a new seed each time, so that
//! nothing is answered from what is stored.

use slowpoint_sim::case::Inputs;
use slowpoint_sim::report::Report;
use slowpoint_tests::asked::{request, same};
use slowpoint_tests::day_and_sweep::{Whole, ask};
use slowpoint_tests::served::Service;
use slowpoint_tests::whole::{case, on_threads};

/// Requests of each size.
const REQUESTS: u64 = 15;

/// What the engine answers here.
fn engine(inputs: &Inputs, flights: u64, seed: u64) -> Report {
    let mut inputs = inputs.clone();
    inputs.question.seed = seed;
    on_threads(1, &case(inputs, flights))
}

/// Times requests for a card of the kind that `rockets` has, in a table.
pub fn requests(inputs: &Inputs) {
    println!();
    if let Err(reason) = measured(inputs) {
        println!("Requests over HTTP: not measured. {reason}");
    }
}

fn measured(inputs: &Inputs) -> Result<(), String> {
    let service = Service::start(&[])?;
    println!(
        "Whole requests over a loopback socket, a new connection and seed each, {REQUESTS} of each size, all cores:"
    );
    println!("  {:>9} {:>12} {:>12}", "flights", "median, ms", "best, ms");
    // Once without a clock, for what happens only once.
    ask(&service, &request(inputs, 64, 1))?;
    for flights in [256, 512, 1024] {
        let mut seconds = Vec::new();
        for k in 0..REQUESTS {
            let seed = 1_000_000 + flights * 100 + k;
            let (took, answer) = ask(&service, &request(inputs, flights, seed))?;
            seconds.push(took);
            if k == 0 {
                same(&engine(inputs, flights, seed), &answer)?;
            }
        }
        seconds.sort_by(f64::total_cmp);
        println!("  {flights:>9} {:>12.1} {:>12.1}", 1e3 * seconds[seconds.len() / 2], 1e3 * seconds[0]);
    }
    Ok(())
}

/// A whole day against its cards, and a sweep against all its settings flown to the end.
pub fn day_and_sweep(inputs: &Inputs) {
    println!();
    match Whole::of(inputs) {
        Ok(whole) => println!("{whole}"),
        Err(reason) => println!("A day and a sweep over HTTP: not measured. {reason}"),
    }
}
