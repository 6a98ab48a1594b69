//! What may fail, and what becomes of a flight in which it does.

/// A failure. Shares of them are the caller's; what each does is an assumption that the answer lists.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Failure {
    /// Nothing fires.
    NoEjection,
    /// It ejects, but nothing that opens fills.
    NothingFills,
    /// The ejection comes at any time between the rail and when it should.
    EarlyEjection,
    /// The motor's delay is one to two tolerances off.
    DelayOutOfTolerance,
    /// A motor of another delay was fitted.
    WrongDelay,
    /// The motors give less impulse than they should.
    ImpulseShort,
    /// One motor of a cluster stays unlit.
    MotorUnlit,
    /// What opens first does not fill; the main opens at the speed of the fall.
    FirstFails,
    /// The main opens together with what opens first.
    MainAtOnce,
    /// The cord breaks: a part falls by itself.
    PartsSeparate,
    /// The charge drives out the motor instead of what should open.
    MotorEjected,
    /// A fin comes off under thrust.
    FinLost,
    /// The motor bursts; what is left of the rocket tumbles.
    MotorBursts,
}

impl Failure {
    /// Every failure, in the order of its number.
    pub const ALL: [Self; 13] = [
        Self::NoEjection,
        Self::NothingFills,
        Self::EarlyEjection,
        Self::DelayOutOfTolerance,
        Self::WrongDelay,
        Self::ImpulseShort,
        Self::MotorUnlit,
        Self::FirstFails,
        Self::MainAtOnce,
        Self::PartsSeparate,
        Self::MotorEjected,
        Self::FinLost,
        Self::MotorBursts,
    ];

    /// Its name, stable for programs.
    pub fn name(self) -> &'static str {
        match self {
            Self::NoEjection => "no_ejection",
            Self::NothingFills => "nothing_fills",
            Self::EarlyEjection => "early_ejection",
            Self::DelayOutOfTolerance => "delay_out_of_tolerance",
            Self::WrongDelay => "wrong_delay",
            Self::ImpulseShort => "impulse_short",
            Self::MotorUnlit => "motor_unlit",
            Self::FirstFails => "first_fails",
            Self::MainAtOnce => "main_at_once",
            Self::PartsSeparate => "parts_separate",
            Self::MotorEjected => "motor_ejected",
            Self::FinLost => "fin_lost",
            Self::MotorBursts => "motor_bursts",
        }
    }

    /// Whether the flight up to the ejection is another one.
    pub fn changes_ascent(self) -> bool {
        matches!(self, Self::ImpulseShort | Self::MotorUnlit | Self::FinLost)
    }
}

/// A failure as drawn for one flight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Failing {
    /// Which.
    pub failure: Failure,
    /// When, as a share of the time in which it may come.
    pub when: f64,
    /// How large, as a share of its range.
    pub size: f64,
}

/// Steps in which delays are commonly made, s: another one may be fitted by mistake. An assumption.
const WRONG_DELAYS_S: [f64; 4] = [-4.0, -2.0, 2.0, 4.0];
/// Least and largest share of its impulse that a weak motor gives. An assumption.
const SHORT_IMPULSE: [f64; 2] = [0.5, 0.9];
/// Share of mass and length that comes off with the canopy when the cord breaks. An assumption.
pub const FORWARD_SHARE: f64 = 0.3;
/// Share of the drag area left to a canopy that is torn or streams without filling. An assumption.
pub const STREAMING_SHARE: f64 = 0.1;

impl Failing {
    /// Share of its impulse that each motor gives.
    pub fn impulse_share(&self) -> f64 {
        match self.failure {
            Failure::ImpulseShort => SHORT_IMPULSE[0] + (SHORT_IMPULSE[1] - SHORT_IMPULSE[0]) * self.size,
            _ => 1.0,
        }
    }

    /// Delay of the motor that is really fitted, s.
    pub fn fitted_delay_s(&self, delay_s: f64) -> f64 {
        match self.failure {
            Failure::WrongDelay => (delay_s + WRONG_DELAYS_S[pick(self.size, WRONG_DELAYS_S.len())]).max(0.0),
            _ => delay_s,
        }
    }

    /// Error of the delay in tolerances, where the failure makes it.
    pub fn delay_in_tolerances(&self) -> Option<f64> {
        // Early in the lower half of the range, late in the upper one.
        let out = 4.0 * self.size - 2.0;
        (self.failure == Failure::DelayOutOfTolerance).then_some(0.5 * out + 1.0_f64.copysign(out))
    }
}

/// One of a number of equal choices.
pub fn pick(uniform: f64, choices: usize) -> usize {
    ((uniform * choices as f64) as usize).min(choices - 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn failing(failure: Failure, size: f64) -> Failing {
        Failing { failure, when: 0.5, size }
    }

    #[test]
    fn sizes_fill_their_ranges() {
        for (size, share, delay, tolerances) in
            [(0.001, 0.5004, 1.0, -1.998), (0.4, 0.66, 3.0, -1.2), (0.6, 0.74, 7.0, 1.2), (0.999, 0.8996, 9.0, 1.998)]
        {
            assert!((failing(Failure::ImpulseShort, size).impulse_share() - share).abs() < 1e-12);
            assert_eq!(failing(Failure::WrongDelay, size).fitted_delay_s(5.0), delay);
            let out = failing(Failure::DelayOutOfTolerance, size).delay_in_tolerances();
            assert!(out.is_some_and(|out| (out - tolerances).abs() < 1e-12), "{out:?}");
        }
        // No delay below none; and what does not fail stays as it is.
        assert_eq!(failing(Failure::WrongDelay, 0.1).fitted_delay_s(3.0), 0.0);
        let other = failing(Failure::NoEjection, 0.1);
        assert_eq!((other.impulse_share(), other.fitted_delay_s(5.0), other.delay_in_tolerances()), (1.0, 5.0, None));
    }

    #[test]
    fn every_choice_is_picked() {
        assert_eq!([0.0, 0.24, 0.26, 0.99, 1.0].map(|u| pick(u, 4)), [0, 0, 1, 3, 3]);
    }

    #[test]
    fn no_two_failures_share_a_name() {
        let mut names = Failure::ALL.map(Failure::name).to_vec();
        names.sort_unstable();
        names.dedup();
        assert!(names.len() == Failure::ALL.len() && names.iter().all(|n| n.len() > 4), "{names:?}");
        assert_eq!(Failure::ALL.iter().filter(|f| f.changes_ascent()).count(), 3);
    }
}
