//! `backstraight compact`.

use clap::Args;
use serde::Serialize;

use super::{CliError, Data, Output, now, table};
use crate::job::compact::{self, Compacted};
use crate::store::document;

/// Compacts every document that has something after its snapshot.
#[derive(Debug, Args)]
pub(super) struct Compact {
    #[command(flatten)]
    data: Data,
    #[command(flatten)]
    output: Output,
}

#[derive(Debug, Default, Serialize)]
struct Line {
    compacted: u64,
    untouched: u64,
    refused: u64,
    bytes: u64,
}

impl Compact {
    pub(super) fn run(self) -> Result<(), CliError> {
        let (_, store) = self.data.store()?;
        let program = std::env::current_exe().ok();
        let mut line = Line::default();
        for doc in store.read_blocking(document::all)? {
            match compact::one(&store, program.as_deref(), doc.id, now())? {
                Compacted::Done(size) => {
                    line.compacted += 1;
                    line.bytes += size as u64;
                }
                Compacted::Nothing => line.untouched += 1,
                Compacted::Refused => line.refused += 1,
            }
        }
        let shown = [
            ("compacted", line.compacted.to_string()),
            ("untouched", line.untouched.to_string()),
            ("refused", line.refused.to_string()),
            ("bytes", line.bytes.to_string()),
        ];
        table::one(self.output, &line, &shown)?;
        match line.refused {
            0 => Ok(()),
            n => {
                Err(CliError::Found(format!("{n} documents did not come back the same and were left alone")))
            }
        }
    }
}
