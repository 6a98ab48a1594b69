//! What other winds and other settings of the rail would come to.

use serde::Serialize;
use slowpoint_sim::constants::MILE_PER_HOUR_M_S;
use slowpoint_sim::report::{RailAdvice, RailSetting, Span, WindLimit, WindStretch};
use slowpoint_sim::settings::OFF_DEG;
use slowpoint_sim::told;
use slowpoint_sim::wind::SURFACE_HEIGHT_M;
use utoipa::ToSchema;

use super::fill::{chance, chance_text};
use super::{ChanceFigures, Figure};

/// The wind up to which the condition is met.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct WindLimitAnswer {
    /// All of it in words.
    pub text: String,
    /// How the winds were made, and at which height they are meant.
    pub meaning: String,
    /// Flights at each wind.
    pub flights: u64,
    /// The mean wind as given, m/s.
    pub reported_m_s: Figure,
    /// The winds that were flown, m/s.
    pub winds_m_s: Vec<Figure>,
    /// One per way of deploying.
    pub delays: Vec<WindLimitOfDelay>,
}

/// The winds of one way of deploying.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct WindLimitOfDelay {
    /// Which.
    pub label: String,
    /// The highest wind at which the upper end of the interval still meets the condition, m/s, on straight lines between the
    /// winds flown; null where none does.
    pub highest_m_s: Figure,
    /// The same, miles per hour.
    pub highest_mph: Figure,
    /// Whether it is only the strongest wind flown: stronger ones may meet the condition too.
    pub goes_on: bool,
    /// In winds weaker than this the upper end of the interval does not meet the condition, m/s: 0 where it does in a calm.
    pub lowest_m_s: Figure,
    /// In winds stronger than this the condition is not met, m/s: what the interval leaves open lies between; null where it
    /// is met in none.
    pub not_above_m_s: Figure,
    /// Chance of an unsafe opening one m/s above `highest_m_s`; null where that was not flown.
    pub one_m_s_more: Figure,
    /// Chances of an unsafe opening in the winds flown.
    pub unsafe_opening: Vec<ChanceFigures>,
}

/// A setting of the rail that lands better.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct RailAdviceAnswer {
    /// All of it in words.
    pub text: String,
    /// Label of the delay it was flown with: the one with the least chance of an unsafe opening.
    pub flown_with: String,
    /// Flights at each setting.
    pub flights: u64,
    /// The setting given; null where nothing came down.
    pub given: Option<RailSettingAnswer>,
    /// The best tried: landing outside every field least often (with no field: nearest to the pad), its interval of unsafe
    /// openings ending no higher than at the given setting; null where none of these lands better than the given one. Picked from many,
    /// its own chance looks a little better than it is.
    pub best: Option<RailSettingAnswer>,
    /// The best, one degree nearer to vertical; null without a best.
    pub one_degree_steeper: Option<RailSettingAnswer>,
    /// The best, one degree farther from it; null without a best.
    pub one_degree_flatter: Option<RailSettingAnswer>,
    /// All that were tried.
    pub tried: Vec<RailSettingAnswer>,
}

/// A setting of the rail.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct RailSettingAnswer {
    /// Angle from vertical, degrees.
    pub tilt_deg: Figure,
    /// Direction the rail leans towards, degrees clockwise from true north.
    pub azimuth_deg: Figure,
    /// Chance of an unsafe opening at the condition's limit.
    pub unsafe_opening: ChanceFigures,
    /// Chance of coming down outside every field; null where no area is one.
    pub outside_fields: Option<ChanceFigures>,
    /// 90 % of the landings keep within this distance of the pad, m.
    pub landing_distance_p90_m: Figure,
}

/// The wind up to which the condition is met, from the report.
pub fn wind_limit(w: &WindLimit, labels: &[String]) -> WindLimitAnswer {
    let say = |(way, label): (&WindStretch, &String)| match &way.meets_m_s {
        None => match &way.may_meet_m_s {
            Some(span) => format!(
                "{label}: not known up to {}, where the interval of {} flights holds both; in stronger winds not.",
                told::speed(span.to, 1),
                w.flights
            ),
            None => format!("{label}: in none of the winds flown."),
        },
        Some(span) => {
            let from = if span.goes_on_before { String::new() } else { format!("from {} ", told::speed(span.from, 1)) };
            let beyond = if span.goes_on_after { " and perhaps more" } else { "" };
            format!("{label}: {from}up to {}{beyond}.", told::speed(span.to, 1))
        }
    };
    let each: Vec<String> = w.ways.iter().zip(labels).map(say).collect();
    let meaning = if w.stretched {
        format!(
            "mean wind {SURFACE_HEIGHT_M} m above ground; every wind and gust that was given is stretched alike, its direction kept; a size of gusts by a wind at 20 ft of your own stays"
        )
    } else {
        format!(
            "mean wind {SURFACE_HEIGHT_M} m above ground; hardly any wind was given, so a surface wind from anywhere takes its place, without winds aloft"
        )
    };
    let highest = |s: &Option<Span>| s.map(|s| s.to);
    let delays = w.ways.iter().zip(labels).map(|(way, label)| {
        let limit = highest(&way.meets_m_s);
        WindLimitOfDelay {
            label: label.clone(),
            highest_m_s: Figure::maybe(limit),
            highest_mph: Figure::maybe(limit.map(|v| v / MILE_PER_HOUR_M_S)),
            goes_on: way.meets_m_s.is_some_and(|s| s.goes_on_after),
            lowest_m_s: Figure::maybe(way.meets_m_s.map(|s| s.from)),
            not_above_m_s: Figure::maybe(highest(&way.may_meet_m_s)),
            one_m_s_more: Figure::maybe(limit.and_then(|limit| along(&w.winds_m_s, way, limit + 1.0))),
            unsafe_opening: way.chances.iter().map(chance).collect(),
        }
    });
    WindLimitAnswer {
        text: format!("The condition is met in winds of, by the upper end of the interval: {}", each.join(" ")),
        meaning,
        flights: w.flights,
        reported_m_s: Figure(w.reported_m_s),
        winds_m_s: w.winds_m_s.iter().map(|v| Figure(*v)).collect(),
        delays: delays.collect(),
    }
}

/// The chance in a wind between two that were flown.
fn along(winds_m_s: &[f64], way: &WindStretch, wind_m_s: f64) -> Option<f64> {
    let k = winds_m_s.windows(2).position(|pair| (pair[0]..=pair[1]).contains(&wind_m_s))?;
    let part = (wind_m_s - winds_m_s[k]) / (winds_m_s[k + 1] - winds_m_s[k]);
    let [a, b] = [&way.chances[k], &way.chances[k + 1]].map(|c| c.estimate);
    Some(a + part * (b - a))
}

/// A setting of the rail that lands better, from the report.
pub fn rail_advice(r: &RailAdvice, labels: &[String]) -> RailAdviceAnswer {
    let words = |s: &RailSetting| {
        let outside = s.outside_fields.as_ref().map(|c| format!(", outside every field {}", chance_text(c)));
        format!(
            "tilt {:.0} deg towards {:.0} deg (unsafe opening {}{}, 90 % within {})",
            s.tilt_rad.to_degrees(),
            s.azimuth_rad.to_degrees(),
            chance_text(&s.unsafe_opening),
            outside.unwrap_or_default(),
            told::length(s.distance_p90_m, 0)
        )
    };
    let surely = |best: &RailSetting, given: &RailSetting| match (&best.outside_fields, &given.outside_fields) {
        (Some(best), Some(given)) if best.upper < given.lower => " Their intervals are apart.",
        (Some(_), Some(_)) => " Their intervals overlap: sampling alone may make the difference.",
        _ => {
            " Distances are quantiles without an interval, and the best is picked from many: a few metres may be chance."
        }
    };
    let text = match (&r.given, &r.best) {
        (Some(given), Some(best)) => {
            let off = |s: &Option<RailSetting>, way: &str| {
                s.as_ref().map(|s| format!(" {OFF_DEG} deg {way}: {}.", words(s))).unwrap_or_default()
            };
            format!(
                "Lands better: {}; as given: {}.{}{}{}",
                words(best),
                words(given),
                surely(best, given),
                off(&r.steeper, "steeper"),
                off(&r.flatter, "flatter")
            )
        }
        (Some(given), None) => format!(
            "Of the settings tried, none that opens as well lands better than the given one: {}. `tried` has them all.",
            words(given)
        ),
        (None, _) => "Nothing came down at the given setting, so there is nothing to compare.".into(),
    };
    RailAdviceAnswer {
        text,
        flown_with: labels.get(r.way).cloned().unwrap_or_default(),
        flights: r.flights,
        given: r.given.as_ref().map(setting),
        best: r.best.as_ref().map(setting),
        one_degree_steeper: r.steeper.as_ref().map(setting),
        one_degree_flatter: r.flatter.as_ref().map(setting),
        tried: r.tried.iter().map(setting).collect(),
    }
}

fn setting(s: &RailSetting) -> RailSettingAnswer {
    RailSettingAnswer {
        tilt_deg: Figure(s.tilt_rad.to_degrees()),
        azimuth_deg: Figure(s.azimuth_rad.to_degrees()),
        unsafe_opening: chance(&s.unsafe_opening),
        outside_fields: s.outside_fields.as_ref().map(chance),
        landing_distance_p90_m: Figure(s.distance_p90_m),
    }
}
