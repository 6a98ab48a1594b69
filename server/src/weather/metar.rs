//! METAR and SPECI (WMO-No. 306, FM 15 and FM 16, regulations 15.1 to 15.14; FMH-1 where the United States differ).
//!
//! Read are station, time, wind, its variation, temperatures (to the tenth where a remark has it) and the pressure.
//! Visibility, weather and cloud say nothing of a profile and are listed as left out, as are trends and other remarks; but
//! what looks like a damaged group of those that are read is refused.

use slowpoint_sim::limits;

use super::clock::{DayTime, When};
use super::text::{Group, digits, ended, groups};
use super::{Bound, Direction, Format, Level, MEASURED_AT_M, Message, Profile, TEMPERATURES_C, Wind};
use crate::wire::units::{ANGLE, LENGTH, PRESSURE, Reading, SPEED, TEMPERATURE, Unreadable};

const WIND: &str = "expected ddd (10 to 360, rounded to 10 degrees) or VRB, the speed, perhaps G and a faster gust, and KT, \
                    MPS or KMH: 29017G27KT, VRB03KT, 00000KT; compare with the report as it was issued";
const TEMPERATURES: &str = "expected whole degrees Celsius with M for minus, and a dew point no higher: 19/14, M02/M05, \
                            02//; compare with the report as it was issued";
const PRESSURES: &str = "expected Q and hectopascals (Q1013) or A and hundredths of an inch of mercury (A2992); compare \
                         with the report as it was issued";

/// A unit of the wind group: its letters, its name, and the faster speeds that P stands for.
struct Unit {
    letters: &'static str,
    name: &'static str,
    /// What follows P, and the speed that it is no less than (regulation 15.5.6).
    beyond: (&'static str, f64),
}

const UNITS: [Unit; 3] = [
    Unit { letters: "KT", name: "kt", beyond: ("99", 100.0) },
    Unit { letters: "MPS", name: "m/s", beyond: ("49", 50.0) },
    Unit { letters: "KMH", name: "km/h", beyond: ("199", 200.0) },
];

/// Reads one report.
pub fn decode(text: &str) -> Result<Profile, Unreadable> {
    let text = text.to_ascii_uppercase();
    let all = groups(&text);
    let report = one_report(&all)?;
    let mut rest = report.iter().copied().peekable();

    let format = match rest.peek().map(|g| g.text) {
        Some("SPECI") => Format::Speci,
        _ => Format::Metar,
    };
    rest.next_if(|g| matches!(g.text, "METAR" | "SPECI"));
    rest.next_if(|g| g.text == "COR");
    let mut profile = Profile::of(Message::new(format));

    let missing =
        |what: &str| ended(&report, what, "give the whole report: METAR KABQ 100156Z 32010KT ... 19/14 A2999");
    let station = rest.next().ok_or_else(|| missing("the station"))?;
    let named = station.text.len() == 4
        && station.text.starts_with(|c: char| c.is_ascii_uppercase())
        && station.text.bytes().all(|b| b.is_ascii_alphanumeric());
    if !named {
        return Err(station
            .fault("is no station", "expected the four letters of the station, then the time: METAR KABQ 100156Z"));
    }
    let time = rest.next().ok_or_else(|| missing("the time"))?;
    let observed = time.text.strip_suffix('Z').and_then(DayTime::read).ok_or_else(|| {
        time.fault("is no time", "expected day, hour and minute in UTC with a Z: 100156Z is the 10th, 01:56")
    })?;
    profile.messages[0].station = Some(station.text.to_string());
    profile.messages[0].observed = Some(When::OfMonth(observed));

    let correction = |t: &str| t.len() == 3 && t.starts_with("CC") && t.ends_with(|c: char| c.is_ascii_uppercase());
    while rest.next_if(|g| matches!(g.text, "AUTO" | "COR") || correction(g.text)).is_some() {}
    let group = *rest.peek().ok_or_else(|| missing("the wind"))?;
    if group.text == "NIL" {
        return Err(
            group.fault("says that the report is missing", "give another report, of this station or one near by")
        );
    }
    let wind = if after_wind(group.text) {
        profile.skipped.push(format!("The wind: there is no group of it before {}.", group.text));
        None
    } else {
        rest.next();
        wind(&group, &mut profile)?
    };
    let mut level = Level {
        surface: true,
        above_sea: None,
        above_ground: LENGTH.with(MEASURED_AT_M, "m"),
        pressure: None,
        wind,
        temperature: None,
        dew_point: None,
    };
    if level.wind.is_some() {
        profile.assumed.push(format!(
            "The wind of {} was measured {MEASURED_AT_M} m above ground, where WMO-No. 8 has the instrument.",
            station.text
        ));
    }
    if let Some(group) = rest.next_if(|g| g.text.len() == 7 && g.text.as_bytes()[3] == b'V') {
        let varies = variation(&group)?;
        match &mut level.wind {
            Some(wind) if matches!(wind.direction, Direction::From(_)) => wind.varies = Some(varies),
            _ => return Err(group.fault("is a variation of a wind that has no mean direction", WIND)),
        }
    }

    let (mut temperatures, mut tenths) = (None, None);
    let mut unused = Vec::new();
    while let Some(group) = rest.next() {
        match group.text {
            "RMK" => {
                let remarks: Vec<Group<'_>> = rest.by_ref().collect();
                let whole = temperatures.unwrap_or_default();
                tenths = remarks.iter().find_map(|g| in_tenths(g.text, whole));
                let left = remarks.len() - usize::from(tenths.is_some());
                if left > 0 {
                    profile.skipped.push(format!("The remarks ({left} groups after RMK)."));
                }
            }
            "NOSIG" | "TEMPO" | "BECMG" => {
                let mut count = 1;
                while rest.next_if(|g| g.text != "RMK").is_some() {
                    count += 1;
                }
                profile.skipped.push(format!("The trend ({count} groups from {}).", group.text));
            }
            _ => {
                if let Some(read) = temperature_pair(&group)? {
                    if temperatures.replace(read).is_some() {
                        return Err(group.fault("is a second group of temperatures", "leave one of them"));
                    }
                } else if let Some(setting) = pressure(&group)? {
                    // Some countries give it twice, in both units.
                    profile.altimeter_setting = profile.altimeter_setting.or(setting);
                } else if UNITS.iter().any(|u| group.text.ends_with(u.letters)) && group.text.contains(numeral) {
                    return Err(group
                        .fault("is a second wind", "give one report, without a trend or the wind at another runway"));
                } else {
                    unused.push(group.text);
                }
            }
        }
    }
    [level.temperature, level.dew_point] = tenths.or(temperatures).unwrap_or_default();
    if level.temperature.is_none() {
        profile.skipped.push("The temperature: it is not reported.".into());
    }
    if profile.altimeter_setting.is_none() {
        profile.skipped.push("The pressure: it is not reported.".into());
    }
    if !unused.is_empty() {
        profile.skipped.push(format!("Visibility, weather and cloud: {}.", unused.join(" ")));
    }
    profile.levels.push(level);
    Ok(profile)
}

/// The groups up to the sign that ends a report; nothing may follow it.
fn one_report<'a>(all: &[Group<'a>]) -> Result<Vec<Group<'a>>, Unreadable> {
    let Some(last) = all.iter().position(|g| g.text.contains('=')) else { return Ok(all.to_vec()) };
    let (before, after) = all[last].text.split_once('=').unwrap_or_default();
    let beyond = |g: &Group<'_>| g.fault("follows the end of a report (=)", "give one report at a time");
    if !after.trim_matches('=').is_empty() {
        return Err(beyond(&all[last]));
    }
    if let Some(next) = all.get(last + 1) {
        return Err(beyond(next));
    }
    let mut report = all[..last].to_vec();
    if !before.is_empty() {
        report.push(Group { text: before, ..all[last] });
    }
    Ok(report)
}

fn numeral(c: char) -> bool {
    c.is_ascii_digit()
}

/// Whether a group is the visibility or the sky, so that the wind before it was left out, as an automatic station does whose
/// anemometer is out. No wind has four digits or one.
fn after_wind(text: &str) -> bool {
    let sky = |cover: &str| text.strip_prefix(cover).is_some_and(|base| base.starts_with(|c| numeral(c) || c == '/'));
    matches!(text, "CAVOK" | "CLR" | "SKC" | "NSC" | "NCD")
        || text.ends_with("SM") && text.contains(numeral)
        || digits(text, 4).or(digits(text, 1)).is_some()
        || ["FEW", "SCT", "BKN", "OVC", "VV"].into_iter().any(sky)
}

/// Whether a group with a stroke is none of temperatures: a cloud of unknown kind or base (OVC009///), or the state of a
/// runway in eight figures (8849//91).
fn cloud_or_runway(text: &str) -> bool {
    let cloud = ["FEW", "SCT", "BKN", "OVC"].into_iter().any(|cover| text.starts_with(cover));
    let runway = text.len() == 8 && text.starts_with(numeral) && text.chars().all(|c| numeral(c) || c == '/');
    cloud || runway
}

/// The wind group; none where it is reported as missing.
fn wind(group: &Group<'_>, profile: &mut Profile) -> Result<Option<Wind>, Unreadable> {
    let wrong = |what: &str| group.fault(what, WIND);
    let (unit, body) = UNITS
        .iter()
        .find_map(|u| Some((u, group.text.strip_suffix(u.letters)?)))
        .ok_or_else(|| wrong("stands where the wind should, without KT, MPS or KMH"))?;
    let (from, speeds) = body.split_at_checked(3).ok_or_else(|| wrong("is no wind"))?;
    let (mean, gust) = speeds.split_once('G').map_or((speeds, None), |(mean, gust)| (mean, Some(gust)));
    let speed = |part: &str| match part {
        "//" => Some(None),
        _ => reported_speed(part, unit).map(Some),
    };
    let mean = speed(mean).ok_or_else(|| wrong("has no speed of two or three digits"))?;
    let gust = gust.map(|g| speed(g).ok_or_else(|| wrong("has no gust of two or three digits"))).transpose()?;
    let bearing = match from {
        "VRB" | "///" => None,
        _ => Some(digits(from, 3).ok_or_else(|| wrong("does not begin with a direction"))?),
    };
    if bearing.is_some_and(|b| b > 360 || b % 10 != 0) {
        return Err(wrong("has a direction that the code does not know"));
    }
    let Some((speed, bound)) = mean else {
        if gust.flatten().is_some() {
            return Err(wrong("has a gust without a mean speed"));
        }
        profile.skipped.push(format!("The wind: {} reports it as missing.", group.text));
        return Ok(None);
    };
    if gust == Some(None) {
        profile.skipped.push(format!("The gust: {} reports it as missing.", group.text));
    }
    let gust = gust.flatten().map(|(gust, _)| gust);
    if gust.is_some_and(|g| g.si <= speed.si) {
        return Err(wrong("has a gust that is no faster than the mean"));
    }
    let direction = match (from, bearing) {
        (_, Some(0)) if speed.si == 0.0 => Direction::None,
        _ if speed.si == 0.0 && from != "///" => {
            return Err(wrong("has no speed but a direction, where calm is 00000"));
        }
        (_, Some(0)) => return Err(wrong("comes from 000, where north is 360")),
        (_, Some(b)) => ANGLE.with(f64::from(b), "deg").map_or(Direction::None, Direction::From),
        ("VRB", None) => Direction::Variable,
        (_, None) => {
            if speed.si > 0.0 {
                profile.assumed.push(format!("{} reports no direction: every direction is taken alike.", group.text));
            }
            Direction::None
        }
    };
    Ok(Some(Wind { direction, speed, bound, gust, varies: None }))
}

/// A speed of two or three digits, or the largest that the code has.
fn reported_speed(part: &str, unit: &Unit) -> Option<(Reading, Bound)> {
    let (number, bound) = match part.strip_prefix('P') {
        Some(most) if most == unit.beyond.0 => (unit.beyond.1, Bound::AtLeast),
        Some(_) => return None,
        None => {
            // Three digits only where two do not suffice.
            let three = digits(part, 3).filter(|n| *n >= 100);
            (f64::from(digits(part, 2).or(three)?), Bound::Is)
        }
    };
    let speed = SPEED.with(number, unit.name)?;
    (speed.si <= limits::WIND_SPEED.max).then_some((speed, bound))
}

/// The directions between which the wind varies, clockwise.
fn variation(group: &Group<'_>) -> Result<[Reading; 2], Unreadable> {
    let bearing = |text: &str| {
        let bearing = digits(text, 3).filter(|b| (10..=360).contains(b) && b % 10 == 0)?;
        ANGLE.with(f64::from(bearing), "deg")
    };
    let both = group.text.split_once('V').and_then(|(from, to)| Some([bearing(from)?, bearing(to)?]));
    both.filter(|[from, to]| from != to).ok_or_else(|| {
        group.fault(
            "is no variation of the wind",
            "expected two directions from 010 to 360, rounded to 10 degrees, clockwise: 280V340",
        )
    })
}

/// Temperature and dew point, each of which may be missing; `None` for another group.
fn temperature_pair(group: &Group<'_>) -> Result<Option<[Option<Reading>; 2]>, Unreadable> {
    let Some((air, dew)) = group.text.split_once('/') else { return Ok(None) };
    if group.text == "/////" {
        return Ok(Some([None; 2]));
    }
    if cloud_or_runway(group.text) {
        return Ok(None);
    }
    let value = |part: &str| match part {
        "//" | "XX" => Some(None),
        _ => {
            let (sign, number) = part.strip_prefix('M').map_or((1.0, part), |number| (-1.0, number));
            Some(Some(TEMPERATURE.with(sign * f64::from(digits(number, 2)?) + 0.0, "C")?))
        }
    };
    let (air, dew) = (value(air), if dew.is_empty() { Some(None) } else { value(dew) });
    let wrong = |what: &str| Err(group.fault(what, TEMPERATURES));
    match (air, dew) {
        (Some(Some(air)), Some(Some(dew))) if dew.si > air.si => wrong("has a dew point above the temperature"),
        (Some(Some(air)), _) if !TEMPERATURES_C.contains(&air.number) => {
            wrong("has a temperature that no one has measured")
        }
        (Some(air), Some(dew)) => Ok(Some([air, dew])),
        // Runway visual range and state of the sea have a stroke as well, and so has a visibility in fractions.
        _ if group.text.starts_with(['M', 'O', 'I', '-']) && !group.text.ends_with("SM") => {
            wrong("is no pair of temperatures")
        }
        _ if group.text.starts_with(numeral)
            && group.text.len() > 3
            && !group.text.ends_with(['M', '/', 'D', 'U', 'N']) =>
        {
            wrong("is no pair of temperatures")
        }
        _ => Ok(None),
    }
}

/// Temperature and dew point to the tenth, as a remark has them (FMH-1: T01820159, or T0182 without a dew point), where they
/// are those of the report before it was rounded to whole degrees.
fn in_tenths(text: &str, whole: [Option<Reading>; 2]) -> Option<[Option<Reading>; 2]> {
    let value = |part: &str| {
        let sign = match part.get(..1)? {
            "0" => 1.0,
            "1" => -1.0,
            _ => return None,
        };
        TEMPERATURE.with(sign * f64::from(digits(part.get(1..)?, 3)?) / 10.0 + 0.0, "C")
    };
    let (air, dew) = text.strip_prefix('T')?.split_at_checked(4)?;
    let exact = [Some(value(air)?), if dew.is_empty() { None } else { Some(value(dew)?) }];
    let rounded = |(exact, whole): (Option<Reading>, Option<Reading>)| match (exact, whole) {
        // Half a degree is rounded towards the warmer.
        (Some(exact), Some(whole)) => (-0.5..0.5).contains(&(exact.number - whole.number)),
        (exact, whole) => exact.is_none() && whole.is_none(),
    };
    let in_order = exact[1].is_none_or(|dew| exact[0].is_some_and(|air| dew.si <= air.si));
    (in_order && exact.into_iter().zip(whole).all(rounded)).then_some(exact)
}

/// The pressure, which may be missing; `None` for another group.
fn pressure(group: &Group<'_>) -> Result<Option<Option<Reading>>, Unreadable> {
    let (unit, scale, least, most) = match group.text.as_bytes().first() {
        Some(b'Q') => ("hPa", 1.0, 870, 1085),
        Some(b'A') => ("inHg", 100.0, 2570, 3205),
        _ => return Ok(None),
    };
    let figures = &group.text[1..];
    if figures == "////" {
        return Ok(Some(None));
    }
    match digits(figures, 4) {
        Some(number) if (least..=most).contains(&number) => Ok(Some(PRESSURE.with(f64::from(number) / scale, unit))),
        Some(_) => Err(group.fault("is a pressure that no one has measured", PRESSURES)),
        None if figures.contains(numeral) => Err(group.fault("is no pressure", PRESSURES)),
        None => Ok(None),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    fn level(text: &str) -> Level {
        match decode(text) {
            Ok(profile) => profile.levels[0],
            Err(e) => panic!("{text}: {e:?}"),
        }
    }

    /// (direction or none, m/s, gust m/s)
    fn wind_of(group: &str) -> (Direction, f64, Option<f64>) {
        let wind = level(&format!("METAR KDCA 210855Z {group} 10SM 19/14 A2999")).wind.unwrap();
        (wind.direction, wind.speed.si, wind.gust.map(|g| g.si))
    }

    fn deg(number: f64) -> Direction {
        Direction::From(ANGLE.with(number, "deg").unwrap())
    }

    /// Reports as published in training material, decoded by the rules of WMO-No. 306 and FMH-1, where two independent
    /// decoders agree. 1 kt = 0.514444 m/s, 1 inHg = 33.8639 hPa.
    #[test]
    fn published_reports() {
        for (text, format, station, day, [hour, minute], from, m_s, gust, varies, celsius, hpa) in [
            (
                "KBIL 162256Z 29017G27KT 10SM FEW070 SCT085 BKN110 M02/M02 A2961 RMK AO2 T10171022",
                Format::Metar,
                "KBIL",
                16,
                [22, 56],
                Some(290.0),
                8.745,
                Some(13.890),
                None,
                [-1.7, -2.2],
                1002.71,
            ),
            (
                "KABQ 100156Z 32010KT 280V340 10SM TS FEW033 BKN075CB OVC100 19/14 A2999",
                Format::Metar,
                "KABQ",
                10,
                [1, 56],
                Some(320.0),
                5.144,
                None,
                Some([280.0, 340.0]),
                [19.0, 14.0],
                1015.58,
            ),
            (
                "SVVA 171100Z 00000KT 9999 FEW016 BKN250 21/19 Q1013 NOSIG",
                Format::Metar,
                "SVVA",
                17,
                [11, 0],
                None,
                0.0,
                None,
                None,
                [21.0, 19.0],
                1013.0,
            ),
            // The fictitious station of ICAO Annex 3 (from memory).
            (
                "METAR YUDO 221630Z 24004MPS 0600 R12/1000U DZ FG SCT010 OVC020 17/16 Q1018 BECMG TL1700 0800 FG",
                Format::Metar,
                "YUDO",
                22,
                [16, 30],
                Some(240.0),
                4.0,
                None,
                None,
                [17.0, 16.0],
                1018.0,
            ),
            (
                "speci yudo 151115z 05025g37kt 3000 1200ne ra bkn005cb 10/m01 q0999=",
                Format::Speci,
                "YUDO",
                15,
                [11, 15],
                Some(50.0),
                25.0 * 1852.0 / 3600.0,
                Some(37.0 * 1852.0 / 3600.0),
                None,
                [10.0, -1.0],
                999.0,
            ),
        ] {
            let profile = decode(text).unwrap();
            let (message, level) = (&profile.messages[0], profile.levels[0]);
            assert_eq!((message.format, message.station.as_deref()), (format, Some(station)));
            assert_eq!(message.observed.unwrap().day_hour_minute(), [day, hour, minute]);
            let wind = level.wind.unwrap();
            assert_eq!(wind.direction, from.map_or(Direction::None, deg), "{text}");
            assert!((wind.speed.si - m_s).abs() < 0.01, "{text}: {}", wind.speed.si);
            assert_eq!(wind.gust.is_some(), gust.is_some(), "{text}");
            assert!((wind.gust.map_or(0.0, |g| g.si) - gust.unwrap_or(0.0)).abs() < 0.01, "{text}");
            assert_eq!(wind.varies.map(|v| v.map(|r| r.number)), varies, "{text}");
            assert_eq!([level.temperature, level.dew_point].map(|t| t.unwrap().number), celsius, "{text}");
            assert!((profile.altimeter_setting.unwrap().si / 100.0 - hpa).abs() < 0.1, "{text}");
            assert_eq!(level.above_ground.unwrap().si, 10.0);
        }
    }

    /// FMH-1 (FCM-H1-1995) 12.6.5: the cases of its text. Then the limits of WMO-No. 306 regulation 15.5.6 and the three
    /// digits of FMH-1.
    #[test]
    fn wind_groups() {
        const KT: f64 = 1852.0 / 3600.0;
        for (group, direction, speed, gust) in [
            ("27020G35KT", deg(270.0), 20.0 * KT, Some(35.0 * KT)),
            ("21010KT 180V240", deg(210.0), 10.0 * KT, None),
            ("VRB03KT", Direction::Variable, 3.0 * KT, None),
            ("00000KT", Direction::None, 0.0, None),
            ("00000MPS", Direction::None, 0.0, None),
            ("36005KMH", deg(360.0), 5.0 / 3.6, None),
            ("240112KMH", deg(240.0), 112.0 / 3.6, None),
            ("240112KT", deg(240.0), 112.0 * KT, None),
            ("240P99KT", deg(240.0), 100.0 * KT, None),
            ("24090GP99KT", deg(240.0), 90.0 * KT, Some(100.0 * KT)),
            ("240P49MPS", deg(240.0), 50.0, None),
            ("240P199KMH", deg(240.0), 200.0 / 3.6, None),
            ("///05KT", Direction::None, 5.0 * KT, None),
            ("24012G//KT", deg(240.0), 12.0 * KT, None),
        ] {
            let (from, m_s, peak) = wind_of(group);
            assert_eq!((from, peak.is_some()), (direction, gust.is_some()), "{group}");
            assert!((m_s - speed).abs() < 1e-9, "{group}: {m_s}");
            assert!((peak.unwrap_or(0.0) - gust.unwrap_or(0.0)).abs() < 1e-9, "{group}");
        }
        for group in ["/////KT", "240//KT", "/////MPS"] {
            let text = format!("METAR KDCA 210855Z AUTO {group} 19/14 Q1013");
            let profile = decode(&text).unwrap();
            assert_eq!(profile.levels[0].wind, None, "{group}");
            assert!(profile.skipped.iter().any(|s| s.contains(group)), "{:?}", profile.skipped);
        }
    }

    #[test]
    fn what_is_missing_is_said() {
        for (text, temperature, dew_point, hpa) in [
            ("METAR LOWI 210850Z AUTO VRB02KT //// // ////// 02/ A////", Some(2.0), None, None),
            ("METAR LOWI 210850Z COR 09005KT 020V140 9999 02/// Q////", Some(2.0), None, None),
            ("METAR COR LOWI 210850Z CCA 09005KT ///// Q1013", None, None, Some(1013.0)),
            (
                "METAR LOWI 210850Z 09005KT 1 1/2SM R06/P1500 M1/4SM M00/M05 Q1013 A2992",
                Some(0.0),
                Some(-5.0),
                Some(1013.0),
            ),
            ("METAR LOWI 210850Z 09005KT CAVOK //// W19/S4 12/11", Some(12.0), Some(11.0), None),
            // The kind or the base of a cloud that an automatic station cannot tell, and the state of a runway as it was coded
            // until 2021 (both from memory).
            ("METAR EGLL 101520Z AUTO 24012KT 9999 OVC009/// 10/08 Q1009", Some(10.0), Some(8.0), Some(1009.0)),
            ("METAR EHAM 101525Z AUTO 24012KT 9999 OVC///TCU 10/08 Q1009", Some(10.0), Some(8.0), Some(1009.0)),
            ("METAR EDDF 101520Z 24012KT 9999 M01/M03 Q1012 8849//91 NOSIG", Some(-1.0), Some(-3.0), Some(1012.0)),
            // Remarks after a trend are remarks: QFE in mm and hPa, a setting in inches, temperatures.
            (
                "METAR UUEE 101500Z 24004MPS 9999 M01/M03 Q1012 NOSIG RMK QFE745/0993",
                Some(-1.0),
                Some(-3.0),
                Some(1012.0),
            ),
            ("METAR RJTT 101500Z 34015KT 9999 NOSIG RMK 15/08 A2998", None, None, None),
        ] {
            let profile = decode(text).unwrap_or_else(|e| panic!("{text}: {e:?}"));
            let level = profile.levels[0];
            assert_eq!(
                [level.temperature, level.dew_point].map(|t| t.map(|t| t.number)),
                [temperature, dew_point],
                "{text}"
            );
            assert_eq!(profile.altimeter_setting.map(|p| p.number), hpa, "{text}");
        }
    }

    /// FMH-1, 12.7.2: the remark is read where it can be what the report rounded, half a degree towards the warmer.
    #[test]
    fn tenths_of_a_remark() {
        for (pair, remark, temperatures, left) in [
            ("18/16", "AO2 T01820159", [Some(18.2), Some(15.9)], Some(1)),
            // A dew point above the temperature.
            ("M02/M02", "T10251015", [Some(-2.0), Some(-2.0)], Some(1)),
            ("M02/M02", "T10171022", [Some(-1.7), Some(-2.2)], None),
            ("M00/M05", "T10051050", [Some(-0.5), Some(-5.0)], None),
            ("19/16", "T01850159", [Some(18.5), Some(15.9)], None),
            ("18/16", "T01850159", [Some(18.0), Some(16.0)], Some(1)),
            ("M01/M02", "T10151015", [Some(-1.0), Some(-2.0)], Some(1)),
            ("M01/M01", "T10151015", [Some(-1.5), Some(-1.5)], None),
            ("18/", "T0182", [Some(18.2), None], None),
            ("18/16", "T0182", [Some(18.0), Some(16.0)], Some(1)),
            ("18/16", "T01900159", [Some(18.0), Some(16.0)], Some(1)),
            ("18/16", "T21820159", [Some(18.0), Some(16.0)], Some(1)),
            ("18/16", "T0182015", [Some(18.0), Some(16.0)], Some(1)),
        ] {
            let profile = decode(&format!("KBIL 162256Z 29017KT 10SM {pair} A2961 RMK {remark}")).unwrap();
            let level = profile.levels[0];
            let read = [level.temperature, level.dew_point].map(|t| t.map(|t| t.number));
            assert_eq!(read, temperatures, "{pair} {remark}");
            let skipped = profile.skipped.iter().find(|s| s.starts_with("The remarks"));
            assert_eq!(
                skipped.cloned(),
                left.map(|n| format!("The remarks ({n} groups after RMK).")),
                "{pair} {remark}"
            );
        }
    }

    /// FMH-1: an element that is missing is left out of the report.
    #[test]
    fn a_wind_that_is_left_out() {
        for first in ["10SM", "M1/4SM", "1 1/2SM", "CLR", "9999", "0350", "CAVOK", "BKN009///", "VV001"] {
            let profile = decode(&format!("KABQ 100156Z AUTO {first} 19/14 A2999")).unwrap_or_else(|e| panic!("{e:?}"));
            let level = profile.levels[0];
            assert_eq!((level.wind, level.temperature.map(|t| t.number)), (None, Some(19.0)), "{first}");
            assert!(profile.skipped[0].starts_with("The wind: there is no group of it"), "{:?}", profile.skipped);
            assert!(profile.assumed.is_empty(), "{:?}", profile.assumed);
        }
    }

    /// Each with a part of what is said: the group, its place and what was expected.
    #[test]
    fn refusals() {
        const END: &str = "10SM 19/14 A2999";
        for group in [
            "29017",
            "29017KTS",
            "2901GKT",
            "29O17KT",
            "290017KT",
            "29517KT",
            "37010KT",
            "00010KT",
            "27000KT",
            "VRB00KT",
            "29017G",
            "29017G17KT",
            "29027G17KT",
            "29017GKT",
            "P99KT",
            "240P98KT",
            "240P99MPS",
            "240999KMH",
            "KT",
            "é9017KT",
            "VRB//G20KT",
            "00000",
            "00000K",
            "VRBOOKT",
            "-1017KT",
        ] {
            let e = decode(&format!("METAR KDCA 210855Z {group} {END}")).unwrap_err();
            assert!(e.problem.starts_with("group 4 (line 1, column 20), "), "{group}: {}", e.problem);
            assert!(e.remedy.contains("29017G27KT"), "{group}: {}", e.remedy);
        }
        for (text, place, remedy) in [
            ("", "holds nothing", "whole report"),
            ("METAR", "ends after group 1", "whole report"),
            ("METAR KDCA 210855Z", "ends after group 3", "whole report"),
            ("METAR KDC 210855Z 27020KT", "group 2 (line 1, column 7), \"KDC\"", "four letters"),
            ("METAR KDCA 210855 27020KT", "group 3 (line 1, column 12), \"210855\"", "100156Z"),
            ("METAR KDCA 322355Z 27020KT", "\"322355Z\"", "100156Z"),
            ("METAR KDCA\n212455Z 27020KT", "(line 2, column 1)", "100156Z"),
            ("METAR KDCA 210855Z NIL=", "\"NIL\"", "another report"),
            ("METAR KDCA 210855Z 27020KT 19/14 A2999= METAR KBIL", "group 7 (line 1, column 41)", "one report"),
            ("METAR KDCA 210855Z 27020KT 19/14 A2999=METAR KBIL", "group 6", "one report"),
            ("METAR KDCA 210855Z 27020KT 240V24O 19/14", "\"240V24O\"", "280V340"),
            ("METAR KDCA 210855Z 27020KT 245V280 19/14", "\"245V280\"", "280V340"),
            ("METAR KDCA 210855Z VRB02KT 240V280 19/14", "no mean direction", "VRB03KT"),
            ("METAR KDCA 210855Z 27020KT 19/21 Q1013", "dew point above", "19/14"),
            ("METAR KDCA 210855Z 27020KT 1O/04 Q1013", "\"1O/04\"", "19/14"),
            ("METAR KDCA 210855Z 27020KT M0/M04 Q1013", "\"M0/M04\"", "19/14"),
            ("METAR KDCA 210855Z 27020KT 91/14 Q1013", "no one has measured", "19/14"),
            ("METAR KDCA 210855Z 27020KT 19/14 18/13 Q1013", "second group", "leave one"),
            ("METAR KDCA 210855Z 27020KT 19/14 Q101", "\"Q101\"", "Q1013"),
            ("METAR KDCA 210855Z 27020KT 19/14 Q2013", "\"Q2013\"", "Q1013"),
            ("METAR KDCA 210855Z 27020KT 19/14 A29.92", "\"A29.92\"", "A2992"),
            ("METAR KDCA 210855Z 27020KT 19/14 29010KT", "second wind", "one report"),
        ] {
            let e = decode(text).unwrap_err();
            assert!(e.problem.contains(place), "{text}: {}", e.problem);
            assert!(e.remedy.contains(remedy), "{text}: {}", e.remedy);
        }
    }
}
