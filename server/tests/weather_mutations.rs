//! Damaged messages are read or refused, never a panic: published messages with characters changed, dropped, doubled or
//! swapped, from a fixed seed. `SLOWPOINT_WEATHER_MUTATIONS=1000000` tries as many as that.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::LazyLock;

use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use serde_json::{Value, json};
use slowpoint_server::wire::{self, FieldFault, Rejected};

const RUNS: &str = "SLOWPOINT_WEATHER_MUTATIONS";
const USUAL_RUNS: usize = 30_000;

const METARS: [&str; 6] = [
    "KBIL 162256Z 29017G27KT 10SM FEW070 SCT085 BKN110 M02/M02 A2961 RMK AO2 T10171022",
    "KABQ 100156Z 32010KT 280V340 10SM TS FEW033 BKN075CB OVC100 19/14 A2999",
    "SVVA 171100Z 00000KT 9999 FEW016 BKN250 21/19 Q1013 NOSIG",
    "METAR YUDO 221630Z 24004MPS 0600 R12/1000U DZ FG SCT010 OVC020 17/16 Q1018 BECMG TL1700 0800 FG=",
    "SPECI LOWI 210850Z AUTO /////KT //// // ////// 02/// Q////",
    "METAR COR KDCA 210855Z VRB03KT CAVOK 240P99KT",
];

const BULLETIN: &str = "\
DATA BASED ON 201200Z
VALID 201800Z   FOR USE 1400-2100Z. TEMPS NEG ABV 24000

FT  3000    6000    9000   12000   18000   24000  30000  34000  39000

ABQ              1912+16 2109+09 2419-04 2427-14 243230 232941 232850
AAA 9900 9900+03 2435+07 3600-00 7799-10 8600-24 274650 731960 750456
";

/// The published TTAA of Albany and the balloon of WMO-No. 306, with invented significant levels.
const SOUNDINGS: [&str; 3] = [
    "TTAA 81001 72518 99030 08863 33004 00263 10464 34016 92904 04461 00518 85585 00079 01526 70138 04182 32526 50572 17372 31549 \
     40736 28766 31052 88192 64957 28579 77182 28581 41314 51515 10164",
    "PPBB 8100/ 72518 9226/ 27025 28030 9329/ ///// 29035=",
    "TTAA 81001 72518 99030 08863 33004 00263 10464 34016 92904 04461 00518 85585 00079 01526 70138 04182 32526 88999 77999=\n\
     TTBB 8100/ 72518 00030 08863 11015 09862 22870 01300 33/// ///// 44720 03380 21212 00030 33004 11960 35512 22780 33520 51515 \
     10164=\nPPBB 8100/ 72518 90024 33508 35014 00020 9057/ 00522 33526=",
];

const TABLES: [&str; 3] = [
    "height_above_ground ft, direction deg, speed kt\n1000, 240, 12\n3000, 260, 20\n",
    "Speed (kt);Height MSL [m];Wind direction;remark\r\n20;3000;260;x\r\n12;1000;240;\r\n",
    "agl_ft speed_kt direction_deg temperature_C\n1000 12 240 -5\n3000 20 260 //",
];

/// A coverage with three heights and two times, invented.
const COVERAGE: &str = r#"{"type": "Coverage", "domain": {"type": "Domain", "axes": {"x": {"values": [1]}, "y": {"start": 2, "stop": 2, "num": 1},
"z": {"values": [1000, 850, 700]}, "t": {"values": ["2026-11-25T12:00:00Z", "2026-11-25T18:00:00Z"]}}, "referencing": [{"coordinates": ["z"],
"system": {"type": "VerticalCRS", "cs": {"csAxes": [{"name": {"en": "Pressure"}, "unit": {"symbol": "hPa"}}]}}}]}, "parameters":
{"eastward_wind": {"unit": {"symbol": {"value": "m.s-1"}}}, "northward_wind": {"unit": {"symbol": "m/s"}}, "geopotential_height":
{"unit": {"symbol": "m"}}, "air_temperature": {"unit": {"symbol": "K"}}}, "ranges": {"eastward_wind": {"type": "NdArray", "axisNames":
["t", "z"], "shape": [2, 3], "values": [1, 2, 3, 4, 5, 6]}, "northward_wind": {"type": "NdArray", "axisNames": ["z", "t"], "shape": [3, 2],
"values": [1, 2, 3, null, -5, 6]}, "geopotential_height": {"type": "NdArray", "axisNames": ["z"], "shape": [3], "values": [110, 1460, 3010]},
"air_temperature": {"type": "NdArray", "axisNames": ["t", "z"], "shape": [2, 3], "values": [288, 278, 268, 289, 279, 269]}}}"#;

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
