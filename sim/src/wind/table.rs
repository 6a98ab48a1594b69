//! One flight's wind as a plain table: eastward and northward parts, linear between heights.

/// A wind that depends on height alone.
#[derive(Debug, Clone, PartialEq)]
pub struct WindTable {
    /// (height above ground in m, wind towards east in m/s, wind towards north in m/s), rising.
    nodes: Vec<[f64; 3]>,
    /// Change per metre above each node.
    slopes: Vec<[f64; 2]>,
    /// For each stretch of [`STRETCH_M`], the last node at or below its foot: where the search begins.
    first: Vec<u16>,
}

/// Height of a stretch, m.
const STRETCH_M: f64 = 32.0;
/// Most stretches; above them the search begins at the last one.
const STRETCHES: usize = 128;

impl WindTable {
    /// From rising nodes (height, towards east, towards north). An empty list is calm air.
    pub fn new(nodes: Vec<[f64; 3]>) -> Self {
        let nodes = if nodes.is_empty() { vec![[0.0; 3]] } else { nodes };
        let mut slopes: Vec<[f64; 2]> = nodes
            .windows(2)
            .map(|w| {
                let d = w[1][0] - w[0][0];
                [(w[1][1] - w[0][1]) / d, (w[1][2] - w[0][2]) / d]
            })
            .collect();
        slopes.push([0.0; 2]);
        let top = nodes[nodes.len() - 1][0];
        let stretches = ((top / STRETCH_M) as usize + 1).min(STRETCHES);
        let mut k = 0;
        let first = (0..stretches)
            .map(|s| {
                while k + 1 < nodes.len() && nodes[k + 1][0] <= s as f64 * STRETCH_M {
                    k += 1;
                }
                k as u16
            })
            .collect();
        Self { nodes, slopes, first }
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
        // A cast of a negative number or of NaN gives 0.
        let stretch = ((height_m * (1.0 / STRETCH_M)) as usize).min(self.first.len() - 1);
        let mut k = usize::from(self.first[stretch]);
        while k + 1 < self.nodes.len() && self.nodes[k + 1][0] <= height_m {
            k += 1;
        }
        k
    }

    /// Wind towards east and north at a height. Held below the first and above the last node.
    #[inline(always)]
    pub fn at(&self, height_m: f64) -> (f64, f64) {
        let k = self.segment(height_m);
        let n = &self.nodes[k];
        let d = (height_m - n[0]).max(0.0);
        (n[1] + self.slopes[k][0] * d, n[2] + self.slopes[k][1] * d)
    }
}
