//! How old weather is: by the times of its messages and the instant of launch or the date, never by a clock.

use jiff::civil::{Date, DateTime};
use slowpoint_sim::report::Caution;

use super::clock::{When, written};
use super::{Format, Message, Profile};

/// A forecast without hours of use is taken to be for this long before and after its time, h.
const AROUND_VALID_H: f64 = 6.0;

/// How long an observation is used, h: until the next one is due.
fn used_h(format: Format) -> Option<f64> {
    match format {
        // Routine reports are made every hour or half hour.
        Format::Metar | Format::Speci => Some(1.0),
        // Soundings are made at 00 and 12 UTC.
        Format::Temp | Format::Pilot => Some(12.0),
        Format::WindsAloft | Format::Layers | Format::Coverage | Format::Grib => None,
    }
}

/// Whether such a message is of a time at all.
fn dated(format: Format) -> bool {
    format != Format::Layers
}

/// Hours from one time to another.
fn hours(from: DateTime, to: DateTime) -> f64 {
    from.duration_until(to).as_secs_f64() / 3600.0
}

/// Hours from what a message rests on, its observation or analysis, to launch: negative where that is later.
pub fn before_launch_h(message: &Message, date: Option<Date>, launch: DateTime) -> Option<f64> {
    let rests_on = message.observed.or(message.based_on).or(message.valid)?.near(date)?;
    Some(hours(rests_on, launch))
}

/// Hours that lie between launch and the weather: the longest to any observation, to the analysis of a forecast or to the
/// time that it is for. Says what to mind.
pub fn at_launch_h(profile: &mut Profile, date: Option<Date>, launch: DateTime) -> Option<f64> {
    let on = |time: Option<When>| time.and_then(|t| t.near(date));
    let mut longest: Option<f64> = None;
    for message in profile.messages.iter().filter(|m| dated(m.format)) {
        let apart = message.times().filter_map(|t| t.near(date)).map(|t| hours(t, launch).abs()).reduce(f64::max);
        longest = longest.into_iter().chain(apart).reduce(f64::max);
        let told = match (on(message.observed), on(message.valid)) {
            (Some(observed), _) => observation(message, observed, launch),
            (None, Some(valid)) => forecast(message, valid, launch),
            (None, None) => None,
        };
        if let Some((text, rule)) = told {
            profile.cautions.push(Caution { topic: "weather_age", message: text, rule });
        } else if apart.is_none() {
            profile.cautions.push(Caution {
                topic: "weather_age",
                message: format!("{} has no time: how old it is at launch is not known.", named(message)),
                rule: "unknown age widens no error",
            });
        }
    }
    longest
}

/// What the date alone tells of the age of messages, and whether a surface report falls into a forecast's hours of use.
pub fn on_date(profile: &mut Profile, date: Date) {
    for message in &profile.messages {
        let Some(time) = message.observed.or(message.valid).and_then(|t| t.near(Some(date))) else { continue };
        let days = time.date().until(date).map_or(0, |span| span.get_days());
        if days.abs() > 1 {
            let (number, side) = (days.abs(), if days > 0 { "before" } else { "after" });
            profile.cautions.push(Caution {
                topic: "weather_age",
                message: format!(
                    "The message {} is of {}, {number} days {side} the date.",
                    message.format.title(),
                    written(time)
                ),
                rule: "the day of the message, in the month that is nearest to the date",
            });
        }
    }
    let observed = profile.messages.iter().find_map(|m| m.observed?.near(Some(date)));
    let used = profile.messages.iter().find_map(|m| m.for_use?.around(m.valid?.near(Some(date))?));
    let (Some(time), Some([from, until])) = (observed, used) else { return };
    if time < from || time > until {
        profile.cautions.push(Caution {
            topic: "weather_time",
            message: format!(
                "The surface report is of {}, the winds aloft are for use from {} to {}.",
                written(time),
                written(from),
                written(until)
            ),
            rule: "FOR USE in the bulletin",
        });
    }
}

fn named(message: &Message) -> String {
    let station = message.station.as_deref().map(|s| format!(" {s}")).unwrap_or_default();
    format!("The {}{station}", message.format.title())
}

fn observation(message: &Message, observed: DateTime, launch: DateTime) -> Option<(String, &'static str)> {
    let (age_h, used_h) = (hours(observed, launch), used_h(message.format)?);
    let of = format!("{} is of {}", named(message), written(observed));
    if age_h < 0.0 {
        return Some((
            format!("{of}, {:.2} h after launch at {}.", -age_h, written(launch)),
            "an observation is no forecast",
        ));
    }
    let text = || format!("{of}, {age_h:.2} h before launch at {}: it is used for {used_h} h.", written(launch));
    (age_h > used_h).then(|| (text(), "an observation is used until the next one is due: assumption"))
}

fn forecast(message: &Message, valid: DateTime, launch: DateTime) -> Option<(String, &'static str)> {
    match message.for_use.and_then(|hours| hours.around(valid)) {
        Some([from, until]) => (launch < from || launch > until).then(|| {
            let hours = format!("is for use from {} to {}", written(from), written(until));
            (format!("{} {hours}; launch is at {}.", named(message), written(launch)), "FOR USE in the bulletin")
        }),
        None => (hours(valid, launch).abs() > AROUND_VALID_H).then(|| {
            let text = format!(
                "{} is for {}, more than {AROUND_VALID_H} h from launch at {}.",
                named(message),
                written(valid),
                written(launch)
            );
            (text, "a forecast that says no hours of use: assumption")
        }),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use jiff::civil::{date, datetime};

    use super::super::clock::{DayTime, ForUse};
    use super::*;

    fn profile(messages: Vec<Message>) -> Profile {
        Profile { messages, ..Profile::of(Message::new(Format::Layers)) }
    }

    fn when(time: &str) -> Option<When> {
        DayTime::read(time).map(When::OfMonth)
    }

    fn metar(time: &str) -> Message {
        Message { station: Some("KABQ".into()), observed: when(time), ..Message::new(Format::Metar) }
    }

    fn bulletin(based_on: Option<&str>, valid: Option<&str>, hours: Option<&str>) -> Message {
        Message {
            based_on: based_on.and_then(when),
            valid: valid.and_then(when),
            for_use: hours.and_then(ForUse::read),
            ..Message::new(Format::WindsAloft)
        }
    }

    #[test]
    fn the_longest_time_counts() {
        let on = Some(date(2026, 11, 10));
        let launch = datetime(2026, 11, 10, 2, 26, 0, 0);
        let bulletin = bulletin(Some("091200"), Some("100600"), Some("0200-0900"));
        for (messages, expected_h, cautions) in [
            (vec![metar("100156")], Some(0.5), 0),
            (vec![metar("092356")], Some(2.5), 1),
            // After launch.
            (vec![metar("100256")], Some(0.5), 1),
            (vec![bulletin.clone()], Some(14.0 + 26.0 / 60.0), 0),
            (vec![metar("100156"), bulletin.clone()], Some(14.0 + 26.0 / 60.0), 0),
            (vec![Message { observed: when("091200"), ..Message::new(Format::Temp) }], Some(14.0 + 26.0 / 60.0), 1),
            (vec![Message { observed: when("100000"), ..Message::new(Format::Temp) }], Some(2.0 + 26.0 / 60.0), 0),
            // By hand: no time at all, and none expected.
            (vec![Message::new(Format::Layers)], None, 0),
            (vec![Message::new(Format::WindsAloft)], None, 1),
        ] {
            let mut profile = profile(messages);
            let hours = at_launch_h(&mut profile, on, launch);
            assert!(hours.is_some() == expected_h.is_some(), "{hours:?}");
            assert!((hours.unwrap_or(0.0) - expected_h.unwrap_or(0.0)).abs() < 1e-9, "{hours:?}, {expected_h:?}");
            assert_eq!(profile.cautions.len(), cautions, "{:?}", profile.cautions);
        }
    }

    #[test]
    fn forecasts_outside_their_hours() {
        let on = Some(date(2026, 11, 10));
        let stated = bulletin(Some("091200"), Some("100600"), Some("0200-0900"));
        let unstated = bulletin(Some("091200"), Some("100600"), None);
        for (message, at, mind) in [
            (&stated, datetime(2026, 11, 10, 1, 59, 0, 0), Some("from 2026-11-10T02:00Z to 2026-11-10T09:00Z")),
            (&stated, datetime(2026, 11, 10, 2, 0, 0, 0), None),
            (&stated, datetime(2026, 11, 10, 9, 0, 0, 0), None),
            (&stated, datetime(2026, 11, 10, 9, 1, 0, 0), Some("launch is at 2026-11-10T09:01Z")),
            (&unstated, datetime(2026, 11, 10, 12, 0, 0, 0), None),
            (&unstated, datetime(2026, 11, 10, 12, 1, 0, 0), Some("more than 6 h")),
            (&unstated, datetime(2026, 11, 9, 23, 59, 0, 0), Some("more than 6 h")),
        ] {
            let mut profile = profile(vec![message.clone()]);
            at_launch_h(&mut profile, on, at);
            assert_eq!(profile.cautions.len(), usize::from(mind.is_some()), "{at}: {:?}", profile.cautions);
            assert!(mind.is_none_or(|part| profile.cautions[0].message.contains(part)), "{:?}", profile.cautions);
        }
        // A forecast for later than launch: what lies between counts, though it was analysed a moment ago.
        let mut soon = profile(vec![stated]);
        assert_eq!(at_launch_h(&mut soon, on, datetime(2026, 11, 9, 12, 0, 0, 0)), Some(18.0));
    }
}
