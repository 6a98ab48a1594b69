//! What an answer would cost, and whether so much is taken.

use core::borrow::Borrow;
use core::fmt;
use core::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use axum::Json;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};
use slowpoint_sim::calibration::CalibrationPlan;
use slowpoint_sim::case::Case;
use slowpoint_sim::report::CellReport;
use slowpoint_sim::{Sample, Work as Flown, rare, settings};
use utoipa::{IntoParams, ToSchema};

use crate::config::{CORE_S_PER_ASCENT, CORE_S_PER_DESCENT, CORE_S_PER_PULL, CORE_S_PER_WEIGHING, Config, ENGINE};
use crate::core_time;
use crate::id::ContentId;
use crate::problem::{Kind, Problem};
use crate::wire::Asked;
use crate::wire::day::AskedDay;
use crate::wire::sweep::AskedSweep;

/// A job ends without an answer once it took so many times what it is estimated at.
pub const MOST_OF_ESTIMATE: f64 = 1.2;

/// A flight that is flown by itself, in one lane, takes so many times what it takes beside others. It only feeds estimates.
const BY_ITSELF: f64 = 4.0;

/// What a POST may say beside its body.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(deny_unknown_fields, default)]
#[into_params(parameter_in = Query)]
pub struct CreateQuery {
    /// With `true` nothing is answered: there is the price, and the id the answer would get
    #[param(required = false, default = false)]
    pub dry_run: bool,
}

/// What an answer would cost.
#[derive(Debug, Serialize, ToSchema)]
pub struct Price {
    /// Id the answer would get
    #[schema(pattern = "^[0-9a-f]{32}$")]
    pub id: String,
    /// Engine that would answer
    pub engine: String,
    /// Flights asked for, those of all entries or settings together; with `until` the most
    pub flights: u64,
    /// Flights on top of them that tell what drives the answer; 0 unless `drivers` is asked
    pub driver_flights: u64,
    /// Flights of them that are flown once more for cord and tube edge; 0 unless `cords` is asked
    pub cord_flights: u64,
    /// Flights on top of them at other winds and settings of the rail; 0 unless `advise` is asked
    pub settings_flights: u64,
    /// Flights drawn in the conditions of flights flown; 0 unless `calibration` tells of some
    pub calibration_flights: u64,
    /// The most flights on top of them for rare chances; 0 unless `rare` is asked
    pub rare_flights: u64,
    /// Estimated work, seconds of one core. Where it is computed at once, or stored, so much a flight; of a job as the first
    /// flights of its cards took here just now
    pub estimated_core_s: f64,
    /// Work after which the job is stopped without an answer, if it is estimated at less than that then as well, seconds of
    /// one core; null where it is computed at once, stored or refused, and where the system does not tell the time on a core
    pub stopped_at_core_s: Option<f64>,
    /// Whether that is the most it can cost, because `until` may end it sooner, or what is rare be found sooner
    pub at_most: bool,
    /// Whether it is computed while the client waits
    pub inline: bool,
    /// Most flights that are computed while the client waits
    pub inline_flights: u64,
    /// Whether it would be a job; where neither it is refused
    pub job: bool,
    /// Most flights of a job
    pub job_flights: u64,
    /// Whether the answer is stored already, and costs nothing
    pub stored: bool,
}

/// What an answer costs.
#[derive(Debug, Clone, Copy, Default)]
pub struct Cost {
    flights: u64,
    driver_flights: u64,
    cord_flights: u64,
    settings_flights: u64,
    calibration_flights: u64,
    rare_flights: u64,
    core_s: f64,
    at_most: bool,
}

/// A part of a job.
#[derive(Debug, Clone, Copy)]
pub struct Part {
    /// What it is estimated at.
    pub core_s: f64,
    /// How many answers are put together of it.
    pub answers: f64,
}

/// What samples took, seconds of one core.
#[derive(Debug, Clone, Copy, Default)]
pub struct Sampled {
    samples: f64,
    /// As their flights are estimated.
    estimated_s: f64,
    /// As they took.
    flights_s: f64,
    /// All else.
    rest_s: f64,
}

impl Sampled {
    /// Takes a sample: the card is read, flown, and what it comes to is made an answer.
    pub fn of<T: Borrow<Case>>(read: impl FnOnce() -> Option<T>, answer: impl FnOnce(&T, &CellReport)) -> Option<Self> {
        let begun = core_time::of_this_thread();
        let card = read()?;
        let as_read = core_time::of_this_thread();
        let sample = Sample::fly(card.borrow());
        let flown = core_time::of_this_thread();
        answer(&card, &sample.report());
        let rest = core_time::of_this_thread() - flown + as_read - begun;
        Some(Self {
            samples: 1.0,
            estimated_s: core_s(sample.work()),
            flights_s: (flown - as_read).as_secs_f64(),
            rest_s: rest.as_secs_f64(),
        })
    }

    fn and(self, other: Self) -> Self {
        Self {
            samples: self.samples + other.samples,
            estimated_s: self.estimated_s + other.estimated_s,
            flights_s: self.flights_s + other.flights_s,
            rest_s: self.rest_s + other.rest_s,
        }
    }
}

/// Flights drawn in the conditions of flights flown.
fn drawn_to_learn(asked: &Asked) -> u64 {
    asked.case.calibration.as_ref().map_or(0, CalibrationPlan::drawn)
}

impl Cost {
    /// Of an assessment.
    pub fn of(asked: &Asked) -> Self {
        let question = &asked.case.inputs.question;
        Self {
            flights: question.flights,
            driver_flights: question.drivers.map_or(0, slowpoint_sim::drivers::flights),
            cord_flights: slowpoint_sim::cord::flights(&asked.case),
            settings_flights: settings::flights(question),
            calibration_flights: drawn_to_learn(asked),
            rare_flights: rare::flights(question),
            core_s: core_s(slowpoint_sim::work(&asked.case)),
            // What is rare is sought until it is found.
            at_most: question.until_half_width.is_some() || !question.rare.is_empty(),
        }
    }

    /// Of a table of so many flights of an assessment, flown again for their chances.
    pub fn of_table(asked: &Asked, flights: u64) -> Self {
        let each = slowpoint_sim::work_of_cell(&asked.case);
        let part = flights as f64 / asked.case.inputs.question.flights as f64;
        let learning_s = core_s(slowpoint_sim::work_of_learning(&asked.case));
        let calibration_flights = drawn_to_learn(asked);
        Self { flights, calibration_flights, core_s: part * core_s(each) + learning_s, ..Self::default() }
    }

    /// Of so many flights of an assessment, each flown again by itself with its path.
    pub fn of_replays(asked: &Asked, flights: u64) -> Self {
        let beside_each_other = Self::of_table(asked, flights);
        // What flights flown say is learned once, by flights beside each other.
        let learning_s = core_s(slowpoint_sim::work_of_learning(&asked.case));
        let alone_s = BY_ITSELF * (beside_each_other.core_s - learning_s);
        Self { core_s: alone_s + learning_s, ..beside_each_other }
    }

    /// Of a day: of every flight that can be read.
    pub fn of_day(day: &AskedDay) -> Self {
        day.entries.iter().filter_map(|entry| entry.asked.as_ref().ok()).fold(Self::default(), |all, asked| {
            let one = Self::of(asked);
            Self {
                flights: all.flights + one.flights,
                driver_flights: all.driver_flights + one.driver_flights,
                cord_flights: all.cord_flights + one.cord_flights,
                settings_flights: all.settings_flights + one.settings_flights,
                calibration_flights: all.calibration_flights.saturating_add(one.calibration_flights),
                rare_flights: all.rare_flights.saturating_add(one.rare_flights),
                core_s: all.core_s + one.core_s,
                at_most: all.at_most || one.at_most,
            }
        })
    }

    /// Of a sweep: of every setting, whether or not some share their flights.
    pub fn of_sweep(sweep: &AskedSweep) -> Self {
        Self { flights: sweep.flights(), core_s: core_s(sweep.work), at_most: sweep.may_end_sooner, ..Self::default() }
    }

    /// The same by what its parts take here while every thread is at work: each part has its share of the estimate, and so many
    /// answers are put together of it. `None` if it was stopped, or a part could not be sampled.
    pub fn measured(
        self,
        parts: &[Part],
        threads: usize,
        stop: &AtomicBool,
        sample: impl Fn(usize) -> Option<Sampled> + Sync,
    ) -> Option<Self> {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).thread_name(|k| format!("price-{k}")).build();
        let pool = pool.inspect_err(|error| tracing::error!(%error, "threads cannot be started")).ok()?;
        // None were asked for: as many as there are cores.
        let threads = pool.current_num_threads();
        // Every thread has as many; where there are few parts one is sampled more than once.
        let own = |thread: usize| {
            let nth = (0..parts.len().div_ceil(threads)).map(|round| (round * threads + thread) % parts.len());
            nth.map(|part| Some((part, sample(part).filter(|_| !stop.load(Ordering::Relaxed))?))).collect::<Vec<_>>()
        };
        let mut taken = vec![Sampled::default(); parts.len()];
        for sampled in pool.broadcast(|context| own(context.index())).into_iter().flatten() {
            let (part, sampled) = sampled?;
            taken[part] = taken[part].and(sampled);
        }
        let of_part = |(part, taken): (&Part, &Sampled)| {
            part.core_s * taken.flights_s / taken.estimated_s + part.answers * taken.rest_s / taken.samples
        };
        Some(Self { core_s: parts.iter().zip(&taken).map(of_part).sum(), ..self })
    }

    /// After so much time on a core it is stopped.
    pub fn most(&self) -> Duration {
        Duration::try_from_secs_f64(MOST_OF_ESTIMATE * self.core_s).unwrap_or(Duration::MAX)
    }

    /// Estimated seconds of one core.
    pub fn core_s(&self) -> f64 {
        self.core_s
    }

    /// All flights.
    pub fn all_flights(&self) -> u64 {
        self.flights.saturating_add(self.beside())
    }

    /// Those on top of the flights asked for.
    pub fn beside(&self) -> u64 {
        [self.cord_flights, self.settings_flights, self.calibration_flights, self.rare_flights]
            .into_iter()
            .fold(self.driver_flights, u64::saturating_add)
    }

    /// Whether it is computed while a client waits.
    pub fn inline(&self, config: &Config) -> bool {
        self.all_flights() <= config.inline_flights
    }

    /// Refuses what is more than a job may be.
    pub fn affordable(&self, config: &Config) -> Result<(), Problem> {
        let (all, most) = (self.all_flights(), config.job_flights);
        if all <= most {
            return Ok(());
        }
        let detail = format!("At most {most} flights are flown for one answer, {all} were asked for.");
        Err(Problem::new(Kind::TooManyFlights, detail).with_limit("job_flights", most, "flights"))
    }

    /// The answer of a dry run.
    pub fn told(&self, config: &Config, id: &ContentId, stored: bool) -> Response {
        let inline = self.inline(config);
        let job = !inline && self.affordable(config).is_ok();
        let price = Price {
            id: id.to_string(),
            engine: ENGINE.into(),
            flights: self.flights,
            driver_flights: self.driver_flights,
            cord_flights: self.cord_flights,
            settings_flights: self.settings_flights,
            calibration_flights: self.calibration_flights,
            rare_flights: self.rare_flights,
            estimated_core_s: self.core_s,
            stopped_at_core_s: (job && !stored && *core_time::TOLD).then(|| self.most().as_secs_f64()),
            at_most: self.at_most,
            inline,
            inline_flights: config.inline_flights,
            job,
            job_flights: config.job_flights,
            stored,
        };
        ([(header::CACHE_CONTROL, "no-store")], Json(price)).into_response()
    }
}

/// Its flights in words.
impl fmt::Display for Cost {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} flights", self.flights)?;
        if self.driver_flights > 0 {
            write!(f, " and {} for the drivers", self.driver_flights)?;
        }
        if self.cord_flights > 0 {
            write!(f, " and {} for the cords", self.cord_flights)?;
        }
        if self.settings_flights > 0 {
            write!(f, " and {} at other settings", self.settings_flights)?;
        }
        if self.calibration_flights > 0 {
            write!(f, " and {} to learn from those that were flown", self.calibration_flights)?;
        }
        if self.rare_flights > 0 {
            write!(f, " and {} for rare chances", self.rare_flights)?;
        }
        Ok(())
    }
}

fn core_s(flown: Flown) -> f64 {
    CORE_S_PER_ASCENT * flown.ascents as f64
        + CORE_S_PER_DESCENT * flown.descents as f64
        + CORE_S_PER_PULL * flown.pulls as f64
        + CORE_S_PER_WEIGHING * flown.weighings as f64
}
