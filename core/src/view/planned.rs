//! A plan document put together: sessions with their groups and prescriptions, in order.

use std::collections::{BTreeMap, BTreeSet};

use crate::base::day::Day;
use crate::base::key::Key;
use crate::doc::open::Document;
use crate::doc::place::Place;
use crate::doc::read::{Entry, Met, Read, Unreadable};
use crate::model::number::{Aim, Count, PlanMark};
use crate::model::packed::Asked;
use crate::model::plan::{Condition, Decision, Group, Phase, PlanAbout, Prescription, Session, Week};

/// A session as it is planned now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlannedSession {
    /// The session.
    pub session: Entry<Session>,
    /// Its groups, in order; withdrawn ones left out.
    pub groups: Vec<PlannedGroup>,
}

/// A group as it is planned now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlannedGroup {
    /// The group.
    pub group: Entry<Group>,
    /// Its prescriptions, in order; withdrawn ones left out.
    pub items: Vec<Entry<Prescription>>,
}

/// A season's plan.
#[derive(Debug, Clone, Default)]
pub struct Plan {
    /// What the season is.
    pub about: Option<PlanAbout>,
    /// Phases by first day.
    pub phases: Vec<Entry<Phase>>,
    /// Weeks by Monday.
    pub weeks: Vec<Entry<Week>>,
    /// Sessions by day and order; withdrawn ones left out.
    pub sessions: Vec<PlannedSession>,
    /// Standing replacements by phase.
    pub conditions: Vec<Entry<Condition>>,
    /// Decisions on proposals, by time; those that were taken back left out.
    pub decisions: Vec<Entry<Decision>>,
    /// Fields at which two edits met.
    pub met: Vec<Met>,
    /// Records that could not be read.
    pub unreadable: Vec<Unreadable>,
    /// The state of the document, as logs remember it.
    pub mark: Option<PlanMark>,
}

impl Plan {
    /// Reads a plan document.
    #[must_use]
    pub fn of(doc: &Document) -> Plan {
        let sessions = doc.records::<Session>("sessions");
        Plan::with(doc, sessions, doc.records::<Group>("groups"), doc.records::<Prescription>("items"))
    }

    /// Reads of a plan document what a day's screen needs: its sessions alone, phases and
    /// conditions. A season is read in a fraction of the time so.
    #[must_use]
    pub fn of_day(doc: &Document, day: Day) -> Plan {
        fn keys<R>(read: &Read<R>) -> BTreeSet<String> {
            read.entries.iter().map(|e| e.key().to_string()).collect()
        }
        let date = day.to_string();
        let mut sessions = doc.records_with::<Session>("sessions", "date", &|d| d == date);
        sessions.entries.retain(|s| s.record.date == day);
        let of = keys(&sessions);
        let groups = doc.records_with::<Group>("groups", "of", &|k| of.contains(k));
        let of = keys(&groups);
        let items = doc.records_with::<Prescription>("items", "of", &|k| of.contains(k));
        Plan::with(doc, sessions, groups, items)
    }

    fn with(doc: &Document, sessions: Read<Session>, groups: Read<Group>, items: Read<Prescription>) -> Plan {
        let mut plan = Plan { mark: Some(doc.mark()), ..Plan::default() };
        let about = doc.record::<PlanAbout>(&Place::main("about"));
        plan.about = about.ok().flatten().map(|e| {
            plan.met.extend(e.met);
            e.record
        });
        let phases = doc.records::<Phase>("phases");
        let weeks = doc.records::<Week>("weeks");
        let conditions = doc.records::<Condition>("conditions");
        let decisions = doc.records::<Decision>("decisions");
        macro_rules! note {
            ($($read:ident),*) => { $(
                plan.met.extend($read.live().flat_map(|e| e.met.iter().cloned()));
                plan.unreadable.extend($read.unreadable.iter().cloned());
            )* };
        }
        note!(phases, weeks, sessions, groups, items, conditions, decisions);

        let mut items: Vec<_> = items.entries.into_iter().filter(Entry::live).collect();
        items.sort_by_cached_key(|i| (i.record.pos.clone(), i.key()));
        let mut items = by_parent(items, |i| &i.record.of);
        let mut groups: Vec<_> = groups
            .entries
            .into_iter()
            .filter(Entry::live)
            .map(|group| {
                let mine = items.remove(&group.key()).unwrap_or_default();
                PlannedGroup { group, items: mine }
            })
            .collect();
        groups.sort_by_cached_key(|g| (g.group.record.pos.clone(), g.group.key()));
        let mut groups = by_parent(groups, |g| &g.group.record.of);
        plan.sessions = sessions
            .entries
            .into_iter()
            .filter(Entry::live)
            .map(|session| {
                let mine = groups.remove(&session.key()).unwrap_or_default();
                PlannedSession { session, groups: mine }
            })
            .collect();
        plan.sessions.sort_by_cached_key(PlannedSession::order);
        plan.phases = phases.entries.into_iter().filter(Entry::live).collect();
        plan.phases.sort_by_key(|p| (p.record.from, p.key()));
        plan.weeks = weeks.entries.into_iter().filter(Entry::live).collect();
        plan.weeks.sort_by_key(|w| (w.record.start, w.key()));
        plan.conditions = conditions.entries.into_iter().filter(Entry::live).collect();
        plan.decisions = decisions.entries.into_iter().filter(Entry::live).collect();
        plan.decisions.sort_by_key(|d| (d.record.at, d.key()));
        plan
    }

    /// The session of that key.
    #[must_use]
    pub fn session(&self, key: &Key) -> Option<&PlannedSession> {
        self.sessions.iter().find(|s| s.session.key() == *key)
    }

    /// The prescription of that key, as it stands now.
    #[must_use]
    pub fn item(&self, key: &Key) -> Option<&Entry<Prescription>> {
        self.sessions.iter().flat_map(PlannedSession::items).map(|(_, i)| i).find(|i| i.key() == *key)
    }

    /// Sessions of a day, in order.
    pub fn on(&self, day: Day) -> impl Iterator<Item = &PlannedSession> {
        self.sessions.iter().filter(move |s| s.session.record.date == day)
    }

    /// The last day on which a session is asked.
    #[must_use]
    pub fn last_day(&self) -> Option<Day> {
        self.sessions.last().map(|s| s.session.record.date)
    }

    /// The first and the last day of the season: what the plan says of it, else its first and last session. None when
    /// it says neither.
    #[must_use]
    pub fn span(&self) -> Option<(Day, Day)> {
        let about = self.about.as_ref();
        let first = self.sessions.first().map(|s| s.session.record.date);
        let from = about.and_then(|a| a.from).or(first)?;
        Some((from, about.and_then(|a| a.to).or(self.last_day())?))
    }

    /// Aims of the phases in which a day lies.
    pub fn aims(&self, day: Day) -> impl Iterator<Item = Aim> {
        self.phases.iter().filter(move |p| p.record.from <= day && day <= p.record.to).map(|p| p.record.aim)
    }

    /// The exercise to do for a prescription on a day: its own, or what a condition of the phase
    /// puts in its place.
    #[must_use]
    pub fn exercise_on(&self, item: &Prescription, day: Day) -> Key {
        let aims: Vec<Aim> = self.aims(day).collect();
        self.conditions
            .iter()
            .find(|c| c.record.ex == item.ex && aims.contains(&c.record.aim))
            .map_or_else(|| item.ex.clone(), |c| c.record.take.clone())
    }
}

impl PlannedSession {
    pub(super) fn order(&self) -> (Day, String, Key) {
        let pos = self.session.record.pos.as_ref().map_or_else(String::new, ToString::to_string);
        (self.session.record.date, pos, self.session.key())
    }

    /// Its key.
    #[must_use]
    pub fn key(&self) -> Key {
        self.session.key()
    }

    /// All its prescriptions with their groups, in order.
    pub fn items(&self) -> impl Iterator<Item = (&PlannedGroup, &Entry<Prescription>)> {
        self.groups.iter().flat_map(|g| g.items.iter().map(move |i| (g, i)))
    }

    /// What it asks now, as a log remembers it.
    #[must_use]
    pub fn asked(&self) -> Asked {
        Asked(self.items().map(|(g, i)| (i.key(), sets_asked(&g.group.record, &i.record))).collect())
    }
}

/// Puts records under what they belong to, each list in the order given.
fn by_parent<T>(list: Vec<T>, of: impl Fn(&T) -> &Key) -> BTreeMap<Key, Vec<T>> {
    let mut map: BTreeMap<Key, Vec<T>> = BTreeMap::new();
    for entry in list {
        map.entry(of(&entry).clone()).or_default().push(entry);
    }
    map
}

/// Sets asked of a prescription: the rounds of its group where the group has rounds.
#[must_use]
pub fn sets_asked(group: &Group, item: &Prescription) -> Count {
    group.rounds.unwrap_or(item.sets)
}
