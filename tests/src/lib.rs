//! What the outside checks share: a bare world whose parts a check swaps one by one.

pub mod asked;
pub mod cords;
pub mod counting;
pub mod coverage;
pub mod day_and_sweep;
pub mod finite;
pub mod general;
pub mod kernel;
pub mod named;
pub mod rare;
pub mod rockets;
pub mod served;
pub mod sheet;
pub mod steps;
pub mod whole;
pub mod yardstick;

use slowpoint_sim::aero::{Aero, CrossFlow, MachTable, SlopeMoments};
use slowpoint_sim::air::AirTable;
use slowpoint_sim::flight::{Ascent, Drawn, Gravity, MassModel, Misalignment, Start, State, Watchfulness, fly_ascent};
use slowpoint_sim::thrust::{DrawnMotor, ThrustCurve, ThrustTable};
use slowpoint_sim::wind::WindTable;

/// Rotation of the Earth (WGS 84; NASA/TM-2015-218675 has the same).
pub const EARTH_ROTATION_RAD_S: f64 = 7.292_115e-5;

/// An airframe without any aerodynamics, on a reference area.
pub fn bare_aero(reference_area_m2: f64, axial_coefficient: f64) -> Aero {
    Aero {
        reference_area_m2,
        body: NO_SLOPE,
        fins: NO_SLOPE,
        fin_slope_factor: MachTable::constant(1.0, 2.0),
        cross_flow: CrossFlow { drag_area_m2: 0.0, first_m3: 0.0 },
        drag_coasting: MachTable::constant(axial_coefficient, 2.0),
        drag_thrusting: MachTable::constant(axial_coefficient, 2.0),
        tail_first_factor: 1.0,
        mach_bound: 10.0,
        assumed: Vec::new(),
    }
}

/// No normal force.
pub const NO_SLOPE: SlopeMoments = SlopeMoments { zeroth_per_rad: 0.0, first_m: 0.0, second_m2: 0.0 };

/// A point of a mass, upright and at rest at a height, in calm air of standard density, with constant
/// gravity, without rotation of the Earth, without thrust.
pub fn bare(aero: &Aero, mass_kg: f64, height_m: f64) -> Drawn<'_> {
    Drawn {
        gravity: Gravity::constant(9.80665),
        earth_rotation_rad_s: [0.0, 0.0],
        air: AirTable::uniform(1.225, 340.294),
        wind: WindTable::uniform(0.0, 0.0),
        thrust: ThrustTable::none(),
        mass: MassModel {
            dry_mass_kg: mass_kg,
            dry_cg_m: 0.5,
            dry_inertia_kg_m2: 1.0,
            propellant_kg: 0.0,
            propellant_cg_m: 0.5,
            propellant_gyration_m2: 0.0,
        },
        grain_known: false,
        aero,
        body: aero.body,
        fins: aero.fins,
        cross_flow: aero.cross_flow,
        drag_factor: 1.0,
        along_flow_drag_area_m2: 0.0,
        misalignment: Misalignment::default(),
        roll_reference: [1.0, 0.0],
        start: Start::Free(State {
            position: [0.0, 0.0, height_m],
            velocity: [0.0; 3],
            nose: [0.0, 0.0, 1.0],
            spin: [0.0; 3],
        }),
        top_m: 1e6,
        change: None,
    }
}

/// Thrust of one motor as drawn at its nominal curve, propellant weightless.
pub fn one_motor(points: &[(f64, f64)]) -> ThrustTable {
    let motor = DrawnMotor { impulse_factor: 1.0, burn_factor: 1.0, lit: true, offset_m: [0.0, 0.0] };
    ThrustTable::new(&ThrustCurve::new(points.to_vec()), 0.0, &[motor], true)
}

/// Flies an ascent with steps a number of times finer than usual.
pub fn ascent(drawn: &Drawn, finer: f64) -> Ascent {
    let mut out = Ascent::default();
    fly_ascent(drawn, Watchfulness::WHOLE, finer, &mut out);
    out
}

/// The larger of two errors; one that is no number is never lost.
pub fn larger(a: f64, b: f64) -> f64 {
    if b > a || b.is_nan() { b } else { a }
}

/// Seconds that the threads of a process have run so far, all cores together; `None` where the system does not tell (it is
/// Linux's `/proc`, in hundredths of a second).
pub fn cpu_s(process: u32) -> Option<f64> {
    let stat = std::fs::read_to_string(format!("/proc/{process}/stat")).ok()?;
    // The name in brackets, which may hold anything, is the second field; user and system time are the 14th and 15th.
    let mut rest = stat.rsplit_once(')')?.1.split_whitespace().skip(11);
    let mut ticks = || rest.next()?.parse::<f64>().ok();
    Some((ticks()? + ticks()?) / 100.0)
}

/// Nanoseconds that those threads of a process which live have run so far, by their names; as exact as the system knows it once
/// they stand still (Linux's `schedstat`), 0 where it does not tell.
pub fn threads_ns(process: u32, which: fn(&str) -> bool) -> u64 {
    let threads = std::fs::read_dir(format!("/proc/{process}/task")).into_iter().flatten().flatten();
    let read = |thread: &std::fs::DirEntry, what| std::fs::read_to_string(thread.path().join(what)).unwrap_or_default();
    let chosen = threads.filter(|thread| which(&read(thread, "comm")));
    chosen.filter_map(|thread| read(&thread, "schedstat").split(' ').next()?.parse::<u64>().ok()).sum()
}

/// Largest resident memory of this process so far, MiB; `None` where the system does not tell (it is Linux's
/// `VmHWM`).
pub fn peak_memory_mib() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"))?;
    let kib: f64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    Some(kib / 1024.0)
}
