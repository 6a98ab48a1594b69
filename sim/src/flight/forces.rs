//! Forces, moments and the derivative of a flight's state.
//!
//! The rocket is an axisymmetric rigid body. No angle is ever computed: the angle of attack enters
//! through the parts of the air-relative velocity along and across the axis, so that every attitude from
//! nose first to tail first, and zero airspeed, are ordinary points.

use super::parts::{Instant, Parts};
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

/// What holds the rocket.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Hold {
    /// Nothing: free flight.
    Free,
    /// Two guides on the rail: it can only travel along it.
    Guided {
        /// Unit vector along the rail.
        rail: [f64; 3],
        /// Friction coefficient.
        friction: f64,
    },
    /// The aft guide alone: it travels along the rail and can turn about that guide.
    TipOff {
        /// Unit vector along the rail.
        rail: [f64; 3],
        /// Friction coefficient.
        friction: f64,
        /// Place of the aft guide, m from the nose tip.
        guide_m: f64,
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
    let (density, sound) = parts.air(height);
    let u = [s.velocity[0] - wind_east, s.velocity[1] - wind_north, s.velocity[2]];
    let u_axial = dot(u, s.nose);
    let u_across = along(u, s.nose, -u_axial);
    let airspeed = dot(u, u).sqrt();
    let across = dot(u_across, u_across).sqrt();
    let mach = airspeed / sound;

    let half_rho = half * density;
    let q = half_rho * parts.number(|d| d.aero.reference_area_m2);
    let axial =
        parts.axial(mach, now.burning) * u_axial.below(zero, parts.number(|d| d.aero.tail_first_factor), L::splat(1.0));
    let fin = parts.fin_factor(mach);
    let c0 = parts.number(|d| d.body.zeroth_per_rad) + parts.number(|d| d.fins.zeroth_per_rad) * fin;
    let c1 = parts.number(|d| d.body.first_m) + parts.number(|d| d.fins.first_m) * fin;
    let c2 = parts.number(|d| d.body.second_m2) + parts.number(|d| d.fins.second_m2) * fin;
    let cross_area = parts.number(|d| d.cross_flow.drag_area_m2);
    let cross_first = parts.number(|d| d.cross_flow.first_m3);

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
    let (rx, ry) = (parts.number(|d| d.roll_reference[0]), parts.number(|d| d.roll_reference[1]));
    let e1 = cross(s.nose, [rx, ry, zero]);
    let e1 = scale(e1, L::splat(1.0) / dot(e1, e1).max(L::splat(1e-4)).sqrt());
    let e2 = cross(s.nose, e1);
    // Misaligned fins see the flow at their own small angle.
    let fin_press = q * fin * along_speed * airspeed;
    let fin_zeroth = parts.number(|d| d.fins.zeroth_per_rad);
    let fin_force = fin_press * fin_zeroth;
    let fin_lever = fin_press * (parts.number(|d| d.fins.first_m) - fin_zeroth * now.cg);
    let side = [now.side[0] + fin_force * now.fins[0], now.side[1] + fin_force * now.fins[1]];
    let moment = [now.moment[0] + fin_lever * now.fins[1], now.moment[1] - fin_lever * now.fins[0]];

    let push = now.thrust - q * axial * airspeed * u_axial;
    let mut force = scale(s.nose, push);
    force = along(force, u_across, -normal);
    force = along(force, u, -(half_rho * parts.number(|d| d.along_flow_drag_area_m2) * airspeed));
    force = along(force, e1, side[0]);
    force = along(force, e2, side[1]);
    let mut acceleration = scale(force, now.per_mass);
    acceleration[2] = acceleration[2] - parts.gravity(height);
    let turned = coriolis_m_s2(
        [parts.number(|d| d.earth_rotation_rad_s[0]), parts.number(|d| d.earth_rotation_rad_s[1])],
        s.velocity,
    );
    acceleration = along(acceleration, turned, L::splat(1.0));

    let mut torque = scale(cross(s.nose, u_across), turning);
    torque = along(torque, s.spin, -damping);
    torque = along(torque, e1, moment[0]);
    torque = along(torque, e2, moment[1]);
    (acceleration, torque, flow)
}

/// Rate of change of a state at an instant.
#[inline(always)]
pub fn derivative<L: Lane>(parts: &impl Parts<L>, now: &Instant<L>, s: &State<L>, hold: &Hold) -> State<L> {
    derivative_and_flow(parts, now, s, hold).0
}

/// As [`derivative`], with the flow round the rocket.
#[inline(always)]
pub fn derivative_and_flow<L: Lane>(
    parts: &impl Parts<L>,
    now: &Instant<L>,
    s: &State<L>,
    hold: &Hold,
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
            let d = rail.map(L::splat);
            let pull = dot(acceleration, d);
            let pressing = along(acceleration, d, -pull);
            let net = pull - L::splat(friction) * dot(pressing, pressing).sqrt();
            State { position: s.velocity, velocity: scale(d, net), nose: [zero; 3], spin: [zero; 3] }
        }
        Hold::TipOff { rail, friction, guide_m } => {
            // The guide's acceleration across the rail is zero. With the guide a distance l behind the
            // centre of gravity and the axis close to the rail's, the rail's force N (across it) follows
            // from N/m + l^2 N/I = l (M x a)/I - F/m - l w^2 a, all taken across the rail.
            let d = rail.map(L::splat);
            let l = L::splat(guide_m) - now.cg;
            let turned = scale(cross(torque, s.nose), now.per_inertia * l);
            let whirl = scale(s.nose, dot(s.spin, s.spin) * l);
            let want = [
                turned[0] - acceleration[0] - whirl[0],
                turned[1] - acceleration[1] - whirl[1],
                turned[2] - acceleration[2] - whirl[2],
            ];
            let across = along(want, d, -dot(want, d));
            let n = scale(across, L::splat(1.0) / (now.per_mass + l * l * now.per_inertia));
            let rub = L::splat(friction) * dot(n, n).sqrt();
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

impl Flow<f64> {
    /// Fastest rate of a state in this flow, rad/s, from which the step is chosen: pitch frequency, damping,
    /// turning and rolling together. Coasting, also the rate at which the direction of the airflow turns: near
    /// a stop at apogee it turns about within a fraction of a second.
    #[inline]
    pub fn fastest_rate(&self, s: &State<f64>, rate: &State<f64>, roll_rad_s: f64, coasting: bool) -> f64 {
        /// Below this airspeed the flow is too weak for its direction to matter, m/s.
        const WEAK_M_S: f64 = 0.2;
        let a = rate.velocity;
        let slow = self.airspeed_m_s + WEAK_M_S;
        let veering = if coasting { dot(a, a) / (slow * slow) } else { 0.0 };
        let turning = dot(s.spin, s.spin) + roll_rad_s * roll_rad_s;
        (self.stiffness.abs() + self.damping * self.damping + turning + veering).sqrt()
    }

    /// How far a step strayed that ended in this flow, as a change of the air's velocity seen by the rocket, m/s: of
    /// its speed, and of its attitude and turning times the airspeed. `last` and `end` are the derivatives there as
    /// the last stage took it and as it is.
    #[inline]
    pub fn strayed_m_s(&self, last: &State<f64>, end: &State<f64>, dt_s: f64) -> f64 {
        let apart = |a: [f64; 3], b: [f64; 3]| {
            let d = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
            dot(d, d)
        };
        // A turning rate counts by the angle it makes within a radian of the pitch oscillation.
        let turning = apart(last.nose, end.nose) + apart(last.spin, end.spin) / (self.stiffness.abs() + 1.0);
        let speed = apart(last.velocity, end.velocity) + self.airspeed_m_s * self.airspeed_m_s * turning;
        speed.sqrt() * dt_s * (1.0 / 6.0)
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
            assert_eq!(flow(stiffness).fastest_rate(&s, &rate, 4.0, true), 9.0);
            assert_eq!(flow(stiffness).fastest_rate(&s, &rate, -4.0, false), 45.0_f64.sqrt());
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
