//! An answer as text for a terminal: 100 columns, from the answer alone, in its own words and numbers.

use std::fmt::Write;

use crate::wire::{
    Assessment, ChanceFigures, DelayAnswer, DriverFigures, EjectionFigures, Figure, IndexFigures, InputDriver,
    LandingFigures, LimitAnswer,
};

/// Columns of the whole text.
const WIDTH: usize = 100;
/// Widest first column of a table; longer labels take more lines.
const LABEL: usize = 30;
/// Widest word of a heading over a column.
const HEADING: usize = 18;
const GAP: &str = "  ";
/// What stays on the line of its number.
const UNITS: [&str; 8] = ["m", "mm", "s", "m/s", "mph", "%", "deg", "K"];
const NOT_KNOWN: &str = "-";

/// The whole answer as text.
pub fn table(answer: &Assessment) -> String {
    let mut page = Page::default();
    page.paragraph("", answer.caution);
    page.heading(&answer.name);
    page.paragraph(
        "",
        &format!("{} flights, seed {}, {}. Id {}.", answer.flights, answer.seed, answer.engine, answer.id),
    );
    summary(&mut page, answer);
    chances(&mut page, answer);
    openings(&mut page, answer);
    other_outcomes(&mut page, answer);
    page.heading("Advice");
    page.paragraph("", &answer.advice.text);
    moves(&mut page, answer);
    drivers(&mut page, answer);
    cautions(&mut page, answer);
    if !answer.assumed.is_empty() {
        page.heading("Assumed, because the card does not say");
        for assumed in &answer.assumed {
            page.paragraph("- ", &format!("{}: {} ({})", assumed.input, assumed.value, assumed.source));
        }
    }
    page.text
}

fn summary(page: &mut Page, answer: &Assessment) {
    let mut facts = Vec::new();
    if let Some(apogee) = &answer.apogee {
        let height = &apogee.height_above_pad_m;
        facts.push(format!(
            "Highest point {} m above the pad, 90 % between {} and {} m.",
            whole(height.p50),
            whole(height.p05),
            whole(height.p95)
        ));
    }
    if let Some(slowest) = &answer.slowest {
        facts.push(format!(
            "Slowest instant {} m/s, {} s after burnout.",
            tenths(slowest.airspeed_m_s.p50),
            tenths(slowest.delay_s.p50)
        ));
    }
    if let Some(rail) = &answer.rail {
        facts.push(format!("Leaves the rail at {} m/s.", tenths(rail.exit_speed_m_s.p50)));
    }
    if let Some(ceiling) = &answer.above_ceiling {
        facts.push(format!("Above the ceiling: {}.", ceiling.text));
    }
    if !facts.is_empty() {
        page.paragraph("", &format!("Medians: {}", facts.join(" ")));
    }
}

fn chances(page: &mut Page, answer: &Assessment) {
    let faster_at = if answer.limits_apply_to == "line_stretch" { "line stretch" } else { "ejection" };
    page.heading(&format!("How often it opens too fast: over the limit at {faster_at}, or unsafe in any way"));
    let mut grid = Grid::new(answer.delays.iter().map(|d| d.label.as_str()));
    for (k, limit) in answer.limits.iter().enumerate() {
        let speed = format!("{} mph", number(limit.limit_mph));
        let cells = |of: fn(&LimitAnswer) -> &ChanceFigures| {
            answer.delays.iter().map(|d| d.limits.get(k).map_or(NOT_KNOWN.into(), |l| of(l).text.clone())).collect()
        };
        let over = Column::new(&["over", &speed, &format!("({} m/s)", tenths(limit.limit_m_s))], cells(|l| &l.over));
        let unsafe_opening = Column::new(&["unsafe", "opening at", &speed], cells(|l| &l.unsafe_opening));
        grid.together.push(vec![over, unsafe_opening]);
    }
    page.grid(&grid);
    page.paragraph("", answer.intervals);
}

fn openings(page: &mut Page, answer: &Assessment) {
    page.heading("When and how fast it opens, and where it lands");
    let mut grid = Grid::new(answer.delays.iter().map(|d| d.label.as_str()));
    let ejection = |of: &dyn Fn(&EjectionFigures) -> String| {
        answer.delays.iter().map(|d| d.at_ejection.as_ref().map_or(NOT_KNOWN.into(), of)).collect()
    };
    let landing = |of: &dyn Fn(&LandingFigures) -> String| {
        answer.delays.iter().map(|d| d.landing.as_ref().map_or(NOT_KNOWN.into(), of)).collect()
    };
    grid.column(&["opens at", "m/s", "median"], ejection(&|e| tenths(e.airspeed_m_s.p50)));
    grid.column(
        &["", "90 %", "between"],
        ejection(&|e| format!("{} and {}", tenths(e.airspeed_m_s.p05), tenths(e.airspeed_m_s.p95))),
    );
    grid.column(&["after", "apogee", "s"], ejection(&|e| tenths(e.after_apogee_s.p50)));
    grid.column(&["at height", "above pad", "m"], ejection(&|e| whole(e.height_above_pad_m.p50)));
    grid.column(&["lands off", "mean", "m"], landing(&|l| whole(l.distance_m.mean)));
    grid.column(&["95 %", "within", "m"], landing(&|l| whole(l.distance_m.p95)));
    let areas = answer.delays.iter().find_map(|d| d.landing.as_ref()).map_or(&[][..], |l| &l.areas);
    for (k, area) in areas.iter().enumerate() {
        let name = format!("in {}", area.name);
        grid.column(
            &["lands", &name],
            landing(&|l| l.areas.get(k).map_or(NOT_KNOWN.into(), |a| a.inside.text.clone())),
        );
    }
    page.grid(&grid);
}

fn other_outcomes(page: &mut Page, answer: &Assessment) {
    let plain = |delay: &DelayAnswer| delay.outcomes.iter().all(|o| o.outcome == "opened");
    page.heading("Flights that did not open well");
    if answer.delays.iter().all(plain) {
        page.paragraph("", &format!("None of {}.", answer.flights));
        return;
    }
    for delay in &answer.delays {
        for outcome in delay.outcomes.iter().filter(|o| o.outcome != "opened") {
            page.paragraph(
                "- ",
                &format!("{}: {} of {} flights {}.", delay.label, outcome.flights, answer.flights, outcome.meaning),
            );
        }
    }
}

fn moves(page: &mut Page, answer: &Assessment) {
    let Some(first) = answer.model_moves.first() else { return };
    page.heading(&format!(
        "If the model is off: unsafe openings at {} mph among {} flights",
        number(answer.advice.limit_mph),
        first.flights
    ));
    let labels = std::iter::once("as modelled").chain(answer.model_moves.iter().map(|m| m.what));
    let mut grid = Grid::new(labels);
    for (k, way) in first.unsafe_opening.iter().enumerate() {
        let off = answer
            .model_moves
            .iter()
            .map(|m| m.unsafe_opening.get(k).map_or(NOT_KNOWN.into(), |c| c.when_off_flights.to_string()));
        grid.column(&[&way.label], std::iter::once(way.as_modelled_flights.to_string()).chain(off).collect());
    }
    page.grid(&grid);
}

/// Of the delay with the least chance of an unsafe opening, or the first; the others are in the JSON answer.
fn drivers(page: &mut Page, answer: &Assessment) {
    let Some(drivers) = &answer.drivers else { return };
    let lowest = drivers.delays.iter().find(|d| d.label == answer.advice.lowest);
    let Some(delay) = lowest.or(drivers.delays.first()) else { return };
    page.heading(&format!("What drives it: {}, from {} base flights", delay.label, drivers.base_flights));
    let limit = format!("Unsafe opening at {} mph", number(answer.advice.limit_mph));
    driven(page, "Airspeed at ejection", " m/s", &delay.ejection_airspeed_m_s);
    driven(page, &limit, "", &delay.unsafe_opening);
    driven(page, "Distance of the landing", " m", &delay.landing_distance_m);
    page.paragraph("", drivers.meaning);
}

fn driven(page: &mut Page, what: &str, unit: &str, figures: &DriverFigures) {
    /// A total index that ends below this is not worth a line.
    const SHOWN: f64 = 0.01;
    if let Some(why) = &figures.none_because {
        page.paragraph("", &format!("{what}: no drivers, because {why}."));
        page.line("");
        return;
    }
    let spread = figures.standard_deviation.rounded().map_or(NOT_KNOWN.into(), |x| format!("{x:.2}"));
    let sum = figures.first_order_sum.as_ref().map_or(NOT_KNOWN.into(), hundredths);
    page.paragraph("", &format!("{what}: standard deviation {spread}{unit}; first-order indices add up to {sum}."));
    let shows = |i: &&InputDriver| i.total.upper.rounded().is_some_and(|upper| upper >= SHOWN);
    let shown: Vec<&InputDriver> = figures.inputs.iter().filter(shows).collect();
    let names: Vec<String> = shown.iter().map(|i| i.input.replace('_', " ")).collect();
    let mut grid = Grid::new(names.iter().map(String::as_str));
    grid.column(&["first order"], shown.iter().map(|i| hundredths(&i.first_order)).collect());
    grid.column(&["total"], shown.iter().map(|i| hundredths(&i.total)).collect());
    grid.column(&["knowing it", "narrows by"], shown.iter().map(|i| whole_percent(&i.narrows_by_share)).collect());
    page.grid(&grid);
    if shown.len() < figures.inputs.len() {
        page.paragraph("", &format!("Every other input: a total below {SHOWN}."));
    }
    page.line("");
}

/// "0.31 (0.27 to 0.35)".
fn hundredths(index: &IndexFigures) -> String {
    let [estimate, lower, upper] = [index.estimate, index.lower, index.upper]
        .map(|f| format!("{:.2}", tidy(f.rounded().unwrap_or(f64::NAN), 0.005)));
    format!("{estimate} ({lower} to {upper})")
}

/// "17 % (14 to 20 %)".
fn whole_percent(share: &IndexFigures) -> String {
    let [estimate, lower, upper] = [share.estimate, share.lower, share.upper]
        .map(|f| format!("{:.0}", tidy(100.0 * f.rounded().unwrap_or(f64::NAN), 0.5)));
    format!("{estimate} % ({lower} to {upper} %)")
}

fn cautions(page: &mut Page, answer: &Assessment) {
    if answer.cautions.is_empty() {
        return;
    }
    page.heading("Cautions");
    for (k, caution) in answer.cautions.iter().enumerate() {
        page.paragraph("- ", &caution.message);
        // A rule that several cautions in a row rest on is said once, after the last.
        if answer.cautions.get(k + 1).is_none_or(|next| next.rule != caution.rule) {
            page.paragraph("  ", &format!("Rule: {}", caution.rule));
        }
    }
}

fn tenths(figure: Figure) -> String {
    figure.rounded().map_or(NOT_KNOWN.into(), |x| format!("{:.1}", tidy(x, 0.05)))
}

fn whole(figure: Figure) -> String {
    figure.rounded().map_or(NOT_KNOWN.into(), |x| format!("{:.0}", tidy(x, 0.5)))
}

fn number(figure: Figure) -> String {
    figure.rounded().map_or(NOT_KNOWN.into(), |x| format!("{}", (x * 10.0).round() / 10.0))
}

/// What would print as minus zero prints as zero.
fn tidy(x: f64, below: f64) -> f64 {
    if x.abs() < below { 0.0 } else { x }
}

/// Labels down the side, then columns. What does not fit side by side goes below, with the labels again.
struct Grid {
    labels: Vec<String>,
    /// Columns that belong together stay side by side.
    together: Vec<Vec<Column>>,
}

struct Column {
    heading: Vec<String>,
    cells: Vec<String>,
}

impl Column {
    /// `heading` has a line per item; long ones take more.
    fn new(heading: &[&str], cells: Vec<String>) -> Self {
        let lines = heading.iter().flat_map(|line| wrapped(line, HEADING));
        Self { heading: lines.collect(), cells }
    }

    fn width(&self) -> usize {
        self.heading.iter().chain(&self.cells).map(|text| text.chars().count()).max().unwrap_or(0)
    }
}

impl Grid {
    fn new<'a>(labels: impl Iterator<Item = &'a str>) -> Self {
        Self { labels: labels.map(str::to_string).collect(), together: Vec::new() }
    }

    fn column(&mut self, heading: &[&str], cells: Vec<String>) {
        self.together.push(vec![Column::new(heading, cells)]);
    }
}

/// Text that never grows wider than the terminal.
#[derive(Default)]
struct Page {
    text: String,
}

impl Page {
    fn line(&mut self, line: &str) {
        // Writing to a String cannot fail.
        let _ = writeln!(self.text, "{}", line.trim_end());
    }

    fn heading(&mut self, text: &str) {
        self.line("");
        for line in wrapped(text, WIDTH) {
            self.line(&line);
            self.line(&"-".repeat(line.chars().count()));
        }
    }

    /// Wraps a text; further lines stand under the first word after `mark`.
    fn paragraph(&mut self, mark: &str, text: &str) {
        let indent = mark.chars().count();
        for (k, line) in wrapped(text, WIDTH - indent).iter().enumerate() {
            let lead = if k == 0 { mark.to_string() } else { " ".repeat(indent) };
            self.line(&format!("{lead}{line}"));
        }
    }

    fn grid(&mut self, grid: &Grid) {
        let labels: Vec<_> = grid.labels.iter().map(|label| wrapped(label, LABEL)).collect();
        let side = labels.iter().flatten().map(|line| line.chars().count()).max().unwrap_or(0);
        let mut rest = &grid.together[..];
        while !rest.is_empty() {
            let mut used = side;
            let fit = rest.iter().take_while(|columns| {
                used += columns.iter().map(|column| GAP.len() + column.width()).sum::<usize>();
                used <= WIDTH
            });
            let (now, later) = rest.split_at(fit.count().max(1));
            self.band(&labels, side, &now.iter().flatten().collect::<Vec<_>>());
            rest = later;
            if !rest.is_empty() {
                self.line("");
            }
        }
    }

    fn band(&mut self, labels: &[Vec<String>], side: usize, columns: &[&Column]) {
        let tall = columns.iter().map(|column| column.heading.len()).max().unwrap_or(0);
        for k in 0..tall {
            // Headings stand on their table: short ones begin lower.
            let cells =
                columns.iter().map(|c| (k + c.heading.len()).checked_sub(tall).map_or("", |at| c.heading[at].as_str()));
            self.row("", side, columns, cells);
        }
        for (k, label) in labels.iter().enumerate() {
            for (line, text) in label.iter().enumerate() {
                let cells =
                    columns.iter().map(|c| if line == 0 { c.cells.get(k).map_or("", String::as_str) } else { "" });
                self.row(text, side, columns, cells);
            }
        }
    }

    fn row<'a>(&mut self, label: &str, side: usize, columns: &[&Column], cells: impl Iterator<Item = &'a str>) {
        let mut line = format!("{label:side$}");
        for (column, cell) in columns.iter().zip(cells) {
            let width = column.width();
            let _ = write!(line, "{GAP}{cell:>width$}");
        }
        self.line(&line);
    }
}

/// Breaks a text into lines of at most `width` characters, at spaces where there are any, but not between a
/// number and its unit. Characters that steer a terminal are shown as "?": names come from whoever wrote
/// the card.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut used = 0;
    let mut words = text.split_whitespace().peekable();
    while let Some(word) = words.next() {
        let mut word: Vec<char> = word.chars().map(|c| if c.is_control() { '?' } else { c }).collect();
        if word.iter().all(|c| c.is_ascii_digit() || ".-".contains(*c))
            && let Some(unit) = words.next_if(|next| UNITS.contains(&next.trim_end_matches([',', '.', ')', ':', ';'])))
        {
            word.push(' ');
            word.extend(unit.chars());
        }
        loop {
            let space = usize::from(used > 0);
            if used + space + word.len() <= width {
                break;
            }
            if used == 0 {
                // One word longer than the line.
                let rest = word.split_off(width);
                push(&mut lines, &mut used, &word);
                word = rest;
            }
            lines.push(String::new());
            used = 0;
        }
        push(&mut lines, &mut used, &word);
    }
    lines
}

fn push(lines: &mut [String], used: &mut usize, word: &[char]) {
    if let Some(line) = lines.last_mut() {
        if *used > 0 {
            line.push(' ');
            *used += 1;
        }
        line.extend(word);
        *used += word.len();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wraps_at_spaces_and_cuts_what_has_none() {
        let rows: [(&str, usize, &[&str]); 6] = [
            ("late by 8.9 s, yes", 11, &["late by", "8.9 s, yes"]),
            ("one two three", 8, &["one two", "three"]),
            ("one", 8, &["one"]),
            ("", 8, &[""]),
            ("abcdefghij k", 4, &["abcd", "efgh", "ij k"]),
            ("a\u{1b}[31mb\nc", 20, &["a?[31mb c"]),
        ];
        for (text, width, expected) in rows {
            assert_eq!(wrapped(text, width), expected, "{text:?}");
        }
    }

    #[test]
    fn a_grid_never_grows_wider_than_the_page() {
        let mut grid = Grid::new(["short", "a label that is longer than a label may be and wraps"].into_iter());
        for k in 0..12 {
            grid.column(
                &["heading", &format!("number {k} with a very-very-long-word-in-it")],
                vec!["12.3 % (10 to 14 %)".into(), "x".into()],
            );
        }
        let mut page = Page::default();
        page.grid(&grid);
        assert!(page.text.lines().all(|line| line.chars().count() <= WIDTH), "{}", page.text);
        assert_eq!(page.text.matches("12.3 % (10 to 14 %)").count(), 12);
    }
}
