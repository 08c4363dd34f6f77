//! `backstraight rebuild`.

use std::io::Write;
use std::sync::Mutex;

use backstraight_core::base::id::ClubId;
use clap::Args;
use serde::Serialize;

use super::{CliError, Data, Output, identity, table};
use crate::app::Clock;
use crate::project::{self, Caught};

/// Makes the rows of the board anew from the documents, athlete by athlete; a server may be running.
#[derive(Debug, Args)]
pub(super) struct Rebuild {
    /// Only of this club
    #[arg(long, value_name = "ID")]
    club: Option<String>,
    #[command(flatten)]
    data: Data,
    #[command(flatten)]
    output: Output,
}

#[derive(Debug, Serialize)]
struct Line {
    done: u64,
    left: u64,
}

impl Rebuild {
    pub(super) fn run(self) -> Result<(), CliError> {
        let club: Option<ClubId> = self.club.as_deref().map(|c| identity("the club", c)).transpose()?;
        let (_, store) = self.data.store()?;
        let threads = std::thread::available_parallelism().map_or(1, usize::from);
        let told = Mutex::new(0u64);
        let progress = |caught: Caught| {
            let mut told = told.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
            // A line for each twentieth of the work.
            let step = (caught.done + caught.left).div_ceil(20).max(1);
            if caught.done >= *told + step || caught.left == 0 {
                *told = caught.done;
                // Whoever closed the error stream does not want to hear of it.
                drop(writeln!(std::io::stderr(), "{} done, {} left", caught.done, caught.left));
            }
        };
        let caught = project::rebuild(&store, club, &Clock::system(), threads, &progress)?;
        let line = Line { done: caught.done, left: caught.left };
        let shown = [("done", line.done.to_string()), ("left", line.left.to_string())];
        table::one(self.output, &line, &shown)?;
        match caught.left {
            0 => Ok(()),
            n => Err(CliError::Found(format!(
                "{n} are left: another process works on them, or a document cannot be read (see the check)"
            ))),
        }
    }
}
