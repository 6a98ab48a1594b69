//! The page of work under way: what is told so far is what the answer will hold, and where it leads.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

#[path = "support/pages.rs"]
mod pages;
mod support;

use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::http::Method;
use pages::{all, words_of};
use scraper::{ElementRef, Selector};
use serde_json::{Value, json};
use slowpoint_server::config::Config;
use slowpoint_server::id::ContentId;
use slowpoint_server::store::{Lease, Piece, Reason, Store};
use slowpoint_server::{State, app};
use support::{Disk, Reply, Service, card, json_request, request};

const LEASE: Lease<'static> = Lease { owner: "a test", lasts: Duration::from_secs(60) };

/// A service whose jobs the test works on itself.
fn idle() -> Service {
    let store = Arc::new(Disk::default());
    let state = State::new(Config::default(), Arc::clone(&store) as Arc<dyn Store>).unwrap();
    Service { app: app(Arc::clone(&state)), state, store }
}

fn day(flights: u64) -> Value {
    let wide = json!({"name": "second", "copy_of": "first", "changes": {"card": {"airframe": {"mass": "700 g"}}}});
    let third = json!({"name": "third", "copy_of": "first", "delays": [5]});
    json!({
        "entries": [{"name": "first", "card": card()["card"]}, wide, third],
        "launch": card()["launch"], "wind": card()["wind"], "flights": flights, "delays": [6, 7],
    })
}

async fn posted(service: &Service, shelf: &str, body: &Value, job: bool) -> String {
    let mut sent = json_request(&format!("/v1/{shelf}"), body.to_string());
    if job {
        sent.headers_mut().insert("prefer", "respond-async".parse().unwrap());
    }
    let reply = service.send(sent).await;
    assert_eq!(reply.status, if job { 201 } else { 200 }, "{}", reply.text());
    reply.header("location").rsplit('/').next().unwrap().to_string()
}

async fn seen(service: &Service, uri: &str) -> scraper::Html {
    let reply = service.get(uri).await;
    assert_eq!(reply.status, 200, "{uri}: {}", reply.text());
    assert_eq!(reply.header("cache-control"), "no-store", "{uri}");
    pages::read(&reply)
}

/// Every text and value of an element is at its place of an answer; how many.
fn held(of: ElementRef, answer: &Value) -> usize {
    let places = Selector::parse("[data-at]").unwrap();
    let mut count = 0;
    for element in of.select(&places) {
        let pointer = element.value().attr("data-at").unwrap();
        let told = answer.pointer(pointer).unwrap_or_else(|| panic!("no {pointer}"));
        match element.value().attr("value") {
            None => assert_eq!(Some(element.text().collect::<String>().as_str()), told.as_str(), "{pointer}"),
            Some(value) => assert_eq!(&serde_json::from_str::<Value>(value).unwrap(), told, "{pointer}"),
        }
        count += 1;
    }
    count
}

/// Works on the oldest job: one more piece, from what its answer holds.
fn flies(service: &Service, id: &str, before: usize, told: &Value) {
    let piece = Piece { told: format!("{told}\n").into_bytes(), kept: Vec::new(), done: before as u64 + 1 };
    assert!(service.store.add_piece(&ContentId::parse(id).unwrap(), LEASE, before, &piece).unwrap());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_day_shows_what_is_flown_and_the_look_for_the_rest() {
    let service = idle();
    let look = posted(&service, "days", &day(128), false).await;
    // What the job will answer, from another service.
    let other = support::service();
    let whole = posted(&other, "days", &day(512), false).await;
    let whole_answer = other.get(&format!("/v1/days/{whole}")).await.json();
    let look_answer = service.get(&format!("/v1/days/{look}")).await.json();
    let id = posted(&service, "days", &day(512), true).await;
    assert_eq!(id, whole);
    let uri = format!("/jobs/{id}?look={look}&units=us");
    let waits = seen(&service, &uri).await;
    assert!(words_of(&waits, "#how-far").contains("It waits for its turn."));
    assert_eq!(all(&waits, ".flights > li.look").len(), 3);
    // Of the same flights in another wind it would say nothing of this day.
    let mut windier = day(128);
    windier["wind"]["surface"]["speed"] = json!("7 mph");
    let windier = posted(&service, "days", &windier, false).await;
    let alone = seen(&service, &format!("/jobs/{id}?look={windier}")).await;
    assert_eq!(all(&alone, ".flights > li").len(), 0);
    assert_eq!(service.store.claim(LEASE).unwrap().unwrap().id.as_str(), id);
    flies(&service, &id, 0, &whole_answer["entries"][0]);
    let page = seen(&service, &uri).await;
    assert!(words_of(&page, "#how-far").contains("1 of 3 entries are done."));
    let rows = all(&page, ".flights > li");
    assert_eq!(rows.len(), 3);
    for (k, row) in rows.iter().enumerate() {
        let (of, answer) = if k == 0 { (&id, &whole_answer) } else { (&look, &look_answer) };
        assert_eq!(row.value().attr("data-answer"), Some(format!("/v1/days/{of}").as_str()));
        assert!(held(*row, answer) > 8, "row {k}");
        assert_eq!(row.value().attr("class"), (k > 0).then_some("look"));
        assert_eq!(row.text().collect::<String>().contains("First look, 128 flights"), k > 0, "row {k}");
    }
    // A browser without script asks again by itself; one with script does not.
    assert_eq!(all(&page, "head noscript").len(), 1);
    assert!(!all(&page, "script[src^='/assets/progress.']").is_empty());
    // Without a look, and with one of another day.
    let alone = seen(&service, &format!("/jobs/{id}")).await;
    assert_eq!(all(&alone, ".flights > li").len(), 1);
    assert!(words_of(&alone, "#left").contains("2 flights to come"));
    let mut renamed = day(128);
    renamed["entries"][0]["name"] = json!("1st");
    for k in [1, 2] {
        renamed["entries"][k]["copy_of"] = json!("1st");
    }
    let stranger = posted(&service, "days", &renamed, false).await;
    let alone = seen(&service, &format!("/jobs/{id}?look={stranger}")).await;
    assert_eq!(all(&alone, ".flights > li").len(), 1, "its rows would be taken for those of this day");
    // It ends: the page leads on at once, shown as before.
    let answer = other.get(&format!("/v1/days/{whole}")).await.body;
    assert!(service.store.finish(&ContentId::parse(&id).unwrap(), LEASE.owner, &answer).unwrap());
    let led = service.get(&uri).await;
    assert_eq!((led.status.as_u16(), led.header("location")), (303, format!("/days/{id}?units=us").as_str()));
}

#[tokio::test(flavor = "multi_thread")]
async fn flights_and_sweeps_show_their_chances_so_far() {
    let service = idle();
    let mut flight = card();
    flight["flights"] = json!(4096);
    let id = posted(&service, "assessments", &flight, true).await;
    assert!(words_of(&seen(&service, &format!("/jobs/{id}")).await, "#so-far").contains("Nothing is flown yet."));
    service.store.claim(LEASE).unwrap().unwrap();
    let chance = |text: &str| json!({"estimate": 0.16, "lower": 0.1, "upper": 0.24, "text": text});
    let glimpse = json!({"flights": 128, "of": 4096, "delays": [
        {"label": "delay 7 s", "limits": [{"limit_m_s": 15.6464, "over": chance("12 %"), "unsafe_opening": chance("16 % (10 to 24 %)")}]},
    ]});
    flies(&service, &id, 0, &glimpse);
    let page = seen(&service, &format!("/jobs/{id}")).await;
    let shown = words_of(&page, "#so-far");
    for told in ["128 of 4096 flights", "delay 7 s", "16 % (10 to 24 %)", "15.6\u{a0}m/s (35.0\u{a0}mph)"] {
        assert!(shown.contains(told), "{told}: {shown}");
    }
    assert!(held(all(&page, "#so-far")[0], &glimpse) > 4);
    let sweep = json!({"base": flight, "axes": {"tilts": [0, 5, 10]}});
    let id = posted(&service, "sweeps", &sweep, true).await;
    // One job after the other.
    assert!(
        service
            .store
            .fail(&service.store.jobs_of("address:unknown", 9).unwrap()[1].id, LEASE.owner, Reason::TooLong)
            .unwrap()
    );
    service.store.claim(LEASE).unwrap().unwrap();
    let other = support::service();
    let mut small = sweep.clone();
    small["base"]["flights"] = json!(128);
    let answer = posted(&other, "sweeps", &small, false).await;
    let answer = other.get(&format!("/v1/sweeps/{answer}")).await.json();
    for k in 0..2 {
        flies(&service, &id, k, &answer["cells"][k]);
    }
    let page = seen(&service, &format!("/jobs/{id}")).await;
    assert!(words_of(&page, "#how-far").contains("2 of 3 settings are done."));
    assert!(held(all(&page, "#so-far")[0], &answer) > 6);
    let numbers: Vec<String> =
        all(&page, "#so-far tbody th[scope=rowgroup]").iter().map(|th| th.text().collect()).collect();
    assert_eq!(numbers, ["2", "1"]);
}

async fn form(service: &Service, uri: &str) -> Reply {
    let mut sent = request(Method::POST, uri, Body::empty());
    sent.headers_mut().insert("sec-fetch-site", "same-origin".parse().unwrap());
    service.send(sent).await
}

#[tokio::test(flavor = "multi_thread")]
async fn work_is_given_up_and_says_why_it_failed() {
    let service = idle();
    let [first, second] =
        [posted(&service, "days", &day(512), true).await, posted(&service, "days", &day(513), true).await];
    let page = seen(&service, &format!("/jobs/{first}?units=us")).await;
    let action = all(&page, "form[method=post]")[0].value().attr("action").unwrap().to_string();
    let led = form(&service, &action).await;
    assert_eq!((led.status.as_u16(), led.header("location")), (303, format!("/jobs/{first}?units=us").as_str()));
    let page = seen(&service, led.header("location")).await;
    assert!(words_of(&page, "main").contains("It was given up. Post it again to begin anew."));
    assert!(all(&page, "noscript, form, script[src*=progress]").is_empty(), "nothing is waited for");
    assert_eq!(service.get(&format!("/v1/jobs/{first}")).await.json()["status"], "dismissed");
    // In the words of the problem that the API has for it.
    service.store.claim(LEASE).unwrap().unwrap();
    assert!(service.store.fail(&ContentId::parse(&second).unwrap(), LEASE.owner, Reason::TooLong).unwrap());
    let problem = service.get(&format!("/v1/jobs/{second}/results")).await.json();
    let told = words_of(&seen(&service, &format!("/jobs/{second}")).await, "main");
    for text in ["title", "detail"] {
        assert!(told.contains(problem[text].as_str().unwrap()), "{told}");
    }
    let list = seen(&service, "/jobs").await;
    let links: Vec<&str> = all(&list, "tbody a").iter().map(|a| a.value().attr("href").unwrap()).collect();
    assert_eq!(links.len(), 2);
    assert!(links.contains(&format!("/jobs/{first}").as_str()) && links.contains(&format!("/jobs/{second}").as_str()));
    assert_eq!(service.get(&format!("/jobs/{}", "0".repeat(32))).await.status, 404);
}

/// A link for a phone: made as by the API, its address by the browser's word, which has to be that of this server.
#[tokio::test(flavor = "multi_thread")]
async fn a_link_for_a_phone_is_made_where_the_day_is() {
    for listens in ["127.0.0.1:8080", "0.0.0.0:8080"] {
        let config = Config { listen: listens.parse().unwrap(), ..Config::default() };
        let service = support::service_with(config, Disk::default());
        let id = posted(&service, "days", &day(128), false).await;
        let page = pages::read(&service.get(&format!("/days/{id}")).await);
        let link = format!("/days/{id}/share");
        assert_eq!(all(&page, &format!("#files + ul a[href='{link}']")).len(), 1);
        let asked = pages::read(&service.get(&link).await);
        // What its end does not take back is said before it is made, and beside it.
        let kept = "with the address it can be shown there after that time too";
        assert!(words_of(&asked, "main").contains(kept));
        let alone = listens.starts_with("127");
        assert_eq!(words_of(&asked, "main").contains("No phone can reach this address"), alone, "{listens}");
        let hours: Vec<&str> =
            all(&asked, "select[name=hours] option").iter().map(|i| i.value().attr("value").unwrap()).collect();
        assert_eq!(hours, ["12", "48", "168"]);
        let send = async |host: &str, origin: &str, hours: &str| {
            let mut sent = request(Method::POST, &link, Body::from(format!("hours={hours}")));
            for (name, value) in
                [("content-type", "application/x-www-form-urlencoded"), ("host", host), ("origin", origin)]
            {
                sent.headers_mut().insert(name, value.parse().unwrap());
            }
            service.send(sent).await
        };
        let made = send("field.example:8080", "http://field.example:8080", "48").await;
        assert_eq!((made.status.as_u16(), made.header("cache-control")), (200, "no-store"), "{}", made.text());
        let page = pages::read(&made);
        let address = words_of(&page, "pre code");
        assert!(address.starts_with(&format!("http://field.example:8080/days/{id}?share=slowpoint_")), "{address}");
        assert!(
            words_of(&page, "main").contains("Whoever has this link can read this day, with all its flights until ")
        );
        assert!(words_of(&page, "main").contains(kept));
        assert_eq!(words_of(&page, "main").contains("No phone can reach this address"), alone);
        assert_eq!(service.get(address.strip_prefix("http://field.example:8080").unwrap()).await.status, 200);
        assert_eq!(service.store.count("SELECT count(DISTINCT sum) FROM shares"), 1);
        // The code is that of the address: it is read back from its dark squares.
        assert_eq!(all(&page, "svg.qr title").len(), 1);
        assert_eq!(read_code(all(&page, "svg.qr path")[0].value().attr("d").unwrap(), &address), address);
        for (host, origin) in [("field.example:8080", "http://elsewhere.example"), ("field.example:8080", "null")] {
            let refused = support::check_problem(&send(host, origin, "48").await, 403, "other-site");
            assert!(refused["detail"].as_str().unwrap().contains("hand Host on as it came"), "{refused}");
        }
        support::check_problem(&send("field.example", "http://field.example", "100000").await, 400, "bad-request");
        let own = send("localhost:8080", "http://localhost:8080", "12").await;
        assert!(own.text().contains("No phone can reach this address"), "an address of each machine's own");
        // By word that it is of this origin, but not which.
        let mut sent = request(Method::POST, &link, Body::from("hours=12"));
        for (name, value) in [("content-type", "application/x-www-form-urlencoded"), ("sec-fetch-site", "same-origin")]
        {
            sent.headers_mut().insert(name, value.parse().unwrap());
        }
        support::check_problem(&service.send(sent).await, 403, "other-site");
    }
}

/// The dark modules of a path against those of the code of a text: the text, where they are the same.
fn read_code(path: &str, text: &str) -> String {
    let code = qrcode::QrCode::with_error_correction_level(text, qrcode::EcLevel::M).unwrap();
    let width = code.width();
    let mut dark = vec![false; width * width];
    for run in path.split('z').filter(|run| !run.is_empty()) {
        let (place, length) = run.strip_prefix('M').unwrap().split_once('h').unwrap();
        let (x, y) = place.split_once(' ').unwrap();
        let length: usize = length.split('v').next().unwrap().parse().unwrap();
        let (x, y): (usize, usize) = (x.parse().unwrap(), y.parse().unwrap());
        dark[(y - 4) * width + x - 4..][..length].fill(true);
    }
    let expected: Vec<bool> = code.to_colors().into_iter().map(|color| color == qrcode::Color::Dark).collect();
    if dark == expected { text.into() } else { String::new() }
}
