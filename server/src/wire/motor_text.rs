//! What people write about a motor: its code, or its thrust curve in two columns.

use super::units::{Unreadable, quoted};

/// What a motor code says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MotorCode {
    /// Upper end of the impulse class, N s.
    pub class_upper_n_s: f64,
    /// Average thrust, N.
    pub average_n: f64,
    /// Delay, s; `None` when the code has none or the motor has no ejection charge.
    pub delay_s: Option<f64>,
}

/// Upper end of class A, N s; each class has twice the impulse of the one before.
const CLASS_A_N_S: f64 = 2.5;
/// The longest burn a code may imply, s.
const LONGEST_BURN_S: f64 = 60.0;

/// Reads class, average thrust and delay: "C6-5", "1/2A3-4T", "G40-7". Letters after the thrust or the delay name a
/// propellant or a size and say nothing about flight. "P" or "PT" for a delay means there is no ejection charge.
pub fn code(text: &str) -> Result<MotorCode, Unreadable> {
    // Word processors turn the hyphen into a dash.
    let upper = text.trim().to_uppercase().replace(['\u{2010}', '\u{2011}', '\u{2012}', '\u{2013}', '\u{2212}'], "-");
    let wrong = |problem: String| {
        Unreadable {
        problem,
        remedy: "write class, average thrust in newtons and delay in seconds, such as \"C6-5\" or \"1/2A3-4\"; classes are 1/8A, 1/4A, 1/2A, A to O".into(),
    }
    };
    let (factor, rest) = [("1/8A", 0.125), ("1/4A", 0.25), ("1/2A", 0.5)]
        .iter()
        .find_map(|(class, factor)| Some((*factor, upper.strip_prefix(class)?)))
        .or_else(|| {
            let letter = upper.chars().next().filter(|c| ('A'..='O').contains(c))?;
            Some((f64::from(1_u32 << (u32::from(letter) - u32::from('A'))), &upper[1..]))
        })
        .ok_or_else(|| wrong(format!("{} begins with no impulse class", quoted(text))))?;
    let (thrust, delay) = match rest.split_once('-') {
        Some((thrust, delay)) => (thrust, Some(delay)),
        None => (rest, None),
    };
    let number = |part: &str| {
        let digits = part.trim().trim_end_matches(|c: char| c.is_ascii_alphabetic());
        let short = part.trim().len() - digits.len() <= 3 && digits.len() <= 6;
        let plain = digits.chars().all(|c| c.is_ascii_digit() || c == '.');
        digits.parse::<f64>().ok().filter(|_| short && plain)
    };
    let average_n = number(thrust)
        .filter(|n| *n > 0.0)
        .ok_or_else(|| wrong(format!("{} has no average thrust after its class", quoted(text))))?;
    let delay_s = match delay.map(str::trim) {
        None | Some("P" | "PT") => None,
        Some(delay) => {
            Some(number(delay).ok_or_else(|| wrong(format!("the delay {} is no number of seconds", quoted(delay))))?)
        }
    };
    let class_upper_n_s = factor * CLASS_A_N_S;
    // The middle of the class, as the engine takes it.
    let burn_s = 0.75 * class_upper_n_s / average_n;
    if burn_s > LONGEST_BURN_S {
        return Err(wrong(format!("{} would burn for {burn_s:.0} s", quoted(text))));
    }
    Ok(MotorCode { class_upper_n_s, average_n, delay_s })
}

/// Reads two columns of numbers: (line, seconds, newtons). Empty lines, lines that begin with "#" and one line of
/// headings in words are skipped. Columns are parted by a comma, a semicolon, a tab or spaces.
pub fn columns(text: &str) -> Result<Vec<(usize, f64, f64)>, Unreadable> {
    let mut rows = Vec::new();
    let mut heading = false;
    // Some editors put a mark of the encoding in front.
    for (index, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        let line = line.trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let cells: Vec<&str> = line.split([',', ';', '\t', ' ']).filter(|c| !c.is_empty()).collect();
        let numbers: Vec<f64> = cells.iter().filter_map(|c| c.parse::<f64>().ok().filter(|x| x.is_finite())).collect();
        match numbers[..] {
            [seconds, newtons] if cells.len() == 2 => rows.push((index + 1, seconds, newtons)),
            [] if rows.is_empty() && !heading && line.contains(char::is_alphabetic) => heading = true,
            _ => {
                return Err(Unreadable {
                    problem: format!("line {} is {}, not two numbers", index + 1, quoted(line)),
                    remedy:
                        "give two columns and nothing else, seconds and newtons, with decimal points: \"0.10, 42.5\""
                            .into(),
                });
            }
        }
    }
    Ok(rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes() {
        for (text, class, average, delay) in [
            ("C6-5", 10.0, 6.0, Some(5.0)),
            ("c6-5", 10.0, 6.0, Some(5.0)),
            ("A8", 2.5, 8.0, None),
            ("1/2A3-4T", 1.25, 3.0, Some(4.0)),
            ("1/4A3", 0.625, 3.0, None),
            ("1/8A1.5-0", 0.3125, 1.5, Some(0.0)),
            ("G40W-7", 160.0, 40.0, Some(7.0)),
            ("O8000-P", 40_960.0, 8000.0, None),
            ("G40-PT", 160.0, 40.0, None),
            ("C6\u{2013}5", 10.0, 6.0, Some(5.0)),
        ] {
            let expected = MotorCode { class_upper_n_s: class, average_n: average, delay_s: delay };
            assert_eq!(code(text), Ok(expected), "{text}");
        }
        for text in ["", "6-5", "P6", "C", "C-5", "C6-x", "C0", "O1", "C6--5", "C1e9", "CNAN", "é6", "C6-5abcd"] {
            assert!(code(text).is_err(), "{text}");
        }
    }

    #[test]
    fn two_columns() {
        let rows = vec![(3, 0.0, 0.0), (4, 0.1, 42.5), (5, 1.0, 0.0)];
        assert_eq!(columns("\u{feff}time, thrust\n\n0,0\n0.1; 42.5\r\n1\t0\n# end"), Ok(rows));
        for text in ["0,0\n0,1;42,5", "0 0 0", "0", "a\nb\n0 0", "-, -\n0 0", "0 0\nend"] {
            assert!(columns(text).is_err(), "{text}");
        }
    }
}
