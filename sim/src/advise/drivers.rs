//! What a reader should mind about the drivers of an answer.

use crate::drivers::Drivers;
use crate::report::Caution;
use crate::stat::indices::Found;

const RULE: &str = "first-order and total indices of independent inputs: Saltelli et al., Comput. Phys. Commun. 181 (2010) 259 (from memory)";
/// A sum of first-order indices whose interval ends below this leaves a part worth a word to inputs acting together.
const TOGETHER_BELOW: f64 = 0.9;
/// Share of the sets without the quantity that is worth a word.
const LEFT_OUT: f64 = 0.05;

/// Everything to mind about the drivers. `label` names a way of deploying.
pub fn driver_cautions(drivers: &Drivers, label: impl Fn(usize) -> String) -> Vec<Caution> {
    let mut list = vec![Caution {
        topic: "drivers",
        message: "Indices of the drivers, and what knowing an input would narrow, follow from the spreads stated and assumed here. They say nothing of an error that is the same in every flight, and an input whose spread is stated too narrow looks idle. No input is correlated with another. Their intervals cover sampling only.".into(),
        rule: RULE,
    }];
    for k in 0..3 {
        let named = |minded: &dyn Fn(&Found) -> bool| {
            let of = |way: usize| drivers.ways[way].quantities()[k].1.as_ref().is_ok_and(minded);
            (0..drivers.ways.len()).filter(|way| of(*way)).map(&label).collect::<Vec<_>>().join(", ")
        };
        let Some(quantity) = drivers.ways.first().map(|way| way.quantities()[k].0) else { continue };
        let together = named(&|found| found.sum.upper < TOGETHER_BELOW);
        if !together.is_empty() {
            list.push(Caution {
                topic: "drivers_together",
                message: format!(
                    "The first-order indices of the {quantity} add up to well under 1 ({together}): inputs act together there, so that knowing one alone narrows less than its total index suggests."
                ),
                rule: RULE,
            });
        }
        let fewest = |found: &Found| found.groups.iter().map(|g| g.sets).min().unwrap_or(0);
        let partial = named(&|found| (fewest(found) as f64) < (1.0 - LEFT_OUT) * drivers.base_flights as f64);
        if !partial.is_empty() {
            list.push(Caution {
                topic: "drivers_left_out",
                message: format!(
                    "More than one set of flights in twenty has no {quantity} ({partial}): its indices are those of the others."
                ),
                rule: RULE,
            });
        }
    }
    list
}
