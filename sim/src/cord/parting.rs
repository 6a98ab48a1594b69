//! Nose section and airframe after the ejection: they part, the cord runs out, and it is stretched.
//!
//! Along one line, that of the airflow: each body is braked by its own drag and both by the tension between them. The nose
//! section begins ahead. A light or blunt one falls back past the airframe, so that the cord may run out on either side.
//! Gravity moves both alike and does not enter. What opens is still packed: its own load on the cord is none of this.

use super::strand::Strand;
use crate::root::sign_change;

/// Most strands side by side.
pub const MOST_STRANDS: usize = 4;
/// Times that the cord runs out and is followed: ahead, and after a rebound or the drag behind.
const SNATCHES: usize = 2;
/// A cord that has not run out by then does so with what opens, s.
const RUN_OUT_S: f64 = 5.0;
/// Longest step while it is stretched: as a share of the radian of the bodies on it, and of the time in which drag brakes.
/// The peak is then within 1e-6 of closed forms (CRD-1 to CRD-5 on the validation page).
const STEP: f64 = 0.08;
/// Place within a step where its stage ends or the cord slackens, and where its tension is highest: as shares of the step.
/// What the peak is off by goes with the square of the latter.
const FOUND: f64 = 1e-8;
const PEAK: f64 = 1e-4;
/// Steps of one stretching, after which it is given up: it takes some forty, and more where drag is strong.
const MOST_STEPS: usize = 20_000;

/// One of the two bodies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Body {
    /// Mass, kg.
    pub mass_kg: f64,
    /// Drag coefficient times area, m^2.
    pub drag_area_m2: f64,
}

/// The ejection as the two bodies see it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parting {
    /// Nose section.
    pub nose: Body,
    /// Airframe.
    pub airframe: Body,
    /// Airspeed of both at the ejection, m/s.
    pub airspeed_m_s: f64,
    /// Density of the air, kg/m^3.
    pub density_kg_m3: f64,
    /// Speed at which the charge drives them apart, m/s: its impulse on each over that body's mass, added up.
    pub parting_m_s: f64,
    /// Stiffness of the cord over the nominal one.
    pub stiffness: f64,
    /// Loss factor of the cord over the nominal one.
    pub damping: f64,
}

/// A range of separation in which the tension rises straight: that of all strands together.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Stage {
    from_m: f64,
    from_n: f64,
    stiffness_n_m: f64,
    /// Sum of loss factor times stiffness over the strands, N/m: each loses a share of what it stores, as parts in series do.
    losses_n_m: f64,
}

/// Strands side by side between the same two anchors.
#[derive(Debug, Clone, PartialEq)]
pub struct Cord {
    strands: Vec<Strand>,
    /// By rising separation; the first begins where the shortest strand is taut.
    stages: Vec<Stage>,
}

/// The hardest pull on a cord.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pull {
    /// Tension of all strands together, N.
    pub tension_n: f64,
    /// The highest of each strand, N: where they are damped unlike, not at the same time.
    pub strands_n: [f64; MOST_STRANDS],
    /// After the ejection, s.
    pub after_s: f64,
    /// Whether the nose section is behind the airframe then.
    pub behind: bool,
}

impl Pull {
    /// Of a cord that does not run out.
    pub const NONE: Self = Self { tension_n: 0.0, strands_n: [0.0; MOST_STRANDS], after_s: f64::NAN, behind: false };
}

/// Both bodies at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
struct State {
    time_s: f64,
    /// Nose section ahead of the airframe, m.
    apart_m: f64,
    /// Airspeeds of nose section and airframe, m/s.
    speeds_m_s: [f64; 2],
}

impl State {
    /// Rate at which they part, m/s.
    fn parting_m_s(&self) -> f64 {
        self.speeds_m_s[0] - self.speeds_m_s[1]
    }
}

impl Cord {
    /// From its strands.
    pub fn new(strands: Vec<Strand>) -> Self {
        let length_and_pieces = |strand: &Strand| (strand.length_m(), strand.pieces().to_vec());
        let each: Vec<_> = strands.iter().map(length_and_pieces).collect();
        let mut kinks_m: Vec<f64> =
            each.iter().flat_map(|(length_m, pieces)| pieces.iter().map(move |p| length_m + p.from_m)).collect();
        kinks_m.sort_by(f64::total_cmp);
        kinks_m.dedup();
        let stage = |from_m: f64| {
            let mut stage = Stage { from_m, from_n: 0.0, stiffness_n_m: 0.0, losses_n_m: 0.0 };
            for (length_m, pieces) in &each {
                if let Some(piece) = pieces.iter().rev().find(|piece| from_m >= length_m + piece.from_m) {
                    stage.from_n += piece.from_n + piece.stiffness_n_m * (from_m - length_m - piece.from_m);
                    stage.stiffness_n_m += piece.stiffness_n_m;
                    stage.losses_n_m += piece.loss_factor * piece.stiffness_n_m;
                }
            }
            stage
        };
        let stages = kinks_m.into_iter().map(stage).collect();
        Self { strands, stages }
    }

    /// Its strands.
    pub fn strands(&self) -> &[Strand] {
        &self.strands
    }

    /// The hardest pull while the bodies part.
    pub fn pull(&self, parting: &Parting) -> Pull {
        let Some(length_m) = self.stages.first().map(|stage| stage.from_m) else { return Pull::NONE };
        let bodies = Bodies::of(parting);
        let mut hardest = Pull::NONE;
        let mut state = bodies.parted(parting);
        for _ in 0..SNATCHES {
            let Some(taut) = bodies.run_out(&state, length_m) else { break };
            match self.stretched(&bodies, taut, &mut hardest) {
                Some(slack) => state = slack,
                None => break,
            }
        }
        hardest
    }

    /// From taut to slack again; `None` where it does not slacken. Notes the hardest pull.
    fn stretched(&self, bodies: &Bodies, taut: State, hardest: &mut Pull) -> Option<State> {
        let side = 1.0_f64.copysign(taut.apart_m);
        let mut state = State { apart_m: side * taut.apart_m, ..taut };
        let mut k = 0;
        for _ in 0..MOST_STEPS {
            let held = Held::new(bodies, &self.stages[k], side);
            self.note(&held, &state, hardest);
            let step_s = held.step_s(&state);
            let next = held.step(&state, step_s);
            // Where it leaves the stage, or slackens, the step ends there.
            let floor_m = if k > 0 { self.stages[k].from_m } else { f64::NEG_INFINITY };
            let top_m = self.stages.get(k + 1).map_or(f64::INFINITY, |stage| stage.from_m);
            let ends = |quantity: &dyn Fn(&State) -> f64| {
                let place = |step_s: f64| quantity(&held.step(&state, step_s));
                sign_change(0.0, step_s, FOUND * step_s, place)
            };
            let own = if next.apart_m >= top_m {
                k += 1;
                ends(&|s| s.apart_m - top_m)
            } else if held.tension_n(&next) <= 0.0 && held.tension_n(&state) > 0.0 {
                let slack = held.step(&state, ends(&|s| held.tension_n(s)));
                return Some(State { apart_m: side * slack.apart_m, ..slack });
            } else if next.apart_m < floor_m {
                k -= 1;
                ends(&|s| s.apart_m - floor_m)
            } else {
                step_s
            };
            let reached = held.step(&state, own);
            if held.rise_n_s(&state) > 0.0 && held.rise_n_s(&reached) <= 0.0 {
                let peak_s = sign_change(0.0, own, PEAK * own, |step_s| held.rise_n_s(&held.step(&state, step_s)));
                self.note(&held, &held.step(&state, peak_s), hardest);
            }
            let [before_m_s, after_m_s] = [&state, &reached].map(|s| side * s.parting_m_s());
            if before_m_s > 0.0 && after_m_s <= 0.0 && self.strands.len() > 1 {
                // A strand that is damped less than the others is pulled hardest at the longest stretch.
                let longest_s = sign_change(0.0, own, PEAK * own, |step_s| held.step(&state, step_s).parting_m_s());
                self.note(&held, &held.step(&state, longest_s), hardest);
            }
            self.note(&held, &reached, hardest);
            // Drag alone holds it taut from here on.
            if before_m_s < 0.0 && after_m_s >= 0.0 {
                return None;
            }
            state = reached;
        }
        None
    }

    /// Takes the pull at a state where it is the hardest so far: of all strands, and of each.
    fn note(&self, held: &Held, state: &State, hardest: &mut Pull) {
        let tension_n = held.tension_n(state);
        let rate_m_s = held.side * state.parting_m_s();
        if self.strands.len() > 1 || tension_n > hardest.tension_n {
            for (most_n, strand) in hardest.strands_n.iter_mut().zip(&self.strands) {
                let stretch_m = state.apart_m - strand.length_m();
                if let Some(piece) = strand.piece(stretch_m) {
                    let elastic_n = piece.from_n + piece.stiffness_n_m * (stretch_m - piece.from_m);
                    let damping_n_s_m = piece.loss_factor * piece.stiffness_n_m * held.loss_s;
                    *most_n = most_n.max(held.bodies.stiffness * elastic_n + damping_n_s_m * rate_m_s);
                }
            }
        }
        if tension_n > hardest.tension_n {
            (hardest.tension_n, hardest.after_s, hardest.behind) = (tension_n, state.time_s, held.side < 0.0);
        }
    }
}

/// What of the bodies does not change.
struct Bodies {
    /// Deceleration by drag over the square of the airspeed, 1/m.
    drag_per_m: [f64; 2],
    per_mass: [f64; 2],
    reduced_kg: f64,
    stiffness: f64,
    /// Root of (stiffness factor times reduced mass), times the damping.
    root_losses: f64,
}

impl Bodies {
    fn of(parting: &Parting) -> Self {
        let both = [parting.nose, parting.airframe];
        let per_mass = both.map(|body| 1.0 / body.mass_kg);
        let reduced_kg = 1.0 / (per_mass[0] + per_mass[1]);
        Self {
            drag_per_m: both.map(|body| 0.5 * parting.density_kg_m3 * body.drag_area_m2 / body.mass_kg),
            per_mass,
            reduced_kg,
            stiffness: parting.stiffness,
            root_losses: parting.damping * (parting.stiffness * reduced_kg).sqrt(),
        }
    }

    /// Just after the charge: what it gives one body it takes from the other.
    fn parted(&self, parting: &Parting) -> State {
        let each_m_s = parting.parting_m_s * self.reduced_kg;
        let speeds_m_s =
            [parting.airspeed_m_s + each_m_s * self.per_mass[0], parting.airspeed_m_s - each_m_s * self.per_mass[1]];
        State { time_s: 0.0, apart_m: 0.0, speeds_m_s }
    }

    /// With the cord slack, after so long: each body's own closed form.
    fn coasted(&self, from: &State, for_s: f64) -> State {
        let mut gone_m = [0.0; 2];
        let mut speeds_m_s = from.speeds_m_s;
        for i in 0..2 {
            let slows = self.drag_per_m[i] * from.speeds_m_s[i].abs();
            speeds_m_s[i] = from.speeds_m_s[i] / (1.0 + slows * for_s);
            gone_m[i] = if slows * for_s > 0.0 {
                from.speeds_m_s[i] * libm::log1p(slows * for_s) / slows
            } else {
                from.speeds_m_s[i] * for_s
            };
        }
        State { time_s: from.time_s + for_s, apart_m: from.apart_m + gone_m[0] - gone_m[1], speeds_m_s }
    }

    /// When the cord runs out, on either side; `None` for not in time.
    fn run_out(&self, from: &State, length_m: f64) -> Option<State> {
        let end_s = RUN_OUT_S - from.time_s;
        if end_s <= 0.0 {
            return None;
        }
        // Both speeds fall as v / (1 + s t): once at most they are the same, and the way apart turns.
        let [v, w] = from.speeds_m_s;
        let [s, u] = [self.drag_per_m[0] * v.abs(), self.drag_per_m[1] * w.abs()];
        let turn_s = (v - w) / (w * s - v * u);
        let ends_s = if turn_s > 0.0 && turn_s < end_s { [0.0, turn_s, end_s] } else { [0.0, end_s, end_s] };
        let apart_m = |for_s: f64| self.coasted(from, for_s).apart_m;
        for part in ends_s.windows(2) {
            let (begun_m, ended_m) = (apart_m(part[0]), apart_m(part[1]));
            let at_m = length_m.copysign(ended_m - begun_m);
            let rises = ended_m > begun_m;
            if rises && begun_m >= at_m && part[0] > 0.0 {
                return Some(self.coasted(from, part[0]));
            }
            if (rises && begun_m < at_m && ended_m >= at_m) || (!rises && begun_m > at_m && ended_m <= at_m) {
                let for_s = sign_change(part[0], part[1], 1e-10, |for_s| apart_m(for_s) - at_m);
                return Some(self.coasted(from, for_s));
            }
        }
        None
    }
}

/// Both bodies while a stage of the cord holds them; separation counted towards the side on which it does.
struct Held<'a> {
    bodies: &'a Bodies,
    side: f64,
    from_m: f64,
    from_n: f64,
    stiffness_n_m: f64,
    /// Damping over loss factor times nominal stiffness: that of the radian in which the bodies swing on all strands.
    loss_s: f64,
    damping_n_s_m: f64,
}

impl<'a> Held<'a> {
    fn new(bodies: &'a Bodies, stage: &Stage, side: f64) -> Self {
        let loss_s = bodies.root_losses / stage.stiffness_n_m.sqrt();
        Self {
            bodies,
            side,
            from_m: stage.from_m,
            from_n: bodies.stiffness * stage.from_n,
            stiffness_n_m: bodies.stiffness * stage.stiffness_n_m,
            loss_s,
            damping_n_s_m: stage.losses_n_m * loss_s,
        }
    }

    fn tension_n(&self, s: &State) -> f64 {
        let rate_m_s = self.side * s.parting_m_s();
        self.from_n + self.stiffness_n_m * (s.apart_m - self.from_m) + self.damping_n_s_m * rate_m_s
    }

    fn accelerations_m_s2(&self, s: &State) -> [f64; 2] {
        let pull_n = self.side * self.tension_n(s);
        let b = self.bodies;
        let drag = |i: usize| -b.drag_per_m[i] * s.speeds_m_s[i] * s.speeds_m_s[i].abs();
        [drag(0) - pull_n * b.per_mass[0], drag(1) + pull_n * b.per_mass[1]]
    }

    /// How fast the tension rises, N/s.
    fn rise_n_s(&self, s: &State) -> f64 {
        let [nose, airframe] = self.accelerations_m_s2(s);
        self.side * (self.stiffness_n_m * s.parting_m_s() + self.damping_n_s_m * (nose - airframe))
    }

    fn step_s(&self, s: &State) -> f64 {
        let b = self.bodies;
        let braked_per_s = (b.drag_per_m[0] * s.speeds_m_s[0]).abs().max((b.drag_per_m[1] * s.speeds_m_s[1]).abs());
        STEP / (self.stiffness_n_m / b.reduced_kg).sqrt().max(braked_per_s)
    }

    /// One step of the classical method of fourth order.
    fn step(&self, s: &State, step_s: f64) -> State {
        let rates = |s: &State| (self.side * s.parting_m_s(), self.accelerations_m_s2(s));
        let moved = |(apart, speeds): (f64, [f64; 2]), by_s: f64| State {
            time_s: s.time_s + by_s,
            apart_m: s.apart_m + by_s * apart,
            speeds_m_s: [s.speeds_m_s[0] + by_s * speeds[0], s.speeds_m_s[1] + by_s * speeds[1]],
        };
        let a = rates(s);
        let b = rates(&moved(a, 0.5 * step_s));
        let c = rates(&moved(b, 0.5 * step_s));
        let d = rates(&moved(c, step_s));
        let mean = |a: f64, b: f64, c: f64, d: f64| (a + 2.0 * (b + c) + d) / 6.0;
        let speeds = core::array::from_fn(|i| mean(a.1[i], b.1[i], c.1[i], d.1[i]));
        moved((mean(a.0, b.0, c.0, d.0), speeds), step_s)
    }
}

#[cfg(test)]
mod tests {
    use super::super::strand::{Lock, Part};
    use super::*;

    fn part(length_m: f64, stiffness_n: f64, loss_factor: f64) -> Part {
        Part { length_m, stiffness_n, lock: None, loss_factor, strength_n: 1e3 }
    }

    fn cord(parts: Vec<Part>) -> Cord {
        Cord::new(vec![Strand::new(parts)])
    }

    fn parting(drag_areas_m2: [f64; 2], airspeed_m_s: f64) -> Parting {
        let body = |mass_kg, drag_area_m2| Body { mass_kg, drag_area_m2 };
        Parting {
            nose: body(0.1, drag_areas_m2[0]),
            airframe: body(0.4, drag_areas_m2[1]),
            airspeed_m_s,
            density_kg_m3: 1.2,
            parting_m_s: 6.0,
            stiffness: 1.0,
            damping: 1.0,
        }
    }

    /// Momentum of both is kept by the charge and by the cord; without losses the cord gives back the speed that it took,
    /// with them less.
    #[test]
    fn momentum_is_kept_and_energy_where_nothing_is_lost() {
        for (loss_factor, kept) in [(0.0, true), (0.2, false)] {
            let case = parting([0.0; 2], 20.0);
            let bodies = Bodies::of(&case);
            let elastic = Part { lock: Some(Lock { strain: 0.4, stiffness_n: 900.0 }), ..part(1.0, 60.0, loss_factor) };
            let cord = cord(vec![elastic, part(2.0, 700.0, loss_factor)]);
            let parted = bodies.parted(&case);
            let momentum = |s: &State| 0.1 * s.speeds_m_s[0] + 0.4 * s.speeds_m_s[1];
            assert!((momentum(&parted) - 10.0).abs() < 1e-14 && (parted.parting_m_s() - 6.0).abs() < 1e-14);
            let taut = bodies.run_out(&parted, 3.0);
            assert!(taut.is_some_and(|taut| (taut.time_s - 0.5).abs() < 1e-9), "{taut:?}");
            let slack = taut.and_then(|taut| cord.stretched(&bodies, taut, &mut { Pull::NONE }));
            let Some(slack) = slack else { panic!("it slackens") };
            assert!((momentum(&slack) - 10.0).abs() < 1e-12, "{slack:?}");
            let back = -slack.parting_m_s() / 6.0;
            assert!(if kept { (back - 1.0).abs() < 1e-5 } else { back > 0.3 && back < 0.95 }, "{back}");
        }
    }

    /// A blunt nose section falls back past the airframe, and the harder pull comes behind; a heavy slow one stays ahead.
    #[test]
    fn the_cord_runs_out_on_either_side() {
        let cord = cord(vec![part(3.0, 900.0, 0.1)]);
        let fast = cord.pull(&parting([4e-3, 1e-3], 60.0));
        let slow = cord.pull(&parting([4e-3, 1e-3], 5.0));
        assert!(fast.behind && !slow.behind && fast.tension_n > slow.tension_n, "{fast:?} {slow:?}");
        let none = Parting { parting_m_s: 0.2, ..parting([0.0; 2], 0.0) };
        assert_eq!(cord.pull(&none).tension_n, 0.0);
    }

    /// Each body's drag alone: v / (1 + b v t), and so with the wind from behind.
    #[test]
    fn coasting_has_its_closed_form() {
        let case = parting([4e-3, 1e-3], 1.0);
        let bodies = Bodies::of(&case);
        let mut stepped = bodies.parted(&case);
        let whole = bodies.coasted(&stepped, 0.7);
        assert!(stepped.speeds_m_s[1] < 0.0, "{stepped:?}");
        for _ in 0..70_000 {
            let half = 0.5e-5;
            let rate = |v: [f64; 2]| [0, 1].map(|i| -bodies.drag_per_m[i] * v[i] * v[i].abs());
            let v = stepped.speeds_m_s;
            let r = rate(v);
            let middle = [v[0] + half * r[0], v[1] + half * r[1]];
            let r = rate(middle);
            stepped.apart_m += 1e-5 * (middle[0] - middle[1]);
            stepped.speeds_m_s = [v[0] + 1e-5 * r[0], v[1] + 1e-5 * r[1]];
        }
        assert!((whole.apart_m - stepped.apart_m).abs() < 1e-8, "{whole:?} {stepped:?}");
        assert!((0..2).all(|i| (whole.speeds_m_s[i] - stepped.speeds_m_s[i]).abs() < 1e-9));
    }
}
