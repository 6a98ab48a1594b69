//! What is kept: inputs with their answers by id, and work that was accepted. A narrow trait, so that another database can
//! stand in.
//!
//! Whatever a function has given back is on the disk. What another process of this program did meanwhile is seen.

mod access;
mod own_time;
mod schema;
mod sqlite;

use core::fmt;
use std::io;
use std::time::Duration;

use jiff::Timestamp;

use crate::id::ContentId;

pub use access::{Access, Link, Scope, SecretSum, Token};
pub use sqlite::SqliteStore;

/// What is kept under an id. A part that is missing, cut short or altered is `None`: it is never served.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub struct Kept {
    /// The canonical input.
    pub input: Option<Vec<u8>>,
    /// The answer, as it was first sent.
    pub answer: Option<Vec<u8>>,
}

/// What an answer is of. Ids of one kind say nothing about another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Shelf {
    /// Flight cards.
    Assessments,
    /// Days of flights.
    Days,
    /// Sweeps.
    Sweeps,
}

impl Shelf {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Assessments, Self::Days, Self::Sweeps];

    /// Its name: in a path of the service and in the database.
    pub fn name(self) -> &'static str {
        match self {
            Self::Assessments => "assessments",
            Self::Days => "days",
            Self::Sweeps => "sweeps",
        }
    }

    /// Its name in the address of a page for people.
    pub fn page(self) -> &'static str {
        match self {
            Self::Assessments => "flights",
            Self::Days | Self::Sweeps => self.name(),
        }
    }

    /// Where an answer of it is.
    pub fn path(self, id: impl fmt::Display) -> String {
        format!("/v1/{}/{id}", self.name())
    }

    /// Where its page for people is.
    pub fn page_path(self, id: impl fmt::Display) -> String {
        format!("/{}/{id}", self.page())
    }

    /// Whether a job goes on from the pieces that are kept of it; else it begins anew, and they only tell how far it was.
    pub fn goes_on(self) -> bool {
        self != Self::Assessments
    }

    /// The kind of a name.
    pub fn of_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|shelf| shelf.name() == name)
    }
}

/// Where a job stands (OGC API - Processes 1.0).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// It waits.
    Accepted,
    /// It runs, or has begun and waits for its next turn.
    Running,
    /// Its answer is kept.
    Successful,
    /// It ended without an answer.
    Failed(Reason),
    /// It was given up.
    Dismissed,
}

impl Stage {
    /// Whether it waits or runs.
    pub fn open(self) -> bool {
        matches!(self, Self::Accepted | Self::Running)
    }

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Accepted => "accepted",
            Self::Running => "running",
            Self::Successful => "successful",
            Self::Failed(_) => "failed",
            Self::Dismissed => "dismissed",
        }
    }
}

/// Why a job failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// It took longer than a job may.
    TooLong,
    /// It took far more than it was estimated at.
    OverEstimate,
    /// It ended the server, or panicked, again and again at the same piece.
    KeepsFailing,
    /// Its input cannot be relied on any more.
    Damaged,
    /// Another engine accepted it, which this one cannot fly.
    EngineChanged,
    /// Its answer could not be made; the cause is in the log.
    Broken,
}

impl Reason {
    /// Every reason.
    pub const ALL: [Self; 6] =
        [Self::TooLong, Self::OverEstimate, Self::KeepsFailing, Self::Damaged, Self::EngineChanged, Self::Broken];

    /// Its name in the database.
    pub fn name(self) -> &'static str {
        match self {
            Self::TooLong => "too-long",
            Self::OverEstimate => "over-estimate",
            Self::KeepsFailing => "keeps-failing",
            Self::Damaged => "damaged",
            Self::EngineChanged => "engine-changed",
            Self::Broken => "broken",
        }
    }
}

/// Work to be accepted.
#[derive(Debug, Clone, Copy)]
pub struct NewJob<'a> {
    /// What it answers.
    pub shelf: Shelf,
    /// The id of its answer, and its own.
    pub id: &'a ContentId,
    /// Whose it is: clients take turns.
    pub client: &'a str,
    /// The input.
    pub input: &'a [u8],
    /// All that is to be done, in the unit of `Piece::done`.
    pub whole: u64,
    /// How long its threads may be on a core together; `None` if only time bounds it.
    pub most_core_time: Option<Duration>,
    /// How many jobs may wait and run: of all clients together, and of this one.
    pub most: [usize; 2],
}

/// What became of work that was to be accepted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Accepted {
    /// It is a job now.
    New(Job),
    /// It was one already, which waits or runs.
    Known(Job),
    /// Its answer is kept.
    Answered(Vec<u8>),
    /// Whoever asks may not begin another.
    Refused,
    /// As many wait and run as may.
    Full,
    /// As many of this client wait and run as may.
    ClientFull,
}

/// A job as it is told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Job {
    /// The id of its answer, and its own.
    pub id: ContentId,
    /// What it answers.
    pub shelf: Shelf,
    /// Where it stands.
    pub stage: Stage,
    /// When it was accepted.
    pub created: Timestamp,
    /// When it last came on, or ended.
    pub updated: Timestamp,
    /// Done, and all that is to be done.
    pub done: [u64; 2],
}

/// A piece of an answer that is done.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Piece {
    /// What is told of it while the rest is done.
    pub told: Vec<u8>,
    /// What going on needs besides.
    pub kept: Vec<u8>,
    /// How much is done with it.
    pub done: u64,
}

/// A job whose turn it is.
#[derive(Debug, Clone)]
pub struct Claimed {
    /// The id of its answer, and its own.
    pub id: ContentId,
    /// What it answers.
    pub shelf: Shelf,
    /// The input; `None` if it fails its checksum.
    pub input: Option<Vec<u8>>,
    /// The pieces that are done. One that fails its checksum is left out with all after it.
    pub made: Vec<Piece>,
    /// What it has taken before.
    pub spent: Spent,
    /// How long its threads may be on a core together; `None` if only time bounds it.
    pub most_core_time: Option<Duration>,
    /// Whether its turns ended too often in a row at the same piece without a word.
    pub fell_too_often: bool,
}

/// What a job has taken.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Spent {
    /// The time of its turns.
    pub time: Duration,
    /// How long its threads were on a core together.
    pub core_time: Duration,
}

/// Who works on a job, and for how long it is left to them.
#[derive(Debug, Clone, Copy)]
pub struct Lease<'a> {
    /// A name that no other worker has.
    pub owner: &'a str,
    /// After so long without a word anybody may take the job.
    pub lasts: Duration,
}

/// What is open and how much is kept, at a glance.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seen {
    /// Open jobs, by stage.
    pub jobs: [(Stage, u64); 2],
    /// Since when the job that has waited the longest for a turn has waited.
    pub oldest_waiting: Option<Duration>,
    /// Size of what is kept.
    pub bytes: u64,
    /// How much of it holds nothing.
    pub unused_bytes: u64,
    /// Space left on the disk.
    pub disk_bytes: u64,
}

/// How much may be kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bounds {
    /// The file may have so many bytes; what was not asked for the longest is given up first.
    pub bytes: u64,
    /// What was not asked for so long is given up.
    pub unused: Duration,
}

/// Where inputs, answers and jobs are kept. Its functions block: call them off the async threads.
///
/// Functions that take a lease or its owner's name do nothing and say `false` when the job is no longer theirs.
pub trait Store: Access {
    /// What is kept under an id; `None` if the id was never kept, or given up.
    fn get(&self, shelf: Shelf, id: &ContentId) -> io::Result<Option<Kept>>;
    /// Keeps an input with its answer; both or neither survive a crash.
    fn put(&self, shelf: Shelf, id: &ContentId, input: &[u8], answer: &[u8]) -> io::Result<()>;
    /// Keeps an answer whatever the bounds, or no longer so; `false` if there is none.
    fn pin(&self, shelf: Shelf, id: &ContentId, pinned: bool) -> io::Result<bool>;
    /// Gives up what is over the bounds and not pinned; how many answers.
    fn prune(&self, bounds: Bounds) -> io::Result<u64>;
    /// Whether something could be kept now.
    fn ready(&self) -> io::Result<()>;
    /// What is open and how much is kept.
    fn look(&self) -> io::Result<Seen>;

    /// Accepts a job, unless it is one already or answered. `may_begin` is asked last of all, and may refuse.
    fn accept(&self, job: &NewJob, may_begin: &dyn Fn() -> bool) -> io::Result<Accepted>;
    /// Where a job stands.
    fn job(&self, id: &ContentId) -> io::Result<Option<Job>>;
    /// The jobs that a client asked for, the newest first.
    fn jobs_of(&self, client: &str, most: usize) -> io::Result<Vec<Job>>;
    /// The job whose turn it is: of the client that was served longest ago, the oldest. Whoever claims works on nothing else.
    fn claim(&self, lease: Lease) -> io::Result<Option<Claimed>>;
    /// Whether a job of another client waits.
    fn others_wait(&self, id: &ContentId) -> io::Result<bool>;
    /// Keeps the piece that follows `before` others, and the lease. One that is kept already stays as it is.
    fn add_piece(&self, id: &ContentId, lease: Lease, before: usize, piece: &Piece) -> io::Result<bool>;
    /// Keeps the lease.
    fn renew(&self, id: &ContentId, lease: Lease) -> io::Result<bool>;
    /// Gives the job back to wait for its next turn, after it has taken so much in all; whether the turn was in order. One
    /// that was not counts as one that ended without a word.
    fn give_back(&self, id: &ContentId, owner: &str, spent: Spent, in_order: bool) -> io::Result<bool>;
    /// Ends a job with its answer: both or neither survive a crash.
    fn finish(&self, id: &ContentId, owner: &str, answer: &[u8]) -> io::Result<bool>;
    /// Ends a job without an answer.
    fn fail(&self, id: &ContentId, owner: &str, reason: Reason) -> io::Result<bool>;
    /// Gives a job up, if it waits or runs; where it stands then, and whether that ended it. For one client it goes on while
    /// another asks for it.
    fn dismiss(&self, id: &ContentId, client: Option<&str>) -> io::Result<Option<(Job, bool)>>;
    /// What a job was asked with; `None` where there is no such job, or it cannot be relied on any more.
    fn job_input(&self, id: &ContentId) -> io::Result<Option<Vec<u8>>>;
    /// What is told of the pieces after the first `seen`.
    fn told(&self, id: &ContentId, seen: usize) -> io::Result<Vec<Vec<u8>>>;
}
