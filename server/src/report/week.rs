//! The week of one athlete on one page: what was asked, what was done, and the weeks before.

use backstraight_core::base::day::Day;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::athlete::{AthleteReport, MetReport};
use super::loads::Loads;
use super::tests::Tests;
use super::text::{percent, table, wrap};
use super::weeks::Weeks;

/// Weeks before the one reported that are put beside it.
pub const BESIDE: i32 = 3;

/// The week of one athlete.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct WeekReport {
    /// The athlete, and every session of the week.
    pub athlete: AthleteReport,
    /// That week and those before it.
    pub weeks: Weeks,
    /// The load of those weeks.
    pub loads: Loads,
    /// Test trials of the week.
    pub tests: Tests,
}

impl WeekReport {
    /// As plain text of at most a hundred columns.
    #[must_use]
    pub fn to_text(&self) -> String {
        let a = &self.athlete.line;
        let start = self.weeks.weeks.last().map_or("", |w| w.start.as_str());
        let name = if a.events.is_empty() { a.name.clone() } else { format!("{} ({})", a.name, a.events) };
        let heard = a.heard_through.as_deref().unwrap_or("no day yet");
        let mut out = vec![wrap(&format!("{name}: week of {start}, heard through {heard}"))];
        out.push(match a.share {
            Some(share) => {
                format!("{} done over {} heard of, {} unheard", percent(share), sessions(a.heard), a.unheard)
            }
            None => format!("no session heard of, {} unheard", a.unheard),
        });
        let rows: Vec<Vec<String>> = self.athlete.reviews.iter().map(|r| line(&r.cell)).collect();
        if rows.is_empty() {
            out.push("No sessions this week.".to_owned());
        } else {
            out.push(table(&["day", "session", "state", "share", "sets", "min", "effort"], &rows));
        }
        let words: Vec<String> = self
            .athlete
            .reviews
            .iter()
            .flat_map(|r| {
                let said = r.comment.iter().map(|c| format!("{}, {}: “{c}”", r.cell.date, r.cell.title));
                let why =
                    r.left_out.iter().map(|w| format!("{}, {}: left out, {w}", r.cell.date, r.cell.title));
                said.chain(why)
            })
            .map(|w| wrap(&w))
            .collect();
        if !words.is_empty() {
            out.push(words.join("\n"));
        }
        if !self.tests.tests.is_empty() {
            out.push(format!("Tests\n\n{}", self.tests.to_text()));
        }
        out.push(format!("This week and those before\n\n{}", self.weeks.to_text()));
        out.push(self.loads.to_text());
        if !self.athlete.met_here.is_empty() {
            let met: Vec<String> = self.athlete.met_here.iter().map(MetReport::to_text).collect();
            let met = met.join("\n");
            let met: Vec<String> = met.lines().map(wrap).collect();
            out.push(format!("Two edits met here ({}):\n{}", self.athlete.met_here.len(), met.join("\n")));
        }
        if let Some(to) = &a.plan_to {
            out.push(format!("The plan has sessions up to {to}."));
        }
        out.join("\n\n")
    }
}

fn sessions(n: u64) -> String {
    if n == 1 { "1 session".to_owned() } else { format!("{n} sessions") }
}

fn line(s: &super::board::SessionCell) -> Vec<String> {
    let day = s.date.parse::<Day>().map_or("", |d| d.weekday_name());
    let short = s.date.split_once('-').map_or(s.date.as_str(), |(_, rest)| rest);
    let mut state = s.state.clone();
    if s.earlier_version {
        state.push_str(", an earlier version");
    }
    if s.swapped > 0 {
        state.push_str(", swapped as allowed");
    }
    if let Some(on) = &s.done_on {
        state.push_str(&format!(", on {on}"));
    }
    let known = s.share.is_some() || s.sets_asked > 0;
    vec![
        format!("{day} {short}"),
        s.title.clone(),
        state,
        s.share.map_or_else(|| "–".to_owned(), percent),
        if known { format!("{} of {}", s.sets_done, s.sets_asked) } else { "–".to_owned() },
        s.minutes.map_or_else(|| "–".to_owned(), |m| m.to_string()),
        s.effort.map_or_else(|| "–".to_owned(), |e| e.to_string()),
    ]
}
