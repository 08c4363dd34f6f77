//! One athlete: plan against done over some days, and where two edits met.

use backstraight_core::base::day::Day;
use backstraight_core::base::id::InstallId;
use backstraight_core::view::board::Row;
use backstraight_core::view::library::Library;
use backstraight_core::view::met::{MetHere, in_words};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::review::Review;

use super::board::{AthleteLine, board};
use super::session::{SessionReport, report};
use super::text::{percent, wrap};

/// One athlete over some days.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct AthleteReport {
    /// What the board says.
    #[serde(flatten)]
    pub line: AthleteLine,
    /// Sessions in full.
    pub reviews: Vec<SessionReport>,
    /// Where two edits met.
    pub met_here: Vec<MetReport>,
}

/// A field at which two edits met.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MetReport {
    /// The record, as the document places it.
    pub place: String,
    /// What it is about, in words.
    pub about: String,
    /// The field.
    pub field: String,
    /// The values; the first is shown meanwhile.
    pub choices: Vec<ChoiceReport>,
}

/// One of the values.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ChoiceReport {
    /// In words.
    pub value: String,
    /// Who wrote it.
    pub who: String,
    /// When, RFC 3339.
    pub at: String,
}

/// The first (for one athlete, the only) athlete of what was gathered.
#[must_use]
pub fn first(gathered: &Review, (from, to, today): (Day, Day, Day)) -> Option<AthleteReport> {
    athlete(gathered.rows().first()?, &gathered.library, &|i| gathered.who(i), from, to, today)
}

/// Puts an athlete into a report.
#[must_use]
pub fn athlete(
    row: &Row<'_>,
    library: &Library,
    who: &dyn Fn(InstallId) -> Option<String>,
    from: Day,
    to: Day,
    today: Day,
) -> Option<AthleteReport> {
    let line = board(std::slice::from_ref(row), from, to, today).athletes.into_iter().next()?;
    let (plans, done) = (row.athlete.plans, row.athlete.done);
    let mut met_here: Vec<MetReport> = plans
        .iter()
        .flat_map(|(_, plan)| in_words(&plan.met, library, who))
        .map(|m| met(&m, &about(&m, row, library)))
        .collect();
    met_here.extend(in_words(&done.met, library, who).iter().map(|m| met(m, "the log")));
    Some(AthleteReport {
        line,
        reviews: row.sessions.iter().map(|r| report(r, &row.athlete, library)).collect(),
        met_here,
    })
}

fn met(m: &MetHere, about: &str) -> MetReport {
    MetReport {
        place: m.place.to_string(),
        about: about.to_owned(),
        field: m.field.to_owned(),
        choices: m
            .choices
            .iter()
            .map(|c| ChoiceReport { value: c.words.clone(), who: c.who.clone(), at: c.at.to_string() })
            .collect(),
    }
}

/// What a record of the plan is about: its session and exercise.
fn about(m: &MetHere, row: &Row<'_>, library: &Library) -> String {
    let key = m.place.keys.first();
    for session in row.athlete.plans.sessions().map(|s| s.planned) {
        let day = format!("{} of {}", session.session.record.title, session.session.record.date);
        if key == Some(&session.key()) {
            return day;
        }
        if let Some((_, item)) = session.items().find(|(_, i)| key == Some(&i.key())) {
            return format!("{}, {day}", library.exercise_name(&item.record.ex));
        }
    }
    m.place.to_string()
}

impl AthleteReport {
    /// As plain text.
    #[must_use]
    pub fn to_text(&self) -> String {
        let a = &self.line;
        let mut out = vec![format!(
            "{} ({}), heard through {}",
            a.name,
            a.events,
            a.heard_through.as_deref().unwrap_or("no day yet")
        )];
        out.push(match a.share {
            Some(share) => {
                format!("{} done over {} sessions heard of, {} unheard", percent(share), a.heard, a.unheard)
            }
            None => format!("no session heard of, {} unheard", a.unheard),
        });
        if let Some(said) = &a.availability {
            out.push(wrap(&format!("{}. {}", said.words, said.caution)));
        }
        out.extend(self.reviews.iter().map(SessionReport::to_text));
        if !self.met_here.is_empty() {
            out.push(format!("Two edits met here ({}):", self.met_here.len()));
            out.extend(self.met_here.iter().map(MetReport::to_text));
        }
        out.join("\n\n")
    }
}

impl MetReport {
    /// As plain text.
    #[must_use]
    pub fn to_text(&self) -> String {
        let mut text = format!("{}, {}:", self.about, self.field);
        for (i, c) in self.choices.iter().enumerate() {
            let shown = if i == 0 { " (shown until somebody picks)" } else { "" };
            text.push_str(&format!("\n  {} by {}, {}{shown}", c.value, c.who, c.at));
        }
        text
    }
}
