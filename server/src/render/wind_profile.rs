//! The mean wind against height: its speed as a line, its direction as arrows, and both in words.

use std::fmt::Write;

use super::fixed;
use super::svg::{Anchor, Axis, BLUE, GREY, GRID, INK, NOTE, Picture, WORDS, short, wrapped};
use super::winds::{BETWEEN, Known, Mean, TOO_FAR_APART, Way, Winds, arrow, from, height, speed};
use slowpoint_sim::constants::{FOOT_M, MILE_PER_HOUR_M_S};

/// Left and right end of the plot.
const LEFT: f64 = 42.0;
const RIGHT: f64 = 150.0;
/// Where arrows have their middle, and words begin.
const ARROWS: f64 = 209.0;
const BESIDE: f64 = 226.0;
const HEIGHT: f64 = 340.0;
/// A line of the words, and what lies between two heights.
const LINE: f64 = 12.0;
const APART: f64 = 6.0;
/// Room for a line of words, in sizes of its letters.
const ROOM: f64 = (350.0 - BESIDE) / NOTE;
/// Where fewer heights are known, others have their words as well.
const FEWEST: usize = 5;
/// Steps of the line.
const STEPS: u32 = 160;
/// A wind that is known near the ground alone is shown up to here at least, m.
const LEAST_TOP_M: f64 = 100.0;

/// How large it mostly is: what stands below it follows from the messages that the wind is made of.
pub const USUAL_SIZE: [u32; 2] = [360, 640];

/// What is said about the wind.
pub struct Said<'a> {
    /// Whose wind it is.
    pub name: &'a str,
    /// Which one.
    pub shown: &'a str,
    /// First caution.
    pub caution: &'a str,
    /// Where it comes from.
    pub source: &'a str,
}

/// A height with its words.
struct Row {
    height_m: f64,
    known: bool,
    way: Way,
    lines: Vec<String>,
}

/// The picture as SVG, up to a height above ground, where only so much is asked for.
pub fn picture(winds: &Winds, up_to_m: Option<f64>, said: &Said<'_>) -> String {
    let mut picture = Picture::new(said.name, said.shown);
    let highest_m = winds.known.iter().filter_map(|k| k.height_m).fold(0.0, f64::max);
    let told_to_m = winds.told_between_m().map_or(0.0, |[_, high]| high);
    let top_m = up_to_m.unwrap_or(1.08 * highest_m.max(told_to_m)).max(LEAST_TOP_M);
    let placed: Vec<&Known> = winds.known.iter().filter(|k| k.height_m.is_some_and(|h| h <= top_m)).collect();
    let mut told =
        format!("The mean wind by height {}. ", if winds.above_sea { "above sea level" } else { "above ground" });
    if placed.is_empty() && winds.told_between_m().is_none() {
        picture.paragraph("No wind is known.", WORDS, INK, false);
        return picture.finish(&title(said), "No wind is known.", said.caution, said.source);
    }
    for known in &winds.known {
        let _ = write!(told, "{}. ", in_words(known));
    }
    let top = picture.below + 34.0;
    let up = Axis { from: 0.0, to: top_m, at: [top + HEIGHT, top] };
    let holes = plot(&mut picture, winds, &placed, &up);
    let all = rows(winds, &placed, &up);
    for row in all.iter().filter(|row| !row.known) {
        let spread = winds.spread(row.height_m).map(|spread| format!("; {spread}")).unwrap_or_default();
        let _ = write!(told, "{}: {}{spread}. ", row.lines[0], row.lines[1..].join(", "));
    }
    let candidates = all.len();
    let shown = fitting(all);
    let left_out = candidates - shown.len();
    beside(&mut picture, &shown, &up);
    picture.below = top + HEIGHT + 30.0;
    below(&mut picture, winds, up_to_m.map_or(0, |_| winds.known.len() - placed.len()), left_out);
    for hole in &holes {
        picture.key(|_| String::new(), hole);
        let _ = write!(told, "{hole}. ");
    }
    picture.finish(&title(said), &told, said.caution, said.source)
}

fn title(said: &Said<'_>) -> String {
    format!("{}: wind by height", said.name)
}

/// All that is known at a height, in a sentence.
fn in_words(known: &Known) -> String {
    let at = known.height_m.map_or("At the ground".into(), height);
    let mut text = format!("{at}: {}{}, {}", known.bound, speed(known.speed_m_s), from(known.way));
    if let Some(gust) = known.gust_m_s {
        let _ = write!(text, ", gusts {}", speed(gust));
    }
    if let Some(c) = known.temperature_c {
        let _ = write!(text, ", {} C", fixed(c, 1));
    }
    text
}

/// Axes, the line and what it rests on; gives in words where there is no line.
fn plot(picture: &mut Picture, winds: &Winds, placed: &[&Known], up: &Axis) -> Vec<String> {
    let (bottom, top) = (up.at[0], up.at[1]);
    let heights: Vec<f64> = (0..=STEPS).map(|k| up.to * f64::from(k) / f64::from(STEPS)).collect();
    let line = curve(winds, placed, &heights);
    let members: Vec<Vec<[f64; 2]>> = if winds.members < 2 || line.is_empty() {
        Vec::new()
    } else {
        // Each where the mean of all has its line.
        (0..winds.members).map(|k| line.iter().map(|(z, ..)| [winds.of_member(k, *z), *z]).collect()).collect()
    };
    let spread = members.iter().flatten().map(|p| p[0]);
    let fastest = line.iter().filter_map(|p| p.1).chain(placed.iter().map(|k| k.speed_m_s)).chain(spread);
    let along = Axis { from: 0.0, to: 1.1 * fastest.fold(1.0, f64::max), at: [LEFT, RIGHT] };
    let mph = Axis { to: along.to / MILE_PER_HOUR_M_S, ..along };
    let feet = Axis { to: up.to / FOOT_M, ..*up };
    picture
        .raw(&format!("<path d=\"M{LEFT} {top:.1}V{bottom:.1}H{RIGHT}V{top:.1}Z\" fill=\"none\" stroke=\"{GREY}\"/>"));
    for z in up.ticks(34.0) {
        let y = up.place(z);
        picture.raw(&format!("<path d=\"M{LEFT} {y:.1}H{RIGHT}\" stroke=\"{GRID}\" stroke-width=\"0.7\"/>"));
        picture.text([LEFT - 4.0, y + 3.5], NOTE, Anchor::End, INK, &short(z));
    }
    for z in feet.ticks(34.0) {
        picture.text([RIGHT + 4.0, feet.place(z) + 3.5], NOTE, Anchor::Start, INK, &short(z));
    }
    picture.text([LEFT - 4.0, top - 10.0], NOTE, Anchor::End, INK, "m");
    picture.text([RIGHT + 4.0, top - 10.0], NOTE, Anchor::Start, INK, "ft");
    for (axis, y, name) in [(&along, bottom + 13.0, "m/s"), (&mph, top - 22.0, "mph")] {
        let ticks = axis.ticks(30.0);
        let last = ticks.last().copied().unwrap_or_default();
        for value in ticks {
            let text = if value == last { format!("{} {name}", short(value)) } else { short(value) };
            picture.text([axis.place(value), y], NOTE, Anchor::Middle, INK, &text);
        }
    }
    let path = |points: &[[f64; 2]]| {
        points.iter().map(|[v, z]| format!("{:.1} {:.1}", along.place(*v), up.place(*z))).collect::<Vec<_>>().join("L")
    };
    for member in &members {
        picture.raw(&format!("<path d=\"M{}\" fill=\"none\" stroke=\"{GREY}\" stroke-width=\"0.5\"/>", path(member)));
    }
    // Pieces that are told or assumed alike, each with the first point of the next.
    let mut from = 0;
    while from < line.len() {
        let (_, value, told) = line[from];
        let mut to = from;
        while to + 1 < line.len() && line[to + 1].1.is_some() == value.is_some() && line[to].2 == told {
            to += 1;
        }
        if value.is_some() && to > from {
            let points: Vec<[f64; 2]> = line[from..=to].iter().filter_map(|(z, v, _)| Some([(*v)?, *z])).collect();
            let dashes = if told { "" } else { " stroke-dasharray=\"4 3\"" };
            picture.raw(&format!(
                "<path d=\"M{}\" fill=\"none\" stroke=\"{BLUE}\" stroke-width=\"2\"{dashes}/>",
                path(&points)
            ));
        }
        from = to.max(from + 1);
    }
    for known in placed {
        let [x, y] = [along.place(known.speed_m_s), up.place(known.height_m.unwrap_or_default())];
        picture.raw(&point_at([x, y]));
    }
    holes(&line)
}

/// From where to where the wind goes over from the one kind to the other: between the heights next to those of no speed.
fn holes(line: &[(f64, Option<f64>, bool)]) -> Vec<String> {
    let mut found = Vec::new();
    let mut from = 0;
    for piece in line.chunk_by(|a, b| a.1.is_some() == b.1.is_some()) {
        let to = from + piece.len();
        if piece[0].1.is_none() {
            let [low, high] = [from.saturating_sub(1), to.min(line.len() - 1)].map(|k| height(line[k].0));
            found.push(format!("no line: {BETWEEN}, from {low} to {high}"));
        }
        from = to;
    }
    found
}

/// The speed at each height, where there is one, and whether it is told rather than assumed. What is known has its place in it.
fn curve(winds: &Winds, placed: &[&Known], heights: &[f64]) -> Vec<(f64, Option<f64>, bool)> {
    let Some([low_m, high_m]) = winds.told_between_m() else { return Vec::new() };
    let mut all: Vec<f64> = heights.to_vec();
    let top_m = heights.last().copied().unwrap_or_default();
    all.extend(placed.iter().filter_map(|k| k.height_m));
    // The law bends most at the ground.
    all.extend([0.05, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, low_m, high_m].into_iter().filter(|z| *z <= top_m));
    // Where nobody knows how high the ground is, nothing is assumed beyond what is told.
    all.retain(|z| !winds.above_sea || (low_m.max(0.0)..=high_m).contains(z));
    all.sort_by(f64::total_cmp);
    all.dedup();
    let speed = |z: f64| winds.mean(z).and_then(Mean::speed_m_s);
    all.into_iter().map(|z| (z, speed(z), z >= low_m && z < high_m)).collect()
}

/// What has words: every height that is known, and where those are few the mean at others.
fn rows(winds: &Winds, placed: &[&Known], up: &Axis) -> Vec<Row> {
    let mut rows: Vec<Row> = placed
        .iter()
        .filter_map(|known| {
            let mut said = vec![format!("{}{}", known.bound, speed(known.speed_m_s))];
            said.push(match known.temperature_c {
                Some(c) => format!("{}, {} C", from(known.way), fixed(c, 1)),
                None => from(known.way),
            });
            said.extend(known.gust_m_s.map(|gust| format!("gusts {}", speed(gust))));
            Some(row(known.height_m?, true, known.way, said))
        })
        .collect();
    let Some([low_m, high_m]) = winds.told_between_m() else { return rows };
    for z in up.ticks(0.2 * HEIGHT).into_iter().skip(1) {
        let near = |row: &Row| (row.height_m - z).abs() < 0.6 * 0.2 * up.to;
        let Some((mean, speed_m_s)) = winds.mean(z).and_then(|mean| Some((mean, mean.speed_m_s()?))) else { continue };
        if rows.len() < FEWEST && !rows.iter().any(near) {
            let assumed = !winds.above_sea && (z < low_m || z >= high_m);
            let mut said = vec![speed(speed_m_s), from(mean.way())];
            said.extend(assumed.then(|| "assumed".into()));
            rows.push(row(z, false, mean.way(), said));
        }
    }
    rows.sort_by(|a, b| a.height_m.total_cmp(&b.height_m));
    rows
}

fn row(height_m: f64, known: bool, way: Way, said: Vec<String>) -> Row {
    let lines = core::iter::once(height(height_m)).chain(said).flat_map(|text| wrapped(&text, ROOM)).collect();
    Row { height_m, known, way, lines }
}

fn deep(row: &Row) -> f64 {
    row.lines.len() as f64 * LINE + APART
}

/// As many as have room, the lowest and the highest among them: what lies closest to its neighbours goes first.
fn fitting(mut rows: Vec<Row>) -> Vec<Row> {
    while rows.iter().map(deep).sum::<f64>() > HEIGHT + 24.0 && rows.len() > 2 {
        let gap = |k: &usize| rows[k + 1].height_m - rows[k - 1].height_m;
        let Some(closest) = (1..rows.len() - 1).min_by(|a, b| gap(a).total_cmp(&gap(b))) else { break };
        rows.remove(closest);
    }
    rows
}

/// Arrows and words, each as near to its height as the others let it.
fn beside(picture: &mut Picture, rows: &[Row], up: &Axis) {
    // From the top down.
    let order: Vec<&Row> = rows.iter().rev().collect();
    let (ceiling, floor) = (up.at[1] - 24.0, up.at[0] + 6.0);
    let mut tops: Vec<f64> = order.iter().map(|row| up.place(row.height_m) - 0.5 * deep(row)).collect();
    let mut least = ceiling;
    for (top, row) in tops.iter_mut().zip(&order) {
        *top = top.max(least);
        least = *top + deep(row);
    }
    let mut most = floor;
    for (top, row) in tops.iter_mut().zip(&order).rev() {
        *top = top.min(most - deep(row));
        most = *top;
    }
    for (top, row) in tops.into_iter().zip(order) {
        let middle = top + 0.5 * (deep(row) - APART);
        let y = up.place(row.height_m);
        picture.raw(&format!(
            "<path d=\"M{RIGHT} {y:.1}h3M{:.1} {y:.1}L{:.1} {middle:.1}\" fill=\"none\" stroke=\"{GREY}\" stroke-width=\"0.6\"/>",
            ARROWS - 24.0,
            ARROWS - 13.0
        ));
        picture.raw(&arrow([ARROWS, middle], row.way, 22.0));
        for (k, line) in row.lines.iter().enumerate() {
            let colour = if k == 0 { GREY } else { INK };
            picture.text([BESIDE, top + LINE * (k as f64 + 0.8)], NOTE, Anchor::Start, colour, line);
        }
    }
}

/// What is drawn how, and what is not drawn.
fn below(picture: &mut Picture, winds: &Winds, higher: usize, left_out: usize) {
    let reference = match (winds.above_sea, winds.field_elevation_m) {
        (true, _) => "heights are above sea level: with the field's own height they would be told above ground".into(),
        (false, Some(field)) => format!("heights are above ground; the field lies {} above sea level", height(field)),
        (false, None) => "heights are above ground".into(),
    };
    picture.key(|_| String::new(), &reference);
    picture.key(|at| arrow(at, Way::From(270.0), 18.0), "the way the air moves; up is true north");
    let apart = if winds.members > 1 { format!(", or {TOO_FAR_APART}") } else { String::new() };
    picture.key(|at| arrow(at, Way::Variable, 18.0), &format!("calm, or from anywhere alike{apart}"));
    if !winds.known.is_empty() {
        picture.key(point_at, "known there, from what was given");
    }
    let line_at = |[x, y]: [f64; 2], dashes: &str| {
        format!("<path d=\"M{:.1} {y:.1}h24\" stroke=\"{BLUE}\" stroke-width=\"2\"{dashes}/>", x - 12.0)
    };
    let mean = if winds.members > 1 {
        format!("the mean of {} members as a vector, straight between the heights that they know", winds.members)
    } else {
        "speed, straight between the heights that are known".into()
    };
    picture.key(|at| line_at(at, ""), &mean);
    if winds.told_between_m().is_some() && !winds.above_sea {
        picture.key(
            |at| line_at(at, " stroke-dasharray=\"4 3\""),
            "assumed: the law of the wind near the ground, and the same wind above the highest that is known",
        );
    }
    if winds.members > 1 {
        let grey = |[x, y]: [f64; 2]| {
            format!("<path d=\"M{:.1} {y:.1}h24\" stroke=\"{GREY}\" stroke-width=\"0.8\"/>", x - 12.0)
        };
        picture.key(grey, "each member");
    }
    for unplaced in winds.known.iter().filter(|k| k.height_m.is_none()) {
        picture.key(|at| arrow(at, unplaced.way, 18.0), &in_words(unplaced));
    }
    if left_out > 0 {
        picture.key(
            |_| String::new(),
            &format!("heights without room for words: {left_out}; the description has all that are known"),
        );
    }
    if higher > 0 {
        picture.key(|_| String::new(), &format!("known heights above what is flown through: {higher}"));
    }
}

fn point_at([x, y]: [f64; 2]) -> String {
    format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3\" fill=\"{INK}\" stroke=\"#fff\" stroke-width=\"1\"/>")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use serde_json::{Value, json};

    use super::*;
    use crate::wire::{Weather, read_weather};

    fn read(mut request: Value, field_elevation: Option<&str>) -> Weather {
        if let Some(elevation) = field_elevation {
            request["field_elevation"] = json!(elevation);
        }
        read_weather(request.to_string().as_bytes()).unwrap_or_else(|rejected| panic!("{rejected:?}"))
    }

    fn layers(rows: &[(f64, f64, f64)]) -> Value {
        let row = |(height, speed, from): &(f64, f64, f64)| json!({"height_above_sea": height, "speed": speed, "direction": from});
        json!({"layers": rows.iter().map(row).collect::<Vec<_>>()})
    }

    /// Where nobody says how high the field is, the line is the wind that the engine has between the same levels over a field
    /// of any height: also where it comes from anywhere, and of each member.
    #[test]
    fn above_the_sea_the_line_is_what_is_flown() {
        let turning =
            layers(&[(300.0, 6.0, 200.0), (900.0, 11.0, 290.0), (1800.0, 9.0, 20.0), (29_000.0, 30.0, 270.0)]);
        let lower = layers(&[(-200.0, 3.0, 100.0), (1000.0, 8.0, 280.0), (2500.0, 12.0, 300.0)]);
        // Light and variable at 6,000 ft.
        let bulletin = json!({
            "date": "2026-11-25", "station": "AAA",
            "winds_aloft": "DATA BASED ON 251200Z\nVALID 251800Z   FOR USE 1400-2100Z. TEMPS NEG ABV 24000\n\n\
                FT  3000    6000    9000   12000\n\nAAA 2314 9900+03 2725+07 2833-02\n",
        });
        let members = json!({"members": [turning, lower]});
        for (request, field, from_m, to_m) in [
            (turning.clone(), "250 m", 300.0, 29_000.0),
            (lower, "-430 m", -200.0, 2500.0),
            (bulletin, "700 m", 914.4, 3657.6),
            (members, "-430 m", 300.0, 2500.0),
        ] {
            let winds = Winds::decoded(&read(request.clone(), None));
            let over_field = read(request, Some(field));
            let elevation_m = over_field.field_elevation.unwrap().si;
            let flown = over_field.blowing().unwrap().as_reported().unwrap();
            let heights: Vec<f64> = (0..=997).map(|k| 30_000.0 * f64::from(k) / 997.0).collect();
            let line = curve(&winds, &[], &heights);
            let [low, high] = [line[0].0, line[line.len() - 1].0];
            assert!((low - f64::max(from_m, 0.0)).abs() < 31.0 && (high - to_m).abs() < 1e-6, "{low} to {high}");
            for (height_m, drawn, _) in line {
                let of = flown.iter().map(|profile| profile.mean_at(height_m - elevation_m));
                let (mut east, mut north) = (0.0, 0.0);
                for (k, mean) in of.enumerate() {
                    east += mean.towards_m_s[0] / flown.len() as f64;
                    north += mean.towards_m_s[1] / flown.len() as f64;
                    let own = mean.towards_m_s[0].hypot(mean.towards_m_s[1]);
                    assert!((winds.of_member(k, height_m) - own).abs() < 1e-9, "{k} at {height_m}");
                }
                assert!((drawn.unwrap() - east.hypot(north)).abs() < 1e-9, "{drawn:?} at {height_m}");
            }
            assert_eq!((winds.mean(from_m - 1.0), winds.mean(to_m + 1.0)), (None, None));
        }
    }
}
