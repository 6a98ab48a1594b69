//! Which of many settings meet every condition, which meet it best, and what stands in the way where none does.

use crate::case::{Case, Question};
use crate::report::CellReport;
use crate::stat::interval::Chance;

use super::accept_chance;

/// Where something may come down too often.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// Inside the area of a name.
    Inside(String),
    /// Outside of it.
    Outside(String),
    /// Outside every area that is a field.
    OutsideFields,
}

/// What is demanded besides the condition on openings.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Demands {
    /// Where, and how often at most.
    pub landing: Vec<(Place, f64)>,
    /// Largest chance of rising above the ceiling.
    pub above_ceiling: Option<f64>,
}

/// How a chance stands against what is demanded of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Met {
    /// Even the lower end of the interval is above.
    Not,
    /// The interval holds both.
    NotKnown,
    /// The upper end is at or below.
    Meets,
}

/// One condition held against one way of deploying in one setting.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// The chance.
    pub chance: Chance,
    /// How large it may be.
    pub at_most: f64,
}

impl Check {
    /// How it stands.
    pub fn met(&self) -> Met {
        match &self.chance {
            c if c.flights == 0 => Met::NotKnown,
            c if c.upper <= self.at_most => Met::Meets,
            c if c.lower > self.at_most => Met::Not,
            _ => Met::NotKnown,
        }
    }

    /// The ends of its interval over what is allowed.
    fn ratios(&self) -> [f64; 2] {
        [self.chance.lower, self.chance.upper].map(|end| end / self.at_most)
    }
}

/// One way of deploying in one setting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Choice {
    /// Index of the setting.
    pub cell: usize,
    /// Index of the way of deploying.
    pub way: usize,
}

/// What follows from all settings.
#[derive(Debug, Clone, PartialEq)]
pub struct Feasible {
    /// Every choice that meets all conditions, the best first: by the largest of its chances' upper ends over what is
    /// allowed.
    pub choices: Vec<Choice>,
    /// Choices besides the first that may be as good, or better, and may meet all conditions as well: the lower end of theirs
    /// does not lie above its upper one.
    pub as_good: usize,
    /// Where none meets them: the choice that comes nearest.
    pub nearest: Option<Choice>,
    /// Per condition, choices that meet it.
    pub meets_alone: Vec<usize>,
}

/// Every condition, held against each way of deploying of a cell: first the one on openings, then those on landings in their
/// order, then the ceiling. An area that the cell's site does not have leaves its condition not known.
pub fn checks(cell: &CellReport, case: &Case, demands: &Demands) -> Vec<Vec<Check>> {
    let question = &case.inputs.question;
    let each = |way: usize| {
        let report = &cell.ways[way];
        let opening =
            Check { chance: report.limits[question.accept_limit].unsafe_opening, at_most: accept_chance(question) };
        let landing = demands.landing.iter().map(|(place, at_most)| {
            let landing = report.landing.as_ref();
            let area = |name: &String| landing.and_then(|l| l.areas.iter().find(|area| area.name == *name));
            let chance = match place {
                Place::Inside(name) => area(name).map(|area| area.inside),
                Place::Outside(name) => area(name).map(|area| area.outside),
                Place::OutsideFields => landing.and_then(|l| l.outside_fields),
            };
            Check { chance: chance.unwrap_or_else(|| unknown(question)), at_most: *at_most }
        });
        let ceiling = demands
            .above_ceiling
            .map(|at_most| Check { chance: cell.above_ceiling.unwrap_or_else(|| unknown(question)), at_most });
        core::iter::once(opening).chain(landing).chain(ceiling).collect()
    };
    (0..cell.ways.len()).map(each).collect()
}

/// A chance of which no flight tells anything.
fn unknown(question: &Question) -> Chance {
    crate::stat::interval::chance(&[], question.points, question.confidence())
}

/// What follows from the checks of all cells: per cell, way and condition.
pub fn feasible(cells: &[Vec<Vec<Check>>]) -> Feasible {
    let all = || {
        cells
            .iter()
            .enumerate()
            .flat_map(|(cell, ways)| ways.iter().enumerate().map(move |(way, checks)| (Choice { cell, way }, checks)))
    };
    // The largest of its ratios: by lower ends, and by upper ends.
    let worst = |checks: &[Check], end: usize| checks.iter().map(|c| c.ratios()[end]).fold(0.0, f64::max);
    let meets = |checks: &[Check]| checks.iter().all(|c| c.met() == Met::Meets);
    let mut ranked: Vec<(Choice, &Vec<Check>)> = all().filter(|(_, checks)| meets(checks)).collect();
    ranked.sort_by(|a, b| worst(a.1, 1).total_cmp(&worst(b.1, 1)));
    let as_good = ranked.first().map_or(0, |(best, checks)| {
        let may = |c: &[Check]| c.iter().all(|c| c.met() != Met::Not) && worst(c, 0) <= worst(checks, 1);
        all().filter(|(choice, checks)| choice != best && may(checks)).count()
    });
    let conditions = all().map(|(_, checks)| checks.len()).max().unwrap_or(0);
    let meets_alone =
        (0..conditions).map(|k| all().filter(|(_, checks)| checks[k].met() == Met::Meets).count()).collect();
    let nearest = ranked.is_empty().then(|| all().min_by(|a, b| worst(a.1, 1).total_cmp(&worst(b.1, 1)))).flatten();
    let nearest = nearest.map(|(choice, _)| choice);
    Feasible { choices: ranked.into_iter().map(|(choice, _)| choice).collect(), as_good, nearest, meets_alone }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stat::interval::Estimator;

    fn check(lower: f64, upper: f64, at_most: f64) -> Check {
        let chance = Chance {
            estimate: 0.5 * (lower + upper),
            lower,
            upper,
            hits: 1.0,
            flights: 1000,
            estimator: Estimator::Integrated,
            method: "test",
        };
        Check { chance, at_most }
    }

    #[test]
    fn the_best_has_most_room_under_all_conditions() {
        let cells = vec![
            // Meets both, with little room under the second.
            vec![vec![check(0.01, 0.02, 0.05), check(0.005, 0.009, 0.01)]],
            // Does not meet the second; meets both with most room.
            vec![
                vec![check(0.01, 0.02, 0.05), check(0.02, 0.03, 0.01)],
                vec![check(0.02, 0.03, 0.05), check(0.001, 0.002, 0.01)],
            ],
        ];
        let found = feasible(&cells);
        assert_eq!(found.choices, [Choice { cell: 1, way: 1 }, Choice { cell: 0, way: 0 }]);
        // 0.6 is the best's upper ratio; the other's lower one is 0.5.
        assert_eq!(found.as_good, 1);
        assert_eq!((found.nearest, found.meets_alone), (None, vec![3, 2]));
    }

    #[test]
    fn where_none_meets_all_the_nearest_is_told_with_what_is_missing() {
        let cells = vec![vec![
            vec![check(0.06, 0.10, 0.05), check(0.0, 0.001, 0.01)],
            vec![check(0.04, 0.06, 0.05), check(0.0, 0.009, 0.01)],
        ]];
        let found = feasible(&cells);
        assert!(found.choices.is_empty());
        assert_eq!(found.nearest, Some(Choice { cell: 0, way: 1 }));
        assert_eq!(found.meets_alone, [0, 2]);
        assert_eq!(cells[0].iter().map(|c| c[0].met()).collect::<Vec<_>>(), [Met::Not, Met::NotKnown]);
    }
}
