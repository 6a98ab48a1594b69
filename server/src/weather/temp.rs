//! The first part of a radiosonde sounding (TEMP, TTAA: WMO-No. 306, FM 35): surface, standard pressures, tropopause and
//! fastest wind, up to 100 hPa. The parts after it give pressures without heights and are left out.

use slowpoint_sim::limits;

use super::clock::{Clock, DayTime, When};
use super::text::{Group, digits, ended, groups};
use super::{Bound, Direction, Format, Level, MEASURED_AT_M, Message, Profile, TEMPERATURES_C, Wind};
use crate::wire::units::{ANGLE, LENGTH, PRESSURE, Reading, SPEED, TEMPERATURE, Unreadable};

const SOUNDING: &str =
    "give the sounding from TTAA on, as it was issued: TTAA 81001 72518 99030 08863 33004 00263 10464 34016";
const WIND: &str = "expected ddfff: two digits of direction (00 to 36), then the speed, to which 500 is added for 5 degrees \
                    more: 33004, 00518; compare with the sounding as it was issued";
const HEIGHT: &str = "expected two digits of pressure and three of height, rising from level to level: 85585, 50572; compare \
                      with the sounding as it was issued";
const AIR: &str = "expected TTTaDD, degrees and tenths (an odd tenth is negative) and the depression of the dew point: 08863, \
                   04182; compare with the sounding as it was issued";

/// Standard pressures: what they are called, hPa, and the height of the standard atmosphere, m (ISO 2533), which tells the
/// thousands that the code leaves out.
const STANDARD: [(&str, f64, f64); 11] = [
    ("00", 1000.0, 111.0),
    ("92", 925.0, 762.0),
    ("85", 850.0, 1457.0),
    ("70", 700.0, 3012.0),
    ("50", 500.0, 5574.0),
    ("40", 400.0, 7185.0),
    ("30", 300.0, 9164.0),
    ("25", 250.0, 10_363.0),
    ("20", 200.0, 11_784.0),
    ("15", 150.0, 13_608.0),
    ("10", 100.0, 16_180.0),
];

struct Reader<'a, I: Iterator<Item = Group<'a>>> {
    rest: core::iter::Peekable<I>,
    all: &'a [Group<'a>],
    unit: &'static str,
}

/// Reads a sounding.
pub fn decode(text: &str) -> Result<Profile, Unreadable> {
    let text = text.to_ascii_uppercase().replace('=', " ");
    let all = groups(&text);
    let Some(first) = all.iter().position(|g| g.text == "TTAA") else {
        return Err(Unreadable { problem: "there is no group TTAA".into(), remedy: SOUNDING.into() });
    };
    let rest = all[first + 1..].iter().copied().peekable();
    let mut reader = Reader { rest, all: &all, unit: "m/s" };
    let time = reader.next("the time")?;
    let (observed, knots, last_wind) = day_and_unit(&time)?;
    reader.unit = if knots { "kt" } else { "m/s" };
    let station = reader.next("the station")?;
    if digits(station.text, 5).is_none() {
        return Err(station.fault("is no station", "expected the five digits of the station: 72518"));
    }
    let mut profile = Profile::of(Message {
        station: Some(station.text.into()),
        observed: Some(When::OfMonth(observed)),
        ..Message::new(Format::Temp)
    });
    let name = station.text;
    profile.assumed.push(format!(
        "The sounding of {name} gives an hour; it was taken as the full hour. Its heights are geopotential, taken as metres \
         above sea level."
    ));

    let surface = reader.next("the surface (99)")?;
    let hpa = surface.text.strip_prefix("99").and_then(|p| digits(p, 3)).map(|p| if p < 200 { p + 1000 } else { p });
    let Some(hpa) = hpa.filter(|p| (450..=1100).contains(p)) else {
        return Err(
            surface.fault("is no pressure at the surface", "expected 99 and three digits of hPa: 99030 is 1030 hPa")
        );
    };
    let (temperature, dew_point) = reader.air()?;
    let wind = reader.wind()?;
    profile.levels.push(Level {
        surface: true,
        above_sea: None,
        above_ground: LENGTH.with(MEASURED_AT_M, "m"),
        pressure: PRESSURE.with(f64::from(hpa), "hPa"),
        wind,
        temperature,
        dew_point,
    });
    profile.assumed.push(format!("The surface wind of {name} was measured {MEASURED_AT_M} m above ground."));

    for (code, pressure_hpa, standard_m) in STANDARD {
        let Some(group) = reader.rest.next_if(|g| g.text.starts_with(code)) else { continue };
        let height = gpm(&group, code, pressure_hpa, standard_m)?;
        let below = profile.levels.iter().rev().find_map(|l| l.above_sea);
        if height.is_some_and(|h| below.is_some_and(|b| h <= b.si)) {
            return Err(group.fault("is no higher than the pressure before it", HEIGHT));
        }
        let (temperature, dew_point) = reader.air()?;
        let wind = if pressure_hpa >= last_wind { reader.wind()? } else { None };
        if temperature.is_none() && wind.is_none() {
            profile
                .skipped
                .push(format!("{pressure_hpa} hPa: nothing is reported, as where it lies below the station."));
            continue;
        }
        let Some(height) = height else {
            profile.skipped.push(format!("{pressure_hpa} hPa: its height is not reported."));
            continue;
        };
        profile.levels.push(Level {
            surface: false,
            above_sea: LENGTH.with(height, "m"),
            above_ground: None,
            pressure: PRESSURE.with(pressure_hpa, "hPa"),
            wind,
            temperature,
            dew_point,
        });
    }
    reader.tail(&mut profile)?;
    Ok(profile)
}

/// YYGGId: day and hour, whether speeds are in knots, and the last standard pressure with a wind, hPa.
fn day_and_unit(group: &Group<'_>) -> Result<(DayTime, bool, f64), Unreadable> {
    let read = || {
        let (time, last) = group.text.split_at_checked(4)?;
        let number = digits(time, 4)?;
        let (day, hour) = (number / 100, number % 100);
        let (day, knots) = if day > 50 { (day - 50, true) } else { (day, false) };
        // Where no wind was observed a stroke stands; 0 is 1000 hPa.
        let last = match last {
            "/" => f64::INFINITY,
            "0" => 1000.0,
            "9" => 925.0,
            "8" => 850.0,
            _ => 100.0 * f64::from(digits(last, 1)?),
        };
        let clock = Clock { hour: hour.try_into().ok()?, minute: 0 };
        let good = (1..=31).contains(&day) && hour < 24;
        good.then_some((DayTime { day: day.try_into().ok()?, clock }, knots, last))
    };
    read().ok_or_else(|| {
        group.fault(
            "is no day and hour",
            "expected the day (plus 50 where speeds are in knots), the hour and the last standard level with a wind: 81001",
        )
    })
}

/// The height of a standard pressure: of those that the three digits may mean, the one nearest to the standard atmosphere.
fn gpm(group: &Group<'_>, code: &str, pressure_hpa: f64, standard_m: f64) -> Result<Option<f64>, Unreadable> {
    let figures = group.text.strip_prefix(code).unwrap_or_default();
    if figures == "///" {
        return Ok(None);
    }
    let number =
        digits(figures, 3).map(f64::from).ok_or_else(|| group.fault("is no height of a standard pressure", HEIGHT))?;
    // Below sea level 500 is added, which only the lowest pressure can be.
    if pressure_hpa == 1000.0 {
        return Ok(Some(if number >= 500.0 { 500.0 - number } else { number }));
    }
    let (value, step) = if pressure_hpa > 500.0 { (number, 1000.0) } else { (number * 10.0, 10_000.0) };
    Ok(Some(value + step * ((standard_m - value) / step).round()))
}

impl<'a, I: Iterator<Item = Group<'a>>> Reader<'a, I> {
    fn next(&mut self, what: &str) -> Result<Group<'a>, Unreadable> {
        self.rest.next().ok_or_else(|| ended(self.all, what, SOUNDING))
    }

    /// TTTaDD: temperature and dew point.
    fn air(&mut self) -> Result<(Option<Reading>, Option<Reading>), Unreadable> {
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
    fn wind(&mut self) -> Result<Option<Wind>, Unreadable> {
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

    /// Tropopause and fastest wind, which have no height, and what follows.
    fn tail(&mut self, profile: &mut Profile) -> Result<(), Unreadable> {
        while let Some(group) = self.rest.next() {
            let level = |what: &str| format!("{what} ({}): it has a pressure and no height.", group.text);
            match (group.text.get(..2), group.text.get(2..)) {
                (Some("88" | "77" | "66"), Some("999")) => {}
                (Some("88"), Some(p)) if digits(p, 3).is_some() => {
                    self.air()?;
                    self.wind()?;
                    profile.skipped.push(level("The tropopause"));
                }
                (Some("77" | "66"), Some(p)) if digits(p, 3).is_some() => {
                    self.wind()?;
                    self.rest.next_if(|g| g.text.len() == 5 && g.text.starts_with('4'));
                    profile.skipped.push(level("The fastest wind"));
                }
                _ if matches!(
                    group.text,
                    "31313" | "51515" | "61616" | "NNNN" | "TTBB" | "TTCC" | "TTDD" | "PPBB" | "PPDD"
                ) =>
                {
                    let more = self.rest.by_ref().count() + 1;
                    profile
                        .skipped
                        .push(format!("What follows the standard levels ({more} groups from {}).", group.text));
                }
                _ => return Err(group.fault("is no level that could follow here", SOUNDING)),
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    /// Albany, the 31st 00Z, as printed on a US university meteorology laboratory's page on decoding soundings.
    const ALBANY: &str = "TTAA 81001 72518 99030 08863 33004 00263 10464 34016 92904 04461 00518 85585 00079 01526 \
        70138 04182 32526 50572 17372 31549 40736 28766 31052 30935 45763 30055 25054 55158 29568 20193 63557 28573 \
        15371 58560 27071 10624 62164 28053 88192 64957 28579 77182 28581 41314";

    /// hPa, gpm, temperature and dew point, direction and knots: the first levels as that page decodes them, the others by
    /// the rules of WMO-No. 306. 1 kt = 0.514444 m/s.
    #[test]
    fn a_published_sounding() {
        let rows = [
            (1030.0, None, 8.8, -4.2, 330.0, 4.0, 2.06),
            (1000.0, Some(263.0), 10.4, -3.6, 340.0, 16.0, 8.23),
            (925.0, Some(904.0), 4.4, -6.6, 5.0, 18.0, 9.26),
            (850.0, Some(1585.0), 0.0, -29.0, 15.0, 26.0, 13.38),
            (700.0, Some(3138.0), -4.1, -36.1, 325.0, 26.0, 13.38),
            (500.0, Some(5720.0), -17.3, -39.3, 315.0, 49.0, 25.21),
            (400.0, Some(7360.0), -28.7, -44.7, 310.0, 52.0, 26.75),
            (300.0, Some(9350.0), -45.7, -58.7, 300.0, 55.0, 28.29),
        ];
        let profile = decode(ALBANY).unwrap();
        for (level, (hpa, gpm, celsius, dew, from, knots, m_s)) in profile.levels.iter().zip(rows) {
            let wind = level.wind.unwrap();
            assert_eq!(level.pressure.unwrap().number, hpa);
            assert_eq!(level.above_sea.map(|h| h.number), gpm, "{hpa} hPa");
            assert_eq!([level.temperature, level.dew_point].map(|t| t.unwrap().number), [celsius, dew], "{hpa} hPa");
            assert_eq!(wind.direction, Direction::From(ANGLE.with(from, "deg").unwrap()), "{hpa} hPa");
            assert_eq!(wind.speed.number, knots, "{hpa} hPa");
            assert!((wind.speed.si - m_s).abs() < 0.01, "{hpa} hPa: {}", wind.speed.si);
        }
        let heights: Vec<f64> = profile.levels[8..].iter().map(|l| l.above_sea.unwrap().number).collect();
        assert_eq!(heights, [10_540.0, 11_930.0, 13_710.0, 16_240.0]);
        assert_eq!(profile.messages[0].observed.unwrap().day_hour_minute(), [31, 0, 0]);
        assert!(
            profile.skipped.iter().any(|s| s.contains("88192")) && profile.skipped.iter().any(|s| s.contains("77182"))
        );
    }

    #[test]
    fn units_missing_levels_and_what_follows() {
        // Metres per second, winds to 850 hPa only, 1000 hPa below sea level, 925 hPa below the station.
        let text = "TTAA 31128 72518 99980 08863 33004 00520 10464 34016 92904 ///// ///// 85585 00079 01526 70138 04182 50/// 17372 88999 \
                    77999 51515 10164 TTBB 81001";
        let profile = decode(text).unwrap();
        let seen: Vec<_> =
            profile.levels.iter().map(|l| (l.pressure.unwrap().number, l.wind.map(|w| w.speed.si))).collect();
        assert_eq!(seen, [(980.0, Some(4.0)), (1000.0, Some(16.0)), (850.0, Some(26.0)), (700.0, None)]);
        assert_eq!(profile.levels[1].above_sea.unwrap().number, -20.0);
        assert!(profile.skipped[0].starts_with("925 hPa"), "{:?}", profile.skipped);
        assert!(profile.skipped[1].starts_with("500 hPa: its height"), "{:?}", profile.skipped);
        assert!(profile.skipped[2].contains("4 groups from 51515"), "{:?}", profile.skipped);
    }

    #[test]
    fn refusals() {
        for (old, new, place) in [
            ("TTAA", "TTBB", "no group TTAA"),
            ("81001", "82001", "\"82001\", is no day"),
            ("81001", "81241", "\"81241\", is no day"),
            ("72518", "KALB", "\"KALB\", is no station"),
            ("99030", "99300", "\"99300\", is no pressure"),
            ("08863", "0886", "\"0886\", is no temperature"),
            ("08863", "08853", "\"08853\", is no temperature"),
            ("33004", "37004", "\"37004\", is no wind"),
            ("33004", "33O04", "(line 1, column 30), \"33O04\", is no wind"),
            ("85585", "8558", "\"8558\", is no height"),
            ("92904", "92263", "\"92263\", is no higher"),
            ("85585 00079 01526", "00079 01526", "\"00079\", is no level"),
            (" 34016 92904", " 92904", "\"92904\", is no wind"),
            (" 41314", " 41314 12345", "\"12345\", is no level"),
        ] {
            let e = decode(&ALBANY.replacen(old, new, 1)).unwrap_err();
            assert!(e.problem.contains(place), "{new}: {}", e.problem);
            assert!(!e.remedy.is_empty());
        }
        assert!(decode("TTAA 81001 72518 99030 08863").unwrap_err().problem.contains("the wind should follow"));
    }
}
