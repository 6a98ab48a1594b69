//! How a delay stands against its condition, at a glance: a number, a word and a colour, and whether the weather bears it.

use maud::{Markup, html};

use super::told::{At, Quantity, Units, limit};

/// What is known of how old the weather is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weather {
    /// Of a known age, and no caution on it.
    Dated,
    /// Older at launch than it is used for, or not of one time.
    Old,
    /// Nobody said when it was, or the answer that knew it is gone.
    Undated,
}

impl Weather {
    /// From the answer of a flight.
    pub fn of(assessment: &At) -> Self {
        let topics = assessment.get("cautions").items();
        if topics.iter().any(|c| matches!(c.get("topic").text(), "weather_age" | "weather_time")) {
            Self::Old
        } else if assessment.down("weather.age_h").number().is_some() {
            Self::Dated
        } else {
            Self::Undated
        }
    }
}

/// What stands beside "under limit" in weather that does not bear it.
pub fn minded(delay: &At, weather: Weather) -> Option<&'static str> {
    match weather {
        _ if delay.get("standing").text() != "under limit" => None,
        Weather::Dated => None,
        Weather::Old => Some("old weather"),
        Weather::Undated => Some("undated weather"),
    }
}

/// Class and sign of a standing in words. What is not one of the known ones is not known.
fn look(standing: &str) -> (&'static str, &'static str) {
    match standing {
        "under limit" => ("under", "\u{25bc}"),
        "over limit" => ("over", "\u{25b2}"),
        "opens low" => ("low", "\u{25c6}"),
        "does not open well" => ("unwell", "\u{25c6}"),
        _ => ("unknown", "?"),
    }
}

/// A standing as the answer has it, with its sign. Under the limit has its colour in dated weather alone.
pub fn word(standing: &At, weather: Weather) -> Markup {
    let (class, sign) = look(standing.text());
    html! {
        span.word.(class).undated[weather != Weather::Dated] { span aria-hidden="true" { (sign) " " } (standing.words()) }
    }
}

/// The chances of a way of deploying at the limit of the condition.
pub fn at_condition<'a>(delay: &At<'a>, advice: &At) -> At<'a> {
    let limit = advice.get("limit_m_s").number();
    let limits = delay.get("limits");
    let found = limits.items().into_iter().find(|l| l.get("limit_m_s").number() == limit);
    found.unwrap_or_else(|| limits.nth(0)).get("unsafe_opening")
}

/// A way of deploying as a cell that leads somewhere.
pub fn cell(delay: &At, advice: &At, speed: &At, weather: Weather, units: Units, href: &str) -> Markup {
    let (class, _) = look(delay.get("standing").text());
    html! {
        li {
            a.cell.(class).undated[weather != Weather::Dated] href=(href) {
                span.delay { (delay.get("label").words()) }
                " " span.number { (at_condition(delay, advice).chance()) }
                " " (word(&delay.get("standing"), weather))
                @if let Some(minded) = minded(delay, weather) { " " span.minded { (minded) } }
                " " span.speed { "median " (speed.measure(Quantity::Speed, units)) }
            }
        }
    }
}

/// What the numbers of cells are.
pub fn key(advice: &At, units: Units) -> Markup {
    html! {
        p.key {
            "Each cell: chance of an unsafe opening at " (limit(advice, units))
            ", with its interval, and the median airspeed at ejection. \u{201c}Under limit\u{201d}: the upper end is at most "
            (advice.get("condition_chance").short_percent()) "."
        }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn weather_is_dated_only_where_its_age_is_known_and_nothing_is_said_against_it() {
        for (answer, expected) in [
            (json!({"weather": {"age_h": 0.5}, "cautions": []}), Weather::Dated),
            (json!({"weather": {"age_h": 0.5}, "cautions": [{"topic": "open_fast"}]}), Weather::Dated),
            (json!({"weather": {"age_h": 0.5}, "cautions": [{"topic": "weather_age"}]}), Weather::Old),
            (json!({"weather": {"age_h": 0.5}, "cautions": [{"topic": "weather_time"}]}), Weather::Old),
            (json!({"weather": {"age_h": null}, "cautions": []}), Weather::Undated),
            (json!({"cautions": []}), Weather::Undated),
            (json!(null), Weather::Undated),
        ] {
            assert_eq!(Weather::of(&At::whole(&answer)), expected, "{answer}");
        }
    }
}
