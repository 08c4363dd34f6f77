//! `backstraight audit`.

use backstraight_core::base::id::ClubId;
use clap::Args;
use serde::Serialize;

use super::{CliError, Data, Output, identity, table};
use crate::grant::AtTheMachine;
use crate::store::audit;

/// What changed access in a club, the newest first.
#[derive(Debug, Args)]
pub(super) struct Audit {
    /// The club
    #[arg(long, value_name = "ID")]
    club: String,
    /// Most lines
    #[arg(long, value_name = "N", default_value_t = 100, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    limit: u32,
    /// Only lines before this number
    #[arg(long, value_name = "N")]
    before: Option<u64>,
    #[command(flatten)]
    data: Data,
    #[command(flatten)]
    output: Output,
}

#[derive(Debug, Serialize)]
struct Line {
    id: u64,
    at: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    person: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    install: Option<String>,
    what: String,
    subject: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    link: Option<String>,
}

impl Audit {
    pub(super) fn run(self) -> Result<(), CliError> {
        let club: ClubId = identity("the club", &self.club)?;
        let (grant, most) = (AtTheMachine.to_audit(club), usize::try_from(self.limit).unwrap_or(usize::MAX));
        let (_, store) = self.data.store()?;
        let lines = store.read_blocking(|db| audit::page(db, &grant, self.before, most))?;
        let rows: Vec<Line> = lines
            .into_iter()
            .map(|l| Line {
                id: l.id,
                at: l.at.to_string(),
                person: l.person.map(|p| p.to_string()),
                name: l.name,
                install: l.install.map(|i| i.to_string()),
                what: l.what,
                subject: l.subject,
                link: l.link,
            })
            .collect();
        table::print(self.output, &["AT", "BY", "WHAT", "ABOUT"], &rows, |r| {
            let by = r.name.clone().unwrap_or_else(|| "–".to_owned());
            vec![r.at.clone(), by, r.what.clone(), r.subject.clone()]
        })
    }
}
