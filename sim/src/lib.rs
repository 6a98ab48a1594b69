//! Monte Carlo flights of a model or high-power rocket.
#![doc = "placeholder"]

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
pub mod stat;
pub mod thrust;
pub mod wind;
