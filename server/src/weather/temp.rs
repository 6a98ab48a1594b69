//! The first part of a radiosonde sounding (TEMP, TTAA: WMO-No. 306, FM 35): surface, standard pressures, tropopause and
//! fastest wind, up to 100 hPa.

use slowpoint_sim::limits;

use super::significant::{Heights, Said, place};
use super::sounding::{Cursor, SOUNDING};
use super::text::{Group, digits};
use super::{Level, MEASURED_AT_M, Profile};
use crate::wire::units::{LENGTH, PRESSURE, Unreadable};

const HEIGHT: &str = "expected two digits of pressure and three of height, rising from level to level: 85585, 50572; compare \
                      with the sounding as it was issued";

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

/// Reads surface and standard pressures; the heights of these, also where they lie below the station and nothing else is told of
/// them. `last` tells the last of them that has a wind.
pub(super) fn standard(cursor: &mut Cursor<'_>, last: char, profile: &mut Profile) -> Result<Heights, Unreadable> {
    // Where no wind was observed a stroke stands; 0 is 1000 hPa.
    let last_wind = match last {
        '0' => 1000.0,
        '9' => 925.0,
        '8' => 850.0,
        _ => last.to_digit(10).map_or(f64::INFINITY, |hundreds| 100.0 * f64::from(hundreds)),
    };
    let name = profile.messages[0].station.clone().unwrap_or_default();
    let surface = cursor.next("the surface (99)")?;
    let hpa = surface.text.strip_prefix("99").and_then(|p| digits(p, 3)).map(|p| if p < 200 { p + 1000 } else { p });
    let Some(hpa) = hpa.filter(|p| (450..=1100).contains(p)) else {
        return Err(
            surface.fault("is no pressure at the surface", "expected 99 and three digits of hPa: 99030 is 1030 hPa")
        );
    };
    let (temperature, dew_point) = cursor.air()?;
    let wind = cursor.wind()?;
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

    let taken = wind.is_some() || temperature.is_some();
    let mut heights = Heights::default();
    for (code, pressure_hpa, standard_m) in STANDARD {
        let Some(group) = cursor.take_if(|g| g.text.starts_with(code)) else { continue };
        let height = gpm(&group, code, pressure_hpa, standard_m)?;
        if let Some(height_m) = height {
            if heights.top_m().is_some_and(|below_m| height_m <= below_m) {
                return Err(group.fault("is no higher than the pressure before it", HEIGHT));
            }
            heights.push(pressure_hpa, height_m);
        }
        let (temperature, dew_point) = cursor.air()?;
        let wind = if pressure_hpa >= last_wind { cursor.wind()? } else { None };
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
    if taken {
        let height_m = heights.above_sea_m(f64::from(hpa));
        let range = limits::ELEVATION.min..=limits::ELEVATION.max;
        match height_m.filter(|m| range.contains(m)).and_then(|m| LENGTH.with(m, "m")) {
            Some(ground) => profile.messages[0].ground_above_sea = Some(ground),
            None => {
                profile.skipped.push(format!("How high the ground of {name} lies: its pressures do not tell that."))
            }
        }
    }
    tail(cursor, &heights, profile)?;
    Ok(heights)
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

/// Tropopause and fastest wind, whose heights follow from the standard pressures, and what follows.
fn tail(cursor: &mut Cursor<'_>, heights: &Heights, profile: &mut Profile) -> Result<(), Unreadable> {
    let mut said = Vec::new();
    while cursor.peek().is_some() {
        if cursor.ends(&mut profile.skipped) {
            break;
        }
        let group = cursor.next("a level")?;
        let (kind, pressure) = group.text.split_at_checked(2).unwrap_or_default();
        match (kind, pressure, digits(pressure, 3).map(f64::from)) {
            ("88" | "77" | "66", "999", _) => {}
            ("88", _, Some(hpa)) => {
                let (temperature, dew_point) = cursor.air()?;
                said.push(Said { hpa, temperature, dew_point, wind: cursor.wind()? });
            }
            ("77" | "66", _, Some(hpa)) => {
                said.push(Said { hpa, wind: cursor.wind()?, ..Said::default() });
                // The shear about it.
                cursor.take_if(|g| g.text.len() == 5 && g.text.starts_with('4'));
            }
            _ => return Err(group.fault("is no level that could follow here", SOUNDING)),
        }
    }
    place(said, "TTAA", heights, profile);
    Ok(())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::super::Direction;
    use super::super::sounding::decode;
    use crate::wire::units::ANGLE;

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
        // By the logarithm of pressure: of ln(200/150) between 11,930 and 13,710 m, ln(200/192) is 14.2 % and ln(200/182) 32.8 %.
        let above: Vec<_> =
            profile.levels[8..].iter().map(|l| (l.pressure.unwrap().number, l.above_sea.unwrap().number)).collect();
        let heights = [
            (250.0, 10_540.0),
            (200.0, 11_930.0),
            (192.0, 12_183.0),
            (182.0, 12_514.0),
            (150.0, 13_710.0),
            (100.0, 16_240.0),
        ];
        assert_eq!(above, heights);
        let [tropopause, fastest] = [profile.levels[10], profile.levels[11]];
        assert_eq!([tropopause.temperature, tropopause.dew_point].map(|t| t.unwrap().number), [-64.9, -71.9]);
        assert_eq!((fastest.temperature, fastest.dew_point), (None, None));
        for (level, knots, m_s) in [(tropopause, 79.0, 40.64), (fastest, 81.0, 41.67)] {
            let wind = level.wind.unwrap();
            assert_eq!(
                (wind.direction, wind.speed.number),
                (Direction::From(ANGLE.with(285.0, "deg").unwrap()), knots)
            );
            assert!((wind.speed.si - m_s).abs() < 0.01, "{}", wind.speed.si);
        }
        assert_eq!(profile.messages[0].observed.unwrap().day_hour_minute(), [31, 0, 0]);
        assert!(profile.assumed.iter().any(|s| s.contains("heights of 2 levels of TTAA")), "{:?}", profile.assumed);
        assert_eq!(profile.skipped, Vec::<String>::new());
    }

    #[test]
    fn units_missing_levels_and_what_follows() {
        // Metres per second, winds to 850 hPa only, 1000 hPa below sea level, 925 hPa below the station.
        let text = "TTAA 31128 72518 99980 08863 33004 00520 10464 34016 92904 ///// ///// 85585 00079 01526 70138 04182 50/// 17372 88999 \
                    77999 51515 10164 10194";
        let profile = decode(text).unwrap();
        let seen: Vec<_> =
            profile.levels.iter().map(|l| (l.pressure.unwrap().number, l.wind.map(|w| w.speed.si))).collect();
        assert_eq!(seen, [(980.0, Some(4.0)), (1000.0, Some(16.0)), (850.0, Some(26.0)), (700.0, None)]);
        assert_eq!(profile.levels[1].above_sea.unwrap().number, -20.0);
        assert!(profile.skipped[0].starts_with("925 hPa"), "{:?}", profile.skipped);
        assert!(profile.skipped[1].starts_with("500 hPa: its height"), "{:?}", profile.skipped);
        assert!(profile.skipped[2].contains("3 groups from 51515"), "{:?}", profile.skipped);
    }

    #[test]
    fn refusals() {
        for (old, new, place) in [
            ("TTAA", "TTAB", "no group TTAA"),
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
