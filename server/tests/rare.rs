//! Chances that are sought where they happen, asked over HTTP.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use serde_json::{Value, json};
use slowpoint_server::config::Config;
use support::{Disk, Service, check_problem, service, service_with};

/// The example with people beside the pad, few flights.
fn card() -> Value {
    let mut card = support::first_flight(256);
    card["failures"] = json!({"no_ejection": 0.001});
    card
}

fn number(at: &Value, name: &str) -> f64 {
    at[name].as_f64().unwrap_or_else(|| panic!("no {name}: {at}"))
}

/// Where the estimates stand on the picture.
async fn picture(service: &Service, answer: &Value) -> Vec<f64> {
    let at = format!("/v1/assessments/{}/rare", answer["id"].as_str().unwrap());
    assert_eq!(service.get(&format!("{at}.png")).await.status, 200);
    let picture = service.get(&format!("{at}.svg")).await;
    assert_eq!(picture.status, 200, "{}", picture.text());
    let text = picture.text();
    for chance in answer["rare"]["chances"].as_array().unwrap() {
        let told = chance["chance_text"].as_str().unwrap().replace('<', "&lt;");
        assert!(text.split_whitespace().collect::<Vec<_>>().join(" ").contains(&told), "{told}: {text}");
    }
    let strokes = text.split("<path d=\"M").skip(1).filter(|path| path.contains("stroke-width=\"2.5\""));
    strokes.map(|path| path.split(' ').next().unwrap().parse().unwrap()).collect()
}

#[tokio::test]
async fn what_is_sought_is_the_chance_that_counting_finds() {
    let service = service();
    let mut asked = card();
    asked["rare"] = json!([
        {"landing_in": "spectators", "flown_with": "delay 6 s"},
        {"opening_over": "60 mph", "flights": 2000},
        {"opening_over": "60 mph", "flown_with": "delay 6 s", "flights": 2000}
    ]);
    asked["limits"]["deploy_speed"] = json!(["35 mph", "60 mph"]);
    let answer = service.answer(&asked).await;
    let chances = answer["rare"]["chances"].as_array().unwrap();
    assert_eq!(chances.len(), 3);
    let [people, best, short] = [0, 1, 2].map(|k| &chances[k]);
    assert_eq!((&people["landing_in"], &people["flown_with"]), (&json!("spectators"), &json!("delay 6 s")));
    assert!(people["opening_over"].is_null() && best["landing_in"].is_null());
    assert_eq!(best["flown_with"], answer["advice"]["lowest"]);
    assert!((number(&best["opening_over"], "limit_mph") - 60.0).abs() < 1e-3);
    // 2000 are made as many of each replicate, and of each share of a mixture.
    assert_eq!((&people["flights"], &best["flights"]), (&json!(8192), &json!(2048)));
    for (chance, way) in [(best, 1), (short, 0)] {
        let counted = &answer["delays"][way]["limits"][1]["over"];
        let apart = number(chance, "estimate") - number(counted, "estimate");
        let width = |c: &Value| number(c, "upper") - number(c, "lower");
        assert!(apart.abs() < width(chance) + width(counted), "{chance} {counted}");
        assert!(
            number(chance, "lower") < number(chance, "estimate")
                && number(chance, "estimate") < number(chance, "upper")
        );
        assert!(chance["text"].as_str().unwrap().contains(chance["chance_text"].as_str().unwrap()), "{chance}");
    }
    assert!(number(people, "upper") < 0.02 && number(people, "flights_searched") >= 1024.0, "{people}");
    assert!(answer["cautions"].as_array().unwrap().iter().any(|c| c["topic"] == "rare"));
    // On its picture the rarer lies farther to the left, by as much as its power of ten.
    let strokes = picture(&service, &answer).await;
    let tens = |chance: &Value| number(chance, "estimate").log10();
    let apart = |a: usize, b: usize| (strokes[a] - strokes[b]) / (tens(&chances[a]) - tens(&chances[b]));
    assert!(apart(2, 0) > 10.0 && (apart(2, 0) - apart(1, 0)).abs() < 0.5, "{strokes:?}");
    // Who does not ask gets what stood there before, byte for byte.
    asked.as_object_mut().unwrap().remove("rare");
    let without = service.answer(&asked).await;
    assert!(without.get("rare").is_none());
    let missing = service.get(&format!("/v1/assessments/{}/rare.svg", without["id"].as_str().unwrap())).await;
    check_problem(&missing, 404, "no-rare-events");
    assert_eq!(without["delays"], answer["delays"]);
}

#[tokio::test]
async fn what_nobody_can_tell_is_below_a_bound() {
    let service = service();
    let mut asked = card();
    asked["limits"] = json!({"deploy_speed": ["35 mph", "190 m/s"]});
    asked["condition"] = json!({"chance": "5 %"});
    asked["rare"] = json!([{"opening_over": "190 m/s"}, {"opening_over": "190 m/s", "flights": 65536}]);
    let answer = service.answer(&asked).await;
    // A quarter of the flights are drawn as if nothing were moved, so are the first of the search and a quarter of its
    // others: 3.69 over those is what they would have shown.
    for (chance, flights) in answer["rare"]["chances"].as_array().unwrap().iter().zip([8192.0, 65_536.0]) {
        assert!(chance["estimate"].is_null() && chance["lower"].is_null(), "{chance}");
        let upper = number(chance, "upper");
        assert!((upper * (0.25 * flights + 1024.0 + 7.0 * 256.0) - 3.69).abs() < 0.1 && upper >= 1e-4, "{chance}");
        assert!(chance["chance_text"].as_str().unwrap().starts_with("< 0."), "{chance}");
    }
    let page = service.get(&format!("/flights/{}", answer["id"].as_str().unwrap())).await.text();
    assert!(page.contains("Rare events") && page.contains("190") && page.contains("rare.svg"), "{page}");
    assert!(picture(&service, &answer).await.is_empty(), "what is only below a bound has no estimate");
}

#[tokio::test]
async fn what_it_costs_is_told_and_bounded() {
    let service = service_with(Config { job_flights: 200_000, ..Config::default() }, Disk::default());
    let mut asked = card();
    asked["rare"] = json!([{"landing_in": "spectators"}, {"opening_over": "35 mph", "flights": 1024}]);
    let price = service.send(support::json_request("/v1/assessments?dry_run=true", asked.to_string())).await.json();
    assert_eq!(price["rare_flights"], json!(8192 + 8192 + 8192 + 1024));
    assert_eq!(price["at_most"], json!(true));
    asked["rare"] = json!([{"landing_in": "spectators", "flights": 199_000}]);
    let refused = service.post(&asked).await;
    check_problem(&refused, 422, "too-many-flights");
    assert_eq!(refused.json()["errors"][0]["pointer"], json!("/rare"), "{}", refused.text());
}

#[tokio::test]
async fn a_bad_one_is_told_with_its_remedy() {
    let service = service();
    for (rare, pointer, remedy) in [
        (json!([{}]), "/rare/0", "landing_in"),
        (json!([{"landing_in": "moon"}]), "/rare/0/landing_in", "\"field\", \"spectators\""),
        (json!([{"opening_over": "36 mph"}]), "/rare/0/opening_over", "35 mph"),
        (json!([{"opening_over": "fast"}]), "/rare/0/opening_over", "35 mph"),
        (json!([{"opening_over": "35 mph", "landing_in": "field"}]), "/rare/0", "one of the two"),
        (
            json!([{"landing_in": "field", "flown_with": "delay 7 s"}]),
            "/rare/0/flown_with",
            "\"delay 6 s\", \"delay 9 s\"",
        ),
        (json!([{"landing_in": "field", "flights": 5}]), "/rare/0/flights", "1024"),
        (json!([{"landing_in": "field"}, {"landing_in": "field"}]), "/rare/1", "once"),
        (json!([{"landing_in": "field", "area": 1}]), "/rare/0/area", ""),
        (json!(vec![json!({"landing_in": "field"}); 17]), "/rare", "16"),
    ] {
        let mut asked = card();
        asked["limits"]["deploy_speed"] = json!(["35 mph", "60 mph"]);
        asked["rare"] = rare.clone();
        let reply = service.post(&asked).await;
        check_problem(&reply, 422, "invalid-input");
        let faults = reply.json()["errors"].clone();
        let told = faults.as_array().unwrap().iter().find(|f| f["pointer"] == json!(pointer));
        let told = told.unwrap_or_else(|| panic!("{rare}: {faults}"));
        let told_remedy = told["remedy"].as_str().unwrap();
        assert!(told_remedy.contains(remedy), "{rare}: {told}");
        // An entry without it seeks nothing: that is the remedy of the condition alone.
        assert!(!told_remedy.contains("leave it out"), "{rare}: {told}");
    }
}
