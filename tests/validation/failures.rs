//! What fails: energies and casualty areas against published figures, and each failure against what it says it does.

use slowpoint_sim::case::{Area, Case, Device, Inputs, Outline};
use slowpoint_sim::draw::{Law, Numbers, PointSet, Shift, draw};
use slowpoint_sim::flight::{
    Ascent, Deployed, Deployment, Drawn, Events, FORWARD_SHARE, Failure, Landing, Outcome, STREAMING_SHARE,
    delay_tolerance_s, fly,
};
use slowpoint_sim::report::StruckReport;
use slowpoint_sim::tally::{Frame, casualty_area_m2};
use slowpoint_sim::wind::Gustiness;
use slowpoint_sim::{report, tally};
use slowpoint_tests::rockets;
use slowpoint_tests::sheet::{Sheet, Trust};
use std::sync::atomic::AtomicBool;

slowpoint_tests::subject! { "Failures and energies":
    rsk_1_casualty_areas,
    rsk_2_energies,
    rsk_3_people_struck,
    rsk_4_struck_intervals,
    fail_1_what_each_does,
    fail_2_times,
    fail_3_a_lost_fin,
    fail_4_shares,
}

fn landing(mass_kg: f64, seen_m2: f64, speed_m_s: f64, vertical_speed_m_s: f64) -> Landing {
    Landing {
        time_s: 0.0,
        east_m: 0.0,
        north_m: 0.0,
        speed_m_s,
        vertical_speed_m_s,
        mass_kg,
        seen_m2,
        main_opening_m_s: None,
        slowed: true,
    }
}

fn rsk_1_casualty_areas() -> Sheet {
    let mut sheet = Sheet::new(
        "RSK-1",
        "casualty area of an inert fragment",
        Trust::FromMemory,
        "RCC 321: pi (r_p + r_f)^2, with 2 (r_p + r_f) h cot(gamma) more at an angle; r_p 1 ft, h 6 ft",
    );
    sheet.because("last digit as computed apart");
    let disc = |radius_m: f64| core::f64::consts::PI * radius_m * radius_m;
    for (radius_m, area_m2) in [(0.0125, 0.3163), (0.025, 0.3417), (0.05, 0.3955)] {
        let got = casualty_area_m2(&landing(1.0, disc(radius_m), 20.0, 20.0));
        sheet.close(format!("radius {radius_m} m, straight down, m^2"), got, area_m2, 6e-5);
    }
    let steep = libm::sin(60.0_f64.to_radians());
    let got = casualty_area_m2(&landing(1.0, disc(0.025), 20.0, 20.0 * steep));
    sheet.close("radius 0.025 m, at 60 deg, m^2", got, 1.0381, 6e-5);
    sheet
}

fn rsk_2_energies() -> Sheet {
    let mut sheet = Sheet::new(
        "RSK-2",
        "speed at which a mass has the published threshold energies",
        Trust::A,
        "15 J (NASA-STD-8719.14, from memory) and 79 J: speeds as tabulated, m v^2/2",
    );
    sheet.because("last digit as tabulated");
    for (energy_j, rows) in [
        (15.0, &[(0.05, 24.49), (0.1, 17.32), (0.3, 10.00), (0.5, 7.746), (1.0, 5.477), (3.0, 3.162)][..]),
        (79.0, &[(0.1, 39.75), (0.5, 17.78), (1.0, 12.57), (3.0, 7.257), (10.0, 3.975)][..]),
    ] {
        for (mass_kg, speed_m_s) in rows {
            let got = landing(*mass_kg, 0.01, *speed_m_s, *speed_m_s).energy_j();
            sheet.close_relative(format!("{mass_kg} kg at {speed_m_s} m/s, J"), got, energy_j, 6e-4);
        }
    }
    sheet
}

/// The club rocket without spread in a calm: nothing but the failure is drawn.
fn plain(main: bool) -> Inputs {
    let mut inputs = rockets::without_spread(rockets::club());
    inputs.wind.layers.clear();
    if let Some(s) = &mut inputs.wind.surface {
        s.speed_m_s = 0.0;
    }
    inputs.wind.gustiness = Some(Gustiness::Off);
    inputs.launch.tilt_rad = Some(0.0);
    if main {
        inputs.recovery.main = Some((parachute(0.9), 120.0));
        inputs.recovery.first = parachute(0.3);
    }
    inputs.question.ways = vec![rockets::delay(7.0)];
    inputs
}

fn parachute(diameter_m: f64) -> Device {
    Device::Parachute { diameter_m, drag_coefficient: None, fill_constant: None }
}

fn case(inputs: Inputs) -> Case {
    Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"))
}

fn failing<'a>(case: &'a Case, failure: Failure, flight: u64) -> (Drawn<'a>, Events, Deployed, Ascent) {
    let numbers = Numbers::of(PointSet::Sobol, 4, flight);
    let (drawn, events) = draw(case, &numbers, &Shift::failing(failure));
    let mut ascent = Ascent::default();
    let flown = fly(&drawn, &events, &case.inputs.question.ways, &mut ascent);
    (drawn, events, flown.deployed[0], ascent)
}

/// Rate at which a mass falls steadily at the ground, m/s.
fn steady_m_s(drawn: &Drawn, mass_kg: f64, drag_area_m2: f64) -> f64 {
    let (density, _) = drawn.air.at(0.0);
    (2.0 * mass_kg * drawn.gravity.at(0.0) / (density * drag_area_m2)).sqrt()
}

fn fail_1_what_each_does() -> Sheet {
    let mut sheet = Sheet::new(
        "FAIL-1",
        "how fast what is left comes down, without wind and spread",
        Trust::B,
        "steady descent V = sqrt(2 m g/(rho C_D S)) of what each failure leaves to drag",
    );
    sheet.because("the air thickens on the way down, which keeps it a little faster than steady");
    let single = case(plain(false));
    let double = case(plain(true));
    let speed = |landing: Option<Landing>| landing.map_or(f64::NAN, |l| l.vertical_speed_m_s);
    for (failure, case) in [
        (Failure::NothingFills, &single),
        (Failure::PartsSeparate, &single),
        (Failure::MotorEjected, &single),
        (Failure::NothingFills, &double),
        (Failure::FirstFails, &double),
        (Failure::MainAtOnce, &double),
    ] {
        let (drawn, events, deployed, _) = failing(case, failure, 3);
        let stages = events.stages;
        let which = if stages.main.is_some() { "two canopies" } else { "one canopy" };
        let main_m2 = stages.main.map_or(0.0, |m| m.0.drag_area_m2);
        let (first_m2, bare_m2, mass_kg) = (stages.first.drag_area_m2, stages.bare_area_m2, stages.mass_kg);
        let (share, drag_m2) = match failure {
            Failure::NothingFills => (1.0, STREAMING_SHARE * (first_m2 + main_m2) + bare_m2),
            Failure::FirstFails => (1.0, STREAMING_SHARE * first_m2 + main_m2 + bare_m2),
            Failure::MainAtOnce => (1.0, first_m2 + main_m2 + bare_m2),
            Failure::PartsSeparate => (FORWARD_SHARE, first_m2 + FORWARD_SHARE * bare_m2),
            _ => {
                let lighter = mass_kg - events.casing.mass_kg;
                let part = speed(deployed.part);
                let steady = steady_m_s(&drawn, events.casing.mass_kg, 1.2 * events.casing.side_m2);
                sheet.close_relative(format!("{}: the casing, m/s", failure.name()), part, steady, 0.01);
                // 360 m are too few for the airframe to reach its steady speed.
                let most = steady_m_s(&drawn, lighter, bare_m2);
                sheet.at_most(format!("{}: the airframe, m/s", failure.name()), speed(deployed.landing), most);
                continue;
            }
        };
        let steady = steady_m_s(&drawn, share * mass_kg, drag_m2);
        sheet.close_relative(format!("{}, {which}: m/s", failure.name()), speed(deployed.landing), steady, 0.01);
        if failure == Failure::PartsSeparate {
            let left = 1.0 - FORWARD_SHARE;
            let steady = steady_m_s(&drawn, left * mass_kg, left * drawn.cross_flow.drag_area_m2);
            sheet.close_relative("parts_separate: the part that falls, m/s", speed(deployed.part), steady, 0.01);
        }
        if failure == Failure::FirstFails {
            let steady = steady_m_s(&drawn, mass_kg, STREAMING_SHARE * first_m2 + bare_m2);
            let opening = deployed.landing.and_then(|l| l.main_opening_m_s).unwrap_or(f64::NAN);
            sheet.at_least("first_fails: the main opens at, m/s", opening, 0.8 * steady);
        }
    }
    let (drawn, _, deployed, ascent) = failing(&single, Failure::NoEjection, 3);
    let end = ascent.path.at(ascent.path.end_s());
    sheet.because("the same flight");
    sheet.close("no_ejection: vertical speed, m/s", speed(deployed.landing), -end.velocity_m_s[2], 1e-12);
    let (_, _, burst, _) = failing(&single, Failure::MotorBursts, 3);
    let steady = steady_m_s(&drawn, drawn.mass.dry_mass_kg, drawn.cross_flow.drag_area_m2);
    sheet.at_most("motor_bursts: what is left, m/s", speed(burst.landing), 1.01 * steady);
    sheet
}

fn fail_2_times() -> Sheet {
    let mut sheet = Sheet::new(
        "FAIL-2",
        "when it ejects in 512 flights without spread",
        Trust::Statement,
        "wrong delay: 2 or 4 s more or less, alike; out of tolerance: 1 to 2 tolerances early or late, alike; early: from the rail to when it is due, evenly",
    );
    let inputs = plain(false);
    let case = case(inputs);
    let (_, _, usual, ascent) = failing(&case, Failure::PartsSeparate, 0);
    let due_s = usual.ejection.map_or(f64::NAN, |e| e.time_s);
    let times = |failure| -> Vec<f64> {
        (0..512).map(|k| failing(&case, failure, k).2.ejection.map_or(f64::NAN, |e| e.time_s - due_s)).collect()
    };
    sheet.because("rounding; 512 Sobol points fill each quarter evenly");
    let wrong = times(Failure::WrongDelay);
    for step in [-4.0, -2.0, 2.0, 4.0] {
        let share = wrong.iter().filter(|t| (*t - step).abs() < 1e-9).count() as f64 / 512.0;
        sheet.close(format!("wrong_delay: share {step} s off"), share, 0.25, 0.01);
    }
    let out: Vec<f64> = times(Failure::DelayOutOfTolerance).iter().map(|t| t / delay_tolerance_s(7.0)).collect();
    let within = out.iter().filter(|t| t.abs() < 1.0 - 1e-9 || t.abs() > 2.0 + 1e-9).count();
    sheet.equal("delay_out_of_tolerance: flights not 1 to 2 tolerances off", within, 0);
    let late = out.iter().filter(|t| **t > 0.0).count() as f64 / 512.0;
    sheet.close("delay_out_of_tolerance: share late", late, 0.5, 0.01);
    let early = times(Failure::EarlyEjection);
    let span_s = due_s - ascent.rail_exit.time_s;
    let first = early.iter().fold(0.0_f64, |a, t| a.min(*t));
    sheet.close_relative("early_ejection: earliest before due, s", -first, span_s, 0.01);
    sheet.close_relative("early_ejection: mean before due, s", -early.iter().sum::<f64>() / 512.0, 0.5 * span_s, 0.01);
    sheet
}

fn fail_3_a_lost_fin() -> Sheet {
    let mut sheet = Sheet::new(
        "FAIL-3",
        "a fin lost under thrust",
        Trust::B,
        "of n equal fins n/2 count in each plane (Barrowman 1967: the slope of a set is that of n/2 in the plane), of n - 1 in the plane of the lost one (n - 2)/2",
    );
    let mut inputs = rockets::without_spread(rockets::club());
    inputs.wind.gustiness = Some(Gustiness::Off);
    inputs.question.ways = vec![rockets::delay(3.0)];
    let case = case(inputs);
    sheet.because("rounding");
    sheet.close("share of three fins' slope left", case.fins_left, 1.0 / 3.0, 1e-12);
    let (drawn, _, _, with) = failing(&case, Failure::FinLost, 5);
    let Some(change) = drawn.change else { panic!("a fin is lost") };
    sheet.close("slope left of it", change.fins.zeroth_per_rad / drawn.fins.zeroth_per_rad, 1.0 / 3.0, 1e-12);
    let (_, _, _, without) = failing(&case, Failure::NoEjection, 5);
    let apart = |t: f64| {
        let (a, b) = (with.path.at(t), without.path.at(t));
        libm::hypot(a.velocity_m_s[0] - b.velocity_m_s[0], a.velocity_m_s[1] - b.velocity_m_s[1])
    };
    sheet.because("steps that end at the loss are others");
    sheet.close("difference in speed across at the loss, m/s", apart(change.at_s), 0.0, 1e-3);
    sheet.because("stable before, unstable after: it turns over");
    sheet.at_least("difference in speed across 1 s later, m/s", apart(change.at_s + 1.0), 5.0);
    sheet
}

static GO: AtomicBool = AtomicBool::new(false);

fn assess(inputs: Inputs) -> slowpoint_sim::report::Report {
    slowpoint_sim::assess(&case(inputs), &GO).unwrap_or_else(|| panic!("nobody stops it"))
}

fn fail_4_shares() -> Sheet {
    let mut sheet = Sheet::new(
        "FAIL-4",
        "shares of failures in the chances of 4096 flights",
        Trust::B,
        "law of total probability: the chance is the sum over shares of the chance given each",
    );
    let mut inputs = rockets::club();
    inputs.question.flights = 4096;
    inputs.question.ways = vec![rockets::delay(7.0)];
    let sound = assess(inputs.clone());
    let shares = [(Failure::NoEjection, 0.125), (Failure::WrongDelay, 0.25), (Failure::PartsSeparate, 0.0625)];
    inputs.failures = shares.to_vec();
    let mixed = assess(inputs);
    let chance = |r: &slowpoint_sim::report::Report| r.ways[0].limits[0].unsafe_opening.estimate;
    let given = |failure: Failure| {
        let found = mixed.failures.failures.iter().find(|f| f.failure == failure);
        found.map_or(f64::NAN, |f| f.unsafe_opening.estimate)
    };
    let whole: f64 = shares.iter().map(|(_, share)| share).sum();
    let expected = (1.0 - whole) * chance(&sound) + shares.iter().map(|(f, share)| share * given(*f)).sum::<f64>();
    sheet.because("256 flights given a wrong delay know a chance to 0.03, of which a quarter; four standard deviations with 4096 others");
    sheet.close("chance of an unsafe opening", chance(&mixed), expected, 0.045);
    sheet.because("Sobol points put a share of 1/16 exactly into every 16 of a scramble");
    for (outcome, share) in [(Outcome::NoEjection, 0.125), (Outcome::PartsSeparated, 0.0625)] {
        let found = mixed.ways[0].outcomes.iter().find(|o| o.outcome == outcome).map_or(0.0, |o| o.share);
        sheet.close(format!("{outcome:?}: share of flights"), found, share, 0.01);
    }
    sheet.equal("an answer without shares says that none is included", sound.failures.included.is_empty(), true);
    sheet.equal("one with shares says that some are", mixed.failures.included.len(), 3);
    sheet
}

fn rsk_3_people_struck() -> Sheet {
    let mut sheet = Sheet::new(
        "RSK-3",
        "people struck by a flight that must come down among them",
        Trust::B,
        "expected casualties = chance of impact in an area x casualty area x people per area (the form of 14 CFR 450 analyses, from memory)",
    );
    let mut inputs = rockets::without_spread(rockets::club());
    inputs.wind.gustiness = Some(Gustiness::Off);
    inputs.question.flights = 64;
    inputs.question.ways = vec![Deployment { motor_delay_s: Some(7.0), electronics: None }];
    inputs.spread.mass = Some(Law::Fixed(1.0));
    let everywhere = Outline::Circle { centre_m: [0.0, 0.0], radius_m: 5000.0 };
    let nowhere = Outline::Polygon(vec![[6000.0, 0.0], [6100.0, 0.0], [6100.0, 100.0], [6000.0, 100.0]]);
    let area = |name: &str, outline: Outline| Area { name: name.into(), role: None, outline, people: Some(1000.0) };
    inputs.site.areas = vec![area("everywhere", everywhere), area("nowhere", nowhere)];
    let report = assess(inputs.clone());
    let landing = report.ways[0].landing.clone().unwrap_or_else(|| panic!("it lands"));
    let a = &inputs.airframe;
    let reach = 0.3048 + (a.length_m * a.diameter_m / core::f64::consts::PI).sqrt();
    let down = landing.vertical_speed_m_s.p50;
    let across = (landing.speed_m_s.p50.powi(2) - down * down).max(0.0).sqrt();
    let casualty_m2 = core::f64::consts::PI * reach * reach + 2.0 * reach * 1.8288 * across / down;
    let expected = casualty_m2 * 1000.0 / (core::f64::consts::PI * 25e6);
    let struck = |k: usize| landing.areas[k].struck.unwrap_or_else(|| panic!("people are given"));
    sheet.because("speeds are known to a bin of 0.05 m/s");
    sheet.close_relative("everywhere: people struck a flight", struck(0).persons, expected, 0.03);
    sheet.because("none of 64 flights: three in 64 at most, with the casualty area of the others");
    sheet.equal("nowhere: people struck a flight", struck(1).persons, 0.0);
    let upper = landing.areas[1].inside.upper * casualty_m2 * 1000.0 / 1e4;
    sheet.close_relative("nowhere: upper end", struck(1).upper, upper, 0.03);
    // Under its canopy it has 9 J, coming in 1,000: fewer than 11 ft lbf strike nobody hard, more strike all alike.
    sheet.equal("everywhere: struck with more than 14.9 J", struck(0).persons_over_energy, 0.0);
    inputs.failures = vec![(Failure::NoEjection, 1.0)];
    let ballistic = assess(inputs).ways[0].landing.clone().unwrap_or_else(|| panic!("it lands"));
    let all = ballistic.areas[0].struck.unwrap_or_else(|| panic!("people are given"));
    sheet.more_than("ballistic: people struck a flight", all.persons, 0.0);
    sheet.equal("ballistic: struck with more than 14.9 J", all.persons_over_energy, all.persons);
    sheet
}

fn rsk_4_struck_intervals() -> Sheet {
    let mut sheet = Sheet::new(
        "RSK-4",
        "95 % intervals of people struck, 200 seeds of 64 flights against 16,384, three in ten of them without ejection",
        Trust::Statement,
        "at least 93 % hold the truth, in an area that holds every landing and in one that holds some",
    );
    let mut inputs = rockets::club();
    inputs.question.ways = vec![rockets::delay(7.0)];
    inputs.failures = vec![(Failure::NoEjection, 0.3)];
    let circle = |name: &str, centre_m, radius_m| Area {
        name: name.into(),
        role: None,
        outline: Outline::Circle { centre_m, radius_m },
        people: Some(1000.0),
    };
    inputs.site.areas = vec![circle("every", [0.0, 0.0], 5000.0), circle("some", [0.0, 0.0], 250.0)];
    let case = case(inputs);
    let struck = |seed: u64, flights: u64| {
        let mut case = case.clone();
        case.inputs.question.seed = seed;
        let frame = Frame { case: &case, cell_m: 4.0, curve_s: &[] };
        let flown = tally(&frame, 0..flights, &Shift::NONE, &GO).unwrap_or_else(|| panic!("nobody stops it"));
        let landing = report(&case, &flown, Vec::new()).ways.remove(0).landing.unwrap_or_else(|| panic!("it lands"));
        landing.areas.iter().map(|a| a.struck.unwrap_or_else(|| panic!("people are given"))).collect::<Vec<_>>()
    };
    let truth = struck(9_999, 16_384);
    let found: Vec<_> = (0..200).map(|seed| struck(seed, 64)).collect();
    sheet.because("200 seeds: three standard deviations, 5.4 %, beyond 93 %");
    for (k, name) in ["every landing inside", "some landings inside"].into_iter().enumerate() {
        let holds = |s: &&Vec<_>| {
            let s: &StruckReport = &s[k];
            s.lower <= truth[k].persons && truth[k].persons <= s.upper
        };
        let share = found.iter().filter(holds).count() as f64 / 200.0;
        sheet.at_least(format!("{name}: share of intervals that hold the truth"), share, 0.93 - 0.054);
    }
    sheet
}
