//! The smallest region that holds a stated share of the landings, whatever the cloud's shape.
//!
//! An ellipse suits a normal cloud; several delays, a turning wind or a failing canopy make bananas and
//! islands. Here the counts on the grid are smoothed, cells are taken from the densest downwards until
//! they hold the share, and their edges are traced (highest-density region: Hyndman, The American
//! Statistician 50, 1996, from memory).

use std::collections::BTreeMap;

use super::cloud::Covariance;
use super::outline::{self, Polygon};

/// Covariance of the kernel relative to the normal-reference rule, see [`Density::new`].
const NARROWING: f64 = 0.5;

/// What one landing adds to the density of its own cell: the weights of a kernel are not normed.
const PEAK: f64 = 1.0;

/// The kernel is cut off at this many standard deviations, where it has fallen to 1 % of its peak.
const KERNEL_REACH: f64 = 3.0;

/// Multiplications one smoothing may cost (some 30 ms). Beyond, cells are joined two by two: this takes
/// a grid that is far finer than the bandwidth, or one far landing that makes the box huge.
const WORK_MAX: f64 = 1e8;

/// Cells the smoothed grid may have, for the sake of memory.
const GRID_MAX: f64 = 1e6;

/// A region made of grid cells.
#[derive(Clone, Debug, PartialEq)]
pub struct Region {
    /// The share that was asked for.
    pub share_asked: f64,
    /// The share of the flights in the cloud that really landed in these cells, at least that asked for.
    pub share_held: f64,
    /// The share of new flights to be expected in these cells: flights that would lie inside even if
    /// they had not raised the density of their own cell (left out one at a time). Against fresh
    /// flights it was right to 0.5 percentage points where `share_held` was 3 too high (1000 flights).
    pub share_new: f64,
    /// Area of all cells, in square metres.
    pub area_m2: f64,
    /// Edge of the cells: that of the cloud, or a power of two times that where the cloud was too wide.
    pub cell_m: f64,
    /// The cells (east index, north index) in ascending order; cell (0, 0) begins at the pad.
    pub cells: Vec<(i32, i32)>,
    /// Their outline.
    pub outline: Vec<Polygon>,
}

/// A smoothed landing cloud, from which regions for any share are cut.
#[derive(Clone, Debug, PartialEq)]
pub struct Density {
    cell_m: f64,
    flights: u64,
    /// Densest first; equal ones in order of their index.
    cells: Vec<Cell>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Cell {
    density: f64,
    index: (i32, i32),
    count: u32,
}

impl Density {
    /// Smooths counts with a normal kernel whose covariance is n^(-1/3) / 2 times that of the cloud.
    ///
    /// n^(-1/3) is the normal-reference rule in two dimensions (Scott, Multivariate Density Estimation,
    /// 1992, from memory; Silverman's factor is 1 there), best for one normal cloud. Half of that is
    /// taken because a bent cloud, or one with several centres, has a covariance much wider than its
    /// features: for a banana of 10,000 flights the full rule makes the 99 % region 17 % larger, while
    /// a quarter of it makes ragged edges (measured). One landing, or several in one place, are not smoothed.
    ///
    /// `None` if there are no counts.
    pub fn new(
        counts: &BTreeMap<(i32, i32), u32>,
        cell_m: f64,
        covariance: Option<Covariance>,
    ) -> Option<Self> {
        let flights: u64 = counts.values().map(|&count| u64::from(count)).sum();
        if flights == 0 {
            return None;
        }
        let shrink = NARROWING / libm::cbrt(flights as f64);
        // At 31 halvings every index is 0 or -1, which fits any limit.
        for halvings in 0..31 {
            let cell_m = cell_m * f64::from(1u32 << halvings);
            let kernel = Kernel::new(covariance, shrink / (cell_m * cell_m));
            let grid = Frame::around(counts, halvings, &kernel);
            if halvings == 30 || grid.affordable(&kernel) {
                let cells = grid.smoothed(counts, &kernel);
                return Some(Self {
                    cell_m,
                    flights,
                    cells,
                });
            }
        }
        None
    }

    /// The densest cells that together hold at least `share` of the flights.
    ///
    /// The flights counted in the region are those that shaped it, so it holds somewhat fewer of any
    /// *new* flights: see [`Region::share_new`].
    pub fn region(&self, share: f64) -> Region {
        let target = share * self.flights as f64;
        let mut held = 0u64;
        let mut cells = Vec::new();
        for cell in &self.cells {
            if held as f64 >= target {
                break;
            }
            held += u64::from(cell.count);
            cells.push(cell.index);
        }
        let faintest = self.cells[..cells.len()].last().map_or(0.0, |c| c.density);
        let without_itself: u64 = self.cells[..cells.len()]
            .iter()
            .take_while(|cell| cell.density - PEAK >= faintest)
            .map(|cell| u64::from(cell.count))
            .sum();
        cells.sort_unstable();
        Region {
            share_asked: share,
            share_held: held as f64 / self.flights as f64,
            share_new: without_itself as f64 / self.flights as f64,
            area_m2: cells.len() as f64 * self.cell_m * self.cell_m,
            cell_m: self.cell_m,
            outline: outline::trace(&cells, self.cell_m),
            cells,
        }
    }
}

/// A normal kernel with any covariance as two passes of a one-dimensional one: along one axis of the
/// grid, then along a slanted line whose offsets are rounded to cells. (If x = s y + e with independent
/// y and e, then x and y are jointly normal with any covariance wanted.) The line follows the axis of the
/// greater variance, so that it leans by at most 45 degrees and misses no row.
struct Kernel {
    across: Vec<Tap>,
    along: Vec<Tap>,
}

/// One term of a pass: the cell so far east and north contributes with this weight.
struct Tap {
    east: isize,
    north: isize,
    weight: f64,
}

impl Kernel {
    fn new(covariance: Option<Covariance>, shrink: f64) -> Self {
        let (east, north, cross) = covariance.map_or((0.0, 0.0, 0.0), |c| {
            (c.east_m2 * shrink, c.north_m2 * shrink, c.cross_m2 * shrink)
        });
        let upright = north >= east;
        let (greater, lesser) = if upright { (north, east) } else { (east, north) };
        let slant = if greater > 0.0 { cross / greater } else { 0.0 };
        let tap = |step: isize, aside: isize, weight: f64| {
            let (east, north) = if upright { (aside, step) } else { (step, aside) };
            Tap {
                east,
                north,
                weight,
            }
        };
        Self {
            across: weights((lesser - slant * cross).max(0.0))
                .map(|(step, weight)| tap(0, step, weight))
                .collect(),
            along: weights(greater)
                .map(|(step, weight)| tap(step, (slant * step as f64).round() as isize, weight))
                .collect(),
        }
    }

    fn taps(&self) -> usize {
        self.across.len() + self.along.len()
    }

    /// How far it reaches east (and as far west), and north.
    fn reach(&self) -> (usize, usize) {
        let farthest = |taps: &[Tap]| {
            taps.last().map_or((0, 0), |tap| {
                (tap.east.unsigned_abs(), tap.north.unsigned_abs())
            })
        };
        let (across, along) = (farthest(&self.across), farthest(&self.along));
        (across.0 + along.0, across.1 + along.1)
    }
}

/// Offsets and weights of a one-dimensional normal kernel; only ratios matter, so they are not normed.
fn weights(variance: f64) -> impl Iterator<Item = (isize, f64)> {
    let reach = (KERNEL_REACH * variance.sqrt()).floor() as isize;
    (-reach..=reach).map(move |step| {
        let weight = if step == 0 {
            1.0
        } else {
            libm::exp(-0.5 * (step * step) as f64 / variance)
        };
        (step, weight)
    })
}

/// The box around all counts plus the reach of the kernel.
struct Frame {
    halvings: u32,
    west: i64,
    south: i64,
    columns: usize,
    rows: usize,
}

impl Frame {
    fn around(counts: &BTreeMap<(i32, i32), u32>, halvings: u32, kernel: &Kernel) -> Self {
        let (mut low, mut high) = ((i32::MAX, i32::MAX), (i32::MIN, i32::MIN));
        for cell in counts.keys() {
            let (east, north) = (cell.0 >> halvings, cell.1 >> halvings);
            low = (low.0.min(east), low.1.min(north));
            high = (high.0.max(east), high.1.max(north));
        }
        let (reach_east, reach_north) = kernel.reach();
        Self {
            halvings,
            west: i64::from(low.0) - reach_east as i64,
            south: i64::from(low.1) - reach_north as i64,
            columns: high.0.abs_diff(low.0) as usize + 1 + 2 * reach_east,
            rows: high.1.abs_diff(low.1) as usize + 1 + 2 * reach_north,
        }
    }

    fn affordable(&self, kernel: &Kernel) -> bool {
        let cells = self.columns as f64 * self.rows as f64;
        cells <= GRID_MAX && cells * kernel.taps() as f64 <= WORK_MAX
    }

    /// Every cell with some density, densest first.
    fn smoothed(&self, counts: &BTreeMap<(i32, i32), u32>, kernel: &Kernel) -> Vec<Cell> {
        let mut held = vec![0u32; self.columns * self.rows];
        for (cell, &count) in counts {
            let east = (i64::from(cell.0 >> self.halvings) - self.west) as usize;
            let north = (i64::from(cell.1 >> self.halvings) - self.south) as usize;
            let held = &mut held[north * self.columns + east];
            *held = held.saturating_add(count);
        }
        let raw: Vec<f64> = held.iter().map(|&count| f64::from(count)).collect();
        let density = self.pass(&self.pass(&raw, &kernel.across), &kernel.along);
        let index = |place: usize| {
            let east = self.west + (place % self.columns) as i64;
            let north = self.south + (place / self.columns) as i64;
            (east as i32, north as i32)
        };
        let mut cells: Vec<Cell> = density
            .iter()
            .zip(&held)
            .enumerate()
            .filter(|&(_, (&density, _))| density > 0.0)
            .map(|(place, (&density, &count))| Cell {
                density,
                index: index(place),
                count,
            })
            .collect();
        cells.sort_unstable_by(|a, b| {
            b.density
                .total_cmp(&a.density)
                .then(a.index.cmp(&b.index))
        });
        cells
    }

    /// One pass of smoothing, whole rows at a time so that it runs at the speed of memory. Outside the
    /// frame there is nothing: it reaches as far as the kernel does.
    fn pass(&self, from: &[f64], taps: &[Tap]) -> Vec<f64> {
        let columns = self.columns;
        let empty: Vec<bool> = from
            .chunks_exact(columns)
            .map(|row| row.iter().all(|&value| value == 0.0))
            .collect();
        let mut to = vec![0.0; from.len()];
        for (row, out) in to.chunks_exact_mut(columns).enumerate() {
            for tap in taps {
                let Some(source) = row.checked_add_signed(tap.north) else {
                    continue;
                };
                if empty.get(source).copied().unwrap_or(true) {
                    continue;
                }
                let source = &from[source * columns..(source + 1) * columns];
                let aside = tap.east.unsigned_abs().min(columns);
                let (out, source) = if tap.east >= 0 {
                    (&mut out[..columns - aside], &source[aside..])
                } else {
                    (&mut out[aside..], &source[..columns - aside])
                };
                for (sum, value) in out.iter_mut().zip(source) {
                    *sum += tap.weight * value;
                }
            }
        }
        to
    }
}
