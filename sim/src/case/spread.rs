//! Distributions of every uncertain input: the caller's, or defaults that say where they come from.

use super::inputs::{SpreadInput, ThrustInput};
use crate::assumption::{Assumption, given_or};
use crate::draw::Law;
use crate::fault::Faults;
use crate::flight::DelayError;
use crate::limits;
use crate::stat::normal;
use crate::wind::WindErrors;

/// Distributions of every uncertain input. Factors multiply, errors add.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    /// Impulse factor.
    pub impulse: Law,
    /// Burn time factor.
    pub burn_time: Law,
    /// Error of a delay.
    pub delay: DelayError,
    /// Lift-off mass factor.
    pub mass: Law,
    /// Error of the centre of gravity, m.
    pub centre_of_gravity: Law,
    /// Error of the centre of pressure, m.
    pub centre_of_pressure: Law,
    /// Drag factor.
    pub drag: Law,
    /// Normal-force slope factor.
    pub normal_force_slope: Law,
    /// Thrust misalignment about each transverse axis, rad.
    pub thrust_misalignment: Law,
    /// Fin misalignment about each transverse axis, rad.
    pub fin_misalignment: Law,
    /// Roll rate, rad/s.
    pub roll_rate: Law,
    /// Rail angle error in each of two perpendicular planes, rad.
    pub rail_angle: Law,
    /// Drag area factor of what opens.
    pub canopy_drag: Law,
    /// Ejection to line stretch, s.
    pub line_stretch_lag: Law,
    /// Lag of apogee sensing, s.
    pub apogee_lag: Law,
    /// Error of a sensed height, m.
    pub sensed_height: Law,
    /// Error of the temperature, K.
    pub temperature: Law,
    /// Error of the pressure, Pa.
    pub pressure: Law,
    /// Errors of the wind.
    pub wind: WindErrors,
}

const DEG: f64 = core::f64::consts::PI / 180.0;
const TURN: f64 = core::f64::consts::TAU;

/// Error of each component of a fresh wind, m/s.
const WIND_ERROR_M_S: f64 = 1.5;
/// What each hour of age adds to it, m/s.
const WIND_GROWTH_M_S_PER_H: f64 = 0.04;
const HOUR_S: f64 = 3600.0;

/// What age adds to the error of each component of the wind, m/s.
fn wind_growth_m_s(input: &SpreadInput, age_s: f64) -> f64 {
    input.wind_growth_m_s_per_h.unwrap_or(WIND_GROWTH_M_S_PER_H) * age_s / HOUR_S
}

/// What the defaults depend on.
pub struct Context<'a> {
    /// What is known of the thrust.
    pub thrust: &'a ThrustInput,
    /// Body length, m.
    pub length_m: f64,
    /// Centre of pressure, m.
    pub centre_of_pressure_m: f64,
    /// Whether the drag was built up from the shape.
    pub drag_built_up: bool,
    /// Age of the wind at launch, s.
    pub wind_age_s: Option<f64>,
}

impl Spread {
    /// Fills in what the caller left open; notes every default.
    pub fn resolve(input: &SpreadInput, about: &Context, assumed: &mut Vec<Assumption>) -> Self {
        let mut take = |law: &Option<Law>, name: &'static str, default: Law, text: String, source: &'static str| {
            law.clone().unwrap_or_else(|| {
                assumed.push(Assumption { input: name, value: text, source });
                default
            })
        };
        let impulse = match about.thrust {
            ThrustInput::Code { .. } => take(
                &input.impulse,
                "spread.impulse",
                Law::Uniform { low: 2.0 / 3.0, high: 4.0 / 3.0 },
                "uniform over the whole impulse class, a factor of two".into(),
                "only the motor code is known; the class spans this range",
            ),
            ThrustInput::Curve(_) => take(
                &input.impulse,
                "spread.impulse",
                Law::TruncatedNormal { mean: 1.0, sd: 0.033_5, low: 0.8, high: 1.2 },
                "normal, standard deviation 3.35 % of nominal, cut at +-20 %".into(),
                "half of the 6.7 % bound of NFPA 1125 (from memory, low confidence): an assumption",
            ),
        };
        let burn_time = take(
            &input.burn_time,
            "spread.burn_time",
            Law::TruncatedNormal { mean: 1.0, sd: 0.05, low: 0.8, high: 1.2 },
            "normal, standard deviation 5 % of nominal, cut at +-20 %".into(),
            "assumption",
        );
        let mass = take(
            &input.mass,
            "spread.mass",
            Law::TruncatedNormal { mean: 1.0, sd: 0.01, low: 0.95, high: 1.05 },
            "normal, standard deviation 1 % of the card's mass, cut at +-5 %".into(),
            "assumption: a weighed rocket with another day's wadding and paint",
        );
        let cg_sd = 0.005 * about.length_m;
        let centre_of_gravity = take(
            &input.centre_of_gravity,
            "spread.centre_of_gravity",
            Law::Normal { mean: 0.0, sd: cg_sd },
            format!("normal error, standard deviation {:.1} mm (0.5 % of the length)", cg_sd * 1e3),
            "assumption: a balanced rocket",
        );
        let cp_sd = 0.025 * about.centre_of_pressure_m;
        let centre_of_pressure = take(
            &input.centre_of_pressure,
            "spread.centre_of_pressure",
            Law::Normal { mean: 0.0, sd: cp_sd },
            format!("normal error, standard deviation {:.1} mm (2.5 % of its distance from the nose tip)", cp_sd * 1e3),
            "assumption; agreement with experiment is quoted as within 10 % (second-hand)",
        );
        let drag_sd = if about.drag_built_up { 0.15 } else { 0.10 };
        let drag = take(
            &input.drag,
            "spread.drag",
            Law::LogNormal { median: 1.0, log_sd: drag_sd },
            format!("lognormal, {:.0} % about nominal", drag_sd * 100.0),
            "assumption; published base-drag values alone differ by a factor of 2.5",
        );
        let normal_force_slope = take(
            &input.normal_force_slope,
            "spread.normal_force_slope",
            Law::LogNormal { median: 1.0, log_sd: 0.1 },
            "lognormal, 10 % about nominal".into(),
            "assumption",
        );
        let thrust_misalignment = take(
            &input.thrust_misalignment,
            "spread.thrust_misalignment",
            Law::Normal { mean: 0.0, sd: 0.15 * DEG },
            "normal, standard deviation 0.15 deg about each transverse axis".into(),
            "assumption",
        );
        let fin_misalignment = take(
            &input.fin_misalignment,
            "spread.fin_misalignment",
            Law::Normal { mean: 0.0, sd: 0.2 * DEG },
            "normal, standard deviation 0.2 deg of the whole set about each transverse axis".into(),
            "assumption",
        );
        let roll_rate = take(
            &input.roll_rate,
            "spread.roll_rate",
            Law::Normal { mean: 0.0, sd: 0.5 * TURN },
            "normal, standard deviation 0.5 turns/s".into(),
            "assumption",
        );
        let rail_angle = take(
            &input.rail_angle,
            "spread.rail_angle",
            Law::Normal { mean: 0.0, sd: DEG },
            "normal, standard deviation 1 deg in and across the plane of the tilt".into(),
            "assumption: a rail set by eye",
        );
        let canopy_drag = take(
            &input.canopy_drag,
            "spread.canopy_drag",
            Law::LogNormal { median: 1.0, log_sd: 0.1 },
            "lognormal, 10 % about nominal".into(),
            "assumption; published ranges for round canopies are near +-7 %",
        );
        let line_stretch_lag = take(
            &input.line_stretch_lag,
            "spread.line_stretch_lag",
            Law::Triangular { low: 0.2, mode: 0.5, high: 1.0 },
            "triangular 0.2 to 1.0 s, most likely 0.5 s".into(),
            "assumption",
        );
        let apogee_lag = take(
            &input.apogee_lag,
            "spread.apogee_lag",
            Law::Triangular { low: 0.0, mode: 0.3, high: 1.5 },
            "triangular 0 to 1.5 s after apogee, most likely 0.3 s".into(),
            "assumption; matters only with electronic deployment",
        );
        let sensed_height = take(
            &input.sensed_height,
            "spread.sensed_height",
            Law::Normal { mean: 0.0, sd: 5.0 },
            "normal error, standard deviation 5 m".into(),
            "assumption; matters only where a height opens something",
        );
        let temperature = take(
            &input.temperature,
            "spread.temperature",
            Law::Normal { mean: 0.0, sd: 2.0 },
            "normal error, standard deviation 2 K".into(),
            "assumption",
        );
        let pressure = take(
            &input.pressure,
            "spread.pressure",
            Law::Normal { mean: 0.0, sd: 100.0 },
            "normal error, standard deviation 1 hPa".into(),
            "assumption",
        );
        let delay = match &input.delay {
            Some(law) => DelayError::Seconds(law.clone()),
            None => {
                let share = given_or(
                    input.delay_out_of_tolerance_share,
                    assumed,
                    "spread.delay",
                    0.05,
                    |s| {
                        format!(
                            "normal, not cut; {:.0} % of delays outside +-(the larger of 1.5 s and 20 % of the delay, at most 3 s)",
                            s * 100.0
                        )
                    },
                    "bound of NFPA 1125 (from memory, low confidence); the share outside it is an assumption",
                );
                // The share outside both ends together. At most a half, so that the error stays finite.
                let sd = -1.0 / normal::quantile(0.5 * share.clamp(1e-6, 0.5));
                DelayError::Tolerances(Law::Normal { mean: 0.0, sd })
            }
        };
        let fresh_sd_m_s = given_or(
            input.wind_component_sd_m_s,
            assumed,
            "spread.wind.component_sd",
            WIND_ERROR_M_S,
            |v| format!("normal error of {v} m/s along and across the wind at every height"),
            "errors of 10 m wind of regional forecast models are 1.5 to 1.8 m/s (independent benchmark); used for reports too: assumption",
        );
        if let Some(age_s) = about.wind_age_s {
            assumed.push(Assumption {
                input: "spread.wind.growth_per_hour",
                value: format!(
                    "{:.1} h lie between the weather and launch: the error along and across the wind grows by {} m/s an hour, from {fresh_sd_m_s} to {:.2} m/s",
                    age_s / HOUR_S,
                    input.wind_growth_m_s_per_h.unwrap_or(WIND_GROWTH_M_S_PER_H),
                    fresh_sd_m_s + wind_growth_m_s(input, age_s),
                ),
                source: match input.wind_growth_m_s_per_h {
                    Some(_) => "the growth is the request's",
                    None => {
                        "assumption, linear: no published growth over the first day was found; 2 to 2.5 m/s after a day (from memory)"
                    }
                },
            });
        }
        let wind = WindErrors {
            component_sd_m_s: fresh_sd_m_s + about.wind_age_s.map_or(0.0, |age_s| wind_growth_m_s(input, age_s)),
            direction_sd_rad: given_or(
                input.wind_direction_sd_rad,
                assumed,
                "spread.wind.direction_sd",
                10.0 * DEG,
                |v| format!("normal error of {:.0} deg of the direction", v / DEG),
                "assumption",
            ),
            correlation_length_m: given_or(
                input.wind_correlation_length_m,
                assumed,
                "spread.wind.correlation_length",
                500.0,
                |v| format!("errors of the wind agree over {v} m of height (exponential)"),
                "assumption",
            ),
            // Above the highest known wind the error grows by 1 m/s per kilometre: assumption, in the answer's
            // caution where it matters.
            growth_above_top_per_s: 0.001,
        };
        Self {
            impulse,
            burn_time,
            delay,
            mass,
            centre_of_gravity,
            centre_of_pressure,
            drag,
            normal_force_slope,
            thrust_misalignment,
            fin_misalignment,
            roll_rate,
            rail_angle,
            canopy_drag,
            line_stretch_lag,
            apogee_lag,
            sensed_height,
            temperature,
            pressure,
            wind,
        }
    }
}

/// Range that a law's draws must keep to, and the text for when they don't.
fn reach_of(name: &str) -> (f64, f64, &'static str) {
    match name {
        "impulse" | "burn_time" | "drag" | "normal_force_slope" | "canopy_drag" => {
            (0.05, 20.0, "it multiplies the nominal value, so 1 means nominal and draws must stay between 0.05 and 20")
        }
        "mass" => {
            (0.5, 2.0, "it multiplies the card's mass, so 1 means the card's and draws must stay between 0.5 and 2")
        }
        "delay" => (-60.0, 60.0, "it is an error in seconds; draws must stay within +-60 s"),
        "centre_of_gravity" | "centre_of_pressure" => {
            (-2.0, 2.0, "it is an error in metres; draws must stay within +-2 m")
        }
        "thrust_misalignment" | "fin_misalignment" | "rail_angle" => {
            (-20.0 * DEG, 20.0 * DEG, "it is an angle about zero; draws must stay within +-20 deg")
        }
        "roll_rate" => (-60.0 * TURN, 60.0 * TURN, "draws must stay within +-60 turns/s"),
        "line_stretch_lag" | "apogee_lag" => {
            (-0.001, 30.0, "it is a time in seconds; draws must stay within 0 and 30 s")
        }
        "sensed_height" => (-500.0, 500.0, "it is an error in metres; draws must stay within +-500 m"),
        "temperature" => (-40.0, 40.0, "it is an error in kelvins; draws must stay within +-40 K"),
        _ => (-10_000.0, 10_000.0, "it is an error in pascals; draws must stay within +-10,000 Pa"),
    }
}

/// Unit in which a law's draws are told to people.
fn shown_in(name: &str) -> (f64, &'static str) {
    match name {
        "thrust_misalignment" | "fin_misalignment" | "rail_angle" => (DEG, " deg"),
        "roll_rate" => (TURN, " turns/s"),
        _ => (1.0, ""),
    }
}

/// Checks the caller's distributions.
pub fn check(input: &SpreadInput, wind_age_s: Option<f64>, faults: &mut Faults) {
    for (name, law) in input.laws() {
        let field = format!("spread.{name}");
        if faults.touches(&field) {
            continue;
        }
        if let Some(problem) = law.fault() {
            faults.add(field, problem, "mend the numbers of this distribution");
            continue;
        }
        let (low, high, hint) = reach_of(name);
        let (least, most) = law.reach();
        if !(least >= low && most <= high) {
            faults.add(
                field,
                {
                    let (scale, unit) = shown_in(name);
                    format!(
                        "its draws reach from {:.4} to {:.4}{unit} (one flight in a million)",
                        least / scale,
                        most / scale
                    )
                },
                format!("{hint}; narrow it or use a truncated law"),
            );
        }
    }
    for (limit, value, field) in [
        (limits::WIND_ERROR, input.wind_component_sd_m_s, "spread.wind.component_sd"),
        (limits::WIND_ERROR_GROWTH, input.wind_growth_m_s_per_h, "spread.wind.growth_per_hour"),
        (limits::DIRECTION_ERROR, input.wind_direction_sd_rad, "spread.wind.direction_sd"),
        (limits::CORRELATION_LENGTH, input.wind_correlation_length_m, "spread.wind.correlation_length"),
        (limits::OUT_OF_TOLERANCE, input.delay_out_of_tolerance_share, "spread.delay_out_of_tolerance_share"),
    ] {
        super::check::maybe(limit, field, value, faults);
    }
    let Some(age_s) = wind_age_s.filter(|_| !faults.touches("spread.wind") && !faults.touches("wind.age")) else {
        return;
    };
    let grown_m_s = input.wind_component_sd_m_s.unwrap_or(WIND_ERROR_M_S) + wind_growth_m_s(input, age_s);
    if grown_m_s > limits::WIND_ERROR.max {
        let field = match input.wind_growth_m_s_per_h {
            Some(_) => "spread.wind.growth_per_hour",
            None => "spread.wind.component_sd",
        };
        faults.add(
            field,
            format!(
                "the standard deviation of the wind, {:.1} h old at launch, grows to {grown_m_s:.1} m/s",
                age_s / HOUR_S
            ),
            format!("at most {} m/s are taken: take fresher weather or a smaller growth", limits::WIND_ERROR.max),
        );
    }
}
