//! What a reader should mind about what was learned from flights flown.

use crate::calibration::{LEAST_FLIGHTS, LEAST_SETS};
use crate::case::Case;
use crate::report::{CalibrationReport, Caution, Refused};

const RULE: &str =
    "importance weights of drawn flights, and L. Kish's effective sample size (Survey Sampling, 1965; from memory)";

/// Everything to mind about it.
pub fn calibration_cautions(found: &CalibrationReport, case: &Case) -> Vec<Caution> {
    let Some(plan) = &case.calibration else { return Vec::new() };
    let mut list = Vec::new();
    match found.refused {
        Some(Refused::Flights(flown)) => list.push(Caution {
            topic: "calibration_refused",
            message: format!(
                "Nothing of the flights flown is used: of {} flights drawn in its conditions only {:.0} agree with flight {} (as flights of one weight), fewer than {LEAST_FLIGHTS:.0}. Check its figures and units and that card, motor, delay and wind are those it was flown with; then draw more flights (calibration.flights) or give its figures larger errors.",
                plan.flights,
                found.effective_flights.floor(),
                flown + 1,
            ),
            rule: RULE,
        }),
        Some(Refused::Sets) => list.push(Caution {
            topic: "calibration_refused",
            message: format!(
                "Nothing of the flights flown is used: sets of bias and scatter worth only {:.0} of one weight agree with all of them, fewer than {LEAST_SETS:.0}. Check that all of them are flights of this rocket and motor; then draw more flights (calibration.flights) or give their figures larger errors.",
                found.effective_sets.floor(),
            ),
            rule: RULE,
        }),
        None => list.push(Caution {
            topic: "calibration",
            message: format!(
                "Drag, impulse and wind are drawn from what the logs of {} say of them. They hold for this rocket with motors of this kind, and for a wind that is told as it was told then; flights of one day share that day's wind. What else is wrong with card or model is learned as if it were one of the three.",
                if plan.flown.len() == 1 { "1 flight".to_string() } else { format!("{} flights", plan.flown.len()) },
            ),
            rule: RULE,
        }),
    }
    if plan.flown.len() < FEW {
        list.push(Caution {
            topic: "calibration_few",
            message: format!(
                "{} cannot tell bias from scatter: log more.",
                if plan.flown.len() == 1 { "One flight".to_string() } else { format!("{} flights", plan.flown.len()) }
            ),
            rule: RULE,
        });
    }
    let outside: Vec<String> = found
        .flown
        .iter()
        .enumerate()
        .filter(|(_, flown)| flown.logged.iter().any(|l| !l.stands_within()))
        .map(|(k, _)| (k + 1).to_string())
        .collect();
    if !outside.is_empty() && found.refused.is_none() {
        list.push(Caution {
            topic: "calibration_misfit",
            message: format!(
                "Flights whose logs lie outside of 90 % of flights drawn in their conditions, also after calibration: {}. Look at their logs, and at what the card does not know of them.",
                outside.join(", "),
            ),
            rule: RULE,
        });
    }
    list
}

/// Fewer flights than these say little of how they scatter.
const FEW: usize = 3;
