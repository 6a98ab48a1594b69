//! Cord and tube edge, as they are asked.

use serde::Deserialize;
use utoipa::ToSchema;

use super::request::{Force, LawRequest, Length, LineLoad, Mass, Share, SurfaceArea};

/// What the cord between nose section and airframe comes to, for one arrangement or several on the same flights: its peak
/// tension, the load on the tube's edge, and the chances that the edge tears and that the cord breaks. No published value
/// says at which load a cord cuts down the wall of a tube.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CordsRequest {
    /// Mass of the nose section: all that comes off with the nose.
    #[schema(required = true, nullable = false)]
    pub nose_mass: Option<Mass>,
    /// Drag coefficient times area of the nose section; that of the body's cross-section with a coefficient of 1 when left
    /// out.
    pub nose_drag_area: Option<SurfaceArea>,
    /// The same of the airframe without it; that of the whole rocket when left out.
    pub airframe_drag_area: Option<SurfaceArea>,
    /// Speed at which the charge drives nose section and airframe apart, m/s: its impulse over the mass of each, added up.
    #[schema(example = json!({"log_normal": {"median": "8 m/s", "log_sd": 0.3}}))]
    pub parting_speed: Option<LawRequest>,
    /// Factor on the stiffness of every part.
    pub stiffness_factor: Option<LawRequest>,
    /// Factor on the damping of every part.
    pub damping_factor: Option<LawRequest>,
    /// Standard deviation of the natural logarithm of each part's strength: about the relative one.
    pub strength_log_sd: Option<Share>,
    /// Ways of tying both together; the others are held against the first.
    #[schema(required = true, nullable = false, min_items = 1, max_items = 6)]
    pub arrangements: Option<Vec<ArrangementRequest>>,
    /// The wall of the tube.
    #[schema(required = true, nullable = false)]
    pub wall: Option<WallRequest>,
}

/// One way of tying nose section and airframe together.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ArrangementRequest {
    /// Its name.
    #[schema(required = true, nullable = false, min_length = 1, max_length = 60, example = "thin line")]
    pub name: Option<String>,
    /// Width over which one leg bears on the edge of the tube: of a thin cord about its diameter, of webbing or a sleeve
    /// their width.
    #[schema(required = true, nullable = false, example = "3 mm")]
    pub edge_width: Option<Length>,
    /// Legs on the edge that share the tension; 1 when left out, 2 for a harness.
    #[schema(minimum = 1, maximum = 8, example = 1)]
    pub legs: Option<u64>,
    /// Runs side by side from one end to the other, of lengths of their own; each is a list of its parts one after the
    /// other.
    #[schema(required = true, nullable = false, min_items = 1, max_items = 4)]
    pub runs: Option<Vec<Vec<CordPart>>>,
}

/// A piece of cord. Give `stiffness` or `fibre`.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CordPart {
    /// Length before it is stretched.
    #[schema(required = true, nullable = false, example = "3 m")]
    pub length: Option<Length>,
    /// Tension at which it breaks.
    #[schema(required = true, nullable = false, example = "900 N")]
    pub strength: Option<Force>,
    /// Tension per strain (modulus times cross-section): an elastic that 50 N stretch to twice its length has 50 N.
    #[schema(example = "50 N")]
    pub stiffness: Option<Force>,
    /// What it is made of, where the stiffness is to follow from the strength.
    pub fibre: Option<FibreKind>,
    /// Share of what it stores that it loses in a radian of vibration: twice its share of critical damping. 0.1 when left
    /// out.
    #[schema(example = 0.1)]
    pub loss_factor: Option<f64>,
    /// Stretch over length at which it stiffens or locks ("80 %"). It never does when left out.
    pub locks_at_strain: Option<Share>,
    /// Tension per strain from there on.
    pub locked_stiffness: Option<Force>,
}

/// What a cord is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FibreKind {
    /// Nylon, braided.
    Nylon,
    /// Para-aramid.
    Aramid,
    /// Polypropylene webbing.
    Polypropylene,
}

/// The wall of the tube: `material` and `thickness`, from which what its edge bears is guessed, or `resistance`.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WallRequest {
    /// What it is made of.
    pub material: Option<WallMaterial>,
    /// Its thickness.
    #[schema(example = "1 mm")]
    pub thickness: Option<Length>,
    /// Load per bearing width at which half of all such edges tear, from trials of your own.
    pub resistance: Option<LineLoad>,
    /// Standard deviation of its natural logarithm; 0.5 when left out, a factor of 1.65 either way.
    pub log_sd: Option<Share>,
}

/// What a tube is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WallMaterial {
    /// Wound paper or board.
    Paper,
    /// Paper with phenolic resin.
    Phenolic,
    /// Glass cloth with epoxy.
    GlassEpoxy,
}
