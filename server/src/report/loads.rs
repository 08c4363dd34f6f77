//! An athlete's load by week, done and planned, each figure with what it rests on.

use std::collections::BTreeMap;

use backstraight_core::base::day::Day;
use backstraight_core::science::Computed;
use backstraight_core::science::load::Ratios;
use backstraight_core::view::forecast::{self, Forecast, PlannedWeek};
use backstraight_core::view::load::{self, WeekLoad};
use backstraight_core::view::volume::Volume;
use backstraight_core::view::why::{Lack, Part, Why};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::text::{table, wrap};
use super::why::{CautionReport, FigureReport, LackReport, WhyReport};
use crate::review::Review;

/// The load of one athlete.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Loads {
    /// Identity.
    pub id: String,
    /// Name shown.
    pub name: String,
    /// The weeks, oldest first.
    pub weeks: Vec<LoadWeek>,
}

/// The load of one week.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LoadWeek {
    /// Its Monday.
    pub start: String,
    /// Effort times minutes over what is known.
    pub load: FigureReport,
    /// Whether everything of the week is known; else `load` is the least that it was.
    pub complete: bool,
    /// Days of which nothing is known.
    pub unheard_days: u32,
    /// Planned sessions of which nothing is known.
    pub unheard_sessions: u32,
    /// Sessions done without effort or minutes.
    pub without_effort: u32,
    /// Mean over spread of the seven days.
    pub monotony: FigureReport,
    /// The week's load times its monotony.
    pub strain: FigureReport,
    /// Fading average over 7 days.
    pub fading_7: FigureReport,
    /// Fading average over 28 days.
    pub fading_28: FigureReport,
    /// The last seven days of the week against the weeks before.
    pub against_before: AgainstReport,
    /// Kilograms, contacts, metres.
    pub volume: VolumeReport,
}

/// Seven days against the weeks before, in three ways: a description that foretells nothing. Either the
/// numbers are there, or `lack`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct AgainstReport {
    /// Fading average over 7 days over that of 28 days.
    pub fading: Option<f64>,
    /// Mean of 7 days over mean of the 28 days that include them: it can never pass 4.
    pub of_28_with: Option<f64>,
    /// Mean of 7 days over mean of the 21 days before; missing where those were without load.
    pub of_21_before: Option<f64>,
    /// The rule, its source and the caution to show beside the numbers.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why: Option<WhyReport>,
    /// Why there are none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lack: Option<LackReport>,
}

/// Kilograms, contacts, metres.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct VolumeReport {
    /// Kilograms by movement pattern, over sets with a load and repetitions.
    pub kg: BTreeMap<String, f64>,
    /// Sets by movement pattern whose load or repetitions are not known: not in `kg`.
    pub sets_without_load: BTreeMap<String, u32>,
    /// Ground contacts, small and in place.
    pub contacts_low: f64,
    /// Ground contacts over low hurdles and of bounds.
    pub contacts_medium: f64,
    /// Ground contacts from height or on one leg at speed.
    pub contacts_high: f64,
    /// Ground contacts of exercises that the library does not class.
    pub contacts_unclassed: f64,
    /// Sets with contacts whose number is not known: in none of those.
    pub contacts_unknown_sets: u32,
    /// Seconds held.
    pub hold_s: f64,
    /// Metres of sprints and hurdle runs.
    pub sprint_m: f64,
    /// Metres of other runs.
    pub run_m: f64,
    /// Days with sprints.
    pub sprint_days: u32,
    /// Sets of exercises that the library does not have: in nothing of the above.
    pub unknown_exercises: u32,
}

/// The plan as written beside what was done.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ForecastReport {
    /// Identity.
    pub id: String,
    /// Name shown.
    pub name: String,
    /// The four weeks before this one, as done.
    pub last: Vec<LoadWeek>,
    /// This week and the next ones, as planned.
    pub next: Vec<PlannedWeekReport>,
    /// What stands in the plan about a taper or a return, in words.
    pub says: Vec<SayingReport>,
}

/// A week as it is planned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlannedWeekReport {
    /// Its Monday.
    pub start: String,
    /// Sessions planned.
    pub sessions: u32,
    /// Minutes planned.
    pub minutes: FigureReport,
    /// Effort asked times minutes planned.
    pub load: FigureReport,
    /// That over the mean of the last four weeks done.
    pub against_last: FigureReport,
    /// Prescriptions whose load does not come to a number today.
    pub unresolved: u64,
    /// Aims of the phases in which it lies.
    pub aims: Vec<String>,
    /// Kilograms, contacts, metres.
    pub volume: VolumeReport,
}

/// A description with its numbers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SayingReport {
    /// `taper` or `return`.
    pub topic: String,
    /// In words.
    pub words: String,
    /// The numbers.
    pub why: Option<WhyReport>,
    /// Why there are none.
    pub lack: Option<LackReport>,
    /// The caution to show beside it.
    pub caution: CautionReport,
}

fn volume(v: &Volume) -> VolumeReport {
    VolumeReport {
        kg: v.tonnage.iter().map(|(p, t)| (p.word().to_owned(), t.kg)).collect(),
        sets_without_load: v.tonnage.iter().map(|(p, t)| (p.word().to_owned(), t.without_load)).collect(),
        contacts_low: v.contacts.low,
        contacts_medium: v.contacts.medium,
        contacts_high: v.contacts.high,
        contacts_unclassed: v.contacts.unclassed,
        contacts_unknown_sets: v.contacts.unknown_sets,
        hold_s: v.hold_s,
        sprint_m: v.sprint_m,
        run_m: v.run_m,
        sprint_days: v.sprint_days,
        unknown_exercises: v.unknown_exercises,
    }
}

fn week(w: &WeekLoad) -> LoadWeek {
    LoadWeek {
        start: w.monday.to_string(),
        load: FigureReport::some(&w.load),
        complete: w.complete,
        unheard_days: w.unheard_days,
        unheard_sessions: w.unheard_sessions,
        without_effort: w.without_effort,
        monotony: FigureReport::of(&w.monotony),
        strain: FigureReport::of(&w.strain),
        fading_7: FigureReport::of(&w.fading_7),
        fading_28: FigureReport::of(&w.fading_28),
        against_before: against_before(&w.ratios),
        volume: volume(&w.volume),
    }
}

fn against_before(ratios: &Result<Computed<Ratios>, Lack>) -> AgainstReport {
    match ratios {
        Ok(ratios) => AgainstReport {
            fading: Some(ratios.value.ewma_ratio),
            of_28_with: Some(ratios.value.coupled),
            of_21_before: ratios.value.uncoupled,
            why: Some(WhyReport::of(&Why::by(
                ratios,
                vec![
                    Part::of("fading average over 7 days", ratios.value.ewma_acute, "units per day"),
                    Part::of("fading average over 28 days", ratios.value.ewma_chronic, "units per day"),
                ],
            ))),
            lack: None,
        },
        Err(lack) => AgainstReport {
            fading: None,
            of_28_with: None,
            of_21_before: None,
            why: None,
            lack: Some(LackReport::of(lack)),
        },
    }
}

fn planned(w: &PlannedWeek) -> PlannedWeekReport {
    PlannedWeekReport {
        start: w.monday.to_string(),
        sessions: w.sessions,
        minutes: FigureReport::of(&w.minutes),
        load: FigureReport::of(&w.load),
        against_last: FigureReport::of(&w.against_last),
        unresolved: w.unresolved.len() as u64,
        aims: w.aims.iter().map(|a| a.word().to_owned()).collect(),
        volume: volume(&w.volume),
    }
}

/// The weeks of the (one) athlete gathered; none when there is no such athlete.
#[must_use]
pub fn of(gathered: &Review, (from, to, today): (Day, Day, Day)) -> Option<Loads> {
    let row = gathered.rows().into_iter().next()?;
    let weeks = load::weeks(&row, &gathered.library, from, to, today);
    Some(Loads {
        id: row.athlete.person.to_string(),
        name: row.athlete.name.to_owned(),
        weeks: weeks.iter().map(week).collect(),
    })
}

/// The forecast of the (one) athlete gathered, for so many weeks.
#[must_use]
pub fn forecast(gathered: &Review, today: Day, weeks: usize) -> Option<ForecastReport> {
    let athlete = gathered.athletes().next()?;
    let Forecast { last, next, says } = forecast::forecast(athlete, &gathered.library, today, weeks);
    let says = says.iter().map(|s| SayingReport {
        topic: match s.topic {
            forecast::Topic::Taper => "taper",
            forecast::Topic::Return => "return",
        }
        .to_owned(),
        words: s.words.clone(),
        why: s.why.as_ref().ok().map(WhyReport::of),
        lack: s.why.as_ref().err().map(LackReport::of),
        caution: CautionReport::of(s.caution),
    });
    Some(ForecastReport {
        id: athlete.person.to_string(),
        name: athlete.name.to_owned(),
        last: last.iter().map(week).collect(),
        next: next.iter().map(planned).collect(),
        says: says.collect(),
    })
}

impl Loads {
    /// As a table, one line per week.
    #[must_use]
    pub fn to_text(&self) -> String {
        let rows: Vec<Vec<String>> = self
            .weeks
            .iter()
            .map(|w| {
                let least = if w.complete { "" } else { "≥ " };
                vec![
                    w.start.clone(),
                    format!("{least}{}", w.load.short()),
                    w.monotony.short(),
                    w.strain.short(),
                    w.fading_7.short(),
                    w.fading_28.short(),
                    format!("{:.0}", w.volume.kg.values().sum::<f64>() + 0.0),
                    format!("{} d, {} s", w.unheard_days, w.unheard_sessions),
                ]
            })
            .collect();
        let head = ["week of", "load", "monotony", "strain", "over 7 d", "over 28 d", "kg", "unheard"];
        format!(
            "{}\n\n{}",
            table(&head, &rows),
            wrap(
                "Load is effort times minutes; ≥ is the least that it was. It describes what was done and foretells nothing."
            )
        )
    }
}
