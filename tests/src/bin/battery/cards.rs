//! What is posted: invented cards, each another by its seed.

use serde_json::{Value, json};

/// An invented card, flown so many times.
pub fn card(seed: u64, flights: u64) -> Value {
    json!({
        "card": {
            "name": "Battery rocket, invented",
            "airframe": {
                "diameter": "54 mm", "length": "0.9 m", "mass": "620 g",
                "centre_of_gravity": "0.55 m", "centre_of_pressure": "0.68 m",
                "normal_force_slope": 10.0, "drag_coefficient": 0.6
            },
            "motor": {
                "thrust_curve": [[0.0, 0.0], [0.05, 30.0], [0.3, 22.0], [1.6, 18.0], [1.8, 0.0]],
                "propellant_mass": "25 g", "diameter": "24 mm", "length": "70 mm"
            },
            "recovery": { "first": { "kind": "parachute", "diameter": "60 cm" } }
        },
        "launch": { "rail_length": "1.2 m" },
        "wind": { "surface": { "speed": "4 m/s", "direction": 270, "measuring_height": "2 m" }, "terrain": "open" },
        "delays": [4, 7],
        "flights": flights,
        "seed": seed,
    })
}

/// A day of some flights of that card.
pub fn day(seed: u64, flights: u64, entries: u64) -> Value {
    let card = card(seed, flights);
    let entry = |k: u64| json!({"name": format!("flight {k}"), "card": card["card"], "delays": [4 + k]});
    json!({
        "entries": (0..entries).map(entry).collect::<Vec<_>>(),
        "launch": card["launch"], "wind": card["wind"], "flights": flights, "seed": seed,
    })
}

/// A sweep of that card over some tilts.
pub fn sweep(seed: u64, flights: u64, tilts: u64) -> Value {
    json!({"base": card(seed, flights), "axes": {"tilts": (0..tilts).collect::<Vec<_>>()}})
}

/// Work of each kind in turn, as its path and its body: pieces of some 20 to 100 ms of two cores.
pub fn work(number: u64) -> (&'static str, Value) {
    match number % 3 {
        0 => ("/v1/days", day(number, 256, 5)),
        1 => ("/v1/sweeps", sweep(number, 1024, 6)),
        _ => ("/v1/assessments", card(number, 1024)),
    }
}
