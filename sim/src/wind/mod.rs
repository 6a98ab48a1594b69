//! The wind: what was reported, the law near the ground, and one flight's drawn table.

mod drift;
mod profile;
mod table;
pub mod turbulence;

pub use drift::{Descent, Drift, DriftTable};
pub use profile::{
    Direction, ERROR_ANCHORS_M, Gustiness, LAW_TOP_M, Layer, MeanWind, Profile, SURFACE_HEIGHT_M, SurfaceLaw,
    SurfaceWind, WindErrors, WindNumbers,
};
pub use table::{Piece, WindTable};
