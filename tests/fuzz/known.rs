//! What is known of bodies: the objects of the description with what each member may be, the values of the bodies to begin
//! with, and units.

use std::collections::{BTreeMap, HashMap};
use std::sync::LazyLock;

use rand::RngExt;
use rand::rngs::ChaCha8Rng;
use rand::seq::IndexedRandom;
use serde_json::{Map, Value};
use slowpoint_server::wire::units;

use crate::bodies;

/// How deep a value is made from the description.
const DEEPEST: usize = 4;

pub static KNOWN: LazyLock<Known> = LazyLock::new(Known::new);

pub struct Known {
    /// Schemas by their names.
    schemas: Map<String, Value>,
    /// The members of each object, with their schemas.
    objects: Vec<BTreeMap<String, Value>>,
    /// Values by the name of the member where they stand.
    values: HashMap<String, Vec<Value>>,
    pub units: Vec<String>,
}

impl Known {
    fn new() -> Self {
        let document = serde_json::to_value(slowpoint_server::routes::document()).expect("the document is JSON");
        let schemas = document["components"]["schemas"].as_object().cloned().unwrap_or_default();
        let members = |schema: &Value| Some(schema["properties"].as_object()?.clone().into_iter().collect());
        let objects = schemas.values().filter_map(members).collect();
        let mut values = HashMap::new();
        for (_, body) in bodies::seeds() {
            if let Ok(body) = serde_json::from_slice(&body) {
                gather(&body, "", &mut values);
            }
        }
        let lists = units::ALL.iter().map(|table| table.list());
        let units = lists.flat_map(|list| {
            let names = list.split(" (").next().unwrap_or_default();
            names.trim_start_matches("a bare number or ").split(", ").map(String::from).collect::<Vec<_>>()
        });
        Self { units: units.collect(), schemas, objects, values }
    }

    /// A value as it may stand under a name: from another body, or made from the description.
    pub fn value(&self, name: &str, rng: &mut ChaCha8Rng) -> Value {
        let known = self.values.get(name).filter(|_| rng.random_bool(0.5));
        if let Some(value) = known.and_then(|values| values.choose(rng)) {
            return value.clone();
        }
        let schemas: Vec<&Value> = self.objects.iter().filter_map(|members| members.get(name)).collect();
        schemas.choose(rng).map_or(Value::Null, |schema| self.made(schema, DEEPEST, rng))
    }

    /// The name of a member that an object with these may have as well, or of any.
    pub fn name(&self, beside: &Map<String, Value>, rng: &mut ChaCha8Rng) -> Option<String> {
        let fit = |members: &&BTreeMap<String, Value>| beside.keys().filter(|name| members.contains_key(*name)).count();
        let alike = if rng.random_bool(0.9) { self.objects.iter().max_by_key(fit) } else { self.objects.choose(rng) };
        let names: Vec<&String> = alike?.keys().collect();
        names.choose(rng).map(|name| (*name).clone())
    }

    /// A value that fits a schema, as far as its words tell.
    fn made(&self, schema: &Value, deepest: usize, rng: &mut ChaCha8Rng) -> Value {
        if deepest == 0 {
            return Value::Null;
        }
        if let Some(name) = schema["$ref"].as_str().and_then(|path| path.rsplit('/').next()) {
            return self.schemas.get(name).map_or(Value::Null, |schema| self.made(schema, deepest, rng));
        }
        let of = |name: &str| schema[name].as_array().map_or(&[][..], Vec::as_slice);
        if let Some(one) = [of("oneOf"), of("anyOf"), of("allOf")].concat().choose(rng) {
            return self.made(one, deepest, rng);
        }
        if let Some(one) = [of("enum"), of("examples")].concat().choose(rng) {
            return one.clone();
        }
        if let Some(example) = schema.get("example") {
            return example.clone();
        }
        let kinds: Vec<&str> = match &schema["type"] {
            Value::Array(kinds) => kinds.iter().filter_map(Value::as_str).filter(|kind| *kind != "null").collect(),
            kind => kind.as_str().into_iter().collect(),
        };
        match kinds.first().copied() {
            Some("object") => {
                let required = |name: &str| of("required").iter().any(|known| known == name);
                let members = schema["properties"].as_object().into_iter().flatten();
                let some = members.filter(|(name, _)| required(name) || rng.random_bool(0.3)).collect::<Vec<_>>();
                some.into_iter().map(|(name, member)| (name.clone(), self.made(member, deepest - 1, rng))).collect()
            }
            Some("array") => {
                (0..rng.random_range(0..4)).map(|_| self.made(&schema["items"], deepest - 1, rng)).collect()
            }
            Some("boolean") => rng.random_bool(0.5).into(),
            Some("string") => "a".into(),
            Some(_) => ["minimum", "maximum"].choose(rng).map_or(Value::Null, |end| schema[*end].clone()),
            None => Value::Null,
        }
    }
}

fn gather(value: &Value, name: &str, values: &mut HashMap<String, Vec<Value>>) {
    values.entry(name.into()).or_default().push(value.clone());
    match value {
        Value::Object(members) => members.iter().for_each(|(name, member)| gather(member, name, values)),
        Value::Array(items) => items.iter().for_each(|item| gather(item, name, values)),
        _ => {}
    }
}
