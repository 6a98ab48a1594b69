//! Load on the tube's edge and tension of the cord against the delay, for each arrangement, with what the wall bears.

use std::fmt::Write;

use super::deploy_speed::{bar, columns, frame, letter_at, lying, rule};
use super::stored::{Cords, Delay, Figures, Pull, Stored};
use super::svg::{Anchor, GREY, GRID, INK, NOTE, ORANGE, Picture, WORDS, short};
use slowpoint_sim::constants::{POUND_FORCE_N, POUND_FORCE_PER_INCH_N_MM};
use slowpoint_sim::told;

/// Left and right end of the plots, with room for the units of both systems beside them.
const LEFT: f64 = 78.0;
/// See `LEFT`.
const RIGHT: f64 = 284.0;
/// From the side to the figures of SI, and to those of the US.
const BESIDE: [f64; 2] = [4.0, 42.0];

const PANEL_HEIGHT: f64 = 110.0;
/// Least distance of two figures on an axis.
const APART: f64 = 16.0;
/// Loads and tensions begin here where a cord does not run out.
const LEAST: f64 = 1e-3;

/// Loads from the bottom of a panel to its top, on a scale of logarithms: cords differ by factors.
#[derive(Clone, Copy)]
struct Scale {
    logs: [f64; 2],
    at: [f64; 2],
}

impl Scale {
    /// Wide enough for all.
    fn over(all: impl Iterator<Item = f64>) -> [f64; 2] {
        let logs = all.filter(|x| *x > LEAST).map(f64::log10);
        let [low, high] = logs.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], x| [low.min(x), high.max(x)]);
        if low <= high { [low - 0.1, high + 0.1] } else { [0.0, 1.0] }
    }

    fn place(&self, value: f64) -> f64 {
        let log = value.max(LEAST).log10().clamp(self.logs[0], self.logs[1]);
        self.at[0] + (log - self.logs[0]) / (self.logs[1] - self.logs[0]) * (self.at[1] - self.at[0])
    }

    /// 1, 2 and 5 times powers of ten, as many as have room below the name of the unit.
    fn ticks(&self) -> Vec<f64> {
        let round = |decade: i32| [1.0, 2.0, 5.0].map(|m| m * 10_f64.powi(decade));
        let within = |x: &f64| (self.logs[0]..=self.logs[1]).contains(&x.log10()) && self.place(*x) >= self.at[1] + 4.0;
        let decades = self.logs[0].floor() as i32..=self.logs[1].ceil() as i32;
        let mut ticks: Vec<f64> = Vec::new();
        for value in decades.flat_map(round).filter(within) {
            if ticks.last().is_none_or(|last| (self.place(*last) - self.place(value)).abs() >= APART) {
                ticks.push(value);
            }
        }
        ticks
    }

    /// The same places in another quantity that is so many times as large.
    fn times(&self, factor: f64) -> Self {
        Self { logs: self.logs.map(|log| log + factor.log10()), at: self.at }
    }
}

/// The picture as SVG.
pub fn picture(answer: &Stored, cords: &Cords) -> String {
    let what = "Load on the edge of the tube, and tension of the cord";
    let mut picture = Picture::new(&answer.name, &format!("{what}, against what fires"));
    let loads = cords.delays.iter().flat_map(|d| &d.arrangements).filter_map(|a| a.edge_load_n_per_mm);
    let wall = [cords.wall.p05_n_per_mm.0, cords.wall.median_n_per_mm.0, cords.wall.p95_n_per_mm.0];
    let logs = Scale::over(loads.flat_map(|l| [l.p05.0, l.p95.0]).chain([wall[0], wall[2]]));
    let names: Vec<&str> = cords.delays.first().iter().flat_map(|d| &d.arrangements).map(|a| a.name.as_str()).collect();
    for (k, name) in names.iter().enumerate() {
        picture.below += 4.0;
        picture.paragraph(name, WORDS, INK, true);
        panel(&mut picture, answer, cords, k, logs, wall);
    }
    keys(&mut picture, answer, cords);
    let mut told = format!("{what}. ");
    for delay in &cords.delays {
        for a in &delay.arrangements {
            let _ = write!(told, "{}, {}: {}. ", delay.label, a.name, words(a));
        }
    }
    let _ = write!(told, "{}.", bears(cords));
    let source = format!("{} flights, {}, id {}", cords.flights, answer.engine, answer.id);
    picture.finish(&format!("{}: cord and tube edge", answer.name), &told, &answer.caution, &source)
}

fn words(a: &Pull) -> String {
    match (a.edge_load_n_per_mm, a.peak_tension_n) {
        (Some(load), Some(tension)) => format!(
            "median {} of width and {}, the edge tears in {} of flights",
            told::line_load(load.p50.0),
            told::force(tension.p50.0),
            a.edge_tears.text
        ),
        _ => "no flight ejected in the air".into(),
    }
}

fn bears(cords: &Cords) -> String {
    let wall = &cords.wall;
    format!(
        "half of all edges are taken to tear below {} of width, 90 % of them between {} and {}: {}",
        told::line_load(wall.median_n_per_mm.0),
        told::line_load(wall.p05_n_per_mm.0),
        told::line_load(wall.p95_n_per_mm.0),
        if wall.guessed { "GUESSED, no value is published" } else { "as it was given" }
    )
}

/// One arrangement: loads on the left, tensions on the right.
fn panel(picture: &mut Picture, answer: &Stored, cords: &Cords, k: usize, logs: [f64; 2], wall: [f64; 3]) {
    let (along, electronic) = columns(answer, [LEFT, RIGHT]);
    let top = picture.below + 18.0;
    let bottom = top + PANEL_HEIGHT;
    let up = Scale { logs, at: [bottom, top] };
    let [p05, median, p95] = wall.map(|n_mm| up.place(n_mm));
    picture.raw(&format!(
        "<rect x=\"{LEFT}\" y=\"{p95:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"{ORANGE}\" fill-opacity=\"0.2\"/>",
        RIGHT - LEFT,
        (p05 - p95).max(0.5)
    ));
    frame(picture, &along, [LEFT, RIGHT], [top, bottom]);
    for n_mm in up.ticks() {
        rule(picture, up.place(n_mm), [LEFT, RIGHT], GRID, "");
    }
    let left = |off: f64| (LEFT - off, Anchor::End);
    figures(picture, &up, left(BESIDE[0]), INK, "N/mm");
    figures(picture, &up.times(1.0 / POUND_FORCE_PER_INCH_N_MM), left(BESIDE[1]), GREY, "lbf/in");
    let pulls: Vec<&Pull> = cords.delays.iter().filter_map(|d| d.arrangements.get(k)).collect();
    let ratio = |a: &&&Pull| {
        let (load, tension) = (a.edge_load_n_per_mm?.p95.0, a.peak_tension_n?.p95.0);
        (load > LEAST).then_some(tension / load)
    };
    if let Some(newtons) = pulls.iter().find_map(|a| ratio(&a)) {
        let right = |off: f64| (RIGHT + off, Anchor::Start);
        figures(picture, &up.times(newtons), right(BESIDE[0]), INK, "N");
        figures(picture, &up.times(newtons / POUND_FORCE_N), right(BESIDE[1]), GREY, "lbf");
    }
    let each = (RIGHT - along.at[1]) / electronic.len().max(1) as f64;
    let letter = |label: &str| electronic.iter().position(|(d, _)| d.label == label);
    let place = |delay: &Delay| match delay.alone_s() {
        Some(s) => Some(along.place(s)),
        None => letter(&delay.label).map(|k| along.at[1] + (k as f64 + 0.5) * each),
    };
    let mut bars: Vec<(f64, Figures)> = answer
        .delays
        .iter()
        .zip(&pulls)
        .filter_map(|(delay, pull)| Some((place(delay)?, pull.edge_load_n_per_mm?)))
        .collect();
    bars.sort_by(|a, b| a.0.total_cmp(&b.0));
    let nearest = bars.windows(2).map(|p| p[1].0 - p[0].0).fold(28.0, f64::min);
    let width = (0.6 * nearest).max(1.5);
    for (x, s) in &bars {
        picture.raw(&bar(*x, [s.p05, s.p25, s.p50, s.p75, s.p95].map(|q| up.place(q.0)), width));
    }
    for (k, (_, letter)) in electronic.iter().enumerate() {
        picture.raw(&letter_at(along.at[1] + (k as f64 + 0.5) * each, bottom + 13.0, letter));
    }
    picture.raw(&dashed([LEFT, RIGHT], median));
    picture.below = bottom + 30.0;
}

/// Figures of a scale beside the plot, below the name of their unit.
fn figures(picture: &mut Picture, scale: &Scale, (x, anchor): (f64, Anchor), colour: &str, unit: &str) {
    for value in scale.ticks() {
        picture.text([x, scale.place(value) + 3.5], NOTE, anchor, colour, &short(value));
    }
    picture.text([x, scale.at[1] - 7.0], NOTE, anchor, colour, unit);
}

fn dashed([from, to]: [f64; 2], y: f64) -> String {
    format!("<path d=\"M{from:.1} {y:.1}H{to:.1}\" stroke=\"{ORANGE}\" stroke-width=\"1.6\" stroke-dasharray=\"6 3\"/>")
}

fn keys(picture: &mut Picture, answer: &Stored, cords: &Cords) {
    picture.key(
        |[x, y]| lying(y, [-12.0, -5.0, 0.0, 5.0, 12.0].map(|off| x + off)),
        "of the flights that eject in the air 90 % lie within the pale bar, half within the dark one; the line is the median; on the right the tension of the whole cord",
    );
    picture.key(
        |[x, y]| {
            format!(
                "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"24\" height=\"9\" fill=\"{ORANGE}\" fill-opacity=\"0.2\"/>{}",
                x - 12.0,
                y - 4.5,
                dashed([x - 12.0, x + 12.0], y)
            )
        },
        &bears(cords),
    );
    for (delay, letter) in columns(answer, [LEFT, RIGHT]).1 {
        picture.key(|[x, y]| letter_at(x, y + 3.5, &letter), &delay.label);
    }
}
