//! How a way of deploying stands against the condition, in one of a few words.

use crate::case::Question;
use crate::flight::Outcome;
use crate::report::WayReport;

use super::accept_chance;

/// How a way of deploying stands against the condition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// The upper end of the interval of an unsafe opening meets it.
    UnderLimit,
    /// Even the lower end does not, for openings faster than the limit above all.
    OverLimit,
    /// Even the lower end does not, for openings too low or none before the ground above all.
    OpensLow,
    /// Even the lower end does not, for another reason above all.
    DoesNotOpen,
    /// The interval holds both, or no flight was flown.
    NotKnown,
}

impl Standing {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::UnderLimit => "under limit",
            Self::OverLimit => "over limit",
            Self::OpensLow => "opens low",
            Self::DoesNotOpen => "does not open well",
            Self::NotKnown => "not known",
        }
    }
}

/// How a way of deploying stands against the condition of a question.
pub fn standing(way: &WayReport, question: &Question) -> Standing {
    let limit = &way.limits[question.accept_limit];
    let (chance, accept) = (&limit.unsafe_opening, accept_chance(question));
    if chance.flights == 0 {
        return Standing::NotKnown;
    }
    if chance.upper <= accept {
        return Standing::UnderLimit;
    }
    if chance.lower <= accept {
        return Standing::NotKnown;
    }
    let share = |which: &[Outcome]| -> f64 {
        way.outcomes.iter().filter(|o| which.contains(&o.outcome)).map(|o| o.share).sum()
    };
    let low = share(&[Outcome::OpenedTooLow, Outcome::GroundFirst]);
    let fast = limit.over.estimate;
    let other = chance.estimate - fast - low;
    if fast >= low && fast >= other {
        Standing::OverLimit
    } else if low >= other {
        Standing::OpensLow
    } else {
        Standing::DoesNotOpen
    }
}
