//! What pictures share: a canvas as wide as a phone, words that wrap, axes, and colours.
//!
//! Pictures are drawn 360 units wide, so that at 360 px no letter is smaller than 10 px, and stand alone: no script, no
//! style sheet, no other file, a title and a description for whoever does not see them.
//!
//! Colours: blue for what flights do, orange for what they are held against or what fails. The two lie far apart for
//! every common kind of colour blindness, which takes red from green, and differ in darkness; and no meaning hangs on
//! colour alone: lines differ in dashes, areas are numbered, words stand beside. Text has a contrast of 7:1 or more.

use std::fmt::Write;

use super::fixed;
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
/// Nine tenths of them, at delays that were not asked.
pub const BLUE_BAND: &str = "#e9f1f9";
/// Half of them.
pub const BLUE_MIDDLE: &str = "#6aaed6";
/// Nine tenths of them, or half at delays that were not asked.
pub const BLUE_PALE: &str = "#c6dbef";
/// What they are held against, and what fails.
pub const ORANGE: &str = "#923800";
/// Sizes of letters: titles, words, notes.
pub const TITLE: f64 = 14.0;
/// See `TITLE`.
pub const WORDS: f64 = 11.0;
/// See `TITLE`.
pub const NOTE: f64 = 10.0;
/// How much wider bold letters are.
const BOLD: f64 = 1.12;

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
        for line in wrapped(text, (WIDTH - 2.0 * MARGIN) / (size * if bold { BOLD } else { 1.0 })) {
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
        for (k, line) in wrapped(text, (WIDTH - 2.0 * MARGIN - INDENT) / NOTE).iter().enumerate() {
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

    /// Lines across some rows that lie on an axis, each with its words below them.
    pub fn grid(&mut self, axis: &Axis, [top, bottom]: [f64; 2], ticks: impl Iterator<Item = (f64, String)>) {
        for (value, words) in ticks {
            let x = axis.place(value);
            self.raw(&format!("<path d=\"M{x:.1} {top:.1}V{bottom:.1}\" stroke=\"{GRID}\"/>"));
            self.text([x, bottom + 11.0], NOTE, Anchor::Middle, INK, &words);
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

/// Width and height of a picture that was finished here.
pub fn size(picture: &str) -> Option<[u32; 2]> {
    let (_, from) = picture.split_once(" viewBox=\"0 0 ")?;
    let (width, from) = from.split_once(' ')?;
    let (height, _) = from.split_once('"')?;
    Some([width.parse().ok()?, height.parse().ok()?])
}

/// Width of a letter over its size: in DejaVu Sans, in which the PNG is set and which is wide among the usual fonts, no
/// more than this. Of other scripts only a few signs are wider.
fn width_of(letter: char) -> f64 {
    match letter {
        'i' | 'j' | 'l' | 'f' | 't' | 'r' | 'I' | ' ' | '.' | ',' | ':' | ';' | '\'' | '(' | ')' | '[' | ']' | '|'
        | '!' => 0.45,
        'm' | 'w' | 'M' | 'W' | '%' | '@' => 1.0,
        'A'..='Z' | '+' | '<' | '=' | '>' | '~' | '#' | '&' => 0.84,
        ' '..='~' => 0.64,
        _ => 1.2,
    }
}

/// Width of a text over the size of its letters, and perhaps a little more.
pub fn width(text: &str) -> f64 {
    text.chars().map(width_of).sum()
}

/// As much of a text as has so much room, in sizes of its letters.
pub fn cut(text: &str, room: f64) -> String {
    if width(text) <= room {
        return text.into();
    }
    let mut left = room - width(".");
    let mut short: String = text
        .chars()
        .take_while(|letter| {
            left -= width_of(*letter);
            left >= 0.0
        })
        .collect();
    short.push('.');
    short
}

/// Lines at most so wide, in sizes of their letters; a word that is longer is cut.
pub fn wrapped(text: &str, room: f64) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut used = 0.0;
    for word in text.split_whitespace() {
        if used > 0.0 {
            if used + width(" ") + width(word) <= room {
                if let Some(line) = lines.last_mut() {
                    line.push(' ');
                }
                used += width(" ");
            } else {
                lines.push(String::new());
                used = 0.0;
            }
        }
        for letter in word.chars() {
            if used > 0.0 && used + width_of(letter) > room {
                lines.push(String::new());
                used = 0.0;
            }
            if let Some(line) = lines.last_mut() {
                line.push(letter);
            }
            used += width_of(letter);
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
    f.rounded().map_or("not known".into(), |x| fixed(x, 1))
}

/// A whole number.
pub fn whole(f: Figure) -> String {
    f.rounded().map_or("not known".into(), |x| fixed(x, 0))
}

/// Red, green and blue from 0 to 1, linear in light (WCAG 2.2).
#[cfg(test)]
pub fn light(colour: &str) -> [f64; 3] {
    [1, 3, 5].map(|k| {
        let c = f64::from(u8::from_str_radix(&colour[k..k + 2], 16).unwrap_or(0)) / 255.0;
        if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
    })
}

/// Contrast of two colours (WCAG 2.2).
#[cfg(test)]
pub fn contrast(one: &str, other: &str) -> f64 {
    let luminance = |colour: &str| {
        let [r, g, b] = light(colour);
        0.2126 * r + 0.7152 * g + 0.0722 * b
    };
    let [a, b] = [luminance(one), luminance(other)];
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against white, WCAG's 7:1 for words (1.4.6), and 3:1 for every line against what it is drawn on or goes round
    /// (1.4.11).
    #[test]
    fn colours_have_contrast() {
        assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
        assert!((contrast("#777777", "#ffffff") - 4.48).abs() < 0.01, "published with WCAG's failures");
        for colour in [INK, GREY, BLUE, ORANGE] {
            assert!(contrast(colour, "#ffffff") >= 7.0, "{colour}: {}", contrast(colour, "#ffffff"));
        }
        for ground in [BLUE_MIDDLE, BLUE_PALE, BLUE_BAND, "#ffffff"] {
            for line in [BLUE, ORANGE] {
                assert!(contrast(line, ground) >= 3.0, "{line} on {ground}: {}", contrast(line, ground));
            }
        }
    }

    /// Lines of different meaning lie 35 and more apart in CIE 1976 L*a*b* as everyone sees them: where 2.3 is just noticed.
    /// Without red, green or blue cones by Machado, Oliveira and Fernandes (2009), severity 1 (matrices from memory; each
    /// of their rows adds up to 1, so that grey stays grey).
    #[test]
    fn colours_differ_for_everyone() {
        let kinds = [
            [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
            [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
            [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
            [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
        ];
        let row = |row: [f64; 3], c: [f64; 3]| row[0] * c[0] + row[1] * c[1] + row[2] * c[2];
        let lab = |c: [f64; 3]| {
            // sRGB's primaries to CIE XYZ over white of D65 (IEC 61966-2-1).
            let xyz = [
                row([0.4124, 0.3576, 0.1805], c) / 0.9505,
                row([0.2126, 0.7152, 0.0722], c),
                row([0.0193, 0.1192, 0.9505], c) / 1.0890,
            ];
            let [x, y, z] = xyz.map(|t| if t > 0.008856 { t.cbrt() } else { 7.787 * t + 16.0 / 116.0 });
            [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
        };
        for kind in kinds {
            assert!(kind.iter().all(|row| (row.iter().sum::<f64>() - 1.0).abs() < 1e-5));
            let seen = |colour: &str| lab(kind.map(|of| row(of, light(colour)).clamp(0.0, 1.0)));
            for (one, other) in [(BLUE, ORANGE), (BLUE, INK), (ORANGE, INK), (ORANGE, BLUE_MIDDLE)] {
                let [a, b] = [seen(one), seen(other)];
                let apart = (0..3).map(|k| (a[k] - b[k]).powi(2)).sum::<f64>().sqrt();
                assert!(apart > 35.0, "{one} and {other}: {apart}");
            }
        }
    }

    #[test]
    fn a_picture_knows_its_size() {
        let picture = Picture::new("a", "b").finish("title viewBox=\"0 0 1 1\"", "told", "caution", "source");
        let [width, height] = size(&picture).unwrap_or_default();
        assert_eq!(f64::from(width), WIDTH);
        assert!(picture.contains(&format!("<rect width=\"{width}\" height=\"{height}\"")), "{picture}");
        assert_eq!(size("<svg/>"), None);
    }

    #[test]
    fn words_wrap() {
        assert_eq!(wrapped("one two three", 5.0), ["one two", "three"]);
        assert_eq!(wrapped("abcdeghkno", 2.6), ["abcd", "eghk", "no"]);
        assert_eq!(wrapped("an abcdegh", 2.6), ["an", "abcd", "egh"]);
        assert_eq!(wrapped("", 4.0), [""]);
        assert_eq!(cut("WWWW", 4.0), "WWWW");
        assert_eq!(cut("WWWWW", 4.0), "WWW.");
    }

    /// No letter of the fonts that come with the program is wider than it is taken to be.
    #[test]
    fn letters_are_no_wider() {
        let letters: Vec<char> = (' '..='~')
            .chain('\u{a0}'..='\u{17f}')
            .chain('\u{370}'..='\u{45f}')
            .filter(|c| c.is_alphanumeric())
            .collect();
        for (weight, wider) in [("normal", 1.0), ("bold", BOLD)] {
            let texts: String = letters
                .iter()
                .map(|c| format!("<text font-size=\"10\" font-weight=\"{weight}\">{}</text>", c.to_string().repeat(10)))
                .collect();
            let svg = format!("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"9\" height=\"9\">{texts}</svg>");
            let widths = crate::render::png::widths(&svg);
            assert_eq!(widths.len(), letters.len());
            for (letter, found) in letters.iter().zip(widths) {
                assert!(found <= 100.0 * wider * width_of(*letter) + 1e-3, "{letter} {weight}: {found}");
            }
        }
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
