//! The published description: held in the repository, valid, complete, and without other hosts.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use std::sync::atomic::Ordering;

use axum::body::Body;
use axum::http::{Method, Request};
use serde_json::{Value, json};
use slowpoint_server::access::new_secret;
use slowpoint_server::api::description;
use slowpoint_server::config::Config;
use slowpoint_server::id::sum;
use slowpoint_server::store::{Access, Scope, Token};
use support::{
    Disk, Service, card, check_documented, check_problem, json_request, request, routes, service, service_with, until,
};

const KEPT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../openapi/openapi.json");

#[tokio::test]
async fn the_document_is_kept_in_the_repository() {
    let text = description::text().unwrap();
    assert_eq!(service().get("/openapi.json").await.text(), text);
    let kept = std::fs::read_to_string(KEPT).unwrap_or_default();
    assert!(
        kept == text,
        "openapi/openapi.json is not what the code describes; look at the change, then run\n\
         cargo run -p slowpoint-server -- openapi > openapi/openapi.json"
    );
}

#[test]
fn the_document_is_complete() {
    let document: Value = serde_json::from_str(&description::text().unwrap()).unwrap();
    assert!(document["openapi"].as_str().unwrap().starts_with("3.1."));
    let mut operations = 0;
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            operations += 1;
            let name = format!("{method} {path}");
            assert!(operation["operationId"].is_string(), "{name}");
            assert!(operation["summary"].is_string(), "{name}");
            let responses = operation["responses"].as_object().unwrap();
            let problems = responses.iter().filter(|(status, _)| matches!(status.as_bytes()[0], b'4' | b'5'));
            assert!(problems.clone().count() > 0, "{name} documents no problem");
            for (status, problem) in problems {
                let schema = &problem["content"]["application/problem+json"]["schema"]["$ref"];
                assert_eq!(schema, "#/components/schemas/Problem", "{name} {status}");
            }
            for (status, response) in responses {
                assert!(response["description"].as_str().is_some_and(|d| !d.is_empty()), "{name} {status}");
            }
        }
    }
    assert!(operations >= 9, "{operations}");
}

#[test]
fn every_reference_leads_somewhere() {
    let document: Value = serde_json::from_str(&description::text().unwrap()).unwrap();
    let mut count = 0;
    visit(&document, &mut |key, value| {
        if key == "$ref" {
            count += 1;
            let pointer = value.as_str().unwrap().strip_prefix('#').unwrap();
            assert!(document.pointer(pointer).is_some(), "{pointer} leads nowhere");
        }
    });
    assert!(count > 5);
}

fn visit(value: &Value, look: &mut impl FnMut(&str, &Value)) {
    match value {
        Value::Object(members) => members.iter().for_each(|(key, value)| {
            look(key, value);
            visit(value, look);
        }),
        Value::Array(items) => items.iter().for_each(|item| visit(item, look)),
        _ => {}
    }
}

#[tokio::test]
async fn the_docs_page_needs_no_other_host() {
    let service = service();
    let moved = service.get("/docs").await;
    assert_eq!((moved.status.as_u16(), moved.header("location")), (308, "/docs/"));
    let page = service.get("/docs/").await;
    assert!(page.header("content-security-policy").contains("script-src 'self';"));
    assert!(page.text().contains("<title>Slowpoint: description</title>"));
    let files = ["", "index.css", "swagger-ui.css", "swagger-initializer.js"];
    for file in files {
        let reply = service.get(&format!("/docs/{file}")).await;
        assert_eq!(reply.status, 200, "{file}");
        for (at, _) in reply.text().match_indices("//") {
            let text = reply.text();
            let before = &text[..at];
            let scheme = before.ends_with("http:") || before.ends_with("https:");
            // Names of XML vocabularies inside pictures look like addresses, but nothing loads them.
            assert!(
                !scheme || text[at..].starts_with("//www.w3.org/"),
                "{file}: {}",
                &text[at..(at + 60).min(text.len())]
            );
        }
    }
    let loaded: Vec<_> = page
        .text()
        .split(['"', '\''])
        .filter(|t| t.ends_with(".js") || t.ends_with(".css"))
        .map(str::to_string)
        .collect();
    assert!(loaded.len() >= 4, "{loaded:?}");
    for file in loaded {
        assert_eq!(service.get(&format!("/docs/{}", file.trim_start_matches("./"))).await.status, 200, "{file}");
    }
    let settings = service.get("/docs/swagger-initializer.js").await.text();
    for setting in ["\"validatorUrl\": \"none\"", "\"url\": \"/openapi.json\""] {
        assert!(settings.contains(setting), "{setting} not in {settings}");
    }
}

#[tokio::test]
async fn every_response_has_its_headers() {
    let service = service();
    for path in ["/", "/docs", "/docs/", "/livez", "/readyz", "/openapi.json", "/nowhere", "/problems/internal"] {
        let reply = service.get(path).await;
        assert_eq!(reply.header("x-content-type-options"), "nosniff", "{path}");
        assert!(reply.header("content-security-policy").starts_with("default-src 'none'"), "{path}");
        assert!(!reply.header("x-request-id").is_empty(), "{path}");
        assert_eq!(reply.header("server"), "", "{path}");
        assert!(!reply.header("cache-control").is_empty(), "{path}");
    }
}

fn day(seed: u64) -> Value {
    let card = card();
    json!({
        "entries": [{"name": "one", "card": card["card"]}],
        "launch": card["launch"], "wind": card["wind"], "flights": 128, "delays": [7], "seed": seed,
    })
}

/// A card of which every file can be made.
fn placed(seed: u64) -> Value {
    let mut card = card();
    card["site"] = json!({"position": {"latitude": 42.7, "longitude": -71.0}});
    let corded: Value = serde_json::from_str(include_str!("../examples/tube-edge.json")).unwrap();
    card["cords"] = corded["cords"].clone();
    card["calibration"] = json!({"flights": 1024, "csv": "apogee_time_s,apogee_time_error_s,delay_s\n8,3,6\n"});
    card["rare"] = json!([{"opening_over": "35 mph", "flown_with": "delay 7 s", "flights": 1024}]);
    card["seed"] = json!(seed);
    card
}

fn sweep(seed: u64) -> Value {
    let mut base = placed(seed);
    ["cords", "calibration", "rare"].iter().for_each(|name| base[*name] = Value::Null);
    json!({"base": base, "axes": {"tilts": [0]}})
}

/// A link, an assessment, a job, a day and a sweep, with the beginnings of their paths.
async fn answers(service: &Service) -> [(&'static str, String); 5] {
    let place = async |uri: &str, body: Value| {
        let reply = service.send(json_request(uri, body.to_string())).await;
        assert_eq!(reply.status, 200, "{}", reply.text());
        reply.header("location").to_string()
    };
    let day = place("/v1/days", day(1)).await;
    let flight = place("/v1/assessments", placed(1)).await;
    let link = json_request("/v1/shares", json!({"answer": flight, "hours": 1}).to_string());
    let link = service.send(link).await.json()["id"].as_str().unwrap().to_string();
    [
        ("/v1/shares/{id}", format!("/v1/shares/{link}")),
        ("/v1/assessments/{id}", flight),
        ("/v1/jobs/{id}", format!("/v1/jobs/{}", day.rsplit('/').next().unwrap())),
        ("/v1/days/{id}", day),
        ("/v1/sweeps/{id}", place("/v1/sweeps", sweep(1)).await),
    ]
}

/// A request that an operation takes, for work that has not been done: another by its seed.
fn well_asked(method: &Method, template: &str, uri: &str, seed: u64, places: &[(&str, String)]) -> Request<Body> {
    let body = match (method.as_str(), template) {
        ("POST", "/v1/assessments") => placed(seed),
        ("POST", "/v1/days") => day(seed),
        ("POST", "/v1/sweeps") => sweep(seed),
        ("POST", "/v1/days/{id}/revisions") => json!({"seed": seed}),
        ("POST", "/v1/shares") => json!({"answer": places[1].1, "hours": 1}),
        ("POST", "/v1/weather" | "/v1/weather/profile.svg") => {
            json!({"layers": "height_above_ground m, direction deg, speed m/s\n100, 270, 5"})
        }
        ("POST", "/v1/weather/grib") => {
            let mut asked =
                request(Method::POST, &format!("{uri}?latitude=1&longitude=1&field_elevation=0"), Body::from("GRIB"));
            asked.headers_mut().insert("content-type", "application/octet-stream".parse().unwrap());
            return asked;
        }
        ("POST", _) => panic!("{template} is asked nothing here"),
        _ => return request(method.clone(), uri, Body::empty()),
    };
    json_request(uri, body.to_string())
}

/// Each answer of a service that does well, with its headers.
#[tokio::test(flavor = "multi_thread")]
async fn what_answers_carry_is_described() {
    let service = service();
    let places = answers(&service).await;
    let (mut statuses, mut seen) = (Vec::new(), Vec::new());
    for (method, template, uri, has_body) in routes(&places) {
        // At once, as a job, and from the store; given whole, and held by the client.
        let asks: &[(&str, &str, u64)] = if has_body {
            &[("", "", 10), ("prefer", "respond-async", 11), ("", "", 1)]
        } else {
            &[("", "", 0), ("if-none-match", "*", 0)]
        };
        for (name, value, seed) in asks {
            let mut asked = well_asked(&method, &template, &uri, *seed, &places);
            if !name.is_empty() {
                asked.headers_mut().insert(*name, value.parse().unwrap());
            }
            let reply = service.send(asked).await;
            check_documented(&method, &template, &reply);
            statuses.push(reply.status.as_u16());
            seen.extend(reply.headers.keys().map(|name| name.as_str().to_string()));
        }
    }
    for status in [200, 201, 304, 308, 422] {
        assert!(statuses.contains(&status), "{status} was not seen");
    }
    for name in [
        "etag",
        "location",
        "content-location",
        "link",
        "preference-applied",
        "ratelimit",
        "ratelimit-policy",
        "x-request-id",
    ] {
        assert!(seen.iter().any(|seen| seen == name), "{name} was not seen");
    }
}

/// From work that was posted, by its links, to all that is made of it.
#[tokio::test(flavor = "multi_thread")]
async fn links_lead_to_what_is_there() {
    let document: Value = serde_json::from_str(&description::text().unwrap()).unwrap();
    let paths = document["paths"].as_object().unwrap();
    let service = service();
    let mut followed = Vec::new();
    for (path, body) in [("/v1/assessments", placed(1)), ("/v1/days", day(1)), ("/v1/sweeps", sweep(1))] {
        for (status, preferred) in [(201, "respond-async"), (200, "wait=60")] {
            let mut posted = json_request(path, body.to_string());
            posted.headers_mut().insert("prefer", preferred.parse().unwrap());
            let posted = service.send(posted).await;
            assert_eq!(posted.status, status, "{path}: {}", posted.text());
            if status == 201 {
                until(|| service.store.count("SELECT count(*) FROM jobs WHERE open") == 0).await;
            }
            let links = &paths[path]["post"]["responses"][status.to_string()]["links"];
            for link in links.as_object().unwrap().values() {
                let pointer = link["parameters"]["id"].as_str().unwrap().strip_prefix("$response.body#").unwrap();
                let id = posted.json().pointer(pointer).unwrap().as_str().unwrap().to_string();
                let reads = |item: &Value| item["get"]["operationId"] == link["operationId"];
                // What is posted or given up is there as well, and needs more than an id.
                let Some((template, _)) = paths.iter().find(|(_, item)| reads(item)) else { continue };
                let uri = template.replace("{id}", &id).replace("{index}", "5");
                assert_ne!(service.get(&uri).await.status, 404, "{uri}");
                followed.push(template.clone());
            }
        }
    }
    for template in ["/v1/jobs/{id}/results", "/v1/assessments/{id}/landing.kml", "/v1/sweeps/{id}/heat-map.svg"] {
        assert!(followed.iter().any(|followed| followed == template), "{template} of {followed:?}");
    }
}

/// A client may send a token and need not.
#[test]
fn a_token_is_described() {
    let document: Value = serde_json::from_str(&description::text().unwrap()).unwrap();
    assert_eq!(document["security"], json!([{}, {"token": []}]));
    let scheme = &document["components"]["securitySchemes"]["token"];
    assert_eq!((&scheme["type"], &scheme["scheme"]), (&json!("http"), &json!("bearer")));
}

/// Each refusal of a client that had all that it may have.
#[tokio::test]
async fn what_a_spent_budget_answers_is_described() {
    let service = service_with(Config { client_core_s: 10, ..Config::default() }, Disk::default());
    let places = answers(&service).await;
    let begun = service.send(json_request("/v1/assessments", placed(2).to_string())).await;
    check_documented(&Method::POST, "/v1/assessments", &begun);
    let mut refused = 0;
    for (method, template, uri, _) in routes(&places) {
        // Whatever it has left.
        while let Ok(taken) = service.state.budget.take("address:unknown", 0.001) {
            taken.spend();
        }
        let reply = service.send(well_asked(&method, &template, &uri, 10, &places)).await;
        check_documented(&method, &template, &reply);
        refused += usize::from(reply.status == 429);
    }
    assert_eq!(
        refused, 8,
        "three kinds of work, revisions, the table of flights, a flight to be learned for, and two pictures of them"
    );
}

/// Each refusal while nothing can be read or kept: before it is known who asks, and after.
#[tokio::test]
async fn what_a_broken_store_answers_is_described() {
    for (tokens, all) in [(false, true), (true, true), (true, false)] {
        let service = service();
        let places = answers(&service).await;
        let secret = new_secret();
        if tokens {
            let (name, scope, created) = ("admin".into(), Scope::Admin, jiff::Timestamp::now());
            let token = Token { name, scope, created, expires: None, revoked: None };
            assert!(service.store.add_token(&token, &sum(&secret)).unwrap());
            assert_eq!(service.get("/v1/jobs").await.status, 401);
        }
        let broken = if all { &service.store.broken } else { &service.store.answers_broken };
        broken.store(true, Ordering::SeqCst);
        for (method, template, uri, _) in routes(&places) {
            let mut asked = well_asked(&method, &template, &uri, 10, &places);
            asked.headers_mut().insert("authorization", format!("Bearer {secret}").parse().unwrap());
            let reply = service.send(asked).await;
            check_documented(&method, &template, &reply);
            let plain = ["/", "/livez", "/openapi.json", "/docs", "/problems/{kind}"].contains(&template.as_str());
            // Nothing is stored of decoded weather; the metrics say that the store is down.
            let mut stores = !template.starts_with("/v1/weather") && template != "/metrics";
            // Links are read and ended beside the answers.
            stores &= all || !template.starts_with("/v1/shares") || method == Method::POST;
            if !plain && (stores || (all && tokens) || (all && template != "/metrics")) {
                check_problem(&reply, 503, "storage-failed");
            } else {
                assert_ne!(reply.status, 503, "{method} {template}");
            }
        }
    }
}
