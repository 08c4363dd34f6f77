//! `backstraight restore`.

use std::path::PathBuf;

use clap::Args;
use serde::Serialize;

use super::{CliError, Data, Output, now, table};
use crate::store::backup::{self, Take};

/// Restores a backup, after it was verified. The restored server has a new epoch: devices offer again
/// what it lost. Whoever was erased since is erased again.
#[derive(Debug, Args)]
pub(super) struct Restore {
    /// File of the backup
    #[arg(long, value_name = "FILE")]
    from: PathBuf,
    /// Set the database that is in the folder aside
    #[arg(long)]
    replace: bool,
    /// Take a backup with damage, which is told: devices refill what they have
    #[arg(long)]
    anyway: bool,
    #[command(flatten)]
    data: Data,
    #[command(flatten)]
    output: Output,
}

#[derive(Debug, Serialize)]
struct Line {
    made_at: Option<String>,
    documents: u64,
    people: u64,
    erased_again: u64,
    trouble: Vec<String>,
}

impl Restore {
    pub(super) fn run(self) -> Result<(), CliError> {
        let take = Take { replace: self.replace, anyway: self.anyway };
        let folder = self.data.maybe_new()?;
        let done = if self.data.on_server() {
            if self.replace {
                let text = "a database of a server is never replaced: restore into an empty one";
                return Err(CliError::Argument(text.to_owned()));
            }
            backup::restore_to(&self.from, &folder, self.data.database(), take, now())?
        } else {
            backup::restore(&self.from, &folder, take, now())?
        };
        let rows = |table| done.manifest.as_ref().map_or(0, |m| m.rows(table));
        let line = Line {
            made_at: done.manifest.as_ref().map(|m| m.made_at.clone()),
            documents: rows("doc"),
            people: rows("person"),
            erased_again: done.erased_again,
            trouble: done.trouble,
        };
        let mut shown = vec![
            ("made at", line.made_at.clone().unwrap_or_default()),
            ("documents", line.documents.to_string()),
            ("people", line.people.to_string()),
            ("erased again", line.erased_again.to_string()),
            ("trouble", line.trouble.len().to_string()),
        ];
        shown.extend(line.trouble.iter().map(|text| ("", text.clone())));
        table::one(self.output, &line, &shown)
    }
}
