//! `backstraight export`.

use std::path::{Path, PathBuf};

use backstraight_core::base::id::PersonId;
use clap::Subcommand;
use serde::Serialize;

use super::{CliError, Data, Output, identity, now, table};
use crate::export::contents::{self, CopyError};
use crate::export::{self, Directory};
use crate::grant::{AtTheMachine, MayExport};
use crate::store::document::Doc;
use crate::store::{Store, erased};

/// Full copies.
#[derive(Debug, Subcommand)]
pub(super) enum Export {
    /// Write everything that is kept of one person into a new folder
    Person {
        /// The person
        person: String,
        /// The folder; it must not be there yet
        #[arg(long, value_name = "DIR")]
        to: PathBuf,
        /// Leave out what coaches remarked for themselves
        #[arg(long)]
        without_remarks: bool,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// Read a full copy back: every file as it was written, the documents as they are stored now
    Check {
        /// The person
        person: String,
        /// The folder, or the zip that the person has
        copy: PathBuf,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
}

#[derive(Debug, Serialize)]
struct Checked {
    documents: usize,
}

#[derive(Debug, Serialize)]
struct Line {
    folder: String,
    files: u64,
}

impl Export {
    pub(super) fn run(self) -> Result<(), CliError> {
        match self {
            Export::Person { person, to, without_remarks, data, output } => {
                let (store, grant) = granted(&data, &person, !without_remarks)?;
                let mut folder = Directory::create(&to)?;
                if let Err(error) = export::write(&store, &grant, now(), &mut folder) {
                    folder.remove();
                    return Err(match error {
                        export::ExportError::Nobody => nobody(grant.person()),
                        export::ExportError::Store(error) => error.into(),
                        error @ export::ExportError::Write(_) => CliError::Found(error.to_string()),
                    });
                }
                let line = Line { folder: to.display().to_string(), files: folder.files };
                let shown = [("folder", line.folder.clone()), ("files", line.files.to_string())];
                table::one(output, &line, &shown)
            }
            Export::Check { person, copy, data, output } => {
                let (store, grant) = granted(&data, &person, true)?;
                let line = Checked { documents: read_back(&store, &grant, &copy)?.len() };
                table::one(output, &line, &[("documents that hold", line.documents.to_string())])
            }
        }
    }
}

fn nobody(person: PersonId) -> CliError {
    CliError::Argument(format!("there is no person {person}, or it is erased"))
}

fn granted(data: &Data, person: &str, remarks: bool) -> Result<(Store, MayExport), CliError> {
    let (_, store) = data.store()?;
    let person: PersonId = identity("the person", person)?;
    let club = store.read_blocking(|db| erased::club_of(db, person))?.ok_or_else(|| nobody(person))?;
    Ok((store, AtTheMachine.to_export(person, club, remarks)))
}

/// Reads a copy back, in words when it does not hold.
pub(super) fn read_back(store: &Store, grant: &MayExport, path: &Path) -> Result<Vec<Doc>, CliError> {
    let said = |why: String| CliError::Found(format!("{}: {why}", path.display()));
    let mut source = contents::open(path).map_err(|e| said(e.to_string()))?;
    contents::read_back(store, grant, source.as_mut(), u64::MAX).map_err(|error| match error {
        CopyError::Store(error) => error.into(),
        CopyError::Nobody => nobody(grant.person()),
        other => said(other.to_string()),
    })
}
