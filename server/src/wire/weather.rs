//! Weather to decode and what it is answered with. The comments here are the published description of every field.

use jiff::civil::{Date, DateTime};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use slowpoint_sim::report::{Caution, FIRST_CAUTION};
use utoipa::{IntoParams, ToSchema};

use super::convert::Weather;
use super::request::{Length, Site, Speed, Terrain, Turbulence, Wind, WindLayer};
use super::units::{Reading, TEMPERATURE};
use super::{CautionAnswer, Figure, without_nulls};
use crate::weather::clock::{When, written};
use crate::weather::{Bound, Direction, Level, Message, age};

/// Weather as people have it: a surface report, winds aloft, or one under the other.
///
/// Messages are read as they were issued. What cannot be read is refused with the group, its place and what was expected.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WeatherRequest {
    /// Date in UTC near which the messages were issued: they carry a day of the month, but neither month nor year. Needed
    /// with `metar`, `winds_aloft` and `sounding`, unless `launch_at` is given.
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
    /// A sounding, instead of `winds_aloft`: a radiosonde's TTAA (surface and standard pressures) with TTBB (what lies
    /// between them), a balloon's PPBB (winds by height), or all of one station and hour in one text.
    #[schema(max_length = 20_000)]
    pub sounding: Option<String>,
    /// Winds aloft by height, instead of `winds_aloft` or `sounding`.
    pub layers: Option<LayersRequest>,
    /// CoverageJSON (OGC 21-069r2), instead of `winds_aloft`, `sounding` or `layers`: a coverage over one place, a
    /// VerticalProfile with z above ground, above sea level, or in pressures beside geopotential_height, or a PointSeries.
    /// Parameters are told by the names of the CF conventions: wind_speed and wind_from_direction, or eastward_wind and
    /// northward_wind; air_temperature. Of several times that nearest to `launch_at` is taken. A CoverageCollection of
    /// several is an ensemble.
    #[schema(value_type = Option<Object>)]
    pub coverage: Option<Value>,
    /// What `POST /v1/weather` or `POST /v1/weather/grib` answered, as it stands, instead of `winds_aloft`, `sounding`,
    /// `layers` or `coverage`: a model's file under a surface report. Its times, levels and members are read.
    #[schema(value_type = Option<Object>)]
    pub decoded: Option<Value>,
    /// An ensemble, instead of `winds_aloft`, `sounding`, `layers`, `coverage` or `decoded`: at most 200 forecasts, each with
    /// members of these names. `metar` stands under all of them.
    pub members: Option<Vec<WeatherMember>>,
    /// Height of the field above sea level. With it every height is also told above ground, and what lies below the field
    /// is dropped. Within an assessment that is `site.elevation`.
    pub field_elevation: Option<Length>,
    /// Instant of launch (RFC 3339): age and lead of the messages are told by it. Within an assessment it stands beside
    /// `weather`.
    #[schema(max_length = 40, example = "2026-11-25T17:30:00Z")]
    pub launch_at: Option<String>,
    /// As in `wind`: what surrounds the field.
    pub terrain: Option<Terrain>,
    /// As in `wind`: roughness length of the logarithmic law.
    pub roughness_length: Option<Length>,
    /// As in `wind`: exponent of the power law.
    #[schema(example = 0.15)]
    pub power_exponent: Option<f64>,
    /// As in `wind`: what the size of the gusts is taken from.
    pub turbulence: Option<Turbulence>,
    /// As in `wind`: size of the gusts by a wind at 20 ft.
    pub turbulence_wind_at_20_ft: Option<Speed>,
}

/// A member of an ensemble: one forecast that may come. What its members mean is said in `WeatherRequest`.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WeatherMember {
    /// A METAR or SPECI of its own.
    #[schema(max_length = 4000)]
    pub metar: Option<String>,
    /// A bulletin of winds and temperatures aloft.
    #[schema(max_length = 100_000)]
    pub winds_aloft: Option<String>,
    /// The station whose row of `winds_aloft` is meant.
    #[schema(max_length = 8)]
    pub station: Option<String>,
    /// A sounding.
    #[schema(max_length = 20_000)]
    pub sounding: Option<String>,
    /// Winds by height.
    pub layers: Option<LayersRequest>,
    /// CoverageJSON.
    #[schema(value_type = Option<Object>)]
    pub coverage: Option<Value>,
    /// An answer of the service.
    #[schema(value_type = Option<Object>)]
    pub decoded: Option<Value>,
}

/// Where and when the winds of a GRIB file are wanted.
#[derive(Debug, Clone, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct GribQuery {
    /// Latitude of the field, degrees, north positive
    #[param(minimum = -90, maximum = 90, example = 35.04)]
    pub latitude: f64,
    /// Longitude of the field, degrees, east positive
    #[param(minimum = -180, maximum = 360, example = -106.62)]
    pub longitude: f64,
    /// Height of the field above sea level, with its unit or in metres
    #[param(max_length = 40, example = "5355 ft")]
    pub field_elevation: String,
    /// Instant of launch (RFC 3339): of several times that nearest to it is taken, and the age of the forecast is told by it
    #[param(format = DateTime, example = "2026-11-25T17:30:00Z")]
    pub launch_at: Option<String>,
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
    /// The instant of launch (UTC).
    pub launch_at: Option<String>,
    /// Hours that lie between launch and the weather, which widen the error of the wind: the longest to an observation, to
    /// the analysis of a forecast or to the time that it is for.
    pub age_h: Figure,
    /// The messages, from the ground up; of an ensemble each once.
    pub messages: Vec<MessageAnswer>,
    /// The field above sea level, m.
    pub field_elevation_m: Figure,
    /// Pressure reduced to sea level by the standard atmosphere (the Q or A group), Pa.
    pub altimeter_setting_pa: Figure,
    /// What is known at each height, from the ground up; of an ensemble nothing, see `members`.
    pub levels: Vec<LevelAnswer>,
    /// The members of an ensemble, in their order in `wind.members`; left out where there is one forecast.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(required = false)]
    pub members: Vec<MemberAnswer>,
    /// The same as the `wind` of an assessment takes it, in the units of the messages; of an ensemble with its `members`.
    /// Left out where no wind is known.
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

/// The weather that an assessment was flown in, as its messages were decoded. What to mind about it stands among the
/// cautions of the assessment.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct WeatherTaken {
    /// Where it comes from, in one line.
    pub source: String,
    /// The instant of launch (UTC).
    pub launch_at: Option<String>,
    /// Hours that lie between launch and the weather, which widen the error of the wind.
    pub age_h: Figure,
    /// The messages, from the ground up; of an ensemble each once.
    pub messages: Vec<MessageAnswer>,
    /// The wind that was flown in, in the units of the messages: put as `wind`, it means the same.
    #[schema(value_type = Wind)]
    pub wind: Value,
    /// What the messages tell of the air at the field; the request's own `site` comes first.
    #[schema(value_type = Site)]
    pub site: Value,
    /// What was taken for granted, in sentences.
    pub assumed: Vec<String>,
    /// What was left out, in sentences.
    pub skipped: Vec<String>,
}

/// A member of an ensemble.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct MemberAnswer {
    /// Its messages, from the ground up.
    pub messages: Vec<MessageAnswer>,
    /// What is known at each height, from the ground up.
    pub levels: Vec<LevelAnswer>,
}

/// A message.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct MessageAnswer {
    /// What kind it is: "metar", "speci", "winds_aloft", "temp", "pilot", "coverage", "grib"
    /// or "layers".
    pub format: &'static str,
    /// The station, as the message names it.
    pub station: Option<String>,
    /// Height above sea level of the ground of a sounding, by its pressures, where the wind or the air at the field are taken
    /// from there, m.
    pub ground_above_sea_m: Figure,
    /// Which member of an ensemble it is, as the file has it.
    pub member: Option<String>,
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
    /// Hours from its observation or analysis to launch: its age or lead. Negative where launch comes first.
    pub before_launch_h: Figure,
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
    let Weather { profile, members, field_elevation, date, launch, age_h, wind, site } = weather;
    let told = |messages: &[Message]| messages.iter().map(|m| message(m, date, launch)).collect();
    let shown = |x: Option<Reading>| Figure::maybe(x.map(|x| x.si));
    WeatherAnswer {
        caution: FIRST_CAUTION,
        launch_at: launch.map(written),
        age_h: Figure::maybe(age_h),
        messages: told(&profile.messages),
        field_elevation_m: shown(field_elevation),
        altimeter_setting_pa: shown(profile.altimeter_setting),
        levels: profile.levels.iter().map(level).collect(),
        members: members
            .iter()
            .map(|m| MemberAnswer { messages: told(&m.messages), levels: m.levels.iter().map(level).collect() })
            .collect(),
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

/// What an assessment was flown in, of decoded weather.
pub fn taken(weather: &Weather) -> WeatherTaken {
    let Weather { profile, date, launch, age_h, wind, site, .. } = weather;
    WeatherTaken {
        source: weather.source(),
        launch_at: launch.map(written),
        age_h: Figure::maybe(*age_h),
        messages: profile.messages.iter().map(|m| message(m, *date, *launch)).collect(),
        wind: fragment(wind),
        site: fragment(site),
        assumed: profile.assumed.clone(),
        skipped: profile.skipped.clone(),
    }
}

fn message(m: &Message, date: Option<Date>, launch: Option<DateTime>) -> MessageAnswer {
    let time = |t: When| {
        let [day, hour, minute] = t.day_hour_minute();
        TimeAnswer { day, hour, minute, utc: t.near(date).map(written) }
    };
    let used = m.for_use.and_then(|hours| hours.around(m.valid?.near(date)?));
    let [use_from, use_until] = used.map_or([None, None], |both| both.map(|t| Some(written(t))));
    MessageAnswer {
        format: m.format.name(),
        station: m.station.clone(),
        ground_above_sea_m: Figure::maybe(m.ground_above_sea.map(|h| h.si)),
        member: m.member.clone(),
        observed: m.observed.map(time),
        based_on: m.based_on.map(time),
        valid: m.valid.map(time),
        use_from,
        use_until,
        before_launch_h: Figure::maybe(launch.and_then(|launch| age::before_launch_h(m, date, launch))),
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
