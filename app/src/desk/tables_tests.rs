//! Tests of the tables: every field that is typed comes back as it was typed, and empties alone.

use super::*;
use backstraight_core::model::number::Text;

const KEY: &str = "abcdef-1";

fn today() -> Day {
    "2026-11-26".parse().unwrap()
}

/// Types every field, one after the other; each reads back, and none disturbs another.
fn survives<R: Formed + core::fmt::Debug>(mut record: R, typed: &[&str]) -> R {
    assert_eq!(R::FIELDS.len(), typed.len());
    for (field, text) in R::FIELDS.iter().zip(typed) {
        record = (field.read)(&record, text).unwrap_or_else(|e| panic!("{text}: {e}"));
    }
    for (field, text) in R::FIELDS.iter().zip(typed) {
        assert_eq!((field.print)(&record), *text);
    }
    for field in R::FIELDS {
        let _ = (field.read)(&record, "\u{0}é%x");
        assert!(!field.label.text().is_empty());
        if let How::List(options) = field.how {
            assert!(!options(&Library::default()).is_empty());
        }
    }
    assert!(!record.title(&Library::default()).is_empty());
    record
}

#[test]
fn seasons_survive_their_forms() {
    survives(PlanAbout::new(), &["Indoor", "2026-10-01", "2027-03-01", "built for the final"]);
    let phase = new_phase("Build", today()).unwrap();
    assert_eq!((phase.from.to_string(), phase.to.to_string()), ("2026-11-30".into(), "2026-12-27".into()));
    survives(phase, &["Sharpen", "2026-12-01", "2026-12-20", "taper", "less, faster"]);
    survives(Week::new(today().week_start()), &["Easy", "yes", "sleep"]);
    let key: Key = KEY.parse().unwrap();
    survives(Condition::new(Aim::Meets, key.clone(), key), &["taper", "bbbbbb-1", "cccccc-1", "fresh legs"]);
    survives(
        new_meet("Final", today()).unwrap(),
        &["Final", "2027-02-20", "main", "2", "Hall", "60 m, long jump"],
    );
    survives(new_day("Test day", today()).unwrap(), &["Test day", "2026-12-05", "18:05", KEY, "spikes"]);
}

#[test]
fn the_library_survives_its_forms() {
    survives(
        new_exercise("Squat", today()).unwrap(),
        &[
            "Hops",
            "hop",
            "plyometric",
            "none",
            "each",
            "2",
            "high",
            "height, time",
            KEY,
            "bbbbbb-1",
            "cccccc-1",
            "1.5",
            "on grass",
        ],
    );
    survives(new_cue("Tall", today()).unwrap(), &["Tall and quick", KEY]);
    let venue = survives(
        new_venue("Gym", today()).unwrap(),
        &[
            "Gym",
            "20 15",
            "25x4 1.25x2",
            "2.5",
            "10 12.5",
            "68.6 76.2",
            "40",
            "30 45.5",
            "rubber",
            "key at the desk",
        ],
    );
    assert_eq!(venue.plates.unwrap().to_string(), "2500x4,125x2");
    survives(
        new_protocol("Jump", today()).unwrap(),
        &["Long jump, standing", "distance", "higher", KEY, "m", "3", "0.05", "hands free"],
    );
    survives(new_template("Legs", today()).unwrap(), &["Legs", "strength", "after a rest day"]);
    survives(Settings::new(), &["Club", "5", "1", "90", "80", "90", "85", "4", "2", "1.5", "7", "14", "10"]);
}

#[test]
fn shares_are_percent_and_limits_are_said() {
    let set = |at: usize, text: &str| (Settings::FIELDS[at].read)(&Settings::new(), text);
    assert_eq!(set(5, "90%").unwrap().done_from.unwrap().get(), 900);
    assert_eq!(set(1, "5").unwrap().load_tolerance.unwrap().get(), 50);
    assert_eq!(set(3, "").unwrap().max_age_days, None);
    assert!(set(3, "201").is_err() && set(5, "much").is_err());
    assert!(plates("25").is_err() && plates("25x300").is_err() && loads("heavy").is_err());
    assert!(new_venue(" ", today()).is_err());
    assert_eq!(new_cue("x", today()).unwrap().text, Text::new("x").unwrap());
}
