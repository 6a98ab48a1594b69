//! A check's sheet: where its figures come from and one row per figure. A test fails on rows that do not hold, after
//! all of them were looked at, and the page `tests/VALIDATION.md` is written from the same rows.

use std::fmt::{Display, Write};
use std::sync::OnceLock;

/// How far a source is to be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trust {
    /// Published data, reproduced independently.
    A,
    /// A published formula or a closed form, each number computed apart from the engine.
    B,
    /// What the trade knows: no published number stands behind it.
    CommonPractice,
    /// A published figure that was not looked up again.
    FromMemory,
    /// Not from outside: what the engine itself states, held against what it does.
    Statement,
}

impl Trust {
    /// The mark on the page.
    pub fn mark(self) -> &'static str {
        match self {
            Self::A => "A",
            Self::B => "B",
            Self::CommonPractice => "common practice",
            Self::FromMemory => "from memory",
            Self::Statement => "own statement",
        }
    }
}

/// One figure, as the page prints it.
#[derive(Debug, Clone)]
struct Row {
    quantity: String,
    expected: String,
    got: String,
    difference: String,
    tolerance: String,
    /// Which of the sheet's reasons stands behind the tolerance; an exact row needs none.
    reason: Option<usize>,
    pass: bool,
}

/// What one case found.
#[derive(Debug, Clone)]
pub struct Sheet {
    id: &'static str,
    what: &'static str,
    trust: Trust,
    source: &'static str,
    reasons: Vec<&'static str>,
    /// The reason that stands behind the rows being added.
    reason: Option<usize>,
    rows: Vec<Row>,
}

impl Sheet {
    /// An empty sheet: a short name, what is checked, and the source as published.
    pub fn new(id: &'static str, what: &'static str, trust: Trust, source: &'static str) -> Self {
        Self { id, what, trust, source, reasons: Vec::new(), reason: None, rows: Vec::new() }
    }

    /// The reason for the tolerance of the rows that follow.
    pub fn because(&mut self, reason: &'static str) {
        let known = self.reasons.iter().position(|r| *r == reason);
        self.reason = known.or_else(|| {
            self.reasons.push(reason);
            Some(self.reasons.len() - 1)
        });
    }

    /// Within an absolute tolerance.
    pub fn close(&mut self, quantity: impl Display, got: f64, expected: f64, tolerance: f64) {
        let written = format!("±{}", short(tolerance));
        self.within(quantity.to_string(), got, expected, tolerance, written);
    }

    /// Within a tolerance relative to the expected value.
    pub fn close_relative(&mut self, quantity: impl Display, got: f64, expected: f64, tolerance: f64) {
        let written = format!("±{} of it", short(tolerance));
        self.within(quantity.to_string(), got, expected, tolerance * expected.abs(), written);
    }

    /// Many figures of one kind, each named and within an absolute tolerance: the row shows the one farthest off.
    pub fn all_close(&mut self, quantity: &str, figures: impl IntoIterator<Item = (String, f64, f64)>, tolerance: f64) {
        let off = |f: &(String, f64, f64)| match (f.1 - f.2).abs() {
            d if d.is_nan() => f64::INFINITY,
            d => d,
        };
        let figures: Vec<_> = figures.into_iter().collect();
        let worst = figures.iter().max_by(|a, b| off(a).total_cmp(&off(b)));
        let Some((name, got, expected)) = worst else { panic!("{}: no figures of {quantity}", self.id) };
        self.close(format!("{quantity}, worst of {}: {name}", figures.len()), *got, *expected, tolerance);
    }

    /// No more than a bound.
    pub fn at_most(&mut self, quantity: impl Display, got: f64, bound: f64) {
        self.bounded(quantity.to_string(), got, bound, "at most", got <= bound);
    }

    /// No less than a bound.
    pub fn at_least(&mut self, quantity: impl Display, got: f64, bound: f64) {
        self.bounded(quantity.to_string(), got, bound, "at least", got >= bound);
    }

    /// Less than a bound.
    pub fn less_than(&mut self, quantity: impl Display, got: f64, bound: f64) {
        self.bounded(quantity.to_string(), got, bound, "less than", got < bound);
    }

    /// More than a bound.
    pub fn more_than(&mut self, quantity: impl Display, got: f64, bound: f64) {
        self.bounded(quantity.to_string(), got, bound, "more than", got > bound);
    }

    /// A count or a word, exactly.
    pub fn equal<T: Display + PartialEq>(&mut self, quantity: impl Display, got: T, expected: T) {
        let pass = got == expected;
        self.push(quantity.to_string(), [expected.to_string(), got.to_string(), String::new(), "exact".into()], pass);
    }

    /// A fact.
    pub fn holds(&mut self, fact: impl Display, so: bool) {
        self.equal(fact, if so { "yes" } else { "no" }, "yes");
    }

    fn within(&mut self, quantity: String, got: f64, expected: f64, tolerance: f64, written: String) {
        let off = got - expected;
        let places = places(tolerance);
        let exact = tolerance == 0.0;
        let cells = [
            long(expected, places),
            long(got, places),
            if off == 0.0 { "0".into() } else { format!("{off:.1e}") },
            if exact { "exact".into() } else { written },
        ];
        self.push(quantity, cells, off.abs() <= tolerance);
    }

    fn bounded(&mut self, quantity: String, got: f64, bound: f64, word: &str, pass: bool) {
        let cells = [short(bound), short(got), format!("{:.1e}", got - bound), word.to_string()];
        self.push(quantity, cells, pass);
    }

    fn push(&mut self, quantity: String, cells: [String; 4], pass: bool) {
        let [expected, got, difference, tolerance] = cells;
        let reason = if tolerance == "exact" { None } else { self.reason };
        assert!(tolerance == "exact" || reason.is_some(), "{}: the tolerance of {quantity} has no reason", self.id);
        self.rows.push(Row { quantity, expected, got, difference, tolerance, reason, pass });
    }

    /// Fails with every row that does not hold.
    fn verdict(&self) {
        let failed: Vec<String> = (self.rows.iter().filter(|r| !r.pass))
            .map(|r| format!("  {}: {}, expected {} {}", r.quantity, r.got, r.expected, r.tolerance))
            .collect();
        assert!(!self.rows.is_empty(), "{} checks nothing", self.id);
        let (bad, all) = (failed.len(), self.rows.len());
        assert!(failed.is_empty(), "{}: {bad} of {all} rows do not hold\n{}", self.id, failed.join("\n"));
    }
}

/// Decimals that show a tenth of a tolerance.
fn places(tolerance: f64) -> Option<usize> {
    (tolerance > 0.0).then(|| (1.0 - libm::floor(libm::log10(tolerance))).clamp(0.0, 12.0) as usize)
}

/// A figure with a number of decimals, or as short as it can be written.
fn long(x: f64, places: Option<usize>) -> String {
    let size = x.abs();
    match places {
        Some(p) if x != 0.0 && !(1e-3..1e7).contains(&size) => {
            let digits = (p as f64 + libm::floor(libm::log10(size))).clamp(0.0, 8.0) as usize;
            format!("{x:.digits$e}")
        }
        Some(p) => format!("{x:.p$}"),
        None => format!("{x}"),
    }
}

/// A tolerance or a bound: three digits at most.
fn short(x: f64) -> String {
    let size = x.abs();
    let power = libm::floor(libm::log10(size));
    let places = (2.0 - power).max(0.0) as usize;
    let plain = |s: String| if s.contains('.') { s.trim_end_matches('0').trim_end_matches('.').to_string() } else { s };
    match size {
        s if s == 0.0 || !s.is_finite() => format!("{x}"),
        s if (1e-3..1e7).contains(&s) => plain(format!("{x:.places$}")),
        _ => {
            let text = format!("{x:.2e}");
            let (digits, exponent) = text.split_once('e').unwrap_or((&text, "0"));
            format!("{}e{exponent}", plain(digits.to_string()))
        }
    }
}

/// A case and what it found, looked at once: by its own test or by the page, whichever comes first.
pub struct Entry {
    fill: fn() -> Sheet,
    sheet: OnceLock<Sheet>,
}

impl Entry {
    /// An entry that is filled when it is first asked for.
    pub const fn new(fill: fn() -> Sheet) -> Self {
        Self { fill, sheet: OnceLock::new() }
    }

    fn sheet(&self) -> &Sheet {
        self.sheet.get_or_init(self.fill)
    }

    /// Fails unless every row holds.
    pub fn check(&self) {
        self.sheet().verdict();
    }
}

/// The cases of one module.
pub struct Subject {
    /// Heading on the page.
    pub title: &'static str,
    /// The cases, in the order of the page.
    pub cases: &'static [&'static Entry],
}

/// Lists a module's cases once: each becomes a test, and all of them the module's part of the page. A function that is
/// not listed is dead code.
#[macro_export]
macro_rules! subject {
    ($title:literal: $($case:ident),+ $(,)?) => {
        /// What the page shows of this module.
        pub static SUBJECT: $crate::sheet::Subject =
            $crate::sheet::Subject { title: $title, cases: &[$(&cases::$case::ENTRY),+] };

        mod cases {
            $(pub mod $case {
                pub static ENTRY: $crate::sheet::Entry = $crate::sheet::Entry::new(super::super::$case);

                #[test]
                fn holds() {
                    ENTRY.check();
                }
            })+
        }
    };
}

/// The tables of all subjects.
pub fn tables(subjects: &[&Subject]) -> String {
    let mut page = String::from("| subject | cases | rows | rows that hold |\n|---|---|---|---|\n");
    let mut seen = Vec::new();
    for subject in subjects {
        let rows = || subject.cases.iter().flat_map(|c| &c.sheet().rows);
        let held = rows().filter(|r| r.pass).count();
        let anchor = subject.title.to_lowercase().replace([',', ':'], "").replace(' ', "-");
        line(
            &mut page,
            format!("| [{}](#{anchor}) | {} | {} | {held} |", subject.title, subject.cases.len(), rows().count()),
        );
        seen.extend(subject.cases.iter().map(|c| c.sheet().id));
    }
    let cases = seen.len();
    seen.sort_unstable();
    seen.dedup();
    assert_eq!(seen.len(), cases, "two cases have the same name: {seen:?}");
    for subject in subjects {
        line(&mut page, format!("\n## {}\n", subject.title));
        for case in subject.cases {
            about(&mut page, case.sheet());
        }
        line(&mut page, "\n| case | trust | quantity | expected | got | difference | tolerance | holds |".into());
        line(&mut page, "|---|---|---|--:|--:|--:|---|---|".into());
        for case in subject.cases {
            rows(&mut page, case.sheet());
        }
    }
    page
}

fn line(page: &mut String, text: String) {
    writeln!(page, "{text}").expect("a string takes any text");
}

/// What a case is, its source, and the reasons for its tolerances: lettered where there are several.
fn about(page: &mut String, sheet: &Sheet) {
    let mut text = format!("- **{}**: {}. *Source ({})*: {}.", sheet.id, sheet.what, sheet.trust.mark(), sheet.source);
    for (k, reason) in sheet.reasons.iter().enumerate() {
        let letter = letter(sheet, Some(k));
        write!(text, " *Tolerance{letter}*: {reason}.").expect("a string takes any text");
    }
    line(page, text);
}

fn letter(sheet: &Sheet, reason: Option<usize>) -> String {
    match reason {
        Some(k) if sheet.reasons.len() > 1 => format!(" ({})", char::from(b'a' + k as u8)),
        _ => String::new(),
    }
}

fn rows(page: &mut String, sheet: &Sheet) {
    for r in &sheet.rows {
        let cells = [
            sheet.id.to_string(),
            sheet.trust.mark().to_string(),
            r.quantity.replace('|', "\\|"),
            r.expected.clone(),
            r.got.clone(),
            r.difference.clone(),
            format!("{}{}", r.tolerance, letter(sheet, r.reason)),
            if r.pass { "yes" } else { "**NO**" }.to_string(),
        ];
        line(page, format!("| {} |", cells.join(" | ")));
    }
}

#[cfg(test)]
mod tests {
    use super::{Sheet, Trust, long, places, short};

    fn sheet() -> Sheet {
        let mut sheet = Sheet::new("X-1", "a sheet", Trust::B, "nowhere");
        sheet.because("it is a test");
        sheet
    }

    fn verdict(fill: fn(&mut Sheet)) -> Result<(), String> {
        let mut sheet = sheet();
        fill(&mut sheet);
        std::panic::catch_unwind(|| sheet.verdict()).map_err(|e| *e.downcast::<String>().expect("a text"))
    }

    #[test]
    fn every_failing_row_is_told() {
        let told = verdict(|s| {
            s.close("first", 1.2, 1.0, 0.1);
            s.close_relative("second", 10.5, 10.0, 0.1);
            s.equal("third", 2, 3);
            s.less_than("fourth", 1.0, 1.0);
        });
        let told = told.expect_err("three rows do not hold");
        assert!(told.starts_with("X-1: 3 of 4 rows"), "{told}");
        assert!(["first", "third", "fourth"].iter().all(|q| told.contains(q)) && !told.contains("second"), "{told}");
    }

    #[test]
    fn what_is_no_number_holds_nowhere() {
        let rows: [fn(&mut Sheet); 6] = [
            |s| s.close("x", f64::NAN, 1.0, 1.0),
            |s| s.close_relative("x", f64::NAN, 1.0, 1.0),
            |s| s.all_close("x", [("a".into(), 1.0, 1.0), ("b".into(), f64::NAN, 1.0)], 1.0),
            |s| s.at_most("x", f64::NAN, 1.0),
            |s| s.at_least("x", f64::NAN, 1.0),
            |s| s.more_than("x", f64::NAN, 1.0),
        ];
        for row in rows {
            assert!(verdict(row).is_err());
        }
    }

    #[test]
    fn edges_hold_and_an_empty_sheet_does_not() {
        assert_eq!(verdict(|s| s.close("x", 1.5, 1.0, 0.5)), Ok(()));
        assert_eq!(verdict(|s| s.at_most("x", 1.0, 1.0)), Ok(()));
        assert_eq!(verdict(|s| s.all_close("x", [("a".into(), 1.0, 1.25)], 0.5)), Ok(()));
        assert!(verdict(|_| ()).is_err());
    }

    #[test]
    #[should_panic(expected = "has no reason")]
    fn a_tolerance_needs_a_reason() {
        Sheet::new("X-2", "a sheet", Trust::B, "nowhere").close("x", 1.0, 1.0, 0.1);
    }

    #[test]
    fn figures_are_readable() {
        assert_eq!(long(79.623_381, places(1e-6 * 79.6)), "79.623381");
        assert_eq!(long(-0.000_123_456, places(1e-7)), "-1.2346e-4");
        assert_eq!((long(0.5, None), long(0.0, places(0.01))), ("0.5".into(), "0.000".into()));
        assert_eq!(
            ["0.05", "1e-6", "1.5", "0.0345"],
            [0.05, 1e-6, 1.5, 0.0345].map(short).each_ref().map(|s| s.as_str())
        );
        assert_eq!((short(0.0), short(1234.0), short(2.5e-8)), ("0".into(), "1234".into(), "2.5e-8".into()));
    }
}
