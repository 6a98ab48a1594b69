//! The whole problem as validated data. Once a [`Case`] exists, nothing in this crate can fail: a flight
//! that goes wrong is an outcome that is counted.

mod calibration;
mod check;
mod cords;
mod inputs;
mod patches;
pub mod shape;
mod spread;

pub use inputs::*;
pub use spread::Spread;

use crate::aero::{self, Aero, Measured};
use crate::air::{self, Column};
use crate::assumption::{Assumption, given_or};
use crate::calibration::{Calibrated, CalibrationPlan, Learned};
use crate::constants::{EARTH_ROTATION_RAD_S, SEA_LEVEL_PRESSURE_PA, STANDARD_GRAVITY_M_S2};
use crate::cord::CordPlan;
use crate::fault::{Fault, Faults};
use crate::flight::{Canopy, Casing, DelayClock, Deployment, Failure, FiringLaws, Gravity, MassModel};
use crate::thrust::ThrustCurve;
use crate::wind::{Gustiness, Profile, SurfaceLaw, WindErrors};

/// The field as the flights see it.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// Gravity.
    pub gravity: Gravity,
    /// Northward and upward parts of the Earth's rotation, rad/s.
    pub earth_rotation_rad_s: [f64; 2],
    /// Above sea level, m.
    pub elevation_m: f64,
    /// Pressure at the pad, Pa.
    pub station_pressure_pa: f64,
    /// Temperature at the pad, K.
    pub temperature_k: f64,
}

/// Rail, guides and setting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Launch {
    /// From vertical, rad.
    pub tilt_rad: f64,
    /// Direction the rail leans towards, rad clockwise from true north.
    pub azimuth_rad: f64,
    /// Travel until the last guide leaves, m.
    pub last_travel_m: f64,
    /// Travel until the forward guide leaves, m.
    pub forward_travel_m: f64,
    /// Aft guide from the nose tip, m.
    pub aft_guide_m: f64,
    /// Friction coefficient.
    pub friction: f64,
}

/// Motor or cluster.
#[derive(Debug, Clone, PartialEq)]
pub struct MotorPlan {
    /// Nominal curve of one motor.
    pub curve: ThrustCurve,
    /// Propellant of one motor, kg.
    pub propellant_kg: f64,
    /// Places of the motors' axes off the rocket's, m.
    pub offsets_m: Vec<[f64; 2]>,
    /// Share of flights in which one stays unlit.
    pub one_unlit_share: f64,
    /// Burnout at the end of the curve.
    pub burnout_at_end: bool,
    /// Clock of the delay.
    pub clock: DelayClock,
    /// Whether the grain is known, so that its radius of gyration enters jet damping.
    pub grain_known: bool,
    /// What is left of one motor, should it fall by itself.
    pub casing: Casing,
}

/// Recovery as nominal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RecoveryPlan {
    /// Opens on the first event.
    pub first: Canopy,
    /// Opens at a height above the pad, m.
    pub main: Option<(Canopy, f64)>,
}

/// Numbers that cautions quote, of the nominal flight card.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nominal {
    /// Impulse of all motors, N s.
    pub impulse_n_s: f64,
    /// Average thrust of all motors, N.
    pub average_thrust_n: f64,
    /// Average thrust over lift-off weight.
    pub thrust_to_weight: f64,
    /// Centre of pressure behind the centre of gravity at lift-off, calibres.
    pub margin_calibres: f64,
    /// Burn time of one motor, s.
    pub burn_s: f64,
    /// Difference between the end of the curve and burnout at 5 % of the peak, s.
    pub tail_off_s: f64,
}

/// A validated problem.
#[derive(Debug, Clone)]
pub struct Case {
    /// What was given.
    pub inputs: Inputs,
    /// Aerodynamics.
    pub aero: Aero,
    /// Motor.
    pub motor: MotorPlan,
    /// Nominal mass.
    pub mass: MassModel,
    /// Recovery.
    pub recovery: RecoveryPlan,
    /// Launch.
    pub launch: Launch,
    /// Field.
    pub field: Field,
    /// Wind; of an ensemble the first member.
    pub wind: Profile,
    /// The other members of an ensemble.
    pub other_winds: Vec<Profile>,
    /// Law of the wind near the ground.
    pub surface_law: SurfaceLaw,
    /// Spread.
    pub spread: Spread,
    /// Laws of when something fires, as the spread has them.
    pub firing: FiringLaws,
    /// Cord and tube edge, if that is asked.
    pub cords: Option<CordPlan>,
    /// Flights that were flown, to learn from.
    pub calibration: Option<CalibrationPlan>,
    /// What was learned from them, once it is known.
    pub calibrated: Option<Calibrated>,
    /// Share of the fins' slope left in the plane in which one is lost.
    pub fins_left: f64,
    /// Rules that cautions quote.
    pub rule_set: RuleSet,
    /// Nominal figures.
    pub nominal: Nominal,
    /// Top of the model above the pad, m.
    pub top_m: f64,
    /// Every default used.
    pub assumed: Vec<Assumption>,
}

/// Height at which the size of the gusts is told, m.
const GUSTS_TOLD_AT_M: f64 = 10.0;
/// Fins of a rocket whose shape is not known: the fewest make the most of losing one.
const FEWEST_FINS: usize = 3;
/// Most of the rocket without propellant that its motors' casings can be. An assumption.
const CASING_SHARE: f64 = 0.3;
/// Length of a motor over its diameter, where it is not known. An assumption.
const CASING_DIAMETERS: f64 = 4.0;
/// Drag coefficient of a streamer on length x width, where none is given.
const STREAMER_DRAG: f64 = 0.3;
/// A streamer fills along its own length.
const STREAMER_FILL_LENGTHS: f64 = 1.0;

impl WindInput {
    /// Every wind that may come, as it was reported: without errors and gusts. `None` where it could not be flown in.
    pub fn as_reported(&self) -> Option<Vec<Profile>> {
        let mut faults = Faults::default();
        check::wind(self, &mut faults);
        if !faults.found.is_empty() || !faults.no_number.is_empty() {
            return None;
        }
        let law = self.law.unwrap_or(SurfaceLaw::OPEN);
        let first = (self.surface, &self.layers);
        let all = core::iter::once(first).chain(self.others.iter().map(|other| (other.surface, &other.layers)));
        all.map(|(surface, layers)| Profile::new(surface, layers, law, WindErrors::NONE)).collect()
    }
}

impl Case {
    /// Checks everything, fills in what was left open. All faults at once.
    pub fn new(inputs: Inputs) -> Result<Self, Vec<Fault>> {
        let Faults { mut found, no_number } = Self::first_faults(&inputs);
        found.extend(no_number);
        if !found.is_empty() {
            return Err(found);
        }
        let mut faults = Faults::default();
        let mut assumed = Vec::new();
        let field = Self::field(&inputs.site, &mut assumed);
        let aero = Self::aero(&inputs, &field, &mut assumed);
        let motor = Self::motor(&inputs, &mut assumed);
        let mass = Self::mass(&inputs, &motor, &mut assumed, &mut faults);
        let launch = Self::launch(&inputs, &mut assumed, &mut faults);
        let recovery = Self::recovery(&inputs.recovery, &aero, &mut assumed);
        let surface_law = inputs.wind.law.unwrap_or_else(|| {
            assumed.push(Assumption {
                input: "wind.terrain",
                value: "open: logarithmic law with a roughness length of 0.03 m".into(),
                source: "Davenport's class for open grass, the setting of weather stations (WMO Guide No. 8)",
            });
            SurfaceLaw::OPEN
        });
        let spread = Spread::resolve(
            &inputs.spread,
            &spread::Context {
                thrust: &inputs.motor.thrust,
                length_m: inputs.airframe.length_m,
                centre_of_pressure_m: aero.centre_of_pressure_m(),
                drag_built_up: inputs.airframe.drag.is_none(),
                wind_age_s: inputs.wind.age_s,
            },
            &mut assumed,
        );
        Self::general_assumptions(&inputs, &mut assumed);
        let nominal = Self::nominal(&inputs, &motor, &aero);
        // The strongest motor in the lightest rocket of a million draws.
        let extreme = [spread.mass.reach().0, spread.impulse.reach().1];
        let top_m = Self::top_m(&inputs, &mass, &nominal, &field, extreme);
        // The spread of one input is not to move the draws of another: by the card alone.
        let gusts_top_m = Self::top_m(&inputs, &mass, &nominal, &field, [1.0, 1.0]);
        let wind = Self::wind(&inputs.wind, surface_law, &spread, gusts_top_m, &mut assumed);
        check::stability(&inputs, &aero, &nominal, &mut faults);
        check::masses(&inputs, &mass, &spread, &recovery, &field, &mut faults);
        let Some(wind) = wind.filter(|_| faults.found.is_empty()) else { return Err(faults.found) };
        let other_winds = Self::other_winds(&inputs.wind, surface_law, &spread, gusts_top_m, &mut assumed);
        let rule_set = inputs.question.rule_set.unwrap_or_else(|| {
            let high = nominal.impulse_n_s > 160.0 * inputs.motor.count as f64 || inputs.airframe.mass_kg > 1.5;
            assumed.push(Assumption {
                input: "rule_set",
                value: if high { "us_high_power" } else { "us_model_rocket" }.into(),
                source: "more than 160 N s a motor or 1500 g counts as high power (US Model Rocket Sporting Code 4.3; safety code)",
            });
            if high { RuleSet::UsHighPower } else { RuleSet::UsModelRocket }
        });
        let cords =
            inputs.cords.as_ref().map(|cords| CordPlan::resolve(cords, inputs.airframe.diameter_m, &mut assumed));
        let calibration = match &inputs.calibration {
            Some(_) if !Learned::ALL.iter().any(|learned| learned.varies(&spread)) => {
                faults.add(
                    "calibration",
                    "drag, impulse and wind have no spread, so that nothing can be learned of them",
                    "leave out spread.drag, spread.impulse or spread.wind, or leave out calibration",
                );
                return Err(faults.found);
            }
            Some(asked) => Some(CalibrationPlan::resolve(asked, calibration::conditions(asked)?, &mut assumed)),
            None => None,
        };
        let mut aero = aero;
        assumed.append(&mut aero.assumed);
        // Of n fins n/2 count in each plane; the one in which a fin is lost has one less.
        let fins = inputs.airframe.shape.iter().flat_map(|s| &s.fin_sets).map(|f| f.count).min().unwrap_or(FEWEST_FINS);
        let fins_left = (fins as f64 - 2.0) / fins as f64;
        Ok(Self {
            aero,
            motor,
            mass,
            recovery,
            launch,
            field,
            wind,
            other_winds,
            surface_law,
            firing: FiringLaws::new(&spread.delay, &spread.apogee_lag, &spread.sensed_height),
            cords,
            calibration,
            calibrated: None,
            spread,
            fins_left,
            rule_set,
            nominal,
            top_m,
            assumed,
            inputs,
        })
    }

    /// Whether this rocket, deployed one way, can fail so in every flight: failures of the motor's charge change nothing
    /// where an altimeter fires first.
    pub fn can_fail(&self, failure: Failure, way: &Deployment) -> bool {
        let takes_effect = match failure {
            Failure::DelayOutOfTolerance | Failure::WrongDelay | Failure::MotorEjected => way.electronics.is_none(),
            Failure::FinLost => self.aero.fins.zeroth_per_rad > 0.0,
            _ => true,
        };
        takes_effect && Self::fails_so(&self.inputs, failure, way)
    }

    fn fails_so(inputs: &Inputs, failure: Failure, way: &Deployment) -> bool {
        let fills = |device: Device| matches!(device, Device::Parachute { .. } | Device::Streamer { .. });
        let first = fills(inputs.recovery.first);
        let main = inputs.recovery.main.is_some_and(|m| fills(m.0));
        match failure {
            Failure::NoEjection
            | Failure::EarlyEjection
            | Failure::ImpulseShort
            | Failure::FinLost
            | Failure::MotorBursts => true,
            Failure::DelayOutOfTolerance | Failure::WrongDelay | Failure::MotorEjected => way.motor_delay_s.is_some(),
            Failure::MotorUnlit => inputs.motor.count > 1,
            Failure::NothingFills | Failure::PartsSeparate => first || main,
            Failure::FirstFails => first && main,
            Failure::MainAtOnce => main,
        }
    }

    /// Whether any area is a field.
    pub fn has_field(&self) -> bool {
        self.inputs.site.areas.iter().any(|area| area.role == Some(Role::Field))
    }

    /// The share of flights with a failure in the chances of an assessment.
    pub fn failure_share(&self, failure: Failure) -> f64 {
        match failure {
            Failure::MotorUnlit => self.motor.one_unlit_share,
            _ => self.inputs.failures.iter().filter(|f| f.0 == failure).map(|f| f.1).sum(),
        }
    }

    /// Faults that show before anything is filled in, also while numbers are missing (NaN): ranges, and what
    /// contradicts each other.
    pub fn faults(inputs: &Inputs) -> Vec<Fault> {
        Self::first_faults(inputs).found
    }

    fn first_faults(inputs: &Inputs) -> Faults {
        let mut faults = Faults::default();
        check::ranges(inputs, &mut faults);
        check::contradictions(inputs, &mut faults);
        faults
    }

    /// No flight without drag passes v^2/2g over the rocket equation's speed, here with factors on mass and impulse.
    fn top_m(inputs: &Inputs, mass: &MassModel, nominal: &Nominal, field: &Field, factors: [f64; 2]) -> f64 {
        let light = inputs.airframe.mass_kg * factors[0];
        let exhaust = nominal.impulse_n_s * factors[1] / mass.propellant_kg.max(1e-6);
        let speed = exhaust * libm::log(light / (light - mass.propellant_kg).max(1e-6));
        (0.5 * speed * speed / STANDARD_GRAVITY_M_S2 + 500.0).clamp(1000.0, 19_000.0 - field.elevation_m)
    }

    /// Every wind that may come: one, or the members of an ensemble.
    pub fn winds(&self) -> impl Iterator<Item = &Profile> {
        core::iter::once(&self.wind).chain(&self.other_winds)
    }

    /// The member of an ensemble that a uniform number picks, counted from 0: all alike.
    pub fn member(&self, uniform: f64) -> usize {
        let others = self.other_winds.len();
        ((uniform * (1 + others) as f64) as usize).min(others)
    }

    /// The wind of a member.
    pub fn wind_of(&self, member: usize) -> &Profile {
        member.checked_sub(1).and_then(|k| self.other_winds.get(k)).unwrap_or(&self.wind)
    }

    fn other_winds(
        input: &WindInput,
        law: SurfaceLaw,
        spread: &Spread,
        gusts_top_m: f64,
        assumed: &mut Vec<Assumption>,
    ) -> Vec<Profile> {
        if !input.others.is_empty() {
            assumed.push(Assumption {
                input: "model.wind.members",
                value: format!(
                    "each flight draws one of {} members of the wind, all alike, and adds the errors to it; nominal figures are those of the first",
                    1 + input.others.len()
                ),
                source: "an ensemble of forecasts: assumption",
            });
        }
        let gustiness = input.gustiness.unwrap_or(Gustiness::Report);
        let profile = |m: &WindMember| {
            let wind = Profile::new(m.surface, &m.layers, law, spread.wind)?;
            Some(wind.with_gusts(gustiness, m.surface.and_then(|s| s.gust_m_s), gusts_top_m))
        };
        input.others.iter().filter_map(profile).collect()
    }

    fn wind(
        input: &WindInput,
        law: SurfaceLaw,
        spread: &Spread,
        gusts_top_m: f64,
        assumed: &mut Vec<Assumption>,
    ) -> Option<Profile> {
        let gustiness = input.gustiness.unwrap_or(Gustiness::Report);
        let reported_m_s = input.surface.and_then(|s| s.gust_m_s);
        let wind = Profile::new(input.surface, &input.layers, law, spread.wind)?;
        let wind = wind.with_gusts(gustiness, reported_m_s, gusts_top_m);
        if input.gustiness.is_none() {
            let (value, source) = match reported_m_s {
                Some(_) => ("from the reported gust", "a peak of three standard deviations: assumption"),
                None => (
                    "from the terrain, but peaks at most 5 m/s over the mean",
                    "a report without a gust group leaves room for them (WMO-No. 306 regulation 15.5.5); turbulence intensity EN 1991-1-4; a peak of three standard deviations: assumption",
                ),
            };
            assumed.push(Assumption { input: "wind.turbulence", value: value.into(), source });
        }
        let gust_sd = wind.gust_sd_m_s(GUSTS_TOLD_AT_M);
        assumed.push(Assumption {
            input: "model.turbulence",
            value: if gust_sd > 0.0 {
                format!("gusts of a standard deviation of {gust_sd:.2} m/s along and across at {GUSTS_TOLD_AT_M} m; no vertical gusts")
            } else {
                "a steady wind, without gusts".into()
            },
            source: "Dryden's forms at low altitude (MIL-F-8785C), frozen in height, held above 1000 ft: assumption",
        });
        if input.surface.is_some() && !input.layers.is_empty() {
            assumed.push(Assumption {
                input: "model.wind.between",
                value: format!(
                    "the surface law up to {:.0} m, a straight line from there to the first wind aloft",
                    wind.law_top_m()
                ),
                source: "assumption",
            });
        }
        Some(wind)
    }

    /// What the model takes for granted on every card.
    fn general_assumptions(inputs: &Inputs, assumed: &mut Vec<Assumption>) {
        let mut say = |input, value: &str, source| assumed.push(Assumption { input, value: value.into(), source });
        say("model.roll", "every roll angle at first thrust alike", "assumption");
        say(
            "model.wind.above_top",
            "held above the highest known wind, its error growing by 1 m/s per km",
            "assumption",
        );
        if inputs.question.drivers.is_some() {
            say(
                "model.drivers",
                "every group of inputs is drawn apart from every other; the inputs of a group become known together or not at all",
                "assumption",
            );
        }
        say("model.under_canopy", "the body drags as nose first under its canopy", "assumption");
        say(
            "model.failures",
            "early ejection: any time between the rail and when due; delay out of tolerance: one to two tolerances off; wrong delay: 2 or 4 s more or less; short impulse: 50 to 90 %, all propellant burned; a canopy that does not fill drags a tenth; the cord breaks 30 % behind the tip, and the canopy holds the front; one casing is ejected, as heavy as its propellant was (at most 30 % of the rocket without it), 4 diameters long where that is not known, with a drag coefficient of 1.2; a fin comes off at any time of the burn, which leaves (n - 2)/n of the fins' slope in its plane, of the set with the fewest fins (3 where the shape is not known), and mass and drag as they are; a motor bursts at any time of the burn, and what is left tumbles: its fragments are not flown",
            "assumption",
        );
        if inputs.motor.count > 1 {
            say("model.cluster", "every motor that lights carries a charge, and the first one fires", "assumption");
        }
        if matches!(inputs.recovery.first, Device::Streamer { .. }) {
            say("model.streamer", "a streamer is full after its own length of air path", "assumption");
        }
        say(
            "model.in_boost",
            "opened under thrust it is flown with a tenth of the canopy and as ballistic; the landing farther from the pad counts",
            "assumption",
        );
    }

    fn field(site: &SiteInput, assumed: &mut Vec<Assumption>) -> Field {
        let elevation_m =
            given_or(site.elevation_m, assumed, "site.elevation", 0.0, |_| "sea level".into(), "assumption");
        let standard = air::standard(air::geopotential_m(elevation_m));
        let temperature_k = given_or(
            site.temperature_k,
            assumed,
            "site.temperature",
            standard.temperature_k,
            |t| format!("{:.1} C", t - 273.15),
            "US Standard Atmosphere 1976 at the field's elevation",
        );
        let station_pressure_pa = match site.pressure {
            Some(PressureInput::Station(pa)) => pa,
            Some(PressureInput::AltimeterSetting(pa)) => air::station_pressure_pa(pa, elevation_m),
            None => given_or(
                None,
                assumed,
                "site.station_pressure",
                air::station_pressure_pa(SEA_LEVEL_PRESSURE_PA, elevation_m),
                |p| format!("{:.1} hPa at the field", p / 100.0),
                "US Standard Atmosphere 1976 at the field's elevation",
            ),
        };
        let latitude = given_or(
            site.latitude_rad,
            assumed,
            "site.latitude",
            core::f64::consts::FRAC_PI_4,
            |_| "45 deg north".into(),
            "assumption; moves gravity by 0.3 % and turns the Coriolis drift",
        );
        Field {
            gravity: Gravity::normal(latitude, elevation_m),
            earth_rotation_rad_s: [
                EARTH_ROTATION_RAD_S * libm::cos(latitude),
                EARTH_ROTATION_RAD_S * libm::sin(latitude),
            ],
            elevation_m,
            station_pressure_pa,
            temperature_k,
        }
    }

    fn aero(inputs: &Inputs, field: &Field, assumed: &mut Vec<Assumption>) -> Aero {
        let a = &inputs.airframe;
        let mut aero = match (&a.shape, a.centre_of_pressure_m, &a.drag) {
            (None, Some(centre_of_pressure_m), Some(drag)) => aero::from_measured(&Measured {
                length_m: a.length_m,
                diameter_m: a.diameter_m,
                centre_of_pressure_m,
                normal_force_slope_per_rad: a.normal_force_slope_per_rad,
                drag: drag.clone(),
            }),
            (Some(shape), cp, drag) => {
                let air = Column::over(field.elevation_m, field.station_pressure_pa, field.temperature_k).at(0.0);
                let reference = aero::Reference {
                    density_kg_m3: air.density_kg_m3,
                    dynamic_viscosity_pa_s: air.dynamic_viscosity_pa_s(),
                    speed_of_sound_m_s: air.speed_of_sound_m_s,
                };
                // The nozzles' share of the base: motors' diameter, or what is assumed for it.
                let one = motor_diameter_m(&inputs.motor, a.diameter_m);
                let together = one * (inputs.motor.count as f64).sqrt();
                let mut built = aero::from_shape(shape, a.diameter_m, together.min(a.diameter_m), reference);
                if let Some(slope) = a.normal_force_slope_per_rad {
                    built = built.with_slope(slope);
                }
                if let Some(x) = cp {
                    built = built.with_centre_of_pressure(x);
                }
                match drag {
                    Some(drag) => built.with_drag(drag),
                    None => built,
                }
            }
            // `check::ranges` has faulted a card with neither shape nor figures.
            (None, ..) => aero::from_measured(&Measured {
                length_m: a.length_m,
                diameter_m: a.diameter_m,
                centre_of_pressure_m: a.length_m,
                normal_force_slope_per_rad: None,
                drag: aero::Drag::Coefficient(1.0),
            }),
        };
        if let Some(factor) = a.tail_first_factor {
            aero.tail_first_factor = factor;
            aero.assumed.retain(|x| x.input != "card.airframe.tail_first_factor");
        }
        assumed.append(&mut aero.assumed);
        aero
    }

    fn motor(inputs: &Inputs, assumed: &mut Vec<Assumption>) -> MotorPlan {
        let m = &inputs.motor;
        let curve = match &m.thrust {
            ThrustInput::Curve(points) => ThrustCurve::new(points.clone()),
            ThrustInput::Code { class_upper_n_s, average_n } => {
                // Middle of the class, whose lower end is half the upper.
                let impulse = 0.75 * class_upper_n_s;
                assumed.push(Assumption {
                    input: "card.motor.thrust_curve",
                    value: format!("a generic curve of {impulse:.4} N s at an average of {average_n} N"),
                    source: "only the motor code is known: middle of the impulse class; the shape is an assumption",
                });
                ThrustCurve::generic(impulse, *average_n)
            }
        };
        let impulse = curve.impulse_n_s();
        let (specific, grain) =
            if impulse <= 30.0 { (800.0, "black powder") } else { (1900.0, "composite propellant") };
        let propellant_kg = given_or(
            m.propellant_kg,
            assumed,
            "card.motor.propellant_mass",
            impulse / specific,
            |kg| format!("{:.1} g a motor", kg * 1e3),
            if grain == "black powder" {
                "800 N s of impulse per kg, usual for black powder: assumption from memory"
            } else {
                "1900 N s of impulse per kg, usual for composite propellant: assumption from memory"
            },
        );
        let ring_m = if m.count > 1 {
            given_or(
                m.ring_radius_m,
                assumed,
                "card.motor.ring_radius",
                0.25 * inputs.airframe.diameter_m,
                |r| format!("motors on a circle of {:.0} mm radius", r * 1e3),
                "assumption: a quarter of the diameter",
            )
        } else {
            0.0
        };
        let offsets_m = (0..m.count)
            .map(|k| {
                let turn = core::f64::consts::TAU * k as f64 / m.count as f64;
                [ring_m * libm::cos(turn), ring_m * libm::sin(turn)]
            })
            .collect();
        let one_unlit_share = if m.count > 1 {
            given_or(
                m.one_unlit_share,
                assumed,
                "card.motor.one_unlit_share",
                0.02,
                |s| format!("one motor of the cluster stays unlit in {:.0} % of flights", s * 100.0),
                "assumption",
            )
        } else {
            0.0
        };
        let (_, last) = curve.burn_window_s();
        let burnout = if m.burnout_at_curve_end { curve.end_s() } else { last };
        if !m.delay_from_nominal_burn {
            assumed.push(Assumption {
                input: "card.motor.delay_from",
                value: "the delay counts from each flight's own drawn burnout".into(),
                source: "meaning of the delay in a motor code: from burnout to ejection charge",
            });
        }
        MotorPlan {
            clock: if m.delay_from_nominal_burn { DelayClock::NominalBurn(burnout) } else { DelayClock::Burnout },
            burnout_at_end: m.burnout_at_curve_end,
            grain_known: m.length_m.is_some(),
            curve,
            casing: Casing {
                // As heavy as its propellant was, but never most of what is left of the rocket.
                mass_kg: {
                    let dry_kg = inputs.airframe.mass_kg - propellant_kg * m.count as f64;
                    propellant_kg.min(CASING_SHARE * dry_kg / m.count as f64)
                },
                side_m2: {
                    let diameter_m = motor_diameter_m(m, inputs.airframe.diameter_m);
                    diameter_m * m.length_m.unwrap_or(CASING_DIAMETERS * diameter_m)
                },
            },
            propellant_kg,
            offsets_m,
            one_unlit_share,
        }
    }

    fn mass(inputs: &Inputs, motor: &MotorPlan, assumed: &mut Vec<Assumption>, faults: &mut Faults) -> MassModel {
        let (a, m) = (&inputs.airframe, &inputs.motor);
        let propellant = motor.propellant_kg * m.count as f64;
        let dry = a.mass_kg - propellant;
        if dry < 0.05 * a.mass_kg {
            // What follows would only repeat it in other words.
            faults.add(
                "card.motor.propellant_mass",
                format!(
                    "{propellant:.4} kg of propellant leave {dry:.4} kg of the {} kg at lift-off for everything else",
                    a.mass_kg
                ),
                "give the propellant of one motor, and the whole rocket's mass with motor",
            );
            return MassModel {
                dry_mass_kg: a.mass_kg,
                dry_cg_m: a.centre_of_gravity_m,
                dry_inertia_kg_m2: 1.0,
                propellant_kg: 0.0,
                propellant_cg_m: a.centre_of_gravity_m,
                propellant_gyration_m2: 0.0,
            };
        }
        let diameter = motor_diameter_m(m, a.diameter_m);
        if m.diameter_m.is_none() {
            assumed.push(Assumption {
                input: "card.motor.diameter",
                value: format!("{:.0} mm", diameter * 1e3),
                source: "assumption: 60 % of the body, shared by a cluster",
            });
        }
        let length = given_or(
            m.length_m,
            assumed,
            "card.motor.length",
            (4.0 * diameter).min(0.4 * a.length_m),
            |l| format!("{:.0} mm; jet damping then takes the whole lever to the nozzle", l * 1e3),
            "assumption: four diameters",
        );
        let implied =
            a.centre_of_gravity_burnout_m.map(|after| (a.mass_kg * a.centre_of_gravity_m - dry * after) / propellant);
        let propellant_cg_m = m.propellant_centre_m.or(implied).unwrap_or_else(|| {
            let x = a.length_m - 0.5 * length;
            assumed.push(Assumption {
                input: "card.motor.propellant_centre",
                value: format!("{:.0} mm from the nose tip", x * 1e3),
                source: "assumption: middle of a motor that ends with the body",
            });
            x
        });
        if !(propellant_cg_m > 0.0 && propellant_cg_m < 1.2 * a.length_m) {
            let given = m.propellant_centre_m.is_some();
            faults.add(
                if given { "card.motor.propellant_centre" } else { "card.airframe.centre_of_gravity_burnout" },
                format!("with the centre of gravity at lift-off it puts the propellant {propellant_cg_m:.3} m from the nose tip, outside the rocket"),
                "check both centres of gravity and the propellant mass: as propellant burns the centre moves away from the motor",
            );
        }
        let dry_cg_m = (a.mass_kg * a.centre_of_gravity_m - propellant * propellant_cg_m) / dry;
        if !(dry_cg_m > 0.0 && dry_cg_m < a.length_m) {
            faults.add(
                "card.airframe.centre_of_gravity",
                format!("without propellant the centre of gravity would lie {dry_cg_m:.3} m from the nose tip, outside the rocket"),
                "check the centre of gravity (at lift-off, with motor, from the nose tip) and the propellant's mass and place",
            );
        }
        let mut gyration = length * length / 12.0 + diameter * diameter / 16.0;
        let apart = dry_cg_m - propellant_cg_m;
        let reduced = dry * propellant / a.mass_kg * apart * apart;
        let rod = dry * (a.length_m * a.length_m / 12.0 + a.diameter_m * a.diameter_m / 16.0);
        let dry_inertia = match (a.inertia_kg_m2, a.inertia_burnout_kg_m2) {
            (Some(full), Some(empty)) => {
                gyration = (full - empty - reduced) / propellant;
                empty
            }
            (None, Some(empty)) => empty,
            (Some(full), None) => full - reduced - propellant * gyration,
            (None, None) => {
                assumed.push(Assumption {
                    input: "card.airframe.pitch_inertia",
                    value: format!("{rod:.5} kg m^2 without propellant"),
                    source: "assumption: mass spread evenly over the length, m (L^2/12 + d^2/16)",
                });
                rod
            }
        };
        if gyration < 0.0 || dry_inertia <= 0.0 {
            faults.add(
                "card.airframe.pitch_inertia",
                "lift-off and burnout figures imply a negative inertia of the propellant or of the airframe",
                format!("the figure at lift-off must exceed the one after burnout by at least {reduced:.3e} kg m^2; both are about the centre of gravity of that moment"),
            );
        }
        MassModel {
            dry_mass_kg: dry,
            dry_cg_m,
            dry_inertia_kg_m2: dry_inertia,
            propellant_kg: propellant,
            propellant_cg_m,
            propellant_gyration_m2: gyration,
        }
    }

    fn launch(inputs: &Inputs, assumed: &mut Vec<Assumption>, faults: &mut Faults) -> Launch {
        let (l, a) = (&inputs.launch, &inputs.airframe);
        let aft_guide_m = given_or(
            l.aft_guide_m,
            assumed,
            "launch.aft_guide",
            0.95 * a.length_m.max(a.centre_of_gravity_m / 0.95),
            |x| format!("{:.0} mm from the nose tip", x * 1e3),
            "assumption: near the tail",
        );
        let forward_guide_m = given_or(
            l.forward_guide_m,
            assumed,
            "launch.forward_guide",
            a.centre_of_gravity_m.min(aft_guide_m),
            |x| format!("{:.0} mm from the nose tip", x * 1e3),
            "assumption: at the centre of gravity",
        );
        let tilt_rad = given_or(l.tilt_rad, assumed, "launch.tilt", 0.0, |_| "vertical".into(), "assumption");
        let azimuth_rad = match l.azimuth_rad {
            Some(azimuth) => azimuth,
            None if tilt_rad > 0.0 => given_or(
                None,
                assumed,
                "launch.azimuth",
                0.0,
                |_| "towards true north".into(),
                "assumption: give the direction the rail leans towards",
            ),
            None => 0.0,
        };
        let apart = aft_guide_m - forward_guide_m;
        if apart < 0.0 {
            faults.add(
                "launch.forward_guide",
                format!("it lies {:.3} m behind the aft guide", -apart),
                "both are measured from the nose tip; give both",
            );
        } else if apart >= l.rail_length_m {
            faults.add(
                "launch.rail_length",
                format!("the guides are {apart:.3} m apart, farther than the rail of {} m is long", l.rail_length_m),
                "give the travel until the last guide leaves, and both guides from the nose tip",
            );
        }
        Launch {
            tilt_rad,
            azimuth_rad,
            last_travel_m: l.rail_length_m,
            forward_travel_m: l.rail_length_m - apart,
            aft_guide_m,
            friction: given_or(
                l.friction,
                assumed,
                "launch.friction",
                0.1,
                |f| format!("{f}"),
                "assumption: plastic guides",
            ),
        }
    }

    fn recovery(r: &RecoveryInput, aero: &Aero, assumed: &mut Vec<Assumption>) -> RecoveryPlan {
        let mut canopy = |device: &Device, names: [&'static str; 2]| match *device {
            Device::Parachute { diameter_m, drag_coefficient, fill_constant } => {
                let cd = given_or(
                    drag_coefficient,
                    assumed,
                    names[0],
                    0.75,
                    |c| format!("{c} on the cloth laid flat"),
                    "solid flat round canopy: 0.75 to 0.80 (Knacke table 5-1, from memory; 0.75 read in a university reproduction)",
                );
                let n = given_or(
                    fill_constant,
                    assumed,
                    names[1],
                    8.0,
                    |n| format!("full after {n} diameters of air path"),
                    "solid flat round canopy (Knacke, from memory)",
                );
                Canopy {
                    drag_area_m2: cd * 0.25 * core::f64::consts::PI * diameter_m * diameter_m,
                    fill_path_m: n * diameter_m,
                    fill_power: 2,
                }
            }
            Device::Streamer { length_m, width_m, drag_coefficient } => {
                let cd = given_or(
                    drag_coefficient,
                    assumed,
                    names[0],
                    STREAMER_DRAG,
                    |c| format!("{c} on length x width"),
                    "range 0.14 to 0.40 quoted second-hand, low trust",
                );
                Canopy {
                    drag_area_m2: cd * length_m * width_m,
                    fill_path_m: STREAMER_FILL_LENGTHS * length_m,
                    fill_power: 1,
                }
            }
            Device::Tumble => Canopy { drag_area_m2: aero.cross_flow.drag_area_m2, fill_path_m: 0.0, fill_power: 0 },
            Device::None => Canopy { drag_area_m2: 0.0, fill_path_m: 0.0, fill_power: 1 },
        };
        RecoveryPlan {
            first: canopy(&r.first, ["card.recovery.first.drag_coefficient", "card.recovery.first.fill_constant"]),
            main: r.main.map(|(device, height)| {
                let main = canopy(&device, ["card.recovery.main.drag_coefficient", "card.recovery.main.fill_constant"]);
                (main, height)
            }),
        }
    }

    fn nominal(inputs: &Inputs, motor: &MotorPlan, aero: &Aero) -> Nominal {
        let count = inputs.motor.count as f64;
        let average = motor.curve.average_n() * count;
        let a = &inputs.airframe;
        let (first, last) = motor.curve.burn_window_s();
        Nominal {
            impulse_n_s: motor.curve.impulse_n_s() * count,
            average_thrust_n: average,
            thrust_to_weight: average / (a.mass_kg * STANDARD_GRAVITY_M_S2),
            margin_calibres: (aero.centre_of_pressure_m() - a.centre_of_gravity_m) / a.diameter_m,
            burn_s: last - first,
            tail_off_s: motor.curve.end_s() - last,
        }
    }
}

/// The motor's diameter, or what is assumed for it.
fn motor_diameter_m(motor: &MotorInput, body_m: f64) -> f64 {
    motor.diameter_m.unwrap_or_else(|| 0.6 * body_m / (motor.count as f64).sqrt())
}
