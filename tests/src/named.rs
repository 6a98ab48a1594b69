//! What is told of a refused body names the place in it that is to be mended.

use serde_json::Value;

/// A fault as it is told: where, what, and the remedy.
pub type Told<'a> = [&'a str; 3];

/// What the faults lack that were told of a body; nothing, if whoever sent it can mend it. Where a name stands twice it is not
/// known what was meant: what is told beside it may follow from it.
pub fn lacks(sent: &Value, faults: &[Told]) -> Option<String> {
    let is_twice = |[_, problem, _]: &&Told| *problem == "this name stands twice in its object";
    let twice: Vec<&Told> = faults.iter().filter(is_twice).collect();
    let looked_at = if twice.is_empty() { faults.iter().collect() } else { twice };
    if looked_at.is_empty() {
        return Some("it was refused for nothing".into());
    }
    looked_at.into_iter().find_map(|fault| lack(sent, fault))
}

fn lack(sent: &Value, [pointer, problem, remedy]: &Told) -> Option<String> {
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
        let one = |sent: &Value, fault: Told| lacks(sent, &[fault]).is_none();
        for pointer in ["/card", "/card/a~1b", "/card/a~1b/1/c", "/card/a~1b/1/missing", "/missing/deeper", "/wind"] {
            assert!(one(&sent, [pointer, "it is missing", "give it"]), "{pointer}");
        }
        for pointer in ["", "card", "/card/a~1b/2", "/card/a~1b/x", "/wind/speed"] {
            assert!(!one(&sent, [pointer, "it is missing", "give it"]), "{pointer}");
        }
        assert!(one(&json!([]), ["", "it is no object", "give one"]));
        assert!(one(&sent, ["", "105 faults; the first 100 are listed", "mend these first"]));
        assert!(!one(&sent, ["/card", " ", "give it"]) && !one(&sent, ["/card", "it is missing", ""]));
        assert!(lacks(&sent, &[]).is_some());
        let twice = ["/wind", "this name stands twice in its object", "give it once"];
        let follows = ["/wind/speed", "it is missing", "give it"];
        assert!(lacks(&sent, &[follows, twice]).is_none() && lacks(&sent, &[follows]).is_some());
    }
}
