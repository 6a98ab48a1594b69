//! What was decoded is taken again as it stands: a model's file under a surface report. Ensembles of messages.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

#[path = "support/grib.rs"]
mod grib;

use grib::{Field, file, lat_lon, level, of_member};
use serde_json::{Value, json};
use slowpoint_server::wire::{self, FieldFault, GribQuery, Rejected};
use support::{card, check_described};

/// Published groups; where each comes from stands beside its decoder.
const ALBUQUERQUE: &str = "KABQ 100656Z 32010KT 280V340 10SM TS FEW033 BKN075CB OVC100 19/14 A2999";
const BULLETIN: &str = "\
DATA BASED ON 091200Z
VALID 100600Z   FOR USE 0200-0900Z. TEMPS NEG ABV 24000

FT  3000    6000    9000   12000   18000   24000  30000  34000  39000

ABQ      1912+16 2435+07 9900-04 2419-04 2427-14 274650 731960 750456
AAA      2013    2013    2435    7799    2427-14 274650 731960 750456
";
const SOUNDING: &str =
    "TTAA 60001 72518 99830 08863 33004 85585 00079 01526 70138 04182 32526 50572 17372 31549 88999 77999";
const LAUNCH: &str = "2026-11-10T07:30:00Z";

fn answered(request: &Value) -> Value {
    match wire::decode_weather(request.to_string().as_bytes()) {
        Ok(answer) => {
            let answer = serde_json::to_value(answer).unwrap();
            check_described("WeatherAnswer", &answer);
            answer
        }
        Err(rejected) => panic!("{request}: {rejected:?}"),
    }
}

fn faults(request: &Value) -> Vec<FieldFault> {
    match wire::decode_weather(request.to_string().as_bytes()) {
        Err(Rejected::Faults(faults)) => faults,
        other => panic!("{request}: {other:?}"),
    }
}

/// A model's file: 10 m above ground, and 700 hPa at 3000 m above sea; of three members where it is an ensemble.
fn model(members: bool) -> Value {
    let grid = lat_lon([36.0, 34.5], [252.5, 255.0], [6, 4], 0b0011_0000);
    let mut fields = level(103, 10, 6, grid.points, [4.0, -3.0], None);
    // 285 K at 2 m.
    let warm = fields[1].clone();
    fields.push(Field { category: 0, number: 0, level: 2, values: vec![285.0; grid.points as usize], ..warm });
    fields.extend(level(100, 70_000, 6, grid.points, [12.0, 5.0], Some(3000.0)));
    let fields = match members {
        true => (0..3_u8)
            .flat_map(|number| {
                let stronger = fields.iter().cloned().map(|mut f| {
                    f.values.iter_mut().filter(|_| f.category == 2).for_each(|v| *v += f64::from(number));
                    f
                });
                of_member(&stronger.collect::<Vec<_>>(), if number == 0 { 1 } else { 3 }, number)
            })
            .collect(),
        false => fields,
    };
    let query = GribQuery {
        latitude: 35.04,
        longitude: -106.62,
        field_elevation: "5355 ft".into(),
        launch_at: Some(LAUNCH.into()),
    };
    let Ok(answer) = wire::decode_grib(&file(&grid, &fields), &query) else { panic!("the file is good") };
    serde_json::to_value(answer).unwrap()
}

#[track_caller]
fn near(x: &Value, expected: &Value) {
    let [x, expected] = [x, expected].map(|v| v.as_f64().unwrap());
    // Six digits, read and written once more.
    assert!((x - expected).abs() <= 2e-5 * expected.abs().max(1.0), "{x}, expected {expected}");
}

#[test]
fn what_was_answered_is_read_as_it_was_meant() {
    let table = "agl ft, direction, speed kt, temperature C\n1000, 240, 12, 8\n3000, 260, 20, -2\n";
    for request in [
        json!({"date": "2026-11-10", "metar": ALBUQUERQUE, "winds_aloft": BULLETIN, "field_elevation": "5355 ft"}),
        json!({"date": "2026-11-10", "winds_aloft": BULLETIN, "station": "AAA", "launch_at": LAUNCH}),
        json!({"date": "2026-11-10", "sounding": SOUNDING, "field_elevation": "5355 ft", "launch_at": LAUNCH}),
        json!({"date": "2026-11-10", "metar": "KABQ 100656Z VRB04G15KT 19/14 A2999", "layers": table}),
        json!({"date": "2026-11-10", "metar": "KABQ 100656Z ///04KT 19/14 A2999"}),
        json!({"date": "2026-11-10", "metar": "KABQ 100656Z 00000KT 19/14 A2999", "field_elevation": "5355 ft"}),
    ] {
        let first = answered(&request);
        let mut again = json!({"decoded": first});
        for name in ["field_elevation", "launch_at"] {
            again[name] = request[name].clone();
        }
        let second = answered(&again);
        for name in ["messages", "levels", "age_h", "field_elevation_m", "altimeter_setting_pa", "skipped", "assumed"] {
            let [a, b] = [&first, &second].map(|answer| {
                let mut value = answer[name].clone();
                // The times are whole now: no date has to stand for the month.
                if let Some(list) = value.as_array_mut() {
                    list.retain(|text| !text.as_str().is_some_and(|t| t.contains("There is no date")));
                }
                value
            });
            assert_eq!(a, b, "{name} of {request}");
        }
        let cautions = |answer: &Value| {
            answer["cautions"].as_array().unwrap().iter().map(|c| c["topic"].clone()).collect::<Vec<_>>()
        };
        assert!(cautions(&second).iter().all(|topic| cautions(&first).contains(topic)), "{second}");
        assert_eq!(first["wind"]["source"], second["wind"]["source"]);
        let layers = |answer: &Value| answer["wind"]["layers"].as_array().map_or(0, Vec::len);
        assert_eq!(layers(&first), layers(&second));
    }
}

/// A model's file under a surface report: the report near the ground and its air, the model above, the age of both.
#[test]
fn a_file_under_a_surface_report() {
    let model = model(false);
    let request = json!({
        "metar": ALBUQUERQUE, "decoded": model, "field_elevation": "5355 ft", "launch_at": LAUNCH
    });
    let answer = answered(&request);
    let formats: Vec<_> = answer["messages"].as_array().unwrap().iter().map(|m| m["format"].clone()).collect();
    assert_eq!(formats, ["metar", "grib"]);
    let levels = answer["levels"].as_array().unwrap();
    assert_eq!(levels.len(), 2, "the model's 10 m gives way: {levels:?}");
    assert_eq!(
        (&levels[0]["wind_from_deg"], &levels[1]["wind_from_deg"]),
        (&json!(320.0), &model["levels"][1]["wind_from_deg"])
    );
    near(&levels[1]["height_above_sea_m"], &json!(3000));
    near(&levels[1]["wind_speed_m_s"], &model["levels"][1]["wind_speed_m_s"]);
    assert_eq!(answer["site"]["temperature"], "19 C");
    assert_eq!(answer["site"]["altimeter_setting"], "29.99 inHg");
    // The model was analysed 7.5 h before launch, the report made 0.57 h before.
    assert_eq!((&answer["age_h"], &answer["messages"][0]["before_launch_h"]), (&json!(7.5), &json!(0.566667)));
    let [assumed, skipped] = ["assumed", "skipped"].map(|name| answer[name].to_string());
    let air = "The temperature at the field is that of the GRIB2 35, -106.5 at the ground.";
    assert!(model["assumed"].to_string().contains(air) && !assumed.contains(air), "{assumed}");
    assert!(assumed.contains("the nearest grid point, 11.8 km away"), "{assumed}");
    assert!(skipped.contains("surface level of the GRIB2: the surface report stands"), "{skipped}");

    // The same within an assessment.
    let mut within = card();
    within.as_object_mut().unwrap().remove("wind");
    within["weather"] = json!({"metar": ALBUQUERQUE, "decoded": model});
    (within["site"], within["launch_at"]) = (json!({"elevation": "5355 ft"}), LAUNCH.into());
    let mut apart = card();
    (apart["wind"], apart["site"]) = (answer["wind"].clone(), answer["site"].clone());
    let [within, apart] = [within, apart].map(|r| match wire::read(r.to_string().as_bytes()) {
        Ok(asked) => asked.case.inputs,
        Err(rejected) => panic!("{rejected:?}"),
    });
    assert_eq!(within, apart);
}

#[test]
fn an_ensemble_under_a_surface_report() {
    let model = model(true);
    let answer = answered(&json!({
        "metar": ALBUQUERQUE, "decoded": model, "field_elevation": "5355 ft", "launch_at": LAUNCH
    }));
    let members = answer["members"].as_array().unwrap();
    assert_eq!((members.len(), &answer["levels"]), (3, &json!([])));
    for (k, member) in members.iter().enumerate() {
        assert_eq!(member["messages"][0]["format"], "metar");
        assert_eq!(member["messages"][1]["member"], model["members"][k]["messages"][0]["member"]);
        assert_eq!(
            (&member["levels"][0]["wind_from_deg"], member["levels"].as_array().unwrap().len()),
            (&json!(320.0), 2)
        );
        near(&member["levels"][1]["wind_speed_m_s"], &model["members"][k]["levels"][1]["wind_speed_m_s"]);
        assert_eq!(answer["wind"]["members"][k]["surface"]["speed"], "10 kt");
    }
    let formats: Vec<_> = answer["messages"].as_array().unwrap().iter().map(|m| m["format"].clone()).collect();
    assert_eq!(formats, ["metar", "grib"], "each message once");
    assert_eq!(answer["wind"]["age"], "7.5 h");
    assert!(answer["assumed"].to_string().contains("of the first member"), "{answer}");
}

/// Members of every kind: two rows of a bulletin, a sounding, a table, a decoded file; the answer is their winds in order.
#[test]
fn an_ensemble_of_messages() {
    let table = "agl ft, direction, speed kt\n1000, 240, 12\n3000, 260, 20\n";
    let members = json!([
        {"winds_aloft": BULLETIN, "station": "ABQ"},
        {"winds_aloft": BULLETIN, "station": "AAA"},
        {"sounding": SOUNDING},
        {"layers": table},
        {"decoded": model(true)}
    ]);
    let request = |members: &Value| {
        json!({
            "date": "2026-11-10", "metar": ALBUQUERQUE, "members": members, "field_elevation": "5355 ft", "launch_at": LAUNCH
        })
    };
    let answer = answered(&request(&members));
    let read = answer["members"].as_array().unwrap();
    assert_eq!((read.len(), answer["wind"]["members"].as_array().unwrap().len()), (7, 7));
    // Each is what it would be alone.
    for (k, member) in members.as_array().unwrap().iter().take(4).enumerate() {
        let mut alone = request(&Value::Null);
        alone.as_object_mut().unwrap().extend(member.as_object().unwrap().clone());
        let alone = answered(&alone);
        assert_eq!((&alone["levels"], &alone["messages"]), (&read[k]["levels"], &read[k]["messages"]), "{k}");
        assert_eq!(alone["wind"]["surface"], answer["wind"]["members"][k]["surface"]);
        assert_eq!(alone["wind"]["layers"], answer["wind"]["members"][k]["layers"]);
    }
    // The analysis of the bulletin is the oldest: 19.5 h before launch.
    assert_eq!(answer["age_h"], 19.5);
    let source = answer["wind"]["source"].as_str().unwrap();
    assert!(source.starts_with("7 members: METAR KABQ 2026-11-10T06:56Z; winds aloft ABQ valid"), "{source}");

    // The same within an assessment, and as the wind of one.
    let mut within = card();
    within.as_object_mut().unwrap().remove("wind");
    within["weather"] = json!({"date": "2026-11-10", "metar": ALBUQUERQUE, "members": members});
    (within["site"], within["launch_at"]) = (json!({"elevation": "5355 ft"}), LAUNCH.into());
    let mut apart = card();
    (apart["wind"], apart["site"]) = (answer["wind"].clone(), answer["site"].clone());
    let [within, apart] = [within, apart].map(|r| match wire::read(r.to_string().as_bytes()) {
        Ok(asked) => asked.case.inputs,
        Err(rejected) => panic!("{rejected:?}"),
    });
    assert_eq!(within, apart);

    // Surface reports alone, each its own.
    let reports = json!([{"metar": ALBUQUERQUE}, {"metar": "KAEG 100656Z 29012KT 18/12 A2998"}]);
    let answer = answered(&json!({"date": "2026-11-10", "members": reports, "field_elevation": "5355 ft"}));
    assert_eq!(answer["wind"]["members"][1]["surface"]["speed"], "12 kt");
    assert_eq!(answer["site"]["altimeter_setting"], "29.99 inHg", "the first member's");
    // One alone is no ensemble.
    let answer = answered(&json!({"date": "2026-11-10", "members": [{"metar": ALBUQUERQUE}]}));
    assert!(answer["members"].is_null() && answer["wind"]["surface"]["speed"] == "10 kt", "{answer}");
}

#[test]
fn a_member_without_wind_is_named() {
    let members = json!([{"metar": ALBUQUERQUE}, {"metar": "KAEG 100656Z /////KT 18/12 A2998"}]);
    let answer = answered(&json!({"date": "2026-11-10", "members": members}));
    assert!(answer["wind"].is_null(), "{answer}");
    assert!(answer["cautions"].to_string().contains("Member 2 of 2 has no wind"), "{answer}");
}

#[test]
fn faults_of_members_stand_at_the_member() {
    let good = json!({"layers": "agl, direction, speed\n300, 240, 8"});
    let with = |member: Value| json!({"members": [good, member]});
    for (request, pointer, problem) in [
        (with(json!({"metar": "KABQ 100156Z 320L0KT"})), "/members/1/metar", "320L0KT"),
        (with(json!({})), "/members/1", "nothing to decode"),
        (json!({"metar": ALBUQUERQUE, "members": [good, {}]}), "/members/1", "nothing to decode"),
        (with(json!({"sounding": "TTBB"})), "/members/1/sounding", "\"TTBB\""),
        (with(json!({"layers": "agl\n1"})), "/members/1/layers", "no column direction"),
        (
            with(json!({"layers": [{"height_above_ground": 300, "speed": 8}]})),
            "/members/1/layers/0/direction",
            "missing",
        ),
        (with(json!({"coverage": {"type": "Domain"}})), "/members/1/coverage/type", "no coverage"),
        (with(json!({"decoded": {"levels": []}})), "/members/1/decoded/messages", "missing"),
        (with(json!({"winds_aloft": BULLETIN})), "/members/1/station", "2 rows"),
        (with(json!({"winds": BULLETIN})), "/members/1/winds", "no field"),
        (json!({"members": []}), "/members", "0 items"),
        (json!({"members": vec![good.clone(); 201]}), "/members", "too many"),
        (json!({"members": [good], "layers": good["layers"]}), "/layers", "members as well"),
        (json!({"members": [good], "station": "ABQ"}), "/station", "members as well"),
        (json!({"metar": ALBUQUERQUE, "members": [{"metar": ALBUQUERQUE}]}), "/members/0/metar", "one for all members"),
    ] {
        let mut request = request;
        request["date"] = "2026-11-10".into();
        let found = faults(&request);
        assert_eq!(found[0].pointer, pointer, "{found:?}");
        assert!(found[0].problem.contains(problem), "{pointer}: {found:?}");
    }
    let listed = faults(&json!({"members": "all"}));
    assert!(listed[0].remedy.contains("such as [{\"winds_aloft\""), "{listed:?}");
    let undated = faults(&json!({"members": [{"metar": ALBUQUERQUE}]}));
    assert_eq!(undated[0].pointer, "/date", "{undated:?}");
}

#[test]
fn faults_of_an_answer_stand_at_its_place() {
    for (pointer, value, at, problem) in [
        (
            "/field_elevation_m",
            json!(1600),
            "/field_elevation_m",
            "over a field at 1600 m, and this field is at 5355 ft",
        ),
        ("/field_elevation_m", json!("high"), "/field_elevation_m", "no number"),
        ("/messages", Value::Null, "/messages", "missing"),
        ("/messages", json!({}), "/messages", "no list"),
        ("/levels", json!(vec![1; 201]), "/levels", "201 items"),
        ("/levels/0", json!(5), "/levels/0", "no object"),
        ("/levels/1/wind_speed_m_s", json!(500), "/levels/1/wind_speed_m_s", "500 m/s is out of range"),
        ("/levels/1/wind_speed_m_s", json!("fast"), "/levels/1/wind_speed_m_s", "no number"),
        ("/levels/1/wind_speed_bound", json!("about"), "/levels/1/wind_speed_bound", "no such word"),
        ("/levels/1/wind_from_deg", json!(361), "/levels/1/wind_from_deg", "361 deg is out of range"),
        ("/levels/1/gust_m_s", json!(1), "/levels/1/gust_m_s", "no faster"),
        ("/levels/1/temperature_c", json!(300), "/levels/1/temperature_c", "300 C is out of range"),
        ("/levels/1/dew_point_c", json!(20), "/levels/1/dew_point_c", "above the temperature"),
        ("/levels/1/surface", json!(true), "/levels/1/height_above_ground_m", "out of range"),
        ("/levels/0/height_above_ground_m", Value::Null, "/levels/0", "no height"),
        ("/levels/1", model(false)["levels"][0].clone(), "/levels", "two surfaces"),
        ("/levels/0", model(false)["levels"][1].clone(), "/levels", "stands in it twice"),
        ("/levels/0/surface", json!("yes"), "/levels/0/surface", "neither true nor false"),
        ("/messages/0/format", json!("taf"), "/messages/0/format", "\"taf\" is no kind"),
        ("/messages/0/station", json!("a\nb"), "/messages/0/station", "no line of text"),
        ("/messages/0/station", json!("a".repeat(41)), "/messages/0/station", "at most 40 characters"),
        ("/messages/0/valid/utc", json!("soon"), "/messages/0/valid/utc", "no instant"),
        ("/messages/0/valid", json!({"day": 0}), "/messages/0/valid", "no time"),
        ("/assumed/0", json!(5), "/assumed/0", "no line of text"),
        ("/skipped/0", json!("a".repeat(1001)), "/skipped/0", "at most 1000 characters"),
        ("/assumed", json!(vec!["a"; 201]), "/assumed", "201 items"),
        ("/members", json!(5), "/members", "no list"),
        ("/altimeter_setting_pa", json!(5), "/altimeter_setting_pa", "out of range"),
    ] {
        let mut answer = model(false);
        answer["levels"][1]["temperature_c"] = 12.into();
        answer["skipped"] = json!(["Something."]);
        let (parent, name) = pointer.rsplit_once('/').unwrap();
        match answer.pointer_mut(parent).unwrap() {
            Value::Array(items) => items[name.parse::<usize>().unwrap()] = value,
            object => object[name] = value,
        }
        let found = faults(&json!({"decoded": answer, "field_elevation": "5355 ft"}));
        assert_eq!(found[0].pointer, format!("/decoded{at}"), "{found:?}");
        assert!(found[0].problem.contains(problem) && !found[0].remedy.is_empty(), "{pointer}: {found:?}");
    }
    let bare = json!({"messages": [], "levels": [{"wind_speed_m_s": 3, "wind_from_deg": 240}]});
    assert!(faults(&json!({"decoded": bare}))[0].problem.contains("no height"));
    let mixed = json!({"messages": [], "levels": [{"height_above_sea_m": 300}, {"height_above_ground_m": 900}]});
    assert!(faults(&json!({"decoded": mixed}))[0].problem.contains("some have not"));
    // A report in it, and another beside it.
    let first = answered(&json!({"date": "2026-11-10", "metar": ALBUQUERQUE}));
    let found = faults(&json!({"date": "2026-11-10", "metar": ALBUQUERQUE, "decoded": first}));
    assert_eq!((found[0].pointer.as_str(), found.len()), ("/decoded", 1), "{found:?}");
    for odd in [json!([]), json!(5), json!("x")] {
        assert!(wire::decode_weather(json!({"decoded": odd}).to_string().as_bytes()).is_err());
    }
}
