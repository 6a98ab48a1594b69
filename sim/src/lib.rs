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
//! This crate reads no file, no clock and no environment, logs nothing and knows no serialization.
//! The same input gives the same bytes, whatever the number of threads.

pub mod advise;
pub mod aero;
pub mod air;
pub mod assumption;
pub mod case;
pub mod constants;
pub mod draw;
pub mod fault;
pub mod flight;
pub mod lanes;
pub mod limits;
pub mod report;
mod run;
pub mod stat;
pub mod tally;
pub mod thrust;
pub mod wind;

pub use run::{DrawnInput, PathPoint, Replay, assess, replay, report, tally, way_label};
