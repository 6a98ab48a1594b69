//! One flight's world, drawn: a pure function of the case and the flight's number.

mod law;
mod mass;
mod numbers;

pub use law::{Law, REACH_DEVIATIONS};
pub use mass::Mass;
pub use numbers::{
    Group, Long, MOST_MOTORS, Numbers, POINTS_PER_REPLICATE, Point, PointSet, REPLICATES, SLOTS, Slot, seed_of_round,
};

use crate::air::{AirTable, Column};
use crate::calibration;
use crate::case::Case;
use crate::flight::{
    Change, Drawn, DrawnAt, Events, Failing, Failure, MassModel, Misalignment, Rail, Stages, Start, pick,
};
use crate::stat::normal;
use crate::thrust::{DrawnMotor, Side, ThrustTable};
use crate::wind::{ERROR_ANCHORS_M, WindNumbers};

/// A change of the model that all flights share: how the answer moves when the model is off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shift {
    /// Centre of pressure over its place from the nose tip.
    pub centre_of_pressure_factor: f64,
    /// Drag over the drawn one.
    pub drag_factor: f64,
    /// Added to the wind's speed, m/s.
    pub wind_m_s: f64,
    /// What fails in every flight, in place of what is drawn.
    pub failure: Option<Failure>,
    /// As if nothing had been learned from flights flown.
    pub unlearned: bool,
}

impl Shift {
    /// The model as it is.
    pub const NONE: Self =
        Self { centre_of_pressure_factor: 1.0, drag_factor: 1.0, wind_m_s: 0.0, failure: None, unlearned: false };

    /// The model as it is, with a failure in every flight.
    pub fn failing(failure: Failure) -> Self {
        Self { failure: Some(failure), ..Self::NONE }
    }
}

/// Draws one flight.
pub fn draw<'a>(case: &'a Case, numbers: &Numbers, shift: &Shift) -> (Drawn<'a>, Events) {
    let spread = &case.spread;
    let learned = case.calibrated.as_ref().filter(|_| !shift.unlearned).map(|c| c.of(numbers));
    let standard = |slot: Slot| {
        let own = normal::quantile(numbers.uniform(slot));
        learned.map_or(own, |set| calibration::moved(set, slot, own))
    };
    let from = |law: &Law, slot: Slot| match law {
        Law::Fixed(value) => *value,
        law if learned.is_some() => calibration::value(law, standard(slot)),
        law => law.at(numbers.uniform(slot)),
    };

    let failing = failing(case, numbers, shift);
    let thrust = motors(case, numbers, failing, &from);
    let mass_factor = from(&spread.mass, Slot::Mass);
    let nominal = &case.mass;
    let lift_off_kg = case.inputs.airframe.mass_kg * mass_factor;
    let mass = MassModel {
        // The airframe is light or heavy; the propellant is what it is.
        dry_mass_kg: lift_off_kg - nominal.propellant_kg,
        // The error is one of the whole rocket; all of it lies in the airframe.
        dry_cg_m: nominal.dry_cg_m
            + from(&spread.centre_of_gravity, Slot::CentreOfGravity) * lift_off_kg
                / (lift_off_kg - nominal.propellant_kg),
        dry_inertia_kg_m2: nominal.dry_inertia_kg_m2 * mass_factor,
        ..*nominal
    };

    let aero = &case.aero;
    let slope = from(&spread.normal_force_slope, Slot::NormalForceSlope);
    let cp_moves = from(&spread.centre_of_pressure, Slot::CentreOfPressure)
        + (shift.centre_of_pressure_factor - 1.0) * aero.centre_of_pressure_m();
    let drag_factor = from(&spread.drag, Slot::Drag) * shift.drag_factor;

    let field = &case.field;
    let column = Column::over(
        field.elevation_m,
        field.station_pressure_pa + from(&spread.pressure, Slot::Pressure),
        field.temperature_k + from(&spread.temperature, Slot::Temperature),
    );
    let wind_numbers = WindNumbers {
        along: core::array::from_fn(|k| standard(Slot::WindAlong(k))),
        across: core::array::from_fn(|k| standard(Slot::WindAcross(k))),
        gust: [standard(Slot::GustAlong), standard(Slot::GustAcross)],
        variable_direction: numbers.uniform(Slot::VariableDirection),
        shift_m_s: shift.wind_m_s,
    };
    let member = if case.other_winds.is_empty() { 0 } else { case.member(numbers.uniform(Slot::Member)) };
    let wind = case.wind_of(member).table(&wind_numbers, numbers.normals(Long::Gusts));

    let direction = rail_direction(
        case.launch.tilt_rad,
        case.launch.azimuth_rad,
        from(&spread.rail_angle, Slot::RailInPlane),
        from(&spread.rail_angle, Slot::RailAcross),
    );
    let at_rest = mass.at(0.0);
    let drawn = Drawn {
        gravity: field.gravity,
        earth_rotation_rad_s: field.earth_rotation_rad_s,
        air: AirTable::new(&column, case.top_m),
        roll_reference: across_the_flight(&wind, direction),
        wind,
        thrust,
        mass,
        grain_known: case.motor.grain_known,
        aero,
        body: aero.body.scaled(slope).shifted(cp_moves),
        fins: aero.fins.scaled(slope).shifted(cp_moves),
        cross_flow: aero.cross_flow,
        drag_factor,
        along_flow_drag_area_m2: 0.0,
        misalignment: Misalignment {
            thrust_rad: [
                from(&spread.thrust_misalignment, Slot::ThrustOne),
                from(&spread.thrust_misalignment, Slot::ThrustOther),
            ],
            nozzle_m: case.inputs.airframe.length_m,
            fins_rad: [from(&spread.fin_misalignment, Slot::FinsOne), from(&spread.fin_misalignment, Slot::FinsOther)],
            roll_rad: core::f64::consts::TAU * numbers.uniform(Slot::RollAngle),
            roll_rate_rad_s: from(&spread.roll_rate, Slot::RollRate),
        },
        start: Start::Rail {
            rail: Rail {
                direction,
                forward_travel_m: case.launch.forward_travel_m,
                last_travel_m: case.launch.last_travel_m,
                aft_guide_m: case.launch.aft_guide_m,
                friction: case.launch.friction,
            },
            cg_height_m: (case.inputs.airframe.length_m - at_rest.cg_m).max(0.0) * direction[2],
        },
        top_m: case.top_m,
        change: None,
    };
    let drawn = match failing {
        Some(Failing { failure: Failure::FinLost, when, .. }) => {
            let fins = drawn.fins.scaled(case.fins_left);
            Drawn { change: Some(Change { at_s: when * drawn.thrust.burnout_s(), fins }), ..drawn }
        }
        _ => drawn,
    };
    // What an unlit motor holds stays on board.
    let burned_kg = drawn.thrust.at(drawn.thrust.end_s(), Side::After).burned_kg;
    let drawn_at = DrawnAt {
        delay: (0..case.motor.offsets_m.len()).map(|k| numbers.uniform(Slot::Delay(k))).collect(),
        apogee_lag: numbers.uniform(Slot::ApogeeLag),
        sensed_height: numbers.uniform(Slot::SensedHeight),
    };
    let events = events(case, failing, drawn_at, &from, lift_off_kg - burned_kg);
    (drawn, events)
}

/// What fails in a flight: what the shift says, else what is drawn by the shares.
fn failing(case: &Case, numbers: &Numbers, shift: &Shift) -> Option<Failing> {
    let failure = shift.failure.or_else(|| {
        if case.inputs.failures.is_empty() {
            return None;
        }
        let mut left = numbers.uniform(Slot::Failure);
        case.inputs.failures.iter().find_map(|(failure, share)| {
            left -= share;
            (left < 0.0).then_some(*failure)
        })
    })?;
    Some(Failing { failure, when: numbers.uniform(Slot::FailureTime), size: numbers.uniform(Slot::FailureSize) })
}

fn motors(case: &Case, numbers: &Numbers, failing: Option<Failing>, from: &impl Fn(&Law, Slot) -> f64) -> ThrustTable {
    let plan = &case.motor;
    let count = plan.offsets_m.len();
    let share = match failing.map(|f| f.failure) {
        Some(Failure::MotorUnlit) => 1.0,
        _ => plan.one_unlit_share,
    };
    let impulse_share = failing.map_or(1.0, |f| f.impulse_share());
    let unlit =
        (count > 1 && numbers.uniform(Slot::Unlit) < share).then(|| pick(numbers.uniform(Slot::UnlitMotor), count));
    let motors: Vec<DrawnMotor> = plan
        .offsets_m
        .iter()
        .enumerate()
        .map(|(k, offset)| DrawnMotor {
            impulse_factor: impulse_share * from(&case.spread.impulse, Slot::Impulse(k)),
            burn_factor: from(&case.spread.burn_time, Slot::BurnTime(k)),
            lit: unlit != Some(k),
            offset_m: *offset,
        })
        .collect();
    ThrustTable::new(&plan.curve, plan.propellant_kg, &motors, plan.burnout_at_end)
}

fn events(
    case: &Case,
    failing: Option<Failing>,
    drawn_at: DrawnAt,
    from: &impl Fn(&Law, Slot) -> f64,
    hanging_kg: f64,
) -> Events {
    let spread = &case.spread;
    let canopy_factor = from(&spread.canopy_drag, Slot::CanopyDrag);
    let height_error_m = from(&spread.sensed_height, Slot::SensedHeight);
    let delay_errors: Vec<[f64; 2]> = drawn_at.delay.iter().map(|u| spread.delay.at(*u)).collect();
    let grown = |mut canopy: crate::flight::Canopy| {
        canopy.drag_area_m2 *= canopy_factor;
        canopy
    };
    Events {
        delay_in_tolerances: delay_errors.iter().map(|error| error[0]).collect(),
        delay_error_s: delay_errors.iter().map(|error| error[1]).collect(),
        clock: case.motor.clock,
        apogee_lag_s: from(&spread.apogee_lag, Slot::ApogeeLag).max(0.0),
        height_error_m,
        line_stretch_lag_s: from(&spread.line_stretch_lag, Slot::LineStretchLag).max(0.0),
        stages: Stages {
            first: grown(case.recovery.first),
            main: case.recovery.main.map(|(main, height)| (grown(main), (height + height_error_m).max(0.0))),
            bare_area_m2: case.aero.drag_coasting.at(0.0) * case.aero.reference_area_m2,
            mass_kg: hanging_kg,
            seen_m2: case.inputs.airframe.length_m * case.inputs.airframe.diameter_m,
        },
        casing: case.motor.casing,
        failing,
        drawn_at,
    }
}

/// Unit vector along a rail: its setting, turned by two small angles in and across the plane of the tilt,
/// so that a vertical rail is no special case.
fn rail_direction(tilt_rad: f64, azimuth_rad: f64, in_plane_rad: f64, across_rad: f64) -> [f64; 3] {
    let tilt = tilt_rad + in_plane_rad;
    let (st, ct) = (libm::sin(tilt), libm::cos(tilt));
    let (sa, ca) = (libm::sin(azimuth_rad), libm::cos(azimuth_rad));
    let (sx, cx) = (libm::sin(across_rad), libm::cos(across_rad));
    // In the plane: (sin tilt, cos tilt) towards the azimuth; across: the horizontal to its right.
    [cx * st * sa + sx * ca, cx * st * ca - sx * sa, cx * ct]
}

/// Horizontal unit vector across the plane in which the flight will turn over, where the transverse axes
/// are well defined: the rail's lean less the wind's push.
fn across_the_flight(wind: &crate::wind::WindTable, rail: [f64; 3]) -> [f64; 2] {
    let (e, n) = wind.at(ERROR_ANCHORS_M[1]);
    // A rocket turns into the wind: 30 m/s is a usual speed leaving the ground.
    let (x, y) = (rail[0] - e / 30.0, rail[1] - n / 30.0);
    let length = (x * x + y * y).sqrt();
    if length > 1e-9 { [y / length, -x / length] } else { [1.0, 0.0] }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lanes::dot;
    use crate::wind::WindTable;

    /// The rail leans by tilt and error within the plane of the azimuth, and by the other error to the right of it.
    #[test]
    fn rail_angles_are_where_they_say() {
        for (tilt, azimuth, in_plane, across) in [
            (0.1_f64, 0.7_f64, 0.02_f64, -0.03_f64),
            (0.0, 4.0, -0.01, 0.05),
            (0.3, 2.5, 0.0, 0.0),
            (0.0, 0.0, 0.0, 0.0),
        ] {
            let d = rail_direction(tilt, azimuth, in_plane, across);
            let (sin, cos) = (libm::sin(azimuth), libm::cos(azimuth));
            let (ahead, right) = (dot(d, [sin, cos, 0.0]), dot(d, [cos, -sin, 0.0]));
            assert!((dot(d, d) - 1.0).abs() < 1e-15);
            assert!((libm::atan2(ahead, d[2]) - (tilt + in_plane)).abs() < 1e-15, "{d:?}");
            assert!((libm::asin(right) - across).abs() < 1e-15, "{d:?}");
        }
    }

    /// A flight turns over towards where its rail leans and against where the wind blows, a thirtieth per m/s; what
    /// is across is a quarter turn clockwise of that.
    #[test]
    fn transverse_axes_lie_across_the_flight() {
        let wind = |east, north| WindTable::new(vec![[0.0, 0.0, 0.0], [100.0, east, north]]);
        for (wind, rail, want) in [
            (wind(0.0, 0.0), [0.0, 0.1, 0.995], [1.0, 0.0]),
            (wind(0.0, 0.0), [0.1, 0.0, 0.995], [0.0, -1.0]),
            (wind(3.0, 0.0), [0.0, 0.0, 1.0], [0.0, 1.0]),
            (wind(0.0, 12.0), [0.3, 0.0, 0.954], [-0.8, -0.6]),
            (wind(12.0, 0.0), [0.0, 0.3, 0.954], [0.6, 0.8]),
            // Nothing to go by: any axis will do.
            (wind(0.0, 0.0), [0.0, 0.0, 1.0], [1.0, 0.0]),
        ] {
            let found = across_the_flight(&wind, rail);
            assert!((found[0] - want[0]).abs() < 1e-12 && (found[1] - want[1]).abs() < 1e-12, "{found:?} {want:?}");
        }
    }
}
