//! The example requests are read, fit the published schema by another reader's judgement, and describe rockets that
//! could stand on a pad.

use std::sync::atomic::AtomicBool;

use serde_json::{Value, json};
use slowpoint_server::wire::{self, Assessment, AssessmentRequest, FlightAnswer, Rejected};
use utoipa::ToSchema;

fn examples() -> Vec<(String, Vec<u8>)> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/examples");
    let mut names: Vec<_> = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|e| e == "json"))
        .collect();
    names.sort();
    names.iter().map(|p| (p.display().to_string(), std::fs::read(p).unwrap_or_default())).collect()
}

#[test]
fn examples_are_read_and_plausible() {
    let all = examples();
    assert!(all[0].0.ends_with("first-flight.json"), "the first by name is the one to begin with");
    for (name, body) in &all {
        let asked = match wire::read(body) {
            Ok(asked) => asked,
            Err(Rejected::NotJson(e)) => panic!("{name}: {e}"),
            Err(Rejected::Faults(faults)) => panic!("{name}: {faults:#?}"),
        };
        let (case, n) = (&asked.case, &asked.case.nominal);
        println!(
            "{name}: {:.1} N s, thrust to weight {:.1}, margin {:.2} calibres, slope {:.2}, cd at rest {:.3}",
            n.impulse_n_s,
            n.thrust_to_weight,
            n.margin_calibres,
            case.aero.normal_force_slope_per_rad(),
            case.aero.drag_coasting.at(0.2),
        );
        assert!(n.thrust_to_weight > 5.0, "{name}: {}", n.thrust_to_weight);
        assert!((1.0..3.0).contains(&n.margin_calibres), "{name}: {}", n.margin_calibres);
        assert!(
            asked.input["note"].as_str().is_some_and(|t| t.contains("invented")),
            "{name} does not say that it is invented"
        );
    }
}

/// A schema as one document, for a reader that knows nothing of this service.
fn document<T: ToSchema>() -> Value {
    let mut named = Vec::new();
    T::schemas(&mut named);
    let components: serde_json::Map<String, Value> =
        named.into_iter().map(|(name, schema)| (name, json!(schema))).collect();
    let mut root = json!(T::schema());
    root["components"] = json!({"schemas": components});
    root
}

fn validator<T: ToSchema>() -> jsonschema::Validator {
    match jsonschema::draft202012::new(&document::<T>()) {
        Ok(validator) => validator,
        Err(e) => panic!("the schema is none: {e}"),
    }
}

#[track_caller]
fn fits(validator: &jsonschema::Validator, what: &str, value: &Value) {
    let faults: Vec<String> = validator.iter_errors(value).map(|e| format!("{}: {e}", e.instance_path())).collect();
    assert!(faults.is_empty(), "{what}: {faults:?}");
}

#[test]
fn answers_fit_their_schema() {
    let (assessments, flights) = (validator::<Assessment>(), validator::<FlightAnswer>());
    for (name, body) in examples() {
        let mut card: Value = serde_json::from_slice(&body).unwrap_or_default();
        card["flights"] = json!(128);
        let Ok(asked) = wire::read(card.to_string().as_bytes()) else { panic!("{name} was refused") };
        let Some(report) = slowpoint_sim::assess(&asked.case, &AtomicBool::new(false)) else { panic!("stopped") };
        let answer = wire::answer("an-id", "an-engine", &asked, &report);
        let text = serde_json::to_string(&answer).unwrap_or_default();
        assert!(text.starts_with("{\"caution\":\"An estimate"), "the first caution comes first: {text:.60}");
        let lower = text.to_lowercase();
        for word in lower.split(|c: char| !c.is_alphanumeric() && c != '.' && c != '%') {
            assert!(!["safe", "go", "pass", "passed", "approved"].contains(&word), "{name} says {word}");
        }
        for chance in [" 0 %", " 100 %", "\"0 %", "\"100 %"] {
            assert!(!lower.contains(chance), "{name} says {chance}");
        }
        let answer: Value = serde_json::from_str(&text).unwrap_or_default();
        fits(&assessments, &name, &answer);
        println!("{}", answer["advice"]["text"]);
        let worst = answer["delays"][0]["at_ejection"]["airspeed_m_s"]["max"].clone();
        let index = worst["flight"].as_u64().unwrap_or(u64::MAX);
        let flight = json!(wire::flight("an-id", index, &asked, &slowpoint_sim::replay(&asked.case, index)));
        fits(&flights, &name, &flight);
        assert_eq!(
            flight["delays"][0]["ejection"]["airspeed_m_s"], worst["value"],
            "{name}: the worst flight, flown again"
        );
    }
}

#[test]
fn a_general_validator_agrees() {
    let validator = validator::<AssessmentRequest>();
    for (name, body) in examples() {
        let body: Value = serde_json::from_slice(&body).unwrap_or_default();
        fits(&validator, &name, &body);
        // Every place of the body gets every odd value. What the validator finds wrong is refused here, with a pointer
        // to something that was sent or is missing; whatever else is, never in words about the decoder.
        let mut places = Vec::new();
        pointers(&body, "", &mut places);
        for place in &places {
            for odd in odd_values() {
                let mut bad = body.clone();
                if let Some(value) = bad.pointer_mut(place) {
                    *value = odd.clone();
                }
                let valid = validator.is_valid(&bad);
                match wire::read(bad.to_string().as_bytes()) {
                    Ok(_) => assert!(valid, "{name} {place} = {odd} was taken"),
                    Err(Rejected::NotJson(e)) => panic!("{name} {place} = {odd}: {e}"),
                    Err(Rejected::Faults(faults)) => {
                        assert!(!faults.is_empty(), "{name} {place} = {odd}");
                        for f in faults {
                            assert!(!f.problem.is_empty() && !f.remedy.is_empty(), "{place} = {odd}: {f:?}");
                            let told = format!("{} {}", f.problem, f.remedy);
                            assert!(!told.contains("NaN") && !told.contains("does not read"), "{place} = {odd}: {f:?}");
                        }
                    }
                }
            }
        }
    }
}

fn pointers(value: &Value, at: &str, places: &mut Vec<String>) {
    places.push(at.into());
    match value {
        Value::Array(items) => items.iter().enumerate().for_each(|(i, v)| pointers(v, &format!("{at}/{i}"), places)),
        Value::Object(members) => members.iter().for_each(|(k, v)| pointers(v, &format!("{at}/{k}"), places)),
        _ => {}
    }
}

fn odd_values() -> Vec<Value> {
    vec![
        json!(null),
        json!(true),
        json!(0),
        json!(-1),
        json!(1e308),
        json!(-1e-308),
        json!(u64::MAX),
        json!(""),
        json!("x"),
        json!("1e400 m"),
        json!("5 parsecs"),
        json!([]),
        json!({}),
        json!([[]]),
        json!({"x": 1}),
        json!("1 m"),
        json!("1 %"),
    ]
}
