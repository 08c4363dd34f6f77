//! `backstraight attention`, `proposals`, `records`: who needs a look and why.

use clap::Args;
use serde::de::DeserializeOwned;

use super::read::{From, Source, ask, from_rows, print, today};
use super::{CliError, Output};
use crate::report::attention::{self, AttentionList, ProposalList, RecordList};
use crate::report::board::Ask;

/// Who needs a look now, and why.
#[derive(Debug, Args)]
pub(super) struct Attention {
    #[command(flatten)]
    common: Common,
}

/// What the rules of the plans propose.
#[derive(Debug, Args)]
pub(super) struct Proposals {
    #[command(flatten)]
    common: Common,
}

/// The best marks by test, class, age group and season.
#[derive(Debug, Args)]
pub(super) struct Records {
    #[command(flatten)]
    common: Common,
}

#[derive(Debug, Args)]
struct Common {
    #[command(flatten)]
    from: From,
    /// The reader's day, when it is not the machine's in UTC
    #[arg(long, value_name = "DAY")]
    today: Option<String>,
    #[command(flatten)]
    output: Output,
}

/// A list that a server gives by pages.
trait Paged: DeserializeOwned {
    fn next(&self) -> Option<&str>;
    fn join(&mut self, page: Self);
}

macro_rules! paged {
    ($($list:ty),*) => { $(
        impl Paged for $list {
            fn next(&self) -> Option<&str> {
                self.next.as_deref()
            }
            fn join(&mut self, page: Self) {
                self.next = page.next;
                self.athletes.extend(page.athletes);
            }
        }
    )* };
}
paged!(AttentionList, ProposalList);

fn pages<T: Paged>(server: &str, token: &str, path: &str, today: &str) -> Result<T, CliError> {
    let mut whole: T = ask(server, token, path, &[("today", today)])?;
    while let Some(after) = whole.next().map(str::to_owned) {
        whole.join(ask(server, token, path, &[("today", today), ("after", &after)])?);
    }
    Ok(whole)
}

fn no_club() -> CliError {
    CliError::Found("there is no such club".to_owned())
}

impl Attention {
    pub(super) fn run(self) -> Result<(), CliError> {
        let Common { from, today: day, output } = self.common;
        let today = today(day.as_deref())?;
        let list: AttentionList = match from.open()? {
            Source::Folder(data, grant) => {
                from_rows(&data, &grant, &Ask::everybody(today, today, today))?;
                let (_, store) = data.store()?;
                let all = (None, usize::MAX);
                store
                    .read_blocking(|db| attention::attention(db, &grant, None, all, today))?
                    .ok_or_else(no_club)?
            }
            Source::Server(server, token) => pages(&server, &token, "/v1/attention", &today.to_string())?,
        };
        print(output, &list, AttentionList::to_text)
    }
}

impl Proposals {
    pub(super) fn run(self) -> Result<(), CliError> {
        let Common { from, today: day, output } = self.common;
        let today = today(day.as_deref())?;
        let list: ProposalList = match from.open()? {
            Source::Folder(data, grant) => {
                let (_, store) = data.store()?;
                let all = (None, usize::MAX);
                store.read_blocking(|db| attention::proposals(db, &grant, all, today))?.ok_or_else(no_club)?
            }
            Source::Server(server, token) => pages(&server, &token, "/v1/proposals", &today.to_string())?,
        };
        print(output, &list, ProposalList::to_text)
    }
}

impl Records {
    pub(super) fn run(self) -> Result<(), CliError> {
        let Common { from, today: day, output } = self.common;
        let today = today(day.as_deref())?;
        let list: RecordList = match from.open()? {
            Source::Folder(data, grant) => {
                from_rows(&data, &grant, &Ask::everybody(today, today, today))?;
                let (_, store) = data.store()?;
                store.read_blocking(|db| attention::records(db, &grant, today))?
            }
            Source::Server(server, token) => {
                ask(&server, &token, "/v1/records", &[("until", &today.to_string())])?
            }
        };
        print(output, &list, RecordList::to_text)
    }
}
