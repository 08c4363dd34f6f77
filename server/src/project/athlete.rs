//! The new rows of one athlete, from the documents that moved on since the last time and from what is
//! kept of the others. Whether a session was done and how much of it is core's to say.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use backstraight_core::base::day::Day;
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
use backstraight_core::view::state::State;

use super::keep::{self, KeepError};
use crate::review::open_doc;
use crate::store::board::{
    self, Asked, AthleteFacts, Change, Counts, DocFacts, KeptMark, MarkKind, Part, RecordFacts, SessionRow,
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
    let before = board::facts(db, athlete)?.filter(|b| !claim.whole && b.rules == kept);
    let work = Work { db, athlete, docs: &docs, rules, kept };
    match before {
        Some(before) => match work.follow(&before)? {
            Ok(change) => Ok(change),
            Err(KeepError) => work.anew(),
        },
        None => work.anew(),
    }
}

struct Work<'a> {
    db: &'a Db,
    athlete: PersonId,
    docs: &'a [Doc],
    rules: Rules,
    kept: Vec<u8>,
}

/// The plan as far as it is needed: opened, or what is kept of it.
enum Asks {
    Opened { plan: Box<Plan>, doc: i64 },
    Kept { doc: i64 },
    None,
}

impl Work<'_> {
    /// Everything from the documents.
    fn anew(&self) -> Result<Change, StoreError> {
        let season = self.season();
        let asks = self.plan(season)?;
        let mut change = self.blank(season, true);
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
                change.docs.push(self.other(doc, &asks));
            }
        }
        let done = Done::join(parts);
        if let Asks::Opened { plan, doc } = &asks {
            change.facts.plan_to = last_day(plan);
            for planned in &plan.sessions {
                change.asked.push(form(plan, planned));
                change.rows.push(self.row_in_plan(plan, planned, season, &done, *doc));
            }
        }
        let in_plan = |key: &Key| match &asks {
            Asks::Opened { plan, .. } => plan.session(key).is_some(),
            Asks::Kept { .. } | Asks::None => false,
        };
        for d in &done.sessions {
            self.extra(d, season, &in_plan, &mut change);
        }
        Ok(change)
    }

    /// Only what follows from documents that moved on.
    fn follow(&self, before: &AthleteFacts) -> Result<Result<Change, KeepError>, StoreError> {
        let read = board::read_up_to(self.db, self.athlete)?;
        let dirty: Vec<&Doc> = self.docs.iter().filter(|d| read.get(&d.id) != Some(&d.max_n)).collect();
        let season = self.season();
        let mut change = self.blank(season, false);
        change.facts.plan_to = before.plan_to;
        let plan_moved = season != before.season || dirty.iter().any(|d| self.is_plan(d, season));
        let asks = match self.plan_doc(season) {
            Some(_) if plan_moved => self.plan(season)?,
            Some(doc) => Asks::Kept { doc: doc.id },
            None => Asks::None,
        };
        let mut affected = BTreeSet::new();
        let mut fresh_forms = BTreeSet::new();
        if plan_moved {
            self.plan_changes(&asks, &mut change, &mut affected, &mut fresh_forms)?;
            // A plan of another season counts no more.
            let plans = self.docs.iter().filter(|d| matches!(d.name, DocName::Plan(..)));
            change.docs.extend(plans.map(|d| self.other(d, &asks)));
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
            } else if !matches!(doc.name, DocName::Plan(..)) || !plan_moved {
                change.docs.push(self.other(doc, &asks));
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
        let mut kept = BTreeMap::new();
        let mut planned = BTreeSet::new();
        if matches!(asks, Asks::Kept { .. }) {
            for key in &affected {
                kept.insert(key.clone(), board::asked(self.db, self.athlete, key)?);
            }
            for key in done.sessions.iter().filter_map(|d| view::answers(season, d)) {
                if board::is_asked(self.db, self.athlete, key)? {
                    planned.insert(key.clone());
                }
            }
        }
        if let Err(error) = self.judge(&asks, &kept, &affected, &fresh_forms, (season, &done), &mut change)? {
            return Ok(Err(error));
        }
        let in_plan = |key: &Key| match &asks {
            Asks::Opened { plan, .. } => plan.session(key).is_some(),
            Asks::Kept { .. } => planned.contains(key),
            Asks::None => false,
        };
        for d in &done.sessions {
            self.extra(d, season, &in_plan, &mut change);
        }
        Ok(Ok(change))
    }

    /// Judges the planned sessions among those affected; rows that stay as they are are left alone.
    fn judge(
        &self,
        asks: &Asks,
        kept: &BTreeMap<Key, Option<Asked>>,
        affected: &BTreeSet<Key>,
        fresh_forms: &BTreeSet<Key>,
        (season, done): (Option<SeasonNo>, &Done),
        change: &mut Change,
    ) -> Result<Result<(), KeepError>, StoreError> {
        match asks {
            Asks::None => {}
            Asks::Opened { plan, doc } => {
                for planned in plan.sessions.iter().filter(|p| affected.contains(&p.key())) {
                    let row = self.row_in_plan(plan, planned, season, done, *doc);
                    if fresh_forms.contains(&row.session) {
                        change.rows.push(row);
                    } else {
                        self.replace(row, change)?;
                    }
                }
            }
            Asks::Kept { doc } => {
                for asked in affected.iter().filter_map(|k| kept.get(k)?.as_ref()) {
                    let planned = match keep::read(&asked.asked) {
                        Ok(planned) => planned,
                        Err(error) => return Ok(Err(error)),
                    };

                    let known = view::known(&planned, season, done, &|item| item.ex.clone(), &self.rules);
                    self.replace(row(&planned, known, *doc), change)?;
                }
            }
        }
        Ok(Ok(()))
    }

    /// Puts a row in the place of the one that is there, when it is another one.
    fn replace(&self, row: SessionRow, change: &mut Change) -> Result<(), StoreError> {
        let place = Asked { session: row.session.clone(), day: row.day, asked: Vec::new() };
        if board::planned_row(self.db, self.athlete, &place)?.as_ref() != Some(&row) {
            change.stale.push(place.session);
            change.rows.push(row);
        }
        Ok(())
    }

    /// Which sessions of the plan ask something else than what is kept.
    fn plan_changes(
        &self,
        asks: &Asks,
        change: &mut Change,
        affected: &mut BTreeSet<Key>,
        fresh: &mut BTreeSet<Key>,
    ) -> Result<(), StoreError> {
        let old = board::all_asked(self.db, self.athlete)?;
        let mut old: BTreeMap<Key, Asked> = old.into_iter().map(|a| (a.session.clone(), a)).collect();
        change.facts.plan_to = None;
        if let Asks::Opened { plan, .. } = asks {
            change.facts.plan_to = last_day(plan);
            for planned in &plan.sessions {
                let new = form(plan, planned);
                let was = old.remove(&new.session);
                if was.as_ref() == Some(&new) {
                    continue;
                }
                affected.insert(new.session.clone());
                fresh.insert(new.session.clone());
                change.gone.extend(was.map(|w| w.session));
                change.asked.push(new);
            }
        }
        affected.extend(old.keys().cloned());
        change.gone.extend(old.into_keys());
        Ok(())
    }

    fn blank(&self, season: Option<SeasonNo>, whole: bool) -> Change {
        Change {
            athlete: self.athlete,
            whole,
            facts: AthleteFacts { season, plan_to: None, rules: self.kept.clone() },
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

    /// The newest season that has a plan.
    fn season(&self) -> Option<SeasonNo> {
        let seasons = self.docs.iter().filter_map(|d| match d.name {
            DocName::Plan(_, season) => Some(season),
            _ => None,
        });
        seasons.max()
    }

    fn is_plan(&self, doc: &Doc, season: Option<SeasonNo>) -> bool {
        season.is_some_and(|s| doc.name == DocName::Plan(self.athlete, s))
    }

    fn plan_doc(&self, season: Option<SeasonNo>) -> Option<&Doc> {
        self.docs.iter().find(|d| self.is_plan(d, season))
    }

    fn plan(&self, season: Option<SeasonNo>) -> Result<Asks, StoreError> {
        let Some(doc) = self.plan_doc(season) else { return Ok(Asks::None) };
        Ok(Asks::Opened { plan: Box::new(Plan::of(&open_doc(self.db, doc)?)), doc: doc.id })
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

    /// What is noted of a document that speaks of nothing of that.
    fn other(&self, doc: &Doc, asks: &Asks) -> DocFacts {
        let never = DocFacts { doc: doc.id, n: doc.max_n, counts: Counts::Never, met: 0, unreadable: 0 };
        match asks {
            Asks::Opened { plan, doc: id } if *id == doc.id => DocFacts {
                counts: Counts::Always,
                met: plan.met.len(),
                unreadable: plan.unreadable.len(),
                ..never
            },
            Asks::Opened { .. } | Asks::Kept { .. } | Asks::None => never,
        }
    }

    fn row_in_plan(
        &self,
        plan: &Plan,
        planned: &PlannedSession,
        season: Option<SeasonNo>,
        done: &Done,
        doc: i64,
    ) -> SessionRow {
        let day = planned.session.record.date;
        let known = view::known(planned, season, done, &|i| plan.exercise_on(i, day), &self.rules);
        row(planned, known, doc)
    }

    fn extra(
        &self,
        done: &DoneSession,
        season: Option<SeasonNo>,
        in_plan: &dyn Fn(&Key) -> bool,
        change: &mut Change,
    ) {
        let Some(doc) = self.docs.iter().find(|d| d.name == done.doc) else { return };
        if view::answers(season, done).is_some_and(in_plan) {
            return;
        }
        let day = done.session.record.date;
        let review = Review { date: day, planned: None, logs: vec![done], share: None, state: State::Extra };
        change.rows.push(of_review(&review, done.session.key(), doc.id));
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

fn last_day(plan: &Plan) -> Option<Day> {
    plan.sessions.iter().map(|s| s.session.record.date).max()
}

fn form(plan: &Plan, planned: &PlannedSession) -> Asked {
    let (session, day) = (planned.key(), planned.session.record.date);
    Asked { session, day, asked: keep::keep(plan, planned) }
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
