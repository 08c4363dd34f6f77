//! Who needs a look now, and why; proposals of the plan's rules; the club's best marks.

use std::collections::{BTreeMap, BTreeSet};

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::exchange::access::{Asker, Right, Role, right};
use backstraight_core::model::name::{DocName, Kind};
use backstraight_core::model::number::Sex;
use backstraight_core::view::attention::{self, Look, reports};
use backstraight_core::view::done::Done;
use backstraight_core::view::marks::Noises;
use backstraight_core::view::proposal;
use backstraight_core::view::records::{self, Holder, may_be_named, of_age};
use backstraight_core::view::show;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::text::wrap;
use super::why::WhyReport;
use crate::grant::{MayReadMarks, MayReview};
use crate::project;
use crate::review::{Review, open};
use crate::store::consents::{self, Use};
use crate::store::{Db, StoreError, document, members, review};

/// Days of logs that are read before the day: load needs four weeks, maxima eight.
const DAYS_BACK: i32 = 84;

/// A page of athletes with their reasons.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct AttentionList {
    /// The day on which it was made.
    pub today: String,
    /// For the next page: give it as `after`. Missing on the last one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
    /// Athletes, by name.
    pub athletes: Vec<AthleteReasons>,
}

/// The reasons to look at one athlete.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct AthleteReasons {
    /// Identity.
    pub id: String,
    /// Name shown.
    pub name: String,
    /// The reasons, in a fixed order of topics.
    pub reasons: Vec<ReasonReport>,
    /// What could not be looked at, and why: no reason of such a topic is no all-clear.
    pub not_looked: Vec<NotLooked>,
}

/// A reason to look.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReasonReport {
    /// About what, in a fixed word.
    pub topic: String,
    /// In words.
    pub words: String,
    /// The day that it is about.
    pub on: Option<String>,
    /// Key of the session, exercise or test that it is about.
    pub about: Option<String>,
    /// Its numbers and the rule.
    pub why: WhyReport,
}

/// What could not be looked at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct NotLooked {
    /// The topic.
    pub topic: String,
    /// Why.
    pub why: String,
}

/// A page of athletes with what the rules of their plans propose.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProposalList {
    /// The day on which it was made.
    pub today: String,
    /// For the next page: give it as `after`. Missing on the last one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
    /// Athletes, by name.
    pub athletes: Vec<AthleteProposals>,
}

/// What the rules of one athlete's plan propose.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct AthleteProposals {
    /// Identity.
    pub id: String,
    /// Name shown.
    pub name: String,
    /// Open proposals, by day.
    pub open: Vec<ProposalReport>,
    /// Exercises whose rule proposes nothing, and why.
    pub quiet: Vec<QuietReport>,
}

/// One proposal. Nothing changes before a coach decides, in the plan itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProposalReport {
    /// Its name: the same facts always propose under the same name.
    pub id: String,
    /// Key of the planned session.
    pub session: String,
    /// Its day.
    pub date: String,
    /// The day of the session done on which it rests.
    pub done_on: String,
    /// The exercise.
    pub exercise: String,
    /// What is asked now.
    pub from: String,
    /// What would be asked.
    pub to: String,
    /// In words.
    pub words: String,
    /// Its numbers and the rule.
    pub why: WhyReport,
}

/// Why a rule proposes nothing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct QuietReport {
    /// The exercise.
    pub exercise: String,
    /// Why.
    pub why: String,
}

/// The best marks of a club.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RecordList {
    /// Up to which day.
    pub until: String,
    /// The best marks, by test and class.
    pub records: Vec<RecordReport>,
}

/// The best mark of a class.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RecordReport {
    /// Key of the test.
    pub protocol: String,
    /// Its name.
    pub test: String,
    /// The unit.
    pub unit: String,
    /// Class of competition, where it is known.
    pub sex: Option<String>,
    /// Age group on the day.
    pub ages: String,
    /// The season, by the year in which it ends; missing for the best of all seasons.
    pub season: Option<u16>,
    /// Whether the wind was too strong to count.
    pub wind_aided: bool,
    /// The holders, the earliest first; several share an equal mark.
    pub best: Vec<BestReport>,
}

/// A best mark.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BestReport {
    /// Who holds it; missing when that person may not be named to the reader: the name is withheld.
    pub person: Option<String>,
    /// The name shown.
    pub name: Option<String>,
    /// The number.
    pub value: f64,
    /// The day.
    pub day: String,
    /// Wind in m/s, where it was measured.
    pub wind_m_s: Option<f64>,
    /// Conditions.
    pub conditions: Option<String>,
    /// Whether a coach took it.
    pub by_coach: bool,
}

/// All trials and weighings of everybody who may be reviewed.
///
/// # Errors
/// When storage fails.
pub fn all_marks(db: &Db, grant: &MayReview) -> Result<BTreeMap<PersonId, Done>, StoreError> {
    let mut marks = BTreeMap::new();
    for person in review::people(db, grant)? {
        if person.role == Role::Athlete {
            marks.insert(person.id, project::marks(db, grant, person.id)?);
        }
    }
    Ok(marks)
}

/// The athletes of a page, and the last of them when more follow.
type PageOf = (BTreeSet<PersonId>, Option<PersonId>);

/// Which athletes a page holds, and what follows it; none when nobody is the one in `after`.
fn page(
    db: &Db,
    grant: &MayReview,
    after: Option<PersonId>,
    most: usize,
) -> Result<Option<PageOf>, StoreError> {
    let mut people = review::people(db, grant)?;
    people.sort_by(|a, b| (&a.name, a.id).cmp(&(&b.name, b.id)));
    let start = match after {
        None => 0,
        Some(after) => match people.iter().position(|p| p.id == after) {
            Some(at) => at + 1,
            None => return Ok(None),
        },
    };
    let mut seen = people
        .into_iter()
        .skip(start)
        .filter(|p| p.role == Role::Athlete && !p.withdrawn && grant.only().is_none_or(|only| only == p.id));
    let ids: Vec<PersonId> = seen.by_ref().take(most).map(|p| p.id).collect();
    let next = seen.next().and_then(|_| ids.last().copied());
    Ok(Some((ids.into_iter().collect(), next)))
}

/// The reasons to look at a page of athletes; none when nobody is the one in `after`. `asker` is who
/// reads: pain and illness are shown only to those to whom the athlete opened them.
///
/// # Errors
/// When storage fails.
pub fn attention(
    db: &Db,
    grant: &MayReview,
    asker: Option<&Asker>,
    (after, most): (Option<PersonId>, usize),
    today: Day,
) -> Result<Option<AttentionList>, StoreError> {
    let Some((ids, next)) = page(db, grant, after, most)? else { return Ok(None) };
    let mut gathered = Review::gather_some(db, grant, (today.plus(-DAYS_BACK), today, today), Some(&ids))?;
    // The noise of a test comes from everybody's trials, and a change from all of one's own.
    let marks = all_marks(db, grant)?;
    let noises = Noises::of(&gathered.library, marks.values());
    gathered.take_trials(&marks);
    let mut athletes = Vec::new();
    for athlete in gathered.athletes() {
        let name = DocName::Care(athlete.person);
        let subject = document::subject(db, &name, asker, today)?;
        let open_to_reader = subject.is_some_and(|s| match asker {
            Some(asker) => right(asker, Kind::Care, &s) != Right::None,
            None => s.care_open_to_coaches,
        });
        let care = if open_to_reader {
            Some(open(db, &name)?.map(|d| reports(&d)).unwrap_or_default())
        } else {
            None
        };
        let look = Look {
            athlete,
            born: gathered.member(athlete.person).and_then(|m| m.born),
            care: care.as_deref(),
            library: &gathered.library,
            noises: &noises,
            today,
        };
        let found = attention::attention(&look);
        athletes.push(AthleteReasons {
            id: athlete.person.to_string(),
            name: athlete.name.to_owned(),
            reasons: found
                .reasons
                .iter()
                .map(|r| ReasonReport {
                    topic: r.topic.word().to_owned(),
                    words: r.words.clone(),
                    on: r.on.map(|d| d.to_string()),
                    about: r.about.as_ref().map(ToString::to_string),
                    why: WhyReport::of(&r.why),
                })
                .collect(),
            not_looked: found
                .not_looked
                .into_iter()
                .map(|(topic, why)| NotLooked { topic: topic.word().to_owned(), why })
                .collect(),
        });
    }
    Ok(Some(AttentionList { today: today.to_string(), next: next.map(|n| n.to_string()), athletes }))
}

/// What the rules of a page of athletes' plans propose; none when nobody is the one in `after`.
///
/// # Errors
/// When storage fails.
pub fn proposals(
    db: &Db,
    grant: &MayReview,
    (after, most): (Option<PersonId>, usize),
    today: Day,
) -> Result<Option<ProposalList>, StoreError> {
    let Some((ids, next)) = page(db, grant, after, most)? else { return Ok(None) };
    let days = (today.plus(-proposal::OLD_DAYS - 7), today, today);
    let gathered = Review::gather_some(db, grant, days, Some(&ids))?;
    let library = &gathered.library;
    let asks = |p: &backstraight_core::model::plan::Prescription| {
        show::target(&backstraight_core::view::judge::target_now(p, p.sets), library)
    };
    let athletes = gathered.athletes().map(|athlete| {
        let found = proposal::proposals(athlete, library, today);
        AthleteProposals {
            id: athlete.person.to_string(),
            name: athlete.name.to_owned(),
            open: found
                .open
                .iter()
                .map(|p| ProposalReport {
                    id: p.id.to_string(),
                    session: p.session.to_string(),
                    date: p.date.to_string(),
                    done_on: p.done_on.to_string(),
                    exercise: library.exercise_name(&p.from.ex),
                    from: asks(&p.from),
                    to: asks(&p.to),
                    words: p.words.clone(),
                    why: WhyReport::of(&p.why),
                })
                .collect(),
            quiet: found
                .quiet
                .iter()
                .map(|(ex, why)| QuietReport {
                    exercise: library.exercise_name(ex),
                    why: why.words().to_owned(),
                })
                .collect(),
        }
    });
    let athletes = athletes.collect();
    Ok(Some(ProposalList { today: today.to_string(), next: next.map(|n| n.to_string()), athletes }))
}

/// The best marks of those whom the reader may review: coaches see the club's, athletes their own.
///
/// # Errors
/// When storage fails.
pub fn records(db: &Db, grant: &MayReview, until: Day) -> Result<RecordList, StoreError> {
    // Whoever may review somebody knows them by name.
    list_records(db, grant, until, &|_, _| true)
}

/// The best marks of the whole club for one reader: to others an athlete is named only where that is
/// allowed on `today`.
///
/// # Errors
/// When storage fails.
pub fn club_records(db: &Db, grant: &MayReadMarks, until: Day, today: Day) -> Result<RecordList, StoreError> {
    let club = grant.of_club();
    let said = consents::of_club(db, club.club(), Use::NameToOthers, today)?;
    let majority = members::club(db, club.club())?.map_or(records::ADULT, |c| c.majority);
    list_records(db, &club, until, &|person, born| {
        let adult = of_age(born, today, majority);
        person == grant.reader() || may_be_named(adult, grant.coach(), said.get(&person).copied())
    })
}

/// `may_name` is asked with the date of birth as far as it is known: the account's, else the squad's.
fn list_records(
    db: &Db,
    grant: &MayReview,
    until: Day,
    may_name: &dyn Fn(PersonId, Option<Day>) -> bool,
) -> Result<RecordList, StoreError> {
    let gathered = Review::gather_some(db, grant, (until, until, until), Some(&BTreeSet::new()))?;
    let mut known = Vec::new();
    for person in review::people(db, grant)? {
        // Who left the club keeps the marks, as record lists do.
        let seen = person.role == Role::Athlete && grant.only().is_none_or(|only| only == person.id);
        if seen {
            known.push((project::marks(db, grant, person.id)?, person));
        }
    }
    let people: Vec<records::Person<'_>> = known
        .iter()
        .map(|(done, p)| {
            let member = gathered.member(p.id);
            records::Person {
                person: p.id,
                name: &p.name,
                sex: member.and_then(|m| m.sex),
                born: member.and_then(|m| m.born),
                done,
            }
        })
        .collect();
    let born: BTreeMap<PersonId, Option<Day>> = people.iter().map(|p| (p.person, p.born)).collect();
    let may_name = |person: PersonId| may_name(person, born.get(&person).copied().flatten());
    let found = records::records(&people, &gathered.library, &may_name, until);
    Ok(RecordList { until: until.to_string(), records: found.iter().map(record).collect() })
}

fn record(r: &records::ClubRecord) -> RecordReport {
    let best = r.best.iter().map(|b| {
        let (person, name) = match &b.holder {
            Holder::Named { person, name } => (Some(person.to_string()), Some(name.clone())),
            Holder::Unnamed => (None, None),
        };
        BestReport {
            person,
            name,
            value: b.value,
            day: b.day.to_string(),
            wind_m_s: b.wind,
            conditions: b.conditions.clone(),
            by_coach: b.by_coach,
        }
    });
    RecordReport {
        protocol: r.class.protocol.to_string(),
        test: r.test.clone(),
        unit: r.unit.clone(),
        sex: r.class.sex.map(|s: Sex| s.word().to_owned()),
        ages: r.class.ages.word().to_owned(),
        season: r.class.season,
        wind_aided: r.class.wind_aided,
        best: best.collect(),
    }
}

impl AttentionList {
    /// As plain text of at most a hundred columns; athletes without a reason are counted.
    #[must_use]
    pub fn to_text(&self) -> String {
        let mut out = Vec::new();
        for a in self.athletes.iter().filter(|a| !a.reasons.is_empty()) {
            let mut lines = vec![wrap(&a.name)];
            for r in &a.reasons {
                let on = r.on.as_ref().map_or_else(String::new, |d| format!(" ({d})"));
                lines.push(wrap(&format!("- {}: {}{on}", r.topic, r.words)));
            }
            out.push(lines.join("\n"));
        }
        let quiet = self.athletes.iter().filter(|a| a.reasons.is_empty()).count();
        out.push(format!("No reason for a look at {quiet} of {} athletes.", self.athletes.len()));
        let closed: BTreeSet<&str> =
            self.athletes.iter().flat_map(|a| a.not_looked.iter().map(|n| n.topic.as_str())).collect();
        if !closed.is_empty() {
            let closed: Vec<&str> = closed.into_iter().collect();
            out.push(wrap(&format!("Not looked at for everybody (see --json): {}.", closed.join(", "))));
        }
        out.join("\n\n")
    }
}

impl ProposalList {
    /// As plain text of at most a hundred columns.
    #[must_use]
    pub fn to_text(&self) -> String {
        let mut out = Vec::new();
        for a in self.athletes.iter().filter(|a| !a.open.is_empty()) {
            let mut lines = vec![wrap(&a.name)];
            for p in &a.open {
                lines.push(wrap(&format!("- {}, {}: {} → {}", p.date, p.exercise, p.from, p.to)));
                lines.push(wrap(&format!("  {}", p.words)));
                lines.extend(p.why.caution.iter().map(|c| wrap(&format!("  {}", c.words))));
            }
            out.push(lines.join("\n"));
        }
        let open: usize = self.athletes.iter().map(|a| a.open.len()).sum();
        out.push(format!("{open} open. A coach decides on each; nothing changes by itself."));
        out.join("\n\n")
    }
}

impl RecordList {
    /// As plain text of at most a hundred columns.
    #[must_use]
    pub fn to_text(&self) -> String {
        if self.records.is_empty() {
            return "No marks yet.".to_owned();
        }
        let rows: Vec<Vec<String>> = self
            .records
            .iter()
            .flat_map(|r| {
                r.best.iter().map(|b| {
                    let season = r.season.map_or_else(|| "all".to_owned(), |s| s.to_string());
                    let wind = b.wind_m_s.map_or_else(String::new, |w| format!("{w:+.1}"));
                    let sex = r.sex.clone().unwrap_or_else(|| "–".to_owned());
                    let name = b.name.clone().unwrap_or_else(|| "name withheld".to_owned());
                    vec![
                        r.test.clone(),
                        sex,
                        r.ages.clone(),
                        season,
                        format!("{} {}", b.value, r.unit).trim_end().to_owned(),
                        wind,
                        name,
                        b.day.clone(),
                    ]
                })
            })
            .collect();
        super::text::table(&["test", "class", "ages", "season", "mark", "wind", "by", "on"], &rows)
    }
}
