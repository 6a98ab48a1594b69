//! What the trade knows of model rockets, asked of whole answers. Every expectation here is "common practice" only:
//! no published number stands behind it, so bounds are wide and directions matter.

use core::sync::atomic::AtomicBool;
use slowpoint_sim::assess;
use slowpoint_sim::case::{Case, Inputs, ThrustInput};
use slowpoint_sim::flight::Outcome;
use slowpoint_sim::report::Report;
use slowpoint_sim::wind::Direction;
use slowpoint_tests::rockets::{self, delay, without_spread};
use slowpoint_tests::sheet::{Sheet, Trust};

slowpoint_tests::subject! { "Whole answers":
    sum_1_outcomes_and_chances,
    slow_1_slowest_near_apogee,
    slow_2_wind_shortens_the_best_delay,
    lean_1_long_delay_on_a_leaning_rail,
    late_1_a_minutes_delay,
    calm_1_comes_down_where_it_went_up,
    dir_1_directions_everyone_knows,
}

fn answer(mut inputs: Inputs, flights: u64) -> Report {
    inputs.question.flights = flights;
    let case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
    assess(&case, &AtomicBool::new(false)).expect("nobody stops it")
}

/// What does not add up in an answer: every flight has one outcome, every chance is over all flights, sides of apogee
/// add up, a higher limit is passed less often.
fn misfits(report: &Report) -> usize {
    let mut bad = 0;
    let mut must = |so: bool| bad += usize::from(!so);
    for way in &report.ways {
        let flights = report.flights as f64;
        let alike = |a: f64, b: f64| (a - b).abs() < 1e-12;
        must(alike(way.outcomes.iter().map(|o| o.share).sum(), 1.0));
        let opened = way.outcomes.iter().find(|o| o.outcome == Outcome::Opened).map_or(0.0, |o| o.share);
        let ejected: f64 = way.outcomes.iter().map(|o| o.before_apogee + o.after_apogee).sum();
        // Four points of the law stand for all of it.
        let of_points = way.ejection.as_ref().map_or(0, |e| e.airspeed_m_s.flights) as f64 / flights;
        must((of_points - ejected).abs() <= 0.01 + 1.0 / flights);
        let mut before: Option<(f64, f64)> = None;
        for limit in &way.limits {
            must(limit.over.flights == report.flights && limit.unsafe_opening.flights == report.flights);
            let over = limit.over_before_apogee + limit.over_after_apogee;
            let under = limit.under_before_apogee + limit.under_after_apogee;
            must(alike(over, limit.over.estimate));
            must(alike(under + limit.unsafe_opening.estimate, 1.0));
            must(under <= opened && limit.over.hits <= limit.unsafe_opening.hits);
            for chance in [limit.over, limit.unsafe_opening] {
                must(0.0 <= chance.lower && chance.lower <= chance.estimate);
                must(chance.estimate <= chance.upper && chance.upper <= 1.0);
            }
            must(before.is_none_or(|(over, bad)| limit.over.hits <= over && limit.unsafe_opening.hits <= bad));
            before = Some((limit.over.hits, limit.unsafe_opening.hits));
        }
        must(way.landing.as_ref().is_none_or(|l| l.flights <= report.flights));
    }
    bad
}

fn sum_1_outcomes_and_chances() -> Sheet {
    let mut sheet = Sheet::new(
        "SUM-1",
        "outcomes and chances of whole answers, 256 flights of four rockets",
        Trust::Statement,
        "every flight has one outcome, every chance is over all flights, sides of apogee add up, a higher limit is passed less often",
    );
    for (name, inputs) in rockets::all() {
        sheet.equal(format!("{name}: what does not add up"), misfits(&answer(inputs, 256)), 0);
    }
    sheet
}

fn slow_1_slowest_near_apogee() -> Sheet {
    let mut sheet = Sheet::new(
        "SLOW-1",
        "the moment to open is apogee: when a flight is slowest",
        Trust::CommonPractice,
        "the trade",
    );
    for (name, inputs) in rockets::all() {
        let report = answer(inputs, 512);
        let flight = report.flight.expect("they fly");
        let median = flight.slowest_after_apogee_s.p50;
        sheet.because("a lean over the top has its slowest instant a little off it");
        sheet.close(format!("{name}: slowest after apogee, median, s"), median, 0.0, 0.5);
        sheet.because("the delay that opens there is apogee's time less the burn");
        sheet.less_than(format!("{name}: delay that opens there, s"), flight.slowest_delay_s.p50, flight.apogee_s.p50);
    }
    sheet
}

fn slow_2_wind_shortens_the_best_delay() -> Sheet {
    let mut sheet = Sheet::new(
        "SLOW-2",
        "in wind a rocket turns into it, tops out lower and sooner, so the best delay is shorter",
        Trust::CommonPractice,
        "the trade",
    );
    sheet.because("less than in the weaker wind before");
    for (name, inputs) in [("club", rockets::club()), ("high power", rockets::high_power())] {
        let mut before: Option<(f64, f64)> = None;
        for scale in [0.0, 1.0, 2.0, 3.0] {
            let mut inputs = inputs.clone();
            // A vertical rail, so that only the wind tilts the flight.
            inputs.launch.tilt_rad = Some(0.0);
            if let Some(surface) = &mut inputs.wind.surface {
                surface.speed_m_s *= scale;
                // Gusts as strong in every wind, so that only the mean differs.
                surface.gust_m_s = Some(surface.speed_m_s + 1.0);
            }
            for layer in &mut inputs.wind.layers {
                layer.speed_m_s *= scale;
            }
            let flight = answer(inputs, 512).flight.expect("they fly");
            let now = (flight.slowest_delay_s.p50, flight.apogee_m.p50);
            if let Some(before) = before {
                sheet.less_than(format!("{name}, wind x {scale}: best delay, s"), now.0, before.0);
                sheet.less_than(format!("{name}, wind x {scale}: apogee, m"), now.1, before.1);
            }
            before = Some(now);
        }
    }
    sheet
}

fn lean_1_long_delay_on_a_leaning_rail() -> Sheet {
    let mut sheet = Sheet::new(
        "LEAN-1",
        "leaning 20 deg and with far too long a delay a club rocket on six tenths of its thrust opens fast and low",
        Trust::CommonPractice,
        "the trade: near 45 m/s (100 mph) in the lower half of its height, and some meet the ground first; even at apogee a leaning flight does not stop",
    );
    sheet.because("wide, as no published number stands behind it");
    let mut inputs = rockets::club();
    if let ThrustInput::Curve(points) = &mut inputs.motor.thrust {
        points.iter_mut().for_each(|p| p.1 *= 0.6);
    }
    inputs.launch.tilt_rad = Some(20.0_f64.to_radians());
    inputs.question.ways = [5.0, 7.0, 8.5, 10.0].map(delay).to_vec();
    let report = answer(inputs, 512);
    sheet.equal("what does not add up", misfits(&report), 0);
    let apogee = report.flight.as_ref().expect("they fly").apogee_m.p50;
    let at = |k: usize| {
        let e = report.ways[k].ejection.as_ref().expect("some eject in the air");
        (e.airspeed_m_s.p50, e.height_above_pad_m.p50)
    };
    for k in 1..4 {
        let later = at(k).0 > at(k - 1).0 && at(k).1 < at(k - 1).1;
        sheet.holds(format!("delay {}: faster and lower than the one before", k + 1), later);
    }
    let (speed, height) = at(3);
    sheet.close("longest delay: median airspeed, m/s", speed, 45.0, 7.0);
    sheet.less_than("longest delay: median height over apogee", height / apogee, 0.5);
    sheet.more_than("shortest delay: median airspeed, m/s", at(0).0, 10.0);
    let count = |outcome| report.ways[3].outcomes.iter().find(|o| o.outcome == outcome).map_or(0.0, |o| o.share);
    let both = count(Outcome::GroundFirst) > 0.0 && count(Outcome::OpenedTooLow) > 0.0;
    sheet.holds("longest delay: some meet the ground first, some open too low", both);
    // The shortest is the safest of these at 44.704 m/s (100 mph), and far from the last.
    let unsafe_share = |k: usize| report.ways[k].limits[1].unsafe_opening.estimate;
    sheet.less_than("shortest delay: share of unsafe openings at 44.704 m/s", unsafe_share(0), 0.02);
    sheet.more_than("longest delay: share of unsafe openings at 44.704 m/s", unsafe_share(3), 0.5);
    sheet
}

fn late_1_a_minutes_delay() -> Sheet {
    let mut sheet = Sheet::new(
        "LATE-1",
        "a minute's delay means the ground first, whatever the rocket",
        Trust::CommonPractice,
        "the trade",
    );
    sheet.because("0.025^(1/256) = 0.9857 is the lower end for 256 of 256");
    for (name, mut inputs) in [("paper", rockets::paper()), ("club", rockets::club())] {
        inputs.question.ways = vec![delay(60.0)];
        let report = answer(inputs, 256);
        sheet.equal(format!("{name}: what does not add up"), misfits(&report), 0);
        let way = &report.ways[0];
        sheet.holds(format!("{name}: no ejection"), way.ejection.is_none());
        let outcomes: Vec<String> = way.outcomes.iter().map(|o| format!("{} {:?}", o.share, o.outcome)).collect();
        sheet.equal(format!("{name}: outcomes"), outcomes.join(", "), "1 GroundFirst".to_string());
        for limit in &way.limits {
            let name = format!("{name}, limit {} m/s", limit.limit_m_s);
            sheet.more_than(format!("{name}: unsafe, lower end"), limit.unsafe_opening.lower, 0.98);
            sheet.close(format!("{name}: unsafe, upper end"), limit.unsafe_opening.upper, 1.0, 0.0);
            // It never opened, so not too fast either.
            sheet.equal(format!("{name}: opened too fast"), limit.over.hits, 0.0);
        }
        let silent = report.advice.meets.is_empty() && report.advice.best.is_none();
        sheet.holds(format!("{name}: nothing is advised"), silent);
    }
    sheet
}

fn calm_1_comes_down_where_it_went_up() -> Sheet {
    let mut sheet = Sheet::new(
        "CALM-1",
        "a vertical rail on a dead calm day without any spread: it comes down where it went up, and all flights are one",
        Trust::CommonPractice,
        "the trade",
    );
    for direction in [Direction::From(0.0), Direction::Variable] {
        for (name, inputs) in rockets::all() {
            let mut inputs = without_spread(inputs);
            inputs.launch.tilt_rad = Some(0.0);
            inputs.site.latitude_rad = Some(0.0);
            inputs.wind.layers.iter_mut().for_each(|l| l.speed_m_s = 0.0);
            if let Some(surface) = &mut inputs.wind.surface {
                (surface.speed_m_s, surface.direction) = (0.0, direction);
            }
            let report = answer(inputs, 64);
            let name = format!("{name}, {}", if direction == Direction::Variable { "variable" } else { "from north" });
            sheet.equal(format!("{name}: what does not add up"), misfits(&report), 0);
            let words = format!("{report:?}");
            sheet.holds(format!("{name}: every figure is a number"), !words.contains("NaN") && !words.contains("inf"));
            let flight = report.flight.as_ref().expect("it flies");
            let spread = flight.apogee_m.greatest.value - flight.apogee_m.least.value;
            sheet.because("rounding");
            sheet.less_than(format!("{name}: highest less lowest apogee, m"), spread, 1e-6);
            sheet.because("it nearly stops at apogee");
            let slowest = flight.slowest_airspeed_m_s.greatest.value;
            sheet.less_than(format!("{name}: slowest airspeed, m/s"), slowest, 1.0);
            sheet.because("Coriolis moves a fall of a kilometre by under two metres");
            let landing = report.ways[0].landing.as_ref().expect("it comes down");
            sheet.less_than(format!("{name}: farthest landing, m"), landing.distance_m.greatest.value, 10.0);
        }
    }
    sheet
}

fn dir_1_directions_everyone_knows() -> Sheet {
    let mut sheet = Sheet::new(
        "DIR-1",
        "a larger parachute drifts farther, a longer rail leaves faster, more drag tops out lower",
        Trust::CommonPractice,
        "the trade",
    );
    sheet.because("wide, as no published number stands behind it");
    use slowpoint_sim::case::Device;
    let base = answer(rockets::club(), 256);
    let mut large = rockets::club();
    large.recovery.first = Device::Parachute { diameter_m: 1.2, drag_coefficient: None, fill_constant: None };
    let mut long = rockets::club();
    long.launch.rail_length_m = 2.4;
    let mut draggy = rockets::club();
    draggy.airframe.drag = Some(slowpoint_sim::aero::Drag::Coefficient(0.9));
    let drift = |r: &Report| r.ways[1].landing.as_ref().expect("it lands").distance_m.p50;
    let exit = |r: &Report| r.rail.as_ref().expect("it leaves").exit_speed_m_s.p50;
    let apogee = |r: &Report| r.flight.as_ref().expect("it flies").apogee_m.p50;
    sheet.more_than("1.2 m canopy: drift over that of 0.75 m", drift(&answer(large, 256)) / drift(&base), 1.2);
    sheet.more_than("2.4 m rail: exit speed over that of 1.2 m", exit(&answer(long, 256)) / exit(&base), 1.2);
    sheet.less_than(
        "drag coefficient 0.9: apogee over that of 0.55",
        apogee(&answer(draggy, 256)) / apogee(&base),
        0.95,
    );
    sheet
}
