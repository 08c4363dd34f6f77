//! `backstraight erase`.

use backstraight_core::base::id::{ClubId, PersonId};
use clap::Subcommand;
use serde::Serialize;

use super::{CliError, Data, Output, identity, now, table};
use crate::erase::{self, Erased, Going};
use crate::grant::AtTheMachine;
use crate::store::{Store, erased};

/// Erases a person for good.
#[derive(Debug, Subcommand)]
pub(super) enum Erase {
    /// Show what goes with a person, and with --yes let it go
    Person {
        /// The person
        person: String,
        /// Do it; there is no way back
        #[arg(long)]
        yes: bool,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// List the withdrawn people whom their clubs do not keep any longer, and with --yes erase them
    Due {
        /// Do it; there is no way back
        #[arg(long)]
        yes: bool,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// Say for how many months a club keeps withdrawn people; without --months they are kept
    After {
        /// The club
        club: String,
        /// Months of 30 days
        #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=1200))]
        months: Option<u32>,
        #[command(flatten)]
        data: Data,
    },
}

#[derive(Debug, Serialize)]
struct Due {
    person: String,
    role: String,
    name: String,
    erased: bool,
}

impl Erase {
    pub(super) fn run(self) -> Result<(), CliError> {
        match self {
            Erase::Person { person, yes, data, output } => {
                let (_, store) = data.store()?;
                let person: PersonId = identity("the person", &person)?;
                let nobody = || CliError::Argument(format!("there is no person {person}, or it is erased"));
                if yes {
                    let done = one(&store, person)?.ok_or_else(nobody)?;
                    return table::one(output, &done, &done_lines(&done));
                }
                let club = store.read_blocking(|db| erased::club_of(db, person))?.ok_or_else(nobody)?;
                let grant = AtTheMachine.to_erase(person, club);
                let going = store.read_blocking(|db| erase::going(db, &grant))?.ok_or_else(nobody)?;
                table::one(output, &going, &going_lines(&going))
            }
            Erase::Due { yes, data, output } => {
                let (_, store) = data.store()?;
                let mut lines = Vec::new();
                for row in store.read_blocking(|db| erase::due(db, now()))? {
                    let person: PersonId = identity("the person", &row.id)?;
                    let erased = yes && one(&store, person)?.is_some();
                    lines.push(Due { person: row.id, role: row.role, name: row.name, erased });
                }
                table::print(output, &["PERSON", "ROLE", "ERASED", "NAME"], &lines, |l| {
                    let erased = if l.erased { "yes" } else { "no" };
                    vec![l.person.clone(), l.role.clone(), erased.to_owned(), l.name.clone()]
                })
            }
            Erase::After { club, months, data } => {
                let (_, store) = data.store()?;
                let club: ClubId = identity("the club", &club)?;
                let grant = AtTheMachine.to_keep_accounts();
                if store.write_blocking(move |db| erased::set_retention(db, &grant, club, months, now()))? {
                    return Ok(());
                }
                Err(CliError::Argument(format!("there is no club {club}")))
            }
        }
    }
}

fn one(store: &Store, person: PersonId) -> Result<Option<Erased>, CliError> {
    let Some(club) = store.read_blocking(|db| erased::club_of(db, person))? else { return Ok(None) };
    Ok(erase::person(store, AtTheMachine.to_erase(person, club), now())?)
}

fn going_lines(going: &Going) -> Vec<(&'static str, String)> {
    let bytes: u64 = going.documents.iter().map(|d| d.bytes).sum();
    let mut lines = vec![
        ("person", going.person.clone()),
        ("called then", going.pseudonym.clone()),
        ("installs withdrawn", going.installs.to_string()),
        ("invitations", going.invitations.to_string()),
        ("audit lines that stay", going.audit_lines.to_string()),
        ("documents that go", format!("{}, {bytes} bytes", going.documents.len())),
    ];
    lines.extend(going.documents.iter().map(|d| ("", d.name.clone())));
    lines.push(("squads copied anew", going.squads.len().to_string()));
    lines.extend(going.squads.iter().map(|s| ("", s.clone())));
    lines.push(("named in, look there", going.named_in.len().to_string()));
    lines.extend(going.named_in.iter().map(|s| ("", s.clone())));
    lines.push(("", "nothing was erased yet: --yes does it, and there is no way back".to_owned()));
    lines
}

fn done_lines(done: &Erased) -> Vec<(&'static str, String)> {
    let gone = if done.bytes_gone {
        "yes"
    } else {
        "once the running server has no reader of before: within minutes"
    };
    vec![
        ("called now", done.pseudonym.clone()),
        ("documents erased", done.documents.to_string()),
        ("squads copied anew", done.squads.to_string()),
        ("bytes gone", gone.to_owned()),
        ("backups", "older ones still hold the person until they are deleted".to_owned()),
    ]
}
