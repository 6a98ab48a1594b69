//! Whole requests over a loopback socket: the service's own binary, a new connection and a new seed each time, so that
//! nothing is answered from what is stored.

use std::time::Instant;

use serde_json::{Value, json};
use slowpoint_sim::case::Inputs;
use slowpoint_sim::report::Report;
use slowpoint_tests::asked::{request, same};
use slowpoint_tests::served::Service;
use slowpoint_tests::whole::{case, on_threads};

/// Requests of each size.
const REQUESTS: u64 = 15;

/// Seconds from sending to the last byte, and the answer.
fn ask(service: &Service, body: &Value) -> Result<(f64, Value), String> {
    ask_long(service, "/v1/assessments", body)
}

/// Seconds until a job, if it is one, has its answer, and the answer.
fn ask_long(service: &Service, path: &str, body: &Value) -> Result<(f64, Value), String> {
    let (begin, client) = (Instant::now(), service.client());
    let mut reply = client.post(path, body)?;
    if let Some(job) = reply.json()["jobID"].as_str() {
        client.ended(job)?;
        reply = client.get(&format!("/v1/jobs/{job}/results"))?;
    }
    let seconds = begin.elapsed().as_secs_f64();
    if reply.status != 200 {
        return Err(reply.told());
    }
    Ok((seconds, reply.json()))
}

/// What the engine answers here.
fn engine(inputs: &Inputs, flights: u64, seed: u64) -> Report {
    let mut inputs = inputs.clone();
    inputs.question.seed = seed;
    on_threads(1, &case(inputs, flights))
}

/// Times requests for a card of the kind that `rockets` has, in a table.
pub fn requests(inputs: &Inputs) {
    println!();
    if let Err(reason) = measured(inputs) {
        println!("Requests over HTTP: not measured. {reason}");
    }
}

fn measured(inputs: &Inputs) -> Result<(), String> {
    let service = Service::start(&[])?;
    println!(
        "Whole requests over a loopback socket, a new connection and seed each, {REQUESTS} of each size, all cores:"
    );
    println!("  {:>9} {:>12} {:>12}", "flights", "median, ms", "best, ms");
    // Once without a clock, for what happens only once.
    ask(&service, &request(inputs, 64, 1))?;
    for flights in [256, 512, 1024] {
        let mut seconds = Vec::new();
        for k in 0..REQUESTS {
            let seed = 1_000_000 + flights * 100 + k;
            let (took, answer) = ask(&service, &request(inputs, flights, seed))?;
            seconds.push(took);
            if k == 0 {
                same(&engine(inputs, flights, seed), &answer)?;
            }
        }
        seconds.sort_by(f64::total_cmp);
        println!("  {flights:>9} {:>12.1} {:>12.1}", 1e3 * seconds[seconds.len() / 2], 1e3 * seconds[0]);
    }
    Ok(())
}

/// Flights of each setting of the sweep.
const SWEPT: u64 = 4000;

/// A whole day against its cards, and a sweep against all its settings flown to the end.
pub fn day_and_sweep(inputs: &Inputs) {
    println!();
    if let Err(reason) = days(inputs) {
        println!("A day and a sweep over HTTP: not measured. {reason}");
    }
}

fn days(inputs: &Inputs) -> Result<(), String> {
    const CARDS: u64 = 20;
    const FLIGHTS: u64 = 10_000;
    let service = Service::start(&[])?;
    let mut card = request(inputs, FLIGHTS, 1);
    card["delays"].as_array_mut().ok_or("no delays")?.truncate(5);
    let entry = |k: u64| {
        let mut own = card["card"].clone();
        own["airframe"]["mass"] = json!(format!("{} g", 600 + k));
        own
    };
    let mut day = card.clone();
    day["entries"] = (0..CARDS).map(|k| json!({"name": format!("card {k}"), "card": entry(k)})).collect();
    day.as_object_mut().ok_or("no object")?.remove("card");
    // The cards by themselves with another seed, so that nothing comes from the store.
    let mut alone_s = 0.0;
    for k in 0..CARDS {
        let mut one = card.clone();
        one["card"] = entry(k);
        one["seed"] = json!(2);
        alone_s += ask(&service, &one)?.0;
    }
    let (together_s, answer) = ask_long(&service, "/v1/days", &day)?;
    let answered = answer["entries"].as_array().into_iter().flatten().filter(|e| e["problem"].is_null()).count();
    println!(
        "A day of {CARDS} cards with 5 delays and {FLIGHTS} flights each ({answered} answered): {together_s:.1} s, {:.3} x the same cards one by one",
        together_s / alone_s
    );
    let swept = |question: Value| {
        let mut base = request(inputs, SWEPT, 1);
        let members = base.as_object_mut().ok_or("no object")?;
        members.remove("flights");
        members.extend(question.as_object().ok_or("no object")?.clone());
        // A day's wind, from a morning's breath to the afternoon and back.
        let hour = |k: u32| {
            let speed = 4.5 - 3.5 * f64::cos(core::f64::consts::TAU * (f64::from(k) - 3.0) / 24.0);
            let from = 180 + 5 * k;
            let surface = json!({"speed": speed, "direction": from, "measuring_height": 10});
            let layers = [(300, 1.6), (1200, 2.2)].map(|(height, factor)| {
                json!({"height_above_ground": height, "speed": factor * speed, "direction": from + 20})
            });
            json!({"label": format!("{k:02}:00"), "wind": {"surface": surface, "layers": layers}})
        };
        let axes = json!({
            "hours": (0..24).map(hour).collect::<Vec<_>>(),
            "tilts": (0..9).map(|k| 2.5 * f64::from(k)).collect::<Vec<_>>(),
        });
        ask_long(&service, "/v1/sweeps", &json!({"base": base, "axes": axes}))
    };
    let widest = |answer: &Value| {
        let limits = answer["cells"].as_array().into_iter().flatten();
        let limits = limits.flat_map(|c| c["delays"].as_array().into_iter().flatten());
        let limits = limits.flat_map(|d| d["limits"].as_array().into_iter().flatten());
        let number = |l: &Value, name: String| l[name].as_f64().unwrap_or(f64::NAN);
        limits
            .flat_map(|l| {
                ["over", "unsafe_opening"]
                    .map(|name| 0.5 * (number(l, format!("{name}_upper")) - number(l, format!("{name}_lower"))))
            })
            .fold(0.0, f64::max)
    };
    // The naive way with intervals at the same level as those of `until`: it is not to be narrow.
    let naive = json!({"until": {"half_width": "0.01 %", "within": SWEPT}});
    let (naive_s, naive) = swept(naive)?;
    let naive_widest = widest(&naive);
    let asked = json!({"until": {"half_width": naive_widest, "within": SWEPT}});
    let (ended_s, ended) = swept(asked)?;
    let flights = |answer: &Value| answer["flights"].as_f64().unwrap_or(f64::NAN);
    println!(
        "A sweep of 24 hours, 9 tilts and 8 delays, each setting flown {SWEPT} times: {naive_s:.1} s, widest half-width {:.2} points.",
        100.0 * naive_widest
    );
    println!(
        "  until no interval is wider: {:.1} % of those flights, {:.2} x the time, widest half-width {:.2} points",
        100.0 * flights(&ended) / flights(&naive),
        ended_s / naive_s,
        100.0 * widest(&ended)
    );
    Ok(())
}
