//! Everything that is kept of one person, as files that anybody can open: plain words, JSON with all
//! that was ever written, tables, and the documents themselves. Knows no SQL and no route.

pub mod contents;
mod document;
mod table;
pub mod zip;

use std::collections::BTreeMap;
use std::io::{ErrorKind, Write};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

use backstraight_core::base::id::InstallId;
use backstraight_core::base::moment::Moment;
use backstraight_core::exchange::access::Role;
use backstraight_core::model::name::{DocName, Kind};
use backstraight_core::model::plan::{Exercise, Member, Remark};
use serde_json::{Value, json};

use crate::exchange::index;
use crate::folder::file_error;
use crate::grant::MayExport;
use crate::store::about::{self, About};
use crate::store::document::{self as documents, Doc};
use crate::store::{Store, StoreError, erased};

use contents::{Contents, Listed};

pub use backstraight_core::base::csv::plain;

/// Where files go, one after the other.
pub trait Sink {
    /// Takes a file whole.
    ///
    /// # Errors
    /// When it cannot be written.
    fn file(&mut self, path: &str, bytes: &[u8]) -> std::io::Result<()>;
}

/// A folder on the disk.
#[derive(Debug)]
pub struct Directory {
    root: PathBuf,
    /// Files written.
    pub files: u64,
}

impl Directory {
    /// A new folder, which only its owner may read.
    ///
    /// # Errors
    /// When it is there already, or cannot be made.
    pub fn create(root: &Path) -> Result<Directory, StoreError> {
        let made = std::fs::DirBuilder::new().mode(0o700).create(root);
        made.map_err(|e| file_error(root, e))?;
        Ok(Directory { root: root.to_owned(), files: 0 })
    }

    /// Takes everything back: an export is there whole or not at all.
    pub fn remove(self) {
        // What stays is the disk's fault, and the error that led here says so.
        drop(std::fs::remove_dir_all(&self.root));
    }
}

impl Sink for Directory {
    fn file(&mut self, path: &str, bytes: &[u8]) -> std::io::Result<()> {
        let whole = self.root.join(path);
        if let Some(folder) = whole.parent() {
            std::fs::create_dir_all(folder)?;
        }
        let mut file = std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(&whole)?;
        file.write_all(bytes)?;
        file.sync_all()?;
        self.files += 1;
        Ok(())
    }
}

/// Why an export broke off.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// There is no such person.
    #[error("there is no such person, or the person is erased")]
    Nobody,
    /// Storage.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The files cannot be written: the disk is full, or whoever waited went away.
    #[error("the export could not be written: {0}")]
    Write(#[from] std::io::Error),
}

impl ExportError {
    /// Whether there was no room.
    #[must_use]
    pub fn no_room(&self) -> bool {
        matches!(self, ExportError::Write(e) if e.kind() == ErrorKind::StorageFull)
    }
}

/// Writes everything of one person. Each document is read by itself, so that nobody waits for a slow
/// reader. Blocks.
///
/// # Errors
/// When there is no such person, or something cannot be read or written.
pub fn write(store: &Store, grant: &MayExport, now: Moment, sink: &mut dyn Sink) -> Result<(), ExportError> {
    put(store, grant, now, sink)?;
    let taken = *grant;
    store.write_blocking(move |db| about::note_export(db, &taken, now))?;
    Ok(())
}

/// The same without saying that a copy was taken; the list of what is in it, and the documents.
fn put(
    store: &Store,
    grant: &MayExport,
    now: Moment,
    sink: &mut dyn Sink,
) -> Result<(Contents, Vec<Doc>), ExportError> {
    let person = grant.person();
    let about = store.read_blocking(|db| about::person(db, grant))?.ok_or(ExportError::Nobody)?;
    let mut docs = store.read_blocking(|db| documents::owned(db, person.0.into_bytes()))?;
    let mut sink = Listed::new(sink);
    sink.file("README.txt", readme(&about, &docs, now).as_bytes())?;
    sink.file("person.json", &pretty(&person_json(&about, now)))?;
    let mut tables = table::Tables::default();
    let mut damaged = Vec::new();
    for doc in &mut docs {
        // The document and its state are of one moment: what comes later is in the next copy.
        let opened = store.read_blocking(|db| {
            *doc = documents::by_id(db, doc.id)?
                .filter(|now| now.name == doc.name)
                .ok_or_else(erased_meanwhile)?;
            Ok(index::open(db, doc))
        })?;
        let whole = match opened {
            Ok(whole) => whole,
            Err(StoreError::Damaged(why)) => {
                let bytes = store.read_blocking(|db| documents::whole(db, doc.id, &[]))?;
                sink.file(&format!("documents/{}.damaged", file_name(&doc.name)), &bytes)?;
                damaged.push(json!({ "document": doc.name.to_string(), "why": why }));
                continue;
            }
            Err(error) => return Err(error.into()),
        };
        let name = file_name(&doc.name);
        let json = document::json(&whole, &|install| about.by(install));
        sink.file(&format!("documents/{name}.json"), &pretty(&json))?;
        sink.file(&format!("documents/{name}.document"), &whole.save())?;
        tables.take(&whole);
    }
    if !damaged.is_empty() {
        sink.file("damaged.json", &pretty(&Value::Array(damaged)))?;
    }
    let (exercises, squads) = from_the_club(store, &about)?;
    for (name, text) in tables.finish(&exercises) {
        sink.file(&format!("tables/{name}.csv"), text.as_bytes())?;
    }
    sink.file("tables/exercises.csv", table::exercises(&exercises).as_bytes())?;
    sink.file("tables/installs.csv", table::installs(&about).as_bytes())?;
    sink.file("tables/audit.csv", table::audit(&about).as_bytes())?;
    sink.file("squads.json", &pretty(&squads))?;
    Ok((sink.finish(person, &docs, now)?, docs))
}

fn erased_meanwhile() -> StoreError {
    StoreError::Damaged("a document went while it was copied".to_owned())
}

/// What the club's own documents hold of the person, and what its exercises are called.
fn from_the_club(store: &Store, about: &About) -> Result<(BTreeMap<String, String>, Value), ExportError> {
    let (mut exercises, mut squads) = (BTreeMap::new(), Vec::new());
    for doc in store.read_blocking(|db| erased::of_club(db, about.club))? {
        if !matches!(doc.name.kind(), Kind::Library | Kind::Squad) {
            continue;
        }
        let Ok(whole) = store.read_blocking(|db| index::open(db, &doc)) else { continue };
        for e in whole.records::<Exercise>("exercises").entries {
            exercises.insert(e.key().to_string(), e.record.name.to_string());
        }
        for e in whole.records::<Member>("members").entries {
            if e.record.athlete == about.person {
                squads.push(json!({
                    "squad": doc.name.to_string(), "membership": document::entry(&e),
                }));
            }
        }
        for e in whole.records::<Remark>("remarks").entries {
            if about.with_remarks && e.record.about == about.person {
                squads.push(json!({ "squad": doc.name.to_string(), "remark": document::entry(&e) }));
            }
        }
    }
    Ok((exercises, Value::Array(squads)))
}

/// `log-2026-11`, `care`: short, and the same each time.
fn file_name(name: &DocName) -> String {
    let kind = name.kind().word();
    match name {
        DocName::Plan(_, season) => format!("{kind}-{}", season.get()),
        DocName::Log(_, month) | DocName::Notes(_, month) => format!("{kind}-{month}"),
        DocName::Library(_)
        | DocName::Squad(_)
        | DocName::Care(_)
        | DocName::CareNotes(_)
        | DocName::Availability(_) => kind.to_owned(),
    }
}

fn pretty(value: &Value) -> Vec<u8> {
    serde_json::to_vec_pretty(value).unwrap_or_default()
}

fn person_json(about: &About, now: Moment) -> Value {
    json!({
        "exported_at_utc": now.to_string(),
        "person": about.person.to_string(),
        "club": { "identity": about.club.to_string(), "name": about.club_name },
        "name": about.name,
        "role": about.role.word(),
        "added_at_utc": about.created.to_string(),
        "withdrawn_at_utc": about.withdrawn.map(|m| m.to_string()),
        "born": about.born,
        "signs_in_as": about.sign_in.0,
        "passkeys": about.sign_in.1,
        "consents": about.words.iter().map(|w| json!({
            "what": w.what, "agrees": w.agrees, "signed_by": w.by.to_string(), "at_utc": w.at.to_string(),
            "until": w.until, "replaced_at_utc": w.replaced.map(|m| m.to_string()),
        })).collect::<Vec<_>>(),
        "guardianships": about.guardianships.iter().map(|g| json!({
            "athlete": g.athlete.to_string(), "guardian": g.guardian.to_string(), "reason": g.reason,
            "from_utc": g.started.to_string(), "to_utc": g.ended.map(|m| m.to_string()),
        })).collect::<Vec<_>>(),
        "who_may_read": who_may_read(about),
    })
}

fn who_may_read(about: &About) -> Value {
    if about.role != Role::Athlete {
        return json!([]);
    }
    let care = if about.care_open { "care staff and coaches of the club" } else { "care staff of the club" };
    json!([
        { "documents": "plan, log, notes, availability",
          "readers": "the athlete, the coaches of the club, guardians while the athlete is a minor; availability also care staff" },
        { "documents": "care notes", "readers": "the athlete and care staff of the club" },
        { "documents": "care", "readers": format!("the athlete, and {care}") },
        { "documents": "squads' membership", "readers": "the coaches of the club" },
    ])
}

fn readme(about: &About, docs: &[Doc], now: Moment) -> String {
    let remarks = if about.with_remarks {
        "squads.json also has what coaches remarked for themselves."
    } else {
        "What coaches remarked for themselves in a squad's document is not in this copy: ask the club."
    };
    format!(
        "Everything that {club} keeps of {name}\r\n\
         made {now} (UTC), {count} documents\r\n\
         \r\n\
         person.json   who this is, consents given and taken back, and who may read what\r\n\
         squads.json   squads that this person is or was in. {remarks}\r\n\
         documents/    one JSON file a document: its records as they are now, fields in which two\r\n\
         \x20             edits met with both values, and under \"history\" every value that was ever\r\n\
         \x20             written, with who and when. The .document file beside it is the document\r\n\
         \x20             itself with its whole history, in the open form that any program for it reads.\r\n\
         contents.json every file with its size and SHA-256, and the state of every document: with it\r\n\
         \x20             a copy can be read back before anything is taken away\r\n\
         tables/       the same as tables for a spreadsheet (CSV, RFC 4180, UTF-8)\r\n\
         \r\n\
         Times that end in Z are UTC; dates without a time are days as they were where the person was.\r\n\
         In tables the unit is in the name of the column: kg, m, s, m/s. Several values of one set (the\r\n\
         speed of each repetition) stand in one cell with spaces between. In the JSON files numbers are\r\n\
         the whole numbers of the documents: loads and body mass in 10 g, speeds in mm/s, lengths in mm,\r\n\
         durations in ms (rests in s), efforts in tenths, results of tests in thousandths.\r\n\
         \r\n\
         What was asked of a set (\"dose\", \"intensity\", \"waves\", \"shown\") is in short words with the\r\n\
         units of the JSON files: \"load 7500\" is 75 kg.\r\n\
         \r\n\
         A withdrawn record has a time under \"withdrawn\"; a set that corrects another names it under\r\n\
         \"amends\", one that was struck is named under \"strikes\". Both stay readable.\r\n\
         \r\n\
         A text in a table that begins with = + - @ ' or a tab has a ' put before it, so that a\r\n\
         spreadsheet does not take it for a formula; take one ' away to have the text as it was.\r\n",
        club = about.club_name,
        name = about.name,
        count = docs.len(),
    )
}

impl About {
    /// Who wrote, as far as the club's list of installs says.
    fn by(&self, install: InstallId) -> String {
        match self.writers.get(&install) {
            Some(person) => person.to_string(),
            None => format!("install {install}"),
        }
    }
}
