//! A document of JSON read by hand: its values with their places, and faults that name them.

use serde_json::{Map, Value};

use super::fault::escaped;
use super::units::Unreadable;

/// What is wrong, and where in the document.
#[derive(Debug, Clone, PartialEq)]
pub struct Misplaced {
    /// JSON Pointer from the document's root.
    pub pointer: String,
    /// What, and how to mend it.
    pub unreadable: Unreadable,
}

/// What was read of a document, or what is wrong with it.
pub type Read<T> = Result<T, Misplaced>;

/// A value of the document with its place.
#[derive(Debug, Clone)]
pub struct Node<'a> {
    /// The value.
    pub value: &'a Value,
    /// JSON Pointer from the document's root.
    pub at: String,
    /// What says what stands where.
    of: &'static str,
}

impl<'a> Node<'a> {
    /// The root of a document.
    pub fn root(value: &'a Value, of: &'static str) -> Self {
        Self { value, at: String::new(), of }
    }

    /// What is wrong with it, and the remedy.
    pub fn fault(&self, problem: impl Into<String>, remedy: impl Into<String>) -> Misplaced {
        Misplaced {
            pointer: self.at.clone(),
            unreadable: Unreadable { problem: problem.into(), remedy: remedy.into() },
        }
    }

    fn expected(&self, about: &str) -> String {
        format!("{} has {about} there", self.of)
    }

    /// What is inside it under a name, if it is there.
    pub fn member(&self, name: &str) -> Option<Self> {
        let value = self.value.get(name).filter(|v| !v.is_null())?;
        Some(Self { value, at: format!("{}/{}", self.at, escaped(name)), of: self.of })
    }

    /// The same where it has to be there.
    pub fn need(&self, name: &str, about: &str) -> Read<Self> {
        if let Some(member) = self.member(name) {
            return Ok(member);
        }
        // Whatever is inside what is no object has no place.
        self.object(&format!("an object with {about} as {name:?}"))?;
        Err(Misplaced {
            pointer: format!("{}/{}", self.at, escaped(name)),
            unreadable: Unreadable { problem: "it is missing".into(), remedy: self.expected(about) },
        })
    }

    /// Its members.
    pub fn object(&self, about: &str) -> Read<&'a Map<String, Value>> {
        self.value.as_object().ok_or_else(|| self.fault("it is no object", self.expected(about)))
    }

    /// Its items.
    pub fn items(&self, about: &str) -> Read<&'a Vec<Value>> {
        self.value.as_array().ok_or_else(|| self.fault("it is no list", self.expected(about)))
    }

    /// Its items with their places.
    pub fn list(&self, about: &str) -> Read<impl ExactSizeIterator<Item = Self>> {
        Ok(self.items(about)?.iter().enumerate().map(|(index, value)| self.item(index, value)))
    }

    /// An item with its place.
    pub fn item(&self, index: usize, value: &'a Value) -> Self {
        Self { value, at: format!("{}/{index}", self.at), of: self.of }
    }

    /// Its text; empty where it is none.
    pub fn text(&self) -> &'a str {
        self.value.as_str().unwrap_or_default()
    }
}
