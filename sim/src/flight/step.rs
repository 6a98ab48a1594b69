//! One step of the classical fourth-order Runge-Kutta method (Kutta 1901), for any number of lanes.

use super::forces::{Hold, State, derivative};
use super::parts::{Instant, Parts};
use crate::lanes::{Lane, along, dot, scale};

/// A state after a step, and what tells how far the step strayed.
pub struct Stepped<L> {
    /// State at the end, with nose and spin put back on their constraints.
    pub state: State<L>,
    /// Derivative at the end as the last stage took it. The one that the state at the end really has, in its place,
    /// gives a result of third order: a sixth of the step times their difference gauges the error for nothing.
    pub last: State<L>,
}

/// Steps from `s`, whose derivative is `first`, over `dt`.
#[inline(always)]
pub fn step<L: Lane>(
    parts: &impl Parts<L>,
    s: &State<L>,
    first: &State<L>,
    dt: L,
    middle: &Instant<L>,
    end: &Instant<L>,
    hold: &Hold<L>,
) -> Stepped<L> {
    let half = dt * L::splat(0.5);
    let k2 = derivative(parts, middle, &s.plus(first, half), hold);
    let k3 = derivative(parts, middle, &s.plus(&k2, half), hold);
    let k4 = derivative(parts, end, &s.plus(&k3, dt), hold);
    let sixth = dt * L::splat(1.0 / 6.0);
    let third = dt * L::splat(1.0 / 3.0);
    let raw = s.plus(first, sixth).plus(&k2, third).plus(&k3, third).plus(&k4, sixth);
    let nose = scale(raw.nose, L::splat(1.0) / dot(raw.nose, raw.nose).sqrt());
    let spin = along(raw.spin, nose, -dot(raw.spin, nose));
    Stepped { state: State { nose, spin, ..raw }, last: k4 }
}
