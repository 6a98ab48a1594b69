//! Cautions of whole answers, by the published rule each quotes. None of them approves anything.

use core::sync::atomic::AtomicBool;
use slowpoint_sim::assess;
use slowpoint_sim::case::{Case, Inputs, RuleSet, ThrustInput};
use slowpoint_tests::rockets;
use slowpoint_tests::sheet::{Sheet, Trust};

slowpoint_tests::subject! { "Cautions":
    saf_1_wind,
    saf_2_tilt,
    saf_3_thrust_to_weight,
    saf_4_rail_speed,
}

/// Whether an answer warns about a topic.
fn warns(inputs: &Inputs, topic: &str) -> &'static str {
    let mut inputs = inputs.clone();
    inputs.question.flights = 64;
    let case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
    let report = assess(&case, &AtomicBool::new(false)).expect("nobody stops it");
    if report.cautions.iter().any(|c| c.topic == topic) { "caution" } else { "none" }
}

fn saf_1_wind() -> Sheet {
    let mut sheet = Sheet::new(
        "SAF-1",
        "wind near the ground against 20 mph, 8.9408 m/s",
        Trust::A,
        "California Code of Regulations, title 19, s. 1036; model rocket code (from memory)",
    );
    for (wind, expected) in [(8.94, "none"), (8.95, "caution")] {
        let mut inputs = rockets::club();
        inputs.wind.layers.clear();
        if let Some(surface) = &mut inputs.wind.surface {
            (surface.speed_m_s, surface.gust_m_s) = (wind, Some(wind));
        }
        sheet.equal(format!("mean of {wind} m/s"), warns(&inputs, "wind"), expected);
        // A gust counts like a mean.
        if let Some(surface) = &mut inputs.wind.surface {
            (surface.speed_m_s, surface.gust_m_s) = (5.0, Some(wind));
        }
        sheet.equal(format!("mean of 5 m/s, gusts of {wind} m/s"), warns(&inputs, "wind"), expected);
    }
    sheet
}

fn saf_2_tilt() -> Sheet {
    let mut sheet = Sheet::new(
        "SAF-2",
        "tilt of the rail against 30 deg for model rockets and 20 deg for high power",
        Trust::A,
        "US Model Rocket Sporting Code 5.4; California Code of Regulations, title 19, s. 1036",
    );
    for (degrees, rules, name, expected) in [
        (21.0_f64, RuleSet::UsHighPower, "high power", "caution"),
        (20.0, RuleSet::UsHighPower, "high power", "none"),
        (21.0, RuleSet::UsModelRocket, "model rocket", "none"),
        (30.0, RuleSet::UsModelRocket, "model rocket", "none"),
        (30.1, RuleSet::UsModelRocket, "model rocket", "caution"),
    ] {
        let mut inputs = rockets::club();
        inputs.launch.tilt_rad = Some(degrees.to_radians());
        inputs.question.rule_set = Some(rules);
        sheet.equal(format!("{degrees} deg, {name} rules"), warns(&inputs, "tilt"), expected);
    }
    sheet
}

/// A card without spread leaves the rail at one speed; a longer rail carries it over the rule's.
fn saf_4_rail_speed() -> Sheet {
    let mut sheet = Sheet::new(
        "SAF-4",
        "speed on leaving the rail against 52 ft/s, 15.85 m/s",
        Trust::FromMemory,
        "NASA Student Launch handbook, vehicle requirement 2.14, read second-hand",
    );
    for (length_m, expected) in [(0.9, "caution"), (2.5, "none")] {
        let mut inputs = rockets::without_spread(rockets::club());
        inputs.launch.rail_length_m = length_m;
        let case = Case::new(inputs.clone()).unwrap_or_else(|f| panic!("{f:?}"));
        let report = assess(&case, &AtomicBool::new(false)).expect("nobody stops it");
        let speed = report.rail.map_or(f64::NAN, |r| r.exit_speed_m_s.p05);
        let side = if speed < 15.85 { "caution" } else { "none" };
        sheet.equal(format!("rail of {length_m} m: by its speed"), side, expected);
        sheet.equal(format!("rail of {length_m} m"), warns(&inputs, "rail_speed"), expected);
    }
    sheet
}

fn saf_3_thrust_to_weight() -> Sheet {
    let mut sheet = Sheet::new(
        "SAF-3",
        "80 N on the average under 1.5 kg",
        Trust::FromMemory,
        "80 / (1.5 x 9.80665) = 5.438; US high power code asks for 3, NASA Student Launch handbook for 5",
    );
    sheet.because("half a unit of the last printed digit");
    let with = |kg: f64, rules: RuleSet| {
        let mut inputs = rockets::club();
        inputs.airframe.mass_kg = kg;
        // A level of 80 N whose ramps are a thousandth of it.
        inputs.motor.thrust = ThrustInput::Curve(vec![(0.0, 0.0), (0.001, 80.0), (1.0, 80.0), (1.001, 0.0)]);
        inputs.question.rule_set = Some(rules);
        inputs
    };
    let case = Case::new(with(1.5, RuleSet::UsHighPower)).unwrap_or_else(|f| panic!("{f:?}"));
    let average = case.motor.curve.average_n();
    sheet.close("thrust to weight", case.nominal.thrust_to_weight * 80.0 / average, 5.438, 5e-4);
    for (kg, rules, name, expected) in [
        (1.5, RuleSet::UsHighPower, "3", "none"),
        (1.5, RuleSet::UsModelRocket, "5", "none"),
        (1.7, RuleSet::UsModelRocket, "5", "caution"),
        (2.8, RuleSet::UsHighPower, "3", "caution"),
    ] {
        sheet.equal(format!("{kg} kg against {name}"), warns(&with(kg, rules), "thrust_to_weight"), expected);
    }
    sheet
}
