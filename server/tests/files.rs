//! An answer in other forms: where they are, how they are held by clients, and that their numbers are those of the JSON.
//! Readers that this project did not write read them in `tests/oracle/test_files.py`.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use axum::body::Body;
use axum::http::{Method, Request, header};
use serde_json::{Value, json};
use support::{Service, card, check_problem, service};

const CAUTION: &str =
    "An estimate from the listed assumptions. It approves no flight. Local codes and the range safety officer decide.";

/// The example with a map, of few flights.
fn mapped() -> Value {
    let mut card: Value = serde_json::from_str(include_str!("../examples/mapped-field.json")).unwrap();
    card["flights"] = json!(256);
    card
}

async fn posted(service: &Service, card: &Value) -> (String, Value) {
    let reply = service.post(card).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    (reply.header("location").to_string(), reply.json())
}

const FILES: [(&str, &str); 2] =
    [("landing.geojson", "application/geo+json"), ("landing.kml", "application/vnd.google-earth.kml+xml")];

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
        assert_eq!(reply.header("cache-control"), "private, max-age=31536000, immutable");
        let tag = reply.header("etag").to_string();
        assert!(tag.contains(answer["id"].as_str().unwrap()) && tag.contains(file), "{tag}");
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

/// An answer that was lost is flown once more, and the file is the same.
#[tokio::test]
async fn a_lost_answer_is_flown_again() {
    let service = service();
    let (place, answer) = posted(&service, &mapped()).await;
    let uri = format!("{place}/landing.geojson");
    let first = service.get(&uri).await;
    service.store.kept.lock().unwrap().get_mut(answer["id"].as_str().unwrap()).unwrap().answer = None;
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
    for (file, _) in FILES.iter().filter(|(file, _)| !file.ends_with("json")) {
        let text = service.get(&format!("{place}/{file}")).await.text();
        assert!(!text.contains("<script") && text.contains("&lt;script&gt;alert(&quot;a&quot; &amp; "), "{file}");
    }
}
