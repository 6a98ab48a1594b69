//! Cautions: what a reader should mind, each with the published rule or common practice behind it and how
//! far that was verified. None of them approves anything.

use crate::case::{Case, LimitApplies, RuleSet};
use crate::constants::MILE_PER_HOUR_M_S;
use crate::flight::{Electronics, Outcome};
use crate::report::{
    Caution, FailuresReport, FlightReport, RailReport, UntilReport, WayReport, percent_digits, percent_digits_down,
    percent_digits_up, percent_places, places_apart,
};
use crate::stat::interval::Chance;
use crate::told;
use crate::wind::{Gustiness, LAW_TOP_M, SURFACE_HEIGHT_M};

/// 20 mph.
const WIND_LIMIT_M_S: f64 = 20.0 * MILE_PER_HOUR_M_S;
/// A speed limit above this may have been meant in mph.
const LIMIT_PERHAPS_MPH: f64 = 25.0;
/// Incidence up to which the small-angle centre of pressure is trusted, deg.
const SMALL_ANGLE_DEG: f64 = 15.0;
const PRACTICE: &str =
    "35 mph (15.6 m/s) is the limit in common use, near 100 mph (45 m/s) tubes tear: common practice";
/// A touchdown faster than this is worth a caution, m/s (25 ft/s, a third over what is usual).
const HARD_TOUCHDOWN_M_S: f64 = 7.62;
/// The limit in common use, m/s.
const USUAL_LIMIT_M_S: f64 = 35.0 * MILE_PER_HOUR_M_S;
/// Share of flights from which an outcome is worth a caution.
const NOTABLE: f64 = 0.01;

/// What failures bring among people.
pub fn failure_cautions(failures: &FailuresReport, case: &Case) -> Vec<Caution> {
    let mut list = Vec::new();
    for failure in &failures.failures {
        for (area, given) in failure.landing.iter().flat_map(|l| &l.areas).zip(&case.inputs.site.areas) {
            if given.people.is_some_and(|people| people > 0.0) && area.inside.lower > NOTABLE {
                list.push(Caution {
                    topic: "failure_among_people",
                    message: format!(
                        "Of flights that fail by {}, {} come down in {}, where people are.",
                        failure.failure.name().replace('_', " "),
                        percent(&area.inside),
                        area.name
                    ),
                    rule: "distances of the local safety code; common practice keeps people out from under a failed recovery",
                });
            }
        }
    }
    list
}

/// That not even all flights made the intervals narrow enough.
pub fn until_caution(until: &UntilReport, flights: u64) -> Option<Caution> {
    let UntilReport { half_width, widest_half_width, .. } = *until;
    let places = percent_places(half_width).max(places_apart(half_width, widest_half_width));
    (!until.reached).then(|| Caution {
        topic: "until",
        message: format!(
            "After {flights} flights, the most that were allowed, the widest interval still has a half-width of {:.places$} percentage points, not the {:.places$} that were asked for. Allow more flights, or ask for less.",
            100.0 * widest_half_width,
            100.0 * half_width
        ),
        rule: "the caller's own width",
    })
}

struct Rules {
    wind: (f64, &'static str),
    tilt_deg: (f64, &'static str),
    thrust_to_weight: (f64, &'static str),
}

fn rules(set: &RuleSet) -> Rules {
    const WIND: &str = "20 mph (8.94 m/s): model rocket code (from memory, unverified); California Code of Regulations title 19 s. 1036";
    const OWN: &str = "the caller's own number";
    let weight_high = (3.0, "average thrust at least 3 times the weight: US high power code (from memory, unverified)");
    let weight_model = (5.0, "5 : 1, NASA Student Launch handbook (second-hand) and common practice");
    match *set {
        RuleSet::UsModelRocket => Rules {
            wind: (WIND_LIMIT_M_S, WIND),
            tilt_deg: (30.0, "within 30 deg of vertical: US Model Rocket Sporting Code 5.4"),
            thrust_to_weight: weight_model,
        },
        RuleSet::UsHighPower => Rules {
            wind: (WIND_LIMIT_M_S, WIND),
            tilt_deg: (
                20.0,
                "within 20 deg of vertical: California Code of Regulations title 19 s. 1036; US high power code (from memory)",
            ),
            thrust_to_weight: weight_high,
        },
        RuleSet::Own { wind_m_s, tilt_rad, thrust_to_weight } => Rules {
            wind: wind_m_s.map_or((WIND_LIMIT_M_S, WIND), |w| (w, OWN)),
            tilt_deg: tilt_rad.map_or((30.0, "within 30 deg of vertical: US Model Rocket Sporting Code 5.4"), |t| {
                (t.to_degrees(), OWN)
            }),
            thrust_to_weight: thrust_to_weight.map_or(weight_model, |t| (t, OWN)),
        },
    }
}

/// A chance in words; never 0 or 100 %.
pub fn percent(c: &Chance) -> String {
    if c.is_none() {
        format!("< {} %", percent_digits_up(c.upper))
    } else if c.is_all() {
        format!("> {} %", percent_digits_down(c.lower))
    } else {
        format!("{} %", percent_digits(c.estimate))
    }
}

/// Everything to mind about an answer.
pub fn cautions(
    case: &Case,
    ways: &[WayReport],
    rail: Option<&RailReport>,
    flight: Option<&FlightReport>,
    above_ceiling: Option<&Chance>,
    label: impl Fn(usize) -> String,
) -> Vec<Caution> {
    let mut list = Vec::new();
    let mut say =
        |topic: &'static str, message: String, rule: &'static str| list.push(Caution { topic, message, rule });
    let rules = rules(&case.rule_set);

    weather(case, &rules, &mut say);
    let tilt_deg = case.launch.tilt_rad.to_degrees();
    if tilt_deg > rules.tilt_deg.0 + 1e-9 {
        say(
            "tilt",
            format!("The rail is tilted {tilt_deg:.1} deg from vertical; the limit is {} deg.", rules.tilt_deg.0),
            rules.tilt_deg.1,
        );
    }
    let ratio = case.nominal.thrust_to_weight;
    if ratio < rules.thrust_to_weight.0 {
        say(
            "thrust_to_weight",
            format!(
                "Average thrust is {ratio:.2} times the weight at lift-off, less than {}.",
                rules.thrust_to_weight.0
            ),
            rules.thrust_to_weight.1,
        );
    }
    if case.nominal.margin_calibres < 1.0 {
        say(
            "margin",
            format!("The static margin at lift-off is {:.2} calibres as entered.", case.nominal.margin_calibres),
            "at least one diameter: reprints of the centre-of-pressure method (1966)",
        );
    } else if case.nominal.margin_calibres > 4.0 {
        say(
            "margin",
            format!(
                "The static margin at lift-off is {:.1} calibres: such a rocket turns strongly into the wind.",
                case.nominal.margin_calibres
            ),
            "1.5 to 6 calibres, a university team's requirements page; common practice",
        );
    }
    let (broadside, cg) = (case.aero.cross_flow.centroid_m(), case.inputs.airframe.centre_of_gravity_m);
    if broadside < cg {
        say(
            "broadside",
            format!(
                "Seen broadside the rocket's area lies ahead of its centre of gravity, {} against {} from the nose tip: once slow it may stay across the wind.",
                told::part(broadside),
                told::part(cg)
            ),
            "cross-flow force acts at the centroid of the broadside area (Allen and Perkins, NACA R-1048)",
        );
    }
    if let Some(rail) = rail {
        leaving_the_rail(rail, &mut say);
    }
    if let (Some(chance), Some(ceiling)) = (above_ceiling, case.inputs.site.ceiling_m)
        && !chance.is_none()
        && chance.upper > NOTABLE
    {
        say(
            "ceiling",
            format!(
                "{} of flights rise above the ceiling of {} above the pad.",
                percent(chance),
                told::length(ceiling, 0)
            ),
            "the caller's own ceiling",
        );
    }
    if let Some(flight) = flight {
        if flight.peak_mach.p95 > 0.8 * case.aero.mach_bound {
            say(
                "mach",
                format!(
                    "One flight in twenty passes Mach {:.2}; the aerodynamics end at Mach {:.2}, and flights beyond count as outside the model.",
                    flight.peak_mach.p95, case.aero.mach_bound
                ),
                "bound of this model",
            );
        }
        let known_to_m = case.winds().map(|w| w.top_m()).fold(f64::INFINITY, f64::min);
        if flight.apogee_m.p95 > known_to_m && !case.inputs.wind.layers.is_empty() {
            say(
                "wind_aloft",
                format!(
                    "Flights rise to {}, above the highest known wind at {}: it is held there with a growing error.",
                    told::length(flight.apogee_m.p95, 0),
                    told::length(known_to_m, 0)
                ),
                "assumption of this model",
            );
        } else if flight.apogee_m.p95 > LAW_TOP_M && case.inputs.wind.layers.is_empty() {
            say(
                "wind_aloft",
                format!(
                    "Flights rise to {}, but no wind is known above {}, where the surface law ends: it is held there with a growing error. Add winds aloft.",
                    told::length(flight.apogee_m.p95, 0),
                    told::length(LAW_TOP_M, 0)
                ),
                "EN 1991-1-4 4.3.2 gives the law for z <= 200 m",
            );
        }
    }
    if case.inputs.site.areas.iter().any(|a| a.people.is_some()) {
        say(
            "people",
            "People struck a flight follow from a casualty area and people spread evenly: context for a judgement, no licence.".into(),
            "casualty-area form of RCC 321 (from memory); the hobby's codes set distances and no such figure",
        );
    }
    for (k, way) in ways.iter().enumerate() {
        openings(case, way, flight, &label(k), &mut say);
    }
    let question = &case.inputs.question;
    let condition_m_s = question.limits_m_s[question.accept_limit];
    if condition_m_s > USUAL_LIMIT_M_S * 1.001 {
        say(
            "condition",
            format!(
                "The condition is held against {}: openings between {} and that count for nothing in it.",
                told::speed(condition_m_s, 1),
                told::speed(USUAL_LIMIT_M_S, 1)
            ),
            PRACTICE,
        );
    }
    for limit in &question.limits_m_s {
        // A whole number of miles per hour was meant as such.
        let mph = limit / MILE_PER_HOUR_M_S;
        if *limit > LIMIT_PERHAPS_MPH && (mph - mph.round()).abs() > 1e-6 {
            say(
                "limit",
                format!(
                    "The speed limit was read as {}. If {limit:.0} mph was meant, send \"{limit:.0} mph\".",
                    told::speed(*limit, 1)
                ),
                PRACTICE,
            );
        }
    }
    list
}

fn weather(case: &Case, rules: &Rules, say: &mut impl FnMut(&'static str, String, &'static str)) {
    let [_, _, surface] = case.wind.surface();
    // Of an ensemble the strongest member.
    let at_10_m = case.winds().map(|w| w.surface()[2]);
    let surfaces = core::iter::once(case.inputs.wind.surface).chain(case.inputs.wind.others.iter().map(|m| m.surface));
    let reported = surfaces.flatten().map(|s| s.speed_m_s.max(s.gust_m_s.unwrap_or(0.0)));
    let speed = at_10_m.chain(reported).fold(0.0, f64::max);
    if speed > rules.wind.0 {
        say(
            "wind",
            format!(
                "The wind near the ground reaches {}; the limit is {}.",
                told::speed(speed, 2),
                told::speed(rules.wind.0, 2)
            ),
            rules.wind.1,
        );
    }
    if let Some(s) = case.inputs.wind.surface
        && s.measuring_height_m < 5.0
        && surface > s.speed_m_s * 1.1
    {
        say(
            "wind_height",
            format!(
                "The wind of {} was measured {} above ground; at {} it is {}.",
                told::speed(s.speed_m_s, 1),
                told::length(s.measuring_height_m, 1),
                told::length(SURFACE_HEIGHT_M, 0),
                told::speed(surface, 1)
            ),
            "logarithmic law; weather reports measure at 10 m (WMO Guide No. 8)",
        );
    }
    if case.wind.gust_sd_m_s(10.0) <= 0.0 {
        say(
            "turbulence",
            "The wind is flown as steady, without gusts.".into(),
            "a report without a gust group leaves room for gusts up to 5 m/s (11 mph) over the mean (WMO-No. 306 regulation 15.5.5)",
        );
    }
    if let Some(gust) = case.inputs.wind.surface.and_then(|s| s.gust_m_s)
        && !matches!(case.inputs.wind.gustiness, None | Some(Gustiness::Report))
    {
        say(
            "turbulence",
            format!("The reported gust of {} is not what the gusts of the flights are sized by.", told::speed(gust, 1)),
            "the caller's own choice",
        );
    }
    if case.inputs.wind.surface.is_none() {
        let lowest = case.inputs.wind.layers.first().map_or(0.0, |l| l.height_above_ground_m);
        if lowest > LAW_TOP_M {
            say(
                "wind_surface",
                format!(
                    "The lowest wind is {} above ground; below it the surface law is only a guess. Add a surface wind.",
                    told::length(lowest, 0)
                ),
                "EN 1991-1-4 4.3.2 gives the law for z <= 200 m",
            );
        }
    }
}

fn leaving_the_rail(rail: &RailReport, say: &mut impl FnMut(&'static str, String, &'static str)) {
    let speed = rail.exit_speed_m_s.p05;
    if speed < 15.85 {
        say(
            "rail_speed",
            format!("One flight in twenty leaves the rail slower than {}.", told::speed(speed, 1)),
            "52 ft/s (15.85 m/s), NASA Student Launch handbook 2.14 (second-hand)",
        );
    }
    let angle = rail.angle_of_attack_deg.p95;
    if angle > SMALL_ANGLE_DEG {
        say(
            "angle_of_attack",
            format!(
                "One flight in twenty leaves the rail at more than {angle:.0} deg of angle of attack, where the centre of pressure moves forward."
            ),
            "rail speed at least 4 times the wind keeps it to 14 deg (from memory; arithmetic exact)",
        );
    }
    let margin = rail.margin_calibres.p05;
    if margin < 1.0 {
        say(
            "rail_margin",
            format!(
                "One flight in twenty leaves the rail with less than {margin:.2} calibres of margin at its angle of attack."
            ),
            "at least one diameter: reprints of the centre-of-pressure method (1966)",
        );
    }
}

/// Height at which a way's altimeter fires, if it fires on one.
fn fires_at_m(way: &WayReport) -> Option<f64> {
    match way.way.electronics {
        Some(Electronics::Height(height)) => Some(height),
        _ => None,
    }
}

fn openings(
    case: &Case,
    way: &WayReport,
    flight: Option<&FlightReport>,
    label: &str,
    say: &mut impl FnMut(&'static str, String, &'static str),
) {
    let question = &case.inputs.question;
    let limit = &way.limits[question.accept_limit];
    let accept = super::accept_chance(question);
    let when = match question.limit_applies {
        LimitApplies::Ejection => "ejection",
        LimitApplies::LineStretch => "line stretch",
    };
    if !limit.over.is_none() && limit.over.upper > accept {
        say(
            "open_fast",
            format!(
                "{label}: {} of flights are faster than {} at {when}.",
                percent(&limit.over),
                told::speed(limit.limit_m_s, 1)
            ),
            PRACTICE,
        );
    }
    if let Some(landing) = &way.landing
        && landing.speed_m_s.p50 > HARD_TOUCHDOWN_M_S
    {
        let (speed, energy) = (told::speed(landing.speed_m_s.p50, 1), told::energy(landing.energy.median_j));
        say(
            "touchdown",
            format!("{label}: half of the flights touch down faster than {speed}, with {energy}."),
            "main canopies usually bring 4.6 to 6.1 m/s (10 to 14 mph, common practice); 14.9 J (11 ft lbf) is a published threshold of a hazardous fragment (RCC 321, second-hand)",
        );
    }
    if let Some(main) = way.landing.as_ref().and_then(|l| l.main_opening_airspeed_m_s.as_ref())
        && main.p95 > limit.limit_m_s
    {
        say(
            "main_opens_fast",
            format!(
                "{label}: one main canopy in twenty begins to open faster than {}; unsafe openings count the first ejection only.",
                told::speed(main.p95, 1)
            ),
            PRACTICE,
        );
    }
    let heights = [fires_at_m(way), case.inputs.recovery.main.map(|m| m.1)];
    if let Some(flight) = flight {
        for height in heights.into_iter().flatten().filter(|h| *h > flight.apogee_m.p05) {
            let how_many = if height > flight.apogee_m.greatest.value {
                "No flight reaches"
            } else {
                "More than one flight in twenty never reaches"
            };
            say(
                "height_not_reached",
                format!(
                    "{label}: {how_many} the set height of {}; those are taken to fire at apogee.",
                    told::length(height, 0)
                ),
                "assumption of this model: an altimeter may also not fire at all",
            );
        }
    }
    for o in way.outcomes.iter().filter(|o| o.share > NOTABLE) {
        let who = if o.share >= 1.0 - 1e-9 {
            "all flights".to_string()
        } else {
            format!("{} % of flights", percent_digits(o.share))
        };
        let (topic, text) = match o.outcome {
            Outcome::Opened => continue,
            Outcome::OpenedTooLow => ("open_low", "eject too low to slow to the descent rate before the ground"),
            Outcome::NothingOpened => {
                ("nothing_opened", "come down ballistic, because the card has nothing that opens")
            }
            Outcome::InBoost => ("in_boost", "eject under thrust or on the rail"),
            Outcome::GroundFirst => ("ground_first", "reach the ground before the ejection"),
            Outcome::NeverLeftRail => ("never_left_rail", "never leave the rail"),
            Outcome::Unstable => ("unstable", "are unstable or tumble under thrust"),
            Outcome::BeyondSixtyDeg => ("attitude", "are more than 60 deg from vertical while thrusting"),
            Outcome::OutsideModel => {
                ("outside_model", "leave the range of the model, so their figures are not to be relied on")
            }
            Outcome::Untrusted => ("untrusted", "could not be integrated to the required accuracy"),
            // The caller's own shares: the answer tells them apart.
            Outcome::NoEjection
            | Outcome::NothingFilled
            | Outcome::FirstFailed
            | Outcome::PartsSeparated
            | Outcome::MotorEjected
            | Outcome::MotorBurst => continue,
        };
        say(topic, format!("{label}: {who} {text}."), "counted as unsafe openings");
    }
}
