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

/// Begins the name of whoever has a token.
const TOKEN_CLIENT: &str = "token:";

impl Token {
    /// What its client's answers, jobs and links are kept under.
    pub fn client(&self) -> String {
        format!("{TOKEN_CLIENT}{}", self.name)
    }

    /// Whether it may be used now.
    pub fn holds(&self) -> bool {
        self.revoked.is_none() && self.expires.is_none_or(|end| Timestamp::now() < end)
    }
}

/// A link that shares, as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Link {
    /// What it is called: its secret is kept nowhere.
    pub id: ContentId,
    /// The client that made it.
    pub maker: String,
    /// Where it leads.
    pub answer: (Shelf, ContentId),
    /// When it was made.
    pub made: Timestamp,
    /// When it ends, unless it is ended before.
    pub expires: Timestamp,
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
    /// Keeps a link that lets whoever has its secret read some answers, that to which it leads among them, until it ends or the
    /// token of its maker does; where that one has as many that hold as may, when the first ends.
    fn share(
        &self,
        link: &Link,
        sum: &SecretSum,
        answers: &[(Shelf, ContentId)],
        most: usize,
    ) -> io::Result<Option<Timestamp>>;
    /// Whether a link with this secret holds for an answer now.
    fn shared(&self, sum: &SecretSum, shelf: Shelf, id: &ContentId) -> io::Result<bool>;
    /// The links that hold now, the newest first, so many at most: of one maker, or of all, to one answer or to all.
    fn links(&self, maker: Option<&str>, answer: Option<(Shelf, &ContentId)>, most: usize) -> io::Result<Vec<Link>>;
    /// Ends a link; `false` if this maker has none of this id, or nobody has.
    fn end_link(&self, maker: Option<&str>, id: &ContentId) -> io::Result<bool>;
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

/// Whether a link holds at ?1: also not without the token that it was made with.
fn holds() -> String {
    format!(
        "shares.expires_ms > ?1 AND NOT EXISTS (SELECT 1 FROM tokens WHERE shares.maker = '{TOKEN_CLIENT}' || tokens.name
         AND (tokens.revoked_ms IS NOT NULL OR tokens.expires_ms <= ?1))"
    )
}

fn link_of(row: &Row) -> rusqlite::Result<Link> {
    let (shelf, id): (String, String) = (row.get("shelf")?, row.get("id")?);
    Ok(Link {
        id: ContentId::of_sum(&row.get("sum")?),
        maker: row.get("maker")?,
        answer: Shelf::of_name(&shelf).zip(ContentId::parse(&id)).ok_or_else(|| broken("an answer"))?,
        made: time(row.get("made_ms")?)?,
        expires: time(row.get("expires_ms")?)?,
    })
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

    fn share(
        &self,
        link: &Link,
        sum: &SecretSum,
        answers: &[(Shelf, ContentId)],
        most: usize,
    ) -> io::Result<Option<Timestamp>> {
        let expires = link.expires.as_millisecond();
        // Whether it holds is for the clock to say, also for one that is set again: it is forgotten by the own time.
        let kept_until = self.own_time.now_ms().saturating_add(expires.saturating_sub(now_ms()));
        self.write(|db| {
            let (held, first_ends): (i64, Option<i64>) = db
                .prepare(&format!(
                    "SELECT count(*), min(expires_ms) FROM shares WHERE leads AND maker = ?2 AND {}",
                    holds()
                ))?
                .query_row(params![now_ms(), link.maker], |row| Ok((row.get(0)?, row.get(1)?)))?;
            if usize::try_from(held).is_ok_and(|held| held >= most) {
                return first_ends.map(time).transpose();
            }
            let mut one = db.prepare(
                "INSERT OR REPLACE INTO shares (sum, shelf, id, expires_ms, kept_until_ms, maker, made_ms, leads)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
            )?;
            let made = link.made.as_millisecond();
            for answer in answers {
                let (shelf, id, leads) = (answer.0.name(), answer.1.as_str(), *answer == link.answer);
                one.execute(params![sum, shelf, id, expires, kept_until, link.maker, made, leads])?;
            }
            Ok(None)
        })
    }

    fn shared(&self, sum: &SecretSum, shelf: Shelf, id: &ContentId) -> io::Result<bool> {
        self.read(|db| {
            db.prepare(&format!(
                "SELECT EXISTS (SELECT 1 FROM shares WHERE sum = ?2 AND shelf = ?3 AND id = ?4 AND {})",
                holds()
            ))?
            .query_row(params![now_ms(), sum, shelf.name(), id.as_str()], |row| row.get(0))
        })
    }

    fn links(&self, maker: Option<&str>, answer: Option<(Shelf, &ContentId)>, most: usize) -> io::Result<Vec<Link>> {
        let most = i64::try_from(most).unwrap_or(i64::MAX);
        let (shelf, id) = answer.map(|(shelf, id)| (shelf.name(), id.as_str())).unzip();
        self.read(|db| {
            let mut found = db.prepare(&format!(
                "SELECT * FROM shares WHERE leads AND (?2 IS NULL OR maker = ?2) AND (?3 IS NULL OR (shelf = ?3 AND id = ?4))
                 AND {} ORDER BY made_ms DESC, sum LIMIT ?5",
                holds()
            ))?;
            let mut rows = found.query(params![now_ms(), maker, shelf, id, most])?;
            let mut links = Vec::new();
            while let Some(row) = rows.next()? {
                match link_of(row) {
                    Ok(link) => links.push(link),
                    Err(error) => tracing::warn!(%error, "a link is damaged"),
                }
            }
            Ok(links)
        })
    }

    fn end_link(&self, maker: Option<&str>, id: &ContentId) -> io::Result<bool> {
        // By the one way in which an id is made of a sum.
        let sums: Vec<SecretSum> = self.read(|db| {
            // One that was damaged is nobody's.
            db.prepare(
                "SELECT DISTINCT sum FROM shares WHERE (?1 IS NULL OR maker = ?1)
                 AND typeof(sum) = 'blob' AND length(sum) = 32",
            )?
            .query_map([maker], |row| row.get(0))?
            .collect()
        })?;
        let Some(sum) = sums.into_iter().find(|sum| ContentId::of_sum(sum) == *id) else { return Ok(false) };
        self.write(|db| db.execute("DELETE FROM shares WHERE sum = ?1", [sum])).map(|rows| rows > 0)
    }
}
