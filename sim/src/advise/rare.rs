//! What a reader should mind about chances that were sought where they happen.

use crate::case::Case;
use crate::rare::TOLD_FROM;
use crate::report::{Caution, RareReport, percent_digits};

const RULE: &str = "importance sampling: Rubinstein and Kroese, The Cross-Entropy Method (2004), and Owen and Zhou, J. Am. Stat. Assoc. 95 (2000) 135 (both from memory)";

/// Everything to mind about rare chances.
pub fn rare_cautions(rare: &[RareReport], case: &Case) -> Vec<Caution> {
    let mut list = Vec::new();
    if rare.is_empty() {
        return list;
    }
    list.push(Caution {
        topic: "rare",
        message: format!(
            "A rare chance rests on the far ends of the spreads stated and assumed here, which nobody has measured: below {} % only that is told. It knows what this model knows and no more: no part that breaks unless a share of failures is given, no weather that the wind and its spread do not hold, no slip at the pad. Its interval covers sampling only, and of ways in which it happens only those that the search came near.",
            percent_digits(TOLD_FROM)
        ),
        rule: RULE,
    });
    if case.inputs.failures.is_empty() {
        list.push(Caution {
            topic: "rare_without_failures",
            message: "No shares of failures were given: in these rare chances everything works. What fails is likely to matter more: give failures with their shares.".into(),
            rule: RULE,
        });
    }
    list
}
