//! Flights that were flown, as they are told.

use serde::Deserialize;
use serde_json::{Map, Value};
use utoipa::ToSchema;

use super::request::{Length, Share, Speed, Time};

/// Flights of this rocket that were flown and logged: bias and scatter of drag, impulse and wind are learned from them, and
/// the flights of the answer are drawn from what was learned, unless too few drawn flights agree with the logs. Give `flown`,
/// `csv` or both.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CalibrationRequest {
    /// The flights.
    #[schema(max_items = 40)]
    pub flown: Option<Vec<FlownRequest>>,
    /// Flights as a table: a line of names, then a line per flight, with commas between. Names are apogee_m, apogee_time_s,
    /// opening_time_s, opening_speed_m_s, each of them with _error in front of its unit as well (apogee_error_m), delay_s or
    /// flown_with, the label of a delay or altimeter, wind_m_s and wind_from_deg, a wind at 10 m in place of all that the
    /// request knows of the air, and tilt_deg; a field that is empty was not logged. Where the request has more delays and
    /// altimeters than one, each line says what it was flown with.
    #[schema(
        max_length = 20_000,
        example = "apogee_m,apogee_time_s,delay_s,wind_m_s,wind_from_deg\n312,7.4,7,3,240\n298,7.1,5,5,250\n"
    )]
    pub csv: Option<String>,
    /// Flights drawn at last in the conditions of each, after half as many that find where the logs lie; 8192 when left out.
    /// Of more flights more agree with a log.
    #[schema(minimum = 1024, maximum = 131_072, example = 8192)]
    pub flights: Option<u64>,
    /// Share of the variance of drag, impulse and wind that is the same in every flight, before anything is learned; half of
    /// it when left out.
    #[schema(example = "50 %")]
    pub bias_share: Option<Share>,
}

/// A flight that was flown. Give at least one of the four figures that may be logged.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FlownRequest {
    /// Highest point above the pad, as an instrument on board logs it.
    #[schema(example = "312 m")]
    pub apogee: Option<Length>,
    /// Its standard error; 2 % of it and 1 m when left out.
    #[schema(example = "6 m")]
    pub apogee_error: Option<Length>,
    /// Time from first thrust to it.
    #[schema(example = "7.4 s")]
    pub apogee_time: Option<Time>,
    /// Its standard error; 0.2 s when left out.
    #[schema(example = "0.2 s")]
    pub apogee_time_error: Option<Time>,
    /// Time from first thrust to the ejection.
    #[schema(example = "8.6 s")]
    pub opening_time: Option<Time>,
    /// Its standard error; 0.2 s when left out.
    #[schema(example = "0.2 s")]
    pub opening_time_error: Option<Time>,
    /// Airspeed at the ejection.
    #[schema(example = "11 m/s")]
    pub opening_speed: Option<Speed>,
    /// Its standard error; 10 % of it and 1 m/s when left out.
    #[schema(example = "1.5 m/s")]
    pub opening_speed_error: Option<Speed>,
    /// Label of the delay or altimeter it was flown with, as the answer has it; may be left out where its conditions have
    /// one alone.
    #[schema(example = "delay 7 s")]
    pub flown_with: Option<String>,
    /// What was otherwise than in this request: card, launch, site, wind, weather, launch_at, delays or electronics, laid over
    /// it (RFC 7396; null takes a member away).
    #[schema(value_type = Object, required = false, example = json!({"wind": {"surface": {"speed": "5 m/s", "direction": "240 deg", "gust": null}}, "delays": ["5 s"]}))]
    pub conditions: Option<Map<String, Value>>,
}
