//! A value against Mach number, tabulated for the hot loop.

use crate::lanes::{Lane, cell, index};

/// Steps of the grid per unit of Mach number.
const STEPS_PER_MACH: f64 = 100.0;

/// No table reaches further: a guard on memory, far above any bound of the model.
const LARGEST_END: f64 = 10.0;

/// A value against Mach number on a uniform grid of 0.01, linear between grid points and held beyond
/// both ends.
///
/// Kinks of the source that fall between two grid points are rounded off over 0.01.
#[derive(Clone, Debug, PartialEq)]
pub struct MachTable {
    /// Value at the left of each step and its change over the step: one look-up reads both.
    steps: Vec<[f64; 2]>,
    last: usize,
    end: f64,
}

impl MachTable {
    /// Tabulates a function from Mach 0 up to `end`.
    pub fn from_fn(end: f64, value: impl Fn(f64) -> f64) -> Self {
        // One step at least, also when the end is not a number.
        let end = if end > 1.0 / STEPS_PER_MACH { end.min(LARGEST_END) } else { 1.0 / STEPS_PER_MACH };
        // `ceil` is exact, hence the same everywhere.
        let count = (end * STEPS_PER_MACH).ceil() as usize;
        let mut steps = Vec::with_capacity(count);
        let mut left = value(0.0);
        for i in 1..=count {
            let right = value(i as f64 / STEPS_PER_MACH);
            steps.push([left, right - left]);
            left = right;
        }
        Self { steps, last: count - 1, end }
    }

    /// Tabulates (Mach, value) nodes, linear between them and held beyond them, up to `end`.
    pub fn from_nodes(nodes: &[(f64, f64)], end: f64) -> Self {
        let mut sorted = nodes.to_vec();
        sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
        Self::from_fn(end, |mach| interpolate(&sorted, mach))
    }

    /// One value at every Mach number.
    pub fn constant(value: f64, end: f64) -> Self {
        Self::from_fn(end, |_| value)
    }

    /// The value at a Mach number. A number that is not one counts as Mach 0, so nothing spreads from it.
    #[inline]
    pub fn at(&self, mach: f64) -> f64 {
        // `max` before `min`: both turn into one instruction, and NaN ends as 0.
        let position = mach.max(0.0).min(self.end) * STEPS_PER_MACH;
        let index = cell(position, self.last);
        match self.steps.get(index) {
            Some([left, change]) => left + (position - index as f64) * change,
            None => 0.0,
        }
    }

    /// Left value and change of a step; beyond the table its last value, which does not change.
    fn step(&self, step: usize) -> [f64; 2] {
        let [left, change] = self.steps[step.min(self.last)];
        if step <= self.last { [left, change] } else { [left + change, 0.0] }
    }

    /// Where the table ends; beyond it the last value is held.
    pub fn end(&self) -> f64 {
        self.end
    }
}

/// The tables of one airframe side by side, so that one look-up serves all of them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MachRows {
    /// Per step the left value and the change of each table.
    rows: Vec<[[f64; 2]; 3]>,
}

impl MachRows {
    /// Of three tables.
    pub fn new(tables: [&MachTable; 3]) -> Self {
        let count = tables.iter().map(|t| t.last).max().unwrap_or(0) + 1;
        let row = |k: usize| tables.map(|t| t.step(k));
        // One step on which nothing changes any more: what is faster is held there.
        Self { rows: (0..=count).map(row).collect() }
    }

    /// The values of some of the tables at a Mach number in each lane. What is no number counts as Mach 0.
    #[inline(always)]
    pub fn at<const K: usize, L: Lane>(&self, mach: L, tables: [usize; K]) -> [L; K] {
        let position = mach.max(L::splat(0.0)) * L::splat(STEPS_PER_MACH);
        // Down to the step; on a grid point either one will do.
        let step = (position - L::splat(0.5)).nearest().min(L::splat(self.rows.len().saturating_sub(1) as f64));
        let (indices, part) = (step.indices(), position - step);
        let none = [[0.0; 2]; 3];
        let row = |lane: usize| self.rows.get(index(&indices, lane)).unwrap_or(&none);
        let mut values = [part; K];
        for (value, table) in values.iter_mut().zip(tables) {
            let [left, change] = L::gather(|lane| row(lane)[table]);
            *value = left + part * change;
        }
        values
    }
}

/// Linear between nodes sorted by abscissa, held beyond them; 0 when there are none.
pub fn interpolate(sorted: &[(f64, f64)], x: f64) -> f64 {
    let right = sorted.partition_point(|node| node.0 <= x);
    let left_node = right.checked_sub(1).and_then(|left| sorted.get(left));
    match (left_node, sorted.get(right)) {
        // `partition_point` puts x strictly left of the right node, so the step is never empty.
        (Some(&(x0, y0)), Some(&(x1, y1))) => y0 + (y1 - y0) * ((x - x0) / (x1 - x0)),
        (Some(&(_, y)), None) | (None, Some(&(_, y))) => y,
        (None, None) => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn linear_between_and_held_beyond() {
        let table = MachTable::from_nodes(&[(0.5, 2.0), (0.2, 1.0), (0.9, 0.0)], 0.9);
        for (mach, want) in [
            (-1.0, 1.0),
            (0.0, 1.0),
            (0.2, 1.0),
            (0.35, 1.5),
            (0.355, 1.0 + 0.155 / 0.3),
            (0.5, 2.0),
            (0.7, 1.0),
            (0.9, 0.0),
            (7.0, 0.0),
            (f64::INFINITY, 0.0),
            (f64::NAN, 1.0),
        ] {
            assert!((table.at(mach) - want).abs() < 1e-13, "{mach}: {} {want}", table.at(mach));
        }
        assert_eq!(table.end(), 0.9);
    }

    #[test]
    fn constant_is_exact_everywhere() {
        let table = MachTable::constant(0.45, 2.0);
        for i in 0..3000 {
            assert_eq!(table.at(i as f64 * 1e-3), 0.45);
        }
    }

    #[test]
    fn odd_ends_are_kept() {
        for end in [0.01, 0.07, 0.29, 0.955, 1.234] {
            let table = MachTable::from_fn(end, |mach| mach);
            assert_eq!(table.end(), end);
            assert!((table.at(end) - end).abs() < 1e-15);
            assert!((table.at(5.0) - end).abs() < 1e-15);
        }
        assert!(MachTable::from_fn(f64::NAN, |mach| mach).end() > 0.0);
        assert_eq!(MachTable::from_nodes(&[], 1.0).at(0.5), 0.0);
    }

    #[test]
    fn doubled_node_steps() {
        let nodes = [(0.0, 1.0), (0.5, 1.0), (0.5, 3.0), (1.0, 3.0)];
        assert_eq!(interpolate(&nodes, 0.499), 1.0);
        assert_eq!(interpolate(&nodes, 0.5), 3.0);
    }
}
