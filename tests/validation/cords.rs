//! Cord and tube edge: snatch forces in closed form, the two bodies by a general integrator, tears by brute force.

use super::reproducible::alike_on_threads;
use core::f64::consts::FRAC_PI_2;
use core::sync::atomic::AtomicBool;
use ode_solvers::{SVector, System};
use slowpoint_sim::case::{ArrangementInput, Case, CordsInput, Inputs};
use slowpoint_sim::cord::{Body, Cord, Halves, Lock, Part, Parting, Strand};
use slowpoint_sim::draw::{Law, Numbers, PointSet, Shift, Slot, draw};
use slowpoint_sim::flight::Pilot;
use slowpoint_sim::report::{CordsReport, Report};
use slowpoint_sim::stat::normal;
use slowpoint_sim::{asked, assess, curve_s};
use slowpoint_tests::general::solver;
use slowpoint_tests::sheet::{Sheet, Trust};
use slowpoint_tests::{cords as bare, rockets};

slowpoint_tests::subject! { "Cord and tube edge":
    sna_1_snatch_force,
    crd_1_speed_and_length,
    crd_2_energy_bound,
    crd_3_series_and_parallel,
    crd_4_slack_and_locks,
    crd_5_damped,
    crd_6_drag_alone,
    crd_7_general_integrator,
    crd_8_tears_by_brute_force,
    crd_9_elastic_in_closed_form,
    crd_10_elastic_with_everything,
    crd_11_nothing_else_moves,
    crd_12_intervals_cover,
}

static GO: AtomicBool = AtomicBool::new(false);

fn part(length_m: f64, stiffness_n: f64) -> Part {
    Part { length_m, stiffness_n, lock: None, loss_factor: 0.0, strength_n: 1e6 }
}

fn cord(strands: &[&[Part]]) -> Cord {
    Cord::new(strands.iter().map(|parts| Strand::new(parts.to_vec())).collect())
}

/// Two bodies without drag.
fn free(nose_kg: f64, airframe_kg: f64, parting_m_s: f64) -> Parting {
    let body = |mass_kg| Body { mass_kg, drag_area_m2: 0.0 };
    Parting {
        nose: body(nose_kg),
        airframe: body(airframe_kg),
        airspeed_m_s: 30.0,
        density_kg_m3: 1.225,
        parting_m_s,
        stiffness: 1.0,
        damping: 1.0,
    }
}

fn reduced_kg(p: &Parting) -> f64 {
    p.nose.mass_kg * p.airframe.mass_kg / (p.nose.mass_kg + p.airframe.mass_kg)
}

fn sna_1_snatch_force() -> Sheet {
    let mut sheet = Sheet::new(
        "SNA-1",
        "two free masses on a linear line: peak force, stretch and time",
        Trust::B,
        "energy balance F = dv sqrt(mu k), x = dv sqrt(mu / k), a quarter of a period (AFFDL-TR-78-151 and Knacke use the same, from memory); 0.4 and 0.1 kg, EA 1575.3 N, 2 m: k 787.65 N/m, at 5 m/s 39.690 N and 0.0504 m, at 15 m/s 119.070 N and 0.1512 m",
    );
    for (case, parting_m_s, force_n, stretch_m) in [("SNA-1", 5.0, 39.690, 0.0504), ("SNA-2", 15.0, 119.070, 0.1512)] {
        let parting = free(0.1, 0.4, parting_m_s);
        let pull = cord(&[&[part(2.0, 1575.3)]]).pull(&parting);
        sheet.because("as proposed with the values: 0.1 %");
        sheet.close_relative(format!("{case}: peak force, N"), pull.tension_n, force_n, 1e-3);
        sheet.close_relative(format!("{case}: stretch, m"), pull.tension_n / 787.65, stretch_m, 1e-3);
        sheet.because("steps of the integration");
        let quarter_s = FRAC_PI_2 * (reduced_kg(&parting) / 787.65).sqrt();
        sheet.close(format!("{case}: time of the peak, s"), pull.after_s, 2.0 / parting_m_s + quarter_s, 1e-6);
        sheet.holds(format!("{case}: ahead"), !pull.behind);
    }
    sheet
}

fn crd_1_speed_and_length() -> Sheet {
    let mut sheet = Sheet::new(
        "CRD-1",
        "the force is linear in the speed of parting, and goes with one over the root of the length",
        Trust::B,
        "closed form: F = dv sqrt(mu EA / L)",
    );
    sheet.because("steps of the integration");
    let force_n = |length_m: f64, m_s: f64| cord(&[&[part(length_m, 4000.0)]]).pull(&free(0.3, 1.1, m_s)).tension_n;
    let one_n = force_n(1.0, 4.0);
    for times in [0.5, 2.0, 3.5, 8.0] {
        sheet.close_relative(format!("{times} times the speed"), force_n(1.0, 4.0 * times) / one_n, times, 1e-6);
        sheet.close_relative(
            format!("{times} times the length"),
            force_n(times, 4.0) / one_n,
            1.0 / times.sqrt(),
            1e-6,
        );
    }
    sheet
}

/// Uniform numbers that are no draws of the engine's flights: those of another seed.
fn uniforms(seed: u64, count: u64) -> impl Iterator<Item = [f64; 6]> {
    const SLOTS: [Slot; 6] =
        [Slot::Drag, Slot::Mass, Slot::RollRate, Slot::Pressure, Slot::Temperature, Slot::RollAngle];
    (0..count).map(move |k| {
        let numbers = Numbers::of(PointSet::Pseudorandom, seed, k);
        SLOTS.map(|slot| numbers.uniform(slot))
    })
}

fn crd_2_energy_bound() -> Sheet {
    let mut sheet = Sheet::new(
        "CRD-2",
        "the energy bound over 2000 pairs of bodies and cords: met without losses, and never passed by a cord that stiffens on the way to the stiffness of the bound",
        Trust::B,
        "closed form: dv sqrt(mu k) is what stores the whole energy of parting at that stiffness",
    );
    let (mut off, mut over): (f64, f64) = (0.0, 0.0);
    for [a, b, c, d, e, f] in uniforms(7001, 2000) {
        let parting = free(0.02 + 3.0 * a, 0.05 + 20.0 * b, 0.5 + 30.0 * c);
        let (length_m, stiffness_n) = (0.3 + 5.0 * d, 20.0 + 2e4 * e * e);
        let bound_n = parting.parting_m_s * (reduced_kg(&parting) * stiffness_n / length_m).sqrt();
        let whole = cord(&[&[part(length_m, stiffness_n)]]).pull(&parting);
        if whole.tension_n == 0.0 {
            continue;
        }
        off = off.max((whole.tension_n / bound_n - 1.0).abs());
        let lock = Some(Lock { strain: 0.02 + f, stiffness_n });
        let soft = Part { lock, ..part(length_m, 0.2 * stiffness_n) };
        over = over.max(cord(&[&[soft]]).pull(&parting).tension_n / bound_n);
    }
    sheet.because("steps of the integration");
    sheet.at_most("farthest from the bound without losses, relative", off, 1e-6);
    sheet.at_most("most of it in a cord that stiffens", over, 1.0 + 1e-6);
    sheet.more_than("and it comes near it", over, 0.95);
    sheet
}

fn crd_3_series_and_parallel() -> Sheet {
    let mut sheet = Sheet::new(
        "CRD-3",
        "parts in series and runs side by side are one spring",
        Trust::B,
        "closed form: 1 / k adds up in series, k side by side, and what is lost over what is stored (the modal strain energy method); F = dv sqrt(mu k)",
    );
    sheet.because("steps of the integration");
    let parting = free(0.25, 1.4, 9.0);
    let closed_n = |k: f64| parting.parting_m_s * (reduced_kg(&parting) * k).sqrt();
    let (a, b, c) = (part(0.8, 900.0), part(2.2, 300.0), part(1.0, 5000.0));
    let k = |p: Part| p.stiffness_n / p.length_m;
    let series = 1.0 / (1.0 / k(a) + 1.0 / k(b) + 1.0 / k(c));
    let twin = [part(4.0, 700.0)];
    for (what, cord, stiffness) in [
        ("three in series", cord(&[&[a, b, c]]), series),
        ("the same in another order", cord(&[&[c, a, b]]), series),
        ("two alike side by side", cord(&[&twin, &twin]), 2.0 * 700.0 / 4.0),
        ("a series beside one as long", cord(&[&[a, b, c], &[part(4.0, 700.0)]]), series + 700.0 / 4.0),
    ] {
        sheet.close_relative(format!("{what}, N"), cord.pull(&parting).tension_n, closed_n(stiffness), 1e-6);
    }
    // Which of them carries what.
    let pull = cord(&[&[a, b, c], &[part(4.0, 700.0)]]).pull(&parting);
    let share = series / (series + 700.0 / 4.0);
    sheet.close_relative("share of the first run", pull.strands_n[0] / pull.tension_n, share, 1e-9);
    sheet.close_relative("both runs", pull.strands_n[0] + pull.strands_n[1], pull.tension_n, 1e-9);
    // A cord that is parted along its length stays the same cord, also where it loses something.
    for loss_factor in [0.1, 0.4] {
        let strand = |runs: f64| [Part { loss_factor, ..part(2.5, 20_000.0 / runs) }];
        let (one, two, four) = (strand(1.0), strand(2.0), strand(4.0));
        let whole_n = cord(&[&one]).pull(&parting).tension_n;
        for (runs, cord) in [(2, cord(&[&two, &two])), (4, cord(&[&four, &four, &four, &four]))] {
            let pull = cord.pull(&parting);
            sheet.close_relative(format!("{runs} runs for one, loss {loss_factor}, N"), pull.tension_n, whole_n, 1e-9);
            let each_n = pull.strands_n[0] * f64::from(runs);
            sheet.close_relative(format!("each of {runs} runs, loss {loss_factor}, N"), each_n, whole_n, 1e-9);
        }
    }
    // One that loses nothing, beside another that does, is pulled hardest at the longest stretch, dv / w exp(-z acos z / sqrt(1 - z^2))
    // for a quarter of the loss of that; both together are then past their peak.
    for lossy in [0.6, 1.5, 2.4] {
        let (z, k) = (lossy / 4.0, 2.0 * 20_000.0 / 2.5);
        let damped = [Part { loss_factor: lossy, ..part(2.5, 20_000.0) }];
        let pull = cord(&[&damped, &[part(2.5, 20_000.0)]]).pull(&parting);
        let longest_m = parting.parting_m_s / (k / reduced_kg(&parting)).sqrt()
            * libm::exp(-z * libm::acos(z) / (1.0 - z * z).sqrt());
        let plain_n = 0.5 * k * longest_m;
        sheet.close_relative(format!("the plain one beside a loss of {lossy}, N"), pull.strands_n[1], plain_n, 1e-6);
    }
    sheet
}

fn crd_4_slack_and_locks() -> Sheet {
    let mut sheet = Sheet::new(
        "CRD-4",
        "a longer run beside a shorter one, and an elastic that locks",
        Trust::B,
        "closed form: what is stored at the largest stretch is the whole energy of parting",
    );
    sheet.because("steps of the integration");
    for parting_m_s in [2.0, 5.0, 12.0] {
        let parting = free(0.15, 0.9, parting_m_s);
        let energy = reduced_kg(&parting) * parting_m_s * parting_m_s;
        // k1 x^2 + k2 (x - d)^2 = energy, the second once x passes d.
        let (k1, k2, d) = (120.0 / 2.0, 2000.0 / 2.5, 0.5);
        let x = (energy / k1).sqrt();
        let x = if x <= d { x } else { (k2 * d + ((k1 + k2) * energy - k1 * k2 * d * d).sqrt()) / (k1 + k2) };
        let force_n = k1 * x + k2 * (x - d).max(0.0);
        let found = cord(&[&[part(2.0, 120.0)], &[part(2.5, 2000.0)]]).pull(&parting);
        sheet.close_relative(format!("slack of 0.5 m at {parting_m_s} m/s, N"), found.tension_n, force_n, 1e-6);
        sheet.close_relative(format!("its shorter run at {parting_m_s} m/s, N"), found.strands_n[0], k1 * x, 1e-6);
        // k1 x^2 up to the lock at 40 % of 2 m; from there on 2 k1 l y + k2 y^2 more.
        let (lock_m, k2) = (0.8, 3000.0 / 2.0);
        let left = energy - k1 * lock_m * lock_m;
        let b = k1 * lock_m;
        let force_n = if left <= 0.0 { k1 * (energy / k1).sqrt() } else { b + (b * b + k2 * left).sqrt() - b };
        let elastic = Part { lock: Some(Lock { strain: 0.4, stiffness_n: 3000.0 }), ..part(2.0, 120.0) };
        let found = cord(&[&[elastic]]).pull(&parting);
        sheet.close_relative(format!("locks at 40 %, {parting_m_s} m/s, N"), found.tension_n, force_n, 1e-6);
    }
    sheet
}

fn crd_5_damped() -> Sheet {
    let mut sheet = Sheet::new(
        "CRD-5",
        "first peak of the force of a damped line, and its time",
        Trust::B,
        "closed form of x'' + 2 z w x' + w^2 x = 0 from x = 0: F = dv sqrt(mu k) exp(-z (3 acos z - pi) / sqrt(1 - z^2)) below z = 1/2; from there on 2 z dv sqrt(mu k), at once",
    );
    sheet.because("steps of the integration");
    let parting = free(0.2, 0.7, 7.0);
    let mu = reduced_kg(&parting);
    let k = 1500.0 / 3.0;
    for z in [0.01_f64, 0.05, 0.1, 0.25, 0.45, 0.6] {
        let damped = Part { loss_factor: 2.0 * z, ..part(3.0, 1500.0) };
        let found = cord(&[&[damped]]).pull(&parting);
        let angle = if z < 0.5 { 3.0 * libm::acos(z) - core::f64::consts::PI } else { 0.0 };
        let root = (1.0 - z * z).sqrt();
        let undamped_n = parting.parting_m_s * (mu * k).sqrt();
        let force_n = if z < 0.5 { undamped_n * libm::exp(-z * angle / root) } else { 2.0 * z * undamped_n };
        sheet.close_relative(format!("{z} of critical, N"), found.tension_n, force_n, 1e-6);
        let time_s = 3.0 / 7.0 + angle / (root * (k / mu).sqrt());
        sheet.close(format!("{z} of critical, s"), found.after_s, time_s, 1e-6);
    }
    sheet
}

fn crd_6_drag_alone() -> Sheet {
    let mut sheet = Sheet::new(
        "CRD-6",
        "driven apart by drag alone, on a stiff line: force at the speed with which it runs out",
        Trust::B,
        "closed form: each body v = V / (1 + b V t) with b = rho CdA / 2 m, apart ln(1 + b V t) / b; F = dv sqrt(mu k) where the line is so stiff that drag does nothing meanwhile",
    );
    sheet.because("a line so stiff that drag and time while it stretches change its force by no more");
    for airspeed_m_s in [15.0, 30.0, 60.0] {
        let mut parting = free(0.15, 0.8, 1e-9);
        (parting.nose.drag_area_m2, parting.airframe.drag_area_m2) = (3e-3, 1.2e-3);
        parting.airspeed_m_s = airspeed_m_s;
        let b = |body: Body| 0.5 * parting.density_kg_m3 * body.drag_area_m2 / body.mass_kg;
        let rates = [b(parting.nose), b(parting.airframe)];
        let gone = |k: usize, t: f64| libm::log1p(rates[k] * airspeed_m_s * t) / rates[k];
        let speed = |k: usize, t: f64| airspeed_m_s / (1.0 + rates[k] * airspeed_m_s * t);
        // By halving: where the airframe is 2 m ahead.
        let (mut early_s, mut late_s) = (0.0, 20.0);
        for _ in 0..200 {
            let t = 0.5 * (early_s + late_s);
            if gone(1, t) - gone(0, t) < 2.0 { early_s = t } else { late_s = t }
        }
        let dv = speed(1, late_s) - speed(0, late_s);
        let found = cord(&[&[part(2.0, 2e6)]]).pull(&parting);
        let force_n = dv * (reduced_kg(&parting) * 1e6).sqrt();
        sheet.holds(format!("{airspeed_m_s} m/s: behind"), found.behind);
        sheet.close_relative(format!("{airspeed_m_s} m/s, N"), found.tension_n, force_n, 2e-3);
        sheet.close(format!("{airspeed_m_s} m/s, s"), found.after_s, late_s, 2e-3);
    }
    sheet
}

/// Both bodies as a general integrator sees them, written from the law of force of each strand: places and airspeeds.
struct Pair<'a> {
    parting: &'a Parting,
    strands: &'a [Vec<Part>],
    peak: &'a core::cell::RefCell<Vec<(f64, f64)>>,
}

/// A strand at a stretch.
struct Strained {
    elastic_n: f64,
    stiffness_n_m: f64,
    loss_factor: f64,
}

/// One strand at a stretch, its parts' stretches found by halving on the tension.
fn strained(parts: &[Part], stretch_m: f64) -> Strained {
    let locks_n = |part: &Part| part.lock.map_or(f64::INFINITY, |lock| lock.strain * part.stiffness_n);
    let stretch = |n: f64| -> f64 {
        let of = |part: &Part| match part.lock {
            Some(lock) if n > locks_n(part) => part.length_m * (lock.strain + (n - locks_n(part)) / lock.stiffness_n),
            _ => part.length_m * n / part.stiffness_n,
        };
        parts.iter().map(of).sum()
    };
    let (mut low, mut high) = (0.0, 1e7);
    for _ in 0..80 {
        let n = 0.5 * (low + high);
        if stretch(n) < stretch_m { low = n } else { high = n }
    }
    let (mut compliance, mut lost) = (0.0, 0.0);
    for part in parts {
        let stiffness_n = match part.lock {
            Some(lock) if low > locks_n(part) => lock.stiffness_n,
            _ => part.stiffness_n,
        };
        compliance += part.length_m / stiffness_n;
        lost += part.loss_factor * part.length_m / stiffness_n;
    }
    Strained { elastic_n: low, stiffness_n_m: 1.0 / compliance, loss_factor: lost / compliance }
}

impl Pair<'_> {
    fn tension_n(&self, y: &SVector<f64, 4>) -> f64 {
        let p = self.parting;
        let apart = y[0] - y[1];
        let side = 1.0_f64.copysign(apart);
        let rate = side * (y[2] - y[3]);
        let taut: Vec<Strained> = self
            .strands
            .iter()
            .map(|parts| (parts, apart.abs() - parts.iter().map(|part| part.length_m).sum::<f64>()))
            .filter(|(_, stretch_m)| *stretch_m > 0.0)
            .map(|(parts, stretch_m)| strained(parts, stretch_m))
            .collect();
        // Each loses its share of what it stores in a radian in which the bodies swing on all of them.
        let all_n_m: f64 = taut.iter().map(|strand| p.stiffness * strand.stiffness_n_m).sum();
        let radian_s = (reduced_kg(p) / all_n_m).sqrt();
        let of = |strand: &Strained| {
            let damping_n_s_m = p.damping * strand.loss_factor * p.stiffness * strand.stiffness_n_m * radian_s;
            p.stiffness * strand.elastic_n + damping_n_s_m * rate
        };
        taut.iter().map(of).sum::<f64>().max(0.0)
    }
}

impl System<f64, SVector<f64, 4>> for Pair<'_> {
    fn system(&self, _: f64, y: &SVector<f64, 4>, dy: &mut SVector<f64, 4>) {
        let p = self.parting;
        let pull_n = self.tension_n(y).copysign(y[0] - y[1]);
        let drag = |body: &Body, v: f64| -0.5 * p.density_kg_m3 * body.drag_area_m2 / body.mass_kg * v * v.abs();
        dy[0] = y[2];
        dy[1] = y[3];
        dy[2] = drag(&p.nose, y[2]) - pull_n / p.nose.mass_kg;
        dy[3] = drag(&p.airframe, y[3]) + pull_n / p.airframe.mass_kg;
    }

    fn solout(&mut self, time_s: f64, y: &SVector<f64, 4>, _: &SVector<f64, 4>) -> bool {
        self.peak.borrow_mut().push((time_s, self.tension_n(y)));
        false
    }
}

/// The highest of rows of time and tension: between its steps an integrator passes it, so it is that of the parabola
/// through the highest row and both beside it.
fn highest(rows: &[(f64, f64)]) -> (f64, f64) {
    let k = (0..rows.len()).max_by(|a, b| rows[*a].1.total_cmp(&rows[*b].1)).unwrap_or(0);
    let (Some(before), Some(after)) = (k.checked_sub(1).and_then(|k| rows.get(k)), rows.get(k + 1)) else {
        return rows[k];
    };
    let (t, n) = rows[k];
    let [a, b] = [before, after].map(|row| ((row.1 - n) / (row.0 - t), row.0 - t));
    let bend = (b.0 - a.0) / (b.1 - a.1);
    let slope = a.0 - bend * a.1;
    (t - 0.5 * slope / bend, n - 0.25 * slope * slope / bend)
}

fn crd_7_general_integrator() -> Sheet {
    let mut sheet = Sheet::new(
        "CRD-7",
        "both bodies with drag, slack, damping, elastics that lock and runs side by side, against a general-purpose integrator",
        Trust::A,
        "the Dormand-Prince 5(4) pair of crate ode_solvers at 1e-10, on equations written apart from the engine's",
    );
    sheet.because("the parabola through the integrator's own steps about the peak");
    let elastic = Part { lock: Some(Lock { strain: 0.7, stiffness_n: 2500.0 }), loss_factor: 0.2, ..part(1.0, 45.0) };
    let line = |length_m| Part { loss_factor: 0.1, ..part(length_m, 6000.0) };
    let cords: [(&str, Vec<Vec<Part>>); 4] = [
        ("line", vec![vec![line(3.0)]]),
        ("elastic and line", vec![vec![line(2.0), elastic]]),
        ("elastic beside a longer line", vec![vec![elastic], vec![line(1.6)]]),
        ("elastic, line, and a longer line beside both", vec![vec![elastic, line(2.0)], vec![line(4.2)]]),
    ];
    for (what, strands) in cords {
        for airspeed_m_s in [3.0, 20.0, 45.0] {
            let mut parting = free(0.12, 0.55, 7.0);
            (parting.nose.drag_area_m2, parting.airframe.drag_area_m2) = (2.5e-3, 1.3e-3);
            (parting.airspeed_m_s, parting.stiffness, parting.damping) = (airspeed_m_s, 1.3, 0.8);
            let found = Cord::new(strands.iter().cloned().map(Strand::new).collect()).pull(&parting);
            let peak = core::cell::RefCell::new(Vec::new());
            let pair = Pair { parting: &parting, strands: &strands, peak: &peak };
            let each = parting.parting_m_s * reduced_kg(&parting);
            let start =
                [0.0, 0.0, airspeed_m_s + each / parting.nose.mass_kg, airspeed_m_s - each / parting.airframe.mass_kg];
            let end_s = found.after_s + 0.02;
            let done = solver(pair, 0.0, end_s, start.into(), 1e-10).integrate();
            sheet.holds(format!("{what}, {airspeed_m_s} m/s: it was integrated"), done.is_ok());
            let (time_s, most_n) = highest(&peak.borrow());
            sheet.close_relative(format!("{what}, {airspeed_m_s} m/s: tension, N"), found.tension_n, most_n, 1e-5);
            sheet.close(format!("{what}, {airspeed_m_s} m/s: time, s"), found.after_s, time_s, 1e-4);
        }
    }
    sheet
}

/// The club's rocket on two cords: a line, and the same length with an elastic in it.
fn corded() -> Inputs {
    let mut inputs = rockets::club();
    let line = |length_m| bare::part(length_m, 6000.0, 900.0);
    let elastic = bare::part(1.0, 60.0, 500.0);
    let arrangements = vec![
        bare::arrangement("line", 0.004, vec![vec![line(3.0)]]),
        bare::arrangement("elastic in series", 0.004, vec![vec![line(2.0), elastic]]),
    ];
    inputs.cords = Some(CordsInput { wall_log_sd: Some(0.5), ..bare::cords(0.09, 25e3, arrangements) });
    inputs.question.flights = 1024;
    inputs
}

fn answered(inputs: &Inputs) -> (Case, Report) {
    let case = Case::new(inputs.clone()).unwrap_or_else(|faults| panic!("{faults:?}"));
    let report = assess(&case, &GO).expect("nobody stops it");
    (case, report)
}

fn cords(report: &Report) -> &CordsReport {
    report.cords.as_ref().expect("cords were asked")
}

fn crd_8_tears_by_brute_force() -> Sheet {
    let mut sheet = Sheet::new(
        "CRD-8",
        "the chance that the edge tears, integrated, against walls drawn for each flight and ejection",
        Trust::A,
        "brute force: 64 resistances drawn for each of the four ejections of each flight, and counted",
    );
    let inputs = corded();
    let (case, report) = answered(&inputs);
    let plan = case.cords.as_ref().expect("cords were asked");
    let found = cords(&report);
    let flights = inputs.question.flights;
    let mut pilot = Pilot::default();
    let curve_s = curve_s(&case);
    let mut torn = vec![[0_u64; 2]; inputs.question.ways.len()];
    let mut tried = 0_u64;
    for flight in 0..flights {
        let numbers = Numbers::of(PointSet::Sobol, inputs.question.seed, flight);
        let one = [draw(&case, &numbers, &Shift::NONE)];
        let ejections = pilot.fly_ejections(&one, &asked(&case, &curve_s)).remove(0);
        let halves = Halves::of(plan, &one[0].0, &one[0].1, &numbers);
        for (way, ejections) in ejections.iter().enumerate() {
            for (node, ejection) in ejections.iter().enumerate() {
                for (k, arrangement) in plan.arrangements.iter().enumerate() {
                    let Some(ejection) = ejection else { continue };
                    let load_n_m = arrangement
                        .edge_load_n_m(arrangement.cord.pull(&halves.part_at(ejection, &one[0].0)).tension_n);
                    let seed = 9000 + 10 * (4 * flight + node as u64) + way as u64;
                    for u in uniforms(seed, 64) {
                        let resistance_n_m = 25e3 * libm::exp(0.5 * normal::quantile(u[0]));
                        torn[way][k] += u64::from(load_n_m > resistance_n_m);
                    }
                }
            }
            tried = 64 * flights * ejections.len() as u64;
        }
    }
    sheet.because("four standard deviations of so many drawn walls");
    for (way, torn) in torn.iter().enumerate() {
        for (k, torn) in torn.iter().enumerate() {
            let share = *torn as f64 / tried as f64;
            let sd = (share * (1.0 - share) / tried as f64).sqrt();
            let told = found.ways[way][k].tears.estimate;
            sheet.close(format!("delay {way}, {}", found.arrangements[k]), told, share, 4.0 * sd + 1e-9);
        }
    }
    sheet
}

fn crd_9_elastic_in_closed_form() -> Sheet {
    let mut sheet = Sheet::new(
        "CRD-9",
        "an elastic in series, where drag, losses and every draw of the cord are left out: tension, chance and comparison",
        Trust::B,
        "closed form: tensions v sqrt(mu k), of the elastic less by the root of its stiffness over the line's; chance that a lognormal resistance is below a load; their ratio",
    );
    let mut inputs = corded();
    let asked = inputs.cords.as_mut().expect("cords were asked");
    (asked.nose_drag_area_m2, asked.airframe_drag_area_m2) = (Some(0.0), Some(0.0));
    asked.parting_m_s = Some(Law::Fixed(10.0));
    (asked.stiffness, asked.damping) = (Some(Law::Fixed(1.0)), Some(Law::Fixed(0.0)));
    inputs.spread.mass = Some(Law::Fixed(1.0));
    inputs.question.ways = vec![rockets::delay(5.0)];
    let (case, report) = answered(&inputs);
    let hanging_kg = case.mass.dry_mass_kg;
    let mu = 0.09 * (hanging_kg - 0.09) / hanging_kg;
    let stiffness = [6000.0 / 3.0, 1.0 / (2.0 / 6000.0 + 1.0 / 60.0)];
    let tensions_n = stiffness.map(|k| 10.0 * (mu * k).sqrt());
    let chances = tensions_n.map(|n| normal::cdf(libm::log(n / 0.004 / 25e3) / 0.5));
    let found = &cords(&report).ways[0];
    for k in 0..2 {
        let name = &cords(&report).arrangements[k];
        sheet.because("bins of a fifth of a per cent");
        let median = found[k].tension_n.map_or(f64::NAN, |t| t.p50);
        sheet.close_relative(format!("{name}: tension, N"), median, tensions_n[k], 2.5e-3);
        sheet.because("steps of the integration, in a chance of a flight that every flight has");
        sheet.close_relative(format!("{name}: chance"), found[k].tears.estimate, chances[k], 1e-5);
    }
    let compared = found[1].against_first.and_then(|c| c.ratio).expect("a ratio is known");
    sheet.close_relative("chance with the elastic over that without", compared.estimate, chances[1] / chances[0], 1e-5);
    sheet.holds(
        "its interval holds that",
        compared.lower <= chances[1] / chances[0] && chances[1] / chances[0] <= compared.upper,
    );
    sheet
}

fn crd_10_elastic_with_everything() -> Sheet {
    let mut sheet = Sheet::new(
        "CRD-10",
        "with drag, losses and every draw: an elastic in series pulls less and tears less; so do a wide sleeve and a harness of two legs",
        Trust::Statement,
        "tension follows from the cord alone, load from width and legs; the same flights throughout",
    );
    let mut inputs = corded();
    let asked = inputs.cords.as_mut().expect("cords were asked");
    let line = asked.arrangements[0].clone();
    asked.arrangements.push(ArrangementInput { name: "sleeve".into(), edge_width_m: 0.020, ..line.clone() });
    asked.arrangements.push(ArrangementInput { name: "harness".into(), legs: 2, ..line });
    let (_, report) = answered(&inputs);
    for (way, pulls) in cords(&report).ways.iter().enumerate() {
        sheet.because("less, by whatever");
        let tension = |k: usize| pulls[k].tension_n.map_or(f64::NAN, |t| t.p50);
        let load = |k: usize| pulls[k].edge_load_n_m.map_or(f64::NAN, |t| t.p50);
        sheet.less_than(format!("delay {way}: tension with the elastic, N"), tension(1), tension(0));
        sheet.because("the same pull");
        sheet.close_relative(format!("delay {way}: load on the sleeve over the line's"), load(2) / load(0), 0.2, 1e-12);
        sheet.close_relative(format!("delay {way}: load of two legs over one's"), load(3) / load(0), 0.5, 1e-12);
        for (name, pull) in cords(&report).arrangements.iter().zip(pulls).skip(1) {
            sheet.because("sure by far");
            let compared = pull.against_first.expect("it is compared");
            sheet.more_than(format!("delay {way}: sure that {name} tears less"), compared.less, 0.999);
            let upper = compared.ratio.map_or(f64::INFINITY, |r| r.upper);
            sheet.less_than(format!("delay {way}: upper end of {name} over the line"), upper, 1.0);
        }
    }
    sheet
}

fn crd_11_nothing_else_moves() -> Sheet {
    let mut sheet = Sheet::new(
        "CRD-11",
        "what an answer has besides is the same with cords and without; the same on one thread, two and five",
        Trust::Statement,
        "draws of the cord have slots of their own, and its flights are flown apart",
    );
    for points in [PointSet::Sobol, PointSet::Pseudorandom] {
        let mut inputs = corded();
        (inputs.question.flights, inputs.question.points) = (300, points);
        let case = Case::new(inputs.clone()).unwrap_or_else(|faults| panic!("{faults:?}"));
        let with = alike_on_threads(&mut sheet, points, &case);
        inputs.cords = None;
        let (_, without) = answered(&inputs);
        let assumed = with.assumed.iter().filter(|a| !a.input.contains("cords")).cloned().collect::<Vec<_>>();
        let cautions = with.cautions.iter().filter(|c| !c.topic.starts_with("cord")).cloned().collect::<Vec<_>>();
        let stripped = Report { cords: None, assumed, cautions, ..with };
        sheet.holds(format!("{points:?}: all else is the same"), stripped == without);
    }
    sheet
}

fn crd_12_intervals_cover() -> Sheet {
    let mut sheet = Sheet::new(
        "CRD-12",
        "how often the interval of the chance that the edge tears, from 256 flights, holds that of 64 times as many",
        Trust::Statement,
        "95 %: 64 seeds against 16,384 flights of another one",
    );
    let mut inputs = corded();
    inputs.question.ways = vec![rockets::delay(3.0), rockets::delay(7.0)];
    (inputs.question.flights, inputs.question.seed) = (16_384, 501);
    let (_, truth) = answered(&inputs);
    inputs.question.flights = 256;
    let known: Vec<f64> = cords(&truth).ways.iter().flatten().map(|pull| pull.tears.estimate).collect();
    let mut covered = vec![0_u32; known.len()];
    for seed in 1..=64 {
        inputs.question.seed = seed;
        let (_, report) = answered(&inputs);
        let told = cords(&report).ways.iter().flatten().map(|pull| &pull.tears);
        for ((covered, told), known) in covered.iter_mut().zip(told).zip(&known) {
            *covered += u32::from(told.lower <= *known && *known <= told.upper);
        }
    }
    sheet.because("at 95 % fewer than 55 of 64 in one run of 800");
    let names = &cords(&truth).arrangements;
    for (k, covered) in covered.iter().enumerate() {
        let (way, name) = (k / names.len(), &names[k % names.len()]);
        sheet.at_least(format!("delay {way}, {name}: seeds of 64"), f64::from(*covered), 55.0);
    }
    sheet
}
