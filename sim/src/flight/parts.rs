//! What the derivative is given: one flight's drawn world, and the form in which lanes ask for it.

use super::forces::State;
use crate::aero::{Aero, CrossFlow, SlopeMoments};
use crate::air::AirTable;
use crate::lanes::Lane;
use crate::thrust::{Burning, Side, ThrustTable};
use crate::wind::WindTable;

/// Gravity that falls with the square of the distance from a centre far below.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gravity {
    /// At the pad, m/s^2.
    pub surface_m_s2: f64,
    /// Distance of the centre, m; infinite for constant gravity.
    pub radius_m: f64,
}

impl Gravity {
    /// Normal gravity on the WGS 84 ellipsoid (Somigliana's formula), with its free-air gradient to first
    /// order written as an inverse square: below 20 km the rest is under 1e-5 of g.
    pub fn normal(latitude_rad: f64, elevation_m: f64) -> Self {
        use crate::constants::{
            EARTH_ECCENTRICITY_SQUARED, EARTH_FLATTENING as F, EARTH_GRAVITY_RATIO, EARTH_SEMI_MAJOR_M,
            EQUATOR_GRAVITY_M_S2, SOMIGLIANA_K,
        };
        let sin2 = libm::sin(latitude_rad) * libm::sin(latitude_rad);
        let ellipsoid =
            EQUATOR_GRAVITY_M_S2 * (1.0 + SOMIGLIANA_K * sin2) / (1.0 - EARTH_ECCENTRICITY_SQUARED * sin2).sqrt();
        let radius = EARTH_SEMI_MAJOR_M / (1.0 + F + EARTH_GRAVITY_RATIO - 2.0 * F * sin2);
        let fall = radius / (radius + elevation_m);
        Self { surface_m_s2: ellipsoid * fall * fall, radius_m: radius + elevation_m }
    }

    /// The same pull everywhere.
    pub fn constant(m_s2: f64) -> Self {
        Self { surface_m_s2: m_s2, radius_m: f64::INFINITY }
    }

    /// At a height above the pad.
    #[inline(always)]
    pub fn at(&self, height_m: f64) -> f64 {
        pull(self.surface_m_s2, 1.0 / self.radius_m, height_m)
    }
}

/// An inverse square, from the pull at the pad and one over the distance of the centre.
#[inline(always)]
fn pull<L: Lane>(surface_m_s2: L, per_radius_m: L, height_m: L) -> L {
    let s = L::splat(1.0) + height_m * per_radius_m;
    surface_m_s2 / (s * s)
}

/// Mass properties: a dry airframe and propellant that burns at a fixed place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MassModel<L = f64> {
    /// Without propellant, kg.
    pub dry_mass_kg: L,
    /// Centre of gravity without propellant, m from the nose tip.
    pub dry_cg_m: L,
    /// Transverse inertia without propellant about its own centre, kg m^2.
    pub dry_inertia_kg_m2: L,
    /// Propellant of all motors, kg.
    pub propellant_kg: L,
    /// Centre of the propellant, m from the nose tip.
    pub propellant_cg_m: L,
    /// Squared transverse radius of gyration of the propellant about its own centre, m^2.
    pub propellant_gyration_m2: L,
}

/// Mass, centre of gravity and inertia at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MassState<L = f64> {
    /// Mass, kg.
    pub mass_kg: L,
    /// Centre of gravity, m from the nose tip.
    pub cg_m: L,
    /// Transverse inertia about it, kg m^2.
    pub inertia_kg_m2: L,
}

impl<L: Lane> MassModel<L> {
    /// With some propellant burned: the parallel-axis rule.
    #[inline(always)]
    pub fn at(&self, burned_kg: L) -> MassState<L> {
        let left = (self.propellant_kg - burned_kg).max(L::splat(0.0));
        let mass = self.dry_mass_kg + left;
        let apart = self.dry_cg_m - self.propellant_cg_m;
        MassState {
            mass_kg: mass,
            cg_m: (self.dry_mass_kg * self.dry_cg_m + left * self.propellant_cg_m) / mass,
            inertia_kg_m2: self.dry_inertia_kg_m2
                + left * self.propellant_gyration_m2
                + self.dry_mass_kg * left / mass * apart * apart,
        }
    }
}

/// The rail of one flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rail {
    /// Unit vector along the rail (east, north, up).
    pub direction: [f64; 3],
    /// Travel until the forward guide leaves, m.
    pub forward_travel_m: f64,
    /// Travel until the last guide leaves, m.
    pub last_travel_m: f64,
    /// Place of the aft guide, m from the nose tip.
    pub aft_guide_m: f64,
    /// Friction coefficient of the guides.
    pub friction: f64,
}

/// How a flight begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Start {
    /// At rest on a rail; the centre of gravity at a height above the pad.
    Rail {
        /// The rail.
        rail: Rail,
        /// Height of the centre of gravity above the pad, m.
        cg_height_m: f64,
    },
    /// In free flight at time zero: a check case, which no request can ask for.
    Free(State<f64>),
}

/// Small errors of the airframe, in its own transverse axes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Misalignment {
    /// Thrust against the axis, rad.
    pub thrust_rad: [f64; 2],
    /// Place where the thrust acts, m from the nose tip.
    pub nozzle_m: f64,
    /// Fins against the axis, rad.
    pub fins_rad: [f64; 2],
    /// Roll at first thrust, rad.
    pub roll_rad: f64,
    /// Roll rate, rad/s.
    pub roll_rate_rad_s: f64,
}

/// One flight's world: everything is drawn, so the flight is deterministic.
#[derive(Debug, Clone)]
pub struct Drawn<'a> {
    /// Gravity.
    pub gravity: Gravity,
    /// Northward and upward parts of the Earth's rotation, rad/s; zero switches Coriolis off.
    pub earth_rotation_rad_s: [f64; 2],
    /// Air.
    pub air: AirTable,
    /// Wind.
    pub wind: WindTable,
    /// Thrust.
    pub thrust: ThrustTable,
    /// Mass.
    pub mass: MassModel,
    /// Whether the grain is known: its radius of gyration k about the rocket's centre of gravity is then
    /// taken off the jet's lever l, mdot (l^2 - k^2). Else the lever alone counts.
    pub grain_known: bool,
    /// Tables of the airframe, the same for all flights.
    pub aero: &'a Aero,
    /// Slopes of nose and transitions as drawn.
    pub body: SlopeMoments,
    /// Slopes of the fins as drawn.
    pub fins: SlopeMoments,
    /// Cross-flow drag as drawn.
    pub cross_flow: CrossFlow,
    /// Drawn drag over the table's.
    pub drag_factor: f64,
    /// Drag area that acts along the airflow whatever the attitude, m^2: a sphere in a check case.
    pub along_flow_drag_area_m2: f64,
    /// Misalignments.
    pub misalignment: Misalignment,
    /// Horizontal unit vector that orients the transverse axes: across the plane of the flight.
    pub roll_reference: [f64; 2],
    /// How it begins.
    pub start: Start,
    /// Top of the model, m above the pad.
    pub top_m: f64,
    /// What changes on the way, if anything.
    pub change: Option<Change>,
}

/// A rocket that is another one from an instant on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    /// Seconds after first thrust.
    pub at_s: f64,
    /// Slopes of the fins from then on.
    pub fins: SlopeMoments,
}

/// The instant's share of the derivative: the same for all evaluations at one time.
#[derive(Debug, Clone, Copy)]
pub struct Instant<L> {
    /// Thrust, N.
    pub thrust: L,
    /// 1 while a motor burns, else 0: the base drags less behind a burning motor.
    pub burning: L,
    /// 1 / mass.
    pub per_mass: L,
    /// 1 / transverse inertia.
    pub per_inertia: L,
    /// Centre of gravity, m from the nose tip.
    pub cg: L,
    /// Jet damping, N m s.
    pub jet: L,
    /// Transverse force of misaligned thrust, N, and its moment with that of motors off the axis, N m.
    pub side: [L; 2],
    /// Moment in the rocket's transverse axes, N m.
    pub moment: [L; 2],
    /// Misalignment of the fins in the transverse axes, rad.
    pub fins: [L; 2],
}

/// Numbers of one flight that stay the same while it flies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(missing_docs, reason = "named after the fields of Drawn that they are")]
pub enum Number {
    ReferenceArea,
    TailFirstFactor,
    DragFactor,
    BodyZeroth,
    BodyFirst,
    BodySecond,
    FinsZeroth,
    FinsFirst,
    FinsSecond,
    CrossFlowArea,
    CrossFlowFirst,
    AlongFlowArea,
    RollReferenceEast,
    RollReferenceNorth,
    RotationNorth,
    RotationUp,
    SurfaceGravity,
    PerRadius,
    ThrustOne,
    ThrustOther,
    FinsOne,
    FinsOther,
    Nozzle,
    /// In turns at first thrust, and per second.
    Roll,
    RollRate,
    /// 1 where the grain is known, else 0.
    GrainKnown,
}

impl Number {
    /// Every number, in its order.
    pub const ALL: [Self; 26] = [
        Self::ReferenceArea,
        Self::TailFirstFactor,
        Self::DragFactor,
        Self::BodyZeroth,
        Self::BodyFirst,
        Self::BodySecond,
        Self::FinsZeroth,
        Self::FinsFirst,
        Self::FinsSecond,
        Self::CrossFlowArea,
        Self::CrossFlowFirst,
        Self::AlongFlowArea,
        Self::RollReferenceEast,
        Self::RollReferenceNorth,
        Self::RotationNorth,
        Self::RotationUp,
        Self::SurfaceGravity,
        Self::PerRadius,
        Self::ThrustOne,
        Self::ThrustOther,
        Self::FinsOne,
        Self::FinsOther,
        Self::Nozzle,
        Self::Roll,
        Self::RollRate,
        Self::GrainKnown,
    ];
}

impl<L: Lane> Instant<L> {
    /// This one in the lanes where `which` is 1, another one where it is 0.
    #[inline(always)]
    pub(super) fn where_set(&self, which: L, other: &Self) -> Self {
        let pair = |own: [L; 2], other: [L; 2]| [own[0].where_set(which, other[0]), own[1].where_set(which, other[1])];
        Self {
            thrust: self.thrust.where_set(which, other.thrust),
            burning: self.burning.where_set(which, other.burning),
            per_mass: self.per_mass.where_set(which, other.per_mass),
            per_inertia: self.per_inertia.where_set(which, other.per_inertia),
            cg: self.cg.where_set(which, other.cg),
            jet: self.jet.where_set(which, other.jet),
            side: pair(self.side, other.side),
            moment: pair(self.moment, other.moment),
            fins: pair(self.fins, other.fins),
        }
    }
}

/// Parts of the world as lanes see them. One flight is one lane.
pub trait Parts<L: Lane> {
    /// Wind towards east and north at a height.
    fn wind(&self, height: L) -> (L, L);
    /// Density, and one over the speed of sound, at a height.
    fn air(&self, height: L) -> (L, L);
    /// Axial force coefficient at zero angle in the table, and fin slope over that at Mach 0.
    fn by_mach(&self, mach: L, burning: L) -> [L; 2];
    /// A fixed number of each flight.
    fn number(&self, number: Number) -> L;
    /// Mass properties.
    fn mass(&self) -> MassModel<L>;

    /// Gravity at a height.
    #[inline(always)]
    fn gravity(&self, height: L) -> L {
        pull(self.number(Number::SurfaceGravity), self.number(Number::PerRadius), height)
    }

    /// Misaligned fins in the transverse axes at a time.
    #[inline(always)]
    fn fins_at(&self, time: L) -> [L; 2] {
        self.turn_at(time)([self.number(Number::FinsOne), self.number(Number::FinsOther)])
    }

    /// The turn from the rocket's own axes to the transverse ones at a time.
    #[inline(always)]
    fn turn_at(&self, time: L) -> impl Fn([L; 2]) -> [L; 2] {
        turn(self.number(Number::Roll) + self.number(Number::RollRate) * time)
    }

    /// What an instant holds at which so much burns.
    #[inline(always)]
    fn instant_of(&self, burning: &Burning<L>, time: L) -> Instant<L> {
        let mass = self.mass();
        let m = mass.at(burning.burned_kg);
        let lever = self.number(Number::Nozzle) - m.cg_m;
        let apart = mass.propellant_cg_m - m.cg_m;
        let gyration_m2 = self.number(Number::GrainKnown) * (mass.propellant_gyration_m2 + apart * apart);
        let turn = self.turn_at(time);
        let thrust = burning.thrust_n;
        let side = turn([thrust * self.number(Number::ThrustOne), thrust * self.number(Number::ThrustOther)]);
        let offset = turn(burning.offset_moment_n_m);
        Instant {
            thrust,
            burning: burning.burning,
            per_mass: L::splat(1.0) / m.mass_kg,
            per_inertia: L::splat(1.0) / m.inertia_kg_m2,
            cg: m.cg_m,
            jet: burning.burn_rate_kg_s * (lever * lever - gyration_m2),
            side,
            // Force at -lever on the axis: -lever a x (f1 e1 + f2 e2) = lever (f2 e1 - f1 e2). A thrust
            // along a at offset (o1, o2): (o1 e1 + o2 e2) x a F = F (o2 e1 - o1 e2).
            moment: [lever * side[1] + offset[1], -(lever * side[0]) - offset[0]],
            fins: turn([self.number(Number::FinsOne), self.number(Number::FinsOther)]),
        }
    }
}

/// Sine and cosine of a number of turns, to 1e-11: Taylor's series on a quarter turn about zero.
#[inline(always)]
fn sine_and_cosine<L: Lane>(turns: L) -> (L, L) {
    let of = L::splat;
    let quarter = turns * of(4.0);
    let quarters = quarter.nearest();
    let x = (quarter - quarters) * of(core::f64::consts::FRAC_PI_2);
    let y = x * x;
    let series = |terms: &[f64]| terms.iter().rev().fold(of(1.0), |sum, term| of(1.0) - y * of(*term) * sum);
    let sin = x * series(&[1.0 / 6.0, 1.0 / 20.0, 1.0 / 42.0, 1.0 / 72.0, 1.0 / 110.0, 1.0 / 156.0]);
    let cos = series(&[1.0 / 2.0, 1.0 / 12.0, 1.0 / 30.0, 1.0 / 56.0, 1.0 / 90.0, 1.0 / 132.0]);
    // Quarters within the turn: 0 to 3.
    let within = quarters - of(4.0) * (quarters * of(0.25) - of(0.375)).nearest();
    // Odd quarters swap the two; the sine changes its sign in the last two, the cosine in the middle two.
    let odd = of(0.5).below((within - of(1.0)).abs(), of(0.0), of(1.0)).max(of(0.5).below(
        (within - of(3.0)).abs(),
        of(0.0),
        of(1.0),
    ));
    let (first, other) = (cos.where_set(odd, sin), sin.where_set(odd, cos));
    let sine = of(1.5).below(within, -first, first);
    let cosine = of(1.0).below((within - of(1.5)).abs(), other, -other);
    (sine, cosine)
}

/// Turns a transverse pair by a number of turns.
#[inline(always)]
fn turn<L: Lane>(turns: L) -> impl Fn([L; 2]) -> [L; 2] {
    let (sin, cos) = sine_and_cosine(turns);
    move |v| [v[0] * cos - v[1] * sin, v[0] * sin + v[1] * cos]
}

impl Drawn<'_> {
    /// The state at first thrust.
    pub fn at_start(&self) -> State<f64> {
        match self.start {
            Start::Free(state) => state,
            Start::Rail { rail, cg_height_m } => {
                State { position: [0.0, 0.0, cg_height_m], velocity: [0.0; 3], nose: rail.direction, spin: [0.0; 3] }
            }
        }
    }

    /// What an instant holds, before or after a jump of thrust that falls on it.
    pub fn instant(&self, time_s: f64, side: Side) -> Instant<f64> {
        self.instant_of(&self.thrust.at(time_s, side), time_s)
    }
}

impl Parts<f64> for Drawn<'_> {
    #[inline(always)]
    fn wind(&self, height: f64) -> (f64, f64) {
        self.wind.at(height)
    }
    #[inline(always)]
    fn air(&self, height: f64) -> (f64, f64) {
        self.air.density_and_per_sound(height)
    }
    #[inline(always)]
    fn by_mach(&self, mach: f64, burning: f64) -> [f64; 2] {
        [self.aero.drag(burning > 0.5).at(mach), self.aero.fin_slope_factor.at(mach)]
    }
    #[inline(always)]
    fn number(&self, number: Number) -> f64 {
        let (aero, errors) = (self.aero, &self.misalignment);
        const TURNS: f64 = 0.5 / core::f64::consts::PI;
        match number {
            Number::ReferenceArea => aero.reference_area_m2,
            Number::TailFirstFactor => aero.tail_first_factor,
            Number::DragFactor => self.drag_factor,
            Number::BodyZeroth => self.body.zeroth_per_rad,
            Number::BodyFirst => self.body.first_m,
            Number::BodySecond => self.body.second_m2,
            Number::FinsZeroth => self.fins.zeroth_per_rad,
            Number::FinsFirst => self.fins.first_m,
            Number::FinsSecond => self.fins.second_m2,
            Number::CrossFlowArea => self.cross_flow.drag_area_m2,
            Number::CrossFlowFirst => self.cross_flow.first_m3,
            Number::AlongFlowArea => self.along_flow_drag_area_m2,
            Number::RollReferenceEast => self.roll_reference[0],
            Number::RollReferenceNorth => self.roll_reference[1],
            Number::RotationNorth => self.earth_rotation_rad_s[0],
            Number::RotationUp => self.earth_rotation_rad_s[1],
            Number::SurfaceGravity => self.gravity.surface_m_s2,
            Number::PerRadius => 1.0 / self.gravity.radius_m,
            Number::ThrustOne => errors.thrust_rad[0],
            Number::ThrustOther => errors.thrust_rad[1],
            Number::FinsOne => errors.fins_rad[0],
            Number::FinsOther => errors.fins_rad[1],
            Number::Nozzle => errors.nozzle_m,
            Number::Roll => errors.roll_rad * TURNS,
            Number::RollRate => errors.roll_rate_rad_s * TURNS,
            Number::GrainKnown => f64::from(u8::from(self.grain_known)),
        }
    }
    #[inline(always)]
    fn mass(&self) -> MassModel {
        self.mass
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quick_sine_and_cosine_follow_the_library() {
        for k in -4000..4000 {
            let turns = f64::from(k) * 0.00137;
            let (sin, cos) = sine_and_cosine(turns);
            let angle = turns * core::f64::consts::TAU;
            assert!((sin - libm::sin(angle)).abs() < 1e-11 && (cos - libm::cos(angle)).abs() < 1e-11, "{turns}");
        }
    }

    /// The parallel-axis rule by hand: 2 kg at 1 m and propellant of 1 kg, then half, then none, at 1.6 m.
    #[test]
    fn mass_moves_as_propellant_burns() {
        let model = MassModel {
            dry_mass_kg: 2.0,
            dry_cg_m: 1.0,
            dry_inertia_kg_m2: 0.5,
            propellant_kg: 1.0,
            propellant_cg_m: 1.6,
            propellant_gyration_m2: 0.01,
        };
        for (burned_kg, mass_kg, cg_m, inertia_kg_m2) in
            [(0.0, 3.0, 1.2, 0.75), (0.5, 2.5, 1.12, 0.649), (1.0, 2.0, 1.0, 0.5), (1.1, 2.0, 1.0, 0.5)]
        {
            let m = model.at(burned_kg);
            for (got, want) in [(m.mass_kg, mass_kg), (m.cg_m, cg_m), (m.inertia_kg_m2, inertia_kg_m2)] {
                assert!((got - want).abs() < 1e-12, "{burned_kg}: {m:?}");
            }
        }
    }

    /// Somigliana's formula at the equator, at the poles (both defining figures of WGS 84) and between, and the square
    /// of the distance.
    #[test]
    fn gravity_by_latitude_and_height() {
        for (degrees, want) in [(0.0_f64, 9.780_325_335_9), (45.0, 9.806_197_769), (-90.0, 9.832_184_937_8)] {
            let g = Gravity::normal(degrees.to_radians(), 0.0);
            assert!((g.surface_m_s2 - want).abs() < 1e-9, "{degrees}: {}", g.surface_m_s2);
            // A pad 2 km up, and 2 km above a pad at sea level, are the same place.
            let high = Gravity::normal(degrees.to_radians(), 2000.0);
            assert!(
                (high.surface_m_s2 - g.at(2000.0)).abs() < 1e-12 && (high.radius_m - g.radius_m - 2000.0).abs() < 1e-6
            );
        }
        assert_eq!(Gravity { surface_m_s2: 8.0, radius_m: 1e6 }.at(1e6), 2.0);
        assert_eq!(Gravity::constant(9.0).at(1e6), 9.0);
    }

    #[test]
    fn a_quarter_turn_and_a_twelfth() {
        let near = |a: f64, b: f64| (a - b).abs() < 1e-11;
        let quarter = turn(0.25)([2.0, 5.0]);
        assert!(near(quarter[0], -5.0) && near(quarter[1], 2.0), "{quarter:?}");
        let twelfth = turn(1.0 / 12.0)([2.0, 0.0]);
        assert!(near(twelfth[0], 3.0_f64.sqrt()) && near(twelfth[1], 1.0), "{twelfth:?}");
    }
}
