//! The list of what is in a full copy, which stands in it as its last file, and reading a copy back: each file
//! against the list, and the documents against what is stored now. Files of a copy are only hashed, never opened:
//! a copy comes from outside.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{Error, ErrorKind, Read, Seek};
use std::path::{Path, PathBuf};

use backstraight_core::base::id::PersonId;
use backstraight_core::base::moment::Moment;
use data_encoding::HEXLOWER;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use zip::ZipArchive;

use super::{ExportError, Sink};
use crate::grant::MayExport;
use crate::store::document::Doc;
use crate::store::{Store, StoreError};

/// The list.
pub(super) const FILE: &str = "contents.json";
/// What files of the zip stand under.
pub(super) const TOP: &str = "backstraight-export/";
/// The form of the list.
const FORM: u32 = 1;
/// Most bytes of a list: some hundred thousand files.
const MOST_LIST: u64 = 32 << 20;
const DOCUMENTS: &str = "documents/";

/// What is in a copy.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Contents {
    form: u32,
    person: String,
    made_at_utc: String,
    /// Every other file.
    files: Vec<Line>,
    /// The documents, each with the state that it had.
    documents: Vec<State>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Line {
    file: String,
    bytes: u64,
    sha256: String,
}

/// A document's state: its newest changes name all before them.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
struct State {
    document: String,
    state: Vec<String>,
}

impl State {
    fn of(doc: &Doc) -> State {
        State { document: doc.name.to_string(), state: doc.heads.iter().map(ToString::to_string).collect() }
    }
}

/// Writes down what goes by, for the list.
pub(super) struct Listed<'a> {
    sink: &'a mut dyn Sink,
    files: Vec<Line>,
}

impl Sink for Listed<'_> {
    fn file(&mut self, path: &str, bytes: &[u8]) -> std::io::Result<()> {
        let sha256 = HEXLOWER.encode(&Sha256::digest(bytes));
        self.files.push(Line { file: path.to_owned(), bytes: bytes.len() as u64, sha256 });
        self.sink.file(path, bytes)
    }
}

impl<'a> Listed<'a> {
    pub(super) fn new(sink: &'a mut dyn Sink) -> Listed<'a> {
        Listed { sink, files: Vec::new() }
    }

    /// Writes the list itself.
    pub(super) fn finish(self, person: PersonId, docs: &[Doc], now: Moment) -> std::io::Result<Contents> {
        let contents = Contents {
            form: FORM,
            person: person.to_string(),
            made_at_utc: now.to_string(),
            files: self.files,
            documents: docs.iter().map(State::of).collect(),
        };
        self.sink.file(FILE, &serde_json::to_vec_pretty(&contents)?)?;
        Ok(contents)
    }
}

/// A copy that can be read again.
pub trait Source {
    /// Every file in it.
    ///
    /// # Errors
    /// When that cannot be told.
    fn names(&mut self) -> std::io::Result<Vec<String>>;
    /// Reads a file piece by piece.
    ///
    /// # Errors
    /// When it cannot be read, or `take` does not go on.
    fn read(&mut self, name: &str, take: &mut dyn FnMut(&[u8]) -> std::io::Result<()>)
    -> std::io::Result<()>;
}

/// A folder.
#[derive(Debug)]
pub struct Folder(PathBuf);

/// A zip.
#[derive(Debug)]
pub struct Zip<R>(ZipArchive<R>);

/// Opens a copy on the disk, folder or zip.
///
/// # Errors
/// When it is neither, or cannot be read.
pub fn open(path: &Path) -> std::io::Result<Box<dyn Source>> {
    if std::fs::metadata(path)?.is_dir() {
        return Ok(Box::new(Folder(path.to_owned())));
    }
    Ok(Box::new(zip(File::open(path)?)?))
}

/// A copy as a zip.
///
/// # Errors
/// When it is none.
pub fn zip<R: Read + Seek>(from: R) -> std::io::Result<Zip<R>> {
    ZipArchive::new(from).map(Zip).map_err(Error::other)
}

fn pieces(mut from: impl Read, take: &mut dyn FnMut(&[u8]) -> std::io::Result<()>) -> std::io::Result<()> {
    let mut piece = vec![0; 64 << 10];
    loop {
        match from.read(&mut piece) {
            Ok(0) => return Ok(()),
            Ok(n) => take(piece.get(..n).unwrap_or_default())?,
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
}

impl Source for Folder {
    fn names(&mut self) -> std::io::Result<Vec<String>> {
        let (mut names, mut folders) = (Vec::new(), vec![self.0.clone()]);
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(&folder)? {
                let path = entry?.path();
                if path.is_dir() {
                    folders.push(path);
                } else {
                    let name = path.strip_prefix(&self.0).unwrap_or(&path);
                    names.push(name.to_string_lossy().into_owned());
                }
            }
        }
        Ok(names)
    }

    fn read(
        &mut self,
        name: &str,
        take: &mut dyn FnMut(&[u8]) -> std::io::Result<()>,
    ) -> std::io::Result<()> {
        pieces(File::open(self.0.join(name))?, take)
    }
}

impl<R: Read + Seek> Source for Zip<R> {
    fn names(&mut self) -> std::io::Result<Vec<String>> {
        let names = self.0.file_names().map(|name| {
            let name = name.map_err(Error::other)?;
            // What stands elsewhere keeps its whole name, and is found to be beyond the list.
            Ok(name.strip_prefix(TOP).unwrap_or(&name).to_owned())
        });
        names.collect()
    }

    fn read(
        &mut self,
        name: &str,
        take: &mut dyn FnMut(&[u8]) -> std::io::Result<()>,
    ) -> std::io::Result<()> {
        pieces(self.0.by_name(&format!("{TOP}{name}")).map_err(Error::other)?, take)
    }
}

/// What is wrong with a copy.
#[derive(Debug, thiserror::Error)]
pub enum CopyError {
    /// It cannot be read, or a file in it is not what its list says.
    #[error("the copy is not whole: {0}")]
    Damaged(String),
    /// It is somebody else's.
    #[error("the copy is somebody else's")]
    Other,
    /// Its documents are not as they are stored now.
    #[error("something was written since the copy was made: {0}")]
    Old(String),
    /// There is no such person any more.
    #[error("there is no such person, or the person is erased")]
    Nobody,
    /// Storage.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Reads a copy back: every file is there as its list says, none is beyond it, and the documents are the stored
/// ones. `room` is how many bytes its files may have together. The documents as they were found, for whoever goes on
/// from here. Blocks.
///
/// # Errors
/// When it is not what it should be, with the first thing that is not.
pub fn read_back(
    store: &Store,
    grant: &MayExport,
    source: &mut dyn Source,
    room: u64,
) -> Result<Vec<Doc>, CopyError> {
    let contents = list(source)?;
    if contents.person != grant.person().to_string() {
        return Err(CopyError::Other);
    }
    let files = compared(source, &contents, room)?;
    // What the store would write into a copy now, thrown away but for the list.
    let (stored, docs) = match super::put(store, grant, Moment(0), &mut Nowhere) {
        Ok(stored) => stored,
        Err(ExportError::Nobody) => return Err(CopyError::Nobody),
        Err(ExportError::Store(error)) => return Err(error.into()),
        Err(ExportError::Write(error)) => return Err(CopyError::Damaged(error.to_string())),
    };
    if contents.documents != stored.documents {
        let newer = stored.documents.iter().find(|state| !contents.documents.contains(state));
        let what = newer.map_or_else(|| "a document went".to_owned(), |state| state.document.clone());
        return Err(CopyError::Old(what));
    }
    let of_documents = |name: &str| name.starts_with(DOCUMENTS);
    for line in stored.files.iter().filter(|line| of_documents(&line.file)) {
        if files.get(line.file.as_str()) != Some(&line.sha256.as_str()) {
            return Err(CopyError::Old(line.file.clone()));
        }
    }
    let known = stored.files.iter().filter(|line| of_documents(&line.file)).count();
    if files.keys().filter(|name| of_documents(name)).count() != known {
        return Err(CopyError::Old("the documents are others".to_owned()));
    }
    Ok(docs)
}

struct Nowhere;

impl Sink for Nowhere {
    fn file(&mut self, _: &str, _: &[u8]) -> std::io::Result<()> {
        Ok(())
    }
}

fn damaged(what: &str, error: &dyn std::fmt::Display) -> CopyError {
    CopyError::Damaged(format!("{what}: {error}"))
}

/// The list of a copy.
fn list(source: &mut dyn Source) -> Result<Contents, CopyError> {
    let mut bytes = Vec::new();
    let read = source.read(FILE, &mut |piece| {
        if bytes.len() as u64 + piece.len() as u64 > MOST_LIST {
            return Err(Error::other("too long"));
        }
        bytes.extend_from_slice(piece);
        Ok(())
    });
    read.map_err(|e| damaged(FILE, &e))?;
    let contents: Contents = serde_json::from_slice(&bytes).map_err(|e| damaged(FILE, &e))?;
    if contents.form != FORM {
        return Err(damaged(FILE, &"made by another version"));
    }
    Ok(contents)
}

/// Each file against the list; their hashes by name.
fn compared<'c>(
    source: &mut dyn Source,
    contents: &'c Contents,
    room: u64,
) -> Result<BTreeMap<&'c str, &'c str>, CopyError> {
    let mut found = source.names().map_err(|e| damaged("its files", &e))?;
    found.retain(|name| name != FILE);
    found.sort_unstable();
    let listed: BTreeMap<&str, &str> =
        contents.files.iter().map(|line| (line.file.as_str(), line.sha256.as_str())).collect();
    if listed.len() != contents.files.len() {
        return Err(damaged(FILE, &"a file twice"));
    }
    if let Some(missing) =
        listed.keys().find(|name| found.binary_search_by(|f| f.as_str().cmp(name)).is_err())
    {
        return Err(damaged(missing, &"missing"));
    }
    if let Some(more) = found.iter().find(|name| !listed.contains_key(name.as_str())) {
        return Err(damaged(more, &"not in the list"));
    }
    let mut left = room;
    for line in &contents.files {
        let (mut hash, mut bytes) = (Sha256::new(), 0_u64);
        let read = source.read(&line.file, &mut |piece| {
            bytes += piece.len() as u64;
            left = left.checked_sub(piece.len() as u64).ok_or_else(|| Error::other("too much in all"))?;
            hash.update(piece);
            Ok(())
        });
        read.map_err(|e| damaged(&line.file, &e))?;
        if bytes != line.bytes || HEXLOWER.encode(&hash.finalize()) != line.sha256 {
            return Err(damaged(&line.file, &"not as it was written"));
        }
    }
    Ok(listed)
}
