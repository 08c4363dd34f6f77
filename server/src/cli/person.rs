//! `backstraight person`.

use backstraight_core::base::id::{ClubId, PersonId};
use backstraight_core::exchange::access::Role;
use clap::Subcommand;
use serde::Serialize;

use super::{CliError, Data, Output, chance, identity, name, now, table};
use crate::grant::AtTheMachine;
use crate::store::people::{self, NewPerson};

/// People of a club.
#[derive(Debug, Subcommand)]
pub(super) enum Person {
    /// Add a person
    Add {
        /// Shown name
        name: String,
        /// Their club
        #[arg(long, value_name = "ID")]
        club: String,
        /// head coach, coach, care, athlete or owner
        #[arg(long)]
        role: String,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// List the people of a club
    List {
        /// The club
        #[arg(long, value_name = "ID")]
        club: String,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// Give a person another role
    Role {
        /// The person
        person: String,
        /// head coach, coach, care, athlete or owner
        role: String,
        #[command(flatten)]
        data: Data,
    },
    /// Withdraw a person: none of their installs is let in any more
    Withdraw {
        /// The person
        person: String,
        #[command(flatten)]
        data: Data,
    },
}

#[derive(Debug, Serialize)]
struct Line {
    id: String,
    role: String,
    installs: u64,
    name: String,
}

impl Person {
    pub(super) fn run(self) -> Result<(), CliError> {
        let (now, grant) = (now(), AtTheMachine.to_keep_accounts());
        match self {
            Person::Add { name: text, club, role, data, output } => {
                let club: ClubId = identity("the club", &club)?;
                let new = NewPerson {
                    id: PersonId::new(now, chance()),
                    club,
                    role: self::role(&role)?,
                    name: name(&text)?,
                };
                let (_, store) = data.store()?;
                if !store.read_blocking(|db| people::club_exists(db, club))? {
                    return Err(CliError::Argument(format!("there is no club {club}")));
                }
                let line = Line {
                    id: new.id.to_string(),
                    role: new.role.to_string(),
                    installs: 0,
                    name: new.name.clone(),
                };
                store.write_blocking(move |db| people::add_person(db, &grant, &new, now))?;
                let shown =
                    [("person", line.id.clone()), ("role", line.role.clone()), ("name", line.name.clone())];
                table::one(output, &line, &shown)
            }
            Person::List { club, data, output } => {
                let club: ClubId = identity("the club", &club)?;
                let (_, store) = data.store()?;
                let rows: Vec<Line> = store
                    .read_blocking(|db| people::list(db, club))?
                    .into_iter()
                    .map(|r| Line { id: r.id, role: r.role, installs: r.installs, name: r.name })
                    .collect();
                table::print(output, &["PERSON", "ROLE", "INSTALLS", "NAME"], &rows, |r| {
                    vec![r.id.clone(), r.role.clone(), r.installs.to_string(), r.name.clone()]
                })
            }
            Person::Role { person, role, data } => {
                let (person, role) = (identity("the person", &person)?, self::role(&role)?);
                let (_, store) = data.store()?;
                let found =
                    store.write_blocking(move |db| people::set_role(db, &grant, person, role, now))?;
                known(found, person)
            }
            Person::Withdraw { person, data } => {
                let person = identity("the person", &person)?;
                let (_, store) = data.store()?;
                let found = store.write_blocking(move |db| people::withdraw(db, &grant, person, now))?;
                known(found, person)
            }
        }
    }
}

fn role(text: &str) -> Result<Role, CliError> {
    text.parse().map_err(|_| {
        let all = Role::ALL.map(Role::word).join(", ");
        CliError::Argument(format!("{text:?} is no role; roles are {all}"))
    })
}

fn known(found: bool, person: PersonId) -> Result<(), CliError> {
    if found { Ok(()) } else { Err(CliError::Argument(format!("there is no person {person}"))) }
}
