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
    /// south-west corner.
    pub fn new(cell_m: f64) -> Self {
        Self {
            cell_m,
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
        let east = (east_m * SCALE).round() as i128;
        let north = (north_m * SCALE).round() as i128;
        self.flights += 1;
        self.east += east;
        self.north += north;
        self.east_east += east * east;
        self.north_north += north * north;
        self.east_north += east * north;
        // The conversion saturates, so a senseless cell size cannot do harm.
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
            let scaled = flights
                .saturating_mul(products)
                .saturating_sub(a.saturating_mul(b));
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
