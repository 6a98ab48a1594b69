//! Chances that were sought where they happen.

use serde::Serialize;
use slowpoint_sim::case::{Case, RareEvent};
use slowpoint_sim::constants::MILE_PER_HOUR_M_S;
use slowpoint_sim::report::{RareReport, percent_digits_up};
use slowpoint_sim::told;
use utoipa::ToSchema;

use super::fill::{chance_text, group};
use super::{Figure, SpeedLimit};

/// What was sought where it happens.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct RareAnswer {
    /// How it is done, and what is in its intervals.
    pub meaning: &'static str,
    /// In the order asked.
    pub chances: Vec<RareChance>,
}

/// A chance that was sought where it happens.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct RareChance {
    /// All of it in words.
    pub text: String,
    /// Name of the area in which anything comes down; null where an opening was sought.
    pub landing_in: Option<String>,
    /// Speed that it opens over; null where a landing was sought.
    pub opening_over: Option<SpeedLimit>,
    /// Label of the delay it was flown with.
    pub flown_with: String,
    /// The chance over all flights; null where it is below what is told.
    pub estimate: Figure,
    /// Lower end of its 95 % interval; null where it is below what is told.
    pub lower: Figure,
    /// Upper end of its 95 % interval, or what it is below.
    pub upper: Figure,
    /// The chance in words, ready to show. Never "0 %".
    #[schema(example = "< 0.010 %")]
    pub chance_text: String,
    /// Flights that were counted, each by its weight.
    pub flights: u64,
    /// Flights that sought where it happens, on top of them.
    pub flights_searched: u64,
    /// Flights that plain counting would take to know it as well; null where it was hardly seen.
    pub flights_counting: Figure,
    /// How the estimate was made.
    pub estimator: &'static str,
    /// How the interval was made.
    pub interval_method: &'static str,
    /// What made it happen, the farthest first: inputs whose means lie elsewhere in flights in which it happens.
    pub moved: Vec<RareMoveAnswer>,
}

/// A group of inputs in the flights in which something rare happens.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct RareMoveAnswer {
    /// Its name.
    pub input: &'static str,
    /// What belongs to it.
    pub meaning: &'static str,
    /// How far its means lie from what was expected, in standard deviations together.
    pub standard_deviations: Figure,
}

/// From the reports; nothing where nothing was asked.
pub fn rare(reports: &[RareReport], case: &Case, labels: &[String]) -> Option<RareAnswer> {
    (!reports.is_empty()).then(|| RareAnswer {
        meaning: "Importance sampling: flights are drawn from where it happens, and each counts for less by as much as that made it likelier, so that the chance is the one that counting would find. Chances and intervals are over all flights of this request. What is told only as below a bound may be far less: the spreads of the inputs tell no more.",
        chances: reports.iter().map(|r| sought(r, case, labels)).collect(),
    })
}

fn sought(r: &RareReport, case: &Case, labels: &[String]) -> RareChance {
    let chance_text = match r.below {
        Some(below) => format!("< {} %", percent_digits_up(below)),
        None => chance_text(&r.chance),
    };
    let (landing_in, over_m_s) = match r.event {
        RareEvent::LandsIn(area) => (Some(case.inputs.site.areas[area].name.clone()), None),
        RareEvent::OpensOver(limit) => (None, Some(case.inputs.question.limits_m_s[limit])),
    };
    let flown_with = labels.get(r.way).cloned().unwrap_or_default();
    let what = match (&landing_in, over_m_s) {
        (Some(area), _) => format!("Comes down in {area}"),
        (_, over) => format!("Opens over {}", told::speed(over.unwrap_or(f64::NAN), 1)),
    };
    let moved: Vec<RareMoveAnswer> = r
        .moved
        .iter()
        .map(|m| {
            let (input, meaning) = group(m.group);
            RareMoveAnswer { input, meaning, standard_deviations: Figure(m.deviations) }
        })
        .collect();
    let causes: Vec<String> =
        moved.iter().map(|m| format!("{} {:.1}", m.input.replace('_', " "), m.standard_deviations.0)).collect();
    let causes = match causes.as_slice() {
        [] => String::new(),
        causes => format!(" Where it happens, inputs lie off by so many standard deviations: {}.", causes.join(", ")),
    };
    let told = |x: f64| if r.below.is_some() { Figure::maybe(None) } else { Figure(x) };
    RareChance {
        text: format!("{what} with {flown_with}: {chance_text}.{causes}"),
        landing_in,
        opening_over: over_m_s.map(|v| SpeedLimit { limit_m_s: Figure(v), limit_mph: Figure(v / MILE_PER_HOUR_M_S) }),
        flown_with,
        estimate: told(r.chance.estimate),
        lower: told(r.chance.lower),
        upper: Figure(r.below.unwrap_or(r.chance.upper)),
        chance_text,
        flights: r.chance.flights,
        flights_searched: r.searched,
        flights_counting: Figure::maybe(r.counted_alike),
        estimator: r.chance.estimator.words(),
        interval_method: r.chance.method,
        moved,
    }
}
