//! The projector: keeps the board's rows in step with the documents. An exchange marks what it made
//! stale in its own transaction; here the marks are claimed, the rows made anew, and written in one
//! transaction with the end of the job. Broken off anywhere it is done again, to the same end.

mod athlete;
mod keep;

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use backstraight_core::base::id::{ClubId, PersonId, SquadId};
use backstraight_core::model::log::{CheckIn, Trial};
use backstraight_core::model::name::DocName;
use backstraight_core::model::plan::Member;
use backstraight_core::view::board::Rules;
use backstraight_core::view::done::Done;
use backstraight_core::view::library::Library;
use tokio::sync::{Notify, watch};
use uuid::Uuid;

use crate::app::{Clock, Shared};
use crate::grant::MayReview;
use crate::review::{open, open_doc};
use crate::secret;
use crate::store::board::{self, Change, MarkKind};
use crate::store::job::{self, Claim};
use crate::store::news::{Heard, Subscription, Told};
use crate::store::{Db, Store, StoreError, document, people};

/// The form of the rows. Another one than a database has: all of its rows are made anew.
pub const FORM: u32 = 5;
/// Jobs that are claimed at once.
const AT_ONCE: u32 = 16;
/// How long the background waits when nothing wakes it: other processes mark rows too.
const PAUSE: Duration = Duration::from_secs(2);

/// What tells the projector that there is work, and readers that some was done.
#[derive(Debug)]
pub struct Signals {
    work: Notify,
    done: watch::Sender<u64>,
}

impl Default for Signals {
    fn default() -> Signals {
        Signals { work: Notify::new(), done: watch::Sender::new(0) }
    }
}

impl Signals {
    /// Says that something was marked.
    pub fn wake(&self) {
        self.work.notify_one();
    }

    /// Says that somebody, here or in another process, finished work.
    pub fn finished(&self) {
        self.done.send_modify(|n| *n += 1);
    }

    /// Hears of finished work from now on.
    #[must_use]
    pub fn listen(&self) -> watch::Receiver<u64> {
        self.done.subscribe()
    }
}

/// New rows of one job, read but not yet written.
#[derive(Debug)]
pub enum Draft {
    /// Of an athlete.
    Athlete(Box<Change>),
    /// Of a squad: members with their event group.
    Squad(SquadId, BTreeMap<PersonId, Option<String>>),
    /// Of a library: what it says about judging, as kept.
    Club(Vec<u8>),
}

/// Reads what a job needs.
///
/// # Errors
/// When storage fails or a document cannot be opened.
pub fn draft(db: &Db, claim: &Claim) -> Result<Draft, StoreError> {
    let owner = Uuid::from_bytes(claim.owner);
    if owner == claim.club.0 {
        let library = open(db, &DocName::Library(claim.club))?.map(|d| Library::of(&d)).unwrap_or_default();
        return Ok(Draft::Club(keep::keep_rules(&Rules::of(&library))));
    }
    let squad = SquadId(owner);
    if people::squad_exists(db, squad)? {
        let mut members: BTreeMap<PersonId, Option<String>> = BTreeMap::new();
        for doc in document::owned(db, claim.owner)? {
            for member in open_doc(db, &doc)?.records::<Member>("members").live() {
                let events = member.record.events.as_ref().map(ToString::to_string);
                let was = members.entry(member.record.athlete).or_default();
                *was = events.or_else(|| was.take());
            }
        }
        return Ok(Draft::Squad(squad, members));
    }
    Ok(Draft::Athlete(Box::new(athlete::change(db, claim, PersonId(owner))?)))
}

/// Writes what was read and ends the job; whether it was still this worker's.
///
/// # Errors
/// When storage fails.
pub fn finish(db: &Db, claim: &Claim, draft: &Draft, clock: &Clock) -> Result<bool, StoreError> {
    match draft {
        Draft::Athlete(change) => board::write(db, claim, change, clock.now()),
        Draft::Squad(squad, members) => board::write_squad(db, claim, *squad, members),
        Draft::Club(rules) => board::write_club(db, claim, rules, clock.now()),
    }
}

/// Carries one claimed job out. A job that cannot be done is put off, so that it holds up no other.
///
/// # Errors
/// When storage fails for good.
pub fn one(store: &Store, claim: Claim, clock: &Clock) -> Result<bool, StoreError> {
    Ok(several(store, vec![claim], clock)? > 0)
}

/// Carries several claimed jobs out with one write for all of them: for a rebuild, where nobody waits
/// for a single one. How many were still this worker's.
fn several(store: &Store, claims: Vec<Claim>, clock: &Clock) -> Result<u64, StoreError> {
    let (mut drafts, mut put_off) = (Vec::new(), Vec::new());
    for claim in claims {
        match store.read_blocking(|db| draft(db, &claim)) {
            Ok(draft) => drafts.push((claim, draft)),
            Err(StoreError::Damaged(text)) => {
                tracing::error!(text, "rows of the board cannot be made anew");
                put_off.push(claim);
            }
            Err(error) => return Err(error),
        }
    }
    let clock = clock.clone();
    // Who is judged by other rules now is not a question of single rows.
    let alone = drafts.iter().any(|(_, draft)| matches!(draft, Draft::Club(_)));
    let write = move |db: &Db| {
        let mut done = 0;
        for (claim, draft) in &drafts {
            done += u64::from(finish(db, claim, draft, &clock)?);
        }
        for claim in &put_off {
            job::put_off(db, claim, clock.now())?;
        }
        Ok(done)
    };
    if alone { store.write_blocking(write) } else { store.write_beside_blocking(write) }
}

fn claim(store: &Store, clock: &Clock) -> Result<Vec<Claim>, StoreError> {
    let now = clock.now();
    // Looking costs no flush to the disk; claiming does.
    if !store.read_blocking(|db| job::waiting(db, now))? {
        return Ok(Vec::new());
    }
    let by = secret::random();
    store.write_beside_blocking(move |db| job::claim(db, AT_ONCE, by, now))
}

/// Marks everything when the rows have another form than this program's.
///
/// # Errors
/// When storage fails.
pub fn prepare(store: &Store, clock: &Clock) -> Result<(), StoreError> {
    if store.read_blocking(board::form)? == Some(FORM) {
        return Ok(());
    }
    let now = clock.now();
    store.write_blocking(move |db| {
        job::mark_all(db, None, now)?;
        board::set_form(db, FORM)
    })
}

/// What a run of [`catch_up`] came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Caught {
    /// Jobs that were done.
    pub done: u64,
    /// Jobs that are left: somebody else works on them, or they cannot be done.
    pub left: u64,
}

/// Does all that waits, with so many threads; tells `progress` how many are done and left. Blocks.
///
/// # Errors
/// When storage fails.
pub fn catch_up(
    store: &Store,
    clock: &Clock,
    threads: usize,
    progress: &(dyn Fn(Caught) + Sync),
) -> Result<Caught, StoreError> {
    let done = std::sync::atomic::AtomicU64::new(0);
    let left = || store.read_blocking(job::count);
    std::thread::scope(|scope| {
        let work = || -> Result<(), StoreError> {
            loop {
                let claims = claim(store, clock)?;
                if claims.is_empty() {
                    return Ok(());
                }
                let claimed = claims.len() as u64;
                several(store, claims, clock)?;
                let done = done.fetch_add(claimed, std::sync::atomic::Ordering::Relaxed) + claimed;
                progress(Caught { done, left: left()? });
            }
        };
        let workers: Vec<_> = (1..threads.max(1)).map(|_| scope.spawn(work)).collect();
        let mut outcome = work();
        for worker in workers {
            let theirs = worker
                .join()
                .unwrap_or_else(|_| Err(StoreError::Damaged("making rows anew panicked".to_owned())));
            outcome = outcome.and(theirs);
        }
        outcome
    })?;
    Ok(Caught { done: done.into_inner(), left: left()? })
}

/// Does what is marked, as soon as it is, until it is dropped.
pub async fn in_the_background(app: Shared) {
    // Of a database that others serve too the leases may be theirs: those of the dead end by themselves.
    let released = if app.store.shared() { Ok(()) } else { app.store.write(job::release_all).await };
    let (store, clock) = (Arc::clone(&app.store), app.clock.clone());
    let prepared = tokio::task::spawn_blocking(move || prepare(&store, &clock)).await;
    if released.is_err() || !matches!(prepared, Ok(Ok(()))) {
        tracing::warn!("the board's rows could not be looked at");
    }
    loop {
        if app.store.stopped() {
            return;
        }
        let (store, clock) = (Arc::clone(&app.store), app.clock.clone());
        let claims = tokio::task::spawn_blocking(move || claim(&store, &clock)).await;
        let claims = match claims {
            Ok(Ok(claims)) => claims,
            Ok(Err(error)) => {
                tracing::warn!(%error, "the board's rows wait");
                Vec::new()
            }
            Err(_) => Vec::new(),
        };
        if claims.is_empty() {
            drop(tokio::time::timeout(PAUSE, app.signals.work.notified()).await);
            continue;
        }
        for claim in claims {
            let Ok(_permit) = app.work.acquire().await else { return };
            let (store, clock) = (Arc::clone(&app.store), app.clock.clone());
            match tokio::task::spawn_blocking(move || one(&store, claim, &clock)).await {
                Ok(Ok(_)) => app.signals.finished(),
                Ok(Err(error)) => tracing::warn!(%error, "rows of the board were not made anew"),
                Err(_) => tracing::error!("making rows of the board anew panicked"),
            }
        }
    }
}

/// Takes what other processes say for a signal of this one, until it is dropped: there is work, or
/// somebody has finished some.
pub async fn hear_of_others(app: Shared, mut news: Subscription) {
    while let Some(heard) = news.next().await {
        match heard {
            Heard::Told(Told::Document(..)) => app.signals.wake(),
            Heard::Told(Told::Rows(_)) => app.signals.finished(),
            Heard::Told(Told::People(_)) => {}
            Heard::Missed => {
                app.signals.wake();
                app.signals.finished();
            }
        }
    }
}

/// Marks everything of one club or of all and does it; for the machine. Blocks.
///
/// # Errors
/// When storage fails.
pub fn rebuild(
    store: &Store,
    club: Option<ClubId>,
    clock: &Clock,
    threads: usize,
    progress: &(dyn Fn(Caught) + Sync),
) -> Result<Caught, StoreError> {
    let now = clock.now();
    store.write_blocking(move |db| {
        job::mark_all(db, club, now)?;
        board::set_form(db, FORM)
    })?;
    // A server at work may hold some of them: wait for it, or for its lease to end.
    let patience = Duration::from_secs(u64::try_from(job::LEASE / 1000).unwrap_or(30) + 5);
    catch_up_with_others(store, clock, threads, patience, progress)
}

/// The same as [`catch_up`], and waits a while for what other workers hold.
///
/// # Errors
/// When storage fails.
pub fn catch_up_with_others(
    store: &Store,
    clock: &Clock,
    threads: usize,
    patience: Duration,
    progress: &(dyn Fn(Caught) + Sync),
) -> Result<Caught, StoreError> {
    let begun = std::time::Instant::now();
    let mut whole = Caught::default();
    loop {
        let caught = catch_up(store, clock, threads, progress)?;
        whole = Caught { done: whole.done + caught.done, left: caught.left };
        if store.read_blocking(job::count_soon)? == 0 || begun.elapsed() >= patience {
            return Ok(Caught { left: store.read_blocking(job::count)?, ..whole });
        }
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// All test trials and weighings of an athlete, without opening a document.
///
/// # Errors
/// When storage fails, or what is kept is another version's (then a rebuild is under way).
pub fn marks(db: &Db, grant: &MayReview, athlete: PersonId) -> Result<Done, StoreError> {
    let mut done = Done::default();
    let damaged = |e: keep::KeepError| StoreError::Damaged(e.to_string());
    for mark in board::marks(db, grant, athlete)? {
        match mark.kind {
            MarkKind::Trial => {
                done.trials.push(keep::read_record::<Trial>("trials", &mark.kept).map_err(damaged)?);
            }
            MarkKind::CheckIn => {
                done.checkins.push(keep::read_record::<CheckIn>("checkins", &mark.kept).map_err(damaged)?);
            }
        }
    }
    Ok(Done::join([done]))
}
