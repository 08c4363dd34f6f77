//! What a coach reviews, gathered from stored documents: library, plans, logs and notes of the
//! athletes whom the reader may review. Rules are none of this file's: they are in core's views.

use std::collections::{BTreeMap, BTreeSet};

use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{InstallId, PersonId};
use backstraight_core::doc::genesis;
use backstraight_core::doc::open::Document;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{SeasonNo, Sex};
use backstraight_core::model::plan::Member;
use backstraight_core::view::board::{Athlete, Row, row};
use backstraight_core::view::done::Done;
use backstraight_core::view::library::Library;
use backstraight_core::view::planned::Plan;

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
    season: Option<SeasonNo>,
    plan: Plan,
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
            season: a.season,
            plan: &a.plan,
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
    // The newest season that has a plan.
    let season = names
        .iter()
        .filter_map(|n| match n {
            DocName::Plan(_, season) => Some(*season),
            _ => None,
        })
        .max();
    let plan = match season.map(|s| open(db, &DocName::Plan(person.id, s))).transpose()?.flatten() {
        Some(doc) => Plan::of(&doc),
        None => Plan::default(),
    };
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
    Ok(Gathered {
        done: Done::of(docs.iter()),
        events: members.get(&person.id).and_then(|m| m.events.clone()).unwrap_or_default(),
        heard_through: person.heard_through,
        season,
        person: person.id,
        name: person.name,
        plan,
    })
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
