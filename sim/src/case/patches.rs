//! What is refused of areas made of patches with gaps.

use super::check::{crosses_itself, crossing};
use super::inputs::Outline;
use crate::fault::{Fault, Faults};
use crate::stat::outline::Polygon;

/// Most corners of an area: every edge is held against every other, and every landing against every edge.
const MOST_CORNERS: usize = 500;
/// Smaller than this is nobody's area, m^2.
pub(super) const LEAST_AREA_M2: f64 = 4.0;
/// What overlaps by less only touches, m: map tools write six decimals of a degree, 0.11 m, and cut areas where longitude
/// leaps (RFC 7946, 3.1.9), so that patches meet in edges that agree to the last of them.
const TOUCHING_M: f64 = 0.2;
/// Lines on which a place inside a patch is looked for.
const LINES: u32 = 16;

type Ring = Vec<(f64, f64)>;

/// Checks the patches of one area, its place given. Rings end where they began.
pub fn check(at: &str, patches: &[Polygon], faults: &mut Faults) {
    let field = format!("{at}.geometry");
    if faults.touches(&field) {
        return;
    }
    // What stands in for a geometry that could not be read.
    if patches.is_empty() {
        faults.no_number.push(Fault::new(field, "it has no patch", "give at least one"));
        return;
    }
    let rings: Vec<(String, &Ring)> = patches
        .iter()
        .enumerate()
        .flat_map(|(k, p)| core::iter::once(&p.exterior).chain(&p.holes).enumerate().map(move |(r, ring)| (k, r, ring)))
        .map(|(k, r, ring)| (format!("{field}.{k}.{r}"), ring))
        .collect();
    let corners: usize = rings.iter().map(|(_, ring)| ring.len()).sum();
    if corners > MOST_CORNERS {
        faults.add(
            field,
            format!("it has {corners} corners"),
            format!("give at most {MOST_CORNERS}: a coarser outline holds as well at the width of a landing"),
        );
        return;
    }
    let found = faults.found.len();
    for (place, ring) in &rings {
        if crosses_itself(&open(ring)) {
            faults.add(place, "its outline crosses itself", "list the corners in order round the area");
        }
    }
    for (i, (place, ring)) in rings.iter().enumerate() {
        if rings[..i].iter().any(|(_, other)| cross(ring, other)) && !faults.touches(place) {
            faults.add(place, "it crosses another ring of the same area", "gaps and patches must not overlap");
        }
    }
    if faults.found.len() > found {
        return;
    }
    for (k, patch) in patches.iter().enumerate() {
        let whole = filled(&patch.exterior);
        let gaps: Vec<Polygon> = patch.holes.iter().map(filled).collect();
        for (r, gap) in gaps.iter().enumerate() {
            let place = format!("{field}.{k}.{}", r + 1);
            if places(gap).any(|at| !contains(&whole, at) && !touches(&whole, at)) {
                faults.add(
                    place,
                    "it is a gap that lies outside its patch",
                    "the first ring is the outer edge, those after it are gaps inside; areas of their own are patches of a MultiPolygon",
                );
            } else if gaps[..r].iter().any(|other| overlap(gap, other)) {
                faults.add(place, "it overlaps another gap of the same patch", "join the two to one");
            }
        }
        if patches[..k].iter().any(|other| overlap(patch, other)) {
            faults.add(format!("{field}.{k}"), "it overlaps another patch of the same area", "join the two to one");
        }
    }
    let area_m2 = Outline::Patches(patches.to_vec()).area_m2();
    if faults.found.len() == found && area_m2 < LEAST_AREA_M2 {
        faults.add(field, format!("it encloses {area_m2:.2} m^2"), "check the digits of its corners");
    }
}

/// The corners, each once.
fn open(ring: &Ring) -> Vec<[f64; 2]> {
    ring.iter().take(ring.len().saturating_sub(1)).map(|&(east_m, north_m)| [east_m, north_m]).collect()
}

/// A ring without gaps.
fn filled(ring: &Ring) -> Polygon {
    Polygon { exterior: ring.clone(), holes: Vec::new() }
}

fn contains(patch: &Polygon, (east_m, north_m): (f64, f64)) -> bool {
    patch.contains(east_m, north_m)
}

/// Every edge of a patch.
fn edges(patch: &Polygon) -> impl Iterator<Item = [[f64; 2]; 2]> {
    core::iter::once(&patch.exterior).chain(&patch.holes).flat_map(ring_edges)
}

fn ring_edges(ring: &Ring) -> impl Iterator<Item = [[f64; 2]; 2]> {
    ring.windows(2).map(|e| [[e[0].0, e[0].1], [e[1].0, e[1].1]])
}

/// Whether any edge of one ring goes across one of another.
fn cross(one: &Ring, other: &Ring) -> bool {
    ring_edges(one).any(|e| ring_edges(other).any(|f| crossing(e, f, TOUCHING_M)))
}

/// Whether two patches that do not cross share ground: one lies in the other, and not in a gap of it.
fn overlap(one: &Polygon, other: &Polygon) -> bool {
    let within = |inner: &Polygon, outer: &Polygon| places(inner).any(|at| contains(outer, at) && !touches(outer, at));
    within(one, other) || within(other, one)
}

/// Whether a place is as near to an edge of a patch as what touches it.
fn touches(patch: &Polygon, at: (f64, f64)) -> bool {
    edges(patch).any(|[a, b]| {
        let along = [b[0] - a[0], b[1] - a[1]];
        let away = [at.0 - a[0], at.1 - a[1]];
        let square = along[0] * along[0] + along[1] * along[1];
        let share = if square > 0.0 { (away[0] * along[0] + away[1] * along[1]) / square } else { 0.0 };
        let share = share.clamp(0.0, 1.0);
        libm::hypot(away[0] - share * along[0], away[1] - share * along[1]) <= TOUCHING_M
    })
}

/// Places that tell where a patch lies: its corners, the middles of its edges, and one well inside, which two alike have
/// in common.
fn places(patch: &Polygon) -> impl Iterator<Item = (f64, f64)> {
    let on_edges = edges(patch).flat_map(|[a, b]| [(a[0], a[1]), (0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1]))]);
    on_edges.chain(inner(patch))
}

/// The middle of the widest stretch of a patch on some lines from west to east.
fn inner(patch: &Polygon) -> Option<(f64, f64)> {
    let north = || patch.exterior.iter().map(|corner| corner.1);
    let (low, high) = (north().fold(f64::INFINITY, f64::min), north().fold(f64::NEG_INFINITY, f64::max));
    let stretches = (1..LINES).flat_map(|k| {
        let north_m = low + (high - low) * f64::from(k) / f64::from(LINES);
        let mut cuts: Vec<f64> = edges(patch)
            .filter(|[a, b]| (a[1] > north_m) != (b[1] > north_m))
            .map(|[a, b]| a[0] + (north_m - a[1]) / (b[1] - a[1]) * (b[0] - a[0]))
            .collect();
        cuts.sort_by(f64::total_cmp);
        let stretch = |c: &[f64]| (c[1] - c[0], (0.5 * (c[0] + c[1]), north_m));
        cuts.chunks_exact(2).map(stretch).collect::<Vec<_>>()
    });
    stretches.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, place)| place)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(centre: (f64, f64), half: f64) -> Ring {
        [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0)]
            .map(|(east, north)| (centre.0 + half * east, centre.1 + half * north))
            .to_vec()
    }

    fn circle(centre: (f64, f64), radius: f64, corners: u32) -> Ring {
        (0..=corners)
            .map(|k| core::f64::consts::TAU * f64::from(k % corners) / f64::from(corners))
            .map(|angle| (centre.0 + radius * libm::sin(angle), centre.1 + radius * libm::cos(angle)))
            .collect()
    }

    /// A rectangle from a line eastward, as high as the square of half-width 100.
    fn beside(west: f64) -> Ring {
        vec![(west, -100.0), (300.0, -100.0), (300.0, 100.0), (west, 100.0), (west, -100.0)]
    }

    fn patch(exterior: Ring, holes: Vec<Ring>) -> Polygon {
        Polygon { exterior, holes }
    }

    #[track_caller]
    fn refused(patches: &[Polygon], field: &str, problem: &str) {
        let mut faults = Faults::default();
        check("site.areas.0", patches, &mut faults);
        let found: Vec<_> = faults.found.iter().map(|f| (f.field.as_str(), f.problem.as_str())).collect();
        assert!(found.len() == 1 && found[0].0 == field && found[0].1.contains(problem), "{found:?}");
    }

    #[test]
    fn areas_that_overlap_or_cross() {
        let big = square((0.0, 0.0), 100.0);
        let at = |rest: &str| format!("site.areas.0.geometry{rest}");
        let bow = vec![(0.0, 0.0), (10.0, 10.0), (10.0, 0.0), (0.0, 10.0), (0.0, 0.0)];
        refused(&[patch(bow, vec![])], &at(".0.0"), "crosses itself");
        refused(&[patch(big.clone(), vec![square((100.0, 3.0), 20.0)])], &at(".0.1"), "crosses another");
        refused(&[patch(big.clone(), vec![square((300.0, 0.0), 20.0)])], &at(".0.1"), "outside its patch");
        refused(&[patch(big.clone(), vec![]), patch(square((0.0, 0.0), 20.0), vec![])], &at(".1"), "overlaps");
        refused(&[patch(big.clone(), vec![]), patch(big.clone(), vec![])], &at(".1"), "overlaps another patch");
        let halves = [patch(big.clone(), vec![]), patch(beside(50.0), vec![])];
        refused(&halves, &at(".1"), "overlaps another patch");
        let gap = square((10.0, 0.0), 30.0);
        refused(&[patch(big.clone(), vec![gap.clone(), gap.clone()])], &at(".0.2"), "overlaps another gap");
        let nested = vec![gap.clone(), square((10.0, 0.0), 5.0)];
        refused(&[patch(big.clone(), nested)], &at(".0.2"), "overlaps another gap");
        refused(&[patch(big.clone(), vec![square((0.0, 0.0), 150.0)])], &at(".0.1"), "outside its patch");
        // Edges so short that none goes far across the other ring.
        refused(&[patch(big.clone(), vec![circle((100.0, 0.0), 5.0, 480)])], &at(".0.1"), "outside its patch");
        let twice = [&gap[..4], &gap[..]].concat();
        refused(&[patch(twice, vec![])], &at(".0.0"), "crosses itself");
        refused(&[patch(square((0.0, 0.0), 0.5), vec![])], &at(""), "encloses 1.00 m^2");
        refused(&[patch(circle((0.0, 0.0), 500.0, 600), vec![])], &at(""), "601 corners");
    }

    #[test]
    fn gaps_and_islands() {
        let big = square((0.0, 0.0), 100.0);
        let hole = square((0.0, 0.0), 50.0);
        let island = patch(square((0.0, 0.0), 20.0), vec![]);
        let beside = patch(square((300.0, 0.0), 20.0), vec![]);
        let patches = [patch(big, vec![hole]), island, beside];
        let mut faults = Faults::default();
        check("site.areas.0", &patches, &mut faults);
        assert!(faults.found.is_empty(), "{:?}", faults.found);
        let outline = Outline::Patches(patches.to_vec());
        assert_eq!(outline.area_m2(), 200.0 * 200.0 - 100.0 * 100.0 + 2.0 * 40.0 * 40.0);
        for (place, inside) in
            [((0.0, 0.0), true), ((30.0, 0.0), false), ((80.0, 0.0), true), ((300.0, 5.0), true), ((200.0, 0.0), false)]
        {
            assert_eq!(outline.contains(place.0, place.1), inside, "{place:?}");
        }
    }

    /// Turned anyhow and rounded as map tools round, what meets in an edge, a part of one, or a corner is neither crossing
    /// nor overlapping, as patches nor as gaps, and a place is inside where it is inside one of the two.
    #[test]
    fn patches_that_touch() {
        let big = square((0.0, 0.0), 100.0);
        let part = vec![(100.0, -30.0), (200.0, -30.0), (200.0, 70.0), (100.0, 70.0), (100.0, -30.0)];
        let corner = square((200.0, 200.0), 100.0);
        for angle in (0..90).map(|k| 0.07 * f64::from(k)) {
            let (sine, cosine) = (libm::sin(angle), libm::cos(angle));
            for rounded in [1e-9, 0.1] {
                let turned = |ring: &Ring| -> Ring {
                    let round = |x: f64| libm::round(x / rounded) * rounded;
                    ring.iter().map(|p| (round(p.0 * cosine - p.1 * sine), round(p.0 * sine + p.1 * cosine))).collect()
                };
                for other in [&beside(100.0), &part, &corner] {
                    let (one, other) = (turned(&big), turned(other));
                    let field = patch(turned(&square((0.0, 0.0), 1000.0)), vec![one.clone(), other.clone()]);
                    let mut faults = Faults::default();
                    check("site.areas.0", &[patch(one, vec![]), patch(other, vec![])], &mut faults);
                    check("site.areas.1", &[field], &mut faults);
                    assert!(faults.found.is_empty(), "{angle} {rounded}: {:?}", faults.found);
                }
            }
        }
        let touching = Outline::Patches(vec![patch(big, vec![]), patch(beside(99.9), vec![])]);
        for east in [99.0, 99.95, 101.0] {
            assert!(touching.contains(east, 0.0), "{east}");
        }
    }
}
