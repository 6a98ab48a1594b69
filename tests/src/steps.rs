//! What the engine's steps do to the chances of an answer: the same flights, with the same numbers, flown with its own
//! steps and with much finer ones. Few flights tell a small bias, as all else that varies drops out.

use rayon::prelude::*;
use slowpoint_sim::case::{Case, Inputs};
use slowpoint_sim::draw::{Numbers, Shift, draw};
use slowpoint_sim::flight::{Ascent, Deployment, Electronics, Flown, WHOLE, Window, fly};
use slowpoint_sim::tally::limit_chances;
use slowpoint_sim::{asked, curve_s};

use crate::kernel::finer_flight;
use crate::rockets;
use crate::whole::{checked, drawn};

/// What is required of any chance.
pub const BIAS_MOST: f64 = 1e-4;

/// A flight whose chance moves by more than this strays.
pub const STRAYS: f64 = 0.01;

/// A chance with what the steps do to it.
#[derive(Debug, Clone)]
pub struct Bias {
    /// Which chance, for the printed row.
    pub what: String,
    /// Its mean over the flights, with the finer steps.
    pub chance: f64,
    /// Mean of its difference: the engine's own steps less the finer ones.
    pub bias: f64,
    /// Standard error of that mean.
    pub error: f64,
    /// Flights that differ by more than [`STRAYS`].
    pub strays: usize,
}

impl Bias {
    fn of(what: String, chance: f64, differences: &[f64]) -> Self {
        let n = differences.len() as f64;
        let bias = differences.iter().sum::<f64>() / n;
        let squares: f64 = differences.iter().map(|d| (d - bias) * (d - bias)).sum();
        let strays = differences.iter().filter(|d| d.abs() > STRAYS).count();
        Self { what, chance, bias, error: (squares / (n * (n - 1.0))).sqrt(), strays }
    }

    /// The largest size that two standard errors leave possible.
    pub fn at_most(&self) -> f64 {
        self.bias.abs() + 2.0 * self.error
    }
}

/// The nominal flight.
fn nominal(case: &Case) -> Flown {
    let (drawn, events) = draw(case, &Numbers::MIDDLE, &Shift::NONE);
    fly(&drawn, &events, &case.inputs.question.ways, &mut Ascent::default())
}

/// Every chance of a case by name, in the order of [`chances`].
fn names(case: &Case, curve_s: &[f64]) -> Vec<String> {
    let question = &case.inputs.question;
    let ways = question.ways.iter().map(slowpoint_sim::way_label);
    let curve = curve_s.iter().map(|delay_s| format!("delay {delay_s} s of the curve"));
    ways.chain(curve)
        .flat_map(|way| {
            question
                .limits_m_s
                .iter()
                .flat_map(move |limit_m_s| ["over", "unsafe at"].map(|what| format!("{way}, {what} {limit_m_s} m/s")))
        })
        .collect()
}

/// Every chance of one flight: per way and limit over it and unsafe, then the same per delay of the curve.
fn chances(case: &Case, curve_s: &[f64], flight: u64, finer: f64, ascent: &mut Ascent) -> Vec<f64> {
    let question = &case.inputs.question;
    let (drawn, events) = drawn(case, flight);
    let flown = finer_flight(&drawn, &events, &asked(case, curve_s), finer, ascent);
    let mut all: Vec<f64> =
        (0..question.ways.len()).flat_map(|way| limit_chances(flown.fate(way), way, case)).flatten().collect();
    for delay_s in curve_s {
        let mut sums = vec![[0_u64; 2]; question.limits_m_s.len()];
        let add = |window: &Window, share: u64| {
            for (k, [over, unsafe_opening]) in sums.iter_mut().enumerate() {
                *over += share * u64::from(window.over(k));
                *unsafe_opening += share * u64::from(window.unsafe_opening(k));
            }
        };
        let Some(law) = &flown.whole_law else { panic!("a flight without a failure has its whole law") };
        law.windows.shares_of_delay(&case.firing, *delay_s, add);
        all.extend(sums.into_iter().flatten().map(|sum| sum as f64 / WHOLE as f64));
    }
    all
}

/// What steps so many times finer than the engine's do to every chance of a case (`finer[0]`; its own where that is 1),
/// against others (`finer[1]`).
pub fn biases(case: &Case, flights: u64, finer: [f64; 2]) -> Vec<Bias> {
    let curve_s = curve_s(case);
    let both: Vec<[Vec<f64>; 2]> = (0..flights)
        .into_par_iter()
        .map_init(Ascent::default, |ascent, flight| finer.map(|f| chances(case, &curve_s, flight, f, ascent)))
        .collect();
    let of = |(k, what): (usize, String)| {
        let differences: Vec<f64> = both.iter().map(|[own, fine]| own[k] - fine[k]).collect();
        let chance = both.iter().map(|[_, fine]| fine[k]).sum::<f64>() / flights as f64;
        Bias::of(what, chance, &differences)
    };
    names(case, &curve_s).into_iter().enumerate().map(of).collect()
}

/// The chance that may be off by most.
pub fn worst(biases: &[Bias]) -> Option<&Bias> {
    biases.iter().max_by(|a, b| a.at_most().total_cmp(&b.at_most()))
}

/// How the name ends of a case whose altimeter is at a height.
pub const AT_A_HEIGHT: &str = "altimeter at a height";

/// The four rockets with their own delays and limits, and each with an altimeter in their place: at apogee, and at four
/// fifths of the nominal apogee coming down. Each is followed as closely as it asks by itself. An altimeter is held
/// against the nominal airspeed as well: what half of the flights exceed moves most.
pub fn cases() -> Vec<(String, Case)> {
    let of = |(name, inputs): (&str, Inputs)| {
        let own = checked(inputs.clone());
        let apogee_m = nominal(&own).apogee_m;
        let height = Electronics::Height((0.8 * apogee_m).round());
        let with = |(which, electronics)| {
            let mut inputs = inputs.clone();
            inputs.question.ways = vec![Deployment { motor_delay_s: None, electronics: Some(electronics) }];
            let fired = nominal(&checked(inputs.clone())).deployed.pop().and_then(|d| d.ejection);
            inputs.question.limits_m_s.extend(fired.map(|e| e.airspeed_m_s));
            inputs.question.limits_m_s.sort_by(f64::total_cmp);
            (format!("{name}, {which}"), checked(inputs))
        };
        let altimeters = [("altimeter at apogee", Electronics::Apogee), (AT_A_HEIGHT, height)].map(with);
        core::iter::once((format!("{name}, its delays"), own)).chain(altimeters)
    };
    rockets::all().into_iter().flat_map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use slowpoint_sim::each_flight;

    use crate::whole::GO;

    /// With the engine's own steps a flight is the engine's own, whatever it is asked.
    #[test]
    fn own_steps_give_the_engine_s_own_chances() {
        for (name, mut case) in cases() {
            case.inputs.question.flights = 64;
            let curve_s = curve_s(&case);
            let own =
                each_flight(&case, case.inputs.question.flights, &GO).unwrap_or_else(|| panic!("nobody stops it"));
            for of_engine in own {
                let here = chances(&case, &curve_s, of_engine.flight, 1.0, &mut Ascent::default());
                let ways: Vec<f64> = of_engine.ways.into_iter().flatten().flatten().collect();
                assert_eq!(here[..ways.len()], ways, "{name}, flight {}", of_engine.flight);
            }
        }
    }

    #[test]
    fn a_bias_with_its_error() {
        assert_eq!(Bias::of(String::new(), 0.5, &[0.011, 0.0, -0.02]).strays, 2);
        let b = Bias::of(String::new(), 0.5, &[1e-3, -1e-3, 3e-3, 1e-3]);
        // Mean 1e-3; squares of the rest 8e-6, of which the variance of the mean is a twelfth.
        assert!((b.bias - 1e-3).abs() < 1e-15 && (b.error - (8e-6_f64 / 12.0).sqrt()).abs() < 1e-15);
        assert!((b.at_most() - b.bias - 2.0 * b.error).abs() < 1e-15 && b.strays == 0);
    }
}
