//! Documents of a device as screens read them, each read once per state. Knows which documents a screen
//! needs, not what is shown of them.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::Device;
use super::error::DeviceError;
use super::shelf::Shelf;
use crate::base::day::{Day, Month};
use crate::base::id::{ChangeHash, PersonId};
use crate::doc::open::Document;
use crate::model::name::DocName;
use crate::model::number::SeasonNo;
use crate::view::club::Thresholds;
use crate::view::done::Done;
use crate::view::library::Library;
use crate::view::planned::Plan;
use crate::view::plans::Plans;

/// How many months of logs a session's screen looks back: best times count for half a year.
const MONTHS_BACK: u16 = 6;

type Kept<T> = BTreeMap<DocName, (Vec<ChangeHash>, Arc<T>)>;

/// What was read, by document and state.
#[derive(Debug, Default)]
pub struct Readings {
    libraries: Kept<Library>,
    plans: Kept<Plan>,
    logs: Kept<Done>,
}

fn read_once<T, S: Shelf>(
    kept: &mut Kept<T>,
    device: &mut Device<S>,
    name: DocName,
    read: impl FnOnce(&Document) -> T,
) -> Result<Arc<T>, S::Error> {
    let doc = device.document(name)?;
    let heads = doc.heads();
    if let Some((of, value)) = kept.get(&name)
        && *of == heads
    {
        return Ok(Arc::clone(value));
    }
    let value = Arc::new(read(doc));
    kept.insert(name, (heads, Arc::clone(&value)));
    Ok(value)
}

impl Readings {
    /// The club's library.
    ///
    /// # Errors
    /// When it cannot be opened.
    pub fn library<S: Shelf>(&mut self, device: &mut Device<S>) -> Result<Arc<Library>, S::Error> {
        let name = DocName::Library(device.identity().club);
        read_once(&mut self.libraries, device, name, Library::of)
    }

    /// A plan.
    ///
    /// # Errors
    /// When it cannot be opened.
    pub fn plan<S: Shelf>(&mut self, device: &mut Device<S>, name: DocName) -> Result<Arc<Plan>, S::Error> {
        read_once(&mut self.plans, device, name, Plan::of)
    }

    /// The plans of an athlete that are here, of every season.
    ///
    /// # Errors
    /// When one cannot be opened.
    pub fn plans<S: Shelf>(&mut self, device: &mut Device<S>, person: PersonId) -> Result<Plans, S::Error> {
        let mut list = Vec::new();
        for season in seasons(device, person)? {
            list.push((season, self.plan(device, DocName::Plan(person, season))?));
        }
        Ok(Plans::from(list))
    }

    /// The season into which a coach writes what is for days `first` to `last`: of a plan whose season holds one of
    /// them, else the newest plan, else what the club calls the season of the first. With the plans that are here.
    ///
    /// # Errors
    /// When a plan cannot be opened, or the day is in no season that there can be.
    pub fn season_to_write<S: Shelf>(
        &mut self,
        device: &mut Device<S>,
        person: PersonId,
        (first, last): (Day, Day),
    ) -> Result<(SeasonNo, Plans), S::Error> {
        let plans = self.plans(device, person)?;
        let newest = || plans.iter().next_back().map(|(season, _)| season);
        let season = match plans.season_of(first, last).or_else(newest) {
            Some(season) => season,
            None => self.season_to_begin(device, person, first)?,
        };
        Ok((season, plans))
    }

    /// The number of a season that is begun on `first`: what the club calls it, or the next one that has no plan yet.
    ///
    /// # Errors
    /// When a document cannot be opened, or there is no such season.
    pub fn season_to_begin<S: Shelf>(
        &mut self,
        device: &mut Device<S>,
        person: PersonId,
        first: Day,
    ) -> Result<SeasonNo, S::Error> {
        let taken = seasons(device, person)?;
        let mut number = i64::from(Thresholds::of(self.library(device)?.settings.as_ref()).season(first));
        while taken.iter().any(|season| season.get() == number) {
            number += 1;
        }
        SeasonNo::new(number).map_err(|e| DeviceError::Clock(e.to_string()).into())
    }

    /// What an athlete did in the months before a day and what was said of it, as far as it is here.
    ///
    /// # Errors
    /// When a document cannot be opened.
    pub fn done<S: Shelf>(
        &mut self,
        device: &mut Device<S>,
        person: PersonId,
        day: Day,
    ) -> Result<Done, S::Error> {
        self.since(device, person, Some(months_before(day.month(), MONTHS_BACK)))
    }

    /// The same of every month that is here, for best marks.
    ///
    /// # Errors
    /// When a document cannot be opened.
    pub fn all_done<S: Shelf>(&mut self, device: &mut Device<S>, person: PersonId) -> Result<Done, S::Error> {
        self.since(device, person, None)
    }

    /// What an athlete logged in the months in which days `first` to `last` lie: more than those days.
    ///
    /// # Errors
    /// When a document cannot be opened.
    pub fn logged<S: Shelf>(
        &mut self,
        device: &mut Device<S>,
        person: PersonId,
        (first, last): (Day, Day),
    ) -> Result<Done, S::Error> {
        let months = first.month()..=last.month();
        let wanted = |name: &DocName| matches!(name, DocName::Log(of, month) if *of == person && months.contains(month));
        let names: Vec<DocName> = device.documents()?.into_iter().filter(wanted).collect();
        self.of_documents(device, &names)
    }

    fn since<S: Shelf>(
        &mut self,
        device: &mut Device<S>,
        person: PersonId,
        first: Option<Month>,
    ) -> Result<Done, S::Error> {
        let wanted = |name: &DocName| match name {
            DocName::Log(of, month) => *of == person && first.is_none_or(|first| *month >= first),
            DocName::Notes(of, _) | DocName::Availability(of) => *of == person,
            _ => false,
        };
        let names: Vec<DocName> = device.documents()?.into_iter().filter(wanted).collect();
        self.of_documents(device, &names)
    }

    /// What is in some logs, notes and availability documents of one athlete.
    ///
    /// # Errors
    /// When a document cannot be opened.
    pub fn of_documents<S: Shelf>(
        &mut self,
        device: &mut Device<S>,
        names: &[DocName],
    ) -> Result<Done, S::Error> {
        let mut parts = Vec::new();
        for name in names {
            parts.push(Done::clone(&*read_once(&mut self.logs, device, *name, |doc| Done::of([doc]))?));
        }
        Ok(Done::join(parts))
    }
}

fn seasons<S: Shelf>(device: &Device<S>, person: PersonId) -> Result<Vec<SeasonNo>, S::Error> {
    let of = |name: DocName| match name {
        DocName::Plan(of, season) if of == person => Some(season),
        _ => None,
    };
    Ok(device.documents()?.into_iter().filter_map(of).collect())
}

/// The month so many months earlier; the first one of the calendar at its edge.
fn months_before(month: Month, n: u16) -> Month {
    let all = u32::from(month.year()) * 12 + u32::from(month.number()) - 1;
    let back = all.saturating_sub(u32::from(n));
    let part = |n: u32| u16::try_from(n).unwrap_or(0);
    let number = u8::try_from(back % 12 + 1).unwrap_or(1);
    Month::new(part(back / 12), number).unwrap_or(month)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_go_back_over_the_turn_of_a_year() {
        let month = |t: &str| t.parse::<Month>().unwrap();
        assert_eq!(months_before(month("2026-03"), 6), month("2025-09"));
        assert_eq!(months_before(month("2026-03"), 0), month("2026-03"));
    }
}
