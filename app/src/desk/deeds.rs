//! What a coach does to a plan, as commands: sessions with all that is in them are added, copied, repeated,
//! moved; groups and prescriptions added and put in another order. Plain functions; keys are handed in.

use std::collections::BTreeMap;

use backstraight_core::base::day::Day;
use backstraight_core::base::key::Key;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::number::{Aim, Count, Form, Name, Text};
use backstraight_core::model::order;
use backstraight_core::model::plan::{Group, Phase, Prescription, Session};
use backstraight_core::view::planned::{Plan, PlannedGroup, PlannedSession};

/// Records in one command; core refuses more than 600.
const AT_ONCE: usize = 500;

/// Which way something goes in its list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Towards the start.
    Up,
    /// Towards the end.
    Down,
}

/// The place after the last session of a day.
#[must_use]
pub fn end_of_day(plan: &Plan, day: Day) -> Text<64> {
    let last = plan.on(day).filter_map(|s| s.session.record.pos.as_ref()).max();
    order::between(last.map(Text::as_str), None)
}

/// A new session.
pub fn add_session(plan: &Plan, day: Day, title: Name, key: &mut dyn FnMut() -> Key) -> (Key, Command) {
    let own = key();
    let record = Session { pos: Some(end_of_day(plan, day)), ..Session::new(day, title) };
    (own.clone(), Command::Add(vec![New { place: Place::of("sessions", &own), record: record.into() }]))
}

/// The records of groups with their prescriptions, under another session or template.
pub fn copy_groups(groups: &[PlannedGroup], of: &Key, key: &mut dyn FnMut() -> Key) -> Vec<New> {
    let mut news = Vec::new();
    for group in groups {
        let own = key();
        let record = Group { of: of.clone(), ..group.group.record.clone() };
        news.push(New { place: Place::of("groups", &own), record: record.into() });
        for item in &group.items {
            let record = Prescription { of: own.clone(), ..item.record.clone() };
            news.push(New { place: Place::of("items", &key()), record: record.into() });
        }
    }
    news
}

/// The records of a copy of a session.
pub fn copy_session(
    session: &PlannedSession,
    day: Day,
    pos: Text<64>,
    key: &mut dyn FnMut() -> Key,
) -> Vec<New> {
    let own = key();
    let record = Session { date: day, pos: Some(pos), ..session.session.record.clone() };
    let mut news = vec![New { place: Place::of("sessions", &own), record: record.into() }];
    news.extend(copy_groups(&session.groups, &own, key));
    news
}

/// Sessions to the same weekdays so many days later, in as few commands as fit; each session whole.
pub fn copy_by(
    plan: &Plan,
    sessions: &[&PlannedSession],
    days: &[i32],
    key: &mut dyn FnMut() -> Key,
) -> Vec<Command> {
    let mut ends: BTreeMap<Day, Text<64>> = BTreeMap::new();
    let mut out: Vec<Vec<New>> = Vec::new();
    for by in days {
        for session in sessions {
            let day = session.session.record.date.plus(*by);
            let pos = match ends.get(&day) {
                Some(last) => order::between(Some(last.as_str()), None),
                None => end_of_day(plan, day),
            };
            ends.insert(day, pos.clone());
            let news = copy_session(session, day, pos, key);
            match out.last_mut() {
                Some(last) if last.len() + news.len() <= AT_ONCE => last.extend(news),
                _ => out.push(news),
            }
        }
    }
    out.into_iter().map(Command::Add).collect()
}

/// The same session in each of the next weeks.
pub fn repeat(
    plan: &Plan,
    session: &PlannedSession,
    weeks: i32,
    key: &mut dyn FnMut() -> Key,
) -> Vec<Command> {
    let days: Vec<i32> = (1..=weeks).map(|n| n * 7).collect();
    copy_by(plan, &[session], &days, key)
}

/// Phases back from a meet: weeks of each aim, the last one ending the day before it. Aims without weeks are left
/// out.
#[must_use]
pub fn back_from(meet: Day, weeks: &[(Aim, Name, i32)]) -> Vec<Phase> {
    let mut end = meet.plus(-1);
    let mut out = Vec::new();
    for (aim, title, n) in weeks.iter().rev().filter(|(_, _, n)| *n > 0) {
        let from = end.plus(1 - 7 * n);
        out.push(Phase::new(title.clone(), from, end, *aim));
        end = from.plus(-1);
    }
    out.reverse();
    out
}

/// An edit of one record; none when nothing differs.
#[must_use]
pub fn edit<R: Clone + PartialEq + Into<AnyRecord>>(entry: &Entry<R>, to: R) -> Option<Command> {
    (entry.record != to).then(|| Command::Edit {
        place: entry.place.clone(),
        from: entry.record.clone().into(),
        to: to.into(),
    })
}

/// A session to another day, after what is there.
#[must_use]
pub fn move_to(plan: &Plan, session: &PlannedSession, day: Day) -> Option<Command> {
    if session.session.record.date == day {
        return None;
    }
    let to = Session { date: day, pos: Some(end_of_day(plan, day)), ..session.session.record.clone() };
    edit(&session.session, to)
}

/// A session earlier or later on its day.
#[must_use]
pub fn shift_session(plan: &Plan, session: &PlannedSession, way: Way) -> Option<Command> {
    let day: Vec<&PlannedSession> = plan.on(session.session.record.date).collect();
    let at = day.iter().position(|s| s.key() == session.key())?;
    let places: Vec<&str> =
        day.iter().map(|s| s.session.record.pos.as_ref().map_or("", Text::as_str)).collect();
    let pos = beside(&places, at, way)?;
    edit(&session.session, Session { pos: Some(pos), ..session.session.record.clone() })
}

/// The place one further in a list of places; none at its edge.
fn beside(places: &[&str], at: usize, way: Way) -> Option<Text<64>> {
    let place = |i: usize| places.get(i).copied();
    match way {
        Way::Up => {
            let over = at.checked_sub(1)?;
            let above = over.checked_sub(1).and_then(place);
            Some(order::between(above, place(over)))
        }
        Way::Down => {
            let under = place(at + 1)?;
            Some(order::between(Some(under), place(at + 2)))
        }
    }
}

/// Where new things go in a session: after the last group, or into one.
fn last_group(session: &PlannedSession) -> Option<&str> {
    session.groups.last().map(|g| g.group.record.pos.as_str())
}

/// One exercise in a group of its own, at the end of a session; three sets, until somebody says more.
pub fn add_exercise(session: &PlannedSession, ex: &Key, key: &mut dyn FnMut() -> Key) -> Command {
    let group = key();
    let pos = order::between(last_group(session), None);
    let record = Group::new(session.key(), pos, Form::Single);
    let mut news = vec![New { place: Place::of("groups", &group), record: record.into() }];
    news.extend(item(&group, None, ex, key));
    Command::Add(news)
}

/// One exercise more in a group. A single becomes exercises in turn by it.
pub fn add_to_group(group: &PlannedGroup, ex: &Key, key: &mut dyn FnMut() -> Key) -> Vec<Command> {
    let last = group.items.last().map(|i| i.record.pos.as_str());
    let mut out = vec![Command::Add(item(&group.group.key(), last, ex, key).into_iter().collect())];
    if group.group.record.form == Form::Single && !group.items.is_empty() {
        out.extend(edit(&group.group, Group { form: Form::Superset, ..group.group.record.clone() }));
    }
    out
}

fn item(group: &Key, last: Option<&str>, ex: &Key, key: &mut dyn FnMut() -> Key) -> Option<New> {
    let sets = Count::new(3).ok()?;
    let record = Prescription::new(group.clone(), order::between(last, None), ex.clone(), sets);
    Some(New { place: Place::of("items", &key()), record: record.into() })
}

/// A group earlier or later in its session.
#[must_use]
pub fn shift_group(session: &PlannedSession, group: &Key, way: Way) -> Option<Command> {
    let at = session.groups.iter().position(|g| g.group.key() == *group)?;
    let places: Vec<&str> = session.groups.iter().map(|g| g.group.record.pos.as_str()).collect();
    let entry = &session.groups.get(at)?.group;
    edit(entry, Group { pos: beside(&places, at, way)?, ..entry.record.clone() })
}

/// A prescription earlier or later: within its group, and from its edge into the group beside it.
#[must_use]
pub fn shift_item(session: &PlannedSession, item: &Key, way: Way) -> Option<Command> {
    let (g, i) = session
        .groups
        .iter()
        .enumerate()
        .find_map(|(g, group)| Some((g, group.items.iter().position(|x| x.key() == *item)?)))?;
    let group = session.groups.get(g)?;
    let entry = group.items.get(i)?;
    let places: Vec<&str> = group.items.iter().map(|x| x.record.pos.as_str()).collect();
    if let Some(pos) = beside(&places, i, way) {
        return edit(entry, Prescription { pos, ..entry.record.clone() });
    }
    let (next, pos) = match way {
        Way::Up => {
            let next = session.groups.get(g.checked_sub(1)?)?;
            (next, order::between(next.items.last().map(|x| x.record.pos.as_str()), None))
        }
        Way::Down => {
            let next = session.groups.get(g + 1)?;
            (next, order::between(None, next.items.first().map(|x| x.record.pos.as_str())))
        }
    };
    edit(entry, Prescription { of: next.group.key(), pos, ..entry.record.clone() })
}

/// The same prescription once more, right after.
pub fn double_item(group: &PlannedGroup, item: &Key, key: &mut dyn FnMut() -> Key) -> Option<Command> {
    let at = group.items.iter().position(|i| i.key() == *item)?;
    let entry = group.items.get(at)?;
    let after = group.items.get(at + 1).map(|i| i.record.pos.as_str());
    let pos = order::between(Some(entry.record.pos.as_str()), after);
    let record = Prescription { pos, ..entry.record.clone() };
    Some(Command::Add(vec![New { place: Place::of("items", &key()), record: record.into() }]))
}

/// A group without exercises is taken away with its last one.
#[must_use]
pub fn withdraw_item(group: &PlannedGroup, item: &Entry<Prescription>) -> Command {
    let mut places = vec![item.place.clone()];
    if group.items.len() == 1 {
        places.push(group.group.place.clone());
    }
    Command::Withdraw(places)
}

#[cfg(test)]
#[path = "deeds_tests.rs"]
mod tests;
