//! The recorded flight without deployment, readable at any time: one ascent serves every delay.

use crate::lanes::{Vector, dot};
use crate::root::sign_change;
use crate::wind::WindTable;

/// One recorded step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Node {
    /// Seconds after first thrust.
    pub time_s: f64,
    /// Centre of gravity east, north, up of the pad, m.
    pub position_m: Vector<f64>,
    /// Velocity over the ground, m/s.
    pub velocity_m_s: Vector<f64>,
    /// Acceleration, m/s^2.
    pub acceleration_m_s2: Vector<f64>,
    /// Unit vector of the nose.
    pub nose: Vector<f64>,
    /// Airspeed, m/s.
    pub airspeed_m_s: f64,
}

/// Place and velocity at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// Seconds after first thrust.
    pub time_s: f64,
    /// East, north, up of the pad, m.
    pub position_m: Vector<f64>,
    /// Over the ground, m/s.
    pub velocity_m_s: Vector<f64>,
}

impl Node {
    /// Place and velocity there.
    pub fn moment(&self) -> Moment {
        Moment { time_s: self.time_s, position_m: self.position_m, velocity_m_s: self.velocity_m_s }
    }
}

impl Moment {
    /// Velocity through the air, m/s.
    pub fn air_velocity_m_s(&self, wind: &WindTable) -> Vector<f64> {
        let (east, north) = wind.at(self.position_m[2]);
        [self.velocity_m_s[0] - east, self.velocity_m_s[1] - north, self.velocity_m_s[2]]
    }

    /// Airspeed, m/s.
    pub fn airspeed_m_s(&self, wind: &WindTable) -> f64 {
        let u = self.air_velocity_m_s(wind);
        dot(u, u).sqrt()
    }
}

/// A time within a step.
struct Within<'a> {
    a: &'a Node,
    b: &'a Node,
    step_s: f64,
    share: f64,
}

impl<'a> Within<'a> {
    #[inline]
    fn new(a: &'a Node, b: &'a Node, time_s: f64) -> Self {
        let step_s = b.time_s - a.time_s;
        Self { a, b, step_s, share: ((time_s - a.time_s) / step_s).clamp(0.0, 1.0) }
    }

    #[inline]
    fn blend(&self, p0: f64, m0: f64, p1: f64, m1: f64) -> f64 {
        let (s, h) = (self.share, self.step_s);
        let rise = p1 - p0;
        let (d0, d1) = (m0 * h, m1 * h);
        p0 + s * (d0 + s * (3.0 * rise - 2.0 * d0 - d1 + s * (d0 + d1 - 2.0 * rise)))
    }

    #[inline]
    fn position_m(&self, i: usize) -> f64 {
        self.blend(self.a.position_m[i], self.a.velocity_m_s[i], self.b.position_m[i], self.b.velocity_m_s[i])
    }

    #[inline]
    fn velocity_m_s(&self, i: usize) -> f64 {
        let (a, b) = (self.a, self.b);
        self.blend(a.velocity_m_s[i], a.acceleration_m_s2[i], b.velocity_m_s[i], b.acceleration_m_s2[i])
    }
}

/// Recorded steps, rising in time.
#[derive(Debug, Clone, Default)]
pub struct Path {
    /// The steps.
    pub nodes: Vec<Node>,
}

impl Path {
    /// Forgets the steps but keeps the memory.
    pub fn clear(&mut self) {
        self.nodes.clear();
    }

    /// Last recorded time, s.
    pub fn end_s(&self) -> f64 {
        self.nodes.last().map_or(0.0, |n| n.time_s)
    }

    /// Place and velocity at a time: cubic between steps (value and slope at both ends), held outside.
    pub fn at(&self, time_s: f64) -> Moment {
        let k = self.nodes.partition_point(|n| n.time_s <= time_s).saturating_sub(1);
        self.in_step(k, time_s)
    }

    /// As [`Path::at`], inside the step that begins at node `k`.
    pub fn in_step(&self, k: usize, time_s: f64) -> Moment {
        let (Some(a), b) = (self.nodes.get(k), self.nodes.get(k + 1)) else {
            return Moment { time_s, position_m: [0.0; 3], velocity_m_s: [0.0; 3] };
        };
        let Some(b) = b else {
            return Moment { time_s: a.time_s, position_m: a.position_m, velocity_m_s: a.velocity_m_s };
        };
        let within = Within::new(a, b, time_s);
        Moment {
            time_s: a.time_s + within.share * within.step_s,
            position_m: core::array::from_fn(|i| within.position_m(i)),
            velocity_m_s: core::array::from_fn(|i| within.velocity_m_s(i)),
        }
    }

    /// The airspeed of [`Path::at`] alone, m/s.
    pub fn airspeed_m_s(&self, time_s: f64, wind: &WindTable) -> f64 {
        let k = self.nodes.partition_point(|n| n.time_s <= time_s).saturating_sub(1);
        let (Some(a), Some(b)) = (self.nodes.get(k), self.nodes.get(k + 1)) else {
            return self.in_step(k, time_s).airspeed_m_s(wind);
        };
        let within = Within::new(a, b, time_s);
        let (east, north) = wind.at(within.position_m(2));
        let u = [within.velocity_m_s(0) - east, within.velocity_m_s(1) - north, within.velocity_m_s(2)];
        dot(u, u).sqrt()
    }

    /// Time inside the step after node `k` at which a quantity changes sign, to 1e-9 s.
    pub fn root_in_step(&self, k: usize, quantity: impl Fn(&Moment) -> f64) -> f64 {
        let (Some(a), Some(b)) = (self.nodes.get(k), self.nodes.get(k + 1)) else { return self.end_s() };
        sign_change(a.time_s, b.time_s, 1e-9, |t| quantity(&self.in_step(k, t)))
    }

    /// Cuts the last step at the ground.
    pub fn touch_ground(&mut self, wind: &WindTable) {
        let k = self.nodes.len() - 2;
        let t = self.root_in_step(k, |m| m.position_m[2]);
        let m = self.in_step(k, t);
        let (a, b) = (self.nodes[k], self.nodes[k + 1]);
        let w = (t - a.time_s) / (b.time_s - a.time_s);
        self.nodes[k + 1] = Node {
            time_s: t,
            position_m: m.position_m,
            velocity_m_s: m.velocity_m_s,
            acceleration_m_s2: core::array::from_fn(|i| {
                a.acceleration_m_s2[i] + (b.acceleration_m_s2[i] - a.acceleration_m_s2[i]) * w
            }),
            nose: b.nose,
            airspeed_m_s: m.airspeed_m_s(wind),
        };
    }

    /// The moment of least airspeed from a time to the end of the path.
    pub fn slowest_after(&self, from_s: f64, wind: &WindTable) -> Moment {
        let first = self.nodes.partition_point(|n| n.time_s < from_s);
        let mut best = self.at(from_s);
        let mut least = best.airspeed_m_s(wind);
        let mut node = None;
        for (k, n) in self.nodes.iter().enumerate().skip(first) {
            if n.airspeed_m_s < least {
                (best, least, node) = (n.moment(), n.airspeed_m_s, Some(k));
            }
        }
        // Refine inside the steps on both sides by golden section; the speed has one dip there.
        let k = node.unwrap_or(first);
        for k in [k.saturating_sub(1), k] {
            let (Some(a), Some(b)) = (self.nodes.get(k), self.nodes.get(k + 1)) else { continue };
            let (mut low, mut high) = (a.time_s.max(from_s), b.time_s);
            if high <= low {
                continue;
            }
            const GOLDEN: f64 = 0.618_033_988_749_894_9;
            let speed = |t: f64| self.in_step(k, t).airspeed_m_s(wind);
            let (mut x, mut y) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
            let (mut fx, mut fy) = (speed(x), speed(y));
            while high - low > 1e-4 {
                if fx < fy {
                    (high, y, fy) = (y, x, fx);
                    x = high - GOLDEN * (high - low);
                    fx = speed(x);
                } else {
                    (low, x, fx) = (x, y, fy);
                    y = low + GOLDEN * (high - low);
                    fy = speed(y);
                }
            }
            let m = self.in_step(k, 0.5 * (low + high));
            if m.airspeed_m_s(wind) < least {
                least = m.airspeed_m_s(wind);
                best = m;
            }
        }
        best
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A motion whose place is a cubic of time, recorded now and then: what lies between is exact.
    fn cubic(times_s: &[f64]) -> Path {
        let node = |&t: &f64| Node {
            time_s: t,
            position_m: [1.0 + 2.0 * t, 3.0 * t * t, 40.0 + 5.0 * t * t * t - 30.0 * t],
            velocity_m_s: [2.0, 6.0 * t, 15.0 * t * t - 30.0],
            acceleration_m_s2: [0.0, 6.0, 30.0 * t],
            nose: [0.0, 0.0, 1.0],
            airspeed_m_s: 0.0,
        };
        Path { nodes: times_s.iter().map(node).collect() }
    }

    #[test]
    fn between_the_steps() {
        let times = [0.5, 0.7, 1.5, 3.0];
        let path = cubic(&times);
        for t in [0.5, 0.6, 0.7, 0.95, 1.5, 2.9, 3.0] {
            let (found, exact) = (path.at(t), cubic(&[t]).nodes[0]);
            assert!((found.time_s - t).abs() < 1e-12);
            for i in 0..3 {
                assert!((found.position_m[i] - exact.position_m[i]).abs() < 1e-12, "{t} {found:?}");
                assert!((found.velocity_m_s[i] - exact.velocity_m_s[i]).abs() < 1e-12, "{t} {found:?}");
            }
        }
        // Held outside.
        for (t, end) in [(-9.0, 0.5), (0.4, 0.5), (3.1, 3.0), (99.0, 3.0)] {
            assert_eq!(path.at(t), path.at(end));
        }
        assert_eq!((path.end_s(), Path::default().end_s()), (3.0, 0.0));
        assert_eq!(Path::default().at(1.0).position_m, [0.0; 3]);
        // Velocity up is nothing at sqrt(2) s, in the step from 0.7 s.
        assert!((path.root_in_step(1, |m| m.velocity_m_s[2]) - 2.0_f64.sqrt()).abs() < 1e-8);
        assert_eq!(path.root_in_step(3, |m| m.velocity_m_s[2]), 3.0);
    }

    #[test]
    fn airspeed_is_against_the_wind_at_that_height() {
        let wind = WindTable::new(vec![[0.0, 0.0, 0.0], [100.0, 4.0, -8.0]]);
        let m = Moment { time_s: 0.0, position_m: [7.0, 8.0, 50.0], velocity_m_s: [5.0, 2.0, -2.0] };
        assert_eq!((m.air_velocity_m_s(&wind), m.airspeed_m_s(&wind)), ([3.0, 6.0, -2.0], 7.0));
    }

    /// Thrown up at 19.6 m/s and 6 m/s east, with 2 m/s of wind: slowest at the top, after 2 s, with 4 m/s. Wherever
    /// the steps fall it is found, and after the top the first instant is the slowest, before it the last.
    #[test]
    fn slowest_of_a_throw() {
        let wind = WindTable::uniform(2.0, 0.0);
        let thrown = |times_s: &[f64]| {
            let node = |&t: &f64| Node {
                time_s: t,
                position_m: [6.0 * t, 0.0, 100.0 + 19.6 * t - 4.9 * t * t],
                velocity_m_s: [6.0, 0.0, 19.6 - 9.8 * t],
                acceleration_m_s2: [0.0, 0.0, -9.8],
                nose: [0.0, 0.0, 1.0],
                airspeed_m_s: libm::hypot(19.6 - 9.8 * t, 4.0),
            };
            Path { nodes: times_s.iter().map(node).collect() }
        };
        for times in [
            &[0.0, 1.0, 1.9, 3.0, 4.0][..],
            &[0.0, 1.0, 2.1, 3.0, 4.0],
            &[0.0, 2.0, 4.0],
            &[0.0, 3.9],
            &[0.0, 0.4, 5.0],
        ] {
            for from_s in [0.0, 0.5, 1.0, 1.95] {
                let slowest = thrown(times).slowest_after(from_s, &wind);
                assert!((slowest.time_s - 2.0).abs() < 1e-4, "{times:?} {from_s}: {slowest:?}");
                assert!((slowest.airspeed_m_s(&wind) - 4.0).abs() < 1e-7);
            }
            for from_s in [2.2, 3.0, 3.5] {
                assert_eq!(thrown(times).slowest_after(from_s, &wind).time_s, from_s, "{times:?}");
            }
        }
        assert_eq!(thrown(&[0.0, 1.0, 1.5]).slowest_after(0.2, &wind).time_s, 1.5);
    }
}
