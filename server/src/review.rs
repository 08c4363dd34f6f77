//! What a coach reviews, gathered from stored documents: library, plans, logs and notes of the
//! athletes whom the reader may review. Rules are none of this file's: they are in core's views.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{InstallId, PersonId};
use backstraight_core::doc::genesis;
use backstraight_core::doc::open::Document;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Sex;
use backstraight_core::model::plan::Member;
use backstraight_core::view::board::{Athlete, Row, row};
use backstraight_core::view::done::Done;
use backstraight_core::view::library::Library;
use backstraight_core::view::planned::Plan;
use backstraight_core::view::plans::{Plans, answers};

use crate::grant::MayReview;
use crate::store::document;
use crate::store::review as rows;
use crate::store::{Db, StoreError};

/// Days before the first one asked for whose logs are read too: a session may be done early.
const DAYS_BEFORE: i32 = 31;

/// The first month whose logs and notes concern days from `from` on.
#[must_use]
pub fn logs_from(from: Day) -> Month {
    from.plus(-DAYS_BEFORE).month()
}

/// One athlete's documents, put together.
#[derive(Debug)]
struct Gathered {
    person: PersonId,
    name: String,
    events: String,
    plans: Plans,
    done: Done,
    heard_through: Option<Day>,
}

/// What was gathered.
#[derive(Debug)]
pub struct Review {
    /// The club's library.
    pub library: Library,
    athletes: Vec<Gathered>,
    members: BTreeMap<PersonId, MemberFacts>,
    names: BTreeMap<InstallId, String>,
    from: Day,
    to: Day,
    today: Day,
}

impl Review {
    /// Gathers what concerns the days `from` to `to`, as seen on `today`.
    ///
    /// # Errors
    /// When storage fails or a stored document cannot be read.
    pub fn gather(db: &Db, grant: &MayReview, from: Day, to: Day, today: Day) -> Result<Review, StoreError> {
        Review::gather_some(db, grant, (from, to, today), None)
    }

    /// The same of some athletes only.
    ///
    /// # Errors
    /// As [`Review::gather`].
    pub fn gather_some(
        db: &Db,
        grant: &MayReview,
        (from, to, today): (Day, Day, Day),
        only: Option<&BTreeSet<PersonId>>,
    ) -> Result<Review, StoreError> {
        let library = match open(db, &DocName::Library(grant.club()))? {
            Some(doc) => Library::of(&doc),
            None => Library::default(),
        };
        let mut names = BTreeMap::new();
        let mut athletes = Vec::new();
        let mut members = members(db, grant)?;
        for person in rows::people(db, grant)? {
            // The account's date of birth goes before the one that a squad has.
            if person.born.is_some() {
                members.entry(person.id).or_default().born = person.born;
            }
            names.extend(person.installs.iter().map(|i| (*i, person.name.clone())));
            let wanted = person.role == Role::Athlete
                && !person.withdrawn
                && grant.only().is_none_or(|p| p == person.id)
                && only.is_none_or(|ids| ids.contains(&person.id));
            if wanted {
                athletes.push(gather_one(db, person, &members, from)?);
            }
        }
        athletes.sort_by(|a, b| (&a.name, a.person).cmp(&(&b.name, b.person)));
        Ok(Review { library, athletes, members, names, from, to, today })
    }

    /// The athletes, as core takes them.
    pub fn athletes(&self) -> impl Iterator<Item = Athlete<'_>> {
        self.athletes.iter().map(|a| Athlete {
            person: a.person,
            name: &a.name,
            events: &a.events,
            plans: &a.plans,
            done: &a.done,
            heard_through: a.heard_through,
        })
    }

    /// What the squads say about a person.
    #[must_use]
    pub fn member(&self, person: PersonId) -> Option<&MemberFacts> {
        self.members.get(&person)
    }

    /// Puts all of an athlete's test trials in the place of those of the months that were read.
    pub fn take_trials(&mut self, all: &BTreeMap<PersonId, Done>) {
        for athlete in &mut self.athletes {
            if let Some(done) = all.get(&athlete.person) {
                athlete.done.trials.clone_from(&done.trials);
            }
        }
    }

    /// One row per athlete.
    #[must_use]
    pub fn rows(&self) -> Vec<Row<'_>> {
        self.athletes().map(|athlete| row(athlete, &self.library, self.from, self.to, self.today)).collect()
    }

    /// The name of the person whose install it is.
    #[must_use]
    pub fn who(&self, install: InstallId) -> Option<String> {
        self.names.get(&install).cloned()
    }
}

fn gather_one(
    db: &Db,
    person: rows::Person,
    members: &BTreeMap<PersonId, MemberFacts>,
    from: Day,
) -> Result<Gathered, StoreError> {
    let names = rows::documents(db, person.id)?;
    let least = logs_from(from);
    let mut docs = Vec::new();
    for name in &names {
        let counts = match name {
            DocName::Log(_, m) | DocName::Notes(_, m) => *m >= least,
            DocName::Availability(_) => true,
            _ => false,
        };
        if counts {
            docs.extend(open(db, name)?);
        }
    }
    let done = Done::of(docs.iter());
    Ok(Gathered {
        plans: plans(db, person.id, &names, &done, least)?,
        done,
        events: members.get(&person.id).and_then(|m| m.events.clone()).unwrap_or_default(),
        heard_through: person.heard_through,
        person: person.id,
        name: person.name,
    })
}

/// The plans that concern days from the month `least` on: those that go on in it or later, and those that somebody
/// followed since. Seasons that are over are not opened, as far as the board's rows say which they are.
fn plans(
    db: &Db,
    athlete: PersonId,
    names: &[DocName],
    done: &Done,
    least: Month,
) -> Result<Plans, StoreError> {
    let over = rows::plans_over(db, athlete, least)?;
    let is_over = |plan: &Plan| plan.last_day().is_some_and(|last| last.month() < least);
    let mut list = Vec::new();
    let mut skipped = Vec::new();
    for name in names {
        let DocName::Plan(_, season) = *name else { continue };
        let followed = done.sessions.iter().any(|d| answers(season, d).is_some());
        if over.contains(name) && !followed {
            skipped.push((season, *name));
        } else if let Some(doc) = open(db, name)? {
            list.push((season, Plan::of(&doc)));
        }
    }
    // Where no season goes on, the last day of those that are over is what there is to say.
    if list.iter().all(|(_, plan)| plan.last_day().is_none() || is_over(plan)) {
        for (season, name) in skipped {
            list.extend(open(db, &name)?.map(|doc| (season, Plan::of(&doc))));
        }
    }
    // Of a season that is over nothing is to be mended on these days.
    for (_, plan) in list.iter_mut().filter(|(_, plan)| is_over(plan)) {
        plan.met.clear();
        plan.unreadable.clear();
    }
    Ok(Plans::from(list.into_iter().map(|(season, plan)| (season, Arc::new(plan))).collect::<Vec<_>>()))
}

pub(crate) fn open(db: &Db, name: &DocName) -> Result<Option<Document>, StoreError> {
    document::find(db, name)?.map(|doc| open_doc(db, &doc)).transpose()
}

pub(crate) fn open_doc(db: &Db, doc: &document::Doc) -> Result<Document, StoreError> {
    let bytes = document::whole(db, doc.id, genesis::bytes(doc.name.kind()))?;
    Document::open(doc.name, &bytes).map_err(|e| StoreError::Damaged(format!("document {}: {e}", doc.id)))
}

/// What the squads say about a person; a later squad's words go before an earlier one's.
#[derive(Debug, Clone, Default)]
pub struct MemberFacts {
    /// Event group.
    pub events: Option<String>,
    /// Date of birth.
    pub born: Option<Day>,
    /// Class of competition.
    pub sex: Option<Sex>,
}

fn members(db: &Db, grant: &MayReview) -> Result<BTreeMap<PersonId, MemberFacts>, StoreError> {
    let mut all: BTreeMap<PersonId, MemberFacts> = BTreeMap::new();
    for squad in rows::squads(db, grant)? {
        let Some(doc) = open(db, &DocName::Squad(squad))? else { continue };
        for member in doc.records::<Member>("members").live() {
            let facts = all.entry(member.record.athlete).or_default();
            let events = member.record.events.as_ref().map(ToString::to_string);
            facts.events = events.or_else(|| facts.events.take());
            facts.born = member.record.born.or(facts.born);
            facts.sex = member.record.sex.or(facts.sex);
        }
    }
    Ok(all)
}
