//! The README shows the answers that the program really gives.

mod support;

use std::path::Path;
use std::sync::atomic::AtomicBool;

use serde_json::Value;
use slowpoint_server::config::ENGINE;
use slowpoint_server::id::ContentId;
use slowpoint_server::render::terminal;
use slowpoint_server::wire::{self, Assessment, Figure, Rejected};
use support::example;

/// Set to write the blocks instead of comparing them.
const RENEW: &str = "SLOWPOINT_RENEW_README";

fn answer(request: &Value) -> Assessment {
    let Ok(asked) = wire::read(request.to_string().as_bytes()) else { panic!("the request has faults: {request}") };
    let id = ContentId::of(ENGINE, &asked.canonical());
    let Some(report) = slowpoint_sim::assess(&asked.case, &AtomicBool::new(false)) else { panic!("stopped") };
    wire::answer(id.as_str(), ENGINE, &asked, &report)
}

/// A part of an example's answer on the terminal, without the id, which changes with every engine.
fn part(request: &Value, from: Option<&str>, until: &str) -> String {
    let table = terminal::table(&answer(request));
    let start = from.map_or(0, |from| table.find(from).unwrap_or_else(|| panic!("no \"{from}\"")));
    let end = table[start..].find(until).map_or(table.len(), |i| start + i);
    let lines = table[start..end].trim_end().lines();
    lines.map(|l| l.split(" Id ").next().unwrap_or(l).trim_end()).collect::<Vec<_>>().join("\n")
}

/// The first example in a steady wind, with the gusts of its report, and with those of a rougher day.
fn gusts() -> String {
    let mut lines = vec![
        format!("{:28}{:>22}{:>24}{:>12}", "", "angle of attack at the", "delay 9 s over", "lands 95 %"),
        format!("{:28}{:>22}{:>24}{:>12}", "gusts", "rail, 5 % beyond, deg", "35 mph (15.6 m/s)", "within, m"),
    ];
    for (name, field, value) in [
        ("off", "turbulence", "off"),
        ("as reported: 8 mph", "turbulence", "report"),
        ("of 15 kt at 20 ft: light", "turbulence_wind_at_20_ft", "15 kt"),
        ("of 30 kt at 20 ft: moderate", "turbulence_wind_at_20_ft", "30 kt"),
    ] {
        let mut request = example("first-flight.json");
        request["wind"][field] = value.into();
        let answer = answer(&request);
        let figure = |x: Option<Figure>, places: usize| {
            x.and_then(Figure::rounded).map_or("-".into(), |x| format!("{x:.places$}"))
        };
        let Some(nine) = answer.delays.iter().find(|d| d.label == "delay 9 s") else { panic!("no delay of 9 s") };
        lines.push(format!(
            "{name:28}{:>22}{:>24}{:>12}",
            figure(answer.rail.map(|r| r.angle_of_attack_deg.p95), 1),
            nine.limits[0].over.text,
            figure(nine.landing.as_ref().map(|l| l.distance_m.p95), 0),
        ));
    }
    lines.join("\n")
}

/// The example of weather, decoded: what goes into an assessment, and the sentences beside it.
fn weather() -> String {
    let request = example("weather/albuquerque.json");
    let Ok(answer) = wire::decode_weather(request.to_string().as_bytes()) else { panic!("{request} has faults") };
    let parts = [
        ("wind", serde_json::json!(answer.wind)),
        ("site", answer.site),
        ("assumed", answer.assumed.into()),
        ("skipped", answer.skipped.into()),
    ];
    let lines = parts.map(|(name, part)| {
        let Ok(text) = serde_json::to_string_pretty(&part) else { panic!("{part} is no JSON") };
        format!("\"{name}\": {text}")
    });
    lines.join(",\n")
}

/// The same with a letter for a digit, refused.
fn damaged_weather() -> String {
    let mut request = example("weather/albuquerque.json");
    request["metar"] = request["metar"].as_str().unwrap_or_default().replace("32010KT", "320l0KT").into();
    match wire::decode_weather(request.to_string().as_bytes()) {
        Err(Rejected::Faults(faults)) if faults.len() == 1 => {
            format!("{}: {}.\n{}.", faults[0].pointer, faults[0].problem, faults[0].remedy)
        }
        other => panic!("{other:?}"),
    }
}

/// An example answered over HTTP.
async fn posted(path: &str, name: &str) -> Value {
    let reply = support::service().send(support::json_request(path, example(name).to_string())).await;
    assert_eq!(reply.status, 200, "{}", reply.text());
    reply.json()
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or("-")
}

fn list(value: &Value) -> impl Iterator<Item = &Value> {
    value.as_array().into_iter().flatten()
}

/// A row a flight and delay, with the best delay between those asked and the reasons to hold.
async fn day() -> String {
    let answer = posted("/v1/days", "days/meadow.json").await;
    let mut lines = vec![format!("{:22}{:12}{:14}unsafe opening at 60 mph", "flight", "", "")];
    for row in list(&answer["entries"]) {
        let flight = &row["flight"];
        for (k, delay) in list(&flight["delays"]).enumerate() {
            let name = if k == 0 { text(&row["name"]) } else { "" };
            let chance = text(&delay["limits"][1]["unsafe_opening"]["text"]);
            lines.push(format!("{name:22}{:12}{:14}{chance}", text(&delay["label"]), text(&delay["standing"])));
        }
        let between = &flight["advice"]["between"];
        let best = between["best_delay_s"].as_f64().unwrap_or(f64::NAN);
        let meets: Vec<String> = list(&between["meets"])
            .map(|s| [&s["from_s"], &s["to_s"]].map(|x| format!("{:.1}", x.as_f64().unwrap_or(f64::NAN))).join(" to "))
            .collect();
        let held: Vec<&str> = list(&flight["hold"]).map(|h| text(&h["topic"])).collect();
        let mut topics: Vec<&str> = Vec::new();
        held.into_iter().for_each(|topic| {
            if !topics.contains(&topic) {
                topics.push(topic)
            }
        });
        lines.push(format!("  best {best:.1} s; {} s meet the condition", meets.join(" and ")));
        lines.push(format!("  look at: {}", topics.join(", ")));
    }
    lines.join("\n")
}

/// What a sweep comes to, its best choices, and an hour by its tilts.
async fn sweep() -> String {
    let answer = posted("/v1/sweeps", "sweeps/meadow.json").await;
    let mut lines = vec![text(&answer["text"]).to_string(), String::new()];
    lines.extend(list(&answer["conditions"]).map(|c| format!("{} of 126: {}", c["met_by"], text(&c["text"]))));
    lines.push(String::new());
    lines.push(format!("{:32}{:26}{}", "best", "unsafe opening", "outside every field"));
    for choice in list(&answer["best"]).take(4) {
        let [opening, outside] = [0, 1].map(|k| text(&choice["chances"][k]["text"]));
        lines.push(format!("{:32}{opening:26}{outside}", text(&choice["text"])));
    }
    lines.push(String::new());
    lines.push(format!("{} flights of {} that were allowed", answer["flights"], answer["flights_at_most"]));
    lines.join("\n")
}

#[tokio::test]
async fn readme_shows_the_answers_of_the_program() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md");
    let Ok(mut readme) = std::fs::read_to_string(&path) else { panic!("no README") };
    const MOVES: &str = "\nIf the model is off";
    const CAUTIONS: &str = "\nCautions";
    let [first, sounding] = ["first-flight.json", "sounding.json"].map(example);
    let mut driven = sounding.clone();
    driven["drivers"] = 1024.into();
    let corded = example("tube-edge.json");
    let mut ending = first.clone();
    ending["flights"] = Value::Null;
    ending["until"] = serde_json::json!({"half_width": "1 %", "within": 20_000});
    for (block, text) in [
        ("answer: first-flight.json", part(&first, None, MOVES)),
        ("answer: sounding.json", part(&sounding, None, MOVES)),
        ("until: first-flight.json", part(&ending, Some("Example one"), "\nMedians")),
        ("gusts: first-flight.json", gusts()),
        ("failures: first-flight.json", part(&first, Some("If something fails"), CAUTIONS)),
        ("weather: albuquerque.json", weather()),
        ("weather: a damaged group", damaged_weather()),
        ("day: meadow.json", day().await),
        ("sweep: meadow.json", sweep().await),
        ("drivers: sounding.json", part(&driven, Some("What drives it"), CAUTIONS)),
        ("cords: tube-edge.json", part(&corded, Some("Shock cord and tube edge"), CAUTIONS)),
    ] {
        let mark = format!("<!-- {block} -->\n```text\n");
        let Some(start) = readme.find(&mark).map(|i| i + mark.len()) else { panic!("no block for {block}") };
        let Some(end) = readme[start..].find("```").map(|i| i + start) else { panic!("open block for {block}") };
        let text = format!("{text}\n");
        if std::env::var_os(RENEW).is_some() {
            readme.replace_range(start..end, &text);
        } else {
            assert_eq!(readme[start..end], text, "renew with {RENEW}=1 cargo test -p slowpoint-server --test readme");
        }
    }
    if std::env::var_os(RENEW).is_some() && std::fs::write(&path, readme).is_err() {
        panic!("cannot write the README");
    }
}
