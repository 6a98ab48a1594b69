//! The only way from a request to a case.
//!
//! Nothing is judged here that the engine judges: ranges come from its table of limits and are only said in the
//! caller's own units, everything else is left to [`Case::new`]. What could not be read is NaN, which the engine leaves
//! alone, and nobody faults a place twice (`fault`). The engine names fields by the same path, dots between the names.

use serde_json::Value;
use slowpoint_sim::advise::DEFAULT_ACCEPT_CHANCE;
use slowpoint_sim::aero::Drag;
use slowpoint_sim::assumption::Assumption;
use slowpoint_sim::case::shape::{FinEdge, FinSet, Nose, NoseForm, RailGuide, Shape, Transition};
use slowpoint_sim::case::{
    AirframeInput, Area, Case, Device, Inputs, LaunchInput, LimitApplies, MotorInput, Outline, PressureInput, Question,
    RecoveryInput, RuleSet, SiteInput, SpreadInput, ThrustInput, WindInput,
};
use slowpoint_sim::draw::{Law, PointSet};
use slowpoint_sim::flight::{Deployment, Electronics};
use slowpoint_sim::limits::{self, Limit};
use slowpoint_sim::wind::{Direction, Layer, SurfaceLaw, SurfaceWind};

use super::fault::Faults;
use super::motor_text;
use super::request::*;
use super::units::{self, Table};
use super::{FieldFault, schema};

/// Fins of this thickness where none is given, m: assumption.
const FIN_THICKNESS_M: f64 = 0.003;
/// Roughness where none is given, m: between smooth paint and bare card, an assumption.
const ROUGHNESS_M: f64 = 2e-5;
const DEFAULT_FLIGHTS: u64 = 2000;
const DEFAULT_SEED: u64 = 1;
/// 35 and 100 mph, m/s.
const DEFAULT_LIMITS_M_S: [f64; 2] = [15.6464, 44.704];
/// Layers of a sounding below this height above ground are dropped, m: the engine's lowest layer.
const LOWEST_LAYER_M: f64 = limits::WIND_HEIGHT.min;

/// From a body to a case, or every fault of it.
pub fn case(sent: &Value) -> Result<Case, Vec<FieldFault>> {
    let mut faults = Faults::new(sent);
    let mut body = sent.clone();
    schema::prune(&mut body, &mut faults);
    let request: AssessmentRequest = match serde_json::from_value(body) {
        Ok(request) => request,
        Err(e) => {
            faults.add("", format!("it does not read as a request: {e}"), "see the service's description");
            return Err(faults.into_list());
        }
    };
    let mut reader = Reader { faults, assumed: Vec::new(), places: Places::default() };
    let mut inputs = reader.inputs(&request);
    let Reader { mut faults, mut assumed, places } = reader;
    let sound = faults.none();
    if !sound {
        // The engine looks at what follows from the numbers only when each of them is good by itself. No number of
        // flights is good, and so it keeps off the NaN that stands for what could not be read.
        inputs.question.flights = 0;
    }
    match Case::new(inputs) {
        Ok(mut case) => {
            case.assumed.append(&mut assumed);
            Ok(case)
        }
        Err(found) => {
            for fault in found.into_iter().filter(|f| sound || f.field != "flights") {
                let (pointer, prefix) = places.pointer(&fault.field);
                faults.add(pointer, format!("{prefix}{}", fault.problem), fault.remedy);
            }
            Err(faults.into_list())
        }
    }
}

/// Where the engine's fields stand in the request, as far as the path differs.
#[derive(Default)]
struct Places {
    /// Per layer that the engine got: its index in the request and the name of its height.
    layers: Vec<(usize, &'static str)>,
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
}

impl Places {
    /// The pointer of an engine's field, and what to say before the problem.
    fn pointer(&self, field: &str) -> (String, String) {
        let parts: Vec<&str> = field.split('.').collect();
        let index = |text: &str| text.parse::<usize>().ok();
        let at = match parts[..] {
            ["wind", "layers", layer, what] => {
                match index(layer).and_then(|i| self.layers.get(i)) {
                    Some((sent, height)) => {
                        let what = if what == "height_above_ground" { height } else { what };
                        format!("/wind/layers/{sent}/{what}")
                    }
                    None => "/wind/layers".into(),
                }
            }
            ["card", "motor", "thrust_curve", ..] if self.by_code => "/card/motor/code".into(),
            ["card", "motor", "thrust_curve", point, ..] if self.lines.is_some() => {
                let line = index(point).and_then(|i| self.lines.as_ref()?.get(i).copied());
                return ("/card/motor/thrust_curve".into(), line.map(|l| format!("line {l}: ")).unwrap_or_default());
            }
            ["card", "airframe", "centre_of_gravity_burnout"] if self.propellant_placed => {
                "/card/motor/propellant_centre".into()
            }
            ["delays", ..] if self.delay_by_code => "/card/motor/code".into(),
            ["wind", "roughness_length"] if self.by_terrain => "/wind/terrain".into(),
            _ => format!("/{}", parts.join("/")),
        };
        (at, String::new())
    }
}

struct Reader<'a> {
    faults: Faults<'a>,
    assumed: Vec<Assumption>,
    places: Places,
}

impl Reader<'_> {
    fn inputs(&mut self, request: &AssessmentRequest) -> Inputs {
        let empty = AssessmentRequest::default();
        let card = request.card.clone().unwrap_or_default();
        self.plain(&request.note, "/note");
        self.plain(&card.name, "/card/name");
        let airframe = card.airframe.unwrap_or_default();
        let motor = card.motor.unwrap_or_default();
        let (motor, code_delay_s) = self.motor(&motor);
        let site = request.site.clone().unwrap_or_default();
        let site = self.site(&site);
        let wind = request.wind.clone().unwrap_or_default();
        Inputs {
            airframe: self.airframe(&airframe),
            motor,
            recovery: self.recovery(&card.recovery.unwrap_or_default()),
            launch: self.launch(&request.launch.clone().unwrap_or_default()),
            wind: self.wind(&wind, site.elevation_m.unwrap_or(0.0)),
            site,
            spread: self.spread(request.spread.as_ref().or(empty.spread.as_ref()).unwrap_or(&SpreadRequest::default())),
            question: self.question(request, code_delay_s),
        }
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

    fn quantity(&mut self, at: &str, sent: &Quantity, table: &Table, limit: Option<&Limit>) -> f64 {
        let reading = match sent {
            Quantity::Number(x) => table.bare(*x),
            Quantity::Text(text) => match table.text(text) {
                Ok(reading) => reading,
                Err(e) => {
                    self.faults.add(at, e.problem, e.remedy);
                    return f64::NAN;
                }
            },
            Quantity::Faulted => return f64::NAN,
        };
        if !reading.si.is_finite() {
            self.faults.add(at, format!("{} is too large a number", table.show(&reading)), format!("for instance \"{}\"", table.example));
            return f64::NAN;
        }
        let Some(limit) = limit.filter(|l| reading.si < l.min || reading.si > l.max) else { return reading.si };
        let mut remedy = format!("give {}; {}", table.range(limit.min, limit.max, &reading), limit.hint);
        if let Some(meant) = table.meant(&reading, limit.min, limit.max) {
            remedy += &format!("; did you mean \"{meant}\"?");
        } else if at == "/launch/tilt" && reading.si <= core::f64::consts::FRAC_PI_2 {
            remedy += &format!("; did you mean \"{} deg\"?", ((90.0 - reading.si.to_degrees()) * 1e3).round() / 1e3);
        }
        self.faults.add(at, format!("{} is {}", limit.what, table.show(&reading)), remedy);
        f64::NAN
    }

    /// Notes control characters in a text that is shown to others.
    fn plain(&mut self, text: &Option<String>, at: &str) {
        let shown = |c: char| !c.is_control() || (at == "/note" && matches!(c, '\n' | '\r' | '\t'));
        if text.as_ref().is_some_and(|t| !t.chars().all(shown)) {
            self.faults.add(at, "the text holds control characters", "write it in one line of plain text");
        } else if text.as_ref().is_some_and(|t| t.trim().is_empty()) && at != "/note" {
            self.faults.add(at, "the text is blank", "write something");
        }
    }

    fn assume(&mut self, input: &'static str, value: impl Into<String>, source: &'static str) {
        self.assumed.push(Assumption { input, value: value.into(), source });
    }

    fn airframe(&mut self, a: &Airframe) -> AirframeInput {
        let at = |name: &str| format!("/card/airframe/{name}");
        let diameter_m = self.need(&at("diameter"), &a.diameter, Some(&limits::DIAMETER));
        let length_m = self.need(&at("length"), &a.length, Some(&limits::LENGTH));
        let table = a.drag_table.as_ref().map(|rows| {
            rows.iter().map(|r| (r.mach.unwrap_or(f64::NAN), r.drag_coefficient.unwrap_or(f64::NAN))).collect()
        });
        let drag = match (a.drag_coefficient, table) {
            (Some(_), Some(_)) => {
                self.faults.add(at("drag_table"), "there is a drag_coefficient as well", "give one of the two");
                None
            }
            (Some(c), None) => Some(Drag::Coefficient(c)),
            (None, Some(rows)) => Some(Drag::Table(rows)),
            (None, None) => None,
        };
        let shape = a.shape.as_ref().map(|s| self.shape(s, diameter_m, length_m));
        for name in ["drag_coefficient", "drag_table", "shape"].map(at) {
            // One that was faulted would have done.
            if self.faults.covers(&name) {
                self.faults.explain(at("drag_coefficient"));
            }
        }
        if a.shape.is_none() && self.faults.covers(&at("shape")) {
            self.faults.explain(at("centre_of_pressure"));
        }
        AirframeInput {
            diameter_m,
            length_m,
            mass_kg: self.need(&at("mass"), &a.mass, Some(&limits::MASS)),
            centre_of_gravity_m: self.need(&at("centre_of_gravity"), &a.centre_of_gravity, Some(&limits::STATION)),
            centre_of_gravity_burnout_m: self.read(
                &at("centre_of_gravity_burnout"),
                &a.centre_of_gravity_burnout,
                Some(&limits::STATION),
            ),
            inertia_kg_m2: self.read(&at("pitch_inertia"), &a.pitch_inertia, Some(&limits::INERTIA)),
            inertia_burnout_kg_m2: self.read(
                &at("pitch_inertia_burnout"),
                &a.pitch_inertia_burnout,
                Some(&limits::INERTIA),
            ),
            centre_of_pressure_m: self.read(&at("centre_of_pressure"), &a.centre_of_pressure, Some(&limits::STATION)),
            normal_force_slope_per_rad: a.normal_force_slope,
            drag,
            tail_first_factor: a.tail_first_factor,
            shape,
        }
    }

    fn shape(&mut self, s: &ShapeRequest, diameter_m: f64, length_m: f64) -> Shape {
        let root = "/card/airframe/shape";
        let n = s.nose.clone().unwrap_or_default();
        let nose = Nose {
            form: match n.form {
                Some(NoseCurve::Cone) => NoseForm::Cone,
                Some(NoseCurve::Parabolic) => NoseForm::Parabolic,
                Some(NoseCurve::Ellipsoid) => NoseForm::Ellipsoid,
                // Missing ones have been noted.
                Some(NoseCurve::Ogive) | None => NoseForm::Ogive,
            },
            length_m: self.need(&format!("{root}/nose/length"), &n.length, Some(&limits::PART_LENGTH)),
            base_diameter_m: self
                .read(&format!("{root}/nose/base_diameter"), &n.base_diameter, Some(&limits::DIAMETER))
                .unwrap_or(diameter_m),
        };
        let transitions: Vec<Transition> = s
            .transitions
            .iter()
            .flatten()
            .enumerate()
            .map(|(i, t)| {
                let at = |name: &str| format!("{root}/transitions/{i}/{name}");
                Transition {
                    station_m: self.need(&at("station"), &t.station, Some(&limits::STATION)),
                    length_m: self.need(&at("length"), &t.length, Some(&limits::PART_LENGTH)),
                    front_diameter_m: self.need(&at("front_diameter"), &t.front_diameter, Some(&limits::DIAMETER)),
                    rear_diameter_m: self.need(&at("rear_diameter"), &t.rear_diameter, Some(&limits::DIAMETER)),
                }
            })
            .collect();
        let base_diameter_m = transitions.last().map_or(nose.base_diameter_m, |t| t.rear_diameter_m);
        let roughness_m = match self.read(&format!("{root}/roughness"), &s.roughness, Some(&limits::ROUGHNESS)) {
            Some(given) => given,
            None => {
                self.assume("card.airframe.shape.roughness", "20 um", "assumption: between smooth paint (5 um) and bare card (60 um)");
                ROUGHNESS_M
            }
        };
        let mut shape =
            Shape { nose, transitions, fin_sets: Vec::new(), guides: Vec::new(), length_m, base_diameter_m, roughness_m };
        for (i, f) in s.fins.iter().flatten().enumerate() {
            let fins = self.fins(f, &format!("{root}/fins/{i}"), &shape);
            shape.fin_sets.push(fins);
        }
        for (i, g) in s.guides.iter().flatten().enumerate() {
            let at = |name: &str| format!("{root}/guides/{i}/{name}");
            let guide = RailGuide {
                station_m: self.need(&at("station"), &g.station, Some(&limits::STATION)),
                frontal_area_m2: self.need(&at("frontal_area"), &g.frontal_area, None),
                wetted_area_m2: self.need(&at("wetted_area"), &g.wetted_area, None),
            };
            shape.guides.push(guide);
        }
        shape
    }

    fn fins(&mut self, f: &FinSetRequest, root: &str, body: &Shape) -> FinSet {
        let at = |name: &str| format!("{root}/{name}");
        let root_chord_m = self.need(&at("root_chord"), &f.root_chord, Some(&limits::FIN_CHORD));
        let tip_chord_m = self.need(&at("tip_chord"), &f.tip_chord, Some(&limits::FIN_CHORD));
        let thickness_m = match self.read(&at("thickness"), &f.thickness, Some(&limits::FIN_THICKNESS)) {
            Some(given) => given,
            None => {
                self.assume("card.airframe.shape.fins.thickness", format!("{} mm", FIN_THICKNESS_M * 1e3), "assumption");
                FIN_THICKNESS_M
            }
        };
        let station_m = match self.read(&at("station"), &f.station, Some(&limits::STATION)) {
            Some(given) => given,
            None => {
                self.assume("card.airframe.shape.fins.station", "the root chord ends with the body", "assumption");
                body.length_m - root_chord_m
            }
        };
        let body_diameter_m = match self.read(&at("body_diameter"), &f.body_diameter, Some(&limits::DIAMETER)) {
            Some(given) => given,
            None if body.transitions.is_empty() => body.nose.base_diameter_m,
            // At the middle of the root: fins seldom begin on a boattail.
            None => 2.0 * body.radius_m((station_m + 0.5 * root_chord_m).min(body.length_m)),
        };
        let sweep_m = match self.read(&at("sweep"), &f.sweep, Some(&limits::FIN_SWEEP)) {
            Some(given) => given,
            None => {
                self.assume("card.airframe.shape.fins.sweep", "trailing edges of root and tip in line", "assumption");
                root_chord_m - tip_chord_m
            }
        };
        FinSet {
            // Missing ones have been noted; any number will do until then.
            count: f.count.unwrap_or(3) as usize,
            root_chord_m,
            tip_chord_m,
            span_m: self.need(&at("span"), &f.span, Some(&limits::FIN_SPAN)),
            sweep_m,
            thickness_m,
            station_m,
            body_diameter_m,
            edge: match f.edge {
                Some(EdgeFinish::Rounded) => FinEdge::Rounded,
                Some(EdgeFinish::Airfoil) => FinEdge::Airfoil,
                Some(EdgeFinish::Square) => FinEdge::Square,
                None => {
                    self.assume("card.airframe.shape.fins.edge", "square", "assumption: edges left as cut");
                    FinEdge::Square
                }
            },
        }
    }

    /// The motor, and the delay of its code.
    fn motor(&mut self, m: &Motor) -> (MotorInput, Option<f64>) {
        let at = |name: &str| format!("/card/motor/{name}");
        let mut code_delay_s = None;
        let thrust = match (&m.code, &m.thrust_curve) {
            (Some(_), Some(_)) => {
                self.faults.add(at("code"), "there is a thrust_curve as well", "leave out the code: the curve says more; write the motor's name into note");
                None
            }
            (None, None) => {
                if !self.faults.covers(&at("code")) && !self.faults.covers(&at("thrust_curve")) {
                    self.faults.add(at("thrust_curve"), "there is neither a thrust_curve nor a code", "give the thrust curve as pairs of seconds and newtons, or a code such as \"C6-5\"");
                }
                None
            }
            (Some(code), None) => match motor_text::code(code) {
                Ok(read) => {
                    self.places.by_code = true;
                    code_delay_s = read.delay_s;
                    Some(ThrustInput::Code { class_upper_n_s: read.class_upper_n_s, average_n: read.average_n })
                }
                Err(e) => {
                    self.faults.add(at("code"), e.problem, e.remedy);
                    None
                }
            },
            (None, Some(curve)) => self.curve(curve, &at("thrust_curve")),
        };
        self.places.propellant_placed = m.propellant_centre.is_some();
        let motor = MotorInput {
            thrust: thrust.unwrap_or_else(|| {
                // Faulted already: the engine must find nothing more about it.
                self.faults.explain(at("thrust_curve"));
                ThrustInput::Code { class_upper_n_s: f64::NAN, average_n: f64::NAN }
            }),
            propellant_kg: self.read(&at("propellant_mass"), &m.propellant_mass, Some(&limits::PROPELLANT_MASS)),
            diameter_m: self.read(&at("diameter"), &m.diameter, Some(&limits::DIAMETER)),
            length_m: self.read(&at("length"), &m.length, Some(&limits::PART_LENGTH)),
            propellant_centre_m: self.read(&at("propellant_centre"), &m.propellant_centre, Some(&limits::STATION)),
            count: m.count.unwrap_or(1) as usize,
            ring_radius_m: self.read(&at("ring_radius"), &m.ring_radius, None),
            one_unlit_share: self.read(&at("one_unlit_share"), &m.one_unlit_share, Some(&limits::SHARE)),
            burnout_at_curve_end: m.burnout == Some(BurnoutRule::EndOfCurve),
            delay_from_nominal_burn: m.delay_from == Some(DelayFrom::NominalBurn),
        };
        (motor, code_delay_s)
    }

    fn curve(&mut self, curve: &ThrustCurveRequest, at: &str) -> Option<ThrustInput> {
        match curve {
            ThrustCurveRequest::Points(points) => {
                let points = points.iter().enumerate().map(|(i, CurvePoint(time, force))| {
                    (
                        self.need(&format!("{at}/{i}/0"), time, Some(&limits::CURVE_TIME)),
                        self.need(&format!("{at}/{i}/1"), force, Some(&limits::THRUST)),
                    )
                });
                Some(ThrustInput::Curve(points.collect()))
            }
            ThrustCurveRequest::Columns(text) => match motor_text::columns(text) {
                Ok(rows) => {
                    self.places.lines = Some(rows.iter().map(|r| r.0).collect());
                    Some(ThrustInput::Curve(rows.into_iter().map(|r| (r.1, r.2)).collect()))
                }
                Err(e) => {
                    self.faults.add(at, e.problem, e.remedy);
                    None
                }
            },
        }
    }

    fn recovery(&mut self, r: &Recovery) -> RecoveryInput {
        let first = self.device(&r.first.clone().unwrap_or_default(), "/card/recovery/first");
        let at = "/card/recovery/main_height";
        let main = match (&r.main, &r.main_height) {
            (Some(main), height) => {
                let main = self.device(main, "/card/recovery/main");
                let why = "give the height above the pad at which the main opens, coming down";
                Some((main, self.demand(at, height, &limits::HEIGHT, why)))
            }
            (None, Some(_)) => {
                self.faults.add("/card/recovery/main", "it is missing, but there is a main_height", "describe what opens at that height, or leave out main_height");
                None
            }
            (None, None) => None,
        };
        RecoveryInput { first, main }
    }

    fn device(&mut self, d: &DeviceRequest, root: &str) -> Device {
        let at = |name: &str| format!("{root}/{name}");
        let (kind, own): (&str, &[&str]) = match d.kind {
            Some(DeviceKind::Parachute) => ("parachute", &["diameter", "drag_coefficient", "fill_constant"]),
            Some(DeviceKind::Streamer) => ("streamer", &["length", "width", "drag_coefficient"]),
            Some(DeviceKind::Tumble) => ("tumble", &[]),
            Some(DeviceKind::None) => ("none", &[]),
            // Noted by the schema.
            None => return Device::None,
        };
        let sent = [
            ("diameter", d.diameter.is_some()),
            ("length", d.length.is_some()),
            ("width", d.width.is_some()),
            ("drag_coefficient", d.drag_coefficient.is_some()),
            ("fill_constant", d.fill_constant.is_some()),
        ];
        for (name, _) in sent.iter().filter(|(name, given)| *given && !own.contains(name)) {
            self.faults.add(at(name), format!("\"{kind}\" has no {name}"), "leave it out, or choose another kind");
        }
        match d.kind {
            Some(DeviceKind::Parachute) => Device::Parachute {
                diameter_m: self.demand(&at("diameter"), &d.diameter, &limits::CANOPY_DIAMETER, "give the diameter of the cloth laid flat"),
                drag_coefficient: d.drag_coefficient,
                fill_constant: d.fill_constant,
            },
            Some(DeviceKind::Streamer) => Device::Streamer {
                length_m: self.demand(&at("length"), &d.length, &limits::STREAMER, "give the streamer's length"),
                width_m: self.demand(&at("width"), &d.width, &limits::STREAMER, "give the streamer's width"),
                drag_coefficient: d.drag_coefficient,
            },
            Some(DeviceKind::Tumble) => Device::Tumble,
            Some(DeviceKind::None) | None => Device::None,
        }
    }

    fn launch(&mut self, l: &Launch) -> LaunchInput {
        let at = |name: &str| format!("/launch/{name}");
        LaunchInput {
            rail_length_m: self.need(&at("rail_length"), &l.rail_length, Some(&limits::RAIL_LENGTH)),
            tilt_rad: self.read(&at("tilt"), &l.tilt, Some(&limits::TILT)),
            azimuth_rad: self.read(&at("azimuth"), &l.azimuth, Some(&limits::BEARING)).map(northed),
            friction: l.friction,
            forward_guide_m: self.read(&at("forward_guide"), &l.forward_guide, Some(&limits::STATION)),
            aft_guide_m: self.read(&at("aft_guide"), &l.aft_guide, Some(&limits::STATION)),
        }
    }

    fn site(&mut self, s: &Site) -> SiteInput {
        let at = |name: &str| format!("/site/{name}");
        self.plain(&s.name, &at("name"));
        let station = self.read(&at("station_pressure"), &s.station_pressure, Some(&limits::PRESSURE));
        let setting = self.read(&at("altimeter_setting"), &s.altimeter_setting, Some(&limits::PRESSURE));
        if station.is_some() && setting.is_some() {
            self.faults.add(at("altimeter_setting"), "there is a station_pressure as well", "give one of the two: station_pressure was measured at the field, altimeter_setting comes from a weather report");
        }
        SiteInput {
            latitude_rad: self.read(&at("latitude"), &s.latitude, Some(&limits::LATITUDE)),
            elevation_m: self.read(&at("elevation"), &s.elevation, Some(&limits::ELEVATION)),
            temperature_k: self.read(&at("temperature"), &s.temperature, Some(&limits::TEMPERATURE)),
            pressure: station.map(PressureInput::Station).or(setting.map(PressureInput::AltimeterSetting)),
            ceiling_m: self.read(&at("ceiling"), &s.ceiling, Some(&limits::HEIGHT)),
            areas: s.areas.iter().flatten().enumerate().map(|(i, a)| self.area(a, &format!("/site/areas/{i}"))).collect(),
        }
    }

    fn area(&mut self, a: &NamedArea, at: &str) -> Area {
        self.plain(&a.name, &format!("{at}/name"));
        let outline = match (&a.circle, &a.polygon) {
            (Some(_), Some(_)) => {
                self.faults.add(format!("{at}/polygon"), "there is a circle as well", "give one of the two");
                None
            }
            (None, None) => {
                if !self.faults.covers(&format!("{at}/polygon")) && !self.faults.covers(&format!("{at}/circle")) {
                    self.faults.add(at, "it has neither circle nor polygon", "say where it is: circle (east, north, radius) or polygon (corners east and north of the pad)");
                }
                None
            }
            (Some(c), None) => Some(Outline::Circle {
                centre_m: [
                    self.read(&format!("{at}/circle/east"), &c.east, Some(&limits::PLACE)).unwrap_or(0.0),
                    self.read(&format!("{at}/circle/north"), &c.north, Some(&limits::PLACE)).unwrap_or(0.0),
                ],
                radius_m: self.need(&format!("{at}/circle/radius"), &c.radius, Some(&limits::AREA_RADIUS)),
            }),
            (None, Some(corners)) => {
                let corners = corners.iter().enumerate().map(|(k, Corner(east, north))| {
                    [
                        self.need(&format!("{at}/polygon/{k}/0"), east, Some(&limits::PLACE)),
                        self.need(&format!("{at}/polygon/{k}/1"), north, Some(&limits::PLACE)),
                    ]
                });
                Some(Outline::Polygon(corners.collect()))
            }
        };
        // Missing names have been noted; each then has its own, so that no two are alike.
        let name = a.name.clone().unwrap_or_else(|| at.into());
        Area { name, outline: outline.unwrap_or(Outline::Circle { centre_m: [0.0; 2], radius_m: f64::NAN }) }
    }

    fn wind(&mut self, w: &Wind, elevation_m: f64) -> WindInput {
        self.plain(&w.source, "/wind/source");
        WindInput {
            surface: w.surface.as_ref().map(|s| self.surface(s)),
            layers: self.layers(w.layers.as_deref().unwrap_or_default(), elevation_m),
            law: self.surface_law(w),
        }
    }

    fn surface(&mut self, s: &SurfaceWindRequest) -> SurfaceWind {
        let at = |name: &str| format!("/wind/surface/{name}");
        let speed_m_s = self.need(&at("speed"), &s.speed, Some(&limits::SURFACE_WIND_SPEED));
        let direction = match &s.direction {
            Some(WindDirection(Quantity::Text(text))) if text.trim().eq_ignore_ascii_case("variable") => Direction::Variable,
            Some(sent) => Direction::From(self.direction(&at("direction"), sent, " or \"variable\"")),
            // Calm has no direction.
            None if speed_m_s == 0.0 => Direction::From(0.0),
            None => {
                self.faults.add(at("direction"), "it is missing", "say where the wind comes from, degrees clockwise from true north, or \"variable\"");
                Direction::From(f64::NAN)
            }
        };
        SurfaceWind {
            speed_m_s,
            direction,
            measuring_height_m: self.need(&at("measuring_height"), &s.measuring_height, Some(&limits::MEASURING_HEIGHT)),
            gust_m_s: self.read(&at("gust"), &s.gust, Some(&limits::SURFACE_WIND_SPEED)),
        }
    }

    fn direction(&mut self, at: &str, sent: &WindDirection, or: &str) -> f64 {
        if let Quantity::Text(text) = &sent.0 {
            if text.trim().chars().next().is_some_and(char::is_alphabetic) {
                self.faults.add(at, format!("{} is no angle", units::quoted(text)), format!("give degrees clockwise from true north, where the wind comes from: west is 270{or}"));
                return f64::NAN;
            }
        }
        northed(self.quantity(at, &sent.0, &units::ANGLE, Some(&limits::BEARING)))
    }

    fn layers(&mut self, sent: &[WindLayer], elevation_m: f64) -> Vec<Layer> {
        // A list of heights above sea level comes from a sounding or bulletin, which begins at the sea.
        let sounding = sent.len() > 1 && sent.iter().all(|l| l.height_above_sea.is_some());
        let mut layers = Vec::new();
        let mut dropped = 0;
        for (i, l) in sent.iter().enumerate() {
            let at = |name: &str| format!("/wind/layers/{i}/{name}");
            let (height_above_ground_m, name) = match (&l.height_above_ground, &l.height_above_sea) {
                (Some(_), Some(_)) => {
                    self.faults.add(at("height_above_sea"), "there is a height_above_ground as well", "give one of the two");
                    (f64::NAN, "height_above_sea")
                }
                (None, None) => {
                    if !self.faults.covers(&at("height_above_sea")) {
                        self.faults.add(at("height_above_ground"), "it is missing", "give height_above_ground or height_above_sea");
                    }
                    (f64::NAN, "height_above_ground")
                }
                (height, None) => {
                    (self.need(&at("height_above_ground"), height, Some(&limits::WIND_HEIGHT)), "height_above_ground")
                }
                (None, height) => {
                    (self.need(&at("height_above_sea"), height, None) - elevation_m, "height_above_sea")
                }
            };
            let speed_m_s = self.need(&at("speed"), &l.speed, Some(&limits::WIND_SPEED));
            let direction_from_rad = match &l.direction {
                Some(sent) => self.direction(&at("direction"), sent, ""),
                None => f64::NAN,
            };
            if name == "height_above_sea" && height_above_ground_m < LOWEST_LAYER_M {
                if sounding {
                    dropped += 1;
                    continue;
                }
                self.faults.add(
                    at(name),
                    format!("it lies {} m above the field, whose elevation is {elevation_m} m", short(height_above_ground_m)),
                    "leave out layers at or below the field, check site.elevation, or give height_above_ground",
                );
            }
            self.places.layers.push((i, name));
            layers.push(Layer { height_above_ground_m, speed_m_s, direction_from_rad });
        }
        if dropped > 0 && layers.is_empty() {
            self.faults.add("/wind/layers", format!("none of the {dropped} layers lies above the field, whose elevation is {elevation_m} m"), "check site.elevation and the heights above sea level");
        } else if dropped > 0 {
            self.assume(
                "wind.layers",
                format!("{dropped} of {} layers left out: they lie below {LOWEST_LAYER_M} m above the field", sent.len()),
                "heights above sea level less site.elevation",
            );
        }
        layers
    }

    fn surface_law(&mut self, w: &Wind) -> Option<SurfaceLaw> {
        let given = [
            ("/wind/terrain", w.terrain.is_some()),
            ("/wind/roughness_length", w.roughness_length.is_some()),
            ("/wind/power_exponent", w.power_exponent.is_some()),
        ];
        let mut given = given.iter().filter(|g| g.1).map(|g| g.0);
        let first = given.next();
        for other in given {
            self.faults.add(other, "the growth of the wind is described twice", "give one of terrain, roughness_length and power_exponent");
        }
        if let (Some(terrain), Some("/wind/terrain")) = (w.terrain, first) {
            self.places.by_terrain = true;
            return Some(SurfaceLaw::Log { roughness_m: roughness_m(terrain) });
        }
        let roughness = self.read("/wind/roughness_length", &w.roughness_length, Some(&limits::ROUGHNESS_LENGTH));
        roughness
            .map(|roughness_m| SurfaceLaw::Log { roughness_m })
            .or(w.power_exponent.map(|exponent| SurfaceLaw::Power { exponent }))
    }

    fn spread(&mut self, s: &SpreadRequest) -> SpreadInput {
        let mut out = SpreadInput::default();
        for (name, table, middle, law) in s.laws() {
            let law = self.law(law, &format!("/spread/{name}"), table, middle);
            let place = match name {
                "impulse" => &mut out.impulse,
                "burn_time" => &mut out.burn_time,
                "delay" => &mut out.delay,
                "mass" => &mut out.mass,
                "centre_of_gravity" => &mut out.centre_of_gravity,
                "centre_of_pressure" => &mut out.centre_of_pressure,
                "drag" => &mut out.drag,
                "normal_force_slope" => &mut out.normal_force_slope,
                "thrust_misalignment" => &mut out.thrust_misalignment,
                "fin_misalignment" => &mut out.fin_misalignment,
                "roll_rate" => &mut out.roll_rate,
                "rail_angle" => &mut out.rail_angle,
                "canopy_drag" => &mut out.canopy_drag,
                "line_stretch_lag" => &mut out.line_stretch_lag,
                "apogee_lag" => &mut out.apogee_lag,
                "sensed_height" => &mut out.sensed_height,
                "temperature" => &mut out.temperature,
                _ => &mut out.pressure,
            };
            *place = law;
        }
        let wind = s.wind.clone().unwrap_or_default();
        out.wind_component_sd_m_s = self.read("/spread/wind/component_sd", &wind.component_sd, None);
        out.wind_direction_sd_rad = self.read("/spread/wind/direction_sd", &wind.direction_sd, None);
        out.wind_correlation_length_m =
            self.read("/spread/wind/correlation_length", &wind.correlation_length, Some(&limits::CORRELATION_LENGTH));
        out.delay_out_of_tolerance_share =
            self.read("/spread/delay_out_of_tolerance_share", &s.delay_out_of_tolerance_share, None);
        if out.delay.is_some() && out.delay_out_of_tolerance_share.is_some() {
            self.faults.add("/spread/delay_out_of_tolerance_share", "it does nothing beside spread.delay", "give one of the two");
        }
        out
    }

    fn law(&mut self, law: &LawRequest, at: &str, table: &Table, middle: Option<f64>) -> Option<Law> {
        let given = [
            ("fixed", law.fixed.is_some()),
            ("normal", law.normal.is_some()),
            ("truncated_normal", law.truncated_normal.is_some()),
            ("log_normal", law.log_normal.is_some()),
            ("uniform", law.uniform.is_some()),
            ("triangular", law.triangular.is_some()),
            ("sample", law.sample.is_some()),
        ];
        let count = given.iter().filter(|g| g.1).count();
        if count != 1 {
            let names = given.map(|g| g.0).join(", ");
            self.faults.add(at, format!("it holds {count} distributions"), format!("give exactly one of {names}"));
            return None;
        }
        let mut number = |name: &str, sent: &Option<LawNumber>| {
            sent.as_ref().map_or(f64::NAN, |n| self.quantity(&format!("{at}/{name}"), &n.0, table, None))
        };
        Some(if let Some(n) = &law.normal {
            let sd = number("normal/sd", &n.sd);
            let mean = self.middle(&format!("{at}/normal/mean"), &n.mean, table, middle);
            Law::Normal { mean, sd }
        } else if let Some(t) = &law.truncated_normal {
            let sd = number("truncated_normal/sd", &t.sd);
            let (low, high) = (number("truncated_normal/low", &t.low), number("truncated_normal/high", &t.high));
            let mean = self.middle(&format!("{at}/truncated_normal/mean"), &t.mean, table, middle);
            Law::TruncatedNormal { mean, sd, low, high }
        } else if let Some(l) = &law.log_normal {
            // An error about zero has no logarithm: only factors have a median of their own.
            let median = self.middle(&format!("{at}/log_normal/median"), &l.median, table, middle.filter(|m| *m > 0.0));
            Law::LogNormal { median, log_sd: self.need(&format!("{at}/log_normal/log_sd"), &l.log_sd, None) }
        } else if let Some(u) = &law.uniform {
            Law::Uniform { low: number("uniform/low", &u.low), high: number("uniform/high", &u.high) }
        } else if let Some(t) = &law.triangular {
            Law::Triangular {
                low: number("triangular/low", &t.low),
                mode: number("triangular/mode", &t.mode),
                high: number("triangular/high", &t.high),
            }
        } else if let Some(values) = &law.sample {
            Law::Sample(
                values
                    .iter()
                    .enumerate()
                    .map(|(i, v)| self.quantity(&format!("{at}/sample/{i}"), &v.0, table, None))
                    .collect(),
            )
        } else {
            Law::Fixed(number("fixed", &law.fixed))
        })
    }

    fn middle(&mut self, at: &str, sent: &Option<LawNumber>, table: &Table, otherwise: Option<f64>) -> f64 {
        match (sent, otherwise) {
            (Some(n), _) => self.quantity(at, &n.0, table, None),
            (None, Some(middle)) => middle,
            (None, None) => {
                self.faults.add(at, "it is missing", "this quantity has no middle to assume: give it");
                f64::NAN
            }
        }
    }

    fn question(&mut self, r: &AssessmentRequest, code_delay_s: Option<f64>) -> Question {
        let ways = self.ways(r, code_delay_s);
        let sent = r.limits.clone().unwrap_or_default();
        let limits_m_s = match &sent.deploy_speed {
            Some(list) => {
                let at = |i: usize| format!("/limits/deploy_speed/{i}");
                let list: Vec<f64> =
                    list.iter().enumerate().map(|(i, v)| self.quantity(&at(i), v.quantity(), Speed::TABLE, Some(&limits::SPEED_LIMIT))).collect();
                for (i, v) in list.iter().enumerate() {
                    if list[..i].iter().any(|w| same(*w, *v)) {
                        self.faults.add(at(i), "this limit is there twice", "give each once");
                    }
                }
                list
            }
            None => {
                self.assume("limits.deploy_speed", "35 mph and 100 mph", "below about 35 mph is usually fine, near 100 mph tears tubes: common practice");
                DEFAULT_LIMITS_M_S.to_vec()
            }
        };
        if sent.applies_to.is_none() {
            self.assume("limits.applies_to", "ejection", "assumption: the airspeed when the charge fires, before the lines stretch");
        }
        let accept = r.accept.clone().unwrap_or_default();
        let accept_limit = match self.read("/accept/limit", &accept.limit, Some(&limits::SPEED_LIMIT)) {
            None => 0,
            Some(wanted) => limits_m_s.iter().position(|v| same(*v, wanted)).unwrap_or_else(|| {
                if !self.faults.covers("/limits/deploy_speed") {
                    self.faults.add("/accept/limit", "it is none of limits.deploy_speed", "repeat one of the limits, or leave it out for the first");
                }
                0
            }),
        };
        let accept_chance = self.read("/accept/chance", &accept.chance, None);
        if accept_chance.is_none() {
            self.assume("accept.chance", format!("{} %", 100.0 * DEFAULT_ACCEPT_CHANCE), "house number: give the chance your club accepts");
        }
        if r.flights.is_none() {
            self.assume("flights", DEFAULT_FLIGHTS.to_string(), "default");
        }
        if r.seed.is_none() {
            self.assume("seed", DEFAULT_SEED.to_string(), "default");
        }
        if r.points.is_none() {
            self.assume("points", "sobol", "default: evenly spread points");
        }
        Question {
            ways,
            limits_m_s,
            limit_applies: match sent.applies_to {
                Some(AppliesTo::LineStretch) => LimitApplies::LineStretch,
                Some(AppliesTo::Ejection) | None => LimitApplies::Ejection,
            },
            accept_chance,
            accept_limit,
            flights: r.flights.unwrap_or(DEFAULT_FLIGHTS),
            seed: r.seed.unwrap_or(DEFAULT_SEED),
            points: match r.points {
                Some(PointKind::Random) => PointSet::Pseudorandom,
                Some(PointKind::Sobol) | None => PointSet::Sobol,
            },
            rule_set: r.rule_set.as_ref().map(|set| self.rule_set(set)),
        }
    }

    fn ways(&mut self, r: &AssessmentRequest, code_delay_s: Option<f64>) -> Vec<Deployment> {
        let mut ways = Vec::new();
        for (i, delay) in r.delays.iter().flatten().enumerate() {
            let at = format!("/delays/{i}");
            let delay_s = self.quantity(&at, delay.quantity(), Time::TABLE, Some(&limits::DELAY));
            ways.push((at, Deployment { motor_delay_s: Some(delay_s), electronics: None }));
        }
        let unsaid = r.delays.is_none() && !self.faults.covers("/delays");
        if let Some(delay) = code_delay_s.filter(|_| unsaid) {
            self.places.delay_by_code = true;
            self.assume("delays", format!("{delay} s"), "the delay in the motor code");
            ways.push(("/card/motor/code".into(), Deployment { motor_delay_s: Some(delay), electronics: None }));
        }
        for (i, e) in r.electronics.iter().flatten().enumerate() {
            let at = format!("/electronics/{i}");
            let way = self.electronics(e, &at);
            ways.push((at, way));
        }
        if ways.is_empty() && !self.faults.covers("/delays") && !self.faults.covers("/electronics") {
            self.faults.add("/delays", "there is nothing to compare", "give delays in seconds, such as [5, 7, 10], or electronics such as [{\"fires_at\": \"apogee\"}]");
        }
        for (i, (at, way)) in ways.iter().enumerate() {
            if ways[..i].iter().any(|(_, other)| other == way) {
                self.faults.add(at, "this is there twice", "give each once");
            }
        }
        ways.into_iter().map(|(_, way)| way).collect()
    }

    fn electronics(&mut self, e: &ElectronicsEntry, at: &str) -> Deployment {
        let place = format!("{at}/height");
        let electronics = match e.fires_at {
            Some(FiresAt::Height) => {
                let why = "give the height above the pad at which it fires, coming down";
                Electronics::Height(self.demand(&place, &e.height, &limits::HEIGHT, why))
            }
            // Missing ones have been noted.
            Some(FiresAt::Apogee) | None => {
                if e.height.is_some() && e.fires_at.is_some() {
                    self.faults.add(&place, "it fires at apogee, not at a height", "say \"fires_at\": \"height\", or leave out height");
                }
                Electronics::Apogee
            }
        };
        let motor_delay_s = self.read(&format!("{at}/backup_delay"), &e.backup_delay, Some(&limits::DELAY));
        Deployment { motor_delay_s, electronics: Some(electronics) }
    }

    fn rule_set(&mut self, set: &RuleSetChoice) -> RuleSet {
        match set {
            RuleSetChoice::Named(NamedRuleSet::UsModelRocket) => RuleSet::UsModelRocket,
            RuleSetChoice::Named(NamedRuleSet::UsHighPower) => RuleSet::UsHighPower,
            RuleSetChoice::Own(own) => {
                let own = own.own.clone().unwrap_or_default();
                let thrust_to_weight = own.thrust_to_weight;
                if thrust_to_weight.is_some_and(|t| !(0.0..=1000.0).contains(&t)) {
                    self.faults.add("/rule_set/own/thrust_to_weight", "it is no ratio of thrust to weight", "give 0 to 1000");
                }
                RuleSet::Own {
                    wind_m_s: self.read("/rule_set/own/wind", &own.wind, Some(&limits::WIND_SPEED)),
                    tilt_rad: self.read("/rule_set/own/tilt", &own.tilt, Some(&limits::TILT)),
                    thrust_to_weight,
                }
            }
        }
    }
}

/// Roughness lengths of Davenport's classes, m (WMO code list).
fn roughness_m(terrain: Terrain) -> f64 {
    match terrain {
        Terrain::Sea => 0.0002,
        Terrain::Smooth => 0.005,
        Terrain::Open => 0.03,
        Terrain::RoughlyOpen => 0.1,
        Terrain::Rough => 0.25,
        Terrain::VeryRough => 0.5,
        Terrain::Closed => 1.0,
        Terrain::Chaotic => 2.0,
    }
}

/// 360 degrees is north, as 0 is.
fn northed(bearing_rad: f64) -> f64 {
    if bearing_rad >= core::f64::consts::TAU { 0.0 } else { bearing_rad }
}

/// Whether two speeds are one, whatever units they came in.
fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * b.abs()
}

fn short(x: f64) -> f64 {
    (x * 10.0).round() / 10.0
}
