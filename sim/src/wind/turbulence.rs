//! Turbulence on a way straight up or down: Dryden's forms at low altitude, frozen in height.
//!
//! MIL-F-8785C gives the sizes and scales of turbulence from the wind at 20 ft and the height. MIL-HDBK-1797B
//! differs in name only for what is used here: its scale across the path is half as long and its forms take twice
//! the scale (from memory).
//!
//! A rocket and what hangs under its canopy go up and down, so both horizontal gusts lie across the path and have
//! the form across it, with the autocorrelation exp(-r/L) (1 - r/2L). Vertical gusts, a tenth of the wind at 20 ft,
//! are left out: in light turbulence they move the slowest airspeed, in quadrature with the speed across, by some
//! 0.03 m/s, and frozen in height one of the size of a descent rate would hold a canopy aloft for ever.
//!
//! The filter runs over the height in units of the local scale, in exact steps, so that the size of the gusts
//! depends neither on the step nor on the spectral density of the noise: driven by unit noise the published filters
//! give a variance of sigma^2/pi.

use crate::constants::FOOT_M;

/// Heights between which the forms are published, m: 10 and 1000 ft. They are held below.
const LOW_M: f64 = 10.0 * FOOT_M;
const LOW_TOP_M: f64 = 1000.0 * FOOT_M;
/// From here the scale is [`ALOFT_SCALE_M`]; in between it is a straight line, m.
const ALOFT_M: f64 = 2000.0 * FOOT_M;
const ALOFT_SCALE_M: f64 = 1750.0 * FOOT_M;
/// Height of the wind that the sizes are given by, m: 20 ft.
pub const REFERENCE_M: f64 = 20.0 * FOOT_M;

/// Scales between two heights of a flight's table. A straight line between them keeps 95 % of the variance on average;
/// ten times finer, angles of attack at the end of the rail vary by 1.5 % more and opening speeds by 0.3 %.
pub const SCALES_PER_STEP: f64 = 1.0 / 10.0;

/// Scale of horizontal turbulence at a height above ground, m: L_u = L_v of MIL-F-8785C.
pub fn scale_m(height_m: f64) -> f64 {
    let low = |z: f64| z / libm::pow(steepness(z), 1.2);
    let z = height_m.max(LOW_M);
    if z <= LOW_TOP_M {
        low(z)
    } else {
        let w = ((z - LOW_TOP_M) / (ALOFT_M - LOW_TOP_M)).min(1.0);
        low(LOW_TOP_M) * (1.0 - w) + ALOFT_SCALE_M * w
    }
}

/// Standard deviation of each horizontal component over the wind at 20 ft: sigma_u = sigma_v of MIL-F-8785C. Held
/// above 1000 ft, where the standard goes by the weather: an assumption.
pub fn intensity(height_m: f64) -> f64 {
    const VERTICAL: f64 = 0.1;
    VERTICAL / libm::pow(steepness(height_m.clamp(LOW_M, LOW_TOP_M)), 0.4)
}

/// The standard's function of the height in feet that reaches 1 at 1000 ft.
fn steepness(height_m: f64) -> f64 {
    0.177 + 0.000_823 * height_m / FOOT_M
}

/// Heights from the ground up that lie [`SCALES_PER_STEP`] apart, the last at or above `top_m`.
pub fn heights_m(top_m: f64) -> Vec<f64> {
    let mut z = 0.0;
    let mut heights = vec![z];
    while z < top_m {
        // Second order in a step is a thousandth of it: by the scale half-way.
        let half = z + 0.5 * SCALES_PER_STEP * scale_m(z);
        z += SCALES_PER_STEP * scale_m(half);
        heights.push(z);
    }
    heights
}

/// Autocorrelation of the form across the path at a distance in scales.
fn correlation(scales: f64) -> f64 {
    libm::exp(-scales) * (1.0 - 0.5 * scales)
}

/// Standard deviation of a straight line between two neighbouring gusts of unit variance, a share of the way up.
pub fn size_between(share: f64) -> f64 {
    (1.0 - 2.0 * share * (1.0 - share) * (1.0 - correlation(SCALES_PER_STEP))).sqrt()
}

/// One step of the form across the path, (1 + sqrt 3 s) / (1 + s)^2 over white noise: exact, of unit variance.
///
/// With x1' = x2 and x2' = -x1 - 2 x2 + noise, y = x1 + sqrt 3 x2; at rest both states have the variance 1/4 and are
/// not correlated, and y has 1/4 + 3/4.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Step {
    carry: [[f64; 2]; 2],
    /// Square root (lower triangle) of what the noise adds: (1 - carry carry^T) / 4.
    add: [f64; 3],
}

impl Step {
    fn of(scales: f64) -> Self {
        let fade = libm::exp(-scales);
        let carry = [[fade * (1.0 + scales), fade * scales], [-fade * scales, fade * (1.0 - scales)]];
        let [[a, b], [c, d]] = carry;
        let left = 0.5 * (1.0 - a * a - b * b).max(0.0).sqrt();
        let below = -0.25 * (a * c + b * d) / left;
        let right = (0.25 * (1.0 - c * c - d * d) - below * below).max(0.0).sqrt();
        Self { carry, add: [left, below, right] }
    }

    fn next(&self, [x1, x2]: [f64; 2], [n1, n2]: [f64; 2]) -> [f64; 2] {
        let [[a, b], [c, d]] = self.carry;
        let [left, below, right] = self.add;
        [a * x1 + b * x2 + left * n1, c * x1 + d * x2 + below * n1 + right * n2]
    }
}

const SQRT_3: f64 = 1.732_050_807_568_877_2;

/// Gusts along and across the mean wind at each height, of unit variance, from the gusts at the ground and a
/// source of standard normal numbers that are used in the order of the heights.
pub fn gusts(at_ground: [f64; 2], heights: usize, mut normal: impl FnMut() -> f64) -> impl Iterator<Item = [f64; 2]> {
    let step = Step::of(SCALES_PER_STEP);
    // Of the two states at rest, the part that makes the gust and the part that does not.
    let mut states = at_ground.map(|gust| {
        let rest = normal();
        [0.25 * gust + 0.25 * SQRT_3 * rest, 0.25 * SQRT_3 * gust - 0.25 * rest]
    });
    (0..heights).map(move |k| {
        if k > 0 {
            states = states.map(|x| step.next(x, [normal(), normal()]));
        }
        states.map(|[x1, x2]| x1 + SQRT_3 * x2)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a step carries on of two states and what the noise adds to their covariance, from its answers to one state
    /// or one number at a time.
    fn parts(scales: f64) -> ([[f64; 2]; 2], [[f64; 2]; 2]) {
        let step = Step::of(scales);
        let (one, two) = (step.next([1.0, 0.0], [0.0; 2]), step.next([0.0, 1.0], [0.0; 2]));
        let (first, second) = (step.next([0.0; 2], [1.0, 0.0]), step.next([0.0; 2], [0.0, 1.0]));
        let added = |i: usize, j: usize| first[i] * first[j] + second[i] * second[j];
        ([[one[0], two[0]], [one[1], two[1]]], [[added(0, 0), added(0, 1)], [added(1, 0), added(1, 1)]])
    }

    fn product(a: [[f64; 2]; 2], b: [[f64; 2]; 2]) -> [[f64; 2]; 2] {
        core::array::from_fn(|i| core::array::from_fn(|j| a[i][0] * b[0][j] + a[i][1] * b[1][j]))
    }

    fn turned(a: [[f64; 2]; 2]) -> [[f64; 2]; 2] {
        [[a[0][0], a[1][0]], [a[0][1], a[1][1]]]
    }

    fn close(a: [[f64; 2]; 2], b: [[f64; 2]; 2]) {
        for (a, b) in a.iter().flatten().zip(b.iter().flatten()) {
            assert!((a - b).abs() < 1e-12, "{a} {b}");
        }
    }

    /// A step leaves states at rest as they are, and two steps are one of twice the length: the law of any exact step of
    /// a linear system driven by white noise.
    #[test]
    fn steps_are_exact() {
        let sum =
            |a: [[f64; 2]; 2], b: [[f64; 2]; 2]| core::array::from_fn(|i| core::array::from_fn(|j| a[i][j] + b[i][j]));
        let rest = [[0.25, 0.0], [0.0, 0.25]];
        for scales in [0.02, 0.1, 0.7] {
            let (carry, added) = parts(scales);
            let carried = |c: [[f64; 2]; 2]| product(product(carry, c), turned(carry));
            close(sum(carried(rest), added), rest);
            let (twice, added_twice) = parts(2.0 * scales);
            close(product(carry, carry), twice);
            close(sum(carried(added), added), added_twice);
        }
        // To first order x1' = x2 and x2' = -x1 - 2 x2.
        let (carry, _) = parts(1e-8);
        close(carry, [[1.0, 1e-8], [-1e-8, 1.0 - 2e-8]]);
    }

    #[test]
    fn a_line_between_two_gusts_is_flatter_by_what_is_given_back() {
        let r = libm::exp(-0.1) * 0.95;
        for share in [0.0, 0.3, 0.5, 1.0] {
            let variance = (1.0 - share) * (1.0 - share) + share * share + 2.0 * share * (1.0 - share) * r;
            assert!((size_between(share) - variance.sqrt()).abs() < 1e-12, "{share}");
        }
    }
}
