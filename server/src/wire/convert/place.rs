//! Where the field lies: origin, pads, declination, and areas in degrees turned to metres.

use core::f64::consts::{PI, TAU};

use serde_json::Value;
use slowpoint_sim::case::{Area, Outline};
use slowpoint_sim::limits::{self, Limit};
use slowpoint_sim::plane::{Plane, Position, REACH_M};
use slowpoint_sim::stat::outline::Polygon;

use super::Reader;
use crate::wire::place::*;
use crate::wire::request::*;
use crate::wire::units::{ANGLE, Reading, quoted};

/// The engine asks for neither: turning round the Earth changes no flight, and it knows bearings from true north only.
const LONGITUDE: Limit = half_turn("longitude", "east positive, so the Americas are negative");
const DECLINATION: Limit = half_turn(
    "magnetic declination",
    "east positive, west negative: a true bearing is the magnetic one plus the declination",
);

const fn half_turn(what: &'static str, hint: &'static str) -> Limit {
    Limit { what, unit: "rad", min: -PI - 1e-9, max: PI + 1e-9, hint }
}

/// Where a launch is, as far as it was said.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Placed {
    /// The field's name.
    pub site: Option<String>,
    /// Its origin.
    pub origin: Option<Position>,
    /// The pad launched from, by name.
    pub pad: Option<String>,
    /// East and north of the origin, m.
    pub pad_m: [f64; 2],
}

impl Placed {
    /// The plane that metres are measured in.
    pub fn plane(&self) -> Option<Plane> {
        self.origin.map(Plane::new)
    }

    /// From metres from the origin to metres from the pad.
    fn about_pad(&self, [east_m, north_m]: [f64; 2]) -> [f64; 2] {
        [east_m - self.pad_m[0], north_m - self.pad_m[1]]
    }

    /// The same of an outline.
    pub(super) fn outline_about_pad(&self, outline: Outline) -> Outline {
        match outline {
            Outline::Circle { centre_m, radius_m } => Outline::Circle { centre_m: self.about_pad(centre_m), radius_m },
            Outline::Polygon(corners) => Outline::Polygon(corners.into_iter().map(|c| self.about_pad(c)).collect()),
            Outline::Patches(patches) => {
                let moved = |ring: Vec<(f64, f64)>| {
                    ring.into_iter().map(|(east, north)| self.about_pad([east, north])).map(|[e, n]| (e, n)).collect()
                };
                let patch = |p: Polygon| Polygon {
                    exterior: moved(p.exterior),
                    holes: p.holes.into_iter().map(moved).collect(),
                };
                Outline::Patches(patches.into_iter().map(patch).collect())
            }
        }
    }
}

/// Where an area of the engine stands in the request.
pub(super) struct AreaPlace {
    /// Pointer to it.
    pub at: String,
    /// Pointer to what holds its name and people.
    pub told: String,
    /// Whether its coordinates are those of several patches.
    pub several: bool,
}

impl AreaPlace {
    /// An item of `areas`.
    pub fn listed(at: String, area: &NamedArea) -> Self {
        let several = area.geometry.as_ref().is_some_and(|g| g.kind == Some(GeometryType::MultiPolygon));
        Self { told: at.clone(), at, several }
    }

    /// The pointer of a part of it, named as the engine does.
    pub fn pointer(&self, parts: &[&str]) -> String {
        let (holder, parts) = match parts {
            ["geometry", _, rest @ ..] if !self.several => (format!("{}/geometry/coordinates", self.at), rest),
            ["geometry", rest @ ..] if !rest.is_empty() => (format!("{}/geometry/coordinates", self.at), rest),
            ["name" | "people"] => (self.told.clone(), parts),
            _ => (self.at.clone(), parts),
        };
        parts.iter().fold(holder, |pointer, part| format!("{pointer}/{part}"))
    }
}

impl Reader<'_> {
    /// Reads where the launch is; from then on bearings can be read.
    pub(super) fn placed(&mut self, site: &Site, launch: &Launch) {
        self.declination_rad = self.read("/site/declination", &site.declination, Some(&DECLINATION));
        self.placed.site.clone_from(&site.name);
        self.placed.origin = site.position.as_ref().and_then(|p| self.position(p, "/site/position"));
        if site.position.is_some() && site.latitude.is_some() {
            self.faults.add(
                "/site/latitude",
                "there is a position as well",
                "leave it out: the position has a latitude",
            );
        }
        let pads = site.pads.as_deref().unwrap_or_default();
        let mut places = Vec::new();
        for (i, pad) in pads.iter().enumerate() {
            let at = format!("/site/pads/{i}");
            self.plain(&pad.name, &format!("{at}/name"));
            if pad.name.is_some() && pads[..i].iter().any(|other| other.name == pad.name) {
                let name = quoted(pad.name.as_deref().unwrap_or_default());
                self.faults.add(format!("{at}/name"), format!("two pads are called {name}"), "give each its own name");
            }
            let place_m = self.pad(pad, &at);
            places.push((pad.name.as_deref(), place_m));
        }
        let Some(wanted) = launch.pad.as_deref() else {
            if !pads.is_empty() && !self.faults.covers("/launch/pad") {
                self.assume("launch.pad", "the site's origin", "no pad is named");
            }
            return;
        };
        match places.iter().find(|(name, _)| *name == Some(wanted)) {
            Some((_, place_m)) => {
                self.placed.pad = Some(wanted.into());
                self.placed.pad_m = *place_m;
            }
            None if self.faults.covers("/site/pads") => {}
            None => {
                let known: Vec<String> = places.iter().filter_map(|(name, _)| name.map(quoted)).collect();
                let remedy = match &known[..] {
                    [] => "list it under site.pads with its name and place, or leave it out".into(),
                    known => format!("name one of {}", known.join(", ")),
                };
                self.faults.add("/launch/pad", format!("no pad is called {}", quoted(wanted)), remedy);
            }
        }
    }

    fn position(&mut self, p: &PositionRequest, at: &str) -> Option<Position> {
        let latitude = self.need(&format!("{at}/latitude"), &p.latitude, Some(&limits::LATITUDE));
        let longitude = self.need(&format!("{at}/longitude"), &p.longitude, Some(&LONGITUDE));
        (latitude.is_finite() && longitude.is_finite())
            .then_some(Position { latitude_rad: latitude, longitude_rad: longitude })
    }

    /// Metres east and north of the origin; NaN where that cannot be said, which is noted.
    fn pad(&mut self, pad: &PadRequest, at: &str) -> [f64; 2] {
        let Some(position) = &pad.position else {
            let mut read =
                |name: &str, sent| self.read(&format!("{at}/{name}"), sent, Some(&limits::PLACE)).unwrap_or(0.0);
            return [read("east", &pad.east), read("north", &pad.north)];
        };
        let at_position = format!("{at}/position");
        if pad.east.is_some() || pad.north.is_some() {
            self.faults.add(&at_position, "there are east or north as well", "give one of the two");
        }
        let there = self.position(position, &at_position);
        let (Some(there), Some(plane)) = (there, self.plane("a pad's position")) else { return [f64::NAN; 2] };
        plane.local_m(there).unwrap_or_else(|| {
            self.faults.add(
                at_position,
                format!("it lies more than {} km from site.position", REACH_M / 1000.0),
                "check both: latitude north positive, longitude east positive, decimal degrees",
            );
            [f64::NAN; 2]
        })
    }

    /// The plane of the site; notes that the position is missing where something needs it.
    fn plane(&mut self, for_what: &str) -> Option<Plane> {
        if self.placed.origin.is_none() && !self.faults.covers("/site/position") {
            let remedy = format!(
                "give the latitude and longitude of the site's origin in decimal degrees; {for_what} needs it to become metres"
            );
            self.faults.add("/site/position", "it is missing", remedy);
        }
        self.placed.plane()
    }

    /// The areas of a map, each with where it stands in the request.
    pub(super) fn mapped(&mut self, map: &AreaMap) -> Vec<Area> {
        let mut areas = Vec::new();
        if let Some(named) = map.crs.as_ref().filter(|crs| !is_wgs_84(crs)) {
            self.faults.add(
                "/site/map/crs",
                format!("its coordinates are by {}", quoted(&reference(named))),
                "export the map anew as RFC 7946, which knows WGS 84 alone: longitude and latitude in decimal degrees",
            );
        }
        for (k, feature) in map.features.iter().flatten().enumerate() {
            let at = format!("/site/map/features/{k}");
            let told = feature.properties.clone().unwrap_or_default();
            self.plain(&told.name, &format!("{at}/properties/name"));
            let geometry = feature.geometry.clone().unwrap_or_default();
            let outline = self.geometry(&geometry, &format!("{at}/geometry"));
            self.places.areas.push(AreaPlace {
                told: format!("{at}/properties"),
                several: geometry.kind == Some(GeometryType::MultiPolygon),
                at: at.clone(),
            });
            areas.push(Area {
                // Missing names have been noted; each then has its own, so that no two are alike.
                name: told.name.unwrap_or(at),
                role: told.role.map(Into::into),
                outline: self.placed.outline_about_pad(outline),
                people: told.people,
            });
        }
        areas
    }

    /// The patches of a geometry, metres from the origin; none where it has a fault.
    pub(super) fn geometry(&mut self, g: &Geometry, at: &str) -> Outline {
        let none = Outline::Patches(Vec::new());
        let (Some(kind), Some(coordinates)) = (g.kind, &g.coordinates) else { return none };
        let Some(plane) = self.plane("an area in degrees") else { return none };
        let at = format!("{at}/coordinates");
        let patch = |sent: &Value, at: &str| {
            let rings = list(sent, at, "a list of rings, each a list of positions", 1)?;
            let rings: Result<Vec<_>, _> =
                rings.iter().enumerate().map(|(r, ring)| ring_m(ring, &format!("{at}/{r}"), &plane)).collect();
            let mut rings = rings?.into_iter();
            // Any winding is taken; RFC 7946 has the outer edge counter-clockwise and gaps clockwise.
            let exterior = rings.next().map(|ring| wound(ring, true)).unwrap_or_default();
            Ok(Polygon { exterior, holes: rings.map(|ring| wound(ring, false)).collect() })
        };
        let patches = match kind {
            GeometryType::Polygon => patch(coordinates, &at).map(|p| vec![p]),
            GeometryType::MultiPolygon => list(coordinates, &at, "a list of polygons, each a list of rings", 1)
                .and_then(|all| all.iter().enumerate().map(|(k, p)| patch(p, &format!("{at}/{k}"))).collect()),
        };
        match patches {
            Ok(patches) => Outline::Patches(patches),
            Err(Unplaced { at, problem, remedy }) => {
                self.faults.add(at, problem, remedy);
                none
            }
        }
    }

    /// A bearing as it was written, from true north.
    pub(super) fn bearing_from_true(&mut self, at: &str, sent: &Quantity) -> Option<Reading> {
        let limit = Some(&limits::BEARING);
        let Quantity::Text(text) = sent else { return self.reading(at, sent, &ANGLE, limit) };
        let lower = text.trim_end().to_lowercase();
        let without = |word: &str| {
            let rest = lower.strip_suffix(word)?;
            rest.ends_with([' ', '°']).then(|| Quantity::Text(text.trim_end()[..rest.len()].to_string()))
        };
        if let Some(plain) = without("true") {
            return self.reading(at, &plain, &ANGLE, limit);
        }
        let Some(plain) = without("magnetic") else { return self.reading(at, sent, &ANGLE, limit) };
        let by_compass = self.reading(at, &plain, &ANGLE, limit)?;
        let Some(declination_rad) = self.declination_rad else {
            if !self.faults.covers("/site/declination") {
                self.faults.add(
                    at,
                    "it is magnetic, and the declination is not known",
                    "give site.declination, east positive, from a map's margin or a published model, or the bearing from true north",
                );
            }
            return None;
        };
        let true_deg = (by_compass.si + declination_rad).rem_euclid(TAU).to_degrees();
        ANGLE.with(limits::plain(true_deg), "deg")
    }
}

/// The name of a reference system, or what stands in its place.
fn reference(crs: &Value) -> String {
    let name = crs.pointer("/properties/name").unwrap_or(crs);
    name.as_str().map_or_else(|| name.to_string(), str::to_string)
}

/// Whether a reference system is that of RFC 7946 by one of its names, or left open.
fn is_wgs_84(crs: &Value) -> bool {
    let name = reference(crs).to_uppercase();
    crs.is_null() || [":CRS84", ":CRS84H", ":4326", ":4979"].iter().any(|known| name.ends_with(known))
}

/// Why coordinates were not taken.
struct Unplaced {
    at: String,
    problem: String,
    remedy: String,
}

fn list<'a>(sent: &'a Value, at: &str, wanted: &str, least: usize) -> Result<&'a Vec<Value>, Unplaced> {
    sent.as_array().filter(|items| items.len() >= least).ok_or_else(|| Unplaced {
        at: at.into(),
        problem: format!("here should stand {wanted}"),
        remedy: "a Polygon nests [[[longitude, latitude], ...]], a MultiPolygon one list more".into(),
    })
}

/// The corners of a ring in metres; the last is the first again.
fn ring_m(sent: &Value, at: &str, plane: &Plane) -> Result<Vec<(f64, f64)>, Unplaced> {
    let sent = list(sent, at, "a ring: a list of positions", 1)?;
    let mut degrees = Vec::with_capacity(sent.len());
    let mut ring = Vec::with_capacity(sent.len());
    for (k, position) in sent.iter().enumerate() {
        let at = format!("{at}/{k}");
        let numbers: Vec<f64> = list(position, &at, "a position of longitude and latitude", 2)?
            .iter()
            .map(|x| {
                x.as_f64().ok_or_else(|| Unplaced {
                    at: at.clone(),
                    problem: "it is no position of longitude and latitude".into(),
                    remedy: "give two numbers of decimal degrees, such as [-71.002, 42.699]".into(),
                })
            })
            .collect::<Result<_, _>>()?;
        let [east, north] =
            place_m([numbers[0], numbers[1]], plane).map_err(|(problem, remedy)| Unplaced { at, problem, remedy })?;
        degrees.push([numbers[0], numbers[1]]);
        ring.push((east, north));
    }
    if degrees.first() != degrees.last() {
        return Err(Unplaced {
            at: at.into(),
            problem: "the ring does not end where it began".into(),
            remedy: "repeat its first position as its last (RFC 7946, 3.1.6)".into(),
        });
    }
    if ring.len() < 4 {
        return Err(Unplaced {
            at: at.into(),
            problem: format!("the ring has {} positions", ring.len()),
            remedy: "give at least three corners, and the first again at the end".into(),
        });
    }
    Ok(ring)
}

/// A position of longitude and latitude in metres from the origin, or what is wrong with it.
fn place_m([longitude, latitude]: [f64; 2], plane: &Plane) -> Result<[f64; 2], (String, String)> {
    let at = |longitude: f64, latitude: f64| {
        let on_earth = latitude.abs() <= 90.0 && longitude.abs() <= 360.0;
        let there = Position { latitude_rad: latitude.to_radians(), longitude_rad: longitude.to_radians() };
        if on_earth { plane.local_m(there) } else { None }
    };
    at(longitude, latitude).ok_or_else(|| {
        let far = format!(
            "longitude {longitude} and latitude {latitude} lie more than {} km from site.position",
            REACH_M / 1000.0
        );
        let remedy = if at(latitude, longitude).is_some() {
            format!("longitude comes first in GeoJSON: did you mean [{latitude}, {longitude}]?")
        } else {
            "check it and site.position: decimal degrees, longitude first, west and south negative".into()
        };
        (far, remedy)
    })
}

/// A ring wound one way.
fn wound(mut ring: Vec<(f64, f64)>, counter_clockwise: bool) -> Vec<(f64, f64)> {
    let twice_m2: f64 = ring.windows(2).map(|e| e[0].0 * e[1].1 - e[1].0 * e[0].1).sum();
    if (twice_m2 > 0.0) != counter_clockwise {
        ring.reverse();
    }
    ring
}

/// 360 degrees is north, as 0 is.
pub(super) fn northed(bearing_rad: f64) -> f64 {
    if bearing_rad >= TAU { 0.0 } else { bearing_rad }
}
