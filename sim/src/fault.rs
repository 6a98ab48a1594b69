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
pub struct Faults(pub Vec<Fault>);

impl Faults {
    /// Notes a fault.
    pub fn add(&mut self, field: impl Into<String>, problem: impl Into<String>, remedy: impl Into<String>) {
        self.0.push(Fault::new(field, problem, remedy));
    }

    /// Whether a field or anything inside it has been faulted already.
    pub fn touches(&self, field: &str) -> bool {
        self.0.iter().any(|f| f.field == field || f.field.starts_with(&format!("{field}.")))
    }
}
