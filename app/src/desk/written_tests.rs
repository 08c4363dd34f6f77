//! Tests of the one-line form of a prescription.

use super::*;
use backstraight_core::model::number::{Effort, Length, Load, Reps, Reserve, Speed};

fn squat() -> Key {
    "abcdef-1".parse().unwrap()
}

fn with<T>(masses: Masses, f: impl FnOnce(Names<'_>) -> T) -> T {
    let key = |text: &str| text.eq_ignore_ascii_case("back squat, high bar").then(squat);
    let name = |_: &Key| "Back squat, high bar".to_owned();
    f(Names { key: &key, name: &name, masses })
}

fn read(text: &str) -> Got<Line> {
    with(Masses::Kilograms, |names| Line::read(text, names))
}

fn print(line: &Line) -> String {
    with(Masses::Kilograms, |names| line.print(names))
}

fn reps(n: i64) -> Dose {
    Dose::Reps(Reps::new(n).unwrap(), Reps::new(n).unwrap())
}

fn share(n: i64) -> Share {
    Share::new(n).unwrap()
}

#[test]
fn what_coaches_write_is_read() {
    let line = read("3x5 @ 82.5%").unwrap();
    assert_eq!((line.sets.get(), line.dose), (3, Some(reps(5))));
    assert_eq!(line.intensity, Some(Intensity::OfMax(share(825), None)));
    assert_eq!(read("3 x 5 @82,5 %").unwrap(), line);
    assert_eq!(read("3×5 @ 82.5% of max").unwrap(), line);
    assert_eq!(read("3x5reps @ 82.5%").unwrap(), line);
    let line = read("4x8–10 @ 2 in reserve, rest 2 min").unwrap();
    assert_eq!(line.dose, Some(Dose::Reps(Reps::new(8).unwrap(), Reps::new(10).unwrap())));
    assert_eq!(line.intensity, Some(Intensity::Reserve(Reserve::new(20).unwrap())));
    assert_eq!(line.rest.unwrap().get(), 120);
}

#[test]
fn every_dose_is_read() {
    let seconds = |s: i64| Duration::new(s * 1000).unwrap();
    for (text, dose) in [
        ("3x5", reps(5)),
        ("3x6 each", Dose::RepsPerSide(Reps::new(6).unwrap())),
        ("3x6/side", Dose::RepsPerSide(Reps::new(6).unwrap())),
        ("3x6 reps each side", Dose::RepsPerSide(Reps::new(6).unwrap())),
        ("3x30 s", Dose::Hold(seconds(30))),
        ("3x1 min", Dose::Hold(seconds(60))),
        ("3x1:30 s", Dose::Hold(seconds(90))),
        ("3x20s each", Dose::HoldPerSide(seconds(20))),
        ("3x60 m", Dose::Distance(Length::new(60_000).unwrap())),
        ("3x40cm", Dose::Distance(Length::new(400).unwrap())),
        ("3x10 contacts", Dose::Contacts(Reps::new(10).unwrap())),
        ("3x limit", Dose::ToLimit),
    ] {
        assert_eq!(read(text).map(|l| (l.sets.get(), l.dose)), Ok((3, Some(dose))), "{text}");
    }
    assert_eq!(read("3 sets").map(|l| (l.sets.get(), l.dose)), Ok((3, None)));
    assert_eq!(read("3x").map(|l| (l.sets.get(), l.dose)), Ok((3, None)));
}

#[test]
fn every_intensity_is_read() {
    for (text, hard) in [
        ("80 kg", Intensity::Load(Load::new(8_000).unwrap())),
        ("82,5kg", Intensity::Load(Load::new(8_250).unwrap())),
        ("100 lb", Intensity::Load(Load::new(4_536).unwrap())),
        ("75% of Back squat, high bar", Intensity::OfMax(share(750), Some(squat()))),
        ("50% body", Intensity::OfMass(share(500))),
        ("50% of body mass", Intensity::OfMass(share(500))),
        ("95% best", Intensity::OfBest(share(950))),
        ("effort 8", Intensity::Effort(Effort::new(80).unwrap())),
        ("Effort 7½", Intensity::Effort(Effort::new(75).unwrap())),
        ("1.5 left", Intensity::Reserve(Reserve::new(15).unwrap())),
        ("0.5-0.65 m/s", Intensity::SpeedBand(Speed::new(500).unwrap(), Speed::new(650).unwrap())),
        ("0.6 m/s", Intensity::SpeedBand(Speed::new(600).unwrap(), Speed::new(600).unwrap())),
        ("within 7.2 s", Intensity::Within(Duration::new(7_200).unwrap())),
    ] {
        assert_eq!(read(&format!("3x5 @ {text}")).map(|l| l.intensity), Ok(Some(hard)), "{text}");
    }
}

#[test]
fn sets_that_differ_are_written_out() {
    let line = read("5 @ 75%; 3 @ 82.5%; 2x1 @ 90%, rest 3:00").unwrap();
    assert_eq!((line.sets.get(), line.dose, &line.intensity), (4, None, &None));
    let waves = line.waves.clone().unwrap();
    assert_eq!(waves.to_string(), "reps 5@max 750;reps 3@max 825;reps 1@max 900;reps 1@max 900");
    assert_eq!(print(&line), "5 @ 75%; 3 @ 82.5%; 2x1 @ 90%, rest 3:00");
    // A set may leave its dose or its intensity to the prescription.
    assert_eq!(read("@ 70%; 5").unwrap().waves.unwrap().to_string(), "@max 700;reps 5@");
}

#[test]
fn what_follows_a_comma_is_read() {
    let line = read("3x5 @ 82,5%, rest 90 s, pause 2 s, tempo 3-1-x, bar 0.5-0.65 m/s, stop 20%").unwrap();
    assert_eq!(line.rest.unwrap().get(), 90);
    assert_eq!(line.pause.unwrap().get(), 2_000);
    assert_eq!(line.tempo.as_ref().unwrap().as_str(), "3-1-x");
    assert!(matches!(line.band, Some(Intensity::SpeedBand(..))));
    assert_eq!(line.stop_loss.unwrap().get(), 200);
    assert_eq!(print(&line), "3x5 @ 82.5%, rest 1:30, pause 2 s, tempo 3-1-x, bar 0.5-0.65 m/s, stop 20%");
}

#[test]
fn what_was_printed_reads_back() {
    for text in [
        "3x5",
        "3x8-10 @ 60 kg, rest 45 s",
        "4x60 m @ 95% best, rest 5:00",
        "4x60 m @ within 7.2 s",
        "3x6 each @ 50% body",
        "2x25 s each",
        "3x1:30 s",
        "3x10 contacts, rest 3:00",
        "3xlimit",
        "5 sets @ effort 7.5",
        "5x3 @ 0.5-0.65 m/s, stop 15%",
        "3x5 @ 75% of Back squat, high bar, rest 2:00",
        "5 @ 0.65-0.85 m/s; 3 @ 0.55-0.75 m/s; 2 @ 0.45-0.65 m/s",
        "5 @ 70%; 5 @ 70%",
        "5 @ 70%;",
        "@ 70%; 2x5; 30 s",
    ] {
        let line = read(text).unwrap_or_else(|e| panic!("{text}: {e:?}"));
        assert_eq!(print(&line), text);
        assert_eq!(read(&print(&line)), Ok(line), "{text}");
    }
}

#[test]
fn pounds_are_printed_where_pounds_are_read() {
    let line = with(Masses::Pounds, |names| Line::read("3x5 @ 185 lb", names)).unwrap();
    assert_eq!(with(Masses::Pounds, |names| line.print(names)), "3x5 @ 185 lb");
    assert_eq!(with(Masses::Pounds, |names| Line::read("3x5 @ 80 kg", names)), read("3x5 @ 80 kg"));
}

#[test]
fn a_line_leaves_everything_else_as_it_was() {
    let key: Key = "abcdef-9".parse().unwrap();
    let mut p = Prescription::new(key.clone(), Text::new("i").unwrap(), key, Count::new(4).unwrap());
    p.landing = Some(backstraight_core::model::number::Landing::Held);
    p.rest = Rest::new(60).ok();
    let next = read("3x5").unwrap().put(&p);
    assert_eq!((next.sets.get(), next.rest, next.landing), (3, None, p.landing));
    assert_eq!(Line::of(&next), read("3x5").unwrap());
}

#[test]
fn what_can_be_taken_in_two_ways_or_in_none_is_refused() {
    for (text, part, why) in [
        ("", "", Why::Number(Mistake::Empty)),
        ("3x5 @ 80", "80", Why::Unit),
        ("3x5 @ hard", "hard", Why::Form),
        ("3x5 @ 80% of Bench", "Bench", Why::Exercise),
        ("3x10-8", "10-8", Why::Form),
        ("3x8-10 each", "8-10 each", Why::Form),
        ("3x60 m each", "60 m each", Why::Form),
        ("3x5 @ 0.65-0.5 m/s", "0.65-0.5 m/s", Why::Form),
        ("3x5, tempo slow", "tempo slow", Why::Form),
        ("3x5, bar fast", "bar fast", Why::Form),
        ("5", "5", Why::Form),
        ("x5", "x5", Why::Form),
        ("10x1; 11x1", "10x1; 11x1", Why::TooMany),
    ] {
        assert_eq!(read(text), Err(Unread::of(part, why)), "{text}");
    }
    for text in
        ["61x5", "0x5", "3x301", "3x5 @ 1001 kg", "3x5 @ effort 11", "3x5, rest 3 h", "3x5 @ effort 7.3"]
    {
        let error = read(text).unwrap_err();
        assert!(!error.words().is_empty() && !error.words().contains('{'), "{text}: {}", error.words());
    }
}

#[test]
fn no_text_breaks_the_reader() {
    let pieces =
        ["3x", "5", "@", "%", " of ", "kg", ";", ",", "rest", "-", "1:30", "x", "é", "limit", "m/s", " "];
    let mut seed: u32 = 7;
    for _ in 0..4_000 {
        let mut text = String::new();
        for _ in 0..8 {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let at = usize::try_from(seed >> 16).unwrap_or(0) % pieces.len();
            text.push_str(pieces[at]);
        }
        if let Ok(line) = read(&text) {
            let printed = print(&line);
            assert_eq!(read(&printed), Ok(line), "{text} -> {printed}");
        }
    }
}
