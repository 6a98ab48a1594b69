//! What the trade knows of model rockets, asked of whole answers. Every expectation here is "common practice" only:
//! no published number stands behind it, so bounds are wide and directions matter.

use core::sync::atomic::AtomicBool;
use slowpoint_sim::assess;
use slowpoint_sim::case::{Case, Inputs, ThrustInput};
use slowpoint_sim::draw::Law;
use slowpoint_sim::flight::Outcome;
use slowpoint_sim::report::Report;
use slowpoint_sim::wind::Direction;
use slowpoint_tests::rockets::{self, delay};

fn answer(mut inputs: Inputs, flights: u64) -> Report {
    inputs.question.flights = flights;
    let case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
    assess(&case, &AtomicBool::new(false)).expect("nobody stops it")
}

/// Nothing is drawn but the gust, which a report without a gust group leaves open, and the variable direction.
fn without_spread(mut inputs: Inputs) -> Inputs {
    let one = || Some(Law::Fixed(1.0));
    let zero = || Some(Law::Fixed(0.0));
    let s = &mut inputs.spread;
    for factor in
        [&mut s.impulse, &mut s.burn_time, &mut s.mass, &mut s.drag, &mut s.normal_force_slope, &mut s.canopy_drag]
    {
        *factor = one();
    }
    for error in [
        &mut s.delay,
        &mut s.centre_of_gravity,
        &mut s.centre_of_pressure,
        &mut s.thrust_misalignment,
        &mut s.fin_misalignment,
        &mut s.roll_rate,
        &mut s.rail_angle,
        &mut s.line_stretch_lag,
        &mut s.apogee_lag,
        &mut s.sensed_height,
        &mut s.temperature,
        &mut s.pressure,
    ] {
        *error = zero();
    }
    (s.wind_component_sd_m_s, s.wind_direction_sd_rad) = (Some(0.0), Some(0.0));
    inputs
}

/// Every flight has one outcome, every chance is over all flights, sides of apogee add up.
fn adds_up(name: &str, report: &Report) {
    for (k, way) in report.ways.iter().enumerate() {
        let sum: u64 = way.outcomes.iter().map(|o| o.flights).sum();
        assert_eq!(sum, report.flights, "{name}, way {k}: outcomes");
        let opened = way.outcomes.iter().find(|o| o.outcome == Outcome::Opened).map_or(0, |o| o.flights);
        let ejected: u64 = way.outcomes.iter().map(|o| o.before_apogee + o.after_apogee).sum();
        assert_eq!(way.ejection.as_ref().map_or(0, |e| e.airspeed_m_s.flights), ejected, "{name}, way {k}");
        let mut before: Option<(u64, u64)> = None;
        for limit in &way.limits {
            assert_eq!(limit.over.flights, report.flights, "{name}, way {k}: over all flights");
            assert_eq!(limit.unsafe_opening.flights, report.flights, "{name}, way {k}: over all flights");
            let over = limit.over_before_apogee + limit.over_after_apogee;
            let under = limit.under_before_apogee + limit.under_after_apogee;
            assert_eq!(over, limit.over.hits, "{name}, way {k}: both sides of apogee");
            assert_eq!(under + limit.unsafe_opening.hits, report.flights, "{name}, way {k}: under or unsafe");
            assert!(under <= opened && limit.over.hits <= limit.unsafe_opening.hits, "{name}, way {k}");
            for chance in [limit.over, limit.unsafe_opening] {
                assert!(0.0 <= chance.lower && chance.lower <= chance.estimate, "{name}, way {k}: {chance:?}");
                assert!(chance.estimate <= chance.upper && chance.upper <= 1.0, "{name}, way {k}: {chance:?}");
            }
            // A higher limit is passed less often.
            if let Some((over, bad)) = before {
                assert!(limit.over.hits <= over && limit.unsafe_opening.hits <= bad, "{name}, way {k}");
            }
            before = Some((limit.over.hits, limit.unsafe_opening.hits));
        }
        if let Some(landing) = &way.landing {
            assert!(landing.flights <= report.flights);
        }
    }
}

#[test]
fn outcomes_and_chances_add_up() {
    for (name, inputs) in rockets::all() {
        adds_up(name, &answer(inputs, 256));
    }
}

/// Common practice: the moment to open is apogee. Half a second, as a lean over the top has its slowest instant
/// a little off it.
#[test]
fn slowest_near_apogee() {
    for (name, inputs) in rockets::all() {
        let report = answer(inputs, 512);
        let flight = report.flight.expect("they fly");
        let median = flight.slowest_after_apogee_s.p50;
        assert!(median.abs() <= 0.5, "{name}: {median} s after apogee");
        // The delay that opens there is apogee's time less the burn.
        assert!(flight.slowest_delay_s.p50 < flight.apogee_s.p50, "{name}");
    }
}

/// Common practice: in wind a rocket turns into it, tops out lower and sooner, so the best delay is shorter.
#[test]
fn more_wind_shortens_the_best_delay() {
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
                assert!(now.0 < before.0 && now.1 < before.1, "{name}, wind x {scale}: {now:?} after {before:?}");
            }
            before = Some(now);
        }
    }
}

/// Common practice: leaning 20 deg and with far too long a delay a club rocket on a small motor (six tenths of its
/// thrust, some 170 m up) opens fast and low: near 45 m/s (100 mph) in the lower half of its height, and some meet
/// the ground first.
#[test]
fn a_long_delay_on_a_leaning_rail_opens_fast_and_low() {
    let mut inputs = rockets::club();
    if let ThrustInput::Curve(points) = &mut inputs.motor.thrust {
        points.iter_mut().for_each(|p| p.1 *= 0.6);
    }
    inputs.launch.tilt_rad = Some(20.0_f64.to_radians());
    inputs.question.ways = [5.0, 7.0, 8.5, 10.0].map(delay).to_vec();
    let report = answer(inputs, 512);
    adds_up("leaning", &report);
    let apogee = report.flight.as_ref().expect("they fly").apogee_m.p50;
    let at = |k: usize| {
        let e = report.ways[k].ejection.as_ref().expect("some eject in the air");
        (e.airspeed_m_s.p50, e.height_above_pad_m.p50)
    };
    for k in 1..4 {
        assert!(at(k).0 > at(k - 1).0 && at(k).1 < at(k - 1).1, "each later one is faster and lower: {:?}", at(k));
    }
    let (speed, height) = at(3);
    assert!((38.0..52.0).contains(&speed) && height < 0.5 * apogee, "{speed} m/s at {height} m of {apogee} m");
    // Even at apogee it is going across: a leaning flight never stops.
    assert!(at(0).0 > 10.0, "{:?}", at(0));
    let count = |outcome| report.ways[3].outcomes.iter().find(|o| o.outcome == outcome).map_or(0, |o| o.flights);
    assert!(count(Outcome::GroundFirst) > 0 && count(Outcome::OpenedTooLow) > 0, "{:?}", report.ways[3].outcomes);
    // The shortest is the safest of these at 44.704 m/s (100 mph), and far from the last.
    let unsafe_share = |k: usize| report.ways[k].limits[1].unsafe_opening.estimate;
    assert!(unsafe_share(0) < 0.02 && unsafe_share(3) > 0.5, "{} {}", unsafe_share(0), unsafe_share(3));
}

/// Common practice: a minute's delay means the ground first, whatever the rocket.
#[test]
fn an_impossible_delay_comes_too_late() {
    for (name, mut inputs) in [("paper", rockets::paper()), ("club", rockets::club())] {
        inputs.question.ways = vec![delay(60.0)];
        let report = answer(inputs, 256);
        adds_up(name, &report);
        let way = &report.ways[0];
        assert!(way.ejection.is_none(), "{name}");
        assert_eq!(way.outcomes.len(), 1, "{name}: {:?}", way.outcomes);
        assert_eq!((way.outcomes[0].outcome, way.outcomes[0].flights), (Outcome::GroundFirst, 256), "{name}");
        for limit in &way.limits {
            // 0.025^(1/256) = 0.9857 is the lower end for 256 of 256.
            assert!(limit.unsafe_opening.lower > 0.98 && limit.unsafe_opening.upper == 1.0, "{name}");
            assert_eq!(limit.over.hits, 0, "{name}: it never opened, so not too fast either");
        }
        assert!(report.advice.meets.is_empty() && report.advice.best.is_none(), "{name}");
    }
}

/// A vertical rail on a dead calm day without any spread: nothing breaks down, nothing is not a number, and all
/// flights are one. Common practice: it comes down where it went up.
#[test]
fn a_calm_day_is_sound() {
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
            adds_up(name, &report);
            let words = format!("{report:?}");
            assert!(!words.contains("NaN") && !words.contains("inf"), "{name}: {words}");
            let flight = report.flight.as_ref().expect("it flies");
            let spread = flight.apogee_m.greatest.value - flight.apogee_m.least.value;
            assert!(spread < 1e-6, "{name}: apogees {spread} m apart");
            assert!(flight.slowest_airspeed_m_s.greatest.value < 1.0, "{name}: it nearly stops at apogee");
            let landing = report.ways[0].landing.as_ref().expect("it comes down");
            // Coriolis moves a fall of a kilometre by under two metres.
            assert!(landing.distance_m.greatest.value < 10.0, "{name}: {:?}", landing.distance_m);
        }
    }
}

/// Common practice: a larger parachute drifts farther, a longer rail leaves faster, more drag tops out lower.
#[test]
fn directions_everyone_knows() {
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
    assert!(drift(&answer(large, 256)) > 1.2 * drift(&base));
    assert!(exit(&answer(long, 256)) > 1.2 * exit(&base));
    assert!(apogee(&answer(draggy, 256)) < 0.95 * apogee(&base));
}
