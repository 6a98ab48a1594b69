//! From counts to the figures of the report.

use super::chances::{Chances, share};
use super::ground::{AreaTally, ENERGIES, GroundTally};
use super::{Hits, LimitTally, Tally, WayTally};
use crate::case::{Case, Question};
use crate::flight::{NODES, Outcome};
use crate::report::{
    AreaReport, EjectionReport, EllipseReport, EnergyChance, EnergyReport, FlightReport, LandingReport, LimitReport,
    OutcomeShare, RailReport, RegionReport, StruckReport, WayReport,
};
use crate::stat::interval::{self, Chance, Estimator};
use crate::stat::normal;

/// Shares of the ellipses and regions in the answer.
pub const SHARES: [f64; 4] = [0.50, 0.90, 0.95, 0.99];

/// The chance of what was hit in so many flights.
fn chance(hits: &Hits, flights: &Hits, question: &Question) -> Chance {
    let per_replicate: Vec<(u64, u64)> = hits.iter().zip(flights).map(|(h, n)| (*h, *n)).filter(|r| r.1 > 0).collect();
    interval::chance(&per_replicate, question.points, question.confidence())
}

impl Tally {
    /// The widest half-width of an interval among the chances of every way of deploying against every limit.
    pub fn widest_half_width(&self, question: &Question) -> f64 {
        let limits = self.ways.iter().flat_map(|way| &way.limits);
        let half_width = |chances: &Chances| {
            let Chance { lower, upper, .. } = chances.chance(&self.flights, question, self.estimator());
            0.5 * (upper - lower)
        };
        limits.flat_map(|l| [&l.over, &l.unsafe_opening]).map(half_width).fold(0.0, f64::max)
    }

    /// Chance of rising above the ceiling.
    pub fn above_ceiling(&self, question: &Question) -> Chance {
        chance(&self.above_ceiling, &self.flights, question)
    }
}

/// The report of one way of deploying, with ellipses and regions that hold the given shares.
pub fn way_report(tally: &Tally, index: usize, case: &Case, shares: &[f64]) -> WayReport {
    let way = tally.way(index);
    let of_all = |scaled: u64| share(scaled) / tally.flights() as f64;
    WayReport {
        way: case.inputs.question.ways[index],
        estimator: tally.estimator(),
        limits: limit_reports(tally, index, case),
        outcomes: Outcome::ALL
            .into_iter()
            .zip(&way.outcomes)
            .filter(|(_, scaled)| scaled.iter().any(|s| *s > 0))
            .map(|(outcome, scaled)| OutcomeShare {
                outcome,
                share: of_all(scaled.iter().sum()),
                before_apogee: of_all(scaled[1]),
                after_apogee: of_all(scaled[2]),
            })
            .collect(),
        ejection: ejection(way),
        landing: ground_report(&way.ground, &tally.flights, case, shares),
    }
}

/// One way of deploying against each limit.
pub fn limit_reports(tally: &Tally, index: usize, case: &Case) -> Vec<LimitReport> {
    let question = &case.inputs.question;
    let chance = |chances: &Chances| chances.chance(&tally.flights, question, tally.estimator());
    let of_all = |scaled: u64| share(scaled) / tally.flights() as f64;
    let limit = |l: &LimitTally| LimitReport {
        limit_m_s: l.limit_m_s,
        over: chance(&l.over),
        unsafe_opening: chance(&l.unsafe_opening),
        under_before_apogee: of_all(l.under[0]),
        under_after_apogee: of_all(l.under[1]),
        over_before_apogee: of_all(l.over_sides[0]),
        over_after_apogee: of_all(l.over_sides[1]),
    };
    tally.way(index).limits.iter().map(limit).collect()
}

fn ejection(way: &WayTally) -> Option<EjectionReport> {
    Some(EjectionReport {
        airspeed_m_s: way.airspeed.digest_of(NODES as u64)?,
        vertical_speed_m_s: way.vertical.digest_of(NODES as u64)?,
        horizontal_airspeed_m_s: way.horizontal.digest_of(NODES as u64)?,
        height_above_pad_m: way.height.digest_of(NODES as u64)?,
        after_apogee_s: way.after_apogee.digest_of(NODES as u64)?,
        line_stretch_airspeed_m_s: way.stretch.digest_of(NODES as u64)?,
    })
}

/// The report of what came down in so many flights; `None` when nothing did.
pub(super) fn ground_report(
    ground: &GroundTally,
    flights: &Hits,
    case: &Case,
    shares: &[f64],
) -> Option<LandingReport> {
    let cloud = &ground.cloud;
    let (mean_east_m, mean_north_m) = cloud.mean()?;
    let question = &case.inputs.question;
    let density = cloud.density().filter(|_| !shares.is_empty());
    let ellipses = shares
        .iter()
        .filter_map(|&share| {
            let e = cloud.ellipse(share)?;
            // Counted by cell, whose centre decides: cells are small beside the cloud.
            let cell = cloud.cell_m();
            let held: u64 = cloud
                .cells()
                .iter()
                .filter(|((i, j), _)| e.contains((f64::from(*i) + 0.5) * cell, (f64::from(*j) + 0.5) * cell))
                .map(|(_, n)| u64::from(*n))
                .sum();
            Some(EllipseReport {
                share_asked: share,
                share_held: held as f64 / cloud.count() as f64,
                semi_major_m: e.semi_major_m,
                semi_minor_m: e.semi_minor_m,
                bearing_deg: e.bearing_deg,
            })
        })
        .collect();
    let regions = density.iter().flat_map(|d| shares.iter().map(|share| d.region(*share))).map(|r| RegionReport {
        share_asked: r.share_asked,
        share_held: r.share_held,
        share_expected: r.share_new,
        area_m2: r.area_m2,
        outline: r.outline,
    });
    let energy_j = |root: f64| root * root;
    Some(LandingReport {
        estimator: Estimator::FiredAsDrawn,
        flights: cloud.count(),
        mean_east_m,
        mean_north_m,
        covariance_m2: cloud.covariance().map(|c| [c.east_m2, c.north_m2, c.cross_m2]),
        ellipses,
        regions: regions.collect(),
        distance_p90_m: ground.distance.quantile(0.90)?,
        distance_p99_m: ground.distance.quantile(0.99)?,
        distance_m: ground.distance.digest()?,
        speed_m_s: ground.speed.digest()?,
        vertical_speed_m_s: ground.vertical.digest()?,
        main_opening_airspeed_m_s: ground.main_opening.digest(),
        energy: EnergyReport {
            median_j: energy_j(ground.root_energy.quantile(0.5)?),
            p95_j: energy_j(ground.root_energy.quantile(0.95)?),
            over: ENERGIES
                .into_iter()
                .zip(&ground.over_energy)
                .map(|((energy_j, source), hits)| EnergyChance {
                    energy_j,
                    source,
                    over: chance(hits, flights, question),
                })
                .collect(),
        },
        areas: case
            .inputs
            .site
            .areas
            .iter()
            .zip(&ground.areas)
            .map(|(area, tally)| {
                let inside = chance(&tally.inside, flights, question);
                AreaReport {
                    name: area.name.clone(),
                    role: area.role,
                    struck: area.people.map(|people| struck(tally, ground, &inside, people / area.outline.area_m2())),
                    inside,
                    outside: chance(&tally.outside, flights, question),
                }
            })
            .collect(),
        outside_fields: case.has_field().then(|| chance(&ground.outside_fields, flights, question)),
    })
}

/// Persons struck a flight, on average, where so many stand on each square metre. Its interval joins that of the chance
/// of coming down inside with how well the mean casualty area is known, as the squares of both (Zou and Donner 2008, from
/// memory); the area of one that no flight has shown is the mean of all.
fn struck(tally: &AreaTally, ground: &GroundTally, inside: &Chance, people_per_m2: f64) -> StruckReport {
    let each = inside.flights as f64;
    let estimate = tally.struck_m2[0].total() / each * people_per_m2;
    let (mean_m2, mean_m4) = (ground.casualty_m2.mean().unwrap_or(0.0), ground.casualty_m4.mean().unwrap_or(0.0));
    let (lower, upper) = if inside.hits == 0.0 {
        let per_flight_m2 = ground.casualty_m2.total() / (ground.cloud.count() as f64).max(1.0);
        (0.0, per_flight_m2 * people_per_m2 * inside.upper)
    } else {
        let scatter = (mean_m4 / (mean_m2 * mean_m2) - 1.0).max(0.0) / inside.hits;
        let of_area = normal::quantile(0.975) * scatter.sqrt();
        let off = |end: f64| libm::hypot(end / inside.estimate - 1.0, of_area);
        (estimate * (1.0 - off(inside.lower)).max(0.0), estimate * (1.0 + off(inside.upper)))
    };
    StruckReport {
        persons: estimate,
        lower,
        upper,
        persons_over_energy: tally.struck_m2[1].total() / each * people_per_m2,
    }
}

/// Leaving the rail.
pub fn rail_report(t: &Tally) -> Option<RailReport> {
    Some(RailReport {
        exit_speed_m_s: t.exit_speed.digest()?,
        forward_guide_speed_m_s: t.forward_speed.digest()?,
        angle_of_attack_deg: t.angle_of_attack.digest()?,
        margin_calibres: t.margin.digest()?,
    })
}

/// The flight without deployment.
pub fn flight_report(t: &Tally) -> Option<FlightReport> {
    Some(FlightReport {
        apogee_m: t.apogee.digest()?,
        apogee_s: t.apogee_time.digest()?,
        peak_mach: t.peak_mach.digest()?,
        slowest_airspeed_m_s: t.slowest_airspeed.digest()?,
        slowest_delay_s: t.slowest_delay.digest()?,
        slowest_after_apogee_s: t.slowest_after_apogee.digest()?,
    })
}
