//! Where one delay's flights come down: the field seen from above, north up.

use std::fmt::Write;

use super::stored::{Area, Delay, Failed, Landing, Patch, Region, Ring, Stored};
use super::svg::{
    self, Anchor, Axis, BLUE, GREY, INK, NOTE, ORANGE, Picture, WIDTH, WORDS, short, step_of, whole, width, wrapped,
};
use super::winds::{BETWEEN, Mean, Way, Winds, arrow, from};
use slowpoint_sim::constants::{FOOT_M, MILE_PER_HOUR_M_S};
use slowpoint_sim::wind::SURFACE_HEIGHT_M;

/// Left edge of the map, and the length of its side.
const LEFT: f64 = 10.0;
const SIDE: f64 = WIDTH - 2.0 * LEFT;
/// A field that would make the map so many times wider is cut at its edge, as other areas are.
const WIDEST: f64 = 2.5;
/// Regions that are drawn, and how dark each is filled.
const SHARES: [(f64, f64); 3] = [(0.99, 0.12), (0.95, 0.15), (0.5, 0.19)];
/// Where there is no area.
const PAPER: &str = "#fafafa";
/// Regions of failures.
const FAILED_SHARE: f64 = 0.95;

/// How an area is filled, by its role: ground, people and their things, water, trees.
fn fill(role: Option<&str>) -> &'static str {
    match role {
        Some("field") => "#f5f1e3",
        Some("water") => "#dbe9f2",
        Some("trees") => "#dfe8d8",
        Some("spectators" | "parking" | "road" | "building") => "#e4e0e0",
        _ => "#eeeeee",
    }
}

/// The picture as SVG.
pub fn picture(answer: &Stored, delay: &Delay, winds: Option<&Winds>) -> String {
    let site = answer.site.as_ref();
    let areas = site.map_or(&[][..], |s| &s.areas);
    let pad = site.and_then(|s| s.pad.name.as_ref()).map(|name| format!(", from pad {name}")).unwrap_or_default();
    let mut picture = Picture::new(&answer.name, &format!("Where it lands, {}{pad}", delay.label));
    let Some(landing) = &delay.landing else {
        picture.paragraph("No flight came down within the model.", WORDS, INK, false);
        return finished(picture, answer, delay, "No flight came down within the model.");
    };
    let failed: Vec<&Landing> =
        answer.failures.each.iter().flat_map(Failed::landings).map(|(landing, _)| landing).collect();
    let map = Map::about(landing, &failed, areas, picture.below + 6.0);
    let mut drawn = map.frame();
    let outlines: Vec<String> = areas.iter().map(|area| map.path(area.patches().iter())).collect();
    for (area, path) in areas.iter().zip(&outlines) {
        let colour = fill(area.role.as_deref());
        let _ = write!(drawn, "<path d=\"{path}\" fill=\"{colour}\" fill-rule=\"evenodd\"/>");
    }
    for (share, opacity) in SHARES {
        if let Some(region) = landing.regions.iter().find(|r| r.share_asked.0 == share) {
            let path = map.path(region.outline.iter());
            let _ = write!(
                drawn,
                "<path d=\"{path}\" fill=\"{BLUE}\" fill-opacity=\"{opacity}\" fill-rule=\"evenodd\" stroke=\"{BLUE}\" stroke-width=\"0.6\"/>"
            );
        }
    }
    for path in &outlines {
        let _ = write!(drawn, "<path d=\"{path}\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"0.9\"/>");
    }
    drawn += &map.union(failed.iter().flat_map(|l| &l.regions).filter(|r| r.share_asked.0 == FAILED_SHARE));
    if let Some(ellipse) = landing.ellipses.iter().find(|e| e.share_asked.0 == 0.95) {
        let path = map.path([landing.ellipse(ellipse)].iter());
        let _ = write!(
            drawn,
            "<path d=\"{path}\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"1.2\" stroke-dasharray=\"1.5 2\"/>"
        );
    }
    let mean = [landing.mean_east_m.0, landing.mean_north_m.0];
    drawn += &mean_at(map.place(mean));
    drawn += &pad_at(map.place([0.0, 0.0]));
    let apart_m = map.ring_step_m();
    drawn += &map.rings(apart_m);
    drawn += "</g>";
    picture.raw(&drawn);
    let numbers = map.numbers(areas, [[0.0, 0.0], mean]);
    for (number, at) in &numbers {
        picture.text([at[0], at[1] + 3.6], NOTE, Anchor::Middle, INK, &number.to_string());
    }
    let scale = map.scale_and_north(&mut picture);
    let mut taken: Vec<[f64; 2]> = numbers.iter().map(|(_, at)| *at).collect();
    taken.extend([map.place([0.0; 2]), map.place(mean)]);
    map.ring_names(&mut picture, apart_m, &taken, scale);
    picture.below = map.top + SIDE + 4.0;
    let blowing = winds.map(|winds| wind_at_heights(&mut picture, winds, answer)).unwrap_or_default();
    let flown_with = (!failed.is_empty()).then_some(answer.failures.flown_with.as_str());
    let told = words(&mut picture, landing, areas, flown_with);
    let ring = format!("rings about the pad, {} m ({:.0} ft) from one to the next", short(apart_m), apart_m / FOOT_M);
    picture.key(
        |[x, y]| {
            format!(
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"5\" fill=\"none\" stroke=\"{GREY}\" stroke-width=\"0.8\"/>"
            )
        },
        &ring,
    );
    let told = format!("{told} There are {ring}. {blowing}");
    finished(picture, answer, delay, &told)
}

/// How large the picture is; what the wind of one profile takes of it is always the same, and of an ensemble more.
pub fn size(answer: &Stored, label: &str, with_wind: bool) -> Option<[u32; 2]> {
    let delay = answer.delays.iter().find(|d| d.label == label)?;
    let [width, height] = svg::size(&picture(answer, delay, None))?;
    Some([width, height + if with_wind && delay.landing.is_some() { WIND_HEIGHT } else { 0 }])
}

fn finished(picture: Picture, answer: &Stored, delay: &Delay, told: &str) -> String {
    let source = format!("{} flights, {}, id {}", answer.flights, answer.engine, answer.id);
    picture.finish(&format!("{}: where it lands, {}", answer.name, delay.label), told, &answer.caution, &source)
}

/// What the wind takes: two lines of words, arrows, heights, and two lines of speeds.
const WIND_HEIGHT: u32 = 99;
/// Heights at which the wind is told below the map, at most.
const WINDS: usize = 4;

/// The mean wind near the ground and at heights up to the highest point of most flights; gives the same in words.
fn wind_at_heights(picture: &mut Picture, winds: &Winds, answer: &Stored) -> String {
    let up_m = answer.apogee.as_ref().map_or(100.0, |a| a.height_above_pad_m.p95.0);
    // Round, and as high as the flights.
    let third_m = up_m / (WINDS as f64 - 1.0);
    let round_m = step_of(0.1 * third_m);
    let step_m = (third_m / round_m).floor() * round_m;
    let heights = core::iter::once(SURFACE_HEIGHT_M).chain((1..WINDS).map(|k| step_m * k as f64));
    let at_heights: Vec<(f64, Mean)> = heights.filter_map(|z| Some((z, winds.mean(z)?))).collect();
    if at_heights.is_empty() {
        return String::new();
    }
    let vector = if winds.members > 1 { ", of the members as a vector," } else { "" };
    let title = format!("Mean wind{vector} at heights above ground, the way the air moves, north up");
    picture.paragraph(&title, NOTE, INK, false);
    let (top, wide) = (picture.below + 14.0, SIDE / WINDS as f64);
    let mut told = format!("{title}: ");
    let mut deepest = 0;
    for (k, (height_m, mean)) in at_heights.iter().enumerate() {
        let x = LEFT + wide * (k as f64 + 0.5);
        picture.raw(&arrow([x, top], mean.way(), 24.0));
        let height = format!("{} m, {:.0} ft", short(*height_m), height_m / FOOT_M);
        picture.text([x, top + 26.0], NOTE, Anchor::Middle, GREY, &height);
        let (mut lines, words) = match mean.speed_m_s() {
            Some(speed) => {
                let [m_s, mph] = [format!("{speed:.1} m/s"), format!("{:.1} mph", speed / MILE_PER_HOUR_M_S)];
                let words = format!("{m_s} {mph}, {}", from(mean.way()));
                (vec![m_s + ",", mph], words)
            }
            None => (vec!["not of one".into(), "direction".into()], BETWEEN.into()),
        };
        let _ = write!(told, "{height}: {words}");
        if let Some(spread) = winds.spread(*height_m) {
            let _ = write!(told, "; {spread}");
            lines.extend(wrapped(&spread, (wide - 6.0) / NOTE));
        }
        told += ". ";
        deepest = deepest.max(lines.len());
        for (line, text) in lines.iter().enumerate() {
            picture.text([x, top + 38.0 + 12.0 * line as f64], NOTE, Anchor::Middle, INK, text);
        }
    }
    picture.below = top + 32.0 + 12.0 * deepest as f64;
    let mut drawn = Vec::new();
    for text in at_heights.iter().filter_map(|(_, mean)| mean.ring()) {
        if !drawn.contains(&text) {
            drawn.push(text);
        }
    }
    if !drawn.is_empty() {
        picture.key(|at| arrow(at, Way::None, 24.0), &drawn.join(", or "));
    }
    told
}

/// What lies below the map: the chances, and what is drawn how; failures were flown with another delay perhaps. Gives the
/// same in one text.
fn words(picture: &mut Picture, landing: &Landing, areas: &[Area], flown_with: Option<&str>) -> String {
    let mut told = format!(
        "The mean landing is {} m east and {} m north of the pad. ",
        whole(landing.mean_east_m),
        whole(landing.mean_north_m)
    );
    for (k, (area, chances)) in areas.iter().zip(&landing.areas).enumerate() {
        let role =
            area.role.as_ref().filter(|role| **role != area.name).map(|role| format!(" ({})", role.replace('_', " ")));
        let name = format!("{}{}", area.name, role.unwrap_or_default());
        let chance = if area.role.as_deref() == Some("field") {
            format!("{name}: outside {}", chances.outside.text)
        } else {
            format!("{name}: inside {}", chances.inside.text)
        };
        picture.key(|[x, y]| number_at(x, y + 3.6, k + 1), &chance);
        let _ = write!(told, "{chance}. ");
    }
    if let Some(outside) = &landing.outside_fields {
        let text = format!("lands outside every field: {}", outside.text);
        picture.key(|_| String::new(), &text);
        let _ = write!(told, "{text}. ");
    }
    picture.key(pad_at, "the pad");
    picture.key(mean_at, "the mean landing");
    picture.key(
        |[x, y]| {
            let (left, top) = (x - 12.0, y - 5.0);
            let box_of = |from: f64, opacity: f64| {
                format!("<rect x=\"{:.1}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"10\" fill=\"{BLUE}\" fill-opacity=\"{opacity}\"/>", left + from, 24.0 - from)
            };
            SHARES.iter().enumerate().map(|(k, (_, opacity))| box_of(8.0 * k as f64, *opacity)).collect()
        },
        "99, 95 and 50 % of the flights land within the blue areas",
    );
    if landing.ellipses.iter().any(|e| e.share_asked.0 == 0.95) {
        picture.key(|at| line_at(at, INK, "1.5 2"), "ellipse of 95 %, were the landings normally distributed");
    }
    if let Some(way) = flown_with {
        let text = format!("95 % of the flights with any one failure, each failure flown by itself with {way}");
        picture.key(|at| line_at(at, ORANGE, "6 2.5"), &text);
        let _ = write!(told, "The dashed outline holds {text}.");
    }
    told
}

fn line_at([x, y]: [f64; 2], colour: &str, dashes: &str) -> String {
    format!(
        "<path d=\"M{:.1} {y:.1}h24\" stroke=\"{colour}\" stroke-width=\"1.4\" stroke-dasharray=\"{dashes}\"/>",
        x - 12.0
    )
}

fn number_at(x: f64, y: f64, number: usize) -> String {
    format!(
        "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{NOTE}\" fill=\"{INK}\" text-anchor=\"middle\" font-weight=\"bold\">{number}</text>"
    )
}

/// A triangle.
fn pad_at([x, y]: [f64; 2]) -> String {
    format!("<path d=\"M{x:.1} {:.1}l4.5 8h-9z\" fill=\"{INK}\" stroke=\"#fff\" stroke-width=\"1\"/>", y - 5.0)
}

/// A cross.
fn mean_at([x, y]: [f64; 2]) -> String {
    let cross = format!("M{:.1} {y:.1}h10M{x:.1} {:.1}v10", x - 5.0, y - 5.0);
    format!(
        "<path d=\"{cross}\" stroke=\"#fff\" stroke-width=\"4\"/><path d=\"{cross}\" stroke=\"{INK}\" stroke-width=\"1.8\"/>"
    )
}

/// A square of ground on a square of the picture.
struct Map {
    east: Axis,
    north: Axis,
    top: f64,
}

/// What holds a number of places.
#[derive(Clone, Copy)]
struct Bounds {
    low: [f64; 2],
    high: [f64; 2],
}

impl Bounds {
    fn with(mut self, ring: &Ring) -> Self {
        for place in ring {
            for ((low, high), figure) in self.low.iter_mut().zip(&mut self.high).zip(place) {
                (*low, *high) = (low.min(figure.0), high.max(figure.0));
            }
        }
        self
    }

    fn side(&self) -> f64 {
        (self.high[0] - self.low[0]).max(self.high[1] - self.low[1])
    }
}

impl Map {
    /// All landings and the pad, and the fields and areas without a role that do not make it much wider.
    fn about(landing: &Landing, failed: &[&Landing], areas: &[Area], top: f64) -> Self {
        let mut bounds = Bounds { low: [0.0; 2], high: [0.0; 2] };
        let rings = |l: &Landing| -> Vec<Ring> {
            let ellipses = l.ellipses.iter().filter(|e| e.share_asked.0 == 0.95).map(|e| l.ellipse(e));
            let regions = l.regions.iter().flat_map(|r| r.outline.clone());
            ellipses.chain(regions).map(|patch| patch.exterior_m).collect()
        };
        for ring in rings(landing).iter().chain(&failed.iter().flat_map(|l| rings(l)).collect::<Vec<_>>()) {
            bounds = bounds.with(ring);
        }
        let side = bounds.side().max(1.0);
        for area in areas.iter().filter(|area| matches!(area.role.as_deref(), Some("field") | None)) {
            let wider = area.patches().iter().fold(bounds, |b, patch| b.with(&patch.exterior_m));
            if wider.side() <= WIDEST * side {
                bounds = wider;
            }
        }
        let half = 0.53 * bounds.side().max(1.0);
        let [east, north] = [0, 1].map(|k| 0.5 * (bounds.low[k] + bounds.high[k]));
        Self {
            east: Axis { from: east - half, to: east + half, at: [LEFT, LEFT + SIDE] },
            north: Axis { from: north - half, to: north + half, at: [top + SIDE, top] },
            top,
        }
    }

    fn place(&self, [east_m, north_m]: [f64; 2]) -> [f64; 2] {
        [self.east.place(east_m), self.north.place(north_m)]
    }

    /// The edge, and the beginning of a group that is cut at it.
    fn frame(&self) -> String {
        let square = format!("x=\"{LEFT}\" y=\"{:.1}\" width=\"{SIDE}\" height=\"{SIDE}\"", self.top);
        format!(
            "<clipPath id=\"map\"><rect {square}/></clipPath><rect {square} fill=\"{PAPER}\" stroke=\"{GREY}\" stroke-width=\"0.8\"/><g clip-path=\"url(#map)\">"
        )
    }

    fn path<'a>(&self, patches: impl Iterator<Item = &'a Patch>) -> String {
        let mut path = String::new();
        for ring in patches.flat_map(|p| core::iter::once(&p.exterior_m).chain(&p.holes_m)) {
            for (k, place) in ring.iter().enumerate() {
                let [x, y] = self.place(place.map(|figure| figure.0));
                let _ = write!(path, "{}{x:.1} {y:.1}", if k == 0 { 'M' } else { 'L' });
            }
            path.push('Z');
        }
        path
    }

    /// The outline of all regions together: what of each one's line lies in no other.
    fn union<'a>(&self, regions: impl Iterator<Item = &'a Region>) -> String {
        let paths: Vec<String> = regions.map(|r| self.path(r.outline.iter())).collect();
        if paths.is_empty() {
            return String::new();
        }
        let square = format!("x=\"{LEFT}\" y=\"{:.1}\" width=\"{SIDE}\" height=\"{SIDE}\"", self.top);
        let mut text =
            format!("<mask id=\"outside\" maskUnits=\"userSpaceOnUse\" {square}><rect {square} fill=\"#fff\"/>");
        for path in &paths {
            let _ = write!(text, "<path d=\"{path}\" fill-rule=\"evenodd\"/>");
        }
        text += "</mask><g mask=\"url(#outside)\">";
        for path in &paths {
            let _ = write!(
                text,
                "<path d=\"{path}\" fill=\"none\" stroke=\"{ORANGE}\" stroke-width=\"3.2\" stroke-dasharray=\"6 2.5\"/>"
            );
        }
        text + "</g>"
    }

    /// A number for each area, where as much of it as can be seen lies about the place and no other number does.
    fn numbers(&self, areas: &[Area], marks: [[f64; 2]; 2]) -> Vec<(usize, [f64; 2])> {
        let mut taken = marks.map(|mark| self.place(mark)).to_vec();
        let mut numbers = Vec::new();
        for (k, area) in areas.iter().enumerate() {
            let rings: Vec<Vec<[f64; 2]>> = area
                .patches()
                .iter()
                .flat_map(|p| core::iter::once(&p.exterior_m).chain(&p.holes_m))
                .map(|ring| ring.iter().map(|place| self.place(place.map(|figure| figure.0))).collect())
                .collect();
            let free = |at: &[f64; 2]| {
                let near = |other: &[f64; 2]| (other[0] - at[0]).abs() < 15.0 && (other[1] - at[1]).abs() < 12.0;
                !taken.iter().any(near)
            };
            if let Some(at) = place_in(&rings, self.top, &free) {
                taken.push(at);
                numbers.push((k + 1, at));
            }
        }
        numbers
    }

    /// From one ring to the next, m.
    fn ring_step_m(&self) -> f64 {
        step_of((self.east.to - self.east.from) / 6.0)
    }

    /// Distances of the rings from the pad: none is farther than the farthest corner.
    fn rings_m(&self, apart_m: f64) -> impl Iterator<Item = f64> {
        let far = |axis: &Axis| axis.from.abs().max(axis.to.abs());
        let farthest = far(&self.east).hypot(far(&self.north));
        (1..=(farthest / apart_m) as u32).map(move |k| apart_m * f64::from(k))
    }

    fn rings(&self, apart_m: f64) -> String {
        let [x, y] = self.place([0.0; 2]);
        let units_a_metre = SIDE / (self.east.to - self.east.from);
        let ring = |r: f64| {
            format!(
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{:.1}\" fill=\"none\" stroke=\"{GREY}\" stroke-width=\"0.5\"/>",
                r * units_a_metre
            )
        };
        self.rings_m(apart_m).map(ring).collect()
    }

    /// What each ring is called, where there is room: clear of marks, numbers, the scale (its right end) and the north arrow.
    fn ring_names(&self, picture: &mut Picture, apart_m: f64, taken: &[[f64; 2]], scale: f64) {
        const BEARINGS: u32 = 24;
        let right = LEFT + SIDE;
        let bottom = self.top + SIDE;
        for r in self.rings_m(apart_m) {
            let text = format!("{} m", short(r));
            let half = 0.5 * NOTE * width(&text) + 2.0;
            let free = |[x, y]: &[f64; 2]| {
                let within = x - half > LEFT + 2.0 && x + half < right - 2.0 && y - 12.0 > self.top && y + 6.0 < bottom;
                let of_scale = x - half < scale && *y > bottom - 40.0;
                let of_north = x + half > right - 28.0 && *y < self.top + 54.0;
                within
                    && !of_scale
                    && !of_north
                    && taken.iter().all(|t| (t[0] - x).abs() > half + 10.0 || (t[1] - y).abs() > 18.0)
            };
            let mut at = (0..BEARINGS).map(|k| {
                let (east, north) = (core::f64::consts::TAU * (0.5 + f64::from(k)) / f64::from(BEARINGS)).sin_cos();
                self.place([r * east, r * north])
            });
            // The first from north on, so that the names of rings stand in a row.
            if let Some([x, y]) = at.find(free) {
                picture.text([x, y + 3.5], NOTE, Anchor::Middle, GREY, &text);
            }
        }
    }

    /// Gives where the scale ends.
    fn scale_and_north(&self, picture: &mut Picture) -> f64 {
        let metres_a_unit = (self.east.to - self.east.from) / SIDE;
        let long_m = step_of(60.0 * metres_a_unit);
        let length = long_m / metres_a_unit;
        let (x, y) = (LEFT + 8.0, self.top + SIDE - 8.0);
        let bar = format!("M{x} {:.1}v4h{length:.1}v-4", y - 4.0);
        picture.raw(&format!(
            "<path d=\"{bar}\" fill=\"none\" stroke=\"#fff\" stroke-width=\"4\"/><path d=\"{bar}\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"1.4\"/>"
        ));
        let text = format!("{} m ({:.0} ft)", short(long_m), long_m / FOOT_M);
        picture.text([x, y - 8.0], NOTE, Anchor::Start, INK, &text);
        let (x, y) = (LEFT + SIDE - 14.0, self.top + 12.0);
        picture.raw(&format!("<path d=\"M{x} {y:.1}l5 12-5-3-5 3z\" fill=\"{INK}\" stroke=\"#fff\"/>"));
        picture.text([x, y + 24.0], NOTE, Anchor::Middle, INK, "N");
        LEFT + 12.0 + length.max(NOTE * width(&text))
    }
}

/// The place inside rings, and inside the map, that is farthest from every edge; looked for on a grid. A place that is
/// free comes before one that is not.
fn place_in(rings: &[Vec<[f64; 2]>], top: f64, free: &dyn Fn(&[f64; 2]) -> bool) -> Option<[f64; 2]> {
    const STEP: f64 = 6.0;
    const STEPS: i32 = (SIDE / STEP) as i32;
    let edges = || rings.iter().flat_map(|ring| ring.windows(2).map(|e| (e[0], e[1])));
    let inside = |at: [f64; 2]| {
        edges().fold(false, |inside, (a, b)| {
            let across = (a[1] > at[1]) != (b[1] > at[1]);
            inside ^ (across && at[0] < a[0] + (at[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]))
        })
    };
    let room = |at: [f64; 2]| {
        let to_frame = (at[0] - LEFT).min(LEFT + SIDE - at[0]).min(at[1] - top).min(top + SIDE - at[1]);
        edges().map(|(a, b)| from_edge(at, a, b)).fold(to_frame, f64::min)
    };
    let grid =
        (1..STEPS).flat_map(|i| (1..STEPS).map(move |j| [LEFT + STEP * f64::from(i), top + STEP * f64::from(j)]));
    let narrow = edges()
        .map(|(a, b)| [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])])
        .filter(|at| at[0] > LEFT + 6.0 && at[0] < LEFT + SIDE - 6.0 && at[1] > top + 6.0 && at[1] < top + SIDE - 6.0);
    let best = grid
        .filter(|at| inside(*at))
        .map(|at| ((free(&at), room(at)), at))
        .max_by(|a, b| a.0.0.cmp(&b.0.0).then(a.0.1.total_cmp(&b.0.1)));
    // What is narrower than the grid gets its number on the middle of an edge.
    best.map(|(_, at)| at).or_else(|| narrow.max_by_key(|at| free(at)))
}

fn from_edge(at: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let along = [b[0] - a[0], b[1] - a[1]];
    let square = along[0] * along[0] + along[1] * along[1];
    let share = if square > 0.0 { ((at[0] - a[0]) * along[0] + (at[1] - a[1]) * along[1]) / square } else { 0.0 };
    let nearest = [0, 1].map(|k| a[k] + share.clamp(0.0, 1.0) * along[k]);
    (at[0] - nearest[0]).hypot(at[1] - nearest[1])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::svg::{contrast, light};

    /// WCAG's 3:1 (1.4.11) of every line against what it may be drawn on: each ground with the regions one on another.
    #[test]
    fn lines_stand_out() {
        let parts = |colour: &str| [1, 3, 5].map(|k| f64::from(u8::from_str_radix(&colour[k..k + 2], 16).unwrap_or(0)));
        assert!(light("#ffffff") == [1.0; 3] && parts("#0a0000")[0] == 10.0);
        let roles = [None, Some("field"), Some("water"), Some("trees"), Some("road")];
        for ground in roles.map(fill).into_iter().chain([PAPER]) {
            let mut colour = parts(ground);
            for (share, opacity) in SHARES {
                let blue = parts(BLUE);
                colour = [0, 1, 2].map(|k| opacity * blue[k] + (1.0 - opacity) * colour[k]);
                let [r, g, b] = colour.map(|c| c.round() as u8);
                let filled = format!("#{r:02x}{g:02x}{b:02x}");
                for line in [BLUE, ORANGE, INK, GREY] {
                    let found = contrast(line, &filled);
                    assert!(found >= 3.0, "{line} on {ground} within {share}: {found}");
                }
            }
        }
    }
}
