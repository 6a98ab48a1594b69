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
        let from_east = if round {
            core::f64::consts::FRAC_PI_2
        } else {
            0.5 * libm::atan2(cross, half)
        };
        let bearing = 90.0 - from_east.to_degrees();
        Some(Self {
            probability,
            centre_east_m: mean_m.0,
            centre_north_m: mean_m.1,
            semi_major_m: factor * larger.max(0.0).sqrt(),
            semi_minor_m: factor * smaller.sqrt(),
            bearing_deg: if bearing >= 180.0 {
                bearing - 180.0
            } else {
                bearing
            },
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
