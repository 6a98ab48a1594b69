//! What other winds and other settings of the rail would come to: the same flights at each, with the same draws.

use core::sync::atomic::AtomicBool;

use crate::advise::{accept_chance, stretches};
use crate::case::{Case, Inputs, Question};
use crate::report::{CellReport, RailAdvice, RailSetting, WindLimit, WindStretch};
use crate::run::assess_cell;
use crate::stat::interval::Chance;
use crate::wind::{Direction, SURFACE_HEIGHT_M, SurfaceWind};

/// Flights at each wind and each setting, unless the condition asks for more.
const FLIGHTS: u64 = 512;
/// The most of them.
const MOST_FLIGHTS: u64 = 4096;
/// The upper end of a chance that no flight has is some 3.7 over the flights: with so many it comes to half the condition.
const UNSEEN: f64 = 8.0;
/// Winds at 10 m, m/s: from calm to beyond every wind limit of a code.
const WINDS_M_S: core::ops::RangeInclusive<u32> = 0..=15;
/// In a wind slower than this there is nothing to stretch, m/s.
const HARDLY_A_WIND_M_S: f64 = 0.5;
/// Tilts that are tried, degrees.
const TILTS_DEG: [f64; 7] = [0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 15.0];
/// Directions that are tried, the first into the wind.
const AZIMUTHS: u32 = 8;
/// How wrong the best tilt is set for what is told of it, degrees.
pub const OFF_DEG: f64 = 1.0;

/// What may be asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Settings {
    /// The highest wind at which the condition is met.
    pub wind_limit: bool,
    /// A setting of the rail that lands better.
    pub rail: bool,
}

/// Flights that it takes on top of the others.
pub fn flights(question: &Question) -> u64 {
    let Settings { wind_limit, rail } = question.settings;
    let winds = u64::from(wind_limit) * WINDS_M_S.count() as u64;
    // The one given, and two that are off.
    let rails = u64::from(rail) * (3 + 1 + (TILTS_DEG.len() as u64 - 1) * u64::from(AZIMUTHS));
    each(question) * (winds + rails)
}

/// Flights at each wind and each setting: more where the condition asks for a chance so small that few flights cannot show
/// it, at most as many as the assessment has.
fn each(question: &Question) -> u64 {
    let seen = UNSEEN / accept_chance(question);
    question.flights.min((seen.ceil() as u64).clamp(FLIGHTS, MOST_FLIGHTS))
}

/// Flies a case with something changed; within, `None` where that is no case any more.
fn changed(case: &Case, change: impl FnOnce(&mut Inputs), stop: &AtomicBool) -> Option<Option<CellReport>> {
    let mut inputs = case.inputs.clone();
    inputs.question.flights = each(&case.inputs.question);
    inputs.question.until_half_width = None;
    // What was learned is taken over, not learned again.
    inputs.calibration = None;
    change(&mut inputs);
    match Case::new(inputs) {
        Ok(new) => assess_cell(&Case { calibrated: case.calibrated.clone(), ..new }, stop).map(Some),
        Err(_) => Some(None),
    }
}

/// The case at winds from calm upwards: all winds and gusts are stretched alike. `None` when `stop` was raised meanwhile.
pub fn wind_limit(case: &Case, stop: &AtomicBool) -> Option<WindLimit> {
    let question = &case.inputs.question;
    let [_, _, reported_m_s] = case.wind.surface();
    let stretched = reported_m_s >= HARDLY_A_WIND_M_S;
    let mut flown: Vec<(f64, CellReport)> = Vec::new();
    for wind_m_s in WINDS_M_S.map(f64::from) {
        let change = |inputs: &mut Inputs| {
            let wind = &mut inputs.wind;
            if stretched {
                let factor = wind_m_s / reported_m_s;
                let others = wind.others.iter_mut().map(|member| (&mut member.surface, &mut member.layers));
                for (surface, layers) in core::iter::once((&mut wind.surface, &mut wind.layers)).chain(others) {
                    if let Some(surface) = surface {
                        surface.speed_m_s *= factor;
                        surface.gust_m_s = surface.gust_m_s.map(|gust| gust * factor);
                    }
                    layers.iter_mut().for_each(|layer| layer.speed_m_s *= factor);
                }
            } else {
                wind.layers.clear();
                wind.others.clear();
                wind.surface = Some(SurfaceWind {
                    speed_m_s: wind_m_s,
                    direction: Direction::Variable,
                    measuring_height_m: SURFACE_HEIGHT_M,
                    gust_m_s: None,
                });
            }
        };
        match changed(case, change, stop)? {
            Some(report) => flown.push((wind_m_s, report)),
            // Some layer is faster than what is taken: so is it in every stronger wind.
            None => break,
        }
    }
    let limit = question.accept_limit;
    let way = |way: usize| {
        let points: Vec<(f64, &Chance)> =
            flown.iter().map(|(wind, report)| (*wind, &report.ways[way].limits[limit].unsafe_opening)).collect();
        WindStretch {
            chances: points.iter().map(|p| *p.1).collect(),
            // Not one that begins beyond a gap, which a few flights may have made.
            meets_m_s: stretches(&points, |c| c.upper, accept_chance(question)).first().copied(),
            may_meet_m_s: stretches(&points, |c| c.lower, accept_chance(question)).last().copied(),
        }
    };
    Some(WindLimit {
        reported_m_s,
        stretched,
        flights: each(question),
        ways: (0..question.ways.len()).map(way).collect(),
        winds_m_s: flown.iter().map(|f| f.0).collect(),
    })
}

/// Settings of the rail, deployed one way: which lands best without opening less well than the given one. `None` when `stop`
/// was raised meanwhile.
pub fn rail(case: &Case, way: usize, stop: &AtomicBool) -> Option<RailAdvice> {
    let question = &case.inputs.question;
    let [east, north, speed_m_s] = case.wind.surface();
    let upwind_rad = if speed_m_s < HARDLY_A_WIND_M_S { 0.0 } else { libm::atan2(-east, -north) };
    let fly = |tilt_rad: f64, azimuth_rad: f64| -> Option<Option<RailSetting>> {
        let change = |inputs: &mut Inputs| {
            inputs.launch.tilt_rad = Some(tilt_rad);
            inputs.launch.azimuth_rad = Some(azimuth_rad);
        };
        let report = changed(case, change, stop)?;
        Some(report.and_then(|report| {
            let landing = report.ways[way].landing.as_ref()?;
            Some(RailSetting {
                tilt_rad,
                azimuth_rad,
                unsafe_opening: report.ways[way].limits[question.accept_limit].unsafe_opening,
                outside_fields: landing.outside_fields,
                distance_p90_m: landing.distance_p90_m,
            })
        }))
    };
    let given = fly(case.launch.tilt_rad, case.launch.azimuth_rad)?;
    let mut tried = Vec::new();
    for tilt_deg in TILTS_DEG {
        for step in 0..(if tilt_deg > 0.0 { AZIMUTHS } else { 1 }) {
            let turn = core::f64::consts::TAU / f64::from(AZIMUTHS) * f64::from(step);
            let azimuth_rad = (upwind_rad + turn).rem_euclid(core::f64::consts::TAU);
            tried.extend(fly(tilt_deg.to_radians(), azimuth_rad)?);
        }
    }
    let best = given.as_ref().and_then(|given| {
        let opens_well = tried.iter().filter(|s| s.unsafe_opening.upper <= given.unsafe_opening.upper);
        // Where there is a field its edge counts, else the distance.
        let badness = |s: &RailSetting| s.outside_fields.as_ref().map_or(s.distance_p90_m, |c| c.estimate);
        let best = opens_well.min_by(|a, b| badness(a).total_cmp(&badness(b)))?;
        (badness(best) < badness(given)).then(|| best.clone())
    });
    let mut off = [None, None];
    if let Some(best) = &best {
        let step_rad = OFF_DEG.to_radians();
        let steeper = best.tilt_rad - step_rad;
        off = [
            if steeper < 0.0 { None } else { fly(steeper, best.azimuth_rad)? },
            fly(best.tilt_rad + step_rad, best.azimuth_rad)?,
        ];
    }
    let [steeper, flatter] = off;
    Some(RailAdvice { way, flights: each(question), given, best, steeper, flatter, tried })
}
