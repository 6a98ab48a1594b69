//! The page on which a day is written down, from outside: its fields against the published schema and against real answers.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

#[path = "support/pages.rs"]
mod pages;
mod support;

use std::collections::{BTreeSet, HashMap, HashSet};
use std::path::Path;

use pages::{all, shown};
use scraper::{ElementRef, Html, Selector};
use serde_json::{Value, json};
use support::{Service, card, example, json_request, service};

async fn page(service: &Service) -> Html {
    let reply = service.get("/new").await;
    assert_eq!(reply.status, 200);
    pages::read(&reply)
}

fn openapi() -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../openapi/openapi.json");
    serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap()
}

/// What a schema may be: references followed, unions spread out.
fn forms<'a>(document: &'a Value, schema: &'a Value) -> Vec<&'a Value> {
    if let Some(reference) = schema["$ref"].as_str() {
        return forms(document, document.pointer(reference.trim_start_matches('#')).unwrap());
    }
    match schema["oneOf"].as_array() {
        Some(inner) => inner.iter().flat_map(|s| forms(document, s)).collect(),
        None => vec![schema],
    }
}

/// The schema of a place of a day, "-" for any item.
fn schema_of<'a>(document: &'a Value, pointer: &str) -> Option<&'a Value> {
    let mut schema = &document["components"]["schemas"]["DayRequest"];
    for name in pointer.split('/').skip(1) {
        let step = |form: &'a Value| if name == "-" { form.get("items") } else { form["properties"].get(name) };
        schema = forms(document, schema).into_iter().find_map(step)?;
    }
    Some(schema)
}

/// What the schema says of a place first: its own words, not those of its type.
fn about(schema: &Value) -> String {
    let inner = schema["oneOf"].as_array().into_iter().flatten();
    let found = std::iter::once(schema).chain(inner).find_map(|s| s["description"].as_str());
    found.unwrap_or_default().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Places where distributions are chosen, and every other place of a form.
fn spread_out(page: &Html, pointer: &str) -> Vec<String> {
    match pointer.strip_prefix("/spread/-") {
        None => vec![pointer.to_string()],
        Some(rest) => {
            let laws = all(page, "[data-forms=law][data-one]");
            assert!(laws.len() > 10, "{}", laws.len());
            laws.iter().map(|law| format!("{}{rest}", law.value().attr("data-one").unwrap())).collect()
        }
    }
}

/// Everything on the page that stands for a place, that of forms at every place where they may be chosen.
fn places(page: &Html) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for name in ["data-field", "data-list", "data-one"] {
        for element in all(page, &format!("[{name}]")) {
            found.extend(spread_out(page, element.value().attr(name).unwrap()));
        }
    }
    for form in all(page, "template[data-form]") {
        let attribute = |name: &str| form.value().attr(name).unwrap();
        found.extend(spread_out(page, &format!("{}/{}", attribute("data-base"), attribute("data-form"))));
    }
    found
}

/// Every field is in the published schema, written as that takes it, and marked as needed where it is; whatever has a field has
/// one for all that it needs.
#[tokio::test]
async fn fields_are_those_of_the_published_schema() {
    let service = service();
    let (page, document) = (page(&service).await, openapi());
    let places = places(&page);
    assert!(places.len() > 250, "{}", places.len());
    for place in &places {
        assert!(schema_of(&document, place).is_some(), "there is no {place}");
    }
    // What the first part of this test would not notice.
    assert!(schema_of(&document, "/entries/-/card/airframe/wingspan").is_none());
    let mut needed = 0;
    for place in &places {
        let (parent, name) = place.rsplit_once('/').unwrap();
        let Some(holder) = schema_of(&document, parent) else { continue };
        for form in forms(&document, holder) {
            for required in form["required"].as_array().into_iter().flatten().filter_map(Value::as_str) {
                let member = format!("{parent}/{required}");
                let there = places.iter().any(|other| *other == member || other.starts_with(&format!("{member}/")));
                assert!(there || member == "/entries", "{member} is needed and has no field");
                needed += usize::from(required == name);
            }
        }
    }
    assert!(needed > 50, "{needed}");
    for field in all(&page, "[data-field]") {
        let pointer = field.value().attr("data-field").unwrap();
        let place = &spread_out(&page, pointer)[0];
        let schema = schema_of(&document, place).unwrap();
        let types: HashSet<&str> = forms(&document, schema)
            .into_iter()
            .flat_map(|form| match &form["type"] {
                Value::Array(list) => list.iter().filter_map(Value::as_str).collect(),
                one => one.as_str().into_iter().collect::<Vec<_>>(),
            })
            .filter(|kind| *kind != "null")
            .collect();
        let kind = field.value().attr("data-kind").unwrap();
        let fits: &[&str] = match kind {
            "text" => &["string"],
            "value" => &["number", "integer"],
            "list" | "rows" | "table" | "some" => &["array"],
            "columns" => &["string"],
            "json" => &["object", "array"],
            other => panic!("{pointer} is written as {other}"),
        };
        assert!(fits.iter().any(|fit| types.contains(fit)), "{pointer} is {types:?} and written as {kind}");
        let (parent, name) = place.rsplit_once('/').unwrap();
        let holder = if parent.is_empty() {
            &document["components"]["schemas"]["DayRequest"]
        } else {
            schema_of(&document, parent).unwrap()
        };
        let required = forms(&document, holder)
            .into_iter()
            .any(|form| form["required"].as_array().is_some_and(|r| r.contains(&json!(name))));
        // What a flight leaves out is laid under it from the day; a list of its own takes the place of the day's.
        let own = pointer.strip_prefix("/entries/-").filter(|own| !own.contains("/-"));
        let of_day = own.is_some_and(|same| places.contains(same));
        let shared = ["launch", "launch_at", "delays", "spread", "failures"];
        let named = own.and_then(|own| own.split('/').nth(1));
        assert_eq!(of_day, named.is_some_and(|name| shared.contains(&name)), "{pointer}");
        let required = required && !of_day;
        assert_eq!(field.value().attr("aria-required") == Some("true"), required, "{pointer}");
        // Words that may be chosen are all that are known.
        let known: Vec<&str> = forms(&document, schema)
            .iter()
            .flat_map(|f| f["enum"].as_array())
            .flatten()
            .filter_map(Value::as_str)
            .collect();
        if field.value().name() == "select" {
            let options: Vec<&str> =
                field.child_elements().map(|option| option.value().attr("value").unwrap()).collect();
            assert_eq!(options, [vec![""], known].concat(), "{pointer}");
        } else {
            assert!(kind != "text" || known.is_empty(), "{pointer} has words: {known:?}");
        }
    }
}

/// Every field has a name and says what it is; no two are one.
#[tokio::test]
async fn fields_are_labelled() {
    let service = service();
    let page = page(&service).await;
    let ids: HashMap<&str, ElementRef> =
        all(&page, "[id]").into_iter().map(|e| (e.value().attr("id").unwrap(), e)).collect();
    assert_eq!(ids.len(), all(&page, "[id]").len());
    let labels: HashSet<&str> =
        all(&page, "label[for]").iter().map(|label| label.value().attr("for").unwrap()).collect();
    let mut seen = 0;
    for control in all(&page, "input, select, textarea") {
        if control.value().attr("type") == Some("checkbox") {
            continue;
        }
        let id = control.value().attr("id").unwrap();
        assert!(labels.contains(id), "{id} has no label");
        for described in control.value().attr("aria-describedby").into_iter().flat_map(str::split_whitespace) {
            assert!(ids.contains_key(described), "{id}: nothing is called {described}");
        }
        seen += 1;
    }
    assert!(seen > 150, "{seen}");
    for label in labels {
        assert!(ids.contains_key(label), "a label is for {label}, which is not there");
    }
    for field in all(&page, "[data-field]") {
        assert_eq!(field.value().attr("id"), field.value().attr("data-field"));
    }
    // What people write has an example with its unit, unless a text is asked for or a word chosen.
    let document = openapi();
    let mut units = 0;
    for field in all(&page, "[data-kind=value]") {
        let pointer = field.value().attr("data-field").unwrap();
        let place = &spread_out(&page, pointer)[0];
        let hint = shown(ids[format!("{pointer}:about").as_str()]);
        // Of a distribution no example holds for every quantity.
        assert!(hint.starts_with("Such as ") || pointer.starts_with("/spread/-/"), "{pointer}: {hint}");
        let quantity =
            forms(&document, schema_of(&document, place).unwrap()).iter().any(|f| about(f).contains("bare number"));
        units += usize::from(quantity && hint.split('.').next().unwrap().chars().any(char::is_alphabetic));
    }
    assert!(units > 80, "{units}");
    let units: String = all(&page, ".units").into_iter().map(shown).collect();
    for name in ["mm", "oz", "mph", "inHg", "kg m^2", "turns/s"] {
        assert!(units.contains(name), "{units}");
    }
}

/// What stands as an example beside a number of a distribution is taken at every place where that distribution may be chosen.
#[tokio::test]
async fn examples_of_distributions_are_taken() {
    let service = service();
    let page = page(&service).await;
    let example =
        |pointer: &str| all(&page, &format!("[id='{pointer}:about'] > code:first-child")).first().map(|c| shown(*c));
    let sent = |text: &str| text.parse::<f64>().map_or_else(|_| json!(text), |number| json!(number));
    // Those of the day: a flight has the same.
    let laws: Vec<&str> = all(&page, "[data-forms=law][data-one^='/spread/']")
        .iter()
        .map(|law| law.value().attr("data-one").unwrap())
        .collect();
    let selector = Selector::parse("[data-field]").unwrap();
    let (mut refused, mut tried) = (BTreeSet::new(), 0);
    for form in all(&page, "template[data-forms=law]") {
        // All examples of the form at once; what has none is missing, and may be said to be.
        let (mut law, mut without) = (json!({}), Vec::new());
        for field in form.select(&selector) {
            let place = field.value().attr("data-field").unwrap();
            let name = place.trim_start_matches("/spread/-");
            let Some(text) = example(place) else {
                without.push(name);
                continue;
            };
            let list = field.value().attr("data-kind") == Some("list");
            let value = if list { text.split(", ").map(sent).collect() } else { sent(&text) };
            let names: Vec<&str> = name.split('/').skip(1).collect();
            if let [kind, member] = names[..] {
                law[kind][member] = value;
            } else {
                law[names[0]] = value;
            }
            tried += 1;
        }
        if law == json!({}) {
            continue;
        }
        for place in &laws {
            let mut card = card();
            card["spread"][place.trim_start_matches("/spread/")] = law.clone();
            card["flights"] = json!(64);
            let reply = service.send(json_request("/v1/assessments", card.to_string())).await;
            for error in reply.json()["errors"].as_array().into_iter().flatten() {
                let pointer = error["pointer"].as_str().unwrap();
                let missing = pointer.strip_prefix(place).is_some_and(|rest| without.contains(&rest));
                if pointer.starts_with(place) && !missing {
                    refused.insert(format!("{pointer}: {law}: {}", error["problem"]));
                }
            }
        }
    }
    assert!(tried > 0 && laws.len() > 10, "{tried} {}", laws.len());
    assert!(refused.is_empty(), "{refused:#?}");
}

/// What the hints say is taken if a field is left out is what answers say was taken; and beside the example and the words of the
/// schema they say nothing else.
#[tokio::test(flavor = "multi_thread")]
async fn defaults_are_those_of_answers() {
    let service = service();
    let page = page(&service).await;
    let document = openapi();
    let shape = json!({
        "diameter": "54 mm", "length": "980 mm", "mass": "620 g", "centre_of_gravity": "632 mm",
        "shape": {"nose": {"form": "ogive", "length": "200 mm"}, "fins": [{"count": 3, "root_chord": "100 mm", "tip_chord": "50 mm", "span": "55 mm"}]},
    });
    let measured = json!({
        "diameter": "25 mm", "length": "450 mm", "mass": "95 g", "centre_of_gravity": "290 mm", "centre_of_pressure": "345 mm", "drag_coefficient": 0.6,
    });
    // Other than those that the page reads its hints from, and unlike the cards below in all that hints may hang on.
    let high = json!({
        "card": {
            "name": "high power",
            "airframe": {
                "diameter": "98 mm", "length": "1900 mm", "mass": "9.5 kg", "centre_of_gravity": "1180 mm",
                "shape": {"nose": {"form": "cone", "length": "380 mm"}, "fins": [{"count": 3, "root_chord": "260 mm", "tip_chord": "90 mm", "span": "130 mm"}]},
            },
            "motor": {"thrust_curve": [[0, 0], [0.05, 900], [2.1, 700], [2.6, 0]]},
            "recovery": {"first": {"kind": "parachute", "diameter": "24 in"}, "main": {"kind": "parachute", "diameter": "84 in"}, "main_height": "200 m"},
        },
        "launch": {"rail_length": "4 m"},
        "site": {"elevation": "1250 m"},
        "wind": {"surface": {"speed": "6 m/s", "direction": 200, "measuring_height": "10 m", "gust": "11 m/s"}},
        "delays": [12],
        "flights": 64,
    });
    let mut cards = vec![(high, false)];
    for (airframe, code) in [(shape, "F40-7"), (measured, "C6-5")] {
        let card = json!({
            "card": {"name": "plain", "airframe": airframe, "motor": {"code": code}, "recovery": {"first": {"kind": "parachute", "diameter": "24 in"}}},
            "launch": {"rail_length": "2 m", "tilt": "3 deg"},
            "wind": {"surface": {"speed": "5 mph", "direction": 250, "measuring_height": "10 m"}},
            "flights": 64,
        });
        let mut without_flights = card.clone();
        without_flights.as_object_mut().unwrap().remove("flights");
        without_flights["launch"].as_object_mut().unwrap().remove("tilt");
        cards.extend([(card, true), (without_flights, true)]);
    }
    // Value, source, and whether the page has read a card like it: else it may say by an instance what it hangs on.
    let mut assumed: HashMap<String, Vec<(String, String, bool)>> = HashMap::new();
    for (card, alike) in cards {
        let reply = service.send(json_request("/v1/assessments", card.to_string())).await;
        assert_eq!(reply.status, 200, "{}", reply.text());
        for one in reply.json()["assumed"].as_array().unwrap() {
            let text = |name: &str| one[name].as_str().unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
            assumed.entry(text("input")).or_default().push((text("value"), text("source"), alike));
        }
    }
    let (mut told, mut seen, mut of_day, mut hanging) = (HashSet::new(), 0, 0, HashSet::new());
    for element in all(&page, "[data-field], [data-one][data-forms]") {
        let pointer = element.value().attr("data-field").or(element.value().attr("data-one")).unwrap();
        if element.value().attr("data-forms") == Some("area") {
            continue;
        }
        let hint = shown(all(&page, &format!("[id='{pointer}:about']"))[0]);
        seen += 1;
        let name = pointer
            .trim_start_matches("/entries/-")
            .split('/')
            .filter(|part| !["", "-"].contains(part))
            .collect::<Vec<_>>()
            .join(".");
        // What a flight leaves out beside its card, cords and logs is that of the day, whatever that may be.
        let alone =
            ["card", "cords", "calibration"].iter().any(|own| pointer.starts_with(&format!("/entries/-/{own}/")));
        let own_of_flight = pointer.starts_with("/entries/-/") && !alone;
        for (value, source, alike) in assumed.get(&name).into_iter().flatten().filter(|_| !own_of_flight) {
            let by_instance = !alike && hint.contains("If left out, by the rest of the card, for instance: ");
            let there = hint.contains(value) && hint.contains(source);
            assert!(there || by_instance, "{pointer}: {value} ({source}) is not in {hint:?}");
            told.insert(name.clone());
            if by_instance {
                hanging.insert(name.clone());
            }
        }
        // What is left of the hint without the example, the schema's words and what is assumed.
        let (own, default) = match hint.split_once("If left out") {
            Some((own, default)) => (own, Some(default)),
            None => (hint.as_str(), None),
        };
        if own_of_flight {
            assert!(default.is_none_or(|default| default == ": as that of the day."), "{pointer}: {default:?}");
            of_day += usize::from(default.is_some());
        }
        let example = all(&page, &format!("[id='{pointer}:about'] > code:first-child"))
            .first()
            .map(|code| format!("Such as {}. ", shown(*code)));
        let own = own.strip_prefix(example.as_deref().unwrap_or_default()).unwrap_or(own).trim();
        let schema = schema_of(&document, &spread_out(&page, pointer)[0]).unwrap();
        // Names of members have become those of their fields.
        let plain: Vec<String> = about(schema).split('`').step_by(2).map(|part| part.trim().to_string()).collect();
        let mut rest = own;
        for part in &plain {
            let at = rest.find(part.as_str()).unwrap_or_else(|| panic!("{pointer}: {part:?} is not in {own:?}"));
            rest = &rest[at + part.len()..];
        }
        assert!(rest.trim().is_empty(), "{pointer} says of its own: {rest:?}");
    }
    assert!(seen > 150 && told.len() > 40, "{seen} fields, {} defaults", told.len());
    assert!(of_day >= 8, "{of_day}");
    for name in ["rule_set", "site.temperature", "site.station_pressure", "wind.turbulence"] {
        assert!(hanging.contains(name), "{name} hangs on the rest of the card: {hanging:?}");
    }
    let missing: Vec<_> = assumed
        .keys()
        .filter(|name| !name.starts_with("model.") && !told.contains(*name))
        // Of the whole course of the flight; said at no field.
        .collect();
    assert!(missing.is_empty(), "defaults that the page does not tell: {missing:?}");
}

/// What the page runs is its own, and says what to do where nothing runs.
#[tokio::test]
async fn it_runs_its_own_modules_and_says_what_to_do_without() {
    let service = service();
    let page = page(&service).await;
    let scripts = all(&page, "script[src*='/entry.']");
    assert_eq!(scripts.len(), 1);
    let script = scripts[0].value();
    assert!(script.attr("type") == Some("module") && shown(scripts[0]).is_empty());
    let module = service.get(script.attr("src").unwrap()).await;
    assert_eq!(module.status, 200);
    assert_eq!(module.header("content-type"), "text/javascript; charset=utf-8");
    assert!(module.text().contains("function readJson") && module.text().contains("learnAll();"));
    for forbidden in ["eval(", "innerHTML", "http://", "https://"] {
        assert!(!module.text().contains(forbidden), "{forbidden}");
    }
    let given = all(&page, "#day")[0].value().attr("data-example").unwrap();
    let given = service.get(given).await;
    assert!(given.status == 200 && given.json() == example("days/meadow.json"));
    // To whoever reads a page with script on, what stands there for others is a text.
    assert!(shown(all(&page, "noscript")[0]).contains("href=\"/docs/\""));
    assert!(all(&page, "#day")[0].value().attr("hidden").is_some());
    // Led to from the front page, shown as that is.
    let front = pages::read(&service.get("/?units=us").await);
    assert_eq!(all(&front, "a[href='/new?units=us']").len(), 1);
}
