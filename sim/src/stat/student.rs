//! Student's t: the factor between a standard error from few replicates and an interval.

/// The `t` that `|T|` stays below with probability `confidence`, for `freedom` degrees of freedom.
///
/// From `P(|T| < t) = I_y(1/2, freedom / 2)` with `y = t^2 / (freedom + t^2)` (Abramowitz and Stegun
/// 26.7.1), which keeps its digits for many degrees of freedom, where `y` is small. `freedom = 0` gives
/// infinity: one replicate says nothing about the spread.
pub fn two_sided(confidence: f64, freedom: u64) -> f64 {
    if freedom == 0 {
        return f64::INFINITY;
    }
    let nu = freedom as f64;
    let y = super::beta::inverse(confidence, 0.5, 0.5 * nu);
    (nu * y / (1.0 - y)).sqrt()
}

/// The probability that `T` exceeds `t`, for `freedom` degrees of freedom (Abramowitz and Stegun 26.7.1).
pub fn above(t: f64, freedom: u64) -> f64 {
    let nu = freedom as f64;
    let tail = 0.5 * super::beta::regularised(nu / (nu + t * t), 0.5 * nu, 0.5);
    if t > 0.0 { tail } else { 1.0 - tail }
}

#[cfg(test)]
mod tests {
    use super::{above, two_sided};

    /// Two-sided 95 %, as printed to three decimals in every t table (NIST/SEMATECH e-Handbook 1.3.6.7.2,
    /// from memory).
    #[test]
    fn printed_table() {
        for (freedom, printed) in [(1, 12.706), (2, 4.303), (7, 2.365), (15, 2.131), (31, 2.040), (100, 1.984)] {
            let t = two_sided(0.95, freedom);
            assert!((t - printed).abs() < 5.1e-4, "{freedom}: {t}");
        }
    }

    /// Closed forms: one degree of freedom is the Cauchy distribution; two have t = p sqrt(2 / (1 - p^2)).
    #[test]
    fn closed_forms() {
        let cauchy = libm::tan(core::f64::consts::FRAC_PI_2 * 0.95);
        assert!((two_sided(0.95, 1) / cauchy - 1.0).abs() < 1e-12);
        let two = 0.95 * (2.0f64 / (1.0 - 0.95 * 0.95)).sqrt();
        assert!((two_sided(0.95, 2) / two - 1.0).abs() < 1e-12);
        assert_eq!(two_sided(0.95, 0), f64::INFINITY);
    }

    /// An outside library.
    #[test]
    fn against_statrs() {
        use statrs::distribution::{ContinuousCDF, StudentsT};
        for freedom in [1, 3, 7, 15, 31, 63, 1000] {
            let Ok(outside) = StudentsT::new(0.0, 1.0, freedom as f64) else {
                panic!("statrs refuses {freedom}");
            };
            for confidence in [0.5, 0.9, 0.95, 0.99] {
                let back = 2.0 * outside.cdf(two_sided(confidence, freedom)) - 1.0;
                assert!((back - confidence).abs() < 1e-11, "{freedom} {confidence} {back}");
                let t = two_sided(confidence, freedom);
                assert!((above(t, freedom) - 0.5 * (1.0 - confidence)).abs() < 1e-11, "{freedom} {confidence}");
                assert!((above(t, freedom) + above(-t, freedom) - 1.0).abs() < 1e-15);
            }
        }
    }
}
