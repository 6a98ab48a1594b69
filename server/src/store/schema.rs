//! The tables, as steps from one version to the next. A step that has been released is never changed.

use std::io;

use rusqlite::{Connection, TransactionBehavior};

use super::sqlite::failed;

/// One step a version. Times are milliseconds since 1970 in UTC, but those that are held against how long something is kept:
/// `used_ms`, `ended_ms`, `asked_ms` and `kept_until_ms` are the store's own. Checksums are SHA-256.
///
/// Of a job: whether it is `in_turn`, the pieces its turn has `reached`, and how often in a row a turn `fell` at the same of
/// them without a word. Of what a link shares: whether it `leads` there; the others come with that. Links of before 0.12.0 have
/// no `maker`.
const STEPS: [&str; 3] = [
    "
    CREATE TABLE answers (
        number INTEGER PRIMARY KEY,
        shelf TEXT NOT NULL,
        id TEXT NOT NULL,
        input BLOB NOT NULL,
        input_sum BLOB NOT NULL,
        answer BLOB NOT NULL,
        answer_sum BLOB NOT NULL,
        used_ms INTEGER NOT NULL,
        pinned INTEGER NOT NULL DEFAULT 0,
        UNIQUE (shelf, id)
    );
    CREATE INDEX answers_by_use ON answers (pinned, used_ms);
    CREATE TABLE jobs (
        number INTEGER PRIMARY KEY,
        id TEXT NOT NULL UNIQUE,
        shelf TEXT NOT NULL,
        client TEXT NOT NULL,
        input BLOB NOT NULL,
        input_sum BLOB NOT NULL,
        stage TEXT NOT NULL,
        reason TEXT,
        open INTEGER NOT NULL,
        created_ms INTEGER NOT NULL,
        updated_ms INTEGER NOT NULL,
        ended_ms INTEGER,
        done INTEGER NOT NULL,
        whole INTEGER NOT NULL,
        in_turn INTEGER NOT NULL DEFAULT 0,
        reached INTEGER NOT NULL DEFAULT 0,
        fell INTEGER NOT NULL DEFAULT -1,
        falls INTEGER NOT NULL DEFAULT 0,
        spent_ms INTEGER NOT NULL,
        owner TEXT,
        lease_ends_ms INTEGER
    );
    CREATE INDEX jobs_open ON jobs (open, client);
    CREATE TABLE pieces (
        job INTEGER NOT NULL REFERENCES jobs (number) ON DELETE CASCADE,
        place INTEGER NOT NULL,
        told BLOB NOT NULL,
        kept BLOB NOT NULL,
        done INTEGER NOT NULL,
        sum BLOB NOT NULL,
        PRIMARY KEY (job, place)
    );
    CREATE TABLE turns (
        client TEXT PRIMARY KEY,
        served INTEGER NOT NULL
    ) WITHOUT ROWID;
    CREATE TABLE tokens (
        number INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE,
        sum BLOB NOT NULL UNIQUE,
        scope TEXT NOT NULL,
        created_ms INTEGER NOT NULL,
        expires_ms INTEGER,
        revoked_ms INTEGER
    );
    CREATE TABLE owners (
        client TEXT NOT NULL,
        shelf TEXT NOT NULL,
        id TEXT NOT NULL,
        asked_ms INTEGER NOT NULL,
        PRIMARY KEY (id, shelf, client)
    ) WITHOUT ROWID;
    CREATE INDEX owners_by_client ON owners (client);
    CREATE TABLE shares (
        sum BLOB NOT NULL,
        shelf TEXT NOT NULL,
        id TEXT NOT NULL,
        expires_ms INTEGER NOT NULL,
        kept_until_ms INTEGER NOT NULL,
        PRIMARY KEY (sum, shelf, id)
    ) WITHOUT ROWID;
    CREATE TABLE probe (
        one INTEGER PRIMARY KEY CHECK (one = 1),
        count INTEGER NOT NULL
    );
    INSERT INTO probe VALUES (1, 0);
    CREATE TABLE own_time (
        one INTEGER PRIMARY KEY CHECK (one = 1),
        ms INTEGER NOT NULL
    );
    INSERT INTO own_time VALUES (1, CAST(unixepoch('subsec') * 1000 AS INTEGER));
    ",
    "
    ALTER TABLE jobs ADD COLUMN core_ms INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE jobs ADD COLUMN most_core_ms INTEGER;
    ",
    "
    ALTER TABLE shares ADD COLUMN maker TEXT;
    ALTER TABLE shares ADD COLUMN made_ms INTEGER;
    ALTER TABLE shares ADD COLUMN leads INTEGER NOT NULL DEFAULT 0;
    ",
];

/// "SlwP": marks the file as one of this program.
const APPLICATION: i32 = 0x536c_7750;

/// Whether an older program has written a database, which is to be brought to the present version.
pub fn is_older(db: &Connection) -> io::Result<bool> {
    let version = db.pragma_query_value(None, "user_version", |row| row.get::<_, i32>(0)).map_err(failed)?;
    Ok(version > 0 && usize::try_from(version).is_ok_and(|version| version < STEPS.len()))
}

/// Brings a database to the present version, each step whole or not at all; refuses one that a newer program has written.
pub fn migrate(db: &mut Connection) -> io::Result<()> {
    loop {
        let step = db.transaction_with_behavior(TransactionBehavior::Immediate).map_err(failed)?;
        let number = |name: &str| step.pragma_query_value(None, name, |row| row.get::<_, i32>(0)).map_err(failed);
        let (version, application) = (number("user_version")?, number("application_id")?);
        let known = STEPS.len();
        if application != APPLICATION && (application != 0 || version != 0) {
            return Err(io::Error::other("the file is a database of another program"));
        }
        match usize::try_from(version) {
            Ok(at) if at == known => return Ok(()),
            Ok(at) if at < known => {
                step.execute_batch(STEPS[at]).map_err(failed)?;
                step.pragma_update(None, "application_id", APPLICATION).map_err(failed)?;
                step.pragma_update(None, "user_version", version + 1).map_err(failed)?;
                step.commit().map_err(failed)?;
            }
            _ => {
                return Err(io::Error::other(format!(
                    "a newer program has written it (version {version} of its tables; this one knows {known}): use that one, or restore a backup"
                )));
            }
        }
    }
}
