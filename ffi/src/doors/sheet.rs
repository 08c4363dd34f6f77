//! A session as a screen shows it, in one record: what is asked, what is done, what to fill in next. Put
//! together by `core::view::screen`; here it only changes its clothes.

use std::collections::BTreeSet;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::PersonId;
use backstraight_core::base::key::Key;
use backstraight_core::device::Clock as _;
use backstraight_core::device::shelf::Shelf as _;
use backstraight_core::doc::touched::keys_in;
use backstraight_core::model::log::SetDone;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{
    Duration, Effort, Length, Load, Note, OutOfRange, Reps, Reserve, Skip, Speeds,
};
use backstraight_core::science::Caution;
use backstraight_core::view::done::Done;
use backstraight_core::view::library::Library;
use backstraight_core::view::plans::Plans;
use backstraight_core::view::screen::{Doing, Scene, ScreenItem, SessionScreen, SetHere};
use std::sync::Arc;

use super::clock::Now;
use super::error::{DoorError, Wrong};
use super::install::Install;
use super::work::{Work, count};

/// The numbers of a set. Leave out what was not measured: a missing number is no zero.
#[derive(Debug, Clone, PartialEq, Eq, Default, uniffi::Record)]
pub struct SetNumbers {
    /// Load, g; whole tens.
    #[uniffi(default = None)]
    pub load_g: Option<u32>,
    /// Repetitions.
    #[uniffi(default = None)]
    pub reps: Option<u32>,
    /// Time held, ms.
    #[uniffi(default = None)]
    pub hold_ms: Option<u32>,
    /// Distance, mm.
    #[uniffi(default = None)]
    pub distance_mm: Option<u32>,
    /// Contacts with the ground.
    #[uniffi(default = None)]
    pub contacts: Option<u32>,
    /// Time of a run or of the whole set, ms.
    #[uniffi(default = None)]
    pub time_ms: Option<u32>,
    /// How hard it was, tenths of 0 to 10.
    #[uniffi(default = None)]
    pub effort_tenths: Option<u32>,
    /// Repetitions in reserve, tenths.
    #[uniffi(default = None)]
    pub reserve_tenths: Option<u32>,
    /// Bar speed of each repetition, mm/s.
    #[uniffi(default = [])]
    pub speeds_mm_s: Vec<u32>,
    /// Whether the last repetition failed.
    #[uniffi(default = None)]
    pub failed: Option<bool>,
    /// Words.
    #[uniffi(default = None)]
    pub note: Option<String>,
}

/// A set that is in the log.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct SetLine {
    /// Which: to correct or strike it.
    pub set: String,
    /// When it was logged first, ms since 1970 in UTC.
    pub at_ms: i64,
    /// Its numbers, as they read now.
    pub numbers: SetNumbers,
    /// How often it was corrected.
    pub corrected: u32,
    /// Whether the server has it.
    pub with_server: bool,
}

/// An exercise to choose.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct Choice {
    /// Which.
    pub exercise: String,
    /// Its name.
    pub name: String,
}

/// Why work was left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, uniffi::Enum)]
pub enum LeftOut {
    /// No time.
    Time,
    /// Kit or venue missing.
    Kit,
    /// Pain or illness; what it is belongs into a report of the athlete's own.
    Body,
    /// Too tired.
    Tired,
    /// Weather.
    Weather,
    /// School, work, travel.
    Life,
    /// Said by the coach on the spot.
    Coach,
    /// Something else, in the words beside it.
    Other,
}

/// An exercise that is done beside what is asked.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct ExtraLine {
    /// The exercise.
    pub exercise: String,
    /// Its name.
    pub name: String,
    /// Its sets, in order.
    pub sets: Vec<SetLine>,
}

/// An exercise that is asked.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct ItemSheet {
    /// Which line of the plan.
    pub item: String,
    /// The exercise that is asked.
    pub asked: Choice,
    /// The exercise that is being done: the same, or another one that was chosen.
    pub doing: Choice,
    /// Sets asked.
    pub sets_asked: u32,
    /// What is asked, in words.
    pub words: String,
    /// The load asked, g, where it comes to one at this venue.
    pub load_g: Option<u32>,
    /// Rest after each set, s.
    pub rest_s: Option<u32>,
    /// What to fill into the next set.
    pub next: SetNumbers,
    /// What may be done instead.
    pub swaps: Vec<Choice>,
    /// Cues.
    pub cues: Vec<String>,
    /// The club's caution about the exercise: show it before the first set.
    pub caution: Option<String>,
    /// Why it was left out.
    pub left_out: Option<LeftOut>,
    /// Its sets, in order.
    pub sets: Vec<SetLine>,
}

/// Exercises that are done together.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct GroupSheet {
    /// How they follow each other, a stable word: `single`, `superset`, `contrast pair`, `circuit`.
    pub form: String,
    /// Its exercises, side by side.
    pub items: Vec<ItemSheet>,
}

/// What care staff said about training on a day.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct LimitsLine {
    /// In words.
    pub words: String,
    /// The caution to show with it.
    pub caution: String,
}

/// A session with all that a training screen needs.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct SessionSheet {
    /// Which.
    pub session: String,
    /// Its day.
    pub day: String,
    /// Its title; empty for one that nobody asked.
    pub title: String,
    /// When it starts, what it is about, and the coach's note.
    pub notes: Vec<String>,
    /// Minutes that it should take.
    pub minutes: Option<u32>,
    /// Whether something of it is logged.
    pub begun: bool,
    /// Whether it was closed.
    pub closed: bool,
    /// Whether the plan asks something else now than when it was begun.
    pub changed_since: bool,
    /// What care staff said of the day, where it is not full training. Show it first.
    pub limits: Option<LimitsLine>,
    /// What is asked.
    pub groups: Vec<GroupSheet>,
    /// What was done beside it.
    pub extras: Vec<ExtraLine>,
}

/// What a session's screen is made from.
pub(super) struct Here {
    pub(super) day: Day,
    pub(super) library: Arc<Library>,
    pub(super) plans: Plans,
    pub(super) done: Done,
}

impl Here {
    pub(super) fn read(work: &mut Work, person: PersonId) -> Result<Here, DoorError> {
        let day = work.today()?;
        Ok(Here {
            day,
            library: work.library()?,
            plans: work.readings.plans(&mut work.device, person)?,
            done: work.done(person, day)?,
        })
    }

    /// The screen of a session of the plan or of the log; of a new one that nobody asked without a key.
    pub(super) fn screen(&self, work: &Work, key: Option<&Key>) -> Result<SessionScreen, DoorError> {
        let scene = Scene {
            plans: &self.plans,
            done: &self.done,
            library: &self.library,
            venue: None,
            day: self.day,
        };
        let now = work.device.now();
        let Some(key) = key else { return Ok(SessionScreen::unasked(&scene, None, now)) };
        SessionScreen::of(&scene, key, now).ok_or_else(|| DoorError::missing("session", key.as_str()))
    }
}

#[uniffi::export]
impl Install {
    /// A session with all that a training screen needs; of another athlete for a coach.
    ///
    /// # Errors
    /// `NotThere`, and what the store says.
    pub fn session(
        &self,
        session: String,
        athlete: Option<String>,
        now: Now,
    ) -> Result<SessionSheet, DoorError> {
        self.clock.tell(now);
        self.read(|work| {
            let person = work.person(athlete.as_deref())?;
            let here = Here::read(work, person)?;
            let key = super::work::key("session", &session)?;
            let screen = here.screen(work, Some(&key))?;
            let unsent = match &screen.begun {
                Some(begun) => unsent(work, begun.doc)?,
                None => None,
            };
            Ok(sheet(&session, &screen, unsent.as_ref(), self.clock.now()))
        })
    }
}

/// Keys of what the server has not acknowledged in a document; none when that cannot be told.
fn unsent(work: &mut Work, doc: DocName) -> Result<Option<BTreeSet<Key>>, DoorError> {
    let heads = work.device.shelf().doc(&doc)?.map(|row| row.server_heads).unwrap_or_default();
    Ok(keys_in(&work.device.document(doc)?.changes_since(&heads)))
}

fn sheet(
    session: &str,
    screen: &SessionScreen,
    unsent: Option<&BTreeSet<Key>>,
    now: backstraight_core::base::moment::Moment,
) -> SessionSheet {
    let item = |i: &ScreenItem| ItemSheet {
        item: i.shown.item.to_string(),
        asked: Choice { exercise: i.shown.ex.to_string(), name: i.shown.name.clone() },
        doing: Choice { exercise: i.doing.ex.to_string(), name: i.doing.name.clone() },
        sets_asked: count(i.asked),
        words: i.shown.words.clone(),
        load_g: i.shown.target.load.map(|l| grams(l.get())),
        rest_s: i.shown.target.rest.map(|r| whole(r.get())),
        next: numbers(&screen.next_set(i, now)),
        swaps: i
            .shown
            .swaps
            .iter()
            .map(|(ex, name)| Choice { exercise: ex.to_string(), name: name.clone() })
            .collect(),
        cues: i.shown.cues.clone(),
        caution: i.shown.caution.clone(),
        left_out: i.doing.skipped.map(LeftOut::from),
        sets: i.doing.sets.iter().map(|s| set_line(s, unsent)).collect(),
    };
    let extra = |d: &Doing| ExtraLine {
        exercise: d.ex.to_string(),
        name: d.name.clone(),
        sets: d.sets.iter().map(|s| set_line(s, unsent)).collect(),
    };
    let begun = screen.begun.as_ref();
    SessionSheet {
        session: session.to_owned(),
        day: screen.day.to_string(),
        title: screen.title.clone(),
        notes: screen.notes.clone(),
        minutes: screen.minutes.map(|m| whole(m.get())),
        begun: begun.is_some(),
        closed: begun.is_some_and(|b| b.record.ended.is_some() || b.record.skipped.is_some()),
        changed_since: screen.changed_since,
        limits: screen
            .limits
            .as_ref()
            .map(|said| LimitsLine { words: said.words(), caution: Caution::Availability.text().to_owned() }),
        groups: screen
            .groups
            .iter()
            .map(|g| GroupSheet { form: g.group.form.to_string(), items: g.items.iter().map(item).collect() })
            .collect(),
        extras: screen.extra.iter().map(extra).collect(),
    }
}

fn set_line(set: &SetHere, unsent: Option<&BTreeSet<Key>>) -> SetLine {
    let key = set.done.set.key();
    SetLine {
        at_ms: set.done.first_at().0,
        numbers: numbers(&set.done.set.record),
        corrected: count(set.done.earlier.len()),
        // A set stands in its session's record, which is what is counted as sent.
        with_server: unsent.is_some_and(|keys| !keys.contains(&key)),
        set: key.to_string(),
    }
}

/// Numbers of a set as an app gets them.
pub(super) fn numbers(set: &SetDone) -> SetNumbers {
    SetNumbers {
        load_g: set.load.map(|n| grams(n.get())),
        reps: set.reps.map(|n| whole(n.get())),
        hold_ms: set.hold.map(|n| whole(n.get())),
        distance_mm: set.dist.map(|n| whole(n.get())),
        contacts: set.contacts.map(|n| whole(n.get())),
        time_ms: set.time.map(|n| whole(n.get())),
        effort_tenths: set.effort.map(|n| whole(n.get())),
        reserve_tenths: set.reserve.map(|n| whole(n.get())),
        speeds_mm_s: set.speeds.iter().flat_map(|s| s.mm_s()).map(|v| u32::from(*v)).collect(),
        failed: set.failed,
        note: set.note.as_ref().map(ToString::to_string),
    }
}

/// A number of core's, none of which is negative here.
pub(super) fn whole(n: i64) -> u32 {
    u32::try_from(n).unwrap_or(0)
}

/// A load, which core keeps in 10 g.
pub(super) fn grams(n: i64) -> u32 {
    whole(n).saturating_mul(10)
}

/// Collects what is wrong with the fields of a request.
#[derive(Debug, Default)]
pub(super) struct Fields(Vec<Wrong>);

impl Fields {
    /// A value where one was given.
    pub(super) fn take<T, U, E: ToString>(
        &mut self,
        field: &str,
        given: Option<T>,
        make: impl FnOnce(T) -> Result<U, E>,
    ) -> Option<U> {
        match given.map(make)? {
            Ok(value) => Some(value),
            Err(e) => {
                self.wrong(field, "out-of-range", &e.to_string());
                None
            }
        }
    }

    /// A whole number where one was given.
    pub(super) fn number<U>(
        &mut self,
        field: &str,
        given: Option<u32>,
        make: impl FnOnce(i64) -> Result<U, OutOfRange>,
    ) -> Option<U> {
        self.take(field, given, |n| make(i64::from(n)))
    }

    /// A load in g where one was given.
    pub(super) fn load(&mut self, field: &str, given: Option<u32>) -> Option<Load> {
        if given.is_some_and(|g| g % 10 != 0) {
            self.wrong(field, "whole-tens", "a load is kept in whole tens of a gram");
            return None;
        }
        self.number(field, given.map(|g| g / 10), Load::new)
    }

    /// Words where they were given; blank ones are none.
    pub(super) fn note(&mut self, field: &str, given: Option<String>) -> Option<Note> {
        let words = given.map(|t| t.trim().to_owned()).filter(|t| !t.is_empty());
        self.take(field, words, Note::new)
    }

    pub(super) fn wrong(&mut self, field: &str, code: &str, detail: &str) {
        self.0.push(Wrong {
            field: field.to_owned(),
            code: code.to_owned(),
            detail: format!("{field}: {detail}"),
        });
    }

    /// All is well, or everything that is not.
    pub(super) fn check(self) -> Result<(), DoorError> {
        if self.0.is_empty() { Ok(()) } else { Err(DoorError::BadValue { problems: self.0 }) }
    }
}

impl SetNumbers {
    /// As core keeps them.
    pub(super) fn read(self, now: backstraight_core::base::moment::Moment) -> Result<SetDone, DoorError> {
        let mut f = Fields::default();
        let speeds = (!self.speeds_mm_s.is_empty()).then_some(self.speeds_mm_s);
        let set = SetDone {
            load: f.load("load_g", self.load_g),
            reps: f.number("reps", self.reps, Reps::new),
            hold: f.number("hold_ms", self.hold_ms, Duration::new),
            dist: f.number("distance_mm", self.distance_mm, Length::new),
            contacts: f.number("contacts", self.contacts, Reps::new),
            time: f.number("time_ms", self.time_ms, Duration::new),
            effort: f.number("effort_tenths", self.effort_tenths, Effort::new),
            reserve: f.number("reserve_tenths", self.reserve_tenths, Reserve::new),
            speeds: f.take("speeds_mm_s", speeds, |all| {
                Speeds::new(all.into_iter().map(|v| u16::try_from(v).unwrap_or(u16::MAX)).collect())
            }),
            failed: self.failed,
            note: f.note("note", self.note),
            ..SetDone::new(now)
        };
        f.check()?;
        Ok(set)
    }
}

impl From<Skip> for LeftOut {
    fn from(skip: Skip) -> LeftOut {
        match skip {
            Skip::Time => LeftOut::Time,
            Skip::Kit => LeftOut::Kit,
            Skip::Body => LeftOut::Body,
            Skip::Tired => LeftOut::Tired,
            Skip::Weather => LeftOut::Weather,
            Skip::Life => LeftOut::Life,
            Skip::Coach => LeftOut::Coach,
            Skip::Other => LeftOut::Other,
        }
    }
}

impl From<LeftOut> for Skip {
    fn from(why: LeftOut) -> Skip {
        match why {
            LeftOut::Time => Skip::Time,
            LeftOut::Kit => Skip::Kit,
            LeftOut::Body => Skip::Body,
            LeftOut::Tired => Skip::Tired,
            LeftOut::Weather => Skip::Weather,
            LeftOut::Life => Skip::Life,
            LeftOut::Coach => Skip::Coach,
            LeftOut::Other => Skip::Other,
        }
    }
}
