//! Faults of a request, gathered by pointer.

use serde_json::Value;

use super::FieldFault;

/// Most faults of one reply: more help nobody and would let a bad body make a huge answer.
pub const MOST: usize = 100;
/// A text that was sent is echoed up to this many characters.
const MOST_ECHOED: usize = 200;

/// Gathers every fault; each place is faulted by whoever saw it first.
pub struct Faults<'a> {
    sent: &'a Value,
    list: Vec<FieldFault>,
    more: usize,
    /// Places that are not faulted themselves but explained by another fault.
    explained: Vec<String>,
}

impl<'a> Faults<'a> {
    /// No fault yet in what was sent.
    pub fn new(sent: &'a Value) -> Self {
        Self { sent, list: Vec::new(), more: 0, explained: Vec::new() }
    }

    /// Notes a fault, unless its place, a part of it or what holds it has been faulted before.
    pub fn add(&mut self, pointer: impl Into<String>, problem: impl Into<String>, remedy: impl Into<String>) {
        let pointer = pointer.into();
        if self.covers(&pointer) {
            return;
        }
        if self.full() {
            self.more += 1;
            return;
        }
        let sent = self.sent.pointer(&pointer).and_then(echo);
        self.list.push(FieldFault { pointer, problem: problem.into(), remedy: remedy.into(), sent });
    }

    /// Notes names that stand twice in one object: which of them was meant is not known.
    pub fn add_repeated<'p>(&mut self, places: impl IntoIterator<Item = &'p String>) {
        for place in places {
            self.add(place, "this name stands twice in its object", "give it once");
        }
    }

    /// Whether no more faults are listed: from then on none is worth working out a remedy for.
    pub fn full(&self) -> bool {
        self.list.len() >= MOST
    }

    /// From now on says nothing about a place: another fault explains it.
    pub fn explain(&mut self, pointer: impl Into<String>) {
        self.explained.push(pointer.into());
    }

    /// Whether a place, a part of it or what holds it has been faulted.
    pub fn covers(&self, pointer: &str) -> bool {
        let faulted = self.list.iter().map(|f| &f.pointer).chain(&self.explained);
        faulted.into_iter().any(|f| within(f, pointer) || within(pointer, f))
    }

    /// Whether nothing is wrong.
    pub fn none(&self) -> bool {
        self.list.is_empty()
    }

    /// Every fault; past the most that are listed, one more entry that says how many there are.
    pub fn into_list(mut self) -> Vec<FieldFault> {
        if self.more > 0 {
            self.list.push(FieldFault {
                pointer: String::new(),
                problem: format!("{} faults; the first {MOST} are listed", MOST + self.more),
                remedy: "mend these first".into(),
                sent: None,
            });
        }
        self.list
    }
}

/// Whether one pointer is another or lies inside it.
fn within(outer: &str, inner: &str) -> bool {
    inner.strip_prefix(outer).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

/// A single value as sent; lists and objects would only make the reply long.
fn echo(value: &Value) -> Option<Value> {
    match value {
        Value::Array(_) | Value::Object(_) => None,
        Value::String(text) if text.chars().nth(MOST_ECHOED).is_some() => {
            Some(Value::String(text.chars().take(MOST_ECHOED).chain("...".chars()).collect()))
        }
        single => Some(single.clone()),
    }
}

/// A name as a part of a JSON Pointer (RFC 6901).
pub fn escaped(name: &str) -> String {
    name.replace('~', "~0").replace('/', "~1")
}
