//! The only door for units: text with a unit, or a bare number, to SI and radians.
//!
//! One table per quantity. Factors are exact by definition unless a line says otherwise (NIST Special
//! Publication 811, appendix B: inch, pound, nautical mile and standard gravity are exact; conventional
//! inch of mercury rounded to seven digits).

use core::f64::consts::{PI, TAU};

/// A unit: SI value = number x factor + offset.
#[derive(Debug, Clone, Copy)]
pub struct Unit {
    /// Accepted spellings, the one shown first.
    names: &'static [&'static str],
    factor: f64,
    offset: f64,
}

/// The units of one quantity.
#[derive(Debug)]
pub struct Table {
    /// What is measured, in words.
    pub quantity: &'static str,
    units: &'static [Unit],
    /// Index of the unit that a bare number has.
    bare: usize,
    /// Units a bare number may have been meant in, likeliest first.
    pub slips: &'static [&'static str],
    /// A text that reads well in a description.
    pub example: &'static str,
}

/// What a caller wrote, understood.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// In SI and radians.
    pub si: f64,
    /// The number as written.
    pub number: f64,
    /// Index of its unit in the table.
    unit: usize,
    /// Whether the unit was written down.
    pub explicit: bool,
}

/// What is wrong with a text, and how to mend it.
#[derive(Debug, Clone, PartialEq)]
pub struct Unreadable {
    /// What is wrong.
    pub problem: String,
    /// How to mend it.
    pub remedy: String,
}

const fn unit(names: &'static [&'static str], factor: f64) -> Unit {
    Unit { names, factor, offset: 0.0 }
}

/// Standard gravity, m/s^2, exact.
const G: f64 = 9.806_65;
const POUND: f64 = 0.453_592_37;
const INCH: f64 = 0.0254;
const FOOT: f64 = 12.0 * INCH;
const MILE: f64 = 5280.0 * FOOT;
const NAUTICAL_MILE: f64 = 1852.0;
const DEG: f64 = PI / 180.0;

/// Lengths.
pub const LENGTH: Table = Table {
    quantity: "length",
    units: &[
        unit(&["m", "metre", "metres", "meter", "meters"], 1.0),
        unit(&["cm", "centimetre", "centimetres", "centimeter", "centimeters"], 0.01),
        unit(&["mm", "millimetre", "millimetres", "millimeter", "millimeters"], 1e-3),
        unit(&["um", "µm", "μm", "micron", "microns"], 1e-6),
        unit(&["km", "kilometre", "kilometres", "kilometer", "kilometers"], 1e3),
        unit(&["in", "inch", "inches", "\""], INCH),
        unit(&["ft", "foot", "feet", "'"], FOOT),
        unit(&["yd", "yard", "yards"], 3.0 * FOOT),
        unit(&["mi", "mile", "miles"], MILE),
        unit(&["nmi", "NM", "nautical mile", "nautical miles"], NAUTICAL_MILE),
    ],
    bare: 0,
    slips: &["mm", "in", "cm", "ft"],
    example: "54 mm",
};

/// Masses.
pub const MASS: Table = Table {
    quantity: "mass",
    units: &[
        unit(&["kg", "kilogram", "kilograms"], 1.0),
        unit(&["g", "gram", "grams"], 1e-3),
        unit(&["oz", "ounce", "ounces"], POUND / 16.0),
        unit(&["lb", "lbs", "lbm", "pound", "pounds"], POUND),
    ],
    bare: 0,
    slips: &["g", "oz"],
    example: "640 g",
};

/// Times.
pub const TIME: Table = Table {
    quantity: "time",
    units: &[
        unit(&["s", "sec", "secs", "second", "seconds"], 1.0),
        unit(&["ms", "millisecond", "milliseconds"], 1e-3),
        unit(&["min", "minute", "minutes"], 60.0),
        unit(&["h", "hr", "hour", "hours"], 3600.0),
    ],
    bare: 0,
    slips: &["ms"],
    example: "7 s",
};

/// Speeds.
pub const SPEED: Table = Table {
    quantity: "speed",
    units: &[
        unit(&["m/s", "mps", "m/sec", "m s^-1"], 1.0),
        unit(&["km/h", "kph", "kmh", "km/hr"], 1.0 / 3.6),
        unit(&["kt", "kts", "kn", "knot", "knots"], NAUTICAL_MILE / 3600.0),
        unit(&["mph", "mi/h", "miles per hour"], MILE / 3600.0),
        unit(&["ft/s", "fps", "ft/sec"], FOOT),
    ],
    bare: 0,
    slips: &["mph", "kt", "km/h", "ft/s"],
    example: "35 mph",
};

/// Forces.
pub const FORCE: Table = Table {
    quantity: "force",
    units: &[
        unit(&["N", "newton", "newtons"], 1.0),
        unit(&["kN"], 1e3),
        unit(&["lbf", "lb"], POUND * G),
        unit(&["gf"], 1e-3 * G),
        unit(&["kgf"], G),
    ],
    bare: 0,
    slips: &["gf"],
    example: "40 N",
};

/// Pressures.
pub const PRESSURE: Table = Table {
    quantity: "pressure",
    units: &[
        unit(&["Pa"], 1.0),
        unit(&["hPa"], 100.0),
        unit(&["kPa"], 1e3),
        unit(&["mbar", "mb", "millibar", "millibars"], 100.0),
        // Conventional; seven digits.
        unit(&["inHg", "inches of mercury"], 3386.389),
    ],
    bare: 0,
    slips: &["hPa", "inHg", "kPa"],
    example: "1013 hPa",
};

/// Temperatures.
pub const TEMPERATURE: Table = Table {
    quantity: "temperature",
    units: &[
        unit(&["K", "kelvin"], 1.0),
        Unit { names: &["C", "°C", "deg C", "celsius", "℃"], factor: 1.0, offset: 273.15 },
        Unit { names: &["F", "°F", "deg F", "fahrenheit", "℉"], factor: 5.0 / 9.0, offset: 459.67 * 5.0 / 9.0 },
    ],
    bare: 0,
    slips: &["C", "F"],
    example: "20 C",
};

/// Differences of temperature: no offset.
pub const TEMPERATURE_DIFFERENCE: Table = Table {
    quantity: "temperature difference",
    units: &[
        unit(&["K", "kelvin"], 1.0),
        unit(&["C", "°C", "deg C", "celsius", "℃"], 1.0),
        unit(&["F", "°F", "deg F", "fahrenheit", "℉"], 5.0 / 9.0),
    ],
    bare: 0,
    slips: &[],
    example: "2 K",
};

/// Angles. A bare number means degrees.
pub const ANGLE: Table = Table {
    quantity: "angle",
    units: &[
        unit(&["deg", "°", "degree", "degrees"], DEG),
        unit(&["rad", "radian", "radians"], 1.0),
        unit(&["mrad"], 1e-3),
    ],
    bare: 0,
    slips: &[],
    example: "5 deg",
};

/// Moments of inertia. Ounces and pounds are masses here, not forces.
pub const INERTIA: Table = Table {
    quantity: "moment of inertia",
    units: &[
        unit(&["kg m^2"], 1.0),
        unit(&["g cm^2"], 1e-7),
        unit(&["kg cm^2"], 1e-4),
        unit(&["oz in^2"], POUND / 16.0 * INCH * INCH),
        unit(&["lb in^2"], POUND * INCH * INCH),
        unit(&["lb ft^2"], POUND * FOOT * FOOT),
    ],
    bare: 0,
    slips: &["g cm^2"],
    example: "0.012 kg m^2",
};

/// Areas.
pub const AREA: Table = Table {
    quantity: "area",
    units: &[unit(&["m^2"], 1.0), unit(&["cm^2"], 1e-4), unit(&["mm^2"], 1e-6), unit(&["in^2"], INCH * INCH)],
    bare: 0,
    slips: &["mm^2", "cm^2"],
    example: "90 mm^2",
};

/// Loads along an edge.
pub const LINE_LOAD: Table = Table {
    quantity: "load per width",
    units: &[unit(&["N/m"], 1.0), unit(&["N/mm"], 1e3), unit(&["N/cm"], 100.0), unit(&["lbf/in"], POUND * G / INCH)],
    bare: 0,
    slips: &["N/mm", "lbf/in"],
    example: "50 N/mm",
};

/// Roll rates. A bare number means turns per second.
pub const ROLL_RATE: Table = Table {
    quantity: "roll rate",
    units: &[
        unit(&["turns/s", "turn/s", "rev/s", "rps", "1/s", "Hz"], TAU),
        unit(&["rpm", "rev/min", "turns/min"], TAU / 60.0),
        unit(&["deg/s", "°/s"], DEG),
        unit(&["rad/s"], 1.0),
    ],
    bare: 0,
    slips: &[],
    example: "0.5 turns/s",
};

/// Shares and factors.
pub const RATIO: Table = Table {
    quantity: "share or factor",
    units: &[unit(&[""], 1.0), unit(&["%", "percent", "per cent"], 0.01)],
    bare: 0,
    slips: &["%"],
    example: "3 %",
};

/// Every table.
pub const ALL: &[&Table] = &[
    &LENGTH,
    &MASS,
    &TIME,
    &SPEED,
    &FORCE,
    &PRESSURE,
    &TEMPERATURE,
    &TEMPERATURE_DIFFERENCE,
    &ANGLE,
    &INERTIA,
    &AREA,
    &LINE_LOAD,
    &ROLL_RATE,
    &RATIO,
];

impl Table {
    /// A bare number.
    pub fn bare(&self, number: f64) -> Reading {
        self.reading(number, self.bare, false)
    }

    fn reading(&self, number: f64, unit: usize, explicit: bool) -> Reading {
        let u = &self.units[unit];
        Reading { si: tidy(number * u.factor + u.offset), number, unit, explicit }
    }

    /// A number in a unit by name; `None` where the unit is not known.
    pub fn with(&self, number: f64, unit: &str) -> Option<Reading> {
        self.find(unit).map(|unit| self.reading(number, unit, true))
    }

    /// A number with its unit. Capitals matter only where two units differ by nothing else.
    pub fn text(&self, text: &str) -> Result<Reading, Unreadable> {
        let sent = quoted(text);
        if text.contains(',') {
            return Err(Unreadable {
                problem: format!("{sent} has a comma"),
                remedy: format!(
                    "write a decimal point and no thousands separator: 0.5 and 1000; for instance \"{}\"",
                    self.example
                ),
            });
        }
        // A typographic minus is still a minus.
        let plain = text.trim().replace('\u{2212}', "-");
        let Some((number, unit)) = split(&plain) else {
            return Err(Unreadable {
                problem: format!("{sent} does not begin with a number"),
                remedy: format!("write a number and its unit, for instance \"{}\"", self.example),
            });
        };
        let number = number.parse::<f64>().ok().filter(|x| x.is_finite()).ok_or_else(|| Unreadable {
            problem: format!("{sent} is too large a number"),
            remedy: format!("write a number and its unit, for instance \"{}\"", self.example),
        })?;
        if unit.trim().is_empty() {
            return Ok(self.bare(number));
        }
        match self.find(unit) {
            Some(found) => Ok(self.reading(number, found, true)),
            None => Err(Unreadable {
                problem: format!("{} is no unit of {} known here", quoted(unit.trim()), self.quantity),
                remedy: format!("use {}", self.list()),
            }),
        }
    }

    /// The name under which a unit is shown.
    pub fn name(&self, unit: &str) -> Option<&'static str> {
        self.find(unit).map(|unit| self.units[unit].names[0])
    }

    fn find(&self, unit: &str) -> Option<usize> {
        let wanted = key(unit);
        let by = |same: &dyn Fn(&str) -> bool| self.units.iter().position(|u| u.names.iter().any(|n| same(&key(n))));
        by(&|n| n == wanted).or_else(|| by(&|n| n.to_lowercase() == wanted.to_lowercase()))
    }

    /// The accepted units, the bare one marked.
    pub fn list(&self) -> String {
        let names: Vec<&str> = self.units.iter().map(|u| u.names[0]).filter(|n| !n.is_empty()).collect();
        let bare = self.units[self.bare].names[0];
        let names = names.join(", ");
        if bare.is_empty() {
            format!("a bare number or {names}")
        } else {
            format!("{names} (a bare number means {bare})")
        }
    }

    /// The unit of a bare number.
    pub fn bare_unit(&self) -> &'static str {
        self.units[self.bare].names[0]
    }

    /// A reading as it was written.
    pub fn show(&self, reading: &Reading) -> String {
        let name = self.units[reading.unit].names[0];
        if name.is_empty() { reading.number.to_string() } else { format!("{} {name}", reading.number) }
    }

    /// A range in SI, in the unit of a reading.
    pub fn range(&self, min: f64, max: f64, reading: &Reading) -> String {
        let u = &self.units[reading.unit];
        let within = |si: f64| short((si - u.offset) / u.factor);
        let unit = u.names[0];
        let text = format!("{} to {}", within(min), within(max));
        if unit.is_empty() { text } else { format!("{text} {unit}") }
    }

    /// What a bare number was perhaps meant to be: in each of the units that puts it inside.
    pub fn meant(&self, reading: &Reading, min: f64, max: f64, units: &[&str]) -> Vec<String> {
        if reading.explicit {
            return Vec::new();
        }
        let inside = |name: &&str| {
            let slip = self.reading(reading.number, self.find(name)?, true);
            (slip.si >= min && slip.si <= max).then(|| self.show(&slip))
        };
        units.iter().filter_map(inside).collect()
    }

    /// A reading in a unit by name, without the noise of the conversion.
    pub fn number_in(&self, reading: &Reading, name: &str) -> Option<f64> {
        let unit = self.find(name)?;
        let u = &self.units[unit];
        Some(if unit == reading.unit { reading.number } else { six_digits((reading.si - u.offset) / u.factor) })
    }

    /// A quantity in one of the units, for people.
    pub fn in_unit(&self, si: f64, name: &str) -> f64 {
        self.find(name).map_or(f64::NAN, |i| three_digits((si - self.units[i].offset) / self.units[i].factor))
    }
}

/// A unit without what spelling leaves free: spaces, powers written as ^2 or as superscript, multiplication dots.
fn key(unit: &str) -> String {
    unit.chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '^' | '·' | '*' | '.'))
        .map(|c| match c {
            '²' => '2',
            // The masculine ordinal and the ring above are what keyboards give for a degree.
            'º' | '˚' => '°',
            c => c,
        })
        .collect()
}

/// The number a text begins with, and the rest.
fn split(text: &str) -> Option<(&str, &str)> {
    let bytes = text.as_bytes();
    let digits = |from: usize| from + bytes[from..].iter().take_while(|b| b.is_ascii_digit()).count();
    let start = usize::from(bytes.first().is_some_and(|b| matches!(b, b'+' | b'-')));
    let mut end = digits(start);
    let mut some = end > start;
    if bytes.get(end) == Some(&b'.') {
        let fraction = digits(end + 1);
        some |= fraction > end + 1;
        end = fraction;
    }
    if !some {
        return None;
    }
    // An exponent only where digits follow: "2 em" is no number with an exponent.
    if bytes.get(end).is_some_and(|b| matches!(b, b'e' | b'E')) {
        let sign = usize::from(bytes.get(end + 1).is_some_and(|b| matches!(b, b'+' | b'-')));
        let exponent = digits((end + 1 + sign).min(bytes.len()));
        if exponent > end + 1 + sign {
            end = exponent;
        }
    }
    Some((&text[..end], &text[end..]))
}

/// A product without the noise of its last digit: "7100 ms" is 7.1 s, not 7.1000000000000005 s, in labels and beside
/// "7.1 s". Only where a dozen digits say it all; others stay as they are.
fn tidy(x: f64) -> f64 {
    let plain = format!("{x:.11e}").parse().unwrap_or(x);
    if (plain - x).abs() <= 4.0 * f64::EPSILON * x.abs() { plain } else { x }
}

/// A number in six significant digits, as answers show them: without the noise of a conversion.
pub fn six_digits(x: f64) -> f64 {
    format!("{x:.5e}").parse().unwrap_or(x)
}

/// A number in three digits, or as many as it has before the point.
fn three_digits(x: f64) -> f64 {
    if x.abs() >= 100.0 { x.round() } else { format!("{x:.2e}").parse().unwrap_or(x) }
}

/// A number in few digits.
fn short(x: f64) -> f64 {
    format!("{x:.4e}").parse().unwrap_or(x)
}

/// Text of a caller for a message: quoted, cut and without control characters.
pub fn quoted(text: &str) -> String {
    const MOST: usize = 60;
    let cut: String = text.chars().take(MOST).flat_map(char::escape_debug).collect();
    let more = if text.chars().nth(MOST).is_some() { "..." } else { "" };
    format!("\"{cut}{more}\"")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(table: &Table, text: &str, si: f64) {
        let got = table.text(text).map(|r| r.si);
        let Ok(got) = got else { panic!("{text}: {got:?}") };
        assert!((got - si).abs() <= 1e-13 * si.abs(), "{text}: {got}, expected {si}");
    }

    /// NIST SP 811 appendix B, exact values written out.
    #[test]
    fn factors() {
        let rows: &[(&Table, &str, f64)] = &[
            (&LENGTH, "1 m", 1.0),
            (&LENGTH, "1 mm", 0.001),
            (&LENGTH, "1 cm", 0.01),
            (&LENGTH, "1 km", 1000.0),
            (&LENGTH, "1 um", 1e-6),
            (&LENGTH, "1 in", 0.0254),
            (&LENGTH, "1 ft", 0.3048),
            (&LENGTH, "1 yd", 0.9144),
            (&LENGTH, "1 mi", 1609.344),
            (&LENGTH, "1 nmi", 1852.0),
            (&MASS, "1 kg", 1.0),
            (&MASS, "1 g", 0.001),
            (&MASS, "1 oz", 0.028_349_523_125),
            (&MASS, "1 lb", 0.453_592_37),
            (&TIME, "1 s", 1.0),
            (&TIME, "1 ms", 0.001),
            (&TIME, "1 min", 60.0),
            (&TIME, "1 h", 3600.0),
            (&SPEED, "1 m/s", 1.0),
            (&SPEED, "3.6 km/h", 1.0),
            (&SPEED, "1 kt", 1852.0 / 3600.0),
            (&SPEED, "1 mph", 0.447_04),
            (&SPEED, "1 ft/s", 0.3048),
            (&FORCE, "1 N", 1.0),
            (&FORCE, "1 kN", 1000.0),
            (&FORCE, "1 lbf", 4.448_221_615_260_5),
            (&FORCE, "1 gf", 0.009_806_65),
            (&FORCE, "1 kgf", 9.806_65),
            (&PRESSURE, "1 Pa", 1.0),
            (&PRESSURE, "1 hPa", 100.0),
            (&PRESSURE, "1 kPa", 1000.0),
            (&PRESSURE, "1 mbar", 100.0),
            (&PRESSURE, "1 inHg", 3386.389),
            (&TEMPERATURE, "1 K", 1.0),
            (&TEMPERATURE, "0 C", 273.15),
            (&TEMPERATURE, "-40 F", 233.15),
            (&TEMPERATURE, "212 F", 373.15),
            (&TEMPERATURE_DIFFERENCE, "9 F", 5.0),
            (&TEMPERATURE_DIFFERENCE, "2 C", 2.0),
            (&ANGLE, "180 deg", PI),
            (&ANGLE, "1 rad", 1.0),
            (&ANGLE, "1 mrad", 0.001),
            (&INERTIA, "1 kg m^2", 1.0),
            (&INERTIA, "1 g cm^2", 1e-7),
            (&INERTIA, "1 kg cm^2", 1e-4),
            // 1 oz in^2 = 1.828 998 E-05, 1 lb in^2 = 2.926 397 E-04, 1 lb ft^2 = 4.214 011 E-02 kg m^2.
            (&INERTIA, "1 oz in^2", 0.028_349_523_125 * 0.0254 * 0.0254),
            (&INERTIA, "1 lb in^2", 0.453_592_37 * 0.0254 * 0.0254),
            (&INERTIA, "1 lb ft^2", 0.453_592_37 * 0.3048 * 0.3048),
            (&AREA, "1 m^2", 1.0),
            (&AREA, "1 cm^2", 1e-4),
            (&AREA, "1 mm^2", 1e-6),
            (&AREA, "1 in^2", 6.4516e-4),
            (&ROLL_RATE, "1 turns/s", TAU),
            (&ROLL_RATE, "60 rpm", TAU),
            (&ROLL_RATE, "360 deg/s", TAU),
            (&ROLL_RATE, "1 rad/s", 1.0),
            (&RATIO, "3 %", 0.03),
        ];
        for (table, text, si) in rows {
            check(table, text, *si);
        }
        for (text, printed) in [("1 oz in^2", 1.828_998e-5), ("1 lb in^2", 2.926_397e-4), ("1 lb ft^2", 4.214_011e-2)] {
            let got = INERTIA.text(text).map_or(f64::NAN, |r| r.si);
            assert!((got / printed - 1.0).abs() < 3e-7, "{text}: {got}");
        }
        let tested = |t: &Table| rows.iter().filter(|r| core::ptr::eq(r.0, t)).count();
        for table in [&LENGTH, &MASS, &TIME, &SPEED, &FORCE, &PRESSURE, &INERTIA, &AREA, &ROLL_RATE] {
            assert!(tested(table) >= table.units.len(), "{}: a unit has no row", table.quantity);
        }
    }

    #[test]
    fn spellings() {
        for text in
            ["54 mm", "54mm", " 54  mm ", "54 MM", "+54 mm", "5.4e1 mm", "54.mm", "0.054", ".054 m", "54 Millimetres"]
        {
            check(&LENGTH, text, 0.054);
        }
        check(&TEMPERATURE, "-3.5 C", 269.65);
        check(&TEMPERATURE, "\u{2212}3.5 °C", 269.65);
        check(&MASS, "1e-3 kg", 1e-3);
        check(&MASS, "1.2Kg", 1.2);
        check(&SPEED, "35 MPH", 15.6464);
        check(&ANGLE, "5°", 5.0 * DEG);
        check(&ANGLE, "5", 5.0 * DEG);
        assert_eq!(TIME.text("7100 ms").map(|r| r.si), Ok(7.1));
        check(&ANGLE, "5 º", 5.0 * DEG);
        check(&TEMPERATURE, "20 ºC", 293.15);
        check(&ROLL_RATE, "2", 2.0 * TAU);
        check(&INERTIA, "2 kg·m²", 2.0);
        check(&INERTIA, "2 kgm2", 2.0);
        check(&PRESSURE, "29.92 in Hg", 29.92 * 3386.389);
    }

    #[test]
    fn refusals_say_what_is_accepted() {
        for (table, text, problem, remedy) in [
            (&LENGTH, "1,5 m", "comma", "decimal point"),
            (&LENGTH, "54 furlongs", "\"furlongs\" is no unit of length", "m, cm, mm"),
            (&LENGTH, "mm 54", "does not begin with a number", "\"54 mm\""),
            (&LENGTH, "", "does not begin with a number", "\"54 mm\""),
            (&LENGTH, "-", "does not begin with a number", "\"54 mm\""),
            (&LENGTH, "NaN", "does not begin with a number", "\"54 mm\""),
            (&LENGTH, "1e999 m", "too large", "\"54 mm\""),
            (&LENGTH, "1e", "\"e\" is no unit", "mm"),
            (&MASS, "3 m", "\"m\" is no unit of mass", "kg, g, oz, lb"),
            (&SPEED, "3 m", "\"m\" is no unit of speed", "m/s, km/h, kt, mph, ft/s"),
        ] {
            let Err(e) = table.text(text) else { panic!("{text} was read") };
            assert!(e.problem.contains(problem), "{text}: {}", e.problem);
            assert!(e.remedy.contains(remedy), "{text}: {}", e.remedy);
        }
    }

    /// Every shown unit is understood again, and a number keeps all its digits through text.
    #[test]
    fn what_is_shown_is_read() {
        for table in ALL {
            for (index, u) in table.units.iter().enumerate() {
                for number in [0.1, 1.0 / 3.0, 6.02e23, 5e-324, -1.5] {
                    let reading = table.reading(number, index, true);
                    let again = table.text(&table.show(&reading));
                    let Ok(again) = again else { panic!("{} {}: {again:?}", table.quantity, u.names[0]) };
                    assert_eq!((again.number, again.unit), (number, index), "{} {}", table.quantity, u.names[0]);
                }
                for name in u.names.iter() {
                    assert_eq!(table.find(name), Some(index), "{name}");
                }
            }
        }
    }

    #[test]
    fn slips_are_named() {
        let meant =
            |table: &Table, number: f64, min: f64, max: f64| table.meant(&table.bare(number), min, max, table.slips);
        assert_eq!(meant(&MASS, 640.0, 0.005, 500.0), ["640 g", "640 oz"]);
        assert_eq!(meant(&LENGTH, 54.0, 0.005, 1.0), ["54 mm", "54 cm"]);
        assert_eq!(meant(&PRESSURE, 1013.0, 45e3, 110e3), ["1013 hPa"]);
        assert_eq!(meant(&PRESSURE, 29.92, 45e3, 110e3), ["29.92 inHg"]);
        assert_eq!(meant(&TEMPERATURE, 20.0, 223.15, 333.15), ["20 C", "20 F"]);
        assert_eq!(meant(&TEMPERATURE, 72.0, 223.15, 333.15), ["72 F"]);
        assert_eq!(SPEED.in_unit(12.0, "mph"), 26.8);
        assert_eq!(
            TEMPERATURE.range(223.15, 333.15, &TEMPERATURE.text("80 C").unwrap_or(TEMPERATURE.bare(0.0))),
            "-50 to 60 C"
        );
    }
}
