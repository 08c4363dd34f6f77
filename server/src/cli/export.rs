//! `backstraight export`.

use std::path::PathBuf;

use backstraight_core::base::id::PersonId;
use clap::Subcommand;
use serde::Serialize;

use super::{CliError, Data, Output, identity, now, table};
use crate::export::{self, Directory};
use crate::grant::AtTheMachine;
use crate::store::erased;

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
}

#[derive(Debug, Serialize)]
struct Line {
    folder: String,
    files: u64,
}

impl Export {
    pub(super) fn run(self) -> Result<(), CliError> {
        let Export::Person { person, to, without_remarks, data, output } = self;
        let (_, store) = data.store()?;
        let person: PersonId = identity("the person", &person)?;
        let nobody = || CliError::Argument(format!("there is no person {person}, or it is erased"));
        let club = store.read_blocking(|db| erased::club_of(db, person))?.ok_or_else(nobody)?;
        let grant = AtTheMachine.to_export(person, club, !without_remarks);
        let mut folder = Directory::create(&to)?;
        if let Err(error) = export::write(&store, &grant, now(), &mut folder) {
            folder.remove();
            return Err(match error {
                export::ExportError::Nobody => nobody(),
                export::ExportError::Store(error) => error.into(),
                error @ export::ExportError::Write(_) => CliError::Found(error.to_string()),
            });
        }
        let line = Line { folder: to.display().to_string(), files: folder.files };
        table::one(output, &line, &[("folder", line.folder.clone()), ("files", line.files.to_string())])
    }
}
