//! What is wrong with an input: which one, why, and how to mend it.

/// One fault of the input. Its texts are written once, here or where the rule stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Path of the input as the caller names it, dots between the names ("card.motor.propellant_mass").
    pub field: String,
    /// What is wrong, with the value that was sent.
    pub problem: String,
    /// What would be accepted, or what to look up.
    pub remedy: String,
}

impl Fault {
    /// A fault of one field.
    pub fn new(field: impl Into<String>, problem: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { field: field.into(), problem: problem.into(), remedy: remedy.into() }
    }
}

/// Gathers every fault instead of stopping at the first one.
#[derive(Debug, Default)]
pub struct Faults {
    /// What is wrong.
    pub found: Vec<Fault>,
    /// Inputs with a range that are no number: a placeholder where a caller is still gathering faults, never part of a
    /// case.
    pub no_number: Vec<Fault>,
}

impl Faults {
    /// Notes a fault.
    pub fn add(&mut self, field: impl Into<String>, problem: impl Into<String>, remedy: impl Into<String>) {
        self.found.push(Fault::new(field, problem, remedy));
    }

    /// Whether a field or anything inside it has been faulted already.
    pub fn touches(&self, field: &str) -> bool {
        self.found.iter().any(|f| f.field == field || f.field.starts_with(&format!("{field}.")))
    }
}
