//! The restore drill: a club's server under load is killed, its folder lost, a backup restored
//! elsewhere, and phones refill what the backup lacks. Counts every set that was acknowledged, before
//! and after. Knows the server only as a program and its address.

pub mod ground;

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::model::name::DocName;
use backstraight_ffi::error::PhoneError;
use backstraight_ffi::phone::{Clock as _, SystemClock};
use backstraight_ffi::transport::Http;
use serde::Serialize;
use serde_json::Value;

use crate::demo::stage::Trouble;
use crate::drill::ground::{Ground, json};
use crate::rng::Rng;
use crate::stand::Handset;

/// What a drill is done with.
#[derive(Debug, Clone, Copy)]
pub struct Size {
    /// Athletes, each with a phone.
    pub phones: usize,
    /// Sets that each logs before the backup, and again after it.
    pub sets: i64,
}

/// What came of it.
#[derive(Debug, Serialize)]
pub struct Tally {
    /// On what.
    pub store: &'static str,
    /// Phones.
    pub phones: usize,
    /// Sets that the server had acknowledged when it was killed.
    pub acknowledged: usize,
    /// Of these, sets that were in the backup.
    pub from_backup: usize,
    /// Of these, sets that phones sent again.
    pub from_phones: usize,
    /// Of these, sets that are gone.
    pub lost: usize,
    /// Sets that were called saved but were not acknowledged, because the server died or there was no
    /// signal.
    pub not_acknowledged: usize,
    /// Of these, sets that are gone.
    pub not_acknowledged_lost: usize,
    /// What the check of the restored server found.
    pub trouble: u64,
    /// Bytes of the backup.
    pub backup_bytes: u64,
    /// Time to write the backup while the server ran, ms.
    pub backup_ms: u128,
    /// Time to verify and restore it, ms.
    pub restore_ms: u128,
    /// Time until the restored server answered, ms.
    pub start_ms: u128,
    /// Time until all phones had refilled it, ms.
    pub refill_ms: u128,
}

impl Tally {
    /// Whether nothing is lost.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.lost == 0
            && self.not_acknowledged_lost == 0
            && self.trouble == 0
            && self.from_backup + self.from_phones == self.acknowledged
            && self.from_backup > 0
            && self.from_phones > 0
    }
}

/// A phone with what it called saved.
struct Logger {
    handset: Handset,
    name: DocName,
    saved: BTreeMap<Key, i64>,
    acknowledged: BTreeMap<Key, i64>,
    /// What the server that was lost had acknowledged.
    owed: BTreeMap<Key, i64>,
}

impl Logger {
    fn log(&mut self, rng: &mut Rng, sets: i64, url: Option<&str>) -> Result<(), Trouble> {
        let mut session = self.handset.begin();
        let first = i64::try_from(self.saved.len()).unwrap_or(0);
        for n in first..first + sets {
            let (key, _) = self.handset.set(&mut session, 1 + n)?;
            self.saved.insert(key, 1 + n);
            if let Some(url) = url.filter(|_| rng.once_in(6)) {
                self.exchange(url)?;
            }
        }
        match url {
            Some(url) => self.exchange(url),
            None => Ok(()),
        }
    }

    /// What is not in the list of what was not sent is acknowledged.
    fn exchange(&mut self, url: &str) -> Result<(), Trouble> {
        self.handset.phone.exchange(&mut Http::new(url))?;
        if self.handset.phone.unsent()?.is_empty() {
            self.acknowledged.clone_from(&self.saved);
        }
        Ok(())
    }
}

/// A serving process.
struct Served {
    child: Child,
    url: String,
}

impl Served {
    fn start(ground: &dyn Ground) -> Result<Served, Trouble> {
        let mut command = ground.command(&["serve", "--listen", "127.0.0.1:0"]);
        let mut child = command.stderr(Stdio::piped()).stdout(Stdio::null()).spawn()?;
        let mut log = BufReader::new(child.stderr.take().ok_or("no log")?);
        let mut line = String::new();
        loop {
            line.clear();
            if log.read_line(&mut line)? == 0 {
                return Err("the server ended before it served".into());
            }
            let said: Value = serde_json::from_str(&line)?;
            if let Some(address) = said.get("address").and_then(Value::as_str) {
                let url = format!("http://{address}");
                std::thread::spawn(move || log.lines().for_each(drop));
                return Ok(Served { child, url });
            }
        }
    }

    /// SIGKILL: nothing of the process runs after it.
    fn kill(&mut self) -> Result<(), Trouble> {
        self.child.kill()?;
        self.child.wait()?;
        Ok(())
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

fn text(value: &Value, name: &str) -> Result<String, Trouble> {
    Ok(value.get(name).and_then(Value::as_str).ok_or_else(|| format!("no {name} in {value}"))?.to_owned())
}

fn now() -> Moment {
    SystemClock { zone_minutes: 0 }.now()
}

/// Runs a drill in `dir`, telling what happens.
///
/// # Errors
/// When a step cannot be done. That something is lost is no error but in the tally.
pub fn run(
    ground: &mut dyn Ground,
    dir: &Path,
    size: Size,
    seed: u64,
    say: &mut dyn FnMut(&str),
) -> Result<Tally, Trouble> {
    let club = json(ground.command(&["club", "add", "Cinder Lane", "--json"]))?;
    let club = text(&club, "id")?;
    let mut served = Served::start(ground)?;
    say(&format!("A server runs on {}; {} phones enrol.", ground.place(), size.phones));
    let mut loggers = Vec::new();
    for n in 0..size.phones {
        let handset = enrol(ground, &club, &served.url, "athlete", &dir.join(format!("phone-{n}")))?;
        let name = handset.log();
        loggers.push(Logger {
            handset,
            name,
            saved: BTreeMap::new(),
            acknowledged: BTreeMap::new(),
            owed: BTreeMap::new(),
        });
    }
    all(&mut loggers, seed, |logger, rng| logger.log(rng, size.sets, Some(&served.url)))?;
    say("They log and exchange; a backup is written meanwhile.");
    let backup = dir.join("club.backup");
    let (mut written, mut backup_ms) = (Value::Null, 0);
    let writing = AtomicBool::new(true);
    std::thread::scope(|scope| -> Result<(), Trouble> {
        let load = scope.spawn(|| {
            all(&mut loggers, seed ^ 1, |logger, rng| {
                let mut rounds = 0;
                while writing.load(Ordering::SeqCst) || rounds == 0 {
                    logger.log(rng, 2, Some(&served.url))?;
                    rounds += 1;
                }
                Ok(())
            })
        });
        let begun = Instant::now();
        let done = json(ground.command(&["backup", "--json", "--to", &backup.to_string_lossy()]));
        backup_ms = begun.elapsed().as_millis();
        writing.store(false, Ordering::SeqCst);
        written = done?;
        load.join().map_err(|_| "a phone broke down")?
    })?;
    say("They go on; a quarter of the phones is in a cellar.");
    let url = served.url.clone();
    all(&mut loggers, seed ^ 2, |logger, rng| {
        let signal = !rng.once_in(4);
        logger.log(rng, size.sets, signal.then_some(url.as_str()))
    })?;
    say(&format!("In the middle of it the server is killed; lost with it: {}.", ground.place()));
    std::thread::scope(|scope| -> Result<(), Trouble> {
        let load = scope.spawn(|| {
            all(&mut loggers, seed ^ 3, |logger, rng| {
                // Until the server is gone; then sets go on being saved.
                for _ in 0..10_000 {
                    match logger.log(rng, 1, Some(&url)) {
                        Ok(()) => {}
                        Err(e) if e.downcast_ref::<PhoneError>().is_some() => break,
                        Err(e) => return Err(e),
                    }
                }
                logger.log(rng, 1, None)
            })
        });
        std::thread::sleep(Duration::from_millis(300));
        served.kill()?;
        load.join().map_err(|_| "a phone broke down")?
    })?;
    ground.lose()?;
    for logger in &mut loggers {
        logger.owed.clone_from(&logger.acknowledged);
    }
    let acknowledged: usize = loggers.iter().map(|l| l.owed.len()).sum();
    let saved: usize = loggers.iter().map(|l| l.saved.len()).sum();
    say(&format!("{saved} sets were called saved, {acknowledged} of them acknowledged."));

    let begun = Instant::now();
    ground.restore(&backup)?;
    let restore_ms = begun.elapsed().as_millis();
    let begun = Instant::now();
    let served = Served::start(ground)?;
    let start_ms = begun.elapsed().as_millis();
    say("The backup is restored elsewhere, and served. What is in it:");
    let mut desk = enrol(ground, &club, &served.url, "coach", &dir.join("desk-before"))?;
    desk.exchange(&served.url);
    let from_backup = count(&mut desk, &loggers)?.0;
    say(&format!("   {from_backup} of the acknowledged sets"));
    let begun = Instant::now();
    all(&mut loggers, seed ^ 4, |logger, _| {
        logger.exchange(&served.url)?;
        logger.exchange(&served.url)
    })?;
    let refill_ms = begun.elapsed().as_millis();
    let mut desk = enrol(ground, &club, &served.url, "coach", &dir.join("desk-after"))?;
    desk.exchange(&served.url);
    let (there, others) = count(&mut desk, &loggers)?;
    say(&format!("Phones refill it: {} come back from them.", there - from_backup));
    let checked = json(ground.command(&["check", "--json"]))?;
    let trouble = checked.get("trouble").and_then(Value::as_array).map_or(1, |t| t.len() as u64);
    let not_acknowledged = saved - acknowledged;
    Ok(Tally {
        store: ground.name(),
        phones: size.phones,
        acknowledged,
        from_backup,
        from_phones: there - from_backup,
        lost: acknowledged - there,
        not_acknowledged,
        not_acknowledged_lost: not_acknowledged - others,
        trouble,
        backup_bytes: written.get("bytes").and_then(Value::as_u64).unwrap_or(0),
        backup_ms,
        restore_ms,
        start_ms,
        refill_ms,
    })
}

fn enrol(ground: &dyn Ground, club: &str, url: &str, role: &str, dir: &Path) -> Result<Handset, Trouble> {
    let person =
        json(ground.command(&["person", "add", "Somebody", "--club", club, "--role", role, "--json"]))?;
    let invite = json(ground.command(&["invite", &text(&person, "id")?, "--json"]))?;
    Ok(Handset::enrol(url, &text(&invite, "code")?, dir, now()))
}

/// How many of the acknowledged sets a desk has, and of the other saved ones, each with its number.
fn count(desk: &mut Handset, loggers: &[Logger]) -> Result<(usize, usize), Trouble> {
    let (mut acknowledged, mut others) = (0, 0);
    let here = desk.phone.documents()?;
    for logger in loggers {
        if !here.contains(&logger.name) {
            continue;
        }
        let sets = desk.sets(logger.name);
        for (key, n) in &logger.saved {
            let there = usize::from(sets.get(key) == Some(n));
            if logger.owed.contains_key(key) { acknowledged += there } else { others += there }
        }
    }
    Ok((acknowledged, others))
}

/// Lets all phones do something, some at the same time.
fn all(
    loggers: &mut [Logger],
    seed: u64,
    work: impl Fn(&mut Logger, &mut Rng) -> Result<(), Trouble> + Sync,
) -> Result<(), Trouble> {
    let threads = 4;
    let each = loggers.len().div_ceil(threads).max(1);
    std::thread::scope(|scope| {
        let running: Vec<_> = loggers
            .chunks_mut(each)
            .enumerate()
            .map(|(n, some)| {
                let work = &work;
                scope.spawn(move || -> Result<(), Trouble> {
                    let mut rng = Rng::new(seed.wrapping_add(n as u64 * 7919));
                    some.iter_mut().try_for_each(|logger| work(logger, &mut rng))
                })
            })
            .collect();
        running.into_iter().try_for_each(|thread| thread.join().map_err(|_| "a phone broke down")?)
    })
}
