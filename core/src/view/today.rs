//! A session as the athlete's screen shows it: groups with their partners, the exercise that counts
//! on that day, the target as it will be remembered, cues and allowed swaps.

use super::availability::{self, Said};
use super::library::Library;
use super::planned::{Plan, PlannedSession, sets_asked};
use super::show;
use crate::base::day::Day;
use crate::base::key::Key;
use crate::base::moment::Moment;
use crate::model::log::{SessionDone, Work};
use crate::model::number::{Load, PlanMark, SeasonNo, Text};
use crate::model::packed::{Intensity, Target};
use crate::model::plan::{Group, Prescription};

/// One exercise on the screen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shown {
    /// The prescription.
    pub item: Key,
    /// The exercise to do.
    pub ex: Key,
    /// Its name.
    pub name: String,
    /// What is asked, as it will be remembered with what is done.
    pub target: Target,
    /// The same in words.
    pub words: String,
    /// Exercises that may be taken instead, with names.
    pub swaps: Vec<(Key, String)>,
    /// Cues in words.
    pub cues: Vec<String>,
    /// The club's caution about the exercise.
    pub caution: Option<String>,
    /// The state of the plan that is shown.
    pub plan: Option<PlanMark>,
}

/// One group on the screen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownGroup {
    /// The group.
    pub group: Group,
    /// Its exercises, side by side.
    pub items: Vec<Shown>,
}

/// A session on the screen.
#[derive(Debug, Clone)]
pub struct ShownSession<'a> {
    /// The planned session.
    pub planned: &'a PlannedSession,
    /// Its groups, in order.
    pub groups: Vec<ShownGroup>,
    /// What care staff said of that day, where it is anything but full training. Shown before the
    /// first exercise, with [`Caution::Availability`](crate::science::Caution::Availability).
    pub limits: Option<Said>,
    /// The state of the plan that is shown.
    plan: &'a Plan,
}

/// Puts a planned session on the screen of `day`. `load_of` gives the load to which an intensity
/// comes for an exercise, where it comes to one.
#[must_use]
pub fn shown<'a>(
    plan: &'a Plan,
    planned: &'a PlannedSession,
    day: Day,
    library: &Library,
    load_of: &dyn Fn(&Prescription, &Key) -> Option<Load>,
) -> ShownSession<'a> {
    let groups = planned
        .groups
        .iter()
        .map(|g| ShownGroup {
            group: g.group.record.clone(),
            items: g
                .items
                .iter()
                .map(|entry| {
                    let item = &entry.record;
                    let ex = plan.exercise_on(item, day);
                    let target = target(&g.group.record, item, &ex, load_of);
                    let exercise = library.exercises.get(&ex).map(|e| &e.record);
                    Shown {
                        item: entry.key(),
                        name: library.exercise_name(&ex),
                        words: show::target(&target, library),
                        swaps: item
                            .swaps
                            .iter()
                            .flat_map(|s| &s.0)
                            .map(|k| (k.clone(), library.exercise_name(k)))
                            .collect(),
                        cues: library.cues(item, &ex),
                        caution: exercise.and_then(|e| e.caution.as_ref()).map(ToString::to_string),
                        plan: plan.mark,
                        target,
                        ex,
                    }
                })
                .collect(),
        })
        .collect();
    ShownSession { planned, groups, limits: None, plan }
}

fn target(
    group: &Group,
    item: &Prescription,
    ex: &Key,
    load_of: &dyn Fn(&Prescription, &Key) -> Option<Load>,
) -> Target {
    let load = match item.intensity {
        Some(Intensity::Load(load)) => Some(load),
        _ => load_of(item, ex),
    };
    // Cut to the limit at a character, never inside one.
    let mut how = show::variation(item);
    while Text::<200>::new(how.as_str()).is_err() && how.pop().is_some() {}
    Target {
        sets: sets_asked(group, item),
        dose: item.dose,
        intensity: item.intensity.clone(),
        load,
        rest: item.rest,
        waves: item.waves.clone(),
        how: Text::new(how).unwrap_or_default(),
    }
}

impl ShownSession<'_> {
    /// The exercise of a prescription on this screen.
    #[must_use]
    pub fn item(&self, item: &Key) -> Option<&Shown> {
        self.groups.iter().flat_map(|g| &g.items).find(|s| s.item == *item)
    }

    /// The same with what care staff said of the day.
    #[must_use]
    pub fn with(self, said: &[Said], day: Day) -> Self {
        Self { limits: availability::limits(said, day).cloned(), ..self }
    }

    /// All exercises of the screen, in order.
    pub fn items(&self) -> impl Iterator<Item = &Shown> {
        self.groups.iter().flat_map(|g| &g.items)
    }

    /// The record with which the athlete begins this session.
    #[must_use]
    pub fn begin(&self, season: SeasonNo, day: Day, now: Moment) -> SessionDone {
        SessionDone {
            season: Some(season),
            session: Some(self.planned.key()),
            plan: self.plan.mark,
            asked: Some(self.planned.asked()),
            title: Some(self.planned.session.record.title.clone()),
            venue: self.planned.session.record.venue.clone(),
            ..SessionDone::new(day, now)
        }
    }
}

impl Shown {
    /// The record with which this exercise is begun in a session that began with `begun`; `instead`
    /// when another exercise is done.
    #[must_use]
    pub fn work(&self, instead: Option<&Key>, begun: &SessionDone) -> Work {
        Work {
            item: Some(self.item.clone()),
            shown: Some(self.target.clone()),
            plan: self.plan.filter(|mark| begun.plan != Some(*mark)),
            instead_of: instead.map(|_| self.ex.clone()),
            ..Work::new(instead.unwrap_or(&self.ex).clone())
        }
    }
}
