//! Whom a coach looks at first this evening, and why. Found by core from the documents on this phone, so it
//! works without a signal; what is not on this phone is said not to have been looked at.

use std::collections::BTreeMap;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::model::name::DocName;
use backstraight_core::model::plan::Member;
use backstraight_core::science::Caution;
use backstraight_core::view::attention::{Attention, Look, attention, reports};
use backstraight_core::view::marks::Noises;

use super::board::athletes;
use super::clock::Now;
use super::error::DoorError;
use super::install::Install;
use super::sheet::Here;
use super::today::OfPerson;
use super::work::Work;

/// A reason to look at an athlete.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct ReasonLine {
    /// What it is about, a stable word such as `pain or illness`, `unheard`, `effort`, `two edits met`.
    pub topic: String,
    /// In words.
    pub words: String,
    /// The day that it is about.
    pub day: Option<String>,
    /// The record that it is about: a session, an exercise, a test.
    pub about: Option<String>,
}

/// A topic that could not be looked at: no reason of it is no all-clear.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct NotLooked {
    /// Which, a stable word.
    pub topic: String,
    /// Why, in words.
    pub why: String,
}

/// What there is about one athlete.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct AttentionLine {
    /// Who.
    pub athlete: String,
    /// The name shown.
    pub name: String,
    /// Reasons, in a fixed order of topics, the newest of a topic first.
    pub reasons: Vec<ReasonLine>,
    /// What could not be looked at.
    pub not_looked: Vec<NotLooked>,
}

/// The evening's list.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct AttentionList {
    /// Athletes by name, those without a reason too.
    pub athletes: Vec<AttentionLine>,
    /// The caution to show with it.
    pub caution: String,
}

#[uniffi::export]
impl Install {
    /// Reasons to look at athletes now. For coaches.
    ///
    /// # Errors
    /// `NotAllowed`, and what the store says.
    pub fn attention(&self, now: Now) -> Result<AttentionList, DoorError> {
        self.clock.tell(now);
        self.read(|work| {
            let born = born(work)?;
            let all = athletes(work)?;
            let mut everybody = Vec::new();
            for (name, person, heard) in all {
                let here = Here::read(work, person)?;
                let done = work.readings.all_done(&mut work.device, person)?;
                everybody.push((name, person, heard, here, done));
            }
            // The noise of a test comes from everybody's trials.
            let library = work.library()?;
            let noises = Noises::of(&library, everybody.iter().map(|(.., done)| done));
            let mut lines = Vec::new();
            for (name, person, heard, here, done) in &everybody {
                let care = DocName::Care(*person);
                let there = work.device.documents()?.contains(&care);
                let care = if there { Some(reports(work.device.document(care)?)) } else { None };
                let of = OfPerson { person: *person, name, heard: *heard };
                let found = of.with(here, |athlete| {
                    attention(&Look {
                        // A change of a test is looked for in all of one's own trials.
                        athlete: backstraight_core::view::board::Athlete { done, ..athlete },
                        born: born.get(person).copied(),
                        care: care.as_deref(),
                        library: &here.library,
                        noises: &noises,
                        today: here.day,
                    })
                });
                lines.push(line(*person, name, found));
            }
            Ok(AttentionList { athletes: lines, caution: Caution::Load.text().to_owned() })
        })
    }
}

/// Dates of birth, where squads have them.
fn born(work: &mut Work) -> Result<BTreeMap<PersonId, Day>, DoorError> {
    let mut born = BTreeMap::new();
    for name in work.device.documents()? {
        if matches!(name, DocName::Squad(_)) {
            let members = work.device.document(name)?.records::<Member>("members");
            born.extend(members.live().filter_map(|m| Some((m.record.athlete, m.record.born?))));
        }
    }
    Ok(born)
}

fn line(person: PersonId, name: &str, found: Attention) -> AttentionLine {
    let reasons = found.reasons.into_iter().map(|r| ReasonLine {
        topic: r.topic.word().to_owned(),
        words: r.words,
        day: r.on.map(|d| d.to_string()),
        about: r.about.map(|k| k.to_string()),
    });
    let not_looked = found.not_looked.into_iter();
    AttentionLine {
        athlete: person.to_string(),
        name: name.to_owned(),
        reasons: reasons.collect(),
        not_looked: not_looked.map(|(t, why)| NotLooked { topic: t.word().to_owned(), why }).collect(),
    }
}
