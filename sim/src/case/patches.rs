//! What is refused of areas made of patches with gaps.

use super::check::crosses_itself;
use super::inputs::Outline;
use crate::fault::{Fault, Faults};
use crate::stat::outline::Polygon;

/// Most corners of an area: every edge is held against every other, and every landing against every edge.
const MOST_CORNERS: usize = 500;
/// Smaller than this is nobody's area, m^2.
pub(super) const LEAST_AREA_M2: f64 = 4.0;

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
        for (r, hole) in patch.holes.iter().enumerate() {
            if !any_inside(hole, &patch.exterior) {
                faults.add(
                    format!("{field}.{k}.{}", r + 1),
                    "it is a gap that lies outside its patch",
                    "the first ring is the outer edge, those after it are gaps inside; areas of their own are patches of a MultiPolygon",
                );
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

/// Whether any edge of one ring crosses one of another.
fn cross(one: &Ring, other: &Ring) -> bool {
    let side = |a: (f64, f64), b: (f64, f64), c: (f64, f64)| (b.0 - a.0) * (c.1 - a.1) - (b.1 - a.1) * (c.0 - a.0);
    one.windows(2).any(|e| {
        other.windows(2).any(|f| {
            side(e[0], e[1], f[0]) * side(e[0], e[1], f[1]) < 0.0
                && side(f[0], f[1], e[0]) * side(f[0], f[1], e[1]) < 0.0
        })
    })
}

/// Whether two patches that do not cross share ground: one lies in the other, and not in a gap of it.
fn overlap(one: &Polygon, other: &Polygon) -> bool {
    let whole = |patch: &Polygon| Outline::Patches(vec![patch.clone()]);
    let covers = |outer: &Polygon, inner: &Polygon| {
        let outer = whole(outer);
        middles(&inner.exterior).any(|(east_m, north_m)| outer.contains(east_m, north_m))
    };
    covers(one, other) || covers(other, one)
}

/// Whether any of a ring lies inside another: the rings do not cross, but may touch.
fn any_inside(inner: &Ring, outer: &Ring) -> bool {
    let outer = Outline::Patches(vec![Polygon { exterior: outer.clone(), holes: Vec::new() }]);
    middles(inner).any(|(east_m, north_m)| outer.contains(east_m, north_m))
}

/// The middles of a ring's edges: where patches touch in a corner those are apart.
fn middles(ring: &Ring) -> impl Iterator<Item = (f64, f64)> {
    ring.windows(2).map(|e| (0.5 * (e[0].0 + e[1].0), 0.5 * (e[0].1 + e[1].1)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(centre: (f64, f64), half: f64) -> Ring {
        [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0)]
            .map(|(east, north)| (centre.0 + half * east, centre.1 + half * north))
            .to_vec()
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
        refused(&[patch(square((0.0, 0.0), 0.5), vec![])], &at(""), "encloses 1.00 m^2");
        let long: Ring = (0..=600)
            .map(|k| core::f64::consts::TAU * f64::from(k % 600) / 600.0)
            .map(|angle| (500.0 * libm::sin(angle), 500.0 * libm::cos(angle)))
            .collect();
        refused(&[patch(long, vec![])], &at(""), "601 corners");
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
}
