//! Outlines of a set of grid cells, as polygons a map can draw.

/// A connected patch: rings of (metres east, metres north), the first point repeated at the end.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Polygon {
    /// Outer edge, counter-clockwise seen from above.
    pub exterior: Vec<(f64, f64)>,
    /// Gaps inside it, each clockwise.
    pub holes: Vec<Vec<(f64, f64)>>,
}

/// East, north, west, south: one bit for each direction in which an edge leaves a corner.
const DIRECTIONS: [u8; 4] = [1, 2, 4, 8];
const NOT_ON_PATH: u32 = u32::MAX;

/// The outlines of `cells` (east index, north index) with edges of `cell_m`.
///
/// Each patch of cells that share an edge becomes one polygon; patches that meet in a corner stay apart.
/// Every ring is simple: it passes no corner twice, so that the result is valid GeoJSON (RFC 7946).
/// Needs memory in proportion to the box around the cells.
pub(super) fn trace(cells: &[(i32, i32)], cell_m: f64) -> Vec<Polygon> {
    let Some(&first) = cells.first() else {
        return Vec::new();
    };
    let (mut low, mut high) = (first, first);
    for &(east, north) in cells {
        low = (low.0.min(east), low.1.min(north));
        high = (high.0.max(east), high.1.max(north));
    }
    // One empty cell all round spares every test for the border; one more holds the last corner.
    let stride = high.0.abs_diff(low.0) as usize + 4;
    let rows = high.1.abs_diff(low.1) as usize + 4;
    let place = |cell: (i32, i32)| (cell.1.abs_diff(low.1) as usize + 1) * stride + cell.0.abs_diff(low.0) as usize + 1;
    let mut open = vec![false; stride * rows];
    for &cell in cells {
        open[place(cell)] = true;
    }
    let mut tracer = Tracer {
        stride,
        inside: open.clone(),
        exits: vec![0; stride * rows],
        position: vec![NOT_ON_PATH; stride * rows],
    };
    let metres = |corner: usize| {
        let east = f64::from(low.0) + (corner % stride) as f64 - 1.0;
        let north = f64::from(low.1) + (corner / stride) as f64 - 1.0;
        (east * cell_m, north * cell_m)
    };
    let mut polygons = Vec::new();
    for &cell in cells {
        let start = place(cell);
        if !open[start] {
            continue;
        }
        let mut polygon = Polygon::default();
        for ring in tracer.rings(&patch(start, stride, &mut open)) {
            let points = ring.corners.iter().map(|&corner| metres(corner)).collect();
            if ring.counter_clockwise {
                polygon.exterior = points;
            } else {
                polygon.holes.push(points);
            }
        }
        polygons.push(polygon);
    }
    polygons
}

/// All cells connected to `start` by edges; takes them out of `open`.
fn patch(start: usize, stride: usize, open: &mut [bool]) -> Vec<usize> {
    let mut found = vec![start];
    open[start] = false;
    let mut next = 0;
    while let Some(&cell) = found.get(next) {
        next += 1;
        for neighbour in [cell + 1, cell + stride, cell - 1, cell - stride] {
            if open[neighbour] {
                open[neighbour] = false;
                found.push(neighbour);
            }
        }
    }
    found
}

struct Ring {
    corners: Vec<usize>,
    counter_clockwise: bool,
}

/// A corner has the index of the cell to its north-east.
struct Tracer {
    stride: usize,
    inside: Vec<bool>,
    exits: Vec<u8>,
    position: Vec<u32>,
}

impl Tracer {
    /// The rings around one patch. Edges run with the patch on their left, so outer rings come out
    /// counter-clockwise and holes clockwise by themselves.
    fn rings(&mut self, patch: &[usize]) -> Vec<Ring> {
        let stride = self.stride;
        let mut starts = Vec::new();
        for &cell in patch {
            let sides = [
                (cell - stride, cell),
                (cell + 1, cell + 1),
                (cell + stride, cell + stride + 1),
                (cell - 1, cell + stride),
            ];
            for ((neighbour, corner), direction) in sides.into_iter().zip(DIRECTIONS) {
                if !self.inside[neighbour] {
                    self.exits[corner] |= direction;
                    starts.push(corner);
                }
            }
        }
        let mut rings = Vec::new();
        for start in starts {
            while self.exits[start] != 0 {
                self.walk(start, &mut rings);
            }
        }
        rings
    }

    /// Follows edges from a corner until none is left. Whenever the path meets itself, the loop just
    /// closed is cut off as a ring of its own; as many edges enter a corner as leave it, so the path ends
    /// where it began, with nothing left over.
    fn walk(&mut self, start: usize, rings: &mut Vec<Ring>) {
        let mut path = vec![start];
        self.position[start] = 0;
        let mut at = start;
        while self.exits[at] != 0 {
            let bit = self.exits[at].trailing_zeros();
            self.exits[at] &= !(1 << bit);
            at = match bit {
                0 => at + 1,
                1 => at + self.stride,
                2 => at - 1,
                _ => at - self.stride,
            };
            let met = self.position[at];
            if met == NOT_ON_PATH {
                self.position[at] = path.len() as u32;
                path.push(at);
            } else {
                let closed = path.split_off(met as usize);
                for &corner in &closed {
                    self.position[corner] = NOT_ON_PATH;
                }
                rings.push(self.ring(&closed));
                self.position[at] = met;
                path.push(at);
            }
        }
        for corner in path {
            self.position[corner] = NOT_ON_PATH;
        }
    }

    /// Keeps the corners where the loop turns, repeats the first at the end, and finds its sense.
    fn ring(&self, closed: &[usize]) -> Ring {
        let before = closed.iter().cycle().skip(closed.len().saturating_sub(1));
        let after = closed.iter().cycle().skip(1);
        let mut corners = Vec::new();
        // Twice the enclosed area by the shoelace formula, in cells.
        let mut twice_area = 0i64;
        for ((&before, &corner), &after) in before.zip(closed).zip(after) {
            let (east, north) = self.split(corner);
            let (next_east, next_north) = self.split(after);
            twice_area += east * next_north - next_east * north;
            if corner.wrapping_sub(before) != after.wrapping_sub(corner) {
                corners.push(corner);
            }
        }
        corners.extend(corners.first().copied());
        Ring { corners, counter_clockwise: twice_area > 0 }
    }

    fn split(&self, corner: usize) -> (i64, i64) {
        ((corner % self.stride) as i64, (corner / self.stride) as i64)
    }
}

#[cfg(test)]
mod tests {
    use super::super::sampler::Sampler;
    use super::*;

    /// Signed area by the shoelace formula.
    fn area(ring: &[(f64, f64)]) -> f64 {
        let pairs = ring.iter().zip(ring.iter().skip(1));
        0.5 * pairs.map(|(a, b)| a.0 * b.1 - b.0 * a.1).sum::<f64>()
    }

    #[test]
    fn one_cell() {
        let square = vec![(-2.0, 6.0), (0.0, 6.0), (0.0, 8.0), (-2.0, 8.0), (-2.0, 6.0)];
        let outline = trace(&[(-1, 3)], 2.0);
        assert_eq!(outline.len(), 1);
        assert_eq!((&outline[0].exterior, outline[0].holes.len()), (&square, 0));
        assert!(trace(&[], 2.0).is_empty());
    }

    #[test]
    fn a_frame_has_a_hole() {
        let cells: Vec<(i32, i32)> =
            (0..3).flat_map(|east| (0..3).map(move |north| (east, north))).filter(|&cell| cell != (1, 1)).collect();
        let outline = trace(&cells, 1.0);
        assert_eq!(outline.len(), 1);
        assert_eq!(area(&outline[0].exterior), 9.0);
        assert_eq!(outline[0].holes.iter().map(|hole| area(hole)).collect::<Vec<_>>(), vec![-1.0]);
        // Straight runs have no points in between.
        assert_eq!((outline[0].exterior.len(), outline[0].holes[0].len()), (5, 5));
    }

    #[test]
    fn patches_that_meet_in_a_corner_stay_apart() {
        assert_eq!(trace(&[(0, 0), (1, 1)], 1.0).len(), 2);
    }

    /// Random cells hold every case of touching corners: rings are simple, run the right way round and
    /// enclose as much as the cells cover.
    #[test]
    fn random_cells() {
        let mut sampler = Sampler(1);
        for density in [0.2, 0.5, 0.6, 0.8, 0.95] {
            let cells: Vec<(i32, i32)> = (-20..20)
                .flat_map(|east| (-20..20).map(move |north| (east, north)))
                .filter(|_| sampler.uniform() < density)
                .collect();
            let mut covered = 0.0;
            for polygon in trace(&cells, 1.0) {
                assert!(area(&polygon.exterior) > 0.0);
                covered += area(&polygon.exterior);
                for hole in &polygon.holes {
                    assert!(area(hole) < 0.0);
                    covered += area(hole);
                }
                for ring in polygon.holes.iter().chain([&polygon.exterior]) {
                    assert_eq!(ring.first(), ring.last());
                    let mut corners: Vec<(i32, i32)> = ring.iter().skip(1).map(|p| (p.0 as i32, p.1 as i32)).collect();
                    let all = corners.len();
                    corners.sort_unstable();
                    corners.dedup();
                    assert_eq!(corners.len(), all);
                }
            }
            assert_eq!(covered, cells.len() as f64);
        }
    }
}
