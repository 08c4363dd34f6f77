//! The plan as written beside what was done.

use backstraight_core::model::number::*;
use backstraight_core::model::plan::*;
use backstraight_core::science::Caution;
use backstraight_core::view::forecast::{Forecast, Topic, forecast};
use backstraight_core::view::library::Library;
use backstraight_core::view::resolve::Missing;
use backstraight_core::view::why::Lack;

use crate::world::*;

const TODAY: &str = "2026-11-25";

fn look(w: &World, weeks: usize) -> Forecast {
    let (plans, done) = (w.plans(), w.done());
    forecast(w.athlete(&plans, &done), &Library::of(&w.library), day(TODAY), weeks)
}

/// Four weeks of 5 x 300 before this one, all of it heard.
fn usual() -> World {
    let mut w = World::new();
    let first = day("2026-10-26");
    for i in (0..28).filter(|i| i % 7 < 5) {
        w.free(&first.plus(i).to_string(), 5, 60);
    }
    w.heard = Some(day(TODAY));
    w
}

#[test]
fn the_example_of_a_taper() {
    let mut w = usual();
    w.phase("2026-11-30", "2026-12-13", Aim::Taper);
    for (date, minutes) in [("2026-11-24", 75), ("2026-12-01", 60), ("2026-12-03", 60), ("2026-12-08", 60)] {
        w.session(date, minutes, 5);
    }
    let found = look(&w, 4);
    assert_eq!((found.last.len(), found.next.len()), (4, 4));
    assert!(found.last.iter().all(|l| (l.load.value - 1500.0).abs() < 1e-9));
    let loads: Vec<Option<f64>> = found.next.iter().map(|n| n.load.as_ref().ok().map(|f| f.value)).collect();
    assert_eq!(loads, [Some(375.0), Some(600.0), Some(300.0), None]);
    // 600 / 1500 and 300 / 1500.
    assert!((found.next[1].against_last.as_ref().unwrap().value - 0.4).abs() < 1e-12);
    assert_eq!(found.next[1].aims, [Aim::Taper]);
    assert_eq!(found.next[1].minutes.as_ref().unwrap().value, 120.0);
    assert_eq!(found.next[3].load.as_ref().unwrap_err(), &Lack::Nothing { what: "planned session" });
    let saying = &found.says[0];
    assert_eq!((saying.topic, saying.caution), (Topic::Taper, Caution::Load));
    assert_eq!(
        saying.words,
        "easing from the week of 2026-11-30, 2 weeks: planned load is 40 %, 20 % of the last four weeks' mean"
    );
    assert_eq!(saying.why.as_ref().unwrap().parts.len(), 3);
}

#[test]
fn typed_reasons_where_there_is_no_number() {
    let mut w = usual();
    w.session("2026-12-01", 60, 0);
    w.session("2026-12-02", 60, 5);
    let found = look(&w, 2);
    assert_eq!(found.next[1].load.as_ref().unwrap_err(), &Lack::NoEffort { sessions: 1 });
    assert_eq!(found.next[1].minutes.as_ref().unwrap().value, 120.0);
    // The last weeks were not heard of: nothing to compare with, the plan's own number stands.
    let mut w = usual();
    w.session("2026-12-02", 60, 5);
    w.heard = Some(day("2026-11-20"));
    let found = look(&w, 2);
    assert_eq!(found.next[1].load.as_ref().unwrap().value, 300.0);
    assert_eq!(found.next[1].against_last.as_ref().unwrap_err(), &Lack::Unheard { days: 3 });
}

#[test]
fn planned_kilograms_contacts_and_metres() {
    let mut w = usual();
    let squat = w.squat();
    let hop = w.exercise(Exercise {
        contacts: Small::new(2).ok(),
        impact: Some(Impact::Low),
        ..Exercise::new(name("Hop"), Pattern::Hop, Intent::Plyometric)
    });
    let run = w.exercise(Exercise::new(name("Fly"), Pattern::Sprint, Intent::Speed));
    let s = w.session("2026-12-01", 60, 5);
    w.item(&s, &squat, 3, "reps 3-5", "load 10000", "");
    let open = w.item(&s, &squat, 2, "reps 3", "max 800", "");
    w.item(&s, &hop, 4, "reps 6", "", "");
    w.item(&s, &run, 5, "dist 30000", "", "");
    let week = &look(&w, 2).next[1];
    // The upper end of the range: 3 x 5 x 100. Without a maximum the other sets have no load.
    let squats = &week.volume.tonnage[&Pattern::Squat];
    assert_eq!((squats.kg, squats.sets, squats.without_load), (1500.0, 5, 2));
    assert_eq!(week.unresolved, [(open, Missing::NoMaximum)]);
    assert_eq!((week.volume.contacts.low, week.volume.sprint_m), (48.0, 150.0));
}

#[test]
fn a_return_after_a_pause() {
    let mut w = World::new();
    let first = day("2026-10-05");
    for i in (0..28).filter(|i| i % 7 < 5) {
        w.free(&first.plus(i).to_string(), 5, 60);
    }
    w.session("2026-11-26", 40, 4);
    w.heard = Some(day(TODAY));
    let found = look(&w, 2);
    let saying = found.says.iter().find(|s| s.topic == Topic::Return).unwrap();
    // The last session was on 30 October; from 31 October to 24 November are 25 days.
    assert_eq!(
        saying.words,
        "25 days without a session, 2026-10-31 to 2026-11-24; the week of 2026-11-23 is the next that is planned"
    );
    assert_eq!(saying.caution, Caution::Return);
    // 26 days are known before the pause, which began on a Saturday: too few for four weeks.
    assert_eq!(saying.why.as_ref().unwrap_err().code(), "too-few");
    w.free("2026-10-03", 5, 60);
    let found = look(&w, 2);
    let why = found.says[0].why.as_ref().unwrap();
    assert_eq!((why.parts[0].value, why.parts[1].value), (160.0, (20.0 * 300.0 + 300.0) / 4.0));
    // Days that were not heard of are no pause.
    w.heard = Some(day("2026-11-02"));
    assert!(look(&w, 2).says.is_empty());
}
