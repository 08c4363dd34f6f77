//! Training load by week: session load, its spread and fading averages, volume, and how long ago
//! heavy lifting was. Formulas are those of `science`. A day of which nothing is known is never a
//! rest day; descriptive words only.

use std::collections::{BTreeMap, BTreeSet};

use super::board::{Athlete, Row};
use super::club::Thresholds;
use super::done::{Done, DoneSession};
use super::library::Library;
use super::maxima::Maxima;
use super::state::State;
use super::volume::{self, Line, Volume, lifted};
use super::why::{Figure, Lack, Part, Why, count};
use crate::base::day::Day;
use crate::base::key::Key;
use crate::model::log::SessionDone;
use crate::model::number::Load;
use crate::science::load::{self as formulas, Ratios};
use crate::science::{Caution, Computed};

/// What is known about a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Known {
    /// A phone of the athlete was heard on a later day: what is not logged was not done.
    Heard,
    /// No phone was heard since: there may have been training.
    Unheard,
    /// Before the first session that was ever logged.
    Before,
    /// Today or later.
    Open,
}

/// The load of one session.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionLoad {
    /// The session done; `None` when a coach entered its sets.
    pub key: Option<Key>,
    /// Effort times minutes.
    pub load: Result<Computed<f64>, Lack>,
}

/// One day.
#[derive(Debug, Clone, PartialEq)]
pub struct DayLoad {
    /// The day.
    pub day: Day,
    /// What is known about it.
    pub known: Known,
    /// Its sessions.
    pub sessions: Vec<SessionLoad>,
}

impl DayLoad {
    /// The load of the sessions that have one.
    #[must_use]
    pub fn at_least(&self) -> f64 {
        self.sessions.iter().filter_map(|s| s.load.as_ref().ok()).map(|l| l.value).sum::<f64>() + 0.0
    }

    /// Sessions without effort or minutes.
    #[must_use]
    pub fn without(&self) -> u32 {
        count(self.sessions.iter().filter(|s| s.load.is_err()).count())
    }

    /// The load of the whole day; `None` when any of it is not known.
    #[must_use]
    pub fn whole(&self) -> Option<f64> {
        (self.known == Known::Heard && self.without() == 0).then(|| self.at_least())
    }
}

/// One week, Monday to Sunday of the athlete's own calendar.
#[derive(Debug, Clone, PartialEq)]
pub struct WeekLoad {
    /// Its Monday.
    pub monday: Day,
    /// Its seven days.
    pub days: Vec<DayLoad>,
    /// Session load over what is known; see `complete`.
    pub load: Figure,
    /// Whether every day and session of it is known. Otherwise `load` is the least that it was.
    pub complete: bool,
    /// Days of which nothing is known.
    pub unheard_days: u32,
    /// Planned sessions of which nothing is known.
    pub unheard_sessions: u32,
    /// Sessions done without effort or minutes.
    pub without_effort: u32,
    /// Monotony: mean over spread of the seven days.
    pub monotony: Result<Figure, Lack>,
    /// Strain: the week's load times its monotony.
    pub strain: Result<Figure, Lack>,
    /// Fading average over 7 days, on the last known day of the week.
    pub fading_7: Result<Figure, Lack>,
    /// Fading average over 28 days.
    pub fading_28: Result<Figure, Lack>,
    /// This week against the weeks before, three ways. A description, no forecast.
    pub ratios: Result<Computed<Ratios>, Lack>,
    /// Kilograms, contacts, metres.
    pub volume: Volume,
}

/// The weeks in which `from` to `to` lie, of a row that was made over those days. The logs in the
/// row should reach back at least 28 days before; fading averages begin with them.
#[must_use]
pub fn weeks(row: &Row<'_>, library: &Library, from: Day, to: Day, today: Day) -> Vec<WeekLoad> {
    let days = days(row.athlete.done, row.athlete.heard_through, to.week_start().plus(6), today);
    let volumes = volumes(row.athlete.done, library);
    let mut out = Vec::new();
    let mut monday = from.week_start();
    while monday <= to {
        let unheard = row
            .sessions
            .iter()
            .filter(|s| s.state == State::Unheard && s.date.week_start() == monday)
            .count();
        let lines = volumes.get(&monday).map_or(&[][..], Vec::as_slice);
        out.push(week(
            monday,
            &days,
            count(unheard),
            Volume::of(lines, library),
            row.athlete.heard_through,
            today,
        ));
        monday = monday.plus(7);
    }
    out
}

fn week(
    monday: Day,
    series: &BTreeMap<Day, DayLoad>,
    unheard_sessions: u32,
    volume: Volume,
    heard: Option<Day>,
    today: Day,
) -> WeekLoad {
    let blank = |day: Day| DayLoad { day, known: known(day, None, heard, today), sessions: Vec::new() };
    let days: Vec<DayLoad> = (0..7)
        .map(|i| monday.plus(i))
        .map(|day| series.get(&day).cloned().unwrap_or_else(|| blank(day)))
        .collect();
    let without: u32 = days.iter().map(DayLoad::without).sum();
    let parts = days.iter().flat_map(|d| {
        let each = d.sessions.iter().filter_map(|s| s.load.as_ref().ok());
        each.map(|l| Part::on("session", l.value, "units", d.day))
    });
    let parts: Vec<Part> = parts.collect();
    let sum = days.iter().map(DayLoad::at_least).sum::<f64>() + 0.0;
    let why = Why {
        formula: formulas::DAY.id,
        version: formulas::DAY.version,
        rule: formulas::DAY.rule,
        source: formulas::DAY.source,
        parts,
        notes: Vec::new(),
        caution: Some(Caution::Load),
    };
    let (monotony, strain) = spread(&days);
    // Averages stand on the last day of the week that is over.
    let last = days.iter().rev().map(|d| d.day).find(|d| *d < today).unwrap_or(monday);
    let (fading_7, fading_28, ratios) = fading(series, last, today);
    WeekLoad {
        monday,
        complete: days.iter().all(|d| d.whole().is_some()),
        load: Figure { value: sum, unit: "units", why },
        unheard_days: count(days.iter().filter(|d| d.known == Known::Unheard).count()),
        unheard_sessions,
        without_effort: without,
        monotony,
        strain,
        fading_7,
        fading_28,
        ratios,
        volume,
        days,
    }
}

/// What stands in the way of a figure over these days.
fn lack(days: &[&DayLoad]) -> Option<Lack> {
    let open = days.iter().filter(|d| d.known == Known::Open).count();
    let unheard = days.iter().filter(|d| matches!(d.known, Known::Unheard | Known::Before)).count();
    let without: u32 = days.iter().map(|d| d.without()).sum();
    if unheard > 0 {
        Some(Lack::Unheard { days: count(unheard) })
    } else if open > 0 {
        Some(Lack::StillToCome { days: count(open) })
    } else if without > 0 {
        Some(Lack::NoEffort { sessions: without })
    } else {
        None
    }
}

fn spread(days: &[DayLoad]) -> (Result<Figure, Lack>, Result<Figure, Lack>) {
    let all: Vec<&DayLoad> = days.iter().collect();
    if let Some(lack) = lack(&all) {
        return (Err(lack.clone()), Err(lack));
    }
    let loads: Vec<Option<f64>> = days.iter().map(DayLoad::whole).collect();
    match formulas::monotony_strain(&loads, 1.0) {
        Ok(found) => {
            let parts = || days.iter().map(|d| Part::on("day", d.at_least(), "units", d.day)).collect();
            let figure = |value, unit| Figure { value, unit, why: Why::by(&found, parts()) };
            (Ok(figure(found.value.monotony, "")), Ok(figure(found.value.strain, "units")))
        }
        Err(refusal) => (Err(refusal.clone().into()), Err(refusal.into())),
    }
}

/// Days that a slow average needs.
const SLOW: usize = 28;
/// Days that a quick average needs.
const QUICK: usize = 7;

type Fading = (Result<Figure, Lack>, Result<Figure, Lack>, Result<Computed<Ratios>, Lack>);

/// Averages over the unbroken run of known days that ends with `last`.
fn fading(series: &BTreeMap<Day, DayLoad>, last: Day, today: Day) -> Fading {
    let run: Vec<&DayLoad> =
        series.range(..=last).rev().map(|(_, d)| d).take_while(|d| d.whole().is_some()).take(365).collect();
    if run.is_empty() {
        let end = series.get(&last);
        let lack = end.and_then(|d| lack(&[d])).unwrap_or(if last >= today {
            Lack::StillToCome { days: 1 }
        } else {
            Lack::Nothing { what: "log" }
        });
        return (Err(lack.clone()), Err(lack.clone()), Err(lack));
    }
    let loads: Vec<Option<f64>> = run.iter().rev().map(|d| d.whole()).collect();
    let first = run.last().map_or(last, |d| d.day);
    let few = |need: usize| Lack::TooFew {
        what: "known days in a row",
        have: count(loads.len()),
        need: count(need),
    };
    let average = |n: usize| -> Result<Figure, Lack> {
        if loads.len() < n {
            return Err(few(n));
        }
        #[expect(clippy::cast_precision_loss, reason = "7 or 28")]
        let found = formulas::ewma(&loads, n as f64, "first")?;
        let value = found.value.last().copied().ok_or_else(|| few(n))?;
        let parts = vec![
            Part::on("first known day", loads.first().copied().flatten().unwrap_or(0.0), "units", first),
            Part::of("known days in a row", super::why::float(loads.len()), ""),
            Part::on("last day", loads.last().copied().flatten().unwrap_or(0.0), "units", last),
        ];
        Ok(Figure { value, unit: "units per day", why: Why::by(&found, parts) })
    };
    let ratios =
        if loads.len() < SLOW { Err(few(SLOW)) } else { formulas::acwr(&loads, 0.0).map_err(Lack::from) };
    (average(QUICK), average(SLOW), ratios)
}

fn known(day: Day, first: Option<Day>, heard: Option<Day>, today: Day) -> Known {
    if day >= today {
        Known::Open
    } else if first.is_none_or(|f| day < f) {
        Known::Before
    } else if heard.is_some_and(|h| h > day) {
        Known::Heard
    } else {
        Known::Unheard
    }
}

/// Every day from the first log to `to`, with its sessions.
#[must_use]
pub fn days(done: &Done, heard: Option<Day>, to: Day, today: Day) -> BTreeMap<Day, DayLoad> {
    let logged = done.sessions.iter().map(|s| s.session.record.date);
    let entered = done.entered.iter().map(|e| e.record.date);
    let Some(first) = logged.chain(entered).min() else { return BTreeMap::new() };
    let mut all: BTreeMap<Day, DayLoad> = BTreeMap::new();
    let mut day = first;
    while day <= to {
        all.insert(day, DayLoad { day, known: known(day, Some(first), heard, today), sessions: Vec::new() });
        let next = day.plus(1);
        // The calendar ends.
        if next == day {
            break;
        }
        day = next;
    }
    for (day, load) in session_loads(done) {
        if let Some(slot) = all.get_mut(&day) {
            slot.sessions.push(load);
        }
    }
    all
}

/// The load of every session done. Two logs of one planned session that overlap in time are one
/// session on two devices: the larger counts.
fn session_loads(done: &Done) -> Vec<(Day, SessionLoad)> {
    let mut out: Vec<(Day, SessionLoad)> = Vec::new();
    let mut counted: Vec<(&SessionDone, usize)> = Vec::new();
    for session in done.sessions.iter().filter(|s| was_done(s)) {
        let record = &session.session.record;
        let load = SessionLoad { key: Some(session.session.key()), load: session_load(record) };
        let twin = counted.iter().find(|(other, _)| same_session(other, record)).map(|(_, at)| *at);
        match twin.and_then(|at| out.get_mut(at)) {
            Some((_, kept)) => {
                let larger = match (&kept.load, &load.load) {
                    (Ok(kept), Ok(new)) => new.value > kept.value,
                    (Err(_), Ok(_)) => true,
                    _ => false,
                };
                if larger {
                    *kept = load;
                }
            }
            None => {
                counted.push((record, out.len()));
                out.push((record.date, load));
            }
        }
    }
    // Sets that a coach entered say what was done, not how hard the session was or how long.
    let logged: BTreeSet<&Key> =
        done.sessions.iter().filter_map(|s| s.session.record.session.as_ref()).collect();
    let mut seen: BTreeSet<(Day, Option<&Key>)> = BTreeSet::new();
    for entered in done.entered.iter().map(|e| &e.record) {
        let key = entered.session.as_ref();
        let has_log = key.is_some_and(|key| logged.contains(key));
        if !has_log && seen.insert((entered.date, key)) {
            out.push((entered.date, SessionLoad { key: None, load: Err(Lack::NoEffort { sessions: 1 }) }));
        }
    }
    out
}

/// Whether anything was done: a session that was left out is none.
fn was_done(session: &DoneSession) -> bool {
    session.session.record.skipped.is_none() || session.works.iter().any(|w| !w.sets.is_empty())
}

fn same_session(a: &SessionDone, b: &SessionDone) -> bool {
    let end = |s: &SessionDone| {
        let by_minutes = s.minutes.map(|m| s.began.plus_ms(m.get() * 60_000));
        s.ended.or(by_minutes).unwrap_or(s.began).max(s.began)
    };
    a.session.is_some()
        && (a.season, &a.session) == (b.season, &b.session)
        && a.began <= end(b)
        && b.began <= end(a)
}

fn session_load(record: &SessionDone) -> Result<Computed<f64>, Lack> {
    let clock = || record.ended.map(|e| (e.0 - record.began.0) / 60_000);
    let minutes = record.minutes.map(|m| m.get()).or_else(clock).filter(|m| *m > 0);
    let (Some(effort), Some(minutes)) = (record.effort, minutes.and_then(|m| i32::try_from(m).ok())) else {
        return Err(Lack::NoEffort { sessions: 1 });
    };
    // The scale goes in half steps; a rating between them is taken as the lower one.
    let effort = (effort.as_f64() / 5.0).floor() / 2.0;
    Ok(formulas::session(effort, f64::from(minutes))?)
}

/// All sets done, by the Monday of their week.
fn volumes(done: &Done, library: &Library) -> BTreeMap<Day, Vec<Line>> {
    let mut all: BTreeMap<Day, Vec<Line>> = BTreeMap::new();
    let logged = done.sessions.iter().flat_map(|s| volume::done(s, library));
    let entered = done.entered.iter().map(|e| volume::entered(&e.record, library));
    for line in logged.chain(entered) {
        all.entry(line.day.week_start()).or_default().push(line);
    }
    all
}

/// When something heavy was lifted last.
#[derive(Debug, Clone, PartialEq)]
pub struct LastHeavy {
    /// The exercise.
    pub ex: Key,
    /// The day.
    pub on: Day,
    /// Days from then to now.
    pub days: i32,
    /// Days since then of which nothing is known: it may have been more lately.
    pub unheard_days: u32,
    /// Why it is called heavy.
    pub why: Why,
}

/// The last heavy set up to `today` (`docs/meanings.md`: a share of the newest maximum known the
/// day before, or an effort of 9 and more over at most five repetitions where none is known).
///
/// # Errors
/// When no heavy set is known.
pub fn last_heavy(
    done: &Done,
    library: &Library,
    maxima: &Maxima,
    heard: Option<Day>,
    today: Day,
) -> Result<LastHeavy, Lack> {
    let limits = Thresholds::of(library.settings.as_ref());
    for session in done.sessions.iter().rev().filter(|s| s.session.record.date <= today) {
        let on = session.session.record.date;
        let found = session.works.iter().find_map(|work| {
            let ex = &work.work.record.ex;
            let counts = library.exercises.get(ex).is_some_and(|e| lifted(e.record.pattern));
            let sets = work.sets.iter().map(|s| &s.set.record);
            sets.filter(|_| counts)
                .find_map(|s| heavy(s, ex, on, library, maxima, &limits))
                .map(|why| (ex.clone(), why))
        });
        if let Some((ex, why)) = found {
            let days = today.since(on);
            let unheard_from = heard.map_or(on.plus(1), |h| h.max(on.plus(1)));
            let unheard_days = u32::try_from(today.since(unheard_from)).unwrap_or(0);
            return Ok(LastHeavy { ex, on, days, unheard_days, why });
        }
    }
    Err(Lack::Nothing { what: "heavy set" })
}

/// Least effort at which a set of few repetitions is heavy where no maximum is known.
const HEAVY_EFFORT: f64 = 9.0;
/// Most repetitions of such a set.
const HEAVY_REPS: i64 = 5;

fn heavy(
    set: &crate::model::log::SetDone,
    ex: &Key,
    on: Day,
    library: &Library,
    maxima: &Maxima,
    limits: &Thresholds,
) -> Option<Why> {
    let kg = |l: Load| l.as_f64() / 100.0;
    let load = set.load?;
    let lift = library.exercises.get(ex).and_then(|e| e.record.ref_max.as_ref()).unwrap_or(ex);
    // The set itself must not make the maximum by which it is judged.
    let known = maxima.0.get(lift).and_then(|list| list.iter().find(|m| m.date < on));
    let fresh = known.filter(|m| on.since(m.date) <= limits.max_age_days);
    if let Some(maximum) = fresh {
        let share = kg(load) / maximum.kg;
        let parts = vec![
            Part::on("load", kg(load), "kg", on),
            Part::on("maximum", maximum.kg, "kg", maximum.date),
            Part::of("share", share, ""),
            Part::of("heavy from", limits.heavy_from, ""),
        ];
        let why = Why::ours("load.heavy", "load over the newest maximum known the day before", parts);
        return (share >= limits.heavy_from).then(|| why.with(Caution::MaximalTest));
    }
    let rated = set.effort.map(|e| e.as_f64() / 10.0);
    let rated = rated.or_else(|| set.reserve.map(|r| 10.0 - r.as_f64() / 10.0))?;
    let reps = set.reps.map(|r| r.get())?;
    let parts = vec![
        Part::on("effort", rated, "of 10", on),
        #[expect(clippy::cast_precision_loss, reason = "at most 300")]
        Part::on("repetitions", reps as f64, "", on),
    ];
    let why = Why::ours("load.heavy", "no maximum is known: effort from 9, at most five repetitions", parts);
    (rated >= HEAVY_EFFORT && (1..=HEAVY_REPS).contains(&reps)).then(|| why.with(Caution::MaximalTest))
}

/// The last seven known days against the weeks before, and the last of those days.
///
/// # Errors
/// When fewer than 28 days in a row are known up to the last known one.
pub fn latest_ratios(athlete: &Athlete<'_>, today: Day) -> Result<(Computed<Ratios>, Day), Lack> {
    let heard = athlete.heard_through.ok_or(Lack::Nothing { what: "phone that was heard" })?;
    let last = today.plus(-1).min(heard.plus(-1));
    let days = days(athlete.done, athlete.heard_through, last, today);
    let (_, _, ratios) = fading(&days, last, today);
    ratios.map(|r| (r, last))
}
