//! `backstraight install`.

use backstraight_core::base::id::InstallId;
use clap::Subcommand;
use serde::Serialize;

use super::person::member;
use super::{CliError, Data, Output, identity, now, table};
use crate::grant::AtTheMachine;
use crate::store::installs;

/// Phones and desks of a person.
#[derive(Debug, Subcommand)]
pub(super) enum Install {
    /// List a person's installs
    List {
        /// The person
        person: String,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// Withdraw an install: its next request is refused; what it wrote stays
    Withdraw {
        /// The person
        person: String,
        /// The install
        #[arg(required_unless_present = "all")]
        install: Option<String>,
        /// All of the person's
        #[arg(long, conflicts_with = "install")]
        all: bool,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
}

#[derive(Debug, Serialize)]
struct Line {
    install: String,
    device: String,
    created_at: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    heard_at: Option<String>,
    state: &'static str,
}

impl Install {
    pub(super) fn run(self) -> Result<(), CliError> {
        let (person, data, output) = match &self {
            Install::List { person, data, output } | Install::Withdraw { person, data, output, .. } => {
                (person, data, *output)
            }
        };
        let (_, store) = data.store()?;
        let grant = AtTheMachine.to_installs(&member(&store, person)?.asker);
        let now = now();
        match &self {
            Install::List { .. } => {}
            Install::Withdraw { all: true, .. } => {
                store.write_blocking(move |db| installs::withdraw_all(db, &grant, now))?;
            }
            Install::Withdraw { install, .. } => {
                let id: InstallId = identity("the install", install.as_deref().unwrap_or_default())?;
                if !store.write_blocking(move |db| installs::withdraw(db, &grant, id, now))? {
                    return Err(CliError::Argument(format!("the person has no install {id}")));
                }
            }
        }
        let rows: Vec<Line> = store
            .read_blocking(|db| installs::list(db, &grant))?
            .into_iter()
            .map(|i| Line {
                install: i.id.to_string(),
                device: i.device,
                created_at: i.created.to_string(),
                heard_at: i.heard.map(|t| t.to_string()),
                state: match (i.withdrawn, i.ended) {
                    (Some(_), _) => "withdrawn",
                    (None, Some(_)) => "session ended",
                    (None, None) => "let in",
                },
            })
            .collect();
        table::print(output, &["INSTALL", "STATE", "HEARD", "DEVICE"], &rows, |r| {
            let heard = r.heard_at.clone().unwrap_or_else(|| "never".to_owned());
            vec![r.install.clone(), r.state.to_owned(), heard, r.device.clone()]
        })
    }
}
