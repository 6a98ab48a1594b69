//! Numbers that are not finite, in the debug text of an answer: there every number and every sentence of it stands, where JSON
//! would have a null.

/// The first number that is not finite, with what stands about it.
pub fn not_finite(text: &str) -> Option<String> {
    let letter = |c: Option<char>| c.is_some_and(char::is_alphanumeric);
    let alone =
        |word: &str, k: usize| !letter(text[..k].chars().next_back()) && !letter(text[k + word.len()..].chars().next());
    let at = |word: &str| text.match_indices(word).map(|m| m.0).find(|k| alone(word, *k));
    at("NaN").or(at("inf")).map(|k| text.chars().skip(text[..k].chars().count().saturating_sub(60)).take(80).collect())
}

/// A debug text without what stands in quotation marks.
pub fn without_texts(text: &str) -> String {
    let (mut kept, mut quoted, mut escaped) = (String::new(), false, false);
    for c in text.chars() {
        match c {
            _ if escaped => escaped = false,
            '\\' if quoted => escaped = true,
            '"' => quoted = !quoted,
            _ if !quoted => kept.push(c),
            _ => {}
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_finite_is_found_and_names_are_not() {
        let found = |text: &str| not_finite(&without_texts(text));
        assert_eq!(found(r#"A { name: "NaN \" inf", speed_m_s: 1.0, info: Some(2.0) }"#), None);
        for text in ["A { name: \"ä\", speed_m_s: NaN }", "[1.0, -inf]", "Some(inf)"] {
            assert!(found(text).is_some(), "{text}");
        }
        assert!(not_finite("\"NaN m/s\"").is_some());
    }
}
