//! What is refused of cords and the tube's edge.

use super::check::{maybe, one};
use super::inputs::{ArrangementInput, CordsInput, Device, Inputs, PartInput, StiffnessInput, WallInput};
use crate::draw::Law;
use crate::fault::Faults;
use crate::limits;

/// Most of the rocket without propellant that its nose section can be.
const NOSE_SHARE: f64 = 0.95;

/// Largest drag area of a part over the body's cross-section: what falls broadside has most.
const MOST_CROSS_SECTIONS: f64 = 50.0;

/// Every number against its own range.
pub fn ranges(asked: &CordsInput, faults: &mut Faults) {
    one(limits::NOSE_MASS, "cords.nose_mass", asked.nose_mass_kg, faults);
    maybe(limits::DRAG_AREA, "cords.nose_drag_area", asked.nose_drag_area_m2, faults);
    maybe(limits::DRAG_AREA, "cords.airframe_drag_area", asked.airframe_drag_area_m2, faults);
    maybe(limits::LOG_SD, "cords.strength_log_sd", asked.strength_log_sd, faults);
    let factor = "it multiplies the nominal value, so 1 means nominal";
    for (name, law, low, high, hint) in [
        ("parting_speed", &asked.parting_m_s, 0.2, 100.0, "it is a speed; draws must stay between 0.2 and 100 m/s"),
        ("stiffness_factor", &asked.stiffness, 0.05, 20.0, factor),
        ("damping_factor", &asked.damping, 0.0, 5.0, factor),
    ] {
        if let Some(law) = law {
            reach(law, &format!("cords.{name}"), [low, high], hint, faults);
        }
    }
    one(limits::ARRANGEMENT_COUNT, "cords.arrangements", asked.arrangements.len() as f64, faults);
    for (i, arrangement) in asked.arrangements.iter().enumerate() {
        let at = format!("cords.arrangements.{i}");
        if asked.arrangements[..i].iter().any(|earlier| earlier.name == arrangement.name) {
            faults.add(format!("{at}.name"), "another arrangement has this name", "give each its own");
        }
        tied(arrangement, &at, faults);
    }
    match asked.wall {
        WallInput::Resistance(n_m) => one(limits::WALL_RESISTANCE, "cords.wall.resistance", n_m, faults),
        WallInput::Tube { thickness_m, .. } => {
            one(limits::WALL_THICKNESS, "cords.wall.thickness", thickness_m, faults);
        }
    }
    maybe(limits::LOG_SD, "cords.wall.log_sd", asked.wall_log_sd, faults);
}

fn reach(law: &Law, field: &str, [low, high]: [f64; 2], hint: &str, faults: &mut Faults) {
    if faults.touches(field) {
        return;
    }
    if let Some(problem) = law.fault() {
        return faults.add(field, problem, "mend the numbers of this distribution");
    }
    let (least, most) = law.reach();
    if !(least >= low && most <= high) {
        faults.add(
            field,
            format!("its draws reach from {least:.4} to {most:.4} (one flight in a million)"),
            format!("{hint}; they must stay between {low} and {high}: narrow it or use a truncated law"),
        );
    }
}

fn tied(arrangement: &ArrangementInput, at: &str, faults: &mut Faults) {
    one(limits::EDGE_WIDTH, &format!("{at}.edge_width"), arrangement.edge_width_m, faults);
    one(limits::LEGS, &format!("{at}.legs"), f64::from(arrangement.legs), faults);
    one(limits::RUN_COUNT, &format!("{at}.runs"), arrangement.runs.len() as f64, faults);
    for (i, run) in arrangement.runs.iter().enumerate() {
        let at = format!("{at}.runs.{i}");
        one(limits::PART_COUNT, &at, run.len() as f64, faults);
        run.iter().enumerate().for_each(|(k, part)| piece(part, &format!("{at}.{k}"), faults));
    }
}

fn piece(part: &PartInput, at: &str, faults: &mut Faults) {
    one(limits::CORD_LENGTH, &format!("{at}.length"), part.length_m, faults);
    one(limits::CORD_STRENGTH, &format!("{at}.strength"), part.strength_n, faults);
    if let StiffnessInput::PerStrain(n) = part.stiffness {
        one(limits::CORD_STIFFNESS, &format!("{at}.stiffness"), n, faults);
    }
    maybe(limits::LOSS_FACTOR, &format!("{at}.loss_factor"), part.loss_factor, faults);
    maybe(limits::LOCK_STRAIN, &format!("{at}.locks_at_strain"), part.locks_at_strain, faults);
    maybe(limits::CORD_STIFFNESS, &format!("{at}.locked_stiffness"), part.locked_stiffness_n, faults);
    if part.locked_stiffness_n.is_some() && part.locks_at_strain.is_none() {
        faults.add(
            format!("{at}.locked_stiffness"),
            "nothing says where it locks",
            "give locks_at_strain as well, or leave it out",
        );
    }
}

/// Whether a nose section of that mass comes off this rocket, of which so much is left in the lightest of a million draws.
pub fn fits(asked: &CordsInput, inputs: &Inputs, lightest_dry_kg: f64, faults: &mut Faults) {
    if asked.nose_mass_kg > NOSE_SHARE * lightest_dry_kg {
        faults.add(
            "cords.nose_mass",
            format!(
                "{} kg leave too little of the {lightest_dry_kg:.3} kg that the lightest of a million draws has without propellant",
                limits::plain(asked.nose_mass_kg)
            ),
            "give what comes off with the nose alone, a bare number means kilograms; card.airframe.mass is the whole rocket",
        );
    }
    let cross_section_m2 = 0.25 * core::f64::consts::PI * inputs.airframe.diameter_m * inputs.airframe.diameter_m;
    for (name, area_m2) in
        [("nose_drag_area", asked.nose_drag_area_m2), ("airframe_drag_area", asked.airframe_drag_area_m2)]
    {
        if let Some(area_m2) = area_m2.filter(|area_m2| *area_m2 > MOST_CROSS_SECTIONS * cross_section_m2) {
            faults.add(
                format!("cords.{name}"),
                format!("it is {:.0} times the body's cross-section", area_m2 / cross_section_m2),
                format!("give drag coefficient times area without any canopy: at most {MOST_CROSS_SECTIONS} times the cross-section"),
            );
        }
    }
    if inputs.recovery.first == Device::None {
        faults.add(
            "cords",
            "nothing is ejected: card.recovery.first is \"none\"",
            "leave cords out, or say what opens",
        );
    }
}
