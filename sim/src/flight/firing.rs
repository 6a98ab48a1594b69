//! When a way of deploying fires: a law in place of a draw.

use super::deploy::{Deployment, Electronics, delay_tolerance_s};
use crate::draw::{Law, Mass};

/// How much of each end of a law is left out of account.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Left {
    /// As good as nothing: no crossing is looked for there.
    Nothing,
    /// So little that no descent is flown for it: it is taken to slow as the last that is looked at.
    Little,
    /// The same at the ends of a curve.
    LittleOfCurve,
    /// What the flight is not followed closely for.
    Unwatched,
}

impl Left {
    const SHARES: [f64; 4] = [1e-9, 1e-6, 1e-4, 1e-2];
}

/// The ends of every law without a share of it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Ends {
    delay: [f64; 2],
    apogee_lag_s: [f64; 2],
    height_error_m: [f64; 2],
}

/// Distribution of a delay's error: seconds where the caller gives them, else shares of the tolerance.
#[derive(Debug, Clone, PartialEq)]
pub enum DelayError {
    /// In seconds, whatever the delay.
    Seconds(Law),
    /// In units of the delay's tolerance.
    Tolerances(Law),
}

impl DelayError {
    /// The error at a number between 0 and 1: units of the tolerance, and seconds on top.
    pub fn at(&self, u: f64) -> [f64; 2] {
        match self {
            Self::Seconds(law) => [0.0, law.at(u)],
            Self::Tolerances(law) => [law.at(u), 0.0],
        }
    }
}

/// The laws of all that decides when something fires. They depend on the case alone.
#[derive(Debug, Clone, PartialEq)]
pub struct FiringLaws {
    delay: DelayError,
    delay_mass: Mass,
    apogee_lag: Law,
    apogee_mass: Mass,
    sensed_height: Law,
    height_mass: Mass,
    /// For each of [`Left`].
    ends: [Ends; 4],
}

/// Numbers between 0 and 1 that a flight's firing was drawn at.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnAt {
    /// Per motor.
    pub delay: Vec<f64>,
    /// Lag of apogee sensing.
    pub apogee_lag: f64,
    /// Error of a sensed height.
    pub sensed_height: f64,
}

/// Values between which a law lies but for a share at each end.
fn ends(law: &Law, share: f64) -> [f64; 2] {
    match law {
        Law::Sample(_) => {
            let (least, most) = law.reach();
            [least, most]
        }
        law => [law.at(share), law.at(1.0 - share)],
    }
}

impl FiringLaws {
    /// From the laws of the spread.
    pub fn new(delay: &DelayError, apogee_lag: &Law, sensed_height: &Law) -> Self {
        let (DelayError::Seconds(delay_law) | DelayError::Tolerances(delay_law)) = delay;
        Self {
            delay: delay.clone(),
            delay_mass: Mass::of(delay_law),
            apogee_lag: apogee_lag.clone(),
            apogee_mass: Mass::of(apogee_lag),
            sensed_height: sensed_height.clone(),
            height_mass: Mass::of(sensed_height),
            ends: Left::SHARES.map(|share| Ends {
                delay: ends(delay_law, share),
                apogee_lag_s: ends(apogee_lag, share).map(|lag| lag.max(0.0)),
                height_error_m: ends(sensed_height, share),
            }),
        }
    }

    /// What the law of a delay's error counts in, s.
    fn delay_unit_s(&self, delay_s: f64) -> f64 {
        match self.delay {
            DelayError::Seconds(_) => 1.0,
            DelayError::Tolerances(_) => delay_tolerance_s(delay_s),
        }
    }

    /// From the start of its clock to a motor's charge, at a number between 0 and 1, s: of any delay.
    pub(super) fn delayed(&self, u: f64) -> impl Fn(f64) -> f64 + use<> {
        let [tolerances, seconds] = self.delay.at(u);
        move |delay_s| (delay_s + (tolerances * delay_tolerance_s(delay_s) + seconds)).max(0.0)
    }

    /// Lag of apogee sensing at a number between 0 and 1, s.
    pub(super) fn apogee_lag_s(&self, u: f64) -> f64 {
        self.apogee_lag.at(u).max(0.0)
    }

    /// Error of a sensed height at a number between 0 and 1, m.
    pub(super) fn height_error_m(&self, u: f64) -> f64 {
        self.sensed_height.at(u)
    }

    /// Probability that a charge has fired so long after the start of its clock; `before`, that it had just before.
    pub(super) fn motor(&self, since_s: f64, delay_s: f64, before: bool) -> f64 {
        // No delay is shorter than none, so all that would be earlier fires at the start.
        if since_s < 0.0 || (before && since_s <= 0.0) {
            return 0.0;
        }
        let error = (since_s - delay_s) / self.delay_unit_s(delay_s);
        if before { self.delay_mass.below(error) } else { self.delay_mass.up_to(error) }
    }

    /// Probability that the sensing of apogee lags by at most this; `before`, by less.
    pub(super) fn apogee(&self, since_s: f64, before: bool) -> f64 {
        if since_s < 0.0 || (before && since_s <= 0.0) {
            return 0.0;
        }
        if before { self.apogee_mass.below(since_s) } else { self.apogee_mass.up_to(since_s) }
    }

    /// Probability that a sensed height has been fallen through at a height so far above the set one; `before`, that it
    /// had been just before. Where the height sensed is never reached (`top_m` above the set one, or more) it fires by
    /// the lag of apogee sensing, which has passed or not.
    pub(super) fn height(&self, above_m: f64, top_m: f64, lag_passed: bool, before: bool) -> f64 {
        let at_least = |m: f64| 1.0 - self.height_mass.below(m);
        let fallen = if before { 1.0 - self.height_mass.up_to(above_m) } else { at_least(above_m) };
        let never_reached = at_least(top_m);
        if lag_passed { fallen.max(never_reached) } else { (fallen - never_reached).max(0.0) }
    }

    /// From when to when after the start of its clock a motor's charge fires, s.
    pub(super) fn delayed_between_s(&self, delay_s: f64, left: Left) -> [f64; 2] {
        let unit_s = self.delay_unit_s(delay_s);
        self.ends[left as usize].delay.map(|error| (delay_s + error * unit_s).max(0.0))
    }

    /// Least and greatest lag of apogee sensing, s.
    pub(super) fn lags_between_s(&self, left: Left) -> [f64; 2] {
        self.ends[left as usize].apogee_lag_s
    }

    /// Least and greatest error of a sensed height, m.
    pub(super) fn height_errors_between_m(&self, left: Left) -> [f64; 2] {
        self.ends[left as usize].height_error_m
    }

    /// From when to when, after first thrust, all but what is left out of what may fire does, by several ways (`left[0]`) and by
    /// a range of delays (`left[1]`), s. That of a height has no end but the ground.
    pub(super) fn reach_s(
        &self,
        ways: &[Deployment],
        delays_s: Option<[f64; 2]>,
        starts_s: &[f64],
        apogee_s: f64,
        left: [Left; 2],
    ) -> [f64; 2] {
        let mut reach = [f64::INFINITY, f64::NEG_INFINITY];
        let mut widen = |from: f64, to: f64| reach = [reach[0].min(from), reach[1].max(to)];
        let first = starts_s.iter().copied().fold(f64::INFINITY, f64::min);
        let last = starts_s.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let asked = ways.iter().filter_map(|way| way.motor_delay_s).map(|delay_s| (delay_s, left[0]));
        let of_curve = delays_s.into_iter().flatten().map(|delay_s| (delay_s, left[1]));
        for (delay_s, left) in asked.chain(of_curve).filter(|_| !starts_s.is_empty()) {
            let [from, to] = self.delayed_between_s(delay_s, left);
            widen(first + from, last + to);
        }
        for electronics in ways.iter().filter_map(|way| way.electronics) {
            match electronics {
                Electronics::Apogee => {
                    let [from, to] = self.lags_between_s(left[0]);
                    widen(apogee_s + from, apogee_s + to);
                }
                Electronics::Height(_) => widen(apogee_s, f64::INFINITY),
            }
        }
        // A hair wider, so that what lies on an end is inside.
        [reach[0] - 1e-6, reach[1] + 1e-6]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn laws(delay: DelayError) -> FiringLaws {
        let lag = Law::Triangular { low: 0.0, mode: 0.3, high: 1.5 };
        FiringLaws::new(&delay, &lag, &Law::Normal { mean: 0.0, sd: 5.0 })
    }

    /// Whatever varies, the share fired at the time drawn at a number is that number.
    #[test]
    fn the_share_fired_undoes_the_draw() {
        let normal = |sd| Law::Normal { mean: 0.1, sd };
        for laws in [
            laws(DelayError::Tolerances(normal(0.4))),
            laws(DelayError::Seconds(normal(0.5))),
            laws(DelayError::Seconds(Law::Uniform { low: -0.2, high: 0.4 })),
        ] {
            for delay in [4.0, 12.0] {
                for u in [0.01, 0.3, 0.5, 0.9, 0.999] {
                    let fired = laws.delayed(u)(delay);
                    for before in [false, true] {
                        let share = laws.motor(fired, delay, before);
                        assert!((share - u).abs() < 1e-9, "{laws:?} {delay} {u}: {share}");
                    }
                }
                let [from, to] = laws.delayed_between_s(delay, Left::Nothing);
                assert!(laws.motor(from, delay, true) < 3e-9 && laws.motor(to, delay, false) > 1.0 - 3e-9);
            }
        }
        let laws = laws(DelayError::Tolerances(normal(0.4)));
        for u in [0.01, 0.5, 0.99] {
            assert!((laws.apogee(laws.apogee_lag_s(u), false) - u).abs() < 1e-12);
            // Falling, what is sensed higher comes first.
            let error_m = laws.height_error_m(u);
            assert!((laws.height(error_m, 1e3, true, false) - (1.0 - u)).abs() < 1e-12);
        }
        assert_eq!((laws.apogee(-0.1, false), laws.motor(-0.1, 4.0, false)), (0.0, 0.0));
    }

    /// A delay that would be less than none fires as its clock starts, and not before.
    #[test]
    fn what_would_be_earlier_fires_at_the_start() {
        let laws = laws(DelayError::Seconds(Law::Normal { mean: 0.0, sd: 1.0 }));
        let at_once = 0.158_655_253_931_457;
        assert!((laws.motor(0.0, 1.0, false) - at_once).abs() < 1e-12);
        assert_eq!(laws.motor(0.0, 1.0, true), 0.0);
        assert!((laws.motor(1e-9, 1.0, true) - at_once).abs() < 1e-8);
    }

    /// Heights never reached fire by apogee's lag: 2.5 m below the top half a standard deviation of 5 m is left.
    #[test]
    fn heights_above_the_top_wait_for_the_lag() {
        let laws = laws(DelayError::Seconds(Law::Fixed(0.0)));
        let above = 0.308_537_538_725_987;
        assert!((laws.height(2.5, 2.5, true, false) - above).abs() < 1e-12);
        assert!(laws.height(2.5, 2.5, false, false) < 1e-12);
        // Fallen to the set height: half of all, of which those are still waiting.
        assert!((laws.height(0.0, 2.5, false, false) - (0.5 - above)).abs() < 1e-12);
        assert!((laws.height(0.0, 2.5, true, false) - 0.5).abs() < 1e-12);
    }
}
