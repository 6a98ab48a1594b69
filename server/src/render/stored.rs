//! What pictures and files need of an answer, read back from its bytes as they are stored.

use serde::Deserialize;
use slowpoint_sim::plane::{Plane, Position};

use crate::wire::Figure;

/// An answer.
#[derive(Debug, Deserialize)]
pub struct Stored {
    /// First caution.
    pub caution: String,
    /// Its id.
    pub id: String,
    /// Engine that flew.
    pub engine: String,
    /// Name of the rocket.
    pub name: String,
    /// Flights flown.
    pub flights: u64,
    /// The field; answers of before 0.6.0 have none.
    pub site: Option<Site>,
    /// Speed limits.
    pub limits: Vec<Limit>,
    /// Which airspeed they are held against.
    pub limits_apply_to: String,
    /// Ways of deploying.
    pub delays: Vec<Delay>,
    /// Chances against the delay.
    pub delay_curve: Vec<CurvePoint>,
    /// The highest point; null where no flight left the rail.
    pub apogee: Option<Apogee>,
    /// Whether it ended once its intervals were narrow enough.
    #[serde(default)]
    pub until: Option<serde::de::IgnoredAny>,
    /// What follows.
    pub advice: Advice,
    /// What fails.
    pub failures: Failures,
    /// Cord and tube edge, where that was asked.
    #[serde(default)]
    pub cords: Option<Cords>,
    /// What was learned from flights flown, where some were told.
    #[serde(default)]
    pub calibration: Option<Calibration>,
    /// Chances that were sought where they happen, where some were asked.
    #[serde(default)]
    pub rare: Option<Rare>,
}

/// Chances that were sought where they happen.
#[derive(Debug, Deserialize)]
pub struct Rare {
    /// Each.
    pub chances: Vec<RareChance>,
}

/// One of them.
#[derive(Debug, Deserialize)]
pub struct RareChance {
    /// All of it in words.
    pub text: String,
    /// Area in which anything comes down; null where an opening was sought.
    pub landing_in: Option<String>,
    /// Speed that it opens over; null where a landing was sought.
    pub opening_over: Option<Limit>,
    /// What it was flown with.
    pub flown_with: String,
    /// The chance; null where it is only known to be below.
    pub estimate: Figure,
    /// Lower end; null as well.
    pub lower: Figure,
    /// Upper end.
    pub upper: Figure,
    /// The chance in words.
    pub chance_text: String,
    /// Inputs that lie off, the farthest first.
    pub moved: Vec<RareMove>,
}

/// An input that lies off where it happens.
#[derive(Debug, Deserialize)]
pub struct RareMove {
    /// Its name.
    pub input: String,
    /// How far.
    pub standard_deviations: Figure,
}

/// What was learned from flights flown.
#[derive(Debug, Deserialize)]
pub struct Calibration {
    /// Why the answer is not drawn from it; null where it is.
    pub refused_because: Option<String>,
    /// Flights drawn for it.
    pub flights_drawn: u64,
    /// Drag, impulse and wind.
    pub inputs: Vec<Learned>,
    /// The flights.
    pub flown: Vec<Flown>,
}

/// One input.
#[derive(Debug, Deserialize)]
pub struct Learned {
    /// Which.
    pub input: String,
    /// Its unit; empty for a factor.
    pub unit: String,
    /// Before.
    pub before: Median,
    /// Of the next flight; null where it is not used.
    pub after: Option<Median>,
    /// Of all flights; null where it is not used.
    pub bias: Option<Median>,
}

/// A flight that was flown.
#[derive(Debug, Deserialize)]
pub struct Flown {
    /// Its number.
    pub flight: u64,
    /// What was logged of it.
    pub logged: Vec<Logged>,
}

/// A figure that was logged.
#[derive(Debug, Deserialize)]
pub struct Logged {
    /// Of what.
    pub what: String,
    /// Its unit.
    pub unit: String,
    /// Its value.
    pub logged: Figure,
    /// Its standard error.
    pub error: Figure,
    /// Drawn flights before.
    pub before: Median,
    /// Drawn flights after; null where it is not used.
    pub after: Option<Median>,
}

/// A median between the ends of 90 %.
#[derive(Debug, Clone, Copy, Deserialize)]
pub struct Median {
    /// 5 % lie below.
    pub p05: Figure,
    /// Half do.
    pub p50: Figure,
    /// 95 % do.
    pub p95: Figure,
}

/// Cord and tube edge.
#[derive(Debug, Deserialize)]
pub struct Cords {
    /// Flights that they were worked out for.
    pub flights: u64,
    /// What the edge bears.
    pub wall: Wall,
    /// Ways of deploying.
    pub delays: Vec<CordsOfDelay>,
}

/// What the edge bears, N/mm.
#[derive(Debug, Deserialize)]
pub struct Wall {
    /// Half tear below.
    pub median_n_per_mm: Figure,
    /// 5 % do.
    pub p05_n_per_mm: Figure,
    /// 95 % do.
    pub p95_n_per_mm: Figure,
    /// Whether it is guessed.
    pub guessed: bool,
}

/// The arrangements in one way of deploying.
#[derive(Debug, Deserialize)]
pub struct CordsOfDelay {
    /// Which.
    pub label: String,
    /// One per arrangement.
    pub arrangements: Vec<Pull>,
}

/// The hardest pull on one arrangement.
#[derive(Debug, Deserialize)]
pub struct Pull {
    /// Its name.
    pub name: String,
    /// Tension, N.
    pub peak_tension_n: Option<Figures>,
    /// Load on the edge, N/mm.
    pub edge_load_n_per_mm: Option<Figures>,
    /// Chance that the edge tears.
    pub edge_tears: Chance,
}

/// The highest point.
#[derive(Debug, Deserialize)]
pub struct Apogee {
    /// Above the pad, m.
    pub height_above_pad_m: Figures,
}

/// The field.
#[derive(Debug, Deserialize)]
pub struct Site {
    /// Its name.
    pub name: Option<String>,
    /// Its origin.
    pub origin: Option<Degrees>,
    /// The pad.
    pub pad: Pad,
    /// What is on it.
    pub areas: Vec<Area>,
}

/// A place on Earth.
#[derive(Debug, Clone, Copy, Deserialize)]
pub struct Degrees {
    latitude_deg: f64,
    longitude_deg: f64,
}

/// The pad.
#[derive(Debug, Deserialize)]
pub struct Pad {
    /// Its name.
    pub name: Option<String>,
    east_of_origin_m: Figure,
    north_of_origin_m: Figure,
}

/// An area.
#[derive(Debug, Deserialize)]
pub struct Area {
    /// Its name.
    pub name: String,
    /// What it is.
    pub role: Option<String>,
    /// A circle ...
    pub circle: Option<Circle>,
    /// ... or patches.
    pub outline: Vec<Patch>,
}

/// A circle on the ground.
#[derive(Debug, Clone, Copy, Deserialize)]
pub struct Circle {
    /// Centre.
    pub east_m: Figure,
    /// Centre.
    pub north_m: Figure,
    /// Radius.
    pub radius_m: Figure,
}

/// A ring of places, metres east and north of the pad.
pub type Ring = Vec<[Figure; 2]>;

/// A connected patch.
#[derive(Debug, Clone, Deserialize)]
pub struct Patch {
    /// Outer edge.
    pub exterior_m: Ring,
    /// Gaps.
    pub holes_m: Vec<Ring>,
}

/// A speed limit.
#[derive(Debug, Clone, Copy, Deserialize)]
pub struct Limit {
    /// In m/s.
    pub limit_m_s: Figure,
    /// In miles per hour.
    pub limit_mph: Figure,
}

/// A way of deploying.
#[derive(Debug, Deserialize)]
pub struct Delay {
    /// In words.
    pub label: String,
    /// Delay of the motor's charge, s.
    pub motor_delay_s: Figure,
    /// Whether there is an altimeter.
    electronics: Option<serde::de::IgnoredAny>,
    /// At ejection.
    pub at_ejection: Option<AtEjection>,
    /// On the ground.
    pub landing: Option<Landing>,
}

/// At ejection.
#[derive(Debug, Deserialize)]
pub struct AtEjection {
    /// Airspeed, m/s.
    pub airspeed_m_s: Figures,
    /// Airspeed at line stretch, m/s.
    pub line_stretch_airspeed_m_s: Figures,
}

/// Quantiles.
#[derive(Debug, Clone, Copy, Deserialize)]
pub struct Figures {
    /// 5 % are below.
    pub p05: Figure,
    /// 25 % are below.
    pub p25: Figure,
    /// Half are below.
    pub p50: Figure,
    /// 75 % are below.
    pub p75: Figure,
    /// 95 % are below.
    pub p95: Figure,
}

/// On the ground.
#[derive(Debug, Deserialize)]
pub struct Landing {
    /// Flights that came down.
    pub flights: u64,
    /// Mean place.
    pub mean_east_m: Figure,
    /// Mean place.
    pub mean_north_m: Figure,
    /// Ellipses.
    pub ellipses: Vec<Ellipse>,
    /// Smallest areas.
    pub regions: Vec<Region>,
    /// Chances of the areas.
    pub areas: Vec<AreaChances>,
    /// Chance of coming down outside every field.
    #[serde(default)]
    pub outside_fields: Option<Chance>,
}

/// An ellipse about the mean place.
#[derive(Debug, Clone, Copy, Deserialize)]
pub struct Ellipse {
    /// Share of a bivariate normal.
    pub share_asked: Figure,
    /// Share of the flights.
    pub share_held: Figure,
    /// Half of the long axis.
    pub semi_major_m: Figure,
    /// Half of the short axis.
    pub semi_minor_m: Figure,
    /// Of the long axis.
    pub bearing_deg: Figure,
}

/// A smallest area that holds a share.
#[derive(Debug, Deserialize)]
pub struct Region {
    /// Share asked.
    pub share_asked: Figure,
    /// Share of the flights.
    pub share_held: Figure,
    /// Share expected of fresh flights.
    pub share_expected: Figure,
    /// Its area.
    pub area_m2: Figure,
    /// Its patches.
    pub outline: Vec<Patch>,
}

/// Chances of an area.
#[derive(Debug, Deserialize)]
pub struct AreaChances {
    /// Comes down inside.
    pub inside: Chance,
    /// Comes down outside.
    pub outside: Chance,
}

/// A chance with its interval.
#[derive(Debug, Clone, Deserialize)]
pub struct Chance {
    /// The chance.
    pub estimate: Figure,
    /// Lower end.
    pub lower: Figure,
    /// Upper end.
    pub upper: Figure,
    /// In words.
    pub text: String,
}

/// The chances at one delay.
#[derive(Debug, Deserialize)]
pub struct CurvePoint {
    /// The delay.
    pub delay_s: Figure,
    /// The airspeed that limits are held against, m/s; answers of before 0.6.0 have none.
    pub opening_airspeed_m_s: Option<Figures>,
    /// Against each limit.
    pub limits: Vec<CurveChances>,
}

/// The chances against one limit at one delay.
#[derive(Debug, Deserialize)]
pub struct CurveChances {
    /// Of an unsafe opening.
    pub unsafe_opening: Band,
}

/// A chance and its interval.
#[derive(Debug, Clone, Copy, Deserialize)]
pub struct Band {
    /// The chance.
    pub estimate: Figure,
    /// Lower end.
    pub lower: Figure,
    /// Upper end.
    pub upper: Figure,
}

/// What follows.
#[derive(Debug, Deserialize)]
pub struct Advice {
    /// Label of the delay with the least chance, or "none".
    pub lowest: String,
    /// Limit of the condition.
    pub limit_m_s: Figure,
}

/// What fails.
#[derive(Debug, Deserialize)]
pub struct Failures {
    /// Label of the delay they are flown with.
    pub flown_with: String,
    /// One per failure.
    pub each: Vec<Failed>,
}

/// Flights with one failure.
#[derive(Debug, Deserialize)]
pub struct Failed {
    /// Its name.
    pub failure: String,
    /// What happens.
    pub meaning: String,
    /// Where it comes down.
    landing: Option<Landing>,
    /// The same of a part.
    part: Option<Landing>,
}

impl Failed {
    /// Where it comes down, and where a part does; whether it is the part.
    pub fn landings(&self) -> impl Iterator<Item = (&Landing, bool)> {
        let whole = self.landing.iter().map(|landing| (landing, false));
        whole.chain(self.part.iter().map(|landing| (landing, true)))
    }
}

impl Stored {
    /// Whether limits are held against the airspeed at line stretch, rather than at ejection.
    pub fn at_line_stretch(&self) -> bool {
        self.limits_apply_to == "line_stretch"
    }

    /// The delay asked for by its label or its seconds; by default the one with the least chance of an unsafe opening, or
    /// the first where none is lower.
    pub fn delay(&self, asked: Option<&str>) -> Option<&Delay> {
        let Some(asked) = asked else {
            return self.delays.iter().find(|d| d.label == self.advice.lowest).or(self.delays.first());
        };
        let seconds: Option<f64> = asked.trim().parse().ok();
        self.delays.iter().find(|d| d.label == asked || (d.electronics.is_none() && seconds == Some(d.motor_delay_s.0)))
    }
}

impl Delay {
    /// The delay, where the motor's charge deploys alone.
    pub fn alone_s(&self) -> Option<f64> {
        self.motor_delay_s.rounded().filter(|_| self.electronics.is_none())
    }
}

/// The way from metres of an answer to degrees.
pub struct Globe {
    plane: Plane,
    pad_m: [f64; 2],
}

impl Site {
    /// `None` without a position.
    pub fn globe(&self) -> Option<Globe> {
        let origin = self.origin?;
        let plane = Plane::new(Position {
            latitude_rad: origin.latitude_deg.to_radians(),
            longitude_rad: origin.longitude_deg.to_radians(),
        });
        Some(Globe { plane, pad_m: [self.pad.east_of_origin_m.0, self.pad.north_of_origin_m.0] })
    }
}

impl Globe {
    /// Longitude and latitude to a centimetre, degrees, of a place east and north of the pad.
    pub fn degrees(&self, [east_m, north_m]: [f64; 2]) -> [f64; 2] {
        let at = self.plane.position([east_m + self.pad_m[0], north_m + self.pad_m[1]]);
        [at.longitude_rad, at.latitude_rad].map(|rad| (rad.to_degrees() * 1e7).round() / 1e7 + 0.0)
    }
}

/// Corners of what is round.
const CORNERS: u32 = 96;

impl Area {
    /// Its patches; a circle becomes a polygon.
    pub fn patches(&self) -> Vec<Patch> {
        let Some(circle) = self.circle else { return self.outline.clone() };
        let radius_m = circle.radius_m.0;
        vec![round([circle.east_m.0, circle.north_m.0], [radius_m, 0.0], [0.0, radius_m])]
    }
}

impl Landing {
    /// An ellipse as a polygon.
    pub fn ellipse(&self, ellipse: &Ellipse) -> Patch {
        let (sine, cosine) = ellipse.bearing_deg.0.to_radians().sin_cos();
        let [long, short] = [ellipse.semi_major_m.0, ellipse.semi_minor_m.0];
        round([self.mean_east_m.0, self.mean_north_m.0], [long * sine, long * cosine], [-short * cosine, short * sine])
    }
}

/// Counter-clockwise, from the end of one half-axis towards the other.
fn round(centre: [f64; 2], first: [f64; 2], second: [f64; 2]) -> Patch {
    let corner = |k: u32| {
        let (sine, cosine) = (core::f64::consts::TAU * f64::from(k % CORNERS) / f64::from(CORNERS)).sin_cos();
        [0, 1].map(|i| Figure(centre[i] + cosine * first[i] + sine * second[i]))
    };
    Patch { exterior_m: (0..=CORNERS).map(corner).collect(), holes_m: Vec::new() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn twice_area(ring: &Ring) -> f64 {
        ring.windows(2).map(|e| e[0][0].0 * e[1][1].0 - e[1][0].0 * e[0][1].0).sum()
    }

    /// Area pi a b to the part that 96 corners leave out, wound counter-clockwise, long axis along the bearing.
    #[test]
    fn what_is_round() {
        let landing = Landing {
            flights: 9,
            mean_east_m: Figure(10.0),
            mean_north_m: Figure(-20.0),
            ellipses: Vec::new(),
            regions: Vec::new(),
            areas: Vec::new(),
            outside_fields: None,
        };
        let ellipse = Ellipse {
            share_asked: Figure(0.95),
            share_held: Figure(0.95),
            semi_major_m: Figure(100.0),
            semi_minor_m: Figure(40.0),
            bearing_deg: Figure(90.0),
        };
        let patch = landing.ellipse(&ellipse);
        let area = 0.5 * twice_area(&patch.exterior_m);
        assert!((area / (core::f64::consts::PI * 4000.0) - 1.0).abs() < 1e-3 && area > 0.0, "{area}");
        let end = patch.exterior_m[0].map(|figure| figure.0);
        assert!((end[0] - 110.0).abs() < 1e-9 && (end[1] + 20.0).abs() < 1e-9, "{end:?}");
        let circle = Circle { east_m: Figure(0.0), north_m: Figure(0.0), radius_m: Figure(10.0) };
        let area = Area { name: String::new(), role: None, circle: Some(circle), outline: Vec::new() };
        assert!(twice_area(&area.patches()[0].exterior_m) > 0.0);
        assert_eq!(patch.exterior_m.first(), patch.exterior_m.last());
    }
}
