//! Advice that was flown: each wind and each setting of the rail is the flight card with that one thing changed.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use serde_json::{Value, json};
use slowpoint_server::config::Config;
use support::{Disk, check_problem, service, service_with};

/// The example with a field, few flights.
fn card() -> Value {
    let mut card = support::first_flight(128);
    card["site"]["areas"][0]["role"] = json!("field");
    card
}

#[tokio::test]
async fn every_wind_is_the_card_in_that_wind() {
    let service = service();
    let mut asked = card();
    asked["advise"] = json!(["wind_limit"]);
    let limit = service.answer(&asked).await["wind_limit"].clone();
    let winds: Vec<f64> = limit["winds_m_s"].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
    assert_eq!(winds, (0..=15).map(f64::from).collect::<Vec<_>>());
    // 5 mph at 10 m were given, and layers in knots: all stretched to 6 m/s, gust and all.
    let factor = 6.0 / (5.0 * 0.44704);
    let mut windy = card();
    windy["wind"]["surface"]["speed"] = json!("6 m/s");
    windy["wind"]["surface"]["gust"] = json!(format!("{} mph", 8.0 * factor));
    for (k, speed) in [8.0, 12.0].into_iter().enumerate() {
        windy["wind"]["layers"][k]["speed"] = json!(format!("{} kt", speed * factor));
    }
    let alone = service.answer(&windy).await;
    for (way, delay) in limit["delays"].as_array().unwrap().iter().enumerate() {
        assert_eq!(
            delay["unsafe_opening"][6]["estimate"],
            alone["delays"][way]["limits"][1]["unsafe_opening"]["estimate"]
        );
    }
    // The limit lies where the upper ends cross 5 %: read off again here.
    let nine = &limit["delays"][1];
    let uppers: Vec<f64> =
        nine["unsafe_opening"].as_array().unwrap().iter().map(|c| c["upper"].as_f64().unwrap()).collect();
    let last = uppers.iter().rposition(|upper| *upper <= 0.05).unwrap();
    let crossing = winds[last] + (0.05 - uppers[last]) / (uppers[last + 1] - uppers[last]);
    assert!((nine["highest_m_s"].as_f64().unwrap() - crossing).abs() < 1e-4, "{crossing} {nine}");
    assert!((1.0..7.0).contains(&crossing) && nine["goes_on"] == json!(false));
    assert!(limit["delays"][0]["highest_m_s"].is_null(), "a delay of 6 s is too short in any wind");
}

#[tokio::test]
async fn a_calm_is_stretched_from_nothing() {
    let service = service();
    let mut asked = card();
    asked["advise"] = json!(["wind_limit"]);
    asked["wind"] = json!({"surface": {"speed": 0, "measuring_height": "10 m"}});
    let limit = service.answer(&asked).await["wind_limit"].clone();
    assert!(limit["meaning"].as_str().unwrap().contains("from anywhere"), "{}", limit["meaning"]);
    let mut windy = card();
    windy["wind"] = json!({"surface": {"speed": 4, "direction": "variable", "measuring_height": "10 m"}});
    let alone = service.answer(&windy).await;
    assert_eq!(
        limit["delays"][1]["unsafe_opening"][4]["estimate"],
        alone["delays"][1]["limits"][1]["unsafe_opening"]["estimate"]
    );
}

#[tokio::test]
async fn the_rail_is_set_where_it_lands_best() {
    let service = service();
    let mut asked = card();
    asked["advise"] = json!(["rail"]);
    asked["launch"]["azimuth"] = json!("70 deg");
    asked["launch"]["tilt"] = json!("6 deg");
    let whole = service.answer(&asked).await;
    let advice = &whole["rail_advice"];
    assert_eq!(advice["flown_with"], whole["advice"]["lowest"]);
    let given = &advice["given"];
    assert_eq!(given["unsafe_opening"]["estimate"], whole["delays"][1]["limits"][1]["unsafe_opening"]["estimate"]);
    assert_eq!(given["outside_fields"]["text"], whole["delays"][1]["landing"]["outside_fields"]["text"]);
    let best = &advice["best"];
    let mut set = card();
    set["launch"]["tilt"] = best["tilt_deg"].clone();
    set["launch"]["azimuth"] = best["azimuth_deg"].clone();
    let alone = service.answer(&set).await;
    assert_eq!(best["outside_fields"]["text"], alone["delays"][1]["landing"]["outside_fields"]["text"]);
    // By hand: of the settings that open well enough, the one with the least chance outside.
    let number = |s: &Value, name: &str, end: &str| s[name][end].as_f64().unwrap();
    let allowed = number(given, "unsafe_opening", "upper");
    let tried = advice["tried"].as_array().unwrap();
    assert_eq!(tried.len(), 49);
    let least = tried
        .iter()
        .filter(|s| number(s, "unsafe_opening", "upper") <= allowed)
        .map(|s| number(s, "outside_fields", "estimate"))
        .fold(1.0, f64::min);
    assert_eq!(number(best, "outside_fields", "estimate"), least);
    assert!(least < number(given, "outside_fields", "estimate"));
    let tilt = |s: &Value| s["tilt_deg"].as_f64().unwrap();
    assert!((tilt(&advice["one_degree_flatter"]) - tilt(best) - 1.0).abs() < 1e-6);
    assert!((tilt(best) - tilt(&advice["one_degree_steeper"]) - 1.0).abs() < 1e-6);
}

#[tokio::test]
async fn what_it_costs_is_told_and_bounded() {
    let service = service_with(Config { job_flights: 200_000, ..Config::default() }, Disk::default());
    let mut asked = card();
    asked["advise"] = json!(["rail", "wind_limit"]);
    let price = service.send(support::json_request("/v1/assessments?dry_run=true", asked.to_string())).await.json();
    assert_eq!(price["settings_flights"], json!(128 * (16 + 52)));
    asked["flights"] = json!(199_000);
    check_problem(&service.post(&asked).await, 422, "too-many-flights");
    asked["advise"] = json!(["moon"]);
    check_problem(&service.post(&asked).await, 422, "invalid-input");
}
