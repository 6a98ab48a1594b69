//! Flights that were flown, with what is assumed of their logs.

use super::FLIGHTS;
use crate::assumption::{Assumption, given_or};
use crate::case::{CalibrationInput, Case, FlownInput, LOGS, Logged, LoggedInput};

/// Share of the variance of drag, impulse and wind that all flights have in common, before anything is known.
const BIAS_SHARE: f64 = 0.5;

/// Flights that were flown, ready to be learned from.
#[derive(Debug, Clone)]
pub struct CalibrationPlan {
    /// Conditions that they were flown in.
    pub conditions: Vec<Case>,
    /// The flights, in the order given.
    pub flown: Vec<Flown>,
    /// Flights drawn at last for each of the conditions.
    pub flights: u64,
    /// Share of the variance that all flights have in common, before anything is known.
    pub bias_share: f64,
}

/// A flight that was flown.
#[derive(Debug, Clone, PartialEq)]
pub struct Flown {
    /// Index of its conditions.
    pub condition: usize,
    /// Index of its way of deploying among those of its conditions.
    pub way: usize,
    /// What was logged and its standard error, in the order of [`LOGS`].
    pub logged: [Option<[f64; 2]>; LOGS.len()],
}

impl CalibrationPlan {
    /// Fills in what was left open.
    pub fn resolve(input: &CalibrationInput, conditions: Vec<Case>, assumed: &mut Vec<Assumption>) -> Self {
        for log in LOGS {
            let assumes = |f: &FlownInput| f.logged[log as usize].is_some_and(|logged| logged.error.is_none());
            if input.flown.iter().any(assumes) {
                let (input, value) = log.default_error_words();
                assumed.push(Assumption {
                    input,
                    value: value.into(),
                    source: "assumption, of the instrument and of this model together: no published value",
                });
            }
        }
        let flown = input.flown.iter().map(|flown| Flown {
            condition: flown.condition,
            way: flown.way,
            logged: LOGS.map(|log| {
                let LoggedInput { value, error } = flown.logged[log as usize]?;
                Some([value, error.unwrap_or_else(|| log.default_error(value))])
            }),
        });
        let bias_share = given_or(
            input.bias_share,
            assumed,
            "calibration.bias_share",
            BIAS_SHARE,
            |share| {
                format!(
                    "{} of the variance of drag, impulse and wind is the same in every flight before anything is learned",
                    crate::limits::plain(share)
                )
            },
            "assumption",
        );
        Self { conditions, flown: flown.collect(), flights: input.flights.unwrap_or(FLIGHTS), bias_share }
    }

    /// Flights drawn in each of the conditions, time after time: some that find where the logs lie, then all.
    pub fn times(&self) -> [u64; 3] {
        [self.flights / 4, self.flights / 4, self.flights]
    }

    /// Flights drawn, of all times and conditions.
    pub fn drawn(&self) -> u64 {
        self.times().iter().sum::<u64>() * self.conditions.len() as u64
    }
}

impl Logged {
    /// Standard error of a figure where none is given.
    pub fn default_error(self, value: f64) -> f64 {
        match self {
            Self::Apogee => libm::hypot(1.0, 0.02 * value),
            Self::ApogeeTime | Self::OpeningTime => 0.2,
            Self::OpeningSpeed => libm::hypot(1.0, 0.1 * value),
        }
    }

    /// The input that is not given, and that error in words.
    fn default_error_words(self) -> (&'static str, &'static str) {
        match self {
            Self::Apogee => ("calibration.flown.apogee_error", "standard error of 2 % of a logged apogee and 1 m"),
            Self::ApogeeTime => {
                ("calibration.flown.apogee_time_error", "standard error of 0.2 s of a logged time of apogee")
            }
            Self::OpeningTime => {
                ("calibration.flown.opening_time_error", "standard error of 0.2 s of a logged time of opening")
            }
            Self::OpeningSpeed => {
                ("calibration.flown.opening_speed_error", "standard error of 10 % of a logged opening speed and 1 m/s")
            }
        }
    }
}
