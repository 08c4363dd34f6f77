//! `backstraight check`.

use clap::Args;

use super::{CliError, Data, Output, table};
use crate::job::check;
use crate::store::open_reader;

/// Checks everything.
#[derive(Debug, Args)]
pub(super) struct Check {
    #[command(flatten)]
    data: Data,
    #[command(flatten)]
    output: Output,
}

impl Check {
    pub(super) fn run(self) -> Result<(), CliError> {
        let report = if self.data.on_server() {
            self.data.store()?.1.read_blocking(check::whole)?
        } else {
            // A file is looked at as it is: opening it to write would bring it to the newest version.
            let mut db = open_reader(&self.data.folder()?.database())?;
            let tx = db.transaction().map_err(crate::store::StoreError::from)?;
            check::whole(&*tx)?
        };
        let mut lines = vec![
            ("documents", report.documents.to_string()),
            ("chunks", report.chunks.to_string()),
            ("snapshots", report.snapshots.to_string()),
            ("changes", report.changes.to_string()),
            ("trouble", report.trouble.len().to_string()),
        ];
        lines.extend(report.trouble.iter().map(|text| ("", text.clone())));
        table::one(self.output, &report, &lines)?;
        match report.trouble.len() {
            0 => Ok(()),
            n => Err(CliError::Found(format!("{n} things do not hold"))),
        }
    }
}
