//! `backstraight carry`: what is in a carry file, and taking one in at the machine. Prints no content.

use std::path::PathBuf;

use backstraight_core::exchange::carry::{self, MAX_PLAIN, Parcel};
use backstraight_core::exchange::signed;
use backstraight_core::exchange::wire::{MAX_BODY, Outcome};
use clap::{Args, Subcommand};
use serde::Serialize;

use super::{CliError, Data, Output, now, table};
use crate::exchange::carried::{self, Carrier};
use crate::exchange::index::Indexes;
use crate::grant::AtTheMachine;

#[derive(Debug, Subcommand)]
pub(super) enum Carry {
    /// Which documents are in a file, how many changes of which installs, and sizes; no content
    Inspect(Inspect),
    /// Take a file in, as if its carrier had exchanged; a server may be running
    Accept(Accept),
}

#[derive(Debug, Args)]
pub(super) struct Inspect {
    /// The file
    file: PathBuf,
    #[command(flatten)]
    output: Output,
}

#[derive(Debug, Args)]
pub(super) struct Accept {
    /// The file
    file: PathBuf,
    #[command(flatten)]
    data: Data,
    #[command(flatten)]
    output: Output,
}

/// A parcel, from outside.
#[derive(Debug, Serialize)]
struct Seen {
    document: String,
    changes: usize,
    packed_bytes: usize,
    /// The installs that say that they wrote it. Whether they did is known where their keys are.
    signed_by: Vec<String>,
    /// Why the changes cannot be read.
    #[serde(skip_serializing_if = "Option::is_none")]
    refused: Option<&'static str>,
}

/// What became of a parcel.
#[derive(Debug, Serialize)]
struct Taken {
    document: String,
    fresh: u64,
    outcome: String,
    words: String,
}

impl Carry {
    pub(super) fn run(self) -> Result<(), CliError> {
        match self {
            Carry::Inspect(ask) => ask.run(),
            Carry::Accept(ask) => ask.run(),
        }
    }
}

fn read(file: &PathBuf) -> Result<Vec<Parcel>, CliError> {
    let said = |why: String| CliError::Argument(format!("{}: {why}", file.display()));
    let size = std::fs::metadata(file).map_err(|e| said(e.to_string()))?.len();
    if size > 2 * MAX_BODY as u64 {
        return Err(said("too large for a carry file".to_owned()));
    }
    let bytes = std::fs::read(file).map_err(|e| said(e.to_string()))?;
    carry::read(&bytes).map_err(|e| said(format!("{e} ({})", e.code())))
}

impl Inspect {
    fn run(self) -> Result<(), CliError> {
        let mut room = MAX_PLAIN;
        let seen: Vec<Seen> = read(&self.file)?.iter().map(|parcel| look(parcel, &mut room)).collect();
        table::print(self.output, &["document", "changes", "bytes", "signed by"], &seen, |s| {
            let by =
                s.refused.map_or_else(|| s.signed_by.join(" "), |code| format!("cannot be read: {code}"));
            vec![s.document.clone(), s.changes.to_string(), s.packed_bytes.to_string(), by]
        })
    }
}

fn look(parcel: &Parcel, room: &mut usize) -> Seen {
    let read = parcel.plain(room).and_then(|plain| signed::changes(&plain));
    let mut signed_by: Vec<String> = signed::signers(&parcel.signatures).map(|i| i.to_string()).collect();
    signed_by.dedup();
    Seen {
        document: parcel.document().map_or_else(|e| e.to_string(), |name| name.to_string()),
        changes: read.as_ref().map_or(0, Vec::len),
        packed_bytes: parcel.changes.len(),
        signed_by,
        refused: read.err().map(|e| e.code.word()),
    }
}

impl Accept {
    fn run(self) -> Result<(), CliError> {
        let parcels = read(&self.file)?;
        let (_, store) = self.data.store()?;
        let carrier = Carrier::Machine(AtTheMachine);
        let taken = carried::take(&store, &Indexes::default(), carrier, &parcels, now())?;
        let taken: Vec<Taken> = taken
            .into_iter()
            .map(|h| {
                let (outcome, words) = match h.outcome {
                    Outcome::Accepted => ("accepted".to_owned(), String::new()),
                    Outcome::Need => ("need".to_owned(), "the server lacks what these build on".to_owned()),
                    Outcome::Refused(refusal) => (refusal.code, refusal.text),
                };
                let document = h.name.map_or_else(|| "none".to_owned(), |n| n.to_string());
                Taken { document, fresh: h.fresh, outcome, words }
            })
            .collect();
        table::print(self.output, &["document", "new", "outcome", "why"], &taken, |t| {
            vec![t.document.clone(), t.fresh.to_string(), t.outcome.clone(), t.words.clone()]
        })?;
        match taken.iter().filter(|t| t.outcome != "accepted").count() {
            0 => Ok(()),
            n => Err(CliError::Found(format!("{n} of {} parcels were not taken whole", taken.len()))),
        }
    }
}
