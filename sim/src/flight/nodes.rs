//! The ejection of a flight at several equally heavy points of its firing law, of which one is the one drawn.

use super::ascent::Ascent;
use super::deploy::{Deployment, Ejection, Electronics, Events, Outcome};
use super::parts::Drawn;
use super::windows::Asked;
use crate::lanes::norm;

/// Points of the law for each flight.
pub const NODES: usize = 4;

/// The ejections of one flight by one way at the points that were not drawn; `None` where it reached the ground first.
pub type Others = [Option<Ejection>; NODES - 1];

/// The numbers as far up in their quarters as the drawn one is in its own, but for that one.
fn others(drawn: f64) -> [f64; NODES - 1] {
    let place = drawn * NODES as f64;
    let own = (place as usize).min(NODES - 1);
    let up = place - own as f64;
    core::array::from_fn(|k| ((if k < own { k } else { k + 1 }) as f64 + up) / NODES as f64)
}

impl Ejection {
    /// When something fires in the air.
    pub(super) fn at(fires_s: f64, events: &Events, drawn: &Drawn, ascent: &Ascent) -> Self {
        let path = &ascent.path;
        let at = path.at(fires_s);
        let stretch = path.at((fires_s + events.line_stretch_lag_s).min(ascent.ground_s));
        let u = at.air_velocity_m_s(&drawn.wind);
        Self {
            time_s: fires_s,
            after_apogee_s: fires_s - ascent.apogee_s,
            airspeed_m_s: norm(u),
            vertical_speed_m_s: u[2],
            horizontal_airspeed_m_s: (u[0] * u[0] + u[1] * u[1]).sqrt(),
            height_m: at.position_m[2],
            stretch_airspeed_m_s: stretch.airspeed_m_s(&drawn.wind),
        }
    }
}

impl Asked<'_> {
    /// The ejections of a flight at the points of each way's law that were not drawn; `None` for a way whose law is not
    /// of one number (two triggers, a cluster, a height that a main opens by as well): there the drawn one stands for
    /// all.
    pub(super) fn nodes(&self, drawn: &Drawn, events: &Events, ascent: &Ascent) -> Vec<Option<Others>> {
        let ejection = |fires_s: f64| (fires_s < ascent.ground_s).then(|| Ejection::at(fires_s, events, drawn, ascent));
        let at = &events.drawn_at;
        let of = |way: &Deployment| -> Option<Others> {
            let fires = match (way.motor_delay_s, way.electronics) {
                (Some(delay_s), None) => {
                    let [(motor, burnout_s)] = drawn.thrust.motor_burnouts_s() else { return None };
                    let start_s = events.clock.starts_s(*burnout_s);
                    others(at.delay[*motor]).map(|u| start_s + self.laws.delayed(u)(delay_s))
                }
                (None, Some(Electronics::Apogee)) => {
                    others(at.apogee_lag).map(|u| ascent.apogee_s + self.laws.apogee_lag_s(u))
                }
                (None, Some(Electronics::Height(height_m))) if events.stages.main.is_none() => {
                    others(at.sensed_height).map(|u| events.senses_s(height_m, self.laws.height_error_m(u), ascent))
                }
                _ => return None,
            };
            Some(fires.map(ejection))
        };
        self.ways.iter().map(of).collect()
    }

    /// The ejections of a flight by each way, at points of its law of firing that weigh alike: the drawn one first, and
    /// alone where it stands for them all. `None` where nothing that opens is driven out in the air.
    pub(super) fn ejections(&self, drawn: &Drawn, events: &Events, ascent: &Ascent) -> Vec<Vec<Option<Ejection>>> {
        let as_drawn = |way: &Deployment| {
            let deployed = events.plan(way, drawn, ascent).finish(&[], ascent);
            deployed.ejection.filter(|_| !matches!(deployed.outcome, Outcome::Untrusted | Outcome::MotorEjected))
        };
        let lawful = events.failing.is_none() && !ascent.mishaps.never_left_rail && !ascent.mishaps.untrusted;
        let others = if lawful { self.nodes(drawn, events, ascent) } else { vec![None; self.ways.len()] };
        let all = |(way, others): (&Deployment, Option<Others>)| {
            core::iter::once(as_drawn(way)).chain(others.into_iter().flatten()).collect()
        };
        self.ways.iter().zip(others).map(all).collect()
    }

    /// The airspeeds that limits are held against, m/s, at the points of the law of each delay of the curve that is asked
    /// for them: of a cluster the drawn one each time. NaN where it reached the ground first.
    pub(super) fn curve_airspeeds_m_s(&self, drawn: &Drawn, events: &Events, ascent: &Ascent) -> Vec<[f64; NODES]> {
        if self.curve_speeds == 0 {
            return Vec::new();
        }
        let lag_s = if self.at_line_stretch { events.line_stretch_lag_s } else { 0.0 };
        let airspeed_m_s = |fires_s: f64| {
            if fires_s >= ascent.ground_s {
                return f64::NAN;
            }
            ascent.path.airspeed_m_s((fires_s + lag_s).min(ascent.ground_s), &drawn.wind)
        };
        let asked = self.curve_s.iter().enumerate().filter(|(k, _)| self.curve_speeds >> k & 1 == 1).map(|(_, s)| *s);
        let [(motor, burnout_s)] = drawn.thrust.motor_burnouts_s() else {
            let fires_s = |delay_s| {
                let way = Deployment { motor_delay_s: Some(delay_s), electronics: None };
                events.fires_s(&way, drawn, ascent)
            };
            return asked.map(|delay_s| [airspeed_m_s(fires_s(delay_s)); NODES]).collect();
        };
        let start_s = events.clock.starts_s(*burnout_s);
        let own = events.drawn_at.delay[*motor];
        let [a, b, c] = others(own);
        let delayed = [own, a, b, c].map(|u| self.laws.delayed(u));
        asked.map(|delay_s| core::array::from_fn(|k| airspeed_m_s(start_s + delayed[k](delay_s)))).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_in_each_quarter_and_the_drawn_one_left_out() {
        for (drawn, want) in [
            (0.1, [0.35, 0.6, 0.85]),
            (0.35, [0.1, 0.6, 0.85]),
            (0.999, [0.249, 0.499, 0.749]),
            (0.5, [0.0, 0.25, 0.75]),
        ] {
            for (found, want) in others(drawn).into_iter().zip(want) {
                assert!((found - want).abs() < 1e-12, "{drawn}: {found}");
            }
        }
    }
}
