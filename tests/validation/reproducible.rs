//! The same input gives the same bytes: whatever the threads, the split, the number of flights or the lanes.

use core::sync::atomic::AtomicBool;
use slowpoint_sim::case::{Case, Inputs};
use slowpoint_sim::draw::{Law, Numbers, PointSet, Shift, draw};
use slowpoint_sim::flight::{Ascent, Batch, Drawn, Flown, Hold, Parts, State, derivative, fly, step};
use slowpoint_sim::lanes::{Lane, Pack, norm};
use slowpoint_sim::report::Report;
use slowpoint_sim::tally::{Frame, Tally};
use slowpoint_sim::thrust::Side;
use slowpoint_sim::{assess, replay, tally};
use slowpoint_tests::sheet::{Sheet, Trust};
use slowpoint_tests::{larger, rockets};

slowpoint_tests::subject! { "Reproducible to the byte":
    rep_1_threads,
    rep_2_halves_make_a_whole,
    rep_3_a_flight_stands_alone,
    rep_4_seeds_matter,
    rep_5_lanes,
    rep_6_inputs,
    rep_7_ways,
}

static GO: AtomicBool = AtomicBool::new(false);

fn case(inputs: Inputs) -> Case {
    Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"))
}

fn club(flights: u64, seed: u64, points: PointSet) -> Case {
    let mut inputs = rockets::club();
    (inputs.question.flights, inputs.question.seed, inputs.question.points) = (flights, seed, points);
    case(inputs)
}

const KINDS: [PointSet; 2] = [PointSet::Sobol, PointSet::Pseudorandom];

/// Rows that say whether two and five threads give the answer of one, which is given back.
pub fn alike_on_threads(sheet: &mut Sheet, points: PointSet, case: &Case) -> Report {
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool of threads");
        pool.install(|| assess(case, &GO)).expect("nobody stops it")
    };
    let one = on(1);
    for threads in [2, 5] {
        let other = on(threads);
        let same = one == other && format!("{one:?}") == format!("{other:?}");
        sheet.holds(format!("{points:?}: {threads} threads give the answer of one"), same);
    }
    one
}

fn rep_1_threads() -> Sheet {
    let mut sheet = Sheet::new(
        "REP-1",
        "the whole answer on one thread, two and five; 700 flights are no multiple of any batch",
        Trust::Statement,
        "the same input gives the same bytes",
    );
    for points in KINDS {
        alike_on_threads(&mut sheet, points, &club(700, 9, points));
    }
    sheet
}

fn rep_2_halves_make_a_whole() -> Sheet {
    let mut sheet = Sheet::new(
        "REP-2",
        "flights 0 to k and k to N merged, in either order, also where k cuts a batch or a replicate",
        Trust::Statement,
        "the same input gives the same bytes",
    );
    for points in KINDS {
        let case = club(640, 4, points);
        let frame = Frame { case: &case, cell_m: 2.0, curve_s: &[2.5, 3.0, 3.5, 9.0] };
        let of = |range| tally(&frame, range, &Shift::NONE, &GO).expect("nobody stops it");
        let whole = of(0..640);
        for k in [0, 1, 77, 320, 639] {
            let (low, high) = (of(0..k), of(k..640));
            let (mut up, mut down) = (low.clone(), high.clone());
            up.merge(&high);
            down.merge(&low);
            sheet.holds(format!("{points:?}, cut at {k}: both orders give the whole"), up == whole && down == whole);
        }
        sheet.equal(format!("{points:?}: flights"), whole.flights(), 640);
        sheet.holds(format!("{points:?}: one flight fewer is another tally"), of(0..639) != whole);
    }
    sheet
}

fn rep_3_a_flight_stands_alone() -> Sheet {
    let mut sheet = Sheet::new(
        "REP-3",
        "a flight alone, among N and among 2N",
        Trust::Statement,
        "its number and the seed are all that it depends on",
    );
    for points in KINDS {
        let (short, long) = (club(256, 8, points), club(512, 8, points));
        let frame = Frame { case: &short, cell_m: 2.0, curve_s: &[] };
        let longer = Frame { case: &long, cell_m: 2.0, curve_s: &[] };
        let of = |frame: &Frame, range| tally(frame, range, &Shift::NONE, &GO).expect("nobody stops it");
        for flight in [0_u64, 1, 17, 255] {
            let (a, b) = (replay(&short, flight), replay(&long, flight));
            let flown = format!("{:?}", a.flown) == format!("{:?}", b.flown);
            let same = flown && a.path == b.path && a.drawn == b.drawn;
            sheet.holds(format!("{points:?}, flight {flight}: the same in a longer run"), same);
            // The run's own flight, taken out of it, is the replayed one.
            let mut alone = Tally::new(&frame);
            alone.add(&a.flown, &short, flight);
            let same = of(&frame, flight..flight + 1) == alone;
            sheet.holds(format!("{points:?}, flight {flight}: the run's own is the replayed one"), same);
        }
        let same = of(&frame, 0..256) == of(&longer, 0..256);
        sheet.holds(format!("{points:?}: a longer run starts with the shorter one"), same);
    }
    sheet
}

fn rep_4_seeds_matter() -> Sheet {
    let mut sheet =
        Sheet::new("REP-4", "four seeds", Trust::Statement, "another seed flies other flights, the same seed the same");
    for points in KINDS {
        let seeds = [0, 1, 2, u64::MAX];
        let all: Vec<_> = seeds.map(|seed| replay(&club(256, seed, points), 40)).into_iter().collect();
        let mut alike = 0;
        for (i, a) in all.iter().enumerate() {
            alike += all[i + 1..].iter().filter(|b| a.drawn == b.drawn).count();
        }
        sheet.equal(format!("{points:?}: pairs of seeds that draw alike"), alike, 0);
        let again = replay(&club(256, 1, points), 40);
        let same = again.drawn == all[1].drawn && again.path == all[1].path;
        sheet.holds(format!("{points:?}: the same seed again flies the same"), same);
    }
    let drawn = |points| replay(&club(256, 1, points), 40).drawn;
    sheet.holds("the two kinds of points differ", drawn(KINDS[0]) != drawn(KINDS[1]));
    sheet
}

fn bits(s: &State<f64>) -> [u64; 12] {
    let mut all = [0; 12];
    for (to, x) in all.iter_mut().zip([s.position, s.velocity, s.nose, s.spin].iter().flatten()) {
        *to = x.to_bits();
    }
    all
}

fn packed<const N: usize>(each: &[State<f64>; N]) -> State<Pack<N>> {
    let pack = |pick: fn(&State<f64>) -> [f64; 3]| {
        core::array::from_fn(|i| Pack(core::array::from_fn(|lane| pick(&each[lane])[i])))
    };
    State {
        position: pack(|s| s.position),
        velocity: pack(|s| s.velocity),
        nose: pack(|s| s.nose),
        spin: pack(|s| s.spin),
    }
}

fn lane<const N: usize>(s: &State<Pack<N>>, k: usize) -> State<f64> {
    let one = |v: [Pack<N>; 3]| v.map(|x| x.lane(k));
    State { position: one(s.position), velocity: one(s.velocity), nose: one(s.nose), spin: one(s.spin) }
}

/// A flight's state at a time: somewhere plausible, different for each, nose first or not.
fn somewhere(k: usize, t: f64) -> State<f64> {
    let x = k as f64 + 10.0 * t;
    let nose = [0.1 * libm::sin(x), 0.2 * libm::cos(1.7 * x), 1.0 - 1.2 * f64::from(u8::from(k % 3 == 2))];
    let nose = nose.map(|c| c / norm(nose));
    let any = [libm::cos(x), 0.3, -libm::sin(x)];
    let along: f64 = any.iter().zip(nose).map(|(a, n)| a * n).sum();
    State {
        position: [3.0 * x, -x, 5.0 + 90.0 * k as f64 + x],
        velocity: [2.0 * libm::sin(x), 4.0 * libm::cos(x), 60.0 - 25.0 * k as f64],
        nose,
        spin: core::array::from_fn(|i| any[i] - along * nose[i]),
    }
}

/// Derivatives and steps of lanes side by side whose bits are not those of one lane, however the rocket is held.
fn lanes_apart<const N: usize>(drawn: &[Drawn; N]) -> usize {
    let mut apart = 0;
    let batch = Batch(core::array::from_fn(|k| &drawn[k]));
    let rail = [0.05, 0.02, 0.998_549_448_449_407_4];
    for hold in [Hold::Free, Hold::Guided { rail, friction: 0.1 }, Hold::TipOff { rail, friction: 0.1, guide_m: 0.9 }] {
        for t in [0.0, 0.3, 1.46, 4.0] {
            // Each lane has its own time.
            let times: [f64; N] = core::array::from_fn(|k| t + 0.01 * k as f64);
            let dt = 0.011;
            let after = |by: f64| Pack(times.map(|t| t + by));
            let mut one: [State<f64>; N] = core::array::from_fn(|k| somewhere(k, t));
            let mut wide = packed(&one);
            for _ in 0..4 {
                let rate = derivative(&batch, &batch.instant(after(0.0), Side::After), &wide, &hold);
                let middle = batch.instant(after(0.5 * dt), Side::Before);
                let end = batch.instant(after(dt), Side::Before);
                let next = step(&batch, &wide, &rate, Pack::splat(dt), &middle, &end, &hold);
                for (k, s) in one.iter_mut().enumerate() {
                    let p = &drawn[k];
                    let alone = derivative(p, &p.instant(times[k], Side::After), s, &hold);
                    apart += usize::from(bits(&lane(&rate, k)) != bits(&alone));
                    let (m, e) = (p.instant(times[k] + 0.5 * dt, Side::Before), p.instant(times[k] + dt, Side::Before));
                    let stepped = step(p, s, &alone, dt, &m, &e, &hold);
                    apart += usize::from(bits(&lane(&next.state, k)) != bits(&stepped.state));
                    apart += usize::from(bits(&lane(&next.last, k)) != bits(&stepped.last));
                    apart += usize::from(!stepped.state.velocity.iter().all(|x| x.is_finite()));
                    *s = stepped.state;
                }
                wide = next.state;
            }
        }
    }
    apart
}

fn rep_5_lanes() -> Sheet {
    let mut sheet = Sheet::new(
        "REP-5",
        "lanes side by side, in the derivative and over steps, on the rail, tipping off and free",
        Trust::Statement,
        "they give the bits of one lane",
    );
    let cases: Vec<Case> = rockets::all().map(|(_, inputs)| case(inputs)).into_iter().collect();
    let drawn =
        |flight: u64| draw(&cases[(flight % 4) as usize], &Numbers::of(PointSet::Sobol, 6, flight), &Shift::NONE).0;
    let (four, eight) = (core::array::from_fn(|k| drawn(k as u64)), core::array::from_fn(|k| drawn(100 + k as u64)));
    sheet.equal("results that differ, four lanes", lanes_apart::<4>(&four), 0);
    sheet.equal("results that differ, eight lanes", lanes_apart::<8>(&eight), 0);
    sheet
}

/// What one flight draws, piece by piece in words.
fn pieces(inputs: &Inputs, points: PointSet, flight: u64) -> Vec<(&'static str, String)> {
    let case = case(inputs.clone());
    let (d, e) = draw(&case, &Numbers::of(points, 5, flight), &Shift::NONE);
    vec![
        ("air", format!("{:?}", d.air)),
        ("wind", format!("{:?}", d.wind)),
        ("thrust", format!("{:?}", d.thrust)),
        ("mass", format!("{:?}", d.mass)),
        ("slopes", format!("{:?} {:?}", d.body, d.fins)),
        ("drag", format!("{:?}", d.drag_factor)),
        ("misalignment", format!("{:?}", d.misalignment)),
        ("start", format!("{:?}", d.start)),
        ("delay", format!("{:?} {:?}", e.delay_in_tolerances, e.delay_error_s)),
        ("lags", format!("{} {} {}", e.apogee_lag_s, e.height_error_m, e.line_stretch_lag_s)),
        ("canopy", format!("{:?}", e.stages.first)),
    ]
}

fn rep_6_inputs() -> Sheet {
    let mut sheet = Sheet::new(
        "REP-6",
        "fixing one input, or giving it another law, changes that input and nothing else",
        Trust::Statement,
        "what hangs under the canopy and where the rocket stands on the rail follow from its mass and balance and are excepted",
    );
    type Change = fn(&mut Inputs);
    let changes: [(&str, Change, &[&str]); 9] = [
        ("drag", |i| i.spread.drag = Some(Law::Fixed(1.0)), &["drag"]),
        ("drag, another law", |i| i.spread.drag = Some(Law::Uniform { low: 0.5, high: 0.6 }), &["drag"]),
        ("impulse", |i| i.spread.impulse = Some(Law::Fixed(1.0)), &["thrust"]),
        ("mass", |i| i.spread.mass = Some(Law::Fixed(1.0)), &["mass", "start"]),
        ("delay", |i| i.spread.delay = Some(Law::Fixed(0.0)), &["delay"]),
        ("rail", |i| i.spread.rail_angle = Some(Law::Fixed(0.0)), &["start"]),
        ("temperature", |i| i.spread.temperature = Some(Law::Fixed(0.0)), &["air"]),
        ("canopy", |i| i.spread.canopy_drag = Some(Law::Fixed(1.0)), &["canopy"]),
        ("line stretch", |i| i.spread.line_stretch_lag = Some(Law::Fixed(0.5)), &["lags"]),
    ];
    let (mut disturbed, mut without_effect) = (Vec::new(), Vec::new());
    for points in KINDS {
        for flight in [0, 33, 1000] {
            let plain = pieces(&rockets::club(), points, flight);
            for (name, change, may) in &changes {
                let mut inputs = rockets::club();
                change(&mut inputs);
                let mut changed = false;
                for ((piece, before), (_, after)) in plain.iter().zip(pieces(&inputs, points, flight)) {
                    let same = *before == after;
                    if !same && !may.contains(piece) {
                        disturbed.push(format!("{name} moved {piece}"));
                    }
                    changed |= !same;
                }
                if !changed {
                    without_effect.push(*name);
                }
            }
        }
    }
    let none = |found: String| if found.is_empty() { "none".to_string() } else { found };
    sheet.equal("inputs that disturb another", none(disturbed.join(", ")), "none".to_string());
    sheet.equal("changes without effect", none(without_effect.join(", ")), "none".to_string());
    sheet
}

fn rep_7_ways() -> Sheet {
    let mut sheet = Sheet::new(
        "REP-7",
        "ways of deploying asked alone and among others, 64 flights",
        Trust::Statement,
        "one asked alone is the one asked among others; only a ballistic impact may move, as the ascent is followed closely only while something may still eject",
    );
    sheet.because("the accuracy that the model states");
    let case = club(256, 1, PointSet::Sobol);
    let ways = &case.inputs.question.ways;
    let mut ascent = Ascent::default();
    let (mut other_outcomes, mut airspeed, mut landing) = (0, 0.0_f64, 0.0_f64);
    for flight in 0..64 {
        let (drawn, events) = draw(&case, &Numbers::of(PointSet::Sobol, 1, flight), &Shift::NONE);
        let Flown { deployed: together, .. } = fly(&drawn, &events, ways, &mut ascent);
        for (way, among) in ways.iter().zip(&together) {
            let alone = fly(&drawn, &events, &[*way], &mut ascent).deployed[0];
            other_outcomes += usize::from(alone.outcome != among.outcome);
            let (Some(a), Some(b)) = (alone.ejection, among.ejection) else { continue };
            airspeed = larger(airspeed, (a.airspeed_m_s - b.airspeed_m_s).abs());
            let (Some(a), Some(b)) = (alone.landing, among.landing) else { continue };
            landing = larger(landing, libm::hypot(a.east_m - b.east_m, a.north_m - b.north_m));
        }
    }
    sheet.equal("ways with another outcome", other_outcomes, 0);
    sheet.less_than("airspeed at ejection, largest difference, m/s", airspeed, 0.05);
    sheet.less_than("landing, largest difference, m", landing, 0.5);
    sheet
}
