//! Faults that are made on purpose, to see that they are found. One is chosen from outside.

use std::sync::LazyLock;
use std::time::Duration;

use slowpoint_sim::case::Case;

static CHOSEN: LazyLock<String> = LazyLock::new(|| std::env::var("SLOWPOINT_PLANTED").unwrap_or_default());

/// Whether this one was chosen.
pub fn is(name: &str) -> bool {
    *CHOSEN == name
}

/// Whether a card is like none to begin with: those have other seeds.
pub fn is_new(case: &Case) -> bool {
    ![1, 3].contains(&case.inputs.question.seed)
}

/// What was chosen happens once a new card is taken.
pub fn at_new(case: &Case) {
    if is_new(case) {
        assert!(!is("panic"), "the planted fault");
        if is("hang") {
            std::thread::sleep(Duration::from_secs(3600));
        }
    }
}
