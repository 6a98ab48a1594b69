//! One SQLite file in the data directory.

use std::fs::{File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use jiff::Timestamp;
use rusqlite::types::ValueRef;
use rusqlite::{Connection, ErrorCode, OptionalExtension, Row, Transaction, TransactionBehavior, named_params, params};
use sha2::{Digest, Sha256};

use super::access::own;
use super::own_time::{OwnTime, ms};
use super::schema::{is_older, migrate};
use super::{Accepted, Bounds, Claimed, Job, Kept, Lease, NewJob, Piece, Reason, Seen, Shelf, Spent, Stage, Store};
use crate::id::{ContentId, sum};

/// Its name in the data directory.
const FILE: &str = "slowpoint.db";
/// Held by the process that serves from the directory.
const LOCK: &str = "serving.lock";
/// How long a statement waits for another process, a backup say.
const BUSY: Duration = Duration::from_secs(10);
/// A job whose turns ended so often in a row at the same piece without a word is not begun again.
const FALLS: i64 = 3;
/// An answer's last use is noted no finer than this: reading must not write each time.
const USE_NOTED: Duration = Duration::from_secs(3600);
/// Jobs that have ended are known for so long.
const ENDED_KNOWN: Duration = Duration::from_secs(7 * 24 * 3600);
/// The pieces of a job that has ended are known for so long, to whoever lost sight of it.
const PIECES_KNOWN: Duration = Duration::from_secs(3600);
/// With less space on the disk nothing more can be relied on to be kept: the largest answers have some MB, and each is
/// written twice, to the log and from there to the file.
const DISK_SPACE: u64 = 16 * 1024 * 1024;
/// Rows that are given up in one transaction: the largest have some MB.
const AT_ONCE: u32 = 32;
/// Pages that are given back to the disk in one, of 4 kB each.
const PAGES_AT_ONCE: u32 = 512;
/// Between two of them: whoever waits for the lock would not get it from one that takes it again at once.
const OTHERS_TURN: Duration = Duration::from_millis(1);
/// Connections that are kept open to read with. Where more read at a time, theirs are closed again.
const READERS: usize = 16;

/// The data directory with its database: a write-ahead log, synced at every commit.
pub struct SqliteStore {
    file: PathBuf,
    writer: Mutex<Connection>,
    /// Connections that only read, while nobody uses them.
    readers: Mutex<Vec<Connection>>,
    pub(super) own_time: OwnTime,
    /// Keeps the lock while it lives.
    _serving: Option<File>,
}

/// A failure of the database. A full disk keeps its kind; what would fail again on any disk is invalid data.
pub(super) fn failed(error: rusqlite::Error) -> io::Error {
    match error.sqlite_error_code() {
        Some(ErrorCode::DiskFull) => io::Error::new(io::ErrorKind::StorageFull, error),
        None | Some(ErrorCode::TooBig | ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
            io::Error::new(io::ErrorKind::InvalidData, error)
        }
        _ => io::Error::other(error),
    }
}

impl SqliteStore {
    /// Opens the directory to serve from it, makes it if need be, and gives back the jobs that a crash left begun. One process
    /// at a time can.
    pub fn serve(directory: &Path) -> io::Result<Self> {
        make(directory)?;
        let lock = alone(directory, "another process serves from it; stop that one, or name another")?;
        let store = Self::opened(directory, connected(directory)?)?;
        // Nobody else works on them: their owner is gone.
        store.writer().execute("UPDATE jobs SET owner = NULL, lease_ends_ms = NULL WHERE open", []).map_err(failed)?;
        Ok(Self { _serving: Some(lock), ..store })
    }

    /// Whether a directory has been opened before.
    pub fn is_in(directory: &Path) -> io::Result<bool> {
        directory.join(FILE).try_exists()
    }

    /// Opens the directory beside a process that may serve from it, and makes it if need be.
    pub fn open(directory: &Path) -> io::Result<Self> {
        make(directory)?;
        let writer = connected(directory)?;
        // A service that knows the tables as they are is not to find others.
        let told = "a service runs on it, and its tables are those of an older release; stop that one first, or use the program of its release";
        let _alone = if is_older(&writer)? { Some(alone(directory, told)?) } else { None };
        Self::opened(directory, writer)
    }

    fn opened(directory: &Path, mut writer: Connection) -> io::Result<Self> {
        let file = directory.join(FILE);
        // Takes effect in a new file only: space that is given up is given back to the disk.
        writer.pragma_update(None, "auto_vacuum", "INCREMENTAL").map_err(failed)?;
        writer.pragma_update(None, "journal_mode", "WAL").map_err(failed)?;
        migrate(&mut writer)?;
        let own_time = OwnTime::of(&writer).map_err(failed)?;
        Ok(Self { file, writer: Mutex::new(writer), readers: Mutex::default(), own_time, _serving: None })
    }

    fn disk_bytes(&self) -> io::Result<u64> {
        fs4::available_space(self.file.parent().unwrap_or(Path::new(".")))
    }

    /// Deletes rows, a few in each transaction so that nobody waits long, as long as it is to; how many. The condition has one
    /// parameter.
    fn delete(
        &self,
        [table, key, which]: [&str; 3],
        parameter: i64,
        goes_on: impl Fn() -> io::Result<bool>,
    ) -> io::Result<u64> {
        let some =
            format!("DELETE FROM {table} WHERE ({key}) IN (SELECT {key} FROM {table} WHERE {which} LIMIT {AT_ONCE})");
        let mut gone = 0;
        while goes_on()? {
            match self.write(|db| db.execute(&some, [parameter]))? {
                0 => break,
                more => gone += more as u64,
            }
            std::thread::sleep(OTHERS_TURN);
        }
        Ok(gone)
    }

    /// Gives space that holds nothing back to the disk, a little at a time.
    fn shrink(&self) -> io::Result<()> {
        while self.shrink_some()? {
            std::thread::sleep(OTHERS_TURN);
        }
        Ok(())
    }

    /// Gives a little of it back; whether there is more.
    fn shrink_some(&self) -> io::Result<bool> {
        let writer = self.writer();
        let [before, unused] = size(&writer).map_err(failed)?;
        if unused == 0 {
            return Ok(false);
        }
        let mut vacuum = writer.prepare(&format!("PRAGMA incremental_vacuum({PAGES_AT_ONCE})")).map_err(failed)?;
        let mut pages = vacuum.query([]).map_err(failed)?;
        // Each step gives one page back.
        while pages.next().map_err(failed)?.is_some() {}
        let [after, _] = size(&writer).map_err(failed)?;
        // A file that another program made may give nothing back.
        Ok(after < before)
    }

    fn writer(&self) -> MutexGuard<'_, Connection> {
        // A transaction that a panic cut off is rolled back when it is dropped.
        self.writer.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Reads beside the writer.
    pub(super) fn read<T>(&self, work: impl FnOnce(&Connection) -> rusqlite::Result<T>) -> io::Result<T> {
        let idle = self.readers.lock().unwrap_or_else(PoisonError::into_inner).pop();
        let reader = idle.map_or_else(|| connect(&self.file), Ok)?;
        let found = work(&reader).map_err(failed)?;
        let mut idle = self.readers.lock().unwrap_or_else(PoisonError::into_inner);
        if idle.len() < READERS {
            idle.push(reader);
        }
        Ok(found)
    }

    /// Writes all of it or nothing.
    pub(super) fn write<T>(&self, work: impl FnOnce(&Transaction) -> rusqlite::Result<T>) -> io::Result<T> {
        let mut writer = self.writer();
        let whole = writer.transaction_with_behavior(TransactionBehavior::Immediate).map_err(failed)?;
        let done = work(&whole).map_err(failed)?;
        whole.commit().map_err(failed)?;
        Ok(done)
    }
}

/// Makes the directory, which is nobody else's to read: flight cards and places are in it.
fn make(directory: &Path) -> io::Result<()> {
    let mut builder = std::fs::DirBuilder::new();
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.recursive(true).create(directory)
}

/// Refuses to go on with too little space on the disk.
fn enough(disk_bytes: u64) -> io::Result<()> {
    if disk_bytes >= DISK_SPACE {
        return Ok(());
    }
    Err(io::Error::new(io::ErrorKind::StorageFull, format!("{disk_bytes} bytes are left on the disk")))
}

/// Bytes of the database, and how many of them hold nothing.
fn size(db: &Connection) -> rusqlite::Result<[u64; 2]> {
    let number = |name| db.pragma_query_value(None, name, |row| row.get::<_, i64>(0)).map(i64::unsigned_abs);
    let page = number("page_size")?;
    Ok([number("page_count")?, number("freelist_count")?].map(|pages| pages.saturating_mul(page)))
}

/// Holds a directory against any other process that serves from it.
fn alone(directory: &Path, told: &str) -> io::Result<File> {
    let lock = File::create(directory.join(LOCK))?;
    lock.try_lock().map_err(|error| match error {
        TryLockError::WouldBlock => io::Error::other(told),
        TryLockError::Error(error) => error,
    })?;
    Ok(lock)
}

fn connected(directory: &Path) -> io::Result<Connection> {
    connect(&directory.join(FILE))
}

fn connect(file: &Path) -> io::Result<Connection> {
    let db = Connection::open(file).map_err(failed)?;
    db.busy_timeout(BUSY).map_err(failed)?;
    for (name, value) in [("synchronous", "FULL"), ("foreign_keys", "ON"), ("trusted_schema", "OFF")] {
        db.pragma_update(None, name, value).map_err(failed)?;
    }
    Ok(db)
}

pub(super) fn now_ms() -> i64 {
    Timestamp::now().as_millisecond()
}

/// When a lease that is taken or renewed now ends.
fn ends(lease: Lease) -> i64 {
    now_ms().saturating_add(ms(lease.lasts))
}

/// The checksum of a piece: of both parts, each with its length.
fn piece_sum(told: &[u8], kept: &[u8], done: i64) -> [u8; 32] {
    let mut hash = Sha256::new();
    for part in [told, kept, &done.to_le_bytes()] {
        hash.update((part.len() as u64).to_le_bytes());
        hash.update(part);
    }
    hash.finalize().into()
}

/// The bytes of a column, whatever damage has made of its type.
fn octets<'a>(row: &'a Row, name: &str) -> rusqlite::Result<&'a [u8]> {
    Ok(match row.get_ref(name)? {
        ValueRef::Blob(bytes) | ValueRef::Text(bytes) => bytes,
        _ => &[],
    })
}

/// Two columns, bytes and their checksum: the bytes, if they are those that were kept. Damage may change even their type.
fn sound(row: &Row, bytes: &str, checksum: &str) -> rusqlite::Result<Option<Vec<u8>>> {
    let (bytes, checksum) = (octets(row, bytes)?, octets(row, checksum)?);
    Ok((sum(bytes)[..] == *checksum).then(|| bytes.to_vec()))
}

fn put(
    db: &Transaction,
    shelf: Shelf,
    id: &ContentId,
    input: &[u8],
    answer: &[u8],
    used_ms: i64,
) -> rusqlite::Result<()> {
    db.prepare(
        "INSERT INTO answers (shelf, id, input, input_sum, answer, answer_sum, used_ms) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)
         ON CONFLICT (shelf, id) DO UPDATE SET
         input = excluded.input, input_sum = excluded.input_sum, answer = excluded.answer,
         answer_sum = excluded.answer_sum, used_ms = excluded.used_ms",
    )?
    .execute(params![shelf.name(), id.as_str(), input, sum(input), answer, sum(answer), used_ms])?;
    Ok(())
}

/// What is kept under an id, and when it was last used.
fn answer(db: &Connection, shelf: Shelf, id: &ContentId) -> rusqlite::Result<Option<(Kept, i64)>> {
    db.prepare("SELECT input, input_sum, answer, answer_sum, used_ms FROM answers WHERE shelf = ?1 AND id = ?2")?
        .query_row([shelf.name(), id.as_str()], |row| {
            let kept = Kept { input: sound(row, "input", "input_sum")?, answer: sound(row, "answer", "answer_sum")? };
            Ok((kept, row.get("used_ms")?))
        })
        .optional()
}

const JOB: &str = "number, id, shelf, stage, reason, created_ms, updated_ms, done, whole";

pub(super) fn broken(what: &str) -> rusqlite::Error {
    rusqlite::Error::InvalidColumnName(format!("{what} that this program does not know"))
}

fn shelf_of(row: &Row) -> rusqlite::Result<Shelf> {
    Shelf::of_name(&row.get::<_, String>("shelf")?).ok_or_else(|| broken("a shelf"))
}

fn id_of(row: &Row) -> rusqlite::Result<ContentId> {
    ContentId::parse(&row.get::<_, String>("id")?).ok_or_else(|| broken("an id"))
}

fn job_of(row: &Row) -> rusqlite::Result<Job> {
    let reason: Option<String> = row.get("reason")?;
    let reason = reason.and_then(|name| Reason::ALL.into_iter().find(|reason| reason.name() == name));
    let stage: String = row.get("stage")?;
    let time = |name| {
        let ms = row.get::<_, i64>(name)?;
        Timestamp::from_millisecond(ms).map_err(|_| broken("a time"))
    };
    let count = |name| Ok::<_, rusqlite::Error>(row.get::<_, i64>(name)?.unsigned_abs());
    let stages = [Stage::Accepted, Stage::Running, Stage::Successful, Stage::Dismissed];
    Ok(Job {
        id: id_of(row)?,
        shelf: shelf_of(row)?,
        stage: stages
            .into_iter()
            .chain(reason.map(Stage::Failed))
            .find(|known| known.name() == stage)
            .ok_or_else(|| broken("a stage"))?,
        created: time("created_ms")?,
        updated: time("updated_ms")?,
        done: [count("done")?, count("whole")?],
    })
}

fn job(db: &Connection, id: &ContentId) -> rusqlite::Result<Option<Job>> {
    db.prepare(&format!("SELECT {JOB} FROM jobs WHERE id = ?1"))?.query_row([id.as_str()], job_of).optional()
}

/// A job's pieces from a place on, up to the first that fails its checksum.
fn pieces(db: &Connection, number: i64, from: usize) -> rusqlite::Result<Vec<Piece>> {
    let mut found = Vec::new();
    let mut pieces =
        db.prepare("SELECT place, told, kept, done, sum FROM pieces WHERE job = ?1 AND place >= ?2 ORDER BY place")?;
    let mut rows = pieces.query(params![number, i64::try_from(from).unwrap_or(i64::MAX)])?;
    while let Some(row) = rows.next()? {
        let place = row.get_ref("place")?.as_i64().unwrap_or(-1);
        let done = row.get_ref("done")?.as_i64().unwrap_or(-1);
        let [told, kept, checksum] = [octets(row, "told")?, octets(row, "kept")?, octets(row, "sum")?];
        let follows = usize::try_from(place) == Ok(from + found.len());
        if !follows || piece_sum(told, kept, done)[..] != *checksum {
            tracing::warn!(place, "a piece fails its checksum");
            break;
        }
        found.push(Piece { told: told.to_vec(), kept: kept.to_vec(), done: done.unsigned_abs() });
    }
    Ok(found)
}

/// The number of a job that is open and an owner's.
fn owned(db: &Connection, id: &ContentId, owner: &str) -> rusqlite::Result<Option<i64>> {
    db.prepare("SELECT number FROM jobs WHERE id = ?1 AND owner = ?2 AND open")?
        .query_row([id.as_str(), owner], |row| row.get(0))
        .optional()
}

/// A job whose turn begins.
struct Begun {
    claimed: Claimed,
    client: String,
    /// See the tables.
    fell: i64,
    falls: i64,
    /// The piece it is at, if it does not go on from those that are kept.
    at: i64,
}

fn begun(row: &Row) -> rusqlite::Result<Begun> {
    let number = |name| row.get::<_, i64>(name);
    let time = |name| number(name).map(|ms| Duration::from_millis(ms.unsigned_abs()));
    // Whether the turn before ended without a word.
    let (fallen, reached) = (number("in_turn")? != 0, number("reached")?);
    let (fell, falls) = match (fallen, number("fell")?, number("falls")?) {
        (true, fell, falls) if fell == reached => (fell, falls + 1),
        (true, _, _) => (reached, 1),
        (false, fell, falls) => (fell, falls),
    };
    let claimed = Claimed {
        id: id_of(row)?,
        shelf: shelf_of(row)?,
        input: sound(row, "input", "input_sum")?,
        made: Vec::new(),
        spent: Spent { time: time("spent_ms")?, core_time: time("core_ms")? },
        most_core_time: row.get::<_, Option<i64>>("most_core_ms")?.map(|ms| Duration::from_millis(ms.unsigned_abs())),
        fell_too_often: falls >= FALLS,
    };
    // One that did not fall may have halted there.
    Ok(Begun { claimed, client: row.get("client")?, fell, falls, at: if fallen { 0 } else { reached } })
}

/// Ends a job that is open, at the store's own time.
fn end(db: &Connection, number: i64, stage: Stage, ended_ms: i64) -> rusqlite::Result<()> {
    let reason = if let Stage::Failed(reason) = stage { Some(reason.name()) } else { None };
    db.prepare(
        "UPDATE jobs SET open = 0, stage = ?2, reason = ?3, updated_ms = ?4, ended_ms = ?5, owner = NULL, lease_ends_ms = NULL,
         done = CASE WHEN ?2 = 'successful' THEN whole ELSE done END WHERE number = ?1",
    )?
    .execute(params![number, stage.name(), reason, now_ms(), ended_ms])?;
    Ok(())
}

impl Store for SqliteStore {
    fn get(&self, shelf: Shelf, id: &ContentId) -> io::Result<Option<Kept>> {
        let Some((kept, used)) = self.read(|db| answer(db, shelf, id))? else { return Ok(None) };
        if kept.input.is_none() || kept.answer.is_none() {
            tracing::warn!(%id, "what is kept fails its checksum");
        }
        let now = self.own_time.now_ms();
        if now.saturating_sub(used) > ms(USE_NOTED) {
            let noted = self.write(|db| {
                db.execute(
                    "UPDATE answers SET used_ms = ?3 WHERE shelf = ?1 AND id = ?2",
                    params![shelf.name(), id.as_str(), now],
                )
            });
            // It can be read all the same.
            if let Err(error) = noted {
                tracing::warn!(%error, "the use of an answer is not noted");
            }
        }
        Ok(Some(kept))
    }

    fn put(&self, shelf: Shelf, id: &ContentId, input: &[u8], answer: &[u8]) -> io::Result<()> {
        self.write(|db| put(db, shelf, id, input, answer, self.own_time.now_ms()))
    }

    fn pin(&self, shelf: Shelf, id: &ContentId, pinned: bool) -> io::Result<bool> {
        self.write(|db| {
            db.execute(
                "UPDATE answers SET pinned = ?3 WHERE shelf = ?1 AND id = ?2",
                params![shelf.name(), id.as_str(), pinned],
            )
        })
        .map(|changed| changed > 0)
    }

    fn prune(&self, bounds: Bounds) -> io::Result<u64> {
        let now = self.own_time.now_ms();
        self.write(|db| self.own_time.note(db))?;
        let before = |kept: Duration| now.saturating_sub(ms(kept));
        let all = || Ok(true);
        let too_much = || self.read(size).map(|[all, unused]| all.saturating_sub(unused) > bounds.bytes);
        let pieces = ["pieces", "rowid", "job IN (SELECT number FROM jobs WHERE NOT open AND ended_ms < ?1)"];
        self.delete(pieces, before(PIECES_KNOWN), all)?;
        self.delete(["jobs", "number", "NOT open AND ended_ms < ?1"], before(ENDED_KNOWN), all)?;
        self.delete(["shares", "sum, shelf, id", "kept_until_ms < ?1"], now, all)?;
        self.delete(["turns", "client", "?1 AND client NOT IN (SELECT client FROM jobs WHERE open)"], 1, all)?;
        let mut gone = self.delete(["answers", "number", "NOT pinned AND used_ms < ?1"], before(bounds.unused), all)?;
        // Jobs that have ended go first: what they came to is kept with their answers.
        let ended = ["jobs", "number", "NOT open AND ended_ms < ?1 ORDER BY ended_ms"];
        self.delete(ended, before(PIECES_KNOWN), too_much)?;
        gone += self.delete(["answers", "number", "NOT pinned AND ?1 ORDER BY used_ms, number"], 1, too_much)?;
        // Whose they were is forgotten with them.
        let owned = "asked_ms < ?1 AND NOT EXISTS
             (SELECT 1 FROM answers WHERE answers.shelf = owners.shelf AND answers.id = owners.id) AND NOT EXISTS
             (SELECT 1 FROM jobs WHERE jobs.shelf = owners.shelf AND jobs.id = owners.id)";
        self.delete(["owners", "id, shelf, client", owned], before(ENDED_KNOWN), all)?;
        self.shrink()?;
        Ok(gone)
    }

    fn ready(&self) -> io::Result<()> {
        // The probe alone does not find a full disk: its page may have a place in the log already.
        enough(self.disk_bytes()?)?;
        self.write(|db| db.execute("UPDATE probe SET count = count + 1", [])).map(drop)
    }

    fn look(&self) -> io::Result<Seen> {
        let disk_bytes = self.disk_bytes()?;
        self.read(|db| {
            let count = |stage: Stage| {
                let found = db
                    .prepare("SELECT count(*) FROM jobs WHERE open AND stage = ?1")?
                    .query_row([stage.name()], |row| row.get::<_, i64>(0))?;
                Ok::<_, rusqlite::Error>((stage, found.unsigned_abs()))
            };
            let since: Option<i64> = db
                .prepare(
                    "SELECT min(CASE stage WHEN 'accepted' THEN created_ms ELSE updated_ms END) FROM jobs
                     WHERE open AND (owner IS NULL OR lease_ends_ms < ?1)",
                )?
                .query_row([now_ms()], |row| row.get(0))?;
            let waited = |since| Duration::from_millis(u64::try_from(now_ms().saturating_sub(since)).unwrap_or(0));
            let [bytes, unused_bytes] = size(db)?;
            Ok(Seen {
                jobs: [count(Stage::Accepted)?, count(Stage::Running)?],
                oldest_waiting: since.map(waited),
                bytes,
                unused_bytes,
                disk_bytes,
            })
        })
    }

    fn accept(&self, new: &NewJob, may_begin: &dyn Fn() -> bool) -> io::Result<Accepted> {
        self.write(|db| {
            if let Some(known) = job(db, new.id)?.filter(|job| job.stage.open()) {
                own(db, new.client, known.shelf, new.id, self.own_time.now_ms())?;
                return Ok(Accepted::Known(known));
            }
            // One that ended between a client's look and now has kept it.
            if let Some((Kept { input: Some(_), answer: Some(answer) }, _)) = answer(db, new.shelf, new.id)? {
                own(db, new.client, new.shelf, new.id, self.own_time.now_ms())?;
                return Ok(Accepted::Answered(answer));
            }
            let [open, own_open]: [i64; 2] = db.query_row(
                "SELECT count(*), count(*) FILTER (WHERE client = ?1) FROM jobs WHERE open",
                [new.client],
                |row| Ok([row.get(0)?, row.get(1)?]),
            )?;
            let [most, own_most] = new.most.map(|most| most as u64);
            if open.unsigned_abs() >= most {
                return Ok(Accepted::Full);
            }
            if own_open.unsigned_abs() >= own_most {
                return Ok(Accepted::ClientFull);
            }
            if !may_begin() {
                return Ok(Accepted::Refused);
            }
            own(db, new.client, new.shelf, new.id, self.own_time.now_ms())?;
            db.execute("DELETE FROM jobs WHERE id = ?1", [new.id.as_str()])?;
            db.execute(
                "INSERT INTO jobs
                 (id, shelf, client, input, input_sum, stage, open, created_ms, updated_ms, done, whole, spent_ms,
                  most_core_ms)
                 VALUES (:id, :shelf, :client, :input, :sum, 'accepted', 1, :now, :now, 0, :whole, 0, :most_core)",
                named_params! {
                    ":id": new.id.as_str(), ":shelf": new.shelf.name(), ":client": new.client, ":input": new.input,
                    ":sum": sum(new.input), ":now": now_ms(), ":whole": i64::try_from(new.whole).unwrap_or(i64::MAX),
                    ":most_core": new.most_core_time.map(ms),
                },
            )?;
            job(db, new.id)?.map(Accepted::New).ok_or(rusqlite::Error::QueryReturnedNoRows)
        })
    }

    fn job(&self, id: &ContentId) -> io::Result<Option<Job>> {
        self.read(|db| job(db, id))
    }

    fn jobs_of(&self, client: &str, most: usize) -> io::Result<Vec<Job>> {
        self.read(|db| {
            db.prepare(&format!(
                "SELECT {JOB} FROM jobs WHERE EXISTS
                 (SELECT 1 FROM owners WHERE owners.client = ?1 AND owners.shelf = jobs.shelf AND owners.id = jobs.id)
                 ORDER BY number DESC LIMIT ?2"
            ))?
            .query_map(params![client, i64::try_from(most).unwrap_or(i64::MAX)], job_of)?
            .collect()
        })
    }

    fn claim(&self, lease: Lease) -> io::Result<Option<Claimed>> {
        self.write(|db| {
            let (number, Begun { mut claimed, client, fell, falls, at }) = loop {
                let next = db
                    .prepare(
                        "SELECT jobs.number, jobs.id, shelf, jobs.client, input, input_sum, in_turn, reached, fell, falls,
                         spent_ms, core_ms, most_core_ms FROM jobs
                         LEFT JOIN turns ON turns.client = jobs.client
                         WHERE open AND (owner IS NULL OR owner = ?2 OR lease_ends_ms < ?1)
                         ORDER BY coalesce(served, 0), jobs.number LIMIT 1",
                    )?
                    .query_row(params![now_ms(), lease.owner], |row| Ok((row.get("number")?, begun(row))))
                    .optional()?;
                match next {
                    None => return Ok(None),
                    Some((number, Ok(begun))) => break (number, begun),
                    // It would keep all others from their turn.
                    Some((number, Err(error))) => {
                        tracing::error!(number, %error, "a job cannot be read any more");
                        end(db, number, Stage::Failed(Reason::Damaged), self.own_time.now_ms())?;
                    }
                }
            };
            claimed.made = pieces(db, number, 0)?;
            let made = i64::try_from(claimed.made.len()).unwrap_or(i64::MAX);
            if db.execute("DELETE FROM pieces WHERE job = ?1 AND place >= ?2", [number, made])? > 0 {
                // They are made again.
                claimed.spent.core_time = Duration::ZERO;
            }
            db.execute(
                "UPDATE jobs SET stage = 'running', owner = :owner, lease_ends_ms = :ends, updated_ms = :now,
                 in_turn = 1, reached = :reached, fell = :fell, falls = :falls WHERE number = :number",
                named_params! {
                    ":number": number, ":owner": lease.owner, ":ends": ends(lease), ":now": now_ms(),
                    ":reached": if claimed.shelf.goes_on() { made } else { at }, ":fell": fell, ":falls": falls,
                },
            )?;
            db.execute(
                "INSERT INTO turns VALUES (?1, (SELECT coalesce(max(served), 0) + 1 FROM turns))
                 ON CONFLICT (client) DO UPDATE SET served = excluded.served",
                [client],
            )?;
            Ok(Some(claimed))
        })
    }

    fn others_wait(&self, id: &ContentId) -> io::Result<bool> {
        self.read(|db| {
            db.prepare(
                "SELECT EXISTS (SELECT 1 FROM jobs WHERE open AND owner IS NULL
                 AND client <> (SELECT client FROM jobs WHERE id = ?1))",
            )?
            .query_row([id.as_str()], |row| row.get(0))
        })
    }

    fn add_piece(&self, id: &ContentId, lease: Lease, before: usize, piece: &Piece) -> io::Result<bool> {
        self.write(|db| {
            let Some(number) = owned(db, id, lease.owner)? else { return Ok(false) };
            let (place, done) = (i64::try_from(before).unwrap_or(i64::MAX), i64::try_from(piece.done).unwrap_or(i64::MAX));
            db.prepare("INSERT OR IGNORE INTO pieces VALUES (?1, ?2, ?3, ?4, ?5, ?6)")?
                .execute(params![number, place, piece.told, piece.kept, done, piece_sum(&piece.told, &piece.kept, done)])?;
            db.prepare(
                "UPDATE jobs SET lease_ends_ms = ?2, updated_ms = ?3, done = max(done, ?4), reached = ?5 + 1 WHERE number = ?1",
            )?
            .execute(params![number, ends(lease), now_ms(), done, place])?;
            Ok(true)
        })
    }

    fn renew(&self, id: &ContentId, lease: Lease) -> io::Result<bool> {
        self.write(|db| {
            db.execute(
                "UPDATE jobs SET lease_ends_ms = ?3 WHERE id = ?1 AND owner = ?2 AND open",
                params![id.as_str(), lease.owner, ends(lease)],
            )
        })
        .map(|changed| changed > 0)
    }

    fn give_back(&self, id: &ContentId, owner: &str, spent: Spent, in_order: bool) -> io::Result<bool> {
        self.write(|db| {
            db.execute(
                "UPDATE jobs SET owner = NULL, lease_ends_ms = NULL, in_turn = NOT ?5, spent_ms = ?3,
                 core_ms = ?4 WHERE id = ?1 AND owner = ?2 AND open",
                params![id.as_str(), owner, ms(spent.time), ms(spent.core_time), in_order],
            )
        })
        .map(|changed| changed > 0)
    }

    fn finish(&self, id: &ContentId, owner: &str, answer: &[u8]) -> io::Result<bool> {
        self.write(|db| {
            let Some(number) = owned(db, id, owner)? else { return Ok(false) };
            let (shelf, input): (Shelf, Vec<u8>) =
                db.query_row("SELECT shelf, input, input_sum FROM jobs WHERE number = ?1", [number], |row| {
                    Ok((shelf_of(row)?, sound(row, "input", "input_sum")?.ok_or_else(|| broken("an input"))?))
                })?;
            let now = self.own_time.now_ms();
            put(db, shelf, id, &input, answer, now)?;
            end(db, number, Stage::Successful, now)?;
            Ok(true)
        })
    }

    fn fail(&self, id: &ContentId, owner: &str, reason: Reason) -> io::Result<bool> {
        self.write(|db| {
            let Some(number) = owned(db, id, owner)? else { return Ok(false) };
            end(db, number, Stage::Failed(reason), self.own_time.now_ms())?;
            Ok(true)
        })
    }

    fn dismiss(&self, id: &ContentId, client: Option<&str>) -> io::Result<Option<(Job, bool)>> {
        self.write(|db| {
            if let Some(client) = client
                && let Some(known) = job(db, id)?.filter(|job| job.stage.open())
            {
                let keys = params![id.as_str(), known.shelf.name(), client];
                let other: Option<String> = db
                    .query_row("SELECT client FROM owners WHERE id = ?1 AND shelf = ?2 AND client <> ?3", keys, |row| {
                        row.get(0)
                    })
                    .optional()?;
                if let Some(other) = other {
                    db.execute("DELETE FROM owners WHERE id = ?1 AND shelf = ?2 AND client = ?3", keys)?;
                    // If it was this client's it is theirs now, and counts as one of theirs.
                    db.execute(
                        "UPDATE jobs SET client = ?2 WHERE id = ?1 AND client = ?3",
                        [id.as_str(), &other, client],
                    )?;
                    return Ok(Some((known, false)));
                }
            }
            let number = db
                .query_row("SELECT number FROM jobs WHERE id = ?1 AND open", [id.as_str()], |row| row.get(0))
                .optional()?;
            if let Some(number) = number {
                end(db, number, Stage::Dismissed, self.own_time.now_ms())?;
            }
            Ok(job(db, id)?.map(|job| (job, number.is_some())))
        })
    }

    fn job_input(&self, id: &ContentId) -> io::Result<Option<Vec<u8>>> {
        self.read(|db| {
            let input = db
                .prepare("SELECT input, input_sum FROM jobs WHERE id = ?1")?
                .query_row([id.as_str()], |row| sound(row, "input", "input_sum"))
                .optional()?;
            Ok(input.flatten())
        })
    }

    fn told(&self, id: &ContentId, seen: usize) -> io::Result<Vec<Vec<u8>>> {
        self.read(|db| {
            let number = db
                .prepare("SELECT number FROM jobs WHERE id = ?1")?
                .query_row([id.as_str()], |row| row.get(0))
                .optional()?;
            let pieces = number.map_or(Ok(Vec::new()), |number| pieces(db, number, seen))?;
            Ok(pieces.into_iter().map(|piece| piece.told).collect())
        })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use std::sync::Barrier;

    use super::*;

    #[test]
    fn many_readers_leave_few_connections_behind() {
        let directory = tempfile::TempDir::new().unwrap();
        let store = SqliteStore::open(directory.path()).unwrap();
        let many = 3 * READERS;
        let together = Barrier::new(many);
        let read = || {
            store.read(|_| {
                together.wait();
                Ok(())
            })
        };
        std::thread::scope(|scope| {
            for thread in (0..many).map(|_| scope.spawn(read)).collect::<Vec<_>>() {
                thread.join().unwrap().unwrap();
            }
        });
        assert_eq!(store.readers.lock().unwrap().len(), READERS);
    }

    #[test]
    fn little_space_on_the_disk_is_a_full_disk() {
        assert!(enough(DISK_SPACE).is_ok());
        assert_eq!(enough(DISK_SPACE - 1).unwrap_err().kind(), io::ErrorKind::StorageFull);
    }
}
