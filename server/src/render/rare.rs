//! Rare events: the chance of each, and which inputs lie off where it happens, the farthest first.

use super::deploy_speed::RIGHT;
use super::stored::{Rare, RareChance, Stored};
use super::svg::{Anchor, Axis, BLUE, BLUE_PALE, INK, NOTE, Picture, cut, short, tenths, whole};

/// Where bars begin; what they are of stands to the left.
const LEFT: f64 = 122.0;
/// From one bar to the next.
const APART: f64 = 14.0;
/// Inputs that are drawn of each.
const MOST_INPUTS: usize = 6;
/// The power of ten at the left end, where what is rarer begins: one in a million.
const LEAST_POWER: f64 = -6.0;
/// Least distance of two figures on an axis of deviations.
const TICKS: f64 = 30.0;

/// The picture as SVG.
pub fn picture(answer: &Stored, found: &Rare) -> String {
    let what = "Rare events: the chance of each with its 95 % interval, and the inputs that lie off where it happens";
    let mut picture = Picture::new(&answer.name, what);
    let uppers = found.chances.iter().filter_map(|c| c.upper.rounded());
    // Whole powers of ten at both ends.
    let most = uppers.map(|upper| upper.log10().ceil()).fold(LEAST_POWER + 1.0, f64::max);
    let chances = Axis { from: LEAST_POWER, to: most.min(0.0), at: [LEFT, RIGHT] };
    let far = found.chances.iter().flat_map(|c| &c.moved).filter_map(|m| m.standard_deviations.rounded());
    let off = Axis { from: 0.0, to: far.fold(1.0, f64::max), at: [LEFT, RIGHT] };
    for chance in &found.chances {
        picture.below += 4.0;
        let heading = format!("{}, {}: {}", event(chance), chance.flown_with, chance.chance_text);
        picture.paragraph(&heading, NOTE, INK, true);
        let place = |x: f64| chances.place(x.log10().max(LEAST_POWER));
        let ends = [chance.lower, chance.upper].map(|end| place(end.rounded().unwrap_or(0.0)));
        let mut row = between(ends);
        if let Some(estimate) = chance.estimate.rounded() {
            row += &format!("<path d=\"M{:.1} -5v10\" stroke=\"{BLUE}\" stroke-width=\"2.5\"/>", place(estimate));
        }
        let decades = (chances.from as i32..=chances.to as i32).map(f64::from);
        rows(&mut picture, &chances, decades.map(|d| (d, percent(d))), &[("chance".into(), row)]);
        let inputs: Vec<(String, String)> = chance
            .moved
            .iter()
            .filter_map(|m| {
                Some((
                    m.input.replace('_', " "),
                    far_off([off.place(0.0), off.place(m.standard_deviations.rounded()?)]),
                ))
            })
            .take(MOST_INPUTS)
            .collect();
        if !inputs.is_empty() {
            rows(&mut picture, &off, off.ticks(TICKS).into_iter().map(|x| (x, short(x))), &inputs);
        }
    }
    let sample = |[x, y]: [f64; 2], drawn: fn([f64; 2]) -> String| {
        format!("<g transform=\"translate(0 {y:.1})\">{}</g>", drawn([x - 12.0, x + 12.0]))
    };
    picture.key(
        |at| sample(at, between),
        "interval of the chance, the estimate as a stroke; from the left end where only its upper end is told",
    );
    picture.key(|at| sample(at, far_off), "how far the mean of an input lies off, in standard deviations");
    let told: Vec<&str> = found.chances.iter().map(|chance| chance.text.as_str()).collect();
    let source = format!("{}, id {}", answer.engine, answer.id);
    picture.finish(&format!("{}: rare events", answer.name), &told.join(" "), &answer.caution, &source)
}

fn event(chance: &RareChance) -> String {
    match (&chance.landing_in, &chance.opening_over) {
        (Some(area), _) => format!("Comes down in {area}"),
        (None, Some(over)) => format!("Opens over {} m/s ({} mph)", tenths(over.limit_m_s), whole(over.limit_mph)),
        (None, None) => String::new(),
    }
}

/// A power of ten as a chance; every other one has room for it.
fn percent(decade: f64) -> String {
    if decade as i32 % 2 == 0 { format!("{} %", 10_f64.powi(decade as i32 + 2)) } else { String::new() }
}

/// Rows about 0, each below the other on one axis.
fn rows(picture: &mut Picture, axis: &Axis, ticks: impl Iterator<Item = (f64, String)>, rows: &[(String, String)]) {
    let top = picture.below + 2.0;
    let bottom = top + APART * rows.len() as f64;
    picture.grid(axis, [top, bottom], ticks);
    for (k, (name, row)) in (0_u32..).zip(rows) {
        let middle = top + APART * (f64::from(k) + 0.5);
        picture.text([LEFT - 6.0, middle + 3.5], NOTE, Anchor::End, INK, &cut(name, (LEFT - 16.0) / NOTE));
        picture.raw(&format!("<g transform=\"translate(0 {middle:.1})\">{row}</g>"));
    }
    picture.below = bottom + 16.0;
}

/// An interval of a chance.
fn between([from, to]: [f64; 2]) -> String {
    let width = (to - from).max(0.5);
    format!("<rect x=\"{from:.1}\" y=\"-4\" width=\"{width:.1}\" height=\"8\" fill=\"{BLUE_PALE}\" stroke=\"{BLUE}\"/>")
}

/// How far an input lies off.
fn far_off([from, to]: [f64; 2]) -> String {
    format!("<rect x=\"{from:.1}\" y=\"-3\" width=\"{:.1}\" height=\"6\" fill=\"{BLUE}\"/>", (to - from).max(0.5))
}
