//! Deeds of coaches and athletes from random numbers: any numbers give a command that fits the
//! document as its writer sees it, or none. Knows nothing of merging.

use backstraight_core::base::key::Key;
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::{Command, New, WorkOf};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::model::any::{AnyRecord, roots};
use backstraight_core::model::care::*;
use backstraight_core::model::log::*;
use backstraight_core::model::name::Kind;
use backstraight_core::model::number::{
    Aim, Available, Complaint, Count, Effort, Form, Intent, Minutes, Pattern, Ruling, Skip, Text, Verdict,
};
use backstraight_core::model::plan::*;
use backstraight_core::model::rule::ProposalId;
use backstraight_core::model::spec::{Field, Record, Scalar};
use proptest::prelude::*;

use crate::replica::{ATHLETE, Replica};

/// Random numbers that become a deed.
#[derive(Debug, Clone, Copy)]
pub struct Deed {
    /// What to do.
    pub what: u8,
    /// With which record.
    pub which: u16,
    /// To which value.
    pub value: u16,
}

/// Any deed.
pub fn any_deed() -> impl Strategy<Value = Deed> {
    (any::<u8>(), any::<u16>(), 0u16..400).prop_map(|(what, which, value)| Deed { what, which, value })
}

/// A record from the fields that are named; the others are missing.
///
/// # Panics
/// When a required field is missing or a value does not fit.
#[must_use]
pub fn record<R: Record>(fields: &[(&str, Scalar)]) -> R {
    let mut get = |name: &str| fields.iter().find(|(n, _)| *n == name).map(|(_, v)| v.clone());
    match R::from_fields(&mut get) {
        Ok((record, unread)) if unread.is_empty() => record,
        Ok((_, unread)) => panic!("values do not fit: {unread:?}"),
        Err(field) => panic!("{field} is missing or does not fit"),
    }
}

/// Text as a stored value.
#[must_use]
pub fn text(text: impl Into<String>) -> Scalar {
    Scalar::Text(text.into())
}

/// A number as a stored value.
#[must_use]
pub fn int(n: impl Into<i64>) -> Scalar {
    Scalar::Int(n.into())
}

/// An instant as a stored value.
#[must_use]
pub fn time(at: Moment) -> Scalar {
    Scalar::Time(at.0)
}

/// A word of the trade as a stored value.
#[must_use]
pub fn word(word: impl Field) -> Scalar {
    word.to_scalar()
}

/// A set of so many repetitions with so much on the bar (in 10 g).
#[must_use]
pub fn set(at: Moment, load: u16, reps: u16) -> Box<SetDone> {
    Box::new(record(&[("at", time(at)), ("load", int(load)), ("reps", int(reps % 300))]))
}

/// Work on an exercise.
#[must_use]
pub fn work(exercise: &Key) -> Box<Work> {
    Box::new(record(&[("ex", text(exercise.as_str()))]))
}

/// A session that begins now, on 10 November 2026.
#[must_use]
pub fn session_done(now: Moment) -> SessionDone {
    record(&[("date", text("2026-11-10")), ("began", time(now))])
}

/// A command to make one record at the root.
#[must_use]
pub fn add(root: &'static str, key: &Key, record: impl Into<AnyRecord>) -> Command {
    Command::Add(vec![New { place: Place::of(root, key), record: record.into() }])
}

/// A command that sets one field of one record, as its writer sees it; `None` when there is no such
/// readable record.
#[must_use]
pub fn edit<R: Record + Into<AnyRecord>>(
    doc: &Document,
    place: &Place,
    field: &'static str,
    value: Option<Scalar>,
) -> Option<Command> {
    let from = doc.record::<R>(place).ok()??.record;
    let mut fields: Vec<(&str, Scalar)> = from.fields().into_iter().filter(|(n, _)| *n != field).collect();
    fields.extend(value.map(|v| (field, v)));
    Some(Command::Edit { place: place.clone(), from: from.into(), to: record::<R>(&fields).into() })
}

macro_rules! typed {
    ($kind:expr, $root:expr, $f:ident ( $($arg:expr),* )) => {
        match ($kind, $root) {
            (Kind::Library, "exercises") => $f::<Exercise>($($arg),*),
            (Kind::Library, "cues") => $f::<Cue>($($arg),*),
            (Kind::Library, "templates") => $f::<Template>($($arg),*),
            (Kind::Squad, "meets") => $f::<Meet>($($arg),*),
            (Kind::Squad, "remarks") => $f::<Remark>($($arg),*),
            (Kind::Plan, "phases") => $f::<Phase>($($arg),*),
            (Kind::Plan, "weeks") => $f::<Week>($($arg),*),
            (Kind::Plan, "sessions") => $f::<Session>($($arg),*),
            (Kind::Plan, "decisions") => $f::<Decision>($($arg),*),
            (Kind::Plan | Kind::Library, "groups") => $f::<Group>($($arg),*),
            (Kind::Plan | Kind::Library, "items") => $f::<Prescription>($($arg),*),
            (Kind::Log, "sessions") => $f::<SessionDone>($($arg),*),
            (Kind::Log, "checkins") => $f::<CheckIn>($($arg),*),
            (Kind::Log | Kind::Notes, "comments") => $f::<Comment>($($arg),*),
            (Kind::Notes, "observations") => $f::<Observation>($($arg),*),
            (Kind::Notes, "excuses") => $f::<Excuse>($($arg),*),
            (Kind::Care, "reports") => $f::<Report>($($arg),*),
            (Kind::CareNotes, "assessments") => $f::<Assessment>($($arg),*),
            (Kind::CareNotes, "restrictions") => $f::<Restriction>($($arg),*),
            (Kind::Availability, "availability") => $f::<Availability>($($arg),*),
            _ => Default::default(),
        }
    };
}

fn places<R: Record>(doc: &Document, root: &'static str) -> Vec<Place> {
    doc.records::<R>(root).entries.into_iter().map(|e| e.place).collect()
}

fn clashes<R: Record>(doc: &Document, root: &'static str) -> Vec<(Place, &'static str, Option<Scalar>)> {
    let met = doc.records::<R>(root).entries.into_iter().flat_map(|e| e.met);
    met.flat_map(|m| m.told.into_iter().map(move |t| (m.place.clone(), m.field, t.value))).collect()
}

fn pick_one<T: Clone>(list: &[T], which: u16) -> Option<T> {
    list.get(usize::from(which) % list.len().max(1)).cloned()
}

/// The command that these numbers mean to the writer of `replica`.
#[must_use]
pub fn command(replica: &mut Replica, deed: Deed) -> Option<Command> {
    let kind = replica.doc.name().kind();
    let names: Vec<&'static str> = roots(kind).iter().map(|r| r.name).collect();
    let root = pick_one(&names, deed.which)?;
    match deed.what % 8 {
        0 => make(replica, root, deed),
        1 => change(&replica.doc, root, deed),
        2 => {
            let all: Vec<Place> = typed!(kind, root, places(&replica.doc, root));
            Some(Command::Withdraw(vec![pick_one(&all, deed.value)?]))
        }
        3 => {
            let all: Vec<Place> = typed!(kind, root, places(&replica.doc, root));
            Some(Command::Restore(vec![pick_one(&all, deed.value)?]))
        }
        4 => {
            // Rare, so looked for in the whole document.
            let mut all: Vec<(Place, &'static str, Option<Scalar>)> = Vec::new();
            for name in names {
                let some: Vec<_> = typed!(kind, name, clashes(&replica.doc, name));
                all.extend(some);
            }
            let (place, field, value) = pick_one(&all, deed.value)?;
            Some(Command::Pick { place, field, value })
        }
        _ => match kind {
            Kind::Log => log(replica, deed),
            Kind::Plan => plan(replica, deed),
            Kind::Library | Kind::Squad | Kind::Notes | Kind::Care | Kind::CareNotes | Kind::Availability => {
                make(replica, root, deed)
            }
        },
    }
}

fn make(replica: &mut Replica, root: &'static str, deed: Deed) -> Option<Command> {
    let (key, now) = (replica.key(), replica.now);
    let n = deed.value;
    let (title, by, at) = (text(format!("title {n}")), text(ATHLETE.to_string()), time(now));
    let (first, last) = (text("2026-11-02"), text("2026-11-29"));
    let other = text(key.as_str());
    let new: AnyRecord = match (replica.doc.name().kind(), root) {
        (Kind::Library, "exercises") => record::<Exercise>(&[
            ("name", title),
            ("pattern", word(Pattern::Squat)),
            ("intent", word(Intent::Strength)),
        ])
        .into(),
        (Kind::Library, "cues") => record::<Cue>(&[("text", title)]).into(),
        (Kind::Library, "templates") => record::<Template>(&[("title", title)]).into(),
        (Kind::Squad, "meets") => {
            let priority = word(backstraight_core::model::number::Priority::Main);
            record::<Meet>(&[("name", title), ("date", first), ("priority", priority)]).into()
        }
        (Kind::Squad, "remarks") => {
            record::<Remark>(&[("about", by.clone()), ("by", by), ("at", at), ("text", title)]).into()
        }
        (Kind::Plan, "phases") => {
            record::<Phase>(&[("title", title), ("from", first), ("to", last), ("aim", word(Aim::General))])
                .into()
        }
        (Kind::Plan, "weeks") => record::<Week>(&[("start", first)]).into(),
        (Kind::Log, "checkins") => {
            record::<CheckIn>(&[("date", first), ("at", at), ("sleep", int(n % 7 + 1))]).into()
        }
        (Kind::Log | Kind::Notes, "comments") => {
            record::<Comment>(&[("at", at), ("by", by), ("text", title)]).into()
        }
        (Kind::Notes, "observations") => {
            record::<Observation>(&[("at", at), ("by", by), ("text", title)]).into()
        }
        (Kind::Notes, "excuses") => record::<Excuse>(&[
            ("at", at),
            ("by", by),
            ("session", other),
            ("verdict", word(Verdict::Excused)),
        ])
        .into(),
        (Kind::Care, "reports") => {
            record::<Report>(&[("at", at), ("kind", word(Complaint::Pain)), ("level", int(n % 100))]).into()
        }
        (Kind::CareNotes, "assessments") => {
            record::<Assessment>(&[("at", at), ("by", by), ("text", title)]).into()
        }
        (Kind::CareNotes, "restrictions") => {
            record::<Restriction>(&[("at", at), ("by", by), ("from", first), ("avoid", title)]).into()
        }
        (Kind::Availability, "availability") => {
            let level = word(Available::Modified);
            let fields = [("at", at), ("by", by), ("from", first), ("level", level), ("avoid", title)];
            record::<Availability>(&fields).into()
        }
        (Kind::Log, _) => session_done(now).into(),
        (Kind::Plan, _) => return Some(planned_session(replica, key, n)),
        _ => return None,
    };
    let root = if matches!(new, AnyRecord::SessionDone(_)) { "sessions" } else { root };
    Some(add(root, &key, new))
}

/// A session with one group of two exercises, made as one deed.
fn planned_session(replica: &mut Replica, session: Key, n: u16) -> Command {
    let (group, one, two) = (replica.key(), replica.key(), replica.key());
    let day = text(format!("2026-11-{:02}", n % 28 + 1));
    let session_record: Session = record(&[("date", day), ("title", text(format!("session {n}")))]);
    let group_record: Group =
        record(&[("of", text(session.as_str())), ("pos", text("i")), ("form", word(Form::Superset))]);
    let item = |pos: &str, ex: &Key| {
        record::<Prescription>(&[
            ("of", text(group.as_str())),
            ("pos", text(pos)),
            ("ex", text(ex.as_str())),
            ("sets", int(3)),
            ("dose", text("reps 5")),
        ])
    };
    let (first, second) = (item("i", &two), item("r", &one));
    Command::Add(vec![
        New { place: Place::of("sessions", &session), record: session_record.into() },
        New { place: Place::of("groups", &group), record: group_record.into() },
        New { place: Place::of("items", &one), record: first.into() },
        New { place: Place::of("items", &two), record: second.into() },
    ])
}

fn change(doc: &Document, root: &'static str, deed: Deed) -> Option<Command> {
    let kind = doc.name().kind();
    let all: Vec<Place> = typed!(kind, root, places(doc, root));
    let place = pick_one(&all, deed.which / 7)?;
    let n = deed.value;
    let cleared = n.is_multiple_of(5);
    let words = text(format!("words {n}"));
    let day = text(format!("2026-11-{:02}", n % 28 + 1));
    let (field, value) = match (kind, root) {
        (Kind::Log, "sessions") if n.is_multiple_of(2) => ("minutes", (!cleared).then(|| int(n))),
        (Kind::Log, "sessions") => ("comment", (!cleared).then_some(words)),
        (Kind::Log, "checkins") => ("mood", (!cleared).then(|| int(n % 7 + 1))),
        (Kind::Log | Kind::Notes, "comments") | (Kind::Notes, "observations") => ("text", Some(words)),
        (Kind::Notes, "excuses") | (Kind::Plan, "weeks" | "phases") => ("note", (!cleared).then_some(words)),
        (Kind::Care, _) => ("over", (!cleared).then_some(day)),
        (Kind::CareNotes, "assessments") => ("look_again", (!cleared).then_some(day)),
        (Kind::CareNotes, "restrictions") => ("until", (!cleared).then_some(day)),
        (Kind::Availability, _) if n.is_multiple_of(2) => ("avoid", Some(words)),
        (Kind::Availability, _) => ("until", (!cleared).then_some(day)),
        (Kind::Plan, "sessions") if n.is_multiple_of(2) => ("date", Some(day)),
        (Kind::Plan, "sessions") | (Kind::Library, "templates") => ("title", Some(words)),
        (Kind::Plan | Kind::Library, "groups") => ("pos", Some(text(format!("{n}i")))),
        (Kind::Plan | Kind::Library, "items") if n.is_multiple_of(2) => ("sets", Some(int(n % 60 + 1))),
        (Kind::Plan | Kind::Library, "items") => {
            ("dose", (!cleared).then(|| text(format!("reps {}", n % 20))))
        }
        (Kind::Library, "exercises") => ("caution", (!cleared).then_some(words)),
        (Kind::Library, "cues") => ("text", Some(words)),
        (Kind::Squad, "meets") => ("place", (!cleared).then_some(words)),
        (Kind::Squad, "remarks") => ("text", Some(words)),
        _ => return None,
    };
    typed!(kind, root, edit(doc, &place, field, value))
}

fn log(replica: &mut Replica, deed: Deed) -> Option<Command> {
    let sessions = places::<SessionDone>(&replica.doc, "sessions");
    let Some(place) = pick_one(&sessions, deed.which) else { return make(replica, "sessions", deed) };
    let session = place.keys.first()?.clone();
    let begun: Vec<Place> =
        replica.doc.inner_records::<Work>(&place).entries.into_iter().map(|e| e.place).collect();
    let now = replica.now;
    let new_set = set(now, deed.value, deed.value);
    let key = replica.key();
    let Some(open) = pick_one(&begun, deed.which / 3) else {
        let exercise = replica.key();
        let work = WorkOf::New(replica.key(), work(&exercise));
        return Some(Command::LogSet { session, work, key, set: new_set });
    };
    let work_key = open.keys.last()?.clone();
    let sets = replica.doc.inner_records::<SetDone>(&open).entries;
    if deed.value.is_multiple_of(7) {
        let ex = replica.key();
        let skipped = record::<Work>(&[("ex", text(ex.as_str())), ("skipped", word(Skip::Tired))]);
        return Some(Command::Skip { session, key, work: Box::new(skipped) });
    }
    match (deed.value % 4, pick_one(&sets, deed.which / 5)) {
        (0, Some(earlier)) => {
            let mut set = new_set;
            set.amends = Some(earlier.key());
            Some(Command::CorrectSet { session, work: work_key, earlier: earlier.key(), key, set })
        }
        (1, Some(earlier)) => {
            Some(Command::StrikeSet { session, work: work_key, set: earlier.key(), key, at: now })
        }
        (2, _) => Some(Command::Close {
            session,
            ended: now.plus_ms(3_600_000),
            minutes: Minutes::new(i64::from(deed.value)).ok(),
            effort: Effort::new(i64::from(deed.value % 100)).ok(),
            comment: Text::new(format!("felt like {}", deed.value)).ok(),
        }),
        _ => Some(Command::LogSet { session, work: WorkOf::Open(work_key), key, set: new_set }),
    }
}

/// Moves a prescription to a group and a place in it: one person's move is one edit.
fn plan(replica: &mut Replica, deed: Deed) -> Option<Command> {
    let items = places::<Prescription>(&replica.doc, "items");
    let groups = places::<Group>(&replica.doc, "groups");
    let (Some(item), Some(group)) = (pick_one(&items, deed.which), pick_one(&groups, deed.value)) else {
        let key = replica.key();
        return Some(planned_session(replica, key, deed.value));
    };
    if deed.value.is_multiple_of(3) {
        return decide(replica, &item, deed);
    }
    let from = replica.doc.record::<Prescription>(&item).ok()??.record;
    let mut to = from.clone();
    to.of = group.keys.last()?.clone();
    to.pos = Text::new(format!("{}i", deed.value % 36)).ok()?;
    Some(Command::Edit { place: item, from: from.into(), to: to.into() })
}

/// A ruling on a proposal, or one taken back.
fn decide(replica: &mut Replica, item: &Place, deed: Deed) -> Option<Command> {
    let key = replica.key();
    let from = Box::new(replica.doc.record::<Prescription>(item).ok()??.record);
    let item = item.keys.last()?.clone();
    let to =
        Box::new(Prescription { sets: Count::new(i64::from(deed.value % 60 + 1)).ok()?, ..(*from).clone() });
    let made: Vec<_> = replica.doc.records::<Decision>("decisions").live().cloned().collect();
    let of_item = made.iter().find(|d| d.record.item == item);
    match (of_item, deed.which % 3) {
        (Some(decision), 0 | 1) => Some(Command::Undecide { item, from, to, key: decision.key() }),
        (_, n) => {
            let ruling = if n == 1 { Ruling::Dismissed } else { Ruling::Edited };
            let about = ProposalId { item: item.clone(), rests_on: replica.key() };
            let decision = Decision::new(item.clone(), ruling, about, ATHLETE, replica.now);
            if ruling == Ruling::Dismissed {
                return Some(add("decisions", &key, decision));
            }
            Some(Command::Decide { item, from, to, key, decision: Box::new(decision) })
        }
    }
}
