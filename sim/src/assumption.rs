//! Defaults that were used, each with its value and where it comes from.

/// One default in the answer's list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Assumption {
    /// The input that was not given.
    pub input: &'static str,
    /// What was taken instead.
    pub value: String,
    /// Where that comes from, or that it is an assumption.
    pub source: &'static str,
}

/// Takes what was given or notes what is assumed.
pub fn given_or(
    given: Option<f64>,
    assumed: &mut Vec<Assumption>,
    input: &'static str,
    value: f64,
    text: impl FnOnce(f64) -> String,
    source: &'static str,
) -> f64 {
    given.unwrap_or_else(|| {
        assumed.push(Assumption { input, value: text(value), source });
        value
    })
}
