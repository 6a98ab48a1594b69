//! GRIB2 files (WMO-No. 306, FM 92): winds of a model at the grid point nearest to a field.
//!
//! Read are u and v, or speed and direction, at isobaric levels with their geopotential heights, at heights above ground
//! and above sea level; the temperature at 2 m and the gust at the surface; of an ensemble each member by itself. The crate
//! `grib` decodes; what it is asked to decode is bounded here first, and a panic in it is a refusal of the file.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::panic::{AssertUnwindSafe, catch_unwind};

use ::grib::{SeekableGrib2Reader, SubMessage};
use jiff::ToSpan;
use jiff::civil::{Date, DateTime};
use slowpoint_sim::limits;

use super::clock::{When, written};
use super::grid::{Place, Point, nearest};
use super::{Bound, Direction, Format, Level, MOST_MEMBERS, Message, Profile, TEMPERATURES_C, Wind};
use crate::wire::units::{ANGLE, LENGTH, PRESSURE, Reading, SPEED, TEMPERATURE, Unreadable};

/// Most messages of a file.
const MOST_MESSAGES: usize = 2000;
/// Most points that are unpacked for one answer.
const MOST_UNPACKED: usize = 64_000_000;
/// Most grids of a file: finding the nearest point of each takes time.
const MOST_GRIDS: usize = 16;
/// The lowest wind above ground is an instrument's up to this height, m.
const INSTRUMENT_M: f64 = 20.0;
/// Levels closer than this are one, m.
const SAME_HEIGHT_M: f64 = 5.0;
/// Standard gravity, m/s^2 (exact), by which a geopotential becomes a height.
const G: f64 = 9.806_65;

const FILE: &str = "send the file as the model's service gives it, whole, in GRIB edition 2";
const WANTED: &str = "send u and v (discipline 0, category 2, numbers 2 and 3) at heights above ground, or at isobaric levels with the \
                      geopotential height (category 3, number 5), cut out for the hours of launch";
const GRID: &str = "send the surroundings of the place on a regular grid, as the model's service gives it: in latitude and longitude, \
                    Gaussian, or on Mercator's, a polar stereographic or Lambert's plane";

/// What a field of the file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Kind {
    East,
    North,
    Speed,
    From,
    Gust,
    Temperature,
    Height,
    Geopotential,
}

impl Kind {
    /// Whether it tells of the mean wind.
    fn is_wind(self) -> bool {
        matches!(self, Self::East | Self::North | Self::Speed | Self::From)
    }
}

/// The level of a field: its type in code table 4.5, and its value in thousandths.
type Surface = (u8, i64);

const GROUND: u8 = 1;
const ISOBARIC: u8 = 100;
const ABOVE_SEA: u8 = 102;
const ABOVE_GROUND: u8 = 103;
/// The type of the second surface where there is none.
const ONE_SURFACE: u8 = 255;

/// A member of an ensemble: what kind of forecast it is (code table 4.6), and the number of its perturbation.
type Member = (u8, u8);

/// Its name for people.
fn name_of((kind, number): Member) -> String {
    match kind {
        0 => "control, high resolution".into(),
        1 => "control".into(),
        2 => format!("negative perturbation {number}"),
        3 => format!("positive perturbation {number}"),
        _ => format!("member {number}"),
    }
}

/// A field that is of use, and where it is.
#[derive(Debug, Clone, Copy)]
struct Field<'a> {
    message: Octets<'a>,
    index: usize,
    /// None where it stands alone.
    member: Option<Member>,
    kind: Kind,
    surface: Surface,
    analysed: DateTime,
    valid: DateTime,
}

/// A message of the file.
#[derive(Debug, Clone, Copy)]
struct Octets<'a> {
    octets: &'a [u8],
    /// From 1.
    number: usize,
    /// Its first octet in the file, from 0.
    at: usize,
}

impl Octets<'_> {
    fn fault(&self, problem: impl core::fmt::Display, remedy: &str) -> Unreadable {
        let Self { number, at, .. } = self;
        Unreadable { problem: format!("message {number} (from octet {at}) {problem}"), remedy: remedy.into() }
    }
}

/// What is known at the place of one member, or of a forecast that stands alone.
#[derive(Debug, Default)]
struct Known {
    values: HashMap<(Kind, Surface), f64>,
    /// Where the components of each level were read.
    components: HashMap<Surface, Point>,
}

/// Reads the winds over a place, of an ensemble those of each member; of several times that nearest to launch is taken.
pub fn decode(file: &[u8], place: Place, launch: Option<DateTime>) -> Result<Vec<Profile>, Unreadable> {
    let mut fields = Vec::new();
    let mut passed_over = BTreeSet::new();
    for message in messages(file)? {
        let (found, other) = guarded(&message, WANTED, || wanted(message))?;
        fields.extend(found);
        passed_over.extend(other);
    }
    let valid = time(&fields, launch)?;
    let several = fields.iter().map(|f| f.valid).collect::<HashSet<_>>().len();
    fields.retain(|f| f.valid == valid);
    let members = members(&mut fields)?;
    let mut profile = Profile::of(Message::new(Format::Grib));
    if several > 1 {
        profile
            .assumed
            .push(format!("Of the {several} times of the file that nearest to launch was taken, {}.", written(valid)));
    }
    if !passed_over.is_empty() {
        let templates: Vec<String> = passed_over.into_iter().map(|template| format!("4.{template}")).collect();
        profile.skipped.push(format!(
            "Winds of the product templates {}: means of members, or averages and extremes over a span of time, are no wind of \
             one hour.",
            templates.join(", ")
        ));
    }
    let mut known: BTreeMap<Option<Member>, Known> = BTreeMap::new();
    let mut grids: HashMap<Vec<u8>, Point> = HashMap::new();
    let mut unpacked = 0;
    for field in &fields {
        let own = known.entry(field.member).or_default();
        let key = (field.kind, field.surface);
        if own.values.contains_key(&key) {
            return Err(field
                .message
                .fault("gives what another message gave for the same level and time", "send one run of a model"));
        }
        let (point, value) = guarded(&field.message, GRID, || value(field, place, &mut grids, &mut unpacked))?;
        own.values.insert(key, value);
        if matches!(field.kind, Kind::East | Kind::North) {
            let same = own
                .components
                .insert(field.surface, point)
                .is_none_or(|p| p.index == point.index && p.along_grid == point.along_grid);
            if !same {
                return Err(field.message.fault("has another grid than the other component of its wind", FILE));
            }
        }
    }
    let analysed = fields.iter().map(|f| f.analysed).min();
    let point = grids.values().min_by(|a, b| a.at.distance_km(place).total_cmp(&b.at.distance_km(place)));
    let message = &mut profile.messages[0];
    (message.based_on, message.valid) = (analysed.map(When::Whole), Some(When::Whole(valid)));
    if let Some(point) = point {
        let short = |x: f64| (x * 1e3).round() / 1e3;
        message.station = Some(format!("{}, {}", short(point.at.latitude_deg), short(point.at.longitude_deg)));
        profile.assumed.push(format!(
            "The winds are those of the nearest grid point, {:.1} km away; nothing is interpolated.",
            point.at.distance_km(place)
        ));
        if known.values().flat_map(|own| own.components.values()).any(|p| p.along_grid) {
            profile.assumed.push(format!(
                "Its components are along the grid, whose x axis has a bearing of {:.1} deg there; they were turned to north.",
                point.x_bearing_deg
            ));
        }
    }
    let read = |member: &Option<Member>| {
        let mut profile = profile.clone();
        profile.messages[0].member = member.map(name_of);
        levels(known.get(member).unwrap_or(&Known::default()), &mut profile).map_err(|e| match member {
            Some(member) => Unreadable { problem: format!("{} ({})", e.problem, name_of(*member)), ..e },
            None => e,
        })?;
        Ok(profile)
    };
    members.iter().map(read).collect()
}

/// The members that have a wind, in order; what belongs to no other is left.
fn members(fields: &mut Vec<Field<'_>>) -> Result<BTreeSet<Option<Member>>, Unreadable> {
    let winds = fields.iter().filter(|f| f.kind.is_wind());
    let members: BTreeSet<Option<Member>> = winds.map(|f| f.member).collect();
    if members.len() > 1 && members.contains(&None) {
        return Err(Unreadable {
            problem: "the file has winds of the members of an ensemble, and winds beside them that are no member's"
                .into(),
            remedy: "send the members alone, or the other forecast alone".into(),
        });
    }
    if members.len() > MOST_MEMBERS {
        return Err(Unreadable {
            problem: format!("the file has {} members", members.len()),
            remedy: format!("send at most {MOST_MEMBERS}"),
        });
    }
    fields.retain(|f| members.contains(&f.member));
    Ok(members)
}

/// The messages of a file, each whole.
fn messages(file: &[u8]) -> Result<Vec<Octets<'_>>, Unreadable> {
    let mut found: Vec<Octets<'_>> = Vec::new();
    let mut from = 0;
    // Headings of a transmission may stand between messages.
    while let Some(start) = file[from..].windows(4).position(|w| w == b"GRIB").map(|p| from + p) {
        let message = Octets { octets: &file[start..], number: found.len() + 1, at: start };
        if found.len() == MOST_MESSAGES {
            return Err(message.fault(
                format!("is past the {MOST_MESSAGES} that are read"),
                "cut out the levels and hours that are needed",
            ));
        }
        let edition = message.octets.get(7).copied();
        if edition.is_some_and(|e| e != 2) {
            return Err(message.fault(format!("is of edition {}", edition.unwrap_or_default()), FILE));
        }
        let length = message.octets.get(8..16).and_then(|l| l.try_into().ok()).map(u64::from_be_bytes);
        let whole = length.and_then(|l| usize::try_from(l).ok()).and_then(|l| message.octets.get(..l));
        let Some(octets) = whole.filter(|m| m.len() > 20 && m.ends_with(b"7777")) else {
            return Err(message.fault("is cut off: it does not end where it says, with 7777", FILE));
        };
        found.push(Octets { octets, ..message });
        from = start + octets.len();
    }
    match found[..] {
        [] => Err(Unreadable { problem: "there is no message, which begins with GRIB".into(), remedy: FILE.into() }),
        _ => Ok(found),
    }
}

/// What a damaged file makes the library do is told as a fault of the message.
fn guarded<T>(message: &Octets<'_>, remedy: &str, work: impl FnOnce() -> Result<T, String>) -> Result<T, Unreadable> {
    match catch_unwind(AssertUnwindSafe(work)) {
        Ok(Ok(value)) => Ok(value),
        Ok(Err(problem)) => Err(message.fault(problem, remedy)),
        Err(_) => Err(message.fault("is damaged", FILE)),
    }
}

type Sub<'a, 's> = SubMessage<'s, SeekableGrib2Reader<std::io::Cursor<&'a [u8]>>>;

/// The fields of a message that are of use, and the product templates of winds that are not.
fn wanted(message: Octets<'_>) -> Result<(Vec<Field<'_>>, BTreeSet<u16>), String> {
    let parsed = ::grib::from_bytes(message.octets).map_err(|e| format!("cannot be read: {e}"))?;
    let (mut found, mut passed_over) = (Vec::new(), BTreeSet::new());
    for (index, (_, sub)) in parsed.iter().enumerate() {
        let product = sub.prod_def();
        if sub.indicator().discipline != 0 {
            continue;
        }
        let kind = match (product.parameter_category(), product.parameter_number()) {
            (Some(2), Some(2)) => Kind::East,
            (Some(2), Some(3)) => Kind::North,
            (Some(2), Some(1)) => Kind::Speed,
            (Some(2), Some(0)) => Kind::From,
            (Some(2), Some(22)) => Kind::Gust,
            (Some(0), Some(0)) => Kind::Temperature,
            (Some(3), Some(5)) => Kind::Height,
            (Some(3), Some(4)) => Kind::Geopotential,
            _ => continue,
        };
        // At a point in time, by itself or as one of an ensemble.
        let member = match product.prod_tmpl_num() {
            0 => None,
            1 => {
                // Octets 35 and 36 of the section.
                let mut perturbed = product.iter().skip(35 - 6).copied();
                Some(perturbed.next().zip(perturbed.next()).ok_or("ends before it says which member it is")?)
            }
            template => {
                if kind.is_wind() {
                    passed_over.insert(template);
                }
                continue;
            }
        };
        let Some((first, second)) = product.fixed_surfaces() else { continue };
        // The mean of a layer is no wind at a height.
        if second.surface_type != ONE_SURFACE {
            continue;
        }
        let value = first.value();
        let surface = match first.surface_type {
            GROUND if kind == Kind::Gust => (GROUND, 0),
            level @ (ISOBARIC | ABOVE_SEA | ABOVE_GROUND) if value.is_finite() && value.abs() < 1e9 => {
                (level, (value * 1e3).round() as i64)
            }
            _ => continue,
        };
        let (analysed, valid) = times(&sub)?;
        found.push(Field { message, index, member, kind, surface, analysed, valid });
    }
    Ok((found, passed_over))
}

/// When a field was analysed, and when it is for.
fn times(sub: &Sub<'_, '_>) -> Result<(DateTime, DateTime), String> {
    let bad = || "has a time that cannot be".to_string();
    let t = sub.identification().ref_time_unchecked();
    let small = |x: u8| i8::try_from(x).ok();
    let analysed = (|| {
        let date = Date::new(i16::try_from(t.year).ok()?, small(t.month)?, small(t.day)?).ok()?;
        Some(date.to_datetime(jiff::civil::Time::new(small(t.hour)?, small(t.minute)?, 0, 0).ok()?))
    })();
    let analysed = analysed.ok_or_else(bad)?;
    let ahead = sub.prod_def().forecast_time().ok_or_else(bad)?;
    // Code table 4.4: minute, hour, day, 3, 6 and 12 hours, second.
    let unit_s: i64 = match ahead.unit {
        ::grib::Code::Name(unit) => match u8::from(unit) {
            0 => 60,
            1 => 3600,
            2 => 86_400,
            10 => 3 * 3600,
            11 => 6 * 3600,
            12 => 12 * 3600,
            13 => 1,
            _ => return Err("counts its forecast in a unit that is not read".into()),
        },
        ::grib::Code::Num(_) => return Err("counts its forecast in a unit that is not read".into()),
    };
    let seconds = unit_s.checked_mul(i64::from(ahead.value)).filter(|s| *s < 366 * 86_400).ok_or_else(bad)?;
    let valid = analysed.checked_add(seconds.seconds()).map_err(|_| bad())?;
    Ok((analysed, valid))
}

/// The time to take.
fn time(fields: &[Field<'_>], launch: Option<DateTime>) -> Result<DateTime, Unreadable> {
    let winds = fields.iter().filter(|f| matches!(f.kind, Kind::East | Kind::Speed));
    let times: HashSet<DateTime> = winds.map(|f| f.valid).collect();
    let apart = |t: &DateTime| launch.map(|l| (t.duration_until(l).abs(), *t));
    match (times.iter().copied().min_by_key(apart), times.len(), launch) {
        (None, ..) => Err(Unreadable { problem: "the file has no wind that is read".into(), remedy: WANTED.into() }),
        (Some(_), 2.., None) => Err(Unreadable {
            problem: format!("the file has winds of {} times", times.len()),
            remedy: "give launch_at, to whose instant the nearest of them is taken, or cut out one time".into(),
        }),
        (Some(time), ..) => Ok(time),
    }
}

/// The value of a field at the point nearest to the place.
fn value(
    field: &Field<'_>,
    place: Place,
    grids: &mut HashMap<Vec<u8>, Point>,
    unpacked: &mut usize,
) -> Result<(Point, f64), String> {
    let octets = field.message.octets;
    let parsed = ::grib::from_bytes(octets).map_err(|e| format!("cannot be read: {e}"))?;
    let (_, sub) = parsed.iter().nth(field.index).ok_or("cannot be read again")?;
    let grid: Vec<u8> = sub.grid_def().iter().copied().collect();
    let point = match grids.get(&grid) {
        Some(point) => *point,
        None => {
            if grids.len() == MOST_GRIDS {
                return Err(format!("has another grid than the {MOST_GRIDS} that are read of one file"));
            }
            let point = nearest(sub.grid_def(), place)?;
            grids.insert(grid, point);
            point
        }
    };
    bounded(&sub, octets, point.points)?;
    *unpacked += point.points;
    if *unpacked > MOST_UNPACKED {
        return Err(format!("would be unpacked past the {MOST_UNPACKED} points that are for one file"));
    }
    let decoder = ::grib::Grib2SubmessageDecoder::from(sub).map_err(|e| format!("cannot be unpacked: {e}"))?;
    let mut unpacking = decoder.dispatch().map_err(|e| format!("cannot be unpacked: {e}"))?;
    let value = f64::from(unpacking.nth(point.index).ok_or("has fewer values than its grid has points")?);
    if !value.is_finite() {
        return Err("has no value at the grid point nearest to the place".into());
    }
    Ok((point, value))
}

/// Refuses what would make the library take far more memory than the grid has points.
fn bounded(sub: &Sub<'_, '_>, octets: &[u8], points: usize) -> Result<(), String> {
    let large = || "says that it holds more values than its grid has points".to_string();
    let packing = sub.repr_def();
    if packing.num_points() as usize > points {
        return Err(large());
    }
    // Octet n of a section stands at n - 6 of what follows its head.
    let packed: Vec<u8> = packing.iter().copied().collect();
    let number =
        |octet: usize| packed.get(octet - 6..octet - 2).and_then(|o| o.try_into().ok()).map(u32::from_be_bytes);
    match packing.repr_tmpl_num() {
        // Groups of complex packing: octets 32 to 35 of templates 5.2 and 5.3.
        2 | 3 if number(32).is_none_or(|groups| groups as usize > points) => Err(large()),
        // Size of a JPEG 2000 image: the marker SIZ, which follows the first one (ISO/IEC 15444-1 A.5.1).
        40 => {
            let section = sub.7.body;
            let image = octets.get(section.offset + 5..section.offset + section.size).unwrap_or_default();
            let side = |at: usize| image.get(at..at + 4).and_then(|o| o.try_into().ok()).map(u32::from_be_bytes);
            let area = (|| {
                let [width, height] = [side(8)?.checked_sub(side(16)?)?, side(12)?.checked_sub(side(20)?)?];
                (width as usize).checked_mul(height as usize)
            })();
            // An image of one value everywhere is left out.
            let none = packing.num_points() == 0 || image.is_empty();
            if none || area.is_some_and(|a| a <= points) { Ok(()) } else { Err(large()) }
        }
        _ => Ok(()),
    }
}

/// Puts the values of each level together.
fn levels(Known { values, components }: &Known, profile: &mut Profile) -> Result<(), Unreadable> {
    let of = |kind: Kind, surface: Surface| values.get(&(kind, surface)).copied();
    let mut surfaces: Vec<Surface> =
        values.keys().filter(|(kind, _)| kind.is_wind()).map(|(_, surface)| *surface).collect();
    surfaces.sort_unstable();
    surfaces.dedup();
    let mut half = 0;
    let mut without_height = 0;
    let lowest_above_ground = surfaces.iter().filter(|s| s.0 == ABOVE_GROUND).min().copied();
    for surface in surfaces {
        let wind = match [of(Kind::East, surface), of(Kind::North, surface)] {
            [Some(x), Some(y)] => {
                let turned = components.get(&surface).filter(|p| p.along_grid);
                let [east, north] = turned.map_or([x, y], |p| p.to_north(x, y));
                Wind::of_components(east, north)
            }
            _ => match [of(Kind::Speed, surface), of(Kind::From, surface)] {
                [Some(speed), Some(from)] if speed >= 0.0 && (0.0..=360.0).contains(&from) => {
                    let direction = if speed > 0.0 {
                        ANGLE.with(from, "deg").map_or(Direction::None, Direction::From)
                    } else {
                        Direction::None
                    };
                    let speed = SPEED.with(speed, "m/s");
                    speed.map(|speed| Wind { direction, speed, bound: Bound::Is, gust: None, varies: None })
                }
                _ => None,
            },
        };
        let Some(wind) = wind else {
            half += 1;
            continue;
        };
        if wind.speed.si > limits::WIND_SPEED.max {
            return Err(Unreadable {
                problem: format!("a wind of the file is {}", SPEED.show(&wind.speed)),
                remedy: format!(
                    "at most {} m/s are taken; the file is damaged, or its winds have another unit",
                    limits::WIND_SPEED.max
                ),
            });
        }
        let metres = surface.1 as f64 / 1e3;
        let mut level = Level {
            surface: lowest_above_ground == Some(surface) && metres <= INSTRUMENT_M,
            above_sea: None,
            above_ground: None,
            pressure: None,
            wind: Some(wind),
            temperature: of(Kind::Temperature, surface).and_then(celsius),
            dew_point: None,
        };
        match surface.0 {
            ISOBARIC => {
                level.pressure = PRESSURE.with(metres, "Pa");
                let geopotential = of(Kind::Geopotential, surface).map(|g| g / G);
                let height = of(Kind::Height, surface).or(geopotential);
                level.above_sea = height.and_then(|h| LENGTH.with((h * 10.0).round() / 10.0, "m"));
            }
            ABOVE_SEA => level.above_sea = LENGTH.with(metres, "m"),
            _ => level.above_ground = LENGTH.with(metres, "m"),
        }
        if level.above_sea.is_none() && level.above_ground.is_none() {
            without_height += 1;
            continue;
        }
        if level.surface {
            let at_2_m = of(Kind::Temperature, (ABOVE_GROUND, 2000)).and_then(celsius);
            level.temperature = at_2_m.or(level.temperature);
            let gust = of(Kind::Gust, (GROUND, 0)).or(of(Kind::Gust, surface));
            let gust = gust.and_then(|g| SPEED.with((g * 100.0).round() / 100.0, "m/s"));
            let faster = |g: &Reading| g.si > wind.speed.si && g.si <= limits::WIND_SPEED.max;
            level.wind = Some(Wind { gust: gust.filter(faster), ..wind });
        }
        profile.levels.push(level);
    }
    if half > 0 {
        profile.skipped.push(format!("{half} levels of the file: one component of the wind is missing."));
    }
    if without_height > 0 {
        profile
            .skipped
            .push(format!("{without_height} isobaric levels of the file: their geopotential height is missing."));
    }
    if profile.levels.is_empty() {
        return Err(Unreadable {
            problem: "no level of the file has a wind and a height".into(),
            remedy: WANTED.into(),
        });
    }
    if profile.levels.iter().any(|l| l.pressure.is_some()) {
        profile.assumed.push("Geopotential heights are taken as metres above sea level.".into());
    }
    Ok(())
}

/// A temperature of the file, K, where it can be one.
fn celsius(kelvin: f64) -> Option<Reading> {
    let celsius = ((kelvin - 273.15) * 10.0).round() / 10.0;
    TEMPERATURE.with(celsius, "C").filter(|_| TEMPERATURES_C.contains(&celsius))
}

/// Puts levels in order from the ground up, once each has its height above ground; of two at one height the lower in the
/// list is dropped and said.
pub fn in_order(profile: &mut Profile) {
    let metres = |l: &Level| if l.surface { 0.0 } else { l.above_ground.map_or(f64::INFINITY, |h| h.si) };
    profile.levels.sort_by(|a, b| metres(a).total_cmp(&metres(b)));
    let mut last = f64::NEG_INFINITY;
    let mut twice = Vec::new();
    profile.levels.retain(|l| {
        let own = l.above_ground.map_or(f64::INFINITY, |h| h.si);
        if own - last < SAME_HEIGHT_M {
            twice.push(format!("{own} m above ground"));
            return false;
        }
        last = own;
        true
    });
    if !twice.is_empty() {
        profile.skipped.push(format!("{}: another level lies within {SAME_HEIGHT_M} m.", twice.join(", ")));
    }
}
