//! Descent at the local descent rate through a drawn wind, in closed form from cumulative tables.
//!
//! With drag area A and mass m the descent rate is w = sqrt(2 m g / (rho A)). Time and drift from height
//! z to the ground are integrals of sqrt(rho/g) and of wind x sqrt(rho/g) over height, taken once per
//! flight, times sqrt(A / 2m). A canopy follows the wind with the time constant w/g; for that linear
//! relaxation the displacement is exactly the integral of the wind less w/g times the change of velocity,
//! so only the velocity at touchdown is needed besides.

use super::WindTable;
use crate::air::AirTable;

/// What hangs under a canopy.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Descent {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Drag coefficient times area of all that drags, m^2.
    pub drag_area_m2: f64,
}

impl Descent {
    /// Steady descent rate in air of a density, m/s.
    pub fn rate_m_s(&self, density_kg_m3: f64, gravity_m_s2: f64) -> f64 {
        (2.0 * self.mass_kg * gravity_m_s2 / (density_kg_m3 * self.drag_area_m2)).sqrt()
    }
}

/// Cumulative integrals of one flight's air and wind.
#[derive(Debug, Clone)]
pub struct DriftTable {
    /// Per node: integral from the ground of sqrt(rho/g), and of wind east and north times it.
    sums: Vec<[f64; 3]>,
}

/// Simpson's rule for sqrt(rho/g) x (1, wind) between two heights of one wind segment.
fn piece(low: f64, high: f64, wind_low: (f64, f64), wind_high: (f64, f64), q: impl Fn(f64) -> f64) -> [f64; 3] {
    let (q0, q1, q2) = (q(low), q(0.5 * (low + high)), q(high));
    let sixth = (high - low) / 6.0;
    let weigh = |a: f64, b: f64| sixth * (q0 * a + 2.0 * q1 * (a + b) + q2 * b);
    [weigh(1.0, 1.0), weigh(wind_low.0, wind_high.0), weigh(wind_low.1, wind_high.1)]
}

impl DriftTable {
    /// Lays down the integrals; `gravity` gives m/s^2 at a height above the pad.
    pub fn new(wind: &WindTable, air: &AirTable, gravity: impl Fn(f64) -> f64) -> Self {
        let nodes = wind.nodes();
        let q = |z: f64| (air.at(z).0 / gravity(z)).sqrt();
        let mut sums = vec![[0.0; 3]];
        for w in nodes.windows(2) {
            let add = piece(w[0][0], w[1][0], (w[0][1], w[0][2]), (w[1][1], w[1][2]), q);
            let last = sums[sums.len() - 1];
            sums.push([last[0] + add[0], last[1] + add[1], last[2] + add[2]]);
        }
        Self { sums }
    }

    /// The three integrals from the ground to a height.
    fn upto(&self, z: f64, wind: &WindTable, air: &AirTable, gravity: impl Fn(f64) -> f64) -> [f64; 3] {
        let k = wind.segment(z);
        let node = wind.nodes()[k];
        let q = |z: f64| (air.at(z).0 / gravity(z)).sqrt();
        let mut sum = self.sums[k];
        // Above the last node the wind is held; long stretches are split to keep Simpson's rule exact
        // enough (fourth order in 1 km over the scale height of density).
        let parts = ((z - node[0]) / 1000.0).ceil().max(1.0);
        let step = (z - node[0]) / parts;
        for i in 0..parts as usize {
            let low = node[0] + i as f64 * step;
            let add = piece(low, low + step, wind.at(low), wind.at(low + step), q);
            sum = [sum[0] + add[0], sum[1] + add[1], sum[2] + add[2]];
        }
        sum
    }

    /// From one height down to another at the descent rate: (seconds, metres east, metres north) of a
    /// body that moves with the wind exactly.
    pub fn between(
        &self,
        high_m: f64,
        low_m: f64,
        body: &Descent,
        wind: &WindTable,
        air: &AirTable,
        gravity: impl Fn(f64) -> f64 + Copy,
    ) -> [f64; 3] {
        let pace = (body.drag_area_m2 / (2.0 * body.mass_kg)).sqrt();
        let high = self.upto(high_m, wind, air, gravity);
        let low = if low_m > 0.0 { self.upto(low_m, wind, air, gravity) } else { [0.0; 3] };
        [(high[0] - low[0]) * pace, (high[1] - low[1]) * pace, (high[2] - low[2]) * pace]
    }

    /// Horizontal velocity at a height of a body that came down from another height at a steady rate,
    /// following the wind with the time constant rate/g, so over the fall height rate^2/g.
    pub fn velocity_at(
        low_m: f64,
        high_m: f64,
        start: [f64; 2],
        relaxation_height_m: f64,
        wind: &WindTable,
    ) -> [f64; 2] {
        let fade = |z: f64| libm::exp(-(z - low_m) / relaxation_height_m);
        let first = fade(high_m);
        let mut v = [start[0] * first, start[1] * first];
        // Exact on each linear piece: integrate wind x exp(-z/l)/l by parts.
        let mut z = low_m;
        let mut weight = 1.0;
        let mut k = wind.segment(low_m);
        while z < high_m && weight > 1e-9 {
            let next = wind.nodes().get(k + 1).map_or(high_m, |n| n[0].min(high_m));
            if next > z {
                let faded = fade(next);
                let (a, b) = (wind.at(z), wind.at(next));
                let span = relaxation_height_m * (weight - faded) / (next - z);
                v[0] += a.0 * weight - b.0 * faded + (b.0 - a.0) * span;
                v[1] += a.1 * weight - b.1 * faded + (b.1 - a.1) * span;
                weight = faded;
                z = next;
            }
            k += 1;
        }
        v
    }
}
