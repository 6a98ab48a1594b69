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
use utoipa::ToSchema;

use super::day::DayRequest;
use super::fault::{Faults, escaped};
use super::share::ShareRequest;
use super::sweep::SweepRequest;
use super::units::{self, quoted};
use super::{AssessmentRequest, WeatherRequest};

/// The schema of a flight card with its question.
pub static ASSESSMENT: LazyLock<Schema> = LazyLock::new(Schema::of::<AssessmentRequest>);
/// The schema of weather to decode.
pub static WEATHER: LazyLock<Schema> = LazyLock::new(Schema::of::<WeatherRequest>);

/// The schema of a day.
pub static DAY: LazyLock<Schema> = LazyLock::new(Schema::of::<DayRequest>);

/// The schema of a sweep.
pub static SWEEP: LazyLock<Schema> = LazyLock::new(Schema::of::<SweepRequest>);

/// The schema of what is to be shared.
pub static SHARE: LazyLock<Schema> = LazyLock::new(Schema::of::<ShareRequest>);

/// What people write, and what it is called here.
const SYNONYMS: &[(&str, &str)] = &[
    ("altitude", "elevation"),
    ("altitude", "field_elevation"),
    ("angle", "tilt"),
    ("backup", "backup_delay"),
    ("cd", "drag_coefficient"),
    ("cg", "centre_of_gravity"),
    ("cog", "centre_of_gravity"),
    ("cop", "centre_of_pressure"),
    ("cp", "centre_of_pressure"),
    ("drag", "drag_coefficient"),
    ("edge", "edges"),
    ("elevation", "field_elevation"),
    ("elevation", "tilt"),
    ("fb", "winds_aloft"),
    ("fd", "winds_aloft"),
    ("heading", "azimuth"),
    ("height_agl", "height_above_ground"),
    ("height_msl", "height_above_sea"),
    ("lat", "latitude"),
    ("lng", "longitude"),
    ("lon", "longitude"),
    ("parachute", "first"),
    ("pressure", "altimeter_setting"),
    ("pressure", "station_pressure"),
    ("qfe", "station_pressure"),
    ("qnh", "altimeter_setting"),
    ("rod_length", "rail_length"),
    ("speci", "metar"),
    ("temp", "sounding"),
    ("title", "name"),
    ("transitions", "shoulders_and_boattails"),
    ("variation", "declination"),
    ("weight", "mass"),
    ("winds", "winds_aloft"),
];

/// What a list looks like, by the end of its place, and a list inside it.
const LISTS: &[(&str, &str, &str)] = &[
    ("areas", "[{\"name\": \"spectators\", \"circle\": {\"east\": 0, \"north\": -80, \"radius\": 20}}]", ""),
    (
        "arrangements",
        "[{\"name\": \"thin line\", \"edge_width\": \"3 mm\", \"runs\": [[{\"length\": \"3 m\", \"strength\": \"900 N\", \"fibre\": \"aramid\"}]]}]",
        "",
    ),
    ("delays", "[5, 7, 10]", ""),
    (
        "runs",
        "[[{\"length\": \"3 m\", \"strength\": \"900 N\", \"fibre\": \"aramid\"}]]",
        "[{\"length\": \"3 m\", \"strength\": \"900 N\", \"fibre\": \"aramid\"}]",
    ),
    ("deploy_speed", "[\"35 mph\", \"100 mph\"]", ""),
    ("drag_table", "[{\"mach\": 0.3, \"drag_coefficient\": 0.55}]", ""),
    ("electronics", "[{\"fires_at\": \"apogee\"}]", ""),
    (
        "coordinates",
        "[[[-71.002, 42.699], [-70.998, 42.699], [-70.998, 42.701], [-71.002, 42.699]]]",
        "[-71.002, 42.699]",
    ),
    (
        "features",
        "[{\"type\": \"Feature\", \"properties\": {\"name\": \"field\", \"role\": \"field\"}, \"geometry\": {...}}]",
        "",
    ),
    ("layers", "[{\"height_above_ground\": \"1000 ft\", \"speed\": \"8 kt\", \"direction\": 265}]", ""),
    (
        "wind/members",
        "[{\"surface\": {\"speed\": \"8 kt\", \"direction\": 265, \"measuring_height\": \"10 m\"}}, {\"surface\": {\"speed\": \"12 kt\", \"direction\": 280, \"measuring_height\": \"10 m\"}}]",
        "",
    ),
    (
        "members",
        "[{\"winds_aloft\": \"DATA BASED ON ...\", \"station\": \"ABQ\"}, {\"sounding\": \"TTAA 81001 72518 ...\"}]",
        "",
    ),
    ("polygon", "[[-50, -60], [50, -60], [50, -90]]", "[-50, -60]"),
    ("pads", "[{\"name\": \"A\", \"east\": 20, \"north\": 0}]", ""),
    ("sample", "[0.98, 1.01, 1.03]", ""),
    ("thrust_curve", "[[0, 0], [0.1, 40], [1.2, 35], [1.5, 0]]", "[0.1, 40]"),
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
            "which bearings are magnetic is said of each",
            "leave it out and mark each bearing that was read from a compass, such as \"240 deg magnetic\", beside site.declination; weather reports are true already",
        )),
        _ if pointer.ends_with("/geometry/type") && ["point", "linestring"].iter().any(|kind| word.ends_with(kind)) => {
            Some(("points and lines have no area", "draw it as a Polygon, or leave the feature out"))
        }
        _ => None,
    }
}

/// What a schema says of a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// What it is, in words.
    pub about: String,
    /// Whether what it belongs to needs it.
    pub needed: bool,
    /// The JSON types that it may have.
    pub types: Vec<String>,
    /// The words that it may be.
    pub words: Vec<String>,
    /// The most characters of a text.
    pub longest: Option<u64>,
}

/// The published schema of a request, ready to walk along.
pub struct Schema {
    root: Value,
    components: BTreeMap<String, Value>,
    /// Where each field name stands, outside lists.
    places: BTreeMap<String, Vec<String>>,
    /// What each object must hold, outside lists.
    required: BTreeMap<String, Vec<String>>,
}

impl Schema {
    fn of<T: ToSchema>() -> Self {
        let json = |schema| serde_json::to_value(schema).unwrap_or_default();
        let mut named = Vec::new();
        T::schemas(&mut named);
        let components = named.into_iter().map(|(name, schema)| (name, json(schema))).collect();
        let root = json(T::schema());
        let mut schema = Self { root, components, places: BTreeMap::new(), required: BTreeMap::new() };
        let (mut places, mut required) = (BTreeMap::new(), BTreeMap::new());
        schema.note_places(&schema.root, "", &mut places, &mut required);
        (schema.places, schema.required) = (places, required);
        schema
    }

    /// Cuts out of a body what does not fit, noting each fault.
    pub fn prune(&self, body: &mut Value, faults: &mut Faults) {
        if !self.fits(&self.root, "", body, faults) {
            *body = Value::Object(Map::new());
        }
    }

    /// What it says of a place: a JSON Pointer, with "-" for any item of a list.
    pub fn place(&self, pointer: &str) -> Option<Place> {
        let (mut schema, mut needed) = (&self.root, false);
        for name in pointer.split('/').skip(1) {
            let mut forms = self.forms(schema).into_iter();
            (schema, needed) = if name == "-" {
                (forms.find_map(|form| form.get("items"))?, false)
            } else {
                forms.find_map(|form| {
                    let required = form["required"].as_array().into_iter().flatten();
                    Some((form["properties"].get(name)?, required.filter_map(Value::as_str).any(|r| r == name)))
                })?
            };
        }
        let forms = self.forms(schema);
        // A reference's own words first; then those of what it may be.
        let inner = schema["oneOf"].as_array().into_iter().flatten();
        let about = std::iter::once(schema).chain(inner).find_map(|s| s["description"].as_str()).unwrap_or_default();
        let texts = |list: Vec<&str>| list.into_iter().map(String::from).collect();
        Some(Place {
            about: about.replace('\n', " "),
            needed,
            types: texts(forms.iter().flat_map(|form| types(form)).filter(|t| *t != "null").collect()),
            words: texts(forms.iter().flat_map(|f| f["enum"].as_array()).flatten().filter_map(Value::as_str).collect()),
            longest: forms.iter().find_map(|form| form["maxLength"].as_u64()),
        })
    }

    fn note_places(
        &self,
        schema: &Value,
        at: &str,
        places: &mut BTreeMap<String, Vec<String>>,
        required: &mut BTreeMap<String, Vec<String>>,
    ) {
        for form in self.forms(schema) {
            let names = form["required"].as_array().into_iter().flatten().filter_map(Value::as_str).map(String::from);
            required.entry(at.into()).or_default().extend(names);
            for (name, inner) in properties(form) {
                let place = format!("{at}/{name}");
                self.note_places(inner, &place, places, required);
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
        // What has no type is read by hand.
        if let [form] = forms[..]
            && types(form).next().is_none()
        {
            return true;
        }
        let Some(form) = forms.iter().find(|form| types(form).any(|t| has_type(value, t))) else {
            faults.add(at, format!("{} stands here", described(value)), self.expected(at, &forms, value));
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
        // What is laid over a copy, or a document of another standard: checked where it is read.
        if form["properties"].is_null() {
            return;
        }
        members.retain(|name, value| {
            let place = format!("{at}/{}", escaped(name));
            let Some(inner) = form["properties"].get(name) else {
                if form["additionalProperties"] == true {
                    return true;
                }
                self.unknown(form, at, &place, (name, value), faults);
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

    fn unknown(&self, form: &Value, at: &str, place: &str, (name, value): (&str, &Value), faults: &mut Faults) {
        if faults.full() {
            return faults.add(place, "", "");
        }
        let known: Vec<&str> = properties(form).map(|(n, _)| n.as_str()).collect();
        let near = nearest(name, &known);
        for near in &near {
            faults.explain(format!("{at}/{near}"));
        }
        let near: Vec<String> = near.iter().map(|n| format!("\"{n}\"")).collect();
        let places: Vec<&String> = self.places.get(name).into_iter().flatten().filter(|p| own(p, at)).collect();
        let remedy = if near == ["\"tilt\""] && name.eq_ignore_ascii_case("elevation") {
            if is_angle(value) {
                "did you mean \"tilt\"? it is measured from vertical: an elevation of 85 deg is a tilt of 5 deg".into()
            } else {
                "the field's height above sea level belongs to /site/elevation; the angle of the rail is \"tilt\""
                    .into()
            }
        } else if !near.is_empty() {
            format!("did you mean {}?", near.join(" or "))
        } else if (1..=3).contains(&places.len()) {
            let told: Vec<String> = places.iter().map(|place| self.told(place)).collect();
            format!("it belongs to {}", told.join(" or "))
        } else {
            format!("known here: {}", known.join(", "))
        };
        faults.add(place, format!("there is no field {} here", quoted(name)), remedy);
    }

    /// A place, with what has to stand beside it.
    fn told(&self, place: &str) -> String {
        let (parent, name) = place.rsplit_once('/').unwrap_or(("", place));
        let beside: Vec<&str> = self.required.get(parent).into_iter().flatten().map(String::as_str).collect();
        let beside: Vec<&str> = beside.into_iter().filter(|other| *other != name).collect();
        match beside[..] {
            // Beside the whole card stands most of it: no help.
            [] => place.into(),
            _ if beside.len() > 3 => place.into(),
            _ => format!("{place}, beside {}", beside.join(" and ")),
        }
    }

    fn array(&self, form: &Value, at: &str, items: &mut [Value], faults: &mut Faults) -> bool {
        let least = form["minItems"].as_u64().unwrap_or(0) as usize;
        let most = form["maxItems"].as_u64().map_or(usize::MAX, |n| n as usize);
        if items.len() < least || items.len() > most {
            let allowed = match (least, most) {
                _ if least == most => format!("exactly {most}"),
                (0, _) => format!("at most {most}"),
                (_, usize::MAX) => format!("at least {least}"),
                _ => format!("{least} to {most}"),
            };
            let example = list_example(at).map(|list| format!(", such as {list}")).unwrap_or_default();
            faults.add(at, format!("the list has {} items", items.len()), format!("give {allowed}{example}"));
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

    fn expected(&self, at: &str, forms: &[&Value], sent: &Value) -> String {
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
            _ => {
                let wanted: Vec<&str> = wanted.iter().map(|t| type_name(t)).collect();
                let example = list_example(at).map(|list| format!(", such as {list}")).unwrap_or_default();
                format!("give {}{example}", wanted.join(" or "))
            }
        }
    }
}

/// What a list at this place looks like.
fn list_example(at: &str) -> Option<&'static str> {
    let place = at.trim_end_matches(|c: char| c.is_ascii_digit() || c == '/');
    let (_, list, item) = LISTS.iter().find(|(name, ..)| place.strip_suffix(name).is_some_and(|p| p.ends_with('/')))?;
    Some(if at == place { *list } else { *item }).filter(|text| !text.is_empty())
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
    let remedy = match nearest(sent, &known).first() {
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

/// Whether a place is worth naming to someone who wrote its name at `at`. Names of spreads repeat those of what is spread.
fn own(place: &str, at: &str) -> bool {
    !place.starts_with("/spread/") || at.starts_with("/spread")
}

/// Whether a value is an angle rather than a height.
fn is_angle(value: &Value) -> bool {
    match value {
        Value::String(text) => units::ANGLE.text(text).is_ok(),
        value => value.as_f64().is_some_and(|x| (0.0..=90.0).contains(&x)),
    }
}

/// The known names that were perhaps meant.
fn nearest<'a>(name: &str, known: &[&'a str]) -> Vec<&'a str> {
    let plain = snake(name.chars().take(60));
    let meant = SYNONYMS.iter().filter(|(word, _)| *word == plain).map(|(_, meant)| *meant);
    let meant: Vec<&str> = meant.filter_map(|meant| known.iter().copied().find(|k| *k == meant)).collect();
    if !meant.is_empty() {
        return meant;
    }
    let near = known
        .iter()
        .map(|k| (strsim::damerau_levenshtein(&plain, k), *k))
        .filter(|(distance, k)| *distance <= 1 + k.len() / 5 && *distance < k.len().max(2) - 1)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, k)| k);
    near.into_iter().collect()
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
        let all = [&*ASSESSMENT, &*WEATHER, &*DAY, &*SWEEP, &*SHARE].into_iter();
        for (request, schema) in all.flat_map(|request| request.components.values().map(move |s| (request, s))) {
            for (name, inner) in properties(schema) {
                let mut seen: Vec<&str> = request.forms(inner).iter().flat_map(|f| types(f)).collect();
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
            assert_eq!(nearest(sent, &known).first().copied(), meant, "{sent}");
        }
    }
}
