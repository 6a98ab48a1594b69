//! Airframe, motor and recovery.

use slowpoint_sim::aero::Drag;
use slowpoint_sim::case::shape::{FinEdge, FinSet, Nose, NoseForm, RailGuide, Shape, Transition};
use slowpoint_sim::case::{AirframeInput, Device, MotorInput, RecoveryInput, ThrustInput};
use slowpoint_sim::limits;

use super::Reader;
use crate::wire::motor_text;
use crate::wire::request::*;

/// Fins of this thickness where none is given, m: assumption.
const FIN_THICKNESS_M: f64 = 0.003;
/// Roughness where none is given, m: between smooth paint and bare card, an assumption.
const ROUGHNESS_M: f64 = 2e-5;

impl Reader<'_> {
    pub(super) fn airframe(&mut self, a: &Airframe) -> AirframeInput {
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
            .shoulders_and_boattails
            .iter()
            .flatten()
            .enumerate()
            .map(|(i, t)| {
                let at = |name: &str| format!("{root}/shoulders_and_boattails/{i}/{name}");
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
                self.assume(
                    "card.airframe.shape.roughness",
                    "20 um",
                    "assumption: between smooth paint (5 um) and bare card (60 um)",
                );
                ROUGHNESS_M
            }
        };
        let mut shape = Shape {
            nose,
            transitions,
            fin_sets: Vec::new(),
            guides: Vec::new(),
            length_m,
            base_diameter_m,
            roughness_m,
        };
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
                self.assume(
                    "card.airframe.shape.fins.thickness",
                    format!("{} mm", FIN_THICKNESS_M * 1e3),
                    "assumption",
                );
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
            edge: match f.edges {
                Some(EdgeFinish::Round) => FinEdge::Round,
                Some(EdgeFinish::Tapered) => FinEdge::Tapered,
                Some(EdgeFinish::Flat) => FinEdge::Flat,
                None => {
                    self.assume("card.airframe.shape.fins.edges", "flat", "assumption: edges left as cut");
                    FinEdge::Flat
                }
            },
        }
    }

    /// The motor, and the delay of its code.
    pub(super) fn motor(&mut self, m: &Motor) -> (MotorInput, Option<f64>) {
        let at = |name: &str| format!("/card/motor/{name}");
        let mut code_delay_s = None;
        let thrust = match (&m.code, &m.thrust_curve) {
            (Some(code), Some(_)) => {
                code_delay_s = motor_text::code(code).ok().and_then(|c| c.delay_s);
                self.faults.add(
                    at("code"),
                    "there is a thrust_curve as well",
                    "leave out the code: the curve says more; write the motor's name into note",
                );
                None
            }
            (None, None) => {
                if !self.faults.covers(&at("code")) && !self.faults.covers(&at("thrust_curve")) {
                    self.faults.add(
                        at("thrust_curve"),
                        "there is neither a thrust_curve nor a code",
                        "give the thrust curve as pairs of seconds and newtons, or a code such as \"C6-5\"",
                    );
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

    pub(super) fn recovery(&mut self, r: &Recovery) -> RecoveryInput {
        let first = self.device(&r.first.clone().unwrap_or_default(), "/card/recovery/first");
        let at = "/card/recovery/main_height";
        let main = match (&r.main, &r.main_height) {
            (Some(main), height) => {
                let main = self.device(main, "/card/recovery/main");
                let why = "give the height above the pad at which the main opens, coming down";
                Some((main, self.demand(at, height, &limits::HEIGHT, why)))
            }
            (None, Some(_)) => {
                self.faults.add(
                    "/card/recovery/main",
                    "it is missing, but there is a main_height",
                    "describe what opens at that height, or leave out main_height",
                );
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
                diameter_m: self.demand(
                    &at("diameter"),
                    &d.diameter,
                    &limits::CANOPY_DIAMETER,
                    "give the diameter of the cloth laid flat",
                ),
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
}
