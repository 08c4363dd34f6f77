//! What to be careful about in a session that is planned: heavy lifts, technical lifts, contacts, sprints,
//! juniors. Points out, forbids nothing: people who may judge decide.

use super::club::{Thresholds, age};
use super::library::Library;
use super::planned::{PlannedSession, sets_asked};
use super::records::ADULT;
use super::volume::{self, Line, Volume};
use crate::base::day::Day;
use crate::model::number::{Intent, Measure, Pattern};
use crate::model::packed::{Dose, Intensity, Target};
use crate::model::plan::{Prescription, Protocol};
use crate::science::Caution;

/// Effort, in tenths, from which a lift is as heavy as the day allows.
const ALL_OUT: i64 = 95;

/// What to be careful about, and a number in words where one was reckoned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Careful {
    /// Which caution.
    pub caution: Caution,
    /// What was reckoned; empty where nothing was.
    pub words: String,
}

fn target(session_sets: crate::model::number::Count, item: &Prescription) -> Target {
    Target {
        sets: session_sets,
        dose: item.dose,
        intensity: item.intensity.clone(),
        load: None,
        rest: item.rest,
        waves: item.waves.clone(),
        how: crate::model::number::Text::default(),
    }
}

fn heavy(item: &Prescription, limits: &Thresholds) -> bool {
    let waves = item.waves.iter().flat_map(|w| &w.0);
    let all = item.intensity.iter().chain(waves.filter_map(|w| w.intensity.as_ref()));
    all.into_iter().any(|x| match x {
        Intensity::OfMax(share, _) => share.as_f64() / 1000.0 >= limits.heavy_from,
        Intensity::Effort(e) => e.get() >= ALL_OUT,
        Intensity::Reserve(r) => r.get() == 0,
        _ => false,
    })
}

/// What to be careful about in a session on its day, for an athlete born then; without a date of birth nothing
/// is said about juniors.
#[must_use]
pub fn planned(session: &PlannedSession, library: &Library, born: Option<Day>) -> Vec<Careful> {
    let day = session.session.record.date;
    let limits = Thresholds::of(library.settings.as_ref());
    let mut found: Vec<Caution> = Vec::new();
    let mut lines: Vec<Line> = Vec::new();
    for (group, item) in session.items() {
        let item = &item.record;
        let shown = target(sets_asked(&group.group.record, item), item);
        lines.extend(volume::planned(day, &item.ex, item, &shown, &|_| None, library));
        let Some(ex) = library.exercises.get(&item.ex).map(|e| &e.record) else { continue };
        let lifted = volume::lifted(ex.pattern);
        let all_out = lifted && (heavy(item, &limits) || item.dose == Some(Dose::ToLimit));
        let rules = [
            (Caution::MaximalTest, all_out),
            (Caution::TechnicalLift, ex.pattern == Pattern::Olympic),
            (Caution::Contacts, ex.intent == Intent::Plyometric || ex.impact.is_some()),
            (
                Caution::SprintExposure,
                ex.intent == Intent::Speed && matches!(ex.pattern, Pattern::Sprint | Pattern::Hurdle),
            ),
        ];
        for (caution, holds) in rules {
            if holds && !found.contains(&caution) {
                found.push(caution);
            }
        }
    }
    let mut out: Vec<Careful> =
        found.into_iter().map(|caution| Careful { caution, words: String::new() }).collect();
    let contacts = Volume::of(&lines, library).contacts.total();
    let junior = born.is_some_and(|born| age(born, day) < ADULT);
    if junior && contacts > limits.junior_contacts {
        let words = format!(
            "{contacts:.0} contacts planned; the guideline for juniors is {:.0} in a session",
            limits.junior_contacts
        );
        match out.iter_mut().find(|c| c.caution == Caution::Contacts) {
            Some(careful) => careful.words = words,
            None => out.push(Careful { caution: Caution::Contacts, words }),
        }
    }
    out
}

/// What to be careful about in a test, by what it measures and by the exercise that it is done with.
#[must_use]
pub fn tested(protocol: &Protocol, library: &Library) -> Option<Caution> {
    let ex = protocol.ex.as_ref().and_then(|k| library.exercises.get(k)).map(|e| &e.record);
    match (protocol.measure, ex) {
        (Measure::Load, Some(ex)) if ex.pattern == Pattern::Olympic => Some(Caution::TechnicalLift),
        (Measure::Load | Measure::Reps, _) => Some(Caution::MaximalTest),
        (Measure::Hops, _) => Some(Caution::JumpExposure),
        (Measure::Time | Measure::Splits, _) => Some(Caution::SprintExposure),
        (Measure::Distance, None) => Some(Caution::JumpExposure),
        (Measure::Distance, Some(ex)) => {
            let jumps = matches!(ex.pattern, Pattern::Jump | Pattern::Hop | Pattern::Bound);
            jumps.then_some(Caution::JumpExposure)
        }
        (Measure::Speed, _) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::key::Key;
    use crate::doc::place::Place;
    use crate::doc::read::Entry;
    use crate::model::number::{Count, Form, Impact, Reps, Share, Small, Text};
    use crate::model::plan::{Exercise, Group, Session};
    use crate::view::planned::PlannedGroup;

    fn key(n: u32) -> Key {
        format!("abcdef-{n}").parse().unwrap()
    }

    fn entry<R>(root: &'static str, n: u32, record: R) -> Entry<R> {
        Entry { place: Place::of(root, &key(n)), record, gone: None, unread: Vec::new(), met: Vec::new() }
    }

    fn library() -> Library {
        let name = |t: &str| Text::new(t).unwrap();
        let squat = Exercise::new(name("Squat"), Pattern::Squat, Intent::Strength);
        let hops = Exercise {
            contacts: Small::new(1).ok(),
            impact: Some(Impact::Low),
            ..Exercise::new(name("Hops"), Pattern::Hop, Intent::Plyometric)
        };
        let exercises = [(1, squat), (2, hops)];
        Library {
            exercises: exercises.into_iter().map(|(n, e)| (key(n), entry("exercises", n, e))).collect(),
            ..Library::default()
        }
    }

    fn session(item: Prescription) -> PlannedSession {
        let group = Group::new(key(10), Text::new("i").unwrap(), Form::Single);
        let day = "2026-11-23".parse().unwrap();
        PlannedSession {
            session: entry("sessions", 10, Session::new(day, Text::new("A").unwrap())),
            groups: vec![PlannedGroup {
                group: entry("groups", 11, group),
                items: vec![entry("items", 12, item)],
            }],
        }
    }

    fn asked(ex: u32, sets: i64) -> Prescription {
        Prescription::new(key(11), Text::new("i").unwrap(), key(ex), Count::new(sets).unwrap())
    }

    fn of_max(n: i64) -> Prescription {
        Prescription { intensity: Some(Intensity::OfMax(Share::new(n).unwrap(), None)), ..asked(1, 3) }
    }

    #[test]
    fn heavy_begins_at_the_clubs_share() {
        assert!(planned(&session(of_max(849)), &library(), None).is_empty());
        let found = planned(&session(of_max(850)), &library(), None);
        assert_eq!(found.iter().map(|c| c.caution).collect::<Vec<_>>(), [Caution::MaximalTest]);
    }

    #[test]
    fn contacts_of_juniors_are_counted_against_the_guideline() {
        let hops = |n: i64| Prescription { dose: Some(Dose::Contacts(Reps::new(n).unwrap())), ..asked(2, 4) };
        let words = |n: i64, born: Option<&str>| {
            let found = planned(&session(hops(n)), &library(), born.map(|b| b.parse().unwrap()));
            assert_eq!(found.len(), 1);
            (found[0].caution, found[0].words.clone())
        };
        assert_eq!(words(20, Some("2010-01-01")), (Caution::Contacts, String::new()));
        assert_eq!(
            words(21, Some("2010-01-01")).1,
            "84 contacts planned; the guideline for juniors is 80 in a session"
        );
        // Nothing is said about whom the club knows to be grown up, or of whom it does not know the age.
        assert_eq!(words(21, Some("2000-01-01")).1, "");
        assert_eq!(words(21, None).1, "");
    }

    #[test]
    fn a_test_has_the_caution_of_what_it_measures() {
        use crate::model::number::Better;
        let of = |measure, ex: Option<u32>| {
            let name = Text::new("Test").unwrap();
            tested(&Protocol { ex: ex.map(key), ..Protocol::new(name, measure, Better::Higher) }, &library())
        };
        assert_eq!(of(Measure::Load, Some(1)), Some(Caution::MaximalTest));
        assert_eq!(of(Measure::Distance, Some(2)), Some(Caution::JumpExposure));
        assert_eq!(of(Measure::Distance, Some(1)), None);
        assert_eq!(of(Measure::Splits, None), Some(Caution::SprintExposure));
        assert_eq!(of(Measure::Speed, Some(1)), None);
    }
}
