//! Tests of fields as text.

use super::*;
use crate::parse::Masses;
use backstraight_core::model::number::{Count, Form};

fn key(n: u32) -> Key {
    format!("abcdef-{n}").parse().unwrap()
}

fn item() -> Prescription {
    Prescription::new(key(1), Text::new("i").unwrap(), key(2), Count::new(3).unwrap())
}

fn with<T>(f: impl FnOnce(Names<'_>) -> T) -> T {
    f(Names { key: &|_| None, name: &|k: &Key| k.to_string(), masses: Masses::Kilograms })
}

fn read(field: OfItem, text: &str) -> Read<Prescription> {
    with(|names| read_item(&item(), field, text, names))
}

const TYPED: [(OfItem, &str); 24] = [
    (OfItem::Sets, "4"),
    (OfItem::Dose, "8-10"),
    (OfItem::Intensity, "82.5%"),
    (OfItem::Rest, "3:00"),
    (OfItem::Pause, "2"),
    (OfItem::PauseAt, "at the bottom"),
    (OfItem::Tempo, "3-1-1"),
    (OfItem::Range, "to parallel"),
    (OfItem::Stance, "narrow"),
    (OfItem::Implement, "trap bar"),
    (OfItem::Hurdles, "6"),
    (OfItem::Height, "76.2"),
    (OfItem::Gaps, "1 / 1.4 m"),
    (OfItem::Lateral, "-30 30"),
    (OfItem::Contacts, "12"),
    (OfItem::Steps, "3"),
    (OfItem::UnitGap, "8.5"),
    (OfItem::RunUp, "10"),
    (OfItem::Surface, "grass"),
    (OfItem::Band, "0.5-0.65 m/s"),
    (OfItem::StopLoss, "20"),
    (OfItem::Cue, "quick off the floor"),
    (OfItem::Rule, "+2.5 kg, every 4 weeks 90%"),
    (OfItem::Note, "stop early when tired"),
];

#[test]
fn every_field_of_a_prescription_survives_and_is_emptied_alone() {
    assert_eq!(TYPED.map(|(f, _)| f).as_slice(), OfItem::ALL);
    let mut all = item();
    for (field, text) in TYPED {
        all = with(|names| read_item(&all, field, text, names)).unwrap_or_else(|e| panic!("{text}: {e}"));
    }
    for (field, text) in TYPED {
        assert_eq!(with(|names| print_item(&all, field, names)), text);
        if field == OfItem::Sets {
            assert!(read(field, "").is_err());
            continue;
        }
        let less = with(|names| read_item(&all, field, " ", names)).unwrap();
        for (other, text) in TYPED {
            let expected = if other == field { "" } else { text };
            assert_eq!(with(|names| print_item(&less, other, names)), expected, "{field:?} {other:?}");
        }
    }
}

#[test]
fn gaps_say_how_they_stand() {
    for (text, spacing, n) in [
        ("1.2 m", Spacing::Even, 1),
        ("1 / 1.4 m", Spacing::CloseFar, 2),
        ("1; 1.2; 1.1 m", Spacing::Listed, 3),
    ] {
        let p = read(OfItem::Gaps, text).unwrap();
        assert_eq!((p.spacing, p.gaps.as_ref().map(|g| g.0.len())), (Some(spacing), Some(n)));
        assert_eq!(print_gaps(&p), text);
    }
    assert_eq!(read(OfItem::Gaps, "1; 1.2; 1.1").unwrap().hurdles.map(Small::get), Some(4));
    assert!(read(OfItem::Gaps, "1 / 1.2 / 1.4").is_err());
    assert!(read(OfItem::Gaps, "far").is_err());
}

#[test]
fn rules_are_typed_as_they_are_said() {
    for (text, packed) in [
        ("+2.5 kg", "load 250"),
        ("+2.5 kg, every 4 weeks 90%", "load 250 easy 4 900"),
        ("+2.5%", "share 25"),
        ("+2.5%, every 3 weeks 85%", "share 25 easy 3 850"),
        ("6-10 reps then +2.5 kg", "reps 6-10 load 250"),
        ("0.5-0.65 m/s then 2.5 kg", "speed 500-650 load 250"),
        ("table reps 5@max 750;reps 3@max 825", "table reps 5@max 750;reps 3@max 825"),
    ] {
        let rule = rule(text).unwrap().unwrap();
        assert_eq!((rule.to_string().as_str(), print_rule(&rule).as_str()), (packed, text));
    }
    for text in
        ["more", "+2.5", "+2.5 kg, every 1 weeks 90%", "10-6 reps then +2.5 kg", "table", "then", "é%"]
    {
        assert!(rule(text).is_err(), "{text}");
    }
}

#[test]
fn sessions_and_groups_survive_their_fields() {
    let mut s = Session::new("2026-11-23".parse().unwrap(), Text::new("A").unwrap());
    let typed = ["Legs", "2026-11-24", "18:30", "75", "7.5", "speed of the bar", "bring spikes"];
    for (field, text) in OfSession::ALL.iter().zip(typed) {
        s = read_session(&s, *field, text).unwrap();
        assert_eq!(print_session(&s, *field), text);
    }
    assert!(read_session(&s, OfSession::Title, " ").is_err());
    assert!(read_session(&s, OfSession::Day, "").is_err());
    assert_eq!(read_session(&s, OfSession::Effort, "").unwrap().effort, None);
    let mut g = Group::new(key(1), Text::new("i").unwrap(), Form::Circuit);
    for (field, text) in OfGroup::ALL.iter().zip(["3", "2:00", "20", "quickly"]) {
        g = read_group(&g, *field, text).unwrap();
        assert_eq!(print_group(&g, *field), text);
    }
    assert_eq!(read_group(&g, OfGroup::Rounds, "").unwrap().rounds, None);
    assert!(read_group(&g, OfGroup::Rounds, "0").is_err());
}

#[test]
fn a_key_is_turned_on_and_off() {
    let one = turned(None, &key(1)).unwrap();
    let two = turned(Some(&one), &key(2)).unwrap();
    assert_eq!(two.0, [key(1), key(2)]);
    assert_eq!(turned(Some(&two), &key(1)).unwrap().0, [key(2)]);
    assert_eq!(turned(Some(&one), &key(1)), None);
}
