//! Polygons in degrees, cut along the meridian where longitude leaps (RFC 7946, 3.1.9), and up to a pole that they hold.

use slowpoint_sim::stat::outline::Polygon;

use super::stored::{Globe, Patch, Ring};

/// Rings of longitude and latitude, the outer edge first.
pub type Rings = Vec<Vec<[f64; 2]>>;

/// An edge over more degrees of longitude is no straight line between its ends: so near to a pole it is halved.
const STRAIGHT_DEG: f64 = 10.0;
/// Most halvings: what is left of an edge that meets a pole.
const HALVINGS: u32 = 10;

/// What lies on the meridian of 180 degrees is taken to lie by the last decimal beside it, which is 1 cm: rings run to it,
/// across it, or stay away, but never along it.
const BESIDE_DEG: f64 = 179.999_999_9;
/// About a pole, where grids have corners and edges on every meridian, all is taken to lie so far aside, m.
const ASIDE_M: [f64; 2] = [0.007, 0.004];
const NEAR_POLE_DEG: f64 = 89.99;

/// A corner of a ring.
#[derive(Debug, Clone, Copy)]
struct Corner {
    place_m: [f64; 2],
    /// Longitude between -180 and 180, latitude.
    at: [f64; 2],
}

impl Corner {
    fn of(globe: &Globe, place_m: [f64; 2]) -> Self {
        let mut at = globe.degrees(place_m);
        if at[1].abs() > NEAR_POLE_DEG {
            at = globe.degrees([0, 1].map(|k| place_m[k] + ASIDE_M[k]));
        }
        if at[0].abs() >= 180.0 {
            at[0] = BESIDE_DEG;
        }
        Self { place_m, at }
    }

    fn east(&self) -> bool {
        self.at[0] >= 0.0
    }
}

/// What of a ring lies between two leaps of longitude, each by its number; east or west of the meridian at either end.
struct Piece {
    from: usize,
    to: usize,
    begins_east: bool,
    ends_east: bool,
    corners: Vec<[f64; 2]>,
}

/// A patch as one polygon, or as several that meet where longitude leaps.
pub fn polygons(globe: &Globe, patch: &Patch) -> Vec<Rings> {
    let rings: Vec<Vec<Corner>> =
        core::iter::once(&patch.exterior_m).chain(&patch.holes_m).map(|ring| corners(globe, ring)).collect();
    let mut latitudes = Vec::new();
    let mut pieces = Vec::new();
    let mut whole = Vec::new();
    for ring in &rings {
        if edges(ring).any(|(a, b)| leaps(a, b)) {
            split(globe, ring, &mut latitudes, &mut pieces);
        } else {
            whole.push(closed(ring.iter().map(|corner| corner.at)));
        }
    }
    if latitudes.is_empty() {
        return vec![whole];
    }
    let mut cut: Vec<Rings> = joined(&latitudes, pieces).into_iter().map(|exterior| vec![exterior]).collect();
    // What does not leap is a gap, and one of its corners says of which part.
    for gap in whole {
        if let Some(part) = cut.iter_mut().find(|part| holds(&part[0], gap[0])) {
            part.push(gap);
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

/// Whether the short way from one corner to the other leads over the meridian of 180 degrees.
fn leaps(a: &Corner, b: &Corner) -> bool {
    (a.at[0] - b.at[0]).abs() > 180.0
}

/// Cuts a ring where it leaps.
fn split(globe: &Globe, ring: &[Corner], latitudes: &mut Vec<f64>, pieces: &mut Vec<Piece>) {
    let first = latitudes.len();
    let mut own: Vec<Piece> = Vec::new();
    let begin = edges(ring).position(|(a, b)| leaps(a, b)).unwrap_or(0);
    for (a, b) in edges(ring).cycle().skip(begin).take(ring.len()) {
        if leaps(a, b) {
            if let Some(piece) = own.last_mut() {
                piece.to = latitudes.len();
            }
            // The last one ends where the first begins.
            let (begins_east, from) = (b.east(), latitudes.len());
            own.push(Piece { from, to: first, begins_east, ends_east: begins_east, corners: Vec::new() });
            latitudes.push(leap(globe, a, b));
        }
        if let Some(piece) = own.last_mut() {
            piece.corners.push(b.at);
            piece.ends_east = b.east();
        }
    }
    pieces.append(&mut own);
}

/// The latitude at which an edge meets the meridian.
fn leap(globe: &Globe, a: &Corner, b: &Corner) -> f64 {
    let from_plane = |corner: &Corner| {
        let [longitude, latitude] = corner.at.map(f64::to_radians);
        latitude.cos() * longitude.sin()
    };
    let (of_a, of_b) = (from_plane(a), from_plane(b));
    let share = if of_a == of_b { 0.5 } else { (of_a / (of_a - of_b)).clamp(0.0, 1.0) };
    globe.degrees([0, 1].map(|k| a.place_m[k] + share * (b.place_m[k] - a.place_m[k])))[1]
}

/// The pieces joined along the meridian, where the patch lies between every other pair of leaps counted towards the pole;
/// with an odd number of them it lies about the pole as well, and the last is joined over it.
fn joined(latitudes: &[f64], mut pieces: Vec<Piece>) -> Rings {
    let pole = 90.0_f64.copysign(latitudes[0]);
    let mut order: Vec<usize> = (0..latitudes.len()).collect();
    order.sort_by(|a, b| (latitudes[*a] * pole).total_cmp(&(latitudes[*b] * pole)));
    let at = |leap: usize, east: bool| [if east { 180.0 } else { -180.0 }, latitudes[leap]];
    let mut rings = Rings::new();
    while let Some(mut piece) = pieces.pop() {
        let begun = (piece.from, piece.begins_east);
        let mut ring = Vec::new();
        loop {
            ring.push(at(piece.from, piece.begins_east));
            ring.append(&mut piece.corners);
            ring.push(at(piece.to, piece.ends_east));
            let place = order.iter().position(|leap| *leap == piece.to).unwrap_or(0);
            let next = match order.get(place ^ 1) {
                Some(partner) => (*partner, piece.ends_east),
                None => {
                    let over = [piece.ends_east, !piece.ends_east];
                    ring.extend(over.map(|east| [at(piece.to, east)[0], pole]));
                    (piece.to, !piece.ends_east)
                }
            };
            if next == begun {
                break;
            }
            let Some(found) = pieces.iter().position(|p| (p.from, p.begins_east) == next) else { break };
            piece = pieces.swap_remove(found);
        }
        let ring = closed(ring.into_iter());
        // What is no wider than a corner was moved is nothing.
        if ring.iter().any(|at| at[0].abs() < BESIDE_DEG) {
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

    /// About a pole all longitudes meet: a ring about it becomes a strip from one end of the meridian to the other, up to the
    /// pole or to a gap about it.
    #[test]
    fn what_holds_a_pole() {
        for (latitude, longitude) in [(90.0, 0.0), (-90.0, 45.0), (89.9995, 180.0), (-89.9995, 20.0)] {
            for (gap, area_m2) in
                [(square([0.0, 200.0], 20.0), 1e6 - 40.0 * 40.0), (square([0.0, 0.0], 150.0), 1e6 - 9e4)]
            {
                let patch = Patch { exterior_m: ring(&square([0.0, 0.0], 500.0)), holes_m: vec![hole(gap)] };
                let polygons = polygons(&globe(latitude, longitude), &patch);
                assert_eq!(polygons.len(), 1);
                let about = |at: &[f64; 2]| at[1].abs() == 90.0;
                assert_eq!(
                    polygons[0][0].iter().any(about),
                    gap[0][0] != -150.0,
                    "up to the pole, but for a gap about it"
                );
                // But for the way over the pole no edge goes far round it.
                let edges = || polygons[0].iter().flat_map(|ring| ring.windows(2));
                assert_eq!(
                    edges().filter(|e| (e[0][0] - e[1][0]).abs() > 10.0).count(),
                    usize::from(gap[0][0] != -150.0)
                );
                // The ground between a ring and the pole: half the square of the distance over each bit of longitude.
                let degree_m = 40_007_863.0 / 360.0;
                let away_m = |at: &[f64; 2]| (90.0 - at[1].abs()) * degree_m;
                let mean = |a: f64, b: f64| (a * a + a * b + b * b) / 3.0;
                let part = |e: &[[f64; 2]]| 0.5 * (e[1][0] - e[0][0]).to_radians() * mean(away_m(&e[0]), away_m(&e[1]));
                let found: f64 = edges().map(part).sum();
                assert!((found.abs() / area_m2 - 1.0).abs() < 0.01, "{latitude} {longitude}: {found} {area_m2}");
            }
        }
    }

    /// Edges along the meridian, a corner on it, and a corner and an edge on a pole.
    #[test]
    fn what_lies_on_the_meridian() {
        // Wide, beside the meridian, and with its corner on it.
        let tee = [
            [-90.0, 0.0],
            [0.0, 0.0],
            [0.0, -60.0],
            [80.0, -60.0],
            [80.0, 100.0],
            [0.0, 100.0],
            [0.0, 40.0],
            [-90.0, 40.0],
        ];
        for longitude in [180.0, -180.0] {
            let of = |corners: &[[f64; 2]]| {
                polygons(&globe(12.0, longitude), &Patch { exterior_m: ring(corners), holes_m: Vec::new() })
            };
            let parts = of(&tee);
            assert_eq!(parts.len(), 2);
            let found = checked(&parts, 12.0);
            assert!((found / (90.0 * 40.0 + 80.0 * 160.0) - 1.0).abs() < 0.01, "{found}");
            let crossings = |part: &Rings| part[0].iter().filter(|at| at[0].abs() == 180.0).count();
            // Two of them, and the first again at the end.
            assert!(parts.iter().all(|part| crossings(part) == 3), "{parts:?}");
            for beside in [square([50.0, 0.0], 50.0), square([-50.0, 0.0], 50.0)] {
                let parts = of(&beside);
                assert_eq!(parts.len(), 1, "{parts:?}");
                checked(&parts, 12.0);
            }
            let diamond = [[0.0, 0.0], [40.0, 40.0], [80.0, 0.0], [40.0, -40.0]];
            assert_eq!(of(&[diamond[0], diamond[3], diamond[2], diamond[1]]).len(), 1, "it touches");
        }
        for corners in [square([100.0, 100.0], 100.0), square([-100.0, 100.0], 100.0), square([0.0, 50.0], 50.0)] {
            for longitude in [0.0, 90.0, 180.0] {
                let patch = Patch { exterior_m: ring(&corners), holes_m: Vec::new() };
                for rings in polygons(&globe(90.0, longitude), &patch) {
                    let far = rings[0].windows(2).filter(|e| (e[0][0] - e[1][0]).abs() >= 180.0);
                    assert!(far.into_iter().all(|e| e[0][1] == 90.0 && e[1][1] == 90.0), "{rings:?}");
                }
            }
        }
    }
}
