//! A handful of flights from the side: height against distance along the ground from the pad, with where they open.

use std::fmt::Write;

use super::stored::Stored;
use super::svg::{Anchor, Axis, BLUE, GREY, GRID, INK, NOTE, ORANGE, Picture, WIDTH, short, tenths, whole};
use crate::wire::{Figure, FlightAnswer, FlownDelay};
use slowpoint_sim::constants::MILE_PER_HOUR_M_S;
use slowpoint_sim::told;

/// Left and right end of the plot.
const LEFT: f64 = 42.0;
const RIGHT: f64 = WIDTH - 14.0;
/// Height of the plot at most, and at least.
const MOST: f64 = 330.0;
const LEAST: f64 = 60.0;
/// What a number takes along the ground.
const NUMBER: f64 = 17.0;

/// How large it mostly is: how far up and away flights come is known once they are flown.
pub const USUAL_SIZE: [u32; 2] = [360, 920];

/// The flights that are drawn: the first so many by their numbers ...
pub const FIRST: u64 = 6;
/// ... and the one that opens fastest of so many.
pub const AMONG: u64 = 64;

/// A flight flown again, and what it did deployed the way that is drawn.
pub struct Drawn {
    /// The whole flight.
    pub flight: FlightAnswer,
    /// Which of its ways of deploying.
    pub way: usize,
    /// Whether it opens fastest of those that were looked at.
    pub fastest: bool,
}

/// What limits are held against, in words.
fn place(stretch: bool) -> &'static str {
    if stretch { "line stretch" } else { "ejection" }
}

impl Drawn {
    fn flown(&self) -> &FlownDelay {
        &self.flight.delays[self.way]
    }

    /// The airspeed that limits are held against, m/s; none where nothing opens in the air.
    pub fn opening_m_s(&self, stretch: bool) -> Option<Figure> {
        let at = self.flown().ejection?;
        Some(if stretch { at.line_stretch_airspeed_m_s } else { at.airspeed_m_s })
    }

    /// Where it is at a time: distance from the pad along the ground and height, m.
    fn at(&self, time_s: f64) -> [f64; 2] {
        let path = &self.flight.path;
        let k = path.partition_point(|p| p.time_s.0 <= time_s).clamp(1, path.len().max(2) - 1);
        let (Some(low), Some(high)) = (path.get(k - 1), path.get(k)) else { return [0.0; 2] };
        let w = ((time_s - low.time_s.0) / (high.time_s.0 - low.time_s.0)).clamp(0.0, 1.0);
        let between = |a: Figure, b: Figure| a.0 + (b.0 - a.0) * w;
        let [east, north] = [between(low.east_m, high.east_m), between(low.north_m, high.north_m)];
        [east.hypot(north), between(low.height_above_pad_m, high.height_above_pad_m)]
    }

    /// The path as far as it is flown without anything open.
    fn path(&self) -> Vec<[f64; 2]> {
        let end_s = self.flown().ejection.map_or(f64::INFINITY, |at| at.time_s.0);
        let before = self.flight.path.iter().filter(|p| p.time_s.0 < end_s);
        let mut path: Vec<[f64; 2]> = before.map(|p| [p.east_m.0.hypot(p.north_m.0), p.height_above_pad_m.0]).collect();
        if end_s.is_finite() {
            path.push(self.at(end_s));
        }
        path
    }

    /// Distance of the landing, m.
    fn lands_m(&self) -> Option<f64> {
        self.flown().landing.map(|l| l.east_m.0.hypot(l.north_m.0)).filter(|m| m.is_finite())
    }

    /// Whether it comes to its highest point before anything opens.
    fn culminates(&self) -> bool {
        self.flown().ejection.is_none_or(|at| at.after_apogee_s.0 >= 0.0)
    }

    fn in_words(&self, stretch: bool) -> String {
        let reaches = if self.culminates() { "highest" } else { "would reach" };
        let mut text = format!("{reaches} {}", told::length(self.flight.apogee_height_above_pad_m.0, 0));
        match (self.flown().ejection, self.opening_m_s(stretch)) {
            (Some(at), Some(speed)) => {
                let after_s = at.after_apogee_s.0;
                let when = if after_s < 0.0 { "before" } else { "after" };
                let _ = write!(
                    text,
                    "; {} m/s ({:.1} mph) at {}, ejected {:.1} s {when} that, {} m up",
                    tenths(speed),
                    speed.0 / MILE_PER_HOUR_M_S,
                    place(stretch),
                    after_s.abs(),
                    whole(at.height_above_pad_m)
                );
            }
            _ => text += &format!("; {}", self.flown().meaning),
        }
        match self.lands_m() {
            Some(m) => text += &format!("; lands {} from the pad", told::length(m, 0)),
            None => text += "; no landing",
        }
        if self.fastest {
            text += "; the fastest opening of those that were looked at";
        }
        text
    }
}

/// The picture as SVG: of so many flights that were looked at.
pub fn picture(answer: &Stored, label: &str, flights: &[Drawn], looked_at: u64) -> String {
    let stretch = answer.at_line_stretch();
    let mut picture = Picture::new(&answer.name, &format!("Flights from the side, {label}"));
    let rule = format!(
        "Flights 0 to {}, and of the first {looked_at} the one with the fastest opening: examples, not the most and the least that may come.",
        FIRST.min(answer.flights).saturating_sub(1)
    );
    picture.paragraph(&rule, NOTE, INK, false);
    let paths: Vec<Vec<[f64; 2]>> = flights.iter().map(Drawn::path).collect();
    let far = paths.iter().flatten().map(|p| p[0]).chain(flights.iter().filter_map(Drawn::lands_m)).fold(1.0, f64::max);
    let high = paths.iter().flatten().map(|p| p[1]).fold(1.0, f64::max);
    let scale = ((RIGHT - LEFT) / (1.06 * far)).min(MOST / (1.06 * high));
    let height = (1.06 * high * scale).max(LEAST);
    let top = picture.below + 16.0;
    let up = Axis { from: 0.0, to: height / scale, at: [top + height, top] };
    let along = Axis { from: 0.0, to: (RIGHT - LEFT) / scale, at: [LEFT, RIGHT] };
    axes(&mut picture, &along, &up);
    for (drawn, path) in flights.iter().zip(&paths) {
        picture.raw(&path_of(drawn, path, &along, &up));
    }
    let ground = up.at[0];
    for (drawn, at) in flights.iter().zip(spread(flights, &along)) {
        let (Some(at), Some(lands_m)) = (at, drawn.lands_m()) else { continue };
        let x = along.place(lands_m);
        picture.raw(&format!(
            "<path d=\"M{x:.1} {ground:.1}v3L{at:.1} {:.1}\" fill=\"none\" stroke=\"{GREY}\" stroke-width=\"0.8\"/>",
            ground + 10.0
        ));
        picture.raw(&number_at([at, ground + 20.0], drawn));
    }
    picture.below = ground + 52.0;
    let mut told = format!("{rule} ");
    for drawn in flights {
        let words = drawn.in_words(stretch);
        picture.key(|[x, y]| number_at([x, y + 3.6], drawn), &words);
        let _ = write!(told, "Flight {}: {words}. ", drawn.flight.flight);
    }
    keys(&mut picture);
    let source = format!("{} flights, {}, id {}", answer.flights, answer.engine, answer.id);
    picture.finish(&format!("{}: flights from the side, {label}", answer.name), &told, &answer.caution, &source)
}

fn axes(picture: &mut Picture, along: &Axis, up: &Axis) {
    let (ground, top) = (up.at[0], up.at[1]);
    for z in up.ticks(30.0) {
        let y = up.place(z);
        picture.raw(&format!("<path d=\"M{LEFT} {y:.1}H{RIGHT}\" stroke=\"{GRID}\" stroke-width=\"0.7\"/>"));
        picture.text([LEFT - 4.0, y + 3.5], NOTE, Anchor::End, INK, &short(z));
    }
    picture.raw(&format!("<path d=\"M{LEFT} {top:.1}V{ground:.1}H{RIGHT}\" fill=\"none\" stroke=\"{GREY}\"/>"));
    picture.text([LEFT - 4.0, top - 7.0], NOTE, Anchor::End, INK, "m up");
    for d in along.ticks(44.0) {
        let x = along.place(d);
        picture.raw(&format!("<path d=\"M{x:.1} {ground:.1}v-4\" stroke=\"{GREY}\"/>"));
        if x < RIGHT - 10.0 {
            picture.text([x, ground + 34.0], NOTE, Anchor::Middle, INK, &short(d));
        }
    }
    let middle = 0.5 * (LEFT + RIGHT);
    picture.text([middle, ground + 47.0], NOTE, Anchor::Middle, INK, "m along the ground from the pad, any direction");
}

fn colour(drawn: &Drawn) -> &'static str {
    if drawn.fastest { ORANGE } else { BLUE }
}

fn path_of(drawn: &Drawn, path: &[[f64; 2]], along: &Axis, up: &Axis) -> String {
    let place = |[d, z]: [f64; 2]| [along.place(d), up.place(z)];
    let points: Vec<String> = path.iter().map(|p| place(*p)).map(|[x, y]| format!("{x:.1} {y:.1}")).collect();
    let colour = colour(drawn);
    let mut text = String::new();
    if points.len() > 1 {
        let _ =
            write!(text, "<path d=\"M{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.4\"/>", points.join("L"));
    }
    if drawn.culminates() {
        text += &apogee_at(place(drawn.at(drawn.flight.apogee_s.0)), colour);
    }
    if let (Some(at), Some(end)) = (drawn.flown().ejection, path.last()) {
        let [x, y] = place([end[0], at.height_above_pad_m.0]);
        if let Some(lands_m) = drawn.lands_m() {
            let [to_x, to_y] = place([lands_m, 0.0]);
            let _ = write!(
                text,
                "<path d=\"M{x:.1} {y:.1}L{to_x:.1} {to_y:.1}\" stroke=\"{colour}\" stroke-width=\"1\" stroke-dasharray=\"3 3\"/>"
            );
        }
        text += &opening_at([x, y], colour);
    }
    text
}

/// Where the numbers stand along the ground: each as near to its landing as the others let it.
fn spread(flights: &[Drawn], along: &Axis) -> Vec<Option<f64>> {
    let mut order: Vec<(usize, f64)> =
        flights.iter().enumerate().filter_map(|(k, d)| Some((k, along.place(d.lands_m()?)))).collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut least = LEFT;
    for (_, x) in &mut order {
        *x = x.max(least);
        least = *x + NUMBER;
    }
    let mut most = RIGHT - 4.0;
    for (_, x) in order.iter_mut().rev() {
        *x = x.min(most);
        most = *x - NUMBER;
    }
    let mut places = vec![None; flights.len()];
    for (k, x) in order {
        places[k] = Some(x);
    }
    places
}

fn number_at([x, y]: [f64; 2], drawn: &Drawn) -> String {
    format!(
        "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{NOTE}\" fill=\"{}\" text-anchor=\"middle\" font-weight=\"bold\">{}</text>",
        colour(drawn),
        drawn.flight.flight
    )
}

fn apogee_at([x, y]: [f64; 2], colour: &str) -> String {
    format!("<path d=\"M{:.1} {y:.1}h8M{x:.1} {:.1}v4\" stroke=\"{colour}\" stroke-width=\"1.2\"/>", x - 4.0, y - 4.0)
}

fn opening_at([x, y]: [f64; 2], colour: &str) -> String {
    format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.4\" fill=\"{colour}\" stroke=\"#fff\" stroke-width=\"1\"/>")
}

fn keys(picture: &mut Picture) {
    picture.below += 4.0;
    let line = |[x, y]: [f64; 2], dashes: &str| {
        format!("<path d=\"M{:.1} {y:.1}h24\" stroke=\"{BLUE}\" stroke-width=\"1.4\"{dashes}/>", x - 12.0)
    };
    picture.key(
        |at| line(at, ""),
        "as it flies until the ejection, or to the ground where nothing opens; height and distance on one scale",
    );
    picture.key(|at| apogee_at(at, BLUE), "the highest point, where nothing opens before it");
    picture.key(|at| opening_at(at, BLUE), "the ejection");
    picture.key(
        |at| line(at, " stroke-dasharray=\"3 3\""),
        "from the ejection to where it lands: its two ends, not the way between",
    );
}
