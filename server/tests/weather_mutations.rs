//! Damaged messages are read or refused, never a panic: published messages with characters changed, dropped, doubled or
//! swapped, from a fixed seed. `SLOWPOINT_WEATHER_MUTATIONS=1000000` tries as many as that.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

#[path = "support/messages.rs"]
mod messages;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::LazyLock;

use messages::{BULLETIN, COVERAGE, METARS, SOUNDINGS, TABLES};
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use serde_json::{Value, json};
use slowpoint_server::wire::{self, FieldFault, Rejected};

const RUNS: &str = "SLOWPOINT_WEATHER_MUTATIONS";
const USUAL_RUNS: usize = 30_000;

/// What was answered to some of them, an ensemble among it.
static ANSWERS: LazyLock<Vec<String>> = LazyLock::new(|| {
    let members = json!([{"layers": TABLES[0]}, {"sounding": SOUNDINGS[1]}]);
    let requests = [
        json!({"date": "2026-11-25", "metar": METARS[1], "winds_aloft": BULLETIN, "station": "ABQ", "field_elevation": "5355 ft"}),
        json!({"date": "2026-11-25", "sounding": SOUNDINGS[2]}),
        json!({"date": "2026-11-25", "metar": METARS[0], "members": members, "field_elevation": "5355 ft"}),
    ];
    let answered = |request: Value| match wire::decode_weather(request.to_string().as_bytes()) {
        Ok(answer) => serde_json::to_string(&answer).unwrap(),
        Err(rejected) => panic!("{rejected:?}"),
    };
    requests.into_iter().map(answered).collect()
});

/// A document with its text damaged, as far as that is still JSON.
fn damaged_document(text: &str, rng: &mut ChaCha8Rng) -> Value {
    (0..20).find_map(|_| serde_json::from_str(&damaged(text, rng)).ok()).unwrap_or(Value::Bool(true))
}

/// Characters that messages are made of, and some that they are not.
const LETTERS: &[char] = &[
    '0', '1', '2', '3', '5', '6', '7', '9', 'A', 'Q', 'G', 'V', 'K', 'T', 'M', 'P', 'S', 'Z', '/', '/', '=', '+', '-',
    '.', ',', ' ', '\n', '\t', '\r', '(', '[', '\u{0}', 'é', '°', '\u{feff}', '\u{2028}', '٣', '𝟙',
];

fn damaged(text: &str, rng: &mut ChaCha8Rng) -> String {
    let mut chars: Vec<char> = text.chars().collect();
    for _ in 0..rng.random_range(1..=2) {
        if chars.is_empty() {
            break;
        }
        let at = rng.random_range(0..chars.len());
        let other = rng.random_range(0..chars.len());
        let letter = LETTERS[rng.random_range(0..LETTERS.len())];
        match rng.random_range(0..7) {
            0 | 1 => chars[at] = letter,
            2 => chars.insert(at, letter),
            3 => drop(chars.remove(at)),
            4 => chars.swap(at, other),
            5 => chars.truncate(at),
            _ => {
                let (from, until) = (at.min(other), at.max(other));
                let part = chars[from..until.min(from + 12)].to_vec();
                chars.splice(from..from, part);
            }
        }
    }
    chars.into_iter().collect()
}

/// A request with one or two damaged messages.
fn request(rng: &mut ChaCha8Rng) -> Value {
    let mut body = json!({"date": "2026-11-25"});
    let [table, metar] = [TABLES[rng.random_range(0..TABLES.len())], METARS[rng.random_range(0..METARS.len())]];
    match rng.random_range(0..9) {
        8 => {
            let collection = format!(r#"{{"type": "CoverageCollection", "coverages": [{COVERAGE}, {COVERAGE}]}}"#);
            body["coverage"] = damaged_document(&collection, rng);
        }
        7 => {
            let mut members = [METARS[0], metar].map(|text| json!({"metar": text, "layers": table}));
            let name = if rng.random_bool(0.5) { "metar" } else { "layers" };
            members[1][name] = damaged(members[1][name].as_str().unwrap(), rng).into();
            body["members"] = json!(members);
        }
        6 => body["decoded"] = damaged_document(&ANSWERS[rng.random_range(0..ANSWERS.len())], rng),
        5 => body["coverage"] = damaged_document(COVERAGE, rng),
        4 => body["sounding"] = damaged(SOUNDINGS[rng.random_range(0..SOUNDINGS.len())], rng).into(),
        0 => body["metar"] = damaged(metar, rng).into(),
        1 => {
            body["winds_aloft"] = damaged(BULLETIN, rng).into();
            body["station"] = if rng.random_bool(0.5) { "AAA" } else { "KABQ" }.into();
        }
        2 => body["layers"] = damaged(table, rng).into(),
        _ => {
            body["metar"] = damaged(metar, rng).into();
            body["layers"] = damaged(table, rng).into();
        }
    }
    if rng.random_bool(0.5) {
        body["field_elevation"] = "5355 ft".into();
    }
    if rng.random_bool(0.3) {
        body["launch_at"] = "2026-11-25T17:30:00Z".into();
    }
    body
}

/// What holds for every answer.
fn check_answer(answer: &Value, whole: bool) {
    let members = answer["members"].as_array().into_iter().flatten();
    for level in [answer].into_iter().chain(members).flat_map(|part| part["levels"].as_array().unwrap()) {
        let within = |name: &str, least: f64, most: f64| {
            let good = level[name].as_f64().is_none_or(|x| (least..=most).contains(&x));
            assert!(good, "{name} of {level}");
        };
        within("wind_speed_m_s", 0.0, 120.0);
        within("gust_m_s", level["wind_speed_m_s"].as_f64().unwrap_or(0.0), 120.0);
        within("wind_from_deg", 0.0, 360.0);
        within("wind_varies_from_deg", 0.0, 360.0);
        within("wind_varies_to_deg", 0.0, 360.0);
        within("temperature_c", -100.0, 60.0);
        // A sounding says up to 49 below the temperature; one that was answered may say anything above absolute zero.
        within("dew_point_c", -273.15, level["temperature_c"].as_f64().unwrap_or(99.0));
        within("height_above_ground_m", 0.5, 30_000.0);
    }
    // Which heights above sea lie above the field cannot be told without its elevation.
    let members = answer["members"].as_array().into_iter().flatten();
    let mut levels = [answer].into_iter().chain(members).flat_map(|part| part["levels"].as_array().unwrap());
    let placed = levels.all(|l| !l["height_above_ground_m"].is_null());
    if let Some(wind) = answer.get("wind").filter(|_| whole && placed) {
        let mut card: Value = serde_json::from_str(include_str!("../examples/first-flight.json")).unwrap();
        card["wind"] = wind.clone();
        card["site"] = answer["site"].clone();
        if let Err(rejected) = wire::read(card.to_string().as_bytes()) {
            panic!("{wind} was not taken: {rejected:?}");
        }
    }
}

/// What holds for every refusal: the group that is shown stands where it is said to stand.
fn check_fault(body: &Value, fault: &FieldFault) {
    assert!(!fault.problem.is_empty() && !fault.remedy.is_empty(), "{fault:?}");
    if fault.pointer.starts_with("/coverage") || fault.pointer.starts_with("/decoded") {
        // What is missing has no place yet; all else has.
        assert!(body.pointer(&fault.pointer).is_some() || fault.problem == "it is missing", "{fault:?}");
        return;
    }
    let Some(text) = body.pointer(&fault.pointer).and_then(Value::as_str) else {
        panic!("{fault:?} is at no message");
    };
    let Some(place) = fault.problem.split_once("(line ").filter(|_| !fault.pointer.ends_with("/layers")) else {
        return;
    };
    let (line, rest) = place.1.split_once(", column ").unwrap();
    let (column, rest) = rest.split_once("), \"").unwrap();
    let shown = rest.split_once('"').unwrap().0;
    if shown.contains('\\') || shown.ends_with("...") {
        return;
    }
    let text = text.trim_start_matches('\u{feff}').to_ascii_uppercase();
    let line = text.lines().nth(line.parse::<usize>().unwrap() - 1).unwrap();
    let there: String = line.chars().skip(column.parse::<usize>().unwrap() - 1).collect();
    assert!(there.starts_with(shown), "{fault:?}: {there:?} stands there");
}

#[test]
fn damaged_messages_are_read_or_refused() {
    let runs = std::env::var(RUNS).map_or(USUAL_RUNS, |n| n.parse().unwrap());
    let mut rng = ChaCha8Rng::seed_from_u64(17);
    let (mut read, mut refused) = (0, 0);
    for run in 0..runs {
        let body = request(&mut rng);
        let tried = catch_unwind(AssertUnwindSafe(|| match wire::decode_weather(body.to_string().as_bytes()) {
            Ok(answer) => {
                check_answer(&serde_json::to_value(&answer).unwrap(), run % 16 == 0);
                true
            }
            Err(Rejected::Faults(faults)) => {
                assert!(!faults.is_empty());
                faults.iter().for_each(|fault| check_fault(&body, fault));
                false
            }
            Err(Rejected::NotJson(e)) => panic!("{e}"),
        }));
        match tried {
            Ok(true) => read += 1,
            Ok(false) => refused += 1,
            Err(_) => panic!("run {run}: {body}"),
        }
    }
    println!("{runs} damaged messages: {read} read, {refused} refused");
    assert!(read > runs / 10 && refused > runs / 10, "{read} read, {refused} refused");
}
