//! The best delay of a motor's charge, asked or not, and the delays that meet the condition: a delay can be trimmed.

use crate::case::{Case, Question};
use crate::report::{CurvePoint, DelayAdvice, Span};
use crate::stat::interval::Chance;

use super::accept_chance;

/// Chances that differ by less are taken as one: steps of the integration move them by up to so much.
const ALIKE: f64 = 1e-4;
/// How wrong a delay is for which the chance is told, s.
pub const OFF_S: f64 = 1.0;

/// What the curve says of delays that nobody asked about; `None` without a curve.
pub fn delay_advice(case: &Case, curve: &[CurvePoint]) -> Option<DelayAdvice> {
    let question = &case.inputs.question;
    let points: Vec<(f64, &Chance)> =
        curve.iter().map(|p| (p.delay_s, &p.limits[question.accept_limit].unsafe_opening)).collect();
    advice(&points, question)
}

fn advice(points: &[(f64, &Chance)], question: &Question) -> Option<DelayAdvice> {
    let least = points.iter().map(|p| p.1.estimate).fold(f64::INFINITY, f64::min);
    let lowest = points.iter().position(|p| p.1.estimate == least)?;
    let alike = around(points, lowest, |c| c.estimate <= least + ALIKE);
    let delay_s = if alike[0] == alike[1] { refined(points, lowest) } else { middle(points, alike) };
    let nearest = (0..points.len()).min_by(|a, b| {
        let off = |k: &usize| (points[*k].0 - delay_s).abs();
        off(a).total_cmp(&off(b))
    })?;
    let best = points[nearest].1;
    let as_good = around(points, nearest, |c| c.lower <= best.upper);
    let accept = accept_chance(question);
    Some(DelayAdvice {
        delay_s,
        at_delay_s: points[nearest].0,
        unsafe_opening: *best,
        as_good_s: as_good.map(|k| points[k].0),
        early: between(points, delay_s - OFF_S),
        late: between(points, delay_s + OFF_S),
        meets_s: stretches(points, |c| c.upper, accept),
        may_meet_s: stretches(points, |c| c.lower, accept),
    })
}

/// First and last of the points about one for which something holds of all.
fn around(points: &[(f64, &Chance)], about: usize, holds: impl Fn(&Chance) -> bool) -> [usize; 2] {
    let first = (0..about).rev().take_while(|k| holds(points[*k].1)).last().unwrap_or(about);
    let last = (about + 1..points.len()).take_while(|k| holds(points[*k].1)).last().unwrap_or(about);
    [first, last]
}

fn middle(points: &[(f64, &Chance)], [first, last]: [usize; 2]) -> f64 {
    0.5 * (points[first].0 + points[last].0)
}

/// Where a parabola through a lowest point and its neighbours is lowest; the point itself at an end of the curve.
fn refined(points: &[(f64, &Chance)], lowest: usize) -> f64 {
    let at = |k: usize| points.get(k).map(|p| p.1.estimate);
    let (delay_s, here) = (points[lowest].0, points[lowest].1.estimate);
    let (Some(before), Some(after)) = (lowest.checked_sub(1).and_then(at), at(lowest + 1)) else { return delay_s };
    let bend = before - 2.0 * here + after;
    let step = points[lowest + 1].0 - delay_s;
    if bend > 0.0 { delay_s + 0.5 * step * (before - after) / bend } else { delay_s }
}

/// The chance at a delay between two points of the curve.
fn between(points: &[(f64, &Chance)], delay_s: f64) -> Option<f64> {
    points.windows(2).find(|pair| (pair[0].0..=pair[1].0).contains(&delay_s)).map(|pair| {
        let along = (delay_s - pair[0].0) / (pair[1].0 - pair[0].0);
        pair[0].1.estimate + along * (pair[1].1.estimate - pair[0].1.estimate)
    })
}

/// Where an end of the interval stays at or below a chance, straight lines between the points.
pub fn stretches(points: &[(f64, &Chance)], end: impl Fn(&Chance) -> f64, accept: f64) -> Vec<Span> {
    let mut found: Vec<Span> = Vec::new();
    let mut open = false;
    for (k, (delay_s, chance)) in points.iter().enumerate() {
        let meets = end(chance) <= accept;
        let crossing = || {
            let (before_s, before) = (points[k - 1].0, end(points[k - 1].1));
            before_s + (accept - before) / (end(chance) - before) * (delay_s - before_s)
        };
        if meets && !open {
            let from = if k == 0 { *delay_s } else { crossing() };
            found.push(Span { from, to: *delay_s, goes_on_before: k == 0, goes_on_after: false });
        }
        if let Some(stretch) = found.last_mut().filter(|_| meets || open) {
            stretch.to = if meets { *delay_s } else { crossing() };
            stretch.goes_on_after = meets && k + 1 == points.len();
        }
        open = meets;
    }
    found
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;
    use crate::stat::interval::Estimator;

    fn chance(estimate: f64) -> Chance {
        Chance {
            estimate,
            lower: (estimate - 0.01).max(0.0),
            upper: (estimate + 0.01).min(1.0),
            hits: 1000.0 * estimate,
            flights: 1000,
            estimator: Estimator::Integrated,
            method: "test",
        }
    }

    fn found(of: impl Fn(f64) -> f64, accept: f64) -> DelayAdvice {
        let chances: Vec<(f64, Chance)> = (0..=20).map(|k| 0.5 * f64::from(k)).map(|d| (d, chance(of(d)))).collect();
        let points: Vec<(f64, &Chance)> = chances.iter().map(|(d, c)| (*d, c)).collect();
        advice(&points, &question(accept)).unwrap()
    }

    fn question(accept: f64) -> Question {
        Question {
            ways: Vec::new(),
            limits_m_s: vec![15.0],
            limit_applies: crate::case::LimitApplies::Ejection,
            accept_chance: Some(accept),
            accept_limit: 0,
            flights: 1000,
            until_half_width: None,
            seed: 1,
            points: crate::draw::PointSet::Sobol,
            drivers: None,
            settings: Default::default(),
            rare: Vec::new(),
            rule_set: None,
        }
    }

    /// A parabola with its least value between two points is found exactly, and so are the places where it crosses a
    /// chance, to the size of what a straight line leaves out: a quarter of a step squared over two.
    #[test]
    fn a_parabola_is_found_again() {
        let advice = found(|d| 0.02 + 0.01 * (d - 4.2) * (d - 4.2), 0.06);
        assert!((advice.delay_s - 4.2).abs() < 1e-9, "{advice:?}");
        assert_eq!(advice.at_delay_s, 4.0);
        // Upper end: 0.03 + 0.01 (d - 4.2)^2 = 0.06 at 4.2 -+ sqrt(3).
        let [meets] = &advice.meets_s[..] else { panic!("{advice:?}") };
        assert!((meets.from - (4.2 - 3.0_f64.sqrt())).abs() < 0.02, "{meets:?}");
        assert!((meets.to - (4.2 + 3.0_f64.sqrt())).abs() < 0.02, "{meets:?}");
        assert!(!meets.goes_on_before && !meets.goes_on_after);
        let early = 0.02 + 0.01 * 1.0;
        assert!((advice.early.unwrap() - early).abs() < 1e-3 && (advice.late.unwrap() - early).abs() < 1e-3);
    }

    /// Over a flat floor the middle is best, and at an end of the curve it is said that it may go on.
    #[test]
    fn a_floor_is_met_in_its_middle_and_ends_are_told() {
        let advice = found(|d| if (2.0..=6.0).contains(&d) { 0.001 } else { 0.5 }, 0.05);
        assert_eq!(advice.delay_s, 4.0);
        assert_eq!(advice.as_good_s, [2.0, 6.0]);
        let advice = found(|d| 0.1 * (10.0 - d), 0.05);
        assert_eq!(advice.delay_s, 10.0);
        assert_eq!(advice.late, None);
        assert!(advice.meets_s[0].goes_on_after && !advice.meets_s[0].goes_on_before, "{advice:?}");
        assert!((advice.meets_s[0].from - 9.6).abs() < 1e-9 && advice.meets_s[0].to == 10.0);
        assert!(found(|_| 0.9, 0.05).meets_s.is_empty());
    }
}
