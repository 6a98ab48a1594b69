//! What assessments, days and sweeps share: answered at once where little is to be flown, as a job where much is, always from
//! the store where it has been answered before.

use std::cell::RefCell;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use axum::Json;
use axum::body::Bytes;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use utoipa::IntoParams;

use super::assessments::{self, kept, read_id, sent, sound, text_header, unanswered, unstored};
use super::price::{Cost, Part, Sampled};
use super::validator::Validator;
use super::{blocking, days, jobs, sweeps};
use crate::State;
use crate::access::Client;
use crate::admission::{self, Asks};
use crate::budget::Taken;
use crate::compute::{Failure, Outcome, Stop, Unanswered};
use crate::config::{Config, ENGINE};
use crate::id::ContentId;
use crate::jobs::{Count, Doing, Tell, Turn};
use crate::metrics::Mode;
use crate::problem::{Kind, Problem};
use crate::store::{Accepted, Claimed, Job, NewJob, Piece, Shelf, Store};
use crate::threads;
use crate::wire::day::{AskedDay, read_day};
use crate::wire::sweep::{AskedSweep, read_sweep};
use crate::wire::{self, Asked, FieldFault, Rejected};

/// How the jobs are done.
pub const DOING: Doing = Doing { perform, most_core_time };

/// A sweep of more settings is measured by about so many of them.
const MOST_MEASURED: usize = 64;
/// What a sample is charged at.
const CORE_S_PER_SAMPLE: f64 = 0.005;

/// The longest that `Prefer: wait` is given, s.
const LONGEST_WAIT_S: u64 = 60;

/// What is to be answered.
pub enum Work {
    /// A flight card.
    Assessment(Box<Asked>),
    /// A day.
    Day(AskedDay),
    /// A sweep.
    Sweep(AskedSweep),
}

impl Work {
    /// Reads what was posted, or kept.
    pub fn read(shelf: Shelf, body: &[u8]) -> Result<Self, Rejected> {
        Ok(match shelf {
            Shelf::Assessments => Self::Assessment(Box::new(wire::read(body)?)),
            Shelf::Days => Self::Day(read_day(body)?),
            Shelf::Sweeps => Self::Sweep(read_sweep(body)?),
        })
    }

    fn shelf(&self) -> Shelf {
        match self {
            Self::Assessment(_) => Shelf::Assessments,
            Self::Day(_) => Shelf::Days,
            Self::Sweep(_) => Shelf::Sweeps,
        }
    }

    /// The id of its answer.
    pub fn id(&self) -> ContentId {
        match self {
            Self::Assessment(asked) => ContentId::of(ENGINE, &asked.canonical()),
            Self::Day(day) => ContentId::of(&format!("{ENGINE} day"), &day.canonical()),
            Self::Sweep(sweep) => ContentId::of(&format!("{ENGINE} sweep"), &sweep.canonical()),
        }
    }

    /// Its answer and those that it leads to.
    fn answers(&self, id: &ContentId) -> Vec<(Shelf, ContentId)> {
        let flights = match self {
            Self::Day(day) => day.entries.as_slice(),
            _ => &[],
        };
        let flights = flights.iter().filter_map(|entry| entry.asked.as_ref().ok());
        let flights = flights.map(|asked| (Shelf::Assessments, ContentId::of(ENGINE, &asked.canonical())));
        core::iter::once((self.shelf(), id.clone())).chain(flights).collect()
    }

    /// As it is kept: read again, it is the same.
    fn input(&self) -> String {
        match self {
            Self::Assessment(asked) => asked.kept(),
            Self::Day(day) => day.input.to_string(),
            Self::Sweep(sweep) => sweep.input.to_string(),
        }
    }

    fn cost(&self) -> Cost {
        match self {
            Self::Assessment(asked) => Cost::of(asked),
            Self::Day(day) => Cost::of_day(day),
            Self::Sweep(sweep) => Cost::of_sweep(sweep),
        }
    }

    /// What it is measured by: the first flights of each card; of a sweep those of some settings, all its cards among them.
    fn sampling(&self) -> Sampling<'_> {
        let cost = self.cost();
        let of_card = |asked: &Asked| Part { core_s: Cost::of(asked).core_s(), answers: 1.0 };
        match self {
            Self::Assessment(asked) => Sampling::new(vec![of_card(asked)], |_| sample_of(asked)),
            Self::Day(day) => {
                let flown: Vec<_> = day.entries.iter().filter_map(|entry| entry.asked.as_ref().ok()).collect();
                let parts = flown.iter().map(|asked| of_card(asked)).collect();
                Sampling::new(parts, move |k| sample_of(flown[k]))
            }
            Self::Sweep(sweep) => {
                let cells = sweep.some(MOST_MEASURED);
                let each = 1.0 / cells.len() as f64;
                let part = Part { core_s: cost.core_s() * each, answers: sweep.cells() as f64 * each };
                Sampling::new(vec![part; cells.len()], move |k| sweeps::sampled(sweep, cells[k]))
            }
        }
    }

    /// What it costs as a job, measured here and now. `None` if it was stopped.
    fn measured(&self, threads: usize, stop: &AtomicBool) -> Option<Cost> {
        let Sampling { parts, sample } = self.sampling();
        self.cost().measured(&parts, threads, stop, sample)
    }

    /// How many samples that takes, on so many threads.
    fn samples(&self, threads: usize) -> usize {
        self.sampling().parts.len().max(threads)
    }

    /// Where it asks for too much.
    fn heaviest(&self, cost: &Cost, config: &Config) -> FieldFault {
        let (pointer, sent) = match self {
            Self::Assessment(asked) => {
                let question = &asked.case.inputs.question;
                let within = question.flights <= config.job_flights;
                match question.drivers {
                    _ if within && slowpoint_sim::rare::flights(question) > config.job_flights => ("/rare", None),
                    Some(base_flights) if within => ("/drivers", Some(base_flights)),
                    _ if question.until_half_width.is_some() => ("/until/within", Some(question.flights)),
                    _ => ("/flights", Some(question.flights)),
                }
            }
            Self::Day(_) => ("", None),
            Self::Sweep(_) => ("/axes", None),
        };
        FieldFault {
            pointer: pointer.into(),
            problem: format!("{cost} are more than the {} of one answer", config.job_flights),
            remedy: "ask for fewer flights, entries or settings, or leave drivers and rare chances out; `slowpoint assess` on your own machine takes more".into(),
            sent: sent.map(Into::into),
        }
    }

    /// All that its progress is told in: flights, entries or settings.
    fn whole(&self) -> u64 {
        match self {
            Self::Assessment(asked) => asked.case.inputs.question.flights,
            Self::Day(day) => day.entries.len() as u64,
            Self::Sweep(sweep) => sweep.cells() as u64,
        }
    }

    /// Flies it, from the pieces that are made on; `None` if it gives way before its end.
    fn fly(&self, store: &dyn Store, id: &ContentId, run: &Run) -> Result<Option<Vec<u8>>, Failure> {
        match self {
            Self::Assessment(asked) => assessments::fly(id, asked, run).map(Some),
            Self::Day(day) => days::fly(store, id, day, run),
            Self::Sweep(sweep) => sweeps::fly(id, sweep, run),
        }
    }
}

/// What work is measured by.
struct Sampling<'a> {
    parts: Vec<Part>,
    /// Takes a sample of a part.
    sample: Box<dyn Fn(usize) -> Option<Sampled> + Sync + 'a>,
}

impl<'a> Sampling<'a> {
    fn new(parts: Vec<Part>, sample: impl Fn(usize) -> Option<Sampled> + Sync + 'a) -> Self {
        Self { parts, sample: Box::new(sample) }
    }
}

/// A sample of a card's flights.
fn sample_of(asked: &Asked) -> Option<Sampled> {
    Sampled::of(|| Some(&asked.case), |_, _| ())
}

/// How something is flown.
pub struct Run<'a> {
    /// Pieces that are made already.
    pub made: &'a [Piece],
    /// Raised when it is of no use any more.
    pub stop: &'a AtomicBool,
    /// Counts the flights.
    pub flown: &'a Count<'a>,
    tell: Option<&'a Tell<'a>>,
}

impl<'a> Run<'a> {
    /// From beginning to end, and nobody looks on.
    pub fn at_once(stop: &'a AtomicBool, flown: &'a Count<'a>) -> Self {
        Self { made: &[], stop, flown, tell: None }
    }

    /// Tells of a piece, which is not made unless somebody looks on.
    pub fn tell(&self, piece: impl FnOnce() -> Result<Piece, Failure>) -> Result<Turn, Failure> {
        self.tell.map_or(Ok(Turn::GoesOn), |tell| tell(piece()?))
    }
}

/// The most that a job may take at the present pace of the machine.
fn most_core_time(job: &Claimed, threads: usize, stop: &AtomicBool) -> Option<Duration> {
    Some(Work::read(job.shelf, job.input.as_deref()?).ok()?.measured(threads, stop)?.most())
}

/// Does a job that is kept.
fn perform(
    store: &dyn Store,
    job: &Claimed,
    pool: &rayon::ThreadPool,
    stop: &AtomicBool,
    tell: &Tell,
    flown: &Count,
) -> Result<Option<Vec<u8>>, Failure> {
    // It may have been answered while a client waited: before its first turn, as none computes it while it is a job.
    if job.made.is_empty()
        && let Some(answer) = store.get(job.shelf, &job.id).map_err(unstored)?.and_then(sound)
    {
        return Ok(Some(answer));
    }
    let input = job.input.as_deref().unwrap_or_default();
    let work = Work::read(job.shelf, input).map_err(|_| Failure::EngineChanged)?;
    if work.id() != job.id {
        return Err(Failure::EngineChanged);
    }
    // Only from here on it is counted what it takes: it may be read at many turns.
    let run = Run { made: &job.made, stop, flown, tell: Some(tell) };
    threads::on_pool(pool, || work.fly(store, &job.id, &run))
}

/// Reads what was posted and answers it, or accepts a job that will, or tells its price.
pub async fn posted(
    state: &Arc<State>,
    client: &Client,
    headers: &HeaderMap,
    shelf: Shelf,
    body: impl AsRef<[u8]> + Send + 'static,
    dry_run: bool,
) -> Result<(ContentId, Response), Problem> {
    let owns = client.known && !dry_run;
    let (read, begun) = admission::decoded(state, move || {
        let work = Work::read(shelf, body.as_ref())?;
        let id = work.id();
        let owned = if owns { work.answers(&id) } else { Vec::new() };
        Ok::<_, Rejected>((work, id, owned))
    })
    .await?;
    let (work, id, owned) = read.map_err(Problem::rejected)?;
    // Whoever posts an input may read its answer, and does not lose it by hanging up.
    if owns {
        let (store, name) = (Arc::clone(&state.store), client.name.clone());
        blocking(move || store.own(&name, &owned)).await?.map_err(|error| Problem::storage(&error))?;
    }
    let response = answer(state, client, headers, work, &id, dry_run).await;
    let mut response = response.inspect_err(|problem| {
        if problem.kind() == Kind::Overloaded {
            state.admission.in_vain(Asks::of(headers, dry_run), begun.elapsed());
        }
    })?;
    response.headers_mut().extend(state.budget.told(&client.name));
    Ok((id, response))
}

async fn answer(
    state: &Arc<State>,
    client: &Client,
    headers: &HeaderMap,
    work: Work,
    id: &ContentId,
    dry_run: bool,
) -> Result<Response, Problem> {
    let (work, config) = (Arc::new(work), &state.config);
    let (shelf, cost) = (work.shelf(), work.cost());
    let stored = kept(state, shelf, id).await?.and_then(sound);
    let (affordable, inline) = (cost.affordable(config), cost.inline(config));
    if dry_run {
        let measures = !inline && affordable.is_ok() && stored.is_none();
        // Whoever has nothing left is told what it costs by the constants.
        let taken = if measures { to_be_measured(state, client, &work).ok() } else { None };
        let cost = match taken {
            Some(taken) => measured(state, taken, &work).await?,
            None => cost,
        };
        return Ok(cost.told(config, id, stored.is_some()));
    }
    let whole_answer = |answer: Bytes| placed(shelf, id, sent(id, answer));
    if let Some(answer) = stored {
        return Ok(whole_answer(answer.into()));
    }
    affordable.map_err(|refused| refused.with_errors(vec![work.heaviest(&cost, config)]))?;
    let preference = Preference::of(headers);
    let under_way = async || Ok::<_, Problem>(jobs::find(state, id).await?.is_some_and(|job| job.stage.open()));
    if inline && !preference.respond_async && !under_way().await? {
        let answer = flown(state, work, id, || state.budget.take(&client.name, cost.core_s())).await?;
        return Ok(whole_answer(answer));
    }
    // What would be computed at once is a job by request: it is not worth the measuring, and has no bound but time.
    let begun = if inline {
        accepted(state, client, &work, id, cost, Asking::Begin(None)).await?
    } else {
        match accepted(state, client, &work, id, cost, Asking::Look).await? {
            None => {
                let taken = to_be_measured(state, client, &work)?;
                let cost = measured(state, taken, &work).await?;
                accepted(state, client, &work, id, cost, Asking::Begin(Some(cost.most()))).await?
            }
            begun => begun,
        }
    };
    let mut job = match begun.ok_or_else(Problem::internal)? {
        Begun::Job(job) => job,
        Begun::Answered(answer) => return Ok(whole_answer(answer.into())),
    };
    if let Some(wait) = preference.wait {
        let ended = ended_within(state, id, wait).await?;
        let now = if ended.is_some() { ended } else { jobs::find(state, id).await? };
        job = now.unwrap_or(job);
        if let Some(answer) = kept(state, shelf, id).await?.and_then(sound) {
            return Ok(whole_answer(answer.into()));
        }
    }
    tracing::info!(job = %id, "left to a job");
    let mut response = (StatusCode::CREATED, Json(jobs::status(&job))).into_response();
    let sent = response.headers_mut();
    sent.insert(header::LOCATION, text_header(&format!("/v1/jobs/{id}")));
    sent.insert(header::CACHE_CONTROL, text_header("no-store"));
    if preference.respond_async {
        sent.insert("preference-applied", text_header("respond-async"));
    }
    Ok(response)
}

/// Pays for measuring.
fn to_be_measured(state: &Arc<State>, client: &Client, work: &Work) -> Result<Taken, Problem> {
    state.budget.take(&client.name, CORE_S_PER_SAMPLE * work.samples(state.compute.threads()) as f64)
}

/// What work costs as a job. One is measured at a time, as each takes all threads for a moment, and none whose client has left.
async fn measured(state: &Arc<State>, taken: Taken, work: &Arc<Work>) -> Result<Cost, Problem> {
    let config = &state.config;
    let place = Arc::clone(&state.measuring).acquire_owned();
    let Ok(Ok(place)) = tokio::time::timeout(config.queue_timeout(), place).await else {
        let detail = format!("It waited {} s to be priced. Come back later.", config.queue_timeout_s);
        let problem = Problem::new(Kind::Overloaded, detail);
        return Err(problem.with_limit("queue_timeout_s", config.queue_timeout_s, "s"));
    };
    taken.spend();
    let (work, threads, stop) = (Arc::clone(work), state.compute.threads(), Stop::default());
    let flag = stop.flag();
    let measured = blocking(move || {
        let _place = place;
        work.measured(threads, &flag)
    });
    measured.await?.ok_or_else(Problem::internal)
}

/// Work that was accepted.
enum Begun {
    /// As a job.
    Job(Job),
    /// It is answered meanwhile.
    Answered(Vec<u8>),
}

/// What is asked of the jobs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Asking {
    /// Whether it would be accepted.
    Look,
    /// To accept it, with the most time that it may take on a core, if there is one.
    Begin(Option<Duration>),
}

/// Accepts a job. One that is new costs its client what it is estimated at; where it was only asked whether it would be
/// accepted, it would if nothing comes back.
async fn accepted(
    state: &Arc<State>,
    client: &Client,
    work: &Work,
    id: &ContentId,
    cost: Cost,
    asking: Asking,
) -> Result<Option<Begun>, Problem> {
    let (shelf, input, whole) = (work.shelf(), work.input(), work.whole());
    let (state, id, client) = (Arc::clone(state), id.clone(), client.name.clone());
    blocking(move || {
        let config = &state.config;
        let most = [config.jobs, config.client_jobs];
        let most_core_time = match asking {
            Asking::Look => None,
            Asking::Begin(most) => most,
        };
        let new = NewJob { shelf, id: &id, client: &client, input: input.as_bytes(), whole, most_core_time, most };
        let taken = RefCell::new(None);
        let pays = || taken.borrow_mut().insert(state.budget.take(&client, cost.core_s())).is_ok();
        let may_begin = || pays() && asking != Asking::Look;
        let accepted = state.jobs.accept(&new, &may_begin).map_err(|error| Problem::storage(&error))?;
        // It is given back where nothing is begun.
        let taken = taken.into_inner().transpose()?;
        match accepted {
            Accepted::New(job) => {
                taken.into_iter().for_each(Taken::spend);
                Ok(Some(Begun::Job(job)))
            }
            Accepted::Known(job) => Ok(Some(Begun::Job(job))),
            Accepted::Answered(answer) => Ok(Some(Begun::Answered(answer))),
            Accepted::Refused => Ok(None),
            Accepted::Full => {
                let detail =
                    format!("{} jobs run and wait, which is all that are taken. Come back later.", config.jobs);
                Err(Problem::new(Kind::Overloaded, detail).with_limit("jobs", config.jobs as u64, "jobs"))
            }
            Accepted::ClientFull => {
                let detail = format!(
                    "{} of your jobs run and wait. Come back when one has ended, or give one up.",
                    config.client_jobs
                );
                let most = config.client_jobs as u64;
                Err(Problem::new(Kind::TooManyJobs, detail).with_limit("client_jobs", most, "jobs"))
            }
        }
    })
    .await?
}

/// Flies while the client waits; kept first, answered second; one run per id, off the async threads. What a run costs is
/// taken when it is to be begun, and spent once it flies.
pub async fn flown(
    state: &Arc<State>,
    work: Arc<Work>,
    id: &ContentId,
    take: impl FnOnce() -> Result<Taken, Problem>,
) -> Result<Bytes, Problem> {
    let shelf = work.shelf();
    let (store, key) = (Arc::clone(&state.store), id.clone());
    let flown = state.metrics.flights(shelf.name(), Mode::Inline);
    let begin = || {
        let taken = take()?;
        Ok(move |stop: &AtomicBool| -> Outcome {
            let count = |flights| flown.inc_by(flights);
            Ok(answered(&*store, &key, &work, &Run::at_once(stop, &count), || taken.spend())?.into())
        })
    };
    computed(state, &format!("{}/{id}", shelf.name()), begin).await
}

/// Computes something under a name while the client waits; see `Compute::run`.
pub async fn computed<W>(
    state: &Arc<State>,
    name: &str,
    begin: impl FnOnce() -> Result<W, Problem>,
) -> Result<Bytes, Problem>
where
    W: FnOnce(&AtomicBool) -> Outcome + Send + 'static,
{
    state.compute.run(name, begin).await.map_err(|why| match why {
        Unanswered::Refused(problem) => problem,
        Unanswered::Failed(failure) => unanswered(&state.config, name, failure),
    })
}

/// The answer of the store; else it is flown and kept.
pub fn answered(
    store: &dyn Store,
    id: &ContentId,
    work: &Work,
    run: &Run,
    flies: impl FnOnce(),
) -> Result<Vec<u8>, Failure> {
    let shelf = work.shelf();
    // A run that ended between a client's look and now has kept it.
    if let Some(answer) = store.get(shelf, id).map_err(unstored)?.and_then(sound) {
        return Ok(answer);
    }
    tracing::debug!(%id, "flies");
    flies();
    // Nobody asks it to give way.
    let answer = work.fly(store, id, run)?.ok_or(Failure::Stopped)?;
    store.put(shelf, id, work.input().as_bytes(), &answer).map_err(unstored)?;
    Ok(answer)
}

/// Waits for a job to end.
async fn ended_within(state: &Arc<State>, id: &ContentId, wait: Duration) -> Result<Option<Job>, Problem> {
    let (mut news, mut stopping) = (state.jobs.listen(), state.jobs.stopping());
    let end = tokio::time::Instant::now() + wait;
    loop {
        if let Some(job) = jobs::find(state, id).await?.filter(|job| !job.stage.open()) {
            return Ok(Some(job));
        }
        tokio::select! {
            () = news.of(id) => {}
            () = tokio::time::sleep_until(end) => return Ok(None),
            // The job is gone on with by the next process; where it is has to be told now.
            _ = stopping.wait_for(|stopping| *stopping) => return Ok(None),
        }
    }
}

/// The header as it is described.
#[derive(Debug, IntoParams)]
#[into_params(parameter_in = Header)]
#[allow(dead_code, reason = "describes a header, which is read by its name")]
pub struct Prefer {
    /// RFC 7240. "respond-async": accept it as a job. "wait=10": of a job, wait so many seconds for its end, at most 60.
    #[param(rename = "Prefer", required = false)]
    prefer: Option<String>,
}

/// How the client would like it (RFC 7240).
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Preference {
    /// It is to be a job.
    pub respond_async: bool,
    wait: Option<Duration>,
}

impl Preference {
    /// What the headers say.
    pub fn of(headers: &HeaderMap) -> Self {
        let mut preference = Self::default();
        let lists = headers.get_all("prefer").iter().filter_map(|v| v.to_str().ok());
        for part in lists.flat_map(|list| apart(list, ',')) {
            // What follows after a semicolon are parameters of that one.
            let Some(own) = apart(part, ';').next() else { continue };
            let (name, value) = own.split_once('=').unwrap_or((own, ""));
            let value = value.trim().trim_matches('"');
            match name.trim().to_ascii_lowercase().as_str() {
                // It has no value; with one it is a preference that nobody knows.
                "respond-async" if value.is_empty() => preference.respond_async = true,
                "wait" if preference.wait.is_none() => {
                    let seconds = value.parse::<u64>().ok();
                    preference.wait = seconds.map(|s| Duration::from_secs(s.min(LONGEST_WAIT_S)));
                }
                _ => {}
            }
        }
        preference
    }
}

/// The parts of a list, but for what stands in quotation marks (RFC 9110, 5.6.4).
fn apart(list: &str, separator: char) -> impl Iterator<Item = &str> {
    let (mut quoted, mut escaped) = (false, false);
    list.split(move |c| {
        let literal = core::mem::take(&mut escaped);
        match c {
            '"' if !literal => quoted = !quoted,
            '\\' if quoted && !literal => escaped = true,
            _ => {}
        }
        c == separator && !quoted
    })
}

/// Gives a stored answer again.
pub async fn read(state: &Arc<State>, shelf: Shelf, id: &str, headers: &HeaderMap) -> Result<Response, Problem> {
    let id = read_id(id)?;
    let answer = stored(state, shelf, &id).await?;
    let form = Validator::of_answer(&id);
    Ok(if form.held(headers) { form.not_modified() } else { sent(&id, answer.into()) })
}

/// The bytes of a stored answer.
pub async fn stored(state: &Arc<State>, shelf: Shelf, id: &ContentId) -> Result<Vec<u8>, Problem> {
    match kept(state, shelf, id).await? {
        Some(stored) => sound(stored).ok_or_else(|| damaged(shelf, id)),
        None => Err(unknown(state, shelf, id).await),
    }
}

/// What a shelf holds, in a word.
fn word(shelf: Shelf) -> &'static str {
    match shelf {
        Shelf::Days => "day",
        Shelf::Sweeps => "sweep",
        Shelf::Assessments => "flight card",
    }
}

/// Nothing under this id.
pub async fn unknown(state: &Arc<State>, shelf: Shelf, id: &ContentId) -> Problem {
    let known = jobs::find(state, id).await.ok().flatten().is_some_and(|job| job.shelf == shelf);
    let where_to = if known { format!(" A job is at /v1/jobs/{id}.") } else { String::new() };
    let (name, word) = (shelf.name(), word(shelf));
    Problem::new(
        Kind::unknown(shelf),
        format!(
            "Nothing is stored under {id}. Post the {word} to /v1/{name}; the same {word} gets the same id.{where_to}"
        ),
    )
}

/// Something under this id that cannot be relied on any more.
pub fn damaged(shelf: Shelf, id: &ContentId) -> Problem {
    Problem::new(
        Kind::StoredDamaged,
        format!(
            "The {} stored under {id} fails its checksum. Post it again: that stores it anew under the same id.",
            word(shelf)
        ),
    )
}

/// Says where the answer stays.
fn placed(shelf: Shelf, id: &ContentId, mut response: Response) -> Response {
    let place = text_header(&shelf.path(id));
    for name in [header::LOCATION, header::CONTENT_LOCATION] {
        response.headers_mut().insert(name, place.clone());
    }
    response
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    #[test]
    fn reads_preferences() {
        let of = |lists: &[&str]| {
            let mut headers = HeaderMap::new();
            for list in lists {
                headers.append("prefer", list.parse().unwrap());
            }
            Preference::of(&headers)
        };
        let preference =
            |respond_async, wait: Option<u64>| Preference { respond_async, wait: wait.map(Duration::from_secs) };
        for (lists, expected) in [
            (&["respond-async"][..], preference(true, None)),
            (&["Respond-Async=\"\""], preference(true, None)),
            (&["respond-async=false, wait=5"], preference(false, Some(5))),
            (&["Respond-Async, wait=10"], preference(true, Some(10))),
            (&["wait = \"5\"; x", "respond-async"], preference(true, Some(5))),
            (&["wait=7, wait=9"], preference(false, Some(7))),
            (&["wait=1000000"], preference(false, Some(60))),
            (&["wait=soon"], preference(false, None)),
            // Parameters are of the preference before them (RFC 7240, 2), and a text may hold anything.
            (&["return=minimal; respond-async; wait=9, wait=3; respond-async"], preference(false, Some(3))),
            (&[r#"a="respond-async, wait=9 \" , wait=8"; b=",", wait=4"#], preference(false, Some(4))),
            (&[], preference(false, None)),
        ] {
            assert_eq!(of(lists), expected, "{lists:?}");
        }
    }
}
