//! `backstraight squad`.

use backstraight_core::base::id::{ClubId, SquadId};
use backstraight_core::exchange::access::Role;
use backstraight_core::exchange::wire::Outcome;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::Name;
use backstraight_core::model::plan::Member;
use clap::{Args, Subcommand};
use serde::Serialize;

use super::person::member;
use super::{CliError, Data, Output, chance, identity, name, now, table};
use crate::exchange::at_once;
use crate::exchange::index::Indexes;
use crate::grant::{AtTheMachine, Caller};
use crate::review;
use crate::squad::{Move, Unknown};
use crate::store::{Store, audit, installs, members, people};

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
    /// Put an athlete into a squad, as a coach's device would
    Join(OfOne),
    /// Take an athlete out of a squad, as a coach's device would; nothing that was written is deleted
    Leave(OfOne),
    /// Both at once: what the squad that is left says about the athlete comes along
    Move {
        /// The athlete
        athlete: String,
        /// The squad that the athlete leaves
        #[arg(long, value_name = "SQUAD")]
        from: String,
        /// The squad that the athlete joins
        #[arg(long, value_name = "SQUAD")]
        to: String,
        #[command(flatten)]
        writer: Writer,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// List who is in a squad
    Members {
        /// The squad
        squad: String,
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

/// Squads are written by coaches: in whose name.
#[derive(Debug, Args)]
pub(super) struct Writer {
    /// The coach in whose name it is written; the coach has a phone or desk that is let in
    #[arg(long = "by", value_name = "COACH")]
    coach: String,
}

/// An athlete and the squad that is joined or left.
#[derive(Debug, Args)]
pub(super) struct OfOne {
    /// The athlete
    athlete: String,
    /// The squad
    squad: String,
    #[command(flatten)]
    writer: Writer,
    #[command(flatten)]
    data: Data,
    #[command(flatten)]
    output: Output,
}

/// Somebody in a squad.
#[derive(Debug, Serialize)]
struct MemberLine {
    athlete: String,
    name: String,
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
            Squad::Join(OfOne { athlete, squad, writer, data, output }) => {
                moved(&data, &athlete, (None, Some(&squad)), &writer, output)
            }
            Squad::Leave(OfOne { athlete, squad, writer, data, output }) => {
                moved(&data, &athlete, (Some(&squad), None), &writer, output)
            }
            Squad::Move { athlete, from, to, writer, data, output } => {
                moved(&data, &athlete, (Some(&from), Some(&to)), &writer, output)
            }
            Squad::Members { squad, data, output } => {
                let id: SquadId = identity("the squad", &squad)?;
                let (_, store) = data.store()?;
                list(&store, id, output)
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

/// Writes who is in a squad, and prints who is in it then: in the one that is joined, else in the one that is
/// left.
fn moved(
    data: &Data,
    athlete: &str,
    (from, to): (Option<&str>, Option<&str>),
    writer: &Writer,
    output: Output,
) -> Result<(), CliError> {
    let squad = |id: Option<&str>| id.map(|id| identity("the squad", id)).transpose();
    let (from, to): (Option<SquadId>, Option<SquadId>) = (squad(from)?, squad(to)?);
    if from == to {
        return Err(CliError::Argument("both squads are the same".to_owned()));
    }
    let (_, store) = data.store()?;
    let by = writer.of(&store)?;
    let athlete = member(&store, athlete)?;
    if athlete.asker.role != Role::Athlete || athlete.asker.club != by.asker.club {
        return Err(CliError::Argument("this is no athlete of the coach's club".to_owned()));
    }
    let who = athlete.asker.person;
    let name = Name::new(&athlete.name)
        .map_err(|e| CliError::Argument(format!("the athlete's name cannot stand in a squad: {e}")))?;
    let (ask, now) = (Move { to, from, athlete: who, name }, now());
    let edits = store.read_blocking(|db| ask.edits(db, &by, now))?.map_err(|unknown| {
        let why = match unknown {
            Unknown::To => "the club has no such squad to join",
            Unknown::From => "the club has no such squad to leave",
            Unknown::NotIn => "the athlete is not in that squad",
        };
        CliError::Argument(why.to_owned())
    })?;
    at_once::write(&store, &Indexes::default(), &edits, now)?.map_err(|refused| match refused {
        Outcome::Refused(refusal) => CliError::Found(format!("refused: {} ({})", refusal.text, refusal.code)),
        Outcome::Accepted | Outcome::Need => CliError::Found("the squad has moved on: try again".to_owned()),
    })?;
    if !edits.is_empty() {
        let line = crate::grant::By { club: Some(by.asker.club), ..AtTheMachine.by() };
        let what = format!("squad written at the machine in the name of {}", by.asker.person);
        store.write_blocking(move |db| audit::add(db, &line, &what, &who.to_string(), now))?;
    }
    to.or(from).map_or(Ok(()), |shown| list(&store, shown, output))
}

fn list(store: &Store, id: SquadId, output: Output) -> Result<(), CliError> {
    let doc = store.read_blocking(|db| {
        if !people::squad_exists(db, id)? {
            return Ok(None);
        }
        review::open(db, &DocName::Squad(id)).map(Some)
    })?;
    let doc = doc.ok_or_else(|| CliError::Argument(format!("there is no squad {id}")))?;
    let members = doc.map(|doc| doc.records::<Member>("members")).unwrap_or_default();
    let line =
        |member: &Member| MemberLine { athlete: member.athlete.to_string(), name: member.name.to_string() };
    let mut rows: Vec<MemberLine> = members.live().map(|e| line(&e.record)).collect();
    rows.sort_by(|a, b| (&a.name, &a.athlete).cmp(&(&b.name, &b.athlete)));
    table::print(output, &["ATHLETE", "NAME"], &rows, |r| vec![r.athlete.clone(), r.name.clone()])
}

impl Writer {
    /// The coach, by the install that was heard last: what is written carries an install's name, so that a
    /// device can send it to a server that has lost it.
    fn of(&self, store: &Store) -> Result<Caller, CliError> {
        let coach = member(store, &self.coach)?;
        if !coach.asker.role.coaches() || coach.withdrawn.is_some() {
            return Err(CliError::Argument("--by is a coach who is in the club".to_owned()));
        }
        let grant = AtTheMachine.to_installs(&coach.asker);
        let all = store.read_blocking(|db| installs::list(db, &grant))?;
        let let_in = all.into_iter().filter(|i| i.withdrawn.is_none() && i.ended.is_none());
        let last = let_in.max_by_key(|i| (i.heard.or(i.refreshed).unwrap_or(i.created), i.id));
        let install = last.ok_or_else(|| {
            CliError::Argument(
                "the coach has no phone or desk that is let in: invite and enrol one".to_owned(),
            )
        })?;
        Ok(Caller { asker: coach.asker, install: install.id })
    }
}
