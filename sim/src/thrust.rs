//! Thrust of one flight: a motor's curve, and the table made of one or several drawn motors.

use crate::lanes::Lane;

/// A motor's thrust against time from first thrust, linear between points.
#[derive(Debug, Clone, PartialEq)]
pub struct ThrustCurve {
    /// (seconds, newtons), rising in time from 0.
    points: Vec<(f64, f64)>,
}

impl ThrustCurve {
    /// From points rising in time. The caller has checked them.
    pub fn new(points: Vec<(f64, f64)>) -> Self {
        Self { points }
    }

    /// A generic shape for a motor of which only impulse and average thrust are known: a short rise, a
    /// peak, a plateau and a tail-off. Its average over the burn (thrust above 5 % of the peak, NFPA 1125
    /// as quoted in a trade note) and its impulse come out as asked. The shape is an assumption.
    pub fn generic(impulse_n_s: f64, average_n: f64) -> Self {
        const SHAPE: [(f64, f64); 6] = [(0.0, 0.0), (0.04, 1.2), (0.12, 1.5), (0.25, 1.0), (0.93, 0.9), (1.0, 0.0)];
        let shape = Self::new(SHAPE.to_vec());
        // Thrust is scaled for the average, time for the impulse.
        let thrust = average_n / shape.average_n();
        let time = impulse_n_s / (shape.impulse_n_s() * thrust);
        Self::new(shape.points.iter().map(|p| (p.0 * time, p.1 * thrust)).collect())
    }

    /// The points: seconds and newtons.
    pub fn points(&self) -> &[(f64, f64)] {
        &self.points
    }

    /// Largest thrust, N.
    pub fn peak_n(&self) -> f64 {
        self.points.iter().fold(0.0, |peak, p| p.1.max(peak))
    }

    /// Thrust integrated over time, N s.
    pub fn impulse_n_s(&self) -> f64 {
        self.points.windows(2).map(|w| 0.5 * (w[0].1 + w[1].1) * (w[1].0 - w[0].0)).sum()
    }

    /// First and last time at which thrust crosses 5 % of its peak, s (NFPA 1125 burn time, read second-hand).
    pub fn burn_window_s(&self) -> (f64, f64) {
        let level = 0.05 * self.peak_n();
        let first = self.points.windows(2).find(|w| w[0].1.max(w[1].1) >= level).map_or(0.0, |w| {
            // Thrust may be there at once.
            if w[0].1 >= level { w[0].0 } else { crossing(w[0], w[1], level) }
        });
        let last = self.points.windows(2).rev().find(|w| w[0].1 >= level);
        (first, last.map_or_else(|| self.end_s(), |w| crossing(w[0], w[1], level)))
    }

    /// Time between the first and last crossing of 5 % of the peak, s.
    pub fn burn_s(&self) -> f64 {
        let (first, last) = self.burn_window_s();
        last - first
    }

    /// Impulse within the burn time over the burn time, N.
    pub fn average_n(&self) -> f64 {
        let (first, last) = self.burn_window_s();
        let inside: f64 = self
            .points
            .windows(2)
            .map(|w| {
                let (a, b) = (w[0].0.max(first), w[1].0.min(last));
                if b > a { 0.5 * (at(w, a) + at(w, b)) * (b - a) } else { 0.0 }
            })
            .sum();
        inside / (last - first)
    }

    /// End of the curve, s.
    pub fn end_s(&self) -> f64 {
        self.points.last().map_or(0.0, |p| p.0)
    }
}

fn at(w: &[(f64, f64)], t: f64) -> f64 {
    w[0].1 + (w[1].1 - w[0].1) * (t - w[0].0) / (w[1].0 - w[0].0)
}

/// Time at which the line from `a` to `b` passes a level; its nearer end where it doesn't.
fn crossing(a: (f64, f64), b: (f64, f64), level: f64) -> f64 {
    if (a.1 >= level) == (b.1 >= level) {
        return if a.1 >= level { b.0 } else { a.0 };
    }
    a.0 + (level - a.1) / (b.1 - a.1) * (b.0 - a.0)
}

/// One motor of a flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrawnMotor {
    /// Impulse over the nominal one.
    pub impulse_factor: f64,
    /// Burn time over the nominal one.
    pub burn_factor: f64,
    /// Whether it lights.
    pub lit: bool,
    /// Place of its axis off the rocket's, m, in the rocket's own transverse axes.
    pub offset_m: [f64; 2],
}

/// Which side of a node is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// What was before it.
    Before,
    /// What comes after it.
    After,
}

/// What one instant asks of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Burning<L> {
    /// 1 within the table, 0 after it.
    pub burning: L,
    /// Thrust of all motors, N.
    pub thrust_n: L,
    /// Propellant burned so far, kg.
    pub burned_kg: L,
    /// Propellant burned per second, kg/s.
    pub burn_rate_kg_s: L,
    /// Sum of thrust times offset, N m, in the rocket's transverse axes.
    pub offset_moment_n_m: [L; 2],
}

/// A linear piece of the table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece<L> {
    /// Where it begins, s.
    pub from_s: L,
    /// Where the next one begins, s.
    pub until_s: L,
    /// One over its length, 1/s.
    per_length: L,
    burning: L,
    /// Thrust, burn rate and offset moment at its beginning, and what they change by.
    first: [L; 4],
    change: [L; 4],
    burned_kg: L,
}

impl<L: Lane> Piece<L> {
    /// What burns at a time in it; held before its beginning.
    #[inline(always)]
    pub fn at(&self, time_s: L) -> Burning<L> {
        let dt = (time_s - self.from_s).max(L::splat(0.0));
        let w = dt * self.per_length;
        let mix = |k: usize| self.first[k] + self.change[k] * w;
        let rate = mix(1);
        Burning {
            burning: self.burning,
            thrust_n: mix(0),
            burned_kg: self.burned_kg + L::splat(0.5) * dt * (self.first[1] + rate),
            burn_rate_kg_s: rate,
            offset_moment_n_m: [mix(2), mix(3)],
        }
    }

    /// The same piece in every lane.
    pub fn splat(piece: &Piece<f64>) -> Self {
        let all = L::splat;
        Self {
            from_s: all(piece.from_s),
            until_s: all(piece.until_s),
            per_length: all(piece.per_length),
            burning: all(piece.burning),
            first: piece.first.map(all),
            change: piece.change.map(all),
            burned_kg: all(piece.burned_kg),
        }
    }

    /// Puts another piece into one lane.
    pub fn set_lane(&mut self, lane: usize, piece: &Piece<f64>) {
        let Piece { from_s, until_s, per_length, burning, first, change, burned_kg } = self;
        for (own, new) in [
            (from_s, piece.from_s),
            (until_s, piece.until_s),
            (per_length, piece.per_length),
            (burning, piece.burning),
            (burned_kg, piece.burned_kg),
        ] {
            own.set_lane(lane, new);
        }
        for k in 0..4 {
            first[k].set_lane(lane, piece.first[k]);
            change[k].set_lane(lane, piece.change[k]);
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Row {
    time_s: f64,
    thrust_n: f64,
    rate_kg_s: f64,
    moment_n_m: [f64; 2],
    burned_kg: f64,
    impulse_n_s: f64,
}

/// Thrust, propellant and off-axis moment of all motors of one flight.
#[derive(Debug, Clone, PartialEq)]
pub struct ThrustTable {
    rows: Vec<Row>,
    burnout_s: f64,
    motor_burnouts_s: Vec<(usize, f64)>,
}

impl ThrustTable {
    /// Adds up drawn motors of one kind. Propellant burns in proportion to the impulse delivered and is
    /// all used up, whatever impulse was drawn.
    pub fn new(curve: &ThrustCurve, propellant_kg: f64, motors: &[DrawnMotor], burnout_at_end: bool) -> Self {
        let lit: Vec<&DrawnMotor> = motors.iter().filter(|m| m.lit).collect();
        let mut times: Vec<f64> = lit.iter().flat_map(|m| curve.points().iter().map(|p| p.0 * m.burn_factor)).collect();
        times.sort_by(f64::total_cmp);
        times.dedup_by(|a, b| *a - *b < 1e-9);
        if times.is_empty() {
            times.push(0.0);
        }
        let impulse = curve.impulse_n_s();
        let mut rows: Vec<Row> = Vec::with_capacity(times.len());
        for time_s in times {
            let mut row =
                Row { time_s, thrust_n: 0.0, rate_kg_s: 0.0, moment_n_m: [0.0; 2], burned_kg: 0.0, impulse_n_s: 0.0 };
            for m in &lit {
                let nominal = nominal_thrust_n(curve.points(), time_s / m.burn_factor);
                let thrust = nominal * m.impulse_factor / m.burn_factor;
                row.thrust_n += thrust;
                // Without impulse nothing burns.
                if impulse > 0.0 {
                    row.rate_kg_s += nominal / m.burn_factor * propellant_kg / impulse;
                }
                row.moment_n_m[0] += thrust * m.offset_m[0];
                row.moment_n_m[1] += thrust * m.offset_m[1];
            }
            if let Some(last) = rows.last() {
                let dt = time_s - last.time_s;
                row.burned_kg = last.burned_kg + 0.5 * dt * (last.rate_kg_s + row.rate_kg_s);
                row.impulse_n_s = last.impulse_n_s + 0.5 * dt * (last.thrust_n + row.thrust_n);
            }
            rows.push(row);
        }
        let whole = ThrustCurve::new(rows.iter().map(|r| (r.time_s, r.thrust_n)).collect());
        let end = |c: &ThrustCurve| if burnout_at_end { c.end_s() } else { c.burn_window_s().1 };
        let one = end(curve);
        let lit_motors = motors.iter().enumerate().filter(|(_, m)| m.lit);
        let motor_burnouts_s = lit_motors.map(|(k, m)| (k, one * m.burn_factor)).collect();
        let burnout_s = if lit.is_empty() { 0.0 } else { end(&whole) };
        Self { rows, burnout_s, motor_burnouts_s }
    }

    /// No motor at all, for flights that start free.
    pub fn none() -> Self {
        Self::new(&ThrustCurve::new(Vec::new()), 0.0, &[], true)
    }

    /// Burnout of the whole flight: thrust of all motors falls below 5 % of its peak, s after first thrust.
    pub fn burnout_s(&self) -> f64 {
        self.burnout_s
    }

    /// Number and burnout of each lit motor, s after first thrust.
    pub fn motor_burnouts_s(&self) -> &[(usize, f64)] {
        &self.motor_burnouts_s
    }

    /// End of the table: no thrust after it.
    pub fn end_s(&self) -> f64 {
        self.rows.last().map_or(0.0, |r| r.time_s)
    }

    /// Impulse of all motors, N s.
    pub fn impulse_n_s(&self) -> f64 {
        self.rows.last().map_or(0.0, |r| r.impulse_n_s)
    }

    /// First node after a time, if there is one.
    pub fn next_node_s(&self, time_s: f64) -> Option<f64> {
        let k = self.rows.partition_point(|r| r.time_s <= time_s);
        self.rows.get(k).map(|r| r.time_s)
    }

    /// Times of all nodes, s.
    pub fn nodes_s(&self) -> impl Iterator<Item = f64> + '_ {
        self.rows.iter().map(|r| r.time_s)
    }

    /// What burns at a time. On a node it is what comes after it, or what was before it: thrust may jump
    /// at the end of the curve, and so does the drag of the base.
    #[inline]
    pub fn at(&self, time_s: f64, side: Side) -> Burning<f64> {
        self.piece(self.piece_at(time_s, side)).at(time_s)
    }

    /// Number of the piece at a time.
    pub fn piece_at(&self, time_s: f64, side: Side) -> usize {
        let after = match side {
            Side::After => self.rows.partition_point(|r| r.time_s <= time_s),
            Side::Before => self.rows.partition_point(|r| r.time_s < time_s),
        };
        after.saturating_sub(1)
    }

    /// A piece; from the last one on nothing burns.
    pub fn piece(&self, number: usize) -> Piece<f64> {
        let a = &self.rows[number.min(self.rows.len() - 1)];
        let Some(b) = self.rows.get(number + 1) else {
            return Piece {
                from_s: a.time_s,
                until_s: f64::INFINITY,
                per_length: 0.0,
                burning: 0.0,
                first: [0.0; 4],
                change: [0.0; 4],
                burned_kg: a.burned_kg,
            };
        };
        let of = |r: &Row| [r.thrust_n, r.rate_kg_s, r.moment_n_m[0], r.moment_n_m[1]];
        let (first, last) = (of(a), of(b));
        Piece {
            from_s: a.time_s,
            until_s: b.time_s,
            per_length: 1.0 / (b.time_s - a.time_s),
            burning: 1.0,
            first,
            change: core::array::from_fn(|k| last[k] - first[k]),
            burned_kg: a.burned_kg,
        }
    }
}

/// Thrust of the nominal curve at a time, zero outside.
fn nominal_thrust_n(points: &[(f64, f64)], t: f64) -> f64 {
    // A node of the merged table may miss its own curve's node by rounding: look slightly inside.
    let k = points.partition_point(|p| p.0 <= t + 1e-12);
    match (k.checked_sub(1).and_then(|i| points.get(i)), points.get(k)) {
        (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (t - a.0) / (b.0 - a.0),
        (Some(a), None) if t <= a.0 + 1e-9 => a.1,
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn triangular_curve_has_the_published_burn_time() {
        // NFPA 1125's definitions applied to a triangle, peak F at T/2: burn 0.95 T, average 0.525 F.
        let c = ThrustCurve::new(vec![(0.0, 0.0), (1.0, 10.0), (2.0, 0.0)]);
        assert!((c.burn_s() - 0.95 * 2.0).abs() < 1e-12);
        assert!((c.average_n() - 0.525 * 10.0).abs() < 1e-12);
        assert!((c.average_n() * c.burn_s() - 0.498_75 * 20.0).abs() < 1e-12);
    }

    #[test]
    fn generic_curve_meets_its_code() {
        let c = ThrustCurve::generic(8.8, 6.0);
        assert!((c.average_n() - 6.0).abs() < 1e-9);
        assert!((c.impulse_n_s() - 8.8).abs() < 1e-9);
    }

    #[test]
    fn table_conserves_impulse_and_propellant() {
        let c = ThrustCurve::new(vec![(0.0, 5.0), (0.3, 12.0), (1.5, 4.0), (1.6, 0.0)]);
        let motor = |i: f64, b: f64, lit| DrawnMotor { impulse_factor: i, burn_factor: b, lit, offset_m: [0.02, 0.0] };
        let t = ThrustTable::new(
            &c,
            0.01,
            &[motor(1.1, 0.9, true), motor(0.95, 1.05, true), motor(1.0, 1.0, false)],
            false,
        );
        assert!((t.impulse_n_s() / c.impulse_n_s() - 2.05).abs() < 1e-9);
        assert!((t.at(5.0, Side::After).burned_kg - 0.02).abs() < 1e-9);
        assert_eq!(t.motor_burnouts_s().len(), 2);
    }

    /// Without thrust nothing burns, and every figure is a number.
    #[test]
    fn no_impulse_burns_nothing() {
        let motor = DrawnMotor { impulse_factor: 1.0, burn_factor: 1.0, lit: true, offset_m: [0.01, 0.0] };
        for points in [Vec::new(), vec![(0.0, 0.0), (1.0, 0.0), (2.0, 0.0)]] {
            let table = ThrustTable::new(&ThrustCurve::new(points), 0.01, &[motor], false);
            for time_s in [0.0, 0.5, 1.0, 3.0] {
                let at = table.at(time_s, Side::After);
                assert_eq!((at.thrust_n, at.burned_kg, at.burn_rate_kg_s), (0.0, 0.0, 0.0), "{time_s} s");
            }
        }
    }

    /// A trapezium, integrated by hand: 0 to 8 N in 1 s, 8 N for 1 s, down to 4 N in 1 s.
    fn trapezium() -> ThrustCurve {
        ThrustCurve::new(vec![(0.0, 0.0), (1.0, 8.0), (2.0, 8.0), (3.0, 4.0)])
    }

    /// 5 % of 8 N is passed at 0.05 s; thrust that is there at once or that ends above it counts from end to end.
    #[test]
    fn burn_window_by_hand() {
        let c = trapezium();
        assert_eq!((c.peak_n(), c.impulse_n_s(), c.end_s()), (8.0, 18.0, 3.0));
        assert_eq!(c.burn_window_s(), (0.05, 3.0));
        // What is before the first crossing: a triangle of 0.05 s and 0.4 N.
        assert!((c.average_n() - (18.0 - 0.01) / 2.95).abs() < 1e-12);
        // A tail under the level after it; a step up from nothing.
        let c = ThrustCurve::new(vec![(0.0, 10.0), (1.0, 10.0), (2.0, 0.0), (5.0, 0.1), (6.0, 0.0)]);
        assert_eq!(c.burn_window_s(), (0.0, 1.95));
        let c = ThrustCurve::new(vec![(0.0, 0.0), (0.5, 0.0), (0.5, 10.0), (1.0, 10.0)]);
        assert_eq!(c.burn_window_s(), (0.5, 1.0));
        assert_eq!(ThrustCurve::new(Vec::new()).burn_window_s(), (0.0, 0.0));
    }

    /// At any time inside a piece thrust is on its line and the burned share is the impulse delivered so far.
    #[test]
    fn table_between_its_nodes() {
        let motor = DrawnMotor { impulse_factor: 1.5, burn_factor: 2.0, lit: true, offset_m: [0.02, -0.05] };
        let t = ThrustTable::new(&trapezium(), 0.36, &[motor], true);
        // Twice as long and half as strong, times 1.5: 6 N on the plateau from 2 to 4 s.
        let b = t.at(1.0, Side::After);
        assert!(b.burning == 1.0 && (b.thrust_n - 3.0).abs() < 1e-12);
        // 1 of 18 N s of the nominal curve by then, at a rate of 4 of 18 per nominal second.
        assert!(
            (b.burned_kg - 0.36 / 18.0).abs() < 1e-12 && (b.burn_rate_kg_s - 0.36 * 4.0 / 18.0 / 2.0).abs() < 1e-12
        );
        assert!((b.offset_moment_n_m[0] - 0.06).abs() < 1e-12 && (b.offset_moment_n_m[1] + 0.15).abs() < 1e-12);
        let b = t.at(5.0, Side::Before);
        assert!((b.thrust_n - 4.5).abs() < 1e-12 && (b.burned_kg - 0.36 * 15.5 / 18.0).abs() < 1e-12);
        // At the end thrust jumps.
        let (before, after) = (t.at(6.0, Side::Before), t.at(6.0, Side::After));
        assert!(
            before.burning == 1.0
                && after.burning == 0.0
                && (before.thrust_n - 3.0).abs() < 1e-12
                && after.thrust_n == 0.0
        );
        assert!((before.burned_kg - 0.36).abs() < 1e-12 && (after.burned_kg - 0.36).abs() < 1e-12);
        assert_eq!((after.burn_rate_kg_s, after.offset_moment_n_m), (0.0, [0.0; 2]));
        assert_eq!(t.nodes_s().collect::<Vec<_>>(), [0.0, 2.0, 4.0, 6.0]);
        assert_eq!(
            [-1.0, 0.0, 3.0, 4.0, 6.0].map(|s| t.next_node_s(s)),
            [Some(0.0), Some(2.0), Some(4.0), Some(6.0), None]
        );
        assert!((t.impulse_n_s() - 27.0).abs() < 1e-12);
        assert_eq!((t.burnout_s(), t.end_s(), t.motor_burnouts_s()), (6.0, 6.0, &[(0, 6.0)][..]));
    }

    /// Of three motors the second stays unlit: burnouts keep the motors' numbers, and the whole flight's burnout is
    /// where what is left falls under 5 % of what all of them peak at.
    #[test]
    fn burnout_of_a_cluster() {
        let c = ThrustCurve::new(vec![(0.0, 10.0), (1.0, 10.0), (2.0, 0.0)]);
        let motor = |burn_factor, lit| DrawnMotor { impulse_factor: 1.0, burn_factor, lit, offset_m: [0.0; 2] };
        let t = ThrustTable::new(&c, 0.01, &[motor(1.0, true), motor(1.0, false), motor(1.25, true)], false);
        let burnouts = t.motor_burnouts_s();
        assert_eq!(burnouts.iter().map(|b| b.0).collect::<Vec<_>>(), [0, 2]);
        assert!((burnouts[0].1 - 1.95).abs() < 1e-12 && (burnouts[1].1 - 1.95 * 1.25).abs() < 1e-12);
        // 5 % of 18 N is 0.9 N; the longer one falls by 8 N in 1.25 s to nothing at 2.5 s.
        assert!((t.burnout_s() - (2.5 - 0.9 * 1.25 / 8.0)).abs() < 1e-12, "{}", t.burnout_s());
        assert!((t.at(0.5, Side::After).thrust_n - 18.0).abs() < 1e-12);
        assert_eq!((ThrustTable::none().burnout_s(), ThrustTable::none().at(0.0, Side::After).burning), (0.0, 0.0));
    }
}
