//! `/jobs/{id}`: what work under way has come to, until its answer is there; `/jobs`: one's own.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::Extension;
use axum::body::Bytes;
use axum::extract::State as Held;
use axum::http::{HeaderValue, header};
use axum::response::Response;
use jiff::Timestamp;
use maud::{Markup, html};
use serde_json::Value;
use tokio::sync::OnceCell;

use super::standing::{Place, Sky, key, launching_with, of_another_place};
use super::told::{At, Quantity, Units};
use super::view::{Page, View};
use super::{as_html, assets, day, led, parts, sweep};
use crate::State;
use crate::access::Client;
use crate::api::assessments::{kept, read_id};
use crate::api::extract::InPath;
use crate::api::files::drawn;
use crate::api::{jobs, work};
use crate::id::ContentId;
use crate::problem::Problem;
use crate::store::{Job, Shelf};
use crate::threads::blocking;

/// A browser without script loads it anew after so long, s.
const RENEWED_AFTER_S: u32 = 3;
/// Most settings of a sweep that are shown while others are flown: the latest.
const MOST_SETTINGS: usize = 24;

/// Shows what a job has come to; leads on to its answer.
pub async fn read(Held(state): Held<Arc<State>>, InPath(id): InPath<String>, view: View) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    let job = jobs::find(&state, &id).await?;
    let open = job.as_ref().is_some_and(|job| job.stage.open());
    if !open {
        state.looked.forget(&id);
    }
    if !open && let Some(shelf) = jobs::answered(&state, &id).await? {
        return Ok(led(&view.page(&shelf.page_path(&id))));
    }
    let job = match job {
        Some(job) => job,
        None => jobs::known(&state, &id).await?,
    };
    if open { under_way(&state, job, view).await } else { Ok(page(&job, ended(&state, &job, &view), &view)) }
}

fn what(shelf: Shelf) -> &'static str {
    match shelf {
        Shelf::Assessments => "The flight",
        Shelf::Days => "The day",
        Shelf::Sweeps => "The sweep",
    }
}

fn page(job: &Job, body: Markup, view: &View) -> Response {
    let (path, open) = (format!("/jobs/{}", job.id), job.stage.open());
    let title = format!("{}, {}", what(job.shelf), if open { "still flown" } else { "without an answer" });
    let own: Vec<(&str, &str)> = view.wishes.look.iter().map(|look| ("look", look.as_str())).collect();
    let scripts: &[&assets::Asset] = if open { &[&assets::PROGRESS] } else { &[] };
    let page = Page { title: &title, path: &path, own: &own, answer: "", scripts, body };
    let text = if open { page.renewed(view, RENEWED_AFTER_S) } else { page.whole(view) };
    let mut response = as_html(text);
    response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    response
}

/// Why there is no answer.
fn ended(state: &State, job: &Job, view: &View) -> Markup {
    let status = jobs::status(job);
    let problem = jobs::unanswered(state, job);
    let told = problem.body("");
    html! {
        p { strong { (status.message) } }
        @if matches!(job.stage, crate::store::Stage::Failed(_)) { p { (told.title) " " (told.detail) } }
        p.about { "Accepted " (parts::moment(job.created)) ", ended " (parts::moment(job.updated)) "." }
        ul.links { li { a href=(view.page("/jobs")) { "Your jobs" } } }
    }
}

/// Jobs whose pieces are held for whoever looks at them next.
const MOST_LOOKED_AT: usize = 8;

/// What was told of the jobs that are looked at: a whole field may watch one, and each asks again whenever it comes on. So it
/// is read once for all of them.
#[derive(Default)]
pub struct Looked(Mutex<Vec<Look>>);

struct Look {
    id: ContentId,
    /// When it was accepted, as it may be given up and posted again, and how far it was.
    at: (Timestamp, u64),
    told: Arc<OnceCell<Arc<Told>>>,
}

impl Looked {
    /// What is told of a job, read by whoever is the first to ask since it came on.
    async fn at(&self, job: &Job, read: impl AsyncFnOnce() -> Result<Told, Problem>) -> Result<Arc<Told>, Problem> {
        let told =
            {
                let mut looks = self.looks();
                let own = looks.iter().position(|look| look.id == job.id).map(|k| looks.remove(k));
                // Whoever saw it less far is shown what others see.
                let look = own.filter(|own| own.at.0 == job.created && own.at.1 >= job.done[0]).unwrap_or_else(|| {
                    Look { id: job.id.clone(), at: (job.created, job.done[0]), told: Arc::default() }
                });
                let told = Arc::clone(&look.told);
                looks.push(look);
                let over = looks.len().saturating_sub(MOST_LOOKED_AT);
                looks.drain(..over);
                told
            };
        told.get_or_try_init(async || read().await.map(Arc::new)).await.cloned()
    }

    /// Of a job that has ended nothing more is asked.
    fn forget(&self, id: &ContentId) {
        self.looks().retain(|look| look.id != *id);
    }

    fn looks(&self) -> MutexGuard<'_, Vec<Look>> {
        // It is sound after every statement.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What is told of a job so far.
struct Told {
    /// A list of the pieces, as the store has them; null for such as are not shown.
    pieces: Value,
    /// The answer of the first flight of a day; null before there is one.
    first: Value,
    /// Names of the flights that launch when that does.
    with_first: Vec<String>,
    /// What was asked; null where it is not known any more.
    input: Value,
}

/// How many pieces are shown: the latest.
fn shown(shelf: Shelf) -> usize {
    match shelf {
        Shelf::Assessments => 1,
        Shelf::Days => usize::MAX,
        Shelf::Sweeps => MOST_SETTINGS,
    }
}

async fn told(state: &Arc<State>, job: &Job) -> Result<Told, Problem> {
    let (store, id, shown) = (Arc::clone(&state.store), job.id.clone(), shown(job.shelf));
    let read = move || {
        let pieces = store.told(&id, 0)?;
        let first = pieces.len().saturating_sub(shown);
        let read = |(k, piece): (usize, &Vec<u8>)| {
            if k < first { Some(Value::Null) } else { serde_json::from_slice(piece).ok() }
        };
        let pieces: Vec<Value> = pieces.iter().enumerate().filter_map(read).collect();
        let input = store.job_input(&id)?.and_then(|input| serde_json::from_slice(&input).ok());
        Ok::<_, std::io::Error>((pieces, input.unwrap_or_default()))
    };
    let (pieces, input): (_, Value) = blocking(read).await?.map_err(|error| Problem::storage(&error))?;
    let flown = pieces.iter().find_map(|row| Some((row, ContentId::parse(row["flight"]["assessment"].as_str()?)?)));
    let (first, with_first) = match flown {
        Some((row, first)) => (
            work::stored(state, Shelf::Assessments, &first).await.ok(),
            launching_with(&input, row["name"].as_str().unwrap_or_default()),
        ),
        None => (None, Vec::new()),
    };
    let first = first.map_or(Bytes::from_static(b"null"), Bytes::from);
    let first = drawn(state, first, "a job", |first: &Value| Ok(first.clone())).await?;
    Ok(Told { pieces: Value::Array(pieces), first, with_first, input })
}

/// Whether two days ask the same but for how many flights, and what is tried beside them.
fn same_but_for_flights(a: &Value, b: &Value) -> bool {
    let rest = |day: &Value| {
        let mut day = day.as_object().cloned()?;
        ["flights", "until", "advise", "rare"].iter().for_each(|name| drop(day.remove(*name)));
        Some(day)
    };
    rest(a).is_some_and(|a| rest(b) == Some(a))
}

async fn under_way(state: &Arc<State>, job: Job, view: View) -> Result<Response, Problem> {
    let told = state.looked.at(&job, async || told(state, &job).await).await?;
    let look = match view.wishes.look.as_deref().filter(|_| job.shelf == Shelf::Days) {
        Some(look) => {
            let input = kept(state, Shelf::Days, &read_id(look)?).await?.and_then(|kept| kept.input);
            let input: Option<Value> = input.and_then(|input| serde_json::from_slice(&input).ok());
            // Of another day it says nothing of this one.
            input.filter(|input| same_but_for_flights(input, &told.input)).map(|_| look.to_string())
        }
        None => None,
    };
    let (view, job) = (Arc::new(view), Arc::new(job));
    let whole = |rows: String, job: &Job, view: &View| {
        let rows = maud::PreEscaped(rows);
        page(job, html! { (how_far(job, view)) (rows) }, view)
    };
    let rows = match look {
        Some(look) => {
            let (job, view) = (Arc::clone(&job), Arc::clone(&view));
            let make = move |look: &At, sky: &Sky| Ok(of_day(&job, &told, Some((look, sky)), &view).into_string());
            day::shown(state, &look, make).await?
        }
        None => {
            let (job, view) = (Arc::clone(&job), Arc::clone(&view));
            // Of a long day it takes more than a moment.
            blocking(move || match job.shelf {
                Shelf::Days => of_day(&job, &told, None, &view).into_string(),
                Shelf::Assessments => of_flight(&job, &told, view.units()).into_string(),
                Shelf::Sweeps => of_sweep(&job, &told, view.units()).into_string(),
            })
            .await?
        }
    };
    Ok(whole(rows, &job, &view))
}

/// How far it is, and the way to give it up.
fn how_far(job: &Job, view: &View) -> Markup {
    let ([done, whole], id) = (job.done, &job.id);
    html! {
        p.about { "Accepted " (parts::moment(job.created)) ". This page shows what is flown as it comes, and leads to the whole once it is there." }
        div #how-far data-live="" {
            p { strong { (jobs::status(job).message) } }
            progress max=(whole) value=(done) aria-label="Done" {}
        }
        // What a module reads out, now and then.
        p.heard #heard role="status" {}
        form method="post" action=(view.page(&format!("/jobs/{id}/dismiss"))) { p { button { "Give it up" } } }
    }
}

/// A day: the rows that are flown, and for the others those of the look, which has the same flights.
fn of_day(job: &Job, told: &Told, look: Option<(&At, &Sky)>, view: &View) -> Markup {
    let (rows, first) = (At::within(&told.pieces, "/entries"), At::whole(&told.first));
    let sky = Sky { first, with_first: &told.with_first };
    let rows = rows.items();
    let looked = look.map(|(day, sky)| (day.get("entries").items(), day.get("id").text(), sky));
    let left = job.done[1].saturating_sub(rows.len() as u64);
    // What the cells are, and the weather, by the first that there is.
    let own =
        rows.iter().find(|row| row.get("flight").is_there()).map(|row| (row.clone(), &rows, job.id.as_str(), &sky));
    let looks = looked.as_ref().and_then(|(others, id, sky)| {
        others.iter().find(|row| row.get("flight").is_there()).map(|row| (row.clone(), others, *id, *sky))
    });
    html! {
        section aria-labelledby="flights" {
            h2 #flights { "The flights" }
            @if let Some((row, rows, id, sky)) = own.or(looks) {
                div #what data-live="" {
                    (day::weather(rows, sky))
                    div data-answer={ "/v1/days/" (id) } {
                        (key(&row.down("flight.advice"), Place::Ejection, of_another_place(Place::of_limits(&sky.first)), view.units()))
                    }
                }
            }
            ol.flights {
                @for (k, row) in rows.iter().enumerate() {
                    li id={ "row-" (k) } data-live="" data-answer={ "/v1/days/" (job.id) } { (day::flight(row, k + 1, sky.of_row(row), view)) }
                }
                @if let Some((others, id, sky)) = &looked {
                    @for (k, row) in others.iter().enumerate().skip(rows.len()) {
                        li.look id={ "row-" (k) } data-live="" data-answer={ "/v1/days/" (id) } {
                            p.first { strong { "First look" @if row.get("flight").is_there() { ", " (row.down("flight.flights").count()) " flights" } } ": its own are not flown yet." }
                            (day::flight(row, k + 1, sky.of_row(row), view))
                        }
                    }
                }
            }
            @if looked.is_none() && left > 0 { p #left data-live="" { (parts::many(left as usize, "flight")) " to come." } }
        }
    }
}

/// A flight: its chances so far.
fn of_flight(job: &Job, told: &Told, units: Units) -> Markup {
    let Some(glimpse) = told.pieces.as_array().and_then(|pieces| pieces.last()) else {
        return html! { p #so-far data-live="" { "Nothing is flown yet." } };
    };
    let at = At::whole(glimpse);
    let delays = at.get("delays").items();
    let speed = |at: &At| {
        let other = if units == Units::Si { Units::Us } else { Units::Si };
        html! { (at.measure(Quantity::Speed, units)) " (" (at.measure(Quantity::Speed, other)) ")" }
    };
    let limits = delays.first().map(|delay| delay.get("limits").items()).unwrap_or_default();
    let limits: Vec<Markup> = limits.iter().map(|limit| speed(&limit.get("limit_m_s"))).collect();
    html! {
        section #so-far data-live="" data-answer={ "/v1/jobs/" (job.id) "/events" } aria-labelledby="chances" {
            h2 #chances { "The chances so far" }
            p.about { (at.get("flights").count()) " of " (at.get("of").count()) " flights. Every interval is that of so many flights." }
            (parts::chances("Chances of each delay so far", &html! {}, (&delays, &limits), |_, _| html! {}, None))
        }
    }
}

/// A sweep: its settings so far, the latest first.
fn of_sweep(job: &Job, told: &Told, units: Units) -> Markup {
    let all = At::within(&told.pieces, "/cells").items();
    let numbered = all.iter().enumerate().rev().map(|(k, cell)| ((k + 1).to_string(), cell));
    let shown: Vec<(String, &At)> = numbered.take(MOST_SETTINGS).collect();
    html! {
        section #so-far data-live="" data-answer={ "/v1/sweeps/" (job.id) } aria-labelledby="settings" {
            h2 #settings { "The settings so far" }
            @if all.is_empty() { p { "None is flown yet." } }
            @else { (sweep::settings(&shown, units, html! { "The latest settings first, by their number in the order of the axes." })) }
            @if all.len() > shown.len() { p { (all.len() - shown.len()) " more are flown." } }
        }
    }
}

/// Gives a job up, and leads to what became of it; to the others, where it goes on for somebody else.
pub async fn dismiss(
    Held(state): Held<Arc<State>>,
    Extension(client): Extension<Client>,
    InPath(id): InPath<String>,
    view: View,
) -> Result<Response, Problem> {
    let id = read_id(&id)?;
    let goes_on = jobs::given_up(&state, client, &id).await?.is_some_and(|job| job.stage.open());
    Ok(led(&view.page(&if goes_on { "/jobs".into() } else { format!("/jobs/{id}") })))
}

/// One's own jobs.
pub async fn list(
    Held(state): Held<Arc<State>>,
    Extension(client): Extension<Client>,
    view: View,
) -> Result<Response, Problem> {
    let jobs = jobs::own(&state, client).await?;
    let body = html! {
        p.about { "What was too much to be flown at once, or asked for so: the newest first." }
        @if jobs.is_empty() { p { "None." } }
        @if !jobs.is_empty() {
            (parts::wide("Jobs", html! {
                thead { tr { th scope="col" { "What" } th scope="col" { "How far" } th scope="col" { "Accepted" } th scope="col" { "Id" } } }
                tbody {
                    @for job in &jobs {
                        @let status = jobs::status(job);
                        tr {
                            th scope="row" { a href=(view.page(&format!("/jobs/{}", job.id))) { (what(job.shelf)) } }
                            td { (status.message) }
                            td { (parts::moment(job.created)) }
                            td { code { (job.id.as_str()[..8]) } }
                        }
                    }
                }
            }))
        }
    };
    let page = Page { title: "Your jobs", path: "/jobs", own: &[], answer: "", scripts: &[], body };
    let mut response = as_html(page.whole(&view));
    response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    Ok(response)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;
    use crate::store::Stage;

    fn job(name: &str, created_s: i64, done: u64) -> Job {
        let at = Timestamp::from_second(created_s).unwrap();
        let id = ContentId::of("test", name);
        Job { id, shelf: Shelf::Days, stage: Stage::Running, done: [done, 9], created: at, updated: at }
    }

    /// However many look at a job, each change of it is read once; and so it is once it was posted anew.
    #[tokio::test]
    async fn many_who_look_read_a_job_once() {
        let (looked, reads) = (Arc::new(Looked::default()), Arc::new(AtomicUsize::new(0)));
        let look = |job: Job| {
            let (looked, reads) = (Arc::clone(&looked), Arc::clone(&reads));
            tokio::spawn(async move {
                let read = async || {
                    tokio::task::yield_now().await;
                    let pieces = Value::from(reads.fetch_add(1, Ordering::SeqCst));
                    Ok(Told { pieces, first: Value::Null, with_first: Vec::new(), input: Value::Null })
                };
                looked.at(&job, read).await.ok().unwrap().pieces.clone()
            })
        };
        for (job, read, why) in [
            (job("a", 1, 0), 0, "it is new"),
            (job("a", 1, 1), 1, "it came on"),
            (job("a", 1, 0), 1, "some saw it less far"),
            (job("a", 2, 0), 2, "it was posted again"),
            (job("b", 1, 0), 3, "another"),
            (job("a", 2, 0), 2, "it stands where it stood"),
        ] {
            let all: Vec<_> = (0..20).map(|_| look(job.clone())).collect();
            for one in all {
                assert_eq!(one.await.unwrap(), Value::from(read), "{why}");
            }
        }
        for k in 0..MOST_LOOKED_AT {
            look(job(&format!("other {k}"), 1, 0)).await.unwrap();
        }
        assert_eq!(looked.looks().len(), MOST_LOOKED_AT);
        looked.forget(&ContentId::of("test", "other 1"));
        assert_eq!(looked.looks().len(), MOST_LOOKED_AT - 1);
        // One who could not read it leaves it to the next.
        let fails = async || Err(Problem::internal());
        assert!(looked.at(&job("c", 1, 0), fails).await.is_err());
        let before = reads.load(Ordering::SeqCst);
        assert_eq!(look(job("c", 1, 0)).await.unwrap(), Value::from(before));
    }
}
