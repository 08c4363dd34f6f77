//! Documents of this device as screens read them, each read once per state. Knows which documents a screen
//! needs, not what is shown of them.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{ChangeHash, PersonId};
use backstraight_core::device::Device;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::SeasonNo;
use backstraight_core::view::done::Done;
use backstraight_core::view::library::Library;
use backstraight_core::view::planned::Plan;

use crate::device::shelf::MemoryShelf;
use crate::error::AppError;

/// How many months of logs a session's screen looks back: best times count for half a year.
const MONTHS_BACK: u16 = 6;

type Kept<T> = RefCell<BTreeMap<DocName, (Vec<ChangeHash>, Rc<T>)>>;

/// What was read, by document and state.
#[derive(Debug, Default)]
pub struct Readings {
    libraries: Kept<Library>,
    plans: Kept<Plan>,
    logs: Kept<Done>,
}

fn read_once<T>(
    kept: &Kept<T>,
    device: &mut Device<MemoryShelf>,
    name: DocName,
    read: impl FnOnce(&backstraight_core::doc::open::Document) -> T,
) -> Result<Rc<T>, AppError> {
    let doc = device.document(name)?;
    let heads = doc.heads();
    if let Some((of, value)) = kept.borrow().get(&name)
        && *of == heads
    {
        return Ok(Rc::clone(value));
    }
    let value = Rc::new(read(doc));
    kept.borrow_mut().insert(name, (heads, Rc::clone(&value)));
    Ok(value)
}

impl Readings {
    /// The club's library.
    ///
    /// # Errors
    /// When it cannot be opened.
    pub fn library(&self, device: &mut Device<MemoryShelf>) -> Result<Rc<Library>, AppError> {
        let name = DocName::Library(device.identity().club);
        read_once(&self.libraries, device, name, Library::of)
    }

    /// A plan.
    ///
    /// # Errors
    /// When it cannot be opened.
    pub fn plan(&self, device: &mut Device<MemoryShelf>, name: DocName) -> Result<Rc<Plan>, AppError> {
        read_once(&self.plans, device, name, Plan::of)
    }

    /// The newest season of which an athlete's plan is here, with the plan.
    ///
    /// # Errors
    /// When it cannot be opened.
    pub fn newest_plan(
        &self,
        device: &mut Device<MemoryShelf>,
        person: PersonId,
    ) -> Result<Option<(SeasonNo, Rc<Plan>)>, AppError> {
        let seasons = device.documents()?.into_iter().filter_map(|name| match name {
            DocName::Plan(of, season) if of == person => Some(season),
            _ => None,
        });
        let Some(season) = seasons.max() else { return Ok(None) };
        Ok(Some((season, self.plan(device, DocName::Plan(person, season))?)))
    }

    /// What an athlete did in the months before a day and what was said of it, as far as it is here.
    ///
    /// # Errors
    /// When a document cannot be opened.
    pub fn done(
        &self,
        device: &mut Device<MemoryShelf>,
        person: PersonId,
        day: Day,
    ) -> Result<Done, AppError> {
        self.since(device, person, Some(months_before(day.month(), MONTHS_BACK)))
    }

    /// The same of every month that is here, for best marks.
    ///
    /// # Errors
    /// When a document cannot be opened.
    pub fn all_done(&self, device: &mut Device<MemoryShelf>, person: PersonId) -> Result<Done, AppError> {
        self.since(device, person, None)
    }

    fn since(
        &self,
        device: &mut Device<MemoryShelf>,
        person: PersonId,
        first: Option<Month>,
    ) -> Result<Done, AppError> {
        let wanted = |name: &DocName| match name {
            DocName::Log(of, month) => *of == person && first.is_none_or(|first| *month >= first),
            DocName::Notes(of, _) | DocName::Availability(of) => *of == person,
            _ => false,
        };
        let names: Vec<DocName> = device.documents()?.into_iter().filter(wanted).collect();
        let mut parts = Vec::new();
        for name in names {
            parts.push(Done::clone(&*read_once(&self.logs, device, name, |doc| Done::of([doc]))?));
        }
        Ok(Done::join(parts))
    }
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
