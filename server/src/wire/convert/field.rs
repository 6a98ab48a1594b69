//! Rail, field and wind.

use slowpoint_sim::case::{Area, LaunchInput, Outline, PressureInput, SiteInput, WindInput, WindMember};
use slowpoint_sim::limits;
use slowpoint_sim::wind::{Direction, Gustiness, Layer, SurfaceLaw, SurfaceWind};

use super::Reader;
use super::place::{AreaPlace, northed};
use crate::wire::request::*;
use crate::wire::units::{self, Reading};

/// Layers of a sounding below this height above ground are dropped, m: the engine's lowest layer.
const LOWEST_LAYER_M: f64 = limits::WIND_HEIGHT.min;

/// Above what the height of a layer is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Above {
    Ground,
    Sea,
}

impl Above {
    /// The member of the request that holds such a height.
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Ground => "height_above_ground",
            Self::Sea => "height_above_sea",
        }
    }
}

impl Reader<'_> {
    pub(super) fn launch(&mut self, l: &Launch) -> LaunchInput {
        let at = |name: &str| format!("/launch/{name}");
        LaunchInput {
            rail_length_m: self.need(&at("rail_length"), &l.rail_length, Some(&limits::RAIL_LENGTH)),
            tilt_rad: self.read(&at("tilt"), &l.tilt, Some(&limits::TILT)),
            azimuth_rad: l.azimuth.as_ref().map(|sent| {
                self.bearing_from_true(&at("azimuth"), &sent.0).map_or(f64::NAN, |bearing| northed(bearing.si))
            }),
            friction: l.friction,
            forward_guide_m: self.read(&at("forward_guide"), &l.forward_guide, Some(&limits::STATION)),
            aft_guide_m: self.read(&at("aft_guide"), &l.aft_guide, Some(&limits::STATION)),
        }
    }

    /// Notes that the elevation is missing where something cannot be understood without it.
    pub(super) fn need_elevation(&mut self, site: &Site, wind: &Wind) {
        if site.elevation.is_some() || self.faults.covers("/site/elevation") {
            return;
        }
        let members = wind.members.iter().flatten().filter_map(|m| m.layers.as_ref());
        let above_sea = wind.layers.iter().chain(members).flatten().any(|l| l.height_above_sea.is_some());
        let mut why = Vec::new();
        if above_sea {
            why.push("to place heights above sea level");
        }
        if site.altimeter_setting.is_some() && site.station_pressure.is_none() {
            why.push("to turn the altimeter setting into the pressure at the field");
        }
        if !why.is_empty() {
            let remedy = format!("give the field's height above sea level; it is needed {}", why.join(" and "));
            self.faults.add("/site/elevation", "it is missing", remedy);
        }
    }

    pub(super) fn site(&mut self, s: &Site) -> SiteInput {
        let at = |name: &str| format!("/site/{name}");
        self.plain(&s.name, &at("name"));
        let station = self.read(&at("station_pressure"), &s.station_pressure, Some(&limits::PRESSURE));
        let setting = self.read(&at("altimeter_setting"), &s.altimeter_setting, Some(&limits::PRESSURE));
        if station.is_some() && setting.is_some() {
            self.faults.add(at("altimeter_setting"), "there is a station_pressure as well", "give one of the two: station_pressure was measured at the field, altimeter_setting comes from a weather report");
        }
        let elevation_m = self.read(&at("elevation"), &s.elevation, Some(&limits::ELEVATION));
        if self.faults.covers(&at("elevation")) {
            // Without it nothing can be said of the pressure.
            self.faults.explain(at("station_pressure"));
        }
        let mut areas = Vec::new();
        for (i, a) in s.areas.iter().flatten().enumerate() {
            let at = format!("/site/areas/{i}");
            areas.push(self.area(a, &at));
            self.places.areas.push(AreaPlace::listed(at, a));
        }
        areas.extend(s.map.iter().flat_map(|map| self.mapped(map)));
        let latitude = self.read(&at("latitude"), &s.latitude, Some(&limits::LATITUDE));
        SiteInput {
            latitude_rad: self.placed.origin.map(|p| p.latitude_rad).or(latitude),
            elevation_m,
            temperature_k: self.read(&at("temperature"), &s.temperature, Some(&limits::TEMPERATURE)),
            pressure: station.map(PressureInput::Station).or(setting.map(PressureInput::AltimeterSetting)),
            ceiling_m: self.read(&at("ceiling"), &s.ceiling, Some(&limits::HEIGHT)),
            areas,
        }
    }

    fn area(&mut self, a: &NamedArea, at: &str) -> Area {
        self.plain(&a.name, &format!("{at}/name"));
        let given =
            [("circle", a.circle.is_some()), ("polygon", a.polygon.is_some()), ("geometry", a.geometry.is_some())];
        let mut found = given.iter().filter(|g| g.1).map(|g| g.0);
        if let (Some(first), Some(second)) = (found.next(), found.next()) {
            self.faults.add(format!("{at}/{second}"), format!("there is a {first} as well"), "give one of the two");
        }
        let outline = match (&a.circle, &a.polygon, &a.geometry) {
            (None, None, None) => {
                if !given.iter().any(|g| self.faults.covers(&format!("{at}/{}", g.0))) {
                    self.faults.add(
                        at,
                        "it has neither circle, polygon nor geometry",
                        "say where it is: circle (east, north, radius), polygon (corners east and north of the origin) or geometry (GeoJSON, in degrees)",
                    );
                }
                None
            }
            (None, None, Some(geometry)) => Some(self.geometry(geometry, &format!("{at}/geometry"))),
            (Some(c), ..) => Some(Outline::Circle {
                centre_m: [
                    self.read(&format!("{at}/circle/east"), &c.east, Some(&limits::PLACE)).unwrap_or(0.0),
                    self.read(&format!("{at}/circle/north"), &c.north, Some(&limits::PLACE)).unwrap_or(0.0),
                ],
                radius_m: self.need(&format!("{at}/circle/radius"), &c.radius, Some(&limits::AREA_RADIUS)),
            }),
            (None, Some(corners), _) => {
                let corners = corners.iter().enumerate().map(|(k, Corner(east, north))| {
                    [
                        self.need(&format!("{at}/polygon/{k}/0"), east, Some(&limits::PLACE)),
                        self.need(&format!("{at}/polygon/{k}/1"), north, Some(&limits::PLACE)),
                    ]
                });
                Some(Outline::Polygon(corners.collect()))
            }
        };
        // Missing names have been noted; each then has its own, so that no two are alike.
        let name = a.name.clone().unwrap_or_else(|| at.into());
        let outline = outline.unwrap_or(Outline::Circle { centre_m: [0.0; 2], radius_m: f64::NAN });
        Area { name, role: a.role.map(Into::into), outline: self.placed.outline_about_pad(outline), people: a.people }
    }

    pub(super) fn wind(&mut self, w: &Wind, elevation_m: f64) -> WindInput {
        self.plain(&w.source, &self.wind_at("source"));
        let whole = self.places.wind_at.to_string();
        let mut member = |surface: &Option<SurfaceWindRequest>, layers: &Option<Vec<WindLayer>>, at: &str| WindMember {
            surface: surface.as_ref().map(|s| self.surface(s, at)),
            layers: self.layers(layers.as_deref().unwrap_or_default(), elevation_m, at),
        };
        let (first, others) = match &w.members {
            None => (member(&w.surface, &w.layers, &whole), Vec::new()),
            Some(members) => {
                let mut all = members
                    .iter()
                    .enumerate()
                    .map(|(k, m)| member(&m.surface, &m.layers, &format!("{whole}/members/{k}")));
                let first = all.next().unwrap_or(WindMember { surface: None, layers: Vec::new() });
                (first, all.collect())
            }
        };
        if w.members.is_some() {
            self.places.members = true;
            for (name, given) in [("surface", w.surface.is_some()), ("layers", w.layers.is_some())] {
                if given {
                    self.faults.add(self.wind_at(name), "there are members as well", "put it into each of the members");
                }
            }
        }
        WindInput {
            surface: first.surface,
            layers: first.layers,
            others,
            law: self.surface_law(w),
            gustiness: self.gustiness(w),
            age_s: self.read(&self.wind_at("age"), &w.age, Some(&limits::WIND_AGE)),
        }
    }

    /// A place of the wind in the request.
    fn wind_at(&self, name: &str) -> String {
        format!("{}/{name}", self.places.wind_at)
    }

    pub(super) fn gustiness(&mut self, w: &Wind) -> Option<Gustiness> {
        let at = self.wind_at("turbulence_wind_at_20_ft");
        let own =
            self.read(&at, &w.turbulence_wind_at_20_ft, Some(&limits::TURBULENCE_WIND)).map(Gustiness::WindAt20Ft);
        if w.turbulence.is_some() && w.turbulence_wind_at_20_ft.is_some() {
            self.faults.add(
                at,
                "the size of the gusts is described twice",
                "give one of turbulence and turbulence_wind_at_20_ft",
            );
        }
        let named = w.turbulence.map(|t| match t {
            Turbulence::Report => Gustiness::Report,
            Turbulence::Terrain => Gustiness::Terrain,
            Turbulence::MeanWind => Gustiness::MeanWind,
            Turbulence::Off => Gustiness::Off,
        });
        named.or(own)
    }

    fn surface(&mut self, s: &SurfaceWindRequest, wind: &str) -> SurfaceWind {
        let at = |name: &str| format!("{wind}/surface/{name}");
        let speed_m_s = self.need(&at("speed"), &s.speed, Some(&limits::SURFACE_WIND_SPEED));
        let direction = match &s.direction {
            Some(WindDirection(Quantity::Text(text))) if text.trim().eq_ignore_ascii_case("variable") => {
                Direction::Variable
            }
            Some(sent) => Direction::From(self.direction(&at("direction"), sent, " or \"variable\"")),
            // Calm has no direction.
            None if speed_m_s == 0.0 => Direction::From(0.0),
            None => {
                self.faults.add(
                    at("direction"),
                    "it is missing",
                    "say where the wind comes from, degrees clockwise from true north, or \"variable\"",
                );
                Direction::From(f64::NAN)
            }
        };
        SurfaceWind {
            speed_m_s,
            direction,
            measuring_height_m: self.need(
                &at("measuring_height"),
                &s.measuring_height,
                Some(&limits::MEASURING_HEIGHT),
            ),
            gust_m_s: self.read(&at("gust"), &s.gust, Some(&limits::SURFACE_WIND_SPEED)),
        }
    }

    fn direction(&mut self, at: &str, sent: &WindDirection, or: &str) -> f64 {
        self.bearing(at, sent, or).map_or(f64::NAN, |bearing| northed(bearing.si))
    }

    /// A direction as it was written.
    pub(super) fn bearing(&mut self, at: &str, sent: &WindDirection, or: &str) -> Option<Reading> {
        if let Quantity::Text(text) = &sent.0
            && text.trim().starts_with(char::is_alphabetic)
        {
            self.faults.add(
                at,
                format!("{} is no angle", units::quoted(text)),
                format!("give degrees clockwise from true north, where the wind comes from: west is 270{or}"),
            );
            return None;
        }
        self.bearing_from_true(at, &sent.0)
    }

    /// The one height that a layer has, and above what; a fault where it has both or none.
    pub(super) fn one_height<'l>(&mut self, l: &'l WindLayer, at: &str) -> (Above, Option<&'l Length>) {
        let (ground, sea) = (Above::Ground.name(), Above::Sea.name());
        match (&l.height_above_ground, &l.height_above_sea) {
            (Some(_), Some(_)) => {
                self.faults.add(format!("{at}/{sea}"), format!("there is a {ground} as well"), "give one of the two");
                (Above::Sea, None)
            }
            (None, None) => {
                if !self.faults.covers(&format!("{at}/{sea}")) {
                    self.faults.add(format!("{at}/{ground}"), "it is missing", format!("give {ground} or {sea}"));
                }
                (Above::Ground, None)
            }
            (height @ Some(_), None) => (Above::Ground, height.as_ref()),
            (None, height) => (Above::Sea, height.as_ref()),
        }
    }

    fn layers(&mut self, sent: &[WindLayer], elevation_m: f64, wind: &str) -> Vec<Layer> {
        // A list of heights above sea level comes from a sounding or bulletin, which begins at the sea.
        let sounding = sent.len() > 1 && sent.iter().all(|l| l.height_above_sea.is_some());
        let mut layers = Vec::new();
        let mut places = Vec::new();
        let mut dropped = 0;
        for (i, l) in sent.iter().enumerate() {
            let layer = format!("{wind}/layers/{i}");
            let at = |name: &str| format!("{layer}/{name}");
            let (above, height) = self.one_height(l, &layer);
            let name = above.name();
            let height_above_ground_m = match (above, height) {
                (_, None) => f64::NAN,
                (Above::Ground, Some(h)) => {
                    self.quantity(&at(name), h.quantity(), Length::TABLE, Some(&limits::WIND_HEIGHT))
                }
                (Above::Sea, Some(h)) => self.quantity(&at(name), h.quantity(), Length::TABLE, None) - elevation_m,
            };
            let speed_m_s = self.need(&at("speed"), &l.speed, Some(&limits::WIND_SPEED));
            let direction_from_rad = match &l.direction {
                Some(sent) => self.direction(&at("direction"), sent, ""),
                None => f64::NAN,
            };
            if above == Above::Sea && height_above_ground_m < LOWEST_LAYER_M {
                if sounding {
                    dropped += 1;
                    continue;
                }
                self.faults.add(
                    at(name),
                    format!(
                        "it lies {} m above the field, whose elevation is {} m",
                        short(height_above_ground_m),
                        units::six_digits(elevation_m)
                    ),
                    "leave out layers at or below the field, check site.elevation, or give height_above_ground",
                );
            }
            places.push((i, name));
            layers.push(Layer { height_above_ground_m, speed_m_s, direction_from_rad });
        }
        self.places.layers.push(places);
        if dropped > 0 && layers.is_empty() {
            self.faults.add(
                format!("{wind}/layers"),
                format!(
                    "none of the {dropped} layers lies above the field, whose elevation is {} m",
                    units::six_digits(elevation_m)
                ),
                "check site.elevation and the heights above sea level",
            );
        } else if dropped > 0 {
            self.assume(
                "wind.layers",
                format!(
                    "{dropped} of {} layers left out: they lie below {LOWEST_LAYER_M} m above the field",
                    sent.len()
                ),
                "heights above sea level less site.elevation",
            );
        }
        layers
    }

    pub(super) fn surface_law(&mut self, w: &Wind) -> Option<SurfaceLaw> {
        let given = [
            ("terrain", w.terrain.is_some()),
            ("roughness_length", w.roughness_length.is_some()),
            ("power_exponent", w.power_exponent.is_some()),
        ];
        let mut given = given.iter().filter(|g| g.1).map(|g| g.0);
        let first = given.next();
        for other in given {
            self.faults.add(
                self.wind_at(other),
                "the growth of the wind is described twice",
                "give one of terrain, roughness_length and power_exponent",
            );
        }
        if let (Some(terrain), Some("terrain")) = (w.terrain, first) {
            self.places.by_terrain = true;
            return Some(SurfaceLaw::Log { roughness_m: roughness_m(terrain) });
        }
        let roughness =
            self.read(&self.wind_at("roughness_length"), &w.roughness_length, Some(&limits::ROUGHNESS_LENGTH));
        if let Some(exponent) = w.power_exponent {
            self.bare(&self.wind_at("power_exponent"), exponent, &limits::POWER_EXPONENT);
        }
        roughness
            .map(|roughness_m| SurfaceLaw::Log { roughness_m })
            .or(w.power_exponent.map(|exponent| SurfaceLaw::Power { exponent }))
    }
}

/// Roughness lengths of Davenport's classes, m (WMO code list).
fn roughness_m(terrain: Terrain) -> f64 {
    match terrain {
        Terrain::Sea => 0.0002,
        Terrain::Smooth => 0.005,
        Terrain::Open => 0.03,
        Terrain::RoughlyOpen => 0.1,
        Terrain::Rough => 0.25,
        Terrain::VeryRough => 0.5,
        Terrain::Closed => 1.0,
        Terrain::Chaotic => 2.0,
    }
}

fn short(x: f64) -> f64 {
    (x * 10.0).round() / 10.0
}
