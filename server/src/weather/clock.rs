//! Times of messages: a day of the month, an hour and a minute in UTC, without month and year. The caller's date says
//! which month. Instants as callers write them.

use jiff::civil::{Date, DateTime, Time};
use jiff::tz::Offset;
use jiff::{Timestamp, ToSpan};

use super::text::digits;

/// Hour and minute.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Clock {
    /// Hour, 0 to 23.
    pub hour: i8,
    /// Minute.
    pub minute: i8,
}

impl Clock {
    /// Reads "hhmm".
    pub fn read(text: &str) -> Option<Self> {
        let number = digits(text, 4)?;
        let (hour, minute) = (number / 100, number % 100);
        let clock = Self { hour: hour.try_into().ok()?, minute: minute.try_into().ok()? };
        (hour < 24 && minute < 60).then_some(clock)
    }

    fn time(self) -> Option<Time> {
        Time::new(self.hour, self.minute, 0, 0).ok()
    }
}

/// A time of a month that is not said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DayTime {
    /// Day of the month, 1 to 31.
    pub day: i8,
    /// Hour and minute.
    pub clock: Clock,
}

impl DayTime {
    /// Reads "ddhhmm".
    pub fn read(text: &str) -> Option<Self> {
        digits(text, 6)?;
        let (day, clock) = text.split_at_checked(2)?;
        let day = digits(day, 2)?;
        let clock = Clock::read(clock)?;
        (1..=31).contains(&day).then_some(Self { day: day.try_into().ok()?, clock })
    }

    /// The time on the day of that number nearest to a date; of two as near, the earlier.
    pub fn nearest(self, date: Date) -> Option<DateTime> {
        let near = (0..=31).flat_map(|days| [-days, days]);
        let day = near.filter_map(|days| date.checked_add(days.days()).ok()).find(|d| d.day() == self.day)?;
        Some(day.to_datetime(self.clock.time()?))
    }
}

/// When a message was made, or is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum When {
    /// As messages have it: the caller's date says which month.
    OfMonth(DayTime),
    /// With month and year, UTC.
    Whole(DateTime),
}

impl When {
    /// The whole time; `None` where it takes a date and there is none.
    pub fn near(self, date: Option<Date>) -> Option<DateTime> {
        match self {
            Self::OfMonth(time) => time.nearest(date?),
            Self::Whole(time) => Some(time),
        }
    }

    /// Day of the month, hour and minute.
    pub fn day_hour_minute(self) -> [i8; 3] {
        match self {
            Self::OfMonth(DayTime { day, clock }) => [day, clock.hour, clock.minute],
            Self::Whole(time) => [time.day(), time.hour(), time.minute()],
        }
    }
}

/// The hours that a forecast may be used for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ForUse {
    /// From this on.
    pub from: Clock,
    /// Until this.
    pub until: Clock,
}

impl ForUse {
    /// Reads "hhmm-hhmm".
    pub fn read(text: &str) -> Option<Self> {
        let (from, until) = text.split_once('-')?;
        Some(Self { from: Clock::read(from)?, until: Clock::read(until)? })
    }

    /// The hours around the time that the forecast is for.
    pub fn around(self, valid: DateTime) -> Option<[DateTime; 2]> {
        let on = |clock: Clock| Some(valid.date().to_datetime(clock.time()?));
        let (from, until) = (on(self.from)?, on(self.until)?);
        Some([
            if from > valid { from.checked_sub(1.day()).ok()? } else { from },
            if until < valid { until.checked_add(1.day()).ok()? } else { until },
        ])
    }
}

/// Reads an instant (RFC 3339 with its offset) as the time in UTC.
pub fn instant(text: &str) -> Option<DateTime> {
    // What the library reads beyond RFC 3339 is not taken.
    let bytes = text.as_bytes();
    let dated = bytes.len() >= "2026-11-25T14:30Z".len() && bytes[10] == b'T';
    let (_, time) = text.split_at_checked(11).filter(|_| dated)?;
    let zoned = time.ends_with('Z') || time.get(time.len() - 6..)?.starts_with(['+', '-']);
    let plain = bytes.iter().all(|b| b.is_ascii_digit() || b"-:.TZ+".contains(b));
    let instant = text.parse::<Timestamp>().ok().filter(|_| zoned && plain)?;
    Some(Offset::UTC.to_datetime(instant))
}

/// A time as answers write it (RFC 3339, to the minute, UTC).
pub fn written(time: DateTime) -> String {
    time.strftime("%Y-%m-%dT%H:%MZ").to_string()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use jiff::civil::date;

    use super::*;

    #[test]
    fn the_nearest_month_is_taken() {
        for (text, on, expected) in [
            ("162256", date(2026, 11, 25), "2026-11-16T22:56Z"),
            ("010005", date(2026, 11, 30), "2026-12-01T00:05Z"),
            ("312350", date(2027, 1, 1), "2026-12-31T23:50Z"),
            ("310000", date(2026, 2, 14), "2026-01-31T00:00Z"),
            ("310000", date(2026, 3, 1), "2026-01-31T00:00Z"),
            ("290600", date(2028, 3, 1), "2028-02-29T06:00Z"),
            // 15 days before and after alike.
            ("100000", date(2026, 11, 25), "2026-11-10T00:00Z"),
        ] {
            assert_eq!(written(DayTime::read(text).unwrap().nearest(on).unwrap()), expected, "{text} {on}");
        }
        for text in ["000000", "320000", "012400", "010060", "1006", "0100000", "01 000", "०१००००"] {
            assert_eq!(DayTime::read(text), None, "{text}");
        }
    }

    #[test]
    fn instants_have_an_offset() {
        for (text, expected) in [
            ("2026-11-25T14:30:00Z", "2026-11-25T14:30Z"),
            ("2026-11-25T14:30Z", "2026-11-25T14:30Z"),
            ("2026-11-25T14:30:59.5Z", "2026-11-25T14:30Z"),
            ("2026-11-25T20:30:00-07:00", "2026-11-26T03:30Z"),
            ("2026-03-01T00:15:00+01:00", "2026-02-28T23:15Z"),
        ] {
            assert_eq!(instant(text).map(written).as_deref(), Some(expected), "{text}");
        }
        for text in [
            "",
            "2026-11-25",
            "2026-11-25T14:30:00",
            "2026-11-25 14:30:00Z",
            "2026-11-25T14:30:00z",
            "2026-11-25T25:30:00Z",
            "2026-02-30T14:30:00Z",
            "2026-11-25T14:30:00-07",
            "2026-11-25T14:30:00-07:00[America/Denver]",
            "20261125T143000Z",
            "+002026-11-25T14:30Z",
            "2026-11-25T14:30:00é",
        ] {
            assert_eq!(instant(text), None, "{text}");
        }
    }

    #[test]
    fn hours_of_use_enclose_the_time_they_are_for() {
        for (hours, valid, expected) in [
            ("1400-2100", "201800", ["2026-11-20T14:00Z", "2026-11-20T21:00Z"]),
            ("2000-0300", "210000", ["2026-11-20T20:00Z", "2026-11-21T03:00Z"]),
            ("0600-1700", "011200", ["2026-12-01T06:00Z", "2026-12-01T17:00Z"]),
        ] {
            let valid = DayTime::read(valid).unwrap().nearest(date(2026, 11, 25)).unwrap();
            let around = ForUse::read(hours).unwrap().around(valid).unwrap();
            assert_eq!(around.map(written), expected, "{hours}");
        }
        for text in ["1400", "1400-", "1400-2500", "1400-21000"] {
            assert_eq!(ForUse::read(text), None, "{text}");
        }
    }
}
