//! Figures as they come, and how many counts are off.

use std::fmt::Display;
use std::process::ExitCode;
use std::time::Instant;

use slowpoint_tests::served::Service;

/// The table of a run.
#[derive(Default)]
pub struct Table {
    subject: &'static str,
    begun: Option<Instant>,
    off: usize,
    partly: bool,
}

impl Table {
    /// What cannot be tried here may be left out.
    pub fn partly(&mut self) {
        self.partly = true;
    }

    /// Begins a subject.
    pub fn begin(&mut self, subject: &'static str) {
        self.close();
        println!("{subject}");
        (self.subject, self.begun) = (subject, Some(Instant::now()));
    }

    fn close(&mut self) {
        if let Some(begun) = self.begun.take() {
            self.told("the trial took, s", format!("{:.0}", begun.elapsed().as_secs_f64()));
        }
    }

    /// A figure that decides nothing.
    pub fn told(&mut self, what: &str, figure: impl Display) {
        println!("  {what:<78} {figure:>12}");
    }

    fn row(&mut self, what: &str, found: usize, holds: bool, expected: &str) {
        self.off += usize::from(!holds);
        let word = if holds { String::new() } else { format!("  OFF: {expected} expected") };
        println!("  {what:<78} {found:>12}{word}");
    }

    /// A count that has to be this.
    pub fn count(&mut self, what: &str, found: usize, expected: usize) {
        self.row(what, found, found == expected, &expected.to_string());
    }

    /// A count that may not be more.
    pub fn at_most(&mut self, what: &str, found: usize, most: usize) {
        self.row(what, found, found <= most, &format!("at most {most}"));
    }

    /// A count that may not be less.
    pub fn at_least(&mut self, what: &str, found: usize, least: usize) {
        self.row(what, found, found >= least, &format!("at least {least}"));
    }

    /// What is to be empty; the first of it is shown.
    pub fn none(&mut self, what: &str, found: &[String]) {
        self.count(what, found.len(), 0);
        for one in found.iter().take(3) {
            println!("    {one}");
        }
    }

    /// No panic, as its log has it.
    pub fn no_panic(&mut self, service: &Service) {
        self.none("panics", &service.lines_with("panicked", usize::MAX));
    }

    /// What this machine has not what it takes to try.
    pub fn missing(&mut self, what: &str, reason: &str) {
        self.off += usize::from(!self.partly);
        println!("  {}{what}: not tried. {reason}", if self.partly { "" } else { "OFF: " });
    }

    /// A trial that could not be held.
    pub fn failed(&mut self, reason: &str) {
        self.off += 1;
        println!("  OFF: not tried to the end. {reason}");
    }

    /// Whether all held.
    pub fn end(mut self) -> ExitCode {
        self.close();
        if self.off == 0 {
            println!("Every count holds.");
            return ExitCode::SUCCESS;
        }
        println!("{} counts are off.", self.off);
        ExitCode::FAILURE
    }
}

/// A part of sorted figures: 0.5 is the median.
pub fn quantile(sorted: &[f64], part: f64) -> f64 {
    let last = sorted.len().saturating_sub(1);
    sorted.get((part * last as f64).round() as usize).copied().unwrap_or(f64::NAN)
}
