//! Winds and temperatures aloft as the United States issue them (FB, formerly FD): a line of heights in feet above sea
//! level and a row a station, read by column, because levels near the terrain are blank.
//!
//! A group is `ddff` or `ddff` with the temperature: signed up to 24,000 ft, without a sign and negative above. `dd` 51 to
//! 86 is a direction plus 50 and a speed plus 100 kt; 9900 is light and variable. (Aviation training texts, naval P-304
//! and P-1246 among them.)

use super::clock::{DayTime, ForUse, When};
use super::text::{Group, digits, groups};
use super::{Bound, Direction, Format, Level, Message, Profile, TEMPERATURES_C, Wind};
use crate::wire::units::{ANGLE, LENGTH, Reading, SPEED, TEMPERATURE, Unreadable, quoted};

const BULLETIN: &str = "give the bulletin as it was issued, line by line, from DATA BASED ON to the row of your station, with \
                        its spaces: a level without wind is a blank column";
const LOW: &str = "expected a direction in tens of degrees (01 to 36, or 51 to 86 with 100 kt more), a speed in knots, and \
                   perhaps a temperature with its sign: 2435+07, 2109, 9900; compare with the bulletin as it was issued";
const HIGH: &str = "expected a direction in tens of degrees (01 to 36, or 51 to 86 with 100 kt more), a speed in knots, and \
                    the temperature without its sign: 274650, 731960; compare with the bulletin as it was issued";

/// Above this height temperatures have no sign, ft, unless the bulletin says otherwise.
const SIGNED_UP_TO_FT: u32 = 24_000;
/// Light and variable is less than this, kt.
const LIGHT_KT: f64 = 5.0;

/// A height of the heading, and the column after its last digit, to which its groups reach.
#[derive(Debug, Clone, Copy)]
struct Column {
    height_ft: u32,
    end: usize,
}

/// A bulletin whose rows have been told apart.
#[derive(Debug, Clone)]
pub struct Bulletin<'a> {
    message: Message,
    signed_up_to_ft: u32,
    columns: Vec<Column>,
    /// Station and groups.
    rows: Vec<(Group<'a>, Vec<Group<'a>>)>,
    assumed: Vec<String>,
    /// Its spaces have been lost, so that columns say nothing.
    collapsed: bool,
}

/// Reads a bulletin up to its rows. It is in capitals.
pub fn read(text: &str) -> Result<Bulletin<'_>, Unreadable> {
    let all = groups(text);
    let lines: Vec<&[Group<'_>]> = all.chunk_by(|a, b| a.line == b.line).collect();
    let whole = |problem: &str| Unreadable { problem: problem.into(), remedy: BULLETIN.into() };
    let Some(heading) = lines.iter().position(|l| l[0].text == "FT") else {
        return Err(whole("there is no line of heights, which begins with FT"));
    };
    let mut bulletin = Bulletin {
        message: Message::new(Format::WindsAloft),
        signed_up_to_ft: SIGNED_UP_TO_FT,
        columns: columns(lines[heading])?,
        rows: Vec::new(),
        assumed: Vec::new(),
        collapsed: false,
    };
    // As it is issued, more than one space stands between two heights, and no tab anywhere.
    let close = lines[heading].windows(2).skip(1).any(|w| w[1].column <= w[0].end() + 1);
    bulletin.collapsed = close || text.contains('\t');
    bulletin.header(&lines[..heading].concat())?;
    for line in &lines[heading + 1..] {
        let station = line[0];
        if station.text == "FT" {
            return Err(station.fault("begins a second bulletin", "give one bulletin at a time"));
        }
        // Some begin with a numeral: 4J3.
        let named = (3..=4).contains(&station.text.len())
            && station.text.contains(|c: char| c.is_ascii_uppercase())
            && station.text.bytes().all(|b| b.is_ascii_alphanumeric());
        // What ends a transmission names no station.
        if named && station.text != "NNNN" {
            bulletin.rows.push((station, line[1..].to_vec()));
        }
    }
    if bulletin.rows.is_empty() {
        return Err(whole("no row of a station follows the line of heights"));
    }
    Ok(bulletin)
}

fn columns(heading: &[Group<'_>]) -> Result<Vec<Column>, Unreadable> {
    let mut columns: Vec<Column> = Vec::new();
    for group in &heading[1..] {
        let height = (4..=5).find_map(|count| digits(group.text, count)).filter(|h| (1000..=60_000).contains(h));
        let rises = |h: &u32| columns.last().is_none_or(|last| last.height_ft < *h);
        match height.filter(rises) {
            Some(height_ft) => columns.push(Column { height_ft, end: group.end() }),
            None => {
                return Err(group.fault(
                    "is no height above the one before",
                    "expected heights in feet above sea level, rising: FT  3000    6000    9000   12000",
                ));
            }
        }
    }
    match columns[..] {
        [] => Err(heading[0].fault("is followed by no heights", BULLETIN)),
        _ => Ok(columns),
    }
}

impl<'a> Bulletin<'a> {
    /// Times, and where temperatures lose their sign.
    fn header(&mut self, header: &[Group<'_>]) -> Result<(), Unreadable> {
        fn after<'g, 'a>(header: &'g [Group<'a>], words: &[&str]) -> Option<&'g Group<'a>> {
            let at = header.windows(words.len()).position(|w| w.iter().map(|g| g.text).eq(words.iter().copied()))?;
            header.get(at + words.len())
        }
        fn bare<'a>(group: &Group<'a>) -> &'a str {
            group.text.trim_end_matches('.')
        }
        let time = |words: &[&str]| {
            let read = |g: &Group<'_>| {
                let time = bare(g).strip_suffix('Z').and_then(DayTime::read).map(When::OfMonth);
                time.ok_or_else(|| g.fault("is no time", "expected day, hour and minute in UTC with a Z: 201800Z"))
            };
            after(header, words).map(read).transpose()
        };
        self.message.based_on = time(&["BASED", "ON"])?;
        self.message.valid = time(&["VALID"])?;
        self.message.for_use = after(header, &["FOR", "USE"])
            .map(|g| {
                let hours = bare(g).strip_suffix('Z').and_then(ForUse::read);
                hours.ok_or_else(|| g.fault("is no span of hours", "expected two times in UTC with a Z: 1400-2100Z"))
            })
            .transpose()?;
        match after(header, &["TEMPS", "NEG", "ABV"]) {
            Some(g) => {
                let height = (4..=5).find_map(|count| digits(bare(g), count));
                self.signed_up_to_ft = height.ok_or_else(|| {
                    g.fault("is no height", "expected the height above which temperatures have no sign: TEMPS NEG ABV 24000")
                })?;
            }
            None => self.assumed.push(format!(
                "Temperatures above {SIGNED_UP_TO_FT} ft are negative, as in every such bulletin; this one does not say so."
            )),
        }
        Ok(())
    }

    /// Its stations.
    pub fn stations(&self) -> Vec<&'a str> {
        self.rows.iter().map(|(station, _)| station.text).collect()
    }

    /// The profile of a station that is in it; `None` where it is not, or is there twice.
    pub fn row(&self, station: &str) -> Option<Result<Profile, Unreadable>> {
        let mut rows = self.rows.iter().filter(|(name, _)| name.text == station);
        let (name, groups) = rows.next()?;
        if let Some((second, _)) = rows.next() {
            return Some(Err(second.fault("is a second row of the same station", "give one bulletin at a time")));
        }
        Some(self.decode(name, groups))
    }

    fn decode(&self, station: &Group<'_>, groups: &[Group<'_>]) -> Result<Profile, Unreadable> {
        let mut profile = Profile::of(Message { station: Some(station.text.to_string()), ..self.message.clone() });
        profile.assumed.clone_from(&self.assumed);
        if groups.is_empty() {
            return Err(station.fault("is followed by no group", BULLETIN));
        }
        let by_column: Option<Vec<Option<&Group<'_>>>> = if self.collapsed { None } else { self.by_column(groups) };
        let placed = match by_column {
            Some(placed) => placed,
            None if groups.len() == self.columns.len() => {
                profile.assumed.push(format!(
                    "The groups of {} do not stand under the heights; there are as many of both, so they were taken in order.",
                    station.text
                ));
                groups.iter().map(Some).collect()
            }
            None => {
                return Err(station.fault(
                    &format!(
                        "begins a row of {} groups that do not stand under the {} heights, so that which levels are blank cannot be told",
                        groups.len(),
                        self.columns.len()
                    ),
                    BULLETIN,
                ));
            }
        };
        let mut blank = Vec::new();
        for (column, group) in self.columns.iter().zip(placed) {
            match group {
                Some(group) => profile.levels.push(self.level(column.height_ft, group, &mut profile.assumed)?),
                None => blank.push(format!("{} ft", column.height_ft)),
            }
        }
        if !blank.is_empty() {
            profile.skipped.push(format!(
                "{} above sea: blank in the bulletin, which gives no wind within 1500 ft of the station's elevation.",
                blank.join(", ")
            ));
        }
        Ok(profile)
    }

    /// The group of each height: a height's groups end no further right than it does. `None` where one stands across.
    fn by_column<'g>(&self, groups: &'g [Group<'a>]) -> Option<Vec<Option<&'g Group<'a>>>> {
        let mut placed = vec![None; self.columns.len()];
        for group in groups {
            let column = self.columns.iter().position(|c| group.end() <= c.end)?;
            let clear = column == 0 || group.column >= self.columns[column - 1].end;
            if !clear || placed[column].replace(group).is_some() {
                return None;
            }
        }
        Some(placed)
    }

    fn level(&self, height_ft: u32, group: &Group<'_>, assumed: &mut Vec<String>) -> Result<Level, Unreadable> {
        let signed = height_ft <= self.signed_up_to_ft;
        let remedy = if signed { LOW } else { HIGH };
        let wrong = |what: &str| group.fault(&format!("{what} at {height_ft} ft"), remedy);
        let (wind, rest) = group.text.split_at_checked(4).ok_or_else(|| wrong("is no wind"))?;
        let temperature = celsius(rest, signed).ok_or_else(|| {
            let long_wind = signed && digits(rest, 2).is_some();
            wrong(if long_wind { "has a temperature without its sign" } else { "has no temperature as it is written" })
        })?;
        let (wind, told) = coded_wind(wind).map_err(wrong)?;
        if let Some(told) = told {
            assumed.push(format!("{} at {height_ft} ft {told}.", group.text));
        }
        Ok(Level {
            surface: false,
            above_sea: LENGTH.with(f64::from(height_ft), "ft"),
            above_ground: None,
            pressure: None,
            wind: Some(wind),
            temperature,
            dew_point: None,
        })
    }
}

/// The temperature after a wind: `Some(None)` where it is left out, `None` where it cannot be read.
fn celsius(text: &str, signed: bool) -> Option<Option<Reading>> {
    if text.is_empty() {
        return Some(None);
    }
    let (sign, number) = match (signed, text.split_at_checked(1)?) {
        (true, ("+", number)) => (1.0, number),
        (true, ("-", number)) => (-1.0, number),
        (true, _) => return None,
        (false, _) => (-1.0, text),
    };
    let celsius = sign * f64::from(digits(number, 2)?) + 0.0;
    TEMPERATURE.with(celsius, "C").filter(|_| TEMPERATURES_C.contains(&celsius)).map(Some)
}

/// A wind of four digits, and what to say about it.
fn coded_wind(text: &str) -> Result<(Wind, Option<&'static str>), &'static str> {
    let number = digits(text, 4).ok_or("has no wind of four digits")?;
    let (tens, knots) = (number / 100, number % 100);
    let wind = |direction: Direction, knots: f64, bound: Bound| {
        let speed = SPEED.with(knots, "kt").ok_or("has no speed")?;
        Ok::<_, &'static str>(Wind { direction, speed, bound, gust: None, varies: None })
    };
    let from = |tens: u32| ANGLE.with(f64::from(10 * tens), "deg").map_or(Direction::None, Direction::From);
    match tens {
        99 if knots == 0 => Ok((
            wind(Direction::Variable, LIGHT_KT, Bound::Below)?,
            Some("is light and variable, less than 5 kt from no direction: `wind` has it as 0 kt"),
        )),
        1..=36 => Ok((wind(from(tens), f64::from(knots), Bound::Is)?, None)),
        51..=86 if knots == 99 => Ok((
            wind(from(tens - 50), 199.0, Bound::AtLeast)?,
            Some("is 199 kt or more, the most that the code can say: `wind` has it as 199 kt"),
        )),
        51..=86 => Ok((wind(from(tens - 50), f64::from(100 + knots), Bound::Is)?, None)),
        0 => Err("has no direction, where light and variable is 9900,"),
        _ => Err("has a direction that the code does not know"),
    }
}

/// The row to take when none is named: the only one, or that of a station by its four letters.
pub fn row_of<'a>(bulletin: &Bulletin<'a>, station: Option<&str>) -> Option<&'a str> {
    let stations = bulletin.stations();
    match (station, &stations[..]) {
        (None, [only]) => Some(only),
        (None, _) => None,
        (Some(name), _) => {
            let short = name.strip_prefix('K').filter(|short| short.len() == 3);
            stations.iter().copied().find(|s| *s == name || Some(*s) == short)
        }
    }
}

/// The stations of a bulletin for a message, cut short.
pub fn listed(stations: &[&str]) -> String {
    const MOST: usize = 20;
    let more = if stations.len() > MOST { " and others" } else { "" };
    let shown: Vec<String> = stations.iter().take(MOST).map(|s| quoted(s)).collect();
    format!("{}{more}", shown.join(", "))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    /// Spaced as such bulletins are issued. ABQ as its groups stand there; the others hold the groups of the tests.
    const ISSUED: &str = "\
FBUS31 KWNO 201404
FD1US1
DATA BASED ON 201200Z
VALID 201800Z   FOR USE 1400-2100Z. TEMPS NEG ABV 24000

FT  3000    6000    9000   12000   18000   24000  30000  34000  39000

ABQ              1912+16 2109+09 2419-04 2427-14 243230 232941 232850
AAA 9900 9900+03 2435+07 3600-00 7799-10 8600-24 274650 731960 750456
BBB 2013 2013    2435    9900    7799    2427    7799   9900   9900-1
";

    fn row(text: &str, station: &str) -> Result<Profile, Unreadable> {
        read(text)?.row(station).unwrap()
    }

    /// (feet, degrees or none, knots, bound, degrees Celsius or none)
    type Row = (f64, Option<f64>, f64, Bound, Option<f64>);

    fn rows(profile: &Profile) -> Vec<Row> {
        let row = |l: &Level| {
            let wind = l.wind.unwrap();
            let from = match wind.direction {
                Direction::From(reading) => Some(reading.number),
                Direction::Variable | Direction::None => None,
            };
            (l.above_sea.unwrap().number, from, wind.speed.number, wind.bound, l.temperature.map(|t| t.number))
        };
        profile.levels.iter().map(row).collect()
    }

    #[test]
    fn blank_columns_stay_blank() {
        use Bound::Is;
        let profile = row(ISSUED, "ABQ").unwrap();
        let expected = [
            (9000.0, Some(190.0), 12.0, Is, Some(16.0)),
            (12_000.0, Some(210.0), 9.0, Is, Some(9.0)),
            (18_000.0, Some(240.0), 19.0, Is, Some(-4.0)),
            (24_000.0, Some(240.0), 27.0, Is, Some(-14.0)),
            (30_000.0, Some(240.0), 32.0, Is, Some(-30.0)),
            (34_000.0, Some(230.0), 29.0, Is, Some(-41.0)),
            (39_000.0, Some(230.0), 28.0, Is, Some(-50.0)),
        ];
        assert_eq!(rows(&profile), expected);
        assert!(profile.skipped[0].starts_with("3000 ft, 6000 ft above sea"), "{:?}", profile.skipped);
        let message = &profile.messages[0];
        assert_eq!(message.based_on, DayTime::read("201200").map(When::OfMonth));
        assert_eq!(message.valid, DayTime::read("201800").map(When::OfMonth));
        assert_eq!(message.for_use, ForUse::read("1400-2100"));
        // A wind without a temperature stands at the left of its column.
        let profile = row(&ISSUED.replace("9900-1", ""), "BBB").unwrap();
        let winds: Vec<_> = rows(&profile).iter().map(|r| (r.0, r.2, r.4)).collect();
        assert_eq!(winds[..3], [(3000.0, 13.0, None), (6000.0, 13.0, None), (9000.0, 35.0, None)]);
        assert_eq!(winds.len(), 8);
    }

    /// Groups with their meaning as aviation training texts print them, naval P-304 and P-1246 among them: FB-1 731960,
    /// FB-2 7799, FB-3 9900 (with a temperature from memory), FB-4 750456, FB-6 2435+07 and 274650.
    #[test]
    fn published_groups() {
        use Bound::{AtLeast, Below, Is};
        let expected = [
            (3000.0, None, 5.0, Below, None),
            (6000.0, None, 5.0, Below, Some(3.0)),
            (9000.0, Some(240.0), 35.0, Is, Some(7.0)),
            (12_000.0, Some(360.0), 0.0, Is, Some(0.0)),
            (18_000.0, Some(270.0), 199.0, AtLeast, Some(-10.0)),
            (24_000.0, Some(360.0), 100.0, Is, Some(-24.0)),
            (30_000.0, Some(270.0), 46.0, Is, Some(-50.0)),
            (34_000.0, Some(230.0), 119.0, Is, Some(-60.0)),
            (39_000.0, Some(250.0), 104.0, Is, Some(-56.0)),
        ];
        let profile = row(ISSUED, "AAA").unwrap();
        assert_eq!(rows(&profile), expected);
        assert_eq!(profile.assumed.len(), 3, "9900, 9900+03 and 7799: {:?}", profile.assumed);
        let m_s = profile.levels[7].wind.unwrap().speed.si;
        assert!((m_s - 119.0 * 0.514_444).abs() < 0.01, "{m_s}");
    }

    #[test]
    fn groups_that_are_refused() {
        // Directions 37 to 50 and 87 to 98, and 00 with a speed; signs where they do not belong, or are missing.
        let bad = (37..=50).chain(87..=98).map(|dd| format!("{dd}20"));
        let bad = bad.chain(["0012", "0000", "9910", "24", "243", "24O9", "+240"].map(String::from));
        for group in bad {
            let text = ISSUED.replace("AAA 9900", &format!("AAA {group:4}"));
            let e = row(&text, "AAA").unwrap_err();
            assert!(e.problem.contains(&format!("\"{group}\"")) && e.problem.contains("line 9, column 5"), "{e:?}");
            assert!(e.problem.contains("at 3000 ft") && e.remedy.contains("2435+07"), "{e:?}");
        }
        for (old, new, remedy) in [
            ("2435+07", "243507 ", "2435+07"),
            ("2435+07", "2435+7 ", "2435+07"),
            ("2435+07", "2435+70", "2435+07"),
            ("274650", "2746-5", "274650"),
            ("274650", "27465 ", "274650"),
        ] {
            let e = row(&ISSUED.replace(old, new), "AAA").unwrap_err();
            assert!(e.problem.contains(new.trim()) && e.remedy.contains(remedy), "{e:?}");
        }
    }

    #[test]
    fn lost_columns_are_not_guessed() {
        let collapse = |text: &str| {
            let lines = text.lines().map(|l| l.split_whitespace().collect::<Vec<_>>().join(" "));
            lines.collect::<Vec<_>>().join("\n")
        };
        let collapsed = collapse(ISSUED);
        // As many groups as heights: there is one way to place them.
        let profile = row(&collapsed, "AAA").unwrap();
        assert_eq!(rows(&profile), rows(&row(ISSUED, "AAA").unwrap()));
        assert!(profile.assumed[0].contains("taken in order"), "{:?}", profile.assumed);
        for text in [&collapsed, &ISSUED.replace("ABQ              ", "ABQ   "), &ISSUED.replace("ABQ    ", "ABQ\t")] {
            let e = row(text, "ABQ").unwrap_err();
            assert!(e.problem.contains("7 groups that do not stand under the 9 heights"), "{e:?}");
            assert!(e.remedy.contains("with its spaces"), "{e:?}");
        }
    }

    #[test]
    fn headers() {
        let plain = ISSUED.replace(" TEMPS NEG ABV 24000", "");
        let profile = row(&plain, "ABQ").unwrap();
        assert_eq!(rows(&profile), rows(&row(ISSUED, "ABQ").unwrap()));
        assert!(profile.assumed[0].contains("24000 ft are negative"), "{:?}", profile.assumed);
        for (old, new, problem) in [
            ("FT  3000", "XX  3000", "no line of heights"),
            ("201200Z", "2012Z", "\"2012Z\", is no time"),
            ("201800Z", "321800Z", "\"321800Z\", is no time"),
            ("1400-2100Z", "1400-2500Z", "is no span of hours"),
            ("ABV 24000", "ABV FL240", "is no height"),
            ("6000", "2000", "is no height above the one before"),
            ("9000 ", "9OOO ", "is no height above the one before"),
            ("FT  3000    6000    9000   12000   18000   24000  30000  34000  39000", "FT", "followed by no heights"),
            ("BBB", "AAA", "second row"),
            ("BBB 2013", "FT  3000", "second bulletin"),
        ] {
            let e = row(&ISSUED.replace(old, new), "AAA").unwrap_err();
            assert!(e.problem.contains(problem), "{new}: {e:?}");
        }
        for cut in ["", "FT  3000", &ISSUED[..ISSUED.find("ABQ").unwrap()]] {
            assert!(read(cut).is_err());
        }
    }

    /// Points over the Gulf of Mexico have a numeral in front (from memory of the bulletin of that region).
    #[test]
    fn a_station_may_begin_with_a_numeral() {
        let text = ISSUED.replace("BBB", "4J3");
        assert_eq!(read(&text).unwrap().stations(), ["ABQ", "AAA", "4J3"]);
    }

    #[test]
    fn rows_are_found() {
        let bulletin = read(ISSUED).unwrap();
        assert_eq!(bulletin.stations(), ["ABQ", "AAA", "BBB"]);
        for (name, row) in [
            (Some("ABQ"), Some("ABQ")),
            (Some("KABQ"), Some("ABQ")),
            (Some("EABQ"), None),
            (Some("XYZ"), None),
            (None, None),
        ] {
            assert_eq!(row_of(&bulletin, name), row, "{name:?}");
        }
        let single = ISSUED[..ISSUED.find("AAA").unwrap()].to_string();
        assert_eq!(row_of(&read(&single).unwrap(), None), Some("ABQ"));
    }
}
