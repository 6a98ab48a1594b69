//! The published description: held in the repository, valid, complete, and without other hosts.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use serde_json::Value;
use slowpoint_server::api::description;
use support::service;

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
