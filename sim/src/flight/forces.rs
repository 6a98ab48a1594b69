//! Forces, moments and the derivative of a flight's state.
//!
//! The rocket is an axisymmetric rigid body. No angle is ever computed: the angle of attack enters
//! through the parts of the air-relative velocity along and across the axis, so that every attitude from
//! nose first to tail first, and zero airspeed, are ordinary points.

use super::parts::{Instant, Number, Parts};
use crate::lanes::{Lane, Vector, along, cross, dot, scale};

/// State of a flight in the pad's east-north-up frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State<L> {
    /// Centre of gravity, m.
    pub position: Vector<L>,
    /// Velocity over the ground, m/s.
    pub velocity: Vector<L>,
    /// Unit vector of the nose.
    pub nose: Vector<L>,
    /// Transverse angular velocity, rad/s.
    pub spin: Vector<L>,
}

impl<L: Lane> State<L> {
    /// `self + rate * dt`.
    #[inline(always)]
    pub fn plus(&self, rate: &Self, dt: L) -> Self {
        Self {
            position: along(self.position, rate.position, dt),
            velocity: along(self.velocity, rate.velocity, dt),
            nose: along(self.nose, rate.nose, dt),
            spin: along(self.spin, rate.spin, dt),
        }
    }
}

impl<L: Lane> State<L> {
    /// The state in one lane.
    pub fn one(&self, lane: usize) -> State<f64> {
        let vector = |v: &Vector<L>| [v[0].lane(lane), v[1].lane(lane), v[2].lane(lane)];
        State {
            position: vector(&self.position),
            velocity: vector(&self.velocity),
            nose: vector(&self.nose),
            spin: vector(&self.spin),
        }
    }

    /// Puts another state into one lane.
    pub fn set_lane(&mut self, lane: usize, one: &State<f64>) {
        for (own, new) in [
            (&mut self.position, &one.position),
            (&mut self.velocity, &one.velocity),
            (&mut self.nose, &one.nose),
            (&mut self.spin, &one.spin),
        ] {
            own.iter_mut().zip(new).for_each(|(own, new)| own.set_lane(lane, *new));
        }
    }

    /// This one in the lanes where `which` is 1, another one where it is 0.
    #[inline(always)]
    pub(super) fn where_set(&self, which: L, other: &Self) -> Self {
        let vector = |own: Vector<L>, other: Vector<L>| {
            [own[0].where_set(which, other[0]), own[1].where_set(which, other[1]), own[2].where_set(which, other[2])]
        };
        Self {
            position: vector(self.position, other.position),
            velocity: vector(self.velocity, other.velocity),
            nose: vector(self.nose, other.nose),
            spin: vector(self.spin, other.spin),
        }
    }
}

/// What holds the rocket.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Hold<L = f64> {
    /// Nothing: free flight.
    Free,
    /// Two guides on the rail: it can only travel along it.
    Guided {
        /// Unit vector along the rail.
        rail: Vector<L>,
        /// Friction coefficient.
        friction: L,
    },
    /// The aft guide alone: it travels along the rail and can turn about that guide.
    TipOff {
        /// Unit vector along the rail.
        rail: Vector<L>,
        /// Friction coefficient.
        friction: L,
        /// Place of the aft guide, m from the nose tip.
        guide_m: L,
    },
}

/// What the flow round the rocket is like: seen on the way to the derivative, used for the step and for what
/// is watched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flow<L> {
    /// Airspeed, m/s.
    pub airspeed_m_s: L,
    /// Airspeed over speed of sound.
    pub mach: L,
    /// Airspeed along the axis, nose first positive, m/s.
    pub axial_m_s: L,
    /// Squared pitch frequency, rad^2/s^2: of the linear force, and what the cross-flow adds.
    pub stiffness: L,
    /// Rate at which pitching and drifting across die out, 1/s.
    pub damping: L,
}

/// Coriolis acceleration, m/s^2: -2 omega x v with omega = (0, north, up).
#[inline(always)]
pub(super) fn coriolis_m_s2<L: Lane>([north, up]: [L; 2], velocity_m_s: Vector<L>) -> Vector<L> {
    let two = L::splat(2.0);
    let [vx, vy, vz] = velocity_m_s;
    [two * (up * vy - north * vz), -(two * up * vx), two * north * vx]
}

/// Acceleration (m/s^2) and moment (N m) on a free rocket, and the flow round it.
#[inline(always)]
fn free<L: Lane>(parts: &impl Parts<L>, now: &Instant<L>, s: &State<L>) -> (Vector<L>, Vector<L>, Flow<L>) {
    let zero = L::splat(0.0);
    let half = L::splat(0.5);
    let height = s.position[2];
    let (wind_east, wind_north) = parts.wind(height);
    let (density, per_sound) = parts.air(height);
    let u = [s.velocity[0] - wind_east, s.velocity[1] - wind_north, s.velocity[2]];
    let u_axial = dot(u, s.nose);
    let u_across = along(u, s.nose, -u_axial);
    let airspeed = dot(u, u).sqrt();
    let across = dot(u_across, u_across).sqrt();
    let mach = airspeed * per_sound;

    let half_rho = half * density;
    let q = half_rho * parts.number(Number::ReferenceArea);
    let [axial, fin] = parts.by_mach(mach, now.burning);
    let axial = axial
        * parts.number(Number::DragFactor)
        * u_axial.below(zero, parts.number(Number::TailFirstFactor), L::splat(1.0));
    let c0 = parts.number(Number::BodyZeroth) + parts.number(Number::FinsZeroth) * fin;
    let c1 = parts.number(Number::BodyFirst) + parts.number(Number::FinsFirst) * fin;
    let c2 = parts.number(Number::BodySecond) + parts.number(Number::FinsSecond) * fin;
    let cross_area = parts.number(Number::CrossFlowArea);
    let cross_first = parts.number(Number::CrossFlowFirst);

    // C sin|cos| on V^2 is C times the speed across times the speed along; cross-flow is the square of the
    // speed across. Both act along -u_across, each at its own place.
    let along_speed = u_axial.abs();
    let pressed = half_rho * across;
    let normal = q * c0 * along_speed + pressed * cross_area;
    let margin = c1 - c0 * now.cg;
    let turning = q * margin * along_speed + pressed * (cross_first - cross_area * now.cg);
    // Sum of slope (x - cg)^2 from the moments about the nose tip.
    let damping = q * airspeed * (c2 - now.cg * (c1 + margin)) + now.jet;
    let flow = Flow {
        airspeed_m_s: airspeed,
        mach,
        axial_m_s: u_axial,
        stiffness: (q * airspeed * margin + pressed * (cross_first - cross_area * now.cg).abs())
            * airspeed
            * now.per_inertia,
        damping: damping * now.per_inertia
            + (q * airspeed * (c0 + axial) + L::splat(2.0) * pressed * cross_area) * now.per_mass,
    };

    // Transverse axes: e1 = a x reference, e2 = a x e1. Close to the reference they fade out.
    let (rx, ry) = (parts.number(Number::RollReferenceEast), parts.number(Number::RollReferenceNorth));
    let e1 = cross(s.nose, [rx, ry, zero]);
    let e1 = scale(e1, L::splat(1.0) / dot(e1, e1).max(L::splat(1e-4)).sqrt());
    let e2 = cross(s.nose, e1);
    // Misaligned fins see the flow at their own small angle.
    let fin_press = q * fin * along_speed * airspeed;
    let fin_zeroth = parts.number(Number::FinsZeroth);
    let fin_force = fin_press * fin_zeroth;
    let fin_lever = fin_press * (parts.number(Number::FinsFirst) - fin_zeroth * now.cg);
    let side = [now.side[0] + fin_force * now.fins[0], now.side[1] + fin_force * now.fins[1]];
    let moment = [now.moment[0] + fin_lever * now.fins[1], now.moment[1] - fin_lever * now.fins[0]];

    let push = now.thrust - q * axial * airspeed * u_axial;
    let mut force = scale(s.nose, push);
    force = along(force, u_across, -normal);
    force = along(force, u, -(half_rho * parts.number(Number::AlongFlowArea) * airspeed));
    force = along(force, e1, side[0]);
    force = along(force, e2, side[1]);
    let mut acceleration = scale(force, now.per_mass);
    acceleration[2] = acceleration[2] - parts.gravity(height);
    let turned = coriolis_m_s2([parts.number(Number::RotationNorth), parts.number(Number::RotationUp)], s.velocity);
    acceleration = along(acceleration, turned, L::splat(1.0));

    let mut torque = scale(cross(s.nose, u_across), turning);
    torque = along(torque, s.spin, -damping);
    torque = along(torque, e1, moment[0]);
    torque = along(torque, e2, moment[1]);
    (acceleration, torque, flow)
}

/// Rate of change of a state at an instant.
#[inline(always)]
pub fn derivative<L: Lane>(parts: &impl Parts<L>, now: &Instant<L>, s: &State<L>, hold: &Hold<L>) -> State<L> {
    derivative_and_flow(parts, now, s, hold).0
}

/// As [`derivative`], with the flow round the rocket.
#[inline(always)]
pub fn derivative_and_flow<L: Lane>(
    parts: &impl Parts<L>,
    now: &Instant<L>,
    s: &State<L>,
    hold: &Hold<L>,
) -> (State<L>, Flow<L>) {
    let (acceleration, torque, flow) = free(parts, now, s);
    let zero = L::splat(0.0);
    let rate = match *hold {
        Hold::Free => State {
            position: s.velocity,
            velocity: acceleration,
            nose: cross(s.spin, s.nose),
            spin: scale(torque, now.per_inertia),
        },
        Hold::Guided { rail, friction } => {
            let d = rail;
            let pull = dot(acceleration, d);
            let pressing = along(acceleration, d, -pull);
            let net = pull - friction * dot(pressing, pressing).sqrt();
            State { position: s.velocity, velocity: scale(d, net), nose: [zero; 3], spin: [zero; 3] }
        }
        Hold::TipOff { rail, friction, guide_m } => {
            // The guide's acceleration across the rail is zero. With the guide a distance l behind the
            // centre of gravity and the axis close to the rail's, the rail's force N (across it) follows
            // from N/m + l^2 N/I = l (M x a)/I - F/m - l w^2 a, all taken across the rail.
            let d = rail;
            let l = guide_m - now.cg;
            let turned = scale(cross(torque, s.nose), now.per_inertia * l);
            let whirl = scale(s.nose, dot(s.spin, s.spin) * l);
            let want = [
                turned[0] - acceleration[0] - whirl[0],
                turned[1] - acceleration[1] - whirl[1],
                turned[2] - acceleration[2] - whirl[2],
            ];
            let across = along(want, d, -dot(want, d));
            let n = scale(across, L::splat(1.0) / (now.per_mass + l * l * now.per_inertia));
            let rub = friction * dot(n, n).sqrt();
            let force = along(n, d, -rub);
            let moment = cross(scale(s.nose, -l), force);
            State {
                position: s.velocity,
                velocity: along(acceleration, force, now.per_mass),
                nose: cross(s.spin, s.nose),
                spin: scale([torque[0] + moment[0], torque[1] + moment[1], torque[2] + moment[2]], now.per_inertia),
            }
        }
    };
    (rate, flow)
}

impl<L: Lane> Flow<L> {
    /// This one in the lanes where `which` is 1, another one where it is 0.
    #[inline(always)]
    pub(super) fn where_set(&self, which: L, other: &Self) -> Self {
        Self {
            airspeed_m_s: self.airspeed_m_s.where_set(which, other.airspeed_m_s),
            mach: self.mach.where_set(which, other.mach),
            axial_m_s: self.axial_m_s.where_set(which, other.axial_m_s),
            stiffness: self.stiffness.where_set(which, other.stiffness),
            damping: self.damping.where_set(which, other.damping),
        }
    }

    /// Fastest rate of a state in this flow, rad/s, from which the step is chosen: pitch frequency, damping,
    /// turning and rolling together. Where `coasting` is 1, also the rate at which the direction of the airflow turns:
    /// near a stop at apogee it turns about within a fraction of a second.
    #[inline(always)]
    pub fn fastest_rate(&self, s: &State<L>, rate: &State<L>, roll_rad_s: L, coasting: L) -> L {
        /// Below this airspeed the flow is too weak for its direction to matter, m/s.
        const WEAK_M_S: f64 = 0.2;
        let a = rate.velocity;
        let slow = self.airspeed_m_s + L::splat(WEAK_M_S);
        let veering = coasting * dot(a, a) / (slow * slow);
        let turning = dot(s.spin, s.spin) + roll_rad_s * roll_rad_s;
        (self.stiffness.abs() + self.damping * self.damping + turning + veering).sqrt()
    }

    /// How far a step strayed that ended in this flow, as a change of the air's velocity seen by the rocket, m/s: of
    /// its speed, and of its attitude and turning times the airspeed. `last` and `end` are the derivatives there as
    /// the last stage took it and as it is.
    #[inline(always)]
    pub fn strayed_m_s(&self, last: &State<L>, end: &State<L>, dt_s: L) -> L {
        let apart = |a: Vector<L>, b: Vector<L>| {
            let d = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
            dot(d, d)
        };
        // A turning rate counts by the angle it makes within a radian of the pitch oscillation.
        let turning = apart(last.nose, end.nose) + apart(last.spin, end.spin) / (self.stiffness.abs() + L::splat(1.0));
        let speed = apart(last.velocity, end.velocity) + self.airspeed_m_s * self.airspeed_m_s * turning;
        speed.sqrt() * dt_s * L::splat(1.0 / 6.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn state(velocity: [f64; 3], nose: [f64; 3], spin: [f64; 3]) -> State<f64> {
        State { position: [0.0; 3], velocity, nose, spin }
    }

    fn flow(stiffness: f64) -> Flow<f64> {
        Flow { airspeed_m_s: 9.8, mach: 0.0, axial_m_s: 0.0, stiffness, damping: 3.0 }
    }

    #[test]
    fn coriolis_is_a_vector_product() {
        let (omega, v) = ([0.0, 3.0, 5.0], [7.0, 11.0, 13.0]);
        assert_eq!(coriolis_m_s2([3.0, 5.0], v), scale(cross(omega, v), -2.0));
    }

    /// Pitch 4, damping 3, turning 2, roll 4 and, coasting, 60 m/s^2 on 10 m/s: squares add up to 81.
    #[test]
    fn rates_add_as_squares() {
        let s = state([0.0; 3], [0.0; 3], [2.0, 0.0, 0.0]);
        let rate = state([0.0, 36.0, 48.0], [0.0; 3], [0.0; 3]);
        for stiffness in [16.0, -16.0] {
            assert_eq!(flow(stiffness).fastest_rate(&s, &rate, 4.0, 1.0), 9.0);
            assert_eq!(flow(stiffness).fastest_rate(&s, &rate, -4.0, 0.0), 45.0_f64.sqrt());
        }
    }

    /// A sixth of the step times what two derivatives differ by: 0.7 m/s^2 of speed, and at 9.8 m/s a turning of 0.05
    /// and a change of turning of 0.1 that counts half within a radian of a pitch frequency of sqrt(3).
    #[test]
    fn straying_by_hand() {
        let last = state([1.0, 2.0, 3.0], [0.1, 0.2, 0.3], [1.0, 2.0, 3.0]);
        let end = state([1.0 + 0.42, 2.0 - 0.56, 3.0], [0.1, 0.23, 0.26], [1.08, 2.0, 3.06]);
        let want = (0.49 + 9.8 * 9.8 * (0.0025 + 0.0025_f64)).sqrt() * 0.3 / 6.0;
        for stiffness in [3.0, -3.0] {
            assert!((flow(stiffness).strayed_m_s(&last, &end, 0.3) - want).abs() < 1e-12);
            assert!((flow(stiffness).strayed_m_s(&end, &last, 0.3) - want).abs() < 1e-12);
        }
        assert_eq!(flow(3.0).strayed_m_s(&last, &last, 0.3), 0.0);
    }
}
