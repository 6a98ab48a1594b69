//! From reports and flights to the answer's types. Only units and the texts beside numbers are made here.

use slowpoint_sim::advise::{self, Standing};
use slowpoint_sim::case::{Device, LimitApplies, Role, RuleSet};
use slowpoint_sim::constants::MILE_PER_HOUR_M_S;
use slowpoint_sim::draw::{Group, PointSet};
use slowpoint_sim::drivers::Drivers;
use slowpoint_sim::flight::{Deployed, Deployment, Electronics, Failure, Landing, Outcome};
use slowpoint_sim::report::{
    self, FIRST_CAUTION, Glimpse, INTERVAL_NOTE, LimitReport, Report, UNTIL_NOTE, WayReport, percent_digits,
    percent_digits_down, percent_digits_up, percent_down, percent_places, percent_up, places_apart,
};
use slowpoint_sim::stat::histogram::{Digest, Extreme};
use slowpoint_sim::stat::indices::{Found, HITS_MIN, Index, Silent};
use slowpoint_sim::stat::interval::{Chance, HARDLY_A_HIT};
use slowpoint_sim::stat::outline::Polygon;
use slowpoint_sim::{Replay, told, way_label};

use super::*;
use crate::wire::{Asked, weather};

/// What is known while it is still flown.
pub fn glimpse(asked: &Asked, glimpse: &Glimpse) -> GlimpseAnswer {
    let question = &asked.case.inputs.question;
    let limit = |l: &LimitReport| GlimpseLimit {
        limit_m_s: Figure(l.limit_m_s),
        over: chance(&l.over),
        unsafe_opening: chance(&l.unsafe_opening),
    };
    let delays = question
        .ways
        .iter()
        .zip(&glimpse.ways)
        .map(|(way, limits)| GlimpseDelay { label: way_label(way), limits: limits.iter().map(limit).collect() });
    GlimpseAnswer { flights: glimpse.flights, of: question.flights, delays: delays.collect() }
}

/// From a report to the answer.
pub fn answer(id: &str, engine: &str, asked: &Asked, report: &Report) -> Assessment {
    let question = &asked.case.inputs.question;
    let nominal = &asked.case.nominal;
    let inputs = &asked.case.inputs;
    let [_, _, surface_wind_m_s] = asked.case.wind.surface();
    let canopy = |device: Option<Device>| match device {
        Some(Device::Parachute { diameter_m, .. }) => Figure(diameter_m),
        _ => Figure::maybe(None),
    };
    let labels: Vec<String> = report.ways.iter().map(|w| way_label(&w.way)).collect();
    Assessment {
        caution: FIRST_CAUTION,
        intervals: INTERVAL_NOTE,
        id: id.into(),
        engine: engine.into(),
        name: asked.name.clone(),
        flights: report.flights,
        until: report.until.map(|u| UntilAnswer {
            half_width_asked: Figure(u.half_width),
            within_flights: u.within,
            half_width_widest: Figure(u.widest_half_width),
            reached: u.reached,
            meaning: UNTIL_NOTE,
        }),
        seed: question.seed,
        points: match question.points {
            PointSet::Sobol => "sobol",
            PointSet::Pseudorandom => "random",
        },
        rule_set: match asked.case.rule_set {
            RuleSet::UsModelRocket => "us_model_rocket",
            RuleSet::UsHighPower => "us_high_power",
            RuleSet::Own { .. } => "own",
        },
        site: site::site(asked),
        limits: question
            .limits_m_s
            .iter()
            .map(|v| SpeedLimit { limit_m_s: Figure(*v), limit_mph: Figure(v / MILE_PER_HOUR_M_S) })
            .collect(),
        limits_apply_to: match question.limit_applies {
            LimitApplies::Ejection => "ejection",
            LimitApplies::LineStretch => "line_stretch",
        },
        nominal: NominalFigures {
            impulse_n_s: Figure(nominal.impulse_n_s),
            average_thrust_n: Figure(nominal.average_thrust_n),
            thrust_to_weight: Figure(nominal.thrust_to_weight),
            burn_s: Figure(nominal.burn_s),
            margin_calibres: Figure(nominal.margin_calibres),
            surface_wind_m_s: Figure(surface_wind_m_s),
            surface_wind_mph: Figure(surface_wind_m_s / MILE_PER_HOUR_M_S),
            rail_length_m: Figure(inputs.launch.rail_length_m),
            first_canopy_diameter_m: canopy(Some(inputs.recovery.first)),
            main_canopy_diameter_m: canopy(inputs.recovery.main.map(|m| m.0)),
            elevation_m: Figure(asked.case.field.elevation_m),
        },
        delays: report
            .ways
            .iter()
            .zip(&labels)
            .zip(&report.advice.standings)
            .map(|((w, label), standing)| delay(w, label, *standing))
            .collect(),
        delay_curve: report.delay_curve.iter().map(curve_point).collect(),
        delay_curve_estimator: report.curve_estimator.words(),
        rail: report.rail.as_ref().map(|r| RailFigures {
            exit_speed_m_s: figures(&r.exit_speed_m_s),
            forward_guide_speed_m_s: figures(&r.forward_guide_speed_m_s),
            angle_of_attack_deg: figures(&r.angle_of_attack_deg),
            margin_calibres: figures(&r.margin_calibres),
        }),
        apogee: report.flight.as_ref().map(|f| ApogeeFigures {
            height_above_pad_m: figures(&f.apogee_m),
            time_s: figures(&f.apogee_s),
            peak_mach: figures(&f.peak_mach),
        }),
        slowest: report.flight.as_ref().map(|f| SlowestFigures {
            airspeed_m_s: figures(&f.slowest_airspeed_m_s),
            delay_s: figures(&f.slowest_delay_s),
            after_apogee_s: figures(&f.slowest_after_apogee_s),
        }),
        above_ceiling: report.above_ceiling.as_ref().map(chance),
        advice: advice(report, question.accept_limit, &labels),
        model_moves: report.moves.iter().map(|m| model_move(m, &labels)).collect(),
        failures: failures(&report.failures, &labels),
        drivers: report.drivers.as_ref().map(|d| drivers(d, &labels)),
        cords: report.cords.as_ref().map(|c| cords::cords(c, inputs.cords.as_ref(), &labels)),
        calibration: calibration(report.calibration.as_ref(), &asked.case),
        wind_limit: report.wind_limit.as_ref().map(|w| advised::wind_limit(w, &labels)),
        rail_advice: report.rail_advice.as_ref().map(|r| advised::rail_advice(r, &labels)),
        rare: rare(&report.rare, &asked.case, &labels),
        weather: asked.weather.as_ref().map(weather::taken),
        cautions: asked
            .cautions
            .iter()
            .chain(&report.cautions)
            .map(|c| CautionAnswer { topic: c.topic, message: c.message.clone(), rule: c.rule })
            .collect(),
        assumed: report
            .assumed
            .iter()
            .map(|a| AssumedInput { input: a.input, value: a.value.clone(), source: a.source })
            .collect(),
    }
}

/// From a flight flown again to the answer.
pub fn flight(id: &str, index: u64, asked: &Asked, replay: &Replay) -> FlightAnswer {
    let flown = &replay.flown;
    let exit = flown.rail_exit;
    let ways = &asked.case.inputs.question.ways;
    FlightAnswer {
        caution: FIRST_CAUTION,
        id: id.into(),
        name: asked.name.clone(),
        flight: index,
        rail_exit: (!flown.mishaps.never_left_rail).then(|| RailExitFigures {
            time_s: Figure(exit.time_s),
            speed_m_s: Figure(exit.speed_m_s),
            forward_guide_speed_m_s: Figure(exit.forward_speed_m_s),
            angle_of_attack_deg: Figure(exit.angle_of_attack_rad.to_degrees()),
            margin_m: Figure(exit.margin_m),
        }),
        apogee_height_above_pad_m: Figure(flown.apogee_m),
        apogee_s: Figure(flown.apogee_s),
        peak_mach: Figure(flown.peak_mach),
        slowest: flown.slowest.map(|s| SlowestInstant {
            airspeed_m_s: Figure(s.airspeed_m_s),
            delay_s: Figure(s.delay_s),
            after_apogee_s: Figure(s.after_apogee_s),
        }),
        delays: ways.iter().zip(&flown.deployed).map(|(way, d)| flown_delay(way, d)).collect(),
        failure: replay.failure.map(Failure::name),
        drawn: replay
            .drawn
            .iter()
            .map(|d| DrawnFigure { input: d.input, unit: d.unit, value: Figure(d.value) })
            .collect(),
        path: replay
            .path
            .iter()
            .map(|p| PathFigures {
                time_s: Figure(p.time_s),
                east_m: Figure(p.east_m),
                north_m: Figure(p.north_m),
                height_above_pad_m: Figure(p.height_above_pad_m),
                airspeed_m_s: Figure(p.airspeed_m_s),
                vertical_speed_m_s: Figure(p.vertical_speed_m_s),
                nose_from_vertical_deg: Figure(p.nose_from_vertical_deg),
            })
            .collect(),
    }
}

/// An outcome's name and what it means.
pub fn outcome(outcome: Outcome) -> (&'static str, &'static str) {
    match outcome {
        Outcome::Opened => ("opened", "opened and slowed to its descent rate"),
        Outcome::OpenedTooLow => ("opened_too_low", "ejected too low to slow to its descent rate before the ground"),
        Outcome::NothingOpened => ("nothing_opened", "nothing opens: it comes down ballistic"),
        Outcome::InBoost => ("in_boost", "ejected under thrust or on the rail"),
        Outcome::GroundFirst => ("ground_first", "reached the ground before the ejection"),
        Outcome::NeverLeftRail => ("never_left_rail", "never left the rail"),
        Outcome::Unstable => ("unstable", "unstable or tumbling under thrust"),
        Outcome::BeyondSixtyDeg => ("beyond_sixty_deg", "more than 60 degrees from vertical under thrust"),
        Outcome::OutsideModel => {
            ("outside_model", "beyond the range of the model, so its figures are not to be relied on")
        }
        Outcome::Untrusted => ("untrusted", "could not be integrated to the required accuracy"),
        Outcome::NoEjection => ("no_ejection", "failed: nothing fired"),
        Outcome::NothingFilled => ("nothing_filled", "failed: it ejected but nothing filled"),
        Outcome::FirstFailed => {
            ("first_failed", "failed: what opens first did not fill, and the main opened at the speed of the fall")
        }
        Outcome::PartsSeparated => ("parts_separated", "failed: the cord broke, and a part fell by itself"),
        Outcome::MotorEjected => ("motor_ejected", "failed: the charge drove out the motor instead"),
        Outcome::MotorBurst => ("motor_burst", "failed: the motor burst"),
    }
}

/// A chance in words: "4.1 % (3.3 to 5.1 %)", "< 0.19 %", "> 99.81 %". Never 0 or 100 %.
pub fn chance_text(c: &Chance) -> String {
    if c.flights == 0 {
        return "not known".into();
    }
    if c.is_none() {
        return format!("< {} %", percent_digits_up(c.upper));
    }
    if c.is_all() {
        return format!("> {} %", percent_digits_down(c.lower));
    }
    // One number of decimals for an estimate between two ends, at most one more than the estimate needs by itself, or as
    // many as tell a narrow interval's ends apart.
    let ends = [c.lower, c.upper].map(|end| if end > 0.0 && end < 1.0 { percent_places(end) } else { 0 });
    let own = percent_places(c.estimate);
    let apart = places_apart(c.estimate, if c.estimate < 0.5 { c.upper } else { c.lower }).min(own + 2);
    let places = ends[0].max(ends[1]).clamp(own, own + 1).max(apart);
    let say = |share: f64| format!("{:.places$}", 100.0 * share);
    let estimate = say(c.estimate);
    // A single end has digits of its own, as an estimate next to 0 or 100 % has more than an interval as wide knows, and holds.
    let alone = |end: f64| percent_places(end).max(places_apart(c.estimate, end));
    match (c.lower > 0.0, c.upper < 1.0) {
        (true, true) => format!("{estimate} % ({} to {} %)", say(c.lower), say(c.upper)),
        (false, true) => format!("{estimate} % (below {} %)", percent_up(c.upper, alone(c.upper))),
        (true, false) => format!("{estimate} % (above {} %)", percent_down(c.lower, alone(c.lower))),
        (false, false) => format!("{estimate} %"),
    }
}

/// A chance with its interval.
pub fn chance(c: &Chance) -> ChanceFigures {
    ChanceFigures {
        estimate: Figure(c.estimate),
        lower: Figure(c.lower),
        upper: Figure(c.upper),
        flights_expected: Figure(c.hits),
        flights: c.flights,
        text: chance_text(c),
        estimator: c.estimator.words(),
        interval_method: c.method,
    }
}

fn figures(d: &Digest) -> Figures {
    let extreme = |e: &Extreme| ExtremeFigure { value: Figure(e.value), flight: e.flight };
    Figures {
        flights: d.flights,
        mean: Figure(d.mean),
        p05: Figure(d.p05),
        p25: Figure(d.p25),
        p50: Figure(d.p50),
        p75: Figure(d.p75),
        p95: Figure(d.p95),
        min: extreme(&d.least),
        max: extreme(&d.greatest),
    }
}

fn delay(w: &WayReport, label: &str, standing: Standing) -> DelayAnswer {
    debug_assert!((w.outcomes.iter().map(|o| o.share).sum::<f64>() - 1.0).abs() < 1e-9, "an outcome is missing");
    DelayAnswer {
        label: label.into(),
        motor_delay_s: Figure::maybe(w.way.motor_delay_s),
        electronics: w.way.electronics.map(|e| match e {
            Electronics::Apogee => ElectronicsAnswer { fires_at: "apogee", height_above_pad_m: Figure::maybe(None) },
            Electronics::Height(m) => ElectronicsAnswer { fires_at: "height", height_above_pad_m: Figure(m) },
        }),
        standing: standing.words(),
        estimator: w.estimator.words(),
        limits: w
            .limits
            .iter()
            .map(|l| LimitAnswer {
                limit_m_s: Figure(l.limit_m_s),
                limit_mph: Figure(l.limit_m_s / MILE_PER_HOUR_M_S),
                over: chance(&l.over),
                unsafe_opening: chance(&l.unsafe_opening),
                under_before_apogee_share: Figure(l.under_before_apogee),
                under_after_apogee_share: Figure(l.under_after_apogee),
                over_before_apogee_share: Figure(l.over_before_apogee),
                over_after_apogee_share: Figure(l.over_after_apogee),
            })
            .collect(),
        outcomes: w
            .outcomes
            .iter()
            .map(|o| {
                let (name, meaning) = outcome(o.outcome);
                OutcomeAnswer {
                    outcome: name,
                    meaning,
                    share: Figure(o.share),
                    before_apogee_share: Figure(o.before_apogee),
                    after_apogee_share: Figure(o.after_apogee),
                }
            })
            .collect(),
        at_ejection: w.ejection.as_ref().map(|e| EjectionFigures {
            airspeed_m_s: figures(&e.airspeed_m_s),
            vertical_speed_m_s: figures(&e.vertical_speed_m_s),
            horizontal_airspeed_m_s: figures(&e.horizontal_airspeed_m_s),
            height_above_pad_m: figures(&e.height_above_pad_m),
            after_apogee_s: figures(&e.after_apogee_s),
            line_stretch_airspeed_m_s: figures(&e.line_stretch_airspeed_m_s),
        }),
        landing: w.landing.as_ref().map(landing),
    }
}

fn landing(l: &report::LandingReport) -> LandingFigures {
    LandingFigures {
        estimator: l.estimator.words(),
        flights: l.flights,
        mean_east_m: Figure(l.mean_east_m),
        mean_north_m: Figure(l.mean_north_m),
        covariance: l.covariance_m2.map(|[ee, nn, en]| Covariance {
            east_east_m2: Figure(ee),
            north_north_m2: Figure(nn),
            east_north_m2: Figure(en),
        }),
        ellipses: l
            .ellipses
            .iter()
            .map(|e| EllipseFigures {
                share_asked: Figure(e.share_asked),
                share_held: Figure(e.share_held),
                semi_major_m: Figure(e.semi_major_m),
                semi_minor_m: Figure(e.semi_minor_m),
                bearing_deg: Figure(e.bearing_deg),
            })
            .collect(),
        regions: l
            .regions
            .iter()
            .map(|r| RegionFigures {
                share_asked: Figure(r.share_asked),
                share_held: Figure(r.share_held),
                share_expected: Figure(r.share_expected),
                area_m2: Figure(r.area_m2),
                outline: r.outline.iter().map(Patch::of).collect(),
            })
            .collect(),
        distance_m: figures(&l.distance_m),
        distance_p90_m: Figure(l.distance_p90_m),
        distance_p99_m: Figure(l.distance_p99_m),
        speed_m_s: figures(&l.speed_m_s),
        vertical_speed_m_s: figures(&l.vertical_speed_m_s),
        main_opening_airspeed_m_s: l.main_opening_airspeed_m_s.as_ref().map(figures),
        energy_p50_j: Figure(l.energy.median_j),
        energy_p95_j: Figure(l.energy.p95_j),
        over_energy: l
            .energy
            .over
            .iter()
            .map(|e| EnergyAnswer { energy_j: Figure(e.energy_j), source: e.source, over: chance(&e.over) })
            .collect(),
        areas: l
            .areas
            .iter()
            .map(|a| AreaFigures {
                name: a.name.clone(),
                role: a.role.map(Role::name),
                inside: chance(&a.inside),
                outside: chance(&a.outside),
                struck: a.struck.map(|s| StruckFigures {
                    persons_per_flight: Figure(s.persons),
                    lower: Figure(s.lower),
                    upper: Figure(s.upper),
                    persons_over_energy_per_flight: Figure(s.persons_over_energy),
                }),
            })
            .collect(),
        outside_fields: l.outside_fields.as_ref().map(chance),
    }
}

/// What a failure is, in words that follow "if".
pub fn failure(failure: Failure) -> &'static str {
    match failure {
        Failure::NoEjection => "nothing fires",
        Failure::NothingFills => "it ejects but nothing fills",
        Failure::EarlyEjection => "it ejects early",
        Failure::DelayOutOfTolerance => "the delay is out of tolerance",
        Failure::WrongDelay => "a wrong delay is fitted",
        Failure::ImpulseShort => "the impulse is short",
        Failure::MotorUnlit => "one motor stays unlit",
        Failure::FirstFails => "what opens first fails",
        Failure::MainAtOnce => "the main opens at once",
        Failure::PartsSeparate => "the cord breaks",
        Failure::MotorEjected => "the motor is ejected",
        Failure::FinLost => "a fin comes off",
        Failure::MotorBursts => "the motor bursts",
    }
}

fn failures(f: &report::FailuresReport, labels: &[String]) -> FailuresAnswer {
    let share = |(which, share): &(Failure, f64)| match *share {
        share if share < 1.0 => format!("{} in {} % of flights", failure(*which), percent_digits(share)),
        _ => format!("{} in every flight", failure(*which)),
    };
    let shares: Vec<String> = f.included.iter().map(share).collect();
    let text = if shares.is_empty() {
        "The chances leave failures out: the request gives no shares of them (`failures`).".to_string()
    } else {
        format!("The chances include failures: {}.", shares.join(", "))
    };
    FailuresAnswer {
        included: !f.included.is_empty(),
        text: format!("{text} Fragments of a burst motor are not flown."),
        flown_with: labels.get(f.way).cloned().unwrap_or_default(),
        each: f
            .failures
            .iter()
            .map(|f| FailureAnswer {
                failure: f.failure.name(),
                meaning: failure(f.failure),
                share: Figure(f.share),
                flights: f.flights,
                unsafe_opening: chance(&f.unsafe_opening),
                landing: f.landing.as_ref().map(landing),
                part: f.part.as_ref().map(landing),
            })
            .collect(),
    }
}

impl Patch {
    pub(super) fn of(p: &Polygon) -> Self {
        let ring = |points: &Vec<(f64, f64)>| points.iter().map(|(e, n)| [Figure(*e), Figure(*n)]).collect();
        Self { exterior_m: ring(&p.exterior), holes_m: p.holes.iter().map(ring).collect() }
    }
}

fn flown_delay(way: &Deployment, d: &Deployed) -> FlownDelay {
    let (name, meaning) = outcome(d.outcome);
    FlownDelay {
        label: way_label(way),
        outcome: name,
        meaning,
        ejection: d.ejection.map(|e| EjectionInstant {
            time_s: Figure(e.time_s),
            after_apogee_s: Figure(e.after_apogee_s),
            airspeed_m_s: Figure(e.airspeed_m_s),
            vertical_speed_m_s: Figure(e.vertical_speed_m_s),
            horizontal_airspeed_m_s: Figure(e.horizontal_airspeed_m_s),
            height_above_pad_m: Figure(e.height_m),
            line_stretch_airspeed_m_s: Figure(e.stretch_airspeed_m_s),
        }),
        landing: d.landing.as_ref().map(touchdown),
        part: d.part.as_ref().map(touchdown),
    }
}

fn touchdown(l: &Landing) -> Touchdown {
    Touchdown {
        time_s: Figure(l.time_s),
        east_m: Figure(l.east_m),
        north_m: Figure(l.north_m),
        speed_m_s: Figure(l.speed_m_s),
        vertical_speed_m_s: Figure(l.vertical_speed_m_s),
        energy_j: Figure(l.energy_j()),
    }
}

fn advice(report: &Report, limit: usize, labels: &[String]) -> AdviceAnswer {
    let a = &report.advice;
    let hits = |w: &WayReport| w.limits.get(limit).map_or(0.0, |l| l.unsafe_opening.hits);
    // With one way there is nothing to be lower than.
    let level = report.ways.len() > 1 && report.ways.windows(2).all(|pair| hits(&pair[0]) == hits(&pair[1]));
    let label = |k: usize| labels.get(k).cloned().unwrap_or_default();
    let meets: Vec<String> = a.meets.iter().map(|k| label(*k)).collect();
    let lowest = if level { "none".to_string() } else { label(a.lowest) };
    let lowest_certainty = a.lowest_certainty.filter(|_| !level);
    let condition = format!(
        "at most {} % of flights with an unsafe opening at {}, upper end of the interval",
        percent_digits(a.accept_chance),
        told::speed(a.limit_m_s, 1)
    );
    let mut text = if meets.is_empty() {
        format!("None of the asked delays meets the condition ({condition}).")
    } else {
        format!("Meets the condition ({condition}): {}.", meets.join("; "))
    };
    text += &match lowest_certainty {
        _ if level => " No delay is lower than another.".to_string(),
        Some(p) if p > 0.9995 => {
            format!(" Lowest chance: {lowest}, certain to more than 99.9 % as far as sampling goes.")
        }
        // Never "0 %".
        Some(p) if p < 0.005 => {
            format!(" Lowest chance: {lowest}, certain to less than 1 % as far as sampling goes.")
        }
        Some(p) => {
            let places = if p < 0.995 { 0 } else { 1 };
            format!(" Lowest chance: {lowest}, certain to {:.places$} % as far as sampling goes.", 100.0 * p)
        }
        None => format!(" Lowest chance: {lowest}, the only one asked."),
    };
    let best = a.best.filter(|_| !level).map_or("none".to_string(), label);
    text += &format!(" Best: {best}.");
    AdviceAnswer {
        text,
        limit_m_s: Figure(a.limit_m_s),
        limit_mph: Figure(a.limit_m_s / MILE_PER_HOUR_M_S),
        condition_chance: Figure(a.accept_chance),
        meets,
        lowest,
        lowest_certainty: Figure::maybe(lowest_certainty),
        best,
        between: a.delay.as_ref().map(|d| between(d, a.accept_chance)),
    }
}

fn between(d: &report::DelayAdvice, accept_chance: f64) -> BetweenAnswer {
    let stretch = |s: &report::Span| StretchAnswer {
        from_s: Figure(s.from),
        to_s: Figure(s.to),
        goes_on_before: s.goes_on_before,
        goes_on_after: s.goes_on_after,
    };
    let say = |s: &report::Span| {
        let end = |at_s: f64, open: bool, beyond: &str| format!("{at_s:.1} s{}", if open { beyond } else { "" });
        format!("{} to {}", end(s.from, s.goes_on_before, " or less"), end(s.to, s.goes_on_after, " or more"))
    };
    let condition = format!("at most {} %", percent_digits(accept_chance));
    let meets = match &d.meets_s[..] {
        [] => format!("No delay meets the condition ({condition}, upper end of the interval)"),
        some => format!(
            "The condition ({condition}, upper end of the interval) is met by delays of {}",
            some.iter().map(say).collect::<Vec<_>>().join(" and of ")
        ),
    };
    let off = |chance: Option<f64>, way: &str| {
        let said = |p: f64| match p {
            p if p < 1e-4 => "below 0.01 %".to_string(),
            p if p > 1.0 - 1e-4 => "above 99.99 %".to_string(),
            p => format!("{} %", percent_digits(p)),
        };
        chance.map(|p| format!(", {} s too {way} {}", advise::OFF_S, said(p))).unwrap_or_default()
    };
    let text = format!(
        "Least chance of an unsafe opening at a delay of {:.1} s: {}{}{}. Delays of {:.1} to {:.1} s may be as good. {meets}.",
        d.delay_s,
        chance_text(&d.unsafe_opening),
        off(d.early, "short"),
        off(d.late, "long"),
        d.as_good_s[0],
        d.as_good_s[1],
    );
    BetweenAnswer {
        text,
        best_delay_s: Figure(d.delay_s),
        at_delay_s: Figure(d.at_delay_s),
        unsafe_opening: chance(&d.unsafe_opening),
        as_good_from_s: Figure(d.as_good_s[0]),
        as_good_to_s: Figure(d.as_good_s[1]),
        one_second_early: Figure::maybe(d.early),
        one_second_late: Figure::maybe(d.late),
        meets: d.meets_s.iter().map(stretch).collect(),
        may_meet: d.may_meet_s.iter().map(stretch).collect(),
    }
}

fn model_move(m: &report::Move, labels: &[String]) -> ModelMove {
    let say = |share: f64| match share * m.flights as f64 {
        // Never "0 %".
        hits if hits < HARDLY_A_HIT => "none".to_string(),
        hits if m.flights as f64 - hits < HARDLY_A_HIT => "all".to_string(),
        _ => format!("{} %", percent_digits(share)),
    };
    ModelMove {
        what: m.what,
        flights: m.flights,
        estimator: m.estimator.words(),
        unsafe_opening: m
            .unsafe_opening
            .iter()
            .zip(labels)
            .map(|([modelled, off], label)| MovedChance {
                label: label.clone(),
                as_modelled: Figure(*modelled),
                when_off: Figure(*off),
                as_modelled_text: say(*modelled),
                when_off_text: say(*off),
            })
            .collect(),
    }
}

fn curve_point(p: &report::CurvePoint) -> CurvePointAnswer {
    let band =
        |c: &Chance| BandFigures { estimate: Figure(c.estimate), lower: Figure(c.lower), upper: Figure(c.upper) };
    CurvePointAnswer {
        delay_s: Figure(p.delay_s),
        opening_airspeed_m_s: p.airspeed_m_s.map(quantiles),
        limits: p
            .limits
            .iter()
            .map(|l| CurveLimitAnswer {
                limit_m_s: Figure(l.limit_m_s),
                over: band(&l.over),
                unsafe_opening: band(&l.unsafe_opening),
                text: chance_text(&l.unsafe_opening),
            })
            .collect(),
    }
}

/// Quantiles over flights.
pub(super) fn quantiles(q: report::Quantiles) -> QuantileFigures {
    QuantileFigures {
        p05: Figure(q.p05),
        p25: Figure(q.p25),
        p50: Figure(q.p50),
        p75: Figure(q.p75),
        p95: Figure(q.p95),
    }
}

/// A group's name and what belongs to it.
pub fn group(group: Group) -> (&'static str, &'static str) {
    match group {
        Group::MeanWind => ("mean_wind", "error of the mean wind at every height, and the direction of a variable one"),
        Group::Gusts => ("gusts", "gusts at the ground and above"),
        Group::Motor => ("motor", "impulse and burn time of the motors, and whether one stays unlit"),
        Group::Delay => ("delay", "error of the motor's delay"),
        Group::Drag => ("drag", "drag coefficient"),
        Group::MassAndBalance => ("mass_and_balance", "mass and centre of gravity"),
        Group::Stability => ("stability", "centre of pressure and normal-force slope"),
        Group::RailAngle => ("rail_angle", "rail against its setting"),
        Group::MisalignmentAndRoll => {
            ("misalignment_and_roll", "thrust and fins against the axis, roll rate and roll angle")
        }
        Group::Recovery => ("recovery", "drag of what opens, and ejection to line stretch"),
        Group::Altimeter => ("altimeter", "lag of apogee sensing and error of a sensed height"),
        Group::Air => ("air", "temperature and pressure"),
        Group::Failures => ("failures", "whether something fails, when and how badly"),
    }
}

fn drivers(d: &Drivers, labels: &[String]) -> DriversAnswer {
    let of = |found: &Result<Found, Silent>| driven(found, d.base_flights);
    DriversAnswer {
        meaning: "First order: part of the variance that would vanish if this input alone were known. Total: part that would stay if all else were known. Knowing an input narrows the standard deviation by the share given, on average over what it turns out to be; it removes no error that is the same in every flight.",
        base_flights: d.base_flights,
        flights: d.flights,
        interval_method: "delete-one jackknife over independent replicates, Student t; of a total the upper end on the scale of logarithms",
        delays: d
            .ways
            .iter()
            .zip(labels)
            .map(|(way, label)| DelayDrivers {
                label: label.clone(),
                ejection_airspeed_m_s: of(&way.ejection_airspeed_m_s),
                unsafe_opening: of(&way.unsafe_opening),
                landing_distance_m: of(&way.landing_distance_m),
            })
            .collect(),
    }
}

fn driven(found: &Result<Found, Silent>, base_flights: u64) -> DriverFigures {
    let found = match found {
        Ok(found) => found,
        Err(silent) => {
            return DriverFigures {
                standard_deviation: Figure::maybe(None),
                none_because: Some(match silent {
                    Silent::Constant => "it does not vary among the flights that have it".into(),
                    Silent::Rare => format!(
                        "it happens, or fails to, in fewer than {HITS_MIN} of the {} flights at both points: ask for more base flights",
                        2 * base_flights
                    ),
                }),
                first_order_sum: None,
                inputs: Vec::new(),
            };
        }
    };
    let index =
        |i: &Index| IndexFigures { estimate: Figure(i.estimate), lower: Figure(i.lower), upper: Figure(i.upper) };
    let mut ranked: Vec<_> = Group::ALL.into_iter().zip(&found.groups).collect();
    ranked.sort_by(|a, b| b.1.total.estimate.total_cmp(&a.1.total.estimate));
    DriverFigures {
        standard_deviation: Figure(found.deviation),
        none_because: None,
        first_order_sum: Some(index(&found.sum)),
        inputs: ranked
            .into_iter()
            .map(|(g, indices)| {
                let (input, meaning) = group(g);
                InputDriver {
                    input,
                    meaning,
                    sets: indices.sets,
                    first_order: index(&indices.first_order),
                    total: index(&indices.total),
                    narrows_by_share: index(&indices.first_order.narrowing()),
                }
            })
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slowpoint_sim::stat::interval;

    #[test]
    fn chances_are_never_0_or_100_percent() {
        for (hits, flights, text) in [
            (0, 2000, "< 0.19 %"),
            (2000, 2000, "> 99.81 %"),
            (82, 2000, "4.1 % (3.3 to 5.1 %)"),
            (0, 0, "not known"),
            (1, 1_000_000, "0.000100 % (0.000003 to 0.000557 %)"),
        ] {
            assert_eq!(
                chance_text(&interval::chance(&[(hits, flights)], PointSet::Pseudorandom, interval::CONFIDENCE)),
                text
            );
        }
        // An interval with one end, as weighted flights have it.
        let mut chance = interval::chance(&[(1, 2000)], PointSet::Pseudorandom, interval::CONFIDENCE);
        for (estimate, lower, upper, text) in [
            (7.4e-6, 0.0, 0.002_003_7, "0.00074 % (below 0.21 %)"),
            (0.001_1, 0.0, 0.002_89, "0.11 % (below 0.29 %)"),
            (0.001_99, 0.0, 0.002, "0.199 % (below 0.200 %)"),
            (0.999_971, 0.997_986, 1.0, "99.9971 % (above 99.79 %)"),
        ] {
            (chance.estimate, chance.lower, chance.upper) = (estimate, lower, upper);
            assert_eq!(chance_text(&chance), text);
        }
        for n in [64_u64, 1000, 1_000_000] {
            for hits in [0, 1, 2, n / 3, n - 2, n - 1, n] {
                let text = chance_text(&interval::chance(&[(hits, n)], PointSet::Pseudorandom, interval::CONFIDENCE));
                for part in text.split([' ', '(']) {
                    assert!(!part.parse::<f64>().is_ok_and(|x| x <= 0.0 || x >= 100.0), "{hits} of {n}: {text}");
                }
            }
        }
    }
}
