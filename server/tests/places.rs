//! What is not a computation of flights has places too, and what flies for a picture is paid by whoever asks for it.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use axum::http::{Method, Request, header};
use serde_json::{Value, json};
use slowpoint_server::config::Config;
use slowpoint_server::places::{Place, Places};
use support::{Disk, Reply, Service, card, check_documented, check_problem, json_request, service_with};

/// Who asks without a connection.
const CLIENT: &str = "address:unknown";

/// Nobody waits here.
fn hasty() -> Config {
    Config { queue_timeout_s: 0, ..Config::default() }
}

/// Takes every place.
async fn all_of(places: &Places) -> Vec<Place> {
    let mut taken = Vec::new();
    while let Ok(place) = places.take(&hasty()).await {
        taken.push(place);
    }
    assert!(!taken.is_empty());
    taken
}

fn full(reply: &Reply) {
    check_problem(reply, 503, "overloaded");
    assert_eq!(reply.header("retry-after"), Config::default().retry_after_s.to_string());
}

async fn stored(service: &Service, card: &Value) -> String {
    let reply = service.post(card).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    reply.json()["id"].as_str().unwrap().to_string()
}

/// What a client has left, core-seconds.
fn left(service: &Service) -> f64 {
    let mut least = 0.0;
    // Taken and given back.
    while service.state.budget.take(CLIENT, least + 0.001).is_ok() {
        least += 0.001;
    }
    least
}

#[tokio::test]
async fn weather_is_decoded_by_so_many_at_a_time() {
    let service = service_with(hasty(), Disk::default());
    let message = include_str!("../examples/weather/albuquerque.json");
    for path in ["/v1/weather", "/v1/weather/profile.svg"] {
        let taken = all_of(&service.state.decoding).await;
        let refused = service.send(json_request(path, message)).await;
        full(&refused);
        check_documented(&Method::POST, path, &refused);
        drop(taken);
        assert_eq!(service.send(json_request(path, message)).await.status, 200);
    }
}

#[tokio::test]
async fn files_of_models_are_unpacked_by_so_many_at_a_time() {
    let service = service_with(hasty(), Disk::default());
    let file = || {
        let uri = "/v1/weather/grib?latitude=35&longitude=-106&field_elevation=1600";
        let request = Request::post(uri).header(header::CONTENT_TYPE, "application/octet-stream");
        request.body("no file of a model".into()).unwrap()
    };
    let taken = all_of(&service.state.unpacking).await;
    let refused = service.send(file()).await;
    full(&refused);
    check_documented(&Method::POST, "/v1/weather/grib", &refused);
    drop(taken);
    check_problem(&service.send(file()).await, 422, "invalid-input");
}

#[tokio::test(flavor = "multi_thread")]
async fn so_many_files_are_saved_at_a_time() {
    let service = service_with(hasty(), Disk::default());
    let id = stored(&service, &card()).await;
    let day = service.send(json_request("/v1/days", include_str!("../examples/days/meadow.json"))).await;
    for page in [format!("/flights/{id}/file"), format!("/days/{}/file", day.json()["id"].as_str().unwrap())] {
        let taken = all_of(&service.state.saving).await;
        full(&service.get(&page).await);
        drop(taken);
        assert_eq!(service.get(&page).await.status, 200);
    }
}

/// A picture of flights is paid once for each time that it is flown, also where a file that is saved has it.
#[tokio::test(flavor = "multi_thread")]
async fn who_asks_for_a_picture_of_flights_pays_for_them() {
    let service = service_with(Config { client_core_s: 1, ..Config::default() }, Disk::default());
    let mut few = card();
    few["flights"] = json!(64);
    let id = stored(&service, &few).await;
    let paths = |ending: &str| format!("/v1/assessments/{id}/flight-paths.{ending}");
    let mut before = left(&service);
    for page in [paths("svg"), paths("png"), format!("/flights/{id}/file")] {
        let reply = service.get(&page).await;
        assert_eq!(reply.status, 200, "{}", reply.text());
        let after = left(&service);
        assert!(after < before - 0.003, "{page} took {before} to {after}");
        before = after;
        if page.ends_with("svg") {
            check_documented(&Method::GET, "/v1/assessments/{id}/flight-paths.svg", &reply);
            assert!(reply.header("ratelimit").starts_with("\"core-s\";r=0;"), "{}", reply.header("ratelimit"));
        }
    }
    // What the client holds already is not flown.
    let tag = service.get(&paths("svg")).await.header("etag").to_string();
    before = left(&service);
    let held = Request::get(paths("svg")).header(header::IF_NONE_MATCH, tag).body("".into()).unwrap();
    assert_eq!(service.send(held).await.status, 304);
    assert!(left(&service) >= before);
    while let Ok(taken) = service.state.budget.take(CLIENT, 0.001) {
        taken.spend();
    }
    for page in [paths("svg"), paths("png"), format!("/flights/{id}/file")] {
        let refused = service.get(&page).await;
        let problem = check_problem(&refused, 429, "over-budget");
        assert_eq!(problem["limit"]["name"], "client_core_s");
        assert!(refused.header("retry-after").parse::<u64>().unwrap() >= 1);
    }
    assert_eq!(service.get(&format!("/flights/{id}")).await.status, 200, "what is stored costs nothing");
    assert_eq!(service.get(&format!("/v1/assessments/{id}/landing.svg")).await.status, 200);
}
