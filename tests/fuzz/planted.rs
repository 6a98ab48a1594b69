//! Faults that are made on purpose, to see that they are found. One is chosen from outside.

use core::hint::black_box;
use std::sync::LazyLock;
use std::time::Duration;

use slowpoint_sim::case::Case;

static CHOSEN: LazyLock<String> = LazyLock::new(|| std::env::var("SLOWPOINT_PLANTED").unwrap_or_default());

/// Whether this one was chosen.
pub fn is(name: &str) -> bool {
    *CHOSEN == name
}

/// Whether a card differs from all to begin with in two ways: one after the other, so that what comes nearer is kept.
pub fn is_far(case: &Case) -> bool {
    let is_south = case.inputs.site.latitude_rad.is_some_and(|latitude_rad| latitude_rad < 0.0);
    black_box(is_south) && black_box(case.inputs.wind.layers.len() >= 3)
}

/// What was chosen happens far from the cards to begin with.
pub fn far(case: &Case) {
    if is_far(case) {
        assert!(!is("panic"), "the planted fault");
        if is("hang") {
            std::thread::sleep(Duration::from_secs(3600));
        }
    }
}
