//! What a job costs against what its price says: cards that cost very different amounts, of which hardly one may be stopped for
//! having cost more, and none twice.

use serde_json::{Value, json};
use slowpoint_tests::cpu_s;
use slowpoint_tests::served::Service;
use tempfile::TempDir;

use crate::Size;
use crate::cards::{card, day, sweep};
use crate::table::Table;

const ASSESSMENTS: &str = "/v1/assessments";

/// What is asked for, so many flights of it.
type Kind = (&'static str, &'static str, fn(u64) -> Value);

const KINDS: &[Kind] = &[
    ("a card", ASSESSMENTS, |flights| card(1, flights)),
    ("half its mass", ASSESSMENTS, |flights| with(flights, |card| card["card"]["airframe"]["mass"] = json!("0.3 kg"))),
    ("twice its mass", ASSESSMENTS, |flights| with(flights, |card| card["card"]["airframe"]["mass"] = json!("1.2 kg"))),
    ("to the stratosphere", ASSESSMENTS, stratosphere),
    ("turning over", ASSESSMENTS, turning_over),
    ("in a strong wind", ASSESSMENTS, |flights| {
        with(flights, |card| card["wind"]["surface"]["speed"] = json!("14 m/s"))
    }),
    ("of 26 delays", ASSESSMENTS, |flights| with(flights, |card| card["delays"] = (1..27).map(Value::from).collect())),
    ("with drivers", ASSESSMENTS, |flights| with(flights / 16, |card| card["drivers"] = json!(flights / 16))),
    ("with other winds and rails", ASSESSMENTS, |flights| {
        with(flights / 16, |card| card["advise"] = json!(["wind_limit", "rail"]))
    }),
    ("with cords", ASSESSMENTS, corded),
    ("until it is narrow enough", ASSESSMENTS, |flights| {
        with(flights, |card| {
            card["until"] = json!({"half_width": "0.01 %", "within": flights});
            card["flights"] = Value::Null;
        })
    }),
    ("a day", "/v1/days", |flights| day(1, flights / 8, 8)),
    ("a day of unlike cards", "/v1/days", |flights| {
        let mut day = day(1, flights / 4, 4);
        for (k, like) in [stratosphere(1), turning_over(1)].iter().enumerate() {
            day["entries"][k]["card"] = like["card"].clone();
        }
        day
    }),
    ("a day of which every fifth is dear", "/v1/days", |flights| {
        let mut day = day(1, flights / 20, 20);
        for k in (4..20).step_by(5) {
            day["entries"][k]["card"] = stratosphere(1)["card"].clone();
        }
        day
    }),
    ("a sweep of unlike cards", "/v1/sweeps", |flights| {
        let mut sweep = sweep(1, flights / 72, 8);
        let card = |k: u64| if k == 8 { stratosphere(1) } else { card(1, 1) };
        sweep["axes"]["cards"] =
            (0..9).map(|k| json!({"label": format!("card {k}"), "card": card(k)["card"]})).collect();
        sweep
    }),
    ("a sweep", "/v1/sweeps", |flights| sweep(1, flights / 8, 8)),
    ("a sweep of many settings", "/v1/sweeps", |flights| {
        let mut sweep = sweep(1, 64, 20);
        let azimuths = (flights / 64 / 20).clamp(1, 45);
        sweep["axes"]["azimuths"] = (0..azimuths).map(|k| Value::from(8 * k)).collect();
        sweep
    }),
];

fn with(flights: u64, change: impl FnOnce(&mut Value)) -> Value {
    let mut card = card(1, flights);
    change(&mut card);
    card
}

/// On the four cords of the example.
fn corded(flights: u64) -> Value {
    with(flights, |card| {
        let example: Value =
            serde_json::from_str(include_str!("../../../../server/examples/tube-edge.json")).unwrap_or_default();
        card["cords"] = example["cords"].clone();
    })
}

/// Over 20 km, at more than twice the speed of sound.
fn stratosphere(flights: u64) -> Value {
    with(flights, |card| {
        let motor = &mut card["card"]["motor"];
        motor["thrust_curve"] = json!([[0.0, 0.0], [0.1, 1800.0], [5.0, 1500.0], [6.0, 0.0]]);
        motor["propellant_mass"] = json!("3.5 kg");
        card["card"]["airframe"]["mass"] = json!("6 kg");
    })
}

/// Hardly stable, in a strong wind: many turn over.
fn turning_over(flights: u64) -> Value {
    with(flights, |card| {
        card["card"]["airframe"]["centre_of_pressure"] = json!("0.551 m");
        card["wind"]["surface"]["speed"] = json!("12 m/s");
    })
}

pub fn tried(size: Size, table: &mut Table) -> Result<(), String> {
    let flights = size.of(20_000, 100_000, 500_000);
    let data = TempDir::new().map_err(|e| e.to_string())?;
    // Fewer than that are computed at once, and have no such bound.
    let serve = || Service::start_on(data.path(), &["--inline-flights", "1"], &[]);
    let mut service = serve()?;
    service.ready_s()?;
    let (mut stopped, mut ids, mut once_more) = (Vec::new(), Vec::new(), 0);
    for (what, path, body) in KINDS {
        let (body, client) = (body(flights), service.client());
        let priced = client.post(&format!("{path}?dry_run=true"), &body)?;
        let estimated_s = priced.json()["estimated_core_s"].as_f64().ok_or_else(|| priced.told())?;
        let ran_s = || cpu_s(service.process()).ok_or("the system does not tell how long the service ran");
        let before_s = ran_s()?;
        let fly = || {
            let reply = client.post_job(path, &body)?;
            let id = reply.json()["jobID"].as_str().map(String::from).ok_or_else(|| reply.told())?;
            let ended = client.ended(&id)?;
            let why = client.get(&format!("/v1/jobs/{id}/results"))?;
            let over = ended == "failed" && why.json()["type"] == "/problems/compute-limit";
            Ok::<_, String>((ended, id, over))
        };
        let (ended, id, over) = fly()?;
        let took_s = ran_s()? - before_s;
        table.told(&format!("{what}: core-seconds estimated, taken"), format!("{estimated_s:.2} {took_s:.2}"));
        table.told(&format!("{what}: taken over estimated"), format!("{:.2}", took_s / estimated_s));
        ids.push((what, id));
        // A machine that others use has another pace from one moment to the next: who is stopped for it asks once more.
        let last = if over { fly()?.0 } else { ended };
        once_more += usize::from(over);
        stopped.extend((last != "successful").then(|| format!("{what}: {last}")));
    }
    table.at_most("jobs that were stopped at first", once_more, 1);
    table.none("jobs that did not come to their answer", &stopped);
    table.no_panic(&service);

    // One that has taken a hundred times its estimate before its last turn.
    let (path, body) = ("/v1/days", day(2, flights, 8));
    let reply = service.client().post_job(path, &body)?;
    let id = reply.json()["jobID"].as_str().map(String::from).ok_or_else(|| reply.told())?;
    service.end();
    let turns = service.lines_with("a job's turn is over", usize::MAX);
    for (what, id) in ids {
        let last = turns.iter().rfind(|line| line.contains(&id));
        let of = |name: &str| -> Option<f64> { last?.split_once(name)?.1.split(' ').next()?.parse().ok() };
        let share = of(" core_ms=").zip(of(" most_core_ms=")).map(|(took, most)| format!("{:.2}", took / most));
        let share = share.unwrap_or_else(|| "not told".into());
        table.told(&format!("{what}: core time until its last piece, of what it is stopped at"), share);
    }
    let db = rusqlite::Connection::open(data.path().join("slowpoint.db")).map_err(|e| e.to_string())?;
    let changed = db.execute("UPDATE jobs SET core_ms = 100 * most_core_ms WHERE id = ?1 AND open", [&id]);
    changed.map_err(|e| e.to_string())?;
    drop(db);
    let service = serve()?;
    service.ready_s()?;
    let failed = usize::from(service.client().ended(&id)? == "failed");
    table.count("control: a job that took a hundred times its estimate is stopped", failed, 1);
    Ok(())
}
