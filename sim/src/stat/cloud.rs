//! Where flights land: points in the plane of the pad, accumulated so that their order leaves no trace.

use std::collections::BTreeMap;

use super::ellipse::Ellipse;
use super::region::{Density, Region};

/// Positions are rounded to multiples of 2^-16 m (15 micrometres). Their squares are then integers as
/// well, and mean and covariance are exact, also for a narrow cloud far from the pad.
const SCALE: f64 = 65_536.0;

/// Positions beyond 2^20 m (1049 km, far outside the flat-earth model) are not placed. With this bound
/// the products in [`Cloud::covariance`] fit 128 bits up to 2^26 flights even if all are that far away.
const POSITION_MAX_M: f64 = 1_048_576.0;

/// With a smaller cell the index of the farthest position would not fit 32 bits.
const CELL_LEAST_M: f64 = 1e-3;
const CELL_MOST_M: f64 = 1e6;

/// Covariance of landing points about their mean, with n - 1 in the denominator.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Covariance {
    /// Variance of the east coordinate in square metres.
    pub east_m2: f64,
    /// Variance of the north coordinate in square metres.
    pub north_m2: f64,
    /// Covariance of the two in square metres.
    pub cross_m2: f64,
}

/// A landing cloud: exact sums for mean and ellipse, and counts on a square grid for the region.
#[derive(Clone, Debug, PartialEq)]
pub struct Cloud {
    cell_m: f64,
    flights: u64,
    unplaced: u64,
    east: i128,
    north: i128,
    east_east: i128,
    north_north: i128,
    east_north: i128,
    cells: BTreeMap<(i32, i32), u32>,
}

impl Cloud {
    /// An empty cloud on a grid of square cells with edges of `cell_m`; cell (0, 0) has the pad at its
    /// south-west corner. A size outside 1 mm to 1000 km makes no sense and is moved to the nearer end.
    pub fn new(cell_m: f64) -> Self {
        Self {
            // `clamp` alone would keep a NaN.
            cell_m: cell_m.max(CELL_LEAST_M).clamp(CELL_LEAST_M, CELL_MOST_M),
            flights: 0,
            unplaced: 0,
            east: 0,
            north: 0,
            east_east: 0,
            north_north: 0,
            east_north: 0,
            cells: BTreeMap::new(),
        }
    }

    /// Adds one landing, in metres east and north of the pad. One that is no number or more than 1048 km
    /// away must not occur; it is counted as unplaced.
    pub fn add(&mut self, east_m: f64, north_m: f64) {
        if !(east_m.abs() <= POSITION_MAX_M && north_m.abs() <= POSITION_MAX_M) {
            self.unplaced += 1;
            return;
        }
        let east = (east_m * SCALE).round() as i64 as i128;
        let north = (north_m * SCALE).round() as i64 as i128;
        self.flights += 1;
        self.east += east;
        self.north += north;
        self.east_east += east * east;
        self.north_north += north * north;
        self.east_north += east * north;
        // At most 2^20 m over 1 mm: fits 32 bits.
        let cell = |metres: f64| (metres / self.cell_m).floor() as i32;
        let count = self.cells.entry((cell(east_m), cell(north_m))).or_insert(0);
        *count = count.saturating_add(1);
    }

    /// Adds the landings of another cloud. One with other cells cannot be added: its flights become
    /// unplaced, so that none is lost from sight.
    pub fn merge(&mut self, other: &Self) {
        self.unplaced += other.unplaced;
        if self.cell_m != other.cell_m {
            self.unplaced += other.flights;
            return;
        }
        self.flights += other.flights;
        self.east += other.east;
        self.north += other.north;
        self.east_east += other.east_east;
        self.north_north += other.north_north;
        self.east_north += other.east_north;
        for (&cell, &theirs) in &other.cells {
            let count = self.cells.entry(cell).or_insert(0);
            *count = count.saturating_add(theirs);
        }
    }

    /// Landings in the cloud.
    pub fn count(&self) -> u64 {
        self.flights
    }

    /// Landings that could not be placed, which must be none.
    pub fn unplaced(&self) -> u64 {
        self.unplaced
    }

    /// Edge of a cell in metres.
    pub fn cell_m(&self) -> f64 {
        self.cell_m
    }

    /// Landings per cell (east index, north index), for a picture.
    pub fn cells(&self) -> &BTreeMap<(i32, i32), u32> {
        &self.cells
    }

    /// Mean landing point, metres east and north; `None` for an empty cloud.
    pub fn mean(&self) -> Option<(f64, f64)> {
        let flights = self.flights as f64;
        let mean = |sum: i128| sum as f64 / SCALE / flights;
        (self.flights > 0).then(|| (mean(self.east), mean(self.north)))
    }

    /// Covariance of the landing points; `None` below two flights.
    pub fn covariance(&self) -> Option<Covariance> {
        if self.flights < 2 {
            return None;
        }
        let flights = i128::from(self.flights);
        let pairs = self.flights as f64 * (self.flights - 1) as f64 * (SCALE * SCALE);
        let about_mean = |products: i128, a: i128, b: i128| {
            let scaled = flights.saturating_mul(products).saturating_sub(a.saturating_mul(b));
            scaled as f64 / pairs
        };
        Some(Covariance {
            east_m2: about_mean(self.east_east, self.east, self.east),
            north_m2: about_mean(self.north_north, self.north, self.north),
            cross_m2: about_mean(self.east_north, self.east, self.north),
        })
    }

    /// The ellipse that would hold the share `probability` if the cloud were normal; `None` below two
    /// flights or for a share that is not strictly between 0 and 1.
    pub fn ellipse(&self, probability: f64) -> Option<Ellipse> {
        Ellipse::new(self.mean()?, &self.covariance()?, probability)
    }

    /// The smallest region that holds the share `share` of the flights (see [`Density::region`]); `None`
    /// for an empty cloud. For several shares take [`Cloud::density`] once.
    pub fn region(&self, share: f64) -> Option<Region> {
        Some(self.density()?.region(share))
    }

    /// The smoothed density behind the regions; `None` for an empty cloud.
    pub fn density(&self) -> Option<Density> {
        Density::new(&self.cells, self.cell_m, self.covariance())
    }
}

#[cfg(test)]
mod tests {
    use super::super::sampler::Sampler;
    use super::Cloud;

    fn points(flights: usize) -> Vec<(f64, f64)> {
        let mut sampler = Sampler(3);
        (0..flights).map(|_| (300.0 + 90.0 * sampler.normal(), 40.0 * sampler.normal())).collect()
    }

    fn cloud(points: &[(f64, f64)]) -> Cloud {
        let mut cloud = Cloud::new(5.0);
        for &(east, north) in points {
            cloud.add(east, north);
        }
        cloud
    }

    #[test]
    fn any_order_and_any_split_give_the_same() {
        let mut points = points(3000);
        points.push((f64::NAN, 0.0));
        let whole = cloud(&points);
        let parts: Vec<Cloud> = points.chunks(77).map(cloud).collect();
        let mut upwards = Cloud::new(5.0);
        parts.iter().for_each(|part| upwards.merge(part));
        let mut downwards = Cloud::new(5.0);
        parts.iter().rev().for_each(|part| downwards.merge(part));
        points.reverse();
        assert_eq!(whole, upwards);
        assert_eq!(whole, downwards);
        assert_eq!(whole, cloud(&points));
        assert_eq!(whole.density(), downwards.density());
        assert_eq!((whole.count(), whole.unplaced()), (3000, 1));
    }

    /// The sample moments in two passes; positions are rounded to 15 micrometres.
    #[test]
    fn moments() {
        let points = points(5000);
        let cloud = cloud(&points);
        let n = points.len() as f64;
        let east = points.iter().map(|p| p.0).sum::<f64>() / n;
        let north = points.iter().map(|p| p.1).sum::<f64>() / n;
        let cross = points.iter().map(|p| (p.0 - east) * (p.1 - north)).sum::<f64>() / (n - 1.0);
        let square = points.iter().map(|p| (p.0 - east) * (p.0 - east)).sum::<f64>() / (n - 1.0);
        let square_north = points.iter().map(|p| (p.1 - north) * (p.1 - north)).sum::<f64>() / (n - 1.0);
        let (Some(mean), Some(covariance)) = (cloud.mean(), cloud.covariance()) else {
            panic!("no moments");
        };
        assert!((mean.0 - east).abs() < 1e-6 && (mean.1 - north).abs() < 1e-6);
        assert!((covariance.cross_m2 - cross).abs() < 1e-4);
        assert!((covariance.east_m2 - square).abs() < 1e-4);
        assert!((covariance.north_m2 - square_north).abs() < 1e-4);
    }

    /// Far from the pad and a centimetre wide: nothing cancels.
    #[test]
    fn narrow_and_far() {
        let mut cloud = Cloud::new(5.0);
        for i in 0..1000 {
            cloud.add(100_000.0 + f64::from(i % 2) / 64.0, -100_000.0);
        }
        let spread = cloud.covariance().map(|c| (c.east_m2, c.north_m2, c.cross_m2));
        assert_eq!(spread, Some((1000.0 / 999.0 / 4.0 / 4096.0, 0.0, 0.0)));
    }

    #[test]
    fn none_one_and_two() {
        let mut cloud = Cloud::new(5.0);
        assert!(cloud.mean().is_none() && cloud.covariance().is_none() && cloud.ellipse(0.5).is_none());
        cloud.add(3.0, 4.0);
        assert_eq!(cloud.mean(), Some((3.0, 4.0)));
        assert!(cloud.ellipse(0.5).is_none());
        cloud.add(5.0, 6.0);
        let Some(ellipse) = cloud.ellipse(0.95) else {
            panic!("no ellipse");
        };
        assert!((ellipse.bearing_deg - 45.0).abs() < 1e-9);
        assert!(ellipse.semi_minor_m < 1e-6);
        assert!(ellipse.contains(3.0, 4.0) && ellipse.contains(5.0, 6.0) && !ellipse.contains(4.0, 5.1));
    }

    /// A normal cloud: the ellipse holds its share.
    #[test]
    fn share_inside() {
        let points = points(20_000);
        let cloud = cloud(&points);
        for share in [0.5, 0.9, 0.95, 0.99] {
            let Some(ellipse) = cloud.ellipse(share) else {
                panic!("no ellipse");
            };
            let inside = points.iter().filter(|p| ellipse.contains(p.0, p.1)).count();
            assert!((inside as f64 / 20_000.0 - share).abs() < 0.01);
        }
    }

    #[test]
    fn senseless_cells_do_no_harm() {
        assert_eq!(Cloud::new(5.0).cell_m(), 5.0);
        for cell_m in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e-9] {
            let mut cloud = Cloud::new(cell_m);
            assert_eq!(cloud.cell_m(), if cell_m > 1.0 { 1e6 } else { 1e-3 });
            for (east, north) in points(100) {
                cloud.add(1000.0 * east, 1000.0 * north);
            }
            let held = cloud.region(0.9).map(|region| region.share_held >= 0.9);
            assert_eq!(held, Some(true));
        }
    }

    #[test]
    fn other_cells_are_not_mixed() {
        let mut cloud = Cloud::new(5.0);
        let mut other = Cloud::new(6.0);
        other.add(1.0, 1.0);
        cloud.merge(&other);
        assert_eq!((cloud.count(), cloud.unplaced()), (0, 1));
    }
}
