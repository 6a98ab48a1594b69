//! What flights that were flown say of the rocket, the motors and the wind: bias and scatter of drag, impulse and wind, and
//! the laws that the next flights are drawn from.
//!
//! Each of the three is the standard normal number behind its law. Of the spread that the request gives or assumes, a part
//! is a bias that all flights have in common, and the rest comes anew with each flight; how much of either is not known, and
//! is what is learned: number = bias + scatter x the flight's own. Flights are drawn in the conditions of each that was
//! logged: some from wider laws, then from where those agree with the logs (`drawing`). Under any bias and scatter a log is
//! as likely as those flights that agree with it, each weighted by how much likelier bias and scatter make its numbers
//! (`fit`); which biases and scatters agree with all logs is `stat::posterior`. A flight of the assessment then takes one
//! of those sets.

mod drawing;
mod fit;
mod judge;
mod plan;

pub use drawing::{Aim, Drawing};
pub use fit::{Fit, Met, TOLD, Weighed, figures, sampling_error};
pub use judge::{LEAST_FLIGHTS, LEAST_SETS, MOST_SAMPLING_ERROR, judge};
pub use plan::{CalibrationPlan, Flown};

use crate::case::Spread;
use crate::draw::{Law, Numbers, REACH_DEVIATIONS, Slot};
use crate::stat::normal;
use crate::stat::posterior::Unknowns;

/// Flights drawn in the conditions of each log, unless the request says otherwise.
pub const FLIGHTS: u64 = 8192;
/// Sets of bias and scatter that the flights of an assessment take.
pub const SETS: usize = 1024;
/// Standard deviation of the natural logarithm of the scatter, before anything is known: a factor of 1.65 either way.
const SCATTER_LOG_SD: f64 = 0.5;

/// What is learned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Learned {
    /// Drag coefficient.
    Drag,
    /// Impulse of each motor.
    Impulse,
    /// Wind along its mean, near the ground.
    Wind,
}

impl Learned {
    /// All of it.
    pub const ALL: [Self; 3] = [Self::Drag, Self::Impulse, Self::Wind];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Drag => "drag",
            Self::Impulse => "impulse",
            Self::Wind => "wind",
        }
    }

    /// The law that it stands behind: a factor, or an error of the wind in m/s.
    pub fn law(self, spread: &Spread) -> Law {
        match self {
            Self::Drag => spread.drag.clone(),
            Self::Impulse => spread.impulse.clone(),
            Self::Wind => Law::Normal { mean: 0.0, sd: spread.wind.component_sd_m_s },
        }
    }

    /// Whether its spread leaves anything to learn.
    pub fn varies(self, spread: &Spread) -> bool {
        let (low, high) = self.law(spread).reach();
        low < high
    }

    /// Which number of a flight it stands behind, of a motor for the impulse.
    pub fn slot(self, motor: usize) -> Slot {
        match self {
            Self::Drag => Slot::Drag,
            Self::Impulse => Slot::Impulse(motor),
            Self::Wind => Slot::WindAlong(0),
        }
    }
}

/// Bias and scatter of one number: it is bias + scatter x the flight's own, all in standard deviations of its law.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moved {
    /// What all flights have in common.
    pub bias: f64,
    /// What comes anew with each.
    pub scatter: f64,
}

/// One set of bias and scatter, in the order of [`Learned::ALL`].
pub type Set = [Moved; 3];

/// From standard normal unknowns. A share of the variance is bias; scatter has what is left of it in the mean, so that
/// before anything is known the number has the variance that its law says.
pub fn set(unknowns: &Unknowns, bias_share: f64) -> Set {
    core::array::from_fn(|k| Moved {
        bias: bias_share.sqrt() * unknowns[2 * k],
        scatter: (1.0 - bias_share).sqrt()
            * libm::exp(SCATTER_LOG_SD * unknowns[2 * k + 1] - SCATTER_LOG_SD * SCATTER_LOG_SD),
    })
}

/// What the flights of an assessment are drawn from, once it is known.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibrated {
    sets: Vec<Set>,
    /// Half of the sets lie below each of these.
    middle: Set,
}

impl Calibrated {
    /// From sets that all count alike.
    pub fn new(sets: Vec<Set>) -> Self {
        let middle = |figure: &dyn Fn(&Set) -> f64| sorted_quantile(&sets.iter().map(figure).collect::<Vec<_>>(), 0.5);
        let middle = core::array::from_fn(|k| Moved {
            bias: middle(&|set| set[k].bias),
            scatter: middle(&|set| set[k].scatter),
        });
        Self { sets, middle }
    }

    /// The sets.
    pub fn sets(&self) -> &[Set] {
        &self.sets
    }

    /// The set of a flight: one of them at random, of the nominal flight their middle.
    pub fn of(&self, numbers: &Numbers) -> &Set {
        if numbers.are_middle() {
            return &self.middle;
        }
        let place = (numbers.uniform(Slot::Learned) * self.sets.len() as f64) as usize;
        self.sets.get(place).unwrap_or(&self.middle)
    }

    /// Quantiles of what a law draws: of what all flights have in common, and of the next flight.
    pub fn quantiles(&self, learned: Learned, law: &Law, shares: [f64; 3]) -> [[f64; 3]; 2] {
        /// Points of a flight's own number.
        const OWN: u32 = 31;
        let moved = || self.sets.iter().map(|set| set[learned as usize]);
        let own = |k: u32| normal::quantile((f64::from(k) + 0.5) / f64::from(OWN));
        let common: Vec<f64> = moved().map(|m| m.bias).collect();
        let next: Vec<f64> = moved().flat_map(|m| (0..OWN).map(move |k| m.bias + m.scatter * own(k))).collect();
        [common, next].map(|numbers: Vec<f64>| shares.map(|share| value(law, sorted_quantile(&numbers, share))))
    }

    /// Quantiles of the scatter of a number, over the standard deviation that its law has.
    pub fn scatter(&self, learned: Learned, shares: [f64; 3]) -> [f64; 3] {
        let scatters: Vec<f64> = self.sets.iter().map(|set| set[learned as usize].scatter).collect();
        shares.map(|share| sorted_quantile(&scatters, share))
    }
}

/// A flight's own standard normal number, moved by what was learned of it.
pub fn moved(set: &Set, slot: Slot, own: f64) -> f64 {
    let learned = match slot {
        Slot::Drag => Learned::Drag,
        Slot::Impulse(_) => Learned::Impulse,
        Slot::WindAlong(0) => Learned::Wind,
        _ => return own,
    };
    let Moved { bias, scatter } = set[learned as usize];
    reached(bias + scatter * own)
}

/// A standard normal number no farther out than laws are checked.
fn reached(standard: f64) -> f64 {
    standard.clamp(-REACH_DEVIATIONS, REACH_DEVIATIONS)
}

/// The value of a law at a standard normal number.
pub fn value(law: &Law, standard: f64) -> f64 {
    law.at(normal::cdf(reached(standard)))
}

/// The quantile of some numbers: that at the place of the share.
fn sorted_quantile(numbers: &[f64], share: f64) -> f64 {
    let mut sorted = numbers.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let place = (share * sorted.len() as f64) as usize;
    sorted.get(place.min(sorted.len().saturating_sub(1))).copied().unwrap_or(f64::NAN)
}
