//! `backstraight board`, `athlete`, `session`: what a coach reviews, from a data folder or a server.

use std::io::Write;
use std::path::PathBuf;
use std::time::Duration;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{ClubId, PersonId};
use backstraight_core::base::key::Key;
use backstraight_core::view::state::State;
use clap::Args;
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::{CliError, Data, Output, identity, now};
use crate::app::Clock;
use crate::grant::{AtTheMachine, MayReview};
use crate::project;
use crate::report;
use crate::report::board::Ask;
use crate::report::week::{BESIDE, WeekReport};
use crate::review::Review;
use crate::store::people;
use crate::store::postgres::Database;

/// From where to read.
#[derive(Debug, Default, Args)]
pub(super) struct From {
    /// Data folder
    #[arg(long, env = "BACKSTRAIGHT_DATA", value_name = "DIR", conflicts_with = "server")]
    data: Option<PathBuf>,
    #[command(flatten)]
    database: Database,
    /// The club, when the folder holds several
    #[arg(long, value_name = "ID", requires = "data")]
    club: Option<String>,
    /// Address of a server, such as http://127.0.0.1:8080
    #[arg(long, env = "BACKSTRAIGHT_SERVER", value_name = "URL", requires = "token")]
    server: Option<String>,
    /// Access token for the server
    #[arg(long, env = "BACKSTRAIGHT_TOKEN", value_name = "TOKEN", hide_env_values = true)]
    token: Option<String>,
}

/// Which days.
#[derive(Debug, Args)]
struct Days {
    /// The week in which this day lies
    #[arg(long, value_name = "DAY", conflicts_with_all = ["from_day", "to"])]
    week: Option<String>,
    /// First day
    #[arg(long = "from", id = "from_day", value_name = "DAY")]
    from: Option<String>,
    /// Last day
    #[arg(long, value_name = "DAY")]
    to: Option<String>,
    /// The reader's day, when it is not the machine's in UTC
    #[arg(long, value_name = "DAY")]
    today: Option<String>,
}

/// The squad at a glance.
#[derive(Debug, Args)]
pub(super) struct Board {
    #[command(flatten)]
    from: From,
    #[command(flatten)]
    days: Days,
    /// Only members of this squad
    #[arg(long, value_name = "ID")]
    squad: Option<String>,
    /// Only sessions in this state, such as missed or "part done", and athletes who have one
    #[arg(long, value_name = "STATE")]
    state: Option<String>,
    #[command(flatten)]
    output: Output,
}

/// One athlete, plan against done.
#[derive(Debug, Args)]
pub(super) struct Athlete {
    /// Identity of the athlete, or the beginning of the name on a data folder
    athlete: String,
    /// One page: the week, its tests, and the weeks before
    #[arg(long, conflicts_with_all = ["from_day", "to"])]
    week_report: bool,
    #[command(flatten)]
    from: From,
    #[command(flatten)]
    days: Days,
    #[command(flatten)]
    output: Output,
}

/// One session in full.
#[derive(Debug, Args)]
pub(super) struct Session {
    /// Identity of the athlete, or the beginning of the name on a data folder
    athlete: String,
    /// Key of the session, as the board's JSON gives it
    session: String,
    #[command(flatten)]
    from: From,
    #[command(flatten)]
    days: Days,
    #[command(flatten)]
    output: Output,
}

type Span = (Day, Day, Day);

/// The reader's day: as given, else the machine's in UTC.
pub(super) fn today(given: Option<&str>) -> Result<Day, CliError> {
    match given {
        Some(text) => text.parse().map_err(|e| CliError::Argument(format!("today: {e}"))),
        None => Day::of(now(), 0).map_err(|e| CliError::Argument(format!("the machine's clock: {e}"))),
    }
}

impl Days {
    fn span(&self) -> Result<Span, CliError> {
        let read = |what: &str, text: &Option<String>| {
            text.as_ref()
                .map(|t| t.parse::<Day>().map_err(|e| CliError::Argument(format!("{what}: {e}"))))
                .transpose()
        };
        let today = today(self.today.as_deref())?;
        let (week, from, to) = (read("week", &self.week)?, read("from", &self.from)?, read("to", &self.to)?);
        let from =
            from.or_else(|| to.map(|t| t.plus(-6))).unwrap_or_else(|| week.unwrap_or(today).week_start());
        let to = to.unwrap_or_else(|| from.plus(6));
        if to < from {
            return Err(CliError::Argument(format!("the last day {to} is before the first, {from}")));
        }
        Ok((from, to, today))
    }
}

/// Where a review comes from, opened.
pub(super) enum Source {
    Folder(Data, MayReview),
    Server(String, String),
}

impl From {
    pub(super) fn open(self) -> Result<Source, CliError> {
        match (self.data, self.server, self.token) {
            (Some(dir), None, _) => {
                let data = Data { data: dir, database: self.database };
                let club = club(&data, self.club.as_deref())?;
                Ok(Source::Folder(data, AtTheMachine.to_review(club)))
            }
            (None, Some(server), Some(token)) => Ok(Source::Server(server, token)),
            _ => Err(CliError::Argument(
                "give either --data DIR, or --server URL and --token TOKEN".to_owned(),
            )),
        }
    }
}

fn club(data: &Data, wanted: Option<&str>) -> Result<ClubId, CliError> {
    if let Some(text) = wanted {
        return identity("the club", text);
    }
    let (_, store) = data.store()?;
    let clubs = store.read_blocking(people::clubs)?;
    match clubs.as_slice() {
        [one] => identity("the club", &one.id),
        [] => Err(CliError::Argument("the folder holds no club yet".to_owned())),
        _ => Err(CliError::Argument("the folder holds several clubs: name one with --club".to_owned())),
    }
}

/// The athlete whom an argument means.
fn athlete(data: &Data, grant: &MayReview, text: &str) -> Result<MayReview, CliError> {
    let one = |id: PersonId| grant.of(id).ok_or_else(|| CliError::Argument("no such athlete".to_owned()));
    if let Ok(id) = text.parse::<PersonId>() {
        return one(id);
    }
    let (_, store) = data.store()?;
    let club = grant.club();
    let list = store.read_blocking(|db| people::list(db, club))?;
    let start = text.to_lowercase();
    let found: Vec<_> =
        list.iter().filter(|p| p.role == "athlete" && p.name.to_lowercase().starts_with(&start)).collect();
    match found.as_slice() {
        [p] => one(identity("the athlete", &p.id)?),
        [] => Err(CliError::Argument(format!("no athlete's name begins with {text:?}"))),
        several => {
            let names: Vec<&str> = several.iter().map(|p| p.name.as_str()).collect();
            Err(CliError::Argument(format!(
                "{text:?} is the beginning of several names: {}",
                names.join(", ")
            )))
        }
    }
}

fn gather(data: &Data, grant: MayReview, (from, to, today): Span) -> Result<Review, CliError> {
    let (_, store) = data.store()?;
    Ok(store.read_blocking(|db| Review::gather(db, &grant, from, to, today))?)
}

/// Asks a server about some days.
fn ask_days<T: DeserializeOwned>(
    server: &str,
    token: &str,
    path: &str,
    days: Span,
    more: &[(&str, &str)],
) -> Result<T, CliError> {
    let (from, to, today) = (days.0.to_string(), days.1.to_string(), days.2.to_string());
    let mut all = vec![("from", from.as_str()), ("to", &to), ("today", &today)];
    all.extend(more);
    ask(server, token, path, &all)
}

/// Asks a server.
pub(super) fn ask<T: DeserializeOwned>(
    server: &str,
    token: &str,
    path: &str,
    query: &[(&str, &str)],
) -> Result<T, CliError> {
    let failed = |why: String| CliError::Found(format!("{server}: {why}"));
    let agent: ureq::Agent = ureq::Agent::config_builder()
        .timeout_global(Some(Duration::from_secs(30)))
        .http_status_as_error(false)
        .build()
        .into();
    let url = format!("{}{path}", server.trim_end_matches('/'));
    let mut answer = agent
        .get(url)
        .query_pairs(query.iter().copied())
        .header("authorization", format!("Bearer {token}"))
        .call()
        .map_err(|e| failed(e.to_string()))?;
    let status = answer.status().as_u16();
    let body = answer.body_mut().read_to_vec().map_err(|e| failed(e.to_string()))?;
    if status != 200 {
        let json: Option<serde_json::Value> = serde_json::from_slice(&body).ok();
        let title = json.as_ref().and_then(|j| j.get("title")?.as_str());
        return Err(failed(format!("{} (status {status})", title.unwrap_or("refused"))));
    }
    serde_json::from_slice(&body).map_err(|e| failed(format!("its answer is of another version: {e}")))
}

pub(super) fn print<T: Serialize>(
    output: Output,
    value: &T,
    text: impl FnOnce(&T) -> String,
) -> Result<(), CliError> {
    let mut out = std::io::stdout().lock();
    if output.json {
        writeln!(out, "{}", serde_json::to_string_pretty(value).map_err(std::io::Error::from)?)?;
    } else {
        writeln!(out, "{}", text(value))?;
    }
    Ok(())
}

/// The board of a folder, after everything that waits was done.
pub(super) fn from_rows(
    data: &Data,
    grant: &MayReview,
    ask: &Ask,
) -> Result<Option<report::board::Board>, CliError> {
    let (_, store) = data.store()?;
    let clock = Clock::system();
    project::prepare(&store, &clock)?;
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    project::catch_up_with_others(&store, &clock, threads, Duration::from_secs(1), &|_| {})?;
    Ok(store.read_blocking(|db| report::board::read(db, grant, ask))?)
}

/// All pages of a server's board.
fn pages(server: &str, token: &str, days: Span, filter: &Board) -> Result<report::board::Board, CliError> {
    let mut whole: Option<report::board::Board> = None;
    loop {
        let after = whole.as_ref().and_then(|w| w.next.clone());
        let mut more = vec![("limit", "200")];
        more.extend(filter.squad.as_deref().map(|s| ("squad", s)));
        more.extend(filter.state.as_deref().map(|s| ("state", s)));
        more.extend(after.as_deref().map(|a| ("after", a)));
        let page: report::board::Board = ask_days(server, token, "/v1/board", days, &more)?;
        whole = Some(match whole {
            None => page,
            Some(mut whole) => {
                whole.pending = whole.pending.max(page.pending);
                whole.next = page.next;
                whole.athletes.extend(page.athletes);
                whole
            }
        });
        match whole {
            Some(whole) if whole.next.is_none() => return Ok(whole),
            _ => {}
        }
    }
}

impl Board {
    pub(super) fn run(mut self) -> Result<(), CliError> {
        let days = self.days.span()?;
        let from = std::mem::take(&mut self.from);
        let board = match from.open()? {
            Source::Folder(data, grant) => {
                let ask = Ask {
                    squad: self.squad.as_deref().map(|s| identity("the squad", s)).transpose()?,
                    state: self.state.as_deref().map(state).transpose()?,
                    ..Ask::everybody(days.0, days.1, days.2)
                };
                from_rows(&data, &grant, &ask)?
                    .ok_or_else(|| CliError::Found("there is no such club".to_owned()))?
            }
            Source::Server(server, token) => pages(&server, &token, days, &self)?,
        };
        print(self.output, &board, report::board::Board::to_text)
    }
}

fn state(word: &str) -> Result<State, CliError> {
    State::ALL.into_iter().find(|s| s.word() == word).ok_or_else(|| {
        let words: Vec<&str> = State::ALL.iter().map(|s| s.word()).collect();
        CliError::Argument(format!("a state is one of {}, not {word:?}", words.join(", ")))
    })
}

impl Athlete {
    pub(super) fn run(self) -> Result<(), CliError> {
        if self.week_report {
            return self.week();
        }
        let days = self.days.span()?;
        let found = match self.from.open()? {
            Source::Folder(data, grant) => {
                let review = gather(&data, athlete(&data, &grant, &self.athlete)?, days)?;
                report::athlete::first(&review, days)
            }
            Source::Server(server, token) => {
                let id: PersonId = identity("the athlete", &self.athlete)?;
                Some(ask_days(&server, &token, &format!("/v1/athletes/{id}"), days, &[])?)
            }
        };
        let found = found.ok_or_else(|| CliError::Found("there is no such athlete".to_owned()))?;
        print(self.output, &found, report::athlete::AthleteReport::to_text)
    }

    fn week(self) -> Result<(), CliError> {
        let days = self.days.span()?;
        let before = (days.0.plus(-7 * BESIDE), days.1, days.2);
        let nobody = || CliError::Found("there is no such athlete".to_owned());
        let found = match self.from.open()? {
            Source::Folder(data, everybody) => {
                let grant = athlete(&data, &everybody, &self.athlete)?;
                from_rows(&data, &grant, &Ask::everybody(days.0, days.1, days.2))?;
                let review = gather(&data, grant, days)?;
                let (_, store) = data.store()?;
                let marks = store.read_blocking(|db| report::attention::all_marks(db, &everybody))?;
                let weeks = store.read_blocking(|db| report::weeks::read(db, &grant, before))?;
                WeekReport {
                    athlete: report::athlete::first(&review, days).ok_or_else(nobody)?,
                    weeks: weeks.ok_or_else(nobody)?,
                    loads: report::loads::of(&gather(&data, grant, before)?, before).ok_or_else(nobody)?,
                    tests: report::tests::of(&review, &marks, days).ok_or_else(nobody)?,
                }
            }
            Source::Server(server, token) => {
                let id: PersonId = identity("the athlete", &self.athlete)?;
                let path = format!("/v1/athletes/{id}");
                WeekReport {
                    athlete: ask_days(&server, &token, &path, days, &[])?,
                    weeks: ask_days(&server, &token, &format!("{path}/weeks"), before, &[])?,
                    loads: ask_days(&server, &token, &format!("{path}/loads"), before, &[])?,
                    tests: ask_days(&server, &token, &format!("{path}/tests"), days, &[])?,
                }
            }
        };
        print(self.output, &found, WeekReport::to_text)
    }
}

impl Session {
    pub(super) fn run(self) -> Result<(), CliError> {
        let days = self.days.span()?;
        let key: Key = identity("the session", &self.session)?;
        let found = match self.from.open()? {
            Source::Folder(data, grant) => {
                report::session::find(&gather(&data, athlete(&data, &grant, &self.athlete)?, days)?, &key)
            }
            Source::Server(server, token) => {
                let id: PersonId = identity("the athlete", &self.athlete)?;
                let path = format!("/v1/athletes/{id}/sessions/{key}");
                Some(ask_days(&server, &token, &path, days, &[])?)
            }
        };
        let found = found.ok_or_else(|| {
            CliError::Found(format!("there is no session {key} from {} to {}", days.0, days.1))
        })?;
        print(self.output, &found, report::session::SessionReport::to_text)
    }
}
