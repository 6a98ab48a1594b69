//! A disk that is full, and one that fails now and then: nothing that was acknowledged is lost.

use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use slowpoint_tests::served::{Client, Reply, Service};
use tempfile::TempDir;

use crate::Size;
use crate::cards::{card, work};
use crate::known::{Known, lock};
use crate::table::Table;

/// Size of the disk, MB for each round: holds what is answered until its end several times over, so that nothing but the
/// filler fills it.
const DISK_MB: usize = 16;
/// It is waited so long for a full disk to be noticed, and for a free one.
const PATIENCE: Duration = Duration::from_secs(60);
/// Jobs that wait and run at the most: the rest of the works is asked for while a client waits.
const JOBS: &str = "6";

pub fn tried(size: Size, table: &mut Table) -> Result<(), String> {
    let rounds = size.of(2, 10, 50);
    match Disk::mounted(DISK_MB * rounds) {
        Ok(disk) => full(&disk, rounds, table)?,
        Err(reason) => table.missing("a full disk", &format!("A file system could not be mounted: {reason}")),
    }
    let strace = Command::new("strace").arg("-V").stdout(Stdio::null()).status();
    if strace.is_ok_and(|status| status.success()) {
        failing(size.of(60, 100, 500), table)
    } else {
        table.missing("errors of the disk", "There is no strace.");
        Ok(())
    }
}

/// A file system of its own, in memory.
struct Disk(TempDir);

impl Disk {
    fn mounted(mb: usize) -> Result<Self, String> {
        let place = TempDir::new().map_err(|e| e.to_string())?;
        let options = format!("size={mb}m");
        let mounting = Command::new("mount").args(["-t", "tmpfs", "-o", &options, "tmpfs"]).arg(place.path()).output();
        match mounting {
            Ok(done) if done.status.success() => Ok(Self(place)),
            Ok(done) => Err(String::from_utf8_lossy(&done.stderr).trim().into()),
            Err(error) => Err(error.to_string()),
        }
    }

    fn data(&self) -> PathBuf {
        self.0.path().join("data")
    }

    /// Takes all that is left of it.
    fn fill(&self) -> Result<(), String> {
        let mut filler = File::create(self.filler()).map_err(|e| e.to_string())?;
        while filler.write_all(&[0; 4096]).is_ok() {}
        Ok(())
    }

    fn free(&self) -> Result<(), String> {
        std::fs::remove_file(self.filler()).map_err(|e| e.to_string())
    }

    fn filler(&self) -> PathBuf {
        self.0.path().join("filler")
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.0.path()).status();
    }
}

/// Clients that ask on while the disk is filled and freed.
#[derive(Default)]
struct Asking {
    known: Mutex<Known>,
    next: AtomicU64,
    over: AtomicBool,
}

impl Asking {
    /// New work, as a job and while the client waits in turn.
    fn on(&self, client: &Client) {
        while !self.over.load(Ordering::SeqCst) {
            let number = self.next.fetch_add(1, Ordering::SeqCst);
            self.note(number, post(client, number));
            thread::sleep(Duration::from_millis(20));
        }
    }

    fn note(&self, number: u64, reply: Result<Reply, String>) {
        let mut known = lock(&self.known);
        match reply {
            Ok(reply) => known.note(number, reply),
            Err(error) => known.strange.push(format!("work {number}: {error}")),
        }
    }
}

fn post(client: &Client, number: u64) -> Result<Reply, String> {
    let (path, body) = work(number);
    if number.is_multiple_of(2) { client.post_job(path, &body) } else { client.post(path, &body) }
}

fn full(disk: &Disk, rounds: usize, table: &mut Table) -> Result<(), String> {
    let service = Service::start_on(&disk.data(), &["--jobs", JOBS], &[])?;
    service.ready_s()?;
    let stored = service.client().post("/v1/assessments", &card(u64::MAX >> 12, 128))?;
    let asking = Asking::default();
    let (mut noticed, mut ready_again, mut read, mut longest_s) = (0, 0, 0, 0.0_f64);
    let tried = thread::scope(|scope| {
        scope.spawn(|| asking.on(&service.client()));
        let client = service.client();
        let ready = |expected: u16| {
            let begun = Instant::now();
            while begun.elapsed() < PATIENCE {
                if client.get("/readyz").is_ok_and(|reply| reply.status == expected && reply.fault().is_none()) {
                    return Some(begun.elapsed().as_secs_f64());
                }
                thread::sleep(Duration::from_millis(20));
            }
            None
        };
        let tried = (0..rounds).try_for_each(|_| {
            thread::sleep(Duration::from_millis(1500));
            disk.fill()?;
            noticed += usize::from(ready(503).is_some());
            thread::sleep(Duration::from_millis(1500));
            let again = client.get(stored.header("location"))?;
            read += usize::from(again.status == 200 && again.body == stored.body);
            disk.free()?;
            if let Some(took_s) = ready(200) {
                ready_again += 1;
                longest_s = longest_s.max(took_s);
            }
            Ok::<_, String>(())
        });
        asking.over.store(true, Ordering::SeqCst);
        tried
    });
    tried?;
    let known = asking.known.into_inner().unwrap_or_else(PoisonError::into_inner);
    table.count("a full disk: filled, and /readyz said 503", noticed, rounds);
    table.count("a full disk: what was stored before is read", read, rounds);
    table.count("a full disk: freed, and ready again", ready_again, rounds);
    table.told("a full disk: longest until ready again, s", format!("{longest_s:.2}"));
    table.at_least("a full disk: failures of the store in the log", service.logged("store failed"), rounds);
    held("a full disk", &known, service, &disk.data(), table)?;

    // As much asked, with room.
    let data = TempDir::new().map_err(|e| e.to_string())?;
    let service = Service::start_on(data.path(), &["--jobs", JOBS], &[])?;
    for number in 0..6 {
        post(&service.client(), number)?;
    }
    table.count("control: failures of the store where there is room", service.logged("store failed"), 0);
    Ok(())
}

/// Kills it, and holds what a new one has against what was acknowledged.
fn held(when: &str, known: &Known, mut service: Service, data: &Path, table: &mut Table) -> Result<(), String> {
    service.end();
    table.none(&format!("{when}: panics"), &service.lines_with("panicked", usize::MAX));
    let service = Service::start_on(data, &[], &[])?;
    let verdict = known.judged(&service.client())?;
    table.told(&format!("{when}: works acknowledged"), known.accepted.len());
    table.told(&format!("{when}: works refused until later"), known.refused);
    table.none(&format!("{when}: answers that may not be"), &known.strange);
    table.none(&format!("{when}: acknowledged and lost"), &verdict.lost);
    table.none(&format!("{when}: acknowledged and wrong"), &verdict.wrong);
    Ok(())
}

/// Every so many writes fail, and every so many syncs, of each thread of a service that strace has in hand: seldom enough that a
/// turn of a job comes further than the one before.
const INJECTED: [&str; 2] = ["inject=pwrite64:error=EIO:when=400+331", "inject=fdatasync:error=EIO:when=60+53"];

fn failing(works: u64, table: &mut Table) -> Result<(), String> {
    let data = TempDir::new().map_err(|e| e.to_string())?;
    let mut strace = vec!["strace", "-f", "-D", "-qq", "-o", "/dev/null", "-e", "trace=pwrite64,fdatasync"];
    INJECTED.iter().for_each(|injected| strace.extend(["-e", injected]));
    let service = Service::start_under(&strace, data.path(), &[], &[])?;
    let (client, mut known) = (service.client(), Known::default());
    // Which thread makes how many calls is the system's: where they are well mixed it takes more works until a call fails.
    for number in (0..20 * works).take_while(|number| *number < works || service.logged("store failed") == 0) {
        known.note(number, post(&client, number)?);
    }
    // Jobs go on while it fails.
    for id in known.accepted.values() {
        client.ended(id)?;
    }
    table.at_least("errors of the disk: failures of the store in the log", service.logged("store failed"), 1);
    held("errors of the disk", &known, service, data.path(), table)
}
