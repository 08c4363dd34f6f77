//! A copy of what this device has about its person, as data that anybody can open: everything that was ever written,
//! in the order in which it was written. For where no server answers; the server's full copy has more.

use std::collections::BTreeMap;

use backstraight_core::doc::open::Document;
use backstraight_core::model::name::DocName;
use backstraight_core::model::told::Told;
use backstraight_core::view::library::Library;
use serde_json::{Value, json};

use crate::device::shelf::MemoryShelf;
use crate::error::AppError;
use crate::hub::Hub;

/// The documents about somebody; what belongs to the club is not theirs.
#[must_use]
pub fn is_own(name: &DocName) -> bool {
    !matches!(name, DocName::Library(_) | DocName::Squad(_))
}

/// Everything that this device has about its person, as bytes of a JSON file.
///
/// # Errors
/// When a document cannot be opened.
pub fn of_device(hub: Hub) -> Result<Vec<u8>, AppError> {
    hub.peek(|device| {
        let me = device.identity().clone();
        let (exercises, tests) = names(&device.library().unwrap_or_default());
        let mut documents = Vec::new();
        for name in own(device)? {
            documents.push(document(device.document(name)?));
        }
        let all = json!({
            "written_at_utc": hub.now().to_string(),
            "person": me.person.to_string(),
            "name": me.name,
            "club": me.club.to_string(),
            "device": me.install.to_string(),
            "exercises": exercises,
            "tests": tests,
            "documents": documents,
        });
        serde_json::to_vec_pretty(&all).map_err(|e| AppError::Answer(e.to_string()))
    })
}

/// The own documents on this device.
///
/// # Errors
/// When they cannot be listed.
pub fn own(device: &backstraight_core::device::Device<MemoryShelf>) -> Result<Vec<DocName>, AppError> {
    Ok(device.documents()?.into_iter().filter(is_own).collect())
}

/// What keys of exercises and tests are called.
fn names(library: &Library) -> (BTreeMap<String, String>, BTreeMap<String, String>) {
    let exercises = library.exercises.iter().map(|(k, e)| (k.to_string(), e.record.name.to_string()));
    let tests = library.protocols.iter().map(|(k, p)| (k.to_string(), p.record.name.to_string()));
    (exercises.collect(), tests.collect())
}

/// A document: its state and everything that was ever written in it.
fn document(doc: &Document) -> Value {
    let kind = doc.name().kind();
    let written = match doc.history() {
        Ok(all) => all
            .into_iter()
            .map(|w| {
                let value = w.value.as_ref().map(|v| value(Told::written(kind, &w.path, v)));
                json!({
                    "at_utc": w.at.to_string(), "by_device": w.by.install().to_string(),
                    "where": w.path, "value": value,
                })
            })
            .collect(),
        Err(error) => json!({ "unreadable": error.to_string() }),
    };
    json!({
        "document": doc.name().to_string(),
        "state": doc.heads().iter().map(ToString::to_string).collect::<Vec<_>>(),
        "written": written,
    })
}

/// A value as JSON.
fn value(told: Told) -> Value {
    match told {
        Told::Int(n) => json!(n),
        Told::Text(t) => json!(t),
        Told::Bool(b) => json!(b),
        Told::Time(at) => json!(at.to_string()),
        Told::List(list) => json!(list),
        Told::Fields(fields) => fields.into_iter().map(|(name, one)| (name.to_owned(), value(one))).collect(),
        Told::Hex(hex) => json!({ "hex": hex }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use backstraight_core::base::id::{ActorId, InstallId, PersonId};
    use backstraight_core::base::key::Key;
    use backstraight_core::base::moment::Moment;
    use backstraight_core::doc::command::{Command, New, Scene};
    use backstraight_core::doc::place::Place;
    use backstraight_core::model::log::Trial;
    use backstraight_core::model::number::Text;

    const NOW: Moment = Moment(1_795_600_800_000);

    #[test]
    fn what_was_corrected_is_there_as_it_was_and_as_it_is() {
        let day: backstraight_core::base::day::Day = "2026-11-25".parse().unwrap();
        let name = DocName::Log(PersonId(uuid::Uuid::from_u128(1)), day.month());
        let mut doc = Document::create(name).unwrap();
        doc.write_as(ActorId::of(InstallId([3; 8]), [4; 8]));
        let key: Key = "abcdef-1".parse().unwrap();
        let place = Place::of("trials", &key);
        let first = Trial { conditions: Text::new("wet").ok(), ..Trial::new(day, NOW, key) };
        let then = Trial { conditions: Text::new("dry").ok(), ..first.clone() };
        let scene = Scene { now: NOW, exercises: None };
        let add = Command::Add(vec![New { place: place.clone(), record: first.clone().into() }]);
        doc.apply(&add, &scene).unwrap();
        let edit = Command::Edit { place: place.clone(), from: first.into(), to: then.into() };
        doc.apply(&edit, &scene).unwrap();
        let told = document(&doc);
        let at = format!("{place}/conditions");
        let all = told["written"].as_array().unwrap();
        let words: Vec<&Value> =
            all.iter().filter(|w| w["where"] == at.as_str()).map(|w| &w["value"]).collect();
        assert_eq!(words, ["wet", "dry"]);
        assert_eq!(told["document"], name.to_string());
    }

    #[test]
    fn a_set_has_the_names_of_its_fields_and_speeds_are_numbers() {
        let told = Told::Fields(vec![
            ("load", Told::Int(8_250)),
            ("speeds", Told::List(vec![620, 600])),
            ("at", Told::Time(NOW)),
        ]);
        let at = NOW.to_string();
        assert_eq!(value(told), json!({ "load": 8_250, "speeds": [620, 600], "at": at }));
        assert_eq!(value(Told::Hex("ff".to_owned())), json!({ "hex": "ff" }));
    }

    #[test]
    fn the_clubs_documents_are_not_a_persons_own() {
        let (person, month) = (PersonId(uuid::Uuid::from_u128(1)), "2026-11".parse().unwrap());
        assert!(is_own(&DocName::Log(person, month)) && is_own(&DocName::Care(person)));
        let club = "018bcfe5-6800-7707-8707-070707070707".parse().unwrap();
        assert!(!is_own(&DocName::Library(club)));
    }
}
