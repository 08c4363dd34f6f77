//! `backstraight club`.

use backstraight_core::base::id::ClubId;
use clap::Subcommand;
use serde::Serialize;

use super::{CliError, Data, Output, chance, name, now, table};
use crate::grant::AtTheMachine;
use crate::store::people;

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
            Club::List { data, output } => {
                let (_, store) = data.store()?;
                let rows = store.read_blocking(people::clubs)?;
                let rows: Vec<Line> = rows.into_iter().map(|r| Line { id: r.id, name: r.name }).collect();
                table::print(output, &["CLUB", "NAME"], &rows, |r| vec![r.id.clone(), r.name.clone()])
            }
        }
    }
}
