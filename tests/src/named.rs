//! What is told of a refused body names the place in it that is to be mended.

use serde_json::Value;

/// What a fault lacks that was told of a body; nothing, if whoever sent it can mend it.
pub fn lacks(sent: &Value, pointer: &str, problem: &str, remedy: &str) -> Option<String> {
    let lack = if problem.trim().is_empty() {
        "what is wrong"
    } else if remedy.trim().is_empty() {
        "how to mend it"
    } else if !is_place(sent, pointer) && !is_of_the_whole(pointer, problem) {
        "its place"
    } else {
        return None;
    };
    Some(format!("a fault lacks {lack}: {pointer:?}: {problem}: {remedy}"))
}

/// What can only be said of the whole: that there are more faults, that there is nothing in it, that it is too much.
const OF_THE_WHOLE: [&str; 3] = ["are listed", "there is nothing to decode", "of one answer"];

fn is_of_the_whole(pointer: &str, problem: &str) -> bool {
    pointer.is_empty() && OF_THE_WHOLE.iter().any(|end| problem.ends_with(end))
}

/// Whether a pointer (RFC 6901) leads to a value, or to where a member is missing. The whole is a place where it is no object.
fn is_place(sent: &Value, pointer: &str) -> bool {
    let Some(path) = pointer.strip_prefix('/') else { return pointer.is_empty() && !sent.is_object() };
    let mut here = sent;
    for name in path.split('/').map(|name| name.replace("~1", "/").replace("~0", "~")) {
        let inside = match here {
            Value::Object(members) => members.get(&name),
            Value::Array(items) => match name.parse::<usize>().ok().and_then(|k| items.get(k)) {
                Some(item) => Some(item),
                None => return false,
            },
            Value::Null => None,
            _ => return false,
        };
        match inside {
            Some(inside) => here = inside,
            None => return true,
        }
    }
    true
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn places_are_told_from_what_is_none() {
        let sent = json!({"card": {"a/b": [1, {"c": null}]}, "wind": 3});
        for pointer in ["/card", "/card/a~1b", "/card/a~1b/1/c", "/card/a~1b/1/missing", "/missing/deeper", "/wind"] {
            assert_eq!(lacks(&sent, pointer, "it is missing", "give it"), None, "{pointer}");
        }
        for pointer in ["", "card", "/card/a~1b/2", "/card/a~1b/x", "/wind/speed"] {
            assert!(lacks(&sent, pointer, "it is missing", "give it").is_some(), "{pointer}");
        }
        assert_eq!(lacks(&json!([]), "", "it is no object", "give one"), None);
        assert_eq!(lacks(&sent, "", "105 faults; the first 100 are listed", "mend these first"), None);
        assert!(
            lacks(&sent, "/card", " ", "give it").is_some() && lacks(&sent, "/card", "it is missing", "").is_some()
        );
    }
}
