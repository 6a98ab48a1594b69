//! Where the launch is and what is on the field, so that a map can be drawn from the answer alone.

use serde::Serialize;
use slowpoint_sim::case::{Area, Outline, Role};
use slowpoint_sim::plane::Position;
use slowpoint_sim::stat::outline::Polygon;
use utoipa::ToSchema;

use super::{Figure, Patch};
use crate::wire::Asked;

/// The field. Metres are those of the plane that touches the ellipsoid of WGS 84 at its origin.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SiteAnswer {
    /// Its name; null where none was given.
    pub name: Option<String>,
    /// Its origin; null where no position was given.
    pub origin: Option<PositionAnswer>,
    /// The pad launched from.
    pub pad: PadAnswer,
    /// Areas as they were asked, those of `areas` before those of `map`.
    pub areas: Vec<AreaAnswer>,
}

/// A place by WGS 84, to a centimetre.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct PositionAnswer {
    /// Latitude, degrees, north positive.
    pub latitude_deg: f64,
    /// Longitude, degrees, east positive.
    pub longitude_deg: f64,
}

/// The pad launched from: every east and north of the answer is measured from it.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct PadAnswer {
    /// Its name; null where it is the origin.
    pub name: Option<String>,
    /// East of the origin, m.
    pub east_of_origin_m: Figure,
    /// North of the origin, m.
    pub north_of_origin_m: Figure,
    /// Where it lies; null where no position was given.
    pub position: Option<PositionAnswer>,
}

/// An area on the ground: a circle, or patches.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct AreaAnswer {
    /// Its name.
    pub name: String,
    /// What it is: field, spectators, parking, road, building, water, trees or no_recovery; null where that was not said.
    pub role: Option<&'static str>,
    /// The circle; null where it has patches.
    pub circle: Option<CircleAnswer>,
    /// The patches; none where it is a circle.
    pub outline: Vec<Patch>,
}

/// A circle on the ground.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct CircleAnswer {
    /// Centre, east of the pad, m.
    pub east_m: Figure,
    /// Centre, north of the pad, m.
    pub north_m: Figure,
    /// Radius, m.
    pub radius_m: Figure,
}

impl PositionAnswer {
    /// Rounded to 1e-7 deg.
    pub fn of(at: Position) -> Self {
        let rounded = |rad: f64| (rad.to_degrees() * 1e7).round() / 1e7 + 0.0;
        Self { latitude_deg: rounded(at.latitude_rad), longitude_deg: rounded(at.longitude_rad) }
    }
}

/// The field of a request.
pub(super) fn site(asked: &Asked) -> SiteAnswer {
    let placed = &asked.placed;
    SiteAnswer {
        name: placed.site.clone(),
        origin: placed.origin.map(PositionAnswer::of),
        pad: PadAnswer {
            name: placed.pad.clone(),
            east_of_origin_m: Figure(placed.pad_m[0]),
            north_of_origin_m: Figure(placed.pad_m[1]),
            position: placed.plane().map(|plane| PositionAnswer::of(plane.position(placed.pad_m))),
        },
        areas: asked.case.inputs.site.areas.iter().map(area).collect(),
    }
}

fn area(a: &Area) -> AreaAnswer {
    let (circle, outline) = match &a.outline {
        Outline::Circle { centre_m: [east_m, north_m], radius_m } => {
            let circle =
                CircleAnswer { east_m: Figure(*east_m), north_m: Figure(*north_m), radius_m: Figure(*radius_m) };
            (Some(circle), Vec::new())
        }
        Outline::Polygon(corners) => {
            let mut exterior: Vec<(f64, f64)> = corners.iter().map(|c| (c[0], c[1])).collect();
            exterior.extend(exterior.first().copied());
            let twice_m2: f64 = exterior.windows(2).map(|e| e[0].0 * e[1].1 - e[1].0 * e[0].1).sum();
            if twice_m2 < 0.0 {
                exterior.reverse();
            }
            (None, vec![Patch::of(&Polygon { exterior, holes: Vec::new() })])
        }
        Outline::Patches(patches) => (None, patches.iter().map(Patch::of).collect()),
    };
    AreaAnswer { name: a.name.clone(), role: a.role.map(Role::name), circle, outline }
}
