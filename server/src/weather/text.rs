//! The groups of a message with their places, and faults that name both.

use crate::wire::units::{Unreadable, quoted};

/// A group of a message: what stands between spaces.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Group<'a> {
    /// Its characters.
    pub text: &'a str,
    /// Which it is in the message, from 1.
    pub number: usize,
    /// Its line, from 1.
    pub line: usize,
    /// Its first column, in characters from 1.
    pub column: usize,
}

impl Group<'_> {
    /// Column after its last character.
    pub fn end(&self) -> usize {
        self.column + self.text.chars().count()
    }

    /// What is wrong with it, and what was expected.
    pub fn fault(&self, wrong: &str, remedy: impl Into<String>) -> Unreadable {
        let Self { text, number, line, column } = self;
        Unreadable {
            problem: format!("group {number} (line {line}, column {column}), {}, {wrong}", quoted(text)),
            remedy: remedy.into(),
        }
    }
}

/// The groups of a text. Some editors put a mark of the encoding in front.
pub fn groups(text: &str) -> Vec<Group<'_>> {
    let mut found: Vec<Group<'_>> = Vec::new();
    for (index, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        let mut start = None;
        // A space after the end closes the last group.
        let ends = line.char_indices().chain(core::iter::once((line.len(), ' ')));
        for (column, (at, c)) in ends.enumerate() {
            match (c.is_whitespace(), start) {
                (false, None) => start = Some((at, column)),
                (true, Some((from, first))) => {
                    let number = found.len() + 1;
                    found.push(Group { text: &line[from..at], number, line: index + 1, column: first + 1 });
                    start = None;
                }
                _ => {}
            }
        }
    }
    found
}

/// What is wrong when a text ends too early, after its last group.
pub fn ended(groups: &[Group<'_>], missing: &str, remedy: impl Into<String>) -> Unreadable {
    let problem = match groups.last() {
        Some(last) => format!(
            "the text ends after group {} (line {}, column {}), {}, where {missing} should follow",
            last.number,
            last.line,
            last.column,
            quoted(last.text)
        ),
        None => format!("the text holds nothing, where {missing} should stand"),
    };
    Unreadable { problem, remedy: remedy.into() }
}

/// A number of nothing but so many digits.
pub fn digits(text: &str, count: usize) -> Option<u32> {
    let plain = text.len() == count && text.bytes().all(|b| b.is_ascii_digit());
    text.parse().ok().filter(|_| plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_know_their_places() {
        let found: Vec<_> = groups("\u{feff}METAR  KABQ\r\n\té 1 ").into_iter().collect();
        let places: Vec<_> = found.iter().map(|g| (g.text, g.number, g.line, g.column)).collect();
        assert_eq!(places, [("METAR", 1, 1, 1), ("KABQ", 2, 1, 8), ("é", 3, 2, 2), ("1", 4, 2, 4)]);
        assert_eq!(groups(" \n"), []);
    }

    #[test]
    fn digits_are_digits_only() {
        assert_eq!(digits("007", 3), Some(7));
        for text in ["", "+07", "7", "0007", "٣٣٣"] {
            assert_eq!(digits(text, 3), None, "{text}");
        }
    }
}
