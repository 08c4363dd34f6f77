//! `backstraight backup`.

use std::path::PathBuf;

use clap::Args;
use serde::Serialize;

use super::{CliError, Data, Output, now, table};
use crate::store::backup::{self, Manifest};

/// Writes a backup. The file holds the keys too: keep it like the data folder itself.
#[derive(Debug, Args)]
pub(super) struct Backup {
    /// File to write; an older one is replaced when the new one is whole
    #[arg(long, value_name = "FILE")]
    to: PathBuf,
    #[command(flatten)]
    data: Data,
    #[command(flatten)]
    output: Output,
}

#[derive(Debug, Serialize)]
struct Line {
    file: String,
    bytes: u64,
    sha256: String,
    manifest: Manifest,
}

impl Backup {
    pub(super) fn run(self) -> Result<(), CliError> {
        // A folder is read as it is: opening it to write would bring it to the newest version.
        let made = if self.data.on_server() {
            let (folder, store) = self.data.store()?;
            backup::backup_of(&store, &folder, &self.to, now())?
        } else {
            backup::backup(&self.data.folder()?, &self.to, now())?
        };
        let line = Line {
            file: self.to.display().to_string(),
            bytes: made.bytes,
            sha256: made.sha256,
            manifest: made.manifest,
        };
        let shown = [
            ("file", line.file.clone()),
            ("bytes", line.bytes.to_string()),
            ("sha256", line.sha256.clone()),
            ("documents", line.manifest.rows("doc").to_string()),
            ("people", line.manifest.rows("person").to_string()),
            ("epoch", line.manifest.epoch.clone()),
        ];
        table::one(self.output, &line, &shown)
    }
}
