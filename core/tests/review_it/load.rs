//! Load by week, worked by hand.

use backstraight_core::model::number::*;
use backstraight_core::model::plan::*;
use backstraight_core::view::library::Library;
use backstraight_core::view::load::{Known, last_heavy};
use backstraight_core::view::maxima::Maxima;
use backstraight_core::view::why::Lack;
use backstraight_core::view::{marks, speed};

use crate::world::*;
use backstraight_core::base::moment::Moment;
use backstraight_core::model::log::{CheckIn, SetDone, Trial};

fn near(a: f64, b: f64) {
    assert!((a - b).abs() < 1e-6, "{a} is not {b}");
}

/// The week of the formula's own example: 450, 300, 0, 540, 240, 600, 0.
fn example_week(w: &mut World) {
    for (date, effort, minutes) in [
        ("2026-11-16", 6, 75),
        ("2026-11-17", 5, 60),
        ("2026-11-19", 6, 90),
        ("2026-11-20", 4, 60),
        ("2026-11-21", 8, 75),
    ] {
        w.free(date, effort, minutes);
    }
}

#[test]
fn the_example_of_a_week() {
    let mut w = World::new();
    example_week(&mut w);
    w.heard = Some(day("2026-11-23"));
    let week = &w.weeks("2026-11-16", "2026-11-22", "2026-11-24")[0];
    assert!(week.complete);
    near(week.load.value, 2130.0);
    assert_eq!((week.load.why.formula, week.load.why.parts.len()), ("load.day", 5));
    // Mean 304.285714 over a spread of 242.752078.
    let monotony = week.monotony.as_ref().unwrap();
    near(monotony.value, 1.253_483);
    assert_eq!((monotony.why.formula, monotony.why.parts.len()), ("load.monotony_strain", 7));
    assert!((week.strain.as_ref().unwrap().value - 2669.9198).abs() < 1e-3);
    assert_eq!(
        week.fading_28.as_ref().unwrap_err(),
        &Lack::TooFew { what: "known days in a row", have: 7, need: 28 }
    );
    assert!(week.fading_7.is_ok());
}

#[test]
fn an_unheard_day_is_no_rest_day() {
    let mut w = World::new();
    example_week(&mut w);
    // Heard on Sunday itself: the evening of Sunday is not known.
    w.heard = Some(day("2026-11-22"));
    let week = &w.weeks("2026-11-16", "2026-11-22", "2026-11-24")[0];
    assert_eq!((week.complete, week.unheard_days), (false, 1));
    near(week.load.value, 2130.0);
    assert_eq!(week.monotony, Err(Lack::Unheard { days: 1 }));
    assert_eq!(week.fading_7.as_ref().unwrap_err(), &Lack::Unheard { days: 1 });
    // Nothing heard at all: the sum of what is known stands, and says so.
    w.heard = None;
    let week = &w.weeks("2026-11-16", "2026-11-22", "2026-11-24")[0];
    assert_eq!((week.complete, week.unheard_days), (false, 7));
    // The present week is not over.
    w.heard = Some(day("2026-11-24"));
    let week = &w.weeks("2026-11-23", "2026-11-29", "2026-11-25")[0];
    assert_eq!(week.days.iter().filter(|d| d.known == Known::Open).count(), 5);
    assert_eq!(week.monotony, Err(Lack::Unheard { days: 1 }));
    w.heard = Some(day("2026-11-25"));
    let week = &w.weeks("2026-11-23", "2026-11-29", "2026-11-25")[0];
    assert_eq!(week.monotony, Err(Lack::StillToCome { days: 5 }));
}

#[test]
fn a_session_without_effort_gives_no_number() {
    let mut w = World::new();
    example_week(&mut w);
    w.free("2026-11-18", 0, 40);
    w.heard = Some(day("2026-11-23"));
    let week = &w.weeks("2026-11-16", "2026-11-22", "2026-11-24")[0];
    assert_eq!((week.complete, week.without_effort), (false, 1));
    near(week.load.value, 2130.0);
    assert_eq!(week.monotony, Err(Lack::NoEffort { sessions: 1 }));
}

#[test]
fn four_weeks_of_300_and_one_of_600() {
    let mut w = World::new();
    let first = day("2026-10-26");
    for i in 0..28 {
        let date = first.plus(i).to_string();
        w.free(&date, 5, if i < 21 { 60 } else { 120 });
    }
    w.heard = Some(day("2026-11-23"));
    let weeks = w.weeks("2026-10-26", "2026-11-22", "2026-11-24");
    let last = weeks.last().unwrap();
    // The published derivation of the formula: 559.954834, 418.079509, ratio 1.339350; coupled
    // 1.6, uncoupled 2.
    near(last.fading_7.as_ref().unwrap().value, 559.954_834);
    near(last.fading_28.as_ref().unwrap().value, 418.079_509);
    let ratios = last.ratios.as_ref().unwrap();
    near(ratios.value.ewma_ratio, 1.339_350);
    near(ratios.value.uncoupled.unwrap(), 2.0);
    // Equal days have no monotony.
    assert!(matches!(last.monotony, Err(Lack::Refused { .. })));
    assert_eq!(weeks[0].ratios.as_ref().unwrap_err().code(), "too-few");
}

#[test]
fn kilograms_contacts_and_metres() {
    let mut w = World::new();
    let squat = w.squat();
    let lunge = w.exercise(Exercise {
        sides: Some(Sides::Each),
        ..Exercise::new(name("Split squat"), Pattern::Lunge, Intent::Strength)
    });
    let hop = w.exercise(Exercise {
        contacts: Small::new(1).ok(),
        impact: Some(Impact::Medium),
        ..Exercise::new(name("Hurdle hop"), Pattern::Jump, Intent::Plyometric)
    });
    let drop = w.exercise(Exercise {
        contacts: Small::new(1).ok(),
        impact: Some(Impact::High),
        ..Exercise::new(name("Drop jump"), Pattern::Jump, Intent::Plyometric)
    });
    let run = w.exercise(Exercise::new(name("Fly"), Pattern::Sprint, Intent::Speed));
    let jog = w.exercise(Exercise::new(name("Tempo"), Pattern::Sprint, Intent::Endurance));
    let s = w.free("2026-11-17", 5, 60);
    let metres = |m: i64| SetDone { dist: Length::new(m * 1000).ok(), ..SetDone::new(Moment(0)) };
    let date = "2026-11-17";
    w.sets(date, &s, None, &squat, vec![set(100, 5), set(100, 5), set(100, 5)]);
    w.sets(date, &s, None, &lunge, vec![set(40, 6), SetDone { side: Some(Side::Left), ..set(40, 6) }]);
    w.sets(date, &s, None, &squat, vec![SetDone { load: None, ..set(0, 5) }]);
    w.sets(date, &s, None, &hop, vec![SetDone { load: None, ..set(0, 6) }; 4]);
    w.sets(date, &s, None, &drop, vec![SetDone { contacts: Reps::new(5).ok(), ..SetDone::new(Moment(0)) }]);
    w.sets(date, &s, None, &drop, vec![metres(1)]);
    w.sets(date, &s, None, &run, vec![metres(30), metres(30)]);
    w.sets(date, &s, None, &jog, vec![metres(200)]);
    let week = &w.weeks("2026-11-16", "2026-11-22", "2026-11-24")[0];
    let v = &week.volume;
    // 3 x 5 x 100 = 1,500; the set without a load is not a set of nothing.
    let squats = &v.tonnage[&Pattern::Squat];
    assert_eq!((squats.kg, squats.sets, squats.without_load), (1500.0, 4, 1));
    // 6 a side at 40 kg are 480; the set of the left side alone 240.
    assert_eq!(v.tonnage[&Pattern::Lunge].kg, 720.0);
    assert_eq!((v.contacts.medium, v.contacts.high, v.contacts.unknown_sets), (24.0, 5.0, 1));
    assert_eq!(v.jump_exposure(), (29.0, 1));
    assert_eq!((v.sprint_m, v.run_m, v.sprint_days), (60.0, 200.0, 1));
    let why = v.why_kg(Pattern::Squat, &Library::of(&w.library));
    assert_eq!((why.formula, why.parts[0].value, why.parts[1].value), ("volume.load", 1500.0, 1.0));
    assert_eq!(v.why_contacts().formula, "volume.contacts");
}

#[test]
fn when_something_heavy_was_lifted() {
    let mut w = World::new();
    let squat = w.squat();
    let test = w.protocol(Protocol {
        ex: Some(squat.clone()),
        ..Protocol::new(name("Squat max"), Measure::Load, Better::Higher)
    });
    let tested = day("2026-11-01");
    let trial = Trial { value: Value::new(120_000).ok(), ..Trial::new(tested, noon(tested), test) };
    w.log_record("trials", tested, trial);
    for (date, kg) in [("2026-11-10", 102), ("2026-11-17", 101)] {
        let s = w.free(date, 5, 60);
        w.sets(date, &s, None, &squat, vec![set(kg, 3)]);
    }
    w.heard = Some(day("2026-11-20"));
    let (library, done, today) = (Library::of(&w.library), w.done(), day("2026-11-24"));
    let maxima = Maxima::of(&done, &library, today);
    // 102 / 120 = 0.85 is heavy, 101 is not.
    let heavy = last_heavy(&done, &library, &maxima, w.heard, today).unwrap();
    assert_eq!((heavy.on, heavy.days, heavy.unheard_days), (day("2026-11-10"), 14, 4));
    near(heavy.why.parts[2].value, 0.85);
    // Without any maximum the effort decides: 9 of 10 over at most five repetitions.
    let mut w = World::new();
    let squat = w.squat();
    let s = w.free("2026-11-10", 5, 60);
    w.sets("2026-11-10", &s, None, &squat, vec![SetDone { effort: Effort::new(90).ok(), ..set(60, 6) }]);
    let (library, done) = (Library::of(&w.library), w.done());
    let none = Maxima::default();
    assert_eq!(
        last_heavy(&done, &library, &none, None, today).unwrap_err(),
        Lack::Nothing { what: "heavy set" }
    );
    w.sets("2026-11-10", &s, None, &squat, vec![SetDone { effort: Effort::new(90).ok(), ..set(80, 5) }]);
    assert!(last_heavy(&w.done(), &library, &none, None, today).is_ok());
}

#[test]
fn bar_speed_at_the_same_load() {
    let mut w = World::new();
    let squat = w.squat();
    let lift = |w: &mut World, date: &str, mm_s: u16| {
        let s = w.free(date, 5, 60);
        let slower = vec![mm_s - 50, mm_s];
        w.sets(date, &s, None, &squat, vec![SetDone { speeds: Speeds::new(slower).ok(), ..set(80, 2) }]);
    };
    for (date, v) in [("2026-11-02", 700), ("2026-11-05", 720), ("2026-11-09", 690), ("2026-11-12", 710)] {
        lift(&mut w, date, v);
    }
    let trends = speed::trends(&w.done(), day("2026-11-24"));
    assert_eq!(
        trends[0].change.as_ref().unwrap_err(),
        &Lack::TooFew { what: "earlier days at this load", have: 3, need: 4 }
    );
    assert!(trends[0].line.is_ok());
    // Differences of following days 20, -30, 20 mm/s: spread 28.87, typical error 20.41. The band is
    // 1.96 x 1.414 x 20.41 = 56.6 around the median 705.
    lift(&mut w, "2026-11-16", 650);
    let change = speed::trends(&w.done(), day("2026-11-24"))[0].change.clone().unwrap();
    near(change.before, 0.705);
    assert!((change.noise - 0.020_412).abs() < 1e-6);
    assert!(!change.beyond_noise, "55 mm/s are within it");
    let mut slower = World::new();
    let squat = slower.squat();
    for (date, v) in [
        ("2026-11-02", 700),
        ("2026-11-05", 720),
        ("2026-11-09", 690),
        ("2026-11-12", 710),
        ("2026-11-16", 648),
    ] {
        let s = slower.free(date, 5, 60);
        let speeds = Speeds::new(vec![v]).ok();
        slower.sets(date, &s, None, &squat, vec![SetDone { speeds, ..set(80, 2) }]);
    }
    let change = speed::trends(&slower.done(), day("2026-11-24"))[0].change.clone().unwrap();
    assert!(change.beyond_noise && change.reading == "lower, beyond noise");
}

#[test]
fn hops_give_reactive_strength_and_stiffness() {
    let mut w = World::new();
    let test = w.protocol(Protocol::new(name("Hops"), Measure::Hops, Better::Higher));
    let date = day("2026-11-10");
    let ms = |list: &[i64]| {
        backstraight_core::model::packed::Times(list.iter().map(|t| Duration::new(*t).unwrap()).collect())
    };
    let trial =
        Trial { flights: Some(ms(&[444])), touches: Some(ms(&[180])), ..Trial::new(date, noon(date), test) };
    w.log_record("trials", date, trial);
    let (library, none) = (Library::of(&w.library), marks::Noises::default());
    let all = marks::series(&w.done(), &library, &none, day("2026-11-24"));
    // 9.80665 x 0.444^2 / 8 / 0.180.
    near(all[0].days[0].value, 9.806_65 * 0.444 * 0.444 / 8.0 / 0.180);
    assert_eq!(all[1].unread[0].1, Lack::Nothing { what: "body mass" });
    let weighed = CheckIn { mass: BodyMass::new(7500).ok(), ..CheckIn::new(date, noon(date)) };
    w.log_record("checkins", date, weighed);
    let all = marks::series(&w.done(), &library, &none, day("2026-11-24"));
    // The formula's own example: 75 kg, 0.180 s, 0.444 s give 29,538.455 N/m.
    assert!((all[1].days[0].value - 29_538.455).abs() < 1e-3);
    assert_eq!(all[1].days[0].formula, Some("stiff.dalleau"));
    assert_eq!(all[0].noise.as_ref().unwrap_err().code(), "nothing");
    let (done, protocol) = (w.done(), library.protocols.values().next().unwrap());
    let reckoned = |read| {
        let mass = |day| marks::mass_on(&done, day);
        marks::reckoned(&done.trials[0], &protocol.record, &mass, read).unwrap()
    };
    let why = reckoned(marks::Reading::Stiffness);
    let parts: Vec<_> = why.parts.iter().map(|p| (p.name.as_str(), p.value)).collect();
    assert_eq!(parts[..3], [("body mass", 75.0), ("hop 1, flight", 0.444), ("hop 1, contact", 0.18)]);
    near(why.parts[3].value, 9.806_65 * 0.444 * 0.444 / 8.0);
    assert_eq!(why.caution, Some(backstraight_core::science::Caution::JumpExposure));
    assert_eq!(reckoned(marks::Reading::Result).parts[0].name, "hop 1, flight");
}
