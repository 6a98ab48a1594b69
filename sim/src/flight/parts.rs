//! What the derivative is given: one flight's drawn world, and the form in which lanes ask for it.

use crate::aero::{Aero, CrossFlow, SlopeMoments};
use crate::air::AirTable;
use crate::lanes::{Lane, Pack};
use crate::thrust::{Side, ThrustTable};
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
    pub fn at<L: Lane>(&self, height_m: L) -> L {
        let s = L::splat(1.0) + height_m * L::splat(1.0 / self.radius_m);
        L::splat(self.surface_m_s2) / (s * s)
    }
}

/// Mass properties: a dry airframe and propellant that burns at a fixed place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MassModel {
    /// Without propellant, kg.
    pub dry_mass_kg: f64,
    /// Centre of gravity without propellant, m from the nose tip.
    pub dry_cg_m: f64,
    /// Transverse inertia without propellant about its own centre, kg m^2.
    pub dry_inertia_kg_m2: f64,
    /// Propellant of all motors, kg.
    pub propellant_kg: f64,
    /// Centre of the propellant, m from the nose tip.
    pub propellant_cg_m: f64,
    /// Squared transverse radius of gyration of the propellant about its own centre, m^2.
    pub propellant_gyration_m2: f64,
}

/// Mass, centre of gravity and inertia at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MassState {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Centre of gravity, m from the nose tip.
    pub cg_m: f64,
    /// Transverse inertia about it, kg m^2.
    pub inertia_kg_m2: f64,
}

impl MassModel {
    /// With some propellant burned: the parallel-axis rule.
    #[inline]
    pub fn at(&self, burned_kg: f64) -> MassState {
        let left = (self.propellant_kg - burned_kg).max(0.0);
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
    Free(super::State<f64>),
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

/// Parts of the world as lanes see them. One flight is one lane; an array of flights is several.
pub trait Parts<L: Lane> {
    /// Wind towards east and north at a height.
    fn wind(&self, height: L) -> (L, L);
    /// Density and speed of sound at a height.
    fn air(&self, height: L) -> (L, L);
    /// Fin slope over that at Mach 0.
    fn fin_factor(&self, mach: L) -> L;
    /// Axial force coefficient at zero angle.
    fn axial(&self, mach: L, burning: L) -> L;
    /// What an instant holds, before or after a jump of thrust that falls on it.
    fn instant(&self, time: L, side: Side) -> Instant<L>;
    /// A fixed number of each flight.
    fn number(&self, pick: impl Fn(&Drawn) -> f64) -> L;
    /// Gravity at a height.
    fn gravity(&self, height: L) -> L;
}

/// Sine and cosine of a number of turns, to 1e-11: Taylor's series on a quarter turn about zero. A few
/// multiplications instead of a call with argument reduction, twice a step.
#[inline(always)]
fn sine_and_cosine(turns: f64) -> (f64, f64) {
    // Rounding by way of an integer: without SSE4.1 a call to `floor` costs more than all the rest.
    let nearest = turns * 4.0 + 0.5;
    let quarters = nearest as i64 - i64::from(nearest < 0.0);
    let x = (turns * 4.0 - quarters as f64) * core::f64::consts::FRAC_PI_2;
    let y = x * x;
    let sin = x
        * (1.0
            - y * (1.0 / 6.0)
                * (1.0
                    - y * (1.0 / 20.0)
                        * (1.0
                            - y * (1.0 / 42.0)
                                * (1.0 - y * (1.0 / 72.0) * (1.0 - y * (1.0 / 110.0) * (1.0 - y * (1.0 / 156.0)))))));
    let cos = 1.0
        - y * 0.5
            * (1.0
                - y * (1.0 / 12.0)
                    * (1.0
                        - y * (1.0 / 30.0)
                            * (1.0 - y * (1.0 / 56.0) * (1.0 - y * (1.0 / 90.0) * (1.0 - y * (1.0 / 132.0))))));
    match quarters & 3 {
        0 => (sin, cos),
        1 => (cos, -sin),
        2 => (-sin, -cos),
        _ => (-cos, sin),
    }
}

/// Turns a transverse pair by an angle, rad.
#[inline(always)]
fn turned(angle_rad: f64) -> impl Fn([f64; 2]) -> [f64; 2] {
    let (sin, cos) = sine_and_cosine(angle_rad * (0.5 / core::f64::consts::PI));
    move |v| [v[0] * cos - v[1] * sin, v[0] * sin + v[1] * cos]
}

impl Drawn<'_> {
    /// What two equal steps of time make of an instant without thrust: nothing but the roll moves on.
    #[inline(always)]
    pub(super) fn rolled(&self, now: &Instant<f64>, step_s: f64) -> [Instant<f64>; 2] {
        let turn = turned(self.misalignment.roll_rate_rad_s * step_s);
        let once = turn(now.fins);
        [Instant { fins: once, ..*now }, Instant { fins: turn(once), ..*now }]
    }
}

impl Parts<f64> for Drawn<'_> {
    #[inline(always)]
    fn wind(&self, height: f64) -> (f64, f64) {
        self.wind.at(height)
    }
    #[inline(always)]
    fn air(&self, height: f64) -> (f64, f64) {
        self.air.at(height)
    }
    #[inline(always)]
    fn fin_factor(&self, mach: f64) -> f64 {
        self.aero.fin_slope_factor.at(mach)
    }
    #[inline(always)]
    fn axial(&self, mach: f64, burning: f64) -> f64 {
        let table = if burning > 0.5 { &self.aero.drag_thrusting } else { &self.aero.drag_coasting };
        table.at(mach) * self.drag_factor
    }
    #[inline]
    fn instant(&self, time: f64, side: Side) -> Instant<f64> {
        let burning = self.thrust.at(time, side);
        let m = self.mass.at(burning.burned_kg);
        let e = &self.misalignment;
        let lever = e.nozzle_m - m.cg_m;
        let apart = self.mass.propellant_cg_m - m.cg_m;
        let gyration_m2 = if self.grain_known { self.mass.propellant_gyration_m2 + apart * apart } else { 0.0 };
        let turn = turned(e.roll_rad + e.roll_rate_rad_s * time);
        let side = turn([burning.thrust_n * e.thrust_rad[0], burning.thrust_n * e.thrust_rad[1]]);
        let offset = turn(burning.offset_moment_n_m);
        Instant {
            thrust: burning.thrust_n,
            burning: if burning.burning { 1.0 } else { 0.0 },
            per_mass: 1.0 / m.mass_kg,
            per_inertia: 1.0 / m.inertia_kg_m2,
            cg: m.cg_m,
            jet: burning.burn_rate_kg_s * (lever * lever - gyration_m2),
            side,
            // Force at -lever on the axis: -lever a x (f1 e1 + f2 e2) = lever (f2 e1 - f1 e2). A thrust
            // along a at offset (o1, o2): (o1 e1 + o2 e2) x a F = F (o2 e1 - o1 e2).
            moment: [lever * side[1] + offset[1], -lever * side[0] - offset[0]],
            fins: turn(e.fins_rad),
        }
    }
    #[inline(always)]
    fn number(&self, pick: impl Fn(&Drawn) -> f64) -> f64 {
        pick(self)
    }
    #[inline(always)]
    fn gravity(&self, height: f64) -> f64 {
        self.gravity.at(height)
    }
}

/// Several flights side by side, each lane asking its own tables.
pub struct Batch<'a, 'b, const N: usize>(pub [&'b Drawn<'a>; N]);

impl<const N: usize> Batch<'_, '_, N> {
    fn pairs(&self, at: impl Fn(usize) -> (f64, f64)) -> (Pack<N>, Pack<N>) {
        let both: [(f64, f64); N] = core::array::from_fn(at);
        (Pack(both.map(|p| p.0)), Pack(both.map(|p| p.1)))
    }
}

impl<const N: usize> Parts<Pack<N>> for Batch<'_, '_, N> {
    fn wind(&self, height: Pack<N>) -> (Pack<N>, Pack<N>) {
        self.pairs(|i| self.0[i].wind.at(height.0[i]))
    }
    fn air(&self, height: Pack<N>) -> (Pack<N>, Pack<N>) {
        self.pairs(|i| self.0[i].air.at(height.0[i]))
    }
    fn fin_factor(&self, mach: Pack<N>) -> Pack<N> {
        Pack::from_lanes(|i| self.0[i].aero.fin_slope_factor.at(mach.0[i]))
    }
    fn axial(&self, mach: Pack<N>, burning: Pack<N>) -> Pack<N> {
        Pack::from_lanes(|i| Parts::<f64>::axial(self.0[i], mach.0[i], burning.0[i]))
    }
    fn instant(&self, time: Pack<N>, side: Side) -> Instant<Pack<N>> {
        let each: [Instant<f64>; N] = core::array::from_fn(|i| Parts::<f64>::instant(self.0[i], time.0[i], side));
        let take = |pick: &dyn Fn(&Instant<f64>) -> f64| Pack::from_lanes(|i| pick(&each[i]));
        Instant {
            thrust: take(&|x| x.thrust),
            burning: take(&|x| x.burning),
            per_mass: take(&|x| x.per_mass),
            per_inertia: take(&|x| x.per_inertia),
            cg: take(&|x| x.cg),
            jet: take(&|x| x.jet),
            side: [take(&|x| x.side[0]), take(&|x| x.side[1])],
            moment: [take(&|x| x.moment[0]), take(&|x| x.moment[1])],
            fins: [take(&|x| x.fins[0]), take(&|x| x.fins[1])],
        }
    }
    fn number(&self, pick: impl Fn(&Drawn) -> f64) -> Pack<N> {
        Pack::from_lanes(|i| pick(self.0[i]))
    }
    fn gravity(&self, height: Pack<N>) -> Pack<N> {
        Pack::from_lanes(|i| self.0[i].gravity.at(height.0[i]))
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
        let (near, turn) = (|a: f64, b: f64| (a - b).abs() < 1e-11, core::f64::consts::TAU);
        let quarter = turned(turn / 4.0)([2.0, 5.0]);
        assert!(near(quarter[0], -5.0) && near(quarter[1], 2.0), "{quarter:?}");
        let twelfth = turned(turn / 12.0)([2.0, 0.0]);
        assert!(near(twelfth[0], 3.0_f64.sqrt()) && near(twelfth[1], 1.0), "{twelfth:?}");
    }
}
