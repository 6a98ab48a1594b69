//! What a reader should mind about what was learned from flights flown.

use crate::calibration::{CalibrationPlan, LEAST_FLIGHTS, LEAST_SETS, MOST_SAMPLING_ERROR};
use crate::case::Case;
use crate::report::{CalibrationReport, Caution, FlownReport, Refused};

const RULE: &str =
    "importance weights of drawn flights, and L. Kish's effective sample size (Survey Sampling, 1965; from memory)";

/// Why nothing of it is used, if so.
pub fn refused_because(found: &CalibrationReport, plan: &CalibrationPlan) -> Option<String> {
    Some(match found.refused? {
        Refused::Flights(flown) => format!(
            "Flight {} is met by {:.0} of {} flights drawn in its conditions, as flights of one weight; {LEAST_FLIGHTS:.0} are needed.",
            flown + 1,
            found.hardest().map_or(0.0, |(_, met)| met).floor(),
            plan.flights
        ),
        Refused::Together => format!(
            "Each flight flown agrees with drawn ones, but all together with too few: the number drawn makes a bias or scatter err by {:.0} % of what the logs leave open, and at most {:.0} % is taken.",
            (100.0 * found.sampling_error).ceil(),
            100.0 * MOST_SAMPLING_ERROR
        ),
        Refused::Sets => format!(
            "Sets of bias and scatter worth only {:.0} of one weight agree with all flights; {LEAST_SETS:.0} are needed.",
            found.effective_sets.floor()
        ),
    })
}

/// Everything to mind about it.
pub fn calibration_cautions(found: &CalibrationReport, case: &Case) -> Vec<Caution> {
    let Some(plan) = &case.calibration else { return Vec::new() };
    let mut list = Vec::new();
    let flights = |count: usize| if count == 1 { "1 flight".to_string() } else { format!("{count} flights") };
    let question = &case.inputs.question;
    let apart = if question.drivers.is_some() || !question.rare.is_empty() {
        " Which bias and scatter a flight takes is counted as drag among what drives the answer and what makes it rare."
    } else {
        ""
    };
    list.push(match refused_because(found, plan) {
        Some(why) => Caution {
            topic: "calibration_refused",
            message: format!(
                "Nothing of the flights flown is used. {why} Check their figures and units, and that card, motor, delay and wind are those they were flown with; then draw more flights (calibration.flights), or give the errors of the instruments where they are larger than assumed."
            ),
            rule: RULE,
        },
        None => Caution {
            topic: "calibration",
            message: format!(
                "Drawn from what the logs of {} say: {}. That holds for this rocket with motors of this kind, and for a wind that is told as it was told then; flights of one day share that day's wind. What else is wrong with card or model is learned as if it were one of these.{apart}",
                flights(plan.flown.len()),
                found.learned.iter().map(|l| l.learned.name()).collect::<Vec<_>>().join(", ")
            ),
            rule: RULE,
        },
    });
    if plan.flown.len() < FEW && found.refused.is_none() {
        list.push(Caution {
            topic: "calibration_few",
            message: format!("{} cannot tell bias from scatter: log more.", flights(plan.flown.len())),
            rule: RULE,
        });
    }
    let outside = |flown: &FlownReport| flown.logged.iter().any(|logged| logged.stands_within() == Some(false));
    let numbers = found.flown.iter().zip(1_usize..).filter(|(flown, _)| outside(flown));
    let outside: Vec<String> = numbers.map(|(_, number)| number.to_string()).collect();
    if !outside.is_empty() {
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
