//! Chances integrated over the law of the firing time, against the same flight fired many times, and against themselves.

use std::collections::BTreeMap;

use slowpoint_sim::case::{Case, Inputs, LimitApplies};
use slowpoint_sim::draw::{Law, Numbers, PointSet, Shift, Slot, draw};
use slowpoint_sim::flight::{Ascent, Asked, Deployment, Electronics, Events, Flown, WHOLE, fly_whole_law};
use slowpoint_sim::tally::{against, shares};
use slowpoint_sim::wind::DriftTable;
use slowpoint_tests::rockets;
use slowpoint_tests::sheet::{Sheet, Trust};

slowpoint_tests::subject! { "The whole law of firing":
    law_1_fired_many_times,
}

fn case(inputs: Inputs) -> Case {
    Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"))
}

fn asked(case: &Case) -> Asked<'_> {
    let question = &case.inputs.question;
    Asked {
        ways: &question.ways,
        limits_m_s: &question.limits_m_s,
        at_line_stretch: question.limit_applies == LimitApplies::LineStretch,
        laws: &case.firing,
        curve_s: None,
    }
}

/// What is told of a way: share of each outcome on each side of apogee, over each limit, unsafe at each.
type Told = BTreeMap<String, f64>;

fn integrated(flown: &Flown, way: usize, case: &Case) -> Told {
    let mut told = Told::new();
    shares(flown, way, case, |window, share| {
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
            for motor in 0..events.delay_error_s.len() {
                events.delay_in_tolerances[motor] = case.spread.delay_in_tolerances.at(at[motor]);
                events.delay_error_s[motor] = case.spread.delay.at(at[motor]);
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
            let flown = fly_whole_law(&drawn, &events, &asked(&case), &mut ascent);
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
                3e-4,
                "even points stray by one in each scramble at an edge, 16 / 20,000, by less on the average",
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
