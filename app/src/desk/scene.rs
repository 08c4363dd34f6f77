//! What a desk is made from: plans of one athlete or of a squad's, the library, meets; and its cells in plain
//! values. Reads documents, writes none.

use std::sync::Arc;

use backstraight_core::base::day::Day;
use backstraight_core::base::id::{InstallId, PersonId, SquadId};
use backstraight_core::base::key::Key;
use backstraight_core::device::Device;
use backstraight_core::doc::read::Entry;
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::{Form, SeasonNo};
use backstraight_core::model::plan::{Meet, Member, SquadAbout, SquadSession};
use backstraight_core::view::library::Library;
use backstraight_core::view::planned::{Plan, PlannedGroup, PlannedSession};
use backstraight_core::view::plans::Plans;
use backstraight_core::view::show;

use super::written::{Line, Names};
use crate::device::shelf::MemoryShelf;
use crate::error::AppError;
use crate::hub::Hub;
use crate::parse::{self, Masses};
use crate::route::Whose;
use crate::words::{say, say_with};

/// A squad as far as a desk needs it.
#[derive(Debug, Clone, Default)]
pub struct Squad {
    /// Which.
    pub id: Option<SquadId>,
    /// Its name.
    pub name: String,
    /// Its members, by order.
    pub members: Vec<Member>,
    /// Meets by day.
    pub meets: Vec<Entry<Meet>>,
    /// Days of the whole squad, such as test days.
    pub days: Vec<Entry<SquadSession>>,
}

/// All squads on this device.
///
/// # Errors
/// When a document cannot be opened.
pub fn squads(device: &mut Device<MemoryShelf>) -> Result<Vec<Squad>, AppError> {
    let mut all = Vec::new();
    for name in device.documents()? {
        let DocName::Squad(id) = name else { continue };
        let doc = device.document(name)?;
        let about = doc.records::<SquadAbout>("about").entries.into_iter().next().map(|e| e.record);
        let mut members: Vec<Member> =
            doc.records::<Member>("members").live().map(|e| e.record.clone()).collect();
        members.sort_by(|a, b| (&a.pos, &a.name).cmp(&(&b.pos, &b.name)));
        let mut meets: Vec<_> = doc.records::<Meet>("meets").live().cloned().collect();
        meets.sort_by_key(|m| (m.record.date, m.key()));
        let mut days: Vec<_> = doc.records::<SquadSession>("sessions").live().cloned().collect();
        days.sort_by_key(|m| (m.record.date, m.key()));
        let name = about.and_then(|a| a.name).map_or_else(String::new, |n| n.to_string());
        all.push(Squad { id: Some(id), name, members, meets, days });
    }
    Ok(all)
}

/// One athlete on a desk.
#[derive(Debug, Clone)]
pub struct Place {
    /// Who.
    pub who: PersonId,
    /// The name shown.
    pub name: String,
    /// Date of birth, where the club knows it.
    pub born: Option<Day>,
    /// The document of the plan: of the season in which the week lies, or of the one that was asked for.
    pub doc: DocName,
    /// The plan.
    pub plan: Arc<Plan>,
    /// The plans of all seasons.
    pub plans: Plans,
}

impl Place {
    fn in_season(&self, season: SeasonNo, plan: &Arc<Plan>) -> Place {
        Place { doc: DocName::Plan(self.who, season), plan: Arc::clone(plan), ..self.clone() }
    }

    /// The same with the plan into which what is new on a day is written: a week can lie in two seasons.
    #[must_use]
    pub fn on(&self, day: Day) -> Place {
        let season = self.plans.season_of(day, day);
        let found = season.and_then(|season| Some((season, self.plans.of(season)?)));
        found.map_or_else(|| self.clone(), |(season, plan)| self.in_season(season, plan))
    }

    /// The same with the plan in which a session stands.
    #[must_use]
    pub fn holding(&self, session: &Key) -> Option<Place> {
        let (season, plan) = self.plans.holding(|plan| plan.session(session).is_some())?;
        Some(self.in_season(season, plan))
    }
}

/// Everything on a desk.
#[derive(Debug, Clone, Default)]
pub struct Desk {
    /// The library.
    pub library: Arc<Library>,
    /// The squad, or the one of which the athlete is a member.
    pub squad: Squad,
    /// Athletes, by the squad's order; one when it is an athlete's desk.
    pub places: Vec<Place>,
}

impl Desk {
    /// Reads it; again when something changes.
    ///
    /// # Errors
    /// When a document cannot be opened.
    pub fn read(hub: Hub, whose: Whose, week: Day) -> Result<Desk, AppError> {
        hub.read_with(|device, readings| {
            let library = readings.library(device)?;
            let squads = squads(device)?;
            let (squad, people) = match whose {
                Whose::Squad(id) => {
                    let squad = squads.into_iter().find(|s| s.id == Some(id)).unwrap_or_default();
                    let people: Vec<_> =
                        squad.members.iter().map(|m| (m.athlete, m.name.to_string(), m.born)).collect();
                    (squad, people)
                }
                Whose::Athlete(who) => {
                    let own = squads.into_iter().find(|s| s.members.iter().any(|m| m.athlete == who));
                    let squad = own.unwrap_or_default();
                    let member = squad.members.iter().find(|m| m.athlete == who);
                    let name = match member {
                        Some(m) => m.name.to_string(),
                        None => device
                            .people()?
                            .into_iter()
                            .find(|p| p.person.as_slice() == who.0.as_bytes())
                            .map(|p| p.name)
                            .unwrap_or_default(),
                    };
                    let born = member.and_then(|m| m.born);
                    (squad, vec![(who, name, born)])
                }
            };
            let mut places = Vec::new();
            for (who, name, born) in people {
                let (season, plans) = readings.season_to_write(device, who, (week, week.plus(6)))?;
                let doc = DocName::Plan(who, season);
                places.push(Place { who, name, born, doc, plan: readings.plan(device, doc)?, plans });
            }
            Ok(Desk { library, squad, places })
        })
    }

    /// The desk of the whole squad, or of the one to which the athlete belongs. None without one.
    #[must_use]
    pub fn of_squad(hub: Hub, whose: Whose, week: Day) -> Option<Desk> {
        let own = Desk::read(hub, whose, week).ok()?;
        match whose {
            Whose::Squad(_) => Some(own),
            Whose::Athlete(_) => Desk::read(hub, Whose::Squad(own.squad.id?), week).ok(),
        }
    }

    /// An athlete's place.
    #[must_use]
    pub fn place(&self, who: PersonId) -> Option<&Place> {
        self.places.iter().find(|p| p.who == who)
    }
}

/// The person of an install, by the list that the server gave.
#[must_use]
pub fn writer(hub: Hub, install: InstallId) -> Option<String> {
    let people = hub.peek(|device| device.people()).ok()?;
    people
        .into_iter()
        .find(|p| p.installs.iter().any(|i| i.as_slice() == install.0.as_slice()))
        .map(|p| p.name)
}

/// A session as a cell shows it.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Card {
    /// The session.
    pub key: Key,
    /// Its title.
    pub title: String,
    /// Start, minutes and effort in words.
    pub under: String,
    /// A line for each group.
    pub lines: Vec<String>,
    /// Whether two edits met in it.
    pub met: bool,
}

/// An athlete's week.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Who.
    pub who: PersonId,
    /// The name shown.
    pub name: String,
    /// Seven days.
    pub days: Vec<Vec<Card>>,
}

/// The weeks of all athletes on a desk.
#[must_use]
pub fn rows(desk: &Desk, week: Day, masses: Masses) -> Vec<Row> {
    let row = |place: &Place| Row {
        who: place.who,
        name: place.name.clone(),
        days: (0..7)
            .map(|n| {
                let day = place.plans.on(week.plus(n)).into_iter();
                day.map(|s| card(s.planned, s.plan, &desk.library, masses)).collect()
            })
            .collect(),
    };
    desk.places.iter().map(row).collect()
}

fn card(session: &PlannedSession, plan: &Plan, library: &Library, masses: Masses) -> Card {
    let record = &session.session.record;
    let minutes = record.minutes.map(|m| say_with("desk.minutes", &[("n", &m.get().to_string())]));
    let effort = record.effort.map(|e| say_with("desk.effort", &[("n", &parse::plain(e.get(), 1))]));
    let starts = record.starts.map(show::clock);
    let under: Vec<String> = starts.into_iter().chain(minutes).chain(effort).collect();
    Card {
        key: session.key(),
        title: record.title.to_string(),
        under: under.join(", "),
        lines: session.groups.iter().map(|g| group_line(g, library, masses)).collect(),
        met: plan.met.iter().any(|m| belongs(session, m.place.keys.last())),
    }
}

/// Whether a record is the session, one of its groups or of its prescriptions.
#[must_use]
pub fn belongs(session: &PlannedSession, key: Option<&Key>) -> bool {
    let Some(key) = key else { return false };
    session.key() == *key
        || session.groups.iter().any(|g| g.group.key() == *key || g.items.iter().any(|i| i.key() == *key))
}

/// The name of an exercise in a line, and the exercise of a name.
pub fn with_names<T>(library: &Library, masses: Masses, f: impl FnOnce(Names<'_>) -> T) -> T {
    let key = |text: &str| {
        let text = text.trim().to_lowercase();
        let live = library.exercises.iter().filter(|(_, e)| e.live());
        live.into_iter().find(|(_, e)| e.record.name.as_str().to_lowercase() == text).map(|(k, _)| k.clone())
    };
    let name = |key: &Key| library.exercise_name(key);
    f(Names { key: &key, name: &name, masses })
}

/// A group in a line: exercises with sets, dose and intensity.
#[must_use]
pub fn group_line(group: &PlannedGroup, library: &Library, masses: Masses) -> String {
    let items: Vec<String> = group
        .items
        .iter()
        .map(|item| {
            let mut line = Line::of(&item.record);
            (line.rest, line.pause, line.tempo, line.band, line.stop_loss) = (None, None, None, None, None);
            if let Some(rounds) = group.group.record.rounds {
                line.sets = rounds;
            }
            let text = with_names(library, masses, |names| line.print(names));
            format!("{} {text}", library.exercise_name(&item.record.ex))
        })
        .collect();
    let text = items.join(" + ");
    match group.group.record.form {
        Form::Contrast => format!("{}: {text}", say("group.contrast")),
        Form::Circuit => format!("{}: {text}", say("group.circuit")),
        Form::Single | Form::Superset => text,
    }
}
