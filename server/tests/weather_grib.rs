//! GRIB2 files over HTTP. No file of a model is at hand: files are built by the published octet tables (`support/grib.rs`)
//! and read by a library that knows nothing of them.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

#[path = "support/grib.rs"]
mod grib;

use axum::body::Body;
use axum::http::{Method, Request, header};
use grib::{
    Field, Grid, file, gaussian, lambert, lat_lon, level, mercator, message, of_member, polar, rotated, with_octets,
};
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
    let values = vec![value; points as usize];
    Field { category, number, surface, level, hours_ahead: 6, values, product: 0, more: Vec::new() }
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
    let [lat, lon] = [lat, lon].map(|t| t.parse::<f64>().unwrap());
    [lat, lon.rem_euclid(360.0)]
}

/// Radius of the sphere of code table 3.2, 6, m.
const SPHERE_M: f64 = 6_371_229.0;

/// The point found is one of the grid, whole steps from the first on the plane, and no other is nearer.
#[track_caller]
fn on_the_plane(answer: &Value, forward: impl Fn(f64, f64) -> [f64; 2], first: [f64; 2], place: [f64; 2], step_m: f64) {
    let [lat, lon] = station(answer);
    let ([x0, y0], [x, y], [px, py]) = (forward(first[0], first[1]), forward(lat, lon), forward(place[0], place[1]));
    for steps in [(x - x0) / step_m, (y - y0) / step_m] {
        // Three decimals of a degree are 100 m.
        assert!((steps - steps.round()).abs() < 0.003 && (0.0..9.0).contains(&steps.round()), "{steps}");
    }
    assert!((px - x).abs().max((py - y).abs()) < 0.5 * step_m * 1.03, "{} {}", px - x, py - y);
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
        let east_deg = station(&answer)[1] - MERIDIAN;
        let angle_deg = if turned { n * east_deg } else { 0.0 };
        // Along x at 10 m/s: (cos, -sin) towards east and north; so it comes from 270 deg and the angle.
        near(&answer["levels"][0]["wind_from_deg"], 270.0 + angle_deg, 0.06);
        near(&answer["levels"][0]["wind_speed_m_s"], 10.0, 0.01);
        assert!(!turned || (-6.0..-5.0).contains(&angle_deg), "{angle_deg}");
        assert_eq!(answer["assumed"].to_string().contains("turned to north"), turned);
        // By the spherical forward equations.
        let forward = |lat: f64, lon: f64| {
            let along = |lat: f64| (std::f64::consts::FRAC_PI_4 + lat.to_radians() / 2.0).tan();
            let rho = SPHERE_M * TOUCHING.to_radians().cos() / n * (along(TOUCHING) / along(lat)).powf(n);
            let theta = n * (lon - MERIDIAN).to_radians();
            [rho * theta.sin(), -rho * theta.cos()]
        };
        on_the_plane(&answer, forward, FIRST, [35.04, 253.38], STEP_M);
    }
}

/// A cone that cuts at 30 and 60 degrees, north or south, whichever is written first. Snyder, equations 15-1 to 15-3.
#[tokio::test]
async fn either_parallel_of_a_cone_may_come_first() {
    const STEP_M: f64 = 60_000.0;
    for (south, parallels, first, query) in [
        (1.0, [30.0, 60.0], [33.5, 251.0], ALBUQUERQUE),
        (1.0, [60.0, 30.0], [33.5, 251.0], ALBUQUERQUE),
        (-1.0, [-30.0, -60.0], [-36.5, 251.0], "latitude=-35.04&longitude=-106.62&field_elevation=10"),
        (-1.0, [-60.0, -30.0], [-36.5, 251.0], "latitude=-35.04&longitude=-106.62&field_elevation=10"),
    ] {
        let degrees = |d: f64| ((d.abs() * 1e6) as u32 | if d < 0.0 { 1 << 31 } else { 0 }).to_be_bytes();
        let grid = lambert(first, 45.0 * south, 262.5, STEP_M, [9, 8], 0b0000_1000);
        let grid = with_octets(&grid, 66, &parallels.map(degrees).concat());
        let answer = answer(query, wind_along(&grid)).await;
        let along = |lat: f64| (std::f64::consts::FRAC_PI_4 + lat.to_radians() / 2.0).tan();
        let [cut, other] = parallels.map(f64::to_radians);
        let n = (cut.cos() / other.cos()).ln() / (along(parallels[1]) / along(parallels[0])).ln();
        let forward = |lat: f64, lon: f64| {
            let rho = SPHERE_M * cut.cos() / n * (along(parallels[0]) / along(lat)).powf(n);
            let theta = n * (lon - 262.5).to_radians();
            [rho * theta.sin(), -rho * theta.cos()]
        };
        on_the_plane(&answer, forward, first, [35.04 * south, 253.38], STEP_M);
        near(&answer["levels"][0]["wind_from_deg"], 270.0 + n * (station(&answer)[1] - 262.5), 0.06);
    }
}

/// A plane about a pole, on a sphere and on WGS 84. Snyder, equations 21-5 to 21-12, 21-33, 21-34 and 15-9; there the
/// meridians turn by the whole difference of longitude.
#[tokio::test]
async fn winds_on_a_polar_plane_are_turned() {
    const STEP_M: f64 = 60_000.0;
    let wgs = |grid: &Grid| with_octets(grid, 15, &[5]);
    for (pole, meridian, first, query, spheroid) in [
        (1.0, 249.0, [33.0, 251.5], ALBUQUERQUE, false),
        (1.0, 249.0, [33.0, 251.5], ALBUQUERQUE, true),
        (1.0, 0.0, [33.0, 255.0], ALBUQUERQUE, false),
        (-1.0, 249.0, [-37.0, 251.5], "latitude=-35.04&longitude=-106.62&field_elevation=10", false),
        (-1.0, 249.0, [-37.0, 251.5], "latitude=-35.04&longitude=-106.62&field_elevation=10", true),
    ] {
        let grid = polar(first, 60.0 * pole, meridian, STEP_M, [9, 8], 0b0000_1000);
        let grid = if spheroid { wgs(&grid) } else { grid };
        let answer = answer(query, wind_along(&grid)).await;
        let forward = |lat: f64, lon: f64| {
            let (phi, east) = ((lat * pole).to_radians(), (lon - meridian).to_radians());
            let (sin_c, cos_c) = 60_f64.to_radians().sin_cos();
            let t = |sin: f64, phi: f64, e: f64| {
                let plain = (std::f64::consts::FRAC_PI_4 - phi / 2.0).tan();
                plain / ((1.0 - e * sin) / (1.0 + e * sin)).powf(e / 2.0)
            };
            let (a_m, e) = if spheroid { (6_378_137.0, 0.081_819_191) } else { (SPHERE_M, 0.0) };
            let m = cos_c / (1.0 - (e * sin_c).powi(2)).sqrt();
            let rho = a_m * m * t(phi.sin(), phi, e) / t(sin_c, 60_f64.to_radians(), e);
            [rho * east.sin(), -pole * rho * east.cos()]
        };
        on_the_plane(&answer, forward, first, [35.04 * pole, 253.38], STEP_M);
        let from_deg = (270.0 + pole * (station(&answer)[1] - meridian)).rem_euclid(360.0);
        near(&answer["levels"][0]["wind_from_deg"], from_deg, 0.06);
    }
}

/// Mercator's plane. Snyder, equations 7-1 and 7-2; x runs eastward everywhere.
#[tokio::test]
async fn winds_on_mercators_plane_stay() {
    const STEP_M: f64 = 60_000.0;
    const FIRST: [f64; 2] = [33.5, 251.0];
    let scale_m = SPHERE_M * 20_f64.to_radians().cos();
    let forward = |lat: f64, lon: f64| [scale_m * lon.to_radians(), scale_m * lat.to_radians().tan().asinh()];
    let [x0, y0] = forward(FIRST[0], FIRST[1]);
    let back = |x: f64, y: f64| [(y / scale_m).sinh().atan().to_degrees(), (x / scale_m).to_degrees()];
    let last = back(x0 + 8.0 * STEP_M, y0 + 7.0 * STEP_M);
    let grid = mercator(FIRST, last, 20.0, STEP_M, [9, 8], 0b0000_1000);
    let answer = answer(ALBUQUERQUE, wind_along(&grid)).await;
    on_the_plane(&answer, forward, FIRST, [35.04, 253.38], STEP_M);
    near(&answer["levels"][0]["wind_from_deg"], 270.0, 0.06);
}

/// Gaussian latitudes are those whose sines are the roots of a Legendre polynomial. Of the eighth: 0.183434642495650,
/// 0.525532409916329, 0.796666477413627, 0.960289856497536 (Abramowitz and Stegun, table 25.4).
#[tokio::test]
async fn points_of_a_gaussian_grid() {
    let latitudes = [0.183_434_642_495_650, 0.525_532_409_916_329, 0.796_666_477_413_627, 0.960_289_856_497_536]
        .map(|sine: f64| sine.asin().to_degrees());
    let highest = latitudes[3];
    let grid = gaussian([highest, -highest], [0.0, 337.5], [16, 8], 4);
    for (k, latitude) in latitudes.into_iter().enumerate() {
        for (north, sign) in [(1.0, ""), (-1.0, "-")] {
            let query = format!("latitude={sign}{:.1}&longitude=250&field_elevation=10", latitude);
            let answer = answer(&query, wind_along(&grid)).await;
            let [lat, lon] = station(&answer);
            assert!((lat - north * latitude).abs() < 6e-4 && (lon - 247.5).abs() < 1e-9, "{k}: {lat} {lon}");
        }
    }
}

/// The radius of the Earth is the same with and without decimal places, in km or as the axes of a spheroid.
#[tokio::test]
async fn the_earth_in_other_units() {
    let grid = lambert([33.5, 251.0], 38.5, 262.5, 60_000.0, [9, 8], 0b0000_1000);
    let plain = answer(ALBUQUERQUE, wind_along(&grid)).await;
    let number = |factor: u8, value: u32| [&[factor][..], &value.to_be_bytes()].concat();
    let missing = vec![255; 5];
    for (shape, [radius, major, minor]) in [
        (1, [number(0, 6_371_229), missing.clone(), missing.clone()]),
        (1, [number(2, 637_122_900), missing.clone(), missing.clone()]),
        (3, [missing.clone(), number(3, 6_371_229), number(3, 6_371_229)]),
        (7, [missing.clone(), number(1, 63_712_290), number(2, 637_122_900)]),
    ] {
        let other = with_octets(&grid, 15, &[vec![shape], radius, major, minor].concat());
        let answer = answer(ALBUQUERQUE, wind_along(&other)).await;
        assert_eq!((station(&answer), &answer["wind"]), (station(&plain), &plain["wind"]), "{shape}");
    }
    for (shape, radius) in [(1, number(0, 6_371)), (1, missing.clone()), (1, number(0x81, 6_371_229))] {
        let other = with_octets(&grid, 15, &[vec![shape], radius].concat());
        let reply = post(&service(), ALBUQUERQUE, wind_along(&other)).await;
        let body = check_problem(&reply, 422, "invalid-input");
        assert!(body["errors"][0]["problem"].as_str().unwrap().contains("an Earth with a radius of"), "{body}");
    }
}

/// What would be placed wrongly is refused by its name.
#[tokio::test]
async fn grids_that_are_refused() {
    let plain = globe_cut();
    let turned = rotated(lat_lon([4.0, 0.0], [350.0, 359.0], [10, 5], 0b0011_1000), [-40.0, 10.0]);
    let plane = polar([33.0, 251.5], 60.0, 249.0, 60_000.0, [9, 8], 0);
    let globe = gaussian([73.8, -73.8], [0.0, 337.5], [16, 8], 4);
    let of = |template: u16| Grid { template, ..plain.clone() };
    for (grid, problem) in [
        (gaussian([73.8, 10.6], [0.0, 337.5], [16, 4], 4), "has 4 of the 8 rows of a Gaussian grid"),
        (gaussian([89.9, -89.9], [0.0, 180.0], [2, 4_000_000], 2_000_000), "2000000 rows between a pole"),
        (with_octets(&globe, 31, &[255; 4]), "has a reduced grid"),
        (with_octets(&plain, 31, &[0, 0, 0, 1]), "has a grid of 1 by 4 points"),
        (with_octets(&plain, 35, &[0, 0, 0, 1]), "has a grid of 6 by 1 points"),
        (with_octets(&plain, 39, &[0, 0, 0, 180]), "a unit of its own"),
        (with_octets(&turned, 81, &30_f32.to_be_bytes()), "turned about its new pole"),
        // 10 W with a sign, 35 S in two's complement.
        (with_octets(&plain, 51, &(10_000_000_u32 | 1 << 31).to_be_bytes()), "octets 51 to 54 are no longitude"),
        (with_octets(&plain, 47, &(-35_000_000_i32).to_be_bytes()), "octets 47 to 50 are no latitude"),
        (with_octets(&plane, 64, &[0b0100_0000]), "about both poles"),
        (with_octets(&plane, 15, &[255]), "has a grid that is not read"),
        (of(140), "template 3.140 (Lambert's azimuthal"),
        (of(101), "template 3.101 (triangles"),
        (of(12), "template 3.12, which is not read"),
    ] {
        let field = |number| single(103, 10, 2, number, if grid.points > 1000 { 8 } else { grid.points }, 4.0);
        let reply = post(&service(), ALBUQUERQUE, file(&grid, &[field(2), field(3)])).await;
        let body = check_problem(&reply, 422, "invalid-input");
        let told = body["errors"][0]["problem"].as_str().unwrap();
        assert!(told.contains(problem), "{told}, not {problem}");
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

/// Product template 4.1: the control and two perturbations (code table 4.6), in whatever order, each with its own heights.
#[tokio::test]
async fn members_of_an_ensemble() {
    let grid = globe_cut();
    let member = |kind, number, speed: f64, height: f64| {
        let mut fields = level(103, 10, 6, grid.points, [speed - NEAREST / 10.0, 0.0], None);
        fields.extend(level(100, 70_000, 6, grid.points, [2.0 * speed - NEAREST / 10.0, 0.0], Some(height)));
        of_member(&fields, kind, number)
    };
    let (third, first, control) = (member(3, 2, 9.0, 3100.0), member(2, 1, 7.0, 3050.0), member(1, 0, 5.0, 3000.0));
    let all = file(&grid, &[third.clone(), control, first].concat());
    let launch = format!("{ALBUQUERQUE}&launch_at=2026-11-10T07:30:00Z");
    let answer = answer(&launch, all).await;
    let members = answer["members"].as_array().unwrap();
    let seen: Vec<_> = members
        .iter()
        .map(|m| {
            let figure = |level: usize, name: &str| m["levels"][level][name].as_f64().unwrap();
            assert_eq!(m["levels"].as_array().unwrap().len(), 2);
            assert_eq!(m["messages"][0]["valid"]["utc"], "2026-11-10T06:00Z");
            (
                m["messages"][0]["member"].as_str().unwrap(),
                figure(0, "wind_speed_m_s"),
                figure(1, "wind_speed_m_s"),
                figure(1, "height_above_sea_m"),
            )
        })
        .collect();
    assert_eq!(
        seen,
        [
            ("control", 5.0, 10.0, 3000.0),
            ("negative perturbation 1", 7.0, 14.0, 3050.0),
            ("positive perturbation 2", 9.0, 18.0, 3100.0)
        ]
    );
    assert_eq!((&answer["levels"], answer["messages"].as_array().unwrap().len()), (&json!([]), 1));
    let speeds: Vec<_> = (0..3).map(|k| answer["wind"]["members"][k]["surface"]["speed"].clone()).collect();
    assert_eq!(speeds, ["5 m/s", "7 m/s", "9 m/s"]);
    assert_eq!(answer["wind"]["source"], "3 members: GRIB2 35, -106.5 valid 2026-11-10T06:00Z");
    assert_eq!((&answer["age_h"], &answer["wind"]["age"]), (&json!(7.5), &json!("7.5 h")));
    let mut asked = card();
    (asked["wind"], asked["site"]) = (answer["wind"].clone(), answer["site"].clone());
    let reply = service().send(json_request("/v1/assessments?dry_run=true", asked.to_string())).await;
    assert_eq!(reply.status, 200, "{}", reply.text());

    // One member is a forecast like any other.
    let alone = self::answer(ALBUQUERQUE, file(&grid, &third)).await;
    assert_eq!(alone["messages"][0]["member"], "positive perturbation 2");
    assert!(alone["members"].is_null() && alone["wind"]["members"].is_null(), "{alone}");
    near(&alone["levels"][0]["wind_speed_m_s"], 9.0, 0.01);
}

/// What is no wind of one hour at one height is passed over, and said.
#[tokio::test]
async fn means_are_no_winds() {
    let grid = globe_cut();
    let good = levels(grid.points, 6);
    let other = level(103, 10, 6, grid.points, [30.0, 30.0], None);
    for template in [2_u16, 8, 11, 12] {
        let mean =
            other.iter().cloned().map(|f| Field { product: template, more: vec![0; 30], ..f }).collect::<Vec<_>>();
        let answer = answer(ALBUQUERQUE, file(&grid, &[mean.clone(), good.clone()].concat())).await;
        near(&answer["levels"][0]["wind_speed_m_s"], 5.0, 0.01);
        assert!(answer["skipped"].to_string().contains(&format!("templates 4.{template}: means")), "{answer}");
        let body = check_problem(&post(&service(), ALBUQUERQUE, file(&grid, &mean)).await, 422, "invalid-input");
        assert!(body["errors"][0]["problem"].as_str().unwrap().contains("no wind that is read"), "{body}");
    }
    // From 10 m to 100 m above ground: octets 29 to 34 of section 4 are the second surface.
    let mut layer = message(&grid, &other[0]);
    let at = 16 + 21 + 72 + 29 - 1;
    layer[at..at + 6].copy_from_slice(&[103, 0, 0, 0, 0, 100]);
    let answer = answer(ALBUQUERQUE, [layer, file(&grid, &good)].concat()).await;
    near(&answer["levels"][0]["wind_speed_m_s"], 5.0, 0.01);
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
        (
            only(&[of_member(&above(1.0), 3, 1), of_member(&above(200.0), 3, 2)].concat()),
            // 200 m/s at the first point and 0.1 m/s more from point to point.
            "a wind of the file is 201.4 m/s (positive perturbation 2)".into(),
        ),
        (only(&[above(1.0), of_member(&above(1.0), 3, 1)].concat()), "winds beside them that are no member's".into()),
        (only(&[of_member(&above(1.0), 3, 1), of_member(&above(1.0), 3, 1)].concat()), "message 3 (from octet".into()),
        (
            only(&above(1.0).into_iter().map(|f| Field { product: 1, ..f }).collect::<Vec<_>>()),
            "message 1 (from octet 0)".into(),
        ),
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
