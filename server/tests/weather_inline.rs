//! Weather within an assessment: it means the wind and the site that `POST /v1/weather` answers, is as old as the instant
//! of launch says, and its faults stand below `/weather`.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use serde_json::{Value, json};
use slowpoint_server::render::terminal;
use slowpoint_server::wire::{self, Asked, FieldFault, Rejected};
use slowpoint_sim::wind::{Gustiness, SurfaceLaw};
use support::{card, check_described, json_request, service};

/// Published groups; where each comes from stands beside its decoder.
const ALBUQUERQUE: &str = "KABQ 100156Z 32010KT 280V340 10SM TS FEW033 BKN075CB OVC100 19/14 A2999";
const BULLETIN: &str = "\
DATA BASED ON 091200Z
VALID 100600Z   FOR USE 0200-0900Z. TEMPS NEG ABV 24000

FT  3000    6000    9000   12000   18000   24000  30000  34000  39000

ABQ      1912+16 2435+07 9900-04 2419-04 2427-14 274650 731960 750456
";
const SOUNDING: &str = "TTAA 81001 72518 99030 08863 33004 00263 10464 34016 92904 04461 00518 85585 00079 01526 70138 04182 \
    32526 50572 17372 31549 88999 77999";
const LAUNCH: &str = "2026-11-10T02:56:00Z";

/// Written after the PointSeries and the VerticalProfile of CoverageJSON's examples, with invented numbers.
fn coverage(axis: &str, heights: Value) -> Value {
    json!({
        "type": "Coverage",
        "domain": {
            "type": "Domain",
            "axes": {
                "x": {"values": [-106.62]}, "y": {"values": [35.04]}, "z": {"values": heights},
                "t": {"values": ["2026-11-10T00:00:00Z", "2026-11-10T06:00:00Z"]}
            },
            "referencing": [{
                "coordinates": ["z"],
                "system": {"type": "VerticalCRS", "cs": {"csAxes": [{"name": {"en": axis}, "direction": "up", "unit": {"symbol": "m"}}]}}
            }]
        },
        "parameters": {
            "wind_speed": {"type": "Parameter", "unit": {"symbol": "m/s"}, "observedProperty": {"label": {"en": "Speed"}}},
            "wind_from_direction": {"type": "Parameter", "unit": {"symbol": "deg"}, "observedProperty": {"label": {"en": "From"}}}
        },
        "ranges": {
            "wind_speed": {"type": "NdArray", "dataType": "float", "axisNames": ["t", "z"], "shape": [2, 3], "values": [3, 5, 7, 4, 6, 8]},
            "wind_from_direction": {
                "type": "NdArray", "dataType": "float", "axisNames": ["t", "z"], "shape": [2, 3], "values": [240, 250, 260, 250, 260, 270]
            }
        }
    })
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

/// The card in this weather.
fn under(weather: &Value) -> Value {
    let mut request = card();
    request.as_object_mut().unwrap().remove("wind");
    request["weather"] = weather.clone();
    request["site"] = json!({"elevation": "5355 ft"});
    request["launch_at"] = LAUNCH.into();
    request
}

fn reports() -> Value {
    json!({"metar": ALBUQUERQUE, "winds_aloft": BULLETIN})
}

#[track_caller]
fn near(x: f64, expected: f64) {
    assert!((x - expected).abs() < 1e-9 * expected.abs().max(1.0), "{x}, expected {expected}");
}

/// What is decoded first and then assessed is the same as what is decoded within.
#[test]
fn it_means_what_is_decoded_apart() {
    for weather in [
        json!({"metar": ALBUQUERQUE}),
        reports(),
        json!({"date": "2026-11-09", "metar": ALBUQUERQUE, "winds_aloft": BULLETIN, "station": "abq"}),
        json!({"date": "2026-10-31", "sounding": SOUNDING}),
        json!({"metar": "KABQ 100201Z VRB04KT 19/14 A2999", "layers": "msl ft, direction, speed kt\n6000, 240, 12"}),
        json!({"metar": ALBUQUERQUE, "terrain": "rough", "turbulence": "terrain"}),
        json!({"coverage": coverage("height above ground", json!([10, 100, 500]))}),
        json!({"coverage": coverage("altitude", json!([1500, 2000, 3000])), "metar": ALBUQUERQUE}),
        json!({"metar": ALBUQUERQUE, "power_exponent": 0.2, "turbulence_wind_at_20_ft": "15 kt"}),
    ] {
        let mut within = under(&weather);
        if weather["date"] == "2026-10-31" {
            within["launch_at"] = "2026-10-31T02:00:00-07:00".into();
        }
        let mut apart = weather.clone();
        apart["field_elevation"] = within["site"]["elevation"].clone();
        apart["launch_at"] = within["launch_at"].clone();
        let Ok(decoded) = wire::decode_weather(apart.to_string().as_bytes()) else { panic!("{apart}") };
        let mut request = card();
        (request["wind"], request["site"]) = (json!(decoded.wind), decoded.site.clone());
        let (within, apart) = (read(&within), read(&request));
        assert_eq!(within.case.inputs, apart.case.inputs, "{weather}");
        assert_eq!(within.case.spread, apart.case.spread, "{weather}");
        assert_eq!(within.case.assumed, apart.case.assumed, "{weather}");
        let told: Vec<&str> = within.cautions.iter().map(|c| c.message.as_str()).collect();
        let apart: Vec<&str> = decoded.cautions.iter().map(|c| c.message.as_str()).collect();
        assert_eq!(told, apart, "{weather}");
    }
}

/// Of the times of a coverage that nearest to launch; what lies between is its age.
#[test]
fn a_coverage_is_taken_at_the_time_of_launch() {
    let mut request = under(&json!({"coverage": coverage("height above ground", json!([10, 100, 500]))}));
    let asked = read(&request);
    let speeds: Vec<f64> = asked.case.inputs.wind.layers.iter().map(|l| l.speed_m_s).collect();
    assert_eq!(speeds, [3.0, 5.0, 7.0]);
    near(asked.case.inputs.wind.age_s.unwrap(), 3600.0 * 2.93);
    request["launch_at"] = "2026-11-10T03:00:01Z".into();
    let later = read(&request);
    let speeds: Vec<f64> = later.case.inputs.wind.layers.iter().map(|l| l.speed_m_s).collect();
    assert_eq!(speeds, [4.0, 6.0, 8.0]);
    request["launch_at"] = "2026-11-10T12:01:00Z".into();
    assert!(read(&request).cautions.iter().any(|c| c.message.contains("more than 6 h")));
    assert_eq!(later.weather.unwrap().source(), "coverage 35.04, -106.62 valid 2026-11-10T06:00Z");

    // Faults stand at the member.
    let mut broken = request.clone();
    broken["weather"]["coverage"]["ranges"]["wind_speed"]["values"][4] = "fast".into();
    let found = faults(&broken);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].pointer, "/weather/coverage/ranges/wind_speed/values/4");
    assert_eq!(found[0].sent, Some(json!("fast")));
    let apart = json!({"coverage": broken["weather"]["coverage"], "launch_at": LAUNCH, "field_elevation": 100});
    // That value is of another time than the one that is taken now.
    assert!(wire::decode_weather(apart.to_string().as_bytes()).is_ok());
}

#[test]
fn the_site_comes_first() {
    let field = |site: Value| {
        let mut request = under(&json!({"metar": ALBUQUERQUE}));
        request["site"] = site;
        read(&request).case.field
    };
    let (reported, own) =
        (field(json!({"elevation": "5355 ft"})), field(json!({"elevation": "5355 ft", "temperature": "5 C"})));
    near(reported.temperature_k, 273.15 + 19.0);
    near(own.temperature_k, 273.15 + 5.0);
    near(own.station_pressure_pa, reported.station_pressure_pa);
    near(field(json!({"elevation": "5355 ft", "station_pressure": "830 hPa"})).station_pressure_pa, 83_000.0);
    // QNH 29.99 inHg at 5355 ft by the altimeter's standard atmosphere: 832.6 hPa (relation of ISO 2533 below 11 km).
    let expected = 101_325.0
        * ((29.99_f64 * 3386.389 / 101_325.0).powf(0.190_263) - 5355.0 * 0.3048 / 44_330.77).powf(1.0 / 0.190_263);
    assert!((reported.station_pressure_pa - expected).abs() < 30.0, "{} {expected}", reported.station_pressure_pa);
    let other = field(json!({"elevation": "5355 ft", "altimeter_setting": "1000 hPa"}));
    assert!(other.station_pressure_pa < reported.station_pressure_pa - 1000.0);
    // Without an elevation a report of the wind is still one; its pressure says nothing then.
    let bare = field(json!({}));
    near(bare.temperature_k, 273.15 + 19.0);
}

#[test]
fn what_surrounds_the_field_may_be_said() {
    let asked = read(&under(&json!({"metar": ALBUQUERQUE, "terrain": "rough", "turbulence": "off"})));
    assert_eq!(asked.case.surface_law, SurfaceLaw::Log { roughness_m: 0.25 });
    assert_eq!(asked.case.inputs.wind.gustiness, Some(Gustiness::Off));
    let asked = read(&under(&json!({"metar": ALBUQUERQUE, "power_exponent": 0.2})));
    assert_eq!(asked.case.surface_law, SurfaceLaw::Power { exponent: 0.2 });
}

/// 1.5 m/s and 0.04 m/s for each hour, unless the request has others; and it is said.
#[test]
fn age_widens_the_error_by_a_stated_rule() {
    for (weather, launch, spread, hours, expected) in [
        // An hour after the report, 14 h 56 min after the analysis.
        (json!({"metar": ALBUQUERQUE}), LAUNCH, json!({}), 1.0, 1.54),
        (reports(), LAUNCH, json!({}), 14.93, 1.5 + 0.04 * 14.93),
        (reports(), LAUNCH, json!({"growth_per_hour": "0.1 m/s"}), 14.93, 1.5 + 0.1 * 14.93),
        (reports(), LAUNCH, json!({"growth_per_hour": 0}), 14.93, 1.5),
        (reports(), LAUNCH, json!({"component_sd": "2 kt"}), 14.93, 2.0 * 1852.0 / 3600.0 + 0.04 * 14.93),
        // Before the report: what lies between counts.
        (json!({"metar": ALBUQUERQUE}), "2026-11-09T23:56:00Z", json!({}), 2.0, 1.58),
        (json!({"metar": ALBUQUERQUE}), "2026-11-09T19:56:00-06:00", json!({}), 0.0, 1.5),
    ] {
        let mut request = under(&weather);
        request["launch_at"] = launch.into();
        request["spread"] = json!({"wind": spread});
        let asked = read(&request);
        near(asked.case.spread.wind.component_sd_m_s, expected);
        near(asked.case.inputs.wind.age_s.unwrap(), 3600.0 * hours);
        let told: Vec<_> = asked.case.assumed.iter().filter(|a| a.input == "spread.wind.growth_per_hour").collect();
        let [told] = told[..] else { panic!("{told:?}") };
        assert!(
            told.value.contains(&format!("{hours:.1} h")) && told.value.contains(&format!("{expected:.2} m/s")),
            "{told:?}"
        );
        let own = spread.get("growth_per_hour").is_some();
        assert_eq!(told.source.contains("assumption"), !own, "{told:?}");
    }
    // By hand, an age does the same.
    let mut request = card();
    request["wind"]["age"] = "12 h".into();
    near(read(&request).case.spread.wind.component_sd_m_s, 1.5 + 0.04 * 12.0);
    request["wind"]["age"] = Value::Null;
    near(read(&request).case.spread.wind.component_sd_m_s, 1.5);
    assert!(read(&request).case.assumed.iter().all(|a| a.input != "spread.wind.growth_per_hour"));
}

#[test]
fn old_weather_and_hours_of_use_are_minded() {
    for (weather, launch, part) in [
        (reports(), LAUNCH, None),
        (reports(), "2026-11-10T02:57:00Z", Some("1.02 h before launch at 2026-11-10T02:57Z: it is used for 1 h")),
        (
            reports(),
            "2026-11-10T01:30:00Z",
            Some("for use from 2026-11-10T02:00Z to 2026-11-10T09:00Z; launch is at 2026-11-10T01:30Z"),
        ),
        (json!({"metar": ALBUQUERQUE}), "2026-11-10T01:26:00Z", Some("0.50 h after launch")),
        (json!({"winds_aloft": BULLETIN}), "2026-11-10T10:00:00Z", Some("launch is at 2026-11-10T10:00Z")),
        (
            json!({"winds_aloft": BULLETIN.split_once("FT").map(|(_, rest)| format!("FT{rest}"))}),
            LAUNCH,
            Some("has no time"),
        ),
    ] {
        let mut request = under(&weather);
        request["launch_at"] = launch.into();
        let cautions = read(&request).cautions;
        let aged: Vec<&str> =
            cautions.iter().filter(|c| c.topic == "weather_age").map(|c| c.message.as_str()).collect();
        match part {
            Some(part) => assert!(aged.iter().any(|m| m.contains(part)), "{launch}: {aged:?}"),
            None => assert!(aged.is_empty(), "{launch}: {aged:?}"),
        }
    }
}

/// The published sounding as it was issued, over a field at the height of its station.
#[tokio::test]
async fn a_published_sounding_is_flown_in() {
    let service = service();
    let mut request = under(&json!({"date": "2026-10-31", "sounding": SOUNDING}));
    request["site"] = json!({"elevation": "18 m"});
    request["launch_at"] = "2026-10-31T01:00:00Z".into();
    let answer = service.post(&request).await.json();
    check_described("Assessment", &answer);
    let weather = &answer["weather"];
    assert_eq!((&weather["messages"][0]["station"], &weather["age_h"]), (&json!("72518"), &json!(1.0)));
    // 330 deg and 4 kt at the ground; 340 deg and 16 kt at 1000 hPa, 263 m above sea.
    assert_eq!(answer["nominal"]["surface_wind_m_s"], json!(2.05778));
    let above = json!({"height_above_ground": "245 m", "direction": "340 deg", "speed": "16 kt"});
    assert_eq!((weather["wind"]["layers"].as_array().unwrap().len(), &weather["wind"]["layers"][0]), (5, &above));
    let mut calm = request.clone();
    calm["weather"]["sounding"] = SOUNDING.replace(" 33004 ", " 00000 ").replace("34016", "00000").into();
    let calm = service.post(&calm).await.json();
    assert_ne!(answer["delays"], calm["delays"], "the wind of the message counts");
}

#[tokio::test]
async fn the_answer_says_what_it_was_flown_in() {
    let service = service();
    let request = under(&reports());
    let reply = service.post(&request).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    let answer = reply.json();
    check_described("Assessment", &answer);
    let weather = &answer["weather"];
    assert_eq!(weather["source"], "METAR KABQ 2026-11-10T01:56Z; winds aloft ABQ valid 2026-11-10T06:00Z");
    assert_eq!(weather["launch_at"], "2026-11-10T02:56Z");
    assert_eq!(weather["messages"][0]["before_launch_h"], 1.0);
    assert_eq!(weather["messages"][1]["before_launch_h"], 14.9333);
    assert_eq!(weather["wind"]["surface"]["speed"], "10 kt");
    assert_eq!(weather["wind"]["age"], "14.93 h");
    assert_eq!(weather["site"]["altimeter_setting"], "29.99 inHg");
    let assumed = weather["assumed"].to_string();
    assert!(assumed.contains("10 m above ground") && assumed.contains("nearest to launch on 2026-11-10"), "{assumed}");
    assert!(weather["skipped"].to_string().contains("10SM TS FEW033"), "{weather}");
    assert!(answer["assumed"].to_string().contains("spread.wind.growth_per_hour"), "{answer}");

    // The same input is the same id is the same bytes; another instant of launch is another question.
    let again = service.post(&request).await;
    assert_eq!(again.body, reply.body);
    let id = answer["id"].as_str().unwrap();
    assert_eq!(service.get(&format!("/v1/assessments/{id}")).await.body, reply.body);
    let mut later = request.clone();
    later["launch_at"] = "2026-11-10T05:00:00Z".into();
    let later = service.send(json_request("/v1/assessments?dry_run=true", later.to_string())).await.json();
    assert_ne!(later["id"], answer["id"]);

    // And on the terminal.
    let asked = read(&request);
    let report = slowpoint_sim::assess(&asked.case, &std::sync::atomic::AtomicBool::new(false)).unwrap();
    let table = terminal::table(&wire::answer(id, "an-engine", &asked, &report));
    assert!(table.contains("Weather, as the messages have it\n") && table.contains("14.9 h from launch."), "{table}");

    // A wind by hand comes from no message.
    assert!(service.post(&card()).await.json().get("weather").is_none());
}

#[test]
fn faults_stand_below_the_weather() {
    let refuses = |change: &dyn Fn(&mut Value), pointer: &str, problem: &str, remedy: &str| {
        let mut request = under(&reports());
        change(&mut request);
        let found = faults(&request);
        assert_eq!(found.len(), 1, "{pointer}: {found:#?}");
        assert_eq!(found[0].pointer, pointer, "{found:?}");
        assert!(found[0].problem.contains(problem), "{found:?}");
        assert!(found[0].remedy.contains(remedy), "{found:?}");
    };
    let set = |pointer: &'static str, value: Value| {
        move |request: &mut Value| {
            let (parent, name) = pointer.rsplit_once('/').unwrap();
            let members = request.pointer_mut(parent).unwrap().as_object_mut().unwrap();
            match value {
                Value::Null => drop(members.remove(name)),
                _ => drop(members.insert(name.into(), value.clone())),
            }
        }
    };
    for (pointer, value, at, problem, remedy) in [
        ("/wind", card()["wind"].clone(), "/weather", "a wind as well", "one of the two"),
        ("/launch_at", Value::Null, "/launch_at", "missing", "never by a clock"),
        ("/launch_at", json!("2026-11-10 02:56"), "/launch_at", "no instant", "2026-11-25T17:30:00Z"),
        ("/launch_at", json!("2026-11-25T02:56:00Z"), "/launch_at", "", "0 to 336 h"),
        ("/launch_at", json!(5), "/launch_at", "the number 5", "text"),
        ("/weather", Value::Null, "/wind", "missing", "messages as they were issued"),
        ("/weather/field_elevation", json!("5355 ft"), "/weather/field_elevation", "outside", "site.elevation"),
        ("/weather/launch_at", json!(LAUNCH), "/weather/launch_at", "outside", "beside weather"),
        (
            "/weather/metar",
            json!("KABQ 100156Z 320l0KT 19/14 A2999"),
            "/weather/metar",
            "(line 1, column 14), \"320L0KT\"",
            "29017G27KT",
        ),
        (
            "/weather/winds_aloft",
            json!(BULLETIN.replace("1912+16", "4012+16")),
            "/weather/winds_aloft",
            "\"4012+16\"",
            "2435+07",
        ),
        ("/weather/station", json!("XYZ"), "/weather/station", "no row \"XYZ\"", "\"ABQ\""),
        ("/weather/sounding", json!(SOUNDING), "/weather/sounding", "winds_aloft as well", "one of the two"),
        ("/weather/date", json!("tomorrow"), "/weather/date", "no date", "2026-11-25"),
        ("/weather/date", json!("2027-11-09"), "/launch_at", "age of the wind", "older weather"),
        ("/weather/mtar", json!(ALBUQUERQUE), "/weather/mtar", "no field", "\"metar\""),
        ("/weather/terrain", json!("wood"), "/weather/terrain", "not known", "open"),
        ("/weather/roughness_length", json!("9 m"), "/weather/roughness_length", "9 m", "3 m"),
        ("/weather/power_exponent", json!(1e9), "/weather/power_exponent", "is 1000000000", "give 0.02 to 0.6"),
        ("/weather/turbulence_wind_at_20_ft", json!("90 kt"), "/weather/turbulence_wind_at_20_ft", "90 kt", "kt"),
        ("/site/elevation", Value::Null, "/site/elevation", "missing", "heights above sea level"),
        ("/site/elevation", json!("high"), "/site/elevation", "number", ""),
        ("/site/elevation", json!(5355), "/site/elevation", "5355 m", "5355 ft"),
    ] {
        refuses(&set(pointer, value), at, problem, remedy);
    }
    // Nothing but a wind that is not known, or is faster than what is taken.
    for (metar, problem) in
        [("KABQ 100156Z /////KT 19/14 A2999", "calm is never assumed"), ("KABQ 100156Z 32090KT 19/14 A2999", "40 m/s")]
    {
        let only = |request: &mut Value| request["weather"] = json!({"metar": metar});
        refuses(&only, "/weather", problem, "by hand as wind");
    }
    let nothing = |request: &mut Value| request["weather"] = json!({"date": "2026-11-10"});
    refuses(&nothing, "/weather", "nothing to decode", "metar");
    let undated = |request: &mut Value| request["weather"] = json!({"layers": "agl, direction, speed\n300, 240, 8"});
    refuses(&undated, "/launch_at", "no weather whose age", "leave it out");
    let idle = |request: &mut Value| {
        undated(request);
        request["launch_at"] = Value::Null;
        request["spread"] = json!({"wind": {"growth_per_hour": "0.1 m/s"}});
    };
    refuses(&idle, "/spread/wind/growth_per_hour", "no age", "wind.age");
    let fast = |request: &mut Value| request["spread"] = json!({"wind": {"growth_per_hour": "1 m/s"}});
    refuses(&fast, "/spread/wind/growth_per_hour", "grows to 16.4 m/s", "at most 15 m/s");
    // By hand.
    let by_hand = |request: &mut Value| {
        request["weather"] = Value::Null;
        request["wind"] = card()["wind"].clone();
    };
    refuses(&by_hand, "/launch_at", "no weather whose age", "wind.age");
    let ancient = |request: &mut Value| {
        by_hand(request);
        request["launch_at"] = Value::Null;
        request["wind"]["age"] = "400 h".into();
    };
    refuses(&ancient, "/wind/age", "400 h", "336 h");
}
