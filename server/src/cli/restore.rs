//! `backstraight restore`.

use std::path::PathBuf;

use clap::Args;

use super::{CliError, Data, now};
use crate::store::backup;

/// Restores a backup. The restored server has a new epoch: devices offer again what it lost.
#[derive(Debug, Args)]
pub(super) struct Restore {
    /// File of the backup
    #[arg(long, value_name = "FILE")]
    from: PathBuf,
    /// Set the database that is in the folder aside
    #[arg(long)]
    replace: bool,
    #[command(flatten)]
    data: Data,
}

impl Restore {
    pub(super) fn run(self) -> Result<(), CliError> {
        Ok(backup::restore(&self.from, &self.data.own_folder()?, self.replace, now())?)
    }
}
