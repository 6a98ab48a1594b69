//! A day in one file: everything of it inside, nothing outside.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

#[path = "support/pages.rs"]
mod pages;
mod support;

use std::collections::HashSet;
use std::time::Duration;

use axum::body::Body;
use axum::http::Method;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use pages::{all, words};
use scraper::{ElementRef, Html, Selector};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use slowpoint_server::access::new_secret;
use slowpoint_server::id::{ContentId, sum};
use slowpoint_server::store::{Access, Bounds, Scope, Shelf, Store, Token};
use support::{Reply, Service, card, example, json_request, request, service};

/// The three flights of the meadow, each with its picture and its map.
const MOST_OF_MEADOW: usize = 600_000;

fn meadow() -> Value {
    example("days/meadow.json")
}

async fn posted(service: &Service, shelf: &str, body: &Value) -> String {
    let reply = service.send(json_request(&format!("/v1/{shelf}"), body.to_string())).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    reply.header("location").to_string()
}

/// A file that stands alone; read as HTML without a fault.
fn alone(reply: &Reply) -> Html {
    assert_eq!(reply.status, 200, "{}", reply.text());
    assert_eq!(reply.header("cache-control"), "no-store");
    let page = pages::read(reply);
    assert!(all(&page, "script, link, iframe, object, embed, base, form, input, button").is_empty());
    let mut ids = HashSet::new();
    for element in all(&page, "[id]") {
        assert!(ids.insert(element.value().attr("id").unwrap().to_string()), "{}", element.html());
    }
    for element in all(&page, "*") {
        for (name, value) in element.value().attrs() {
            assert!(name != "style" && !name.starts_with("on"), "{}", element.html());
            match name {
                "href" => assert!(ids.contains(value.strip_prefix('#').unwrap_or("no place of the file")), "{value}"),
                "src" => assert!(value.starts_with("data:image/svg+xml;base64,"), "{value}"),
                "aria-labelledby" | "aria-describedby" => {
                    assert!(value.split(' ').all(|named| ids.contains(named)), "{value}");
                }
                _ => {}
            }
        }
    }
    // Regions are told apart by their names.
    let regions: Vec<String> =
        all(&page, "article [role=region]").iter().map(|r| r.value().attr("aria-label").unwrap().into()).collect();
    assert_eq!(regions.iter().collect::<HashSet<_>>().len(), regions.len(), "{regions:?}");
    // The policy lets in the one style by its sum, and data; nothing else.
    let style = words(all(&page, "style")[0]);
    let policy = all(&page, "meta[http-equiv='Content-Security-Policy']")[0].value().attr("content").unwrap();
    let sum = STANDARD.encode(Sha256::digest(&style));
    assert_eq!(
        policy,
        format!("default-src 'none'; style-src 'sha256-{sum}'; img-src data:; base-uri 'none'; form-action 'none'")
    );
    assert!(!style.contains("url(") && !style.contains("@import"), "styles load nothing");
    page
}

/// Every value is that of the answer which its part names; how many there are.
async fn held(service: &Service, page: &Html) -> usize {
    let mut answers = std::collections::HashMap::new();
    let mut count = 0;
    for element in all(page, "[data-at]") {
        let of = element.ancestors().filter_map(ElementRef::wrap).find_map(|e| e.value().attr("data-answer")).unwrap();
        if !answers.contains_key(of) {
            answers.insert(of.to_string(), service.get(of).await.json());
        }
        let pointer = element.value().attr("data-at").unwrap();
        let told = answers[of].pointer(pointer).unwrap_or_else(|| panic!("{of} has no {pointer}"));
        match element.value().attr("value") {
            // Names of the API stand without their marks.
            None => assert_eq!(Some(words(element)), told.as_str().map(|told| told.replace('`', "")), "{of}{pointer}"),
            Some(value) => assert_eq!(&serde_json::from_str::<Value>(value).unwrap(), told, "{of}{pointer}"),
        }
        count += 1;
    }
    count
}

#[tokio::test(flavor = "multi_thread")]
async fn a_day_is_saved_with_every_flight_of_it() {
    let service = service();
    let mut day = meadow();
    day.as_object_mut().unwrap().remove("until");
    day["flights"] = json!(256);
    // Two of one card, and one that cannot be flown.
    let first = day["entries"][0]["name"].clone();
    for (name, changes) in
        [("the same again", json!({})), ("too heavy", json!({"card": {"airframe": {"mass": "620 kg"}}}))]
    {
        day["entries"].as_array_mut().unwrap().push(json!({"name": name, "copy_of": first, "changes": changes}));
    }
    let place = posted(&service, "days", &day).await;
    let answer = service.get(&place).await.json();
    let id = place.rsplit('/').next().unwrap();
    let reply = service.get(&format!("/days/{id}/file")).await;
    let named = reply.header("content-disposition");
    assert!(named.starts_with(&format!("attachment; filename=\"slowpoint-day-{}-20", &id[..8])), "{named}");
    assert!(named.ends_with("Z.html\""), "{named}");
    let page = alone(&reply);
    let parts = all(&page, "article");
    assert_eq!(parts.len(), 3, "each card once");
    assert!(held(&service, &page).await > 300);
    for (k, part) in parts.iter().enumerate() {
        let of = part.value().attr("data-answer").unwrap();
        assert_eq!(of, answer["entries"][k]["flight"]["href"].as_str().unwrap());
        let flight = service.get(of).await.json();
        let text = words(*part);
        for caution in flight["cautions"].as_array().unwrap() {
            assert!(text.contains(caution["message"].as_str().unwrap()), "{caution}");
        }
        for assumed in flight["assumed"].as_array().unwrap() {
            assert!(text.contains(assumed["value"].as_str().unwrap()), "{assumed}");
        }
        // The very pictures.
        let picture = |name: &str| format!("{of}/{name}");
        let own = Selector::parse("img").unwrap();
        let shown: Vec<String> = part
            .select(&own)
            .map(|image| image.value().attr("src").unwrap().split_once(',').unwrap().1)
            .map(|data| String::from_utf8(STANDARD.decode(data).unwrap()).unwrap())
            .collect();
        assert!(shown.contains(&service.get(&picture("deploy-speed.svg")).await.text()), "{k}");
        assert!(shown.contains(&service.get(&picture("landing.svg")).await.text()), "{k}");
    }
    let text = words(page.root_element());
    for told in ["Could not be flown", "Saved ", "the same again", "Weather: ", slowpoint_sim::report::FIRST_CAUTION] {
        assert!(text.contains(told), "{told}");
    }
    let levels: Vec<u8> = all(&page, "h1, h2, h3, h4").iter().map(|h| h.value().name().as_bytes()[1] - b'0').collect();
    assert!(levels.iter().filter(|level| **level == 1).count() == 1, "{levels:?}");
    assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
    // In the units and colours that were shown.
    let us = service.get(&format!("/days/{id}/file?units=us&theme=sun")).await;
    assert!(us.text().contains("mph</data>") && us.text().contains("<html lang=\"en\" class=\"sun\">"));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_meadow_is_small_enough_for_any_phone() {
    let service = service();
    let mut day = meadow();
    day["flights"] = json!(1024);
    day.as_object_mut().unwrap().remove("until");
    let place = posted(&service, "days", &day).await;
    let reply = service.get(&format!("{}/file", place.replace("/v1", ""))).await;
    alone(&reply);
    println!("{} bytes", reply.body.len());
    assert!(reply.body.len() < MOST_OF_MEADOW, "{} bytes", reply.body.len());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flight_is_saved_under_its_name() {
    let service = service();
    let mut flight = card();
    flight["card"]["name"] = json!("A <b> & \"c\"");
    let place = posted(&service, "assessments", &flight).await;
    let id = place.rsplit('/').next().unwrap();
    let reply = service.get(&format!("/flights/{id}/file")).await;
    let page = alone(&reply);
    assert_eq!(words(all(&page, "h1")[0]), "A <b> & \"c\"");
    assert!(reply.header("content-disposition").contains(&format!("-{}-", &id[..8])));
    assert!(held(&service, &page).await > 60);
    let shown = pages::read(&service.get(&format!("/flights/{id}")).await);
    assert_eq!(all(&page, "img").len(), all(&shown, "img").len());
    assert!(all(&page, "img").len() > 1);
    assert_eq!(service.get(&format!("/flights/{}/file", "0".repeat(32))).await.status, 404);
    assert_eq!(service.get(&format!("/days/{id}/file")).await.status, 404);
}

/// Whoever has a link saves the day with all its flights, and the file does not hold the link.
#[tokio::test(flavor = "multi_thread")]
async fn a_shared_day_is_saved_without_the_link() {
    let service = service();
    let secret = new_secret();
    let token = Token {
        name: "owner".into(),
        scope: Scope::Compute,
        created: jiff::Timestamp::now(),
        expires: None,
        revoked: None,
    };
    assert!(service.store.add_token(&token, &sum(&secret)).unwrap());
    let send = async |uri: &str, body: Value| {
        let mut asked = json_request(uri, body.to_string());
        asked.headers_mut().insert("authorization", format!("Bearer {secret}").parse().unwrap());
        service.send(asked).await
    };
    let mut day = meadow();
    day.as_object_mut().unwrap().remove("until");
    day["flights"] = json!(128);
    let place = send("/v1/days", day).await.header("location").to_string();
    let link =
        send("/v1/shares", json!({"answer": place, "hours": 1})).await.json()["query"].as_str().unwrap().to_string();
    let file = format!("{}/file", place.replace("/v1", ""));
    let refused = service.send(request(Method::GET, &file, Body::empty())).await;
    assert_eq!(refused.status, 401);
    let reply = service.get(&format!("{file}?{link}")).await;
    let page = alone(&reply);
    assert_eq!(all(&page, "article").len(), 3);
    assert!(!reply.text().contains("share=") && !reply.text().contains(&secret));
}

/// What the store has given up of a day is told, and all the rest is saved.
#[tokio::test(flavor = "multi_thread")]
async fn a_flight_that_was_given_up_does_not_keep_the_day_from_being_saved() {
    let service = service();
    let day = posted(&service, "days", &meadow()).await;
    let answer = service.get(&day).await.json();
    let id = |text: &str| ContentId::parse(text).unwrap();
    let flights: Vec<ContentId> = answer["entries"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| id(row["flight"]["assessment"].as_str().unwrap()))
        .collect();
    let day_id = id(day.rsplit('/').next().unwrap());
    for (shelf, kept) in [(Shelf::Days, &day_id), (Shelf::Assessments, &flights[0]), (Shelf::Assessments, &flights[2])]
    {
        assert!(service.store.pin(shelf, kept, true).unwrap());
    }
    service.store.prune(Bounds { bytes: 0, unused: Duration::ZERO }).unwrap();
    assert_eq!(service.get(&format!("/v1/assessments/{}", flights[1])).await.status, 404);
    let page = alone(&service.get(&format!("{}/file", day.replace("/v1/", "/"))).await);
    let parts = all(&page, "article");
    assert_eq!(parts.len(), 3);
    let told = parts.iter().map(|part| words(*part).contains("not kept on the server any more"));
    assert_eq!(told.collect::<Vec<_>>(), [false, true, false]);
}
