//! Latitude and longitude to metres on a field and back: the plane that touches the ellipsoid of WGS 84 at the field's
//! origin, with every place on the ellipsoid projected onto it along the vertical of the origin.
//!
//! The way there is that of geocentric coordinates turned to east, north and up, with up left out; the way back meets
//! the ellipsoid along up, which is a quadratic. Distances come out shorter than along the ground by a part of
//! s^2 / (6 R^2): 4 mm at 10 km. They are those on the ellipsoid: on a field that lies high the ground is longer by its
//! height over the Earth's radius, 0.16 m a kilometre at 1000 m, which is left out.

use crate::constants::{EARTH_ECCENTRICITY_SQUARED, EARTH_SEMI_MAJOR_M};

/// Farther from the origin nothing is a part of a field, m.
pub const REACH_M: f64 = 100_000.0;

/// A place on the ellipsoid, rad; east and north positive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Position {
    /// Geodetic latitude.
    pub latitude_rad: f64,
    /// Longitude.
    pub longitude_rad: f64,
}

/// The plane about an origin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane {
    origin_m: [f64; 3],
    east: [f64; 3],
    north: [f64; 3],
    up: [f64; 3],
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Geocentric coordinates of a place on the ellipsoid, m.
fn geocentric_m(at: Position) -> [f64; 3] {
    let (sin_lat, cos_lat) = (libm::sin(at.latitude_rad), libm::cos(at.latitude_rad));
    let normal_m = EARTH_SEMI_MAJOR_M / (1.0 - EARTH_ECCENTRICITY_SQUARED * sin_lat * sin_lat).sqrt();
    [
        normal_m * cos_lat * libm::cos(at.longitude_rad),
        normal_m * cos_lat * libm::sin(at.longitude_rad),
        normal_m * (1.0 - EARTH_ECCENTRICITY_SQUARED) * sin_lat,
    ]
}

impl Plane {
    /// The plane that touches at a place.
    pub fn new(origin: Position) -> Self {
        let (sin_lat, cos_lat) = (libm::sin(origin.latitude_rad), libm::cos(origin.latitude_rad));
        let (sin_lon, cos_lon) = (libm::sin(origin.longitude_rad), libm::cos(origin.longitude_rad));
        Self {
            origin_m: geocentric_m(origin),
            east: [-sin_lon, cos_lon, 0.0],
            north: [-sin_lat * cos_lon, -sin_lat * sin_lon, cos_lat],
            up: [cos_lat * cos_lon, cos_lat * sin_lon, sin_lat],
        }
    }

    /// Metres east and north of the origin; `None` beyond the reach.
    pub fn local_m(&self, at: Position) -> Option<[f64; 2]> {
        let there = geocentric_m(at);
        let away = [0, 1, 2].map(|k| there[k] - self.origin_m[k]);
        (dot(away, away) <= REACH_M * REACH_M).then(|| [dot(away, self.east), dot(away, self.north)])
    }

    /// The place of a point of the plane within some hundred kilometres of the origin.
    pub fn position(&self, [east_m, north_m]: [f64; 2]) -> Position {
        let flat = [0, 1, 2].map(|k| self.origin_m[k] + east_m * self.east[k] + north_m * self.north[k]);
        // With the third axis stretched by the ratio of the axes the ellipsoid is a sphere.
        let stretch = 1.0 / (1.0 - EARTH_ECCENTRICITY_SQUARED).sqrt();
        let round = |v: [f64; 3]| [v[0], v[1], stretch * v[2]];
        let (point, up) = (round(flat), round(self.up));
        let (a, half_b) = (dot(up, up), dot(point, up));
        let c = dot(point, point) - EARTH_SEMI_MAJOR_M * EARTH_SEMI_MAJOR_M;
        // The root near zero, in the form that loses no digits; out of sight of the ellipsoid there is none.
        let climb = -c / (half_b + (half_b * half_b - a * c).max(0.0).sqrt());
        let there = [0, 1, 2].map(|k| flat[k] + climb * self.up[k]);
        let from_axis_m = libm::hypot(there[0], there[1]);
        Position {
            latitude_rad: libm::atan2(there[2], (1.0 - EARTH_ECCENTRICITY_SQUARED) * from_axis_m),
            longitude_rad: libm::atan2(there[1], there[0]),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(latitude_deg: f64, longitude_deg: f64) -> Position {
        Position { latitude_rad: latitude_deg.to_radians(), longitude_rad: longitude_deg.to_radians() }
    }

    /// A degree of latitude at the equator and at 45 deg, and a degree of longitude, over a thousandth of them: radii of
    /// curvature a(1-e^2)/(1-e^2 sin^2)^1.5 and a cos/(1-e^2 sin^2)^0.5.
    #[test]
    fn a_thousandth_of_a_degree() {
        let step = 1e-3_f64;
        for latitude_deg in [0.0_f64, 45.0, -60.0] {
            let plane = Plane::new(at(latitude_deg, 17.0));
            let sine = libm::sin(latitude_deg.to_radians());
            let flat = 1.0 - EARTH_ECCENTRICITY_SQUARED * sine * sine;
            let meridian = EARTH_SEMI_MAJOR_M * (1.0 - EARTH_ECCENTRICITY_SQUARED) / (flat * flat.sqrt());
            let parallel = EARTH_SEMI_MAJOR_M * libm::cos(latitude_deg.to_radians()) / flat.sqrt();
            let north = plane.local_m(at(latitude_deg + step, 17.0)).map_or(0.0, |p| p[1]);
            let east = plane.local_m(at(latitude_deg, 17.0 + step)).map_or(0.0, |p| p[0]);
            // The meridian's radius changes by some 1e-7 over the step.
            assert!((north / (meridian * step.to_radians()) - 1.0).abs() < 3e-7, "{latitude_deg}");
            assert!((east / (parallel * step.to_radians()) - 1.0).abs() < 1e-9, "{latitude_deg}");
        }
    }

    #[test]
    fn there_and_back() {
        for origin in [at(0.0, 0.0), at(42.7, -71.2), at(-33.0, 179.999), at(89.9, 10.0), at(-90.0, 0.0)] {
            let plane = Plane::new(origin);
            for place in [[0.0, 0.0], [350.0, -420.0], [-9000.0, 20_000.0], [60_000.0, 60_000.0]] {
                let back = plane.local_m(plane.position(place)).unwrap_or([f64::NAN; 2]);
                for k in 0..2 {
                    assert!((back[k] - place[k]).abs() < 1e-6, "{origin:?} {place:?} {back:?}");
                }
            }
        }
    }

    #[test]
    fn far_places_are_none() {
        let plane = Plane::new(at(42.7, -71.2));
        assert_eq!(plane.local_m(at(43.7, -71.2)), None);
        assert_eq!(plane.local_m(at(-42.7, 108.8)), None, "the other side of the Earth projects to the same point");
        assert!(plane.local_m(at(43.5, -71.2)).is_some());
    }
}
