//! The same input gives the same bytes: whatever the threads, the split, the number of flights or the lanes.

use core::ops::Range;
use core::sync::atomic::AtomicBool;
use slowpoint_sim::case::{Case, Device, Inputs};
use slowpoint_sim::draw::{Law, Numbers, PointSet, Shift, draw};
use slowpoint_sim::flight::{
    Ascent, Deployed, Deployment, Drawn, Electronics, Events, Failure, Flown, Instructions, Outcome, Pilot,
    Watchfulness, fly, fly_ascent, fly_whole_law,
};
use slowpoint_sim::report::Report;
use slowpoint_sim::tally::{Frame, Tally};
use slowpoint_sim::wind::DriftTable;
use slowpoint_sim::{asked, assess, cell_m, replay, tally, until};
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
    rep_8_no_farther_than_asked,
    rep_9_until,
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

/// The four rockets; the club rocket again with everything that can fail, a cluster, and a main that opens on the way.
fn fleet() -> Vec<Case> {
    let mut failing = rockets::high_power();
    failing.failures = Failure::ALL.into_iter().filter(|f| *f != Failure::MotorUnlit).map(|f| (f, 0.06)).collect();
    let main = Device::Parachute { diameter_m: 2.0, drag_coefficient: None, fill_constant: None };
    failing.recovery.main = Some((main, 150.0));
    failing.question.ways = [Electronics::Apogee, Electronics::Height(200.0)]
        .map(|e| Deployment { motor_delay_s: Some(9.0), electronics: Some(e) })
        .to_vec();
    let mut cluster = rockets::club();
    (cluster.motor.count, cluster.motor.ring_radius_m, cluster.motor.one_unlit_share) = (3, Some(0.015), Some(0.3));
    cluster.question.ways = [0.0, 4.0, 12.0].map(rockets::delay).to_vec();
    rockets::all().map(|(_, inputs)| inputs).into_iter().chain([failing, cluster]).map(case).collect()
}

fn rep_5_lanes() -> Sheet {
    let mut sheet = Sheet::new(
        "REP-5",
        "whole flights side by side, in every set of vector instructions that the machine has, in batches of 1, 7 and 64, \
        against the same flights one by one: the four rockets, one on which everything may fail, a cluster, flights that are \
        lost in the air, a sensed height without an error",
        Trust::Statement,
        "they give the same bits",
    );
    const FLIGHTS: u64 = 192;
    // One that is lost takes as long as hundreds of others.
    const LOST_FLIGHTS: u64 = 24;
    let [mut lost, mut sensed] = [rockets::lost(), rockets::club()];
    lost.question.ways = [Electronics::Height(100.0), Electronics::Apogee]
        .map(|e| Deployment { motor_delay_s: None, electronics: Some(e) })
        .to_vec();
    sensed.spread.sensed_height = Some(Law::Fixed(0.0));
    sensed.question.ways = vec![
        Deployment { motor_delay_s: None, electronics: Some(Electronics::Height(120.0)) },
        Deployment { motor_delay_s: Some(9.0), electronics: Some(Electronics::Height(120.0)) },
        // Never reached: by the lag.
        Deployment { motor_delay_s: None, electronics: Some(Electronics::Height(5000.0)) },
    ];
    let more = [("lost in the air, ", LOST_FLIGHTS, case(lost)), ("a height as set, ", FLIGHTS, case(sensed))];
    for (kind, flights, case) in fleet().into_iter().map(|case| ("", FLIGHTS, case)).chain(more) {
        let drawn: Vec<(Drawn, Events)> =
            (0..flights).map(|k| draw(&case, &Numbers::of(PointSet::Sobol, 6, k), &Shift::NONE)).collect();
        let mut ascent = Ascent::default();
        let asked = asked(&case, &[2.0, 8.0]);
        let mut untrusted = 0;
        let alone: Vec<String> = drawn
            .iter()
            .map(|(d, e)| {
                let flown = fly_whole_law(d, e, &asked, &mut ascent);
                untrusted += usize::from(ascent.mishaps.untrusted);
                format!("{flown:?} {:?}", ascent.path)
            })
            .collect();
        if kind.starts_with("lost") {
            sheet.because("a count that shows that some were lost");
            sheet.at_least(format!("flights lost in the air, of {flights}"), untrusted as f64, 3.0);
        }
        for instructions in Instructions::available() {
            let Some(mut pilot) = Pilot::with(instructions) else { continue };
            let mut apart = 0;
            for size in [1, 7, 64] {
                for (k, batch) in drawn.chunks(size).enumerate() {
                    let flown = pilot.fly_whole_law(batch, &asked);
                    let together = flown.iter().zip(pilot.ascents()).map(|(f, a)| format!("{f:?} {:?}", a.path));
                    apart += together.zip(&alone[k * size..]).filter(|(a, b)| a != *b).count();
                }
            }
            let mass_kg = case.inputs.airframe.mass_kg;
            let name = format!(
                "{kind}{mass_kg} kg, {} motors, {instructions:?}: flights that differ",
                case.inputs.motor.count
            );
            sheet.equal(name, apart, 0);
        }
    }
    sheet
}

/// A flight followed to the ground, whether that is asked for or not.
fn to_the_ground(d: &Drawn, e: &Events, ways: &[Deployment]) -> Vec<Deployed> {
    let mut ascent = Ascent::default();
    fly_ascent(d, Watchfulness { to_ground: true, ..e.watchfulness(ways, d) }, 1.0, &mut ascent);
    let drift = DriftTable::new(&d.wind, &d.air, |z| d.gravity.at(z), ascent.apogee_m);
    ways.iter().map(|way| e.deploy(way, d, &ascent, &drift)).collect()
}

fn rep_8_no_farther_than_asked() -> Sheet {
    let mut sheet = Sheet::new(
        "REP-8",
        "flights followed as far as anything is asked of them, against the same followed to the ground",
        Trust::Statement,
        "they come to the same; most are cut short, and some are not",
    );
    let (mut apart, mut short, mut whole, mut ballistic) = (0, 0, 0, 0);
    for case in fleet() {
        let ways = &case.inputs.question.ways;
        let mut ascent = Ascent::default();
        for k in 0..192 {
            let (d, e) = draw(&case, &Numbers::of(PointSet::Sobol, 7, k), &Shift::NONE);
            let flown = fly(&d, &e, ways, &mut ascent).deployed;
            apart += usize::from(format!("{flown:?}") != format!("{:?}", to_the_ground(&d, &e, ways)));
            let reached = ascent.ground_s.is_finite();
            short += usize::from(!reached);
            whole += usize::from(reached);
            ballistic += flown.iter().filter(|f| matches!(f.outcome, Outcome::InBoost | Outcome::NoEjection)).count();
        }
    }
    sheet.equal("flights that differ", apart, 0);
    sheet.because("a count that shows that both kinds were flown; of 1152");
    sheet.at_least("cut short", short as f64, 500.0);
    sheet.at_least("followed to the ground", whole as f64, 100.0);
    sheet.at_least("of which an impact is asked", ballistic as f64, 100.0);
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

/// Flights that end once the intervals are narrow enough: where they do follows from the input alone.
fn rep_9_until() -> Sheet {
    let mut sheet = Sheet::new(
        "REP-9",
        "flights of the 0.6 kg rocket that end once the intervals are narrow enough: on one thread, two and five, and flown \
        in pieces of 1, 77 and 500 flights that are merged backwards",
        Trust::Statement,
        "the same input gives the same bytes; the flights end at the first of 256, 512, 1024 ... at which every interval is \
        narrow enough, or at the most that are allowed",
    );
    for (points, half_width, within, ends_at) in [
        (PointSet::Sobol, 0.02, 4000, Some(256)),
        (PointSet::Sobol, 0.006, 4000, None),
        (PointSet::Pseudorandom, 0.006, 4000, None),
        (PointSet::Sobol, 0.0001, 1003, Some(992)),
    ] {
        let mut inputs = rockets::club();
        (inputs.question.flights, inputs.question.points) = (within, points);
        (inputs.question.seed, inputs.question.until_half_width) = (9, Some(half_width));
        inputs.question.ways.truncate(2);
        let case = case(inputs);
        let question = &case.inputs.question;
        let report = alike_on_threads(&mut sheet, points, &case);
        let ended = report.flights;
        let name = |what: &str| format!("{points:?}, half-width {half_width} within {within}: {what}");
        match ends_at {
            Some(flights) => sheet.equal(name("flights flown"), ended, flights),
            None => sheet.holds(name("ends after the first look and before the last"), ended > 256 && ended < within),
        };
        let frame = Frame { case: &case, cell_m: cell_m(&case), curve_s: &[] };
        let of = |range| tally(&frame, range, &Shift::NONE, &GO).expect("nobody stops it");
        let widest = |flights| of(0..flights).widest_half_width(question);
        let looks: Vec<u64> = until::checkpoints(within).take_while(|n| *n < ended).collect();
        sheet.holds(name("no earlier look was narrow enough"), looks.iter().all(|n| widest(*n) > half_width));
        let told = report.until.expect("it was asked");
        sheet.equal(name("it says whether that is narrow enough"), told.reached, told.widest_half_width <= half_width);
        let caution = report.cautions.iter().any(|c| c.topic == "until");
        sheet.equal(name("else there is a caution"), caution, !told.reached);
        let own = report.ways.iter().flat_map(|w| &w.limits).flat_map(|l| [l.over, l.unsafe_opening]);
        let own = own.map(|c| 0.5 * (c.upper - c.lower)).fold(0.0, larger);
        sheet.equal(name("the widest half-width among the answer's own"), own, told.widest_half_width);
        let whole = of(0..ended);
        for piece in [1_u64, 77, 500] {
            let in_pieces = |range: Range<u64>| {
                let starts: Vec<u64> = range.clone().step_by(piece as usize).collect();
                let pieces = starts.iter().rev().map(|from| of(*from..(from + piece).min(range.end)));
                pieces.reduce(|mut a, b| {
                    a.merge(&b);
                    a
                })
            };
            let flown = until::fly(question, half_width, in_pieces, |_| ());
            sheet.holds(name(&format!("pieces of {piece} give the same")), flown.is_some_and(|flown| flown == whole));
        }
    }
    sheet
}
