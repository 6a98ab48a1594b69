//! Every structural fault of a body at once, by the schema that the service publishes.
//!
//! A general validator was tried here and is used in the tests as a witness. It says that a value fits none of
//! the forms of a union, or fits no `enum`; a person needs to hear which field was meant, in which unit, or where
//! else the field belongs. And what is faulty must be cut out of the body so that the rest gets its own
//! checks, which a validator does not do. So the body is walked along the same schema.
//!
//! Unions of the schema are told apart by the JSON type of the value alone; the tests hold that. The schema has no
//! recursion, so the walk is no deeper than the schema.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde_json::{Map, Value};
use utoipa::{PartialSchema, ToSchema};

use super::AssessmentRequest;
use super::fault::{Faults, escaped};
use super::units::quoted;

/// The schema of the request.
static REQUEST: LazyLock<Schema> = LazyLock::new(Schema::of_request);

/// What people write, and what it is called here.
const SYNONYMS: &[(&str, &str)] = &[
    ("altitude", "elevation"),
    ("angle", "tilt"),
    ("backup", "backup_delay"),
    ("cd", "drag_coefficient"),
    ("cg", "centre_of_gravity"),
    ("cog", "centre_of_gravity"),
    ("cop", "centre_of_pressure"),
    ("cp", "centre_of_pressure"),
    ("drag", "drag_coefficient"),
    ("heading", "azimuth"),
    ("height_agl", "height_above_ground"),
    ("height_msl", "height_above_sea"),
    ("parachute", "first"),
    ("qfe", "station_pressure"),
    ("qnh", "altimeter_setting"),
    ("rod_length", "rail_length"),
    ("title", "name"),
    ("weight", "mass"),
];

/// What is refused for a reason that a list of accepted words would not tell.
fn reason(pointer: &str, value: &Value) -> Option<(&'static str, &'static str)> {
    let word = value.as_str().unwrap_or_default().to_lowercase();
    match pointer {
        "/card/kind" if word.contains("glid") => Some((
            "gliders are not modelled: their flight after burnout is not that of a rocket",
            "leave the flight to the range safety officer; only \"rocket\" can be asked here",
        )),
        "/card/stages" if value.as_f64().is_some_and(|n| n > 1.0) => Some((
            "staging is not modelled",
            "only rockets of one stage can be asked; clusters lit together are card.motor.count",
        )),
        "/launch/bearings" if word.contains("magn") => Some((
            "magnetic bearings cannot be turned into true ones here",
            "add the declination (east positive) to every bearing of the rail, and send \"true\"; weather reports are true already",
        )),
        _ => None,
    }
}

/// Cuts out of a body what does not fit the request's schema, noting each fault.
pub fn prune(body: &mut Value, faults: &mut Faults) {
    if !REQUEST.fits(&REQUEST.root, "", body, faults) {
        *body = Value::Object(Map::new());
    }
}

struct Schema {
    root: Value,
    components: BTreeMap<String, Value>,
    /// Where each field name stands, outside lists.
    places: BTreeMap<String, Vec<String>>,
}

impl Schema {
    fn of_request() -> Self {
        let json = |schema| serde_json::to_value(schema).unwrap_or_default();
        let mut named = Vec::new();
        AssessmentRequest::schemas(&mut named);
        let components = named.into_iter().map(|(name, schema)| (name, json(schema))).collect();
        let mut schema = Self { root: json(AssessmentRequest::schema()), components, places: BTreeMap::new() };
        let mut places = BTreeMap::new();
        schema.note_places(&schema.root, "", &mut places);
        schema.places = places;
        schema
    }

    fn note_places(&self, schema: &Value, at: &str, places: &mut BTreeMap<String, Vec<String>>) {
        for form in self.forms(schema) {
            for (name, inner) in properties(form) {
                let place = format!("{at}/{name}");
                self.note_places(inner, &place, places);
                places.entry(name.clone()).or_default().push(place);
            }
        }
    }

    /// What a schema allows: references followed, unions spread out.
    fn forms<'a>(&'a self, schema: &'a Value) -> Vec<&'a Value> {
        if let Some(name) = schema["$ref"].as_str().and_then(|r| r.rsplit('/').next()) {
            return self.components.get(name).map(|s| self.forms(s)).unwrap_or_default();
        }
        match schema["oneOf"].as_array() {
            Some(forms) => forms.iter().flat_map(|s| self.forms(s)).collect(),
            None => vec![schema],
        }
    }

    /// Notes what is wrong with a value and cuts it out; says whether the value itself may stay.
    fn fits(&self, schema: &Value, at: &str, value: &mut Value, faults: &mut Faults) -> bool {
        if let Some((problem, remedy)) = reason(at, value) {
            faults.add(at, problem, remedy);
            return false;
        }
        let forms = self.forms(schema);
        let Some(form) = forms.iter().find(|form| types(form).any(|t| has_type(value, t))) else {
            faults.add(at, format!("{} stands here", described(value)), self.expected(&forms, value));
            return false;
        };
        if let Some(words) = form["enum"].as_array() {
            return word_known(words, &forms, at, value, faults);
        }
        match value {
            Value::Object(members) => self.object(form, at, members, faults),
            Value::Array(items) => return self.array(form, at, items, faults),
            Value::String(text) => return text_fits(form, at, text, faults),
            Value::Number(_) => return number_fits(form, at, value, faults),
            _ => {}
        }
        true
    }

    fn object(&self, form: &Value, at: &str, members: &mut Map<String, Value>, faults: &mut Faults) {
        members.retain(|name, value| {
            let place = format!("{at}/{}", escaped(name));
            let Some(inner) = form["properties"].get(name) else {
                self.unknown(form, at, &place, name, faults);
                return false;
            };
            // Null means "not given".
            !value.is_null() && self.fits(inner, &place, value, faults)
        });
        for name in form["required"].as_array().into_iter().flatten().filter_map(Value::as_str) {
            if !members.contains_key(name) {
                let about = form["properties"][name]["description"].as_str().unwrap_or_default();
                faults.add(
                    format!("{at}/{name}"),
                    "it is missing",
                    format!("add \"{name}\": {}", first_sentence(about)),
                );
            }
        }
    }

    fn unknown(&self, form: &Value, at: &str, place: &str, name: &str, faults: &mut Faults) {
        if faults.full() {
            return faults.add(place, "", "");
        }
        let known: Vec<&str> = properties(form).map(|(n, _)| n.as_str()).collect();
        let remedy = if let Some(near) = nearest(name, &known) {
            faults.explain(format!("{at}/{near}"));
            format!("did you mean \"{near}\"?")
        } else if let Some(places) = self.places.get(name).filter(|p| p.len() <= 3) {
            format!("it belongs to {}", places.join(" or "))
        } else {
            format!("known here: {}", known.join(", "))
        };
        faults.add(place, format!("there is no field {} here", quoted(name)), remedy);
    }

    fn array(&self, form: &Value, at: &str, items: &mut [Value], faults: &mut Faults) -> bool {
        let least = form["minItems"].as_u64().unwrap_or(0) as usize;
        let most = form["maxItems"].as_u64().map_or(usize::MAX, |n| n as usize);
        if items.len() < least || items.len() > most {
            let allowed = if least == most { format!("exactly {most}") } else { format!("at most {most}") };
            faults.add(at, format!("the list has {} items", items.len()), format!("give {allowed}"));
            return false;
        }
        for (index, item) in items.iter_mut().enumerate() {
            let inner = form["prefixItems"].get(index).unwrap_or(&form["items"]);
            if !self.fits(inner, &format!("{at}/{index}"), item, faults) {
                // The item keeps its place, so that the others keep their pointers.
                *item = self.blank(inner);
            }
        }
        true
    }

    /// What decodes and says nothing.
    fn blank(&self, schema: &Value) -> Value {
        match self.forms(schema).first().map(|form| (types(form).next().unwrap_or_default(), form)) {
            Some(("object", _)) => Value::Object(Map::new()),
            Some(("array", form)) => {
                form["prefixItems"].as_array().into_iter().flatten().map(|_| Value::Null).collect()
            }
            _ => Value::Null,
        }
    }

    fn expected(&self, forms: &[&Value], sent: &Value) -> String {
        let wanted: Vec<&str> = forms.iter().flat_map(|f| types(f)).filter(|t| *t != "null").collect();
        let example = forms.iter().find_map(|f| f["examples"][0].as_str());
        let number = sent.as_str().and_then(|t| t.trim().parse::<f64>().ok()).filter(|x| x.is_finite());
        let object = forms.iter().find(|f| f["properties"].is_object());
        match (example, number, object) {
            (Some(example), ..) => {
                format!("give text with a unit or a bare number, for instance \"{example}\"")
            }
            (None, Some(x), _) if wanted.iter().any(|t| matches!(*t, "number" | "integer")) => {
                format!("send {x} without quotation marks")
            }
            (_, _, Some(object)) if wanted.len() == 1 => {
                let names: Vec<&str> = properties(object).map(|(n, _)| n.as_str()).collect();
                format!("give an object with {}", names.join(", "))
            }
            _ => format!("give {}", wanted.iter().map(|t| type_name(t)).collect::<Vec<_>>().join(" or ")),
        }
    }
}

fn properties(form: &Value) -> impl Iterator<Item = (&String, &Value)> {
    form["properties"].as_object().into_iter().flatten()
}

fn types(form: &Value) -> impl Iterator<Item = &str> {
    let one = form["type"].as_str();
    one.into_iter().chain(form["type"].as_array().into_iter().flatten().filter_map(Value::as_str))
}

fn has_type(value: &Value, name: &str) -> bool {
    match name {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "number" => value.is_number(),
        // As JSON Schema has it: 2000.0 is a whole number.
        "integer" => value.as_f64().is_some_and(|x| x.fract() == 0.0),
        "boolean" => value.is_boolean(),
        _ => false,
    }
}

fn type_name(name: &str) -> &'static str {
    match name {
        "object" => "an object",
        "array" => "a list",
        "string" => "text",
        "number" => "a number",
        "integer" => "a whole number",
        _ => "true or false",
    }
}

fn described(value: &Value) -> String {
    match value {
        Value::Null => "null".into(),
        Value::Bool(b) => b.to_string(),
        Value::Number(n) => format!("the number {n}"),
        Value::String(text) => format!("the text {}", quoted(text)),
        Value::Array(_) => "a list".into(),
        Value::Object(_) => "an object".into(),
    }
}

fn word_known(words: &[Value], forms: &[&Value], at: &str, value: &mut Value, faults: &mut Faults) -> bool {
    if words.contains(value) {
        return true;
    }
    let known: Vec<&str> = words.iter().filter_map(Value::as_str).collect();
    let sent = value.as_str().unwrap_or_default();
    let list = known.iter().map(|w| format!("\"{w}\"")).collect::<Vec<_>>().join(", ");
    let or_object = if forms.iter().any(|f| f["properties"].is_object()) { ", or give an object" } else { "" };
    let remedy = match nearest(sent, &known) {
        Some(near) => format!("did you mean \"{near}\"? accepted: {list}{or_object}"),
        None => format!("accepted: {list}{or_object}"),
    };
    faults.add(at, format!("{} is not known here", quoted(sent)), remedy);
    false
}

fn text_fits(form: &Value, at: &str, text: &str, faults: &mut Faults) -> bool {
    let length = text.chars().count() as u64;
    if form["maxLength"].as_u64().is_some_and(|most| length > most) {
        faults.add(at, format!("the text has {length} characters"), format!("give at most {}", form["maxLength"]));
        return false;
    }
    if form["minLength"].as_u64().is_some_and(|least| length < least) {
        faults.add(at, "the text is empty", "write something");
        return false;
    }
    true
}

fn number_fits(form: &Value, at: &str, value: &mut Value, faults: &mut Faults) -> bool {
    let Some(x) = value.as_f64() else { return false };
    let (least, most) = (form["minimum"].as_f64(), form["maximum"].as_f64());
    if least.is_some_and(|m| x < m) || most.is_some_and(|m| x > m) {
        faults.add(at, format!("it is {value}"), format!("give {} to {}", form["minimum"], form["maximum"]));
        return false;
    }
    if types(form).any(|t| t == "integer") && !value.is_u64() {
        // Every whole number of the schema is bounded, so this neither cuts nor wraps.
        *value = Value::from(x as u64);
    }
    true
}

/// The nearest known name, if one is near.
fn nearest<'a>(name: &str, known: &[&'a str]) -> Option<&'a str> {
    let plain = snake(name.chars().take(60));
    let meant = SYNONYMS.iter().find(|(word, _)| *word == plain).map(|(_, meant)| *meant);
    if let Some(found) = known.iter().find(|k| Some(**k) == meant) {
        return Some(found);
    }
    known
        .iter()
        .map(|k| (strsim::damerau_levenshtein(&plain, k), *k))
        .filter(|(distance, k)| *distance <= 1 + k.len() / 5 && *distance < k.len().max(2) - 1)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, k)| k)
}

/// A name as names are written here.
fn snake(name: impl Iterator<Item = char>) -> String {
    let mut out = String::new();
    let mut after_small = false;
    for c in name {
        if c.is_uppercase() && after_small {
            out.push('_');
        }
        after_small = c.is_lowercase();
        out.extend(if c == '-' || c == ' ' { '_' } else { c }.to_lowercase());
    }
    out
}

fn first_sentence(text: &str) -> String {
    let line = text.replace('\n', " ");
    let end = line.find(". ").unwrap_or(line.len());
    line[..end].trim_end_matches('.').to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The walk chooses a form of a union by its JSON type: no two may share one.
    #[test]
    fn forms_differ_in_type() {
        for schema in REQUEST.components.values() {
            for (name, inner) in properties(schema) {
                let mut seen: Vec<&str> = REQUEST.forms(inner).iter().flat_map(|f| types(f)).collect();
                let all = seen.len();
                seen.sort_unstable();
                seen.dedup();
                assert_eq!(seen.len(), all, "{name}");
                assert!(all > 0, "{name} has no type");
            }
        }
    }

    #[test]
    fn names_that_are_near() {
        let known = ["length", "mass", "centre_of_gravity", "diameter", "drag_coefficient"];
        for (sent, meant) in [
            ("lenght", Some("length")),
            ("Mass", Some("mass")),
            ("centerOfGravity", Some("centre_of_gravity")),
            ("center-of-gravity", Some("centre_of_gravity")),
            ("CG", Some("centre_of_gravity")),
            ("weight", Some("mass")),
            ("dragCoefficient", Some("drag_coefficient")),
            ("colour", None),
            ("x", None),
        ] {
            assert_eq!(nearest(sent, &known), meant, "{sent}");
        }
    }
}
