//! `backstraight club`.

use backstraight_core::base::id::ClubId;
use clap::Subcommand;
use serde::Serialize;

use super::{CliError, Data, Output, chance, identity, name, now, table};
use crate::grant::AtTheMachine;
use crate::store::{members, people};

/// Clubs.
#[derive(Debug, Subcommand)]
pub(super) enum Club {
    /// Add a club
    Add {
        /// Shown name
        name: String,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// Change a club's name, or from which birthday on its athletes decide alone
    Change {
        /// The club
        club: String,
        /// Another name
        #[arg(long)]
        name: Option<String>,
        /// Age of majority, 13 to 25; what the law says goes before it
        #[arg(long, value_name = "YEARS", value_parser = clap::value_parser!(u16).range(13..=25))]
        majority: Option<u16>,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// List the clubs
    List {
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
}

#[derive(Debug, Serialize)]
struct Line {
    id: String,
    name: String,
}

#[derive(Debug, Serialize)]
struct Settings {
    id: String,
    name: String,
    majority: u16,
}

impl Club {
    pub(super) fn run(self) -> Result<(), CliError> {
        match self {
            Club::Add { name: text, data, output } => {
                let (text, now) = (name(&text)?, now());
                // The first club makes the database.
                let store = data.guest(&data.maybe_new()?)?;
                let id = ClubId::new(now, chance());
                let line = Line { id: id.to_string(), name: text.clone() };
                let grant = AtTheMachine.to_keep_accounts();
                store.write_blocking(move |db| people::add_club(db, &grant, id, &text, now))?;
                table::one(output, &line, &[("club", line.id.clone()), ("name", line.name.clone())])
            }
            Club::Change { club, name: text, majority, data, output } => {
                let id: ClubId = identity("the club", &club)?;
                let (text, now) = (text.as_deref().map(name).transpose()?, now());
                let (grant, (_, store)) = (AtTheMachine.to_keep_club(id), data.store()?);
                let changed = store.write_blocking(move |db| {
                    if members::club(db, id)?.is_some() {
                        members::change_club(db, &grant, text.as_deref(), majority, now)?;
                    }
                    members::club(db, id)
                })?;
                let club = changed.ok_or_else(|| CliError::Argument(format!("there is no club {id}")))?;
                let line = Settings { id: id.to_string(), name: club.name, majority: club.majority };
                let shown = [
                    ("club", line.id.clone()),
                    ("name", line.name.clone()),
                    ("majority", line.majority.to_string()),
                ];
                table::one(output, &line, &shown)
            }
            Club::List { data, output } => {
                let (_, store) = data.store()?;
                let rows = store.read_blocking(people::clubs)?;
                let rows: Vec<Line> = rows.into_iter().map(|r| Line { id: r.id, name: r.name }).collect();
                table::print(output, &["CLUB", "NAME"], &rows, |r| vec![r.id.clone(), r.name.clone()])
            }
        }
    }
}
