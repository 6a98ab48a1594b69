//! Winds by height as people write them down or export them: a heading and a row a height, parted by commas, semicolons,
//! tabs or spaces. The heading says what each column is and in which unit; a cell may have a unit of its own.

use slowpoint_sim::limits;
use slowpoint_sim::report::Caution;

use super::{Bound, Direction, Format, Level, Message, Profile, TEMPERATURES_C, Wind};
use crate::wire::units::{ANGLE, LENGTH, Reading, SPEED, TEMPERATURE, Table, Unreadable, quoted};

/// Most rows, as many as an assessment takes.
pub const MOST_ROWS: usize = 200;

const HEADING: &str = "begin with a line that names the columns and their units, such as \"height_above_ground ft, \
                       direction deg, speed kt\"; heights are height_above_ground or height_above_sea";

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    AboveGround,
    AboveSea,
    Direction,
    Speed,
    Temperature,
}

impl Kind {
    /// Every kind with what people call it, ours first.
    const NAMES: [(Self, &'static [&'static str]); 5] = [
        (
            Self::AboveGround,
            &["height_above_ground", "height_agl", "altitude_agl", "above_ground", "agl", "agl_height", "agl_altitude"],
        ),
        (
            Self::AboveSea,
            &[
                "height_above_sea",
                "height_above_sea_level",
                "height_msl",
                "height_amsl",
                "altitude_msl",
                "altitude_amsl",
                "above_sea",
                "msl",
                "amsl",
                "altitude",
            ],
        ),
        (Self::Direction, &["direction", "wind_direction", "wind_dir", "direction_from", "wind_from", "from", "dir"]),
        (Self::Speed, &["speed", "wind_speed"]),
        (Self::Temperature, &["temperature", "air_temperature", "temp"]),
    ];

    fn named(name: &str) -> Option<Self> {
        Self::NAMES.iter().find(|(_, names)| names.contains(&name)).map(|(kind, _)| *kind)
    }

    fn name(self) -> &'static str {
        Self::NAMES.iter().find(|(kind, _)| *kind == self).and_then(|(_, names)| names.first()).copied().unwrap_or("")
    }

    fn table(self) -> &'static Table {
        match self {
            Self::AboveGround | Self::AboveSea => &LENGTH,
            Self::Direction => &ANGLE,
            Self::Speed => &SPEED,
            Self::Temperature => &TEMPERATURE,
        }
    }

    /// The range of SI that is taken.
    fn range(self) -> (f64, f64) {
        match self {
            Self::AboveGround => (0.0, limits::WIND_HEIGHT.max),
            Self::AboveSea => (limits::ELEVATION.min, limits::WIND_HEIGHT.max),
            Self::Direction => (limits::BEARING.min, limits::BEARING.max),
            Self::Speed => (limits::WIND_SPEED.min, limits::WIND_SPEED.max),
            Self::Temperature => (TEMPERATURES_C.start() + 273.15, TEMPERATURES_C.end() + 273.15),
        }
    }
}

/// A column of the heading.
struct Column<'a> {
    /// What it holds; none where that says nothing of wind or air.
    kind: Option<Kind>,
    /// Its unit, where the heading has one.
    unit: Option<&'a str>,
    /// As it was written.
    heading: &'a str,
}

/// Reads a table of winds.
pub fn decode(text: &str) -> Result<Profile, Unreadable> {
    // Some editors put a mark of the encoding in front.
    let lines = text.trim_start_matches('\u{feff}').lines().enumerate();
    let mut lines = lines.map(|(i, l)| (i + 1, l.trim())).filter(|(_, l)| !l.is_empty() && !l.starts_with('#'));
    let Some((number, heading)) = lines.next() else {
        return Err(Unreadable { problem: "the text holds nothing".into(), remedy: HEADING.into() });
    };
    let parting = ['\t', ';', ','].into_iter().find(|c| heading.contains(*c));
    let columns = columns(number, heading, parting)?;
    let mut profile = Profile::of(Message::new(Format::Layers));
    for column in &columns {
        let lower = column.heading.to_lowercase();
        match column.kind {
            None => profile.skipped.push(format!("The column {}.", quoted(column.heading))),
            // To the CF conventions it is the sea, to many a club the field.
            Some(Kind::AboveSea) if lower.contains("altitude") && !lower.contains("msl") => {
                let said = format!("Heights under {} were taken above sea level.", quoted(column.heading));
                profile.assumed.push(said);
            }
            Some(_) => {}
        }
    }
    for (line, row) in lines {
        if profile.levels.len() == MOST_ROWS {
            return Err(Unreadable {
                problem: format!("line {line} is past the {MOST_ROWS} rows that are read"),
                remedy: "leave out heights: a row every 100 m is plenty".into(),
            });
        }
        profile.levels.push(level(line, row, &cells(row, parting), &columns)?);
    }
    if profile.levels.is_empty() {
        return Err(Unreadable {
            problem: format!("nothing follows the heading in line {number}"),
            remedy: "add a row a height, such as \"1000, 240, 12\"".into(),
        });
    }
    let bare: Vec<&Column<'_>> = columns.iter().filter(|c| c.kind.is_some() && c.unit.is_none()).collect();
    for column in bare {
        let Some(kind) = column.kind.filter(|kind| *kind != Kind::Direction) else { continue };
        if profile.levels.iter().any(|l| reading(l, kind).is_some_and(|r| !r.explicit)) {
            profile.cautions.push(Caution {
                topic: "unit",
                message: format!(
                    "The column {} has no unit and was read in {}; put the unit into the heading.",
                    quoted(column.heading),
                    kind.table().bare_unit()
                ),
                rule: "a bare number is SI",
            });
        }
    }
    sort(&mut profile.levels).map_err(|height| Unreadable {
        problem: format!("the height {} stands in two rows", LENGTH.show(&height)),
        remedy: "give each height once".into(),
    })?;
    Ok(profile)
}

/// Puts levels in order from the ground up; gives a height that is there twice.
pub fn sort(levels: &mut [Level]) -> Result<(), Reading> {
    let height = |l: &Level| l.above_ground.or(l.above_sea);
    let metres = |l: &Level| height(l).map_or(f64::NAN, |h| h.si);
    levels.sort_by(|a, b| metres(a).total_cmp(&metres(b)));
    match levels.windows(2).find(|w| metres(&w[0]) == metres(&w[1])).and_then(|w| height(&w[1])) {
        Some(twice) => Err(twice),
        None => Ok(()),
    }
}

fn reading(level: &Level, kind: Kind) -> Option<Reading> {
    match kind {
        Kind::AboveGround => level.above_ground,
        Kind::AboveSea => level.above_sea,
        Kind::Speed => level.wind.map(|w| w.speed),
        Kind::Temperature => level.temperature,
        Kind::Direction => match level.wind?.direction {
            Direction::From(reading) => Some(reading),
            Direction::Variable | Direction::None => None,
        },
    }
}

fn cells(line: &str, parting: Option<char>) -> Vec<&str> {
    match parting {
        Some(c) => {
            // Within quotation marks nothing is parted (RFC 4180).
            let mut within = false;
            let parts = line.split(|x| {
                within ^= x == '"';
                x == c && !within
            });
            parts.map(|cell| bare_of(cell.trim())).collect()
        }
        None => line.split_whitespace().collect(),
    }
}

/// A cell without the quotation marks around it.
fn bare_of(cell: &str) -> &str {
    cell.strip_prefix('"').and_then(|rest| rest.strip_suffix('"')).map_or(cell, str::trim)
}

fn columns<'a>(line: usize, heading: &'a str, parting: Option<char>) -> Result<Vec<Column<'a>>, Unreadable> {
    let wrong = |what: String| Unreadable { problem: format!("line {line}: {what}"), remedy: HEADING.into() };
    if !heading.contains(char::is_alphabetic) {
        return Err(wrong(format!("{} names no columns", quoted(heading))));
    }
    let mut columns: Vec<Column<'a>> = Vec::new();
    for cell in cells(heading, parting) {
        let column = column(cell);
        // Between spaces, a unit stands apart from what it belongs to.
        let unit_only = parting.is_none() && column.kind.is_none();
        match columns.last_mut() {
            Some(last) if unit_only && last.unit.is_none() && is_unit(last.kind, cell) => {
                last.unit = Some(bare_word(cell))
            }
            _ => columns.push(column),
        }
    }
    for column in &columns {
        let (Some(kind), Some(unit)) = (column.kind, column.unit) else { continue };
        if kind.table().with(1.0, unit).is_none() {
            return Err(Unreadable {
                problem: format!("line {line}: {} is no unit of {}", quoted(unit), kind.table().quantity),
                remedy: format!("use {}", kind.table().list()),
            });
        }
    }
    let holds = |kind: Kind| columns.iter().filter(|c| c.kind == Some(kind)).count();
    for (kind, _) in Kind::NAMES {
        if holds(kind) > 1 {
            return Err(wrong(format!("{} is there twice", kind.name())));
        }
    }
    match (holds(Kind::AboveGround), holds(Kind::AboveSea)) {
        (0, 0) => return Err(wrong(format!("{} says not above what the heights are", quoted(heading)))),
        (1, 1) => return Err(wrong("there are two columns of heights".into())),
        _ => {}
    }
    for kind in [Kind::Direction, Kind::Speed] {
        if holds(kind) == 0 {
            return Err(wrong(format!("{} has no column {}", quoted(heading), kind.name())));
        }
    }
    Ok(columns)
}

/// A unit without the brackets around it.
fn bare_word(text: &str) -> &str {
    text.trim().trim_matches(['(', ')', '[', ']']).trim()
}

fn is_unit(kind: Option<Kind>, text: &str) -> bool {
    kind.is_some_and(|kind| kind.table().with(1.0, bare_word(text)).is_some())
}

/// Name and unit of a heading: "speed (kt)", "speed kt", "speed_kt" or "speed".
fn column(heading: &str) -> Column<'_> {
    let name = |text: &str| {
        let lower = text.trim().to_lowercase().replace([' ', '-', '.'], "_");
        Kind::named(lower.trim_matches('_'))
    };
    if let Some(kind) = name(heading) {
        return Column { kind: Some(kind), unit: None, heading };
    }
    for (at, c) in heading.char_indices().filter(|(_, c)| matches!(c, ' ' | '_' | '(' | '[')) {
        let (before, after) = heading.split_at(at);
        if let Some(kind) = name(before) {
            let unit = if c == '_' { &after[1..] } else { bare_word(after) };
            let known = kind.table().with(1.0, unit).is_some();
            // "height above ground" is no height with the unit "ground".
            if known || matches!(c, '(' | '[') {
                return Column { kind: Some(kind), unit: Some(unit), heading };
            }
        }
    }
    Column { kind: None, unit: None, heading }
}

fn level(line: usize, row: &str, cells: &[&str], columns: &[Column<'_>]) -> Result<Level, Unreadable> {
    if cells.len() != columns.len() {
        return Err(Unreadable {
            problem: format!("line {line} is {} with {} cells, not {}", quoted(row), cells.len(), columns.len()),
            remedy: "give every row a cell for each column of the heading".into(),
        });
    }
    let mut level = Level {
        surface: false,
        above_sea: None,
        above_ground: None,
        pressure: None,
        wind: None,
        temperature: None,
        dew_point: None,
    };
    let (mut speed, mut direction) = (None, None);
    for (index, (cell, column)) in cells.iter().zip(columns).enumerate() {
        let Some(kind) = column.kind else { continue };
        let missing = matches!(*cell, "" | "-" | "//" | "///");
        if missing && matches!(kind, Kind::Temperature | Kind::Direction) {
            continue;
        }
        let table = kind.table();
        let place = |e: Unreadable| Unreadable {
            problem: format!("line {line}, column {} ({}): {}", index + 1, kind.name(), e.problem),
            remedy: e.remedy,
        };
        let mut read = table.text(cell).map_err(place)?;
        if let (false, Some(unit)) = (read.explicit, column.unit) {
            read = table.with(read.number, unit).unwrap_or(read);
        }
        let (least, most) = kind.range();
        if !(least..=most).contains(&read.si) {
            return Err(place(Unreadable {
                problem: format!("it is {}", table.show(&read)),
                remedy: format!("give {}", table.range(least, most, &read)),
            }));
        }
        match kind {
            Kind::AboveGround => level.above_ground = Some(read),
            Kind::AboveSea => level.above_sea = Some(read),
            Kind::Speed => speed = Some(read),
            Kind::Direction => direction = Some(read),
            Kind::Temperature => level.temperature = Some(read),
        }
    }
    let direction = match (speed, direction) {
        (_, Some(from)) => Direction::From(from),
        (Some(calm), None) if calm.si == 0.0 => Direction::None,
        _ => {
            return Err(Unreadable {
                problem: format!("line {line} is {}, a wind without a direction", quoted(row)),
                remedy: "say where it comes from, degrees clockwise from true north, or leave the row out".into(),
            });
        }
    };
    level.wind = speed.map(|speed| Wind { direction, speed, bound: Bound::Is, gust: None, varies: None });
    Ok(level)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    /// The same two winds however they are written. NIST SP 811: 1 ft = 0.3048 m, 1 kt = 1852/3600 m/s.
    #[test]
    fn one_table_in_many_spellings() {
        const KT: f64 = 1852.0 / 3600.0;
        for text in [
            "height_above_ground ft, direction deg, speed kt\n1000, 240, 12\n3000, 260, 20\n",
            "\u{feff}# from the club\nSpeed (kt);Height AGL [ft];Wind direction;remark\r\n20;3000;260;x\r\n12;1000;240;\r\n",
            "agl\tdir\tspeed\n1000 ft\t240 deg\t12 kt\n3000 ft\t260\t20 kt",
            "height_agl ft from speed (kt)\n 1000 240 12\n 3000 260 20",
            "agl_ft speed_kt direction_deg\n1000 12 240\n3000 20 260",
            "height above ground (ft), speed kt, direction, temperature C\n1000, 12, 240, -\n3000, 20, 260, ",
            "\"Height AGL (ft)\",\"wind dir\",\"speed, kt\",\"Speed (kt)\"\n\"1000\",\"240\",\"x, y\",\"12\"\n3000,260,,20",
        ] {
            let profile = decode(text).unwrap_or_else(|e| panic!("{text}: {e:?}"));
            let seen: Vec<_> = profile
                .levels
                .iter()
                .map(|l| {
                    (l.above_ground.unwrap().si, l.wind.unwrap().speed.si, reading(l, Kind::Direction).unwrap().si)
                })
                .collect();
            let rad = |deg: f64| deg.to_radians();
            for ((height, speed, from), (h, s, d)) in
                seen.iter().zip([(304.8, 12.0 * KT, rad(240.0)), (914.4, 20.0 * KT, rad(260.0))])
            {
                assert!(
                    (height - h).abs() < 1e-9 && (speed - s).abs() < 1e-9 && (from - d).abs() < 1e-9,
                    "{text}: {seen:?}"
                );
            }
            assert_eq!(seen.len(), 2);
            assert!(profile.cautions.is_empty(), "{text}: {:?}", profile.cautions);
        }
    }

    #[test]
    fn bare_numbers_are_si_and_said() {
        let profile = decode("msl, direction, speed\n1500, 240, 6\n20, , 0").unwrap();
        assert_eq!(profile.levels[0].above_sea.unwrap().si, 20.0);
        assert_eq!(profile.levels[0].wind.unwrap().direction, Direction::None);
        assert_eq!(profile.levels[1].wind.unwrap().speed.si, 6.0);
        let told: Vec<_> = profile.cautions.iter().map(|c| c.message.as_str()).collect();
        assert_eq!(told.len(), 2, "{told:?}");
        assert!(told[0].contains("\"msl\"") && told[0].contains(" m;"), "{told:?}");
        assert!(told[1].contains("\"speed\"") && told[1].contains("m/s"), "{told:?}");
    }

    #[test]
    fn what_an_altitude_is_above_is_said() {
        for (heading, said) in [("altitude (ft)", 1), ("Altitude", 1), ("altitude_msl ft", 0), ("msl", 0), ("agl", 0)] {
            let profile = decode(&format!("{heading}, direction, speed kt\n1000, 240, 12")).unwrap();
            assert_eq!(profile.assumed.len(), said, "{heading}: {:?}", profile.assumed);
        }
    }

    #[test]
    fn refusals() {
        for (text, problem, remedy) in [
            (
                "\"agl\",\"direction\",\"speed\"\n\"1,200\",240,2",
                "line 2, column 1 (height_above_ground): \"1,200\" has a comma",
                "point",
            ),
            ("agl,direction,speed\n\"1000,240,2", "with 1 cells, not 3", "every row"),
            ("", "holds nothing", "names the columns"),
            ("1000, 240, 12", "line 1: \"1000, 240, 12\" names no columns", "names the columns"),
            ("height, direction, speed\n1, 2, 3", "above what", "height_above_sea"),
            ("agl, msl, direction, speed\n1, 1, 2, 3", "two columns of heights", "height_above_sea"),
            ("agl, direction\n1, 2", "no column speed", "names the columns"),
            ("agl, speed, speed (kt)\n1, 2, 3", "speed is there twice", "names the columns"),
            ("agl (furlongs), direction, speed\n1, 2, 3", "\"furlongs\" is no unit of length", "m, cm"),
            ("agl, direction, speed", "nothing follows", "row a height"),
            ("agl, direction, speed\n1000, 240", "line 2 is \"1000, 240\" with 2 cells, not 3", "every row"),
            ("agl; direction; speed\n1000; 240; 5,5", "line 2, column 3 (speed): \"5,5\" has a comma", "decimal point"),
            ("agl, direction, speed\n1000, VRB, 2", "line 2, column 2 (direction)", "5 deg"),
            ("agl, direction, speed\n1000, 361, 2", "it is 361 deg", "0 to 360 deg"),
            ("agl, direction, speed kt\n1000, 240, 500", "it is 500 kt", "kt"),
            ("agl, direction, speed\n1000, , 2", "without a direction", "true north"),
            ("agl, direction, speed\n1000, 240, ", "line 2, column 3 (speed)", "35 mph"),
            ("agl, direction, speed\n1000, 240, 2\n1 km, 250, 3", "1 km stands in two rows", "once"),
        ] {
            let e = decode(text).unwrap_err();
            assert!(e.problem.contains(problem), "{text}: {}", e.problem);
            assert!(e.remedy.contains(remedy), "{text}: {}", e.remedy);
        }
        let many = (1..=201).fold("agl, direction, speed\n".to_string(), |t, i| format!("{t}{i}, 240, 2\n"));
        assert!(decode(&many).unwrap_err().problem.contains("past the 200 rows"));
    }
}
