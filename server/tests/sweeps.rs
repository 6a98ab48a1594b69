//! A sweep: every setting as its flight card by itself, choices by the upper ends of intervals, faults at their places.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use serde_json::{Value, json};
use support::{Reply, Service, check_described, check_problem, json_request, service};

const SWEEPS: &str = "/v1/sweeps";

/// Two hours and two tilts, few flights.
fn sweep() -> Value {
    let text = include_str!("../examples/sweeps/meadow.json");
    let mut sweep: Value = serde_json::from_str(text).unwrap();
    let base = sweep["base"].as_object_mut().unwrap();
    base.remove("until");
    base.insert("flights".into(), json!(256));
    base.insert("delays".into(), json!([5, 7]));
    sweep["axes"]["hours"].as_array_mut().unwrap().truncate(2);
    sweep["axes"]["tilts"] = json!(["0 deg", 4]);
    sweep
}

async fn post(service: &Service, body: &Value) -> Reply {
    service.send(json_request(SWEEPS, body.to_string())).await
}

#[tokio::test]
async fn every_setting_is_its_flight_card_by_itself() {
    let service = service();
    let reply = post(&service, &sweep()).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    let answer = reply.json();
    check_described("SweepAnswer", &answer);
    assert_eq!(service.get(reply.header("location")).await.body, reply.body);
    let axes = json!([
        {"axis": "hours", "labels": ["09:00", "11:00"]},
        {"axis": "tilts", "labels": ["0 deg", "4 deg"]},
    ]);
    assert_eq!(answer["axes"], axes);
    let cells = answer["cells"].as_array().unwrap();
    assert_eq!(
        cells.iter().map(|c| c["at"].clone()).collect::<Vec<_>>(),
        [json!([0, 0]), json!([0, 1]), json!([1, 0]), json!([1, 1])]
    );
    // The last setting, written as a card.
    let mut card = sweep()["base"].clone();
    let wind = &sweep()["axes"]["hours"][1]["wind"];
    for (name, value) in wind.as_object().unwrap() {
        card["wind"][name] = value.clone();
    }
    card["launch"]["tilt"] = json!("4 deg");
    let alone = service.post(&card).await.json();
    assert_eq!(cells[3]["flights"], alone["flights"]);
    assert_eq!(cells[3]["best_delay_s"], alone["advice"]["between"]["best_delay_s"]);
    for (swept, whole) in cells[3]["delays"].as_array().unwrap().iter().zip(alone["delays"].as_array().unwrap()) {
        assert_eq!((&swept["label"], &swept["standing"]), (&whole["label"], &whole["standing"]));
        for (a, b) in swept["limits"].as_array().unwrap().iter().zip(whole["limits"].as_array().unwrap()) {
            for name in ["over", "unsafe_opening"] {
                assert_eq!(a[name], b[name]["estimate"]);
                assert_eq!(a[format!("{name}_lower")], b[name]["lower"]);
                assert_eq!(a[format!("{name}_upper")], b[name]["upper"]);
            }
        }
        assert_eq!(swept["landing_distance_p90_m"], whole["landing"]["distance_p90_m"]);
        let landing = &whole["landing"];
        for (check, chance) in
            [(1, &landing["outside_fields"]), (2, &landing["areas"][1]["inside"]), (3, &alone["above_ceiling"])]
        {
            for (name, of) in [("chance", "estimate"), ("lower", "lower"), ("upper", "upper"), ("text", "text")] {
                assert_eq!(swept["checks"][check][name], chance[of], "{check}");
            }
        }
    }
}

/// What meets every condition is told from the upper ends, and nothing else is.
#[tokio::test]
async fn choices_follow_from_the_upper_ends() {
    let service = service();
    let mut asked = sweep();
    asked["landing"] = json!([{"area": "field", "outside": "40 %"}, {"area": "spectators", "inside": "5 %"}]);
    asked["base"]["condition"]["chance"] = json!("20 %");
    asked["base"]["delays"] = json!([2, 5, 7, 9]);
    let answer = post(&service, &asked).await.json();
    let bounds: Vec<f64> =
        answer["conditions"].as_array().unwrap().iter().map(|c| c["at_most"].as_f64().unwrap()).collect();
    assert_eq!(bounds, [0.2, 0.4, 0.05, 0.05]);
    let mut feasible = Vec::new();
    for (k, cell) in answer["cells"].as_array().unwrap().iter().enumerate() {
        for delay in cell["delays"].as_array().unwrap() {
            let uppers: Vec<f64> =
                delay["checks"].as_array().unwrap().iter().map(|c| c["upper"].as_f64().unwrap()).collect();
            assert_eq!(uppers[0], delay["limits"][1]["unsafe_opening_upper"].as_f64().unwrap());
            let worst = uppers.iter().zip(&bounds).map(|(upper, bound)| upper / bound).fold(0.0, f64::max);
            if worst <= 1.0 {
                feasible.push((worst, k as u64, delay["label"].clone()));
            }
        }
    }
    feasible.sort_by(|a, b| a.0.total_cmp(&b.0));
    assert!(!feasible.is_empty() && feasible.len() < 16, "{feasible:?}");
    assert_eq!(answer["feasible"], json!(feasible.len()));
    let best: Vec<(u64, Value)> =
        answer["best"].as_array().unwrap().iter().map(|b| (b["cell"].as_u64().unwrap(), b["delay"].clone())).collect();
    assert_eq!(best, feasible.iter().take(10).map(|f| (f.1, f.2.clone())).collect::<Vec<_>>());
    assert!(answer["nearest"].is_null());
}

#[tokio::test]
async fn where_nothing_meets_the_nearest_is_told() {
    let service = service();
    let mut asked = sweep();
    asked["base"]["condition"]["chance"] = json!("0.01 %");
    let answer = post(&service, &asked).await.json();
    check_described("SweepAnswer", &answer);
    assert_eq!((&answer["feasible"], &answer["best"]), (&json!(0), &json!([])));
    let text = answer["nearest"]["text"].as_str().unwrap();
    assert!(text.starts_with("Nearest is ") && text.contains("against at most 0.010 %"), "{text}");
    assert!(text.contains("With a delay of"), "{text}");
}

/// A setting ends once its own intervals are narrow enough, so that many cost less than the most that is allowed.
#[tokio::test]
async fn settings_end_when_their_intervals_are_narrow() {
    let service = service();
    let mut asked = sweep();
    let base = asked["base"].as_object_mut().unwrap();
    base.remove("flights");
    base.insert("until".into(), json!({"half_width": "3 %", "within": 2048}));
    let answer = post(&service, &asked).await.json();
    assert!(answer["flights"].as_u64().unwrap() < answer["flights_at_most"].as_u64().unwrap(), "{}", answer["flights"]);
    assert_eq!(answer["flights_at_most"], json!(4 * 2048));
    for cell in answer["cells"].as_array().unwrap() {
        let widest =
            cell["delays"].as_array().unwrap().iter().flat_map(|d| d["limits"].as_array().unwrap()).flat_map(|l| {
                ["over", "unsafe_opening"].map(|name| {
                    0.5 * (l[format!("{name}_upper")].as_f64().unwrap() - l[format!("{name}_lower")].as_f64().unwrap())
                })
            });
        let widest = widest.fold(0.0, f64::max);
        assert_eq!(cell["narrow_enough"], json!(widest <= 0.03), "{widest}");
    }
}

#[tokio::test]
async fn faults_are_told_at_their_places() {
    let service = service();
    for (place, value, pointer) in [
        ("/axes/tilts/1", json!("95 deg"), "/axes/tilts/1"),
        ("/axes/hours/1/wind/surface/speed", json!("fast"), "/axes/hours/1/wind/surface/speed"),
        ("/axes/hours/1/label", Value::Null, "/axes/hours/1/label"),
        ("/axes/tilts", json!([]), "/axes/tilts"),
        ("/axes", json!({}), "/axes"),
        ("/axes", json!({"moons": [1]}), "/axes/moons"),
        ("/base/card/airframe/mass", json!("620 kg"), "/base/card/airframe/mass"),
        ("/base/drivers", json!(256), "/base/drivers"),
        (
            "/base/cords",
            json!({
                "nose_mass": "80 g",
                "arrangements": [{
                    "name": "line",
                    "edge_width": "3 mm",
                    "runs": [[{"length": "3 m", "strength": "900 N", "fibre": "nylon"}]]
                }],
                "wall": {"resistance": "30 N/mm"}
            }),
            "/base/cords",
        ),
        ("/landing/1/area", json!("moon"), "/landing/1/area"),
        ("/landing/1/area", Value::Null, "/landing/1/area"),
        ("/landing/0/area", json!("field"), "/landing/0/area"),
        ("/axes/hours/1/label", json!("09:00"), "/axes/hours/1/label"),
        ("/landing/0/outside_fields", json!("0 %"), "/landing/0/outside_fields"),
        ("/base/site/areas/0/role", Value::Null, "/landing/0/outside_fields"),
        ("/landing/0/inside", json!("1 %"), "/landing/0"),
        ("/above_ceiling", json!("200 %"), "/above_ceiling"),
        ("/base/site/ceiling", Value::Null, "/above_ceiling"),
        ("/base", Value::Null, "/base"),
    ] {
        let mut asked = sweep();
        let (parent, name) = place.rsplit_once('/').unwrap();
        match asked.pointer_mut(parent).unwrap() {
            Value::Array(items) => items[name.parse::<usize>().unwrap()] = value.clone(),
            node => node[name] = value.clone(),
        }
        let reply = post(&service, &asked).await;
        check_problem(&reply, 422, "invalid-input");
        let errors = reply.json()["errors"].clone();
        let places: Vec<&str> = errors.as_array().unwrap().iter().map(|e| e["pointer"].as_str().unwrap()).collect();
        assert!(places.contains(&pointer), "{place} {value}: {errors}");
    }
    // What is no object has that fault alone.
    for whole in [json!([5]), json!("sweep"), Value::Null] {
        let reply = post(&service, &whole).await;
        check_problem(&reply, 422, "invalid-input");
        let errors = reply.json()["errors"].clone();
        assert_eq!((errors.as_array().unwrap().len(), &errors[0]["pointer"]), (1, &json!("")), "{errors}");
    }
    let mut wide = sweep();
    wide["axes"]["azimuths"] = json!((0..72).map(|k| 5 * k).collect::<Vec<_>>());
    wide["axes"]["tilts"] = json!((0..30).map(|k| 0.1 * f64::from(k)).collect::<Vec<_>>());
    let reply = post(&service, &wide).await;
    assert!(reply.text().contains("the axes make 4320 settings"), "{}", reply.text());
}

/// An hour may have a message where the base has a wind.
#[tokio::test]
async fn an_hour_takes_weather_as_people_have_it() {
    let service = service();
    let mut asked = sweep();
    asked["axes"] = json!({"hours": [
        {"label": "by hand", "wind": {"surface": {"speed": "10 kt", "gust": null}}},
        {"label": "reported", "weather": {"metar": "KABQ 100156Z 32010KT 10SM FEW033 19/01 A2999", "date": "2026-11-10"},
         "launch_at": "2026-11-10T02:00:00Z"},
    ]});
    let reply = post(&service, &asked).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    let answer = reply.json();
    let of = |cell: usize| answer["cells"][cell]["delays"][0]["limits"][1]["unsafe_opening"].as_f64().unwrap();
    assert!(of(0) != of(1), "{} {}", of(0), of(1));
    asked["axes"]["hours"][1]["weather"]["metar"] = json!("KABQ 100156Z 320l0KT");
    let reply = post(&service, &asked).await;
    check_problem(&reply, 422, "invalid-input");
    assert!(reply.text().contains("\"/axes/hours/1/weather/metar\""), "{}", reply.text());
}

/// What a step takes away is a part of what is asked: another id, another answer.
#[tokio::test]
async fn a_null_in_a_step_takes_away() {
    let service = service();
    let gust = |gust: Option<Value>| {
        let mut asked = sweep();
        asked["axes"] = json!({"hours": [{"label": "x", "wind": {"surface": {"speed": "9 mph"}}}]});
        if let Some(gust) = gust {
            asked["axes"]["hours"][0]["wind"]["surface"]["gust"] = gust;
        }
        asked
    };
    let (kept, taken) =
        (post(&service, &gust(None)).await.json(), post(&service, &gust(Some(Value::Null))).await.json());
    assert_ne!(kept["id"], taken["id"]);
    assert_ne!(kept["cells"], taken["cells"]);
    // Outside of the axes a null says nothing.
    let mut same = gust(None);
    same["note"] = Value::Null;
    same["base"]["spread"] = Value::Null;
    assert_eq!(post(&service, &same).await.json()["id"], kept["id"]);
}

#[tokio::test]
async fn too_much_to_read_or_to_answer_is_refused_at_once() {
    let service = service();
    let mut asked = sweep();
    asked["base"]["delays"] = json!((0..32).map(|k| 2.0 + 0.25 * f64::from(k)).collect::<Vec<_>>());
    asked["base"]["limits"]["deploy_speed"] = json!((10..22).collect::<Vec<_>>());
    asked["base"]["condition"] = Value::Null;
    asked["axes"]["tilts"] = json!((0..50).map(|k| 0.1 * f64::from(k)).collect::<Vec<_>>());
    asked["axes"]["azimuths"] = json!((0..12).map(|k| 30 * k).collect::<Vec<_>>());
    let reply = post(&service, &asked).await;
    check_problem(&reply, 422, "invalid-input");
    assert!(reply.text().contains("1200 settings have 576000 figures"), "{}", reply.text());
}

#[tokio::test]
async fn the_heat_map_shows_the_numbers() {
    let service = service();
    let answer = post(&service, &sweep()).await.json();
    let place = format!("{SWEEPS}/{}", answer["id"].as_str().unwrap());
    let svg = service.get(&format!("{place}/heat-map.svg")).await;
    assert_eq!((svg.status.as_u16(), svg.header("content-type")), (200, "image/svg+xml"));
    let text = svg.text();
    assert!(text.contains("It approves no flight") && !text.contains("<script"));
    for cell in answer["cells"].as_array().unwrap() {
        for delay in cell["delays"].as_array().unwrap() {
            let chance = 100.0 * delay["limits"][1]["unsafe_opening"].as_f64().unwrap();
            let shown = if !(9.95..=90.05).contains(&chance) { format!("{chance:.1}") } else { format!("{chance:.0}") };
            let shown = if chance < 0.05 { "&lt;0.1".into() } else { shown };
            assert!(text.contains(&format!(">{shown}</text>")), "{shown}");
        }
    }
    let png = service.get(&format!("{place}/heat-map.png")).await;
    assert_eq!((png.header("content-type"), &png.body[..8]), ("image/png", &b"\x89PNG\r\n\x1a\n"[..]));
    check_problem(&service.get(&format!("{SWEEPS}/{}/heat-map.svg", "0".repeat(32))).await, 404, "unknown-sweep");
}

/// Two sites that differ only in where a landing counts share their flights; a third at another height does not. Each setting
/// is what its flight card alone comes to.
#[tokio::test]
async fn settings_that_differ_only_in_areas_share_their_flights() {
    let service = service();
    let mut asked = sweep();
    let site = asked["base"]["site"].clone();
    let mut apart = site.clone();
    apart["ceiling"] = json!("200 m");
    for area in apart["areas"].as_array_mut().unwrap() {
        area["circle"] = json!({"east": 40, "north": 30, "radius": 35});
        for name in ["polygon", "geometry"] {
            area.as_object_mut().unwrap().remove(name);
        }
    }
    let mut higher = site.clone();
    higher["elevation"] = json!("1500 m");
    asked["axes"] = json!({
        "tilts": [0, 4],
        "sites": [{"label": "a", "site": site}, {"label": "b", "site": apart}, {"label": "c", "site": higher}],
    });
    let flown = || service.state.metrics.flights("sweeps", slowpoint_server::metrics::Mode::Inline).get();
    let reply = post(&service, &asked).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    assert_eq!(flown(), 2 * 2 * 256, "of six settings four are flown");
    let answer = reply.json();
    assert_eq!(answer["axes"][0]["axis"], "sites");
    for (k, cell) in answer["cells"].as_array().unwrap().iter().enumerate() {
        let mut card = asked["base"].clone();
        card["launch"]["tilt"] = asked["axes"]["tilts"][k % 2].clone();
        card["site"] = asked["axes"]["sites"][k / 2]["site"].clone();
        let alone = service.post(&card).await.json();
        for (swept, whole) in cell["delays"].as_array().unwrap().iter().zip(alone["delays"].as_array().unwrap()) {
            let landing = &whole["landing"];
            assert_eq!(swept["limits"][0]["over"], whole["limits"][0]["over"]["estimate"]);
            assert_eq!(swept["landing_distance_p90_m"], landing["distance_p90_m"]);
            for (check, chance) in
                [(1, &landing["outside_fields"]), (2, &landing["areas"][1]["inside"]), (3, &alone["above_ceiling"])]
            {
                assert_eq!(swept["checks"][check]["chance"], chance["estimate"], "{k} {check}");
            }
        }
    }
}
