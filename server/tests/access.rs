//! Who may do and read what: every route of the description with every kind of token.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use std::time::Duration;

use axum::body::Body;
use axum::http::{Method, Request};
use jiff::Timestamp;
use serde_json::{Value, json};
use slowpoint_server::access::new_secret;
use slowpoint_server::config::Config;
use slowpoint_server::id::sum;
use slowpoint_server::page;
use slowpoint_server::store::{Access, Scope, Token};
use support::{
    Disk, Reply, Service, card, check_described, check_documented, check_problem, json_request, request, routes,
    service, service_with,
};

fn add(service: &Service, name: &str, scope: Scope, expires: Option<Timestamp>) -> String {
    let secret = new_secret();
    let token = Token { name: name.into(), scope, created: Timestamp::now(), expires, revoked: None };
    assert!(service.store.add_token(&token, &sum(&secret)).unwrap());
    secret
}

fn with(mut request: Request<Body>, secret: Option<&str>) -> Request<Body> {
    if let Some(secret) = secret {
        request.headers_mut().insert("authorization", format!("Bearer {secret}").parse().unwrap());
    }
    request
}

fn with_cookie(mut request: Request<Body>, secret: Option<&str>) -> Request<Body> {
    if let Some(secret) = secret {
        request.headers_mut().insert("cookie", format!("a=b; slowpoint={secret}").parse().unwrap());
    }
    request
}

/// What pages send.
const FORMS: [(Method, &str); 4] = [
    (Method::POST, "/jobs/{id}/dismiss"),
    (Method::POST, "/days/{id}/share"),
    (Method::POST, "/flights/{id}/share"),
    (Method::POST, "/sweeps/{id}/share"),
];

async fn get(service: &Service, uri: &str, secret: Option<&str>) -> Reply {
    service.send(with(request(Method::GET, uri, Body::empty()), secret)).await
}

fn day() -> Value {
    json!({
        "entries": [{"name": "one", "card": card()["card"]}],
        "launch": card()["launch"], "wind": card()["wind"], "flights": 128, "delays": [7],
    })
}

/// Posts with a token; the path of the answer.
async fn posted(service: &Service, uri: &str, body: &Value, secret: &str) -> String {
    let reply = service.send(with(json_request(uri, body.to_string()), Some(secret))).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    reply.header("location").to_string()
}

#[tokio::test(flavor = "multi_thread")]
async fn every_route_with_every_token() {
    let service = service();
    let owner = add(&service, "owner", Scope::Compute, None);
    let [reader, other, admin] = [("reader", Scope::Read), ("other", Scope::Compute), ("admin", Scope::Admin)]
        .map(|(n, s)| add(&service, n, s, None));
    let over = add(&service, "over", Scope::Admin, Some(Timestamp::now() - Duration::from_secs(1)));
    let revoked = add(&service, "revoked", Scope::Admin, None);
    assert!(service.store.revoke_token("revoked").unwrap());
    let assessment = posted(&service, "/v1/assessments", &card(), &owner).await;
    let day = posted(&service, "/v1/days", &day(), &owner).await;
    let sweep = posted(&service, "/v1/sweeps", &json!({"base": card(), "axes": {"tilts": [0]}}), &owner).await;
    let job = format!("/v1/jobs/{}", day.rsplit('/').next().unwrap());
    let places = [
        ("/v1/assessments/{id}", assessment),
        ("/v1/days/{id}", day),
        ("/v1/sweeps/{id}", sweep),
        ("/v1/jobs/{id}", job),
        ("/v1/shares/{id}", format!("/v1/shares/{}", "0".repeat(32))),
    ];
    let mut routes = routes(&places);
    // Pages have the names of what is read on them, and are not in the description.
    let read = page::ROUTES.map(|template| (Method::GET, template));
    for (method, template) in read.into_iter().chain(FORMS) {
        let shelf = template.split('/').nth(1).unwrap().replace("flights", "assessments");
        let (_, place) = places.iter().find(|(own, _)| own.split('/').nth(2) == Some(&shelf)).unwrap();
        let uri = template.replace("{id}", place.rsplit('/').next().unwrap());
        routes.push((method, template.to_string(), uri, false));
    }
    for (method, path) in
        [(Method::GET, "/jobs"), (Method::GET, "/new"), (Method::GET, "/sign-in"), (Method::POST, "/sign-out")]
    {
        routes.push((method, path.to_string(), path.to_string(), false));
    }
    assert!(routes.len() > 40, "{}", routes.len());
    let of_page = |template: &str| !template.starts_with("/v1") && template != "/metrics";
    let check_documented = |method: &Method, template: &str, reply: &Reply| {
        if template.starts_with("/v1") {
            check_documented(method, template, reply);
        }
    };
    // A browser's cookie opens what the header opens, where the browser says that a page of this server sent it.
    let mut checked = 0;
    for (by_cookie, (method, template, uri, has_body)) in
        [false, true].into_iter().flat_map(|by_cookie| routes.iter().map(move |route| (by_cookie, route)))
    {
        let plain =
            ["/", "/livez", "/new", "/readyz", "/openapi.json", "/docs", "/problems/{kind}", "/sign-in", "/sign-out"]
                .contains(&template.as_str());
        // A link is its maker's, whoever may read where it leads.
        let own = template.contains("{id}") && !template.starts_with("/v1/shares");
        let reads = *method == Method::GET;
        // Without a token, with one that is none, and with those whose time is over.
        let strangers = [None, Some("slowpoint_00"), Some(over.as_str()), Some(revoked.as_str())];
        let least = match (template.as_str(), reads) {
            ("/metrics", _) => Scope::Admin,
            (template, _) if template.ends_with("/share") || template.starts_with("/v1/shares") => Scope::Compute,
            (_, true) => Scope::Read,
            (_, false) => Scope::Compute,
        };
        let tokens = [
            (&reader, Scope::Read, false),
            (&other, Scope::Compute, false),
            (&owner, Scope::Compute, true),
            (&admin, Scope::Admin, true),
        ];
        let asked = |secret: Option<&str>| {
            let body = || Body::from("{}");
            let mut asked = request(method.clone(), uri, if *has_body { body() } else { Body::empty() });
            if *has_body {
                asked.headers_mut().insert("content-type", "application/json".parse().unwrap());
            }
            if of_page(template) || by_cookie {
                asked.headers_mut().insert("sec-fetch-site", "same-origin".parse().unwrap());
            }
            service.send(if by_cookie { with_cookie(asked, secret) } else { with(asked, secret) })
        };
        for secret in strangers {
            let reply = asked(secret).await;
            check_documented(method, template, &reply);
            if plain {
                assert!(reply.status.as_u16() < 400, "{method} {template}: {}", reply.status);
            } else {
                check_problem(&reply, 401, "token-needed");
                assert!(reply.header("www-authenticate").starts_with("Bearer"), "{method} {template}");
            }
            checked += 1;
        }
        for (secret, scope, owns) in tokens {
            let reply = asked(Some(secret)).await;
            check_documented(method, template, &reply);
            let status = reply.status.as_u16();
            let told = format!("{method} {template} {scope:?} {owns}: {}", String::from_utf8_lossy(&reply.body));
            if plain {
                assert!(status < 400, "{told}");
            } else if scope < least {
                check_problem(&reply, 403, "scope-too-small");
            } else if own && !owns {
                assert_eq!(status, 404, "{told}");
                assert!(reply.text().contains("that this token may read"), "{told}");
            } else {
                assert!(status != 401 && status != 403 && !told.contains("this token may read"), "{told}");
            }
            checked += 1;
        }
    }
    assert_eq!(checked, 2 * 8 * routes.len());
    // From a page of another site nothing is changed with a cookie, and no form of a page is taken at all.
    let mut refused = 0;
    for (method, template, uri, has_body) in routes.iter().filter(|(method, ..)| *method != Method::GET) {
        for (site, by_cookie) in [(Some("cross-site"), true), (Some("same-site"), true), (None, true), (None, false)] {
            let mut asked = request(method.clone(), uri, Body::from(if *has_body { "{}" } else { "" }));
            asked.headers_mut().insert("content-type", "application/json".parse().unwrap());
            asked.headers_mut().insert("origin", "http://elsewhere.example".parse().unwrap());
            asked.headers_mut().insert("host", "field.example".parse().unwrap());
            if let Some(site) = site {
                asked.headers_mut().insert("sec-fetch-site", site.parse().unwrap());
            }
            let by_header = !by_cookie && !of_page(template);
            let reply =
                service.send(if by_cookie { with_cookie(asked, Some(&admin)) } else { with(asked, Some(&admin)) });
            let reply = reply.await;
            if by_header {
                assert_ne!(reply.status, 403, "{method} {template}: {}", reply.text());
            } else {
                check_problem(&reply, 403, "other-site");
                check_documented(method, template, &reply);
                refused += 1;
            }
        }
    }
    assert!(refused > 30, "{refused}");
}

/// What is not there and what is somebody else's are told with the same words.
#[tokio::test]
async fn nobody_learns_what_there_is() {
    let service = service();
    let [owner, other] = ["owner", "other"].map(|name| add(&service, name, Scope::Compute, None));
    let place = posted(&service, "/v1/assessments", &card(), &owner).await;
    let id = place.rsplit('/').next().unwrap();
    let nowhere = "0".repeat(32);
    let told = |reply: Reply, id: &str| {
        let problem = check_problem(&reply, 404, "unknown-assessment");
        problem["detail"].as_str().unwrap().replace(id, "ID")
    };
    let somebodys = told(get(&service, &place, Some(&other)).await, id);
    assert_eq!(somebodys, told(get(&service, &format!("/v1/assessments/{nowhere}"), Some(&other)).await, &nowhere));
    // An id is no more readable when it is written otherwise.
    let coded = format!("/v1/assessments/%{:02x}{}", id.as_bytes()[0], &id[1..]);
    assert_eq!(get(&service, &coded, Some(&other)).await.status, 404);
    assert_eq!(get(&service, &coded, None).await.status, 401);
    // Whoever posts the same input may read it.
    assert_eq!(posted(&service, "/v1/assessments", &card(), &other).await, place);
    assert_eq!(get(&service, &place, Some(&other)).await.status, 200);
}

/// The id of a day says nothing about its note: a client that posts the same day learns nothing of another's.
#[tokio::test]
async fn a_note_is_not_told_to_others() {
    let service = service();
    let [one, two] = ["one", "two"].map(|name| add(&service, name, Scope::Compute, None));
    let mut noted = day();
    noted["note"] = json!("a secret of the club");
    let place = posted(&service, "/v1/days", &noted, &one).await;
    assert_eq!(posted(&service, "/v1/days", &day(), &two).await, place);
    let mut other = day();
    other["seed"] = json!(2);
    other["note"] = json!("my own");
    let before = posted(&service, "/v1/days", &other, &two).await;
    let since = before.rsplit('/').next().unwrap();
    let changes = get(&service, &format!("{place}/changes?since={since}"), Some(&two)).await;
    assert_eq!(changes.status, 200);
    assert!(!changes.text().contains("secret"), "{}", changes.text());
}

#[tokio::test]
async fn a_revoked_token_ends_at_once() {
    let service = service();
    let secret = add(&service, "phone", Scope::Compute, None);
    assert_eq!(get(&service, "/v1/jobs", Some(&secret)).await.status, 200);
    service.store.revoke_token("phone").unwrap();
    check_problem(&get(&service, "/v1/jobs", Some(&secret)).await, 401, "token-needed");
    check_problem(&get(&service, "/v1/jobs", None).await, 401, "token-needed");
    // The secret is kept nowhere.
    for file in ["slowpoint.db", "slowpoint.db-wal"] {
        let bytes = std::fs::read(service.store.directory.path().join(file)).unwrap();
        assert!(!bytes.windows(secret.len()).any(|window| window == secret.as_bytes()), "{file}");
    }
}

/// What it was let to watch it watches no longer.
#[tokio::test(flavor = "multi_thread")]
async fn a_revoked_token_ends_its_event_streams() {
    let service = service();
    let secret = add(&service, "phone", Scope::Compute, None);
    let mut long = card();
    long["flights"] = json!(400_000);
    let mut asked = json_request("/v1/assessments", long.to_string());
    asked.headers_mut().insert("prefer", "respond-async".parse().unwrap());
    let job = service.send(with(asked, Some(&secret))).await;
    assert_eq!(job.status, 201, "{}", job.text());
    let path = format!("{}/events", job.header("location"));
    let watching = service.send(with(request(Method::GET, &path, Body::empty()), Some(&secret)));
    let revoking = async {
        tokio::time::sleep(Duration::from_millis(300)).await;
        service.store.revoke_token("phone").unwrap();
    };
    let (reply, ()) = tokio::join!(tokio::time::timeout(Duration::from_secs(20), watching), revoking);
    let reply = reply.unwrap();
    assert_eq!(reply.status, 200);
    assert!(!reply.text().contains("event: job"), "{}", reply.text());
    assert_eq!(service.store.count("SELECT count(*) FROM jobs WHERE open"), 1, "it goes on");
    service.state.jobs.stop();
}

/// Has an answer shared for two days; the reply.
async fn shared(service: &Service, answer: &str, secret: &str) -> Reply {
    let asked = json_request("/v1/shares", json!({"answer": answer, "hours": 48}).to_string());
    service.send(with(asked, Some(secret))).await
}

/// The query of a new link.
async fn link(service: &Service, answer: &str, secret: &str) -> String {
    let reply = shared(service, answer, secret).await;
    assert_eq!(reply.status, 201, "{}", reply.text());
    reply.json()["query"].as_str().unwrap().to_string()
}

/// A page may send its token with every request, those to another club's link among them.
#[tokio::test]
async fn a_link_is_read_beside_any_token() {
    let service = service();
    let [owner, other] = ["owner", "other"].map(|name| add(&service, name, Scope::Compute, None));
    let revoked = add(&service, "revoked", Scope::Compute, None);
    service.store.revoke_token("revoked").unwrap();
    let place = posted(&service, "/v1/days", &day(), &owner).await;
    let good = link(&service, &place, &owner).await;
    let bad = format!("share={}", new_secret());
    let links = [None, Some(&good), Some(&bad)];
    // Per token what comes of no link, one that shares it, and one that does not.
    for (token, expected) in [
        (None, [(401, "token-needed"), (200, ""), (403, "share-over")]),
        (Some(&owner), [(200, ""), (200, ""), (200, "")]),
        (Some(&other), [(404, "unknown-day"), (200, ""), (403, "share-over")]),
        (Some(&revoked), [(401, "token-needed"), (200, ""), (403, "share-over")]),
    ] {
        for (link, (status, slug)) in links.iter().zip(expected) {
            let uri = link.map_or_else(|| place.clone(), |link| format!("{place}?{link}"));
            let reply = get(&service, &uri, token.map(String::as_str)).await;
            match status {
                200 => assert_eq!(reply.status, 200, "{token:?} {link:?}: {}", reply.text()),
                _ => drop(check_problem(&reply, status, slug)),
            }
        }
    }
    // What the token and the link read between them: one's own day and another club's.
    let mut own = day();
    own["seed"] = json!(2);
    let own = posted(&service, "/v1/days", &own, &other).await;
    let changes = format!("{own}/changes?since={}", place.rsplit('/').next().unwrap());
    assert_eq!(get(&service, &changes, Some(&other)).await.status, 404);
    assert_eq!(get(&service, &format!("{changes}&{good}"), Some(&other)).await.status, 200);
    check_problem(&get(&service, &format!("{changes}&{good}"), None).await, 403, "share-over");
}

/// Whoever spends what a link may leaves the others theirs.
#[tokio::test(flavor = "multi_thread")]
async fn each_link_has_a_budget_of_its_own() {
    let service = service_with(Config { client_core_s: 1, ..Config::default() }, Disk::default());
    let [owner, named] = ["owner", "a shared link"].map(|name| add(&service, name, Scope::Compute, None));
    let mut long = card();
    long["flights"] = json!(16_384);
    let place = posted(&service, "/v1/assessments", &long, &owner).await;
    let [one, two] = [link(&service, &place, &owner).await, link(&service, &place, &owner).await];
    let table = |link: &str| format!("{place}/flights.csv?{link}");
    assert_eq!(get(&service, &table(&one), None).await.status, 200);
    check_problem(&get(&service, &table(&one), None).await, 429, "over-budget");
    assert_eq!(get(&service, &table(&two), None).await.status, 200);
    // Nor is a token the client that it is called after.
    posted(&service, "/v1/assessments", &card(), &named).await;
}

/// What was asked from an address, before there was a token, is not that of a token of this name.
#[tokio::test]
async fn no_token_is_an_address() {
    let service = service();
    let address: std::net::SocketAddr = "192.0.2.7:5000".parse().unwrap();
    let mut asked = json_request("/v1/assessments", card().to_string());
    asked.headers_mut().insert("prefer", "respond-async, wait=20".parse().unwrap());
    asked.extensions_mut().insert(axum::extract::ConnectInfo(address));
    let reply = service.send(asked).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    let secret = add(&service, "192.0.2.7", Scope::Compute, None);
    check_problem(&get(&service, reply.header("location"), Some(&secret)).await, 404, "unknown-assessment");
    assert_eq!(get(&service, "/v1/jobs", Some(&secret)).await.json()["jobs"], json!([]));
}

/// A link is asked for as everything is: every fault at once, each with its place and its remedy.
#[tokio::test]
async fn a_bad_wish_for_a_link_is_told_whole() {
    let service = service();
    let owner = add(&service, "owner", Scope::Compute, None);
    let id = "0".repeat(32);
    for (body, expected) in [
        ("[]".to_string(), &[("", "give an object with answer, hours")][..]),
        (
            "{}".into(),
            &[
                ("/answer", "add \"answer\": Path of the answer"),
                ("/hours", "add \"hours\": For how long, h: a year at most"),
            ],
        ),
        (format!(r#"{{"answer": "/v1/days/{id}", "hours": 48, "hours": 2}}"#), &[("/hours", "give it once")]),
        (
            format!(r#"{{"answr": "/v1/days/{id}", "hours": "48", "for": "all"}}"#),
            &[
                ("/answr", "did you mean \"answer\"?"),
                ("/for", "known here: answer, hours"),
                ("/hours", "send 48 without quotation marks"),
            ],
        ),
        (
            r#"{"answer": "/v1/jobs/1", "hours": 0}"#.into(),
            &[("/hours", "give 1 to 8784"), ("/answer", "give /v1/assessments/ID, /v1/days/ID or /v1/sweeps/ID")],
        ),
        (
            format!(r#"{{"answer": "/v1/days/{id}/changes", "hours": 1.5}}"#),
            &[("/hours", "give a whole number"), ("/answer", "give /v1/assessments/ID, /v1/days/ID or /v1/sweeps/ID")],
        ),
    ] {
        let reply = service.send(with(json_request("/v1/shares", body.clone()), Some(&owner))).await;
        let problem = check_problem(&reply, 422, "invalid-input");
        let told: Vec<_> = problem["errors"].as_array().unwrap().iter().collect();
        let told: Vec<_> =
            told.iter().map(|e| (e["pointer"].as_str().unwrap(), e["remedy"].as_str().unwrap())).collect();
        assert_eq!(told, expected, "{body}");
    }
    let reply = service.send(with(json_request("/v1/shares", "{\"answer\": "), Some(&owner))).await;
    check_problem(&reply, 400, "malformed-json");
}

#[tokio::test]
async fn a_link_shares_one_answer_for_a_while() {
    let service = service();
    let owner = add(&service, "owner", Scope::Compute, None);
    let place = posted(&service, "/v1/days", &day(), &owner).await;
    let assessment = posted(&service, "/v1/assessments", &card(), &owner).await;
    let share = |answer: String, hours: u64, secret: String| {
        let asked = json_request("/v1/shares", json!({"answer": answer, "hours": hours}).to_string());
        service.send(with(asked, Some(&secret)))
    };
    let reply = share(place.clone(), 48, owner.clone()).await;
    assert_eq!(reply.status, 201, "{}", reply.text());
    let link = reply.json();
    check_described("ShareAnswer", &link);
    let (href, query) = (link["href"].as_str().unwrap(), link["query"].as_str().unwrap());
    assert_eq!(reply.header("location"), href);
    for (place, page) in [(&place, "/days/"), (&assessment, "/flights/")] {
        let link = share(place.clone(), 48, owner.clone()).await.json();
        let page_href = link["page"].as_str().unwrap();
        assert!(page_href.starts_with(page), "{page_href}");
        let shown = get(&service, page_href, None).await;
        assert_eq!((shown.status.as_u16(), shown.header("content-type")), (200, "text/html; charset=utf-8"));
    }
    let shared = get(&service, href, None).await;
    assert_eq!(shared.status, 200);
    assert_eq!(shared.body, get(&service, &place, Some(&owner)).await.body);
    // The flights of the day as well, in every form; nothing else, and nothing but reading.
    let flight = shared.json()["entries"][0]["flight"]["href"].as_str().unwrap().to_string();
    for uri in [format!("{flight}?{query}"), format!("{flight}/landing.svg?delay=7&{query}")] {
        assert_eq!(get(&service, &uri, None).await.status, 200, "{uri}");
    }
    check_problem(&get(&service, &format!("{assessment}?{query}"), None).await, 403, "share-over");
    let revision = json_request(&format!("{place}/revisions?{query}"), "{}");
    check_problem(&service.send(revision).await, 401, "token-needed");
    check_problem(&get(&service, &format!("/v1/jobs?{query}"), None).await, 401, "token-needed");
    let since = assessment.rsplit('/').next().unwrap();
    check_problem(&get(&service, &format!("{place}/changes?since={since}&{query}"), None).await, 403, "share-over");
    // Nor by a query that is read one way here and another there.
    for twice in [format!("{place}/changes?since={since}&{query}&{query}"), format!("{place}?{query}&share=x")] {
        check_problem(&get(&service, &twice, None).await, 400, "invalid-query");
        check_problem(&get(&service, &twice, Some(&owner)).await, 400, "invalid-query");
    }
    // Its time is over.
    service.store.sql("UPDATE shares SET expires_ms = 1");
    check_problem(&get(&service, href, None).await, 403, "share-over");
    // What is not one's own cannot be shared.
    let other = add(&service, "other", Scope::Compute, None);
    check_problem(&share(place.clone(), 48, other).await, 404, "unknown-day");
    for (answer, hours, pointer) in
        [("/v1/jobs/1".to_string(), 48, "/answer"), (place.clone(), 0, "/hours"), (place, 10_000, "/hours")]
    {
        let problem = check_problem(&share(answer, hours, owner.clone()).await, 422, "invalid-input");
        assert_eq!(problem["errors"][0]["pointer"], pointer);
    }
}

/// Links are listed and ended by whoever made them, on the page as well, and by administrators.
#[tokio::test]
async fn a_link_is_ended() {
    let service = service();
    let [owner, other] = ["owner", "other"].map(|name| add(&service, name, Scope::Compute, None));
    let admin = add(&service, "admin", Scope::Admin, None);
    let place = posted(&service, "/v1/days", &day(), &owner).await;
    posted(&service, "/v1/days", &day(), &other).await;
    let listed = async |secret: &str| -> Vec<String> {
        let list = get(&service, "/v1/shares", Some(secret)).await.json();
        check_described("ShareList", &list);
        list["shares"].as_array().unwrap().iter().map(|link| link["id"].as_str().unwrap().to_string()).collect()
    };
    let end = async |id: &str, secret: &str| {
        let uri = format!("/v1/shares/{id}");
        let reply = service.send(with(request(Method::DELETE, &uri, Body::empty()), Some(secret))).await;
        check_documented(&Method::DELETE, "/v1/shares/{id}", &reply);
        reply
    };
    let opens = async |link: &Value| get(&service, link["href"].as_str().unwrap(), None).await.status == 200;
    let mut links = Vec::new();
    for _ in 0..3 {
        links.push(shared(&service, &place, &owner).await.json());
    }
    let id = |k: usize| links[k]["id"].as_str().unwrap();
    let theirs = shared(&service, &place, &other).await.json();
    let query = links[0]["query"].as_str().unwrap();
    assert!(!query.contains(id(0)) && opens(&links[0]).await);
    let [mut own, mut all] = [listed(&owner).await, listed(&admin).await];
    own.sort_unstable();
    all.sort_unstable();
    let mut made: Vec<String> = (0..3).map(|k| id(k).to_string()).collect();
    made.sort_unstable();
    assert_eq!(own, made);
    made.push(theirs["id"].as_str().unwrap().to_string());
    made.sort_unstable();
    assert_eq!(all, made);
    // What its maker ends, and an administrator, opens nothing any more; nobody else ends it, nor anything else with it.
    check_problem(&end(id(0), &other).await, 404, "unknown-share");
    assert!(opens(&links[0]).await);
    assert_eq!((end(id(0), &owner).await.status.as_u16(), end(id(1), &admin).await.status.as_u16()), (204, 204));
    for (k, holds) in [false, false, true].into_iter().enumerate() {
        assert_eq!(opens(&links[k]).await, holds, "{k}");
    }
    check_problem(&end(id(0), &owner).await, 404, "unknown-share");
    check_problem(&end("some", &owner).await, 400, "invalid-path");
    // On the page, those of this answer.
    let page = format!("{}/share", links[2]["page"].as_str().unwrap().split('?').next().unwrap());
    let reply = get(&service, &page, Some(&owner)).await;
    assert!(reply.text().contains(id(2)) && !reply.text().contains(theirs["id"].as_str().unwrap()), "{}", reply.text());
    let form = |body: String| {
        let mut asked = with(request(Method::POST, &page, Body::from(body)), Some(&owner));
        asked.headers_mut().insert("content-type", "application/x-www-form-urlencoded".parse().unwrap());
        asked.headers_mut().insert("sec-fetch-site", "same-origin".parse().unwrap());
        service.send(asked)
    };
    assert_eq!(form("end=some".into()).await.status, 400);
    let reply = form(format!("end={}", id(2))).await;
    assert_eq!((reply.status.as_u16(), reply.header("location")), (303, page.as_str()));
    assert!(!opens(&links[2]).await && !get(&service, &page, Some(&owner)).await.text().contains(id(2)));
    // With its maker's token a link ends as well: revoked, or over.
    assert!(opens(&theirs).await);
    service.store.revoke_token("other").unwrap();
    check_problem(&get(&service, theirs["href"].as_str().unwrap(), None).await, 403, "share-over");
    let last = shared(&service, &place, &owner).await.json();
    assert!(opens(&last).await && listed(&admin).await == [last["id"].as_str().unwrap()]);
    service.store.sql("UPDATE tokens SET expires_ms = 1 WHERE name = 'owner'");
    assert!(!opens(&last).await);
    assert!(listed(&admin).await.is_empty());
}

/// Nobody's links crowd out what is kept, and a place comes back with each that ends.
#[tokio::test]
async fn so_many_links_and_no_more() {
    let service = service();
    let [owner, other] = ["owner", "other"].map(|name| add(&service, name, Scope::Compute, None));
    let place = posted(&service, "/v1/assessments", &card(), &owner).await;
    posted(&service, "/v1/assessments", &card(), &other).await;
    let first = shared(&service, &place, &owner).await.json();
    service.store.sql(
        "INSERT INTO shares SELECT CAST(printf('%032d', value) AS BLOB), shelf, id, expires_ms, kept_until_ms, maker, made_ms, leads
         FROM shares, (WITH RECURSIVE n (value) AS (VALUES (1) UNION ALL SELECT value + 1 FROM n WHERE value < 199) SELECT value FROM n)",
    );
    let reply = shared(&service, &place, &owner).await;
    check_problem(&reply, 429, "too-many-shares");
    check_documented(&Method::POST, "/v1/shares", &reply);
    // When the first of them ends.
    let seconds: i64 = reply.header("retry-after").parse().unwrap();
    assert!((48 * 3600 - 600..=48 * 3600).contains(&seconds), "{seconds}");
    assert_eq!(shared(&service, &place, &other).await.status, 201, "others have theirs");
    let end = format!("/v1/shares/{}", first["id"].as_str().unwrap());
    assert_eq!(service.send(with(request(Method::DELETE, &end, Body::empty()), Some(&owner))).await.status, 204);
    assert_eq!(shared(&service, &place, &owner).await.status, 201);
    service.store.sql("UPDATE shares SET expires_ms = 1 WHERE maker = 'token:owner'");
    assert_eq!(shared(&service, &place, &owner).await.status, 201, "what is over does not count");
    // A damaged one keeps nobody from theirs.
    let admin = add(&service, "admin", Scope::Admin, None);
    for damage in ["sum = 'text' || hex(sum)", "id = 'text'", "made_ms = 'text'", "maker = X'00'"] {
        assert_eq!(shared(&service, &place, &other).await.status, 201, "{damage}");
        service.store.sql(&format!("UPDATE shares SET {damage} WHERE maker = 'token:other'"));
    }
    let list = get(&service, "/v1/shares", Some(&admin)).await;
    assert_eq!(list.json()["shares"].as_array().unwrap().len(), 1, "{}", list.text());
}

/// Who is not asked for a token sees what was made from the same address alone.
#[tokio::test]
async fn nobody_sees_addresses_of_others() {
    let service = service();
    let from = |address: &str, mut asked: Request<Body>| {
        let address: std::net::SocketAddr = address.parse().unwrap();
        asked.extensions_mut().insert(axum::extract::ConnectInfo(address));
        service.send(asked)
    };
    let place = service.post(&card()).await.header("location").to_string();
    let asked = json_request("/v1/shares", json!({"answer": place, "hours": 48}).to_string());
    let link = from("192.0.2.7:5000", asked).await.json();
    let list =
        async |address| from(address, request(Method::GET, "/v1/shares", Body::empty())).await.json()["shares"].clone();
    assert_eq!(list("192.0.2.7:5001").await[0]["id"], link["id"]);
    assert_eq!(list("198.51.100.1:5000").await, json!([]));
    let end = format!("/v1/shares/{}", link["id"].as_str().unwrap());
    let reply = from("198.51.100.1:5000", request(Method::DELETE, &end, Body::empty())).await;
    check_problem(&reply, 404, "unknown-share");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_of_two_is_given_up_by_both() {
    let service = service();
    let [one, two] = ["one", "two"].map(|name| add(&service, name, Scope::Compute, None));
    let mut long = day();
    long["flights"] = json!(150_000);
    let post = |secret: &str| {
        let mut asked = json_request("/v1/days", long.to_string());
        asked.headers_mut().insert("prefer", "respond-async".parse().unwrap());
        service.send(with(asked, Some(secret)))
    };
    let job = post(&one).await.header("location").to_string();
    assert_eq!(post(&two).await.header("location"), job);
    for secret in [&one, &two] {
        assert_eq!(get(&service, "/v1/jobs", Some(secret)).await.json()["jobs"].as_array().unwrap().len(), 1);
    }
    let give_up = |secret: &str| service.send(with(request(Method::DELETE, &job, Body::empty()), Some(secret)));
    let first = give_up(&one).await.json();
    assert!(first["message"].as_str().unwrap().starts_with("Others asked"), "{first}");
    assert_eq!(get(&service, &job, Some(&one)).await.status, 404, "it is theirs no more");
    let mine = service.store.count("SELECT count(*) FROM jobs WHERE client = 'token:two' AND open");
    assert_eq!(mine, 1, "it counts as the other's now");
    assert_eq!(give_up(&two).await.json()["status"], "dismissed");
    assert_eq!(get(&service, &job, Some(&two)).await.json()["status"], "dismissed", "and stays known");
    // An administrator ends it for all.
    let admin = add(&service, "admin", Scope::Admin, None);
    assert_eq!(post(&one).await.status, 201);
    assert_eq!(give_up(&admin).await.json()["status"], "dismissed");
}

#[tokio::test]
async fn without_any_token_nobody_is_asked() {
    let service = service();
    let reply = service.post(&card()).await;
    assert_eq!(get(&service, reply.header("location"), None).await.status, 200);
    assert_eq!(get(&service, "/v1/jobs", Some("slowpoint_00")).await.status, 200);
}

/// Pages of the sites that are listed may ask, those of others may not; a browser asks first, without a token.
#[tokio::test]
async fn listed_sites_may_ask() {
    let config = Config { allow_origin: "https://club.example".parse().unwrap(), ..Config::default() };
    let service = service_with(config, Disk::default());
    let owner = add(&service, "owner", Scope::Compute, None);
    for (origin, allowed) in [("https://club.example", true), ("https://other.example", false), ("null", false)] {
        let mut before = request(Method::OPTIONS, "/v1/assessments", Body::empty());
        for (name, value) in [
            ("origin", origin),
            ("access-control-request-method", "POST"),
            ("access-control-request-headers", "authorization,content-type,prefer"),
        ] {
            before.headers_mut().insert(name, value.parse().unwrap());
        }
        let reply = service.send(before).await;
        assert_eq!(reply.status, 200);
        assert_eq!(reply.header("access-control-allow-origin"), if allowed { origin } else { "" });
        assert!(reply.header("access-control-allow-headers").contains("authorization"));
        assert!(!reply.header("x-request-id").is_empty() && reply.header("vary").contains("origin"));
        let mut asked = with(json_request("/v1/assessments", card().to_string()), Some(&owner));
        asked.headers_mut().insert("origin", origin.parse().unwrap());
        let reply = service.send(asked).await;
        assert_eq!(reply.header("access-control-allow-origin"), if allowed { origin } else { "" });
        assert!(reply.header("access-control-expose-headers").contains("location"));
        assert!(reply.header("access-control-allow-credentials").is_empty());
    }
    // A refusal is readable as well.
    let mut asked = request(Method::GET, "/v1/jobs", Body::empty());
    asked.headers_mut().insert("origin", "https://club.example".parse().unwrap());
    let reply = service.send(asked).await;
    check_problem(&reply, 401, "token-needed");
    assert_eq!(reply.header("access-control-allow-origin"), "https://club.example");
    assert!(reply.header("vary").contains("origin") && reply.header("access-control-expose-headers").contains("link"));
    // Nothing is answered that is not counted.
    let admin = add(&service, "admin", Scope::Admin, None);
    let metrics = get(&service, "/metrics", Some(&admin)).await.text();
    let line = "slowpoint_http_requests_total{method=\"OPTIONS\",route=\"/v1/assessments\",status=\"200\"} 3";
    assert!(metrics.contains(line), "{metrics}");
}

/// What a browser holds takes over the headers of the answer that it is unchanged (RFC 9111, 4.3.4), so both have the same: a
/// club's page shows the picture at the second view as well.
#[tokio::test]
async fn unchanged_is_said_with_the_same_headers() {
    let service = service();
    let place = service.post(&card()).await.header("location").to_string();
    for (form, resource) in [
        ("", "same-origin"),
        ("/landing.svg", "cross-origin"),
        ("/landing.png", "cross-origin"),
        ("/deploy-speed.svg?delay=7", "cross-origin"),
        ("/flights/0", "same-origin"),
        ("/flights.csv", "same-origin"),
    ] {
        let uri = format!("{place}{form}");
        let whole = service.get(&uri).await;
        assert_eq!(whole.status, 200, "{uri}: {}", whole.text());
        let mut again = request(Method::GET, &uri, Body::empty());
        again.headers_mut().insert("if-none-match", whole.header("etag").parse().unwrap());
        let held = service.send(again).await;
        assert_eq!((held.status.as_u16(), held.body.len()), (304, 0), "{uri}");
        assert_eq!(whole.header("cross-origin-resource-policy"), resource, "{uri}");
        for name in ["cross-origin-resource-policy", "content-security-policy", "cache-control", "vary", "etag"] {
            assert_eq!(held.header(name), whole.header(name), "{uri} {name}");
        }
    }
}
