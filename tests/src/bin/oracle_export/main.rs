//! Prints what the oracles of `tests/oracle/` check, as one JSON object a line:
//! `oracle_export flights 60` (drawn worlds and what the engine made of them) or `oracle_export tables`
//! (air, statistics, zones). Called by `tests/oracle/run`.

mod flights;
mod statistics;
mod zones;

use std::process::ExitCode;

use serde_json::{Value, json};
use slowpoint_sim::air;
use slowpoint_sim::constants::{
    EARTH_ECCENTRICITY_SQUARED, EARTH_FLATTENING, EARTH_GRAVITY_RATIO, EARTH_ROTATION_RAD_S, EARTH_SEMI_MAJOR_M,
};
use slowpoint_sim::flight::Gravity;
use slowpoint_sim::plane::{Plane, Position};

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["flights", count] if count.parse::<u64>().is_ok() => {
            flights::rows(count.parse().unwrap_or(0), &mut |row| println!("{row}"));
        }
        ["tables"] => {
            let all = air_rows()
                .into_iter()
                .chain(gravity_rows())
                .chain(plane_rows())
                .chain(statistics::rows())
                .chain(zones::rows());
            all.for_each(|row| println!("{row}"));
        }
        _ => {
            eprintln!("usage: oracle_export flights COUNT | oracle_export tables");
            return ExitCode::FAILURE;
        }
    }
    ExitCode::SUCCESS
}

/// The standard atmosphere at geometric heights from sea level to the top of the model.
fn air_rows() -> Vec<Value> {
    (0..=190)
        .map(|k| {
            let height_m = f64::from(k) * 100.0;
            let at = air::standard(air::geopotential_m(height_m));
            json!({
                "kind": "air", "height_m": height_m, "temperature_k": at.temperature_k, "pressure_pa": at.pressure_pa,
                "density_kg_m3": at.density_kg_m3, "speed_of_sound_m_s": at.speed_of_sound_m_s,
                "viscosity_pa_s": at.dynamic_viscosity_pa_s(),
            })
        })
        .collect()
}

/// The ellipsoid, and normal gravity over latitude and height of the field, and its fall above the field.
fn gravity_rows() -> Vec<Value> {
    let mut rows = vec![json!({
        "kind": "ellipsoid", "semi_major_m": EARTH_SEMI_MAJOR_M, "flattening": EARTH_FLATTENING,
        "eccentricity_squared": EARTH_ECCENTRICITY_SQUARED, "gravity_ratio": EARTH_GRAVITY_RATIO,
        "rotation_rad_s": EARTH_ROTATION_RAD_S,
    })];
    for latitude_deg in (-90..=90).step_by(15) {
        for elevation_m in [0.0, 300.0, 3000.0] {
            let gravity = Gravity::normal(f64::from(latitude_deg).to_radians(), elevation_m);
            for above_m in [0.0, 1000.0, 10_000.0] {
                rows.push(json!({
                    "kind": "gravity", "latitude_deg": latitude_deg, "height_m": elevation_m + above_m,
                    "gravity_m_s2": gravity.at(above_m),
                }));
            }
        }
    }
    rows
}

/// Places about origins all over the Earth, there and back.
fn plane_rows() -> Vec<Value> {
    let mut rows = Vec::new();
    for (k, latitude_deg) in (-90..=90).step_by(10).enumerate() {
        let origin = Position {
            latitude_rad: f64::from(latitude_deg).to_radians(),
            longitude_rad: (37.0 * k as f64 - 180.0).to_radians(),
        };
        let plane = Plane::new(origin);
        for place_m in [[0.0, 0.0], [120.0, -75.0], [-1500.0, 900.0], [-8000.0, -6000.0], [30_000.0, 40_000.0]] {
            let at = plane.position(place_m);
            rows.push(json!({
                "kind": "plane", "origin_deg": [origin.latitude_rad.to_degrees(), origin.longitude_rad.to_degrees()],
                "place_m": place_m, "at_deg": [at.latitude_rad.to_degrees(), at.longitude_rad.to_degrees()],
                "back_m": plane.local_m(at),
            }));
        }
    }
    rows
}
