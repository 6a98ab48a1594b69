//! What pictures share: a canvas as wide as a phone, words that wrap, axes, and colours.
//!
//! Pictures are drawn 360 units wide, so that at 360 px no letter is smaller than 10 px, and stand alone: no script, no
//! style sheet, no other file, a title and a description for whoever does not see them.
//!
//! Colours: blue for what flights do, orange for what they are held against or what fails. The two lie far apart for
//! every common kind of colour blindness, which takes red from green, and differ in darkness; and no meaning hangs on
//! colour alone: lines differ in dashes, areas are numbered, words stand beside. Text has a contrast of 7:1 or more.

use std::fmt::Write;

use super::xml::escaped;
use crate::wire::Figure;

/// Media type.
pub const MEDIA_TYPE: &str = "image/svg+xml";
/// Width of every picture.
pub const WIDTH: f64 = 360.0;
/// Left and right edge of the words.
const MARGIN: f64 = 10.0;
/// Words and axes.
pub const INK: &str = "#1a1a1a";
/// Words that matter less.
pub const GREY: &str = "#4d4d4d";
/// Lines of a grid.
pub const GRID: &str = "#d9d9d9";
/// What flights do.
pub const BLUE: &str = "#08519c";
/// Half of them.
pub const BLUE_MIDDLE: &str = "#6aaed6";
/// Nine tenths of them.
pub const BLUE_PALE: &str = "#c6dbef";
/// What they are held against, and what fails.
pub const ORANGE: &str = "#923800";
/// Sizes of letters: titles, words, notes.
pub const TITLE: f64 = 14.0;
/// See `TITLE`.
pub const WORDS: f64 = 11.0;
/// See `TITLE`.
pub const NOTE: f64 = 10.0;
/// Width of a letter over its height, on average and in the widest of the usual fonts.
const LETTER: f64 = 0.56;

/// Where a text stands about its place.
#[derive(Debug, Clone, Copy)]
pub enum Anchor {
    /// Begins there.
    Start,
    /// Has its middle there.
    Middle,
    /// Ends there.
    End,
}

/// A picture in the making, from top to bottom.
pub struct Picture {
    body: String,
    /// How far it reaches down.
    pub below: f64,
}

impl Picture {
    /// Begins with the rocket's name and what is shown.
    pub fn new(name: &str, shown: &str) -> Self {
        let mut picture = Self { body: String::new(), below: 8.0 };
        picture.paragraph(name, TITLE, INK, true);
        picture.paragraph(shown, WORDS, INK, false);
        picture
    }

    /// Adds elements as they are.
    pub fn raw(&mut self, elements: &str) {
        self.body += elements;
        self.body.push('\n');
    }

    /// A line of text; on top of lines it keeps a white rim.
    pub fn text(&mut self, [x, y]: [f64; 2], size: f64, anchor: Anchor, colour: &str, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        // Writing to a String cannot fail.
        let _ = writeln!(
            self.body,
            "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{size}\"{anchor} fill=\"{colour}\" stroke=\"#fff\" stroke-width=\"3\" stroke-linejoin=\"round\" paint-order=\"stroke\">{}</text>",
            escaped(text)
        );
    }

    /// A paragraph over the whole width, below what is there.
    pub fn paragraph(&mut self, text: &str, size: f64, colour: &str, bold: bool) {
        let weight = if bold { " font-weight=\"bold\"" } else { "" };
        let letters = (WIDTH - 2.0 * MARGIN) / (LETTER * size * if bold { 1.1 } else { 1.0 });
        for line in wrapped(text, letters as usize) {
            self.below += 1.3 * size;
            let _ = writeln!(
                self.body,
                "<text x=\"{MARGIN}\" y=\"{:.1}\" font-size=\"{size}\" fill=\"{colour}\"{weight}>{}</text>",
                self.below,
                escaped(&line)
            );
        }
        self.below += 0.3 * size;
    }

    /// A sample of what is drawn, with its meaning beside it. The sample is drawn about the place given, 24 wide.
    pub fn key(&mut self, sample: impl Fn([f64; 2]) -> String, text: &str) {
        const INDENT: f64 = 32.0;
        let letters = (WIDTH - 2.0 * MARGIN - INDENT) / (LETTER * NOTE);
        for (k, line) in wrapped(text, letters as usize).iter().enumerate() {
            self.below += 1.4 * NOTE;
            if k == 0 {
                self.body += &sample([MARGIN + 12.0, self.below - 0.35 * NOTE]);
                self.body.push('\n');
            }
            let _ = writeln!(
                self.body,
                "<text x=\"{:.1}\" y=\"{:.1}\" font-size=\"{NOTE}\" fill=\"{INK}\">{}</text>",
                MARGIN + INDENT,
                self.below,
                escaped(line)
            );
        }
    }

    /// The whole picture. `told` is what it shows, for those who do not see it.
    pub fn finish(mut self, title: &str, told: &str, caution: &str, source: &str) -> String {
        self.below += 4.0;
        self.paragraph(caution, NOTE, INK, true);
        self.paragraph(source, NOTE, GREY, false);
        let height = (self.below + 6.0).ceil();
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" width=\"{WIDTH}\" height=\"{height}\" font-family=\"sans-serif\" role=\"img\" aria-labelledby=\"title desc\">\n<title id=\"title\">{}</title>\n<desc id=\"desc\">{}</desc>\n<rect width=\"{WIDTH}\" height=\"{height}\" fill=\"#fff\"/>\n{}</svg>\n",
            escaped(title),
            escaped(&format!("{caution} {told}")),
            self.body
        )
    }
}

/// Lines of at most so many letters; a word that is longer is cut.
fn wrapped(text: &str, letters: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let pieces: Vec<char> = word.chars().collect();
        for piece in pieces.chunks(letters.max(1)) {
            let line = lines.last().map_or(0, |line| line.chars().count());
            if line > 0 && line + 1 + piece.len() > letters {
                lines.push(String::new());
            }
            if let Some(line) = lines.last_mut() {
                if !line.is_empty() {
                    line.push(' ');
                }
                line.extend(piece);
            }
        }
    }
    lines
}

/// From a quantity to a place on the picture.
#[derive(Debug, Clone, Copy)]
pub struct Axis {
    /// The quantity at both ends.
    pub from: f64,
    /// See `from`.
    pub to: f64,
    /// Where they are.
    pub at: [f64; 2],
}

impl Axis {
    /// Where a value lies.
    pub fn place(&self, value: f64) -> f64 {
        self.at[0] + (value - self.from) / (self.to - self.from) * (self.at[1] - self.at[0])
    }

    /// Round values along it, at least so far apart on the picture.
    pub fn ticks(&self, apart: f64) -> Vec<f64> {
        let per_unit = ((self.at[1] - self.at[0]) / (self.to - self.from)).abs();
        let step = step_of(apart / per_unit);
        let first = (self.from / step - 1e-9).ceil() as i64;
        let last = (self.to / step + 1e-9).floor() as i64;
        (first..=last).map(|k| k as f64 * step).collect()
    }
}

/// The least of 1, 2 and 5 times a power of ten that is at least so large.
pub fn step_of(least: f64) -> f64 {
    let tens = 10_f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .map(|m| m * tens)
        .into_iter()
        .find(|step| *step >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * tens)
}

/// A number as short as it is: 0.5, 10, 12.25.
pub fn short(x: f64) -> String {
    format!("{}", (100.0 * x).round() / 100.0 + 0.0)
}

/// One decimal.
pub fn tenths(f: Figure) -> String {
    f.rounded().map_or("not known".into(), |x| format!("{x:.1}"))
}

/// A whole number.
pub fn whole(f: Figure) -> String {
    f.rounded().map_or("not known".into(), |x| format!("{x:.0}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance of a colour (WCAG 2.2).
    fn luminance(colour: &str) -> f64 {
        let part = |k: usize| {
            let c = f64::from(u8::from_str_radix(&colour[k..k + 2], 16).unwrap_or(0)) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    }

    fn contrast(one: &str, other: &str) -> f64 {
        let [a, b] = [luminance(one), luminance(other)];
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// Against white, WCAG's 7:1 for words (1.4.6); what is filled stands out from what it is drawn on.
    #[test]
    fn colours_have_contrast() {
        assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
        assert!((contrast("#777777", "#ffffff") - 4.48).abs() < 0.01, "published with WCAG's failures");
        for colour in [INK, GREY, BLUE, ORANGE] {
            assert!(contrast(colour, "#ffffff") >= 7.0, "{colour}: {}", contrast(colour, "#ffffff"));
        }
        for (line, ground) in [(BLUE, BLUE_MIDDLE), (BLUE_MIDDLE, BLUE_PALE), (ORANGE, BLUE_PALE), (BLUE, BLUE_PALE)] {
            assert!(contrast(line, ground) > 1.7, "{line} on {ground}: {}", contrast(line, ground));
        }
    }

    #[test]
    fn words_wrap() {
        assert_eq!(wrapped("one two three", 7), ["one two", "three"]);
        assert_eq!(wrapped("abcdefghij", 4), ["abcd", "efgh", "ij"]);
        assert_eq!(wrapped("", 4), [""]);
    }

    #[test]
    fn ticks_are_round() {
        let axis = Axis { from: 0.0, to: 74.0, at: [200.0, 0.0] };
        assert_eq!(axis.ticks(30.0), [0.0, 20.0, 40.0, 60.0]);
        assert_eq!(step_of(0.3), 0.5);
        assert_eq!(step_of(2.0), 2.0);
        assert_eq!(step_of(70.0), 100.0);
    }
}
