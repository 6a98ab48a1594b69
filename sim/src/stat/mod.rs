//! Statistics of many flights: what the tallies add up to, and how far each figure can be trusted.
//!
//! Two kinds of file live here. The first turns counts into statements: [`interval`] (95 % intervals
//! of a chance), [`paired`] (is one delay really better than another), [`indices`] (what drives a
//! quantity), [`importance`] with [`places`] (chances too rare to count), [`posterior`] (what data say of unknowns), on top
//! of [`normal`], [`beta`] and [`student`]. The second accumulates: [`histogram`] and [`summary`] (one
//! number per flight), [`cloud`] (one landing point per flight), with [`ellipse`], [`region`] and [`outline`] read from
//! it.
//!
//! What accumulates holds integers only: counts, fixed-point sums, extremes with the flight they came
//! from. Integer addition is associative, so any split of the flights over threads or machines, merged
//! in any order, ends in the same bytes; the sums of [`indices`] alone are of floating point, and whoever gathers them
//! merges them in one fixed order. Elsewhere floating point enters when a finished tally is read, in one
//! fixed order. Transcendental functions come from `libm`, never from the platform, for the same reason;
//! `sqrt`, `floor` and `round` are exact by IEEE 754 and are taken from `core`.
//!
//! Nothing here knows what a rocket is, and nothing here can fail: a value that cannot be placed is
//! counted as such.

mod axes;
pub mod beta;
pub mod cloud;
pub mod ellipse;
pub mod histogram;
pub mod importance;
pub mod indices;
pub mod interval;
pub mod normal;
pub mod outline;
pub mod paired;
pub mod places;
pub mod posterior;
pub mod region;
pub mod student;
pub mod summary;

#[cfg(test)]
mod sampler;
