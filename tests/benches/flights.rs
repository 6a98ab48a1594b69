//! Full flights per second on one core: draw, ascent, every delay, descent, tally, for four rockets.
//! `cargo bench -p slowpoint-tests` prints the time of 64 flights and the rate.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use slowpoint_sim::case::Case;
use slowpoint_sim::draw::{Numbers, PointSet, Shift, draw};
use slowpoint_sim::flight::{Ascent, fly};
use slowpoint_sim::tally::{Frame, Tally};
use slowpoint_tests::rockets;

const FLIGHTS: u64 = 64;

fn flights(c: &mut Criterion) {
    let mut group = c.benchmark_group("flights");
    group.throughput(Throughput::Elements(FLIGHTS)).sample_size(20);
    for (name, inputs) in rockets::all() {
        let Ok(case) = Case::new(inputs) else { continue };
        let frame = Frame { case: &case, cell_m: 2.0, curve_s: &[] };
        let mut ascent = Ascent::default();
        let mut tally = Tally::new(&frame);
        group.bench_function(name, |b| {
            b.iter(|| {
                for flight in 0..FLIGHTS {
                    let (drawn, events) = draw(&case, &Numbers::of(PointSet::Sobol, 1, flight), &Shift::NONE);
                    tally.add(&fly(&drawn, &events, &case.inputs.question.ways, &mut ascent), &case, flight);
                }
            });
        });
    }
    group.finish();
}

criterion_group!(benches, flights);
criterion_main!(benches);
