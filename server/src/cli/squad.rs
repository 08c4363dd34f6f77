//! `backstraight squad`.

use backstraight_core::base::id::{ClubId, SquadId};
use clap::Subcommand;
use serde::Serialize;

use super::{CliError, Data, Output, chance, identity, name, now, table};
use crate::grant::AtTheMachine;
use crate::store::{members, people};

/// Squads of a club.
#[derive(Debug, Subcommand)]
pub(super) enum Squad {
    /// Add a squad
    Add {
        /// Shown name
        name: String,
        /// Its club
        #[arg(long, value_name = "ID")]
        club: String,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// Rename a squad
    Rename {
        /// The squad
        squad: String,
        /// The new name
        name: String,
        /// Its club
        #[arg(long, value_name = "ID")]
        club: String,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// List the squads of a club
    List {
        /// The club
        #[arg(long, value_name = "ID")]
        club: String,
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

impl Squad {
    pub(super) fn run(self) -> Result<(), CliError> {
        match self {
            Squad::Add { name: text, club, data, output } => {
                let (text, now) = (name(&text)?, now());
                let club: ClubId = identity("the club", &club)?;
                let (_, store) = data.store()?;
                if !store.read_blocking(|db| people::club_exists(db, club))? {
                    return Err(CliError::Argument(format!("there is no club {club}")));
                }
                let id = SquadId::new(now, chance());
                let line = Line { id: id.to_string(), name: text.clone() };
                let grant = AtTheMachine.to_keep_accounts();
                store.write_blocking(move |db| people::add_squad(db, &grant, club, id, &text, now))?;
                table::one(output, &line, &[("squad", line.id.clone()), ("name", line.name.clone())])
            }
            Squad::Rename { squad, name: text, club, data, output } => {
                let (text, now) = (name(&text)?, now());
                let id: SquadId = identity("the squad", &squad)?;
                let grant = AtTheMachine.to_keep_club(identity("the club", &club)?);
                let (_, store) = data.store()?;
                let line = Line { id: id.to_string(), name: text.clone() };
                let known =
                    store.write_blocking(move |db| members::rename_squad(db, &grant, id, &text, now))?;
                if !known {
                    return Err(CliError::Argument(format!("the club has no squad {id}")));
                }
                table::one(output, &line, &[("squad", line.id.clone()), ("name", line.name.clone())])
            }
            Squad::List { club, data, output } => {
                let club: ClubId = identity("the club", &club)?;
                let (_, store) = data.store()?;
                let rows = store.read_blocking(|db| people::squads(db, club))?;
                let rows: Vec<Line> = rows.into_iter().map(|r| Line { id: r.id, name: r.name }).collect();
                table::print(output, &["SQUAD", "NAME"], &rows, |r| vec![r.id.clone(), r.name.clone()])
            }
        }
    }
}
