//! What a stored answer tells, member by member, and its numbers as the page shows them.
//!
//! A number is read once, in SI, as the answer has it, and rounded once, when it is shown: switching units there and back
//! moves nothing. With it stand its own value and its place in the answer (a JSON Pointer), so that whoever doubts a cell
//! finds where it comes from.

use crate::wire::of_flights;
use maud::{Markup, html};
use serde::Deserialize;
use serde_json::Value;
use slowpoint_sim::constants::{FOOT_M, FOOT_POUND_J, MILE_PER_HOUR_M_S, POUND_FORCE_N, POUND_FORCE_PER_INCH_N_MM};

/// What stands where the answer has no number.
pub const NOT_KNOWN: &str = "not known";

/// Which units are shown.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Units {
    /// Metres, metres per second, joules.
    #[default]
    Si,
    /// Feet, miles per hour, foot-pounds.
    Us,
}

/// What is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// A speed.
    Speed,
    /// A length on the ground or a height.
    Length,
    /// A time.
    Time,
    /// A kinetic energy.
    Energy,
    /// A force.
    Force,
    /// A force over the width that it bears on.
    LineLoad,
}

impl Quantity {
    /// Name of the unit, how much of SI it is, and the decimals that are shown.
    fn unit(self, units: Units) -> (&'static str, f64, usize) {
        match (self, units) {
            (Self::Speed, Units::Si) => ("m/s", 1.0, 1),
            (Self::Speed, Units::Us) => ("mph", MILE_PER_HOUR_M_S, 1),
            (Self::Length, Units::Si) => ("m", 1.0, 0),
            (Self::Length, Units::Us) => ("ft", FOOT_M, 0),
            (Self::Time, _) => ("s", 1.0, 1),
            (Self::Energy, Units::Si) => ("J", 1.0, 0),
            (Self::Force, Units::Si) => ("N", 1.0, 0),
            (Self::Force, Units::Us) => ("lbf", POUND_FORCE_N, 0),
            // Answers have newtons over millimetres.
            (Self::LineLoad, Units::Si) => ("N/mm", 1.0, 1),
            (Self::LineLoad, Units::Us) => ("lbf/in", POUND_FORCE_PER_INCH_N_MM, 0),
            (Self::Energy, Units::Us) => ("ft lbf", FOOT_POUND_J, 0),
        }
    }

    /// Name of the unit.
    pub fn name(self, units: Units) -> &'static str {
        self.unit(units).0
    }
}

/// A number with so many decimals; what would print as minus zero prints as zero.
fn digits(x: f64, decimals: usize) -> String {
    let text = format!("{x:.decimals$}");
    let zero = text.trim_start_matches('-').bytes().all(|b| b == b'0' || b == b'.');
    if zero { text.trim_start_matches('-').to_string() } else { text }
}

/// Without zeros at the end of its decimals.
fn shortened(digits: String) -> String {
    if digits.contains('.') { digits.trim_end_matches('0').trim_end_matches('.').to_string() } else { digits }
}

/// A place of an answer. What is not there, as in answers of older engines, is null.
#[derive(Debug, Clone)]
pub struct At<'a> {
    value: &'a Value,
    pointer: String,
}

static NOTHING: Value = Value::Null;

impl<'a> At<'a> {
    /// The whole answer.
    pub fn whole(answer: &'a Value) -> Self {
        Self { value: answer, pointer: String::new() }
    }

    /// A part of an answer that is not whole yet, at the place that it will have.
    pub fn within(part: &'a Value, pointer: &str) -> Self {
        Self { value: part, pointer: pointer.into() }
    }

    /// No place: everything in it is null.
    pub fn nothing() -> Self {
        Self::whole(&NOTHING)
    }

    /// A member.
    pub fn get(&self, name: &'static str) -> Self {
        Self { value: self.value.get(name).unwrap_or(&NOTHING), pointer: format!("{}/{name}", self.pointer) }
    }

    /// A member of members: "at_ejection.airspeed_m_s.p50".
    pub fn down(&self, names: &'static str) -> Self {
        names.split('.').fold(self.clone(), |at, name| at.get(name))
    }

    /// One of a list.
    pub fn nth(&self, k: usize) -> Self {
        Self { value: self.value.get(k).unwrap_or(&NOTHING), pointer: format!("{}/{k}", self.pointer) }
    }

    /// All of a list.
    pub fn items(&self) -> Vec<Self> {
        (0..self.value.as_array().map_or(0, Vec::len)).map(|k| self.nth(k)).collect()
    }

    /// Whether there is anything.
    pub fn is_there(&self) -> bool {
        !self.value.is_null()
    }

    /// A text; empty where there is none.
    pub fn text(&self) -> &'a str {
        self.value.as_str().unwrap_or_default()
    }

    /// A number.
    pub fn number(&self) -> Option<f64> {
        self.value.as_f64()
    }

    /// Whether it is true.
    pub fn holds(&self) -> bool {
        self.value.as_bool().unwrap_or_default()
    }

    /// A text as it stands in the answer; what it has between backticks is shown as code, without them.
    pub fn words(&self) -> Markup {
        let pieces = || self.text().split('`').enumerate();
        html! {
            @if self.text().is_empty() { (NOT_KNOWN) }
            @else {
                span data-at=(self.pointer) {
                    @for (k, piece) in pieces() { @if k % 2 == 1 { code { (piece) } } @else { (piece) } }
                }
            }
        }
    }

    /// A chance in words.
    pub fn chance(&self) -> Markup {
        self.get("text").with_interval()
    }

    /// The same, where answers of before have a number without an interval.
    pub fn chance_or_share(&self) -> Markup {
        if self.get("text").is_there() { self.chance() } else { self.percent() }
    }

    /// A text whose interval, which lies in brackets at its end, is set smaller.
    pub fn with_interval(&self) -> Markup {
        let (estimate, interval) = self.text().split_at(self.text().find(" (").unwrap_or(self.text().len()));
        html! {
            @if estimate.is_empty() { (NOT_KNOWN) }
            @else { span.chance data-at=(self.pointer) { (estimate) @if !interval.is_empty() { small { (interval) } } } }
        }
    }

    /// A number with its unit.
    pub fn measure(&self, quantity: Quantity, units: Units) -> Markup {
        let (name, of_si, decimals) = quantity.unit(units);
        self.shown(|x| digits(x / of_si, decimals), Some(name))
    }

    /// The same under a heading that has the unit.
    pub fn bare(&self, quantity: Quantity, units: Units) -> Markup {
        let (_, of_si, decimals) = quantity.unit(units);
        self.shown(|x| digits(x / of_si, decimals), None)
    }

    /// A number without a unit, or of one that is the same everywhere.
    pub fn plain(&self, decimals: usize, unit: Option<&str>) -> Markup {
        self.shown(|x| digits(x, decimals), unit)
    }

    /// The same, with no more decimals than it has: what people set is mostly round.
    pub fn short(&self, decimals: usize, unit: &str) -> Markup {
        self.shown(|x| shortened(digits(x, decimals)), Some(unit))
    }

    /// A share in per cent.
    pub fn percent(&self) -> Markup {
        self.shown(|share| digits(100.0 * share, 0), Some("%"))
    }

    /// A share that people set, in per cent, with no more decimals than it has.
    pub fn short_percent(&self) -> Markup {
        self.shown(|share| shortened(digits(100.0 * share, 2)), Some("%"))
    }

    /// How many flights it is, from their share.
    pub fn of_flights(&self) -> Markup {
        self.shown(of_flights, None)
    }

    /// An end of an interval of a chance, in per cent; never 0 or 100.
    pub fn end(&self) -> Markup {
        let text = |p: f64| match p {
            p if p < 0.0005 => "< 0.1".into(),
            // From here on it would be rounded to 100.0.
            p if p >= 0.9995 => "> 99.9".into(),
            p => digits(100.0 * p, 1),
        };
        self.shown(text, Some("%"))
    }

    /// A value as JSON has it.
    pub fn json(&self) -> String {
        self.value.to_string()
    }

    /// A count.
    pub fn count(&self) -> Markup {
        self.shown(|n| digits(n, 0), None)
    }

    fn shown(&self, digits: impl Fn(f64) -> String, unit: Option<&str>) -> Markup {
        html! {
            @match self.number() {
                Some(x) => {
                    data value=(self.value) data-at=(self.pointer) { (digits(x)) @if let Some(unit) = unit { "\u{a0}" (unit) } }
                }
                None => (NOT_KNOWN),
            }
        }
    }
}

/// A limit in both units, as every limit is told: an object with `limit_m_s` and `limit_mph`.
pub fn limit(at: &At, units: Units) -> Markup {
    let m_s = at.get("limit_m_s").short(1, "m/s");
    let mph = at.get("limit_mph").short(1, "mph");
    html! {
        @match units {
            Units::Si => { (m_s) " (" (mph) ")" }
            Units::Us => { (mph) " (" (m_s) ")" }
        }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn no_chance_is_0_or_100() {
        for (chance, text) in [
            (0.0, "< 0.1"),
            (0.000_499_999, "< 0.1"),
            (0.0005, "0.1"),
            (0.001, "0.1"),
            (0.5, "50.0"),
            (0.999, "99.9"),
            (0.999_499, "99.9"),
            (0.999_499_999, "99.9"),
            (0.9995, "> 99.9"),
            (0.999_501, "> 99.9"),
            (1.0, "> 99.9"),
        ] {
            let shown = At::whole(&json!(chance)).end().into_string();
            let text = text.replace('<', "&lt;").replace('>', "&gt;");
            assert!(shown.contains(&format!(">{text}\u{a0}%<")), "{chance}: {shown}");
        }
    }

    #[test]
    fn a_chance_without_its_interval_is_a_share() {
        for (chance, text) in [(json!({"text": "25 % (23 to 27 %)"}), ">25 %<"), (json!(0.25), ">25\u{a0}%<")] {
            let shown = At::whole(&chance).chance_or_share().into_string();
            assert!(shown.contains(text), "{shown}");
        }
    }

    #[test]
    fn shares_of_flights_are_told_to_two_digits() {
        for (share, text) in [(0.0003, "0.030 % of flights"), (0.31, "31 % of flights"), (1.0, "all flights")] {
            let shown = At::whole(&json!(share)).of_flights().into_string();
            assert!(shown.contains(&format!(">{text}<")), "{share}: {shown}");
        }
    }

    #[test]
    fn names_of_members_are_code() {
        let answer = json!("take `wind` and `site` as they are");
        assert_eq!(
            At::whole(&answer).words().into_string(),
            "<span data-at=\"\">take <code>wind</code> and <code>site</code> as they are</span>"
        );
    }

    #[test]
    fn numbers_are_rounded_once_and_keep_their_place() {
        let answer = json!({"list": [{"v_m_s": 15.6464, "none": null, "zero": -0.04, "text": "16 % (10 to 24 %)"}]});
        let at = At::whole(&answer).get("list").nth(0);
        let shown = |markup: Markup| markup.into_string();
        assert_eq!(
            shown(at.get("v_m_s").measure(Quantity::Speed, Units::Us)),
            "<data value=\"15.6464\" data-at=\"/list/0/v_m_s\">35.0\u{a0}mph</data>"
        );
        assert_eq!(
            shown(at.get("zero").bare(Quantity::Time, Units::Si)),
            "<data value=\"-0.04\" data-at=\"/list/0/zero\">0.0</data>"
        );
        assert_eq!(shown(at.get("none").measure(Quantity::Length, Units::Si)), NOT_KNOWN);
        assert_eq!(shown(at.get("absent").percent()), NOT_KNOWN);
        for (told, digits) in [("60.0", "60"), ("62.5", "62.5"), ("100", "100"), ("5.00", "5")] {
            assert_eq!(shortened(told.into()), digits);
        }
        assert_eq!(
            shown(at.chance()),
            "<span class=\"chance\" data-at=\"/list/0/text\">16 %<small> (10 to 24 %)</small></span>"
        );
        let (_, joules, _) = Quantity::Energy.unit(Units::Us);
        assert!((joules - 1.355_817_948_331_4).abs() < 1e-12, "NIST SP 811: {joules}");
        let (_, newtons, _) = Quantity::Force.unit(Units::Us);
        assert!((newtons - 4.448_221_615_260_5).abs() < 1e-12, "NIST SP 811: {newtons}");
        // 175.1268 N/m.
        let (_, newtons_per_mm, _) = Quantity::LineLoad.unit(Units::Us);
        assert!((newtons_per_mm - 0.175_126_8).abs() < 1e-7, "NIST SP 811: {newtons_per_mm}");
    }
}
