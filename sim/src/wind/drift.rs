//! Descent at the local descent rate through a drawn wind, in closed form from cumulative tables.
//!
//! With drag area A and mass m the descent rate is w = sqrt(2 m g / (rho A)). Time and drift from height
//! z to the ground are integrals of sqrt(rho/g) and of wind x sqrt(rho/g) over height, taken once per
//! flight, times sqrt(A / 2m). A canopy follows the wind with the time constant w/g; for that linear
//! relaxation the displacement is exactly the integral of the wind less that of the time constant over the change of
//! velocity. Inside the fall the velocity is the wind's, so that is the integral of sqrt(1/(rho g)) over the change
//! of the wind, times sqrt(2m / A); at both ends it is the difference to the wind.

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

/// A descent of a body that starts and ends with the velocity of the wind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drift {
    /// Time it takes, s.
    pub seconds: f64,
    /// Way of the air round it, towards east and north, m.
    pub air_m: [f64; 2],
    /// How much further it comes for its lag behind a wind that changes on the way, m.
    pub lag_m: [f64; 2],
    /// Integral of the time constant over the height, m s: how far a force sideways takes it, per m/s^2 and m/s down.
    pub time_constant_m_s: f64,
}

/// Integrals over height: of sqrt(rho/g); of the wind times it; of sqrt(1/(rho g)) over the change of the wind; of
/// that itself.
type Sums = [f64; 6];

/// Cumulative integrals of one flight's air and wind.
#[derive(Debug, Clone)]
pub struct DriftTable {
    /// Per node, from the ground.
    sums: Vec<Sums>,
}

/// Simpson's rule between two heights of one wind segment; `air` gives density and gravity.
fn piece(low: f64, high: f64, wind_low: (f64, f64), wind_high: (f64, f64), air: impl Fn(f64) -> (f64, f64)) -> Sums {
    let at = |z: f64| {
        let (density, gravity) = air(z);
        let q = (density / gravity).sqrt();
        (q, 1.0 / (q * gravity))
    };
    let ((q0, r0), (q1, r1), (q2, r2)) = (at(low), at(0.5 * (low + high)), at(high));
    let sixth = (high - low) / 6.0;
    let weigh = |a: f64, b: f64| sixth * (q0 * a + 2.0 * q1 * (a + b) + q2 * b);
    let constant = (r0 + 4.0 * r1 + r2) / 6.0;
    [
        weigh(1.0, 1.0),
        weigh(wind_low.0, wind_high.0),
        weigh(wind_low.1, wind_high.1),
        constant * (wind_high.0 - wind_low.0),
        constant * (wind_high.1 - wind_low.1),
        constant * (high - low),
    ]
}

/// The integrals from one node of the wind to the next.
fn whole_piece(k: usize, wind: &WindTable, air: &AirTable, gravity: impl Fn(f64) -> f64) -> Sums {
    let [low, high] = [wind.nodes()[k], wind.nodes()[k + 1]];
    piece(low[0], high[0], (low[1], low[2]), (high[1], high[2]), |z| (air.at(z).0, gravity(z)))
}

impl DriftTable {
    /// Lays down the integrals, up to the node below `top_m`: falls from above it are slower to ask for. `gravity` gives m/s^2 at a height above the pad.
    pub fn new(wind: &WindTable, air: &AirTable, gravity: impl Fn(f64) -> f64, top_m: f64) -> Self {
        let mut sums = vec![[0.0; 6]];
        for k in 0..wind.segment(top_m) {
            sums.push(plus(&sums[k], &whole_piece(k, wind, air, &gravity)));
        }
        Self { sums }
    }

    /// The integrals from the ground to a height.
    fn upto(&self, z: f64, wind: &WindTable, air: &AirTable, gravity: impl Fn(f64) -> f64) -> Sums {
        let k = wind.segment(z);
        let node = wind.nodes()[k];
        let known = k.min(self.sums.len() - 1);
        let mut sum = self.sums[known];
        for below in known..k {
            sum = plus(&sum, &whole_piece(below, wind, air, &gravity));
        }
        // Above the last node the wind is held; long stretches are split to keep Simpson's rule exact
        // enough (fourth order in 1 km over the scale height of density).
        let parts = ((z - node[0]) / 1000.0).ceil().max(1.0);
        let step = (z - node[0]) / parts;
        for i in 0..parts as usize {
            let low = node[0] + i as f64 * step;
            let add = piece(low, low + step, wind.at(low), wind.at(low + step), |z| (air.at(z).0, gravity(z)));
            sum = plus(&sum, &add);
        }
        sum
    }

    /// From one height down to another at the descent rate.
    pub fn between(
        &self,
        high_m: f64,
        low_m: f64,
        body: &Descent,
        wind: &WindTable,
        air: &AirTable,
        gravity: impl Fn(f64) -> f64 + Copy,
    ) -> Drift {
        let pace = (body.drag_area_m2 / (2.0 * body.mass_kg)).sqrt();
        let high = self.upto(high_m, wind, air, gravity);
        let low = if low_m > 0.0 { self.upto(low_m, wind, air, gravity) } else { [0.0; 6] };
        let [time, east, north, lag_east, lag_north, constant] = core::array::from_fn(|i| high[i] - low[i]);
        Drift {
            seconds: time * pace,
            air_m: [east * pace, north * pace],
            lag_m: [lag_east / pace, lag_north / pace],
            time_constant_m_s: constant / pace,
        }
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
            // Above `z`: nodes rise, and the first piece is the one it lies in.
            let next = wind.nodes().get(k + 1).map_or(high_m, |n| n[0].min(high_m));
            let faded = fade(next);
            let (a, b) = (wind.at(z), wind.at(next));
            let span = relaxation_height_m * (weight - faded) / (next - z);
            v[0] += a.0 * weight - b.0 * faded + (b.0 - a.0) * span;
            v[1] += a.1 * weight - b.1 * faded + (b.1 - a.1) * span;
            weight = faded;
            z = next;
            k += 1;
        }
        v
    }
}

fn plus(a: &Sums, b: &Sums) -> Sums {
    core::array::from_fn(|i| a[i] + b[i])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::air::Column;

    const G: f64 = 10.0;

    /// 5 kg under 2 m^2 in air of 0.5 kg/m^3: sqrt(2 5 10 / (0.5 2)) m/s.
    const BODY: Descent = Descent { mass_kg: 5.0, drag_area_m2: 2.0 };

    /// 2 m/s towards east, growing by 0.02 m/s and m; towards north falling by half of that. Held above 400 m.
    fn shear() -> WindTable {
        WindTable::new([0.0, 30.0, 100.0, 150.0, 400.0].map(|z| [z, 2.0 + 0.02 * z, 1.0 - 0.01 * z]).to_vec())
    }

    #[test]
    fn descent_rate_by_hand() {
        assert!((BODY.rate_m_s(0.5, G) - 10.0).abs() < 1e-12);
    }

    /// Air of one density: heights over the rate, the mean wind over that time, and the rate over gravity for the lag.
    #[test]
    fn through_air_of_one_density() {
        let (wind, air) = (shear(), AirTable::uniform(0.5, 340.0));
        // Laid down to 200 m only: what lies above is summed up when asked for.
        let table = DriftTable::new(&wind, &air, |_| G, 200.0);
        for (high, low) in [(400.0, 0.0), (120.0, 0.0), (370.0, 120.0), (90.0, 45.0)] {
            let d = table.between(high, low, &BODY, &wind, &air, |_| G);
            let seconds = (high - low) / 10.0;
            let middle = 0.5 * (high + low);
            let want = [
                (d.seconds, seconds),
                (d.air_m[0], (2.0 + 0.02 * middle) * seconds),
                (d.air_m[1], (1.0 - 0.01 * middle) * seconds),
                (d.lag_m[0], 0.02 * (high - low)),
                (d.lag_m[1], -0.01 * (high - low)),
                (d.time_constant_m_s, high - low),
            ];
            for (k, (got, want)) in want.into_iter().enumerate() {
                assert!((got - want).abs() < 1e-9, "{high} to {low}, {k}: {got} {want}");
            }
        }
        // Above its last node the wind is held and lags no more: 10 m/s and -3 m/s.
        let d = table.between(2900.0, 400.0, &BODY, &wind, &air, |_| G);
        assert!((d.seconds - 250.0).abs() < 1e-9 && (d.air_m[0] - 2500.0).abs() < 1e-8, "{d:?}");
        assert!((d.air_m[1] + 750.0).abs() < 1e-8 && d.lag_m[0].abs() < 1e-9 && d.lag_m[1].abs() < 1e-9, "{d:?}");
    }

    /// Real air, with gravity that falls off: the same integrals by a sum of 20,000 slices.
    #[test]
    fn through_thinning_air() {
        let (wind, air) = (shear(), AirTable::new(&Column::over(0.0, 101_325.0, 288.15), 5000.0));
        let gravity = |z: f64| G - 1e-4 * z;
        let table = DriftTable::new(&wind, &air, gravity, 5000.0);
        let (high, low, slices) = (3000.0, 60.0, 20_000);
        let dz = (high - low) / f64::from(slices);
        let mut sums = [0.0; 6];
        for k in 0..slices {
            let z = low + (f64::from(k) + 0.5) * dz;
            let rate = BODY.rate_m_s(air.at(z).0, gravity(z));
            let (east, north) = wind.at(z);
            let (above, below) = (wind.at(z + 0.5 * dz), wind.at(z - 0.5 * dz));
            let constant_s = rate / gravity(z);
            let slice = [
                dz / rate,
                east * dz / rate,
                north * dz / rate,
                constant_s * (above.0 - below.0),
                constant_s * (above.1 - below.1),
                constant_s * dz,
            ];
            sums = core::array::from_fn(|i| sums[i] + slice[i]);
        }
        let d = table.between(high, low, &BODY, &wind, &air, gravity);
        let found = [d.seconds, d.air_m[0], d.air_m[1], d.lag_m[0], d.lag_m[1], d.time_constant_m_s];
        for (k, (got, want)) in found.into_iter().zip(sums).enumerate() {
            assert!((got / want - 1.0).abs() < 2e-6, "{k}: {got} {want}");
        }
    }

    /// Linear relaxation towards a linear wind, in closed form: behind it by shear times relaxation height, and the
    /// rest of the start fades.
    #[test]
    fn velocity_relaxes_towards_the_wind() {
        let wind = shear();
        for (high, low, relaxation) in
            [(380.0, 0.0, 40.0), (380.0, 120.0, 40.0), (90.0, 60.0, 3.0), (390.0, 5.0, 500.0)]
        {
            let fade = libm::exp(-(high - low) / relaxation);
            let v = DriftTable::velocity_at(low, high, [7.0, -2.0], relaxation, &wind);
            let at = |z: f64| [2.0 + 0.02 * z, 1.0 - 0.01 * z];
            for (i, (start, slope)) in [(7.0, 0.02), (-2.0, -0.01)].into_iter().enumerate() {
                let behind = slope * relaxation;
                let want = at(low)[i] + behind + (start - at(high)[i] - behind) * fade;
                assert!((v[i] - want).abs() < 1e-8, "{high} to {low}, {i}: {} {want}", v[i]);
            }
        }
        // Where the wind is held only the start fades; over no height nothing does.
        let v = DriftTable::velocity_at(500.0, 600.0, [7.0, -2.0], 100.0, &wind);
        let fade = libm::exp(-1.0);
        assert!((v[0] - (10.0 - 3.0 * fade)).abs() < 1e-9 && (v[1] - (-3.0 + 1.0 * fade)).abs() < 1e-9, "{v:?}");
        assert_eq!(DriftTable::velocity_at(200.0, 200.0, [7.0, -2.0], 100.0, &wind), [7.0, -2.0]);
    }
}
