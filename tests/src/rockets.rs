//! Four very different rockets, all invented: 20 g of paper, a 0.6 kg club rocket, 4 kg of high power, 30 kg.

use slowpoint_sim::aero::Drag;
use slowpoint_sim::case::shape::{FinEdge, FinSet, Nose, NoseForm, RailGuide, Shape};
use slowpoint_sim::case::{
    AirframeInput, Device, Inputs, LaunchInput, LimitApplies, MotorInput, Question, RecoveryInput, SiteInput,
    SpreadInput, ThrustInput, WindInput,
};
use slowpoint_sim::draw::{Law, PointSet};
use slowpoint_sim::flight::{Deployment, Electronics};
use slowpoint_sim::wind::{Direction, Layer, SurfaceWind};

/// A motor's ejection after a delay.
pub fn delay(seconds: f64) -> Deployment {
    Deployment { motor_delay_s: Some(seconds), electronics: None }
}

fn airframe(diameter_m: f64, length_m: f64, mass_kg: f64, cg_m: f64) -> AirframeInput {
    AirframeInput {
        diameter_m,
        length_m,
        mass_kg,
        centre_of_gravity_m: cg_m,
        centre_of_gravity_burnout_m: None,
        inertia_kg_m2: None,
        inertia_burnout_kg_m2: None,
        centre_of_pressure_m: None,
        normal_force_slope_per_rad: None,
        drag: None,
        tail_first_factor: None,
        shape: None,
    }
}

fn motor(curve: &[(f64, f64)], propellant_kg: f64, diameter_m: f64, length_m: f64) -> MotorInput {
    MotorInput {
        thrust: ThrustInput::Curve(curve.to_vec()),
        propellant_kg: Some(propellant_kg),
        diameter_m: Some(diameter_m),
        length_m: Some(length_m),
        propellant_centre_m: None,
        count: 1,
        ring_radius_m: None,
        one_unlit_share: None,
        burnout_at_curve_end: false,
        delay_from_nominal_burn: false,
    }
}

fn parachute(diameter_m: f64) -> RecoveryInput {
    let first = Device::Parachute { diameter_m, drag_coefficient: None, fill_constant: None };
    RecoveryInput { first, main: None }
}

fn inputs(
    airframe: AirframeInput,
    motor: MotorInput,
    recovery: RecoveryInput,
    rail_length_m: f64,
    tilt_deg: f64,
    delays: &[f64],
) -> Inputs {
    let layer = |z, s, d: f64| Layer { height_above_ground_m: z, speed_m_s: s, direction_from_rad: d.to_radians() };
    Inputs {
        airframe,
        motor,
        recovery,
        launch: LaunchInput {
            rail_length_m,
            tilt_rad: Some(tilt_deg.to_radians()),
            azimuth_rad: Some(1.0),
            friction: None,
            forward_guide_m: None,
            aft_guide_m: None,
        },
        site: SiteInput {
            latitude_rad: Some(0.82),
            elevation_m: Some(300.0),
            temperature_k: Some(291.0),
            pressure: None,
            ceiling_m: None,
            areas: Vec::new(),
        },
        wind: WindInput {
            surface: Some(SurfaceWind {
                speed_m_s: 4.0,
                direction: Direction::From(4.2),
                measuring_height_m: 10.0,
                gust_m_s: None,
            }),
            layers: vec![layer(300.0, 7.0, 250.0), layer(1200.0, 11.0, 275.0), layer(3500.0, 16.0, 290.0)],
            law: None,
            gustiness: None,
            others: Vec::new(),
            age_s: None,
        },
        spread: SpreadInput::default(),
        failures: Vec::new(),
        cords: None,
        calibration: None,
        question: Question {
            ways: delays.iter().copied().map(delay).collect(),
            limits_m_s: vec![15.6464, 44.704],
            limit_applies: LimitApplies::Ejection,
            accept_chance: None,
            accept_limit: 0,
            flights: 1024,
            until_half_width: None,
            seed: 1,
            points: PointSet::Sobol,
            rule_set: None,
            drivers: None,
            settings: slowpoint_sim::settings::Settings::default(),
            rare: Vec::new(),
        },
    }
}

/// 20 g of paper on a motor of 2.4 N s.
pub fn paper() -> Inputs {
    let mut a = airframe(0.019, 0.30, 0.020, 0.19);
    a.shape = Some(Shape {
        nose: Nose { form: NoseForm::Cone, length_m: 0.05, base_diameter_m: 0.019 },
        transitions: Vec::new(),
        fin_sets: vec![FinSet {
            count: 3,
            root_chord_m: 0.05,
            tip_chord_m: 0.03,
            span_m: 0.035,
            sweep_m: 0.02,
            thickness_m: 0.001,
            station_m: 0.25,
            body_diameter_m: 0.019,
            edge: FinEdge::Flat,
        }],
        guides: vec![RailGuide { station_m: 0.2, frontal_area_m2: 1.2e-5, wetted_area_m2: 6e-4 }],
        length_m: 0.30,
        base_diameter_m: 0.019,
        roughness_m: 60e-6,
    });
    let curve = [(0.0, 0.0), (0.05, 3.0), (0.17, 9.0), (0.24, 4.0), (0.5, 3.4), (0.56, 0.0)];
    inputs(a, motor(&curve, 0.0031, 0.013, 0.045), parachute(0.25), 0.8, 0.0, &[1.0, 3.0, 5.0])
}

/// A 0.6 kg club rocket on 78 N s.
pub fn club() -> Inputs {
    let mut a = airframe(0.054, 1.05, 0.62, 0.66);
    a.centre_of_pressure_m = Some(0.79);
    a.normal_force_slope_per_rad = Some(10.5);
    a.drag = Some(Drag::Coefficient(0.55));
    let curve = [(0.0, 0.0), (0.03, 70.0), (0.2, 62.0), (0.8, 55.0), (1.25, 44.0), (1.45, 8.0), (1.5, 0.0)];
    inputs(a, motor(&curve, 0.04, 0.029, 0.12), parachute(0.75), 1.2, 3.0, &[3.0, 5.0, 7.0, 10.0])
}

/// A card within every range whose flights are lost in the air: it spins at 59 turns a second under thrust for 17 s.
pub fn lost() -> Inputs {
    let mut inputs = club();
    inputs.airframe.diameter_m = 0.3;
    inputs.airframe.drag = Some(Drag::Coefficient(3.0));
    inputs.motor.thrust = ThrustInput::Curve(vec![(0.0, 600.0), (17.0, 600.0), (17.001, 0.0)]);
    inputs.spread.roll_rate = Some(Law::Fixed(370.0));
    let first = Device::Parachute { diameter_m: 5.0, drag_coefficient: None, fill_constant: Some(30.0) };
    inputs.recovery = RecoveryInput { first, main: None };
    let height = Deployment { motor_delay_s: None, electronics: Some(Electronics::Height(100.0)) };
    inputs.question.ways = vec![height];
    (inputs.question.seed, inputs.question.flights) = (1, 64);
    inputs
}

/// 4 kg of high power on 640 N s.
pub fn high_power() -> Inputs {
    let mut a = airframe(0.102, 1.9, 4.1, 1.15);
    a.centre_of_pressure_m = Some(1.38);
    a.normal_force_slope_per_rad = Some(13.0);
    a.drag = Some(Drag::Table(vec![(0.0, 0.52), (0.6, 0.48), (0.9, 0.56), (1.05, 0.72), (1.5, 0.66)]));
    let curve = [(0.0, 0.0), (0.05, 340.0), (0.4, 330.0), (1.2, 300.0), (1.9, 240.0), (2.2, 60.0), (2.4, 0.0)];
    inputs(a, motor(&curve, 0.34, 0.038, 0.36), parachute(1.5), 2.4, 2.0, &[8.0, 11.0, 14.0])
}

/// 30 kg on 9000 N s.
pub fn heavy() -> Inputs {
    let mut a = airframe(0.155, 3.4, 30.0, 2.15);
    a.centre_of_pressure_m = Some(2.62);
    a.normal_force_slope_per_rad = Some(14.0);
    a.drag = Some(Drag::Table(vec![(0.0, 0.50), (0.7, 0.46), (0.95, 0.62), (1.1, 0.74), (1.6, 0.62), (2.0, 0.55)]));
    let curve = [(0.0, 0.0), (0.1, 2300.0), (1.0, 2500.0), (2.5, 2200.0), (3.6, 1500.0), (4.2, 300.0), (4.6, 0.0)];
    inputs(a, motor(&curve, 4.4, 0.098, 0.95), parachute(4.2), 5.0, 4.0, &[14.0, 18.0, 23.0])
}

/// All four with their names.
pub fn all() -> [(&'static str, Inputs); 4] {
    [("20 g paper", paper()), ("0.6 kg club", club()), ("4 kg high power", high_power()), ("30 kg", heavy())]
}

/// The same rocket asked about eight delays, evenly from its shortest to its longest.
pub fn with_eight_delays(mut inputs: Inputs) -> Inputs {
    let delays_s: Vec<f64> = inputs.question.ways.iter().filter_map(|way| way.motor_delay_s).collect();
    let (Some(shortest), Some(longest)) = (delays_s.first(), delays_s.last()) else { return inputs };
    inputs.question.ways = (0..8).map(|k| delay(shortest + (longest - shortest) * f64::from(k) / 7.0)).collect();
    inputs
}

/// Nothing is drawn but the gust, which a report without a gust group leaves open, and the variable direction.
pub fn without_spread(mut inputs: Inputs) -> Inputs {
    let one = || Some(Law::Fixed(1.0));
    let zero = || Some(Law::Fixed(0.0));
    let s = &mut inputs.spread;
    for factor in
        [&mut s.impulse, &mut s.burn_time, &mut s.mass, &mut s.drag, &mut s.normal_force_slope, &mut s.canopy_drag]
    {
        *factor = one();
    }
    for error in [
        &mut s.delay,
        &mut s.centre_of_gravity,
        &mut s.centre_of_pressure,
        &mut s.thrust_misalignment,
        &mut s.fin_misalignment,
        &mut s.roll_rate,
        &mut s.rail_angle,
        &mut s.line_stretch_lag,
        &mut s.apogee_lag,
        &mut s.sensed_height,
        &mut s.temperature,
        &mut s.pressure,
    ] {
        *error = zero();
    }
    (s.wind_component_sd_m_s, s.wind_direction_sd_rad) = (Some(0.0), Some(0.0));
    inputs
}
