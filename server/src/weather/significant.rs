//! Levels of a sounding between the standard pressures: TTBB by pressure (WMO-No. 306, FM 35 part B) and PPBB by height
//! (FM 32 part B).

use super::sounding::{Cursor, SOUNDING};
use super::text::{Group, digits};
use super::{Level, Profile, Wind};
use crate::wire::units::{LENGTH, PRESSURE, Reading, Unreadable};

const PRESSURE_GROUP: &str = "expected two equal digits, which count the levels (00 the surface, 11, 22 ... 99, 11 ...), and three of the \
                              pressure in hPa, falling: 00030, 11000, 22850; compare with the sounding as it was issued";
const HEIGHT_GROUP: &str = "expected 9 (or 8), a digit of tens and three of units, in steps of 300 m (500 m), rising, with a wind each: 90012 \
                            33004 34016 34520, 9226/ 27025 28030; compare with the sounding as it was issued";

/// Levels closer than this are one.
const SAME_HEIGHT_M: f64 = 5.0;

/// What is said at one pressure.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Said {
    pub(super) hpa: f64,
    pub(super) temperature: Option<Reading>,
    pub(super) dew_point: Option<Reading>,
    pub(super) wind: Option<Wind>,
}

/// Heights are continued below the lowest that is known by so much, hPa.
const CONTINUED_HPA: f64 = 100.0;

/// Pressures whose heights are told, from below: hPa, and m above sea level.
#[derive(Debug, Default)]
pub(super) struct Heights(Vec<(f64, f64)>);

impl Heights {
    /// Adds one above the others.
    pub(super) fn push(&mut self, hpa: f64, above_sea_m: f64) {
        self.0.push((hpa, above_sea_m));
    }

    /// The highest.
    pub(super) fn top_m(&self) -> Option<f64> {
        self.0.last().map(|(_, m)| *m)
    }

    /// Whether a pressure lies below all of them.
    fn ends_above(&self, hpa: f64) -> bool {
        self.0.first().is_some_and(|(lowest, _)| *lowest < hpa)
    }

    /// The height of a pressure, to the metre: between two known ones, or a little below the lowest; none above the highest.
    pub(super) fn above_sea_m(&self, hpa: f64) -> Option<f64> {
        self.0.first().filter(|(lowest, _)| hpa <= lowest + CONTINUED_HPA)?;
        // Pressure falls along the list.
        let above = self.0.iter().position(|(p, _)| *p <= hpa)?.max(1);
        let [(lower, lower_m), (upper, upper_m)] = [*self.0.get(above - 1)?, *self.0.get(above)?];
        Some((lower_m + (upper_m - lower_m) * libm::log(lower / hpa) / libm::log(lower / upper)).round())
    }
}

/// TTBB: adds its levels between those of TTAA.
pub(super) fn levels(cursor: &mut Cursor<'_>, heights: &Heights, profile: &mut Profile) -> Result<(), Unreadable> {
    let surface_hpa = profile.levels.iter().find(|l| l.surface).and_then(|l| l.pressure).map(|p| p.number);
    let mut order = Order::new(surface_hpa);
    let mut said: Vec<Said> = Vec::new();
    let mut winds = false;
    while cursor.peek().is_some() {
        if cursor.ends(&mut profile.skipped) {
            break;
        }
        if let Some(group) = cursor.take_if(|g| g.text == "21212") {
            if winds {
                return Err(group.fault("begins the winds a second time", SOUNDING));
            }
            (winds, order) = (true, Order::new(surface_hpa));
            continue;
        }
        let group = cursor.next("a level")?;
        let Some(hpa) = order.next(&group)? else {
            // The levels about it bound a layer of which nothing is known.
            let lost = if winds { cursor.wind()?.is_none() } else { cursor.air()?.0.is_none() };
            if !lost {
                return Err(group.fault("has no pressure", PRESSURE_GROUP));
            }
            let what = if winds { "winds" } else { "temperatures" };
            profile.skipped.push(format!("The {what} of a layer that TTBB marks as missing ({}).", group.text));
            continue;
        };
        let at = match said.iter().position(|s| s.hpa == hpa) {
            Some(at) => at,
            None => {
                said.push(Said { hpa, ..Said::default() });
                said.len() - 1
            }
        };
        if winds {
            said[at].wind = cursor.wind()?;
        } else {
            (said[at].temperature, said[at].dew_point) = cursor.air()?;
        }
    }
    place(said, "TTBB", heights, profile);
    Ok(())
}

/// The order in which levels stand: counted, with falling pressure.
struct Order {
    count: Option<u32>,
    below_hpa: Option<f64>,
}

impl Order {
    fn new(surface_hpa: Option<f64>) -> Self {
        // The surface itself is the first.
        Self { count: None, below_hpa: surface_hpa.map(|p| p + 1.0) }
    }

    /// The pressure of a group nnPPP; none for a layer marked as missing.
    fn next(&mut self, group: &Group<'_>) -> Result<Option<f64>, Unreadable> {
        let wrong = |what: &str| group.fault(what, PRESSURE_GROUP);
        let (count, pressure) = group.text.split_at_checked(2).ok_or_else(|| wrong("is no level of TTBB"))?;
        let number = digits(count, 2).filter(|n| n % 11 == 0).ok_or_else(|| wrong("is no level of TTBB"))? / 11;
        // 99 is followed by 11.
        let follows = self.count.is_none_or(|last| number == if last == 9 { 1 } else { last + 1 });
        if !follows {
            return Err(wrong("does not count on from the level before it"));
        }
        self.count = Some(number);
        if pressure == "///" {
            return Ok(None);
        }
        let figures = digits(pressure, 3).map(f64::from).ok_or_else(|| wrong("is no level of TTBB"))?;
        let hpa = if figures < 100.0 { figures + 1000.0 } else { figures };
        if self.below_hpa.is_some_and(|below| hpa >= below) {
            return Err(wrong("has no less pressure than what lies below it"));
        }
        self.below_hpa = Some(hpa);
        Ok(Some(hpa))
    }
}

/// Puts levels of a part known by pressure among those that have heights as well.
pub(super) fn place(said: Vec<Said>, part: &str, heights: &Heights, profile: &mut Profile) {
    let (mut placed, mut below, mut lost) = (0, false, 0);
    for Said { hpa, temperature, dew_point, wind } in said {
        if let Some(level) = profile.levels.iter_mut().find(|l| l.pressure.is_some_and(|p| p.number == hpa)) {
            level.wind = level.wind.or(wind);
            if level.temperature.is_none() {
                (level.temperature, level.dew_point) = (temperature, dew_point);
            }
            continue;
        }
        if wind.is_none() && temperature.is_none() {
            continue;
        }
        let Some(height_m) = heights.above_sea_m(hpa) else {
            lost += 1;
            continue;
        };
        placed += 1;
        below |= heights.ends_above(hpa);
        profile.levels.push(Level {
            surface: false,
            above_sea: LENGTH.with(height_m, "m"),
            above_ground: None,
            pressure: PRESSURE.with(hpa, "hPa"),
            wind,
            temperature,
            dew_point,
        });
    }
    if placed > 0 {
        let below = if below { "; below the lowest of them up to 55 m too high" } else { "" };
        profile.assumed.push(format!(
            "The heights of {placed} levels of {part} follow from the standard pressures about them, linear in the logarithm of \
             pressure: in the standard atmosphere at most 10 m too low up to 3 km, 25 m above{below}."
        ));
    }
    if lost > 0 {
        profile
            .skipped
            .push(format!("{lost} levels of {part}: the standard pressures that have heights do not reach to them."));
    }
    in_order(profile);
}

/// PPBB: adds winds by height.
pub(super) fn by_height(cursor: &mut Cursor<'_>, profile: &mut Profile) -> Result<(), Unreadable> {
    let mut last_m = None;
    let (mut steps_m, mut added): (Vec<f64>, Vec<Level>) = (Vec::new(), Vec::new());
    let mut missing = Vec::new();
    while cursor.peek().is_some() {
        if cursor.ends(&mut profile.skipped) {
            break;
        }
        let group = cursor.next("heights")?;
        let (step_m, heights) = heights(&group)?;
        if !steps_m.contains(&step_m) {
            steps_m.push(step_m);
        }
        for height_m in heights {
            if last_m.is_some_and(|last| height_m <= last) {
                return Err(group.fault("has a height no higher than the one before", HEIGHT_GROUP));
            }
            last_m = Some(height_m);
            match cursor.wind()? {
                Some(wind) => added.push(Level {
                    surface: false,
                    above_sea: LENGTH.with(height_m, "m"),
                    above_ground: None,
                    pressure: None,
                    wind: Some(wind),
                    temperature: None,
                    dew_point: None,
                }),
                None => missing.push(format!("{height_m} m")),
            }
        }
    }
    if added.is_empty() {
        return Err(Unreadable { problem: "PPBB has no wind".into(), remedy: HEIGHT_GROUP.into() });
    }
    for step_m in steps_m {
        let feet = if step_m == 300.0 { "; where a station means 1000 ft each, heights are 1.6 % more" } else { "" };
        profile.assumed.push(format!("Heights of PPBB are counted in steps of {step_m} m, as the code has it{feet}."));
    }
    if !missing.is_empty() {
        profile.skipped.push(format!("{} above sea: PPBB marks the layer about it as missing.", missing.join(", ")));
    }
    let winds = |levels: &[Level], at_m: f64| {
        levels.iter().any(|l| l.wind.is_some() && l.above_sea.is_some_and(|h| (h.si - at_m).abs() < SAME_HEIGHT_M))
    };
    let (twice, once): (Vec<Level>, Vec<Level>) =
        added.into_iter().partition(|l| l.above_sea.is_some_and(|h| winds(&profile.levels, h.si)));
    if !twice.is_empty() {
        let heights: Vec<String> = twice.iter().filter_map(|l| Some(LENGTH.show(&l.above_sea?))).collect();
        profile.skipped.push(format!("{} of PPBB: another part has a wind there.", heights.join(", ")));
    }
    profile.levels.extend(once);
    in_order(profile);
    Ok(())
}

/// The step of a group of heights, m, and the heights that it names.
fn heights(group: &Group<'_>) -> Result<(f64, Vec<f64>), Unreadable> {
    let wrong = || group.fault("is no group of heights", HEIGHT_GROUP);
    let figures: Vec<char> = group.text.chars().collect();
    let [kind, tens, units @ ..] = &figures[..] else { return Err(wrong()) };
    let step_m = match kind {
        '9' => 300.0,
        '8' => 500.0,
        _ => return Err(wrong()),
    };
    let tens = tens.to_digit(10).ok_or_else(wrong)?;
    let named: Vec<&char> = units.iter().take_while(|c| **c != '/').collect();
    let blank = units[named.len()..].iter().all(|c| *c == '/');
    if units.len() != 3 || named.is_empty() || !blank {
        return Err(wrong());
    }
    let heights = named.iter().map(|c| Some(step_m * f64::from(10 * tens + c.to_digit(10)?)));
    Ok((step_m, heights.collect::<Option<_>>().ok_or_else(wrong)?))
}

/// The surface, then what lies above it.
fn in_order(profile: &mut Profile) {
    let metres = |l: &Level| if l.surface { f64::NEG_INFINITY } else { l.above_sea.map_or(f64::INFINITY, |h| h.si) };
    profile.levels.sort_by(|a, b| metres(a).total_cmp(&metres(b)));
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::super::Direction;
    use super::super::sounding::decode;
    use super::*;
    use crate::wire::units::ANGLE;

    /// Invented winds on the heights that ISO 2533 (the standard atmosphere) has for the standard pressures.
    const TTAA: &str = "TTAA 01001 72518 99005 15022 27004 00111 14422 27005 92762 10022 28008 85457 05422 29010 70012 05122 30015 50557 \
                        21322 31020 88999 77999";

    fn from(level: &Level) -> Option<f64> {
        match level.wind?.direction {
            Direction::From(reading) => Some(reading.number),
            Direction::Variable | Direction::None => None,
        }
    }

    fn at(profile: &Profile, hpa: f64) -> Level {
        *profile.levels.iter().find(|l| l.pressure.is_some_and(|p| (p.number - hpa).abs() < 0.1)).unwrap()
    }

    /// Heights of the standard atmosphere, m: H = 44330.77 m (1 - (p / 1013.25 hPa)^0.190263), ISO 2533 from memory.
    #[test]
    fn heights_are_continued_a_little_below_the_lowest() {
        let mut heights = Heights::default();
        for (hpa, m) in [(500.0, 5574.0), (400.0, 7185.0)] {
            heights.push(hpa, m);
        }
        let off_m = heights.above_sea_m(600.0).unwrap() - 4206.0;
        assert!((0.0..=55.0).contains(&off_m), "{off_m}");
        assert!(heights.ends_above(600.0) && !heights.ends_above(500.0));
        assert_eq!([heights.above_sea_m(601.0), heights.above_sea_m(399.0)], [None, None]);
        assert_eq!(Heights::default().above_sea_m(600.0), None);
    }

    /// Levels coded by the rules of WMO-No. 306; the heights of their pressures are those that ISO 2533 tabulates, m (from
    /// memory of the US Standard Atmosphere 1976, the same below 32 km).
    #[test]
    fn pressures_between_get_their_heights() {
        let text = format!(
            "{TTAA} TTBB 0100/ 72518 00005 15022 11950 12222 22800 02422 33600 14122 21212 00005 27004 11900 28509 22750 29512 33650 30516 \
             51515 10164 00012 10194"
        );
        let profile = decode(&text).unwrap();
        for (hpa, table_m, within_m) in [
            (950.0, 540.0, 10.0),
            (900.0, 988.0, 10.0),
            (800.0, 1949.0, 10.0),
            (750.0, 2466.0, 10.0),
            (650.0, 3591.0, 25.0),
            (600.0, 4206.0, 25.0),
        ] {
            let height_m = at(&profile, hpa).above_sea.unwrap().si;
            assert!((table_m - within_m..=table_m + 1.0).contains(&height_m), "{hpa} hPa: {height_m} m, {table_m} m");
        }
        for (hpa, direction, m_s) in [(900.0, 285.0, 9.0), (750.0, 295.0, 12.0), (650.0, 305.0, 16.0)] {
            let level = at(&profile, hpa);
            assert_eq!((from(&level), level.wind.unwrap().speed.si), (Some(direction), m_s), "{hpa} hPa");
            assert_eq!(level.temperature, None);
        }
        for (hpa, celsius, dew) in [(950.0, 12.2, 10.0), (800.0, 2.4, 0.2), (600.0, -14.1, -16.3)] {
            let level = at(&profile, hpa);
            assert_eq!([level.temperature, level.dew_point].map(|t| t.unwrap().number), [celsius, dew], "{hpa} hPa");
            assert_eq!(level.wind, None, "{hpa} hPa");
        }
        // The surface and five standard pressures, and six between them; from the ground up.
        assert_eq!(profile.levels.len(), 12);
        assert!(profile.levels[0].surface);
        assert!(profile.levels[1..].windows(2).all(|w| w[0].above_sea.unwrap().si < w[1].above_sea.unwrap().si));
        assert!(
            profile.skipped.iter().any(|s| s.contains("levels of TTBB (4 groups from 51515)")),
            "{:?}",
            profile.skipped
        );
        assert!(profile.assumed.iter().any(|s| s.contains("heights of 6 levels of TTBB")), "{:?}", profile.assumed);
    }

    #[test]
    fn what_stands_in_both_parts_is_one_level() {
        let text = format!(
            "{TTAA} TTBB 5100/ 72518 00005 15022 11850 05422 22400 31722 21212 00005 09099 11925 09099 22450 31522"
        );
        let profile = decode(&text).unwrap();
        assert_eq!(profile.levels.len(), 6);
        assert_eq!(from(&profile.levels[0]), Some(270.0), "the surface keeps its wind");
        assert_eq!(from(&at(&profile, 925.0)), Some(280.0));
        assert!(profile.skipped.iter().any(|s| s.starts_with("2 levels of TTBB")), "{:?}", profile.skipped);
        // Its own unit, and what TTAA did not have: winds end at 700 hPa.
        let text = format!(
            "{} TTBB 5100/ 72518 21212 00005 27004 11500 31520",
            TTAA.replace("01001", "01007").replace(" 31020", "")
        );
        let profile = decode(&text).unwrap();
        assert_eq!(from(&at(&profile, 500.0)), Some(315.0));
        assert_eq!(at(&profile, 500.0).wind.unwrap().speed, crate::wire::units::SPEED.with(20.0, "kt").unwrap());
    }

    #[test]
    fn counting_and_missing_layers() {
        // Nine levels and on: 99 is followed by 11. A layer marked as missing.
        let text = format!(
            "{TTAA} TTBB 0100/ 72518 00005 15022 11990 15022 22980 15022 33970 15022 44960 15022 55950 15022 66940 15022 77930 15022 88920 \
             15022 99910 15022 11905 15022 22/// ///// 33860 15022 21212 00005 27004 11980 27505 22/// ///// 33900 28509"
        );
        let profile = decode(&text).unwrap();
        assert_eq!(profile.levels.len(), 6 + 12);
        let skipped = profile.skipped.join("\n");
        assert!(skipped.contains("temperatures of a layer") && skipped.contains("winds of a layer"), "{skipped}");
    }

    #[test]
    fn levels_that_are_refused() {
        let good = "TTBB 0100/ 72518 00005 15022 11950 12222 22800 02422 21212 00005 27004 11900 28509";
        assert!(decode(&format!("{TTAA} {good}")).is_ok());
        for (old, new, problem) in [
            ("11950", "12950", "\"12950\", is no level of TTBB"),
            ("11950", "1195", "\"1195\", is no level of TTBB"),
            ("11950", "11/50", "\"11/50\", is no level of TTBB"),
            ("11950", "22950", "\"22950\", does not count on"),
            ("22800", "33800", "\"33800\", does not count on"),
            ("22800", "22960", "\"22960\", has no less pressure"),
            ("00005 15022", "00020 15022", "\"00020\", has no less pressure"),
            ("12222", "12252", "\"12252\", is no temperature"),
            ("28509", "37509", "\"37509\", is no wind"),
            ("28509", "", "the wind should follow"),
            ("11950", "11///", "\"11///\", has no pressure"),
            ("11900 28509", "21212 00005 27004", "begins the winds a second time"),
            ("11900", "81900", "\"81900\", is no level of TTBB"),
        ] {
            let e = decode(&format!("{TTAA} {}", good.replacen(old, new, 1))).unwrap_err();
            assert!(e.problem.contains(problem) && !e.remedy.is_empty(), "{new}: {e:?}");
        }
    }

    /// The example of WMO-No. 306 for FM 32 (9226/ 27025 28030 and 9329/ with a layer marked as missing): 270 deg and 25 m/s
    /// at 6600 m, 280 deg and 30 m/s at 7800 m, the marker at 9600 m, 29035 at 11,700 m.
    #[test]
    fn a_published_balloon() {
        let profile = decode("PPBB 0100/ 72518 9226/ 27025 28030 9329/ ///// 29035").unwrap();
        let rows: Vec<_> = profile
            .levels
            .iter()
            .map(|l| (l.above_sea.unwrap().si, from(l).unwrap(), l.wind.unwrap().speed.si))
            .collect();
        assert_eq!(rows, [(6600.0, 270.0, 25.0), (7800.0, 280.0, 30.0), (11_700.0, 290.0, 35.0)]);
        assert!(profile.skipped[0].starts_with("9600 m above sea"), "{:?}", profile.skipped);
        assert!(profile.assumed[1].contains("steps of 300 m"), "{:?}", profile.assumed);
        // Steps of 500 m, knots, 5 degrees and a hundred knots more.
        let profile = decode("PPBB 5100/ 72518 8024/ 27625 36105").unwrap();
        let rows: Vec<_> = profile
            .levels
            .iter()
            .map(|l| (l.above_sea.unwrap().si, l.wind.unwrap().direction, l.wind.unwrap().speed.number))
            .collect();
        let deg = |x: f64| Direction::From(ANGLE.with(x, "deg").unwrap());
        assert_eq!(rows, [(1000.0, deg(275.0), 125.0), (2000.0, deg(360.0), 105.0)]);
    }

    #[test]
    fn heights_that_are_refused() {
        for (groups, problem) in [
            ("", "PPBB has no wind"),
            ("9226/ 27025", "the wind should follow"),
            ("9226/ 27025 28030 92/// 27025", "\"92///\", is no group of heights"),
            ("922/6 27025 28030", "\"922/6\", is no group of heights"),
            ("7226/ 27025 28030", "\"7226/\", is no group of heights"),
            ("9/26/ 27025 28030", "\"9/26/\", is no group of heights"),
            ("92261 27025 28030 29035", "\"92261\", has a height no higher"),
            ("9226/ 27025 28030 9126/ 27025 28030", "\"9126/\", has a height no higher"),
            ("9226 27025 28030", "\"9226\", is no group of heights"),
            ("9226/ 27025 28O30", "\"28O30\", is no wind"),
            ("21212 00005 27004", "\"21212\", is no group of heights"),
            ("9226/ ///// /////", "PPBB has no wind"),
        ] {
            let e = decode(&format!("PPBB 0100/ 72518 {groups}")).unwrap_err();
            assert!(e.problem.contains(problem) && !e.remedy.is_empty(), "{groups}: {e:?}");
        }
    }

    #[test]
    fn a_wind_of_two_parts_is_taken_once() {
        // 3000 m of PPBB lies 12 m below 700 hPa, 1500 m of it 43 m above 850 hPa; with 700 hPa at 3000 m they meet.
        let both = |ttaa: &str| decode(&format!("{ttaa} PPBB 0100/ 72518 905// 29511 9105/ 30116 31116")).unwrap();
        assert_eq!(both(TTAA).levels.len(), 6 + 3);
        let met = both(&TTAA.replace("70012", "70000"));
        assert_eq!(met.levels.len(), 6 + 2);
        assert_eq!(from(&at(&met, 700.0)), Some(300.0), "the pressure's own wind");
        assert!(met.skipped.iter().any(|s| s.starts_with("3000 m of PPBB")), "{:?}", met.skipped);
    }
}
