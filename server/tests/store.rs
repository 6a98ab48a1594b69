//! The store by itself: what is kept comes back whole or not at all, jobs take turns, and no work is done twice or lost.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use std::path::Path;
use std::time::Duration;

use rand::{RngExt, SeedableRng};
use rusqlite::Connection;
use slowpoint_server::id::ContentId;
use slowpoint_server::store::{
    Accepted, Access, Bounds, Job, Kept, Lease, Link, NewJob, Piece, Reason, Shelf, Spent, SqliteStore, Stage, Store,
};
use support::new_job;
use tempfile::TempDir;

const SHELF: Shelf = Shelf::Assessments;

fn id(name: &str) -> ContentId {
    ContentId::of("test", name)
}

fn open() -> (TempDir, SqliteStore) {
    let directory = TempDir::new().unwrap();
    let store = SqliteStore::serve(directory.path()).unwrap();
    (directory, store)
}

fn database(directory: &Path) -> Connection {
    Connection::open(directory.join("slowpoint.db")).unwrap()
}

fn kept(input: &[u8], answer: &[u8]) -> Kept {
    Kept { input: Some(input.to_vec()), answer: Some(answer.to_vec()) }
}

#[test]
fn keeps_both_parts_and_the_last_of_them() {
    let (_directory, store) = open();
    assert_eq!(store.get(SHELF, &id("a")).unwrap(), None);
    store.put(SHELF, &id("a"), b"in", b"out").unwrap();
    store.put(Shelf::Days, &id("a"), b"other in", b"other out").unwrap();
    assert_eq!(store.get(SHELF, &id("a")).unwrap(), Some(kept(b"in", b"out")));
    assert_eq!(store.get(Shelf::Days, &id("a")).unwrap(), Some(kept(b"other in", b"other out")));
    assert_eq!(store.get(Shelf::Sweeps, &id("a")).unwrap(), None);
}

#[test]
fn one_process_serves_and_others_look_on() {
    let (directory, store) = open();
    let refused = SqliteStore::serve(directory.path()).err().unwrap().to_string();
    assert!(refused.contains("another process serves"), "{refused}");
    store.put(SHELF, &id("a"), b"in", b"out").unwrap();
    let beside = SqliteStore::open(directory.path()).unwrap();
    assert_eq!(beside.get(SHELF, &id("a")).unwrap(), Some(kept(b"in", b"out")));
    drop(store);
    SqliteStore::serve(directory.path()).unwrap();
}

#[cfg(unix)]
#[test]
fn the_directory_is_nobody_elses_to_read() {
    use std::os::unix::fs::PermissionsExt;
    let directory = TempDir::new().unwrap();
    let own = directory.path().join("deep/data");
    SqliteStore::serve(&own).unwrap();
    assert_eq!(std::fs::metadata(&own).unwrap().permissions().mode() & 0o777, 0o700);
}

#[test]
fn the_log_is_ahead_and_every_commit_synced() {
    let (directory, _store) = open();
    let mode: String = database(directory.path()).query_row("PRAGMA journal_mode", [], |row| row.get(0)).unwrap();
    assert_eq!(mode, "wal");
}

#[test]
fn a_newer_schema_and_another_programs_file_are_refused() {
    for (damage, words) in
        [("PRAGMA user_version = 99", "newer program"), ("PRAGMA application_id = 7", "another program")]
    {
        let (directory, store) = open();
        drop(store);
        database(directory.path()).execute_batch(damage).unwrap();
        let refused = SqliteStore::serve(directory.path()).err().unwrap().to_string();
        assert!(refused.contains(words), "{refused}");
    }
}

/// From the third step of the tables back to the second.
const SECOND: &str = "ALTER TABLE shares DROP COLUMN maker; ALTER TABLE shares DROP COLUMN made_ms;
    ALTER TABLE shares DROP COLUMN leads; PRAGMA user_version = 2";

/// A file as 0.7.0 left it: its links hold, its jobs go on, and nothing is held against them that was not counted then.
#[test]
fn what_an_older_version_kept_is_taken_over() {
    let (directory, store) = open();
    accept(&store, "a", "one");
    let (sum, answer) = ([7; 32], (SHELF, id("a")));
    let made = jiff::Timestamp::now();
    let expires = made + Duration::from_secs(3600);
    let link = Link { id: ContentId::of_sum(&sum), maker: "token:one".into(), answer: answer.clone(), made, expires };
    assert_eq!(store.share(&link, &sum, std::slice::from_ref(&answer), 1).unwrap(), None);
    drop(store);
    let first =
        "ALTER TABLE jobs DROP COLUMN core_ms; ALTER TABLE jobs DROP COLUMN most_core_ms; PRAGMA user_version = 1";
    for step in [SECOND, first] {
        database(directory.path()).execute_batch(step).unwrap();
    }
    let store = SqliteStore::serve(directory.path()).unwrap();
    let claimed = store.claim(LEASE).unwrap().unwrap();
    assert_eq!((claimed.id, claimed.spent, claimed.most_core_time), (id("a"), Spent::default(), None));
    let version: i32 = database(directory.path()).query_row("PRAGMA user_version", [], |row| row.get(0)).unwrap();
    assert_eq!(version, 3);
    // A link holds on, though nobody knows whose it is; who ends all may end it.
    assert!(store.shared(&sum, answer.0, &answer.1).unwrap() && store.links(None, None, 9).unwrap().is_empty());
    assert!(!store.end_link(Some("token:one"), &link.id).unwrap() && store.end_link(None, &link.id).unwrap());
    assert!(!store.shared(&sum, answer.0, &answer.1).unwrap());
}

/// A service goes on with the tables that it knows: a command of a newer release does not change them below it.
#[test]
fn tables_are_not_changed_under_a_service() {
    let (directory, store) = open();
    drop(store);
    let serving = SqliteStore::serve(directory.path()).unwrap();
    assert!(SqliteStore::open(directory.path()).is_ok(), "control: of the same release");
    database(directory.path()).execute_batch(SECOND).unwrap();
    let refused = SqliteStore::open(directory.path()).err().unwrap().to_string();
    assert!(refused.contains("those of an older release"), "{refused}");
    drop(serving);
    assert!(SqliteStore::open(directory.path()).unwrap().links(None, None, 9).unwrap().is_empty());
}

/// A byte is flipped anywhere in the file, many times: what comes back is what was kept, or nothing, or a failure that says so.
#[test]
fn no_flipped_byte_is_served() {
    let (directory, store) = open();
    let mut random = rand::rngs::ChaCha8Rng::seed_from_u64(7);
    let mut bytes = |length: usize| -> Vec<u8> { (0..length).map(|_| random.random()).collect() };
    let entries: Vec<_> = (0..20).map(|k| (id(&k.to_string()), bytes(700), bytes(6000))).collect();
    for (id, input, answer) in &entries {
        store.put(SHELF, id, input, answer).unwrap();
    }
    drop(store);
    database(directory.path()).execute_batch("PRAGMA wal_checkpoint(TRUNCATE)").unwrap();
    let file = directory.path().join("slowpoint.db");
    let whole = std::fs::read(&file).unwrap();
    let (mut lost, mut refused) = (0, 0);
    let mut random = rand::rngs::ChaCha8Rng::seed_from_u64(8);
    for _ in 0..200 {
        let mut flipped = whole.clone();
        let at = random.random_range(0..flipped.len());
        flipped[at] ^= 1 << random.random_range(0..8);
        for beside in ["slowpoint.db-wal", "slowpoint.db-shm"] {
            let _ = std::fs::remove_file(directory.path().join(beside));
        }
        std::fs::write(&file, &flipped).unwrap();
        let Ok(store) = SqliteStore::open(directory.path()) else {
            refused += 1;
            continue;
        };
        for (id, input, answer) in &entries {
            match store.get(SHELF, id) {
                Ok(Some(kept)) => {
                    assert!(kept.input.is_none_or(|found| found == *input), "byte {at}");
                    lost += u32::from(kept.answer.is_none());
                    assert!(kept.answer.is_none_or(|found| found == *answer), "byte {at}");
                }
                Ok(None) => lost += 1,
                Err(_) => refused += 1,
            }
        }
    }
    assert!(lost > 60, "most flips are noticed by their checksum: {lost}, {refused}");
}

#[test]
fn what_is_damaged_is_mended_by_keeping_it_again() {
    let (directory, store) = open();
    store.put(SHELF, &id("a"), b"in", b"a long answer").unwrap();
    let db = database(directory.path());
    for damage in ["x'00'", "x''", "'a long answer'", "7", "CAST('A long answer' AS BLOB)"] {
        db.execute_batch(&format!("UPDATE answers SET answer = {damage}")).unwrap();
        let found = store.get(SHELF, &id("a")).unwrap().unwrap();
        assert_eq!(found.input, Some(b"in".to_vec()));
        assert!(found.answer.is_none() || damage == "'a long answer'", "{damage}");
    }
    store.put(SHELF, &id("a"), b"in", b"a long answer").unwrap();
    assert_eq!(store.get(SHELF, &id("a")).unwrap(), Some(kept(b"in", b"a long answer")));
}

/// A day and a card that it holds may be kept by two at once.
#[test]
fn many_writers_of_one_id_all_succeed() {
    let (directory, store) = open();
    std::thread::scope(|scope| {
        for _ in 0..8 {
            scope.spawn(|| (0..20).for_each(|k| store.put(SHELF, &id(&k.to_string()), b"in", b"out").unwrap()));
        }
    });
    let answers: i64 =
        database(directory.path()).query_row("SELECT count(*) FROM answers", [], |row| row.get(0)).unwrap();
    assert_eq!(answers, 20);
}

#[test]
fn what_was_not_asked_for_the_longest_is_given_up_first_and_pins_hold() {
    let (directory, store) = open();
    let answer = vec![7; 100_000];
    for k in 0..100 {
        store.put(SHELF, &id(&k.to_string()), b"in", &answer).unwrap();
    }
    let db = database(directory.path());
    db.execute_batch("UPDATE answers SET used_ms = used_ms - 1000000000 + number").unwrap();
    assert!(store.pin(SHELF, &id("0"), true).unwrap());
    assert!(!store.pin(SHELF, &id("nobody"), true).unwrap());
    // Asked for again: it is the last to be given up.
    assert!(store.get(SHELF, &id("1")).unwrap().is_some());
    let gone = store.prune(Bounds { bytes: 4_000_000, unused: Duration::from_secs(3_000_000) }).unwrap();
    assert!((50..100).contains(&gone), "{gone}");
    // By another way than through the store, which would note that it was asked for.
    let known = |k: u64| {
        let find = "SELECT EXISTS (SELECT 1 FROM answers WHERE id = ?1)";
        db.query_row(find, [id(&k.to_string()).as_str()], |row| row.get::<_, bool>(0)).unwrap()
    };
    assert!(known(0) && known(1) && !known(2) && known(99));
    let size = std::fs::metadata(directory.path().join("slowpoint.db")).unwrap().len();
    db.execute_batch("PRAGMA wal_checkpoint(TRUNCATE)").unwrap();
    let shrunk = std::fs::metadata(directory.path().join("slowpoint.db")).unwrap().len();
    assert!(shrunk < 5_000_000, "the disk has its space again: {size}, {shrunk}");
    let gone = store.prune(Bounds { bytes: u64::MAX, unused: Duration::from_secs(1000) }).unwrap();
    assert!(gone > 0 && known(0) && known(1) && !known(99));
    store.pin(SHELF, &id("0"), false).unwrap();
    db.execute_batch("UPDATE answers SET used_ms = 0").unwrap();
    assert_eq!(store.prune(Bounds { bytes: u64::MAX, unused: Duration::from_secs(1000) }).unwrap(), 2);
}

/// What has ended is of less use than an answer; what is open, or has ended just now, stays.
#[test]
fn old_jobs_are_given_up_before_answers() {
    let (directory, store) = open();
    let input = vec![7; 100_000];
    let accept = |name: &str| {
        let id = id(name);
        let new = NewJob { client: name, most: [99; 2], ..new_job(Shelf::Days, &id, &input) };
        assert!(matches!(store.accept(&new, &|| true).unwrap(), Accepted::New(_)));
        id
    };
    store.put(SHELF, &id("answer"), b"in", &input).unwrap();
    for k in 0..50 {
        let job = accept(&k.to_string());
        assert_eq!(claimed(&store, LEASE), Some(job.clone()));
        assert!(store.add_piece(&job, LEASE, 0, &piece(1)).unwrap());
        assert!(store.fail(&job, "me", Reason::Broken).unwrap());
    }
    let open_one = accept("open");
    let db = database(directory.path());
    db.execute_batch("UPDATE jobs SET ended_ms = ended_ms - 4000000 WHERE NOT open AND number > 1").unwrap();
    let count = |table: &str| db.query_row(&format!("SELECT count(*) FROM {table}"), [], |row| row.get::<_, i64>(0));
    let bounds = |bytes| Bounds { bytes, unused: Duration::from_secs(1000) };
    assert_eq!(store.prune(bounds(u64::MAX)).unwrap(), 0);
    assert_eq!([count("jobs"), count("pieces"), count("turns")].map(Result::unwrap), [51, 1, 0]);
    assert_eq!(store.prune(bounds(3_000_000)).unwrap(), 0);
    let left = count("jobs").unwrap();
    assert!((3..20).contains(&left), "{left}");
    assert_eq!(store.prune(bounds(1)).unwrap(), 1);
    assert_eq!([count("jobs"), count("answers")].map(Result::unwrap), [2, 0]);
    assert!(store.job(&open_one).unwrap().is_some() && store.job(&id("0")).unwrap().is_some());
}

/// Days on which nobody serves do not age an answer, nor does a clock; those on which somebody did are known to the next.
#[test]
fn what_is_kept_ages_by_the_stores_own_time() {
    let (directory, store) = open();
    store.put(SHELF, &id("a"), b"in", b"out").unwrap();
    let db = database(directory.path());
    let own_ms = || db.query_row("SELECT ms FROM own_time", [], |row| row.get::<_, i64>(0)).unwrap();
    let begun = own_ms();
    std::thread::sleep(Duration::from_millis(20));
    let bounds = Bounds { bytes: u64::MAX, unused: Duration::from_secs(1000) };
    assert_eq!(store.prune(bounds).unwrap(), 0);
    assert!((20..600_000).contains(&(own_ms() - begun)));
    drop(store);
    for (passed_ms, gone) in [(900_000, 0), (200_000, 1)] {
        db.execute("UPDATE own_time SET ms = ms + ?1", [passed_ms]).unwrap();
        let store = SqliteStore::serve(directory.path()).unwrap();
        assert_eq!(store.prune(bounds).unwrap(), gone);
    }
}

const LEASE: Lease = Lease { owner: "me", lasts: Duration::from_secs(1000) };
const OTHER: Lease = Lease { owner: "other", lasts: Duration::from_secs(1000) };

fn try_accept(store: &SqliteStore, name: &str, client: &str) -> Accepted {
    let (id, input) = (id(name), name.as_bytes());
    store.accept(&NewJob { client, most: [6, 3], ..new_job(Shelf::Days, &id, input) }, &|| true).unwrap()
}

fn accept(store: &SqliteStore, name: &str, client: &str) -> Job {
    let (Accepted::New(job) | Accepted::Known(job)) = try_accept(store, name, client) else {
        panic!("{name} of {client} is refused")
    };
    job
}

fn piece(done: u64) -> Piece {
    Piece { told: format!("told {done}").into_bytes(), kept: format!("kept {done}").into_bytes(), done }
}

fn claimed(store: &SqliteStore, lease: Lease) -> Option<ContentId> {
    store.claim(lease).unwrap().map(|job| job.id)
}

#[test]
fn a_job_goes_on_from_its_last_piece_and_ends_with_its_answer() {
    let (_directory, store) = open();
    let job = accept(&store, "a", "one");
    assert_eq!((job.stage, job.done, job.shelf), (Stage::Accepted, [0, 3], Shelf::Days));
    assert_eq!(accept(&store, "a", "two"), job, "the same work once");
    let first = store.claim(LEASE).unwrap().unwrap();
    assert_eq!((first.id.clone(), first.input, first.made.len()), (id("a"), Some(b"a".to_vec()), 0));
    assert_eq!(claimed(&store, OTHER), None, "it is somebody's");
    for k in 0..2 {
        assert!(store.add_piece(&id("a"), LEASE, k as usize, &piece(k + 1)).unwrap());
    }
    assert!(!store.add_piece(&id("a"), OTHER, 2, &piece(3)).unwrap(), "it is not theirs");
    assert_eq!(store.job(&id("a")).unwrap().unwrap().done, [2, 3]);
    assert_eq!(store.told(&id("a"), 1).unwrap(), [b"told 2".to_vec()]);
    // A piece that is kept stays as it is.
    assert!(store.add_piece(&id("a"), LEASE, 1, &piece(7)).unwrap());
    assert_eq!(store.told(&id("a"), 1).unwrap(), [b"told 2".to_vec()]);
    let spent = Spent { time: Duration::from_secs(5), core_time: Duration::from_secs(9) };
    assert!(store.give_back(&id("a"), "me", spent, true).unwrap());
    let second = store.claim(OTHER).unwrap().unwrap();
    assert_eq!((second.made, second.spent), (vec![piece(1), piece(2)], spent));
    assert!(!store.finish(&id("a"), "me", b"out").unwrap(), "it was taken over");
    assert_eq!(store.get(Shelf::Days, &id("a")).unwrap(), None);
    assert!(store.finish(&id("a"), "other", b"out").unwrap());
    assert_eq!(store.get(Shelf::Days, &id("a")).unwrap(), Some(kept(b"a", b"out")));
    let job = store.job(&id("a")).unwrap().unwrap();
    assert_eq!((job.stage, job.done), (Stage::Successful, [3, 3]));
    assert_eq!(claimed(&store, LEASE), None);
}

#[test]
fn a_lease_that_has_run_out_is_anybodys() {
    let (_directory, store) = open();
    accept(&store, "a", "one");
    let short = Lease { owner: "me", lasts: Duration::ZERO };
    assert_eq!(claimed(&store, short), Some(id("a")));
    std::thread::sleep(Duration::from_millis(5));
    assert_eq!(claimed(&store, OTHER), Some(id("a")));
    assert!(!store.renew(&id("a"), short).unwrap());
    assert!(store.renew(&id("a"), OTHER).unwrap());
}

#[test]
fn whoever_serves_next_goes_on_at_once() {
    let (directory, store) = open();
    accept(&store, "a", "one");
    assert_eq!(claimed(&store, LEASE), Some(id("a")));
    drop(store);
    let store = SqliteStore::serve(directory.path()).unwrap();
    assert_eq!(claimed(&store, OTHER), Some(id("a")));
}

#[test]
fn clients_take_turns() {
    let (_directory, store) = open();
    for name in ["a1", "a2", "a3"] {
        accept(&store, name, "a");
    }
    assert_eq!(try_accept(&store, "a4", "a"), Accepted::ClientFull);
    accept(&store, "b1", "b");
    accept(&store, "b2", "b");
    accept(&store, "c1", "c");
    assert_eq!(try_accept(&store, "d1", "d"), Accepted::Full);
    assert!(store.others_wait(&id("a1")).unwrap());
    let mut turns = Vec::new();
    while let Some(job) = claimed(&store, LEASE) {
        turns.push(job.clone());
        assert!(store.finish(&job, "me", b"out").unwrap());
    }
    assert_eq!(turns, ["a1", "b1", "c1", "a2", "b2", "a3"].map(id));
    let listed: Vec<ContentId> = store.jobs_of("a", 2).unwrap().into_iter().map(|job| job.id).collect();
    assert_eq!(listed, ["a3", "a2"].map(id));
}

/// Three turns in a row that ended at the same piece without a word, and it is given up.
#[test]
fn what_keeps_failing_is_given_up() {
    let (_directory, store) = open();
    accept(&store, "a", "one");
    let mut tried = |in_order: bool| {
        let job = store.claim(LEASE).unwrap().unwrap();
        if !job.fell_too_often {
            store.give_back(&job.id, "me", Spent::default(), in_order).unwrap();
        }
        job.fell_too_often
    };
    assert_eq!([true, true, true, true, false, false].map(&mut tried), [false; 6]);
    store.claim(LEASE).unwrap().unwrap();
    assert!(store.add_piece(&id("a"), LEASE, 0, &piece(1)).unwrap());
    store.give_back(&id("a"), "me", Spent::default(), false).unwrap();
    // It fell at the first piece twice, and once at the second: twice more, and that is where it falls.
    assert_eq!([false, false, false].map(&mut tried), [false, false, true]);
    assert!(store.fail(&id("a"), "me", Reason::KeepsFailing).unwrap());
    assert_eq!(store.job(&id("a")).unwrap().unwrap().stage, Stage::Failed(Reason::KeepsFailing));
    assert_eq!(accept(&store, "a", "one").stage, Stage::Accepted, "posted again it begins anew");
    assert_eq!(store.claim(LEASE).unwrap().unwrap().made, []);
}

/// A look that found nothing, an end, and then the same work: it is not done twice.
#[test]
fn what_is_answered_by_now_is_no_new_job() {
    let (directory, store) = open();
    accept(&store, "a", "one");
    store.claim(LEASE).unwrap().unwrap();
    assert!(store.finish(&id("a"), "me", b"out").unwrap());
    assert_eq!(try_accept(&store, "a", "two"), Accepted::Answered(b"out".to_vec()));
    assert!(store.owns("two", Some(Shelf::Days), &id("a")).unwrap());
    // An answer that cannot be relied on is none.
    database(directory.path()).execute_batch("UPDATE answers SET answer = 'wrong'").unwrap();
    assert!(matches!(try_accept(&store, "a", "one"), Accepted::New(_)));
}

#[test]
fn whoever_may_not_begin_begins_nothing_but_is_told_of_what_is_begun() {
    let (_directory, store) = open();
    let (a, b) = (id("a"), id("b"));
    let new = |id| NewJob { client: "one", most: [6, 3], ..new_job(Shelf::Days, id, b"in") };
    assert_eq!(store.accept(&new(&a), &|| false).unwrap(), Accepted::Refused);
    assert_eq!(store.job(&a).unwrap(), None);
    accept(&store, "b", "other");
    assert!(matches!(store.accept(&new(&b), &|| panic!("asked")).unwrap(), Accepted::Known(_)));
}

/// An assessment begins anew each time: what counts is where it falls, not whether it makes a piece that nobody has seen.
#[test]
fn what_falls_elsewhere_each_time_is_begun_again() {
    let (_directory, store) = open();
    let id = id("a");
    let new = NewJob { client: "one", ..new_job(Shelf::Assessments, &id, b"in") };
    store.accept(&new, &|| true).unwrap();
    let mut falls_after = |pieces: usize| {
        let job = store.claim(LEASE).unwrap().unwrap();
        for k in 0..pieces {
            assert!(store.add_piece(&id, LEASE, k, &piece(k as u64)).unwrap());
        }
        store.give_back(&id, "me", Spent::default(), false).unwrap();
        job.fell_too_often
    };
    assert_eq!([5, 4, 5, 4, 3, 0, 1, 2, 2, 2, 0].map(&mut falls_after), [[false; 10].as_slice(), &[true]].concat()[..]);
}

/// One that halts comes on in its next turn: kills in three such turns are not three at the same place.
#[test]
fn what_halts_has_not_fallen() {
    let (_directory, store) = open();
    let id = id("a");
    let new = NewJob { client: "one", ..new_job(Shelf::Assessments, &id, b"in") };
    store.accept(&new, &|| true).unwrap();
    for life in 1..=4 {
        let job = store.claim(LEASE).unwrap().unwrap();
        assert!(!job.fell_too_often, "{life}");
        for k in 0..life {
            assert!(store.add_piece(&id, LEASE, k, &piece(k as u64)).unwrap());
        }
        assert!(store.give_back(&id, "me", Spent::default(), true).unwrap());
        // It goes on, and is killed before its next piece.
        assert!(!store.claim(LEASE).unwrap().unwrap().fell_too_often, "{life}");
    }
}

#[test]
fn a_job_that_cannot_be_read_holds_up_no_other() {
    let (directory, store) = open();
    for name in ["a", "b", "c"] {
        accept(&store, name, "one");
    }
    let db = database(directory.path());
    db.execute_batch(
        "UPDATE jobs SET shelf = 'nowhere' WHERE number = 1; UPDATE jobs SET falls = 'x' WHERE number = 2",
    )
    .unwrap();
    assert_eq!(claimed(&store, LEASE), Some(id("c")));
    let ended = "SELECT count(*) FROM jobs WHERE NOT open AND stage = 'failed' AND reason = 'damaged'";
    assert_eq!(db.query_row(ended, [], |row| row.get::<_, i64>(0)).unwrap(), 2);
}

/// Whoever joined a job and leaves moves nothing: it is still the first one's.
#[test]
fn a_job_stays_with_its_client_when_another_leaves() {
    let (directory, store) = open();
    for client in ["b", "a", "c"] {
        accept(&store, "job", client);
    }
    let client = || {
        let db = database(directory.path());
        db.query_row("SELECT client FROM jobs", [], |row| row.get::<_, String>(0)).unwrap()
    };
    store.dismiss(&id("job"), Some("c")).unwrap();
    assert_eq!(client(), "b");
    store.dismiss(&id("job"), Some("b")).unwrap();
    assert_eq!(client(), "a");
}

#[test]
fn tells_at_a_glance_what_is_open_and_how_much_is_kept() {
    let (directory, store) = open();
    let before = store.look().unwrap();
    assert_eq!((before.jobs, before.oldest_waiting), ([(Stage::Accepted, 0), (Stage::Running, 0)], None));
    accept(&store, "a", "one");
    accept(&store, "b", "one");
    let db = database(directory.path());
    db.execute_batch("UPDATE jobs SET created_ms = created_ms - 60000, updated_ms = updated_ms - 60000").unwrap();
    assert_eq!(claimed(&store, LEASE), Some(id("a")));
    let seen = store.look().unwrap();
    assert_eq!(seen.jobs, [(Stage::Accepted, 1), (Stage::Running, 1)]);
    assert!((60..120).contains(&seen.oldest_waiting.unwrap().as_secs()), "b waits: {seen:?}");
    store.dismiss(&id("b"), None).unwrap();
    assert_eq!(store.look().unwrap().oldest_waiting, None, "what is worked on does not wait");
    // One that has given way waits since it last came on.
    store.give_back(&id("a"), "me", Spent::default(), true).unwrap();
    assert!(store.look().unwrap().oldest_waiting.unwrap() < Duration::from_secs(30));
    store.put(SHELF, &id("a"), b"in", &[7; 100_000]).unwrap();
    let full = store.look().unwrap();
    // A part of it has its place in pages that were there already.
    assert!(full.bytes >= before.bytes + 96_000 && full.disk_bytes > 0, "{full:?}");
    db.execute_batch("DELETE FROM answers").unwrap();
    assert!(store.look().unwrap().unused_bytes >= full.unused_bytes + 96_000);
}

#[test]
fn what_is_dismissed_is_nobodys() {
    let (_directory, store) = open();
    accept(&store, "a", "one");
    assert_eq!(claimed(&store, LEASE), Some(id("a")));
    for ended in [true, false] {
        let (job, now) = store.dismiss(&id("a"), None).unwrap().unwrap();
        assert_eq!((job.stage, now), (Stage::Dismissed, ended));
    }
    assert!(!store.add_piece(&id("a"), LEASE, 0, &piece(1)).unwrap());
    assert!(!store.finish(&id("a"), "me", b"out").unwrap());
    assert_eq!(store.get(Shelf::Days, &id("a")).unwrap(), None);
    assert_eq!(store.dismiss(&id("nobody"), None).unwrap(), None);
}

/// A damaged piece is made again with all after it; a job whose input is damaged is not flown, nor kept under its id.
#[test]
fn damaged_pieces_and_inputs_are_noticed() {
    let (directory, store) = open();
    accept(&store, "a", "one");
    store.claim(LEASE).unwrap();
    (0..3).for_each(|k| assert!(store.add_piece(&id("a"), LEASE, k as usize, &piece(k + 1)).unwrap()));
    let db = database(directory.path());
    db.execute_batch("UPDATE pieces SET kept = CAST('kept 9' AS BLOB) WHERE place = 1").unwrap();
    assert_eq!(store.told(&id("a"), 0).unwrap().len(), 1);
    // Whatever damage has made of its type: the queue does not stand for it.
    db.execute_batch("UPDATE pieces SET kept = 7, done = 'x' WHERE place = 1").unwrap();
    assert_eq!(store.told(&id("a"), 0).unwrap().len(), 1);
    assert_eq!(store.claim(LEASE).unwrap().unwrap().made, [piece(1)]);
    assert!(store.add_piece(&id("a"), LEASE, 1, &piece(2)).unwrap());
    assert_eq!(store.told(&id("a"), 0).unwrap().len(), 2);
    db.execute_batch("UPDATE jobs SET input = CAST('b' AS BLOB)").unwrap();
    assert!(store.finish(&id("a"), "me", b"out").is_err());
    assert_eq!(store.claim(LEASE).unwrap().unwrap().input, None);
    assert_eq!(store.get(Shelf::Days, &id("a")).unwrap(), None);
}
