//! How a delay stands against its condition, at a glance: a number, a word and a colour, and whether the weather bears it.

use maud::{Markup, html};
use serde_json::Value;

use super::told::{At, Quantity, Units, limit};

/// Whether the weather bears a colour of "under limit".
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weather {
    /// Of a known age and decoded throughout, and no caution on it.
    Dated,
    /// There is a caution on the wind.
    Cautioned,
    /// A part of the wind is by hand, or a guess.
    Assumed,
    /// Older at launch than it is used for, or not of one time.
    Old,
    /// Nobody said when it was, or the answer that knew it is gone.
    Undated,
}

impl Weather {
    /// From the answer of a flight.
    pub fn of(assessment: &At) -> Self {
        Self::judged(&assessment.get("weather"), &assessment.get("cautions"), true)
    }

    /// By decoded weather and cautions; `of_age` where the age that it tells is that of this launch.
    fn judged(weather: &At, cautions: &At, of_age: bool) -> Self {
        let cautions = cautions.items();
        let on = |topics: &[&str]| cautions.iter().any(|c| topics.contains(&c.get("topic").text()));
        let messages = weather.get("messages").items();
        if on(&["weather_age", "weather_time"]) {
            Self::Old
        } else if !of_age || weather.get("age_h").number().is_none() {
            Self::Undated
        } else if messages.is_empty()
            || messages.iter().any(|m| m.get("format").text() == BY_HAND)
            || on(&["wind_surface", "turbulence"])
        {
            Self::Assumed
        } else if on(&["wind"]) {
            Self::Cautioned
        } else {
            Self::Dated
        }
    }
}

/// Format of the message that is winds by hand.
const BY_HAND: &str = "layers";

/// The weather of a day, which all its flights share, as one of them tells it.
pub struct Sky<'a> {
    /// The answer of the first flight that was flown; null where it is gone.
    pub first: At<'a>,
    /// Names of the flights that are known to launch when it does: only for those its age is theirs.
    pub with_first: &'a [String],
}

impl Sky<'_> {
    /// For the flight of a row, by its own reasons to hold.
    pub fn of_row(&self, row: &At) -> Weather {
        let flight = row.get("flight");
        let own = flight.get("assessment").text() == self.first.get("id").text();
        let of_age = own || self.with_first.iter().any(|name| name == row.get("name").text());
        Weather::judged(&self.first.get("weather"), &flight.get("hold"), of_age)
    }

    /// Whether every row of a day launches when the first does.
    pub fn together(&self, rows: &[At]) -> bool {
        rows.iter().all(|row| self.with_first.iter().any(|name| name == row.get("name").text()))
    }
}

/// Names of the flights of a day that launch when one of them does, itself among them, by what was asked. Times that are
/// written otherwise are taken to differ.
pub fn launching_with(input: &Value, first: &str) -> Vec<String> {
    let mut times: Vec<(&str, Value)> = Vec::new();
    for entry in input["entries"].as_array().map_or(&[][..], Vec::as_slice) {
        let own = entry.get("launch_at").or(entry["changes"].get("launch_at"));
        let copied = || times.iter().find(|(name, _)| entry["copy_of"].as_str() == Some(name)).map(|(_, time)| time);
        let time = own.or_else(copied).unwrap_or(&input["launch_at"]).clone();
        times.push((entry["name"].as_str().unwrap_or_default(), time));
    }
    let Some((_, of_first)) = times.iter().find(|(name, _)| *name == first) else { return Vec::new() };
    times.iter().filter(|(_, time)| time == of_first).map(|(name, _)| name.to_string()).collect()
}

/// What stands beside "under limit" in weather that does not bear it.
fn minded(standing: &At, weather: Weather) -> Option<&'static str> {
    match weather {
        _ if standing.text() != "under limit" => None,
        Weather::Dated => None,
        Weather::Cautioned => Some("caution on wind"),
        Weather::Assumed => Some("assumed wind"),
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

/// A standing as the answer has it, with its sign and with what is to be minded of the weather. Under the limit has its colour
/// only in weather that bears it.
pub fn word(standing: &At, weather: Weather) -> Markup {
    let (class, sign) = look(standing.text());
    html! {
        span.word.(class).undated[weather != Weather::Dated] { span.sign aria-hidden="true" { (sign) " " } (standing.words()) }
        @if let Some(minded) = minded(standing, weather) { " " span.minded { "(" (minded) ")" } }
    }
}

/// The chances of a way of deploying at the limit of the condition; null where there are none at that limit.
pub fn at_condition<'a>(delay: &At<'a>, advice: &At) -> At<'a> {
    let limit = advice.get("limit_m_s").number();
    let limits = delay.get("limits");
    let found = limits.items().into_iter().find(|l| limit.is_some() && l.get("limit_m_s").number() == limit);
    found.unwrap_or_else(At::nothing).get("unsafe_opening")
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
                " " span.speed { "median " (speed.measure(Quantity::Speed, units)) }
            }
        }
    }
}

/// Which airspeed is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// As the charge fires.
    Ejection,
    /// As the lines are stretched.
    LineStretch,
}

impl Place {
    /// The one that limits are held against.
    pub fn of_limits(assessment: &At) -> Self {
        if assessment.get("limits_apply_to").text() == "line_stretch" { Self::LineStretch } else { Self::Ejection }
    }

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Ejection => "ejection",
            Self::LineStretch => "line stretch",
        }
    }

    /// Its airspeeds, of a way of deploying of an assessment.
    pub fn airspeeds<'a>(self, delay: &At<'a>) -> At<'a> {
        delay.down(match self {
            Self::Ejection => "at_ejection.airspeed_m_s",
            Self::LineStretch => "at_ejection.line_stretch_airspeed_m_s",
        })
    }
}

/// What is said where medians are at ejection, all that a day has, and limits are held against another airspeed.
pub fn of_another_place(limits: Place) -> Option<&'static str> {
    (limits != Place::Ejection).then_some(" (limits are held against that at line stretch)")
}

/// What the numbers of cells are: the airspeeds at this place.
pub fn key(advice: &At, place: Place, note: Option<&str>, units: Units) -> Markup {
    html! {
        p.key {
            "Each cell: chance of an unsafe opening at " (limit(advice, units))
            ", with its interval, and the median airspeed at " (place.name()) (note.unwrap_or_default()) ". \u{201c}Under limit\u{201d}: the upper end is at most "
            (advice.get("condition_chance").short_percent()) "."
        }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    /// Decoded weather of an age, with these topics of cautions.
    fn answer(age_h: Value, formats: &[&str], topics: &[&str]) -> Value {
        let messages: Vec<Value> = formats.iter().map(|format| json!({"format": format})).collect();
        let cautions: Vec<Value> = topics.iter().map(|topic| json!({"topic": topic})).collect();
        json!({"id": "first", "weather": {"age_h": age_h, "messages": messages}, "cautions": cautions})
    }

    #[test]
    fn weather_bears_a_colour_only_where_all_of_it_is_known_and_nothing_is_said_against_it() {
        let hour = || json!(0.5);
        for (answer, expected) in [
            (answer(hour(), &["metar", "winds_aloft"], &[]), Weather::Dated),
            (answer(hour(), &["metar"], &["open_fast", "wind_height"]), Weather::Dated),
            (answer(hour(), &["metar"], &["weather_age"]), Weather::Old),
            (answer(hour(), &["metar"], &["weather_time"]), Weather::Old),
            (answer(json!(null), &["metar"], &["weather_age"]), Weather::Old),
            (answer(hour(), &["metar"], &["wind"]), Weather::Cautioned),
            (answer(hour(), &["winds_aloft"], &["wind_surface"]), Weather::Assumed),
            (answer(hour(), &["metar"], &["turbulence"]), Weather::Assumed),
            (answer(hour(), &["metar", "layers"], &[]), Weather::Assumed),
            (answer(hour(), &[], &[]), Weather::Assumed),
            (answer(json!(null), &["metar"], &[]), Weather::Undated),
            (json!({"cautions": []}), Weather::Undated),
            (json!(null), Weather::Undated),
        ] {
            assert_eq!(Weather::of(&At::whole(&answer)), expected, "{answer}");
        }
    }

    #[test]
    fn a_row_is_judged_by_its_own_launch_and_cautions() {
        let first = answer(json!(0.5), &["metar"], &[]);
        let row = |id: &str, topics: &[&str]| {
            let hold: Vec<Value> = topics.iter().map(|topic| json!({"topic": topic})).collect();
            json!({"name": id, "flight": {"assessment": id, "hold": hold}})
        };
        for (row, together, expected) in [
            (row("first", &[]), true, Weather::Dated),
            (row("other", &[]), true, Weather::Dated),
            (row("other", &["weather_age"]), true, Weather::Old),
            (row("other", &["weather_time"]), false, Weather::Old),
            (row("other", &["wind"]), true, Weather::Cautioned),
            (row("other", &["turbulence"]), true, Weather::Assumed),
            // Of the time of another launch.
            (row("first", &[]), false, Weather::Dated),
            (row("other", &[]), false, Weather::Undated),
        ] {
            let names = if together { vec!["first".into(), "other".into()] } else { vec!["first".into()] };
            let sky = Sky { first: At::whole(&first), with_first: &names };
            assert_eq!(sky.of_row(&At::whole(&row)), expected, "{row}, {together}");
        }
        let gone = Sky { first: At::nothing(), with_first: &["first".into()] };
        assert_eq!(gone.of_row(&At::whole(&row("first", &[]))), Weather::Undated);
    }

    #[test]
    fn flights_launch_with_the_first_where_no_other_time_was_asked() {
        let [early, late] = ["2026-11-10T02:30:00Z", "2026-11-10T06:30:00Z"];
        for (entries, expected) in [
            (json!([{"name": "a"}, {"name": "b", "copy_of": "a"}]), vec!["a", "b"]),
            (
                json!([{"name": "a", "launch_at": early}, {"name": "b", "copy_of": "a", "changes": {"launch_at": early}}]),
                vec!["a", "b"],
            ),
            (json!([{"name": "a"}, {"name": "b", "launch_at": late}]), vec!["a"]),
            // The third launches with the first again.
            (json!([{"name": "a"}, {"name": "b", "launch_at": late}, {"name": "c"}]), vec!["a", "c"]),
            (json!([{"name": "a", "launch_at": late}, {"name": "b"}, {"name": "c", "copy_of": "a"}]), vec!["a", "c"]),
            (json!([{"name": "a"}, {"name": "b", "copy_of": "a", "changes": {"launch_at": late}}]), vec!["a"]),
            (json!([{"name": "a"}, {"name": "b", "copy_of": "a", "changes": {"launch_at": null}}]), vec!["a"]),
            (json!([]), vec![]),
            (json!(null), vec![]),
        ] {
            let input = json!({"launch_at": early, "entries": entries});
            assert_eq!(launching_with(&input, "a"), expected, "{input}");
        }
    }

    #[test]
    fn a_limit_that_is_not_found_has_no_chance() {
        let delay = json!({"limits": [{"limit_m_s": 15.0, "unsafe_opening": {"text": "< 1 %"}}]});
        let shown = |advice: Value| at_condition(&At::whole(&delay), &At::whole(&advice)).chance().into_string();
        assert!(shown(json!({"limit_m_s": 15.0})).contains("&lt; 1 %"));
        assert_eq!(shown(json!({"limit_m_s": 16.0})), super::super::told::NOT_KNOWN);
        assert_eq!(shown(json!({"limit_m_s": null})), super::super::told::NOT_KNOWN);
    }
}
