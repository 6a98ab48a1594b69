//! What the page says of a field: its meaning by the published schema, and what is taken if it is left out. That is read from the
//! engine: plain cards of which everything is left out that may be are read as any other, and list what was assumed of them.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use maud::{Markup, html};
use serde_json::{Value, json};

use super::fields::{DAY, FLIGHT, Forms, Part};
use crate::wire::day::read_day;
use crate::wire::schema::{self, Place};

/// Where the flights lie.
pub const FLIGHTS: &str = "/entries/-";

/// Sources, each with the values that are taken from it: more than one where they hang on the rest of the card.
type Sources = Vec<(&'static str, Vec<String>)>;

/// What is taken in place of an input.
static ASSUMED: LazyLock<BTreeMap<String, Sources>> = LazyLock::new(|| {
    let mut assumed: BTreeMap<String, Sources> = BTreeMap::new();
    for day in plain_days() {
        let read = read_day(day.to_string().as_bytes()).map(|day| day.entries).unwrap_or_default();
        for found in read.into_iter().filter_map(|entry| entry.asked.ok()).flat_map(|asked| asked.case.assumed) {
            let sources = assumed.entry(found.input.to_string()).or_default();
            match sources.iter_mut().find(|(source, _)| *source == found.source) {
                Some((_, values)) if values.contains(&found.value) => {}
                Some((_, values)) => values.push(found.value),
                None => sources.push((found.source, vec![found.value])),
            }
        }
    }
    assumed
});

/// Days with nothing that may be left out: motors by code and by curve, figures measured and from a shape, winds at the ground
/// and aloft, all that opens; low power by the sea, and high power from high ground in gusts.
fn plain_days() -> [Value; 3] {
    let measured = json!({
        "diameter": "25 mm", "length": "450 mm", "mass": "95 g", "centre_of_gravity": "290 mm", "centre_of_pressure": "345 mm",
        "drag_coefficient": 0.6,
    });
    let shaped = json!({
        "diameter": "54 mm", "length": "980 mm", "mass": "620 g", "centre_of_gravity": "632 mm",
        "shape": {
            "nose": {"form": "ogive", "length": "200 mm"},
            "fins": [{"count": 3, "root_chord": "100 mm", "tip_chord": "50 mm", "span": "55 mm"}],
        },
    });
    let curve = json!({"thrust_curve": [[0, 0], [0.03, 62], [1.4, 51], [1.7, 0]]});
    let entry = |name: &str, airframe: &Value, motor: Value, recovery: Value| {
        let card = json!({"name": name, "airframe": airframe, "motor": motor, "recovery": recovery});
        json!({"name": name, "card": card})
    };
    let (parachute, streamer) = (
        json!({"kind": "parachute", "diameter": "24 in"}),
        json!({"kind": "streamer", "length": "1 m", "width": "0.1 m"}),
    );
    let both = |first: &Value, main: &Value| json!({"first": first, "main": main, "main_height": "100 m"});
    let mut entries = [
        entry("measured", &measured, json!({"code": "C6-5"}), json!({"first": parachute})),
        entry("shaped", &shaped, curve, both(&streamer, &parachute)),
        entry("by code", &shaped, json!({"code": "F40-7"}), both(&parachute, &streamer)),
    ];
    // A curve has no delay of its own.
    entries[1]["delays"] = json!([5]);
    let logged = json!({"apogee": "150 m", "apogee_time": "6 s", "opening_time": "6 s", "opening_speed": "8 m/s"});
    entries[1]["calibration"] = json!({"flown": [logged]});
    let line = json!({"name": "line", "edge_width": "3 mm", "runs": [[{"length": "2 m", "strength": "900 N", "fibre": "aramid"}]]});
    entries[1]["cords"] =
        json!({"nose_mass": "85 g", "arrangements": [line], "wall": {"material": "paper", "thickness": "1 mm"}});
    let heavy = json!({
        "diameter": "102 mm", "length": "1600 mm", "mass": "4 kg", "centre_of_gravity": "1000 mm",
        "shape": {
            "nose": {"form": "ogive", "length": "400 mm"},
            "fins": [{"count": 4, "root_chord": "200 mm", "tip_chord": "80 mm", "span": "110 mm"}],
        },
    });
    let strong = json!({"thrust_curve": [[0, 0], [0.05, 420], [1.9, 350], [2.3, 0]]});
    let mut high = [
        entry("high power", &heavy, strong, both(&parachute, &parachute)),
        entry("high power by code", &heavy, json!({"code": "J350-10"}), json!({"first": parachute})),
    ];
    high[0]["delays"] = json!([10]);
    let day = |launch: Value, wind: Value| json!({"entries": entries, "launch": launch, "wind": wind});
    let surface = json!({"speed": "5 mph", "direction": 250, "measuring_height": "10 m"});
    let layer = |height: &str| json!({"height_above_ground": height, "speed": "8 kt", "direction": 265});
    let gusty = json!({"speed": "5 m/s", "direction": 250, "measuring_height": "10 m", "gust": "9 m/s"});
    [
        // What hangs on the tilt of the rail, and on the age of the wind.
        day(json!({"rail_length": "2 m", "tilt": "3 deg"}), json!({"surface": surface})),
        day(json!({"rail_length": "2 m"}), json!({"layers": [layer("300 m"), layer("600 m")], "age": "2 h"})),
        json!({
            "entries": high, "launch": {"rail_length": "3 m"}, "site": {"elevation": "1600 m"}, "wind": {"surface": gusty},
        }),
    ]
}

/// A place as the schema has it. What is said of one distribution holds for all, and a flight needs nothing that its day has.
pub fn place(pointer: &str) -> Option<Place> {
    let place = schema::DAY.place(&pointer.replace("/spread/-", "/spread/impulse"))?;
    Some(Place { needed: place.needed && !of_day(pointer), ..place })
}

/// Whether the day has the same field as this one of a flight: what a flight leaves out is that of the day. A list of its own
/// takes the place of the day's, so that its items have all that they need.
pub fn of_day(pointer: &str) -> bool {
    let same = pointer.strip_prefix(FLIGHTS).filter(|same| !same.split('/').any(|part| part == "-"));
    same.is_some_and(|same| OF_DAY.iter().any(|other| other == same))
}

/// What holds if a field is left out.
pub fn left_out(pointer: &str) -> Markup {
    if of_day(pointer) {
        return html! { "If left out: as that of the day. " };
    }
    let name = dotted(pointer);
    // The ground and the gusts under messages are those under a wind by hand.
    let found = ASSUMED.get(&name).or_else(|| ASSUMED.get(&name.replace("weather.", "wind.")));
    html! {
        @if let Some(sources) = found {
            @let alike = sources.len() == 1 && sources.iter().all(|(_, values)| values.len() == 1);
            @if alike { "If left out: " } @else { "If left out, by the rest of the card, for instance: " }
            @for (k, (source, values)) in sources.iter().enumerate() {
                @if k > 0 { "; " }
                (values.join(" or ")) " (" (source) ")"
            }
            ". "
        }
    }
}

/// A place as the engine names it: without the flight and the numbers of lists.
fn dotted(pointer: &str) -> String {
    let names = pointer.strip_prefix(FLIGHTS).unwrap_or(pointer).split('/');
    names.filter(|name| !name.is_empty() && *name != "-").collect::<Vec<_>>().join(".")
}

/// Words of the schema for people: names of members become those of their fields.
pub fn words(about: &str, pointer: &str) -> Markup {
    html! {
        @for (k, text) in about.split('`').enumerate() {
            @if k % 2 == 0 { (text) } @else {
                @match label(text, pointer) {
                    Some(label) => { em { (label) } }
                    None => { code { (text) } }
                }
            }
        }
    }
}

/// What a member is called on the page, as it is meant at a place: the nearest of that name.
fn label(name: &str, pointer: &str) -> Option<&'static str> {
    let tail = format!(".{name}");
    let near = |other: &str| pointer.split('/').zip(other.split('/')).take_while(|(a, b)| a == b).count();
    let of_name = LABELS.iter().filter(|(other, _)| format!(".{}", dotted(other)).ends_with(&tail));
    let nearest = of_name.max_by_key(|(other, _)| (near(other), std::cmp::Reverse(other.len())));
    nearest.map(|(_, label)| label.trim_start_matches("or "))
}

/// Every place of a day but for its flights.
static OF_DAY: LazyLock<Vec<String>> = LazyLock::new(|| {
    let mut labels = Vec::new();
    note(DAY, "", &mut labels);
    labels.into_iter().map(|(place, _)| place).collect()
});

/// What every place is called.
static LABELS: LazyLock<Vec<(String, &'static str)>> = LazyLock::new(|| {
    let mut labels = Vec::new();
    note(DAY, "", &mut labels);
    note(FLIGHT, FLIGHTS, &mut labels);
    labels
});

fn note(parts: &[Part], below: &str, labels: &mut Vec<(String, &'static str)>) {
    for part in parts {
        match part {
            Part::Field { at, label, .. } => labels.push((joined(below, at), label)),
            Part::Group { at, title, parts, .. } => {
                let place = joined(below, at);
                note(parts, &place, labels);
                // Of two groups of one place the first has its name.
                if !at.is_empty() && labels.iter().all(|(other, _)| *other != place) {
                    labels.push((place, title));
                }
            }
            Part::List { at, title, parts, .. } => {
                let place = joined(below, at);
                note(parts, &format!("{place}/-"), labels);
                labels.push((place, title));
            }
            Part::One { at, label, forms } => {
                let place = joined(below, at);
                if *forms == Forms::Area {
                    forms.each().iter().for_each(|(_, _, parts)| note(parts, &place, labels));
                }
                if !at.is_empty() {
                    labels.push((place, label));
                }
            }
        }
    }
}

/// A place in what it belongs to.
pub fn joined(below: &str, at: &str) -> String {
    if at.is_empty() { below.to_string() } else { format!("{below}/{at}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A plain card that were refused would tell nothing, and the page would be silent.
    #[test]
    fn plain_days_are_read() {
        for day in plain_days() {
            let read = read_day(day.to_string().as_bytes()).map(|read| read.entries);
            let refused: Vec<_> = read.iter().flatten().filter_map(|entry| entry.asked.as_ref().err()).collect();
            assert!(read.is_ok() && refused.is_empty(), "{read:?}");
        }
        assert!(ASSUMED.len() > 50, "{}", ASSUMED.len());
    }
}
