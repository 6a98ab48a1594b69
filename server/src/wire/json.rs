//! JSON as it was sent, with the places of names that are repeated within an object: the decoder of values would keep the
//! last of them in silence.

use core::fmt;

use serde::Deserializer;
use serde::de::{DeserializeSeed, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Number, Value};

use super::fault::escaped;

/// Places listed; more help nobody.
const MOST: usize = 100;

/// A value and the pointers of its repeated names.
pub fn parse(text: &[u8]) -> Result<(Value, Vec<String>), serde_json::Error> {
    let mut twice = Vec::new();
    let mut reader = serde_json::Deserializer::from_slice(text);
    let value = Seed { here: &Place::Root, twice: &mut twice }.deserialize(&mut reader)?;
    reader.end()?;
    Ok((value, twice))
}

/// Where a value stands. Written out only when it is told.
enum Place<'a> {
    Root,
    Member(&'a Place<'a>, &'a str),
    Item(&'a Place<'a>, usize),
}

impl fmt::Display for Place<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Root => Ok(()),
            Self::Member(outer, name) => write!(f, "{outer}/{}", escaped(name)),
            Self::Item(outer, index) => write!(f, "{outer}/{index}"),
        }
    }
}

struct Seed<'a> {
    here: &'a Place<'a>,
    twice: &'a mut Vec<String>,
}

impl<'de> DeserializeSeed<'de> for Seed<'_> {
    type Value = Value;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Value, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Seed<'_> {
    type Value = Value;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a value")
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E>(self, x: bool) -> Result<Value, E> {
        Ok(Value::Bool(x))
    }

    fn visit_i64<E>(self, x: i64) -> Result<Value, E> {
        Ok(x.into())
    }

    fn visit_u64<E>(self, x: u64) -> Result<Value, E> {
        Ok(x.into())
    }

    fn visit_f64<E>(self, x: f64) -> Result<Value, E> {
        Ok(Number::from_f64(x).map_or(Value::Null, Value::Number))
    }

    fn visit_str<E>(self, text: &str) -> Result<Value, E> {
        Ok(Value::String(text.into()))
    }

    fn visit_string<E>(self, text: String) -> Result<Value, E> {
        Ok(Value::String(text))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<Value, A::Error> {
        let mut list = Vec::new();
        loop {
            let here = Place::Item(self.here, list.len());
            match items.next_element_seed(Seed { here: &here, twice: &mut *self.twice })? {
                Some(item) => list.push(item),
                None => return Ok(Value::Array(list)),
            }
        }
    }

    fn visit_map<A: MapAccess<'de>>(self, mut members: A) -> Result<Value, A::Error> {
        let mut map = Map::new();
        while let Some(name) = members.next_key::<String>()? {
            let here = Place::Member(self.here, &name);
            let value = members.next_value_seed(Seed { here: &here, twice: &mut *self.twice })?;
            if map.contains_key(&name) && self.twice.len() < MOST {
                self.twice.push(here.to_string());
            }
            map.insert(name, value);
        }
        Ok(Value::Object(map))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    #[test]
    fn reads_as_the_library_does_and_finds_repeated_names() {
        let text = r#"{"a": [1, -2, 2.5, "x", null, true, {"b/c": 1, "b/c": 2}], "d": {}, "d": 1e300}"#;
        let (value, twice) = parse(text.as_bytes()).unwrap();
        assert_eq!(value, serde_json::from_str::<Value>(text).unwrap());
        assert_eq!(twice, ["/a/6/b~1c", "/d"]);
        for text in ["", "{", "{} {}", "1e999", "[1,]", &"[".repeat(100_000)] {
            let ours = parse(text.as_bytes()).unwrap_err().to_string();
            assert_eq!(ours, serde_json::from_str::<Value>(text).unwrap_err().to_string());
        }
    }
}
