//! A wind of several members: each flight flies in one of them, all alike, and nothing else of it changes.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use std::sync::atomic::AtomicBool;

use serde_json::{Value, json};
use slowpoint_server::wire::{self, Asked, FieldFault, Rejected};
use slowpoint_sim::report::Report;
use support::{card, check_described, service};

fn member(speed_m_s: f64, from_deg: f64) -> Value {
    json!({
        "surface": {"speed": format!("{speed_m_s} m/s"), "direction": from_deg, "measuring_height": "10 m"},
        "layers": [{"height_above_ground": "500 m", "speed": format!("{} m/s", 1.5 * speed_m_s), "direction": from_deg}]
    })
}

fn with(wind: Value, flights: u64) -> Value {
    let mut request = card();
    request["wind"] = wind;
    request["flights"] = flights.into();
    request
}

fn read(request: &Value) -> Asked {
    match wire::read(request.to_string().as_bytes()) {
        Ok(asked) => asked,
        Err(rejected) => panic!("{request}: {rejected:?}"),
    }
}

fn faults(request: &Value) -> Vec<FieldFault> {
    match wire::read(request.to_string().as_bytes()) {
        Err(Rejected::Faults(faults)) => faults,
        other => panic!("{request}: {other:?}"),
    }
}

fn report(request: &Value) -> Report {
    slowpoint_sim::assess(&read(request).case, &AtomicBool::new(false)).unwrap()
}

/// The answer without what tells the requests apart.
fn answered(request: &Value) -> Value {
    let asked = read(request);
    let report = slowpoint_sim::assess(&asked.case, &AtomicBool::new(false)).unwrap();
    let mut answer = serde_json::to_value(wire::answer("an-id", "an-engine", &asked, &report)).unwrap();
    answer["assumed"].as_array_mut().unwrap().retain(|a| a["input"] != "model.wind.members");
    answer
}

#[test]
fn members_that_are_equal_are_that_wind() {
    let alone = answered(&with(member(5.0, 240.0), 256));
    let three = answered(&with(json!({"members": [member(5.0, 240.0), member(5.0, 240.0), member(5.0, 240.0)]}), 256));
    assert_eq!(alone, three);
}

/// Each flight says which member it drew; every one of them comes as often as the others, and it is its wind.
#[test]
fn every_member_comes_as_often() {
    let members: Vec<Value> = (0..5).map(|k| member(2.0, 72.0 * f64::from(k))).collect();
    let mut request = with(json!({"members": members, "turbulence": "off"}), 320);
    request["spread"] = json!({"wind": {"component_sd": 0, "direction_sd": 0}});
    let asked = read(&request);
    let mut counts = [0; 5];
    for flight in 0..320 {
        let replay = slowpoint_sim::replay(&asked.case, flight);
        let value = |name: &str| replay.drawn.iter().find(|d| d.input == name).unwrap().value;
        let drawn = value("member of the wind, from 1") as usize - 1;
        counts[drawn] += 1;
        // Where it comes from, without any error.
        let (east, north) = (value("wind at 10 m towards east"), value("wind at 10 m towards north"));
        let from_deg = (-east).atan2(-north).to_degrees().rem_euclid(360.0);
        assert!((from_deg - 72.0 * drawn as f64).abs() < 1e-6, "{from_deg}, member {drawn}");
    }
    // Even points: of 20 in each of 16 scrambles, a member's fifth is 4, off by 2 at most.
    assert!(counts.iter().all(|n| (64 - 32..=64 + 32).contains(n)), "{counts:?}");
    assert_eq!(counts.iter().sum::<i32>(), 320);
    // A wind alone has no member to tell.
    let alone = slowpoint_sim::replay(&read(&with(member(2.0, 0.0), 64)).case, 0);
    assert!(alone.drawn.iter().all(|d| !d.input.starts_with("member")));
}

/// Total probability: of two members as likely, the chance is the mean of the chances in each alone.
#[test]
fn chances_are_the_mean_over_the_members() {
    let winds = [member(1.0, 240.0), member(11.0, 240.0)];
    let [calm, windy] = winds.clone().map(|wind| report(&with(wind, 4096)));
    let both = report(&with(json!({"members": winds}), 4096));
    for (k, way) in both.ways.iter().enumerate() {
        for (l, limit) in way.limits.iter().enumerate() {
            let [a, b, c] = [&calm, &windy, &both].map(|r| r.ways[k].limits[l].over);
            let mean = 0.5 * (a.estimate + b.estimate);
            // Half as much again as the 95 % half-width of independent errors: three standard errors.
            let half = |c: slowpoint_sim::stat::interval::Chance| 0.5 * (c.upper - c.lower);
            let within = 1.5 * (half(c).powi(2) + 0.25 * (half(a).powi(2) + half(b).powi(2))).sqrt();
            assert!((c.estimate - mean).abs() <= within, "{}: {} {mean} {within}", limit.limit_m_s, c.estimate);
        }
    }
    let chances = |r: &Report| r.ways[0].limits[0].over.estimate;
    assert!((chances(&calm) - chances(&windy)).abs() > 0.05, "the members tell apart");
}

#[tokio::test]
async fn it_is_said() {
    let wind = json!({"source": "two of an ensemble, invented", "members": [member(3.0, 240.0), member(14.0, 260.0)]});
    let reply = service().post(&with(wind, 128)).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    let answer = reply.json();
    check_described("Assessment", &answer);
    let assumed = answer["assumed"].to_string();
    assert!(assumed.contains("one of 2 members of the wind"), "{assumed}");
    // The strongest member counts for the limit of the wind.
    let cautions = answer["cautions"].to_string();
    assert!(cautions.contains("The wind near the ground reaches 14.00 m/s"), "{cautions}");
    assert!((answer["nominal"]["surface_wind_m_s"].as_f64().unwrap() - 3.0).abs() < 1e-9);
}

#[test]
fn faults_stand_at_the_member() {
    let good = || json!({"members": [member(3.0, 240.0), member(5.0, 260.0)]});
    let change = |at: &str, value: Value| {
        let mut wind = good();
        let (parent, name) = at.rsplit_once('/').unwrap();
        let members = wind.pointer_mut(parent).unwrap().as_object_mut().unwrap();
        if value.is_null() {
            drop(members.remove(name))
        } else {
            drop(members.insert(name.into(), value))
        }
        wind
    };
    let under = json!([{"height_above_sea": "50 m", "speed": 5, "direction": 240}]);
    for (wind, pointer, problem) in [
        (json!({"members": [member(3.0, 240.0)]}), "/wind/members", "1 items"),
        (change("/members/1/surface/speed", json!("50 m/s")), "/wind/members/1/surface/speed", "50 m/s"),
        (change("/members/0/surface/speed", json!(50)), "/wind/members/0/surface/speed", "50 m/s"),
        (change("/members/0/surface/gust", json!("2 m/s")), "/wind/members/0/surface/gust", "slower than the mean"),
        (change("/members/1/surface/gust", json!("2 m/s")), "/wind/members/1/surface/gust", "slower than the mean"),
        (change("/members/1/surface/direction", Value::Null), "/wind/members/1/surface/direction", "missing"),
        (change("/members/1/layers/0/direction", json!(400)), "/wind/members/1/layers/0/direction", "400 deg"),
        (
            change("/members/1/layers", json!([member(1.0, 0.0)["layers"][0], member(1.0, 0.0)["layers"][0]])),
            "/wind/members/1/layers",
            "do not rise",
        ),
        (
            change("/members/0/layers", json!([member(1.0, 0.0)["layers"][0], member(1.0, 0.0)["layers"][0]])),
            "/wind/members/0/layers",
            "do not rise",
        ),
        (change("/members/1/layers", under), "/site/elevation", "missing"),
        (change("/surface", member(3.0, 240.0)["surface"].clone()), "/wind/surface", "members as well"),
        (json!({"members": [member(3.0, 240.0), {}]}), "/wind/members/1", "no wind is given"),
        (json!({"members": [{}, member(3.0, 240.0)]}), "/wind/members/0", "no wind is given"),
    ] {
        let found = faults(&with(wind.clone(), 64));
        assert_eq!(found.len(), 1, "{wind}: {found:#?}");
        assert_eq!(found[0].pointer, pointer, "{found:?}");
        assert!(found[0].problem.contains(problem), "{found:?}");
    }
}
