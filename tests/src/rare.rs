//! Something rare, made as rare as is wanted by counting: what a search of it is held against.

use rayon::prelude::*;
use slowpoint_sim::case::{Area, Case, Inputs, Outline, RareEvent, RareInput};
use slowpoint_sim::draw::{Numbers, PointSet, Shift, draw};
use slowpoint_sim::flight::Pilot;

/// Flights at a time.
const BATCH: u64 = 64;

/// A case that asks for one rare chance, and what counting makes of it.
pub struct Counted {
    /// Of what, in words.
    pub what: &'static str,
    /// The case, deployed one way.
    pub case: Case,
    /// Flights in which it happened.
    pub hits: u64,
    /// Flights counted.
    pub flights: u64,
}

impl Counted {
    /// The share of flights in which it happened.
    pub fn share(&self) -> f64 {
        self.hits as f64 / self.flights as f64
    }
}

/// The first way of deploying of a rocket, with an opening over a limit that `hits` of `flights` counted ones are over, and a
/// landing on a place downwind in which as many come down.
pub fn counted(rocket: Inputs, hits: u64, flights: u64) -> Vec<Counted> {
    let mut inputs = rocket;
    inputs.question.ways.truncate(1);
    inputs.question.points = PointSet::Pseudorandom;
    inputs.question.accept_limit = 0;
    inputs.site.areas.clear();
    let case = |inputs: Inputs| Case::new(inputs).unwrap_or_else(|faults| panic!("{faults:?}"));
    let flown = flown(&case(inputs.clone()), flights);
    let (count, kth) = (flown.len() as f64, hits as usize);
    let mut speeds: Vec<f64> = flown.iter().filter_map(|f| f.0).collect();
    speeds.sort_unstable_by(|a, b| b.total_cmp(a));
    let limit_m_s = 0.5 * (speeds[kth - 1] + speeds[kth]);
    let landings: Vec<[f64; 2]> = flown.iter().filter_map(|f| f.1).collect();
    // Three standard deviations beyond the mean, on the line from the pad.
    let mean: [f64; 2] = std::array::from_fn(|k| landings.iter().map(|at| at[k]).sum::<f64>() / count);
    let off = mean[0].hypot(mean[1]);
    let spread =
        (landings.iter().map(|at| (at[0] - mean[0]).powi(2) + (at[1] - mean[1]).powi(2)).sum::<f64>() / count).sqrt();
    let centre_m = mean.map(|x| x * (1.0 + 3.0 * spread / off));
    let mut away: Vec<f64> = landings.iter().map(|at| (at[0] - centre_m[0]).hypot(at[1] - centre_m[1])).collect();
    away.sort_unstable_by(f64::total_cmp);
    let radius_m = 0.5 * (away[kth - 1] + away[kth]);
    let asking = |event, change: &dyn Fn(&mut Inputs)| {
        let mut inputs = inputs.clone();
        change(&mut inputs);
        inputs.question.rare = vec![RareInput { event, way: None, flights: slowpoint_sim::rare::FLIGHTS }];
        case(inputs)
    };
    let place =
        Area { name: "place".into(), role: None, outline: Outline::Circle { centre_m, radius_m }, people: None };
    let opens = asking(RareEvent::OpensOver(0), &|inputs| inputs.question.limits_m_s = vec![limit_m_s]);
    let lands = asking(RareEvent::LandsIn(0), &|inputs| inputs.site.areas = vec![place.clone()]);
    [("opens over a limit", opens), ("comes down in a place", lands)]
        .map(|(what, case)| Counted { what, case, hits, flights })
        .into()
}

/// Airspeed at ejection and place of the landing of so many flights, fired as drawn.
fn flown(case: &Case, flights: u64) -> Vec<(Option<f64>, Option<[f64; 2]>)> {
    let question = &case.inputs.question;
    let batch = |batch: u64| {
        let drawn: Vec<_> = (batch * BATCH..((batch + 1) * BATCH).min(flights))
            .map(|flight| draw(case, &Numbers::of(question.points, question.seed, flight), &Shift::NONE))
            .collect();
        let flown = Pilot::default().fly(&drawn, &question.ways);
        let figures = flown.into_iter().map(|flown| {
            let deployed = &flown.deployed[0];
            let landing = deployed.landing.as_ref().map(|landing| [landing.east_m, landing.north_m]);
            (deployed.ejection.as_ref().map(|ejection| ejection.airspeed_m_s), landing)
        });
        figures.collect::<Vec<_>>()
    };
    (0..flights.div_ceil(BATCH)).into_par_iter().flat_map_iter(batch).collect()
}
