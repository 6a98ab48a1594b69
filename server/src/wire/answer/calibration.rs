//! What was learned from flights that were flown.

use serde::Serialize;
use slowpoint_sim::advise::refused_because;
use slowpoint_sim::calibration::Learned;
use slowpoint_sim::case::{Case, Logged};
use slowpoint_sim::report::{CalibrationReport, LearnedReport, LoggedReport};
use slowpoint_sim::way_label;
use utoipa::ToSchema;

use super::Figure;

/// What was learned from flights that were flown.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CalibrationAnswer {
    /// How it is done, and what it rests on.
    pub meaning: &'static str,
    /// Whether the flights of this answer are drawn from it. If not, they are drawn as if no flight had been logged.
    pub used: bool,
    /// Why it is not used; null where it is.
    pub refused_because: Option<String>,
    /// Flights drawn in the conditions of those that were flown, all together.
    pub flights_drawn: u64,
    /// Of the flight that is hardest to meet: drawn flights that agree with its log, as flights of one weight. It has to be
    /// 32 or more.
    pub effective_flights: Figure,
    /// Standard error of a bias or scatter for the number of flights drawn, over the standard deviation that the logs leave open
    /// of it: the largest. It has to be a third or less: of intervals of 90 % 88 % hold then.
    pub sampling_error: Figure,
    /// Sets of bias and scatter that agree with all logs, as sets of one weight. It has to be 100 or more.
    pub effective_sets: Figure,
    /// Drag, impulse and wind before and after.
    pub inputs: Vec<LearnedAnswer>,
    /// The flights that were flown, in the order told.
    pub flown: Vec<FlownAnswer>,
}

/// One input before and after it was learned of.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct LearnedAnswer {
    /// Which: "drag" and "impulse" are factors on the nominal value, "wind" is what is added to the speed reported at 10 m.
    pub input: &'static str,
    /// Its unit; empty for a factor.
    pub unit: &'static str,
    /// What 5, 50 and 95 % of flights lie below, as the request has it or as it is assumed.
    pub before: MedianFigures,
    /// The same of the next flight, after what was learned; null where it is not used.
    pub after: Option<MedianFigures>,
    /// What all flights have in common: between p05 and p95 it lies with a chance of 90 %, as far as model and assumptions hold;
    /// null where it is not used.
    pub bias: Option<MedianFigures>,
    /// Scatter from flight to flight, over the whole spread before; null where it is not used.
    pub scatter: Option<MedianFigures>,
}

/// A flight that was flown.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct FlownAnswer {
    /// Its number in the order told, from 1.
    pub flight: usize,
    /// Label of what it was flown with.
    pub flown_with: String,
    /// Drawn flights that agree with it, as flights of one weight.
    pub effective_flights: Figure,
    /// What was logged of it.
    pub logged: Vec<LoggedAnswer>,
}

/// A figure that was logged, against flights drawn in its conditions.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct LoggedAnswer {
    /// What: apogee, apogee_time, opening_time or opening_speed.
    pub what: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// As it was logged.
    pub logged: Figure,
    /// Its standard error, as told or assumed.
    pub error: Figure,
    /// What drawn flights that came to it came to, before anything was learned.
    pub before: MedianFigures,
    /// The same after it; null where it is not used.
    pub after: Option<MedianFigures>,
    /// Whether it lies between p05 and p95 after it, give or take two standard errors; null where it is not used.
    pub within: Option<bool>,
}

/// A median between the ends of 90 %.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct MedianFigures {
    /// 5 % lie below.
    pub p05: Figure,
    /// Half do.
    pub p50: Figure,
    /// 95 % do.
    pub p95: Figure,
}

fn band(quantiles: [f64; 3]) -> MedianFigures {
    let [p05, p50, p95] = quantiles.map(Figure);
    MedianFigures { p05, p50, p95 }
}

/// From the report; nothing where no flight was told.
pub fn calibration(report: Option<&CalibrationReport>, case: &Case) -> Option<CalibrationAnswer> {
    let (report, plan) = (report?, case.calibration.as_ref()?);
    let flown = report.flown.iter().enumerate().map(|(k, flown)| FlownAnswer {
        flight: k + 1,
        flown_with: way_label(&plan.conditions[flown.condition].inputs.question.ways[flown.way]),
        effective_flights: Figure(flown.effective_flights),
        logged: flown.logged.iter().map(logged).collect(),
    });
    Some(CalibrationAnswer {
        meaning: "Part of the spread of drag, impulse and wind is a bias that all flights have in common, the rest comes anew with each. Flights are drawn in the conditions of those that were flown; each bias and scatter is weighted by how many of them agree with the logs, and each flight of this answer takes one of those that do.",
        used: report.refused.is_none(),
        refused_because: refused_because(report, plan),
        flights_drawn: report.drawn,
        effective_flights: Figure(report.hardest().map_or(f64::NAN, |(_, met)| met)),
        sampling_error: Figure(report.sampling_error),
        effective_sets: Figure(report.effective_sets),
        inputs: report.learned.iter().map(learned).collect(),
        flown: flown.collect(),
    })
}

fn learned(l: &LearnedReport) -> LearnedAnswer {
    let unit = match l.learned {
        Learned::Drag | Learned::Impulse => "",
        Learned::Wind => "m/s",
    };
    LearnedAnswer {
        input: l.learned.name(),
        unit,
        before: band(l.before),
        after: l.after.map(|after| band(after.next)),
        bias: l.after.map(|after| band(after.common)),
        scatter: l.after.map(|after| band(after.scatter)),
    }
}

fn logged(l: &LoggedReport) -> LoggedAnswer {
    LoggedAnswer {
        what: l.log.field().0,
        unit: match l.log {
            Logged::Apogee => "m",
            Logged::ApogeeTime | Logged::OpeningTime => "s",
            Logged::OpeningSpeed => "m/s",
        },
        logged: Figure(l.value),
        error: Figure(l.error),
        before: band(l.before),
        after: l.after.map(band),
        within: l.stands_within(),
    }
}
