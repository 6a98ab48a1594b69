//! An answer as text for a terminal: 100 columns, from the answer alone, in its own words and numbers.

use std::fmt::Write;

use slowpoint_sim::case::Outline;
use slowpoint_sim::report::{percent_places, places_apart};

use super::fixed;
use crate::wire::{
    AreaFigures, Assessment, ChanceFigures, DriverFigures, EjectionFigures, Figure, IndexFigures, InputDriver,
    LEAST_INDEX, LandingFigures, LearnedAnswer, LimitAnswer, MedianFigures, OutcomeAnswer, PullAnswer, QuantileFigures,
    RARE_OUTCOME, RegionFigures, of_flights, unlisted,
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
    until(&mut page, answer);
    summary(&mut page, answer);
    chances(&mut page, answer);
    openings(&mut page, answer);
    curve(&mut page, answer);
    other_outcomes(&mut page, answer);
    page.heading("Advice");
    page.paragraph("", &answer.advice.text);
    let between = answer.advice.between.as_ref().map(|b| &b.text);
    let wind = answer.wind_limit.as_ref().map(|w| &w.text);
    let rail = answer.rail_advice.as_ref().map(|r| &r.text);
    [between, wind, rail].into_iter().flatten().for_each(|text| page.paragraph("", text));
    moves(&mut page, answer);
    failures(&mut page, answer);
    drivers(&mut page, answer);
    cords(&mut page, answer);
    rare(&mut page, answer);
    calibration(&mut page, answer);
    weather(&mut page, answer);
    cautions(&mut page, answer);
    if !answer.assumed.is_empty() {
        page.heading("Assumed, because the card does not say");
        for assumed in &answer.assumed {
            page.paragraph("- ", &format!("{}: {} ({})", assumed.input, assumed.value, assumed.source));
        }
    }
    page.text
}

/// Where it ended, if it was to end once the intervals are narrow enough.
fn until(page: &mut Page, answer: &Assessment) {
    let Some(until) = &answer.until else { return };
    let [asked, widest] = [until.half_width_asked, until.half_width_widest].map(|h| h.rounded().unwrap_or_default());
    let places = percent_places(asked).max(places_apart(asked, widest));
    let end = if until.reached { "Ended once narrow enough" } else { "Not narrow enough" };
    let (asked, widest) = (100.0 * asked, 100.0 * widest);
    page.paragraph(
        "",
        &format!(
            "{end}: the widest interval has a half-width of {widest:.places$} percentage points, {asked:.places$} were asked within {} flights. {}",
            until.within_flights, until.meaning
        ),
    );
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
    areas(&mut grid, answer.delays.iter().map(|d| d.landing.as_ref()));
    page.grid(&grid);
}

fn other_outcomes(page: &mut Page, answer: &Assessment) {
    page.heading("Flights that do not open well");
    let shown =
        |o: &&OutcomeAnswer| o.outcome != "opened" && o.share.rounded().is_some_and(|share| share >= RARE_OUTCOME);
    for delay in &answer.delays {
        for outcome in delay.outcomes.iter().filter(shown) {
            page.paragraph("- ", &format!("{}: {} {}.", delay.label, of_flights(outcome.share.0), outcome.meaning));
        }
    }
    let outcomes = answer.delays.iter().flat_map(|delay| &delay.outcomes).map(|o| (o.outcome, o.share.0));
    page.paragraph("", &unlisted(outcomes, answer.flights));
}

/// Most lines of the curve.
const CURVE_LINES: usize = 16;

fn curve(page: &mut Page, answer: &Assessment) {
    if answer.delay_curve.is_empty() {
        return;
    }
    page.heading("Unsafe openings against the delay, from the same flights");
    let every = answer.delay_curve.len().div_ceil(CURVE_LINES);
    let points: Vec<_> = answer.delay_curve.iter().step_by(every).collect();
    let labels: Vec<String> = points.iter().map(|p| format!("delay {} s", hundredth(p.delay_s))).collect();
    let mut grid = Grid::new(labels.iter().map(String::as_str));
    for (k, limit) in answer.limits.iter().enumerate() {
        let speed = format!("{} mph", number(limit.limit_mph));
        let cells = points.iter().map(|p| p.limits.get(k).map_or(NOT_KNOWN.into(), |l| l.text.clone())).collect();
        grid.column(&["unsafe opening", "at", &speed], cells);
    }
    page.grid(&grid);
}

fn moves(page: &mut Page, answer: &Assessment) {
    let Some(first) = answer.model_moves.first() else { return };
    page.heading(&format!(
        "If the model is off: unsafe openings at {} mph, from {} flights",
        number(answer.advice.limit_mph),
        first.flights
    ));
    let labels = std::iter::once("as modelled").chain(answer.model_moves.iter().map(|m| m.what));
    let mut grid = Grid::new(labels);
    for (k, way) in first.unsafe_opening.iter().enumerate() {
        let off = answer
            .model_moves
            .iter()
            .map(|m| m.unsafe_opening.get(k).map_or(NOT_KNOWN.into(), |c| c.when_off_text.clone()));
        grid.column(&[&way.label], std::iter::once(way.as_modelled_text.clone()).chain(off).collect());
    }
    page.grid(&grid);
}

fn failures(page: &mut Page, answer: &Assessment) {
    let failures = &answer.failures;
    let Some(first) = failures.each.first() else { return };
    page.heading(&format!("If something fails: {}, {} flights with each failure", failures.flown_with, first.flights));
    page.paragraph("", &failures.text);
    // A part that falls by itself has a row of its own.
    let mut rows: Vec<(String, Option<&LandingFigures>, String)> = Vec::new();
    for failure in &failures.each {
        rows.push((format!("if {}", failure.meaning), failure.landing.as_ref(), failure.unsafe_opening.text.clone()));
        if let Some(part) = &failure.part {
            rows.push(("  the part that falls".into(), Some(part), NOT_KNOWN.into()));
        }
    }
    let mut grid = Grid::new(rows.iter().map(|row| row.0.as_str()));
    let landing = |of: &dyn Fn(&LandingFigures) -> String| {
        rows.iter().map(|row| row.1.map_or(NOT_KNOWN.into(), of)).collect::<Vec<_>>()
    };
    let limit = format!("{} mph", number(answer.advice.limit_mph));
    grid.column(&["unsafe", "opening at", &limit], rows.iter().map(|row| row.2.clone()).collect());
    grid.column(&["lands off", "mean", "m"], landing(&|l| whole(l.distance_m.mean)));
    grid.column(&["95 %", "within", "m"], landing(&|l| whole(l.distance_m.p95)));
    grid.column(&["speed", "median", "m/s"], landing(&|l| tenths(l.speed_m_s.p50)));
    grid.column(&["energy", "median", "J"], landing(&|l| whole(l.energy_p50_j)));
    let energies = failures.each.iter().find_map(|f| f.landing.as_ref()).map_or(&[][..], |l| &l.over_energy);
    for (k, energy) in energies.iter().enumerate() {
        let bound = format!("{} J", whole(energy.energy_j));
        let over = |l: &LandingFigures| l.over_energy.get(k).map_or(NOT_KNOWN.into(), |e| e.over.text.clone());
        grid.column(&["more than", &bound], landing(&over));
    }
    areas(&mut grid, rows.iter().map(|row| row.1));
    page.grid(&grid);
    for energy in energies {
        page.paragraph("", &format!("{} J is {}.", tenths(energy.energy_j), energy.source));
    }
    let best = answer.delays.iter().find(|d| d.label == failures.flown_with).and_then(|d| d.landing.as_ref());
    let failed = failures.each.iter().find_map(|f| Some((f.meaning, f.landing.as_ref()?)));
    let (Some(best), Some((meaning, failed))) = (best, failed) else { return };
    page.heading(&format!("Where it comes down: as assessed (o), if {meaning} (x), both (*)"));
    for line in map(&[(best, 'o'), (failed, 'x')]) {
        page.line(&line);
    }
}

/// The columns of every named area, a row for each landing.
fn areas<'a>(grid: &mut Grid, rows: impl Iterator<Item = Option<&'a LandingFigures>> + Clone) {
    let named = rows.clone().flatten().next().map_or(&[][..], |l| &l.areas);
    for (k, area) in named.iter().enumerate() {
        let name = format!("in {}", area.name);
        let cells = |of: &dyn Fn(&AreaFigures) -> String| {
            rows.clone().map(|l| l.and_then(|l| l.areas.get(k)).map_or(NOT_KNOWN.into(), of)).collect()
        };
        grid.column(&["lands", &name], cells(&|a| a.inside.text.clone()));
        if area.struck.is_some() {
            let persons = |a: &AreaFigures| a.struck.map_or(NOT_KNOWN.into(), |s| small(s.persons_per_flight, s.upper));
            grid.column(&["people struck", "a flight", &name], cells(&persons));
        }
    }
    let outside = |l: &LandingFigures| l.outside_fields.as_ref().map(|c| c.text.clone());
    if rows.clone().flatten().any(|l| outside(l).is_some()) {
        let cells = rows.map(|l| l.and_then(outside).unwrap_or(NOT_KNOWN.into())).collect();
        grid.column(&["lands", "outside", "the field"], cells);
    }
}

/// A small figure and the upper end of its interval.
fn small(figure: Figure, upper: Figure) -> String {
    match (figure.rounded(), upper.rounded()) {
        (Some(x), Some(upper)) if x > 0.0 => format!("{x:.1e}, below {upper:.1e}"),
        (_, Some(upper)) if upper > 0.0 => format!("below {upper:.1e}"),
        (Some(_), Some(_)) => "0".into(),
        _ => NOT_KNOWN.into(),
    }
}

/// Rows and columns of the map; a character is about twice as tall as wide.
const MAP_ROWS: usize = 24;
const MAP_COLUMNS: usize = 2 * MAP_ROWS;

/// The largest regions of several landings seen from above, north up, with the pad as "+".
fn map(landings: &[(&LandingFigures, char)]) -> Vec<String> {
    // A region is where an odd number of its rings lies about a point: gaps are rings inside rings.
    let rings = |l: &LandingFigures| -> Vec<Vec<[f64; 2]>> {
        let share = |r: &RegionFigures| r.share_asked.0;
        let region = l.regions.iter().filter(|r| share(r) <= 0.95).max_by(|a, b| share(a).total_cmp(&share(b)));
        let patches = region.into_iter().flat_map(|r| &r.outline);
        let rings = patches.flat_map(|p| core::iter::once(&p.exterior_m).chain(&p.holes_m));
        rings.map(|ring| ring.iter().map(|corner| corner.map(|figure| figure.0)).collect()).collect()
    };
    // A square about the pad and every region.
    let (mut low, mut high) = ([0.0_f64; 2], [0.0_f64; 2]);
    for corner in landings.iter().flat_map(|(l, _)| rings(l)).flatten() {
        for i in 0..2 {
            (low[i], high[i]) = (low[i].min(corner[i]), high[i].max(corner[i]));
        }
    }
    let regions: Vec<(Vec<Outline>, char)> =
        landings.iter().map(|(l, mark)| (rings(l).into_iter().map(Outline::Polygon).collect(), *mark)).collect();
    let side = (high[0] - low[0]).max(high[1] - low[1]).max(1.0) * 1.05;
    let centre = [0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1])];
    let row_m = side / MAP_ROWS as f64;
    let pad = |east: f64, north: f64| east.abs() <= 0.25 * row_m && north.abs() <= 0.5 * row_m;
    let mut lines: Vec<String> = (0..MAP_ROWS)
        .map(|row| {
            let north = centre[1] + side * (0.5 - (row as f64 + 0.5) / MAP_ROWS as f64);
            let at = |column: usize| {
                let east = centre[0] + side * ((column as f64 + 0.5) / MAP_COLUMNS as f64 - 0.5);
                let inside =
                    |r: &&(Vec<Outline>, char)| r.0.iter().filter(|o| o.contains(east, north)).count() % 2 == 1;
                let marks: Vec<char> = regions.iter().filter(inside).map(|r| r.1).collect();
                match marks[..] {
                    _ if pad(east, north) => '+',
                    [] => '.',
                    [mark] => mark,
                    _ => '*',
                }
            };
            (0..MAP_COLUMNS).map(at).collect()
        })
        .collect();
    lines.push(format!("95 % of flights each; the pad is +; north is up; {:.0} m across.", side));
    lines
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
    if let Some(why) = &figures.none_because {
        page.paragraph("", &format!("{what}: no drivers, because {why}."));
        page.line("");
        return;
    }
    let spread = figures.standard_deviation.rounded().map_or(NOT_KNOWN.into(), |x| format!("{x:.2}"));
    let sum = figures.first_order_sum.as_ref().map_or(NOT_KNOWN.into(), hundredths);
    page.paragraph("", &format!("{what}: standard deviation {spread}{unit}; first-order indices add up to {sum}."));
    let shows = |i: &&InputDriver| i.total.upper.rounded().is_some_and(|upper| upper >= LEAST_INDEX);
    let shown: Vec<&InputDriver> = figures.inputs.iter().filter(shows).collect();
    let names: Vec<String> = shown.iter().map(|i| i.input.replace('_', " ")).collect();
    let mut grid = Grid::new(names.iter().map(String::as_str));
    grid.column(&["first order"], shown.iter().map(|i| hundredths(&i.first_order)).collect());
    grid.column(&["total"], shown.iter().map(|i| hundredths(&i.total)).collect());
    grid.column(&["knowing it", "narrows by"], shown.iter().map(|i| whole_percent(&i.narrows_by_share)).collect());
    page.grid(&grid);
    if shown.len() < figures.inputs.len() {
        page.paragraph("", &format!("Every other input: a total below {LEAST_INDEX}."));
    }
    page.line("");
}

/// "0.31 (0.27 to 0.35)".
fn hundredths(index: &IndexFigures) -> String {
    let [estimate, lower, upper] =
        [index.estimate, index.lower, index.upper].map(|f| fixed(f.rounded().unwrap_or(f64::NAN), 2));
    format!("{estimate} ({lower} to {upper})")
}

/// "17 % (14 to 20 %)".
fn whole_percent(share: &IndexFigures) -> String {
    let [estimate, lower, upper] =
        [share.estimate, share.lower, share.upper].map(|f| fixed(100.0 * f.rounded().unwrap_or(f64::NAN), 0));
    format!("{estimate} % ({lower} to {upper} %)")
}

/// Chances that were sought where they happen.
fn rare(page: &mut Page, answer: &Assessment) {
    let Some(rare) = &answer.rare else { return };
    page.heading("Rare events");
    for chance in &rare.chances {
        let counting = chance.flights_counting.rounded();
        let counting =
            counting.map(|n| format!(" Counting would take some {} flights.", two_digits(n))).unwrap_or_default();
        page.paragraph(
            "- ",
            &format!(
                "{} {} flights, {} of them to seek it.{counting}",
                chance.text,
                chance.flights + chance.flights_searched,
                chance.flights_searched
            ),
        );
    }
    page.paragraph("", rare.meaning);
}

/// What was learned from flights flown.
fn calibration(page: &mut Page, answer: &Assessment) {
    let Some(found) = &answer.calibration else { return };
    page.heading("Learned from flights flown");
    if let Some(why) = &found.refused_because {
        page.paragraph("", &format!("NOT USED: {why}"));
    }
    let decimals = |unit: &str| if unit == "m" { 0 } else { 2 };
    let between = |band: &MedianFigures, decimals: usize| {
        let [low, middle, high] =
            [band.p05, band.p50, band.p95].map(|f| fixed(f.rounded().unwrap_or(f64::NAN), decimals));
        format!("{middle} ({low} to {high})")
    };
    let names: Vec<String> = found
        .inputs
        .iter()
        .map(|i| if i.unit.is_empty() { format!("{}, factor", i.input) } else { format!("{}, {}", i.input, i.unit) })
        .collect();
    let mut grid = Grid::new(names.iter().map(String::as_str));
    let mut column = |head: &[&str], of: fn(&LearnedAnswer) -> Option<&MedianFigures>| {
        let bands: Option<Vec<String>> = found.inputs.iter().map(|i| Some(between(of(i)?, 2))).collect();
        bands.into_iter().for_each(|bands| grid.column(head, bands));
    };
    column(&["before,", "median (90 %)"], |i| Some(&i.before));
    column(&["next flight,", "median (90 %)"], |i| i.after.as_ref());
    column(&["bias of all flights,", "median (90 %)"], |i| i.bias.as_ref());
    column(&["scatter over", "spread before"], |i| i.scatter.as_ref());
    page.grid(&grid);
    let rows = || found.flown.iter().flat_map(|f| f.logged.iter().map(move |l| (f, l)));
    let names: Vec<String> =
        rows().map(|(f, l)| format!("{}: {}, {}", f.flight, l.what.replace('_', " "), l.unit)).collect();
    let mut grid = Grid::new(names.iter().map(String::as_str));
    grid.column(
        &["logged"],
        rows()
            .map(|(_, l)| {
                let [value, error] =
                    [l.logged, l.error].map(|f| fixed(f.rounded().unwrap_or(f64::NAN), decimals(l.unit)));
                format!("{value} +- {error}")
            })
            .collect(),
    );
    grid.column(&["before,", "median (90 %)"], rows().map(|(_, l)| between(&l.before, decimals(l.unit))).collect());
    let after: Option<Vec<String>> = rows().map(|(_, l)| Some(between(l.after.as_ref()?, decimals(l.unit)))).collect();
    after.into_iter().for_each(|after| grid.column(&["after,", "median (90 %)"], after));
    grid.column(
        &["drawn flights", "that agree"],
        rows().map(|(f, _)| fixed(f.effective_flights.rounded().unwrap_or(f64::NAN), 0)).collect(),
    );
    page.grid(&grid);
    page.paragraph(
        "",
        &format!(
            "From {} drawn flights; sets of bias and scatter worth {} of one weight agree with all logs. The number drawn makes a bias or scatter err by at most {} of the standard deviation that the logs leave open. {}",
            found.flights_drawn,
            fixed(found.effective_sets.rounded().unwrap_or(f64::NAN), 0),
            fixed(found.sampling_error.rounded().unwrap_or(f64::NAN), 2),
            found.meaning
        ),
    );
}

/// Cord and tube edge, of every delay and arrangement.
fn cords(page: &mut Page, answer: &Assessment) {
    let Some(cords) = &answer.cords else { return };
    page.heading(&format!("Shock cord and tube edge (zippering), from {} flights", cords.flights));
    let rows = || cords.delays.iter().flat_map(|d| d.arrangements.iter().map(move |a| (d, a)));
    let names: Vec<String> = rows().map(|(delay, a)| format!("{}, {}", delay.label, a.name)).collect();
    let mut grid = Grid::new(names.iter().map(String::as_str));
    let between = |q: &Option<QuantileFigures>, show: fn(Figure) -> String| {
        q.as_ref().map_or(NOT_KNOWN.into(), |q| format!("{} ({} to {})", show(q.p50), show(q.p05), show(q.p95)))
    };
    grid.column(
        &["peak tension,", "median (90 %), N"],
        rows().map(|(_, a)| between(&a.peak_tension_n, whole)).collect(),
    );
    grid.column(
        &["load on the edge,", "median (90 %), N/mm"],
        rows().map(|(_, a)| between(&a.edge_load_n_per_mm, tenths)).collect(),
    );
    grid.column(&["edge tears"], rows().map(|(_, a)| a.edge_tears.text.clone()).collect());
    let first = cords.delays.iter().flat_map(|d| &d.arrangements).next();
    for (k, off) in first.into_iter().flat_map(|a| &a.edge_tears_if).enumerate() {
        let then =
            |(_, a): (_, &PullAnswer)| a.edge_tears_if.get(k).map_or(NOT_KNOWN.into(), |t| t.edge_tears.text.clone());
        grid.column(
            &["tears if it bears", &format!("{} times that", number(off.resistance_factor))],
            rows().map(then).collect(),
        );
    }
    grid.column(&["cord breaks"], rows().map(|(_, a)| a.cord_breaks.text.clone()).collect());
    grid.column(
        &["edge tears,", "against the first"],
        rows().map(|(_, a)| a.against_first.as_ref().map_or("itself".into(), |c| c.text.clone())).collect(),
    );
    page.grid(&grid);
    let wall = &cords.wall;
    let guessed = if wall.guessed { "GUESSED, no published value" } else { "as given" };
    page.paragraph(
        "",
        &format!(
            "Half of all tube edges are taken to tear below {} N/mm of bearing width, 90 % of them between {} and {} ({guessed}). {}",
            tenths(wall.median_n_per_mm),
            tenths(wall.p05_n_per_mm),
            tenths(wall.p95_n_per_mm),
            cords.meaning
        ),
    );
}

/// Where the wind comes from, where it was decoded from messages.
fn weather(page: &mut Page, answer: &Assessment) {
    let Some(weather) = &answer.weather else { return };
    page.heading("Weather, as the messages have it");
    let age = weather.age_h.rounded().map(|h| format!(", {h:.1} h from launch")).unwrap_or_default();
    page.paragraph("", &format!("{}{age}.", weather.source));
    for sentence in &weather.assumed {
        page.paragraph("- ", sentence);
    }
    for sentence in &weather.skipped {
        page.paragraph("- ", &format!("Left out: {sentence}"));
    }
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

/// Two digits of a large number.
fn two_digits(x: f64) -> String {
    let scale = libm::pow(10.0, (libm::log10(x.max(1.0)).floor() - 1.0).max(0.0));
    format!("{:.0}", (x / scale).round() * scale)
}

fn tenths(figure: Figure) -> String {
    figure.rounded().map_or(NOT_KNOWN.into(), |x| fixed(x, 1))
}

fn whole(figure: Figure) -> String {
    figure.rounded().map_or(NOT_KNOWN.into(), |x| fixed(x, 0))
}

fn number(figure: Figure) -> String {
    figure.rounded().map_or(NOT_KNOWN.into(), |x| format!("{}", (x * 10.0).round() / 10.0))
}

fn hundredth(figure: Figure) -> String {
    figure.rounded().map_or(NOT_KNOWN.into(), |x| format!("{}", (x * 100.0).round() / 100.0))
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
