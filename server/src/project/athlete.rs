//! The new rows of one athlete, from the documents that moved on since the last time and from what is
//! kept of the others. Whether a session was done and how much of it is core's to say.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use backstraight_core::base::id::PersonId;
use backstraight_core::base::key::Key;
use backstraight_core::doc::open::Document;
use backstraight_core::doc::read::Entry;
use backstraight_core::doc::touched::Touched;
use backstraight_core::model::any;
use backstraight_core::model::log::{CheckIn, Trial};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::SeasonNo;
use backstraight_core::view::availability::{self, Said};
use backstraight_core::view::board::{self as view, Known, Review, Rules};
use backstraight_core::view::done::{Done, DoneSession};
use backstraight_core::view::judge::How;
use backstraight_core::view::library::Library;
use backstraight_core::view::planned::{Plan, PlannedSession};
use backstraight_core::view::plans::answers;
use backstraight_core::view::state::State;

use super::keep::{self, KeepError};
use crate::review::open_doc;
use crate::store::board::{
    self, Asked, Change, Counts, DocFacts, KeptMark, MarkKind, Part, RecordFacts, SessionRow,
};
use crate::store::document::{self, Doc};
use crate::store::job::Claim;
use crate::store::{Db, StoreError};

/// The root map of a log in which its sessions are.
const SESSIONS: &str = "sessions";

/// Makes the new rows of an athlete. Reads only; what it says counts for the state that it read.
///
/// # Errors
/// When storage fails or a document cannot be opened.
pub(super) fn change(db: &Db, claim: &Claim, athlete: PersonId) -> Result<Change, StoreError> {
    let docs = document::owned(db, claim.owner)?;
    let kept = match board::rules(db, claim.club)? {
        Some(kept) => kept,
        None => keep::keep_rules(&Rules::of(&Library::default())),
    };
    let rules = keep::read_rules(&kept).map_err(|e| StoreError::Damaged(e.to_string()))?;
    let stands = board::facts(db, athlete)?.is_some_and(|b| !claim.whole && b.rules == kept);
    let work = Work { db, athlete, docs: &docs, rules, kept };
    if stands && let Ok(change) = work.follow()? {
        return Ok(change);
    }
    work.anew()
}

struct Work<'a> {
    db: &'a Db,
    athlete: PersonId,
    docs: &'a [Doc],
    rules: Rules,
    kept: Vec<u8>,
}

/// A plan that was opened.
struct Opened {
    doc: i64,
    season: SeasonNo,
    plan: Plan,
}

impl Opened {
    fn has(&self, done: &DoneSession) -> bool {
        answers(self.season, done).is_some_and(|key| self.plan.session(key).is_some())
    }
}

impl Work<'_> {
    /// Everything from the documents.
    fn anew(&self) -> Result<Change, StoreError> {
        let plans = self.open(&self.docs.iter().collect::<Vec<_>>())?;
        let mut change = self.blank(true);
        let mut parts = Vec::new();
        for doc in self.docs {
            if speaks(doc) {
                let open = open_doc(self.db, doc)?;
                let done = Done::of([&open]);
                change.parts.push(part(doc, &open.all_records(), false, &done));
                change.available.extend(available(doc, &done));
                change.docs.push(facts(doc));
                parts.push(done);
            } else {
                change.docs.push(other(doc, &plans));
            }
        }
        let done = Done::join(parts);
        for opened in &plans {
            for planned in &opened.plan.sessions {
                change.asked.push(form(opened, planned));
                change.rows.push(self.row_in_plan(opened, planned, &done));
            }
        }
        for d in done.sessions.iter().filter(|d| !plans.iter().any(|p| p.has(d))) {
            self.extra(d, &mut change);
        }
        Ok(change)
    }

    /// Only what follows from documents that moved on.
    fn follow(&self) -> Result<Result<Change, KeepError>, StoreError> {
        let read = board::read_up_to(self.db, self.athlete)?;
        let dirty: Vec<&Doc> = self.docs.iter().filter(|d| read.get(&d.id) != Some(&d.max_n)).collect();
        let mut change = self.blank(false);
        let plans = self.open(&dirty)?;
        let mut affected = BTreeSet::new();
        let mut fresh_forms = BTreeSet::new();
        for opened in &plans {
            self.plan_changes(opened, &mut change, &mut affected, &mut fresh_forms)?;
        }
        let mut parts = Vec::new();
        let mut opened = BTreeMap::new();
        for doc in &dirty {
            if speaks(doc) {
                let (open, part, done) = self.read_on(doc, read.get(&doc.id).copied())?;
                affected.extend(board::spoken_of(self.db, doc.id, part.of.as_ref())?);
                affected.extend(part.records.iter().filter_map(|r| r.session.clone()));
                opened.insert(doc.id, (open, part.of.clone()));
                change.parts.push(part);
                change.available.extend(available(doc, &done));
                change.docs.push(facts(doc));
                parts.push(done);
            } else {
                change.docs.push(other(doc, &plans));
            }
        }
        let Some(others) = self.what_else_speaks(&affected, &opened)? else { return Ok(Err(KeepError)) };
        for (doc, records) in others {
            let done = match opened.get(&doc.id) {
                Some((Some(open), _)) => Done::of_records(open, &records),
                Some((None, _)) | None => Done::of_records(&open_doc(self.db, doc)?, &records),
            };
            let sessions = records.get(SESSIONS).into_iter().flatten();
            change.extras.extend(sessions.map(|key| (doc.id, key.clone())));
            parts.push(done);
        }
        let done = Done::join(parts);
        if let Err(error) = self.judge(&plans, &affected, &fresh_forms, &done, &mut change)? {
            return Ok(Err(error));
        }
        for d in &done.sessions {
            if !plans.iter().any(|p| p.has(d)) && !self.is_asked(&plans, d)? {
                self.extra(d, &mut change);
            }
        }
        Ok(Ok(change))
    }

    /// Judges the planned sessions among those affected; rows that stay as they are are left alone.
    fn judge(
        &self,
        plans: &[Opened],
        affected: &BTreeSet<Key>,
        fresh_forms: &BTreeSet<(i64, Key)>,
        done: &Done,
        change: &mut Change,
    ) -> Result<Result<(), KeepError>, StoreError> {
        for opened in plans {
            for planned in opened.plan.sessions.iter().filter(|p| affected.contains(&p.key())) {
                let row = self.row_in_plan(opened, planned, done);
                if fresh_forms.contains(&(opened.doc, row.session.clone())) {
                    change.rows.push(row);
                } else {
                    self.replace(row, change)?;
                }
            }
        }
        for key in affected {
            for asked in board::asked(self.db, self.athlete, key)? {
                let Some(season) = self.season_of(asked.doc) else { return Ok(Err(KeepError)) };
                if plans.iter().any(|p| p.doc == asked.doc) {
                    continue;
                }
                let planned = match keep::read(&asked.asked) {
                    Ok(planned) => planned,
                    Err(error) => return Ok(Err(error)),
                };
                let known = view::known(&planned, season, done, &|item| item.ex.clone(), &self.rules);
                self.replace(row(&planned, known, asked.doc), change)?;
            }
        }
        Ok(Ok(()))
    }

    /// Whether a plan that was not opened has the session that a session done says it followed.
    fn is_asked(&self, opened: &[Opened], done: &DoneSession) -> Result<bool, StoreError> {
        let Some(key) = &done.session.record.session else { return Ok(false) };
        let plans = board::asking(self.db, self.athlete, key)?;
        Ok(plans
            .into_iter()
            .filter(|doc| !opened.iter().any(|p| p.doc == *doc))
            .any(|doc| self.season_of(doc).is_some_and(|season| answers(season, done).is_some())))
    }

    /// Puts a row in the place of the one that is there, when it is another one.
    fn replace(&self, row: SessionRow, change: &mut Change) -> Result<(), StoreError> {
        let place = Asked { doc: row.doc, session: row.session.clone(), day: row.day, asked: Vec::new() };
        if board::planned_row(self.db, self.athlete, &place)?.as_ref() != Some(&row) {
            change.stale.push((place.doc, place.session));
            change.rows.push(row);
        }
        Ok(())
    }

    /// Which sessions of a plan ask something else than what is kept.
    fn plan_changes(
        &self,
        opened: &Opened,
        change: &mut Change,
        affected: &mut BTreeSet<Key>,
        fresh: &mut BTreeSet<(i64, Key)>,
    ) -> Result<(), StoreError> {
        let old = board::all_asked(self.db, opened.doc)?;
        let mut old: BTreeMap<Key, Asked> = old.into_iter().map(|a| (a.session.clone(), a)).collect();
        for planned in &opened.plan.sessions {
            let new = form(opened, planned);
            let was = old.remove(&new.session);
            if was.as_ref() == Some(&new) {
                continue;
            }
            affected.insert(new.session.clone());
            fresh.insert((new.doc, new.session.clone()));
            change.gone.extend(was.map(|w| (w.doc, w.session)));
            change.asked.push(new);
        }
        affected.extend(old.keys().cloned());
        change.gone.extend(old.into_keys().map(|key| (opened.doc, key)));
        Ok(())
    }

    fn blank(&self, whole: bool) -> Change {
        Change {
            athlete: self.athlete,
            whole,
            rules: self.kept.clone(),
            docs: Vec::new(),
            parts: Vec::new(),
            available: Vec::new(),
            gone: Vec::new(),
            asked: Vec::new(),
            stale: Vec::new(),
            extras: Vec::new(),
            rows: Vec::new(),
        }
    }

    /// Opens the plans among some documents.
    fn open(&self, docs: &[&Doc]) -> Result<Vec<Opened>, StoreError> {
        let mut plans = Vec::new();
        for doc in docs {
            if let DocName::Plan(_, season) = doc.name {
                plans.push(Opened { doc: doc.id, season, plan: Plan::of(&open_doc(self.db, doc)?) });
            }
        }
        Ok(plans)
    }

    fn season_of(&self, doc: i64) -> Option<SeasonNo> {
        self.docs.iter().find(|d| d.id == doc).and_then(|d| match d.name {
            DocName::Plan(_, season) => Some(season),
            _ => None,
        })
    }

    /// What a document says since it was read up to chunk `read`: the document, when it had to be opened.
    fn read_on(&self, doc: &Doc, read: Option<u64>) -> Result<(Option<Document>, Part, Done), StoreError> {
        // What may be trained is a handful of records.
        let fresh = match read.filter(|_| !matches!(doc.name, DocName::Availability(_))) {
            Some(read) => document::fresh(self.db, doc, read)?,
            None => None,
        };
        if let Some((apart, of)) =
            fresh.as_ref().and_then(|changes| Document::of_new_records(doc.name, changes))
            && !board::any_known(self.db, doc.id, &of)?
        {
            let done = Done::of_records(&apart, &of);
            return Ok((None, part(doc, &of, true, &done), done));
        }
        let open = open_doc(self.db, doc)?;
        let moved = fresh.and_then(|changes| open.touched(&changes));
        let done = moved.as_ref().map_or_else(|| Done::of([&open]), |of| Done::of_records(&open, of));
        let of = moved.as_ref().map_or_else(|| Cow::Owned(open.all_records()), Cow::Borrowed);
        let part = part(doc, &of, moved.is_some(), &done);
        Ok((Some(open), part, done))
    }

    /// What was not read yet and speaks of the same sessions. None when it is in a map of which this
    /// version does not know.
    fn what_else_speaks(
        &self,
        affected: &BTreeSet<Key>,
        read: &BTreeMap<i64, (Option<Document>, Option<Touched>)>,
    ) -> Result<Option<Vec<(&Doc, Touched)>>, StoreError> {
        let mut others: BTreeMap<i64, Touched> = BTreeMap::new();
        for session in affected {
            for (doc, name, record) in board::speak_of(self.db, self.athlete, session)? {
                let Some(of) = self.docs.iter().find(|d| d.id == doc) else { return Ok(None) };
                let Some(root) = any::root(of.name.kind(), &name).map(|r| r.name) else { return Ok(None) };
                let was_read = read.get(&doc).is_some_and(|(_, of)| {
                    of.as_ref().is_none_or(|of| of.get(root).is_some_and(|keys| keys.contains(&record)))
                });
                if !was_read {
                    others.entry(doc).or_default().entry(root).or_default().insert(record);
                }
            }
        }
        let of = |(id, records)| Some((self.docs.iter().find(|d| d.id == id)?, records));
        Ok(Some(others.into_iter().filter_map(of).collect()))
    }

    fn row_in_plan(&self, opened: &Opened, planned: &PlannedSession, done: &Done) -> SessionRow {
        let (plan, day) = (&opened.plan, planned.session.record.date);
        let known = view::known(planned, opened.season, done, &|i| plan.exercise_on(i, day), &self.rules);
        row(planned, known, opened.doc)
    }

    /// Adds a session that nobody asked.
    fn extra(&self, done: &DoneSession, change: &mut Change) {
        let Some(doc) = self.docs.iter().find(|d| d.name == done.doc) else { return };
        let day = done.session.record.date;
        let review = Review { date: day, planned: None, logs: vec![done], share: None, state: State::Extra };
        change.rows.push(of_review(&review, done.session.key(), doc.id));
    }
}

/// What is noted of a document that speaks of no session done.
fn other(doc: &Doc, plans: &[Opened]) -> DocFacts {
    let never = DocFacts { doc: doc.id, n: doc.max_n, counts: Counts::Never, met: 0, unreadable: 0 };
    match plans.iter().find(|p| p.doc == doc.id) {
        Some(Opened { plan, .. }) => DocFacts {
            counts: plan.last_day().map_or(Counts::Always, |last| Counts::Month(last.month())),
            met: plan.met.len(),
            unreadable: plan.unreadable.len(),
            ..never
        },
        None => never,
    }
}

/// Whether a document speaks of sessions done or of what may be trained.
fn speaks(doc: &Doc) -> bool {
    matches!(doc.name, DocName::Log(..) | DocName::Notes(..) | DocName::Availability(_))
}

/// What is noted of a document that does; the rest is summed up from what its records say.
fn facts(doc: &Doc) -> DocFacts {
    let counts = match doc.name {
        DocName::Log(_, month) | DocName::Notes(_, month) => Counts::Month(month),
        DocName::Availability(_) => Counts::Always,
        _ => Counts::Never,
    };
    DocFacts { doc: doc.id, n: doc.max_n, counts, met: 0, unreadable: 0 }
}

/// What an availability document says.
fn available(doc: &Doc, done: &Done) -> Option<(i64, Vec<Said>)> {
    matches!(doc.name, DocName::Availability(_)).then(|| (doc.id, availability::said(&done.availability)))
}

/// What was read of such a document, for the rows: of its records `of`, which are `some` or all.
fn part(doc: &Doc, of: &Touched, some: bool, done: &Done) -> Part {
    // Every record is noted, also one that says nothing of a session: so it is known to be there.
    let blank = |root, record: &Key| {
        let facts = RecordFacts { root, record: record.clone(), session: None, met: 0, unreadable: 0 };
        ((root, record.clone()), facts)
    };
    let mut said: BTreeMap<(&'static str, Key), RecordFacts> =
        of.iter().flat_map(|(root, keys)| keys.iter().map(|key| blank(*root, key))).collect();
    let mut of_record = |root, record: Key, note: &dyn Fn(&mut RecordFacts)| {
        let (place, facts) = blank(root, &record);
        note(said.entry(place).or_insert(facts));
    };
    for session in &done.sessions {
        let asked = &session.session.record.session;
        of_record(SESSIONS, session.session.key(), &|said| said.session.clone_from(asked));
    }
    for entered in &done.entered {
        of_record(entered.place.root, entered.key(), &|said| {
            said.session.clone_from(&entered.record.session);
        });
    }
    for excuse in &done.excuses {
        of_record(excuse.place.root, excuse.key(), &|said| {
            said.session = Some(excuse.record.session.clone());
        });
    }
    for place in done.met.iter().map(|m| &m.place) {
        place
            .keys
            .first()
            .into_iter()
            .for_each(|key| of_record(place.root, key.clone(), &|said| said.met += 1));
    }
    for place in done.unreadable.iter().map(|u| &u.place) {
        let key = place.keys.first().into_iter();
        key.for_each(|key| of_record(place.root, key.clone(), &|said| said.unreadable += 1));
    }
    let trial = |t: &Entry<Trial>| KeptMark {
        kind: MarkKind::Trial,
        record: t.key(),
        kept: keep::keep_record(&t.key(), &t.record),
    };
    let weighing = |c: &Entry<CheckIn>| KeptMark {
        kind: MarkKind::CheckIn,
        record: c.key(),
        kept: keep::keep_record(&c.key(), &c.record),
    };
    let weighed = done.checkins.iter().filter(|c| c.record.mass.is_some());
    Part {
        doc: doc.id,
        of: some.then(|| of.clone()),
        records: said.into_values().collect(),
        marks: done.trials.iter().map(trial).chain(weighed.map(weighing)).collect(),
    }
}

fn form(Opened { doc, plan, .. }: &Opened, planned: &PlannedSession) -> Asked {
    let (session, day) = (planned.key(), planned.session.record.date);
    Asked { doc: *doc, session, day, asked: keep::keep(plan, planned) }
}

fn row(planned: &PlannedSession, known: Known<'_>, doc: i64) -> SessionRow {
    let (left_out, verdict, logged) = (known.left_out, known.verdict, known.logged);
    let review = Review {
        date: planned.session.record.date,
        planned: Some(planned),
        logs: known.logs,
        share: known.share,
        // Not known without a day; no part of the row.
        state: State::Coming,
    };
    SessionRow { left_out, verdict, logged, ..of_review(&review, planned.key(), doc) }
}

fn of_review(review: &Review<'_>, session: Key, doc: i64) -> SessionRow {
    let (sets_done, sets_asked) = review.sets();
    let share = review.share.as_ref();
    let first = review.logs.first().map(|l| &l.session.record);
    SessionRow {
        day: review.date,
        extra: review.planned.is_none(),
        session,
        doc,
        title: review.title(),
        logged: None,
        left_out: false,
        verdict: None,
        share: share.and_then(|s| s.share),
        sets_done: sets_done as u64,
        sets_asked: u64::from(sets_asked),
        earlier: share.is_some_and(|s| s.earlier_version),
        swapped: share.map_or(0, |s| s.items.iter().filter(|i| i.how == How::Swapped).count()) as u64,
        done_on: review.done_on(),
        minutes: first.and_then(|s| s.minutes).map(|m| m.get()),
        effort: first.and_then(|s| s.effort).map(|e| e.get()),
    }
}
