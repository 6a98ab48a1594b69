//! The cords that are compared and the tube's wall, with what is taken for what was not said.

use super::parting::Cord;
use super::strand::{Lock, Part, Strand};
use crate::assumption::{Assumption, given_or};
use crate::case::{ArrangementInput, CordsInput, PartInput, StiffnessInput, WallInput};
use crate::draw::Law;
use crate::stat::normal;

/// What a cord is made of, where its stiffness follows from its strength.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fibre {
    /// Nylon, braided.
    Nylon,
    /// Para-aramid.
    Aramid,
    /// Polypropylene webbing.
    Polypropylene,
}

impl Fibre {
    /// Every one.
    pub const ALL: [Self; 3] = [Self::Nylon, Self::Aramid, Self::Polypropylene];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Nylon => "nylon",
            Self::Aramid => "aramid",
            Self::Polypropylene => "polypropylene",
        }
    }

    /// Tension per strain over breaking strength, and where that comes from.
    fn stiffness_over_strength(self) -> (f64, &'static str) {
        match self {
            Self::Nylon => (3.54, "stiffness over strength of a published table of double-braided nylon line"),
            Self::Aramid => (
                22.9,
                "83 GPa over 3.62 GPa, published for straight para-aramid fibre; no figure for a braid was found, which is softer and pulls less",
            ),
            Self::Polypropylene => (7.7, "airdrop webbing A-A-59467: 11 to 15 % at break, the middle of both"),
        }
    }
}

/// What a tube is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Material {
    /// Wound paper or board.
    Paper,
    /// Paper with phenolic resin.
    Phenolic,
    /// Glass cloth with epoxy.
    GlassEpoxy,
}

impl Material {
    /// Every one.
    pub const ALL: [Self; 3] = [Self::Paper, Self::Phenolic, Self::GlassEpoxy];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Paper => "paper",
            Self::Phenolic => "phenolic",
            Self::GlassEpoxy => "glass_epoxy",
        }
    }

    /// Strength that the load on an edge is guessed from, Pa, and where it comes from.
    fn strength_pa(self) -> (f64, &'static str) {
        match self {
            Self::Paper => (
                25e6,
                "ASSUMPTION, no published value: a guess from a third of the shear strength of paper-phenolic sheet (76 MPa), for paper without resin, as if the edge gave way where load over bearing width and wall thickness reaches it",
            ),
            Self::Phenolic => (
                76e6,
                "ASSUMPTION, no published value: a guess from the shear strength of paper-phenolic sheet XX (11 kpsi, 76 MPa; its tensile strength is 90 to 110 MPa), as if the edge gave way where load over bearing width and wall thickness reaches it",
            ),
            Self::GlassEpoxy => (
                131e6,
                "ASSUMPTION, no published value: a guess from the shear strength of glass-epoxy sheet (19 kpsi, 131 MPa; its tensile strength is 241 to 345 MPa), as if the edge gave way where load over bearing width and wall thickness reaches it",
            ),
        }
    }
}

/// Distribution of what the tube's edge bears.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wall {
    /// Median load per bearing width at which it tears, N/m.
    pub resistance_n_m: f64,
    /// Standard deviation of its natural logarithm.
    pub log_sd: f64,
}

/// Probability that a lognormal strength is below a load.
fn falls_short(load: f64, median: f64, log_sd: f64) -> f64 {
    if load <= 0.0 {
        return 0.0;
    }
    if log_sd <= 0.0 {
        return f64::from(u8::from(load > median));
    }
    normal::cdf(libm::log(load / median) / log_sd)
}

impl Wall {
    /// Probability that a load tears it.
    pub fn tears(&self, load_n_m: f64) -> f64 {
        falls_short(load_n_m, self.resistance_n_m, self.log_sd)
    }

    /// The resistance that a share of walls stays below, N/m.
    pub fn quantile_n_m(&self, share: f64) -> f64 {
        self.resistance_n_m * libm::exp(self.log_sd * normal::quantile(share))
    }
}

/// One way of tying nose section and airframe together.
#[derive(Debug, Clone, PartialEq)]
pub struct Arrangement {
    /// Its name.
    pub name: String,
    /// The cord.
    pub cord: Cord,
    /// Width over which one leg bears on the tube's edge, m.
    pub edge_width_m: f64,
    /// Legs that share the tension.
    pub legs: u32,
}

impl Arrangement {
    /// Load on the tube's edge over its bearing width, N/m.
    pub fn edge_load_n_m(&self, tension_n: f64) -> f64 {
        tension_n / (self.edge_width_m * f64::from(self.legs))
    }

    /// Probability that any part breaks where each strand is pulled so; each part's strength is its own.
    pub fn breaks(&self, strands_n: &[f64], strength_log_sd: f64) -> f64 {
        let holds = |(strand, tension_n): (&Strand, &f64)| -> f64 {
            let each = strand.parts().iter();
            each.map(|part| 1.0 - falls_short(*tension_n, part.strength_n, strength_log_sd)).product()
        };
        1.0 - self.cord.strands().iter().zip(strands_n).map(holds).product::<f64>()
    }
}

/// Cords and wall as the flights see them.
#[derive(Debug, Clone, PartialEq)]
pub struct CordPlan {
    /// Nose section, kg.
    pub nose_kg: f64,
    /// Drag coefficient times area of the nose section, m^2.
    pub nose_drag_area_m2: f64,
    /// Of the airframe without it, m^2; `None` is that of the whole rocket, as drawn.
    pub airframe_drag_area_m2: Option<f64>,
    /// Speed at which the charge drives both apart, m/s.
    pub parting_m_s: Law,
    /// Stiffness of all parts over the nominal one.
    pub stiffness: Law,
    /// Loss factor of all parts over the nominal one.
    pub damping: Law,
    /// Standard deviation of the natural logarithm of a part's strength.
    pub strength_log_sd: f64,
    /// The first is what the others are compared with.
    pub arrangements: Vec<Arrangement>,
    /// The wall.
    pub wall: Wall,
}

/// Drag coefficient of a nose section that comes off and tumbles, on the body's cross-section. An assumption.
const NOSE_DRAG: f64 = 1.0;
/// Loss factor of a part. An assumption.
const LOSS_FACTOR: f64 = 0.1;

/// A law that is taken where none is given.
struct DefaultLaw {
    input: &'static str,
    given: fn(&CordsInput) -> Option<&Law>,
    median: f64,
    log_sd: f64,
    /// The median in words, and what the rest lies about.
    words: [&'static str; 2],
}

/// Assumptions.
const LAWS: [DefaultLaw; 3] = [
    DefaultLaw {
        input: "cords.parting_speed",
        given: |c| c.parting_m_s.as_ref(),
        median: 8.0,
        log_sd: 0.3,
        words: ["the charge drives nose section and airframe apart at 8 m/s,", "it"],
    },
    DefaultLaw {
        input: "cords.stiffness_factor",
        given: |c| c.stiffness.as_ref(),
        median: 1.0,
        log_sd: 0.2,
        words: ["stiffness of all cords alike:", "nominal"],
    },
    DefaultLaw {
        input: "cords.damping_factor",
        given: |c| c.damping.as_ref(),
        median: 1.0,
        log_sd: 0.3,
        words: ["damping of all cords alike:", "nominal"],
    },
];

impl CordPlan {
    /// Fills in what was left open; notes every default.
    pub fn resolve(input: &CordsInput, diameter_m: f64, assumed: &mut Vec<Assumption>) -> Self {
        let [parting_m_s, stiffness, damping] = LAWS.map(|law| {
            (law.given)(input).cloned().unwrap_or_else(|| {
                let [what, about] = law.words;
                let value = format!("{what} lognormal, {:.0} % about {about}", 100.0 * law.log_sd);
                assumed.push(Assumption { input: law.input, value, source: "assumption, no published value" });
                Law::LogNormal { median: law.median, log_sd: law.log_sd }
            })
        });
        let nose_drag_area_m2 = given_or(
            input.nose_drag_area_m2,
            assumed,
            "cords.nose_drag_area",
            NOSE_DRAG * 0.25 * core::f64::consts::PI * diameter_m * diameter_m,
            |area| format!("{:.1} cm^2: a drag coefficient of {NOSE_DRAG} on the body's cross-section", area * 1e4),
            "assumption: a nose section that tumbles",
        );
        if input.airframe_drag_area_m2.is_none() {
            assumed.push(Assumption {
                input: "cords.airframe_drag_area",
                value: "the airframe without its nose section has the coasting drag of the whole rocket".into(),
                source: "assumption: an open tube has more, which softens the pull of a nose section that falls behind",
            });
        }
        let strength_log_sd = given_or(
            input.strength_log_sd,
            assumed,
            "cords.strength_log_sd",
            0.1,
            |sd| format!("each part's strength is lognormal, {:.0} % about what is given", sd * 100.0),
            "assumption: knots, seams and wear are none of it",
        );
        assumed.push(Assumption {
            input: "model.cords",
            value: "nose section and airframe part along the airflow with the canopy still packed; the cord bears on the edge with its whole tension; the first two times that it runs out are followed, for 5 s".into(),
            source: "assumption",
        });
        Self {
            nose_kg: input.nose_mass_kg,
            nose_drag_area_m2,
            airframe_drag_area_m2: input.airframe_drag_area_m2,
            parting_m_s,
            stiffness,
            damping,
            strength_log_sd,
            arrangements: input.arrangements.iter().map(|a| arrangement(a, assumed)).collect(),
            wall: wall(&input.wall, input.wall_log_sd, assumed),
        }
    }
}

fn arrangement(input: &ArrangementInput, assumed: &mut Vec<Assumption>) -> Arrangement {
    let name = &input.name;
    let mut strand = |parts: &Vec<PartInput>| Strand::new(parts.iter().map(|p| part(p, name, assumed)).collect());
    let strands = input.runs.iter().map(&mut strand).collect();
    Arrangement { name: name.clone(), cord: Cord::new(strands), edge_width_m: input.edge_width_m, legs: input.legs }
}

fn part(input: &PartInput, of: &str, assumed: &mut Vec<Assumption>) -> Part {
    let strength_n = input.strength_n;
    let stiffness_n = match input.stiffness {
        StiffnessInput::PerStrain(n) => n,
        StiffnessInput::Of(fibre) => {
            let (ratio, source) = fibre.stiffness_over_strength();
            assumed.push(Assumption {
                input: "cords.arrangements.stiffness",
                value: format!(
                    "{of}, {}: {:.0} N per strain, {ratio} times its strength",
                    fibre.name(),
                    ratio * strength_n
                ),
                source,
            });
            ratio * strength_n
        }
    };
    let loss_factor = given_or(
        input.loss_factor,
        assumed,
        "cords.arrangements.loss_factor",
        LOSS_FACTOR,
        |eta| format!("{of}: {eta}, a damping of {} of critical", 0.5 * eta),
        "assumption, no published value",
    );
    let lock = input.locks_at_strain.map(|strain| Lock {
        strain,
        stiffness_n: given_or(
            input.locked_stiffness_n,
            assumed,
            "cords.arrangements.locked_stiffness",
            Fibre::Nylon.stiffness_over_strength().0 * strength_n,
            |n| format!("{of}: {n:.0} N per strain once it locks"),
            "assumption: a sheath like double-braided nylon of its strength",
        ),
    });
    Part { length_m: input.length_m, stiffness_n, lock, loss_factor, strength_n }
}

fn wall(input: &WallInput, log_sd: Option<f64>, assumed: &mut Vec<Assumption>) -> Wall {
    let resistance_n_m = match *input {
        WallInput::Resistance(n_m) => n_m,
        WallInput::Tube { material, thickness_m } => {
            let (strength_pa, source) = material.strength_pa();
            let resistance_n_m = strength_pa * thickness_m;
            assumed.push(Assumption {
                input: "cords.wall.resistance",
                value: format!(
                    "{:.0} N per mm of bearing width for {:.2} mm of {}",
                    resistance_n_m / 1e3,
                    thickness_m * 1e3,
                    material.name().replace('_', " ")
                ),
                source,
            });
            resistance_n_m
        }
    };
    let log_sd = given_or(
        log_sd,
        assumed,
        "cords.wall.log_sd",
        0.5,
        |sd| format!("lognormal, a factor of {:.2} either way", libm::exp(sd)),
        "ASSUMPTION, no published value",
    );
    Wall { resistance_n_m, log_sd }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// At the median one half; one and two deviations of the logarithm off, the areas of the normal distribution.
    #[test]
    fn walls_tear_by_their_law() {
        let wall = Wall { resistance_n_m: 2e4, log_sd: 0.5 };
        for (deviations, chance) in [(0.0, 0.5), (1.0, 0.841_344_746_068_543), (-2.0, 0.022_750_131_948_179_2)] {
            let load_n_m = 2e4 * libm::exp(0.5 * deviations);
            assert!((wall.tears(load_n_m) - chance).abs() < 1e-12);
            assert!((wall.quantile_n_m(chance) / load_n_m - 1.0).abs() < 1e-12);
        }
        assert_eq!(wall.tears(0.0), 0.0);
        let sharp = Wall { log_sd: 0.0, ..wall };
        assert_eq!([1.99e4, 2.01e4].map(|n_m| sharp.tears(n_m)), [0.0, 1.0]);
    }

    /// Two parts in series at their medians: each breaks in half of all cases. A slack strand does not.
    #[test]
    fn any_part_may_break() {
        let part = |strength_n| Part { length_m: 1.0, stiffness_n: 1e3, lock: None, loss_factor: 0.0, strength_n };
        let series = Strand::new(vec![part(300.0), part(300.0), part(1e9)]);
        let cord = Cord::new(vec![series, Strand::new(vec![part(300.0)])]);
        let arrangement = Arrangement { name: "two".into(), cord, edge_width_m: 0.01, legs: 2 };
        assert!((arrangement.breaks(&[300.0, 0.0], 0.1) - 0.75).abs() < 1e-12);
        assert!((arrangement.breaks(&[300.0, 300.0], 0.1) - 0.875).abs() < 1e-12);
        assert!((arrangement.edge_load_n_m(300.0) - 15_000.0).abs() < 1e-9);
    }
}
