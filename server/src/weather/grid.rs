//! Grids of GRIB2 messages (WMO-No. 306 FM 92, section 3): the point nearest to a place, and how the grid lies there.
//!
//! Read are regular grids in latitude and longitude (template 3.0, rotated 3.1), on Mercator's, the polar stereographic and
//! Lambert's plane (3.10, 3.20, 3.30), and whole Gaussian ones (3.40, rotated 3.41). The library `grib` places their points;
//! what it would place wrongly without a word is put right or refused here first.

use std::collections::HashMap;

use grib::{GridDefinition, GridDefinitionTemplateValues, GridPointIndex, LatLons};

/// Most points of a grid: a globe in steps of 0.1 degrees has 6.5 million.
const MOST_POINTS: usize = 8_000_000;
/// Most rows between a pole and the equator of a Gaussian grid: the finest in use have 1280, and finding their latitudes takes
/// as long as the square of it.
const MOST_GAUSSIAN_ROWS: u32 = 2560;
/// Radii that an Earth may have, m.
const EARTH_M: core::ops::RangeInclusive<f64> = 6.3e6..=6.4e6;
/// What stands where a number is missing.
const MISSING: u32 = u32::MAX;

/// Where the wind is wanted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Degrees, north positive.
    pub latitude_deg: f64,
    /// Degrees, east positive.
    pub longitude_deg: f64,
}

impl Place {
    /// The same on a sphere of radius 1.
    fn unit(self) -> [f64; 3] {
        let (lat, lon) = (self.latitude_deg.to_radians(), self.longitude_deg.to_radians());
        [libm::cos(lat) * libm::cos(lon), libm::cos(lat) * libm::sin(lon), libm::sin(lat)]
    }

    /// Distance to another place on a sphere as large as the Earth, km.
    pub fn distance_km(self, other: Self) -> f64 {
        const EARTH_KM: f64 = 6371.0;
        let [a, b] = [self.unit(), other.unit()];
        let chord = (0..3).map(|k| (a[k] - b[k]) * (a[k] - b[k])).sum::<f64>().sqrt();
        2.0 * EARTH_KM * libm::asin((0.5 * chord).min(1.0))
    }
}

/// The grid point nearest to the place.
#[derive(Debug, Clone, Copy)]
pub struct Point {
    /// Which of the values is its.
    pub index: usize,
    /// How many points the grid has.
    pub points: usize,
    /// Where it is.
    pub at: Place,
    /// Whether components are along the grid's axes (flag table 3.3, bit 5).
    pub along_grid: bool,
    /// Bearing of the grid's x axis there, degrees.
    pub x_bearing_deg: f64,
}

impl Point {
    /// Components along the grid's axes as components towards east and north; y lies 90 degrees to the left of x.
    pub fn to_north(self, x: f64, y: f64) -> [f64; 2] {
        let bearing = self.x_bearing_deg.to_radians();
        let (sin, cos) = (libm::sin(bearing), libm::cos(bearing));
        [x * sin - y * cos, x * cos + y * sin]
    }
}

/// The octets of section 3, each by its number in the published tables.
#[derive(Debug, Clone)]
struct Section(Vec<u8>);

impl Section {
    fn octet(&self, octet: usize) -> Result<u8, String> {
        self.0.get(octet - 6).copied().ok_or_else(|| "has a grid whose description is cut off".into())
    }

    fn number(&self, octet: usize) -> Result<u32, String> {
        let octets = [0, 1, 2, 3].map(|k| self.octet(octet + k));
        let [a, b, c, d] = octets;
        Ok(u32::from_be_bytes([a?, b?, c?, d?]))
    }

    /// A number of sign and magnitude.
    fn signed(&self, octet: usize) -> Result<f64, String> {
        let number = self.number(octet)?;
        let magnitude = f64::from(number & !(1 << 31));
        Ok(if number >> 31 == 1 { -magnitude } else { magnitude })
    }

    fn put(&mut self, octet: usize, octets: &[u8]) {
        if let Some(place) = self.0.get_mut(octet - 6..octet - 6 + octets.len()) {
            place.copy_from_slice(octets);
        }
    }

    /// A length: a factor of ten and its value, m.
    fn length_m(&self, octet: usize, unit_m: f64) -> Result<f64, String> {
        let factor = self.octet(octet)?;
        let places = f64::from(factor & 0x7f) * if factor >> 7 == 1 { -1.0 } else { 1.0 };
        let metres = f64::from(self.number(octet + 1)?) * libm::pow(10.0, -places) * unit_m;
        match EARTH_M.contains(&metres) {
            true => Ok(metres),
            false => Err(format!("has an Earth with a radius of {metres} m")),
        }
    }

    /// The shape of the Earth in whole metres, as the library reads it: it takes a scale factor for its inverse.
    fn put_earth(&mut self) -> Result<(), String> {
        let whole = |metres: f64| {
            let mut octets = vec![0];
            octets.extend((metres.round() as u32).to_be_bytes());
            octets
        };
        // Code table 3.2: 1 is a sphere of a radius given, 3 and 7 are spheroids of axes in km and m.
        let unit_m = match self.octet(15)? {
            1 => {
                let radius = self.length_m(16, 1.0)?;
                self.put(16, &whole(radius));
                return Ok(());
            }
            3 => 1000.0,
            7 => 1.0,
            _ => return Ok(()),
        };
        let [major, minor] = [self.length_m(21, unit_m)?, self.length_m(26, unit_m)?];
        self.put(15, &[7]);
        self.put(21, &whole(major));
        self.put(26, &whole(minor));
        Ok(())
    }

    /// What all grids in latitude and longitude share.
    fn put_degrees(&mut self) -> Result<(), String> {
        match self.number(39)? {
            0 | MISSING => self.put(39, &[0; 4]),
            _ => {
                return Err(
                    "has a grid that counts its degrees in a unit of its own (octets 39 to 46), which is not read"
                        .into(),
                );
            }
        }
        self.within(&[47, 56], &[51, 60])
    }

    /// Refuses latitudes and longitudes that are none: longitudes run eastward from 0 to 360 degrees.
    fn within(&self, latitudes: &[usize], longitudes: &[usize]) -> Result<(), String> {
        let wrong =
            |octet: usize, what: &str| format!("has a grid whose octets {octet} to {} are no {what}", octet + 3);
        for octet in latitudes {
            if self.signed(*octet)?.abs() > 90e6 {
                return Err(wrong(*octet, "latitude"));
            }
        }
        for octet in longitudes {
            if self.number(*octet)? > 360_000_000 {
                return Err(wrong(*octet, "longitude from 0 to 360 degrees"));
            }
        }
        Ok(())
    }

    /// A rotated grid; the library takes the angle of the rotation for a millionth of it.
    fn unturned(&self) -> Result<(), String> {
        self.within(&[73], &[77])?;
        match self.number(81)? & !(1 << 31) {
            0 => Ok(()),
            _ => Err("has a rotated grid that is turned about its new pole as well, which is not read".into()),
        }
    }

    /// A Gaussian grid from pole to pole; the library takes all others for one.
    fn whole_gaussian(&self) -> Result<(), String> {
        let (rows, between) = (self.number(35)?, self.number(68)?);
        if between > MOST_GAUSSIAN_ROWS {
            return Err(format!(
                "has a Gaussian grid with {between} rows between a pole and the equator; {MOST_GAUSSIAN_ROWS} are read"
            ));
        }
        match rows == 2 * between {
            true => Ok(()),
            false => Err(format!(
                "has {rows} of the {} rows of a Gaussian grid; only whole ones are read: cut it out in latitude and longitude",
                2 * between
            )),
        }
    }

    /// The same as the library places it rightly, or why not.
    fn placed_rightly(mut self, template: u16) -> Result<Self, String> {
        if !matches!(template, 0 | 1 | 10 | 20 | 30 | 40 | 41) {
            let name = match template {
                2 | 3 | 42 | 43 => " (stretched)",
                50..=53 => " (spherical harmonics)",
                90 => " (view from space)",
                100 | 101 => " (triangles, or no order)",
                140 => " (Lambert's azimuthal projection of equal areas)",
                _ => "",
            };
            return Err(format!(
                "has a grid of template 3.{template}{name}, which is not read; interpolate it to latitude and longitude first"
            ));
        }
        let [across, up] = [self.number(31)?, self.number(35)?];
        if [across, up].contains(&MISSING) {
            return Err("has a reduced grid, whose rows differ in their number of points; regular ones are read".into());
        }
        if across < 2 || up < 2 {
            return Err(format!(
                "has a grid of {across} by {up} points; cut out at least 2 by 2, so that it is known how far they are apart"
            ));
        }
        match template {
            10 => {
                self.put_earth()?;
                self.within(&[39, 48, 52], &[43, 56])?;
            }
            20 | 30 => {
                self.put_earth()?;
                self.within(&[39, 48], &[43, 52])?;
                // Flag table 3.5, bit 2.
                if self.octet(64)? & 0b0100_0000 != 0 {
                    return Err("has a projection about both poles, which is not read".into());
                }
            }
            _ => self.put_degrees()?,
        }
        if matches!(template, 1 | 41) {
            self.unturned()?;
        }
        if matches!(template, 40 | 41) {
            self.whole_gaussian()?;
        }
        if template == 30 {
            self.within(&[66, 70], &[])?;
            // Which of the parallels comes first means nothing, but the library takes the cone for one that touches at the
            // first where that is the southern one.
            let [first, second] = [66, 70].map(|octet| self.number(octet));
            if self.signed(66)? < self.signed(70)? {
                self.put(66, &second?.to_be_bytes());
                self.put(70, &first?.to_be_bytes());
            }
        }
        Ok(self)
    }
}

/// The grid point nearest to the place, and how the grid lies there.
pub fn nearest(grid: &GridDefinition, place: Place) -> Result<Point, String> {
    let unread = |e: grib::GribError| format!("has a grid that is not read: {e}");
    let number = grid.grid_tmpl_num();
    let section = Section(grid.iter().copied().collect()).placed_rightly(number)?;
    let points = grid.num_points() as usize;
    let [across, up] = [section.number(31)? as usize, section.number(35)? as usize];
    if across.checked_mul(up) != Some(points) || points > MOST_POINTS {
        return Err(format!("has a grid of {points} points; regular grids of at most {MOST_POINTS} are read"));
    }
    // Flag table 3.3 stands in octet 55 of grids in latitude and longitude, in octet 47 of projected ones.
    let flags = section.octet(if matches!(number, 10 | 20 | 30) { 47 } else { 55 })?;
    let placed = GridDefinition::from_payload(section.0.into()).map_err(|_| "has a grid that is cut off")?;
    let template = GridDefinitionTemplateValues::try_from(&placed).map_err(unread)?;
    let places = || -> Result<_, String> {
        let latlons = template.latlons().map_err(unread)?;
        Ok(latlons.map(|(latitude_deg, longitude_deg)| Place { latitude_deg, longitude_deg }))
    };
    let indices = || template.ij().map_err(unread);
    let wanted = place.unit();
    let closeness = |p: &Place| {
        let unit = p.unit();
        (0..3).map(|k| unit[k] * wanted[k]).sum::<f64>()
    };
    let mut best: Option<(f64, usize, Place)> = None;
    for (index, at) in places()?.enumerate() {
        let close = closeness(&at);
        if close.is_finite() && best.is_none_or(|(b, ..)| close > b) {
            best = Some((close, index, at));
        }
    }
    let (_, index, at) = best.ok_or("has a grid without places")?;
    let here = indices()?.nth(index).ok_or("has a grid without places")?;
    let mut beside: HashMap<(usize, usize), Place> = HashMap::new();
    for (at, (i, j)) in places()?.zip(indices()?) {
        if i.abs_diff(here.0) + j.abs_diff(here.1) == 1 {
            beside.insert((i, j), at);
        }
    }
    let step_km = beside.values().map(|p| p.distance_km(at)).fold(0.0, f64::max);
    let apart_km = at.distance_km(place);
    if apart_km > step_km {
        return Err(format!("has a grid that does not reach the place: its nearest point is {apart_km:.0} km away"));
    }
    // The x axis runs along i, against it where rows are scanned backwards.
    let [before, after] = [here.0.checked_sub(1), here.0.checked_add(1)]
        .map(|i| i.and_then(|i| beside.get(&(i, here.1))).copied().unwrap_or(at));
    let forwards = template.scanning_mode().scans_positively_for_i();
    let (from, to) = if forwards { (before, after) } else { (after, before) };
    Ok(Point { index, points, at, along_grid: flags & 0b0000_1000 != 0, x_bearing_deg: bearing_deg(from, to, at) })
}

/// Bearing from one place to another close by, as seen from a third between them.
fn bearing_deg(from: Place, to: Place, at: Place) -> f64 {
    let [a, b] = [from.unit(), to.unit()];
    let step: Vec<f64> = (0..3).map(|k| b[k] - a[k]).collect();
    let (lat, lon) = (at.latitude_deg.to_radians(), at.longitude_deg.to_radians());
    let ([sin_lat, cos_lat], [sin_lon, cos_lon]) = ([libm::sin(lat), libm::cos(lat)], [libm::sin(lon), libm::cos(lon)]);
    let east = -sin_lon * step[0] + cos_lon * step[1];
    let north = -sin_lat * (cos_lon * step[0] + sin_lon * step[1]) + cos_lat * step[2];
    libm::atan2(east, north).to_degrees().rem_euclid(360.0)
}
