//! The same question to the engine, as inputs, and to the service, as a client would write it.

use serde_json::{Value, json};
use slowpoint_sim::aero::Drag;
use slowpoint_sim::case::{Device, Inputs, ThrustInput};
use slowpoint_sim::report::Report;
use slowpoint_sim::wind::Direction;

use crate::counting::told;

/// Fails unless the service answered what the engine did.
pub fn same(report: &Report, answer: &Value) -> Result<(), String> {
    for (k, told) in told(report).iter().enumerate() {
        let over = &answer["delays"][told.way]["limits"][k % report.ways[told.way].limits.len()]["over"];
        let off = over["estimate"].as_f64().map_or(f64::INFINITY, |estimate| (estimate - told.chance).abs());
        // Answers are printed to six digits.
        if off > 1e-5 {
            return Err(format!("the service answered another question: {over}, and the engine {told:?}"));
        }
    }
    Ok(())
}

/// The card as a client would write it.
pub fn request(inputs: &Inputs, flights: u64, seed: u64) -> Value {
    let Inputs { airframe, motor, recovery, launch, site, wind, question, .. } = inputs;
    let m = |x: f64| format!("{x} m");
    let kg = |x: f64| format!("{x} kg");
    let m_s = |x: f64| format!("{x} m/s");
    let rad = |x: f64| format!("{x} rad");
    let (ThrustInput::Curve(curve), Some(Drag::Coefficient(drag)), Device::Parachute { diameter_m, .. }) =
        (&motor.thrust, &airframe.drag, recovery.first)
    else {
        panic!("a card with a curve, a drag coefficient and a parachute")
    };
    let (Some(surface), None) = (wind.surface, wind.gustiness) else { panic!("a card with a surface wind") };
    let Direction::From(from_rad) = surface.direction else { panic!("a card with a wind direction") };
    let layers: Vec<_> = wind
        .layers
        .iter()
        .map(|l| {
            json!({
                "height_above_ground": m(l.height_above_ground_m), "speed": m_s(l.speed_m_s),
                "direction": rad(l.direction_from_rad),
            })
        })
        .collect();
    json!({
        "card": {
            "name": "Speed (invented)",
            "airframe": {
                "diameter": m(airframe.diameter_m), "length": m(airframe.length_m), "mass": kg(airframe.mass_kg),
                "centre_of_gravity": m(airframe.centre_of_gravity_m),
                "centre_of_pressure": airframe.centre_of_pressure_m.map(m),
                "normal_force_slope": airframe.normal_force_slope_per_rad, "drag_coefficient": drag,
            },
            "motor": {
                "thrust_curve": curve, "propellant_mass": motor.propellant_kg.map(kg),
                "diameter": motor.diameter_m.map(m), "length": motor.length_m.map(m),
            },
            "recovery": { "first": { "kind": "parachute", "diameter": m(diameter_m) } },
        },
        "launch": {
            "rail_length": m(launch.rail_length_m), "tilt": launch.tilt_rad.map(rad),
            "azimuth": launch.azimuth_rad.map(rad),
        },
        "site": {
            "latitude": site.latitude_rad.map(rad), "elevation": site.elevation_m.map(m),
            "temperature": site.temperature_k.map(|k| format!("{k} K")),
        },
        "wind": {
            "surface": {
                "speed": m_s(surface.speed_m_s), "direction": rad(from_rad),
                "measuring_height": m(surface.measuring_height_m),
            },
            "layers": layers,
        },
        "delays": question.ways.iter().filter_map(|way| way.motor_delay_s).collect::<Vec<_>>(),
        "limits": { "deploy_speed": question.limits_m_s.iter().copied().map(m_s).collect::<Vec<_>>() },
        "flights": flights,
        "seed": seed,
    })
}
