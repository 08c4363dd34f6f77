//! The load of the plan as it is written, week by week, beside the weeks that were done; taper and
//! return in words. Describes what stands in the plan, foretells nothing about a body.

use super::board::{Athlete, row};
use super::judge::{set_asked, target_now};
use super::library::Library;
use super::load::{self, DayLoad, Known as Heard, WeekLoad};
use super::maxima::Maxima;
use super::planned::{Plan, PlannedSession, sets_asked};
use super::plans::{InPlan, Plans};
use super::resolve::{Known, Missing, resolve};
use super::volume::{self, Line, Volume};
use super::why::{Figure, Lack, Part, Why, count, float};
use crate::base::day::Day;
use crate::base::key::Key;
use crate::model::number::Aim;
use crate::model::plan::Prescription;
use crate::science::Caution;
use crate::science::load as formulas;

/// Weeks done that a planned week is compared with.
pub const WEEKS_BACK: usize = 4;
/// Days in a row without a session that are called a pause.
pub const PAUSE_DAYS: usize = 14;

/// A week as it is planned.
#[derive(Debug, Clone, PartialEq)]
pub struct PlannedWeek {
    /// Its Monday.
    pub monday: Day,
    /// Sessions planned.
    pub sessions: u32,
    /// Minutes planned.
    pub minutes: Result<Figure, Lack>,
    /// Effort asked times minutes planned, over all sessions.
    pub load: Result<Figure, Lack>,
    /// Kilograms, contacts, metres.
    pub volume: Volume,
    /// Prescriptions whose load does not come to a number today, with the reason.
    pub unresolved: Vec<(Key, Missing)>,
    /// Aims of the phases in which it lies.
    pub aims: Vec<Aim>,
    /// Planned load over the mean of the last four weeks done.
    pub against_last: Result<Figure, Lack>,
}

/// What is said about the weeks to come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Topic {
    /// Easing before a meet.
    Taper,
    /// Coming back after a pause.
    Return,
}

/// A description with its numbers and the caution that belongs to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Saying {
    /// About what.
    pub topic: Topic,
    /// In words.
    pub words: String,
    /// The numbers, or why there are none.
    pub why: Result<Why, Lack>,
    /// The caution to show beside it.
    pub caution: Caution,
}

/// The plan as written beside what was done.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// The four weeks before this one, as done.
    pub last: Vec<WeekLoad>,
    /// This week and the next ones, as planned.
    pub next: Vec<PlannedWeek>,
    /// Taper and return.
    pub says: Vec<Saying>,
}

/// The plan from the week of `today` for `weeks` weeks (at most a year).
#[must_use]
pub fn forecast(athlete: Athlete<'_>, library: &Library, today: Day, weeks: usize) -> Forecast {
    let this = today.week_start();
    let back = i32::try_from(WEEKS_BACK).unwrap_or(4) * 7;
    let done_row = row(athlete, library, this.plus(-back), this.plus(-1), today);
    let last = load::weeks(&done_row, library, this.plus(-back), this.plus(-1), today);
    let usual = usual(&last);
    let maxima = Maxima::of(athlete.done, library, today);
    let known = Known { done: athlete.done, maxima: &maxima, library, venue: None, day: today };
    let next: Vec<PlannedWeek> = (0..i32::try_from(weeks.min(53)).unwrap_or(0))
        .map(|i| planned_week(this.plus(7 * i), athlete.plans, &known, &usual))
        .collect();
    let mut says = Vec::new();
    says.extend(taper(&next, &usual));
    says.extend(comeback(athlete, &next, today));
    Forecast { last, next, says }
}

/// The mean load of the last weeks, all of them whole.
fn usual(last: &[WeekLoad]) -> Result<Figure, Lack> {
    let unheard: u32 =
        last.iter().map(|w| w.days.iter().filter(|d| d.known != Heard::Heard).count()).map(count).sum();
    if unheard > 0 {
        return Err(Lack::Unheard { days: unheard });
    }
    let without: u32 = last.iter().map(|w| w.without_effort).sum();
    if without > 0 {
        return Err(Lack::NoEffort { sessions: without });
    }
    let sum: f64 = last.iter().map(|w| w.load.value).sum();
    let parts = last.iter().map(|w| Part::on("week done", w.load.value, "units", w.monday)).collect();
    let why = Why::ours("forecast.usual_week", "mean load of the last four weeks", parts).with(Caution::Load);
    Ok(Figure { value: sum / float(last.len().max(1)), unit: "units", why })
}

fn planned_week(monday: Day, plans: &Plans, known: &Known<'_>, usual: &Result<Figure, Lack>) -> PlannedWeek {
    let sunday = monday.plus(6);
    let asked = plans.between(monday, sunday);
    let mut lines = Vec::new();
    let mut unresolved = Vec::new();
    for InPlan { planned, plan, .. } in &asked {
        let (own, missing) = session_lines(planned, plan, known);
        lines.extend(own);
        unresolved.extend(missing);
    }
    let sessions: Vec<&PlannedSession> = asked.iter().map(|s| s.planned).collect();
    let load = planned_load(&sessions);
    let mut aims: Vec<Aim> = plans
        .iter()
        .flat_map(|(_, plan)| (0..7).flat_map(|i| plan.aims(monday.plus(i)).collect::<Vec<_>>()))
        .collect();
    aims.sort_unstable();
    aims.dedup();
    let against_last = match (&load, usual) {
        (Err(lack), _) | (_, Err(lack)) => Err(lack.clone()),
        (Ok(_), Ok(usual)) if usual.value <= 0.0 => {
            Err(Lack::Nothing { what: "load in the last four weeks" })
        }
        (Ok(load), Ok(usual)) => {
            let parts = vec![
                Part::on("planned week", load.value, "units", monday),
                Part::of("mean of the last four weeks", usual.value, "units"),
            ];
            let why = Why::ours("forecast.against_last", "planned week over the mean week done", parts);
            Ok(Figure { value: load.value / usual.value, unit: "", why: why.with(Caution::Load) })
        }
    };
    PlannedWeek {
        monday,
        sessions: count(sessions.len()),
        minutes: planned_minutes(&sessions),
        load,
        volume: Volume::of(&lines, known.library),
        unresolved,
        aims,
        against_last,
    }
}

/// A week in which nothing is planned has no load to speak of: after the end of a plan it is not a
/// week of rest.
fn none(sessions: &[&PlannedSession]) -> Result<(), Lack> {
    if sessions.is_empty() { Err(Lack::Nothing { what: "planned session" }) } else { Ok(()) }
}

fn planned_minutes(sessions: &[&PlannedSession]) -> Result<Figure, Lack> {
    none(sessions)?;
    let given: Vec<Part> = sessions
        .iter()
        .filter_map(|s| {
            let r = &s.session.record;
            r.minutes.map(|m| Part::on(r.title.to_string(), m.as_f64(), "min", r.date))
        })
        .collect();
    if given.len() < sessions.len() {
        return Err(Lack::NoEffort { sessions: count(sessions.len() - given.len()) });
    }
    let value = given.iter().map(|p| p.value).sum();
    Ok(Figure { value, unit: "min", why: Why::ours("forecast.minutes", "sum of planned minutes", given) })
}

fn planned_load(sessions: &[&PlannedSession]) -> Result<Figure, Lack> {
    none(sessions)?;
    let mut parts = Vec::new();
    let mut without = 0;
    for r in sessions.iter().map(|s| &s.session.record) {
        let one = r
            .effort
            .zip(r.minutes)
            .map(|(e, m)| formulas::session((e.as_f64() / 5.0).floor() / 2.0, m.as_f64()));
        match one {
            Some(Ok(load)) => parts.push(Part::on(r.title.to_string(), load.value, "units", r.date)),
            _ => without += 1,
        }
    }
    if without > 0 {
        return Err(Lack::NoEffort { sessions: without });
    }
    let value = parts.iter().map(|p| p.value).sum();
    let why = Why {
        formula: formulas::DAY.id,
        version: formulas::DAY.version,
        rule: "sum of effort asked x minutes planned",
        source: formulas::DAY.source,
        parts,
        notes: Vec::new(),
        caution: Some(Caution::Load),
    };
    Ok(Figure { value, unit: "units", why })
}

/// The sets of a planned session, and the prescriptions whose load is not known on the day of
/// `known`. Where the session names a venue of the library, loads are those that it can make.
#[must_use]
pub fn session_lines(
    session: &PlannedSession,
    plan: &Plan,
    known: &Known<'_>,
) -> (Vec<Line>, Vec<(Key, Missing)>) {
    let date = session.session.record.date;
    let venue = session.session.record.venue.as_ref().and_then(|v| known.library.venues.get(v));
    let known = Known { venue: venue.map(|v| &v.record), ..*known };
    let (mut lines, mut unresolved) = (Vec::new(), Vec::new());
    for (group, entry) in session.items() {
        let item = &entry.record;
        let ex = plan.exercise_on(item, date);
        let target = target_now(item, sets_asked(&group.group.record, item));
        let own = resolve(item, &ex, &known);
        let mut missing = own.missing;
        let waves = target.waves.as_ref().map_or(0, |w| w.0.len());
        let loads: Vec<_> = (0..waves)
            .map(|i| {
                let asked = set_asked(i, Some(&target));
                let found =
                    resolve(&Prescription { intensity: asked.intensity, ..item.clone() }, &ex, &known);
                missing = missing.or(found.missing);
                found.load
            })
            .collect();
        let load_of = |i: usize| loads.get(i).copied().unwrap_or(own.load);
        lines.extend(volume::planned(date, &ex, item, &target, &load_of, known.library));
        unresolved.extend(missing.map(|m| (entry.key(), m)));
    }
    (lines, unresolved)
}

fn taper(next: &[PlannedWeek], usual: &Result<Figure, Lack>) -> Option<Saying> {
    let weeks: Vec<&PlannedWeek> = next.iter().filter(|w| w.aims.contains(&Aim::Taper)).collect();
    let first = weeks.first()?;
    let shares: Vec<String> = weeks
        .iter()
        .filter_map(|w| w.against_last.as_ref().ok().map(|f| format!("{:.0} %", f.value * 100.0)))
        .collect();
    let numbers = if shares.len() == weeks.len() {
        format!("planned load is {} of the last four weeks' mean", shares.join(", "))
    } else {
        "its load against the last weeks cannot be told".to_owned()
    };
    let why =
        weeks.iter().map(|w| w.load.clone().map(|f| (w.monday, f.value))).collect::<Result<Vec<_>, _>>();
    let why = why.and_then(|list| usual.clone().map(|u| (list, u))).map(|(list, usual)| {
        let mut parts: Vec<Part> =
            list.into_iter().map(|(m, v)| Part::on("planned week", v, "units", m)).collect();
        parts.push(Part::of("mean of the last four weeks", usual.value, "units"));
        Why::ours("forecast.taper", "weeks of a phase of easing against the mean week done", parts)
            .with(Caution::Load)
    });
    Some(Saying {
        topic: Topic::Taper,
        words: format!("easing from the week of {}, {} weeks: {numbers}", first.monday, weeks.len()),
        why,
        caution: Caution::Load,
    })
}

/// A pause of known days without a session that ended, or goes on, within the last four weeks.
fn comeback(athlete: Athlete<'_>, next: &[PlannedWeek], today: Day) -> Option<Saying> {
    let days = load::days(athlete.done, athlete.heard_through, today, today);
    let recent: Vec<&DayLoad> = days.range(today.plus(-56)..today).map(|(_, d)| d).collect();
    let pause = recent
        .chunk_by(|a, b| idle(a) == idle(b))
        .filter(|run| run.first().is_some_and(|d| idle(d)) && run.len() >= PAUSE_DAYS)
        .rfind(|run| run.last().is_some_and(|d| today.since(d.day) <= 28))?;
    let (from, to) = (pause.first()?.day, pause.last()?.day);
    let first = next.iter().find(|w| w.sessions > 0)?;
    // The four weeks before the pause, whatever weekday it began on.
    let before: Vec<&DayLoad> = days.range(from.plus(-28)..from).map(|(_, d)| d).collect();
    let whole: Option<Vec<f64>> = before.iter().map(|d| d.whole()).collect();
    let why = match (&first.load, whole) {
        (Err(lack), _) => Err(lack.clone()),
        (_, None) => {
            Err(Lack::Unheard { days: count(before.iter().filter(|d| d.whole().is_none()).count()) })
        }
        (_, Some(w)) if w.len() < 28 => {
            Err(Lack::TooFew { what: "known days before the pause", have: count(w.len()), need: 28 })
        }
        (Ok(load), Some(w)) => {
            let parts = vec![
                Part::on("first planned week", load.value, "units", first.monday),
                Part::on("mean week before the pause", w.iter().sum::<f64>() / 4.0, "units", from),
                Part::on("days of the pause", float(pause.len()), "", to),
            ];
            let rule = "first planned week beside the mean of the four weeks before the pause";
            Ok(Why::ours("forecast.return", rule, parts).with(Caution::Return))
        }
    };
    Some(Saying {
        topic: Topic::Return,
        words: format!(
            "{} days without a session, {from} to {to}; the week of {} is the next that is planned",
            pause.len(),
            first.monday
        ),
        why,
        caution: Caution::Return,
    })
}

fn idle(day: &DayLoad) -> bool {
    day.known == Heard::Heard && day.sessions.is_empty()
}
