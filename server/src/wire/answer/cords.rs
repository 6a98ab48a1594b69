//! Cord and tube edge.

use serde::Serialize;
use slowpoint_sim::case::{CordsInput, WallInput};
use slowpoint_sim::report::{CordsReport, PullReport, Quantiles};
use slowpoint_sim::stat::paired::Compared;
use utoipa::ToSchema;

use super::fill::{chance, quantiles};
use super::{ChanceFigures, Figure, QuantileFigures};

const MM_PER_M: f64 = 1e3;
/// What 90 % of walls lie between.
const BAND: [f64; 2] = [0.05, 0.95];

/// Cord and tube edge.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CordsAnswer {
    /// What the figures are and what they are not.
    pub meaning: &'static str,
    /// Flights that they were worked out for: all of them, or as many as a quarter of a million pulls allow, 1024 at least.
    pub flights: u64,
    /// What the edge of the tube is taken to bear.
    pub wall: WallAnswer,
    /// One per way of deploying, in the order asked.
    pub delays: Vec<CordsOfDelay>,
}

/// What the edge of the tube is taken to bear, over its bearing width.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct WallAnswer {
    /// Half of all edges tear below this, N/mm.
    pub median_n_per_mm: Figure,
    /// 5 % do, N/mm.
    pub p05_n_per_mm: Figure,
    /// 95 % do, N/mm.
    pub p95_n_per_mm: Figure,
    /// Whether it is guessed from the strength of flat sheet, rather than given.
    pub guessed: bool,
}

/// The arrangements in one way of deploying.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CordsOfDelay {
    /// Which way of deploying.
    pub label: String,
    /// One per arrangement, in the order asked.
    pub arrangements: Vec<PullAnswer>,
}

/// The hardest pull on one arrangement.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct PullAnswer {
    /// Name of the arrangement.
    pub name: String,
    /// Peak tension of the whole cord over the flights that eject in the air, each at four points of its law of firing, N; 0
    /// where it does not run out. Null where no flight ejects in the air.
    pub peak_tension_n: Option<QuantileFigures>,
    /// Load on the tube's edge over its bearing width, N/mm.
    pub edge_load_n_per_mm: Option<QuantileFigures>,
    /// Chance over all flights that the edge tears.
    pub edge_tears: ChanceFigures,
    /// The same, were the edge to bear half as much, or twice.
    pub edge_tears_if: Vec<TearsIf>,
    /// Chance over all flights that any part of the cord breaks.
    pub cord_breaks: ChanceFigures,
    /// Against the first arrangement; null of the first.
    pub against_first: Option<AgainstFirst>,
}

/// The chance that the edge tears, were its resistance another.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct TearsIf {
    /// Its resistance over what it is taken to be.
    pub resistance_factor: Figure,
    /// The chance over all flights then.
    pub edge_tears: ChanceFigures,
}

/// How often the edge tears against the first arrangement, on the same flights.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct AgainstFirst {
    /// How many times as often; null where too few flights say.
    pub times_as_often: Figure,
    /// Lower end of the 95 % interval.
    pub lower: Figure,
    /// Upper end of the 95 % interval.
    pub upper: Figure,
    /// How certain it is, from sampling alone, that it tears less often.
    pub certainty_less: Figure,
    /// All of it in words.
    #[schema(example = "0.48 times as often (0.45 to 0.52)")]
    pub text: String,
}

/// From the report.
pub fn cords(report: &CordsReport, asked: Option<&CordsInput>, labels: &[String]) -> CordsAnswer {
    let [p05, p95] = BAND.map(|share| Figure(report.wall.quantile_n_m(share) / MM_PER_M));
    let delays = report.ways.iter().zip(labels).map(|(pulls, label)| CordsOfDelay {
        label: label.clone(),
        arrangements: report.arrangements.iter().zip(pulls).map(|(name, pull)| pulled(name, pull)).collect(),
    });
    CordsAnswer {
        meaning: "The hardest pull on the cord as nose section and airframe part, the canopy still packed, and what it does to the edge of the tube. What the edge bears has no published value: the chances that it tears compare cords better than they foretell a tear. They are worked out as if no part of the cord broke first.",
        flights: report.flights,
        wall: WallAnswer {
            median_n_per_mm: Figure(report.wall.resistance_n_m / MM_PER_M),
            p05_n_per_mm: p05,
            p95_n_per_mm: p95,
            guessed: asked.is_some_and(|cords| matches!(cords.wall, WallInput::Tube { .. })),
        },
        delays: delays.collect(),
    }
}

fn pulled(name: &str, pull: &PullReport) -> PullAnswer {
    PullAnswer {
        name: name.into(),
        peak_tension_n: pull.tension_n.map(quantiles),
        edge_load_n_per_mm: pull.edge_load_n_m.map(|load: Quantiles| quantiles(load.each(|n_m| n_m / MM_PER_M))),
        edge_tears: chance(&pull.tears),
        edge_tears_if: pull
            .tears_if_wall_off
            .iter()
            .map(|(factor, tears)| TearsIf { resistance_factor: Figure(*factor), edge_tears: chance(tears) })
            .collect(),
        cord_breaks: chance(&pull.breaks),
        against_first: pull.against_first.as_ref().map(against_first),
    }
}

fn against_first(compared: &Compared) -> AgainstFirst {
    let ratio = compared.ratio;
    AgainstFirst {
        times_as_often: Figure::maybe(ratio.map(|r| r.estimate)),
        lower: Figure::maybe(ratio.map(|r| r.lower)),
        upper: Figure::maybe(ratio.map(|r| r.upper)),
        certainty_less: Figure(compared.less),
        text: match ratio {
            Some(r) => format!(
                "{} times as often ({} to {})",
                times(r.estimate).unwrap_or("< 0.0001".into()),
                times(r.lower).unwrap_or("0".into()),
                times(r.upper).unwrap_or("0.0001".into())
            ),
            None => "not known: too few flights tear one of the two".into(),
        },
    }
}

/// A ratio in two decimals, or as many as leave it a digit; `None` where those were too many to be read.
fn times(ratio: f64) -> Option<String> {
    let places = (2..5).find(|places| ratio >= libm::pow(10.0, -f64::from(*places)))? as usize;
    Some(format!("{ratio:.places$}"))
}

#[cfg(test)]
mod tests {
    use slowpoint_sim::stat::paired::Ratio;

    use super::*;

    #[test]
    fn ratios_are_told_in_digits_that_can_be_read() {
        let text = |[estimate, lower, upper]: [f64; 3]| {
            against_first(&Compared { ratio: Some(Ratio { estimate, lower, upper }), less: 0.5 }).text
        };
        assert_eq!(text([0.483, 0.451, 0.519]), "0.48 times as often (0.45 to 0.52)");
        assert_eq!(text([2.3e-4, 4e-7, 1.2e-3]), "0.0002 times as often (0 to 0.001)");
        assert_eq!(text([3e-5, 0.0, 8e-5]), "< 0.0001 times as often (0 to 0.0001)");
    }
}
