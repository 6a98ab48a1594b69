//! One flight's wind as a plain table: eastward and northward parts, linear between heights.

use crate::lanes::{Lane, cell};

/// A wind that depends on height alone.
#[derive(Debug, Clone, PartialEq)]
pub struct WindTable {
    /// (height above ground in m, wind towards east in m/s, wind towards north in m/s), rising.
    nodes: Vec<[f64; 3]>,
    /// What lies above each node.
    pieces: Vec<Piece<f64>>,
    /// For each stretch of [`STRETCH_M`], the last node at or below its foot: where the search begins.
    first: Vec<u16>,
    strongest_m_s: f64,
    /// Per piece, the largest change per metre in it and above.
    steepest_per_s: Vec<f64>,
}

/// A linear piece of the table, from its foot to its top.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece<L> {
    /// Where it begins, m.
    pub foot_m: L,
    /// Where the next one begins, m.
    pub top_m: L,
    /// Towards east and north at the foot, m/s.
    pub wind_m_s: [L; 2],
    /// Change per metre.
    pub slope_per_s: [L; 2],
}

impl<L: Lane> Piece<L> {
    /// Wind towards east and north at a height in it, m/s; held below its foot.
    #[inline(always)]
    pub fn at(&self, height_m: L) -> (L, L) {
        let d = (height_m - self.foot_m).max(L::splat(0.0));
        (self.wind_m_s[0] + self.slope_per_s[0] * d, self.wind_m_s[1] + self.slope_per_s[1] * d)
    }
}

/// Height of a stretch, m.
const STRETCH_M: f64 = 32.0;
/// Most stretches; above them the search begins at the last one.
const STRETCHES: usize = 128;

impl WindTable {
    /// From rising nodes (height, towards east, towards north). An empty list is calm air.
    pub fn new(nodes: Vec<[f64; 3]>) -> Self {
        let nodes = if nodes.is_empty() { vec![[0.0; 3]] } else { nodes };
        let piece = |k: usize| {
            let [foot_m, east, north] = nodes[k];
            let (top_m, slope_per_s) = match nodes.get(k + 1) {
                Some(next) => {
                    let d = next[0] - foot_m;
                    (next[0], [(next[1] - east) / d, (next[2] - north) / d])
                }
                None => (f64::INFINITY, [0.0; 2]),
            };
            Piece { foot_m, top_m, wind_m_s: [east, north], slope_per_s }
        };
        let pieces: Vec<Piece<f64>> = (0..nodes.len()).map(piece).collect();
        let stretches = ((nodes[nodes.len() - 1][0] / STRETCH_M) as usize + 1).min(STRETCHES);
        let mut k = 0;
        let first = (0..stretches)
            .map(|s| {
                while pieces[k].top_m <= s as f64 * STRETCH_M {
                    k += 1;
                }
                k as u16
            })
            .collect();
        let size = |[east, north]: [f64; 2]| (east * east + north * north).sqrt();
        let strongest_m_s = pieces.iter().map(|piece| size(piece.wind_m_s)).fold(0.0, f64::max);
        let mut steepest_per_s: Vec<f64> = pieces.iter().map(|piece| size(piece.slope_per_s)).collect();
        for k in (1..steepest_per_s.len()).rev() {
            steepest_per_s[k - 1] = steepest_per_s[k - 1].max(steepest_per_s[k]);
        }
        Self { nodes, pieces, first, strongest_m_s, steepest_per_s }
    }

    /// The strongest wind at any height, m/s.
    pub fn strongest_m_s(&self) -> f64 {
        self.strongest_m_s
    }

    /// The fastest change of the wind from a height upwards, m/s per metre.
    pub fn steepest_above_per_s(&self, height_m: f64) -> f64 {
        self.steepest_per_s[self.segment(height_m)]
    }

    /// The same wind at every height.
    pub fn uniform(east_m_s: f64, north_m_s: f64) -> Self {
        Self::new(vec![[0.0, east_m_s, north_m_s]])
    }

    /// The table's rows: height above ground, towards east, towards north.
    pub fn nodes(&self) -> &[[f64; 3]] {
        &self.nodes
    }

    /// The last node at or below a height; the first one where the height is below all.
    #[inline(always)]
    pub fn segment(&self, height_m: f64) -> usize {
        let stretch = cell(height_m * (1.0 / STRETCH_M), self.first.len() - 1);
        let mut k = usize::from(self.first[stretch]);
        // The last piece has no top.
        while self.pieces[k].top_m <= height_m && k + 1 < self.pieces.len() {
            k += 1;
        }
        k
    }

    /// Wind towards east and north at a height. Held below the first and above the last node.
    #[inline(always)]
    pub fn at(&self, height_m: f64) -> (f64, f64) {
        self.pieces[self.segment(height_m)].at(height_m)
    }

    /// The piece that holds a height, looked for from another one, with its number.
    #[inline(always)]
    pub fn piece_from(&self, near: usize, height_m: f64) -> (usize, &Piece<f64>) {
        let last = self.pieces.len() - 1;
        let mut k = near.min(last);
        while k > 0 && height_m < self.pieces[k].foot_m {
            k -= 1;
        }
        while k < last && height_m >= self.pieces[k].top_m {
            k += 1;
        }
        (k, &self.pieces[k])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Nodes close together, on both sides of the stretches by which the search begins, and far above the last of them.
    #[test]
    fn linear_between_nodes_and_held_beyond() {
        let heights = [2.0, 5.0, 31.9, 32.0, 33.0, 64.5, 900.0, 4095.0, 4096.5, 4200.0, 9000.0];
        let nodes: Vec<[f64; 3]> =
            heights.iter().enumerate().map(|(k, z)| [*z, (k * k) as f64, -3.0 * k as f64]).collect();
        let table = WindTable::new(nodes.clone());
        assert_eq!(table.nodes(), nodes);
        for (k, w) in nodes.windows(2).enumerate() {
            for share in [0.0, 0.25, 0.9] {
                let z = w[0][0] + share * (w[1][0] - w[0][0]);
                let (east, north) = table.at(z);
                assert_eq!(table.segment(z), k, "{z}");
                assert!((east - (w[0][1] + share * (w[1][1] - w[0][1]))).abs() < 1e-9, "{z}: {east}");
                assert!((north - (w[0][2] + share * (w[1][2] - w[0][2]))).abs() < 1e-9, "{z}: {north}");
            }
        }
        for (z, k) in [(-7.0, 0), (1.0, 0), (9000.0, 10), (30_000.0, 10)] {
            assert_eq!((table.segment(z), table.at(z)), (k, (nodes[k][1], nodes[k][2])), "{z}");
        }
        assert_eq!(WindTable::uniform(3.0, -4.0).at(1234.0), (3.0, -4.0));
        assert_eq!(WindTable::new(Vec::new()).at(10.0), (0.0, 0.0));
        let table = WindTable::new(vec![[0.0, 3.0, 4.0], [10.0, 3.0, -1.0], [40.0, -6.0, 11.0]]);
        assert_eq!(table.strongest_m_s(), 157.0_f64.sqrt());
        assert_eq!([-1.0, 9.0, 10.0, 50.0].map(|z| table.steepest_above_per_s(z)), [0.5, 0.5, 0.5, 0.0]);
        let table = WindTable::new(vec![[0.0, 0.0, 0.0], [1.0, 6.0, 8.0], [40.0, 6.0, -31.0]]);
        assert_eq!([0.5, 1.0, 39.0].map(|z| table.steepest_above_per_s(z)), [10.0, 1.0, 1.0]);
    }
}
