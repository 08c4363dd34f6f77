//! `backstraight guardian`.

use backstraight_core::base::id::PersonId;
use clap::Subcommand;
use serde::Serialize;

use super::person::member;
use super::{CliError, Data, Output, identity, now, table};
use crate::grant::AtTheMachine;
use crate::store::guardians::{self, Begun, Guardianship, LONGEST_REASON};
use crate::store::people::shown;

/// Who answers for a minor.
#[derive(Debug, Subcommand)]
pub(super) enum Guardian {
    /// Begin a guardianship
    Add {
        /// The athlete
        athlete: String,
        /// A person whose role is guardian
        guardian: String,
        /// Why this person answers for the athlete
        #[arg(long)]
        reason: String,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// End a guardianship
    End {
        /// The athlete
        athlete: String,
        /// The guardian
        guardian: String,
        /// Why it ends
        #[arg(long)]
        reason: String,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
    /// List an athlete's guardianships, those that run first
    List {
        /// The athlete
        athlete: String,
        #[command(flatten)]
        data: Data,
        #[command(flatten)]
        output: Output,
    },
}

#[derive(Debug, Serialize)]
struct Line {
    guardian: String,
    name: String,
    reason: String,
    started_at: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    ended_at: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    end_reason: Option<String>,
}

impl Line {
    fn of(g: Guardianship) -> Line {
        Line {
            guardian: g.guardian.to_string(),
            name: g.guardian_name,
            reason: g.reason,
            started_at: g.started.to_string(),
            ended_at: g.ended.map(|t| t.to_string()),
            end_reason: g.end_reason,
        }
    }
}

impl Guardian {
    pub(super) fn run(self) -> Result<(), CliError> {
        match self {
            Guardian::Add { athlete, guardian, reason, data, output } => {
                let (_, store) = data.store()?;
                let athlete = member(&store, &athlete)?.asker;
                let guardian: PersonId = identity("the guardian", &guardian)?;
                let (grant, reason, now) = (AtTheMachine.to_guard(&athlete), self::reason(&reason)?, now());
                let begun =
                    store.write_blocking(move |db| guardians::begin(db, &grant, guardian, &reason, now))?;
                let why = match begun {
                    Begun::Runs => return list(&store, athlete.person, output),
                    Begun::OfAge => "the athlete is of age",
                    Begun::NoGuardian => "the guardian is nobody of this club whose role is guardian",
                };
                Err(CliError::Argument(why.to_owned()))
            }
            Guardian::End { athlete, guardian, reason, data, output } => {
                let (_, store) = data.store()?;
                let athlete = member(&store, &athlete)?.asker;
                let guardian: PersonId = identity("the guardian", &guardian)?;
                let (grant, reason, now) = (AtTheMachine.to_guard(&athlete), self::reason(&reason)?, now());
                let ended =
                    store.write_blocking(move |db| guardians::end(db, &grant, guardian, &reason, now))?;
                if !ended {
                    return Err(CliError::Argument("no such guardianship runs".to_owned()));
                }
                list(&store, athlete.person, output)
            }
            Guardian::List { athlete, data, output } => {
                let (_, store) = data.store()?;
                let athlete = member(&store, &athlete)?.asker;
                list(&store, athlete.person, output)
            }
        }
    }
}

fn list(store: &crate::store::Store, athlete: PersonId, output: Output) -> Result<(), CliError> {
    let grant = AtTheMachine.to_know(athlete);
    let all = store.read_blocking(|db| guardians::of_athlete(db, &grant))?;
    let rows: Vec<Line> = all.into_iter().map(Line::of).collect();
    table::print(output, &["GUARDIAN", "UNTIL", "NAME", "REASON"], &rows, |r| {
        let until = r.ended_at.clone().unwrap_or_else(|| "runs".to_owned());
        vec![r.guardian.clone(), until, r.name.clone(), r.reason.clone()]
    })
}

fn reason(text: &str) -> Result<String, CliError> {
    let bad = || CliError::Argument(format!("a reason has 1 to {LONGEST_REASON} bytes on one line"));
    shown(text, LONGEST_REASON).map(str::to_owned).ok_or_else(bad)
}
