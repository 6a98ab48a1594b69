//! A day of flights: each row is an assessment of its own with the same numbers, one bad card loses nobody else's, and what
//! takes long is a job.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use std::time::Duration;

use axum::body::Body;
use axum::http::{Method, Request};
use serde_json::{Value, json};
use slowpoint_server::config::Config;
use support::{Disk, Reply, Service, check_described, check_problem, json_request, request, service, service_with};

const DAYS: &str = "/v1/days";

fn day() -> Value {
    let text = include_str!("../examples/days/meadow.json");
    let mut day: Value = serde_json::from_str(text).unwrap();
    day["flights"] = json!(64);
    day
}

async fn post(service: &Service, body: &Value) -> Reply {
    service.send(json_request(DAYS, body.to_string())).await
}

/// A small body that would make much: it is refused before that is made.
#[tokio::test]
async fn a_day_that_is_too_much_to_read_is_refused_at_once() {
    let service = service();
    let named = |count: usize| (0..count).map(|k| json!({"name": k.to_string()})).collect::<Vec<_>>();
    let zeros = vec![0; 300_000];
    let many = json!({"x": zeros, "entries": named(10_000)});
    let problem = check_problem(&service.send(json_request("/v1/days", many.to_string())).await, 422, "invalid-input");
    assert!(problem["errors"].to_string().contains("\"/entries\""), "{problem}");
    let much = json!({"x": zeros, "entries": named(200)});
    let problem = check_problem(&service.send(json_request("/v1/days", much.to_string())).await, 422, "invalid-input");
    assert_eq!(problem["errors"][0]["pointer"], "/entries");
    assert!(problem["errors"][0]["remedy"].as_str().unwrap().contains("split the day"), "{problem}");
    // Each a copy of the one before, which is a copy.
    let long = "x".repeat(4000);
    let link = |k: usize| {
        let source = k.checked_sub(1).map(|k| k.to_string());
        json!({"name": k.to_string(), "copy_of": source, "card": {"name": long}})
    };
    let chain = json!({"entries": (0..200).map(link).collect::<Vec<_>>()});
    let problem = check_problem(&service.send(json_request("/v1/days", chain.to_string())).await, 422, "invalid-input");
    assert!(problem["errors"][0]["problem"].as_str().unwrap().contains("64 MB"), "{problem}");
}

#[tokio::test]
async fn each_row_is_an_assessment_of_its_own() {
    let service = service();
    let reply = post(&service, &day()).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    let answer = reply.json();
    check_described("DayAnswer", &answer);
    assert_eq!(reply.header("location"), format!("{DAYS}/{}", answer["id"].as_str().unwrap()));
    assert_eq!(service.get(reply.header("location")).await.body, reply.body);
    assert_eq!(answer["entries"].as_array().unwrap().len(), 3);
    for row in answer["entries"].as_array().unwrap() {
        assert!(row["problem"].is_null(), "{row}");
        let flight = &row["flight"];
        let whole = service.get(flight["href"].as_str().unwrap()).await.json();
        assert_eq!((&whole["name"], &whole["id"]), (&flight["rocket"], &flight["assessment"]));
        assert_eq!(whole["advice"], flight["advice"]);
        for (short, long) in flight["delays"].as_array().unwrap().iter().zip(whole["delays"].as_array().unwrap()) {
            assert_eq!((&short["label"], &short["standing"]), (&long["label"], &long["standing"]));
            for (a, b) in short["limits"].as_array().unwrap().iter().zip(long["limits"].as_array().unwrap()) {
                assert_eq!((&a["over"], &a["unsafe_opening"]), (&b["over"], &b["unsafe_opening"]));
            }
            assert_eq!(short["airspeed_p95_m_s"], long["at_ejection"]["airspeed_m_s"]["p95"]);
            assert_eq!(short["areas"], long["landing"]["areas"]);
        }
    }
    // The copy has the other motor and its own delays, and all else of what it was copied from.
    let labels = |k: usize| answer["entries"][k]["flight"]["delays"][0]["label"].clone();
    assert_eq!((labels(0), labels(1), labels(2)), (json!("delay 4 s"), json!("delay 3 s"), json!("delay 5 s")));
}

/// A flight of a day is the same as the flight card that it makes, posted by itself: same id, nothing computed again.
#[tokio::test]
async fn a_flight_of_a_day_is_the_card_by_itself() {
    let service = service();
    let answer = post(&service, &day()).await.json();
    let begun = service.state.compute.begun();
    let mut card = day();
    let entry = day()["entries"][0].clone();
    let members = card.as_object_mut().unwrap();
    members.remove("entries");
    members.insert("card".into(), entry["card"].clone());
    members.insert("delays".into(), entry["delays"].clone());
    for (name, value) in entry["launch"].as_object().unwrap() {
        members["launch"][name] = value.clone();
    }
    let alone = service.post(&card).await;
    assert_eq!(alone.json()["id"], answer["entries"][0]["flight"]["assessment"]);
    assert_eq!(service.state.compute.begun(), begun);
}

/// What was flown of a rocket, and its cord, are its own: asked with the flight, told on its assessment, and nobody else's.
#[tokio::test]
async fn a_flight_of_a_day_has_logs_and_cords_of_its_own() {
    let service = service();
    let corded: Value = serde_json::from_str(include_str!("../examples/tube-edge.json")).unwrap();
    let mut sent = day();
    let logged = json!({"apogee_time": "8 s", "apogee_time_error": "3 s", "flown_with": "delay 4 s"});
    sent["entries"][0]["calibration"] = json!({"flown": [logged], "flights": 1024});
    sent["entries"][2]["cords"] = corded["cords"].clone();
    sent["entries"][2]["cords"]["nose_mass"] = json!("20 g");
    let answer = post(&service, &sent).await.json();
    check_described("DayAnswer", &answer);
    let of = async |k: usize| {
        let href =
            answer["entries"][k]["flight"]["href"].as_str().unwrap_or_else(|| panic!("{}", answer["entries"][k]));
        service.get(href).await.json()
    };
    let [first, copy, last] = [of(0).await, of(1).await, of(2).await];
    assert_eq!(first["calibration"]["used"], json!(true));
    assert!(copy["calibration"].is_null(), "the copy has another motor: {copy}");
    // A copy of the same rocket takes them, one with logs of its own has these, and what is wrong there is told there.
    let mut again = sent.clone();
    let copy_of = again["entries"][0]["name"].clone();
    let changes = json!({"launch": {"tilt": "3 deg"}});
    let of_its_own = json!({"calibration": {"flights": 2048}});
    let copies = json!([
        again["entries"][0],
        {"name": "the same", "copy_of": copy_of, "changes": changes},
        {"name": "with a slip", "copy_of": copy_of, "changes": of_its_own},
    ]);
    again["entries"] = copies;
    let copied = post(&service, &again).await.json();
    let same = service.get(copied["entries"][1]["flight"]["href"].as_str().unwrap()).await.json();
    assert_eq!(same["calibration"]["flown"][0]["flown_with"], "delay 4 s");
    let errors = copied["entries"][2]["problem"]["errors"].to_string();
    assert!(errors.contains("/entries/2/changes/calibration") && !errors.contains("/entries/0"), "{errors}");
    assert!(last["calibration"].is_null() && last["cords"]["delays"].is_array(), "{last}");
    // That it was asked is no reason to hold a flight.
    let topics = |row: &Value| -> Vec<String> {
        let hold = row["flight"]["hold"].as_array().unwrap();
        hold.iter().map(|c| c["topic"].as_str().unwrap().to_string()).collect()
    };
    assert!(topics(&answer["entries"][0]).iter().all(|topic| !topic.starts_with("calibration")));
    assert!(!topics(&answer["entries"][2]).contains(&"cords".into()));
    // What is wrong with it is told in the day.
    sent["entries"][0]["calibration"]["flown"][0]["flown_with"] = json!("delay 40 s");
    let answer = post(&service, &sent).await.json();
    let errors = answer["entries"][0]["problem"]["errors"].to_string();
    assert!(errors.contains("/entries/0/calibration/flown/0/flown_with"), "{errors}");
}

#[tokio::test]
async fn one_bad_flight_loses_nobody_elses() {
    let service = service();
    let whole = post(&service, &day()).await.json();
    let mut sent = day();
    sent["entries"][0]["card"]["airframe"]["mass"] = json!("620 kg");
    sent["entries"][0]["colour"] = json!("red");
    sent["entries"].as_array_mut().unwrap().push(json!({"name": "pad 2", "card": 3}));
    let reply = post(&service, &sent).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    let answer = reply.json();
    check_described("DayAnswer", &answer);
    let faults = |k: usize| -> Vec<String> {
        let errors = answer["entries"][k]["problem"]["errors"].as_array().unwrap();
        errors.iter().map(|e| e["pointer"].as_str().unwrap().to_string()).collect()
    };
    let mut first = faults(0);
    first.sort();
    assert_eq!(first, ["/entries/0/card/airframe/mass", "/entries/0/colour"]);
    // The copy has the fault of what it was copied from, at the place where it stands.
    assert!(
        faults(1).contains(&"/entries/0/card/airframe/mass".to_string()) || !answer["entries"][1]["problem"].is_null()
    );
    assert_eq!(answer["entries"][2], whole["entries"][2], "the third is as it was");
    assert!(faults(3).contains(&"/entries/3/name".to_string()) || faults(3).contains(&"/entries/3/card".to_string()));
    let problem = &answer["entries"][0]["problem"];
    assert_eq!((&problem["type"], &problem["status"]), (&json!("/problems/invalid-input"), &json!(422)));
}

#[tokio::test]
async fn what_all_share_refuses_the_day() {
    let service = service();
    let mut sent = day();
    sent["wind"]["surface"]["speed"] = json!("5 furlongs");
    sent["site"]["elevatoin"] = json!(3);
    let reply = post(&service, &sent).await;
    check_problem(&reply, 422, "invalid-input");
    let errors = reply.json()["errors"].clone();
    let mut places: Vec<&str> = errors.as_array().unwrap().iter().map(|e| e["pointer"].as_str().unwrap()).collect();
    places.sort_unstable();
    assert_eq!(places, ["/site/elevatoin", "/wind/surface/speed"], "each once");
    for (change, place) in [
        (json!({}), "/entries"),
        (json!({"entries": []}), "/entries"),
        (json!({"entries": 3}), "/entries"),
        (json!({"entries": [{"name": "a"}], "card": {}}), "/card"),
    ] {
        let reply = post(&service, &change).await;
        assert_eq!(reply.status, 422, "{}", reply.text());
        assert!(reply.text().contains(&format!("\"pointer\":\"{place}\"")), "{}", reply.text());
    }
}

#[tokio::test]
async fn copies_that_lead_nowhere_are_told() {
    let service = service();
    for (entry, place, words) in [
        (json!({"name": "x", "copy_of": "nobody"}), "/entries/3/copy_of", "above"),
        (json!({"name": "x", "copy_of": "x"}), "/entries/3/copy_of", "above"),
        (json!({"name": "x", "changes": {"delays": [3]}}), "/entries/3/changes", "copy_of"),
        (json!({"name": "pad 1", "copy_of": "pad 1"}), "/entries/3/name", "name of its own"),
        (json!({"copy_of": "pad 1"}), "/entries/3/name", "missing"),
        (json!(7), "/entries/3", "object"),
        (
            json!({"name": "x", "copy_of": "pad 1", "changes": {"card": {"wings": 2}}}),
            "/entries/3/changes/card/wings",
            "no field",
        ),
        (
            json!({"name": "x", "copy_of": "pad 1", "changes": {"wind": {"surface": {"speed": -1}}}}),
            "/entries/3/changes/wind",
            "same for the whole day",
        ),
    ] {
        let mut sent = day();
        sent["entries"].as_array_mut().unwrap().push(entry.clone());
        let reply = post(&service, &sent).await;
        assert_eq!(reply.status, 200, "{entry}: {}", reply.text());
        let problem = reply.json()["entries"][3]["problem"].to_string();
        assert!(problem.contains(&format!("\"{place}\"")) && problem.contains(words), "{entry}: {problem}");
    }
}

fn patient(config: Config) -> Service {
    service_with(config, Disk::default())
}

fn asynchronous(body: &Value) -> Request<Body> {
    let mut request = json_request(DAYS, body.to_string());
    request.headers_mut().insert("prefer", "respond-async".parse().unwrap());
    request
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_ends_in_the_same_bytes() {
    let inline = post(&service(), &day()).await;
    // Asked to, and because it is much.
    for (service, request) in [
        (service(), asynchronous(&day())),
        (patient(Config { inline_flights: 100, ..Config::default() }), json_request(DAYS, day().to_string())),
    ] {
        let accepted = service.send(request).await;
        assert_eq!(accepted.status, 201, "{}", accepted.text());
        check_described("JobStatus", &accepted.json());
        let place = accepted.header("location").to_string();
        let mut status = accepted.json();
        for _ in 0..600 {
            if status["status"] == "successful" {
                break;
            }
            assert!(["accepted", "running"].contains(&status["status"].as_str().unwrap()), "{status}");
            tokio::time::sleep(Duration::from_millis(100)).await;
            status = service.get(&place).await.json();
        }
        assert_eq!((&status["status"], &status["progress"]), (&json!("successful"), &json!(100)), "{status}");
        let results = service.get(&format!("{place}/results")).await;
        assert_eq!((results.status.as_u16(), &results.body), (200, &inline.body));
        // Posted again it is answered at once.
        let again = service.send(asynchronous(&day())).await;
        assert_eq!((again.status.as_u16(), &again.body), (200, &inline.body));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_can_be_given_up() {
    let service = service();
    let mut long = day();
    long["flights"] = json!(400_000);
    let accepted = service.send(json_request(DAYS, long.to_string())).await;
    assert_eq!(accepted.status, 201, "{}", accepted.text());
    let place = accepted.header("location").to_string();
    check_problem(&service.get(&format!("{place}/results")).await, 404, "result-not-ready");
    let gone = service.send(request(Method::DELETE, &place, Body::empty())).await;
    assert_eq!(gone.json()["status"], "dismissed");
    assert_eq!(service.get(&place).await.json()["status"], "dismissed");
    // Whoever waits for it learns that it does not come.
    check_problem(&service.get(&format!("{place}/results")).await, 410, "job-dismissed");
    let id = place.rsplit('/').next().unwrap();
    check_problem(&service.get(&format!("{DAYS}/{id}")).await, 404, "unknown-day");
}

#[tokio::test]
async fn what_is_unknown_or_too_much_is_told() {
    let service = patient(Config { job_flights: 100, ..Config::default() });
    let zeros = "0".repeat(32);
    check_problem(&service.get(&format!("{DAYS}/{zeros}")).await, 404, "unknown-day");
    check_problem(&service.get(&format!("/v1/jobs/{zeros}")).await, 404, "unknown-job");
    check_problem(&service.get(&format!("/v1/jobs/{zeros}/results")).await, 404, "unknown-job");
    check_problem(&service.get(&format!("{DAYS}/nonsense")).await, 400, "invalid-path");
    check_problem(&post(&service, &day()).await, 422, "too-many-flights");
    let busy = patient(Config { jobs: 0, ..Config::default() });
    check_problem(&busy.send(asynchronous(&day())).await, 503, "overloaded");
}

#[tokio::test]
async fn new_weather_marks_what_changed() {
    let service = service();
    let first = post(&service, &day()).await;
    let id = first.json()["id"].as_str().unwrap().to_string();
    let begun = service.state.compute.begun();
    let revise = |patch: Value| service.send(json_request(&format!("{DAYS}/{id}/revisions"), patch.to_string()));
    let revised = revise(json!({"wind": {"surface": {"speed": "12 mph", "gust": "18 mph"}}})).await;
    assert_eq!(revised.status, 200, "{}", revised.text());
    assert_eq!(service.state.compute.begun(), begun + 1);
    // The same as the whole day posted with that wind.
    let mut whole = day();
    whole["wind"]["surface"]["speed"] = json!("12 mph");
    whole["wind"]["surface"]["gust"] = json!("18 mph");
    assert_eq!(post(&service, &whole).await.body, revised.body);
    let link = revised.header("link");
    let changes = service.get(link.trim_start_matches('<').split('>').next().unwrap()).await;
    assert_eq!(changes.status, 200, "{}", changes.text());
    let changes = changes.json();
    check_described("DayChanges", &changes);
    let input: Vec<(&str, &Value, &Value)> = changes["input"]
        .as_array()
        .unwrap()
        .iter()
        .map(|c| (c["pointer"].as_str().unwrap(), &c["before"], &c["after"]))
        .collect();
    assert_eq!(
        input,
        [
            ("/wind/surface/gust", &json!("8 mph"), &json!("18 mph")),
            ("/wind/surface/speed", &json!("5 mph"), &json!("12 mph")),
        ]
    );
    let (old, new) = (first.json(), revised.json());
    for (k, entry) in changes["entries"].as_array().unwrap().iter().enumerate() {
        assert_eq!(entry["change"], "changed");
        for (d, delay) in entry["delays"].as_array().unwrap().iter().enumerate() {
            let of = |day: &Value| day["entries"][k]["flight"]["delays"][d].clone();
            assert_eq!(delay["unsafe_opening_before"], of(&old)["limits"][1]["unsafe_opening"]);
            assert_eq!(delay["unsafe_opening_after"], of(&new)["limits"][1]["unsafe_opening"]);
            assert_eq!(delay["standing_after"], of(&new)["standing"]);
        }
    }
    // Only one flight is another; one is gone, one is new.
    let mut entries = day()["entries"].clone();
    entries[2]["delays"] = json!([4, 5]);
    entries[0]["name"] = json!("pad 7");
    entries[1]["copy_of"] = json!("pad 7");
    let other = revise(json!({"entries": entries})).await.json();
    let place = format!("{DAYS}/{}/changes?since={id}", other["id"].as_str().unwrap());
    let changes = service.get(&place).await.json();
    let told: Vec<(&str, &str)> = changes["entries"]
        .as_array()
        .unwrap()
        .iter()
        .map(|e| (e["name"].as_str().unwrap(), e["change"].as_str().unwrap()))
        .collect();
    let places: Vec<&str> =
        changes["input"].as_array().unwrap().iter().map(|c| c["pointer"].as_str().unwrap()).collect();
    assert!(places.contains(&"/entries/pad 2/delays") && places.contains(&"/entries/pad 7"), "{places:?}");
    assert_eq!(told, [("pad 7", "new"), ("pad 1, other motor", "same"), ("pad 2", "changed"), ("pad 1", "gone")]);
    let delays = changes["entries"][2]["delays"].as_array().unwrap();
    assert_eq!((&delays[0]["label"], &delays[0]["standing_before"]), (&json!("delay 4 s"), &Value::Null));
    assert_eq!(delays[1]["unsafe_opening_before"], delays[1]["unsafe_opening_after"]);
    assert_eq!(delays[1]["intervals_apart"], json!(false));
}

#[tokio::test]
async fn a_revision_that_cannot_be_is_told() {
    let service = service();
    let id = post(&service, &day()).await.json()["id"].as_str().unwrap().to_string();
    let revise = |id: String, patch: Value| {
        let service = &service;
        async move { service.send(json_request(&format!("{DAYS}/{id}/revisions"), patch.to_string())).await }
    };
    check_problem(&revise("0".repeat(32), json!({})).await, 404, "unknown-day");
    check_problem(&revise(id.clone(), json!([1])).await, 422, "invalid-input");
    check_problem(&revise(id.clone(), json!({"wind": null})).await, 422, "invalid-input");
    assert_eq!(revise(id.clone(), json!({})).await.json()["id"].as_str(), Some(id.as_str()));
    check_problem(&service.get(&format!("{DAYS}/{id}/changes")).await, 400, "invalid-query");
    check_problem(&service.get(&format!("{DAYS}/{id}/changes?since=x")).await, 400, "invalid-path");
    let zeros = "0".repeat(32);
    check_problem(&service.get(&format!("{DAYS}/{id}/changes?since={zeros}")).await, 404, "unknown-day");
}

/// A report as it was issued, in place of the wind: every flight is in it, and it can come as the new weather.
#[tokio::test]
async fn a_day_takes_weather_as_people_have_it() {
    let service = service();
    let id = post(&service, &day()).await.json()["id"].as_str().unwrap().to_string();
    // The published report of the example of weather, at the elevation of its airport.
    let report: Value = serde_json::from_str(include_str!("../examples/weather/albuquerque.json")).unwrap();
    let patch = json!({
        "site": {"elevation": report["field_elevation"], "temperature": null, "altimeter_setting": null},
        "weather": {"metar": report["metar"], "date": report["date"]},
        "launch_at": "2026-11-10T02:30:00Z",
    });
    let revised = service.send(json_request(&format!("{DAYS}/{id}/revisions"), patch.to_string())).await;
    assert_eq!(revised.status, 200, "{}", revised.text());
    for row in revised.json()["entries"].as_array().unwrap() {
        assert!(row["problem"].is_null(), "{row}");
        let whole = service.get(row["flight"]["href"].as_str().unwrap()).await.json();
        assert!(whole["weather"].to_string().contains("KABQ"), "{}", whole["weather"]);
        // 10 kt.
        assert_eq!(whole["nominal"]["surface_wind_m_s"], json!(5.14444));
    }
    let without = json!({"weather": {"metar": report["metar"], "date": report["date"]}});
    let refused = service.send(json_request(&format!("{DAYS}/{id}/revisions"), without.to_string())).await;
    let problem = refused.json()["entries"][0]["problem"].to_string();
    assert!(problem.contains("\"/entries/0/launch_at\""), "{problem}");
}

/// What a change does to a copy is the copy's fault alone, also where it is told in the card that was copied.
#[tokio::test]
async fn a_bad_change_does_not_lose_what_was_copied() {
    let service = service();
    let mut sent = day();
    sent["entries"][1]["changes"] = json!({"card": {"airframe": {"length": "500 mm"}}});
    let answer = post(&service, &sent).await.json();
    assert!(answer["entries"][0]["problem"].is_null(), "{}", answer["entries"][0]["problem"]);
    let errors = answer["entries"][1]["problem"]["errors"].as_array().unwrap();
    assert!(!errors.is_empty());
}

/// What is shared may suit all flights but one, and one flight may have any number of faults.
#[tokio::test]
async fn one_flight_that_does_not_suit_loses_nobody_elses() {
    let service = service();
    let mut sent = day();
    sent["launch"]["aft_guide"] = json!("900 mm");
    let answer = post(&service, &sent).await.json();
    let flown = |answer: &Value| -> Vec<bool> {
        answer["entries"].as_array().unwrap().iter().map(|e| e["problem"].is_null()).collect()
    };
    assert_eq!(flown(&answer), [true, true, false], "the last is 450 mm long");
    let mut sent = day();
    for k in 0..105 {
        sent["entries"][2]["card"][format!("odd{k}")] = json!(1);
    }
    let answer = post(&service, &sent).await.json();
    assert_eq!(flown(&answer), [true, true, false]);
}

/// A revision is laid over the day as it was posted, so two days that come to the same flights are two.
#[tokio::test]
async fn a_day_is_what_was_posted() {
    let service = service();
    let shared = post(&service, &day()).await.json();
    let mut own = day();
    let launch = own.as_object_mut().unwrap().remove("launch").unwrap();
    for k in [0, 2] {
        let mut whole = launch.clone();
        json_merge(&mut whole, &own["entries"][k]["launch"]);
        own["entries"][k]["launch"] = whole;
    }
    let each = post(&service, &own).await.json();
    assert_ne!(shared["id"], each["id"]);
    let ids = |day: &Value| -> Vec<Value> {
        day["entries"].as_array().unwrap().iter().map(|e| e["flight"]["assessment"].clone()).collect()
    };
    assert_eq!(ids(&shared), ids(&each), "though the flights are the same");
}

fn json_merge(into: &mut Value, from: &Value) {
    for (name, value) in from.as_object().into_iter().flatten() {
        into[name] = value.clone();
    }
}

#[tokio::test]
async fn a_day_that_ends_on_its_intervals_says_so() {
    let service = service();
    let mut sent = day();
    let members = sent.as_object_mut().unwrap();
    members.remove("flights");
    members.insert("until".into(), json!({"half_width": "10 %", "within": 512}));
    let answer = post(&service, &sent).await.json();
    check_described("DayAnswer", &answer);
    assert!(answer["until"].as_str().unwrap().contains("96.5 %"));
    for row in answer["entries"].as_array().unwrap() {
        assert!(row["flight"]["narrow_enough"].is_boolean());
    }
}

/// Kept, a day holds each name once: with one that stands twice it would have the id of another day.
#[tokio::test]
async fn a_name_that_stands_twice_in_an_entry_refuses_the_day() {
    let service = service();
    let twice = day().to_string().replacen("\"card\":", "\"card\":null,\"card\":", 1);
    let problem = check_problem(&service.send(json_request("/v1/days", twice)).await, 422, "invalid-input");
    assert_eq!(problem["errors"][0]["pointer"], "/entries/0/card");
    assert_eq!(service.store.answers(), 0);
}
