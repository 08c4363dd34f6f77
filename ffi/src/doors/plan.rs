//! The coach's pen on a phone: what is asked of an athlete on some days, new sessions, changes of a line, what
//! two people changed at the same time, and exercises and tests for the club. Larger work is for a desk.

use std::hash::{DefaultHasher, Hash as _, Hasher as _};
use std::sync::Arc;

use backstraight_core::base::id::{ActorId, PersonId};
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::{Command, New};
use backstraight_core::doc::place::Place;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{
    Better, Count, Form, Intent, Measure, Minutes, Name, Pattern, Reps, Rest, SeasonNo, Text,
};
use backstraight_core::model::order;
use backstraight_core::model::packed::{Dose, Intensity, Keys};
use backstraight_core::model::plan::{Exercise, Group, Prescription, Protocol, Session};
use backstraight_core::view::met::in_words;
use backstraight_core::view::planned::Plan;
use backstraight_core::view::plans::InPlan;
use backstraight_core::view::today;

use super::board::name_of_install;
use super::clock::Now;
use super::error::DoorError;
use super::install::Install;
use super::sheet::{Choice, Fields, grams, whole};
use super::work::{Deed, Receipt, What, Work, day, key};

/// A line of a session that is asked.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct PlannedItem {
    /// Which.
    pub item: String,
    /// The exercise.
    pub exercise: Choice,
    /// Sets.
    pub sets: u32,
    /// Repetitions of each, where that is what it asks.
    pub reps: Option<u32>,
    /// The load, g, where a load is asked.
    pub load_g: Option<u32>,
    /// Rest after each set, s.
    pub rest_s: Option<u32>,
    /// All of it in words.
    pub words: String,
}

/// A session that is asked.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct PlannedLine {
    /// Which.
    pub session: String,
    /// Its day.
    pub day: String,
    /// Its title.
    pub title: String,
    /// Its lines, in order.
    pub items: Vec<PlannedItem>,
}

/// A line of a new session.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct NewItem {
    /// The exercise.
    pub exercise: String,
    /// Sets.
    pub sets: u32,
    /// Repetitions of each.
    #[uniffi(default = None)]
    pub reps: Option<u32>,
    /// Contacts of each, instead of repetitions.
    #[uniffi(default = None)]
    pub contacts: Option<u32>,
    /// The load, g; whole tens.
    #[uniffi(default = None)]
    pub load_g: Option<u32>,
    /// Rest after each set, s.
    #[uniffi(default = None)]
    pub rest_s: Option<u32>,
    /// Exercises that may be done instead.
    #[uniffi(default = [])]
    pub swaps: Vec<String>,
}

/// A new session of an athlete's plan.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct NewSession {
    /// Whose.
    pub athlete: String,
    /// Its day.
    pub day: String,
    /// Its title.
    pub title: String,
    /// Minutes that it should take.
    #[uniffi(default = None)]
    pub minutes: Option<u32>,
    /// Its lines, in order.
    pub items: Vec<NewItem>,
    /// The deed's name.
    pub once: String,
}

/// A change of a line: what is missing stays.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct ItemChange {
    /// Whose.
    pub athlete: String,
    /// Which line.
    pub item: String,
    /// Sets.
    #[uniffi(default = None)]
    pub sets: Option<u32>,
    /// Repetitions of each, on each side or contacts where the line is counted in those; `BadValue` where it is
    /// held or measured.
    #[uniffi(default = None)]
    pub reps: Option<u32>,
    /// The load, g; whole tens. It takes the place of another kind of intensity.
    #[uniffi(default = None)]
    pub load_g: Option<u32>,
    /// Rest after each set, s.
    #[uniffi(default = None)]
    pub rest_s: Option<u32>,
    /// The deed's name.
    pub once: String,
}

/// One of the values where two edits met.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct MetValue {
    /// In words.
    pub words: String,
    /// Who wrote it.
    pub who: String,
    /// When, by that device's clock, ms since 1970 in UTC.
    pub at_ms: i64,
}

/// Where two people changed the same without knowing of each other.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct MetHere {
    /// Which: to pick a value.
    pub id: String,
    /// The field.
    pub field: String,
    /// The values, the one shown meanwhile first.
    pub values: Vec<MetValue>,
}

/// A new exercise of the club.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct NewExercise {
    /// Its name.
    pub name: String,
    /// How the body moves, a stable word such as `squat`, `hinge`, `jump`, `sprint`.
    pub pattern: String,
    /// What it is for, a stable word such as `strength`, `power`, `plyometric`, `speed`.
    pub intent: String,
    /// What to watch for, in the club's words.
    #[uniffi(default = None)]
    pub caution: Option<String>,
    /// The deed's name.
    pub once: String,
}

/// A new test of the club.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct NewTest {
    /// Its name.
    pub name: String,
    /// What it measures, a stable word: `load`, `time`, `distance`, `repetitions`, `hops`, `splits`, `speed`.
    pub measure: String,
    /// Unit of its result.
    pub unit: String,
    /// Whether higher is better.
    pub higher_is_better: bool,
    /// The deed's name.
    pub once: String,
}

#[uniffi::export]
impl Install {
    /// The exercises of the club, by name.
    ///
    /// # Errors
    /// What the store says.
    pub fn exercises(&self) -> Result<Vec<Choice>, DoorError> {
        self.read(|work| {
            let library = work.library()?;
            let live = library.exercises.iter().filter(|(_, e)| e.live());
            let choice =
                |(key, e): (
                    &backstraight_core::base::key::Key,
                    &backstraight_core::doc::read::Entry<Exercise>,
                )| { Choice { exercise: key.to_string(), name: e.record.name.to_string() } };
            let mut all: Vec<_> = live.map(choice).collect();
            all.sort_by(|a, b| (&a.name, &a.exercise).cmp(&(&b.name, &b.exercise)));
            Ok(all)
        })
    }

    /// What is asked on some days; of another athlete for a coach.
    ///
    /// # Errors
    /// `BadValue`, `NotThere`, and what the store says.
    pub fn planned(
        &self,
        first_day: String,
        last_day: String,
        athlete: Option<String>,
    ) -> Result<Vec<PlannedLine>, DoorError> {
        let (first, last) = super::today::days(&first_day, &last_day)?;
        self.read(|work| {
            let person = work.person(athlete.as_deref())?;
            let library = work.library()?;
            let plans = work.readings.plans(&mut work.device, person)?;
            let line = |InPlan { plan, planned, .. }: InPlan<'_>| {
                let day = planned.session.record.date;
                let shown = today::shown(plan, planned, day, &library, &|_, _| None);
                let items = planned.items().zip(shown.items());
                PlannedLine {
                    session: planned.key().to_string(),
                    day: day.to_string(),
                    title: planned.session.record.title.to_string(),
                    items: items.map(|((_, entry), shown)| item(&entry.record, shown)).collect(),
                }
            };
            Ok(plans.between(first, last).into_iter().map(line).collect())
        })
    }

    /// Asks a new session of an athlete.
    ///
    /// # Errors
    /// `NotThere` for somebody whom the server did not name, `BadValue`, `NotAllowed`, and what the store says.
    pub fn add_session(&self, session: NewSession, now: Now) -> Result<Receipt, DoorError> {
        self.deed(What("add_session"), now, &session.once, |work| {
            let person = work.person(Some(&session.athlete))?;
            // Before the first exchange nobody is known.
            let people = work.device.people()?;
            if !people.is_empty() && !people.iter().any(|k| k.person.as_slice() == person.0.as_bytes()) {
                return Err(DoorError::missing("person", &session.athlete));
            }
            let date = day("day", &session.day)?;
            let mut f = Fields::default();
            let title = f.take("title", Some(session.title.clone()), Name::new).unwrap_or_default();
            let minutes = f.number("minutes", session.minutes, Minutes::new);
            let (season, _) = work.readings.season_to_write(&mut work.device, person, (date, date))?;
            let doc = DocName::Plan(person, season);
            let plan = work.readings.plan(&mut work.device, doc)?;
            let own = work.device.key();
            let record = Session { minutes, pos: Some(end_of_day(&plan, date)), ..Session::new(date, title) };
            let mut news = vec![New { place: Place::of("sessions", &own), record: record.into() }];
            let spread = order::spread(session.items.len());
            for (new, pos) in session.items.iter().zip(spread) {
                let (group, line) = (work.device.key(), work.device.key());
                let record = Group::new(own.clone(), pos.clone(), Form::Single);
                news.push(New { place: Place::of("groups", &group), record: record.into() });
                let Some(record) = prescription(new, group, pos, &mut f)? else { continue };
                news.push(New { place: Place::of("items", &line), record: record.into() });
            }
            f.check()?;
            Ok(Deed { doc, commands: vec![Command::Add(news)], id: own.to_string() })
        })
    }

    /// Changes a line: only what differs, so that what somebody else changes meanwhile stays too.
    ///
    /// # Errors
    /// `BadValue`, `NotThere`, `NotAllowed`, and what the store says.
    pub fn change_item(&self, change: ItemChange, now: Now) -> Result<Receipt, DoorError> {
        self.deed(What("change_item"), now, &change.once, |work| {
            let person = work.person(Some(&change.athlete))?;
            let wanted = key("item", &change.item)?;
            let (doc, plan) = holding(work, person, "item", &change.item, |p| p.item(&wanted).is_some())?;
            let entry = plan.item(&wanted).ok_or_else(|| DoorError::missing("item", &change.item))?;
            let mut f = Fields::default();
            let was = &entry.record;
            let to = Prescription {
                sets: f.number("sets", change.sets, Count::new).unwrap_or(was.sets),
                dose: dose_with(&mut f, change.reps, was.dose),
                intensity: f
                    .load("load_g", change.load_g)
                    .map(Intensity::Load)
                    .or_else(|| was.intensity.clone()),
                rest: f.number("rest_s", change.rest_s, Rest::new).or(was.rest),
                ..was.clone()
            };
            f.check()?;
            let edit = edit(&entry.place, was.clone(), to);
            Ok(Deed { doc, commands: edit.into_iter().collect(), id: change.item.clone() })
        })
    }

    /// Moves a session to another day, after what is there.
    ///
    /// # Errors
    /// `BadValue`, `NotThere`, `NotAllowed`, and what the store says.
    pub fn move_session(
        &self,
        athlete: String,
        session: String,
        day: String,
        once: String,
        now: Now,
    ) -> Result<Receipt, DoorError> {
        self.deed(What("move_session"), now, &once, |work| {
            let person = work.person(Some(&athlete))?;
            let date = super::work::day("day", &day)?;
            let wanted = key("session", &session)?;
            let (doc, plan) = holding(work, person, "session", &session, |p| p.session(&wanted).is_some())?;
            let planned = plan.session(&wanted).ok_or_else(|| DoorError::missing("session", &session))?;
            let was = &planned.session.record;
            let to = if was.date == date {
                was.clone()
            } else {
                Session { date, pos: Some(end_of_day(&plan, date)), ..was.clone() }
            };
            let edit = edit(&planned.session.place, was.clone(), to);
            Ok(Deed { doc, commands: edit.into_iter().collect(), id: session.clone() })
        })
    }

    /// Takes a session out of the plan. It stays readable, and what was logged of it stays.
    ///
    /// # Errors
    /// `NotThere`, `NotAllowed`, and what the store says.
    pub fn withdraw_session(
        &self,
        athlete: String,
        session: String,
        once: String,
        now: Now,
    ) -> Result<Receipt, DoorError> {
        self.deed(What("withdraw_session"), now, &once, |work| {
            let person = work.person(Some(&athlete))?;
            let wanted = key("session", &session)?;
            let (doc, plan) = holding(work, person, "session", &session, |p| p.session(&wanted).is_some())?;
            let planned = plan.session(&wanted).ok_or_else(|| DoorError::missing("session", &session))?;
            let commands = vec![Command::Withdraw(vec![planned.session.place.clone()])];
            Ok(Deed { doc, commands, id: session.clone() })
        })
    }

    /// Where two edits of an athlete's plan met.
    ///
    /// # Errors
    /// `NotThere`, and what the store says.
    pub fn met(&self, athlete: Option<String>) -> Result<Vec<MetHere>, DoorError> {
        self.read(|work| {
            let person = work.person(athlete.as_deref())?;
            let library = work.library()?;
            let people = work.device.people()?;
            let plans = work.readings.plans(&mut work.device, person)?;
            let who = |install| name_of_install(&people, install);
            let met = plans.iter().flat_map(|(season, plan)| {
                in_words(&plan.met, &library, &who).into_iter().map(move |m| (season, m))
            });
            Ok(met
                .map(|(season, m)| MetHere {
                    id: met_id(season, &m.place, m.field, m.choices.iter().map(|c| (c.by, c.at))),
                    field: m.field.to_owned(),
                    values: m
                        .choices
                        .into_iter()
                        .map(|c| MetValue { words: c.words, who: c.who, at_ms: c.at.0 })
                        .collect(),
                })
                .collect())
        })
    }

    /// Picks the value of that number, from 0, where two edits met.
    ///
    /// # Errors
    /// `NotThere`, also when another value came in since `met` was asked: ask again; `NotAllowed`, and what the
    /// store says.
    pub fn pick(
        &self,
        athlete: String,
        id: String,
        value: u32,
        once: String,
        now: Now,
    ) -> Result<Receipt, DoorError> {
        self.deed(What("pick"), now, &once, |work| {
            let person = work.person(Some(&athlete))?;
            let plans = work.readings.plans(&mut work.device, person)?;
            let mut all = plans.iter().flat_map(|(season, plan)| plan.met.iter().map(move |m| (season, m)));
            let (season, met) = all
                .find(|(s, m)| met_id(*s, &m.place, m.field, m.told.iter().map(|t| (t.by, t.at))) == id)
                .ok_or_else(|| DoorError::missing("place where edits met", &id))?;
            let doc = DocName::Plan(person, season);
            let told = usize::try_from(value).ok().and_then(|n| met.told.get(n));
            let told = told.ok_or_else(|| DoorError::field("value", "out-of-range", "one of the values"))?;
            let commands =
                vec![Command::Pick { place: met.place.clone(), field: met.field, value: told.value.clone() }];
            Ok(Deed { doc, commands, id: id.clone() })
        })
    }

    /// Adds an exercise to the club's library.
    ///
    /// # Errors
    /// `BadValue`, `NotAllowed`, and what the store says.
    pub fn add_exercise(&self, exercise: NewExercise, now: Now) -> Result<Receipt, DoorError> {
        self.deed(What("add_exercise"), now, &exercise.once, |work| {
            let mut f = Fields::default();
            let name = f.take("name", Some(exercise.name.clone()), Name::new);
            let pattern = f.take("pattern", Some(exercise.pattern.as_str()), str::parse::<Pattern>);
            let intent = f.take("intent", Some(exercise.intent.as_str()), str::parse::<Intent>);
            let caution = f.note("caution", exercise.caution.clone());
            f.check()?;
            let (Some(name), Some(pattern), Some(intent)) = (name, pattern, intent) else {
                return Err(DoorError::inner("an exercise without a name"));
            };
            let record = Exercise { caution, ..Exercise::new(name, pattern, intent) };
            Ok(in_library(work, "exercises", record.into()))
        })
    }

    /// Adds a test to the club's library.
    ///
    /// # Errors
    /// `BadValue`, `NotAllowed`, and what the store says.
    pub fn add_test(&self, test: NewTest, now: Now) -> Result<Receipt, DoorError> {
        self.deed(What("add_test"), now, &test.once, |work| {
            let mut f = Fields::default();
            let name = f.take("name", Some(test.name.clone()), Name::new);
            let measure = f.take("measure", Some(test.measure.as_str()), str::parse::<Measure>);
            let unit = f.take("unit", Some(test.unit.clone()), Text::new);
            f.check()?;
            let (Some(name), Some(measure)) = (name, measure) else {
                return Err(DoorError::inner("a test without a name"));
            };
            let better = if test.higher_is_better { Better::Higher } else { Better::Lower };
            let record = Protocol { unit, ..Protocol::new(name, measure, better) };
            Ok(in_library(work, "protocols", record.into()))
        })
    }
}

fn item(asked: &Prescription, shown: &today::Shown) -> PlannedItem {
    PlannedItem {
        item: shown.item.to_string(),
        exercise: Choice { exercise: shown.ex.to_string(), name: shown.name.clone() },
        sets: whole(asked.sets.get()),
        reps: match asked.dose {
            Some(Dose::Reps(_, n) | Dose::RepsPerSide(n)) => Some(whole(n.get())),
            _ => None,
        },
        load_g: match asked.intensity {
            Some(Intensity::Load(load)) => Some(grams(load.get())),
            _ => None,
        },
        rest_s: asked.rest.map(|r| whole(r.get())),
        words: shown.words.clone(),
    }
}

fn prescription(
    new: &NewItem,
    group: backstraight_core::base::key::Key,
    pos: Text<64>,
    f: &mut Fields,
) -> Result<Option<Prescription>, DoorError> {
    let ex = key("exercise", &new.exercise)?;
    let swaps = new.swaps.iter().map(|s| key("exercise", s)).collect::<Result<Vec<_>, _>>()?;
    let reps = f.number("reps", new.reps, Reps::new).map(|n| Dose::Reps(n, n));
    let contacts = f.number("contacts", new.contacts, Reps::new).map(Dose::Contacts);
    let intensity = f.load("load_g", new.load_g).map(Intensity::Load);
    let rest = f.number("rest_s", new.rest_s, Rest::new);
    let sets = f.number("sets", Some(new.sets), Count::new);
    Ok(sets.map(|sets| Prescription {
        dose: reps.or(contacts),
        intensity,
        rest,
        swaps: (!swaps.is_empty()).then_some(Keys(swaps)),
        ..Prescription::new(group, pos, ex, sets)
    }))
}

/// A dose with other repetitions, counted as before.
fn dose_with(f: &mut Fields, reps: Option<u32>, was: Option<Dose>) -> Option<Dose> {
    let Some(n) = f.number("reps", reps, Reps::new) else { return was };
    match was {
        None | Some(Dose::Reps(..)) => Some(Dose::Reps(n, n)),
        Some(Dose::RepsPerSide(_)) => Some(Dose::RepsPerSide(n)),
        Some(Dose::Contacts(_)) => Some(Dose::Contacts(n)),
        Some(Dose::Hold(_) | Dose::HoldPerSide(_) | Dose::Distance(_) | Dose::ToLimit) => {
            f.wrong("reps", "other-dose", "this line is not counted in repetitions");
            was
        }
    }
}

/// The plan of an athlete in which something stands.
fn holding(
    work: &mut Work,
    person: PersonId,
    what: &'static str,
    id: &str,
    that: impl Fn(&Plan) -> bool,
) -> Result<(DocName, Arc<Plan>), DoorError> {
    let plans = work.readings.plans(&mut work.device, person)?;
    let (season, plan) = plans.holding(that).ok_or_else(|| DoorError::missing(what, id))?;
    Ok((DocName::Plan(person, season), Arc::clone(plan)))
}

/// What names a place where edits met, with the values that met there: with another one it is another name, so
/// that nobody picks what was not seen.
fn met_id(
    season: SeasonNo,
    place: &Place,
    field: &str,
    values: impl Iterator<Item = (ActorId, Moment)>,
) -> String {
    let mut hasher = DefaultHasher::new();
    season.get().hash(&mut hasher);
    for (by, at) in values {
        (by.to_string(), at.0).hash(&mut hasher);
    }
    format!("{place}/{field}/{:016x}", hasher.finish())
}

/// The place after the last session of a day.
fn end_of_day(plan: &Plan, day: backstraight_core::base::day::Day) -> Text<64> {
    let last = plan.on(day).filter_map(|s| s.session.record.pos.as_ref()).max();
    order::between(last.map(Text::as_str), None)
}

/// An edit of a record; none when nothing differs.
fn edit<R: PartialEq + Into<AnyRecord>>(place: &Place, from: R, to: R) -> Option<Command> {
    (from != to).then(|| Command::Edit { place: place.clone(), from: from.into(), to: to.into() })
}

fn in_library(work: &mut Work, root: &'static str, record: AnyRecord) -> Deed {
    let own = work.device.key();
    let add = New { place: Place::of(root, &own), record };
    let doc = DocName::Library(work.device.identity().club);
    Deed { doc, commands: vec![Command::Add(vec![add])], id: own.to_string() }
}
