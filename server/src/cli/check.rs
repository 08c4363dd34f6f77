//! `backstraight check`.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use serde::Serialize;

use super::{CliError, Data, Output, now, table};
use crate::job::check;
use crate::job::repair::{self, Repaired};
use crate::store::audit::{self, Noted};
use crate::store::postgres::Database;
use crate::store::{Db, backup, document, open_reader, quarantine};

/// Checks everything.
#[derive(Debug, Args)]
pub(super) struct Check {
    /// A backup to look at instead of a data folder
    #[arg(long, value_name = "FILE", conflicts_with = "data")]
    backup: Option<PathBuf>,
    /// Data folder
    #[arg(long, env = "BACKSTRAIGHT_DATA", value_name = "DIR", required_unless_present = "backup")]
    data: Option<PathBuf>,
    #[command(flatten)]
    database: Database,
    /// Mend documents that do not hold: what can be read stays, the rest is set aside in the folder,
    /// and devices send it again
    #[arg(long, conflicts_with = "backup")]
    repair: bool,
    /// A link of the audit list that was noted before: a line must still have it
    #[arg(long, value_name = "LINK", conflicts_with = "backup")]
    noted: Vec<Noted>,
    #[command(flatten)]
    output: Output,
}

impl Check {
    pub(super) fn run(self) -> Result<(), CliError> {
        if let Some(file) = &self.backup {
            return self.look_at(file);
        }
        let data = Data { data: self.data.clone().unwrap_or_default(), database: self.database.clone() };
        if self.repair {
            let (_, store) = data.store()?;
            for doc in store.read_blocking(document::all)? {
                if let Repaired::Kept { changes, aside } = repair::one(&store, doc.id, now())? {
                    let aside = aside.display();
                    writeln!(
                        std::io::stderr(),
                        "document {} mended: {changes} changes stay, {aside}",
                        doc.id
                    )?;
                }
            }
        }
        let look = |db: &Db| {
            let mut report = check::whole(db)?;
            report.trouble.extend(audit::missing(db, &self.noted)?);
            Ok((report, quarantine::all(db)?))
        };
        let (report, alone) = if data.on_server() {
            data.store()?.1.read_blocking(look)?
        } else {
            // A file is looked at as it is: opening it to write would bring it to the newest version.
            let mut db = open_reader(&data.folder()?.database())?;
            let tx = db.transaction().map_err(crate::store::StoreError::from)?;
            look(&*tx)?
        };
        let mut lines = vec![
            ("documents", report.documents.to_string()),
            ("chunks", report.chunks.to_string()),
            ("snapshots", report.snapshots.to_string()),
            ("changes", report.changes.to_string()),
            ("audit lines", report.audit_lines.to_string()),
            ("newest link", report.audit_link.clone().unwrap_or_default()),
            ("trouble", report.trouble.len().to_string()),
        ];
        lines.extend(report.trouble.iter().map(|text| ("", text.clone())));
        lines.push(("left alone", alone.len().to_string()));
        lines.extend(alone.iter().map(|k| ("", format!("document {}: {}: {}", k.doc, k.work, k.why))));
        table::one(self.output, &report, &lines)?;
        match report.trouble.len() {
            0 => Ok(()),
            n => Err(CliError::Found(format!("{n} things do not hold"))),
        }
    }

    /// A backup: against its manifest, and each document.
    fn look_at(&self, file: &Path) -> Result<(), CliError> {
        let (manifest, trouble) = backup::verify(file)?;
        let rows = |table| manifest.as_ref().map_or(0, |m| m.rows(table));
        let line = BackupLine {
            made_at: manifest.as_ref().map(|m| m.made_at.clone()),
            documents: rows("doc"),
            people: rows("person"),
            trouble,
        };
        let mut lines = vec![
            ("made at", line.made_at.clone().unwrap_or_default()),
            ("documents", line.documents.to_string()),
            ("people", line.people.to_string()),
            ("trouble", line.trouble.len().to_string()),
        ];
        lines.extend(line.trouble.iter().map(|text| ("", text.clone())));
        table::one(self.output, &line, &lines)?;
        match line.trouble.len() {
            0 => Ok(()),
            n => Err(CliError::Found(format!("{n} things do not hold"))),
        }
    }
}

#[derive(Debug, Serialize)]
struct BackupLine {
    made_at: Option<String>,
    documents: u64,
    people: u64,
    trouble: Vec<String>,
}
