//! The squad at a glance, from the projector's rows; or from documents, which gives the same.

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{PersonId, SquadId};
use backstraight_core::exchange::access::Role;
use backstraight_core::science::Caution;
use backstraight_core::view::availability::{self, Said};
use backstraight_core::view::board::{Figure, Review, Row};
use backstraight_core::view::judge::How;
use backstraight_core::view::state::{Facts, State, state};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::text::{percent, table, wrap};
use crate::grant::MayReview;
use crate::review::logs_from;
use crate::store::board::{self as rows, Members, SessionRow};
use crate::store::{Db, StoreError, job, review};

/// The board over some days.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Board {
    /// First day.
    pub from: String,
    /// Last day.
    pub to: String,
    /// The day on which it was made.
    pub today: String,
    /// How many athletes', squads' and libraries' rows are older than what was acknowledged: this
    /// answer may lack what they sent in the last moments. 0 almost always.
    #[serde(default)]
    pub pending: u64,
    /// For the next page: give it as `after`. Missing on the last one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
    /// One line per athlete, by name.
    pub athletes: Vec<AthleteLine>,
}

/// One athlete's line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct AthleteLine {
    /// Identity.
    pub id: String,
    /// Name shown.
    pub name: String,
    /// Event group.
    pub events: String,
    /// The last local day through which the athlete's phone was heard.
    pub heard_through: Option<String>,
    /// What stands in the way of hearing from the athlete, when the server knows of something: no phone,
    /// a withdrawn one, a wrong clock, an app of another version. A phone without a signal is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub silence: Option<String>,
    /// Mean share of the sessions that were heard of, 0 to 1.
    pub share: Option<f64>,
    /// How many sessions that counts.
    pub heard: u64,
    /// Sessions of which nothing is known; never in the share.
    pub unheard: u64,
    /// Fields at which two edits met.
    pub met: u64,
    /// Records that could not be read.
    pub unreadable: u64,
    /// The last day on which the plan has a session.
    #[serde(default)]
    pub plan_to: Option<String>,
    /// What care staff said that the athlete may train today; missing when nothing was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub availability: Option<AvailabilityReport>,
    /// Sessions by day.
    pub sessions: Vec<SessionCell>,
}

/// What care staff said that an athlete may train. No reason is given and none is asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct AvailabilityReport {
    /// `full`, `modified` or `none`.
    pub level: String,
    /// First day.
    pub from: String,
    /// Last day; without it, until somebody says otherwise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<String>,
    /// What to avoid.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub avoid: Option<String>,
    /// What to do in its place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instead: Option<String>,
    /// All of it in a sentence.
    pub words: String,
    /// The caution to show beside it.
    pub caution: String,
}

impl AvailabilityReport {
    fn of(said: &Said) -> AvailabilityReport {
        AvailabilityReport {
            level: said.level.word().to_owned(),
            from: said.from.to_string(),
            until: said.until.map(|d| d.to_string()),
            avoid: said.avoid.as_ref().map(ToString::to_string),
            instead: said.instead.as_ref().map(ToString::to_string),
            words: said.words(),
            caution: Caution::Availability.text().to_owned(),
        }
    }
}

/// One session of one athlete. What is left out is false, nothing or zero.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SessionCell {
    /// Day.
    pub date: String,
    /// Key of the session, in the plan or in the log.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub session: Option<String>,
    /// Title.
    pub title: String,
    /// State, in words.
    pub state: String,
    /// Share done, 0 to 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub share: Option<f64>,
    /// Sets done.
    pub sets_done: u64,
    /// Sets asked.
    pub sets_asked: u32,
    /// Whether an earlier version of the session was done.
    #[serde(default, skip_serializing_if = "is_false")]
    pub earlier_version: bool,
    /// Exercises that were swapped as allowed.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub swapped: u64,
    /// The day on which it was done, when another.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub done_on: Option<String>,
    /// Minutes that it took.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minutes: Option<i64>,
    /// Effort of the session, 0 to 10.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub effort: Option<f64>,
    /// `modified` or `none`, where care staff said so of that day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub availability: Option<String>,
}

/// The word for a day on which training is not full.
fn limited(said: &[Said], day: Day) -> Option<String> {
    availability::limits(said, day).map(|s| s.level.word().to_owned())
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "what serde asks for")]
const fn is_false(b: &bool) -> bool {
    !*b
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "what serde asks for")]
const fn is_zero(n: &u64) -> bool {
    *n == 0
}

/// Effort from 0 to 10, from tenths.
fn points(tenths: i64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "0 to 100")]
    let tenths = tenths as f64;
    tenths / 10.0
}

impl SessionCell {
    /// From a review.
    #[must_use]
    pub fn of(r: &Review<'_>, said: &[Said]) -> SessionCell {
        let (sets_done, sets_asked) = r.sets();
        let first = r.logs.first().map(|l| &l.session.record);
        SessionCell {
            date: r.date.to_string(),
            session: r.key().map(|k| k.to_string()),
            title: r.title(),
            state: r.state.word().to_owned(),
            share: r.share.as_ref().and_then(|s| s.share),
            sets_done: sets_done as u64,
            sets_asked,
            earlier_version: r.share.as_ref().is_some_and(|s| s.earlier_version),
            swapped: r.share.as_ref().map_or(0, |s| s.items.iter().filter(|i| i.how == How::Swapped).count())
                as u64,
            done_on: r.done_on().map(|d| d.to_string()),
            minutes: first.and_then(|s| s.minutes).map(|m| m.get()),
            effort: first.and_then(|s| s.effort).map(|e| points(e.get())),
            availability: limited(said, r.date),
        }
    }

    /// From a row, as seen on a day.
    fn of_row(r: SessionRow, state: State, said: &[Said]) -> SessionCell {
        SessionCell {
            date: r.day.to_string(),
            session: Some(r.session.to_string()),
            title: r.title,
            state: state.word().to_owned(),
            share: r.share,
            sets_done: r.sets_done,
            sets_asked: u32::try_from(r.sets_asked).unwrap_or(u32::MAX),
            earlier_version: r.earlier,
            swapped: r.swapped,
            done_on: r.done_on.map(|d| d.to_string()),
            minutes: r.minutes,
            effort: r.effort.map(points),
            availability: limited(said, r.day),
        }
    }
}

/// The state of a row as seen on a day.
#[must_use]
pub fn state_of(r: &SessionRow, today: Day, heard_through: Option<Day>) -> State {
    if r.extra {
        return State::Extra;
    }
    state(&Facts {
        date: r.day,
        today,
        heard_through,
        logged: r.logged,
        left_out: r.left_out,
        verdict: r.verdict,
    })
}

/// What is asked of the board.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ask {
    /// First day.
    pub from: Day,
    /// Last day.
    pub to: Day,
    /// The reader's day.
    pub today: Day,
    /// Only members of this squad.
    pub squad: Option<SquadId>,
    /// Only sessions in this state, and only athletes who have one. Figures stay those of all.
    pub state: Option<State>,
    /// Only athletes behind this one.
    pub after: Option<PersonId>,
    /// Most athletes of a page.
    pub most: usize,
}

impl Ask {
    /// Everybody's sessions of some days, in one page.
    #[must_use]
    pub const fn everybody(from: Day, to: Day, today: Day) -> Ask {
        Ask { from, to, today, squad: None, state: None, after: None, most: usize::MAX }
    }
}

/// The board from the rows; none when nobody in the club is the one in `after`.
///
/// # Errors
/// When storage fails.
pub fn read(db: &Db, grant: &MayReview, ask: &Ask) -> Result<Option<Board>, StoreError> {
    let mut people = review::people(db, grant)?;
    people.sort_by(|a, b| (&a.name, a.id).cmp(&(&b.name, b.id)));
    let start = match ask.after {
        None => 0,
        Some(after) => match people.iter().position(|p| p.id == after) {
            Some(at) => at + 1,
            None => return Ok(None),
        },
    };
    let members = rows::members(db, grant, ask.squad)?;
    let mut athletes: Vec<AthleteLine> = Vec::new();
    let mut next = None;
    for p in people.into_iter().skip(start) {
        let seen = p.role == Role::Athlete
            && !p.withdrawn
            && grant.only().is_none_or(|only| only == p.id)
            && ask.squad.is_none_or(|_| members.of_squad.contains(&p.id));
        if !seen {
            continue;
        }
        let line = line_of(db, grant, ask, &p, &members)?;
        if ask.state.is_some() && line.sessions.is_empty() {
            continue;
        }
        if athletes.len() == ask.most {
            next = athletes.last().map(|a| a.id.clone());
            break;
        }
        athletes.push(line);
    }
    Ok(Some(Board {
        from: ask.from.to_string(),
        to: ask.to.to_string(),
        today: ask.today.to_string(),
        pending: job::pending(db, grant)?,
        next,
        athletes,
    }))
}

fn line_of(
    db: &Db,
    grant: &MayReview,
    ask: &Ask,
    p: &review::Person,
    members: &Members,
) -> Result<AthleteLine, StoreError> {
    let said = rows::available(db, grant, p.id)?;
    let mut states = Vec::new();
    let mut sessions = Vec::new();
    rows::sessions(db, grant, p.id, (ask.from, ask.to), |r| {
        let state = state_of(&r, ask.today, p.rows_through);
        states.push((state, r.share));
        if ask.state.is_none_or(|s| s == state) {
            sessions.push(SessionCell::of_row(r, state, &said));
        }
    })?;
    let figure = Figure::of(states);
    let (met, unreadable) = rows::met(db, grant, p.id, logs_from(ask.from))?;
    Ok(AthleteLine {
        id: p.id.to_string(),
        name: p.name.clone(),
        events: members.events.get(&p.id).cloned().unwrap_or_default(),
        heard_through: p.heard_through.map(|d| d.to_string()),
        silence: p.silence.map(|s| s.words().to_owned()),
        share: figure.share,
        heard: figure.heard as u64,
        unheard: figure.unheard as u64,
        met,
        unreadable,
        plan_to: rows::facts(db, p.id)?.and_then(|f| f.plan_to).map(|d| d.to_string()),
        availability: availability::on(&said, ask.today).map(AvailabilityReport::of),
        sessions,
    })
}

/// Makes the board from documents put together.
#[must_use]
pub fn board(rows: &[Row<'_>], from: Day, to: Day, today: Day) -> Board {
    let athletes = rows
        .iter()
        .map(|r| (r, availability::said(&r.athlete.done.availability)))
        .map(|(r, said)| AthleteLine {
            id: r.athlete.person.to_string(),
            name: r.athlete.name.to_owned(),
            events: r.athlete.events.to_owned(),
            heard_through: r.athlete.heard_through.map(|d| d.to_string()),
            // Known to the store, not to documents.
            silence: None,
            share: r.figure,
            heard: r.heard as u64,
            unheard: r.unheard as u64,
            met: r.met as u64,
            unreadable: r.unreadable as u64,
            plan_to: r.athlete.plans.last_day().map(|d| d.to_string()),
            availability: availability::on(&said, today).map(AvailabilityReport::of),
            sessions: r.sessions.iter().map(|s| SessionCell::of(s, &said)).collect(),
        })
        .collect();
    Board {
        from: from.to_string(),
        to: to.to_string(),
        today: today.to_string(),
        pending: 0,
        next: None,
        athletes,
    }
}

impl Board {
    /// As a table: one line per athlete, one column per day that has a session.
    #[must_use]
    pub fn to_text(&self) -> String {
        if self.athletes.is_empty() {
            return "No athletes yet. Add people and invite them, then write a plan.".to_owned();
        }
        let mut days: Vec<&str> =
            self.athletes.iter().flat_map(|a| a.sessions.iter().map(|s| s.date.as_str())).collect();
        days.sort_unstable();
        days.dedup();
        if days.is_empty() {
            return format!("No sessions from {} to {}.", self.from, self.to);
        }
        // A day needs nine columns, a name about twenty and the figure about twenty: five days at most.
        let blocks: Vec<&[&str]> = days.chunks(5).collect();
        let mut out = Vec::new();
        for (i, block) in blocks.iter().enumerate() {
            let last = i + 1 == blocks.len();
            let mut head: Vec<String> = vec!["athlete".to_owned()];
            head.extend(block.iter().map(|d| heading(d)));
            if last {
                head.push("share".to_owned());
                head.push("heard to".to_owned());
            }
            let rows: Vec<Vec<String>> = self.athletes.iter().map(|a| line(a, block, last)).collect();
            let head: Vec<&str> = head.iter().map(String::as_str).collect();
            out.push(table(&head, &rows));
        }
        out.push(wrap(&format!(
            "{} to {}. Share: mean over sessions heard of; +n? are unheard and never counted. * did an earlier \
             version. ~ allowed swap. ° training modified or none.",
            self.from, self.to
        )));
        let silences: Vec<String> = self
            .athletes
            .iter()
            .filter_map(|a| a.silence.as_ref().map(|words| format!("{}: {words}.", a.name)))
            .collect();
        if !silences.is_empty() {
            out.push(silences.iter().map(|s| wrap(s)).collect::<Vec<_>>().join("\n"));
        }
        let limited: Vec<String> = self
            .athletes
            .iter()
            .filter_map(|a| a.availability.as_ref().map(|v| wrap(&format!("{}: {}.", a.name, v.words))))
            .collect();
        if !limited.is_empty() {
            out.push(limited.join("\n"));
            out.push(wrap(Caution::Availability.text()));
        }
        if self.pending > 0 {
            out.push(format!(
                "{} not yet up to date: what came in the last moments may be missing.",
                self.pending
            ));
        }
        out.join("\n\n")
    }
}

fn heading(day: &str) -> String {
    let name = day.parse::<Day>().map_or("", |d| d.weekday_name());
    format!("{name} {}", day.split_once('-').map_or(day, |(_, rest)| rest))
}

fn line(a: &AthleteLine, days: &[&str], last: bool) -> Vec<String> {
    let mut row = vec![a.name.clone()];
    for day in days {
        let cells: Vec<String> = a.sessions.iter().filter(|s| s.date == *day).map(cell).collect();
        row.push(if cells.is_empty() { "·".to_owned() } else { cells.join("\n") });
    }
    if last {
        let mut figure = a.share.map_or_else(|| "–".to_owned(), percent);
        if a.unheard > 0 {
            figure.push_str(&format!(" +{}?", a.unheard));
        }
        row.push(figure);
        row.push(
            a.heard_through
                .as_deref()
                .map_or("never", |d| d.split_once('-').map_or(d, |(_, r)| r))
                .to_owned(),
        );
    }
    row
}

fn cell(s: &SessionCell) -> String {
    let mut text = match s.state.as_str() {
        word if word == State::Part.word() => "part".to_owned(),
        word if word == State::Due.word() => "due".to_owned(),
        word => word.to_owned(),
    };
    if let Some(share) = s.share {
        text.push_str(&format!(" {:.0}", share * 100.0));
    }
    if s.earlier_version {
        text.push('*');
    }
    if s.swapped > 0 {
        text.push('~');
    }
    if s.availability.is_some() {
        text.push('°');
    }
    text
}
