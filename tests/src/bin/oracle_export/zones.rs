//! Areas on the ground with points in and out of them, and landing regions with the points they hold.

use core::f64::consts::{FRAC_1_SQRT_2, TAU};

use serde_json::{Value, json};
use slowpoint_sim::case::Outline;
use slowpoint_sim::stat::cloud::Cloud;
use slowpoint_sim::stat::normal;
use slowpoint_sim::stat::outline::Polygon;

use crate::statistics::golden;

const FIRST: f64 = 0.754_877_666_246_692_8;
const SECOND: f64 = 0.569_840_290_998_053_3;

/// Every row.
pub fn rows() -> Vec<Value> {
    let mut rows: Vec<Value> = (1..=24).map(polygon).collect();
    rows.extend((1..=6).map(circle));
    rows.extend((1..=6).map(patches));
    rows.extend([(true, 400), (true, 5000), (false, 400), (false, 5000)].map(|(bent, flights)| region(bent, flights)));
    rows
}

/// Points spread evenly over a square about the pad.
fn points(first: u32, count: u32, half_width_m: f64) -> Vec<[f64; 2]> {
    (first..first + count)
        .map(|k| [FIRST, SECOND].map(|irrational| half_width_m * (2.0 * golden(k, irrational) - 1.0)))
        .collect()
}

fn inside(outline: &Outline, points: &[[f64; 2]]) -> Vec<bool> {
    points.iter().map(|p| outline.contains(p[0], p[1])).collect()
}

/// A star-shaped polygon: corners at rising angles, at distances that jump, so most are concave. Every second one
/// runs clockwise.
fn polygon(which: u32) -> Value {
    let corners = 3 + which % 11;
    let mut outline: Vec<[f64; 2]> = (0..corners)
        .map(|k| {
            let angle = TAU * (f64::from(k) + 0.8 * golden(97 * which + k, SECOND)) / f64::from(corners);
            let distance = 40.0 + 200.0 * golden(31 * which + k, FIRST);
            [30.0 + distance * libm::sin(angle), -15.0 + distance * libm::cos(angle)]
        })
        .collect();
    if which.is_multiple_of(2) {
        outline.reverse();
    }
    let points = points(1 + 1000 * which, 1000, 260.0);
    let area = Outline::Polygon(outline.clone());
    json!({"kind": "polygon", "corners_m": outline, "points_m": points, "inside": inside(&area, &points)})
}

/// Two patches of wavy outline, the first with two gaps.
fn patches(which: u32) -> Value {
    let ring = |place: [f64; 2], radius_m: f64, corners: u32, back: bool| -> Vec<(f64, f64)> {
        let at = |k: u32| {
            let angle = TAU * f64::from(k % corners) / f64::from(corners);
            let reach = radius_m * (1.0 + 0.2 * libm::cos(f64::from(2 + which) * angle));
            (place[0] + reach * libm::cos(angle), place[1] + reach * libm::sin(angle))
        };
        if back { (0..=corners).rev().map(at).collect() } else { (0..=corners).map(at).collect() }
    };
    let corners = 5 + 7 * which;
    let holes = vec![ring([-140.0, 20.0], 30.0, corners, true), ring([-60.0, -20.0], 25.0, 4, true)];
    let patches = [
        Polygon { exterior: ring([-100.0, 0.0], 110.0, corners, false), holes },
        Polygon { exterior: ring([150.0, -60.0], 60.0, corners, false), holes: Vec::new() },
    ];
    let told: Vec<_> = patches.iter().map(|p| json!({"exterior": p.exterior, "holes": p.holes})).collect();
    let points = points(1 + 1000 * which, 1000, 260.0);
    let area = Outline::Patches(patches.to_vec());
    json!({
        "kind": "patches", "patches_m": told, "points_m": points, "inside": inside(&area, &points),
        "area_m2": area.area_m2(),
    })
}

fn circle(which: u32) -> Value {
    let (centre_m, radius_m) = ([20.0 * f64::from(which), -35.0], 30.0 * f64::from(which));
    let points = points(1 + 1000 * which, 1000, 260.0);
    let area = Outline::Circle { centre_m, radius_m };
    json!({
        "kind": "circle", "centre_m": centre_m, "radius_m": radius_m, "points_m": points,
        "inside": inside(&area, &points),
    })
}

/// A landing cloud, slanted or bent like a banana, and its regions.
fn region(bent: bool, flights: u32) -> Value {
    let mut cloud = Cloud::new(4.0);
    let landings: Vec<[f64; 2]> = (1..=flights)
        .map(|k| {
            let [u, v] = [FIRST, SECOND].map(|irrational| normal::quantile(golden(k, irrational)));
            let (along, across) = (120.0 * u, 25.0 * v + if bent { 60.0 * u * u } else { 0.0 });
            [200.0 + FRAC_1_SQRT_2 * (along - across), -80.0 + FRAC_1_SQRT_2 * (along + across)]
        })
        .collect();
    landings.iter().for_each(|p| cloud.add(p[0], p[1]));
    let shares = [0.5, 0.9, 0.95, 0.99];
    let regions = shares.map(|share| {
        let (Some(region), Some(ellipse)) = (cloud.region(share), cloud.ellipse(share)) else {
            panic!("a cloud of {flights} has a region")
        };
        let outline: Vec<_> =
            region.outline.iter().map(|p| json!({"exterior": p.exterior, "holes": p.holes})).collect();
        json!({
            "share": share, "held": region.share_held, "area_m2": region.area_m2, "outline": outline,
            "in_ellipse": landings.iter().filter(|p| ellipse.contains(p[0], p[1])).count(),
        })
    });
    let covariance = cloud.covariance().map(|c| [[c.east_m2, c.cross_m2], [c.cross_m2, c.north_m2]]);
    json!({
        "kind": "region", "landings_m": landings, "regions": regions, "mean_m": cloud.mean(),
        "covariance_m2": covariance,
    })
}
