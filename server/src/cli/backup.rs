//! `backstraight backup`.

use std::path::PathBuf;

use clap::Args;
use serde::Serialize;

use super::{CliError, Data, Output, table};
use crate::store::backup;

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
}

impl Backup {
    pub(super) fn run(self) -> Result<(), CliError> {
        let bytes = backup::backup(&self.data.own_folder()?, &self.to)?;
        let line = Line { file: self.to.display().to_string(), bytes };
        table::one(self.output, &line, &[("file", line.file.clone()), ("bytes", bytes.to_string())])
    }
}
