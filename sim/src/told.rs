//! Quantities in sentences: in SI, and in brackets as readers of US units have them. Whoever reads an answer has chosen neither.

use crate::constants::{FOOT_M, FOOT_POUND_J, INCH_M, MILE_PER_HOUR_M_S, POUND_FORCE_N, POUND_FORCE_PER_INCH_N_MM};

/// A speed; miles per hour are finer, so they have a decimal less.
pub fn speed(m_s: f64, places: usize) -> String {
    format!("{m_s:.places$} m/s ({:.*} mph)", places.saturating_sub(1), m_s / MILE_PER_HOUR_M_S)
}

/// A height, or a distance on the ground.
pub fn length(m: f64, places: usize) -> String {
    format!("{m:.places$} m ({:.places$} ft)", m / FOOT_M)
}

/// A length on a rocket, to the millimetre.
pub fn part(m: f64) -> String {
    format!("{m:.3} m ({:.2} in)", m / INCH_M)
}

/// An energy.
pub fn energy(j: f64) -> String {
    format!("{j:.0} J ({:.0} ft lbf)", j / FOOT_POUND_J)
}

/// A force; a pound has more than four newtons, so it has a decimal more.
pub fn force(n: f64) -> String {
    format!("{n:.0} N ({:.1} lbf)", n / POUND_FORCE_N)
}

/// A force over the width that it bears on, of newtons over millimetres.
pub fn line_load(n_per_mm: f64) -> String {
    format!("{n_per_mm:.1} N/mm ({:.0} lbf/in)", n_per_mm / POUND_FORCE_PER_INCH_N_MM)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Factors of NIST SP 811, appendix B.8.
    #[test]
    fn both_systems_tell_the_same() {
        assert_eq!(speed(8.9408, 2), "8.94 m/s (20.0 mph)");
        assert_eq!(speed(15.6464, 1), "15.6 m/s (35 mph)");
        assert_eq!(length(152.4, 0), "152 m (500 ft)");
        assert_eq!(length(2.0, 1), "2.0 m (6.6 ft)");
        assert_eq!(part(0.508), "0.508 m (20.00 in)");
        assert_eq!(energy(14.914), "15 J (11 ft lbf)");
        assert_eq!(force(100.0), "100 N (22.5 lbf)");
        assert_eq!(line_load(5.0), "5.0 N/mm (29 lbf/in)");
        assert!((POUND_FORCE_PER_INCH_N_MM - 0.175_126_835).abs() < 1e-9, "{POUND_FORCE_PER_INCH_N_MM}");
        assert!((FOOT_POUND_J - 1.355_817_948_331_4).abs() < 1e-12, "{FOOT_POUND_J}");
    }
}
