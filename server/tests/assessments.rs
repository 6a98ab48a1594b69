//! One card answered: the same bytes every time and everywhere, computed once, stopped when nobody waits.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use std::collections::BTreeSet;
use std::io::Write;
use std::process::{Command, Stdio};
use std::time::Duration;

use axum::body::Body;
use axum::http::Method;
use serde_json::{Value, json};
use slowpoint_server::config::Config;
use support::{
    Disk, Service, assessment, card, check_described, check_problem, json_request, request, service, service_with,
    until,
};

const POST: &str = "/v1/assessments";

#[tokio::test]
async fn the_answer_names_its_place() {
    let service = service();
    let reply = service.post(&card()).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    check_described("Assessment", &reply.json());
    let id = reply.json()["id"].as_str().unwrap().to_string();
    assert_eq!(reply.header("location"), format!("{POST}/{id}"));
    assert_eq!(reply.header("content-location"), reply.header("location"));
    assert_eq!(reply.header("etag"), format!("\"{id}.json\""));
    assert_eq!(reply.header("content-type"), "application/json");
    assert!(reply.header("cache-control").contains("private"));
}

#[tokio::test]
async fn the_same_input_is_computed_once() {
    let service = service();
    let first = service.post(&card()).await;
    // Written otherwise, it is the same input.
    let again = service.send(json_request(POST, serde_json::to_string_pretty(&card()).unwrap())).await;
    assert_eq!(first.body, again.body);
    assert_eq!(service.get(first.header("location")).await.body, first.body);
    assert_eq!(service.state.compute.begun(), 1);
    let mut other = card();
    other["seed"] = json!(4);
    assert_ne!(service.post(&other).await.header("etag"), first.header("etag"));
    assert_eq!(service.state.compute.begun(), 2);
}

#[tokio::test]
async fn two_services_answer_the_same_bytes() {
    assert_eq!(service().post(&card()).await.body, service().post(&card()).await.body);
}

#[tokio::test(flavor = "multi_thread")]
async fn posts_at_the_same_time_share_one_computation() {
    let service = service();
    let sent = card();
    let (a, b, c) = tokio::join!(service.post(&sent), service.post(&sent), service.post(&sent));
    assert_eq!(a.status, 200);
    assert_eq!((&a.body, &a.body), (&b.body, &c.body));
    assert_eq!(service.state.compute.begun(), 1);
}

#[tokio::test]
async fn validators() {
    let service = service();
    let first = service.post(&card()).await;
    let (place, etag) = (first.header("location"), first.header("etag"));
    for (held, status) in [
        (etag.to_string(), 304),
        (format!("W/{etag}"), 304),
        (format!("\"other\", {etag}"), 304),
        ("*".to_string(), 304),
        ("\"other\"".to_string(), 200),
    ] {
        let mut request = request(Method::GET, place, Body::empty());
        request.headers_mut().insert("if-none-match", held.parse().unwrap());
        let reply = service.send(request).await;
        assert_eq!(reply.status.as_u16(), status, "{held}");
        assert_eq!(reply.header("etag"), etag);
        assert_eq!(reply.body.is_empty(), status == 304);
    }
    assert_eq!(service.state.compute.begun(), 1);
}

#[tokio::test]
async fn a_lost_answer_is_flown_again_to_the_same_bytes() {
    let service = service();
    let first = service.post(&card()).await;
    service.store.damage_answers();
    let mut held = request(Method::GET, first.header("location"), Body::empty());
    held.headers_mut().insert("if-none-match", first.header("etag").parse().unwrap());
    assert_eq!(service.send(held).await.status, 304);
    assert_eq!(service.state.compute.begun(), 1, "304 does not fly");
    let again = service.get(first.header("location")).await;
    assert_eq!(again.body, first.body);
    assert_eq!(service.state.compute.begun(), 2);
}

#[tokio::test]
async fn a_damaged_input_is_told_and_mended_by_a_post() {
    let service = service();
    let first = service.post(&card()).await;
    let place = first.header("location").to_string();
    service.store.damage_inputs();
    assert_eq!(service.get(&place).await.body, first.body, "the answer is sound");
    support::check_problem(&service.get(&format!("{place}/flights/0")).await, 410, "stored-damaged");
    assert_eq!(service.post(&card()).await.body, first.body);
    assert_eq!(service.get(&format!("{place}/flights/0")).await.status, 200);
    service.store.damage_answers();
    service.store.damage_inputs();
    support::check_problem(&service.get(&place).await, 410, "stored-damaged");
}

#[tokio::test]
async fn a_note_and_nulls_do_not_change_the_id() {
    let service = service();
    let first = service.post(&card()).await;
    let mut noted = card();
    noted["note"] = json!("on a windy day");
    noted["site"] = Value::Null;
    assert_eq!(service.post(&noted).await.body, first.body);
    assert_eq!(service.state.compute.begun(), 1);
}

#[tokio::test]
async fn no_delay_is_lowest_when_all_are_level() {
    let mut sent = card();
    sent["card"]["recovery"]["first"] = json!({"kind": "none"});
    let answer = service().post(&sent).await.json();
    let advice = &answer["advice"];
    assert!(advice["text"].as_str().unwrap().contains("No delay is lower than another."), "{advice}");
    assert_eq!(
        (&advice["lowest"], &advice["best"], &advice["lowest_certainty"]),
        (&json!("none"), &json!("none"), &Value::Null)
    );
}

#[tokio::test]
async fn what_was_read_is_said_in_si() {
    let mut sent = card();
    sent["launch"]["rail_length"] = json!(6);
    sent["wind"]["surface"]["speed"] = json!(8);
    sent["wind"]["surface"]["measuring_height"] = json!("10 m");
    let answer = service().post(&sent).await.json();
    let nominal = &answer["nominal"];
    assert_eq!(nominal["rail_length_m"], 6.0);
    assert_eq!((&nominal["surface_wind_m_s"], &nominal["surface_wind_mph"]), (&json!(8.0), &json!(17.8955)));
    assert_eq!((&nominal["first_canopy_diameter_m"], &nominal["elevation_m"]), (&json!(0.6), &json!(0.0)));
    let topics: Vec<_> = answer["cautions"].as_array().unwrap().iter().map(|c| c["topic"].as_str().unwrap()).collect();
    assert_eq!(topics[..2], ["unit", "unit"], "{topics:?}");
}

/// Figures of SI in a sentence that nothing in brackets follows: readers of US units are told nothing by them.
fn in_si_alone(text: &str) -> Vec<String> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let numeric = |word: &str| word.trim_start_matches('(').parse::<f64>().is_ok();
    let alone = |pair: &(usize, &[&str])| {
        let (k, pair) = *pair;
        let unit = pair[1].trim_end_matches(['.', ',', ';', ':', ')']);
        let told = pair[1] == unit && words.get(k + 2).is_some_and(|next| next.starts_with('('));
        numeric(pair[0]) && ["m/s", "m", "J", "N"].contains(&unit) && !told
    };
    words.windows(2).enumerate().filter(alone).map(|(_, pair)| pair.join(" ")).collect()
}

#[tokio::test]
async fn sentences_have_the_units_of_both_systems() {
    assert_eq!(in_si_alone("faster than 15.6 m/s at ejection, with 20 J."), ["15.6 m/s", "20 J."]);
    let mut low = card();
    low["launch"]["rail_length"] = json!("0.5 m");
    low["site"] = json!({"ceiling": "30 m"});
    low["wind"] =
        json!({"surface": {"speed": "10 m/s", "direction": 270, "measuring_height": "2 m", "gust": "14 m/s"}});
    low["wind"]["turbulence"] = json!("off");
    low["card"]["recovery"] = json!({
        "first": {"kind": "parachute", "diameter": "20 cm"},
        "main": {"kind": "parachute", "diameter": "25 cm"}, "main_height": "80 m",
    });
    low["electronics"] = json!([{"fires_at": "height", "height": "5000 m"}]);
    low["limits"] = json!({"deploy_speed": ["10 m/s", "28 m/s"]});
    low["condition"] = json!({"limit": "28 m/s"});
    low["advise"] = json!(["wind_limit", "rail"]);
    let aloft = |height: &str| {
        let mut card = card();
        card["wind"] = json!({"layers": [{"height_above_ground": height, "speed": "5 m/s", "direction": 270}]});
        card
    };
    let (mut topics, service) = (BTreeSet::new(), service());
    for card in [low, aloft("50 m"), aloft("210 m")] {
        let answer = service.post(&card).await.json();
        for caution in answer["cautions"].as_array().unwrap() {
            // The label of a way of deploying is its name, as it is asked for.
            let message = caution["message"].as_str().unwrap().replace("altimeter at 5000 m coming down", "altimeter");
            topics.insert(caution["topic"].as_str().unwrap().to_string());
            // What was sent without a unit is told as it was read.
            if caution["topic"] != "unit" {
                assert_eq!(in_si_alone(&message), [""; 0], "{message}");
            }
        }
        for text in ["/advice/text", "/wind_limit/text", "/rail_advice/text"] {
            let found = answer.pointer(text).and_then(Value::as_str);
            // Only the first asks for them all.
            assert!(
                found.is_some() || !topics.contains("wind_aloft") || text == "/advice/text" || card["advise"].is_null()
            );
            let text = &found.unwrap_or_default().replace("altimeter at 5000 m coming down", "altimeter");
            assert_eq!(in_si_alone(text), [""; 0], "{text}");
        }
    }
    for topic in [
        "ceiling",
        "condition",
        "height_not_reached",
        "limit",
        "main_opens_fast",
        "open_fast",
        "rail_speed",
        "touchdown",
        "turbulence",
        "wind",
        "wind_aloft",
        "wind_height",
        "wind_surface",
    ] {
        assert!(topics.contains(topic), "no flight card here has a caution on {topic}: {topics:?}");
    }
}

#[tokio::test]
async fn head_answers_without_a_body() {
    let service = service();
    let first = service.post(&card()).await;
    for path in [first.header("location"), "/livez", "/readyz", "/openapi.json", "/docs/", "/"] {
        let reply = service.send(request(Method::HEAD, path, Body::empty())).await;
        assert_eq!(reply.status, 200, "{path}");
        assert!(reply.body.is_empty(), "{path}");
    }
}

#[tokio::test]
async fn a_dry_run_prices_and_flies_nothing() {
    let service = service();
    let dry = format!("{POST}?dry_run=true");
    let mut sent = card();
    let price = service.send(json_request(&dry, sent.to_string())).await;
    assert_eq!(price.status, 200);
    assert_eq!(price.header("cache-control"), "no-store");
    let price = price.json();
    check_described("Price", &price);
    assert_eq!((&price["flights"], &price["inline"], &price["stored"]), (&json!(128), &json!(true), &json!(false)));
    assert!(price["estimated_core_s"].as_f64().unwrap() > 0.0);
    assert_eq!(service.state.compute.begun(), 0);
    assert_eq!(service.post(&sent).await.json()["id"], price["id"]);
    assert_eq!(service.send(json_request(&dry, sent.to_string())).await.json()["stored"], true);
    sent["drivers"] = json!(1024);
    let with_drivers = service.send(json_request(&dry, sent.to_string())).await.json();
    assert_eq!((&price["driver_flights"], &with_drivers["driver_flights"]), (&json!(0), &json!(15 * 1024)));
    assert_ne!(with_drivers["id"], price["id"]);
    let core_s = |price: &Value| price["estimated_core_s"].as_f64().unwrap();
    assert!(core_s(&with_drivers) > 10.0 * core_s(&price), "{with_drivers}");
    assert_eq!(price["stopped_at_core_s"], Value::Null);
    // What is left to a job is measured here, and ends a fifth above that.
    sent["flights"] = json!(900_000);
    let job = service.send(json_request(&dry, sent.to_string())).await.json();
    check_described("Price", &job);
    assert_eq!((&job["inline"], &job["job"]), (&json!(false), &json!(true)));
    let stopped_at_s = job["stopped_at_core_s"].as_f64().unwrap();
    assert!((stopped_at_s - 1.2 * core_s(&job)).abs() < 0.01 * stopped_at_s, "{job}");
    assert_eq!(service.state.compute.begun(), 1);
    // What is refused is neither.
    let small = service_with(Config { job_flights: 800_000, ..Config::default() }, Disk::default());
    let refused = small.send(json_request(&dry, sent.to_string())).await.json();
    assert_eq!((&refused["job"], &refused["stopped_at_core_s"]), (&json!(false), &Value::Null));
}

/// A card whose flights end by the width of the intervals, between the first look and the last.
fn ending() -> Value {
    let mut sent = card();
    sent["flights"] = Value::Null;
    sent["until"] = json!({"half_width": "1.5 %", "within": 4000});
    sent
}

#[tokio::test]
async fn flights_end_once_the_intervals_are_narrow_enough() {
    let service = service();
    let reply = service.post(&ending()).await;
    let answer = reply.json();
    check_described("Assessment", &answer);
    let flights = answer["flights"].as_u64().unwrap();
    assert!([512, 1024, 2048].contains(&flights), "{flights}");
    let until = &answer["until"];
    assert_eq!((&until["half_width_asked"], &until["within_flights"]), (&json!(0.015), &json!(4000)));
    assert_eq!(until["reached"], true);
    let mut widest = 0.0_f64;
    for delay in answer["delays"].as_array().unwrap() {
        for limit in delay["limits"].as_array().unwrap() {
            for chance in [&limit["over"], &limit["unsafe_opening"]] {
                let end = |name: &str| chance[name].as_f64().unwrap();
                widest = widest.max(0.5 * (end("upper") - end("lower")));
                assert_eq!(chance["flights"], flights);
            }
        }
    }
    let told = until["half_width_widest"].as_f64().unwrap();
    assert!((widest - told).abs() < 1e-5 && told <= 0.015, "{widest} {told}");
    assert!(answer["model_moves"][0]["flights"].as_u64().unwrap() <= flights);
    assert!(answer["failures"]["each"][0]["flights"].as_u64().unwrap() <= flights);
    // As many flights by number are the same flights; their intervals alone are narrower.
    let mut sent = card();
    sent["flights"] = json!(flights);
    let fixed = service.post(&sent).await.json();
    assert_ne!(fixed["id"], answer["id"]);
    assert!(fixed.get("until").is_none());
    for same in ["rail", "apogee", "slowest", "model_moves", "seed"] {
        assert_eq!(fixed[same], answer[same], "{same}");
    }
    let [fixed, ended] = [&fixed, &answer].map(|a| &a["delays"][0]["limits"][0]["over"]);
    assert_eq!(fixed["estimate"], ended["estimate"]);
    assert!(fixed["upper"].as_f64().unwrap() < ended["upper"].as_f64().unwrap(), "{fixed} {ended}");

    let table = run(&["assess", "-"], &ending());
    let text = String::from_utf8(table.1).unwrap();
    assert!(text.contains(&format!("{flights} flights, seed 3")), "{text}");
    assert!(text.contains("Ended once narrow enough"), "{text}");
    assert_eq!(run(&["assess", "-", "--json"], &ending()).1, reply.body);
    // The flag of the command takes the place of the card's.
    let (code, out, err) = run(&["assess", "-", "--json", "--flights", "128"], &ending());
    assert_eq!((code, err.as_str()), (0, ""));
    let counted: Value = serde_json::from_slice(&out).unwrap();
    assert_eq!((&counted["flights"], counted.get("until")), (&json!(128), None));
}

#[tokio::test]
async fn what_is_not_narrow_enough_within_the_flights_allowed_says_so() {
    let mut sent = ending();
    sent["until"] = json!({"half_width": 0.0001, "within": 300});
    let answer = service().post(&sent).await.json();
    check_described("Assessment", &answer);
    assert_eq!((&answer["flights"], &answer["until"]["reached"]), (&json!(288), &json!(false)));
    let caution = answer["cautions"].as_array().unwrap().iter().find(|c| c["topic"] == "until").unwrap();
    let message = caution["message"].as_str().unwrap();
    assert!(message.contains("After 288 flights") && message.contains("Allow more flights"), "{message}");
    let text = String::from_utf8(run(&["assess", "-"], &sent).1).unwrap();
    assert!(text.contains("Not narrow enough"), "{text}");
}

#[tokio::test]
async fn what_may_end_sooner_is_priced_by_the_most() {
    let service = service();
    let dry = format!("{POST}?dry_run=true");
    let price = service.send(json_request(&dry, ending().to_string())).await.json();
    check_described("Price", &price);
    assert_eq!((&price["flights"], &price["at_most"]), (&json!(4000), &json!(true)));
    let mut sent = card();
    sent["flights"] = json!(4000);
    let fixed = service.send(json_request(&dry, sent.to_string())).await.json();
    assert_eq!(fixed["at_most"], false);
    let core_s = |price: &Value| price["estimated_core_s"].as_f64().unwrap();
    assert!(core_s(&price) >= core_s(&fixed) && core_s(&price) < 1.1 * core_s(&fixed), "{price} {fixed}");
    assert_eq!(service.post(&ending()).await.json()["id"], price["id"]);
}

/// The single flights and the table are of those that were flown, also where the answer was lost since.
#[tokio::test]
async fn flights_of_an_end_that_was_not_known_beforehand() {
    let service = service();
    let reply = service.post(&ending()).await;
    let (place, flights) = (reply.header("location").to_string(), reply.json()["flights"].as_u64().unwrap());
    for lost in [false, true] {
        if lost {
            service.store.damage_answers();
        }
        assert_eq!(service.get(&format!("{place}/flights/{}", flights - 1)).await.status, 200);
        let beyond = check_problem(&service.get(&format!("{place}/flights/{flights}")).await, 404, "unknown-flight");
        assert!(beyond["detail"].as_str().unwrap().contains(&format!("{flights} flights")), "{beyond}");
        let table = service.get(&format!("{place}/flights.csv")).await;
        assert_eq!(table.status, 200, "{}", table.text());
        means_are_told(&table.text(), &reply.json());
        assert_eq!(service.get(&place).await.body, reply.body);
    }
}

#[tokio::test]
async fn cords_are_told_when_asked_and_only_then() {
    let service = service();
    let mut sent = card();
    let plain = service.post(&sent).await.json();
    assert!(plain.get("cords").is_none());
    let line = |name: &str, width: &str| {
        json!({
            "name": name,
            "edge_width": width,
            "runs": [[{"length": "2.5 m", "strength": "700 N", "fibre": "aramid"}]]
        })
    };
    sent["cords"] = json!({
        "nose_mass": "70 g",
        "arrangements": [line("thin", "3 mm"), line("sleeve", "15 mm")],
        "wall": {"material": "paper", "thickness": "1 mm"}
    });
    let reply = service.post(&sent).await;
    let answer = reply.json();
    check_described("Assessment", &answer);
    assert_eq!(reply.body, service.post(&sent).await.body);
    let cords = &answer["cords"];
    assert_eq!((&cords["flights"], &cords["wall"]["guessed"]), (&answer["flights"], &json!(true)));
    assert_eq!(cords["wall"]["median_n_per_mm"], json!(25.0));
    let number = |value: &Value| value.as_f64().unwrap();
    for (delay, asked) in cords["delays"].as_array().unwrap().iter().zip(answer["delays"].as_array().unwrap()) {
        assert_eq!(delay["label"], asked["label"]);
        let [thin, sleeve] = delay["arrangements"].as_array().unwrap().as_slice() else { panic!("{delay}") };
        assert_eq!((&thin["name"], &sleeve["name"]), (&json!("thin"), &json!("sleeve")));
        assert_eq!(thin["peak_tension_n"], sleeve["peak_tension_n"]);
        let load = |of: &Value| number(&of["edge_load_n_per_mm"]["p50"]);
        assert!((load(thin) / load(sleeve) - 5.0).abs() < 1e-4, "{delay}");
        let tears = |of: &Value| number(&of["edge_tears"]["estimate"]);
        let off: Vec<f64> = thin["edge_tears_if"]
            .as_array()
            .unwrap()
            .iter()
            .map(|off| number(&off["edge_tears"]["estimate"]))
            .collect();
        assert!(off[0] > tears(thin) && tears(thin) > off[1] && tears(thin) > tears(sleeve), "{delay}");
        assert_eq!(thin["against_first"], Value::Null);
        let against = &sleeve["against_first"];
        assert!(number(&against["certainty_less"]) > 0.99, "{against}");
        assert!(against["text"].as_str().unwrap().len() > 10, "{against}");
        for chance in [&thin["edge_tears"], &thin["cord_breaks"]] {
            assert!(number(&chance["lower"]) <= number(&chance["estimate"]));
            assert!(number(&chance["estimate"]) <= number(&chance["upper"]));
            assert!(chance["estimator"].as_str().unwrap().contains("integrated"), "{chance}");
        }
    }
    let topics = |of: &Value| of["cautions"].as_array().unwrap().iter().filter(|c| c["topic"] == "cords").count();
    let assumed = |of: &Value, input: &str| of["assumed"].as_array().unwrap().iter().any(|a| a["input"] == input);
    assert_eq!((topics(&plain), topics(&answer)), (0, 1));
    for input in ["model.cords", "cords.wall.resistance", "cords.wall.log_sd", "cords.parting_speed"] {
        assert!(assumed(&answer, input) && !assumed(&plain, input), "{input}");
    }
    // Nothing else of the answer moves.
    for (name, value) in plain.as_object().unwrap() {
        if !["id", "cautions", "assumed"].contains(&name.as_str()) {
            assert_eq!(&answer[name], value, "{name}");
        }
    }
}

#[tokio::test]
async fn drivers_are_told_when_asked_and_only_then() {
    let service = service();
    let mut sent = card();
    let plain = service.post(&sent).await.json();
    assert!(plain.get("drivers").is_none());
    sent["drivers"] = json!(256);
    let reply = service.post(&sent).await;
    let answer = reply.json();
    check_described("Assessment", &answer);
    assert_eq!(reply.body, service.post(&sent).await.body);
    let drivers = &answer["drivers"];
    assert_eq!((&drivers["base_flights"], &drivers["flights"]), (&json!(256), &json!(15 * 256)));
    let delays = drivers["delays"].as_array().unwrap();
    assert_eq!(delays.len(), answer["delays"].as_array().unwrap().len());
    for (delay, asked) in delays.iter().zip(answer["delays"].as_array().unwrap()) {
        assert_eq!(delay["label"], asked["label"]);
        for quantity in ["ejection_airspeed_m_s", "unsafe_opening", "landing_distance_m"] {
            let found = &delay[quantity];
            let inputs = found["inputs"].as_array().unwrap();
            if found["none_because"].is_string() {
                assert!(inputs.is_empty() && found["standard_deviation"].is_null(), "{found}");
                continue;
            }
            assert_eq!(inputs.len(), 13, "{found}");
            let total = |input: &Value| input["total"]["estimate"].as_f64().unwrap();
            assert!(inputs.windows(2).all(|pair| total(&pair[0]) >= total(&pair[1])), "{found}");
        }
    }
    let topics = |of: &Value| of["cautions"].as_array().unwrap().iter().filter(|c| c["topic"] == "drivers").count();
    let assumed = |of: &Value| of["assumed"].as_array().unwrap().iter().any(|a| a["input"] == "model.drivers");
    assert_eq!((topics(&plain), topics(&answer)), (0, 1));
    assert!(assumed(&answer) && !assumed(&plain));
    // Nothing else of the answer moves.
    for (name, value) in plain.as_object().unwrap() {
        if !["id", "cautions", "assumed"].contains(&name.as_str()) {
            assert_eq!(&answer[name], value, "{name}");
        }
    }
}

#[tokio::test]
async fn one_flight_again() {
    let service = service();
    let place = service.post(&card()).await.header("location").to_string();
    for index in [0, 127] {
        let reply = service.get(&format!("{place}/flights/{index}")).await;
        assert_eq!(reply.status, 200, "{}", reply.text());
        assert!(reply.header("cache-control").contains("private"));
        check_described("FlightAnswer", &reply.json());
        assert_eq!(reply.body, service.get(&format!("{place}/flights/{index}")).await.body);
    }
}

#[tokio::test]
async fn a_client_that_leaves_stops_the_computation() {
    let service = service();
    let leaving = tokio::spawn(long(&service, 1));
    begun(&service, 1).await;
    leaving.abort();
    stopped(&service, 1).await;
    assert_eq!(service.store.answers(), 0, "nothing partial is stored");
}

#[tokio::test]
async fn a_client_that_leaves_the_queue_takes_its_work_along() {
    let service = service();
    let running: Vec<_> = (0..2).map(|seed| tokio::spawn(long(&service, seed))).collect();
    begun(&service, 2).await;
    let waiting = tokio::spawn(long(&service, 2));
    until(|| service.state.metrics.waiting.get() == 1).await;
    waiting.abort();
    stopped(&service, 1).await;
    assert_eq!(service.state.compute.begun(), 2);
    running.iter().for_each(tokio::task::JoinHandle::abort);
    stopped(&service, 3).await;
}

#[tokio::test]
async fn the_computation_goes_on_while_someone_waits() {
    let service = service();
    let leaving = tokio::spawn(long(&service, 1));
    begun(&service, 1).await;
    let staying = tokio::spawn(long(&service, 1));
    until(|| service.state.compute.waiters() == 2).await;
    leaving.abort();
    until(|| service.state.compute.waiters() == 1).await;
    tokio::time::sleep(Duration::from_millis(200)).await;
    assert_eq!(service.state.compute.stopped(), 0);
    staying.abort();
    stopped(&service, 1).await;
    assert_eq!(service.state.compute.begun(), 1, "both shared one computation");
}

/// A request whose computation outlasts every test.
fn long(service: &Service, seed: u64) -> impl Future<Output = ()> + Send + 'static {
    let app = service.app.clone();
    let mut sent = card();
    sent["flights"] = json!(200_000);
    sent["seed"] = json!(seed);
    async move {
        let _ = tower::ServiceExt::oneshot(app, assessment(&sent)).await;
    }
}

async fn begun(service: &Service, count: u64) {
    until(|| service.state.compute.begun() == count).await;
}

async fn stopped(service: &Service, count: u64) {
    until(|| service.state.compute.stopped() == count).await;
}

#[tokio::test]
async fn the_terminal_prints_the_same_bytes() {
    let over_http = service().post(&card()).await.body;
    assert_eq!(run(&["assess", "-", "--json"], &card()), (0, over_http.clone(), String::new()));
    let mut other = card();
    other["flights"] = json!(64);
    assert_eq!(run(&["assess", "-", "--json", "--flights", "128"], &other).1, over_http);
}

#[test]
fn the_terminal_table() {
    let (code, out, err) = run(&["assess", "-"], &card());
    let out = String::from_utf8(out).unwrap();
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.starts_with(slowpoint_sim::report::FIRST_CAUTION.split(". ").next().unwrap()), "{out}");
    for line in out.lines() {
        assert!(line.chars().count() <= 100, "{line}");
        assert!(!line.contains(" 0 %") && !line.contains(" 100 %") && !line.contains("NaN"), "{line}");
    }
}

#[test]
fn the_terminal_lists_every_fault() {
    let mut sent = card();
    sent["card"]["airframe"]["mass"] = json!("620 potatoes");
    sent["card"]["airframe"]["lenght"] = json!(1);
    let (code, out, err) = run(&["assess", "-", "--json"], &sent);
    assert_eq!((code, out.len()), (1, 0));
    assert!(err.contains("/card/airframe/mass: ") && err.contains("/card/airframe/lenght: "), "{err}");
    assert_eq!(run(&["assess", "-"], &Value::String("no card".into())).0, 1);
    assert_eq!(run(&["assess", "/does/not/exist.json"], &sent).0, 2);
    assert_eq!(run(&["asses"], &sent).0, 2);
    let data = tempfile::TempDir::new().unwrap();
    let directory = data.path().to_str().unwrap();
    let (code, _, err) = run(&["serve", "--listen", "0.0.0.0:0", "--data-dir", directory], &sent);
    assert_eq!(code, 2, "open only when told so");
    assert!(err.contains("slowpoint token add"), "{err}");
}

fn run(arguments: &[&str], input: &Value) -> (i32, Vec<u8>, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_slowpoint"))
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A run that refuses its arguments reads nothing.
    let _ = child.stdin.take().unwrap().write_all(input.to_string().as_bytes());
    let done = child.wait_with_output().unwrap();
    (done.status.code().unwrap(), done.stdout, String::from_utf8(done.stderr).unwrap())
}

#[tokio::test]
async fn every_example_is_answered() {
    let service = service();
    let mut count = 0;
    for entry in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/examples")).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            continue;
        }
        let mut sent: Value = serde_json::from_slice(&std::fs::read(&path).unwrap()).unwrap();
        sent["flights"] = json!(128);
        let reply = service.post(&sent).await;
        assert_eq!(reply.status, 200, "{}: {}", path.display(), reply.text());
        count += 1;
    }
    assert!(count > 0, "no examples");
}

/// The mean of the flights' chances is the chance of the answer, to the digits it shows.
#[tokio::test]
async fn the_table_of_flights_has_the_answers_means() {
    let service = service();
    let mut sent = card();
    sent["electronics"] = json!([{"fires_at": "apogee"}]);
    let reply = service.post(&sent).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    let answer = reply.json();
    let table = service.get(&format!("{}/flights.csv", reply.header("location"))).await;
    assert_eq!((table.status.as_u16(), table.header("content-type")), (200, "text/csv"), "{}", table.text());
    assert!(means_are_told(&table.text(), &answer) > 100);
}

/// The airspeeds along the curve are those of an answer in which the delay is asked, and every other answer's: from the same
/// flights, each at the same points of its law.
#[tokio::test]
async fn the_curve_has_the_airspeeds_of_delays_nobody_asked() {
    const QUANTILES: [&str; 5] = ["p05", "p25", "p50", "p75", "p95"];
    let service = service();
    for (applies_to, of) in [("ejection", "airspeed_m_s"), ("line_stretch", "line_stretch_airspeed_m_s")] {
        let answers = {
            let mut answers = Vec::new();
            for delays in [json!([4, 8]), json!([4, 5, 6, 7, 8])] {
                let mut sent = card();
                sent["delays"] = delays;
                sent["flights"] = json!(256);
                sent["limits"]["applies_to"] = json!(applies_to);
                let reply = service.post(&sent).await;
                assert_eq!(reply.status, 200, "{}", reply.text());
                check_described("Assessment", &reply.json());
                answers.push(reply.json());
            }
            answers
        };
        let point = |answer: &Value, delay_s: f64| {
            let mut points = answer["delay_curve"].as_array().unwrap().iter();
            points.find(|p| p["delay_s"] == json!(delay_s)).unwrap()["opening_airspeed_m_s"].clone()
        };
        for (k, delay_s) in [4.0, 5.0, 6.0, 7.0, 8.0].into_iter().enumerate() {
            let asked = &answers[1]["delays"][k]["at_ejection"][of];
            for quantile in QUANTILES {
                assert_eq!(point(&answers[1], delay_s)[quantile], asked[quantile], "asked: {delay_s} s {quantile}");
                assert_eq!(point(&answers[0], delay_s)[quantile], asked[quantile], "not asked: {delay_s} s {quantile}");
            }
            assert!(asked["p05"].as_f64().unwrap() < asked["p95"].as_f64().unwrap());
        }
        let made = |answer: &Value| {
            let points = answer["delay_curve"].as_array().unwrap();
            points.iter().filter(|p| !p["opening_airspeed_m_s"].is_null()).count()
        };
        assert!(made(&answers[0]) >= 8 && made(&answers[0]) <= 14, "{}", made(&answers[0]));
    }
}

/// Holds the means of a table of flights against the chances of an answer; gives how many chances of flights were strictly
/// between 0 and 1.
fn means_are_told(text: &str, answer: &Value) -> usize {
    let mut rows = text.split("\r\n");
    assert_eq!(rows.next(), Some("flight,delay,limit_m_s,over,unsafe_opening,caution"));
    let rows: Vec<Vec<&str>> = rows.filter(|row| !row.is_empty()).map(|row| row.split(',').collect()).collect();
    assert_eq!(rows[0][5], answer["caution"].as_str().unwrap(), "where a table is read first");
    assert!(rows.iter().all(|row| row.len() == 6) && rows[1..].iter().all(|row| row[5].is_empty()));
    let flights = answer["flights"].as_u64().unwrap();
    let (mut compared, mut between) = (0, 0);
    for delay in answer["delays"].as_array().unwrap() {
        for limit in delay["limits"].as_array().unwrap() {
            let ours = |row: &&Vec<&str>| {
                let speed: f64 = row[2].parse().unwrap();
                row[1] == delay["label"] && (speed - limit["limit_m_s"].as_f64().unwrap()).abs() < 1e-4
            };
            for (column, name) in [(3, "over"), (4, "unsafe_opening")] {
                let chances: Vec<f64> = rows.iter().filter(ours).map(|row| row[column].parse().unwrap()).collect();
                assert_eq!(chances.len() as u64, flights);
                between += chances.iter().filter(|c| **c > 0.0 && **c < 1.0).count();
                let mean = chances.iter().sum::<f64>() / flights as f64;
                let told = limit[name]["estimate"].as_f64().unwrap();
                assert!((mean - told).abs() <= 5.1e-6 * told + 1e-12, "{} {name}: {mean} {told}", delay["label"]);
                assert!(limit[name]["estimator"].as_str().unwrap().contains("integrated"));
                compared += 1;
            }
        }
    }
    assert!(compared >= 4, "{compared} chances");
    between
}

/// Every figure that is a share or a chance stands in a group that says how it was made: integrated unless failures have a
/// share, and on the ground as drawn.
#[tokio::test]
async fn every_figure_says_which_estimator_made_it() {
    const INTEGRATED: &str = "law of the firing time integrated along each flight, mean over all flights";
    const PARTLY: &str =
        "law of the firing time integrated along each flight, flights that fail counted, mean over all flights";
    const AS_DRAWN: &str = "each flight fired once, at the time drawn for it, and counted";
    let service = service();
    let mut failing = card();
    failing["failures"] = json!({"no_ejection": 0.25});
    for (sent, want) in [(card(), INTEGRATED), (failing, PARTLY)] {
        let answer = service.post(&sent).await.json();
        check_described("Assessment", &answer);
        assert_eq!(answer["delay_curve_estimator"], want);
        assert_eq!(answer["delay_curve"].as_array().unwrap().is_empty(), want == PARTLY);
        for delay in answer["delays"].as_array().unwrap() {
            assert_eq!((&delay["estimator"], &delay["landing"]["estimator"]), (&json!(want), &json!(AS_DRAWN)));
            assert_eq!(delay["limits"][0]["over"]["estimator"], want);
        }
        let moves = answer["model_moves"].as_array().unwrap();
        assert_eq!(moves.len(), 6);
        assert!(moves.iter().all(|m| m["estimator"] == want), "{moves:?}");
        for failure in answer["failures"]["each"].as_array().unwrap() {
            assert_eq!(failure["landing"]["estimator"], AS_DRAWN);
            assert_eq!(failure["unsafe_opening"]["estimator"], "flights counted over all flights");
        }
    }
}
