//! From line stretch to the ground under what opens: a point mass through filling until it rides at its
//! descent rate, then the closed drift form.

use super::forces::coriolis_m_s2;
use super::parts::Drawn;
use super::path::Moment;
use crate::lanes::norm;
use crate::root::sign_change;
use crate::wind::{Descent, DriftTable};

/// What opens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Canopy {
    /// Drag coefficient times area when full, m^2.
    pub drag_area_m2: f64,
    /// Air path until full, m; zero opens at once.
    pub fill_path_m: f64,
    /// Drag area grows with air path to this power: 2 for a solid round canopy, 1 for ribbons, 0 for what has nothing to
    /// fill.
    pub fill_power: u8,
}

/// A descent to the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Landing {
    /// Seconds after first thrust.
    pub time_s: f64,
    /// East of the pad, m.
    pub east_m: f64,
    /// North of the pad, m.
    pub north_m: f64,
    /// Total speed over the ground at touchdown, m/s.
    pub speed_m_s: f64,
    /// Downward speed at touchdown, m/s.
    pub vertical_speed_m_s: f64,
    /// What came down, kg.
    pub mass_kg: f64,
    /// Its area seen from above, m^2.
    pub seen_m2: f64,
    /// Airspeed at which a main canopy began to open, m/s, if there is one.
    pub main_opening_m_s: Option<f64>,
    /// Whether it had slowed to its descent rate before the ground.
    pub slowed: bool,
}

impl Landing {
    /// Kinetic energy at touchdown, J.
    pub fn energy_j(&self) -> f64 {
        0.5 * self.mass_kg * self.speed_m_s * self.speed_m_s
    }

    /// Distance from the pad, m.
    pub fn distance_m(&self) -> f64 {
        (self.east_m * self.east_m + self.north_m * self.north_m).sqrt()
    }
}

/// Longest step while filling and slowing, s.
const STEP_S: f64 = 0.1;
/// Step times the rate at which a full canopy would slow it.
const RATE_PER_STEP: f64 = 0.25;
/// A step fills at most this share of the canopy.
const GROWTH_PER_STEP: f64 = 0.1;
/// It rides when its vertical speed is within this share of the descent rate ...
const RIDING_VERTICAL: f64 = 0.01;
/// ... and its horizontal airspeed below this share (it then moves the descent rate by under 1 %).
const RIDING_HORIZONTAL: f64 = 0.12;
/// At touchdown this share over the descent rate counts as not slowed.
pub(super) const SLOWED: f64 = 1.1;
const MOST_STEPS: usize = 20_000;

/// A point mass under a growing canopy.
#[derive(Debug, Clone, Copy)]
pub struct Falling<'a, 'b> {
    /// The flight's world.
    pub parts: &'b Drawn<'a>,
    /// What opens.
    pub canopy: Canopy,
    /// Drag area of all the rest, m^2.
    pub bare_area_m2: f64,
    /// Mass, kg.
    pub mass_kg: f64,
}

/// Place (m), velocity (m/s) and air path since line stretch (m).
pub type Point = [f64; 7];

impl Falling<'_, '_> {
    /// Share of the full drag area after an air path.
    fn open_share(&self, path_m: f64) -> f64 {
        let full = if self.canopy.fill_path_m > 0.0 { (path_m / self.canopy.fill_path_m).min(1.0) } else { 1.0 };
        (0..self.canopy.fill_power).fold(1.0, |share, _| share * full)
    }

    /// Rate of change of a point.
    pub fn rate(&self, s: &Point) -> Point {
        let (we, wn) = self.parts.wind.at(s[2]);
        let (density, _) = self.parts.air.at(s[2]);
        let u = [s[3] - we, s[4] - wn, s[5]];
        let airspeed = norm(u);
        let area = self.bare_area_m2 + self.canopy.drag_area_m2 * self.open_share(s[6]);
        let k = 0.5 * density * area * airspeed / self.mass_kg;
        let fall = self.parts.gravity.at(s[2]);
        let [ce, cn, cu] = coriolis_m_s2(self.parts.earth_rotation_rad_s, [s[3], s[4], s[5]]);
        [s[3], s[4], s[5], ce - k * u[0], cn - k * u[1], cu - k * u[2] - fall, airspeed]
    }

    fn step(&self, s: &Point, dt: f64) -> Point {
        let add = |s: &Point, k: &Point, dt: f64| -> Point { core::array::from_fn(|i| s[i] + k[i] * dt) };
        let k1 = self.rate(s);
        let k2 = self.rate(&add(s, &k1, 0.5 * dt));
        let k3 = self.rate(&add(s, &k2, 0.5 * dt));
        let k4 = self.rate(&add(s, &k3, dt));
        core::array::from_fn(|i| s[i] + dt / 6.0 * (k1[i] + 2.0 * (k2[i] + k3[i]) + k4[i]))
    }

    fn body(&self) -> Descent {
        Descent { mass_kg: self.mass_kg, drag_area_m2: self.bare_area_m2 + self.canopy.drag_area_m2 }
    }

    fn descent_rate_m_s(&self, height: f64) -> f64 {
        self.body().rate_m_s(self.parts.air.at(height).0, self.parts.gravity.at(height))
    }

    /// Integrates until it rides, or down to `floor_m`. Gives the moment reached and whether it rides.
    fn fill(&self, from: &Moment, floor_m: f64) -> (Moment, bool) {
        let (p, v) = (from.position_m, from.velocity_m_s);
        let mut s: Point = [p[0], p[1], p[2], v[0], v[1], v[2], 0.0];
        let mut time = from.time_s;
        for _ in 0..MOST_STEPS {
            let rate = self.descent_rate_m_s(s[2]);
            let (we, wn) = self.parts.wind.at(s[2]);
            let across = ((s[3] - we) * (s[3] - we) + (s[4] - wn) * (s[4] - wn)).sqrt();
            let airspeed = (across * across + s[5] * s[5]).sqrt();
            let filled = s[6] >= self.canopy.fill_path_m;
            if filled && (s[5] + rate).abs() < RIDING_VERTICAL * rate && across < RIDING_HORIZONTAL * rate {
                return (moment(&s, time), true);
            }
            // The canopy grows within the step: slow at the rate of what it will be a tenth of the filling on.
            let grown = self.open_share(s[6] + GROWTH_PER_STEP * self.canopy.fill_path_m);
            let area = self.bare_area_m2 + self.canopy.drag_area_m2 * grown;
            let slowing = 0.5 * self.parts.air.at(s[2]).0 * area * airspeed / self.mass_kg;
            let mut dt = STEP_S.min(RATE_PER_STEP / slowing.max(1e-9));
            if !filled {
                dt = dt.min(GROWTH_PER_STEP * self.canopy.fill_path_m / airspeed.max(1e-3));
            }
            let next = self.step(&s, dt);
            if next[2] <= floor_m {
                let part = sign_change(0.0, dt, 1e-7, |part| self.step(&s, part)[2] - floor_m);
                return (moment(&self.step(&s, part), time + part), false);
            }
            s = next;
            time += dt;
        }
        (moment(&s, time), false)
    }

    /// Rides the closed form from a moment down to a height.
    fn ride(&self, from: &Moment, low_m: f64, drift: &DriftTable) -> Moment {
        let (wind, air) = (&self.parts.wind, &self.parts.air);
        let gravity = |z: f64| self.parts.gravity.at(z);
        let high = from.position_m[2];
        let body = self.body();
        let rate = self.descent_rate_m_s(low_m);
        let high_rate = self.descent_rate_m_s(high);
        let g = gravity(low_m);
        // Slowing down as the air thickens takes more drag than weight alone: at a deceleration a the speed is
        // the descent rate times 1 + a/2g, with a the product of rate and its change per metre.
        let change_per_s = (high_rate - rate) / (high - low_m).max(1e-9);
        let faster = 1.0 + 0.5 * 0.5 * (rate + high_rate) * change_per_s / g;
        let d = drift.between(high, low_m, &body, wind, air, gravity);
        let start = [from.velocity_m_s[0], from.velocity_m_s[1]];
        let v = DriftTable::velocity_at(low_m, high, start, rate * rate / g, wind);
        // What it comes further than the air: for the difference to the wind at the top, on the way, and below.
        let ((top_east, top_north), (ground_east, ground_north)) = (wind.at(high), wind.at(low_m));
        let ends =
            |start: f64, top: f64, ground: f64, end: f64| high_rate / g * (start - top) + rate / g * (ground - end);
        // Coriolis, -2 omega x v of the air's motion and of the fall: sideways it pushes for as long as the time
        // constant; moving east weighs less, so that the fall takes longer.
        let [on, ou] = self.parts.earth_rotation_rad_s;
        let faster = faster - on * d.air_m[0] / (d.seconds * g).max(1e-9);
        let mean_time_constant_s = d.time_constant_m_s / (high - low_m).max(1e-9);
        let turned_east = 2.0 * (on * d.time_constant_m_s + ou * mean_time_constant_s * d.air_m[1]);
        let turned_north = -2.0 * ou * mean_time_constant_s * d.air_m[0];
        let east = d.air_m[0] / faster + d.lag_m[0] + ends(start[0], top_east, ground_east, v[0]) + turned_east;
        let north = d.air_m[1] / faster + d.lag_m[1] + ends(start[1], top_north, ground_north, v[1]) + turned_north;
        Moment {
            time_s: from.time_s + d.seconds / faster,
            position_m: [from.position_m[0] + east, from.position_m[1] + north, low_m],
            velocity_m_s: [v[0], v[1], -rate],
        }
    }
}

fn moment(s: &Point, time_s: f64) -> Moment {
    Moment { time_s, position_m: [s[0], s[1], s[2]], velocity_m_s: [s[3], s[4], s[5]] }
}

/// A canopy, and a second one that opens on the way down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stages {
    /// Opens at line stretch.
    pub first: Canopy,
    /// Opens when the rocket comes down to the height above the pad, m; the first stays.
    pub main: Option<(Canopy, f64)>,
    /// Drag area of what hangs below, m^2.
    pub bare_area_m2: f64,
    /// Mass that hangs, kg.
    pub mass_kg: f64,
    /// Its area seen from above, m^2.
    pub seen_m2: f64,
}

/// Comes down from line stretch.
pub fn descend(parts: &Drawn, stages: &Stages, from: &Moment, drift: &DriftTable) -> Landing {
    let falling = |canopy, bare_area_m2| Falling { parts, canopy, bare_area_m2, mass_kg: stages.mass_kg };
    let first = falling(stages.first, stages.bare_area_m2);
    let mut main_opening_m_s = None;
    let (last, start) = match stages.main {
        None => (first, *from),
        Some((main, height)) => {
            let opening = if from.position_m[2] <= height {
                *from
            } else {
                let (reached, riding) = first.fill(from, height);
                if riding && reached.position_m[2] > height { first.ride(&reached, height, drift) } else { reached }
            };
            main_opening_m_s = Some(opening.airspeed_m_s(&parts.wind));
            (falling(main, stages.bare_area_m2 + stages.first.drag_area_m2), opening)
        }
    };
    let (reached, riding) = last.fill(&start, 0.0);
    let down = if riding { last.ride(&reached, 0.0, drift) } else { reached };
    let vertical = -down.velocity_m_s[2];
    Landing {
        time_s: down.time_s,
        east_m: down.position_m[0],
        north_m: down.position_m[1],
        speed_m_s: norm(down.velocity_m_s),
        vertical_speed_m_s: vertical,
        mass_kg: stages.mass_kg,
        seen_m2: stages.seen_m2,
        main_opening_m_s,
        // A descent that ran out of steps never came down.
        slowed: down.position_m[2] <= 1e-3 && vertical > 0.0 && vertical <= SLOWED * last.descent_rate_m_s(0.0),
    }
}
