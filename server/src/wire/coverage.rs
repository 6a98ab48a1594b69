//! CoverageJSON (OGC 21-069r2): a profile over one place, or a series in time at one place and height.
//!
//! Any domain of simple axes is read whose x and y have one value each, with z and t of any length: VerticalProfile,
//! PointSeries, Point, and the Grid that a service cuts out for a place. Which parameter is which is told by the names of
//! the CF conventions. The coverages of a collection are the members of an ensemble. Links to other documents are not
//! followed.

use jiff::civil::DateTime;
use serde_json::Value;
use slowpoint_sim::limits;

use super::node::{Misplaced, Node, Read};
use super::units::{ANGLE, LENGTH, PRESSURE, Reading, SPEED, TEMPERATURE, Table, Unreadable, quoted};
use crate::weather::clock::{When, instant, written};
use crate::weather::{
    Bound, Direction, Format, Level, MEASURED_AT_M, MOST_MEMBERS, Message, Profile, TEMPERATURES_C, Wind,
};

/// Most heights, as many winds as an assessment takes.
const MOST_HEIGHTS: usize = 200;

/// What a parameter is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Speed,
    From,
    East,
    North,
    Gust,
    Temperature,
    Height,
}

impl Kind {
    /// Names of the CF conventions first, then what else people write.
    const NAMES: [(Self, &'static [&'static str]); 7] = [
        (Self::Speed, &["wind_speed"]),
        (Self::From, &["wind_from_direction", "wind_direction"]),
        (Self::East, &["eastward_wind", "u_component_of_wind"]),
        (Self::North, &["northward_wind", "v_component_of_wind"]),
        (Self::Gust, &["wind_speed_of_gust", "wind_gust", "wind_gust_speed"]),
        (Self::Temperature, &["air_temperature", "temperature"]),
        (Self::Height, &["geopotential_height"]),
    ];

    fn named(name: &str) -> Option<Self> {
        Self::NAMES.iter().find(|(_, names)| names.contains(&name)).map(|(kind, _)| *kind)
    }

    fn table(self) -> &'static Table {
        match self {
            Self::Speed | Self::East | Self::North | Self::Gust => &SPEED,
            Self::From => &ANGLE,
            Self::Temperature => &TEMPERATURE,
            Self::Height => &LENGTH,
        }
    }

    /// Accepted range, SI.
    fn range(self) -> (f64, f64) {
        let fastest = limits::WIND_SPEED.max;
        match self {
            Self::Speed | Self::Gust => (0.0, fastest),
            Self::East | Self::North => (-fastest, fastest),
            Self::From => (limits::BEARING.min, limits::BEARING.max),
            Self::Temperature => (TEMPERATURES_C.start() + 273.15, TEMPERATURES_C.end() + 273.15),
            Self::Height => (limits::ELEVATION.min, f64::MAX),
        }
    }
}

const NAMES: &str = "wind_speed and wind_from_direction, or eastward_wind and northward_wind (names of the CF conventions, as \
                     the last part of observedProperty.id, the parameter's own name or its label)";

/// A parameter with its unit and values.
struct Parameter<'a> {
    kind: Kind,
    unit: &'static str,
    range: Node<'a>,
    values: &'a [Value],
    /// What to multiply an index along z and t with.
    strides: [usize; 2],
}

impl Parameter<'_> {
    /// The value at a place of the axes; none where it is missing.
    fn at(&self, z: usize, t: usize) -> Read<Option<Reading>> {
        let index = z * self.strides[0] + t * self.strides[1];
        let fault = |problem: String, remedy: String| Misplaced {
            pointer: format!("{}/values/{index}", self.range.at),
            unreadable: Unreadable { problem, remedy },
        };
        let number = match self.values.get(index) {
            None | Some(Value::Null) => return Ok(None),
            Some(value) => value.as_f64().filter(|x| x.is_finite()),
        };
        let table = self.kind.table();
        let reading = number.and_then(|x| table.with(x, self.unit));
        let reading = reading
            .ok_or_else(|| fault("it is no number".into(), "give a number, or null where it is missing".into()))?;
        let (least, most) = self.kind.range();
        if reading.si < least || reading.si > most {
            let range = table.range(least, most.min(limits::WIND_HEIGHT.max), &reading);
            return Err(fault(
                format!("{} is out of range", table.show(&reading)),
                format!("compare with its source; {range} is taken"),
            ));
        }
        Ok(Some(reading))
    }
}

/// What the heights of z are.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Vertical {
    AboveGround(&'static str),
    AboveSea(&'static str),
    Pressure(&'static str),
}

/// Reads a coverage, or a collection of the members of an ensemble; of several times that nearest to launch is taken.
pub fn decode(document: &Value, launch: Option<DateTime>) -> Read<Vec<Profile>> {
    let root = Node::root(document, "CoverageJSON");
    let kind = root.need("type", "\"Coverage\"")?;
    match kind.text() {
        "Coverage" => Ok(vec![coverage(&root, None, launch)?]),
        "CoverageCollection" => collection(&root, launch),
        other => {
            Err(kind.fault(format!("{} is no coverage", quoted(other)), "give a document of the type \"Coverage\""))
        }
    }
}

/// Reads the members of an ensemble: coverages of one place and time.
fn collection(root: &Node<'_>, launch: Option<DateTime>) -> Read<Vec<Profile>> {
    let list = root.need("coverages", "the coverages")?;
    let count = list.items("the coverages")?.len();
    if !(1..=MOST_MEMBERS).contains(&count) {
        return Err(list.fault(format!("it has {count} coverages"), format!("give 1 to {MOST_MEMBERS}")));
    }
    let mut members: Vec<Profile> = Vec::with_capacity(count);
    for (k, node) in list.list("the coverages")?.enumerate() {
        let mut member = coverage(&node, Some(root), launch)?;
        if let (Some(first), Some(own)) = (members.first().and_then(|m| m.messages.first()), member.messages.first()) {
            let told = if own.station != first.station {
                Some("another place")
            } else if own.valid != first.valid {
                Some("another time")
            } else {
                None
            };
            if let Some(other) = told {
                return Err(node.fault(
                    format!("it is for {other} than the first of the collection"),
                    "give the members of one ensemble, for the field and one time; several times belong in one coverage",
                ));
            }
        }
        if count > 1 {
            let name = node.member("id").map(|id| id.text().to_string()).filter(|id| !id.is_empty());
            member.messages[0].member = Some(name.unwrap_or_else(|| format!("coverage {}", k + 1)));
        }
        members.push(member);
    }
    Ok(members)
}

/// Reads a coverage; what it leaves out of its parameters and reference systems is its collection's.
fn coverage(root: &Node<'_>, shared: Option<&Node<'_>>, launch: Option<DateTime>) -> Read<Profile> {
    let domain = root.need("domain", "the domain")?;
    domain.object("the domain")?;
    let axes = domain.need("axes", "the axes")?;
    for (name, _) in axes.object("the axes")? {
        if !["x", "y", "z", "t"].contains(&name.as_str()) {
            let axis = axes.need(name, "an axis")?;
            return Err(axis.fault(
                "it is no simple axis x, y, z or t",
                "give the domain of one place: VerticalProfile, PointSeries or Point",
            ));
        }
    }
    let place = [numbers(&axes, "y")?, numbers(&axes, "x")?];
    for (name, values) in ["y", "x"].iter().zip(&place) {
        if values.as_ref().is_some_and(|v| v.len() != 1) {
            let axis = axes.need(name, "an axis")?;
            return Err(axis.fault("it has more than one value", "cut out one place: the profile over the field"));
        }
    }
    let heights = numbers(&axes, "z")?;
    let times = times(&axes)?;
    let lengths = [heights.as_ref().map_or(1, Vec::len), times.len().max(1)];
    if lengths[0] > MOST_HEIGHTS {
        let z = axes.need("z", "an axis")?;
        return Err(z.fault(format!("it has {} heights", lengths[0]), format!("give at most {MOST_HEIGHTS}")));
    }
    let named = match (root.member("parameters"), shared.and_then(|s| s.member("parameters"))) {
        (None, Some(shared)) => shared,
        _ => root.need("parameters", "the parameters")?,
    };
    let parameters = parameters(&named, &root.need("ranges", "the values")?, lengths)?;
    let has = |kind: Kind| parameters.iter().find(|p| p.kind == kind);
    let winds = match ([has(Kind::East), has(Kind::North)], [has(Kind::Speed), has(Kind::From)]) {
        ([Some(east), Some(north)], _) => [east, north],
        (_, [Some(speed), Some(from)]) => [speed, from],
        _ => {
            let sent: Vec<String> = named.object("the parameters")?.keys().take(20).map(|k| quoted(k)).collect();
            return Err(
                named.fault(format!("among {} there is no whole wind", sent.join(", ")), format!("give {NAMES}"))
            );
        }
    };

    let mut profile = Profile::of(Message::new(Format::Coverage));
    let message = &mut profile.messages[0];
    if let [Some(y), Some(x)] = &place {
        message.station = Some(format!("{}, {}", y[0], x[0]));
    }
    let t = match (&times[..], launch) {
        ([], _) => 0,
        ([_], _) => 0,
        (_, None) => {
            return Err(axes.need("t", "an axis")?.fault(
                format!("it has {} times", times.len()),
                "give launch_at, to whose instant the nearest of them is taken, or cut out one time",
            ));
        }
        (_, Some(launch)) => {
            let apart = |t: &DateTime| t.duration_until(launch).abs();
            let nearest = (0..times.len()).min_by_key(|i| apart(&times[*i])).unwrap_or_default();
            profile.assumed.push(format!(
                "Of the {} times of the coverage that nearest to launch was taken, {}.",
                times.len(),
                written(times[nearest])
            ));
            nearest
        }
    };
    if let Some(time) = times.get(t) {
        profile.messages[0].valid = Some(When::Whole(*time));
        profile.assumed.push(
            "The coverage does not tell when its forecast was made: its age is counted from the time that it is for."
                .into(),
        );
    }
    let vertical = match &heights {
        Some(_) => Some(vertical(&domain, shared, &axes)?),
        None => None,
    };
    if let (Some(Vertical::Pressure(_)), None) = (vertical, has(Kind::Height)) {
        return Err(named.fault(
            "there is no geopotential_height, without which pressures have no heights",
            "ask for it beside the winds, or for winds at heights",
        ));
    }
    if vertical.is_none() {
        profile
            .assumed
            .push(format!("The coverage names no height: its wind was taken {MEASURED_AT_M} m above ground."));
    }
    let mut blank = 0;
    for (z, height) in heights.map_or(vec![None], |h| h.into_iter().map(Some).collect()).into_iter().enumerate() {
        let at = |kind: Kind| has(kind).map_or(Ok(None), |p| p.at(z, t));
        let wind = match [winds[0].at(z, t)?, winds[1].at(z, t)?] {
            [Some(first), Some(second)] if winds[0].kind == Kind::East => Wind::of_components(first.si, second.si),
            [Some(speed), Some(from)] => {
                let direction = if speed.si > 0.0 { Direction::From(from) } else { Direction::None };
                Some(Wind { direction, speed, bound: Bound::Is, gust: None, varies: None })
            }
            _ => None,
        };
        let mut level = Level {
            surface: height.is_none(),
            above_sea: None,
            above_ground: None,
            pressure: None,
            wind,
            temperature: at(Kind::Temperature)?,
            dew_point: None,
        };
        match (vertical, height) {
            (Some(Vertical::AboveGround(unit)), Some(h)) => level.above_ground = LENGTH.with(h, unit),
            (Some(Vertical::AboveSea(unit)), Some(h)) => level.above_sea = LENGTH.with(h, unit),
            (Some(Vertical::Pressure(unit)), Some(p)) => {
                level.pressure = PRESSURE.with(p, unit);
                level.above_sea = at(Kind::Height)?;
            }
            _ => level.above_ground = LENGTH.with(MEASURED_AT_M, "m"),
        }
        if level.wind.is_none() || (level.above_ground.is_none() && level.above_sea.is_none()) {
            blank += 1;
            continue;
        }
        // A single height near the ground is an instrument's.
        let near = |h: Reading| (limits::MEASURING_HEIGHT.min..=limits::MEASURING_HEIGHT.max).contains(&h.si);
        level.surface |= lengths[0] == 1 && level.above_ground.is_some_and(near);
        if let (true, Some(wind), Some(gust)) = (level.surface, &mut level.wind, at(Kind::Gust)?) {
            wind.gust = Some(gust).filter(|g| g.si > wind.speed.si);
        }
        profile.levels.push(level);
    }
    if blank > 0 {
        profile.skipped.push(format!("{blank} of {} heights of the coverage: wind or height is missing.", lengths[0]));
    }
    if vertical.is_some_and(|v| matches!(v, Vertical::Pressure(_))) {
        profile.assumed.push("Geopotential heights are taken as metres above sea level.".into());
    }
    let mut rising = profile.levels.iter().filter_map(|l| Some(l.above_ground.or(l.above_sea)?.si)).collect::<Vec<_>>();
    rising.sort_by(f64::total_cmp);
    if let Some(twice) = rising.windows(2).find(|w| w[0] == w[1]) {
        return Err(axes
            .need("z", "an axis")?
            .fault(format!("the height {} m is there twice", twice[0]), "give each height once"));
    }
    let metres = |l: &Level| l.above_ground.or(l.above_sea).map_or(0.0, |h| h.si);
    profile.levels.sort_by(|a, b| metres(a).total_cmp(&metres(b)));
    Ok(profile)
}

/// Values of an axis of numbers: listed, or evenly spaced.
fn numbers(axes: &Node<'_>, name: &str) -> Read<Option<Vec<f64>>> {
    let Some(axis) = axes.member(name) else { return Ok(None) };
    axis.object("an axis")?;
    let wrong = || axis.fault("it is no axis", "give values, or start, stop and num");
    let values: Vec<f64> = match axis.member("values") {
        Some(list) => {
            let read = |(i, v): (usize, &Value)| {
                let number = v.as_f64().filter(|x| x.is_finite());
                number.ok_or_else(|| list.item(i, v).fault("it is no number", "give a number"))
            };
            list.items("the values of the axis")?.iter().enumerate().map(read).collect::<Read<_>>()?
        }
        None => {
            let part = |name: &str| axis.member(name).and_then(|n| n.value.as_f64()).filter(|x| x.is_finite());
            let (start, stop) = (part("start").ok_or_else(wrong)?, part("stop").ok_or_else(wrong)?);
            let count = axis.member("num").and_then(|n| n.value.as_u64()).ok_or_else(wrong)?;
            match count {
                1 if start == stop => vec![start],
                2..=10_000 => {
                    let step = (stop - start) / (count - 1) as f64;
                    (0..count).map(|i| start + step * i as f64).collect()
                }
                _ => return Err(wrong()),
            }
        }
    };
    if values.is_empty() {
        return Err(axis.fault("it has no value", "give at least one"));
    }
    let rises = values.windows(2).all(|w| w[0] < w[1]);
    if !rises && !values.windows(2).all(|w| w[0] > w[1]) {
        return Err(axis.fault("its values neither rise nor fall throughout", "put them in order, each once"));
    }
    Ok(Some(values))
}

/// Times of the axis t; none where there is no such axis.
fn times(axes: &Node<'_>) -> Read<Vec<DateTime>> {
    let Some(axis) = axes.member("t") else { return Ok(Vec::new()) };
    let list = axis.need("values", "the values of the axis")?;
    let mut times = Vec::new();
    for (i, value) in list.items("the values of the axis")?.iter().enumerate() {
        let node = list.item(i, value);
        let time = instant(node.text()).ok_or_else(|| {
            node.fault("it is no instant", "give date, time and offset from UTC: \"2026-11-25T17:30:00Z\"")
        })?;
        if times.last().is_some_and(|last| *last >= time) {
            return Err(node.fault("it is no later than the one before", "put the times in order, each once"));
        }
        times.push(time);
    }
    match times[..] {
        [] => Err(axis.fault("it has no value", "give at least one")),
        _ => Ok(times),
    }
}

/// What z is, by its reference system.
fn vertical(domain: &Node<'_>, shared: Option<&Node<'_>>, axes: &Node<'_>) -> Read<Vertical> {
    const REMEDY: &str = "reference z in the domain by a VerticalCRS with one axis in cs.csAxes, whose name is height_above_ground, altitude \
                          (above sea level) or pressure, and whose unit has a symbol: m, ft, hPa, Pa";
    let z = axes.need("z", "an axis")?;
    let unknown = || z.fault("what its values are cannot be told", REMEDY);
    let referencing = domain.member("referencing").or_else(|| shared?.member("referencing")).ok_or_else(unknown)?;
    let mut systems = referencing.list("the reference systems")?;
    let refers = |system: &Node<'_>| {
        let names = system.member("coordinates").and_then(|c| c.value.as_array());
        names.is_some_and(|names| names.iter().any(|n| n == "z"))
    };
    let system = systems.find(refers).ok_or_else(unknown)?.need("system", "a reference system")?;
    let axis = system.member("cs").and_then(|cs| cs.member("csAxes"));
    let Some((axes, first)) = axis.as_ref().and_then(|a| Some((a, a.value.as_array()?.first()?))) else {
        return Err(system.fault("it does not say what z is", REMEDY));
    };
    let axis = axes.item(0, first);
    let symbol = unit_symbol(&axis)?;
    let name = axis.member("name").map(|n| labels(&n)).unwrap_or_default();
    let is = |names: &[&str]| name.iter().any(|n| names.contains(&n.as_str()));
    if let Some(unit) = known_unit(&PRESSURE, &symbol) {
        return Ok(Vertical::Pressure(unit));
    }
    let Some(unit) = known_unit(&LENGTH, &symbol) else {
        return Err(axis.fault(
            format!("{} is no unit of heights or pressures known here", quoted(&symbol)),
            format!("use {} or {}", LENGTH.list(), PRESSURE.list()),
        ));
    };
    // "height" is above the ground by the CF conventions, "altitude" above the geoid.
    if is(&["height_above_ground", "height_above_ground_level", "height"]) {
        Ok(Vertical::AboveGround(unit))
    } else if is(&["altitude", "height_above_mean_sea_level", "height_above_sea_level", "geopotential_height"]) {
        Ok(Vertical::AboveSea(unit))
    } else {
        Err(axis.fault("it does not say whether heights are above ground or above sea level", REMEDY))
    }
}

/// The texts of a label (an object keyed by language) or of a plain text, as names are compared.
fn labels(node: &Node<'_>) -> Vec<String> {
    let texts = node.value.as_object().into_iter().flat_map(|o| o.values()).chain([node.value]);
    texts.filter_map(Value::as_str).map(plain_name).collect()
}

fn plain_name(text: &str) -> String {
    let last = text.trim_end_matches('/').rsplit(['/', '#']).next().unwrap_or_default();
    last.chars().map(|c| if c.is_alphanumeric() { c.to_ascii_lowercase() } else { '_' }).collect()
}

/// The symbol of a unit.
fn unit_symbol(holder: &Node<'_>) -> Read<String> {
    let unit = holder.need("unit", "the unit")?;
    let symbol = unit.need("symbol", "the symbol of the unit")?;
    let text = symbol.value.as_str().or(symbol.value["value"].as_str());
    text.map(String::from)
        .ok_or_else(|| symbol.fault("it is no symbol", "give a text, or an object with value and type"))
}

/// Our name of a unit: as it is, or by its code of UCUM.
fn known_unit(table: &Table, symbol: &str) -> Option<&'static str> {
    const CODES: &[(&str, &str)] = &[
        ("m.s-1", "m/s"),
        ("m s-1", "m/s"),
        ("m s**-1", "m/s"),
        ("km.h-1", "km/h"),
        ("[kn_i]", "kt"),
        ("[mi_i]/h", "mph"),
        ("[ft_i]", "ft"),
        ("Cel", "C"),
        ("degC", "C"),
        ("[degF]", "F"),
        ("degrees", "deg"),
        ("degree_true", "deg"),
    ];
    let code = CODES.iter().find(|(code, _)| *code == symbol).map(|(_, name)| *name);
    table.name(code.unwrap_or(symbol))
}

/// The parameters that say something of a profile.
fn parameters<'a>(named: &Node<'a>, ranges: &Node<'a>, lengths: [usize; 2]) -> Read<Vec<Parameter<'a>>> {
    let mut found: Vec<Parameter<'a>> = Vec::new();
    for key in named.object("the parameters")?.keys() {
        let Some(parameter) = named.member(key) else { continue };
        let property = parameter.member("observedProperty");
        let texts = |name: &str| property.as_ref().and_then(|p| p.member(name)).map(|n| labels(&n)).unwrap_or_default();
        let names = texts("id").into_iter().chain([plain_name(key)]).chain(texts("label"));
        let Some(kind) = names.into_iter().find_map(|n| Kind::named(&n)) else { continue };
        if found.iter().any(|p| p.kind == kind) {
            return Err(parameter.fault("it is the same as another parameter", "leave one of them"));
        }
        let symbol = unit_symbol(&parameter)?;
        let unit = known_unit(kind.table(), &symbol).ok_or_else(|| {
            let table = kind.table();
            parameter
                .fault(format!("{} is no unit of {}", quoted(&symbol), table.quantity), format!("use {}", table.list()))
        })?;
        let range = ranges.need(key, "the values of the parameter")?;
        let (values, strides) = array(&range, lengths)?;
        found.push(Parameter { kind, unit, range, values, strides });
    }
    Ok(found)
}

/// The values of an NdArray, and the strides of its axes z and t.
fn array<'a>(range: &Node<'a>, lengths: [usize; 2]) -> Read<(&'a [Value], [usize; 2])> {
    if range.value.is_string() {
        return Err(range.fault("it is a link", "put the values in: nothing is fetched"));
    }
    let kind = range.need("type", "\"NdArray\"")?;
    if kind.text() != "NdArray" {
        return Err(kind.fault(format!("{} is not read", quoted(kind.text())), "give the values as an \"NdArray\""));
    }
    let values = range.need("values", "the values")?;
    let list = values.items("the values")?;
    let axes = range.member("axisNames");
    let names: Vec<&str> = match &axes {
        Some(axes) => axes.items("the names of the axes")?.iter().map(|n| n.as_str().unwrap_or_default()).collect(),
        None => Vec::new(),
    };
    let shape: Vec<usize> = match range.member("shape") {
        Some(shape) => {
            let sizes = shape.items("the shape")?.iter().map(|n| n.as_u64().and_then(|n| usize::try_from(n).ok()));
            sizes
                .collect::<Option<_>>()
                .ok_or_else(|| shape.fault("it is no list of whole numbers", "give the length of each axis"))?
        }
        None => Vec::new(),
    };
    let length = |name: &str| match name {
        "z" => Some(lengths[0]),
        "t" => Some(lengths[1]),
        "x" | "y" => Some(1),
        _ => None,
    };
    let fits = names.len() == shape.len() && names.iter().zip(&shape).all(|(name, size)| length(name) == Some(*size));
    let once = names.iter().enumerate().all(|(i, name)| !names[..i].contains(name));
    let covers = ["z", "t"].into_iter().all(|name| names.contains(&name) || length(name) == Some(1));
    if !fits || !once || !covers {
        return Err(range.fault(
            "its axisNames and shape are not those of the domain's axes",
            format!("the domain has {} heights (z) and {} times (t), and one x and y", lengths[0], lengths[1]),
        ));
    }
    if list.len() != lengths[0] * lengths[1] {
        return Err(values.fault(
            format!("there are {} values", list.len()),
            format!("give {}, as the shape says", lengths[0] * lengths[1]),
        ));
    }
    // The last axis runs fastest.
    let stride = |wanted: &str| {
        let at = names.iter().position(|n| *n == wanted);
        at.map_or(0, |i| shape[i + 1..].iter().product())
    };
    Ok((list, [stride("z"), stride("t")]))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use jiff::civil::datetime;
    use serde_json::json;

    use super::*;

    /// Written after the VerticalProfile of the standard's examples: the same members, with winds and invented numbers.
    fn profile() -> Value {
        json!({
            "type": "Coverage",
            "domain": {
                "type": "Domain",
                "domainType": "VerticalProfile",
                "axes": {
                    "x": {"values": [-106.62]},
                    "y": {"values": [35.04]},
                    "z": {"values": [1000.0, 850.0, 700.0]},
                    "t": {"values": ["2026-11-10T06:00:00Z"]}
                },
                "referencing": [
                    {
                        "coordinates": ["x", "y"],
                        "system": {"type": "GeographicCRS", "id": "http://www.opengis.net/def/crs/OGC/1.3/CRS84"}
                    },
                    {
                        "coordinates": ["z"],
                        "system": {
                            "type": "VerticalCRS",
                            "cs": {"csAxes": [{"name": {"en": "Pressure"}, "direction": "down", "unit": {"symbol": "hPa"}}]}
                        }
                    },
                    {"coordinates": ["t"], "system": {"type": "TemporalRS", "calendar": "Gregorian"}}
                ]
            },
            "parameters": {
                "u": {
                    "type": "Parameter",
                    "unit": {"symbol": {"value": "m.s-1", "type": "http://www.opengis.net/def/uom/UCUM/"}},
                    "observedProperty": {
                        "id": "http://vocab.nerc.ac.uk/standard_name/eastward_wind/",
                        "label": {"en": "U component of wind"}
                    }
                },
                "v": {
                    "type": "Parameter",
                    "unit": {"symbol": "m/s"},
                    "observedProperty": {"label": {"en": "Northward wind"}}
                },
                "geopotential_height": {"type": "Parameter", "unit": {"symbol": "m"}, "observedProperty": {"label": {"en": "height"}}},
                "T": {
                    "type": "Parameter",
                    "unit": {"symbol": "Cel"},
                    "observedProperty": {"id": "https://example.org/def#air_temperature", "label": {"en": "Temperature"}}
                },
                "sst": {"type": "Parameter", "observedProperty": {"label": {"en": "Sea surface temperature"}}}
            },
            "ranges": {
                "u": {"type": "NdArray", "dataType": "float", "axisNames": ["z"], "shape": [3], "values": [10.0, 0.0, 3.0]},
                "v": {"type": "NdArray", "dataType": "float", "axisNames": ["z"], "shape": [3], "values": [0.0, -10.0, null]},
                "geopotential_height": {
                    "type": "NdArray", "dataType": "float", "axisNames": ["t", "z", "y", "x"], "shape": [1, 3, 1, 1],
                    "values": [112.0, 1457.0, 3012.0]
                },
                "T": {"type": "NdArray", "dataType": "float", "axisNames": ["z"], "shape": [3], "values": [14.0, 5.5, null]}
            }
        })
    }

    /// After the PointSeries of the standard's examples, with the start, stop and num of an axis.
    fn series() -> Value {
        json!({
            "type": "Coverage",
            "domain": {
                "type": "Domain",
                "domainType": "PointSeries",
                "axes": {
                    "x": {"values": [1]}, "y": {"start": 20, "stop": 20, "num": 1},
                    "t": {"values": ["2026-11-10T00:00:00Z", "2026-11-10T03:00:00Z", "2026-11-10T06:00:00Z"]}
                },
                "referencing": []
            },
            "parameters": {
                "wind_speed": {"type": "Parameter", "unit": {"symbol": "[kn_i]"}, "observedProperty": {"label": {"en": "x"}}},
                "wind_from_direction": {"type": "Parameter", "unit": {"symbol": "degrees"}, "observedProperty": {"label": {"en": "x"}}},
                "gust": {"type": "Parameter", "unit": {"symbol": "kt"}, "observedProperty": {"label": {"en": "Wind gust"}}}
            },
            "ranges": {
                "wind_speed": {"type": "NdArray", "dataType": "float", "axisNames": ["t"], "shape": [3], "values": [8, 12, 0]},
                "wind_from_direction": {"type": "NdArray", "dataType": "integer", "axisNames": ["t"], "shape": [3], "values": [240, 260, 0]},
                "gust": {"type": "NdArray", "dataType": "float", "axisNames": ["t"], "shape": [3], "values": [8, 20, null]}
            }
        })
    }

    fn one(document: &Value, launch: Option<DateTime>) -> Read<Profile> {
        decode(document, launch).map(|profiles| {
            let [only] = &profiles[..] else { panic!("{profiles:?}") };
            only.clone()
        })
    }

    fn put(document: &mut Value, pointer: &str, value: Value) {
        let (parent, name) = pointer.rsplit_once('/').unwrap();
        match document.pointer_mut(parent).unwrap() {
            Value::Object(members) if value.is_null() => drop(members.remove(name)),
            Value::Object(members) => drop(members.insert(name.into(), value)),
            Value::Array(items) => items[name.parse::<usize>().unwrap()] = value,
            _ => panic!("{pointer} has no place"),
        }
    }

    fn rows(profile: &Profile) -> Vec<(f64, Option<f64>, f64)> {
        let from = |w: Wind| match w.direction {
            Direction::From(reading) => Some(reading.number),
            Direction::Variable | Direction::None => None,
        };
        let row =
            |l: &Level| (l.above_sea.or(l.above_ground).unwrap().si, from(l.wind.unwrap()), l.wind.unwrap().speed.si);
        profile.levels.iter().map(row).collect()
    }

    /// Components: u = -s sin(dir), v = -s cos(dir): 270 deg and 10 m/s is (10, 0), 360 deg is (0, -10).
    #[test]
    fn a_profile_by_pressure() {
        let decoded = one(&profile(), None).unwrap();
        assert_eq!(rows(&decoded), [(112.0, Some(270.0), 10.0), (1457.0, Some(0.0), 10.0)]);
        let level = decoded.levels[1];
        assert_eq!((level.pressure.unwrap().si, level.temperature.unwrap().number), (85_000.0, 5.5));
        assert!(!level.surface && level.above_ground.is_none());
        let message = &decoded.messages[0];
        assert_eq!(message.station.as_deref(), Some("35.04, -106.62"));
        assert_eq!(message.valid, Some(When::Whole(datetime(2026, 11, 10, 6, 0, 0, 0))));
        assert!(decoded.skipped[0].starts_with("1 of 3 heights"), "{:?}", decoded.skipped);
    }

    #[test]
    fn heights_above_ground_and_above_sea() {
        for (name, ground) in
            [("Height above ground", true), ("height", true), ("Altitude", false), ("geopotential height", false)]
        {
            let mut document = profile();
            put(&mut document, "/domain/axes/z", json!({"start": 300, "stop": 100, "num": 3}));
            put(
                &mut document,
                "/domain/referencing/1/system/cs/csAxes/0",
                json!({"name": {"en": name}, "unit": {"symbol": "[ft_i]"}}),
            );
            let decoded = one(&document, None).unwrap();
            // 300 ft and 200 ft, from the ground up; at 100 ft v is missing.
            let heights: Vec<_> =
                decoded.levels.iter().map(|l| if ground { l.above_ground } else { l.above_sea }).collect();
            let feet: Vec<f64> = heights.iter().map(|h| h.unwrap().number).collect();
            assert_eq!(feet, [200.0, 300.0], "{name}");
            assert_eq!(rows(&decoded)[0].1, Some(0.0));
        }
    }

    #[test]
    fn a_series_in_time() {
        let at = |launch| one(&series(), Some(launch)).unwrap();
        for (launch, speed_kt, from, gust) in [
            (datetime(2026, 11, 9, 20, 0, 0, 0), 8.0, Some(240.0), None),
            (datetime(2026, 11, 10, 1, 31, 0, 0), 12.0, Some(260.0), Some(20.0)),
            (datetime(2026, 11, 10, 4, 29, 0, 0), 12.0, Some(260.0), Some(20.0)),
            (datetime(2026, 11, 10, 5, 0, 0, 0), 0.0, None, None),
        ] {
            let decoded = at(launch);
            let [level] = decoded.levels[..] else { panic!("{decoded:?}") };
            let wind = level.wind.unwrap();
            assert!(level.surface && level.above_ground.unwrap().si == 10.0);
            assert_eq!((wind.speed.number, rows(&decoded)[0].1), (speed_kt, from), "{launch}");
            assert_eq!(wind.gust.map(|g| g.number), gust, "{launch}");
            let assumed = decoded.assumed.join("\n");
            assert!(assumed.contains("Of the 3 times") && assumed.contains("10 m above ground"), "{assumed}");
        }
        // A height of its own.
        let mut low = series();
        put(&mut low, "/domain/axes/z", json!({"values": [2]}));
        let system = json!({"cs": {"csAxes": [{"name": {"en": "height"}, "unit": {"symbol": "m"}}]}});
        put(&mut low, "/domain/referencing", json!([{"coordinates": ["z"], "system": system}]));
        let level = one(&low, Some(datetime(2026, 11, 10, 3, 0, 0, 0))).unwrap().levels[0];
        assert_eq!(
            (level.surface, level.above_ground.unwrap().si, level.wind.unwrap().gust.is_some()),
            (true, 2.0, true)
        );
        let e = decode(&series(), None).unwrap_err();
        assert_eq!((e.pointer.as_str(), e.unreadable.problem.as_str()), ("/domain/axes/t", "it has 3 times"));
    }

    /// A collection of coverages that share parameters and reference systems, as the standard's examples have it.
    fn members(count: usize) -> Value {
        let mut shared = profile();
        let (parameters, referencing) = (shared["parameters"].take(), shared["domain"]["referencing"].take());
        put(&mut shared, "/parameters", Value::Null);
        put(&mut shared, "/domain/referencing", Value::Null);
        let coverages: Vec<Value> = (0..count)
            .map(|k| {
                let mut one = shared.clone();
                put(&mut one, "/ranges/u/values/0", json!(10.0 + k as f64));
                one
            })
            .collect();
        json!({"type": "CoverageCollection", "parameters": parameters, "referencing": referencing, "coverages": coverages})
    }

    #[test]
    fn a_collection_is_an_ensemble() {
        let mut document = members(3);
        put(&mut document, "/coverages/1/id", json!("p01"));
        let decoded = decode(&document, None).unwrap();
        let speeds: Vec<f64> = decoded.iter().map(|p| rows(p)[0].2).collect();
        assert_eq!(speeds, [10.0, 11.0, 12.0]);
        let names: Vec<_> = decoded.iter().map(|p| p.messages[0].member.as_deref().unwrap()).collect();
        assert_eq!(names, ["coverage 1", "p01", "coverage 3"]);
        // One alone is a profile like any other.
        assert_eq!(one(&members(1), None), one(&profile(), None));
        let whole: Vec<Value> = vec![profile(), profile()];
        let unshared = json!({"type": "CoverageCollection", "coverages": whole});
        assert_eq!(decode(&unshared, None).unwrap()[1].levels, one(&profile(), None).unwrap().levels);
        for (pointer, value, at, problem) in [
            ("/coverages", json!([]), "/coverages", "0 coverages"),
            ("/coverages", json!(vec![1; 201]), "/coverages", "201 coverages"),
            ("/coverages/1", json!(5), "/coverages/1", "no object"),
            ("/coverages/2/domain/axes/x/values/0", json!(7), "/coverages/2", "another place"),
            (
                "/coverages/1/domain/axes/t/values/0",
                json!("2026-11-10T09:00:00Z"),
                "/coverages/1",
                "another time than the first",
            ),
            ("/coverages/2/ranges/v", Value::Null, "/coverages/2/ranges/v", "missing"),
            ("/parameters", Value::Null, "/coverages/0/parameters", "missing"),
            ("/referencing", Value::Null, "/coverages/0/domain/axes/z", "cannot be told"),
            ("/parameters/v", Value::Null, "/parameters", "no whole wind"),
        ] {
            let mut document = members(3);
            put(&mut document, pointer, value.clone());
            let e = decode(&document, None).unwrap_err();
            assert_eq!(e.pointer, at, "{pointer} {value}: {e:?}");
            assert!(e.unreadable.problem.contains(problem), "{pointer} {value}: {e:?}");
        }
    }

    /// The standard's NdArray of the shape [4, 2] is in row-major order: its fifth value is element [2][0].
    #[test]
    fn arrays_are_row_major() {
        let values: Vec<Value> = (0..8).map(|i| if i == 4 { Value::Null } else { json!(f64::from(i)) }).collect();
        let array = |axes: [&str; 2], shape: [usize; 2]| json!({"type": "NdArray", "axisNames": axes, "shape": shape, "values": values});
        for (axes, shape, lengths, missing) in [
            (["z", "t"], [4, 2], [4, 2], (2, 0)),
            (["t", "z"], [4, 2], [2, 4], (0, 2)),
            (["t", "z"], [2, 4], [4, 2], (0, 1)),
        ] {
            let document = array(axes, shape);
            let range = Node::root(&document, "CoverageJSON");
            let (values, strides) = super::array(&range, lengths).unwrap();
            let parameter = Parameter { kind: Kind::Speed, unit: "m/s", range: range.clone(), values, strides };
            for z in 0..lengths[0] {
                for t in 0..lengths[1] {
                    let value = parameter.at(z, t).unwrap();
                    assert_eq!(value.is_none(), (z, t) == missing, "{axes:?} {z} {t}");
                }
            }
        }
        // start 0, stop 5, num 6 is 0 to 5.
        let axes = json!({"z": {"start": 0, "stop": 5, "num": 6}});
        let read = numbers(&Node::root(&axes, "CoverageJSON"), "z").unwrap();
        assert_eq!(read, Some(vec![0.0, 1.0, 2.0, 3.0, 4.0, 5.0]));
    }

    #[test]
    fn faults_name_the_member() {
        for (pointer, value, at, problem, remedy) in [
            ("/type", json!("CoverageCollection"), "/coverages", "missing", "the coverages"),
            ("/type", json!("Domain"), "/type", "\"Domain\" is no coverage", "Coverage"),
            ("/type", Value::Null, "/type", "missing", "\"Coverage\""),
            ("/domain", json!("http://example.org/domain"), "/domain", "no object", "the domain"),
            ("/domain/axes", Value::Null, "/domain/axes", "missing", "the axes"),
            (
                "/domain/axes/composite",
                json!({"values": []}),
                "/domain/axes/composite",
                "no simple axis",
                "PointSeries",
            ),
            ("/domain/axes/x", json!({"values": [1, 2]}), "/domain/axes/x", "more than one", "one place"),
            ("/domain/axes/x", json!({"values": []}), "/domain/axes/x", "no value", "one"),
            (
                "/domain/axes/z",
                json!({"values": [1000, 700, 850]}),
                "/domain/axes/z",
                "neither rise nor fall",
                "in order",
            ),
            ("/domain/axes/z", json!({"values": [1000, "850", 700]}), "/domain/axes/z/values/1", "no number", "number"),
            ("/domain/axes/z", json!({"start": 1, "stop": 2}), "/domain/axes/z", "no axis", "num"),
            ("/domain/axes/z", json!({"start": 1, "stop": 2, "num": 1e9}), "/domain/axes/z", "no axis", "num"),
            ("/domain/axes/z", json!({"start": 1, "stop": 900, "num": 201}), "/domain/axes/z", "201 heights", "200"),
            ("/domain/axes/t/values/0", json!("2026-11-10"), "/domain/axes/t/values/0", "no instant", "offset"),
            ("/domain/referencing", Value::Null, "/domain/axes/z", "cannot be told", "VerticalCRS"),
            (
                "/domain/referencing/1/system/cs",
                Value::Null,
                "/domain/referencing/1/system",
                "does not say",
                "height_above_ground",
            ),
            (
                "/domain/referencing/1/system/cs/csAxes/0/unit/symbol",
                json!("furlong"),
                "/domain/referencing/1/system/cs/csAxes/0",
                "\"furlong\" is no unit",
                "Pa",
            ),
            (
                "/domain/referencing/1/system/cs/csAxes/0/unit/symbol",
                json!("m"),
                "/domain/referencing/1/system/cs/csAxes/0",
                "above ground or above sea",
                "altitude",
            ),
            ("/parameters/v", Value::Null, "/parameters", "no whole wind", "northward_wind"),
            ("/parameters/u/unit", Value::Null, "/parameters/u/unit", "missing", "unit"),
            ("/parameters/u/unit", json!(6), "/parameters/u/unit", "no object", "the symbol of the unit as \"symbol\""),
            ("/parameters/geopotential_height", Value::Null, "/parameters", "no geopotential_height", "at heights"),
            ("/parameters/u/unit/symbol", json!("hPa"), "/parameters/u", "no unit of speed", "m/s"),
            ("/parameters/u/unit/symbol", json!(5), "/parameters/u/unit/symbol", "no symbol", "text"),
            ("/parameters/v/observedProperty/id", json!("eastward_wind"), "/parameters/v", "the same as", "leave one"),
            ("/ranges/u", json!("http://example.org/u.covjson"), "/ranges/u", "a link", "nothing is fetched"),
            ("/ranges/u", Value::Null, "/ranges/u", "missing", "values"),
            ("/ranges/u/type", json!("TiledNdArray"), "/ranges/u/type", "not read", "NdArray"),
            ("/ranges/u/shape/0", json!(2), "/ranges/u", "not those of the domain", "3 heights"),
            ("/ranges/u/axisNames/0", json!("t"), "/ranges/u", "not those of the domain", "3 heights"),
            ("/ranges/u/shape", json!([-3]), "/ranges/u/shape", "whole numbers", "length"),
            ("/ranges/u/values", json!([1, 2]), "/ranges/u/values", "there are 2 values", "give 3"),
            ("/ranges/u/values/1", json!("fast"), "/ranges/u/values/1", "no number", "null"),
            ("/ranges/u/values/1", json!(500), "/ranges/u/values/1", "500 m/s is out of range", "-120 to 120"),
            (
                "/ranges/geopotential_height/values/1",
                json!(-2000),
                "/ranges/geopotential_height/values/1",
                "out of range",
                "m",
            ),
            ("/ranges/geopotential_height/values/1", json!(112), "/domain/axes/z", "112 m is there twice", "once"),
        ] {
            let mut document = profile();
            put(&mut document, pointer, value.clone());
            let e = decode(&document, None).unwrap_err();
            let told = (&e.unreadable.problem, &e.unreadable.remedy);
            assert_eq!(e.pointer, at, "{pointer} {value}: {e:?}");
            assert!(told.0.contains(problem) && told.1.contains(remedy), "{pointer} {value}: {e:?}");
        }
        for odd in [Value::Null, json!([]), json!(5), json!("Coverage"), json!({"type": []})] {
            assert!(decode(&odd, None).is_err());
        }
    }
}
