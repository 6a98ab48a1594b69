//! Other forms: of an answer, made from the answer alone, and of its flights.

pub mod calibration;
pub mod cords;
pub mod csv;
mod cut;
pub mod deploy_speed;
pub mod flight_paths;
pub mod geojson;
pub mod heat_map;
pub mod kml;
pub mod landing_map;
pub mod png;
pub mod rare;
pub mod stored;
pub mod svg;
pub mod terminal;
pub mod wind_profile;
pub mod winds;
mod xml;

/// A number with so many decimals; what rounds to nothing has no sign.
pub fn fixed(x: f64, decimals: usize) -> String {
    let text = format!("{x:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.bytes().all(|b| matches!(b, b'0' | b'.')) => digits.into(),
        _ => text,
    }
}

#[cfg(test)]
mod tests {
    use super::{fixed, svg};
    use crate::wire::Figure;

    #[test]
    fn nothing_has_no_sign() {
        for (x, none, one) in
            [(-0.0, "0", "0.0"), (-0.04, "0", "0.0"), (-0.4, "0", "-0.4"), (-1.2, "-1", "-1.2"), (0.3, "0", "0.3")]
        {
            assert_eq!([fixed(x, 0), fixed(x, 1)], [none, one], "{x}");
            assert_eq!([svg::whole(Figure(x)), svg::tenths(Figure(x))], [none, one], "{x}");
        }
    }
}
