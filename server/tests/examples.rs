//! The example requests are read, fit the published schema by another reader's judgement, and describe rockets that
//! could stand on a pad.

use serde_json::{Value, json};
use slowpoint_server::wire::{self, AssessmentRequest, Rejected};
use utoipa::{PartialSchema, ToSchema};

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
            n.impulse_n_s, n.thrust_to_weight, n.margin_calibres,
            case.aero.normal_force_slope_per_rad(), case.aero.drag_coasting.at(0.2),
        );
        assert!(n.thrust_to_weight > 5.0, "{name}: {}", n.thrust_to_weight);
        assert!((1.0..3.0).contains(&n.margin_calibres), "{name}: {}", n.margin_calibres);
        assert!(asked.input["note"].as_str().is_some_and(|t| t.contains("invented")), "{name} does not say that it is invented");
    }
}

/// The request's schema as one document, for a reader that knows nothing of this service.
fn document() -> Value {
    let mut named = Vec::new();
    AssessmentRequest::schemas(&mut named);
    let components: serde_json::Map<String, Value> =
        named.into_iter().map(|(name, schema)| (name, json!(schema))).collect();
    let mut root = json!(AssessmentRequest::schema());
    root["components"] = json!({"schemas": components});
    root
}

#[test]
fn a_general_validator_agrees() {
    let validator = match jsonschema::draft202012::new(&document()) {
        Ok(validator) => validator,
        Err(e) => panic!("the schema is none: {e}"),
    };
    for (name, body) in examples() {
        let body: Value = serde_json::from_slice(&body).unwrap_or_default();
        let faults: Vec<String> = validator.iter_errors(&body).map(|e| format!("{}: {e}", e.instance_path())).collect();
        assert!(faults.is_empty(), "{name}: {faults:?}");
        // What the validator finds wrong, this service refuses.
        for (pointer, value) in [
            ("/card/airframe/mass", json!(true)),
            ("/card/airframe", json!([])),
            ("/launch/rail_length", json!(null)),
            ("/flights", json!(10)),
            ("/delays", json!("5")),
            ("/wind/layers", json!([{"speed": 1}])),
            ("/card/recovery/first/kind", json!("balloon")),
        ] {
            let mut bad = body.clone();
            let Some(place) = bad.pointer_mut(pointer) else { continue };
            *place = value;
            assert!(!validator.is_valid(&bad), "{pointer}");
            assert!(matches!(wire::read(bad.to_string().as_bytes()), Err(Rejected::Faults(_))), "{pointer}");
        }
    }
}
