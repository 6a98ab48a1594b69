//! Polygons in degrees, cut along the meridian where longitude leaps (RFC 7946, 3.1.9), and through a pole that they hold.

use slowpoint_sim::stat::outline::Polygon;

use super::stored::{Globe, Patch, Ring};

/// Rings of longitude and latitude, the outer edge first.
pub type Rings = Vec<Vec<[f64; 2]>>;

/// An edge over more degrees of longitude is no straight line between its ends: so near to a pole it is halved.
const STRAIGHT_DEG: f64 = 10.0;
/// Most halvings: what is left of an edge that meets a pole.
const HALVINGS: u32 = 10;

/// A corner of a ring.
#[derive(Debug, Clone, Copy)]
struct Corner {
    place_m: [f64; 2],
    /// Longitude above -180, latitude.
    at: [f64; 2],
}

impl Corner {
    fn of(globe: &Globe, place_m: [f64; 2]) -> Self {
        let [longitude, latitude] = globe.degrees(place_m);
        Self { place_m, at: [if longitude <= -180.0 { 180.0 } else { longitude }, latitude] }
    }

    fn east(&self) -> bool {
        self.at[0] >= 0.0
    }
}

/// A place where a ring goes from one hemisphere to the other.
#[derive(Debug, Clone, Copy)]
struct Crossing {
    latitude: f64,
    /// On the meridian of 180 degrees, else on that of 0.
    leaps: bool,
}

impl Crossing {
    /// How far it lies along the meridian of 180 degrees northward, and on over the pole that is near.
    fn along(&self) -> f64 {
        if self.leaps { self.latitude } else { 180.0_f64.copysign(self.latitude) - self.latitude }
    }

    fn at(&self, east: bool) -> [f64; 2] {
        [if self.leaps { if east { 180.0 } else { -180.0 } } else { 0.0 }, self.latitude]
    }
}

/// What of a ring lies in one hemisphere, between two crossings.
struct Piece {
    east: bool,
    from: usize,
    to: usize,
    corners: Vec<[f64; 2]>,
}

/// A patch as one polygon, or as several that meet where longitude leaps.
pub fn polygons(globe: &Globe, patch: &Patch) -> Vec<Rings> {
    let rings: Vec<Vec<Corner>> =
        core::iter::once(&patch.exterior_m).chain(&patch.holes_m).map(|ring| corners(globe, ring)).collect();
    let leaps = |ring: &Vec<Corner>| edges(ring).any(|(a, b)| (a.at[0] - b.at[0]).abs() > 180.0);
    if !rings.iter().any(leaps) {
        return vec![rings.iter().map(|ring| closed(ring.iter().map(|corner| corner.at))).collect()];
    }
    let mut crossings = Vec::new();
    let mut pieces = Vec::new();
    let mut whole = Vec::new();
    for ring in &rings {
        if edges(ring).all(|(a, b)| a.east() == b.east()) {
            whole.push(ring);
        } else {
            split(globe, ring, &mut crossings, &mut pieces);
        }
    }
    let mut cut: Vec<Rings> = joined(&crossings, pieces).into_iter().map(|exterior| vec![exterior]).collect();
    for hole in whole {
        let ring = closed(hole.iter().map(|corner| corner.at));
        // It crosses nothing, so that one of its corners says where it lies.
        if let Some(patch) = cut.iter_mut().find(|patch| holds(&patch[0], ring[0])) {
            patch.push(ring);
        }
    }
    cut
}

/// The corners of a ring, each once, and of what is no straight line more of them.
fn corners(globe: &Globe, ring: &Ring) -> Vec<Corner> {
    let places: Vec<Corner> = ring.iter().map(|place| Corner::of(globe, place.map(|figure| figure.0))).collect();
    let mut all = Vec::with_capacity(places.len());
    for edge in places.windows(2) {
        all.push(edge[0]);
        halved(globe, edge[0], edge[1], HALVINGS, &mut all);
    }
    all
}

fn halved(globe: &Globe, a: Corner, b: Corner, left: u32, all: &mut Vec<Corner>) {
    let apart = (a.at[0] - b.at[0]).abs();
    if left == 0 || apart.min(360.0 - apart) <= STRAIGHT_DEG {
        return;
    }
    let middle = Corner::of(globe, [0, 1].map(|k| 0.5 * (a.place_m[k] + b.place_m[k])));
    halved(globe, a, middle, left - 1, all);
    all.push(middle);
    halved(globe, middle, b, left - 1, all);
}

fn edges(ring: &[Corner]) -> impl Iterator<Item = (&Corner, &Corner)> + Clone {
    ring.iter().zip(ring.iter().cycle().skip(1))
}

/// Cuts a ring that lies in both hemispheres.
fn split(globe: &Globe, ring: &[Corner], crossings: &mut Vec<Crossing>, pieces: &mut Vec<Piece>) {
    let first = crossings.len();
    let mut own: Vec<Piece> = Vec::new();
    let begin = edges(ring).position(|(a, b)| a.east() != b.east()).unwrap_or(0);
    for (a, b) in edges(ring).cycle().skip(begin).take(ring.len()) {
        if a.east() != b.east() {
            let number = crossings.len();
            crossings.push(crossing(globe, a, b));
            if let Some(piece) = own.last_mut() {
                piece.to = number;
            }
            // The last one ends where the first begins.
            own.push(Piece { east: b.east(), from: number, to: first, corners: Vec::new() });
        }
        if let Some(piece) = own.last_mut() {
            piece.corners.push(b.at);
        }
    }
    pieces.append(&mut own);
}

/// Where an edge meets the plane of the two meridians.
fn crossing(globe: &Globe, a: &Corner, b: &Corner) -> Crossing {
    let from_plane = |corner: &Corner| {
        let [longitude, latitude] = corner.at.map(f64::to_radians);
        latitude.cos() * longitude.sin()
    };
    let (of_a, of_b) = (from_plane(a), from_plane(b));
    let share = if of_a == of_b { 0.5 } else { (of_a / (of_a - of_b)).clamp(0.0, 1.0) };
    let place_m = [0, 1].map(|k| a.place_m[k] + share * (b.place_m[k] - a.place_m[k]));
    Crossing { latitude: globe.degrees(place_m)[1], leaps: (a.at[0] - b.at[0]).abs() > 180.0 }
}

/// The pieces of each hemisphere, joined along its edge: between every other pair of crossings lies the patch.
fn joined(crossings: &[Crossing], mut pieces: Vec<Piece>) -> Rings {
    let mut order: Vec<usize> = (0..crossings.len()).collect();
    order.sort_by(|a, b| crossings[*a].along().total_cmp(&crossings[*b].along()));
    let partner = |of: usize| order.iter().position(|k| *k == of).and_then(|place| order.get(place ^ 1)).copied();
    let mut rings = Rings::new();
    while let Some(mut piece) = pieces.pop() {
        let (east, begun) = (piece.east, piece.from);
        let mut ring = Vec::new();
        loop {
            ring.push(crossings[piece.from].at(east));
            ring.append(&mut piece.corners);
            let end = &crossings[piece.to];
            ring.push(end.at(east));
            let Some(next) = partner(piece.to) else { break };
            if end.leaps != crossings[next].leaps {
                // The way there is over the pole.
                let pole = 90.0_f64.copysign(end.latitude);
                ring.extend([end, &crossings[next]].map(|crossing| [crossing.at(east)[0], pole]));
            }
            if next == begun {
                break;
            }
            let Some(place) = pieces.iter().position(|p| p.east == east && p.from == next) else { break };
            piece = pieces.swap_remove(place);
        }
        // East of the meridian a corner on it lies at 180 degrees, and what touches it there has no width.
        let ring = closed(ring.into_iter());
        if ring.len() > 3 && ring.iter().any(|at| at[0] != ring[0][0]) {
            rings.push(ring);
        }
    }
    rings
}

/// A ring that ends where it begins, without corners twice over.
fn closed(corners: impl Iterator<Item = [f64; 2]>) -> Vec<[f64; 2]> {
    let mut ring: Vec<[f64; 2]> = corners.collect();
    ring.extend(ring.first().copied());
    ring.dedup();
    ring
}

/// Whether a ring goes round a place.
fn holds(ring: &[[f64; 2]], [longitude, latitude]: [f64; 2]) -> bool {
    let exterior = ring.iter().map(|at| (at[0], at[1])).collect();
    Polygon { exterior, holes: Vec::new() }.contains(longitude, latitude)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::stored::Site;
    use crate::wire::Figure;
    use serde_json::json;

    fn globe(latitude: f64, longitude: f64) -> Globe {
        let site: Site = serde_json::from_value(json!({
            "name": null, "origin": {"latitude_deg": latitude, "longitude_deg": longitude}, "areas": [],
            "pad": {"name": null, "east_of_origin_m": 0.0, "north_of_origin_m": 0.0},
        }))
        .unwrap_or_else(|error| panic!("{error}"));
        site.globe().unwrap_or_else(|| panic!("it has a position"))
    }

    fn ring(corners: &[[f64; 2]]) -> Ring {
        corners.iter().chain(corners.first()).map(|place| place.map(Figure)).collect()
    }

    fn square([east, north]: [f64; 2], half: f64) -> [[f64; 2]; 4] {
        [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]].map(|[e, n]| [east + half * e, north + half * n])
    }

    fn hole(mut corners: [[f64; 2]; 4]) -> Ring {
        corners.reverse();
        ring(&corners)
    }

    /// Twice the area of a ring, by a longitude that counts as long as on the ground at the latitude given, m^2.
    fn twice_m2(ring: &[[f64; 2]], latitude: f64) -> f64 {
        let degree_m = 40_007_863.0 / 360.0;
        let flat = |at: &[f64; 2]| [(at[0] - ring[0][0]) * latitude.to_radians().cos(), at[1] - ring[0][1]];
        let twice: f64 =
            ring.windows(2).map(|e| [flat(&e[0]), flat(&e[1])]).map(|[a, b]| a[0] * b[1] - b[0] * a[1]).sum();
        twice * degree_m * degree_m
    }

    /// Each ring ends where it begins, the outer edges run counter-clockwise, gaps clockwise, and no edge leaps; gives the
    /// area, m^2.
    fn checked(polygons: &[Rings], latitude: f64) -> f64 {
        let mut twice = 0.0;
        for (k, ring) in polygons.iter().flat_map(|rings| rings.iter().enumerate()) {
            assert!(ring.len() > 3 && ring.first() == ring.last(), "{ring:?}");
            assert!(ring.windows(2).all(|e| (e[0][0] - e[1][0]).abs() <= 180.0), "{ring:?}");
            let own = twice_m2(ring, latitude);
            assert_eq!(own > 0.0, k == 0, "{ring:?}");
            twice += own;
        }
        0.5 * twice
    }

    /// A field with a gap on the meridian, one on either side of it, and an arm that comes back over it: the area of the
    /// parts is the whole's, wherever the meridian runs through it.
    #[test]
    fn what_the_meridian_cuts() {
        let arms = [
            [-100.0, -100.0],
            [300.0, -100.0],
            [300.0, 0.0],
            [60.0, 0.0],
            [60.0, 50.0],
            [300.0, 50.0],
            [300.0, 200.0],
            [-100.0, 200.0],
        ];
        let holes = vec![
            hole(square([-50.0, 150.0], 20.0)),
            hole(square([0.0, -50.0], 30.0)),
            hole(square([200.0, 120.0], 25.0)),
        ];
        let patch = Patch { exterior_m: ring(&arms), holes_m: holes };
        let area_m2 = 400.0 * 300.0 - 240.0 * 50.0 - 40.0 * 40.0 - 60.0 * 60.0 - 50.0 * 50.0;
        for latitude in [-67.0, -12.0, 0.0, 51.5] {
            let degree_m = 111_320.0 * f64::to_radians(latitude).cos();
            let mut parts = Vec::new();
            // The meridian so far east of the pad.
            for east_m in [-500.0, -100.0, -50.0, 0.0, 60.0, 100.0, 200.0, 300.0, 500.0] {
                let longitude = if east_m > 0.0 { 180.0 - east_m / degree_m } else { -180.0 - east_m / degree_m };
                let polygons = polygons(&globe(latitude, longitude), &patch);
                let found = checked(&polygons, latitude);
                // Degrees have seven decimals, and a degree of latitude is not as long everywhere.
                assert!((found / area_m2 - 1.0).abs() < 0.01, "{latitude} {east_m}: {found} {area_m2}");
                parts.push((polygons.len(), polygons.iter().map(Vec::len).sum::<usize>()));
            }
            assert_eq!((parts[0], parts[8]), ((1, 4), (1, 4)), "not on it, nothing is cut");
            // Through a gap: the west and the east, a whole gap in each; through both arms: the west and two arms.
            assert_eq!((parts[3], parts[5]), ((2, 4), (3, 6)), "{latitude}");
        }
    }

    /// About a pole all longitudes meet: each half runs up to it, and the polar cap of degrees is the area about it.
    #[test]
    fn what_holds_a_pole() {
        for (latitude, longitude) in [(90.0, 0.0), (-90.0, 45.0), (89.9995, 180.0), (-89.9995, 20.0)] {
            let patch =
                Patch { exterior_m: ring(&square([0.0, 0.0], 500.0)), holes_m: vec![hole(square([0.0, 200.0], 50.0))] };
            let polygons = polygons(&globe(latitude, longitude), &patch);
            assert_eq!(polygons.len(), 2);
            for rings in &polygons {
                assert!(rings[0].iter().any(|at| at[1].abs() == 90.0));
                assert!(rings[0].windows(2).all(|e| (e[0][0] - e[1][0]).abs() <= 180.0));
            }
            // The ground between a ring and the pole: half the square of the distance over each bit of longitude.
            let degree_m = 40_007_863.0 / 360.0;
            let away_m = |at: &[f64; 2]| (90.0 - at[1].abs()) * degree_m;
            let square = |a: f64, b: f64| (a * a + a * b + b * b) / 3.0;
            let area_m2: f64 = polygons
                .iter()
                .flatten()
                .flat_map(|ring| ring.windows(2))
                .map(|e| 0.5 * (e[1][0] - e[0][0]).to_radians() * square(away_m(&e[0]), away_m(&e[1])))
                .sum();
            assert!((area_m2.abs() / (1e6 - 1e4) - 1.0).abs() < 0.01, "{latitude} {longitude}: {area_m2}");
        }
    }
}
