//! The command line: one file a command. Each prints data on the output stream (a table, or JSON
//! with `--json`), everything else on the error stream, and says why when it fails.

mod audit;
mod backup;
mod carry;
mod check;
mod club;
mod compact;
mod enrol;
mod erase;
mod export;
mod formula;
mod guardian;
mod healthy;
mod install;
mod invite;
mod keys;
mod look;
mod person;
mod read;
mod rebuild;
mod restore;
mod serve;
mod squad;
mod table;

use std::path::PathBuf;
use std::process::ExitCode;

use backstraight_core::base::moment::Moment;
use clap::{Args, Parser, Subcommand};

use crate::app::Clock;
use crate::folder::Folder;
use crate::job::apart;
use crate::secret;
use crate::store::backup::no_database;
use crate::store::people::{LONGEST_NAME, shown};
use crate::store::postgres::Database;
use crate::store::{Store, StoreError, StoreOptions};

/// Exit code after a disk error: whoever restarts the program must not do so by itself.
pub const EXIT_DISK: u8 = 74;

#[derive(Debug, Parser)]
#[command(
    name = "backstraight",
    version,
    about = "Plans and logs of a club, kept and merged",
    max_term_width = 100
)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serve a data folder
    Serve(crate::config::Config),
    /// Ask a server on this machine whether it is there
    Healthy(healthy::Healthy),
    /// Clubs
    #[command(subcommand)]
    Club(club::Club),
    /// Squads of a club
    #[command(subcommand)]
    Squad(squad::Squad),
    /// People of a club
    #[command(subcommand)]
    Person(person::Person),
    /// Who answers for a minor
    #[command(subcommand)]
    Guardian(guardian::Guardian),
    /// Phones and desks of a person
    #[command(subcommand)]
    Install(install::Install),
    /// What changed access in a club, the newest first
    Audit(audit::Audit),
    /// Keys that sign access tokens
    #[command(subcommand)]
    Keys(keys::Keys),
    /// Make a code with which a person enrols a phone or desk
    Invite(invite::Invite),
    /// Trade an invitation for a session, as a phone does
    Enrol(enrol::Enrol),
    /// The squad at a glance
    Board(read::Board),
    /// One athlete: plan against done, as shown
    Athlete(read::Athlete),
    /// One session in full
    Session(read::Session),
    /// Who needs a look now, and why
    Attention(look::Attention),
    /// What the rules of the plans propose
    Proposals(look::Proposals),
    /// The best marks by test, class, age group and season
    Records(look::Records),
    /// Every computation with its source
    #[command(subcommand)]
    Formula(formula::Formula),
    /// Check everything that is stored; exit code 1 when something does not hold
    Check(check::Check),
    /// Write a backup, also while the server runs
    Backup(backup::Backup),
    /// Restore a backup into an empty folder
    Restore(restore::Restore),
    /// Full copies of what is kept of a person
    #[command(subcommand)]
    Export(export::Export),
    /// Erase a person for good, in two steps
    #[command(subcommand)]
    Erase(erase::Erase),
    /// Make the rows of the board anew from the documents
    Rebuild(rebuild::Rebuild),
    /// Files with which somebody carried changes here
    #[command(subcommand)]
    Carry(carry::Carry),
    /// Compact documents now
    Compact(compact::Compact),
    /// Compact one document from the input stream: for the server itself
    #[command(name = apart::COMMAND, hide = true)]
    CompactApart,
}

/// The data folder that a command works on.
#[derive(Debug, Clone, Args)]
pub(crate) struct Data {
    /// Data folder
    #[arg(long, env = "BACKSTRAIGHT_DATA", value_name = "DIR")]
    data: PathBuf,
    #[command(flatten)]
    database: Database,
}

/// How data is printed.
#[derive(Debug, Clone, Copy, Args)]
pub(crate) struct Output {
    /// Print JSON
    #[arg(long)]
    json: bool,
}

/// Why a command failed.
#[derive(Debug, thiserror::Error)]
pub(crate) enum CliError {
    /// Storage.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// An argument that cannot be used.
    #[error("{0}")]
    Argument(String),
    /// The command ran and found something wrong; it has said what.
    #[error("{0}")]
    Found(String),
    /// The output stream is closed or full.
    #[error("output: {0}")]
    Output(#[from] std::io::Error),
}

/// Runs the program.
#[must_use]
#[expect(clippy::print_stderr, reason = "the error stream is where a command says why it failed")]
pub fn main() -> ExitCode {
    let done = match Cli::parse().command {
        Command::Serve(config) => serve::run(config),
        Command::Healthy(c) => c.run(),
        Command::Club(c) => c.run(),
        Command::Squad(c) => c.run(),
        Command::Person(c) => c.run(),
        Command::Guardian(c) => c.run(),
        Command::Install(c) => c.run(),
        Command::Audit(c) => c.run(),
        Command::Keys(c) => c.run(),
        Command::Invite(c) => c.run(),
        Command::Enrol(c) => c.run(),
        Command::Board(c) => c.run(),
        Command::Athlete(c) => c.run(),
        Command::Session(c) => c.run(),
        Command::Attention(c) => c.run(),
        Command::Proposals(c) => c.run(),
        Command::Records(c) => c.run(),
        Command::Formula(c) => c.run(),
        Command::Check(c) => c.run(),
        Command::Backup(c) => c.run(),
        Command::Restore(c) => c.run(),
        Command::Export(c) => c.run(),
        Command::Erase(c) => c.run(),
        Command::Rebuild(c) => c.run(),
        Command::Carry(c) => c.run(),
        Command::Compact(c) => c.run(),
        Command::CompactApart => return ExitCode::from(apart::serve()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(CliError::Store(StoreError::Stopped)) => {
            eprintln!(
                "backstraight: the disk of the data folder failed since this machine was started. Restart \
                 the machine and run the check, or restore a backup; a restart of the program alone could \
                 build on data that is no longer there."
            );
            ExitCode::from(EXIT_DISK)
        }
        // Whoever reads has seen enough, as `head` does.
        Err(CliError::Output(error)) if error.kind() == std::io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("backstraight: {error}");
            ExitCode::FAILURE
        }
    }
}

impl Data {
    /// Whether the database is on a server.
    const fn on_server(&self) -> bool {
        self.database.url.is_some()
    }

    /// The folder, which must hold a database.
    fn folder(&self) -> Result<Folder, CliError> {
        let folder = self.maybe_new()?;
        if folder.has_database() { Ok(folder) } else { Err(no_database(&folder).into()) }
    }

    /// The folder; made when it is missing.
    fn maybe_new(&self) -> Result<Folder, CliError> {
        Ok(Folder::open(&self.data)?)
    }

    /// The store that is named, which must be there. A server may be running on it.
    fn store(&self) -> Result<(Folder, Store), CliError> {
        let folder = if self.on_server() { self.maybe_new()? } else { self.folder()? };
        let store = self.guest(&folder)?;
        Ok((folder, store))
    }

    /// The same, beside a server that may be running on it.
    fn guest(&self, folder: &Folder) -> Result<Store, CliError> {
        let database = self.database.clone();
        Ok(Store::open(folder, StoreOptions { guest: true, database, ..StoreOptions::default() })?)
    }

    /// The database server that is named, if one is.
    const fn database(&self) -> &Database {
        &self.database
    }
}

fn now() -> Moment {
    Clock::system().now()
}

/// Ten random bytes for a new identity.
fn chance() -> [u8; 10] {
    secret::random()
}

/// A name that can be shown.
fn name(text: &str) -> Result<String, CliError> {
    let bad = || CliError::Argument(format!("a name has 1 to {LONGEST_NAME} bytes on one line"));
    shown(text, LONGEST_NAME).map(str::to_owned).ok_or_else(bad)
}

/// An identity in an argument.
fn identity<T: std::str::FromStr>(what: &str, text: &str) -> Result<T, CliError> {
    text.parse().map_err(|_| CliError::Argument(format!("{what} is no identity: {text:?}")))
}
