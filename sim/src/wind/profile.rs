//! From the day's wind as people have it to the table that one flight flies through.
//!
//! Heights of the nodes are fixed by the input; a draw changes only the values, so laying down a
//! flight's wind is one pass over a short list. Errors are components along and across the mean wind
//! (no negative speeds), normal, with exponential correlation over height.

use super::{WindTable, turbulence};

/// Above this height the surface law says nothing (EN 1991-1-4 4.3.2 gives it for z <= 200 m).
pub const LAW_TOP_M: f64 = 200.0;

/// With winds aloft, the surface law is left at the latest here for a straight line to the first of them, m.
const BLEND_FROM_M: f64 = 100.0;

/// Heights at which errors of the wind are drawn, m above ground; linear in between, held above.
pub const ERROR_ANCHORS_M: [f64; 8] = [10.0, 100.0, 250.0, 500.0, 900.0, 1500.0, 2500.0, 5000.0];

/// Heights at which the surface law is laid down, as fractions of its top. Neighbours differ by a factor of at
/// most 2.5 close to the ground and 5/3 above, where a straight line sags 0.6 % under a log law at 100 m.
const LAW_FRACTIONS: [f64; 17] =
    [0.000_5, 0.001, 0.002_5, 0.005, 0.01, 0.015, 0.02, 0.03, 0.04, 0.05, 0.07, 0.1, 0.15, 0.25, 0.4, 0.65, 1.0];

/// Height above ground where weather reports measure the wind, m (WMO-No. 8).
pub const SURFACE_HEIGHT_M: f64 = 10.0;

/// How the mean wind grows from the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SurfaceLaw {
    /// ln(z / z0), zero below the roughness length z0.
    Log {
        /// Roughness length, m.
        roughness_m: f64,
    },
    /// z to a power.
    Power {
        /// The exponent.
        exponent: f64,
    },
}

impl SurfaceLaw {
    /// Open grass, where weather stations stand: taken where nothing is said of the terrain.
    pub const OPEN: Self = Self::Log { roughness_m: 0.03 };

    /// Speed at one height over the speed at another, both above ground.
    pub fn ratio(&self, height_m: f64, reference_m: f64) -> f64 {
        match *self {
            Self::Log { roughness_m } => {
                (libm::log(height_m / roughness_m) / libm::log(reference_m / roughness_m)).max(0.0)
            }
            Self::Power { exponent } => libm::pow(height_m.max(0.0) / reference_m, exponent),
        }
    }

    /// Ratio of the standard deviation of gusts to the mean at a height: 1 / ln(z/z0), EN 1991-1-4 4.4.
    /// For a power law through the local equivalence alpha = 1 / ln(z/z0).
    pub fn turbulence_intensity(&self, height_m: f64) -> f64 {
        match *self {
            Self::Log { roughness_m } => 1.0 / libm::log((height_m / roughness_m).max(1.5)),
            Self::Power { exponent } => exponent,
        }
    }

    /// Lowest height with any wind, m.
    fn foot_m(&self) -> f64 {
        match *self {
            Self::Log { roughness_m } => roughness_m,
            Self::Power { .. } => 0.0,
        }
    }
}

/// Direction a surface wind comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Direction {
    /// Radians clockwise from true north.
    From(f64),
    /// Variable: every direction alike.
    Variable,
}

/// A wind measured near the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceWind {
    /// Mean speed, m/s.
    pub speed_m_s: f64,
    /// Where it comes from.
    pub direction: Direction,
    /// Height of the instrument above ground, m.
    pub measuring_height_m: f64,
    /// Reported gust speed, m/s, if the report has one.
    pub gust_m_s: Option<f64>,
}

/// A wind aloft.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layer {
    /// Height above ground, m.
    pub height_above_ground_m: f64,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// Direction it comes from, radians clockwise from true north.
    pub direction_from_rad: f64,
}

/// Standard deviations of the wind's errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WindErrors {
    /// Along and across the mean wind alike, m/s.
    pub component_sd_m_s: f64,
    /// Of the direction, radians; adds to the error across in proportion to the speed.
    pub direction_sd_rad: f64,
    /// Height over which errors agree, m.
    pub correlation_length_m: f64,
    /// Added to the component's error per metre above the highest layer, m/s per m.
    pub growth_above_top_per_s: f64,
}

/// What the size of the gusts is taken from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Gustiness {
    /// No gusts: a steady wind.
    Off,
    /// The gust of the surface report; where it has none, the terrain, but gusts stay under what a report would tell.
    Report,
    /// The terrain: turbulence intensity of EN 1991-1-4 at the mean wind.
    Terrain,
    /// The mean wind at 20 ft, as MIL-F-8785C has it.
    MeanWind,
    /// A wind at 20 ft to scale with, m/s, whatever the mean: 15, 30 and 45 kt are light, moderate and severe
    /// turbulence.
    WindAt20Ft(f64),
}

/// The standard normal and uniform numbers of one flight's wind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WindNumbers {
    /// Standard normal per anchor, along the mean wind.
    pub along: [f64; ERROR_ANCHORS_M.len()],
    /// Standard normal per anchor, across the mean wind.
    pub across: [f64; ERROR_ANCHORS_M.len()],
    /// Standard normals of the gust at the ground, along and across the mean wind.
    pub gust: [f64; 2],
    /// Uniform on (0, 1) for a variable direction.
    pub variable_direction: f64,
    /// Added to the speed at every height, m/s: a what-if, zero in a drawn flight.
    pub shift_m_s: f64,
}

impl WindErrors {
    /// The wind is as it was reported.
    pub const NONE: Self =
        Self { component_sd_m_s: 0.0, direction_sd_rad: 0.0, correlation_length_m: 1.0, growth_above_top_per_s: 0.0 };
}

/// The mean wind at a height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanWind {
    /// Where its direction is known: towards east and north, m/s.
    pub towards_m_s: [f64; 2],
    /// Speed of what comes from every direction alike, m/s.
    pub turning_m_s: f64,
}

impl WindNumbers {
    /// No error at all: the reported wind.
    pub const NONE: Self = Self {
        along: [0.0; ERROR_ANCHORS_M.len()],
        across: [0.0; ERROR_ANCHORS_M.len()],
        gust: [0.0; 2],
        variable_direction: 0.5,
        shift_m_s: 0.0,
    };
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Node {
    height_m: f64,
    /// Part of the mean wind that comes from a variable surface wind and turns with the drawn direction.
    turning_m_s: [f64; 2],
    /// Part whose direction is known: towards east and north.
    steady_m_s: [f64; 2],
    /// Share of the error felt here: falls to nothing at the ground like the mean wind does.
    near_ground: f64,
    component_sd_m_s: f64,
    anchor: usize,
    anchor_weight: f64,
}

/// A wind known at a height: towards east and north, and whether its direction is variable.
#[derive(Debug, Clone, Copy)]
struct Known {
    height_m: f64,
    towards_m_s: [f64; 2],
    variable: bool,
}

/// A row of a flight's table: where it lies between the nodes of the smooth wind and between the heights at which
/// gusts are drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Row {
    height_m: f64,
    /// Node at or below, and how far towards the next.
    node: (usize, f64),
    /// Drawn gust at or below, and how far towards the next.
    gust: (usize, f64),
    /// Standard deviation of the gusts, m/s.
    gust_sd_m_s: f64,
}

/// The lowest known wind, which scales the law below it and the gusts.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Lowest {
    height_m: f64,
    speed_m_s: f64,
    /// Unit vector that it blows towards ...
    towards: [f64; 2],
    /// ... before it turns with the drawn direction.
    variable: bool,
}

/// Gusts as they are laid over the smooth wind.
#[derive(Debug, Clone, PartialEq)]
struct Gusts {
    /// Wind at 20 ft that they are scaled by, m/s.
    wind_at_20_ft_m_s: f64,
    /// Heights at which they are drawn, from the ground up, m.
    heights_m: Vec<f64>,
    rows: Vec<Row>,
}

/// The day's wind, ready to be drawn from.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    nodes: Vec<Node>,
    gusts: Option<Gusts>,
    lowest: Lowest,
    law: SurfaceLaw,
    /// Correlation of each anchor's error with the one below.
    correlation: [f64; ERROR_ANCHORS_M.len()],
    direction_sd_rad: f64,
    top_m: f64,
    law_top_m: f64,
}

impl Profile {
    /// A wind without gusts, from a surface wind, layers sorted by height, or both; `None` when there is neither.
    pub fn new(surface: Option<SurfaceWind>, layers: &[Layer], law: SurfaceLaw, errors: WindErrors) -> Option<Self> {
        let towards = |from: f64| [-libm::sin(from), -libm::cos(from)];
        // The lowest known wind scales the law below it.
        let (reference_m, reference_speed, direction) = match (surface, layers.first()) {
            (Some(s), _) => (s.measuring_height_m, s.speed_m_s, s.direction),
            (None, Some(l)) => {
                (l.height_above_ground_m.min(LAW_TOP_M), l.speed_m_s, Direction::From(l.direction_from_rad))
            }
            (None, None) => return None,
        };
        let (near, variable) = match direction {
            Direction::From(rad) => (towards(rad), false),
            // Turned by the drawn angle; the start does not matter.
            Direction::Variable => ([0.0, -1.0], true),
        };
        let law_top_m = match (surface, layers.first()) {
            (_, None) => LAW_TOP_M,
            (None, Some(_)) => reference_m,
            // The law carries a surface wind half the way up to the first wind aloft, at most to where it
            // is well founded, and never ends below its own instrument.
            (Some(_), Some(first)) => (0.5 * first.height_above_ground_m).min(BLEND_FROM_M).max(reference_m),
        };
        let near_ground =
            |height_m: f64, speed: f64| Known { height_m, towards_m_s: [near[0] * speed, near[1] * speed], variable };
        let foot = law.foot_m();
        let mut known = vec![near_ground(0.0, 0.0)];
        if foot > 0.0 {
            known.push(near_ground(foot, 0.0));
        }
        for fraction in LAW_FRACTIONS {
            let z = law_top_m * fraction;
            if z > foot * 1.2 {
                known.push(near_ground(z, reference_speed * law.ratio(z, reference_m)));
            }
        }
        for l in layers.iter().filter(|l| l.height_above_ground_m > law_top_m * 1.001) {
            let [e, n] = towards(l.direction_from_rad);
            known.push(Known {
                height_m: l.height_above_ground_m,
                towards_m_s: [e * l.speed_m_s, n * l.speed_m_s],
                variable: false,
            });
        }
        let top_m = known.last().map_or(0.0, |k| k.height_m);

        let nodes: Vec<Node> = node_heights(&known)
            .into_iter()
            .map(|z| {
                let (turning_m_s, steady_m_s) = interpolate(&known, z);
                let anchor = ERROR_ANCHORS_M.partition_point(|a| *a <= z).saturating_sub(1);
                let anchor_weight = match ERROR_ANCHORS_M.get(anchor + 1) {
                    Some(next) => ((z - ERROR_ANCHORS_M[anchor]) / (next - ERROR_ANCHORS_M[anchor])).max(0.0),
                    None => 0.0,
                };
                Node {
                    height_m: z,
                    turning_m_s,
                    steady_m_s,
                    near_ground: law.ratio(z.max(foot), ERROR_ANCHORS_M[0].max(foot * 2.0)).min(1.0),
                    component_sd_m_s: errors.component_sd_m_s + errors.growth_above_top_per_s * (z - top_m).max(0.0),
                    anchor,
                    anchor_weight,
                }
            })
            .collect();
        let mut correlation = [0.0; ERROR_ANCHORS_M.len()];
        for k in 1..ERROR_ANCHORS_M.len() {
            correlation[k] = libm::exp(-(ERROR_ANCHORS_M[k] - ERROR_ANCHORS_M[k - 1]) / errors.correlation_length_m);
        }
        Some(Self {
            nodes,
            gusts: None,
            lowest: Lowest { height_m: reference_m, speed_m_s: reference_speed, towards: near, variable },
            law,
            correlation,
            direction_sd_rad: errors.direction_sd_rad,
            top_m,
            law_top_m,
        })
    }

    /// The same with gusts, drawn up to a height and held above; `reported_m_s` is the gust of the surface report.
    pub fn with_gusts(mut self, gustiness: Gustiness, reported_m_s: Option<f64>, top_m: f64) -> Self {
        let wind_at_20_ft_m_s = self.wind_at_20_ft_m_s(gustiness, reported_m_s);
        self.gusts = (wind_at_20_ft_m_s > 0.0).then(|| {
            let heights_m = turbulence::heights_m(top_m);
            let rows = rows(&self.nodes, &heights_m, wind_at_20_ft_m_s, self.law.foot_m());
            Gusts { wind_at_20_ft_m_s, heights_m, rows }
        });
        self
    }

    /// The wind at 20 ft by which the gusts are scaled, m/s; zero for none.
    ///
    /// The peak of a report is near three standard deviations over the mean (peak factor of EN 1991-1-4 and of WMO
    /// TD-1555, here an assumption). Without a gust group the peak is less than 5 m/s over the mean (WMO-No. 306
    /// regulation 15.5.5), which leaves gusts, it does not exclude them.
    fn wind_at_20_ft_m_s(&self, gustiness: Gustiness, reported_m_s: Option<f64>) -> f64 {
        const PEAK_FACTOR: f64 = 3.0;
        const HIDDEN_GUST_M_S: f64 = 5.0;
        let Lowest { height_m, speed_m_s, .. } = self.lowest;
        let of = |gust_sd: f64| gust_sd / turbulence::intensity(height_m);
        let terrain_sd = speed_m_s * self.law.turbulence_intensity(height_m);
        match gustiness {
            Gustiness::Off => 0.0,
            Gustiness::Report => of(match reported_m_s {
                Some(gust) => (gust - speed_m_s).max(0.0) / PEAK_FACTOR,
                None => terrain_sd.min(HIDDEN_GUST_M_S / PEAK_FACTOR),
            }),
            Gustiness::Terrain => of(terrain_sd),
            Gustiness::MeanWind => speed_m_s * self.law.ratio(turbulence::REFERENCE_M, height_m),
            Gustiness::WindAt20Ft(wind) => wind,
        }
    }

    /// Standard deviation of each component of the gusts at a height above ground, m/s.
    pub fn gust_sd_m_s(&self, height_m: f64) -> f64 {
        self.gusts.as_ref().map_or(0.0, |g| g.wind_at_20_ft_m_s * turbulence::intensity(height_m))
    }

    /// Heights at which gusts are drawn, from the ground up, m; none in a steady wind.
    pub fn gust_heights_m(&self) -> &[f64] {
        self.gusts.as_ref().map_or(&[], |g| &g.heights_m)
    }

    /// Highest height at which the wind was given, m above ground.
    pub fn top_m(&self) -> f64 {
        self.top_m
    }

    /// Height up to which the surface law was used, m above ground.
    pub fn law_top_m(&self) -> f64 {
        self.law_top_m
    }

    /// Mean wind as reported: (height above ground, towards east, towards north).
    pub fn mean(&self) -> WindTable {
        WindTable::new(self.smooth(&WindNumbers::NONE))
    }

    /// The mean wind at a height above ground, its part without a direction by itself.
    pub fn mean_at(&self, height_m: f64) -> MeanWind {
        let k = self.nodes.partition_point(|n| n.height_m <= height_m).saturating_sub(1);
        let (low, high) = (self.nodes[k], self.nodes.get(k + 1).copied().unwrap_or(self.nodes[k]));
        let thick_m = high.height_m - low.height_m;
        let w = if thick_m > 0.0 { ((height_m - low.height_m) / thick_m).clamp(0.0, 1.0) } else { 0.0 };
        let between = |of: fn(&Node) -> [f64; 2]| {
            let (a, b) = (of(&low), of(&high));
            [0, 1].map(|i| a[i] + (b[i] - a[i]) * w)
        };
        let [east, north] = between(|n| n.turning_m_s);
        MeanWind { towards_m_s: between(|n| n.steady_m_s), turning_m_s: libm::hypot(east, north) }
    }

    /// The mean wind where weather reports measure: towards east, towards north, and its speed, m/s.
    pub fn surface(&self) -> [f64; 3] {
        let (east, north) = self.mean().at(SURFACE_HEIGHT_M);
        [east, north, libm::hypot(east, north)]
    }

    /// The wind of one flight. `normal` gives standard normal numbers for the gusts above the ground, always in the
    /// same order.
    pub fn table(&self, numbers: &WindNumbers, normal: impl FnMut() -> f64) -> WindTable {
        let smooth = self.smooth(numbers);
        let Some(gusts) = &self.gusts else { return WindTable::new(smooth) };
        let drawn: Vec<[f64; 2]> = turbulence::gusts(numbers.gust, gusts.heights_m.len(), normal).collect();
        let (sin, cos) = if self.lowest.variable { Self::turn(numbers) } else { (0.0, 1.0) };
        let [te, tn] = self.lowest.towards;
        let [e, n] = [te * cos + tn * sin, tn * cos - te * sin];
        let rows = gusts.rows.iter().map(|row| {
            let between = |(k, w): (usize, f64), value: &dyn Fn(usize) -> f64| {
                let low = value(k);
                if w > 0.0 { low + (value(k + 1) - low) * w } else { low }
            };
            let [along, across] = [0, 1].map(|i| row.gust_sd_m_s * between(row.gust, &|k| drawn[k][i]));
            [
                row.height_m,
                between(row.node, &|k| smooth[k][1]) + e * along + n * across,
                between(row.node, &|k| smooth[k][2]) + n * along - e * across,
            ]
        });
        WindTable::new(rows.collect())
    }

    /// Sine and cosine by which a variable direction turns.
    fn turn(numbers: &WindNumbers) -> (f64, f64) {
        let turn = core::f64::consts::TAU * numbers.variable_direction;
        (libm::sin(turn), libm::cos(turn))
    }

    /// The mean wind with its errors, without gusts.
    fn smooth(&self, numbers: &WindNumbers) -> Vec<[f64; 3]> {
        let along = self.correlated(&numbers.along);
        let across = self.correlated(&numbers.across);
        let (sin, cos) = Self::turn(numbers);
        self.nodes
            .iter()
            .map(|n| {
                let error = |chain: &[f64; ERROR_ANCHORS_M.len()], sd: f64| {
                    let here = chain[n.anchor];
                    let next = chain[(n.anchor + 1).min(chain.len() - 1)];
                    // A mean of two correlated errors varies less than each: give it its size back.
                    let (w, r) = (n.anchor_weight, self.correlation[(n.anchor + 1).min(chain.len() - 1)]);
                    let size = ((1.0 - w) * (1.0 - w) + w * w + 2.0 * w * (1.0 - w) * r).sqrt();
                    sd * n.near_ground * (here + (next - here) * w) / size
                };
                let [te, tn] = n.turning_m_s;
                let mean = [n.steady_m_s[0] + te * cos + tn * sin, n.steady_m_s[1] + tn * cos - te * sin];
                let speed = (mean[0] * mean[0] + mean[1] * mean[1]).sqrt();
                // Where there is no mean wind, its direction is as good as any.
                let [e, w] = if speed > 1e-9 { [mean[0] / speed, mean[1] / speed] } else { [sin, cos] };
                let turned = speed * self.direction_sd_rad;
                let across_sd = (n.component_sd_m_s * n.component_sd_m_s + turned * turned).sqrt();
                let shifted = (speed + numbers.shift_m_s * n.near_ground).max(0.0);
                let a = shifted + error(&along, n.component_sd_m_s);
                let c = error(&across, across_sd);
                // Across: a quarter turn clockwise of the direction it blows towards.
                [n.height_m, e * a + w * c, w * a - e * c]
            })
            .collect()
    }

    /// Turns independent normals into a chain with exponential correlation over height.
    fn correlated(&self, numbers: &[f64; ERROR_ANCHORS_M.len()]) -> [f64; ERROR_ANCHORS_M.len()] {
        let mut chain = *numbers;
        for k in 1..chain.len() {
            let r = self.correlation[k];
            chain[k] = r * chain[k - 1] + (1.0 - r * r).sqrt() * numbers[k];
        }
        chain
    }
}

/// Rows at the nodes of the smooth wind and at the heights of the gusts together.
fn rows(nodes: &[Node], gusts_m: &[f64], wind_at_20_ft_m_s: f64, foot_m: f64) -> Vec<Row> {
    let nodes_m: Vec<f64> = nodes.iter().map(|n| n.height_m).collect();
    let place = |heights: &[f64], z: f64| {
        let k = heights.partition_point(|h| *h <= z).saturating_sub(1);
        (k, heights.get(k + 1).map_or(0.0, |next| ((z - heights[k]) / (next - heights[k])).max(0.0)))
    };
    let mut heights = [&nodes_m, gusts_m].concat();
    heights.sort_by(f64::total_cmp);
    heights.dedup();
    heights
        .into_iter()
        .map(|z| {
            let gust = place(gusts_m, z);
            let sd = wind_at_20_ft_m_s * turbulence::intensity(z) / turbulence::size_between(gust.1);
            Row { height_m: z, node: place(&nodes_m, z), gust, gust_sd_m_s: if z > foot_m { sd } else { 0.0 } }
        })
        .collect()
}

/// Heights of known winds and of error anchors, merged, without near duplicates.
fn node_heights(known: &[Known]) -> Vec<f64> {
    let mut heights: Vec<f64> = known.iter().map(|k| k.height_m).collect();
    // Half-way heights as well, so that errors keep their size between the anchors.
    let halves = ERROR_ANCHORS_M.windows(2).map(|w| 0.5 * (w[0] + w[1]));
    for z in ERROR_ANCHORS_M.iter().copied().chain(halves).chain([LAW_TOP_M]) {
        if heights.iter().all(|h| (h - z).abs() > 0.02 * z) {
            heights.push(z);
        }
    }
    heights.sort_by(f64::total_cmp);
    heights
}

/// Known wind at a height, its turning and its steady part: linear in the components, held above.
fn interpolate(known: &[Known], z: f64) -> ([f64; 2], [f64; 2]) {
    let k = known.partition_point(|n| n.height_m <= z).saturating_sub(1);
    let low = known[k];
    let (mut turning, mut steady) = ([0.0; 2], [0.0; 2]);
    let mut add = |wind: &Known, share: f64| {
        let part = if wind.variable { &mut turning } else { &mut steady };
        part[0] += wind.towards_m_s[0] * share;
        part[1] += wind.towards_m_s[1] * share;
    };
    match known.get(k + 1) {
        Some(high) => {
            let w = ((z - low.height_m) / (high.height_m - low.height_m)).max(0.0);
            add(&low, 1.0 - w);
            add(high, w);
        }
        None => add(&low, 1.0),
    }
    (turning, steady)
}

#[cfg(test)]
mod tests {
    use super::*;

    const NO_ERRORS: WindErrors = WindErrors {
        component_sd_m_s: 0.0,
        direction_sd_rad: 0.0,
        correlation_length_m: 500.0,
        growth_above_top_per_s: 0.0,
    };

    #[test]
    fn layers_are_linear_in_components() {
        let layers = [(10.0, 10.0, 350.0_f64), (500.0, 10.0, 10.0)].map(|(z, s, d)| Layer {
            height_above_ground_m: z,
            speed_m_s: s,
            direction_from_rad: d.to_radians(),
        });
        let p = Profile::new(None, &layers, SurfaceLaw::Log { roughness_m: 0.03 }, NO_ERRORS);
        let (e, n) = p.map(|p| p.mean().at(255.0)).unwrap_or_default();
        // The mean of 350/10 and 010/10 is 000 deg at 9.8481 (vector mean), not 180.
        assert!(e.abs() < 1e-9 && (n + 9.848_1).abs() < 1e-4, "{e} {n}");
    }

    #[test]
    fn errors_have_their_size_and_correlation() {
        let surface = SurfaceWind {
            speed_m_s: 5.0,
            direction: Direction::From(0.0),
            measuring_height_m: 10.0,
            gust_m_s: Some(5.0),
        };
        let errors = WindErrors { component_sd_m_s: 2.0, ..NO_ERRORS };
        let Some(p) = Profile::new(Some(surface), &[], SurfaceLaw::Log { roughness_m: 0.03 }, errors) else {
            panic!("a surface wind is enough")
        };
        // One standard deviation in the lowest anchor alone, along the wind (from north: towards south).
        let mut numbers = WindNumbers::NONE;
        numbers.along[0] = 1.0;
        let (_, calm) = p.mean().at(10.0);
        let (_, n) = p.table(&numbers, || 0.0).at(10.0);
        assert!((calm - n - 2.0).abs() < 1e-9);
        let (_, calm) = p.mean().at(100.0);
        let (_, n) = p.table(&numbers, || 0.0).at(100.0);
        assert!((calm - n - 2.0 * libm::exp(-90.0 / 500.0)).abs() < 1e-9);
    }

    #[test]
    fn the_mean_is_told_in_its_parts() {
        let surface = |direction| SurfaceWind { speed_m_s: 3.0, direction, measuring_height_m: 10.0, gust_m_s: None };
        let aloft = Layer { height_above_ground_m: 600.0, speed_m_s: 8.0, direction_from_rad: 1.0 };
        let law = SurfaceLaw::OPEN;
        let of = |direction| Profile::new(Some(surface(direction)), &[aloft], law, WindErrors::NONE);
        let (Some(steady), Some(variable)) = (of(Direction::From(0.5)), of(Direction::Variable)) else {
            panic!("a surface wind is enough")
        };
        for z in [0.0, 0.01, 3.0, 10.0, 77.0, 100.0, 350.0, 600.0, 5000.0] {
            let (told, flown) = (steady.mean_at(z), steady.mean().at(z));
            assert!(told.turning_m_s == 0.0, "{z}");
            let off = (told.towards_m_s[0] - flown.0).abs() + (told.towards_m_s[1] - flown.1).abs();
            assert!(off < 1e-12, "{z}: {told:?} and {flown:?}");
        }
        let near = variable.mean_at(10.0);
        assert!((near.turning_m_s - 3.0).abs() < 1e-12 && near.towards_m_s == [0.0; 2], "{near:?}");
        let between = variable.mean_at(350.0);
        assert!(between.turning_m_s > 1.0 && libm::hypot(between.towards_m_s[0], between.towards_m_s[1]) > 1.0);
        assert!(variable.mean_at(600.0).turning_m_s < 1e-12);
    }

    #[test]
    fn a_variable_surface_wind_favours_no_direction_under_a_layer() {
        let surface = SurfaceWind {
            speed_m_s: 3.0,
            direction: Direction::Variable,
            measuring_height_m: 10.0,
            gust_m_s: Some(3.0),
        };
        let calm = Layer { height_above_ground_m: 600.0, speed_m_s: 0.0, direction_from_rad: 0.0 };
        let Some(p) = Profile::new(Some(surface), &[calm], SurfaceLaw::Log { roughness_m: 0.03 }, NO_ERRORS) else {
            panic!("a surface wind is enough")
        };
        for z in [2.0, 10.0, 60.0, 100.0, 300.0] {
            let (mut east, mut north) = (0.0, 0.0);
            for k in 0..360 {
                let variable_direction = (f64::from(k) + 0.5) / 360.0;
                let (e, n) = p.table(&WindNumbers { variable_direction, ..WindNumbers::NONE }, || 0.0).at(z);
                east += e / 360.0;
                north += n / 360.0;
            }
            assert!(east.abs() < 1e-9 && north.abs() < 1e-9, "at {z} m: {east} {north}");
        }
    }

    #[test]
    fn the_law_carries_a_low_instrument_up_also_under_layers() {
        // 4 m/s at 2 m over short grass (0.03 m) is 5.5 m/s at 10 m and 7.7 m/s at 100 m.
        let surface =
            SurfaceWind { speed_m_s: 4.0, direction: Direction::From(0.0), measuring_height_m: 2.0, gust_m_s: None };
        let aloft = Layer { height_above_ground_m: 1000.0, speed_m_s: 12.0, direction_from_rad: 0.0 };
        let Some(p) = Profile::new(Some(surface), &[aloft], SurfaceLaw::Log { roughness_m: 0.03 }, NO_ERRORS) else {
            panic!("a surface wind is enough")
        };
        assert!((p.mean().at(10.0).1 + 5.53).abs() < 0.02, "{:?}", p.mean().at(10.0));
        assert!((p.mean().at(100.0).1 + 7.73).abs() < 0.02, "{:?}", p.mean().at(100.0));
    }

    const GRASS: SurfaceLaw = SurfaceLaw::Log { roughness_m: 0.03 };

    /// A wind at 10 m over short grass; by default without gusts, so that only what a test sets is left.
    fn surface(speed_m_s: f64, direction: Direction, gust_m_s: Option<f64>) -> SurfaceWind {
        SurfaceWind { speed_m_s, direction, measuring_height_m: 10.0, gust_m_s }
    }

    fn profile(surface: SurfaceWind, layers: &[Layer], errors: WindErrors) -> Profile {
        let Some(p) = Profile::new(Some(surface), layers, GRASS, errors) else { panic!("a surface wind is enough") };
        p
    }

    fn close(found: (f64, f64), east: f64, north: f64) {
        assert!((found.0 - east).abs() < 1e-9 && (found.1 - north).abs() < 1e-9, "{found:?}: {east} {north}");
    }

    const FROM_WEST: Direction = Direction::From(1.5 * core::f64::consts::PI);

    #[test]
    fn laws_by_hand() {
        let tenfold = SurfaceLaw::Log { roughness_m: 0.1 };
        assert!((tenfold.ratio(100.0, 10.0) - 1.5).abs() < 1e-12);
        assert_eq!((tenfold.ratio(0.05, 10.0), tenfold.ratio(0.1, 10.0)), (0.0, 0.0));
        let square_root = SurfaceLaw::Power { exponent: 0.5 };
        assert!((square_root.ratio(40.0, 10.0) - 2.0).abs() < 1e-12);
        assert_eq!(square_root.ratio(-3.0, 10.0), 0.0);
        // 1 / ln 100, held below one and a half roughness lengths; a power law's own exponent.
        assert!((tenfold.turbulence_intensity(10.0) - 1.0 / libm::log(100.0)).abs() < 1e-12);
        assert!((tenfold.turbulence_intensity(0.0) - 1.0 / libm::log(1.5)).abs() < 1e-12);
        assert_eq!(square_root.turbulence_intensity(10.0), 0.5);
    }

    #[test]
    fn how_far_the_law_and_the_given_winds_reach() {
        let layer = |z| Layer { height_above_ground_m: z, speed_m_s: 9.0, direction_from_rad: 0.0 };
        let wind = surface(4.0, FROM_WEST, None);
        for (layers, law_top, top) in [
            (vec![], 200.0, 200.0),
            (vec![layer(120.0), layer(700.0)], 60.0, 700.0),
            (vec![layer(1000.0)], 100.0, 1000.0),
            (vec![layer(12.0)], 10.0, 12.0),
        ] {
            let p = profile(wind, &layers, NO_ERRORS);
            assert_eq!((p.law_top_m(), p.top_m()), (law_top, top), "{layers:?}");
            // Straight from where the law is left to the first layer.
            if let Some(first) = layers.first() {
                let left = 4.0 * GRASS.ratio(law_top, 10.0);
                close(p.mean().at(0.5 * (law_top + first.height_above_ground_m)), 0.5 * left, -4.5);
            }
        }
        // Without a surface wind the law hangs below the first layer.
        let Some(p) = Profile::new(None, &[layer(80.0), layer(700.0)], GRASS, NO_ERRORS) else {
            panic!("a layer is enough")
        };
        assert_eq!((p.law_top_m(), p.top_m()), (80.0, 700.0));
        close(p.mean().at(8.0), 0.0, -9.0 * GRASS.ratio(8.0, 80.0));
        assert!(Profile::new(None, &[], GRASS, NO_ERRORS).is_none());
    }

    /// 6 m/s with gusts of 12: a standard deviation of 2 m/s at the instrument. With nothing drawn but the gust at the
    /// ground, what is left of it at a distance of s scales is its correlation there, exp(-s) (1 - s/2).
    #[test]
    fn a_gust_at_the_ground_is_left_behind() {
        let p = profile(surface(6.0, FROM_WEST, Some(12.0)), &[], NO_ERRORS).with_gusts(
            Gustiness::Report,
            Some(12.0),
            900.0,
        );
        assert!((p.gust_sd_m_s(10.0) - 2.0).abs() < 1e-12);
        let mean = p.mean();
        for gust in [[1.0, 0.0], [-2.0, 0.5]] {
            let wind = p.table(&WindNumbers { gust, ..WindNumbers::NONE }, || 0.0);
            for (k, z) in p.gust_heights_m().iter().enumerate().skip(1) {
                let scales = k as f64 * turbulence::SCALES_PER_STEP;
                let left = p.gust_sd_m_s(*z) * libm::exp(-scales) * (1.0 - 0.5 * scales);
                close(wind.at(*z), mean.at(*z).0 + left * gust[0], -left * gust[1]);
            }
            close(wind.at(0.02), 0.0, 0.0);
            // Drawn no higher, held above.
            let (top, above) = (wind.at(1000.0), wind.at(2000.0));
            assert_eq!((top.0 - mean.at(1000.0).0, top.1), (above.0 - mean.at(2000.0).0, above.1));
        }
    }

    #[test]
    fn what_gusts_are_scaled_by() {
        let sd = |speed, reported: Option<f64>, gustiness| {
            profile(surface(speed, FROM_WEST, reported), &[], NO_ERRORS)
                .with_gusts(gustiness, reported, 900.0)
                .gust_sd_m_s(10.0)
        };
        let terrain = 1.0 / libm::log(10.0 / 0.03);
        for (got, want) in [
            // No gust group: by the terrain, but never a peak of 5 m/s over the mean.
            (sd(3.0, None, Gustiness::Report), 3.0 * terrain),
            (sd(20.0, None, Gustiness::Report), 5.0 / 3.0),
            (sd(20.0, None, Gustiness::Terrain), 20.0 * terrain),
            // A gust below the mean is none.
            (sd(6.0, Some(5.0), Gustiness::Report), 0.0),
            (sd(6.0, Some(12.0), Gustiness::Off), 0.0),
        ] {
            assert!((got - want).abs() < 1e-12, "{got} {want}");
        }
    }

    /// Across is a quarter turn clockwise of where the wind blows: south of a wind from the west. There the error of
    /// the direction, 0.3 rad of 5 m/s, adds to that of the component, 2 m/s, as squares.
    #[test]
    fn errors_along_and_across() {
        let errors = WindErrors { component_sd_m_s: 2.0, direction_sd_rad: 0.3, ..NO_ERRORS };
        let p = profile(surface(5.0, FROM_WEST, Some(5.0)), &[], errors);
        let mut numbers = WindNumbers::NONE;
        (numbers.along[0], numbers.across[0]) = (1.0, -0.5);
        close(p.table(&numbers, || 0.0).at(10.0), 7.0, 0.5 * 2.5);
        // Half way to the next anchor, where the two are correlated by exp(-90/500), the error has its size again.
        let r = libm::exp(-90.0 / 500.0);
        let half = 0.5 * (1.0 + r) / (0.5 + 0.5 * r).sqrt();
        let mean = p.mean().at(55.0).0;
        let across = (4.0 + 0.09 * mean * mean).sqrt();
        close(p.table(&numbers, || 0.0).at(55.0), mean + 2.0 * half, 0.5 * across * half);
        // Towards a direction that is no axis: along and across keep their sizes and their right angle.
        let p = profile(surface(5.0, Direction::From(0.6), Some(5.0)), &[], errors);
        let (mean, wind) = (p.mean().at(10.0), p.table(&numbers, || 0.0).at(10.0));
        let moved = (wind.0 - mean.0, wind.1 - mean.1);
        let along = (moved.0 * mean.0 + moved.1 * mean.1) / 5.0;
        let clockwise = (moved.0 * mean.1 - moved.1 * mean.0) / 5.0;
        assert!((along - 2.0).abs() < 1e-9 && (clockwise + 0.5 * 2.5).abs() < 1e-9, "{along} {clockwise}");
    }

    /// Each anchor's own share is what its correlation with the one below leaves; above the highest wind given the
    /// error grows.
    #[test]
    fn errors_aloft() {
        let errors = WindErrors { component_sd_m_s: 2.0, growth_above_top_per_s: 0.002, ..NO_ERRORS };
        let layer = Layer { height_above_ground_m: 500.0, speed_m_s: 8.0, direction_from_rad: FROM_WEST_RAD };
        let p = profile(surface(5.0, FROM_WEST, Some(5.0)), &[layer], errors);
        let mut numbers = WindNumbers::NONE;
        numbers.along[5] = 1.0;
        let r = libm::exp(-600.0 / 500.0);
        let own = (1.0 - r * r).sqrt();
        let wind = p.table(&numbers, || 0.0);
        close(wind.at(900.0), 8.0, 0.0);
        close(wind.at(1500.0), 8.0 + 4.0 * own, 0.0);
        // Handed on to the next anchor, 1 km up, and from the last one on held.
        let r = libm::exp(-1000.0 / 500.0);
        close(wind.at(2500.0), 8.0 + 6.0 * own * r, 0.0);
        let r = r * libm::exp(-2500.0 / 500.0);
        close(wind.at(5000.0), 8.0 + 11.0 * own * r, 0.0);
        close(wind.at(9000.0), wind.at(5000.0).0, 0.0);
    }

    const FROM_WEST_RAD: f64 = 1.5 * core::f64::consts::PI;

    /// A what-if adds to the speed, near the ground as far as there is wind, and never turns it round.
    #[test]
    fn a_shift_of_the_wind() {
        let p = profile(surface(5.0, FROM_WEST, Some(5.0)), &[], NO_ERRORS);
        let shifted = |shift_m_s| p.table(&WindNumbers { shift_m_s, ..WindNumbers::NONE }, || 0.0);
        close(shifted(2.0).at(10.0), 7.0, 0.0);
        close(shifted(-2.0).at(2.0), 3.0 * GRASS.ratio(2.0, 10.0), 0.0);
        close(shifted(-9.0).at(10.0), 0.0, 0.0);
    }

    /// A variable wind turns clockwise with its number, at its full speed.
    #[test]
    fn a_variable_wind_turns() {
        let p = profile(surface(5.0, Direction::Variable, Some(5.0)), &[], NO_ERRORS);
        let at =
            |variable_direction| p.table(&WindNumbers { variable_direction, ..WindNumbers::NONE }, || 0.0).at(10.0);
        let (east, north) = at(0.1);
        assert!((libm::hypot(east, north) - 5.0).abs() < 1e-12);
        close(at(0.35), north, -east);
        close(at(0.6), -east, -north);
        // In still air the error has to go somewhere, the same at each height.
        let errors = WindErrors { component_sd_m_s: 2.0, ..NO_ERRORS };
        let still = profile(surface(0.0, Direction::Variable, Some(0.0)), &[], errors);
        let mut numbers = WindNumbers { variable_direction: 0.25, ..WindNumbers::NONE };
        (numbers.along[0], numbers.across[0]) = (1.0, 0.5);
        close(still.table(&numbers, || 0.0).at(10.0), 2.0, -1.0);
    }
}
