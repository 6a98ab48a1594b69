//! Cord and tube edge.

use slowpoint_sim::case::{ArrangementInput, CordsInput, PartInput, StiffnessInput, WallInput};
use slowpoint_sim::cord::{Fibre, Material};
use slowpoint_sim::limits;

use super::Reader;
use crate::wire::cords::*;
use crate::wire::units;

const FACTOR: Option<f64> = Some(1.0);

impl Reader<'_> {
    pub(super) fn cords(&mut self, c: &CordsRequest) -> CordsInput {
        let at = |name: &str| format!("/cords/{name}");
        let mut law = |name: &str, sent: &Option<_>, table, middle| {
            sent.as_ref().and_then(|law| self.law(law, &at(name), table, middle))
        };
        let parting_m_s = law("parting_speed", &c.parting_speed, &units::SPEED, None);
        let stiffness = law("stiffness_factor", &c.stiffness_factor, &units::RATIO, FACTOR);
        let damping = law("damping_factor", &c.damping_factor, &units::RATIO, FACTOR);
        let wall = c.wall.clone().unwrap_or_default();
        let each = c.arrangements.iter().flatten().enumerate();
        CordsInput {
            nose_mass_kg: self.need(&at("nose_mass"), &c.nose_mass, Some(&limits::NOSE_MASS)),
            nose_drag_area_m2: self.read(&at("nose_drag_area"), &c.nose_drag_area, Some(&limits::DRAG_AREA)),
            airframe_drag_area_m2: self.read(
                &at("airframe_drag_area"),
                &c.airframe_drag_area,
                Some(&limits::DRAG_AREA),
            ),
            parting_m_s,
            stiffness,
            damping,
            strength_log_sd: self.read(&at("strength_log_sd"), &c.strength_log_sd, Some(&limits::LOG_SD)),
            arrangements: each.map(|(i, a)| self.arrangement(a, &format!("/cords/arrangements/{i}"))).collect(),
            wall_log_sd: self.read("/cords/wall/log_sd", &wall.log_sd, Some(&limits::LOG_SD)),
            wall: self.tube_wall(&wall),
        }
    }

    fn arrangement(&mut self, a: &ArrangementRequest, at: &str) -> ArrangementInput {
        self.plain(&a.name, &format!("{at}/name"));
        let mut runs = Vec::new();
        for (i, run) in a.runs.iter().flatten().enumerate() {
            let parts = run.iter().enumerate();
            runs.push(parts.map(|(k, part)| self.cord_part(part, &format!("{at}/runs/{i}/{k}"))).collect());
        }
        ArrangementInput {
            name: a.name.clone().unwrap_or_default(),
            edge_width_m: self.need(&format!("{at}/edge_width"), &a.edge_width, Some(&limits::EDGE_WIDTH)),
            // The schema keeps it small.
            legs: a.legs.map_or(1, |legs| u32::try_from(legs).unwrap_or(u32::MAX)),
            runs,
        }
    }

    fn cord_part(&mut self, part: &CordPart, root: &str) -> PartInput {
        let at = |name: &str| format!("{root}/{name}");
        let given_n = self.read(&at("stiffness"), &part.stiffness, Some(&limits::CORD_STIFFNESS));
        let stiffness = match (given_n, part.fibre) {
            (Some(_), Some(_)) => {
                self.faults.add(at("fibre"), "there is a stiffness as well", "give one of the two");
                StiffnessInput::PerStrain(f64::NAN)
            }
            (Some(n), None) => StiffnessInput::PerStrain(n),
            (None, Some(fibre)) => StiffnessInput::Of(match fibre {
                FibreKind::Nylon => Fibre::Nylon,
                FibreKind::Aramid => Fibre::Aramid,
                FibreKind::Polypropylene => Fibre::Polypropylene,
            }),
            (None, None) => {
                // One that was faulted would have done.
                if !self.faults.covers(&at("fibre")) {
                    self.faults.add(
                        at("stiffness"),
                        "there is neither a stiffness nor a fibre",
                        "give \"fibre\": \"nylon\", \"aramid\" or \"polypropylene\", or the tension that would stretch it to twice its length",
                    );
                }
                StiffnessInput::PerStrain(f64::NAN)
            }
        };
        PartInput {
            length_m: self.need(&at("length"), &part.length, Some(&limits::CORD_LENGTH)),
            strength_n: self.need(&at("strength"), &part.strength, Some(&limits::CORD_STRENGTH)),
            stiffness,
            loss_factor: part.loss_factor,
            locks_at_strain: self.read(&at("locks_at_strain"), &part.locks_at_strain, Some(&limits::LOCK_STRAIN)),
            locked_stiffness_n: self.read(
                &at("locked_stiffness"),
                &part.locked_stiffness,
                Some(&limits::CORD_STIFFNESS),
            ),
        }
    }

    fn tube_wall(&mut self, wall: &WallRequest) -> WallInput {
        let at = |name: &str| format!("/cords/wall/{name}");
        let thickness_m = self.read(&at("thickness"), &wall.thickness, Some(&limits::WALL_THICKNESS));
        let resistance = self.read(&at("resistance"), &wall.resistance, Some(&limits::WALL_RESISTANCE));
        match (wall.material, thickness_m, resistance) {
            (None, None, Some(n_m)) => WallInput::Resistance(n_m),
            (Some(material), Some(thickness_m), None) => WallInput::Tube {
                material: match material {
                    WallMaterial::Paper => Material::Paper,
                    WallMaterial::Phenolic => Material::Phenolic,
                    WallMaterial::GlassEpoxy => Material::GlassEpoxy,
                },
                thickness_m,
            },
            _ => {
                // Where a part of it was faulted, that is what has to be mended first.
                if !self.faults.covers("/cords/wall") {
                    self.faults.add(
                        "/cords/wall",
                        "it holds neither a resistance alone nor a material with its thickness",
                        "give \"material\" and \"thickness\", from which it is guessed, or \"resistance\" from trials of your own",
                    );
                }
                WallInput::Resistance(f64::NAN)
            }
        }
    }
}
