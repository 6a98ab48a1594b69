//! An answer as text for a terminal.

use crate::wire::Assessment;

/// The table.
pub fn table(answer: &Assessment) -> String {
    answer.id.clone()
}
