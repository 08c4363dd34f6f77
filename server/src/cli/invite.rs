//! `backstraight invite`.

use backstraight_core::base::id::PersonId;
use clap::Args;
use serde::Serialize;

use super::{CliError, Data, Output, identity, now, table};
use crate::grant::AtTheMachine;
use crate::store::{account, people};

/// Makes a code.
#[derive(Debug, Args)]
pub(super) struct Invite {
    /// The person
    person: String,
    /// Minutes for which the code is good
    #[arg(long, value_name = "N", default_value_t = 60, value_parser = clap::value_parser!(u32).range(1..=10_080))]
    minutes: u32,
    #[command(flatten)]
    data: Data,
    #[command(flatten)]
    output: Output,
}

#[derive(Debug, Serialize)]
struct Line {
    code: String,
    expires_at: String,
}

impl Invite {
    pub(super) fn run(self) -> Result<(), CliError> {
        let (person, now): (PersonId, _) = (identity("the person", &self.person)?, now());
        let (folder, store) = self.data.store()?;
        let key = folder.keys()?.secret;
        let Some(target) = store.read_blocking(|db| people::find(db, person))? else {
            return Err(CliError::Argument(format!("there is no person {person}")));
        };
        let grant = AtTheMachine.to_invite(person, target.club);
        let lifetime = i64::from(self.minutes) * 60_000;
        let made = store.write_blocking(move |db| account::invite(db, &grant, &key, lifetime, now))?;
        let line = Line { code: made.code, expires_at: made.expires.to_string() };
        let shown = [("code", line.code.clone()), ("good until", line.expires_at.clone())];
        table::one(self.output, &line, &shown)
    }
}
