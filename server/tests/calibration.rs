//! Flights that were flown, told over HTTP.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use serde_json::{Value, json};
use support::{check_problem, first_flight, service};

fn number(at: &Value, pointer: &str) -> f64 {
    at.pointer(pointer).and_then(Value::as_f64).unwrap_or_else(|| panic!("no {pointer}: {at}"))
}

/// Logs lower than what is drawn mean more drag, less impulse or both, and the next flights are lower; typed and as a table
/// they say the same, and without them nothing changes.
#[tokio::test]
async fn lower_flights_make_lower_flights() {
    let service = service();
    let plain = service.answer(&first_flight(256)).await;
    let (apogee_m, apogee_s) = (number(&plain, "/apogee/height_above_pad_m/p50"), number(&plain, "/apogee/time_s/p50"));
    let lower = [0.86, 0.9, 0.88];
    let typed: Vec<Value> = lower
        .iter()
        .map(|part| json!({"apogee": format!("{} m", part * apogee_m), "apogee_time": format!("{} s", part.sqrt() * apogee_s), "flown_with": "delay 6 s"}))
        .collect();
    let mut asked = first_flight(256);
    asked["calibration"] = json!({"flown": typed, "flights": 4096});
    let learned = service.answer(&asked).await;
    let found = &learned["calibration"];
    assert_eq!((&found["used"], &found["refused_because"]), (&json!(true), &Value::Null), "{found}");
    assert!(number(&learned, "/apogee/height_above_pad_m/p50") < 0.96 * apogee_m, "{learned}");
    assert!(number(found, "/effective_flights") >= 100.0 && number(found, "/effective_sets") >= 100.0);
    // A quarter, once more a quarter, and all.
    assert_eq!(found["flights_drawn"], json!(6144));
    let drag = found["inputs"].as_array().unwrap().iter().find(|i| i["input"] == "drag").unwrap();
    assert!(number(drag, "/bias/p50") > number(drag, "/before/p50"), "{drag}");
    let first = &found["flown"][0];
    assert_eq!((&first["flight"], &first["flown_with"]), (&json!(1), &json!("delay 6 s")));
    assert!(number(first, "/logged/0/after/p50") < number(first, "/logged/0/before/p50"), "{first}");
    assert!(learned["cautions"].as_array().unwrap().iter().any(|c| c["topic"] == "calibration"));
    assert!(learned["model_moves"].as_array().unwrap().iter().any(|m| m["what"].as_str().unwrap().contains("learned")));

    // A flight of it, flown again, is one of its flights: it draws what was learned.
    let id = learned["id"].as_str().unwrap();
    let flight = service.get(&format!("/v1/assessments/{id}/flights/3")).await;
    assert_eq!(flight.status, 200);
    assert!(flight.headers.contains_key("ratelimit"), "what it is drawn from is learned again, and paid");
    let table = service.get(&format!("/v1/assessments/{id}/flights.csv")).await;
    assert_eq!(table.status, 200);
    let mean = |limit: &str| {
        let text = table.text();
        let rows = text.lines().skip(1).map(|line| line.split(',').collect::<Vec<_>>());
        let of: Vec<f64> =
            rows.filter(|r| r[1] == "delay 6 s" && r[2] == limit).map(|r| r[3].parse().unwrap()).collect();
        of.iter().sum::<f64>() / of.len() as f64
    };
    let over = &learned["delays"][0]["limits"][0];
    assert!((mean(&over["limit_m_s"].to_string()) - number(over, "/over/estimate")).abs() < 2e-5, "{over}");

    // Both its pictures and its page have the same figures.
    let picture = service.get(&format!("/v1/assessments/{id}/calibration.svg")).await;
    assert!(
        picture.status == 200 && picture.text().contains("Flight 3: apogee, ft above, m below"),
        "{}",
        picture.text()
    );
    assert_eq!(service.get(&format!("/v1/assessments/{id}/calibration.png")).await.status, 200);
    let page = service.get(&format!("/flights/{id}")).await.text();
    assert!(page.contains("Learned from flights flown") && page.contains("calibration.svg"));
    let missing = service.get(&format!("/v1/assessments/{}/calibration.svg", plain["id"].as_str().unwrap())).await;
    check_problem(&missing, 404, "no-calibration");

    let lines: Vec<String> =
        lower.iter().map(|part| format!("{},{},6", part * apogee_m, part.sqrt() * apogee_s)).collect();
    asked["calibration"] =
        json!({"csv": format!("apogee_m,apogee_time_s,delay_s\n{}\n", lines.join("\n")), "flights": 4096});
    let table = service.answer(&asked).await;
    assert_eq!(table["calibration"], learned["calibration"]);
    asked.as_object_mut().unwrap().remove("calibration");
    assert_eq!(service.answer(&asked).await, plain);
}

/// Other winds are flown with what was learned as well.
#[tokio::test]
async fn advice_takes_what_was_learned() {
    let service = service();
    let mut asked = first_flight(256);
    asked["advise"] = json!(["wind_limit"]);
    let plain = service.answer(&asked).await;
    let low_m = 0.85 * number(&plain, "/apogee/height_above_pad_m/p50");
    asked["calibration"] =
        json!({"flown": [{"apogee": format!("{low_m} m"), "flown_with": "delay 9 s"}], "flights": 1024});
    let learned = service.answer(&asked).await;
    assert_eq!(learned["calibration"]["used"], json!(true));
    assert_ne!(learned["wind_limit"], plain["wind_limit"]);
}

/// What was otherwise is told per flight; conditions that are the same are flown once.
#[tokio::test]
async fn flights_have_conditions_of_their_own() {
    let service = service();
    let mut asked = first_flight(256);
    let surface = json!({"speed": "1 m/s", "direction": "10 deg", "gust": null});
    asked["calibration"] = json!({
        "flights": 1024,
        "flown": [
            {"apogee_time": "8 s", "apogee_time_error": "3 s", "conditions": {"delays": [4], "wind": {"surface": surface, "layers": null}}},
            {"apogee_time": "8 s", "apogee_time_error": "3 s", "conditions": {"delays": [4], "wind": {"surface": surface, "layers": null}}},
        ],
        "csv": "apogee_time_s,apogee_time_error_s,delay_s,wind_m_s,wind_from_deg\n8,3,4,1,10\n8,3,5,,\n",
    });
    let found = service.answer(&asked).await["calibration"].clone();
    let with: Vec<&Value> = found["flown"].as_array().unwrap().iter().map(|f| &f["flown_with"]).collect();
    assert_eq!(with, ["delay 4 s", "delay 4 s", "delay 4 s", "delay 5 s"]);
    assert_eq!(found["flights_drawn"], json!(3072), "two conditions of four flights: {found}");
}

/// Any number of delays may have been flown, and altimeters; of what does not vary nothing is learned.
#[tokio::test]
async fn tables_say_what_was_flown_with() {
    let service = service();
    let mut asked = first_flight(256);
    let lines: Vec<String> = (0..40).map(|k| format!("8,3,{}", 4.0 + 0.1 * f64::from(k))).collect();
    let csv = format!("apogee_time_s,apogee_time_error_s,delay_s\n{}\n", lines.join("\n"));
    asked["calibration"] = json!({"flights": 1024, "csv": csv});
    let found = service.answer(&asked).await["calibration"].clone();
    assert_eq!(found["flown"].as_array().unwrap().len(), 40);
    assert_eq!(found["flights_drawn"], json!(3072), "as many delays as a request has, and the others: {found}");
    asked["electronics"] = json!([{"fires_at": "apogee"}, {"fires_at": "height", "height": "100 m"}]);
    asked["calibration"] =
        json!({"flights": 1024, "csv": "apogee_time_s,apogee_time_error_s,flown_with\n8,3,altimeter at apogee\n"});
    let found = service.answer(&asked).await["calibration"].clone();
    assert_eq!(found["flown"][0]["flown_with"], "altimeter at apogee");
    asked["spread"] = json!({"drag": {"fixed": 1}, "impulse": {"fixed": 1}, "wind": {"component_sd": 0}});
    let problem = check_problem(&service.post(&asked).await, 422, "invalid-input");
    assert!(problem["errors"].to_string().contains("\"/calibration\""), "{problem}");
}

/// Nothing is used of what no drawn flight agrees with.
#[tokio::test]
async fn what_agrees_with_nothing_is_not_used() {
    let service = service();
    let plain = service.answer(&first_flight(256)).await;
    let mut asked = first_flight(256);
    // Nor does an error so large that all of it is far off make it agree.
    let far = json!({"apogee": "18000 m", "apogee_error": "1000 m", "flown_with": "delay 9 s"});
    asked["calibration"] = json!({"flown": [far], "flights": 1024});
    assert_eq!(service.answer(&asked).await["calibration"]["used"], json!(false));
    asked["calibration"] = json!({"flown": [{"apogee": "4000 m", "flown_with": "delay 9 s"}], "flights": 1024});
    let refused = service.answer(&asked).await;
    assert_eq!(refused["calibration"]["used"], json!(false));
    assert!(refused["calibration"]["refused_because"].as_str().unwrap().contains("Flight 1"));
    // Nothing is told of what is not used.
    assert!(
        refused["calibration"]["inputs"]
            .as_array()
            .unwrap()
            .iter()
            .all(|i| i["after"].is_null() && i["bias"].is_null())
    );
    assert!(refused["calibration"]["flown"][0]["logged"][0]["after"].is_null());
    let id = refused["id"].as_str().unwrap();
    let picture = service.get(&format!("/v1/assessments/{id}/calibration.svg")).await.text();
    assert!(picture.contains("NOT USED") && !picture.contains("drawn after"), "{picture}");
    let page = service.get(&format!("/flights/{id}")).await.text();
    assert!(page.contains("Not used: ") && !page.contains("drawn after"), "{page}");
    assert!(refused["cautions"].as_array().unwrap().iter().any(|c| c["topic"] == "calibration_refused"));
    assert_eq!(refused["delays"], plain["delays"]);
}

#[tokio::test]
async fn faults_are_told_at_their_places() {
    let service = service();
    for (calibration, pointer, word) in [
        (json!({}), "/calibration/flown", "no flight"),
        (json!({"flown": [{}]}), "/calibration/flown/0", "logged"),
        (json!({"flown": [{"apogee": "312 s"}]}), "/calibration/flown/0/apogee", "m"),
        (json!({"flown": [{"apogee": "90 km"}]}), "/calibration/flown/0/apogee", "18"),
        (
            json!({"flown": [{"apogee": 300, "apogee_time_error": 1}]}),
            "/calibration/flown/0/apogee_time_error",
            "apogee_time",
        ),
        (
            json!({"flown": [{"apogee": 300, "flown_with": "delay 3 s"}]}),
            "/calibration/flown/0/flown_with",
            "delay 6 s",
        ),
        (json!({"flown": [{"apogee": 300}]}), "/calibration/flown/0/flown_with", "name one"),
        (json!({"csv": "apogee_m\n300\n"}), "/calibration/csv", "delay_s"),
        (json!({"csv": "apogee_m,delay_s,flown_with\n300,6,delay 6 s\n"}), "/calibration/csv", "one of the two"),
        (
            json!({"flown": [{"apogee": 300, "conditions": {"spread": {}}}]}),
            "/calibration/flown/0/conditions/spread",
            "launch",
        ),
        (
            json!({"flown": [{"apogee": 300, "conditions": {"launch": {"tilt": "80 deg"}}}]}),
            "/calibration/flown/0/conditions/launch/tilt",
            "deg",
        ),
        (json!({"flown": [{"apogee": 300, "colour": 1}]}), "/calibration/flown/0/colour", ""),
        (json!({"flights": 10, "csv": "apogee_m\n300\n"}), "/calibration/flights", "1024"),
        (json!({"bias_share": 1, "csv": "apogee_m\n300\n"}), "/calibration/bias_share", "95"),
        (json!({"csv": "height\n300\n"}), "/calibration/csv", "apogee_m"),
        (json!({"csv": "apogee_m,apogee_m\n300,300\n"}), "/calibration/csv", "once"),
        (json!({"csv": "apogee_m,delay_s\n300\n"}), "/calibration/csv", "line 2"),
        (json!({"csv": "apogee_m\n300\nNaN\n"}), "/calibration/csv", "line 3"),
        (json!({"csv": "apogee_m\n300000\n"}), "/calibration/csv", "line 2"),
        (json!({"csv": "apogee_m,wind_m_s\n300,4\n"}), "/calibration/csv", "wind_from_deg"),
        (json!({"csv": "apogee_m,tilt_deg\n300,85\n"}), "/calibration/csv", "line 2"),
        (json!({"csv": "delay_s\n4\n"}), "/calibration/csv", "logged"),
        (json!({"csv": "apogee_m,apogee_time_s,apogee_time_error_s\n300,,0.3\n"}), "/calibration/csv", "line 2"),
        (json!({"csv": format!("apogee_m\n{}", "300\n".repeat(41))}), "/calibration/csv", "40"),
    ] {
        let mut asked = first_flight(256);
        asked["calibration"] = calibration.clone();
        let reply = service.post(&asked).await;
        let problem = check_problem(&reply, 422, "invalid-input");
        let errors = problem["errors"].as_array().unwrap();
        let told =
            errors.iter().find(|e| e["pointer"] == pointer).unwrap_or_else(|| panic!("{calibration}: {problem}"));
        assert!(told.to_string().contains(word), "{calibration}: {told}");
    }
}
