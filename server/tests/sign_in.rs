//! Signing in with a browser: the cookie, where it leads, and what is taken from pages of this server alone.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

#[path = "support/pages.rs"]
mod pages;
mod support;

use axum::body::Body;
use axum::http::{Method, Request};
use jiff::Timestamp;
use pages::{all, words_of};
use serde_json::json;
use slowpoint_server::access::new_secret;
use slowpoint_server::config::Config;
use slowpoint_server::id::sum;
use slowpoint_server::store::{Access, Scope, Token};
use support::{Disk, Reply, Service, card, check_problem, json_request, request, service, service_with};

const HOST: &str = "field.example:8080";
const HERE: &str = "http://field.example:8080";

fn add(service: &Service, name: &str, scope: Scope) -> String {
    let secret = new_secret();
    let token = Token { name: name.into(), scope, created: Timestamp::now(), expires: None, revoked: None };
    assert!(service.store.add_token(&token, &sum(&secret)).unwrap());
    secret
}

/// As a browser sends a form of a page of this server over plain HTTP.
fn form(uri: &str, fields: &[(&str, &str)], cookie: &str) -> Request<Body> {
    let mut sent = request(Method::POST, uri, Body::from(serde_urlencoded::to_string(fields).unwrap()));
    for (name, value) in [
        ("content-type", "application/x-www-form-urlencoded"),
        ("accept", "text/html"),
        ("host", HOST),
        ("origin", HERE),
        ("cookie", cookie),
    ] {
        sent.headers_mut().insert(name, value.parse().unwrap());
    }
    sent
}

async fn seen(service: &Service, uri: &str, cookie: &str) -> Reply {
    let mut asked = request(Method::GET, uri, Body::empty());
    for (name, value) in [("accept", "text/html"), ("host", HOST), ("cookie", cookie)] {
        asked.headers_mut().insert(name, value.parse().unwrap());
    }
    service.send(asked).await
}

/// Signs in; what the browser keeps.
async fn signed_in(service: &Service, secret: &str) -> String {
    let reply = service.send(form("/sign-in", &[("token", secret)], "")).await;
    assert_eq!(reply.status, 303, "{}", reply.text());
    reply.header("set-cookie").split(';').next().unwrap().to_string()
}

#[tokio::test]
async fn whoever_signs_in_reads_and_asks_like_with_the_header() {
    let service = service();
    let secret = add(&service, "table", Scope::Compute);
    let reply =
        service.send(form("/sign-in", &[("token", &format!(" {secret} ")), ("next", "/jobs?units=us")], "")).await;
    assert_eq!((reply.status.as_u16(), reply.header("location")), (303, "/jobs?units=us"), "{}", reply.text());
    assert_eq!(reply.header("set-cookie"), format!("slowpoint={secret}; Path=/; HttpOnly; SameSite=Strict"));
    assert_eq!(reply.header("cache-control"), "no-store");
    let cookie = reply.header("set-cookie").split(';').next().unwrap().to_string();
    assert_eq!(seen(&service, "/jobs", &cookie).await.status, 200);
    // A proxy's own password is no token, and does not hide the cookie.
    for (cookie, status) in [(cookie.as_str(), 200), ("", 401)] {
        let mut behind = Request::get("/jobs").body(Body::empty()).unwrap();
        for (name, value) in [("authorization", "Basic Y2x1YjpmaWVsZA=="), ("cookie", cookie), ("host", HOST)] {
            behind.headers_mut().insert(name, value.parse().unwrap());
        }
        assert_eq!(service.send(behind).await.status, status);
    }
    assert_eq!(seen(&service, "/jobs", "").await.status, 401);
    // A module of a page asks the API.
    let mut asked = json_request("/v1/assessments", card().to_string());
    for (name, value) in [("cookie", cookie.as_str()), ("host", HOST), ("origin", HERE)] {
        asked.headers_mut().insert(name, value.parse().unwrap());
    }
    let posted = service.send(asked).await;
    assert_eq!(posted.status, 200, "{}", posted.text());
    let page = posted.header("location").replace("/v1/assessments/", "/flights/");
    assert_eq!(seen(&service, &page, &cookie).await.status, 200);
    // The header is looked at first.
    let mut both = request(Method::GET, "/v1/jobs", Body::empty());
    both.headers_mut().insert("cookie", cookie.parse().unwrap());
    both.headers_mut().insert("authorization", "Bearer slowpoint_0".parse().unwrap());
    check_problem(&service.send(both).await, 401, "token-needed");
    // For twelve hours, by wish; over TLS for TLS alone.
    let proxied = service_with(Config { behind_proxy: true, ..Config::default() }, Disk::default());
    let secret = add(&proxied, "phone", Scope::Read);
    let mut asked = form("/sign-in", &[("token", &secret), ("stays", "yes")], "");
    asked.headers_mut().insert("x-forwarded-proto", "https".parse().unwrap());
    asked.headers_mut().insert("origin", "https://field.example:8080".parse().unwrap());
    let kept = proxied.send(asked).await;
    let expected = format!("__Host-slowpoint={secret}; Path=/; HttpOnly; SameSite=Strict; Secure; Max-Age=43200");
    assert_eq!(kept.header("set-cookie"), expected, "{}", kept.text());
}

#[tokio::test]
async fn signing_in_leads_to_paths_of_this_server_alone() {
    let service = service();
    let secret = add(&service, "table", Scope::Read);
    let cookie = signed_in(&service, &secret).await;
    for (next, leads) in [
        ("/days/1?sort=name", "/days/1?sort=name"),
        ("//elsewhere.example", "/"),
        ("https://elsewhere.example", "/"),
        ("/\\elsewhere.example", "/"),
        ("/\t/elsewhere.example", "/"),
        ("javascript:alert(1)", "/"),
        ("", "/"),
    ] {
        let reply = service.send(form("/sign-in", &[("token", &secret), ("next", next)], "")).await;
        assert_eq!((reply.status.as_u16(), reply.header("location")), (303, leads), "{next:?}");
        // Whoever is signed in already, by a link of a page.
        let query = serde_urlencoded::to_string([("next", next)]).unwrap();
        let reply = seen(&service, &format!("/sign-in?{query}"), &cookie).await;
        let (status, to) = (reply.status.as_u16(), reply.header("location").to_string());
        assert_eq!((status, to.as_str()), if leads == "/" { (200, "") } else { (303, leads) }, "{next:?}");
        let shown = seen(&service, &format!("/sign-in?{query}"), "").await.text();
        assert!(!shown.contains("elsewhere.example") && !shown.contains("javascript"), "{next:?}: {shown}");
    }
}

/// A browser that is asked for a token gets the form, in words, and back to where it was.
#[tokio::test]
async fn a_browser_is_led_to_the_form() {
    let service = service();
    let secret = add(&service, "table", Scope::Read);
    let wanted = format!("/days/{}?units=us", "0".repeat(32));
    let refused = seen(&service, &wanted, "").await;
    assert_eq!(refused.status, 401);
    let page = pages::read(&refused);
    assert!(words_of(&page, "main").contains("shows it to whoever is signed in"), "{}", refused.text());
    assert!(!refused.text().contains("Authorization"), "{}", refused.text());
    let next = "form[action='/sign-in'][method=post] input[name=next]";
    assert_eq!(all(&page, next)[0].value().attr("value"), Some(wanted.as_str()));
    assert_eq!(refused.header("referrer-policy"), "same-origin", "else a form of it has no origin");
    // A token that is none, and then one that is.
    let wrong = service.send(form("/sign-in", &[("token", "slowpoint_0"), ("next", &wanted)], "")).await;
    assert_eq!(wrong.status, 401);
    let page = pages::read(&wrong);
    assert!(words_of(&page, "main").contains("The token is not known, was revoked, or its time is over."));
    assert!(wrong.header("set-cookie").is_empty() && !wrong.text().contains("slowpoint_0"));
    assert_eq!(all(&page, next)[0].value().attr("value"), Some(wanted.as_str()));
    // A link's secret is not carried along.
    let cookie = signed_in(&service, &secret).await;
    service.store.revoke_token("table").unwrap();
    let refused = seen(&service, "/jobs?share=slowpoint_1&units=us", &cookie).await;
    assert_eq!(refused.status, 401);
    assert!(!refused.text().contains("slowpoint_1") && refused.text().contains("/jobs?units=us"), "{}", refused.text());
    for told in [&refused, &wrong] {
        assert!(!told.text().contains(&secret));
    }
    // A program is told of the header, as ever.
    let mut asked = request(Method::GET, "/v1/jobs", Body::empty());
    asked.headers_mut().insert("accept", "*/*".parse().unwrap());
    let problem = check_problem(&service.send(asked).await, 401, "token-needed");
    assert!(problem["detail"].as_str().unwrap().contains("Authorization: Bearer"), "{problem}");
}

#[tokio::test]
async fn a_cookie_ends_with_its_token_and_with_signing_out() {
    let service = service();
    let secret = add(&service, "table", Scope::Read);
    let cookie = signed_in(&service, &secret).await;
    assert!(
        words_of(&pages::read(&seen(&service, "/sign-in", &cookie).await), "main")
            .contains("the token table, which may read")
    );
    let left = service.send(form("/sign-out", &[], &cookie)).await;
    assert_eq!((left.status.as_u16(), left.header("location")), (303, "/sign-in"));
    assert_eq!(left.header("set-cookie"), "slowpoint=; Path=/; HttpOnly; SameSite=Strict; Max-Age=0");
    assert_eq!(left.header("clear-site-data"), "\"cache\"");
    assert_eq!(seen(&service, "/jobs", "slowpoint=").await.status, 401);
    // The token itself still counts, until it is revoked.
    assert_eq!(seen(&service, "/jobs", &cookie).await.status, 200);
    service.store.revoke_token("table").unwrap();
    assert_eq!(seen(&service, "/jobs", &cookie).await.status, 401);
    assert!(words_of(&pages::read(&seen(&service, "/sign-in", &cookie).await), "label").contains("Token"));
}

/// From pages of other sites nothing is taken, also where nobody is asked for a token.
#[tokio::test]
async fn forms_are_taken_from_here_alone() {
    for asked in [false, true] {
        let service = service();
        let secret = if asked { add(&service, "table", Scope::Compute) } else { "slowpoint_0".into() };
        let dismiss = format!("/jobs/{}/dismiss", "0".repeat(32));
        for path in ["/sign-in", "/sign-out", &dismiss] {
            for (name, value) in
                [("origin", "http://elsewhere.example"), ("origin", "null"), ("sec-fetch-site", "cross-site")]
            {
                let mut sent = form(path, &[("token", &secret)], "");
                sent.headers_mut().insert("accept", "application/json".parse().unwrap());
                sent.headers_mut().insert(name, value.parse().unwrap());
                let reply = service.send(sent).await;
                check_problem(&reply, 403, "other-site");
                assert!(reply.header("set-cookie").is_empty(), "{path}");
            }
            let taken = service.send(form(path, &[("token", &secret)], "")).await;
            assert_ne!(taken.status, 403, "{path}: {}", taken.text());
        }
    }
    let open = service();
    let told = seen(&open, "/sign-in", "").await;
    assert!(words_of(&pages::read(&told), "main").contains("Nobody is asked for a token here"), "{}", told.text());
    assert!(!told.text().contains("<form"), "{}", told.text());
}

/// Who may read is looked at for what a page of a job shows besides, and by a query that is read the same way by all.
#[tokio::test]
async fn what_a_job_is_looked_at_with_has_to_be_ones_own() {
    let service = service();
    let [one, two] = ["one", "two"].map(|name| add(&service, name, Scope::Compute));
    let day = |seed: u64, flights: u64| {
        json!({
            "entries": [{"name": "one", "card": card()["card"]}], "seed": seed, "launch": card()["launch"],
            "wind": card()["wind"], "flights": flights, "delays": [7],
        })
        .to_string()
    };
    let posted = async |secret: &str, body: String, job: bool| {
        let mut sent = json_request("/v1/days", body);
        sent.headers_mut().insert("authorization", format!("Bearer {secret}").parse().unwrap());
        if job {
            sent.headers_mut().insert("prefer", "respond-async".parse().unwrap());
        }
        let reply = service.send(sent).await;
        assert_eq!(reply.status, if job { 201 } else { 200 }, "{}", reply.text());
        reply.header("location").rsplit('/').next().unwrap().to_string()
    };
    let job = posted(&one, day(1, 100_000), true).await;
    let (own, others) = (posted(&one, day(1, 128), false).await, posted(&two, day(3, 128), false).await);
    let cookie = format!("slowpoint={one}");
    let shown = seen(&service, &format!("/jobs/{job}?look={own}"), &cookie).await;
    assert_eq!(shown.status, 200, "{}", shown.text());
    assert!(words_of(&pages::read(&shown), ".look").contains("First look, 128 flights"), "{}", shown.text());
    for (query, status) in [
        (format!("look={others}"), 404),
        (format!("look={own}&look={others}"), 400),
        (format!("share=a&share=b&look={others}"), 400),
        (format!("share=a&look={others}"), 404),
    ] {
        let reply = seen(&service, &format!("/jobs/{job}?{query}"), &cookie).await;
        assert_eq!(reply.status.as_u16(), status, "{query}: {}", reply.text());
        assert!(!reply.text().contains("First look"), "{query}");
    }
}
