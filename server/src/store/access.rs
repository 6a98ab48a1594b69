//! Who may do and read what: tokens, whose an answer is, and links that share one.

use std::io;

use jiff::Timestamp;
use rusqlite::{OptionalExtension, Row, Transaction, params};

use super::Shelf;
use super::sqlite::{SqliteStore, broken, now_ms};
use crate::id::ContentId;

/// SHA-256 of a secret: the secret itself is kept nowhere.
pub type SecretSum = [u8; 32];

/// A token as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Token {
    /// What it is called. Whatever is asked with it is its client's.
    pub name: String,
    /// What it may do.
    pub scope: Scope,
    /// When it was made.
    pub created: Timestamp,
    /// When it ends, if ever.
    pub expires: Option<Timestamp>,
    /// When it was revoked.
    pub revoked: Option<Timestamp>,
}

impl Token {
    /// Whether it may be used now.
    pub fn holds(&self) -> bool {
        self.revoked.is_none() && self.expires.is_none_or(|end| Timestamp::now() < end)
    }
}

/// What a token may do, each including what stands before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, clap::ValueEnum)]
pub enum Scope {
    /// Read what is its own.
    Read,
    /// Have something computed.
    Compute,
    /// Read everything, and how the service does.
    Admin,
}

impl Scope {
    /// Every scope.
    pub const ALL: [Self; 3] = [Self::Read, Self::Compute, Self::Admin];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Compute => "compute",
            Self::Admin => "admin",
        }
    }
}

/// Tokens, ownership and shares. The functions block, as those of `Store`.
pub trait Access: Send + Sync {
    /// Keeps a new token; `false` if one has its name.
    fn add_token(&self, token: &Token, sum: &SecretSum) -> io::Result<bool>;
    /// Every token there ever was, in the order made.
    fn tokens(&self) -> io::Result<Vec<Token>>;
    /// Ends a token for good; `false` if none has this name.
    fn revoke_token(&self, name: &str) -> io::Result<bool>;
    /// The token with this secret.
    fn token(&self, sum: &SecretSum) -> io::Result<Option<Token>>;
    /// Whether there ever was a token: from then on everybody is asked for one.
    fn any_token(&self) -> io::Result<bool>;
    /// Notes that a client asked for some answers.
    fn own(&self, client: &str, answers: &[(Shelf, ContentId)]) -> io::Result<()>;
    /// Whether a client asked for it; of any kind, where none is named.
    fn owns(&self, client: &str, shelf: Option<Shelf>, id: &ContentId) -> io::Result<bool>;
    /// Keeps a link that lets whoever has its secret read some answers until it ends.
    fn share(&self, sum: &SecretSum, answers: &[(Shelf, ContentId)], expires: Timestamp) -> io::Result<()>;
    /// Whether a link with this secret holds for an answer now.
    fn shared(&self, sum: &SecretSum, shelf: Shelf, id: &ContentId) -> io::Result<bool>;
}

/// Notes that a client asked for an answer, at the store's own time.
pub(super) fn own(db: &Transaction, client: &str, shelf: Shelf, id: &ContentId, asked_ms: i64) -> rusqlite::Result<()> {
    db.prepare("INSERT OR IGNORE INTO owners VALUES (?1, ?2, ?3, ?4)")?.execute(params![
        client,
        shelf.name(),
        id.as_str(),
        asked_ms
    ])?;
    Ok(())
}

fn time(ms: i64) -> rusqlite::Result<Timestamp> {
    Timestamp::from_millisecond(ms).map_err(|_| broken("a time"))
}

fn token_of(row: &Row) -> rusqlite::Result<Token> {
    let scope: String = row.get("scope")?;
    let maybe = |name| row.get::<_, Option<i64>>(name)?.map(time).transpose();
    Ok(Token {
        name: row.get("name")?,
        scope: Scope::ALL.into_iter().find(|known| known.name() == scope).ok_or_else(|| broken("a scope"))?,
        created: time(row.get("created_ms")?)?,
        expires: maybe("expires_ms")?,
        revoked: maybe("revoked_ms")?,
    })
}

impl Access for SqliteStore {
    fn add_token(&self, token: &Token, sum: &SecretSum) -> io::Result<bool> {
        self.write(|db| {
            db.execute(
                "INSERT OR IGNORE INTO tokens (name, sum, scope, created_ms, expires_ms) VALUES (?1, ?2, ?3, ?4, ?5)",
                params![
                    token.name,
                    sum,
                    token.scope.name(),
                    token.created.as_millisecond(),
                    token.expires.map(Timestamp::as_millisecond),
                ],
            )
        })
        .map(|new| new > 0)
    }

    fn tokens(&self) -> io::Result<Vec<Token>> {
        self.read(|db| db.prepare("SELECT * FROM tokens ORDER BY number")?.query_map([], token_of)?.collect())
    }

    fn revoke_token(&self, name: &str) -> io::Result<bool> {
        self.write(|db| {
            db.execute(
                "UPDATE tokens SET revoked_ms = coalesce(revoked_ms, ?2) WHERE name = ?1",
                params![name, now_ms()],
            )
        })
        .map(|known| known > 0)
    }

    fn token(&self, sum: &SecretSum) -> io::Result<Option<Token>> {
        self.read(|db| db.prepare("SELECT * FROM tokens WHERE sum = ?1")?.query_row([sum], token_of).optional())
    }

    fn any_token(&self) -> io::Result<bool> {
        self.read(|db| db.prepare("SELECT EXISTS (SELECT 1 FROM tokens)")?.query_row([], |row| row.get(0)))
    }

    fn own(&self, client: &str, answers: &[(Shelf, ContentId)]) -> io::Result<()> {
        let mut new = Vec::new();
        for (shelf, id) in answers {
            // What is known is not written again.
            if !self.owns(client, Some(*shelf), id)? {
                new.push((*shelf, id));
            }
        }
        if new.is_empty() {
            return Ok(());
        }
        self.write(|db| {
            let now = self.own_time.now_ms();
            new.iter().try_for_each(|(shelf, id)| own(db, client, *shelf, id, now))
        })
    }

    fn owns(&self, client: &str, shelf: Option<Shelf>, id: &ContentId) -> io::Result<bool> {
        self.read(|db| {
            db.prepare(
                "SELECT EXISTS (SELECT 1 FROM owners WHERE id = ?1 AND client = ?2 AND (?3 IS NULL OR shelf = ?3))",
            )?
            .query_row(params![id.as_str(), client, shelf.map(Shelf::name)], |row| row.get(0))
        })
    }

    fn share(&self, sum: &SecretSum, answers: &[(Shelf, ContentId)], expires: Timestamp) -> io::Result<()> {
        let expires = expires.as_millisecond();
        // Whether it holds is for the clock to say, also for one that is set again: it is forgotten by the own time.
        let kept_until = self.own_time.now_ms().saturating_add(expires.saturating_sub(now_ms()));
        self.write(|db| {
            let mut one = db.prepare("INSERT OR REPLACE INTO shares VALUES (?1, ?2, ?3, ?4, ?5)")?;
            for (shelf, id) in answers {
                one.execute(params![sum, shelf.name(), id.as_str(), expires, kept_until])?;
            }
            Ok(())
        })
    }

    fn shared(&self, sum: &SecretSum, shelf: Shelf, id: &ContentId) -> io::Result<bool> {
        self.read(|db| {
            db.prepare(
                "SELECT EXISTS (SELECT 1 FROM shares WHERE sum = ?1 AND shelf = ?2 AND id = ?3 AND expires_ms > ?4)",
            )?
            .query_row(params![sum, shelf.name(), id.as_str(), now_ms()], |row| row.get(0))
        })
    }
}
