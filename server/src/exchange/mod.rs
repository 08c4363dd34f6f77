//! The exchange on the server's side: look up what the caller may do, check what was sent, append
//! what passed in one transaction, and only then answer with what the device lacks.

mod answer;
pub mod at_once;
pub mod carried;
pub mod gzip;
pub mod index;
pub mod turns;
mod upload;

use std::collections::{HashMap, HashSet};
use std::ops::RangeInclusive;
use std::sync::Arc;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::ChangeHash;
use backstraight_core::doc::gate::GateIndex;
use backstraight_core::exchange::access::Subject;
use backstraight_core::exchange::carry::Parcel;
use backstraight_core::exchange::wire::{self, Down, Outcome, PROTOCOL, Up};
use backstraight_core::model::name::DocName;
use minicbor::bytes::ByteVec;
use uuid::Uuid;

use crate::app::{App, Shared};
use crate::grant::{self, Access, Caller};
use crate::problem::Problem;
use crate::store::document::{self, Append};
use crate::store::heard::{self, Word};
use crate::store::{self, Db, Epoch, StoreError, erased};
use at_once::Edit;
use carried::{Carrier, HandedIn};
use upload::{Case, Checked};

/// How often a document that somebody else wrote to in between is checked again.
const ATTEMPTS: u32 = 8;

/// One document of a request, on its way through.
#[derive(Debug)]
struct Item {
    name: DocName,
    cursor: u64,
    heads: Vec<ChangeHash>,
    access: Access,
    subject: Option<Subject>,
    /// What was sent, unpacked; let go once it was appended.
    plain: Option<Vec<u8>>,
    sent: bool,
    /// Whether it was erased for good.
    erased: bool,
    /// Changes that need not be sent back.
    own: HashSet<ChangeHash>,
    /// The chunks that hold nothing but what was sent just now.
    own_chunks: Option<RangeInclusive<u64>>,
    outcome: Outcome,
}

impl Item {
    /// A document that the device did not list.
    fn unlisted(name: DocName) -> Item {
        Item {
            name,
            cursor: 0,
            heads: Vec::new(),
            access: Access::None,
            subject: None,
            plain: None,
            sent: false,
            erased: false,
            own: HashSet::new(),
            own_chunks: None,
            outcome: Outcome::Accepted,
        }
    }
}

/// A request, on its way through.
#[derive(Debug)]
struct Work {
    caller: Caller,
    items: Vec<Item>,
    /// The store's epoch when the request came.
    epoch: Epoch,
    /// Cursors are believed only under the present epoch.
    same_epoch: bool,
    /// Whether this is all that the device has: it knows which store it speaks with, and nothing is left on it.
    whole: bool,
    local_day: String,
    people: Option<u64>,
    /// What others wrote and the device took along, and what became of it.
    carried: Option<Vec<Parcel>>,
    handed_in: Vec<HandedIn>,
}

/// Carries a request out. `read` makes the request from its body, `finish` the body from the answer;
/// both run where it is allowed to compute.
///
/// # Errors
/// When the body is no request, or storage cannot make it durable: then nothing was acknowledged.
pub async fn run<T: Send + 'static>(
    app: &Shared,
    caller: Caller,
    read: impl FnOnce() -> Result<Up, Problem> + Send + 'static,
    finish: impl FnOnce(Down) -> T + Send + 'static,
) -> Result<T, Problem> {
    if app.store.stopped() {
        return Err(Problem::StorageStopped);
    }
    let _place = app.load.enter()?;
    let mut work = compute(app, move |app| {
        let up = read()?;
        app.store.read_blocking(|db| open(db, app, caller, up))?
    })
    .await?;
    let written = work.items.iter().filter(|item| item.plain.is_some()).map(|item| item.name);
    let turns = app.turns.take(written).await;
    let now = app.clock.now();
    let mut first = true;
    for attempt in 0.. {
        let (checked, appends) = compute(app, move |app| {
            let mut work = work;
            let fresh = app.store.read_blocking(|db| check(db, app, &mut work))?;
            Ok((work, fresh))
        })
        .await?;
        work = checked;
        if !appends.is_empty() && attempt == ATTEMPTS {
            return Err(Problem::Busy);
        }
        // An athlete was heard from, whether or not anything was sent.
        let note = std::mem::take(&mut first);
        if appends.is_empty() && (!note || work.caller.asker.role.coaches()) {
            break;
        }
        let (caller, local_day, epoch) = (work.caller, work.local_day.clone(), work.epoch);
        let taken = work.items.iter().all(|item| item.outcome == Outcome::Accepted);
        let whole = work.whole && taken;
        // Documents are taken in one order by every process, so that no two wait for each other.
        let mut appends = appends;
        appends.sort_unstable_by_key(|fresh| work.items.get(fresh.place).map(|item| item.name));
        let (adds, beside): (Vec<Vec<Append>>, Vec<(usize, GateIndex)>) =
            appends.into_iter().map(|f| (f.appends, (f.place, f.index))).unzip();
        let changes: Vec<u64> = adds.iter().map(|adds| adds.iter().map(|a| a.changes).sum()).collect();
        let written = app
            .store
            .write_beside(move |db| {
                let written: Result<Vec<_>, _> =
                    adds.iter().map(|adds| document::append_all(db, adds, now)).collect();
                // Last, because it may hold up others of the club until it is durable.
                if note {
                    let word = if whole { Word::Through(&local_day, epoch) } else { Word::Part };
                    heard::note(db, &caller, word, now)?;
                }
                written
            })
            .await?;
        if !beside.is_empty() {
            app.signals.wake();
        }
        let mut again = false;
        for (nth, (doc, (place, index))) in written.into_iter().zip(beside).enumerate() {
            let Some(item) = work.items.get_mut(place) else { continue };
            match doc {
                Some((doc, first)) => {
                    app.figures.acknowledged(changes.get(nth).copied().unwrap_or(0));
                    app.indexes.put(&doc, index);
                    item.own_chunks = Some(first..=doc.max_n);
                    item.plain = None;
                }
                None => again = true,
            }
        }
        if !again {
            break;
        }
    }
    drop(turns);
    if let Some(parcels) = work.carried.take() {
        work.handed_in = compute(app, move |app| {
            Ok(carried::take(&app.store, &app.indexes, Carrier::Device(&caller), &parcels, now)?)
        })
        .await?;
        app.signals.wake();
    }
    for item in work.items.iter().filter(|item| item.sent) {
        app.figures.exchanged(match &item.outcome {
            Outcome::Accepted => "accepted",
            Outcome::Need => "need",
            Outcome::Refused(refusal) => &refusal.code,
        });
    }
    compute(app, move |app| Ok(finish(app.store.read_blocking(|db| answer::compose(db, app, work))?))).await
}

/// Makes edits of a route for its caller. What the gate said of the one that it refused; nothing is stored then.
///
/// # Errors
/// When storage cannot make them durable.
pub async fn edit(app: &Shared, edits: Vec<Edit>) -> Result<Result<(), Outcome>, Problem> {
    if app.store.stopped() {
        return Err(Problem::StorageStopped);
    }
    let _place = app.load.enter()?;
    let now = app.clock.now();
    let done = compute(app, move |app| Ok(at_once::write(&app.store, &app.indexes, &edits, now)?)).await?;
    app.signals.wake();
    Ok(done)
}

/// Runs work that computes, away from the threads that serve connections, and not too much at once.
async fn compute<T: Send + 'static>(
    app: &Shared,
    work: impl FnOnce(&App) -> Result<T, Problem> + Send + 'static,
) -> Result<T, Problem> {
    let _permit = app.work.acquire().await.map_err(|_| Problem::Busy)?;
    let app = Arc::clone(app);
    let span = tracing::Span::current();
    tokio::task::spawn_blocking(move || span.in_scope(|| work(&app))).await.unwrap_or_else(|_| {
        tracing::error!("an exchange panicked");
        Err(Problem::Internal)
    })
}

/// Looks up what the caller may do with every document of a request, and unpacks what was sent.
fn open(db: &Db, app: &App, caller: Caller, up: Up) -> Result<Result<Work, Problem>, StoreError> {
    let most = usize::try_from(app.config.limits.document_changes).unwrap_or(usize::MAX);
    let mut rights = Rights::of(app, caller)?;
    let mut items = Vec::with_capacity(up.docs.len());
    let mut seen = HashSet::with_capacity(up.docs.len());
    for doc in &up.docs {
        // Both were read once when the request was taken apart.
        let (Ok(name), Ok(heads)) = (wire::name(&doc.name), wire::heads(&doc.heads)) else {
            return Ok(Err(Problem::Malformed));
        };
        if !seen.insert(name) {
            return Ok(Err(Problem::Field("documents")));
        }
        let (access, subject) = rights.on(db, name)?;
        let mut item = Item { cursor: doc.cursor, heads, access, subject, ..Item::unlisted(name) };
        if let Some(packed) = doc.changes.as_ref().filter(|c| !c.is_empty()) {
            item.sent = true;
            match access {
                Access::Write(..) => match upload::unpack(packed, most) {
                    Ok(plain) => item.plain = (!plain.is_empty()).then_some(plain),
                    Err(outcome) => item.outcome = outcome,
                },
                Access::None | Access::Read(_) => item.outcome = upload::not_yours(),
            }
        }
        // Of what is not there nothing is told, but that it was erased for good.
        if subject.is_none() && erased::is_erased(db, &name, caller.asker.club)? {
            item.erased = true;
            if item.sent {
                item.outcome = upload::erased();
            }
        }
        items.push(item);
    }
    let epoch = store::epoch(db)?;
    let same_epoch = up.epoch.as_ref().is_some_and(|e| e.as_slice() == epoch);
    let people = same_epoch.then_some(up.people);
    Ok(Ok(Work {
        caller,
        items,
        epoch,
        same_epoch,
        // Of another store's epoch it takes as sent what is not here. One that knows of none sends everything.
        whole: (same_epoch || up.epoch.is_none()) && up.left != Some(true),
        local_day: up.local_day.clone(),
        people,
        carried: up.carried,
        handed_in: Vec::new(),
    }))
}

/// What the caller may do with documents; owners are looked up once a request.
pub(crate) struct Rights {
    caller: Caller,
    today: Day,
    subjects: HashMap<(Uuid, bool), Option<Subject>>,
}

impl Rights {
    /// Of a caller, today.
    pub(crate) fn of(app: &App, caller: Caller) -> Result<Rights, StoreError> {
        let today =
            Day::of(app.clock.now(), 0).map_err(|e| StoreError::Damaged(format!("the clock: {e}")))?;
        Ok(Rights { caller, today, subjects: HashMap::new() })
    }

    /// On a document, and whose it is.
    pub(crate) fn on(&mut self, db: &Db, name: DocName) -> Result<(Access, Option<Subject>), StoreError> {
        // A club, a squad and a person could only share an identity by a mistake; then they differ here.
        let key = (name.owner(), name.athlete().is_some());
        let subject = match self.subjects.get(&key) {
            Some(known) => *known,
            None => {
                let found = document::subject(db, &name, Some(&self.caller.asker), self.today)?;
                self.subjects.insert(key, found);
                found
            }
        };
        let access = subject.map_or(Access::None, |s| grant::on_document(&self.caller, name, &s));
        Ok((access, subject))
    }
}

/// What passed for one document.
struct Fresh {
    place: usize,
    appends: Vec<Append>,
    index: GateIndex,
}

/// Checks every upload that is still to be written.
fn check(db: &Db, app: &App, work: &mut Work) -> Result<Vec<Fresh>, StoreError> {
    let mut fresh = Vec::new();
    for (place, item) in work.items.iter_mut().enumerate() {
        let (Some(plain), Some(subject), Access::Write(_, grant)) = (&item.plain, &item.subject, item.access)
        else {
            continue;
        };
        let doc = document::find(db, &item.name)?;
        let own = work.caller.install;
        let may = |install| Ok(install == own || upload::of_party(db, &item.name, subject, install)?);
        let case = Case { db, may: &may, grant, doc: doc.as_ref(), plain: plain.as_slice() };
        match upload::check(&case, &app.indexes)? {
            Checked::Done(outcome) => {
                // It was sent before and is sent again: the device has all of it.
                item.own = upload::names(plain);
                item.outcome = outcome;
                item.plain = None;
            }
            Checked::Fresh(appends, index) => {
                if appends.iter().map(|a| a.body.len()).sum::<usize>() != plain.len() {
                    item.own = upload::names(plain);
                }
                fresh.push(Fresh { place, appends, index: *index });
            }
        }
    }
    Ok(fresh)
}

fn blank(app: &App, epoch: Epoch) -> Down {
    Down {
        protocol: PROTOCOL,
        epoch: ByteVec::from(epoch.to_vec()),
        docs: Vec::new(),
        withdrawn: Vec::new(),
        people: None,
        more: false,
        clock: app.clock.now().0,
        carried: None,
        erased: None,
    }
}
