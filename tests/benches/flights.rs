//! Whole flights on one core (draw, ascent, every delay, descent, tally), for four rockets and every variant of the
//! engine: `cargo bench -p slowpoint-tests --bench flights` prints the time of 64 flights and the rate.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use slowpoint_sim::tally::Tally;
use slowpoint_tests::rockets;
use slowpoint_tests::whole::{ENGINES, case, frame};

const FLIGHTS: u64 = 64;

fn flights(c: &mut Criterion) {
    for engine in ENGINES.iter().filter(|engine| (engine.runs_here)()) {
        let mut group = c.benchmark_group(format!("flights, {}", engine.name));
        group.throughput(Throughput::Elements(FLIGHTS)).sample_size(20);
        for (name, inputs) in rockets::all() {
            let case = case(inputs, FLIGHTS);
            let mut tally = Tally::new(&frame(&case));
            group.bench_function(name, |b| b.iter(|| (engine.fly)(&case, 0..FLIGHTS, &mut tally)));
        }
        group.finish();
    }
}

criterion_group!(benches, flights);
criterion_main!(benches);
