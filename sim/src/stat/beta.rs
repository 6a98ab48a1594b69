//! The regularised incomplete beta function and its inverse: the distribution behind binomial
//! intervals, Student's t and the paired comparison of two delays.

/// Steps the continued fraction may take. It needs some `sqrt(max(a, b))`; this bound is met only
/// far above any number of flights, and ends the loop for arguments that make no sense.
const STEPS_MAX: u32 = 100_000;

/// `I_x(a, b)`: the probability that a Beta(a, b) variable falls below `x`.
///
/// Continued fraction of DiDonato and Morris in the even-odd form of Abramowitz and Stegun 26.5.8,
/// evaluated by Lentz's method (Numerical Recipes, 3rd ed., 6.4; from memory), on the side of the mean
/// where it converges fast. Relative accuracy near 1e-14 for small arguments; the logarithm of the
/// gamma function costs about 1e-16 (a + b) ln(a + b), so 1e-9 at a million flights.
///
/// `x` outside [0, 1] gives the nearer end; `a` and `b` must be positive, otherwise the result is NaN.
pub fn regularised(x: f64, a: f64, b: f64) -> f64 {
    if !(a > 0.0 && b > 0.0) || x.is_nan() {
        return f64::NAN;
    }
    if x <= 0.0 {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    let front = libm::exp(a * libm::log(x) + b * libm::log1p(-x) - ln_beta(a, b));
    if x < (a + 1.0) / (a + b + 2.0) {
        front * fraction(x, a, b) / a
    } else {
        1.0 - front * fraction(1.0 - x, b, a) / b
    }
}

/// The `x` with `I_x(a, b) = p`.
///
/// Newton's method from a normal approximation, inside a bracket that every step narrows; a step that
/// leaves the bracket is replaced by its middle, so it always ends. `p <= 0` gives 0, `p >= 1` gives 1.
pub fn inverse(p: f64, a: f64, b: f64) -> f64 {
    if !(a > 0.0 && b > 0.0) || p.is_nan() {
        return f64::NAN;
    }
    if p <= 0.0 {
        return 0.0;
    }
    if p >= 1.0 {
        return 1.0;
    }
    let ln_scale = ln_beta(a, b);
    let (mut low, mut high) = (0.0, 1.0);
    let mut x = first_guess(p, a, b);
    // 200 halvings exhaust the bracket; Newton needs 4 to 8 steps.
    for _ in 0..200 {
        let miss = regularised(x, a, b) - p;
        if miss > 0.0 {
            high = x;
        } else {
            low = x;
        }
        let slope = libm::exp((a - 1.0) * libm::log(x) + (b - 1.0) * libm::log1p(-x) - ln_scale);
        let newton = x - miss / slope;
        // The ends count as inside: at the root the step is zero and `x` is itself an end.
        let next = if newton >= low && newton <= high { newton } else { 0.5 * (low + high) };
        let done = (next - x).abs() <= 2.0 * f64::EPSILON * x;
        x = next;
        if done || miss == 0.0 {
            break;
        }
    }
    x
}

/// Natural logarithm of the complete beta function.
fn ln_beta(a: f64, b: f64) -> f64 {
    libm::lgamma(a) + libm::lgamma(b) - libm::lgamma(a + b)
}

/// Abramowitz and Stegun 26.5.22 where both shapes are at least 1, else the two power laws at the ends
/// (both as in Numerical Recipes, 3rd ed., 6.4; from memory). Only the number of steps depends on it.
fn first_guess(p: f64, a: f64, b: f64) -> f64 {
    let guess = if a >= 1.0 && b >= 1.0 {
        let z = -super::normal::quantile(p);
        let lambda = (z * z - 3.0) / 6.0;
        let (u, v) = (1.0 / (2.0 * a - 1.0), 1.0 / (2.0 * b - 1.0));
        let h = 2.0 / (u + v);
        let w = z * (lambda + h).max(0.0).sqrt() / h - (v - u) * (lambda + 5.0 / 6.0 - 2.0 / (3.0 * h));
        a / (a + b * libm::exp(2.0 * w))
    } else {
        let below = libm::exp(a * libm::log(a / (a + b))) / a;
        let above = libm::exp(b * libm::log(b / (a + b))) / b;
        let both = below + above;
        if p < below / both { libm::pow(a * both * p, 1.0 / a) } else { 1.0 - libm::pow(b * both * (1.0 - p), 1.0 / b) }
    };
    if guess > 0.0 && guess < 1.0 { guess } else { a / (a + b) }
}

/// The continued fraction itself; valid and fast for `x` below about the mean.
fn fraction(x: f64, a: f64, b: f64) -> f64 {
    // A divisor of zero is replaced by this, which changes nothing else (Lentz's method).
    const TINY: f64 = 1e-300;
    let away = |v: f64| if v.abs() < TINY { TINY } else { v };
    let mut c = 1.0;
    let mut d = 1.0 / away(1.0 - (a + b) * x / (a + 1.0));
    let mut value = d;
    for step in 1..=STEPS_MAX {
        let m = f64::from(step);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / away(1.0 + even * d);
        c = away(1.0 + even / c);
        value *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / away(1.0 + odd * d);
        c = away(1.0 + odd / c);
        let change = d * c;
        value *= change;
        if (change - 1.0).abs() <= f64::EPSILON {
            break;
        }
    }
    value
}

#[cfg(test)]
mod tests {
    #![expect(clippy::excessive_precision, reason = "values are kept as computed, so that they can be compared")]

    use super::{first_guess, inverse, regularised};

    /// Computed with 40 digits (mpmath 1.3: binomial sums for whole shapes, its own `betainc` otherwise).
    #[test]
    fn to_many_digits() {
        for (x, a, b, exact, relative) in [
            (0.5, 12.5, 30.5, 0.99757678181528812164, 1e-14),
            (0.1, 2.0, 3.0, 0.0523, 1e-14),
            (0.9, 2.0, 3.0, 0.9963, 1e-14),
            (0.1, 0.5, 7.5, 0.7837516348627336010791, 1e-13),
            (0.01, 1.0, 300.0, 0.95095910592871414719, 1e-13),
            (0.3, 3000.0, 7000.0, 0.50116076913624899291, 1e-10),
            (0.29, 3000.0, 7000.0, 0.014136148980603516994, 1e-10),
            (0.001, 10.0, 9991.0, 0.54213287602098152037, 1e-10),
            (0.0501, 50_000.0, 950_001.0, 0.67729491729771480903, 1e-8),
        ] {
            let ours = regularised(x, a, b);
            assert!((ours / exact - 1.0).abs() < relative, "{x} {a} {b}: {ours}");
        }
    }

    #[test]
    fn inverse_to_many_digits() {
        for (p, a, b, exact) in [
            (0.025, 81.0, 183.0, 0.252736745585271163),
            (0.025, 50.0, 951.0, 0.0373353976046617679),
            (0.975, 1.0, 1000.0, 0.00368208389686567209),
            (0.025, 1.0, 10_000.0, 2.53177759347468664e-6),
        ] {
            let ours = inverse(p, a, b);
            assert!((ours / exact - 1.0).abs() < 2e-11, "{p} {a} {b}: {ours}");
        }
    }

    /// Shapes from one half to a million, and all of the range of `p`.
    #[test]
    fn inverse_undoes() {
        let shapes = [0.5, 1.0, 1.5, 7.0, 50.0, 1000.0, 50_000.0, 1e6];
        for a in shapes {
            for b in shapes {
                for p in [1e-6, 0.025, 0.3, 0.5, 0.9, 0.975] {
                    let x = inverse(p, a, b);
                    // Next to 1 the spacing of doubles limits what can be undone.
                    let back = regularised(x, a, b);
                    let spacing = (regularised(x * (1.0 + 4e-16), a, b) - back).abs();
                    assert!((back - p).abs() < 1e-8 * p + 2.0 * spacing, "{a} {b} {p}: {x} {back}");
                }
            }
        }
    }

    #[test]
    fn against_statrs() {
        for a in [0.5, 1.0, 2.5, 30.0, 400.0] {
            for b in [0.5, 1.0, 2.5, 30.0, 400.0] {
                for x in [0.001, 0.1, 0.35, 0.5, 0.8, 0.99] {
                    let outside = statrs::function::beta::beta_reg(a, b, x);
                    assert!((regularised(x, a, b) - outside).abs() < 1e-12, "{a} {b} {x}");
                }
            }
        }
    }

    #[test]
    fn ends() {
        assert_eq!((regularised(-1.0, 2.0, 3.0), regularised(2.0, 2.0, 3.0)), (0.0, 1.0));
        assert_eq!((inverse(0.0, 2.0, 3.0), inverse(1.0, 2.0, 3.0)), (0.0, 1.0));
        for (a, b) in [(0.0, 1.0), (1.0, 0.0), (-1.0, 2.0), (2.0, -1.0), (f64::NAN, 1.0)] {
            assert!(regularised(0.5, a, b).is_nan() && inverse(0.5, a, b).is_nan(), "{a} {b}");
        }
        assert!(regularised(f64::NAN, 1.0, 1.0).is_nan() && inverse(f64::NAN, 1.0, 1.0).is_nan());
    }

    /// Where the search starts decides how long it takes: within a few per cent of the nearer tail by the normal
    /// approximation (shapes of 4 and more), within an eighth of it by the power laws at the ends.
    #[test]
    fn guesses_are_near() {
        let off = |p: f64, a: f64, b: f64| (regularised(first_guess(p, a, b), a, b) - p).abs() / p.min(1.0 - p);
        for a in [4.0, 7.0, 20.0, 400.0] {
            for b in [4.0, 9.0, 150.0] {
                for (p, most) in [(0.01, 0.07), (0.1, 0.03), (0.35, 0.015), (0.6, 0.015), (0.9, 0.03), (0.99, 0.07)] {
                    assert!(off(p, a, b) < most, "{a} {b} {p}: {}", off(p, a, b));
                }
            }
        }
        for (a, b) in [(0.5, 0.5), (0.5, 3.0), (3.0, 0.5), (0.2, 0.7)] {
            for p in [1e-4, 0.01, 0.99, 0.9999] {
                assert!(off(p, a, b) < 0.125, "{a} {b} {p}: {}", off(p, a, b));
            }
        }
        // Also where a power law ends on 0 or 1.
        for (p, a, b) in [(1e-3, 0.005, 3.0), (0.999, 3.0, 0.005), (1e-300, 0.5, 2.0), (0.5, 1e-3, 1e-3)] {
            let guess = first_guess(p, a, b);
            assert!(guess > 0.0 && guess < 1.0, "{a} {b} {p}: {guess}");
        }
    }
}
