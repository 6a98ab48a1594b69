//! Where bodies are sent, and those to begin with: the examples that come with the program, with few flights, and the messages
//! of its tests.

#[path = "../../server/tests/support/grib.rs"]
mod grib;
#[path = "../../server/tests/support/messages.rs"]
mod messages;

use grib::{file, grids, of_member, two_levels};
use messages::{BULLETIN, COVERAGE, METARS, SOUNDINGS, TABLES};
use serde_json::{Value, json};

/// Where a body is sent: it is the first octet of what is tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Door {
    /// `/v1/assessments`
    Assessment,
    /// `/v1/days`
    Day,
    /// `/v1/days/{id}/revisions`
    Revision,
    /// `/v1/sweeps`
    Sweep,
    /// `/v1/shares`
    Share,
    /// `/v1/weather`
    Weather,
    /// `/v1/weather/grib`
    File,
}

impl Door {
    /// Every one.
    pub const ALL: [Self; 7] =
        [Self::Assessment, Self::Day, Self::Revision, Self::Sweep, Self::Share, Self::Weather, Self::File];
    /// Those behind which something is flown.
    pub const FLOWN: [Self; 4] = [Self::Assessment, Self::Day, Self::Revision, Self::Sweep];

    /// How what is tried begins.
    pub fn letter(self) -> u8 {
        b'a' + self as u8
    }

    /// The door and the body of what is tried.
    pub fn of(tried: &[u8]) -> Option<(Self, &[u8])> {
        let (letter, body) = tried.split_first()?;
        Self::ALL.into_iter().find(|door| door.letter() == *letter).map(|door| (door, body))
    }
}

/// The fewest flights that are taken.
const FLIGHTS: u64 = 64;

macro_rules! example {
    ($name:literal) => {
        serde_json::from_str::<Value>(include_str!(concat!("../../server/", $name))).expect("an example is JSON")
    };
}

/// A day of two flights, asked little.
pub fn day() -> Value {
    let mut day = example!("examples/days/meadow.json");
    day["flights"] = json!(FLIGHTS);
    day["entries"].as_array_mut().expect("it has flights").truncate(2);
    day["entries"][0]["delays"] = json!([4]);
    day["entries"][1]["changes"]["delays"] = json!([5]);
    day
}

/// What is tried first: the bodies that all others are made of.
pub fn seeds() -> Vec<(Door, Vec<u8>)> {
    let all = [
        (Door::Assessment, cards()),
        (Door::Day, vec![day()]),
        (
            Door::Revision,
            vec![json!({"wind": {"surface": {"speed": "12 mph"}}}), json!({"weather": report(0), "wind": null})],
        ),
        (Door::Sweep, sweeps()),
        (Door::Share, vec![json!({"answer": "/v1/days/00000000000000000000000000000000", "hours": 48})]),
        (Door::Weather, weather()),
    ];
    let bodies = all.into_iter().flat_map(|(door, bodies)| bodies.into_iter().map(move |body| (door, body)));
    let mut seeds: Vec<_> = bodies.map(|(door, body)| (door, body.to_string().into_bytes())).collect();
    seeds.extend(files().into_iter().map(|file| (Door::File, file)));
    seeds
}

fn cards() -> Vec<Value> {
    let mut cards = vec![
        example!("examples/first-flight.json"),
        example!("examples/mapped-field.json"),
        example!("examples/sounding.json"),
        example!("examples/weather-report.json"),
        example!("tests/support/card.json"),
    ];
    for card in &mut cards {
        card["flights"] = json!(FLIGHTS);
        // Each takes as long as many flights.
        card["delays"].as_array_mut().expect("it has delays").truncate(2);
    }
    let mut columns = cards[4].clone();
    columns["card"]["motor"]["thrust_curve"] = "time, thrust\n0, 0\n0.05; 30\n# it burns\n1.6\t18\n1.8 0\n".into();
    cards.push(columns);
    cards
}

fn sweeps() -> Vec<Value> {
    let mut sweep = example!("examples/sweeps/meadow.json");
    let base = sweep["base"].as_object_mut().expect("a sweep has a card");
    base.remove("until");
    base.insert("flights".into(), json!(FLIGHTS));
    base.insert("delays".into(), json!([4, 7]));
    sweep["axes"]["hours"].as_array_mut().expect("it has hours").truncate(2);
    sweep["axes"]["tilts"] = json!(["3 deg"]);
    let mut other = sweep.clone();
    other["axes"] = json!({
        "sites": [{"label": "meadow"}, {"label": "hill", "site": {"elevation": "900 m"}, "weather": report(1), "wind": null}],
        "cards": [{"label": "another motor", "card": {"motor": {"code": "D12-5", "thrust_curve": null}}, "delays": [3, 5]}],
        "azimuths": ["180 deg magnetic"],
    });
    other["base"]["site"]["declination"] = json!("5 deg");
    vec![sweep, other]
}

/// A surface report with a day near it.
fn report(k: usize) -> Value {
    json!({"date": "2026-11-10", "metar": METARS[k], "field_elevation": "100 ft"})
}

fn weather() -> Vec<Value> {
    let mut all: Vec<Value> = (0..METARS.len()).map(report).collect();
    let near = |name: &str, value: Value| json!({"date": "2026-11-20", "field_elevation": "100 ft", name: value});
    let coverage: Value = serde_json::from_str(COVERAGE).expect("a coverage is JSON");
    let aloft = json!({"date": "2026-11-20", "metar": METARS[1], "winds_aloft": BULLETIN, "station": "ABQ", "field_elevation": "5355 ft"});
    all.extend(SOUNDINGS.map(|text| near("sounding", text.into())));
    all.extend(TABLES.map(|text| near("layers", text.into())));
    all.push(near("members", json!([{"layers": TABLES[0]}, {"sounding": SOUNDINGS[1]}])));
    all.push(near(
        "coverage",
        json!({"type": "CoverageCollection", "coverages": [coverage.clone(), coverage.clone()]}),
    ));
    all.extend([near("coverage", coverage), aloft, example!("examples/weather/albuquerque.json")]);
    for asked in all.clone().iter().step_by(4) {
        if let Ok(answer) = slowpoint_server::wire::decode_weather(asked.to_string().as_bytes()) {
            all.push(near("decoded", serde_json::to_value(answer).expect("an answer is JSON")));
        }
    }
    all
}

fn files() -> Vec<Vec<u8>> {
    let mut files: Vec<Vec<u8>> = grids().iter().map(|grid| file(grid, &two_levels(grid))).collect();
    let plain = &grids()[5];
    let fields = two_levels(plain);
    files.push(file(plain, &[of_member(&fields, 1, 0), of_member(&fields, 3, 1)].concat()));
    files
}
