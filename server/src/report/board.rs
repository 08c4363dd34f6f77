//! The squad at a glance.

use backstraight_core::base::day::Day;
use backstraight_core::view::board::{Review, Row};
use backstraight_core::view::judge::How;
use backstraight_core::view::state::State;
use serde::{Deserialize, Serialize};

use super::text::{WIDTH, percent, table};

/// The board over some days.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Board {
    /// First day.
    pub from: String,
    /// Last day.
    pub to: String,
    /// The day on which it was made.
    pub today: String,
    /// One line per athlete.
    pub athletes: Vec<AthleteLine>,
}

/// One athlete's line.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct AthleteLine {
    /// Identity.
    pub id: String,
    /// Name shown.
    pub name: String,
    /// Event group.
    pub events: String,
    /// The last local day through which the athlete's phone was heard.
    pub heard_through: Option<String>,
    /// Mean share of the sessions that were heard of, 0 to 1.
    pub share: Option<f64>,
    /// How many sessions that counts.
    pub heard: usize,
    /// Sessions of which nothing is known; never in the share.
    pub unheard: usize,
    /// Fields at which two edits met.
    pub met: usize,
    /// Records that could not be read.
    pub unreadable: usize,
    /// Sessions by day.
    pub sessions: Vec<SessionCell>,
}

/// One session of one athlete.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct SessionCell {
    /// Day.
    pub date: String,
    /// Key of the session.
    pub session: Option<String>,
    /// Title.
    pub title: String,
    /// State, in words.
    pub state: String,
    /// Share done, 0 to 1.
    pub share: Option<f64>,
    /// Sets done.
    pub sets_done: usize,
    /// Sets asked.
    pub sets_asked: u32,
    /// Whether an earlier version of the session was done.
    pub earlier_version: bool,
    /// Exercises that were swapped as allowed.
    pub swapped: usize,
    /// The day on which it was done, when another.
    pub done_on: Option<String>,
}

impl SessionCell {
    /// From a review.
    #[must_use]
    pub fn of(r: &Review<'_>) -> SessionCell {
        let (sets_done, sets_asked) = r.sets();
        SessionCell {
            date: r.date.to_string(),
            session: r.key().map(|k| k.to_string()),
            title: r.title(),
            state: r.state.word().to_owned(),
            share: r.share.as_ref().and_then(|s| s.share),
            sets_done,
            sets_asked,
            earlier_version: r.share.as_ref().is_some_and(|s| s.earlier_version),
            swapped: r.share.as_ref().map_or(0, |s| s.items.iter().filter(|i| i.how == How::Swapped).count()),
            done_on: r.done_on().map(|d| d.to_string()),
        }
    }
}

/// Makes the board.
#[must_use]
pub fn board(rows: &[Row<'_>], from: Day, to: Day, today: Day) -> Board {
    let athletes = rows
        .iter()
        .map(|r| AthleteLine {
            id: r.athlete.person.to_string(),
            name: r.athlete.name.to_owned(),
            events: r.athlete.events.to_owned(),
            heard_through: r.athlete.heard_through.map(|d| d.to_string()),
            share: r.figure,
            heard: r.heard,
            unheard: r.unheard,
            met: r.met,
            unreadable: r.unreadable,
            sessions: r.sessions.iter().map(SessionCell::of).collect(),
        })
        .collect();
    Board { from: from.to_string(), to: to.to_string(), today: today.to_string(), athletes }
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
        out.push(format!(
            "{} to {}. Share: mean over sessions heard of; +n? are unheard and never counted. * did an earlier version. \
             ~ allowed swap.",
            self.from, self.to
        ).chars().fold((String::new(), 0u16), |(mut s, n), c| {
            // Wrap at the width, at spaces.
            if c == ' ' && n >= WIDTH - 16 { s.push('\n'); (s, 0) } else { s.push(c); (s, n + 1) }
        }).0);
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
    text
}
