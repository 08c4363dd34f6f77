//! One session in full: what was asked, what was shown, what was done, set by set.

use backstraight_core::base::key::Key;
use backstraight_core::model::number::Text;
use backstraight_core::model::packed::{Intensity, Target};
use backstraight_core::model::plan::Prescription;
use backstraight_core::view::availability;
use backstraight_core::view::board::{Athlete, Review};
use backstraight_core::view::done::DoneSet;
use backstraight_core::view::judge::{How, ItemShare};
use backstraight_core::view::library::Library;
use backstraight_core::view::planned::sets_asked;
use backstraight_core::view::show;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::board::SessionCell;
use super::text::{percent, table};
use crate::review::Review as Gathered;

/// A session in full.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SessionReport {
    /// What the board says of it.
    #[serde(flatten)]
    pub cell: SessionCell,
    /// Its exercises, in order.
    pub items: Vec<ItemReport>,
    /// Sets for work that nobody asked.
    pub unasked: Vec<SetReport>,
    /// The athlete's words.
    pub comment: Option<String>,
    /// Why the whole session was left out.
    pub left_out: Option<String>,
}

/// One exercise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ItemReport {
    /// Key of the prescription.
    pub item: String,
    /// Exercise asked.
    pub asked_exercise: String,
    /// What was asked, as judged: as shown when it was done.
    pub asked: String,
    /// What the plan asks now, when that is something else.
    pub asks_now: Option<String>,
    /// Exercise done.
    pub done_exercise: Option<String>,
    /// How: as asked, swapped, changed, left out (why), nothing.
    pub how: String,
    /// Share done, 0 to 1.
    pub share: f64,
    /// The sets.
    pub sets: Vec<SetReport>,
}

/// One set.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SetReport {
    /// Key of the set.
    pub set: String,
    /// In words.
    pub done: String,
    /// Load in kg.
    pub load_kg: Option<f64>,
    /// Repetitions.
    pub reps: Option<i64>,
    /// Share of the set, 0 to 1, when it was asked.
    pub share: Option<f64>,
    /// Earlier values, latest first, when it was corrected.
    pub corrected_from: Vec<String>,
    /// Other corrections that met this one.
    pub also_corrected_to: Vec<String>,
}

/// The session of that key among what was gathered.
#[must_use]
pub fn find(gathered: &Gathered, key: &Key) -> Option<SessionReport> {
    gathered.rows().iter().find_map(|row| {
        let review = row.sessions.iter().find(|s| s.key().as_ref() == Some(key))?;
        Some(report(review, &row.athlete, &gathered.library))
    })
}

/// Puts a session into a report.
#[must_use]
pub fn report(r: &Review<'_>, athlete: &Athlete<'_>, library: &Library) -> SessionReport {
    let asked_of = |item: &Prescription| {
        let found = r.planned.and_then(|p| athlete.plans.session(&p.key()));
        found.map_or_else(|| item.ex.clone(), |s| s.plan.exercise_on(item, r.date))
    };
    let works = || r.logs.iter().flat_map(|l| &l.works);
    let judged = r.share.as_ref().map(|s| s.items.as_slice()).unwrap_or_default();
    let items = if judged.is_empty() {
        r.planned
            .iter()
            .flat_map(|p| p.items())
            .map(|(group, item)| {
                let target = backstraight_core::view::judge::target_now(
                    &item.record,
                    sets_asked(&group.group.record, &item.record),
                );
                ItemReport {
                    item: item.key().to_string(),
                    asked_exercise: library.exercise_name(&asked_of(&item.record)),
                    asked: show::target(&target, library),
                    asks_now: None,
                    done_exercise: None,
                    how: "nothing logged".to_owned(),
                    share: 0.0,
                    sets: Vec::new(),
                }
            })
            .collect()
    } else {
        judged.iter().map(|item| item_report(item, r, library)).collect()
    };
    let asked_items: Vec<&Key> = judged.iter().map(|i| &i.item).collect();
    let unasked = works()
        .filter(|w| w.work.record.item.as_ref().is_none_or(|k| !asked_items.contains(&k)))
        .flat_map(|w| {
            w.sets.iter().map(|s| set_report(s, None, Some(&library.exercise_name(&w.work.record.ex))))
        })
        .collect();
    let first = r.logs.first().map(|l| &l.session.record);
    SessionReport {
        cell: SessionCell::of(r, &availability::said(&athlete.done.availability)),
        items,
        unasked,
        comment: first.and_then(|s| s.comment.as_ref()).map(ToString::to_string),
        left_out: first.and_then(|s| s.skipped).map(|s| s.word().to_owned()),
    }
}

fn item_report(item: &ItemShare, r: &Review<'_>, library: &Library) -> ItemReport {
    let name = |k: &Option<Key>| k.as_ref().map(|k| library.exercise_name(k));
    let sets: Vec<&DoneSet> = r
        .logs
        .iter()
        .flat_map(|l| &l.works)
        .filter(|w| w.work.record.item.as_ref() == Some(&item.item))
        .flat_map(|w| &w.sets)
        .collect();
    let asked =
        item.target.as_ref().map_or_else(|| "no longer in the plan".to_owned(), |t| show::target(t, library));
    let now = r.planned.and_then(|p| p.items().find(|(_, i)| i.key() == item.item)).map(|(group, i)| {
        let target =
            backstraight_core::view::judge::target_now(&i.record, sets_asked(&group.group.record, &i.record));
        // The line on variation and a load that a share came to are no change of the plan.
        let bare = item.target.clone().map(|t| Target {
            how: Text::default(),
            load: t.load.filter(|_| matches!(t.intensity, Some(Intensity::Load(_)))),
            ..t
        });
        (bare != Some(target.clone())).then(|| show::target(&target, library))
    });
    ItemReport {
        item: item.item.to_string(),
        asked_exercise: name(&item.asked)
            .unwrap_or_else(|| "an exercise that is no longer in the plan".to_owned()),
        asked,
        asks_now: match now {
            None => Some("no longer asked".to_owned()),
            Some(now) if item.how != How::Nothing => now,
            Some(_) => None,
        },
        done_exercise: name(&item.done),
        how: match item.how {
            How::AsAsked => "as asked".to_owned(),
            How::Swapped => "swapped, as allowed".to_owned(),
            How::Changed => "another exercise".to_owned(),
            How::Skipped(why) => format!("left out: {why}"),
            How::Nothing => "nothing logged".to_owned(),
        },
        share: item.share,
        sets: sets
            .iter()
            .enumerate()
            .map(|(i, s)| {
                set_report(s, item.each.get(i).map(backstraight_core::view::judge::SetShare::share), None)
            })
            .collect(),
    }
}

fn set_report(s: &DoneSet, share: Option<f64>, ex: Option<&str>) -> SetReport {
    let words = show::set(&s.set.record);
    SetReport {
        set: s.set.key().to_string(),
        done: ex.map_or_else(|| words.clone(), |ex| format!("{ex}: {words}")),
        load_kg: s.set.record.load.map(|l| l.as_f64() / 100.0),
        reps: s.set.record.reps.map(|n| n.get()),
        share,
        corrected_from: s.earlier.iter().map(|e| show::set(&e.record)).collect(),
        also_corrected_to: s.others.iter().map(|e| show::set(&e.record)).collect(),
    }
}

impl SessionReport {
    /// As plain text.
    #[must_use]
    pub fn to_text(&self) -> String {
        let mut out = format!("{}  {}  {}", self.cell.date, self.cell.title, self.cell.state);
        if let Some(share) = self.cell.share {
            out.push_str(&format!(", {} of what was shown", percent(share)));
        }
        if self.cell.earlier_version {
            out.push_str("; an earlier version was done");
        }
        if let Some(why) = &self.left_out {
            out.push_str(&format!("\nleft out: {why}"));
        }
        if let Some(day) = &self.cell.done_on {
            out.push_str(&format!("\ndone on {day}"));
        }
        let mut rows = Vec::new();
        for item in &self.items {
            let exercise = match &item.done_exercise {
                Some(done) if *done != item.asked_exercise => format!("{} → {done}", item.asked_exercise),
                _ => item.asked_exercise.clone(),
            };
            let mut asked = item.asked.clone();
            if let Some(now) = &item.asks_now {
                asked.push_str(&format!("\n(now: {now})"));
            }
            let mut done: Vec<String> = item.sets.iter().map(set_line).collect();
            if item.how != "as asked" {
                done.insert(0, item.how.clone());
            }
            rows.push(vec![exercise, asked, done.join("\n"), percent(item.share)]);
        }
        for set in &self.unasked {
            rows.push(vec!["not asked".to_owned(), String::new(), set_line(set), String::new()]);
        }
        if !rows.is_empty() {
            out.push_str("\n\n");
            out.push_str(&table(&["exercise", "asked, as shown", "done", "share"], &rows));
        }
        let mut close = Vec::new();
        close.extend(self.cell.minutes.map(|m| format!("{m} min")));
        close.extend(self.cell.effort.map(|e| format!("effort {e} of 10")));
        close.extend(self.comment.as_ref().map(|c| format!("“{c}”")));
        if !close.is_empty() {
            out.push_str("\n\n");
            out.push_str(&close.join(", "));
        }
        out
    }
}

fn set_line(set: &SetReport) -> String {
    let mut line = set.done.clone();
    for earlier in &set.corrected_from {
        line.push_str(&format!("\n  corrected from {earlier}"));
    }
    for other in &set.also_corrected_to {
        line.push_str(&format!("\n  also corrected to {other}: two edits met"));
    }
    line
}
