//! Every flight's chances as a table after RFC 4180.

use std::fmt::Write;

use slowpoint_sim::case::Question;
use slowpoint_sim::report::FIRST_CAUTION;
use slowpoint_sim::{FlightChances, way_label};

/// A row a flight, way of deploying and limit; the caution stands in the last column of the first row, where a table is
/// read first and no reader trips over it.
pub fn flights(question: &Question, flights: &[FlightChances]) -> String {
    let labels: Vec<String> = question.ways.iter().map(|way| quoted(&way_label(way))).collect();
    let mut table = String::from("flight,delay,limit_m_s,over,unsafe_opening,caution\r\n");
    let mut caution = quoted(FIRST_CAUTION);
    for FlightChances { flight, ways, .. } in flights {
        for (label, limits) in labels.iter().zip(ways) {
            for (limit_m_s, [over, unsafe_opening]) in question.limits_m_s.iter().zip(limits) {
                // Writing to a String cannot fail.
                let _ = write!(table, "{flight},{label},{limit_m_s},{over},{unsafe_opening},{caution}\r\n");
                caution.clear();
            }
        }
    }
    table
}

fn quoted(text: &str) -> String {
    if text.contains(['"', ',', '\r', '\n']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text.into() }
}

#[cfg(test)]
mod tests {
    use super::quoted;

    #[test]
    fn labels_with_commas_are_quoted() {
        assert_eq!(quoted("altimeter, delay 6 s behind it"), "\"altimeter, delay 6 s behind it\"");
        assert_eq!(quoted("delay 6 s"), "delay 6 s");
        assert_eq!(quoted("a \"b\""), "\"a \"\"b\"\"\"");
    }
}
