//! What comes down: where, how fast, with which energy, on whom.

use super::{Hits, add_hits, bins, summary};
use crate::case::{Case, Outline, Role};
use crate::constants::FOOT_M;
use crate::flight::Landing;
use crate::stat::cloud::Cloud;
use crate::stat::histogram::{Sum, Summary};

/// Kinetic energies that counts are held against, J, each with what it stands for and where it comes from.
pub(super) const ENERGIES: [(f64, &str); 2] = [
    (14.914, "11 ft lbf: a hazardous fragment for a person in the open (RCC 321, second-hand)"),
    (78.637, "58 ft lbf: likely fatal (RCC 321, from memory, unverified)"),
];

/// Radius and height of a person in the casualty-area form: 1 ft and 6 ft (RCC 321, from memory).
const PERSON_RADIUS_M: f64 = FOOT_M;
const PERSON_HEIGHT_M: f64 = 6.0 * FOOT_M;

/// Area in which a person standing would be struck, m^2: pi (r_p + r_f)^2, and 2 (r_p + r_f) h cot(gamma) more where it
/// comes in at an angle gamma to the ground. r_f is the radius of a circle as large as the thing seen from above.
pub fn casualty_area_m2(landing: &Landing) -> f64 {
    let reach = PERSON_RADIUS_M + (landing.seen_m2 / core::f64::consts::PI).sqrt();
    let down = landing.vertical_speed_m_s;
    let across = (landing.speed_m_s * landing.speed_m_s - down * down).max(0.0).sqrt();
    // Flatter than 5.7 deg it runs along the ground rather than through people.
    let cotangent = if down > 0.1 * across { across / down } else { 10.0 };
    core::f64::consts::PI * reach * reach + 2.0 * reach * PERSON_HEIGHT_M * cotangent
}

/// What is kept of one named area.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct AreaTally {
    /// Flights of which anything came down inside, outside.
    pub inside: Hits,
    pub outside: Hits,
    /// Casualty areas of all that came down inside, m^2; and of what had more than the lower energy.
    pub struck_m2: [Sum; 2],
}

/// What is kept of all that came down.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct GroundTally {
    pub cloud: Cloud,
    pub distance: Summary,
    pub speed: Summary,
    pub vertical: Summary,
    pub main_opening: Summary,
    /// Square root of the energy, in J^0.5: its bins are fine where energies are small.
    pub root_energy: Summary,
    /// Flights of which anything came down with more than each energy.
    pub over_energy: [Hits; 2],
    /// Casualty areas of everything, m^2, and their squares, m^4.
    pub casualty_m2: Sum,
    pub casualty_m4: Sum,
    pub areas: Vec<AreaTally>,
    /// Flights of which anything came down outside every area that is a field.
    pub outside_fields: Hits,
}

impl GroundTally {
    pub fn new(case: &Case, cell_m: f64) -> Self {
        let none = Hits::default();
        let area = AreaTally { inside: none, outside: none, struck_m2: [Sum::default(); 2] };
        Self {
            cloud: Cloud::new(cell_m),
            distance: summary(bins::DISTANCE_M),
            speed: summary(bins::AIRSPEED_M_S),
            vertical: summary(bins::AIRSPEED_M_S),
            main_opening: summary(bins::AIRSPEED_M_S),
            root_energy: summary(bins::ROOT_ENERGY),
            over_energy: [none; 2],
            casualty_m2: Sum::default(),
            casualty_m4: Sum::default(),
            areas: vec![area; case.inputs.site.areas.len()],
            outside_fields: none,
        }
    }

    /// Counts a flight's landing. A part that fell by itself counts where anything does: against energies and areas.
    pub fn add(&mut self, landing: &Landing, part: Option<&Landing>, case: &Case, flight: u64, replicate: usize) {
        self.cloud.add(landing.east_m, landing.north_m);
        self.distance.add(landing.distance_m(), flight);
        self.speed.add(landing.speed_m_s, flight);
        self.vertical.add(landing.vertical_speed_m_s, flight);
        if let Some(airspeed_m_s) = landing.main_opening_m_s {
            self.main_opening.add(airspeed_m_s, flight);
        }
        let things = || core::iter::once(landing).chain(part);
        let energy_j = things().map(Landing::energy_j).fold(0.0, f64::max);
        self.root_energy.add(energy_j.sqrt(), flight);
        for (hits, (bound_j, _)) in self.over_energy.iter_mut().zip(ENERGIES) {
            hits[replicate] += u64::from(energy_j > bound_j);
        }
        for thing in things() {
            let area_m2 = casualty_area_m2(thing);
            self.casualty_m2.add(area_m2);
            self.casualty_m4.add(area_m2 * area_m2);
        }
        let mut fields = case.inputs.site.areas.iter().filter(|area| area.role == Some(Role::Field)).peekable();
        if fields.peek().is_some() {
            let in_one = |thing: &Landing| fields.clone().any(|f| f.outline.contains(thing.east_m, thing.north_m));
            self.outside_fields[replicate] += u64::from(things().any(|thing| !in_one(thing)));
        }
        for (tally, area) in self.areas.iter_mut().zip(&case.inputs.site.areas) {
            let inside = |thing: &&Landing| Outline::contains(&area.outline, thing.east_m, thing.north_m);
            tally.inside[replicate] += u64::from(things().any(|thing| inside(&thing)));
            tally.outside[replicate] += u64::from(things().any(|thing| !inside(&thing)));
            for thing in things().filter(inside) {
                tally.struck_m2[0].add(casualty_area_m2(thing));
                if thing.energy_j() > ENERGIES[0].0 {
                    tally.struck_m2[1].add(casualty_area_m2(thing));
                }
            }
        }
    }

    pub fn merge(&mut self, other: &Self) {
        self.cloud.merge(&other.cloud);
        for (a, b) in [
            (&mut self.distance, &other.distance),
            (&mut self.speed, &other.speed),
            (&mut self.vertical, &other.vertical),
            (&mut self.main_opening, &other.main_opening),
            (&mut self.root_energy, &other.root_energy),
        ] {
            a.merge(b);
        }
        for (a, b) in self.over_energy.iter_mut().zip(&other.over_energy) {
            add_hits(a, b);
        }
        add_hits(&mut self.outside_fields, &other.outside_fields);
        self.casualty_m2.merge(&other.casualty_m2);
        self.casualty_m4.merge(&other.casualty_m4);
        for (a, b) in self.areas.iter_mut().zip(&other.areas) {
            add_hits(&mut a.inside, &b.inside);
            add_hits(&mut a.outside, &b.outside);
            a.struck_m2.iter_mut().zip(&b.struck_m2).for_each(|(a, b)| a.merge(b));
        }
    }
}
