//! What happens to the data as a whole: a copy that anybody can read, files to carry, refusals, erasing, and
//! how the store is.

use std::fs::{self, File};
use std::io::{self, Read as _};
use std::path::Path;
use std::sync::Arc;

use backstraight_core::device::aside::Which;
use backstraight_core::doc::open::Document;
use backstraight_core::exchange::wire::MAX_BODY;
use backstraight_core::model::name::DocName;
use backstraight_core::model::told::Told;
use serde_json::{Value, json};

use super::clock::Now;
use super::error::DoorError;
use super::hold::file_trouble;
use super::install::{Install, path};
use super::outside::{Area, StopFlag};
use super::vault::random;
use super::work::{Work, area, count};
use crate::files::{self, Readers};

/// Most bytes that are read of a carry file: more than any can have.
const MOST_READ: u64 = 2 * MAX_BODY as u64;

/// What was written into a file.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct Written {
    /// Bytes of the file.
    pub bytes: u64,
    /// Documents in it.
    pub documents: u32,
    /// Changes in it.
    pub changes: u32,
}

/// What came out of a carry file.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct TakenIn {
    /// Parcels that are kept for the server from now on.
    pub taken: u32,
    /// Parcels that were here before.
    pub known: u32,
    /// Parcels that were not taken, with a stable word each.
    pub refused: Vec<String>,
}

/// How the store is. No names, no training, no tokens: fit for a bug report.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct Diagnostics {
    /// Version of this library.
    pub library: String,
    /// The mark of its surface.
    pub interface: String,
    /// Bytes of the store.
    pub store_bytes: u64,
    /// Documents in it.
    pub documents: u32,
    /// Pieces of documents that could not be read and were set aside.
    pub damaged_pieces: u64,
    /// Changes that wait to be sent.
    pub waiting: u32,
    /// Changes that the server did not take.
    pub refused: u32,
    /// What a look at every page found; none when all is sound or nobody looked.
    pub unsound: Option<String>,
}

#[uniffi::export]
impl Install {
    /// Writes all that this phone has about its person into a file (JSON): everything that was ever written,
    /// in the order in which it was written, corrections and earlier values among it.
    ///
    /// # Errors
    /// `Stopped`, `StoreFull`, `BadValue` (`file`) where no file can be, and what the store says. The file is there whole or not at all.
    pub fn write_copy(&self, file: String, stop: Arc<StopFlag>, now: Now) -> Result<Written, DoorError> {
        self.clock.tell(now);
        let file = path("file", &file)?;
        let (value, documents, changes) = self.read(|work| copy(work, &stop))?;
        let bytes = serde_json::to_vec_pretty(&value).map_err(DoorError::inner)?;
        put(&file, &bytes)?;
        Ok(Written { bytes: bytes.len() as u64, documents, changes })
    }

    /// Writes what the server does not have yet into a carry file, signed, that somebody else's phone may
    /// take there. Health stays here. It is not encrypted: whoever has the file can read the training in it.
    ///
    /// # Errors
    /// `WrongState` (`nothing`) when all is with the server, `EnrolAgain`, `StoreFull`, `BadValue` (`file`) where
    /// no file can be.
    pub fn write_carry_file(&self, file: String) -> Result<Written, DoorError> {
        let file = path("file", &file)?;
        let out = self.work(|work| Ok(work.device.carry_out()?))?;
        let out = out.ok_or_else(|| DoorError::state("nothing"))?;
        put(&file, &out.bytes)?;
        let changes = count(out.own.values().sum());
        Ok(Written { bytes: out.bytes.len() as u64, documents: count(out.own.len()), changes })
    }

    /// Takes in a carry file: its signatures are checked, what can be shown is shown, and the next exchange
    /// takes it along. One that comes twice does no harm.
    ///
    /// # Errors
    /// `BadValue` (`file`) when it is none or not there, `EnrolAgain`, and what the store says.
    pub fn take_carry_file(&self, file: String) -> Result<TakenIn, DoorError> {
        let file = path("file", &file)?;
        let bytes = get(&file).map_err(given_trouble)?;
        let taken = self.work(|work| Ok(work.device.carry_in(&bytes)?))?;
        let mut areas: Vec<_> = taken.taken.iter().map(|(name, ..)| area(name.kind())).collect();
        areas.sort_unstable();
        areas.dedup();
        if !areas.is_empty() {
            self.watchers.tell(areas, Vec::new());
        }
        Ok(TakenIn {
            taken: count(taken.taken.len()),
            known: count(taken.known.len()),
            refused: taken.refused.iter().map(|(_, why)| why.to_string()).collect(),
        })
    }

    /// Sets aside what the server did not take, by the name in [`Refused`](super::exchange::Refused): first
    /// into a file that the person keeps, then out of the way, so that what is written from here on reaches
    /// the server again.
    ///
    /// # Errors
    /// `NotThere` when that refusal does not stand any more, `StoreFull`, `BadValue` (`file`) where no file can
    /// be.
    pub fn set_refused_aside(&self, id: String, file: String) -> Result<Written, DoorError> {
        let file = path("file", &file)?;
        let kept = self.work(|work| {
            let stuck = work.device.stuck()?.into_iter();
            let which = stuck.map(|s| s.which).find(|w| matches!(w, Which::Own(n) if n.to_string() == id));
            let which = which.ok_or_else(|| DoorError::missing("refusal", &id))?;
            work.device.keep_refused(which)?.ok_or_else(|| DoorError::missing("refusal", &id))
        })?;
        put(&file, &kept.bytes)?;
        let done = self.work(|work| Ok(work.device.set_aside(&kept, random()?)?))?;
        if !done {
            return Err(DoorError::missing("refusal", &id));
        }
        self.watchers.tell(vec![area(kept.name().kind())], Vec::new());
        Ok(Written { bytes: kept.bytes.len() as u64, documents: 1, changes: count(kept.changes) })
    }

    /// Erases this folder and what the key store has of it, and shuts it. What was exchanged stays with the
    /// club. Refused while something waits to be sent, unless `unsent_too`.
    ///
    /// # Errors
    /// `WrongState` (`unsent`), `Busy` while an exchange is under way, `Paused`; `KeysFailed`, `PhoneLocked`: it is
    /// shut then, open it and erase again.
    pub fn erase(&self, unsent_too: bool) -> Result<(), DoorError> {
        // An exchange under way would put its tokens back.
        let _turn = self.turn()?;
        // The store is let go of first, the lock on the folder last.
        self.let_go(unsent_too)?;
        let gone = self.vault.empty().and_then(|()| remove(&self.folder));
        self.watchers.tell(vec![Area::Standing], Vec::new());
        self.shut();
        gone
    }

    /// How the store is. `deep` looks at every page, which takes a while.
    ///
    /// # Errors
    /// `NotEnrolled`, `Paused`, what the store says.
    pub fn diagnostics(&self, deep: bool) -> Result<Diagnostics, DoorError> {
        self.read(|work| {
            let waiting = work.waiting()?;
            let refused = count(work.device.refusals()?.len());
            let shelf = work.device.shelf();
            Ok(Diagnostics {
                library: super::library_version(),
                interface: super::interface_mark(),
                store_bytes: shelf.size()?,
                documents: count(work.device.documents()?.len()),
                damaged_pieces: shelf.damaged()?,
                waiting,
                refused,
                unsound: if deep { shelf.unsound()? } else { None },
            })
        })
    }
}

/// Everything in the person's own documents.
fn copy(work: &mut Work, stop: &StopFlag) -> Result<(Value, u32, u32), DoorError> {
    let me = work.device.identity().clone();
    let library = work.library()?;
    let exercises = library.exercises.iter().map(|(k, e)| (k.to_string(), json!(e.record.name.to_string())));
    let tests = library.protocols.iter().map(|(k, p)| (k.to_string(), json!(p.record.name.to_string())));
    let (mut documents, mut changes) = (Vec::new(), 0);
    let own = |n: &DocName| n.athlete() == Some(me.person);
    for name in work.device.documents()?.into_iter().filter(own) {
        if stop.is_set() {
            return Err(DoorError::Stopped);
        }
        let doc = work.device.document(name)?;
        changes += doc.change_count();
        documents.push(document(doc));
    }
    let (n, changes) = (count(documents.len()), count(changes));
    let value = json!({
        "written_at_utc": work.device.now().to_string(),
        "person": me.person.to_string(),
        "name": me.name,
        "club": me.club.to_string(),
        "device": me.install.to_string(),
        "exercises": exercises.collect::<serde_json::Map<_, _>>(),
        "tests": tests.collect::<serde_json::Map<_, _>>(),
        "documents": documents,
    });
    Ok((value, n, changes))
}

fn document(doc: &Document) -> Value {
    let kind = doc.name().kind();
    let written = match doc.history() {
        Ok(all) => all
            .into_iter()
            .map(|w| {
                let value = w.value.as_ref().map(|v| as_json(Told::written(kind, &w.path, v)));
                json!({
                    "at_utc": w.at.to_string(), "by_device": w.by.install().to_string(),
                    "where": w.path, "value": value,
                })
            })
            .collect(),
        Err(error) => json!({ "unreadable": error.to_string() }),
    };
    json!({
        "document": doc.name().to_string(),
        "state": doc.heads().iter().map(ToString::to_string).collect::<Vec<_>>(),
        "written": written,
    })
}

fn as_json(told: Told) -> Value {
    match told {
        Told::Int(n) => json!(n),
        Told::Text(t) => json!(t),
        Told::Bool(b) => json!(b),
        Told::Time(at) => json!(at.to_string()),
        Told::List(list) => json!(list),
        Told::Fields(fields) => fields.into_iter().map(|(n, one)| (n.to_owned(), as_json(one))).collect(),
        Told::Hex(hex) => json!({ "hex": hex }),
    }
}

/// Reads a file that somebody gave, as far as it may be a carry file: one that is longer is none.
fn get(file: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(file)?.take(MOST_READ).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Writes a file where an app wants it. It is there whole, or not at all.
fn put(file: &Path, bytes: &[u8]) -> Result<(), DoorError> {
    files::put(file, bytes, Readers::Usual).map_err(given_trouble)
}

/// What a trouble with a file that an app named means to it.
fn given_trouble(e: io::Error) -> DoorError {
    use io::ErrorKind as K;
    match e.kind() {
        K::NotFound | K::NotADirectory | K::IsADirectory | K::InvalidInput | K::InvalidFilename => {
            DoorError::field("file", "path", e)
        }
        _ => file_trouble(e),
    }
}

/// Removes what this library put into a folder, and the folder when nothing else is in it.
fn remove(folder: &Path) -> Result<(), DoorError> {
    let entries = fs::read_dir(folder).map_err(file_trouble)?;
    for entry in entries.flatten() {
        let name = entry.file_name();
        if name.to_string_lossy().starts_with(crate::store::FILE) || name == "in-use" {
            fs::remove_file(entry.path()).map_err(file_trouble)?;
        }
    }
    // Somebody else's files stay, and the folder with them.
    let _ = fs::remove_dir(folder);
    Ok(())
}
