//! One session on an athlete's screen, planned and done put together: what is asked, resolved for the
//! venue; what is logged; what to fill into the next set; and the commands behind its buttons. The same
//! for the page and for phone apps.

use super::availability::{self, Said};
use super::done::{Done, DoneSession, DoneSet, DoneWork};
use super::judge::{SetAsked, set_asked};
use super::library::Library;
use super::maxima::Maxima;
use super::planned::PlannedSession;
use super::plans::{InPlan, Plans, answers};
use super::resolve::{Known, Resolved, resolve};
use super::show;
use super::today::{Shown, ShownSession, shown};
use crate::base::day::Day;
use crate::base::key::Key;
use crate::base::moment::Moment;
use crate::doc::command::{Command, New, WorkOf};
use crate::doc::place::Place;
use crate::model::log::{SessionDone, SetDone, Work};
use crate::model::name::DocName;
use crate::model::number::{Effort, Minutes, Note, Skip};
use crate::model::packed::Dose;
use crate::model::plan::{Group, Venue};

/// What a screen is made from.
#[derive(Debug, Clone, Copy)]
pub struct Scene<'a> {
    /// The plans in which a session is looked for.
    pub plans: &'a Plans,
    /// What was done in the last months, care staff's words among it.
    pub done: &'a Done,
    /// The library.
    pub library: &'a Library,
    /// Where it is done, when the athlete chose another place than the plan.
    pub venue: Option<&'a Key>,
    /// The athlete's day.
    pub day: Day,
}

/// A set that is in the log.
#[derive(Debug, Clone, PartialEq)]
pub struct SetHere {
    /// The exercise's record in which it stands.
    pub work: Key,
    /// The set, corrections applied.
    pub done: DoneSet,
}

/// An exercise that is done, asked or not.
#[derive(Debug, Clone, PartialEq)]
pub struct Doing {
    /// Its record in the log, once there is one.
    pub work: Option<Key>,
    /// The exercise that is done.
    pub ex: Key,
    /// Its name.
    pub name: String,
    /// Its sets, in order.
    pub sets: Vec<SetHere>,
    /// Why it was left out.
    pub skipped: Option<Skip>,
}

/// An exercise that the plan asks.
#[derive(Debug, Clone, PartialEq)]
pub struct ScreenItem {
    /// What the screen shows and a log remembers.
    pub shown: Shown,
    /// What it comes to on that day.
    pub resolved: Resolved,
    /// What is done of it.
    pub doing: Doing,
    /// Sets asked.
    pub asked: usize,
}

/// A group of the plan.
#[derive(Debug, Clone, PartialEq)]
pub struct ScreenGroup {
    /// The group.
    pub group: Group,
    /// Its exercises, side by side.
    pub items: Vec<ScreenItem>,
}

/// A session that is under way or was done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Begun {
    /// Its key in the log.
    pub key: Key,
    /// The log.
    pub doc: DocName,
    /// Its record.
    pub record: SessionDone,
}

/// A session on the screen.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionScreen {
    /// The session of the plan; none for one that nobody asked.
    pub planned: Option<Key>,
    /// Its day: the day on which it was begun, or of the plan.
    pub day: Day,
    /// Its title.
    pub title: String,
    /// When it starts, what it is about, and the coach's note.
    pub notes: Vec<String>,
    /// Minutes that it should take.
    pub minutes: Option<Minutes>,
    /// Where, by key.
    pub venue: Option<Key>,
    /// What care staff said of the day, where it is not full training.
    pub limits: Option<Said>,
    /// What is asked.
    pub groups: Vec<ScreenGroup>,
    /// What was done beside it.
    pub extra: Vec<Doing>,
    /// The log of it, once begun.
    pub begun: Option<Begun>,
    /// Whether the plan asks something else now than when it was begun.
    pub changed_since: bool,
    /// The record with which it would begin now.
    begin: SessionDone,
}

impl SessionScreen {
    /// A session of a plan, or of the log when nobody asked it; none when neither knows it.
    #[must_use]
    pub fn of(scene: &Scene<'_>, session: &Key, now: Moment) -> Option<SessionScreen> {
        let logged = || {
            let there = scene.done.sessions.iter().any(|s| s.session.key() == *session);
            there.then(|| SessionScreen::unasked(scene, Some(session), now))
        };
        SessionScreen::planned(scene, session, now).or_else(logged)
    }

    /// A session of a plan; none when no plan has it.
    #[must_use]
    pub fn planned(scene: &Scene<'_>, session: &Key, now: Moment) -> Option<SessionScreen> {
        let InPlan { season, plan, planned } = scene.plans.session(session)?;
        let mut logs = scene.done.sessions.iter();
        let log = logs.rfind(|d| answers(season, d) == Some(session));
        let day = log.map_or(scene.day, |l| l.session.record.date);
        let maxima = Maxima::of(scene.done, scene.library, day);
        let begun_at = log.and_then(|l| l.session.record.venue.as_ref());
        let venue = scene.venue.or(begun_at).or(planned.session.record.venue.as_ref());
        let place = venue.and_then(|v| scene.library.venues.get(v)).map(|v| &v.record);
        let known = known(scene, &maxima, place, day);
        let said = availability::said(&scene.done.availability);
        let screen = shown(plan, planned, day, scene.library, &|item, ex| resolve(item, ex, &known).load)
            .with(&said, day);
        let groups = groups(&screen, planned, log, &known);
        let begin = SessionDone { venue: venue.cloned(), ..screen.begin(season, scene.day, now) };
        let asked_then = log.and_then(|l| l.session.record.asked.as_ref());
        let record = &planned.session.record;
        let starts = record.starts.map(show::starts);
        let notes = starts
            .into_iter()
            .chain(record.focus.iter().filter(|f| **f != record.title).map(ToString::to_string));
        Some(SessionScreen {
            planned: Some(session.clone()),
            day,
            title: record.title.to_string(),
            notes: notes.chain(record.note.iter().map(ToString::to_string)).collect(),
            minutes: record.minutes,
            venue: venue.cloned(),
            limits: screen.limits,
            extra: extra(log, &groups, scene.library),
            groups,
            begun: log.map(begun),
            changed_since: asked_then.is_some_and(|a| *a != planned.asked()),
            begin,
        })
    }

    /// A session that nobody asked: one that was begun, or a new one.
    #[must_use]
    pub fn unasked(scene: &Scene<'_>, log: Option<&Key>, now: Moment) -> SessionScreen {
        let log = log.and_then(|key| scene.done.sessions.iter().find(|s| s.session.key() == *key));
        let day = log.map_or(scene.day, |l| l.session.record.date);
        let said = availability::said(&scene.done.availability);
        let title = log.and_then(|l| l.session.record.title.as_ref()).map(ToString::to_string);
        SessionScreen {
            planned: None,
            day,
            title: title.unwrap_or_default(),
            notes: Vec::new(),
            minutes: None,
            venue: log.and_then(|l| l.session.record.venue.clone()),
            limits: availability::limits(&said, day).cloned(),
            groups: Vec::new(),
            extra: extra(log, &[], scene.library),
            begun: log.map(begun),
            changed_since: false,
            begin: SessionDone::new(scene.day, now),
        }
    }

    /// All exercises that are asked, in order.
    pub fn items(&self) -> impl Iterator<Item = &ScreenItem> {
        self.groups.iter().flat_map(|g| &g.items)
    }

    /// The exercise of a prescription.
    #[must_use]
    pub fn item(&self, key: &Key) -> Option<&ScreenItem> {
        self.items().find(|i| i.shown.item == *key)
    }

    /// Sets done of those asked, and sets asked.
    #[must_use]
    pub fn progress(&self) -> (usize, usize) {
        let done = |i: &ScreenItem| i.doing.sets.len().min(i.asked);
        self.items().fold((0, 0), |(d, a), i| (d + done(i), a + i.asked))
    }

    /// The log in which it stands or will stand.
    #[must_use]
    pub fn doc(&self, of: impl Fn(Day) -> DocName) -> DocName {
        self.begun.as_ref().map_or_else(|| of(self.begin.date), |b| b.doc)
    }

    /// The commands before anything else can be logged: none once it was begun.
    fn opening(&self, key: &mut dyn FnMut() -> Key, now: Moment) -> (Key, Vec<Command>) {
        if let Some(begun) = &self.begun {
            return (begun.key.clone(), Vec::new());
        }
        let session = key();
        let record = SessionDone { began: now, ..self.begin.clone() };
        let new = New { place: Place::of("sessions", &session), record: record.into() };
        (session, vec![Command::Add(vec![new])])
    }

    /// Logs a set of a prescription, of the exercise that is being done or `instead`.
    #[must_use]
    pub fn log(
        &self,
        item: &ScreenItem,
        instead: Option<&Key>,
        set: SetDone,
        key: &mut dyn FnMut() -> Key,
    ) -> Vec<Command> {
        let (session, mut commands) = self.opening(key, set.at);
        let other = instead.filter(|ex| **ex != item.doing.ex);
        let work = match (&item.doing.work, other) {
            (Some(work), None) => WorkOf::Open(work.clone()),
            _ => {
                let begun = self.begun.as_ref().map_or(&self.begin, |b| &b.record);
                let other = other.or((item.doing.ex != item.shown.ex).then_some(&item.doing.ex));
                WorkOf::New(key(), Box::new(item.shown.work(other.filter(|ex| **ex != item.shown.ex), begun)))
            }
        };
        commands.push(Command::LogSet { session, work, key: key(), set: Box::new(set) });
        commands
    }

    /// Logs a set that nobody asked, of an exercise that is done beside the plan.
    #[must_use]
    pub fn log_extra(&self, ex: &Key, set: SetDone, key: &mut dyn FnMut() -> Key) -> Vec<Command> {
        let (session, mut commands) = self.opening(key, set.at);
        let open = self.extra.iter().find(|d| d.ex == *ex).and_then(|d| d.work.clone());
        let work = match open {
            Some(work) => WorkOf::Open(work),
            None => WorkOf::New(key(), Box::new(Work::new(ex.clone()))),
        };
        commands.push(Command::LogSet { session, work, key: key(), set: Box::new(set) });
        commands
    }

    /// Leaves a prescription out, and says why.
    #[must_use]
    pub fn skip(
        &self,
        item: &ScreenItem,
        why: Skip,
        note: Option<Note>,
        now: Moment,
        key: &mut dyn FnMut() -> Key,
    ) -> Vec<Command> {
        let (session, mut commands) = self.opening(key, now);
        let begun = self.begun.as_ref().map_or(&self.begin, |b| &b.record);
        let work = Work { skipped: Some(why), note, ..item.shown.work(None, begun) };
        commands.push(Command::Skip { session, key: key(), work: Box::new(work) });
        commands
    }

    /// Corrects a set. None when it is not of this session.
    #[must_use]
    pub fn correct(&self, work: &Key, earlier: &Key, set: SetDone, key: Key) -> Option<Command> {
        let session = self.begun.as_ref()?.key.clone();
        let set = Box::new(SetDone { amends: Some(earlier.clone()), ..set });
        Some(Command::CorrectSet { session, work: work.clone(), earlier: earlier.clone(), key, set })
    }

    /// Says that a set was not done after all. None when nothing was begun.
    #[must_use]
    pub fn strike(&self, work: &Key, set: &Key, now: Moment, key: Key) -> Option<Command> {
        let session = self.begun.as_ref()?.key.clone();
        Some(Command::StrikeSet { session, work: work.clone(), set: set.clone(), key, at: now })
    }

    /// Closes the session, begun or not: an athlete may have logged nothing and still say how it was.
    #[must_use]
    pub fn close(
        &self,
        minutes: Option<Minutes>,
        effort: Option<Effort>,
        comment: Option<Note>,
        now: Moment,
        key: &mut dyn FnMut() -> Key,
    ) -> Vec<Command> {
        let (session, mut commands) = self.opening(key, now);
        commands.push(Command::Close { session, ended: now, minutes, effort, comment });
        commands
    }

    /// Leaves the whole session out, and says why.
    #[must_use]
    pub fn leave_out(
        &self,
        why: Skip,
        comment: Option<Note>,
        now: Moment,
        key: &mut dyn FnMut() -> Key,
    ) -> Command {
        match &self.begun {
            Some(b) => Command::Edit {
                place: Place::of("sessions", &b.key),
                from: b.record.clone().into(),
                to: SessionDone {
                    skipped: Some(why),
                    comment: comment.or(b.record.comment.clone()),
                    ..b.record.clone()
                }
                .into(),
            },
            None => {
                let record = SessionDone { began: now, skipped: Some(why), comment, ..self.begin.clone() };
                Command::Add(vec![New { place: Place::of("sessions", &key()), record: record.into() }])
            }
        }
    }

    /// The set to fill in next for a prescription: the load of the last set where one was chosen, else
    /// what is asked.
    #[must_use]
    pub fn next_set(&self, item: &ScreenItem, now: Moment) -> SetDone {
        let n = item.doing.sets.len();
        let asked = set_asked(n, Some(&item.shown.target));
        let last = item.doing.sets.last().map(|s| &s.done.set.record);
        let first = set_asked(n.saturating_sub(1), Some(&item.shown.target));
        filled(&asked, (asked.load == first.load).then_some(last).flatten(), now)
    }
}

fn begun(log: &DoneSession) -> Begun {
    Begun { key: log.session.key(), doc: log.doc, record: log.session.record.clone() }
}

fn known<'a>(scene: &Scene<'a>, maxima: &'a Maxima, venue: Option<&'a Venue>, day: Day) -> Known<'a> {
    Known { done: scene.done, maxima, library: scene.library, venue, day }
}

fn groups(
    screen: &ShownSession<'_>,
    planned: &PlannedSession,
    log: Option<&DoneSession>,
    known: &Known<'_>,
) -> Vec<ScreenGroup> {
    let item = |shown: &Shown| {
        let prescription = planned.items().find(|(_, i)| i.key() == shown.item).map(|(_, i)| &i.record);
        let works: Vec<&DoneWork> = log
            .iter()
            .flat_map(|l| &l.works)
            .filter(|w| w.work.record.item.as_ref() == Some(&shown.item))
            .collect();
        // The one that was begun last goes on; sets of all of them are shown.
        let last = works.last();
        let ex = last.map_or_else(|| shown.ex.clone(), |w| w.work.record.ex.clone());
        ScreenItem {
            resolved: prescription.map(|p| resolve(p, &ex, known)).unwrap_or_default(),
            asked: usize::try_from(shown.target.sets.get()).unwrap_or(0),
            doing: Doing {
                work: last.map(|w| w.work.key()),
                name: known.library.exercise_name(&ex),
                ex,
                sets: works.iter().flat_map(|w| sets(w)).collect(),
                skipped: works.iter().find_map(|w| w.work.record.skipped),
            },
            shown: shown.clone(),
        }
    };
    let group = |g: &super::today::ShownGroup| ScreenGroup {
        group: g.group.clone(),
        items: g.items.iter().map(item).collect(),
    };
    screen.groups.iter().map(group).collect()
}

fn sets(work: &DoneWork) -> impl Iterator<Item = SetHere> {
    let key = work.work.key();
    work.sets.iter().map(move |s| SetHere { work: key.clone(), done: s.clone() })
}

/// What was done that none of the groups asks.
fn extra(log: Option<&DoneSession>, groups: &[ScreenGroup], library: &Library) -> Vec<Doing> {
    let asked = |key: &Key| groups.iter().flat_map(|g| &g.items).any(|i| i.shown.item == *key);
    let works = log.iter().flat_map(|l| &l.works);
    works
        .filter(|w| w.work.record.item.as_ref().is_none_or(|k| !asked(k)))
        .map(|w| Doing {
            work: Some(w.work.key()),
            ex: w.work.record.ex.clone(),
            name: library.exercise_name(&w.work.record.ex),
            sets: sets(w).collect(),
            skipped: w.work.record.skipped,
        })
        .collect()
}

/// A set as it was asked, or as the one before it was done.
#[must_use]
pub fn filled(asked: &SetAsked, last: Option<&SetDone>, now: Moment) -> SetDone {
    let mut set = SetDone::new(now);
    set.load = last.and_then(|l| l.load).or(asked.load);
    match asked.dose {
        Some(Dose::Reps(_, n) | Dose::RepsPerSide(n)) => set.reps = Some(n),
        Some(Dose::Hold(t) | Dose::HoldPerSide(t)) => set.hold = Some(t),
        Some(Dose::Distance(d)) => set.dist = Some(d),
        Some(Dose::Contacts(n)) => set.contacts = Some(n),
        Some(Dose::ToLimit) => set.reps = last.and_then(|l| l.reps),
        None => {
            if let Some(last) = last {
                (set.reps, set.hold, set.dist, set.contacts) =
                    (last.reps, last.hold, last.dist, last.contacts);
            }
        }
    }
    set
}
