//! Weather over HTTP: messages come back as a profile whose wind an assessment takes as it is, or as a problem that shows
//! the group at fault.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use axum::body::Body;
use axum::http::Method;
use serde_json::{Value, json};
use slowpoint_server::wire;
use slowpoint_sim::wind::{Direction, Layer};
use support::{Reply, Service, card, check_described, check_problem, json_request, request, service};

const POST: &str = "/v1/weather";
const KT: f64 = 1852.0 / 3600.0;
const FT: f64 = 0.3048;

/// Published reports; where each comes from stands beside its decoded figures in `metar.rs`.
const ALBUQUERQUE: &str = "KABQ 100156Z 32010KT 280V340 10SM TS FEW033 BKN075CB OVC100 19/14 A2999";
const BILLINGS: &str = "KBIL 162256Z 29017G27KT 10SM FEW070 SCT085 BKN110 M02/M02 A2961 RMK AO2 T10171022";

/// Spaced as such bulletins are issued; the groups are those of aviation training texts, see `aloft.rs`.
const BULLETIN: &str = "\
DATA BASED ON 091200Z
VALID 100600Z   FOR USE 0200-0900Z. TEMPS NEG ABV 24000

FT  3000    6000    9000   12000   18000   24000  30000  34000  39000

ABQ      1912+16 2435+07 9900-04 2419-04 2427-14 274650 731960 750456
BIL      2109    2313+17 2316+11 2324-01 2331-13 233229 232839 232447
";

async fn decode(service: &Service, body: &Value) -> Reply {
    service.send(json_request(POST, body.to_string())).await
}

async fn answer(body: &Value) -> Value {
    let reply = decode(&service(), body).await;
    assert_eq!(reply.status, 200, "{body}: {}", reply.text());
    assert_eq!(reply.header("content-type"), "application/json");
    assert_eq!(reply.header("cache-control"), "no-store");
    let answer = reply.json();
    check_described("WeatherAnswer", &answer);
    assert!(reply.text().starts_with("{\"caution\":\"An estimate"), "the first caution comes first");
    answer
}

/// Part of the published sounding of Albany; see `temp.rs`.
const SOUNDING: &str = "TTAA 81001 72518 99030 08863 33004 00263 10464 34016 92904 04461 00518 85585 00079 01526 70138 04182 \
    32526 50572 17372 31549 88999 77999";

fn texts(list: &Value) -> Vec<&str> {
    list.as_array().unwrap().iter().map(|t| t.as_str().or(t["message"].as_str()).unwrap()).collect()
}

#[track_caller]
fn near(x: &Value, expected: f64) {
    let x = x.as_f64().unwrap_or(f64::NAN);
    // Six digits.
    assert!((x - expected).abs() <= 5e-6 * expected.abs().max(1.0), "{x}, expected {expected}");
}

#[tokio::test]
async fn a_surface_report_under_winds_aloft() {
    let body = json!({
        "date": "2026-11-10", "metar": ALBUQUERQUE, "winds_aloft": BULLETIN, "field_elevation": "5355 ft"
    });
    let answer = answer(&body).await;
    let [report, bulletin] = &answer["messages"].as_array().unwrap()[..] else { panic!("{answer}") };
    assert_eq!((report["format"].as_str(), report["station"].as_str()), (Some("metar"), Some("KABQ")));
    assert_eq!(report["observed"], json!({"day": 10, "hour": 1, "minute": 56, "utc": "2026-11-10T01:56Z"}));
    assert_eq!((bulletin["format"].as_str(), bulletin["station"].as_str()), (Some("winds_aloft"), Some("ABQ")));
    assert_eq!(bulletin["based_on"]["utc"], "2026-11-09T12:00Z");
    assert_eq!(bulletin["valid"]["utc"], "2026-11-10T06:00Z");
    assert_eq!(bulletin["use_from"], "2026-11-10T02:00Z");
    assert_eq!(bulletin["use_until"], "2026-11-10T09:00Z");
    near(&answer["field_elevation_m"], 5355.0 * FT);
    near(&answer["altimeter_setting_pa"], 29.99 * 3386.389);

    let levels = answer["levels"].as_array().unwrap();
    assert_eq!(levels.len(), 9, "the surface and 6000 to 39,000 ft");
    near(&levels[0]["height_above_ground_m"], 10.0);
    near(&levels[0]["wind_speed_m_s"], 10.0 * KT);
    near(&levels[0]["wind_from_deg"], 320.0);
    near(&levels[0]["wind_varies_from_deg"], 280.0);
    near(&levels[0]["wind_varies_to_deg"], 340.0);
    near(&levels[0]["temperature_c"], 19.0);
    near(&levels[0]["dew_point_c"], 14.0);
    // 6000 ft less 5355 ft, to 0.1 m.
    near(&levels[1]["height_above_ground_m"], 196.6);
    near(&levels[1]["height_above_sea_m"], 6000.0 * FT);
    near(&levels[2]["temperature_c"], 7.0);
    assert_eq!(levels[3]["wind_variable"], true);
    assert_eq!(levels[3]["wind_speed_bound"], "below");
    near(&levels[8]["wind_speed_m_s"], 104.0 * KT);
    near(&levels[8]["temperature_c"], -56.0);

    let assumed = texts(&answer["assumed"]).join("\n");
    for part in ["10 m above ground", "The row ABQ", "between 280 and 340 deg", "9900-04 at 12000 ft", "those of KABQ"]
    {
        assert!(assumed.contains(part), "{part} not in {assumed}");
    }
    assert!(texts(&answer["skipped"]).join("\n").contains("3000 ft above sea: blank"), "{answer}");
    let cautions = texts(&answer["cautions"]);
    assert_eq!(cautions.len(), 1, "{cautions:?}");
    assert!(cautions[0].contains("01:56Z") && cautions[0].contains("02:00Z"), "before the hours of use: {cautions:?}");

    assert_eq!(
        answer["site"],
        json!({"elevation": "5355 ft", "temperature": "19 C", "altimeter_setting": "29.99 inHg"})
    );
    let wind = &answer["wind"];
    assert_eq!(wind["surface"], json!({"speed": "10 kt", "direction": "320 deg", "measuring_height": "10 m"}));
    assert_eq!(wind["layers"][0], json!({"height_above_ground": "196.6 m", "speed": "12 kt", "direction": "190 deg"}));
    assert_eq!(wind["layers"][2]["speed"], "0 kt", "light and variable");
    assert_eq!(wind["source"], "METAR KABQ 2026-11-10T01:56Z; winds aloft ABQ valid 2026-11-10T06:00Z");
}

/// A report without wind or temperature takes neither away from the sounding over it.
#[tokio::test]
async fn what_a_surface_report_lacks_comes_from_the_sounding() {
    for (metar, speed_kt, from, celsius, assumed, skipped) in [
        ("KALB 310051Z AUTO /////KT 10SM 09/M04 A3042", 4.0, 330.0, 9.0, "The surface report has no wind", "missing"),
        (
            "KALB 310051Z AUTO 10SM 09/M04 A3042",
            4.0,
            330.0,
            9.0,
            "has no wind: what the sounding has",
            "no group of it",
        ),
        ("KALB 310051Z 27005KT 10SM A3042", 5.0, 270.0, 8.8, "has no temperature: what", "The temperature: it is not"),
        ("KALB 310051Z /////KT ///// A3042", 4.0, 330.0, 8.8, "has no wind and temperature: what", "The wind"),
        (
            "KALB 310051Z 27005KT 09/M04 A3042",
            5.0,
            270.0,
            9.0,
            "Wind, temperature and pressure",
            "of the sounding: the",
        ),
    ] {
        let body = json!({"date": "2026-10-31", "metar": metar, "sounding": SOUNDING, "field_elevation": "89 m"});
        let answer = answer(&body).await;
        let level = &answer["levels"][0];
        assert_eq!(level["surface"], true);
        near(&level["wind_speed_m_s"], speed_kt * KT);
        near(&level["wind_from_deg"], from);
        near(&level["temperature_c"], celsius);
        assert!(texts(&answer["assumed"]).join("\n").contains(assumed), "{metar}: {}", answer["assumed"]);
        assert!(texts(&answer["skipped"]).join("\n").contains(skipped), "{metar}: {}", answer["skipped"]);
        assert_eq!(answer["levels"][1]["surface"], false, "one surface");
        // Of what the report lacks nothing is said to be its own.
        let own = texts(&answer["assumed"])
            .join("\n")
            .contains("Wind, temperature and pressure at the field are those of KALB");
        assert_eq!(own, metar.contains("27005KT 09"), "{metar}");
    }
}

/// A sounding from elsewhere: its temperature at the ground is taken for the field, and that is said.
#[tokio::test]
async fn whose_temperature_it_is_is_said() {
    let said = |answer: &Value| texts(&answer["assumed"]).join("\n");
    const OWN: &str = "The temperature at the field is that of the sounding 72518 at the ground.";
    let body = json!({"date": "2026-10-31", "sounding": SOUNDING, "field_elevation": "800 m"});
    let alone = answer(&body).await;
    assert_eq!(alone["site"]["temperature"], "8.8 C");
    assert!(said(&alone).contains(OWN), "{alone}");
    let mut under = body;
    under["metar"] = "KALB 310051Z 27005KT 09/M04 A3042".into();
    let under = answer(&under).await;
    assert!(!said(&under).contains("that of the sounding"), "{under}");
}

/// Air and wind at the ground are those of where the balloon began. Its ground by hand, linear in the logarithm of pressure: 1030 hPa
/// below 1000 hPa at 263 m and 925 hPa at 904 m is 263 - 641 x ln(1.03) / ln(1000/925) = 20 m; the hypsometric equation has 19 m
/// (29.27 m/K x 282.7 K x ln(1.03) = 245 m deeper). On a mountain 838 hPa lies between 850 hPa at 1490 m, below the ground, and
/// 700 hPa at 3190 m: 1490 + 1700 x ln(850/838) / ln(850/700) = 1614 m; by 35 C there and 12 C above it is 1627 m.
#[tokio::test]
async fn another_ground_than_the_fields_is_told() {
    let mountain = "TTAA 81001 72365 99838 35058 33004 00037 ///// ///// 92741 ///// ///// 85490 ///// ///// 70190 12057 32516 \
                    50589 06172 31549 88999 77999";
    let nothing_there = SOUNDING.replace("08863 33004", "///// /////");
    let no_ground = SOUNDING.replace("99030", "99530");
    let members = json!([{"sounding": SOUNDING}, {"sounding": SOUNDING.replace("99030", "99028")}]);
    for (sounding, metar, field, ground, told) in [
        (SOUNDING, "", "18 m", Some(20.0), ""),
        (SOUNDING, "", "170 m", Some(20.0), ""),
        (SOUNDING, "", "171 m", Some(20.0), "72518 lies some 150 m (500 ft) below the field"),
        (SOUNDING, "", "800 m", Some(20.0), "72518 lies some 800 m (2600 ft) below the field"),
        (SOUNDING, "", "-131 m", Some(20.0), "72518 lies some 150 m (500 ft) above the field"),
        (mountain, "", "1750 m", Some(1614.0), ""),
        (mountain, "", "1770 m", Some(1614.0), "72365 lies some 150 m (500 ft) below the field"),
        // Wind and temperature of a report stand in place of it; what that lacks comes from there.
        (SOUNDING, "KALB 310051Z 27005KT 09/M04 A3042", "800 m", None, ""),
        (
            SOUNDING,
            "KALB 310051Z 27005KT ///// A3042",
            "800 m",
            Some(20.0),
            "72518 lies some 800 m (2600 ft) below the field",
        ),
        // Nothing is taken from there, or there is no telling where it is.
        (&nothing_there, "", "800 m", None, ""),
        (&no_ground, "", "800 m", None, ""),
    ] {
        let metar = Some(metar).filter(|text| !text.is_empty());
        let body = json!({"date": "2026-10-31", "sounding": sounding, "metar": metar, "field_elevation": field});
        let first = answer(&body).await;
        let messages = first["messages"].as_array().unwrap();
        assert_eq!(messages.last().unwrap()["ground_above_sea_m"].as_f64(), ground, "{field}: {first}");
        let cautions = texts(&first["cautions"]).join("\n");
        assert_eq!(
            cautions.contains("By its pressures the ground of the sounding"),
            !told.is_empty(),
            "{field}: {first}"
        );
        assert!(cautions.contains(told), "{field}: {cautions}");
        let untold = texts(&first["skipped"]).join("\n").contains("How high the ground of 72518 lies");
        assert_eq!(untold, sounding == no_ground, "{first}");
        // What was answered says the same when it is read again.
        let again = json!({"decoded": first, "field_elevation": field});
        assert_eq!(texts(&answer(&again).await["cautions"]).join("\n"), cautions, "{field}");
    }
    // Of an ensemble it is said once.
    let whole = answer(&json!({"date": "2026-10-31", "members": members, "field_elevation": "800 m"})).await;
    let said = texts(&whole["cautions"])
        .into_iter()
        .filter(|text| text.contains("some 800 m (2600 ft) below the field"))
        .count();
    assert_eq!(said, 1, "{whole}");
}

/// Where a mountain hides the lowest pressures, their heights are told all the same: 820 hPa lies by them at 1490 + 1700 x
/// ln(850/820) / ln(850/700) = 1805 m, where the hypsometric equation has 1823 m by the temperatures of the message.
#[tokio::test]
async fn levels_above_a_mountain_lie_by_the_heights_below_it() {
    let sounding = "TTAA 56001 72365 99838 35058 33004 00037 ///// ///// 92741 ///// ///// 85490 ///// ///// 70190 12057 32516 50589 \
                    06172 31549 88999 77999 TTBB 5600/ 72365 00838 35058 11820 33058 22750 20057 21212 00838 33004 11820 33510";
    let body = json!({"date": "2026-11-06", "sounding": sounding, "field_elevation": "1619 m"});
    let found = answer(&body).await;
    let levels = found["levels"].as_array().unwrap();
    let level = levels.iter().find(|level| level["pressure_pa"] == 82_000.0).unwrap();
    near(&level["height_above_sea_m"], 1805.0);
    assert!(!texts(&found["assumed"]).join("\n").contains("below the lowest of them"), "{found}");
}

/// What is answered goes into an assessment as it is, and means the same wind there.
#[tokio::test]
async fn an_assessment_takes_the_wind_as_it_is() {
    let service = service();
    let table = "height_above_sea ft; direction; speed kt\n6000; 240; 12\n9000; 260; 20\n";
    let whole_sounding = format!(
        "{SOUNDING} TTBB 8100/ 72518 00030 08863 21212 00030 33004 11960 35512 22780 33520 PPBB 8100/ 72518 9025/ 33508 33526"
    );
    let list = json!([{"height_above_ground": "300 m", "speed": "8 m/s", "direction": 265}]);
    for body in [
        json!({"date": "2026-11-10", "metar": ALBUQUERQUE}),
        json!({"date": "2026-11-16", "metar": BILLINGS, "field_elevation": "1112 m"}),
        json!({"date": "2026-11-10", "metar": "SPECI KABQ 100201Z VRB04KT 19/14 A2999", "layers": list}),
        json!({"date": "2026-11-10", "metar": "KABQ 100201Z ///04KT 19/14 A2999", "layers": list}),
        json!({"date": "2026-11-10", "metar": "KABQ 100201Z 00000KT 19/14 A2999", "field_elevation": "5355 ft"}),
        json!({"date": "2026-11-10", "metar": "KABQ 100201Z /////KT ///// A2999", "layers": list}),
        json!({"date": "2026-11-10", "winds_aloft": BULLETIN, "station": "KBIL", "field_elevation": "3581 ft"}),
        json!({"date": "2026-11-10", "metar": ALBUQUERQUE, "winds_aloft": BULLETIN, "field_elevation": "7000 ft"}),
        json!({"layers": table, "field_elevation": "5355 ft"}),
        json!({"layers": list}),
        json!({"date": "2026-11-30", "sounding": SOUNDING, "field_elevation": "18 m"}),
        json!({"date": "2026-11-10", "sounding": SOUNDING, "metar": ALBUQUERQUE, "field_elevation": "5355 ft"}),
        json!({"date": "2026-11-30", "sounding": whole_sounding, "field_elevation": "18 m"}),
        json!({"date": "2026-11-10", "sounding": "PPBB 5900/ 72518 9024/ 27625 36105", "metar": ALBUQUERQUE, "field_elevation": "10 m"}),
    ] {
        let answer = answer(&body).await;
        let mut asked = card();
        asked["wind"] = answer["wind"].clone();
        // The wind stands by itself, and with what is known of the field.
        for site in [Value::Null, answer["site"].clone()] {
            asked["site"] = site;
            let reply = service.send(json_request("/v1/assessments?dry_run=true", asked.to_string())).await;
            assert_eq!(reply.status, 200, "{body}: {}\n{}", reply.text(), answer["wind"]);
        }
        let Ok(taken) = wire::read(asked.to_string().as_bytes()) else { panic!("{asked}") };
        if body["metar"] == ALBUQUERQUE {
            let reply = service.post(&asked).await;
            assert_eq!(reply.status, 200, "{body}: {}", reply.text());
        }
        assert!(taken.cautions.is_empty(), "no number without its unit: {:?}", taken.cautions);
        let wind = &taken.case.inputs.wind;
        let levels: Vec<&Value> = answer["levels"].as_array().unwrap().iter().collect();
        let (surface, aloft): (Vec<&Value>, Vec<&Value>) =
            levels.iter().filter(|l| !l["wind_speed_m_s"].is_null()).partition(|l| l["surface"] == true);
        assert_eq!((wind.surface.is_some(), wind.layers.len()), (!surface.is_empty(), aloft.len()), "{body}");
        if let (Some(taken), [level]) = (wind.surface, &surface[..]) {
            near(&level["wind_speed_m_s"], taken.speed_m_s);
            near(&level["height_above_ground_m"], taken.measuring_height_m);
            assert_eq!(taken.gust_m_s.is_some(), !level["gust_m_s"].is_null());
            near(&json!(level["gust_m_s"].as_f64().unwrap_or(0.0)), taken.gust_m_s.unwrap_or(0.0));
            match taken.direction {
                Direction::From(rad) => near(&json!(level["wind_from_deg"].as_f64().unwrap_or(0.0)), rad.to_degrees()),
                Direction::Variable => assert!(level["wind_from_deg"].is_null() && taken.speed_m_s > 0.0),
            }
        }
        for (Layer { height_above_ground_m, speed_m_s, direction_from_rad }, level) in wind.layers.iter().zip(aloft) {
            near(&level["height_above_ground_m"], *height_above_ground_m);
            if level["wind_variable"] == true {
                assert_eq!(*speed_m_s, 0.0);
                continue;
            }
            near(&level["wind_speed_m_s"], *speed_m_s);
            // North is 360 in messages and 0 in the engine.
            near(&json!(level["wind_from_deg"].as_f64().unwrap() % 360.0), direction_from_rad.to_degrees());
        }
    }
}

#[tokio::test]
async fn levels_below_the_field_are_dropped_and_said() {
    let body =
        json!({"date": "2026-11-10", "metar": ALBUQUERQUE, "winds_aloft": BULLETIN, "field_elevation": "9000 ft"});
    let answer = answer(&body).await;
    let skipped = texts(&answer["skipped"]).join("\n");
    assert!(skipped.contains("6000 ft above sea, 9000 ft above sea: at or below the field at 9000 ft"), "{skipped}");
    near(&answer["levels"][1]["height_above_sea_m"], 12_000.0 * FT);
    // A wind no higher than the instrument of the report says nothing more.
    let low = json!([
        {"height_above_ground": "10 m", "speed": "3 m/s", "direction": 200},
        {"height_above_ground": "50 m", "speed": "5 m/s", "direction": 210}
    ]);
    let answer = self::answer(&json!({"date": "2026-11-10", "metar": ALBUQUERQUE, "layers": low})).await;
    assert_eq!(answer["wind"]["layers"].as_array().unwrap().len(), 1, "{answer}");
    let skipped = texts(&answer["skipped"]).join("\n");
    assert!(skipped.contains("10 m above ground: no higher than the surface wind"), "{skipped}");
}

#[tokio::test]
async fn without_an_elevation_heights_stay_above_sea() {
    let body = json!({"date": "2026-11-10", "winds_aloft": BULLETIN, "station": "BIL"});
    let answer = answer(&body).await;
    assert_eq!(answer["levels"][0]["height_above_ground_m"], Value::Null);
    assert_eq!(answer["wind"]["layers"][0]["height_above_sea"], "6000 ft");
    assert_eq!(answer["site"], json!({}));
    assert!(texts(&answer["cautions"])[0].contains("site.elevation"), "{answer}");
    let mut asked = card();
    asked["wind"] = answer["wind"].clone();
    let Err(wire::Rejected::Faults(faults)) = wire::read(asked.to_string().as_bytes()) else { panic!("no fault") };
    assert_eq!(faults[0].pointer, "/site/elevation");
    asked["site"] = json!({"elevation": "3581 ft"});
    assert!(wire::read(asked.to_string().as_bytes()).is_ok());
}

/// Seen in the eye of a typhoon, and in no weather that an assessment takes; nor is the cold of the Pole.
#[tokio::test]
async fn air_that_an_assessment_does_not_take_is_left_out_aloud() {
    for (report, elevation, skipped) in [
        ("19/14 A2599", json!("5355 ft"), "The pressure: an assessment does not take 25.99 inHg"),
        ("M60/M65 Q1010", json!("9301 ft"), "The temperature: an assessment does not take -60 C"),
        ("19/14 A2999", Value::Null, "The pressure: without the elevation"),
    ] {
        let body = json!({"date": "2026-11-10", "metar": format!("KABQ 100156Z 32010KT {report}"), "field_elevation": elevation});
        let answer = answer(&body).await;
        assert!(answer["skipped"].to_string().contains(skipped), "{answer}");
        let mut asked = card();
        (asked["wind"], asked["site"]) = (answer["wind"].clone(), answer["site"].clone());
        assert!(wire::read(asked.to_string().as_bytes()).is_ok(), "{answer}");
    }
}

#[tokio::test]
async fn what_to_mind_is_said() {
    for (body, topic, part) in [
        (json!({"date": "2026-11-25", "metar": BILLINGS}), "weather_age", "9 days before the date"),
        (json!({"date": "2026-11-14", "metar": BILLINGS}), "weather_age", "2 days after the date"),
        (
            json!({"date": "2026-11-14", "winds_aloft": BULLETIN, "station": "ABQ"}),
            "weather_age",
            "winds aloft is of 2026-11-10T06:00Z, 4 days before",
        ),
        // Every layer lies below the field.
        (json!({"layers": "msl, direction, speed kt\n300 m, 240, 8", "field_elevation": "1 km"}), "wind", "calm"),
        (json!({"date": "2026-11-10", "metar": "KABQ 100156Z /////KT 19/14 A2999"}), "wind", "calm is never assumed"),
        (json!({"date": "2026-11-10", "metar": "KABQ 100156Z 32090KT 19/14 A2999"}), "wind", "40 m/s"),
        (json!({"date": "2026-11-10", "metar": "KABQ 100156Z 32070G85KT 19/14 A2999"}), "wind", "40 m/s"),
        (json!({"date": "2026-11-10", "metar": "KABQ 100156Z 320P99KT 19/14 A2999"}), "wind", "100 kt or more"),
        (json!({"layers": [{"height_above_ground": 1000, "speed": 12, "direction": 240}]}), "unit", "1000 ft"),
        (json!({"layers": "agl, direction, speed\n300, 240, 8"}), "unit", "read in m/s"),
    ] {
        let answer = answer(&body).await;
        let cautions = answer["cautions"].as_array().unwrap();
        let found = cautions.iter().any(|c| c["topic"] == topic && c["message"].as_str().unwrap().contains(part));
        assert!(found, "{body}: {cautions:?}");
        let without_wind = topic == "wind";
        assert_eq!(answer.get("wind").is_none(), without_wind, "{body}: {answer}");
    }
}

/// Each with the place of the fault, a part of what is wrong and of the remedy.
#[tokio::test]
async fn faults_show_the_group_its_place_and_the_remedy() {
    let service = service();
    let two_rows = BULLETIN.replace("1912+16", "4012+16");
    for (body, pointer, problem, remedy) in [
        (json!({}), "", "nothing to decode", "metar"),
        (json!({"metar": ALBUQUERQUE}), "/date", "missing", "neither month nor year"),
        (json!({"date": "25.11.2026", "metar": ALBUQUERQUE}), "/date", "\"25.11.2026\" is no date", "2026-11-25"),
        (json!({"date": "2026-02-30", "metar": ALBUQUERQUE}), "/date", "\"2026-02-30\" is no date", "2026-11-25"),
        (
            json!({"date": "2026-11-10", "metar": "KABQ 100156Z 320l0KT 19/14 A2999"}),
            "/metar",
            "group 3 (line 1, column 14), \"320L0KT\", has no speed",
            "29017G27KT",
        ),
        (
            json!({"date": "2026-11-10", "winds_aloft": two_rows, "station": "ABQ"}),
            "/winds_aloft",
            "(line 6, column 10), \"4012+16\", has a direction that the code does not know at 6000 ft",
            "2435+07",
        ),
        (json!({"date": "2026-11-10", "winds_aloft": BULLETIN}), "/station", "2 rows", "\"ABQ\", \"BIL\""),
        (
            json!({"date": "2026-11-10", "winds_aloft": BULLETIN, "station": "XYZ"}),
            "/station",
            "no row \"XYZ\"",
            "\"ABQ\", \"BIL\"",
        ),
        (json!({"layers": "agl, direction, speed\n300, 240, 8", "station": "ABQ"}), "/station", "no bulletin", "leave"),
        (json!({"layers": "agl, direction, speed\n300, 240, x"}), "/layers", "line 2, column 3 (speed)", "35 mph"),
        (json!({"layers": []}), "/layers", "0 items", "1 to 200"),
        (json!({"coverage": {"type": "Grid"}}), "/coverage/type", "\"Grid\" is no coverage", "\"Coverage\""),
        (json!({"coverage": "x"}), "/coverage", "the text \"x\"", "an object"),
        (json!({"coverage": {"type": "Coverage", "do~m/": 1}}), "/coverage/domain", "missing", "the domain"),
        (json!({"date": "2026-11-30", "sounding": "TTAA 81001 72518 99030 0886"}), "/sounding", "\"0886\"", "08863"),
        (
            json!({"date": "2026-11-30", "sounding": SOUNDING, "layers": "agl, direction, speed\n300, 240, 8"}),
            "/layers",
            "there is sounding as well",
            "one of the two",
        ),
        (
            json!({"layers": [{"speed": 1, "direction": 2}]}),
            "/layers/0/height_above_ground",
            "missing",
            "height_above_sea",
        ),
        (
            json!({"layers": [{"height_above_ground": 300, "height_above_sea": 600, "speed": 8, "direction": 1}]}),
            "/layers/0/height_above_sea",
            "height_above_ground as well",
            "one of the two",
        ),
        // Above sea level a height may be under it, above ground not.
        (
            json!({"layers": [{"height_above_sea": "-460 m", "speed": 8, "direction": 1}]}),
            "/layers/0/height_above_sea",
            "above sea level",
            "-450",
        ),
        (
            json!({"layers": [{"height_above_ground": "0.1 m", "speed": 8, "direction": 1}]}),
            "/layers/0/height_above_ground",
            "above ground",
            "0.5",
        ),
        (
            json!({"layers": [{"height_above_ground": "300 m", "speed": "8 m/s", "direction": "west"}]}),
            "/layers/0/direction",
            "\"west\" is no angle",
            "270",
        ),
        (
            json!({"layers": [{"height_above_ground": 300, "speed": 8, "direction": 1}, {"height_above_sea": 600, "speed": 8, "direction": 1}]}),
            "/layers",
            "some heights are above sea level",
            "all of them",
        ),
        (
            json!({"layers": [{"height_above_ground": 300, "speed": 8, "direction": 1}, {"height_above_ground": 300, "speed": 9, "direction": 1}]}),
            "/layers",
            "300 m stands in it twice",
            "once",
        ),
        (
            json!({"date": "2026-11-10", "metar": ALBUQUERQUE, "elevation": 5}),
            "/elevation",
            "no field",
            "field_elevation",
        ),
        (json!({"date": "2026-11-10", "metar": ALBUQUERQUE, "fb": "x"}), "/fb", "no field", "winds_aloft"),
        (json!({"date": "2026-11-10", "mtar": ALBUQUERQUE}), "/mtar", "no field \"mtar\"", "did you mean \"metar\"?"),
        (
            json!({"date": "2026-11-10", "metar": ALBUQUERQUE, "field_elevation": 5355}),
            "/field_elevation",
            "5355 m",
            "did you mean \"5355 ft\"?",
        ),
        (json!({"date": "2026-11-10", "metar": 5}), "/metar", "the number 5", "text"),
    ] {
        let problem_body = check_problem(&decode(&service, &body).await, 422, "invalid-input");
        let errors = problem_body["errors"].as_array().unwrap();
        assert_eq!(errors.len(), 1, "{body}: {errors:?}");
        assert_eq!(errors[0]["pointer"], pointer, "{body}: {errors:?}");
        assert!(errors[0]["problem"].as_str().unwrap().contains(problem), "{body}: {errors:?}");
        assert!(errors[0]["remedy"].as_str().unwrap().contains(remedy), "{body}: {errors:?}");
    }
    // Every message is looked at in one reply.
    let both = json!({"date": "x", "metar": "KABQ", "winds_aloft": "x", "layers": "x", "station": "ABQ"});
    let problem = check_problem(&decode(&service, &both).await, 422, "invalid-input");
    let pointers: Vec<&str> =
        problem["errors"].as_array().unwrap().iter().map(|e| e["pointer"].as_str().unwrap()).collect();
    assert_eq!(pointers, ["/date", "/metar", "/layers", "/winds_aloft"]);
    check_problem(&service.send(json_request(POST, "{")).await, 400, "malformed-json");
    let reply = service.send(request(Method::GET, POST, Body::empty())).await;
    check_problem(&reply, 405, "method-not-allowed");
}

#[tokio::test]
async fn the_same_messages_give_the_same_bytes() {
    let service = service();
    let body = json!({"date": "2026-11-10", "metar": ALBUQUERQUE, "winds_aloft": BULLETIN});
    assert_eq!(decode(&service, &body).await.body, decode(&service, &body).await.body);
}
