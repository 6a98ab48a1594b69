//! The smallest region that holds a stated share of the landings, whatever the cloud's shape.
//!
//! An ellipse suits a normal cloud; several delays, a turning wind or a failing canopy make bananas and
//! islands. Here the counts on the grid are smoothed, cells are taken from the densest downwards until
//! they hold the share, and their edges are traced (highest-density region: Hyndman, The American
//! Statistician 50, 1996, from memory).

use std::collections::BTreeMap;

use super::cloud::Covariance;
use super::outline::{self, Polygon};

/// Covariance of the kernel relative to the normal-reference rule, see `Density::new`.
const NARROWING: f64 = 0.5;

/// What one landing adds to the density of its own cell: the weights of a kernel are not normed.
const PEAK: f64 = 1.0;

/// The kernel is cut off at this many standard deviations, where it has fallen to 1 % of its peak.
const KERNEL_REACH: f64 = 3.0;

/// Multiplications one smoothing may cost (some 30 ms). Beyond, cells are joined two by two: this takes
/// a grid that is far finer than the bandwidth, or one far landing that makes the box huge.
const WORK_MAX: f64 = 1e8;

/// Standard deviation of the kernel, in cells, from which on a kernel is not even set up: the smoothing
/// would cost too much in any case.
const BANDWIDTH_MAX: f64 = 1000.0;

/// Cells to a standard deviation of the kernel where it is narrowest, at least: finer ones show nothing that the
/// smoothing has not blurred, and cost their square. Against cells as fine as the cloud's, areas of the regions of four
/// rockets are 0.2 to 1 % larger with 256 flights (one of them off by 2 %) and the same with 2048.
const CELLS_PER_BANDWIDTH: f64 = 2.0;

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
    /// they had not raised the density of their own cell (each left out in turn). Measured against
    /// fresh flights over 1,000 seeds of 1,024 flights: without a bias, and one of them off by 1.1 percentage
    /// points (standard deviation), where `share_held` is 1 to 3 too high; at 100,000 the two agree to 0.2.
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
    pub(super) fn new(counts: &BTreeMap<(i32, i32), u32>, cell_m: f64, covariance: Option<Covariance>) -> Option<Self> {
        let flights: u64 = counts.values().map(|&count| u64::from(count)).sum();
        if flights == 0 {
            return None;
        }
        let shrink = NARROWING / libm::cbrt(flights as f64);
        // At 31 halvings every index is 0 or -1, which fits any limit.
        let widest = covariance.map_or(0.0, |c| c.east_m2.max(c.north_m2)) * shrink;
        let fine_m = Passes::of(covariance, shrink).across.sqrt() / CELLS_PER_BANDWIDTH;
        for halvings in 0..31 {
            let cell_m = cell_m * f64::from(1u32 << halvings);
            if 2.0 * cell_m <= fine_m || widest.sqrt() > BANDWIDTH_MAX * cell_m {
                continue;
            }
            let kernel = Kernel::new(covariance, shrink / (cell_m * cell_m));
            let grid = Frame::around(counts, halvings, &kernel);
            if halvings == 30 || grid.affordable(&kernel) {
                let cells = grid.smoothed(counts, &kernel);
                return Some(Self { cell_m, flights, cells });
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
        let taken = &self.cells[..cells.len()];
        let faintest = taken.last().map_or(0.0, |cell| cell.density);
        let without_itself: u64 =
            taken.iter().take_while(|cell| cell.density - PEAK >= faintest).map(|cell| u64::from(cell.count)).sum();
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

/// The same covariance in the terms of the two passes, for one `shrink` times that of the cloud.
struct Passes {
    /// Whether the line of the second pass follows the north axis.
    upright: bool,
    /// Variance along the axis that the line follows.
    along: f64,
    /// Cells aside for each cell along.
    slant: f64,
    /// Variance of the first pass.
    across: f64,
}

impl Passes {
    fn of(covariance: Option<Covariance>, shrink: f64) -> Self {
        let (east, north, cross) =
            covariance.map_or((0.0, 0.0, 0.0), |c| (c.east_m2 * shrink, c.north_m2 * shrink, c.cross_m2 * shrink));
        let upright = north >= east;
        let (along, lesser) = if upright { (north, east) } else { (east, north) };
        let slant = if along > 0.0 { cross / along } else { 0.0 };
        Self { upright, along, slant, across: (lesser - slant * cross).max(0.0) }
    }
}

impl Kernel {
    fn new(covariance: Option<Covariance>, shrink: f64) -> Self {
        let Passes { upright, along, slant, across } = Passes::of(covariance, shrink);
        let tap = |step: isize, aside: isize, weight: f64| {
            let (east, north) = if upright { (aside, step) } else { (step, aside) };
            Tap { east, north, weight }
        };
        Self {
            across: weights(across).map(|(step, weight)| tap(0, step, weight)).collect(),
            along: weights(along)
                .map(|(step, weight)| tap(step, (slant * step as f64).round() as isize, weight))
                .collect(),
        }
    }

    fn taps(&self) -> usize {
        self.across.len() + self.along.len()
    }

    /// How far it reaches east (and as far west), and north.
    fn reach(&self) -> (usize, usize) {
        let farthest =
            |taps: &[Tap]| taps.last().map_or((0, 0), |tap| (tap.east.unsigned_abs(), tap.north.unsigned_abs()));
        let (across, along) = (farthest(&self.across), farthest(&self.along));
        (across.0 + along.0, across.1 + along.1)
    }
}

/// Offsets and weights of a one-dimensional normal kernel; only ratios matter, so they are not normed.
fn weights(variance: f64) -> impl Iterator<Item = (isize, f64)> {
    let reach = (KERNEL_REACH * variance.sqrt()).floor() as isize;
    (-reach..=reach).map(move |step| {
        let weight = if step == 0 { 1.0 } else { libm::exp(-0.5 * (step * step) as f64 / variance) };
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
            .map(|(place, (&density, &count))| Cell { density, index: index(place), count })
            .collect();
        cells.sort_unstable_by(|a, b| b.density.total_cmp(&a.density).then(a.index.cmp(&b.index)));
        cells
    }

    /// One pass of smoothing, whole rows at a time so that it runs at the speed of memory. Outside the
    /// frame there is nothing: it reaches as far as the kernel does.
    fn pass(&self, from: &[f64], taps: &[Tap]) -> Vec<f64> {
        let columns = self.columns;
        let empty: Vec<bool> = from.chunks_exact(columns).map(|row| row.iter().all(|&value| value == 0.0)).collect();
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

#[cfg(test)]
mod tests {
    use super::super::cloud::Cloud;
    use super::super::sampler::Sampler;
    use super::*;

    fn normal_cloud(flights: usize, cell_m: f64) -> Cloud {
        let mut sampler = Sampler(11);
        let mut cloud = Cloud::new(cell_m);
        for _ in 0..flights {
            let (a, b) = (sampler.normal(), sampler.normal());
            cloud.add(500.0 + 100.0 * a, 80.0 * a + 60.0 * b);
        }
        cloud
    }

    /// For a normal cloud the highest-density region is the ellipse: area 2 pi ln(1 / (1 - P)) times the
    /// root of the determinant, here 100 m by 60 m.
    #[test]
    fn normal_cloud_has_the_area_of_its_ellipse() {
        let cloud = normal_cloud(100_000, 4.0);
        let Some(density) = cloud.density() else {
            panic!("no density");
        };
        for share in [0.5, 0.9, 0.95, 0.99] {
            let region = density.region(share);
            let exact = -2.0 * core::f64::consts::PI * libm::log1p(-share) * 6000.0;
            assert!((region.area_m2 / exact - 1.0).abs() < 0.03, "{share} {}", region.area_m2 / exact);
            assert!(region.share_held >= share && region.share_held < share + 2e-3);
            assert!(region.share_new < region.share_held && region.share_new > share - 3e-3);
            assert_eq!(region.cell_m, 4.0);
            let held: u64 = region.cells.iter().filter_map(|cell| cloud.cells().get(cell)).map(|&n| u64::from(n)).sum();
            assert_eq!(held as f64 / 1e5, region.share_held);
        }
    }

    /// Two separate landing areas stay two: the ellipse would cover the empty middle.
    #[test]
    fn islands_stay_apart() {
        let mut sampler = Sampler(5);
        let mut cloud = Cloud::new(5.0);
        for flight in 0..5000 {
            let centre = if flight % 4 == 0 { 0.0 } else { 1500.0 };
            cloud.add(centre + 40.0 * sampler.normal(), 40.0 * sampler.normal());
        }
        let region = cloud.region(0.9);
        assert_eq!(region.map(|region| region.outline.len()), Some(2));
    }

    #[test]
    fn one_and_two_flights() {
        assert!(Cloud::new(10.0).region(0.9).is_none());
        let mut cloud = Cloud::new(10.0);
        cloud.add(-3.0, 4.0);
        let Some(one) = cloud.region(0.9) else {
            panic!("no region");
        };
        assert_eq!((one.cells.as_slice(), one.share_held, one.area_m2), (&[(-1, 0)][..], 1.0, 100.0));
        // One flight says nothing about the next.
        assert_eq!(one.share_new, 0.0);
        cloud.add(203.0, 104.0);
        let Some(two) = cloud.region(0.9) else {
            panic!("no region");
        };
        assert_eq!(two.share_held, 1.0);
        assert!(two.cells.contains(&(-1, 0)) && two.cells.contains(&(20, 10)));
        // A line: nothing is smeared across it.
        assert!(two.cells.len() < 60, "{}", two.cells.len());
    }

    #[test]
    fn many_flights_in_one_place_are_one_cell() {
        let mut cloud = Cloud::new(10.0);
        for _ in 0..1000 {
            cloud.add(55.0, 55.0);
        }
        assert_eq!(cloud.region(0.99).map(|region| region.cells), Some(vec![(5, 5)]));
    }

    /// One flight a thousand kilometres off makes the box huge: cells are joined, work stays bounded.
    #[test]
    fn a_far_flight_coarsens_the_grid() {
        let mut cloud = normal_cloud(1000, 4.0);
        cloud.add(1e6, -1e6);
        let Some(region) = cloud.region(0.99) else {
            panic!("no region");
        };
        assert!(region.cell_m > 4.0 && region.share_held >= 0.99);
    }

    #[test]
    fn no_share_is_no_cell_and_all_is_every_flight() {
        let cloud = normal_cloud(500, 4.0);
        let ends =
            [0.0, 1.0].map(|share| cloud.region(share).map(|region| (region.cells.is_empty(), region.share_held)));
        assert_eq!(ends, [Some((true, 0.0)), Some((false, 1.0))]);
    }

    /// A normal kernel by hand: e^(-1/2) at one standard deviation, cut off at three.
    #[test]
    fn kernel_weights() {
        let found: Vec<(isize, f64)> = weights(4.0).collect();
        assert_eq!(found.iter().map(|w| w.0).collect::<Vec<_>>(), (-6..=6).collect::<Vec<_>>());
        for (step, weight) in found {
            assert!((weight - libm::exp(-0.125 * (step * step) as f64)).abs() < 1e-15, "{step}");
        }
        assert_eq!(weights(0.0).collect::<Vec<_>>(), [(0, 1.0)]);
        assert_eq!(weights(0.1).count(), 1);
    }

    /// Whatever way the cloud lies, the two passes together have its covariance: the tails that are cut off take 2.7 %
    /// of a variance, and rounding to cells adds a twelfth of a cell.
    #[test]
    fn kernel_has_the_covariance_asked_for() {
        for (east_m2, north_m2, cross_m2) in
            [(900.0, 400.0, 0.0), (400.0, 900.0, 300.0), (900.0, 400.0, -350.0), (625.0, 625.0, 500.0)]
        {
            let kernel = Kernel::new(Some(Covariance { east_m2, north_m2, cross_m2 }), 0.25);
            let (mut east, mut north, mut cross) = (0.0, 0.0, 0.0);
            for taps in [&kernel.across, &kernel.along] {
                let whole: f64 = taps.iter().map(|t| t.weight).sum();
                let moment = |of: fn(&Tap) -> isize| taps.iter().map(|t| t.weight * of(t) as f64).sum::<f64>() / whole;
                east += moment(|t| t.east * t.east);
                north += moment(|t| t.north * t.north);
                cross += moment(|t| t.east * t.north);
            }
            for (found, want) in [(east, east_m2), (north, north_m2), (cross, cross_m2)] {
                assert!((found - 0.25 * want).abs() < 0.03 * 0.25 * want.abs() + 0.1, "{east} {north} {cross}");
            }
            assert_eq!(kernel.taps(), kernel.across.len() + kernel.along.len());
        }
    }

    /// The density of every cell is the sum of what each landing spreads there: nothing is lost at the edge of the box,
    /// nothing is counted twice, and cells come densest first.
    #[test]
    fn smoothing_is_a_sum_over_landings() {
        let counts = BTreeMap::from([((-3, 5), 2), ((-2, 5), 1), ((9, -4), 7)]);
        for halvings in [0, 1] {
            for (east_m2, north_m2, cross_m2) in [(2.0, 5.0, 1.5), (6.0, 2.0, -2.0), (0.0, 0.0, 0.0)] {
                let kernel = Kernel::new(Some(Covariance { east_m2, north_m2, cross_m2 }), 1.0);
                let mut want: BTreeMap<(i32, i32), (f64, u32)> = BTreeMap::new();
                for (cell, count) in &counts {
                    let place = (cell.0 >> halvings, cell.1 >> halvings);
                    want.entry(place).or_default().1 += count;
                    for a in &kernel.across {
                        for b in &kernel.along {
                            let (east, north) = ((a.east + b.east) as i32, (a.north + b.north) as i32);
                            let spread = want.entry((place.0 - east, place.1 - north)).or_default();
                            spread.0 += a.weight * b.weight * f64::from(*count);
                        }
                    }
                }
                let frame = Frame::around(&counts, halvings, &kernel);
                let cells = frame.smoothed(&counts, &kernel);
                assert_eq!(cells.len(), want.len());
                for cell in &cells {
                    let (density, count) = want[&cell.index];
                    assert!(
                        (cell.density - density).abs() < 1e-12 && cell.count == count,
                        "{cell:?} {density} {count}"
                    );
                }
                assert!(cells.windows(2).all(|w| w[0].density >= w[1].density));
                // The box is as large as it must be, and no larger by a whole row or column.
                let (mut low, mut high) = ((i32::MAX, i32::MAX), (i32::MIN, i32::MIN));
                for index in want.keys() {
                    low = (low.0.min(index.0), low.1.min(index.1));
                    high = (high.0.max(index.0), high.1.max(index.1));
                }
                assert_eq!((frame.west, frame.south), (i64::from(low.0), i64::from(low.1)));
                let size = ((high.0 - low.0) as usize + 1, (high.1 - low.1) as usize + 1);
                assert_eq!((frame.columns, frame.rows), size);
            }
        }
    }
}
