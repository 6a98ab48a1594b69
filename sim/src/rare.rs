//! Chances too rare to count: what is sought, how far a flight was from it, and what made it happen.

use core::sync::atomic::AtomicBool;

use crate::case::{Case, Question, RareEvent, RareInput};
use crate::draw::{Group, Slot};
use crate::flight::Deployed;
use crate::report::{RareMove, RareReport};
use crate::run;
use crate::stat::importance::{self, Round};
use crate::stat::interval::CONFIDENCE;
use crate::stat::places::Proposal;
use crate::tally::speed_against;

/// Flights that are counted, unless the request says otherwise.
pub const FLIGHTS: u64 = 8192;
/// Below this a chance is not told: the laws of the inputs are known nowhere near as far out.
pub const TOLD_FROM: f64 = 1e-4;
/// Inputs that made it happen are named from so many standard deviations on.
const NAMED_FROM: f64 = 0.5;

/// The most flights that it takes on top of the others.
pub fn flights(question: &Question) -> u64 {
    question.rare.iter().map(|rare| importance::most_flights(rare.flights)).sum()
}

/// How far a flight was from it: not above 0 where it happened, infinite where nothing can be said.
pub fn miss(case: &Case, event: RareEvent, deployed: &Deployed) -> f64 {
    let question = &case.inputs.question;
    match event {
        RareEvent::LandsIn(area) => {
            let outline = &case.inputs.site.areas[area].outline;
            let things = deployed.landing.iter().chain(&deployed.part);
            things.map(|thing| outline.distance_m(thing.east_m, thing.north_m)).fold(f64::INFINITY, f64::min)
        }
        RareEvent::OpensOver(limit) => deployed.ejection.as_ref().map_or(f64::INFINITY, |ejection| {
            let over_m_s = speed_against(ejection, question.limit_applies) - question.limits_m_s[limit];
            // At the limit is not over it.
            if over_m_s > 0.0 { -over_m_s } else { (-over_m_s).max(f64::MIN_POSITIVE) }
        }),
    }
}

/// Seeks everything that is asked; `None` when `stop` was raised meanwhile. `lowest` is the way with the least chance of an
/// unsafe opening.
pub fn found(case: &Case, lowest: usize, stop: &AtomicBool) -> Option<Vec<RareReport>> {
    case.inputs.question.rare.iter().map(|rare| seek(case, rare, rare.way.unwrap_or(lowest), stop)).collect()
}

fn seek(case: &Case, rare: &RareInput, way: usize, stop: &AtomicBool) -> Option<RareReport> {
    let question = &case.inputs.question;
    let fly = |round: &Round, flights| run::tried(case, rare.event, way, round, flights, stop);
    let found = importance::seek(rare.flights, question.points, CONFIDENCE, fly)?;
    Some(RareReport {
        event: rare.event,
        way,
        below: (found.chance.estimate < TOLD_FROM).then(|| found.chance.upper.max(TOLD_FROM)),
        chance: found.chance,
        searched: found.searched,
        counted_alike: found.counted_alike,
        moved: by_group(&found.proposal),
    })
}

/// How far each group of inputs was moved, the farthest first.
fn by_group(proposal: &Proposal) -> Vec<RareMove> {
    let (slots, moved) = (Slot::all(), proposal.moved());
    let of = |group: Group| {
        let squares = moved
            .iter()
            .filter(|(k, _)| slots.iter().any(|slot| slot.group() == group && slot.dimension() == *k))
            .map(|(_, far)| far * far);
        RareMove { group, deviations: squares.sum::<f64>().sqrt() }
    };
    let mut all: Vec<RareMove> = Group::ALL.into_iter().map(of).filter(|m| m.deviations >= NAMED_FROM).collect();
    all.sort_by(|a, b| b.deviations.total_cmp(&a.deviations));
    all
}
