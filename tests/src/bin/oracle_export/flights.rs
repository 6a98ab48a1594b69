//! Drawn flights of the four rockets: the card, what was drawn, and the engine's answers.
//!
//! What is drawn goes out as the numbers that a law gave, not as the world the engine built from them, so that
//! the oracle applies them by itself. Two things are the engine's own: the drag of a shape (its build-up is too
//! long to write twice) as nodes against Mach number, and the horizontal unit vector from which the roll angle
//! counts, a convention. The wind table goes out beside its inputs, to be checked.

use core::f64::consts::TAU;

use serde_json::{Value, json};
use slowpoint_sim::aero::drag::build_up;
use slowpoint_sim::aero::{BUILD_UP_MACH_BOUND, Drag, Reference};
use slowpoint_sim::air::Column;
use slowpoint_sim::case::shape::{FinSet, NoseForm, Shape};
use slowpoint_sim::case::{Case, Device, Inputs, ThrustInput};
use slowpoint_sim::draw::{Law, Long, Numbers, PointSet, Shift, Slot, draw};
use slowpoint_sim::flight::{Ascent, Deployed, Flown, Mishaps, fly};
use slowpoint_sim::stat::normal;
use slowpoint_sim::wind::turbulence::SCALES_PER_STEP;
use slowpoint_sim::wind::{Direction, ERROR_ANCHORS_M};
use slowpoint_tests::rockets;

/// Seed of the drawn flights.
const SEED: u64 = 20_262;

/// Every rocket, each followed by its flights.
pub fn rows(flights: u64, print: &mut impl FnMut(Value)) {
    for (name, inputs) in rockets::all() {
        let case = Case::new(inputs).unwrap_or_else(|faults| panic!("{name}: {faults:?}"));
        print(rocket(name, &case));
        for flight in 0..flights {
            print(flown(name, &case, flight));
        }
    }
}

fn rocket(name: &str, case: &Case) -> Value {
    let Inputs { airframe, motor, recovery, launch, site, wind, .. } = &case.inputs;
    let (ThrustInput::Curve(curve), Device::Parachute { diameter_m: parachute_m, .. }) =
        (&motor.thrust, recovery.first)
    else {
        panic!("{name}: the oracle knows thrust curves and parachutes")
    };
    let Some(surface) = wind.surface else { panic!("{name}: the oracle knows a surface wind under layers") };
    let Direction::From(from_rad) = surface.direction else { panic!("{name}: the oracle knows a direction") };
    let layers: Vec<_> =
        wind.layers.iter().map(|l| [l.height_above_ground_m, l.speed_m_s, l.direction_from_rad]).collect();
    let errors = case.spread.wind;
    json!({
        "kind": "rocket", "name": name,
        "diameter_m": airframe.diameter_m, "length_m": airframe.length_m, "mass_kg": airframe.mass_kg,
        "centre_of_gravity_m": airframe.centre_of_gravity_m,
        "centre_of_pressure_m": airframe.centre_of_pressure_m,
        "normal_force_slope_per_rad": airframe.normal_force_slope_per_rad,
        "drag": drag(case),
        "shape": airframe.shape.as_ref().map(shape),
        "thrust_curve": curve, "propellant_kg": motor.propellant_kg,
        "motor_diameter_m": motor.diameter_m, "motor_length_m": motor.length_m,
        "parachute_m": parachute_m,
        "rail_length_m": launch.rail_length_m, "tilt_rad": launch.tilt_rad, "azimuth_rad": launch.azimuth_rad,
        "latitude_rad": site.latitude_rad, "elevation_m": site.elevation_m, "temperature_k": site.temperature_k,
        "surface_wind": [surface.measuring_height_m, surface.speed_m_s, from_rad], "layers": layers,
        "wind_error_m_s": errors.component_sd_m_s, "wind_direction_error_rad": errors.direction_sd_rad,
        "wind_correlation_m": errors.correlation_length_m, "wind_error_growth_per_s": errors.growth_above_top_per_s,
        "wind_anchors_m": ERROR_ANCHORS_M,
        "gust_heights_m": case.wind.gust_heights_m(), "gust_scales_per_step": SCALES_PER_STEP,
    })
}

/// Drag as (Mach, coasting, thrusting): the card's own nodes, or the build-up of its shape on a grid twenty times
/// finer than the engine's.
fn drag(case: &Case) -> Value {
    let Inputs { airframe, motor, .. } = &case.inputs;
    let nodes: Vec<[f64; 3]> = match (&airframe.drag, &airframe.shape, motor.diameter_m) {
        (Some(Drag::Coefficient(c)), ..) => vec![[0.0, *c, *c]],
        (Some(Drag::Table(table)), ..) => table.iter().map(|(mach, c)| [*mach, *c, *c]).collect(),
        (None, Some(shape), Some(motor_diameter_m)) => {
            let field = &case.field;
            let air = Column::over(field.elevation_m, field.station_pressure_pa, field.temperature_k).at(0.0);
            let reference = Reference {
                density_kg_m3: air.density_kg_m3,
                dynamic_viscosity_pa_s: air.dynamic_viscosity_pa_s(),
                speed_of_sound_m_s: air.speed_of_sound_m_s,
            };
            let area_m2 = case.aero.reference_area_m2;
            let steps = (BUILD_UP_MACH_BOUND * 2000.0).round() as u32;
            let at = |mach| build_up(shape, area_m2, motor_diameter_m, &reference, mach);
            let machs = (0..=steps).map(|k| f64::from(k) / 2000.0);
            machs.map(|mach| (mach, at(mach))).map(|(m, parts)| [m, parts.coasting(), parts.thrusting()]).collect()
        }
        _ => panic!("the oracle knows drag figures, or a shape with a motor"),
    };
    json!(nodes)
}

fn shape(shape: &Shape) -> Value {
    let [FinSet { count, root_chord_m, tip_chord_m, span_m, sweep_m, station_m, body_diameter_m, .. }] =
        shape.fin_sets[..]
    else {
        panic!("the oracle knows one set of fins")
    };
    assert!(shape.nose.form == NoseForm::Cone && shape.transitions.is_empty(), "the oracle knows a cone on a tube");
    json!({
        "cone_length_m": shape.nose.length_m,
        "fins": {
            "count": count, "root_chord_m": root_chord_m, "tip_chord_m": tip_chord_m, "span_m": span_m,
            "sweep_m": sweep_m, "station_m": station_m, "body_diameter_m": body_diameter_m,
        },
    })
}

fn flown(name: &str, case: &Case, flight: u64) -> Value {
    let numbers = Numbers::of(PointSet::Sobol, SEED, flight);
    let (world, events) = draw(case, &numbers, &Shift::NONE);
    let ways = &case.inputs.question.ways;
    let mut ascent = Ascent::default();
    let flown = fly(&world, &events, ways, &mut ascent);
    let spread = &case.spread;
    let of = |law: &Law, slot: Slot| law.at(numbers.uniform(slot));
    let standard = |slot: Slot| normal::quantile(numbers.uniform(slot));
    let chain = |slot: fn(usize) -> Slot| (0..ERROR_ANCHORS_M.len()).map(|k| standard(slot(k))).collect::<Vec<_>>();
    json!({
        "kind": "flight", "rocket": name, "flight": flight,
        "drawn": {
            "impulse_factor": of(&spread.impulse, Slot::Impulse(0)),
            "burn_factor": of(&spread.burn_time, Slot::BurnTime(0)),
            "delay_in_tolerances": spread.delay.at(numbers.uniform(Slot::Delay(0)))[0],
            "mass_factor": of(&spread.mass, Slot::Mass),
            "centre_of_gravity_error_m": of(&spread.centre_of_gravity, Slot::CentreOfGravity),
            "centre_of_pressure_error_m": of(&spread.centre_of_pressure, Slot::CentreOfPressure),
            "drag_factor": of(&spread.drag, Slot::Drag),
            "slope_factor": of(&spread.normal_force_slope, Slot::NormalForceSlope),
            "thrust_misalignment_rad": [
                of(&spread.thrust_misalignment, Slot::ThrustOne), of(&spread.thrust_misalignment, Slot::ThrustOther),
            ],
            "fin_misalignment_rad": [
                of(&spread.fin_misalignment, Slot::FinsOne), of(&spread.fin_misalignment, Slot::FinsOther),
            ],
            "roll_rad": TAU * numbers.uniform(Slot::RollAngle),
            "roll_rate_rad_s": of(&spread.roll_rate, Slot::RollRate),
            "rail_error_rad": [
                of(&spread.rail_angle, Slot::RailInPlane), of(&spread.rail_angle, Slot::RailAcross),
            ],
            "canopy_factor": of(&spread.canopy_drag, Slot::CanopyDrag),
            "line_stretch_lag_s": of(&spread.line_stretch_lag, Slot::LineStretchLag),
            "temperature_error_k": of(&spread.temperature, Slot::Temperature),
            "pressure_error_pa": of(&spread.pressure, Slot::Pressure),
            "wind_along": chain(Slot::WindAlong), "wind_across": chain(Slot::WindAcross),
            "gust": [standard(Slot::GustAlong), standard(Slot::GustAcross)],
            "gust_normals": gust_normals(case, &numbers),
            "roll_reference": world.roll_reference,
        },
        "engine": {
            "wind_table": world.wind.nodes(),
            "rail_exit_s": flown.rail_exit.time_s, "rail_exit_m_s": flown.rail_exit.speed_m_s,
            "apogee_s": flown.apogee_s, "apogee_m": flown.apogee_m,
            "sound": flown.mishaps == Mishaps::default(),
            "ways": ways_of(&flown, &ways.iter().map(|w| w.motor_delay_s).collect::<Vec<_>>()),
        },
    })
}

/// Standard normals in the order in which the gusts above the ground take them: one for each direction there, then
/// two for each at every height.
fn gust_normals(case: &Case, numbers: &Numbers) -> Vec<f64> {
    let mut normal = numbers.normals(Long::Gusts);
    let above_ground = case.wind.gust_heights_m().len() - 1;
    (0..2 + 4 * above_ground).map(|_| normal()).collect()
}

fn ways_of(flown: &Flown, delays_s: &[Option<f64>]) -> Value {
    let way = |(delay_s, d): (&Option<f64>, &Deployed)| {
        json!({
            "delay_s": delay_s, "outcome": format!("{:?}", d.outcome),
            "ejection": d.ejection.map(|e| json!({"time_s": e.time_s, "airspeed_m_s": e.airspeed_m_s})),
            "landing": d.landing.map(|l| json!({"time_s": l.time_s, "east_m": l.east_m, "north_m": l.north_m})),
        })
    };
    delays_s.iter().zip(&flown.deployed).map(way).collect()
}
