//! Flights that were flown, each in its conditions.

use std::sync::Arc;

use serde_json::{Map, Value, json};
use slowpoint_sim::case::{CalibrationInput, FlownInput, Inputs, LOGS, Logged, LoggedInput};
use slowpoint_sim::flight::Deployment;
use slowpoint_sim::limits;
use slowpoint_sim::settings::Settings;

use super::Reader;
use crate::wire::calibration::*;
use crate::wire::fault::escaped;
use crate::wire::plan::{self, Layer, Layers};
use crate::wire::request::{AssessmentRequest, Measured};
use crate::wire::units::quoted;

/// What may be otherwise than in the request.
const OTHERWISE: [&str; 8] = ["card", "launch", "site", "wind", "weather", "launch_at", "delays", "electronics"];
const CSV: &str = "/calibration/csv";

/// A flight as it was told, with its place and what stands in front of a fault of it.
struct Told {
    at: String,
    line: String,
    logged: [Option<LoggedInput>; LOGS.len()],
    flown_with: Option<String>,
    conditions: Option<Map<String, Value>>,
}

impl Told {
    /// Where a member of it is; a line of a table is one place.
    fn place(&self, member: &str) -> String {
        if self.line.is_empty() { format!("{}/{member}", self.at) } else { self.at.clone() }
    }
}

impl Reader<'_> {
    /// Flights flown in the conditions of a request, which are its inputs, or otherwise.
    pub(super) fn calibration(
        &mut self,
        r: &AssessmentRequest,
        sent: &Value,
        inputs: &Inputs,
    ) -> Option<CalibrationInput> {
        let asked = r.calibration.as_ref()?;
        let mut told: Vec<Told> = Vec::new();
        for (i, flown) in asked.flown.iter().flatten().enumerate() {
            told.push(self.flown(flown, format!("/calibration/flown/{i}")));
        }
        if let Some(csv) = &asked.csv {
            told.extend(self.table(csv));
        }
        if told.is_empty() && !self.faults.covers("/calibration") {
            self.faults.add(
                "/calibration/flown",
                "there is no flight",
                "give flights in flown, or a table of them in csv",
            );
        }
        let most = limits::FLOWN_COUNT.max;
        if told.len() as f64 > most {
            self.faults.add(
                if asked.csv.is_some() { CSV } else { "/calibration/flown" },
                format!("there are {} flights", told.len()),
                format!("give at most {most}: the latest"),
            );
        }
        // Flights are drawn once for all that differ by what they were flown with alone.
        let (mut conditions, mut flown): (Vec<(Inputs, Vec<Deployment>)>, Vec<FlownInput>) = (Vec::new(), Vec::new());
        // What follows from the request is read only once it is good.
        let own = as_flown(inputs.clone());
        for told in told {
            if !self.faults.none() {
                break;
            }
            let Some(mut otherwise) = self.conditions(&told, sent, &own) else { continue };
            let Some(way) = self.flown_with(&told, &otherwise.question.ways) else { continue };
            let way = otherwise.question.ways[way];
            otherwise.question.ways.clear();
            let room = |ways: &[Deployment]| ways.contains(&way) || (ways.len() as f64) < limits::DELAY_COUNT.max;
            let same = |(known, ways): &(Inputs, Vec<Deployment>)| *known == otherwise && room(ways);
            let condition = conditions.iter().position(same).unwrap_or(conditions.len());
            if condition == conditions.len() {
                conditions.push((otherwise, Vec::new()));
            }
            let ways = &mut conditions[condition].1;
            let way = ways.iter().position(|known| *known == way).unwrap_or_else(|| {
                ways.push(way);
                ways.len() - 1
            });
            flown.push(FlownInput { condition, way, logged: told.logged });
        }
        if flown.is_empty() {
            // Told already, by what is wrong with them or with the request.
            self.faults.explain("/calibration/flown");
        }
        let with = |(mut inputs, ways): (Inputs, Vec<Deployment>)| {
            inputs.question.ways = ways;
            inputs
        };
        Some(CalibrationInput {
            conditions: conditions.into_iter().map(with).collect(),
            flown,
            flights: asked.flights,
            bias_share: self.read("/calibration/bias_share", &asked.bias_share, Some(&limits::BIAS_SHARE)),
        })
    }

    fn flown(&mut self, flown: &FlownRequest, at: String) -> Told {
        let logged = LOGS.map(|log| match log {
            Logged::Apogee => self.logged(&at, log, &flown.apogee, &flown.apogee_error),
            Logged::ApogeeTime => self.logged(&at, log, &flown.apogee_time, &flown.apogee_time_error),
            Logged::OpeningTime => self.logged(&at, log, &flown.opening_time, &flown.opening_time_error),
            Logged::OpeningSpeed => self.logged(&at, log, &flown.opening_speed, &flown.opening_speed_error),
        });
        let (flown_with, conditions) = (flown.flown_with.clone(), flown.conditions.clone());
        let told = Told { at, line: String::new(), logged, flown_with, conditions };
        self.nothing_logged(&told);
        told
    }

    fn nothing_logged(&mut self, told: &Told) {
        if told.logged.iter().all(Option::is_none) {
            self.faults.add(
                &told.at,
                format!("{}nothing of it was logged", told.line),
                "give apogee, apogee_time, opening_time or opening_speed",
            );
        }
    }

    fn logged<Q: Measured>(
        &mut self,
        at: &str,
        log: Logged,
        value: &Option<Q>,
        error: &Option<Q>,
    ) -> Option<LoggedInput> {
        let (name, of_value, of_error) = log.field();
        let error_at = format!("{at}/{name}_error");
        if value.is_none() && error.is_some() {
            self.faults.add(
                &error_at,
                format!("there is no {name} that it is the error of"),
                "give it as well, or leave this out",
            );
        }
        let error = self.read(&error_at, error, Some(&of_error));
        let value = self.read(&format!("{at}/{name}"), value, Some(&of_value))?;
        Some(LoggedInput { value, error })
    }

    /// What a flight was flown with among the ways of its conditions. A delay that fires before the top makes even the highest
    /// point its own, so that none is taken for granted.
    fn flown_with(&mut self, told: &Told, ways: &[Deployment]) -> Option<usize> {
        let at = told.place("flown_with");
        match &told.flown_with {
            Some(label) => self.way_of(&at, &told.line, label, ways),
            None if ways.len() == 1 => Some(0),
            None => {
                let known: Vec<String> = ways.iter().map(|way| quoted(&slowpoint_sim::way_label(way))).collect();
                self.faults.add(
                    &at,
                    format!("{}it is not told which of {} it was flown with", told.line, known.join(", ")),
                    if told.line.is_empty() {
                        "name one"
                    } else {
                        "give it in a column delay_s, or by its label in flown_with"
                    },
                );
                None
            }
        }
    }

    /// The conditions of a flight: those of the request, or what they are with something otherwise.
    fn conditions(&mut self, told: &Told, sent: &Value, own: &Inputs) -> Option<Inputs> {
        let Some(otherwise) = &told.conditions else { return Some(own.clone()) };
        let at = told.place("conditions");
        if let Some(name) = otherwise.keys().find(|name| !OTHERWISE.contains(&name.as_str())) {
            self.faults.add(
                format!("{at}/{}", escaped(name)),
                "it is nothing that a flight flown may have otherwise",
                format!("give one of {}", OTHERWISE.join(", ")),
            );
            return None;
        }
        let mut base = sent.clone();
        if let Value::Object(members) = &mut base {
            ["calibration", "cords", "rare", "drivers", "advise", "until"]
                .iter()
                .for_each(|name| drop(members.remove(*name)));
        }
        let mut patch = otherwise.clone();
        plan::in_place_of(&mut patch);
        // Delays that are told take the place of altimeters, and the other way round.
        for (given, away) in [("delays", "electronics"), ("electronics", "delays")] {
            if patch.contains_key(given) {
                patch.entry(away).or_insert(Value::Null);
            }
        }
        let layer = |at: &str, value| Layer { at: at.into(), mount: "", value: Arc::new(value), own: &[] };
        match Layers(vec![layer("", base), layer(&at, Value::Object(patch))]).read() {
            Ok(asked) => Some(as_flown(asked.case.inputs)),
            Err(faults) => {
                for fault in faults {
                    // A line of a table is one place.
                    let inside = fault.pointer.strip_prefix(&at);
                    let (pointer, before) = match inside {
                        Some(_) if told.line.is_empty() => (fault.pointer, String::new()),
                        Some(inside) => (at.clone(), format!("{}{inside}: ", told.line)),
                        None => (at.clone(), format!("{}with the rest of the request, {}: ", told.line, fault.pointer)),
                    };
                    self.faults.add(pointer, format!("{before}{}", fault.problem), fault.remedy);
                }
                None
            }
        }
    }

    /// Flights of a table.
    fn table(&mut self, text: &str) -> Vec<Told> {
        let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(text.as_bytes());
        let names: Vec<String> = match reader.headers() {
            Ok(names) => names.iter().map(String::from).collect(),
            Err(error) => {
                self.faults.add(
                    CSV,
                    format!("it reads as no table: {error}"),
                    "give a line of names, then a line per flight",
                );
                return Vec::new();
            }
        };
        let known: Vec<String> = COLUMNS.iter().map(|column| column.name.to_string()).collect();
        if let Some(name) = names.iter().find(|name| !known.contains(name)) {
            self.faults.add(
                CSV,
                format!("{} is no column that is known", quoted(name)),
                format!("name columns {}", known.join(", ")),
            );
            return Vec::new();
        }
        if let Some((k, name)) = names.iter().enumerate().find(|(k, name)| names[..*k].contains(name)) {
            self.faults.add(CSV, format!("column {} is {} once more", k + 1, quoted(name)), "give each column once");
            return Vec::new();
        }
        let mut all = Vec::new();
        for record in reader.records() {
            let row = match record {
                Ok(record) => self.row(&names, &record),
                Err(error) => {
                    self.faults.add(
                        CSV,
                        format!("it reads as no table: {error}"),
                        "give numbers with commas between them",
                    );
                    None
                }
            };
            let Some(row) = row else { return Vec::new() };
            all.push(row);
        }
        all
    }

    fn row(&mut self, names: &[String], record: &csv::StringRecord) -> Option<Told> {
        let line = format!("line {}: ", record.position().map_or(0, csv::Position::line));
        if record.len() != names.len() {
            self.faults.add(
                CSV,
                format!("{line}it has {} fields, and there are {} names", record.len(), names.len()),
                "give a field for each name; one that is empty was not logged",
            );
            return None;
        }
        let mut logged: [Option<LoggedInput>; LOGS.len()] = [None; LOGS.len()];
        let mut errors = [None; LOGS.len()];
        let mut otherwise = Map::new();
        let (mut speed, mut from, mut flown_with) = (None, None, None);
        for (name, field) in names.iter().zip(record).filter(|(_, field)| !field.is_empty()) {
            let column = COLUMNS.iter().find(|column| column.name == name)?;
            if let Is::FlownWith = column.is {
                flown_with = Some(field.to_string());
                continue;
            }
            let number = field.parse::<f64>().ok().filter(|x| x.is_finite());
            let Some(number) = number else {
                self.faults.add(
                    CSV,
                    format!("{line}{name} is {}, which is no number", quoted(field)),
                    "give a number without its unit",
                );
                return None;
            };
            let mut found = slowpoint_sim::fault::Faults::default();
            let range = match column.is {
                Is::Value(log) => Some(log.field().1),
                Is::Error(log) => Some(log.field().2),
                _ => None,
            };
            if let Some(range) = range {
                range.check("", number, &mut found);
            }
            if let Some(fault) = found.found.pop() {
                self.faults.add(CSV, format!("{line}{}", fault.problem), fault.remedy);
                return None;
            }
            match column.is {
                Is::Value(log) => logged[log as usize] = Some(LoggedInput { value: number, error: None }),
                Is::Error(log) => errors[log as usize] = Some(number),
                Is::Delay => drop(otherwise.insert("delays".into(), json!([format!("{number} s")]))),
                Is::Tilt => drop(otherwise.insert("launch".into(), json!({"tilt": format!("{number} deg")}))),
                Is::WindSpeed => speed = Some(number),
                Is::WindFrom => from = Some(number),
                Is::FlownWith => {}
            }
        }
        if flown_with.is_some() && otherwise.contains_key("delays") {
            self.faults.add(CSV, format!("{line}it has delay_s and flown_with"), "give one of the two");
            return None;
        }
        match (speed, from) {
            (Some(speed), from) if from.is_some() || speed == 0.0 => {
                // All that was known of the air then: nothing of another day's wind is left beside it.
                let surface = json!({
                    "speed": format!("{speed} m/s"),
                    "direction": format!("{} deg", from.unwrap_or(0.0)),
                    "gust": null,
                    "measuring_height": "10 m",
                });
                let wind = json!({"surface": surface, "source": null, "layers": null, "members": null, "age": null});
                otherwise.insert("wind".into(), wind);
            }
            (None, None) => {}
            _ => {
                self.faults.add(
                    CSV,
                    format!("{line}there is one of wind_m_s and wind_from_deg"),
                    "give both, or none where it was the wind of the request",
                );
                return None;
            }
        }
        for (logged, error) in logged.iter_mut().zip(errors) {
            match logged {
                Some(logged) => logged.error = error,
                None if error.is_some() => {
                    self.faults.add(
                        CSV,
                        format!("{line}there is an error without the figure that it is of"),
                        "give the figure as well, or leave its error empty",
                    );
                    return None;
                }
                None => {}
            }
        }
        let told =
            Told { at: CSV.into(), line, logged, flown_with, conditions: (!otherwise.is_empty()).then_some(otherwise) };
        self.nothing_logged(&told);
        Some(told)
    }
}

/// A column of a table.
struct Column {
    name: &'static str,
    is: Is,
}

/// What a column holds.
#[derive(Clone, Copy)]
enum Is {
    Value(Logged),
    Error(Logged),
    Delay,
    Tilt,
    WindSpeed,
    WindFrom,
    FlownWith,
}

const COLUMNS: [Column; 13] = [
    Column { name: "apogee_m", is: Is::Value(Logged::Apogee) },
    Column { name: "apogee_error_m", is: Is::Error(Logged::Apogee) },
    Column { name: "apogee_time_s", is: Is::Value(Logged::ApogeeTime) },
    Column { name: "apogee_time_error_s", is: Is::Error(Logged::ApogeeTime) },
    Column { name: "opening_time_s", is: Is::Value(Logged::OpeningTime) },
    Column { name: "opening_time_error_s", is: Is::Error(Logged::OpeningTime) },
    Column { name: "opening_speed_m_s", is: Is::Value(Logged::OpeningSpeed) },
    Column { name: "opening_speed_error_m_s", is: Is::Error(Logged::OpeningSpeed) },
    Column { name: "delay_s", is: Is::Delay },
    Column { name: "flown_with", is: Is::FlownWith },
    Column { name: "tilt_deg", is: Is::Tilt },
    Column { name: "wind_m_s", is: Is::WindSpeed },
    Column { name: "wind_from_deg", is: Is::WindFrom },
];

/// Inputs without what only an answer needs: conditions that are the same are flown once. A flight that was logged had no
/// failure.
fn as_flown(mut inputs: Inputs) -> Inputs {
    inputs.failures.clear();
    inputs.site.areas.clear();
    (inputs.calibration, inputs.cords, inputs.site.ceiling_m) = (None, None, None);
    let question = &mut inputs.question;
    question.rare.clear();
    (question.drivers, question.until_half_width, question.settings) = (None, None, Settings::default());
    inputs
}
