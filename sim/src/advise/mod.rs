//! What follows from the tallies. Nothing here flies.

mod calibration;
mod cautions;
mod cords;
mod delay;
mod drivers;
mod feasible;
mod rare;
mod standing;

pub use calibration::{calibration_cautions, refused_because};
pub use cautions::{cautions, failure_cautions, until_caution};
pub use cords::cord_cautions;
pub use delay::{OFF_S, stretches};
pub use drivers::driver_cautions;
pub use feasible::{Check, Choice, Demands, Feasible, Met, Place, checks, feasible};
pub use rare::rare_cautions;
pub use standing::Standing;

use crate::case::{Case, Question};
use crate::report::{Advice, CurvePoint, WayReport};
use crate::tally::Tally;

/// Largest acceptable chance of `unsafe_opening` where the caller gave none: a house number, listed as assumed.
pub const DEFAULT_ACCEPT_CHANCE: f64 = 0.05;

/// The largest acceptable chance of `unsafe_opening`.
pub fn accept_chance(question: &Question) -> f64 {
    question.accept_chance.unwrap_or(DEFAULT_ACCEPT_CHANCE)
}

/// Compares the asked ways of deploying on the same flights, and the delays between them.
pub fn advice(case: &Case, tally: &Tally, ways: &[WayReport], curve: &[CurvePoint]) -> Advice {
    let question = &case.inputs.question;
    let limit = question.accept_limit;
    let accept_chance = accept_chance(question);
    let meets: Vec<usize> = ways
        .iter()
        .enumerate()
        .filter(|(_, way)| way.limits[limit].unsafe_opening.upper <= accept_chance)
        .map(|(k, _)| k)
        .collect();
    let lowest = (0..ways.len()).min_by_key(|k| tally.unsafe_openings(*k, limit)).unwrap_or(0);
    // At most the sum of the chances that each single other is really lower (Bonferroni): picking the
    // lowest from the same flights makes the comparison with the closest rival alone look too sure.
    let lowest_certainty = (ways.len() > 1).then(|| {
        let doubt: f64 = (0..ways.len())
            .filter(|other| *other != lowest)
            .map(|other| 1.0 - tally.differences(lowest, other, limit).ahead(question.points))
            .sum();
        (1.0 - doubt).max(0.0)
    });
    let best = meets.contains(&lowest).then_some(lowest);
    let delay = delay::delay_advice(case, curve);
    let standings = ways.iter().map(|way| standing::standing(way, question)).collect();
    Advice {
        limit_m_s: question.limits_m_s[limit],
        accept_chance,
        meets,
        lowest,
        lowest_certainty,
        best,
        delay,
        standings,
    }
}
