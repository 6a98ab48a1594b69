//! What is refused of flights that were flown.

use super::check::{maybe, one};
use super::inputs::{CalibrationInput, LOGS, Logged, LoggedInput};
use super::{Case, Inputs};
use crate::calibration::FLIGHTS;
use crate::fault::{Fault, Faults};
use crate::limits::{self, Limit};

/// Most flights drawn at last, of all conditions: what each came to is held in memory.
const MOST_FLIGHTS: u64 = 1 << 20;

/// Every number against its own range, and a flight against its conditions.
pub fn ranges(asked: &CalibrationInput, faults: &mut Faults) {
    one(limits::FLOWN_COUNT, "calibration.flown", asked.flown.len() as f64, faults);
    maybe(limits::CALIBRATION_FLIGHTS, "calibration.flights", asked.flights.map(|n| n as f64), faults);
    maybe(limits::BIAS_SHARE, "calibration.bias_share", asked.bias_share, faults);
    let (flights, conditions) = (asked.flights.unwrap_or(FLIGHTS), asked.conditions.len() as u64);
    if flights.saturating_mul(conditions) > MOST_FLIGHTS && !faults.touches("calibration.flights") {
        faults.add(
            "calibration.flights",
            format!("{flights} flights in each of {conditions} conditions are more than are held"),
            format!("give at most {}, or flights that share their conditions", MOST_FLIGHTS / conditions),
        );
    }
    for (i, flown) in asked.flown.iter().enumerate() {
        let at = format!("calibration.flown.{i}");
        for log in LOGS {
            if let Some(LoggedInput { value, error }) = flown.logged[log as usize] {
                let (name, of_value, of_error) = log.field();
                one(of_value, &format!("{at}.{name}"), value, faults);
                maybe(of_error, &format!("{at}.{name}_error"), error, faults);
            }
        }
        let conditions: Option<&Inputs> = asked.conditions.get(flown.condition);
        if faults.touches(&at) {
            continue;
        }
        if flown.logged.iter().all(Option::is_none) {
            faults.add(at, "nothing of it was logged", "give apogee, apogee_time, opening_time or opening_speed");
        } else if conditions.is_none_or(|conditions| flown.way >= conditions.question.ways.len()) {
            faults.add(format!("{at}.flown_with"), "no delay of its conditions is that", "name one that it has");
        }
    }
}

/// The conditions, each as a case of its own.
pub fn conditions(asked: &CalibrationInput) -> Result<Vec<Case>, Vec<Fault>> {
    let within = |(i, inputs): (usize, &Inputs)| {
        Case::new(inputs.clone()).map_err(|faults| {
            let at = |fault: Fault| Fault { field: format!("calibration.conditions.{i}.{}", fault.field), ..fault };
            faults.into_iter().map(at).collect()
        })
    };
    asked.conditions.iter().enumerate().map(within).collect()
}

impl Logged {
    /// Its name in a request, and the ranges of it and of its error.
    pub fn field(self) -> (&'static str, Limit, Limit) {
        match self {
            Self::Apogee => ("apogee", limits::LOGGED_APOGEE, limits::LOGGED_HEIGHT_ERROR),
            Self::ApogeeTime => ("apogee_time", limits::LOGGED_TIME, limits::LOGGED_TIME_ERROR),
            Self::OpeningTime => ("opening_time", limits::LOGGED_TIME, limits::LOGGED_TIME_ERROR),
            Self::OpeningSpeed => ("opening_speed", limits::LOGGED_SPEED, limits::LOGGED_SPEED_ERROR),
        }
    }
}
