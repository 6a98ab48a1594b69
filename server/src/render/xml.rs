//! Text within XML.

use std::borrow::Cow;

/// Text as the content of an element or a value in double quotes. What XML 1.0 cannot hold at all is left out.
pub fn escaped(text: &str) -> Cow<'_, str> {
    let plain = |c: char| !matches!(c, '&' | '<' | '>' | '"') && held(c);
    if text.chars().all(plain) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len() + 16);
    for c in text.chars().filter(|c| held(*c)) {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c => out.push(c),
        }
    }
    Cow::Owned(out)
}

/// The characters of XML 1.0 (production 2); a `char` is no surrogate by itself.
fn held(c: char) -> bool {
    matches!(c, '\t' | '\n' | '\r') || (c >= ' ' && !matches!(c, '\u{fffe}' | '\u{ffff}'))
}

#[cfg(test)]
mod tests {
    use super::escaped;

    #[test]
    fn marks_become_entities() {
        assert_eq!(escaped("a < b & \"c\" > d"), "a &lt; b &amp; &quot;c&quot; &gt; d");
        assert_eq!(escaped("plain"), "plain");
        assert_eq!(escaped("a\u{0}b\u{ffff}c\td"), "abc\td");
    }
}
