//! Keeps inputs and answers by id. A narrow trait, so that a database can stand in for the files.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use sha2::{Digest, Sha256};

use crate::id::{ContentId, hex};

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

    /// Its name: in a path of the service and as a directory.
    pub fn name(self) -> &'static str {
        match self {
            Self::Assessments => "assessments",
            Self::Days => "days",
            Self::Sweeps => "sweeps",
        }
    }
}

/// Where inputs and answers are kept. Its functions block: call them off the async threads.
pub trait Store: Send + Sync {
    /// What is kept under an id; `None` if the id was never stored.
    fn get(&self, shelf: Shelf, id: &ContentId) -> io::Result<Option<Kept>>;
    /// Keeps an input with its answer; both or neither survive a crash.
    fn put(&self, shelf: Shelf, id: &ContentId, input: &[u8], answer: &[u8]) -> io::Result<()>;
    /// Whether something could be stored now.
    fn ready(&self) -> io::Result<()>;
}

const INPUT: &str = "input.json";
const ANSWER: &str = "answer.json";
/// In the format of `sha256sum -c`, so that anyone can check a directory.
const SUMS: &str = "SHA256SUMS";
/// Directories being written start with it; ids never do.
const UNFINISHED: &str = ".unfinished-";
/// An unfinished directory older than this was left behind by a crash.
const LEFT_BEHIND: Duration = Duration::from_secs(3600);

/// One directory per id under `DIR/assessments`, `DIR/days` and `DIR/sweeps`, holding the input, the answer and their checksums.
/// Written under another name, synced, then renamed: a reader sees all of it or nothing.
#[derive(Debug)]
pub struct FileStore {
    root: PathBuf,
    serial: AtomicU64,
}

impl FileStore {
    /// Opens the directory, makes it if need be, and clears what a crash left unfinished.
    pub fn open(data_dir: &Path) -> io::Result<Self> {
        for shelf in Shelf::ALL {
            let directory = data_dir.join(shelf.name());
            fs::create_dir_all(&directory)?;
            for entry in fs::read_dir(&directory)?.flatten() {
                let unfinished = entry.file_name().to_string_lossy().starts_with(UNFINISHED);
                let age = entry.metadata().and_then(|m| m.modified()).ok().and_then(|t| t.elapsed().ok());
                if unfinished && age.is_some_and(|age| age > LEFT_BEHIND) {
                    remove(&entry.path())?;
                }
            }
        }
        Ok(Self { root: data_dir.to_path_buf(), serial: AtomicU64::new(0) })
    }

    fn place(&self, shelf: Shelf, id: &ContentId) -> PathBuf {
        self.root.join(shelf.name()).join(id.as_str())
    }

    /// A name nobody else writes to, in this process or another on the same directory.
    fn unfinished(&self, shelf: Shelf) -> PathBuf {
        let serial = self.serial.fetch_add(1, Ordering::Relaxed);
        self.root.join(shelf.name()).join(format!("{UNFINISHED}{}-{serial}", std::process::id()))
    }
}

impl Store for FileStore {
    fn get(&self, shelf: Shelf, id: &ContentId) -> io::Result<Option<Kept>> {
        let place = self.place(shelf, id);
        let sums = match fs::read_to_string(place.join(SUMS)) {
            Ok(sums) => sums,
            Err(e) if e.kind() == io::ErrorKind::NotFound && !place.exists() => return Ok(None),
            Err(e) if matches!(e.kind(), io::ErrorKind::NotFound | io::ErrorKind::InvalidData) => String::new(),
            Err(e) => return Err(e),
        };
        let sound = |name: &str| -> io::Result<Option<Vec<u8>>> {
            match fs::read(place.join(name)) {
                Ok(bytes) if sums.lines().any(|line| line == sum_line(&bytes, name)) => Ok(Some(bytes)),
                Ok(_) => Ok(None),
                Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(None),
                Err(e) => Err(e),
            }
        };
        let kept = Kept { input: sound(INPUT)?, answer: sound(ANSWER)? };
        if kept.input.is_none() || kept.answer.is_none() {
            tracing::warn!(%id, "stored files fail their checksum");
        }
        Ok(Some(kept))
    }

    fn put(&self, shelf: Shelf, id: &ContentId, input: &[u8], answer: &[u8]) -> io::Result<()> {
        let unfinished = self.unfinished(shelf);
        let written = write_all(&unfinished, input, answer).and_then(|()| self.settle(&unfinished, shelf, id));
        if written.is_err() {
            // The first error is the one to report; what cannot be removed now is cleared at the next start.
            let _ = remove(&unfinished);
        }
        written
    }

    fn ready(&self) -> io::Result<()> {
        Shelf::ALL.into_iter().try_for_each(|shelf| {
            let probe = self.unfinished(shelf);
            File::create(&probe)?;
            fs::remove_file(&probe)
        })
    }
}

impl FileStore {
    /// Gives a finished directory its name. One that is there already and sound holds the same bytes.
    fn settle(&self, finished: &Path, shelf: Shelf, id: &ContentId) -> io::Result<()> {
        let place = self.place(shelf, id);
        loop {
            if place.exists() {
                if let Some(Kept { input: Some(_), answer: Some(_) }) = self.get(shelf, id)? {
                    return remove(finished);
                }
                let broken = self.unfinished(shelf);
                match fs::rename(&place, &broken) {
                    Ok(()) => remove(&broken)?,
                    // Another writer was quicker.
                    Err(e) if e.kind() == io::ErrorKind::NotFound => {}
                    Err(e) => return Err(e),
                }
            }
            match fs::rename(finished, &place) {
                // Another writer of the same id was quicker: what it wrote is looked at.
                Err(e) if matches!(e.kind(), io::ErrorKind::DirectoryNotEmpty | io::ErrorKind::AlreadyExists) => {}
                done => break done?,
            }
        }
        sync_dir(&self.root.join(shelf.name()))
    }
}

fn write_all(directory: &Path, input: &[u8], answer: &[u8]) -> io::Result<()> {
    fs::create_dir(directory)?;
    let sums = format!("{}\n{}\n", sum_line(input, INPUT), sum_line(answer, ANSWER));
    for (name, bytes) in [(INPUT, input), (ANSWER, answer), (SUMS, sums.as_bytes())] {
        let mut file = File::create(directory.join(name))?;
        file.write_all(bytes)?;
        file.sync_all()?;
    }
    sync_dir(directory)
}

fn sum_line(bytes: &[u8], name: &str) -> String {
    format!("{}  {name}", hex(&Sha256::digest(bytes)))
}

fn remove(path: &Path) -> io::Result<()> {
    if path.is_dir() { fs::remove_dir_all(path) } else { fs::remove_file(path) }
}

/// A rename survives a power cut only once its directory is synced.
fn sync_dir(path: &Path) -> io::Result<()> {
    File::open(path)?.sync_all()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    fn scratch(name: &str) -> PathBuf {
        let path = std::env::temp_dir().join(format!("slowpoint-store-{}-{name}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        path
    }

    fn id() -> ContentId {
        ContentId::of("test", "{}")
    }

    #[test]
    fn keeps_both_parts() {
        let dir = scratch("both");
        let store = FileStore::open(&dir).unwrap();
        assert_eq!(store.get(Shelf::Assessments, &id()).unwrap(), None);
        store.put(Shelf::Assessments, &id(), b"in", b"out").unwrap();
        store.put(Shelf::Assessments, &id(), b"in", b"out").unwrap();
        let kept = Kept { input: Some(b"in".to_vec()), answer: Some(b"out".to_vec()) };
        assert_eq!(store.get(Shelf::Assessments, &id()).unwrap(), Some(kept));
        assert_eq!(fs::read_dir(dir.join("assessments")).unwrap().count(), 1, "nothing unfinished is left");
        fs::remove_dir_all(dir).unwrap();
    }

    #[test]
    fn never_returns_a_damaged_part_and_mends_it() {
        let dir = scratch("damaged");
        let store = FileStore::open(&dir).unwrap();
        store.put(Shelf::Assessments, &id(), b"in", b"a long answer").unwrap();
        let place = dir.join("assessments").join(id().as_str());
        for damage in [&b"a long"[..], b"", b"A long answer"] {
            fs::write(place.join(ANSWER), damage).unwrap();
            let kept = store.get(Shelf::Assessments, &id()).unwrap().unwrap();
            assert_eq!(kept, Kept { input: Some(b"in".to_vec()), answer: None });
        }
        fs::remove_file(place.join(SUMS)).unwrap();
        assert_eq!(store.get(Shelf::Assessments, &id()).unwrap(), Some(Kept::default()));
        store.put(Shelf::Assessments, &id(), b"in", b"a long answer").unwrap();
        assert_eq!(store.get(Shelf::Assessments, &id()).unwrap().unwrap().answer, Some(b"a long answer".to_vec()));
        fs::remove_dir_all(dir).unwrap();
    }

    /// A day and a card that it holds may be stored by two at once.
    #[test]
    fn many_writers_of_one_id_all_succeed() {
        let dir = scratch("race");
        let store = FileStore::open(&dir).unwrap();
        std::thread::scope(|scope| {
            for _ in 0..8 {
                scope.spawn(|| {
                    for k in 0..40 {
                        let id = ContentId::of("race", &k.to_string());
                        store.put(Shelf::Assessments, &id, b"in", b"out").unwrap();
                    }
                });
            }
        });
        assert_eq!(fs::read_dir(dir.join("assessments")).unwrap().count(), 40, "nothing unfinished is left");
        fs::remove_dir_all(dir).unwrap();
    }

    #[test]
    fn is_not_ready_without_its_directory() {
        let dir = scratch("gone");
        let store = FileStore::open(&dir).unwrap();
        store.ready().unwrap();
        fs::remove_dir_all(&dir).unwrap();
        assert!(store.ready().is_err());
    }
}
