//! Monte Carlo flights of a model or high-power rocket: for each delay the chance that it opens above a
//! speed limit, and where it lands.
//!
//! ```text
//! Inputs -> Case -> draws -> flights -> Tally -> Report
//!           |       |        |          |        advice, cautions, intervals
//!           |       |        |          counts, bins, sums: merge in any order
//!           |       |        rail, tip-off, free flight, apogee, fall; then every delay from that one ascent
//!           |       (seed, flight, slot) -> number
//!           checked once: nothing can fail after it
//! ```
//!
//! Axes: east, north, up from the pad. SI units, angles in radians except where a name says `_deg`.
//! A rail's azimuth is where it leans *towards*, a wind's direction where it comes *from*, both clockwise
//! from true north. Lengths along the body run from the nose tip. Time begins at first thrust.
//!
//! One card, 256 flights:
//!
//! ```
//! use std::sync::atomic::AtomicBool;
//! use slowpoint_sim::aero::Drag;
//! use slowpoint_sim::case::*;
//! use slowpoint_sim::draw::PointSet;
//! use slowpoint_sim::flight::Deployment;
//! use slowpoint_sim::wind::{Direction, SurfaceWind};
//!
//! let inputs = Inputs {
//!     airframe: AirframeInput {
//!         diameter_m: 0.054,
//!         length_m: 1.0,
//!         mass_kg: 0.6,
//!         centre_of_gravity_m: 0.64,
//!         centre_of_gravity_burnout_m: None,
//!         inertia_kg_m2: None,
//!         inertia_burnout_kg_m2: None,
//!         centre_of_pressure_m: Some(0.74),
//!         normal_force_slope_per_rad: Some(10.0),
//!         drag: Some(Drag::Coefficient(0.55)),
//!         tail_first_factor: None,
//!         shape: None,
//!     },
//!     motor: MotorInput {
//!         thrust: ThrustInput::Curve(vec![(0.0, 0.0), (0.05, 70.0), (1.3, 50.0), (1.4, 0.0)]),
//!         propellant_kg: Some(0.04),
//!         diameter_m: Some(0.029),
//!         length_m: Some(0.12),
//!         propellant_centre_m: None,
//!         count: 1,
//!         ring_radius_m: None,
//!         one_unlit_share: None,
//!         burnout_at_curve_end: false,
//!         delay_from_nominal_burn: false,
//!     },
//!     recovery: RecoveryInput {
//!         first: Device::Parachute { diameter_m: 0.75, drag_coefficient: None, fill_constant: None },
//!         main: None,
//!     },
//!     launch: LaunchInput {
//!         rail_length_m: 1.8,
//!         tilt_rad: Some(0.05),
//!         azimuth_rad: Some(0.0),
//!         friction: None,
//!         forward_guide_m: None,
//!         aft_guide_m: None,
//!     },
//!     site: SiteInput {
//!         latitude_rad: None,
//!         elevation_m: Some(100.0),
//!         temperature_k: None,
//!         pressure: None,
//!         ceiling_m: None,
//!         areas: Vec::new(),
//!     },
//!     wind: WindInput {
//!         surface: Some(SurfaceWind {
//!             speed_m_s: 3.0,
//!             direction: Direction::From(0.0),
//!             measuring_height_m: 10.0,
//!             gust_m_s: None,
//!         }),
//!         layers: Vec::new(),
//!         law: None,
//!         gustiness: None,
//!         others: Vec::new(),
//!         age_s: None,
//!     },
//!     spread: SpreadInput::default(),
//!     failures: Vec::new(),
//!     cords: None,
//!     calibration: None,
//!     question: Question {
//!         ways: [2.0, 6.0].map(|delay| Deployment { motor_delay_s: Some(delay), electronics: None }).to_vec(),
//!         limits_m_s: vec![15.6],
//!         limit_applies: LimitApplies::Ejection,
//!         accept_chance: None,
//!         accept_limit: 0,
//!         flights: 256,
//!         until_half_width: None,
//!         seed: 1,
//!         points: PointSet::Sobol,
//!         rule_set: None,
//!         drivers: None,
//!         settings: Default::default(),
//!         rare: Vec::new(),
//!     },
//! };
//! let case = Case::new(inputs).map_err(|faults| format!("{faults:?}"))?;
//! let report = slowpoint_sim::assess(&case, &AtomicBool::new(false)).ok_or("stopped")?;
//! // Two seconds after burnout it is still fast; near apogee it is not.
//! let over = |way: usize| report.ways[way].limits[0].over.estimate;
//! assert!(over(0) > 0.9 && over(1) < over(0));
//! assert!(!report.assumed.is_empty(), "every default is listed");
//! # Ok::<(), String>(())
//! ```
//!
//! This crate reads no file, no clock and no environment, logs nothing and knows no serialization.
//! The same input gives the same bytes, whatever the number of threads.

pub mod advise;
pub mod aero;
pub mod air;
pub mod assumption;
pub mod calibration;
pub mod case;
pub mod constants;
pub mod cord;
pub mod draw;
pub mod drivers;
pub mod fault;
pub mod flight;
pub mod lanes;
pub mod limits;
pub mod plane;
pub mod rare;
pub mod report;
mod root;
mod run;
pub mod settings;
pub mod stat;
pub mod tally;
pub mod thrust;
pub mod told;
pub mod until;
pub mod wind;

pub use run::{
    BATCH, DrawnInput, FlightChances, PathPoint, Replay, Sample, Work, asked, assess, assess_cell, assess_cells,
    assess_telling, calibrated, cell_m, curve_s, each_flight, fly_range, replay, report, same_flights, tally,
    way_label, work, work_of_cell, work_of_learning,
};
