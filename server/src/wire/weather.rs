//! Weather to decode and what it is answered with. The comments here are the published description of every field.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use slowpoint_sim::limits;
use slowpoint_sim::report::{Caution, FIRST_CAUTION};
use utoipa::ToSchema;

use super::convert::Weather;
use super::request::{
    Length, Pressure, Quantity, Site, Speed, SurfaceWindRequest, Temperature, Wind, WindDirection, WindLayer,
};
use super::units::{ANGLE, LENGTH, PRESSURE, Reading, SPEED, TEMPERATURE, Table};
use super::{CautionAnswer, Figure, without_nulls};
use crate::weather::clock::{DayTime, written};
use crate::weather::{self as profile, Bound, Direction, Level, Message, merge};

/// Weather as people have it: a surface report, winds aloft, or one under the other.
///
/// Messages are read as they were issued. What cannot be read is refused with the group, its place and what was expected.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WeatherRequest {
    /// Date in UTC near which the messages were issued: they carry a day of the month, but neither month nor year. Needed
    /// with `metar`, `winds_aloft` and `sounding`.
    #[schema(max_length = 10, pattern = "^[0-9]{4}-[0-9]{2}-[0-9]{2}$", example = "2026-11-25")]
    pub date: Option<String>,
    /// A METAR or SPECI, from the station's letters to the pressure or further. Remarks are left out.
    #[schema(max_length = 4000, example = "KABQ 100156Z 32010KT 280V340 10SM TS FEW033 BKN075CB OVC100 19/14 A2999")]
    pub metar: Option<String>,
    /// A bulletin of winds and temperatures aloft as the United States issue them (FB, formerly FD), line by line and with
    /// its spaces: heights are told apart by column.
    #[schema(max_length = 100_000)]
    pub winds_aloft: Option<String>,
    /// The station whose row of `winds_aloft` is meant. Not needed where there is one row, or one of the station in `metar`.
    #[schema(max_length = 8, example = "ABQ")]
    pub station: Option<String>,
    /// A radiosonde sounding (TEMP) from TTAA on, instead of `winds_aloft`: surface and standard levels are read.
    #[schema(max_length = 20_000)]
    pub sounding: Option<String>,
    /// Winds aloft by height, instead of `winds_aloft` or `sounding`.
    pub layers: Option<LayersRequest>,
    /// Height of the field above sea level. With it every height is also told above ground, and what lies below the field
    /// is dropped.
    pub field_elevation: Option<Length>,
}

/// Winds by height: a list as an assessment takes it; or the same as text, a heading that names the columns and their
/// units and a row a height, parted by commas, semicolons, tabs or spaces.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(untagged)]
pub enum LayersRequest {
    /// A list of at most 200.
    List(Vec<WindLayer>),
    /// A table as text: "height_above_ground ft, direction deg, speed kt" and so on.
    Table(String),
}

/// Weather decoded. Numbers are in SI, angles in degrees, temperatures in degrees Celsius.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct WeatherAnswer {
    /// The first caution. Show it before anything else.
    pub caution: &'static str,
    /// The messages, from the ground up.
    pub messages: Vec<MessageAnswer>,
    /// The field above sea level, m.
    pub field_elevation_m: Figure,
    /// Pressure reduced to sea level by the standard atmosphere (the Q or A group), Pa.
    pub altimeter_setting_pa: Figure,
    /// What is known at each height, from the ground up.
    pub levels: Vec<LevelAnswer>,
    /// The same as the `wind` of an assessment takes it, in the units of the messages. Left out where no wind is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Wind, required = false)]
    pub wind: Option<Value>,
    /// What is known of the air at the field, as the `site` of an assessment takes it.
    #[schema(value_type = Site)]
    pub site: Value,
    /// What was taken for granted, in sentences.
    pub assumed: Vec<String>,
    /// What was left out, in sentences.
    pub skipped: Vec<String>,
    /// What to mind.
    pub cautions: Vec<CautionAnswer>,
}

/// A message.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct MessageAnswer {
    /// What kind it is: "metar", "speci", "winds_aloft", "temp" or "layers".
    pub format: &'static str,
    /// The station, as the message names it.
    pub station: Option<String>,
    /// When it was observed.
    pub observed: Option<TimeAnswer>,
    /// The analysis that a forecast rests on.
    pub based_on: Option<TimeAnswer>,
    /// The time that a forecast is for.
    pub valid: Option<TimeAnswer>,
    /// The forecast is for use from this time on (UTC).
    pub use_from: Option<String>,
    /// The forecast is for use until this time (UTC).
    pub use_until: Option<String>,
}

/// A time: as the message has it, and with the month and year that are nearest to the date.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct TimeAnswer {
    /// Day of the month.
    pub day: i8,
    /// Hour, UTC.
    pub hour: i8,
    /// Minute.
    pub minute: i8,
    /// The whole time.
    #[schema(example = "2026-11-10T01:56Z")]
    pub utc: Option<String>,
}

/// What is known at one height.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct LevelAnswer {
    /// Whether it is the surface report's.
    pub surface: bool,
    /// Above sea level, m.
    pub height_above_sea_m: Figure,
    /// Above the field, m.
    pub height_above_ground_m: Figure,
    /// Pressure there, Pa.
    pub pressure_pa: Figure,
    /// Mean speed, m/s.
    pub wind_speed_m_s: Figure,
    /// Whether the speed "is" that, is "at_least" that, or is "below" that; null where there is no wind.
    pub wind_speed_bound: Option<&'static str>,
    /// Where the wind comes from, degrees clockwise from true north; null where it is variable, calm or not reported.
    pub wind_from_deg: Figure,
    /// Whether its direction is reported as variable.
    pub wind_variable: bool,
    /// Directions between which it varies, clockwise: from this one, degrees.
    pub wind_varies_from_deg: Figure,
    /// To this one, degrees.
    pub wind_varies_to_deg: Figure,
    /// Peak speed of gusts, m/s.
    pub gust_m_s: Figure,
    /// Air temperature, degrees Celsius.
    pub temperature_c: Figure,
    /// Dew point, degrees Celsius.
    pub dew_point_c: Figure,
}

/// The answer to weather that could be read.
pub fn answer(weather: Weather) -> WeatherAnswer {
    let Weather { mut profile, field_elevation, date } = weather;
    let wind = wind(&mut profile, date);
    let site = site(&profile, field_elevation);
    let shown = |x: Option<Reading>| Figure::maybe(x.map(|x| x.si));
    WeatherAnswer {
        caution: FIRST_CAUTION,
        messages: profile.messages.iter().map(|m| message(m, date)).collect(),
        field_elevation_m: shown(field_elevation),
        altimeter_setting_pa: shown(profile.altimeter_setting),
        levels: profile.levels.iter().map(level).collect(),
        wind: wind.map(fragment),
        site: fragment(site),
        assumed: profile.assumed,
        skipped: profile.skipped,
        cautions: profile
            .cautions
            .into_iter()
            .map(|Caution { topic, message, rule }| CautionAnswer { topic, message, rule })
            .collect(),
    }
}

fn message(m: &Message, date: Option<Date>) -> MessageAnswer {
    let time = |t: DayTime| TimeAnswer {
        day: t.day,
        hour: t.clock.hour,
        minute: t.clock.minute,
        utc: date.and_then(|date| t.nearest(date)).map(written),
    };
    let used = m.for_use.and_then(|hours| hours.around(m.valid?.nearest(date?)?));
    let [use_from, use_until] = used.map_or([None, None], |both| both.map(|t| Some(written(t))));
    MessageAnswer {
        format: m.format.name(),
        station: m.station.clone(),
        observed: m.observed.map(time),
        based_on: m.based_on.map(time),
        valid: m.valid.map(time),
        use_from,
        use_until,
    }
}

fn level(l: &Level) -> LevelAnswer {
    let si = |x: Option<Reading>| Figure::maybe(x.map(|x| x.si));
    let degrees = |x: Option<Reading>| Figure::maybe(x.map(|x| x.si.to_degrees()));
    let celsius = |x: Option<Reading>| Figure::maybe(x.and_then(|x| TEMPERATURE.number_in(&x, "C")));
    let wind = l.wind;
    LevelAnswer {
        surface: l.surface,
        height_above_sea_m: si(l.above_sea),
        height_above_ground_m: si(l.above_ground),
        pressure_pa: si(l.pressure),
        wind_speed_m_s: si(wind.map(|w| w.speed)),
        wind_speed_bound: wind.map(|w| match w.bound {
            Bound::Is => "is",
            Bound::AtLeast => "at_least",
            Bound::Below => "below",
        }),
        wind_from_deg: degrees(wind.and_then(|w| match w.direction {
            Direction::From(reading) => Some(reading),
            Direction::Variable | Direction::None => None,
        })),
        wind_variable: wind.is_some_and(|w| w.direction == Direction::Variable),
        wind_varies_from_deg: degrees(wind.and_then(|w| Some(w.varies?[0]))),
        wind_varies_to_deg: degrees(wind.and_then(|w| Some(w.varies?[1]))),
        gust_m_s: si(wind.and_then(|w| w.gust)),
        temperature_c: celsius(l.temperature),
        dew_point_c: celsius(l.dew_point),
    }
}

/// A part of a request, without what it does not say.
fn fragment<T: Serialize>(part: T) -> Value {
    without_nulls(serde_json::to_value(part).unwrap_or_default())
}

fn text(table: &Table, reading: &Reading) -> Quantity {
    Quantity::Text(table.show(reading))
}

/// The wind as an assessment takes it; none where nothing is known or it is faster than what is taken.
fn wind(profile: &mut profile::Profile, date: Option<Date>) -> Option<Wind> {
    let known = || profile.levels.iter().filter_map(|l| Some((l, l.wind?)));
    let limit = limits::SURFACE_WIND_SPEED;
    let fastest = |w: &profile::Wind| w.gust.map_or(w.speed.si, |g| g.si.max(w.speed.si));
    if known().any(|(l, w)| l.surface && fastest(&w) > limit.max) {
        profile.cautions.push(Caution {
            topic: "wind",
            message: format!(
                "The surface wind or its gust is faster than the {} m/s that an assessment takes, so there is no `wind`.",
                limit.max
            ),
            rule: "accepted range of a surface wind",
        });
        return None;
    }
    let surface = known().find(|(l, _)| l.surface).map(|(l, w)| SurfaceWindRequest {
        speed: Some(Speed(text(&SPEED, &w.speed))),
        direction: match w.direction {
            Direction::From(from) => Some(WindDirection(text(&ANGLE, &from))),
            Direction::Variable => Some(WindDirection(Quantity::Text("variable".into()))),
            // Not reported: every direction alike. Calm has none.
            Direction::None if w.speed.si > 0.0 => Some(WindDirection(Quantity::Text("variable".into()))),
            Direction::None => None,
        },
        measuring_height: l.above_ground.map(|h| Length(text(&LENGTH, &h))),
        gust: w.gust.map(|g| Speed(text(&SPEED, &g))),
    });
    let layers: Vec<WindLayer> = known().filter(|(l, _)| !l.surface).map(|(l, w)| layer(l, &w)).collect();
    (surface.is_some() || !layers.is_empty()).then(|| Wind {
        source: Some(merge::source(profile, date)),
        surface,
        layers: (!layers.is_empty()).then_some(layers),
        ..Wind::default()
    })
}

fn layer(l: &Level, w: &profile::Wind) -> WindLayer {
    let calm = || (Quantity::Text("0 kt".into()), Quantity::Text("0 deg".into()));
    let (speed, direction) = match w.direction {
        Direction::From(from) => (text(&SPEED, &w.speed), text(&ANGLE, &from)),
        // Light and variable, or calm: no direction prevails, so the mean of its vector is nothing.
        Direction::Variable | Direction::None => calm(),
    };
    WindLayer {
        height_above_ground: l.above_ground.map(|h| Length(text(&LENGTH, &h))),
        height_above_sea: if l.above_ground.is_some() { None } else { l.above_sea.map(|h| Length(text(&LENGTH, &h))) },
        speed: Some(Speed(speed)),
        direction: Some(WindDirection(direction)),
    }
}

/// The air at the field as an assessment takes it.
fn site(profile: &profile::Profile, field_elevation: Option<Reading>) -> Site {
    let temperature = profile.levels.iter().find(|l| l.surface).and_then(|l| l.temperature);
    let range = limits::TEMPERATURE;
    let temperature = temperature.filter(|t| (range.min..=range.max).contains(&t.si));
    Site {
        elevation: field_elevation.map(|e| Length(text(&LENGTH, &e))),
        temperature: temperature.map(|t| Temperature(text(&TEMPERATURE, &t))),
        // Without the elevation it says nothing of the pressure at the field.
        altimeter_setting: field_elevation.and(profile.altimeter_setting).map(|p| Pressure(text(&PRESSURE, &p))),
        ..Site::default()
    }
}
