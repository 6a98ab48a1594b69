//! One flight card made of layers: what is shared, and what is laid over it (JSON Merge Patch, RFC 7396). A fault of the
//! whole is told at the layer that holds the place.

use std::sync::Arc;

use serde_json::{Map, Value};

use super::request::LawRequest;
use super::{Asked, FieldFault};

/// Most bytes of layers that are read for one request, those of every flight card counted: seconds, not minutes.
pub const MOST_READ: usize = 64_000_000;

/// A part of a request that is laid over the flight card.
#[derive(Debug, Clone)]
pub struct Layer {
    /// Where it stands in the request: a JSON Pointer.
    pub at: String,
    /// Where it is laid in the flight card: a JSON Pointer, empty for the whole.
    pub mount: &'static str,
    /// What is laid there; many flight cards may share it.
    pub value: Arc<Value>,
    /// Members of the flight card that it may give, where that is not all: what is missing is not told in it otherwise.
    pub own: &'static [&'static str],
}

impl Layer {
    /// Takes a member of the flight card out of it.
    pub fn take_away(&mut self, member: &str) {
        if self.value.get(member).is_some() {
            let mut value = Value::clone(&self.value);
            value.as_object_mut().and_then(|members| members.remove(member));
            self.value = Arc::new(value);
        }
    }
}

/// Layers, the lowest first.
#[derive(Debug, Clone, Default)]
pub struct Layers(pub Vec<Layer>);

impl Layers {
    /// The flight card they make.
    pub fn merged(&self) -> Value {
        let mut whole = Value::Object(Map::new());
        for layer in &self.0 {
            let parts = layer.mount.rsplit('/').filter(|part| !part.is_empty());
            let patch = parts
                .fold(Value::clone(&layer.value), |inner, part| Value::Object(Map::from_iter([(part.into(), inner)])));
            give_way(&mut whole, &patch);
            json_patch::merge(&mut whole, &patch);
        }
        whole
    }

    /// Reads the flight card they make, or every fault of it at its place in the request.
    pub fn read(&self) -> Result<Asked, Vec<FieldFault>> {
        let merged = self.merged();
        super::asked(merged, &[]).map_err(|mut faults| {
            faults.iter_mut().for_each(|fault| fault.pointer = self.place(&fault.pointer));
            faults
        })
    }

    /// Where a place of the flight card stands in the request: in the topmost layer that holds most of the way to it.
    fn place(&self, pointer: &str) -> String {
        let held = |layer: &Layer| {
            let inside = pointer.strip_prefix(layer.mount)?;
            if !inside.is_empty() && !inside.starts_with('/') {
                return None;
            }
            let first = inside.split('/').nth(1).unwrap_or_default();
            let may_have = layer.own.is_empty() || layer.own.contains(&first) || layer.value.get(first).is_some();
            if !first.is_empty() && !may_have {
                return None;
            }
            let mut node = &*layer.value;
            let mut depth = layer.mount.matches('/').count();
            for part in inside.split('/').skip(1) {
                let part = part.replace("~1", "/").replace("~0", "~");
                let next = match node {
                    Value::Array(items) => part.parse::<usize>().ok().and_then(|k| items.get(k)),
                    node => node.get(&part),
                };
                let Some(next) = next else { break };
                (node, depth) = (next, depth + 1);
            }
            Some((depth, format!("{}{inside}", layer.at)))
        };
        // The last of equals is the topmost.
        self.0
            .iter()
            .filter_map(held)
            .max_by_key(|(depth, _)| *depth)
            .map_or_else(|| pointer.to_string(), |found| found.1)
    }
}

/// A distribution is of one kind: what is laid over one of another kind takes its place.
fn give_way(whole: &mut Value, patch: &Value) {
    for (name, above) in patch["spread"].as_object().into_iter().flatten() {
        let below = whole.get_mut("spread").and_then(|spread| spread.get_mut(name));
        if let (Some(Value::Object(below)), Value::Object(above)) = (below, above)
            && above.iter().any(|(kind, law)| LawRequest::KINDS.contains(&kind.as_str()) && !law.is_null())
        {
            below.retain(|kind, _| above.contains_key(kind));
        }
    }
}

/// What is laid over a flight card and gives a wind takes away the weather below it, and the other way round.
pub fn in_place_of(members: &mut Map<String, Value>) {
    let gives = |members: &Map<String, Value>, name: &str| members.get(name).is_some_and(|value| !value.is_null());
    let away: &[&str] = match (gives(members, "wind"), gives(members, "weather")) {
        (true, false) => &["weather", "launch_at"],
        (false, true) => &["wind"],
        _ => &[],
    };
    for name in away {
        members.entry(*name).or_insert(Value::Null);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn layers() -> Layers {
        const OWN: &[&str] = &["card", "launch"];
        let layer = |at: &str, mount, value| Layer {
            at: at.into(),
            mount,
            value: Arc::new(value),
            own: if at.starts_with("/entries") { OWN } else { &[] },
        };
        Layers(vec![
            layer("", "", json!({"launch": {"rail_length": 1.2, "azimuth": 3}, "wind": {"surface": {"speed": 1}}})),
            layer("/entries/2", "", json!({"card": {"name": "a", "motor": {"code": "C6-5"}}, "launch": {"tilt": 3}})),
            layer("/entries/2/changes", "", json!({"card": {"motor": {"code": null, "diameter": 0.018}}})),
            layer("/axes/tilts/1", "/launch/tilt", json!("5 deg")),
        ])
    }

    #[test]
    fn layers_are_merged_member_by_member() {
        let expected = json!({
            "launch": {"rail_length": 1.2, "azimuth": 3, "tilt": "5 deg"},
            "wind": {"surface": {"speed": 1}},
            "card": {"name": "a", "motor": {"diameter": 0.018}},
        });
        assert_eq!(layers().merged(), expected);
    }

    #[test]
    fn a_distribution_takes_the_place_of_one_of_another_kind() {
        let of = |spread: Value| Layer {
            at: String::new(),
            mount: "",
            value: Arc::new(json!({"spread": spread})),
            own: &[],
        };
        let day =
            json!({"drag": {"normal": {"mean": 1.1, "sd": 0.1}}, "wind": {"component_sd": 2}, "mass": {"fixed": 1}});
        for (own, expected) in [
            (json!({"drag": {"fixed": 1.2}}), json!({"drag": {"fixed": 1.2}})),
            (json!({"drag": {"normal": {"sd": 0.2}}}), json!({"drag": {"normal": {"mean": 1.1, "sd": 0.2}}})),
            (json!({"drag": {"normal": null}}), json!({"drag": {}})),
            (json!({"drag": {"nonsense": 1}}), json!({"drag": {"normal": {"mean": 1.1, "sd": 0.1}, "nonsense": 1}})),
            (json!({"drag": 1}), json!({"drag": 1})),
            (json!({"wind": {"direction_sd": 5}}), json!({"wind": {"component_sd": 2, "direction_sd": 5}})),
            (json!(1), json!(null)),
        ] {
            let mut whole = json!({"spread": day});
            for (name, value) in expected.as_object().into_iter().flatten() {
                whole["spread"][name] = value.clone();
            }
            if expected.is_null() {
                whole["spread"] = own.clone();
            }
            assert_eq!(Layers(vec![of(day.clone()), of(own.clone())]).merged(), whole, "{own}");
        }
    }

    #[test]
    fn places_are_told_where_they_stand() {
        for (place, told) in [
            ("/wind/surface/speed", "/wind/surface/speed"),
            ("/wind/surface/direction", "/wind/surface/direction"),
            ("/launch/rail_length", "/launch/rail_length"),
            ("/launch/tilt", "/axes/tilts/1"),
            ("/site", "/site"),
            ("/card/name", "/entries/2/card/name"),
            ("/card/motor/diameter", "/entries/2/changes/card/motor/diameter"),
            ("/card/airframe", "/entries/2/changes/card/airframe"),
        ] {
            assert_eq!(layers().place(place), told, "{place}");
        }
    }
}
