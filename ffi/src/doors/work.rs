//! An install at work behind the doors, and what every part of them needs: one lock, deeds that are done
//! once, news after they are on disk.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::base::key::Key;
use backstraight_core::device::Device;
use backstraight_core::device::readings::Readings;
use backstraight_core::doc::command::Command;
use backstraight_core::model::name::{DocName, Kind};
use backstraight_core::view::done::Done;
use backstraight_core::view::library::Library;

use super::error::DoorError;
use super::outside::{Area, News, Watcher};
use crate::store::Store;

/// Most characters of the name that an app gives a deed.
const MOST_ONCE: usize = 64;

/// An install at work.
#[derive(Debug)]
pub(super) struct Work {
    pub(super) device: Device<Store>,
    pub(super) readings: Readings,
    /// Whether this phone is the install that the folder was enrolled as.
    pub(super) enrolled: bool,
    /// Which opening of the folder it is of: what began under an earlier one does not go on under it.
    pub(super) opened: u64,
}

/// What is behind the doors.
#[derive(Debug)]
pub(super) enum Desk {
    /// Nothing any more.
    Shut,
    /// Nothing for now.
    Paused,
    /// A folder that was never enrolled.
    Blank(Box<Store>),
    /// An install.
    Here(Box<Work>),
}

/// What came of a deed.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct Receipt {
    /// What was made or changed.
    pub id: String,
    /// Whether nothing was written now: it was done before under the same name, or nothing would differ.
    pub already_there: bool,
    /// The revision with it.
    pub revision: u64,
}

/// Which kind of deed it is, by the name of its call.
#[derive(Debug, Clone, Copy)]
pub(super) struct What(pub(super) &'static str);

/// A deed as the parts put it together: commands of one document, in order.
#[derive(Debug)]
pub(super) struct Deed {
    pub(super) doc: DocName,
    pub(super) commands: Vec<Command>,
    pub(super) id: String,
}

impl Work {
    /// The person whose documents are meant: somebody else, or whose phone it is.
    pub(super) fn person(&self, athlete: Option<&str>) -> Result<PersonId, DoorError> {
        match athlete {
            None => Ok(self.device.identity().person),
            Some(text) => text.parse().map_err(|_| DoorError::missing("person", text)),
        }
    }

    pub(super) fn library(&mut self) -> Result<Arc<Library>, DoorError> {
        Ok(self.readings.library(&mut self.device)?)
    }

    pub(super) fn done(&mut self, person: PersonId, day: Day) -> Result<Done, DoorError> {
        Ok(self.readings.done(&mut self.device, person, day)?)
    }

    pub(super) fn today(&self) -> Result<Day, DoorError> {
        Ok(self.device.today()?)
    }

    /// Changes that wait to be sent.
    pub(super) fn waiting(&mut self) -> Result<u32, DoorError> {
        let n: usize = self.device.unsent()?.into_iter().map(|(_, n)| n).sum();
        Ok(count(n))
    }

    /// What came of the deed of that name, if it was done before.
    pub(super) fn done_before(&self, what: What, once: &str) -> Result<Option<String>, DoorError> {
        let Some(answer) = self.device.shelf().done_once(once)? else { return Ok(None) };
        match answer.split_once(' ') {
            Some((before, id)) if before == what.0 => Ok(Some(id.to_owned())),
            // A new deed under an old name would be taken for done, and lost.
            _ => Err(DoorError::field("once", "used", "this name was given to another deed")),
        }
    }

    /// Does a deed, all of it or nothing, in one transaction with its name.
    pub(super) fn run(&mut self, what: What, deed: &Deed, once: &str) -> Result<(), DoorError> {
        self.device.shelf_mut().next_is(once, &format!("{} {}", what.0, deed.id));
        let done = self.device.run_all(deed.doc, &deed.commands);
        self.device.shelf_mut().next_is_nothing();
        done?;
        Ok(())
    }
}

/// Who hears of changes.
#[derive(Default)]
pub(super) struct Watchers {
    revision: AtomicU64,
    next: AtomicU64,
    all: Mutex<Vec<(u64, Arc<dyn Watcher>)>>,
}

impl core::fmt::Debug for Watchers {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_struct("Watchers").field("revision", &self.revision).finish_non_exhaustive()
    }
}

impl Watchers {
    pub(super) fn revision(&self) -> u64 {
        self.revision.load(Ordering::SeqCst)
    }

    pub(super) fn add(&self, watcher: Arc<dyn Watcher>) -> u64 {
        let id = self.next.fetch_add(1, Ordering::SeqCst);
        self.all.lock().unwrap_or_else(PoisonError::into_inner).push((id, watcher));
        id
    }

    pub(super) fn remove(&self, id: u64) {
        self.all.lock().unwrap_or_else(PoisonError::into_inner).retain(|(other, _)| *other != id);
    }

    pub(super) fn clear(&self) {
        self.all.lock().unwrap_or_else(PoisonError::into_inner).clear();
    }

    /// Tells everybody; the revision with the change. No lock is held while they are told.
    pub(super) fn tell(&self, areas: Vec<Area>, ids: Vec<String>) -> u64 {
        let revision = self.revision.fetch_add(1, Ordering::SeqCst) + 1;
        let all: Vec<Arc<dyn Watcher>> = {
            let all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
            all.iter().map(|(_, watcher)| Arc::clone(watcher)).collect()
        };
        let news = News { revision, areas, ids };
        for watcher in all {
            // What is on disk stays, whatever a listener says.
            let _ = watcher.changed(news.clone());
        }
        revision
    }
}

/// Where a change of a document shows.
pub(super) const fn area(kind: Kind) -> Area {
    match kind {
        Kind::Library => Area::Library,
        Kind::Squad => Area::Squad,
        Kind::Plan => Area::Plan,
        Kind::Log => Area::Log,
        Kind::Notes => Area::Notes,
        Kind::Care | Kind::CareNotes | Kind::Availability => Area::Care,
    }
}

/// The name of a deed.
pub(super) fn once(text: &str) -> Result<&str, DoorError> {
    if text.is_empty() || text.len() > MOST_ONCE {
        let detail = format!("a name of your own choice, 1 to {MOST_ONCE} bytes, new for each deed");
        return Err(DoorError::field("once", "length", detail));
    }
    Ok(text)
}

/// A key that an app hands back.
pub(super) fn key(what: &str, text: &str) -> Result<Key, DoorError> {
    text.parse().map_err(|_| DoorError::missing(what, text))
}

/// A day as an app gives it.
pub(super) fn day(field: &str, text: &str) -> Result<Day, DoorError> {
    text.parse().map_err(|e| DoorError::field(field, "day", e))
}

/// A count that an app gets.
pub(super) fn count(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}
