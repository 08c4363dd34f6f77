//! One session or week for many: what giving it would do to each athlete's plan, with what is an athlete's own left as
//! it is. A copy remembers from which session it was made (`squad_session`), and its parts keep their places in the
//! order, by which they are found again. Plain functions.
//!
//! A field of a copy follows the first as long as it holds a value that the first once held; another value was set
//! for this athlete and is kept. What was taken away from a copy stays away.

use std::collections::{BTreeMap, BTreeSet};

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::history::Written;
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::order;
use backstraight_core::model::plan::{Group, Prescription, Session};
use backstraight_core::model::spec::{Record, Scalar};
use backstraight_core::view::planned::{Plan, PlannedGroup, PlannedSession};

use super::deeds::{copy_groups, copy_session, end_of_day};

/// What giving a session would do to a plan.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Outcome {
    /// Sessions that are new there.
    pub new: usize,
    /// Fields that follow the first.
    pub set: usize,
    /// Exercises that are new in a session that was there.
    pub added: usize,
    /// Fields that are the athlete's own and stay.
    pub kept: usize,
    /// Parts that were taken away there and stay away.
    pub away: usize,
    /// Other sessions on the same days.
    pub beside: usize,
    /// What does it.
    pub commands: Vec<Command>,
}

/// Every value that a field of a record once held, `None` among them.
#[derive(Debug, Default)]
pub struct Past {
    held: BTreeMap<String, Vec<Option<Scalar>>>,
    made: BTreeMap<String, backstraight_core::base::id::ChangeHash>,
    late: BTreeSet<String>,
}

impl Past {
    /// Of a document; empty when its history cannot be read: then nothing follows, and all is kept.
    #[must_use]
    pub fn of(doc: &Document) -> Past {
        let mut past = Past::default();
        for Written { change, path, value, .. } in doc.history().unwrap_or_default() {
            let Some((record, _)) = path.rsplit_once('/') else { continue };
            let made = *past.made.entry(record.to_owned()).or_insert(change);
            if made != change && !past.held.contains_key(&path) {
                past.late.insert(path.clone());
            }
            past.held.entry(path).or_default().push(value);
        }
        past
    }

    fn held(&self, place: &Place, field: &str, value: Option<&Scalar>) -> bool {
        let path = format!("{place}/{field}");
        let begun_empty = self.late.contains(&path) || !self.held.contains_key(&path);
        (value.is_none() && begun_empty)
            || self.held.get(&path).is_some_and(|all| all.iter().any(|v| v.as_ref() == value))
    }
}

/// Fields by which parts hang together; they are the document's own.
const OWN: [&str; 3] = ["of", "pos", "squad_session"];

/// A record of a copy as it would read: fields that follow are the first's, others stay.
fn merged<R: Record>(first: &Entry<R>, copy: &R, past: &Past, out: &mut Outcome) -> Option<R> {
    let (wanted, have) = (first.record.fields(), copy.fields());
    let of =
        |list: &[(&'static str, Scalar)], name: &str| list.iter().find(|f| f.0 == name).map(|f| f.1.clone());
    let mut next: BTreeMap<&'static str, Scalar> = have.iter().cloned().collect();
    for field in R::SPEC.fields {
        let (new, old) = (of(&wanted, field.name), of(&have, field.name));
        if new == old || OWN.contains(&field.name) {
            continue;
        }
        if past.held(&first.place, field.name, old.as_ref()) {
            out.set += 1;
            match new {
                Some(value) => drop(next.insert(field.name, value)),
                None => drop(next.remove(field.name)),
            }
        } else {
            out.kept += 1;
        }
    }
    R::from_fields(&mut |name| next.get(name).cloned()).ok().map(|(record, _)| record)
}

fn edited<R>(first: &Entry<R>, copy: &Entry<R>, past: &Past, out: &mut Outcome)
where
    R: Record + PartialEq + Into<AnyRecord>,
{
    let Some(to) = merged(first, &copy.record, past, out).filter(|to| *to != copy.record) else { return };
    out.commands.push(Command::Edit {
        place: copy.place.clone(),
        from: copy.record.clone().into(),
        to: to.into(),
    });
}

/// Which session a copy belongs to.
#[must_use]
pub fn link(session: &PlannedSession) -> Key {
    session.session.record.squad_session.clone().unwrap_or_else(|| session.key())
}

/// A plan to which something would be given.
#[derive(Debug, Clone, Copy)]
pub struct Target<'a> {
    /// The plan as it stands.
    pub plan: &'a Plan,
    /// Its groups, those that were taken away too.
    pub groups: &'a [Entry<Group>],
    /// Its prescriptions, those that were taken away too.
    pub items: &'a [Entry<Prescription>],
}

/// What giving sessions would do. Nothing is done by it.
pub fn give(
    firsts: &[&PlannedSession],
    past: &Past,
    target: Target<'_>,
    key: &mut dyn FnMut() -> Key,
) -> Outcome {
    let mut out = Outcome::default();
    let mut news: Vec<New> = Vec::new();
    let mut ends: BTreeMap<Day, backstraight_core::model::number::Text<64>> = BTreeMap::new();
    for first in firsts {
        let link = link(first);
        let copy = target.plan.sessions.iter().find(|s| self_link(s) == Some(&link) || s.key() == link);
        let day = first.session.record.date;
        let Some(copy) = copy else {
            out.new += 1;
            out.beside += target.plan.on(day).count();
            let pos = match ends.get(&day) {
                Some(last) => order::between(Some(last.as_str()), None),
                None => end_of_day(target.plan, day),
            };
            ends.insert(day, pos.clone());
            let mut made = copy_session(first, day, pos, key);
            if let Some(New { record: AnyRecord::Session(session), .. }) = made.first_mut() {
                session.squad_session = Some(link);
            }
            news.extend(made);
            continue;
        };
        edited::<Session>(&first.session, &copy.session, past, &mut out);
        for group in &first.groups {
            match_group(group, copy, past, target, (&mut out, &mut news), key);
        }
    }
    if !news.is_empty() {
        out.commands.push(Command::Add(news));
    }
    out
}

fn self_link(session: &PlannedSession) -> Option<&Key> {
    session.session.record.squad_session.as_ref()
}

fn match_group(
    group: &PlannedGroup,
    copy: &PlannedSession,
    past: &Past,
    target: Target<'_>,
    (out, news): (&mut Outcome, &mut Vec<New>),
    key: &mut dyn FnMut() -> Key,
) {
    let pos = &group.group.record.pos;
    let there = target.groups.iter().find(|g| g.record.of == copy.key() && g.record.pos == *pos);
    match there {
        None => {
            out.added += group.items.len();
            news.extend(copy_groups(core::slice::from_ref(group), &copy.key(), key));
        }
        Some(there) if !there.live() => out.away += 1,
        Some(there) => {
            edited::<Group>(&group.group, there, past, out);
            for item in &group.items {
                let own = there.key();
                let mine =
                    target.items.iter().find(|i| i.record.of == own && i.record.pos == item.record.pos);
                match mine {
                    Some(mine) if !mine.live() => out.away += 1,
                    Some(mine) => edited::<Prescription>(item, mine, past, out),
                    None => {
                        out.added += 1;
                        let record = Prescription { of: own, ..item.record.clone() };
                        news.push(New { place: Place::of("items", &key()), record: record.into() });
                    }
                }
            }
        }
    }
}

#[cfg(test)]
#[path = "many_tests.rs"]
mod tests;
