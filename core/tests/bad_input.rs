//! What wrong input gets from types and commands: a typed error that says what and where, nothing
//! written, nothing lost, no panic. What wrong bytes get stands with the gate and the wire.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use std::collections::BTreeSet;

use backstraight_core::base::day::{Day, Month};
use backstraight_core::base::id::{ActorId, PersonId};
use backstraight_core::base::key::{Key, KeyMint};
use backstraight_core::base::moment::Moment;
use backstraight_core::doc::command::apply::CommandError;
use backstraight_core::doc::command::{Command, New, Scene, WorkOf};
use backstraight_core::doc::open::Document;
use backstraight_core::doc::place::Place;
use backstraight_core::doc::problem::Code;
use backstraight_core::model::any::AnyRecord;
use backstraight_core::model::care::{Assessment, Availability, Restriction};
use backstraight_core::model::log::{SessionDone, SetDone, Work};
use backstraight_core::model::name::DocName;
use backstraight_core::model::number::*;
use backstraight_core::model::packed::{Intensity, Lengths, Waves};
use backstraight_core::model::plan::*;
use backstraight_core::model::spec::{Field as _, Scalar};
use uuid::Uuid;

/// Noon of 2026-11-25 in UTC.
const NOW: Moment = Moment(1_795_608_000_000);

fn day(text: &str) -> Day {
    text.parse().unwrap()
}

fn open(name: DocName) -> Document {
    let mut doc = Document::create(name).unwrap();
    doc.write_as(ActorId([3; 16]));
    doc
}

fn log() -> Document {
    open(DocName::Log(PersonId(Uuid::from_u128(7)), Month::new(2026, 11).unwrap()))
}

fn plan() -> Document {
    let mut doc = open(DocName::Plan(PersonId(Uuid::from_u128(7)), SeasonNo::new(2027).unwrap()));
    let to = PlanAbout { from: Some(day("2026-10-05")), to: Some(day("2027-03-01")), ..PlanAbout::new() };
    let edit = Command::Edit { place: Place::main("about"), from: PlanAbout::new().into(), to: to.into() };
    doc.apply(&edit, &Scene { now: NOW, exercises: None }).unwrap();
    doc
}

fn name(text: &str) -> Name {
    Text::new(text).unwrap()
}

fn add(place: Place, record: impl Into<AnyRecord>) -> Command {
    Command::Add(vec![New { place, record: record.into() }])
}

/// The command is refused with these codes, and the document is as it was.
fn refused(doc: &mut Document, command: &Command, scene: &Scene<'_>, codes: &[Code]) {
    let before = doc.save();
    match doc.apply(command, scene) {
        Err(CommandError::Problems(list)) => {
            let found: Vec<Code> = list.iter().map(|p| p.code).collect();
            assert_eq!(found, codes, "{list:?}");
            assert!(list.iter().all(|p| !p.text.is_empty()), "every problem says what");
        }
        other => panic!("{other:?}"),
    }
    assert_eq!(doc.save(), before, "nothing may be written");
}

#[test]
fn numbers_that_no_bar_and_no_body_can_be() {
    assert!(Load::new(-1).is_err() && Load::new(0).is_ok());
    assert!(Load::new(100_000).is_ok() && Load::new(100_001).is_err());
    assert!(Reps::new(300).is_ok() && Reps::new(301).is_err() && Reps::new(400).is_err());
    assert!(Speeds::new(vec![10_000]).is_ok() && Speeds::new(vec![10_001]).is_err());
    assert!(Speeds::new(vec![40_000]).is_err(), "40 m/s");
    for mm_s in [vec![], vec![0], vec![620, 588, 541, 0, 10_000, 10_000, 0], vec![512; 300]] {
        let speeds = Speeds::new(mm_s).unwrap();
        assert!(Speeds::KIND.admits(&speeds.to_scalar()));
        assert_eq!(Speeds::from_scalar(&speeds.to_scalar()), Some(speeds));
    }
    for bytes in
        [&[1][..], &[1, 0, 0x7e], &[0, 0x28], &[0, 0, 0x80], &[0, 0, 0xff, 0xff, 0xff, 0xff, 0xff, 1]]
    {
        assert_eq!(Speeds::from_scalar(&Scalar::Bytes(bytes.to_vec())), None, "{bytes:?}");
    }
    assert!(Speeds::new(vec![500; 300]).is_ok() && Speeds::new(vec![500; 301]).is_err());
    assert_eq!(Load::new(100_001).unwrap_err().to_string(), "load must be 0 to 100000 x 10 g, not 100001");
    assert!(Effort::new(100).is_ok() && Effort::new(101).is_err());
    assert!(Text::<5>::new("12345").is_ok() && Text::<5>::new("123456").is_err());
    assert!(Text::<5>::new("a\u{7}b").is_err() && Text::<5>::new("a\nb").is_ok());
}

#[test]
fn an_exercise_that_the_library_does_not_have() {
    let mut mint = KeyMint::new([1, 2, 3, 4]);
    let (known, unknown) = (mint.mint(), mint.mint());
    let library = BTreeSet::from([known.clone()]);
    let scene = Scene { now: NOW, exercises: Some(&library) };
    let mut doc = log();
    let session = mint.mint();
    doc.apply(&add(Place::of("sessions", &session), SessionDone::new(day("2026-11-25"), NOW)), &scene)
        .unwrap();
    let set = Box::new(SetDone { reps: Reps::new(5).ok(), ..SetDone::new(NOW) });
    let with = |work: Key, ex: &Key, key: Key| Command::LogSet {
        session: session.clone(),
        work: WorkOf::New(work, Box::new(Work::new(ex.clone()))),
        key,
        set: set.clone(),
    };
    let (work, key) = (mint.mint(), mint.mint());
    refused(&mut doc, &with(work.clone(), &unknown, key.clone()), &scene, &[Code::UnknownExercise]);
    // Without a library at hand nobody is kept from logging.
    doc.apply(&with(work, &unknown, key), &Scene { now: NOW, exercises: None }).unwrap();
    doc.apply(&with(mint.mint(), &known, mint.mint()), &scene).unwrap();
}

#[test]
fn days_outside_the_season_and_in_another_month() {
    let mut mint = KeyMint::new([9, 9, 9, 9]);
    let scene = Scene { now: NOW, exercises: None };
    let mut doc = plan();
    for date in ["2026-10-04", "2027-03-02"] {
        let command = add(Place::of("sessions", &mint.mint()), Session::new(day(date), name("Strength")));
        refused(&mut doc, &command, &scene, &[Code::OutsideSeason]);
    }
    for date in ["2026-10-05", "2027-03-01"] {
        let command = add(Place::of("sessions", &mint.mint()), Session::new(day(date), name("Strength")));
        doc.apply(&command, &scene).unwrap();
    }
    let phase = Phase::new(name("Build"), day("2026-11-10"), day("2026-11-09"), Aim::General);
    refused(&mut doc, &add(Place::of("phases", &mint.mint()), phase), &scene, &[Code::Contradiction]);
    let week = Week::new(day("2026-11-24"));
    refused(&mut doc, &add(Place::of("weeks", &mint.mint()), week), &scene, &[Code::Contradiction]);

    let mut doc = log();
    let december = SessionDone::new(day("2026-12-01"), NOW.plus_ms(6 * 86_400_000));
    refused(&mut doc, &add(Place::of("sessions", &mint.mint()), december), &scene, &[Code::WrongMonth]);
    let elsewhere = SessionDone::new(day("2026-11-20"), NOW);
    refused(&mut doc, &add(Place::of("sessions", &mint.mint()), elsewhere), &scene, &[Code::Contradiction]);
}

#[test]
fn a_key_that_exists_and_a_record_that_does_not() {
    let mut mint = KeyMint::new([5, 5, 5, 5]);
    let scene = Scene { now: NOW, exercises: None };
    let mut doc = log();
    let (session, work, first) = (mint.mint(), mint.mint(), mint.mint());
    let begin = add(Place::of("sessions", &session), SessionDone::new(day("2026-11-25"), NOW));
    doc.apply(&begin, &scene).unwrap();
    refused(&mut doc, &begin, &scene, &[Code::KeyTaken]);
    let set = Box::new(SetDone { reps: Reps::new(5).ok(), ..SetDone::new(NOW) });
    let log_set = |work: WorkOf, key: &Key| Command::LogSet {
        session: session.clone(),
        work,
        key: key.clone(),
        set: set.clone(),
    };
    let ex = mint.mint();
    doc.apply(&log_set(WorkOf::New(work.clone(), Box::new(Work::new(ex))), &first), &scene).unwrap();
    refused(&mut doc, &log_set(WorkOf::Open(work.clone()), &first), &scene, &[Code::KeyTaken]);
    refused(&mut doc, &log_set(WorkOf::Open(mint.mint()), &mint.mint()), &scene, &[Code::NotFound]);
    let wrong = Command::CorrectSet {
        session: session.clone(),
        work: work.clone(),
        earlier: first,
        key: mint.mint(),
        set: set.clone(),
    };
    refused(&mut doc, &wrong, &scene, &[Code::Contradiction]);
    let nothing = Command::LogSet {
        session: session.clone(),
        work: WorkOf::Open(work),
        key: mint.mint(),
        set: Box::new(SetDone::new(NOW)),
    };
    refused(&mut doc, &nothing, &scene, &[Code::NoChange]);
    refused(&mut doc, &Command::Withdraw(vec![]), &scene, &[Code::NoChange]);
    let nowhere = Command::Withdraw(vec![Place::of("sessions", &mint.mint())]);
    refused(&mut doc, &nowhere, &scene, &[Code::NotFound]);
    let early =
        Command::Close { session, ended: NOW.plus_ms(-1000), minutes: None, effort: None, comment: None };
    refused(&mut doc, &early, &scene, &[Code::Contradiction]);
}

#[test]
fn a_clock_set_to_1970_or_2090() {
    let mut mint = KeyMint::new([6, 6, 6, 6]);
    let mut doc = log();
    for (clock, codes) in [
        (Moment(0), &[Code::WrongClock][..]),
        (Moment(3_786_912_000_000), &[Code::WrongClock, Code::Contradiction]),
    ] {
        let command = add(Place::of("sessions", &mint.mint()), SessionDone::new(day("2026-11-25"), clock));
        refused(&mut doc, &command, &Scene { now: clock, exercises: None }, codes);
    }
    assert!(Moment::EARLIEST.plausible() && !Moment::EARLIEST.plus_ms(-1).plausible());
    assert!(Moment::LATEST.plausible() && !Moment::LATEST.plus_ms(1).plausible());
}

#[test]
fn a_record_in_a_document_that_is_not_for_it() {
    let mut mint = KeyMint::new([7, 7, 7, 7]);
    let scene = Scene { now: NOW, exercises: None };
    let mut doc = log();
    let session = Session::new(day("2026-11-25"), name("Strength"));
    refused(&mut doc, &add(Place::of("sessions", &mint.mint()), session), &scene, &[Code::WrongDocument]);
    let mut doc = plan();
    let group = Group::new(mint.mint(), Text::new("a").unwrap(), Form::Single);
    refused(&mut doc, &add(Place::of("groups", &mint.mint()), group), &scene, &[Code::NotFound]);
    let about = add(Place::of("about", &mint.mint()), PlanAbout::new());
    refused(&mut doc, &about, &scene, &[Code::WrongDocument]);
    let withdraw = Command::Withdraw(vec![Place::main("about")]);
    refused(&mut doc, &withdraw, &scene, &[Code::WrongDocument]);
}

#[test]
fn a_prescription_that_contradicts_itself_says_every_contradiction() {
    let mut mint = KeyMint::new([8, 8, 8, 8]);
    let scene = Scene { now: NOW, exercises: None };
    let mut doc = plan();
    let (session, group, key) = (mint.mint(), mint.mint(), mint.mint());
    let jumps = Session::new(day("2026-11-25"), name("Jumps"));
    doc.apply(&add(Place::of("sessions", &session), jumps), &scene).unwrap();
    let single = Group::new(session, Text::new("a").unwrap(), Form::Single);
    doc.apply(&add(Place::of("groups", &group), single), &scene).unwrap();
    let item = |p: Prescription| add(Place::of("items", &key), p);
    let bare = Prescription::new(group, Text::new("a").unwrap(), mint.mint(), Count::new(3).unwrap());
    let wrong = Prescription {
        spacing: Some(Spacing::CloseFar),
        gaps: Some("1000".parse::<Lengths>().unwrap()),
        waves: Some("reps 5@;reps 3@".parse::<Waves>().unwrap()),
        band: Some(Intensity::Load(Load::new(100).unwrap())),
        ..bare.clone()
    };
    refused(&mut doc, &item(wrong), &scene, &[Code::Contradiction; 3]);
    for (spacing, hurdles, gaps, fits) in [
        (Some(Spacing::Even), None, "1000", true),
        (Some(Spacing::Even), None, "1000,1200", false),
        (Some(Spacing::CloseFar), None, "1000,1400", true),
        (Some(Spacing::CloseFar), None, "1000,1400,1000", false),
        (Some(Spacing::Listed), Some(4), "1000,1100,1200", true),
        (Some(Spacing::Listed), Some(4), "1000,1100", false),
        (None, None, "1000", true),
        (None, None, "1000,1100", false),
    ] {
        let p = Prescription {
            spacing,
            hurdles: hurdles.and_then(|n| Small::new(n).ok()),
            gaps: Some(gaps.parse().unwrap()),
            ..bare.clone()
        };
        assert_eq!(doc.problems(&item(p), &scene).is_empty(), fits, "{spacing:?} {gaps}");
    }
}

#[test]
fn care_staff_are_told_what_does_not_fit() {
    let (who, by) = (PersonId(Uuid::from_u128(7)), PersonId(Uuid::from_u128(8)));
    let scene = Scene { now: NOW, exercises: None };
    let mut mint = KeyMint::new([4; 4]);
    let mut doc = open(DocName::Availability(who));
    let said = |level| Availability::new(NOW, by, day("2026-11-25"), level);
    let avoid: Option<Text<200>> = Text::new("jumps").ok();
    let mut place = || Place::of("availability", &mint.mint());
    let modified = add(place(), said(Available::Modified));
    refused(&mut doc, &modified, &scene, &[Code::Contradiction]);
    let full = add(place(), Availability { avoid: avoid.clone(), ..said(Available::Full) });
    refused(&mut doc, &full, &scene, &[Code::Contradiction]);
    let back = Availability { until: Some(day("2026-11-24")), ..said(Available::No) };
    refused(&mut doc, &add(place(), back), &scene, &[Code::Contradiction]);
    let early = Availability::new(Moment(0), by, day("2026-11-25"), Available::No);
    refused(&mut doc, &add(place(), early), &scene, &[Code::WrongClock]);
    let wrong = add(place(), Assessment::new(NOW, by, Text::new("x").unwrap()));
    refused(&mut doc, &wrong, &scene, &[Code::WrongDocument]);
    let day_long = Availability { until: Some(day("2026-11-25")), avoid, ..said(Available::Modified) };
    let fine = place();
    doc.apply(&add(fine.clone(), day_long), &scene).unwrap();
    // An edit is held to the same.
    let from = doc.record::<Availability>(&fine).unwrap().unwrap().record;
    let to = Availability { avoid: None, ..from.clone() };
    let edit = Command::Edit { place: fine, from: from.into(), to: to.into() };
    refused(&mut doc, &edit, &scene, &[Code::Contradiction]);
    let mut notes = open(DocName::CareNotes(who));
    let restriction = Restriction {
        assessment: Some(mint.mint()),
        until: Some(day("2026-11-01")),
        ..Restriction::new(NOW, by, day("2026-11-25"), Text::new("deep knee bends").unwrap())
    };
    let at = Place::of("restrictions", &mint.mint());
    refused(&mut notes, &add(at, restriction), &scene, &[Code::Contradiction, Code::NotFound]);
}
