//! The dispersion ellipse of a landing cloud.

use super::cloud::Covariance;

/// What a semi-axis counts as at least when a point is asked for: one millimetre, far below anything
/// modelled, so that a cloud along a line still contains its own points.
const AXIS_LEAST_M: f64 = 1e-3;

/// The ellipse that holds a stated share of a bivariate normal cloud with the given mean and covariance.
///
/// Landing clouds are not normal: the share it really holds must be counted and shown beside it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ellipse {
    /// Share of a normal cloud inside.
    pub probability: f64,
    /// Centre, metres east of the pad.
    pub centre_east_m: f64,
    /// Centre, metres north of the pad.
    pub centre_north_m: f64,
    /// Longer half-axis in metres.
    pub semi_major_m: f64,
    /// Shorter half-axis in metres; zero for a cloud along a line.
    pub semi_minor_m: f64,
    /// Direction of the longer axis, degrees clockwise from north, 0 to below 180; 0 for a circle.
    pub bearing_deg: f64,
    /// East and north part of the unit vector along the longer axis.
    major: (f64, f64),
}

impl Ellipse {
    /// From mean and covariance. Both semi-axes are sqrt(-2 ln(1 - P)) standard deviations along their
    /// axis: the squared radius of a standard bivariate normal is exponential with mean 2. `None` unless
    /// `probability` lies strictly between 0 and 1.
    pub fn new(mean_m: (f64, f64), covariance: &Covariance, probability: f64) -> Option<Self> {
        if !(probability > 0.0 && probability < 1.0) {
            return None;
        }
        let factor = (-2.0 * libm::log1p(-probability)).sqrt();
        let middle = 0.5 * (covariance.east_m2 + covariance.north_m2);
        let half = 0.5 * (covariance.east_m2 - covariance.north_m2);
        let cross = covariance.cross_m2;
        let apart = (half * half + cross * cross).sqrt();
        let larger = middle + apart;
        // From the determinant where that keeps more digits than the difference of two near numbers.
        let smaller = if larger > 0.0 {
            let determinant = covariance.east_m2 * covariance.north_m2 - cross * cross;
            (determinant / larger).max(0.0)
        } else {
            0.0
        };
        let round = apart == 0.0;
        let from_east = if round { core::f64::consts::FRAC_PI_2 } else { 0.5 * libm::atan2(cross, half) };
        let bearing = 90.0 - from_east.to_degrees();
        Some(Self {
            probability,
            centre_east_m: mean_m.0,
            centre_north_m: mean_m.1,
            semi_major_m: factor * larger.max(0.0).sqrt(),
            semi_minor_m: factor * smaller.sqrt(),
            bearing_deg: if bearing >= 180.0 { bearing - 180.0 } else { bearing },
            major: (libm::cos(from_east), libm::sin(from_east)),
        })
    }

    /// Whether a point lies inside or on the edge.
    pub fn contains(&self, east_m: f64, north_m: f64) -> bool {
        let (east, north) = (east_m - self.centre_east_m, north_m - self.centre_north_m);
        let along = east * self.major.0 + north * self.major.1;
        let across = north * self.major.0 - east * self.major.1;
        let u = along / self.semi_major_m.max(AXIS_LEAST_M);
        let v = across / self.semi_minor_m.max(AXIS_LEAST_M);
        u * u + v * v <= 1.0
    }

    /// Area inside, in square metres.
    pub fn area_m2(&self) -> f64 {
        core::f64::consts::PI * self.semi_major_m * self.semi_minor_m
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ellipse(east_m2: f64, north_m2: f64, cross_m2: f64, probability: f64) -> Ellipse {
        let covariance = Covariance { east_m2, north_m2, cross_m2 };
        match Ellipse::new((10.0, -20.0), &covariance, probability) {
            Some(ellipse) => ellipse,
            None => panic!("no ellipse for {probability}"),
        }
    }

    /// Factor sqrt(-2 ln(1 - P)) to the six decimals of the usual tables (recomputed with SciPy by others).
    #[test]
    fn factors() {
        for (probability, factor) in
            [(0.5, 1.177410), (0.9, 2.145966), (0.95, 2.447747), (0.99, 3.034854), (0.9973, 3.439332)]
        {
            assert!((ellipse(1.0, 1.0, 0.0, probability).semi_major_m - factor).abs() < 1e-6);
        }
        assert!((ellipse(1.0, 1.0, 0.0, 0.3935).semi_major_m - 1.0).abs() < 1e-4);
        // Area at 95 %: 18.82274 times the two standard deviations.
        assert!((ellipse(9.0, 4.0, 0.0, 0.95).area_m2() / 6.0 - 18.82274).abs() < 1e-5);
    }

    #[test]
    fn bearings() {
        for (east, north, cross, bearing) in [
            (1.0, 4.0, 0.0, 0.0),
            (4.0, 1.0, 0.0, 90.0),
            (2.0, 2.0, 1.0, 45.0),
            (2.0, 2.0, -1.0, 135.0),
            (1.0, 1.0, 0.0, 0.0),
            (0.0, 0.0, 0.0, 0.0),
        ] {
            let found = ellipse(east, north, cross, 0.5).bearing_deg;
            assert!((found - bearing).abs() < 1e-12, "{east} {north} {cross}: {found}");
        }
    }

    /// A cloud stretched along any bearing is found again, and the ends of its axes lie on the edge.
    #[test]
    fn every_bearing() {
        for degrees in 0..180 {
            let bearing = f64::from(degrees).to_radians();
            let (east, north) = (libm::sin(bearing), libm::cos(bearing));
            let (major, minor) = (25.0, 4.0);
            let found = ellipse(
                major * east * east + minor * north * north,
                major * north * north + minor * east * east,
                (major - minor) * east * north,
                0.9,
            );
            let off = (found.bearing_deg - f64::from(degrees)).abs();
            assert!(off.min(180.0 - off) < 1e-10, "{degrees} {}", found.bearing_deg);
            assert!((found.semi_major_m / found.semi_minor_m - 2.5).abs() < 1e-12);
            for (length, east, north) in [(found.semi_major_m, east, north), (found.semi_minor_m, north, -east)] {
                for (factor, inside) in [(0.9999, true), (-0.9999, true), (1.0001, false)] {
                    let reach = factor * length;
                    assert_eq!(found.contains(10.0 + reach * east, -20.0 + reach * north), inside);
                }
            }
        }
    }

    #[test]
    fn shares_without_an_ellipse() {
        let covariance = Covariance { east_m2: 1.0, north_m2: 1.0, cross_m2: 0.0 };
        for probability in [0.0, 1.0, -1.0, f64::NAN] {
            assert!(Ellipse::new((0.0, 0.0), &covariance, probability).is_none());
        }
    }
}
