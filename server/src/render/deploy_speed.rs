//! The airspeed at opening against the delay, with its spread and the limits, and below it the chance of an unsafe opening.

use std::fmt::Write;

use super::stored::{Band, CurvePoint, Delay, Figures, Limit, Stored};
use super::svg::{
    self, Anchor, Axis, BLUE, BLUE_BAND, BLUE_MIDDLE, BLUE_PALE, GREY, GRID, INK, NOTE, ORANGE, Picture, short, tenths,
};
use slowpoint_sim::constants::MILE_PER_HOUR_M_S;
use slowpoint_sim::stat::interval;
use slowpoint_sim::until;

/// Left and right end of the plots.
const LEFT: f64 = 40.0;
/// See `LEFT`.
pub(super) const RIGHT: f64 = 322.0;
/// Both.
const SIDES: [f64; 2] = [LEFT, RIGHT];
const SPEED_HEIGHT: f64 = 190.0;
const CHANCE_HEIGHT: f64 = 120.0;
/// Room for one altimeter beside the delays.
const LETTER_WIDTH: f64 = 26.0;
/// Curves that can be told apart; colour, dashes.
const CURVES: [(&str, &str); 3] = [(BLUE, ""), (ORANGE, "6 3"), (INK, "2 3")];

/// The picture as SVG.
pub fn picture(answer: &Stored) -> String {
    let stretch = answer.at_line_stretch();
    let what = if stretch { "Airspeed at line stretch" } else { "Airspeed at ejection" };
    let (along, electronic) = columns(answer, SIDES);
    let against = if along.at[0] < along.at[1] { "against the delay of the motor's charge" } else { "by what fires" };
    let mut picture = Picture::new(&answer.name, &format!("{what}, {against}"));
    let speed = |d: &Delay| {
        let at = d.at_ejection.as_ref()?;
        Some(if stretch { at.line_stretch_airspeed_m_s } else { at.airspeed_m_s })
    };
    speeds(&mut picture, answer, &along, &electronic, &speed);
    chances(&mut picture, answer, &along);
    let mut told = format!("{what}, median and what 90 % of the flights lie between, m/s. ");
    for delay in &answer.delays {
        let _ = match speed(delay) {
            Some(s) => write!(told, "{}: {}, {} to {}. ", delay.label, tenths(s.p50), tenths(s.p05), tenths(s.p95)),
            None => write!(told, "{}: no flight ejected in the air. ", delay.label),
        };
    }
    let limits: Vec<String> = answer.limits.iter().map(|l| limit(l.limit_m_s.0, l.limit_mph.0)).collect();
    let _ = write!(told, "Limits: {}.", limits.join(", "));
    for (delay, letter) in &electronic {
        picture.key(|[x, y]| letter_at(x, y + 3.5, letter), &delay.label);
    }
    for delay in answer.delays.iter().filter(|d| speed(d).is_none()) {
        picture.key(|_| String::new(), &format!("{}: no flight ejected in the air", delay.label));
    }
    let source = format!("{} flights, {}, id {}", answer.flights, answer.engine, answer.id);
    picture.finish(&format!("{}: {}", answer.name, what.to_lowercase()), &told, &answer.caution, &source)
}

fn limit(m_s: f64, mph: f64) -> String {
    format!("{} mph ({:.1} m/s)", short(mph), m_s)
}

pub(super) fn letter_at(x: f64, y: f64, letter: &str) -> String {
    format!(
        "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{NOTE}\" fill=\"{INK}\" text-anchor=\"middle\" font-weight=\"bold\">{letter}</text>"
    )
}

/// The axis of delays between two sides, and what deploys otherwise, with a letter each.
pub(super) fn columns(answer: &Stored, [left, right]: [f64; 2]) -> (Axis, Vec<(&Delay, String)>) {
    let electronic: Vec<(&Delay, String)> = answer
        .delays
        .iter()
        .filter(|d| d.alone_s().is_none())
        .enumerate()
        .map(|(k, d)| {
            let letter = char::from(b'A' + (k % 26) as u8);
            (d, if k < 26 { letter.to_string() } else { format!("{letter}{letter}") })
        })
        .collect();
    let asked = answer.delays.iter().filter_map(Delay::alone_s);
    let (low, high) = asked
        .chain(answer.delay_curve.iter().filter_map(|p| p.delay_s.rounded()))
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), s| (low.min(s), high.max(s)));
    if low > high {
        // With no such delay the altimeters have the whole width.
        return (Axis { from: 0.0, to: 1.0, at: [left, left] }, electronic);
    }
    let room = (LETTER_WIDTH * electronic.len() as f64).min(0.6 * (right - left));
    let margin = (0.04 * (high - low)).max(0.5);
    (Axis { from: low - margin, to: high + margin, at: [left, right - room] }, electronic)
}

fn speeds(
    picture: &mut Picture,
    answer: &Stored,
    along: &Axis,
    electronic: &[(&Delay, String)],
    speed: &dyn Fn(&Delay) -> Option<Figures>,
) {
    let top = picture.below + 20.0;
    let bottom = top + SPEED_HEIGHT;
    let bands = bands(answer, speed);
    let greatest = answer
        .delays
        .iter()
        .filter_map(speed)
        .chain(bands.iter().map(|(_, s)| *s))
        .filter_map(|s| s.p95.rounded())
        .chain(answer.limits.iter().map(|l| l.limit_m_s.0))
        .fold(1.0, f64::max);
    let up = Axis { from: 0.0, to: 1.08 * greatest, at: [bottom, top] };
    let mph = Axis { to: up.to / MILE_PER_HOUR_M_S, ..up };
    frame(picture, along, SIDES, [top, bottom]);
    for m_s in up.ticks(24.0) {
        let y = up.place(m_s);
        rule(picture, y, SIDES, GRID, "");
        picture.text([LEFT - 4.0, y + 3.5], NOTE, Anchor::End, INK, &short(m_s));
    }
    for value in mph.ticks(24.0) {
        picture.text([RIGHT + 4.0, mph.place(value) + 3.5], NOTE, Anchor::Start, INK, &short(value));
    }
    picture.text([LEFT - 4.0, top - 7.0], NOTE, Anchor::End, INK, "m/s");
    picture.text([RIGHT + 4.0, top - 7.0], NOTE, Anchor::Start, INK, "mph");
    let mut places: Vec<(f64, &Delay)> =
        answer.delays.iter().filter_map(|d| Some((along.place(d.alone_s()?), d))).collect();
    let each = (RIGHT - along.at[1]) / electronic.len().max(1) as f64;
    for (k, (delay, letter)) in electronic.iter().enumerate() {
        let x = along.at[1] + (k as f64 + 0.5) * each;
        places.push((x, delay));
        picture.raw(&letter_at(x, bottom + 13.0, letter));
    }
    places.sort_by(|a, b| a.0.total_cmp(&b.0));
    // What is drawn in each stretch, which labels keep clear of: left, right, bottom, top.
    let mut drawn = band(picture, &bands, along, &up);
    let bands_drawn = drawn.len();
    let nearest = places.windows(2).map(|p| p[1].0 - p[0].0).fold(28.0, f64::min);
    let width = (0.6 * nearest).max(1.5);
    for (x, delay) in &places {
        if let Some(s) = speed(delay) {
            let y = [s.p05, s.p25, s.p50, s.p75, s.p95].map(|q| up.place(q.0));
            picture.raw(&bar(*x, y, width));
            drawn.push([x - 0.5 * width, x + 0.5 * width, y[0], y[4]]);
        }
    }
    for l in &answer.limits {
        rule(picture, up.place(l.limit_m_s.0), SIDES, ORANGE, "6 3");
        drawn.push([LEFT, RIGHT, up.place(l.limit_m_s.0), up.place(l.limit_m_s.0)]);
    }
    for l in &answer.limits {
        let (y, text) = (up.place(l.limit_m_s.0) - 3.5, format!("{} mph", short(l.limit_mph.0)));
        let wide = NOTE * svg::width(&text) + 3.0;
        let label = |x: f64| [x - 2.0, x + wide, y + 2.0, y - NOTE];
        let places = || (0..).map(|k| LEFT + 4.0 + 4.0 * f64::from(k)).take_while(|x| x + wide < RIGHT);
        let clear = |x: &f64, of: &[[f64; 4]]| of.iter().all(|other| apart(label(*x), *other));
        // Without room beside the bands it stands on them: of two lines alike one without a name would take the other's. What has
        // no room there either is left to the words below.
        let place = places().find(|x| clear(x, &drawn)).or_else(|| places().find(|x| clear(x, &drawn[bands_drawn..])));
        if let Some(x) = place {
            picture.text([x, y], NOTE, Anchor::Start, ORANGE, &text);
            drawn.push(label(x));
        }
    }
    picture.below = bottom + 30.0;
    picture.key(
        |[x, y]| lying(y, [-12.0, -5.0, 0.0, 5.0, 12.0].map(|off| x + off)),
        "of the flights that eject in the air 90 % lie within the pale bar, half within the dark one; the line is the median",
    );
    if !bands.is_empty() {
        picture.key(
            |[x, y]| sample([x, y]),
            "the same at delays that were not asked, straight between those that were flown",
        );
    }
    picture.key(
        |[x, y]| {
            format!(
                "<path d=\"M{:.1} {y:.1}h24\" stroke=\"{ORANGE}\" stroke-width=\"1.6\" stroke-dasharray=\"6 3\"/>",
                x - 12.0
            )
        },
        &format!(
            "limits: {}",
            answer.limits.iter().map(|l| limit(l.limit_m_s.0, l.limit_mph.0)).collect::<Vec<_>>().join(", ")
        ),
    );
}

/// Whether two boxes have nothing in common: left, right, bottom, top.
fn apart(one: [f64; 4], other: [f64; 4]) -> bool {
    one[1] < other[0] || other[1] < one[0] || one[2] < other[3] || other[2] < one[3]
}

/// The quantiles against the delay, where the answer has them: on its curve, and at the delays asked.
fn bands(answer: &Stored, speed: &dyn Fn(&Delay) -> Option<Figures>) -> Vec<(f64, Figures)> {
    let of_curve = answer.delay_curve.iter().filter_map(|p| Some((p.delay_s.0, p.opening_airspeed_m_s?)));
    let mut all: Vec<(f64, Figures)> = of_curve.collect();
    // Without a curve nothing is known of what lies between.
    if !all.is_empty() {
        all.extend(answer.delays.iter().filter_map(|d| Some((d.alone_s()?, speed(d)?))));
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all.dedup_by_key(|point| point.0);
    all
}

/// Draws them; gives the box of each stretch between two delays.
fn band(picture: &mut Picture, bands: &[(f64, Figures)], along: &Axis, up: &Axis) -> Vec<[f64; 4]> {
    let places = |quantile: fn(&Figures) -> f64| -> Vec<[f64; 2]> {
        bands.iter().map(|(delay_s, s)| [along.place(*delay_s), up.place(quantile(s))]).collect()
    };
    if bands.is_empty() {
        return Vec::new();
    }
    let edges = [places(|s| s.p05.0), places(|s| s.p95.0), places(|s| s.p25.0), places(|s| s.p75.0)];
    picture.raw(&swath(&edges[0], &edges[1], BLUE_BAND));
    picture.raw(&swath(&edges[2], &edges[3], BLUE_PALE));
    picture.raw(&line(&places(|s| s.p50.0), BLUE, 1.2, ""));
    let stretch = |(low, high): (&[[f64; 2]], &[[f64; 2]])| {
        [low[0][0], low[1][0], low[0][1].max(low[1][1]), high[0][1].min(high[1][1])]
    };
    edges[0].windows(2).zip(edges[1].windows(2)).map(stretch).collect()
}

/// What lies between two lines, with its edges.
fn swath(low: &[[f64; 2]], high: &[[f64; 2]], colour: &str) -> String {
    let back: Vec<[f64; 2]> = high.iter().rev().copied().collect();
    format!(
        "<path d=\"M{}L{}Z\" fill=\"{colour}\"/>{}{}",
        joined(low),
        joined(&back),
        line(low, BLUE, 0.6, ""),
        line(high, BLUE, 0.6, "")
    )
}

fn joined(places: &[[f64; 2]]) -> String {
    places.iter().map(|[x, y]| format!("{x:.1} {y:.1}")).collect::<Vec<_>>().join("L")
}

fn line(places: &[[f64; 2]], colour: &str, width: f64, dashes: &str) -> String {
    let dashes = if dashes.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{dashes}\"") };
    format!("<path d=\"M{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\"{dashes}/>", joined(places))
}

/// A piece of the bands, for the key.
fn sample([x, y]: [f64; 2]) -> String {
    let at = |off: f64| [[x - 12.0, y + off], [x + 12.0, y + off]];
    format!(
        "{}{}{}",
        swath(&at(5.0), &at(-5.0), BLUE_BAND),
        swath(&at(2.5), &at(-2.5), BLUE_PALE),
        line(&at(0.0), BLUE, 1.2, "")
    )
}

/// Bars and median at a delay.
pub(super) fn bar(x: f64, [p05, p25, p50, p75, p95]: [f64; 5], width: f64) -> String {
    let part = |from: f64, to: f64, colour: &str| {
        let (left, height) = (x - 0.5 * width, (from - to).max(0.5));
        format!(
            "<rect x=\"{left:.1}\" y=\"{to:.1}\" width=\"{width:.1}\" height=\"{height:.1}\" fill=\"{colour}\" stroke=\"{BLUE}\" stroke-width=\"0.6\"/>"
        )
    };
    format!(
        "{}{}<path d=\"M{:.1} {p50:.1}h{width:.1}\" stroke=\"{BLUE}\" stroke-width=\"2.4\"/>",
        part(p05, p95, BLUE_PALE),
        part(p25, p75, BLUE_MIDDLE),
        x - 0.5 * width
    )
}

/// The same lying down, for the key.
pub(super) fn lying(y: f64, [p05, p25, p50, p75, p95]: [f64; 5]) -> String {
    let width = 9.0;
    let part = |from: f64, to: f64, colour: &str| {
        let (top, length) = (y - 0.5 * width, to - from);
        format!(
            "<rect x=\"{from:.1}\" y=\"{top:.1}\" width=\"{length:.1}\" height=\"{width:.1}\" fill=\"{colour}\" stroke=\"{BLUE}\" stroke-width=\"0.6\"/>"
        )
    };
    format!(
        "{}{}<path d=\"M{p50:.1} {:.1}v{width:.1}\" stroke=\"{BLUE}\" stroke-width=\"2.4\"/>",
        part(p05, p95, BLUE_PALE),
        part(p25, p75, BLUE_MIDDLE),
        y - 0.5 * width
    )
}

pub(super) fn rule(picture: &mut Picture, y: f64, [left, right]: [f64; 2], colour: &str, dashes: &str) {
    let (dashes, width) =
        if dashes.is_empty() { (String::new(), 0.7) } else { (format!(" stroke-dasharray=\"{dashes}\""), 1.6) };
    picture.raw(&format!("<path d=\"M{left} {y:.1}H{right}\" stroke=\"{colour}\" stroke-width=\"{width}\"{dashes}/>"));
}

/// Two sides and the bottom line with the delays on it.
pub(super) fn frame(picture: &mut Picture, along: &Axis, [left, right]: [f64; 2], [top, bottom]: [f64; 2]) {
    picture
        .raw(&format!("<path d=\"M{left} {top:.1}V{bottom:.1}H{right}V{top:.1}\" fill=\"none\" stroke=\"{GREY}\"/>"));
    // Without any delay of a motor alone there is nothing to write.
    if along.at[0] == along.at[1] {
        return;
    }
    for delay_s in along.ticks(30.0) {
        let x = along.place(delay_s);
        picture.raw(&format!("<path d=\"M{x:.1} {bottom:.1}v3\" stroke=\"{GREY}\"/>"));
        picture.text([x, bottom + 13.0], NOTE, Anchor::Middle, INK, &short(delay_s));
    }
    let middle = 0.5 * (along.at[0] + along.at[1]);
    picture.text([middle, bottom + 26.0], NOTE, Anchor::Middle, INK, "delay after burnout, s");
}

fn chances(picture: &mut Picture, answer: &Stored, along: &Axis) {
    if answer.delay_curve.is_empty() {
        return;
    }
    picture.below += 8.0;
    picture.paragraph(
        "Chance of an unsafe opening: over the limit, or not well for any other reason",
        11.0,
        INK,
        false,
    );
    let top = picture.below + 10.0;
    let bottom = top + CHANCE_HEIGHT;
    let up = Axis { from: 0.0, to: 1.0, at: [bottom, top] };
    frame(picture, along, SIDES, [top, bottom]);
    for percent in [0.0, 25.0, 50.0, 75.0, 100.0] {
        let y = up.place(percent / 100.0);
        rule(picture, y, SIDES, GRID, "");
        picture.text([LEFT - 4.0, y + 3.5], NOTE, Anchor::End, INK, &format!("{percent} %"));
    }
    let shown = shown(answer);
    for ((k, _), (colour, dashes)) in shown.iter().zip(CURVES) {
        let of = |take: fn(&Band) -> f64| -> Vec<[f64; 2]> {
            let share = |p: &CurvePoint| Some(take(&p.limits.get(*k)?.unsafe_opening).clamp(0.0, 1.0));
            let points = answer.delay_curve.iter();
            points.filter_map(|p| Some([along.place(p.delay_s.0), up.place(share(p)?)])).collect()
        };
        let (lower, upper, middle) = (of(|b| b.lower.0), of(|b| b.upper.0), of(|b| b.estimate.0));
        let back: Vec<[f64; 2]> = lower.into_iter().rev().collect();
        picture.raw(&format!(
            "<path d=\"M{}L{}Z\" fill=\"{colour}\" fill-opacity=\"0.2\"/>{}",
            joined(&upper),
            joined(&back),
            line(&middle, colour, 2.0, dashes)
        ));
    }
    picture.below = bottom + 30.0;
    let level = if answer.until.is_some() { until::CONFIDENCE } else { interval::CONFIDENCE };
    for ((_, l), (colour, dashes)) in shown.iter().zip(CURVES) {
        picture.key(
            |[x, y]| line(&[[x - 12.0, y], [x + 12.0, y]], colour, 2.0, dashes),
            &format!("at {} mph, with its interval of {} %", short(l.limit_mph.0), short(100.0 * level)),
        );
    }
    if answer.limits.len() > shown.len() {
        let text = format!("{} of {} limits, that of the condition among them", shown.len(), answer.limits.len());
        picture.key(|_| String::new(), &text);
    }
}

/// The limits that have a curve, by their place: as many as can be told apart, that of the condition first.
fn shown(answer: &Stored) -> Vec<(usize, Limit)> {
    let mut all: Vec<(usize, Limit)> = answer.limits.iter().copied().enumerate().collect();
    all.sort_by_key(|(_, l)| l.limit_m_s.0 != answer.advice.limit_m_s.0);
    all.truncate(CURVES.len());
    all.sort_by_key(|(k, _)| *k);
    all
}
