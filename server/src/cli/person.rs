//! `backstraight person`.

use std::path::PathBuf;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ClubId, PersonId};
use backstraight_core::exchange::access::Role;
use clap::{Args, Subcommand};
use serde::Serialize;

use super::export::read_back;
use super::{CliError, Data, Output, chance, identity, name, now, table};
use crate::grant::AtTheMachine;
use crate::store::members::{self, Change, Changed, Member};
use crate::store::people::{self, NewPerson};
use crate::store::{Db, Store, StoreError, sign_in};

/// People of a club.
#[derive(Debug, Subcommand)]
pub(super) enum Person {
    /// Add a person
    Add(Add),
    /// List the people of a club
    List(List),
    /// Give a person another role
    Role {
        /// The person
        person: String,
        /// head coach, coach, care, athlete, guardian or owner
        role: String,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// Rename a person
    Rename {
        /// The person
        person: String,
        /// The new name
        name: String,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// Enter a person's date of birth; without one an athlete counts as a minor
    Born {
        /// The person
        person: String,
        /// The day as 2008-11-25, or "unknown"
        day: String,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// Withdraw a person: none of their installs is let in any more
    Withdraw(Target),
    /// Take a withdrawal back
    Restore(Target),
    /// Let an athlete leave with a copy of what is theirs, which is read back first, or without wanting one
    #[command(group = clap::ArgGroup::new("leaves").required(true))]
    Leave {
        #[command(flatten)]
        target: Target,
        /// The full copy: a folder of `export person`, or the zip that the athlete has
        #[arg(long, value_name = "PATH", group = "leaves")]
        copy: Option<PathBuf>,
        /// The athlete wants no copy
        #[arg(long, group = "leaves")]
        without_copy: bool,
    },
    /// Take a person's password and passkeys away; an invitation is then the way in
    ResetSignIn(Target),
}

/// Adds a person.
#[derive(Debug, Args)]
pub(super) struct Add {
    /// Shown name
    name: String,
    /// Their club
    #[arg(long, value_name = "ID")]
    club: String,
    /// head coach, coach, care, athlete, guardian or owner
    #[arg(long)]
    role: String,
    /// Date of birth as 2008-11-25
    #[arg(long, value_name = "DAY")]
    born: Option<String>,
    #[command(flatten)]
    data: Data,
    #[command(flatten)]
    output: Output,
}

/// Lists people.
#[derive(Debug, Args)]
pub(super) struct List {
    /// The club
    #[arg(long, value_name = "ID")]
    club: String,
    /// Those who were withdrawn too
    #[arg(long)]
    all: bool,
    #[command(flatten)]
    data: Data,
    #[command(flatten)]
    output: Output,
}

/// One person.
#[derive(Debug, Args)]
pub(super) struct Target {
    /// The person
    person: String,
    #[command(flatten)]
    data: Data,
    #[command(flatten)]
    output: Output,
}

#[derive(Debug, Serialize)]
struct Line {
    id: String,
    role: String,
    installs: u64,
    name: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    born: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sign_in: Option<String>,
    passkeys: u64,
    withdrawn: bool,
}

impl Line {
    fn of(m: &Member) -> Line {
        Line {
            id: m.asker.person.to_string(),
            role: m.asker.role.to_string(),
            installs: m.installs,
            name: m.name.clone(),
            born: m.born.map(|d| d.to_string()),
            sign_in: m.sign_in.clone(),
            passkeys: m.passkeys,
            withdrawn: m.withdrawn.is_some(),
        }
    }

    fn show(&self, output: Output) -> Result<(), CliError> {
        let unknown = || "unknown".to_owned();
        let mut shown =
            vec![("person", self.id.clone()), ("role", self.role.clone()), ("name", self.name.clone())];
        if self.role == Role::Athlete.word() || self.born.is_some() {
            shown.push(("born", self.born.clone().unwrap_or_else(unknown)));
        }
        if self.withdrawn {
            shown.push(("withdrawn", "yes".to_owned()));
        }
        table::one(output, self, &shown)
    }
}

impl Person {
    pub(super) fn run(self) -> Result<(), CliError> {
        match self {
            Person::Add(add) => add.run(),
            Person::List(list) => list.run(),
            Person::Role { person, role, data, output } => {
                let role = Some(self::role(&role)?);
                changed(&person, &data, output, Change { role, ..Change::default() })
            }
            Person::Rename { person, name: text, data, output } => {
                let name = Some(name(&text)?);
                changed(&person, &data, output, Change { name, ..Change::default() })
            }
            Person::Born { person, day, data, output } => {
                let born = if day == "unknown" { None } else { Some(born(&day)?) };
                changed(&person, &data, output, Change { born: Some(born), ..Change::default() })
            }
            Person::Withdraw(target) => {
                target.run(|db, member, now| members::withdraw(db, &AtTheMachine.to_keep(&member.asker), now))
            }
            Person::Restore(target) => target.run(|db, member, now| {
                members::restore(db, &AtTheMachine.to_keep(&member.asker), now).map(|_| Changed::Done)
            }),
            Person::Leave { target, copy, without_copy: _ } => target.leave(copy),
            Person::ResetSignIn(target) => target.run(|db, member, now| {
                sign_in::reset(db, &AtTheMachine.to_keep(&member.asker), now).map(|_| Changed::Done)
            }),
        }
    }
}

impl Add {
    fn run(self) -> Result<(), CliError> {
        let (now, grant) = (now(), AtTheMachine.to_keep_accounts());
        let club: ClubId = identity("the club", &self.club)?;
        let new = NewPerson {
            id: PersonId::new(now, chance()),
            club,
            role: role(&self.role)?,
            name: name(&self.name)?,
        };
        let born = self.born.as_deref().map(born).transpose()?;
        let (_, store) = self.data.store()?;
        if !store.read_blocking(|db| people::club_exists(db, club))? {
            return Err(CliError::Argument(format!("there is no club {club}")));
        }
        let id = new.id;
        store.write_blocking(move |db| {
            people::add_person(db, &grant, &new, now)?;
            if born.is_some() {
                people::set_born(db, &grant, id, born, now)?;
            }
            Ok(())
        })?;
        Line::of(&find(&store, id)?).show(self.output)
    }
}

impl List {
    fn run(self) -> Result<(), CliError> {
        let club: ClubId = identity("the club", &self.club)?;
        let grant = AtTheMachine.to_list(club);
        let (_, store) = self.data.store()?;
        let mut rows = store.read_blocking(|db| members::list(db, &grant, None, usize::MAX, self.all))?;
        rows.sort_by(|a, b| {
            (a.asker.role.word(), &a.name, a.asker.person).cmp(&(
                b.asker.role.word(),
                &b.name,
                b.asker.person,
            ))
        });
        let rows: Vec<Line> = rows.iter().map(Line::of).collect();
        table::print(self.output, &["PERSON", "ROLE", "INSTALLS", "NAME"], &rows, |r| {
            let name = if r.withdrawn { format!("{} (withdrawn)", r.name) } else { r.name.clone() };
            vec![r.id.clone(), r.role.clone(), r.installs.to_string(), name]
        })
    }
}

impl Target {
    fn run(
        self,
        work: impl FnOnce(&Db, &Member, backstraight_core::base::moment::Moment) -> Result<Changed, StoreError>
        + Send
        + 'static,
    ) -> Result<(), CliError> {
        let (_, store) = self.data.store()?;
        let member = member(&store, &self.person)?;
        let (id, now) = (member.asker.person, now());
        if store.write_blocking(move |db| work(db, &member, now))? == Changed::LastOwner {
            return Err(last_owner());
        }
        Line::of(&find(&store, id)?).show(self.output)
    }
}

impl Target {
    fn leave(self, copy: Option<PathBuf>) -> Result<(), CliError> {
        let (_, store) = self.data.store()?;
        let member = member(&store, &self.person)?;
        let (grant, now) = (AtTheMachine.to_leave(&member.asker), now());
        let copy = copy.map(|path| read_back(&store, &grant.copy(), &path)).transpose()?;
        let left = store.write_blocking(move |db| members::leave(db, &grant, copy.as_deref(), now))?;
        if !left {
            return Err(CliError::Argument(
                "something was written since the copy was read: again".to_owned(),
            ));
        }
        Line::of(&find(&store, member.asker.person)?).show(self.output)
    }
}

fn changed(person: &str, data: &Data, output: Output, change: Change) -> Result<(), CliError> {
    let (_, store) = data.store()?;
    let member = member(&store, person)?;
    let (grant, now) = (AtTheMachine.to_keep(&member.asker), now());
    if store.write_blocking(move |db| members::change(db, &grant, &change, now))? == Changed::LastOwner {
        return Err(last_owner());
    }
    Line::of(&find(&store, member.asker.person)?).show(output)
}

fn last_owner() -> CliError {
    CliError::Argument("the club would have no owner: add another one first".to_owned())
}

/// A person by identity, withdrawn or not.
pub(super) fn member(store: &Store, text: &str) -> Result<Member, CliError> {
    find(store, identity("the person", text)?)
}

fn find(store: &Store, id: PersonId) -> Result<Member, CliError> {
    store
        .read_blocking(|db| members::find(db, id))?
        .ok_or_else(|| CliError::Argument(format!("there is no person {id}")))
}

fn born(text: &str) -> Result<Day, CliError> {
    text.parse().map_err(|e| CliError::Argument(format!("the date of birth: {e}")))
}

fn role(text: &str) -> Result<Role, CliError> {
    text.parse().map_err(|_| {
        let all = Role::ALL.map(Role::word).join(", ");
        CliError::Argument(format!("{text:?} is no role; roles are {all}"))
    })
}
