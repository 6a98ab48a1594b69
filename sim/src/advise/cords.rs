//! What a reader should mind about cord and tube edge.

use crate::case::{Case, WallInput};
use crate::report::{Caution, CordsReport};

const RULE: &str = "no published load was found at which a cord cuts down the wall of a tube";
/// A cord that breaks in more than this share of the flights is worth a word.
const BREAKS: f64 = 0.01;

/// Everything to mind about cord and tube edge.
pub fn cord_cautions(report: &CordsReport, case: &Case) -> Vec<Caution> {
    let guessed = case.inputs.cords.as_ref().is_some_and(|c| matches!(c.wall, WallInput::Tube { .. }));
    let resistance = if guessed {
        "What the tube's edge bears is GUESSED from the strength of flat sheet: no value is published."
    } else {
        "What the tube's edge bears is the request's own figure: no value is published."
    };
    let mut list = vec![Caution {
        topic: "cords",
        message: format!(
            "{resistance} The chances that it tears hang on it more than on anything else: beside each stands what it would be if the edge bore half, and twice as much. Their intervals cover sampling only. They compare cords better than they foretell a tear. Only nose section and airframe as they part are in the pull, each strand whole; the canopy's own load when it opens is not."
        ),
        rule: RULE,
    }];
    let breaking: Vec<&str> = report
        .arrangements
        .iter()
        .enumerate()
        .filter(|(k, _)| report.ways.iter().any(|way| way[*k].breaks.estimate > BREAKS))
        .map(|(_, name)| name.as_str())
        .collect();
    if !breaking.is_empty() {
        list.push(Caution {
            topic: "cord_breaks",
            message: format!(
                "A part of the cord may break in more than one flight in a hundred ({}): what hangs on it comes down by itself. The chance that the edge tears is told as if every part held.",
                breaking.join(", ")
            ),
            rule: "strength as it was given, knots and wear left out",
        });
    }
    list
}
