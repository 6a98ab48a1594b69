//! Soundings in their parts (WMO-No. 306): radiosondes (TEMP, FM 35) and pilot balloons (PILOT, FM 32). What the parts
//! share stands here: header, air and wind. TTAA is read in `temp.rs`, TTBB and PPBB in `significant.rs`. What lies above
//! 100 hPa, some 16 km, is left out, and so are the winds of PPAA, whose pressures have no heights.

use slowpoint_sim::limits;

use super::clock::{Clock, DayTime, When};
use super::text::{Group, digits, ended, groups};
use super::{Bound, Direction, Format, Message, Profile, TEMPERATURES_C, Wind, significant, temp};
use crate::wire::units::{ANGLE, Reading, SPEED, TEMPERATURE, Unreadable};

pub(super) const SOUNDING: &str = "give the sounding from TTAA or PPBB on, as it was issued: TTAA 81001 72518 99030 08863 33004 00263 10464 \
                                   34016; TTBB 8100/ 72518 00030 08863; PPBB 8100/ 72518 90012 33004 34016 34520";
const WIND: &str = "expected ddfff: two digits of direction (00 to 36), then the speed, to which 500 is added for 5 degrees \
                    more: 33004, 00518; compare with the sounding as it was issued";
const AIR: &str = "expected TTTaDD, degrees and tenths (an odd tenth is negative) and the depression of the dew point: 08863, \
                   04182; compare with the sounding as it was issued";

/// A part of a sounding, by the group that begins it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Part {
    /// TTAA: surface and standard pressures up to 100 hPa.
    Standard,
    /// TTBB: levels between them.
    Significant,
    /// PPBB: winds by height.
    WindsByHeight,
    /// A part without heights, or above 100 hPa.
    Other,
}

impl Part {
    fn of(group: &Group<'_>) -> Option<Self> {
        match group.text {
            "TTAA" => Some(Self::Standard),
            "TTBB" => Some(Self::Significant),
            "PPBB" => Some(Self::WindsByHeight),
            "TTCC" | "TTDD" | "PPAA" | "PPCC" | "PPDD" => Some(Self::Other),
            _ => None,
        }
    }
}

/// The groups of one part, read one by one.
pub(super) struct Cursor<'a> {
    groups: &'a [Group<'a>],
    at: usize,
    /// Unit of its speeds.
    unit: &'static str,
}

impl<'a> Cursor<'a> {
    fn new(groups: &'a [Group<'a>]) -> Self {
        Self { groups, at: 1, unit: "m/s" }
    }

    /// The next group, not taken yet.
    pub(super) fn peek(&self) -> Option<Group<'a>> {
        self.groups.get(self.at).copied()
    }

    /// The next group, if there is one.
    pub(super) fn take(&mut self) -> Option<Group<'a>> {
        let group = self.peek();
        self.at += usize::from(group.is_some());
        group
    }

    /// The next group, if it is of this kind.
    pub(super) fn take_if(&mut self, wanted: impl FnOnce(&Group<'a>) -> bool) -> Option<Group<'a>> {
        self.peek().filter(wanted).and_then(|_| self.take())
    }

    /// How many groups are left.
    pub(super) fn left(&self) -> usize {
        self.groups.len() - self.at
    }

    /// The next group, which has to be there.
    pub(super) fn next(&mut self, what: &str) -> Result<Group<'a>, Unreadable> {
        self.take().ok_or_else(|| ended(self.groups, what, SOUNDING))
    }

    /// TTTaDD: temperature and dew point.
    pub(super) fn air(&mut self) -> Result<(Option<Reading>, Option<Reading>), Unreadable> {
        let group = self.next("temperature and dew point")?;
        if group.text == "/////" {
            return Ok((None, None));
        }
        let read = || {
            let (air, depression) = group.text.split_at_checked(3)?;
            let tenths = f64::from(digits(air, 3)?);
            let celsius = if tenths % 2.0 == 0.0 { tenths } else { -tenths } / 10.0;
            let dew = match depression {
                "//" => None,
                _ => match f64::from(digits(depression, 2)?) {
                    d if d <= 50.0 => Some(d / 10.0),
                    // 51 to 55 mean nothing.
                    d if d >= 56.0 => Some(d - 50.0),
                    _ => return None,
                },
            };
            let dew = dew.map(|d| ((celsius - d) * 10.0).round() / 10.0);
            TEMPERATURES_C.contains(&celsius).then_some((celsius, dew))
        };
        let (celsius, dew) = read().ok_or_else(|| group.fault("is no temperature and dew point", AIR))?;
        Ok((TEMPERATURE.with(celsius, "C"), dew.and_then(|d| TEMPERATURE.with(d, "C"))))
    }

    /// ddfff.
    pub(super) fn wind(&mut self) -> Result<Option<Wind>, Unreadable> {
        let group = self.next("the wind")?;
        if group.text == "/////" {
            return Ok(None);
        }
        let read = || {
            let number = digits(group.text, 5)?;
            let (tens, units) = (number / 1000, number % 1000);
            let (five, speed) = if units >= 500 { (5, units - 500) } else { (0, units) };
            let bearing = 10 * tens + five;
            let speed = SPEED.with(f64::from(speed), self.unit).filter(|s| s.si <= limits::WIND_SPEED.max)?;
            let direction = match bearing {
                0 if speed.si == 0.0 => Direction::None,
                0..=360 => Direction::From(ANGLE.with(f64::from(bearing), "deg")?),
                _ => return None,
            };
            Some(Wind { direction, speed, bound: Bound::Is, gust: None, varies: None })
        };
        read().map(Some).ok_or_else(|| group.fault("is no wind", WIND))
    }

    /// Whether a section begins that tells nothing of a profile, which is then left out aloud with all after it.
    pub(super) fn ends(&mut self, skipped: &mut Vec<String>) -> bool {
        let Some(group) =
            self.take_if(|g| matches!(g.text, "31313" | "41414" | "51515" | "52525" | "61616" | "62626" | "NNNN"))
        else {
            return false;
        };
        let more = self.left() + 1;
        let part = self.groups.first().map_or("", |g| g.text);
        skipped.push(format!("What follows the levels of {part} ({more} groups from {}).", group.text));
        self.at = self.groups.len();
        true
    }
}

/// What begins every part.
struct Header {
    time: DayTime,
    station: String,
    /// What follows day and hour: in TTAA the last standard pressure with a wind.
    last: char,
}

/// Reads day, hour, unit of speeds and station.
fn header(cursor: &mut Cursor<'_>) -> Result<Header, Unreadable> {
    let time = cursor.next("the time")?;
    let read = || {
        let (day_hour, last) = time.text.split_at_checked(4)?;
        let number = digits(day_hour, 4)?;
        let (day, hour) = (number / 100, number % 100);
        let (day, knots) = if day > 50 { (day - 50, true) } else { (day, false) };
        let last = last.chars().next().filter(|c| last.len() == 1 && (c.is_ascii_digit() || *c == '/'))?;
        let clock = Clock { hour: hour.try_into().ok()?, minute: 0 };
        let good = (1..=31).contains(&day) && hour < 24;
        good.then_some((DayTime { day: day.try_into().ok()?, clock }, knots, last))
    };
    let (observed, knots, last) = read().ok_or_else(|| {
        time.fault(
            "is no day and hour",
            "expected the day (plus 50 where speeds are in knots), the hour and a figure or a stroke: 81001, 8100/",
        )
    })?;
    cursor.unit = if knots { "kt" } else { "m/s" };
    let station = cursor.next("the station")?;
    if digits(station.text, 5).is_none() {
        return Err(station.fault("is no station", "expected the five digits of the station: 72518"));
    }
    Ok(Header { time: observed, station: station.text.into(), last })
}

/// Reads a sounding: the parts that have heights, put together.
pub fn decode(text: &str) -> Result<Profile, Unreadable> {
    let text = text.to_ascii_uppercase().replace('=', " ");
    let all = groups(&text);
    let starts: Vec<usize> = (0..all.len()).filter(|i| Part::of(&all[*i]).is_some()).collect();
    let ends = starts.iter().skip(1).copied().chain([all.len()]);
    let parts: Vec<(Part, &[Group<'_>])> =
        starts.iter().zip(ends).filter_map(|(start, end)| Some((Part::of(&all[*start])?, &all[*start..end]))).collect();
    let only = |wanted: Part| {
        let mut found = parts.iter().filter(move |(part, _)| *part == wanted).map(|(_, groups)| *groups);
        let first = found.next();
        match found.next() {
            Some(second) => Err(second[0].fault("begins a part that was there before", "give one sounding at a time")),
            None => Ok(first),
        }
    };
    let (standard, significant, by_height) =
        (only(Part::Standard)?, only(Part::Significant)?, only(Part::WindsByHeight)?);
    let Some(leading) = standard.or(by_height) else {
        return Err(match significant.map(|groups| groups[0]) {
            Some(part) => {
                part.fault("has pressures without heights", "give TTAA with it, whose heights tell those between")
            }
            None => Unreadable { problem: "there is no group TTAA".into(), remedy: SOUNDING.into() },
        });
    };
    let mut cursor = Cursor::new(leading);
    let Header { time, station, last } = header(&mut cursor)?;
    let format = if standard.is_some() { Format::Temp } else { Format::Pilot };
    let mut profile = Profile::of(Message {
        station: Some(station.clone()),
        observed: Some(When::OfMonth(time)),
        ..Message::new(format)
    });
    profile.assumed.push(format!(
        "The sounding of {station} gives an hour; it was taken as the full hour. Its heights are geopotential, taken as metres \
         above sea level."
    ));
    let beside = |groups: &'_ [Group<'_>]| {
        let mut cursor = Cursor::new(groups);
        let other = header(&mut cursor)?;
        if other.station != station || other.time != time {
            let what = if other.station == station { "hour" } else { "station" };
            return Err(groups[0].fault(&format!("begins a part of another {what}"), "give the parts of one sounding"));
        }
        Ok(cursor.unit)
    };
    if standard.is_some() {
        let heights = temp::standard(&mut cursor, last, &mut profile)?;
        if let Some(groups) = significant {
            let unit = beside(groups)?;
            significant::levels(&mut Cursor { unit, at: HEADER, groups }, &heights, &mut profile)?;
        }
    }
    if let Some(groups) = by_height {
        let unit = beside(groups)?;
        significant::by_height(&mut Cursor { unit, at: HEADER, groups }, &mut profile)?;
    }
    for (_, groups) in parts.iter().filter(|(part, _)| *part == Part::Other) {
        profile.skipped.push(match groups[0].text {
            "PPAA" => "PPAA: its pressures have no heights.".into(),
            part => format!("{part}: what lies above 100 hPa, some 16 km."),
        });
    }
    Ok(profile)
}

/// Groups before the levels: the part, day and hour, station.
const HEADER: usize = 3;

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    /// By the rules of WMO-No. 306; invented.
    const TTAA: &str = "TTAA 81001 72518 99990 08863 33004 00033 ///// ///// 92762 04461 00518 85457 00079 01526 70012 04182 32526 88999 77999";
    const TTBB: &str = "TTBB 8100/ 72518 00990 08863 11950 07260 21212 00990 33004 11950 34516";
    const PPBB: &str = "PPBB 8100/ 72518 90134 34016 35018 00518";

    #[test]
    fn parts_come_together_or_are_left_out_aloud() {
        let levels = |text: &str| decode(text).unwrap().levels.len();
        assert_eq!(levels(TTAA), 4);
        assert_eq!(levels(&format!("USUS01 {TTAA}\n{TTBB}=\n{PPBB}=")), 8);
        // In any order.
        assert_eq!(decode(&format!("{PPBB}= {TTBB}= {TTAA}")), decode(&format!("{TTAA} {TTBB} {PPBB}")));
        let profile = decode(PPBB).unwrap();
        assert_eq!((profile.messages[0].format, profile.levels.len()), (Format::Pilot, 3));
        let more =
            decode(&format!("{TTAA} TTCC 81002 72518 70470 56762 27020 TTDD 8100/ 72518 PPAA 81001 72518")).unwrap();
        let skipped = more.skipped.join("\n");
        for part in ["TTCC: what lies above 100 hPa", "TTDD: what", "PPAA: its pressures"] {
            assert!(skipped.contains(part), "{skipped}");
        }
    }

    #[test]
    fn parts_that_do_not_belong_together() {
        for (text, problem) in [
            (TTBB.to_string(), "\"TTBB\", has pressures without heights"),
            ("PPAA 81001 72518 55385 34016".into(), "no group TTAA"),
            (format!("{TTAA} {TTAA}"), "begins a part that was there before"),
            (format!("{TTAA} {PPBB} {PPBB}"), "begins a part that was there before"),
            (format!("{TTAA} {}", TTBB.replace("72518", "72519")), "\"TTBB\", begins a part of another station"),
            (format!("{TTAA} {}", PPBB.replace("8100/", "8112/")), "\"PPBB\", begins a part of another hour"),
            (format!("{TTAA} TTBB 8100X 72518"), "\"8100X\", is no day and hour"),
            (format!("{TTAA} TTBB 8100/"), "the station should follow"),
        ] {
            let e = decode(&text).unwrap_err();
            assert!(e.problem.contains(problem) && !e.remedy.is_empty(), "{e:?}");
        }
    }
}
