//! What drives the answer: Sobol' indices of the speed, the chance and the drift of each way of deploying, by groups of
//! inputs.
//!
//! A set is a flight, the flight of its other point, and one flight per group that takes the group from the other point
//! and the rest from its own. A quantity that one of the three flights of an index lacks (no ejection in the air, say)
//! leaves that set out of the index; a chance has every set.

use crate::case::Case;
use crate::draw::Group;
use crate::flight::{Deployed, Flown, Outcome};
use crate::stat::indices::{self, Found, Kind, Sets, Silent};
use crate::tally::against;

/// Flights flown for a number of base flights.
pub const fn flights(base_flights: u64) -> u64 {
    base_flights * (Group::ALL.len() as u64 + 2)
}

/// What drives the answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Drivers {
    /// Sets flown.
    pub base_flights: u64,
    /// Flights flown for them.
    pub flights: u64,
    /// One per way of deploying, in the order asked.
    pub ways: Vec<WayDrivers>,
}

/// What drives one way of deploying. Groups stand in the order of [`Group::ALL`].
#[derive(Debug, Clone, PartialEq)]
pub struct WayDrivers {
    /// Airspeed at ejection, m/s.
    pub ejection_airspeed_m_s: Result<Found, Silent>,
    /// Unsafe opening at the advice's limit: 1 or 0.
    pub unsafe_opening: Result<Found, Silent>,
    /// Distance of the landing from the pad, m.
    pub landing_distance_m: Result<Found, Silent>,
}

impl WayDrivers {
    /// Each quantity in words.
    pub fn quantities(&self) -> [(&'static str, &Result<Found, Silent>); 3] {
        [
            ("airspeed at ejection", &self.ejection_airspeed_m_s),
            ("unsafe opening", &self.unsafe_opening),
            ("distance of the landing", &self.landing_distance_m),
        ]
    }
}

/// The quantities of one flight with one way of deploying, in the order of [`KINDS`].
type Quantities = [Option<f64>; 3];
const KINDS: [Kind; 3] = [Kind::Number, Kind::Chance, Kind::Number];

fn quantities(deployed: &Deployed, case: &Case) -> Quantities {
    let question = &case.inputs.question;
    let limit_m_s = question.limits_m_s[question.accept_limit];
    let (_, unsafe_opening) = against(deployed, limit_m_s, question.limit_applies);
    // The figures of a flight that did not settle are not to be relied on.
    let ejection = deployed.ejection.as_ref().filter(|_| deployed.outcome != Outcome::Untrusted);
    [
        ejection.map(|e| e.airspeed_m_s),
        Some(f64::from(u8::from(unsafe_opening))),
        deployed.landing.as_ref().map(|l| l.distance_m()),
    ]
}

/// Sums of a number of sets: per way, quantity and group.
#[derive(Debug, Clone)]
pub struct Gathered(Vec<[Vec<Sets>; 3]>);

impl Gathered {
    /// No set yet.
    pub fn new(case: &Case) -> Self {
        let none = || vec![Sets::default(); Group::ALL.len()];
        Self(case.inputs.question.ways.iter().map(|_| [none(), none(), none()]).collect())
    }

    /// Counts a set: the flight of its own point, that of the other, and one per group.
    pub fn add(&mut self, own: &Flown, other: &Flown, exchanged: &[Flown], case: &Case) {
        for (way, sums) in self.0.iter_mut().enumerate() {
            let of = |flown: &Flown| quantities(&flown.deployed[way], case);
            let (own, other) = (of(own), of(other));
            for (group, flown) in exchanged.iter().enumerate() {
                let mixed = of(flown);
                for (k, sums) in sums.iter_mut().enumerate() {
                    if let (Some(a), Some(b), Some(ab)) = (own[k], other[k], mixed[k]) {
                        sums[group].add([a, b, ab]);
                    }
                }
            }
        }
    }

    /// Adds the sets of another sum; in one fixed order, on which the last bit depends.
    pub fn merge(&mut self, other: &Self) {
        for (a, b) in self.0.iter_mut().flatten().flatten().zip(other.0.iter().flatten().flatten()) {
            a.merge(b);
        }
    }
}

/// The indices, from the sums of each replicate.
pub fn found(case: &Case, base_flights: u64, replicates: &[Gathered]) -> Drivers {
    let of = |way: usize, k: usize| {
        let groups: Vec<Vec<Sets>> =
            (0..Group::ALL.len()).map(|group| replicates.iter().map(|r| r.0[way][k][group]).collect()).collect();
        indices::indices(&groups, KINDS[k])
    };
    let ways = (0..case.inputs.question.ways.len()).map(|way| WayDrivers {
        ejection_airspeed_m_s: of(way, 0),
        unsafe_opening: of(way, 1),
        landing_distance_m: of(way, 2),
    });
    Drivers { base_flights, flights: flights(base_flights), ways: ways.collect() }
}

#[cfg(test)]
mod tests {
    use super::flights;
    use crate::limits;

    /// The limit's hint, the request's description and the README say so in words.
    #[test]
    fn each_base_flight_is_flown_fifteen_times() {
        assert_eq!(flights(1), 15);
        assert!(limits::DRIVERS.hint.contains("fifteen times"));
    }
}
