//! What the service answered to weather, read again as it stands: so a file that was decoded once goes under a surface report,
//! into an assessment, or beside others as a member of an ensemble.

use jiff::civil::DateTime;
use serde_json::Value;
use slowpoint_sim::limits;

use super::node::{Misplaced, Node, Read};
use super::units::{ANGLE, LENGTH, PRESSURE, Reading, SPEED, TEMPERATURE, Table, quoted};
use crate::weather::clock::{Clock, DayTime, ForUse, When, instant};
use crate::weather::{Bound, Direction, Format, Level, Message, Profile, TEMPERATURES_C, Wind, layers};

const ANSWER: &str = "give the answer of POST /v1/weather or /v1/weather/grib as it came";
/// Most of a list, as much as an assessment takes.
const MOST: usize = 200;
/// Most characters of a sentence.
const LONGEST: usize = 1000;
/// Most characters of a name.
const LONGEST_NAME: usize = 40;
/// The field of the answer and that of the request are the same when they differ by no more, m.
const SAME_FIELD_M: f64 = 0.5;
/// Greatest pressure that is taken, Pa.
const MOST_PA: f64 = 110_000.0;

/// Reads an answer over a field; of an ensemble each member.
pub fn decode(document: &Value, field: Option<Reading>) -> Read<Vec<Profile>> {
    let root = Node::root(document, "an answer of POST /v1/weather");
    root.object("everything that was answered")?;
    let own = number(&root, "field_elevation_m", &LENGTH, "m", (limits::ELEVATION.min, limits::ELEVATION.max))?;
    if let (Some(own), Some(field)) = (own, field)
        && (own.si - field.si).abs() > SAME_FIELD_M
    {
        let node = root.need("field_elevation_m", "the field")?;
        return Err(node.fault(
            format!(
                "it was decoded over a field at {}, and this field is at {}",
                LENGTH.show(&own),
                LENGTH.show(&field)
            ),
            "decode it again with this field_elevation, or correct the elevation here",
        ));
    }
    let most_pa = limits::ALTIMETER_SETTINGS_PA;
    let altimeter_setting = number(&root, "altimeter_setting_pa", &PRESSURE, "Pa", (*most_pa.start(), *most_pa.end()))?;
    let [assumed, skipped] = [sentences(&root, "assumed")?, sentences(&root, "skipped")?];
    let profile = |node: &Node<'_>| -> Read<Profile> {
        Ok(Profile {
            messages: few(node, "messages")?.iter().map(message).collect::<Read<_>>()?,
            levels: levels(node)?,
            altimeter_setting,
            assumed: assumed.clone(),
            skipped: skipped.clone(),
            cautions: Vec::new(),
        })
    };
    let members = match root.member("members") {
        Some(_) => few(&root, "members")?,
        None => Vec::new(),
    };
    match &members[..] {
        [] => Ok(vec![profile(&root)?]),
        members => members.iter().map(profile).collect(),
    }
}

/// The items of a list that has to be there.
fn few<'a>(node: &Node<'a>, name: &str) -> Read<Vec<Node<'a>>> {
    let list = node.need(name, "a list")?;
    let items: Vec<Node<'_>> = list.list("a list")?.collect();
    match items.len() {
        0..=MOST => Ok(items),
        many => Err(list.fault(format!("it has {many} items"), format!("at most {MOST} are read"))),
    }
}

/// Sentences that were answered, each a plain line.
fn sentences(root: &Node<'_>, name: &str) -> Read<Vec<String>> {
    match root.member(name) {
        None => Ok(Vec::new()),
        Some(_) => few(root, name)?.iter().map(|node| line(node, LONGEST)).collect(),
    }
}

/// One line of text, no longer than that.
fn line(node: &Node<'_>, longest: usize) -> Read<String> {
    let text = node.value.as_str().filter(|t| t.chars().count() <= longest && !t.chars().any(char::is_control));
    let wrong = || node.fault(format!("it is no line of text of at most {longest} characters"), ANSWER);
    text.map(String::from).ok_or_else(wrong)
}

/// A number in the unit of its name and within what is taken of such; none where it is null.
fn number(node: &Node<'_>, name: &str, table: &Table, unit: &str, (least, most): (f64, f64)) -> Read<Option<Reading>> {
    let Some(sent) = node.member(name) else { return Ok(None) };
    let reading = sent.value.as_f64().filter(|x| x.is_finite()).and_then(|x| table.with(x, unit));
    let reading = reading.ok_or_else(|| sent.fault("it is no number", ANSWER))?;
    if reading.si < least || reading.si > most {
        let range = table.range(least, most, &reading);
        return Err(
            sent.fault(format!("{} is out of range", table.show(&reading)), format!("{range} is taken; {ANSWER}"))
        );
    }
    Ok(Some(reading))
}

fn truth(node: &Node<'_>, name: &str) -> Read<bool> {
    match node.member(name) {
        None => Ok(false),
        Some(sent) => sent.value.as_bool().ok_or_else(|| sent.fault("it is neither true nor false", ANSWER)),
    }
}

/// The levels of a profile: the surface, then what lies above it.
fn levels(node: &Node<'_>) -> Read<Vec<Level>> {
    let list = node.need("levels", "a list")?;
    let all = few(node, "levels")?.iter().map(level).collect::<Read<Vec<_>>>()?;
    let (mut levels, mut above): (Vec<Level>, Vec<Level>) = all.into_iter().partition(|l| l.surface);
    if levels.len() > 1 {
        return Err(list.fault("there are two surfaces in it", ANSWER));
    }
    let placed = above.iter().filter(|l| l.above_ground.is_some()).count();
    if placed > 0 && placed < above.len() {
        return Err(list.fault("some of its levels have a height above ground and some have not", ANSWER));
    }
    layers::sort(&mut above)
        .map_err(|height| list.fault(format!("the height {} stands in it twice", LENGTH.show(&height)), ANSWER))?;
    levels.append(&mut above);
    Ok(levels)
}

fn level(node: &Node<'_>) -> Read<Level> {
    node.object("a level")?;
    let highest = limits::WIND_HEIGHT.max;
    let surface = truth(node, "surface")?;
    let instrument = limits::MEASURING_HEIGHT;
    let above_ground = if surface { (instrument.min, instrument.max) } else { (0.0, highest) };
    let level = Level {
        surface,
        above_sea: number(
            node,
            "height_above_sea_m",
            &LENGTH,
            "m",
            (limits::ELEVATION.min, highest + limits::ELEVATION.max),
        )?,
        above_ground: number(node, "height_above_ground_m", &LENGTH, "m", above_ground)?,
        pressure: number(node, "pressure_pa", &PRESSURE, "Pa", (0.0, MOST_PA))?,
        wind: wind(node)?,
        temperature: temperature(node, "temperature_c")?,
        dew_point: temperature(node, "dew_point_c")?,
    };
    if let (Some(air), Some(dew), Some(sent)) = (level.temperature, level.dew_point, node.member("dew_point_c"))
        && dew.si > air.si
    {
        return Err(sent.fault("the dew point is above the temperature", ANSWER));
    }
    match level.above_ground.or(level.above_sea.filter(|_| !surface)) {
        Some(_) => Ok(level),
        None => Err(node.fault(
            "it has no height",
            format!("height_above_ground_m or, above the surface, height_above_sea_m is needed; {ANSWER}"),
        )),
    }
}

fn temperature(node: &Node<'_>, name: &str) -> Read<Option<Reading>> {
    // A dew point may lie far below any temperature.
    let least_c = if name == "dew_point_c" { -273.15 } else { *TEMPERATURES_C.start() };
    let range = (least_c + 273.15, TEMPERATURES_C.end() + 273.15);
    number(node, name, &TEMPERATURE, "C", range)
}

fn wind(node: &Node<'_>) -> Read<Option<Wind>> {
    let speed = |name: &str| number(node, name, &SPEED, "m/s", (0.0, limits::WIND_SPEED.max));
    let angle = |name: &str| {
        let full = core::f64::consts::TAU;
        // Degrees turned to radians may end a last place beyond.
        number(node, name, &ANGLE, "deg", (0.0, full * (1.0 + f64::EPSILON)))
    };
    let Some(mean) = speed("wind_speed_m_s")? else { return Ok(None) };
    let bound = match node.member("wind_speed_bound") {
        None => Bound::Is,
        Some(word) => match word.text() {
            "is" => Bound::Is,
            "at_least" => Bound::AtLeast,
            "below" => Bound::Below,
            _ => return Err(word.fault("it is no such word", "\"is\", \"at_least\" or \"below\" stands there")),
        },
    };
    let direction = match angle("wind_from_deg")? {
        Some(from) => Direction::From(from),
        None if truth(node, "wind_variable")? => Direction::Variable,
        None => Direction::None,
    };
    let gust = speed("gust_m_s")?;
    if let (Some(gust), Some(sent)) = (gust, node.member("gust_m_s"))
        && gust.si <= mean.si
    {
        return Err(sent.fault("the gust is no faster than the mean", ANSWER));
    }
    let varies = match [angle("wind_varies_from_deg")?, angle("wind_varies_to_deg")?] {
        [Some(from), Some(to)] => Some([from, to]),
        _ => None,
    };
    Ok(Some(Wind { direction, speed: mean, bound, gust, varies }))
}

fn message(node: &Node<'_>) -> Read<Message> {
    let kind = node.need("format", "the kind of the message")?;
    let format = Format::named(kind.text())
        .ok_or_else(|| kind.fault(format!("{} is no kind of message", quoted(kind.text())), ANSWER))?;
    let name = |name: &str| node.member(name).map(|sent| line(&sent, LONGEST_NAME)).transpose();
    let time = |name: &str| node.member(name).map(|sent| when(&sent)).transpose();
    let clock = |name: &str| {
        let read = |sent: Node<'_>| whole(&sent).map(|t| Clock { hour: t.hour(), minute: t.minute() });
        node.member(name).map(read).transpose()
    };
    let for_use = match [clock("use_from")?, clock("use_until")?] {
        [Some(from), Some(until)] => Some(ForUse { from, until }),
        _ => None,
    };
    let range = (limits::ELEVATION.min, limits::ELEVATION.max);
    let ground = number(node, "ground_above_sea_m", &LENGTH, "m", range)?;
    Ok(Message {
        format,
        station: name("station")?,
        ground_above_sea: ground.filter(|_| format == Format::Temp),
        member: name("member")?,
        observed: time("observed")?,
        based_on: time("based_on")?,
        valid: time("valid")?,
        for_use,
    })
}

/// A time with month and year, or without them where it was answered so.
fn when(sent: &Node<'_>) -> Read<When> {
    if let Some(utc) = sent.member("utc") {
        return whole(&utc).map(When::Whole);
    }
    let part = |name: &str, most: i64| {
        let number = sent.value.get(name).and_then(Value::as_i64).filter(|n| (0..=most).contains(n));
        number.and_then(|n| i8::try_from(n).ok())
    };
    let time = || {
        let day = part("day", 31).filter(|day| *day > 0)?;
        Some(DayTime { day, clock: Clock { hour: part("hour", 23)?, minute: part("minute", 59)? } })
    };
    time().map(When::OfMonth).ok_or_else(|| sent.fault("it is no time", ANSWER))
}

fn whole(sent: &Node<'_>) -> Read<DateTime> {
    let fault = || -> Misplaced { sent.fault("it is no instant", ANSWER) };
    instant(sent.text()).ok_or_else(fault)
}
