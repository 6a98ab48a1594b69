//! From line stretch to the ground under what opens: a point mass through filling until it rides at its
//! descent rate, then the closed drift form.

use super::fleet::Fleet;
use super::forces::coriolis_m_s2;
use super::parts::{Drawn, Number, Parts};
use super::path::Moment;
use crate::lanes::{Lane, Vector, any, both, lanes_where, less, norm, not};
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
/// A floor is found to this, s.
const FLOOR_S: f64 = 1e-7;
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
pub type Point<L = f64> = [L; 7];

/// What falls, as lanes ask for it.
struct Load<L> {
    canopy_m2: L,
    bare_m2: L,
    mass_kg: L,
    fill_path_m: L,
    /// One over the air path until full; where it opens at once, 0, and `at_once` is 1.
    per_fill: L,
    at_once: L,
    fill_power: L,
}

/// The air at a point and the way through it.
struct Around<L> {
    density: L,
    gravity: L,
    /// Velocity through the air.
    u: Vector<L>,
    airspeed: L,
}

impl<L: Lane> Load<L> {
    fn new(zero: L) -> Self {
        Self {
            canopy_m2: zero,
            bare_m2: zero,
            mass_kg: L::splat(1.0),
            fill_path_m: zero,
            per_fill: zero,
            at_once: zero,
            fill_power: zero,
        }
    }

    fn set_lane(&mut self, lane: usize, falling: &Falling) {
        let canopy = &falling.canopy;
        let fills = canopy.fill_path_m > 0.0;
        for (own, new) in [
            (&mut self.canopy_m2, canopy.drag_area_m2),
            (&mut self.bare_m2, falling.bare_area_m2),
            (&mut self.mass_kg, falling.mass_kg),
            (&mut self.fill_path_m, canopy.fill_path_m),
            (&mut self.per_fill, if fills { 1.0 / canopy.fill_path_m } else { 0.0 }),
            (&mut self.at_once, if fills { 0.0 } else { 1.0 }),
            (&mut self.fill_power, f64::from(canopy.fill_power)),
        ] {
            own.set_lane(lane, new);
        }
    }

    /// Drag area after an air path.
    #[inline(always)]
    fn area_m2(&self, path_m: L) -> L {
        let one = L::splat(1.0);
        let full = (path_m * self.per_fill + self.at_once).min(one);
        let (mut share, mut power) = (one, L::splat(0.5));
        while power.any_below(self.fill_power) {
            share = power.below(self.fill_power, share * full, share);
            power = power + one;
        }
        self.bare_m2 + self.canopy_m2 * share
    }

    #[inline(always)]
    fn around(world: &impl Parts<L>, s: &Point<L>) -> Around<L> {
        let (east, north) = world.wind(s[2]);
        let (density, _) = world.air(s[2]);
        let u = [s[3] - east, s[4] - north, s[5]];
        Around { density, gravity: world.gravity(s[2]), u, airspeed: norm(u) }
    }

    #[inline(always)]
    fn filled(&self, path_m: L) -> L {
        not(less(path_m, self.fill_path_m))
    }

    /// Length of a step.
    #[inline(always)]
    fn pace_s(&self, around: &Around<L>, path_m: L) -> L {
        let of = L::splat;
        // The canopy grows within the step: slow at the rate of what it will be a tenth of the filling on.
        let area = self.area_m2(path_m + of(GROWTH_PER_STEP) * self.fill_path_m);
        let slowing = of(0.5) * around.density * area * around.airspeed / self.mass_kg;
        let paced = of(STEP_S).min(of(RATE_PER_STEP) / slowing.max(of(1e-9)));
        let growing = of(GROWTH_PER_STEP) * self.fill_path_m / around.airspeed.max(of(1e-3));
        paced.where_set(self.filled(path_m), paced.min(growing))
    }

    /// Rate of change of a point.
    #[inline(always)]
    fn rate(&self, world: &impl Parts<L>, s: &Point<L>) -> Point<L> {
        let Around { density, gravity, u, airspeed } = Self::around(world, s);
        let k = L::splat(0.5) * density * self.area_m2(s[6]) * airspeed / self.mass_kg;
        let rotation = [world.number(Number::RotationNorth), world.number(Number::RotationUp)];
        let [ce, cn, cu] = coriolis_m_s2(rotation, [s[3], s[4], s[5]]);
        [s[3], s[4], s[5], ce - k * u[0], cn - k * u[1], cu - k * u[2] - gravity, airspeed]
    }

    #[inline(always)]
    fn step(&self, world: &impl Parts<L>, s: &Point<L>, dt: L) -> Point<L> {
        let half = L::splat(0.5) * dt;
        let k1 = self.rate(world, s);
        let k2 = self.rate(world, &moved(s, &k1, half));
        let k3 = self.rate(world, &moved(s, &k2, half));
        let k4 = self.rate(world, &moved(s, &k3, dt));
        let (sixth, third) = (dt * L::splat(1.0 / 6.0), dt * L::splat(1.0 / 3.0));
        moved(&moved(&moved(&moved(s, &k1, sixth), &k2, third), &k3, third), &k4, sixth)
    }
}

/// `s + k * dt`.
#[inline(always)]
fn moved<L: Lane>(s: &Point<L>, k: &Point<L>, dt: L) -> Point<L> {
    let mut moved = *s;
    for (own, rate) in moved.iter_mut().zip(k) {
        *own = *own + *rate * dt;
    }
    moved
}

/// Something that fills on the way down.
#[derive(Debug, Clone, Copy)]
pub struct Filling<'a, 'b> {
    /// What.
    pub falling: Falling<'a, 'b>,
    /// From where.
    pub from: Moment,
    /// Down to this height at most, m.
    pub floor_m: f64,
}

/// Integrates each until it rides, or down to its floor, as many side by side as there are lanes. Gives the moment
/// reached and whether it rides.
#[inline(always)]
pub fn fill_all<L: Lane>(fillings: &[Filling]) -> Vec<(Moment, bool)> {
    let Some(first) = fillings.first() else { return Vec::new() };
    let of = L::splat;
    let (zero, one) = (of(0.0), of(1.0));
    let mut reached: Vec<(Moment, bool)> = fillings.iter().map(|f| (f.from, false)).collect();
    let mut fleet = Fleet::<L>::worlds(first.falling.parts);
    let mut load = Load::new(zero);
    let mut s: Point<L> = [zero; 7];
    let (mut time_s, mut floor_m, mut steps) = (zero, zero, zero);
    // Lanes that cross their floor within the step take it again, shortened, until it ends there.
    let (mut near, mut trial, mut longest) = (zero, zero, zero);
    let mut who = vec![0; L::WIDTH];
    let mut waiting = fillings.iter().enumerate();
    let (mut falls, mut over, mut rides) = (zero, one, zero);
    loop {
        if any(over) {
            let columns = s.map(L::array);
            for lane in lanes_where(over) {
                if falls.lane(lane) > 0.5 {
                    let one: Point = columns.map(|column| column.as_ref()[lane]);
                    reached[who[lane]] = (moment(&one, time_s.lane(lane)), rides.lane(lane) > 0.5);
                    falls.set_lane(lane, 0.0);
                }
                let Some((k, next)) = waiting.next() else { continue };
                who[lane] = k;
                if !core::ptr::eq(fleet.flight(lane), next.falling.parts) {
                    fleet.seat_world(lane, next.falling.parts);
                }
                load.set_lane(lane, &next.falling);
                let (p, v) = (next.from.position_m, next.from.velocity_m_s);
                for (own, new) in s.iter_mut().zip([p[0], p[1], p[2], v[0], v[1], v[2], 0.0]) {
                    own.set_lane(lane, new);
                }
                time_s.set_lane(lane, next.from.time_s);
                floor_m.set_lane(lane, next.floor_m);
                steps.set_lane(lane, 0.0);
                near.set_lane(lane, 0.0);
                falls.set_lane(lane, 1.0);
            }
            if !any(falls) {
                return reached;
            }
        }
        let around = Load::around(&fleet, &s);
        let whole = load.bare_m2 + load.canopy_m2;
        let rate = descent_rate(load.mass_kg, whole, around.density, around.gravity);
        let across = (around.u[0] * around.u[0] + around.u[1] * around.u[1]).sqrt();
        let filled = load.filled(s[6]);
        let settled =
            both(less((s[5] + rate).abs(), of(RIDING_VERTICAL) * rate), less(across, of(RIDING_HORIZONTAL) * rate));
        rides = both(both(falls, both(filled, settled)), not(near));
        let paced = load.pace_s(&around, s[6]);
        let dt = trial.where_set(near, paced);
        let next = load.step(&fleet, &s, dt);
        let below = next[2] - floor_m;
        longest = dt.where_set(not(near), longest);
        near = near.max(not(less(zero, below)));
        // Newton's method: the height is smooth and its rate is the vertical speed.
        trial = (dt - below / next[5]).min(longest).max(zero);
        let there = both(near, not(less(of(FLOOR_S), (trial - dt).abs())));
        let taken = both(both(falls, not(rides)), not(near).max(there));
        for (own, new) in s.iter_mut().zip(next) {
            *own = new.where_set(taken, *own);
        }
        time_s = (time_s + dt).where_set(taken, time_s);
        steps = steps + one;
        let tired = not(less(steps, of(MOST_STEPS as f64)));
        over = both(falls, rides.max(there).max(tired));
    }
}

#[inline(always)]
fn descent_rate<L: Lane>(mass_kg: L, drag_area_m2: L, density: L, gravity: L) -> L {
    (L::splat(2.0) * mass_kg * gravity / (density * drag_area_m2)).sqrt()
}

impl Falling<'_, '_> {
    /// Rate of change of a point.
    pub fn rate(&self, s: &Point) -> Point {
        let mut load = Load::new(0.0);
        load.set_lane(0, self);
        load.rate(self.parts, s)
    }

    /// Where it stops to rise: height above the pad, m, and time, s after first thrust.
    pub fn highest(&self, from: &Moment) -> (f64, f64) {
        let mut load = Load::new(0.0);
        load.set_lane(0, self);
        let (p, v) = (from.position_m, from.velocity_m_s);
        let mut s: Point = [p[0], p[1], p[2], v[0], v[1], v[2], 0.0];
        let mut time_s = from.time_s;
        for _ in 0..MOST_STEPS {
            if s[5] <= 0.0 {
                break;
            }
            let dt = load.pace_s(&Load::around(self.parts, &s), s[6]);
            let next = load.step(self.parts, &s, dt);
            if next[5] < 0.0 {
                // Within a step the speed falls evenly, near enough: at the top height hardly depends on time.
                let last_s = dt * s[5] / (s[5] - next[5]);
                return (load.step(self.parts, &s, last_s)[2], time_s + last_s);
            }
            (s, time_s) = (next, time_s + dt);
        }
        (s[2], time_s)
    }

    fn body(&self) -> Descent {
        Descent { mass_kg: self.mass_kg, drag_area_m2: self.bare_area_m2 + self.canopy.drag_area_m2 }
    }

    fn descent_rate_m_s(&self, height: f64) -> f64 {
        self.body().rate_m_s(self.parts.air.at(height).0, self.parts.gravity.at(height))
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

/// Something that comes down from line stretch.
#[derive(Debug, Clone, Copy)]
pub struct Fall<'a, 'b> {
    /// The flight's world.
    pub parts: &'b Drawn<'a>,
    /// What comes down.
    pub stages: Stages,
    /// From where.
    pub from: Moment,
    /// Its drift.
    pub drift: &'b DriftTable,
}

/// Comes down from line stretch.
pub fn descend(parts: &Drawn, stages: &Stages, from: &Moment, drift: &DriftTable) -> Landing {
    let fall = Fall { parts, stages: *stages, from: *from, drift };
    land_alone(&[fall]).remove(0)
}

/// Brings down everything, one after the other.
pub fn land_alone(falls: &[Fall]) -> Vec<Landing> {
    descend_all(falls, fill_all::<f64>)
}

/// Brings down everything; `fill` is [`fill_all`] for some lanes.
pub fn descend_all<'a, 'b>(
    falls: &[Fall<'a, 'b>],
    fill: impl Fn(&[Filling<'a, 'b>]) -> Vec<(Moment, bool)>,
) -> Vec<Landing> {
    let falling = |fall: &Fall<'a, 'b>, canopy, bare_area_m2| Falling {
        parts: fall.parts,
        canopy,
        bare_area_m2,
        mass_kg: fall.stages.mass_kg,
    };
    // A first canopy alone, down to where the main opens.
    let main_height = |fall: &Fall| fall.stages.main.map(|(_, height)| height).filter(|h| fall.from.position_m[2] > *h);
    let first: Vec<Filling> = falls
        .iter()
        .filter_map(|fall| {
            let falling = falling(fall, fall.stages.first, fall.stages.bare_area_m2);
            main_height(fall).map(|floor_m| Filling { falling, from: fall.from, floor_m })
        })
        .collect();
    let mut reached = first.iter().zip(fill(&first));
    let last: Vec<Filling> = falls
        .iter()
        .map(|fall| {
            let Stages { first, main, bare_area_m2, .. } = fall.stages;
            let from = main_height(fall)
                .and_then(|_| reached.next())
                .map_or(fall.from, |(filling, end)| filling.at_floor(&end, fall.drift));
            let falling = match main {
                None => falling(fall, first, bare_area_m2),
                Some((main, _)) => falling(fall, main, bare_area_m2 + first.drag_area_m2),
            };
            Filling { falling, from, floor_m: 0.0 }
        })
        .collect();
    falls.iter().zip(last.iter().zip(fill(&last))).map(|(fall, (filling, end))| fall.landing(filling, &end)).collect()
}

impl Filling<'_, '_> {
    /// Where it is at its floor.
    fn at_floor(&self, (reached, rides): &(Moment, bool), drift: &DriftTable) -> Moment {
        if *rides && reached.position_m[2] > self.floor_m {
            self.falling.ride(reached, self.floor_m, drift)
        } else {
            *reached
        }
    }
}

impl Fall<'_, '_> {
    fn landing(&self, filling: &Filling, end: &(Moment, bool)) -> Landing {
        let down = filling.at_floor(end, self.drift);
        let vertical = -down.velocity_m_s[2];
        Landing {
            time_s: down.time_s,
            east_m: down.position_m[0],
            north_m: down.position_m[1],
            speed_m_s: norm(down.velocity_m_s),
            vertical_speed_m_s: vertical,
            mass_kg: self.stages.mass_kg,
            seen_m2: self.stages.seen_m2,
            main_opening_m_s: self.stages.main.map(|_| filling.from.airspeed_m_s(&self.parts.wind)),
            // A descent that ran out of steps never came down.
            slowed: down.position_m[2] <= 1e-3
                && vertical > 0.0
                && vertical <= SLOWED * filling.falling.descent_rate_m_s(0.0),
        }
    }
}
