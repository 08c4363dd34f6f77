//! A small invented club whose documents are made by commands alone.

use std::collections::BTreeMap;
use std::sync::Arc;

use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{ActorId, ClubId, PersonId};
use backstraight_core::base::key::{Key, KeyMint};
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::{Command, New, Scene, WorkOf};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::log::*;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::*;
use backstraight_core::model::plan::*;
use backstraight_core::view::board::{Athlete, Row, row};
use backstraight_core::view::done::Done;
use backstraight_core::view::library::Library;
use backstraight_core::view::load::{WeekLoad, weeks};
use backstraight_core::view::planned::Plan;
use backstraight_core::view::plans::Plans;
use backstraight_core::view::today::shown;
use uuid::Uuid;

pub(crate) const WHO: PersonId = PersonId(Uuid::from_u128(7));
pub(crate) const COACH: PersonId = PersonId(Uuid::from_u128(9));

/// Noon in UTC of 2026-11-25.
const NOON: Moment = Moment(1_795_608_000_000);

pub(crate) fn day(text: &str) -> Day {
    text.parse().unwrap()
}

pub(crate) fn noon(day: Day) -> Moment {
    NOON.plus_ms(i64::from(day.since(self::day("2026-11-25"))) * 86_400_000)
}

pub(crate) fn season() -> SeasonNo {
    SeasonNo::new(2027).unwrap()
}

pub(crate) fn name(text: &str) -> Name {
    Text::new(text).unwrap()
}

pub(crate) fn set(kg: i64, reps: i64) -> SetDone {
    SetDone { load: Load::new(kg * 100).ok(), reps: Reps::new(reps).ok(), ..SetDone::new(Moment(0)) }
}

fn open(doc: DocName, actor: u8) -> Document {
    let mut doc = Document::create(doc).unwrap();
    doc.write_as(ActorId([actor; 16]));
    doc
}

pub(crate) struct World {
    pub(crate) library: Document,
    /// The plan of this season, and those of earlier ones.
    pub(crate) plan: Document,
    earlier: Vec<(SeasonNo, Document)>,
    season: SeasonNo,
    pub(crate) logs: BTreeMap<Month, Document>,
    pub(crate) notes: BTreeMap<Month, Document>,
    pub(crate) mint: KeyMint,
    pub(crate) heard: Option<Day>,
    clock: i64,
}

impl World {
    pub(crate) fn new() -> World {
        World {
            library: open(DocName::Library(ClubId(Uuid::from_u128(1))), 1),
            plan: open(DocName::Plan(WHO, season()), 2),
            earlier: Vec::new(),
            season: season(),
            logs: BTreeMap::new(),
            notes: BTreeMap::new(),
            mint: KeyMint::new([1, 2, 3, 4]),
            heard: None,
            clock: 0,
        }
    }

    /// Begins another season: what is planned from now on stands in a plan of its own.
    pub(crate) fn next_season(&mut self) {
        let season = self.season;
        self.season = SeasonNo::new(season.get() + 1).unwrap();
        let next = open(DocName::Plan(WHO, self.season), 2);
        self.earlier.push((season, core::mem::replace(&mut self.plan, next)));
    }

    pub(crate) fn scene() -> Scene<'static> {
        Scene { now: NOON, exercises: None }
    }

    fn add(doc: &mut Document, place: Place, record: impl Into<AnyRecord>) {
        let command = Command::Add(vec![New { place, record: record.into() }]);
        doc.apply(&command, &World::scene()).unwrap();
    }

    pub(crate) fn settings(&mut self, to: Settings) {
        let edit =
            Command::Edit { place: Place::main("settings"), from: Settings::new().into(), to: to.into() };
        self.library.apply(&edit, &World::scene()).unwrap();
    }

    pub(crate) fn exercise(&mut self, record: Exercise) -> Key {
        let key = self.mint.mint();
        World::add(&mut self.library, Place::of("exercises", &key), record);
        key
    }

    pub(crate) fn squat(&mut self) -> Key {
        self.exercise(Exercise::new(name("Back squat"), Pattern::Squat, Intent::Strength))
    }

    pub(crate) fn protocol(&mut self, record: Protocol) -> Key {
        let key = self.mint.mint();
        World::add(&mut self.library, Place::of("protocols", &key), record);
        key
    }

    pub(crate) fn phase(&mut self, from: &str, to: &str, aim: Aim) {
        let key = self.mint.mint();
        World::add(
            &mut self.plan,
            Place::of("phases", &key),
            Phase::new(name("phase"), day(from), day(to), aim),
        );
    }

    /// A planned session; minutes and effort (of 10) where they are over zero.
    pub(crate) fn session(&mut self, date: &str, minutes: i64, effort: i64) -> Key {
        let key = self.mint.mint();
        let record = Session {
            minutes: Minutes::new(minutes).ok().filter(|m| m.get() > 0),
            effort: Effort::new(effort * 10).ok().filter(|e| e.get() > 0),
            ..Session::new(day(date), name("Session"))
        };
        World::add(&mut self.plan, Place::of("sessions", &key), record);
        key
    }

    /// A prescription in a group of its own.
    pub(crate) fn item(
        &mut self,
        session: &Key,
        ex: &Key,
        sets: i64,
        dose: &str,
        at: &str,
        rule: &str,
    ) -> Key {
        let (group, key) = (self.mint.mint(), self.mint.mint());
        let pos = Text::new("a").unwrap();
        World::add(
            &mut self.plan,
            Place::of("groups", &group),
            Group::new(session.clone(), pos.clone(), Form::Single),
        );
        let record = Prescription {
            dose: Some(dose.parse().unwrap()),
            intensity: (!at.is_empty()).then(|| at.parse().unwrap()),
            rule: (!rule.is_empty()).then(|| rule.parse().unwrap()),
            ..Prescription::new(group, pos, ex.clone(), Count::new(sets).unwrap())
        };
        World::add(&mut self.plan, Place::of("items", &key), record);
        key
    }

    pub(crate) fn log(&mut self, date: Day) -> &mut Document {
        self.logs.entry(date.month()).or_insert_with(|| open(DocName::Log(WHO, date.month()), 3))
    }

    pub(crate) fn note(&mut self, date: Day) -> &mut Document {
        self.notes.entry(date.month()).or_insert_with(|| open(DocName::Notes(WHO, date.month()), 4))
    }

    pub(crate) fn log_record(&mut self, root: &'static str, date: Day, record: impl Into<AnyRecord>) -> Key {
        let key = self.mint.mint();
        World::add(self.log(date), Place::of(root, &key), record);
        key
    }

    pub(crate) fn note_record(&mut self, root: &'static str, date: Day, record: impl Into<AnyRecord>) -> Key {
        let key = self.mint.mint();
        World::add(self.note(date), Place::of(root, &key), record);
        key
    }

    /// A session with nothing asked: effort of 10 and minutes where over zero.
    pub(crate) fn free(&mut self, date: &str, effort: i64, minutes: i64) -> Key {
        let date = day(date);
        self.log_record("sessions", date, rated(SessionDone::new(date, noon(date)), effort, minutes))
    }

    /// A planned session, begun on `date` as the screen showed it.
    pub(crate) fn begin(&mut self, session: &Key, date: &str, effort: i64, minutes: i64) -> Key {
        let date = day(date);
        let plan = Plan::of(&self.plan);
        let library = Library::of(&self.library);
        let screen = shown(&plan, plan.session(session).unwrap(), date, &library, &|_, _| None);
        self.log_record("sessions", date, rated(screen.begin(self.season, date, noon(date)), effort, minutes))
    }

    /// Sets of a prescription, or of a free exercise.
    pub(crate) fn sets(
        &mut self,
        date: &str,
        session: &Key,
        item: Option<&Key>,
        ex: &Key,
        sets: Vec<SetDone>,
    ) {
        let date = day(date);
        let plan = Plan::of(&self.plan);
        let library = Library::of(&self.library);
        let place = Place::of("sessions", session);
        let begun = self.log(date).record::<SessionDone>(&place).unwrap().unwrap().record;
        let asked = item.and_then(|item| {
            let planned = plan.sessions.iter().find(|s| s.items().any(|(_, i)| i.key() == *item))?;
            let screen = shown(&plan, planned, date, &library, &|_, _| None);
            let on_screen = screen.item(item)?;
            Some(on_screen.work((on_screen.ex != *ex).then_some(ex), &begun))
        });
        let record = asked.unwrap_or_else(|| Work::new(ex.clone()));
        let work = self.mint.mint();
        for (i, set) in sets.into_iter().enumerate() {
            self.clock += 60_000;
            let key = self.mint.mint();
            let of = if i == 0 {
                WorkOf::New(work.clone(), Box::new(record.clone()))
            } else {
                WorkOf::Open(work.clone())
            };
            let set = SetDone { at: noon(date).plus_ms(self.clock), ..set };
            let command = Command::LogSet { session: session.clone(), work: of, key, set: Box::new(set) };
            self.log(date).apply(&command, &World::scene()).unwrap();
        }
    }

    pub(crate) fn done(&self) -> Done {
        Done::of(self.logs.values().chain(self.notes.values()))
    }

    pub(crate) fn plans(&self) -> Plans {
        let all = self.earlier.iter().map(|(n, doc)| (*n, doc)).chain([(self.season, &self.plan)]);
        Plans::from(all.map(|(n, doc)| (n, Arc::new(Plan::of(doc)))).collect::<Vec<_>>())
    }

    pub(crate) fn athlete<'a>(&self, plans: &'a Plans, done: &'a Done) -> Athlete<'a> {
        Athlete { person: WHO, name: "Invented", events: "", plans, done, heard_through: self.heard }
    }

    pub(crate) fn row<T>(&self, from: &str, to: &str, today: &str, see: impl FnOnce(&Row<'_>) -> T) -> T {
        let (plans, done) = (self.plans(), self.done());
        let library = Library::of(&self.library);
        see(&row(self.athlete(&plans, &done), &library, day(from), day(to), day(today)))
    }

    pub(crate) fn weeks(&self, from: &str, to: &str, today: &str) -> Vec<WeekLoad> {
        let library = Library::of(&self.library);
        self.row(from, to, today, |row| weeks(row, &library, day(from), day(to), day(today)))
    }
}

fn rated(record: SessionDone, effort: i64, minutes: i64) -> SessionDone {
    SessionDone {
        effort: Effort::new(effort * 10).ok().filter(|e| e.get() > 0),
        minutes: Minutes::new(minutes).ok().filter(|m| m.get() > 0),
        ..record
    }
}
