//! What is asked: ways of deploying, limits, number of flights, rules.

use slowpoint_sim::advise::DEFAULT_ACCEPT_CHANCE;
use slowpoint_sim::case::{Area, LimitApplies, Question, RareEvent, RareInput, RuleSet};
use slowpoint_sim::draw::PointSet;
use slowpoint_sim::flight::{Deployment, Electronics};
use slowpoint_sim::limits::{self, Limit};
use slowpoint_sim::settings::Settings;

use super::Reader;
use crate::wire::request::*;
use crate::wire::units::{quoted, six_digits};

/// A chance beyond these is a slip of units; the engine has the last word.
const CHANCE: Limit = Limit { what: "chance of the condition", hint: "0.02 means 2 % of flights", ..limits::SHARE };
const DEFAULT_FLIGHTS: u64 = 2000;
const DEFAULT_SEED: u64 = 1;
/// 35 and 100 mph, m/s.
const DEFAULT_LIMITS_M_S: [f64; 2] = [15.6464, 44.704];

impl Reader<'_> {
    pub(super) fn question(&mut self, r: &AssessmentRequest, code_delay_s: Option<f64>, areas: &[Area]) -> Question {
        let ways = self.ways(r, code_delay_s);
        let sent = r.limits.clone().unwrap_or_default();
        let limits_m_s = match &sent.deploy_speed {
            Some(list) => {
                let at = |i: usize| format!("/limits/deploy_speed/{i}");
                let list: Vec<f64> = list
                    .iter()
                    .enumerate()
                    .map(|(i, v)| self.quantity(&at(i), v.quantity(), Speed::TABLE, Some(&limits::SPEED_LIMIT)))
                    .collect();
                for (i, v) in list.iter().enumerate() {
                    if list[..i].iter().any(|w| same(*w, *v)) {
                        self.faults.add(at(i), "this limit is there twice", "give each once");
                    }
                }
                list
            }
            None => {
                self.assume(
                    "limits.deploy_speed",
                    "35 mph and 100 mph",
                    "35 mph is the limit in common use, near 100 mph tubes tear: common practice",
                );
                DEFAULT_LIMITS_M_S.to_vec()
            }
        };
        if sent.applies_to.is_none() {
            self.assume(
                "limits.applies_to",
                "ejection",
                "assumption: the airspeed when the charge fires, before the lines stretch",
            );
        }
        let condition = r.condition.clone().unwrap_or_default();
        let accept_limit = match self.read("/condition/limit", &condition.limit, Some(&limits::SPEED_LIMIT)) {
            None => 0,
            Some(wanted) => self.limit_of("/condition/limit", &limits_m_s, wanted, ", or leave it out for the first"),
        };
        let rare = self.rare(r, &ways, &limits_m_s, areas);
        let accept_chance = self.read("/condition/chance", &condition.chance, Some(&CHANCE));
        if accept_chance.is_none() {
            self.assume(
                "condition.chance",
                format!("{} %", 100.0 * DEFAULT_ACCEPT_CHANCE),
                "house number: give the chance your club sets",
            );
        }
        if r.flights.is_none() && r.until.is_none() {
            self.assume("flights", DEFAULT_FLIGHTS.to_string(), "default");
        }
        let until_half_width = r.until.as_ref().map(|until| {
            if r.flights.is_some() {
                self.faults.add(
                    "/until",
                    "there are flights as well",
                    "give one of the two: flights are flown to the last one, until ends them once the intervals are narrow enough",
                );
            }
            self.need("/until/half_width", &until.half_width, Some(&limits::HALF_WIDTH))
        });
        let flights = r.until.as_ref().map_or(r.flights, |until| until.within);
        if r.seed.is_none() {
            self.assume("seed", DEFAULT_SEED.to_string(), "default");
        }
        if r.points.is_none() {
            self.assume("points", "sobol", "default: evenly spread points");
        }
        Question {
            ways,
            limits_m_s,
            limit_applies: match sent.applies_to {
                Some(AppliesTo::LineStretch) => LimitApplies::LineStretch,
                Some(AppliesTo::Ejection) | None => LimitApplies::Ejection,
            },
            accept_chance,
            accept_limit,
            flights: flights.unwrap_or(DEFAULT_FLIGHTS),
            until_half_width,
            seed: r.seed.unwrap_or(DEFAULT_SEED),
            points: match r.points {
                Some(PointKind::Random) => PointSet::Pseudorandom,
                Some(PointKind::Sobol) | None => PointSet::Sobol,
            },
            drivers: r.drivers,
            rare,
            settings: Settings {
                wind_limit: r.advise.iter().flatten().any(|topic| *topic == AdviceTopic::WindLimit),
                rail: r.advise.iter().flatten().any(|topic| *topic == AdviceTopic::Rail),
            },
            rule_set: r.rule_set.as_ref().map(|set| self.rule_set(set)),
        }
    }

    /// Index of a limit that is repeated elsewhere; the first where it is none of them, with what may be done `instead`.
    fn limit_of(&mut self, at: &str, limits_m_s: &[f64], wanted: f64, instead: &str) -> usize {
        limits_m_s.iter().position(|v| same(*v, wanted)).unwrap_or_else(|| {
            if !limits_m_s.is_empty() && wanted.is_finite() && !self.faults.covers("/limits/deploy_speed") {
                let known: Vec<String> = limits_m_s
                    .iter()
                    .map(|v| format!("\"{} m/s\" ({} mph)", six_digits(*v), Speed::TABLE.in_unit(*v, "mph")))
                    .collect();
                self.faults.add(
                    at,
                    "it is none of limits.deploy_speed",
                    format!("repeat one of the limits, {}{instead}", known.join(", ")),
                );
            }
            0
        })
    }

    /// Chances that are to be sought.
    fn rare(
        &mut self,
        r: &AssessmentRequest,
        ways: &[Deployment],
        limits_m_s: &[f64],
        areas: &[Area],
    ) -> Vec<RareInput> {
        let mut rare = Vec::new();
        for (i, entry) in r.rare.iter().flatten().enumerate() {
            let at = format!("/rare/{i}");
            let event = self.rare_event(entry, &at, limits_m_s, areas);
            let way =
                entry.flown_with.as_ref().and_then(|label| self.way_of(&format!("{at}/flown_with"), "", label, ways));
            let entry = RareInput { event, way, flights: entry.flights.unwrap_or(slowpoint_sim::rare::FLIGHTS) };
            if rare.contains(&entry) && !self.faults.covers(&at) {
                self.faults.add(at, "this is there twice", "give each once");
            }
            rare.push(entry);
        }
        rare
    }

    fn rare_event(&mut self, entry: &RareEntry, at: &str, limits_m_s: &[f64], areas: &[Area]) -> RareEvent {
        let none = RareEvent::OpensOver(0);
        match (&entry.landing_in, &entry.opening_over) {
            (Some(_), Some(_)) => {
                self.faults.add(
                    at,
                    "there are landing_in and opening_over",
                    "give one of the two, and the other as an entry of its own",
                );
                none
            }
            (None, None) => {
                self.faults.add(
                    at,
                    "it says not what is sought",
                    "give landing_in with the name of an area, or opening_over with one of limits.deploy_speed",
                );
                none
            }
            (Some(name), None) => match areas.iter().position(|area| area.name == *name) {
                Some(area) => RareEvent::LandsIn(area),
                None => {
                    let known: Vec<String> = areas.iter().map(|area| format!("\"{}\"", area.name)).collect();
                    let remedy = match known.as_slice() {
                        [] => "give site.areas, or a map of the site, with an area of this name".into(),
                        known => format!("name one of {}", known.join(", ")),
                    };
                    self.faults.add(format!("{at}/landing_in"), "no area of the site has this name", remedy);
                    none
                }
            },
            (None, over) => {
                let place = format!("{at}/opening_over");
                let wanted = self.need(&place, over, Some(&limits::SPEED_LIMIT));
                RareEvent::OpensOver(self.limit_of(&place, limits_m_s, wanted, ""))
            }
        }
    }

    /// Index of a way of deploying by its label; a fault says first in which line of a table that is, where it is in one.
    pub(super) fn way_of(&mut self, at: &str, line: &str, label: &str, ways: &[Deployment]) -> Option<usize> {
        let labels: Vec<String> = ways.iter().map(slowpoint_sim::way_label).collect();
        let found = labels.iter().position(|known| known == label);
        if found.is_none() && !labels.is_empty() {
            let known: Vec<String> = labels.iter().map(|label| format!("\"{label}\"")).collect();
            let wrong = format!("{line}there is no delay called {}", quoted(label));
            self.faults.add(at, wrong, format!("name one of {}", known.join(", ")));
        }
        found
    }

    fn ways(&mut self, r: &AssessmentRequest, code_delay_s: Option<f64>) -> Vec<Deployment> {
        let mut ways = Vec::new();
        for (i, delay) in r.delays.iter().flatten().enumerate() {
            let at = format!("/delays/{i}");
            let delay_s = self.quantity(&at, delay.quantity(), Time::TABLE, Some(&limits::DELAY));
            ways.push((at, Deployment { motor_delay_s: Some(delay_s), electronics: None }));
        }
        let unsaid = r.delays.is_none() && !self.faults.covers("/delays");
        if let Some(delay) = code_delay_s.filter(|_| unsaid) {
            self.places.delay_by_code = true;
            self.assume("delays", format!("{} s", six_digits(delay)), "the delay in the motor code");
            ways.push(("/card/motor/code".into(), Deployment { motor_delay_s: Some(delay), electronics: None }));
        }
        for (i, e) in r.electronics.iter().flatten().enumerate() {
            let at = format!("/electronics/{i}");
            let way = self.electronics(e, &at);
            ways.push((at, way));
        }
        // A code that could not be read may have held the delay.
        let explained = ["/delays", "/electronics", "/card/motor/code"].iter().any(|at| self.faults.covers(at));
        if ways.is_empty() && !explained {
            self.faults.add(
                "/delays",
                "there is nothing to compare",
                "give delays in seconds, such as [5, 7, 10], or electronics such as [{\"fires_at\": \"apogee\"}]",
            );
        }
        if ways.is_empty() {
            // Told already: the engine must not count them once more.
            self.faults.explain("/delays");
        }
        for (i, (at, way)) in ways.iter().enumerate() {
            // One that was faulted says nothing about the others.
            if ways[..i].iter().any(|(place, other)| other == way && !self.faults.covers(place)) {
                self.faults.add(at, "this is there twice", "give each once");
            }
        }
        ways.into_iter().map(|(_, way)| way).collect()
    }

    fn electronics(&mut self, e: &ElectronicsEntry, at: &str) -> Deployment {
        let place = format!("{at}/height");
        let electronics = match e.fires_at {
            Some(FiresAt::Height) => {
                let why = "give the height above the pad at which it fires, coming down";
                Electronics::Height(self.demand(&place, &e.height, &limits::HEIGHT, why))
            }
            // Missing ones have been noted.
            Some(FiresAt::Apogee) | None => {
                if e.height.is_some() && e.fires_at.is_some() {
                    self.faults.add(
                        &place,
                        "it fires at apogee, not at a height",
                        "say \"fires_at\": \"height\", or leave out height",
                    );
                }
                Electronics::Apogee
            }
        };
        let motor_delay_s = self.read(&format!("{at}/backup_delay"), &e.backup_delay, Some(&limits::DELAY));
        Deployment { motor_delay_s, electronics: Some(electronics) }
    }

    fn rule_set(&mut self, set: &RuleSetChoice) -> RuleSet {
        match set {
            RuleSetChoice::Named(NamedRuleSet::UsModelRocket) => RuleSet::UsModelRocket,
            RuleSetChoice::Named(NamedRuleSet::UsHighPower) => RuleSet::UsHighPower,
            RuleSetChoice::Own(own) => {
                let own = own.own.clone().unwrap_or_default();
                let thrust_to_weight = own.thrust_to_weight;
                if thrust_to_weight.is_some_and(|t| !(0.0..=1000.0).contains(&t)) {
                    self.faults.add(
                        "/rule_set/own/thrust_to_weight",
                        "it is no ratio of thrust to weight",
                        "give 0 to 1000",
                    );
                }
                RuleSet::Own {
                    wind_m_s: self.read("/rule_set/own/wind", &own.wind, Some(&limits::WIND_SPEED)),
                    tilt_rad: self.read("/rule_set/own/tilt", &own.tilt, Some(&limits::TILT)),
                    thrust_to_weight,
                }
            }
        }
    }
}

/// Whether two speeds are one, whatever units they came in and with the six digits that an answer shows.
fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-5 * b.abs()
}
