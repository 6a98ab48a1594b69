//! How bodies are changed: as JSON, so that most stay JSON, for a part of the runs as octets.

use libfuzzer_sys::fuzzer_mutate;
use rand::rngs::ChaCha8Rng;
use rand::seq::{IndexedRandom, IteratorRandom};
use rand::{RngExt, SeedableRng};
use serde_json::{Map, Value, json};

use crate::Door;
use crate::known::KNOWN;

/// A text that is changed by its octets may grow by so many.
const GROWTH: usize = 64;
/// Stands for what no value of JSON can be.
const MARK: &str = "@place";

/// Changes what is tried; its new length.
pub fn changed(data: &mut [u8], size: usize, most: usize, seed: u32) -> usize {
    let mut rng = ChaCha8Rng::seed_from_u64(seed.into());
    let tried = Door::of(&data[..size]).filter(|(door, _)| *door != Door::File && rng.random_bool(0.9));
    let text = tried.and_then(|(door, body)| {
        let mut body: Value = serde_json::from_slice(body).ok()?;
        for _ in 0..[1, 1, 2, 3].choose(&mut rng).copied().unwrap_or(1) {
            change(&mut body, &mut rng);
        }
        Some((door, written(body, &mut rng)))
    });
    match text {
        Some((door, text)) if text.len() < most => put(data, door, text.as_bytes()),
        _ => fuzzer_mutate(data, size, most),
    }
}

/// Puts a part of one body in the place of another's.
pub fn crossed(one: &[u8], other: &[u8], out: &mut [u8], seed: u32) -> usize {
    let mut rng = ChaCha8Rng::seed_from_u64(seed.into());
    let read =
        |tried| Door::of(tried).and_then(|(door, body)| Some((door, serde_json::from_slice::<Value>(body).ok()?)));
    if let (Some((door, mut body)), Some((_, from))) = (read(one), read(other)) {
        let at = place(&body, &mut rng);
        let same: Vec<String> = places(&from).into_iter().filter(|from| name(from) == name(&at)).collect();
        let part = same.choose(&mut rng).and_then(|at| from.pointer(at));
        if let (Some(here), Some(part)) = (body.pointer_mut(&at), part) {
            *here = part.clone();
        }
        let text = body.to_string();
        if text.len() < out.len() {
            return put(out, door, text.as_bytes());
        }
    }
    let length = one.len().min(out.len());
    out[..length].copy_from_slice(&one[..length]);
    length
}

fn put(data: &mut [u8], door: Door, body: &[u8]) -> usize {
    data[0] = door.letter();
    data[1..=body.len()].copy_from_slice(body);
    1 + body.len()
}

/// A name as a part of a pointer (RFC 6901).
fn escaped(name: &str) -> String {
    name.replace('~', "~0").replace('/', "~1")
}

/// The pointers of all values, the whole first.
fn places(body: &Value) -> Vec<String> {
    let mut all = vec![String::new()];
    let mut next = 0;
    while let Some(at) = all.get(next).cloned() {
        next += 1;
        match body.pointer(&at) {
            Some(Value::Object(members)) => {
                all.extend(members.keys().map(|name| format!("{at}/{}", escaped(name))));
            }
            Some(Value::Array(items)) => all.extend((0..items.len()).map(|k| format!("{at}/{k}"))),
            _ => {}
        }
    }
    all
}

/// A place: any of all, or from the whole inwards, so that long lists do not take every turn.
fn place(body: &Value, rng: &mut ChaCha8Rng) -> String {
    if rng.random_bool(0.5) {
        return places(body).choose(rng).cloned().unwrap_or_default();
    }
    let (mut at, mut here) = (String::new(), body);
    loop {
        let inside = match here {
            Value::Object(members) => members.iter().choose(rng).map(|(name, member)| (escaped(name), member)),
            Value::Array(items) => items.iter().enumerate().choose(rng).map(|(k, item)| (k.to_string(), item)),
            _ => None,
        };
        match inside {
            Some((name, member)) if rng.random_bool(0.85) => {
                at = format!("{at}/{name}");
                here = member;
            }
            _ => return at,
        }
    }
}

/// The name of the member that a pointer leads to, or to a part of whose list.
fn name(pointer: &str) -> &str {
    pointer.rsplit('/').find(|name| name.parse::<usize>().is_err()).unwrap_or_default()
}

fn change(body: &mut Value, rng: &mut ChaCha8Rng) {
    let (at, from) = (place(body, rng), place(body, rng));
    let elsewhere = body.pointer(&from).cloned().unwrap_or_default();
    let Some(here) = body.pointer_mut(&at) else { return };
    match rng.random_range(0..16) {
        0 => *here = of_another_kind(rng),
        1 => *here = elsewhere,
        2 | 3 => *here = KNOWN.value(name(&at), rng),
        _ => match here {
            Value::Null => *here = KNOWN.value(name(&at), rng),
            Value::Bool(yes) => *yes = !*yes,
            Value::Number(number) => *here = another(number.as_f64().unwrap_or_default(), rng),
            Value::String(text) => *text = reworded(text, rng),
            Value::Array(items) => relist(items, name(&at), rng),
            Value::Object(members) => regroup(members, rng),
        },
    }
}

fn of_another_kind(rng: &mut ChaCha8Rng) -> Value {
    let some = [
        json!(null),
        json!(true),
        json!([]),
        json!({}),
        json!([[[[1]]]]),
        json!(""),
        json!("1 m"),
        json!(0),
        json!(MARK),
    ];
    some.choose(rng).cloned().unwrap_or_default()
}

fn another(number: f64, rng: &mut ChaCha8Rng) -> Value {
    const ENDS: [f64; 18] = [
        0.0,
        -0.0,
        1.0,
        -1.0,
        90.0,
        -90.0,
        180.0,
        360.0,
        1e-9,
        5e-324,
        1e-308,
        1e6,
        1e12,
        9_007_199_254_740_991.0,
        1e19,
        1e300,
        f64::MAX,
        f64::MIN,
    ];
    let changed = match rng.random_range(0..6) {
        0 => ENDS.choose(rng).copied().unwrap_or_default(),
        1 => number + [1.0, -1.0].choose(rng).copied().unwrap_or_default(),
        2 => -number,
        3 => number.next_up(),
        _ => number * [0.01, 0.1, 0.5, 0.9, 1.1, 2.0, 10.0, 1000.0].choose(rng).copied().unwrap_or(1.0),
    };
    // Whole numbers stay so: much is counted.
    let whole = changed.fract() == 0.0 && changed.abs() < 1e15;
    if whole { json!(changed as i64) } else { json!(changed) }
}

fn reworded(text: &str, rng: &mut ChaCha8Rng) -> String {
    let end = text.find(|c: char| !matches!(c, '0'..='9' | '.' | '-' | '+' | 'e' | 'E')).unwrap_or(text.len());
    let number = text[..end].parse::<f64>().ok();
    let unit = KNOWN.units.choose(rng).cloned().unwrap_or_default();
    match (number, rng.random_range(0..4)) {
        (Some(number), 0 | 1) => format!("{}{}", another(number, rng), &text[end..]),
        (Some(number), 2) => {
            format!("{} {unit}", if rng.random_bool(0.5) { json!(number) } else { another(number, rng) })
        }
        (None, 0) => {
            // A line, a group or a sentence twice, or left out.
            let parts: Vec<&str> = text.split_inclusive([' ', '\n', ',']).collect();
            let k = rng.random_range(0..parts.len().max(1));
            let times = if rng.random_bool(0.5) { 0 } else { 2 };
            let kept = parts.iter().enumerate().flat_map(|(i, part)| vec![*part; if i == k { times } else { 1 }]);
            kept.collect()
        }
        (_, 3) if rng.random_bool(0.2) => {
            ["", " ", "NaN m", "1e308 m", "-0 %", "1,5 m", "\u{0}", "\u{feff}", "٣ m", "\u{2212}5 deg"]
                .choose(rng)
                .map_or_else(String::new, |text| (*text).to_string())
        }
        _ => {
            let mut octets = text.as_bytes().to_vec();
            let (size, most) = (octets.len(), octets.len() + GROWTH);
            octets.resize(most, 0);
            let size = fuzzer_mutate(&mut octets, size, most);
            String::from_utf8_lossy(&octets[..size]).into_owned()
        }
    }
}

fn relist(items: &mut Vec<Value>, name: &str, rng: &mut ChaCha8Rng) {
    let length = items.len();
    if length == 0 || rng.random_bool(0.2) {
        items.push(KNOWN.value(name, rng));
        return;
    }
    let (one, other) = (rng.random_range(0..length), rng.random_range(0..length));
    match rng.random_range(0..6) {
        0 => drop(items.remove(one)),
        1 => items.insert(one, items[other].clone()),
        2 => items.swap(one, other),
        3 => items.truncate(one),
        4 => items.reverse(),
        _ => {
            let times = [2, 10, 33, 201].choose(rng).copied().unwrap_or_default();
            let again = items[one].clone();
            items.extend((0..times).map(|_| again.clone()));
        }
    }
}

fn regroup(members: &mut Map<String, Value>, rng: &mut ChaCha8Rng) {
    let names: Vec<String> = members.keys().cloned().collect();
    let one = names.choose(rng).cloned().unwrap_or_default();
    let Some(other) = KNOWN.name(members, rng) else { return };
    match rng.random_range(0..6) {
        0 => drop(members.remove(&one)),
        1 => {
            if let Some(value) = members.remove(&one) {
                members.insert(other, value);
            }
        }
        2 => {
            let value = members.get(&one).cloned().unwrap_or_default();
            members.insert(other, value);
        }
        _ => {
            let value = KNOWN.value(&other, rng);
            members.insert(other, value);
        }
    }
}

/// The text of a body, seldom with what no value can be: a name twice, a number beyond all.
fn written(body: Value, rng: &mut ChaCha8Rng) -> String {
    let beyond = ["1e999", "-1e999", "NaN", "01", "-0", "1e-400", "18446744073709551616"];
    let beyond = beyond.choose(rng).copied().unwrap_or_default();
    let mut text = body.to_string().replace(&format!("\"{MARK}\""), beyond);
    let names: Vec<usize> = text.match_indices("\":").map(|(at, _)| at).collect();
    if let Some(end) = names.choose(rng).copied().filter(|_| rng.random_bool(0.02)) {
        let begin = text[..end].rfind('"').unwrap_or_default();
        let again = format!("{}:null,", &text[begin..=end]);
        text.insert_str(begin, &again);
    }
    text
}
