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
        message: "Indices of the drivers, and what knowing an input would narrow, follow from the spreads stated and assumed here. They say nothing of an error that is the same in every flight, and an input whose spread is stated too narrow looks idle. No input is correlated with another. Their intervals cover sampling only, and a small index that few flights carry is found too small more often than they say: more base flights mend that.".into(),
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drivers::WayDrivers;
    use crate::stat::indices::{Index, Indices, Silent};

    fn found(sum: f64, sets: u64) -> Found {
        let index = |estimate: f64| Index { estimate, lower: estimate - 0.05, upper: estimate + 0.05 };
        let group = Indices { sets, first_order: index(sum), total: index(0.95) };
        Found { deviation: 1.0, sum: index(sum), groups: vec![group] }
    }

    #[test]
    fn the_way_that_is_minded_is_named() {
        let way = |speed| WayDrivers {
            ejection_airspeed_m_s: Ok(speed),
            unsafe_opening: Err(Silent::Rare),
            landing_distance_m: Ok(found(0.95, 1000)),
        };
        let told = |first, second| {
            let drivers = Drivers { base_flights: 1000, flights: 14_000, ways: vec![way(first), way(second)] };
            let list = driver_cautions(&drivers, |way| format!("way {way}"));
            list.into_iter().map(|c| (c.topic, c.message)).collect::<Vec<_>>()
        };
        let plain = told(found(0.95, 1000), found(0.9, 951));
        assert_eq!(plain.iter().map(|c| c.0).collect::<Vec<_>>(), ["drivers"]);
        let minded = told(found(0.95, 949), found(0.8, 1000));
        assert_eq!(minded.iter().map(|c| c.0).collect::<Vec<_>>(), ["drivers", "drivers_together", "drivers_left_out"]);
        assert!(minded[1].1.contains("airspeed at ejection") && minded[1].1.contains("(way 1)"), "{}", minded[1].1);
        assert!(minded[2].1.contains("airspeed at ejection") && minded[2].1.contains("(way 0)"), "{}", minded[2].1);
    }
}
