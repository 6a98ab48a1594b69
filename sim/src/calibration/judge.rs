//! Whether what was learned is worth drawing from.

use crate::report::{CalibrationReport, Refused};

/// Every log has to be met by flights worth this many of one weight: its likelihood is known to a sixth then.
pub const LEAST_FLIGHTS: f64 = 32.0;
/// Sets worth this many have to agree with all logs: ends of 90 % have five beyond them then.
pub const LEAST_SETS: f64 = 100.0;
/// Every bias and scatter may err by at most this share of what the logs leave open, because so many flights were drawn and no
/// more. Of intervals of 90 % 88 % hold then: 1.645 / sqrt(1 + 1/9) deviations of a normal.
pub const MOST_SAMPLING_ERROR: f64 = 1.0 / 3.0;

/// Refuses what too few flights or sets agree with: nothing is told of it afterwards.
pub fn judge(report: &mut CalibrationReport) {
    let hardest = report.hardest().filter(|(_, met)| *met < LEAST_FLIGHTS);
    report.refused = match hardest {
        Some((flown, _)) => Some(Refused::Flights(flown)),
        None if report.sampling_error > MOST_SAMPLING_ERROR => Some(Refused::Together),
        None => (report.effective_sets < LEAST_SETS).then_some(Refused::Sets),
    };
    if report.refused.is_some() {
        report.learned.iter_mut().for_each(|learned| learned.after = None);
        report.flown.iter_mut().flat_map(|flown| &mut flown.logged).for_each(|logged| logged.after = None);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::Learned;
    use crate::case::Logged;
    use crate::report::{FlownReport, LearnedAfter, LearnedReport, LoggedReport};

    /// What is worth it stays; what is not loses what was learned.
    #[test]
    fn what_is_worth_too_little_is_refused() {
        for (met, sampling_error, effective_sets, refused) in [
            ([40.0, 400.0], 0.33, 100.0, None),
            ([400.0, 31.99], 0.33, 100.0, Some(Refused::Flights(1))),
            ([0.0, 31.0], 0.5, 1.0, Some(Refused::Flights(0))),
            ([40.0, 400.0], 0.34, 100.0, Some(Refused::Together)),
            ([40.0, 400.0], 0.33, 99.0, Some(Refused::Sets)),
        ] {
            let logged = LoggedReport {
                log: Logged::Apogee,
                value: 1.0,
                error: 1.0,
                before: [0.0; 3],
                after: Some([0.0, 0.5, 1.0]),
            };
            let flown =
                |effective_flights| FlownReport { condition: 0, way: 0, effective_flights, logged: vec![logged] };
            let after = Some(LearnedAfter { common: [0.0; 3], next: [0.0; 3], scatter: [1.0; 3] });
            let mut report = CalibrationReport {
                refused: None,
                drawn: 1,
                sampling_error,
                effective_sets,
                flown: met.map(flown).into(),
                learned: vec![LearnedReport { learned: Learned::Drag, before: [0.0; 3], after }],
            };
            judge(&mut report);
            assert_eq!(report.refused, refused);
            assert_eq!(report.learned[0].after.is_none(), refused.is_some());
            assert_eq!(report.flown[1].logged[0].stands_within(), refused.is_none().then_some(true));
        }
    }
}
