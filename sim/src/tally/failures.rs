//! What is kept of flights that are told to fail.

use super::ground::GroundTally;
use super::summarise::ground_report;
use super::{Frame, Hits, LimitTally, add_hits};
use crate::case::Case;
use crate::draw::REPLICATES;
use crate::flight::{Deployed, Failure};
use crate::report::FailureReport;
use crate::stat::interval::Estimator;

/// Share of the ellipse and region in the answer: one is enough for so few flights.
const SHARES: [f64; 1] = [0.95];

/// Cells of the landing grid against the assessment's: so few flights are smoothed over many of them.
const COARSER: f64 = 2.0;

/// Flights with one failure, deployed one way.
#[derive(Debug, Clone, PartialEq)]
pub struct FailureTally {
    failure: Failure,
    flights: Hits,
    limit: LimitTally,
    /// Without the parts that fell by themselves ...
    ground: GroundTally,
    /// ... and those.
    parts: GroundTally,
}

impl FailureTally {
    /// No flight yet.
    pub fn new(failure: Failure, frame: &Frame) -> Self {
        let question = &frame.case.inputs.question;
        let ground = GroundTally::new(frame.case, COARSER * frame.cell_m);
        Self {
            failure,
            flights: Hits::default(),
            limit: LimitTally::new(question.limits_m_s[question.accept_limit]),
            parts: ground.clone(),
            ground,
        }
    }

    /// Which failure.
    pub fn failure(&self) -> Failure {
        self.failure
    }

    /// Counts one flight.
    pub fn add(&mut self, deployed: &Deployed, case: &Case, flight: u64) {
        let replicate = (flight % REPLICATES) as usize;
        self.flights[replicate] += 1;
        self.limit.count(deployed, case.inputs.question.limit_applies, replicate);
        if let Some(landing) = &deployed.landing {
            self.ground.add(landing, None, case, flight, replicate);
        }
        if let Some(part) = &deployed.part {
            self.parts.add(part, None, case, flight, replicate);
        }
    }

    /// Adds the flights of another tally of the same failure.
    pub fn merge(&mut self, other: &Self) {
        add_hits(&mut self.flights, &other.flights);
        self.limit.merge(&other.limit);
        self.ground.merge(&other.ground);
        self.parts.merge(&other.parts);
    }

    /// The report; `share` is that of the caller.
    pub fn report(&self, case: &Case, share: f64) -> FailureReport {
        let question = &case.inputs.question;
        FailureReport {
            failure: self.failure,
            share,
            flights: self.flights.iter().sum(),
            unsafe_opening: self.limit.unsafe_opening.chance(&self.flights, question, Estimator::Counted),
            landing: ground_report(&self.ground, &self.flights, case, &SHARES),
            part: ground_report(&self.parts, &self.flights, case, &SHARES),
        }
    }
}
