//! The only way from a request to a case.
//!
//! Nothing is judged here that the engine judges: ranges come from its table of limits and are only said in the
//! caller's own units, everything else is left to [`Case::new`]. What could not be read is NaN, which the engine leaves
//! alone, and nobody faults a place twice (`fault`). The engine names fields by the same path, dots between the names.

mod calibration;
mod cords;
mod field;
mod place;
mod question;
mod share;
mod slips;
mod spread;
mod sweep;
mod vehicle;
mod weather;

use serde::de::DeserializeOwned;
use serde_json::Value;
use slowpoint_sim::assumption::Assumption;
use slowpoint_sim::case::{Case, Inputs};
use slowpoint_sim::limits::Limit;
use slowpoint_sim::report::Caution;

use super::FieldFault;
use super::fault::Faults;
use super::request::{AssessmentRequest, Measured, Quantity, Site, Wind};
use super::schema::{self, Schema};
use super::units::{Reading, Table, Unreadable};
use place::AreaPlace;
pub use place::Placed;
pub use share::share;
use slips::Noticed;
pub use sweep::sweep;
pub use weather::{Weather, grib, weather};

/// Where weather and the instant of launch stand in a request that is flown.
const WEATHER: &str = "/weather";
const LAUNCH_AT: &str = "/launch_at";

/// A request that can be flown.
pub struct Read {
    /// The validated problem.
    pub case: Case,
    /// What to say about its units and its weather.
    pub cautions: Vec<Caution>,
    /// Where it is.
    pub placed: Placed,
    /// Weather that was decoded for it.
    pub weather: Option<Weather>,
}

/// From a body to a case with what to say about it, or every fault of it. `twice` lists the places of names that were
/// repeated.
pub fn case(sent: &Value, twice: &[String]) -> Result<Read, Vec<FieldFault>> {
    let (request, mut reader): (AssessmentRequest, _) = shaped(&schema::ASSESSMENT, sent, twice)?;
    let mut inputs = reader.inputs(&request);
    inputs.calibration = reader.calibration(&request, sent, &inputs);
    let Reader { mut faults, weather, mut assumed, places, noticed, placed, .. } = reader;
    let found = if faults.none() {
        match Case::new(inputs) {
            Ok(mut case) => {
                case.assumed.append(&mut assumed);
                let mut cautions = noticed.into_cautions();
                cautions.extend(weather.iter().flat_map(|w| w.profile.cautions.clone()));
                return Ok(Read { case, cautions, placed, weather });
            }
            Err(found) => found,
        }
    } else {
        // What follows from the numbers is looked at only when each of them is good by itself.
        Case::faults(&inputs)
    };
    for fault in found {
        let (pointer, prefix) = places.pointer(&fault.field);
        faults.add(pointer, format!("{prefix}{}", fault.problem), fault.remedy);
    }
    Err(faults.into_list())
}

/// A body in the shape of its request, as far as it fits, with a reader that knows the faults of the rest.
fn shaped<'a, T: DeserializeOwned>(
    schema: &Schema,
    sent: &'a Value,
    twice: &[String],
) -> Result<(T, Reader<'a>), Vec<FieldFault>> {
    let mut faults = Faults::new(sent);
    faults.add_repeated(twice);
    let mut body = sent.clone();
    schema.prune(&mut body, &mut faults);
    match serde_json::from_value(body) {
        Ok(request) => Ok((request, Reader::new(faults))),
        Err(e) => {
            faults.add("", format!("it does not read as a request: {e}"), "see the service's description");
            Err(faults.into_list())
        }
    }
}

/// Where the engine's fields stand in the request, as far as the path differs.
#[derive(Default)]
struct Places {
    /// Per member of the wind and layer that the engine got: its index in the request and the name of its height.
    layers: Vec<Vec<(usize, &'static str)>>,
    /// Per area that the engine got.
    areas: Vec<AreaPlace>,
    /// The wind has members.
    members: bool,
    /// Per point of a curve that came as text: its line.
    lines: Option<Vec<usize>>,
    /// The motor is known by its code alone.
    by_code: bool,
    /// The delay comes from the motor code.
    delay_by_code: bool,
    /// The roughness comes from a class of terrain.
    by_terrain: bool,
    /// The place of the propellant was given.
    propellant_placed: bool,
    /// What holds the wind, or what it is decoded from; empty where that is the whole request.
    wind_at: &'static str,
}

impl Places {
    /// The pointer of an engine's field, and what to say before the problem.
    fn pointer(&self, field: &str) -> (String, String) {
        let parts: Vec<&str> = field.split('.').collect();
        let index = |text: &str| text.parse::<usize>().ok();
        let decoded = self.wind_at == WEATHER;
        let at = match parts[..] {
            ["wind", "age"] if decoded => LAUNCH_AT.into(),
            ["wind", "roughness_length"] if self.by_terrain => format!("{}/terrain", self.wind_at),
            ["wind", name @ ("roughness_length" | "power_exponent" | "turbulence_wind_at_20_ft")] if decoded => {
                format!("{WEATHER}/{name}")
            }
            ["wind", ..] if decoded => WEATHER.into(),
            ["wind", "members", member, "layers", layer, what] => self.layer(index(member), index(layer), what),
            ["wind", "layers", layer, what] => self.layer(Some(0), index(layer), what),
            ["wind"] if self.members => "/wind/members/0".into(),
            ["wind", "surface" | "layers", ..] if self.members => format!("/wind/members/0/{}", parts[1..].join("/")),
            ["site", "areas", area, ref rest @ ..] => match index(area).and_then(|i| self.areas.get(i)) {
                Some(area) => area.pointer(rest),
                None => "/site/areas".into(),
            },
            ["card", "motor", "thrust_curve", ..] if self.by_code => "/card/motor/code".into(),
            ["card", "motor", "thrust_curve", point, ..] if self.lines.is_some() => {
                let line = index(point).and_then(|i| self.lines.as_ref()?.get(i).copied());
                return ("/card/motor/thrust_curve".into(), line.map(|l| format!("line {l}: ")).unwrap_or_default());
            }
            ["card", "airframe", "centre_of_gravity_burnout"] if self.propellant_placed => {
                "/card/motor/propellant_centre".into()
            }
            ["delays", ..] if self.delay_by_code => "/card/motor/code".into(),
            _ => format!("/{}", parts.join("/")),
        };
        (at, String::new())
    }
}

impl Places {
    /// The pointer of a layer's field.
    fn layer(&self, member: Option<usize>, layer: Option<usize>, what: &str) -> String {
        let at = match member {
            Some(k) if self.members => format!("/wind/members/{k}/layers"),
            _ => "/wind/layers".into(),
        };
        match member.and_then(|k| self.layers.get(k)).zip(layer).and_then(|(layers, i)| layers.get(i)) {
            Some((sent, height)) => {
                let what = if what == "height_above_ground" { height } else { what };
                format!("{at}/{sent}/{what}")
            }
            None => at,
        }
    }
}

/// Whether a character is invisible or changes the direction of the text about it (Unicode Bidirectional Algorithm).
fn unseen(c: char) -> bool {
    matches!(c, '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}' | '\u{feff}')
}

/// A quantity as it was written; `None` where it has been faulted before.
fn parsed(sent: &Quantity, table: &Table) -> Option<Result<Reading, Unreadable>> {
    match sent {
        Quantity::Number(x) => Some(Ok(table.bare(*x))),
        Quantity::Text(text) => Some(table.text(text)),
        Quantity::Faulted => None,
    }
}

struct Reader<'a> {
    faults: Faults<'a>,
    /// Weather that was decoded.
    weather: Option<Weather>,
    assumed: Vec<Assumption>,
    places: Places,
    noticed: Noticed,
    /// Where the launch is.
    placed: Placed,
    /// What turns a bearing by the compass into a true one.
    declination_rad: Option<f64>,
}

impl<'a> Reader<'a> {
    fn new(faults: Faults<'a>) -> Self {
        let (places, noticed) = (Places::default(), Noticed::default());
        let placed = Placed::default();
        Self { faults, weather: None, assumed: Vec::new(), places, noticed, placed, declination_rad: None }
    }
}

impl Reader<'_> {
    fn inputs(&mut self, request: &AssessmentRequest) -> Inputs {
        let card = request.card.clone().unwrap_or_default();
        self.plain(&request.note, "/note");
        self.plain(&card.name, "/card/name");
        let airframe = card.airframe.unwrap_or_default();
        let motor = card.motor.unwrap_or_default();
        let (motor, code_delay_s) = self.motor(&motor);
        let launch = request.launch.clone().unwrap_or_default();
        self.placed(&request.site.clone().unwrap_or_default(), &launch);
        let (wind, site) = self.air(request);
        self.need_elevation(&site, &wind);
        let site = self.site(&site);
        Inputs {
            airframe: self.airframe(&airframe),
            motor,
            recovery: self.recovery(&card.recovery.unwrap_or_default()),
            launch: self.launch(&launch),
            wind: self.wind(
                &wind,
                if self.faults.covers("/site/elevation") { f64::NAN } else { site.elevation_m.unwrap_or(0.0) },
            ),
            spread: self.spread(&request.spread.clone().unwrap_or_default()),
            failures: self.failures(&request.failures.clone().unwrap_or_default()),
            cords: request.cords.as_ref().map(|cords| self.cords(cords)),
            calibration: None,
            question: self.question(request, code_delay_s, &site.areas),
            site,
        }
    }

    /// Wind and field, as they are given or as the weather has them.
    fn air(&mut self, request: &AssessmentRequest) -> (Wind, Site) {
        let site = request.site.clone().unwrap_or_default();
        let (wind, site) = match (&request.wind, &request.weather) {
            (Some(wind), Some(_)) => {
                self.places.wind_at = "/wind";
                self.faults.add(
                    WEATHER,
                    "there is a wind as well",
                    "give one of the two: take out wind, which is written by hand, or weather, whose messages tell it",
                );
                return (wind.clone(), site);
            }
            (None, Some(weather)) => match self.flown_in(weather, &site, request.launch_at.as_deref()) {
                Some(air) => air,
                None => return (Wind::default(), site),
            },
            (wind, None) => {
                self.places.wind_at = "/wind";
                if wind.is_none() {
                    self.faults.add(
                        "/wind",
                        "it is missing",
                        "add \"wind\": surface, layers or both; or \"weather\": messages as they were issued; calm is never assumed, a calm day is a speed of 0",
                    );
                } else if request.launch_at.is_some() {
                    self.faults.add(
                        LAUNCH_AT,
                        "there is no weather whose age it could tell",
                        "leave it out; the age of a wind by hand is wind.age",
                    );
                }
                (wind.clone().unwrap_or_default(), site)
            }
        };
        let growth = request.spread.as_ref().and_then(|s| s.wind.as_ref()?.growth_per_hour.as_ref());
        if wind.age.is_none() && growth.is_some() && !self.faults.covers(LAUNCH_AT) {
            self.faults.add(
                "/spread/wind/growth_per_hour",
                "the wind has no age that it could act on",
                "leave it out, give wind.age, or give weather that has a time with launch_at",
            );
        }
        (wind, site)
    }

    /// A quantity in SI; NaN where it could not be read or lies out of range, both of which are noted.
    fn read<Q: Measured>(&mut self, at: &str, sent: &Option<Q>, limit: Option<&Limit>) -> Option<f64> {
        Some(self.quantity(at, sent.as_ref()?.quantity(), Q::TABLE, limit))
    }

    /// As `read`, for what must be there; the schema has noted where it is not.
    fn need<Q: Measured>(&mut self, at: &str, sent: &Option<Q>, limit: Option<&Limit>) -> f64 {
        self.read(at, sent, limit).unwrap_or(f64::NAN)
    }

    /// As `need`, for what must be there only under a condition.
    fn demand<Q: Measured>(&mut self, at: &str, sent: &Option<Q>, limit: &Limit, why: &str) -> f64 {
        if sent.is_none() {
            self.faults.add(at, "it is missing", why);
        }
        self.need(at, sent, Some(limit))
    }

    /// A quantity in SI; NaN where it could not be taken.
    fn quantity(&mut self, at: &str, sent: &Quantity, table: &Table, limit: Option<&Limit>) -> f64 {
        self.reading(at, sent, table, limit).map_or(f64::NAN, |reading| reading.si)
    }

    /// A quantity as it was written; what could not be taken is noted.
    fn reading(&mut self, at: &str, sent: &Quantity, table: &Table, limit: Option<&Limit>) -> Option<Reading> {
        let reading = match parsed(sent, table)? {
            Ok(reading) => reading,
            Err(e) => {
                self.faults.add(at, e.problem, e.remedy);
                return None;
            }
        };
        if !reading.si.is_finite() {
            self.faults.add(
                at,
                format!("{} is too large a number", table.show(&reading)),
                format!("for instance \"{}\"", table.example),
            );
            return None;
        }
        let Some(limit) = limit.filter(|l| reading.si < l.min || reading.si > l.max) else {
            self.noticed.look(at, table, &reading);
            return Some(reading);
        };
        let accepted = format!("give {}; {}", table.range(limit.min, limit.max, &reading), limit.hint);
        let mut meant = slips::guesses(at, table, &reading, limit);
        if at == "/launch/tilt" && reading.si <= core::f64::consts::FRAC_PI_2 {
            meant.push(format!("{} deg", ((90.0 - reading.si.to_degrees()) * 1e3).round() / 1e3));
        }
        let remedy = if meant.is_empty() {
            accepted
        } else {
            let meant: Vec<String> = meant.iter().map(|m| format!("\"{m}\"")).collect();
            format!("did you mean {}? otherwise {accepted}", meant.join(" or "))
        };
        self.faults.add(at, format!("{} is {}", limit.what, table.show(&reading)), remedy);
        None
    }

    /// Notes a bare number out of its range, in the engine's words.
    fn bare(&mut self, at: &str, sent: f64, limit: &Limit) {
        let mut found = slowpoint_sim::fault::Faults::default();
        limit.check("", sent, &mut found);
        found.found.into_iter().for_each(|fault| self.faults.add(at, fault.problem, fault.remedy));
    }

    /// Notes control characters in a text that is shown to others, and those that are not seen or turn the text round.
    fn plain(&mut self, text: &Option<String>, at: &str) {
        let shown = |c: char| !c.is_control() || (at == "/note" && matches!(c, '\n' | '\r' | '\t'));
        if text.as_ref().is_some_and(|t| !t.chars().all(shown)) {
            self.faults.add(at, "the text holds control characters", "write it in one line of plain text");
        } else if text.as_ref().is_some_and(|t| t.contains(unseen)) {
            self.faults.add(
                at,
                "the text holds characters that are not seen or turn its direction",
                "write it anew by hand instead of pasting it",
            );
        } else if text.as_ref().is_some_and(|t| t.trim().is_empty()) && at != "/note" {
            self.faults.add(at, "the text is blank", "write something");
        }
    }

    fn assume(&mut self, input: &'static str, value: impl Into<String>, source: &'static str) {
        self.assumed.push(Assumption { input, value: value.into(), source });
    }
}
