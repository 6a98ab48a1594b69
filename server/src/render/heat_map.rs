//! A sweep at a glance: the chance of an unsafe opening for every hour (or tilt, or direction) and delay, a panel for each
//! combination of what else was varied.

use std::fmt::Write;

use serde::Deserialize;

use super::svg::{self, Anchor, BLUE, BLUE_MIDDLE, BLUE_PALE, GREY, GRID, INK, NOTE, Picture, WORDS, cut};
use crate::wire::Figure;

/// Left and right edge of the cells.
const LEFT: f64 = 96.0;
const RIGHT: f64 = 350.0;
const ROW: f64 = 18.0;
/// Most columns beside each other: a number needs its room.
const COLUMNS: usize = 7;
/// Most panels: a longer picture helps nobody.
const PANELS: usize = 24;
/// Upper ends of the shades of chance, paper, ink and what they mean.
const SHADES: [(f64, &str, &str, &str); 4] = [
    (0.02, "#ffffff", INK, "at most 2 %"),
    (0.10, BLUE_PALE, INK, "at most 10 %"),
    (0.50, BLUE_MIDDLE, INK, "at most 50 %"),
    (1.0, BLUE, "#ffffff", "more than 50 %"),
];

/// What the picture needs of a stored sweep.
#[derive(Debug, Deserialize)]
pub struct Sweep {
    caution: String,
    id: String,
    engine: String,
    /// Answers of older services have none.
    #[serde(default)]
    rocket: Option<String>,
    text: String,
    axes: Vec<Axis>,
    conditions: Vec<Condition>,
    cells: Vec<Cell>,
}

#[derive(Debug, Deserialize)]
struct Axis {
    axis: String,
    labels: Vec<String>,
}

#[derive(Debug, Deserialize)]
struct Condition {
    text: String,
}

#[derive(Debug, Deserialize)]
struct Cell {
    at: Vec<usize>,
    delays: Vec<Delay>,
}

#[derive(Debug, Deserialize)]
struct Delay {
    label: String,
    checks: Vec<Check>,
}

#[derive(Debug, Deserialize)]
struct Check {
    chance: Figure,
    lower: Figure,
    upper: Figure,
    met: String,
}

impl Delay {
    fn feasible(&self) -> bool {
        self.checks.iter().all(|check| check.met == "meets")
    }

    /// The chance of an unsafe opening, from 0 to 1, and in per cent: the first condition of every sweep.
    fn opening(&self) -> (f64, String) {
        let told = self.checks.first().and_then(|check| {
            let [chance, lower, upper] = [check.chance, check.lower, check.upper].map(|figure| figure.rounded());
            let chance = chance?;
            Some((chance, digits(chance, [lower?, upper?])))
        });
        told.unwrap_or((1.0, "?".into()))
    }
}

impl Sweep {
    /// The axis whose steps are rows: hours where there are any; cards never, whose delays may differ.
    fn rows(&self) -> Option<usize> {
        ["hours", "tilts", "azimuths", "sites"].iter().find_map(|name| self.axes.iter().position(|a| a.axis == *name))
    }

    /// A step in words.
    fn step(&self, axis: usize, step: usize) -> String {
        let Axis { axis, labels } = &self.axes[axis];
        let label = labels.get(step).map_or("", String::as_str);
        match axis.as_str() {
            "tilts" => format!("tilt {label}"),
            "azimuths" => format!("azimuth {label}"),
            _ => label.to_string(),
        }
    }

    /// The cells by panel: what they have in common besides their row.
    fn panels(&self) -> Vec<(Vec<usize>, Vec<&Cell>)> {
        let rows = self.rows();
        let mut panels: Vec<(Vec<usize>, Vec<&Cell>)> = Vec::new();
        for cell in &self.cells {
            let common = |(k, step): (usize, &usize)| if Some(k) == rows { 0 } else { *step };
            let key: Vec<usize> = cell.at.iter().enumerate().map(common).collect();
            match panels.iter_mut().find(|(other, _)| *other == key) {
                Some((_, cells)) => cells.push(cell),
                None => panels.push((key, vec![cell])),
            }
        }
        panels
    }
}

/// The picture as SVG.
pub fn picture(sweep: &Sweep) -> String {
    let opening = sweep.conditions.first().map_or("", |c| c.text.as_str());
    let limit = opening.split(" with ").nth(1).and_then(|t| t.split(", ").next()).unwrap_or("an unsafe opening");
    let title = format!("Chance of {limit}, by setting and delay");
    let mut picture = Picture::new(sweep.rocket.as_deref().unwrap_or("Sweep"), &format!("{title}, per cent"));
    for (_, paper, _, words) in SHADES {
        picture.key(
            |[x, y]| {
                format!(
                    "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"24\" height=\"9\" fill=\"{paper}\" stroke=\"{GREY}\"/>",
                    x - 12.0,
                    y - 4.5
                )
            },
            words,
        );
    }
    let frame = |x: f64, y: f64, width: f64, height: f64| {
        format!(
            "<rect x=\"{x:.1}\" y=\"{y:.1}\" width=\"{width:.1}\" height=\"{height:.1}\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"2.5\"/>"
        )
    };
    picture.key(|[x, y]| frame(x - 11.0, y - 4.5, 22.0, 9.0), "framed and bold: meets every condition of the sweep");
    let panels = sweep.panels();
    let mut told = format!("{} ", sweep.text);
    for (key, cells) in panels.iter().take(PANELS) {
        let named = |(k, step): (usize, &usize)| (Some(k) != sweep.rows()).then(|| sweep.step(k, *step));
        let name: Vec<String> = key.iter().enumerate().filter_map(named).collect();
        let labels: Vec<&str> =
            cells.first().map_or(Vec::new(), |c| c.delays.iter().map(|d| d.label.as_str()).collect());
        let most = columns_beside(labels.len());
        for from in (0..labels.len()).step_by(most) {
            let columns = from..(from + most).min(labels.len());
            picture.below += 6.0;
            if !name.is_empty() {
                picture.paragraph(&name.join(", "), WORDS, INK, true);
            }
            let width = (RIGHT - LEFT) / columns.len() as f64;
            let short = |label: &str| label.strip_prefix("delay ").unwrap_or(label).to_string();
            let numbered = labels[columns.clone()].iter().any(|label| svg::width(&short(label)) * NOTE > width);
            for (k, column) in columns.clone().enumerate() {
                let x = LEFT + (k as f64 + 0.5) * width;
                let head = if numbered { format!("({})", column + 1) } else { short(labels[column]) };
                picture.text([x, picture.below + 12.0], NOTE, Anchor::Middle, INK, &head);
            }
            picture.below += 16.0;
            for cell in cells {
                let top = picture.below;
                let row = sweep.rows().map_or(String::new(), |axis| sweep.step(axis, cell.at[axis]));
                picture.text([LEFT - 5.0, top + 12.5], NOTE, Anchor::End, INK, &cut(&row, (LEFT - 15.0) / NOTE));
                for (k, delay) in cell.delays.iter().skip(from).take(columns.len()).enumerate() {
                    let x = LEFT + k as f64 * width;
                    picture.raw(&cell_of(delay, [x, top], width));
                    if delay.feasible() {
                        picture.raw(&frame(x + 1.5, top + 1.5, width - 3.0, ROW - 3.0));
                    }
                    let met = if delay.feasible() { ", meets every condition" } else { "" };
                    let _ = write!(told, "{row} {}: {} %{met}. ", delay.label, delay.opening().1);
                }
                picture.below += ROW;
            }
            if numbered {
                let named: Vec<String> = columns.map(|k| format!("({}) {}", k + 1, labels[k])).collect();
                picture.paragraph(&named.join("; "), NOTE, INK, false);
            }
        }
    }
    if panels.len() > PANELS {
        picture.paragraph(
            &format!("{} more panels are not drawn: the answer as JSON has them all.", panels.len() - PANELS),
            NOTE,
            INK,
            false,
        );
    }
    for condition in &sweep.conditions {
        picture.paragraph(&condition.text, NOTE, GREY, false);
    }
    picture.finish(&title, told.trim_end(), &sweep.caution, &format!("{}, id {}", sweep.engine, sweep.id))
}

/// Columns beside each other, so that as few blocks as hold all delays are as wide as each other.
fn columns_beside(delays: usize) -> usize {
    delays.div_ceil(delays.div_ceil(COLUMNS).max(1)).max(1)
}

/// A cell with its chance.
fn cell_of(delay: &Delay, [x, top]: [f64; 2], width: f64) -> String {
    let (chance, told) = delay.opening();
    let (_, paper, ink, _) = SHADES.into_iter().find(|shade| chance <= shade.0).unwrap_or(SHADES[SHADES.len() - 1]);
    let weight = if delay.feasible() { " font-weight=\"bold\"" } else { "" };
    format!(
        "<rect x=\"{x:.1}\" y=\"{top:.1}\" width=\"{width:.1}\" height=\"{ROW}\" fill=\"{paper}\" stroke=\"{GRID}\"/><text x=\"{:.1}\" y=\"{:.1}\" font-size=\"{NOTE}\" text-anchor=\"middle\" fill=\"{ink}\"{weight}>{}</text>",
        x + 0.5 * width,
        top + 12.5,
        super::xml::escaped(&told),
    )
}

/// A chance in per cent: never 0 or 100. What is next to either is told by that end of its interval, which its flights bear.
fn digits(chance: f64, [lower, upper]: [f64; 2]) -> String {
    match chance {
        p if p < 0.0005 => format!("<{:.1}", (1000.0 * upper).ceil() / 10.0),
        p if p >= 0.9995 => format!(">{:.1}", (1000.0 * lower).floor() / 10.0),
        p if !(0.0995..=0.9005).contains(&p) => format!("{:.1}", 100.0 * p),
        p => format!("{:.0}", 100.0 * p),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn delays_that_need_two_blocks_stand_evenly() {
        let widths = |delays: usize| {
            let most = columns_beside(delays);
            (0..delays).step_by(most).map(|from| most.min(delays - from)).collect::<Vec<_>>()
        };
        assert_eq!(widths(0), Vec::<usize>::new());
        assert_eq!((widths(1), widths(7), widths(8), widths(15)), (vec![1], vec![7], vec![4, 4], vec![5, 5, 5]));
        for delays in 1..=64 {
            let widths = widths(delays);
            assert_eq!((widths.iter().sum::<usize>(), widths.len()), (delays, delays.div_ceil(COLUMNS)), "{delays}");
            assert!(widths[0] <= COLUMNS, "{widths:?}");
        }
    }

    #[test]
    fn no_chance_is_0_or_100() {
        for (chance, [lower, upper], text) in [
            // Unseen in 256, in 2,000 and in 100,000 flights.
            (0.0, [0.0, 0.014_31], "<1.5"),
            (0.0, [0.0, 0.001_843], "<0.2"),
            (0.0, [0.0, 0.000_037], "<0.1"),
            (0.0006, [0.0001, 0.002], "0.1"),
            (0.0994, [0.08, 0.12], "9.9"),
            (0.4, [0.3, 0.5], "40"),
            (0.9, [0.8, 0.95], "90"),
            (0.93, [0.9, 0.95], "93.0"),
            (0.9994, [0.99, 1.0], "99.9"),
            (1.0, [0.998_157, 1.0], ">99.8"),
        ] {
            assert_eq!(digits(chance, [lower, upper]), text);
        }
    }
}
