//! The RSO's page from outside: every number on it against the answer, its words, and what a browser is let do.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

#[path = "support/pages.rs"]
mod pages;
mod support;

use std::collections::{HashMap, HashSet};

use axum::body::Body;
use axum::http::Method;
use pages::{all, words};
use scraper::{ElementRef, Html, Selector};
use serde_json::{Value, json};
use slowpoint_server::page::ROUTES;
use slowpoint_server::store::{Access, Scope, Token};
use support::{Reply, Service, card, example, json_request, request, service};

/// One mile an hour, one foot (international, exact), one foot-pound and one pound-force (NIST SP 811) in SI.
const MPH: f64 = 0.44704;
const FOOT: f64 = 0.3048;
const FOOT_POUND: f64 = 1.355_817_948;
const POUND: f64 = 4.448_221_615;

/// A small example of each shelf, as its path in the API.
async fn posted(service: &Service, shelf: &str, mut body: Value) -> String {
    for name in ["flights", "until"] {
        body.as_object_mut().unwrap().remove(name);
    }
    let flights = if shelf == "sweeps" { &mut body["base"]["flights"] } else { &mut body["flights"] };
    *flights = json!(256);
    if shelf == "sweeps" {
        body["base"].as_object_mut().unwrap().remove("until");
    }
    let reply = service.send(json_request(&format!("/v1/{shelf}"), body.to_string())).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    reply.header("location").to_string()
}

/// A page's address from that of its answer.
fn page_of(place: &str) -> String {
    place.replace("/v1/", "/").replace("/assessments/", "/flights/")
}

fn id_of(place: &str) -> &str {
    place.rsplit('/').next().unwrap()
}

/// A page; read as HTML without a fault.
async fn read(service: &Service, uri: &str) -> Html {
    let reply = service.get(uri).await;
    assert_eq!(reply.status, 200, "{uri}: {}", reply.text());
    pages::read(&reply)
}

/// A day with a flight that cannot be flown.
fn day() -> Value {
    let mut day = example("days/meadow.json");
    let mut broken = day["entries"][0].clone();
    broken["name"] = json!("broken & <mended>");
    broken["card"]["airframe"]["mass"] = json!("620 kg");
    day["entries"].as_array_mut().unwrap().push(broken);
    day
}

/// Every page of a service with something of everything: its address.
async fn everything(service: &Service) -> Vec<String> {
    let flights = ["mapped-field.json", "weather-report.json"];
    let mut driven = card();
    driven["drivers"] = json!(256);
    driven["cords"] = example("tube-edge.json")["cords"].clone();
    // Each by itself, and one that no flight shows.
    driven["site"] = json!({"areas": [{"name": "near", "circle": {"east": 0, "north": 0, "radius": "30 m"}}]});
    driven["limits"] = json!({"deploy_speed": ["35 mph", "190 m/s"]});
    driven["rare"] = json!([
        {"landing_in": "near", "flights": 1024},
        {"opening_over": "35 mph", "flown_with": "delay 7 s", "flights": 1024},
        {"opening_over": "190 m/s", "flights": 1024},
    ]);
    // Logs that any flight agrees with, so that something is learned of them.
    let mut logged = card();
    logged["calibration"] = json!({"flights": 1024, "flown": [
        {"apogee_time": "8 s", "apogee_time_error": "3 s", "flown_with": "delay 7 s"},
        {"apogee": "300 m", "apogee_error": "400 m", "opening_speed": "15 m/s", "opening_speed_error": "10 m/s", "flown_with": "delay 7 s"},
    ]});
    let mut places = vec![posted(service, "assessments", driven).await, posted(service, "assessments", logged).await];
    for name in flights {
        places.push(posted(service, "assessments", example(name)).await);
    }
    let before = posted(service, "days", day()).await;
    let patch = json!({"wind": {"surface": {"speed": "7 mph"}}}).to_string();
    let revised = service.send(json_request(&format!("{before}/revisions"), patch)).await;
    assert_eq!(revised.status, 200, "{}", revised.text());
    let revised = revised.header("location").to_string();
    let sweep = posted(service, "sweeps", example("sweeps/meadow.json")).await;
    let mut pages = vec!["/".to_string(), "/new".to_string()];
    for place in &places {
        let page = page_of(place);
        pages.extend([page.clone(), format!("{page}/sheet"), format!("{page}/embed")]);
    }
    for place in [&before, &revised] {
        let page = page_of(place);
        pages.extend([page.clone(), format!("{page}/sheet"), format!("{page}?only=failed&sort=chance")]);
    }
    pages.push(format!("{}?since={}", page_of(&revised), id_of(&before)));
    pages.push(page_of(&sweep));
    pages
}

/// How much of SI the unit is in which a place of an answer is shown, and whether it is a chance: by the unit in its name.
fn unit(pointer: &str, us: bool) -> f64 {
    let names: Vec<&str> = pointer.split('/').collect();
    let ends = |unit: &str| names.iter().any(|name| name.ends_with(unit));
    if names.contains(&"drivers") {
        // Their quantities are named with units; their indices have none.
        return 1.0;
    }
    let both = names.iter().any(|name| name.starts_with("limit_m") || name.starts_with("surface_wind"));
    match us && !both {
        true if ends("_m_s") => MPH,
        true if ends("_m") => FOOT,
        true if ends("_j") => FOOT_POUND,
        true if ends("_n") => POUND,
        true if ends("_n_per_mm") => POUND / 25.4,
        _ => 1.0,
    }
}

/// The same of what was learned from flights flown: their units stand beside them.
fn unit_beside(answer: &Value, pointer: &str, us: bool) -> Option<f64> {
    let told = pointer.strip_prefix("/calibration/")?;
    let mut above = pointer;
    let unit = loop {
        above = &above[..above.rfind('/')?];
        if let Some(unit) = answer.pointer(&format!("{above}/unit")) {
            break unit.as_str()?;
        }
    };
    Some(match (us && !told.contains("/scatter/"), unit) {
        (true, "m") => FOOT,
        (true, "m/s") => MPH,
        _ => 1.0,
    })
}

/// Holds every number and text of a page against the answer it names, as the API sends it. How many there are of each place.
async fn held(service: &Service, uri: &str, answers: &mut HashMap<String, Value>) -> HashSet<String> {
    let page = read(service, uri).await;
    let us = uri.contains("units=us");
    let mut seen = HashSet::new();
    for element in all(&page, "[data-at]") {
        let pointer = element.value().attr("data-at").unwrap();
        let of = element.ancestors().filter_map(ElementRef::wrap).find_map(|e| e.value().attr("data-answer"));
        let address = of.unwrap_or_else(|| panic!("{uri}: {pointer} is of no answer"));
        if !answers.contains_key(address) {
            answers.insert(address.into(), service.get(address).await.json());
        }
        let told = answers[address].pointer(pointer).unwrap_or_else(|| panic!("{address} has no {pointer}"));
        let text = words(element);
        let place = format!("{uri}: {address}{pointer} is {told}, shown as {text:?}");
        match element.value().attr("value") {
            // What stands between backticks in an answer is set as code.
            None => assert_eq!(Some(text), told.as_str().map(|told| told.replace('`', "")), "{place}"),
            Some(value) => {
                assert_eq!(&serde_json::from_str::<Value>(value).unwrap(), told, "{place}");
                let unit = unit_beside(&answers[address], pointer, us).unwrap_or_else(|| unit(pointer, us));
                check_digits(&text, told.as_f64().unwrap(), unit, &place);
            }
        }
        seen.insert(format!("{address}{pointer}"));
    }
    seen
}

/// A number is shown as it is, to half of its last digit; a chance next to 0 or 1 by what it lies below or above.
fn check_digits(text: &str, told: f64, unit: f64, place: &str) {
    if text == "all flights" {
        return assert!(told > 0.999_9, "{place}");
    }
    let (text, of_one) = match text.strip_suffix(" % of flights") {
        Some(share) => (share, 100.0),
        None => (text, if text.ends_with('%') { 100.0 } else { 1.0 }),
    };
    let number = text.split('\u{a0}').next().unwrap();
    let told = told * of_one / unit;
    if let Some(bound) = number.strip_prefix("< ") {
        assert!(told < bound.parse().unwrap(), "{place}");
    } else if let Some(bound) = number.strip_prefix("> ") {
        assert!(told > bound.parse().unwrap(), "{place}");
    } else {
        let decimals = number.split_once('.').map_or(0, |(_, decimals)| decimals.len());
        let half = 0.5 * 10_f64.powi(-i32::try_from(decimals).unwrap());
        let shown: f64 = number.parse().unwrap_or_else(|_| panic!("{place}"));
        assert!((shown - told).abs() <= half * (1.0 + 1e-6), "{place}: {told}");
    }
}

/// Every number and every word is the answer's, in either unit, and none of those that matter is left out.
#[tokio::test(flavor = "multi_thread")]
async fn numbers_equal_the_answers() {
    let service = service();
    let mut answers = HashMap::new();
    let mut seen = HashSet::new();
    for page in everything(&service).await {
        for units in ["si", "us"] {
            let join = if page.contains('?') { '&' } else { '?' };
            seen.extend(held(&service, &format!("{page}{join}units={units}"), &mut answers).await);
        }
    }
    let mut wanted = Vec::new();
    for (address, answer) in &answers {
        if address.starts_with("/v1/assessments/") {
            wanted.extend(of_an_assessment(answer).into_iter().map(|pointer| format!("{address}{pointer}")));
        } else if address.starts_with("/v1/sweeps/") {
            wanted.extend(of_a_sweep(answer).into_iter().map(|pointer| format!("{address}{pointer}")));
        } else if !address.contains("/changes") {
            wanted.extend(of_a_day(answer).into_iter().map(|pointer| format!("{address}{pointer}")));
        }
    }
    assert!(answers.len() > 6 && wanted.len() > 1000, "{} answers, {} places", answers.len(), wanted.len());
    // Flights of a day that nobody opened are answers of which only the weather is shown.
    let opened = |place: &&String| {
        let address = place[.."/v1/assessments/".len() + 32].to_string();
        !place.starts_with("/v1/assessments/") || seen.contains(&format!("{address}/advice/text"))
    };
    let missing: Vec<_> = wanted.iter().filter(opened).filter(|place| !seen.contains(*place)).collect();
    assert!(missing.is_empty(), "not shown: {missing:?}");
    assert!(seen.iter().any(|place| place.contains("/changes?since=") && place.contains("unsafe_opening_after")));
}

/// Pictures have their room before they come. Of those that are flown or made of messages it is what they mostly take.
#[tokio::test(flavor = "multi_thread")]
async fn pictures_push_nothing_away() {
    let service = service();
    let (mut exact, mut near) = (HashSet::new(), HashSet::new());
    for uri in everything(&service).await {
        for img in all(&read(&service, &uri).await, "img") {
            let source = img.value().attr("src").unwrap();
            let picture = service.get(source).await;
            assert_eq!(picture.status, 200, "{source}: {}", picture.text());
            let picture = Html::parse_fragment(&picture.text());
            let [kept, taken] = [img, all(&picture, "svg")[0]].map(|element| {
                ["width", "height"].map(|name| element.value().attr(name).and_then(|n| n.parse::<f64>().ok()).unwrap())
            });
            assert_eq!(kept[0], taken[0], "{uri}: {source}");
            let name = source.split(['/', '?']).find(|part| part.ends_with(".svg")).unwrap().to_string();
            if ["flight-paths.svg", "wind.svg"].contains(&&*name) {
                assert!((kept[1] / taken[1] - 1.0).abs() < 0.25, "{uri}: {source}: {kept:?} {taken:?}");
                near.insert(name);
            } else {
                assert_eq!(kept[1], taken[1], "{uri}: {source}");
                exact.insert(name);
            }
        }
    }
    assert_eq!([exact.len(), near.len()], [6, 2], "{exact:?} {near:?}");
}

fn lengths(list: &Value) -> std::ops::Range<usize> {
    0..list.as_array().map_or(0, Vec::len)
}

fn of_an_assessment(answer: &Value) -> Vec<String> {
    let mut places: Vec<String> = ["/id", "/engine", "/advice/text", "/intervals"].map(String::from).to_vec();
    for d in lengths(&answer["delays"]) {
        let delay = &answer["delays"][d];
        places.extend([format!("/delays/{d}/label"), format!("/delays/{d}/standing")]);
        for l in lengths(&delay["limits"]) {
            places.extend(["over", "unsafe_opening"].map(|name| format!("/delays/{d}/limits/{l}/{name}/text")));
        }
        if delay["at_ejection"].is_object() {
            let quantiles = ["p05", "p25", "p50", "p75", "p95"];
            let stretch = answer["limits_apply_to"] == "line_stretch";
            let speed = if stretch { "line_stretch_airspeed_m_s" } else { "airspeed_m_s" };
            places.extend(quantiles.map(|q| format!("/delays/{d}/at_ejection/{speed}/{q}")));
            places.push(format!("/delays/{d}/at_ejection/height_above_pad_m/p50"));
        }
        if delay["landing"].is_object() {
            places.extend(
                ["distance_p90_m", "distance_p99_m", "energy_p50_j"].map(|n| format!("/delays/{d}/landing/{n}")),
            );
            for a in lengths(&delay["landing"]["areas"]) {
                places.push(format!("/delays/{d}/landing/areas/{a}/inside/text"));
            }
        }
    }
    for c in lengths(&answer["cautions"]) {
        places.push(format!("/cautions/{c}/message"));
    }
    for a in lengths(&answer["assumed"]) {
        places.push(format!("/assumed/{a}/value"));
    }
    for f in lengths(&answer["failures"]["each"]) {
        places.push(format!("/failures/each/{f}/unsafe_opening/text"));
    }
    for m in lengths(&answer["model_moves"]) {
        for w in lengths(&answer["model_moves"][m]["unsafe_opening"]) {
            places.push(format!("/model_moves/{m}/unsafe_opening/{w}/when_off_text"));
        }
    }
    places.extend(of_cords(&answer["cords"]));
    places.extend(of_calibration(&answer["calibration"]));
    for r in lengths(&answer["rare"]["chances"]) {
        let (chance, at) = (&answer["rare"]["chances"][r], format!("/rare/chances/{r}"));
        let event = if chance["landing_in"].is_null() { "opening_over/limit_m_s" } else { "landing_in" };
        places.push("/rare/meaning".into());
        places.extend([event, "chance_text", "flown_with", "flights", "flights_searched"].map(|n| format!("{at}/{n}")));
        places.extend(lengths(&chance["moved"]).map(|m| format!("{at}/moved/{m}/standard_deviations")));
        if chance["flights_counting"].is_number() {
            places.push(format!("{at}/flights_counting"));
        }
    }
    if answer["weather"].is_object() {
        places.push("/weather/source".into());
    }
    if answer["weather"]["age_h"].is_number() {
        places.push("/weather/age_h".into());
    }
    places
}

fn of_cords(cords: &Value) -> Vec<String> {
    let mut places = Vec::new();
    for d in lengths(&cords["delays"]) {
        places.push(format!("/cords/delays/{d}/label"));
        for a in lengths(&cords["delays"][d]["arrangements"]) {
            let (pull, at) = (&cords["delays"][d]["arrangements"][a], format!("/cords/delays/{d}/arrangements/{a}"));
            places.extend(["name", "edge_tears/text", "cord_breaks/text"].map(|name| format!("{at}/{name}")));
            for name in ["peak_tension_n", "edge_load_n_per_mm"] {
                assert!(pull[name].is_object(), "{pull}");
                places.extend(["p05", "p50", "p95"].map(|q| format!("{at}/{name}/{q}")));
            }
            for k in lengths(&pull["edge_tears_if"]) {
                places.extend(
                    ["resistance_factor", "edge_tears/text"]
                        .into_iter()
                        // The factors stand in the head of the table once.
                        .filter(|name| *name == "edge_tears/text" || (d, a) == (0, 0))
                        .map(|name| format!("{at}/edge_tears_if/{k}/{name}")),
                );
            }
            if pull["against_first"].is_object() {
                places.push(format!("{at}/against_first/text"));
            }
        }
    }
    if cords.is_object() {
        places.extend(["/cords/meaning", "/cords/flights"].map(String::from));
        let ends = ["median_n_per_mm", "p05_n_per_mm", "p95_n_per_mm"];
        places.extend(ends.map(|name| format!("/cords/wall/{name}")));
    }
    places
}

fn of_calibration(found: &Value) -> Vec<String> {
    let mut places = Vec::new();
    let band = |at: &str| ["p05", "p50", "p95"].map(|q| format!("{at}/{q}"));
    for i in lengths(&found["inputs"]) {
        for name in ["before", "after", "bias", "scatter"] {
            places.extend(band(&format!("/calibration/inputs/{i}/{name}")));
        }
    }
    for f in lengths(&found["flown"]) {
        let at = format!("/calibration/flown/{f}");
        places.extend(["flight", "flown_with", "effective_flights"].map(|name| format!("{at}/{name}")));
        for l in lengths(&found["flown"][f]["logged"]) {
            let at = format!("{at}/logged/{l}");
            places.extend(["logged", "error"].map(|name| format!("{at}/{name}")));
            places.extend(["before", "after"].iter().flat_map(|name| band(&format!("{at}/{name}"))));
        }
    }
    if found.is_object() {
        assert_eq!(found["used"], json!(true), "{found}");
        let names = ["meaning", "flights_drawn", "effective_sets", "sampling_error"];
        places.extend(names.map(|name| format!("/calibration/{name}")));
    }
    places
}

fn of_a_day(answer: &Value) -> Vec<String> {
    let mut places = Vec::new();
    for e in lengths(&answer["entries"]) {
        let entry = &answer["entries"][e];
        places.push(format!("/entries/{e}/name"));
        let flight = &entry["flight"];
        for d in lengths(&flight["delays"]) {
            let at = format!("/entries/{e}/flight/delays/{d}");
            assert!(!lengths(&flight["limits"]).is_empty());
            for l in lengths(&flight["limits"]) {
                places.extend(["over", "unsafe_opening"].map(|name| format!("{at}/limits/{l}/{name}/text")));
            }
            places.extend(["label", "standing", "airspeed_p50_m_s"].map(|name| format!("{at}/{name}")));
        }
        for h in lengths(&flight["hold"]) {
            places.push(format!("/entries/{e}/flight/hold/{h}/message"));
        }
        for f in lengths(&entry["problem"]["errors"]) {
            places.push(format!("/entries/{e}/problem/errors/{f}/remedy"));
        }
    }
    places
}

fn of_a_sweep(answer: &Value) -> Vec<String> {
    let mut places = vec!["/text".to_string()];
    if answer["feasible"] != 0 {
        places.push("/feasible".into());
    }
    for c in lengths(&answer["cells"]) {
        for d in lengths(&answer["cells"][c]["delays"]) {
            let at = format!("/cells/{c}/delays/{d}");
            for k in lengths(&answer["cells"][c]["delays"][d]["checks"]) {
                places.extend(["text", "met"].map(|name| format!("{at}/checks/{k}/{name}")));
            }
            places.push(format!("{at}/landing_distance_p90_m"));
        }
    }
    for b in lengths(&answer["best"]) {
        places.push(format!("/best/{b}/chances/0/text"));
    }
    places
}

/// Published messages, of one evening; where each comes from stands beside its decoder.
const REPORT: &str = "KABQ 100156Z 32010KT 280V340 10SM TS FEW033 BKN075CB OVC100 19/14 A2999";
const BULLETIN: &str = "\
DATA BASED ON 091200Z
VALID 100600Z   FOR USE 0200-0900Z. TEMPS NEG ABV 24000

FT  3000    6000    9000   12000   18000   24000  30000  34000  39000

ABQ      1912+16 2435+07 9900-04 2419-04 2427-14 274650 731960 750456
";
/// What stands beside "under limit" in weather that does not bear it.
const MINDED: [&str; 4] = ["old weather", "undated weather", "assumed wind", "caution on wind"];

/// "Under limit" is said only where the upper end of the interval meets the condition, and has its colour only in weather of a
/// known age that nothing is said against.
#[tokio::test(flavor = "multi_thread")]
async fn cells_say_no_more_than_is_known() {
    let service = service();
    // Few flights have wide intervals: a condition that some meet.
    let loose = |name: &str| {
        let mut card = example(name);
        card["condition"]["chance"] = json!("25 %");
        card
    };
    let decoded = || {
        let mut card = loose("weather-report.json");
        card["weather"] = json!({"metar": REPORT, "winds_aloft": BULLETIN});
        card
    };
    let with = |changes: Value| {
        let mut card = decoded();
        json_patch::merge(&mut card, &changes);
        card
    };
    let (mut under, mut other) = (0, 0);
    for (body, minded) in [
        (decoded(), None),
        (with(json!({"launch_at": "2026-11-10T02:30:00-07:00"})), Some("old weather")),
        (with(json!({"weather": {"turbulence": "off"}})), Some("assumed wind")),
        // Winds aloft by hand under a report that has a time.
        (loose("weather-report.json"), Some("assumed wind")),
        (loose("mapped-field.json"), Some("undated weather")),
    ] {
        let place = posted(&service, "assessments", body).await;
        let answer = service.get(&place).await.json();
        let page = read(&service, &page_of(&place)).await;
        let cells = all(&page, ".cells .cell");
        assert_eq!(cells.len(), answer["delays"].as_array().unwrap().len());
        for (cell, delay) in cells.iter().zip(answer["delays"].as_array().unwrap()) {
            let limits = delay["limits"].as_array().unwrap();
            let at = limits.iter().find(|l| l["limit_m_s"] == answer["advice"]["limit_m_s"]).unwrap();
            let upper = at["unsafe_opening"]["upper"].as_f64().unwrap();
            let meets = upper <= answer["advice"]["condition_chance"].as_f64().unwrap();
            let classes: Vec<&str> = cell.value().classes().collect();
            let text = words(*cell);
            assert_eq!(text.contains("under limit"), meets, "{text}, {upper}");
            assert_eq!(classes.contains(&"under"), meets, "{text}");
            assert_eq!(classes.contains(&"undated"), minded.is_some(), "{text}");
            let told = MINDED.into_iter().find(|told| text.contains(told));
            assert_eq!(told, minded.filter(|_| meets), "{text}");
            *(if meets { &mut under } else { &mut other }) += 1;
        }
        let told = words(all(&page, "p.weather")[0]);
        assert_eq!(told.contains("has no colour of its own here"), minded.is_some(), "{told}");
    }
    assert!(under >= 3 && other >= 3, "{under} and {other}: both have to be looked at");
}

/// Wherever it is said how a delay stands, it is said at which limit, and what is to be minded of the weather.
#[tokio::test(flavor = "multi_thread")]
async fn no_word_stands_without_its_limit_and_its_weather() {
    let service = service();
    let (mut minded, mut named) = (HashSet::new(), HashSet::new());
    for uri in everything(&service).await {
        let page = read(&service, &uri).await;
        // None of these has weather that bears a colour.
        for word in all(&page, ".word.under") {
            let next = word.next_siblings().find_map(ElementRef::wrap);
            let class = next.and_then(|next| next.value().attr("class"));
            assert_eq!(class, Some("minded"), "{uri}: {}", words(word));
            minded.insert(uri.clone());
        }
        for head in all(&page, "th").into_iter().map(words).filter(|head| head.starts_with("Stands")) {
            assert!(head.starts_with("Stands at ") && head.contains("m/s") && head.contains("mph"), "{uri}: {head}");
            named.insert(uri.clone());
        }
    }
    for kind in ["/flights/", "/days/", "/sheet"] {
        assert!(minded.iter().any(|uri| uri.contains(kind)), "{kind}: {minded:?}");
    }
    for kind in ["/flights/", "/sheet", "since="] {
        assert!(named.iter().any(|uri| uri.contains(kind)), "{kind}: {named:?}");
    }
}

/// On a day the age of the weather is that of each flight's own launch.
#[tokio::test(flavor = "multi_thread")]
async fn a_flight_of_another_hour_has_no_colour_from_the_first() {
    let service = service();
    let shared = {
        let mut day = example("days/meadow.json");
        let days = day.as_object_mut().unwrap();
        days.remove("wind");
        for name in ["temperature", "altimeter_setting"] {
            days["site"].as_object_mut().unwrap().remove(name);
        }
        days.insert("weather".into(), json!({"metar": REPORT, "winds_aloft": BULLETIN}));
        days["site"]["elevation"] = json!("5355 ft");
        days.insert("launch_at".into(), json!("2026-11-10T02:30:00Z"));
        days["condition"]["chance"] = json!("60 %");
        day
    };
    let at = |launch: &str| {
        let mut day = shared.clone();
        day["entries"][1]["changes"]["launch_at"] = json!(launch);
        day
    };
    // The second flight is of no other hour; of one that the weather is used for; of one that it is not.
    for (day, second, alone) in [
        (shared.clone(), None, false),
        (at("2026-11-10T02:40:00Z"), Some("undated weather"), true),
        (at("2026-11-10T05:30:00Z"), Some("old weather"), true),
    ] {
        let place = posted(&service, "days", day).await;
        let page = read(&service, &page_of(&place)).await;
        // The age that the page knows is the first flight's, and that of the third, which launches with it.
        for (k, minded) in [None, second, None].into_iter().enumerate() {
            let cells = all(&page, &format!(".flights > li:nth-child({}) .cell", k + 1));
            let under: Vec<String> =
                cells.iter().map(|c| words(*c)).filter(|text| text.contains("under limit")).collect();
            assert!(!under.is_empty(), "flight {k} has none to look at");
            for text in under {
                assert_eq!(MINDED.into_iter().find(|told| text.contains(told)), minded, "flight {k}: {text}");
            }
            let uncoloured = cells.iter().filter(|c| c.value().classes().any(|class| class == "undated")).count();
            assert_eq!(uncoloured, if minded.is_some() { cells.len() } else { 0 }, "flight {k}");
        }
        let told = all(&page, "p.weather.aged").iter().any(|p| words(*p).contains("of those that launch with it"));
        assert_eq!(told, alone);
        let sheet = words(read(&service, &format!("{}/sheet", page_of(&place))).await.root_element());
        assert_eq!(second.is_some_and(|said| sheet.contains(&format!("under limit ({said})"))), second.is_some());
        assert_eq!(sheet.contains("of those that launch with it"), alone);
    }
}

/// With limits at line stretch the airspeeds beside them are those at line stretch; a day, which has none, says so.
#[tokio::test(flavor = "multi_thread")]
async fn airspeeds_are_those_that_limits_are_held_against() {
    let service = service();
    let mut flight = card();
    flight["limits"]["applies_to"] = json!("line_stretch");
    let place = posted(&service, "assessments", flight).await;
    assert_eq!(service.get(&place).await.json()["limits_apply_to"], "line_stretch");
    let page = page_of(&place);
    for uri in [page.clone(), format!("{page}/sheet")] {
        let html = read(&service, &uri).await;
        let places = all(&html, "[data-at]").iter().map(|e| e.value().attr("data-at").unwrap()).collect::<Vec<_>>();
        assert!(places.contains(&"/delays/0/at_ejection/line_stretch_airspeed_m_s/p50"), "{uri}");
        assert!(!places.iter().any(|place| place.contains("at_ejection/airspeed_m_s")), "{uri}");
        let text = words(html.root_element());
        assert!(
            text.contains("irspeed at line stretch") && !text.contains("median airspeed at ejection"),
            "{uri}: {text}"
        );
    }
    for stretch in [false, true] {
        let mut day = example("days/meadow.json");
        if stretch {
            day["limits"]["applies_to"] = json!("line_stretch");
        }
        let page = page_of(&posted(&service, "days", day).await);
        for uri in [page.clone(), format!("{page}/sheet")] {
            let text = words(read(&service, &uri).await.root_element());
            assert!(text.contains("median airspeed at ejection"), "{uri}: {text}");
            assert_eq!(text.contains("limits are held against that at line stretch"), stretch, "{uri}: {text}");
        }
    }
}

/// What of a page a browser runs, loads or sends, and whether it is made as HTML has it.
#[tokio::test(flavor = "multi_thread")]
async fn pages_are_plain() {
    let service = service();
    let mut headings = 0;
    for uri in everything(&service).await {
        let reply = service.get(&uri).await;
        let allowed = reply.header("content-security-policy").to_string();
        assert!(allowed.starts_with("default-src 'none'; style-src 'self'; img-src 'self'; "), "{uri}: {allowed}");
        let framed = uri.ends_with("/embed");
        assert!(!allowed.contains("unsafe") && allowed.contains("script-src 'self';") != framed, "{uri}: {allowed}");
        assert!(
            allowed.ends_with(if framed { "frame-ancestors *" } else { "frame-ancestors 'none'" }),
            "{uri}: {allowed}"
        );
        assert_eq!(reply.header("cache-control"), if uri == "/" { "no-cache" } else { "private, no-cache" }, "{uri}");
        let page = read(&service, &uri).await;
        assert!(all(&page, "script:not([src][type='module']), style, iframe, object, embed, base").is_empty(), "{uri}");
        let mut ids = HashSet::new();
        for element in all(&page, "*") {
            let name = element.value().name();
            for (attribute, value) in element.value().attrs() {
                assert!(attribute != "style" && !attribute.starts_with("on"), "{uri}: {name} has {attribute}");
                if matches!(attribute, "href" | "src") {
                    let here = value.starts_with('#') || (value.starts_with('/') && !value.starts_with("//"));
                    assert!(here, "{uri}: {name} leads to {value}");
                }
                if attribute == "id" {
                    assert!(ids.insert(value.to_string()), "{uri}: two are called {value}");
                }
            }
        }
        for element in all(&page, "[aria-labelledby], a[href^='#']") {
            let named = element.value().attr("aria-labelledby").or(element.value().attr("href")).unwrap();
            assert!(ids.contains(named.trim_start_matches('#')), "{uri}: nothing is called {named}");
        }
        for image in all(&page, "img") {
            assert!(image.value().attr("alt").is_some_and(|alt| alt.len() > 20), "{uri}");
        }
        for head in all(&page, "th") {
            assert!(matches!(head.value().attr("scope"), Some("col" | "row" | "rowgroup")), "{uri}: {}", words(head));
        }
        for table in all(&page, "table") {
            let region = table.parent().and_then(ElementRef::wrap).unwrap();
            assert_eq!(region.value().attr("role"), Some("region"), "{uri}");
            assert_eq!(region.value().attr("tabindex"), Some("0"), "{uri}");
        }
        let levels: Vec<u8> = all(&page, "h1, h2, h3").iter().map(|h| h.value().name().as_bytes()[1] - b'0').collect();
        assert!(levels[0] == 1 && levels.iter().filter(|level| **level == 1).count() == 1, "{uri}: {levels:?}");
        assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{uri}: {levels:?}");
        headings += levels.len();
        // The first thing said after what it is.
        let first = all(&page, "h1 + p.caution strong");
        assert_eq!(words(first[0]), slowpoint_sim::report::FIRST_CAUTION, "{uri}");
        for word in words(page.root_element()).split(|c: char| !c.is_alphanumeric()) {
            let approves = ["safe", "go", "pass", "approved", "fine", "ok", "okay", "acceptable"];
            assert!(!approves.contains(&word.to_lowercase().as_str()), "{uri} says {word}");
        }
    }
    assert!(headings > 50, "{headings}");
}

/// What a browser loads to show a page first: compressed, no more than 120 kB.
#[tokio::test(flavor = "multi_thread")]
async fn the_first_load_is_small() {
    let service = service();
    let sent = async |uri: &str| {
        let mut asked = request(Method::GET, uri, Body::empty());
        asked.headers_mut().insert("accept-encoding", "gzip".parse().unwrap());
        service.send(asked).await
    };
    for uri in everything(&service).await {
        let page = read(&service, &uri).await;
        let coded = sent(&uri).await;
        assert_eq!(coded.header("content-encoding"), if uri == "/" { "" } else { "gzip" }, "{uri}");
        let mut bytes = coded.body.len();
        // Pictures further down are loaded when somebody scrolls to them.
        let loads: Vec<&str> = all(&page, "img[src]:not([loading=lazy]), link[href], script[src]")
            .iter()
            .map(|e| e.value().attr("src").or(e.value().attr("href")).unwrap())
            .collect();
        assert!(loads.iter().any(|load| load.ends_with(".css")), "{uri}");
        for load in loads {
            let reply = sent(load).await;
            assert_eq!(reply.status, 200, "{load}");
            if load.starts_with("/assets/") {
                assert_eq!(reply.header("cache-control"), "public, max-age=31536000, immutable", "{load}");
            }
            if load.ends_with(".css") {
                assert_eq!(reply.header("content-encoding"), "gzip");
            }
            bytes += reply.body.len();
        }
        assert!(bytes <= 120_000, "{uri} takes {bytes}");
    }
    // A style sheet of before, or of another day, is not there.
    assert_eq!(service.get("/assets/page.0000000000000000.css").await.status, 404);
}

/// What a client calls the server is its own word: no page repeats it.
#[tokio::test(flavor = "multi_thread")]
async fn no_page_repeats_the_host_that_was_asked() {
    let service = service();
    let mut copied = 0;
    for uri in everything(&service).await {
        let mut asked = request(Method::GET, &uri, Body::empty());
        asked.headers_mut().insert("host", "field.example".parse().unwrap());
        let reply = service.send(asked).await;
        assert_eq!(reply.status, 200, "{uri}");
        let text = reply.text();
        assert!(!text.contains("field.example") && !text.contains("http://"), "{uri}");
        copied += usize::from(text.contains("YOUR-SERVER/"));
    }
    assert!(copied >= 4, "{copied} pages with lines to copy");
}

/// What is asked again and is the same is not sent again.
#[tokio::test]
async fn a_page_that_is_held_is_not_sent_again() {
    let service = service();
    let page = page_of(&posted(&service, "assessments", card()).await);
    let asked = async |uri: &str, tag: &str| {
        let mut asked = request(Method::GET, uri, Body::empty());
        asked.headers_mut().insert("if-none-match", tag.parse().unwrap());
        service.send(asked).await
    };
    for page in [page.clone(), format!("{page}/sheet"), format!("{page}/embed")] {
        let whole = service.get(&page).await;
        let held = asked(&page, whole.header("etag")).await;
        assert!(held.status == 304 && held.body.is_empty(), "{held:?}");
        // A browser puts these in the place of those that it holds.
        for name in ["etag", "cache-control", "content-security-policy"] {
            assert_eq!(held.header(name), whole.header(name), "{page}: {name}");
        }
        assert_eq!(asked(&format!("{page}?units=us&theme=sun"), whole.header("etag")).await.status, 200);
    }
}

async fn as_browser(service: &Service, uri: &str) -> Reply {
    let mut asked = request(Method::GET, uri, Body::empty());
    let accept = "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8";
    asked.headers_mut().insert("accept", accept.parse().unwrap());
    service.send(asked).await
}

/// A browser is refused with a page in the problem's own words, at the same status; whatever else asks, with the problem.
#[tokio::test]
async fn refusals_are_pages_for_browsers() {
    let service = service();
    let place = posted(&service, "assessments", card()).await;
    let (page, nowhere) = (page_of(&place), "0".repeat(32));
    let day = page_of(&posted(&service, "days", day()).await);
    for (uri, status) in [
        (format!("/flights/{nowhere}"), 404),
        (format!("/days/{nowhere}"), 404),
        (format!("/sweeps/{nowhere}/"), 404),
        (format!("/sweeps/{nowhere}"), 404),
        ("/flights/1".into(), 400),
        (format!("{page}?units=feet"), 400),
        (format!("{page}?colour=red"), 400),
        (format!("{page}?delay=99"), 400),
        (format!("{day}?since={nowhere}"), 404),
        (format!("{day}/sheet?part=9"), 400),
        (format!("{day}/sheet?part=0"), 400),
        ("/somewhere".into(), 404),
    ] {
        let problem = service.get(&uri).await;
        assert_eq!(problem.status.as_u16(), status, "{uri}: {}", problem.text());
        assert_eq!(problem.header("content-type"), "application/problem+json", "{uri}");
        let told = problem.json();
        let shown = as_browser(&service, &uri).await;
        assert_eq!(shown.status.as_u16(), status, "{uri}");
        assert_eq!(shown.header("cache-control"), "no-store", "{uri}");
        assert!(shown.header("content-security-policy").starts_with("default-src 'none'; style-src 'self'"), "{uri}");
        let html = pages::read(&shown);
        assert_eq!(words(all(&html, "h1")[0]), told["title"].as_str().unwrap(), "{uri}");
        assert!(all(&html, "main p").iter().any(|p| words(*p) == told["detail"].as_str().unwrap()), "{uri}");
    }
    // The API answers JSON whoever asks.
    let problem = as_browser(&service, &format!("/v1/assessments/{nowhere}")).await;
    assert_eq!(problem.header("content-type"), "application/problem+json");
    assert_eq!(as_browser(&service, "/v1/nothing").await.header("content-type"), "application/problem+json");
}

/// Whoever has a link that shares reads the pages, and every link on them leads on with it, in the units chosen.
#[tokio::test(flavor = "multi_thread")]
async fn a_link_that_shares_is_carried_on() {
    let service = service();
    let secret = slowpoint_server::access::new_secret();
    let created = jiff::Timestamp::now();
    let token = Token { name: "owner".into(), scope: Scope::Compute, created, expires: None, revoked: None };
    assert!(service.store.add_token(&token, &slowpoint_server::id::sum(&secret)).unwrap());
    let send = async |uri: &str, body: Value| {
        let mut asked = json_request(uri, body.to_string());
        asked.headers_mut().insert("authorization", format!("Bearer {secret}").parse().unwrap());
        service.send(asked).await
    };
    let mut body = day();
    body["flights"] = json!(128);
    let place = send("/v1/days", body).await.header("location").to_string();
    let link =
        send("/v1/shares", json!({"answer": place, "hours": 1})).await.json()["query"].as_str().unwrap().to_string();
    let page = page_of(&place);
    assert_eq!(as_browser(&service, &page).await.status, 401);
    assert_eq!(as_browser(&service, &format!("{page}?share=slowpoint_0")).await.status, 403);
    let mut waiting = vec![format!("{page}?units=us&{link}")];
    let mut seen = HashSet::new();
    while let Some(uri) = waiting.pop() {
        if !seen.insert(uri.clone()) || seen.len() > 60 {
            continue;
        }
        let reply = as_browser(&service, &uri).await;
        assert_eq!(reply.status, 200, "{uri}: {}", reply.text());
        if !reply.header("content-type").starts_with("text/html") {
            continue;
        }
        let html = pages::read(&reply);
        for element in all(&html, "a[href], img[src]") {
            let to = element.value().attr("href").or(element.value().attr("src")).unwrap();
            let to = to.split('#').next().unwrap();
            // Pictures of a saved file lie in it.
            let plain = ["", "/", "/docs/", "/openapi.json"].contains(&to.split('?').next().unwrap())
                || to.starts_with("data:");
            assert!(plain || to.contains(&link), "{uri} leads to {to}");
            let is_page = ROUTES.iter().any(|route| to.starts_with(route.split('{').next().unwrap()));
            // One link of each page changes the units.
            let kept = to.contains("units=us") || !uri.contains("units=us") || words(element) == "m/s";
            assert!(!is_page || kept, "{uri} leads to {to}");
            if !plain {
                waiting.push(to.to_string());
            }
        }
    }
    assert!(seen.iter().any(|uri| uri.starts_with("/flights/")) && seen.len() > 40, "{seen:?}");
}

/// Orders and choices of a day, without script.
#[tokio::test(flavor = "multi_thread")]
async fn a_day_is_sorted_and_sifted() {
    let service = service();
    let place = posted(&service, "days", day()).await;
    let answer = service.get(&place).await.json();
    let entries = answer["entries"].as_array().unwrap();
    let name = |entry: &Value| entry["name"].as_str().unwrap().to_string();
    let least = |entry: &Value| {
        let flight = &entry["flight"];
        let limit = |l: &&Value| l["limit_m_s"] == flight["advice"]["limit_m_s"];
        let chance = |d: &Value| d["limits"].as_array()?.iter().find(limit)?["unsafe_opening"]["estimate"].as_f64();
        flight["delays"].as_array().into_iter().flatten().filter_map(chance).reduce(f64::min).unwrap_or(2.0)
    };
    let holds = |entry: &Value| entry["flight"]["hold"].as_array().map_or(0, Vec::len);
    let shown = async |query: &str| -> Vec<String> {
        let page = read(&service, &format!("{}?{query}", page_of(&place))).await;
        let numbered = all(&page, ".flights h3").into_iter().map(words);
        let names = numbered.map(|text| {
            let (number, name) = text.split_once(". ").unwrap();
            // A flight keeps its number on the card, however they are sorted.
            assert_eq!(entries[number.parse::<usize>().unwrap() - 1]["name"], name);
            name.to_string()
        });
        let names: Vec<String> = names.collect();
        let valued = all(&page, ".flights > li").iter().filter(|li| li.value().attr("value").is_some()).count();
        assert_eq!(valued, names.len());
        names
    };
    let sorted = |mut entries: Vec<Value>, before: &dyn Fn(&Value, &Value) -> std::cmp::Ordering| {
        entries.sort_by(before);
        entries.iter().map(name).collect::<Vec<_>>()
    };
    let sent: Vec<String> = entries.iter().map(name).collect();
    assert_eq!(shown("sort=card").await, sent);
    assert_eq!(shown("sort=chance").await, sorted(entries.clone(), &|a, b| least(b).total_cmp(&least(a))));
    assert_eq!(shown("sort=hold").await, sorted(entries.clone(), &|a, b| holds(b).cmp(&holds(a))));
    assert_eq!(shown("sort=name").await, sorted(entries.clone(), &|a, b| name(a).cmp(&name(b))));
    assert_ne!(shown("sort=chance").await, sent);
    let kept = |keep: &dyn Fn(&Value) -> bool| entries.iter().filter(|e| keep(e)).map(name).collect::<Vec<_>>();
    assert_eq!(shown("only=hold").await, kept(&|e| holds(e) > 0));
    assert_eq!(shown("only=failed").await, ["broken & <mended>"]);
    assert_eq!(
        shown("only=unmet").await,
        kept(&|e| e["flight"]["advice"]["meets"].as_array().is_some_and(Vec::is_empty))
    );
    let one = json!({"entries": [example("days/meadow.json")["entries"][2]], "wind": card()["wind"], "delays": [5]});
    let alone = read(&service, &page_of(&posted(&service, "days", one).await)).await;
    assert!(words(all(&alone, "p.about")[0]).starts_with("1 flight: "), "{}", words(all(&alone, "p.about")[0]));
    let page = read(&service, &format!("{}?only=failed", page_of(&place))).await;
    let refused = words(all(&page, ".refused")[0]);
    for said in ["/entries/3/card/airframe/mass", entries[3]["problem"]["errors"][0]["remedy"].as_str().unwrap()] {
        assert!(refused.contains(said), "{refused}");
    }
}

/// Columns and attributes have the units of their numbers: a number without one stands under a heading that names it.
#[tokio::test(flavor = "multi_thread")]
async fn headings_have_the_units_of_their_numbers() {
    let service = service();
    let mut checked = HashMap::new();
    for uri in everything(&service).await {
        for (us, query) in [(false, "units=si"), (true, "units=us")] {
            let join = if uri.contains('?') { '&' } else { '?' };
            let page = read(&service, &format!("{uri}{join}{query}")).await;
            for table in all(&page, "table") {
                let select = |within: ElementRef, selector: &str| -> Vec<String> {
                    let selector = Selector::parse(selector).unwrap();
                    within.select(&selector).map(words).collect()
                };
                // Headings like "median" share the quantity, and its unit, of the one before them.
                let mut heads = select(table, "thead th");
                for k in 1..heads.len() {
                    let lacks = !heads[k].contains(", ") && !heads[k].contains(" (");
                    if lacks && ["half between", "90 % between", "95 % below"].contains(&heads[k].as_str()) {
                        heads[k] = heads[k - 1].clone();
                    }
                }
                let (rows, cells) = (Selector::parse("tbody tr").unwrap(), Selector::parse("th, td").unwrap());
                let numbers = Selector::parse("data").unwrap();
                for row in table.select(&rows) {
                    for (k, cell) in row.select(&cells).enumerate() {
                        for number in cell.select(&numbers).filter(|n| !words(*n).contains('\u{a0}')) {
                            let pointer = number.value().attr("data-at").unwrap();
                            let name = pointer.split('/').rfind(|name| name.contains('_')).unwrap_or_default();
                            let wanted = match us {
                                _ if pointer.contains("/drivers/") => continue,
                                false if name.ends_with("_m_s") => "m/s",
                                true if name.ends_with("_m_s") => "mph",
                                false if name.ends_with("_m") => ", m",
                                true if name.ends_with("_m") => ", ft",
                                false if name.ends_with("_j") => "J",
                                true if name.ends_with("_j") => "ft lbf",
                                _ if name.ends_with("_s") => ", s",
                                _ => continue,
                            };
                            let head = &heads[k];
                            let other = if us { ["m/s", ", m:"] } else { ["mph", ", ft"] };
                            assert!(head.contains(wanted), "{uri} {query}: {pointer} stands under {head:?}");
                            assert!(!other.iter().any(|unit| head.contains(unit)), "{uri} {query}: {head:?}");
                            *checked.entry(wanted).or_insert(0) += 1;
                        }
                    }
                }
            }
        }
    }
    assert!(["m/s", "mph", ", m", ", ft", "J", "ft lbf", ", s"].iter().all(|unit| checked[unit] > 10), "{checked:?}");
}

/// Light, dark and for the sun, by links alone; every link of a page keeps what was chosen.
#[tokio::test]
async fn themes_are_chosen_by_links() {
    let service = service();
    let page = page_of(&posted(&service, "assessments", card()).await);
    for (theme, scheme) in [("auto", "light dark"), ("light", "light"), ("dark", "dark"), ("sun", "light")] {
        let shown = read(&service, &format!("{page}?theme={theme}")).await;
        let class = all(&shown, "html")[0].value().attr("class");
        assert_eq!(class, Some(theme).filter(|theme| *theme != "auto"));
        assert_eq!(all(&shown, "meta[name=color-scheme]")[0].value().attr("content"), Some(scheme));
        let current: Vec<String> = all(&shown, ".choices a[aria-current]").into_iter().map(words).collect();
        assert_eq!(current, ["m/s", if theme == "sun" { "sunlight" } else { theme }]);
        let choices = all(&shown, ".choices a").into_iter().map(words).collect::<Vec<_>>();
        assert_eq!(choices, ["m/s", "mph", "auto", "light", "dark", "sunlight"]);
        let printed = all(&shown, "a[href*='/sheet']")[0].value().attr("href").unwrap();
        assert_eq!(printed.contains(&format!("theme={theme}")), theme != "auto", "{printed}");
    }
    assert_eq!(service.get(&format!("{page}?theme=blue")).await.status, 400);
}

/// A frame says how old the weather is and what its colours hang on; what it is copied from warns of the secret in it.
#[tokio::test]
async fn a_frame_says_its_weather_and_its_condition() {
    let service = service();
    let mut flight = example("weather-report.json");
    flight["weather"] = json!({"metar": REPORT, "winds_aloft": BULLETIN});
    let place = posted(&service, "assessments", flight).await;
    let (page, answer) = (page_of(&place), service.get(&place).await.json());
    let framed = read(&service, &format!("{page}/embed")).await;
    let text = words(all(&framed, "main")[0]);
    let age_h = answer["weather"]["age_h"].as_f64().unwrap();
    assert!(text.contains(&format!("{age_h:.1}\u{a0}h from launch")), "{text}");
    assert!(text.contains("Condition: at most") && text.contains("mph"), "{text}");
    assert!(all(&framed, "script").is_empty());
    let whole = words(read(&service, &page).await.root_element());
    assert!(whole.contains("secret of such a link then stands in that site for everyone who sees it"));
}

/// What changed is told with what is to be minded of the weather of both days.
#[tokio::test(flavor = "multi_thread")]
async fn what_stood_is_told_with_its_weather() {
    let service = service();
    let before = posted(&service, "days", day()).await;
    let patch = json!({"wind": {"surface": {"speed": "7 mph"}}, "condition": {"chance": "90 %"}}).to_string();
    let revised = service.send(json_request(&format!("{before}/revisions"), patch)).await;
    let since = format!("{}?since={}", page_of(revised.header("location")), id_of(&before));
    let page = read(&service, &since).await;
    let mut seen = 0;
    for row in all(&page, "#changes ~ .wide tbody tr") {
        let cells = Selector::parse("td").unwrap();
        let cells: Vec<String> = row.select(&cells).map(words).collect();
        for text in cells.iter().filter(|text| text.contains("under limit")) {
            assert!(text.contains("undated weather"), "{text}");
            seen += 1;
        }
    }
    assert!(seen > 0);
}

/// A long day is printed in parts, and each flight stands on one of them.
#[tokio::test(flavor = "multi_thread")]
async fn a_long_day_is_printed_in_parts() {
    let service = service();
    let mut entries = vec![json!({"name": "flight 1", "card": card()["card"]})];
    entries.extend((2..=40).map(|k| json!({"name": format!("flight {k}"), "copy_of": "flight 1", "changes": {"card": {"airframe": {"mass": format!("{} g", 560 + k)}}}})));
    let body = json!({
        "entries": entries, "launch": card()["launch"], "wind": card()["wind"], "delays": [4, 5, 6, 7],
    });
    let place = posted(&service, "days", body).await;
    let first = read(&service, &format!("{}/sheet", page_of(&place))).await;
    let parts = all(&first, "nav[aria-label=Parts] a").len();
    assert!(parts > 1, "{parts}");
    let mut names = Vec::new();
    for part in 1..=parts {
        let page = read(&service, &format!("{}/sheet?part={part}", page_of(&place))).await;
        names.extend(all(&page, "tbody th").iter().map(|th| words(*th)));
    }
    // With its rocket: a name of the day says where it stands.
    assert_eq!(names, (1..=40).map(|k| format!("flight {k} Test rocket, invented")).collect::<Vec<_>>());
}
