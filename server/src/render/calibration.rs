//! Drag, impulse and wind before and after what flights flown say of them, and their logs against drawn flights.

use std::fmt::Write;

use super::deploy_speed::RIGHT;
use super::stored::{Calibration, Learned, Median, Stored};
use super::svg::{Anchor, Axis, BLUE, BLUE_PALE, GREY, INK, NOTE, ORANGE, Picture, WORDS, short};
use slowpoint_sim::constants::{FOOT_M, MILE_PER_HOUR_M_S};

/// Where bars begin; what they are of stands to the left.
const LEFT: f64 = 92.0;
/// From one bar to the next.
const APART: f64 = 14.0;
/// Logged figures that are drawn: a picture ends somewhere.
const MOST_DRAWN: usize = 16;
/// Least distance of two figures on an axis.
const TICKS: f64 = 44.0;

/// The picture as SVG.
pub fn picture(answer: &Stored, found: &Calibration) -> String {
    let what = "What flights flown say of drag, impulse and wind";
    let mut picture = Picture::new(&answer.name, &format!("{what}; and what was logged against drawn flights"));
    if let Some(why) = &found.refused_because {
        picture.paragraph(&format!("NOT USED: {why}"), WORDS, ORANGE, true);
    }
    let mut told = format!("{what}. ");
    for input in &found.inputs {
        heading(&mut picture, &input.input, &input.unit);
        bars(&mut picture, &of_input(input), None, &input.unit);
        let _ = write!(told, "{}: ", input.input);
        tell(&mut told, &of_input(input), &input.unit);
    }
    let logged = found.flown.iter().flat_map(|flown| flown.logged.iter().map(move |logged| (flown.flight, logged)));
    let count = logged.clone().count();
    for (k, (flight, logged)) in logged.enumerate() {
        let what = logged.what.replace('_', " ");
        let rows: Vec<Row> = [("drawn before", GREY, Some(logged.before)), ("drawn after", BLUE, logged.after)]
            .into_iter()
            .filter_map(there)
            .collect();
        if k < MOST_DRAWN {
            heading(&mut picture, &format!("Flight {flight}: {what}"), &logged.unit);
            bars(&mut picture, &rows, Some([logged.logged.0, logged.error.0]), &logged.unit);
        }
        let _ =
            write!(told, "Flight {flight}, {what}: logged {}, ", both(&logged.unit, |of| short(logged.logged.0 / of)));
        tell(&mut told, &rows, &logged.unit);
    }
    if count > MOST_DRAWN {
        let most = format!("The first {MOST_DRAWN} of {count} logged figures; the answer has all of them.");
        picture.paragraph(&most, NOTE, INK, false);
    }
    picture.key(|[x, y]| bar([x - 12.0, x, x + 12.0], y, BLUE), "90 % lie within the bar, half below its mark");
    picture.key(|[x, y]| dot([x - 10.0, x, x + 10.0], y), "what was logged, with two standard errors either way");
    let source = format!("{} flights drawn, {}, id {}", found.flights_drawn, answer.engine, answer.id);
    picture.finish(&format!("{}: learned from flights flown", answer.name), &told, &answer.caution, &source)
}

/// A bar: what it is of, its colour, and what it reaches over.
type Row = (&'static str, &'static str, Median);

/// A bar of what is there.
fn there((name, colour, of): (&'static str, &'static str, Option<Median>)) -> Option<Row> {
    Some((name, colour, of?))
}

fn of_input(input: &Learned) -> Vec<Row> {
    [("before", GREY, Some(input.before)), ("next flight", BLUE, input.after), ("bias of all", ORANGE, input.bias)]
        .into_iter()
        .filter_map(there)
        .collect()
}

/// What readers of US units have in place of a unit, and how much of it that is.
fn of_us(unit: &str) -> Option<(&'static str, f64)> {
    match unit {
        "m" => Some(("ft", FOOT_M)),
        "m/s" => Some(("mph", MILE_PER_HOUR_M_S)),
        _ => None,
    }
}

/// What is said of a quantity over a unit, in every unit that it has.
fn both(unit: &str, say: impl Fn(f64) -> String) -> String {
    let us = of_us(unit).map(|(name, of_si)| format!(", {} {name}", say(of_si))).unwrap_or_default();
    let si = if unit.is_empty() { String::new() } else { format!(" {unit}") };
    format!("{}{si}{us}", say(1.0))
}

/// Bars in words.
fn tell(told: &mut String, rows: &[Row], unit: &str) {
    let words = rows.iter().map(|(name, _, of)| {
        let [p50, p05, p95] = [of.p50.0, of.p05.0, of.p95.0];
        let say = |of_si: f64| format!("{} ({} to {})", short(p50 / of_si), short(p05 / of_si), short(p95 / of_si));
        format!("{name} {}", both(unit, say))
    });
    *told += &words.collect::<Vec<_>>().join(", ");
    *told += ". ";
}

fn heading(picture: &mut Picture, text: &str, unit: &str) {
    let units = match (unit, of_us(unit)) {
        ("", _) => "factor".to_string(),
        (si, Some((us, _))) => format!("{us} above, {si} below"),
        (si, None) => si.to_string(),
    };
    picture.below += 4.0;
    picture.paragraph(&format!("{text}, {units}"), NOTE, INK, true);
}

/// Bars below each other on one axis, with a figure that was logged and its error.
fn bars(picture: &mut Picture, rows: &[Row], logged: Option<[f64; 2]>, unit: &str) {
    let reach = logged.map(|[value, error]| [value - 2.0 * error, value, value + 2.0 * error]);
    let all = rows.iter().flat_map(|row| [row.2.p05.0, row.2.p95.0]).chain(reach.into_iter().flatten());
    let [low, high] = all
        .filter(|x| x.is_finite())
        .fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], x| [low.min(x), high.max(x)]);
    let margin = if high > low { 0.05 * (high - low) } else { 1.0 };
    if low > high {
        return;
    }
    let axis = Axis { from: low - margin, to: high + margin, at: [LEFT, RIGHT] };
    let us = of_us(unit).map(|(_, of_si)| Axis { from: axis.from / of_si, to: axis.to / of_si, ..axis });
    let top = picture.below + if us.is_some() { 13.0 } else { 2.0 };
    let lines = rows.len() + usize::from(logged.is_some());
    let bottom = top + APART * lines as f64;
    picture.grid(&axis, [top, bottom], axis.ticks(TICKS).into_iter().map(|value| (value, short(value))));
    for (us, value) in us.iter().flat_map(|us| us.ticks(TICKS).into_iter().map(move |value| (us, value))) {
        picture.text([us.place(value), top - 2.5], NOTE, Anchor::Middle, INK, &short(value));
    }
    let mut middle = top + 0.5 * APART;
    for (name, colour, of) in rows {
        picture.text([LEFT - 6.0, middle + 3.5], NOTE, Anchor::End, INK, name);
        picture.raw(&bar([of.p05.0, of.p50.0, of.p95.0].map(|x| axis.place(x)), middle, colour));
        middle += APART;
    }
    if let Some(reach) = reach {
        picture.text([LEFT - 6.0, middle + 3.5], NOTE, Anchor::End, INK, "logged");
        picture.raw(&dot(reach.map(|x| axis.place(x)), middle));
    }
    picture.below = bottom + 16.0;
}

fn bar([from, middle, to]: [f64; 3], y: f64, colour: &str) -> String {
    format!(
        "<rect x=\"{from:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"8\" fill=\"{BLUE_PALE}\" stroke=\"{colour}\"/><path d=\"M{middle:.1} {:.1}v10\" stroke=\"{colour}\" stroke-width=\"2.5\"/>",
        y - 4.0,
        (to - from).max(0.5),
        y - 5.0
    )
}

fn dot([from, middle, to]: [f64; 3], y: f64) -> String {
    format!(
        "<path d=\"M{from:.1} {y:.1}H{to:.1}\" stroke=\"{INK}\" stroke-width=\"1.4\"/><circle cx=\"{middle:.1}\" cy=\"{y:.1}\" r=\"3.2\" fill=\"{INK}\"/>"
    )
}
