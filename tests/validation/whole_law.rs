//! Chances integrated over the law of the firing time, against the same flight fired many times, and against themselves.

use std::collections::BTreeMap;

use core::sync::atomic::AtomicBool;
use std::sync::mpsc::channel;
use std::thread::spawn;
use std::time::Duration;

use slowpoint_sim::case::{Case, Device, Inputs, LimitApplies};
use slowpoint_sim::draw::{Law, Numbers, PointSet, Shift, Slot, draw};
use slowpoint_sim::flight::{
    Ascent, Deployment, Electronics, Events, Failure, Flown, Outcome, WHOLE, descend, fly, fly_whole_law, surely_slows,
};
use slowpoint_sim::report::{CurvePoint, Report};
use slowpoint_sim::stat::interval::Estimator;
use slowpoint_sim::tally::{Frame, against, shares, way_report};
use slowpoint_sim::wind::DriftTable;
use slowpoint_sim::{FlightChances, asked, assess, each_flight, replay, tally};
use slowpoint_tests::rockets;
use slowpoint_tests::sheet::{Sheet, Trust};

slowpoint_tests::subject! { "The whole law of firing":
    law_1_fired_many_times,
    law_2_sure_to_slow,
    law_3_curve,
    law_4_fewer_flights,
    law_5_failures_stay_drawn,
    law_6_lost_flights_end,
}

fn case(inputs: Inputs) -> Case {
    Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"))
}

/// What is told of a way: share of each outcome on each side of apogee, over each limit, unsafe at each.
type Told = BTreeMap<String, f64>;

fn integrated(flown: &Flown, way: usize, case: &Case) -> Told {
    let mut told = Told::new();
    shares(flown.fate(way), way, case, |window, share| {
        let mut add = |what: String| *told.entry(what).or_default() += share as f64 / WHOLE as f64;
        add(format!("{:?}, side {}", window.outcome, window.side));
        for k in 0..case.inputs.question.limits_m_s.len() {
            if window.over(k) {
                add(format!("over limit {k}"));
            }
            if window.unsafe_opening(k) {
                add(format!("unsafe at limit {k}"));
            }
        }
    });
    told
}

/// Whether one number decides when a way fires.
fn of_one_law(way: &Deployment, case: &Case) -> bool {
    match (way.motor_delay_s, way.electronics) {
        (Some(_), None) => case.inputs.motor.count == 1,
        (motor, _) => motor.is_none(),
    }
}

/// Fires a flown flight again and again, everything else as it was drawn.
fn fired(case: &Case, drawn: &slowpoint_sim::flight::Drawn, events: &Events, ascent: &Ascent, times: u32) -> Vec<Told> {
    let question = &case.inputs.question;
    let drift = DriftTable::new(&drawn.wind, &drawn.air, |z| drawn.gravity.at(z), ascent.apogee_m);
    let mut told = vec![Told::new(); question.ways.len()];
    // Four coordinates of one scrambled Sobol point, whatever else they are for: a motor each, and the altimeter.
    const EVEN: [Slot; 4] = [Slot::Delay(0), Slot::WindAlong(0), Slot::WindAcross(0), Slot::GustAlong];
    for k in 0..times {
        let several = EVEN.map(|slot| Numbers::of(PointSet::Sobol, 99, u64::from(k)).uniform(slot));
        // One law alone asks for no more than equal steps.
        let alone = [(f64::from(k) + 0.5) / f64::from(times); EVEN.len()];
        for (told, way) in told.iter_mut().zip(&question.ways) {
            let mut events = events.clone();
            let at = if of_one_law(way, case) { alone } else { several };
            let errors = events.delay_in_tolerances.iter_mut().zip(&mut events.delay_error_s);
            for ((tolerances, seconds), u) in errors.zip(at) {
                [*tolerances, *seconds] = case.spread.delay.at(u);
            }
            // A height that is never reached fires by the lag that was drawn.
            if way.electronics == Some(Electronics::Apogee) {
                events.apogee_lag_s = case.spread.apogee_lag.at(at[3]).max(0.0);
            }
            events.height_error_m = case.spread.sensed_height.at(at[3]);
            let deployed = events.deploy(way, drawn, ascent, &drift);
            let mut add = |what: String| *told.entry(what).or_default() += 1.0 / f64::from(times);
            let side = deployed.ejection.map_or(0, |e| 1 + usize::from(e.after_apogee_s > 0.0));
            add(format!("{:?}, side {side}", deployed.outcome));
            for (k, limit_m_s) in question.limits_m_s.iter().enumerate() {
                let (over, unsafe_opening) = against(&deployed, *limit_m_s, question.limit_applies);
                if over {
                    add(format!("over limit {k}"));
                }
                if unsafe_opening {
                    add(format!("unsafe at limit {k}"));
                }
            }
        }
    }
    told
}

/// A flight card with the flights that are fired many times, and what it is tried for.
fn cards() -> Vec<(&'static str, Inputs)> {
    let altimeter = |electronics| Deployment { motor_delay_s: None, electronics: Some(electronics) };
    let backed = |delay, electronics| Deployment { motor_delay_s: Some(delay), electronics: Some(electronics) };
    let mut club = rockets::club();
    club.question.ways = vec![
        rockets::delay(3.0),
        rockets::delay(8.0),
        altimeter(Electronics::Apogee),
        altimeter(Electronics::Height(180.0)),
        altimeter(Electronics::Height(520.0)),
        backed(6.0, Electronics::Apogee),
        backed(9.0, Electronics::Height(150.0)),
    ];
    club.question.limits_m_s = vec![12.0, 15.6464, 20.0, 44.704];
    let mut stretched = club.clone();
    stretched.question.limit_applies = LimitApplies::LineStretch;
    let mut cluster = club.clone();
    cluster.motor.count = 3;
    cluster.motor.ring_radius_m = Some(0.015);
    cluster.airframe.mass_kg = 1.5;
    let mut low = rockets::paper();
    low.question.ways = [0.0, 1.0, 4.0, 6.0, 9.0].map(rockets::delay).to_vec();
    low.question.ways.push(altimeter(Electronics::Height(20.0)));
    let mut steps = club.clone();
    steps.spread.delay = Some(Law::Sample(vec![0.3, -1.0, 0.8, 2.0, -0.4, 6.0]));
    steps.spread.apogee_lag = Some(Law::Fixed(0.0));
    let mut gusty = club.clone();
    gusty.wind.surface = gusty.wind.surface.map(|s| slowpoint_sim::wind::SurfaceWind { speed_m_s: 9.0, ..s });
    gusty.question.limits_m_s = vec![8.0, 10.0, 11.0, 13.0];
    vec![
        ("one motor and altimeters", club),
        ("the same at line stretch", stretched),
        ("three motors", cluster),
        ("paper, low and late", low),
        ("a sample and no lag", steps),
        ("gusty, limits near the slowest", gusty),
    ]
}

fn law_1_fired_many_times() -> Sheet {
    let mut sheet = Sheet::new(
        "LAW-1",
        "shares of outcomes and chances against limits of single flights, integrated, against the same flights fired \
        20,000 times at even points of every law",
        Trust::B,
        "the law of large numbers",
    );
    const TIMES: u32 = 20_000;
    for (name, inputs) in cards() {
        let case = case(inputs);
        let question = &case.inputs.question;
        let (mut of_one, mut of_several) = (Vec::new(), Vec::new());
        for flight in [0, 1, 5] {
            let numbers = Numbers::of(question.points, question.seed, flight);
            let (drawn, events) = draw(&case, &numbers, &Shift::NONE);
            let mut ascent = Ascent::default();
            let flown = fly_whole_law(&drawn, &events, &asked(&case, &[]), &mut ascent);
            for (way, told) in fired(&case, &drawn, &events, &ascent, TIMES).into_iter().enumerate() {
                let found = integrated(&flown, way, &case);
                let rows = if of_one_law(&question.ways[way], &case) { &mut of_one } else { &mut of_several };
                let every: std::collections::BTreeSet<&String> = told.keys().chain(found.keys()).collect();
                for what in every {
                    let of = |told: &Told| told.get(what).copied().unwrap_or(0.0);
                    rows.push((format!("flight {flight}, way {way}, {what}"), of(&found), of(&told)));
                }
            }
        }
        for (laws, rows, tolerance, why) in [
            (
                "one law",
                of_one,
                2e-4,
                "equal steps stray by 1 / 40,000 an edge, of which a way has a few; the last slow opening is found to 0.05 ms",
            ),
            (
                "several laws",
                of_several,
                3e-3,
                "points in up to four dimensions: at most three standard deviations of 20,000 independent ones near 0.02",
            ),
        ] {
            if !rows.is_empty() {
                sheet.because(why);
                sheet.all_close(&format!("{name}, {laws}"), rows, tolerance);
            }
        }
    }
    sheet
}

/// What comes down in the sheet about slowing: each rocket as it is, and where the bound is pressed.
fn falls() -> Vec<(String, Inputs)> {
    let weak = |mut inputs: Inputs, share: f64| {
        inputs.spread.impulse = Some(Law::Uniform { low: share, high: 1.3 * share });
        inputs
    };
    let mut list: Vec<(String, Inputs)> = rockets::all().into_iter().map(|(name, i)| (name.to_string(), i)).collect();
    for (name, inputs) in rockets::all() {
        list.push((format!("{name}, weak"), weak(inputs, 0.4)));
    }
    let parachute = |diameter_m| Device::Parachute { diameter_m, drag_coefficient: None, fill_constant: None };
    let mut small = rockets::club();
    small.recovery.first = parachute(0.2);
    list.push(("0.6 kg, a small canopy".into(), small));
    let mut main = rockets::high_power();
    main.recovery.first = parachute(0.4);
    main.recovery.main = Some((parachute(2.0), 60.0));
    list.push(("4 kg, a main at 60 m".into(), main));
    let mut streamer = rockets::paper();
    streamer.recovery.first = Device::Streamer { length_m: 0.5, width_m: 0.05, drag_coefficient: None };
    list.push(("20 g, a streamer".into(), weak(streamer, 0.6)));
    list
}

fn law_2_sure_to_slow() -> Sheet {
    let mut sheet = Sheet::new(
        "LAW-2",
        "openings at every recorded step of 24 flights each, from burnout to the ground: those that are said to be sure to \
        slow to their descent rate against those that are flown",
        Trust::Statement,
        "what is sure slows; most of what slows is sure",
    );
    let (mut sure_of, mut slow_of) = (0, 0);
    for (name, inputs) in falls() {
        let case = case(inputs);
        let (mut wrong, mut openings) = (0, 0);
        for flight in 0..24 {
            let numbers = Numbers::of(PointSet::Sobol, 5, flight);
            let (drawn, events) = draw(&case, &numbers, &Shift::NONE);
            let mut ascent = Ascent::default();
            fly_whole_law(&drawn, &events, &asked(&case, &[]), &mut ascent);
            let drift = DriftTable::new(&drawn.wind, &drawn.air, |z| drawn.gravity.at(z), ascent.apogee_m);
            let burnout = drawn.thrust.burnout_s();
            for node in ascent.path.nodes.iter().filter(|n| n.time_s >= burnout) {
                let sure = surely_slows(&drawn, &events.stages, &node.moment());
                let slowed = descend(&drawn, &events.stages, &node.moment(), &drift).slowed;
                openings += 1;
                wrong += usize::from(sure && !slowed);
                (sure_of, slow_of) = (sure_of + usize::from(sure && slowed), slow_of + usize::from(slowed));
            }
        }
        sheet.equal(format!("{name}: sure to slow and did not"), wrong, 0);
        sheet.because("enough to be judged");
        sheet.more_than(format!("{name}: openings"), openings as f64, 500.0);
    }
    sheet.because("else descents are flown for nothing; a bound that is never sure would be safe as well");
    sheet.more_than("share of what slows that is sure to", sure_of as f64 / slow_of as f64, 0.9);
    sheet
}

fn law_3_curve() -> Sheet {
    let mut sheet = Sheet::new(
        "LAW-3",
        "curve of the chance against the delay, 256 flights of four rockets",
        Trust::Statement,
        "at a delay that is asked it is the answer for it; over what an altimeter deploys there is none",
    );
    for (name, mut inputs) in rockets::all() {
        inputs.question.flights = 256;
        inputs.question.ways.push(Deployment { motor_delay_s: Some(8.0), electronics: Some(Electronics::Apogee) });
        let report = answer(inputs.clone());
        let (mut same, mut of_delays) = (0, 0);
        for way in report.ways.iter().filter(|way| way.way.electronics.is_none()) {
            let point = report.delay_curve.iter().find(|p| Some(p.delay_s) == way.way.motor_delay_s);
            of_delays += 1;
            let alike = |p: &CurvePoint| {
                p.limits.iter().zip(&way.limits).all(|(c, l)| c.over == l.over && c.unsafe_opening == l.unsafe_opening)
            };
            same += usize::from(point.is_some_and(alike));
        }
        sheet.equal(format!("{name}: delays whose point on the curve is their own answer"), same, of_delays);
        let delays: Vec<f64> = report.delay_curve.iter().map(|p| p.delay_s).collect();
        let step = delays[1] - delays[0];
        let even = delays.windows(2).all(|w| (w[1] - w[0] - step).abs() < 1e-12);
        sheet.holds(
            format!("{name}: {} equal steps of {step} s, at most 64", delays.len() - 1),
            even && delays.len() <= 64,
        );
        inputs.question.ways.retain(|way| way.electronics.is_some());
        sheet.holds(format!("{name}: none with an altimeter alone"), answer(inputs).delay_curve.is_empty());
    }
    sheet
}

fn answer(inputs: Inputs) -> Report {
    assess(&case(inputs), &AtomicBool::new(false)).expect("nobody stops it")
}

/// Airspeeds of the club rocket's second delay that a share of flights exceeds.
fn speeds_exceeded(shares: &[f64]) -> Vec<f64> {
    let mut inputs = rockets::club();
    inputs.question.ways = vec![rockets::delay(5.0)];
    let card = case(inputs);
    let mut ascent = Ascent::default();
    let airspeed = |flight| {
        let (drawn, events) = draw(&card, &Numbers::of(PointSet::Sobol, 1000, flight), &Shift::NONE);
        fly(&drawn, &events, &card.inputs.question.ways, &mut ascent).deployed[0]
            .ejection
            .map_or(0.0, |e| e.airspeed_m_s)
    };
    let mut speeds: Vec<f64> = (0..16_384).map(airspeed).collect();
    speeds.sort_by(f64::total_cmp);
    shares.iter().map(|share| speeds[((1.0 - share) * speeds.len() as f64) as usize]).collect()
}

fn law_4_fewer_flights() -> Sheet {
    let mut sheet = Sheet::new(
        "LAW-4",
        "variance of a chance from 1024 flights of the 0.6 kg rocket over 48 seeds against that of as many independent \
        flights that are counted: delay 5 s, and 10 s, past the slowest instant, where the wind decides more than the delay",
        Trust::B,
        "p (1 - p) / n; what must be reached is a hundredth near one half and a thirtieth in the tail",
    );
    const SEEDS: u64 = 48;
    let shares = [0.5, 0.98];
    let mut inputs = rockets::club();
    (inputs.question.flights, inputs.question.ways) = (1024, [5.0, 10.0].map(rockets::delay).to_vec());
    inputs.question.limits_m_s = speeds_exceeded(&shares);
    inputs.question.limits_m_s.push(15.6464);
    for (points, least) in [(PointSet::Sobol, [100.0, 30.0]), (PointSet::Pseudorandom, [3.0, 3.0])] {
        inputs.question.points = points;
        let of = |seed: u64| -> Vec<f64> {
            let mut inputs = inputs.clone();
            inputs.question.seed = seed;
            let case = case(inputs);
            let frame = Frame { case: &case, cell_m: 2.0, curve_s: &[] };
            let all = tally(&frame, 0..1024, &Shift::NONE, &AtomicBool::new(false)).expect("nobody stops it");
            let over = |way: usize, limit: usize| way_report(&all, way, &case, &[]).limits[limit].over.estimate;
            vec![over(0, 0), over(0, 1), over(1, 2)]
        };
        let found: Vec<Vec<f64>> = (0..SEEDS).map(of).collect();
        let fewer = |k: usize| {
            let mean = found.iter().map(|f| f[k]).sum::<f64>() / SEEDS as f64;
            let squares: f64 = found.iter().map(|f| (f[k] - mean) * (f[k] - mean)).sum();
            (mean, mean * (1.0 - mean) / 1024.0 / (squares / (SEEDS - 1) as f64))
        };
        let (late, of_late) = fewer(2);
        sheet.because("a mean over the law given all else never varies more than a toss (Rao and Blackwell)");
        sheet.more_than(format!("{points:?}, 10 s, 15.6 m/s, chance {late:.2}: times fewer flights"), of_late, 1.0);
        for (k, share) in shares.into_iter().enumerate() {
            let (mean, fewer) = fewer(k);
            sheet.because("a variance from 48 seeds is known to 20 %");
            sheet.at_least(format!("{points:?}, chance near {share}: times fewer flights"), fewer, 0.6 * least[k]);
            sheet.because("the chance that was aimed at");
            sheet.close(format!("{points:?}: the mean chance"), mean, share, 0.01);
        }
    }
    sheet
}

fn law_5_failures_stay_drawn() -> Sheet {
    let mut sheet = Sheet::new(
        "LAW-5",
        "flights with a failure among others, 256 flights of the 0.6 kg rocket",
        Trust::Statement,
        "a flight that fails keeps what was drawn, and the answer says so; there is no curve then",
    );
    let mut inputs = rockets::club();
    inputs.question.flights = 256;
    inputs.failures = vec![(Failure::NoEjection, 0.25)];
    let card = case(inputs.clone());
    let each = each_flight(&card, card.inputs.question.flights, &AtomicBool::new(false)).expect("nobody stops it");
    let fails = |flight: u64| replay(&card, flight).failure.is_some();
    let chances = |f: &FlightChances| f.ways.concat().concat();
    let drawn = each.iter().filter(|f| fails(f.flight));
    let (failing, whole) = drawn
        .fold((0, 0), |(n, whole), f| (n + 1, whole + usize::from(chances(f).iter().all(|c| *c == 0.0 || *c == 1.0))));
    sheet.equal("flights that fail, of those a quarter exactly", failing, 64);
    sheet.equal("of them with chances of 0 or 1 alone", whole, failing);
    let report = answer(inputs);
    let words = report.ways[0].limits[0].over.estimator;
    sheet.holds("the estimator says that those were counted", words == Estimator::PartlyIntegrated);
    sheet.holds("no curve", report.delay_curve.is_empty());
    sheet
}

/// So long a search that ends may take, s; it takes less than a second.
const ENDS_WITHIN_S: u64 = 120;

fn law_6_lost_flights_end() -> Sheet {
    let mut sheet = Sheet::new(
        "LAW-6",
        "64 flights of which some are lost in the air, under a canopy that takes long to fill: where these end, no search \
        for a slow opening may look",
        Trust::Statement,
        "the assessment ends, and says how many were lost",
    );
    let card = case(rockets::lost());
    let (tell, told) = channel();
    spawn(move || tell.send(Box::new(assess(&card, &AtomicBool::new(false)))));
    let report = told.recv_timeout(Duration::from_secs(ENDS_WITHIN_S)).ok().and_then(|report| *report);
    sheet.holds("it ends", report.is_some());
    let Some(report) = report else { return sheet };
    let shares = &report.ways[0].outcomes;
    let lost: f64 = shares.iter().filter(|o| o.outcome == Outcome::Untrusted).map(|o| o.share).sum();
    sheet.because("a count that shows that some were lost; of 64");
    sheet.at_least("flights lost", lost * report.flights as f64, 8.0);
    sheet.because("rounding");
    sheet.close("shares of all outcomes", shares.iter().map(|o| o.share).sum(), 1.0, 1e-12);
    sheet
}
