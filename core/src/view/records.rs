//! Record lists of a club and personal bests. A minor is named to nobody whom `may_name` does not
//! allow; withdrawn marks do not count; marks with too much wind stand apart.

use std::collections::{BTreeMap, BTreeSet};

use super::club::{Thresholds, age};
use super::done::Done;
use super::library::Library;
use super::marks::{Mark, Noises, Reading, against, all_marks, better, unit};
use super::speed::Change;
use super::why::Lack;
use crate::base::day::Day;
use crate::base::id::PersonId;
use crate::base::key::Key;
use crate::model::number::{Better, Measure, Sex};
use crate::model::plan::Protocol;

/// Wind above which a sprint or a jump counts for no record, m/s (World Athletics, Technical
/// Rules: +2.0 m/s for runs up to 200 m and horizontal jumps).
pub const MOST_WIND: f64 = 2.0;

/// Age below which somebody is a minor, where a club has set no other.
pub const ADULT: u16 = 18;

/// Whether somebody is of age on a day. Somebody whose date of birth is not known is taken for a minor.
#[must_use]
pub fn of_age(born: Option<Day>, today: Day, majority: u16) -> bool {
    born.is_some_and(|b| age(b, today) >= majority)
}

/// Whether somebody may be named to a reader other than themselves. Coaches know everybody. To others
/// an adult is named unless the adult has said no, a minor only with the guardian's yes and without a
/// no of the minor. `said` is what consents say, where they say anything.
#[must_use]
pub fn may_be_named(of_age: bool, coach: bool, said: Option<bool>) -> bool {
    coach || said.unwrap_or(of_age)
}

/// A person of the club.
#[derive(Debug, Clone, Copy)]
pub struct Person<'a> {
    /// Who.
    pub person: PersonId,
    /// The name shown.
    pub name: &'a str,
    /// Class of competition, where it is known.
    pub sex: Option<Sex>,
    /// Date of birth, where it is known.
    pub born: Option<Day>,
    /// What was done.
    pub done: &'a Done,
}

/// Age groups, by the age reached in the calendar year of the mark; from 35 by the birthday, as in
/// the sport's own classes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum AgeGroup {
    /// At most 13 in the year.
    Under14,
    /// 14 or 15.
    Under16,
    /// 16 or 17.
    Under18,
    /// 18 or 19.
    Under20,
    /// 20 and more.
    Senior,
    /// 35 and more, from the birthday on.
    Masters,
    /// The date of birth is not known.
    Unknown,
}

impl AgeGroup {
    /// The group of somebody on a day.
    #[must_use]
    pub fn of(born: Option<Day>, on: Day) -> AgeGroup {
        let Some(born) = born else { return AgeGroup::Unknown };
        if age(born, on) >= 35 {
            return AgeGroup::Masters;
        }
        match on.month().year().saturating_sub(born.month().year()) {
            0..=13 => AgeGroup::Under14,
            14 | 15 => AgeGroup::Under16,
            16 | 17 => AgeGroup::Under18,
            18 | 19 => AgeGroup::Under20,
            _ => AgeGroup::Senior,
        }
    }

    /// Its word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            AgeGroup::Under14 => "under 14",
            AgeGroup::Under16 => "under 16",
            AgeGroup::Under18 => "under 18",
            AgeGroup::Under20 => "under 20",
            AgeGroup::Senior => "senior",
            AgeGroup::Masters => "35 and over",
            AgeGroup::Unknown => "age unknown",
        }
    }
}

/// For what a best mark is.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Class {
    /// The test.
    pub protocol: Key,
    /// Class of competition; `None` where it is not known.
    pub sex: Option<Sex>,
    /// Age group on the day.
    pub ages: AgeGroup,
    /// The season, by the year in which it ends; `None` for the best of all seasons.
    pub season: Option<u16>,
    /// Whether the wind was too strong to count.
    pub wind_aided: bool,
}

/// Who holds a mark.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Holder {
    /// Somebody who may be named to the reader.
    Named {
        /// Who.
        person: PersonId,
        /// The name shown.
        name: String,
    },
    /// Somebody who may not.
    Unnamed,
}

/// A best mark as it is shown.
#[derive(Debug, Clone, PartialEq)]
pub struct Best {
    /// Who holds it.
    pub holder: Holder,
    /// The number.
    pub value: f64,
    /// The day.
    pub day: Day,
    /// Wind, m/s, where it was measured.
    pub wind: Option<f64>,
    /// Conditions; left out with the name, because words may name somebody.
    pub conditions: Option<String>,
    /// Whether a coach took it.
    pub by_coach: bool,
}

/// A record: the best mark of a class, shared where several are equal.
#[derive(Debug, Clone, PartialEq)]
pub struct ClubRecord {
    /// For what.
    pub class: Class,
    /// The test's name.
    pub test: String,
    /// The unit.
    pub unit: String,
    /// The holders, the earliest first; several share an equal mark.
    pub best: Vec<Best>,
}

/// The best marks of the club by test, class of competition, age group and season, and over all
/// seasons, up to `until`. Trials that were withdrawn are in no [`Done`] and so in no record.
#[must_use]
pub fn records(
    people: &[Person<'_>],
    library: &Library,
    may_name: &dyn Fn(PersonId) -> bool,
    until: Day,
) -> Vec<ClubRecord> {
    let seasons = Thresholds::of(library.settings.as_ref());
    let mut best: BTreeMap<Class, Vec<(Mark, usize)>> = BTreeMap::new();
    for (index, person) in people.iter().enumerate() {
        for ((protocol, read), marks) in all_marks(person.done, library) {
            let Some(test) = library.protocols.get(&protocol).map(|p| &p.record) else { continue };
            for mark in marks.into_iter().filter(|m| read == Reading::Result && m.day <= until) {
                for season in [Some(seasons.season(mark.day)), None] {
                    let class = Class {
                        protocol: protocol.clone(),
                        sex: person.sex,
                        ages: AgeGroup::of(person.born, mark.day),
                        season,
                        wind_aided: wind_aided(test, &mark),
                    };
                    keep(best.entry(class).or_default(), test.better, mark.clone(), index);
                }
            }
        }
    }
    let shown = |(mark, index): (Mark, usize)| people.get(index).map(|p| show(p, mark, may_name));
    let mut out: Vec<ClubRecord> = best
        .into_iter()
        .filter_map(|(class, mut marks)| {
            let test = &library.protocols.get(&class.protocol)?.record;
            let who = |i: usize| people.get(i).map(|p| p.person);
            marks.sort_by_key(|m| (m.0.day, who(m.1)));
            Some(ClubRecord {
                test: test.name.to_string(),
                unit: unit(test, Reading::Result),
                best: marks.into_iter().filter_map(shown).collect(),
                class,
            })
        })
        .collect();
    out.sort_by(|a, b| (&a.test, &a.class).cmp(&(&b.test, &b.class)));
    out
}

/// Keeps the best marks; one for each person where several of theirs are equal, the earliest.
fn keep(list: &mut Vec<(Mark, usize)>, direction: Better, mark: Mark, index: usize) {
    match list.first() {
        Some((top, _)) if better(direction, top.value, mark.value) => return,
        Some((top, _)) if better(direction, mark.value, top.value) => list.clear(),
        _ => {}
    }
    match list.iter_mut().find(|(_, i)| *i == index) {
        Some((kept, _)) if (kept.day, &kept.trial) <= (mark.day, &mark.trial) => {}
        Some((kept, _)) => *kept = mark,
        None => list.push((mark, index)),
    }
}

fn show(person: &Person<'_>, mark: Mark, may_name: &dyn Fn(PersonId) -> bool) -> Best {
    let named = may_name(person.person);
    Best {
        holder: if named {
            Holder::Named { person: person.person, name: person.name.to_owned() }
        } else {
            Holder::Unnamed
        },
        value: mark.value,
        day: mark.day,
        wind: mark.wind,
        conditions: mark.conditions.filter(|_| named),
        by_coach: mark.by_coach,
    }
}

/// Wind counts where it was measured: for times and horizontal jumps.
fn wind_aided(test: &Protocol, mark: &Mark) -> bool {
    matches!(test.measure, Measure::Time | Measure::Splits | Measure::Distance)
        && mark.wind.is_some_and(|w| w > MOST_WIND)
}

/// An athlete's best in a test.
#[derive(Debug, Clone, PartialEq)]
pub struct Personal {
    /// The test.
    pub protocol: Key,
    /// Its name.
    pub test: String,
    /// The unit.
    pub unit: String,
    /// The season, by the year in which it ends; `None` for the best of all seasons.
    pub season: Option<u16>,
    /// Whether the wind was too strong to count: such marks have a best of their own.
    pub wind_aided: bool,
    /// The best; of equal ones the earliest.
    pub best: Mark,
    /// Later days on which it was equalled.
    pub again: Vec<Day>,
    /// The best before that day.
    pub before: Option<Mark>,
    /// Whether the best differs from the one before beyond noise, or why it cannot be told.
    pub change: Result<Change, Lack>,
}

/// An athlete's bests up to `until`.
#[must_use]
pub fn personal(done: &Done, library: &Library, noises: &Noises, until: Day) -> Vec<Personal> {
    bests(done, library, noises, until, false)
}

/// An athlete's bests up to `until`, of all seasons and of each one, the newest season first. What was best before
/// is looked for in the same season.
#[must_use]
pub fn personal_by_season(done: &Done, library: &Library, noises: &Noises, until: Day) -> Vec<Personal> {
    bests(done, library, noises, until, true)
}

fn bests(done: &Done, library: &Library, noises: &Noises, until: Day, by_season: bool) -> Vec<Personal> {
    let limits = Thresholds::of(library.settings.as_ref());
    let mut out = Vec::new();
    for ((protocol, read), marks) in all_marks(done, library) {
        let Some(test) = library.protocols.get(&protocol).map(|p| &p.record) else { continue };
        if read != Reading::Result {
            continue;
        }
        let mut seasons: Vec<Option<u16>> = vec![None];
        if by_season {
            let years: BTreeSet<u16> = marks.iter().map(|m| limits.season(m.day)).collect();
            seasons.extend(years.into_iter().rev().map(Some));
        }
        let noise = noises.get(&protocol, read).cloned();
        for (season, aided) in seasons.into_iter().flat_map(|s| [(s, false), (s, true)]) {
            let of = marks.iter().filter(|m| m.day <= until && wind_aided(test, m) == aided);
            let of = of.filter(|m| season.is_none_or(|s| limits.season(m.day) == s));
            let Some(best) = top(of.clone(), test.better) else { continue };
            let equal = of.clone().filter(|m| m.day > best.day && !better(test.better, best.value, m.value));
            let again: BTreeSet<Day> = equal.map(|m| m.day).collect();
            let before = top(of.filter(|m| m.day < best.day), test.better);
            let change = match before {
                Some(before) => against(before, best, &noise),
                None => Err(Lack::Nothing { what: "earlier mark" }),
            };
            out.push(Personal {
                protocol: protocol.clone(),
                test: test.name.to_string(),
                unit: unit(test, read),
                season,
                wind_aided: aided,
                best: best.clone(),
                again: again.into_iter().collect(),
                before: before.cloned(),
                change,
            });
        }
    }
    // All seasons come before each one, and those the newest first; the order in which they were pushed stays.
    out.sort_by(|a, b| (&a.test, &a.protocol).cmp(&(&b.test, &b.protocol)));
    out
}

fn top<'a>(marks: impl Iterator<Item = &'a Mark>, direction: Better) -> Option<&'a Mark> {
    marks.fold(None, |best: Option<&Mark>, mark| match best {
        Some(best) if !better(direction, mark.value, best.value) => Some(best),
        _ => Some(mark),
    })
}
