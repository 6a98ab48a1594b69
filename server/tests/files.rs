//! An answer in other forms: where they are, how they are held by clients, and that their numbers are those of the JSON.
//! Readers that this project did not write read them in `tests/oracle/test_files.py`.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use std::io::Read;

use axum::body::Body;
use axum::http::{Method, Request, header};
use resvg::usvg::{Group, Node, Options, Tree};
use scraper::{Html, Selector};
use serde_json::{Value, json};
use slowpoint_server::id::ContentId;
use slowpoint_server::store::{Shelf, Store};
use support::{Service, card, check_problem, json_request, service};

const CAUTION: &str =
    "An estimate from the listed assumptions. It approves no flight. Local codes and the range safety officer decide.";

/// The example with a map, of few flights, and with the cords of another example.
fn mapped() -> Value {
    let mut card: Value = serde_json::from_str(include_str!("../examples/mapped-field.json")).unwrap();
    let corded: Value = serde_json::from_str(include_str!("../examples/tube-edge.json")).unwrap();
    card["cords"] = corded["cords"].clone();
    card["flights"] = json!(256);
    card
}

async fn posted(service: &Service, card: &Value) -> (String, Value) {
    let reply = service.post(card).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    (reply.header("location").to_string(), reply.json())
}

const FILES: [(&str, &str); 10] = [
    ("landing.geojson", "application/geo+json"),
    ("landing.kml", "application/vnd.google-earth.kml+xml"),
    ("landing.svg", "image/svg+xml"),
    ("landing.png", "image/png"),
    ("deploy-speed.svg", "image/svg+xml"),
    ("deploy-speed.png", "image/png"),
    ("cords.svg", "image/svg+xml"),
    ("cords.png", "image/png"),
    ("wind.svg", "image/svg+xml"),
    ("wind.png", "image/png"),
];

#[tokio::test]
async fn every_file_is_held_like_the_answer() {
    let service = service();
    let (place, answer) = posted(&service, &mapped()).await;
    let begun = service.state.compute.begun();
    for (file, media_type) in FILES {
        let uri = format!("{place}/{file}");
        let reply = service.get(&uri).await;
        assert_eq!(reply.status, 200, "{}", reply.text());
        assert_eq!(reply.header("content-type"), media_type);
        // The next release may draw it otherwise: each time it is asked whether it is the same.
        assert_eq!(reply.header("cache-control"), "private, no-cache");
        let tag = reply.header("etag").to_string();
        assert_eq!(tag, format!("W/\"{}.{file}.{}\"", answer["id"].as_str().unwrap(), env!("CARGO_PKG_VERSION")));
        assert_eq!(service.get(&uri).await.body, reply.body, "the same bytes again");
        let request = Request::builder().method(Method::GET).uri(&uri).header(header::IF_NONE_MATCH, &tag);
        let again = service.send(request.body(Body::empty()).unwrap()).await;
        assert_eq!((again.status.as_u16(), again.body.len()), (304, 0));
        assert_eq!(again.header("etag"), tag);
        let nowhere = service.get(&format!("/v1/assessments/{}/{file}", "0".repeat(32))).await;
        check_problem(&nowhere, 404, "unknown-assessment");
        check_problem(&service.get(&format!("/v1/assessments/no-id/{file}")).await, 400, "invalid-path");
    }
    assert_eq!(service.state.compute.begun(), begun, "made from the stored answer, not flown");
}

/// What is text is sent compressed to whoever takes it so; it is the same file, and who holds it one way holds it.
#[tokio::test]
async fn text_is_compressed() {
    let service = service();
    let (place, _) = posted(&service, &mapped()).await;
    let asked = async |uri: &str, accepts: &str, held: &str| {
        let request = Request::get(uri).header(header::ACCEPT_ENCODING, accepts).header(header::IF_NONE_MATCH, held);
        service.send(request.body(Body::empty()).unwrap()).await
    };
    let paths = [("flight-paths.svg", "image/svg+xml"), ("flight-paths.png", "image/png")];
    for (file, media_type) in FILES.into_iter().chain(paths) {
        let uri = format!("{place}/{file}");
        let plain = asked(&uri, "identity", "\"\"").await;
        let coded = asked(&uri, "gzip, br", "\"\"").await;
        assert_eq!((plain.status.as_u16(), plain.header("content-encoding")), (200, ""), "{file}");
        let text = media_type != "image/png";
        assert_eq!(coded.header("content-encoding"), if text { "gzip" } else { "" }, "{file}");
        for reply in [&plain, &coded] {
            assert_eq!(reply.header("etag"), plain.header("etag"));
            assert_eq!(reply.header("vary"), "authorization, cookie, accept-encoding");
        }
        if text {
            assert!(2 * coded.body.len() < plain.body.len(), "{file}: {} of {}", coded.body.len(), plain.body.len());
            let mut body = Vec::new();
            flate2::read::GzDecoder::new(coded.body.as_slice()).read_to_end(&mut body).unwrap();
            assert_eq!(body, plain.body, "{file}");
        } else {
            assert_eq!(coded.body, plain.body, "{file}");
        }
        for accepts in ["identity", "gzip"] {
            let held = asked(&uri, accepts, coded.header("etag")).await;
            assert_eq!((held.status.as_u16(), held.body.len(), held.header("etag")), (304, 0, plain.header("etag")));
            let older = coded.header("etag").replace(env!("CARGO_PKG_VERSION"), "0.0.1");
            assert_eq!(asked(&uri, accepts, &older).await.status, 200, "of another release");
        }
    }
    // The bytes of an answer are those of its validator, which is strong.
    assert_eq!(asked(&place, "gzip", "\"\"").await.header("content-encoding"), "");
}

/// Where only the input of an answer is lost, its page leaves out what would be flown again and says why; all else that it
/// leads to is there, and it is saved.
#[tokio::test]
async fn without_its_input_an_answer_has_no_flights_and_no_wind() {
    let service = service();
    let (place, answer) = posted(&service, &mapped()).await;
    let id = answer["id"].as_str().unwrap();
    let page = format!("/flights/{id}");
    let whole = service.get(&page).await.text();
    service.store.damage_inputs();
    let told = "What was asked is not kept here in one piece any more";
    let left = service.get(&page).await.text();
    for flown_again in ["wind.svg", "flight-paths.svg", "flights.csv", &format!("{place}/flights/0")] {
        assert!(whole.contains(flown_again) && !left.contains(flown_again), "{flown_again}");
        let uri = if flown_again.starts_with('/') { flown_again.into() } else { format!("{place}/{flown_again}") };
        check_problem(&service.get(&uri).await, 410, "stored-damaged");
    }
    assert_eq!((whole.matches(told).count(), left.matches(told).count()), (0, 2));
    for source in left.split(" src=\"").skip(1).map(|rest| rest.split('"').next().unwrap().replace("&amp;", "&")) {
        assert_eq!(service.get(&source).await.status, 200, "{source}");
    }
    let saved = service.get(&format!("{page}/file")).await;
    assert_eq!((saved.status.as_u16(), saved.text().matches(told).count()), (200, 2));
    // Posted again it is stored anew.
    assert_eq!(posted(&service, &mapped()).await.0, place);
    assert!(service.get(&page).await.text().contains("wind.svg"));
}

/// An answer that was lost is flown once more, and the file is the same.
#[tokio::test]
async fn a_lost_answer_is_flown_again() {
    let service = service();
    let (place, _) = posted(&service, &mapped()).await;
    let uri = format!("{place}/landing.geojson");
    let first = service.get(&uri).await;
    service.store.damage_answers();
    assert_eq!(service.get(&uri).await.body, first.body);
}

#[tokio::test]
async fn without_a_position_there_is_no_map() {
    let service = service();
    let (place, _) = posted(&service, &card()).await;
    for file in ["landing.geojson", "landing.kml"] {
        let problem = check_problem(&service.get(&format!("{place}/{file}")).await, 404, "no-position");
        assert_eq!(problem["errors"][0]["pointer"], "/site/position");
        assert!(problem["detail"].as_str().unwrap().contains("site.position"), "{problem}");
    }
}

#[tokio::test]
async fn without_cords_there_is_no_picture_of_them() {
    let service = service();
    let (place, _) = posted(&service, &card()).await;
    for file in ["cords.svg", "cords.png"] {
        let problem = check_problem(&service.get(&format!("{place}/{file}")).await, 404, "no-cords");
        assert_eq!(problem["errors"][0]["pointer"], "/cords");
    }
}

/// The figures of an axis, by the letters that stand at the name of its unit: value and place of each.
fn axis(picture: &str, unit: &str) -> Vec<[f64; 2]> {
    let svg = Html::parse_fragment(picture);
    let texts: Vec<(String, [String; 2])> = svg
        .select(&Selector::parse("text").unwrap())
        .map(|text| (text.text().collect(), ["x", "y"].map(|name| text.attr(name).unwrap().to_string())))
        .collect();
    let first = texts.iter().position(|(text, _)| text == unit).unwrap_or_else(|| panic!("no {unit}: {texts:?}"));
    let [x, _] = &texts[first].1;
    let beside = texts[..first].iter().rev().take_while(|(_, [other, _])| other == x);
    beside.map(|(text, [_, y])| [text.parse().unwrap(), y.parse().unwrap()]).collect()
}

/// Beside every axis of SI stands one of the US, on which a load has the same place. Factors of NIST SP 811, appendix B.8:
/// 1 lbf = 4.448222 N, 1 lbf/in = 175.1268 N/m.
#[tokio::test]
async fn cords_have_the_units_of_both_systems() {
    let service = service();
    let (place, answer) = posted(&service, &mapped()).await;
    let picture = service.get(&format!("{place}/cords.svg")).await.text();
    for (si, us, factor) in [("N/mm", "lbf/in", 0.175_126_8), ("N", "lbf", 4.448_222)] {
        let (si, us) = (axis(&picture, si), axis(&picture, us));
        assert!(si.len() > 2 && us.len() > 2, "{si:?} {us:?}");
        // Straight in the logarithm of the load.
        let [[a, low], [b, high]] = [si[0], si[si.len() - 1]];
        for [value, y] in us {
            let share = ((value * factor) / a).ln() / (b / a).ln();
            assert!((low + share * (high - low) - y).abs() < 0.2, "{value} at {y}: {si:?}");
        }
    }
    let told = picture.split_once("<desc").unwrap().1.split_once("</desc>").unwrap().0.to_string();
    let tension = answer["cords"]["delays"][0]["arrangements"][0]["peak_tension_n"]["p50"].as_f64().unwrap();
    assert!(told.contains(&format!("{tension:.0} N ({:.1} lbf)", tension / 4.448_222)), "{tension}: {told}");
    assert!(told.contains("30.0 N/mm (171 lbf/in)"), "{told}");
}

/// The same of what was learned: heights in feet, speeds in miles per hour stand above what is below in SI; times are times.
#[tokio::test]
async fn what_was_learned_has_the_units_of_both_systems() {
    let service = service();
    let mut logged = card();
    logged["calibration"] = json!({"flights": 1024, "flown": [
        {"apogee": "300 m", "apogee_error": "400 m", "apogee_time": "8 s", "apogee_time_error": "3 s", "flown_with": "delay 7 s"},
    ]});
    let (place, answer) = posted(&service, &logged).await;
    let picture = service.get(&format!("{place}/calibration.svg")).await.text();
    for heading in ["wind, mph above, m/s below", "apogee, ft above, m below", "apogee time, s<"] {
        assert!(picture.contains(heading), "{heading}: {picture}");
    }
    let median = answer["calibration"]["inputs"][2]["before"]["p05"].as_f64().unwrap();
    assert!(picture.contains(&format!("logged 300 m, {:.2} ft", 300.0 / 0.3048)), "{picture}");
    let hundredth = |x: f64| (100.0 * x).round() / 100.0;
    assert!(picture.contains(&format!("({} to ", hundredth(median / 0.44704))), "{median}: {picture}");
}

#[tokio::test]
async fn a_delay_is_chosen_by_seconds_or_label() {
    let service = service();
    let mut card = mapped();
    card["electronics"] = json!([{"fires_at": "apogee"}]);
    let (place, answer) = posted(&service, &card).await;
    let delay = async |query: &str| {
        let reply = service.get(&format!("{place}/landing.geojson{query}")).await;
        assert_eq!(reply.status, 200, "{}", reply.text());
        reply.json()["delay"].as_str().unwrap().to_string()
    };
    assert_eq!(delay("").await, answer["advice"]["lowest"].as_str().unwrap());
    assert_eq!(delay("?delay=5").await, "delay 5 s");
    assert_eq!(delay("?delay=delay%205%20s").await, "delay 5 s");
    assert_eq!(delay("?delay=altimeter%20at%20apogee").await, "altimeter at apogee");
    let problem = check_problem(&service.get(&format!("{place}/landing.kml?delay=99")).await, 400, "invalid-query");
    assert!(problem["detail"].as_str().unwrap().contains("\"delay 5 s\""), "{problem}");
    check_problem(&service.get(&format!("{place}/landing.kml?dleay=9")).await, 400, "invalid-query");
}

/// Every number of the GeoJSON that the answer has as well is the same.
#[tokio::test]
async fn numbers_are_those_of_the_answer() {
    let service = service();
    let (place, answer) = posted(&service, &mapped()).await;
    let collection = service.get(&format!("{place}/landing.geojson?delay=7")).await.json();
    let delay = answer["delays"].as_array().unwrap().iter().find(|d| d["label"] == "delay 7 s").unwrap();
    assert_eq!(collection["caution"], CAUTION);
    assert_eq!((&collection["id"], &collection["delay"]), (&answer["id"], &delay["label"]));
    assert_eq!(collection["outside_fields"]["estimate"], delay["landing"]["outside_fields"]["estimate"]);
    let features = collection["features"].as_array().unwrap();
    let mine = |kind: &str, members: &[&str], theirs: &[Value], of: &dyn Fn(&Value) -> bool| {
        let found: Vec<_> = features.iter().map(|f| &f["properties"]).filter(|p| p["kind"] == kind && of(p)).collect();
        assert_eq!(found.len(), theirs.len(), "{kind}");
        for (found, theirs) in found.iter().zip(theirs) {
            for member in members {
                assert_eq!(found[*member], theirs[*member], "{kind} {member}");
                assert!(!found[*member].is_null(), "{kind} {member}");
            }
        }
    };
    let list = |value: &Value, name: &str| value[name].as_array().unwrap().clone();
    let assessed = |p: &Value| p["failure"].is_null();
    let landing = &delay["landing"];
    mine(
        "ellipse",
        &["share_asked", "share_held", "semi_major_m", "semi_minor_m", "bearing_deg"],
        &list(landing, "ellipses"),
        &assessed,
    );
    mine("region", &["share_asked", "share_held", "share_expected", "area_m2"], &list(landing, "regions"), &assessed);
    mine("area", &["name", "role"], &list(&answer["site"], "areas"), &assessed);
    for (feature, chances) in features.iter().filter(|f| f["properties"]["kind"] == "area").zip(list(landing, "areas"))
    {
        for (side, member) in [("inside", "lower"), ("inside", "estimate"), ("outside", "upper"), ("outside", "text")] {
            assert_eq!(feature["properties"][side][member], chances[side][member]);
        }
    }
    for failed in list(&answer["failures"], "each") {
        let of = |p: &Value| p["failure"] == failed["failure"] && p["part"] == false;
        mine("region", &["share_asked", "area_m2"], &list(&failed["landing"], "regions"), &of);
    }
    // With a failure, what it comes to in each area, and outside the field.
    let spectators = features.iter().find(|f| f["properties"]["name"] == "spectators").unwrap();
    let told = spectators["properties"]["failures"].as_array().unwrap();
    let mut failures = 0;
    for failed in list(&answer["failures"], "each") {
        for (landing, part) in [("landing", false), ("part", true)] {
            if let Some(areas) = failed[landing]["areas"].as_array() {
                let found = &told[failures];
                assert_eq!((&found["failure"], &found["part"]), (&failed["failure"], &json!(part)));
                assert_eq!(found["delay"], answer["failures"]["flown_with"]);
                let theirs = areas.iter().find(|area| area["name"] == "spectators").unwrap();
                for member in ["estimate", "lower", "upper", "text"] {
                    assert_eq!(found["inside"][member], theirs["inside"][member]);
                    assert_eq!(found["outside"][member], theirs["outside"][member]);
                }
                failures += 1;
            }
        }
    }
    assert!(failures > 8 && failures == told.len());
    // The KML has the same figures as text.
    let kml = service.get(&format!("{place}/landing.kml?delay=7")).await.text();
    assert!(kml.contains(CAUTION));
    for number in [
        &landing["ellipses"][0]["semi_major_m"],
        &landing["regions"][3]["area_m2"],
        &landing["areas"][0]["inside"]["upper"],
    ] {
        let number = number.as_f64().unwrap();
        assert!(kml.contains(&format!("<value>{number}</value>")), "{number}");
    }
    for landing in [landing, &answer["failures"]["each"][0]["landing"]] {
        let outside = &landing["outside_fields"];
        let upper = outside["upper"].as_f64().unwrap();
        assert!(kml.contains(&format!("<Data name=\"outside_fields_upper\"><value>{upper}</value>")), "{upper}");
        let text = outside["text"].as_str().unwrap().replace('<', "&lt;").replace('>', "&gt;");
        assert!(kml.contains(&format!("; outside every field: {text}.</description>")), "{text}");
    }
}

/// No edge of a ring goes round the Earth, in either file; the same field elsewhere has as many features.
#[tokio::test]
async fn what_the_180th_meridian_crosses_is_cut() {
    let service = service();
    let mut card = mapped();
    fn eastward(value: &mut Value) {
        let positions = value.as_array_mut().unwrap();
        if positions[0].is_number() {
            positions[0] = json!(positions[0].as_f64().unwrap() + 278.0);
        } else {
            positions.iter_mut().for_each(eastward);
        }
    }
    card["site"]["position"]["longitude"] = json!(180);
    for feature in card["site"]["map"]["features"].as_array_mut().unwrap() {
        eastward(&mut feature["geometry"]["coordinates"]);
    }
    fn edges(value: &Value, found: &mut Vec<f64>) {
        let items = value.as_array().unwrap();
        if items[0][0].is_number() {
            found.extend(items.windows(2).map(|e| (e[0][0].as_f64().unwrap() - e[1][0].as_f64().unwrap()).abs()));
        } else {
            items.iter().for_each(|item| edges(item, found));
        }
    }
    let (place, answer) = posted(&service, &card).await;
    let (_, inland) = posted(&service, &mapped()).await;
    assert_eq!(answer["delays"][3]["landing"]["areas"], inland["delays"][3]["landing"]["areas"], "the same field");
    let collection = service.get(&format!("{place}/landing.geojson")).await.json();
    let mut found = Vec::new();
    for feature in collection["features"].as_array().unwrap() {
        let geometry = &feature["geometry"];
        if geometry["type"] != "Point" {
            edges(&geometry["coordinates"], &mut found);
        }
        if feature["properties"]["name"] == "meadow" {
            assert_eq!(geometry["coordinates"].as_array().unwrap().len(), 2, "one part on either side");
        }
    }
    assert!(found.len() > 1000 && found.iter().all(|wide| *wide < 1.0));
    let kml = service.get(&format!("{place}/landing.kml")).await.text();
    let rings: Vec<&str> = kml.split("<LinearRing><coordinates>").skip(1).collect();
    assert!(rings.len() > 50);
    for ring in rings {
        let places = ring.split('<').next().unwrap().split(' ');
        let longitudes: Vec<f64> = places.map(|at| at.split(',').next().unwrap().parse().unwrap()).collect();
        assert!(longitudes.windows(2).all(|e| (e[0] - e[1]).abs() < 1.0), "{ring}");
    }
}

/// Names are text, not markup.
#[tokio::test]
async fn names_cannot_break_out() {
    let service = service();
    let mut card = mapped();
    let name = "<script>alert(\"a\" & 'b')</script>";
    card["card"]["name"] = json!(name);
    card["site"]["map"]["features"][0]["properties"]["name"] = json!(name);
    let (place, _) = posted(&service, &card).await;
    for (file, _) in FILES.iter().filter(|(file, _)| file.ends_with("kml") || file.ends_with("svg")) {
        let text = service.get(&format!("{place}/{file}")).await.text();
        assert!(!text.contains("<script") && text.contains("&lt;script&gt;alert(&quot;a&quot;"), "{file}");
    }
}

/// Four members of one speed, two against two.
fn apart() -> Value {
    let member = |from: f64| json!({"surface": {"speed": "6 m/s", "direction": from, "measuring_height": "10 m"}});
    let mut card = card();
    card["wind"] = json!({"members": [member(250.0), member(80.0), member(260.0), member(70.0)]});
    card
}

/// From anywhere near the ground, of one direction aloft.
fn turning() -> Value {
    let mut card = card();
    card["wind"] = json!({
        "surface": {"speed": "2 m/s", "direction": "variable", "measuring_height": "10 m"},
        "layers": [{"height_above_ground": "120 m", "speed": "7 m/s", "direction": "270 deg"}],
    });
    card
}

/// Cards whose pictures have little room, and such as have little to show.
fn crowded() -> Vec<(&'static str, Value)> {
    let mut many = mapped();
    many["delays"] = (0..26).map(|k| json!(2.0 + 0.5 * f64::from(k))).collect();
    many["electronics"] = json!([
        {"fires_at": "apogee"}, {"fires_at": "height", "height": "150 m"}, {"fires_at": "apogee", "backup_delay": 9},
    ]);
    many["limits"] =
        json!({"deploy_speed": ["35 mph", "36 mph", "45 mph", "60 mph", "100 mph"], "applies_to": "line_stretch"});
    many["card"]["name"] = json!("A name that goes on over more than a single line of the picture (invented)");
    many["flights"] = json!(64);
    let mut electronic = card();
    electronic["delays"] = Value::Null;
    electronic["electronics"] = json!([{"fires_at": "apogee"}, {"fires_at": "height", "height": 100}]);
    let mut one = card();
    one["delays"] = json!([6]);
    one["flights"] = json!(64);
    // So late that it lies on the ground before anything fires.
    let mut late = card();
    late["delays"] = json!([55]);
    // The widest of letters.
    let mut wide = mapped();
    let name = "W".repeat(60) + &" MEADOW".repeat(5);
    wide["card"]["name"] = json!(name);
    wide["site"]["pads"][1]["name"] = json!(name);
    wide["launch"]["pad"] = json!(name);
    wide["site"]["map"]["features"][0]["properties"]["name"] = json!(name);
    let mut failing = mapped();
    failing["failures"] = json!({"no_ejection": 0.1});
    vec![
        ("example", mapped()),
        ("many", many),
        ("electronic", electronic),
        ("one", one),
        ("late", late),
        ("wide", wide),
        ("failing", failing),
        ("apart", apart()),
        ("turning", turning()),
    ]
}

/// No word of a picture lies on another or beyond the edge, none is too small, and all of it is told to those who do not
/// see it. Measured with the letters of the PNG, which are wider than those of most browsers.
#[tokio::test]
async fn pictures_are_readable() {
    let service = service();
    let mut labels = 0;
    for (what, card) in crowded() {
        let (place, answer) = posted(&service, &card).await;
        let cords = answer.get("cords").map(|_| "cords");
        for file in ["landing", "deploy-speed", "wind", "flight-paths"].into_iter().chain(cords) {
            let text = service.get(&format!("{place}/{file}.svg")).await.text();
            assert!(
                text.contains("<title id=\"title\">") && text.contains(&format!("<desc id=\"desc\">{CAUTION}")),
                "{what}"
            );
            assert!(text.contains("role=\"img\"") && text.contains("aria-labelledby=\"title desc\""));
            let alone = text.replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
            for never in ["<script", "<style", "href", "http://", "NaN", "inf", "null"] {
                assert!(!alone.contains(never), "{what} {file} has {never}");
            }
            assert!(text.contains(answer["id"].as_str().unwrap()));
            let boxes = words(&text);
            assert!(boxes.len() > 6, "{what} {file}");
            let (width, height) = size(&text);
            assert_eq!(width, 360.0);
            for (k, (word, b)) in boxes.iter().enumerate() {
                let within = b[0] >= 1.0 && b[2] <= width - 1.0 && b[1] >= 1.0 && b[3] <= height - 1.0;
                assert!(within, "{what} {file}: {word:?} {b:?}");
                for (other, o) in &boxes[k + 1..] {
                    let apart = b[2] < o[0] + 0.5 || o[2] < b[0] + 0.5 || b[3] < o[1] + 0.5 || o[3] < b[1] + 0.5;
                    assert!(apart, "{what} {file}: {word:?} {b:?} lies on {other:?} {o:?}");
                }
            }
            // What a limit is called covers no bar.
            for bar in rects(&text).filter(|(fill, _)| fill == "#c6dbef").map(|(_, bar)| bar) {
                for (word, b) in boxes.iter().filter(|(word, _)| word.ends_with("0 mph") || word.ends_with("5 mph")) {
                    let apart = b[2] < bar[0] || bar[2] < b[0] || b[3] < bar[1] || bar[3] < b[1];
                    assert!(apart, "{what}: {word:?} {b:?} lies on {bar:?}");
                    labels += 1;
                }
            }
            for size in text.split("font-size=\"").skip(1).map(|rest| rest.split('"').next().unwrap()) {
                assert!(size.parse::<f64>().unwrap() >= 10.0, "{what} {file}: {size}");
            }
        }
    }
    assert!(labels > 20, "limits are called by their names where there is room");
}

/// Every rectangle of a picture: its colour, and left, top, right, bottom.
fn rects(svg: &str) -> impl Iterator<Item = (String, [f32; 4])> {
    svg.split("<rect ").skip(1).filter_map(|rect| {
        let rect = rect.split("/>").next()?;
        let part = |name: &str| rect.split(&format!("{name}=\"")).nth(1)?.split('"').next();
        let [left, top, width, height] = ["x", "y", "width", "height"].map(|name| part(name)?.parse::<f32>().ok());
        Some((part("fill")?.to_string(), [left?, top?, left? + width?, top? + height?]))
    })
}

/// A number as pictures write it, with so many decimals.
fn shown(value: &Value, decimals: usize) -> String {
    format!("{:.decimals$}", value.as_f64().unwrap())
}

/// What is decoded is in the picture, height by height; a body that is refused is refused for a picture too.
#[tokio::test]
async fn the_wind_of_a_picture_is_that_which_is_decoded() {
    let service = service();
    let layered: Value = serde_json::from_str(include_str!("../examples/weather-report.json")).unwrap();
    let mut body = layered["weather"].clone();
    body["field_elevation"] = layered["site"]["elevation"].clone();
    body["date"] = json!("2026-11-10");
    let mut bodies = vec![(body.clone(), "above ground")];
    body.as_object_mut().unwrap().remove("field_elevation");
    body["layers"] = json!("height_above_sea ft, direction deg, speed kt\n6000, 320, 14\n9000, 340, 22");
    bodies.push((body, "above sea level"));
    let mut levels_seen = 0;
    for (body, reference) in bodies {
        let decoded = service.send(json_request("/v1/weather", body.to_string())).await;
        assert_eq!(decoded.status, 200, "{}", decoded.text());
        let reply = service.send(json_request("/v1/weather/profile.svg", body.to_string())).await;
        assert_eq!((reply.status.as_u16(), reply.header("content-type")), (200, "image/svg+xml"), "{}", reply.text());
        assert_eq!(reply.header("cache-control"), "no-store");
        let svg = reply.text();
        assert!(svg.contains(&format!("The mean wind by height {reference}. ")), "{svg}");
        assert!(svg.contains(&format!("<desc id=\"desc\">{CAUTION}")));
        let decoded = decoded.json();
        for level in decoded["levels"].as_array().unwrap().iter().filter(|l| !l["wind_speed_m_s"].is_null()) {
            let height = if reference == "above ground" { "height_above_ground_m" } else { "height_above_sea_m" };
            let speed_m_s = level["wind_speed_m_s"].as_f64().unwrap();
            let at = match level[height].as_f64() {
                Some(m) => format!("{m:.0} m, {:.0} ft", m / 0.3048),
                None => "At the ground".into(),
            };
            let mut told = format!("{at}: {speed_m_s:.1} m/s, {:.1} mph", speed_m_s / 0.44704);
            told += &format!(", from {} deg", shown(&level["wind_from_deg"], 0));
            if let Some(c) = level["temperature_c"].as_f64() {
                told += &format!(", {c:.1} C");
            }
            assert!(svg.contains(&format!("{told}.")), "{told} in {svg}");
            levels_seen += 1;
        }
    }
    assert!(levels_seen >= 5, "{levels_seen}");
    let refused = json!({"metar": "KABQ 100156Z 3X010KT", "date": "2026-11-10"});
    let plain = service.send(json_request("/v1/weather", refused.to_string())).await;
    let drawn = service.send(json_request("/v1/weather/profile.svg", refused.to_string())).await;
    check_problem(&drawn, 422, "invalid-input");
    assert_eq!(drawn.json()["errors"], plain.json()["errors"]);
}

/// What was flown in: the surface wind of the answer, and what the input says of the winds above it.
#[tokio::test]
async fn the_wind_of_a_picture_is_that_which_was_flown() {
    let service = service();
    let mut card = card();
    card["wind"] = json!({
        "surface": {"speed": "4 m/s", "direction": "250 deg", "measuring_height": "10 m"},
        "layers": [{"height_above_ground": "150 m", "speed": "7 m/s", "direction": "270 deg"},
                   {"height_above_ground": "9000 m", "speed": "40 m/s", "direction": "300 deg"}],
    });
    let (place, answer) = posted(&service, &card).await;
    let wind = service.get(&format!("{place}/wind.svg")).await.text();
    let nominal = &answer["nominal"];
    let surface = format!(
        "10 m, 33 ft: {} m/s, {} mph, from 250 deg.",
        shown(&nominal["surface_wind_m_s"], 1),
        shown(&nominal["surface_wind_mph"], 1)
    );
    assert!(wind.contains(&surface), "{surface} in {wind}");
    assert!(wind.contains("150 m, 492 ft: 7.0 m/s, 15.7 mph, from 270 deg."));
    assert!(wind.contains("mean of all flights") && wind.contains("known heights above what is flown through: 2"));
    // The map has the same wind, and its rings.
    let map = service.get(&format!("{place}/landing.svg")).await.text();
    let at_10_m = format!(
        "10 m, 33 ft: {} m/s {} mph, from 250 deg.",
        shown(&nominal["surface_wind_m_s"], 1),
        shown(&nominal["surface_wind_mph"], 1)
    );
    assert!(map.contains(&at_10_m) && map.contains("rings about the pad, "), "{map}");
    // A wind from anywhere has no arrow.
    card["wind"] = json!({"surface": {"speed": "2 m/s", "direction": "variable", "measuring_height": "10 m"}});
    let (place, _) = posted(&service, &card).await;
    let wind = service.get(&format!("{place}/wind.svg")).await.text();
    assert!(wind.contains("10 m, 33 ft: 2.0 m/s, 4.5 mph, from anywhere."), "{wind}");
    // Members of an ensemble: their mean.
    let member = |speed: &str| json!({"surface": {"speed": speed, "direction": "250 deg", "measuring_height": "10 m"}});
    card["wind"] = json!({"members": [member("2 m/s"), member("6 m/s")]});
    let (place, _) = posted(&service, &card).await;
    let (wind, map) =
        (service.get(&format!("{place}/wind.svg")).await, service.get(&format!("{place}/landing.svg")).await);
    assert!(
        wind.text().contains("the mean of 2 members") && map.text().contains("10 m, 33 ft: 4.0 m/s"),
        "{}",
        map.text()
    );
}

/// Members that blow against each other: their mean is next to nothing and has no direction, and each picture says how fast they are.
#[tokio::test]
async fn members_that_blow_apart_have_no_arrow() {
    let service = service();
    let ring = "r=\"4\" fill=\"#fff\"";
    let (place, _) = posted(&service, &apart()).await;
    let map = service.get(&format!("{place}/landing.svg")).await.text();
    let told = map.split("Mean wind, of the members as a vector, at heights above ground").nth(1).unwrap();
    let told = told.split("</desc>").next().unwrap();
    let each = "m/s 0.0 mph, from no one direction; 4 members, 6.0 to 6.0 m/s.";
    assert!(told.contains(&format!("10 m, 33 ft: 0.0 {each}")), "{told}");
    assert_eq!((told.matches("4 members, ").count(), told.matches("from no one direction").count()), (4, 4), "{told}");
    assert!(!told.contains(" deg") && !told.contains("-0"), "{told}");
    // One at each height, and one that says what they are.
    assert_eq!(map.matches(ring).count(), 5, "{map}");
    assert!(words(&map).iter().any(|(word, _)| word == "members from directions too far apart for one"), "{map}");
    // At 50 m by the law near the ground: ln(50 / 0.03) over ln(10 / 0.03).
    let wind = service.get(&format!("{place}/wind.svg")).await.text();
    let told = wind.split("</desc>").next().unwrap();
    assert!(told.contains("from no one direction") && told.contains("; 4 members, 7.7 to 7.7 m/s."), "{told}");
    assert!(!told.contains(" deg") && !told.contains("-0"), "{told}");
    assert!(wind.contains("the mean of 4 members as a vector"), "{wind}");
    // Members that blow much the same way have their arrow, and their number beside it.
    let mut card = card();
    let member =
        |speed: &str, from: f64| json!({"surface": {"speed": speed, "direction": from, "measuring_height": "10 m"}});
    card["wind"] = json!({"members": [member("4 m/s", 240.0), member("8 m/s", 240.0)]});
    let (place, _) = posted(&service, &card).await;
    let map = service.get(&format!("{place}/landing.svg")).await.text();
    assert!(map.contains("10 m, 33 ft: 6.0 m/s 13.4 mph, from 240 deg; 2 members, 4.0 to 8.0 m/s."), "{map}");
    assert_eq!(map.matches(ring).count(), 0, "{map}");
}

/// Between a wind from anywhere near the ground and one of a direction aloft there is no line: the picture says so, and from where
/// to where; the map says what its ring stands for.
#[tokio::test]
async fn what_is_between_two_kinds_of_wind_is_told() {
    let service = service();
    let (place, _) = posted(&service, &turning()).await;
    let between = "between a wind from anywhere and one of a direction";
    let wind = service.get(&format!("{place}/wind.svg")).await.text();
    // Up to half the lowest wind aloft the law near the ground holds.
    assert!(wind.contains(&format!("no line: {between}, from 60 m, 197 ft to 120 m, 394 ft. ")), "{wind}");
    assert!(words(&wind).iter().any(|(word, _)| word.starts_with("no line: between a wind")), "{wind}");
    let map = service.get(&format!("{place}/landing.svg")).await.text();
    assert!(map.contains(&format!(" ft: {between}. ")), "{map}");
    let lines = words(&map).into_iter().map(|(word, _)| word).collect::<Vec<_>>().join(" ");
    assert!(lines.contains(&format!("from anywhere alike, or {between}")), "{lines}");
    // A wind of one direction has no hole and no ring.
    let (place, _) = posted(&service, &card()).await;
    for file in ["wind", "landing"] {
        assert!(!service.get(&format!("{place}/{file}.svg")).await.text().contains(between), "{file}");
    }
}

/// Of an answer of another engine there is the map without its wind; its wind and its flights would be those of this engine.
#[tokio::test]
async fn an_older_engine_has_its_map_and_no_more() {
    let service = service();
    let (place, mut answer) = posted(&service, &mapped()).await;
    let whole = service.get(&format!("{place}/landing.svg")).await.text();
    let now = answer["id"].as_str().unwrap().to_string();
    let canonical = slowpoint_server::wire::read(mapped().to_string().as_bytes()).unwrap().canonical();
    let old = ContentId::of("an older engine", &canonical);
    answer["id"] = json!(old.to_string());
    answer["engine"] = json!("an older engine");
    service.store.put(Shelf::Assessments, &old, canonical.as_bytes(), answer.to_string().as_bytes()).unwrap();
    let place = format!("/v1/assessments/{old}");
    let map = service.get(&format!("{place}/landing.svg")).await.text();
    assert!(whole.contains("Mean wind at heights") && !map.contains("Mean wind at heights"));
    assert!(map.contains("rings about the pad"));
    for file in ["wind.svg", "wind.png", "flight-paths.svg", "flight-paths.png"] {
        check_problem(&service.get(&format!("{place}/{file}")).await, 410, "engine-changed");
    }
    let page = service.get(&format!("/flights/{old}")).await.text();
    assert!(page.contains("Another engine answered this") && !page.contains("wind.svg"));
    assert!(service.get(&format!("/flights/{now}")).await.text().contains("wind.svg"));
}

/// A few flights from the side: each of them as the flight by itself tells it, and of those that are looked at none opens
/// faster than the one that is named.
#[tokio::test]
async fn flights_from_the_side_are_those_flights() {
    let service = service();
    let (place, answer) = posted(&service, &mapped()).await;
    let begun = service.state.compute.begun();
    let reply = service.get(&format!("{place}/flight-paths.svg?delay=8")).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    assert_eq!(service.state.compute.begun(), begun + 1, "flown as one flight is");
    let way = answer["delays"].as_array().unwrap().iter().position(|d| d["label"] == "delay 8 s").unwrap();
    let svg = reply.text();
    assert!(svg.contains("Flights 0 to 5, and of the first 64 the one with the fastest opening"));
    let (mut fastest, mut told) = ((0, 0.0), 0);
    for index in 0..64 {
        let flight = service.get(&format!("{place}/flights/{index}")).await.json();
        let flown = &flight["delays"][way];
        let speed_m_s = flown["ejection"]["airspeed_m_s"].as_f64().unwrap();
        if speed_m_s > fastest.1 {
            fastest = (index, speed_m_s);
        }
        let [east, north] = ["east_m", "north_m"].map(|name| flown["landing"][name].as_f64().unwrap());
        let after = flown["ejection"]["after_apogee_s"].as_f64().unwrap();
        let words = format!(
            "Flight {index}: {} {apogee:.0} m ({:.0} ft); {speed_m_s:.1} m/s ({:.1} mph) at ejection, ejected {:.1} s {} that, {} m up; lands {:.0} m",
            if after < 0.0 { "would reach" } else { "highest" },
            flight["apogee_height_above_pad_m"].as_f64().unwrap() / 0.3048,
            speed_m_s / 0.44704,
            after.abs(),
            if after < 0.0 { "before" } else { "after" },
            shown(&flown["ejection"]["height_above_pad_m"], 0),
            east.hypot(north),
            apogee = flight["apogee_height_above_pad_m"].as_f64().unwrap(),
        );
        told += usize::from(svg.contains(&words));
        assert!(index > 5 || svg.contains(&words), "{words} in {svg}");
    }
    assert!(told == 6 + usize::from(fastest.0 > 5), "{told}");
    let named = svg.split("; the fastest opening of those").next().unwrap().rsplit("Flight ").next().unwrap();
    assert!(named.starts_with(&format!("{}: ", fastest.0)), "{named} is not {fastest:?}");
    // Held like its siblings.
    let tag = reply.header("etag").to_string();
    let uri = format!("{place}/flight-paths.svg?delay=8");
    let request = Request::builder().method(Method::GET).uri(&uri).header(header::IF_NONE_MATCH, &tag);
    let again = service.send(request.body(Body::empty()).unwrap()).await;
    assert_eq!((again.status.as_u16(), again.body.len()), (304, 0));
    assert_eq!(service.get(&uri).await.body, reply.body, "the same bytes again");
    assert_eq!(service.get(&format!("{place}/flight-paths.png")).await.header("content-type"), "image/png");
    check_problem(&service.get(&format!("{place}/flight-paths.svg?delay=99")).await, 400, "invalid-query");
    let nowhere = service.get(&format!("/v1/assessments/{}/flight-paths.svg", "0".repeat(32))).await;
    check_problem(&nowhere, 404, "unknown-assessment");
}

/// Limits in both units, and the figures of the answer in words.
#[tokio::test]
async fn pictures_tell_the_figures_of_the_answer() {
    let service = service();
    let (place, answer) = posted(&service, &mapped()).await;
    let speeds = service.get(&format!("{place}/deploy-speed.svg")).await.text();
    assert!(speeds.contains("35 mph (15.6 m/s)") && speeds.contains("60 mph (26.8 m/s)"));
    for delay in answer["delays"].as_array().unwrap() {
        let at = &delay["at_ejection"]["airspeed_m_s"];
        let [p05, p50, p95] = ["p05", "p50", "p95"].map(|q| at[q].as_f64().unwrap());
        let told = format!("{}: {p50:.1}, {p05:.1} to {p95:.1}.", delay["label"].as_str().unwrap());
        assert!(speeds.contains(&told), "{told}");
    }
    let landing = service.get(&format!("{place}/landing.svg?delay=6")).await.text();
    let chances = &answer["delays"][2]["landing"];
    let escaped = |text: &Value| text.as_str().unwrap().replace('<', "&lt;").replace('>', "&gt;");
    for area in chances["areas"].as_array().unwrap() {
        let side = if area["role"] == "field" { "outside" } else { "inside" };
        assert!(landing.contains(&format!("{side} {}", escaped(&area[side]["text"]))), "{area}");
    }
    assert!(landing.contains(&format!("outside every field: {}", escaped(&chances["outside_fields"]["text"]))));
}

/// Of more limits than can be told apart the condition's is drawn; intervals say their level; and a map says with which
/// delay what fails was flown.
#[tokio::test]
async fn pictures_say_what_they_leave_out() {
    let service = service();
    let (_, many) = crowded().into_iter().find(|(what, _)| *what == "many").unwrap();
    let (place, answer) = posted(&service, &many).await;
    assert_eq!(answer["advice"]["limit_mph"], 60.0);
    let speeds = service.get(&format!("{place}/deploy-speed.svg")).await.text();
    let curves: Vec<&str> = speeds.split(" mph, with its interval of ").skip(1).collect();
    assert!(curves.len() == 3 && curves[0].starts_with("95 %"), "{curves:?}");
    assert!(speeds.contains("at 60 mph, with") && !speeds.contains("at 45 mph, with"));
    assert!(speeds.contains("3 of 5 limits, that of the condition among them"));
    let mut ending = mapped();
    ending.as_object_mut().unwrap().remove("flights");
    ending["until"] = json!({"half_width": 0.05, "within": 1024});
    let (place, _) = posted(&service, &ending).await;
    let speeds = service.get(&format!("{place}/deploy-speed.svg")).await.text();
    assert!(speeds.contains("at 60 mph, with its interval of 96.5 %"));
    let landing = service.get(&format!("{place}/landing.svg?delay=4")).await.text();
    let way = posted(&service, &ending).await.1["failures"]["flown_with"].as_str().unwrap().to_string();
    assert!(way != "delay 4 s" && landing.contains(&format!("each failure flown by itself with {way}.")), "{way}");
}

/// Every text of a picture with its box: left, top, right, bottom.
fn words(svg: &str) -> Vec<(String, [f32; 4])> {
    let mut options = Options::default();
    let fonts = options.fontdb_mut();
    for font in [dejavu::sans::regular(), dejavu::sans::bold()] {
        fonts.load_font_data(font.to_vec());
    }
    fonts.set_sans_serif_family("DejaVu Sans");
    let tree = Tree::from_str(svg, &options).unwrap();
    let mut found = Vec::new();
    collect(tree.root(), &mut found);
    found
}

fn collect(group: &Group, found: &mut Vec<(String, [f32; 4])>) {
    for node in group.children() {
        match node {
            Node::Group(inner) => collect(inner, found),
            Node::Text(text) => {
                let b = text.abs_bounding_box();
                let said = text.chunks().iter().map(|chunk| chunk.text()).collect();
                found.push((said, [b.left(), b.top(), b.right(), b.bottom()]));
            }
            _ => {}
        }
    }
}

fn size(svg: &str) -> (f32, f32) {
    let tree = Tree::from_str(svg, &Options::default()).unwrap();
    (tree.size().width(), tree.size().height())
}
