//! GRIB2 files over HTTP. No file of a model is at hand: files are built by the published octet tables (`support/grib.rs`)
//! and read by a library that knows nothing of them.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

#[path = "support/grib.rs"]
mod grib;

use axum::body::Body;
use axum::http::{Method, Request, header};
use grib::{Field, Grid, file, lambert, lat_lon, level, message, rotated};
use serde_json::{Value, json};
use slowpoint_server::config::Config;
use support::{Disk, Reply, Service, card, check_described, check_problem, json_request, service, service_with};

const ALBUQUERQUE: &str = "latitude=35.04&longitude=-106.62&field_elevation=5355%20ft";

/// 0.5 degrees, from 36 N and 252 E on: the point nearest to the place is the third of the third row.
fn globe_cut() -> Grid {
    lat_lon([36.0, 34.5], [252.5, 255.0], [6, 4], 0b0011_0000)
}
const NEAREST: f64 = 2.0 * 6.0 + 2.0;

async fn post(service: &Service, query: &str, file: Vec<u8>) -> Reply {
    let uri = format!("/v1/weather/grib?{query}");
    let request =
        Request::builder().method(Method::POST).uri(uri).header(header::CONTENT_TYPE, "application/octet-stream");
    service.send(request.body(Body::from(file)).unwrap()).await
}

async fn answer(query: &str, file: Vec<u8>) -> Value {
    let reply = post(&service(), query, file).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    assert_eq!(reply.header("cache-control"), "no-store");
    let answer = reply.json();
    check_described("WeatherAnswer", &answer);
    answer
}

fn single(surface: u8, level: u32, category: u8, number: u8, points: u32, value: f64) -> Field {
    Field { category, number, surface, level, hours_ahead: 6, values: vec![value; points as usize] }
}

/// A model's levels over the field.
fn levels(points: u32, hours_ahead: u32) -> Vec<Field> {
    let mut fields = Vec::new();
    for (surface, value, wind, height) in [
        (103, 10, [-NEAREST / 10.0, -5.0], None),
        (103, 80, [6.0 - NEAREST / 10.0, -8.0], None),
        (100, 85_000, [1.0, 1.0], Some(1500.0)),
        (100, 70_000, [12.0 - NEAREST / 10.0, 0.0], Some(3100.0)),
        (102, 6000, [-NEAREST / 10.0, 20.0], None),
    ] {
        fields.extend(level(surface, value, hours_ahead, points, wind, height));
    }
    fields
}

#[track_caller]
fn near(x: &Value, expected: f64, within: f64) {
    let x = x.as_f64().unwrap_or(f64::NAN);
    assert!((x - expected).abs() <= within, "{x}, expected {expected}");
}

/// Components (0, -5), (6, -8), (12, 0) and (0, 20) at the nearest point: north at 5, 323.1 deg at 10, west at 12 and
/// south at 20 m/s.
#[tokio::test]
async fn winds_of_the_nearest_point() {
    let grid = globe_cut();
    let mut fields = levels(grid.points, 6);
    fields.push(single(103, 2, 0, 0, grid.points, 291.35));
    fields.push(single(1, 0, 2, 22, grid.points, 9.5));
    // What says nothing of the wind is passed over: relative humidity, a wind on a potential temperature.
    fields.push(single(100, 70_000, 1, 1, grid.points, 50.0));
    fields.push(single(107, 300, 2, 2, grid.points, 50.0));
    let answer = answer(&format!("{ALBUQUERQUE}&launch_at=2026-11-10T07:30:00Z"), file(&grid, &fields)).await;
    let levels = answer["levels"].as_array().unwrap();
    let rows: Vec<_> = levels
        .iter()
        .map(|l| ["height_above_ground_m", "wind_speed_m_s", "wind_from_deg"].map(|name| l[name].as_f64().unwrap()))
        .collect();
    let elevation_m = 5355.0 * 0.3048;
    let expected = [
        [10.0, 5.0, 0.0],
        [80.0, 10.0, 323.1],
        [3100.0 - elevation_m, 12.0, 270.0],
        [6000.0 - elevation_m, 20.0, 180.0],
    ];
    for (row, expected) in rows.iter().zip(expected) {
        assert!(row.iter().zip(expected).all(|(x, e)| (x - e).abs() < 0.06), "{row:?} {expected:?}");
    }
    assert_eq!(rows.len(), 4, "850 hPa lies below the field");
    assert_eq!(levels[0]["surface"], true);
    near(&levels[0]["temperature_c"], 18.2, 0.001);
    near(&levels[0]["gust_m_s"], 9.5, 0.01);
    near(&levels[2]["pressure_pa"], 70_000.0, 0.1);
    let message = &answer["messages"][0];
    assert_eq!((&message["format"], &message["station"]), (&json!("grib"), &json!("35, -106.5")));
    assert_eq!(message["based_on"]["utc"], "2026-11-10T00:00Z");
    assert_eq!(message["valid"]["utc"], "2026-11-10T06:00Z");
    assert_eq!((&answer["age_h"], &answer["wind"]["age"]), (&json!(7.5), &json!("7.5 h")), "its lead");
    assert_eq!(answer["wind"]["source"], "GRIB2 35, -106.5 valid 2026-11-10T06:00Z");
    assert_eq!(answer["site"], json!({"elevation": "5355 ft", "temperature": "18.2 C"}));
    // 0.04 deg of latitude, 0.12 deg of longitude at 35 deg: 4.4 km and 10.9 km.
    assert!(answer["assumed"].to_string().contains("grid point, 11.8 km away"), "{answer}");
    assert!(answer["skipped"].to_string().contains("1500 m above sea: at or below the field"), "{answer}");

    // An assessment takes it as it is.
    let mut asked = card();
    (asked["wind"], asked["site"]) = (answer["wind"].clone(), answer["site"].clone());
    let reply = service().send(json_request("/v1/assessments?dry_run=true", asked.to_string())).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
}

#[tokio::test]
async fn the_time_nearest_to_launch() {
    let grid = globe_cut();
    let mut fields = levels(grid.points, 3);
    fields.extend(levels(grid.points, 6));
    for (launch, valid) in [("04:29", "03:00"), ("04:31", "06:00"), ("09:00", "06:00")] {
        let query = format!("{ALBUQUERQUE}&launch_at=2026-11-10T{launch}:00Z");
        let answer = answer(&query, file(&grid, &fields)).await;
        assert_eq!(answer["messages"][0]["valid"]["utc"], format!("2026-11-10T{valid}Z"));
        assert!(answer["assumed"].to_string().contains("Of the 2 times"), "{answer}");
    }
    let reply = post(&service(), ALBUQUERQUE, file(&grid, &fields)).await;
    let problem = check_problem(&reply, 422, "invalid-input");
    assert!(problem["errors"][0]["problem"].as_str().unwrap().contains("2 times"), "{problem}");
    // Headings between messages, as transmissions have them.
    let mut spaced = b"WMO heading\r\r\n".to_vec();
    for field in levels(grid.points, 6) {
        spaced.extend(message(&grid, &field));
        spaced.extend(b"\r\r\nUGXX01\r\r\n");
    }
    assert_eq!(answer(ALBUQUERQUE, spaced).await["levels"].as_array().unwrap().len(), 4);
}

fn wind_along(grid: &Grid) -> Vec<u8> {
    let constant = |number, value| single(103, 10, 2, number, grid.points, value);
    file(grid, &[constant(2, 10.0), constant(3, 0.0)])
}

fn station(answer: &Value) -> [f64; 2] {
    let text = answer["messages"][0]["station"].as_str().unwrap();
    let (lat, lon) = text.split_once(", ").unwrap();
    [lat, lon].map(|t| t.parse().unwrap())
}

/// A cone that touches at 38.5 N about 262.5 E. Components along the grid are turned by n (lon - lon0) with n = sin 38.5
/// deg, as the centre that issues such grids publishes it (from memory; the same follows from Snyder, Map Projections: A
/// Working Manual, equations 15-1 to 15-5).
#[tokio::test]
async fn winds_along_a_cone_are_turned() {
    const TOUCHING: f64 = 38.5;
    const MERIDIAN: f64 = 262.5;
    const STEP_M: f64 = 60_000.0;
    const FIRST: [f64; 2] = [33.5, 251.0];
    let n = TOUCHING.to_radians().sin();
    for (flags, turned) in [(0b0000_1000, true), (0, false)] {
        let grid = lambert(FIRST, TOUCHING, MERIDIAN, STEP_M, [9, 8], flags);
        let answer = answer(ALBUQUERQUE, wind_along(&grid)).await;
        let [lat, lon] = station(&answer);
        let east_deg = lon.rem_euclid(360.0) - MERIDIAN;
        let angle_deg = if turned { n * east_deg } else { 0.0 };
        // Along x at 10 m/s: (cos, -sin) towards east and north; so it comes from 270 deg and the angle.
        near(&answer["levels"][0]["wind_from_deg"], 270.0 + angle_deg, 0.06);
        near(&answer["levels"][0]["wind_speed_m_s"], 10.0, 0.01);
        assert!(!turned || (-6.0..-5.0).contains(&angle_deg), "{angle_deg}");
        assert_eq!(answer["assumed"].to_string().contains("turned to north"), turned);
        // The point is one of the grid: whole steps from the first, by the spherical forward equations.
        let forward = |lat: f64, lon: f64| {
            let along = |lat: f64| (std::f64::consts::FRAC_PI_4 + lat.to_radians() / 2.0).tan();
            let rho = 6_371_229.0 * TOUCHING.to_radians().cos() / n * (along(TOUCHING) / along(lat)).powf(n);
            let theta = n * (lon - MERIDIAN).to_radians();
            [rho * theta.sin(), -rho * theta.cos()]
        };
        let ([x0, y0], [x, y]) = (forward(FIRST[0], FIRST[1]), forward(lat, lon.rem_euclid(360.0)));
        for steps in [(x - x0) / STEP_M, (y - y0) / STEP_M] {
            // Three decimals of a degree are 100 m.
            assert!((steps - steps.round()).abs() < 0.003 && (0.0..9.0).contains(&steps.round()), "{steps}");
        }
        let [px, py] = forward(35.04, 253.38);
        assert!((px - x).hypot(py - y) < STEP_M * std::f64::consts::FRAC_1_SQRT_2 * 1.01);
    }
}

/// With the south pole at 40 S 10 E the grid's y axis points to its north pole, 40 N 170 W: the bearing of the great
/// circle there, by spherical trigonometry.
#[tokio::test]
async fn winds_along_rotated_meridians_are_turned() {
    let grid = rotated(lat_lon([4.0, 0.0], [350.0, 359.0], [10, 5], 0b0011_1000), [-40.0, 10.0]);
    let answer = answer("latitude=51.5&longitude=0.0&field_elevation=10", wind_along(&grid)).await;
    let [lat, lon] = station(&answer).map(f64::to_radians);
    let (pole_lat, east) = (40_f64.to_radians(), (-170_f64).to_radians() - lon);
    let bearing =
        (east.sin() * pole_lat.cos()).atan2(lat.cos() * pole_lat.sin() - lat.sin() * pole_lat.cos() * east.cos());
    // Along x, 90 deg to the right of y; so it comes from 270 deg to the right.
    let from = (bearing.to_degrees() + 270.0).rem_euclid(360.0);
    near(&answer["levels"][0]["wind_from_deg"], from, 0.1);
    assert!((from - 270.0).abs() > 4.0, "{from}");
}

#[tokio::test]
async fn files_that_are_refused() {
    let grid = globe_cut();
    let points = grid.points;
    let good = file(&grid, &levels(points, 6));
    let with = |change: &dyn Fn(&mut Vec<u8>)| {
        let mut octets = good.clone();
        change(&mut octets);
        octets
    };
    let first = message(&grid, &levels(points, 6)[0]).len();
    let only = |fields: &[Field]| file(&grid, fields);
    let above = |at: f64| level(103, 10, 6, points, [at, 0.0], None);
    for (octets, problem) in [
        (Vec::new(), "there is no message, which begins with GRIB".to_string()),
        (b"PK\x03\x04 something else".to_vec(), "there is no message".into()),
        (good[..good.len() - 1].to_vec(), format!("message 12 (from octet {}) is cut off", good.len() - first)),
        (with(&|o| o[first + 7] = 1), format!("message 2 (from octet {first}) is of edition 1")),
        (with(&|o| o[8..16].fill(255)), "message 1 (from octet 0) is cut off".into()),
        // A grid of 4 thousand million points: octets 7 to 10 of section 3, which begins after 16 and 21 octets.
        (
            with(&|o| o[16 + 21 + 6..16 + 21 + 10].fill(255)),
            "message 1 (from octet 0) has a grid of 4294967295 points".into(),
        ),
        (only(&[single(100, 70_000, 3, 5, points, 3000.0)]), "no wind that is read".into()),
        (only(&level(100, 70_000, 6, points, [1.0, 2.0], None)), "no level of the file has a wind and a height".into()),
        (only(&above(1.0)[..1]), "no level of the file has a wind".into()),
        (only(&[above(1.0), above(1.0)].concat()), "message 3 (from octet".into()),
        (only(&above(200.0)), "a wind of the file is".into()),
    ] {
        let reply = post(&service(), ALBUQUERQUE, octets).await;
        let body = check_problem(&reply, 422, "invalid-input");
        let told = body["errors"][0]["problem"].as_str().unwrap();
        assert!(told.contains(&problem), "{told}, not {problem}");
        assert!(!body["errors"][0]["remedy"].as_str().unwrap().is_empty());
    }
    // Packings that claim more than the grid holds: groups of template 5.2 (octets 32 to 35), the size of a JPEG 2000 image
    // (SIZ), the number of values (octets 6 to 9). And one that is not read: IEEE floats.
    let u = &levels(points, 6)[0];
    let mut groups = vec![1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 255, 255, 255, 255];
    groups.extend([0; 12]);
    let mut image = vec![0xff, 0x4f, 0xff, 0x51, 0, 41, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0];
    image.extend([0; 40]);
    let mut count = message(&grid, u);
    count[16 + 21 + 72 + 34 + 5..][..4].fill(255);
    let more = "says that it holds more values than its grid has points";
    for (octets, problem) in [
        (grib::packed_as(&grid, u, 2, &groups, None), more),
        (grib::packed_as(&grid, u, 40, &[0, 255], Some(image)), more),
        (count, more),
        (grib::packed_as(&grid, u, 4, &[], None), "message 1 (from octet 0) cannot be"),
    ] {
        let body = check_problem(&post(&service(), ALBUQUERQUE, octets).await, 422, "invalid-input");
        let told = body["errors"][0]["problem"].as_str().unwrap();
        assert!(told.contains(problem), "{told}, not {problem}");
    }
    let far = post(&service(), "latitude=51.5&longitude=0&field_elevation=10", good.clone()).await;
    let far = check_problem(&far, 422, "invalid-input");
    assert!(far["errors"][0]["problem"].as_str().unwrap().contains("does not reach the place"), "{far}");
}

#[tokio::test]
async fn queries_and_bodies_that_are_refused() {
    let good = || file(&globe_cut(), &levels(globe_cut().points, 6));
    for (query, part) in [
        ("longitude=1&field_elevation=10", "latitude"),
        ("latitude=north&longitude=1&field_elevation=10", "latitude"),
        ("latitude=95&longitude=1&field_elevation=10", "latitude: it is 95; give -90 to 90 degrees"),
        ("latitude=NaN&longitude=1&field_elevation=10", "latitude: it is NaN"),
        ("latitude=35&longitude=-200&field_elevation=10", "longitude: it is -200"),
        ("latitude=35&longitude=1&field_elevation=high", "field_elevation: \"high\" does not begin with a number"),
        ("latitude=35&longitude=1&field_elevation=10&launch_at=noon", "launch_at: \"noon\" is no instant"),
        ("latitude=35&longitude=1&field_elevation=10&level=3", "level"),
        (&format!("{ALBUQUERQUE}&launch_at=2027-11-10T06:00:00Z"), "launch_at: age of the wind at launch is 8766 h"),
    ] {
        let problem = check_problem(&post(&service(), query, good()).await, 400, "invalid-query");
        assert!(problem["detail"].as_str().unwrap().contains(part), "{query}: {problem}");
    }
    let small = service_with(Config { grib_limit: 100, ..Config::default() }, Disk::default());
    let problem = check_problem(&post(&small, ALBUQUERQUE, good()).await, 413, "body-too-large");
    assert_eq!(problem["limit"], json!({"name": "grib_limit", "value": 100, "unit": "bytes"}));
    let uri = format!("/v1/weather/grib?{ALBUQUERQUE}");
    let problem = check_problem(&service().send(json_request(&uri, good())).await, 415, "unsupported-media-type");
    assert!(problem["detail"].as_str().unwrap().contains("application/octet-stream"), "{problem}");
    // Larger than a request in JSON may be.
    let wide = lat_lon([36.0, 26.0], [240.0, 260.0], [401, 401], 0);
    let constant = |level, category, number, value| single(103, level, category, number, wide.points, value);
    let large = file(&wide, &[constant(10, 2, 2, 4.0), constant(10, 2, 3, 0.0), constant(2, 0, 0, 291.0)]);
    assert!(large.len() > Config::default().body_limit);
    near(&answer(ALBUQUERQUE, large).await["levels"][0]["wind_from_deg"], 270.0, 0.01);
}
